"""Daily rain over the island: a few passing storms, more on high ground, more in winter."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from math import cos, exp, pi

from world.dice import Dice
from world.island import Point, offset_km
from world.position import Position
from world.record import Row
from world.site import Site
from world.span import FIRST_RAIN_DAY, LAST_DAY, days, year_share


@dataclass(frozen=True, slots=True)
class Cell:
    """A patch of rain: middle and reach in km, depth in mm."""

    east_km: float
    north_km: float
    reach_km: float
    depth_mm: float


def _winter(day: date) -> float:
    """Give 1 in the middle of winter and 0 in the middle of summer."""
    return 0.5 + 0.5 * cos(2 * pi * (year_share(day) - 0.03))


def _storms() -> dict[date, list[Cell]]:
    """Draw the weather of the year: wet days tend to follow wet days."""
    dice, mood = Dice("weather"), 0.0
    found: dict[date, list[Cell]] = {}
    for day in days(FIRST_RAIN_DAY, LAST_DAY):
        mood = 0.55 * mood + dice.normal(0, 0.84)
        if mood < 0.35 - 0.65 * _winter(day):
            found[day] = []
            continue
        count = dice.whole(1, 5)
        depth = (1.5 + 1.5 * _winter(day)) * exp(0.7 * mood)
        found[day] = [_cell(dice, depth, _winter(day)) for _ in range(count)]
    return found


def _cell(dice: Dice, depth_mm: float, winter: float) -> Cell:
    return Cell(
        dice.uniform(-55, 55),
        dice.uniform(-55, 55),
        dice.uniform(17, 32) + 16 * winter,
        depth_mm * dice.spread(0.5),
    )


def _depth_mm(cells: list[Cell], at: Point) -> float:
    east, north = offset_km(at)
    return sum(
        cell.depth_mm
        * exp(-((east - cell.east_km) ** 2 + (north - cell.north_km) ** 2) / 2 / cell.reach_km**2)
        for cell in cells
    )


def daily_totals(positions: list[Position]) -> list[Row]:
    """Give what every gauge recorded on every day of the last year."""
    storms = _storms()
    seen: dict[str, dict[date, float]] = {}
    rows: list[Row] = []
    for position in positions:
        site = position.site
        if site.code not in seen:
            seen[site.code] = _at_site(site, storms)
        rows.extend(_of_position(position, seen[site.code]))
    return rows


def _at_site(site: Site, storms: dict[date, list[Cell]]) -> dict[date, float]:
    """Give the true rain at a site."""
    dice = Dice("shower", site.code)
    lift = (1 + site.elevation_m / 1400) * dice.spread(0.05)
    found = {}
    for day, cells in storms.items():
        depth = _depth_mm(cells, site.at) * lift * dice.spread(0.13)
        found[day] = depth if depth >= 0.1 else 0.0
    return found


def _of_position(position: Position, true_mm: dict[date, float]) -> list[Row]:
    """Turn rain into whole tips, with gaps, frost and flags."""
    dice = Dice("record", position.key)
    carried, gap, filled, stored, rows = 0.0, 0, False, 0.0, []
    bucket_mm = position.instrument.kind.bucket_mm if position.instrument else 0.2
    for day, share in sorted(position.catch.items()):
        test_mm = position.test_mm.get(day, 0.0)
        flag = "suspect" if test_mm else ""
        depth = true_mm[day] * share * dice.spread(0.015) + stored
        stored = 0.0
        if not flag and share > 0 and _freezes(position.site, day, dice):
            flag, stored, depth = dice.choose(("snow", "frost")), depth * 0.6, depth * 0.2
        carried += depth
        tips = int(carried / bucket_mm + 1e-9)
        carried -= tips * bucket_mm
        total: float | None = round(tips * bucket_mm + test_mm, 1)
        if not gap and dice.chance(0.0012):
            gap, filled = dice.whole(1, 6), dice.chance(0.3)
        if gap:
            gap -= 1
            total, flag = (total, "estimated") if filled else (None, "")
        rows.append(
            {
                "site_code": position.site.code,
                "position": position.letter,
                "day": day,
                "total_mm": total,
                "flag": flag,
            }
        )
    return rows


def _freezes(site: Site, day: date, dice: Dice) -> bool:
    return site.elevation_m > 600 and day.month in (12, 1, 2) and dice.chance(0.08)
