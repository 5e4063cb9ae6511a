"""Gauges as columns: who each is, the facts its records left, and its evidence under the rates.

What the ranking needs of a hundred thousand gauges without an object for each of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fleet.domain.history import Gauge
from fleet.domain.state import Change, GaugeState
from fleet.domain.watch import Watch
from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.fleet_evidence import gather_changes
from fleet.stats.fleet_model import FleetModel, TypeModel
from fleet.stats.hazard import HazardFit
from fleet.stats.knock import count_knocks
from fleet.stats.pooled_change import GrowthFit, posterior_growth
from fleet.stats.watch_count import gather_watches, settle_counts

Texts = NDArray[np.object_]

DOUBTED_BELOW = 0.999
"""A change whose weight is under this was held to be an outlier."""


@dataclass(frozen=True, slots=True, eq=False)
class GaugeColumns:
    """n gauges, every array of shape (n,), a gauge's values at one place in all of them.

    Days are ordinals of `datetime.date`, 0 for none; a number that may be missing is nan.

    Who, as in `fleet.domain.history.Gauge`: ``installation_id`` to ``loop_ohm``.
    Facts, as in `fleet.domain.state.GaugeState`: ``last_service_day`` to ``never_verified``.
    Evidence under the rates of a `FleetModel`: ``drift_rate`` (percent a year) and ``ohm_rate``
    (log ohm a year), each shrunk to its type's, with its variance and how many of the
    instrument's changes were held to be outliers (``_doubted``); of sudden changes of level,
    blockages and deaths of the switch the gauge's own events and exposure, without the type's.
    """

    installation_id: Ints
    site_code: Texts
    position: Texts
    serial: Texts
    type_code: Texts
    depot_code: Texts
    installed_day: Ints
    importance: Floats
    bucket_mm: Floats
    orifice_area_cm2: Floats
    test_volume_ml: Floats
    siphon: Bools
    loop_ohm: Floats

    last_service_day: Ints
    last_visit_day: Ints
    attempts_since_service: Ints
    services: Ints
    level_percent: Floats
    level_variance: Floats
    level_day: Ints
    switch_ohm: Floats
    switch_ohm_day: Ints
    site_seen_day: Ints
    way_clean_day: Ints
    switch_seen_day: Ints
    switch_new_day: Ints
    left_blocked: Bools
    switch_left_dead: Bools
    left_disconnected: Bools
    never_verified: Bools

    drift_rate: Floats
    drift_rate_variance: Floats
    drift_doubted: Ints
    ohm_rate: Floats
    ohm_rate_variance: Floats
    ohm_doubted: Ints
    knock_events: Floats
    knock_exposure: Floats
    blockage_events: Floats
    blockage_exposure: Floats
    death_events: Floats
    death_exposure: Floats

    def __len__(self) -> int:
        """Count the gauges."""
        return int(self.installation_id.size)

    def take(self, index: Ints | Bools) -> GaugeColumns:
        """Give some of the gauges: places, or a mask of shape (n,)."""
        return GaugeColumns(**{f.name: getattr(self, f.name)[index] for f in fields(self)})

    def gauge(self, place: int) -> Gauge:
        """Give who stands at a place, as one record."""
        loop_ohm = float(self.loop_ohm[place])
        return Gauge(
            installation_id=int(self.installation_id[place]),
            site_code=self.site_code[place],
            position=self.position[place],
            serial=self.serial[place],
            type_code=self.type_code[place],
            installed_on=date.fromordinal(int(self.installed_day[place])),
            bucket_mm=float(self.bucket_mm[place]),
            orifice_area_cm2=float(self.orifice_area_cm2[place]),
            test_volume_ml=float(self.test_volume_ml[place]),
            siphon=bool(self.siphon[place]),
            depot_code=self.depot_code[place],
            importance=float(self.importance[place]),
            loop_ohm=None if np.isnan(loop_ohm) else loop_ohm,
        )


def columns_of(states: Sequence[GaugeState], model: FleetModel) -> GaugeColumns:
    """Lay derived states out as columns, with their evidence under a fleet's rates.

    Parameters
    ----------
    states : sequence of GaugeState
        n gauges.
    model : FleetModel
        Whose rates the evidence is weighed under.

    Returns
    -------
    GaugeColumns
        In the order of the states. A gauge's values do not depend, to the last bit, on which
        other gauges are laid out with it.
    """
    return GaugeColumns(**_who(states), **_facts(states), **_evidence(states, model))


def _who(states: Sequence[GaugeState]) -> dict[str, NDArray[Any]]:
    gauges = [state.gauge for state in states]
    texts = ("site_code", "position", "serial", "type_code", "depot_code")
    numbers = ("importance", "bucket_mm", "orifice_area_cm2", "test_volume_ml")
    return {
        "installation_id": _ints(gauge.installation_id for gauge in gauges),
        **{name: _texts(getattr(gauge, name) for gauge in gauges) for name in texts},
        "installed_day": _ints(gauge.installed_on.toordinal() for gauge in gauges),
        **{name: _floats(getattr(gauge, name) for gauge in gauges) for name in numbers},
        "siphon": _bools(gauge.siphon for gauge in gauges),
        "loop_ohm": _floats(gauge.loop_ohm for gauge in gauges),
    }


def _facts(states: Sequence[GaugeState]) -> dict[str, NDArray[Any]]:
    days = {
        "last_service_day": "last_service_on",
        "last_visit_day": "last_visit_on",
        "level_day": "level_on",
        "switch_ohm_day": "switch_ohm_on",
        "site_seen_day": "site_seen_on",
        "way_clean_day": "way_clean_on",
        "switch_seen_day": "switch_seen_on",
        "switch_new_day": "switch_new_on",
    }
    flags = ("left_blocked", "switch_left_dead", "left_disconnected", "never_verified")
    return {
        **{name: _days(getattr(state, on) for state in states) for name, on in days.items()},
        "attempts_since_service": _ints(state.attempts_since_service for state in states),
        "services": _ints(state.services for state in states),
        "level_percent": _floats(state.level_percent for state in states),
        "level_variance": _floats(state.level_variance for state in states),
        "switch_ohm": _floats(state.switch_ohm for state in states),
        **{name: _bools(getattr(state, name) for state in states) for name in flags},
    }


def _evidence(states: Sequence[GaugeState], model: FleetModel) -> dict[str, NDArray[Any]]:
    """Weigh each type's gauges under its own law and put them back in their places."""
    places: dict[str, list[int]] = {}
    for place, state in enumerate(states):
        places.setdefault(state.gauge.type_code, []).append(place)
    columns = {
        name: np.zeros(len(states), dtype=np.int64 if name.endswith("_doubted") else np.float64)
        for name in _EVIDENCE
    }
    for code, index in places.items():
        weighed = _weigh([states[i] for i in index], model.of(code))
        for name, values in weighed.items():
            columns[name][index] = values
    return columns


