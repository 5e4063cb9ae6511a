"""How a gauge is forecast to drift: its level since it was last known, and the fan ahead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from xml.etree import ElementTree as ET

from fleet.reports.map_ground import map_line
from fleet.reports.markup import node
from fleet.reports.time_axes import (
    RIGHT_MM,
    SMALL_MM,
    TimeAxes,
    area,
    day_line,
    drawing,
    frame,
    legend,
    path,
    text,
)

HALF, MOST = 0.6745, 1.6449
"""Standard deviations on each side that hold 50 % and 90 % of a normal law (tables of it)."""


@dataclass(frozen=True, slots=True)
class FanPoint:
    """A day: the middle of what is forecast, and its standard deviation, in percent."""

    day: date
    middle: float
    sd: float


@dataclass(frozen=True, slots=True)
class FanPlot:
    """What is drawn: points from the last known level on, the limits, and the day of asking.

    ``known`` tells whether the level was measured, or is where services of the type leave it.
    """

    alt: str
    points: tuple[FanPoint, ...]
    low: float
    high: float
    as_of: date
    due_on: date
    known: bool


def fan_plot(plot: FanPlot) -> ET.Element:
    """Draw the forecast of a gauge's level.

    Parameters
    ----------
    plot : FanPlot
        At least two points, in order of day.

    Returns
    -------
    xml.etree.ElementTree.Element
        An ``svg`` in black and greys: the middle as a line, 50 % and 90 % as two greys with
        their edges drawn, the limits dashed.
    """
    first, last = plot.points[0], plot.points[-1]
    ends = [plot.low, plot.high, *(_edges(plot.points, MOST, -1)), *(_edges(plot.points, MOST, 1))]
    span = max(ends) - min(ends)  # above it there is room for the names of the days
    axes = TimeAxes(first.day, last.day, min(ends) - 0.08 * span, max(ends) + 0.2 * span)
    start = axes.place(first.day, first.middle)
    return drawing(
        plot.alt,
        *(
            _band(axes, plot.points, width, fill)
            for width, fill in ((MOST, "#e4e4e4"), (HALF, "#c4c4c4"))
        ),
        *frame(axes, "level, % of expected tips"),
        *(_edge(axes, plot.points, width, side) for width in (MOST, HALF) for side in (-1, 1)),
        path([axes.place(point.day, point.middle) for point in plot.points], width=0.6),
        *(
            part
            for name, value in (("limit", plot.low), ("limit", plot.high))
            for part in _limit(axes, name, value)
        ),
        node(
            "rect",
            x=start[0] - 1.0,
            y=start[1] - 1.0,
            width=2.0,
            height=2.0,
            fill="#000" if plot.known else "#fff",
            stroke="#000",
            stroke_width=0.4,
        ),
        *day_line(axes, plot.as_of, f"as of {plot.as_of}"),
        *(
            day_line(axes, plot.due_on, f"due {plot.due_on}", row=1)
            if axes.first <= plot.due_on <= axes.last
            else ()
        ),
        *legend(
            "line: middle of the forecast; darker grey: 50 % of it; lighter grey: 90 %; dashed: "
            "limits as found.",
            "square: the level last known"
            if plot.known
            else "open square: not measured since a change; where services of its type leave it",
        ),
    )


def _edges(points: Sequence[FanPoint], width: float, side: int) -> list[float]:
    return [point.middle + side * width * point.sd for point in points]


def _band(axes: TimeAxes, points: Sequence[FanPoint], width: float, fill: str) -> ET.Element:
    upper = [axes.place(p.day, v) for p, v in zip(points, _edges(points, width, 1), strict=True)]
    lower = [axes.place(p.day, v) for p, v in zip(points, _edges(points, width, -1), strict=True)]
    return area([*upper, *reversed(lower)], fill)


def _edge(axes: TimeAxes, points: Sequence[FanPoint], width: float, side: int) -> ET.Element:
    places = zip(points, _edges(points, width, side), strict=True)
    return path([axes.place(p.day, v) for p, v in places], width=0.2, stroke="#666")


def _limit(axes: TimeAxes, name: str, value: float) -> tuple[ET.Element, ET.Element]:
    y = axes.y(value)
    line = map_line(axes.place(axes.first, value), (RIGHT_MM, y), stroke="#000", stroke_width=0.4)
    line.set("stroke-dasharray", "2.4 1.2")
    return line, text(f"{name} {value:+.1f}", (RIGHT_MM + 1.2, y + 0.9), size=SMALL_MM)
