"""The alarms of the neighbours' rain, as the audit looks at them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.kept import NeighbourAlarm
from fleet.errors import NotFoundError
from fleet.services.rain_compare import RainAsked, compare_rain
from fleet.stats.neighbour_story import SHARE_OF_CAUSE, Alarm

_EVER = date(1900, 1, 1)


def neighbour_alarms(
    sessions: sessionmaker[Session], *, as_of: date, known_on: datetime | None = None
) -> tuple[NeighbourAlarm, ...]:
    """Give every alarm of the whole network, standing or ended, with the causes it may have.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head; only read from.
    as_of : date
        Totals and visits after this day are not seen.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    tuple of NeighbourAlarm
        In order of site, position and day; empty where there are no daily totals.
    """
    try:
        frame = compare_rain(
            sessions, as_of=as_of, known_on=known_on, asked=RainAsked(since=_EVER)
        ).frame
    except NotFoundError:
        return ()
    alarms = [_alarm(row) for row in frame.to_dict("records")]
    return tuple(sorted(alarms, key=lambda one: (one.site_code, one.position, one.earliest_on)))


def _alarm(row: Mapping[Any, Any]) -> NeighbourAlarm:
    return NeighbourAlarm(
        site_code=row["site_code"],
        position=row["position"],
        alarm=row["alarm"],
        causes=_causes(Alarm(row["alarm"])),
        since_on=row["since_on"],
        earliest_on=row["since_earliest_on"],
        ended_on=row["ended_on"],
    )


def _causes(alarm: Alarm) -> frozenset[str]:
    return frozenset(cause.value for cause, shares in SHARE_OF_CAUSE.items() if alarm in shares)
