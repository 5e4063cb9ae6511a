"""What the records hold already, as far as new rows have to be checked against it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from datetime import date

Key = tuple[object, ...]
"""Typed values of a table's key columns, in the order of its contract; None for an empty cell."""


@dataclass(frozen=True, slots=True)
class InstallationSpan:
    """An instrument at a site's position from a day until (not including) another."""

    site_code: str
    position: str
    installed_on: date
    serial: str
    removed_on: date | None

    @property
    def key(self) -> Key:
        """Give the key of the installation."""
        return (self.site_code, self.position, self.installed_on)

    def overlaps(self, other: InstallationSpan) -> bool:
        """Tell whether both hold on some day."""
        starts_before = other.removed_on is None or self.installed_on < other.removed_on
        ends_after = self.removed_on is None or self.removed_on > other.installed_on
        return starts_before and ends_after


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownCodes:
    """Keys and installations that the records hold.

    ``keys`` maps the name of an input table to its keys, each a tuple also where the key is one
    column. Needed are the tables that others refer to (depots, technicians, gauge_types, sites,
    instruments, devices, visits, gauge_checks) and, for rules over several rows, policies and
    tip_runs; a table that is missing counts as empty. Installations come whole.
    """

    keys: Mapping[str, AbstractSet[Key]] = field(default_factory=dict)
    installations: Sequence[InstallationSpan] = ()

    def __call__(self, visit_refs: Collection[str]) -> KnownCodes:
        """Answer a question for some visits with all that is known."""
        del visit_refs
        return self

    def keys_of(self, table: str) -> Iterable[Key]:
        """Give the keys of a table."""
        if table == "installations":
            return [span.key for span in self.installations]
        return self.keys.get(table, frozenset())


NOTHING_KNOWN = KnownCodes()
"""What is known before the first load."""

KnownSource = Callable[[Collection[str]], KnownCodes]
"""Gives what the records hold: the whole register, and of the visits those that are named."""
