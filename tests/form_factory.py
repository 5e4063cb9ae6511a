"""A small invented visit form, and full answers to it, for the tests of every way of filling it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time

from fleet.domain.check import TipBand
from fleet.domain.code import DeviceKind
from fleet.domain.form_sheet import FormDevice, FormGauge, FormSheet, PhaseTerms, VisitForm

ZONE = "Etc/GMT-1"
"""An hour ahead of UTC all year."""


def make_gauge(**changes: object) -> FormGauge:
    """Give gauge 00417: 20 mL a tip, 800 mL nominal, 37 to 43 tips as found, 39 to 41 as left."""
    gauge = FormGauge(
        serial="00417",
        position="main",
        type_code="TB05",
        bucket_mm=0.5,
        tip_ml=20.0,
        test_volume_ml=800.0,
        expected_tips=40.0,
        as_found=PhaseTerms(TipBand(37, 43), -7.5, 7.5, 2),
        as_left=PhaseTerms(TipBand(39, 41), -3.0, 3.0, 2),
        closed_field_limit_ohm=5.0,
        loop_ohm=0.8,
    )
    return replace(gauge, **changes)  # type: ignore[arg-type]


def make_sheet(**changes: object) -> FormSheet:
    """Give a stop at S01 with gauge 00417."""
    sheet = FormSheet(
        site_code="S01",
        site_name="Quellmoor",
        time_zone=ZONE,
        hazards="bull in the field",
        access_notes="Mon, Wed 09:00-15:00",
        gauges=(make_gauge(),),
        follow_ups=("soon: loose leg bolt",),
    )
    return replace(sheet, **changes)  # type: ignore[arg-type]


def make_form(*sheets: FormSheet) -> VisitForm:
    """Give a form with two technicians, three devices, and one stop when none is named."""
    return VisitForm(
        title="site S01",
        made_on=date(2025, 6, 2),
        sheets=sheets or (make_sheet(),),
        technicians=(("T01", "Aldis Quimper-Voss"), ("T02", "Мирана Толвек")),
        devices=(
            FormDevice("D01", DeviceKind.VOLUMETRIC, "bottle", 800.0, date(2026, 12, 31)),
            FormDevice("D03", DeviceKind.VOLUMETRIC, "bottle", 400.0, date(2024, 12, 31)),
            FormDevice("D02", DeviceKind.METER, "meter"),
        ),
    )


def full_answers(serial: str = "00417", **changes: object) -> dict[tuple[str, int], object]:
    """Give native answers to a whole visit: 38 and 39 tips as found, 40 and 40 as left."""
    answers: dict[tuple[str, int], object] = {
        ("day", 1): date(2025, 5, 20),
        ("arrived", 1): time(9, 0),
        ("departed", 1): time(10, 30),
        ("technicians", 1): "T01",
        ("technicians", 2): "T02",
        ("outcome", 1): "done",
        ("note", 1): "两次 =1+1 кап",
    }
    gauge: dict[tuple[str, int], object] = {
        ("serial_read", 1): serial,
        ("isolated", 1): time(9, 10),
        ("as_found.1", 2): 38,
        ("as_found.1", 3): 1100,
        ("as_found.1", 4): "D01",
        ("as_found.2", 2): 39,
        ("as_found.2", 5): "emptied",
        ("cleaned", 1): "yes",
        ("adjusted", 1): "no",
        ("level_found", 1): "out of ring",
        ("level_left", 1): "in ring",
        ("as_left.1", 2): 40,
        ("as_left.2", 1): 805.5,
        ("as_left.2", 2): 40,
        ("switch.as_found", 1): "over",
        ("switch.as_found", 3): "gauge terminals",
        ("switch.as_left", 1): 0.4,
        ("switch.as_left", 2): 20000000,
        ("switch.as_left", 3): "logger",
        ("switch.as_left", 4): 10,
        ("switch.as_left", 5): "D02",
        ("finding.1", 1): "screen",
        ("finding.1", 2): "partly blocked",
        ("finding.1", 3): "cleared",
        ("finding.1", 4): "good",
        ("finding.1", 5): "leaves",
        ("parts", 1): "reed switch",
        ("restored", 1): time(10, 20),
        ("proven", 1): "yes",
    }
    of_gauge = {(f"{serial}|{key}", blank): value for (key, blank), value in gauge.items()}
    return {**answers, **of_gauge}
