"""The classic own goal: a gauge left off its logger. Raise it at once, close it when mended."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select

from fleet.domain.code import Severity
from fleet.services.record_map import Codes, value_columns
from fleet.services.record_write import add_codes
from fleet.store.journal import Work
from fleet.store.models.instrument import Installation, Instrument
from fleet.store.models.site import Site
from fleet.store.models.visit import FollowUp, FollowUpVersion, GaugeCheck, Visit
from fleet.store.queries.connection import ConnectionWord, connection_words

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
    work: Work, *, codes: Codes, instrument_ids: frozenset[int] | None = None
) -> tuple[Reconnection, ...]:
    """Raise an urgent follow-up for each gauge that was last left without a proven reconnection.

    A check that says nothing of the connection neither raises nor closes anything. An instrument
    that was taken away needs no reconnection.

    Parameters
    ----------
    work : Work
        The open transaction, with its visits already written.
    codes : Codes
        Of this transaction.
    instrument_ids : frozenset of int, optional
        Instruments to look at; None: those that were checked in this transaction.

    Returns
    -------
    tuple of Reconnection
        What was raised and what was closed because a later check proves the reconnection.
    """
    touched = _touched_instruments(work) if instrument_ids is None else instrument_ids
    if not touched:
        return ()
    gone = _removals(work)
    kept = _kept_follow_ups(work)
    done: list[Reconnection] = []
    for serial, word in sorted(_last_words(work, touched, gone).items()):
        lost = word.lost and not gone(word)
        ref = f"{PREFIX}:{word.visit_ref}:{serial}"
        for open_ref, version in sorted(kept.get(serial, {}).items()):
            if version.closed_on is None and (open_ref != ref or not lost):
                done.append(_close(work, version, open_ref, word, codes))
        former = kept.get(serial, {}).get(ref)
        if lost and former is None:
            done.append(_raise(work, ref, word, codes))
        elif lost and former is not None and _closed_by_itself(former):
            done.append(_reopen(work, former, ref, word))
    return tuple(done)


def _touched_instruments(work: Work) -> frozenset[int]:
    first = work.first_id(GaugeCheck)
    if first is None:
        return frozenset()
    rows = work.session.execute(
        select(GaugeCheck.instrument_id).where(GaugeCheck.id >= first).distinct()
    )
    return frozenset(rows.scalars())


def _last_words(
    work: Work, touched: frozenset[int], gone: Callable[[ConnectionWord], bool]
) -> dict[str, ConnectionWord]:
    """Give the last check of each instrument that says anything of its connection."""
    few = touched if len(touched) <= _IDS_A_QUERY else None
    return {
        word.serial: word
        for word in connection_words(work.session, instrument_ids=few)
        if word.instrument_id in touched and (word.tells or gone(word))
    }


def _removals(work: Work) -> Callable[[ConnectionWord], bool]:
    rows = work.session.execute(
        select(Installation.instrument_id, Installation.installed_on, Installation.removed_on)
        .where(Installation.known_until.is_(None))
        .order_by(Installation.instrument_id, Installation.installed_on)
    )
    spans: dict[int | None, list[tuple[date, date | None]]] = defaultdict(list)
    for instrument_id, installed_on, removed_on in rows:
        spans[instrument_id].append((installed_on, removed_on))

    def gone(word: ConnectionWord) -> bool:
        """Tell whether the instrument stood nowhere any more at the end of the visit's day."""
        day = word.visited_on
        begun = [until for since, until in spans[word.instrument_id] if since <= day]
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


def _raise(work: Work, ref: str, word: ConnectionWord, codes: Codes) -> Reconnection:
    add_codes(work, FollowUp, [ref], codes)
    row: Mapping[str, object] = {
        "follow_up_id": codes.id_of(FollowUp, ref),
        "site_id": codes.id_of(Site, word.site_code),
        "instrument_id": codes.id_of(Instrument, word.serial),
        "severity": Severity.URGENT,
        "raised_on": word.visited_on,
        "raised_by_visit_id": codes.id_of(Visit, word.visit_ref),
        "description": (
            f"Visit {word.visit_ref} does not prove that gauge {word.serial} was put back "
            "on its logger: the record may be lost until somebody checks."
        ),
        "needs": "confirm that tips arrive at the logger; reconnect and prove it",
        "due_on": word.visited_on,
    }
    work.add(FollowUpVersion, [row])
    return Reconnection(ref, word.site_code, word.serial, word.visit_ref, closed=False)


def _close(
    work: Work, version: FollowUpVersion, ref: str, word: ConnectionWord, codes: Codes
) -> Reconnection:
    closed_on = max(word.visited_on, version.raised_on)
    fields = {"closed_on": (None, closed_on), "closed_by_visit": (None, word.visit_ref)}
    work.supersede(FollowUpVersion, version.id, key=ref, fields=fields)
    visit_id = codes.id_of(Visit, word.visit_ref)
    work.add(
        FollowUpVersion,
        [{**_content(version), "closed_on": closed_on, "closed_by_visit_id": visit_id}],
    )
    return Reconnection(ref, word.site_code, word.serial, word.visit_ref, closed=True)


def _reopen(work: Work, version: FollowUpVersion, ref: str, word: ConnectionWord) -> Reconnection:
    fields = {
        "closed_on": (version.closed_on, None),
        "closed_by_visit": (word.visit_ref, None),
    }
    work.supersede(FollowUpVersion, version.id, key=ref, fields=fields)
    work.add(
        FollowUpVersion, [{**_content(version), "closed_on": None, "closed_by_visit_id": None}]
    )
    return Reconnection(ref, word.site_code, word.serial, word.visit_ref, closed=False)


def _content(version: FollowUpVersion) -> dict[str, object]:
    return {name: getattr(version, name) for name in value_columns(FollowUpVersion)}
