"""The numbers that place gauges in the ranking, as arrays, worked out share by share."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from fleet.stats.array import Floats, Ints
from fleet.stats.forecast import Causes, Gauges, after_service, as_it_stands
from fleet.stats.gauge_array import Standings, lay_out
from fleet.stats.rain_weigh import RainView, Weighed, weigh_rain
from fleet.stats.worth import driver_shares, worth_record_days
from fleet.stats.worth_rule import NODES, integrate_gain, worth_days

SHARE = 16_384
"""Gauges that are worked out at once: an array of theirs by the days of the rule has 3 MB."""


@dataclass(frozen=True, slots=True, eq=False)
class RankNumbers:
    """What the ranking says of n gauges as wholes, every array of shape (n,).

    As in `fleet.stats.gauge_forecast.GaugeForecast`.
    """

    p_drift: Floats
    p_blockage: Floats
    p_switch: Floats
    p_disconnection: Floats
    p: Floats
    p_after_service: Floats
    p_at_horizon: Floats
    worth_record_days: Floats
    compliance_record_days: Floats
    total_record_days: Floats
    age_share: Floats
    drift_share: Floats
    switch_share: Floats

    @property
    def leading(self) -> Ints:
        """Give the driver with most share: 0 age, 1 drift, 2 switch; of equals the first."""
        shares = np.stack([self.age_share, self.drift_share, self.switch_share])
        return np.asarray(np.argmax(shares, axis=0))


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The forecast of n gauges, with the numbers that it gives.

    ``weighed`` is the forecast with the rain and ``dry`` are the numbers without it; None and the
    same numbers where no rain was seen.
    """

    gauges: Gauges
    now: Causes
    numbers: RankNumbers
    weighed: Weighed | None
    dry: RankNumbers


def rank_numbers(
    standings: Standings, *, horizon_days: int, rain: RainView | None = None
) -> RankNumbers:
    """Work out the numbers that place gauges in the ranking.

    Parameters
    ----------
    standings : Standings
        n gauges.
    horizon_days : int
        How far a service's good is counted, at least 1.
    rain : RainView, optional
        What the daily totals say of the same gauges, in the same order.

    Returns
    -------
    RankNumbers
        In the order of the standings. A gauge's numbers are the same to the last bit whichever
        gauges are worked out with it.
    """
    starts = range(0, len(standings), SHARE) or (0,)
    parts = []
    for start in starts:
        rows = np.arange(start, min(start + SHARE, len(standings)))
        seen = None if rain is None else rain.take(rows)
        parts.append(foresee(standings.take(rows), horizon_days=horizon_days, rain=seen).numbers)
    names = [field.name for field in fields(RankNumbers)]
    return RankNumbers(
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    )


def foresee(standings: Standings, *, horizon_days: int, rain: RainView | None) -> Course:
    """Forecast a share of the gauges; see `rank_numbers`."""
    gauges, days = lay_out(standings), worth_days(horizon_days)
    now = as_it_stands(gauges, np.zeros(1))
    fresh = after_service(gauges, days).unfit()
    dry = _numbers(standings, now, fresh, horizon_days=horizon_days, rain=None)
    if rain is None:
        return Course(gauges, now, dry, None, dry)
    weighed = weigh_rain(gauges, rain, days=days)
    numbers = _numbers(
        standings, weighed.now, weighed.fresh.unfit(), horizon_days=horizon_days, rain=rain
    )
    return Course(gauges, weighed.now, numbers, weighed, dry)


def _numbers(
    standings: Standings,
    now: Causes,
    fresh: Floats,
    *,
    horizon_days: int,
    rain: RainView | None,
) -> RankNumbers:
    unfit = now.unfit()[:, 0]
    worth = _worth(standings, unfit, fresh, horizon_days=horizon_days, rain=rain)
    compliance = standings.policies.numbers("compliance_record_days") * standings.days_overdue
    shares = driver_shares(now, worth=worth, compliance=compliance)
    return RankNumbers(
        p_drift=now.tolerance[:, 0],
        p_blockage=now.blockage[:, 0],
        p_switch=now.switch[:, 0],
        p_disconnection=now.disconnection[:, 0],
        p=unfit,
        p_after_service=fresh[:, 0],
        p_at_horizon=fresh[:, -1],
        worth_record_days=worth,
        compliance_record_days=compliance,
        total_record_days=worth + compliance,
        age_share=shares.age,
        drift_share=shares.drift,
        switch_share=shares.switch,
    )


def _worth(
    standings: Standings,
    unfit: Floats,
    fresh: Floats,
    *,
    horizon_days: int,
    rain: RainView | None,
) -> Floats:
    """Integrate the gain over few days, over more where those may not tell it, or by the day."""
    gain, unsure = np.zeros(unfit.size), np.arange(unfit.size)
    for nodes in NODES:
        days = worth_days(horizon_days, nodes)
        after = fresh if nodes == NODES[0] else _unfit_after(standings.take(unsure), days, rain)
        found = integrate_gain(unfit[unsure], after, horizon_days=horizon_days)
        gain[unsure] = found.days
        unsure = unsure[~found.sure]
        if not unsure.size:
            return standings.columns.importance * gain
        rain = None if rain is None else rain.take(np.flatnonzero(~found.sure))
    days = np.arange(horizon_days + 1, dtype=np.float64)
    after = _unfit_after(standings.take(unsure), days, rain)
    one = np.ones(unsure.size)
    gain[unsure] = worth_record_days(unfit[unsure], after, days=days, importance=one)
    return standings.columns.importance * gain


def _unfit_after(standings: Standings, days: Floats, rain: RainView | None) -> Floats:
    """Give the probability of being unfit on days after a service, shape (n, g)."""
    gauges = lay_out(standings)
    if rain is None:
        return after_service(gauges, days).unfit()
    return weigh_rain(gauges, rain, days=days).fresh.unfit()
