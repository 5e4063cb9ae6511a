"""A day's map as a drawing: depot, numbered stops, legs in driving order, base lines."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot
from xml.etree import ElementTree as ET

from fleet.domain.sheet import MapLine, SheetDay
from fleet.reports.map_frame import MapFrame, frame_around
from fleet.reports.map_ground import (
    base_lines,
    furniture,
    graticule,
    graticule_labels,
    map_line,
    map_text,
)
from fleet.reports.map_label import Box, LabelRoom, Point, box_around, place_labels, spread
from fleet.reports.markup import append, node
from fleet.reports.wording import figure, shorten

MARK_MM = 2.7
"""Half the size of a stop's circle: a two-figure number is read at arm's length."""

MARGIN_MM = 15.0
TEXT_MM = 2.7
START_LABEL, END_LABEL, NIGHT_LABEL = "start", "end", "night"
WIDTH_PER_CHARACTER = 0.62
"""Mean advance of capitals and figures in the sheet's bold face, in letter heights."""


def day_map(
    day: SheetDay, lines: Sequence[MapLine], *, width_mm: float, height_mm: float
) -> ET.Element:
    """Draw one day's route.

    Parameters
    ----------
    day : SheetDay
        Its start and stops; a day without stops shows the start alone.
    lines : sequence of MapLine
        The user's base map; what lies outside the frame is cut off.
    width_mm, height_mm : float
        Size of the drawing, in mm.

    Returns
    -------
    xml.etree.ElementTree.Element
        An ``svg`` element in black, white and greys. Marks that would cover each other are
        moved apart and tied to their true place by a thin line.
    """
    places = [(day.start_latitude_deg, day.start_longitude_deg)]
    places += [(stop.latitude_deg, stop.longitude_deg) for stop in day.stops]
    places += [day.end[1:]] if day.end_place else []
    frame = frame_around(places, width_mm=width_mm, height_mm=height_mm, margin_mm=MARGIN_MM)
    truths = [frame.place(*place) for place in places]
    room = Box(MARK_MM + 5, MARK_MM + 1, width_mm - 2 * MARK_MM - 6, height_mm - 2 * MARK_MM - 9)
    marks = spread(truths, gap=2 * MARK_MM + 0.8, room=room)
    drawing = _sheet(day, width_mm, height_mm)
    clipped = node("g", clip_path=f"url(#{_clip_name(day)})")
    append(clipped, *graticule(frame), *base_lines(frame, lines))
    onward = marks[1:] if day.end_place else [*marks[1:], marks[0]]
    legs = list(zip(marks, onward, strict=False)) if len(marks) > 1 else []
    append(clipped, *_legs(legs))
    append(drawing, clipped, *graticule_labels(frame), *furniture(frame))
    append(drawing, *_marks(day, marks, truths), *_labels(day, marks, frame, legs))
    append(drawing, _outline(width_mm, height_mm))
    return drawing


def _clip_name(day: SheetDay) -> str:
    return f"map-{day.day.isoformat()}"


def _sheet(day: SheetDay, width_mm: float, height_mm: float) -> ET.Element:
    cut = node("rect", x=0, y=0, width=width_mm, height=height_mm)
    return node(
        "svg",
        node("defs", node("clipPath", cut, id=_clip_name(day))),
        node("rect", x=0, y=0, width=width_mm, height=height_mm, fill="#fff"),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {figure(width_mm, digits=2)} {figure(height_mm, digits=2)}",
        font_family="Noto Sans, sans-serif",
        font_size=TEXT_MM,
    )


def _outline(width_mm: float, height_mm: float) -> ET.Element:
    edge = {"x": 0.15, "y": 0.15, "width": width_mm - 0.3, "height": height_mm - 0.3}
    return node("rect", fill="none", stroke="#000", stroke_width=0.3, **edge)


def _legs(legs: Sequence[tuple[Point, Point]]) -> list[ET.Element]:
    lines = [map_line(a, b, stroke="#000", stroke_width=0.45) for a, b in legs]
    return lines + [arrow for a, b in legs if (arrow := _arrow(a, b)) is not None]


def _arrow(start: Point, end: Point) -> ET.Element | None:
    """Draw an arrow head a little past the middle of a leg long enough to show one."""
    length = hypot(end[0] - start[0], end[1] - start[1])
    if length < 4 * MARK_MM:
        return None
    east, south = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    x, y = start[0] + 0.56 * (end[0] - start[0]), start[1] + 0.56 * (end[1] - start[1])
    corners = ((1.6, 0.0), (-1.1, 1.05), (-1.1, -1.05))
    points = [(x + east * a - south * b, y + south * a + east * b) for a, b in corners]
    return node("polygon", points=" ".join(f"{px:.2f},{py:.2f}" for px, py in points), fill="#000")


def _marks(day: SheetDay, marks: Sequence[Point], truths: Sequence[Point]) -> list[ET.Element]:
    drawn = [
        part
        for mark, truth in zip(marks, truths, strict=True)
        if hypot(mark[0] - truth[0], mark[1] - truth[1]) > 0.6
        for part in (
            map_line(truth, mark, stroke="#000", stroke_width=0.2),
            node("circle", cx=truth[0], cy=truth[1], r=0.6, fill="#000"),
        )
    ]
    x, y = marks[0]
    side = 2 * MARK_MM
    drawn.append(node("rect", x=x - MARK_MM, y=y - MARK_MM, width=side, height=side, fill="#000"))
    if day.end_place:
        ends = {"x": marks[-1][0] - MARK_MM, "y": marks[-1][1] - MARK_MM}
        size = {"width": side, "height": side, "stroke_width": 0.7}
        drawn.append(node("rect", fill="#fff", stroke="#000", **ends, **size))
    for stop, (cx, cy) in zip(day.stops, marks[1:], strict=False):
        ring = node("circle", cx=cx, cy=cy, r=MARK_MM, fill="#fff", stroke="#000")
        ring.set("stroke-width", "0.9" if stop.must_visit else "0.4")
        number = map_text(str(stop.sequence), (cx, cy + 1.05), 3.0, anchor="middle", weight="bold")
        drawn += [ring, number]
    return drawn


def _labels(
    day: SheetDay, marks: Sequence[Point], frame: MapFrame, legs: Sequence[tuple[Point, Point]]
) -> list[ET.Element]:
    names = [START_LABEL, *(_name(stop.site_code) for stop in day.stops)]
    names += [NIGHT_LABEL if day.night else END_LABEL] if day.end_place else []
    sizes = [(len(name) * TEXT_MM * WIDTH_PER_CHARACTER, TEXT_MM) for name in names]
    bar_mm = frame.scale_bar_km() * frame.mm_per_km
    taken = [box_around(mark, MARK_MM) for mark in marks]
    taken += [
        Box(frame.width_mm - 9, 0, 9, 14),
        Box(0, frame.height_mm - 12, bar_mm + 14, 12),
    ]
    whole = Box(1, 1, frame.width_mm - 2, frame.height_mm - 2)
    room = LabelRoom(whole, tuple(taken), tuple(legs))
    boxes = place_labels(marks, sizes, reach=MARK_MM + 0.7, room=room)
    return [
        map_text(name, (box.x, box.y + 0.82 * TEXT_MM), TEXT_MM, weight="bold")
        for name, box in zip(names, boxes, strict=True)
    ]


def _name(text: str) -> str:
    return shorten(text, longest=18)
