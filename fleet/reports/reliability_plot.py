"""The reliability diagram: what was forecast across, what came true upwards."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

from fleet.reports.drawing import write_drawing
from fleet.reports.markup import node

WIDTH_MM = 130.0
HEIGHT_MM = 158.0
LEFT_MM, TOP_MM, SIDE_MM = 18.0, 16.0, 104.0
COUNT_TOP_MM, COUNT_MM = 130.0, 14.0
"""The square of the diagram, and under it the strip that shows how many forecasts there were."""

TEXT_MM = 3.2
TICKS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)


@dataclass(frozen=True, slots=True)
class PlotPoint:
    """Forecasts of about one size: shares of 0 to 1, and how many they were.

    ``low`` and ``high`` bound the share that came true, ``seen``.
    """

    forecast: float
    seen: float
    low: float
    high: float
    checks: int


@dataclass(frozen=True, slots=True)
class PlotWords:
    """What stands around the diagram: a title and one line under it."""

    title: str
    subtitle: str


def reliability_plot(points: Sequence[PlotPoint], words: PlotWords) -> ET.Element:
    """Draw a reliability diagram.

    Parameters
    ----------
    points : sequence of PlotPoint
        In any order; none gives the empty diagram.
    words : PlotWords
        Title and subtitle, as plain text.

    Returns
    -------
    xml.etree.ElementTree.Element
        An ``svg`` element in black and greys: a ring a size of forecast with the interval of
        its share as a bar, the diagonal of perfect forecasts dashed, and the number of checks
        as columns below.
    """
    return node(
        "svg",
        node("title", f"{words.title}. {words.subtitle}"),
        node("rect", x=0, y=0, width=WIDTH_MM, height=HEIGHT_MM, fill="#fff"),
        _text(words.title, (LEFT_MM, 6.5), size=4.2, weight="bold"),
        _text(words.subtitle, (LEFT_MM, 11.5), size=2.9),
        *_frame(),
        *(part for point in points for part in _point(point)),
        *_columns(points),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH_MM:g} {HEIGHT_MM:g}",
        width=f"{WIDTH_MM:g}mm",
        height=f"{HEIGHT_MM:g}mm",
        font_family="Noto Sans, sans-serif",
    )


def write_plot(path: Path, drawing: ET.Element, words: PlotWords) -> None:
    """Write a diagram as the file's ending says; see `write_drawing`."""
    write_drawing(path, drawing, title=words.title, size_mm=(WIDTH_MM, HEIGHT_MM))


def _x(share: float) -> float:
    return LEFT_MM + SIDE_MM * share


def _y(share: float) -> float:
    return TOP_MM + SIDE_MM * (1.0 - share)


def _frame() -> Iterator[ET.Element]:
    for tick in TICKS:
        yield _line((_x(0), _y(tick)), (_x(1), _y(tick)), stroke="#ccc", width=0.2)
        yield _line((_x(tick), _y(0)), (_x(tick), _y(1)), stroke="#ccc", width=0.2)
        yield _text(f"{100 * tick:g}", (_x(0) - 1.5, _y(tick) + 1.1), anchor="end")
        yield _text(f"{100 * tick:g}", (_x(tick), _y(0) + 4.2), anchor="middle")
    diagonal = _line((_x(0), _y(0)), (_x(1), _y(1)), stroke="#555", width=0.35)
    diagonal.set("stroke-dasharray", "2 1.2")
    yield diagonal
    edge = {"x": _x(0), "y": _y(1), "width": SIDE_MM, "height": SIDE_MM}
    yield node("rect", fill="none", stroke="#000", stroke_width=0.3, **edge)
    yield _text("forecast, %", (_x(0.5), _y(0) + 8.4), anchor="middle")
    upright = _text("found, % (bars: exact 95 % interval)", (6.0, _y(0.5)), anchor="middle")
    upright.set("transform", f"rotate(-90 6 {_y(0.5):g})")
    yield upright


def _point(point: PlotPoint) -> Iterator[ET.Element]:
    x = _x(point.forecast)
    yield _line((x, _y(point.low)), (x, _y(point.high)), stroke="#000", width=0.45)
    for end in (point.low, point.high):
        yield _line((x - 1.1, _y(end)), (x + 1.1, _y(end)), stroke="#000", width=0.45)
    ring = {"cx": x, "cy": _y(point.seen), "r": 1.5}
    yield node("circle", fill="#fff", stroke="#000", stroke_width=0.5, **ring)


def _columns(points: Sequence[PlotPoint]) -> Iterator[ET.Element]:
    """Draw how many checks each point stands for; the number is written above its column."""
    most = max((point.checks for point in points), default=1)
    base = COUNT_TOP_MM + COUNT_MM + 6.0
    for point in points:
        tall = COUNT_MM * point.checks / most
        x = _x(point.forecast)
        column = {"x": x - 1.2, "y": base - tall, "width": 2.4, "height": tall}
        yield node("rect", fill="#888", **column)
        yield _text(str(point.checks), (x, base - tall - 0.8), size=2.6, anchor="middle")
    yield _line((_x(0), base), (_x(1), base), stroke="#000", width=0.3)
    yield _text("number of checks at each forecast", (_x(0.5), base + 4.2), anchor="middle")


def _line(
    start: tuple[float, float], end: tuple[float, float], *, stroke: str, width: float
) -> ET.Element:
    (x1, y1), (x2, y2) = start, end
    return node("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=stroke, stroke_width=width)


def _text(
    words: str,
    at: tuple[float, float],
    *,
    size: float = TEXT_MM,
    anchor: str = "start",
    weight: str = "normal",
) -> ET.Element:
    return node(
        "text",
        words,
        x=at[0],
        y=at[1],
        font_size=size,
        text_anchor=anchor,
        font_weight=weight,
        fill="#000",
    )
