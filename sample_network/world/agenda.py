"""Three years of working days: what falls due, who drives where, in what order."""

from __future__ import annotations

from datetime import date, timedelta

from world import script
from world.access import open_spans
from world.area import AREAS
from world.crew import BREAK_MIN, DEPOTS, SKILL_HOLDER, Technician
from world.dice import Dice
from world.island import Point, km_between
from world.network import Network
from world.policy import NEW_POLICY_ON, SITE_INTERVAL_DAYS, interval_days
from world.site import Site
from world.span import FIRST_DAY
from world.visit import Job, Visitor

ROAD_FACTOR = 1.32
"""Road distance over great-circle distance on the island."""
ROAD_KMH = 56.0
FIRST_ROUNDS = ("BR", "LI", "FY", "SH", "SE", "NA", "DU", "OU", "KO", "RA", "AM", "PE")
"""Order in which the areas were swept first."""


class Agenda:
    """Jobs that wait, and the days on which they are done."""

    def __init__(self, network: Network, visitor: Visitor) -> None:
        self._network = network
        self._visitor = visitor
        self._jobs: list[Job] = []
        self._dice = Dice("agenda")
        self._started = {area.code: FIRST_DAY for area in AREAS}
        self._next = {
            code: FIRST_DAY + timedelta(days=3 + 20 * number)
            for number, code in enumerate(FIRST_ROUNDS)
        }

    def work(self, day: date, staff: tuple[Technician, ...]) -> None:
        """Let one day pass: note what falls due and send out the crews."""
        self._note_due_rounds(day)
        self._note_short_intervals(day)
        self._note_silent(day)
        self._note_script(day)
        for depot_code in DEPOTS:
            here = tuple(person for person in staff if person.depot_code == depot_code)
            if len(here) == 2 and self._go(here, day):
                continue
            for person in here:
                self._go((person,), day)

    def _wait(self, job: Job) -> None:
        """Put a job on the list; what waits at the same site already is widened instead."""
        same = [j for j in self._jobs if j.site_code == job.site_code and not j.task]
        if job.task or not same:
            self._jobs.append(job)
        elif same[0].key != job.key:
            same[0].key = ""

    def _note_due_rounds(self, day: date) -> None:
        if day == NEW_POLICY_ON:
            for code, started in self._started.items():
                soon = day + timedelta(days=self._dice.whole(5, 40))
                due = started + timedelta(days=182 + self._dice.whole(0, 15))
                self._next[code] = min(self._next[code], max(soon, due))
        for area in AREAS:
            if self._next[area.code] > day:
                continue
            self._started[area.code] = day
            self._next[area.code] = self._next_round(area.code, day)
            for site in self._network.sites.values():
                if site.area is area and self._network.at_site(site.code):
                    self._wait(Job(site.code, day))

    def _next_round(self, code: str, day: date) -> date:
        wait = interval_days("", day) + max(round(self._dice.normal(4, 8)), -10)
        due = day + timedelta(days=wait)
        slip_from, slip_days = script.SLIPS.get(code, (date.max, 0))
        return due + timedelta(days=slip_days) if due >= slip_from else due

    def _note_short_intervals(self, day: date) -> None:
        for code in SITE_INTERVAL_DAYS:
            for position in self._network.at_site(code):
                last = position.serviced_on
                if last and (day - last).days >= interval_days(code, day) - 4:
                    self._wait(Job(code, day))

    def _note_silent(self, day: date) -> None:
        """Let the office see, sooner or later, that a gauge stays silent."""
        for position in self._network.positions.values():
            dumb = position.silent or position.passed_share < 0.3
            known = position.key in script.UNNOTICED or position.instrument is None
            if dumb and not known and self._dice.chance(0.025):
                self._wait(Job(position.site.code, day, "repair", key=position.key))

    def _note_script(self, day: date) -> None:
        for when, key in script.SWAPS:
            if when == day:
                self._wait(Job(key[:4], day, "repair", key=key, task="swap"))
        for when, key in script.PUT_UP:
            if when == day:
                self._wait(Job(key[:4], day, "installation", key=key, task="put"))
        for when, key, target in script.MOVES:
            if when == day:
                self._wait(Job(key[:4], day, "removal", key=key, task="take", target=target))

    def _go(self, crew: tuple[Technician, ...], day: date) -> bool:
        """Send a crew out if enough waits for it."""
        mine = [job for job in self._jobs if job.since <= day and self._is_for(crew, job)]
        mine = [job for job in mine if open_spans(self._site(job).rules, day)]
        if not mine:
            return False
        oldest = max((day - job.since).days for job in mine)
        pressing = any(job.purpose != "routine" and (day - job.since).days > 1 for job in mine)
        if not (pressing or len(mine) >= 2 or oldest >= 9):
            return False
        self._drive(crew, day, mine)
        return True

    def _is_for(self, crew: tuple[Technician, ...], job: Job) -> bool:
        site = self._site(job)
        if site.area.depot_code != crew[0].depot_code:
            return False
        if len(crew) == 2:
            return site.persons == 2
        holder = SKILL_HOLDER.get((site.area.depot_code, site.skill or ""))
        return site.persons == 1 and crew[0].post == (holder or site.area.post)

    def _site(self, job: Job) -> Site:
        return self._network.sites[job.site_code]

    def _drive(self, crew: tuple[Technician, ...], day: date, mine: list[Job]) -> None:
        """Drive from site to site until the shift ends."""
        dice = Dice("drive", day, crew[0].code)
        home = DEPOTS[crew[0].depot_code].at
        here, now = home, max(person.starts_min for person in crew) + dice.uniform(0, 12)
        end = min(person.ends_min for person in crew)
        rested = False
        area = min(mine, key=lambda job: job.since).site_code[:2]
        mine = sorted(mine, key=lambda job: job.site_code[:2] != area)
        while mine:
            if not rested and now > 735:
                now, rested = now + BREAK_MIN, True
            chosen = self._next_stop(mine, day, here, now, end, home)
            if chosen is None:
                return
            job, arrive = chosen
            mine.remove(job)
            arrive = max(round(now + (arrive - now) * dice.spread(0.07)), round(now) + 2)
            arrive = max(arrive, _opens(self._site(job), day, arrive))
            now, finished = self._visitor.attempt(job, crew, day, arrive)
            here = self._site(job).at
            self._settle(job, day, finished)

    def _next_stop(
        self, mine: list[Job], day: date, here: Point, now: float, end: int, home: Point
    ) -> tuple[Job, float] | None:
        """Choose the nearest open site that still fits into the shift."""
        best: tuple[float, Job, float] | None = None
        for job in mine:
            site = self._site(job)
            minutes = drive_minutes(here, site.at)
            far = here != home and km_between(here, site.at) > 25
            start = max(now + minutes, _opens(site, day, now + minutes))
            done = start + self._expected_min(job)
            late = done + drive_minutes(site.at, home) > end + 20
            if far or late or start - now - minutes > 40 or not _fits(site, day, start, done):
                continue
            cost = minutes + (60 if job.site_code[:2] != mine[0].site_code[:2] else 0)
            if best is None or cost < best[0]:
                best = (cost, job, now + minutes)
        return None if best is None else (best[1], best[2])

    def _expected_min(self, job: Job) -> float:
        gauges = 1 if job.key else len(self._network.at_site(job.site_code))
        return self._site(job).access_min + 82 * gauges

    def _settle(self, job: Job, day: date, finished: bool) -> None:
        """Strike a job off, put it off, or follow it with the next."""
        if not finished:
            job.attempts += 1
            wait = 60 if job.site_code in script.SHUT_SITES else self._dice.whole(4, 18)
            job.since = day + timedelta(days=wait)
            return
        self._jobs.remove(job)
        if job.task and len(self._network.at_site(job.site_code)) == 1:
            self._jobs = [j for j in self._jobs if j.task or j.site_code != job.site_code]
        if job.task == "take":
            self._wait(
                Job(job.target[:4], day, "installation", job.target, "put", target=job.target)
            )


def drive_minutes(a: Point, b: Point) -> float:
    """Give the usual driving time in minutes."""
    return km_between(a, b) * ROAD_FACTOR / ROAD_KMH * 60 + 2


def _opens(site: Site, day: date, minute: float) -> int:
    """Give the next minute at which the site is open, or one beyond the day."""
    for opens, closes in open_spans(site.rules, day):
        if minute < closes:
            return max(opens, 0)
    return 9999


def _fits(site: Site, day: date, start: float, done: float) -> bool:
    return any(opens <= start and done <= closes for opens, closes in open_spans(site.rules, day))
