"""Free questions: only one SELECT, nothing changed, not for ever; and the views that they ask.

10 V / (b A) tips are first principles: 800 mL, 0.5 mm, 400 cm2 give 40; 36 of 40 is -10 %.
"""

from __future__ import annotations

import json
import time
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from sqlalchemy import Engine, inspect, text

from fleet.errors import QuestionError
from fleet.reports.table import render_text, write_table
from fleet.services.learn_rates import learn_rates
from fleet.settings import Settings
from fleet.store.free_query import Limits, free_query
from fleet.store.journal import Wish
from fleet.store.migrate import downgrade, upgrade
from fleet.store.session import make_engine, make_sessions
from fleet.store.view import VIEWS, View
from fleet.store.view_state import STATE_VIEWS
from tests.conftest import Load
from tests.factories import TODAY, FrozenClock, InputFolder
from tests.store.test_migration import count_rows

LIMITS = Limits(seconds=20.0, rows=1000)


def test_question_gives_columns_and_rows_in_its_order(loaded_engine: Engine) -> None:
    sql = """
        -- the small network's worst phase
        SELECT serial, visit_ref, tips, expected_tips, error_percent FROM phase_error_now
        WHERE phase = 'as_found' ORDER BY error_percent, serial LIMIT 2;
    """

    found = free_query(loaded_engine, sql, LIMITS)

    assert found.columns == ("serial", "visit_ref", "tips", "expected_tips", "error_percent")
    assert [row[:3] for row in found.rows] == [("00419", "V007", 67), ("00418", "V005", 72)]
    assert float(found.rows[1][3]) == pytest.approx(80.0)
    assert float(found.rows[1][4]) == pytest.approx(-10.0)
    assert not found.more


@pytest.mark.parametrize(
    "sql",
    [
        "",
        "DELETE FROM site",
        "DROP TABLE site",
        "INSERT INTO depot (id, code, entry_id) VALUES (9, 'X', 1)",
        "UPDATE depot SET code = 'X'",
        "CREATE TABLE x (a int)",
        "CREATE TEMP TABLE x AS SELECT 1",
        "ATTACH DATABASE 'other.sqlite' AS other",
        "PRAGMA writable_schema = ON",
        "SET TRANSACTION READ WRITE",
        "COMMIT",
        "VACUUM",
        "EXPLAIN SELECT 1",
        "COPY depot TO '/tmp/x'",
        "SELECT 1; DELETE FROM depot",
        "SELECT 1; COMMIT; DELETE FROM depot",
        "SELECT 1; SET TRANSACTION READ WRITE; DELETE FROM depot",
        "WITH gone AS (DELETE FROM depot RETURNING *) SELECT * FROM gone",
        "WITH x AS (SELECT 1) DELETE FROM depot",
        "WITH x AS (SELECT 1) INSERT INTO depot SELECT 9, 'X', 1",
        "SELECT * INTO copied FROM depot",
        "SELECT load_extension('x')",
        "SELECT setval('x', 1)",
        "SELECT id FROM depot FOR UPDATE",
        "SELECT * FROM pragma_table_info('site')",
        "SELECT * FROM there_is_no_such_table",
        "SELECT FROM WHERE",
    ],
)
def test_question_that_is_no_single_select_is_refused_and_changes_nothing(
    loaded_engine: Engine, sql: str
) -> None:
    before = count_rows(loaded_engine)

    with pytest.raises(QuestionError, match=r"SELECT is expected|database views"):
        free_query(loaded_engine, sql, LIMITS)

    assert count_rows(loaded_engine) == before


def test_question_that_runs_on_is_stopped(loaded_engine: Engine) -> None:
    endless = "WITH RECURSIVE c(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM c) SELECT max(n) FROM c"
    started = time.monotonic()

    with pytest.raises(QuestionError, match=r"longer than 0\.3 s and was stopped"):
        free_query(loaded_engine, endless, Limits(seconds=0.3, rows=10))

    assert time.monotonic() - started < 10.0


def test_question_gives_no_more_rows_than_the_limit_and_says_so(loaded_engine: Engine) -> None:
    sql = "SELECT site_code FROM site_now ORDER BY site_code"

    few = free_query(loaded_engine, sql, Limits(seconds=20.0, rows=5))
    just = free_query(loaded_engine, sql, Limits(seconds=20.0, rows=6))

    assert ([row[0] for row in few.rows], few.more) == (["S01", "S02", "S03", "S04", "S05"], True)
    assert (len(just.rows), just.more) == (6, False)


