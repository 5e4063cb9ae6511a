"""Kept states: after any writes they are what a rebuild would make, and few are renewed.

Checked against deriving every gauge from its whole history, which no kept row enters.
"""

from __future__ import annotations

import ast
import random
from dataclasses import fields
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import select, text

import fleet.services
import fleet.services.learn_rates as learn_rates_module
from fleet.domain.state import derive_state
from fleet.errors import ConflictError, InputError
from fleet.services import gauge_state
from fleet.services.gauge_write import writing
from fleet.services.known_gauge import known_gauges
from fleet.services.learn_rates import learn_rates, rate_frame, rates_sentence
from fleet.services.ranking import rank_gauges
from fleet.services.state_check import rebuild, state_faults
from fleet.services.verify import verify_session
from fleet.stats.clock import PLAIN
from fleet.stats.fleet_model import fit_evidence, fit_fleet
from fleet.stats.gauge_column import GaugeColumns, columns_of
from fleet.stats.policy_column import policies_in_force
from fleet.stats.ranking import rank_states
from fleet.store.journal import Wish
from fleet.store.models.instrument import Installation, Instrument
from fleet.store.models.ledger import LedgerEntry
from fleet.store.models.state import KeptState, LearnedRates
from fleet.store.queries.history import gauge_histories, history_shares
from fleet.store.queries.policy import policy_book
from fleet.store.queries.rates import rates_in_force
from fleet.store.queries.touched import touched_installations
from tests.conftest import load_into
from tests.factories import TODAY, InputFolder
from tests.stats.fleet_factory import AUTUMN, drifting_by

LEARN = Wish("tester", "gauge learn", "")
LATER = date(2025, 12, 31)


@pytest.fixture
def learned(loaded, clock):
    clock.move(hours=1)
    learn_rates(loaded, LEARN, as_of=TODAY, clock=clock)
    clock.move(days=1)
    return loaded


@pytest.fixture
def more(learned, clock, tmp_path):
    """Load into the network that has learned rates, as of the end of the year."""
    load = load_into(learned, clock, tmp_path / "more")
    return lambda folder, reason="because": load(folder, reason=reason, today=LATER)


def faults(sessions):
    with sessions() as session:
        return list(state_faults(session))


def kept(sessions):
    with sessions() as session:
        rows = session.execute(
            select(Instrument.code, *KeptState.__table__.columns)
            .join(Installation, Installation.id == KeptState.installation_id)
            .join(Instrument, Instrument.id == Installation.instrument_id)
        )
        return {row["code"]: dict(row) for row in rows.mappings()}


def same(left: GaugeColumns, right: GaugeColumns) -> list[str]:
    """Name the columns that differ in any bit."""
    return [
        field.name
        for field in fields(GaugeColumns)
        if not np.array_equal(
            getattr(left, field.name),
            getattr(right, field.name),
            equal_nan=getattr(left, field.name).dtype == np.float64,
        )
    ]


def from_history(sessions, model, **asked):
    with sessions() as session:
        states = [derive_state(history) for history in gauge_histories(session, **asked)]
    return columns_of(states, model)


def test_network_without_learned_rates_keeps_no_states(loaded, amend):
    amend(InputFolder().visit("V100", "S01", "2025-06-02", outcome="done"))

    assert kept(loaded) == {}
    assert rebuild(loaded) == 0
    assert faults(loaded) == []


def test_learning_keeps_rates_dated_and_a_state_a_gauge(learned):
    with learned() as session:
        row = session.execute(select(LearnedRates)).scalar_one()
        entry = session.get(LedgerEntry, row.entry_id)
        assert verify_session(session).faults == ()

    assert (row.as_of, row.format_number) == (TODAY, 1)
    assert (entry.action, entry.actor) == ("gauge learn", "tester")
    assert len(kept(learned)) == 7
    assert faults(learned) == []


