"""The water of one test run: its depth, how fast it may go through, what haste costs.

All formulas are first principles; 1 mm of rain over 1 cm2 is 0.1 mL.
"""

from __future__ import annotations

SECONDS_PER_HOUR = 3600.0


def equivalent_depth_mm(volume_ml: float, orifice_area_cm2: float) -> float:
    """Give the rainfall depth that a volume stands for.

    Parameters
    ----------
    volume_ml : float
        Poured volume in mL.
    orifice_area_cm2 : float
        Receiving area in cm2.

    Returns
    -------
    float
        Depth in mm, h = 10 V / A.

    Examples
    --------
    >>> equivalent_depth_mm(500.0, 400.0)
    12.5
    """
    return 10.0 * volume_ml / orifice_area_cm2


def seconds_between_tips(bucket_mm: float, intensity_mm_per_h: float) -> float:
    """Give the mean time between two tips at a steady intensity.

    Parameters
    ----------
    bucket_mm : float
        Depth of one tip in mm.
    intensity_mm_per_h : float
        Steady intensity in mm/h.

    Returns
    -------
    float
        T = 3600 b / I, in s.

    Examples
    --------
    >>> seconds_between_tips(0.5, 100.0)
    18.0
    """
    return SECONDS_PER_HOUR * bucket_mm / intensity_mm_per_h


def inflow_ml_per_min(intensity_mm_per_h: float, orifice_area_cm2: float) -> float:
    """Give the inflow that imitates an intensity.

    Parameters
    ----------
    intensity_mm_per_h : float
        Intensity in mm/h.
    orifice_area_cm2 : float
        Receiving area in cm2.

    Returns
    -------
    float
        q = I A / 600, in mL/min.

    Examples
    --------
    >>> inflow_ml_per_min(60.0, 400.0)
    40.0
    """
    return intensity_mm_per_h * orifice_area_cm2 / 600.0


def run_minutes(volume_ml: float, intensity_mm_per_h: float, *, orifice_area_cm2: float) -> float:
    """Give how long a volume takes at a steady intensity.

    Parameters
    ----------
    volume_ml : float
        Test volume in mL.
    intensity_mm_per_h : float
        Intensity in mm/h.
    orifice_area_cm2 : float
        Receiving area in cm2.

    Returns
    -------
    float
        t = 600 V / (I A), in min.

    Examples
    --------
    >>> run_minutes(500.0, 60.0, orifice_area_cm2=400.0)
    12.5
    """
    return volume_ml / inflow_ml_per_min(intensity_mm_per_h, orifice_area_cm2)


def swing_loss_percent(swing_s: float, bucket_mm: float, *, intensity_mm_per_h: float) -> float:
    """Give the share of water that is lost while the buckets swing, straight-through gauges only.

    Parameters
    ----------
    swing_s : float
        Time for which inflow still falls into the bucket that is already full, in s.
    bucket_mm : float
        Depth of one tip in mm.
    intensity_mm_per_h : float
        Intensity in mm/h.

    Returns
    -------
    float
        100 t I / (3600 b), in percent of the rain; linear in the intensity. It does not hold
        for a siphon, which keeps its water back while the buckets swing.

    Examples
    --------
    >>> round(swing_loss_percent(0.5, 0.5, intensity_mm_per_h=36.0), 9)
    1.0
    """
    return 100.0 * swing_s / seconds_between_tips(bucket_mm, intensity_mm_per_h)
