"""Days, times and exceeded limits in plain words."""

from __future__ import annotations

from datetime import date

from fleet.planning.crew import Crew
from fleet.planning.timeline import Timing

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def day_words(day: date) -> str:
    """Write a day with its weekday.

    Examples
    --------
    >>> day_words(date(2024, 2, 29))
    'Thu 2024-02-29'
    """
    return f"{WEEKDAYS[day.weekday()]} {day.isoformat()}"


def crew_words(crew: Crew) -> str:
    """Write day and members of a crew, as in ``on Thu 2024-02-29 with T01 and T02``."""
    return f"on {day_words(crew.day)} with {' and '.join(crew.technician_codes)}"


def litres(millilitres: int) -> str:
    """Write a volume in whole litres, rounded up.

    Examples
    --------
    >>> litres(12_300)
    '13 L'
    """
    return f"{-(-millilitres // 1000)} L"


def excess_words(timing: Timing, crew: Crew) -> str:
    """Write which limits of a crew's day a clock exceeds, and by how much; empty if none."""
    parts = []
    if timing.over_driving_min:
        parts.append(
            f"{timing.over_driving_min} min over the driving limit of {crew.max_driving_min} min"
        )
    if timing.over_shift_min:
        rest = f" (rest of {crew.break_min} min taken off)" if crew.break_min else ""
        parts.append(f"{timing.over_shift_min} min over the shift of {crew.away_min} min{rest}")
    if timing.late_min:
        parts.append(f"{timing.late_min} min too late for the access windows")
    if timing.over_load.water_ml:
        parts.append(f"{litres(timing.over_load.water_ml)} more water than the vehicle carries")
    if timing.over_load.spares:
        parts.append(f"{timing.over_load.spares} more spare parts than the vehicle carries")
    return ", ".join(parts)
