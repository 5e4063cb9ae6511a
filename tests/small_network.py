"""A small network as input tables, for every test that needs some records.

Everything is invented: places, people, serials and readings. Values stand as literals, so that a
test may state what it expects without asking the code.
"""

from __future__ import annotations

from tests.factories import ZONE, InputFolder


def small_network() -> InputFolder:
    """Give two depots, three technicians, six sites, seven gauges in service and 15 visits.

    As of `TODAY`, with an interval of 180 days:

    - S01 main 00417: three good visits; adjusted on 2025-01-14 (V003); in date
    - S02 main 00418: as found 36 36 of 40 (V005, 2024-11-12), adjusted; overdue by 22 days
    - S02 second 00523: same visits, good (98 99 of 100)
    - S03 main 00420: took the place of 00419 on 2024-09-10 (V007); weak switch 3.5 ohm (V008)
    - S04 main A-031: blocked as found (V010); reconnection not proven on 2025-05-07 (V015)
    - S05 main A-032: failed attempt (V012); dead switch as found, replaced (V013)
    - S06 main A-033: installed 2024-10-01 (V014), never tested
    - device D03 (used on every TB02) is out of date since 2025-01-01
    """
    network = InputFolder()
    _organisation(network)
    _register(network)
    _equipment(network)
    _visits(network)
    _office(network)
    return network


def _organisation(network: InputFolder) -> None:
    for code, name, latitude in (("NORTH", "Vellmora", 44.90), ("SOUTH", "Ostrandel", 44.50)):
        place = {"latitude_deg": latitude, "longitude_deg": -34.75, "time_zone": ZONE}
        network.add("depots", depot_code=code, name=name, **place)
    network.add("closures", depot_code="NORTH", day="2025-06-06", name="stocktaking")
    hours = {"shift_start": "07:30", "shift_end": "16:30", "weekdays": "mon tue wed thu fri"}
    limits = {"max_driving_minutes": 300, "break_minutes": 30, "active_from": "2022-01-01"}
    for code, name, depot in (
        ("T01", "Aldis Quimper-Voss", "NORTH"),
        ("T02", "Мирана Толвек", "NORTH"),
        ("T03", "Beryn Osk", "SOUTH"),
    ):
        row = {"technician_code": code, "name": name, "depot_code": depot}
        network.add("technicians", **row, **hours, **limits)
    network.add("skills", technician_code="T01", skill="mast", valid_from="2023-01-01")
    network.add(
        "skills",
        technician_code="T02",
        skill="mast",
        valid_from="2023-01-01",
        valid_until="2024-12-31",
    )
    network.add(
        "absences",
        technician_code="T02",
        first_day="2025-06-03",
        last_day="2025-06-04",
        reason="leave",
    )
    network.add(
        "bases",
        base_code="INN",
        name="Inn at the Ford",
        latitude_deg=44.30,
        longitude_deg=-34.70,
        capacity=2,
        night_cost=1.5,
        valid_from="2023-01-01",
    )
    network.add(
        "nights_out",
        technician_code="T03",
        first_evening="2024-01-01",
        last_evening="2024-12-31",
        most_nights_in_a_row=2,
    )


