"""The comparison of daily totals on records: the small network with planted faults, the sample.

Sources: the faults stand in tests/rain_totals.py and in the sample network's README; everything
here is first principles.
"""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy.orm import Session, sessionmaker

from fleet.errors import NotFoundError
from fleet.services.rain_compare import RAIN_COLUMNS, RainAsked, compare_rain
from fleet.services.rain_double_mass import MASS_COLUMNS, mass_curve
from fleet.services.rain_record import gather_rain
from fleet.store.session import make_engine, make_sessions
from tests.conftest import load_into
from tests.factories import TODAY, FrozenClock
from tests.rain_totals import FIRST_DAY, add_totals
from tests.small_network import small_network

SAMPLE = Path(__file__).parents[2] / "sample_network"
SAMPLE_DAY = date(2026, 11, 20)


def _fill(database: Path, folder: Path, source, *, now: datetime, today: date):
    path = shutil.copyfile(database, folder / "rain.sqlite")
    engine = make_engine(f"sqlite:///{path}")
    load_into(make_sessions(engine), FrozenClock(now), folder / "input")(source, today=today)
    return engine


@pytest.fixture(scope="module")
def wet(
    empty_database: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[sessionmaker[Session]]:
    """The small network with daily totals, of which some are flagged or missing."""
    network = add_totals(small_network())
    for day, flag in (("2024-12-01", "snow"), ("2024-12-10", "suspect"), ("2024-12-20", "")):
        where = {"site_code": "S01", "position": "main", "day": day}
        network.change("daily_totals", where, total_mm=None if not flag else 99, flag=flag)
    now = datetime(2025, 6, 2, 8, tzinfo=UTC)
    engine = _fill(empty_database, tmp_path_factory.mktemp("wet"), network, now=now, today=TODAY)
    yield make_sessions(engine)
    engine.dispose()


@pytest.fixture(scope="module")
def sample(
    empty_database: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[sessionmaker[Session]]:
    now = datetime(2026, 11, 21, 8, tzinfo=UTC)
    folder = tmp_path_factory.mktemp("sample")
    engine = _fill(empty_database, folder, SAMPLE, now=now, today=SAMPLE_DAY)
    yield make_sessions(engine)
    engine.dispose()


def keyed(answer, state="stands"):
    frame = answer.frame[answer.frame["state"] == state]
    return {f"{row['site_code']}/{row['position']}": row for row in frame.to_dict("records")}


def test_standing_alarms_are_those_planted_since_the_last_service(wet):
    answer = compare_rain(wet, as_of=TODAY)

    found = keyed(answer)
    assert {key: row["alarm"] for key, row in found.items()} == {
        "S04/main": "silent",
        "S03/main": "halved",
    }
    silent = found["S04/main"]
    assert silent["serial"] == "A-031"
    assert date(2025, 5, 8) <= silent["since_on"] <= date(2025, 5, 12)
    assert silent["ratio_after"] == 0.0
    assert silent["silent_days"] == silent["wet_days"] > 5
    assert silent["neighbours_used"] == 6
    assert "S05/main" in silent["neighbours"].split()
    assert silent["likelihood_ratio"] > 1000
    assert silent["disconnection_odds_times"] > silent["drift_odds_times"]
    assert silent["sentence"].startswith(f"Nothing on {silent['wet_days']} of ")
    halved = found["S03/main"]
    assert abs((halved["since_on"] - date(2025, 3, 29)).days) <= 15
    assert halved["ratio_after"] / halved["ratio_before"] == pytest.approx(0.5, abs=0.06)
    assert (answer.standing, answer.ended, answer.gauges) == (2, 0, 7)


def test_an_alarm_that_a_visit_ended_is_told_on_demand_with_the_visit(wet):
    ended = keyed(compare_rain(wet, as_of=TODAY, asked=RainAsked(since=date(2024, 11, 1))), "ended")

    assert list(ended) == ["S02/second"]
    row = ended["S02/second"]
    assert (row["alarm"], row["ended_on"], row["ended_by"]) == (
        "silent",
        date(2024, 11, 12),
        "V005",
    )
    assert row["sentence"].endswith("Ended with visit V005 on 2024-11-12.")


def test_as_of_sees_no_later_total_and_no_later_service(wet):
    before = keyed(compare_rain(wet, as_of=date(2024, 11, 11)))
    after = keyed(compare_rain(wet, as_of=date(2024, 11, 12)))

    assert list(before) == ["S02/second"]
    assert after == {}


def test_known_on_reads_the_totals_of_that_instant(wet):
    with pytest.raises(NotFoundError, match="no daily totals up to 2025-06-02"):
        compare_rain(wet, as_of=TODAY, known_on=datetime(2025, 6, 1, tzinfo=UTC))


def test_a_depot_filters_the_rows_and_changes_no_figure(wet):
    whole = compare_rain(wet, as_of=TODAY)
    part = compare_rain(wet, as_of=TODAY, asked=RainAsked(depot_code="SOUTH"))

    assert list(keyed(part)) == ["S04/main"]
    assert keyed(part)["S04/main"] == keyed(whole)["S04/main"]
    assert part.gauges == 3
    with pytest.raises(NotFoundError, match="There is no depot 'WEST'"):
        compare_rain(wet, as_of=TODAY, asked=RainAsked(depot_code="WEST"))


def test_every_gauge_is_shown_on_demand_with_a_reason(wet):
    answer = compare_rain(wet, as_of=TODAY, asked=RainAsked(everything=True))

    assert list(answer.frame.columns) == list(RAIN_COLUMNS)
    assert len(answer.frame) == 7
    quiet = answer.frame[answer.frame["state"] == ""]
    assert quiet["sentence"].str.startswith("No alarm: ").all()
    assert (quiet["alarm"] == "").all()
    assert quiet["since_on"].isna().all()


def test_no_alarm_gives_no_rows_with_the_same_columns(wet):
    answer = compare_rain(wet, as_of=date(2024, 8, 31))

    assert answer.frame.empty
    assert answer.frame.dtypes.astype(str).to_dict() == RAIN_COLUMNS
    assert answer.summary(date(2024, 8, 31)) == (
        "0 alarms standing; 6 gauges with daily totals looked at as of 2024-08-31"
    )


def test_flagged_totals_the_melt_after_snow_and_days_of_service_are_left_out(wet):
    with wet() as session:
        rain = gather_rain(session, as_of=TODAY)

    row = rain.keys.index(("S01", "main"))
    missing = {
        rain.day(int(column)).isoformat()
        for column in np.flatnonzero(np.isnan(rain.record.total_mm[row]))
    }
    assert missing == {
        "2024-06-04",  # visit V002
        "2024-12-01",  # snow
        "2024-12-02",  # its melt
        "2024-12-10",  # suspect
        "2024-12-20",  # no total
        "2025-01-14",  # visit V003
        "2025-06-02",  # the day asked about, without a total yet
    }
    assert rain.first_day == FIRST_DAY
    assert rain.record.serviced[row].sum() == 2


def test_an_exchange_of_gauges_ends_what_was_before(wet):
    with wet() as session:
        rain = gather_rain(session, as_of=TODAY)

    row = rain.keys.index(("S03", "main"))
    assert rain.services[row][date(2024, 9, 10)] == "V007"
    assert rain.serial_on(row, date(2024, 9, 9)) == "00419"
    assert rain.serial_on(row, date(2024, 9, 10)) == "00420"
    assert rain.gauges[row].serial == "00420"


def test_gauges_out_of_tolerance_are_judged_by_their_own_policy(wet):
    with wet() as session:
        rain = gather_rain(session, as_of=TODAY)

    limits = dict(
        zip(
            rain.keys,
            zip(rain.record.low_percent, rain.record.high_percent, strict=True),
            strict=True,
        )
    )
    assert limits["S01", "main"] == pytest.approx((-7.5, 7.5))  # 37 to 43 of 40 tips
    assert limits["S04", "main"] == pytest.approx((-5.0, 5.0))


def test_a_gauge_without_totals_is_named(empty_database, tmp_path):
    network = add_totals(small_network()).drop("daily_totals", site_code="S05")
    now = datetime(2025, 6, 2, 8, tzinfo=UTC)
    engine = _fill(empty_database, tmp_path, network, now=now, today=TODAY)

    answer = compare_rain(make_sessions(engine), as_of=TODAY)

    assert "Without any daily total: S05 main." in answer.notes
    engine.dispose()


def test_reasons_for_having_no_evidence_are_told(wet, empty_database, tmp_path):
    network = add_totals(small_network())
    for site in ("S03", "S04", "S05", "S06"):
        network.drop("daily_totals", site_code=site)
    now = datetime(2025, 6, 2, 8, tzinfo=UTC)
    engine = _fill(empty_database, tmp_path, network, now=now, today=TODAY)
    everything = RainAsked(everything=True)

    few = compare_rain(make_sessions(engine), as_of=TODAY, asked=everything).frame
    fresh = compare_rain(wet, as_of=date(2025, 1, 14), asked=everything).frame

    assert set(few["sentence"]) == {
        "No evidence: 2 gauges to compare it with, at least 3 are needed."
    }
    assert few["q"].isna().all()
    told = fresh.set_index("site_code")["sentence"]
    assert told["S01"] == (
        "No evidence: no spell of 10 mm with totals here and around since its last service."
    )
    engine.dispose()


def test_a_gauge_silent_from_the_start_is_found_without_a_usual(empty_database, tmp_path):
    network = add_totals(small_network())
    network.change("daily_totals", {"site_code": "S06"}, total_mm=0)
    network.change("installations", {"site_code": "S04"}, removed_on="2025-05-20")
    network.change("instruments", {"serial": "A-031"}, status="workshop")
    now = datetime(2025, 6, 2, 8, tzinfo=UTC)
    engine = _fill(empty_database, tmp_path, network, now=now, today=TODAY)

    answer = compare_rain(make_sessions(engine), as_of=TODAY, asked=RainAsked(everything=True))

    silent = keyed(answer)["S06/main"]
    assert silent["alarm"] == "silent"
    assert silent["sentence"].endswith("What it usually has of its neighbours' rain is not known.")
    # a gauge that was taken away is a neighbour still, but is not judged
    assert "S04" not in set(answer.frame["site_code"])
    assert "S04/main" in silent["neighbours"].split()
    engine.dispose()


def test_days_one_late_are_told_and_compared_all_the_same(empty_database, tmp_path):
    network = add_totals(small_network())
    rows = [row for row in network.tables["daily_totals"] if row["site_code"] == "S01"]
    totals = [row["total_mm"] for row in rows]
    for row, total in zip(rows[1:], totals[:-1], strict=True):
        row["total_mm"] = total
    now = datetime(2025, 6, 2, 8, tzinfo=UTC)
    engine = _fill(empty_database, tmp_path, network, now=now, today=TODAY)

    answer = compare_rain(make_sessions(engine), as_of=TODAY, asked=RainAsked(everything=True))

    shown = {row["site_code"]: row for row in answer.frame.to_dict("records")}
    assert (shown["S01"]["days_late"], shown["S01"]["alarm"]) == (1, "")
    assert shown["S06"]["days_late"] == 0
    assert answer.notes[0].startswith("S01 main: its days stand one late from 2024-04-0")
    engine.dispose()


def test_double_mass_adds_up_the_months_and_finds_the_break(wet):
    answer = mass_curve(wet, "S03", as_of=TODAY)

    frame = answer.frame
    assert list(frame.columns) == list(MASS_COLUMNS)
    assert frame["month"].tolist()[0] == "2024-04"
    assert len(frame) == 14 or len(frame) == 15
    assert frame["gauge_sum_mm"].iloc[-1] == pytest.approx(frame["gauge_mm"].sum())
    march = frame["month"].tolist().index("2025-03")
    assert answer.curve.before == march + 1
    assert answer.curve.ratio_after / answer.curve.ratio_before == pytest.approx(0.5, abs=0.06)
    assert "Best break after 2025-03" in answer.notes[0]
    assert any(note.startswith("Pettitt K ") for note in answer.notes)
    assert frame.set_index("month")["services"].loc["2024-09"] == 1
    assert frame["residual_mm"].abs().idxmax() == march
    assert answer.svg().startswith(b"<svg ")


def test_double_mass_of_a_young_record_says_that_it_cannot_tell(wet):
    answer = mass_curve(wet, "S01", as_of=date(2024, 6, 15))

    assert answer.curve is None
    assert answer.notes[0].startswith("No break can be sought: at least 4 months")
    assert b"dashed" not in answer.svg()


def test_double_mass_asks_for_the_position_where_there_are_several(wet):
    assert mass_curve(wet, "S02", position="second", as_of=TODAY).title.startswith(
        "Double mass of S02/second"
    )
    with pytest.raises(NotFoundError, match="S02 has totals at: main, second"):
        mass_curve(wet, "S02", as_of=TODAY)
    with pytest.raises(NotFoundError, match="no position 'mast'; it has totals at: main"):
        mass_curve(wet, "S01", position="mast", as_of=TODAY)
    with pytest.raises(NotFoundError, match="no daily totals of a site 'S99'"):
        mass_curve(wet, "S99", as_of=TODAY)


def test_the_sample_s_silent_and_sinking_gauges_are_found_and_few_others(sample):
    found = keyed(compare_rain(sample, as_of=SAMPLE_DAY))

    assert found["RA06/A"]["alarm"] == "silent"
    assert abs((found["RA06/A"]["since_on"] - date(2026, 9, 14)).days) <= 5
    assert found["FY08/A"]["alarm"] == "silent"
    assert abs((found["FY08/A"]["since_on"] - date(2026, 10, 28)).days) <= 5
    assert found["OU01/A"]["alarm"] == "sinking"
    assert abs((found["OU01/A"]["since_on"] - date(2026, 7, 10)).days) <= 21
    assert "OU01/B" not in found
    # LI03/A is among those that the README calls blocked; no other of 106 gauges is accused
    assert set(found) == {"RA06/A", "FY08/A", "OU01/A", "LI03/A"}


def test_the_sample_s_services_are_those_of_the_place_and_not_of_a_moved_instrument(sample):
    with (SAMPLE / "visits.csv").open(encoding="utf-8", newline="") as file:
        site_of = {row["visit_ref"]: row["site_code"] for row in csv.DictReader(file)}

    with sample() as session:
        rain = gather_rain(session, as_of=SAMPLE_DAY)

    told = [
        (key[0], ref)
        for key, services in zip(rain.keys, rain.services, strict=True)
        for ref in services.values()
        if ref
    ]
    assert len(told) > 400
    assert [(site, ref) for site, ref in told if site_of[ref] != site] == []


def test_the_sample_s_silence_is_not_seen_before_it_began(sample):
    found = keyed(compare_rain(sample, as_of=date(2026, 9, 13)))

    assert "RA06/A" not in found
    assert "FY08/A" not in found
