"""Depots, technicians, their skills, leave, and the days on which a depot stays in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from math import radians

from world.dice import Dice
from world.island import Point, place
from world.span import FIRST_DAY, LAST_DAY, ZONE_NAME, days, weekday


@dataclass(frozen=True, slots=True)
class Depot:
    code: str
    name: str
    at: Point


@dataclass(frozen=True, slots=True)
class Technician:
    """A technician; ``weekdays`` are the days that belong to the rain gauges."""

    code: str
    name: str
    post: str
    depot_code: str
    active_from: date
    active_until: date | None
    starts_min: int
    ends_min: int
    weekdays: tuple[str, ...]
    max_driving_min: int


DEPOTS = {
    "TJA": Depot("TJA", "Tjalmrøk", place(radians(78), 0.5)),
    "QOR": Depot("QOR", "Qorréllan", place(radians(256), 0.52)),
}

TECHNICIANS = (
    Technician(
        "T01", "Yvenna Solbråddin", "N1", "TJA", date(2017, 4, 3), None,
        480, 960, ("mon", "tue", "wed", "thu"), 240,
    ),
    Technician(
        "T02", "Кострел Демвуев", "N2", "TJA", date(2019, 9, 2), None,
        450, 930, ("tue", "wed", "thu", "fri"), 240,
    ),
    Technician(
        "T03", "Ödric Fallamérez", "S1", "QOR", date(2012, 1, 9), None,
        480, 960, ("mon", "tue", "wed", "thu", "fri"), 210,
    ),
    Technician(
        "T04", "Нелвара Тиушкель", "S2", "QOR", date(2024, 6, 3), None,
        480, 960, ("mon", "wed", "fri"), 240,
    ),
    Technician(
        "T05", "Brûnel Askeviddo", "S2", "QOR", date(2008, 5, 1), date(2024, 5, 31),
        480, 960, ("mon", "wed", "fri"), 240,
    ),
)  # fmt: skip

BREAK_MIN = 30

SKILLS = (
    ("T01", "first aid", date(2022, 5, 1), date(2027, 4, 30)),
    ("T02", "first aid", date(2023, 2, 1), date(2028, 1, 31)),
    ("T03", "first aid", date(2022, 11, 1), date(2027, 10, 31)),
    ("T04", "first aid", date(2024, 6, 10), date(2029, 6, 9)),
    ("T02", "rope access", date(2023, 1, 1), date(2025, 12, 31)),
    ("T02", "rope access", date(2026, 7, 1), date(2029, 6, 30)),
    ("T03", "rope access", date(2023, 6, 1), date(2028, 5, 31)),
    ("T05", "confined entry", date(2021, 9, 1), date(2026, 8, 31)),
    ("T04", "confined entry", date(2024, 9, 1), date(2026, 8, 31)),
)

SKILL_HOLDER = {
    ("TJA", "rope access"): "N2",
    ("QOR", "rope access"): "S1",
    ("QOR", "confined entry"): "S2",
}
"""The post that goes where a skill is asked for."""

CLOSURES = (
    ("TJA", date(2026, 12, 24), "midwinter eve"),
    ("QOR", date(2026, 12, 24), "midwinter eve"),
    ("QOR", date(2026, 11, 26), "vehicle inspection of the whole depot"),
    ("TJA", date(2026, 5, 11), "founders' day"),
    ("QOR", date(2026, 5, 11), "founders' day"),
    ("TJA", date(2025, 5, 12), "founders' day"),
    ("QOR", date(2025, 5, 12), "founders' day"),
    ("TJA", date(2025, 12, 24), "midwinter eve"),
    ("QOR", date(2025, 12, 24), "midwinter eve"),
    ("TJA", date(2024, 12, 24), "midwinter eve"),
    ("QOR", date(2024, 12, 24), "midwinter eve"),
)

BASE = ("GULL", "Guest house at the Gull Steps", place(radians(140), 0.86))
"""A place to sleep on the far coast; one of each depot's crew may, for two nights in a row."""

NIGHT_PRICE, PRICE_OF_A_RECORD_DAY = 84, 12
"""Of one person's night and of a record-day, in the money of the island."""

MAY_STAY_OUT = ("T01", "T03")

