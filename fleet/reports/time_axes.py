"""The frame of a drawing over time: days across, a figure upwards, all in mm on paper."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, floor
from xml.etree import ElementTree as ET

from fleet.reports.map_ground import map_line, map_text
from fleet.reports.map_label import Point
from fleet.reports.markup import node
from fleet.reports.plot_scale import round_step
from fleet.reports.wording import figure, plain_text

WIDTH_MM, HEIGHT_MM = 180.0, 96.0
LEFT_MM, TOP_MM, RIGHT_MM, BOTTOM_MM = 16.0, 5.0, 158.0, 76.0
"""The frame; what stands right of it are the names of lines."""

TEXT_MM, SMALL_MM, LINE_MM = 2.9, 2.6, 4.0
MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60)
MOST_MARKS = 10


@dataclass(frozen=True, slots=True)
class TimeAxes:
    """Between which days, and which figures, is drawn."""

    first: date
    last: date
    low: float
    high: float

    def x(self, day: date) -> float:
        """Give where a day lies across, in mm."""
        share = (day - self.first).days / max(1, (self.last - self.first).days)
        return LEFT_MM + (RIGHT_MM - LEFT_MM) * share

    def y(self, value: float) -> float:
        """Give where a figure lies upwards, in mm; beyond the frame on its edge."""
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return BOTTOM_MM - (BOTTOM_MM - TOP_MM) * share

    def place(self, day: date, value: float) -> Point:
        """Give a point on paper."""
        return self.x(day), self.y(value)


def drawing(alt: str, *parts: ET.Element) -> ET.Element:
    """Put parts together as one ``svg`` element in black and greys."""
    return node(
        "svg",
        node("title", plain_text(alt)),
        node("rect", x=0, y=0, width=WIDTH_MM, height=HEIGHT_MM, fill="#fff"),
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH_MM:g} {HEIGHT_MM:g}",
        width=f"{WIDTH_MM:g}mm",
        height=f"{HEIGHT_MM:g}mm",
        font_family="Noto Sans, sans-serif",
    )


def frame(axes: TimeAxes, words: str) -> Iterator[ET.Element]:
    """Draw the grid, its figures, and what is drawn upwards."""
    step = round_step(axes.high - axes.low, 7)
    for number in range(ceil(axes.low / step), floor(axes.high / step) + 1):
        y = axes.y(step * number)
        yield map_line((LEFT_MM, y), (RIGHT_MM, y), stroke="#ddd", stroke_width=0.2)
        yield text(figure(step * number), (LEFT_MM - 1.5, y + 1.0), anchor="end")
    for day in month_marks(axes.first, axes.last):
        x = axes.x(day)
        yield map_line((x, TOP_MM), (x, BOTTOM_MM), stroke="#eee", stroke_width=0.2)
        yield map_line((x, BOTTOM_MM), (x, BOTTOM_MM + 1.2), stroke="#000", stroke_width=0.3)
        yield text(f"{day:%Y-%m}", (x, BOTTOM_MM + 4.4), anchor="middle", size=SMALL_MM)
    size = {"width": RIGHT_MM - LEFT_MM, "height": BOTTOM_MM - TOP_MM}
    yield node("rect", x=LEFT_MM, y=TOP_MM, fill="none", stroke="#000", stroke_width=0.3, **size)
    middle = (TOP_MM + BOTTOM_MM) / 2
    upright = text(words, (4.0, middle), anchor="middle")
    upright.set("transform", f"rotate(-90 4 {middle:g})")
    yield upright


def month_marks(first: date, last: date) -> list[date]:
    """Give the first days of months between two days, at most about ten, evenly apart."""
    months = range(first.year * 12 + first.month, last.year * 12 + last.month)
    step = next((s for s in MONTH_STEPS if len(months) / s <= MOST_MARKS), MONTH_STEPS[-1])
    return [date(month // 12, month % 12 + 1, 1) for month in months if month % step == 0]


def legend(*lines: str) -> Iterator[ET.Element]:
    """Write the lines that say what the marks mean, under the frame."""
    for number, line in enumerate(lines):
        yield text(line, (LEFT_MM, BOTTOM_MM + 9.5 + LINE_MM * number), size=SMALL_MM)


def path(
    points: Sequence[Point], *, width: float, dashes: str = "", stroke: str = "#000"
) -> ET.Element:
    """Draw a line through points."""
    places = " ".join(f"{x:.2f},{y:.2f}" for x, y in points)
    line = node("polyline", points=places, fill="none", stroke=stroke, stroke_width=width)
    if dashes:
        line.set("stroke-dasharray", dashes)
    return line


def area(points: Sequence[Point], fill: str) -> ET.Element:
    """Fill the shape between points."""
    places = " ".join(f"{x:.2f},{y:.2f}" for x, y in points)
    return node("polygon", points=places, fill=fill, stroke="none")


def text(
    words: str, at: Point, *, size: float = TEXT_MM, anchor: str = "start", weight: str = "normal"
) -> ET.Element:
    """Write words; `at` is the base line."""
    place = {"x": at[0], "y": at[1], "font_size": size}
    return node(
        "text", plain_text(words), text_anchor=anchor, font_weight=weight, fill="#000", **place
    )


def day_line(axes: TimeAxes, day: date, words: str, *, row: int = 0) -> Iterator[ET.Element]:
    """Draw a dotted line upwards at a day, named at its top."""
    x = axes.x(day)
    yield path([(x, TOP_MM), (x, BOTTOM_MM)], width=0.3, dashes="0.6 0.9", stroke="#333")
    right = x > (LEFT_MM + RIGHT_MM) / 2
    place = (x - 0.8 if right else x + 0.8, TOP_MM + 3.2 + 3.4 * row)
    yield map_text(plain_text(words), place, SMALL_MM, anchor="end" if right else "start")
