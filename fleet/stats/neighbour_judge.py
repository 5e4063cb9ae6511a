"""One span between services, every story of a fault weighed against the fit gauge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, log
from typing import Any

import numpy as np

from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.neighbour_course import SEASON_SD
from fleet.stats.neighbour_level import tabulate_levels
from fleet.stats.neighbour_measure import LevelReading, neighbour_sds, read_level
from fleet.stats.neighbour_noise import RatioNoise
from fleet.stats.neighbour_ratio import RatioSeries, centre_ratios
from fleet.stats.neighbour_record import RainRecord, Span
from fleet.stats.neighbour_spell import WET_DAY_MM, Spells
from fleet.stats.neighbour_story import (
    Alarm,
    Cause,
    Frame,
    Told,
    cause_log_ratios,
    log_sum,
    tell_fit,
    tell_stories,
)

DOUBT = 0.2
"""Probability that the one span from which a usual level was learned was itself a faulty one, so
that a service mended it; with more spans it is so much smaller (own estimate)."""

SOUND_DOUBT = 0.02
"""The same where tests are known and found nothing failing at the end of that span: what is left
is a change of the surroundings, a felled tree or a new wall (own estimate)."""

BEGIN_TAIL = 0.05
"""Probability that an alarm began before the first day told, and after the last."""


@dataclass(frozen=True, slots=True)
class SpanEvidence:
    """What the daily totals say of one gauge between two services, or since the last.

    Days are indices into the record: ``first`` the day after the service, ``last`` the last day
    before the next one. ``cause_log_ratio`` is log P(totals | that cause) / P(totals | fit), 0
    where there is no evidence; ``log_ratio`` the same for any of the alarms, of which ``alarm``
    is the likeliest. ``began`` is the likeliest first day, between ``began_from`` and
    ``began_until`` with 90 %; from it on there were ``wet_days`` at the neighbours, of which the
    gauge had nothing on ``silent_days``. Ratios are sums of the gauge over sums of its
    neighbours' median, NaN without rain. ``p`` and ``q`` are NaN where nothing was tested.
    ``level`` is the same record read as a measurement, None where it tells no level. So many
    ``days_per_spell`` pass in this record from one wet spell to the next, infinite without any.
    """

    gauge: int
    first: int
    last: int
    current: bool
    neighbours: tuple[int, ...]
    spells: int
    usual_known: bool
    cause_log_ratio: dict[Cause, float]
    alarm: Alarm | None
    log_ratio: float
    began: int | None
    began_from: int | None
    began_until: int | None
    wet_days: int
    silent_days: int
    ratio_before: float
    ratio_after: float
    p: float
    q: float
    level: LevelReading | None = None
    days_per_spell: float = inf


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """What is known of a fleet once its totals are laid beside each other.

    ``total_mm`` and ``around_mm``, shape (n, days), with shifted days set right; n rows of
    neighbours and spells. ``season_sd`` is how far the yearly courses of ratios differ.
    """

    record: RainRecord
    total_mm: Floats
    around_mm: Floats
    neighbours: Sequence[Ints]
    spells: Sequence[Spells]
    season_sd: float = SEASON_SD


def judge_span(
    span: Span, compared: Compared, noise: RatioNoise, *, ratio: RatioSeries | None = None
) -> SpanEvidence:
    """Weigh every story of a span against the fit gauge.

    Parameters
    ----------
    span : Span
    compared : Compared
        The fleet.
    noise : RatioNoise
        Learned from it.
    ratio : RatioSeries, optional
        The gauge's, centred on the spells outside the span; None works it out.

    Returns
    -------
    SpanEvidence
        With p and q still NaN.
    """
    spells = compared.spells[span.gauge]
    inside = spells.span == span.number
    if ratio is None:
        ratio = centre_ratios(
            spells,
            inside,
            days_per_year=compared.record.days_per_year,
            season_sd=compared.season_sd,
        )
    told = inside & ~np.isnan(ratio.value)
    empty = _no_evidence(span, compared.neighbours[span.gauge], told, known=ratio.known)
    empty = replace(empty, days_per_spell=_days_per_spell(span, compared))
    if not told.any():
        return empty
    sd = noise.sd(span.gauge, spells.around_mm)
    frame = _frame(span, compared, noise, ratio=ratio, sd=sd, told=told)
    table = tabulate_levels(ratio.value[told], sd[told], persistence=noise.persistence)
    fit, stories = tell_fit(table, frame), tell_stories(table, frame)
    logs = {alarm: story.log_likelihood - fit for alarm, story in stories.items()}
    alarm = max(logs, key=logs.__getitem__)
    began = _begin_days(stories[alarm], spells.first[told])
    if alarm is Alarm.SILENT:
        began = _silent_from(span, compared, began)
    usual = (ratio.baseline & ~inside) | (told & (spells.last < began[1]))
    return replace(
        empty,
        cause_log_ratio=cause_log_ratios(logs),
        alarm=alarm,
        log_ratio=log_sum(np.array(list(logs.values()))) - log(len(logs)),
        began=began[1],
        began_from=began[0],
        began_until=began[2],
        level=read_level(
            spells,
            ratio,
            told,
            sd=sd,
            noise=noise,
            others=neighbour_sds(compared.record, compared.neighbours[span.gauge].tolist()),
        ),
        **_figures(span, compared, usual, began=began[1]),
    )


def _no_evidence(span: Span, neighbours: Ints, told: Bools, *, known: bool) -> SpanEvidence:
    return SpanEvidence(
        gauge=span.gauge,
        first=span.first,
        last=span.last,
        current=span.current,
        neighbours=tuple(neighbours.tolist()),
        spells=int(told.sum()),
        usual_known=known,
        cause_log_ratio=dict.fromkeys(Cause, 0.0),
        alarm=None,
        log_ratio=0.0,
        began=None,
        began_from=None,
        began_until=None,
        wet_days=0,
        silent_days=0,
        ratio_before=float("nan"),
        ratio_after=float("nan"),
        p=float("nan"),
        q=float("nan"),
    )


def _days_per_spell(span: Span, compared: Compared) -> float:
    told = int(np.sum(~np.isnan(compared.around_mm[span.gauge])))
    count = compared.spells[span.gauge].count
    return told / count if count else inf


def _frame(
    span: Span,
    compared: Compared,
    noise: RatioNoise,
    *,
    ratio: RatioSeries,
    sd: Floats,
    told: Bools,
) -> Frame:
    record, spells = compared.record, compared.spells[span.gauge]
    base_sd = noise.place_sd
    if ratio.known:
        of_usual = ratio.usual_variance(told) * noise.persistence
        base_sd = float(np.sqrt(noise.service_sd**2 + of_usual))
    behind = np.unique(spells.span[ratio.baseline]).size
    doubt = SOUND_DOUBT if ratio.sound and record.level_log is not None else DOUBT
    return Frame(
        base_sd=base_sd,
        doubt=doubt / behind if ratio.known else 1.0,
        place_level=-ratio.usual_log,
        place_sd=noise.place_sd,
        low=float(np.log1p(record.low_percent[span.gauge] / 100.0)),
        high=float(np.log1p(record.high_percent[span.gauge] / 100.0)),
        days=(spells.first[told] + spells.last[told]) / 2.0,
    )


def _begin_days(story: Told, first_days: Ints) -> tuple[int, int, int]:
    """Give the first days at 5, 50 and 95 % of the probability of the beginning."""
    reached = np.cumsum(story.begin)
    places = np.searchsorted(reached, np.array([BEGIN_TAIL, 0.5, 1.0 - BEGIN_TAIL]) * reached[-1])
    low, middle, high = first_days[np.minimum(places, first_days.size - 1)].tolist()
    return low, middle, high


def _silent_from(
    span: Span, compared: Compared, began: tuple[int, int, int]
) -> tuple[int, int, int]:
    """Sharpen the beginning of a silence by the day: the first wet one after the last tip."""
    own = compared.total_mm[span.gauge]
    around = compared.around_mm[span.gauge]
    tips = np.flatnonzero(own[span.first : began[1] + 1] > 0.0) + span.first
    low = int(tips[-1]) + 1 if tips.size else span.first
    wet = np.flatnonzero(
        (around[low : span.last + 1] >= WET_DAY_MM) & (own[low : span.last + 1] == 0.0)
    )
    first = low + int(wet[0]) if wet.size else began[1]
    return low, first, max(first, low)


def _figures(span: Span, compared: Compared, before: Bools, *, began: int) -> dict[str, Any]:
    """Add up what was before the alarm, by spells, and what came after, by days."""
    spells = compared.spells[span.gauge]
    since = slice(began, span.last + 1)
    around, own = compared.around_mm[span.gauge, since], compared.total_mm[span.gauge, since]
    told = ~np.isnan(around)
    wet = told & (around >= WET_DAY_MM)
    return {
        "wet_days": int(wet.sum()),
        "silent_days": int((wet & (own == 0.0)).sum()),
        "ratio_before": _ratio(spells.own_mm[before], spells.around_mm[before]),
        "ratio_after": _ratio(own[told], around[told]),
    }


def _ratio(own_mm: Floats, around_mm: Floats) -> float:
    around = float(np.sum(around_mm, dtype=np.float64))
    return float(np.sum(own_mm, dtype=np.float64)) / around if around > 0.0 else float("nan")
