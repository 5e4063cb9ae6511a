"""One visit to one site, or the failed attempt at it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from math import exp

from world import script
from world.area import COAST, FARM, UPLAND
from world.check import put_up, service, take_down
from world.crew import Technician
from world.dice import Dice
from world.equipment import Certificate, kit_of
from world.finding import FollowUps
from world.network import Network
from world.position import Position
from world.record import Records
from world.site import Site
from world.span import instant
from world.work import Check, Work

WEAK_OHM = 2.5
"""Half the field limit: the technician asks for a new switch."""


@dataclass
class Job:
    """A site that waits for a visit. ``key`` names one gauge where only that one is meant."""

    site_code: str
    since: date
    purpose: str = "routine"
    key: str = ""
    task: str = ""
    target: str = ""
    attempts: int = 0


class Visitor:
    """Carries out visits and writes their records."""

    def __init__(self, network: Network, records: Records, certificates: list[Certificate]) -> None:
        self.network = network
        self._records = records
        self._certificates = certificates
        self._follow_ups = FollowUps(records)
        self._numbers: dict[int, int] = {}
        self._wishes = sorted(script.WISHES)
        self._fixed: dict[str, set[str]] = {}
        self.mistypes: list[tuple[str, str, str]] = []
        """Visit, serial and phase of which one count is copied wrongly."""

    def attempt(
        self, job: Job, crew: tuple[Technician, ...], day: date, arrive_min: float
    ) -> tuple[float, bool]:
        """Visit a site; give the minute of departure and whether the job is finished."""
        site = self.network.sites[job.site_code]
        work = self._work(crew[0], day, arrive_min)
        row = self._records.add(
            "visits",
            visit_ref=work.visit_ref,
            site_code=site.code,
            technician_codes=" ".join(person.code for person in crew),
            arrived_at=instant(day, arrive_min),
            purpose=job.purpose,
        )
        reason = self._refusal(site, work, job)
        if reason:
            work.minute += work.dice.uniform(6, 25)
            row["outcome"], row["not_done_reason"] = "not_done", reason
        else:
            work.minute += site.access_min / 2
            skipped = self._work_through(job, work)
            work.minute += site.access_min / 2 + work.dice.uniform(3, 8)
            self._conclude(row, work, skipped)
        row["departed_at"] = instant(day, work.minute)
        row["note"] = "; ".join(dict.fromkeys(work.notes))
        return work.minute, not reason

    def _work(self, leader: Technician, day: date, minute: float) -> Work:
        number = self._numbers.get(day.year, 0) + 1
        self._numbers[day.year] = number
        ref = f"V{day:%y}-{number:04d}"
        return Work(
            visit_ref=ref,
            day=day,
            minute=minute,
            kit=kit_of(leader.code),
            records=self._records,
            certificates=self._certificates,
            dice=Dice("visit", ref),
        )

    def _refusal(self, site: Site, work: Work, job: Job) -> str:
        """Give the reason why nothing can be done, or an empty text."""
        if site.code in script.SHUT_SITES:
            reason, told = script.SHUT_SITES[site.code]
            work.notes.append(told)
            return reason
        if job.task or job.attempts >= 2 or not work.dice.chance(0.055):
            return ""
        winter = work.day.month in (11, 12, 1, 2)
        weights = {
            "no_access": 3.0,
            "weather": 4.0 if winter or site.kind == UPLAND else 1.0,
            "livestock": 4.0 if site.kind == FARM else 0.0,
            "unsafe": 1.0 if site.kind in (COAST, UPLAND) else 0.2,
            "equipment": 0.4,
            "breakdown": 0.3,
        }
        reason = work.dice.weighted(weights)
        work.notes.append(_WHY[reason])
        return reason

    def _work_through(self, job: Job, work: Work) -> bool:
        """Service the gauges; tell whether one was left for lack of time."""
        if job.task:
            self._special(job, work)
            return False
        targets = [
            position
            for position in self.network.at_site(job.site_code)
            if position.key not in script.NEVER_SERVICED and job.key in ("", position.key)
        ]
        skipped = len(targets) > 1 and work.dice.chance(0.05)
        for position in targets[: 1 if skipped else None]:
            self._service(position, work)
        self._follow_ups.look_round(work, self.network.sites[job.site_code])
        return skipped

    def _service(self, position: Position, work: Work) -> None:
        instrument = position.instrument
        assert instrument is not None
        check = Check(work, position, instrument, self._wishes_for(position, work))
        service(check)
        for wish in sorted(check.wishes):
            if wish.startswith("mistype_"):
                phase = wish.removeprefix("mistype_")
                self.mistypes.append((work.visit_ref, instrument.serial, phase))
        ohm = exp(instrument.log_ohm)
        if ohm > WEAK_OHM and not instrument.dead:
            self._follow_ups.raise_weak(work, position.site, instrument.serial, ohm)

    def _wishes_for(self, position: Position, work: Work) -> frozenset[str]:
        due = [w for w in self._wishes if w[1] == position.key and w[0] <= work.day]
        self._wishes = [w for w in self._wishes if w not in due]
        fixed = self._fixed.setdefault(position.key, set())
        fixed |= {what for _, _, what in due if what in ("perfect", "always_adjust")}
        wishes = fixed | {what for _, _, what in due}
        if not wishes:
            if work.dice.chance(0.015):
                wishes.add("no_as_found")
            if work.dice.chance(0.015):
                wishes.add("no_as_left")
        return frozenset(wishes)

    def _special(self, job: Job, work: Work) -> None:
        """Swap, take down or put up an instrument."""
        position = self.network.positions[job.key]
        if job.task in ("swap", "take"):
            self._take(job, position, work)
        if job.task in ("swap", "put"):
            self._put(job, position, work)

    def _take(self, job: Job, position: Position, work: Work) -> None:
        instrument = position.instrument
        assert instrument is not None
        take_down(Check(work, position, instrument))
        told = f"taken from {position.key} on {work.day.isoformat()}"
        if job.task == "swap":
            position.remove(work.day, status="workshop")
            work.notes.append(f"{instrument.serial} to the workshop")
            self.network.send_to_workshop(instrument, work.day)
        else:
            position.remove(work.day, status="moving")
            work.notes.append(f"{instrument.serial} goes to {job.target}")
        instrument.journal.append(told)

    def _put(self, job: Job, position: Position, work: Work) -> None:
        moving = [i for i in self.network.instruments if i.status == "moving"]
        if job.target and moving:
            instrument = moving[0]
        else:
            instrument = self.network.take_spare(position.type_code)
        position.install(instrument, work.day)
        put_up(Check(work, position, instrument), at_workshop=not job.target)
        work.notes.append(f"{instrument.serial} put up")

    def _conclude(self, row: dict[str, object], work: Work, skipped: bool) -> None:
        row["outcome"] = "done"
        if work.missing_as_left:
            row["outcome"], row["not_done_reason"] = "partly_done", "weather"
        elif skipped:
            row["outcome"], row["not_done_reason"] = "partly_done", "no_time"
            work.notes.append("second gauge left for another day")


_WHY = {
    "no_access": "gate locked, key does not fit",
    "weather": "gale and driving rain, no test possible",
    "livestock": "bull loose at the gauge",
    "unsafe": "ground slipping beside the path",
    "equipment": "bottle cracked on the way",
    "breakdown": "vehicle would not start again, towed",
}
"""What the technician writes beside each reason."""
