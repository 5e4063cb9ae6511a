"""What a data editor should look at: stretches of record in doubt, and the technicians' own tips.

The suggested codes are this program's own words; what they rest on stands beside each. They are
suggestions: the data editor decides.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from fleet.domain.audit.doubt import Doubt, sights_of
from fleet.domain.audit.evidence import Ask, AuditedGauge, Evidence
from fleet.domain.audit.narrowing import Narrowed, narrow
from fleet.domain.audit.row import GaugePlace, VisitSeen, place_of, visit_of
from fleet.domain.audit.window import Window, day_start, windows_of
from fleet.domain.check import correction_factor
from fleet.domain.code import Phase
from fleet.domain.history import CheckRecord

TEST_TIPS = "test_tips"
ISOLATED = "isolated"
"""Reasons of a visit itself: test tips that reached the record; rain that could not reach it."""

NO_SOURCE = "suggestion: common practice, no published source"


class SuggestedCode(StrEnum):
    """What a data editor may do with a stretch of record; words of this program."""

    ADJUST = "adjust"
    REJECT = "reject"
    MISSING = "missing"
    REMOVE_TIPS = "remove_tips"


@dataclass(frozen=True, slots=True)
class Span:
    """From when until when, in UTC; ``until_at`` is missing while nothing ended it."""

    from_at: datetime
    until_at: datetime | None


@dataclass(frozen=True, slots=True)
class WindowFigures:
    """How a stretch was found; all missing for a visit's own tips.

    ``whole_from_at`` is the last good check, before other evidence shortened the stretch.
    ``correction_factor`` mends a record made at the error found at the end.
    """

    last_good_ref: str | None = None
    whole_from_at: datetime | None = None
    shortened_by: str | None = None
    ended_by_ref: str | None = None
    error_last_good_percent: float | None = None
    error_found_percent: float | None = None
    correction_factor: float | None = None


@dataclass(frozen=True, slots=True)
class ExclusionRow:
    """One stretch of a gauge's record, why it is in doubt, and what may be done with it.

    ``tips_expected`` are the test tips that may stand in the record; missing where unknown.
    ``visit_ref`` is the visit that found it, or that made the tips.
    """

    place: GaugePlace
    span: Span
    reason: str
    suggested_code: str
    suggestion_basis: str
    tips_expected: int | None
    visit: VisitSeen
    figures: WindowFigures
    policy_basis: str | None
    sentence: str


def suspect_windows(evidence: Evidence, ask: Ask) -> list[ExclusionRow]:
    """List the stretches of record that a failing check puts in doubt.

    Parameters
    ----------
    evidence : Evidence
        With times, counted days and alarms; gauges since removed count too.
    ask : Ask
        With ``since`` only stretches that reach that day.

    Returns
    -------
    list of ExclusionRow
        From the last good check to the next, shortened by other evidence. In order of site,
        position, beginning and reason.
    """
    rows = [
        _window_row(evidence, audited, doubt, window)
        for audited in evidence.gauges
        for doubt in Doubt
        for window in _windows(evidence, audited, doubt)
    ]
    return _asked(rows, ask)


def exclusions(evidence: Evidence, ask: Ask) -> list[ExclusionRow]:
    """List what `suspect_windows` lists, and the visits whose test tips or isolation show.

    Parameters
    ----------
    evidence : Evidence
    ask : Ask
        With ``since`` only what reaches that day.

    Returns
    -------
    list of ExclusionRow
        In order of site, position, beginning and reason.
    """
    visits = [
        row
        for audited in evidence.gauges
        for record in audited.checks()
        for row in _visit_rows(evidence, audited, record)
    ]
    return _asked([*suspect_windows(evidence, ask), *visits], ask)


def _asked(rows: list[ExclusionRow], ask: Ask) -> list[ExclusionRow]:
    kept = [
        row
        for row in rows
        if ask.since is None or row.span.until_at is None or row.span.until_at.date() >= ask.since
    ]
    return sorted(kept, key=_order)


def _order(row: ExclusionRow) -> tuple[str, str, datetime, str, str]:
    return row.place.site_code, row.place.position, row.span.from_at, row.reason, row.place.serial


def _windows(evidence: Evidence, audited: AuditedGauge, doubt: Doubt) -> Iterator[Window]:
    """Give the stretches of one fault; a gauge left off its logger was on it until then."""
    start = day_start(audited, audited.gauge.installed_on)
    sights = sights_of(evidence, audited, doubt)
    for window in windows_of(sights, stood_from=start, stood_until=_end(evidence, audited)):
        off = doubt is Doubt.OFF_LOGGER
        yield replace(window, since=window.bad[0].at) if off else window


def _end(evidence: Evidence, audited: AuditedGauge) -> datetime | None:
    """Give when a gauge was taken away: at the end of that day's last visit, if there was one."""
    if audited.removed_on is None:
        return None
    end = day_start(audited, audited.removed_on)
    for record in audited.checks():
        if record.visited_on == audited.removed_on:
            end = evidence.times[record.visit_ref, record.serial].departed_at
    return end


