"""Input files to change at will, a clock that stands still, and single records, for every test.

In a test:

    network.visit("V100", "S01", "2025-05-20").check("V100", "00417", found=(37, 38), left=(40, 40))
    result = load(network)
"""

from __future__ import annotations

import copy
import csv
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from fleet.domain.code import Phase, VisitOutcome, VisitPurpose
from fleet.domain.history import CheckRecord, Gauge, PhaseRuns
from fleet.ingest.catalogue import TABLES

TODAY = date(2025, 6, 2)
"""The day on which tests load and ask; a Monday."""

NOW = datetime(2025, 6, 2, 8, 0, tzinfo=UTC)
"""What the frozen clock shows at first."""

OFFSET = "+01:00"
ZONE = "Etc/GMT-1"
"""An hour ahead of UTC all year (POSIX turns the sign round); no place in particular."""

Cells = dict[str, str]


class FrozenClock:
    """A clock that stands still until it is moved; may go back."""

    def __init__(self, at: datetime = NOW) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at

    def move(self, **span: float) -> datetime:
        """Move by a timedelta in words, such as ``days=1`` or ``seconds=-5``."""
        self.at += timedelta(**span)
        return self.at


class InputFolder:
    """Input tables as text cells, to be changed at will and then written as CSV files."""

    def __init__(self, tables: dict[str, list[Cells]] | None = None) -> None:
        self.tables: dict[str, list[Cells]] = tables or {}

    def add(self, table: str, **cells: object) -> InputFolder:
        """Add a row; columns that are not named stay blank."""
        blank = dict.fromkeys(TABLES[table].column_names, "")
        unknown = set(cells) - set(blank)
        if unknown:
            raise KeyError(f"{table} has no column {sorted(unknown)}")
        row = {**blank, **{name: _text(value) for name, value in cells.items()}}
        self.tables.setdefault(table, []).append(row)
        return self

    def rows(self, table: str, **where: object) -> list[Cells]:
        """Give the rows whose cells are as named; at least one must be."""
        wanted = {name: _text(value) for name, value in where.items()}
        found = [row for row in self.tables[table] if wanted.items() <= row.items()]
        if not found:
            raise KeyError(f"no row of {table} has {wanted}")
        return found

    def change(self, table: str, where: dict[str, object], **cells: object) -> InputFolder:
        """Change cells of the rows named by ``where``."""
        for row in self.rows(table, **where):
            row.update({name: _text(value) for name, value in cells.items()})
        return self

    def drop(self, table: str, **where: object) -> InputFolder:
        """Take out the rows named by ``where``."""
        gone = self.rows(table, **where)
        self.tables[table] = [row for row in self.tables[table] if row not in gone]
        return self

    def only(self, *tables: str, **where: object) -> InputFolder:
        """Give a copy with these tables alone, and of them the rows as named."""
        picked = InputFolder({name: self.rows(name, **where) for name in tables})
        return picked.copy()

    def copy(self) -> InputFolder:
        """Give a copy that may be changed without changing this one."""
        return InputFolder(copy.deepcopy(self.tables))

    def write(self, folder: Path) -> Path:
        """Write one CSV file a table into a folder, made when missing; give the folder."""
        folder.mkdir(parents=True, exist_ok=True)
        for name in self.tables:
            (folder / f"{name}.csv").unlink(missing_ok=True)
        self.append(folder)
        return folder

    def append(self, folder: Path) -> None:
        """Add the rows to the CSV files of a folder; a file that is not there gets a header."""
        for name, rows in self.tables.items():
            with (folder / f"{name}.csv").open("a", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, TABLES[name].column_names, lineterminator="\n")
                if file.tell() == 0:
                    writer.writeheader()
                writer.writerows(rows)

    def visit(
        self,
        ref: str,
        site: str,
        day: str,
        *,
        technicians: str = "T01",
        purpose: str = "routine",
        outcome: str = "done",
        **cells: object,
    ) -> InputFolder:
        """Add a visit from 09:00 to 10:30 local time; more columns by name."""
        row = {
            "arrived_at": f"{day}T09:00{OFFSET}",
            "departed_at": f"{day}T10:30{OFFSET}",
            "technician_codes": technicians,
            "purpose": purpose,
            "outcome": outcome,
            **cells,
        }
        return self.add("visits", visit_ref=ref, site_code=site, **row)

    def check(
        self,
        ref: str,
        serial: str,
        *,
        found: tuple[int, ...] = (),
        left: tuple[int, ...] = (),
        volume_ml: float = 800.0,
        device: str = "D01",
        proven: bool | None = True,
        closed_ohm: float | None = None,
        **cells: object,
    ) -> InputFolder:
        """Add a cleaned gauge with its runs (tips as found, tips as left) to a visit.

        ``closed_ohm`` adds a reading as left at the gauge's terminals with device D02.
        """
        day = self.rows("visits", visit_ref=ref)[0]["arrived_at"][:10]
        row = {
            "isolated_at": f"{day}T09:10{OFFSET}" if found or left else None,
            "restored_at": f"{day}T10:20{OFFSET}" if proven else None,
            "restoration_proven": proven,
            "cleaned": True,
            "adjusted": False,
            **cells,
        }
        self.add("gauge_checks", visit_ref=ref, serial=serial, **row)
        for phase, tips in (("as_found", found), ("as_left", left)):
            for number, count in enumerate(tips, start=1):
                start = "unknown" if phase == "as_found" and number == 1 else "emptied"
                self.run(ref, serial, phase, number, tips=count, volume_ml=volume_ml)
                self.tables["tip_runs"][-1].update(start_state=start, device_code=device)
        if closed_ohm is not None:
            self.reading(ref, serial, "as_left", value=closed_ohm)
        return self

    def run(
        self, ref: str, serial: str, phase: str, number: int, *, tips: int, **cells: object
    ) -> InputFolder:
        """Add one run."""
        row = {"volume_ml": 800.0, "start_state": "emptied", "tips": tips, **cells}
        keys = {"visit_ref": ref, "serial": serial, "phase": phase, "run_number": number}
        return self.add("tip_runs", **keys, **row)

    def reading(
        self, ref: str, serial: str, phase: str, *, value: float | None, **cells: object
    ) -> InputFolder:
        """Add a reading of the closed switch; no value is over range."""
        row = {"kind": "closed_ohm", "measured_at": "gauge_terminals", "device_code": "D02"}
        keys = {"visit_ref": ref, "serial": serial, "phase": phase, "value": value}
        return self.add("switch_readings", **keys, over_range=value is None, **{**row, **cells})

    def finding(
        self,
        ref: str,
        number: int,
        component: str,
        found: str,
        action: str,
        left: str,
        **cells: object,
    ) -> InputFolder:
        """Add a finding."""
        row = {"component": component, "condition_found": found, "action": action}
        keys = {"visit_ref": ref, "finding_number": number}
        return self.add("findings", **keys, **row, condition_left=left, **cells)


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, date) else str(value)


