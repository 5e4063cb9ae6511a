"""A depot's week, planned fast: a stand-in for the solver in simulations of many weeks.

Measured beside the solver in tests/benchmarks/OUTLOOK.md; never used for a round that is driven.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fleet.planning.quick_day import QuickDay, best_day
from fleet.planning.quick_site import Floats, QuickCrew, QuickSites


@dataclass(frozen=True, slots=True)
class QuickWeek:
    """The crew-days of a week that carry stops."""

    days: tuple[tuple[QuickCrew, QuickDay], ...]

    @property
    def sites(self) -> list[int]:
        """Give the sites that are visited."""
        return [site for _, day in self.days for site in day.stops]

    @property
    def value(self) -> float:
        """Give the worth collected less the price of driving, in record-days."""
        return sum(day.value for _, day in self.days)


def plan_quickly(
    sites: QuickSites,
    crews: Sequence[QuickCrew],
    worth: Floats,
    *,
    price_per_min: float,
    most_days: int | None = None,
) -> QuickWeek:
    """Plan a week: crew-day after crew-day, each the best that is left.

    Parameters
    ----------
    sites : QuickSites
        n sites.
    crews : sequence of QuickCrew
        Those of one, in order of day, then those of more, which use up the days of all members.
    worth : ndarray, shape (n,)
        Of a visit now, in record-days.
    price_per_min : float
        Record-days that a minute of driving has to buy.
    most_days : int, optional
        The most technician-days to use; None uses all that pay.

    Returns
    -------
    QuickWeek
        At most one joint day, where a site that needs it makes the week worth more.

    Notes
    -----
    On made weeks of 40 and 70 sites with windows, skills and pairs it collected 94 to 101 % of
    what the solver did (mean 97 %) in a hundredth of the time (tests/benchmarks/OUTLOOK.md).
    """
    solo = [crew for crew in crews if len(crew.members) == 1]
    joint = [crew for crew in crews if len(crew.members) > 1]
    ask = _Ask(sites, worth, price_per_min, len(solo) if most_days is None else most_days)
    week = _either_way(solo, (), ask)
    for crew in _worth_trying(joint, ask):
        rest = [one for one in solo if not _shares(one, crew)]
        week = max(week, _either_way(rest, (crew,), ask), key=_value)
    return week


@dataclass(frozen=True, slots=True, eq=False)
class _Ask:
    """One week's sites, their worth, the price of a minute's drive, and the days to use."""

    sites: QuickSites
    worth: Floats
    price_per_min: float
    most_days: int


def _either_way(solo: Sequence[QuickCrew], joint: Sequence[QuickCrew], ask: _Ask) -> QuickWeek:
    """Fill the days in their order, and where crews differ also in the opposite one."""
    week = _fill([*joint, *solo], ask)
    if all(_alike(one, solo[0]) for one in solo):
        return week
    return max(week, _fill([*joint, *reversed(solo)], ask), key=_value)


def _fill(crews: Sequence[QuickCrew], ask: _Ask) -> QuickWeek:
    left, used = ask.worth.copy(), 0
    days: list[tuple[QuickCrew, QuickDay]] = []
    for crew in crews:
        if used + len(crew.members) > ask.most_days:
            continue
        day = best_day(ask.sites, crew, left, price_per_min=ask.price_per_min)
        if day is not None:
            used += len(crew.members)
            days.append((crew, day))
            left[list(day.stops)] = 0.0
    return QuickWeek(tuple(days))


def _worth_trying(joint: Sequence[QuickCrew], ask: _Ask) -> list[QuickCrew]:
    """Give the joint day that opens up most worth, if any does."""
    opened = [float(ask.worth[crew.may & (ask.sites.persons > 1)].sum()) for crew in joint]
    if max(opened, default=0.0) <= 0.0:
        return []
    return [joint[int(np.argmax(opened))]]


def _value(week: QuickWeek) -> float:
    return week.value


def _alike(one: QuickCrew, other: QuickCrew) -> bool:
    """Tell whether two crews can do the same, but for the minutes of daylight."""
    limits = [
        (c.start, c.end, c.starts_min, c.ends_min, c.usable_min, c.max_driving_min)
        for c in (one, other)
    ]
    return limits[0] == limits[1] and bool(np.array_equal(one.may, other.may))


def _shares(one: QuickCrew, other: QuickCrew) -> bool:
    return one.day == other.day and not set(one.members).isdisjoint(other.members)
