"""What a question put to the records is: its words, its rule, and what it needs to be told."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from fleet.domain.audit.evidence import Ask, Evidence

VISIT_DAY = "The policy in force on the day of each visit."
AS_OF_DAY = "The policy in force on the day asked about."
NO_POLICY = "None; the question rests on the records alone."
LATEST = (
    "Without --since the latest check that counts of each gauge that is installed on the day "
    "asked about; with --since every check from that day on, also of gauges since removed."
)
Checks = frozenset[tuple[str, str | None]]
"""Visit reference and serial of checks; no serial is every gauge of the visit."""


class Use(StrEnum):
    """What a question looks at beside policy, certificates and skills.

    ``services`` are the last ones of all gauges, with what is told of those past their due day;
    ``services_told`` tells of all.
    """

    HISTORIES = "histories"
    SERVICES = "services"
    SERVICES_TOLD = "services_told"
    DEVICES = "devices"
    TIMES = "times"
    REGISTER = "register"
    RAIN = "rain"
    LEDGER = "ledger"


HISTORIES = frozenset({Use.HISTORIES})


class About(StrEnum):
    """What a gauge must have so that a question about the present state can be about it."""

    NEVER_TESTED = "never_tested"
    OFF_LOGGER = "off_logger"
    FAILED_VISIT = "failed_visit"


@dataclass(frozen=True, slots=True)
class Question:
    """One question: its word, what it asks, what counts, over which time, by which policy.

    ``rule`` gives rows of ``row_type``, whose fields are the columns. ``takes`` names what may
    be told beyond the dates: depot, since, phase, least, serials, devices, ahead, field_days,
    off_by. ``uses`` is what the rule looks at beside policy. ``about`` tells which sites alone can
    have a row when only the present state is asked for; None is every site. ``finds`` is False for
    a question whose rows are no faults. ``noun`` is the command it belongs to. ``backs`` gives
    the checks behind an answer where its rows do not name them.
    """

    name: str
    asks: str
    counts: str
    period: str
    policy: str
    row_type: type
    rule: Callable[[Evidence, Ask], Sequence[object]]
    example: str
    takes: frozenset[str] = frozenset({"depot"})
    finds: bool = True
    uses: frozenset[Use] = HISTORIES
    about: About | None = None
    noun: str = "audit"
    backs: Callable[[Evidence, Ask], Checks] | None = None
