"""Shared pieces of the screen layout: user texts, facts, tables, boxes and blanks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from xml.etree import ElementTree as ET

from fleet.reports.markup import Child, node
from fleet.reports.route_text import Fact, Grid
from fleet.reports.steps import Step


def own(text: str) -> ET.Element:
    """Show a text of the records in its own direction, so that it reorders nothing around it."""
    return node("bdi", text)


def facts(pairs: Iterable[Fact]) -> ET.Element:
    """Show labels and what they say."""
    shown = [part for p in pairs for part in (node("dt", p.label), node("dd", own(p.text)))]
    return node("dl", *shown)


def bullets(texts: Iterable[str]) -> ET.Element:
    """Show texts as a list."""
    return node("ul", *(node("li", own(text)) for text in texts))


def table(grid: Grid, *, tick_head: str | None = None, style: str = "") -> ET.Element:
    """Show a table of texts, with a first column of boxes to tick where it has a head."""
    ticks: list[Child] = [] if tick_head is None else [node("td", box())]
    heads = grid.heads if tick_head is None else (tick_head, *grid.heads)
    rows = [node("tr", *ticks, *(node("td", own(cell)) for cell in row)) for row in grid.rows]
    return node("table", _head(heads), node("tbody", *rows), class_=style or "wide")


def form_table(
    heads: Sequence[str], firsts: Iterable[str], *, marked: int | None = None, mark: str = ""
) -> ET.Element:
    """Show a table to write in: first cells given, the choices of one column, else blanks."""

    def cell(column: int) -> ET.Element:
        return node("td", mark, class_="mark") if column == marked else node("td")

    rows = [
        node("tr", node("td", node("b", first)), *(cell(k) for k in range(1, len(heads))))
        for first in firsts
    ]
    return node("table", _head(heads), node("tbody", *rows), class_="form")


def box() -> ET.Element:
    """Show a box to tick."""
    return node("span", class_="box")


def choices(words: Iterable[str]) -> list[Child]:
    """Show words of which one is to be ticked."""
    return [part for word in words for part in (box(), f"{word}\N{EM SPACE}")]


def blanks(*labels: str, wide: int | None = None) -> ET.Element:
    """Show blanks side by side, one of them wide."""
    cells = [
        node("span", label, class_="wide") if index == wide else node("span", label)
        for index, label in enumerate(labels)
    ]
    return node("div", *cells, class_="blanks")


def step_line(step: Step) -> ET.Element:
    """Show a step of the visit with its box."""
    title = node("b", f"{step.number} {step.title}", class_="title")
    return node("p", box(), title, f" {step.text}")


def step_and_blank(step: Step, label: str) -> ET.Element:
    """Show a step of the visit with one blank to its right."""
    return node("div", step_line(step), blanks(label), class_="pair")


def _head(heads: Iterable[str]) -> ET.Element:
    return node("thead", node("tr", *(node("th", head, scope="col") for head in heads)))
