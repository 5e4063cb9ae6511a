"""Watches drawn by chance from a known law, for the tests of what is learned from them."""

from __future__ import annotations

import numpy as np

from fleet.stats.clock import Clock, season_years
from fleet.stats.watch_count import Watches


def draw_watches(
    units: int,
    *,
    seed: int,
    clock: Clock,
    shape: float = 2.0,
    per_year: float = 0.6,
    looks: int = 4,
    apart_days: tuple[int, int] = (60, 400),
) -> Watches:
    """Draw looks at random days; each makes all new again. Rates ~ Gamma of mean per_year."""
    rng = np.random.default_rng(seed)
    rate = np.repeat(rng.gamma(shape, per_year / shape, units), looks)
    gaps = rng.integers(*apart_days, size=(units, looks)).astype(float)
    seen = 738_000.0 + rng.integers(0, 365, (units, 1)) + np.cumsum(gaps, axis=1)
    new, seen = (seen - gaps).ravel(), seen.ravel()
    age = season_years(clock, seen) - season_years(clock, new)
    spent = rate * age**clock.wear
    lives = rng.exponential(size=spent.size)
    struck = lives < spent
    begun = ~struck & (lives < clock.begun * spent) & (clock.begun > 1.0)
    unit = np.repeat(np.arange(units), looks)
    called = np.zeros(spent.size, dtype=bool)
    return Watches(new, new.copy(), seen, struck, begun, called, unit, units)
