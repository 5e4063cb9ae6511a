"""How the time of each work grows with the network: checked against linear, and drawn.

`python -m tests.benchmarks.growth` reads the measurements in growth.csv beside this file, prints
each growth against linear and draws growth.svg. The other benchmarks print what belongs there.
"""

from __future__ import annotations

import csv
import math
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

from fleet.reports.drawing import write_drawing
from fleet.reports.markup import node

HERE = Path(__file__).parent
ASKED = 1.3
"""Time may grow so many times as much as the work does."""

WIDTH_MM, HEIGHT_MM = 170.0, 130.0
LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 18.0, 62.0, 14.0, 14.0
DASHES = ("none", "3 1", "1 1", "4 1 1 1", "2 2", "6 1.5", "5 1 1 1 1 1", "1.5 0.7")
TITLE = "Time by size of the network"


@dataclass(frozen=True)
class Measured:
    """Processor time of one work at one size: what counts as its size stands in ``unit``."""

    work: str
    unit: str
    size: int
    busy_s: float

    @property
    def per_unit_s(self) -> float:
        """Give the processor time of one unit in s."""
        return self.busy_s / self.size


def read_measured(path: Path) -> list[Measured]:
    """Read measurements, in the file's order."""
    with path.open(encoding="utf-8", newline="") as lines:
        return [
            Measured(
                row["work"],
                row["unit"],
                int(row["size"]),
                float(row["processor_s"]),
            )
            for row in csv.DictReader(lines)
        ]


def by_work(measured: Sequence[Measured]) -> dict[str, list[Measured]]:
    """Gather the sizes of each work, smallest first."""
    works: dict[str, list[Measured]] = {}
    for one in sorted(measured, key=lambda one: one.size):
        works.setdefault(one.work, []).append(one)
    return {work: works[work] for work in dict.fromkeys(one.work for one in measured)}


def against_linear(points: Sequence[Measured]) -> float:
    """Give the time of a unit at the greatest size over that at the smallest: 1 is linear."""
    return points[-1].per_unit_s / points[0].per_unit_s


def table(works: Mapping[str, Sequence[Measured]]) -> list[str]:
    """Give a line a work, as a Markdown table."""
    rows = [
        f"| {work} | {points[0].size:,} to {points[-1].size:,} {points[0].unit} "
        f"| {points[0].busy_s:.2f} to {points[-1].busy_s:.2f} | {against_linear(points):.2f} "
        f"| {'yes' if against_linear(points) <= ASKED else 'NO'} |"
        for work, points in works.items()
    ]
    head = f"| work | sizes | processor s | against linear | at most {ASKED:g} |"
    return [head, "|---|---|---|---|---|", *rows]


def growth_plot(works: Mapping[str, Sequence[Measured]]) -> ET.Element:
    """Draw processor time over size, both by powers of ten, a line a work.

    Thin slanted lines show what grows linearly; the slope of a line against theirs tells.
    """
    every = [one for points in works.values() for one in points]
    scale = _Scale(
        across=_decades(one.size for one in every), up=_decades(one.busy_s for one in every)
    )
    return node(
        "svg",
        node("title", f"{TITLE}. Processor time in s, both axes by powers of ten."),
        node("rect", x=0, y=0, width=WIDTH_MM, height=HEIGHT_MM, fill="#fff"),
        _text(TITLE, (LEFT_MM, 7.0), size=4.2, weight="bold"),
        *_grid(scale),
        *(part for n, item in enumerate(works.items()) for part in _course(scale, n, *item)),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH_MM:g} {HEIGHT_MM:g}",
        width=f"{WIDTH_MM:g}mm",
        height=f"{HEIGHT_MM:g}mm",
        font_family="Noto Sans, sans-serif",
    )


