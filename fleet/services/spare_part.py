"""Spare parts for what was left worn or broken and is on no list of follow-ups."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

from fleet.domain.code import Component, Condition
from fleet.domain.sheet import JobCard
from fleet.store.queries.finding import KeptFinding

WANTING = frozenset({Condition.WORN, Condition.CORRODED, Condition.DAMAGED, Condition.MISSING})
"""How a part is left that a new one should replace."""

NO_PART = frozenset({Component.VEGETATION, Component.OTHER})
"""What no spare part is kept for."""


def with_spares(
    cards: Sequence[JobCard], findings: Sequence[KeptFinding], followed: Collection[str]
) -> tuple[JobCard, ...]:
    """Add to what the cards of a site bring along a spare for each part that was left wanting.

    Parameters
    ----------
    cards : sequence of JobCard
        Of one site; what concerns the site as a whole falls to the first.
    findings : sequence of KeptFinding
        Of the site, newest first. Only the newest of each part counts.
    followed : collection of str
        Visits that raised a follow-up: what it needs is brought already, or it was mended.

    Returns
    -------
    tuple of JobCard
        In the same order.
    """
    wanting = list(_wanting(findings, followed))
    made = []
    for number, card in enumerate(cards):
        owners = (card.serial,) if number else (card.serial, None)
        bring = [*card.bring, *_spares(owners, wanting)]
        made.append(replace(card, bring=tuple(dict.fromkeys(bring))))
    return tuple(made)


def _spares(owners: Collection[str | None], wanting: Sequence[KeptFinding]) -> list[str]:
    return [f"spare {finding.component}" for finding in wanting if finding.serial in owners]


def _wanting(findings: Sequence[KeptFinding], followed: Collection[str]) -> Iterator[KeptFinding]:
    seen: set[tuple[str | None, Component]] = set()
    for finding in findings:
        part = (finding.serial, finding.component)
        newest = part not in seen
        seen.add(part)
        if (
            newest
            and finding.condition_left in WANTING
            and finding.component not in NO_PART
            and finding.visit_ref not in followed
        ):
            yield finding
