"""What going to each site this week saves against going in its turn, due already or not yet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from fleet.domain.plan import Plan, TechnicianDay
from fleet.planning.ahead import FEWEST_NEIGHBOURS, minutes_apart
from fleet.services.ranking import RankedGauge
from fleet.services.round_problem import WeekProblem
from fleet.services.round_request import DAYS_IN_WEEK
from fleet.stats.ahead import due_at_cost, price_of_time, worth_ahead
from fleet.stats.array import Floats
from fleet.stats.forecast import Gauges, after_service
from fleet.stats.gauge_array import lay_out, stand_rows
from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.rain_ahead import again_days, unfit_ahead
from fleet.stats.rain_weigh import watched_on

GRID = np.arange(0.0, 1096.0, 7.0)
"""Days looked at: three years by the week, for cycles that are longer than the horizon."""

MINUTES_PER_HOUR = 60.0

TURN_NOTE = (
    "Planned by what going this week saves against going in each site's turn. Sites left out are "
    "weighed that way; the plan's own record-days are those of the ranking."
)
"""Kept with a plan, so that nobody takes its choice for that of the ranking's worths."""


@dataclass(frozen=True, slots=True)
class Along:
    """What going now adds to a site's worth, when it is due alone, and what it then costs.

    ``record_days`` is below 0 where the ranking counts longer than the site would have to wait.
    ``due_on`` is None beyond three years; ``drive_min`` is what the site adds to the driving of
    another week.
    """

    record_days: float
    due_on: date | None
    drive_min: float

    def later_than(self, day: date) -> bool:
        """Tell whether the site falls due after a day."""
        return self.due_on is None or self.due_on > day


def weigh_against_turn(week: WeekProblem, *, as_of: date) -> tuple[WeekProblem, dict[str, Along]]:
    """Weigh each site against a trip in its turn, when somebody comes anyway.

    Parameters
    ----------
    week : WeekProblem
        As posed by worth alone.
    as_of : date
        Day of the evidence.

    Returns
    -------
    WeekProblem
        The same with the worths of candidates raised or lowered.
    dict
        By site code, of every candidate.

    Notes
    -----
    A crew's minute has the price at which the week's crews are just used up (`price_of_time`);
    without a shortage that of driving. The gauges of a site share its trip. A gauge that is due
    never has to wait for one that is not and costs as much.
    """
    candidates = week.problem.candidates
    if not candidates or not week.problem.technician_days:
        return week, {}
    minutes_a_day = _minutes_a_day(week.problem.technician_days)
    service = np.array([c.service_min for c in candidates], dtype=np.float64)
    drive = _drives(week, service, minutes_a_day)
    gains = _gains(week, service, drive, as_of=as_of, minutes_a_day=minutes_a_day)
    weighed = (replace(c, worth=c.worth + gains[c.place.key].record_days) for c in candidates)
    problem = replace(week.problem, candidates=tuple(weighed))
    return replace(week, problem=problem), gains


def own_worth(plan: Plan, gains: Mapping[str, Along]) -> Plan:
    """Give a plan its worth without what passing by saves."""
    stops = (stop.site_code for day in plan.days for stop in day.stops)
    saved = sum(gains[code].record_days for code in stops if code in gains)
    return replace(plan, worth=plan.worth - saved)


def along_sentences(week: WeekProblem, plan: Plan, gains: Mapping[str, Along]) -> list[str]:
    """Tell of every planned stop that is taken along when it falls due and what that saves."""
    starts = {
        (d.day, d.technician_code): (d.start.key, d.end.key) for d in week.problem.technician_days
    }
    sentences = []
    for day in plan.days:
        start, end = starts[day.day, day.technician_codes[0]]
        keys = [start, *(stop.site_code for stop in day.stops), end]
        for before, code, after in zip(keys, keys[1:-1], keys[2:], strict=False):
            travel = week.problem.travel
            detour = travel.drive_min(before, code) + travel.drive_min(code, after)
            detour -= travel.drive_min(before, after)
            along = gains.get(code)
            if along is not None and along.later_than(day.day) and along.drive_min > detour:
                sentences.append(_sentence(code, along, along.drive_min - detour))
    return sentences


