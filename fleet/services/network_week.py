"""What posing a depot's week needs of the whole network, read once for however many depots."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy.orm import Session

from fleet.services.equipment_notice import Equipment, read_equipment
from fleet.services.learn_rates import rates_sentence
from fleet.services.round_request import RoundRequest
from fleet.store.queries.place import OpenFollowUp, open_follow_ups
from fleet.store.queries.week_stop import WeekStop, week_stops
from fleet.store.unmoved import ledger_head


class FollowUps:
    """Open follow-ups, found by what they are about: a site, or an instrument wherever it is."""

    def __init__(self, every: Sequence[OpenFollowUp]) -> None:
        self._every = every
        self._at: dict[tuple[str, str], list[int]] = defaultdict(list)
        for number, one in enumerate(every):
            about = ("serial", one.serial) if one.serial else ("site", one.site_code)
            self._at[about].append(number)

    def about(self, sites: Collection[str], serials: Collection[str]) -> list[OpenFollowUp]:
        """Give those about any of these, in the order read."""
        keys = [*(("site", code) for code in sites), *(("serial", serial) for serial in serials)]
        return [self._every[n] for n in sorted(n for key in keys for n in self._at.get(key, ()))]


@dataclass(frozen=True, slots=True)
class NetworkWeek:
    """One week of the network: the ledger's head before reading, and what all depots share.

    ``stops`` are those of the rounds of the week by site; ``rates`` says which learned rates rank.
    """

    head: int
    follow_ups: FollowUps
    equipment: Equipment
    stops: Mapping[str, Sequence[WeekStop]]
    rates: str

    def with_rounds_as_now(self, session: Session, first_day: date) -> NetworkWeek:
        """Give the same with the rounds of the week read again."""
        return replace(self, stops=week_stops(session, first_day))


def read_network_week(session: Session, request: RoundRequest) -> NetworkWeek:
    """Read what the requests of all depots for one week and evidence day have in common."""
    return NetworkWeek(
        head=ledger_head(session),
        follow_ups=FollowUps(open_follow_ups(session, as_of=request.evidence_as_of)),
        equipment=read_equipment(session, as_of=request.evidence_as_of),
        stops=week_stops(session, request.first_day),
        rates=rates_sentence(session, as_of=request.evidence_as_of),
    )
