"""Changes or watches of many units, laid end to end: some of the units, or several sets as one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np

from fleet.stats.array import Ints
from fleet.stats.pooled_change import Changes
from fleet.stats.watch_count import Watches

Flat = TypeVar("Flat", Changes, Watches)


def take_units(flat: Flat, index: Ints) -> Flat:
    """Give the values of some units, in their order; the units count anew from 0.

    Parameters
    ----------
    flat : Changes or Watches
    index : ndarray of int, shape (n,)
        Units, each once.
    """
    place = np.full(flat.units, -1, dtype=np.int64)
    place[index] = np.arange(index.size)
    unit = place[flat.unit]
    rows = np.flatnonzero(unit >= 0)
    rows = rows[np.argsort(unit[rows], kind="stable")]
    parts: dict[str, Any] = {name: getattr(flat, name)[rows] for name in _names(flat)}
    return replace(flat, **parts, unit=unit[rows], units=int(index.size))


def join_units(flats: Sequence[Flat]) -> Flat:
    """Lay the values of one or more sets of units end to end; the units count on."""
    first = flats[0]
    starts = np.cumsum([0, *(flat.units for flat in flats)])
    unit = np.concatenate([f.unit + start for f, start in zip(flats, starts[:-1], strict=True)])
    parts: dict[str, Any] = {
        name: np.concatenate([getattr(flat, name) for flat in flats]) for name in _names(first)
    }
    return replace(first, **parts, unit=unit, units=int(starts[-1]))


def _names(flat: Changes | Watches) -> list[str]:
    """Name the arrays beside those of the units; days on which changes were found may be none."""
    names = [field.name for field in fields(flat) if field.name not in ("unit", "units")]
    return [name for name in names if getattr(flat, name) is not None]
