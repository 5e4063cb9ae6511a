"""The troubles that must be there: what goes wrong where and when, written down beforehand.

Everything else in the network follows from wear, dirt and chance. A gauge is named by its site
and position, such as ``BR01/A``. The days fit the default seed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

ALWAYS = date(2023, 11, 20)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens to a gauge on a day.

    ``what`` is knock (error in percent becomes ``value``), die, bounce, leak (percent a day),
    block (share of the water that still passes).
    """

    day: date
    key: str
    what: str
    value: float = 0.0


EVENTS = (
    Event(date(2024, 10, 10), "BR04/A", "bounce"),
    Event(date(2025, 4, 20), "LI02/A", "bounce"),
    Event(date(2026, 1, 10), "PE04/A", "bounce"),
    Event(date(2025, 5, 2), "LI05/A", "knock", -13.5),
    Event(date(2026, 2, 1), "DU04/A", "knock", -16.0),
    Event(date(2026, 2, 15), "KO03/A", "knock", 12.5),
    Event(date(2026, 5, 1), "RA05/A", "knock", -6.0),
    Event(date(2026, 7, 10), "BR08/A", "knock", -6.5),
    Event(date(2024, 12, 1), "FY03/A", "knock", -5.5),
    Event(date(2026, 3, 20), "BR06/A", "die"),
    Event(date(2026, 7, 10), "OU01/A", "leak", -0.34),
    Event(date(2026, 9, 14), "RA06/A", "die"),
    Event(date(2026, 10, 3), "FY07/A", "block", 0.0),
)

WISHES = (
    (ALWAYS, "KO02/A", "always_adjust"),
    (ALWAYS, "LI06/A", "always_adjust"),
    (date(2024, 1, 1), "OU03/B", "perfect"),
    (date(2024, 1, 1), "SH07/A", "perfect"),
    (date(2025, 3, 1), "FY03/A", "left_bad"),
    (date(2026, 6, 1), "RA05/A", "left_bad"),
    (date(2026, 8, 15), "BR08/A", "left_bad"),
    (date(2026, 9, 15), "LI07/A", "no_as_found"),
    (date(2026, 8, 15), "BR02/A", "no_as_left"),
    (date(2026, 9, 15), "FY08/A", "left_disconnected"),
    (date(2026, 8, 15), "BR03/A", "unproven"),
    (date(2026, 3, 20), "SH03/A", "not_isolated"),
    (date(2026, 9, 15), "FY03/A", "not_isolated"),
    (date(2025, 4, 20), "SE02/A", "mistype_as_found"),
    (date(2026, 1, 10), "KO01/A", "mistype_as_left"),
)
"""An oddity of the first visit to a gauge on or after a day; the first two words stay for good."""

SWAPS = (
    (date(2024, 6, 17), "SE02/A"),
    (date(2024, 8, 12), "RA03/A"),
    (date(2025, 6, 10), "BR06/A"),
    (date(2025, 9, 8), "FY07/A"),
    (date(2026, 10, 12), "FY06/A"),
)
"""A gauge is taken to the workshop and another put in its place."""

MOVES = (
    (date(2025, 2, 3), "LI04/B", "PE06/B"),
    (date(2025, 8, 4), "FY02/B", "DU05/B"),
)
"""A gauge is taken from one site and put up at another."""

PUT_UP = (
    (date(2024, 9, 9), "PE05/A"),
    (date(2025, 5, 5), "KO04/B"),
)
"""A gauge is put up and tested by a technician."""

BY_CONTRACTOR = (
    (date(2025, 3, 18), "OU08/A"),
    (date(2025, 6, 2), "SE01/B"),
    (date(2025, 10, 6), "AM08/A"),
)
"""A gauge was put up by a contractor, who left no test."""

NEVER_SERVICED = frozenset({"SE01/B"})
"""Gauges that stand on no list, so that nobody ever tests them."""

SPARED = NEVER_SERVICED | {"OU01/A", "RA06/A", "PE03/A"}
"""Gauges that chance leaves alone; so are those at the sites below."""

SHUT_SITES = {
    "OU08": ("no_access", "gate locked, nobody answers"),
    "AM08": ("unsafe", "footbridge washed out, ford too deep"),
}
"""Sites where every attempt fails, with the reason and what the technician writes."""

WEAR_PERCENT_A_YEAR = {"NA02/A": -6.5, "DU03/A": -6.5, "SE04/A": -6.0, "BR05/A": -6.0}
"""Fast drift of the first instrument at a gauge."""

OHM = {
    "RA07/A": (1.1, 0.5),
    "KO05/A": (1.2, 0.5),
    "SE05/A": (1.1, 0.48),
    "FY01/A": (1.7, 0.55),
    "LI04/A": (2.0, 0.5),
}
"""Closed resistance at the start, in ohm, and growth of its logarithm a year."""

UNNOTICED = frozenset({"RA06/A", "FY08/A", "FY07/A"})
"""Silent gauges that nobody in the office has noticed."""

SLIPS = {
    "SH": (date(2026, 9, 1), 90),
    "AM": (date(2026, 8, 1), 110),
    "NA": (date(2026, 9, 1), 40),
}
"""Rounds that were put off for want of people: area, from when on, by how many days."""
