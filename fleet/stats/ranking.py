"""The ranking: which gauge's service buys the most good record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fleet.domain.policy import Policy
from fleet.domain.state import GaugeState
from fleet.stats.array import Floats, Ints
from fleet.stats.fleet_model import FleetModel
from fleet.stats.forecast import Sudden, since_well
from fleet.stats.gauge_array import Standings, stand
from fleet.stats.gauge_column import GaugeColumns, columns_of
from fleet.stats.gauge_forecast import GaugeForecast, LevelForecast, SuddenForecast
from fleet.stats.growth import Growth, known_years, out_if_knocked, predict
from fleet.stats.policy_column import PolicyColumns, policy_columns
from fleet.stats.rain_weigh import RainEffect, RainView, rain_effects
from fleet.stats.rank_number import Course, RankNumbers, foresee, rank_numbers

HORIZON_DAYS = 365


@dataclass(frozen=True, slots=True, eq=False)
class RankedColumns:
    """A ranking of n gauges as arrays; rows with all that led to them are made when asked for.

    ``numbers`` are in the order of ``standings``; ``order``, shape (n,), holds the places of the
    gauges there, highest total first, equals by site, position, serial. ``rank`` is the other way
    about: of the gauge at each place, counted from 1.
    """

    standings: Standings
    numbers: RankNumbers
    order: Ints
    rank: Ints
    horizon_days: int
    rain: RainView | None

    def forecasts(
        self, places: Sequence[int] | Ints, states: Sequence[GaugeState]
    ) -> list[GaugeForecast]:
        """Make rows of the ranking.

        Parameters
        ----------
        places : sequence of int, length k
            Of gauges in ``standings``.
        states : sequence of GaugeState, length k
            Of the same gauges: the ones that the columns were laid out from.

        Returns
        -------
        list of GaugeForecast
            In the order asked for, with the numbers of ``numbers`` to the last bit.
        """
        index = np.asarray(places, dtype=np.int64)
        if not index.size:
            return []
        standings = self.standings.take(index)
        rain = None if self.rain is None else self.rain.take(index)
        course = foresee(standings, horizon_days=self.horizon_days, rain=rain)
        effects = _effects(course, rain)
        numbers = _by_gauge(
            rank=self.rank[index],
            age_days=standings.age_days,
            interval_days=standings.interval_days,
            days_overdue=standings.days_overdue,
            nominal_tips=standings.nominal_tips,
            **{field.name: getattr(course.numbers, field.name) for field in fields(RankNumbers)},
        )
        parts = _parts(standings, course, effects)
        return [
            GaugeForecast(
                state=state,
                policy=standings.policies.of(place),
                model=standings.model(place),
                as_of=date.fromordinal(int(standings.today[place])),
                horizon_days=self.horizon_days,
                rain=effects[place],
                **numbers[place],
                **parts[place],
            )
            for place, state in enumerate(states)
        ]


def rank_columns(
    columns: GaugeColumns,
    policies: PolicyColumns,
    model: FleetModel,
    *,
    as_of: date,
    horizon_days: int = HORIZON_DAYS,
    rain: RainView | None = None,
) -> RankedColumns:
    """Rank gauges by what a service of each on a day would buy.

    Parameters
    ----------
    columns : GaugeColumns
        n gauges, from records up to ``as_of``.
    policies : PolicyColumns
        In force on ``as_of``, of the same gauges in the same order.
    model : FleetModel
        Under which the evidence of the columns was weighed: of the whole fleet, so that a
        filtered list ranks as the whole does.
    as_of : date
        Day of the forecast.
    horizon_days : int, default 365
        How far a service's good is counted.
    rain : RainView, optional
        What the daily totals say of each gauge, in the same order; None leaves them out.

    Returns
    -------
    RankedColumns

    Raises
    ------
    ValueError
        Not one policy for each gauge, a gauge that knows of a day after ``as_of``, or a horizon
        of less than a day.

    Notes
    -----
    worth = w * integral from 0 to H of max(0, p - P(u)) du (`fleet.stats.worth_rule`); the policy's
    compliance is added for each day overdue.
    Checked against: a slow recomputation that shares no code (tests/stats/test_ranking.py).
    """
    if horizon_days < 1:
        raise ValueError(f"horizon_days {horizon_days} is below 1")
    standings = stand(columns, policies, model=model, as_of=as_of)
    numbers = rank_numbers(standings, horizon_days=horizon_days, rain=rain)
    order = _order(columns, numbers.total_record_days)
    rank = np.empty_like(order)
    rank[order] = np.arange(1, order.size + 1)
    return RankedColumns(standings, numbers, order, rank, horizon_days, rain)


def rank_states(
    states: Sequence[GaugeState],
    policies: Sequence[Policy],
    model: FleetModel,
    *,
    as_of: date,
    horizon_days: int = HORIZON_DAYS,
    rain: RainView | None = None,
) -> tuple[GaugeForecast, ...]:
    """Rank derived states, and give every row; see `rank_columns`.

    Returns
    -------
    tuple of GaugeForecast
        In order of rank. Empty for no states.
    """
    ranked = rank_columns(
        columns_of(states, model),
        policy_columns(policies),
        model,
        as_of=as_of,
        horizon_days=horizon_days,
        rain=rain,
    )
    return tuple(ranked.forecasts(ranked.order, [states[place] for place in ranked.order]))


def _order(columns: GaugeColumns, total: Floats) -> Ints:
    """Sort by total, highest first; only equals need to be told apart by who they are."""
    order = np.argsort(-total, kind="stable")
    same = np.zeros(order.size + 1, dtype=bool)  # as the one before, in order of rank
    same[1:-1] = np.diff(total[order]) == 0.0
    firsts, lasts = np.flatnonzero(same[1:] & ~same[:-1]), np.flatnonzero(same[:-1] & ~same[1:])
    for first, last in zip(firsts, lasts, strict=True):
        equals = order[first : last + 1]
        order[first : last + 1] = sorted(equals, key=lambda place: _who(columns, place))
    return order


def _who(columns: GaugeColumns, place: int) -> tuple[str, str, str]:
    return columns.site_code[place], columns.position[place], columns.serial[place]


def _effects(course: Course, rain: RainView | None) -> list[RainEffect | None]:
    dry = course.dry
    if rain is None or course.weighed is None:
        return [None] * dry.p.size
    without = _by_gauge(p=dry.p, worth_record_days=dry.worth_record_days)
    return rain_effects(rain, course.weighed, without)


def _parts(
    standings: Standings, course: Course, effects: Sequence[RainEffect | None]
) -> list[dict[str, Any]]:
    """Work out the numbers that belong to each cause."""
    gauges, now, columns = course.gauges, course.now, standings.columns
    drift = _by_gauge(
        known=standings.level_known,
        doubted=columns.drift_doubted,
        p=now.drift[:, 0],
        **_grown(gauges.drift, gauges.drift_age_days),
    )
    resistance = _by_gauge(
        known=standings.ohm_known,
        doubted=columns.ohm_doubted,
        p=now.resistance[:, 0],
        **_grown(gauges.resistance, gauges.resistance_age_days),
    )
    out_share = out_if_knocked(gauges.drift, gauges.knock_sd)[:, 0]
    never = np.zeros(len(standings), dtype=bool)
    knock = _by_gauge(left=never, p=now.knock[:, 0], **_law(gauges.knock))
    blockage = _by_gauge(left=gauges.blocked, p=now.blockage[:, 0], **_law(gauges.blockage))
    deaths = _by_gauge(left=gauges.dead, p=now.deaths[:, 0], **_law(gauges.deaths))
    return [
        {
            "drift": LevelForecast(**{**drift[i], **_level_of_today(effects[i])}),
            "knock": SuddenForecast(**knock[i]),
            "knock_out_share": float(out_share[i]),
            "resistance": LevelForecast(**resistance[i]),
            "blockage": SuddenForecast(**blockage[i]),
            "deaths": SuddenForecast(**deaths[i]),
        }
        for i in range(len(standings))
    ]


def _level_of_today(effect: RainEffect | None) -> dict[str, float]:
    return {} if effect is None else {"now": effect.level_now, "now_sd": effect.level_sd}


def _grown(growth: Growth, age_days: Ints) -> dict[str, NDArray[Any]]:
    years = known_years(growth, age_days)
    now, now_sd = predict(growth, years)
    return {
        "start": growth.start,
        "start_sd": np.sqrt(growth.start_variance),
        "age_days": age_days,
        "age_years": years,
        "rate_per_year": growth.rate,
        "rate_sd": np.sqrt(growth.rate_variance),
        "walk_sd": np.sqrt(growth.walk_variance),
        "now": now,
        "now_sd": now_sd,
        "low": growth.low,
        "high": growth.high,
    }


def _law(sudden: Sudden) -> dict[str, NDArray[Any]]:
    hazard = sudden.hazard
    spent, silence = since_well(sudden)
    return {
        "shape": hazard.shape,
        "scale_years": hazard.scale_years,
        "age_days": sudden.age_days,
        "new_days": sudden.new_days,
        "exposure": spent,
        "unnoticed": silence,
    }


def _by_gauge(**columns: NDArray[Any]) -> list[dict[str, Any]]:
    """Turn columns into one dictionary a gauge, of plain Python numbers."""
    lists = [column.tolist() for column in columns.values()]
    return [dict(zip(columns, values, strict=True)) for values in zip(*lists, strict=True)]
