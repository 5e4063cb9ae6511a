"""The screen sheet: self-contained, escaped, the same content as the printed one.

Void elements and character references: HTML standard, by the parser of the standard library.
"""

from dataclasses import replace
from html.parser import HTMLParser

import pytest

from fleet.reports.route_html import route_html

PAYLOAD = "\"><script>alert('x')</script><img src=x onerror=y>&amp;<!-- \u202e"
VOID = {"meta", "br", "hr", "img", "input", "link"}


class Reader(HTMLParser):
    """Collects tags, attributes and texts, and checks that tags nest."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.tags, self.links, self.texts, self.open = [], [], [], []
        self.feed(page.decode())
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.links += [value for name, value in attrs if name in ("src", "href")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.texts.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.texts).split())


@pytest.fixture(scope="module")
def page(week):
    return Reader(route_html(week, paper="a4"))


def test_html_needs_nothing_but_itself(page):
    assert "script" not in page.tags
    assert "link" not in page.tags
    assert all(link.startswith("#") for link in page.links)
    assert page.tags.count("svg") == 5 + 24


def test_html_links_lead_to_sections_of_the_page(week):
    text = route_html(week, paper="a4").decode()

    for link in Reader(text.encode()).links:
        assert text.count(f'id="{link[1:]}"') == 1


@pytest.mark.parametrize(
    "words",
    ["37 to 43", "tips a run pass, at least 2 runs", "RECONNECT AND PROVE IT", "Wasps",
     "Reminders only, not instructions", "Worth 31.4 record-days", "Clean water", "140 L",
     "SK077 Grå Klint", "Осторожно: осы в кожухе.", "تل الغيمة", "ดอยเมฆฝน", "Legs are drawn"],
)  # fmt: skip
def test_html_holds_what_the_paper_holds(page, words):
    assert words in page.text


def test_html_escapes_every_text_of_the_records(one_card):
    day, stop = one_card.days[0], one_card.days[0].stops[0]
    card = replace(stop.cards[0], serial=PAYLOAD, tasks=(PAYLOAD,), tolerance_text=PAYLOAD)
    stop = replace(stop, site_name=PAYLOAD, hazards=PAYLOAD, site_code=PAYLOAD, cards=(card,))
    sheet = replace(one_card, round_ref=PAYLOAD, days=(replace(day, stops=(stop,)),))

    page = Reader(route_html(sheet, paper="letter"))

    assert "script" not in page.tags
    assert "img" not in page.tags
    assert "\"><script>alert('x')</script><img src=x onerror=y>&amp;<!--" in page.text
    assert "\u202e" not in page.text


def test_html_prints_on_the_paper_asked_for(one_card):
    assert b"@page { size: letter portrait;" in route_html(one_card, paper="letter")
    assert b"@page { size: a4 portrait;" in route_html(one_card, paper="a4")


def test_html_is_the_same_twice(one_card):
    assert route_html(one_card, paper="a4") == route_html(one_card, paper="a4")


def test_html_of_no_days_says_so(one_card):
    page = Reader(route_html(replace(one_card, days=(), loading=(), left_out=()), paper="a4"))

    assert "No stops are planned for this crew." in page.text
    assert "Nothing that was ranked was left out." in page.text
