"""The drawing of a double-mass curve, read back as XML."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from fleet.reports.double_mass_plot import MassPlot, MassPoint, double_mass_plot

SVG = "{http://www.w3.org/2000/svg}"
POINTS = (
    MassPoint(100.0, 110.0, "2025-01"),
    MassPoint(180.0, 190.0, "2025-02", serviced=True),
    MassPoint(260.0, 230.0, "2025-03"),
    MassPoint(390.0, 290.0, "2025-04"),
)


def drawn(**changes) -> ET.Element:
    plot = {
        "title": "Double mass of S01/A",
        "subtitle": "3 neighbours",
        "points": POINTS,
        "before": 2,
        "notes": ("Best break after 2025-02.",),
        **changes,
    }
    return ET.fromstring(double_mass_plot(MassPlot(**plot)))


def texts(drawing: ET.Element) -> list[str]:
    return [element.text or "" for element in drawing.iter(f"{SVG}text")]


def test_the_curve_has_a_ring_a_period_filled_where_serviced():
    rings = list(drawn().iter(f"{SVG}circle"))

    assert [ring.get("fill") for ring in rings] == ["#fff", "#000", "#fff", "#fff"]
    assert [ring.find(f"{SVG}title").text for ring in rings] == [p.period for p in POINTS]


def test_the_points_lie_where_the_axes_say():
    drawing = drawn()
    ends = [float(text) for text in texts(drawing) if text.replace(".", "").isdigit()]
    ring = list(drawing.iter(f"{SVG}circle"))[-1]

    assert max(ends) == 400.0
    assert float(ring.get("cx")) == pytest.approx(20 + 144 * 390 / 400, abs=0.01)
    assert float(ring.get("cy")) == pytest.approx(128 - 102 * 290 / 300, abs=0.01)


def test_the_break_is_named_and_the_older_ratio_runs_on_dashed():
    drawing = drawn()
    dashed = [line for line in drawing.iter(f"{SVG}line") if line.get("stroke-dasharray")]

    assert "break after 2025-02" in texts(drawing)
    assert len(dashed) == 1
    rise = (float(dashed[0].get("y1")) - float(dashed[0].get("y2"))) / 102 * 300
    run = (float(dashed[0].get("x2")) - float(dashed[0].get("x1"))) / 144 * 400
    assert rise / run == pytest.approx(190 / 180, rel=0.01)


def test_without_a_break_nothing_is_dashed():
    drawing = drawn(before=None)

    assert not [line for line in drawing.iter(f"{SVG}line") if line.get("stroke-dasharray")]
    assert not any("dashed" in text for text in texts(drawing))


def test_no_points_give_the_empty_frame_and_the_words():
    drawing = drawn(points=(), before=None)

    assert list(drawing.iter(f"{SVG}circle")) == []
    assert "Double mass of S01/A" in texts(drawing)


def test_long_notes_are_broken_into_lines_and_the_drawing_grows():
    short, long = drawn(), drawn(notes=("word " * 200,))

    assert float(long.get("viewBox").split()[3]) > float(short.get("viewBox").split()[3])
    assert max(len(text) for text in texts(long)) <= 96


def test_names_from_the_records_are_kept_harmless():
    drawing = drawn(title="S<01>&\n麻野", notes=("a\u202eb",))

    assert "S<01>& 麻野" in texts(drawing)
    assert "ab" in texts(drawing)


def test_the_same_input_gives_the_same_bytes():
    plot = MassPlot("t", "s", POINTS, 2)

    assert double_mass_plot(plot) == double_mass_plot(plot)
