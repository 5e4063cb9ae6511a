"""One crew's day, built fast: many starts at once, each filled by worth per extra minute.

For simulations that need thousands of weeks. It keeps the clock of the real planner (shift,
rest, driving limit, one access window a site and day) and leaves its fine search out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.planning.quick_site import Bools, Floats, Ints, QuickCrew, QuickSites

STARTS = 12
"""Sites from which a day is begun; the best day counts."""

MOST_STOPS = 24
"""No day of sites that take more than 20 minutes holds more."""


@dataclass(frozen=True, slots=True)
class QuickDay:
    """A day's sites in order, the driving and work in minutes, and what they are worth."""

    stops: tuple[int, ...]
    driving_min: float
    work_min: float
    value: float


def best_day(
    sites: QuickSites, crew: QuickCrew, worth: Floats, *, price_per_min: float
) -> QuickDay | None:
    """Build the day of most worth less the price of driving.

    Parameters
    ----------
    sites : QuickSites
        n sites with drives and times of work.
    crew : QuickCrew
        The crew's limits, and when each site is open to it.
    worth : ndarray, shape (n,)
        In record-days; sites of none are not visited.
    price_per_min : float
        Record-days that a minute of driving has to buy.

    Returns
    -------
    QuickDay or None
        None where no site is worth a day of its own.
    """
    n = worth.size
    alone = sites.minutes[crew.start, :n] + sites.minutes[:n, crew.end]
    usable = alone_possible(sites, crew) & (worth > price_per_min * alone)
    rate = np.where(usable, worth / (alone + sites.service_min + 1.0), 0.0)
    first = np.argsort(-rate, kind="stable")[:STARTS]
    first = first[rate[first] > 0.0]
    if first.size == 0:
        return None
    days = _Days(sites, crew, worth, price_per_min)
    days.begin(first)
    while days.extend():
        pass
    return days.best()


def alone_possible(sites: QuickSites, crew: QuickCrew) -> Bools:
    """Tell which sites the crew could visit if each were its only one, shape (n,)."""
    n = sites.service_min.size
    out, back = sites.minutes[crew.start, :n], sites.minutes[:n, crew.end]
    ready = np.maximum(crew.starts_min + out, crew.opens_min) + sites.service_min
    fits = crew.may & (ready <= crew.closes_min) & (ready + back <= crew.ends_min)
    fits &= out + back <= crew.max_driving_min
    return np.asarray(fits & (out + back + sites.service_min <= crew.usable_min))


