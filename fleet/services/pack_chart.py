"""The drawings of an evidence pack, from the same evidence as its tables."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import sqrt

import numpy as np
import pandas as pd

from fleet.domain.audit.control import ControlRow, control_rows, limits_on, stays_at
from fleet.domain.audit.curve import InDatePoint, in_date_curve
from fleet.domain.audit.evidence import AuditedGauge, Evidence
from fleet.domain.audit.tolerance import OUT_OF_TOLERANCE
from fleet.domain.code import Phase
from fleet.reports.control_plot import ControlPlot, ControlPoint, LimitLine, control_plot
from fleet.reports.fan_plot import FanPlot, FanPoint, fan_plot
from fleet.reports.in_date_plot import SharePoint, in_date_plot
from fleet.reports.pack_pdf import PackDrawing, PackFigure
from fleet.reports.wording import chance_words
from fleet.services.audit_frame import frame_of
from fleet.stats.clock import season_years
from fleet.stats.gauge_forecast import GaugeForecast
from fleet.stats.interval import share_interval

CURVE_DAYS = 728
"""How far back the share in date is drawn unless a first day is named: two years in weeks."""

AHEAD_DAYS = 365
STEP_DAYS = 7


@dataclass(frozen=True, slots=True)
class Chart:
    """A figure and the numbers that it was drawn from."""

    figure: PackFigure
    frame: pd.DataFrame


@dataclass(frozen=True, slots=True)
class _CurveRow:
    """A day of the curve; percentages are missing where no gauge stood."""

    day: date
    in_date: int
    gauges: int
    share_percent: float | None
    low_percent: float | None
    high_percent: float | None


def in_date_chart(evidence: Evidence, *, as_of: date, since: date | None) -> Chart:
    """Draw the share in date, week by week up to the day asked about."""
    first = since or as_of - timedelta(days=CURVE_DAYS)
    weeks = (as_of - first).days // STEP_DAYS
    days = [as_of - timedelta(days=STEP_DAYS * back) for back in range(weeks, -1, -1)]
    rows = [_curve_row(point) for point in in_date_curve(evidence, days)]
    points = [
        SharePoint(
            row.day, row.share_percent, row.low_percent or 0.0, row.high_percent or 0.0, row.gauges
        )
        for row in rows
        if row.share_percent is not None
    ]
    drawings = []
    if len(points) > 1:
        last = points[-1]
        alt = (
            f"Share of gauges in date from {points[0].day} to {last.day}, week by week; at the "
            f"end {last.share:.1f} percent of {last.gauges}."
        )
        drawings.append(PackDrawing("Gauges in date", alt, in_date_plot(points, alt)))
    lines = ("By the policy in force on each day; a gauge is in date until its due day.",)
    figure = PackFigure("The network over time", lines, tuple(drawings))
    return Chart(figure, frame_of(_CurveRow, rows))


def _curve_row(point: InDatePoint) -> _CurveRow:
    if point.standing == 0:
        return _CurveRow(point.day, 0, 0, None, None, None)
    found = share_interval(point.in_date, point.standing)
    percent = [100.0 * part for part in (found.share, found.low, found.high)]
    return _CurveRow(point.day, point.in_date, point.standing, *percent)


def gauge_chart(
    evidence: Evidence, gauge: AuditedGauge, forecast: GaugeForecast | None, *, as_of: date
) -> Chart:
    """Draw the control chart of a gauge's place, and its forecast where it stands."""
    place, rows = gauge.gauge, control_rows(evidence, gauge)
    drawings = [_control(evidence, gauge, rows, as_of=as_of)]
    if forecast is not None:
        drawings.append(_fan(forecast))
    title = f"{place.site_code} {gauge.site_name}, position {place.position}: gauge {place.serial}"
    basis = evidence.policy(place, as_of).basis
    lines = (f"Limits of {as_of}: {basis}.",)
    return Chart(PackFigure(title, lines, tuple(drawings)), frame_of(ControlRow, rows))


