"""A day's map: scale from first principles [CALC], marks and names kept apart and inside.

One degree of latitude on a sphere of 6371.0088 km is pi/180 times that: 111.195 km [CALC].
"""

from dataclasses import replace
from itertools import combinations
from math import cos, hypot, radians

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.domain.sheet import MapLine
from fleet.reports.map_frame import frame_around
from fleet.reports.map_ground import line_key
from fleet.reports.map_label import Box, LabelRoom, place_labels, spread
from fleet.reports.route_map import day_map

SIZE = {"width_mm": 188.0, "height_mm": 128.0}


def numbers_of(drawing):
    return [text.text for text in drawing.iter("text") if text.get("aria-hidden") is None]


def test_frame_is_true_to_scale_up_and_across():
    frame = frame_around([(45.0, 10.0), (45.2, 10.4)], margin_mm=15.0, **SIZE)
    (x1, y1), (x2, _), (_, y3) = (frame.place(*p) for p in ((45.1, 10.0), (45.1, 10.1), (45.2, 10)))

    assert (y1 - y3) / frame.mm_per_km == pytest.approx(11.1195, rel=1e-4)
    assert (x2 - x1) / frame.mm_per_km == pytest.approx(11.1195 * cos(radians(45.1)), rel=1e-4)


def test_frame_keeps_neighbours_over_the_180th_meridian_together():
    frame = frame_around([(10.0, 179.9), (10.0, -179.9)], margin_mm=15.0, **SIZE)

    assert frame.place(10.0, 179.9)[0] == pytest.approx(15.0)
    assert frame.place(10.0, -179.9)[0] == pytest.approx(173.0)
    assert -180.0 <= min(frame.graticule()[1]) <= max(frame.graticule()[1]) <= 180.0


def test_frame_of_one_spot_shows_two_kilometres():
    frame = frame_around([(45.0, 10.0)], margin_mm=15.0, **SIZE)

    assert 98.0 / frame.mm_per_km == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("width_km", "bar_km"), [(4.0, 1.0), (40.0, 10.0), (41.0, 10.0), (300.0, 50.0)]
)
def test_scale_bar_fits_a_quarter_of_the_width(width_km, bar_km):
    frame = replace(frame_around([(0.0, 0.0)], margin_mm=15.0, **SIZE), mm_per_km=188.0 / width_km)

    assert frame.scale_bar_km() == bar_km


@given(
    st.lists(st.tuples(st.floats(10, 178), st.floats(10, 118)), min_size=1, max_size=12),
    st.integers(0, 8),
)
@settings(max_examples=40, deadline=None)
def test_spread_parts_every_pair_and_stays_inside(points, twins):
    points = points + points[:1] * twins

    moved = spread(points, gap=6.0, room=Box(8, 8, 172, 112))

    assert all(hypot(a[0] - b[0], a[1] - b[1]) > 5.9 for a, b in combinations(moved, 2))
    assert all(8 <= x <= 180 and 8 <= y <= 120 for x, y in moved)


def test_spread_leaves_points_that_are_apart_alone():
    points = [(20.0, 20.0), (40.0, 20.0)]

    assert spread(points, gap=6.0, room=Box(0, 0, 188, 128)) == points


def test_labels_shun_the_edge_the_marks_and_each_other():
    anchors = [(180.0, 60.0), (180.0, 64.0), (90.0, 60.0)]
    room = LabelRoom(Box(1, 1, 186, 126), (Box(92, 50, 40, 20),), ())

    boxes = place_labels(anchors, [(15.0, 3.0)] * 3, reach=3.4, room=room)

    assert all(a.shared_with(b) == 0 for a, b in combinations(boxes, 2))
    assert all(box.x >= 1 and box.x + 15.0 <= 187 for box in boxes)
    assert boxes[2].shared_with(room.taken[0]) == 0


def test_map_numbers_and_names_every_stop(week):
    words = numbers_of(day_map(week.days[1], week.map_lines, **SIZE))

    assert [w for w in words if w.isdigit() and w != "0"] == ["1", "2", "3", "4"]
    assert {"start", "SK005", "SK006", "SK007", "SK008", "N"} <= set(words)
    assert any(word.endswith(" km") for word in words)
    assert any("° N" in word for word in words)
    assert any("° W" in word for word in words)


def test_map_ties_moved_marks_to_their_true_place(week):
    day = week.days[0]
    stops = tuple(replace(s, latitude_deg=44.8, longitude_deg=-34.9) for s in day.stops)

    drawing = day_map(replace(day, stops=stops), (), **SIZE)

    true_places = [circle for circle in drawing.iter("circle") if circle.get("r") == "0.6"]
    assert len(true_places) >= 3
    assert len({(c.get("cx"), c.get("cy")) for c in true_places}) == 1


def test_map_leaves_out_base_lines_beyond_the_frame(week):
    near = MapLine("river", ((-34.95, 44.8), (-34.85, 44.8)))
    far = MapLine("coast", tuple((100.0 + k, 10.0) for k in range(50)))

    drawing = day_map(week.days[0], (near, far), **SIZE)

    dashes = [path.get("stroke-dasharray") for path in drawing.iter("path")]
    assert [dash for dash in dashes if dash] == ["1.6 0.6"]
    assert drawing.find("g").get("clip-path") == f"url(#{drawing.find('defs/clipPath').get('id')})"


def test_map_of_a_day_without_stops_shows_the_start(week):
    words = numbers_of(day_map(replace(week.days[0], stops=()), (), **SIZE))

    assert "start" in words


def test_line_key_tells_each_kind_apart():
    lines = [MapLine("river", ()), MapLine("coast", ()), MapLine("track", ()), MapLine("river", ())]

    assert line_key(lines) == "coast (thin unbroken), river (dashed), track (dotted)"
    assert line_key([]) == ""
