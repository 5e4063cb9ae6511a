"""What to put into the van for a crew's days: water, spares, test equipment, tools, forms."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from math import ceil

from fleet.domain.job import carried_ml
from fleet.domain.sheet import JobCard, LoadingItem, SheetDay, SheetStop
from fleet.reports.wording import counted, day_words, figure

TOOLS = (
    ("Spirit level", "1", "mounting plate and rim"),
    ("Screwdrivers, spanners, hex keys, pliers", "1 set", "housing, terminals, legs"),
    ("Soft brushes, bottle brush, lint-free cloths", "1 set", "cleaning; nothing abrasive"),
    ("Grass shears or small saw, spade", "1 set", "growth around the gauge, gates, drains"),
    ("Cable ties, self-fusing tape, terminals, cable", "1 set", "cable repairs"),
    ("Camera or telephone, spare battery", "1", "before and after"),
    ("Keys, access permits, site list", "1 set", "as the sites ask"),
)
"""Common practice, no published source."""

TEST_EQUIPMENT = (
    ("Resistance meter with leads", "1", "switch and loop; within its certificate"),
    ("Tip counter, stopwatch", "1 each", "zeroed before each run; seconds of each run"),
)
"""Common practice, no published source."""

PROTECTION = (
    ("Work gloves and disposable gloves", "{pairs} each", "one pair a person, with spares"),
    ("Respirator, eye protection, hand wash", "{persons} each", "droppings, insects, batteries"),
    ("Wet weather, warm and sun clothing, boots", "{persons} each", "the forecast may be wrong"),
    ("First aid kit, drinking water, charged radio or telephone", "1", "check-in and emergency"),
)
"""Common practice, no published source."""


def loading_list(days: Sequence[SheetDay]) -> tuple[LoadingItem, ...]:
    """List what a crew's van must carry for its days.

    Parameters
    ----------
    days : sequence of SheetDay
        A crew's days; none gives an empty list.

    Returns
    -------
    tuple of LoadingItem
        Water, test equipment, what the gauges ask for, spares a gauge type, tools, protection
        and forms, in that order.

    Notes
    -----
    Water: every gauge's planned runs (least as-found plus least as-left) times its test volume,
    half as much again in reserve, one litre a gauge for rinsing; rounded up to whole litres,
    with the day that needs most.
    """
    stops = [stop for day in days for stop in day.stops]
    cards = [card for stop in stops for card in stop.cards]
    if not cards:
        return ()
    persons = max(len(day.crew) for day in days)
    return (
        _water(days),
        *_devices(cards),
        *(LoadingItem(*row) for row in TEST_EQUIPMENT),
        *_brought(stops),
        *_spares(cards),
        *(LoadingItem(*row) for row in TOOLS),
        *_protection(persons),
        *_forms(cards),
    )


def water_litres(cards: Iterable[JobCard]) -> int:
    """Give the water for some gauges in whole litres, reserve and rinsing included.

    Examples
    --------
    >>> water_litres([])
    0
    """
    need_ml = sum(
        carried_ml((card.minimum_as_found_runs + card.minimum_as_left_runs) * card.test_volume_ml)
        for card in cards
    )
    return ceil(round(need_ml / 1000, 6))


def _water(days: Sequence[SheetDay]) -> LoadingItem:
    by_day = [(water_litres(_cards(day.stops)), day) for day in days]
    total = water_litres(card for day in days for card in _cards(day.stops))
    most, busiest = max(by_day, key=lambda pair: pair[0])
    detail = f"planned runs, half as much again, rinsing; {total} kg"
    if len(days) > 1:
        detail += f"; refill daily: at most {most} L, on {day_words(busiest.day)}"
    return LoadingItem("Clean water", f"{total} L", detail)


def _cards(stops: Iterable[SheetStop]) -> list[JobCard]:
    return [card for stop in stops for card in stop.cards]


def _devices(cards: Sequence[JobCard]) -> list[LoadingItem]:
    gauges = Counter(card.test_volume_ml for card in cards)
    return [
        LoadingItem(
            f"Volumetric test device, {figure(volume_ml)} mL",
            "1",
            f"{counted(number, 'gauge')}; within its certificate, note its code",
        )
        for volume_ml, number in sorted(gauges.items())
    ]


def _brought(stops: Iterable[SheetStop]) -> list[LoadingItem]:
    sites: dict[str, list[str]] = defaultdict(list)
    for stop in stops:
        for card in stop.cards:
            for text in card.bring:
                sites[text].append(stop.site_code)
    return [
        LoadingItem(item, str(len(codes)), ", ".join(dict.fromkeys(codes)))
        for item, codes in sorted(sites.items())
        if item
    ]


def _spares(cards: Sequence[JobCard]) -> list[LoadingItem]:
    gauges = Counter(card.type_code for card in cards)
    siphons = {card.type_code for card in cards if card.siphon}
    items = []
    for code, number in sorted(gauges.items()):
        parts = "switch, screens, filter" + (", siphon" if code in siphons else "")
        items += [
            LoadingItem(
                f"Spare gauge, type {code}", "1", f"{counted(number, 'gauge')} on the route"
            ),
            LoadingItem(f"Spare parts, type {code}", "1 set", parts),
        ]
    return items


def _protection(persons: int) -> list[LoadingItem]:
    pairs = counted(2 * persons, "pair")
    return [
        LoadingItem(item, quantity.format(pairs=pairs, persons=persons), detail)
        for item, quantity, detail in PROTECTION
    ]


def _forms(cards: Sequence[JobCard]) -> list[LoadingItem]:
    return [
        LoadingItem("Route sheet with job cards", counted(len(cards), "card"), "one a gauge"),
        LoadingItem("Pencils, clipboard with rain cover", "2", "pencil writes on wet paper"),
    ]
