"""What a crew's calendar holds of older versions of a round and must let go."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fleet.domain.sheet import DroppedEntry, SheetDay
from fleet.store.queries.earlier_stop import EarlierStop
from fleet.store.queries.place import KeptSite


def dropped_entries(
    earlier: Sequence[EarlierStop],
    technician_code: str,
    days: Sequence[SheetDay],
    places: Mapping[str, KeptSite],
) -> tuple[DroppedEntry, ...]:
    """Give the days and stops that an older version had for a technician and this one has not.

    Parameters
    ----------
    earlier : sequence of EarlierStop
        Of all technicians and older versions, newest version first.
    technician_code : str
        Whose calendar.
    days : sequence of SheetDay
        The technician's days now.
    places : mapping
        Sites by code, for their names.

    Returns
    -------
    tuple of DroppedEntry
        Days first, then stops by site; a stop names the day that it had last.
    """
    own = [stop for stop in earlier if stop.technician_code == technician_code]
    gone = {stop.day for stop in own} - {day.day for day in days}
    kept = {stop.site_code for day in days for stop in day.stops}
    last = {stop.site_code: stop.day for stop in reversed(own) if stop.site_code not in kept}
    names = {code: places[code].name if code in places else "" for code in last}
    return (
        *(DroppedEntry(day) for day in sorted(gone)),
        *(DroppedEntry(last[code], code, names[code]) for code in sorted(last)),
    )
