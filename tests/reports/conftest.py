"""A crew's week in an invented country in the open ocean; all of it is made up."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from math import cos, sin

import pytest

from fleet.domain.sheet import (
    Driver,
    JobCard,
    LeftOutLine,
    MapLine,
    PhaseLine,
    RouteSheet,
    SheetDay,
    SheetStop,
    SwitchLine,
)
from fleet.reports.caution import cautions
from fleet.reports.loading import loading_list

NAMES = (
    "Velmora Upper Reach", "Østhavn Tindfall", "Κάτω Λιθάρι", "Белая Кручка", "تل الغيمة",
    "बादलपुरा टीला", "ดอยเมฆฝน", "Săruța de Sus", "Çölvar Bendi", "Mirazul del Páramo",
)  # fmt: skip
HAZARDS = (
    "Steep bank above the weir, slippery when wet. Bull in the lower paddock from April to June.",
    "", "Ladder to the roof: second person foots it.", "Осторожно: осы в кожухе.", "Wasps",
)  # fmt: skip
FIRST_DAY = date(2025, 3, 3)


def make_card(number: int, *, site: str, siphon: bool = False) -> JobCard:
    found = PhaseLine(date(2024, 9, 12), "V-0912", "as_found", 2, 77, 80.0, -3.75, "passed")
    left = PhaseLine(date(2024, 9, 12), "V-0912", "as_left", 2, 80, 80.0, 0.0, "passed")
    earlier = replace(found, visited_on=date(2024, 3, 8), tips=79, error_percent=-1.25)
    reading = SwitchLine(date(2024, 9, 12), "V-0912", "as_found", 0.42, False, 10, "passed")
    serial = f"{number:05d}"
    return JobCard(
        gauge_key=f"{site}/A/{serial}", position="A", serial=serial,
        type_code="TB05-400", type_description="0.5 mm tipping bucket, 400 cm2 rim",
        siphon=siphon, bucket_mm=0.5, orifice_area_cm2=400.0, area_basis="nominal",
        tip_ml=20.0, test_volume_ml=800.0, expected_tips=40.0, one_tip_percent=2.5,
        as_found_band=(37, 43), as_left_band=(39, 41),
        tolerance_text="As found 7.5 %, as left 2.5 % of expected tips: network rule of 2023.",
        minimum_as_found_runs=2, minimum_as_left_runs=2, closed_field_limit_ohm=5.0, loop_ohm=7.0,
        worth_record_days=31.4, unfit_percent=38.0,
        drivers=(
            Driver("drift", 62.0, "Found 3.8 % low on 2024-09-12 (77 of 80), visit V-0912; "
                   "drifts -4.1 % a year, judged by 3 changes seen and its type; so now about "
                   "-1.9 % or -0.8 tips in 40.0, limits -7.5 to +7.5 % or -3.0 to +3.0 tips: "
                   "chance of being out 24 %. Last as left 80 of 80 tips (0.0 %)."),
            Driver("age", 30.0, "172 days since the last service; the interval is 180 days."),
            Driver("switch", 8.0, "0.42 ohm at the terminals on 2024-09-12, limit 5 ohm."),
        ),
        last_service_on=date(2024, 9, 12), age_days=172, interval_days=180,
        phases=(found, left, earlier),
        switches=(reading, replace(reading, phase="as_left", closed_ohm=0.31)),
        findings=("2024-09-12 screen dirty, cleaned, left good",),
        open_follow_ups=("Cable gland cracked; fit a new one (soon, due 2025-03-31)",),
        tasks=("Replace the cable gland",), bring=("Cable gland M16",),
    )  # fmt: skip


def make_stop(sequence: int, number: int, *, gauges: int = 1) -> SheetStop:
    code, angle = f"SK{number:03d}", number * 2.4
    return SheetStop(
        sequence=sequence, site_code=code, site_name=NAMES[number % len(NAMES)],
        latitude_deg=44.8 + 0.05 * number**0.5 * sin(angle),
        longitude_deg=-34.9 + 0.07 * number**0.5 * cos(angle), elevation_m=210.0 + number,
        arrive=f"{7 + sequence * 2:02d}:05", start=f"{7 + sequence * 2:02d}:10",
        depart=f"{8 + sequence * 2:02d}:25", drive_min=35, drive_km=28.4, service_min=75,
        access_minutes=12, persons=2 if number % 7 == 0 else 1,
        skill="roof work" if number % 7 == 0 else None, ring_first=number % 5 == 0,
        contact="Farm office, ext. 204", hazards=HAZARDS[number % len(HAZARDS)],
        access_notes="Second gate after the ford; leave it as found. Walk the fence line 300 m.",
        access_rules=("Mon to Fri 08:00-16:00",), must_visit=number % 6 == 0,
        cards=tuple(make_card(number * 10 + k, site=code) for k in range(gauges)),
    )  # fmt: skip


def make_day(index: int) -> SheetDay:
    stops = tuple(
        make_stop(s, index * 4 + s, gauges=2 if s == 2 and index < 4 else 1) for s in range(1, 5)
    )
    day = FIRST_DAY + timedelta(days=index)
    leave = datetime(day.year, day.month, day.day, 8, 30, tzinfo=UTC)
    return SheetDay(
        day=day, crew=("Ilvara Tenn",) if index else ("Ilvara Tenn", "Νίκη Βράχου"),
        leave="07:30", back="17:40", back_drive_min=41, back_drive_km=33.0, driving_min=181,
        driving_km=146.6, start_name="Depot Norra", start_latitude_deg=44.8,
        start_longitude_deg=-34.9, sunrise="07:21", sunset="18:48", stops=stops,
        rest_min=30, rest_at="12:30",
        leave_at=leave, back_at=leave + timedelta(hours=10, minutes=10),
        stop_times=tuple(
            (leave + timedelta(hours=2 * s), leave + timedelta(hours=2 * s + 1)) for s in range(4)
        ),
    )  # fmt: skip


def make_sheet(days: tuple[SheetDay, ...]) -> RouteSheet:
    coast = tuple((-34.9 + 0.3 * cos(k / 9), 44.8 + 0.2 * sin(k / 9)) for k in range(58))
    river = tuple((-35.4 + 0.05 * k, 44.75 + 0.03 * sin(k)) for k in range(20))
    return RouteSheet(
        round_ref="2025-W10-N", version=2, status="issued", depot_code="N",
        depot_name="Depot Norra", time_zone="Atlantic/Azores", crew_code="T01",
        crew_names=("Ilvara Tenn", "Νίκη Βράχου"), first_day=FIRST_DAY,
        last_day=FIRST_DAY + timedelta(days=4), evidence_as_of=date(2025, 2, 28),
        made_at=datetime(2025, 2, 28, 15, 4, tzinfo=UTC), days=days,
        loading=loading_list(days), cautions=cautions(days),
        plan_notes=("Travel: great circle x 1.30 at 60 km/h (default, not learned).",
                    "Search: seed 1, 2000 iterations; accepted by the independent check."),
        left_out=(LeftOutLine("SK077", "Grå Klint", 12.2, "No room: would add 95 min on Tue."),),
        map_lines=(MapLine("coast", coast), MapLine("river", river)),
    )  # fmt: skip


@pytest.fixture(scope="session")
def week() -> RouteSheet:
    """Five days, twenty stops, twenty-four gauges."""
    return make_sheet(tuple(make_day(index) for index in range(5)))


@pytest.fixture(scope="session")
def one_card() -> RouteSheet:
    day = make_day(1)
    return make_sheet((replace(day, stops=(make_stop(1, 6),), stop_times=day.stop_times[:1]),))
