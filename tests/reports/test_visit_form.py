"""The visit form as a workbook: what it tells, what may be changed, what it works out.

Formulas are held as text here. The same formulas were worked out by a spreadsheet program for
38 and 39 of 40 tips of 20 mL: -5.0, -2.5 and pooled -3.75 percent (first principles: 100 (n v / V
- 1)).
"""

from __future__ import annotations

import io
import re
import zipfile
from xml.etree import ElementTree as ET

import pytest
from python_calamine import CalamineWorkbook

from fleet.domain.check import TipBand
from fleet.domain.form_sheet import FormSheet, PhaseTerms
from fleet.domain.visit_form import GAUGE_PARTS, VISIT_PART, visit_reference
from fleet.reports.form_live import inside_formula, pooled_formula, run_formula
from fleet.reports.visit_form import render_visit_form, sheet_names, write_visit_form
from tests.form_factory import make_form, make_gauge, make_sheet
from tests.form_filler import MAIN


def rows_of(content: bytes, sheet: int = 1) -> list[list[object]]:
    book = CalamineWorkbook.from_filelike(io.BytesIO(content))
    return book.get_sheet_by_index(sheet).to_python(skip_empty_area=False)


def texts_of(content: bytes, sheet: int = 1) -> list[str]:
    """Give what is seen: the first column of a stop holds keys and is hidden."""
    rows = rows_of(content, sheet)
    return [str(cell) for row in rows for cell in row[sheet > 0 :] if cell != ""]


def part(content: bytes, name: str) -> ET.Element:
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        return ET.fromstring(book.read(name))


def stop_xml(content: bytes) -> ET.Element:
    return part(content, "xl/worksheets/sheet2.xml")


def test_form_is_the_same_bytes_each_time():
    assert render_visit_form(make_form()) == render_visit_form(make_form())


def test_form_tells_the_gauge_its_volume_expected_tips_and_bands():
    told = "\n".join(texts_of(render_visit_form(make_form())))

    assert "Gauge 00417 TB05, main" in told
    assert (
        "Bucket 0.5 mm, 20 mL a tip. Nominal volume 800 mL: 40 tips expected, one tip is 2.5 %."
        in told
    )
    # 37 to 43 of 40 nominal tips: common practice, no published source
    assert "As-found runs, before anything is cleaned. 37 to 43 tips a run pass" in told
    assert "As-left runs, both buckets emptied before each. 39 to 41 tips a run pass" in told
    assert "at most 5 ohm at the gauge's terminals; the cable loop adds 0.8 ohm" in told


def test_form_tells_hazards_and_what_is_to_mend():
    told = texts_of(render_visit_form(make_form()))

    assert "HAZARDS: bull in the field" in told
    assert "Access: Mon, Wed 09:00-15:00" in told
    assert "To mend: soon: loose leg bolt" in told


def test_form_without_a_hazard_on_record_asks_to_look():
    told = texts_of(render_visit_form(make_form(make_sheet(hazards=""))))

    assert "HAZARDS: none on record; look for yourself before you start" in told


def test_form_says_so_when_no_whole_number_of_tips_passes():
    none = PhaseTerms(TipBand(3, 2), -1.0, 1.0, 2)
    told = texts_of(render_visit_form(make_form(make_sheet(gauges=(make_gauge(as_left=none),)))))

    assert any("No whole number of tips passes with the nominal volume" in text for text in told)


def test_cover_defers_to_local_codes_and_tells_equipment_out_of_date():
    told = texts_of(render_visit_form(make_form()), sheet=0)

    assert any("Local codes, your employer's rules" in text for text in told)
    assert "2024-12-31 (OUT OF DATE)" in told
    assert "no certificate on record" in told
    assert "Мирана Толвек" in told


def test_every_question_has_its_key_and_nothing_else_can_be_changed():
    content = render_visit_form(make_form())
    rows = rows_of(content)
    keys = {str(row[0]) for row in rows if row[0] != ""}
    wanted = {f"visit|{row.key}" for row in VISIT_PART.rows}
    wanted |= {f"gauge|00417|{row.key}" for each in GAUGE_PARTS for row in each.rows}

    assert keys == wanted | {"visit-form 1", "site|S01", "clock|Etc/GMT-1"}
    blanks = sum(len(row.blanks) for each in (VISIT_PART, *GAUGE_PARTS) for row in each.rows)
    assert len(unlocked_firsts(content)) == blanks


def unlocked_firsts(content: bytes) -> set[str]:
    """Give the cells that can be changed, of merged ones the first."""
    tree = stop_xml(content)
    assert tree.find(f"{{{MAIN}}}sheetProtection") is not None
    formats = part(content, "xl/styles.xml").find(f"{{{MAIN}}}cellXfs")
    assert formats is not None
    free = {
        str(number)
        for number, form in enumerate(formats)
        if (lock := form.find(f"{{{MAIN}}}protection")) is not None and lock.get("locked") == "0"
    }
    cells = {c.get("r", "") for c in tree.iter(f"{{{MAIN}}}c") if c.get("s") in free}
    merged = {m.get("ref", "") for m in tree.iter(f"{{{MAIN}}}mergeCell")}
    inner = {cell for ref in merged for cell in _inner(ref)}
    return cells - inner