def test_learned_rates_are_those_fitted_on_the_spot(loaded, clock):
    learning = learn_rates(loaded, LEARN, as_of=TODAY, clock=clock)

    with loaded() as session:
        states = [derive_state(h) for h in gauge_histories(session, as_of=TODAY)]
        text_kept = rates_in_force(session)
    assert learning.after == fit_fleet(states)
    assert gauge_state.read_rates(text_kept).model == learning.after
    assert (learning.gauges, learning.before, learning.kept) == (7, None, True)


def test_dry_run_shows_the_rates_and_keeps_nothing(loaded, clock):
    told = []
    learning = learn_rates(
        loaded,
        Wish("tester", "gauge learn", "", dry_run=True),
        as_of=TODAY,
        clock=clock,
        told=lambda done, of: told.append((done, of)),
    )

    assert told[-1] == (7, 7)

    frame = rate_frame(learning)
    assert not learning.kept
    assert set(frame["type_code"]) == {"TB02", "TB05", "network"}
    assert frame["before"].isna().all()
    assert frame["after"].notna().all()
    with loaded() as session:
        assert rates_in_force(session) is None


def test_a_season_is_shown_where_there_is_one(loaded, clock, monkeypatch):
    plain = rate_frame(learn_rates(loaded, LEARN, as_of=TODAY, clock=clock))
    fit = learn_rates_module.fit_evidence
    monkeypatch.setattr(learn_rates_module, "fit_evidence", lambda e: drifting_by(fit(e), AUTUMN))

    frame = rate_frame(learn_rates(loaded, LEARN, as_of=LATER, clock=clock))

    assert "season of drift" not in set(plain["rate"])
    found = frame[(frame["type_code"] == "network") & (frame["unit"] != "percent a year")]
    found = found.set_index("rate")
    assert found.loc["season of drift", "after"] == pytest.approx(AUTUMN.swing)
    assert found.loc["season of drift", "before"] == 0.0
    assert found.loc["peak of drift", "after"] == pytest.approx(AUTUMN.peak_day)
    assert "season of blockage" not in found.index


def test_learning_the_same_again_writes_nothing_and_other_records_write_anew(learned, more, clock):
    again = learn_rates(learned, LEARN, as_of=TODAY, clock=clock)
    visits = InputFolder().visit("V100", "S01", "2025-06-20")
    more(visits.check("V100", "00417", found=(30, 30), left=(40, 40)))
    later = learn_rates(learned, LEARN, as_of=LATER, clock=clock)

    assert (again.kept, later.kept) == (False, True)
    assert later.before.as_of == TODAY
    drift = rate_frame(later).query("type_code == 'network' and rate == 'drift'")
    assert drift["before"].item() != drift["after"].item()
    assert {row["rates_id"] for row in kept(learned).values()} == {2}
    assert faults(learned) == []


def test_rates_in_force_are_those_learned_last_up_to_day_and_moment(learned, more, clock):
    first = clock.at - timedelta(days=1)
    more(InputFolder().visit("V100", "S01", "2025-06-20"))
    clock.move(days=1)
    learn_rates(learned, LEARN, as_of=LATER, clock=clock)

    with learned() as session:
        assert rates_in_force(session, as_of=LATER).as_of == LATER
        assert rates_in_force(session, as_of=LATER - timedelta(days=1)).as_of == TODAY
        assert rates_in_force(session, as_of=TODAY - timedelta(days=1)) is None
        assert rates_in_force(session, as_of=LATER, known_on=first).as_of == TODAY
        assert rates_in_force(session, known_on=first - timedelta(hours=1)) is None
        assert rates_sentence(session, as_of=LATER).endswith("learned on 2025-12-31.")
        assert rates_sentence(session, as_of=date(2025, 1, 1)) == ""


def test_network_that_changed_while_learning_is_not_written(loaded, clock, amend, monkeypatch):
    from fleet.errors import ConflictError
    from fleet.services import learn_rates as module

    def meanwhile(evidence):
        amend(InputFolder().visit("V100", "S01", "2025-06-02"))
        return fit_evidence(evidence)

    monkeypatch.setattr(module, "fit_evidence", meanwhile)

    with pytest.raises(ConflictError, match="changed while the rates were fitted"):
        learn_rates(loaded, LEARN, as_of=TODAY, clock=clock)
    assert kept(loaded) == {}


