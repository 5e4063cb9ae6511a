"""The service policy in force for one gauge on one day, resolved from dated rows by scope."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date

from fleet.domain.code import DecisionRule, PolicyScope
from fleet.errors import ConflictError

_PRECEDENCE = (PolicyScope.NETWORK, PolicyScope.TYPE, PolicyScope.SITE)


@dataclass(frozen=True, slots=True)
class PolicyTerms:
    """The terms of one policy row; None is inherited from the next wider scope.

    Tolerances and limits are in percent of expected tips, resistances in ohm, bands in whole
    tips of the type's nominal test volume.
    """

    service_interval_days: int | None = None
    as_found_tolerance_percent: float | None = None
    as_left_tolerance_percent: float | None = None
    reject_limit_percent: float | None = None
    as_found_low_tips: int | None = None
    as_found_high_tips: int | None = None
    as_left_low_tips: int | None = None
    as_left_high_tips: int | None = None
    minimum_as_found_runs: int | None = None
    minimum_as_left_runs: int | None = None
    closed_field_limit_ohm: float | None = None
    closed_workshop_limit_ohm: float | None = None
    open_limit_ohm: float | None = None
    decision_rule: DecisionRule | None = None
    target_reliability: float | None = None
    compliance_record_days: float | None = None
    """Record-days added to the worth of a visit for each day overdue; 0 switches it off."""


OPTIONAL_TERMS = frozenset(
    {"as_found_low_tips", "as_found_high_tips", "as_left_low_tips", "as_left_high_tips"}
)
"""Terms that may stay None after resolution: without an explicit band the tolerance rules."""


_NEEDED = frozenset(field.name for field in fields(PolicyTerms)) - OPTIONAL_TERMS


@dataclass(frozen=True, slots=True)
class PolicyRow:
    """One dated row of the policy table; ``scope_code`` is '' for the network."""

    scope: PolicyScope
    scope_code: str
    valid_from: date
    terms: PolicyTerms
    basis: str


@dataclass(frozen=True, slots=True)
class Policy:
    """The complete terms for one gauge on one day, with the basis text of every row used."""

    service_interval_days: int
    as_found_tolerance_percent: float
    as_left_tolerance_percent: float
    reject_limit_percent: float
    as_found_low_tips: int | None
    as_found_high_tips: int | None
    as_left_low_tips: int | None
    as_left_high_tips: int | None
    minimum_as_found_runs: int
    minimum_as_left_runs: int
    closed_field_limit_ohm: float
    closed_workshop_limit_ohm: float
    open_limit_ohm: float
    decision_rule: DecisionRule
    target_reliability: float
    compliance_record_days: float
    basis: str


class PolicyBook:
    """Every known policy row, answering what holds for a gauge on a day.

    A later row of a type or site takes the place of the earlier one: what it leaves blank comes
    from the wider scope. The network has no wider scope, so there a blank is inherited from the
    row before; an explicit tip band is not, since a blank band means that the tolerance rules.

    Parameters
    ----------
    rows : iterable of PolicyRow
        In any order; at most one a scope, code and day.
    """

    def __init__(self, rows: Iterable[PolicyRow]) -> None:
        self._rows: dict[tuple[PolicyScope, str], list[PolicyRow]] = {}
        for row in sorted(rows, key=lambda row: row.valid_from):
            self._rows.setdefault((row.scope, row.scope_code), []).append(row)
        self._types, self._sites = (
            frozenset(code for kind, code in self._rows if kind is scope)
            for scope in (PolicyScope.TYPE, PolicyScope.SITE)
        )
        self._resolved: dict[tuple[PolicyRow, ...], Policy] = {}
        self._in_force: dict[tuple[str, str, date], Policy] = {}

    @property
    def site_codes(self) -> frozenset[str]:
        """Give the sites that have rows of their own."""
        return frozenset(code for scope, code in self._rows if scope is PolicyScope.SITE)

    def in_force(self, *, type_code: str, site_code: str, on: date) -> Policy:
        """Give the terms for a gauge of a type at a site on a day.

        Parameters
        ----------
        type_code, site_code : str
            Codes of the gauge's type and site.
        on : date
            The day asked about; rows that start later are not seen.

        Returns
        -------
        Policy
            Each term from the narrowest scope that sets it.

        Raises
        ------
        ConflictError
            No row in force sets a term that every policy needs.
        """
        key = (
            type_code if type_code in self._types else "",
            site_code if site_code in self._sites else "",
            on,
        )
        found = self._in_force.get(key)
        if found is None:
            found = self._in_force[key] = self._resolve(type_code, site_code, on)
        return found

    def _resolve(self, type_code: str, site_code: str, on: date) -> Policy:
        codes: Mapping[PolicyScope, str] = {
            PolicyScope.NETWORK: "",
            PolicyScope.TYPE: type_code,
            PolicyScope.SITE: site_code,
        }
        used = tuple(row for scope in _PRECEDENCE for row in self._used(scope, codes[scope], on))
        if used not in self._resolved:
            self._resolved[used] = _overlay(used, on)
        return self._resolved[used]

    def _used(self, scope: PolicyScope, code: str, on: date) -> list[PolicyRow]:
        """Give the rows of a scope that may set a term on a day, the newest last."""
        rows = [row for row in self._rows.get((scope, code), ()) if row.valid_from <= on]
        if scope is not PolicyScope.NETWORK:
            return rows[-1:]
        return _inherited(rows)


def _inherited(rows: list[PolicyRow]) -> list[PolicyRow]:
    """Keep of the network's rows the newest, and the older ones that set what it lacks."""
    kept: list[PolicyRow] = []
    lacking = _NEEDED
    for row in reversed(rows):
        sets = {name for name in lacking if getattr(row.terms, name) is not None}
        if not kept:
            kept.append(row)
        elif sets:
            kept.append(replace(row, terms=_without_bands(row.terms)))
        lacking = lacking - sets
        if not lacking:
            break
    return kept[::-1]


def _without_bands(terms: PolicyTerms) -> PolicyTerms:
    return replace(terms, **dict.fromkeys(OPTIONAL_TERMS))


def _overlay(rows: tuple[PolicyRow, ...], on: date) -> Policy:
    merged: dict[str, object] = {field.name: None for field in fields(PolicyTerms)}
    for row in rows:
        for name in merged:
            value = getattr(row.terms, name)
            if value is not None:
                merged[name] = value
    missing = [
        name for name, value in merged.items() if value is None and name not in OPTIONAL_TERMS
    ]
    if missing:
        raise ConflictError(
            f"No policy in force on {on.isoformat()} sets {', '.join(missing)}. "
            "Add a network-wide policy row that starts on or before that day."
        )
    basis = "; ".join(f"{row.scope} from {row.valid_from}: {row.basis}" for row in rows)
    return Policy(**merged, basis=basis)  # type: ignore[arg-type]  # completeness checked above
