"""The short list of a long one. Counts and minutes by hand [CALC]."""

from __future__ import annotations

from fleet.planning.price import set_prices
from fleet.planning.shortlist import shorten


def _codes(week):
    return [candidate.place.key for candidate in shorten(week, set_prices(week))]


def _long_week(problem, site, member, count, **odd):
    sites = [site(f"S{n:03d}", worth=1.0 + n) for n in range(count)]
    sites[0] = site("S000", worth=0.0, **odd)
    return problem(sites, [member()], {f"S{n:03d}": n % 50 for n in range(count)})


def test_shorten_keeps_everything_up_to_its_limit(problem, site, member):
    assert len(_codes(_long_week(problem, site, member, 400))) == 400


def test_shorten_keeps_the_richest_for_their_time_in_the_order_given(problem, site, member):
    codes = _codes(_long_week(problem, site, member, 401))

    assert codes == [f"S{n:03d}" for n in range(251, 401)]


def test_shorten_keeps_must_visits_however_poor(problem, site, member):
    odd = {"must_visit": True, "service_min": 1_000_000}

    codes = _codes(_long_week(problem, site, member, 401, **odd))

    assert len(codes) == 150
    assert codes[0] == "S000"


def test_shorten_prefers_the_shorter_work_and_the_nearer_site(problem, site, member):
    sites = [site(f"S{n:03d}", worth=10.0) for n in range(401)]
    sites[7] = site("S007", worth=10.0, service_min=400)
    positions = {f"S{n:03d}": 10 for n in range(401)} | {"S008": 140}

    codes = _codes(problem(sites, [member()], positions))

    assert "S007" not in codes
    assert "S008" not in codes
    assert len(codes) == 150
