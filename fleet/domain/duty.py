"""Which rest rule binds a technician on a day, resolved from dated rows by scope."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from fleet.domain.code import RestScope
from fleet.domain.plan import RestRule


@dataclass(frozen=True, slots=True)
class RestRow:
    """One dated row; ``scope_code`` is '' for the network, minutes as in `RestRule`."""

    scope: RestScope
    scope_code: str
    valid_from: date
    after_driving_min: int | None
    after_duty_min: int | None
    break_min: int


def rest_rule(
    rows: Iterable[RestRow], *, depot_code: str, technician_code: str, on: date
) -> RestRule | None:
    """Give the rest rule that binds a technician on a day.

    Parameters
    ----------
    rows : iterable of RestRow
        In any order; rows that start after the day are not seen.
    depot_code, technician_code : str
        Who.
    on : date
        The day.

    Returns
    -------
    RestRule or None
        Of the narrowest scope that has a row in force, its last row alone; None where there is
        none, or where it asks for no break.

    Examples
    --------
    >>> rows = [RestRow(RestScope.NETWORK, "", date(2024, 1, 1), None, 300, 20)]
    >>> rest_rule(rows, depot_code="NORTH", technician_code="T01", on=date(2024, 3, 4))
    RestRule(break_min=20, after_driving_min=None, after_duty_min=300)
    """
    named = {
        RestScope.NETWORK: "",
        RestScope.DEPOT: depot_code,
        RestScope.TECHNICIAN: technician_code,
    }
    order = list(named)
    bound = [row for row in rows if row.valid_from <= on and row.scope_code == named[row.scope]]
    last = max(bound, key=lambda row: (order.index(row.scope), row.valid_from), default=None)
    if last is None or last.break_min == 0:
        return None
    return RestRule(last.break_min, last.after_driving_min, last.after_duty_min)
