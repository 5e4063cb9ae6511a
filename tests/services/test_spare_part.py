"""Spares for what was left wanting: common practice, no published source."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pytest

from fleet.domain.code import Action, Component, Condition
from fleet.services.spare_part import with_spares
from fleet.store.queries.finding import KeptFinding


@dataclass(frozen=True)
class Card:
    """The two fields of a job card that matter here."""

    serial: str
    bring: tuple[str, ...] = ()


def finding(component, left, *, serial="00417", ref="V1", day=1):
    return KeptFinding(
        ref, date(2025, 1, day), "S01", serial, Component(component), Condition.WORN,
        Action.REPORTED, Condition(left), "",
    )  # fmt: skip


def bring(findings, *cards, followed=()):
    return [card.bring for card in with_spares(cards or [Card("00417")], findings, followed)]


@pytest.mark.parametrize("left", ["worn", "corroded", "damaged", "missing"])
def test_part_left_wanting_is_brought(left):
    assert bring([finding("pivot", left)]) == [("spare pivot",)]


@pytest.mark.parametrize("left", ["good", "dirty", "blocked", "other"])
def test_part_left_otherwise_is_not(left):
    assert bring([finding("pivot", left)]) == [()]


def test_only_the_newest_finding_of_a_part_counts():
    newest_first = [finding("filter", "good", ref="V2", day=9), finding("filter", "missing")]

    assert bring(newest_first) == [()]


def test_follow_up_of_the_visit_says_what_is_needed_itself():
    assert bring([finding("pivot", "worn")], followed={"V1"}) == [()]


def test_part_of_the_site_is_brought_once_and_one_of_a_gauge_with_its_card():
    found = [finding("power", "worn", serial=None), finding("bucket", "damaged", serial="00523")]

    assert bring(found, Card("00417", ("reed switch",)), Card("00523")) == [
        ("reed switch", "spare power"),
        ("spare bucket",),
    ]


def test_weeds_and_what_is_asked_for_already_add_nothing():
    found = [finding("vegetation", "missing", serial=None), finding("switch", "worn")]

    assert bring(found, Card("00417", ("spare switch",))) == [("spare switch",)]
