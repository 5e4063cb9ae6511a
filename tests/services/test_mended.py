"""Follow-ups closed by the visit that mended them, in the visit's own ledger entry.

F001 waits at S03 (gauge 00420), F002 was closed at S01 by V003, in `tests.small_network`.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from sqlalchemy.orm import Session, sessionmaker

from fleet.errors import ConflictError
from fleet.services.follow_up import list_follow_ups
from fleet.services.ledger import read_entry
from fleet.services.record_visit import record_file
from fleet.services.recorded_visits import RecordedVisits
from fleet.services.verify import verify_records
from fleet.store.journal import Wish
from tests.factories import TODAY, FrozenClock, InputFolder

Sessions = sessionmaker[Session]


@pytest.fixture
def visit() -> InputFolder:
    """A visit to S03 that looked after 00420."""
    folder = InputFolder().visit("V200", "S03", "2025-05-27", technicians="T01 T02")
    return folder.check("V200", "00420", found=(40, 40), left=(40, 40), closed_ohm=0.4)


class Recorder:
    def __init__(self, sessions: Sessions, clock: FrozenClock, folder: Path) -> None:
        self.sessions, self.clock, self.folder = sessions, clock, folder

    def __call__(self, source: InputFolder, *mends: str, dry_run: bool = False) -> RecordedVisits:
        wish = Wish("tester", "visit record", "", dry_run)
        path = source.write(self.folder)
        return record_file(self.sessions, path, wish, clock=self.clock, today=TODAY, mends=mends)

    def open(self) -> list[str]:
        return list_follow_ups(self.sessions, as_of=TODAY).follow_up_ref.tolist()


@pytest.fixture
def record(loaded: Sessions, clock: FrozenClock, tmp_path: Path) -> Recorder:
    clock.move(days=1)
    return Recorder(loaded, clock, tmp_path / "visit")


def test_visit_closes_what_it_mended_in_one_ledger_entry(
    record: Recorder, loaded: Sessions, visit: InputFolder
) -> None:
    recorded = record(visit, "F001")

    assert "F001" not in record.open()
    closed = list_follow_ups(loaded, as_of=TODAY, closed_too=True).set_index("follow_up_ref")
    assert closed.loc["F001", "closed_by_visit"] == "V200"
    assert closed.loc["F001", "closed_on"] == date(2025, 5, 27)
    told = [line for line in recorded.lines if line.subject == "follow_up"]
    assert [(line.visit_ref, line.result, line.reason) for line in told] == [
        ("V200", "closed", "F001")
    ]
    entry, changes = read_entry(loaded, 2)
    assert entry.action == "visit record"
    assert set(changes.table) >= {"follow_up_version", "visit_version", "tip_run"}
    fields = changes[changes.kind == "superseded"]
    assert fields[["key", "field", "new"]].to_numpy().tolist() == [
        ["F001", "closed_by_visit", "V200"],
        ["F001", "closed_on", "2025-05-27"],
    ]
    assert verify_records(loaded).faults == ()


def test_recording_the_same_visit_again_changes_nothing(
    record: Recorder, loaded: Sessions, visit: InputFolder
) -> None:
    record(visit, "F001")

    record(visit, "F001")

    assert verify_records(loaded).entries == 2


def test_visit_recorded_before_may_close_a_follow_up_afterwards(
    record: Recorder, visit: InputFolder
) -> None:
    record(visit)
    assert "F001" in record.open()

    record(visit, "F001")

    assert "F001" not in record.open()


def test_dry_run_shows_the_closing_and_takes_it_back(record: Recorder, visit: InputFolder) -> None:
    recorded = record(visit, "F001", dry_run=True)

    assert recorded.lines[-1].result == "closed"
    assert "F001" in record.open()


def test_every_follow_up_that_cannot_be_closed_is_told_and_nothing_is_written(
    record: Recorder, loaded: Sessions, visit: InputFolder
) -> None:
    with pytest.raises(ConflictError) as caught:
        record(visit, "F001", "F002", "F999")

    assert str(caught.value).splitlines() == [
        "Nothing was written.",
        "F002 is about site S01, where none of these visits did anything.",
        "There is no follow-up 'F999'. List them with: fleet follow-up list --all",
    ]
    assert verify_records(loaded).entries == 1


def test_follow_up_closed_by_another_visit_stays_as_it_is(
    record: Recorder, loaded: Sessions
) -> None:
    visit = InputFolder().visit("V201", "S01", "2025-05-27").check("V201", "00417")

    with pytest.raises(ConflictError, match=r"F002 was closed on 2025-01-14 by visit V003 already"):
        record(visit, "F002")


def test_visit_that_was_not_done_mends_nothing(record: Recorder) -> None:
    visit = InputFolder().visit("V202", "S03", "2025-05-27", outcome="not_done")
    visit.change("visits", {"visit_ref": "V202"}, not_done_reason="weather")

    with pytest.raises(ConflictError, match="none of these visits did anything"):
        record(visit, "F001")


def test_visit_before_the_follow_up_was_raised_cannot_have_mended_it(record: Recorder) -> None:
    visit = InputFolder().visit("V203", "S03", "2025-02-11").check("V203", "00420")

    with pytest.raises(ConflictError, match="raised on 2025-03-11, after visit V203"):
        record(visit, "F001")


def test_two_visits_at_the_site_have_to_be_told_apart(record: Recorder, visit: InputFolder) -> None:
    visit.visit("V204", "S03", "2025-05-28").check("V204", "00420")

    with pytest.raises(ConflictError, match=r"several of these visits were \(V200 V204\)"):
        record(visit, "F001")


def test_what_is_still_open_at_the_site_is_told_with_how_to_close_it(
    record: Recorder, visit: InputFolder
) -> None:
    waits, done = record(visit).notes, record(visit, "F001").notes

    assert waits[-1] == (
        "Still open at S03 (next visit): switch at 3.5 ohm, take a spare. Needs: reed switch. If "
        "this visit mended it: fleet follow-up close F001 --visit V200 --reason TEXT"
    )
    assert not any("Still open" in note for note in done)
