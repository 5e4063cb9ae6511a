"""Safety reminders for a crew, chosen by what the route sheet holds.

They remind; they do not instruct. Local codes, the employer's rules and licensed practice come
first, and every sheet says so.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fleet.domain.sheet import SheetDay, SheetStop

LEAD = (
    "Reminders only, not instructions. Local codes, your employer's rules and the advice of "
    "licensed or competent persons come first. If it is not safe, do not do it: "
    "a stop reported as not done is a good record."
)


MOST_SITES = 8
"""Sites that a reminder names; more are counted."""


@dataclass(frozen=True, slots=True)
class Caution:
    """A reminder that is printed where a hazard note speaks of it.

    ``signs`` are the words that speak of it, in lower case; plurals and -ed, -ing count too.
    """

    topic: str
    text: str
    signs: str


DRIVING = (
    "Driving: rest before you are tired, a break about every two hours; no call while driving; "
    "arrive in daylight. Keep to the driving and working hours that the law sets where you drive."
)
"""Break of about two hours and arrival in daylight: common practice, no published source. Legal
limits differ by country and vehicle, so none is printed."""

LONE_WORK = (
    "Working alone: somebody knows your route and when you will be back, and acts if you do not "
    "check in. Know which tasks you must not do alone."
)
"""Communication, monitoring, an emergency plan and a list of tasks not to be done alone: UK HSE
INDG73, read in a summary. The buddy who knows place and return time: public lone-working pages."""

TOGETHER = (
    "Working in pairs: agree on who does what before you open anything, keep each other in sight "
    "or call, and check in as a crew; somebody else knows your route and when you will be back."
)
"""Common practice, no published source."""

LIGHTNING = (
    "Lightning: look at the forecast before you leave. When you hear thunder, leave masts, open "
    "ground and water and go into a building or a hard-topped vehicle; wait at least 30 minutes "
    "after the last thunder. Start nothing that you cannot stop quickly."
)
"""At least 30 minutes after the last thunder, shelter, and no task that cannot be stopped fast:
OSHA/NOAA fact sheet on lightning safety, read in excerpt."""

NIGHTS = (
    "Nights away: somebody knows where you sleep and hears from you in the evening and before you "
    "leave in the morning. Take the daily rest that the law sets; do not drive on when tired."
)
"""Common practice, no published source."""

ELECTRICITY = (
    "Electricity: isolate heater, solar panel, battery and mains supply before you open anything. "
    "Mains voltage is for a licensed or competent person only. Batteries give off explosive gas."
)
"""Common practice, no published source."""

WEATHER = (
    "Heat, cold and sun: water to drink, shade or warm clothing, sun protection; turn back in "
    "time. Lift water cans with bent knees: one litre weighs one kilogram."
)
"""Common practice, no published source; 1 kg/L to the nearest per cent [CALC]."""

DROPPINGS = (
    "Bird and bat droppings: dust from them can make you ill. Do not brush them dry; wet them "
    "first, wear gloves and a suitable respirator, wash your hands."
)
"""The danger of dust from droppings (histoplasmosis): NIOSH 2005-109, foreword read. The controls
are from memory of the same publication."""

INSECTS = (
    "Insects, snakes, ticks: tap the housing before you put a hand in; gloves; look yourself over "
    "afterwards. Know who of the crew is allergic."
)
"""Common practice, no published source."""

ON_RECORD = (
    Caution(
        "Water",
        "banks and tank edges give way, fords and floods carry a vehicle off. Never enter "
        "moving water; wear a life jacket where the local code asks for one.",
        "river riverbank stream bank flood ford tank pond lake tide tidal sea water weir dam canal "
        "drown creek marsh bog wade wading",
    ),
    Caution(
        "Livestock and dogs",
        "keep an exit, close every gate, stay clear of bulls and of cows with calves. Leave and "
        "report the stop as not done if the animals crowd you.",
        "cattle cow bull calf calves sheep ram horse pig goat livestock stock animal dog deer "
        "goose geese",
    ),
    Caution(
        "Height",
        "ladder footed and three points of contact; roofs, masts and towers only with the "
        "training, equipment and second person that the local code asks for.",
        "roof ladder mast tower height climb climber cliff edge fall steep scaffold platform "
        "parapet",
    ),
)
"""Common practice, no published source."""


def cautions(days: Sequence[SheetDay]) -> tuple[str, ...]:
    """Choose the reminders for a crew's days.

    Parameters
    ----------
    days : sequence of SheetDay
        The crew of each day and the hazard and access notes of its stops are read.

    Returns
    -------
    tuple of str
        Always: driving, working alone or in pairs (as the days are manned), lightning,
        electricity, weather, droppings, insects; nights away where there are some. Water,
        livestock and height are named with their sites where the notes speak of them. Where a
        hazard note speaks of none of the three in words that this list knows, or is not in Latin
        letters, all three are printed: it may be in another language.

    Notes
    -----
    Sources stand with each text in this module.
    """
    alone = any(len(day.crew) < 2 for day in days)
    together = any(len(day.crew) > 1 for day in days)
    stops = [stop for day in days for stop in day.stops]
    away = any(day.night for day in days)
    kinds = ((LONE_WORK, alone), (TOGETHER, together), (NIGHTS, away))
    manned = [text for text, holds in kinds if holds]
    unread = any(_is_unread(stop) for stop in stops)
    noted = [_noted(caution, stops, unread=unread) for caution in ON_RECORD]
    rest = [ELECTRICITY, WEATHER, DROPPINGS, INSECTS]
    return (DRIVING, *manned, LIGHTNING, *(text for text in noted if text), *rest)


def _noted(caution: Caution, stops: Iterable[SheetStop], *, unread: bool) -> str:
    """Write a reminder with the sites whose notes speak of it, or '' where none may."""
    spoken = sorted({stop.site_code for stop in stops if _speaks(caution, stop)})
    if spoken:
        where = f"{len(spoken)} sites" if len(spoken) > MOST_SITES else ", ".join(spoken)
        return f"{caution.topic} ({where}, see the job cards): {caution.text}"
    return f"{caution.topic}: {caution.text}" if unread else ""


def _speaks(caution: Caution, stop: SheetStop) -> bool:
    words = "|".join(caution.signs.split())
    notes = f"{stop.hazards} {stop.access_notes} {stop.skill or ''}"
    return re.search(rf"\b(?:{words})(?:s|ed|ing)?\b", notes, re.IGNORECASE) is not None


def _is_unread(stop: SheetStop) -> bool:
    foreign = any(
        not unicodedata.name(letter, "").startswith("LATIN")
        for letter in stop.hazards
        if letter.isalpha()
    )
    return foreign or bool(
        stop.hazards.strip() and not any(_speaks(caution, stop) for caution in ON_RECORD)
    )
