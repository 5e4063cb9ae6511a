"""Spoil input files in seeded ways: cells, rows, bytes, encodings, and the parts of workbooks."""

from __future__ import annotations

import csv
import io
import random
import re
import zipfile
from collections.abc import Mapping

TOKENS = (
    *("", " ", "\0", "\r", "\n", "\r\n", '"', '""', ",", ";", "\t", "|", "'", "\\", "\x1b[31m"),
    *("=1+1", "+1", "-1", "@x", "=cmd|' /C calc'!A0", "#REF!", "#N/A", "####", "null", "None"),
    *("NaN", "nan", "inf", "-inf", "1e999", "-1e999", "1e-999", "9" * 400, "0." + "0" * 400 + "1"),
    *(
        "-0",
        "0",
        "00",
        "1_000",
        "1,5",
        "1.5",
        "0x10",
        "٣",
        "²",
        "½",
        "\uff11\uff12",
        "1E+05",
        "1e5",
        ".",
    ),
    *("0000-00-00", "0001-01-01", "9999-12-31", "10000-01-01", "2025-02-30", "2025-13-01"),
    *("2025-3-1", "31.03.2025", "2024-02-29", "2025-02-29", "20250331", "2025-W10-1", "0001-01-01"),
    *("00:00", "23:59", "24:00", "24:01", "-1:00", "9:30", "09:30:00", "09:60", "99:99"),
    *("2025-03-31T09:30+01:00", "2025-03-31T09:30Z", "2025-03-31T09:30", "0001-01-01T00:00+14:00"),
    *("9999-12-31T23:59-14:00", "2025-03-31T09:30+24:00", "2025-03-31T24:00+01:00", "T", "Z"),
    *("2025-03-31T09:30+01:00:30", "2025-03-31t09:30+01:00", "2025-03-31T09:30\u221201:00"),
    *("yes", "no", "Yes", "TRUE", "1", "done", "not_done", "as_found", "network", "site", "type"),
    *("../../etc/passwd", "/dev/null", "C:\\x", "a/b", "S01", "00417", "417", "NORTH", "T01 T02"),
    *(
        "\u202eevil",
        "\u200f",
        "\ufeff",
        "\ufffd",
        "\ufffe",
        "\u2028",
        "e\u0301",
        "é",
        "ﬁ",
        "日本",
        "🌧️",
    ),
    *("a" * 41, "a" * 2001, "x" * 10_000, "%s%n", "{0}", "${x}", "'; DROP TABLE site; --", "<b>"),
)


def spoil_cells(dice: random.Random, text: str) -> str:
    """Change one to three cells of a table and leave the rest sound, so that reading goes deep."""
    rows = list(csv.reader(io.StringIO(text)))
    for _ in range(dice.randint(1, 3)):
        row = dice.choice(rows if dice.random() < 0.1 else rows[1:] or rows)
        if not row:
            continue
        at = dice.randrange(len(row))
        row[at] = _spoil_text(dice, row[at])
    if dice.random() < 0.15:
        _spoil_rows(dice, rows)
    out = io.StringIO()
    csv.writer(out, lineterminator=dice.choice(("\n", "\r\n"))).writerows(rows)
    return out.getvalue()


def spoil_bytes(dice: random.Random, content: bytes) -> bytes:
    """Change a file as a whole: cut, repeat, insert, overwrite, or save in another encoding."""
    data = bytearray(content)
    way = dice.randrange(6)
    at = dice.randrange(len(data) + 1)
    until = min(len(data), at + dice.randint(1, 200))
    if way == 0:
        del data[at:until]
    elif way == 1:
        data[at:at] = data[at:until]
    elif way == 2:
        data[at:at] = dice.choice(TOKENS).encode("utf-8", "surrogatepass")
    elif way == 3:
        for _ in range(dice.randint(1, 8)):
            data[dice.randrange(len(data))] = dice.randrange(256)
    elif way == 4:
        return content[:at]
    else:
        codec = dice.choice(("utf-16", "utf-16-le", "utf-8-sig", "latin-1", "utf-32", "cp037"))
        return content.decode("utf-8", "replace").encode(codec, "replace")
    return bytes(data)


