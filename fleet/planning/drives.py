"""What a source knows of the drives between places, and the great circle for what it does not."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from fleet.domain.plan import Place, Travel, Walk
from fleet.planning.distance import DEFAULT_PACE, Pace, straight_drives, whole_travel

SHOWN_SITES = 8
"""Places that a source sentence names one by one."""


@dataclass(frozen=True, slots=True)
class Leg:
    """One row of a user's matrix: the drive from one place to another, that way only."""

    from_key: str
    to_key: str
    minutes: float
    km: float


@dataclass(frozen=True, slots=True, eq=False)
class Drives:
    """What a source knows of the drives between places.

    ``minutes`` and ``km`` have the shape (n, n), row to column, NaN where it knows nothing;
    ``source`` names it, with its date.
    """

    minutes: NDArray[np.float64]
    km: NDArray[np.float64]
    source: str
    walks: tuple[Walk, ...] = ()


def known_travel(places: Sequence[Place], drives: Drives, pace: Pace = DEFAULT_PACE) -> Travel:
    """Take the drives that a source knows, and the great circle where it has a gap.

    Parameters
    ----------
    places : sequence of Place
        Every place to drive from or to, each key once, the start first.
    drives : Drives
        In the order of the places. A distance alone that is missing is not a gap.
    pace : Pace
        For the gaps.

    Returns
    -------
    Travel
        Minutes rounded up to whole ones. ``straight`` is a small set of places that every gap
        touches: a place with gaps to all others is named, and not all the others. ``source``
        counts the gaps and names these places.

    Raises
    ------
    ValueError
        As in `great_circle_travel`.
    """
    straight_min, straight_km = straight_drives(places, pace)
    gaps = np.isnan(drives.minutes)
    np.fill_diagonal(gaps, val=False)
    touched = _touching(gaps)
    keys = tuple(places[index].key for index in touched)
    return whole_travel(
        places,
        np.where(np.isnan(drives.minutes), straight_min, drives.minutes),
        np.where(np.isnan(drives.km) | gaps, straight_km, drives.km),
        source=drives.source + _gap_words(keys, int(gaps.sum()), len(places), pace),
        straight=keys,
        walks=drives.walks,
    )


def matrix_drives(places: Sequence[Place], legs: Iterable[Leg], *, source: str) -> Drives:
    """Take the drives from a user's matrix.

    Parameters
    ----------
    places : sequence of Place
        Every place to drive from or to.
    legs : iterable of Leg
        Rows of the matrix; rows of other places are passed over.
    source : str
        The matrix's name and date.

    Raises
    ------
    ValueError
        For a leg that is negative, not finite, or given twice with different values; all of
        them are named.
    """
    given = _given_legs(legs, {place.key for place in places})
    index = {place.key: position for position, place in enumerate(places)}
    minutes, km = (np.full((len(places), len(places)), np.nan) for _ in range(2))
    for (from_key, to_key), leg in given.items():
        minutes[index[from_key], index[to_key]] = leg.minutes
        km[index[from_key], index[to_key]] = leg.km
    return Drives(minutes, km, source)


def name_sites(keys: Sequence[str]) -> str:
    """Name places in a sentence: the first eight, and how many more.

    Examples
    --------
    >>> name_sites(["S01", "S02"])
    'S01, S02'
    """
    more = len(keys) - SHOWN_SITES
    return ", ".join(keys[:SHOWN_SITES]) + (f" and {more} more" if more > 0 else "")


def _given_legs(legs: Iterable[Leg], keys: set[str]) -> dict[tuple[str, str], Leg]:
    """Keep the legs between different known places, once each."""
    given: dict[tuple[str, str], Leg] = {}
    problems: list[str] = []
    for leg in legs:
        pair = (leg.from_key, leg.to_key)
        if leg.from_key == leg.to_key or not keys.issuperset(pair):
            continue
        if not all(isfinite(value) and value >= 0.0 for value in (leg.minutes, leg.km)):
            problems.append(f"{leg}: minutes and km must be finite and not negative")
        if given.setdefault(pair, leg) != leg:
            problems.append(f"{leg}: given before as {given[pair]}")
    if problems:
        raise ValueError("; ".join(problems))
    return given


def _touching(gaps: NDArray[np.bool_]) -> list[int]:
    """Choose places until every gap touches one: always the one with most gaps, the last first."""
    left = (gaps | gaps.T).astype(np.int64)
    counts = left.sum(axis=1)
    chosen: list[int] = []
    while counts.any():
        index = len(counts) - 1 - int(np.argmax(counts[::-1]))
        chosen.append(index)
        counts -= left[index]
        left[index, :] = left[:, index] = 0
        counts[index] = 0
    return sorted(chosen)


def _gap_words(keys: Sequence[str], gaps: int, places: int, pace: Pace) -> str:
    if not gaps:
        return ""
    sites = f"{len(keys)} site{'' if len(keys) == 1 else 's'}"
    drives = f"{gaps} of {places * (places - 1)} drives"
    return f"; {sites} by straight line ({name_sites(keys)}; {drives}): {pace}"
