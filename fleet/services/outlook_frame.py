"""The outlook as tables: a row a variant, or a row a variant and week."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd

from fleet.services.outlook import Outlook
from fleet.services.outlook_order import Variant
from fleet.services.outlook_outcome import Outcome
from fleet.stats.array import Floats

LOW, HIGH = 0.1, 0.9
"""Four runs of five lie between these quantiles."""

VARIANT_COLUMNS = {
    "technicians": "str",
    "shift_hours": "str",
    "days_a_week": "str",
    "interval": "str",
    "visit_by": "str",
}

Series = Callable[[Outcome, int], Floats]


def _percent_in_date(outcome: Outcome, gauges: int) -> Floats:
    return 100.0 * (1.0 - outcome.weekly("overdue") / gauges)


def _percent_unfit(outcome: Outcome, gauges: int) -> Floats:
    return 100.0 * outcome.weekly("unfit") / gauges


def _of(count: str) -> Series:
    def give(outcome: Outcome, gauges: int) -> Floats:
        del gauges
        return outcome.weekly(count)

    return give


SERIES: dict[str, Series] = {
    "in_date_percent": _percent_in_date,
    "unfit_percent": _percent_unfit,
    "lost_record_days": _of("lost"),
    "overdue_gauges": _of("overdue"),
    "crew_days": _of("days"),
    "crew_hours": _of("hours"),
    "km": _of("km"),
    "visits": _of("visits"),
}
"""What is told of each week, shape (seeds, weeks); hours count each person."""

Reduce = Callable[[Floats], Floats]


def _mean(weekly: Floats) -> Floats:
    return np.asarray(weekly.mean(axis=1))


def _later(weekly: Floats) -> Floats:
    return np.asarray(weekly[:, weekly.shape[1] // 2 :].mean(axis=1))


def _sum(weekly: Floats) -> Floats:
    return np.asarray(weekly.sum(axis=1))


def _last(weekly: Floats) -> Floats:
    return weekly[:, -1]


SUMMARY: dict[str, tuple[str, Reduce]] = {
    "in_date_percent": ("in_date_percent", _mean),
    "later_in_date_percent": ("in_date_percent", _later),
    "unfit_percent": ("unfit_percent", _mean),
    "lost_record_days": ("lost_record_days", _sum),
    "overdue_at_end": ("overdue_gauges", _last),
    "crew_days_a_week": ("crew_days", _mean),
    "crew_hours_a_week": ("crew_hours", _mean),
    "km_a_week": ("km", _mean),
    "visits_a_week": ("visits", _mean),
}
"""What is told of a variant: a series, and what is made of its weeks; later: the second half."""


def summary_frame(outlook: Outlook) -> pd.DataFrame:
    """Give a row a variant.

    Parameters
    ----------
    outlook : Outlook
        As simulated.

    Returns
    -------
    DataFrame
        The variant; gauges, weeks and runs; of each part of `SUMMARY` the mean over the runs and
        the bounds of four runs of five (``_low``, ``_high``).
    """
    rows = []
    for outcome in outlook.outcomes:
        row: dict[str, object] = dict(variant_cells(outcome.variant))
        row |= {"gauges": outlook.gauges, "weeks": outlook.order.weeks, "runs": outlook.order.seeds}
        for name in SUMMARY:
            row |= _spread(name, by_seed(outcome, name, outlook.gauges))
        rows.append(row)
    return pd.DataFrame(rows)


def by_seed(outcome: Outcome, name: str, gauges: int) -> Floats:
    """Give one number a seed of a column of the summary, shape (seeds,)."""
    series, reduce = SUMMARY[name]
    return np.asarray(reduce(SERIES[series](outcome, gauges)))


def week_frame(outlook: Outlook) -> pd.DataFrame:
    """Give a row a variant and week, with mean and bounds of each part of `SERIES`."""
    return pd.DataFrame([row for outcome in outlook.outcomes for row in _weeks(outlook, outcome)])


def _weeks(outlook: Outlook, outcome: Outcome) -> Iterator[dict[str, object]]:
    series = {name: give(outcome, outlook.gauges) for name, give in SERIES.items()}
    for number, monday in enumerate(outlook.weeks):
        row: dict[str, object] = dict(variant_cells(outcome.variant))
        row["week_from"] = monday
        for name, weekly in series.items():
            row |= _spread(name, weekly[:, number])
        yield row


def _spread(name: str, values: Floats) -> dict[str, object]:
    low, high = np.quantile(values, (LOW, HIGH))
    return {
        name: round(float(values.mean()), 2),
        f"{name}_low": round(float(low), 2),
        f"{name}_high": round(float(high), 2),
    }


def variant_cells(variant: Variant) -> dict[str, str]:
    """Write a variant as the cells of its row."""
    crew = variant.crew
    days = variant.days_a_week
    return {
        "technicians": f"{crew.technicians:+d}" if crew.technicians else "as now",
        "shift_hours": "as now" if crew.hours is None else f"{crew.hours:g}",
        "days_a_week": "roster" if days is None or isinstance(days, tuple) else f"{days:g}",
        "interval": "policy" if variant.interval_days is None else str(variant.interval_days),
        "visit_by": variant.visit_by.value,
    }


FRAMES = {"variants": summary_frame, "weeks": week_frame}
