"""Texts of the records on their way to paper: XML 1.0 and Unicode annex 9 as the sources.

XML 1.0 section 2.2 (from memory): no control characters but tab, line feed and carriage return,
no surrogates, no U+FFFE and U+FFFF. Unicode annex 9 (from memory): embeddings, overrides and
isolates are U+202A-202E and U+2066-2069.
"""

from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.reports.wording import breakable, figure, plain_text, position_words, shorten


@given(st.text(alphabet=st.characters(), max_size=60))
def test_plain_text_survives_xml_and_utf8(text):
    plain = plain_text(text)

    element = ET.Element("a")
    element.text = plain
    assert (ET.fromstring(ET.tostring(element, encoding="utf-8")).text or "") == plain
    assert plain_text(plain) == plain


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("a\x00b\x07c", "a b c"),
        (" two\r\nlines\t", "two lines"),
        ("safe\u202egnihton\u202c", "safegnihton"),
        ("\u2066isolated\u2069", "isolated"),
        ("\ud800 \ufffe", "\ufffd \ufffd"),
        ("क्\u200dष \u200f", "क्\u200dष \u200f"),
        ("#x $y$ *z* <b>", "#x $y$ *z* <b>"),
    ],
)
def test_plain_text_keeps_scripts_and_drops_what_reorders(text, expected):
    assert plain_text(text) == expected


def test_breakable_parts_only_long_runs():
    assert breakable("short words stay", every=6) == "short words stay"
    assert breakable("abcdefghij", every=4) == "abcd\u200befgh\u200bij"


def test_shorten_never_exceeds_its_limit():
    assert shorten("Velmora Upper Reach", longest=10) == "Velmora U…"
    assert len(shorten("x" * 500, longest=40)) == 40
    assert shorten("Velmora", longest=7) == "Velmora"


@pytest.mark.parametrize(
    ("value", "digits", "expected"),
    [(40.0, 1, "40"), (6.2832, 2, "6.28"), (0.0499, 1, "0"), (-0.01, 1, "0"), (100.0, 0, "100")],
)
def test_figure_drops_trailing_zeros(value, digits, expected):
    assert figure(value, digits=digits) == expected


def test_position_words_name_the_side():
    assert position_words(44.8, -34.9) == "44.80000° N, 34.90000° W"
    assert position_words(-0.5, 0.0) == "0.50000° S, 0.00000° E"
