"""Record visits brought back from the field: from a filled-in form, from tables, from answers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.errors import ConflictError, Problem
from fleet.ingest.batch import Batch, read_batch
from fleet.ingest.form_answer import StopAnswers
from fleet.ingest.form_batch import VISIT_TABLES, FormBatch, form_batch
from fleet.ingest.visit_form import is_visit_form, read_visit_form
from fleet.services.known_codes import RecordsKnown
from fleet.services.load_network import LoadResult, write_batch
from fleet.services.mended import close_mended, still_open
from fleet.services.recorded_visits import RecordedVisits
from fleet.services.visit_verdict import VisitLine, visit_verdicts
from fleet.store.journal import Wish, Work
from fleet.store.models.site import Site
from fleet.store.models.visit import Visit, VisitVersion


def record_file(
    sessions: sessionmaker[Session],
    path: Path,
    wish: Wish,
    *,
    clock: Clock,
    today: date,
    mends: Sequence[str] = (),
) -> RecordedVisits:
    """Record the visits of a file.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    path : Path
        A filled-in visit form, or a folder, CSV file or workbook of the visit tables.
    wish : Wish
        Who and why; a dry run writes nothing. Amending a recorded visit needs a reason.
    clock : Clock
        Gives the instant of the ledger entry.
    today : date
        Visits after this day are refused.
    mends : sequence of str
        Follow-ups that the visits mended: closed by the visit at their site, in the same entry.

    Returns
    -------
    RecordedVisits
        The same file twice changes nothing.

    Raises
    ------
    InputError
        With every problem; nothing is written.
    ConflictError
        A visit overlaps a recorded one of the site, rows differ from the records and no reason
        is given, the records refuse the rows, or a follow-up cannot be closed by these visits.

    Notes
    -----
    A visit of a form is named after its site and the local clock of its arrival
    (`fleet.domain.visit_form.visit_reference`), and is given whole: amended by its reference,
    parts that the form lacks are gone from the newer version.
    """
    if is_visit_form(path):
        form = read_visit_form(path)
        with sessions() as session:
            known = RecordsKnown(session)
            made = form_batch(form.stops, known=known, today=today, problems=form.problems)
        return _record_whole(sessions, made, wish, clock=clock, mends=mends)
    with sessions() as session:
        batch = read_batch(path, known=RecordsKnown(session), today=today)
    batch.problems += _foreign_tables(batch)
    batch.require_clean()
    refs = [row.values["visit_ref"] for rows in batch.rows.values() for row in rows]
    told = _Told(tuple(dict.fromkeys(refs)), mends=tuple(mends))
    return _record(sessions, batch, wish, clock=clock, told=told)


def record_answers(
    sessions: sessionmaker[Session],
    stops: Sequence[StopAnswers],
    wish: Wish,
    *,
    clock: Clock,
    today: date,
    mends: Sequence[str] = (),
) -> RecordedVisits:
    """Record answers to the questions of the visit form; as `record_file` does for a form."""
    with sessions() as session:
        made = form_batch(stops, known=RecordsKnown(session), today=today)
    return _record_whole(sessions, made, wish, clock=clock, mends=mends)


@dataclass(frozen=True, slots=True)
class _Told:
    """The visits of a record, those given whole, what they mended, and notes so far."""

    visit_refs: tuple[str, ...]
    whole: tuple[str, ...] = ()
    mends: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def _record_whole(
    sessions: sessionmaker[Session],
    made: FormBatch,
    wish: Wish,
    *,
    clock: Clock,
    mends: Sequence[str],
) -> RecordedVisits:
    made.batch.require_clean()
    with sessions() as session:
        _require_no_overlap(session, made.batch)
    refs = tuple(made.visit_refs)
    told = _Told(refs, whole=refs, mends=tuple(mends), notes=tuple(made.notes))
    return _record(sessions, made.batch, wish, clock=clock, told=told)


def _record(
    sessions: sessionmaker[Session], batch: Batch, wish: Wish, *, clock: Clock, told: _Told
) -> RecordedVisits:
    """Write a clean batch and close what its visits mended."""
    lines: list[VisitLine] = []
    mended: list[VisitLine] = []
    waiting: list[str] = []

    def after(work: Work) -> None:
        lines.extend(visit_verdicts(work.session, set(told.visit_refs)))
        mended.extend(close_mended(work, told.mends, told.visit_refs))
        waiting.extend(still_open(work.session, told.visit_refs))

    result = write_batch(sessions, batch, wish, clock=clock, whole=told.whole, after=after)
    lines += [*_follow_up_lines(result, lines), *mended]
    return RecordedVisits(result, tuple(lines), (*told.notes, *_notes(result), *waiting))


def _follow_up_lines(result: LoadResult, lines: Sequence[VisitLine]) -> list[VisitLine]:
    days = {line.visit_ref: line.visited_on for line in lines}
    found = []
    for change in result.reconnections:
        done = "closed" if change.closed else "raised_urgent"
        reason = change.follow_up_ref
        day = days.get(change.visit_ref, date.min)
        found.append(
            VisitLine(
                change.visit_ref, day, change.site_code, change.serial, "follow_up", done, reason
            )
        )
    return found


def _notes(result: LoadResult) -> Iterable[str]:
    for difference in result.differences:
        yield f"Amended {difference}"
    yield from result.stops
    visits = next((count for count in result.counts if count.table == "visits"), None)
    added = 0 if visits is None else visits.added
    amended = len(result.visits_written) - added
    unchanged = 0 if visits is None else visits.read - len(result.visits_written)
    would = "Dry run, nothing was written: " if result.dry_run else ""
    yield f"{would}{added} visit(s) added, {amended} amended, {max(unchanged, 0)} unchanged."


def _foreign_tables(batch: Batch) -> list[Problem]:
    allowed = {table.name for table in VISIT_TABLES}
    expected = "visit record takes only visit tables; load it with: fleet network load"
    return [
        Problem(batch.files[name], None, None, name, expected)
        for name in batch.rows
        if name not in allowed
    ]


def _require_no_overlap(session: Session, batch: Batch) -> None:
    """Refuse a visit whose time on site a differently named visit of that site shares."""
    problems = []
    for row in batch.rows["visits"]:
        visit = row.values
        other = session.execute(
            select(Visit.code, VisitVersion.arrived_at, VisitVersion.departed_at)
            .join(VisitVersion, VisitVersion.visit_id == Visit.id)
            .join(Site, Site.id == VisitVersion.site_id)
            .where(
                Site.code == visit["site_code"],
                Visit.code != visit["visit_ref"],
                VisitVersion.known_until.is_(None),
                VisitVersion.arrived_at < visit["departed_at"],
                VisitVersion.departed_at > visit["arrived_at"],
            )
            .order_by(VisitVersion.arrived_at)
        ).first()
        if other is not None:
            zone = visit["arrived_at"].tzinfo
            span = (
                f"{other[1].astimezone(zone):%Y-%m-%d %H:%M} to {other[2].astimezone(zone):%H:%M}"
            )
            problems.append(f"{visit['visit_ref']} overlaps {other[0]}, {span}")
    if problems:
        raise ConflictError(
            f"Already recorded at that site: {'; '.join(problems)}. Nothing was written. "
            "To correct the recorded visit, write its reference into the form and give a reason."
        )
