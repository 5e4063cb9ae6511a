"""The ranking with daily totals: what moves and by which words, what stays, what a plan keeps.

The faults are those of tests/rain_totals.py: S04 silent from 2025-05-09, S03 halved from
2025-03-29; everything here is first principles.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.plan import SearchSettings
from fleet.services.explain import explain_gauge
from fleet.services.plan_round import plan_round
from fleet.services.ranking import RankedGauge, rank_network
from fleet.services.ranking_frame import rank_frame
from fleet.services.round_request import RoundRequest
from fleet.store.journal import Wish
from fleet.store.models.round import RoundStopGauge
from fleet.store.session import make_engine, make_sessions
from tests.conftest import load_into
from tests.factories import TODAY, FrozenClock
from tests.rain_totals import add_totals
from tests.small_network import small_network

LOADED = datetime(2025, 6, 2, 8, tzinfo=UTC)


def _sessions(database: Path, folder: Path, network) -> Iterator[sessionmaker[Session]]:
    engine = make_engine(f"sqlite:///{shutil.copyfile(database, folder / 'rain.sqlite')}")
    sessions = make_sessions(engine)
    load_into(sessions, FrozenClock(LOADED), folder / "input")(network, today=TODAY)
    yield sessions
    engine.dispose()


@pytest.fixture(scope="module")
def wet(empty_database: Path, tmp_path_factory) -> Iterator[sessionmaker[Session]]:
    folder = tmp_path_factory.mktemp("wet")
    yield from _sessions(empty_database, folder, add_totals(small_network()))


@pytest.fixture(scope="module")
def dry(empty_database: Path, tmp_path_factory) -> Iterator[sessionmaker[Session]]:
    yield from _sessions(empty_database, tmp_path_factory.mktemp("dry"), small_network())


def by_site(ranked: list[RankedGauge]) -> dict[str, RankedGauge]:
    return {f"{r.state.gauge.site_code}/{r.state.gauge.position}": r for r in ranked}


def test_halved_gauge_moves_up_with_its_days_figures_and_neighbours_in_words(wet):
    with_rain = by_site(rank_network(wet, as_of=TODAY))["S03/main"]
    without = by_site(rank_network(wet, as_of=TODAY, with_rain=False))["S03/main"]

    assert without.unfit_probability < 0.1
    assert with_rain.unfit_probability > 0.9
    assert with_rain.rank < without.rank
    sentence = with_rain.rain
    assert sentence.startswith("Its rain from 2025-03-12 to 2025-06-0")
    assert "against 6 neighbours (" in sentence
    assert "S05/main" in sentence
    assert "of its neighbours' rain on" in sentence
    assert sentence.endswith("% without.")
    assert sentence in with_rain.drivers[0].sentence


def test_ranking_without_rain_is_that_of_a_network_without_totals(wet, dry):
    left_out = rank_frame(rank_network(wet, as_of=TODAY, with_rain=False))
    never_had = rank_frame(rank_network(dry, as_of=TODAY))

    assert left_out.equals(never_had)
    assert set(left_out["rain_evidence"]) == {""}
    assert (left_out["unfit_percent"] == left_out["unfit_without_rain_percent"]).all()


def test_totals_after_the_day_asked_about_are_not_seen(wet):
    early = date(2025, 3, 25)

    ranked = by_site(rank_network(wet, as_of=early))["S03/main"]

    assert ranked.unfit_probability < 0.2
    assert "2025-03-25" in ranked.rain


def test_totals_that_were_not_known_then_are_not_seen(wet):
    before = rank_network(wet, as_of=TODAY, known_on=LOADED - timedelta(days=1))
    after = by_site(rank_network(wet, as_of=TODAY, known_on=LOADED + timedelta(days=1)))

    assert len(before) == 0
    assert after["S03/main"].unfit_probability > 0.9


def test_silence_confirms_what_a_visit_did_not_prove(wet):
    ranked = by_site(rank_network(wet, as_of=TODAY))["S04/main"]

    assert ranked.forecast.p_disconnection > 0.9
    assert "Nothing on" in ranked.drivers[0].sentence


def test_explain_tells_every_figure_of_the_rain(wet):
    _, _, frame = explain_gauge(wet, "00420", as_of=TODAY)
    _, _, left_out = explain_gauge(wet, "00420", as_of=TODAY, with_rain=False)

    rain = frame[frame["part"] == "rain"].set_index("name")["value"]
    assert rain["likeliest_story"] == "halved"
    assert rain["deaths_ratio"] > 100
    assert rain["p_without"] < 0.1
    assert rain["neighbours"] == 6
    assert left_out[left_out["part"] == "rain"]["name"].tolist() == ["evidence"]


def test_plan_keeps_what_the_rain_said(wet):
    request = RoundRequest("NORTH", date(2025, 6, 9), TODAY, SearchSettings(seed=1, iterations=50))
    plan_round(wet, request, Wish("tester", "round plan", ""), clock=FrozenClock(LOADED))
    plan_round(
        wet,
        replace(request, with_rain=False),
        Wish("tester", "round plan", ""),
        clock=FrozenClock(LOADED),
    )

    with wet() as session:
        kept = session.scalars(select(RoundStopGauge.evidence).order_by(RoundStopGauge.id)).all()

    said = [json.loads(text)["rain"] for text in kept]
    assert any(sentence.startswith("Its rain from") for sentence in said)
    assert said[-1] == ""