def _control(
    evidence: Evidence, gauge: AuditedGauge, rows: Sequence[ControlRow], *, as_of: date
) -> PackDrawing:
    stays = stays_at(evidence, gauge)
    first = min((row.visited_on for row in rows), default=stays[0].gauge.installed_on)
    first = max(stays[0].gauge.installed_on, first - timedelta(days=30))
    bad = sum(row.verdict in OUT_OF_TOLERANCE for row in rows)
    alt = (
        f"Control chart of {gauge.gauge.site_code} position {gauge.gauge.position}: {len(rows)} "
        f"phases measured until {as_of}, {bad} of them out of tolerance."
    )
    plot = ControlPlot(
        alt=alt,
        first=min(first, as_of - timedelta(days=60)),
        last=as_of,
        points=tuple(_control_point(row) for row in rows),
        limits=tuple(_limit_lines(evidence, gauge, min(first, as_of), as_of)),
        adjusted=tuple(sorted({row.visited_on for row in rows if row.adjusted})),
        swaps=tuple(
            (stay.gauge.installed_on, stay.gauge.serial)
            for stay in stays[1:]
            if stay.gauge.installed_on > first
        ),
    )
    return PackDrawing("Errors as found and as left", alt, control_plot(plot))


def _control_point(row: ControlRow) -> ControlPoint:
    return ControlPoint(
        day=row.visited_on,
        error=row.error_percent,
        expanded=row.expanded_uncertainty_percent,
        found=row.phase == Phase.AS_FOUND.value,
        bad=row.verdict in OUT_OF_TOLERANCE,
    )


def _limit_lines(
    evidence: Evidence, gauge: AuditedGauge, first: date, last: date
) -> Iterator[LimitLine]:
    """Give each limit as it was, day by day, kept only where it changes."""
    span = range((last - first).days + 1)
    found = [limits_on(evidence, gauge, first + timedelta(days=number)) for number in span]
    for name, ends in (
        ("reject", [(one.day, -one.reject, one.reject) for one in found]),
        ("as found", [(one.day, *one.as_found) for one in found]),
        ("as left", [(one.day, *one.as_left) for one in found]),
    ):
        pairs = zip([None, *ends], ends, strict=False)
        changes = [one for before, one in pairs if before is None or before[1:] != one[1:]]
        yield LimitLine(name, tuple(changes))


def _fan(forecast: GaugeForecast) -> PackDrawing:
    drift = forecast.drift
    start = forecast.as_of - timedelta(days=drift.age_days)
    days = range(0, drift.age_days + AHEAD_DAYS + 1, STEP_DAYS)
    due_on = forecast.state.serviced_or_installed_on + timedelta(days=forecast.interval_days)
    alt = (
        f"Forecast of the level from {start} on: as of {forecast.as_of} about "
        f"{drift.now:+.1f} percent give or take {drift.now_sd:.1f}, drifting "
        f"{drift.rate_per_year:+.1f} percent a year; limits {drift.low:+.1f} to {drift.high:+.1f}."
    )
    plot = FanPlot(
        alt=alt,
        points=tuple(_fan_point(forecast, start, number) for number in days),
        low=drift.low,
        high=drift.high,
        as_of=forecast.as_of,
        due_on=due_on,
        known=drift.known,
    )
    title = f"Forecast of its drift: chance of being out of tolerance now {chance_words(drift.p)}"
    return PackDrawing(title, alt, fan_plot(plot))


def _fan_point(forecast: GaugeForecast, start: date, days: int) -> FanPoint:
    """Give the prediction so many days after the level was known (`fleet.stats.forecast`)."""
    drift, ends = forecast.drift, start.toordinal() + np.array([0.0, float(days)])
    years = float(np.diff(season_years(forecast.model.drift.clock, ends))[0])
    variance = drift.start_sd**2 + (drift.rate_sd * years) ** 2 + drift.walk_sd**2 * years
    middle = drift.start + drift.rate_per_year * years
    return FanPoint(start + timedelta(days=days), middle, sqrt(variance))
