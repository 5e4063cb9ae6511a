"""The records behind an answer, down to runs, certificates, technicians and ledger entries."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.trace_line import TraceLine
from fleet.services.audit_frame import frame_of
from fleet.services.question import Checks
from fleet.store.queries.trace import trace_lines

_REFERENCES = (
    "visit_ref",
    "visit_refs",
    "last_service_ref",
    "last_visit_ref",
    "last_good_ref",
    "ended_by_ref",
    "made_good_by",
    "verified_since_by",
)
"""Fields of rows that name visits, several separated by a space."""


def checks_behind(rows: Sequence[object]) -> Checks:
    """Give the checks that rows name.

    Parameters
    ----------
    rows : sequence of dataclass
        Of one question.

    Returns
    -------
    frozenset
        A removal that made something good names no visit and is left out.
    """
    found = set()
    for row in rows:
        cells = dict(_cells(row))
        serial = cells.get("serial")
        for name in _REFERENCES:
            for ref in str(cells.get(name) or "").split():
                if ref != "removal":
                    found.add((ref, serial))
    return frozenset(found)


def _cells(row: Any) -> Iterator[tuple[str, Any]]:
    for field in fields(row):
        value = getattr(row, field.name)
        if is_dataclass(value):
            yield from _cells(value)
        else:
            yield field.name, value


def trace_frame(
    sessions: sessionmaker[Session],
    checks: Collection[tuple[str, str | None]],
    *,
    known_on: datetime | None = None,
) -> pd.DataFrame:
    """Give everything that was written down of some checks; see `trace_lines`.

    Returns
    -------
    DataFrame
        One row a visit, check, run, reading or finding; the same columns when there is none.
    """
    with sessions() as session:
        lines = trace_lines(session, checks, known_on=known_on)
    return frame_of(TraceLine, lines)
