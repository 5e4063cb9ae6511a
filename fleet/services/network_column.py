"""The network as columns: kept states where they hold, the rest derived from history."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from fleet.domain.state import GaugeState, derive_state
from fleet.services.gauge_state import read_rates
from fleet.stats.array import Ints
from fleet.stats.fleet_model import FleetModel, fit_fleet
from fleet.stats.gauge_column import GaugeColumns, columns_of
from fleet.store.queries.gauge import gauge_arrays
from fleet.store.queries.history import gauge_histories, history_shares
from fleet.store.queries.rates import rates_in_force
from fleet.store.queries.state import kept_states


@dataclass(frozen=True, slots=True, eq=False)
class NetworkColumns:
    """The gauges that stood on a day, and the rates under which their evidence is weighed.

    ``learned_on`` is the day of the records that taught the rates; None where they were fitted on
    the spot, to the very gauges given. ``states_of`` gives the whole states of the gauges at some
    places, derived from their own histories where they are not at hand.
    """

    columns: GaugeColumns
    model: FleetModel
    learned_on: date | None
    states_of: Callable[[Sequence[int]], list[GaugeState]]


def read_network(
    session: Session, *, as_of: date, known_on: datetime | None = None
) -> NetworkColumns:
    """Read the gauges that stood on a day.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Records after this day are not seen.
    known_on : datetime, optional
        As the records were known then, under the rates known then; None is now.

    Returns
    -------
    NetworkColumns
        In order of site code, position and day of installation. The same to the last bit whether a
        gauge's state is kept or derived.
    """
    rates = read_rates(rates_in_force(session, as_of=as_of, known_on=known_on))
    if rates is None:
        return _fitted_here(session, as_of=as_of, known_on=known_on)
    who = gauge_arrays(session, as_of=as_of, known_on=known_on)
    kept: dict[str, NDArray[Any]] = {}
    if known_on is None:
        kept = kept_states(session, rates_id=rates.rates_id, known_until_day=as_of.toordinal())
    places = _places(who["installation_id"], kept.get("installation_id", np.zeros(0, np.int64)))

    def states_of(wanted: Sequence[int]) -> list[GaugeState]:
        named = [int(who["installation_id"][place]) for place in wanted]
        found = {
            state.gauge.installation_id: state
            for state in _derived(session, named, as_of=as_of, known_on=known_on)
        }
        return [found[installation_id] for installation_id in named]

    own = columns_of(states_of(np.flatnonzero(places < 0).tolist()), rates.model)
    return NetworkColumns(_joined(who, kept, own, places), rates.model, rates.as_of, states_of)


def _fitted_here(session: Session, *, as_of: date, known_on: datetime | None) -> NetworkColumns:
    """Derive every state and fit the rates to them."""
    histories = gauge_histories(session, as_of=as_of, known_on=known_on)
    states = [derive_state(history) for history in histories]
    model = fit_fleet(states)
    return NetworkColumns(
        columns_of(states, model), model, None, lambda places: [states[i] for i in places]
    )


def _derived(
    session: Session, installation_ids: Sequence[int], *, as_of: date, known_on: datetime | None
) -> list[GaugeState]:
    shares = history_shares(session, installation_ids, as_of=as_of, known_on=known_on)
    return [derive_state(history) for share in shares for history in share]


def _places(wanted: Ints, kept: Ints) -> Ints:
    """Give the place of each wanted id among the kept ones, which are in order; -1 for none."""
    if kept.size == 0:
        return np.full(wanted.size, -1, dtype=np.int64)
    found = np.minimum(np.searchsorted(kept, wanted), kept.size - 1)
    return np.where(kept[found] == wanted, found, -1)


def _joined(
    who: dict[str, NDArray[Any]],
    kept: dict[str, NDArray[Any]],
    own: GaugeColumns,
    places: Ints,
) -> GaugeColumns:
    """Put kept and derived values of the gauges in their order."""
    derived = places < 0

    def values(name: str) -> NDArray[Any]:
        fresh: NDArray[Any] = getattr(own, name)
        if not kept or derived.all():
            return fresh
        joined = kept[name][places]
        joined[derived] = fresh
        return joined

    names = [field.name for field in fields(GaugeColumns)]
    return GaugeColumns(**{name: who[name] if name in who else values(name) for name in names})
