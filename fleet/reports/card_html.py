"""A job card on screen: above what to know, below what to do and to write."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from fleet.reports.html_part import (
    blanks,
    box,
    choices,
    facts,
    form_table,
    own,
    step_and_blank,
    step_line,
    table,
)
from fleet.reports.markup import Child, node
from fleet.reports.qr import qr_code
from fleet.reports.route_text import CardText, Grid
from fleet.reports.steps import FormText, Step


def card_section(card: CardText, form: FormText) -> ET.Element:
    """Lay out one job card.

    Parameters
    ----------
    card : CardText
        Its words.
    form : FormText
        The blanks, the same on every card.

    Returns
    -------
    xml.etree.ElementTree.Element
        A ``section`` that starts a page when printed.
    """
    tests = _results("Last tests", card.phases, "No test of this gauge is on record.")
    readings = _results("Last switch readings", card.switches, "No reading is on record.")
    return node(
        "section",
        _head(card),
        node("p", node("b", "HAZARDS "), own(card.hazards), class_="framed"),
        node("div", _getting_there(card), tests, readings, class_="columns"),
        *_run_ins(card),
        *_reasons(card),
        node("div", *_form(card, form), class_="whole"),
        class_="page",
        id=card.anchor,
    )


def _head(card: CardText) -> ET.Element:
    number = node("div", "STOP", node("b", card.stop), f"of {card.of_stops}", class_="number")
    marks = node("b", own(", ".join(card.marks)))
    site = node(
        "div",
        node("h2", own(f"{card.site_code} {card.site_name}")),
        node("p", own(f"{card.day}, {card.times} "), marks),
        class_="grow",
    )
    instrument = node(
        "div",
        node("div", "Serial", class_="small"),
        node("div", own(card.serial), class_="big"),
        node("div", own(card.type_code), class_="band"),
        node("div", "Position ", own(f"{card.position}. {card.type_line}"), class_="small"),
    )
    code = qr_code(card.gauge_key)
    code.set("role", "img")
    code.set("aria-label", f"Code of gauge {card.gauge_key}")
    square = node("div", code, own(card.gauge_key), class_="code")
    return node("div", number, site, instrument, square, class_="head")


def _getting_there(card: CardText) -> ET.Element:
    return node("div", node("h3", "Getting there"), facts(card.place))


def _results(title: str, grid: Grid, empty: str) -> ET.Element:
    shown = table(grid, style="tight") if grid.rows else node("p", empty)
    return node("div", node("h3", title), shown)


def _run_ins(card: CardText) -> list[Child]:
    pairs = (
        ("Last findings: ", "; ".join(card.findings)),
        ("Getting there: ", card.notes),
        ("This visit: ", "; ".join(card.tasks)),
        ("Bring: ", card.bring),
    )
    said = [node("p", node("b", label), own(text)) for label, text in pairs if text]
    ticks = [node("p", box(), node("b", "Open follow-up: "), own(t)) for t in card.follow_ups]
    return [*said, *ticks]


def _reasons(card: CardText) -> list[Child]:
    drivers = [node("p", node("b", own(f"{d.label}. ")), own(d.text)) for d in card.drivers]
    return [node("p", node("b", "Why this gauge: "), own(card.why)), *drivers]


def _form(card: CardText, form: FormText) -> list[Child]:
    steps = {step.key: step for step in form.steps}
    tolerance = node("span", own(card.tolerance), class_="small")
    strip = node("b", own(f"Serial {card.serial}. {card.pour}."))
    reasons = f"If not all was done, why: {form.reasons}"
    return [
        node("p", strip, own(f" {card.measures}. "), tolerance, class_="strip"),
        node("div", _left(steps, card, form), _right(steps, card, form), class_="halves"),
        step_line(steps["record"]),
        form_table(form.finding_columns, [""] * form.finding_rows),
        _keys(form),
        node("div", node("p", *choices(form.outcomes)), blanks(reasons), class_="pair"),
        _reconnect(steps["reconnect"]),
    ]


def _left(steps: dict[str, Step], card: CardText, form: FormText) -> ET.Element:
    return node(
        "div",
        step_and_blank(steps["look"], "Arrived at"),
        step_and_blank(steps["isolate"], "Isolated at"),
        *_runs(steps["as_found"], (card.found_band, card.found_rule), form),
        step_line(steps["clean"]),
        step_line(steps["level"]),
        node(
            "p",
            *("Found: ", *choices(form.level_choices)),
            *("Left: ", *choices(form.level_choices)),
        ),
    )


def _right(steps: dict[str, Step], card: CardText, form: FormText) -> ET.Element:
    switch = form_table(form.switch_columns, form.switch_rows, marked=3, mark=form.switch_choices)
    return node(
        "div",
        *_runs(steps["as_left"], (card.left_band, card.left_rule), form),
        step_line(steps["switch"]),
        node("p", node("b", card.switch_limit)),
        switch,
        blanks("Adjusted? How", "Serial removed", "Serial fitted"),
    )


def _runs(step: Step, band: tuple[str, str], form: FormText) -> list[Child]:
    numbers = [str(number) for number in form.run_numbers]
    return [
        step_line(step),
        node("p", node("span", band[0], class_="band"), f" {band[1]}"),
        form_table(form.run_columns, numbers, marked=5, mark=form.start_choices),
    ]


def _keys(form: FormText) -> ET.Element:
    lists = (
        ("Components", form.components),
        ("Conditions", form.conditions),
        ("Actions", form.actions),
    )
    words = [part for name, text in lists for part in (node("b", f" {name}: "), f"{text}.")]
    return node("p", f"{form.start_key} {form.switch_key}", *words, class_="small")


def _reconnect(step: Step) -> ET.Element:
    labels = ("Restored at", "Proven by (what you saw)", "Test tips made", "Left site at")
    return node("div", step_line(step), blanks(*labels, "Initials", wide=1), class_="heavy")