def _inner(ref: str) -> set[str]:
    first, last = re.findall(r"([A-Z])([0-9]+)", ref)
    return {f"{chr(letter)}{first[1]}" for letter in range(ord(first[0]) + 1, ord(last[0]) + 1)}


def test_closed_words_are_drop_down_lists_that_stop_other_words():
    rules = stop_xml(render_visit_form(make_form())).findall(f".//{{{MAIN}}}dataValidation")
    lists = [rule for rule in rules if rule.get("type") == "list"]

    assert len([rule for rule in lists if rule.get("errorStyle") is None]) > 20
    source = lists[0].find(f"{{{MAIN}}}formula1")
    assert source is not None
    assert re.fullmatch(r"lists!\$[A-Z]+\$1:\$[A-Z]+\$[0-9]+", source.text or "")


def test_lists_hold_the_words_as_they_are_read():
    words = texts_of_column(render_visit_form(make_form()))

    assert ["done", "partly done", "not done"] in words
    assert ["T01", "T02"] in words
    assert ["D01", "D03"] in words
    assert ["in ring", "out of ring"] in words


def texts_of_column(content: bytes) -> list[list[str]]:
    rows = rows_of(content, sheet=2)
    columns = zip(*rows, strict=True)
    return [[str(cell) for cell in column if cell != ""] for column in columns]


def test_form_prints_on_a4_with_a_page_for_each_further_gauge():
    gauges = (make_gauge(), make_gauge(serial="00523", position="second"))
    tree = stop_xml(render_visit_form(make_form(make_sheet(gauges=gauges))))

    setup = tree.find(f"{{{MAIN}}}pageSetup")
    assert setup is not None
    # paper size 9 is A4 in ECMA-376 part 1, 18.3.1.63 (from memory of the standard)
    assert (setup.get("paperSize"), setup.get("fitToHeight")) == ("9", "0")
    assert len(tree.findall(f".//{{{MAIN}}}rowBreaks/{{{MAIN}}}brk")) == 1


@pytest.mark.parametrize("hostile", ["=1+1", "+cmd", "@SUM(A1)", "a\nb", "x\x07y", "&P &N"])
def test_hostile_names_are_text_and_never_formulas(hostile):
    sheet = make_sheet(site_name=hostile, hazards=hostile, follow_ups=(hostile,))

    content = render_visit_form(make_form(sheet))

    formulas = [f.text or "" for f in stop_xml(content).iter(f"{{{MAIN}}}f")]
    assert formulas
    assert all(text.startswith("IF(") for text in formulas)
    footer = stop_xml(content).find(f".//{{{MAIN}}}oddFooter")
    assert footer is not None
    assert "&&P &&N" in (footer.text or "") or hostile != "&P &N"


def test_run_formula_is_blank_until_both_cells_are_numbers():
    assert run_formula("C5", "D5", 20.0) == (
        '=IF(AND(ISNUMBER(C5),ISNUMBER(D5)),100*(D5*20.0/C5-1),"")'
    )


def test_pooled_formula_counts_only_runs_with_volume_and_tips():
    counted = 'SUMIFS(D5:D8,C5:C8,">0",D5:D8,">=0")'
    poured = 'SUMIFS(C5:C8,C5:C8,">0",D5:D8,">=0")'
    assert pooled_formula("C5:C8", "D5:D8", 20.0) == (
        f'=IF({poured}=0,"",100*({counted}*20.0/{poured}-1))'
    )


def test_inside_formula_says_on_which_side_it_is_outside():
    terms = PhaseTerms(TipBand(37, 43), -7.5, 7.5, 2)

    formula = inside_formula("H9", terms)

    assert formula == (
        '=IF(ISNUMBER(H9),IF(H9<-7.500000001,"OUTSIDE, low",'
        'IF(H9>7.500000001,"OUTSIDE, high","inside")),"")'
    )


def test_sheet_names_keep_to_what_sheets_allow_and_stay_apart():
    names = sheet_names(["a/b", "a?b", "X" * 40, "X" * 39 + "Y"])

    assert names == ["1 a-b", "2 a-b", "3 " + "X" * 29, "4 " + "X" * 29]


def test_written_form_is_whole_on_disk(tmp_path):
    write_visit_form(make_form(), tmp_path / "deep" / "form.xlsx")

    assert (tmp_path / "deep" / "form.xlsx").read_bytes() == render_visit_form(make_form())


def test_stop_without_gauges_has_the_questions_of_the_visit_alone():
    sheet: FormSheet = make_sheet(gauges=())

    keys = [str(row[0]) for row in rows_of(render_visit_form(make_form(sheet)))]

    assert "visit|outcome" in keys
    assert not any(key.startswith("gauge|") for key in keys)


def test_visit_reference_of_a_long_site_code_is_cut_and_stays_apart():
    from datetime import datetime

    at = datetime.fromisoformat("2025-05-20T23:05-03:00")
    one, other = (visit_reference("A" * 39 + end, at) for end in "XY")

    assert one != other
    assert (len(one), one[-14:]) == (40, "/20250520-2305")
    assert visit_reference("B" * 26, at) == "B" * 26 + "/20250520-2305"
