"""What lies under a route on a small map: graticule, base lines, scale bar, north arrow."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from xml.etree import ElementTree as ET

from fleet.domain.sheet import MapLine
from fleet.reports.map_frame import MapFrame
from fleet.reports.map_label import Point
from fleet.reports.markup import node
from fleet.reports.wording import degree_words, figure

LINE_STYLES = {
    "coast": ("#555", 0.35, ""),
    "border": ("#777", 0.3, "2 0.8 0.4 0.8"),
    "road": ("#999", 0.5, ""),
    "river": ("#777", 0.3, "1.6 0.6"),
}
"""Grey, width in mm and dash of a base line; each kind differs by its dash or width."""

OTHER_STYLE = ("#777", 0.3, "0.4 0.8")


def line_key(lines: Sequence[MapLine]) -> str:
    """Say which kinds of base line a map holds and how each is drawn, or '' for none."""
    kinds = sorted({line.kind for line in lines})
    return ", ".join(f"{kind} {_style_words(kind)}" for kind in kinds)


def _style_words(kind: str) -> str:
    words = {"coast": "thin unbroken", "border": "dash and dot", "road": "wide", "river": "dashed"}
    return f"({words.get(kind, 'dotted')})"


def map_line(start: Point, end: Point, *, stroke: str, stroke_width: float) -> ET.Element:
    """Draw a straight line between two points given in mm."""
    (x1, y1), (x2, y2) = start, end
    return node("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=stroke, stroke_width=stroke_width)


def map_text(
    words: str, at: Point, size: float, *, anchor: str = "start", weight: str = "normal"
) -> ET.Element:
    """Write words with a white rim, so that they are read across lines; `at` is the base line."""
    place: dict[str, str | float] = {
        "x": at[0],
        "y": at[1],
        "font_size": size,
        "text_anchor": anchor,
    }
    rim = node("text", words, font_weight=weight, stroke="#fff", stroke_width=0.7, **place)
    rim.set("stroke-linejoin", "round")
    rim.set("aria-hidden", "true")
    return node("g", rim, node("text", words, font_weight=weight, fill="#000", **place))


def graticule(frame: MapFrame) -> list[ET.Element]:
    """Draw the round parallels and meridians as faint lines."""
    parallels, meridians, _ = frame.graticule()
    rows = [frame.place(latitude, frame.middle[1])[1] for latitude in parallels]
    columns = [frame.place(frame.middle[0], longitude)[0] for longitude in meridians]
    flat = [((0.0, y), (frame.width_mm, y)) for y in rows]
    upright = [((x, 0.0), (x, frame.height_mm)) for x in columns]
    return [map_line(a, b, stroke="#ddd", stroke_width=0.2) for a, b in flat + upright]


def graticule_labels(frame: MapFrame) -> list[ET.Element]:
    """Write the degrees at the left and lower edge, clear of the corners."""
    parallels, meridians, digits = frame.graticule()
    labels = []
    for latitude in parallels:
        y = frame.place(latitude, frame.middle[1])[1]
        if 6 < y < frame.height_mm - 14:
            labels.append(
                map_text(degree_words(latitude, "NS", digits=digits), (1.2, y - 0.6), 2.1)
            )
    for longitude in meridians:
        x = frame.place(frame.middle[0], longitude)[0]
        if 16 < x < frame.width_mm - 16:
            words = degree_words(longitude, "EW", digits=digits)
            labels.append(map_text(words, (x + 0.6, frame.height_mm - 1.2), 2.1))
    return labels


def base_lines(frame: MapFrame, lines: Sequence[MapLine]) -> list[ET.Element]:
    """Draw the user's lines, each kind with its own dash; pieces outside the frame are left out."""
    drawn = []
    for line in lines:
        stroke, width, dash = LINE_STYLES.get(line.kind, OTHER_STYLE)
        points = [frame.place(latitude, longitude) for longitude, latitude in line.points]
        path = " ".join(_pieces(points, frame))
        if path:
            drawn.append(node("path", d=path, fill="none", stroke=stroke, stroke_width=width))
            drawn[-1].set("stroke-dasharray", dash or "none")
    return drawn


def _pieces(points: Sequence[Point], frame: MapFrame) -> list[str]:
    """Write the segments that may touch the frame; a leap of half the globe is not drawn."""
    pieces: list[str] = []
    pen_at: Point | None = None
    for start, end in pairwise(points):
        if not _may_touch(start, end, frame):
            continue
        if pen_at != start:
            pieces.append(f"M{start[0]:.2f} {start[1]:.2f}")
        pieces.append(f"L{end[0]:.2f} {end[1]:.2f}")
        pen_at = end
    return pieces


def _may_touch(start: Point, end: Point, frame: MapFrame) -> bool:
    turn_mm = frame.width_mm / frame.span_deg[1] * 180
    return (
        abs(start[0] - end[0]) < turn_mm
        and max(start[0], end[0]) >= 0
        and min(start[0], end[0]) <= frame.width_mm
        and max(start[1], end[1]) >= 0
        and min(start[1], end[1]) <= frame.height_mm
    )


def furniture(frame: MapFrame) -> list[ET.Element]:
    """Draw the scale bar at the lower left and the north arrow at the upper right."""
    bar_km = frame.scale_bar_km()
    length, y = bar_km * frame.mm_per_km, frame.height_mm - 8
    x, right = 5.0, frame.width_mm - 6
    half = node("rect", x=x, y=y, width=length / 2, height=1.2, fill="#000")
    whole = node("rect", x=x, y=y, width=length, height=1.2, fill="#fff", stroke="#000")
    whole.set("stroke-width", "0.25")
    head = node("path", d=f"M{right} 3l2 6l-2 -1.6l-2 1.6z", fill="#000")
    return [
        whole,
        half,
        map_text("0", (x, y - 0.9), 2.3, anchor="middle"),
        map_text(f"{figure(bar_km)} km", (x + length, y - 0.9), 2.3, anchor="middle"),
        head,
        map_text("N", (right, 12.2), 3.0, anchor="middle", weight="bold"),
    ]
