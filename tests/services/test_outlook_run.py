"""Simulated years against arithmetic: one cause, alike gauges, no drives [CALC].

Weeks begin on Monday, visits are on Wednesday evening: a gauge serviced in a week is 4 days old
at its end, then 11, 18, ...
"""

from __future__ import annotations

from dataclasses import replace
from math import exp

import numpy as np
import pytest

from fleet.services.outlook_order import Variant, VisitBy
from fleet.services.outlook_run import COUNTS, RunAsk, run_weeks
from tests.hand_outlook import hand_case

PRICE = 0.1 / 60.0


def ran(case, *, seed=1, weeks=60, **variant):
    counts = run_weeks(case, RunAsk(Variant(**variant), seed, weeks, PRICE))
    return dict(zip(COUNTS, np.moveaxis(counts, 2, 0)[:, :, 0], strict=True))


def test_year_without_crews_loses_what_the_exponential_law_says() -> None:
    case = hand_case(2000, per_year=0.5, days_a_week=0)

    seen = [ran(case, seed=seed, weeks=52, visit_by=VisitBy.DUE) for seed in range(4)]

    years = 364 / 365.25
    expected = 2000 * 365.25 * (years - (1 - exp(-0.5 * years)) / 0.5)
    lost = np.mean([run["lost"].sum() for run in seen])
    assert lost == pytest.approx(expected, rel=0.05)  # three standard errors
    unfit = np.mean([run["unfit"][-1] for run in seen])
    assert unfit / 2000 == pytest.approx(1 - exp(-0.5 * years), abs=0.016)
    assert seen[0]["overdue"].tolist() == [0] * 10 + [2000] * 42  # 77 days old after 11 weeks
    assert seen[0]["visits"].sum() == seen[0]["hours"].sum() == 0


@pytest.mark.parametrize("visit_by", [VisitBy.DUE, VisitBy.WORTH])
def test_too_small_a_crew_makes_a_queue_of_known_length(visit_by: VisitBy) -> None:
    # 60 gauges, 4 a week: each every 15 weeks, at ages 4, 11, ... 102 at the ends of weeks;
    # 10 of the 15 ages are within 70 days
    case = hand_case(60, interval_days=70, days_a_week=1)

    seen = ran(case, visit_by=visit_by)

    assert (seen["visits"][30:] == 4).all()
    assert (seen["hours"][30:] == 4.0).all()
    assert (seen["overdue"][30:] == 20).all()


def test_ample_crews_visit_as_each_gauge_comes_due_and_lose_what_renewal_says() -> None:
    # due within two weeks of 112 days: on the Monday at which a gauge is 102 days old, so every
    # 105 days; lost share 1 - (1 - exp(-l t)) / (l t)
    case = hand_case(150, per_year=1.0, interval_days=112, days_a_week=40)

    seen = [ran(case, seed=seed, visit_by=VisitBy.DUE) for seed in range(4)]

    assert all((run["overdue"] == 0).all() for run in seen)
    served = np.flatnonzero(seen[0]["visits"])
    assert np.diff(served).tolist() == [15] * (len(served) - 1)
    tau = 105 / 365.25
    lost = np.mean([run["lost"][served[0] + 1 : served[2] + 1].mean() for run in seen]) / 150 / 7
    assert lost == pytest.approx(1 - (1 - exp(-tau)) / tau, abs=0.02)


def test_a_limit_of_days_binds_and_a_broken_one_is_spread_over_the_weeks() -> None:
    case = hand_case(60, interval_days=70, days_a_week=5)

    halves = ran(case, days_a_week=0.5)

    assert halves["days"].tolist() == [0, 1] * 30
    assert ran(case, days_a_week=2.0)["days"].max() == 2


def test_another_interval_moves_what_is_overdue_and_by_due_date_the_visits() -> None:
    case = hand_case(60, interval_days=70, days_a_week=5)

    short = ran(case, visit_by=VisitBy.DUE)
    long = ran(case, visit_by=VisitBy.DUE, interval_days=140)

    assert long["visits"].sum() < 0.6 * short["visits"].sum()
    by_worth = [ran(case, days_a_week=1.0, interval_days=days) for days in (70, 140)]
    assert (by_worth[0]["visits"] == by_worth[1]["visits"]).all()
    assert by_worth[0]["overdue"].sum() > by_worth[1]["overdue"].sum() == 0


def test_compliance_sends_crews_to_what_is_overdue() -> None:
    # a blockage hardly ever is not worth an hour of driving, a record-day a day overdue is
    case = hand_case(20, per_year=1e-6, interval_days=70, days_a_week=10, drive_min=30.0)
    paid = replace(case, gauges=replace(case.gauges, compliance_record_days=np.ones(20)))

    assert ran(case)["overdue"][-1] == 20
    assert ran(paid)["overdue"][-1] == 0


def test_visits_that_fail_take_the_time_and_service_nothing() -> None:
    case = hand_case(60, days_a_week=1, failed_share=1.0)

    seen = ran(case)

    assert seen["visits"].sum() == 0
    assert (seen["hours"][10:] == 4.0).all()
    assert seen["overdue"][-1] == 60


def test_same_seed_gives_the_same_year_and_another_seed_another() -> None:
    case = hand_case(60, days_a_week=1)

    first, again, other = (ran(case, seed=seed)["lost"] for seed in (1, 1, 2))

    assert (first == again).all()
    assert (first != other).any()
