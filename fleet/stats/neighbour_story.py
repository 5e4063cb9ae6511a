"""What can have happened to a gauge since a service: stories, each a set of paths of levels."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import log, log1p

import numpy as np

from fleet.stats.array import Floats, Ints
from fleet.stats.neighbour_level import STEP, LevelTable, level_index

SLIDE_STARTS = 8
"""A slow change may begin at so many spells, evenly spread over the span."""

FARTHEST_STEP = 0.40
"""A knock or leak of more than 40 % looks like a switch or a blockage."""

FARTHEST_SINK = 0.60
"""A slow fall of more than 60 % ends as a blockage."""

CHOKED = (-3.0, -0.9)
"""Log ratio of a gauge through which some water still passes: a twentieth to four tenths."""

HALF_SD = 0.06
"""Spread of the log ratio about a half or a double, from one side's share of the tips."""

WITHIN = ((0.0, 0.6), (-0.5, 0.2), (0.5, 0.2))
"""Slow changes of a fit gauge, in shares of its tolerance, and how often each: the middle of
what may be (common practice, no published source)."""


class Alarm(StrEnum):
    """What the ratio to the neighbours does."""

    SILENT = "silent"
    CHOKED = "choked"
    HALVED = "halved"
    DOUBLED = "doubled"
    STEP_DOWN = "step_down"
    STEP_UP = "step_up"
    SINKING = "sinking"
    RISING = "rising"


class Cause(StrEnum):
    """What makes a gauge unfit."""

    DRIFT = "drift"
    BLOCKAGE = "blockage"
    SWITCH = "switch"
    DISCONNECTION = "disconnection"


SHARE_OF_CAUSE: dict[Cause, dict[Alarm, float]] = {
    Cause.DRIFT: {
        Alarm.SINKING: 0.40,
        Alarm.STEP_DOWN: 0.25,
        Alarm.RISING: 0.20,
        Alarm.STEP_UP: 0.15,
    },
    Cause.BLOCKAGE: {
        Alarm.SILENT: 0.40,
        Alarm.CHOKED: 0.30,
        Alarm.STEP_DOWN: 0.15,
        Alarm.SINKING: 0.15,
    },
    Cause.SWITCH: {
        Alarm.SILENT: 0.50,
        Alarm.HALVED: 0.20,
        Alarm.DOUBLED: 0.10,
        Alarm.STEP_DOWN: 0.10,
        Alarm.STEP_UP: 0.10,
    },
    Cause.DISCONNECTION: {Alarm.SILENT: 1.0},
}
"""How a cause shows in the ratio (common practice, no published source): blocked = next to
nothing while neighbours are wet; drift = slow change; switch = near a half or double; a level
that was knocked = a step. Switches that bounce or miss now and then make smaller steps."""


@dataclass(frozen=True, slots=True)
class Frame:
    """What the stories of one gauge are told within.

    ``base_sd`` is how far its level after the service may lie from its usual. With probability
    ``doubt`` the usual itself was no sound one, and the level lies about that of the neighbours,
    ``place_level``, give or take ``place_sd``. ``low`` and ``high`` are the log ratios at which
    it is out of tolerance, low < 0 < high. ``days``, shape (m,), is when each spell was.
    """

    base_sd: float
    doubt: float
    place_level: float
    place_sd: float
    low: float
    high: float
    days: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """A story against the data: its log-likelihood, and where it begins and leads to.

    ``begin``, shape (m,), is the probability that it began with each spell; ``offset`` the
    middle log ratio to which it leads, None for silence.
    """

    log_likelihood: float
    begin: Floats
    offset: float | None


def tell_fit(table: LevelTable, frame: Frame) -> float:
    """Give the log-likelihood that the gauge is fit: at rest, or changing within tolerance."""
    bases, base_log = spread_bases(frame)
    inside = [(share * (frame.high if share > 0 else -frame.low), p) for share, p in WITHIN]
    offsets = np.array([offset for offset, _ in inside])
    weights = np.log([p for _, p in inside])
    paths = _slides(table, bases, offsets, starts=np.array([0]), days=frame.days)
    return log_sum(paths + base_log[:, None, None] + weights[None, :, None])


def tell_stories(table: LevelTable, frame: Frame) -> dict[Alarm, Told]:
    """Tell every story of a fault that lasts from some spell on.

    Parameters
    ----------
    table : LevelTable
        Of the m spells since the service, m at least 1.
    frame : Frame

    Returns
    -------
    dict
        In the order of `Alarm`.

    Notes
    -----
    A story's likelihood is the mean of the likelihoods of its paths: over the level after the
    service (normal about the usual), over the spell with which it begins (each as likely), and
    over the level to which it leads (each as likely; normal about a half or a double).
    """
    low, high, days, bases = frame.low, frame.high, frame.days, spread_bases(frame)
    step_low, sink_low = min(log(1 - FARTHEST_STEP), low), min(log(1 - FARTHEST_SINK), low)
    farthest_high = max(log(1 + FARTHEST_STEP), high)
    return {
        Alarm.SILENT: _tell_silent(table, bases),
        Alarm.CHOKED: _tell_step(table, bases, _even(*CHOKED, 22)),
        Alarm.HALVED: _tell_step(table, bases, _about(log(0.5))),
        Alarm.DOUBLED: _tell_step(table, bases, _about(log(2.0))),
        Alarm.STEP_DOWN: _tell_step(table, bases, _even(step_low, low, 12)),
        Alarm.STEP_UP: _tell_step(table, bases, _even(high, farthest_high, 8)),
        Alarm.SINKING: _tell_slide(table, bases, _even(sink_low, low, 8), days),
        Alarm.RISING: _tell_slide(table, bases, _even(high, farthest_high, 6), days),
    }


