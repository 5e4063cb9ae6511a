"""The search for a week's days: a quick first plan, then rounds of shaking and recombining."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from time import monotonic
from typing import Any

from fleet.planning.model import Model, ModelDay
from fleet.planning.quick_seed import seed_days
from fleet.planning.recombine import recombine
from fleet.planning.route_search import Shaking, search_days

Spread = Callable[..., Iterable[Any]]
"""Works through tasks and gives the results in their order, as `map` does."""

MOST_MOVES = (25, 5)
"""Moves that shake a plan at most: many suit days of many stops, few suit days of few."""

ROUND = 1000
"""Iterations of each search of a round."""

PATIENCE = 2
"""Rounds without a better plan after which the search ends."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to search: so many iterations, or less where the clock ends it first.

    ``until_s`` is on the clock of `time.monotonic`; None keeps the clock out of it.
    """

    iterations: int
    seed: int
    until_s: float | None = None


@dataclass(frozen=True, slots=True)
class Searched:
    """The best days found, and all days that were seen on the way, each once."""

    days: tuple[ModelDay, ...]
    seen: tuple[ModelDay, ...]


def find_days(
    model: Model, start: Sequence[ModelDay], effort: Effort, *, spread: Spread = map
) -> Searched:
    """Search for the days that score best.

    Parameters
    ----------
    model : Model
        Sites and crews.
    start : sequence of ModelDay
        A plan that keeps all limits, to begin from; without one a quick first plan is made.
    effort : Effort
        How long; without a clock the same effort gives the same days, however they are spread.
    spread : callable
        Works through the searches of a round.

    Returns
    -------
    Searched
        Days with stops, never worse than the start.

    Notes
    -----
    Each round searches on from the best plan so far, once with strong and once with weak
    shaking, and then chooses among all days seen so far the set that scores best.
    """
    if not model.visits:
        return Searched((), ())
    best: Sequence[ModelDay] = tuple(start) or seed_days(model)
    pool = dict.fromkeys(best)
    turns, iterations = _rounds(effort.iterations)
    idle, longest_s = 0, 0.0
    for turn in range(turns):
        began_s = monotonic()
        if idle == PATIENCE or (effort.until_s and began_s + longest_s > effort.until_s):
            break
        better = _round(
            model,
            (best, pool),
            _shakings(effort.seed, turn, iterations),
            spread=spread,
            fresh=not turn and not start,
        )
        idle = idle + 1 if _score(model, better) <= _score(model, best) else 0
        best = better
        longest_s = max(longest_s, monotonic() - began_s)
    return Searched(tuple(best), tuple(pool))


def _round(
    model: Model,
    known: tuple[Sequence[ModelDay], dict[ModelDay, None]],
    shakings: Sequence[Shaking],
    *,
    spread: Spread,
    fresh: bool,
) -> Sequence[ModelDay]:
    """Search on from the best plan, take the days seen into the pool, give the best plan found."""
    best, pool = known
    starts = [() if fresh and not number else best for number in range(len(shakings))]
    found = list(spread(search_days, [model] * len(shakings), starts, shakings))
    for each in found:
        pool.update(dict.fromkeys(each.noted))
    plans = [best, *(each.days for each in found)]
    return recombine(model, pool, max(plans, key=lambda days: _score(model, days)))


def _rounds(iterations: int) -> tuple[int, int]:
    """Divide iterations into rounds, and give those of one search."""
    searches = len(MOST_MOVES)
    rounds = max(1, round(iterations / (searches * ROUND)))
    return rounds, max(1, round(iterations / (searches * rounds)))


def _shakings(seed: int, turn: int, iterations: int) -> list[Shaking]:
    first = seed + turn * len(MOST_MOVES)
    return [
        Shaking(first + number, iterations, most_moves)
        for number, most_moves in enumerate(MOST_MOVES)
    ]


def _score(model: Model, days: Iterable[ModelDay]) -> int:
    return sum(model.value(day) for day in days)