NEXT_WEEK_ABSENCE = ("T02", date(2026, 11, 25), date(2026, 11, 25), "training course")


def absences() -> list[tuple[str, date, date, str]]:
    """Give every absence: two summer weeks, a winter week, now and then a sick day."""
    rows = [NEXT_WEEK_ABSENCE, ("T03", date(2026, 12, 14), date(2026, 12, 31), "leave")]
    for person in TECHNICIANS:
        dice = Dice("absence", person.code)
        for year in (2024, 2025, 2026):
            summer = date(year, 7, 1) + timedelta(days=dice.whole(0, 40))
            rows.append((person.code, summer, summer + timedelta(days=13), "leave"))
            winter = date(year, 2, 1) + timedelta(days=dice.whole(0, 45))
            rows.append((person.code, winter, winter + timedelta(days=6), "leave"))
            ill = date(year, 9, 1) + timedelta(days=dice.whole(0, 60))
            rows.append((person.code, ill, ill + timedelta(days=dice.whole(0, 3)), "illness"))
    return sorted(row for row in rows if _employed(row))


def _employed(row: tuple[str, date, date, str]) -> bool:
    person = next(person for person in TECHNICIANS if person.code == row[0])
    last = person.active_until or date(2099, 1, 1)
    return person.active_from <= row[1] and row[2] <= last


def at_work(absent: list[tuple[str, date, date, str]]) -> dict[date, tuple[Technician, ...]]:
    """Give for each day of the records who goes out to the rain gauges."""
    away = {(code, day) for code, first, last, _ in absent for day in days(first, last)}
    shut = {(depot, day) for depot, day, _ in CLOSURES}
    found = {}
    for day in days(FIRST_DAY, LAST_DAY):
        found[day] = tuple(
            person
            for person in TECHNICIANS
            if weekday(day) in person.weekdays
            and person.active_from <= day <= (person.active_until or day)
            and (person.code, day) not in away
            and (person.depot_code, day) not in shut
        )
    return found


def crew_rows() -> dict[str, list[dict[str, object]]]:
    """Give the rows of the tables about depots and people."""
    base_code, base_name, base_at = BASE
    return {
        "bases": [
            {
                "base_code": base_code,
                "name": base_name,
                "latitude_deg": base_at.latitude_deg,
                "longitude_deg": base_at.longitude_deg,
                "capacity": 2,
                "night_cost": NIGHT_PRICE,
                "money_per_record_day": PRICE_OF_A_RECORD_DAY,
                "valid_from": FIRST_DAY,
                "contact": "ring before six in the evening; key in the box by the door",
            }
        ],
        "nights_out": [
            {"technician_code": code, "first_evening": FIRST_DAY, "most_nights_in_a_row": 2}
            for code in MAY_STAY_OUT
        ],
        "depots": [
            {
                "depot_code": depot.code,
                "name": depot.name,
                "latitude_deg": depot.at.latitude_deg,
                "longitude_deg": depot.at.longitude_deg,
                "time_zone": ZONE_NAME,
            }
            for depot in DEPOTS.values()
        ],
        "closures": [
            {"depot_code": depot, "day": day, "name": name} for depot, day, name in sorted(CLOSURES)
        ],
        "technicians": [_technician_row(person) for person in TECHNICIANS],
        "skills": [
            {"technician_code": code, "skill": skill, "valid_from": first, "valid_until": last}
            for code, skill, first, last in SKILLS
        ],
        "absences": [
            {"technician_code": code, "first_day": first, "last_day": last, "reason": reason}
            for code, first, last, reason in absences()
        ],
    }


def _technician_row(person: Technician) -> dict[str, object]:
    return {
        "technician_code": person.code,
        "name": person.name,
        "depot_code": person.depot_code,
        "active_from": person.active_from,
        "active_until": person.active_until,
        "shift_start": f"{person.starts_min // 60:02d}:{person.starts_min % 60:02d}",
        "shift_end": f"{person.ends_min // 60:02d}:{person.ends_min % 60:02d}",
        "weekdays": " ".join(person.weekdays),
        "max_driving_minutes": person.max_driving_min,
        "break_minutes": BREAK_MIN,
    }
