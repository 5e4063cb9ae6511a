"""The sites: where they lie, how one gets in, what can hurt, and when the gate is open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from world.access import RULES, Rule, rule_row
from world.area import AREAS, COAST, FARM, OPEN, TOWN, UPLAND, WOOD, Area
from world.dice import Dice
from world.island import Point, height_m, km_between, place
from world.span import ZONE_NAME

TWO_PERSONS = frozenset({"BR07", "SE07", "FY04", "LI08", "RA04", "OU04"})
SKILLED = {
    "FY05": "rope access",
    "AM07": "rope access",
    "PE04": "rope access",
    "LI08": "confined entry",
    "OU04": "confined entry",
}
RING_FIRST = frozenset(
    {"BR05", "SE03", "KO02", "FY03", "DU07", "AM02", "LI02", "NA02", "RA07", "SH02", "OU02", "PE02"}
)
IMPORTANCE = {"LI01": 3, "BR01": 2, "KO01": 2, "RA01": 2, "FY02": 2, "OU05": 0.5, "AM08": 0.5}

_SHARE = {
    TOWN: (0.45, 0.85),
    FARM: (0.45, 0.85),
    WOOD: (0.35, 0.7),
    COAST: (0.84, 0.95),
    UPLAND: (0.18, 0.36),
    OPEN: (0.35, 0.88),
}
_WALK_MIN = {
    TOWN: (3, 8),
    FARM: (6, 16),
    WOOD: (8, 20),
    COAST: (6, 18),
    UPLAND: (18, 50),
    OPEN: (4, 14),
}
_HAZARDS = {
    TOWN: ("roof edge, use the fixed ladder", "lorries turning in the yard", ""),
    FARM: (
        "bull in the paddock from April to September",
        "electric fence",
        "cows with calves in spring",
    ),
    WOOD: (
        "dead branches overhead, keep out in high wind",
        "wasps under the lid in late summer",
        "slippery boards",
    ),
    COAST: (
        "bird droppings: wet them first, gloves and mask",
        "cliff edge 15 m from the gauge",
        "nesting gulls dive",
    ),
    UPLAND: (
        "steep scree",
        "sudden fog, take the compass",
        "ice on the track from November to March",
    ),
    OPEN: ("", "soft ground after rain", "ticks in long grass"),
}
_NOTES = {
    TOWN: "key at the caretaker's office",
    FARM: "close every gate as you found it",
    WOOD: "park at the barrier, key 7",
    COAST: "path floods at high water",
    UPLAND: "last 2 km are a rough track, four-wheel drive",
    OPEN: "",
}
_FAMILY = (
    "Druvask",
    "Elmorjé",
    "Quistavel",
    "Fenghuld",
    "Marôzzin",
    "Tavrekk",
    "Ombrelaz",
    "Zhulvenna",
)
_ROLE = {
    TOWN: "caretaker",
    FARM: "farmer",
    WOOD: "forester",
    COAST: "harbour office",
    UPLAND: "hut keeper",
    OPEN: "owner",
}


@dataclass(frozen=True, slots=True)
class Site:
    """A site with everything that the register says of it."""

    code: str
    name: str
    kind: str
    area: Area
    at: Point
    elevation_m: int
    access_min: int
    persons: int
    skill: str | None
    ring_first: bool
    importance: float
    contact: str
    hazards: str
    access_notes: str
    rules: tuple[Rule, ...]


def _positions(area: Area) -> list[Point]:
    """Scatter the sites of an area with room between them."""
    dice = Dice("site", area.code)
    found: list[Point] = []
    for _, kind in area.sites:
        best, widest = None, -1.0
        for _ in range(12):
            angle = dice.uniform(area.from_angle + 0.03, area.to_angle - 0.03)
            at = place(angle, dice.uniform(*_SHARE[kind]))
            gap = min((km_between(at, other) for other in found), default=99.0)
            if gap > widest:
                best, widest = at, gap
        assert best is not None
        found.append(best)
    return found


def _site(area: Area, number: int, at: Point) -> Site:
    name, kind = area.sites[number - 1]
    code = f"{area.code}{number:02d}"
    dice = Dice("attribute", code)
    hazards = dice.choose(_HAZARDS[kind])
    contact = ""
    if code in RING_FIRST or dice.chance(0.35):
        contact = f"{dice.choose(_FAMILY)}, {_ROLE[kind]}, tel. 000 {dice.whole(100, 999)}"
    if code in SKILLED:
        hazards = (
            "work at height above the gully" if "rope" in SKILLED[code] else "shaft, test the air"
        )
    return Site(
        code=code,
        name=name,
        kind=kind,
        area=area,
        at=at,
        elevation_m=round(height_m(at)),
        access_min=dice.whole(*_WALK_MIN[kind]),
        persons=2 if code in TWO_PERSONS else 1,
        skill=SKILLED.get(code),
        ring_first=code in RING_FIRST,
        importance=IMPORTANCE.get(code, 1),
        contact=contact,
        hazards=hazards,
        access_notes=_NOTES[kind] if dice.chance(0.6) else "",
        rules=RULES.get(code, ()),
    )


def sites() -> dict[str, Site]:
    """Give every site by its code."""
    found = {}
    for area in AREAS:
        for number, at in enumerate(_positions(area), start=1):
            site = _site(area, number, at)
            found[site.code] = site
    return found


def site_rows(known: dict[str, Site]) -> dict[str, list[dict[str, object]]]:
    """Give the rows of the tables about sites."""
    return {
        "sites": [_site_row(site) for site in known.values()],
        "access_rules": [
            rule_row(site.code, number, rule)
            for site in known.values()
            for number, rule in enumerate(site.rules, start=1)
        ],
    }


def _site_row(site: Site) -> dict[str, object]:
    return {
        "site_code": site.code,
        "name": site.name,
        "latitude_deg": site.at.latitude_deg,
        "longitude_deg": site.at.longitude_deg,
        "elevation_m": site.elevation_m,
        "time_zone": ZONE_NAME,
        "depot_code": site.area.depot_code,
        "importance": site.importance,
        "access_minutes": site.access_min,
        "persons_required": site.persons,
        "required_skill": site.skill,
        "ring_first": site.ring_first,
        "contact": site.contact,
        "hazards": site.hazards,
        "access_notes": site.access_notes,
    }


HOLD_ROWS: list[dict[str, object]] = [
    {
        "site_code": "KO04",
        "kind": "must_visit",
        "first_day": date(2026, 11, 23),
        "last_day": date(2026, 11, 23) + timedelta(days=6),
        "reason": "harbour authority asks for a tested gauge before the winter storms",
    },
    {
        "site_code": "BR06",
        "kind": "not_this_week",
        "first_day": date(2026, 11, 23),
        "last_day": date(2026, 11, 29),
        "reason": "owner away, bridge under repair",
    },
    {
        "site_code": "NA04",
        "kind": "technician",
        "first_day": date(2026, 11, 23),
        "last_day": date(2026, 11, 29),
        "technician_code": "T03",
        "reason": "forester wants the technician who knows the track",
    },
]