@dataclass(frozen=True)
class _Scale:
    """Powers of ten at the ends of both axes."""

    across: tuple[int, int]
    up: tuple[int, int]

    def at(self, size: float, seconds: float) -> tuple[float, float]:
        """Give the place of a point in mm."""
        return (
            LEFT_MM + _share(size, self.across) * (WIDTH_MM - LEFT_MM - RIGHT_MM),
            HEIGHT_MM - BOTTOM_MM - _share(seconds, self.up) * (HEIGHT_MM - TOP_MM - BOTTOM_MM),
        )


def _share(value: float, ends: tuple[int, int]) -> float:
    return (math.log10(value) - ends[0]) / (ends[1] - ends[0])


def _decades(values: Iterator[float] | Iterator[int]) -> tuple[int, int]:
    logs = [math.log10(value) for value in values]
    low = math.floor(min(logs))
    return low, max(math.ceil(max(logs)), low + 1)


def _grid(scale: _Scale) -> Iterator[ET.Element]:
    left, right = (10.0**power for power in scale.across)
    bottom, top = (10.0**power for power in scale.up)
    for power in range(scale.across[0], scale.across[1] + 1):
        (x, low), (_, high) = scale.at(10.0**power, bottom), scale.at(10.0**power, top)
        yield _line([(x, low), (x, high)], stroke="#ddd")
        yield _text(f"{10**power:,}", (x, low + 4.0), anchor="middle")
    for power in range(scale.up[0], scale.up[1] + 1):
        (start, y), (end, _) = scale.at(left, 10.0**power), scale.at(right, 10.0**power)
        yield _line([(start, y), (end, y)], stroke="#ddd")
        yield _text(f"{10.0**power:g} s", (start - 1.5, y + 1.0), anchor="end")
    for power in range(scale.up[0] - scale.across[1], scale.up[1] - scale.across[0] + 1):
        first = max(left, bottom / 10.0**power)
        last = min(right, top / 10.0**power)
        if first < last:
            ends = [scale.at(size, size * 10.0**power) for size in (first, last)]
            yield _line(ends, stroke="#bbb", dash="0.6 1.2")


def _course(
    scale: _Scale, number: int, work: str, points: Sequence[Measured]
) -> Iterator[ET.Element]:
    places = [scale.at(one.size, one.busy_s) for one in points]
    yield _line(places, stroke="#000", dash=DASHES[number % len(DASHES)], width=0.4)
    for x, y in places:
        yield node("circle", cx=x, cy=y, r=0.9, fill="#000")
    x, y = WIDTH_MM - RIGHT_MM + 4.0, TOP_MM + 4.0 + 9.0 * number
    yield _line([(x, y), (x + 8.0, y)], stroke="#000", dash=DASHES[number % len(DASHES)], width=0.4)
    yield _text(work, (x + 9.5, y + 1.0))
    told = f"{against_linear(points):.2f} x linear, by {points[0].unit}"
    yield _text(told, (x + 9.5, y + 4.6), size=2.4)


def _line(
    places: Sequence[tuple[float, float]], *, stroke: str, dash: str = "none", width: float = 0.2
) -> ET.Element:
    return node(
        "polyline",
        points=" ".join(f"{x:.2f},{y:.2f}" for x, y in places),
        fill="none",
        stroke=stroke,
        stroke_width=width,
        stroke_dasharray=dash,
    )


def _text(
    words: str,
    at: tuple[float, float],
    *,
    size: float = 2.8,
    anchor: str = "start",
    weight: str = "normal",
) -> ET.Element:
    place = {"x": at[0], "y": at[1]}
    return node("text", words, font_size=size, text_anchor=anchor, font_weight=weight, **place)


def main() -> None:
    """Print the growth of each work and draw them all."""
    works = by_work(read_measured(HERE / "growth.csv"))
    sys.stdout.write("\n".join([*table(works), ""]))
    write_drawing(
        HERE / "growth.svg", growth_plot(works), title=TITLE, size_mm=(WIDTH_MM, HEIGHT_MM)
    )


if __name__ == "__main__":
    main()
