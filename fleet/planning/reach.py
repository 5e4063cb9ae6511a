"""Sites that nobody can visit this week, whatever else is planned, and why."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from fleet.domain.plan import Candidate, LeftOut, LeftOutReason, Travel
from fleet.planning.crew import Crew
from fleet.planning.insertion import Addition, cheapest_addition
from fleet.planning.timeline import Route
from fleet.planning.wording import crew_words, day_words, excess_words, litres


def out_of_reach(candidate: Candidate, crews: Sequence[Crew], travel: Travel) -> LeftOut | None:
    """Tell why a site cannot be visited even if it were the only one, or None if it can.

    Parameters
    ----------
    candidate : Candidate
        The site.
    crews : sequence of Crew
        Every crew that could be formed this week, of one and of more.
    travel : Travel
        Driving times between all places named.

    Returns
    -------
    LeftOut or None
        With the first of these that rules out every crew: nobody at work, closed, fixed
        technician away, too few persons, no skill, more than any vehicle takes, closed when
        they work, too far.
    """
    ruled = ruled_out(candidate, crews)
    if ruled is not None:
        return ruled
    alone = cheapest_addition(candidate, (Route(crew) for crew in crews), travel)
    if alone is None:
        return _left_out(candidate, LeftOutReason.CLOSED, _closed_words(candidate, crews))
    if not alone.fits:
        return _left_out(candidate, LeftOutReason.TOO_FAR, _too_far_words(alone, travel), alone)
    return None


def ruled_out(candidate: Candidate, crews: Sequence[Crew]) -> LeftOut | None:
    """Tell what rules a site out before any driving is looked at, None if nothing does."""
    obstacle = _obstacle(candidate, crews)
    return None if obstacle is None else _left_out(candidate, *obstacle)


def _obstacle(candidate: Candidate, crews: Sequence[Crew]) -> tuple[LeftOutReason, str] | None:
    """Find what rules a site out before any driving is looked at, first things first."""
    if not crews:
        return LeftOutReason.NO_CREW, "nobody works this week"
    if not any(candidate.windows.values()):
        return LeftOutReason.CLOSED, "no access window on any day of the week"
    return _nobody_able(candidate, crews)


def _nobody_able(candidate: Candidate, crews: Sequence[Crew]) -> tuple[LeftOutReason, str] | None:
    fixed = candidate.technician_code
    theirs = [crew for crew in crews if fixed in (None, *crew.technician_codes)]
    if not theirs:
        return LeftOutReason.TECHNICIAN_AWAY, f"fixed to {fixed}, who does not work this week"
    enough = [crew for crew in theirs if len(crew.members) >= candidate.persons]
    if not enough:
        return LeftOutReason.NO_CREW, _too_few_words(candidate)
    able = [crew for crew in enough if crew.serves(candidate)]
    if not able:
        return LeftOutReason.NO_SKILL, _no_skill_words(candidate)
    if all(candidate.load.beyond(crew.capacity) for crew in able):
        return LeftOutReason.NO_CAPACITY, _no_capacity_words(candidate, able)
    return None


def _too_few_words(candidate: Candidate) -> str:
    whom = f" including {candidate.technician_code}" if candidate.technician_code else ""
    return (
        f"needs {candidate.persons} persons{whom}; on no day can so many leave together "
        "from one place"
    )


def _no_skill_words(candidate: Candidate) -> str:
    if candidate.technician_code:
        whom = f"{candidate.technician_code}, to whom it is fixed, does not hold"
    elif candidate.persons > 1:
        whom = f"no {candidate.persons} persons who can go together hold"
    else:
        whom = "nobody at work this week holds"
    return f"{whom} the skill {candidate.skill!r}"


def _no_capacity_words(candidate: Candidate, able: Iterable[Crew]) -> str:
    load = candidate.load
    known = [crew.capacity for crew in able if crew.capacity is not None]
    most = max(known, key=lambda capacity: (capacity.water_ml, capacity.spares))
    return (
        f"needs {litres(load.water_ml)} of water and {load.spares} spare parts at once; the "
        f"roomiest vehicle of those who could go takes {most.water_ml // 1000} L and "
        f"{most.spares} spare parts"
    )


def _closed_words(candidate: Candidate, crews: Iterable[Crew]) -> str:
    able = [crew for crew in crews if crew.serves(candidate)]
    working = {crew.day for crew in able}
    open_on = sorted(day for day, windows in candidate.windows.items() if windows)
    shared = [day for day in open_on if day in working]
    if not shared:
        return f"open only on {_days(open_on)}, when nobody who could do it works"
    longest = max(w.closes_min - w.opens_min for day in shared for w in candidate.windows[day])
    return f"the work takes {candidate.service_min} min, the longest access window {longest} min"


def _days(days: Sequence[date]) -> str:
    return ", ".join(day_words(day) for day in days)


def _too_far_words(alone: Addition, travel: Travel) -> str:
    crew = alone.route.crew
    out, back = alone.route.drives(travel)
    work = alone.route.visits[0].candidate.service_min
    return (
        f"as the only stop {crew_words(crew)}: {out} min out, {work} min work, {back} min back; "
        f"{excess_words(alone.timing, crew)}"
    )


def _left_out(
    candidate: Candidate, reason: LeftOutReason, detail: str, alone: Addition | None = None
) -> LeftOut:
    return LeftOut(
        site_code=candidate.place.key,
        reason=reason,
        detail=detail,
        day=alone.route.crew.day if alone else None,
        technician_codes=alone.route.crew.technician_codes if alone else (),
        extra_min=alone.extra_min if alone else None,
        over_min=alone.timing.over_min if alone else None,
        must_visit=candidate.must_visit,
    )
