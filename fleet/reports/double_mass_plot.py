"""The double-mass curve as a drawing: a gauge's running total against its neighbours'."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor
from textwrap import wrap
from xml.etree import ElementTree as ET

from fleet.reports.map_ground import map_line
from fleet.reports.map_label import Point
from fleet.reports.markup import node
from fleet.reports.plot_scale import round_step
from fleet.reports.wording import figure, plain_text

WIDTH_MM, HEIGHT_MM = 170.0, 150.0
LEFT_MM, TOP_MM, RIGHT_MM, BOTTOM_MM = 20.0, 26.0, 164.0, 128.0
"""The frame of the curve."""

TEXT_MM = 3.0
TICKS_WANTED = 8
LINE_CHARACTERS = 96
"""What fits in one line of small words."""

SMALL_MM, LINE_MM = 2.7, 4.2


@dataclass(frozen=True, slots=True)
class MassPoint:
    """Running totals in mm at the end of a period, its name, and whether a service fell in it."""

    neighbours_mm: float
    gauge_mm: float
    period: str
    serviced: bool = False


@dataclass(frozen=True, slots=True)
class MassPlot:
    """What is drawn: the points, oldest first, the break, and the words around them.

    ``before`` periods lie before the break; None draws none. ``notes`` stand under the curve.
    """

    title: str
    subtitle: str
    points: tuple[MassPoint, ...]
    before: int | None
    notes: tuple[str, ...] = ()


def double_mass_plot(plot: MassPlot) -> bytes:
    """Draw a double-mass curve as SVG.

    Parameters
    ----------
    plot : MassPlot
        Without points only frame and words are drawn.

    Returns
    -------
    bytes
        One ``svg`` element in black and greys, UTF-8, the same for the same input: a ring at
        the end of each period, filled where the gauge was serviced in it; a dashed line where
        the curve would run on, had its ratio before the break lasted.
    """
    axes = _Axes(_round_end(plot.points, True), _round_end(plot.points, False))
    drawing = node(
        "svg",
        node("title", plain_text(f"{plot.title}. {plot.subtitle}")),
        node("rect", x=0, y=0, width=WIDTH_MM, height=HEIGHT_MM, fill="#fff"),
        _text(plot.title, (LEFT_MM, 8.0), size=4.2, weight="bold"),
        *_lines(plot.subtitle, top=13.0),
        *_grid(axes),
        *_break(plot, axes),
        *_curve(plot.points, axes),
        *_legend(plot),
        *_lines(*plot.notes, top=BOTTOM_MM + 15.0),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH_MM:g} {_tall(plot):g}",
        width=f"{WIDTH_MM:g}mm",
        height=f"{_tall(plot):g}mm",
        font_family="Noto Sans, sans-serif",
    )
    drawing[1].set("height", f"{_tall(plot):g}")
    return (ET.tostring(drawing, encoding="unicode") + "\n").encode()


@dataclass(frozen=True, slots=True)
class _Axes:
    """Where the axes end, in mm of rain."""

    x_end: float
    y_end: float

    def place(self, neighbours_mm: float, gauge_mm: float) -> Point:
        """Give the point on paper."""
        return (
            LEFT_MM + (RIGHT_MM - LEFT_MM) * neighbours_mm / self.x_end,
            BOTTOM_MM - (BOTTOM_MM - TOP_MM) * gauge_mm / self.y_end,
        )


def _tall(plot: MassPlot) -> float:
    lines = sum(len(wrap(note, LINE_CHARACTERS)) for note in plot.notes)
    return max(HEIGHT_MM, BOTTOM_MM + 15.0 + LINE_MM * lines)


def _lines(*words: str, top: float) -> Iterator[ET.Element]:
    lines = [line for one in words for line in wrap(plain_text(one), LINE_CHARACTERS)]
    for number, line in enumerate(lines):
        yield _text(line, (LEFT_MM, top + LINE_MM * number), size=SMALL_MM)


def _round_end(points: Sequence[MassPoint], across: bool) -> float:
    most = max((p.neighbours_mm if across else p.gauge_mm for p in points), default=0.0)
    step = _step(max(most, 1.0))
    return step * ceil(max(most, 1.0) / step)


def _step(end: float) -> float:
    """Give a round step that divides an axis into about eight."""
    return round_step(end, TICKS_WANTED)


def _ticks(end: float) -> list[float]:
    step = _step(end)
    return [step * number for number in range(floor(end / step + 1e-9) + 1)]


def _grid(axes: _Axes) -> Iterator[ET.Element]:
    for tick in _ticks(axes.x_end):
        x, base = axes.place(tick, 0.0)
        yield map_line((x, TOP_MM), (x, base), stroke="#ddd", stroke_width=0.2)
        yield _text(figure(tick), (x, base + 4.5), anchor="middle")
    for tick in _ticks(axes.y_end):
        left, y = axes.place(0.0, tick)
        yield map_line((left, y), (RIGHT_MM, y), stroke="#ddd", stroke_width=0.2)
        yield _text(figure(tick), (left - 1.5, y + 1.1), anchor="end")
    frame = {"x": LEFT_MM, "y": TOP_MM, "width": RIGHT_MM - LEFT_MM, "height": BOTTOM_MM - TOP_MM}
    yield node("rect", fill="none", stroke="#000", stroke_width=0.3, **frame)
    middle = (TOP_MM + BOTTOM_MM) / 2
    across = (LEFT_MM + RIGHT_MM) / 2
    yield _text("neighbours, running total in mm", (across, BOTTOM_MM + 9.0), anchor="middle")
    upright = _text("gauge, running total in mm", (5.5, middle), anchor="middle")
    upright.set("transform", f"rotate(-90 5.5 {middle:g})")
    yield upright


def _curve(points: Sequence[MassPoint], axes: _Axes) -> Iterator[ET.Element]:
    places = [axes.place(point.neighbours_mm, point.gauge_mm) for point in points]
    path = " ".join(f"{x:.2f},{y:.2f}" for x, y in [axes.place(0.0, 0.0), *places])
    yield node("polyline", points=path, fill="none", stroke="#000", stroke_width=0.5)
    for point, (x, y) in zip(points, places, strict=True):
        fill = "#000" if point.serviced else "#fff"
        ring = node("circle", cx=x, cy=y, r=1.1, fill=fill, stroke="#000", stroke_width=0.35)
        ring.append(node("title", plain_text(point.period)))
        yield ring


def _break(plot: MassPlot, axes: _Axes) -> Iterator[ET.Element]:
    """Draw the older ratio on past the break, and name the period before it."""
    if plot.before is None:
        return
    turn = plot.points[plot.before - 1]
    if turn.neighbours_mm <= 0.0 or turn.gauge_mm <= 0.0:
        return
    ratio = turn.gauge_mm / turn.neighbours_mm
    far = min(axes.x_end, axes.y_end / ratio)
    x, y = axes.place(turn.neighbours_mm, turn.gauge_mm)
    on = map_line((x, y), axes.place(far, far * ratio), stroke="#555", stroke_width=0.35)
    on.set("stroke-dasharray", "2 1.2")
    yield on
    yield map_line((x, y), (x, BOTTOM_MM), stroke="#555", stroke_width=0.35)
    right = x > (LEFT_MM + RIGHT_MM) / 2
    words = f"break after {turn.period}"
    yield _text(
        words, (x - 1.5 if right else x + 1.5, BOTTOM_MM - 2.0), anchor="end" if right else "start"
    )


def _legend(plot: MassPlot) -> Iterator[ET.Element]:
    parts = ["ring: end of a month", "filled: serviced in it"]
    if plot.before is not None:
        parts.append("dashed: where the older ratio would lead")
    yield _text("; ".join(parts) + ".", (LEFT_MM, TOP_MM - 2.0), size=SMALL_MM)


def _text(
    words: str, at: Point, *, size: float = TEXT_MM, anchor: str = "start", weight: str = "normal"
) -> ET.Element:
    place = {"x": at[0], "y": at[1], "font_size": size}
    return node(
        "text", plain_text(words), text_anchor=anchor, font_weight=weight, fill="#000", **place
    )