def _window_row(
    evidence: Evidence, audited: AuditedGauge, doubt: Doubt, window: Window
) -> ExclusionRow:
    found = narrow(evidence, audited, doubt, window)
    first = window.bad[0]
    code, why = _suggestion(doubt, window)
    return ExclusionRow(
        place=place_of(audited),
        span=Span(found.window.since, found.window.until),
        reason=doubt.value,
        suggested_code=code.value,
        suggestion_basis=f"{NO_SOURCE}: {why}",
        tips_expected=None,
        visit=visit_of(first.record),
        figures=_figures(found, window),
        policy_basis=evidence.policy(audited.gauge, first.record.visited_on).basis,
        sentence=_window_words(doubt, window, found),
    )


def _suggestion(doubt: Doubt, window: Window) -> tuple[SuggestedCode, str]:
    if doubt is Doubt.BLOCKED:
        return SuggestedCode.MISSING, "a blockage delays or loses water, so nothing is scaled up"
    if doubt is Doubt.OFF_LOGGER:
        return SuggestedCode.MISSING, "tips that do not reach the logger are lost"
    if doubt is Doubt.SWITCH_FAILED:
        return SuggestedCode.REJECT, "what a failing switch missed cannot be worked out"
    if any(sight.grave for sight in window.bad):
        return SuggestedCode.REJECT, "beyond the reject limit of the policy"
    return SuggestedCode.ADJUST, "beyond the tolerance and within the reject limit of the policy"


def _figures(found: Narrowed, window: Window) -> WindowFigures:
    error = window.bad[0].error_percent
    good = window.last_good
    return WindowFigures(
        last_good_ref=None if good is None else good.record.visit_ref,
        whole_from_at=window.since,
        shortened_by=found.words,
        ended_by_ref=None if window.ended_by is None else window.ended_by.record.visit_ref,
        error_last_good_percent=None if good is None else good.error_percent,
        error_found_percent=error,
        correction_factor=None if error is None or error <= -100 else correction_factor(error),
    )


_WHAT = {
    Doubt.OUT_OF_TOLERANCE: "it out of tolerance",
    Doubt.SWITCH_FAILED: "its switch failing",
    Doubt.BLOCKED: "it blocked",
}
_DID = {Phase.AS_FOUND: "found", Phase.AS_LEFT: "left"}


def _window_words(doubt: Doubt, window: Window, found: Narrowed) -> str:
    words = f"Visit {window.bad[0].record.visit_ref} {_seen(doubt, window)}"
    if found.words is not None:
        words += f"; shortened: {found.words}"
    end = " Nothing has ended it yet." if found.window.until is None else ""
    return f"{words}.{end}"


def _seen(doubt: Doubt, window: Window) -> str:
    if doubt is Doubt.OFF_LOGGER:
        return "does not prove that it was put back on its logger"
    first, good = window.bad[0], window.last_good
    error = "" if first.error_percent is None else f" ({first.error_percent:+.1f} %)"
    before = "it was never seen good before"
    if good is not None:
        before = f"last good at visit {good.record.visit_ref}"
    return f"{_DID[first.phase]} {_WHAT[doubt]}{error}; {before}"


def _visit_rows(
    evidence: Evidence, audited: AuditedGauge, record: CheckRecord
) -> Iterator[ExclusionRow]:
    times = evidence.times[record.visit_ref, record.serial]
    if times.isolated_at is not None:
        words = "The gauge was off its logger for the test: rain that fell meanwhile is missing."
        span = Span(times.isolated_at, times.ends_at)
        why = "nothing can be counted off the logger"
        yield _visit_row(audited, record, (span, ISOLATED, 0, why, words))
        return
    tips = _own_tips(record)
    if tips:
        span = Span(times.arrived_at, times.departed_at)
        words = (
            f"{tips} test tips were made and nothing says that the gauge was isolated: they may "
            "stand in the record as rain."
        )
        yield _visit_row(audited, record, (span, TEST_TIPS, tips, "test tips are no rain", words))


def _own_tips(record: CheckRecord) -> int:
    runs = sum(phase.tips for phase in (record.as_found, record.as_left) if phase is not None)
    switches = (record.switch_found, record.switch_left)
    return runs + sum(s.manual_tips or 0 for s in switches if s is not None)


def _visit_row(
    audited: AuditedGauge,
    record: CheckRecord,
    made: tuple[Span, str, int, str, str],
) -> ExclusionRow:
    span, reason, tips, why, words = made
    code = SuggestedCode.REMOVE_TIPS if reason == TEST_TIPS else SuggestedCode.MISSING
    return ExclusionRow(
        place=place_of(audited),
        span=span,
        reason=reason,
        suggested_code=code.value,
        suggestion_basis=f"{NO_SOURCE}: {why}",
        tips_expected=tips,
        visit=visit_of(record),
        figures=WindowFigures(),
        policy_basis=None,
        sentence=f"{words} Visit {record.visit_ref}.",
    )
