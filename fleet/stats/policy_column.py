"""The policies of many gauges: the few that differ, and which of them each gauge has."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np

from fleet.domain.policy import Policy, PolicyBook
from fleet.domain.state import log_ohm
from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.gauge_column import GaugeColumns


@dataclass(frozen=True, slots=True, eq=False)
class PolicyColumns:
    """Policies of n gauges; ``which``, shape (n,), is the place of each gauge's in ``policies``."""

    policies: tuple[Policy, ...]
    which: Ints

    def __len__(self) -> int:
        """Count the gauges."""
        return int(self.which.size)

    def of(self, place: int) -> Policy:
        """Give the policy of the gauge at a place."""
        return self.policies[int(self.which[place])]

    def take(self, index: Ints | Bools) -> PolicyColumns:
        """Give those of some gauges: places, or a mask of shape (n,)."""
        return PolicyColumns(self.policies, self.which[index])

    def numbers(self, name: str) -> Floats:
        """Give a term of each gauge's policy, shape (n,); nan where it is not set."""
        return self._each(getattr(policy, name) for policy in self.policies)

    def closed_limit_log_ohm(self) -> Floats:
        """Give the logarithm of the closed resistance allowed in the field, shape (n,)."""
        return self._each(log_ohm(policy.closed_field_limit_ohm) for policy in self.policies)

    def as_found_limits(self, nominal_tips: Floats) -> tuple[Floats, Floats]:
        """Give the errors as found between which each gauge is in tolerance.

        Parameters
        ----------
        nominal_tips : ndarray, shape (n,)
            Tips that the nominal test volume should give.

        Returns
        -------
        tuple of ndarray, shape (n,)
            Low and high in percent, to the last bit those of `fleet.domain.check.limits_percent`.
        """
        tolerance = self.numbers("as_found_tolerance_percent")
        low_tips, high_tips = (self.numbers(f"as_found_{end}_tips") for end in ("low", "high"))
        low = np.where(np.isnan(low_tips), -tolerance, 100.0 * (low_tips / nominal_tips - 1.0))
        high = np.where(np.isnan(high_tips), tolerance, 100.0 * (high_tips / nominal_tips - 1.0))
        return low, high

    def _each(self, numbers: Iterable[float | None]) -> Floats:
        told = [np.nan if number is None else number for number in numbers]
        return np.array(told, dtype=np.float64)[self.which]


def policy_columns(policies: Iterable[Policy]) -> PolicyColumns:
    """Lay policies, one a gauge, out as columns."""
    places: dict[Policy, int] = {}
    which = [places.setdefault(policy, len(places)) for policy in policies]
    return PolicyColumns(tuple(places), np.array(which, dtype=np.int64))


def policies_in_force(book: PolicyBook, columns: GaugeColumns, *, on: date) -> PolicyColumns:
    """Give the policies of gauges on a day.

    Parameters
    ----------
    book : PolicyBook
        Of every known row.
    columns : GaugeColumns
        n gauges.
    on : date
        The day asked about.

    Returns
    -------
    PolicyColumns
        Looked up once for each type and each site that has rows of its own.

    Raises
    ------
    ConflictError
        No row in force sets a term that every policy needs.
    """
    own = book.site_codes
    kinds: dict[tuple[str, str], int] = {}
    scopes = (
        (type_code, site_code if site_code in own else "")
        for type_code, site_code in zip(
            columns.type_code.tolist(), columns.site_code.tolist(), strict=True
        )
    )
    which = [kinds.setdefault(scope, len(kinds)) for scope in scopes]
    found = tuple(book.in_force(type_code=kind, site_code=site, on=on) for kind, site in kinds)
    return PolicyColumns(found, np.array(which, dtype=np.int64))
