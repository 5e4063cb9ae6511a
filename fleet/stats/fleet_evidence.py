"""What the records of all gauges say of their kinds, as flat arrays: what a fleet's model rests on.

Gathered share by share, so that no more than a share of the gauges' states need be held at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from fleet.domain.state import Change, GaugeState, log_ohm
from fleet.domain.watch import Watch
from fleet.stats.array import Floats, Ints
from fleet.stats.flat import join_units, take_units
from fleet.stats.pooled_change import Changes
from fleet.stats.watch_count import Watches, gather_watches

Key = tuple[str, str, int, str]


@dataclass(frozen=True, slots=True, eq=False)
class FleetEvidence:
    """n gauges in order of site, position and installation.

    ``type_code``, ``left_percent``, ``left_variance`` and ``log_ohm`` have shape (n,), nan where
    nothing was measured: the level as the last service left it, and the last closed resistance.
    The units of changes and watches are the gauges.
    """

    type_code: NDArray[np.object_]
    drift: Changes
    growth: Changes
    blockage: Watches
    deaths: Watches
    left_percent: Floats
    left_variance: Floats
    log_ohm: Floats

    def take(self, index: Ints) -> FleetEvidence:
        """Give the evidence of the gauges at some places, each once."""
        return FleetEvidence(
            type_code=self.type_code[index],
            drift=take_units(self.drift, index),
            growth=take_units(self.growth, index),
            blockage=take_units(self.blockage, index),
            deaths=take_units(self.deaths, index),
            left_percent=self.left_percent[index],
            left_variance=self.left_variance[index],
            log_ohm=self.log_ohm[index],
        )


class EvidenceGatherer:
    """Gathers the evidence of a fleet from shares of its gauges' states."""

    def __init__(self) -> None:
        self._keys: list[Key] = []
        self._parts: list[FleetEvidence] = []

    def add(self, states: Sequence[GaugeState]) -> None:
        """Take in the states of more gauges; they are not kept."""
        self._keys += map(_key, states)
        lefts = [state.last_as_left for state in states]
        ohms = [state.switch_ohm for state in states]
        self._parts.append(
            FleetEvidence(
                type_code=np.array([s.gauge.type_code for s in states], dtype=np.object_),
                drift=gather_changes(states, _drift),
                growth=gather_changes(states, _growth),
                blockage=gather_watches(states, _blockage),
                deaths=gather_watches(states, _deaths),
                left_percent=_floats(None if a is None else a.error.level_percent for a in lefts),
                left_variance=_floats(None if a is None else a.variance for a in lefts),
                log_ohm=_floats(None if ohm is None else log_ohm(ohm) for ohm in ohms),
            )
        )

    def whole(self) -> FleetEvidence:
        """Give the evidence of all gauges added, the same in whatever order they were."""
        if not self._parts:
            self.add([])
        parts = self._parts
        order = sorted(range(len(self._keys)), key=self._keys.__getitem__)
        return FleetEvidence(
            type_code=np.concatenate([part.type_code for part in parts]),
            drift=join_units([part.drift for part in parts]),
            growth=join_units([part.growth for part in parts]),
            blockage=join_units([part.blockage for part in parts]),
            deaths=join_units([part.deaths for part in parts]),
            left_percent=np.concatenate([part.left_percent for part in parts]),
            left_variance=np.concatenate([part.left_variance for part in parts]),
            log_ohm=np.concatenate([part.log_ohm for part in parts]),
        ).take(np.array(order, dtype=np.int64))


def gather_changes(
    states: Sequence[GaugeState], pick: Callable[[GaugeState], tuple[Change, ...]]
) -> Changes:
    """Lay the changes of all gauges end to end.

    Parameters
    ----------
    states : sequence of GaugeState
        One unit each.
    pick : callable
        Gives a state's changes: of drift or of the switch.

    Returns
    -------
    Changes
        In the order of the states.
    """
    picked = [pick(state) for state in states]
    seen = list(chain.from_iterable(picked))
    return Changes(
        years=np.fromiter((change.years for change in seen), np.float64, len(seen)),
        amount=np.fromiter((change.amount for change in seen), np.float64, len(seen)),
        variance=np.fromiter((change.variance for change in seen), np.float64, len(seen)),
        unit=np.repeat(np.arange(len(states)), np.array([len(c) for c in picked], dtype=np.int64)),
        units=len(states),
        found_day=np.fromiter((c.found_on.toordinal() for c in seen), np.float64, len(seen)),
    )


def _key(state: GaugeState) -> Key:
    gauge = state.gauge
    installed_on = gauge.installed_on.isoformat()
    return gauge.site_code, gauge.position, gauge.installation_id, installed_on


def _drift(state: GaugeState) -> tuple[Change, ...]:
    return state.drift


def _growth(state: GaugeState) -> tuple[Change, ...]:
    return state.switch_growth


def _blockage(state: GaugeState) -> tuple[Watch, ...]:
    return state.blockage_watches


def _deaths(state: GaugeState) -> tuple[Watch, ...]:
    return state.switch_watches


def _floats(values: Iterable[float | None]) -> Floats:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
