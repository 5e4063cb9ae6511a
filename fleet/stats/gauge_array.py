"""Gauges, their policies and the models of their types, laid out as the arrays of the forecast."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from fleet.domain.policy import Policy
from fleet.domain.state import LEAST_OHM, LOG_OHM_VARIANCE, GaugeState
from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.clock import Clock
from fleet.stats.fleet_model import FleetModel, TypeModel
from fleet.stats.forecast import Gauges, Sudden
from fleet.stats.gauge_column import GaugeColumns, columns_of
from fleet.stats.gauge_forecast import GaugeForecast
from fleet.stats.growth import Growth, Season
from fleet.stats.hazard import HazardFit, posterior_hazard
from fleet.stats.policy_column import PolicyColumns, policy_columns


@dataclass(frozen=True, slots=True, eq=False)
class Standings:
    """n gauges on the day of the forecast, with their policies and the models of their types.

    ``which``, shape (n,), is the place of each gauge's model in ``models``; ``today`` the ordinal
    of the day of each.
    """

    columns: GaugeColumns
    policies: PolicyColumns
    models: tuple[TypeModel, ...]
    which: Ints
    today: Ints

    def __len__(self) -> int:
        """Count the gauges."""
        return len(self.columns)

    def take(self, index: Ints | Bools) -> Standings:
        """Give some of the gauges: places, or a mask of shape (n,)."""
        return Standings(
            columns=self.columns.take(index),
            policies=self.policies.take(index),
            models=self.models,
            which=self.which[index],
            today=self.today[index],
        )

    def model(self, place: int) -> TypeModel:
        """Give the model of the gauge at a place."""
        return self.models[int(self.which[place])]

    def of_kind(self, number: Callable[[TypeModel], float]) -> Floats:
        """Give a number of each gauge's model, shape (n,)."""
        return np.array([number(model) for model in self.models], dtype=np.float64)[self.which]

    @property
    def age_days(self) -> Ints:
        """Give the days since the last service, or since the installation without one."""
        return self.today - self._serviced_or_installed

    @property
    def interval_days(self) -> Ints:
        """Give the service intervals of the policies."""
        return self.policies.numbers("service_interval_days").astype(np.int64)

    @property
    def days_overdue(self) -> Ints:
        """Give the days by which the age exceeds the policy's interval, 0 within it."""
        return np.asarray(np.maximum(0, self.age_days - self.interval_days))

    @property
    def nominal_tips(self) -> Floats:
        """Give the tips that the nominal test volume should make."""
        columns = self.columns
        tip_ml = columns.bucket_mm * columns.orifice_area_cm2 / 10.0
        return columns.test_volume_ml / tip_ml

    @property
    def level_known(self) -> Bools:
        """Tell of which gauges a level was measured since something was changed."""
        return ~np.isnan(self.columns.level_percent)

    @property
    def ohm_known(self) -> Bools:
        """Tell of which switches the closed resistance was read."""
        return ~np.isnan(self.columns.switch_ohm)

    @property
    def drift_days(self) -> Ints:
        """Give the days since the last known level; without one, since the last service."""
        return self.today - _first(self.columns.level_day, self._serviced_or_installed)

    @property
    def resistance_days(self) -> Ints:
        """Give the days since the last known resistance, or since the installation."""
        return self.today - _first(self.columns.switch_ohm_day, self.columns.installed_day)

    @property
    def blockage_days(self) -> Ints:
        """Give the days since the way of the water was seen, or since the installation."""
        return self.today - _first(self.columns.site_seen_day, self.columns.installed_day)

    @property
    def way_clean_days(self) -> Ints:
        """Give the days over which dirt in the way of the water counts."""
        return _first_age(self.columns.way_clean_day, self.today, self.blockage_days)

    @property
    def death_days(self) -> Ints:
        """Give the days since the switch was seen, or since the installation."""
        return self.today - _first(self.columns.switch_seen_day, self.columns.installed_day)

    @property
    def switch_new_days(self) -> Ints:
        """Give the days over which the age of the switch counts."""
        return _first_age(self.columns.switch_new_day, self.today, self.death_days)

    @property
    def _serviced_or_installed(self) -> Ints:
        return _first(self.columns.last_service_day, self.columns.installed_day)


