"""What a backtest says, in plain sentences that do not claim more than the checks tell."""

from __future__ import annotations

from fleet.services.backtest import Backtest
from fleet.stats.score import Comparison
from fleet.stats.score_card import LEAST_CHECKS, LEAST_OUTCOMES, CauseCard

CHANCE = 0.05
"""A difference that random signs reach more often than this is called within chance."""

_CAUSE = {
    "unfit": "unfit for any cause",
    "drift": "out of tolerance",
    "blockage": "blocked",
    "switch": "failed switch",
}
_SCORE = {"brier": "Brier score", "log": "Log score"}


def score_sentence(card: CauseCard, score: str) -> str:
    """Say how one score of a cause compares with both references.

    Parameters
    ----------
    card : CauseCard
        Of the cause.
    score : str
        ``brier`` or ``log``.

    Returns
    -------
    str
        With the figures; ends by saying so where the checks are too few to judge by.
    """
    line = card.lines[score]
    against = [
        _against("the base rate", line.base_rate, line.against_base),
        _against("age over interval", line.age_line, line.against_age),
    ]
    words = (
        f"{_SCORE[score]} of {_CAUSE[card.cause]}: {line.ours:.4f}, n = {card.checks}; "
        f"{against[0]}; {against[1]}."
    )
    if card.enough:
        return words
    return (
        f"{words} Not enough evidence: at least {LEAST_CHECKS} checks and {LEAST_OUTCOMES} of "
        "either outcome are needed."
    )


def replay_sentences(tested: Backtest) -> list[str]:
    """Say what was replayed, what was left out, and how forecasts and findings add up."""
    lines = [
        f"{tested.replayed} checks replayed, {len(tested.checks)} from {tested.since} to "
        f"{tested.as_of} scored: each forecast from the records up to the day before, with the "
        "fleet's figures refitted at the start of each month. Later corrections are taken as made.",
        f"{tested.undecided} of them told neither fit nor unfit. {_repairs(tested)}",
    ]
    return [*lines, *(_count_sentence(card) for card in tested.cards)]


def _repairs(tested: Backtest) -> str:
    count = tested.repairs
    checks = "1 check of a repair" if count == 1 else f"{count} checks of repairs"
    return (
        f"{checks} left out ({tested.repairs_unfit} unfit): a fault was known before they set out."
    )


def _count_sentence(card: CauseCard) -> str:
    cause = _CAUSE[card.cause]
    return (
        f"{cause[0].upper()}{cause[1:]}: {card.expected:.1f} of {card.checks} forecast, "
        f"{card.found} found."
    )


def _against(reference: str, score: float, compared: Comparison) -> str:
    better = "better" if compared.difference >= 0 else "worse"
    chance = "more than chance" if compared.p < CHANCE else "within chance"
    return (
        f"{better} than {reference} ({score:.4f}) by {abs(compared.difference):.4f}, {chance} "
        f"(p = {compared.p:.4f})"
    )
