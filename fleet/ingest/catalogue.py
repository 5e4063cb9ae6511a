"""Every input table, in an order in which references come first."""

from __future__ import annotations

from fleet.ingest.contract import TableContract
from fleet.ingest.tables.duty import ACCESS_WINDOWS, HOMES, REST_RULES, VEHICLES
from fleet.ingest.tables.night import BASES, NIGHTS_OUT
from fleet.ingest.tables.office import DAILY_TOTALS, FOLLOW_UPS, HOLDS
from fleet.ingest.tables.organisation import ABSENCES, CLOSURES, DEPOTS, SKILLS, TECHNICIANS
from fleet.ingest.tables.register import (
    ACCESS_RULES,
    GAUGE_TYPES,
    INSTALLATIONS,
    INSTRUMENTS,
    SITES,
)
from fleet.ingest.tables.standard import CERTIFICATES, DEVICES, POLICIES
from fleet.ingest.tables.visit import (
    FINDINGS,
    GAUGE_CHECKS,
    SWITCH_READINGS,
    TIP_RUNS,
    VISITS,
)

ALL_TABLES: tuple[TableContract, ...] = (
    DEPOTS,
    CLOSURES,
    TECHNICIANS,
    SKILLS,
    ABSENCES,
    BASES,
    NIGHTS_OUT,
    REST_RULES,
    HOMES,
    VEHICLES,
    GAUGE_TYPES,
    SITES,
    ACCESS_RULES,
    ACCESS_WINDOWS,
    INSTRUMENTS,
    INSTALLATIONS,
    POLICIES,
    DEVICES,
    CERTIFICATES,
    VISITS,
    GAUGE_CHECKS,
    TIP_RUNS,
    SWITCH_READINGS,
    FINDINGS,
    DAILY_TOTALS,
    FOLLOW_UPS,
    HOLDS,
)

TABLES = {table.name: table for table in ALL_TABLES}
"""The same by name."""