def stand(
    columns: GaugeColumns, policies: PolicyColumns, *, model: FleetModel, as_of: date | Ints
) -> Standings:
    """Put gauges, their policies and the models of their types together on a day.

    Parameters
    ----------
    columns : GaugeColumns
        n gauges, from records up to ``as_of``.
    policies : PolicyColumns
        In force on ``as_of``, of the same gauges in the same order.
    model : FleetModel
        Under which the evidence of the columns was weighed.
    as_of : date or ndarray of int, shape (n,)
        Day of the forecast, or the ordinal of each gauge's.

    Returns
    -------
    Standings
        In the order of the columns.

    Raises
    ------
    ValueError
        Not one policy for each gauge, or a gauge that knows of a day after ``as_of``.
    """
    if len(columns) != len(policies):
        raise ValueError(f"{len(columns)} states but {len(policies)} policies")
    today = (
        np.full(len(columns), as_of.toordinal(), dtype=np.int64)
        if isinstance(as_of, date)
        else as_of
    )
    _require_known_by(columns, today)
    kinds: dict[str, int] = {}
    which = [kinds.setdefault(code, len(kinds)) for code in columns.type_code.tolist()]
    models = tuple(model.of(code) for code in kinds)
    return Standings(columns, policies, models, np.array(which, dtype=np.int64), today)


def stand_states(
    states: Sequence[GaugeState],
    policies: Sequence[Policy],
    *,
    model: FleetModel,
    as_of: date | Sequence[date],
) -> Standings:
    """Put derived states together with policies and models; see `stand`.

    ``as_of`` may be one day, or one for each state.
    """
    days = (
        as_of
        if isinstance(as_of, date)
        else np.array([day.toordinal() for day in as_of], dtype=np.int64)
    )
    columns = columns_of(states, model)
    return stand(columns, policy_columns(policies), model=model, as_of=days)


def stand_rows(rows: Sequence[GaugeForecast]) -> Standings:
    """Put the gauges of rows of one ranking together again.

    Parameters
    ----------
    rows : sequence of GaugeForecast
        n of them, at least one, each with its state, policy, model and day.

    Returns
    -------
    Standings
        In the order of the rows.
    """
    types = {row.state.gauge.type_code: row.model for row in rows}
    return stand_states(
        [row.state for row in rows],
        [row.policy for row in rows],
        model=FleetModel(types, rows[0].model),
        as_of=[row.as_of for row in rows],
    )


def lay_out(standings: Standings) -> Gauges:
    """Lay gauges out as the arrays of the forecast.

    Parameters
    ----------
    standings : Standings
        n gauges.

    Returns
    -------
    Gauges
        In the order of the standings.
    """
    columns, kind = standings.columns, standings.of_kind
    as_left = (kind(lambda m: m.as_left.mean), kind(lambda m: m.as_left.sd**2))
    new_switch = (kind(lambda m: m.new_switch.mean), kind(lambda m: m.new_switch.sd**2))
    drift_days = standings.drift_days
    return Gauges(
        drift=_drift(standings, *as_left),
        drift_age_days=drift_days,
        fresh_level=as_left[0],
        fresh_level_variance=as_left[1],
        resistance=_resistance(standings, *new_switch),
        resistance_age_days=standings.resistance_days,
        new_switch=new_switch[0],
        new_switch_variance=new_switch[1],
        knock=_sudden(
            standings,
            lambda m: m.knock.hazard,
            seen=(columns.knock_events, columns.knock_exposure),
            age_days=drift_days,
            new_days=drift_days,
        ),
        knock_sd=kind(lambda m: m.knock.size_sd),
        blockage=_sudden(
            standings,
            lambda m: m.blockage,
            seen=(columns.blockage_events, columns.blockage_exposure),
            age_days=standings.blockage_days,
            new_days=standings.way_clean_days,
        ),
        deaths=_sudden(
            standings,
            lambda m: m.deaths,
            seen=(columns.death_events, columns.death_exposure),
            age_days=standings.death_days,
            new_days=standings.switch_new_days,
        ),
        blocked=columns.left_blocked,
        dead=columns.switch_left_dead,
        disconnected=columns.left_disconnected,
    )


