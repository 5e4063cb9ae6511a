"""Follow-ups that a recorded visit mended, and those that it left open."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.domain.code import VisitOutcome
from fleet.errors import ConflictError
from fleet.services.record_map import FOLLOW_UP_MAP, Codes
from fleet.services.record_write import write_rows
from fleet.services.visit_verdict import VisitLine
from fleet.store.journal import Work
from fleet.store.models.site import Site
from fleet.store.models.visit import Visit, VisitVersion
from fleet.store.queries.follow_up import KeptFollowUp, follow_ups

SHOWN_OPEN = 5
"""How many open follow-ups are told after recording."""


@dataclass(frozen=True, slots=True)
class _Done:
    """A visit that did something at a site."""

    visit_ref: str
    site_code: str
    visited_on: date


def close_mended(
    work: Work, follow_up_refs: Sequence[str], visit_refs: Collection[str]
) -> list[VisitLine]:
    """Close follow-ups by the visits that were just recorded, in the same transaction.

    Parameters
    ----------
    work : Work
        The open transaction, with the visits already written.
    follow_up_refs : sequence of str
        What was mended. Each is closed by the visit at its site, on the visit's day.
    visit_refs : collection of str
        The visits of the record.

    Returns
    -------
    list of VisitLine
        A line for each; one that the same visit closed before is told again and not written.

    Raises
    ------
    ConflictError
        With everything that is wrong: no such follow-up, closed by something else, no visit (or
        several) at its site that did anything, or it was raised after the visit.
    """
    if not follow_up_refs:
        return []
    known = {kept.follow_up_ref: kept for kept in follow_ups(work.session, as_of=date.max)}
    done = _visits_done(work.session, visit_refs)
    pairs = [(ref, known.get(ref), done) for ref in dict.fromkeys(follow_up_refs)]
    problems = [problem for pair in pairs for problem in _problems(*pair)]
    if problems:
        raise ConflictError("\n".join(["Nothing was written.", *problems]))
    closed = [(kept, _at_site(kept, done)[0]) for _, kept, _ in pairs if kept is not None]
    _write(work, closed)
    return [
        VisitLine(
            visit.visit_ref,
            visit.visited_on,
            kept.site_code,
            kept.serial or "",
            "follow_up",
            "closed",
            kept.follow_up_ref,
        )
        for kept, visit in closed
    ]


def _write(work: Work, closed: Sequence[tuple[KeptFollowUp, _Done]]) -> None:
    rows: list[Mapping[str, object]] = [
        {
            "follow_up_ref": kept.follow_up_ref,
            "closed_on": visit.visited_on,
            "closed_by_visit": visit.visit_ref,
        }
        for kept, visit in closed
    ]
    write_rows(work, FOLLOW_UP_MAP, rows, codes=Codes(work.session))


def _visits_done(session: Session, visit_refs: Collection[str]) -> list[_Done]:
    rows = session.execute(
        select(Visit.code, Site.code, VisitVersion.visited_on)
        .join(VisitVersion, VisitVersion.visit_id == Visit.id)
        .join(Site, Site.id == VisitVersion.site_id)
        .where(
            Visit.code.in_(list(visit_refs)),
            VisitVersion.known_until.is_(None),
            VisitVersion.outcome != VisitOutcome.NOT_DONE,
        )
        .order_by(VisitVersion.arrived_at, Visit.code)
    )
    return [_Done(*row) for row in rows]


def _at_site(kept: KeptFollowUp, done: Sequence[_Done]) -> list[_Done]:
    return [visit for visit in done if visit.site_code == kept.site_code]


def _problems(ref: str, kept: KeptFollowUp | None, done: Sequence[_Done]) -> Iterator[str]:
    if kept is None:
        yield f"There is no follow-up {ref!r}. List them with: fleet follow-up list --all"
        return
    here = _at_site(kept, done)
    if not here:
        yield f"{ref} is about site {kept.site_code}, where none of these visits did anything."
    elif len(here) > 1:
        refs = " ".join(visit.visit_ref for visit in here)
        yield (
            f"{ref} is about site {kept.site_code}, where several of these visits were ({refs}). "
            f"Name one: fleet follow-up close {ref} --visit REF"
        )
    elif kept.closed_on is not None and kept.closed_by_visit != here[0].visit_ref:
        by = f" by visit {kept.closed_by_visit}" if kept.closed_by_visit else ""
        yield f"{ref} was closed on {kept.closed_on}{by} already."
    elif here[0].visited_on < kept.raised_on:
        yield f"{ref} was raised on {kept.raised_on}, after visit {here[0].visit_ref}."


def still_open(session: Session, visit_refs: Collection[str]) -> list[str]:
    """Say which follow-ups wait at the sites of some visits, and how to close one by its visit.

    Parameters
    ----------
    session : Session
        As the visits were recorded.
    visit_refs : collection of str
        Visits that did nothing are left out.

    Returns
    -------
    list of str
        A sentence each, urgent first, at most `SHOWN_OPEN` and how many more there are.
    """
    visits = {visit.site_code: visit for visit in _visits_done(session, visit_refs)}
    waiting = [
        kept
        for kept in follow_ups(session, as_of=date.max)
        if kept.closed_on is None
        and kept.site_code in visits
        and kept.raised_on <= visits[kept.site_code].visited_on
        and kept.raised_by_visit != visits[kept.site_code].visit_ref
    ]
    told = [_open_words(kept, visits[kept.site_code]) for kept in waiting[:SHOWN_OPEN]]
    hidden = len(waiting) - len(told)
    return told + ([f"... and {hidden} more still open at these sites."] if hidden else [])


def _open_words(kept: KeptFollowUp, visit: _Done) -> str:
    severity = kept.severity.replace("_", " ")
    needs = f" Needs: {kept.needs}." if kept.needs else ""
    return (
        f"Still open at {kept.site_code} ({severity}): {kept.description}.{needs} If this visit "
        f"mended it: fleet follow-up close {kept.follow_up_ref} --visit {visit.visit_ref} "
        "--reason TEXT"
    )
