"""The staircase against its published example.

Source: calibration-interval article quoting ILAC-G24:2007 section 3 (extend within 80 % of the
permissible error, keep between 80 and 100 %, reduce outside); its example: 5 % permissible.
"""

from __future__ import annotations

import pytest

from fleet.stats.staircase import Step, staircase_step


@pytest.mark.parametrize(
    ("error_percent", "step"),
    [(0.0, "extend"), (4.0, "extend"), (4.01, "keep"), (5.0, "keep"), (5.01, "reduce")],
)
def test_staircase_step_matches_ilac_g24_example_of_five_percent(error_percent, step):
    assert staircase_step(error_percent / 5.0) == step


@pytest.mark.parametrize("share", [-0.1, float("nan")])
def test_staircase_step_refuses_what_is_no_share(share):
    with pytest.raises(ValueError, match="not 0 or above"):
        staircase_step(share)


def test_an_endless_error_reduces():
    assert staircase_step(float("inf")) is Step.REDUCE
