"""An evidence pack as one PDF to be kept, with its tables inside as files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from xml.etree import ElementTree as ET

from fleet.reports.typeset import Paper, typeset_pdf
from fleet.reports.wording import breakable, plain_text

LAYOUT = "pack.typ"

CSV, JSON = "text/csv", "application/json"


@dataclass(frozen=True, slots=True)
class PackFile:
    """A file inside the pack; ``rows`` is None where it is no table."""

    name: str
    content: str
    what: str
    rows: int | None = None
    mime: str = CSV

    @property
    def hash(self) -> str:
        """Give its SHA-256 in hexadecimal digits."""
        return sha256(self.content.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class PackSection:
    """One question with what was found: rows of gauge, visit and sentence, for the page."""

    title: str
    facts: tuple[tuple[str, str], ...]
    found: str
    rows: tuple[tuple[str, str, str], ...]
    more: str = ""


@dataclass(frozen=True, slots=True)
class PackDrawing:
    """A drawing with its title and what it shows in words."""

    title: str
    alt: str
    svg: ET.Element


@dataclass(frozen=True, slots=True)
class PackFigure:
    """A page of drawings."""

    title: str
    lines: tuple[str, ...]
    drawings: tuple[PackDrawing, ...]


@dataclass(frozen=True, slots=True)
class Pack:
    """Everything in an evidence pack; ``made_at`` is the instant of the records, not of making."""

    title: str
    description: str
    identity: str
    made_at: datetime
    facts: tuple[tuple[str, str], ...]
    asked: tuple[tuple[str, str, str], ...]
    notes: tuple[str, ...]
    figures: tuple[PackFigure, ...]
    sections: tuple[PackSection, ...]
    files: tuple[PackFile, ...]


def pack_pdf(pack: Pack, *, paper: Paper, font_dirs: Sequence[Path] = ()) -> bytes:
    """Set an evidence pack.

    Parameters
    ----------
    pack : Pack
        What is in it; texts may be in any script.
    paper : "a4" or "letter"
        Portrait.
    font_dirs : sequence of Path
        Folders with fonts for scripts beyond the shipped ones.

    Returns
    -------
    bytes
        A PDF, the same for the same pack: PDF/A-3a and PDF/UA-1, unless a text has characters
        for which no font is at hand.

    Warns
    -----
    FleetWarning
        Some characters have no glyph; the document is then no PDF/A.
    """
    data = layout_data(pack, paper=paper)
    return typeset_pdf(LAYOUT, data, made_at=pack.made_at, font_dirs=font_dirs, archived=True)


def layout_data(pack: Pack, *, paper: Paper) -> Mapping[str, object]:
    """Give what the layout reads."""
    return {
        "paper": {"a4": "a4", "letter": "us-letter"}[paper],
        "title": plain_text(pack.title),
        "description": plain_text(pack.description),
        "identity": _line(pack.identity),
        "facts": _facts(pack.facts),
        "asked": _table(("Question", "Found", "File"), pack.asked),
        "notes": [_line(note) for note in pack.notes],
        "figures": [_figure(figure) for figure in pack.figures],
        "sections": [_section(section) for section in pack.sections],
        "files": [_file(file) for file in pack.files],
        "files_lead": (
            "Open the attachments of this document in a PDF reader. A file whose SHA-256 differs "
            "from the one printed here is not the one that was put in."
        ),
        "manifest": _table(
            ("File", "Rows", "What it holds", "SHA-256"),
            [
                (file.name, "" if file.rows is None else str(file.rows), file.what, file.hash)
                for file in pack.files
            ],
        ),
    }


def _line(text: str) -> str:
    return breakable(plain_text(text))


def _lines(text: str) -> str:
    return "\n".join(_line(part) for part in text.split("\n"))


def _facts(pairs: Sequence[tuple[str, str]]) -> list[dict[str, str]]:
    return [{"label": label, "text": _line(text)} for label, text in pairs]


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> dict[str, object]:
    return {"heads": list(heads), "rows": [[_lines(cell) for cell in row] for row in rows]}


def _section(section: PackSection) -> dict[str, object]:
    return {
        "title": section.title,
        "facts": _facts(section.facts),
        "found": section.found,
        "table": _table(("Which", "Visit", "What was found"), section.rows),
        "more": section.more,
    }


def _figure(figure: PackFigure) -> dict[str, object]:
    drawings = [
        {
            "title": plain_text(one.title),
            "alt": plain_text(one.alt),
            "svg": ET.tostring(one.svg, encoding="unicode"),
        }
        for one in figure.drawings
    ]
    lines = [_line(line) for line in figure.lines]
    return {"title": plain_text(figure.title), "lines": lines, "drawings": drawings}


def _file(file: PackFile) -> dict[str, str]:
    return {
        "name": file.name,
        "text": file.content,
        "what": plain_text(file.what),
        "mime": file.mime,
        "relationship": "data" if file.mime == CSV else "supplement",
    }
