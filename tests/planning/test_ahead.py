"""The drive that a site costs in another week, by hand [CALC]."""

from __future__ import annotations

import pytest

from fleet.planning.ahead import minutes_apart


def test_minutes_apart_averages_the_legs_to_as_many_sites_as_share_one_visit(
    site, member, problem
) -> None:
    line = {code: 10 * n for n, code in enumerate("ABCDEFGHIJKL")}
    posed = problem([site(code) for code in line], [member()], line)

    often = minutes_apart(posed.candidates, posed.travel, sites_a_week=12)
    seldom = minutes_apart(posed.candidates, posed.travel, sites_a_week=1)

    assert often[0] == pytest.approx((10 + 20 + 30 + 40 + 50) / 5)  # at least five
    assert seldom[0] == pytest.approx(sum(range(10, 120, 10)) / 11)  # all eleven
    assert seldom[5] < seldom[0]


def test_minutes_apart_of_a_site_alone_is_nothing(site, member, problem) -> None:
    posed = problem([site("A")], [member()], {"A": 40})

    assert minutes_apart(posed.candidates, posed.travel, sites_a_week=1).tolist() == [0.0]