def _register(network: InputFolder) -> None:
    area = {"area_basis": "nominal"}
    network.add(
        "gauge_types",
        type_code="TB05",
        description="0.5 mm bucket",
        bucket_mm=0.5,
        orifice_area_cm2=400,
        siphon=False,
        test_volume_ml=800,
        **area,
    )
    network.add(
        "gauge_types",
        type_code="TB02",
        description="0.2 mm bucket with siphon",
        bucket_mm=0.2,
        orifice_area_cm2=200,
        siphon=True,
        test_volume_ml=400,
        **area,
    )
    for code, name, depot, latitude, more in (
        ("S01", "Quellmoor", "NORTH", 44.95, {}),
        ("S02", "Sarrow Weir", "NORTH", 45.02, {"importance": 2}),
        ("S03", "Þornhøy", "NORTH", 45.10, {"persons_required": 2, "required_skill": "mast"}),
        ("S04", "Hästvik", "SOUTH", 44.45, {}),
        ("S05", "麻野台", "SOUTH", 44.40, {"ring_first": True, "contact": "gate, 09-17 h"}),
        ("S06", "Lower Ims", "SOUTH", 44.33, {"hazards": "bull in the field"}),
    ):
        row: dict[str, object] = {
            "latitude_deg": latitude,
            "longitude_deg": -34.70,
            "elevation_m": 120,
            "time_zone": ZONE,
            "importance": 1,
            "access_minutes": 10,
            "persons_required": 1,
            "ring_first": False,
        }
        network.add("sites", site_code=code, name=name, depot_code=depot, **{**row, **more})
    network.add(
        "access_rules",
        site_code="S04",
        rule_number=1,
        weekdays="mon wed",
        opens="09:00",
        closes="15:00",
    )
    for serial, kind, status in (
        ("00417", "TB05", "in_service"),
        ("00418", "TB05", "in_service"),
        ("00419", "TB05", "workshop"),
        ("00420", "TB05", "in_service"),
        ("00523", "TB02", "in_service"),
        ("A-031", "TB02", "in_service"),
        ("A-032", "TB02", "in_service"),
        ("A-033", "TB05", "in_service"),
        ("A-040", "TB05", "spare"),
    ):
        network.add("instruments", serial=serial, type_code=kind, status=status)
    for site, position, since, serial, more in (
        ("S01", "main", "2023-06-01", "00417", {}),
        ("S02", "main", "2023-06-01", "00418", {"loop_ohm": 0.8}),
        ("S02", "second", "2023-06-01", "00523", {}),
        ("S03", "main", "2023-06-01", "00419", {"removed_on": "2024-09-10"}),
        ("S03", "main", "2024-09-10", "00420", {}),
        ("S04", "main", "2023-06-01", "A-031", {}),
        ("S05", "main", "2023-06-01", "A-032", {}),
        ("S06", "main", "2024-10-01", "A-033", {}),
    ):
        row = {"site_code": site, "position": position, "installed_on": since, "serial": serial}
        network.add("installations", **row, **more)


def _equipment(network: InputFolder) -> None:
    practice = "common practice, no published source"
    terms = {
        "scope": "network",
        "reject_limit_percent": 10,
        "minimum_as_found_runs": 2,
        "minimum_as_left_runs": 2,
        "closed_field_limit_ohm": 5,
        "closed_workshop_limit_ohm": 1,
        "open_limit_ohm": 1000000,
        "decision_rule": "simple",
        "target_reliability": 0.9,
        "compliance_record_days": 0,
    }
    for since, days, found, left in (("2023-01-01", 240, 7.5, 5), ("2025-01-01", 180, 5, 3)):
        network.add(
            "policies",
            valid_from=since,
            service_interval_days=days,
            as_found_tolerance_percent=found,
            as_left_tolerance_percent=left,
            basis=practice,
            **terms,
        )
    band = {"as_found_low_tips": 37, "as_found_high_tips": 43}
    row = {"scope": "type", "scope_code": "TB05", "valid_from": "2023-01-01", "basis": practice}
    network.add("policies", **row, **band)
    for code, kind, volume in (
        ("D01", "volumetric", 800),
        ("D02", "meter", None),
        ("D03", "volumetric", 400),
    ):
        network.add("devices", device_code=code, kind=kind, description=kind, serial=f"K-{code}")
        network.add(
            "certificates",
            device_code=code,
            certificate_number=f"{code}/1",
            valid_from="2023-01-01",
            valid_until="2024-12-31" if code == "D03" else "2026-12-31",
            volume_ml=volume,
            expanded_uncertainty_ml=None if volume is None else 2,
            issuer="invented calibration room",
        )