def _sentence(code: str, along: Along, saved_min: float) -> str:
    due = "in more than three years" if along.due_on is None else f"on {along.due_on}"
    return f"{code} is taken along: falls due {due}, saves about {saved_min:.0f} min later."


def _minutes_a_day(days: Sequence[TechnicianDay]) -> float:
    usable = sum(day.ends_min - day.starts_min - day.break_min for day in days)
    return usable / DAYS_IN_WEEK


def _drives(week: WeekProblem, service: Floats, minutes_a_day: float) -> Floats:
    """Estimate the drive to each site in another week, and from it how many a week visits."""
    candidates, travel = week.problem.candidates, week.problem.travel
    near = minutes_apart(candidates, travel, sites_a_week=len(candidates) / FEWEST_NEIGHBOURS)
    a_week = DAYS_IN_WEEK * minutes_a_day / float(np.mean(service + near))
    return minutes_apart(candidates, travel, sites_a_week=max(a_week, 1e-6))


def _gains(
    week: WeekProblem, service: Floats, drive: Floats, *, as_of: date, minutes_a_day: float
) -> dict[str, Along]:
    """Work out gauge by gauge what going now is worth, and add it up by site."""
    candidates = week.problem.candidates
    ranked = [week.work[c.place.key].gauges for c in candidates]
    site = np.repeat(np.arange(len(ranked)), [len(gauges) for gauges in ranked])
    each = [gauge for gauges in ranked for gauge in gauges]
    share = 1.0 / np.array([len(gauges) for gauges in ranked])[site]
    fresh, ahead = _forecasts(each)
    minutes = share * (service + drive)[site]
    price = price_of_time(fresh, GRID, minutes=minutes, minutes_a_day=minutes_a_day)
    least = week.problem.settings.drive_price_days_per_h / MINUTES_PER_HOUR * share * drive[site]
    due = due_at_cost(fresh, GRID, np.maximum(price * minutes, least))
    again = again_days(due.cycle_days, _spans(each))
    worth, days = worth_ahead(ahead, GRID, due, again_days=again)
    gained = worth - np.array([gauge.forecast.worth_record_days for gauge in each])
    return {
        candidate.place.key: Along(
            record_days=float(gained[site == number].sum()),
            due_on=_due_on(as_of, float(days[site == number].min())),
            drive_min=float(drive[number]),
        )
        for number, candidate in enumerate(candidates)
    }


def _forecasts(gauges: Sequence[RankedGauge]) -> tuple[Floats, Floats]:
    """Give P(u) after a service now and p(v) without one, times the importance."""
    standings = stand_rows([gauge.forecast for gauge in gauges])
    arrays = _with_levels(lay_out(standings), gauges)
    spans = _spans(gauges)
    now = np.array([g.forecast.p for g in gauges], dtype=np.float64)
    importance = standings.columns.importance[:, np.newaxis]
    after = watched_on(after_service(arrays, GRID), spans, days=GRID).unfit()
    fresh = np.maximum.accumulate(after, axis=1)
    return importance * fresh, importance * unfit_ahead(arrays, now, spans, days=GRID)


def _spans(gauges: Sequence[RankedGauge]) -> list[SpanEvidence | None]:
    return [g.forecast.rain.span if g.forecast.rain else None for g in gauges]


def _with_levels(arrays: Gauges, gauges: Sequence[RankedGauge]) -> Gauges:
    """Start the drift at the level of today where the rain tells one."""
    rain = [g.forecast.rain for g in gauges]
    told = np.array([effect is not None for effect in rain])
    level = np.array([effect.level_now if effect else 0.0 for effect in rain])
    sd = np.array([effect.level_sd if effect else 0.0 for effect in rain])
    drift = replace(
        arrays.drift,
        start=np.where(told, level, arrays.drift.start),
        start_variance=np.where(told, sd**2, arrays.drift.start_variance),
    )
    return replace(arrays, drift=drift, drift_age_days=np.where(told, 0, arrays.drift_age_days))


def _due_on(as_of: date, days: float) -> date | None:
    return as_of + timedelta(days=days) if np.isfinite(days) else None
