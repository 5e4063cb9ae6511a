"""How single values are written for a reader: texts made harmless, numbers, days, positions."""

from __future__ import annotations

import re
from datetime import date

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
"""English short names, so that the words do not follow the machine's language."""

LONGEST_CODE = 40
"""Characters of a code or serial that the records allow."""

_BLANKS = re.compile("[\x00-\x20\x7f-\xa0\u2028\u2029]+")
_DIRECTIONS = re.compile("[\u202a-\u202e\u2066-\u2069\ufeff]")
_NO_CHARACTERS = re.compile("[\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")


def plain_text(text: str) -> str:
    """Turn any text into one line that every output format can carry.

    Parameters
    ----------
    text : str
        As it stands in the records, in any script.

    Returns
    -------
    str
        Runs of blanks, line ends and control characters become one space; characters that
        reorder the text around them (explicit bidirectional embeddings, overrides and
        isolates, Unicode annex 9) are dropped; lone surrogates and noncharacters, which XML
        forbids, become U+FFFD. Everything else stays, joiners and direction marks included.

    Examples
    --------
    >>> plain_text("two" + chr(10) + "lines")
    'two lines'
    """
    text = _DIRECTIONS.sub("", _BLANKS.sub(" ", text))
    return _NO_CHARACTERS.sub("\ufffd", text).strip()


def shorten(text: str, *, longest: int) -> str:
    """Cut a text to at most `longest` characters, an ellipsis included.

    Examples
    --------
    >>> shorten("Upper Mill Weir", longest=8)
    'Upper M…'
    """
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"


def code_words(text: str) -> str:
    """Write a code, serial or clock time where there is room for 40 characters."""
    return shorten(text, longest=LONGEST_CODE)


def breakable(text: str, *, every: int = 20) -> str:
    """Let a run without blanks break across lines after every `every` characters."""
    return re.sub(rf"([^\s\u200b]{{{every}}})(?=[^\s\u200b])", "\\1\u200b", text)


def figure(value: float, *, digits: int = 1) -> str:
    """Write a number with at most `digits` decimals, without trailing zeros.

    Examples
    --------
    >>> figure(20.0), figure(6.2832, digits=2), figure(-0.04)
    ('20', '6.28', '0')
    """
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def chance_words(probability: float) -> str:
    """Write a probability for a person: certain and tiny ones are not given false digits.

    Examples
    --------
    >>> chance_words(0.124), chance_words(0.999), chance_words(0.001)
    ('12 %', 'over 99 %', 'under 1 %')
    """
    if probability >= 0.995:
        return "over 99 %"
    if probability <= 0.005:
        return "under 1 %"
    return f"{100.0 * probability:.0f} %"


def day_words(day: date) -> str:
    """Write a day as weekday and ISO date, which no country reads differently.

    Examples
    --------
    >>> day_words(date(2025, 3, 4))
    'Tue 2025-03-04'
    """
    return f"{WEEKDAYS[day.weekday()]} {day.isoformat()}"


def position_words(latitude_deg: float, longitude_deg: float) -> str:
    """Write a WGS 84 position in degrees with five decimals (about one metre).

    Examples
    --------
    >>> position_words(-44.5, 35.123456)
    '44.50000° S, 35.12346° E'
    """
    latitude = degree_words(latitude_deg, "NS", digits=5)
    return f"{latitude}, {degree_words(longitude_deg, 'EW', digits=5)}"


def degree_words(value: float, names: str, *, digits: int) -> str:
    """Write a coordinate with its side; `names` holds the positive and the negative one."""
    return f"{abs(value):.{digits}f}° {names[value < 0]}"


def counted(number: int, noun: str) -> str:
    """Write a count with its noun in the right number.

    Examples
    --------
    >>> counted(1, "stop"), counted(3, "gauge")
    ('1 stop', '3 gauges')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def hours_words(minutes: int) -> str:
    """Write a span of minutes as hours and minutes.

    Examples
    --------
    >>> hours_words(45), hours_words(125)
    ('45 min', '2 h 05 min')
    """
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"
