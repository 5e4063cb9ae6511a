"""The control chart of a place: errors as found and as left over time, within their limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from xml.etree import ElementTree as ET

from fleet.reports.map_ground import map_line
from fleet.reports.map_label import Point
from fleet.reports.markup import node
from fleet.reports.time_axes import (
    BOTTOM_MM,
    RIGHT_MM,
    SMALL_MM,
    TimeAxes,
    day_line,
    drawing,
    frame,
    legend,
    path,
    text,
)


@dataclass(frozen=True, slots=True)
class ControlPoint:
    """A measured phase: its day, error and expanded uncertainty in percent, and what it means.

    ``found`` is as found, else as left; ``bad`` is out of tolerance.
    """

    day: date
    error: float
    expanded: float
    found: bool
    bad: bool


@dataclass(frozen=True, slots=True)
class LimitLine:
    """One limit over time: its name, and its low and high from each day on, in percent."""

    name: str
    steps: tuple[tuple[date, float, float], ...]


@dataclass(frozen=True, slots=True)
class ControlPlot:
    """What is drawn between two days. ``swaps`` names the serial put up on a day."""

    alt: str
    first: date
    last: date
    points: tuple[ControlPoint, ...]
    limits: tuple[LimitLine, ...]
    adjusted: tuple[date, ...]
    swaps: tuple[tuple[date, str], ...]


DASHES = ("", "2.4 1.2", "0.8 0.8")
"""Lines of the first, second and third limit."""

BESIDE_MM = 1.1
"""As found stands so far left of its day, as left so far right, so that both are seen."""

REACH = 1.25
"""The frame reaches so far beyond the widest limit; errors farther out stand on its edge."""


def control_plot(plot: ControlPlot) -> ET.Element:
    """Draw a control chart.

    Parameters
    ----------
    plot : ControlPlot
        At least one limit; without points only frame and limits are drawn.

    Returns
    -------
    xml.etree.ElementTree.Element
        An ``svg`` in black and greys: a ring as found, a filled square as left, a cross through
        what is out of tolerance, bars of expanded uncertainty, a triangle at each adjustment, a
        dotted line at each swap.
    """
    widest = max(max(abs(low), abs(high)) for line in plot.limits for _, low, high in line.steps)
    axes = TimeAxes(plot.first, plot.last, -REACH * widest, REACH * widest)
    return drawing(
        plot.alt,
        *frame(axes, "error, % of expected tips"),
        map_line(
            axes.place(plot.first, 0), axes.place(plot.last, 0), stroke="#000", stroke_width=0.25
        ),
        *_limits(plot.limits, axes),
        *(
            part
            for row, (day, serial) in enumerate(plot.swaps)
            for part in day_line(axes, day, f"swap to {serial}", row=row % 3)
        ),
        *(part for day in plot.adjusted for part in _triangle(day, axes)),
        *(part for point in plot.points for part in _point(point, axes)),
        *legend(
            "ring: as found; filled square: as left; crossed: out of tolerance; bars: expanded "
            "uncertainty, k = 2.",
            "triangle below: adjusted; dotted line: another instrument put up; a figure at the "
            "edge: beyond the frame.",
        ),
    )


def _limits(lines: Sequence[LimitLine], axes: TimeAxes) -> Iterator[ET.Element]:
    taken: list[float] = []
    for line, dashes in zip(lines, DASHES, strict=False):
        for low_or_high in (_stair(line, axes, high=False), _stair(line, axes, high=True)):
            yield path(low_or_high, width=0.4, dashes=dashes, stroke="#555")
            y = low_or_high[-1][1]
            if all(abs(y - other) > SMALL_MM for other in taken):
                taken.append(y)
                yield text(line.name, (RIGHT_MM + 1.2, y + 0.9), size=SMALL_MM)


def _stair(line: LimitLine, axes: TimeAxes, *, high: bool) -> list[Point]:
    points: list[Point] = []
    for day, low_value, high_value in line.steps:
        here = axes.place(day, high_value if high else low_value)
        if points:
            points.append((here[0], points[-1][1]))
        points.append(here)
    return [*points, (axes.x(axes.last), points[-1][1])]


def _triangle(day: date, axes: TimeAxes) -> Iterator[ET.Element]:
    x = axes.x(day)
    base, top = BOTTOM_MM - 0.4, BOTTOM_MM - 2.9
    points = f"{x - 1.3:.2f},{base:.2f} {x + 1.3:.2f},{base:.2f} {x:.2f},{top:.2f}"
    yield node("polygon", points=points, fill="#fff", stroke="#000", stroke_width=0.35)


def _point(point: ControlPoint, axes: TimeAxes) -> Iterator[ET.Element]:
    x, y = axes.place(point.day, point.error)
    x += -BESIDE_MM if point.found else BESIDE_MM
    if axes.low <= point.error <= axes.high:
        ends = (axes.y(point.error - point.expanded), axes.y(point.error + point.expanded))
        yield map_line((x, ends[0]), (x, ends[1]), stroke="#777", stroke_width=0.3)
    else:
        shift = -1.6 if point.error < 0 else 4.0
        yield text(f"{point.error:+.1f}", (x + 1.8, y + shift), size=SMALL_MM)
    if point.found:
        yield node("circle", cx=x, cy=y, r=1.25, fill="#fff", stroke="#000", stroke_width=0.4)
    else:
        yield node("rect", x=x - 1.0, y=y - 1.0, width=2.0, height=2.0, fill="#000", stroke="none")
    if point.bad:
        for rise in (-1, 1):
            start, end = (x - 2.0, y + 2.0 * rise), (x + 2.0, y - 2.0 * rise)
            yield map_line(start, end, stroke="#000", stroke_width=0.4)
