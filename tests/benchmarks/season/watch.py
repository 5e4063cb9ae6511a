"""The project's own comparison of neighbours, run on the totals of the world as they come in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fleet.domain.history import CheckRecord
from fleet.stats.neighbour_evidence import neighbour_evidence
from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.neighbour_known import LevelTest, known_levels, level_test
from fleet.stats.neighbour_record import RainRecord
from fleet.stats.rain_weigh import RainView
from tests.benchmarks.season.nature import KINDS, Bools, Floats
from tests.benchmarks.season.truth import Truth
from tests.benchmarks.season.weather import Counters

WINDOW_DAYS = 1096
"""So much of the record is compared, as in the ranking of the project."""

FALSE_SHARE = 0.05

EVERY_WEEKS = 2
"""So often the neighbours are compared; between, what was found stands until a service."""


class Watch:
    """Keeps the daily totals, the services and the tests, and compares neighbours now and then."""

    def __init__(self, truth: Truth, places: tuple[Floats, Floats], rain_mm: Floats) -> None:
        gauges, days = rain_mm.shape
        self._places, self._rain_mm = places, rain_mm
        self._counters = Counters(truth)
        self._total_mm = np.full((gauges, days), np.nan, dtype=np.float32)
        self._serviced = np.zeros((gauges, days), dtype=bool)
        self._tests: list[list[LevelTest]] = [[] for _ in range(gauges)]
        self._tolerance = truth.tolerance
        kinds = [KINDS[k] for k in truth.nature.character.kind]
        self._tip_ml = [kind.bucket_mm * kind.area_cm2 / 10.0 for kind in kinds]
        self._spans: list[SpanEvidence | None] = [None] * gauges
        self._compared_in, self._first = -EVERY_WEEKS, 0

    def pass_day(self, day: int) -> None:
        """Take in one day's totals."""
        self._total_mm[:, day] = self._counters.count(self._rain_mm[:, day])

    def serviced(self, index: int, day: int, record: CheckRecord) -> None:
        """Note a service and its test; the day's total is not to be trusted."""
        self._total_mm[index, day] = np.nan
        self._serviced[index, day] = True
        self._tests[index].append(level_test(record, self._tip_ml[index], column=day))
        self._spans[index] = None

    def view(self, day: int) -> RainView:
        """Give what the totals up to this day say."""
        if day // 7 - self._compared_in >= EVERY_WEEKS:
            self._compared_in, self._first = day // 7, max(0, day + 1 - WINDOW_DAYS)
            self._spans = list(self._compare(day))
        return RainView(tuple(self._spans), day - self._first)

    def alarmed(self) -> Bools:
        """Tell which gauges have an alarm up."""
        return np.array([span is not None and span.q <= FALSE_SHARE for span in self._spans])

    def _compare(self, day: int) -> tuple[SpanEvidence, ...]:
        days = slice(self._first, day + 1)
        tests = [[replace(t, column=t.column - self._first) for t in own] for own in self._tests]
        known = known_levels(tests, days=day + 1 - self._first)
        record = RainRecord(
            total_mm=self._total_mm[:, days],
            serviced=self._serviced[:, days],
            latitude_deg=self._places[0],
            longitude_deg=self._places[1],
            tip_mm=self._counters.tip_mm,
            low_percent=-self._tolerance,
            high_percent=self._tolerance,
            level_log=known.level_log,
            level_sd=known.level_sd,
        )
        return neighbour_evidence(record, days_may_shift=False).spans