def spoil_workbook(dice: random.Random, parts: Mapping[str, bytes]) -> bytes:
    """Change one part of a workbook: its cells, its markup or its bytes; or the packed file."""
    spoiled = dict(parts)
    sheets = [name for name in parts if name.startswith("xl/worksheets/sheet")]
    name = dice.choice(sheets if dice.random() < 0.8 else list(parts))
    if dice.random() < 0.85:
        spoiled[name] = _spoil_markup(dice, parts[name].decode()).encode("utf-8", "replace")
    else:
        spoiled[name] = spoil_bytes(dice, parts[name])
    if dice.random() < 0.02:
        del spoiled[name]
    packed = pack(spoiled)
    return spoil_bytes(dice, packed) if dice.random() < 0.05 else packed


def unpack(content: bytes) -> dict[str, bytes]:
    """Give the parts of a workbook by name."""
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        return {name: book.read(name) for name in book.namelist()}


def pack(parts: Mapping[str, bytes]) -> bytes:
    """Make a workbook of its parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as book:
        for name, content in parts.items():
            book.writestr(name, content)
    return out.getvalue()


_VALUE = re.compile(r"(<(?:v|t)[^>]*>)([^<]*)(</(?:v|t)>)")
_ATTRIBUTE = re.compile(r'( (?:r|t|s|spans|count|uniqueCount|name|ref|sheetId)=")([^"]*)(")')
_CELL = re.compile(r"<c [^>]*?(?:/>|>.*?</c>)", re.DOTALL)
_MARKUP = ("<c/>", '<c t="e"><v>#REF!</v></c>', "<f>1/0</f>", "<row/>", "<", "&", "</row>", "&#0;")
_ADDRESSES = (
    "99999999999",
    "XFD1048576",
    "A0",
    "",
    "ZZZZ9",
    "A1",
    "B2",
    "-1",
    "a1",
    "A99999999999",
)
_TYPES = ("s", "e", "b", "d", "n", "str", "inlineStr", "x")


def _spoil_markup(dice: random.Random, text: str) -> str:
    for _ in range(dice.randint(1, 3)):
        way = dice.random()
        if way < 0.5:
            text = _swap(dice, text, _VALUE, _escaped(_spoil_text(dice, "2025-03-31")))
        elif way < 0.8:
            text = _swap(dice, text, _ATTRIBUTE, dice.choice((*_ADDRESSES, *_TYPES, "7")))
        elif way < 0.9:
            found = list(_CELL.finditer(text))
            if found:
                cell = dice.choice(found)
                other = dice.choice(found).group() if dice.random() < 0.5 else ""
                text = text[: cell.start()] + other + text[cell.end() :]
        else:
            at = dice.randrange(len(text) + 1)
            text = text[:at] + dice.choice(_MARKUP) + text[at:]
    return text


def _swap(dice: random.Random, text: str, pattern: re.Pattern[str], new: str) -> str:
    found = list(pattern.finditer(text))
    if not found:
        return text
    one = dice.choice(found)
    return text[: one.start(2)] + new + text[one.end(2) :]


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace("\0", "&#0;")


def _spoil_text(dice: random.Random, text: str) -> str:
    way = dice.random()
    if way < 0.6:
        return dice.choice(TOKENS)
    if way < 0.75 and text:
        at = dice.randrange(len(text))
        return text[:at] + dice.choice(TOKENS)[:20] + text[at + dice.randint(0, 1) :]
    if way < 0.9 and text:
        return re.sub(r"\d", lambda _: str(dice.randrange(10)), text)
    return text + chr(dice.choice((0x20, 0x301, 0x202E, 0x1F327, 0x85, 0xA0, 0x378, 0x10FFFF)))


def _spoil_rows(dice: random.Random, rows: list[list[str]]) -> None:
    way = dice.randrange(4)
    at = dice.randrange(len(rows))
    if way == 0:
        rows.insert(at, list(rows[dice.randrange(len(rows))]))
    elif way == 1:
        del rows[at]
    elif way == 2:
        rows[at] = rows[at][: dice.randint(0, len(rows[at]))]
    else:
        rows[at] = [*rows[at], dice.choice(TOKENS)]
