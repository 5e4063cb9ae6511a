"""Intensity of test runs. Source of the times: standards table of worked examples, 653 mL through
a 203 mm orifice at 25, 50 and 100 mm/h take 48.4, 24.2 and 12.1 min (first principles)."""

from __future__ import annotations

import pytest

from fleet.domain.code import Phase
from fleet.domain.history import PhaseRuns
from fleet.domain.intensity import TimedRun, error_slope, intensity_note, timed_runs
from tests.factories import make_gauge

GAUGE = make_gauge(bucket_mm=0.2, orifice_area_cm2=323.655)


def runs(*tips, durations_s):
    volumes = (653.0,) * len(tips)
    return PhaseRuns(
        Phase.AS_LEFT,
        len(tips),
        len(tips),
        sum(volumes),
        sum(tips),
        0.0,
        tips,
        volumes,
        durations_s,
    )


def test_intensity_follows_from_volume_area_and_time():
    timed = timed_runs(runs(100, 99, 97, durations_s=(2904.0, 1452.0, 726.0)), GAUGE)

    assert [run.mm_per_hour for run in timed] == pytest.approx([25.0, 50.0, 100.0], rel=2e-3)
    # 653 mL make 100.879 tips of 203 mm and 0.2 mm (standards table)
    assert timed[2].error_percent == pytest.approx(100 * (97 - 100.879) / 100.879, abs=1e-3)


def test_runs_without_a_time_are_left_out():
    timed = timed_runs(runs(100, 99, durations_s=(None, 1452.0)), GAUGE)

    assert [run.number for run in timed] == [2]
    assert timed_runs(runs(100, 99, durations_s=()), GAUGE) == ()


def test_error_slope_is_that_of_a_straight_loss():
    """0.450 s at 0.254 mm: 100 x 0.45 / (3600 x 0.254) = 0.0492 % for each mm/h, linear."""
    timed = tuple(TimedRun(n, rate, -0.0492126 * rate) for n, rate in enumerate((20, 60, 175)))

    assert error_slope(timed) == pytest.approx(-4.92126)


def test_error_slope_is_not_told_by_few_or_like_runs():
    assert error_slope((TimedRun(1, 20, 0.0), TimedRun(2, 60, 0.0))) is None
    assert error_slope(tuple(TimedRun(n, 50.0 + n, 0.0) for n in range(4))) is None


def test_siphon_gauge_is_not_expected_to_lose_in_proportion():
    assert "siphon holds the inflow" in intensity_note(make_gauge(siphon=True))
    assert "in proportion to intensity" in intensity_note(make_gauge(siphon=False))
