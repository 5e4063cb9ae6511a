"""Test equipment and its certificates, two lapses included."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from world.crew import TECHNICIANS
from world.dice import Dice
from world.gauge_type import TYPES
from world.span import LAST_DAY

ISSUER = "Calibration room of the invented rain office"
LAPSES = {
    ("K2-650", 2025): 75,
    ("K3-500", 2026): 60,
    ("K4-OHM", 2025): 90,
    ("K1-800", 2026): None,
}
"""Device and year whose renewal came late: days of the gap; None: not renewed yet."""


@dataclass(frozen=True, slots=True)
class Certificate:
    """A certificate; volumes in mL with the expanded uncertainty (k = 2)."""

    device_code: str
    number: str
    valid_from: date
    valid_until: date
    volume_ml: float | None
    expanded_ml: float | None


def kit_of(technician_code: str) -> str:
    """Give the kit that a technician carries; the successor has taken over a former one."""
    return {"T05": "K4"}.get(technician_code, f"K{technician_code[-1]}")


def bottle(kit: str, type_code: str) -> str:
    return f"{kit}-{TYPES[type_code].test_volume_ml:.0f}"


def meter(kit: str) -> str:
    return f"{kit}-OHM"


def kits() -> list[str]:
    return sorted({kit_of(person.code) for person in TECHNICIANS})


def device_rows() -> list[dict[str, object]]:
    """Give the rows of the device table."""
    rows: list[dict[str, object]] = []
    for kit in kits():
        for kind in TYPES.values():
            code, nominal = bottle(kit, kind.code), kind.test_volume_ml
            text = f"dripping bottle with overflow, {nominal:.0f} mL"
            rows.append(_device(code, "volumetric", text))
        rows.append(_device(meter(kit), "meter", "field multimeter, 0.01 ohm to 40 Mohm"))
    rows.append(_device("W-BAL", "balance", "workshop balance 6 kg, 0.1 g"))
    rows.append(_device("W-OHM", "meter", "workshop bench meter, four wires"))
    return rows


def _device(code: str, kind: str, description: str) -> dict[str, object]:
    serial = f"{Dice('device', code).whole(100, 99999):06d}"
    return {"device_code": code, "kind": kind, "description": description, "serial": serial}


def certificates() -> list[Certificate]:
    """Give every certificate, one a year and device but for the lapses."""
    found: list[Certificate] = []
    for row in device_rows():
        code = str(row["device_code"])
        dice = Dice("certificate", code)
        nominal = float(code.split("-")[1]) if row["kind"] == "volumetric" else None
        day = date(2023, 1, 1) + timedelta(days=dice.whole(20, 310))
        while day <= LAST_DAY:
            gap = LAPSES.get((code, day.year), 0)
            if gap is None:
                break
            day += timedelta(days=gap)
            found.append(_certificate(code, day, nominal, dice))
            day = found[-1].valid_until - timedelta(days=dice.whole(2, 12))
    return found


def _certificate(code: str, day: date, nominal: float | None, dice: Dice) -> Certificate:
    volume = expanded = None
    if nominal is not None:
        # The 800 mL bottles are trimmed to their mark; the others are used with their own volume.
        volume = nominal if nominal == 800 else round(nominal * (1 + dice.normal(0, 0.0012)), 1)
        expanded = round(nominal * dice.uniform(0.0015, 0.003), 1)
    number = f"C{day:%y%m%d}-{code}"
    return Certificate(code, number, day, day + timedelta(days=365), volume, expanded)


def certificate_rows(known: list[Certificate]) -> list[dict[str, object]]:
    """Give the rows of the certificate table."""
    return [
        {
            "device_code": found.device_code,
            "certificate_number": found.number,
            "valid_from": found.valid_from,
            "valid_until": found.valid_until,
            "volume_ml": found.volume_ml,
            "expanded_uncertainty_ml": found.expanded_ml,
            "issuer": ISSUER,
        }
        for found in known
    ]


def volume_ml(known: list[Certificate], device_code: str, day: date) -> float:
    """Give the volume that the technician writes down: that of the newest certificate."""
    mine = [c for c in known if c.device_code == device_code and c.valid_from <= day]
    newest = mine[-1] if mine else next(c for c in known if c.device_code == device_code)
    if newest.volume_ml is None:
        raise ValueError(f"{device_code} pours no water")
    return newest.volume_ml
