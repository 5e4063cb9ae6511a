"""Conversions between the units of the trade; every factor is exact or says its source."""

from __future__ import annotations

DAYS_PER_YEAR = 365.25
"""Julian year in days (IAU definition)."""

MM_PER_INCH = 25.4
"""Exact by the international yard and pound agreement, 1959."""

MINUTES_PER_DAY = 1440

EARTH_RADIUS_KM = 6371.0088
"""Mean radius (2a + b) / 3 of the WGS 84 ellipsoid, in km (first principles)."""


def bucket_volume_ml(bucket_mm: float, orifice_area_cm2: float) -> float:
    """Give the water volume of one tip in mL.

    Parameters
    ----------
    bucket_mm : float
        Rainfall depth of one tip, in mm.
    orifice_area_cm2 : float
        Receiving area, in cm2.

    Returns
    -------
    float
        Volume a tip in mL.

    Notes
    -----
    1 mm over 1 cm2 is 0.1 mL, so v = b A / 10 (first principles).

    Examples
    --------
    >>> bucket_volume_ml(0.5, 400.0)
    20.0
    """
    return bucket_mm * orifice_area_cm2 / 10.0


def years_between_days(days: float) -> float:
    """Turn days into Julian years of 365.25 days."""
    return days / DAYS_PER_YEAR