def _visits(network: InputFolder) -> None:
    two = {"volume_ml": 400.0, "device": "D03"}
    network.visit("V001", "S01", "2023-12-05").check("V001", "00417", found=(40, 40), left=(40, 40))
    network.visit("V002", "S01", "2024-06-04").check("V002", "00417", found=(39, 39), left=(40, 40))
    network.visit("V003", "S01", "2025-01-14")
    network.check("V003", "00417", found=(38, 38), left=(40, 40), adjusted=True, closed_ohm=0.4)
    network.visit("V004", "S02", "2024-05-14").check("V004", "00418", found=(40, 39), left=(40, 40))
    network.check("V004", "00523", found=(99, 100), left=(100, 100), **two)
    network.visit("V005", "S02", "2024-11-12")
    network.check("V005", "00418", found=(36, 36), left=(40, 40), adjusted=True)
    network.check("V005", "00523", found=(98, 99), left=(100, 99), **two)
    network.visit("V006", "S03", "2024-03-12", technicians="T01 T02")
    network.check("V006", "00419", found=(39, 39), left=(40, 40))
    network.visit("V007", "S03", "2024-09-10", technicians="T01 T02", purpose="repair")
    network.check("V007", "00419", found=(33, 34), cleaned=False)
    network.check("V007", "00420", left=(40, 40))
    network.visit("V008", "S03", "2025-03-11", technicians="T01 T02")
    network.check("V008", "00420", found=(40, 39), left=(40, 40), closed_ohm=3.5)
    network.visit("V009", "S04", "2024-07-03", technicians="T03")
    network.check("V009", "A-031", found=(100, 99), left=(100, 100), **two)
    network.visit("V010", "S04", "2025-02-05", technicians="T03")
    network.check("V010", "A-031", left=(100, 100), **two)
    network.finding("V010", 1, "funnel", "blocked", "cleared", "good", serial="A-031")
    network.visit("V011", "S05", "2024-08-06", technicians="T03")
    network.check("V011", "A-032", found=(101, 100), left=(100, 100), **two)
    network.visit("V012", "S05", "2025-02-18", technicians="T03", outcome="not_done")
    network.change("visits", {"visit_ref": "V012"}, not_done_reason="no_access")
    network.visit("V013", "S05", "2025-03-25", technicians="T03", purpose="repair")
    network.check("V013", "A-032", left=(100, 100), closed_ohm=0.6, parts="reed switch", **two)
    network.reading("V013", "A-032", "as_found", value=None)
    network.finding("V013", 1, "switch", "damaged", "replaced", "good", serial="A-032")
    network.visit("V014", "S06", "2024-10-01", technicians="T03", purpose="installation")
    network.check("V014", "A-033", cleaned=False)
    network.visit("V015", "S04", "2025-05-07", technicians="T03")
    network.check("V015", "A-031", found=(98, 99), left=(100, 100), proven=None, **two)
    network.finding("V015", 1, "vegetation", "other", "none", "other", note="bush 2 m from the rim")


def _office(network: InputFolder) -> None:
    network.add(
        "follow_ups",
        follow_up_ref="F001",
        site_code="S03",
        serial="00420",
        severity="next_visit",
        raised_on="2025-03-11",
        raised_by_visit="V008",
        description="switch at 3.5 ohm, take a spare",
        needs="reed switch",
    )
    network.add(
        "follow_ups",
        follow_up_ref="F002",
        site_code="S01",
        severity="soon",
        raised_on="2024-06-04",
        raised_by_visit="V002",
        description="loose leg bolt",
        closed_on="2025-01-14",
        closed_by_visit="V003",
    )
    days = {"first_day": "2025-06-02", "last_day": "2025-06-13"}
    network.add("holds", site_code="S06", kind="must_visit", reason="never tested", **days)
    for number, total in enumerate((0.0, 4.5, None, 12.0), start=1):
        network.add(
            "daily_totals",
            site_code="S01",
            position="main",
            day=f"2025-05-0{number}",
            total_mm=total,
        )
