"""What is read of the newest visits alone says the same as the fold of whole histories."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.evidence import Ask, AuditedGauge
from fleet.domain.audit.kept import ServiceTold
from fleet.domain.code import NotDoneReason, VisitOutcome, VisitPurpose
from fleet.services.audit_evidence import RecordsAsked, gather_evidence
from fleet.services.audit_question import ATTEMPTS, LEFT_DISCONNECTED, NEVER_VERIFIED
from fleet.store.journal import Wish, writing
from fleet.store.models.instrument import Instrument
from fleet.store.models.site import Site
from fleet.store.models.visit import GaugeCheck, Visit, VisitVersion
from fleet.store.queries.gauge import installed_count
from fleet.store.queries.history import gauge_histories
from fleet.store.queries.place import sites
from fleet.store.queries.service import last_services, services_told
from fleet.store.rehearsal import rehearsal
from fleet.store.session import make_sessions
from tests.conftest import load_into
from tests.domain.audit.ground import last_service, service_told
from tests.factories import TODAY, FrozenClock, InputFolder
from tests.store.past_world import DAYS, FIRST_DAY, KNOWN_ON, write_world

Sessions = sessionmaker[Session]

DATES_A_WORLD = 6

by_seeds = pytest.mark.parametrize(
    "seeds",
    [
        pytest.param(range(5), id="few"),
        pytest.param(range(5, 200), marks=pytest.mark.long, id="many"),
    ],
)


def each_world(engine: Engine, seeds: range) -> Iterator[tuple[Sessions, date, datetime | None]]:
    """Give the records of each seed with some dates to ask about, and take them back."""
    for seed in seeds:
        dice = random.Random(f"dates {seed}")
        with rehearsal(make_sessions(engine)) as tried:
            write_world(tried, seed)
            for _ in range(DATES_A_WORLD):
                day = FIRST_DAY + timedelta(days=dice.randint(-1, DAYS + 1))
                yield tried, day, dice.choice(KNOWN_ON)


def told_as_by_the_fold(
    sessions: Sessions, as_of: date, known_on: datetime | None = None
) -> dict[str, ServiceTold]:
    """Hold what is read against the fold of whole histories and give it by serial."""
    with sessions() as session:
        histories = gauge_histories(session, as_of=as_of, known_on=known_on)
        services = last_services(session, as_of=as_of, known_on=known_on)
        ids = [last.installation_id for last in services]
        told = services_told(session, ids, as_of=as_of, known_on=known_on)
        names = {c: one.name for c, one in sites(session, known_on=known_on).items()}
        count = installed_count(session, as_of=as_of, known_on=known_on)

    folded = {history.gauge.installation_id: last_service(history) for history in histories}
    assert services == [folded[number] for number in sorted(folded)]
    assert told == {
        history.gauge.installation_id: service_told(
            AuditedGauge(history, names[history.gauge.site_code])
        )
        for history in histories
    }
    assert count == len(histories)
    return {one.serial: one for one in told.values()}


@by_seeds
def test_last_services_are_those_of_the_fold(seeds, empty_engine):
    services_seen = attempts_seen = 0
    for tried, as_of, known_on in each_world(empty_engine, seeds):
        told = told_as_by_the_fold(tried, as_of, known_on)
        services_seen += sum(one.visit_ref is not None for one in told.values())
        attempts_seen += sum(one.failed_attempts > 0 for one in told.values())

    assert services_seen > 10
    assert attempts_seen > 10


def test_last_service_of_a_day_is_the_one_that_came_later(loaded_engine, tmp_path):
    sessions = make_sessions(loaded_engine)
    day = "2025-05-30"
    more = InputFolder()
    for ref, hour in (("V201", 14), ("V202", 8)):
        arrived, departed = (f"{day}T{hour:02}:{minute}+01:00" for minute in ("00", "40"))
        more.visit(ref, "S01", day, arrived_at=arrived, departed_at=departed)
        more.check(ref, "00417", isolated_at=None, restored_at=None, proven=None)
    load_into(sessions, FrozenClock(), tmp_path / "more")(more)

    assert told_as_by_the_fold(sessions, TODAY)["00417"].visit_ref == "V201"


def test_attempt_at_the_gauge_that_made_room_that_day_counts(loaded_engine):
    """Visit V007 of 2024-09-10 swapped 00419 for 00420 and serviced it; the attempt came later."""
    sessions = make_sessions(loaded_engine)
    day = date(2024, 9, 10)
    clock = FrozenClock()
    clock.move(days=1)
    with writing(sessions, Wish("tester", "try", ""), clock) as work:
        find = work.session.scalar
        site = find(select(Site.id).where(Site.code == "S03"))
        gone = find(select(Instrument.id).where(Instrument.code == "00419"))
        [visit] = work.add(Visit, [{"code": "V203"}])
        at = datetime(2024, 9, 10, 20, 0, tzinfo=UTC)
        row = {"visit_id": visit, "site_id": site, "visited_on": day, "arrived_at": at}
        times = {"departed_at": at + timedelta(hours=1), "utc_offset_minutes": 60}
        words = {
            "purpose": VisitPurpose.ROUTINE,
            "outcome": VisitOutcome.NOT_DONE,
            "not_done_reason": NotDoneReason.NO_ACCESS,
        }
        [version] = work.add(VisitVersion, [{**row, **times, **words}])
        check = {"visit_version_id": version, "instrument_id": gone}
        work.add(GaugeCheck, [{**check, "cleaned": False, "adjusted": False}])

    assert told_as_by_the_fold(sessions, day)["00420"].failed_attempts == 1


@by_seeds
def test_sites_left_unread_have_no_row(seeds, empty_engine):
    rows_seen = dict.fromkeys((NEVER_VERIFIED, LEFT_DISCONNECTED, ATTEMPTS), 0)
    sites_unread = 0
    for tried, as_of, known_on in each_world(empty_engine, seeds):
        ask = Ask(as_of)
        every = gather_evidence(tried, ask, asked=RecordsAsked(known_on))
        for question in rows_seen:
            some = gather_evidence(tried, ask, asked=RecordsAsked(known_on, about=question.about))

            rows = question.rule(every, ask)
            assert question.rule(some, ask) == rows
            assert all(audited in every.gauges for audited in some.gauges)
            rows_seen[question] += len(rows)
            sites_unread += len(every.gauges) > len(some.gauges)

    assert min(rows_seen.values()) > 2
    assert sites_unread > 10
