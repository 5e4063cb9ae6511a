"""The job at one gauge: tasks in the trade's order, minutes, water, and what to bring.

Minutes of the parts are choices of this program (common practice, no published source); the pour
of at most 1 mL a second is READ S3, S4. Sums below are worked out by hand.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from fleet.domain.code import DecisionRule
from fleet.domain.job import Defect, ServiceTimes, job_at
from fleet.domain.policy import Policy
from fleet.domain.state import GaugeState
from tests.factories import make_gauge

POLICY = Policy(
    service_interval_days=180,
    as_found_tolerance_percent=5.0,
    as_left_tolerance_percent=3.0,
    reject_limit_percent=10.0,
    as_found_low_tips=None,
    as_found_high_tips=None,
    as_left_low_tips=None,
    as_left_high_tips=None,
    minimum_as_found_runs=2,
    minimum_as_left_runs=2,
    closed_field_limit_ohm=5.0,
    closed_workshop_limit_ohm=1.0,
    open_limit_ohm=1e6,
    decision_rule=DecisionRule.SIMPLE,
    target_reliability=0.9,
    compliance_record_days=0.0,
    basis="common practice, no published source",
)
QUIET = GaugeState(gauge=make_gauge(), last_service_on=date(2025, 1, 14))


def task_starting(job, start):
    found = [task for task in job.tasks if task.startswith(start)]
    assert len(found) == 1, job.tasks
    return found[0]


def test_plain_job_goes_in_the_trades_order():
    job = job_at(QUIET, POLICY)

    assert job.tasks == (
        "As found: 2 runs or more before anything is cleaned",
        "Clean",
        "Level, free movement",
        "As left: 2 runs or more, buckets emptied",
        "Switch: closed and open resistance, ten slow manual tips",
        "Reconnect and prove it",
    )
    assert (job.bring, job.particular) == ((), ())


def test_particular_tasks_leave_out_the_steps_of_every_visit():
    state = replace(QUIET, left_blocked=True, switch_left_dead=True)

    job = job_at(state, POLICY, defects=[Defect("fence down", "wire")])

    assert job.particular == (
        "Clear the blockage that was left",
        "Replace the switch: it was left failing",
        "Mend: fence down",
    )
    assert set(job.particular) - {"Clear the blockage that was left"} < set(job.tasks)


def test_carried_water_adds_a_reserve_and_rinsing():
    # 4 runs of 800 mL, half as much again, 1 L to rinse
    assert job_at(QUIET, POLICY).carried_ml == 5800.0


def test_minutes_and_water_of_a_plain_job_add_up():
    job = job_at(QUIET, POLICY)

    # 4 runs of 2 min setting up and 14 min for 800 mL at 1 mL/s; 8 + 15 + 6 + 6 for the rest
    assert job.minutes == 4 * (2 + 14) + 8 + 15 + 6 + 6 == 99
    assert job.water_ml == 3200.0


def test_runs_asked_by_the_policy_set_minutes_and_water():
    asked = replace(POLICY, minimum_as_found_runs=1, minimum_as_left_runs=4)

    job = job_at(QUIET, asked)

    assert job.minutes == 99 + 16
    assert job.water_ml == 4000.0
    assert task_starting(job, "As found") == "As found: 1 run or more before anything is cleaned"


def test_times_can_be_set():
    times = ServiceTimes(look_and_isolate_min=0, clean_and_level_min=0, switch_min=0)

    assert job_at(QUIET, POLICY, times=times).minutes == 4 * 16 + 6


@pytest.mark.parametrize("level", [None, 0.0, -3.0, 3.0])
def test_gauge_expected_within_the_as_left_limits_needs_no_adjusting(level):
    job = job_at(QUIET, POLICY, level_percent=level)

    assert not [task for task in job.tasks if "adjust" in task]
    assert job.minutes == 99


@pytest.mark.parametrize("level", [-3.01, 4.2])
def test_gauge_expected_outside_the_as_left_limits_is_adjusted_before_the_as_left_runs(level):
    job = job_at(QUIET, POLICY, level_percent=level)

    place = job.tasks.index(
        f"Be ready to adjust: expected at {level:+.1f} %, to be left within -3.0 to +3.0 %"
    )
    assert job.tasks[place + 1].startswith("As left")
    assert job.minutes == 99 + 15


def test_explicit_as_left_band_decides_on_adjusting():
    banded = replace(POLICY, as_left_low_tips=39, as_left_high_tips=41)  # 2.5 % of 40

    assert task_starting(job_at(QUIET, banded, level_percent=-2.6), "Be ready to adjust").endswith(
        "-2.5 to +2.5 %"
    )


def test_unproven_reconnection_comes_first_of_all():
    state = replace(QUIET, left_disconnected=True, disconnected_ref="V015")

    first = job_at(state, POLICY).tasks[0]

    assert first == (
        "First: see whether tips reach the logger; visit V015 does not prove that the gauge was "
        "put back"
    )


def test_blockage_that_was_left_is_cleared_after_the_as_found_runs():
    tasks = job_at(replace(QUIET, left_blocked=True), POLICY).tasks

    assert tasks[:2] == (
        "As found: 2 runs or more before anything is cleaned",
        "Clear the blockage that was left, clean",
    )


@pytest.mark.parametrize(
    ("ohm", "task"),
    [
        (2.6, "Watch the switch: last read 2.6 ohm closed, limit 5; replace it if it has grown"),
        (5.4, "Replace the switch: last read 5.4 ohm closed, limit 5"),
    ],
)
def test_weak_switch_is_a_task_and_a_spare_goes_along(ohm, task):
    job = job_at(replace(QUIET, switch_ohm=ohm), POLICY)

    assert task in job.tasks
    assert job.bring == ("spare switch",)


def test_switch_at_half_the_limit_is_not_yet_weak():
    assert job_at(replace(QUIET, switch_ohm=2.5), POLICY).bring == ()


def test_switch_left_failing_is_replaced_whatever_it_read():
    job = job_at(replace(QUIET, switch_ohm=0.3, switch_left_dead=True), POLICY)

    assert "Replace the switch: it was left failing" in job.tasks
    assert job.bring == ("spare switch",)


def test_defects_are_mended_before_the_reconnection_and_take_time():
    defects = (
        Defect("loose leg bolt", "stainless bolt"),
        Defect("bush 2 m from the rim"),
        Defect("second bolt", "stainless bolt"),
    )

    job = job_at(QUIET, POLICY, defects=defects)

    assert job.tasks[-4:] == (
        "Mend: loose leg bolt",
        "Mend: bush 2 m from the rim",
        "Mend: second bolt",
        "Reconnect and prove it",
    )
    assert job.bring == ("stainless bolt",)  # a description is nothing to put into the van
    assert job.minutes == 99 + 3 * 20
