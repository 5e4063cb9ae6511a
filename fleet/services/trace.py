"""The records behind an answer, down to runs, certificates, technicians and ledger entries."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from operator import attrgetter

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.made_good import REMOVAL
from fleet.domain.audit.trace_line import TraceLine
from fleet.services.audit_frame import frame_of, row_paths
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
        Of one question, all of one type.

    Returns
    -------
    frozenset
        A removal that made something good names no visit and is left out.
    """
    if not rows:
        return frozenset()
    paths = {path.rpartition(".")[2]: path for path, _ in row_paths(type(rows[0]))}
    named = [attrgetter(paths[name]) for name in _REFERENCES if name in paths]
    serial = attrgetter(paths["serial"]) if "serial" in paths else lambda _: None
    return frozenset(
        (ref, serial(row))
        for refs in named
        for row in rows
        for ref in str(refs(row) or "").split()
        if ref != REMOVAL
    )


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
