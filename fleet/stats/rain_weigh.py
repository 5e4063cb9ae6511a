"""Forecast a fleet with what the rain says: the causes now, and after a service."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.forecast import Causes, Gauges, after_service, as_it_stands
from fleet.stats.growth import known_years, predict
from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.neighbour_story import Cause
from fleet.stats.rain_cause import move_by_odds, quiet_log_ratio, weigh_causes
from fleet.stats.rain_level import take_in_levels

SPELLS_TO_TELL = 1.5
"""Spells of rain until a gauge that stopped counting is told: half a spell has passed on average
when it stops (first principles), and the next whole one tells."""

SPELLS_TO_TELL_KNOCK = 12.0
"""The same for a level: so many spells with a scatter of 12 % find 7 % at two standard errors."""

TOLD = {"blockage": 0.7, "deaths": 0.8, "knock": 0.6}
"""Share of each cause that the rain shows at all: what falls silent, is choked, halved or doubled
among the ways in which it shows; of knocks those of twice the tolerance and more (own estimate)."""

SHOWN_BY: dict[str, Cause] = {
    "blockage": Cause.BLOCKAGE,
    "deaths": Cause.SWITCH,
    "disconnection": Cause.DISCONNECTION,
}
"""Which ratio moves which probability of the forecast."""


@dataclass(frozen=True, slots=True, eq=False)
class RainView:
    """What the rain says of n gauges on the day of a forecast.

    ``spans`` holds the evidence since each gauge's last service, None where there is none;
    ``today`` is the column of the record on which the day of the forecast falls.
    """

    spans: Sequence[SpanEvidence | None]
    today: int

    def take(self, index: Ints) -> RainView:
        """Give the view of the gauges at some places."""
        return RainView([self.spans[place] for place in index], self.today)


@dataclass(frozen=True, slots=True)
class RainEffect:
    """What the rain did to one gauge's forecast.

    ``log_ratio`` by name of the cause that was moved, "knock" being a step of the level. ``p``
    and ``worth_record_days`` are what they were without the rain; ``level_now`` and ``level_sd``
    the level of today in percent with it, ``p_knock`` the probability of a step.
    """

    span: SpanEvidence
    log_ratio: Mapping[str, float]
    p_without: float
    worth_without: float
    level_now: float
    level_sd: float
    p_knock: float


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """The forecast with the rain: gauges, causes now (n, 1) and after a service (n, g).

    ``log_ratio`` and ``p_knock`` have shape (n,).
    """

    gauges: Gauges
    now: Causes
    fresh: Causes
    log_ratio: Mapping[str, Floats]
    p_knock: Floats


def weigh_rain(gauges: Gauges, view: RainView, *, days: Floats) -> Weighed:
    """Let the forecast of n gauges take in their rain.

    Parameters
    ----------
    gauges : Gauges
        As the visits leave them.
    view : RainView
        Of the same gauges in the same order. A gauge without evidence keeps its forecast.
    days : ndarray, shape (g,)
        Days after a service, rising, from 0.

    Returns
    -------
    Weighed

    Notes
    -----
    The drift takes the rain in as weak tests of the level (`take_in_levels`). Blockage, death of
    the switch, a gauge off its logger, and a knock of the level move by `weigh_causes`. What the
    last visit left dead or blocked was seen and stays certain; that a gauge was left off its
    logger is only not disproved, and rain that goes along with the neighbours' disproves it. A
    freshly serviced gauge will be watched too, so its causes after u days are those of a gauge
    that has shown nothing until then.
    """
    spans = view.spans
    watched = np.array([span is not None and span.spells > 0 for span in spans], dtype=bool)
    readings = [span.level if span is not None else None for span in spans]
    taken = take_in_levels(gauges.drift, gauges.drift_age_days, readings, today=view.today)
    moved = replace(gauges, drift=taken.growth, drift_age_days=taken.age_days)
    now = as_it_stands(moved, np.zeros(1))
    log_ratio = {name: _ratios(spans, cause) for name, cause in SHOWN_BY.items()}
    log_ratio["blockage"] = _unless(gauges.blocked, log_ratio["blockage"])
    log_ratio["deaths"] = _unless(gauges.dead, log_ratio["deaths"])
    log_ratio["knock"] = taken.knock_log_ratio
    before = {name: getattr(now, name)[:, 0] for name in log_ratio}
    after, any_of_them = weigh_causes(before, log_ratio)
    rest = _either(now.drift, now.resistance)
    together = np.where(watched[:, None], _either(rest, any_of_them[:, None]), now.unfit())
    now = replace(now, **{name: p[:, None] for name, p in after.items()}, together=together)
    return Weighed(
        gauges=moved,
        now=now,
        fresh=watched_on(after_service(gauges, days), spans, days=days),
        log_ratio=log_ratio,
        p_knock=after["knock"],
    )


def rain_effects(
    view: RainView, weighed: Weighed, without: Sequence[Mapping[str, Any]]
) -> list[RainEffect | None]:
    """Say what the rain did to each gauge.

    Parameters
    ----------
    view, weighed
        What was seen, and the forecast with it.
    without : sequence of mapping
        ``p`` and ``worth_record_days`` of each gauge without the rain.

    Returns
    -------
    list of RainEffect or None
        None for a gauge without evidence.
    """
    drift, age_days = weighed.gauges.drift, weighed.gauges.drift_age_days
    level, sd = predict(drift, known_years(drift, age_days))
    return [
        None
        if span is None or not span.spells
        else RainEffect(
            span=span,
            log_ratio={name: float(logs[i]) for name, logs in weighed.log_ratio.items()},
            p_without=float(before["p"]),
            worth_without=float(before["worth_record_days"]),
            level_now=float(level[i]),
            level_sd=float(sd[i]),
            p_knock=float(weighed.p_knock[i]),
        )
        for i, (span, before) in enumerate(zip(view.spans, without, strict=True))
    ]


def _ratios(spans: Sequence[SpanEvidence | None], cause: Cause) -> Floats:
    return np.array([0.0 if span is None else span.cause_log_ratio[cause] for span in spans])


def _unless(fact: Bools, log_ratio: Floats) -> Floats:
    """Let the rain not speak against what was seen."""
    return np.where(fact, np.maximum(log_ratio, 0.0), log_ratio)


def _either(one: Floats, other: Floats) -> Floats:
    return np.asarray(one + other - one * other)


def watched_on(fresh: Causes, spans: Sequence[SpanEvidence | None], *, days: Floats) -> Causes:
    """Forecast freshly serviced gauges that are watched and show nothing.

    Parameters
    ----------
    fresh : Causes
        Shape (n, g): what may strike each gauge within so many days.
    spans : sequence of SpanEvidence or None
        n of them, for how often it rains; None is a gauge that nobody watches.
    days : ndarray, shape (g,)
        The days, rising, from 0.

    Returns
    -------
    Causes
        Blockage, deaths and knocks as far as they would not have shown by then.
    """
    unshown = {
        name: _unshown(getattr(fresh, name), quiet_log_ratio(days, wait, told=TOLD[name]))
        for name, wait in days_to_tell(spans).items()
    }
    return replace(fresh, **unshown)


def days_to_tell(spans: Sequence[SpanEvidence | None]) -> dict[str, Floats]:
    """Give the days until rain tells each cause; infinite where nobody watches.

    Parameters
    ----------
    spans : sequence of SpanEvidence or None
        n of them, for how often it rains.

    Returns
    -------
    dict of str to ndarray, shape (n,)
        By the name of the cause.
    """
    spell_days = np.array([np.inf if s is None else s.days_per_spell for s in spans])
    quick, slow = SPELLS_TO_TELL * spell_days, SPELLS_TO_TELL_KNOCK * spell_days
    return {"blockage": quick, "deaths": quick, "knock": slow}


def _unshown(probability: Floats, log_ratio: Floats) -> Floats:
    """Give the probability of a cause that has not shown; a gauge does not heal by waiting."""
    return np.asarray(np.maximum.accumulate(move_by_odds(probability, log_ratio), axis=1))
