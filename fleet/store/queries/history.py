"""The history of each gauge: its instrument's own records and those of its place."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime

from sqlalchemy.orm import Session

from fleet.domain.history import CheckRecord, GaugeHistory
from fleet.store.queries.check import KeptCheck, kept_checks
from fleet.store.queries.gauge import InstalledGauge, gauges_named, installed_gauges

GAUGES_A_SHARE = 1000
"""So many gauges' histories are held at once: some 10,000 visits where each has ten."""


def gauge_histories(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    depot_code: str | None = None,
    site_codes: Collection[str] | None = None,
) -> list[GaugeHistory]:
    """Give the history of every gauge installed on a day.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Records after this day are not seen.
    known_on : datetime, optional
        As the records were known then; None is now.
    depot_code : str, optional
        Only gauges of that depot.
    site_codes : collection of str, optional
        Only gauges at these sites; no other visits are read than those that concern them.

    Returns
    -------
    list of GaugeHistory
        In order of site code and position; records in order of day.
    """
    gauges = installed_gauges(
        session, as_of=as_of, known_on=known_on, depot_code=depot_code, site_codes=site_codes
    )
    about = None if site_codes is None else gauges
    return join_histories(gauges, kept_checks(session, as_of=as_of, known_on=known_on, about=about))


def history_shares(
    session: Session,
    installation_ids: Sequence[int],
    *,
    as_of: date,
    known_on: datetime | None = None,
) -> Iterator[list[GaugeHistory]]:
    """Give the histories of gauges share by share, so that memory does not grow with them.

    Parameters
    ----------
    session : Session
        Only read from.
    installation_ids : sequence of int
        The gauges by their installations; one not known then is passed over.
    as_of : date
        Records after this day are not seen; `datetime.date.max` sees all.
    known_on : datetime, optional
        As the records were known then; None is now.

    Yields
    ------
    list of GaugeHistory
        Of at most `GAUGES_A_SHARE` gauges; the same of each gauge as `gauge_histories` gives.
    """
    for start in range(0, len(installation_ids), GAUGES_A_SHARE):
        named = installation_ids[start : start + GAUGES_A_SHARE]
        share = gauges_named(session, named, known_on=known_on)
        checks = kept_checks(session, as_of=as_of, known_on=known_on, about=share)
        yield join_histories(share, checks)


def join_histories(
    gauges: Iterable[InstalledGauge], checks: Sequence[KeptCheck]
) -> list[GaugeHistory]:
    """Give each gauge the checks of its instrument, and those of its place.

    Parameters
    ----------
    gauges : iterable of InstalledGauge
    checks : sequence of KeptCheck
        In order of day.

    Returns
    -------
    list of GaugeHistory
        In the order of the gauges.
    """
    by_instrument: dict[int, list[int]] = defaultdict(list)
    by_place: dict[tuple[int, str | None], list[int]] = defaultdict(list)
    for number, check in enumerate(checks):
        if check.instrument_id is None:
            by_place[check.site_id, None].append(number)
            continue
        by_instrument[check.instrument_id].append(number)
        if check.position is not None:
            by_place[check.site_id, check.position].append(number)
    histories = []
    for installed in gauges:
        own = by_instrument[installed.instrument_id]
        place = by_place[installed.site_id, installed.gauge.position]
        unreached = by_place[installed.site_id, None]
        numbers = sorted({*own, *place, *unreached})
        records = tuple(_record(checks[number], installed) for number in numbers)
        histories.append(GaugeHistory(installed.gauge, records))
    return histories


def _record(check: KeptCheck, installed: InstalledGauge) -> CheckRecord:
    here = check.site_id == installed.site_id and check.position in (
        None,
        installed.gauge.position,
    )
    own = check.instrument_id in (None, installed.instrument_id)
    if here and own:
        return check.record
    return replace(check.record, same_site=here, same_instrument=own)
