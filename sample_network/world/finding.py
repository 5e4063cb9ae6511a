"""What a technician sees at a gauge and its site, and the defects that wait for somebody."""

from __future__ import annotations

from datetime import date, timedelta

from world.area import COAST, FARM, OPEN, TOWN, UPLAND, WOOD
from world.dice import Dice
from world.position import Position
from world.record import Records, Row
from world.site import Site
from world.work import Work

_PESTS = ("ants in the base", "spider web under the funnel", "wasps' nest under the lid")


def found_level(work: Work, serial: str) -> tuple[str, str]:
    """Give the level as found and as left."""
    if not work.dice.chance(0.07):
        return "in_ring", "in_ring"
    work.find(
        serial=serial,
        component="level",
        condition_found="loose",
        action="levelled",
        condition_left="good",
        note="base plate had settled",
    )
    return "out_of_ring", "in_ring"


def found_by_looking(work: Work, position: Position) -> None:
    """Write the findings at the gauge itself."""
    dice, serial = work.dice, position.instrument.serial if position.instrument else ""
    if position.passed_share < 1:
        _blocked(work, position, serial)
    elif dice.chance(0.55):
        part = dice.choose(("funnel", "screen", "screen", "filter", "bucket"))
        _cleaned(work, serial, part, "dirty", "")
    elif dice.chance(0.10):
        _cleaned(work, serial, "screen", "partly_blocked", "some leaves")
    if position.instrument and position.instrument.kind.siphon and dice.chance(0.08):
        _cleaned(work, serial, "siphon", "dirty", "slime")
    if work.day.month in (5, 6, 7, 8, 9) and dice.chance(0.12):
        _mended(work, serial, "enclosure infested treated good", dice.choose(_PESTS))
    if dice.chance(0.04):
        _mended(work, serial, "terminal corroded tightened good", "re-made the ends")
    if dice.chance(0.03):
        _mended(work, serial, "cable damaged repaired good", "gnawed, sleeve put on")
    if dice.chance(0.02):
        _mended(work, serial, "pivot worn none worn", "play at one side, watch")


def _blocked(work: Work, position: Position, serial: str) -> None:
    part = work.dice.choose(("funnel", "screen", "filter"))
    work.find(
        serial=serial,
        component=part,
        condition_found="blocked",
        action="cleared",
        condition_left="good",
        note=position.blocked_by,
    )


def _cleaned(work: Work, serial: str, part: str, condition: str, note: str) -> None:
    work.find(
        serial=serial,
        component=part,
        condition_found=condition,
        action="cleaned",
        condition_left="good",
        note=note,
    )


def _mended(work: Work, serial: str, words: str, note: str) -> None:
    component, found, action, left = words.split()
    work.find(
        serial=serial,
        component=component,
        condition_found=found,
        action=action,
        condition_left=left,
        note=note,
    )


_DEFECTS = {
    WOOD: ("vegetation", "branches grow within 2 m of the funnel", "pruning saw", "soon"),
    FARM: ("enclosure", "fence broken, cattle rub against the post", "wire and two posts", "soon"),
    COAST: ("foundation", "one anchor bolt rusted through", "stainless anchor bolt", "soon"),
    TOWN: ("other", "ladder to the roof has no fixing at the top", "second person", "urgent"),
    UPLAND: ("power", "battery does not hold its charge", "battery 12 V 24 Ah", "next_visit"),
    OPEN: ("vegetation", "grass higher than the rim", "brush cutter", "next_visit"),
}
_CONDITION = {
    "vegetation": "other",
    "enclosure": "damaged",
    "foundation": "corroded",
    "power": "worn",
}


class FollowUps:
    """Defects raised at one visit and closed at a later one."""

    def __init__(self, records: Records) -> None:
        self._records = records
        self._open: dict[str, list[Row]] = {}
        self._dice = Dice("follow-up")
        self._number = 0

    def look_round(self, work: Work, site: Site) -> None:
        """Close what is open at the site, and now and then raise something new."""
        for row in self._open.pop(site.code, []):
            if self._dice.chance(0.75):
                row["closed_on"], row["closed_by_visit"] = work.day, work.visit_ref
            else:
                self._open.setdefault(site.code, []).append(row)
        if site.code not in self._open and self._dice.chance(0.12):
            self._raise_defect(work, site)

    def raise_weak(self, work: Work, site: Site, instrument_serial: str, ohm: float) -> None:
        """Ask for a new switch at the next visit."""
        self._raise(
            work,
            site,
            serial=instrument_serial,
            severity="next_visit",
            description=f"switch closes at {ohm:.1f} ohm, replace it before it fails",
            needs="reed switch",
        )

    def _raise_defect(self, work: Work, site: Site) -> None:
        component, text, needs, severity = _DEFECTS[site.kind]
        condition = _CONDITION.get(component, "other")
        work.find(
            component=component,
            condition_found=condition,
            action="reported",
            condition_left=condition,
            note=text,
        )
        self._raise(work, site, serial=None, severity=severity, description=text, needs=needs)

    def _raise(self, work: Work, site: Site, **told: object) -> None:
        self._number += 1
        wait = {"urgent": 14, "soon": 60}.get(str(told["severity"]))
        row = self._records.add(
            "follow_ups",
            follow_up_ref=f"F{work.day:%y}-{self._number:03d}",
            site_code=site.code,
            raised_on=work.day,
            raised_by_visit=work.visit_ref,
            due_on=None if wait is None else work.day + timedelta(days=wait),
            **told,
        )
        self._open.setdefault(site.code, []).append(row)


def office_follow_ups(last_day: date) -> list[Row]:
    """Give what came by telephone in the last days."""
    return [
        {
            "follow_up_ref": "F26-T01",
            "site_code": "DU05",
            "severity": "soon",
            "raised_on": last_day - timedelta(days=9),
            "description": "walker reports the funnel lid lying in the grass",
            "needs": "lid, two screws",
            "due_on": last_day + timedelta(days=10),
        },
        {
            "follow_up_ref": "F26-T02",
            "site_code": "OU02",
            "severity": "urgent",
            "raised_on": last_day - timedelta(days=2),
            "description": "farmer says the mast leans after the storm",
            "needs": "second person, guy rope",
            "due_on": last_day + timedelta(days=5),
        },
    ]
