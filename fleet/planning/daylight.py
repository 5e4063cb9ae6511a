"""Sunrise and sunset at a place, so that no one works alone in the dark by plan."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

MINUTES_PER_DAY = 1440


@dataclass(frozen=True, slots=True)
class Daylight:
    """Minutes after local midnight between sunrise and sunset.

    ``polar`` says that the sun does not rise and set on that day; the day then has no light
    limit, and the sheet says so.
    """

    rise_min: int
    set_min: int
    polar: bool = False


def daylight(latitude_deg: float, longitude_deg: float, *, day: date, time_zone: str) -> Daylight:
    """Give the daylight of a day at a place.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        WGS 84.
    day : date
        Local day.
    time_zone : str
        IANA name of the clock to count in.

    Returns
    -------
    Daylight
        Clipped to the day.

    Notes
    -----
    From the astral library (solar position after Meeus); refraction and sea-level horizon.
    """
    from astral import Observer
    from astral.sun import sunrise, sunset

    zone = ZoneInfo(time_zone)
    observer = Observer(latitude_deg, longitude_deg)
    try:
        rise = sunrise(observer, day, tzinfo=zone)
        down = sunset(observer, day, tzinfo=zone)
    except ValueError:
        return Daylight(0, MINUTES_PER_DAY, polar=True)
    return Daylight(_minutes(rise, day), _minutes(down, day))


def _minutes(instant: datetime, day: date) -> int:
    days = (instant.date() - day).days
    minutes = days * MINUTES_PER_DAY + instant.hour * 60 + instant.minute
    return min(max(minutes, 0), MINUTES_PER_DAY)
