"""Texts in any script, codes, words, zones and regions.

Arabic, Devanagari and Thai samples need the joiners and marks that they are written with; which
characters are controls is told by the Unicode general categories Cc, Zl, Zp.
"""

import pytest

from fleet.domain.code import VisitOutcome
from fleet.ingest.cell import CellError
from fleet.ingest.contract import Column, Kind
from fleet.ingest.parse_text import (
    parse_code,
    parse_codes,
    parse_region,
    parse_text,
    parse_time_zone,
    parse_word,
    parse_words,
    parse_yes_no,
)

OUTCOME = Column(name="outcome", kind=Kind.WORD, meaning="", choices=VisitOutcome)
FLAG = Column(name="flag", kind=Kind.WORD, meaning="", choices=("snow", "frost"))
DAYS = Column(name="weekdays", kind=Kind.WORDS, meaning="", choices=("mon", "tue", "wed"))


def fault(parse, *arguments, **named):
    with pytest.raises(CellError) as error:
        parse(*arguments, **named)
    return str(error.value)


@pytest.mark.parametrize(
    "text",
    [
        "Þornhøy",
        "Вершинка",
        "क्षेत्र",
        "مرصد\u200cمطر",
        "ที่สูง",
        "麻野台",
        "Ζεφύρι",
        "=A1",
        'a "b", c',
    ],
)
def test_parse_text_keeps_every_script(text):
    assert parse_text(text, several_lines=False) == text


def test_parse_text_takes_several_lines_only_in_notes():
    assert parse_text("gate\r\nthen left\nand up", several_lines=True) == "gate\nthen left\nand up"
    assert fault(parse_text, "gate\nleft", several_lines=False) == (
        "one line of text is expected, without line ends"
    )
    assert fault(parse_text, "gate\rleft", several_lines=True) == (
        "one line of text is expected, without line ends"
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a\tb", "a control character (U+0009) inside the text; remove it"),
        ("a\x07b", "a control character (U+0007) inside the text; remove it"),
        ("a\x85b", "a control character (U+0085) inside the text; remove it"),
        ("a\u2028b", "a control character (U+2028) inside the text; remove it"),
        ("a\ufffeb", "a control character (U+FFFE) inside the text; remove it"),
        ("a\ufeffb", "a byte order mark inside the text (U+FEFF); write it anew"),
        (
            "H\ufffdstvik",
            "the sign for a character that an earlier conversion lost (U+FFFD); write it anew",
        ),
    ],
)
def test_parse_text_refuses_controls_and_damage(text, message):
    assert fault(parse_text, text, several_lines=True) == message


@pytest.mark.parametrize("text", ["00417", "A-031", "V/2025_1.b", "7", "x" * 40])
def test_parse_code_keeps_the_text(text):
    assert parse_code(text) == text


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x" * 41, "41 characters; a code has at most 40"),
        ("٠٤١٧", "digits other than 0-9; write 0417"),
        (
            "1.23E+11",
            "a code that a spreadsheet rounded; format the column as text and enter it anew",
        ),
        (
            "S 01",
            "letters A-Z a-z, digits and . _ / - are expected, a letter or digit first",
        ),
        (
            "-S01",
            "letters A-Z a-z, digits and . _ / - are expected, a letter or digit first",
        ),
        (
            "Sä1",
            "letters A-Z a-z, digits and . _ / - are expected, a letter or digit first",
        ),
        (
            '="00417"',
            "letters A-Z a-z, digits and . _ / - are expected, a letter or digit first",
        ),
    ],
)
def test_parse_code_refuses(text, message):
    assert fault(parse_code, text) == message


def test_parse_codes_splits_at_single_spaces():
    assert parse_codes("T01 T02") == ("T01", "T02")
    assert parse_codes("T01") == ("T01",)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("T01  T02", "one space between the words is expected"),
        ("T01, T02", "words separated by one space are expected, without commas"),
        ("T01;T02", "words separated by one space are expected, without commas"),
        ("T01 T02 T01", "T01 stands there twice"),
    ],
)
def test_parse_codes_refuses(text, message):
    assert fault(parse_codes, text) == message


def test_parse_word_gives_the_member_of_an_enumeration():
    assert parse_word("done", OUTCOME) is VisitOutcome.DONE
    assert parse_word("snow", FLAG) == "snow"


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("Done", " (did you mean 'done'?)"),
        ("not done", " (did you mean 'not_done'?)"),
        ("replced", ""),
    ],
)
def test_parse_word_names_the_list_and_the_nearest(text, hint):
    assert fault(parse_word, text, OUTCOME) == (
        f"one of done, partly_done, not_done is expected{hint}"
    )


def test_parse_words_reads_a_list():
    assert parse_words("mon wed", DAYS) == ("mon", "wed")
    assert fault(parse_words, "mon weds", DAYS) == (
        "one of mon, tue, wed is expected (did you mean 'wed'?)"
    )
    assert fault(parse_words, "mon mon", DAYS) == "mon stands there twice"


def test_parse_yes_no_takes_two_words_alone():
    assert parse_yes_no("yes") is True
    assert parse_yes_no("no") is False


@pytest.mark.parametrize("text", ["Yes", "y", "true", "TRUE", "1", "0", "ja", "NO"])
def test_parse_yes_no_refuses(text):
    assert fault(parse_yes_no, text) == "yes or no is expected, in small letters"


def test_parse_time_zone_knows_iana_names():
    assert parse_time_zone("Atlantic/Azores") == "Atlantic/Azores"
    assert fault(parse_time_zone, "Atlantic/Azors") == (
        "an IANA time zone such as Atlantic/Azores is expected (did you mean 'Atlantic/Azores'?)"
    )


@pytest.mark.parametrize("text", ["localtime", "../etc/passwd", "+01:00", "posixrules"])
def test_parse_time_zone_refuses_what_is_no_place(text):
    assert fault(parse_time_zone, text).startswith(
        "an IANA time zone such as Atlantic/Azores is expected"
    )


def test_parse_region_asks_the_holiday_library():
    assert parse_region("PT") == "PT"
    assert parse_region("GB-SCT") == "GB-SCT"
    assert fault(parse_region, "XX") == (
        "an ISO 3166 country code with known public holidays is expected"
    )
    assert fault(parse_region, "pt") == (
        "an ISO 3166 country code with known public holidays is expected"
    )
    assert fault(parse_region, "GB-XYZ") == (
        "a subdivision with known public holidays is expected: ENG, NIR, SCT, WLS"
    )
