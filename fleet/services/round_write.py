"""Keep a plan as the next version of its round, with the evidence as it stood."""

from __future__ import annotations

from sqlalchemy import func, select

from fleet.domain.code import RoundStatus
from fleet.domain.plan import DayPlan
from fleet.services.record_map import Codes
from fleet.services.record_write import add_codes
from fleet.services.round_night import write_nights
from fleet.services.round_part_write import (
    write_breaks_and_ends,
    write_left_out,
    write_stop_parts,
)
from fleet.services.round_plan import RoundPlan
from fleet.store.journal import Work
from fleet.store.models.people import Depot, Technician
from fleet.store.models.round import (
    Round,
    RoundCrew,
    RoundDay,
    RoundEvent,
    RoundNote,
    RoundStop,
    RoundVersion,
)
from fleet.store.models.site import Site


def write_round(work: Work, kept: RoundPlan) -> int:
    """Write the next version of a round; the version before is superseded.

    Parameters
    ----------
    work : Work
        The open transaction.
    kept : RoundPlan
        A plan that the checker has passed.

    Returns
    -------
    int
        The version's number, from 1.
    """
    codes = Codes(work.session)
    add_codes(work, Round, [kept.round_ref], codes)
    round_id = codes.id_of(Round, kept.round_ref)
    number = _supersede_last(work, round_id, kept.round_ref)
    (version_id,) = work.add(
        RoundVersion,
        [
            {
                "round_id": round_id,
                "number": number,
                "depot_id": codes.id_of(Depot, kept.depot_code),
                "first_day": kept.first_day,
                "last_day": kept.last_day,
                "evidence_as_of": kept.evidence_as_of,
                "horizon_days": kept.horizon_days,
                "seed": kept.settings.seed,
                "iterations": kept.settings.iterations,
                "drive_price_days_per_h": kept.settings.drive_price_days_per_h,
                "solver": kept.plan.solver,
                "travel_source": kept.travel_source,
                "worth_record_days": kept.plan.worth,
            }
        ],
    )
    work.add(RoundEvent, [{"round_version_id": version_id, "status": RoundStatus.PLANNED}])
    _write_days(work, kept, version_id, codes)
    write_left_out(work, kept, version_id, codes)
    write_nights(work, kept.plan, version_id, codes)
    work.add(
        RoundNote,
        [
            {"round_version_id": version_id, "sequence": sequence, "note": text}
            for sequence, text in enumerate(kept.notes, start=1)
        ],
    )
    return number


def _supersede_last(work: Work, round_id: int, round_ref: str) -> int:
    last = work.session.execute(
        select(RoundVersion.id, RoundVersion.number).where(
            RoundVersion.round_id == round_id, RoundVersion.known_until.is_(None)
        )
    ).first()
    if last is None:
        taken = work.session.execute(
            select(func.coalesce(func.max(RoundVersion.number), 0)).where(
                RoundVersion.round_id == round_id
            )
        ).scalar_one()
        return int(taken) + 1
    number: int = last.number + 1
    work.supersede(RoundVersion, last.id, key=round_ref, fields={"number": (last.number, number)})
    return number


def _write_days(work: Work, kept: RoundPlan, version_id: int, codes: Codes) -> None:
    days = kept.plan.days
    day_ids = work.add(
        RoundDay,
        [
            {
                "round_version_id": version_id,
                "day": day.day,
                "leave_min": day.leave_min,
                "back_drive_min": day.back_drive_min,
                "back_drive_km": day.back_drive_km,
                "back_min": day.back_min,
                "rest_min": day.rest_min,
                "rest_at_min": day.rest_at_min,
            }
            for day in days
        ],
    )
    work.add(
        RoundCrew,
        [
            {"round_day_id": day_id, "technician_id": codes.id_of(Technician, code)}
            for day, day_id in zip(days, day_ids, strict=True)
            for code in day.technician_codes
        ],
    )
    write_breaks_and_ends(work, kept, day_ids)
    stop_ids = work.add(
        RoundStop,
        [
            row
            for day, day_id in zip(days, day_ids, strict=True)
            for row in _stop_rows(day, day_id, kept, codes)
        ],
    )
    sites = [stop.site_code for day in days for stop in day.stops]
    write_stop_parts(work, kept, dict(zip(sites, stop_ids, strict=True)), codes)


def _stop_rows(day: DayPlan, day_id: int, kept: RoundPlan, codes: Codes) -> list[dict[str, object]]:
    return [
        {
            "round_day_id": day_id,
            "sequence": sequence,
            "site_id": codes.id_of(Site, stop.site_code),
            "drive_min": stop.drive_min,
            "drive_km": stop.drive_km,
            "arrive_min": stop.arrive_min,
            "start_min": stop.start_min,
            "depart_min": stop.depart_min,
            "worth_record_days": kept.worths[stop.site_code],
            "must_visit": stop.site_code in kept.must_visit,
        }
        for sequence, stop in enumerate(day.stops, start=1)
    ]
