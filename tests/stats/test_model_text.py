"""The fleet's model as text: exact, and refused where it is none."""

import json
from dataclasses import replace

import pytest

from fleet.errors import ConflictError
from fleet.stats.fleet_model import fit_fleet
from fleet.stats.model_text import model_text, read_model
from fleet.stats.ranking import rank_states
from tests.stats.fleet_factory import AS_OF, AUTUMN, POLICY, drifting_by, make_fleet

FLEET = make_fleet(60, seed=4, types=3)
MODEL = fit_fleet(FLEET)


def test_model_is_read_back_to_the_last_bit() -> None:
    text = model_text(MODEL)

    assert read_model(text) == MODEL
    assert model_text(read_model(text)) == text


def test_odd_floats_are_read_back_to_the_last_bit() -> None:
    drift = replace(MODEL.network.drift, mean=0.1 + 0.2, mean_sd=5e-324, walk_sd=1 / 3)
    model = replace(MODEL, network=replace(MODEL.network, drift=drift))

    assert read_model(model_text(model)) == model


def test_model_of_no_gauges_is_read_back() -> None:
    assert read_model(model_text(fit_fleet([]))) == fit_fleet([])


def test_season_of_drift_is_read_back_and_ranks_the_same_to_the_last_bit() -> None:
    model = drifting_by(MODEL, AUTUMN)
    again = read_model(model_text(model))

    assert again == model
    assert again.of("TB1").drift.clock == AUTUMN
    policies = [POLICY] * len(FLEET)
    rows = rank_states(FLEET, policies, model, as_of=AS_OF)
    assert rank_states(FLEET, policies, again, as_of=AS_OF) == rows
    flat = {row.state: row.p for row in rank_states(FLEET, policies, MODEL, as_of=AS_OF)}
    assert sum(flat[row.state] != row.p for row in rows) > 30


def _spoiled(**changes: object) -> str:
    content = json.loads(model_text(MODEL))
    for place, value in changes.items():
        *path, last = place.split("__")
        inner = content
        for name in path:
            inner = inner[name]
        if value is None:
            del inner[last]
        else:
            inner[last] = value
    return json.dumps(content)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "no JSON text"),
        ("[]", "format None"),
        (_spoiled(format=2), "format 2; 1 can be read"),
        (_spoiled(types=None), "no table 'types'"),
        (_spoiled(network=None), "'network' are not a table of as_left, blockage"),
        (_spoiled(network__drift__mean=None), "'network.drift' are not a table of between_sd"),
        (_spoiled(network__drift__more=1.0), "'network.drift' are not a table of between_sd"),
        (_spoiled(network__drift__clock=None), "'network.drift' are not a table of between_sd"),
        (_spoiled(network__drift__clock__sine=None), "'network.drift.clock' are not a table of be"),
        (_spoiled(types__TB1__knock__size_sd="8"), "no number at 'TB1.knock.size_sd'"),
        (_spoiled(types__TB1__knock__size_sd=True), "no number at 'TB1.knock.size_sd'"),
        (_spoiled(network__drift__units=1.5), "no whole number at 'network.drift.units'"),
        (_spoiled(network__borrowed="drift"), "no list of names at 'network.borrowed'"),
    ],
)
def test_text_that_is_no_model_is_refused_with_its_place(text: str, told: str) -> None:
    with pytest.raises(ConflictError, match=told):
        read_model(text)
