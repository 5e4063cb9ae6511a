"""Names that mean harm, in every text of a sheet and of a table: harmless in each output.

Control characters, signs that turn the reading order around, 10,000 characters, pieces of paths,
markup of HTML, XML, typst and calendars, and formulas of spreadsheets.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from dataclasses import fields, is_dataclass, replace
from html.parser import HTMLParser
from itertools import cycle, repeat

import gpxpy
import icalendar
import pandas as pd
import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from python_calamine import CalamineWorkbook

from fleet.domain.csv_text import FORMULA_STARTS, guarded, unguarded
from fleet.reports.route_calendar import route_calendar
from fleet.reports.route_files import file_stem, write_route_files
from fleet.reports.route_geojson import route_geojson
from fleet.reports.route_gpx import route_gpx
from fleet.reports.route_html import route_html
from fleet.reports.route_pdf import route_pdf
from fleet.reports.table import render_text, write_table
from fleet.reports.visit_form import render_visit_form
from tests.form_factory import make_form

STEERING = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
HOSTILE = {
    "controls": "a\x00b\x07c\x1b[31md\x7fe\x85f\x9bg\r\nh",
    "order": "\u202egnp.exe\u202c \u2066x\u2069 \u200f\u0646\u0635\u200e \u202d1",
    "long": "W" * 10_000,
    "long words": "word " * 2_000,
    "path": "../../etc/passwd\\..\\C:\\x /dev/null ~root $HOME `id` $(id)",
    "html": "</td></table><script>alert(1)</script><img src=x onerror=alert(1)>&amp;\"'",
    "xml": "]]><!ENTITY x SYSTEM 'file:///etc/passwd'>&x;<?php ?><!--",
    "typst": '#panic() #read("/etc/passwd") $x^2$ *b* _i_ @ref <l> // /* `r` \\ #import',
    "calendar": "x\r\nEND:VEVENT\nBEGIN:VALARM\nACTION:PROCEDURE;,\\:",
    "formula": "=cmd|' /C calc'!A0",
    "plus": "+1+1",
    "at": "@SUM(1)",
    "no characters": "a\ud800b\ufffec\uffffd",
    "marks": "Z\u0301\u0302\u0303\u0304" * 200,
}
each_name = pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())


@each_name
def test_route_sheet_is_harmless_in_every_format(one_card, text):
    sheet = spoil(one_card, text)

    html = route_html(sheet, paper="a4").decode()
    gpx = gpxpy.parse(route_gpx(sheet).decode())
    calendar = icalendar.Calendar.from_ical(route_calendar(sheet))
    geojson = json.loads(route_geojson(sheet))

    assert _tags(html) <= _tags(route_html(one_card, paper="a4").decode())
    assert not STEERING.search(html)
    assert len(gpx.routes) == len(one_card.days)
    days = len(one_card.days)
    stops = sum(len(day.stops) for day in one_card.days)
    assert len(calendar.walk("VEVENT")) == days + stops
    assert [part for part in calendar.walk() if part.name == "VALARM"] == []
    assert len(geojson["features"]) == 2 * days
    assert not STEERING.search(json.dumps(geojson, ensure_ascii=False))


def test_printed_route_is_harmless(one_card):
    """Every short text in turn in the fields of one sheet, and a long one in its names."""
    short = cycle(text for text in HOSTILE.values() if len(text) < 500)
    sheets = (spoil(one_card, short), spoil(one_card, HOSTILE["long"]))
    for sheet in sheets:
        reader = pypdf.PdfReader(io.BytesIO(route_pdf(sheet, paper="a4")))
        words = "".join(page.extract_text() for page in reader.pages)
        assert not STEERING.search(words)
        assert reader.trailer["/Root"].get("/OpenAction") is None
        assert "passwd:" not in words


_KEPT = ("time_zone", "gauge_key", "kind", "leave", "back", "status")
_NAMES = ("site_name", "site_code", "serial", "hazards", "round_ref")


def spoil(value, text):
    """Put a text, or several in turn, into every text of a sheet; a long one into names alone."""
    if isinstance(text, str) and len(text) < 2_000:
        text = repeat(text)
    names = _NAMES if isinstance(text, str) else None
    if is_dataclass(value):
        changed = {}
        for field in fields(value):
            inner = getattr(value, field.name)
            if not isinstance(inner, str):
                changed[field.name] = spoil(inner, text)
            elif field.name in (names or {field.name}) and field.name not in _KEPT:
                changed[field.name] = text if names else next(text)
        return replace(value, **changed)
    if isinstance(value, tuple):
        return tuple(spoil(inner, text) for inner in value)
    return next(text) if isinstance(value, str) and not names else value


def _tags(html: str) -> set[str]:
    """Give the elements of a page: hostile text adds none."""
    found: set[str] = set()
    parser = HTMLParser()
    parser.handle_starttag = lambda tag, attributes: found.add(tag)
    parser.feed(html)
    return found


@each_name
def test_file_names_stay_in_their_folder(one_card, text, tmp_path):
    stem = file_stem(text, "T01")

    assert re.fullmatch(r"[A-Za-z0-9._-]{1,80}", stem)
    assert (tmp_path / stem).resolve().parent == tmp_path.resolve()


def test_files_of_a_hostile_round_lie_in_the_folder_named(one_card, tmp_path):
    sheet = spoil(one_card, "../../up")

    paths = write_route_files(sheet, tmp_path / "out", paper="a4")

    assert {path.parent for path in paths} == {tmp_path / "out"}
    assert len(list((tmp_path / "out").iterdir())) == 5


@each_name
def test_table_is_harmless_for_the_eye_and_exact_in_data(text, tmp_path):
    text = text.replace("\ud800", "")  # no text of a database or a UTF-8 file
    frame = pd.DataFrame({"name": [text], "figure": [-1.5]})

    shown = render_text(frame, "table")
    (row,) = csv.DictReader(io.StringIO(render_text(frame, "csv"), newline=""))
    write_table(frame, "xlsx", tmp_path / "a.xlsx")
    (_, cells) = CalamineWorkbook.from_path(tmp_path / "a.xlsx").get_sheet_by_index(0).to_python()

    assert len(shown.splitlines()) == 3
    assert not STEERING.search(shown)
    assert json.loads(render_text(frame, "json")) == [{"name": text, "figure": -1.5}]
    assert not row["name"].startswith(FORMULA_STARTS)
    assert unguarded(row["name"]) == text
    assert row["figure"] == "-1.5"
    assert b"<f>" not in _sheet_of(tmp_path / "a.xlsx")
    if not STEERING.search(text) and "\uffff" not in text:
        assert cells == [text, -1.5]


def _sheet_of(path) -> bytes:
    with zipfile.ZipFile(path) as book:
        return book.read("xl/worksheets/sheet1.xml")


@given(st.text())
def test_guarding_a_text_loses_nothing_and_never_starts_a_formula(text):
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(FORMULA_STARTS)


@given(st.sampled_from(FORMULA_STARTS), st.integers(0, 3), st.text())
def test_guarding_keeps_quotes_that_were_there(start, quotes, rest):
    text = "'" * quotes + start + rest

    assert guarded(text) == "'" + text
    assert unguarded(guarded(text)) == text


@each_name
def test_visit_form_is_harmless(text):
    form = make_form()
    site = {"site_name": text, "hazards": text, "access_notes": text, "follow_ups": (text,)}
    hostile = replace(form, sheets=tuple(replace(sheet, **site) for sheet in form.sheets))

    book = CalamineWorkbook.from_filelike(io.BytesIO(render_visit_form(hostile)))

    plain = CalamineWorkbook.from_filelike(io.BytesIO(render_visit_form(form)))
    assert book.sheet_names == plain.sheet_names
    for name in book.sheet_names:
        for row in book.get_sheet_by_name(name).to_python():
            assert not any(STEERING.search(str(cell)) for cell in row)
