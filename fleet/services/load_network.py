"""Load a folder or workbook: everything checked first, written in one transaction or not at all."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.errors import ConflictError
from fleet.ingest.batch import Batch, read_batch
from fleet.services.known_codes import known_codes
from fleet.services.reconnection import Reconnection, watch_reconnections
from fleet.services.record_map import FOLLOW_UP_MAP, RECORD_MAPS, Codes
from fleet.services.record_write import Difference, TableCount, Writing, write_rows
from fleet.services.stop_result import match_stops
from fleet.services.visit_aggregate import gather_visits
from fleet.services.visit_write import write_visits
from fleet.store.journal import Wish, Work, writing

SHOWN_DIFFERENCES = 20


@dataclass(frozen=True, slots=True)
class LoadResult:
    """What a load did, or with a dry run would have done.

    ``stops`` are sentences on the stops of issued rounds that the visits settled.
    """

    counts: tuple[TableCount, ...]
    differences: tuple[Difference, ...]
    reconnections: tuple[Reconnection, ...]
    visits_written: tuple[str, ...]
    stops: tuple[str, ...]
    dry_run: bool

    @property
    def changed_anything(self) -> bool:
        """Tell whether a row was added or changed."""
        return any(count.added or count.changed for count in self.counts)


@dataclass(slots=True)
class _Progress:
    writings: list[Writing] = field(default_factory=list)
    visits: tuple[str, ...] = ()
    reconnections: tuple[Reconnection, ...] = ()
    stops: tuple[str, ...] = ()


def load_network(
    sessions: sessionmaker[Session], path: Path, wish: Wish, *, clock: Clock, today: date
) -> LoadResult:
    """Load input files into the records.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    path : Path
        A folder of CSV files, one CSV file, or a workbook.
    wish : Wish
        Who loads and why; a dry run writes nothing. A load that changes kept rows needs a
        reason.
    clock : Clock
        Gives the instant of the ledger entry.
    today : date
        Visits after this day are refused.

    Returns
    -------
    LoadResult
        Rows read, added, changed and unchanged of each table, and every difference.

    Raises
    ------
    InputError
        With every problem of every file; nothing is written.
    ConflictError
        Rows differ from the records and no reason is given, or the records refuse the rows.
    """
    with sessions() as session:
        known = known_codes(session)
    batch = read_batch(path, known=known, today=today)
    batch.require_clean()
    return write_batch(sessions, batch, wish, clock=clock)


def write_batch(
    sessions: sessionmaker[Session],
    batch: Batch,
    wish: Wish,
    *,
    clock: Clock,
    whole: Collection[str] = (),
    look: Callable[[Session], None] | None = None,
) -> LoadResult:
    """Write a clean batch in one transaction with one ledger entry.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    batch : Batch
        Without problems.
    wish : Wish
        Who and why; a dry run writes nothing.
    clock : Clock
        Gives the instant of the ledger entry.
    whole : collection of str
        References of visits that the batch gives whole: known parts that it lacks are gone.
    look : callable, optional
        Is shown the records as written, before they are committed or taken back.
    """
    progress = _Progress()
    with _refusals(), writing(sessions, wish, clock) as work:
        _write_tables(work, batch, progress, whole)
        differences = [d for w in progress.writings for d in w.differences]
        if differences and not wish.reason.strip() and not wish.dry_run:
            raise ConflictError(_needs_reason(differences))
        if look is not None:
            look(work.session)
    counts = {
        name: count for w in progress.writings for name, count in w.counts.items() if count.read
    }
    return LoadResult(
        counts=tuple(counts.values()),
        differences=tuple(differences),
        reconnections=progress.reconnections,
        visits_written=progress.visits,
        stops=progress.stops,
        dry_run=wish.dry_run,
    )


def _write_tables(work: Work, batch: Batch, progress: _Progress, whole: Collection[str]) -> None:
    codes = Codes(work.session)
    rows = {name: [row.values for row in kept] for name, kept in batch.rows.items()}
    for record in RECORD_MAPS:
        progress.writings.append(write_rows(work, record, rows.get(record.table, ()), codes=codes))
    visits, progress.visits = write_visits(work, gather_visits(rows), codes=codes, whole=whole)
    progress.writings.append(visits)
    progress.writings.append(
        write_rows(work, FOLLOW_UP_MAP, rows.get("follow_ups", ()), codes=codes)
    )
    progress.reconnections = watch_reconnections(work, progress.visits, codes=codes)
    progress.stops = match_stops(work, progress.visits)


def _needs_reason(differences: list[Difference]) -> str:
    shown = [str(difference) for difference in differences[:SHOWN_DIFFERENCES]]
    hidden = len(differences) - len(shown)
    if hidden > 0:
        shown.append(f"... and {hidden} more.")
    head = (
        f"{len(differences)} row(s) differ from the records; nothing was written. "
        "Give a reason to amend them with --reason, or look first with --dry-run."
    )
    return "\n".join([head, *shown])


@contextmanager
def _refusals() -> Iterator[None]:
    try:
        yield
    except IntegrityError as error:
        raise ConflictError(
            f"The records refuse these rows, nothing was written: {error.orig}"
        ) from error
    except DBAPIError as error:
        raise ConflictError(
            f"The database could not be written, nothing was changed: {error.orig}"
        ) from error
