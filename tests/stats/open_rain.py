"""Real monthly rain of 376 stations from an installed package; nothing of it is kept here.

Source: COmonthlyMet of the R package `fields` (Debian: r-cran-fields), 1895-1997, in cm; GPL, so
it is read where it is installed (an R library folder: R_LIBS, R_LIBS_SITE, or Debian's own).
"""

from __future__ import annotations

import os
import warnings
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import rdata

from fleet.stats.neighbour_record import RainRecord

FIRST_YEAR = 1895
MONTHS = 12


def _libraries() -> list[Path]:
    named = [os.environ.get(name, "") for name in ("R_LIBS", "R_LIBS_SITE", "R_LIBS_USER")]
    given = [Path(part) for text in named for part in text.split(os.pathsep) if part]
    return [*given, Path("/usr/lib/R/site-library"), Path("/usr/lib/R/library")]


@cache
def open_rain() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give monthly totals in mm, shape (376, 1236), latitudes and longitudes; else skip."""
    files = [folder / "fields" / "data" / "COmonthlyMet.rda" for folder in _libraries()]
    found = [file for file in files if file.is_file()]
    if not found:
        pytest.skip("the R package fields is not installed (Debian: r-cran-fields)")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        data = rdata.read_rda(found[0])
    years, months, stations = data["CO.ppt"].shape
    total = 10.0 * data["CO.ppt"].reshape(years * months, stations).T
    places = np.asarray(data["CO.loc"], dtype=np.float64)
    return total, places[:, 1], places[:, 0]


def open_window(first: int, last: int, *, full: float = 0.85):
    """Give the stations with most months from the first year up to (not with) the last."""
    total, latitude, longitude = open_rain()
    part = total[:, MONTHS * (first - FIRST_YEAR) : MONTHS * (last - FIRST_YEAR)]
    good = np.mean(~np.isnan(part), axis=1) >= full
    return part[good], latitude[good], longitude[good]


def monthly_record(total_mm, latitude, longitude, *, services) -> RainRecord:
    """Give a record of months, serviced in the months named."""
    count = len(total_mm)
    serviced = np.zeros(total_mm.shape, dtype=bool)
    serviced[:, list(services)] = True
    return RainRecord(
        total_mm=total_mm.astype(np.float32),
        serviced=serviced,
        latitude_deg=latitude,
        longitude_deg=longitude,
        tip_mm=np.full(count, 0.25),
        low_percent=np.full(count, -5.0),
        high_percent=np.full(count, 5.0),
        days_per_year=12.0,
        calm_mm=np.inf,
    )
