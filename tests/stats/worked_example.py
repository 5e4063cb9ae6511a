"""Two published double-mass examples, in mm: station M 1969-1990 and station X 1970-1999.

Sources: S46 textbook exercise (question page) and S47 solution handout (scribd 407952109).
"""

from __future__ import annotations

FIRST_YEAR_M = 1969
STATION_M = [
    177, 144, 178, 162, 194, 168, 196, 144, 160, 196, 141,
    158, 145, 132, 95, 148, 142, 140, 130, 137, 130, 163,
]  # fmt: skip
GROUP_M = [
    143, 132, 146, 147, 161, 155, 152, 117, 128, 193, 156,
    164, 155, 143, 115, 135, 163, 135, 143, 130, 146, 161,
]  # fmt: skip

FIRST_YEAR_X = 1970
STATION_X = [
    47, 24, 42, 27, 25, 35, 29, 36, 37, 35, 58, 41, 34, 20, 26,
    36, 35, 28, 29, 32, 39, 25, 30, 23, 37, 34, 30, 28, 27, 34,
]  # fmt: skip
GROUP_X = [
    29, 21, 36, 26, 23, 30, 26, 26, 26, 28, 40, 26, 24, 22, 25,
    34, 28, 23, 33, 33, 35, 26, 29, 28, 34, 33, 35, 26, 25, 35,
]  # fmt: skip