_EVIDENCE = tuple(field.name for field in fields(GaugeColumns))[-12:]


def _weigh(states: Sequence[GaugeState], kind: TypeModel) -> dict[str, NDArray[Any]]:
    knocks = count_knocks(gather_changes(states, _drift), kind.drift, kind.knock)
    return {
        **_grown("drift", states, _drift, kind.drift),
        **_grown("ohm", states, lambda state: state.switch_growth, kind.resistance),
        **dict(zip(("knock_events", "knock_exposure"), knocks, strict=True)),
        **_counted("blockage", states, lambda state: state.blockage_watches, kind.blockage),
        **_counted("death", states, lambda state: state.switch_watches, kind.deaths),
    }


def _drift(state: GaugeState) -> tuple[Change, ...]:
    return state.drift


def _grown(
    name: str,
    states: Sequence[GaugeState],
    changes: Callable[[GaugeState], tuple[Change, ...]],
    fit: GrowthFit,
) -> dict[str, NDArray[Any]]:
    """Give each gauge's rate under its type's fit, and count the changes that were doubted."""
    seen = gather_changes(states, changes)
    posterior = posterior_growth(seen, fit)
    doubted = np.bincount(seen.unit[posterior.weight < DOUBTED_BELOW], minlength=len(states))
    return {
        f"{name}_rate": posterior.mean,
        f"{name}_rate_variance": posterior.variance,
        f"{name}_doubted": doubted,
    }


def _counted(
    name: str,
    states: Sequence[GaugeState],
    watches: Callable[[GaugeState], tuple[Watch, ...]],
    fit: HazardFit,
) -> dict[str, NDArray[Any]]:
    """Count each gauge's own events and exposure, under its type's law and clock."""
    shape = np.full(len(states), fit.shape)
    scale_years = np.full(len(states), fit.scale_years)
    seen = gather_watches(states, watches)
    counts = settle_counts(seen, fit.clock, shape=shape, scale_years=scale_years)
    return {f"{name}_events": counts.events, f"{name}_exposure": counts.exposure}


def _floats(values: Iterable[float | None]) -> Floats:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _ints(values: Iterable[int]) -> Ints:
    return np.array(list(values), dtype=np.int64)


def _bools(values: Iterable[bool]) -> Bools:
    return np.array(list(values), dtype=np.bool_)


def _days(values: Iterable[date | None]) -> Ints:
    return _ints(0 if day is None else day.toordinal() for day in values)


def _texts(values: Iterable[str]) -> Texts:
    return np.array(list(values), dtype=np.object_)