def test_database_can_be_written_to_after_a_question(loaded_engine: Engine) -> None:
    free_query(loaded_engine, "SELECT 1", LIMITS)

    with loaded_engine.begin() as connection:
        connection.execute(text("CREATE TABLE written (a int)"))
        connection.execute(text("DROP TABLE written"))


def test_very_long_text_is_refused_on_sqlite(loaded_sqlite: Engine) -> None:
    with pytest.raises(QuestionError, match="too big"):
        free_query(loaded_sqlite, "SELECT hex(zeroblob(100000000))", LIMITS)


def test_every_documented_column_exists_and_every_column_is_documented(
    loaded_engine: Engine,
) -> None:
    inspector = inspect(loaded_engine)
    there = {
        name: [column["name"] for column in inspector.get_columns(name)]
        for name in inspector.get_view_names()
    }

    assert there == {view.name: list(view.columns) for view in VIEWS}
    assert len(VIEWS) == 45
    assert all(meaning for view in VIEWS for meaning in view.columns.values())


LEARNED = {name for name, _, _ in STATE_VIEWS}


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.name)
def test_every_view_can_be_asked(loaded_engine: Engine, view: View) -> None:
    found = free_query(loaded_engine, f"SELECT * FROM {view.name}", LIMITS)

    assert (len(found.rows) > 0) == (view.name not in LEARNED)


@pytest.mark.parametrize("view", sorted(LEARNED))
def test_views_of_rates_have_rows_once_rates_are_learned(
    loaded_settings: Settings, view: str
) -> None:
    engine = make_engine(loaded_settings.database_url)
    wish = Wish("tester", "gauge learn", "")
    learn_rates(make_sessions(engine), wish, as_of=TODAY, clock=FrozenClock())

    found = free_query(engine, f"SELECT * FROM {view}", LIMITS)

    assert len(found.rows) == (7 if view == "gauge_state_now" else 1)
    engine.dispose()


def test_views_of_now_and_of_a_past_instant_differ_after_an_amendment(
    loaded_settings: Settings, network: InputFolder, amend: Load
) -> None:
    network.change("sites", {"site_code": "S01"}, name="Quellmoor East")
    amend(network.only("sites", site_code="S01"), reason="renamed")

    engine = make_engine(loaded_settings.database_url)

    def names(sql: str) -> list[str]:
        return [row[0] for row in free_query(engine, sql, LIMITS).rows]

    where = "site_code = 'S01'"
    noon = "'2025-06-02 12:00'"
    then = f"known_from <= {noon} AND (known_until IS NULL OR known_until > {noon})"
    assert names(f"SELECT name FROM site_now WHERE {where}") == ["Quellmoor East"]
    assert names(f"SELECT name FROM site_known WHERE {where} AND {then}") == ["Quellmoor"]


def test_crew_of_a_visit_stands_in_its_order(loaded_engine: Engine) -> None:
    sql = "SELECT technicians FROM visit_now WHERE visit_ref = 'V006'"

    assert free_query(loaded_engine, sql, LIMITS).rows == (("T01 T02",),)


def test_views_go_down_and_up_again_and_no_row_is_lost(loaded_engine: Engine) -> None:
    before = count_rows(loaded_engine)

    downgrade(loaded_engine, "0004")
    assert inspect(loaded_engine).get_view_names() == []
    upgrade(loaded_engine)

    assert count_rows(loaded_engine) == before
    assert len(inspect(loaded_engine).get_view_names()) == len(VIEWS)


def test_every_kind_of_value_can_be_written_in_every_form(
    loaded_engine: Engine, dialect: str, tmp_path: Path
) -> None:
    light = dialect == "sqlite"
    sql = (
        "SELECT x'00ff' AS bytes, 9e999 AS endless, 1.5 AS half, NULL AS blank, '=1+1' AS formula"
        if light
        else "SELECT '\\x00ff'::bytea AS bytes, 'Infinity'::float8 AS endless, 1.5 AS half, "
        "NULL AS blank, '=1+1' AS formula, '1 day'::interval AS span, ARRAY[1, 2] AS list, "
        "3::numeric AS three, date '2025-06-02' AS day"
    )

    found = free_query(loaded_engine, sql, LIMITS)

    assert found.rows[0][:5] == ("00ff", "inf", 1.5, None, "=1+1")
    if not light:
        assert found.rows[0][5:] == ("1 day, 0:00:00", "[1, 2]", 3, date(2025, 6, 2))
    frame = pd.DataFrame(list(found.rows), columns=list(found.columns), dtype=object)
    assert json.loads(render_text(frame, "json"))[0]["bytes"] == "00ff"
    assert "'=1+1" in render_text(frame, "csv")
    assert "00ff" in render_text(frame, "table")
    write_table(frame, "xlsx", tmp_path / "answer.xlsx")