def cause_log_ratios(log_ratio: dict[Alarm, float]) -> dict[Cause, float]:
    """Give the log likelihood ratio of each cause from those of the stories.

    Examples
    --------
    >>> even = cause_log_ratios(dict.fromkeys(Alarm, 0.0))
    >>> [round(value, 9) + 0.0 for value in even.values()]
    [0.0, 0.0, 0.0, 0.0]
    """
    return {
        cause: log_sum(np.array([log_ratio[a] + log(share) for a, share in shares.items()]))
        for cause, shares in SHARE_OF_CAUSE.items()
    }


def log_sum(logs: Floats) -> float:
    """Give the logarithm of the sum of the exponentials of all values."""
    highest = float(np.max(logs))
    return highest + log(float(np.sum(np.exp(logs - highest))))


Weighted = tuple[Floats, Floats]
"""Levels, in log ratio, and their log weights, of which the exponentials add up to 1."""


def _even(low: float, high: float, count: int) -> Weighted:
    """Spread levels evenly: spells scatter by a tenth and more, so a few per cent apart will do."""
    return np.linspace(low, high, count), np.full(count, -log(count))


def _about(middle: float) -> Weighted:
    offsets = np.asarray(middle + STEP * np.arange(-6, 7), dtype=np.float64)
    logs = -(((offsets - middle) / HALF_SD) ** 2) / 2.0
    return offsets, np.asarray(logs - log_sum(logs))


def spread_bases(frame: Frame) -> Weighted:
    """Give the levels that the service may have left, and their log weights."""
    usual, usual_log = _normal(0.0, frame.base_sd)
    place, place_log = _normal(frame.place_level, frame.place_sd)
    if frame.doubt >= 1.0:
        return place, place_log
    weights = [usual_log + log1p(-frame.doubt), place_log + log(frame.doubt)]
    return np.concatenate([usual, place]), np.concatenate(weights)


def _normal(middle: float, sd: float) -> Weighted:
    """Give levels spread over a normal law, and their log weights."""
    spacing = max(STEP, sd / 2.0)
    reach = int(np.ceil(2.5 * sd / spacing))
    steps = spacing * np.arange(-reach, reach + 1)
    logs = np.asarray(-((steps / sd) ** 2) / 2.0, dtype=np.float64)
    return np.asarray(middle + steps), logs - log_sum(logs)


def _tell_silent(table: LevelTable, bases: Weighted) -> Told:
    before = table.sums[level_index(bases[0])][:, :-1]
    after = table.silent_sums[-1] - table.silent_sums[:-1]
    paths = (before + after + bases[1][:, None])[:, None, :]
    return _judge(paths, starts=np.arange(table.spells), offsets=None, spells=table.spells)


def _tell_step(table: LevelTable, bases: Weighted, led: Weighted) -> Told:
    before = table.sums[level_index(bases[0])][:, None, :-1]
    there = table.sums[level_index(bases[0][:, None] + led[0])]
    paths = before + there[..., -1:] - there[..., :-1]
    paths = paths + bases[1][:, None, None] + led[1][None, :, None]
    return _judge(paths, starts=np.arange(table.spells), offsets=led[0], spells=table.spells)


def _tell_slide(table: LevelTable, bases: Weighted, led: Weighted, days: Floats) -> Told:
    starts = np.unique(np.linspace(0, table.spells - 1, SLIDE_STARTS).astype(np.int64))
    paths = _slides(table, bases[0], led[0], starts=starts, days=days)
    paths = paths + bases[1][:, None, None] + led[1][None, :, None]
    return _judge(paths, starts=starts, offsets=led[0], spells=table.spells)


def _slides(
    table: LevelTable, bases: Floats, offsets: Floats, *, starts: Ints, days: Floats
) -> Floats:
    """Add up the spells along changes that end with the last, shape (bases, offsets, starts)."""
    begin = days[starts][:, None]
    share = np.clip((days - begin) / np.maximum(days[-1] - begin, 1.0), 0.0, 1.0)
    share[:, -1] = 1.0
    level = bases[:, None, None, None] + offsets[:, None, None] * share
    spell = np.arange(table.spells)
    return np.asarray(table.at[level_index(level), spell].sum(axis=-1))


def _judge(paths: Floats, *, starts: Ints, offsets: Floats | None, spells: int) -> Told:
    """Average the paths, shape (bases, offsets, starts), and say where most of them begin."""
    total = log_sum(paths)
    weight = np.exp(paths - total)
    begin = np.zeros(spells)
    begin[starts] = weight.sum(axis=(0, 1))
    led = None if offsets is None else _middle(offsets, weight.sum(axis=(0, 2)))
    return Told(total - log(starts.size), begin, led)


def _middle(values: Floats, weights: Floats) -> float:
    reached = np.cumsum(weights)
    return float(values[int(np.searchsorted(reached, reached[-1] / 2.0))])