def _drift(standings: Standings, mean: Floats, variance: Floats) -> Growth:
    """Start from the known level, else from where services of the type leave it."""
    columns, known = standings.columns, standings.level_known
    low, high = standings.policies.as_found_limits(standings.nominal_tips)
    return Growth(
        start=np.where(known, columns.level_percent, mean),
        start_variance=np.where(known, columns.level_variance, variance),
        rate=columns.drift_rate,
        rate_variance=columns.drift_rate_variance,
        walk_variance=standings.of_kind(lambda m: m.drift.walk_sd**2),
        low=low,
        high=high,
        season=_season(standings, lambda m: m.drift.clock),
    )


def _resistance(standings: Standings, mean: Floats, variance: Floats) -> Growth:
    """Start from the known resistance, else from that of new switches."""
    columns, known = standings.columns, standings.ohm_known
    ohm = np.maximum(np.where(known, columns.switch_ohm, 1.0), LEAST_OHM)
    return Growth(
        start=np.where(known, np.log(ohm), mean),
        start_variance=np.where(known, LOG_OHM_VARIANCE, variance),
        rate=columns.ohm_rate,
        rate_variance=columns.ohm_rate_variance,
        walk_variance=standings.of_kind(lambda m: m.resistance.walk_sd**2),
        low=np.full(len(standings), -np.inf),
        high=standings.policies.closed_limit_log_ohm(),
        season=_season(standings, lambda m: m.resistance.clock),
    )


def _season(standings: Standings, clock: Callable[[TypeModel], Clock]) -> Season | None:
    """Give the season by which each gauge's level grows; None where no type has one."""
    if all(clock(model).swing == 0.0 for model in standings.models):
        return None
    return Season(
        cosine=standings.of_kind(lambda m: clock(m).cosine),
        sine=standings.of_kind(lambda m: clock(m).sine),
        today=standings.today,
    )


def _sudden(
    standings: Standings,
    fit: Callable[[TypeModel], HazardFit],
    *,
    seen: tuple[Floats, Floats],
    age_days: Ints,
    new_days: Ints,
) -> Sudden:
    """Add each gauge's own events and exposure to its type's law."""
    law = posterior_hazard(
        *seen,
        shape=standings.of_kind(lambda m: fit(m).shape),
        scale_years=standings.of_kind(lambda m: fit(m).scale_years),
    )
    clocks = tuple(_clocks(standings, [fit(model).clock for model in standings.models]))
    return Sudden(law, age_days, new_days, clocks, standings.today)


def _clocks(standings: Standings, clocks: Sequence[Clock]) -> Iterator[tuple[Clock, Ints]]:
    """Give each clock with the places of the gauges that it holds for."""
    for clock in dict.fromkeys(clocks):
        holds = np.array([one == clock for one in clocks], dtype=bool)
        rows = np.flatnonzero(holds[standings.which])
        if rows.size:
            yield clock, rows


def _first(day: Ints, other: Ints) -> Ints:
    """Give a day, the other where there is none."""
    return np.where(day > 0, day, other)


def _first_age(day: Ints, today: Ints, other_days: Ints) -> Ints:
    return np.where(day > 0, today - day, other_days)


def _require_known_by(columns: GaugeColumns, today: Ints) -> None:
    latest = np.maximum.reduce(
        [
            columns.installed_day,
            columns.last_visit_day,
            columns.level_day,
            columns.site_seen_day,
            columns.switch_seen_day,
        ]
    )
    for place in np.flatnonzero(latest > today)[:1]:
        where = f"{columns.site_code[place]} {columns.position[place]}"
        known, day = (date.fromordinal(int(days[place])) for days in (latest, today))
        raise ValueError(f"{where}: its state knows of {known}, after {day}")
