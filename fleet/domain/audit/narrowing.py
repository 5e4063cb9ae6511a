"""What shortens a stretch in doubt: the gauge's own counts, and its neighbours' rain."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

from fleet.domain.audit.doubt import CAUSES, Doubt
from fleet.domain.audit.evidence import AuditedGauge, Evidence
from fleet.domain.audit.window import Window, day_start
from fleet.domain.history import CheckRecord


@dataclass(frozen=True, slots=True)
class Narrowed:
    """A stretch as evidence leaves it, and in words what shortened it; None where nothing did."""

    window: Window
    words: str | None = None


def narrow(evidence: Evidence, audited: AuditedGauge, doubt: Doubt, window: Window) -> Narrowed:
    """Shorten a stretch in doubt by what is known of the days within it.

    Parameters
    ----------
    evidence : Evidence
        With ``counted_days`` and ``alarms``.
    audited : AuditedGauge
        Whose record it is.
    doubt : Doubt
        Why it is in doubt.
    window : Window
        The whole stretch.

    Returns
    -------
    Narrowed
        A gauge that counted rain was neither off its logger nor without a closing switch, so
        such a stretch begins (or, off the logger, ends) with a day on which rain was counted.
        Where the neighbours' rain speaks of the same cause, it begins with the first day on
        which that may have begun. Of several, the latest beginning counts.
    """
    if doubt is Doubt.OFF_LOGGER:
        return _heard_again(evidence, audited, window)
    found = [
        (day, words)
        for day, words in (
            *_own_count(evidence, audited, doubt, window),
            *_alarms(evidence, audited, doubt, window),
        )
        if window.since < day_start(audited, day) <= window.bad[0].at
    ]
    if not found:
        return Narrowed(window)
    day, words = max(found)
    return Narrowed(replace(window, since=day_start(audited, day)), words)


def _own_count(
    evidence: Evidence, audited: AuditedGauge, doubt: Doubt, window: Window
) -> Iterator[tuple[date, str]]:
    first = window.bad[0].record
    if doubt is not Doubt.SWITCH_FAILED or not _never_closes(first):
        return
    days = _days(evidence, audited)
    at = bisect_left(days, first.visited_on) - 1
    if at >= 0:
        yield days[at], f"its own record still counted rain on {days[at]}"


def _never_closes(record: CheckRecord) -> bool:
    return any(
        readings is not None and readings.no_closure
        for readings in (record.switch_found, record.switch_left)
    )


def _alarms(
    evidence: Evidence, audited: AuditedGauge, doubt: Doubt, window: Window
) -> Iterator[tuple[date, str]]:
    gauge = audited.gauge
    for alarm in evidence.alarms:
        here = (alarm.site_code, alarm.position) == (gauge.site_code, gauge.position)
        if here and CAUSES[doubt] in alarm.causes:
            word = alarm.alarm.replace("_", " ")
            yield (
                alarm.earliest_on,
                f"against its neighbours {word} since about {alarm.since_on}, "
                f"{alarm.earliest_on} at the earliest",
            )


def _heard_again(evidence: Evidence, audited: AuditedGauge, window: Window) -> Narrowed:
    days = _days(evidence, audited)
    at = bisect_right(days, window.bad[-1].record.visited_on)
    end = window.until or datetime.max.replace(tzinfo=UTC)
    if at == len(days) or day_start(audited, days[at]) >= end:
        return Narrowed(window)
    until = min(end, day_start(audited, days[at] + timedelta(days=1)))
    words = f"its own record counted rain again on {days[at]}"
    return Narrowed(replace(window, until=until, ended_by=None), words)


def _days(evidence: Evidence, audited: AuditedGauge) -> tuple[date, ...]:
    return evidence.counted_days.get((audited.gauge.site_code, audited.gauge.position), ())
