"""Gauges as columns: what their states say, and the same in any company."""

from dataclasses import fields, replace
from datetime import date

import numpy as np
import pytest

from fleet.stats.fleet_model import fit_fleet
from fleet.stats.gauge_array import lay_out, stand_rows, stand_states
from fleet.stats.gauge_column import GaugeColumns, columns_of
from fleet.stats.policy_column import policy_columns
from fleet.stats.rank_number import RankNumbers
from fleet.stats.ranking import rank_columns, rank_states
from tests.factories import make_gauge
from tests.stats.fleet_factory import AS_OF, AUTUMN, POLICY, drifting_by, make_fleet, with_gauge

FLEET = [
    with_gauge(state, loop_ohm=None if number % 3 else 1.5, siphon=number % 2 == 0)
    for number, state in enumerate(make_fleet(90, seed=21, visits=7, types=3))
]
MODEL = fit_fleet(FLEET)
SEASONAL = drifting_by(MODEL, AUTUMN)
MODELS = {"flat": MODEL, "seasonal": SEASONAL, "mixed": drifting_by(MODEL, AUTUMN, types=1)}
COLUMNS = columns_of(FLEET, MODEL)
NAMES = [field.name for field in fields(GaugeColumns)]


def same(one: np.ndarray, other: np.ndarray) -> bool:
    if one.dtype == np.float64:
        return bool(np.array_equal(one, other, equal_nan=True))
    return one.dtype == other.dtype and bool(np.array_equal(one, other))


def test_columns_hold_who_the_gauges_are() -> None:
    assert [COLUMNS.gauge(place) for place in range(90)] == [state.gauge for state in FLEET]


def test_columns_hold_the_facts_of_the_states() -> None:
    def day(ordinal: int) -> date | None:
        return date.fromordinal(ordinal) if ordinal else None

    def number(value: float) -> float | None:
        return None if np.isnan(value) else value

    for place, state in enumerate(FLEET):
        row = COLUMNS.take(np.array([place]))
        for column, field in {
            "last_service_day": "last_service_on",
            "last_visit_day": "last_visit_on",
            "level_day": "level_on",
            "switch_ohm_day": "switch_ohm_on",
            "site_seen_day": "site_seen_on",
            "way_clean_day": "way_clean_on",
            "switch_seen_day": "switch_seen_on",
            "switch_new_day": "switch_new_on",
        }.items():
            assert day(int(getattr(row, column)[0])) == getattr(state, field), column
        assert number(row.level_percent[0]) == state.level_percent
        assert number(row.switch_ohm[0]) == state.switch_ohm
        for name in (
            "attempts_since_service",
            "services",
            "level_variance",
            "left_blocked",
            "switch_left_dead",
            "left_disconnected",
            "never_verified",
        ):
            assert getattr(row, name)[0] == getattr(state, name), name


@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS)
def test_a_gauge_is_the_same_to_the_last_bit_in_any_company(model) -> None:
    columns, backwards = columns_of(FLEET, model), columns_of(FLEET[::-1], model)

    for name in NAMES:
        assert same(getattr(backwards, name)[::-1], getattr(columns, name)), name
    for place in range(0, 90, 3):
        alone = columns_of([FLEET[place]], model)
        for name in NAMES:
            assert same(getattr(alone, name), getattr(columns, name)[[place]]), (place, name)


def test_evidence_of_drift_goes_by_season_and_nothing_else_does() -> None:
    columns = columns_of(FLEET, SEASONAL)

    moved = {name for name in NAMES if not same(getattr(columns, name), getattr(COLUMNS, name))}

    assert {"drift_rate", "drift_rate_variance", "knock_events"} <= moved
    assert moved <= {name for name in NAMES if name.startswith(("drift_", "knock_"))}


def test_outliers_of_one_gauge_do_not_move_another() -> None:
    """A wild change takes many rounds to settle; those of other gauges must not go on meanwhile."""
    wild = next(place for place, state in enumerate(FLEET) if len(state.drift) > 3)
    first, *rest = FLEET[wild].drift
    changed = list(FLEET)
    changed[wild] = replace(FLEET[wild], drift=(replace(first, amount=300.0), *rest))

    moved = columns_of(changed, MODEL)

    others = np.arange(90) != wild
    assert moved.drift_doubted[wild] > 0
    for name in NAMES:
        assert same(getattr(moved, name)[others], getattr(COLUMNS, name)[others]), name


def test_columns_of_nothing_are_empty() -> None:
    nothing = columns_of([], MODEL)
    ranked = rank_columns(nothing, policy_columns([]), MODEL, as_of=AS_OF)

    assert len(nothing) == 0
    assert (ranked.order.size, ranked.forecasts([], [])) == (0, [])
    for name in NAMES:
        assert getattr(nothing, name).dtype == getattr(COLUMNS, name).dtype, name


@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS)
def test_ranking_of_columns_is_the_same_to_the_last_bit_in_any_company(model) -> None:
    columns = columns_of(FLEET, model)
    whole = rank_columns(columns, policy_columns([POLICY] * 90), model, as_of=AS_OF)
    names = [field.name for field in fields(RankNumbers)]

    for place in range(0, 90, 7):
        alone = rank_columns(
            columns.take(np.array([place])), policy_columns([POLICY]), model, as_of=AS_OF
        )
        for name in names:
            value = getattr(whole.numbers, name)[place]
            assert getattr(alone.numbers, name)[0] == value, (place, name)


@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS)
def test_rows_made_one_by_one_are_those_of_the_whole_ranking(model) -> None:
    whole = rank_states(FLEET, [POLICY] * 90, model, as_of=AS_OF)
    columns = columns_of(FLEET, model)
    ranked = rank_columns(columns, policy_columns([POLICY] * 90), model, as_of=AS_OF)

    for spot in (0, 1, 17, 55, 89):
        place = ranked.order[spot]
        (row,) = ranked.forecasts([place], [FLEET[place]])
        assert row == whole[spot]
        assert row.total_record_days == ranked.numbers.total_record_days[place]


def test_rows_are_stood_together_again() -> None:
    rows = rank_states(FLEET, [POLICY] * 90, MODEL, as_of=AS_OF)
    again = lay_out(stand_rows(rows))
    states = [row.state for row in rows]
    first = lay_out(stand_states(states, [POLICY] * 90, model=MODEL, as_of=AS_OF))

    assert same(again.drift.rate, first.drift.rate)
    assert same(again.blockage.hazard.scale_years, first.blockage.hazard.scale_years)
    assert same(again.fresh_level, first.fresh_level)


def test_type_that_was_never_fitted_takes_the_networks_law() -> None:
    stranger = replace(FLEET[0], gauge=make_gauge(type_code="NEW", installed_on=date(2020, 1, 1)))
    standings = stand_states([stranger], [POLICY], model=MODEL, as_of=AS_OF)

    assert standings.model(0).drift == MODEL.network.drift
    assert "drift" in standings.model(0).borrowed
