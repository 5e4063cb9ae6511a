"""The week for the wall, read back from the PDF."""

from __future__ import annotations

import io
from dataclasses import replace

import pypdf
import pytest

from fleet.reports.wall_pdf import wall_pdf, write_wall
from fleet.reports.wall_words import wall_words


def crews(week, count):
    """Sheets of so many technicians; the second is out two days and goes with the first once."""
    names = [f"Technician {number}" for number in range(1, count + 1)]
    return [
        replace(
            week, crew_code=f"T{number:02d}", crew_names=(name,),
            days=tuple(replace(day, crew=(name,)) for day in week.days),
        )
        for number, name in enumerate(names, start=1)
    ]  # fmt: skip


def read(content):
    return pypdf.PdfReader(io.BytesIO(content))


def test_wall_has_a_row_a_technician_and_a_cell_a_day(week):
    first, second = crews(week, 2)
    second = replace(second, days=second.days[1:3])

    words = wall_words([first, second])

    assert words.days[0] == "Mon 2025-03-03"
    assert len(words.days) == 5
    assert [cell.span for cell in words.rows[0].cells] == ["07:30 to 17:40"] * 5
    assert [bool(cell.span) for cell in words.rows[1].cells] == [False, True, True, False, False]
    assert words.rows[0].totals == (
        "20 stops", "24 gauges", "733 km", "15 h 05 min driving", "0 nights out",
    )  # fmt: skip
    stop = words.rows[0].cells[0].stops[0]
    assert (stop.number, stop.start, stop.place) == ("1", "09:10", "SK001 Østhavn Tindfall")


def test_wall_marks_what_to_mind_without_colour(week):
    day = week.days[0]
    stop = replace(
        day.stops[0], must_visit=True, persons=2, ring_first=True, skill="mast", straight_line=True
    )
    day = replace(day, stops=(stop,), crew=("A", "B"), night="Vellmora inn")

    words = wall_words([replace(week, days=(day,), crew_names=("A",))])

    (cell,) = words.rows[0].cells
    assert cell.stops[0].marks == "M 2P R S ~"
    assert (cell.company, cell.night) == ("with B", "Night at Vellmora inn")
    assert words.rows[0].totals[-1] == "1 night out"


def test_wall_names_what_was_left_out_and_the_source_of_the_drives(week):
    sheet = replace(week, plan_notes=("Ranked.", "Driving: Roads: x.osm.pbf of 2025-03-01."))

    words = wall_words([sheet])

    assert words.left_out == "Left out, with worth in record-days: SK077 (12.2)."
    assert words.driving == "Driving: Roads: x.osm.pbf of 2025-03-01."
    many = replace(week, left_out=week.left_out * 9)
    assert wall_words([many]).left_out.endswith("SK077 (12.2) and 3 more.")


@pytest.mark.parametrize(("paper", "width", "height"), [("a4", 841.9, 595.3), ("letter", 792, 612)])
def test_wall_is_one_page_in_landscape(week, paper, width, height):
    for count in (1, 4):
        pages = read(wall_pdf(crews(week, count), paper=paper)).pages

        assert len(pages) == 1
        assert float(pages[0].mediabox.width) == pytest.approx(width, abs=0.5)
        assert float(pages[0].mediabox.height) == pytest.approx(height, abs=0.5)
        text = pages[0].extract_text()
        assert f"T{count:02d}" in text
        assert "SK020" in text


def test_week_that_is_too_big_for_a_page_runs_on(week):
    pages = read(wall_pdf(crews(week, 16), paper="a4")).pages

    assert len(pages) > 1
    assert "Technician 16" in pages[-1].extract_text()


def test_wall_carries_hostile_texts(week):
    text = "#panic() *x* ]] \x00 <b>" + "y" * 300

    content = wall_pdf([replace(week, depot_name=text, crew_names=(text,))], paper="a4")

    assert "#panic()" in read(content).pages[0].extract_text()


def test_wall_is_the_same_twice_and_dated_by_the_plan(week):
    assert wall_pdf([week], paper="a4") == wall_pdf([week], paper="a4")


def test_wall_is_written_under_the_name_of_the_round(week, tmp_path):
    (path,) = write_wall([week], tmp_path / "out", paper="a4")

    assert path.name == "2025-W10-N_week.pdf"
    assert path.read_bytes().startswith(b"%PDF")
    assert write_wall([replace(week, days=())], tmp_path, paper="a4") == ()
