"""How the probabilities of the causes move with what their gauges' rain shows."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product

import numpy as np

from fleet.stats.array import Floats
from fleet.stats.forecast import CERTAIN

NEVER = 1e-300
"""Stands in for a probability of 0, whose logarithm is not finite."""


def weigh_causes(
    probability: Mapping[str, Floats], log_ratio: Mapping[str, Floats]
) -> tuple[dict[str, Floats], Floats]:
    """Give the probability of each cause, and of any, after the rain was seen.

    Parameters
    ----------
    probability : mapping of str to ndarray, shape (n,)
        Of each cause before, the causes being independent.
    log_ratio : mapping of str to ndarray, shape (n,)
        log P(rain | that cause) / P(rain | none), for the same causes; 0 is no evidence.

    Returns
    -------
    each : dict of str to ndarray, shape (n,)
        Where all ratios are 1 the probabilities stay as they are, to the last bit.
    any_of_them : ndarray, shape (n,)
        More than independent causes of these probabilities would give: what is silent for one
        reason out of three is silent for certain.

    Notes
    -----
    Bayes' rule over every set of causes. The ratio of a set is that of its loudest cause, times
    that of each cause which the rain speaks against: a gauge that is silent has one good reason,
    and no second one is needed. With one cause it is odds x ratio. Multiplying the odds of each
    by itself would make a silent gauge blocked, dead and off its logger all at once.
    Checked against: odds x ratio, and full enumeration by hand (tests/stats/test_rain_cause.py).
    """
    names = list(probability)
    p = np.clip(np.stack([probability[name] for name in names]), NEVER, CERTAIN)
    logs = np.stack([log_ratio[name] for name in names])
    louder, against = np.maximum(logs, 0.0), np.minimum(logs, 0.0)
    sets = np.array(list(product((False, True), repeat=len(names))))
    weight = np.stack(
        [
            np.sum(np.where(held[:, None], np.log(p) + against, np.log1p(-p)), axis=0)
            + np.max(np.where(held[:, None], louder, 0.0), axis=0)
            for held in sets
        ]
    )
    weight = np.exp(weight - weight.max(axis=0))
    whole, silent = weight.sum(axis=0), (logs == 0.0).all(axis=0)
    after = (np.minimum(weight[held].sum(axis=0) / whole, CERTAIN) for held in sets.T)
    each = {
        name: np.where(silent, probability[name], moved)
        for name, moved in zip(names, after, strict=True)
    }
    return each, np.minimum(1.0 - weight[0] / whole, CERTAIN)


def quiet_log_ratio(days: Floats, delay_days: Floats, *, told: float) -> Floats:
    """Give what it says of a cause that so many days after a service nothing has shown.

    Parameters
    ----------
    days : ndarray, shape (g,)
        Days since the service, from 0.
    delay_days : ndarray, shape (n,)
        Mean days until the rain shows the cause; infinite where nobody watches.
    told : float
        Share of the failures that the rain shows at all.

    Returns
    -------
    ndarray, shape (n, g)
        log P(nothing shown | cause) / P(nothing shown | none), at most 0.

    Notes
    -----
    With a beginning on any day as likely and a delay by the exponential law, the cause is still
    hidden with probability delay / u (1 - exp(-u / delay)) [first principles].
    """
    ratio = np.maximum(days, 1.0)[None, :] / np.maximum(delay_days, 1e-9)[:, None]
    small = ratio < 1e-6
    safe = np.where(small, 1.0, ratio)
    hidden = np.where(small, 1.0, -np.expm1(-safe) / safe)
    return np.asarray(np.log1p(-told * (1.0 - hidden)))


def move_by_odds(probability: Floats, log_ratio: Floats) -> Floats:
    """Multiply the odds of a cause by a ratio; both of shape (n, g).

    Examples
    --------
    >>> move_by_odds(np.array([[0.5, 0.2]]), np.log(np.array([[3.0, 1.0]]))).round(6).tolist()
    [[0.75, 0.2]]
    """
    ratio = np.exp(np.minimum(log_ratio, 700.0))
    moved = probability * ratio / (1.0 - probability + probability * ratio)
    return np.where(log_ratio == 0.0, probability, moved)