class _Days:
    """Several days being filled at once, a row each; columns are the places in the day."""

    def __init__(
        self, sites: QuickSites, crew: QuickCrew, worth: Floats, price_per_min: float
    ) -> None:
        self._sites = sites
        self._crew = crew
        self._worth = worth
        self._price = price_per_min

    def begin(self, first: Ints) -> None:
        """Start a day with each of these sites, which it can hold alone.

        Each day leaves as late as its first site asks, and must be back once the usable time is
        over: waiting counts, as it does for the planner.
        """
        crew = self._crew
        days = first.size
        self.stops = np.full((days, MOST_STOPS + 2), crew.end, dtype=np.int64)
        self.stops[:, 0] = crew.start
        self.count = np.zeros(days, dtype=np.int64)
        self.driving = np.zeros(days)
        self.work = np.zeros(days)
        self.open = np.broadcast_to(crew.may & (self._worth > 0.0), (days, self._worth.size)).copy()
        out = self._sites.minutes[crew.start, first]
        last_leave = crew.ends_min - crew.usable_min
        leave = np.clip(crew.opens_min[first] - out, crew.starts_min, last_leave)
        self.depart = np.repeat(leave[:, None], MOST_STOPS + 2, axis=1)
        self.latest = self.depart + crew.usable_min
        extra, _ = self._offers(1)
        self._insert(np.arange(days), np.zeros(days, dtype=np.int64), first, extra)

    def extend(self) -> bool:
        """Add to each day the site of most worth per extra minute; False when none was added."""
        longest = int(self.count.max(initial=0)) + 1
        if longest > MOST_STOPS:
            return False
        extra, fits = self._offers(longest)
        place = np.where(fits, extra, np.inf).argmin(axis=1)
        least = np.take_along_axis(extra, place[:, None, :], axis=1)[:, 0, :]
        possible = np.take_along_axis(fits, place[:, None, :], axis=1)[:, 0, :]
        possible &= self._worth > self._price * least
        rate = np.where(possible, self._worth / (least + self._sites.service_min + 1.0), -1.0)
        site = rate.argmax(axis=1)
        rows = np.flatnonzero(rate[np.arange(site.size), site] > 0.0)
        if rows.size == 0:
            return False
        self._insert(rows, place[rows, site[rows]], site[rows], extra)
        return True

    def best(self) -> QuickDay | None:
        """Give the day of most value."""
        sizes = [self.stops[row, 1 : 1 + n] for row, n in enumerate(self.count)]
        values = np.array([self._worth[stops].sum() for stops in sizes])
        values = values - self._price * self.driving
        values[self.count == 0] = -np.inf
        row = int(values.argmax())
        if not values[row] > 0.0:
            return None
        stops = tuple(int(site) for site in sizes[row])
        return QuickDay(stops, float(self.driving[row]), float(self.work[row]), float(values[row]))

    def _offers(self, places: int) -> tuple[Floats, Bools]:
        """Give extra driving and whether the day holds: by day, place in it, and site."""
        t, sites, crew = self._sites.minutes, self._sites, self._crew
        n = self._worth.size
        before, after = self.stops[:, :places], self.stops[:, 1 : places + 1]
        to, on = t[before][:, :, :n], t.T[after][:, :, :n]
        extra = to + on - t[before, after][:, :, None]
        start = np.maximum(self.depart[:, :places, None] + to, crew.opens_min)
        ready = start + sites.service_min
        fits = self.open[:, None, :] & (ready <= crew.closes_min)
        fits &= ready + on <= self.latest[:, 1 : places + 1, None]
        driving = self.driving[:, None, None] + extra
        fits &= driving <= crew.max_driving_min
        fits &= driving + self.work[:, None, None] + sites.service_min <= crew.usable_min
        fits &= (np.arange(places) <= self.count[:, None])[:, :, None]
        return extra, fits

    def _insert(self, rows: Ints, places: Ints, site: Ints, extra: Floats) -> None:
        for row, place, one in zip(rows.tolist(), places.tolist(), site.tolist(), strict=True):
            self.driving[row] += extra[row, place, one]
            self.work[row] += self._sites.service_min[one]
            self.stops[row, place + 2 :] = self.stops[row, place + 1 : -1].copy()
            self.stops[row, place + 1] = one
            self.open[row, one] = False
            self.count[row] += 1
        self._run_clocks()

    def _run_clocks(self) -> None:
        """Find when each stop is left at the earliest and reached at the latest."""
        crew, sites, t = self._crew, self._sites, self._sites.minutes
        longest = int(self.count.max(initial=0))
        for place in range(1, longest + 1):
            here = np.minimum(self.stops[:, place], self._worth.size - 1)
            arrive = self.depart[:, place - 1] + t[self.stops[:, place - 1], here]
            self.depart[:, place] = (
                np.maximum(arrive, crew.opens_min[here]) + sites.service_min[here]
            )
        for place in range(longest, 0, -1):
            here = np.minimum(self.stops[:, place], self._worth.size - 1)
            leave = self.latest[:, place + 1] - t[here, self.stops[:, place + 1]]
            due = np.minimum(leave, crew.closes_min[here]) - sites.service_min[here]
            self.latest[:, place] = np.where(place <= self.count, due, self.latest[:, -1])
