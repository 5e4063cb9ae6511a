"""The numbers by which a gauge's daily totals moved its forecast, line by line."""

from __future__ import annotations

from collections.abc import Iterator
from math import exp, isnan, log

from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.rain_weigh import RainEffect

LARGEST_RATIO = 1e6
"""Likelihood ratios are shown up to this; beyond it the figure means nothing more."""

Line = tuple[str, str, object, str]
"""Part, name, value, and unit or meaning."""


def shown_ratio(log_ratio: float) -> float:
    """Give a likelihood ratio with three figures, at most `LARGEST_RATIO`."""
    return float(f"{exp(min(log_ratio, log(LARGEST_RATIO))):.3g}")


def rain_lines(effect: RainEffect | None, sentence: str) -> Iterator[Line]:
    """Give the lines of one gauge; one that says so where the totals say nothing.

    Parameters
    ----------
    effect : RainEffect or None
    sentence : str
        The same in words.
    """
    if effect is None:
        yield ("rain", "evidence", None, "no daily totals here and around, or left out")
        return
    yield from _span_lines(effect.span)
    yield from _level_lines(effect)
    for name, log_ratio in effect.log_ratio.items():
        meaning = f"the odds of {_CAUSES[name]} are multiplied by"
        yield ("rain", f"{name}_ratio", shown_ratio(log_ratio), meaning)
    yield ("rain", "p_knock", effect.p_knock, "probability of a step of the level, in p_drift")
    yield ("rain", "p_without", effect.p_without, "unfit now without the rain")
    yield ("rain", "worth_without", effect.worth_without, "record-days without the rain")
    yield ("rain", "in_words", sentence, "")


_CAUSES = {
    "blockage": "a blockage",
    "deaths": "a dead switch",
    "disconnection": "a gauge off its logger",
    "knock": "a step of the level",
}


def _span_lines(span: SpanEvidence) -> Iterator[Line]:
    alarm = None if span.alarm is None else span.alarm.value
    yield ("rain", "spells", span.spells, "wet spells since the last service")
    yield ("rain", "neighbours", len(span.neighbours), "gauges compared with")
    yield ("rain", "likeliest_story", alarm, "of those that make a gauge unfit")
    yield ("rain", "story_ratio", shown_ratio(span.log_ratio), "as likely as under a fit gauge")
    q = None if isnan(span.q) else span.q
    yield ("rain", "q", q, "share of false ones among alarms as sure as this")


def _level_lines(effect: RainEffect) -> Iterator[Line]:
    level = effect.span.level
    if level is None:
        yield ("rain", "level", None, "not measured: no usual ratio, or it hardly counts")
        return
    yield ("rain", "level", level.mean_percent, "% of what it should read, mean since the service")
    yield ("rain", "level_sd", level.mean_sd_percent, "%, its standard error")
    yield ("rain", "level_common_sd", level.common_sd_percent, "%, part that more rain cannot mend")
    yield ("rain", "level_now", effect.level_now, "%, today, from tests and rain together")
    yield ("rain", "level_now_sd", effect.level_sd, "%")
