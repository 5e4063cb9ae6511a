"""What the versions of a round before one had planned for whom."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.store.models.people import Technician
from fleet.store.models.round import Round, RoundCrew, RoundDay, RoundStop, RoundVersion
from fleet.store.models.site import Site


@dataclass(frozen=True, slots=True)
class EarlierStop:
    """A stop that an earlier version had for a technician."""

    technician_code: str
    day: date
    site_code: str


def earlier_stops(session: Session, round_ref: str, *, before: int) -> list[EarlierStop]:
    """Give the stops of every version of a round before one, newest version first.

    Parameters
    ----------
    session : Session
        Only read from.
    round_ref : str
        Code of the round.
    before : int
        Number of the version that is not seen any more.

    Returns
    -------
    list of EarlierStop
        In order of technician, day and sequence within a version.
    """
    rows = session.execute(
        select(Technician.code, RoundDay.day, Site.code)
        .join(RoundCrew, RoundCrew.technician_id == Technician.id)
        .join(RoundDay, RoundDay.id == RoundCrew.round_day_id)
        .join(RoundVersion, RoundVersion.id == RoundDay.round_version_id)
        .join(Round, Round.id == RoundVersion.round_id)
        .join(RoundStop, RoundStop.round_day_id == RoundDay.id)
        .join(Site, Site.id == RoundStop.site_id)
        .where(Round.code == round_ref, RoundVersion.number < before)
        .order_by(
            RoundVersion.number.desc(), Technician.code, RoundDay.day, RoundStop.sequence, Site.code
        )
    )
    return [EarlierStop(technician, day, site) for technician, day, site in rows]
