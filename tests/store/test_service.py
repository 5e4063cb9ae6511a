"""What is read of the newest visits alone says the same as the fold of whole histories."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import date, datetime, timedelta

import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.evidence import Ask, AuditedGauge
from fleet.services.audit_evidence import RecordsAsked, gather_evidence
from fleet.services.audit_question import ATTEMPTS, LEFT_DISCONNECTED, NEVER_VERIFIED
from fleet.store.queries.gauge import installed_count
from fleet.store.queries.history import gauge_histories
from fleet.store.queries.place import sites
from fleet.store.queries.service import last_services, services_told
from fleet.store.rehearsal import rehearsal
from fleet.store.session import make_sessions
from tests.domain.audit.ground import last_service, service_told
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


@by_seeds
def test_last_services_are_those_of_the_fold(seeds, empty_engine):
    services_seen = attempts_seen = 0
    for tried, as_of, known_on in each_world(empty_engine, seeds):
        with tried() as session:
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
        services_seen += sum(one.visit_ref is not None for one in told.values())
        attempts_seen += sum(one.failed_attempts > 0 for one in told.values())

    assert services_seen > 10
    assert attempts_seen > 10


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
