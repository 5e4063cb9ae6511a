"""Which gauges the daily totals of their neighbours speak against."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from math import isnan

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.history import Gauge
from fleet.reports.wording import counted
from fleet.services.rain_explain import shown_ratio
from fleet.services.rain_record import GatheredRain, compared_since, gather_rain
from fleet.services.rain_words import FALSE_SHARE, alarm_sentences, quiet_sentences, shift_sentence
from fleet.stats.neighbour_evidence import FleetEvidence, neighbour_evidence
from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.neighbour_story import Cause
from fleet.store.queries.crew import depot

RAIN_COLUMNS = {
    "depot_code": "str",
    "site_code": "str",
    "position": "str",
    "serial": "str",
    "alarm": "str",
    "state": "str",
    "since_on": "object",
    "since_earliest_on": "object",
    "since_latest_on": "object",
    "ended_on": "object",
    "ended_by": "str",
    "ratio_before": "float64",
    "ratio_after": "float64",
    "wet_days": "int64",
    "silent_days": "int64",
    "spells": "int64",
    "neighbours_used": "int64",
    "neighbours": "str",
    "days_late": "int64",
    "p": "float64",
    "q": "float64",
    "likelihood_ratio": "float64",
    "drift_odds_times": "float64",
    "blockage_odds_times": "float64",
    "switch_odds_times": "float64",
    "disconnection_odds_times": "float64",
    "sentence": "str",
}


@dataclass(frozen=True, slots=True)
class RainAsked:
    """Which gauges and alarms are shown.

    ``since`` also shows alarms that a service on that day or later has ended. ``everything``
    shows the gauges without an alarm too. ``false_share`` is the share of false alarms among
    all that is accepted.
    """

    depot_code: str | None = None
    since: date | None = None
    everything: bool = False
    false_share: float = FALSE_SHARE


@dataclass(frozen=True, slots=True)
class RainAnswer:
    """The rows; how many gauges were looked at; how many alarms stand and ended; the notes."""

    frame: pd.DataFrame
    gauges: int
    standing: int
    ended: int
    notes: tuple[str, ...]

    def summary(self, as_of: date) -> str:
        """Say in a line what was found."""
        ended = f", {self.ended} that a service ended" if self.ended else ""
        return (
            f"{counted(self.standing, 'alarm')} standing{ended}; "
            f"{counted(self.gauges, 'gauge')} with daily totals looked at as of {as_of}"
        )


def compare_rain(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    known_on: datetime | None = None,
    asked: RainAsked | None = None,
) -> RainAnswer:
    """Hold every gauge's daily totals against its neighbours'.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head; only read from.
    as_of : date
        Totals and visits after this day are not seen.
    known_on : datetime, optional
        As the records were known then; None is now.
    asked : RainAsked, optional
        What is shown. Neighbours, scatter and false-alarm rate are of the whole network in any
        case, so a filter does not change a gauge's figures.

    Returns
    -------
    RainAnswer
        Columns `RAIN_COLUMNS`: standing alarms first, those that a service ended, then the rest;
        within each the largest likelihood ratio first, then by site and position.
        ``*_odds_times`` is what the odds of that cause are to be multiplied by.

    Raises
    ------
    NotFoundError
        The depot is not among those known then, or there are no daily totals.
    """
    asked = asked or RainAsked()
    with sessions() as session:
        if asked.depot_code is not None:
            depot(session, asked.depot_code, known_on=known_on)
        rain = gather_rain(
            session,
            as_of=as_of,
            known_on=known_on,
            since=compared_since(as_of, asked.since),
        )
    judged = np.array([gauge is not None for gauge in rain.gauges])
    since = None if asked.since is None else (asked.since - rain.first_day).days
    evidence = neighbour_evidence(rain.record, judged=judged, since=since)
    table = _Table(rain, evidence, asked)
    rows = sorted(table.rows(), key=_order)
    frame = pd.DataFrame([row for _, row in rows], columns=list(RAIN_COLUMNS))
    return RainAnswer(
        frame=frame.astype(RAIN_COLUMNS),
        gauges=sum(1 for gauge in rain.gauges if gauge is not None and table.shows(gauge)),
        standing=sum(1 for _, row in rows if row["state"] == "stands"),
        ended=sum(1 for _, row in rows if row["state"] == "ended"),
        notes=tuple(table.notes()),
    )


Row = dict[str, object]
_STATES = ("stands", "ended", "")


def _order(row: tuple[float, Row]) -> tuple[int, float, str, str, str]:
    log_ratio, cells = row
    place = _STATES.index(str(cells["state"]))
    where = str(cells["site_code"]), str(cells["position"]), str(cells["since_on"])
    return place, -log_ratio, *where


@dataclass(frozen=True, slots=True)
class _Table:
    """Turns evidence into rows."""

    rain: GatheredRain
    evidence: FleetEvidence
    asked: RainAsked

    def shows(self, gauge: Gauge) -> bool:
        """Tell whether a gauge is to be shown."""
        return self.asked.depot_code in (None, gauge.depot_code)

    def rows(self) -> Iterator[tuple[float, Row]]:
        """Give each row with its log likelihood ratio."""
        for span in self.evidence.spans:
            gauge = self.rain.gauges[span.gauge]
            alarm = span.q <= self.asked.false_share  # NaN is no alarm
            quiet = self.asked.everything and span.current
            if gauge is not None and self.shows(gauge) and (alarm or quiet):
                yield span.log_ratio, self._row(gauge, span, alarm=alarm)

    def notes(self) -> Iterator[str]:
        """Give what is to be told besides the rows."""
        for shift in self.evidence.shifts:
            gauge = self.rain.gauges[shift.gauge]
            if gauge is not None and self.shows(gauge):
                yield shift_sentence(shift, self.rain)
        missing = [gauge for gauge in self.rain.without_totals if self.shows(gauge)]
        if missing:
            named = ", ".join(f"{gauge.site_code} {gauge.position}" for gauge in missing[:10])
            more = f" and {len(missing) - 10} more" if len(missing) > 10 else ""
            yield f"Without any daily total: {named}{more}."

    def _row(self, gauge: Gauge, span: SpanEvidence, *, alarm: bool) -> Row:
        ended_on, ended_by = self._end(span)
        sentences = alarm_sentences(span, self.rain) if alarm else quiet_sentences(span)
        words = [*sentences, *self._end_words(ended_on, ended_by)]
        state = "" if not alarm else "stands" if span.current else "ended"
        return {
            "depot_code": gauge.depot_code,
            "site_code": gauge.site_code,
            "position": gauge.position,
            "serial": self.rain.serial_on(span.gauge, self.rain.day(span.last)),
            "alarm": span.alarm.value if alarm and span.alarm is not None else "",
            "state": state,
            **self._since(span, alarm=alarm),
            "ended_on": ended_on,
            "ended_by": ended_by,
            "ratio_before": _figure(span.ratio_before),
            "ratio_after": _figure(span.ratio_after),
            "wet_days": span.wet_days,
            "silent_days": span.silent_days,
            "spells": span.spells,
            "neighbours_used": len(span.neighbours),
            "neighbours": self._named(span.neighbours),
            "days_late": self._days_late(span),
            "p": _figure(span.p, 6),
            "q": _figure(span.q, 6),
            "likelihood_ratio": shown_ratio(span.log_ratio),
            **{
                f"{cause.value}_odds_times": shown_ratio(span.cause_log_ratio[cause])
                for cause in Cause
            },
            "sentence": " ".join(words),
        }

    def _since(self, span: SpanEvidence, *, alarm: bool) -> Row:
        days = (span.began, span.began_from, span.began_until) if alarm else (None, None, None)
        names = ("since_on", "since_earliest_on", "since_latest_on")
        return {
            name: None if day is None else self.rain.day(day)
            for name, day in zip(names, days, strict=True)
        }

    def _end(self, span: SpanEvidence) -> tuple[date | None, str]:
        if span.current:
            return None, ""
        day = self.rain.day(span.last + 1)
        return day, self.rain.services[span.gauge].get(day, "")

    def _end_words(self, ended_on: date | None, ended_by: str) -> Iterator[str]:
        if ended_on is not None:
            how = f"visit {ended_by}" if ended_by else "an exchange"
            yield f"Ended with {how} on {ended_on}."

    def _named(self, rows: Sequence[int]) -> str:
        return " ".join("/".join(self.rain.keys[row]) for row in rows)

    def _days_late(self, span: SpanEvidence) -> int:
        for shift in self.evidence.shifts:
            if shift.gauge == span.gauge and shift.first <= span.last and span.first <= shift.last:
                return shift.days_late
        return 0


def _figure(value: float, digits: int = 3) -> float:
    return value if isnan(value) else round(value, digits)
