"""Which gauges need a visit next: state, policy and forecast of each, in order of worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.policy import Policy
from fleet.domain.sheet import Driver
from fleet.domain.state import GaugeState, derive_state
from fleet.errors import NotFoundError
from fleet.services.driver_words import drivers_of
from fleet.services.rain_effect import moves_much, rain_sentence, view_rain
from fleet.services.rain_record import GatheredRain
from fleet.stats.fleet_model import fit_fleet
from fleet.stats.gauge_forecast import GaugeForecast
from fleet.stats.ranking import rank_states
from fleet.store.queries.crew import depot
from fleet.store.queries.history import gauge_histories
from fleet.store.queries.policy import policy_book


@dataclass(frozen=True, slots=True)
class RankedGauge:
    """One gauge in its place in the ranking, with the reasons in words, greatest first.

    ``rain`` says what the daily totals show and did to the forecast, '' without any.
    """

    rank: int
    forecast: GaugeForecast
    drivers: tuple[Driver, ...]
    rain: str = ""

    @property
    def state(self) -> GaugeState:
        """Give the gauge's state as of the day of the ranking."""
        return self.forecast.state

    @property
    def policy(self) -> Policy:
        """Give the policy in force on that day."""
        return self.forecast.policy

    @property
    def total_record_days(self) -> float:
        """Give the worth of a service, with what the policy adds for being overdue."""
        return self.forecast.total_record_days

    @property
    def unfit_probability(self) -> float:
        """Give the probability that the gauge is unfit now."""
        return self.forecast.p


@dataclass(frozen=True, slots=True)
class RankFilter:
    """Which gauges are shown; None does not filter. ``driver`` is the one with most share."""

    depot_code: str | None = None
    type_code: str | None = None
    driver: str | None = None

    def shows(self, ranked: RankedGauge) -> bool:
        """Tell whether a ranked gauge is to be shown."""
        gauge = ranked.state.gauge
        return (
            self.depot_code in (None, gauge.depot_code)
            and self.type_code in (None, gauge.type_code)
            and self.driver in (None, ranked.drivers[0].name)
        )


def rank_gauges(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    keep: RankFilter | None = None,
    with_rain: bool = True,
) -> list[RankedGauge]:
    """Rank the network's gauges by what a service now is worth.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Records after this day are not seen.
    known_on : datetime, optional
        As the records were known then; None is now.
    keep : RankFilter, optional
        Which gauges to give. The model is fitted to the whole network in any case, so a filter
        does not change a gauge's worth; ranks count within what is given.
    with_rain : bool, default True
        Take in what the daily totals say, where there are any.

    Returns
    -------
    list of RankedGauge
        Most worth first.

    Raises
    ------
    NotFoundError
        There is no such depot, or no gauge of such a type in service; told is what there is.
    """
    histories = gauge_histories(session, as_of=as_of, known_on=known_on)
    book = policy_book(session, known_on=known_on)
    states = [derive_state(history) for history in histories]
    _require_known(session, keep or RankFilter(), states, known_on)
    policies = [
        book.in_force(type_code=state.gauge.type_code, site_code=state.gauge.site_code, on=as_of)
        for state in states
    ]
    seen = view_rain(session, states, as_of=as_of, known_on=known_on) if with_rain else None
    view, rain = seen or (None, None)
    forecasts = rank_states(states, policies, fit_fleet(states), as_of=as_of, rain=view)
    return narrow([_in_words(f, rain) for f in forecasts], keep or RankFilter())


def narrow(ranked: Sequence[RankedGauge], keep: RankFilter) -> list[RankedGauge]:
    """Give the gauges that a filter shows, with ranks that count within them."""
    shown = [gauge for gauge in ranked if keep.shows(gauge)]
    return [replace(gauge, rank=place) for place, gauge in enumerate(shown, start=1)]


def _in_words(forecast: GaugeForecast, rain: GatheredRain | None) -> RankedGauge:
    """Say why; rain that moves much is told among the reasons of the leading driver."""
    drivers, effect = drivers_of(forecast), forecast.rain
    if effect is None or rain is None:
        return RankedGauge(forecast.rank, forecast, drivers)
    sentence = rain_sentence(effect, rain, p=forecast.p)
    if moves_much(effect, p=forecast.p):
        first = replace(drivers[0], sentence=f"{drivers[0].sentence} {sentence}")
        drivers = (first, *drivers[1:])
    return RankedGauge(forecast.rank, forecast, drivers, sentence)


def _require_known(
    session: Session, keep: RankFilter, states: Sequence[GaugeState], known_on: datetime | None
) -> None:
    if keep.depot_code is not None:
        depot(session, keep.depot_code, known_on=known_on)
    types = sorted({state.gauge.type_code for state in states})
    if keep.type_code is not None and keep.type_code not in types:
        named = ", ".join(types) or "none is in service"
        raise NotFoundError(f"No gauge of type {keep.type_code!r} is in service. Types: {named}.")


def rank_network(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    known_on: datetime | None = None,
    keep: RankFilter | None = None,
    with_rain: bool = True,
) -> list[RankedGauge]:
    """Rank in a session of its own; see `rank_gauges`."""
    with sessions() as session:
        return rank_gauges(session, as_of=as_of, known_on=known_on, keep=keep, with_rain=with_rain)
