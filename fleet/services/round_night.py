"""Nights away and the proven bound of a round: from the records to the problem, and kept again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date

from sqlalchemy.orm import Session

from fleet.domain.plan import Bound, NightBase, Place, Plan, TechnicianDay
from fleet.services.record_map import Codes
from fleet.store.journal import Work
from fleet.store.models.night import NightBase as NightBaseRow
from fleet.store.models.night import RoundBound, RoundNight
from fleet.store.models.people import Technician
from fleet.store.queries.night import KeptBound, KeptNight, night_bases, nights_out

PREFIX = "base:"
"""Begins the key of a base among the places of a plan."""


def open_bases(session: Session, first: date, last: date) -> tuple[NightBase, ...]:
    """Give the bases that take guests on some evening of a span, in order of code."""
    return tuple(
        NightBase(
            place=Place(f"{PREFIX}{base.code}", base.latitude_deg, base.longitude_deg),
            cost_days=base.cost_record_days,
            capacity=base.capacity,
            first_night=base.valid_from,
            last_night=base.valid_until,
        )
        for base in night_bases(session).values()
        if base.valid_from <= last and (base.valid_until is None or base.valid_until >= first)
    )


def with_nights_out(
    session: Session, members: Sequence[TechnicianDay], first: date, last: date
) -> list[TechnicianDay]:
    """Tell each technician-day how many nights in a row may begin with it."""
    codes = {member.technician_code for member in members}
    leave = nights_out(session, first, last, technician_codes=codes)
    return [replace(member, most_nights=_most_nights(member, leave)) for member in members]


def _most_nights(member: TechnicianDay, leave: Iterable[tuple[str, date, date | None, int]]) -> int:
    allowed = [
        most
        for code, start, end, most in leave
        if code == member.technician_code
        and start <= member.day
        and (end is None or member.day <= end)
    ]
    return max(allowed, default=0)


def write_nights(work: Work, plan: Plan, version_id: int, codes: Codes) -> None:
    """Keep the nights and the bound of a version of a round."""
    work.add(
        RoundNight,
        [
            {
                "round_version_id": version_id,
                "technician_id": codes.id_of(Technician, night.technician_code),
                "evening": night.evening,
                "night_base_id": codes.id_of(NightBaseRow, night.base_key.removeprefix(PREFIX)),
                "cost_record_days": night.cost_days,
            }
            for night in plan.nights
        ],
    )
    bound = plan.bound
    rows = [] if bound is None else [(bound.plan_days, bound.best_days, bound.proof)]
    names = ("plan_record_days", "best_record_days", "proof")
    work.add(
        RoundBound,
        [{"round_version_id": version_id, **dict(zip(names, row, strict=True))} for row in rows],
    )


def kept_bound(bound: Bound | None) -> KeptBound | None:
    """Give the bound of a plan as it is kept."""
    return None if bound is None else KeptBound(bound.plan_days, bound.best_days, bound.proof)


def night_sentences(plan: Plan) -> list[str]:
    """Say for each night of a plan who sleeps where."""
    return kept_night_sentences(
        KeptNight(n.technician_code, n.evening, n.base_key.removeprefix(PREFIX), n.cost_days)
        for n in plan.nights
    )


def kept_night_sentences(nights: Iterable[KeptNight]) -> list[str]:
    """Say for each night who sleeps where, and what it costs."""
    return [
        f"{night.evening.isoformat()} {night.technician_code} stays at base {night.base_code} "
        f"overnight, at {night.cost_record_days:g} record-days."
        for night in nights
    ]


def bound_words(bound: KeptBound | None) -> str:
    """Say in one sentence how far a plan can be from the best there is."""
    if bound is None:
        return "No bound computed: how far the plan is from the best possible is not known."
    if bound.best_record_days <= 0.0:
        return f"The best possible, proven by {bound.proof}."
    short = 100.0 * (bound.best_record_days - bound.plan_record_days) / bound.best_record_days
    return (
        f"Within {max(short, 0.0):.1f} % of the best possible: {bound.plan_record_days:.1f} of at "
        f"most {bound.best_record_days:.1f} record-days, driving and nights paid; proven by "
        f"{bound.proof}."
    )