def test_columns_from_rows_are_those_from_history_to_the_last_bit(learned):
    with learned() as session:
        network = known_gauges(session, as_of=TODAY)
        states = network.states_of(np.array([2, 0]))

    assert network.learned_on == TODAY
    assert same(network.columns, from_history(learned, network.model, as_of=TODAY)) == []
    assert [s.gauge.serial for s in states] == [network.columns.serial[i] for i in (2, 0)]


@pytest.mark.parametrize("later", [0, 90, 200])
def test_rows_rank_as_histories_do_to_the_last_bit_where_drift_goes_by_season(
    loaded, clock, monkeypatch, later
):
    """The season is put into the rates: so few gauges could not show one."""
    day, fit = TODAY + timedelta(days=later), learn_rates_module.fit_evidence
    monkeypatch.setattr(learn_rates_module, "fit_evidence", lambda e: drifting_by(fit(e), AUTUMN))
    clock.move(hours=1)
    learn_rates(loaded, LEARN, as_of=TODAY, clock=clock)

    with loaded() as session:
        model = gauge_state.read_rates(rates_in_force(session)).model
        states = [derive_state(history) for history in gauge_histories(session, as_of=day)]
        columns = columns_of(states, model)
        book = policies_in_force(policy_book(session), columns, on=day)
        policies = [book.of(place) for place in range(len(columns))]
        ranked = [row.forecast for row in rank_gauges(session, as_of=day, with_rain=False)]
        assert same(known_gauges(session, as_of=day).columns, columns) == []
        flat = drifting_by(model, PLAIN)
    assert (len(kept(loaded)), faults(loaded)) == (7, [])
    assert {row.model.drift.clock for row in ranked} == {AUTUMN}
    assert tuple(ranked) == rank_states(states, policies, model, as_of=day)
    before = {row.state: row for row in rank_states(states, policies, flat, as_of=day)}
    assert any(before[row.state].p != row.p for row in ranked)


@pytest.mark.parametrize("later", [3, 60, 209])
def test_days_after_the_rates_are_read_from_rows_that_hold_then(learned, more, later, monkeypatch):
    """V100 is known from its day on: before it, 00418 comes from history."""
    day = TODAY + timedelta(days=later)
    visits = InputFolder().visit("V100", "S02", "2025-07-02")
    more(visits.check("V100", "00418", found=(37, 38), left=(40, 40)))
    derived = []

    def watched(session, named, **asked):
        derived.extend(named)
        return history_shares(session, named, **asked)

    monkeypatch.setattr("fleet.services.known_gauge.history_shares", watched)
    with learned() as session:
        network = known_gauges(session, as_of=day)

    assert len(derived) == (1 if day < date(2025, 7, 2) else 0)
    assert same(network.columns, from_history(learned, network.model, as_of=day)) == []


def test_missing_row_is_derived_on_reading_and_told_by_the_check(learned):
    with learned() as session:
        session.execute(text("DELETE FROM gauge_state WHERE installation_id IN (1, 5)"))
        session.commit()
        network = known_gauges(session, as_of=TODAY)

    assert same(network.columns, from_history(learned, network.model, as_of=TODAY)) == []
    assert len([fault for fault in faults(learned) if "no state is kept" in fault]) == 2
    assert rebuild(learned) == 7
    assert faults(learned) == []


def test_past_moment_is_derived_from_what_was_known_then(learned, more, clock):
    then = clock.at
    clock.move(days=1)
    more(InputFolder().visit("V100", "S02", "2025-06-01"))

    with learned() as session:
        network = known_gauges(session, as_of=TODAY, known_on=then)

    asked = {"as_of": TODAY, "known_on": then}
    assert same(network.columns, from_history(learned, network.model, **asked)) == []
    assert network.learned_on == TODAY


