"""What is known of every gauge in service: kept states where they hold, else from history."""

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
from fleet.store.queries.ledger import head_entry
from fleet.store.queries.rates import rates_in_force
from fleet.store.queries.state import kept_states

StatesOf = Callable[[Ints], Sequence[GaugeState]]
"""Gives the states of the gauges at some places of the columns."""


@dataclass(frozen=True, slots=True, eq=False)
class KnownGauges:
    """The gauges in service as columns, the model that their evidence is weighed under.

    ``learned_on`` is the day of the records that taught the model; None where it was fitted on the
    spot, to the very gauges given. ``states_of`` gives the state of any of them; it may be asked
    after the session has ended.
    """

    columns: GaugeColumns
    model: FleetModel
    states_of: StatesOf
    learned_on: date | None = None


def known_gauges(session: Session, *, as_of: date, known_on: datetime | None = None) -> KnownGauges:
    """Give every gauge in service under the rates in force, or under rates fitted on the spot.

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
    KnownGauges
        In order of site code, position and day of installation. The same to the last bit whether
        a gauge's state is kept or derived.
    """
    rates = read_rates(rates_in_force(session, as_of=as_of, known_on=known_on))
    if rates is None:
        return _fitted_here(session, as_of=as_of, known_on=known_on)
    who = gauge_arrays(session, as_of=as_of, known_on=known_on)
    kept: dict[str, NDArray[Any]] = {}
    if known_on is None:
        kept = kept_states(session, rates_id=rates.rates_id, known_until_day=as_of.toordinal())
    places = _places(who["installation_id"], kept.get("installation_id", np.zeros(0, np.int64)))
    states_of = _Histories(session, who["installation_id"], as_of, known_on)
    own = columns_of(states_of(np.flatnonzero(places < 0)), rates.model)
    return KnownGauges(_joined(who, kept, own, places), rates.model, states_of, rates.as_of)


def _fitted_here(session: Session, *, as_of: date, known_on: datetime | None) -> KnownGauges:
    """Derive every state and fit the rates to them."""
    histories = gauge_histories(session, as_of=as_of, known_on=known_on)
    states = [derive_state(history) for history in histories]
    model = fit_fleet(states)
    return KnownGauges(
        columns=columns_of(states, model),
        model=model,
        states_of=lambda places: [states[place] for place in places],
    )


class _Histories:
    """Derives the states of gauges from their own histories, when they are asked for.

    After the session has ended another is opened, and the records are read as they were known to
    the first, whoever wrote meanwhile.
    """

    def __init__(
        self, session: Session, installation_ids: Ints, as_of: date, known_on: datetime | None
    ) -> None:
        self._session = session
        self._installation_ids = installation_ids
        self._as_of = as_of
        self._known_on = known_on
        head = head_entry(session)
        self._known_then = known_on or (head[1] if head is not None else None)

    def __call__(self, places: Ints) -> list[GaugeState]:
        """Give the states at some places, in that order."""
        named = [int(row_id) for row_id in self._installation_ids[places]]
        if self._session.in_transaction():
            found = self._derived(self._session, named, self._known_on)
        else:
            with Session(self._session.get_bind()) as session:
                found = self._derived(session, named, self._known_then)
        return [found[row_id] for row_id in named]

    def _derived(
        self, session: Session, named: Sequence[int], known_on: datetime | None
    ) -> dict[int, GaugeState]:
        shares = history_shares(session, named, as_of=self._as_of, known_on=known_on)
        states = (derive_state(history) for share in shares for history in share)
        return {state.gauge.installation_id: state for state in states}


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
