"""The weeks ahead as a drawing: one strip a measure, one line a variant with its range."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10
from xml.etree import ElementTree as ET

from fleet.reports.map_ground import map_line
from fleet.reports.map_label import Point
from fleet.reports.markup import node
from fleet.reports.wording import figure, plain_text, shorten

WIDTH_MM = 180.0
LEFT_MM, RIGHT_MM = 18.0, 168.0
HEAD_MM, LEGEND_MM, STRIP_MM, GAP_MM, FOOT_MM = 16.0, 4.6, 36.0, 11.0, 8.0
TEXT_MM, SMALL_MM = 3.0, 2.7
TICKS_WANTED = 4
LETTER_MM = 2.9
"""Least distance between the letters at the ends of two lines."""

DASHES = ("", "2.4 1.2", "0.7 0.9", "4 1 0.8 1", "5 2", "1.6 0.6 0.5 0.6 0.5 0.6")
"""How lines are told apart besides their letters; they come round again after six."""

LONGEST_NAME = 92
LEAST_END = 1.0
"""No axis that begins at 0 ends below this."""


@dataclass(frozen=True, slots=True)
class WeekLine:
    """One variant in one strip: the mean of each week and the bounds of its range."""

    mean: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Strip:
    """One measure: its words, a line a variant, and where the axis must reach at least.

    A share has ``whole`` as its end; its axis may then begin above 0. ``target`` is drawn across.
    """

    words: str
    lines: tuple[WeekLine, ...]
    whole: float | None = None
    target: float | None = None

    def axis(self) -> tuple[float, float, float]:
        """Give where the axis begins and ends, and its step."""
        most = max((max(line.high) for line in self.lines), default=0.0)
        least = min((min(line.low) for line in self.lines), default=0.0)
        if self.whole is None:
            step = _step(max(most, LEAST_END))
            return 0.0, step * ceil(max(most, LEAST_END) / step - 1e-9), step
        step = _step(max(self.whole - least, self.whole / 10.0))
        return max(0.0, self.whole - step * ceil((self.whole - least) / step)), self.whole, step


@dataclass(frozen=True, slots=True)
class OutlookPlot:
    """All that is drawn; ``ticks`` name weeks by their number, from 0."""

    title: str
    subtitle: str
    variants: tuple[str, ...]
    strips: tuple[Strip, ...]
    ticks: tuple[tuple[int, str], ...]

    @property
    def height_mm(self) -> float:
        """Give the height of the drawing."""
        strips = len(self.strips) * (STRIP_MM + GAP_MM)
        return HEAD_MM + LEGEND_MM * len(self.variants) + strips + FOOT_MM


def outlook_drawing(plot: OutlookPlot) -> ET.Element:
    """Draw the weeks ahead.

    Parameters
    ----------
    plot : OutlookPlot
        Strips of the same weeks; no variant gives the empty strips.

    Returns
    -------
    xml.etree.ElementTree.Element
        An ``svg`` element in black and greys. Lines differ by dashes and carry the letter of
        their variant at the end; the grey about a line is its range.
    """
    top = HEAD_MM + LEGEND_MM * len(plot.variants) + GAP_MM - 4.0
    return node(
        "svg",
        node("title", plain_text(f"{plot.title}. {plot.subtitle}")),
        node("rect", x=0, y=0, width=WIDTH_MM, height=plot.height_mm, fill="#fff"),
        _text(plot.title, (LEFT_MM, 7.0), size=4.2, weight="bold"),
        _text(plot.subtitle, (LEFT_MM, 12.0), size=SMALL_MM),
        *_legend(plot.variants),
        *(
            part
            for number, strip in enumerate(plot.strips)
            for part in _strip(strip, plot.ticks, top + number * (STRIP_MM + GAP_MM))
        ),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH_MM:g} {plot.height_mm:g}",
        width=f"{WIDTH_MM:g}mm",
        height=f"{plot.height_mm:g}mm",
        font_family="Noto Sans, sans-serif",
    )


@dataclass(frozen=True, slots=True)
class _Axes:
    """Where weeks and values of one strip lie on paper: its top, and the ends of its axis."""

    top: float
    begin: float
    end: float
    weeks: int

    def x(self, week: float) -> float:
        return LEFT_MM + (RIGHT_MM - LEFT_MM) * week / max(1, self.weeks - 1)

    def y(self, value: float) -> float:
        return self.top + STRIP_MM * (self.end - value) / (self.end - self.begin)


def _letter(number: int) -> str:
    return chr(ord("A") + number % 26)


def _legend(variants: Sequence[str]) -> Iterator[ET.Element]:
    for number, words in enumerate(variants):
        y = HEAD_MM + LEGEND_MM * number + 2.0
        yield _dashed((LEFT_MM, y - 1.0), (LEFT_MM + 12.0, y - 1.0), number)
        name = f"{_letter(number)} {shorten(plain_text(words), longest=LONGEST_NAME)}"
        yield _text(name, (LEFT_MM + 14.0, y), size=SMALL_MM)


def _strip(strip: Strip, ticks: Sequence[tuple[int, str]], top: float) -> Iterator[ET.Element]:
    weeks = max((len(line.mean) for line in strip.lines), default=1)
    begin, end, step = strip.axis()
    axes = _Axes(top, begin, end, weeks)
    yield _text(strip.words, (LEFT_MM, top - 1.8), size=TEXT_MM, weight="bold")
    for line in strip.lines:
        yield _range(line, axes)
    yield from _grid(axes, step, ticks)
    if strip.target is not None and strip.target > begin:
        y = axes.y(strip.target)
        yield map_line((LEFT_MM, y), (RIGHT_MM, y), stroke="#000", stroke_width=0.2)
        words = f"target {strip.target:g}"
        yield _text(words, (RIGHT_MM - 1.0, y + 3.0), size=SMALL_MM, anchor="end")
    for number, line in enumerate(strip.lines):
        points = " ".join(f"{axes.x(w):.2f},{axes.y(v):.2f}" for w, v in enumerate(line.mean))
        drawn = node("polyline", points=points, fill="none", stroke="#000", stroke_width=0.45)
        _dash(drawn, number)
        yield drawn
    yield from _letters(strip.lines, axes)


def _grid(axes: _Axes, step: float, ticks: Sequence[tuple[int, str]]) -> Iterator[ET.Element]:
    for number in range(round((axes.end - axes.begin) / step) + 1):
        value = axes.begin + step * number
        y = axes.y(value)
        yield map_line((LEFT_MM, y), (RIGHT_MM, y), stroke="#ccc", stroke_width=0.15)
        yield _text(figure(value), (LEFT_MM - 1.5, y + 1.0), size=SMALL_MM, anchor="end")
    for week, words in ticks:
        x, base = axes.x(week), axes.top + STRIP_MM
        yield map_line((x, base), (x, base + 1.0), stroke="#000", stroke_width=0.2)
        yield _text(words, (x, base + 4.0), size=SMALL_MM, anchor="middle")
    frame = {"x": LEFT_MM, "y": axes.top, "width": RIGHT_MM - LEFT_MM, "height": STRIP_MM}
    yield node("rect", fill="none", stroke="#000", stroke_width=0.3, **frame)


def _range(line: WeekLine, axes: _Axes) -> ET.Element:
    there = [f"{axes.x(w):.2f},{axes.y(v):.2f}" for w, v in enumerate(line.high)]
    back = [f"{axes.x(w):.2f},{axes.y(v):.2f}" for w, v in enumerate(line.low)][::-1]
    shape = node("polygon", points=" ".join(there + back), fill="#000", fill_opacity=0.1)
    shape.set("stroke", "none")
    return shape


def _letters(lines: Sequence[WeekLine], axes: _Axes) -> Iterator[ET.Element]:
    """Put each variant's letter at the end of its line, pushed down where two would meet."""
    ends = sorted((axes.y(line.mean[-1]), number) for number, line in enumerate(lines))
    last = -LETTER_MM
    for y, number in ends:
        last = max(y, last + LETTER_MM)
        yield _text(_letter(number), (RIGHT_MM + 2.0, last + 1.0), size=SMALL_MM, weight="bold")


def _step(end: float) -> float:
    rough = end / TICKS_WANTED
    power = 10.0 ** floor(log10(rough))
    return next(power * part for part in (1, 2, 2.5, 5, 10) if power * part >= rough * 0.999)


def _dashed(start: Point, end: Point, number: int) -> ET.Element:
    line = map_line(start, end, stroke="#000", stroke_width=0.45)
    _dash(line, number)
    return line


def _dash(line: ET.Element, number: int) -> None:
    if dashes := DASHES[number % len(DASHES)]:
        line.set("stroke-dasharray", dashes)


def _text(
    words: str, at: Point, *, size: float = TEXT_MM, anchor: str = "start", weight: str = "normal"
) -> ET.Element:
    place = {"x": at[0], "y": at[1], "font_size": size}
    return node(
        "text", plain_text(words), text_anchor=anchor, font_weight=weight, fill="#000", **place
    )
