"""Many rows at once, on both databases: every kind of value comes back, every constraint holds."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from sqlalchemy import Engine, select, text
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.code import VisitOutcome, VisitPurpose
from fleet.store.bulk import ENOUGH_TO_COPY, refresh_statistics
from fleet.store.journal import Wish, writing
from fleet.store.migrate import upgrade
from fleet.store.models.site import Site
from fleet.store.models.visit import Visit, VisitVersion
from fleet.store.session import make_sessions
from fleet.store.verify import verify_ledger

MANY = ENOUGH_TO_COPY + 50
WISH = Wish(actor="tester", action="test", reason="because")
NOTE = 'tab\there, line\nthere, back\\slash, \\N, "quotes", þ麻'


@pytest.fixture
def sessions(bare_engine: Engine) -> sessionmaker[Session]:
    upgrade(bare_engine)
    return make_sessions(bare_engine)


def visit_rows(visit_ids: list[int]) -> list[dict[str, object]]:
    arrived = datetime(2025, 6, 2, 9, 0, tzinfo=timezone(timedelta(hours=1)))
    return [
        {
            "visit_id": visit_id,
            "site_id": 1,
            "arrived_at": arrived + timedelta(minutes=visit_id),
            "departed_at": arrived + timedelta(minutes=visit_id + 90),
            "visited_on": date(2025, 6, 2),
            "utc_offset_minutes": 60,
            "purpose": VisitPurpose.ROUTINE,
            "outcome": VisitOutcome.DONE,
            "not_done_reason": None,
            "note": NOTE if visit_id == 7 else None,
        }
        for visit_id in visit_ids
    ]


def test_many_rows_come_back_as_they_were_given(sessions, clock):
    with writing(sessions, WISH, clock) as work:
        work.add(Site, [{"code": "S01"}])
        visits = work.add(Visit, [{"code": f"V{number}"} for number in range(MANY)])
        work.add(VisitVersion, visit_rows(visits))

    with sessions() as session:
        rows = session.execute(select(VisitVersion).order_by(VisitVersion.id)).scalars().all()
        assert verify_ledger(session) == []
    assert len(rows) == 250
    assert rows[6].note == NOTE
    assert rows[7].note is None
    assert rows[249].arrived_at == datetime(2025, 6, 2, 12, 10, tzinfo=UTC)
    assert rows[0].outcome is VisitOutcome.DONE
    assert rows[0].known_from == clock.at


def test_many_rows_of_which_one_breaks_a_constraint_are_refused_whole(sessions, clock):
    codes = [{"code": f"V{number}"} for number in range(MANY)]

    with pytest.raises(IntegrityError), writing(sessions, WISH, clock) as work:
        work.add(Visit, [*codes, {"code": "V7"}])

    with sessions() as session:
        assert session.execute(select(Visit.id)).all() == []
        assert verify_ledger(session) == []


def test_unknown_column_is_refused(sessions, clock):
    with (
        pytest.raises(ValueError, match="Site has no column colour"),
        writing(sessions, WISH, clock) as work,
    ):
        work.add(Site, [{"code": "S01"}, {"code": "S02", "colour": "red"}])


def test_column_that_is_not_given_is_null(sessions, clock):
    with writing(sessions, WISH, clock) as work:
        work.add(Site, [{"code": "S01"}])
        work.add(Visit, [{"code": "V0"}])
        given = {name: [value] for name, value in visit_rows([1])[0].items() if value is not None}
        ids = work.add_columns(VisitVersion, given, count=1)

    assert ids == range(1, 2)
    with sessions() as session:
        (row,) = session.execute(select(VisitVersion)).scalars()
        assert verify_ledger(session) == []
    assert (row.note, row.not_done_reason, row.known_until) == (None, None, None)


def test_statistics_are_fresh_once_a_table_has_grown_much(sessions, clock, dialect):
    with writing(sessions, WISH, clock) as work:
        work.add(Visit, [{"code": f"V{number}"} for number in range(300)])
        work.add(Site, [{"code": "S01"}])
        refresh_statistics(work.session, {"visit": 10_000, "site": 9_999})

    if dialect == "postgresql":
        with sessions() as session:
            seen = session.execute(
                text("SELECT relname, reltuples FROM pg_class WHERE relname IN ('site', 'visit')")
            )
            assert dict(seen.all()) == {"site": -1, "visit": 300}
