"""The evidence pack as a document, read back with pypdf.

The names of the metadata (pdfaid, pdfuaid) are those of ISO 19005-3 and ISO 14289-1, from memory.
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, date, datetime
from hashlib import sha256
from xml.etree import ElementTree as ET

import pypdf
import pytest

from fleet.errors import FleetWarning
from fleet.reports.control_plot import ControlPlot, ControlPoint, LimitLine, control_plot
from fleet.reports.fan_plot import FanPlot, FanPoint, fan_plot
from fleet.reports.in_date_plot import SharePoint, in_date_plot
from fleet.reports.pack_pdf import (
    JSON,
    Pack,
    PackDrawing,
    PackFigure,
    PackFile,
    PackSection,
    pack_pdf,
)

FIRST, LAST = date(2024, 1, 1), date(2025, 12, 31)
CONTROL = ControlPlot(
    alt="Control chart of S01: 3 phases measured.",
    first=FIRST,
    last=LAST,
    points=(
        ControlPoint(date(2024, 6, 1), -4.0, 1.2, found=True, bad=False),
        ControlPoint(date(2024, 6, 1), 0.0, 1.2, found=False, bad=False),
        ControlPoint(date(2025, 6, 1), -66.2, 1.2, found=True, bad=True),
    ),
    limits=(
        LimitLine("reject", ((FIRST, -10.0, 10.0),)),
        LimitLine("as found", ((FIRST, -7.5, 7.5), (date(2025, 1, 1), -5.0, 5.0))),
    ),
    adjusted=(date(2024, 6, 1),),
    swaps=((date(2025, 2, 1), "00420"),),
)
FAN = FanPlot(
    alt="Forecast from 2025-01-01 on.",
    points=(FanPoint(FIRST, 0.0, 0.5), FanPoint(LAST, -4.0, 2.0)),
    low=-5.0,
    high=5.0,
    as_of=date(2025, 1, 1),
    due_on=date(2025, 3, 1),
    known=True,
)
SHARES = (SharePoint(FIRST, 80.0, 60.0, 92.0, 20), SharePoint(LAST, 95.0, 75.1, 99.9, 20))
TABLE = PackFile("audit-overdue.csv", 'serial,name\n00417,Þornhøy; "a,b"\n', "overdue", 1)


@pytest.fixture
def pack() -> Pack:
    drawings = (
        PackDrawing("Errors", CONTROL.alt, control_plot(CONTROL)),
        PackDrawing("Forecast", FAN.alt, fan_plot(FAN)),
        PackDrawing("In date", "Share in date.", in_date_plot(SHARES, "Share in date.")),
    )
    row = ("S01 main\n00417", "V005\n2024-11-12\nT01", "72 tips as found: outside 74 to 86.")
    return Pack(
        title="Evidence pack",
        description="Evidence as of 2025-06-02",
        identity="Evidence pack, as of 2025-06-02, ledger entry 1",
        made_at=datetime(2025, 6, 2, 8, 0, tzinfo=UTC),
        facts=(("as of the end of", "2025-06-02"), ("depot", "all")),
        asked=(("Which gauges are overdue?", "1 row", "audit-overdue.csv"),),
        notes=("Not measured is never passed.",),
        figures=(PackFigure("S01", ("Limits: invented.",), drawings),),
        sections=(
            PackSection("Which gauges are overdue?", (("counts", "all"),), "1 row.", (row,)),
            PackSection("Which switches failed?", (("counts", "all"),), "Nothing was found.", ()),
        ),
        files=(TABLE, PackFile("manifest.json", "{}\n", "hashes", mime=JSON)),
    )


def reader(content: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(content))


def test_pack_is_a_pdf_to_be_kept_and_one_for_screen_readers(pack: Pack) -> None:
    read = reader(pack_pdf(pack, paper="a4"))

    metadata = read.trailer["/Root"]["/Metadata"].get_data().decode()
    assert "<pdfaid:part>3</pdfaid:part>" in metadata
    assert "<pdfaid:conformance>A</pdfaid:conformance>" in metadata
    assert "<pdfuaid:part>1</pdfuaid:part>" in metadata
    assert "2025-06-02T08:00:00" in metadata
    root = read.trailer["/Root"]
    assert str(root["/MarkInfo"]["/Marked"]) == "True"
    assert "/StructTreeRoot" in root
    assert root["/Lang"] == "en"
    assert len(root["/OutputIntents"]) >= 1


def test_pack_holds_its_files_unchanged_with_what_they_are(pack: Pack) -> None:
    read = reader(pack_pdf(pack, paper="a4"))

    assert {name: contents[0] for name, contents in read.attachments.items()} == {
        "audit-overdue.csv": TABLE.content.encode(),
        "manifest.json": b"{}\n",
    }
    files = [file.get_object() for file in read.trailer["/Root"]["/AF"]]
    assert {(file["/F"], file["/AFRelationship"], file["/Desc"]) for file in files} == {
        ("audit-overdue.csv", "/Data", "overdue"),
        ("manifest.json", "/Supplement", "hashes"),
    }


def test_pack_prints_the_hash_of_each_file(pack: Pack) -> None:
    pages = reader(pack_pdf(pack, paper="a4")).pages
    text = "".join(pages[-1].extract_text().replace("\u200b", "").split())

    assert sha256(TABLE.content.encode()).hexdigest() in text
    assert TABLE.hash == sha256(TABLE.content.encode()).hexdigest()


def test_every_drawing_is_told_in_words(pack: Pack) -> None:
    content = reader(pack_pdf(pack, paper="a4"))
    told = {
        str(element["/Alt"])
        for element in map(lambda reference: reference.get_object(), _objects(content))
        if isinstance(element, dict) and "/Alt" in element
    }

    assert {CONTROL.alt, FAN.alt, "Share in date."} <= told


def _objects(read: pypdf.PdfReader) -> list[pypdf.generic.IndirectObject]:
    count = int(read.trailer["/Size"])
    return [pypdf.generic.IndirectObject(number, 0, read) for number in range(1, count)]


def test_pack_shows_what_was_found_and_says_where_nothing_was(pack: Pack) -> None:
    text = " ".join(
        page.extract_text().replace("\u200b", "")
        for page in reader(pack_pdf(pack, paper="a4")).pages
    )

    flat = " ".join(text.split())
    assert "72 tips as found: outside 74 to 86." in flat
    assert "V005 2024-11-12 T01" in flat
    assert "Nothing was found." in flat
    assert "page 1 of 5" in flat


def test_same_pack_gives_the_same_bytes_on_either_paper(pack: Pack) -> None:
    for paper in ("a4", "letter"):
        assert pack_pdf(pack, paper=paper) == pack_pdf(pack, paper=paper)  # type: ignore[arg-type]


def test_texts_stay_text(pack: Pack) -> None:
    hostile = "#panic() $x$ *b* <script> \u202e \x00 ]]> @ref"

    read = reader(pack_pdf(replace(pack, title=hostile, notes=(hostile,)), paper="a4"))

    first = " ".join(read.pages[0].extract_text().split())
    assert first.startswith("#panic() $x$ *b* <script> ]]> @ref")


def test_characters_without_a_glyph_are_told_and_the_files_are_kept(pack: Pack) -> None:
    with pytest.warns(FleetWarning, match="no glyph"):
        content = pack_pdf(replace(pack, title="\U00013000"), paper="a4")

    assert "audit-overdue.csv" in reader(content).attachments


@pytest.mark.parametrize(
    "drawing",
    [control_plot(CONTROL), fan_plot(FAN), in_date_plot(SHARES, "shares")],
    ids=["control", "fan", "in date"],
)
def test_drawings_are_in_black_and_greys_and_name_themselves(drawing: ET.Element) -> None:
    svg = ET.tostring(drawing, encoding="unicode")

    for colour in re.findall(r"#[0-9a-f]{3,6}\b", svg):
        digits = colour[1:]
        parts = list(digits) if len(digits) == 3 else [digits[i : i + 2] for i in (0, 2, 4)]
        assert len(set(parts)) == 1, colour
    title = drawing.find("title")
    assert title is not None
    assert title.text


def marks(drawing: ET.Element, tag: str) -> list[ET.Element]:
    return list(drawing.iter(tag))


def test_control_chart_tells_as_found_from_as_left_by_shape_and_marks_what_is_out() -> None:
    drawing = control_plot(CONTROL)

    rings, squares = (
        marks(drawing, "circle"),
        [one for one in marks(drawing, "rect") if one.get("width") == "2"],
    )
    assert (len(rings), len(squares)) == (2, 1)
    # -4 of +-12.5 over a frame of 71 mm lies 11.36 mm below its middle at 40.5 mm
    assert float(rings[0].get("cy", 0)) == pytest.approx(40.5 + 11.36, abs=0.01)
    assert float(rings[1].get("cy", 0)) == pytest.approx(76.0)
    words = [one.text for one in marks(drawing, "text")]
    assert "-66.2" in words
    assert "swap to 00420" in words
    assert len(marks(drawing, "polygon")) == 1


def test_control_chart_steps_where_a_limit_changes() -> None:
    lines = [one.get("points", "").split() for one in marks(control_plot(CONTROL), "polyline")]

    steps = [points for points in lines if len(points) == 4]
    assert len(steps) == 2
    heights = sorted({float(point.split(",")[1]) for point in steps[0]})
    # -7.5 and -5 of +-12.5 over 71 mm below 40.5 mm
    assert heights == pytest.approx([54.7, 61.8])


def test_fan_widens_with_the_standard_deviation() -> None:
    wide, narrow = marks(fan_plot(FAN), "polygon")

    def spread(band: ET.Element, place: int) -> float:
        points = [tuple(map(float, p.split(","))) for p in band.get("points", "").split()]
        return points[-1 - place][1] - points[place][1]

    assert spread(wide, 1) / spread(wide, 0) == pytest.approx(4.0, rel=0.01)
    # 90 % reach 1.6449 standard deviations, 50 % 0.6745 (tables of the normal law)
    assert spread(wide, 0) / spread(narrow, 0) == pytest.approx(1.6449 / 0.6745, rel=0.02)
