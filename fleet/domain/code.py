"""The closed word lists of the records; the values stand in files and in the database."""

from __future__ import annotations

from enum import StrEnum


class Phase(StrEnum):
    """When in a visit a reading was taken."""

    AS_FOUND = "as_found"
    AS_LEFT = "as_left"


class StartState(StrEnum):
    """What stood in the buckets when a run began."""

    EMPTIED = "emptied"
    UNKNOWN = "unknown"


class VisitPurpose(StrEnum):
    """Why somebody drove there."""

    ROUTINE = "routine"
    REPAIR = "repair"
    INSTALLATION = "installation"
    REMOVAL = "removal"
    INSPECTION = "inspection"


class VisitOutcome(StrEnum):
    """What became of the visit; a failed attempt is a record too."""

    DONE = "done"
    PARTLY_DONE = "partly_done"
    NOT_DONE = "not_done"


class NotDoneReason(StrEnum):
    """Why a visit, or a stop of a round, was not done or only in part."""

    NO_ACCESS = "no_access"
    WEATHER = "weather"
    LIVESTOCK = "livestock"
    UNSAFE = "unsafe"
    NO_TIME = "no_time"
    NO_PART = "no_part"
    EQUIPMENT = "equipment"
    BREAKDOWN = "breakdown"
    OTHER = "other"


class Level(StrEnum):
    """Where the bubble of the level stood."""

    IN_RING = "in_ring"
    OUT_OF_RING = "out_of_ring"


class SwitchReadingKind(StrEnum):
    """What was read at the switch.

    CLOSED_OHM and OPEN_OHM in ohm; MANUAL_TIPS is the count logged for ten slow manual tips.
    """

    CLOSED_OHM = "closed_ohm"
    OPEN_OHM = "open_ohm"
    MANUAL_TIPS = "manual_tips"


class MeasuredAt(StrEnum):
    """Where a switch reading was taken; at the logger the cable's loop comes on top."""

    GAUGE_TERMINALS = "gauge_terminals"
    LOGGER = "logger"
    WORKSHOP = "workshop"


class Component(StrEnum):
    """Part of the gauge or site that a finding is about."""

    FUNNEL = "funnel"
    SCREEN = "screen"
    FILTER = "filter"
    SIPHON = "siphon"
    BUCKET = "bucket"
    PIVOT = "pivot"
    DRAIN = "drain"
    LEVEL = "level"
    SWITCH = "switch"
    CABLE = "cable"
    TERMINAL = "terminal"
    ENCLOSURE = "enclosure"
    FOUNDATION = "foundation"
    VEGETATION = "vegetation"
    POWER = "power"
    OTHER = "other"


WATER_PATH = frozenset(
    {
        Component.FUNNEL,
        Component.SCREEN,
        Component.FILTER,
        Component.SIPHON,
        Component.BUCKET,
        Component.DRAIN,
    }
)
"""The parts through which the rain must pass; one of them blocked is a blocked gauge."""


class Condition(StrEnum):
    """State of a component as found or as left."""

    GOOD = "good"
    DIRTY = "dirty"
    PARTLY_BLOCKED = "partly_blocked"
    BLOCKED = "blocked"
    INFESTED = "infested"
    LOOSE = "loose"
    WORN = "worn"
    CORRODED = "corroded"
    DAMAGED = "damaged"
    DISCONNECTED = "disconnected"
    MISSING = "missing"
    OTHER = "other"


class Action(StrEnum):
    """What was done about a finding."""

    NONE = "none"
    CLEANED = "cleaned"
    CLEARED = "cleared"
    TIGHTENED = "tightened"
    LEVELLED = "levelled"
    REPAIRED = "repaired"
    REPLACED = "replaced"
    TREATED = "treated"
    REPORTED = "reported"


class InstrumentStatus(StrEnum):
    """Where an instrument stands in its life."""

    IN_SERVICE = "in_service"
    SPARE = "spare"
    WORKSHOP = "workshop"
    RETIRED = "retired"


class PolicyScope(StrEnum):
    """How widely a policy row speaks; the narrowest wins."""

    NETWORK = "network"
    TYPE = "type"
    SITE = "site"


class DecisionRule(StrEnum):
    """How a measured error is held against its tolerance."""

    SIMPLE = "simple"
    GUARD_BAND = "guard_band"


class DeviceKind(StrEnum):
    """Kind of test equipment."""

    VOLUMETRIC = "volumetric"
    BALANCE = "balance"
    METER = "meter"


class HoldKind(StrEnum):
    """What the coordinator has decided about a site ahead of the planner."""

    MUST_VISIT = "must_visit"
    NOT_THIS_WEEK = "not_this_week"
    TECHNICIAN = "technician"
    THESE_DAYS = "these_days"


class RestScope(StrEnum):
    """How widely a rest rule speaks; the narrowest wins."""

    NETWORK = "network"
    DEPOT = "depot"
    TECHNICIAN = "technician"


class Severity(StrEnum):
    """How soon a follow-up must be dealt with."""

    URGENT = "urgent"
    SOON = "soon"
    NEXT_VISIT = "next_visit"


class RoundStatus(StrEnum):
    """Life of a round."""

    PLANNED = "planned"
    ISSUED = "issued"
    CLOSED = "closed"


class StopOutcome(StrEnum):
    """What became of a stop of an issued round."""

    DONE = "done"
    SKIPPED = "skipped"


class Verdict(StrEnum):
    """Outcome of holding a phase against the policy; not measured is not passed."""

    PASSED = "passed"
    FAILED = "failed"
    REJECTED = "rejected"
    INDETERMINATE = "indeterminate"
    NOT_MEASURED = "not_measured"
    TOO_FEW_RUNS = "too_few_runs"
