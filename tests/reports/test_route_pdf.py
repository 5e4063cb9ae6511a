"""The printed sheet, read back with pypdf and looked at as pictures.

37 to 43 of 40 nominal tips of a 0.5 mm bucket: common practice, no published source. PDF/UA-1
part number in the metadata: ISO 14289-1, from memory. Blanks of at least 8 mm: house rule.
"""

import io
from dataclasses import fields, is_dataclass, replace
from itertools import pairwise

import pypdf
import pytest
from PIL import Image

from fleet.errors import FleetError, FleetWarning
from fleet.reports.route_pdf import LAYOUT, layout_data, route_pdf
from fleet.reports.typeset import typeset_pictures

PROOF = "RECONNECT AND PROVE IT"
MARKUP = (
    "#panic() $x^2$ *b* _i_ <script>alert(1)</script> & \" ' \u202e \x00\x07\r\n]]> @ref = //c `r`"
)


def pages_of(pdf):
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def text_of(pdf):
    return " ".join(" ".join(pages_of(pdf)).replace("\u200b", "").split())


def spoiled(value, text, kept=("time_zone", "gauge_key", "kind")):
    """Put a text into every text field of a sheet."""
    if is_dataclass(value):
        names = [f.name for f in fields(value) if f.name not in kept]
        return replace(value, **{n: spoiled(getattr(value, n), text) for n in names})
    if isinstance(value, tuple):
        return tuple(spoiled(inner, text) for inner in value)
    return text if isinstance(value, str) else value


@pytest.fixture(scope="module")
def pdf(week):
    return route_pdf(week, paper="a4")


@pytest.fixture(scope="module")
def pages(pdf):
    return pages_of(pdf)


@pytest.fixture(scope="module")
def card_text(one_card):
    return text_of(route_pdf(one_card, paper="a4"))


def test_pdf_has_cover_loading_a_page_a_day_and_a_page_a_gauge(pages):
    assert len(pages) == 1 + 1 + 5 + 24 + 1
    assert [PROOF in page for page in pages].count(True) == 24
    assert all(len(page) > 200 for page in pages)


def test_pdf_on_letter_has_as_many_pages(week):
    pdf = route_pdf(week, paper="letter")
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages

    assert len(pages) == 32
    assert (float(pages[0].mediabox.width), float(pages[0].mediabox.height)) == (612.0, 792.0)


def test_pdf_puts_each_gauge_on_the_page_of_its_stop(pages, week):
    cards = [page for page in pages if PROOF in page]
    gauges = [(stop, card) for day in week.days for stop in day.stops for card in stop.cards]

    for page, (stop, card) in zip(cards, gauges, strict=True):
        assert stop.site_code in page
        assert card.serial in page
        assert f"Stop {stop.sequence}, {stop.site_code}, {card.serial}" in page


def test_card_prints_the_pass_bands_of_common_practice(card_text):
    assert "37 to 43 tips a run pass, at least 2 runs" in card_text
    assert "39 to 41 tips a run pass, at least 2 runs" in card_text
    assert "Pour 800 mL slowly: 40 tips expected; one tip is 2.5 %" in card_text
    assert "Bucket 0.5 mm; area 400 cm² (nominal); 20 mL a tip; no siphon" in card_text


def test_card_prints_the_steps_in_the_order_of_the_trade(card_text):
    steps = ["1 Look", "2 Isolate from the logger", "3 As-found runs", "4 Clean", "5 Level",
             "6 As-left runs", "7 Switch", "8 Write down", f"9 {PROOF}"]  # fmt: skip
    places = [card_text.index(step) for step in steps]

    assert places == sorted(places)


@pytest.mark.parametrize(
    "words",
    ["HAZARDS None on record. Look for yourself", "must visit", "12 min walk, 75 min in all",
     "drift, 62 %. Found 3.8 % low", "0.42 ohm 10 passed",
     "Worth 31.4 record-days; chance that it is unfit now 38 %", "Open follow-up: Cable gland",
     "This visit: Replace the cable gland", "77 of 80 \N{MINUS SIGN}3.8 % passed",
     "closed: at most 5 ohm at the gauge, 12 at the logger", "Serial removed", "Serial fitted",
     "Restored at", "Proven by", "Left site at", "Initials", "not done", "livestock",
     "Second gate after the ford", "44.91827° N", "216 m"],
)  # fmt: skip
def test_card_tells_what_a_technician_needs(card_text, words):
    assert words in card_text


def test_cover_tells_round_status_times_and_reminders(pages):
    cover = " ".join(pages[0].split())

    assert "2025-W10-N, version 2" in cover
    assert "issued" in cover
    assert "Reminders only, not instructions. Local codes" in cover
    assert "30 minutes after the last thunder" in cover
    assert "3 h 01 min, 147 km" in cover


def test_day_page_tells_stops_marks_and_daylight(pages):
    day = " ".join(pages[8].split())

    assert "Tue 2025-03-04" in day
    assert "2 SK006" in day
    assert "must visit" in day
    assert "2 persons, skill: roof work" in day
    assert "07:21 to 18:48" in day
    assert "30 min at 12:30" in day
    assert "Back at Depot Norra" in day


