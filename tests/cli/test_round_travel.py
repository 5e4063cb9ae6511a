"""The source of driving times on the command line, and what the records say of it."""

from __future__ import annotations

import csv
import io

import pytest

AS_OF = ("--as-of", "2025-06-01")


@pytest.fixture
def run(fleet, loaded_settings):
    def call(*words):
        return fleet("round", *words, db=loaded_settings.database_url)

    return call


def test_travel_tells_what_is_known_though_it_is_too_little(run):
    ran = run("travel", *AS_OF)

    rows = list(csv.DictReader(io.StringIO(ran.stdout)))
    assert [(row["depot_code"], row["legs"]) for row in rows] == [("NORTH", "0"), ("SOUTH", "0")]
    assert rows[0]["learned_circuity"] == ""
    assert "NORTH: Great-circle distance x 1.30 at 60 km/h (a default, not learned)." in ran.stderr
    assert "too few to learn from: 0 legs, 30 needed" in ran.stderr


def test_travel_of_a_source_that_is_none_is_refused(run):
    ran = run("travel", "--travel", "crow")

    assert ran.exit_code == 1
    assert "--travel: 'crow' found; great-circle, learned," in ran.stderr


def test_plan_tells_its_source(run):
    ran = run("plan", "SOUTH", *AS_OF, "--iterations", "10", "--dry-run", "--travel", "learned")

    assert ran.exit_code == 0
    assert "too few to learn from: 0 legs, 30 needed" in ran.stderr


def test_source_may_stand_in_the_environment(run, monkeypatch):
    monkeypatch.setenv("FLEET_TRAVEL", "gone.csv")

    ran = run("plan", "SOUTH", *AS_OF, "--dry-run")

    assert ran.exit_code == 1
    assert "'gone.csv' found; there is no such file" in ran.stderr
