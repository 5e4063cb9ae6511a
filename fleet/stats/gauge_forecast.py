"""One row of the ranking: what is forecast of a gauge, with every number that led there."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.domain.policy import Policy
from fleet.domain.state import GaugeState
from fleet.stats.fleet_model import TypeModel
from fleet.stats.rain_weigh import RainEffect


@dataclass(frozen=True, slots=True)
class LevelForecast:
    """A level that grows, as the forecast sees it: drift in percent, resistance in log ohm.

    ``start`` is the level ``age_days`` ago, which count as ``age_years`` by season. ``known`` is
    False where nobody measured since something was changed, and the start is where services (or
    new switches) of the type leave it. ``rate_per_year`` is the gauge's own, shrunk to its type's;
    ``walk_sd`` is of a root year. ``doubted`` of the instrument's changes were held to be outliers.
    ``now`` and ``now_sd`` are the prediction for today; ``p`` is the highest probability of being
    outside ``low`` to ``high`` on any day since the start.
    """

    known: bool
    start: float
    start_sd: float
    age_days: int
    age_years: float
    rate_per_year: float
    rate_sd: float
    walk_sd: float
    doubted: int
    now: float
    now_sd: float
    low: float
    high: float
    p: float


@dataclass(frozen=True, slots=True)
class SuddenForecast:
    """An event without warning: the Gamma law of its rate, and its probability.

    The law has ``shape`` a and ``scale_years`` b after the gauge's own events and exposure.
    ``age_days`` ago there was last seen to be none, ``new_days`` ago its age began to count;
    ``exposure`` has gathered since it was well, and with the probability ``unnoticed`` nobody
    would have told by now. ``left`` tells that the last visit left it so: ``p`` is certain.
    """

    shape: float
    scale_years: float
    age_days: int
    new_days: int
    exposure: float
    unnoticed: float
    left: bool
    p: float

    @property
    def per_year(self) -> float:
        """Give the mean rate of this gauge, in events in the first year of age."""
        return self.shape / self.scale_years


@dataclass(frozen=True, slots=True)
class GaugeForecast:
    """One row of the ranking, with all that led to its place.

    ``p_drift`` is being out of tolerance, by ``drift`` or a sudden change of level (``knock``),
    of which ``knock_out_share`` leave the gauge out;
    ``p_switch`` joins worn contacts (``resistance``) and sudden deaths (``deaths``). The
    three shares split ``total_record_days`` and sum to 1; age is blockage, disconnection and
    compliance. ``p_after_service`` and ``p_at_horizon`` are the probabilities of being unfit on
    the day of a service and a horizon later. ``model`` holds the hyperparameters of the type and
    which of them are borrowed from the network. ``rain`` is what the daily totals did to it all,
    None where they were left out or say nothing; the drift's ``now`` takes it in.
    """

    rank: int
    state: GaugeState
    policy: Policy
    model: TypeModel
    as_of: date
    age_days: int
    interval_days: int
    days_overdue: int
    nominal_tips: float
    drift: LevelForecast
    knock: SuddenForecast
    knock_out_share: float
    resistance: LevelForecast
    blockage: SuddenForecast
    deaths: SuddenForecast
    p_drift: float
    p_blockage: float
    p_switch: float
    p_disconnection: float
    p: float
    p_after_service: float
    p_at_horizon: float
    horizon_days: int
    worth_record_days: float
    compliance_record_days: float
    total_record_days: float
    age_share: float
    drift_share: float
    switch_share: float
    rain: RainEffect | None = None