def test_last_page_tells_how_the_plan_was_made_and_what_was_left_out(pages):
    last = " ".join(pages[-1].split())

    assert "great circle x 1.30 at 60 km/h" in last
    assert "SK077 Grå Klint 12.2 No room: would add 95 min on Tue." in last


def test_pdf_is_the_same_twice_and_dated_by_the_sheet(one_card):
    first, second = (route_pdf(one_card, paper="a4") for _ in range(2))

    assert first == second
    assert pypdf.PdfReader(io.BytesIO(first)).metadata.creation_date == one_card.made_at


def test_pdf_is_tagged_and_claims_pdf_ua(pdf):
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    metadata = reader.trailer["/Root"]["/Metadata"].get_data().decode()

    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"].value
    assert "<pdfuaid:part>1</pdfuaid:part>" in metadata
    assert reader.metadata.title == "Route sheet 2025-W10-N, crew T01"


def test_pdf_embeds_only_shipped_faces(pdf):
    names = {
        str(font.get_object()["/BaseFont"]).split("+")[-1]
        for page in pypdf.PdfReader(io.BytesIO(pdf)).pages
        for font in page["/Resources"]["/Font"].values()
    }

    assert {name.split("-")[0] for name in names} <= {
        "NotoSans", "NotoSansArabic", "NotoSansDevanagari", "NotoSansThai"
    }  # fmt: skip
    assert "NotoSansThai-Regular" in names


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("words", [0, 12, 40, 160])
def test_card_with_more_to_say_takes_at_most_one_page_more(one_card, paper, words):
    day = one_card.days[0]
    stop = replace(day.stops[0], hazards="Steep bank. " * words, access_notes="Gate. " * words)
    sheet = replace(one_card, days=(replace(day, stops=(stop,)),))

    pages = pages_of(route_pdf(sheet, paper=paper))
    forms = [index for index, page in enumerate(pages) if PROOF in page]

    assert len(forms) == 1
    assert "1 Look" in pages[forms[0]]
    assert len(pages) in (5, 6)


@pytest.mark.parametrize("words", [0, 40])
def test_blanks_for_runs_are_at_least_eight_millimetres_high(one_card, words):
    day = one_card.days[0]
    stop = replace(day.stops[0], hazards="Steep bank. " * words)
    data = layout_data(replace(one_card, days=(replace(day, stops=(stop,)),)), paper="letter")
    picture = typeset_pictures(LAYOUT, data, dots_per_inch=254)[3]  # 10 dots a mm

    column = Image.open(io.BytesIO(picture)).convert("L").crop((225, 1000, 226, 2794))
    rules = [y for y, dark in enumerate(column.get_flattened_data()) if dark < 200]
    gaps = [(below - above) / 10 for above, below in pairwise(rules) if below - above > 60]

    assert len([gap for gap in gaps if 8.0 <= gap + 0.15 < 14.0]) >= 4


def test_pdf_shows_markup_as_literal_text(one_card):
    words = text_of(route_pdf(spoiled(one_card, MARKUP), paper="a4"))

    assert "#panic() $x^2$ *b* _i_ <script>alert(1)</script>" in words
    assert "\u202e" not in words


def test_pdf_holds_ten_thousand_characters_and_says_what_is_cut(one_card):
    day = one_card.days[0]
    stop = replace(day.stops[0], hazards="x" * 10_000, site_name="y" * 10_000)
    sheet = replace(one_card, days=(replace(day, stops=(stop,)),))

    words = text_of(route_pdf(sheet, paper="a4"))

    assert "[cut here: the whole text stands in the records]" in words


def test_pdf_of_empty_texts_and_of_no_days_is_made(one_card):
    assert len(pages_of(route_pdf(spoiled(one_card, ""), paper="a4"))) == 5
    idle = text_of(route_pdf(replace(one_card, days=(), loading=()), paper="a4"))
    assert "No stops are planned for this crew." in idle


def test_pdf_warns_of_characters_without_a_glyph(one_card):
    day = one_card.days[0]
    stop = replace(day.stops[0], site_name="漢字 hill")

    with pytest.warns(FleetWarning, match="2 characters have no glyph .* 字 漢"):
        pdf = route_pdf(replace(one_card, days=(replace(day, stops=(stop,)),)), paper="a4")

    assert "hill" in text_of(pdf)


def test_pdf_refuses_a_font_folder_that_is_not_there(one_card, tmp_path):
    with pytest.raises(FleetError, match="No such font folder"):
        route_pdf(one_card, paper="a4", font_dirs=[tmp_path / "none"])


def test_card_without_history_says_so(one_card):
    day, stop = one_card.days[0], one_card.days[0].stops[0]
    bare = replace(
        stop.cards[0], phases=(), switches=(), findings=(), last_service_on=None, loop_ohm=None,
        as_found_band=(11, 10), tasks=(), bring=(), open_follow_ups=(),
    )  # fmt: skip
    sheet = replace(one_card, days=(replace(day, stops=(replace(stop, cards=(bare,)),)),))

    words = text_of(route_pdf(sheet, paper="a4"))

    assert "No test of this gauge is on record." in words
    assert "Never serviced here, 172 days in place" in words
    assert "none no whole number of tips passes with 800 mL: pour more" in words
    assert "at the logger" not in words.split("Switch")[1].split("Found")[0]
