"""What the daily totals did to the chance that a gauge is unfit, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime

import numpy as np
from sqlalchemy.orm import Session

from fleet.reports.wording import chance_words, counted
from fleet.services.rain_explain import shown_ratio
from fleet.services.rain_record import GatheredRain, compared_since, find_rain
from fleet.services.rain_words import FALSE_SHARE, MEANINGS, alarm_sentences
from fleet.stats.gauge_column import GaugeColumns
from fleet.stats.neighbour_evidence import neighbour_evidence
from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.rain_weigh import RainEffect, RainView

TOLD_KNOCK = 0.1
"""A chance of a step of the level below this is not told in words."""

MOVED = 0.02
"""A chance that moves by less than this is not worth a sentence among the reasons."""


def view_rain(
    session: Session,
    columns: GaugeColumns,
    *,
    as_of: date,
    known_on: datetime | None = None,
) -> tuple[RainView, GatheredRain] | None:
    """Compare the daily totals of the network, for its ranking.

    Parameters
    ----------
    session : Session
        Only read from.
    columns : GaugeColumns
        Of the gauges to be ranked.
    as_of : date
        Totals after this day are not seen.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    tuple or None
        The evidence of each gauge in order, and what it was drawn from; None where the
        network has no daily totals.
    """
    since = compared_since(as_of)
    rain = find_rain(session, as_of=as_of, known_on=known_on, since=since)
    if rain is None:
        return None
    judged = np.array([gauge is not None for gauge in rain.gauges])
    found = neighbour_evidence(rain.record, judged=judged).spans
    by_key = {rain.keys[span.gauge]: span for span in found}
    spans = [by_key.get(key) for key in zip(columns.site_code, columns.position, strict=True)]
    return RainView(spans, (as_of - rain.first_day).days), rain


def rain_sentence(effect: RainEffect, rain: GatheredRain, *, p: float) -> str:
    """Say what the rain of a gauge shows and what it did to the chance that it is unfit.

    Parameters
    ----------
    effect : RainEffect
    rain : GatheredRain
        The record behind it.
    p : float
        The chance with it.
    """
    return " ".join(_sentences(effect, rain, p))


def moves_much(effect: RainEffect, *, p: float) -> bool:
    """Tell whether a person wants to read of the rain among the reasons of a rank."""
    return has_alarm(effect.span) or abs(p - effect.p_without) >= MOVED


def has_alarm(span: SpanEvidence) -> bool:
    """Tell whether the false-alarm rate of the fleet lets the alarm of a span stand."""
    return bool(span.q <= FALSE_SHARE)


def _sentences(effect: RainEffect, rain: GatheredRain, p: float) -> Iterator[str]:
    span = effect.span
    names = ", ".join("/".join(rain.keys[row]) for row in span.neighbours)
    spells = counted(span.spells, "wet spell")
    yield (
        f"Its rain from {rain.day(span.first)} to {rain.day(span.last)} against "
        f"{counted(len(span.neighbours), 'neighbour')} ({names}), {spells}:"
    )
    if has_alarm(span):
        yield from alarm_sentences(span, rain)
    else:
        yield from _quiet(effect, p)
    if effect.p_knock >= TOLD_KNOCK:
        yield f"Chance of a sudden step of its level {chance_words(effect.p_knock)}."
    yield _moved(effect.p_without, p)


def _quiet(effect: RainEffect, p: float) -> Iterator[str]:
    """Say what there is short of an alarm."""
    span = effect.span
    if span.level is not None:
        yield (
            f"reads {span.level.mean_percent:+.1f} % of what it should, standard error "
            f"{span.level.mean_sd_percent:.1f} %."
        )
    loudest = max(effect.log_ratio[name] for name in ("blockage", "deaths", "disconnection"))
    if span.alarm is not None and loudest > 0.0 and p - effect.p_without >= MOVED:
        meaning = MEANINGS[span.alarm]
        yield (
            f"No alarm yet, but the totals are {shown_ratio(loudest):g} times as likely as under a "
            f"fit gauge if something is amiss. {meaning}."
        )
    elif span.level is None:
        yield "it counts when they do."


def _moved(before: float, after: float) -> str:
    was, now = chance_words(before), chance_words(after)
    if was == now:
        return f"The chance that it is unfit stays at {now}."
    return f"The chance that it is unfit is {now} with this, {was} without."
