"""A route sheet as one web page that needs nothing else: no script, no font, no network."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

from fleet.domain.sheet import RouteSheet
from fleet.reports.card_html import card_section
from fleet.reports.html_part import bullets, facts, own, table
from fleet.reports.markup import Child, node
from fleet.reports.plain_sheet import plain_sheet
from fleet.reports.route_map import day_map
from fleet.reports.route_pdf import MAP_MM
from fleet.reports.route_text import DayText, RouteText
from fleet.reports.route_words import route_words
from fleet.reports.typeset import Paper

STYLES = Path(__file__).with_name("route.css")
POLICY = "default-src 'none'; style-src 'unsafe-inline'"
"""The page may load nothing and run nothing, whatever the records say."""


def route_html(sheet: RouteSheet, *, paper: Paper) -> bytes:
    """Lay out a route sheet for a screen; it prints like the PDF, a page a job card.

    Parameters
    ----------
    sheet : RouteSheet
        Positions must be within range (`check_positions`).
    paper : "a4" or "letter"
        Size when printed.

    Returns
    -------
    bytes
        UTF-8, one file; every text of the records is escaped. The same for the same sheet.
    """
    sheet = plain_sheet(sheet)
    words = route_words(sheet)
    days = [
        section
        for text, day in zip(words.days, sheet.days, strict=True)
        for section in _day(
            text,
            words,
            day_map(day, sheet.map_lines, width_mm=MAP_MM[0], height_mm=MAP_MM[1]),
        )
    ]
    body = node("body", _cover(words), *_loading(words), *days, _behind(words))
    page = node("html", _head(words, paper), body, lang="en")
    text: str = ET.tostring(page, encoding="unicode", method="html")
    return f"<!DOCTYPE html>\n{text}\n".encode()


def _head(words: RouteText, paper: Paper) -> ET.Element:
    size = f"@page {{ size: {paper} portrait; margin: 8mm 10mm; }}"
    policy = node("meta", content=POLICY)
    policy.set("http-equiv", "Content-Security-Policy")
    return node(
        "head",
        node("meta", charset="utf-8"),
        policy,
        node("meta", name="viewport", content="width=device-width, initial-scale=1"),
        node("title", words.title),
        node("style", f"{STYLES.read_text(encoding='utf-8')}{size}\n"),
    )


def _cover(words: RouteText) -> ET.Element:
    parts: list[Child] = [node("h1", own(words.title)), facts(words.facts), _contents(words)]
    parts.append(node("h2", "The week"))
    if words.week.rows:
        parts.append(table(words.week))
    else:
        parts.append(node("p", "No stops are planned for this crew."))
    reminders = (node("h2", "Safety reminders"), node("p", node("b", words.cautions_lead)))
    parts.append(node("div", *reminders, bullets(words.cautions), class_="framed"))
    return node("section", *parts)


def _contents(words: RouteText) -> ET.Element:
    links = [(day.anchor, day.title) for day in words.days]
    links += [(card.anchor, f"{card.day}: {card.running}") for d in words.days for card in d.cards]
    items = [node("li", node("a", own(title), href=f"#{anchor}")) for anchor, title in links]
    return node("nav", node("ul", *items))


def _loading(words: RouteText) -> list[Child]:
    if not words.loading.rows:
        return []
    listed = table(words.loading, tick_head="Loaded")
    return [node("section", node("h2", "Loading the van"), listed, class_="page")]


def _day(day: DayText, words: RouteText, drawing: ET.Element) -> list[Child]:
    drawing.set("role", "img")
    drawing.set("aria-label", day.map_alt)
    caption = node("figcaption", own(day.map_caption), class_="small")
    page = node(
        "section",
        node("h1", day.title),
        facts(day.facts),
        table(day.stops),
        node("div", drawing, caption, class_="whole"),
        class_="page",
        id=day.anchor,
    )
    return [page, *(card_section(card, words.form) for card in day.cards)]


def _behind(words: RouteText) -> ET.Element:
    parts: list[Child] = [node("h1", "Behind this plan")]
    if words.plan_notes:
        parts += [node("h2", "How it was made"), bullets(words.plan_notes)]
    parts.append(node("h2", "What was left out, and why"))
    if words.left_out.rows:
        parts.append(table(words.left_out))
    else:
        parts.append(node("p", "Nothing that was ranked was left out."))
    return node("section", *parts, class_="page")
