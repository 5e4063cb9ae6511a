"""Crews of one and of more."""

from __future__ import annotations

from datetime import date

from fleet.domain.plan import Place
from fleet.planning.crew import joint_crews, possible_crews, solo_crews

HOME = Place("home:T02", 0.0, 0.0)


def test_joint_crew_keeps_the_narrowest_limits_and_all_skills(member):
    first = member("T01", starts_min=420, skills=frozenset({"ladder"}), break_min=20)
    second = member("T02", ends_min=900, max_driving_min=200, break_min=45)

    (crew,) = joint_crews([second, first], 2)

    assert crew.technician_codes == ("T01", "T02")
    assert (crew.starts_min, crew.ends_min, crew.usable_min) == (480, 900, 375)
    assert (crew.max_driving_min, crew.break_min) == (200, 45)
    assert crew.skills == {"ladder"}


def test_joint_crews_need_one_day_one_place_and_a_common_time(member):
    other_day = member("T02", day=date(2024, 3, 5))
    other_place = member("T03", start=HOME)
    other_time = member("T04", starts_min=960, ends_min=1200)

    assert joint_crews([member("T01"), other_day, other_place, other_time], 2) == ()


def test_possible_crews_are_only_as_large_as_some_site_asks_for(site, member):
    members = [member(code) for code in ("T01", "T02", "T03")]

    sizes = [len(crew.members) for crew in possible_crews(members, [site("A", persons=3)])]

    assert sizes == [1, 1, 1, 3]


def test_crews_overlap_only_with_a_shared_technician_on_one_day(member):
    members = [member("T01"), member("T02"), member("T01", day=date(2024, 3, 5))]
    monday_first, monday_second, tuesday_first = solo_crews(members)
    (both,) = joint_crews(members, 2)

    assert both.overlaps(monday_first)
    assert both.overlaps(monday_second)
    assert not both.overlaps(tuesday_first)
    assert not monday_first.overlaps(monday_second)


def test_crew_serves_only_sites_whose_persons_skill_and_technician_it_has(site, member):
    (crew,) = solo_crews([member("T01", skills=frozenset({"ladder"}))])

    assert crew.serves(site("A", skill="ladder", technician_code="T01"))
    assert not crew.serves(site("A", skill="tower"))
    assert not crew.serves(site("A", technician_code="T02"))
    assert not crew.serves(site("A", persons=2))
