"""What it is worth to service a gauge in this week's route rather than in its turn.

The worth of the ranking is the price at which going now is as good as waiting, if every later
visit costs the same and nobody comes before it pays again. A crew comes anyway: what a gauge costs
this week is held against a trip in its turn. With a trip of cost C it is serviced once its
probability of being unfit reaches the p* whose worth is C, and in the long run p* is lost a day on
average (renewal-reward argument, first principles). A gauge that is not due loses p(v) a day until
p* is reached, less than p*: going now is worth C less the integral of p* - p(v). One that is due
and passed over loses p, more than p*, until it is served in its next turn: going now is worth
C + D (p - p*), D being the days until then.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.stats.array import Floats

LEAST_TIME_PRICE, MOST_TIME_PRICE = 1e-7, 1e3
"""Record-days a minute between which the price of a crew's time is sought."""

LEAST_CYCLE_DAYS = 7.0
"""No gauge is serviced more than once a week."""

SEARCH_STEPS = 40


@dataclass(frozen=True, slots=True, eq=False)
class Due:
    """When gauges are serviced if each waits for a trip of its own, shape (n,).

    ``p`` is the probability of being unfit at which that trip pays, ``cycle_days`` the age at
    which a freshly serviced gauge reaches it, ``cost`` its cost in record-days.
    """

    p: Floats
    cycle_days: Floats
    cost: Floats


def due_at_cost(unfit_after: Floats, days: Floats, cost: Floats) -> Due:
    """Find when a trip that costs so much pays.

    Parameters
    ----------
    unfit_after : ndarray, shape (n, g)
        Probability P(u) that a gauge is unfit so many days after a service; it never falls.
    days : ndarray, shape (g,)
        The days u, rising from 0 to the horizon.
    cost : ndarray, shape (n,)
        In record-days of a gauge of ordinary importance; what a trip buys at the horizon is the
        most that counts.

    Returns
    -------
    Due
        T solves the integral from 0 to T of P(T) - P(u) du = cost, between grid days linearly;
        p is P(T).
    """
    fallen = np.cumsum((unfit_after[:, 1:] + unfit_after[:, :-1]) / 2.0 * np.diff(days), axis=1)
    lost = np.concatenate([np.zeros((len(unfit_after), 1)), fallen], axis=1)
    bought = unfit_after * days - lost
    cost = np.minimum(cost, bought[:, -1])
    after = np.clip((bought < cost[:, np.newaxis]).sum(axis=1), 1, days.size - 1)
    row, before = np.arange(len(unfit_after)), after - 1
    step = bought[row, after] - bought[row, before]
    part = np.clip((cost - bought[row, before]) / np.where(step > 0.0, step, 1.0), 0.0, 1.0)
    rise = unfit_after[row, after] - unfit_after[row, before]
    return Due(
        p=unfit_after[row, before] + part * rise,
        cycle_days=days[before] + part * (days[after] - days[before]),
        cost=cost,
    )


def price_of_time(
    unfit_after: Floats, days: Floats, *, minutes: Floats, minutes_a_day: float
) -> float:
    """Find the price of a crew's minute at which its time is just used up.

    Parameters
    ----------
    unfit_after : ndarray, shape (n, g)
        P(u) of each gauge, times its importance.
    days : ndarray, shape (g,)
        The days u.
    minutes : ndarray, shape (n,)
        What a trip to each gauge takes, drive and work.
    minutes_a_day : float
        What the crews have, spread over all days.

    Returns
    -------
    float
        Record-days a minute, so that sum(minutes / cycle) = minutes_a_day (a fluid model: each
        gauge is serviced whenever a trip pays). The least price where time is never short.
    """
    low, high = np.log(LEAST_TIME_PRICE), np.log(MOST_TIME_PRICE)
    for _ in range(SEARCH_STEPS):
        middle = (low + high) / 2.0
        due = due_at_cost(unfit_after, days, np.exp(middle) * minutes)
        used = float(np.sum(minutes / np.maximum(due.cycle_days, LEAST_CYCLE_DAYS)))
        low, high = (middle, high) if used > minutes_a_day else (low, middle)
    return float(np.exp(high))


def worth_ahead(
    unfit_ahead: Floats, days: Floats, due: Due, *, again_days: Floats
) -> tuple[Floats, Floats]:
    """Give what going now is worth against a trip in its turn, and when that would be due.

    Parameters
    ----------
    unfit_ahead : ndarray, shape (n, g)
        Probability that a gauge which nobody visits is unfit so many days from now.
    days : ndarray, shape (g,)
        The days v, rising from 0.
    due : Due
        Of the same gauges.
    again_days : ndarray, shape (n,)
        Days until a gauge that is due and passed over is served or better known. With its own
        cycle the worth goes on from p* as steeply as the index of the ranking does there.

    Returns
    -------
    ndarray, shape (n,)
        In record-days, not negative: cost less the integral of max(0, p* - p(v)) dv, and for a
        gauge that is due cost and ``again_days`` times p - p*. At p* the two meet.
    ndarray, shape (n,)
        Days until p* is reached; 0 for a gauge that is due, infinite beyond the last day.
    """
    short = np.maximum(due.p[:, np.newaxis] - unfit_ahead, 0.0)
    waits = short > 0.0
    first = np.where(waits.all(axis=1), np.inf, days[(~waits).argmax(axis=1)])
    waiting = np.maximum(due.cost - np.trapezoid(short, days, axis=1), 0.0)
    passed_over = due.cost + again_days * (unfit_ahead[:, 0] - due.p)
    return np.where(first > 0.0, waiting, passed_over), np.asarray(first)