def test_gauge_with_a_removal_ahead_is_derived_and_keeps_no_row(learned, more):
    row = InputFolder().add(
        "installations",
        site_code="S01",
        position="main",
        installed_on="2023-06-01",
        serial="00417",
        removed_on="2025-08-01",
    )
    more(row)

    assert "00417" not in kept(learned)
    for day in (date(2025, 7, 31), date(2025, 8, 1)):
        with learned() as session:
            network = known_gauges(session, as_of=day)
        assert ("00417" in network.columns.serial) == (day.month == 7)
        assert same(network.columns, from_history(learned, network.model, as_of=day)) == []
    assert faults(learned) == []


def test_rates_of_a_form_that_cannot_be_read_are_learned_again(learned, more, clock):
    """As after a change of the model: nothing ranks under them, but work in the field goes on."""
    with writing(learned, LEARN, clock) as work:
        work.add(LearnedRates, [{"as_of": TODAY, "format_number": 1, "rates": '{"format": 0}'}])
    with learned() as session, pytest.raises(ConflictError, match="gauge learn --as-of 2025-06-02"):
        rank_gauges(session, as_of=TODAY)

    more(InputFolder().visit("V100", "S01", "2025-06-02", outcome="done"))
    assert kept(learned) == {}
    assert [fault for fault in faults(learned) if "format 0" in fault]

    again = learn_rates(learned, LEARN, as_of=LATER, clock=clock)
    assert (again.kept, again.before, len(kept(learned))) == (True, None, 7)
    assert faults(learned) == []


def test_tampered_state_is_found(learned):
    with learned() as session:
        session.execute(
            text("UPDATE gauge_state SET services = services + 1 WHERE installation_id = 1")
        )
        session.commit()

    (fault,) = faults(learned)
    assert fault == ("site S01, position main, serial 00417: the records give another services")


def test_learned_rates_are_guarded_and_states_are_not(learned):
    engine = learned.kw["bind"]
    with pytest.raises(Exception, match="append-only"), engine.begin() as connection:
        connection.execute(text("UPDATE learned_rates SET rates = '{}'"))
    with pytest.raises(Exception, match="append-only"), engine.begin() as connection:
        connection.execute(text("DELETE FROM learned_rates"))


def touched(sessions):
    """Name the serials of the gauges that the newest entry touched."""
    with sessions() as session:
        entry = session.execute(
            select(LedgerEntry.id).order_by(LedgerEntry.id.desc()).limit(1)
        ).scalar_one()
        ids = touched_installations(session, entry, gauge_state_tables(session, entry))
        rows = session.execute(
            select(Instrument.code)
            .join(Installation, Installation.instrument_id == Instrument.id)
            .where(Installation.id.in_(ids))
        )
        return sorted(rows.scalars())


def gauge_state_tables(session, entry):
    names = session.execute(
        text("SELECT table_name FROM ledger_change WHERE entry_id = :entry"), {"entry": entry}
    )
    return set(names.scalars())


def test_visit_touches_the_gauges_of_its_site_alone(learned, more):
    visits = InputFolder().visit("V100", "S02", "2025-06-20")
    more(visits.check("V100", "00418", found=(37, 38), left=(40, 40)))

    assert touched(learned) == ["00418", "00523"]


def test_visit_moved_to_another_site_touches_both(learned, more):
    more(InputFolder().visit("V100", "S02", "2025-06-20"))
    more(InputFolder().visit("V100", "S05", "2025-06-20"))

    assert touched(learned) == ["00418", "00523", "A-032"]
    assert faults(learned) == []


def test_moved_instrument_touches_where_it_stood_and_stands(learned, more):
    spans = InputFolder()
    for site, since, until in (("S01", "2023-06-01", "2025-06-20"), ("S06", "2025-06-20", None)):
        row = {"site_code": site, "installed_on": since, "removed_on": until}
        spans.add(
            "installations", position="main" if site == "S01" else "east", serial="00417", **row
        )
    more(spans)

    assert touched(learned) == ["00417", "A-033"]
    assert faults(learned) == []


