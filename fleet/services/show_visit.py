"""One visit whole: what was recorded, what the policy says of it, and every version of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from enum import Enum
from typing import Any

import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from fleet.errors import NotFoundError
from fleet.services.record_map import Codes
from fleet.services.visit_aggregate import PARTS, VisitAggregate, read_versions
from fleet.services.visit_verdict import VisitLine, visit_verdicts
from fleet.store.models.ledger import LedgerEntry

COLUMNS = ("part", "item", "field", "value")


@dataclass(frozen=True, slots=True)
class VisitVersionLine:
    """When a version came to be known, by whom and why, and what it changed."""

    number: int
    known_from: datetime
    known_until: datetime | None
    actor: str
    action: str
    reason: str
    changes: Mapping[str, tuple[object, object]]


@dataclass(frozen=True, slots=True)
class WholeVisit:
    """A visit as it is known now; rows are in the words of the input tables."""

    visit_ref: str
    row: Mapping[str, Any]
    parts: Mapping[str, tuple[Mapping[str, Any], ...]]
    verdicts: tuple[VisitLine, ...]
    versions: tuple[VisitVersionLine, ...]


def show_visit(sessions: sessionmaker[Session], visit_ref: str) -> WholeVisit:
    """Read one visit with all its versions.

    Raises
    ------
    NotFoundError
        No such visit.
    """
    with sessions() as session:
        kept = read_versions(session, visit_ref, Codes(session))
        if not kept:
            raise NotFoundError(f"There is no visit {visit_ref!r}.")
        versions = tuple(_versions(session, kept))
        now = kept[-1][1]
        return WholeVisit(
            visit_ref=visit_ref,
            row=_on_site_clock(now.row),
            parts={
                part.table: tuple(
                    _on_site_clock(row, now.row) for row in now.parts[part.table].values()
                )
                for part in PARTS
            },
            verdicts=tuple(visit_verdicts(session, [visit_ref])),
            versions=versions,
        )


def visit_frame(visit: WholeVisit) -> pd.DataFrame:
    """Lay a visit out as one long table.

    Parameters
    ----------
    visit : WholeVisit
        From `show_visit`.

    Returns
    -------
    DataFrame
        Columns as in `COLUMNS`, all text: each recorded field, then verdicts, then versions and
        what they changed. Blank fields are left out.
    """
    rows = [*_recorded(visit), *_judged(visit), *_history(visit)]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def _versions(
    session: Session, kept: Iterable[tuple[dict[str, Any], VisitAggregate]]
) -> Iterable[VisitVersionLine]:
    before: VisitAggregate | None = None
    for number, (stored, visit) in enumerate(kept, start=1):
        entry = session.execute(
            select(LedgerEntry).where(LedgerEntry.id == stored["entry_id"])
        ).scalar_one()
        yield VisitVersionLine(
            number=number,
            known_from=stored["known_from"],
            known_until=stored["known_until"],
            actor=entry.actor,
            action=entry.action,
            reason=entry.reason,
            changes={} if before is None else before.differences(visit),
        )
        before = visit


def _on_site_clock(
    row: Mapping[str, Any], visit: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Give instants with the offset that the visit was written with."""
    minutes = (visit or row)["utc_offset_minutes"]
    zone = timezone(timedelta(minutes=minutes))
    return {
        name: value.astimezone(zone) if isinstance(value, datetime) else value
        for name, value in row.items()
    }


def _recorded(visit: WholeVisit) -> Iterable[tuple[str, str, str, str]]:
    for name, value in visit.row.items():
        if value not in (None, ""):
            yield "visits", visit.visit_ref, name, written(value)
    for part in PARTS:
        for row in visit.parts[part.table]:
            item = " ".join(written(row[name]) for name in part.key)
            for name, value in row.items():
                if name not in part.key and value not in (None, ""):
                    yield part.table, item, name, written(value)


def _judged(visit: WholeVisit) -> Iterable[tuple[str, str, str, str]]:
    for line in visit.verdicts:
        if line.serial:
            yield "verdicts", line.serial, line.subject, f"{line.result}: {line.reason}"


def _history(visit: WholeVisit) -> Iterable[tuple[str, str, str, str]]:
    for version in visit.versions:
        item = str(version.number)
        why = f": {version.reason}" if version.reason else ""
        yield "versions", item, "known_from", written(version.known_from)
        yield "versions", item, "by", f"{version.actor}, {version.action}{why}"
        for name, (old, new) in version.changes.items():
            yield "versions", item, name, f"{written(old)} -> {written(new)}"


def written(value: object) -> str:
    """Write a value as input tables do; nothing is ``blank``."""
    if value is None or value == "":
        return "blank"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " ".join(str(item) for item in value)
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes" if not value.second else "auto")
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    return str(value.value) if isinstance(value, Enum) else str(value)
