"""What lies ahead of gauges that nobody visits: their forecast, and when their rain has told."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fleet.stats.array import Floats
from fleet.stats.forecast import Causes, Gauges, as_it_stands
from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.rain_weigh import days_to_tell, watched_on


def unfit_ahead(
    gauges: Gauges, now: Floats, spans: Sequence[SpanEvidence | None], *, days: Floats
) -> Floats:
    """Give the probability that gauges which nobody visits are unfit on days to come.

    Parameters
    ----------
    gauges : Gauges
        n of them, with what the rain says of their level.
    now : ndarray, shape (n,)
        Probability that each is unfit today, with its rain.
    spans : sequence of SpanEvidence or None
        n of them; None is a gauge that nobody watches.
    days : ndarray, shape (g,)
        Days from today, rising, from 0.

    Returns
    -------
    ndarray, shape (n, g)
        ``now`` on day 0. What may still strike a watched gauge counts as after a service: as far
        as it would not show.

    Notes
    -----
    1 - (1 - now) (1 - S(v)), S being the probability that a gauge fit today is struck within v
    days and has not shown it (first principles).
    Checked against: `as_it_stands` of gauges nobody watches (tests/stats/test_rain_ahead.py).
    """
    later = as_it_stands(gauges, days)
    strikes = Causes(
        drift=_since_today(later.drift),
        knock=_since_today(later.knock),
        blockage=_since_today(later.blockage),
        resistance=_since_today(later.resistance),
        deaths=_since_today(later.deaths),
        disconnection=_since_today(later.disconnection),
    )
    struck = watched_on(strikes, spans, days=days).unfit()
    return np.asarray(1.0 - (1.0 - now[:, np.newaxis]) * (1.0 - struck))


def again_days(cycle_days: Floats, spans: Sequence[SpanEvidence | None]) -> Floats:
    """Give the days until gauges that are due and passed over are served or better known.

    Parameters
    ----------
    cycle_days : ndarray, shape (n,)
        Days from one service of each gauge to the next.
    spans : sequence of SpanEvidence or None
        n of them; None is a gauge that nobody watches.

    Returns
    -------
    ndarray, shape (n,)
        The cycle, or the days in which rain tells even a knock, whichever is shorter: by then
        what is suspected has been told or has gone (a rule of our own).
    """
    return np.minimum(cycle_days, days_to_tell(spans)["knock"])


def _since_today(probability: Floats) -> Floats:
    """Give the probability of a cause within days, had it not struck by today."""
    return np.asarray(1.0 - (1.0 - probability) / (1.0 - probability[:, :1]))
