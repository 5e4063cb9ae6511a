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
from fleet.errors import ConflictError, InputError, Problem
from fleet.ingest.batch import Batch
from fleet.ingest.share import SHARE_BYTES, problems_in_order, read_shares
from fleet.services.gauge_write import writing
from fleet.services.known_codes import RecordsKnown
from fleet.services.reconnection import Reconnection, watch_reconnections
from fleet.services.record_map import FOLLOW_UP_MAP, RECORD_MAPS, Codes
from fleet.services.record_write import Difference, TableCount, Writing, write_rows
from fleet.services.stop_result import match_stops
from fleet.services.visit_write import write_visits
from fleet.store.bulk import refresh_statistics
from fleet.store.journal import Wish, Work

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
    """What was written so far."""

    writing: Writing = field(default_factory=Writing)
    visits: list[str] = field(default_factory=list)

    def result(
        self, reconnections: tuple[Reconnection, ...], stops: tuple[str, ...], *, dry_run: bool
    ) -> LoadResult:
        """Give the whole as the caller sees it."""
        return LoadResult(
            counts=tuple(count for count in self.writing.counts.values() if count.read),
            differences=tuple(self.writing.differences),
            reconnections=reconnections,
            visits_written=tuple(self.visits),
            stops=stops,
            dry_run=dry_run,
        )


def load_network(
    sessions: sessionmaker[Session],
    path: Path,
    wish: Wish,
    *,
    clock: Clock,
    today: date,
    share_bytes: int = SHARE_BYTES,
) -> LoadResult:
    """Load input files into the records.

    A large input is checked and written share by share, in one transaction that is taken back
    when a share has problems; the others are then only checked.

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
    share_bytes : int, optional
        How large a share is.

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
    progress, problems = _Progress(), list[Problem]()
    files: dict[str, str] = {}
    with _refusals(), writing(sessions, wish, clock) as work:
        codes = Codes(work.session)
        known = RecordsKnown(work.session)
        for batch in read_shares(path, known=known, today=today, share_bytes=share_bytes):
            problems += batch.problems
            files |= batch.files
            if not problems:
                _write_tables(work, batch, progress, codes)
                codes.forget()
            del batch  # or it would lie beside the next one
        if problems:
            raise InputError(problems_in_order(problems, files))
        return _finish(work, progress, wish, codes)


def write_batch(
    sessions: sessionmaker[Session],
    batch: Batch,
    wish: Wish,
    *,
    clock: Clock,
    whole: Collection[str] = (),
    after: Callable[[Work], None] | None = None,
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
    after : callable, optional
        Is handed the transaction with all rows written, before it is committed or taken back.
    """
    progress = _Progress()
    with _refusals(), writing(sessions, wish, clock) as work:
        codes = Codes(work.session)
        _write_tables(work, batch, progress, codes, whole=whole)
        result = _finish(work, progress, wish, codes)
        if after is not None:
            after(work)
    return result


def _write_tables(
    work: Work, batch: Batch, progress: _Progress, codes: Codes, *, whole: Collection[str] = ()
) -> None:
    rows = {name: [row.values for row in kept] for name, kept in batch.rows.items()}
    for record in RECORD_MAPS:
        progress.writing.absorb(write_rows(work, record, rows.get(record.table, ()), codes=codes))
    visits, written = write_visits(work, rows, codes=codes, whole=whole)
    progress.writing.absorb(visits)
    progress.visits += written
    follow_ups = write_rows(work, FOLLOW_UP_MAP, rows.get("follow_ups", ()), codes=codes)
    progress.writing.absorb(follow_ups)


def _finish(work: Work, progress: _Progress, wish: Wish, codes: Codes) -> LoadResult:
    """Draw what follows from the rows written, and let no difference pass without a reason."""
    refresh_statistics(work.session, work.added)
    reconnections = watch_reconnections(work, codes=codes)
    stops = match_stops(work, progress.visits)
    differences = progress.writing.differences
    if differences and not wish.reason.strip() and not wish.dry_run:
        raise ConflictError(_needs_reason(differences))
    return progress.result(reconnections, stops, dry_run=wish.dry_run)


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
