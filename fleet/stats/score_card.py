"""The forecasts of one cause scored: by themselves, against the base rate, and against age."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import numpy as np

from fleet.errors import TooFewPointsError
from fleet.stats.array import Bools, Floats
from fleet.stats.replay import CheckForecast, known_outcomes
from fleet.stats.score import (
    Comparison,
    ReliabilityBin,
    brier_losses,
    compare_losses,
    log_losses,
    reliability_bins,
)
from fleet.stats.score_reference import reference_forecasts

LEAST_CHECKS = 30
LEAST_OUTCOMES = 5
"""With fewer checks, or fewer of either outcome among them, a score is not enough evidence: a
choice of this program."""

SCORES: dict[str, Callable[[Floats, Bools], Floats]] = {"brier": brier_losses, "log": log_losses}


@dataclass(frozen=True, slots=True)
class ScoreLine:
    """One score of the forecasts and of both references: the lower, the better."""

    ours: float
    base_rate: float
    age_line: float
    against_base: Comparison
    against_age: Comparison


@dataclass(frozen=True, slots=True)
class CauseCard:
    """How the forecasts of one cause did.

    ``expected`` is the sum of the forecasts, to be held against ``found`` of ``checks``.
    ``lines`` is by name of `SCORES`.
    """

    cause: str
    checks: int
    found: int
    expected: float
    lines: dict[str, ScoreLine]
    bins: tuple[ReliabilityBin, ...]

    @property
    def enough(self) -> bool:
        """Tell whether there are enough checks, and enough of both outcomes, to judge by."""
        fewest = min(self.found, self.checks - self.found)
        return self.checks >= LEAST_CHECKS and fewest >= LEAST_OUTCOMES


def score_cause(
    forecasts: Sequence[CheckForecast],
    cause: str,
    *,
    scored: Collection[CheckForecast],
    seed: int,
) -> CauseCard:
    """Score the forecasts of one cause.

    Parameters
    ----------
    forecasts : sequence of CheckForecast
        In order of day; the references learn from all of them, each from earlier months.
    cause : str
        One of `fleet.stats.replay.CAUSES`.
    scored : collection of CheckForecast
        Those of them that count.
    seed : int
        Of the permutation tests; the checks of a site are flipped together.

    Returns
    -------
    CauseCard

    Raises
    ------
    TooFewPointsError
        None of the scored checks tells whether the cause was there.
    """
    told, outcome = known_outcomes(forecasts, cause)
    wanted = {id(forecast) for forecast in scored}
    counts = np.array([id(forecast) in wanted for forecast in told], dtype=bool)
    if not counts.any():
        raise TooFewPointsError(f"No check tells whether the cause {cause!r} was there.")
    days = [forecast.record.visited_on for forecast in told]
    month = np.array([12 * day.year + day.month for day in days], dtype=np.int64)
    ratio = np.array([forecast.ratio for forecast in told])
    ours = np.array([forecast.probability[cause] for forecast in told])[counts]
    base, by_age = (values[counts] for values in reference_forecasts(month, ratio, outcome))
    sites = [f.audited.gauge.site_code for f, one in zip(told, counts, strict=True) if one]
    outcome = outcome[counts]
    lines = {
        name: _line([score(p, outcome) for p in (ours, base, by_age)], sites, seed)
        for name, score in SCORES.items()
    }
    bins = tuple(reliability_bins(ours, outcome))
    return CauseCard(cause, int(outcome.size), int(outcome.sum()), float(ours.sum()), lines, bins)


def _line(losses: Sequence[Floats], sites: Sequence[str], seed: int) -> ScoreLine:
    ours, base, by_age = losses
    return ScoreLine(
        ours=float(ours.mean()),
        base_rate=float(base.mean()),
        age_line=float(by_age.mean()),
        against_base=compare_losses(ours, base, sites, seed=seed),
        against_age=compare_losses(ours, by_age, sites, seed=seed),
    )
