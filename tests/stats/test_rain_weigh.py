"""Forecasts that take in rain: what moves, what stays certain, what is left exactly as it was.

All figures are invented; the expected directions and bounds are first principles.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
import pytest

from fleet.stats.fleet_model import fit_fleet
from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.neighbour_measure import LevelReading
from fleet.stats.neighbour_story import Alarm, Cause
from fleet.stats.rain_weigh import RainView
from fleet.stats.ranking import rank_states
from tests.stats.fleet_factory import AS_OF, POLICY, make_fleet

TODAY = 500
QUIET = {Cause.DRIFT: -1.0, Cause.BLOCKAGE: -3.0, Cause.SWITCH: -3.0, Cause.DISCONNECTION: -9.0}
SILENT = {Cause.DRIFT: 0.0, Cause.BLOCKAGE: 12.0, Cause.SWITCH: 12.0, Cause.DISCONNECTION: 13.0}


def make_span(gauge: int = 0, **changes: object) -> SpanEvidence:
    """Give a span of 20 quiet spells in 150 days."""
    fields: dict[str, object] = {
        "gauge": gauge,
        "first": 350,
        "last": TODAY,
        "current": True,
        "neighbours": (1, 2, 3),
        "spells": 20,
        "usual_known": True,
        "cause_log_ratio": QUIET,
        "alarm": Alarm.SINKING,
        "log_ratio": -2.0,
        "began": 400,
        "began_from": 360,
        "began_until": 490,
        "wet_days": 30,
        "silent_days": 0,
        "ratio_before": 1.0,
        "ratio_after": 1.0,
        "p": 1.0,
        "q": 1.0,
        "days_per_spell": 8.0,
    }
    return SpanEvidence(**{**fields, **changes})


def rank(states, span, **more):
    """Rank alike gauges of which the first has rain."""
    rain = None if span is None else RainView([span] + [None] * (len(states) - 1), TODAY)
    rows = rank_states(
        states, [POLICY] * len(states), fit_fleet(states), as_of=AS_OF, rain=rain, **more
    )
    return {row.state.gauge.serial: row for row in rows}


@pytest.fixture(scope="module")
def states():
    fleet = make_fleet(30, seed=5)
    plain = rank(fleet, None)
    by_p = sorted(fleet, key=lambda state: plain[state.gauge.serial].p)
    return by_p[10:] + by_p[:10]


@pytest.fixture(scope="module")
def serial(states):
    return states[0].gauge.serial


def test_ranking_without_any_evidence_is_the_one_without_rain(states):
    assert rank(
        states, make_span(spells=0, days_per_spell=inf, cause_log_ratio=dict.fromkeys(Cause, 0.0))
    )[states[0].gauge.serial].p == pytest.approx(
        rank(states, None)[states[0].gauge.serial].p, rel=1e-12
    )


def test_gauges_without_totals_keep_every_figure(states, serial):
    plain, wet = rank(states, None), rank(states, make_span(cause_log_ratio=SILENT))

    for other in set(plain) - {serial}:
        assert replace(wet[other], rank=0) == replace(plain[other], rank=0)


def test_silence_makes_the_gauge_unfit_and_puts_it_forward(states, serial):
    plain, wet = rank(states, None)[serial], rank(states, make_span(cause_log_ratio=SILENT))[serial]

    assert wet.p > 0.99
    assert wet.p_blockage > plain.p_blockage
    assert wet.p_switch > plain.p_switch
    assert wet.p_blockage + wet.p_switch < 1.5
    assert wet.total_record_days > plain.total_record_days
    assert wet.rain.p_without == pytest.approx(plain.p, rel=1e-12)
    assert wet.rain.worth_without == pytest.approx(plain.worth_record_days, rel=1e-12)


def test_quiet_rain_lowers_what_it_would_have_shown(states, serial):
    plain, wet = rank(states, None)[serial], rank(states, make_span())[serial]

    assert wet.p_blockage < plain.p_blockage
    assert wet.deaths.p < plain.deaths.p
    assert wet.resistance.p == plain.resistance.p


def test_watched_gauge_is_forecast_to_stay_better_after_a_service(states, serial):
    plain, wet = rank(states, None)[serial], rank(states, make_span())[serial]

    assert wet.p_at_horizon < plain.p_at_horizon


def test_rain_that_goes_along_disproves_an_unproven_reconnection(states, serial):
    off = [replace(states[0], left_disconnected=True, disconnected_ref="V1"), *states[1:]]

    plain, wet = (
        rank(off, None)[serial],
        rank(off, make_span(cause_log_ratio={**QUIET, Cause.DISCONNECTION: -40.0}))[serial],
    )

    assert plain.p_disconnection > 0.999
    assert wet.p_disconnection < 0.001


@pytest.mark.parametrize(
    ("fact", "cause"), [("left_blocked", "p_blockage"), ("switch_left_dead", "p_switch")]
)
def test_what_the_last_visit_saw_stays_certain(states, serial, fact, cause):
    known = [replace(states[0], **{fact: True}), *states[1:]]

    disproved = dict.fromkeys(Cause, -40.0)
    wet = rank(known, make_span(cause_log_ratio=disproved))[serial]

    assert getattr(wet, cause) > 0.999


def test_level_in_the_rain_moves_the_drift(states, serial):
    reading = LevelReading(
        day=np.array([380.0, 430.0, 480.0]),
        percent=np.array([-11.0, -12.0, -12.0]),
        sd_percent=np.full(3, 3.0),
        shared_percent2=np.full((3, 3), 4.0),
        spells=20,
    )
    plain, wet = rank(states, None)[serial], rank(states, make_span(level=reading))[serial]

    assert wet.drift.now < plain.drift.now
    assert wet.drift.now_sd < plain.drift.now_sd
    assert wet.p_drift > 5 * plain.p_drift
    assert wet.rain.p_knock > 0.05
    assert wet.drift.start == plain.drift.start
