"""A week's round before and after planning: what is wished, what is possible, what is planned.

Minutes count from local midnight of the day they belong to; distances are in km.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Place:
    """A point to drive to or from; ``key`` is a site code or ``depot:CODE``."""

    key: str
    latitude_deg: float
    longitude_deg: float


@dataclass(frozen=True, slots=True)
class Window:
    """A span of one day in which work at a site may be done (start and end of work)."""

    opens_min: int
    closes_min: int


@dataclass(frozen=True, slots=True)
class Load:
    """What a site asks for in the vehicle, or what a vehicle carries: water in mL, spare parts."""

    water_ml: int = 0
    spares: int = 0

    def __add__(self, other: Load) -> Load:
        return Load(self.water_ml + other.water_ml, self.spares + other.spares)

    def __bool__(self) -> bool:
        return bool(self.water_ml or self.spares)

    def beyond(self, capacity: Load | None) -> Load:
        """Give what does not fit; None is a vehicle without a known limit."""
        if capacity is None:
            return Load()
        return Load(
            max(0, self.water_ml - capacity.water_ml), max(0, self.spares - capacity.spares)
        )


NO_LOAD = Load()


@dataclass(frozen=True, slots=True)
class RestRule:
    """When a break is due: after so much driving or so much time on duty without one, in min.

    Duty counts driving, work and waiting since leaving or since the last break. A break counts
    when it is ``break_min`` long at least. None asks for no break on that account.
    """

    break_min: int
    after_driving_min: int | None = None
    after_duty_min: int | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """A site that could be visited this week.

    ``worth`` is in record-days. ``service_min`` is the whole time at the site, walking in and
    out included. ``windows`` gives the spans for each day; a day that is absent is closed.
    ``technician_code`` fixes who goes. ``skill`` is one that somebody on
    site must hold. ``load`` must be in the vehicle.
    """

    place: Place
    worth: float
    service_min: int
    windows: Mapping[date, tuple[Window, ...]]
    persons: int = 1
    skill: str | None = None
    must_visit: bool = False
    technician_code: str | None = None
    load: Load = NO_LOAD


@dataclass(frozen=True, slots=True)
class TechnicianDay:
    """One technician on one day: the span of the shift and what the day allows.

    ``meets`` is where somebody who starts or ends at another place joins a crew of more;
    ``capacity`` is of the technician's vehicle, None where no limit is known.
    """

    technician_code: str
    day: date
    starts_min: int
    ends_min: int
    max_driving_min: int
    start: Place
    end: Place
    skills: frozenset[str] = frozenset()
    break_min: int = 0
    """Rest taken within the shift; it shortens the time that can be planned."""
    most_nights: int = 0
    """Nights in a row that may be spent away after this day; with 0 the day ends at home."""
    rest_rule: RestRule | None = None
    capacity: Load | None = None
    meets: Place | None = None


@dataclass(frozen=True, slots=True)
class NightBase:
    """A place to sleep away from home, with a price for each person and night in record-days.

    ``place.key`` is ``base:CODE``; it takes ``capacity`` persons in each night that begins on
    an evening from ``first_night`` to ``last_night`` (None: no end).
    """

    place: Place
    cost_days: float
    capacity: int
    first_night: date
    last_night: date | None = None

    def takes(self, evening: date) -> bool:
        """Tell whether it takes guests in the night that begins on this evening."""
        return self.first_night <= evening and (
            self.last_night is None or evening <= self.last_night
        )


@dataclass(frozen=True, slots=True)
class Walk:
    """The way on foot beyond the last road to a place: km one way, minutes there and back."""

    key: str
    km: float
    minutes: int


@dataclass(frozen=True, slots=True)
class Travel:
    """Driving between places, both ways given separately.

    ``minutes`` and ``km`` are square, in the order of ``keys``; ``source`` is a sentence that
    says how they were found, printed on every plan. ``index`` follows from ``keys``.
    ``straight`` are the places whose drives, all or some, are straight-line estimates where the
    source had better ones for others; ``walks`` the ways on foot that the source has found.
    """

    keys: tuple[str, ...]
    minutes: tuple[tuple[int, ...], ...]
    km: tuple[tuple[float, ...], ...]
    source: str
    straight: tuple[str, ...] = ()
    walks: tuple[Walk, ...] = ()
    index: Mapping[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        index = {key: position for position, key in enumerate(self.keys)}
        object.__setattr__(self, "index", index)

    def drive_min(self, from_key: str, to_key: str) -> int:
        """Give the driving time from one place to another in minutes."""
        return self.minutes[self.index[from_key]][self.index[to_key]]

    def drive_km(self, from_key: str, to_key: str) -> float:
        """Give the driving distance from one place to another in km."""
        return self.km[self.index[from_key]][self.index[to_key]]


@dataclass(frozen=True, slots=True)
class SearchSettings:
    """What makes a plan reproducible: the seed, the number of iterations, the price of driving.

    ``drive_price_days_per_h`` is the worth in record-days that an hour of driving has to buy; a
    site that buys less is left out. The default is a low bar of our own (no published source).
    With 0, as much worth as fits is collected and driving only breaks ties. With ``seconds`` the
    clock ends the search, and another run may give another plan. With ``bound_s`` a proven bound
    is computed in about so many seconds; it changes nothing in the plan.
    """

    seed: int = 1
    iterations: int = 12_000
    drive_price_days_per_h: float = 0.1
    seconds: float | None = None
    bound_s: float | None = None


@dataclass(frozen=True, slots=True)
class PlanProblem:
    """Everything that one depot's week is planned from; without bases everybody sleeps at home."""

    candidates: tuple[Candidate, ...]
    technician_days: tuple[TechnicianDay, ...]
    travel: Travel
    settings: SearchSettings
    bases: tuple[NightBase, ...] = ()


