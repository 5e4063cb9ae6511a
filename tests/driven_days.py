"""Days of one technician on the road, as visits to load into the small network."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from math import ceil

from tests.factories import InputFolder


def days_of_drives(count, minutes=lambda km: ceil(km * 1.4)):
    """Visits of T01 on so many days: S01 at 09:00, S02 (7.78 km) and S03 (8.90 km) after it."""
    folder = InputFolder()
    for number in range(count):
        day = date(2025, 1, 20) + timedelta(days=number)
        at = datetime(day.year, day.month, day.day, 9, tzinfo=UTC)
        for site, km in (("S01", 0.0), ("S02", 7.783), ("S03", 8.896)):
            at += timedelta(minutes=minutes(km))
            done = at + timedelta(minutes=60)
            folder.visit(
                f"D{number:02d}-{site}", site, day.isoformat(),
                arrived_at=f"{at:%Y-%m-%dT%H:%M}+01:00", departed_at=f"{done:%Y-%m-%dT%H:%M}+01:00",
            )  # fmt: skip
            at = done
    return folder
