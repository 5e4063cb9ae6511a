"""The order of work at a gauge and the blanks of the form: what every job card prints."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fleet.domain.code import Action, Component, Condition, NotDoneReason


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the visit; ``key`` is how a layout finds it."""

    number: int
    key: str
    title: str
    text: str


STEPS = (
    Step(1, "look", "Look", "foundation, bolts, cable, screens; photo"),
    Step(2, "isolate", "Isolate from the logger", "no test tip may reach the record"),
    Step(3, "as_found", "As-found runs", "before any cleaning; counter to zero"),
    Step(4, "clean", "Clean", "screens, funnel, filter, siphon, buckets, drain"),
    Step(5, "level", "Level, free movement, insects", "nothing rubs, nests out"),
    Step(6, "as_left", "As-left runs", "buckets emptied; counter to zero"),
    Step(7, "switch", "Switch", "resistance; ten slow manual tips, five each way"),
    Step(8, "record", "Write down", "what was found, what was done, how it was left"),
    Step(
        9,
        "reconnect",
        "RECONNECT AND PROVE IT",
        "Last act of the visit: terminals tight, a tip seen to arrive at the logger, test tips "
        "noted so that they leave the record.",
    ),
)
"""Trade order of a visit. Common practice, no published source; the ten slow manual tips, five each
way, of which all ten must be logged, are from an instrument maker's support page, read."""

RUN_NUMBERS = (1, 2, 3, 4)
"""Runs a phase has room for: at least two, up to four (common practice, no published source)."""

RUN_COLUMNS = ("Run", "Volume mL", "Tips", "Seconds", "Device", "Start")
START_CHOICES = "L  R  E"
START_KEY = "Start: circle L or R for the bucket under the funnel, E if both were emptied."

SWITCH_COLUMNS = ("", "Closed ohm", "Open ohm", "Read at", "Counted of 10")
SWITCH_ROWS = ("Found", "Left")
SWITCH_CHOICES = "G  L"
SWITCH_KEY = "Read at: circle G, the gauge's own terminals, or L, the logger."

FINDING_COLUMNS = ("Component", "Condition found", "Action", "Condition left", "Note, part fitted")
FINDING_ROWS = 3

LEVEL_CHOICES = ("in ring", "out")
OUTCOMES = ("done", "partly done", "not done")


def spaced(words: type[StrEnum]) -> str:
    """List the values of a closed word list as they are read aloud.

    Examples
    --------
    >>> from fleet.domain.code import VisitOutcome
    >>> spaced(VisitOutcome)
    'done, partly done, not done'
    """
    return ", ".join(word.value.replace("_", " ") for word in words)


@dataclass(frozen=True, slots=True)
class FormText:
    """Everything that is printed on the blank form, the same on every card."""

    steps: tuple[Step, ...] = STEPS
    run_numbers: tuple[int, ...] = RUN_NUMBERS
    run_columns: tuple[str, ...] = RUN_COLUMNS
    start_choices: str = START_CHOICES
    start_key: str = START_KEY
    switch_columns: tuple[str, ...] = SWITCH_COLUMNS
    switch_rows: tuple[str, ...] = SWITCH_ROWS
    switch_choices: str = SWITCH_CHOICES
    switch_key: str = SWITCH_KEY
    finding_columns: tuple[str, ...] = FINDING_COLUMNS
    finding_rows: int = FINDING_ROWS
    level_choices: tuple[str, ...] = LEVEL_CHOICES
    outcomes: tuple[str, ...] = OUTCOMES
    components: str = spaced(Component)
    conditions: str = spaced(Condition)
    actions: str = spaced(Action)
    reasons: str = spaced(NotDoneReason)
