"""Lets the three years happen and hands over every table."""

from __future__ import annotations

from world.agenda import Agenda
from world.correction import correct
from world.crew import absences, at_work, crew_rows
from world.equipment import certificate_rows, certificates, device_rows
from world.finding import office_follow_ups
from world.gauge_type import TYPES
from world.instrument import instrument_row
from world.network import Network
from world.policy import policies
from world.rain import daily_totals
from world.record import Records, Row
from world.site import HOLD_ROWS, site_rows
from world.span import FIRST_DAY, FIRST_RAIN_DAY, LAST_DAY, days
from world.visit import Visitor


def tell() -> tuple[dict[str, list[Row]], dict[str, list[Row]]]:
    """Simulate the network; give its records and the later load that corrects some of them."""
    network, records, papers = Network(), Records(), certificates()
    visitor = Visitor(network, records, papers)
    agenda, staff = Agenda(network, visitor), at_work(absences())
    for day in days(FIRST_DAY, LAST_DAY):
        network.age(day)
        agenda.work(day, staff[day])
        if day >= FIRST_RAIN_DAY:
            network.note_catch(day)
    for table, rows in {**crew_rows(), **site_rows(network.sites)}.items():
        records.extend(table, rows)
    records.extend("gauge_types", [_type_row(code) for code in TYPES])
    records.extend("policies", policies())
    records.extend("devices", device_rows())
    records.extend("certificates", certificate_rows(papers))
    records.extend("instruments", [instrument_row(found) for found in network.instruments])
    records.extend("installations", _installations(network))
    records.extend("follow_ups", office_follow_ups(LAST_DAY))
    records.extend("holds", HOLD_ROWS)
    records.extend("daily_totals", daily_totals(list(network.positions.values())))
    corrections = correct(records, visitor.mistypes)
    return records.tables, corrections


def _type_row(code: str) -> Row:
    kind = TYPES[code]
    return {
        "type_code": kind.code,
        "description": kind.description,
        "bucket_mm": kind.bucket_mm,
        "orifice_area_cm2": kind.area_cm2,
        "area_basis": kind.area_basis,
        "siphon": kind.siphon,
        "test_volume_ml": kind.test_volume_ml,
    }


def _installations(network: Network) -> list[Row]:
    return [row for position in network.positions.values() for row in position.past]
