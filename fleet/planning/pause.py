"""The breaks that a rest rule asks for, laid into the order of a day as late as they may be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import inf

from fleet.domain.plan import RestRule


@dataclass(frozen=True, slots=True)
class Break:
    """A break in the order of the day.

    It lies on the drive to stop ``leg`` (the way back is the leg after the last stop) once
    ``after_min`` of it are driven: 0 is before driving on, the whole drive is on arrival. With
    ``in_work`` it lies within the work there, once so much of that is done.
    """

    leg: int
    after_min: int
    minutes: int
    in_work: bool = False


def lay_breaks(
    rule: RestRule,
    leave_min: int,
    drives: Sequence[int],
    *,
    works: Sequence[tuple[int, int]],
    early: bool,
    longer: Mapping[int, int],
) -> list[Break]:
    """Follow a day and break off each time before the rule would be broken.

    Parameters
    ----------
    rule : RestRule
        Its limits are 1 min at least.
    leave_min : int
        When the day begins.
    drives : sequence of int
        Driving times in minutes: to each stop, then back.
    works : sequence of (int, int)
        For each stop the minute at which it opens, and the minutes of work.
    early : bool
        Break before a drive that fits whole afterwards, else on the way.
    longer : mapping
        By number of the break, from 0, the minutes of those that are longer than the rule asks.

    Returns
    -------
    list of Break
        In order; empty where the day needs none.
    """
    meter = _Meter(rule, leave_min, early, longer)
    for leg, drive in enumerate(drives):
        meter.drive(leg, drive)
        if leg < len(works):
            meter.work(leg, drive, *works[leg])
    return meter.breaks


@dataclass(slots=True)
class _Meter:
    """What has run up since the last break while a day is followed."""

    rule: RestRule
    now: int
    early: bool
    longer: Mapping[int, int]
    driven: int = 0
    duty: int = 0
    breaks: list[Break] = field(default_factory=list)

    @property
    def most_driving(self) -> float:
        return self.rule.after_driving_min or inf

    @property
    def most_duty(self) -> float:
        return self.rule.after_duty_min or inf

    def drive(self, leg: int, minutes: int) -> None:
        done = 0
        while True:
            reach = min(self.most_driving - self.driven, self.most_duty - self.duty)
            rest = minutes - done
            if rest <= reach:
                break
            anew = self.early and not done and rest <= min(self.most_driving, self.most_duty)
            part = 0 if anew else int(reach)
            self._spend(part, driving=True)
            done += part
            self._pause(leg, done)
        self._spend(minutes - done, driving=True)

    def work(self, leg: int, drive: int, opens_min: int, service_min: int) -> None:
        wait = max(0, opens_min - self.now)
        if (self.duty or wait) and self.duty + wait + service_min > self.most_duty:
            self._pause(leg, drive, at_least=wait)
            wait = max(0, opens_min - self.now)
        self._spend(wait)
        done = 0
        while service_min - done > self.most_duty - self.duty:
            part = max(0, int(self.most_duty - self.duty))
            self._spend(part)
            done += part
            self._pause(leg, done, in_work=True)
        self._spend(service_min - done)

    def _spend(self, minutes: int, *, driving: bool = False) -> None:
        self.now += minutes
        self.duty += minutes
        self.driven += minutes if driving else 0

    def _pause(self, leg: int, after_min: int, *, in_work: bool = False, at_least: int = 0) -> None:
        """Break off; who must wait anyway rests until the waiting is over."""
        minutes = max(self.longer.get(len(self.breaks), self.rule.break_min), at_least)
        self.breaks.append(Break(leg, after_min, minutes, in_work))
        self.now += minutes
        self.driven = self.duty = 0
