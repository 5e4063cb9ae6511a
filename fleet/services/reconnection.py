"""The classic own goal: a gauge left off its logger. Raise it at once, close it when mended."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select

from fleet.domain.code import Severity
from fleet.domain.history import CheckRecord
from fleet.services.record_map import Codes, value_columns
from fleet.services.record_write import add_codes
from fleet.store.journal import Work
from fleet.store.models.instrument import Installation, Instrument
from fleet.store.models.site import Site
from fleet.store.models.visit import FollowUp, FollowUpVersion, GaugeCheck, Visit, VisitVersion
from fleet.store.queries.check import KeptCheck, kept_checks

PREFIX = "reconnect"
"""Begins the reference of a follow-up raised here; no input file can hold its colons."""

_IDS_A_QUERY = 500


@dataclass(frozen=True, slots=True)
class Reconnection:
    """A follow-up that was raised or closed by the tool itself."""

    follow_up_ref: str
    site_code: str
    serial: str
    visit_ref: str
    closed: bool


def watch_reconnections(
    work: Work, visit_refs: Iterable[str], *, codes: Codes
) -> tuple[Reconnection, ...]:
    """Raise an urgent follow-up for each gauge that was last left without a proven reconnection.

    A check that says nothing of the connection neither raises nor closes anything. An instrument
    that was taken away needs no reconnection.

    Parameters
    ----------
    work : Work
        The open transaction, with the visits already written.
    visit_refs : iterable of str
        Visits that were added or changed; only their instruments are looked at.
    codes : Codes
        Of this transaction.

    Returns
    -------
    tuple of Reconnection
        What was raised and what was closed because a later check proves the reconnection.
    """
    touched = _touched_instruments(work, visit_refs, codes)
    if not touched:
        return ()
    gone = _removals(work)
    kept = _kept_follow_ups(work)
    done: list[Reconnection] = []
    for serial, check in sorted(_last_words(work, touched, gone).items()):
        lost = check.record.left_disconnected and not gone(check)
        ref = f"{PREFIX}:{check.record.visit_ref}:{serial}"
        for open_ref, version in sorted(kept.get(serial, {}).items()):
            if version.closed_on is None and (open_ref != ref or not lost):
                done.append(_close(work, version, open_ref, check.record, codes))
        former = kept.get(serial, {}).get(ref)
        if lost and former is None:
            done.append(_raise(work, ref, check, codes))
        elif lost and former is not None and _closed_by_itself(former):
            done.append(_reopen(work, former, ref, check.record))
    return tuple(done)


def _touched_instruments(work: Work, visit_refs: Iterable[str], codes: Codes) -> frozenset[int]:
    visit_ids = [codes.id_of(Visit, ref) for ref in dict.fromkeys(visit_refs)]
    touched: set[int] = set()
    for start in range(0, len(visit_ids), _IDS_A_QUERY):
        rows = work.session.execute(
            select(GaugeCheck.instrument_id)
            .join(VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id)
            .where(
                VisitVersion.known_until.is_(None),
                VisitVersion.visit_id.in_(visit_ids[start : start + _IDS_A_QUERY]),
            )
        )
        touched.update(rows.scalars())
    return frozenset(touched)


def _last_words(
    work: Work, touched: frozenset[int], gone: Callable[[KeptCheck], bool]
) -> dict[str, KeptCheck]:
    """Give the last check of each instrument that says anything of its connection."""
    few = touched if len(touched) <= _IDS_A_QUERY else None
    checks = kept_checks(work.session, as_of=date.max, instrument_ids=few)
    return {
        check.record.serial: check
        for check in checks
        if check.instrument_id in touched and (check.record.tells_connection or gone(check))
    }


def _removals(work: Work) -> Callable[[KeptCheck], bool]:
    rows = work.session.execute(
        select(Installation.instrument_id, Installation.installed_on, Installation.removed_on)
        .where(Installation.known_until.is_(None))
        .order_by(Installation.instrument_id, Installation.installed_on)
    )
    spans: dict[int | None, list[tuple[date, date | None]]] = defaultdict(list)
    for instrument_id, installed_on, removed_on in rows:
        spans[instrument_id].append((installed_on, removed_on))

    def gone(check: KeptCheck) -> bool:
        """Tell whether the instrument stood nowhere any more at the end of the visit's day."""
        day = check.record.visited_on
        begun = [until for since, until in spans[check.instrument_id] if since <= day]
        return bool(begun) and begun[-1] is not None and begun[-1] <= day

    return gone


