"""The outlook in plain sentences: what holds the target, what a change buys, what was assumed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from fleet.services.outlook import Outlook
from fleet.services.outlook_frame import HIGH, LOW, by_seed
from fleet.services.outlook_hold import DepotHolding, Holding
from fleet.services.outlook_order import Variant, VisitBy
from fleet.services.outlook_outcome import Outcome
from fleet.stats.array import Floats


def outlook_sentences(outlook: Outlook) -> Iterator[str]:
    """Answer the questions that the outlook was asked for.

    Yields
    ------
    str
        First what was simulated, then a sentence for each variant, each target, each change.
    """
    yield _setting(outlook)
    for outcome in outlook.outcomes:
        yield _fate(outlook, outcome)
    for holding in outlook.holdings:
        yield from _held(outlook, holding)
    if outlook.never_served:
        first = variant_words(replace(outlook.outcomes[0].variant, days_a_week=None))
        yield (
            f"No crew can visit {', '.join(outlook.never_served)} in any of the weeks ({first}): "
            "too far, no access, too few persons or no skill. Their gauges count as they stand."
        )
    base = outlook.outcomes[0]
    for other in outlook.outcomes[1:]:
        yield _bought(outlook, base, other)
    if not outlook.compliance and _interval_idle(outlook):
        yield (
            "By worth, the interval only says what counts as overdue: the policy adds nothing for "
            "being overdue, so no visit depends on it. Compare by due date (--visit-by due), or "
            "name what a day overdue adds (--compliance)."
        )
    yield (
        f"Assumed: {100 * outlook.failed_share:.1f} % of the visits fail at the site; crews, leave "
        "and closures as recorded; no holds, no new gauges. The rounds are built by a fast "
        "planner that stands in for the real one."
    )


def variant_words(variant: Variant) -> str:
    """Name a variant in a few words."""
    more = variant.crew.technicians
    parts = ["present crews" if not more else f"{more:+d} technician a depot"]
    if abs(more) > 1:
        parts = [f"{more:+d} technicians a depot"]
    if variant.crew.hours is not None:
        parts.append(f"shifts of {variant.crew.hours:g} h")
    if isinstance(variant.days_a_week, float | int):
        days = "crew-day" if variant.days_a_week == 1 else "crew-days"
        parts.append(f"at most {variant.days_a_week:g} {days} a week a depot")
    if variant.interval_days is not None:
        parts.append(f"interval {variant.interval_days} days")
    parts.append("by worth" if variant.visit_by is VisitBy.WORTH else "by due date")
    return ", ".join(parts)


def _setting(outlook: Outlook) -> str:
    order = outlook.order
    return (
        f"{outlook.gauges} gauges over {order.weeks} weeks from {outlook.first_day}, "
        f"{order.seeds} futures drawn from the forecasts as of {order.as_of}; in brackets what "
        f"four runs of five lie between. {outlook.travel_source}."
    )


def _fate(outlook: Outlook, outcome: Outcome) -> str:
    def part(name: str, digits: int) -> str:
        return _figure(by_seed(outcome, name, outlook.gauges), digits)

    return (
        f"{_capital(variant_words(outcome.variant))}: {part('in_date_percent', 1)} % in date "
        f"({part('later_in_date_percent', 1)} in the second half), "
        f"{part('unfit_percent', 1)} % unfit, {part('lost_record_days', 0)} record-days lost; "
        f"a week {part('crew_days_a_week', 1)} crew-days, "
        f"{part('crew_hours_a_week', 0)} crew-hours, "
        f"{part('km_a_week', 0)} km, {part('visits_a_week', 1)} gauges serviced."
    )


def _held(outlook: Outlook, holding: Holding) -> Iterator[str]:
    target = f"{outlook.order.target_percent:g} % in date over the second half of the weeks"
    variant = variant_words(holding.variant)
    held = [depot for depot in holding.depots if depot.days is not None]
    if held:
        parts = "; ".join(f"{d.depot_code} {d.days} ({_share(d)})" for d in held)
        total = f", {sum(d.days or 0 for d in held)} in all" if len(held) > 1 else ""
        yield f"Crew-days a week that hold {target} ({variant}): {parts}{total}."
    for depot in holding.depots:
        if depot.days is None:
            yield (
                f"{depot.depot_code}: the whole roster, up to {depot.rostered} crew-days a week, "
                f"does not hold {target} ({variant}): {_share(depot)}."
            )


def _share(depot: DepotHolding) -> str:
    return f"{depot.in_date_percent:.1f} % [{depot.low_percent:.1f} to {depot.high_percent:.1f}]"


def _bought(outlook: Outlook, base: Outcome, other: Outcome) -> str:
    def change(name: str) -> Floats:
        return by_seed(other, name, outlook.gauges) - by_seed(base, name, outlook.gauges)

    saved = -change("lost_record_days")
    verb = "saves" if saved.mean() >= 0 else "costs"
    return (
        f"{_capital(variant_words(other.variant))}, against the first of these: {verb} "
        f"{_figure(saved if verb == 'saves' else -saved, 0)} record-days, "
        f"{_signed(change('in_date_percent'), 1)} points in date, a week "
        f"{_signed(change('crew_hours_a_week'), 0)} crew-hours and "
        f"{_signed(change('km_a_week'), 0)} km."
    )


def _interval_idle(outlook: Outlook) -> bool:
    return any(
        outcome.variant.interval_days is not None and outcome.variant.visit_by is VisitBy.WORTH
        for outcome in outlook.outcomes
    )


def _figure(values: Floats, digits: int) -> str:
    low, high = np.quantile(values, (LOW, HIGH))
    return f"{_round(values.mean(), digits)} [{_round(low, digits)} to {_round(high, digits)}]"


def _signed(values: Floats, digits: int) -> str:
    low, high = (_round(v, digits) for v in np.quantile(values, (LOW, HIGH)))
    return f"{values.mean():+,.{digits}f} [{low} to {high}]"


def _round(value: float, digits: int) -> str:
    text = f"{value:,.{digits}f}"
    return text.removeprefix("-") if float(text.replace(",", "")) == 0.0 else text


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