def make_gauge(**changes: object) -> Gauge:
    """Give a 0.5 mm gauge of 400 cm2 (20 mL a tip) at S01, with changes by field name."""
    fields: dict[str, object] = {
        "installation_id": 1,
        "site_code": "S01",
        "position": "main",
        "serial": "00417",
        "type_code": "TB05",
        "installed_on": date(2023, 6, 1),
        "bucket_mm": 0.5,
        "orifice_area_cm2": 400.0,
        "test_volume_ml": 800.0,
        "siphon": False,
        "depot_code": "NORTH",
        "importance": 1.0,
    }
    return Gauge(**{**fields, **changes})  # type: ignore[arg-type]


def make_runs(
    phase: str, *tips: int, volume_ml: float = 800.0, emptied: int | None = None
) -> PhaseRuns:
    """Give the pooled runs of one phase; all emptied, but the first as found."""
    known = len(tips) - (phase == "as_found") if emptied is None else emptied
    return PhaseRuns(
        phase=Phase(phase),
        runs=len(tips),
        emptied_runs=known,
        volume_ml=volume_ml * len(tips),
        tips=sum(tips),
        volume_u_ml=0.0,
        run_tips=tips,
        run_volumes_ml=(volume_ml,) * len(tips),
    )


def make_check(
    visited_on: date, *, found: tuple[int, ...] = (), left: tuple[int, ...] = (), **changes: object
) -> CheckRecord:
    """Give a check of 00417 at S01, cleaned, with runs of 800 mL and a proven reconnection."""
    fields: dict[str, object] = {
        "visit_ref": f"V{visited_on:%Y%m%d}",
        "visited_on": visited_on,
        "outcome": VisitOutcome.DONE,
        "purpose": VisitPurpose.ROUTINE,
        "site_code": "S01",
        "serial": "00417",
        "cleaned": True,
        "isolated": True,
        "restoration_proven": True,
        "as_found": make_runs("as_found", *found) if found else None,
        "as_left": make_runs("as_left", *left) if left else None,
        "technicians": ("T01",),
    }
    return CheckRecord(**{**fields, **changes})  # type: ignore[arg-type]
