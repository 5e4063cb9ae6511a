"""The words of a route sheet, ready to be laid out, the same for paper and screen."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.reports.steps import FormText


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what it says."""

    label: str
    text: str


@dataclass(frozen=True, slots=True)
class Grid:
    """A table of texts; every row is as long as ``heads``."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class CardText:
    """One job card. ``anchor`` is unique in the sheet; ``gauge_key`` is what the code holds."""

    anchor: str
    running: str
    stop: str
    of_stops: str
    day: str
    times: str
    marks: tuple[str, ...]
    site_code: str
    site_name: str
    serial: str
    type_code: str
    type_line: str
    position: str
    gauge_key: str
    place: tuple[Fact, ...]
    notes: str
    hazards: str
    why: str
    drivers: tuple[Fact, ...]
    phases: Grid
    switches: Grid
    findings: tuple[str, ...]
    follow_ups: tuple[str, ...]
    tasks: tuple[str, ...]
    bring: str
    measures: str
    pour: str
    found_band: str
    found_rule: str
    left_band: str
    left_rule: str
    tolerance: str
    switch_limit: str


@dataclass(frozen=True, slots=True)
class DayText:
    """One day: its facts, its stops in order, what the map shows, and the cards."""

    anchor: str
    title: str
    facts: tuple[Fact, ...]
    stops: Grid
    map_caption: str
    map_alt: str
    cards: tuple[CardText, ...]


@dataclass(frozen=True, slots=True)
class RouteText:
    """A crew's whole sheet. ``identity`` is one line that names it on every page."""

    title: str
    identity: str
    facts: tuple[Fact, ...]
    week: Grid
    cautions_lead: str
    cautions: tuple[str, ...]
    loading: Grid
    days: tuple[DayText, ...]
    plan_notes: tuple[str, ...]
    left_out: Grid
    form: FormText
