"""The evidence pack of the small network: what is inside, and that it is always the same."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pypdf
import pytest
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.curve import in_date_curve
from fleet.domain.audit.evidence import Ask
from fleet.domain.audit.share import Measure, share_counts
from fleet.errors import NotFoundError
from fleet.reports.pack_pdf import Pack, pack_pdf
from fleet.reports.table import render_text
from fleet.services.audit import ask_records
from fleet.services.audit_evidence import RecordsAsked, gather_evidence
from fleet.services.audit_question import OUT_OF_TOLERANCE, OVERDUE, SUSPECT
from fleet.services.pack import PACK_QUESTIONS, PackOrder, gather_pack
from fleet.services.pack_chart import _fan_point
from fleet.services.pack_manifest import ledger_head
from fleet.services.question import HISTORIES, Use
from fleet.services.ranking import rank_network
from fleet.stats.clock import PLAIN, Clock
from fleet.stats.fleet_model import FleetModel
from fleet.stats.ranking import rank_states
from tests.command_line import CommandLine
from tests.conftest import Load
from tests.factories import TODAY, InputFolder
from tests.stats.fleet_factory import AUTUMN, drifting_by

Sessions = sessionmaker[Session]
USES = HISTORIES | {Use.SERVICES}
BEFORE_AMENDING = datetime(2025, 6, 2, 12, 0, tzinfo=UTC)
ORDER = PackOrder(TODAY, "Evidence pack", "fleet audit pack --as-of 2025-06-02")


@pytest.fixture
def pack(loaded: Sessions) -> Pack:
    return gather_pack(loaded, ORDER)


def file_of(pack: Pack, name: str) -> str:
    return next(file.content for file in pack.files if file.name == name)


def test_pack_holds_a_file_a_question_the_charts_the_records_and_the_manifest(pack: Pack) -> None:
    names = [file.name for file in pack.files]

    assert names[:2] == ["audit-overdue.csv", "audit-out-of-tolerance.csv"]
    assert names[-5:] == ["in-date.csv", "gauge-1.csv", "lives.csv", "records.csv", "manifest.json"]
    assert len(names) == len(PACK_QUESTIONS) + 5
    assert len(pack.sections) == len(PACK_QUESTIONS)


def test_tables_inside_are_those_that_the_questions_give(pack: Pack, loaded: Sessions) -> None:
    for question, name in ((OVERDUE, "audit-overdue.csv"), (SUSPECT, "audit-suspect.csv")):
        frame = ask_records(loaded, question, Ask(TODAY)).frame
        assert file_of(pack, name) == render_text(frame, "csv")


def test_records_inside_back_every_visit_that_an_answer_names(pack: Pack) -> None:
    records = list(csv.DictReader(io.StringIO(file_of(pack, "records.csv"))))
    rows = csv.DictReader(io.StringIO(file_of(pack, "audit-out-of-tolerance.csv")))

    backed = {(row["visit_ref"], row["serial"]) for row in records}
    assert {(row["visit_ref"], row["serial"]) for row in rows} <= backed
    assert {row["certificate_number"] for row in records} >= {"D01/1", "D03/1"}


def test_manifest_names_ledger_version_dates_command_and_hashes(
    pack: Pack, loaded: Sessions
) -> None:
    manifest = json.loads(file_of(pack, "manifest.json"))

    assert manifest["as_of"] == "2025-06-02"
    assert manifest["command"] == "fleet audit pack --as-of 2025-06-02"
    assert (manifest["ledger"]["entry"], manifest["ledger"]["at"]) == (
        1,
        "2025-06-02T08:00:00+00:00",
    )
    assert len(manifest["ledger"]["hash"]) == 64
    assert manifest["version"]
    for told, file in zip(manifest["files"], pack.files, strict=False):
        assert told["name"] == file.name
        assert told["sha256"] == sha256(file.content.encode()).hexdigest()
        assert told["bytes"] == len(file.content.encode())
    assert [told["name"] for told in manifest["files"]] == [f.name for f in pack.files[:-1]]


def test_pack_says_what_would_have_been_said_before_an_amendment(
    loaded: Sessions, network: InputFolder, amend: Load
) -> None:
    before = gather_pack(loaded, ORDER)
    run = {"visit_ref": "V005", "serial": "00418", "phase": "as_found", "run_number": 1}
    network.change("tip_runs", run, tips=39)
    amend(network.only("tip_runs", **run), reason="miscopied")

    now = gather_pack(loaded, ORDER)
    then = gather_pack(loaded, replace(ORDER, known_on=BEFORE_AMENDING))

    tables = {file.name: file.content for file in before.files if file.name != "manifest.json"}
    assert {f.name: f.content for f in then.files if f.name != "manifest.json"} == tables
    assert file_of(now, "audit-out-of-tolerance.csv") != tables["audit-out-of-tolerance.csv"]
    assert then.made_at == before.made_at < now.made_at


def test_page_says_from_when_until_when_a_record_is_in_doubt(pack: Pack) -> None:
    section = pack.sections[PACK_QUESTIONS.index(SUSPECT)]

    assert section.rows[0] == (
        "S02 main\n00418",
        "V005\n2024-11-12\nT01",
        "From 2024-05-14 09:20 until 2024-11-12 09:20 (UTC); suggested: adjust. Visit V005 found "
        "it out of tolerance (-10.0 %); last good at visit V004.",
    )
    assert section.rows[3][2].startswith("From 2025-05-07 08:10 until now (UTC); suggested: miss")


def test_gauges_drawn_are_the_farthest_out_unless_some_are_named(loaded: Sessions) -> None:
    by_itself = gather_pack(loaded, ORDER)
    named = gather_pack(loaded, replace(ORDER, serials=("A-031", "00419")))

    assert [figure.title for figure in by_itself.figures[1:]] == [
        "S02 Sarrow Weir, position main: gauge 00418"
    ]
    assert [figure.title for figure in named.figures[1:]] == [
        "S04 Hästvik, position main: gauge A-031",
        "S03 Þornhøy, position main: gauge 00419",
    ]
    assert [len(figure.drawings) for figure in named.figures] == [1, 2, 1]


def test_a_gauge_that_never_stood_anywhere_cannot_be_drawn(loaded: Sessions) -> None:
    with pytest.raises(NotFoundError, match="No gauge 'A-040' stood anywhere by 2025-06-02"):
        gather_pack(loaded, replace(ORDER, serials=("A-040",)))


def test_pack_of_an_empty_database_says_that_nothing_was_found(sessions: Sessions) -> None:
    pack = gather_pack(sessions, ORDER)

    assert {section.found for section in pack.sections} == {"Nothing was found."}
    assert pack.figures == ()
    assert pypdf.PdfReader(io.BytesIO(pack_pdf(pack, paper="a4"))).attachments


def test_pack_of_chosen_questions_holds_those_alone(loaded: Sessions) -> None:
    pack = gather_pack(loaded, replace(ORDER, questions=(OVERDUE,)))

    assert [file.name for file in pack.files] == [
        *("audit-overdue.csv", "in-date.csv", "lives.csv", "records.csv", "manifest.json")
    ]


def test_curve_says_what_the_summary_says_on_any_day(loaded: Sessions) -> None:
    evidence = gather_evidence(loaded, Ask(TODAY), asked=RecordsAsked(uses=USES))
    days = [TODAY - timedelta(days=31 * back) for back in range(20)]

    for point in in_date_curve(evidence, days):
        then = gather_evidence(loaded, Ask(point.day), asked=RecordsAsked(uses=USES))
        counts = [
            count
            for count in share_counts(then, Ask(point.day))
            if count.measure is Measure.IN_DATE and count.depot_code != "*"
        ]
        assert (point.in_date, point.standing) == (
            sum(count.hits for count in counts),
            sum(count.n for count in counts),
        )


@pytest.mark.parametrize("clock", [PLAIN, AUTUMN], ids=["flat", "by season"])
def test_fan_is_the_forecast_of_the_ranking_on_its_day(loaded: Sessions, clock: Clock) -> None:
    ranked = rank_network(loaded, as_of=TODAY)

    assert len(ranked) == 7
    for one in ranked:
        model = drifting_by(FleetModel({}, one.forecast.model), clock)
        (forecast,) = rank_states([one.state], [one.policy], model, as_of=TODAY)
        drift = forecast.drift
        start = TODAY - timedelta(days=drift.age_days)
        point = _fan_point(forecast, start, drift.age_days)
        assert point.day == TODAY
        assert point.middle == pytest.approx(drift.now)
        assert point.sd == pytest.approx(drift.now_sd)


def test_command_writes_the_same_bytes_at_another_time_and_place(
    fleet: CommandLine,
    loaded_database: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = []
    for number, zone in enumerate(("UTC", "Pacific/Apia")):
        folder = tmp_path / f"place {number}"
        folder.mkdir()
        database = Path(shutil.copyfile(loaded_database, folder / f"copy{number}.sqlite"))
        monkeypatch.setenv("TZ", zone)
        monkeypatch.setenv("FLEET_ACTOR", f"auditor {number}")
        monkeypatch.chdir(folder)
        later: Callable[[], datetime] = lambda: datetime(2031, 1, 1, tzinfo=UTC)  # noqa: E731
        if number:
            monkeypatch.setattr("fleet.clock.utc_now", later)
        path = folder / f"pack{number}.pdf"
        ran = fleet("audit", "pack", "--as-of", "2025-06-02", "--output", path, db=str(database))
        assert ran.exit_code == 0, ran.stderr
        assert f"SHA-256 {sha256(path.read_bytes()).hexdigest()}" in ran.stderr
        made.append(path.read_bytes())

    assert made[0] == made[1]


def test_command_prints_itself_without_the_place_of_files(
    fleet: CommandLine, loaded_settings: object, tmp_path: Path
) -> None:
    path = tmp_path / "it's here.pdf"
    url = loaded_settings.database_url  # type: ignore[attr-defined]

    ran = fleet(
        *("audit", "pack", "--output", path, "--gauge", "A-031", "--question", "overdue"),
        *("--title", "Year's end", "--as-of", "2025-06-02"),
        db=url,
    )

    manifest = json.loads(pypdf.PdfReader(path).attachments["manifest.json"][0])
    assert ran.exit_code == 0
    assert manifest["command"] == (
        "fleet audit pack --as-of 2025-06-02 --question overdue --gauge A-031 "
        "--title 'Year'\"'\"'s end' --paper a4"
    )


def test_command_refuses_a_file_that_is_no_pdf(fleet: CommandLine, tmp_path: Path) -> None:
    ran = fleet("audit", "pack", "--output", tmp_path / "pack.csv")

    assert ran.exit_code == 2
    assert "A pack is a PDF" in ran.stderr


def test_long_answers_are_cut_on_the_page_and_whole_inside(
    loaded: Sessions, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fleet.services.pack.ROWS_ON_PAPER", 1)
    order = replace(ORDER, since=date(2024, 1, 1), questions=(OUT_OF_TOLERANCE,))

    pack = gather_pack(loaded, order)

    assert len(pack.sections[0].rows) == 1
    assert pack.sections[0].more == "1 more in audit-out-of-tolerance.csv, inside this document."
    assert len(file_of(pack, "audit-out-of-tolerance.csv").splitlines()) == 3


def test_pack_does_not_see_what_is_written_while_it_is_made(
    loaded: Sessions, network: InputFolder, amend: Load, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = gather_pack(loaded, ORDER)
    head = ledger_head(loaded, known_on=None, as_of=TODAY)
    network.change("tip_runs", {"visit_ref": "V005"}, tips=40)
    amend(network.only("tip_runs", visit_ref="V005"), reason="miscopied")
    monkeypatch.setattr("fleet.services.pack.ledger_head", lambda *_, **__: head)

    meanwhile = gather_pack(loaded, ORDER)

    assert meanwhile.files == before.files
    assert pack_pdf(meanwhile, paper="a4") == pack_pdf(before, paper="a4")
