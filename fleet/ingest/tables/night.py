"""Input tables about nights away from home; both may be missing, then everybody sleeps at home."""

from __future__ import annotations

from fleet.ingest.contract import Column, Horizon, Kind, TableContract
from fleet.ingest.row_rule import not_before
from fleet.ingest.tables.organisation import LATITUDE, LONGITUDE

BASES = TableContract(
    name="bases",
    meaning="Places to sleep away from home, for rounds that stay out where that pays.",
    key=("base_code",),
    rules=(not_before("valid_until", "valid_from"),),
    columns=(
        Column(name="base_code", kind=Kind.CODE, meaning="the base's own code"),
        Column(name="name", kind=Kind.TEXT, meaning="name, in any script"),
        LATITUDE,
        LONGITUDE,
        Column(
            name="capacity",
            kind=Kind.INTEGER,
            low=0,
            high=1000,
            meaning="persons it takes in one night",
        ),
        Column(
            name="night_cost",
            kind=Kind.NUMBER,
            low=0,
            high=100_000,
            meaning="price of one person's night, in record-days or in money",
        ),
        Column(
            name="money_per_record_day",
            kind=Kind.NUMBER,
            low=0.0001,
            high=100_000,
            required=False,
            meaning="what a record-day is worth in that money; blank: the price is in record-days",
        ),
        Column(name="valid_from", kind=Kind.DAY, meaning="first evening on which it takes guests"),
        Column(
            name="valid_until",
            kind=Kind.DAY,
            required=False,
            horizon=Horizon.OPEN,
            meaning="last evening; blank for no end",
        ),
        Column(
            name="contact",
            kind=Kind.NOTE,
            required=False,
            meaning="whom to ring, and how to get in",
        ),
    ),
)

NIGHTS_OUT = TableContract(
    name="nights_out",
    meaning="Who may sleep away from home, and how many nights in a row.",
    key=("technician_code", "first_evening"),
    rules=(not_before("last_evening", "first_evening"),),
    columns=(
        Column(
            name="technician_code",
            kind=Kind.CODE,
            meaning="the technician",
            refers_to="technicians",
        ),
        Column(name="first_evening", kind=Kind.DAY, meaning="first evening of the leave"),
        Column(
            name="last_evening",
            kind=Kind.DAY,
            required=False,
            horizon=Horizon.OPEN,
            meaning="last evening; blank for no end",
        ),
        Column(
            name="most_nights_in_a_row",
            kind=Kind.INTEGER,
            low=1,
            high=30,
            meaning="nights in a row that a round may plan",
        ),
    ),
)
