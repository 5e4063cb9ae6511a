"""Hold the forecasts against the network's own history: what they said, and what was found."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.evidence import Ask
from fleet.domain.code import VisitPurpose
from fleet.errors import TooFewPointsError
from fleet.services.audit_evidence import RecordsAsked, gather_evidence
from fleet.stats.replay import CAUSES, CheckForecast, replay
from fleet.stats.score_card import CauseCard, score_cause
from fleet.store.queries.crew import depot

BURN_IN_DAYS = 365
"""The first year of records teaches and is not scored: a choice of this program."""


@dataclass(frozen=True, slots=True)
class BacktestOrder:
    """What to replay: checks from ``since`` (None is after the burn-in) to ``as_of``.

    The whole network teaches in any case; ``depot_code`` names whose checks are scored. Repairs
    are scored only where ``repairs`` says so: somebody went because a fault was known, which no
    earlier record tells.
    """

    as_of: date
    since: date | None = None
    known_on: datetime | None = None
    depot_code: str | None = None
    repairs: bool = False
    seed: int = 1


@dataclass(frozen=True, slots=True)
class Backtest:
    """Checks from ``since`` on with their forecasts, and a score card for each cause.

    ``undecided`` of the checks told neither fit nor unfit; causes that no check tells of have no
    card. ``repairs`` were left out, ``repairs_unfit`` of them with a gauge found unfit.
    """

    since: date
    as_of: date
    replayed: int
    checks: tuple[CheckForecast, ...]
    undecided: int
    repairs: int
    repairs_unfit: int
    cards: tuple[CauseCard, ...]


def backtest(sessions: sessionmaker[Session], order: BacktestOrder) -> Backtest:
    """Replay the network's history and score the forecasts.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head; only read from.
    order : BacktestOrder
        What to replay.

    Returns
    -------
    Backtest
        The same for the same records and seed.

    Raises
    ------
    NotFoundError
        There is no such depot.
    TooFewPointsError
        No check falls into the time asked about, or none of them has a verdict.

    Notes
    -----
    Corrected records are replayed as they are known on ``known_on``, not as they were known on
    the day of each check. See `fleet.stats.replay.replay` for what each forecast rests on.
    """
    if order.depot_code is not None:
        with sessions() as session:
            depot(session, order.depot_code, known_on=order.known_on)
    asked = RecordsAsked(known_on=order.known_on)
    forecasts = replay(gather_evidence(sessions, Ask(order.as_of), asked=asked))
    since = order.since or _after_burn_in(forecasts, order.as_of)
    asked_about = [f for f in forecasts if _is_asked(f, since, order.depot_code)]
    left_out = [f for f in asked_about if not _counts(f, order)]
    checks = tuple(f for f in asked_about if _counts(f, order))
    if not any(check.found.unfit is not None for check in checks):
        raise TooFewPointsError(
            f"No check with a verdict as found counts from {since} to {order.as_of}; "
            f"{len(forecasts)} were replayed. Name an earlier day with --from; without it the "
            "first year of records only teaches."
        )
    return Backtest(
        since=since,
        as_of=order.as_of,
        replayed=len(forecasts),
        checks=checks,
        undecided=sum(check.found.unfit is None for check in checks),
        repairs=len(left_out),
        repairs_unfit=sum(check.found.unfit is True for check in left_out),
        cards=tuple(_cards([f for f in forecasts if _counts(f, order)], checks, order.seed)),
    )


def _after_burn_in(forecasts: Sequence[CheckForecast], as_of: date) -> date:
    first = forecasts[0].record.visited_on if forecasts else as_of
    return first + timedelta(BURN_IN_DAYS)


def _is_asked(forecast: CheckForecast, since: date, depot_code: str | None) -> bool:
    of_depot = depot_code in (None, forecast.audited.gauge.depot_code)
    return of_depot and forecast.record.visited_on >= since


def _counts(forecast: CheckForecast, order: BacktestOrder) -> bool:
    return order.repairs or forecast.record.purpose is not VisitPurpose.REPAIR


def _cards(
    forecasts: Sequence[CheckForecast], checks: Sequence[CheckForecast], seed: int
) -> Iterator[CauseCard]:
    for cause in CAUSES:
        if any(check.outcome(cause) is not None for check in checks):
            yield score_cause(forecasts, cause, scored=checks, seed=seed)
