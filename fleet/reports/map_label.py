"""Keep marks and names on a small map apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, hypot, pi, sin, sqrt

Point = tuple[float, float]

GOLDEN_ANGLE = pi * (3 - sqrt(5))
"""Turn between the directions in which marks on one spot are pushed apart [CALC]."""

_ROUNDS = 200


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on paper, in mm: left, top, width, height."""

    x: float
    y: float
    width: float
    height: float

    def shared_with(self, other: Box) -> float:
        """Give the area that both rectangles cover, in mm2."""
        wide = min(self.x + self.width, other.x + other.width) - max(self.x, other.x)
        tall = min(self.y + self.height, other.y + other.height) - max(self.y, other.y)
        return wide * tall if wide > 0 and tall > 0 else 0.0


def box_around(point: Point, half: float) -> Box:
    """Give the square of half side `half` around a point."""
    return Box(point[0] - half, point[1] - half, 2 * half, 2 * half)


def spread(points: Sequence[Point], *, gap: float, room: Box) -> list[Point]:
    """Push points apart until no two are nearer than `gap`, within `room`.

    Parameters
    ----------
    points : sequence of (x, y)
        In mm; points on the same spot are allowed.
    gap : float
        Least distance in mm.
    room : Box
        Where the points must stay.

    Returns
    -------
    list of (x, y)
        In the order given, the same for the same input. Where `room` is too full the gap is
        kept as well as 200 rounds of pushing can.
    """
    moved = list(points)
    for _ in range(_ROUNDS):
        pairs = [
            (first, second)
            for second in range(len(moved))
            for first in range(second)
            if _distance(moved[first], moved[second]) < gap - 1e-6
        ]
        if not pairs:
            break
        for first, second in pairs:
            _push_apart(moved, first, second, gap)
        moved = [_held(point, room) for point in moved]
    return moved


def _push_apart(points: list[Point], first: int, second: int, gap: float) -> None:
    (x1, y1), (x2, y2) = points[first], points[second]
    distance = hypot(x2 - x1, y2 - y1)
    if distance < 1e-9:
        angle = GOLDEN_ANGLE * second
        east, south = cos(angle), sin(angle)
    else:
        east, south = (x2 - x1) / distance, (y2 - y1) / distance
    step = max(gap - distance, 0.0) / 2
    points[first] = (x1 - east * step, y1 - south * step)
    points[second] = (x2 + east * step, y2 + south * step)


def _distance(first: Point, second: Point) -> float:
    return hypot(first[0] - second[0], first[1] - second[1])


def _held(point: Point, room: Box) -> Point:
    x = min(max(point[0], room.x), room.x + room.width)
    y = min(max(point[1], room.y), room.y + room.height)
    return x, y


@dataclass(frozen=True, slots=True)
class LabelRoom:
    """What a label must mind: the frame, boxes to keep clear of, and lines to avoid."""

    frame: Box
    taken: tuple[Box, ...]
    lines: tuple[tuple[Point, Point], ...]


def place_labels(
    anchors: Sequence[Point], sizes: Sequence[Point], *, reach: float, room: LabelRoom
) -> list[Box]:
    """Choose a place beside each anchor for its label, one after the other.

    Parameters
    ----------
    anchors : sequence of (x, y)
        Middles of the marks, in mm.
    sizes : sequence of (width, height)
        Of each label, in mm.
    reach : float
        From the middle of a mark to the edge of its label, in mm.
    room : LabelRoom
        What is there already.

    Returns
    -------
    list of Box
        For each anchor the one of eight places that covers least of what is there already;
        ties go to the right, then left, below, above and the corners.
    """
    taken = list(room.taken)
    placed = []
    for anchor, size in zip(anchors, sizes, strict=True):
        places = _places(anchor, size, reach)
        best = min(places, key=lambda box: _cost(box, room, taken))
        placed.append(best)
        taken.append(best)
    return placed


def _places(anchor: Point, size: Point, reach: float) -> list[Box]:
    (x, y), (width, height) = anchor, size
    near = reach * 0.75
    return [
        Box(x + reach, y - height / 2, width, height),
        Box(x - reach - width, y - height / 2, width, height),
        Box(x - width / 2, y + reach, width, height),
        Box(x - width / 2, y - reach - height, width, height),
        Box(x + near, y + near, width, height),
        Box(x + near, y - near - height, width, height),
        Box(x - near - width, y + near, width, height),
        Box(x - near - width, y - near - height, width, height),
    ]


def _cost(box: Box, room: LabelRoom, taken: Sequence[Box]) -> float:
    outside = box.width * box.height - box.shared_with(room.frame)
    covered = sum(box.shared_with(other) for other in taken)
    crossed = sum(_crossed_mm(box, line) for line in room.lines)
    return 100 * outside + 10 * covered + crossed


def _crossed_mm(box: Box, line: tuple[Point, Point]) -> float:
    """Give about how many mm of a line run through a box, sampled every half millimetre."""
    (x1, y1), (x2, y2) = line
    if max(x1, x2) < box.x or min(x1, x2) > box.x + box.width:
        return 0.0
    if max(y1, y2) < box.y or min(y1, y2) > box.y + box.height:
        return 0.0
    length = hypot(x2 - x1, y2 - y1)
    samples = int(length * 2) + 1
    inside = sum(
        box.x <= x1 + (x2 - x1) * k / samples <= box.x + box.width
        and box.y <= y1 + (y2 - y1) * k / samples <= box.y + box.height
        for k in range(samples + 1)
    )
    return inside / 2