def _kept_follow_ups(work: Work) -> dict[str, dict[str, FollowUpVersion]]:
    rows = work.session.execute(
        select(FollowUp.code, Instrument.code, FollowUpVersion)
        .join(FollowUpVersion, FollowUpVersion.follow_up_id == FollowUp.id)
        .join(Instrument, Instrument.id == FollowUpVersion.instrument_id)
        .where(FollowUpVersion.known_until.is_(None), FollowUp.code.startswith(f"{PREFIX}:"))
    )
    found: dict[str, dict[str, FollowUpVersion]] = {}
    for ref, serial, version in rows:
        found.setdefault(serial, {})[ref] = version
    return found


def _closed_by_itself(version: FollowUpVersion) -> bool:
    """Tell whether an amendment of the visit that raised it closed it, and nobody else."""
    return (
        version.closed_on is not None and version.closed_by_visit_id == version.raised_by_visit_id
    )


def _raise(work: Work, ref: str, check: KeptCheck, codes: Codes) -> Reconnection:
    record = check.record
    add_codes(work, FollowUp, [ref], codes)
    row: Mapping[str, object] = {
        "follow_up_id": codes.id_of(FollowUp, ref),
        "site_id": codes.id_of(Site, record.site_code),
        "instrument_id": codes.id_of(Instrument, record.serial),
        "severity": Severity.URGENT,
        "raised_on": record.visited_on,
        "raised_by_visit_id": codes.id_of(Visit, record.visit_ref),
        "description": (
            f"Visit {record.visit_ref} does not prove that gauge {record.serial} was put back "
            "on its logger: the record may be lost until somebody checks."
        ),
        "needs": "confirm that tips arrive at the logger; reconnect and prove it",
        "due_on": record.visited_on,
    }
    work.add(FollowUpVersion, [row])
    return Reconnection(ref, record.site_code, record.serial, record.visit_ref, closed=False)


def _close(
    work: Work, version: FollowUpVersion, ref: str, record: CheckRecord, codes: Codes
) -> Reconnection:
    closed_on = max(record.visited_on, version.raised_on)
    fields = {"closed_on": (None, closed_on), "closed_by_visit": (None, record.visit_ref)}
    work.supersede(FollowUpVersion, version.id, key=ref, fields=fields)
    visit_id = codes.id_of(Visit, record.visit_ref)
    work.add(
        FollowUpVersion,
        [{**_content(version), "closed_on": closed_on, "closed_by_visit_id": visit_id}],
    )
    return Reconnection(ref, record.site_code, record.serial, record.visit_ref, closed=True)


def _reopen(work: Work, version: FollowUpVersion, ref: str, record: CheckRecord) -> Reconnection:
    fields = {
        "closed_on": (version.closed_on, None),
        "closed_by_visit": (record.visit_ref, None),
    }
    work.supersede(FollowUpVersion, version.id, key=ref, fields=fields)
    work.add(
        FollowUpVersion, [{**_content(version), "closed_on": None, "closed_by_visit_id": None}]
    )
    return Reconnection(ref, record.site_code, record.serial, record.visit_ref, closed=False)


def _content(version: FollowUpVersion) -> dict[str, object]:
    return {name: getattr(version, name) for name in value_columns(FollowUpVersion)}
