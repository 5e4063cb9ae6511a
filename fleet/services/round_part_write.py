"""Keep the parts of a round's version: breaks, ends of days, costs of stops, what was left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict

from fleet.domain.plan import LeftOut, Place
from fleet.services.record_map import Codes
from fleet.services.round_plan import RoundPlan
from fleet.store.digest import canonical_text
from fleet.store.journal import Work
from fleet.store.models.instrument import Instrument
from fleet.store.models.round import (
    RoundDayPlace,
    RoundLeftOut,
    RoundLeftOutOffer,
    RoundPause,
    RoundStopCost,
    RoundStopGauge,
    StopAcceptance,
)
from fleet.store.models.site import Site


def write_breaks_and_ends(work: Work, kept: RoundPlan, day_ids: Sequence[int]) -> None:
    """Write the breaks of each day, and where it starts and ends if that is not the depot."""
    days = list(zip(kept.plan.days, day_ids, strict=True))
    work.add(
        RoundPause,
        [
            {"round_day_id": day_id, "starts_min": one.starts_min, "minutes": one.minutes}
            for day, day_id in days
            for one in day.pauses
        ],
    )
    work.add(
        RoundDayPlace,
        [
            {"round_day_id": day_id, **_end_values(*kept.ends[key])}
            for day, day_id in days
            if (key := (day.day, day.technician_codes)) in kept.ends
        ],
    )


def _end_values(start: Place, end: Place) -> dict[str, object]:
    return {
        f"{which}_{name}": value
        for which, place in (("start", start), ("end", end))
        for name, value in asdict(place).items()
    }


def write_stop_parts(
    work: Work, kept: RoundPlan, stop_ids: Mapping[str, int], codes: Codes
) -> None:
    """Write the gauges of each stop, what it costs, and whether it was accepted before."""
    work.add(
        RoundStopGauge,
        [
            {
                "round_stop_id": stop_id,
                "instrument_id": codes.id_of(Instrument, gauge.serial),
                "position": gauge.position,
                "worth_record_days": gauge.worth_record_days,
                "unfit_probability": gauge.unfit_probability,
                "evidence": canonical_text(dict(gauge.evidence)),
            }
            for site, stop_id in stop_ids.items()
            for gauge in kept.gauges[site]
        ],
    )
    work.add(
        RoundStopCost,
        [
            {"round_stop_id": stop_id, **asdict(kept.costs[site])}
            for site, stop_id in stop_ids.items()
            if site in kept.costs
        ],
    )
    work.add(
        StopAcceptance,
        [{"round_stop_id": stop_id} for site, stop_id in stop_ids.items() if site in kept.accepted],
    )


def write_left_out(work: Work, kept: RoundPlan, version_id: int, codes: Codes) -> None:
    """Write what was left out, why, and the cheapest way to have added it."""

    def row(left: LeftOut) -> dict[str, object]:
        return {
            "round_version_id": version_id,
            "site_id": codes.id_of(Site, left.site_code),
            "reason": left.reason,
            "detail": left.detail,
            "worth_record_days": kept.worths[left.site_code],
            "must_visit": left.must_visit,
        }

    ids = work.add(RoundLeftOut, [row(left) for left in kept.plan.left_out])
    work.add(
        RoundLeftOutOffer,
        [
            {
                "round_left_out_id": row_id,
                "day": left.day,
                "crew": " ".join(left.technician_codes),
                "extra_min": left.extra_min,
                "over_min": left.over_min,
            }
            for left, row_id in zip(kept.plan.left_out, ids, strict=True)
            if left.day is not None and left.extra_min is not None
        ],
    )
