"""What became of one way to run the weeks: the counts of all its drawn futures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fleet.services.outlook_order import OutlookOrder, Variant
from fleet.services.outlook_pool import Runner
from fleet.services.outlook_run import COUNTS, RunAsk
from fleet.stats.array import Floats
from fleet.workers.pool import Tell

MINUTES_PER_HOUR = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What became of one variant: counts of shape (seeds, weeks, depots, `COUNTS`)."""

    variant: Variant
    counts: Floats

    def weekly(self, count: str) -> Floats:
        """Give a count of the whole network, shape (seeds, weeks)."""
        return np.asarray(self.counts[:, :, :, COUNTS.index(count)].sum(axis=2))

    def later_in_date(self, depot: int, gauges: int) -> Floats:
        """Give the percent of a depot's gauges in date over the second half, shape (seeds,)."""
        overdue = self.counts[:, :, depot, COUNTS.index("overdue")]
        later = overdue[:, overdue.shape[1] // 2 :]
        return np.asarray(100.0 * (1.0 - later.mean(axis=1) / max(1, gauges)))


def simulate(
    runner: Runner, order: OutlookOrder, variants: Sequence[Variant], tell: Tell
) -> list[Outcome]:
    """Run every variant through every drawn future.

    Parameters
    ----------
    runner : Runner
        Of the case.
    order : OutlookOrder
        Weeks, seeds and the price of driving.
    variants : sequence of Variant
        What to compare; the same seeds for each.
    tell : callable
        Told how many runs are done.

    Returns
    -------
    list of Outcome
        In the order of the variants.
    """
    seeds = range(order.first_seed, order.first_seed + order.seeds)
    price = order.drive_price_days_per_h / MINUTES_PER_HOUR
    asks = [RunAsk(variant, seed, order.weeks, price) for variant in variants for seed in seeds]
    runs = runner.run(asks, tell)
    return [
        Outcome(variant, np.array(runs[number * order.seeds : (number + 1) * order.seeds]))
        for number, variant in enumerate(variants)
    ]
