"""The likeliest intended word for one that is not known."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

SUGGESTION_BUDGET = 100
"""Suggestions looked up for one table: more would not be shown, and each compares every code."""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Give a question that names the nearest known word.

    Parameters
    ----------
    word : str
        As it was found.
    known : iterable of str
        What would have been right.

    Returns
    -------
    str
        Such as `` (did you mean 'done'?)``, or the empty string when nothing is near.

    Examples
    --------
    >>> did_you_mean("Donne", ["done", "not_done"])
    " (did you mean 'done'?)"
    """
    by_lower = {option.strip().lower(): option for option in known}
    near = get_close_matches(word.strip().lower(), list(by_lower), n=1)
    return f" (did you mean {by_lower[near[0]]!r}?)" if near else ""


class Suggester:
    """Suggests among one set of codes, each wrong word once and only so many in all.

    Parameters
    ----------
    known : iterable of str
        The codes that exist.
    """

    def __init__(self, known: Iterable[str]) -> None:
        self._known = sorted(known)
        self._answers: dict[str, str] = {}

    def __call__(self, word: str) -> str:
        """Give the question for a wrong word, empty once the budget is spent."""
        if word not in self._answers:
            if len(self._answers) >= SUGGESTION_BUDGET:
                return ""
            self._answers[word] = did_you_mean(word, self._known)
        return self._answers[word]
