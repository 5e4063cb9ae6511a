"""A world drawn from the forecast's own law: what it says there must come true as often as said.

Every number below is invented. Gauges grow, block and die by the law that the forecast assumes;
crews check them at random days, pour 300 nominal tips twice and read the switch; only the records
that they make reach the code under test.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from fleet.domain.code import Phase
from fleet.domain.history import CheckRecord, GaugeHistory, PhaseRuns, SwitchReadings
from fleet.domain.state import derive_state
from fleet.stats.fleet_model import fit_fleet
from fleet.stats.forecast import as_it_stands
from fleet.stats.gauge_array import lay_out, stand_states
from tests.factories import make_check, make_gauge
from tests.stats.fleet_factory import POLICY

START = date(2020, 1, 6)
YEAR = 365.25
TOLERANCE_PERCENT = 5.0
LOG_LIMIT = float(np.log(5.0))
NOMINAL_TIPS = 300

DRIFT = {"mean": -2.0, "between": 1.5, "walk": 1.2}  # % a year, % a year, % a root year
KNOCK = {"per_year": 0.06, "sd": 8.0}  # sudden changes of level, %
LEFT = {"mean": -0.3, "sd": 1.0}  # % as a service leaves it
WEAR = {"mean": 0.3, "between": 0.15, "walk": 0.25}  # log ohm a year
NEW = {"mean": float(np.log(0.4)), "sd": 0.5}  # log ohm of a new switch
BLOCKAGE = {"shape": 1.2, "scale_years": 6.0}
DEATH = {"shape": 1.0, "scale_years": 15.0}
CAUSES = ("unfit", "drift", "blockage", "switch")


@dataclass
class World:
    """Forecast probabilities and what was true, one row a gauge, by cause; and its records."""

    probability: dict[str, np.ndarray]
    truth: dict[str, np.ndarray]
    records: np.ndarray


def draw_world(gauges: int, *, seed: int) -> World:
    """Draw gauges with their checks, forecast each at a random day after its last, and look."""
    rng = np.random.default_rng(seed)
    drawn = [_Life(number, rng) for number in range(gauges)]
    histories = [life.check() for life in drawn]
    states = [derive_state(history) for history in histories]
    truth = [life.look() for life in drawn]
    model = fit_fleet(states)
    standings = stand_states(
        states, [POLICY] * gauges, model=model, as_of=[life.today for life in drawn]
    )
    now = as_it_stands(lay_out(standings), np.zeros(1))
    forecast = (now.unfit(), now.tolerance, now.blockage, now.switch)
    return World(
        {cause: p[:, 0] for cause, p in zip(CAUSES, forecast, strict=True)},
        {cause: np.array([one[cause] for one in truth]) for cause in CAUSES},
        np.array([len(history.records) for history in histories]),
    )


def draw_histories(gauges: int, *, seed: int) -> list[GaugeHistory]:
    """Draw gauges with their checks alone."""
    rng = np.random.default_rng(seed)
    return [_Life(number, rng).check() for number in range(gauges)]


class _Life:
    """One gauge from its installation on; time moves on by `_pass`."""

    def __init__(self, number: int, rng: np.random.Generator) -> None:
        self.rng = rng
        self.gauge = make_gauge(
            installation_id=number,
            site_code=f"S{number:05d}",
            serial=f"{number:06d}",
            type_code="TB2",
            installed_on=START,
            bucket_mm=0.2,
            orifice_area_cm2=200.0,
            test_volume_ml=4.0 * NOMINAL_TIPS,
        )
        self.rate = rng.normal(DRIFT["mean"], DRIFT["between"])
        self.wear = rng.normal(WEAR["mean"], WEAR["between"])
        self.blockage_rate = rng.gamma(BLOCKAGE["shape"], 1 / BLOCKAGE["scale_years"])
        self.death_rate = rng.gamma(DEATH["shape"], 1 / DEATH["scale_years"])
        self.level = rng.normal(LEFT["mean"], LEFT["sd"])
        self.log_ohm = rng.normal(NEW["mean"], NEW["sd"])
        self.blocked = self.dead = False
        self.today = START

    def check(self) -> GaugeHistory:
        """Let crews check it on the day of installation and on up to five days after.

        Of one gauge in ten nothing at all is on record.
        """
        if self.rng.random() < 0.1:
            return GaugeHistory(self.gauge, ())
        records = [self._record()]
        for _ in range(int(self.rng.integers(0, 6))):
            self._pass(int(self.rng.integers(60, 400)))
            records.append(self._record())
        return GaugeHistory(self.gauge, tuple(records))

    def look(self) -> dict[str, bool]:
        """Let up to three years pass, and tell what is true then."""
        self._pass(int(self.rng.integers(20, 1100)))
        drift = abs(self.level) > TOLERANCE_PERCENT
        switch = self.dead or self.log_ohm > LOG_LIMIT
        found = {"drift": drift, "blockage": self.blocked, "switch": switch}
        return {**found, "unfit": any(found.values())}

    def _pass(self, days: int) -> None:
        years, rng = days / YEAR, self.rng
        self.today += timedelta(days)
        self.level += self.rate * years + rng.normal(0, DRIFT["walk"] * years**0.5)
        if rng.random() < -np.expm1(-KNOCK["per_year"] * years):
            self.level += rng.normal(0, KNOCK["sd"])
        self.log_ohm += self.wear * years + rng.normal(0, WEAR["walk"] * years**0.5)
        self.blocked |= bool(rng.random() < -np.expm1(-self.blockage_rate * years))
        self.dead |= bool(rng.random() < -np.expm1(-self.death_rate * years))

    def _record(self) -> CheckRecord:
        """Test it, clear and clean it, and put in a new switch where the old one fails."""
        blocked, found = self.blocked, self._read(Phase.AS_FOUND)
        as_found = None if blocked or self.dead else self._pour(Phase.AS_FOUND)
        if self.dead or self.log_ohm > LOG_LIMIT:
            self.log_ohm = self.rng.normal(NEW["mean"], NEW["sd"])
        self.blocked = self.dead = False
        self.level = self.rng.normal(LEFT["mean"], LEFT["sd"])
        return make_check(
            self.today,
            site_code=self.gauge.site_code,
            serial=self.gauge.serial,
            blocked_found=blocked,
            as_found=as_found,
            as_left=self._pour(Phase.AS_LEFT),
            switch_found=found,
            switch_left=self._read(Phase.AS_LEFT),
        )

    def _pour(self, phase: Phase) -> PhaseRuns:
        caught = NOMINAL_TIPS * (1 + self.level / 100)
        tips = [int(np.floor(caught + self.rng.random())) for _ in range(2)]
        volume_ml = 4.0 * NOMINAL_TIPS
        return PhaseRuns(phase, 2, 0, 2 * volume_ml, sum(tips), 0.0, tuple(tips), (volume_ml,) * 2)

    def _read(self, phase: Phase) -> SwitchReadings:
        if self.dead:
            return SwitchReadings(phase, no_closure=True)
        return SwitchReadings(phase, float(np.exp(self.log_ohm + self.rng.normal(0, 0.05))))
