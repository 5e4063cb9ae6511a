"""Names for the arrays that the statistics take and give."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


def day_column(days: Ints) -> Floats:
    """Turn days, shape (n,), into a column (n, 1); into a single row where all are the same."""
    alike = days.size > 1 and bool((days == days[0]).all())
    return (days[:1] if alike else days).astype(np.float64)[:, np.newaxis]
