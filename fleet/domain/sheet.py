"""What a technician carries: one crew's days with a job card a gauge, free of layout.

Clock times are local at the depot, ``HH:MM`` text; all texts are plain and may be in any script.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class PhaseLine:
    """A former phase as one printed line."""

    visited_on: date
    visit_ref: str
    phase: str
    runs: int
    tips: int
    expected_tips: float
    error_percent: float
    verdict: str


@dataclass(frozen=True, slots=True)
class SwitchLine:
    """A former switch reading as one printed line."""

    visited_on: date
    visit_ref: str
    phase: str
    closed_ohm: float | None
    no_closure: bool
    manual_tips: int | None
    verdict: str


@dataclass(frozen=True, slots=True)
class Driver:
    """One of the three drivers of a rank, with its share of the worth and its evidence."""

    name: str
    share_percent: float
    sentence: str


@dataclass(frozen=True, slots=True)
class JobCard:
    """One gauge to be serviced.

    ``expected_tips`` and the bands are for one run of ``test_volume_ml``. ``tasks`` are what to
    do in the trade's order; ``bring`` what this gauge needs in the van; ``open_follow_ups`` the
    defects that wait to be mended. ``gauge_key`` is what the QR code holds.
    """

    gauge_key: str
    position: str
    serial: str
    type_code: str
    type_description: str
    siphon: bool
    bucket_mm: float
    orifice_area_cm2: float
    area_basis: str
    tip_ml: float
    test_volume_ml: float
    expected_tips: float
    one_tip_percent: float
    as_found_band: tuple[int, int]
    as_left_band: tuple[int, int]
    tolerance_text: str
    minimum_as_found_runs: int
    minimum_as_left_runs: int
    closed_field_limit_ohm: float
    loop_ohm: float | None
    worth_record_days: float
    unfit_percent: float
    drivers: tuple[Driver, ...]
    last_service_on: date | None
    age_days: int
    interval_days: int
    phases: tuple[PhaseLine, ...] = ()
    switches: tuple[SwitchLine, ...] = ()
    findings: tuple[str, ...] = ()
    open_follow_ups: tuple[str, ...] = ()
    tasks: tuple[str, ...] = ()
    bring: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetStop:
    """One site of a day, with the drive to it and the gauges to be serviced there."""

    sequence: int
    site_code: str
    site_name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None
    arrive: str
    start: str
    depart: str
    drive_min: int
    drive_km: float
    service_min: int
    access_minutes: int
    persons: int
    skill: str | None
    ring_first: bool
    contact: str
    hazards: str
    access_notes: str
    access_rules: tuple[str, ...]
    must_visit: bool
    cards: tuple[JobCard, ...]
    straight_line: bool = False
    """Whether its drives are estimated along a straight line, for want of a better source."""
    on_foot: str = ""
    """The way beyond the last road, where the source of the drives has found one."""


@dataclass(frozen=True, slots=True)
class SheetBreak:
    """A rest or break; it stands before the stop of this place in the day, from 0."""

    at: str
    minutes: int
    where: str
    before: int


@dataclass(frozen=True, slots=True)
class SheetDay:
    """One crew's day."""

    day: date
    crew: tuple[str, ...]
    leave: str
    back: str
    back_drive_min: int
    back_drive_km: float
    driving_min: int
    driving_km: float
    start_name: str
    start_latitude_deg: float
    start_longitude_deg: float
    sunrise: str
    sunset: str
    stops: tuple[SheetStop, ...]
    rest_min: int = 0
    rest_at: str = ""
    """When the rest begins; blank: within the shift, before leaving or after coming back."""
    leave_at: datetime | None = None
    """Aware instants of leaving and return, for calendars."""
    back_at: datetime | None = None
    stop_times: tuple[tuple[datetime, datetime], ...] = ()
    """Aware instants of start and departure for each stop, in order."""
    end_place: tuple[str, float, float] | None = None
    """Name, latitude and longitude of where the day ends; None: where it started."""
    night: str = ""
    """Where the night is spent away from home, and whom to ring there; blank: at home."""
    breaks: tuple[SheetBreak, ...] = ()
    """Every rest and break that lies within the day, in order."""

    @property
    def end(self) -> tuple[str, float, float]:
        """Give name, latitude and longitude of where the day ends."""
        start = (self.start_name, self.start_latitude_deg, self.start_longitude_deg)
        return self.end_place or start


@dataclass(frozen=True, slots=True)
class LoadingItem:
    """One thing to put into the van; ``detail`` says for which sites or why."""

    item: str
    quantity: str
    detail: str


@dataclass(frozen=True, slots=True)
class LeftOutLine:
    """A site that was ranked but is not in the round, with the reason."""

    site_code: str
    site_name: str
    worth_record_days: float
    reason: str


@dataclass(frozen=True, slots=True)
class DroppedEntry:
    """A day of a crew, or a stop of it, that an older version had and this one has not.

    Without a site it is the whole day.
    """

    day: date
    site_code: str = ""
    site_name: str = ""


@dataclass(frozen=True, slots=True)
class MapLine:
    """A line of the user's own base map (coast, road, river), as longitude/latitude pairs."""

    kind: str
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class RouteSheet:
    """One crew's part of a round.

    ``crew_names`` are the technicians' names; ``round_ref`` and ``version`` identify the plan;
    ``status`` is planned or issued; ``plan_notes`` are sentences on how the plan was made (travel
    source, search settings, evidence day); ``cautions`` are printed as reminders.
    """

    round_ref: str
    version: int
    status: str
    depot_code: str
    depot_name: str
    time_zone: str
    crew_code: str
    crew_names: tuple[str, ...]
    first_day: date
    last_day: date
    evidence_as_of: date
    made_at: datetime
    days: tuple[SheetDay, ...]
    loading: tuple[LoadingItem, ...]
    cautions: tuple[str, ...]
    plan_notes: tuple[str, ...]
    left_out: tuple[LeftOutLine, ...] = ()
    map_lines: tuple[MapLine, ...] = field(default=())
    dropped: tuple[DroppedEntry, ...] = ()
    """What calendars that hold an older version must take out."""
