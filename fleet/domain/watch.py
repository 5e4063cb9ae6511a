"""Times over which something that strikes without warning was watched, each ended by a look."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import IntEnum

from fleet.units import years_between_days

NOTICED_WITHIN_DAYS = 30
"""A fault that calls for a repair is taken to be at most so old when the crew comes: a choice of
this program, no published source. Somebody went because the gauge failed, so unlike at a visit
by plan the day of the visit itself tells of the day of the failure."""


class Sign(IntEnum):
    """What a look found: nothing, a beginning (a partly blocked way), or the thing itself."""

    WELL = 0
    BEGUN = 1
    STRUCK = 2


@dataclass(frozen=True, slots=True)
class Watch:
    """From a day on which all was well until somebody looked again.

    ``new_on`` is the day from which age counts: the last clean, or the day of a new switch.
    What struck did so on some day after ``well_on`` and not after ``seen_on``. ``called`` tells
    that somebody came because a fault was known. A watch without length, for nobody had looked
    before, tells no rate.
    """

    new_on: date
    well_on: date
    seen_on: date
    sign: Sign
    visit_ref: str
    called: bool = False

    @property
    def years(self) -> float:
        """Give how long was watched; half of that where it struck, for it did so in between."""
        years = years_between_days((self.seen_on - self.well_on).days)
        return years / 2.0 if self.sign is Sign.STRUCK else years


def ended(watch: Watch) -> tuple[Watch, ...]:
    """Split a watch that a call for repair ended: the fault is at most so many days old.

    Parameters
    ----------
    watch : Watch

    Returns
    -------
    tuple of Watch
        The watch itself; where somebody was called and found it struck, the time till
        `NOTICED_WITHIN_DAYS` before, when all was still well, and the rest.
    """
    struck_after = watch.seen_on - timedelta(NOTICED_WITHIN_DAYS)
    if not (watch.called and watch.sign is Sign.STRUCK and struck_after > watch.well_on):
        return (watch,)
    well = replace(watch, seen_on=struck_after, sign=Sign.WELL)
    return well, replace(watch, well_on=struck_after)


def struck_refs(watches: Iterable[Watch]) -> tuple[str, ...]:
    """Give the visits that found it struck."""
    return tuple(watch.visit_ref for watch in watches if watch.sign is Sign.STRUCK)


def years_watched(watches: Iterable[Watch]) -> float:
    """Give the years of all watches together."""
    return sum(watch.years for watch in watches)
