"""Stretches of time in which a gauge's record is in doubt: from what was last good to the mend."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from fleet.domain.audit.evidence import AuditedGauge
from fleet.domain.code import Phase
from fleet.domain.history import CheckRecord


@dataclass(frozen=True, slots=True)
class Sight:
    """What one phase of a check showed of one fault: good, or not; ``error_percent`` if measured.

    ``grave`` tells that what was shown goes beyond the policy's reject limit.
    """

    at: datetime
    record: CheckRecord
    phase: Phase
    good: bool
    error_percent: float | None = None
    grave: bool = False


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch from the last good sight to the next good one, with the bad ones within.

    ``last_good`` is None where the gauge was never seen good since its installation; ``until``
    is None while nothing ended it, and ``ended_by`` where no check did.
    """

    since: datetime
    until: datetime | None
    bad: tuple[Sight, ...]
    last_good: Sight | None = None
    ended_by: Sight | None = None


def windows_of(
    sights: Iterable[Sight], *, stood_from: datetime, stood_until: datetime | None
) -> Iterator[Window]:
    """Give the stretches in doubt.

    Parameters
    ----------
    sights : iterable of Sight
        Of one gauge and one fault, in order of time. What shows neither good nor bad is none.
    stood_from, stood_until : datetime
        Between which the gauge stood there; the end is None while it stands.

    Yields
    ------
    Window
        In order of time. A bad sight doubts everything since the last good one.
    """
    last_good: Sight | None = None
    bad: list[Sight] = []
    for sight in sights:
        if not sight.good:
            bad.append(sight)
            continue
        if bad:
            since = stood_from if last_good is None else last_good.at
            yield Window(since, sight.at, tuple(bad), last_good, sight)
            bad = []
        last_good = sight
    if bad:
        since = stood_from if last_good is None else last_good.at
        until = None if stood_until is None else max(stood_until, bad[-1].at)
        yield Window(since, until, tuple(bad), last_good)


def day_start(audited: AuditedGauge, day: date) -> datetime:
    """Give the instant in UTC at which a day begins at the gauge's place."""
    return datetime.combine(day, time.min, tzinfo=ZoneInfo(audited.time_zone)).astimezone(UTC)
