"""When a site may be entered, and when there is light to work by."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from fleet.domain.plan import Window
from fleet.units import MINUTES_PER_DAY

DatedWindows = Mapping[date, tuple[Window, ...]]
"""Spans of single days, as of a tide table, in minutes from local midnight at the site."""

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True)
class AccessSpan:
    """One rule: on these weekdays, between these days, from one clock time to another.

    An empty set of weekdays means every day; None leaves that side open. Minutes count from
    local midnight at the site.
    """

    weekdays: frozenset[str] = frozenset()
    opens_min: int | None = None
    closes_min: int | None = None
    first_day: date | None = None
    last_day: date | None = None
    note: str = ""

    def holds_on(self, day: date) -> bool:
        """Tell whether the rule speaks of a day."""
        return (
            (not self.weekdays or WEEKDAYS[day.weekday()] in self.weekdays)
            and (self.first_day is None or self.first_day <= day)
            and (self.last_day is None or day <= self.last_day)
        )

    def __str__(self) -> str:
        named = [word for word in WEEKDAYS if word in self.weekdays]
        parts = [" ".join(word.capitalize() for word in named) or "any day"]
        if self.opens_min is not None or self.closes_min is not None:
            opens = clock_text(self.opens_min or 0)
            closes = clock_text(self.closes_min if self.closes_min is not None else 1440)
            parts.append(f"{opens}-{closes}")
        if self.first_day is not None:
            parts.append(f"from {self.first_day.isoformat()}")
        if self.last_day is not None:
            parts.append(f"until {self.last_day.isoformat()}")
        if self.note:
            parts.append(f"({self.note})")
        return " ".join(parts)


def clock_text(minutes: int) -> str:
    """Write minutes after midnight as ``HH:MM``, with a mark from the next midnight on.

    Examples
    --------
    >>> clock_text(65), clock_text(1440), clock_text(1475)
    ('01:05', '24:00', '00:35 next day')
    """
    if minutes > MINUTES_PER_DAY:
        return f"{clock_text(minutes - MINUTES_PER_DAY)} next day"
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def open_windows(
    spans: Sequence[AccessSpan], day: date, *, dated: DatedWindows | None = None
) -> tuple[Window, ...]:
    """Give the spans of a day in which a site may be entered.

    Parameters
    ----------
    spans : sequence of AccessSpan
        The site's rules; without any rule the site is always open.
    day : date
        Local day at the site.
    dated : mapping, optional
        Spans of single days, which bind beside the rules; with any, days without one are closed.

    Returns
    -------
    tuple of Window
        In order, merged where they touch; empty when the site is closed that day.
    """
    ruled = _ruled_windows(spans, day)
    if not dated:
        return ruled
    return tuple(
        both
        for window in merge_windows(dated.get(day, ()))
        for both in clip_windows(ruled, window.opens_min, window.closes_min)
    )


def _ruled_windows(spans: Sequence[AccessSpan], day: date) -> tuple[Window, ...]:
    if not spans:
        return (Window(0, MINUTES_PER_DAY),)
    return merge_windows(
        Window(
            span.opens_min or 0,
            MINUTES_PER_DAY if span.closes_min is None else span.closes_min,
        )
        for span in spans
        if span.holds_on(day)
    )


def merge_windows(windows: Iterable[Window]) -> tuple[Window, ...]:
    """Join windows that overlap or touch; give them in order."""
    merged: list[Window] = []
    for window in sorted(windows, key=lambda w: (w.opens_min, w.closes_min)):
        if merged and window.opens_min <= merged[-1].closes_min:
            last = merged[-1]
            merged[-1] = Window(last.opens_min, max(last.closes_min, window.closes_min))
        else:
            merged.append(window)
    return tuple(merged)


def clip_windows(windows: Iterable[Window], opens_min: int, closes_min: int) -> tuple[Window, ...]:
    """Keep what lies between two times of the day; empty pieces are dropped."""
    clipped = (Window(max(w.opens_min, opens_min), min(w.closes_min, closes_min)) for w in windows)
    return tuple(w for w in clipped if w.closes_min > w.opens_min)


def shift_windows(windows: Iterable[Window], minutes: int) -> tuple[Window, ...]:
    """Move windows on the clock, for a depot in another time zone."""
    return tuple(Window(w.opens_min + minutes, w.closes_min + minutes) for w in windows)
