"""What the daily totals say of each gauge since its last service, held against its neighbours."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fleet.stats.array import Bools
from fleet.stats.false_alarm import discovery_q, ratio_p
from fleet.stats.neighbour_choice import choose_neighbours, nearest_gauges
from fleet.stats.neighbour_course import learn_season_sd
from fleet.stats.neighbour_judge import Compared, SpanEvidence, judge_span
from fleet.stats.neighbour_noise import RatioNoise, learn_noise
from fleet.stats.neighbour_ratio import centre_ratios
from fleet.stats.neighbour_record import RainRecord, spans_of
from fleet.stats.neighbour_shift import DayShift, find_shifts, set_right
from fleet.stats.neighbour_spell import (
    correct_levels,
    gather_spells,
    neighbour_rain,
    number_spells,
)


@dataclass(frozen=True, slots=True, eq=False)
class FleetEvidence:
    """Evidence of every span that was judged, the shifts of days, and the scatter learned."""

    spans: tuple[SpanEvidence, ...]
    shifts: tuple[DayShift, ...]
    noise: RatioNoise


def neighbour_evidence(
    record: RainRecord,
    *,
    judged: Bools | None = None,
    since: int | None = None,
    days_may_shift: bool = True,
) -> FleetEvidence:
    """Hold every gauge's daily totals against its neighbours'.

    Parameters
    ----------
    record : RainRecord
        Of n gauges, up to the day asked about.
    judged : ndarray of bool, shape (n,), optional
        Which gauges are judged; the others are neighbours only. None is all.
    since : int, optional
        Spans that ended on this day or later are judged as well; None judges only what has
        happened since each gauge's last service.
    days_may_shift : bool, default True
        Look for gauges whose days are one off, and compare them after setting them right.

    Returns
    -------
    FleetEvidence
        One span a gauge judged since its last service, whether or not it holds any rain, after
        the earlier ones asked for; in order of gauge and day.

    Notes
    -----
    1. Ten of the thirty nearest gauges, by correlation of log(1 + mm).
    2. Wet spells of at least 10 mm at the neighbours' median; log ratio of sums to each
       neighbour, less its median outside the span and known errors; the combination of
       neighbours that scatters least.
    3. Scatter learned from the fleet: Student's law with 4 degrees of freedom.
    4. Each alarm is a story, a set of paths of levels through the spells; its ratio is the mean
       likelihood of its paths over that of a fit gauge.
    5. p = 1 / ratio for "some alarm"; q by Benjamini and Hochberg over all spans judged.
    Odds that a cause makes the gauge unfit are multiplied by exp(cause_log_ratio).
    Checked against: planted faults in simulated and in real rain (tests/benchmarks).
    """
    compared, shifts = _compare(record, days_may_shift)
    spans = [spans_of(record, gauge) for gauge in range(len(record.total_mm))]
    ratios = [
        centre_ratios(
            kept,
            kept.span == own[-1].number,
            days_per_year=record.days_per_year,
            season_sd=compared.season_sd,
        )
        for kept, own in zip(compared.spells, spans, strict=True)
    ]
    noise = learn_noise(compared.spells, ratios)
    found = [
        judge_span(span, compared, noise, ratio=ratio if span.current else None)
        for gauge, (own, ratio) in enumerate(zip(spans, ratios, strict=True))
        if judged is None or judged[gauge]
        for span in own
        if span.current or (since is not None and span.last + 1 >= since)
    ]
    return FleetEvidence(_with_rates(found), tuple(shifts), noise)


def _compare(record: RainRecord, days_may_shift: bool) -> tuple[Compared, list[DayShift]]:
    near = nearest_gauges(record.latitude_deg, record.longitude_deg)
    shifts = find_shifts(record.total_mm, near) if days_may_shift else []
    total = set_right(record.total_mm, shifts) if shifts else record.total_mm
    neighbours = choose_neighbours(total, near)
    around = neighbour_rain(total, neighbours)
    number = number_spells(around, record.serviced, calm_mm=record.calm_mm)
    spells = [
        gather_spells(
            total[gauge],
            total[others],
            around[gauge],
            number=number[gauge],
            serviced=record.serviced[gauge],
            tip_mm=float(record.tip_mm[gauge]),
        )
        for gauge, others in enumerate(neighbours)
    ]
    if record.level_log is not None:
        spells = [
            correct_levels(kept, record.level_log[[gauge, *others]])
            for gauge, (kept, others) in enumerate(zip(spells, neighbours, strict=True))
        ]
    season_sd = learn_season_sd(spells, days_per_year=record.days_per_year)
    return Compared(record, total, around, neighbours, spells, season_sd), shifts


def _with_rates(found: list[SpanEvidence]) -> tuple[SpanEvidence, ...]:
    logs = [float("nan") if span.alarm is None else span.log_ratio for span in found]
    p = ratio_p(logs)
    rates = zip(found, p.tolist(), discovery_q(p).tolist(), strict=True)
    return tuple(replace(span, p=one, q=many) for span, one, many in rates)
