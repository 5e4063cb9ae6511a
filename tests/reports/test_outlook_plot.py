"""The drawing of the weeks ahead, read back as SVG; places worked by hand [CALC]."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from fleet.reports.outlook_plot import (
    LEFT_MM,
    RIGHT_MM,
    STRIP_MM,
    OutlookPlot,
    Strip,
    WeekLine,
    outlook_drawing,
)


def line(*mean: float, spread: float = 1.0) -> WeekLine:
    return WeekLine(mean, tuple(v - spread for v in mean), tuple(v + spread for v in mean))


def drawn(*strips: Strip, variants: tuple[str, ...] = ("one", "two")) -> ET.Element:
    ticks = ((0, "2026-11-23"),)
    return outlook_drawing(OutlookPlot("Weeks", "drawn", variants, strips, ticks))


def points(drawing: ET.Element, kind: str) -> list[list[tuple[float, float]]]:
    return [
        [tuple(map(float, pair.split(","))) for pair in part.get("points", "").split()]
        for part in drawing.iter(kind)
    ]


def texts(drawing: ET.Element) -> list[str]:
    return [part.text or "" for part in drawing.iter("text")]


def test_lines_run_over_the_weeks_and_stand_at_their_values() -> None:
    drawing = drawn(Strip("Lost", (line(0.0, 5.0, 10.0, spread=0.0),)), variants=("one",))

    (path,) = points(drawing, "polyline")
    assert [x for x, _ in path] == pytest.approx([LEFT_MM, (LEFT_MM + RIGHT_MM) / 2, RIGHT_MM])
    heights = [path[0][1] - y for _, y in path]
    assert heights == pytest.approx([0.0, STRIP_MM / 2, STRIP_MM])  # the axis ends at 10


def test_range_is_drawn_about_its_line() -> None:
    drawing = drawn(Strip("Lost", (line(4.0, 6.0),)), variants=("one",))

    (shape,), (path,) = points(drawing, "polygon"), points(drawing, "polyline")
    high, low = shape[:2], shape[2:][::-1]
    assert [y for _, y in high] < [y for _, y in path] < [y for _, y in low]


def test_axis_of_a_share_ends_at_the_whole_and_begins_below_the_least() -> None:
    strip = Strip("In date", (line(92.0, 97.0),), whole=100.0, target=95.0)

    begin, end, step = strip.axis()

    assert (end, step) == (100.0, 2.5)
    assert begin == 90.0
    assert "target 95" in texts(drawn(strip, variants=("one",)))


def test_variants_differ_by_dashes_and_carry_letters_that_do_not_meet() -> None:
    drawing = drawn(Strip("Lost", (line(5.0, 5.0), line(5.0, 5.0))))

    dashes = [part.get("stroke-dasharray") for part in drawing.iter("polyline")]
    assert dashes == [None, "2.4 1.2"]
    places = {part.text: float(part.get("y", 0)) for part in drawing.iter("text")}
    assert places["B"] - places["A"] == pytest.approx(2.9)
    assert {"A one", "B two"} <= set(texts(drawing))


def test_drawing_is_in_black_and_greys_and_grows_with_its_strips() -> None:
    one, two = (
        drawn(Strip("Lost", (line(1.0, 2.0),))),
        drawn(Strip("Lost", (line(1.0, 2.0),)), Strip("Hours", (line(3.0, 4.0),))),
    )

    colours = {part.get(name) for part in two.iter() for name in ("fill", "stroke")}
    assert colours <= {None, "none", "#000", "#fff", "#ccc"}
    assert float(str(two.get("height")).removesuffix("mm")) - float(
        str(one.get("height")).removesuffix("mm")
    ) == pytest.approx(47.0)


def test_strip_without_lines_is_drawn_empty() -> None:
    drawing = drawn(Strip("Lost", ()), variants=())

    assert points(drawing, "polyline") == []
    assert "Lost" in texts(drawing)
