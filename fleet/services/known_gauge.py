"""What is known of every gauge in service: columns, the fleet's model, states on demand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from fleet.domain.state import GaugeState, derive_state
from fleet.stats.array import Ints
from fleet.stats.fleet_model import FleetModel, fit_fleet
from fleet.stats.gauge_column import GaugeColumns, columns_of
from fleet.store.queries.history import gauge_histories

StatesOf = Callable[[Ints], Sequence[GaugeState]]
"""Gives the states of the gauges at some places of the columns."""


@dataclass(frozen=True, slots=True, eq=False)
class KnownGauges:
    """The gauges in service as columns, the model that their evidence is weighed under.

    ``states_of`` gives the state of any of them; it may be asked after the session has ended.
    """

    columns: GaugeColumns
    model: FleetModel
    states_of: StatesOf


def known_gauges(session: Session, *, as_of: date, known_on: datetime | None = None) -> KnownGauges:
    """Derive every gauge from its history, and fit the fleet to them.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Records after this day are not seen.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    KnownGauges
        In order of site code and position.
    """
    histories = gauge_histories(session, as_of=as_of, known_on=known_on)
    states = [derive_state(history) for history in histories]
    model = fit_fleet(states)
    return KnownGauges(
        columns=columns_of(states, model),
        model=model,
        states_of=lambda places: [states[place] for place in places],
    )
