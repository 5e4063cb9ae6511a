"""What the coordinator's holds say of each site in a week, and where they contradict each other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from fleet.domain.code import HoldKind
from fleet.store.queries.place import KeptHold


@dataclass(frozen=True, slots=True)
class SiteHolds:
    """The holds of one site in a week.

    ``away`` keep it out on their days; ``must`` ask for a visit on one of theirs; ``only`` let
    nobody go there but on their days; ``technicians`` say who goes, the last decision last.
    """

    away: tuple[KeptHold, ...] = ()
    must: tuple[KeptHold, ...] = ()
    technicians: tuple[KeptHold, ...] = ()
    only: tuple[KeptHold, ...] = ()

    @property
    def technician_code(self) -> str | None:
        """Give who alone may go: of several holds the one that begins last binds."""
        return self.technicians[-1].technician_code if self.technicians else None

    def allows(self, day: date) -> bool:
        """Tell whether the holds let somebody go there on a day."""
        if any(_covers(hold, day) for hold in self.away):
            return False
        return all(
            not asked or any(_covers(hold, day) for hold in asked)
            for asked in (self.must, self.only)
        )

    def words(self) -> str:
        """Say why no day of the week is left."""
        asked = [f"must be visited {_span(hold)}" for hold in self.must]
        asked += [f"to be visited only {_span(hold)}" for hold in self.only]
        wish = "; ".join(asked)
        if not self.away:
            return f"{wish[0].upper()}{wish[1:]}: it cannot be entered on any of those days."
        out = "; ".join(f"held {_span(hold)}" for hold in self.away)
        against = f", but another hold says: {wish}" if wish else ""
        return f"{out[0].upper()}{out[1:]}{against}."

    def conflicts(self) -> Iterable[str]:
        """Give a sentence for each pair of holds that cannot both be kept."""
        if len({hold.technician_code for hold in self.technicians}) > 1:
            named = " and ".join(f"{h.technician_code} {_span(h)}" for h in self.technicians)
            yield (
                f"{self.technicians[0].site_code} is fixed to {named}: taken is "
                f"{self.technician_code}, whose hold begins last."
            )


def site_holds(kept: Iterable[KeptHold]) -> dict[str, SiteHolds]:
    """Gather the holds that touch a week by site.

    Parameters
    ----------
    kept : iterable of KeptHold
        In any order. One that fixes a technician binds for the whole week.

    Returns
    -------
    dict
        By site code; a site without holds is missing.
    """
    gathered: dict[str, dict[HoldKind, list[KeptHold]]] = defaultdict(lambda: defaultdict(list))
    for hold in sorted(kept, key=lambda hold: (hold.site_code, hold.first_day, hold.last_day)):
        gathered[hold.site_code][hold.kind].append(hold)
    return {
        code: SiteHolds(
            away=tuple(kinds[HoldKind.NOT_THIS_WEEK]),
            must=tuple(kinds[HoldKind.MUST_VISIT]),
            technicians=tuple(kinds[HoldKind.TECHNICIAN]),
            only=tuple(kinds[HoldKind.THESE_DAYS]),
        )
        for code, kinds in gathered.items()
    }


def still_asked(hold: KeptHold, serviced_on: Sequence[date | None]) -> bool:
    """Tell whether a must-visit hold still asks for a visit: not once all was serviced within it.

    Parameters
    ----------
    hold : KeptHold
        Of any kind; the others bind in any case.
    serviced_on : sequence of date or None
        Last service of each gauge at the site.
    """
    if hold.kind is not HoldKind.MUST_VISIT:
        return True
    return any(day is None or day < hold.first_day for day in serviced_on)


def _covers(hold: KeptHold, day: date) -> bool:
    return hold.first_day <= day <= hold.last_day


def _span(hold: KeptHold) -> str:
    first, last = hold.first_day.isoformat(), hold.last_day.isoformat()
    days = f"on {first}" if first == last else f"from {first} to {last}"
    return f"{days} ({hold.reason})"
