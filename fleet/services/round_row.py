"""The rows in which a round is shown: its stops with costs and reasons, and what was left out."""

from __future__ import annotations

import json
from collections.abc import Mapping

import pandas as pd

from fleet.domain.access import clock_text
from fleet.domain.plan import PlannedStop
from fleet.services.plan_round import PlannedRound
from fleet.services.site_work import SiteWork
from fleet.store.queries.round import KeptRound, KeptStop

STOP_COLUMNS = {
    "day": "object",
    "crew": "str",
    "stop": "int64",
    "site_code": "str",
    "site_name": "str",
    "serials": "str",
    "drive_min": "int64",
    "drive_km": "float64",
    "arrive": "str",
    "start": "str",
    "depart": "str",
    "worth_record_days": "float64",
    "extra_min": "Int64",
    "extra_driving_min": "Int64",
    "must_visit": "bool",
    "accepted": "bool",
    "why": "str",
    "result": "str",
    "reason": "str",
    "visit_ref": "str",
}
"""``extra_min`` is what the day would save without the stop, ``extra_driving_min`` the driving
in it; ``why`` the first driver of its gauge of most worth."""

RESULT_COLUMNS = frozenset({"result", "reason", "visit_ref"})
LEFT_OUT_COLUMNS = {
    "site_code": "str",
    "site_name": "str",
    "worth_record_days": "float64",
    "must_visit": "bool",
    "reason": "str",
    "day": "object",
    "crew": "str",
    "extra_min": "Int64",
    "over_min": "Int64",
    "detail": "str",
}
"""``day``, ``crew`` and ``extra_min`` tell the cheapest way to add the site; ``over_min`` by how
much that exceeds the day, missing where other stops would have to go."""

Row = dict[str, object]


def kept_stop_rows(kept: KeptRound, names: Mapping[str, str]) -> list[Row]:
    """Give the stops of a kept round in driving order."""
    return [
        {
            "day": day.day,
            "crew": " ".join(day.crew),
            "stop": stop.sequence,
            "site_code": stop.site_code,
            "site_name": names.get(stop.site_code, ""),
            "serials": " ".join(gauge.serial for gauge in stop.gauges),
            **_times(stop),
            "worth_record_days": round(stop.worth_record_days, 2),
            "extra_min": stop.cost.extra_min if stop.cost else None,
            "extra_driving_min": stop.cost.extra_driving_min if stop.cost else None,
            "must_visit": stop.must_visit,
            "accepted": stop.acceptance_id is not None,
            "why": _kept_why(stop),
            "result": str(stop.result.outcome) if stop.result else "",
            "reason": str(stop.result.reason or "") if stop.result else "",
            "visit_ref": (stop.result.visit_ref or "") if stop.result else "",
        }
        for day in kept.days
        for stop in day.stops
    ]


def planned_stop_rows(planned: PlannedRound) -> list[Row]:
    """Give the stops of a plan that may not be kept, without results."""
    work = planned.week.work
    return [
        {
            "day": day.day,
            "crew": " ".join(day.technician_codes),
            "stop": number,
            "site_code": stop.site_code,
            "site_name": work[stop.site_code].site.name,
            "serials": " ".join(g.state.gauge.serial for g in work[stop.site_code].gauges),
            **_times(stop),
            "worth_record_days": round(work[stop.site_code].worth, 2),
            "extra_min": planned.costs[stop.site_code].extra_min,
            "extra_driving_min": planned.costs[stop.site_code].extra_driving_min,
            "must_visit": stop.site_code in planned.week.must_visit,
            "accepted": stop.site_code in planned.accepted,
            "why": _planned_why(work[stop.site_code]),
        }
        for day in planned.plan.days
        for number, stop in enumerate(day.stops, start=1)
    ]


def kept_left_out_rows(kept: KeptRound, names: Mapping[str, str]) -> list[Row]:
    """Give what a kept round left out, must-visit first, then greatest worth."""
    return [
        {
            "site_code": left.site_code,
            "site_name": names.get(left.site_code, ""),
            "worth_record_days": round(left.worth_record_days, 2),
            "must_visit": left.must_visit,
            "reason": str(left.reason),
            "day": left.offer.day if left.offer else None,
            "crew": left.offer.crew if left.offer else "",
            "extra_min": left.offer.extra_min if left.offer else None,
            "over_min": left.offer.over_min if left.offer else None,
            "detail": left.detail,
        }
        for left in kept.left_out
    ]


def planned_left_out_rows(planned: PlannedRound) -> list[Row]:
    """Give what a plan that may not be kept leaves out."""
    work = planned.week.work
    return [
        {
            "site_code": left.site_code,
            "site_name": work[left.site_code].site.name,
            "worth_record_days": round(work[left.site_code].worth, 2),
            "must_visit": left.must_visit,
            "reason": str(left.reason),
            "day": left.day,
            "crew": " ".join(left.technician_codes),
            "extra_min": left.extra_min,
            "over_min": left.over_min,
            "detail": left.detail,
        }
        for left in planned.plan.left_out
    ]


def frame_of(rows: list[Row], columns: dict[str, str]) -> pd.DataFrame:
    """Give rows as a frame with these columns and types, also when there is none."""
    return pd.DataFrame(rows, columns=list(columns)).astype(columns)


def _times(stop: PlannedStop | KeptStop) -> Row:
    return {
        "drive_min": stop.drive_min,
        "drive_km": round(stop.drive_km, 1),
        "arrive": clock_text(stop.arrive_min),
        "start": clock_text(stop.start_min),
        "depart": clock_text(stop.depart_min),
    }


def _kept_why(stop: KeptStop) -> str:
    gauge = max(stop.gauges, key=lambda gauge: gauge.worth_record_days, default=None)
    if gauge is None:
        return ""
    sentence: str = json.loads(gauge.evidence)["drivers"][0]["sentence"]
    return _named(gauge.serial, sentence, len(stop.gauges))


def _planned_why(work: SiteWork) -> str:
    gauge = max(work.gauges, key=lambda gauge: gauge.total_record_days)
    return _named(gauge.state.gauge.serial, gauge.drivers[0].sentence, len(work.gauges))


def _named(serial: str, sentence: str, gauges: int) -> str:
    return sentence if gauges == 1 else f"{serial}: {sentence}"
