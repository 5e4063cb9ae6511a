"""Which gauges need a visit next: state, policy and forecast of each, in order of worth."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import overload

import numpy as np
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.policy import Policy
from fleet.domain.sheet import Driver
from fleet.domain.state import GaugeState
from fleet.errors import NotFoundError
from fleet.services.driver_words import DRIVERS, drivers_of
from fleet.services.known_gauge import StatesOf, known_gauges
from fleet.services.rain_effect import moves_much, rain_sentence, view_rain
from fleet.services.rain_record import GatheredRain
from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.gauge_column import GaugeColumns
from fleet.stats.gauge_forecast import GaugeForecast
from fleet.stats.policy_column import policies_in_force
from fleet.stats.ranking import RankedColumns, rank_columns
from fleet.store.queries.crew import depot
from fleet.store.queries.policy import policy_book

ROWS_AT_ONCE = 256
"""Rows that are made together where many are asked for."""


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
    """Which gauges are shown; None does not filter. ``driver`` is the one with most share.

    ``guests`` are sites that are shown beside those of the depot.
    """

    depot_code: str | None = None
    type_code: str | None = None
    driver: str | None = None
    guests: frozenset[str] = frozenset()

    def shows(self, ranked: RankedColumns) -> Bools:
        """Tell which gauges of a ranking are to be shown, in the order of its columns."""
        columns = ranked.standings.columns
        shown = np.ones(len(columns), dtype=np.bool_)
        if self.depot_code is not None:
            own = columns.depot_code == self.depot_code
            shown &= own | np.isin(columns.site_code, list(self.guests))
        if self.type_code is not None:
            shown &= columns.type_code == self.type_code
        if self.driver is not None:
            shown &= ranked.numbers.leading == DRIVERS.index(self.driver)
        return shown


class Ranking(Sequence[RankedGauge]):
    """Gauges in order of worth; a row is made, with its reasons in words, when it is asked for.

    Parameters
    ----------
    ranked : RankedColumns
        The whole network.
    states_of : callable
        Gives the states of the gauges at some places of the columns.
    rain : GatheredRain or None
        What the evidence of the daily totals was drawn from.
    places : ndarray of int, shape (n,)
        Of the gauges shown, in order of rank.
    first : int, default 1
        Rank of the first.
    """

    def __init__(
        self,
        ranked: RankedColumns,
        states_of: StatesOf,
        rain: GatheredRain | None,
        *,
        places: Ints,
        first: int = 1,
    ) -> None:
        self._ranked = ranked
        self._states_of = states_of
        self._rain = rain
        self._places = places
        self._first = first

    def __len__(self) -> int:
        """Count the gauges shown."""
        return int(self._places.size)

    @overload
    def __getitem__(self, index: int) -> RankedGauge: ...

    @overload
    def __getitem__(self, index: slice) -> Ranking: ...

    def __getitem__(self, index: int | slice) -> RankedGauge | Ranking:
        """Give one row, or a stretch of the ranking with the ranks that it has here."""
        spots = range(len(self))[index]
        if isinstance(spots, int):
            return self.rows([spots])[0]
        if spots.step != 1:
            raise ValueError(f"a stretch of a ranking has the step 1, not {spots.step}")
        return self._part(self._places[spots.start : spots.stop], self._first + spots.start)

    def __iter__(self) -> Iterator[RankedGauge]:
        """Give every row in order, made share by share."""
        return self._made(range(len(self)))

    @property
    def columns(self) -> GaugeColumns:
        """Give who the gauges shown are and what is known of them, in order of rank."""
        return self._ranked.standings.columns.take(self._places)

    @property
    def total_record_days(self) -> Floats:
        """Give the worth of each gauge shown, with compliance, in order of rank."""
        return self._ranked.numbers.total_record_days[self._places]

    @property
    def unfit_probability(self) -> Floats:
        """Give the probability that each gauge shown is unfit now, in order of rank."""
        return self._ranked.numbers.p[self._places]

    @property
    def days_overdue(self) -> Ints:
        """Give the days overdue of each gauge shown, in order of rank."""
        return self._ranked.standings.days_overdue[self._places]

    def rows(self, spots: Sequence[int]) -> list[RankedGauge]:
        """Make the rows at some spots of the ranking, counted from 0, in that order."""
        return list(self._made(spots))

    def of_serials(self, serials: Sequence[str]) -> list[RankedGauge]:
        """Make the rows of instruments, in order of rank; of those that are not shown, none."""
        serial = self._ranked.standings.columns.serial[self._places]
        return self.rows(np.flatnonzero(np.isin(serial, list(serials))).tolist())

    def narrow(self, keep: RankFilter) -> Ranking:
        """Give the gauges that a filter shows, with ranks that count within them."""
        shown = keep.shows(self._ranked)
        return self._part(self._places[shown[self._places]], 1)

    def _made(self, spots: Sequence[int]) -> Iterator[RankedGauge]:
        for start in range(0, len(spots), ROWS_AT_ONCE):
            share = spots[start : start + ROWS_AT_ONCE]
            places = self._places[np.asarray(share, dtype=np.int64)]
            forecasts = self._ranked.forecasts(places, self._states_of(places))
            for spot, forecast in zip(share, forecasts, strict=True):
                yield _in_words(replace(forecast, rank=self._first + spot), self._rain)

    def _part(self, places: Ints, first: int) -> Ranking:
        return Ranking(self._ranked, self._states_of, self._rain, places=places, first=first)


def rank_gauges(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    keep: RankFilter | None = None,
    with_rain: bool = True,
) -> Ranking:
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
    Ranking
        Most worth first.

    Raises
    ------
    NotFoundError
        There is no such depot, or no gauge of such a type in service; told is what there is.
    """
    known = known_gauges(session, as_of=as_of, known_on=known_on)
    _require_known(session, keep or RankFilter(), known.columns, known_on)
    policies = policies_in_force(policy_book(session, known_on=known_on), known.columns, on=as_of)
    seen = view_rain(session, known.columns, as_of=as_of, known_on=known_on) if with_rain else None
    view, rain = seen or (None, None)
    ranked = rank_columns(known.columns, policies, known.model, as_of=as_of, rain=view)
    whole = Ranking(ranked, known.states_of, rain, places=ranked.order)
    return whole if keep is None else whole.narrow(keep)


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
    session: Session, keep: RankFilter, columns: GaugeColumns, known_on: datetime | None
) -> None:
    if keep.depot_code is not None:
        depot(session, keep.depot_code, known_on=known_on)
    types = sorted(set(columns.type_code))
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
) -> Ranking:
    """Rank in a session of its own; see `rank_gauges`."""
    with sessions() as session:
        return rank_gauges(session, as_of=as_of, known_on=known_on, keep=keep, with_rain=with_rain)
