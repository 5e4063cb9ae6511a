"""One gauge's running total against its neighbours', month by month, for a person to look at."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.errors import NotFoundError
from fleet.reports.double_mass_plot import MassPlot, MassPoint, double_mass_plot
from fleet.reports.wording import counted
from fleet.services.rain_record import GatheredRain, gather_rain
from fleet.stats.array import Floats
from fleet.stats.double_mass import LEAST_PERIODS, DoubleMass, fit_double_mass, residual_mass
from fleet.stats.homogeneity import buishand_q, permutation_p, pettitt, snht, von_neumann
from fleet.stats.neighbour_choice import best_neighbours, nearest_gauges
from fleet.stats.neighbour_spell import SPELL_MM, middle_rain

MASS_COLUMNS = {
    "month": "str",
    "days": "int64",
    "gauge_mm": "float64",
    "neighbours_mm": "float64",
    "ratio": "float64",
    "gauge_sum_mm": "float64",
    "neighbours_sum_mm": "float64",
    "residual_mm": "float64",
    "services": "int64",
}


@dataclass(frozen=True, slots=True)
class MassAnswer:
    """The months, the best break with what it says, and the words for a person."""

    frame: pd.DataFrame
    curve: DoubleMass | None
    title: str
    subtitle: str
    notes: tuple[str, ...]

    def svg(self) -> bytes:
        """Draw the curve."""
        columns = ("neighbours_sum_mm", "gauge_sum_mm", "month", "services")
        rows = zip(*(self.frame[name].tolist() for name in columns), strict=True)
        points = [MassPoint(x, y, month, services > 0) for x, y, month, services in rows]
        before = None if self.curve is None else self.curve.before
        return double_mass_plot(
            MassPlot(self.title, self.subtitle, tuple(points), before, self.notes)
        )


def mass_curve(
    sessions: sessionmaker[Session],
    site_code: str,
    *,
    position: str | None = None,
    as_of: date,
    known_on: datetime | None = None,
    seed: int = 0,
) -> MassAnswer:
    """Add up one gauge and its neighbours by months.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head; only read from.
    site_code : str
    position : str, optional
        None takes the site's only one.
    as_of : date
        Nothing after this day is seen.
    known_on : datetime, optional
        As the records were known then; None is now.
    seed : int, default 0
        Of the shuffles behind the p-values.

    Returns
    -------
    MassAnswer
        Columns `MASS_COLUMNS`, oldest month first. Only days count on which the gauge and at
        least three of its neighbours have totals that may be trusted as rain.

    Raises
    ------
    NotFoundError
        No such site or position has daily totals, or the site has several and none was named.
    """
    with sessions() as session:
        rain = gather_rain(session, as_of=as_of, known_on=known_on)
    row = _row_of(rain, site_code, position)
    record = rain.record
    nearest = nearest_gauges(record.latitude_deg, record.longitude_deg)[row]
    others = best_neighbours(record.total_mm, row, nearest)
    own = record.total_mm[row].astype(np.float64)
    frame = _months(rain, row, own, middle_rain(own, record.total_mm[others].astype(np.float64)))
    station, group = frame["gauge_mm"].to_numpy(), frame["neighbours_mm"].to_numpy()
    drawable = len(frame) >= LEAST_PERIODS and station.sum() > 0 and group.sum() > 0
    curve = fit_double_mass(station, group) if drawable else None
    if curve is not None:
        frame["residual_mm"] = residual_mass(station, group).round(3)
    named = ", ".join("/".join(rain.keys[other]) for other in others)
    return MassAnswer(
        frame=frame,
        curve=curve,
        title=f"Double mass of {'/'.join(rain.keys[row])} as of {as_of}",
        subtitle=f"{counted(len(others), 'neighbour')}, their daily median: {named or 'none'}",
        notes=tuple(_notes(frame, curve, seed)),
    )


def _row_of(rain: GatheredRain, site_code: str, position: str | None) -> int:
    rows = [row for row, (site, _) in enumerate(rain.keys) if site == site_code]
    if not rows:
        raise NotFoundError(f"There are no daily totals of a site {site_code!r}.")
    named = [row for row in rows if position in (None, rain.keys[row][1])]
    if len(named) != 1:
        there = ", ".join(rain.keys[row][1] for row in rows)
        wish = "" if position is None else f" no position {position!r}; it has"
        raise NotFoundError(
            f"{site_code} has{wish} totals at: {there}. Name one of them with --position."
        )
    return named[0]


def _months(rain: GatheredRain, row: int, own: Floats, around: Floats) -> pd.DataFrame:
    days = pd.date_range(rain.first_day, periods=own.size, freq="D")
    told = ~np.isnan(around)
    table = pd.DataFrame(
        {
            "month": days.strftime("%Y-%m"),
            "days": told.astype(np.int64),
            "gauge_mm": np.where(told, own, 0.0),
            "neighbours_mm": np.where(told, around, 0.0),
            "services": rain.record.serviced[row].astype(np.int64),
        }
    )
    frame = table.groupby("month", as_index=False).sum()
    wet = frame["neighbours_mm"] > 0.0
    frame["ratio"] = (frame["gauge_mm"] / frame["neighbours_mm"].where(wet)).round(4)
    frame["gauge_sum_mm"] = frame["gauge_mm"].cumsum()
    frame["neighbours_sum_mm"] = frame["neighbours_mm"].cumsum()
    frame["residual_mm"] = np.nan
    return frame[list(MASS_COLUMNS)].round(3).astype(MASS_COLUMNS)


def _notes(frame: pd.DataFrame, curve: DoubleMass | None, seed: int) -> Iterator[str]:
    if curve is None:
        yield (
            f"No break can be sought: at least {LEAST_PERIODS} months, and rain at the gauge and "
            "its neighbours, are needed."
        )
        return
    yield (
        f"Best break after {frame['month'].iloc[curve.before - 1]}: the gauge had "
        f"{curve.ratio_before:.2f} of its neighbours' rain before and {curve.ratio_after:.2f} "
        f"since; totals before it x {curve.factor:.3f} would match those since."
    )
    wet = frame[frame["neighbours_mm"] >= SPELL_MM]
    ratios = wet["ratio"].to_numpy(dtype=np.float64)
    if ratios.size < LEAST_PERIODS or np.ptp(ratios) == 0.0:
        yield "Too few wet months, or all alike: no test for a change."
        return
    yield from _tests(ratios, wet["month"].tolist(), seed)
    yield (
        "p by shuffling. A break may be the gauge's, the site's or the neighbours': look before "
        "anything is adjusted. Water held back by a blockage is never scaled up."
    )


def _tests(ratios: Floats, months: list[str], seed: int) -> Iterator[str]:
    for name, test, found in (
        ("Pettitt K", "pettitt", pettitt(ratios)),
        ("SNHT T", "snht", snht(ratios)),
        ("Buishand Q", "buishand_q", buishand_q(ratios)),
    ):
        p = permutation_p(ratios, test, seed=seed)
        yield (
            f"{name} {found.statistic:.2f} after {months[found.before - 1]}, p {p:.4f} "
            f"({counted(ratios.size, 'monthly ratio')})."
        )
    p = permutation_p(ratios, "von_neumann", seed=seed)
    yield f"Von Neumann {von_neumann(ratios):.2f} (2 at rest), p {p:.4f}."