@dataclass(frozen=True, slots=True)
class PlannedStop:
    """One site in a day, with the drive that leads to it; ``start_min`` is when work begins."""

    site_code: str
    drive_min: int
    drive_km: float
    arrive_min: int
    start_min: int
    depart_min: int


@dataclass(frozen=True, slots=True)
class Pause:
    """A break that a rest rule asks for, beside the rest of the day."""

    starts_min: int
    minutes: int


@dataclass(frozen=True, slots=True)
class DayPlan:
    """One crew's day: one technician, or several in one vehicle where sites ask for more persons.

    The rest of ``rest_min`` starts at ``rest_at_min``; with None it is taken within the shift but
    before leaving or after coming back. Rest and ``pauses`` lie where a work ends, on the way,
    on arrival, or within a work that is longer than the rest rule allows without a break.
    """

    technician_codes: tuple[str, ...]
    day: date
    leave_min: int
    stops: tuple[PlannedStop, ...]
    back_drive_min: int
    back_drive_km: float
    back_min: int
    rest_min: int = 0
    rest_at_min: int | None = None
    pauses: tuple[Pause, ...] = ()

    @property
    def driving_min(self) -> int:
        """Give the whole driving time of the day in minutes."""
        return sum(stop.drive_min for stop in self.stops) + self.back_drive_min

    @property
    def driving_km(self) -> float:
        """Give the whole distance of the day in km."""
        return sum(stop.drive_km for stop in self.stops) + self.back_drive_km


class LeftOutReason(StrEnum):
    """Why a candidate is not in the plan."""

    HELD = "held"
    """The coordinator's hold says not this week."""
    CLOSED = "closed"
    """No access window in the week."""
    TOO_FAR = "too_far"
    """Cannot be reached, worked and left within any one day, even alone."""
    NO_SKILL = "no_skill"
    """Nobody at work this week holds the skill."""
    NO_CREW = "no_crew"
    """It needs more persons than can be brought together."""
    NO_CAPACITY = "no_capacity"
    """What it needs does not fit into any vehicle."""
    ELSEWHERE = "elsewhere"
    """Another depot's round of the week has it, or it was offered to that depot."""
    TECHNICIAN_AWAY = "technician_away"
    """The fixed technician does not work this week."""
    NO_ROOM = "no_room"
    """It would fit a day of its own but lost to others."""
    NOT_WORTH_DRIVE = "not_worth_drive"
    """It buys too little for the drive it costs, whether or not there is room."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A candidate that is not in the plan, and the cheapest way it could have been added.

    ``extra_min`` is the driving, waiting and work that adding it would cost on ``day`` (None
    when no day can take it at all); ``over_min`` is by how much that day's limits would be
    exceeded, None when other stops would have to go instead.
    """

    site_code: str
    reason: LeftOutReason
    detail: str
    day: date | None = None
    technician_codes: tuple[str, ...] = ()
    extra_min: int | None = None
    over_min: int | None = None
    must_visit: bool = False


@dataclass(frozen=True, slots=True)
class Night:
    """One technician's night at a base, named by its evening; ``cost_days`` is in record-days."""

    technician_code: str
    evening: date
    base_key: str
    cost_days: float


@dataclass(frozen=True, slots=True)
class Bound:
    """How far a plan can be from the best there is, in record-days.

    Both figures are worth less the price of driving and of nights; ``best_days`` is the most that
    any plan can reach which makes the must-visits of this one, proven by ``proof``.
    """

    plan_days: float
    best_days: float
    proof: str

    @property
    def gap_percent(self) -> float:
        """Give by how much the best possible may exceed the plan, in percent of the former."""
        if self.best_days <= 0.0:
            return 0.0
        return max(0.0, 100.0 * (self.best_days - self.plan_days) / self.best_days)


@dataclass(frozen=True, slots=True)
class Plan:
    """The days that carry stops, in order of day and technician, and all that was left out.

    A day may carry no stop where it only leads from one night's place to another. ``nights`` are
    in order of evening and technician. Without ``bound`` none was computed.
    """

    days: tuple[DayPlan, ...]
    left_out: tuple[LeftOut, ...]
    worth: float
    solver: str
    nights: tuple[Night, ...] = ()
    bound: Bound | None = None
