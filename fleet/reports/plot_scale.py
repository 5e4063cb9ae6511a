"""Round steps for the axes of a drawing."""

from __future__ import annotations

from math import floor, log10


def round_step(span: float, wanted: int) -> float:
    """Give a round step that divides a span into about so many parts.

    Parameters
    ----------
    span : float
        Above 0.
    wanted : int
        Most parts.

    Returns
    -------
    float
        1, 2, 2.5, 5 or 10 times a power of ten.

    Examples
    --------
    >>> round_step(730.0, 8), round_step(24.0, 6)
    (100.0, 5.0)
    """
    rough = span / wanted
    power = 10.0 ** floor(log10(rough))
    return next(power * part for part in (1, 2, 2.5, 5, 10) if power * part >= rough)
