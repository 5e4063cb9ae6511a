"""What a service now is worth, in record-days, and which driver it owes that to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.stats.array import Floats
from fleet.stats.forecast import Causes


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """Each driver's part of a gauge's worth, shape (n,); the three sum to 1."""

    age: Floats
    drift: Floats
    switch: Floats


def worth_record_days(
    unfit: Floats, unfit_after_service: Floats, *, days: Floats, importance: Floats
) -> Floats:
    """Give the good record that servicing each gauge now buys.

    Parameters
    ----------
    unfit : ndarray, shape (n,)
        Probability p that the gauge is unfit now.
    unfit_after_service : ndarray, shape (n, g)
        Probability P(u) that it is unfit so many days after a service.
    days : ndarray, shape (g,)
        The days u, rising from 0 to the horizon H; a day apart is fine enough.
    importance : ndarray, shape (n,)
        Weight w of the gauge, 1 = ordinary.

    Returns
    -------
    ndarray, shape (n,)
        w times the integral from 0 to H of max(0, p - P(u)) du, in record-days, not negative.

    Notes
    -----
    The price at which servicing now is exactly as good as waiting (index of a restless bandit),
    so worths of different gauges may be added and weighed against hours of driving. Trapezoid
    rule. Checked against: a slow loop with math.erf (tests/stats/test_ranking.py).
    """
    gain = np.maximum(unfit[:, np.newaxis] - unfit_after_service, 0.0)
    return np.asarray(importance * np.trapezoid(gain, days, axis=1), dtype=np.float64)


def driver_shares(now: Causes, *, worth: Floats, compliance: Floats) -> Shares:
    """Split each gauge's worth between age, drift and switch.

    Parameters
    ----------
    now : Causes
        Shape (n, 1): probabilities as the gauges stand.
    worth : ndarray, shape (n,)
        Record-days without compliance; split as the causes' parts of -log(1 - p), which is the
        sum of theirs.
    compliance : ndarray, shape (n,)
        Record-days that the policy adds for days overdue; all of it is the age's.

    Returns
    -------
    Shares
        Age is blockage, disconnection and compliance. A gauge against which nothing speaks at
        all counts as age.
    """
    drift, blockage, switch, off = (hazard[:, 0] for hazard in now.hazards())
    total = drift + blockage + switch + off
    worth_part = np.where(worth + compliance > 0, worth / _positive(worth + compliance), 1.0)
    drift_share = worth_part * np.where(total > 0, drift / _positive(total), 0.0)
    switch_share = worth_part * np.where(total > 0, switch / _positive(total), 0.0)
    return Shares(age=1.0 - drift_share - switch_share, drift=drift_share, switch=switch_share)


def _positive(values: Floats) -> Floats:
    """Keep a divisor above 0 where the quotient is not used."""
    return np.where(values > 0, values, 1.0)
