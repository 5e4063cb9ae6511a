"""Which gauges a gauge is compared with: near ones whose rain comes and goes with its own."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from fleet.stats.array import Bools, Floats, Ints

NEAREST = 30
"""Gauges looked at by distance before their rain is compared."""

MOST_NEIGHBOURS = 10
"""Better ten than five (common practice, no published source; ten in one worked example)."""

LEAST_CORRELATION = 0.2
"""Below this a gauge says next to nothing of another; it is taken only to make up the least."""

LEAST_NEIGHBOURS = 5

LEAST_COMMON = 30
"""Fewer days on which both gauges have a total tell no correlation."""


def nearest_gauges(
    latitudes_deg: Floats, longitudes_deg: Floats, *, count: int = NEAREST
) -> list[Ints]:
    """Give the gauges nearest to each, itself left out.

    Parameters
    ----------
    latitudes_deg, longitudes_deg : ndarray, shape (n,)
        Positions in degrees; gauges of one site share theirs.
    count : int, default 30
        How many, where there are so many.

    Returns
    -------
    list of ndarray of int
        n rows of indices, nearest first, gauges of one site by index.
    """
    points = _on_sphere(latitudes_deg, longitudes_deg)
    reach = min(count + 1, len(points))
    answer = cKDTree(points).query(points, k=np.arange(1, reach + 1))
    chords, found = np.asarray(answer[0]), np.asarray(answer[1])
    rows = []
    for gauge, (chord, others) in enumerate(zip(chords, found, strict=True)):
        order = np.lexsort((others, np.round(chord, 12)))
        row = others[order]
        rows.append(row[row != gauge][:count].astype(np.int64))
    return rows


def choose_neighbours(
    total_mm: Floats, candidates: Sequence[Ints], *, most: int = MOST_NEIGHBOURS
) -> list[Ints]:
    """Choose each gauge's neighbours; see `best_neighbours`.

    Parameters
    ----------
    total_mm : ndarray, shape (n, days)
        Daily totals; NaN is missing.
    candidates : sequence of ndarray of int
        n rows of indices.
    most : int, default 10
        How many at most.

    Returns
    -------
    list of ndarray of int
        n rows, best correlated first.
    """
    return [
        best_neighbours(total_mm, gauge, others, most=most)
        for gauge, others in enumerate(candidates)
    ]


def best_neighbours(
    total_mm: Floats, gauge: int, candidates: Ints, *, most: int = MOST_NEIGHBOURS
) -> Ints:
    """Choose of a gauge's candidates those whose rain resembles its own best.

    Parameters
    ----------
    total_mm : ndarray, shape (n, days)
        Daily totals; NaN is missing.
    gauge : int
        Row of the gauge.
    candidates : ndarray of int
        Rows of the others.
    most : int, default 10
        How many at most.

    Returns
    -------
    ndarray of int
        Best correlated first, in log(1 + mm). Gauges under a correlation of 0.2 are taken only
        to make up five, and after them, nearest first, such as share fewer than 30 days or did
        not vary: a gauge that was always silent has neighbours too.
    """
    alike = row_correlations(np.log1p(total_mm[gauge]), np.log1p(total_mm[candidates]))
    order = np.argsort(-alike, kind="stable")  # NaN sorts to the end, in the order of distance
    good = int(np.sum(alike >= LEAST_CORRELATION))
    return candidates[order[: min(most, max(good, LEAST_NEIGHBOURS))]]


def row_correlations(row: Floats, table: Floats) -> Floats:
    """Give the correlation of a row with each row of a table over the days that both have.

    Parameters
    ----------
    row : ndarray, shape (days,)
    table : ndarray, shape (k, days)
        NaN is missing, in both.

    Returns
    -------
    ndarray, shape (k,)
        NaN where fewer than 30 days are shared or one of the two does not vary.
    """
    shared: Bools = ~np.isnan(table) & ~np.isnan(row)
    count = np.maximum(shared.sum(axis=1), 1)
    x = np.where(shared, row, 0.0).astype(np.float64)
    y = np.where(shared, table, 0.0).astype(np.float64)
    mean_x, mean_y = x.sum(axis=1) / count, y.sum(axis=1) / count
    both = np.sum(x * y, axis=1) / count - mean_x * mean_y
    spread_x = np.sum(x * x, axis=1) / count - mean_x**2
    spread_y = np.sum(y * y, axis=1) / count - mean_y**2
    told = (count >= LEAST_COMMON) & (spread_x > 1e-12) & (spread_y > 1e-12)
    scale = np.sqrt(np.where(told, spread_x * spread_y, 1.0))
    return np.where(told, both / scale, np.nan)


def _on_sphere(latitudes_deg: Floats, longitudes_deg: Floats) -> Floats:
    latitude, longitude = np.radians(latitudes_deg), np.radians(longitudes_deg)
    return np.column_stack(
        [
            np.cos(latitude) * np.cos(longitude),
            np.cos(latitude) * np.sin(longitude),
            np.sin(latitude),
        ]
    )
