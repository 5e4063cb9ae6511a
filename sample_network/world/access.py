"""When the gates are open: access rules by site."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from world.span import clock, weekday


@dataclass(frozen=True, slots=True)
class Rule:
    """An access rule; the site may be visited only inside one of its rules."""

    weekdays: tuple[str, ...] = ()
    opens_min: int | None = None
    closes_min: int | None = None
    first_day: date | None = None
    last_day: date | None = None
    note: str = ""


_WEEK = ("mon", "tue", "wed", "thu", "fri")
_OFFICE_HOURS = Rule(_WEEK, 480, 1020, note="gate staffed on working days only")
_MORNING = Rule(opens_min=450, closes_min=720, note="mornings only, animals are moved after noon")


def _breeding(note: str) -> tuple[Rule, ...]:
    """Close April to June of every year."""
    rules = [Rule(last_day=date(2024, 3, 31), note=note)]
    for year in (2024, 2025, 2026):
        rules.append(Rule(first_day=date(year, 7, 1), last_day=date(year + 1, 3, 31), note=note))
    return tuple(rules)


RULES: dict[str, tuple[Rule, ...]] = {
    "BR03": (_OFFICE_HOURS,),
    "SE01": (_OFFICE_HOURS,),
    "FY01": (_OFFICE_HOURS,),
    "AM06": (_OFFICE_HOURS,),
    "LI01": (_OFFICE_HOURS,),
    "SH01": (_OFFICE_HOURS,),
    "OU01": (_OFFICE_HOURS,),
    "KO07": (_MORNING,),
    "DU02": (_MORNING,),
    "NA07": (_MORNING,),
    "RA02": (_MORNING,),
    "SE05": (Rule(("tue", "thu"), 600, 900, note="no blasting on these days, report at the gate"),),
    "OU07": (
        Rule(opens_min=480, closes_min=660, note="after the morning milking"),
        Rule(opens_min=780, closes_min=930, note="before the evening milking"),
    ),
    "BR02": _breeding("closed for breeding seabirds from April to June"),
    "DU06": _breeding("closed for breeding seabirds from April to June"),
    "SH04": _breeding("closed for breeding seabirds from April to June"),
    "AM03": (
        Rule(last_day=date(2026, 11, 14), note="closed for the hunt until 6 December"),
        Rule(first_day=date(2026, 12, 7), note="closed for the hunt until 6 December"),
    ),
}


def open_spans(rules: tuple[Rule, ...], day: date) -> list[tuple[int, int]]:
    """Give the spans of the day, in minutes, in which work is allowed."""
    if not rules:
        return [(0, 1440)]
    spans = []
    for rule in rules:
        inside = (rule.first_day or day) <= day <= (rule.last_day or day)
        if inside and (not rule.weekdays or weekday(day) in rule.weekdays):
            spans.append((rule.opens_min or 0, rule.closes_min or 1440))
    return sorted(spans)


def rule_row(code: str, number: int, rule: Rule) -> dict[str, object]:
    """Give the row of the table of access rules."""
    return {
        "site_code": code,
        "rule_number": number,
        "weekdays": " ".join(rule.weekdays),
        "opens": None if rule.opens_min is None else clock(rule.opens_min),
        "closes": None if rule.closes_min is None else clock(rule.closes_min),
        "first_day": rule.first_day,
        "last_day": rule.last_day,
        "note": rule.note,
    }
