"""Whether the runs of one phase agree with each other, as pours of one gauge should."""

from __future__ import annotations

from functools import lru_cache
from statistics import variance

from fleet.domain.history import PhaseRuns
from fleet.domain.uncertainty import counting_u_tips

DISAGREE_SD = 3.5
"""Runs that scatter by more than this many standard deviations of a count disagree: sound runs
get there once in 2,000 (normal law)."""


_KNOWN_PHASES = 20_000
"""So many phases' variances are kept ready, a few MB: counts of tips repeat over a network."""


def repeat_variance(runs: PhaseRuns, tip_ml: float) -> float:
    """Give the variance that disagreeing runs add to the error of their phase.

    Parameters
    ----------
    runs : PhaseRuns
        With tips and volume of each run.
    tip_ml : float
        Volume of one tip in mL.

    Returns
    -------
    float
        In percent squared: s^2 / m of the m runs' errors where that is more than counting
        explains, else 0. One run has nothing to disagree with.

    Notes
    -----
    A volume poured wrong shows in one run and not in the next, a gauge that reads wrong in both
    (first principles). Not part of the uncertainty that verdicts rest on.

    Examples
    --------
    >>> from fleet.domain.code import Phase
    >>> wrong = PhaseRuns(Phase.AS_FOUND, 2, 0, 1600.0, 90, 0.0, (50, 40), (800.0, 800.0))
    >>> repeat_variance(wrong, 20.0)
    156.25
    """
    if len(runs.run_tips) < 2:
        return 0.0
    return _repeat_variance(runs.run_tips, runs.run_volumes_ml, runs.volume_u_ml, tip_ml)


@lru_cache(maxsize=_KNOWN_PHASES)
def _repeat_variance(
    tips: tuple[int, ...], volumes_ml: tuple[float, ...], volume_u_ml: float, tip_ml: float
) -> float:
    expected = [volume_ml / tip_ml for volume_ml in volumes_ml]
    errors = [100.0 * (n / e - 1.0) for n, e in zip(tips, expected, strict=True)]
    count, span = len(errors), max(errors) - min(errors)
    u_tips = counting_u_tips(emptied_runs=0, unknown_runs=1)
    u_percent = 100.0 * max(u_tips / min(expected), volume_u_ml / min(volumes_ml))
    most = (DISAGREE_SD * u_percent) ** 2
    if span**2 * count <= most * 4 * (count - 1):  # no values of that span scatter by more
        return 0.0
    scatter = variance(errors)
    return scatter / count if scatter > most else 0.0
