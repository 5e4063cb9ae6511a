"""Learn from watches how time counts: whether something wears in, and whether it has a season."""

from __future__ import annotations

from dataclasses import replace
from math import exp

import numpy as np
from scipy.optimize import minimize
from scipy.special import chdtri

from fleet.stats.array import Floats
from fleet.stats.clock import PLAIN, Clock
from fleet.stats.hazard import HazardFit, HazardPrior, fit_hazard, log_counts, prior_law
from fleet.stats.notice import fit_notice
from fleet.stats.watch_count import Watches, count_watches, settle_counts

ENOUGH_EVENTS = 10
"""Fewer events say nothing of wear, or (of beginnings) of how often they come: a choice of this
program. Then things strike at any age alike, and beginnings are not counted."""

ENOUGH_FOR_SEASON = 30
"""Fewer events are not tested for a season: a choice of this program."""

WEAR_LOG_SD = 0.5
"""Standard deviation of the logarithm of the wear about 1: own belief, from striking at any age
to wearing in as steadily as k = 2.7, with no published source."""

BEGUN_MEDIAN, BEGUN_LOG_SD = 2.0, 1.0
"""Median and spread of kappa - 1: a partly blocked way is met some three times as often as a
blocked one, a factor of e either way; own belief, no published source."""

SEASON_LEVEL = 0.01
"""Chance of finding a season where there is none (likelihood ratio, two degrees of freedom)."""

_REFITS = 3
_DIFFERENCE = 1e-5
"""Step of the slopes: the sums are too long for a smaller one to be told from rounding."""

MOST_SWING = 0.95
"""Days always count a little; a swing of 0.72 lies one standard deviation out (own belief)."""

REACH = 8.0


def fit_clock(watches: Watches, prior: HazardPrior) -> Clock:
    """Fit how time counts toward the events of a kind.

    Parameters
    ----------
    watches : Watches
        Of all units of the kind; may be empty.
    prior : HazardPrior
        Of the kind's rates, which are fitted along.

    Returns
    -------
    Clock
        Most likely wear and kappa where the events are enough, and a season where the test for
        one says so; else as it is without. Also how fast people notice, where repairs tell.

    Notes
    -----
    A likelihood ratio of the flat and the seasonal law against chi-square with two degrees of
    freedom. Looks are far apart, so a season is told by which of the watched days were at risk.
    Checked against: scipy, surpyval, simulated events and seasons (tests/stats/test_clock_fit.py).
    """
    return replace(_law(watches, prior), noticed=fit_notice(watches))


def _law(watches: Watches, prior: HazardPrior) -> Clock:
    struck, begun = int(watches.struck.sum()), int(watches.begun.sum())
    if struck + begun < ENOUGH_EVENTS:
        return PLAIN
    fit = _Fit(watches, prior, graded=begun >= ENOUGH_EVENTS and struck > 0)
    flat = fit.best(np.zeros(4), season=False)
    if struck + begun < ENOUGH_FOR_SEASON:
        return fit.clock(flat)
    seasonal = fit.best(np.concatenate([flat, [0.1, 0.1]]), season=True)
    gain = 2.0 * (fit.value(seasonal) - fit.value(flat))
    return fit.clock(seasonal if gain > chdtri(2, SEASON_LEVEL) else flat)


def fit_watches(watches: Watches, clock: Clock, prior: HazardPrior) -> HazardFit:
    """Fit the Gamma law of a kind's rates under a clock.

    Parameters
    ----------
    watches : Watches
        Of the kind's units.
    clock : Clock
        As fitted to these or to more.
    prior : HazardPrior
        Alone it gives the result for no watches.

    Returns
    -------
    HazardFit
        Rates are events in the first year of age; ``events`` counts what struck, and
        ``exposure_years`` are plain years.
    """
    counts = count_watches(watches, clock)
    fit = fit_hazard(counts.events, counts.exposure, prior=prior)
    for _ in range(_REFITS):
        law = {"shape": np.array([fit.shape]), "scale_years": np.array([fit.scale_years])}
        counts = settle_counts(watches, clock, **law)
        fit = fit_hazard(counts.events, counts.exposure, prior=prior)
    watched = (watches.seen_day - watches.well_day) * np.where(watches.struck, 0.5, 1.0)
    return replace(
        fit,
        clock=clock,
        events=int(watches.struck.sum()),
        exposure_years=float(watched.sum()) / 365.25,
    )


class _Fit:
    """The posterior density of a kind's law, over numbers that may be anything."""

    def __init__(self, watches: Watches, prior: HazardPrior, *, graded: bool) -> None:
        self._watches, self._prior, self._graded = watches, prior, graded

    def clock(self, at: Floats) -> Clock:
        wear, begun = np.clip(at[2:4], -REACH, REACH).tolist()
        cosine, sine = _season(at[4:])
        kappa = 1.0 + BEGUN_MEDIAN * exp(BEGUN_LOG_SD * begun) if self._graded else 1.0
        return Clock(exp(WEAR_LOG_SD * wear), kappa, cosine, sine)

    def value(self, at: Floats) -> float:
        counts = count_watches(self._watches, self.clock(at))
        shape, rate = prior_law(self._prior, at[:2])
        likelihood = log_counts(counts.events, counts.exposure, shape, shape / rate)
        return likelihood + counts.log_factor - float(np.sum(at**2)) / 2.0

    def best(self, start: Floats, *, season: bool) -> Floats:
        free = start.size if season else 4

        def loss(at: Floats) -> float:
            return -self.value(at) / (1 + self._watches.units)

        found = minimize(
            loss, start[:free], method="BFGS", options={"gtol": 1e-4, "eps": _DIFFERENCE}
        )
        return np.asarray(found.x)


def _season(at: Floats) -> tuple[float, float]:
    """Keep the season's amplitude under the most there may be; most likely it is under 0.7."""
    size = float(np.hypot(*at)) if at.size else 0.0
    if size == 0.0:
        return 0.0, 0.0
    scale = MOST_SWING * float(np.tanh(size)) / size
    return scale * float(at[0]), scale * float(at[1])
