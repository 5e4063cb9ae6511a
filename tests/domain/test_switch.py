"""Switch readings against the policy: 5 ohm field, 1 ohm workshop (common practice, no published
source), 1 Mohm open, ten manual tips (a maker's support page).
"""

import pytest

from fleet.domain.code import MeasuredAt, Phase, Verdict
from fleet.domain.history import SwitchReadings
from fleet.domain.switch import judge_switch
from tests.domain.test_check import POLICY


def hold(**values):
    readings = SwitchReadings(Phase.AS_FOUND, **values)
    return judge_switch(readings, policy=POLICY, phase=Phase.AS_FOUND)


def test_judge_switch_does_not_pass_what_was_not_read():
    missing = judge_switch(None, policy=POLICY, phase=Phase.AS_LEFT)

    assert missing.verdict is Verdict.NOT_MEASURED
    assert missing.reason == "The switch was not read as left."
    assert hold().verdict is Verdict.NOT_MEASURED


@pytest.mark.parametrize(
    ("values", "verdict", "weak"),
    [
        ({"closed_ohm": 2.5}, Verdict.PASSED, False),
        ({"closed_ohm": 2.51}, Verdict.PASSED, True),
        ({"closed_ohm": 5.0}, Verdict.PASSED, True),
        ({"closed_ohm": 5.01}, Verdict.FAILED, False),
        ({"closed_ohm": 1.0, "measured_at": MeasuredAt.WORKSHOP}, Verdict.PASSED, False),
        ({"closed_ohm": 1.01, "measured_at": MeasuredAt.WORKSHOP}, Verdict.FAILED, False),
        ({"closed_ohm": 1.01, "measured_at": MeasuredAt.LOGGER}, Verdict.PASSED, False),
        ({"open_ohm": 1e6}, Verdict.PASSED, False),
        ({"open_ohm": 0.99e6}, Verdict.FAILED, False),
        ({"manual_tips": 10}, Verdict.PASSED, False),
        ({"manual_tips": 9}, Verdict.FAILED, False),
        ({"manual_tips": 11}, Verdict.FAILED, False),
        ({"manual_tips": 0}, Verdict.FAILED, False),
        ({"no_closure": True}, Verdict.FAILED, False),
        ({"closed_ohm": 3.0, "manual_tips": 8}, Verdict.FAILED, False),
    ],
)
def test_judge_switch_holds_each_reading_against_its_limit(values, verdict, weak):
    judgement = hold(**values)

    assert (judgement.verdict, judgement.weak) == (verdict, weak)


def test_judge_switch_names_every_fault():
    assert hold(closed_ohm=7.2, open_ohm=2e5, manual_tips=7, no_closure=True).reason == (
        "Switch as found: it does not close; 7.2 ohm closed is above the field limit of 5 ohm; "
        "0.2 Mohm open is below the limit of 1 Mohm; 7 counted of 10 manual tips."
    )


def test_judge_switch_tells_a_weak_switch():
    assert hold(closed_ohm=3.0).reason == (
        "Switch as found: weak, 3 ohm closed is over half the field limit of 5 ohm."
    )


def test_judge_switch_tells_the_readings_of_a_pass():
    assert hold(closed_ohm=0.2, open_ohm=2e7, manual_tips=10).reason == (
        "Switch as found: 0.2 ohm closed, 20 Mohm open, 10 counted of 10 manual tips, within the "
        "limits."
    )


def test_judge_switch_names_the_limit_of_the_workshop_where_it_was_read_there():
    judgement = hold(closed_ohm=1.5, measured_at=MeasuredAt.WORKSHOP)

    assert judgement.reason == (
        "Switch as found: 1.5 ohm closed is above the workshop limit of 1 ohm."
    )


def test_resistances_from_a_tenth_of_a_megohm_are_told_in_megohm():
    assert "0.1 Mohm open is below" in hold(open_ohm=1e5).reason
    assert "99999 ohm open is below" in hold(open_ohm=99999.0).reason
