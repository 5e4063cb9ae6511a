"""The whole comparison in an invented world of rain, with faults planted where the test says.

Sources: first principles; the mechanism of the rain is not the model's own (neighbour_world.py).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import false_discovery_control

from fleet.stats.false_alarm import discovery_q, ratio_p
from fleet.stats.neighbour_choice import nearest_gauges
from fleet.stats.neighbour_evidence import neighbour_evidence
from fleet.stats.neighbour_shift import DayShift, find_shifts, set_right
from fleet.stats.neighbour_story import Alarm, Cause
from tests.stats.neighbour_world import (
    count_tips,
    make_places,
    make_rain,
    make_record,
    make_services,
)

GAUGES, DAYS = 40, 640
SERVICED_ON = 460
PLACES = make_places(GAUGES, side_km=60, seed=4)
RAIN = make_rain(*PLACES, days=DAYS, seed=4)


def serviced(*days: int) -> np.ndarray:
    found = np.zeros((GAUGES, DAYS), dtype=bool)
    found[:, [200, SERVICED_ON, *days]] = True
    return found


def planted(faults: dict[int, tuple[int, float]]) -> np.ndarray:
    """Give the totals with gauges that from a day on catch only a share."""
    rain = RAIN.copy()
    for gauge, (day, share) in faults.items():
        rain[gauge, day:] *= share
    return count_tips(rain)


def judged(total_mm: np.ndarray, services: np.ndarray | None = None, **more):
    record = make_record(total_mm, serviced() if services is None else services, PLACES)
    return neighbour_evidence(record, **more)


@pytest.fixture(scope="module")
def healthy():
    return judged(planted({}))


FAULTS = {
    3: (520, 0.0, Alarm.SILENT),
    7: (500, 0.5, Alarm.HALVED),
    11: (500, 2.0, Alarm.DOUBLED),
    19: (490, 0.15, Alarm.CHOKED),
}


@pytest.fixture(scope="module")
def faulty():
    return judged(planted({gauge: fault[:2] for gauge, fault in FAULTS.items()}))


def alarms(evidence):
    return {span.gauge: span for span in evidence.spans if span.q <= 0.05}


def test_a_healthy_fleet_raises_no_alarm(healthy):
    assert alarms(healthy) == {}
    assert len(healthy.spans) == GAUGES
    assert all(span.current and span.first == SERVICED_ON + 1 for span in healthy.spans)
    assert healthy.shifts == ()


def test_faults_are_found_and_nothing_else(faulty):
    found = alarms(faulty)

    assert sorted(found) == sorted(FAULTS)
    for gauge, (day, share, alarm) in FAULTS.items():
        span = found[gauge]
        assert span.alarm is alarm
        assert span.began == pytest.approx(day, abs=16)
        assert span.began_from <= span.began <= span.began_until
        assert span.ratio_after / span.ratio_before == pytest.approx(share, rel=0.2, abs=0.02)


def test_the_figures_of_a_silence_are_counted_by_the_day(faulty):
    span = alarms(faulty)[3]
    others = np.median(planted({})[list(span.neighbours)], axis=0)

    wet = np.flatnonzero(others[520:] >= 1.0) + 520
    assert span.began == wet[0]
    assert (span.wet_days, span.silent_days) == (wet.size, wet.size)
    assert span.ratio_after == 0.0


def test_causes_are_told_apart(faulty):
    found = alarms(faulty)

    silent = found[3].cause_log_ratio
    assert min(silent[cause] for cause in (Cause.BLOCKAGE, Cause.SWITCH, Cause.DISCONNECTION)) > 8
    assert silent[Cause.DRIFT] < 3
    halved = found[7].cause_log_ratio
    assert max(halved, key=halved.get) is Cause.SWITCH
    choked = found[19].cause_log_ratio
    assert max(choked, key=choked.get) is Cause.BLOCKAGE


def test_a_steady_gauge_speaks_against_every_sudden_fault(healthy):
    steady = [span for span in healthy.spans if span.spells >= 8]

    assert len(steady) > GAUGES / 2
    for span in steady:
        assert span.cause_log_ratio[Cause.DISCONNECTION] < -4
        assert span.cause_log_ratio[Cause.BLOCKAGE] < 1
    assert np.median([span.cause_log_ratio[Cause.BLOCKAGE] for span in steady]) < -2


def test_a_leak_that_grows_is_found_as_sinking():
    rain = RAIN.copy()
    rain[5, 465:] *= np.linspace(1.0, 0.35, DAYS - 465)

    span = alarms(judged(count_tips(rain)))[5]

    assert span.alarm is Alarm.SINKING
    assert span.began == pytest.approx(465, abs=45)
    assert span.cause_log_ratio[Cause.DRIFT] > span.cause_log_ratio[Cause.SWITCH]


def test_four_faulty_neighbours_of_ten_neither_hide_nor_accuse(healthy):
    victim = 12
    around = next(span for span in healthy.spans if span.gauge == victim).neighbours
    faults = dict(zip(around[:4], ((480, 0.0), (490, 0.0), (480, 0.5), (470, 0.5)), strict=True))

    found = alarms(judged(planted(faults | {victim: (500, 0.4)})))
    assert victim in found
    assert found[victim].began == pytest.approx(500, abs=16)
    unharmed = alarms(judged(planted(faults)))
    assert victim not in unharmed
    assert set(unharmed) <= set(faults)


def test_a_service_ends_an_alarm_and_the_past_is_told_only_when_asked():
    rain = RAIN.copy()
    rain[3, 400:SERVICED_ON] = 0.0
    total = count_tips(rain)

    now = judged(total)
    past = judged(total, since=SERVICED_ON)

    assert alarms(now) == {}
    ended = alarms(past)[3]
    assert not ended.current
    assert (ended.first, ended.last) == (201, SERVICED_ON - 1)
    assert ended.began == pytest.approx(400, abs=10)
    assert len(past.spans) == 2 * GAUGES
    assert len(judged(total, since=SERVICED_ON + 1).spans) == GAUGES


def test_a_gauge_that_was_left_silent_by_the_service_is_found():
    total = planted({3: (SERVICED_ON, 0.0)})

    span = alarms(judged(total))[3]

    assert (span.alarm, span.usual_known) == (Alarm.SILENT, True)
    assert span.began_from == SERVICED_ON + 1


def test_a_usual_level_does_not_matter_only_its_change(healthy):
    rain = RAIN.copy()
    rain[8] *= 0.6

    scaled = judged(count_tips(rain)).spans[8]

    assert scaled.q > 0.05
    assert scaled.log_ratio == pytest.approx(healthy.spans[8].log_ratio, abs=1.5)


def test_the_order_of_the_gauges_does_not_matter(faulty):
    order = np.random.default_rng(1).permutation(GAUGES)
    total = planted({gauge: fault[:2] for gauge, fault in FAULTS.items()})
    record = make_record(total, serviced(), PLACES)
    turned = replace(
        record,
        total_mm=total[order],
        latitude_deg=record.latitude_deg[order],
        longitude_deg=record.longitude_deg[order],
    )

    found = neighbour_evidence(turned)

    for place, gauge in enumerate(order):
        assert found.spans[place].log_ratio == pytest.approx(faulty.spans[gauge].log_ratio)


def test_only_the_gauges_asked_for_are_judged_against_all_others(faulty):
    total = planted({gauge: fault[:2] for gauge, fault in FAULTS.items()})
    only = np.isin(np.arange(GAUGES), (3, 4))

    found = judged(total, judged=only)

    assert [span.gauge for span in found.spans] == [3, 4]
    assert found.spans[0].log_ratio == pytest.approx(faulty.spans[3].log_ratio)


def test_missing_days_are_passed_over():
    total = planted({gauge: fault[:2] for gauge, fault in FAULTS.items()})
    gaps = np.random.default_rng(2).random(total.shape) < 0.15
    total[gaps] = np.nan
    total[20] = np.nan

    evidence = judged(total)

    assert sorted(alarms(evidence)) == sorted(FAULTS)
    lost = evidence.spans[20]
    assert (lost.alarm, lost.spells, lost.log_ratio) == (None, 0, 0.0)
    assert np.isnan([lost.p, lost.q, lost.ratio_after]).all()
    assert set(lost.cause_log_ratio.values()) == {0.0}


@pytest.mark.parametrize("gauges", [1, 2, 3])
def test_three_neighbours_are_needed_for_any_evidence(gauges):
    few = tuple(axis[:gauges] for axis in PLACES)
    record = make_record(count_tips(RAIN[:gauges]), serviced()[:gauges], few)

    evidence = neighbour_evidence(record)

    assert [span.alarm for span in evidence.spans] == [None] * gauges


def test_a_gauge_serviced_today_has_no_evidence_yet():
    evidence = judged(planted({}), serviced(DAYS - 1))

    assert all(span.spells == 0 and span.first == DAYS for span in evidence.spans)


def test_days_one_late_or_early_are_found_and_set_right():
    total = planted({})
    late, early = total.copy(), total.copy()
    late[6] = np.roll(total[6], 1)
    early[6, 300:-1] = total[6, 301:]

    near = nearest_gauges(*_degrees())
    found_late, found_early = find_shifts(late, near), find_shifts(early, near)

    assert [(s.gauge, s.days_late) for s in found_late] == [(6, 1)]
    assert (found_late[0].first, found_late[0].last) == (pytest.approx(0, abs=3), DAYS - 1)
    assert [(s.gauge, s.days_late) for s in found_early] == [(6, -1)]
    assert found_early[0].first == pytest.approx(300, abs=15)
    righted = set_right(late, found_late)[6]
    assert np.array_equal(righted[5:-5], total[6, 5:-5])


def test_shifted_days_are_told_and_raise_no_alarm():
    total = planted({3: (520, 0.0)})
    total[6] = np.roll(total[6], 1)

    evidence = judged(total)

    assert [(shift.gauge, shift.days_late) for shift in evidence.shifts] == [(6, 1)]
    assert list(alarms(evidence)) == [3]


def test_a_silent_gauge_and_gauges_without_common_rain_are_not_called_shifted():
    silent = planted({3: (100, 0.0)})
    strangers = np.random.default_rng(3).gamma(0.3, 8, silent.shape).astype(np.float32)

    assert find_shifts(silent, nearest_gauges(*_degrees())) == []
    assert find_shifts(strangers, nearest_gauges(*_degrees())) == []


def test_a_gauge_whose_day_ends_at_another_hour_is_not_called_shifted():
    rain = RAIN.copy()
    rain[6, 1:] = 0.4 * RAIN[6, 1:] + 0.6 * RAIN[6, :-1]

    assert find_shifts(count_tips(rain), nearest_gauges(*_degrees())) == []


def test_set_right_leaves_days_missing_where_two_meet_or_none_is():
    total = np.array([[1.0, 2.0, 3.0, 4.0, 5.0]])

    moved = set_right(total, [DayShift(0, 2, 4, 1)])

    assert moved[0, [0, 2, 3]].tolist() == [1.0, 4.0, 5.0]
    assert np.isnan(moved[0, [1, 4]]).all()
    assert total.tolist() == [[1.0, 2.0, 3.0, 4.0, 5.0]]


def test_false_discovery_rates_match_a_plain_recomputation():
    logs = np.array([9.0, np.nan, 0.5, 4.0, -3.0, 6.5, 2.0])
    p = [np.exp(-max(log, 0.0)) for log in logs if not np.isnan(log)]
    ordered = sorted(p)
    plain = {
        value: min(ordered[j] * len(p) / (j + 1) for j in range(rank, len(p)))
        for rank, value in enumerate(ordered)
    }

    q = discovery_q(ratio_p(logs))

    told = ~np.isnan(logs)
    assert q[told] == pytest.approx([min(plain[value], 1.0) for value in p])
    assert np.isnan(q[1])
    assert np.isnan(discovery_q(np.array([np.nan, np.nan]))).all()


def test_discovery_rates_are_those_of_scipy_ties_included():
    p = np.random.default_rng(5).choice(np.linspace(0.0, 1.0, 60), size=400)

    assert discovery_q(p) == pytest.approx(false_discovery_control(p, method="bh"), rel=1e-15)


def test_a_record_refuses_what_does_not_fit_together():
    record = make_record(planted({}), serviced(), PLACES)

    with pytest.raises(ValueError, match="a row of days and one figure of each kind"):
        replace(record, tip_mm=np.ones(3))
    with pytest.raises(ValueError, match="below 0 to above 0"):
        replace(record, low_percent=np.zeros(GAUGES))


def test_false_alarms_stay_under_the_rate_over_many_fleets():
    raised = found = planted_faults = 0
    for seed in range(4):
        places = make_places(60, side_km=80, seed=seed)
        rain = make_rain(*places, days=500, seed=seed)
        rain[:6, 420:] *= 0.4
        services = make_services(60, 500, every=170, seed=seed)
        services[:6, 380:] = False
        services[:6, 370] = True
        evidence = neighbour_evidence(make_record(count_tips(rain), services, places))
        raised += len(alarms(evidence))
        found += len([gauge for gauge in alarms(evidence) if gauge < 6])
        planted_faults += 6

    assert found >= 0.7 * planted_faults
    assert (raised - found) / raised <= 0.10


def _degrees():
    record = make_record(planted({}), serviced(), PLACES)
    return record.latitude_deg, record.longitude_deg
