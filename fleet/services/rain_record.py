"""Gather from the records what the comparison of daily totals looks at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np
from sqlalchemy.orm import Session

from fleet.domain.check import limits_percent
from fleet.domain.code import Phase
from fleet.domain.history import Gauge, GaugeHistory
from fleet.domain.policy import PolicyBook
from fleet.errors import NotFoundError
from fleet.stats.array import Bools
from fleet.stats.neighbour_known import LevelTest, known_levels, level_test
from fleet.stats.neighbour_record import RainRecord
from fleet.store.queries.check import kept_checks
from fleet.store.queries.gauge import InstalledGauge, installed_gauges
from fleet.store.queries.history import join_histories
from fleet.store.queries.place import KeptSite, sites
from fleet.store.queries.policy import policy_book
from fleet.store.queries.rain import DailyRain, daily_rain

MELTING = ("snow", "frost")
"""Flags after which the next day's total may be the melt of what fell before."""

USUAL_TIP_MM = 0.2
USUAL_TOLERANCE_PERCENT = 5.0
"""What stands in for a position without a gauge, which is only a neighbour."""

LEAST_TOLERANCE_PERCENT = 0.5
"""A tolerance is taken to reach at least so far to both sides of 0."""

COMPARED_DAYS = 1096
"""Three years of totals are compared: older ones tell little more of a usual ratio, and places
change (own estimate)."""

Key = tuple[str, str]
"""Site code and position."""


@dataclass(frozen=True, slots=True, eq=False)
class GatheredRain:
    """The record, and who stood at each of its n rows.

    ``gauges`` holds the gauge installed on the day asked about, None where none is;
    ``installed`` every gauge that ever stood there; ``services`` the visits that ended a span, by
    day, an exchange without a visit as ''. ``without_totals`` are gauges without any daily total.
    """

    record: RainRecord
    keys: tuple[Key, ...]
    first_day: date
    gauges: tuple[Gauge | None, ...]
    installed: Mapping[Key, Sequence[InstalledGauge]]
    services: tuple[Mapping[date, str], ...]
    without_totals: tuple[Gauge, ...]

    def day(self, column: int) -> date:
        """Give the day of a column."""
        return self.first_day + timedelta(days=column)

    def serial_on(self, row: int, day: date) -> str:
        """Give the serial that stood at a row's position on a day, '' for none."""
        for one in reversed(self.installed.get(self.keys[row], ())):
            if one.gauge.installed_on <= day and (one.removed_on is None or day <= one.removed_on):
                return one.gauge.serial
        return ""


def compared_since(as_of: date, ended_since: date | None = None) -> date:
    """Give the first day of the totals that a comparison of neighbours looks at.

    Parameters
    ----------
    as_of : date
        Last day.
    ended_since : date, optional
        Spans that ended from this day on are judged too, so as much is seen before it.
    """
    seen_from = as_of if ended_since is None else min(as_of, ended_since)
    return seen_from - timedelta(days=COMPARED_DAYS)


def gather_rain(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    since: date = date.min,
) -> GatheredRain:
    """Read the daily totals of the network, as `find_rain` does.

    Raises
    ------
    NotFoundError
        There is no daily total up to that day.
    """
    found = find_rain(session, as_of=as_of, known_on=known_on, since=since)
    if found is None:
        raise NotFoundError(
            f"There are no daily totals up to {as_of}. Load a daily_totals table first."
        )
    return found


