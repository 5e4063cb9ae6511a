"""What a technician does at a gauge, and what stands in the record afterwards: nothing more."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from fleet.domain.code import MeasuredAt, Phase, VisitOutcome, VisitPurpose
from fleet.domain.history import CheckRecord, Gauge, PhaseRuns, SwitchReadings
from tests.benchmarks.season.nature import (
    FIELD_LIMIT_OHM,
    KINDS,
    NEW_OHM,
    NEW_OHM_LOG_SD,
    Nature,
    SwitchFault,
)
from tests.benchmarks.season.truth import Truth

FIRST_DAY = date(2021, 1, 4)
"""Day 0 of the simulation, a Monday."""

MISPOURED = 0.03
"""Share of as-found phases in which one of the two volumes is off by 10 to 40 % (own estimate)."""

ADJUST_ABOVE_PERCENT = 2.0
"""An as-left error above this is adjusted."""

ADJUSTED_SD_PERCENT = 0.8
"""Spread of the errors that adjustments leave."""

DEAD_COUNT = 0.7
"""Share of the tips that a switch counts which misses some of them."""


def describe_gauges(nature: Nature, depot: list[str]) -> list[Gauge]:
    """Give the gauges as the register has them."""
    kinds = [KINDS[k] for k in nature.character.kind]
    return [
        Gauge(
            installation_id=i + 1,
            site_code=f"S{i:03d}",
            position="A",
            serial=f"{i:05d}",
            type_code=kind.code,
            installed_on=FIRST_DAY - timedelta(days=int(nature.character.age_days[i])),
            bucket_mm=kind.bucket_mm,
            orifice_area_cm2=kind.area_cm2,
            test_volume_ml=kind.volume_ml,
            siphon=False,
            depot_code=depot[i],
            importance=1.0,
        )
        for i, kind in enumerate(kinds)
    ]


class Technician:
    """Services gauges and writes down what was seen.

    Draws from dice of the gauge and the day, so that chance is the same under every policy.
    """

    def __init__(self, truth: Truth, gauges: list[Gauge], *, seed: int) -> None:
        self._truth = truth
        self._gauges = gauges
        self._seed = seed

    def installation(self, index: int) -> CheckRecord:
        """Give the record of the installation, made before the first day."""
        truth, gauge = self._truth, self._gauges[index]
        dice = np.random.default_rng((self._seed, index))
        return CheckRecord(
            visit_ref=f"{gauge.site_code}/0",
            visited_on=gauge.installed_on,
            outcome=VisitOutcome.DONE,
            purpose=VisitPurpose.INSTALLATION,
            site_code=gauge.site_code,
            serial=gauge.serial,
            cleaned=True,
            isolated=True,
            restoration_proven=True,
            as_left=self._runs(Phase.AS_LEFT, index, truth.base[index], dice),
            switch_left=_read(
                Phase.AS_LEFT, float(truth.nature.character.start_log_ohm[index]), 0, dice
            ),
        )

    def serve(self, index: int, day: int) -> CheckRecord:
        """Test, clean, adjust, mend and test again; the gauge is fit afterwards."""
        truth, gauge = self._truth, self._gauges[index]
        dice = np.random.default_rng((self._seed, index, day))
        blocked = bool(truth.blocked[index])
        log_ohm, fault = float(truth.log_ohm[index]), int(truth.fault[index])
        as_found = None if blocked else self._as_found(index, fault, dice)
        switch_found = _read(Phase.AS_FOUND, log_ohm, fault, dice)
        adjusted = self._clean(index, dice)
        self._mend_switch(index, switch_found, dice)
        return CheckRecord(
            visit_ref=f"{gauge.site_code}/{day + 1}",
            visited_on=FIRST_DAY + timedelta(days=day),
            outcome=VisitOutcome.DONE,
            purpose=VisitPurpose.ROUTINE,
            site_code=gauge.site_code,
            serial=gauge.serial,
            cleaned=True,
            adjusted=adjusted,
            isolated=True,
            restoration_proven=True,
            blocked_found=blocked,
            as_found=as_found,
            as_left=self._runs(Phase.AS_LEFT, index, truth.base[index], dice),
            switch_found=switch_found,
            switch_left=_read(Phase.AS_LEFT, float(truth.log_ohm[index]), 0, dice),
        )

    def _as_found(self, index: int, fault: int, dice: np.random.Generator) -> PhaseRuns:
        error_percent = float(self._truth.error_percent[index])
        counted = {SwitchFault.NONE: 1.0, SwitchFault.OPEN: 0.0, SwitchFault.MISSES: DEAD_COUNT}
        return self._runs(
            Phase.AS_FOUND, index, error_percent, dice, counted=counted[SwitchFault(fault)]
        )

    def _runs(
        self,
        phase: Phase,
        index: int,
        error_percent: float,
        dice: np.random.Generator,
        *,
        counted: float = 1.0,
    ) -> PhaseRuns:
        """Count the tips of two runs; the first volume may be poured wrong as found."""
        gauge, emptied = self._gauges[index], phase is Phase.AS_LEFT
        expected = gauge.test_volume_ml / gauge.tip_ml
        residue = np.zeros(2) if emptied else dice.random(2)
        wrong = 0.0
        if not emptied and dice.random() < MISPOURED:
            wrong = dice.uniform(0.1, 0.4) * dice.choice([-1.0, 1.0])
        water = expected * dice.normal(1.0, 0.003, 2) * np.array([1.0 + wrong, 1.0])
        tips = np.floor(water * (1.0 + error_percent / 100.0) + residue)
        tips = np.floor(np.maximum(tips, 0.0) * counted).astype(int)
        return PhaseRuns(
            phase=phase,
            runs=2,
            emptied_runs=2 if emptied else 0,
            volume_ml=2 * gauge.test_volume_ml,
            tips=int(tips.sum()),
            volume_u_ml=0.003 * gauge.test_volume_ml,
            run_tips=tuple(tips.tolist()),
            run_volumes_ml=(gauge.test_volume_ml, gauge.test_volume_ml),
        )

    def _clean(self, index: int, dice: np.random.Generator) -> bool:
        """Clean, set level, and adjust where the clean gauge is off; tell whether adjusted."""
        truth = self._truth
        truth.screen[index] = 0.0
        truth.bucket[index] = 0.0
        truth.knocked[index] = 0.0
        truth.clogged[index] = False
        seen = truth.base[index] + dice.normal(0.0, 0.5)
        if abs(seen) > ADJUST_ABOVE_PERCENT:
            truth.base[index] = dice.normal(0.0, ADJUSTED_SD_PERCENT)
            return True
        truth.base[index] += dice.normal(0.0, 0.3)
        return False

    def _mend_switch(self, index: int, found: SwitchReadings, dice: np.random.Generator) -> None:
        """Fit a new switch where the old one is dead or beyond the field limit."""
        worn = found.closed_ohm is not None and found.closed_ohm > FIELD_LIMIT_OHM
        if found.dead or worn:
            self._truth.log_ohm[index] = dice.normal(np.log(NEW_OHM), NEW_OHM_LOG_SD)
            self._truth.fault[index] = SwitchFault.NONE


def _read(phase: Phase, log_ohm: float, fault: int, dice: np.random.Generator) -> SwitchReadings:
    ohm = round(float(np.exp(log_ohm + dice.normal(0.0, 0.05))), 2)
    dead = fault == SwitchFault.OPEN
    return SwitchReadings(
        phase=phase,
        closed_ohm=None if dead else ohm,
        no_closure=dead,
        measured_at=MeasuredAt.GAUGE_TERMINALS,
        manual_tips={SwitchFault.NONE: 10, SwitchFault.OPEN: 0, SwitchFault.MISSES: 7}[
            SwitchFault(fault)
        ],
    )
