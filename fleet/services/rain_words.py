"""What the daily totals say of a gauge, in plain sentences with the figures behind them."""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan

from fleet.reports.wording import counted
from fleet.services.rain_record import GatheredRain
from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.neighbour_shift import DayShift
from fleet.stats.neighbour_spell import LEAST_NEIGHBOURS, SPELL_MM
from fleet.stats.neighbour_story import Alarm

FALSE_SHARE = 0.05
"""Share of false alarms among all that is accepted (common practice, no published source)."""

MEANINGS = {
    Alarm.SILENT: "Blocked, off its logger, or a dead switch",
    Alarm.CHOKED: "Most of the water does not pass: a choked funnel, or a leak",
    Alarm.HALVED: "About a half: one side of the buckets may not count",
    Alarm.DOUBLED: "About the double: tips may be counted twice",
    Alarm.STEP_DOWN: "A step: knocked off level, a stuck part, or a leak",
    Alarm.STEP_UP: "A step: knocked off level, or a bouncing switch",
    Alarm.SINKING: "A slow fall: fouling, a leak, or drift",
    Alarm.RISING: "A slow rise: deposits in the buckets, or drift",
}
"""What usually lies behind a change of the ratio (common practice, no published source)."""


def alarm_sentences(span: SpanEvidence, rain: GatheredRain) -> Iterator[str]:
    """Say what an alarm rests on.

    Parameters
    ----------
    span : SpanEvidence
        With an alarm.
    rain : GatheredRain
        The record that was judged.
    """
    if span.alarm is None or span.began is None:
        raise ValueError("a span without rain has no alarm")
    day = rain.day(span.began)
    if span.alarm is Alarm.SILENT:
        yield (
            f"Nothing on {span.silent_days} of {counted(span.wet_days, 'wet day')} from {day} on."
        )
    else:
        yield (
            f"From about {day} on {_share(span.ratio_after)} of its neighbours' rain on "
            f"{counted(span.wet_days, 'wet day')}, {_share(span.ratio_before)} before."
        )
    yield f"{MEANINGS[span.alarm]}."
    if not span.usual_known:
        yield "What it usually has of its neighbours' rain is not known."


def quiet_sentences(span: SpanEvidence) -> Iterator[str]:
    """Say why a gauge has no alarm."""
    if len(span.neighbours) < LEAST_NEIGHBOURS:
        yield (
            f"No evidence: {counted(len(span.neighbours), 'gauge')} to compare it with, at least "
            f"{LEAST_NEIGHBOURS} are needed."
        )
    elif span.alarm is None:
        yield (
            f"No evidence: no spell of {SPELL_MM:g} mm with totals here and around since its last "
            "service."
        )
    else:
        yield (
            f"No alarm: {_share(span.ratio_after)} of its neighbours' rain in the latest of "
            f"{counted(span.spells, 'wet spell')}, {_share(span.ratio_before)} before."
        )


def shift_sentence(shift: DayShift, rain: GatheredRain) -> str:
    """Say which days of a gauge are one off."""
    site, position = rain.keys[shift.gauge]
    late = "late" if shift.days_late > 0 else "early"
    first, last = rain.day(shift.first), rain.day(shift.last)
    return (
        f"{site} {position}: its days stand one {late} from {first} to {last}; they were set right "
        "for the comparison. Look at its clock and at where its day ends."
    )


def _share(ratio: float) -> str:
    return "no figure" if isnan(ratio) else f"{100.0 * ratio:.0f} %"