def find_rain(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    since: date = date.min,
) -> GatheredRain | None:
    """Read the daily totals of the network, with the services and tests that divide them.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Nothing after this day is read.
    known_on : datetime, optional
        As the records were known then; None is now.
    since : date, optional
        Totals before this day are not read; `compared_since` gives it for a comparison.

    Returns
    -------
    GatheredRain or None
        Rows in order of site and position; None where there is no daily total up to that day.

    Raises
    ------
    ConflictError
        A term of the policy was set by no row in force on the day.

    Notes
    -----
    Left out as not to be trusted as rain: totals with any flag, the day after snow or frost (the
    melt), and the days of services (test tips, and hours off the logger).
    """
    rain = daily_rain(session, as_of=as_of, known_on=known_on, since=since)
    if not rain.keys:
        return None
    installed = installed_gauges(session, as_of=as_of, known_on=known_on, since=date.min)
    standing = [one for one in installed if one.removed_on is None or one.removed_on > as_of]
    checks = kept_checks(session, as_of=as_of, known_on=known_on)
    histories = {_key(h.gauge): h for h in join_histories(standing, checks)}
    gauges = tuple(histories[key].gauge if key in histories else None for key in rain.keys)
    by_key = _by_key(installed)
    services = tuple(_services(by_key.get(key, ()), histories.get(key)) for key in rain.keys)
    record = _record(
        rain,
        services,
        gauges,
        places=sites(session, known_on=known_on),
        limits=_limits(gauges, policy_book(session, known_on=known_on), as_of),
    )
    tests = [_tests(histories.get(key), rain.first_day) for key in rain.keys]
    levels = known_levels(tests, days=record.total_mm.shape[1])
    with_totals = set(rain.keys)
    return GatheredRain(
        record=replace(record, level_log=levels.level_log, level_sd=levels.level_sd),
        keys=rain.keys,
        first_day=rain.first_day,
        gauges=gauges,
        installed=by_key,
        services=services,
        without_totals=tuple(h.gauge for key, h in histories.items() if key not in with_totals),
    )


def _key(gauge: Gauge) -> Key:
    return gauge.site_code, gauge.position


def _by_key(installed: Sequence[InstalledGauge]) -> dict[Key, list[InstalledGauge]]:
    found: dict[Key, list[InstalledGauge]] = {}
    for one in installed:
        found.setdefault(_key(one.gauge), []).append(one)
    return found


def _services(installed: Sequence[InstalledGauge], history: GaugeHistory | None) -> dict[date, str]:
    """Give the days on which a gauge at a position was serviced or exchanged, with the visit."""
    found = {one.gauge.installed_on: "" for one in installed}
    for record in history.records if history else ():
        if record.same_site and record.serviced:
            found[record.visited_on] = record.visit_ref
    return found


def _tests(history: GaugeHistory | None, first_day: date) -> list[LevelTest]:
    """Give what the visits to a gauge at its place measured of its level."""
    if history is None:
        return []
    return [
        level_test(record, history.gauge.tip_ml, column=(record.visited_on - first_day).days)
        for record in history.records
        if record.same_site and record.same_instrument and record.serviced
    ]


def _limits(
    gauges: Sequence[Gauge | None], book: PolicyBook, as_of: date
) -> list[tuple[float, float]]:
    """Give the errors in percent at which each gauge is out of tolerance as found."""
    found = []
    for gauge in gauges:
        low, high = -USUAL_TOLERANCE_PERCENT, USUAL_TOLERANCE_PERCENT
        if gauge is not None:
            policy = book.in_force(type_code=gauge.type_code, site_code=gauge.site_code, on=as_of)
            tips = gauge.test_volume_ml / gauge.tip_ml
            low, high = limits_percent(policy, Phase.AS_FOUND, nominal_tips=tips)
        found.append((min(low, -LEAST_TOLERANCE_PERCENT), max(high, LEAST_TOLERANCE_PERCENT)))
    return found


def _record(
    rain: DailyRain,
    services: Sequence[Mapping[date, str]],
    gauges: Sequence[Gauge | None],
    *,
    places: Mapping[str, KeptSite],
    limits: Sequence[tuple[float, float]],
) -> RainRecord:
    serviced = np.zeros(rain.total_mm.shape, dtype=bool)
    for row, days in enumerate(services):
        columns = [(day - rain.first_day).days for day in days]
        serviced[row, np.array([c for c in columns if 0 <= c < len(serviced[row])], int)] = True
    at = [places[site] for site, _ in rain.keys]
    return RainRecord(
        total_mm=np.where(_doubtful(rain) | serviced, np.float32(np.nan), rain.total_mm),
        serviced=serviced,
        latitude_deg=np.array([place.latitude_deg for place in at]),
        longitude_deg=np.array([place.longitude_deg for place in at]),
        tip_mm=np.array([USUAL_TIP_MM if g is None else g.bucket_mm for g in gauges]),
        low_percent=np.array([low for low, _ in limits]),
        high_percent=np.array([high for _, high in limits]),
    )


def _doubtful(rain: DailyRain) -> Bools:
    """Tell which totals may not be trusted as rain: flagged, or the melt of the day before."""
    melt = np.roll(rain.flagged(*MELTING), 1, axis=1)
    melt[:, :1] = False
    return rain.flagged() | melt
