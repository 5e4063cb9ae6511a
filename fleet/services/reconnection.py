"""The classic own goal: a gauge left off its logger. Raise it at once, close it when mended."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select

from fleet.domain.code import Severity
from fleet.domain.history import CheckRecord
from fleet.services.record_map import Codes
from fleet.services.record_write import add_codes
from fleet.store.journal import Work
from fleet.store.models.instrument import Instrument
from fleet.store.models.site import Site
from fleet.store.models.visit import FollowUp, FollowUpVersion, Visit
from fleet.store.queries.check import KeptCheck, kept_checks

PREFIX = "reconnect"


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
    """Raise an urgent follow-up for each gauge whose latest check proves no reconnection.

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
    wanted = set(visit_refs)
    if not wanted:
        return ()
    work.session.flush()
    checks = [c for c in kept_checks(work.session, as_of=date.max) if c.record.checked]
    touched = {c.record.serial for c in checks if c.record.visit_ref in wanted}
    latest = {c.record.serial: c for c in checks if c.record.serial in touched}
    opened = _open_follow_ups(work)
    done: list[Reconnection] = []
    for serial in sorted(touched):
        check = latest[serial].record
        ref = f"{PREFIX}:{check.visit_ref}:{serial}"
        for open_ref in sorted(opened.get(serial, {})):
            if open_ref != ref or not check.left_disconnected:
                done.append(_close(work, opened[serial][open_ref], open_ref, check, codes))
        if check.left_disconnected and ref not in codes.all_of(FollowUp):
            done.append(_raise(work, ref, latest[serial], codes))
    return tuple(done)


def _open_follow_ups(work: Work) -> dict[str, dict[str, FollowUpVersion]]:
    rows = work.session.execute(
        select(FollowUp.code, Instrument.code, FollowUpVersion)
        .join(FollowUpVersion, FollowUpVersion.follow_up_id == FollowUp.id)
        .join(Instrument, Instrument.id == FollowUpVersion.instrument_id)
        .where(
            FollowUpVersion.known_until.is_(None),
            FollowUpVersion.closed_on.is_(None),
            FollowUp.code.startswith(f"{PREFIX}:"),
        )
    )
    found: dict[str, dict[str, FollowUpVersion]] = {}
    for ref, serial, version in rows:
        found.setdefault(serial, {})[ref] = version
    return found


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
    visit_id = codes.id_of(Visit, record.visit_ref)
    closed_on = max(record.visited_on, version.raised_on)
    work.supersede(
        FollowUpVersion,
        version.id,
        key=ref,
        fields={"closed_on": (None, closed_on), "closed_by_visit": (None, record.visit_ref)},
    )
    kept = (
        "follow_up_id",
        "site_id",
        "instrument_id",
        "severity",
        "raised_on",
        "raised_by_visit_id",
        "description",
        "needs",
        "due_on",
    )
    row = {name: getattr(version, name) for name in kept}
    work.add(FollowUpVersion, [{**row, "closed_on": closed_on, "closed_by_visit_id": visit_id}])
    return Reconnection(ref, record.site_code, record.serial, record.visit_ref, closed=True)
