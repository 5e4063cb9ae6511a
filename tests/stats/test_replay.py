"""The replay sees no day too far: prefixes, tampering, and the ranking's own figures."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date, timedelta

import pytest

from fleet.domain.audit.evidence import AuditedGauge, Evidence
from fleet.domain.code import PolicyScope
from fleet.domain.history import GaugeHistory
from fleet.domain.policy import PolicyBook, PolicyRow, PolicyTerms
from fleet.domain.state import derive_state
from fleet.stats.fleet_model import fit_fleet
from fleet.stats.ranking import rank_states
from fleet.stats.replay import CAUSES, known_outcomes, replay
from fleet.stats.score_card import score_cause
from tests.stats.fleet_factory import POLICY
from tests.stats.model_world import START, draw_histories

TERMS = PolicyTerms(**{field.name: getattr(POLICY, field.name) for field in fields(PolicyTerms)})
BOOK = PolicyBook([PolicyRow(PolicyScope.NETWORK, "", date(2000, 1, 1), TERMS, "test")])
CUT = date(2021, 3, 15)


def evidence_of(histories: list[GaugeHistory], removed_on: date | None = None) -> Evidence:
    gauges = tuple(AuditedGauge(history, "", removed_on=removed_on) for history in histories)
    return Evidence(gauges, BOOK)


@pytest.fixture(scope="module")
def histories() -> list[GaugeHistory]:
    return draw_histories(25, seed=5)


@pytest.fixture(scope="module")
def forecasts(histories):
    return replay(evidence_of(histories))


def cut(history: GaugeHistory, before: date) -> GaugeHistory:
    return replace(history, records=tuple(r for r in history.records if r.visited_on < before))


def figures(forecasts, before: date):
    return [
        (f.record.visit_ref, f.audited.gauge.serial, f.probability)
        for f in forecasts
        if f.record.visited_on < before
    ]


def test_every_check_after_the_installation_is_forecast_once(histories, forecasts):
    checks = [
        (record.visited_on, history.gauge.site_code)
        for history in histories
        for record in history.records
        if record.visited_on > START
    ]

    seen = [(f.record.visited_on, f.audited.gauge.site_code) for f in forecasts]
    assert seen == sorted(checks)
    assert len(seen) > 50


def test_forecasts_do_not_change_when_later_records_go(histories, forecasts):
    before = replay(evidence_of([cut(history, CUT) for history in histories]))

    assert figures(before, CUT) == figures(forecasts, CUT)
    assert len(before) > 10


def test_forecast_does_not_know_what_its_own_day_found(histories, forecasts):
    last = max(record.visited_on for history in histories for record in history.records)
    tampered = [
        replace(
            history,
            records=tuple(
                replace(r, blocked_found=True, as_found=None) if r.visited_on == last else r
                for r in history.records
            ),
        )
        for history in histories
    ]

    again = replay(evidence_of(tampered))

    assert [f.probability for f in again] == [f.probability for f in forecasts]
    assert again[-1].found.unfit is True


def test_probabilities_are_those_of_the_ranking_on_the_records_before(histories, forecasts):
    forecast = next(f for f in forecasts if f.record.visited_on > CUT)
    day = forecast.record.visited_on
    fleet = [cut(history, day.replace(day=1)) for history in histories]
    model = fit_fleet([derive_state(history) for history in fleet])
    (own,) = [h for h in histories if h.gauge.serial == forecast.audited.gauge.serial]

    (row,) = rank_states([derive_state(cut(own, day))], [POLICY], model, as_of=day)

    assert forecast.probability["drift"] == pytest.approx(row.p_drift)
    assert forecast.probability["blockage"] == pytest.approx(row.p_blockage)
    assert forecast.probability["switch"] == pytest.approx(row.p_switch)
    fit = (1 - row.p_drift) * (1 - row.p_blockage) * (1 - row.p_switch)
    assert forecast.probability["unfit"] == pytest.approx(1 - fit)
    assert (forecast.age_days, forecast.interval_days) == (row.age_days, 180)


def test_gauge_left_off_its_logger_is_not_forecast_unfit_for_that(histories):
    off = [
        replace(h, records=tuple(replace(r, restoration_proven=None) for r in h.records))
        for h in histories
    ]

    assert max(f.probability["unfit"] for f in replay(evidence_of(off))) < 0.999


def test_gauge_no_longer_teaches_after_its_removal(histories):
    gone = evidence_of(histories[:12], removed_on=START + timedelta(200))
    standing = evidence_of(histories[12:])

    both = replay(Evidence((*gone.gauges, *standing.gauges), BOOK))

    late = {f.record.visit_ref + f.audited.gauge.serial: f for f in both}
    for forecast in replay(standing):
        if forecast.record.visited_on > START + timedelta(260):
            same = late[forecast.record.visit_ref + forecast.audited.gauge.serial]
            assert same.probability == forecast.probability


def test_replay_of_nothing_is_empty():
    assert replay(evidence_of([])) == []


def test_known_outcomes_leave_out_checks_that_do_not_tell(forecasts):
    told, outcome = known_outcomes(forecasts, "drift")

    assert [f.found.drift for f in told] == outcome.tolist()
    assert len(told) == sum(f.found.drift is not None for f in forecasts) < len(forecasts)


def test_card_of_each_cause_agrees_with_plain_sums(forecasts):
    scored = [f for f in forecasts if f.record.visited_on >= CUT]

    for cause in CAUSES:
        card = score_cause(forecasts, cause, scored=scored, seed=1)

        told = [f for f in scored if getattr(f.found, cause) is not None]
        hits = [bool(getattr(f.found, cause)) for f in told]
        brier = sum((f.probability[cause] - y) ** 2 for f, y in zip(told, hits, strict=True))
        assert (card.checks, card.found) == (len(told), sum(hits))
        assert card.expected == pytest.approx(sum(f.probability[cause] for f in told))
        assert card.lines["brier"].ours == pytest.approx(brier / len(told))
        assert sum(b.seen.trials for b in card.bins) == card.checks


def test_base_rate_of_a_card_is_that_of_the_months_before(forecasts):
    scored = [f for f in forecasts if f.record.visited_on >= CUT]
    told = [f for f in forecasts if f.found.blockage is not None]
    losses = []
    for forecast in scored:
        first = forecast.record.visited_on.replace(day=1)
        earlier = [f.found.blockage for f in told if f.record.visited_on < first]
        rate = (sum(earlier) + 1) / (len(earlier) + 2)
        losses.append((rate - forecast.found.blockage) ** 2)

    card = score_cause(forecasts, "blockage", scored=scored, seed=1)

    assert card.lines["brier"].base_rate == pytest.approx(sum(losses) / len(losses))


def test_card_says_whether_there_is_enough_evidence(forecasts):
    card = score_cause(forecasts, "unfit", scored=forecasts, seed=1)

    assert card.enough
    assert not replace(card, checks=29).enough
    assert not replace(card, found=4).enough
    assert not replace(card, found=card.checks - 4).enough
