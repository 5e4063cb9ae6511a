"""Forecasts made again from the records before each check, beside what the check then found."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby

import numpy as np

from fleet.domain.audit.evidence import AuditedGauge, Evidence
from fleet.domain.found import Found, found_of
from fleet.domain.history import CheckRecord
from fleet.domain.state import GaugeState, advance
from fleet.stats.array import Bools, Floats
from fleet.stats.fleet_model import FleetModel, fit_fleet
from fleet.stats.forecast import as_it_stands
from fleet.stats.gauge_array import Standings, lay_out, stand_states

CAUSES = ("unfit", "drift", "blockage", "switch")
"""What is forecast of a check: any of the causes that a check can show, and each of them."""


@dataclass(frozen=True, slots=True)
class CheckForecast:
    """One check: the probability of each of `CAUSES` before it, and what it found.

    ``knock`` is the part of drift that a sudden change of level has: no check tells the two apart.
    """

    audited: AuditedGauge
    record: CheckRecord
    age_days: int
    interval_days: int
    probability: dict[str, float]
    knock: float
    found: Found

    @property
    def ratio(self) -> float:
        """Give the age of the service over the policy's interval."""
        return self.age_days / self.interval_days

    def outcome(self, cause: str) -> bool | None:
        """Tell whether a cause was found; None where the check does not tell."""
        found: bool | None = getattr(self.found, cause)
        return found


def replay(evidence: Evidence) -> list[CheckForecast]:
    """Forecast every check on record from the records before its day.

    Parameters
    ----------
    evidence : Evidence
        Every gauge that ever stood, with its whole history, and the policies.

    Returns
    -------
    list of CheckForecast
        In order of day, site, position and visit. The first ones rest on priors alone; it is
        for the caller to leave them out. A check on the day of installation is no forecast.

    Notes
    -----
    A gauge's own state holds every record up to the day before. The hyperparameters of the fleet
    are fitted at the start of each month to the records before it, of the gauges that stood
    then. Both verdict and forecast take the policy in force on the day of the check. The
    probability is of the causes that a check can show: a gauge left off its logger is found
    connected or not by nobody's test, so that cause is left out.
    """
    tracks = [_Track(audited) for audited in evidence.gauges]
    checks = sorted(_checks(tracks), key=lambda check: _order(check[1], check[0].audited))
    forecasts: list[CheckForecast] = []
    for (year, month), group in groupby(checks, key=lambda check: _month(check[1])):
        first = date(year, month, 1)
        model = fit_fleet([track.before(first) for track in tracks if track.stood_before(first)])
        forecasts += _forecast(evidence, model, list(group))
    return forecasts


def known_outcomes(
    forecasts: Sequence[CheckForecast], cause: str
) -> tuple[list[CheckForecast], Bools]:
    """Give the forecasts whose check tells whether a cause was there, and what it told."""
    told = [forecast for forecast in forecasts if forecast.outcome(cause) is not None]
    return told, np.array([bool(forecast.outcome(cause)) for forecast in told], dtype=bool)


class _Track:
    """A gauge's history, read on from day to day; the days asked about must not fall."""

    def __init__(self, audited: AuditedGauge) -> None:
        self.audited = audited
        self._records = audited.history.records
        self._next = 0
        self._state = GaugeState(gauge=audited.gauge)

    def before(self, day: date) -> GaugeState:
        """Give the state after every record before a day."""
        while self._next < len(self._records) and self._records[self._next].visited_on < day:
            self._state = advance(self._state, self._records[self._next])
            self._next += 1
        return self._state

    def stood_before(self, day: date) -> bool:
        """Tell whether the gauge stood at the end of the day before."""
        removed_on = self.audited.removed_on
        return self.audited.gauge.installed_on < day and (removed_on is None or removed_on >= day)


def _checks(tracks: Sequence[_Track]) -> Iterator[tuple[_Track, CheckRecord]]:
    for track in tracks:
        for record in track.audited.checks():
            if record.visited_on > track.audited.gauge.installed_on:
                yield track, record


def _order(record: CheckRecord, audited: AuditedGauge) -> tuple[date, str, str, str]:
    return record.visited_on, audited.gauge.site_code, audited.gauge.position, record.visit_ref


def _month(record: CheckRecord) -> tuple[int, int]:
    return record.visited_on.year, record.visited_on.month


def _forecast(
    evidence: Evidence, model: FleetModel, checks: Sequence[tuple[_Track, CheckRecord]]
) -> list[CheckForecast]:
    policies = [evidence.policy(t.audited.gauge, record.visited_on) for t, record in checks]
    standings = stand_states(
        [track.before(record.visited_on) for track, record in checks],
        policies,
        model=model,
        as_of=[record.visited_on for _, record in checks],
    )
    ages, intervals = standings.age_days.tolist(), standings.interval_days.tolist()
    probability, knock = _probabilities(standings)
    return [
        CheckForecast(
            audited=track.audited,
            record=record,
            age_days=ages[number],
            interval_days=intervals[number],
            probability={cause: float(values[number]) for cause, values in probability.items()},
            knock=float(knock[number]),
            found=found_of(record, track.audited.gauge, policies[number]),
        )
        for number, (track, record) in enumerate(checks)
    ]


def _probabilities(standings: Standings) -> tuple[dict[str, Floats], Floats]:
    now = as_it_stands(lay_out(standings), np.zeros(1))
    seen = replace(now, disconnection=np.zeros_like(now.disconnection))
    probability = (seen.unfit(), seen.tolerance, seen.blockage, seen.switch)
    by_cause = {cause: values[:, 0] for cause, values in zip(CAUSES, probability, strict=True)}
    return by_cause, now.knock[:, 0]
