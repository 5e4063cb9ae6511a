"""The reliability diagram: everything in its place, and the picture is one."""

from __future__ import annotations

import io
from xml.etree import ElementTree as ET

import pytest
from PIL import Image
from pypdf import PdfReader

from fleet.errors import FleetError
from fleet.reports.reliability_plot import PlotPoint, PlotWords, reliability_plot, write_plot

WORDS = PlotWords("Forecast & found", "20 checks < 30")
POINTS = (PlotPoint(0.1, 0.2, 0.05, 0.45, 16), PlotPoint(0.75, 0.5, 0.07, 0.93, 4))
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def drawing() -> ET.Element:
    return ET.fromstring(ET.tostring(reliability_plot(POINTS, WORDS)))


def test_each_point_lies_where_its_shares_say(drawing):
    rings = drawing.findall(f"{SVG}circle")

    # the square is 104 mm a side, its lower left corner 18 mm right and 120 mm down
    places = [(float(ring.get("cx", "")), float(ring.get("cy", ""))) for ring in rings]
    assert places == [(28.4, 99.2), (96.0, 68.0)]


def test_bars_span_the_interval(drawing):
    lines = [
        (float(line.get("x1", "")), float(line.get("y1", "")), float(line.get("y2", "")))
        for line in drawing.findall(f"{SVG}line")
        if line.get("x1") == line.get("x2") and line.get("stroke") == "#000"
    ]

    assert (28.4, 114.8, 73.2) in lines
    assert (96.0, 112.72, 23.28) in lines


def test_numbers_of_checks_stand_below_and_words_are_only_text(drawing):
    texts = [text.text for text in drawing.findall(f"{SVG}text")]

    assert {"16", "4", "Forecast & found", "20 checks < 30", "forecast, %"} <= set(texts)
    columns = [r for r in drawing.findall(f"{SVG}rect") if r.get("fill") == "#888"]
    heights = [float(column.get("height", "")) for column in columns]
    assert heights == [14.0, 3.5]


def test_diagram_without_points_is_an_empty_square():
    drawing = reliability_plot((), WORDS)

    assert drawing.findall("circle") == []


def test_svg_file_holds_the_drawing(tmp_path):
    path = tmp_path / "plot.svg"

    write_plot(path, reliability_plot(POINTS, WORDS), WORDS)

    assert len(ET.parse(path).getroot().findall(f"{SVG}circle")) == 2


def test_png_file_is_a_picture_of_the_same_shape(tmp_path):
    path = tmp_path / "plot.png"

    write_plot(path, reliability_plot(POINTS, WORDS), WORDS)

    picture = Image.open(io.BytesIO(path.read_bytes())).convert("L")
    # 130 x 158 mm at 150 dots an inch
    assert picture.size == (768, 933)
    dark = sum(count for grey, count in enumerate(picture.histogram()) if grey < 100)
    assert 0.005 < dark / (768 * 933) < 0.1


def test_pdf_file_is_one_page_of_the_same_shape_and_the_same_bytes_again(tmp_path):
    first, again = tmp_path / "plot.pdf", tmp_path / "again.pdf"

    for path in (first, again):
        write_plot(path, reliability_plot(POINTS, WORDS), WORDS)

    pages = PdfReader(first).pages
    assert len(pages) == 1
    # 130 x 158 mm at 72 points an inch
    assert [float(x) for x in pages[0].mediabox[2:]] == pytest.approx([368.5, 447.9], abs=0.1)
    assert first.read_bytes() == again.read_bytes()


def test_other_endings_are_refused_and_nothing_is_written(tmp_path):
    path = tmp_path / "plot.jpg"

    with pytest.raises(FleetError, match=r"a plot ends in \.svg, \.png or \.pdf"):
        write_plot(path, reliability_plot(POINTS, WORDS), WORDS)

    assert list(tmp_path.iterdir()) == []
