"""Counts that were copied wrongly from the paper, and the second load that puts them right."""

from __future__ import annotations

from world.record import Records, Row

OF_A_VISIT = ("visits", "gauge_checks", "tip_runs", "switch_readings", "findings")


def correct(records: Records, mistypes: list[tuple[str, str, str]]) -> dict[str, list[Row]]:
    """Falsify one count a visit in the records; give the true rows as a load of their own."""
    slips = [row for mistype in mistypes if (row := _second_run(records, *mistype))]
    refs = [row["visit_ref"] for row in slips]
    true_rows: dict[str, list[Row]] = {
        table: [dict(row) for row in records.tables[table] if row["visit_ref"] in refs]
        for table in OF_A_VISIT
    }
    for row in slips:
        row["tips"] = _digits_swapped(int(str(row["tips"])))
    return true_rows


def _second_run(records: Records, visit_ref: str, serial: str, phase: str) -> Row | None:
    """Find the run to falsify; with another seed the phase may be missing."""
    wanted = {"visit_ref": visit_ref, "serial": serial, "phase": phase, "run_number": 2}
    return next((row for row in records.tables["tip_runs"] if wanted.items() <= row.items()), None)


def _digits_swapped(tips: int) -> int:
    """Write the first two digits the wrong way round; equal digits slip by ten."""
    digits = str(tips)
    swapped = int(digits[1] + digits[0] + digits[2:])
    return swapped if swapped != tips else tips + 10
