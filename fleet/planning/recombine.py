"""Put days of several plans together to one plan that is at least as good as each."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence

from fleet.planning.linear import Column, DayProgram, Row
from fleet.planning.model import Model, ModelDay

MOST_DAYS = 2000
"""Days that are put together at most; those that score best are kept."""


def recombine(
    model: Model, pool: Iterable[ModelDay], best: Sequence[ModelDay]
) -> tuple[ModelDay, ...]:
    """Choose from a pool of days the set that scores best.

    Parameters
    ----------
    model : Model
        Sites and crews; a day may be given to every crew of the same limits that may go there.
    pool : iterable of ModelDay
        Days that keep all limits.
    best : sequence of ModelDay
        The plan to be bettered.

    Returns
    -------
    tuple of ModelDay
        At most one day a crew and one visit a site; the same for the same pool. ``best`` where
        nothing better was found within a set number of steps.
    """
    days = _best_orders(model, pool)
    kinds = _kinds(model)
    offers = [(kind, day) for day in days for kind in kinds if _suits(model, day, kinds[kind][0])]
    if not offers:
        return tuple(best)
    rows, columns = _program(model, kinds, offers)
    program = DayProgram(rows, scale=float(max(1, *(abs(c.value) for c in columns))))
    program.add(columns)
    chosen = program.choose(sum(map(model.value, best)))
    return _give_out([offers[place] for place in chosen], kinds) if chosen else tuple(best)


def _program(
    model: Model, kinds: Mapping[int, Sequence[int]], offers: Sequence[tuple[int, ModelDay]]
) -> tuple[list[Row], list[Column]]:
    sites = {key: row for row, key in enumerate(model.alternatives())}
    rows = [Row(0.0, 1.0) for _ in sites] + [Row(0.0, float(len(c))) for c in kinds.values()]
    columns = [
        Column(
            float(model.value(day)),
            {**{sites[model.visits[v].key]: 1.0 for v in day[1]}, len(sites) + kind: 1.0},
        )
        for kind, day in offers
    ]
    return rows, columns


def _best_orders(model: Model, pool: Iterable[ModelDay]) -> list[ModelDay]:
    """Keep the best day of each set of visits and limits, at most so many."""
    best: dict[tuple[tuple[object, ...], frozenset[int]], ModelDay] = {}
    for day in pool:
        key = (_limits(model, day[0]), frozenset(day[1]))
        if day[1] and (key not in best or model.value(day) > model.value(best[key])):
            best[key] = day
    return sorted(best.values(), key=lambda day: (-model.value(day), day))[:MOST_DAYS]


def _kinds(model: Model) -> dict[int, list[int]]:
    """Give the crews with the same limits who may go to the same sites, by number."""
    alike: defaultdict[tuple[object, ...], list[int]] = defaultdict(list)
    for crew in range(len(model.crews)):
        alike[(*_limits(model, crew), model.may[:, crew].tobytes())].append(crew)
    return dict(enumerate(alike.values()))


def _limits(model: Model, crew: int) -> tuple[object, ...]:
    own = model.crews[crew]
    clock = (own.starts_min, own.ends_min, own.break_min, own.max_driving_min)
    return (*clock, own.start_key, own.end_key, len(own.members))


def _suits(model: Model, day: ModelDay, crew: int) -> bool:
    may = model.may[list(day[1]), crew].all()
    return bool(may) and _limits(model, day[0]) == _limits(model, crew)


def _give_out(
    chosen: Sequence[tuple[int, ModelDay]], kinds: dict[int, list[int]]
) -> tuple[ModelDay, ...]:
    taken: Counter[int] = Counter()
    days: list[ModelDay] = []
    for kind, (_, visits) in chosen:
        days.append((kinds[kind][taken[kind]], visits))
        taken[kind] += 1
    return tuple(sorted(days))