def test_type_and_certificate_touch_every_gauge_that_they_bear_on(learned, more):
    types = InputFolder().add(
        "gauge_types",
        type_code="TB05",
        description="0.5 mm bucket",
        bucket_mm=0.51,
        orifice_area_cm2=400,
        siphon=False,
        test_volume_ml=800,
        area_basis="nominal",
    )
    more(types)
    assert touched(learned) == ["00417", "00418", "00420", "A-033"]
    certificate = {"certificate_number": "D03/2", "valid_until": "2026-12-31", "volume_ml": 400}
    more(
        InputFolder().add(
            "certificates",
            device_code="D03",
            valid_from="2025-03-01",
            expanded_uncertainty_ml=8,
            **certificate,
        )
    )

    assert touched(learned) == ["A-031", "A-032"]  # tested with D03 since March, not 00523
    assert faults(learned) == []


def test_policy_and_total_touch_nothing(learned, more):
    before = kept(learned)
    more(
        InputFolder().add(
            "daily_totals", site_code="S01", position="main", day="2025-06-01", total_mm=3
        )
    )

    assert touched(learned) == []
    assert kept(learned) == before


def test_only_touched_states_are_derived_anew(learned, more, monkeypatch):
    renewed = []
    derive = gauge_state.derived_rows

    def watched(session, rates, installation_ids):
        renewed.extend(installation_ids)
        return derive(session, rates, installation_ids)

    monkeypatch.setattr(gauge_state, "derived_rows", watched)
    more(InputFolder().visit("V100", "S05", "2025-06-20"))

    assert len(renewed) == 1


def test_dry_run_renews_nothing(learned, clock, tmp_path):
    before = kept(learned)
    load = load_into(learned, clock, tmp_path / "dry")
    load(InputFolder().visit("V100", "S05", "2025-06-20"), dry_run=True, today=LATER)

    assert kept(learned) == before


SEQUENCES = [
    pytest.param(seed, steps, marks=pytest.mark.long if seed > 3 else [])
    for seed, steps in [(1, 14), (2, 14), (3, 14), *((seed, 40) for seed in range(4, 16))]
]


@pytest.mark.parametrize(("seed", "steps"), SEQUENCES)
def test_any_writes_leave_what_a_rebuild_would_make(learned, more, clock, seed, steps):
    chance = _Chance(seed)
    for _ in range(steps):
        clock.move(hours=1)
        try:
            more(chance.folder())
        except InputError:  # a move into a taken place, or the like: nothing was written
            chance.refused += 1
        assert faults(learned) == []

    before = kept(learned)
    rebuild(learned)
    assert kept(learned) == before
    with learned() as session:
        for day in (TODAY, TODAY + timedelta(days=40), LATER):
            network = known_gauges(session, as_of=day)
            assert same(network.columns, from_history(learned, network.model, as_of=day)) == []
    assert chance.refused < steps / 3


