"""The words of one job card, from the gauge and the stop it belongs to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fleet.domain.sheet import JobCard, PhaseLine, SheetDay, SheetStop, SwitchLine
from fleet.reports.route_text import CardText, Fact, Grid
from fleet.reports.wording import (
    chance_words,
    code_words,
    day_words,
    figure,
    position_words,
    shorten,
)

LONGEST_NAME = 90
"""Characters of a site's name in a card's head; the day's table prints it whole."""

PHASE_HEADS = ("Day", "Phase", "Tips", "Error", "Verdict")
SWITCH_HEADS = ("Day", "Phase", "Closed", "Of 10 tips", "Verdict")


@dataclass(frozen=True, slots=True)
class Seat:
    """Where a card sits in the sheet: its day, its stop and a name for links."""

    day: SheetDay
    stop: SheetStop
    anchor: str


def card_words(card: JobCard, seat: Seat) -> CardText:
    """Write out one job card.

    Parameters
    ----------
    card : JobCard
        The gauge.
    seat : Seat
        The stop and day at which it is serviced.

    Returns
    -------
    CardText
        Texts only, made harmless; empty tuples where the records hold nothing.
    """
    stop = seat.stop
    return CardText(
        anchor=seat.anchor,
        running=f"Stop {stop.sequence}, {code_words(stop.site_code)}, {code_words(card.serial)}",
        stop=str(stop.sequence),
        of_stops=str(len(seat.day.stops)),
        day=day_words(seat.day.day),
        times=f"arrive {stop.arrive}, work {stop.start} to {stop.depart}",
        marks=stop_marks(stop),
        site_code=code_words(stop.site_code),
        site_name=shorten(stop.site_name, longest=LONGEST_NAME),
        serial=code_words(card.serial),
        type_code=code_words(card.type_code),
        type_line=card.type_description,
        position=code_words(card.position),
        gauge_key=card.gauge_key,
        place=_place(stop),
        notes=stop.access_notes,
        hazards=stop.hazards or "None on record. Look for yourself before you start.",
        why=_why(card),
        drivers=tuple(
            Fact(
                f"{d.name}, {figure(d.share_percent, digits=0)} %",
                d.sentence,
            )
            for d in card.drivers
        ),
        phases=Grid(PHASE_HEADS, tuple(_phase_row(line) for line in card.phases)),
        switches=Grid(SWITCH_HEADS, tuple(_switch_row(line) for line in card.switches)),
        findings=_texts(card.findings),
        follow_ups=_texts(card.open_follow_ups),
        tasks=_texts(card.tasks),
        bring="; ".join(_texts(card.bring)),
        measures=_measures(card),
        pour=_pour(card),
        found_band=_band(card.as_found_band),
        found_rule=_rule(card, card.as_found_band, card.minimum_as_found_runs),
        left_band=_band(card.as_left_band),
        left_rule=_rule(card, card.as_left_band, card.minimum_as_left_runs),
        tolerance=card.tolerance_text,
        switch_limit=_switch_limit(card),
    )


def stop_marks(stop: SheetStop) -> tuple[str, ...]:
    """Say in words what a crew must mind about a stop."""
    marks = [
        ("must visit", stop.must_visit),
        (f"{stop.persons} persons", stop.persons > 1),
        ("ring first", stop.ring_first),
        (f"skill: {stop.skill or ''}", stop.skill is not None),
        ("drive time only estimated", stop.straight_line),
    ]
    return tuple(words for words, holds in marks if holds)


def _texts(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(text for text in texts if text)


def _place(stop: SheetStop) -> tuple[Fact, ...]:
    height = "" if stop.elevation_m is None else f", {figure(stop.elevation_m, digits=0)} m"
    contact = stop.contact
    if stop.ring_first:
        contact = f"RING FIRST: {contact or 'no number on record, ask the office'}"
    facts = (
        Fact("Position", position_words(stop.latitude_deg, stop.longitude_deg) + height),
        Fact("Access", f"{stop.access_minutes} min walk, {stop.service_min} min in all"),
        Fact("On foot", stop.on_foot),
        Fact("Open", "; ".join(_texts(stop.access_rules))),
        Fact("Contact", contact),
    )
    return tuple(fact for fact in facts if fact.text)


def _why(card: JobCard) -> str:
    worth = f"Worth {figure(card.worth_record_days)} record-days"
    unfit = f"chance that it is unfit now {chance_words(card.unfit_percent / 100.0)}"
    if card.last_service_on is None:
        since = f"Never serviced here, {card.age_days} days in place"
    else:
        since = f"Last service {card.last_service_on.isoformat()}, {card.age_days} days ago"
    return f"{worth}; {unfit}. {since}; interval {card.interval_days} days."


def _phase_row(line: PhaseLine) -> tuple[str, ...]:
    return (
        line.visited_on.isoformat(),
        _phase(line.phase),
        f"{line.tips} of {figure(line.expected_tips)}",
        f"{line.error_percent:+.1f} %".replace("-", "\N{MINUS SIGN}"),
        _words(line.verdict),
    )


def _switch_row(line: SwitchLine) -> tuple[str, ...]:
    ohm = "" if line.closed_ohm is None else f"{figure(line.closed_ohm, digits=2)} ohm"
    return (
        line.visited_on.isoformat(),
        _phase(line.phase),
        "no closure" if line.no_closure else ohm or "not read",
        "not done" if line.manual_tips is None else str(line.manual_tips),
        _words(line.verdict),
    )


def _phase(phase: str) -> str:
    return _words(phase).removeprefix("as ")


def _words(value: str) -> str:
    return value.replace("_", " ")


def _measures(card: JobCard) -> str:
    siphon = "siphon" if card.siphon else "no siphon"
    return (
        f"Bucket {figure(card.bucket_mm, digits=3)} mm; "
        f"area {figure(card.orifice_area_cm2, digits=3)} cm² ({card.area_basis}); "
        f"{figure(card.tip_ml, digits=3)} mL a tip; {siphon}"
    )


def _pour(card: JobCard) -> str:
    return (
        f"Pour {figure(card.test_volume_ml)} mL slowly: "
        f"{figure(card.expected_tips)} tips expected; one tip is {figure(card.one_tip_percent)} %"
    )


def _band(band: tuple[int, int]) -> str:
    low, high = band
    if low > high:
        return "none"
    return f"{low}" if low == high else f"{low} to {high}"


def _rule(card: JobCard, band: tuple[int, int], runs: int) -> str:
    if band[0] > band[1]:
        return f"no whole number of tips passes with {figure(card.test_volume_ml)} mL: pour more"
    return f"tips a run pass, at least {runs} run{'' if runs == 1 else 's'}"


def _switch_limit(card: JobCard) -> str:
    limit = f"closed: at most {figure(card.closed_field_limit_ohm, digits=2)} ohm at the gauge"
    if card.loop_ohm is None:
        return limit
    return f"{limit}, {figure(card.closed_field_limit_ohm + card.loop_ohm, digits=2)} at the logger"
