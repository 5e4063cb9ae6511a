"""The audit on the sample network against a plain re-computation from its CSV files.

The re-computation reads the files with pandas, loops slowly, and shares no code with `fleet`.
The formulas are first principles [CALC]: 1 mm over 1 cm2 is 0.1 mL; a run that began with emptied
buckets has a count variance of 1/12 tip^2, another 1/6 tip^2; U = 2 u.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from math import sqrt
from pathlib import Path

import pandas as pd
import pytest
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.evidence import Ask
from fleet.domain.state import derive_state
from fleet.services import audit
from fleet.services.equipment_question import DUE, TAINTED
from fleet.store.queries.history import gauge_histories
from fleet.store.session import make_engine, make_sessions
from tests.conftest import load_into
from tests.factories import FrozenClock

FOLDER = Path(__file__).parents[2] / "sample_network"
LAST_DAY = date(2026, 11, 20)
LOADED = datetime(2026, 11, 21, 8, 0, tzinfo=UTC)
DAYS = (
    date(2024, 3, 1),
    date(2024, 8, 12),
    date(2025, 2, 28),
    date(2025, 3, 1),
    date(2025, 6, 10),
    date(2026, 1, 15),
    LAST_DAY,
)


@pytest.fixture(scope="module")
def sample(
    empty_database: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[sessionmaker[Session]]:
    """The sample network without its daily totals, then its corrections a day later."""
    folder = tmp_path_factory.mktemp("sample")
    path = shutil.copyfile(empty_database, folder / "sample.sqlite")
    engine = make_engine(f"sqlite:///{path}")
    files = folder / "files"
    files.mkdir()
    for file in FOLDER.glob("*.csv"):
        if file.stem != "daily_totals":
            shutil.copy(file, files)
    clock = FrozenClock(LOADED)
    load = load_into(make_sessions(engine), clock, folder / "unused")
    load(files, today=LAST_DAY)
    clock.move(days=1)
    load(FOLDER / "corrections", today=LAST_DAY, reason="miscopied counts")
    yield make_sessions(engine)
    engine.dispose()


class Files:
    """The CSV files as they are, every cell a text, and slow look-ups in them."""

    def __init__(self) -> None:
        for name in (
            *("sites", "installations", "instruments", "gauge_types", "policies", "visits"),
            *("gauge_checks", "tip_runs", "certificates", "switch_readings", "devices"),
        ):
            frame = pd.read_csv(FOLDER / f"{name}.csv", dtype=str, keep_default_na=False)
            setattr(self, name, frame.to_dict("records"))
        self.visit = {row["visit_ref"]: row for row in self.visits}
        self.type_of = {row["serial"]: row["type_code"] for row in self.instruments}
        self.kind = {row["type_code"]: row for row in self.gauge_types}
        self.area = {row["serial"]: row["orifice_area_cm2"] for row in self.instruments}

    def day(self, visit_ref: str) -> date:
        return date.fromisoformat(self.visit[visit_ref]["arrived_at"][:10])

    def term(self, name: str, serial: str, site: str, day: date) -> str:
        """The narrowest row in force on the day that sets the term; '' where none does."""
        found = ""
        for scope, code in (("network", ""), ("type", self.type_of[serial]), ("site", site)):
            rows = [
                row
                for row in self.policies
                if (row["scope"], row["scope_code"]) == (scope, code)
                and date.fromisoformat(row["valid_from"]) <= day
            ]
            if rows:
                newest = max(rows, key=lambda row: row["valid_from"])
                found = newest[name] or found
        return found

    def tip_ml(self, serial: str) -> float:
        kind = self.kind[self.type_of[serial]]
        return float(kind["bucket_mm"]) * float(self.area[serial] or kind["orifice_area_cm2"]) / 10

    def runs(self, visit_ref: str, serial: str, phase: str) -> list[dict[str, str]]:
        return [
            row
            for row in self.tip_runs
            if (row["visit_ref"], row["serial"], row["phase"]) == (visit_ref, serial, phase)
        ]

    def u_ml(self, device: str, day: date) -> float:
        """Half the expanded uncertainty by the newest certificate that had begun."""
        rows = [
            row
            for row in self.certificates
            if row["device_code"] == device
            and row["expanded_uncertainty_ml"]
            and date.fromisoformat(row["valid_from"]) <= day
        ]
        if not rows:
            return 0.0
        newest = max(rows, key=lambda row: row["valid_from"])
        return float(newest["expanded_uncertainty_ml"]) / 2


@pytest.fixture(scope="module")
def files() -> Files:
    return Files()


def plain_overdue(files: Files, as_of: date) -> dict[tuple[str, str, str], tuple[date, int]]:
    tested_left = {
        (row["visit_ref"], row["serial"]) for row in files.tip_runs if row["phase"] == "as_left"
    }
    late = {}
    for place in files.installations:
        start = date.fromisoformat(place["installed_on"])
        end = date.fromisoformat(place["removed_on"]) if place["removed_on"] else date.max
        if not start <= as_of < end:
            continue
        services = [
            files.day(check["visit_ref"])
            for check in files.gauge_checks
            if check["serial"] == place["serial"]
            and files.visit[check["visit_ref"]]["site_code"] == place["site_code"]
            and files.visit[check["visit_ref"]]["outcome"] != "not_done"
            and start <= files.day(check["visit_ref"]) <= as_of
            and (
                check["cleaned"] == "yes"
                or check["adjusted"] == "yes"
                or (check["visit_ref"], check["serial"]) in tested_left
            )
        ]
        interval = files.term("service_interval_days", place["serial"], place["site_code"], as_of)
        due = max([start, *services]) + timedelta(days=int(interval))
        if as_of > due:
            key = (place["site_code"], place["position"], place["serial"])
            late[key] = (due, (as_of - due).days)
    return late


def plain_verdict(files: Files, check: dict[str, str], phase: str) -> str:
    """Say passed, failed, rejected, or '' where the phase decides nothing."""
    visit, serial = files.visit[check["visit_ref"]], check["serial"]
    site, day = visit["site_code"], files.day(check["visit_ref"])
    runs = files.runs(check["visit_ref"], serial, phase)
    if not runs:
        return ""
    tip_ml = files.tip_ml(serial)
    volume = sum(float(run["volume_ml"]) for run in runs)
    tips = sum(int(run["tips"]) for run in runs)
    expected = volume / tip_ml
    tolerance = float(files.term(f"{phase}_tolerance_percent", serial, site, day)) / 100
    low, high = expected * (1 - tolerance), expected * (1 + tolerance)
    nominal = float(files.kind[files.type_of[serial]]["test_volume_ml"])
    if all(abs(float(run["volume_ml"]) - nominal) <= 0.1 * tip_ml for run in runs):
        low_tips = files.term(f"{phase}_low_tips", serial, site, day)
        high_tips = files.term(f"{phase}_high_tips", serial, site, day)
        low = len(runs) * int(low_tips) if low_tips else low
        high = len(runs) * int(high_tips) if high_tips else high
    guard = 0.0
    if files.term("decision_rule", serial, site, day) == "guard_band":
        counting = sum(1 / 12 if run["start_state"] == "emptied" else 1 / 6 for run in runs)
        u_ml = max(files.u_ml(run["device_code"], day) for run in runs)
        guard = 2 * sqrt(counting + (u_ml * len(runs) / tip_ml) ** 2)
    reject = float(files.term("reject_limit_percent", serial, site, day)) / 100
    if abs(tips - expected) > reject * expected + 1e-9:
        return "rejected"
    if max(low - tips, tips - high) > guard + 1e-9:
        return "failed"
    least = int(files.term(f"minimum_{phase}_runs", serial, site, day))
    decided = len(runs) >= least and max(low - tips, tips - high) <= -guard + 1e-9
    return "passed" if decided else ""


def plain_verdicts(files: Files) -> dict[tuple[str, str, str], str]:
    """Give the verdict of every phase of every check of an instrument where it stood."""
    verdicts = {}
    for check in files.gauge_checks:
        site, day = files.visit[check["visit_ref"]]["site_code"], files.day(check["visit_ref"])
        stood = any(
            place["site_code"] == site
            and place["serial"] == check["serial"]
            and place["installed_on"] <= day.isoformat() <= (place["removed_on"] or "9")
            for place in files.installations
        )
        for phase in ("as_found", "as_left"):
            if stood:
                key = (check["visit_ref"], check["serial"], phase)
                verdicts[key] = plain_verdict(files, check, phase)
    return verdicts


@pytest.fixture(scope="module")
def verdicts(files: Files) -> dict[tuple[str, str, str], str]:
    return plain_verdicts(files)


@pytest.mark.parametrize("as_of", DAYS, ids=str)
def test_overdue_agrees_with_a_plain_recomputation(
    sample: sessionmaker[Session], files: Files, as_of: date
) -> None:
    frame = audit.audit_overdue(sample, as_of=as_of)

    found = {
        (row.site_code, row.position, row.serial): (row.due_on, row.days_overdue)
        for row in frame.itertuples()
    }
    assert found == plain_overdue(files, as_of)
    assert len(found) == len(frame) > 0


@pytest.mark.parametrize("as_of", DAYS, ids=str)
def test_out_of_tolerance_agrees_with_a_plain_recomputation(
    sample: sessionmaker[Session],
    files: Files,
    verdicts: dict[tuple[str, str, str], str],
    as_of: date,
) -> None:
    frame = audit.audit_out_of_tolerance(
        sample, as_of=as_of, since=date(2023, 1, 1), known_on=LOADED
    )

    found = {(row.visit_ref, row.serial, row.phase): row.verdict for row in frame.itertuples()}
    assert found == {
        key: verdict
        for key, verdict in verdicts.items()
        if verdict in ("failed", "rejected") and files.day(key[0]) <= as_of
    }
    assert len(found) == len(frame)


def test_the_plain_recomputation_meets_every_verdict(
    verdicts: dict[tuple[str, str, str], str],
) -> None:
    assert set(verdicts.values()) == {"passed", "failed", "rejected", ""}


def test_latest_out_of_tolerance_agrees_with_a_plain_recomputation(
    sample: sessionmaker[Session], files: Files, verdicts: dict[tuple[str, str, str], str]
) -> None:
    expected = set()
    for place in files.installations:
        if place["removed_on"] and place["removed_on"] <= LAST_DAY.isoformat():
            continue
        for phase in ("as_found", "as_left"):
            measured = [
                (files.visit[run["visit_ref"]]["arrived_at"], run["visit_ref"])
                for run in files.tip_runs
                if (run["serial"], run["phase"]) == (place["serial"], phase)
                and files.visit[run["visit_ref"]]["site_code"] == place["site_code"]
                and files.day(run["visit_ref"]).isoformat() >= place["installed_on"]
            ]
            if measured:
                key = (max(measured)[1], place["serial"], phase)
                if verdicts[key] in ("failed", "rejected"):
                    expected.add(key)

    frame = audit.audit_out_of_tolerance(sample, as_of=LAST_DAY, known_on=LOADED)

    assert (
        set(frame[["visit_ref", "serial", "phase"]].itertuples(index=False, name=None)) == expected
    )
    assert len(expected) > 0


def test_summary_agrees_with_a_plain_recomputation(
    sample: sessionmaker[Session], files: Files, verdicts: dict[tuple[str, str, str], str]
) -> None:
    frame = audit.audit_summary(
        sample, as_of=LAST_DAY, since=date(2023, 1, 1), known_on=LOADED
    ).set_index(["depot_code", "measure"])

    decided = [
        verdict for (_, _, phase), verdict in verdicts.items() if phase == "as_found" and verdict
    ]
    row = frame.loc[("*", "in_tolerance_as_found")]
    assert (row.hits, row.n) == (decided.count("passed"), len(decided))
    in_date = frame.loc[("*", "in_date")]
    assert in_date.n - in_date.hits == len(plain_overdue(files, LAST_DAY))


def test_a_corrected_count_was_out_of_tolerance_only_as_known_before(
    sample: sessionmaker[Session],
) -> None:
    question = {"as_of": LAST_DAY, "since": date(2025, 1, 1)}

    now = audit.audit_out_of_tolerance(sample, **question)  # type: ignore[arg-type]
    then = audit.audit_out_of_tolerance(sample, **question, known_on=LOADED)  # type: ignore[arg-type]

    corrected = {"V25-0163", "V26-0113"}
    assert corrected & set(now.visit_ref) == set()
    assert corrected <= set(then.visit_ref)


def test_the_sample_holds_every_kind_of_fault(sample: sessionmaker[Session]) -> None:
    since = date(2023, 11, 20)

    assert len(audit.audit_never_verified(sample, as_of=LAST_DAY)) > 0
    assert len(audit.audit_failed_switch(sample, as_of=LAST_DAY, since=since)) > 0
    assert len(audit.audit_missing_phase(sample, as_of=LAST_DAY)) > 0
    assert len(audit.audit_attempts(sample, as_of=LAST_DAY)) > 0
    assert len(audit.audit_device_out_of_date(sample, as_of=LAST_DAY)) > 0
    assert len(audit.audit_unqualified(sample, as_of=LAST_DAY)) > 0
    disconnected = audit.audit_left_disconnected(sample, as_of=LAST_DAY)
    assert set(disconnected.site_code) == {"FY08", "BR03"}
    adjusted = audit.audit_adjusted_every_time(sample, as_of=LAST_DAY)
    assert {"KO02", "LI06"} <= set(adjusted.site_code)
    perfect = audit.audit_too_perfect(sample, as_of=LAST_DAY)
    assert set(perfect.site_code) == {"OU03", "SH07"}


@pytest.mark.parametrize("as_of", DAYS, ids=str)
def test_left_disconnected_agrees_with_the_state_that_the_ranking_uses(
    sample: sessionmaker[Session], as_of: date
) -> None:
    with sample() as session:
        states = [derive_state(history) for history in gauge_histories(session, as_of=as_of)]

    frame = audit.audit_left_disconnected(sample, as_of=as_of)

    assert set(zip(frame.serial, frame.visit_ref, strict=True)) == {
        (state.gauge.serial, state.disconnected_ref) for state in states if state.left_disconnected
    }


def plain_windows(
    files: Files, verdicts: dict[tuple[str, str, str], str]
) -> set[tuple[str, str, str, str]]:
    """Serial, first bad visit, last good visit and the visit that ended each doubtful stretch."""
    found = set()
    for place in files.installations:
        last_day = place["removed_on"] or "9"
        checks = sorted(
            (files.visit[check["visit_ref"]]["arrived_at"], check["visit_ref"])
            for check in files.gauge_checks
            if check["serial"] == place["serial"]
            and files.visit[check["visit_ref"]]["site_code"] == place["site_code"]
            and files.visit[check["visit_ref"]]["outcome"] != "not_done"
            and place["installed_on"] <= files.day(check["visit_ref"]).isoformat() <= last_day
        )
        good, bad = "", ""
        for _, ref in checks:
            for phase in ("as_found", "as_left"):
                verdict = verdicts[ref, place["serial"], phase]
                if verdict in ("failed", "rejected"):
                    bad = bad or ref
                elif verdict == "passed":
                    if bad:
                        found.add((place["serial"], bad, good, ref))
                    good, bad = ref, ""
        if bad:
            found.add((place["serial"], bad, good, ""))
    return found


def test_suspect_stretches_agree_with_a_plain_recomputation(
    sample: sessionmaker[Session], files: Files, verdicts: dict[tuple[str, str, str], str]
) -> None:
    frame = audit.audit_suspect(sample, as_of=LAST_DAY, known_on=LOADED)

    columns = ["serial", "visit_ref", "last_good_ref", "ended_by_ref"]
    drifted = frame[frame.reason == "out_of_tolerance"][columns].fillna("")
    found = set(drifted.itertuples(index=False, name=None))
    assert found == plain_windows(files, verdicts)
    assert len(found) == len(drifted) > 20


def test_own_tips_that_reached_the_record_agree_with_the_files(
    sample: sessionmaker[Session], files: Files
) -> None:
    expected = {}
    for check in files.gauge_checks:
        key = (check["visit_ref"], check["serial"])
        tips = sum(
            int(run["tips"]) for run in files.tip_runs if (run["visit_ref"], run["serial"]) == key
        )
        manual = sum(
            int(float(reading["value"]))
            for reading in files.switch_readings
            if (reading["visit_ref"], reading["serial"]) == key and reading["kind"] == "manual_tips"
        )
        if tips + manual and not check["isolated_at"]:
            expected[key] = tips + manual

    frame = audit.audit_exclusions(sample, as_of=LAST_DAY, known_on=LOADED)

    made = frame[frame.reason == "test_tips"]
    assert {(r.visit_ref, r.serial): r.tips_expected for r in made.itertuples()} == expected
    assert {"V26-0067", "V26-0178"} <= {ref for ref, _ in expected}
    isolated = {row["visit_ref"] for row in files.gauge_checks if row["isolated_at"]}
    assert set(frame[frame.reason == "isolated"].visit_ref) == isolated


def test_checks_that_rest_on_a_bad_device_agree_with_the_files(
    sample: sessionmaker[Session], files: Files
) -> None:
    since = date(2026, 1, 22)
    used = {
        (row["visit_ref"], row["serial"])
        for row in (*files.tip_runs, *files.switch_readings)
        if row["device_code"] == "K1-800" and files.day(row["visit_ref"]) >= since
    }

    frame = audit.ask_records(
        sample, TAINTED, Ask(LAST_DAY, since=since, codes=("K1-800",)), known_on=LOADED
    ).frame

    assert set(frame[["visit_ref", "serial"]].itertuples(index=False, name=None)) == used
    assert len(used) > 10


def test_devices_due_agree_with_the_files(sample: sessionmaker[Session], files: Files) -> None:
    ends = {
        device["device_code"]: max(
            row["valid_until"]
            for row in files.certificates
            if row["device_code"] == device["device_code"]
        )
        for device in files.devices
    }

    frame = audit.ask_records(sample, DUE, Ask(LAST_DAY, days=60)).frame

    assert set(frame.device_code) == {code for code, end in ends.items() if end <= "2027-01-19"}
    assert frame.device_code[0] == "K1-800"


@pytest.mark.parametrize(
    ("serial", "sites"),
    [("S.1262", ["LI04", "PE06"]), ("000461", ["SE02", "BR06"]), ("H0120", [])],
)
def test_life_of_a_serial_names_every_site_where_it_stood(
    sample: sessionmaker[Session], serial: str, sites: list[str]
) -> None:
    frame = audit.audit_serial(sample, serial, as_of=LAST_DAY)

    assert frame[frame.event == "stood"].site_code.tolist() == sites