class _Chance:
    """Makes loads at random: visits, amendments, moves, types and certificates."""

    def __init__(self, seed: int) -> None:
        self.dice = random.Random(seed)
        self.refused = 0
        self.number = 0
        self.day = TODAY
        self.visits: list[tuple[str, str, str | None]] = []
        self.stands = {
            "00417": ("S01", "main", "2023-06-01"),
            "00418": ("S02", "main", "2023-06-01"),
            "00523": ("S02", "second", "2023-06-01"),
            "00420": ("S03", "main", "2024-09-10"),
            "A-031": ("S04", "main", "2023-06-01"),
            "A-032": ("S05", "main", "2023-06-01"),
            "A-033": ("S06", "main", "2024-10-01"),
        }

    def folder(self) -> InputFolder:
        self.number += 1
        self.day += timedelta(days=self.dice.randint(1, 5))
        kinds = (self.visit, self.visit, self.attempt, self.amend, self.move, self.swap)
        return self.dice.choice((*kinds, self.type, self.certificate, self.area))()

    def visit(self) -> InputFolder:
        serial = self.dice.choice(sorted(self.stands))
        ref, site = f"W{self.number}", self.stands[serial][0]
        self.visits.append((ref, site, serial))
        folder = InputFolder().visit(ref, site, self.day.isoformat())
        tips = tuple(self.dice.randint(30, 50) for _ in range(4))
        ohm = self.dice.choice([None, 0.3, 2.0])
        proven = self.dice.choice([True, None])
        folder.check(
            ref, serial, found=tips[:2], left=tips[2:], closed_ohm=ohm, proven=proven, device="D03"
        )
        if self.dice.random() < 0.4:
            folder.finding(ref, 1, "funnel", "blocked", "cleared", "good", serial=serial)
        return folder

    def attempt(self) -> InputFolder:
        ref, site = f"W{self.number}", f"S0{self.dice.randint(1, 6)}"
        self.visits.append((ref, site, None))
        return self._attempt(ref, site)

    def _attempt(self, ref: str, site: str) -> InputFolder:
        cells = {"outcome": "not_done", "not_done_reason": "no_access"}
        return InputFolder().visit(ref, site, self.day.isoformat(), **cells)

    def amend(self) -> InputFolder:
        if not self.visits:
            return self.visit()
        ref, site, serial = self.dice.choice(self.visits)
        if serial is None:
            return self._attempt(ref, f"S0{self.dice.randint(1, 6)}")
        folder = InputFolder().visit(ref, site, self.day.isoformat())
        return folder.check(ref, serial, left=(self.dice.randint(30, 50), 40), device="D03")

    def move(self) -> InputFolder:
        """Take a gauge to another site, at a place of its own there."""
        serial = self.dice.choice(sorted(self.stands))
        return self._moved(serial, f"S0{self.dice.randint(1, 6)}", f"p{self.number}")

    def _moved(self, serial: str, site: str, position: str) -> InputFolder:
        old_site, old_position, since = self.stands[serial]
        day = self.day.isoformat()
        folder = InputFolder()
        old = {"site_code": old_site, "position": old_position, "installed_on": since}
        folder.add("installations", serial=serial, removed_on=day, **old)
        new = {"site_code": site, "position": position, "installed_on": day}
        folder.add("installations", serial=serial, **new)
        self.stands[serial] = (site, position, day)
        return folder

    def swap(self) -> InputFolder:
        """Put the spare where a gauge stood, which comes back beside it."""
        serial = self.dice.choice(sorted(self.stands))
        site, position, _ = self.stands[serial]
        folder = self._moved(serial, site, f"q{self.number}")
        if "A-040" not in self.stands:
            place = {"site_code": site, "position": position, "installed_on": self.day.isoformat()}
            folder.add("installations", serial="A-040", **place)
            self.stands["A-040"] = (site, position, self.day.isoformat())
        return folder

    def type(self) -> InputFolder:
        return InputFolder().add(
            "gauge_types",
            type_code="TB05",
            description="0.5 mm bucket",
            bucket_mm=round(self.dice.uniform(0.45, 0.55), 3),
            orifice_area_cm2=400,
            siphon=False,
            test_volume_ml=800,
            area_basis="nominal",
        )

    def certificate(self) -> InputFolder:
        since = TODAY - timedelta(days=self.dice.randint(0, 400))
        return InputFolder().add(
            "certificates",
            device_code="D03",
            certificate_number=f"D03/{self.dice.randint(1, 3)}",
            valid_from=since,
            valid_until="2026-12-31",
            volume_ml=400,
            expanded_uncertainty_ml=self.dice.randint(1, 20),
        )

    def area(self) -> InputFolder:
        return InputFolder().add(
            "instruments",
            serial=self.dice.choice(["00417", "00420"]),
            type_code="TB05",
            status="in_service",
            orifice_area_cm2=self.dice.randint(380, 420),
            area_basis="measured",
        )


def test_every_service_writes_through_the_transaction_that_keeps_states():
    """`fleet.store.journal.writing` itself is only for the module that wraps it."""
    folder = Path(fleet.services.__file__).parent
    straight = {
        path.name
        for path in folder.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.module == "fleet.store.journal"
        if "writing" in {alias.name for alias in node.names}
    }

    assert straight == set()
