"""Geometry of pictures: true to the ground, and no label over another."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from preplan.render import scene
from preplan.render.scene import Box, Frame, Plane, Room, Spot

from .example_plan import example_plan


@pytest.mark.parametrize(("lon", "lat"), [(-72.0, 44.0), (-157.0, 20.0), (10.0, 0.0), (25.0, 69.0), (150.0, -38.0)])
def test_plane_agrees_with_the_ellipsoid(lon: float, lat: float) -> None:
    geod = Geod(ellps="WGS84")
    for bearing in (0.0, 45.0, 90.0, 200.0):
        far_lon, far_lat, _ = geod.fwd(lon, lat, bearing, 3000.0)
        (east, north), *_ = Plane(lon, lat).feet(np.array([far_lon]), np.array([far_lat]))
        assert math.hypot(east, north) * 0.3048 == pytest.approx(3000.0, rel=1e-3)
        assert math.degrees(math.atan2(east, north)) % 360 == pytest.approx(bearing, abs=0.2)


def test_one_stray_address_does_not_move_the_plane() -> None:
    plane = scene.plane_of(example_plan())
    assert plane.lon == pytest.approx(-72.03, abs=0.01)
    assert plane.lat == pytest.approx(44.004, abs=0.01)


@given(
    st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6)), min_size=1, max_size=8),
    st.floats(0.3, 3.0),
)
def test_extent_holds_its_points_in_the_picture_s_shape(points: list[tuple[float, float]], shape: float) -> None:
    country = scene.extent(np.array(points), shape)
    assert country.width / country.height == pytest.approx(shape)
    assert min(country.width, country.height) >= 600.0 - 1e-6
    for east, north in points:
        assert country.grown(1e-3).holds(Box(east, north, east, north))


def test_unknown_places_do_not_spoil_the_extent() -> None:
    points = np.array([[math.nan, math.nan], [0.0, 0.0]])
    assert scene.extent(points, 1.0) == scene.extent(points[1:], 1.0)
    assert scene.box_of(np.empty((0, 2))) == Box(0.0, 0.0, 0.0, 0.0)


def test_frame_puts_corners_on_corners() -> None:
    frame = Frame(Box(36.0, 100.0, 236.0, 200.0), Box(-500.0, 0.0, 1500.0, 1000.0))
    placed = frame.to_page(np.array([[-500.0, 0.0], [1500.0, 1000.0]]))
    assert placed.tolist() == [[36.0, 100.0], [236.0, 200.0]]
    assert frame.pt_per_ft == 0.1


@given(st.floats(1e-5, 10.0), st.sampled_from(["ft", "mi"]))
def test_scale_bar_is_round_true_and_as_long_as_fits(pt_per_ft: float, unit: str) -> None:
    bar = scene.scale_bar(pt_per_ft, 60.0, unit)
    assert bar.points <= 60.0 + 1e-6
    assert bar.points * 2.5 >= 60.0 * (1 - 1e-6)
    feet = bar.length * (5280.0 if unit == "mi" else 1.0)
    assert bar.points == pytest.approx(feet * pt_per_ft)
    mantissa = bar.length / 10 ** math.floor(math.log10(bar.length) + 1e-9)
    assert round(mantissa, 6) in {1.0, 2.0, 5.0}


def test_finder_finds_what_touches_and_nothing_else() -> None:
    rng = np.random.default_rng(7)
    low = rng.uniform(0, 100, (200, 2))
    boxes = np.hstack([low, low + rng.uniform(0, 10, (200, 2))])
    window = Box(30.0, 30.0, 50.0, 45.0)
    expected = [
        row for row, (left, bottom, right, top) in enumerate(boxes.tolist())
        if left <= window.right and right >= window.left and bottom <= window.top and top >= window.bottom
    ]  # fmt: skip
    assert 0 < len(expected) < 200
    assert scene.Finder(boxes).touching(window).tolist() == expected
    assert scene.Finder(np.empty((0, 4))).touching(window).tolist() == []


def test_line_boxes_bound_each_line() -> None:
    points = np.array([[0.0, 5.0], [2.0, 1.0], [9.0, 9.0], [8.0, 7.0], [7.0, 8.0]])
    assert scene.line_boxes(points, np.array([0, 2, 5], dtype=np.int32)).tolist() == [[0, 1, 2, 5], [7, 7, 9, 9]]


def test_cut_and_nearest_place_along_a_line() -> None:
    line = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0]])
    assert scene.nearest_along(line, np.array([4.0, 3.0])) == pytest.approx(4.0)
    assert scene.nearest_along(line, np.array([12.0, 6.0])) == pytest.approx(16.0)
    assert scene.nearest_along(line, np.array([-5.0, -5.0])) == 0.0
    assert scene.cut(line, 4.0, 16.0).tolist() == [[4.0, 0.0], [10.0, 0.0], [10.0, 6.0]]


def test_beside_is_to_the_right_of_travel() -> None:
    north = np.array([[0.0, 0.0], [0.0, 10.0]])
    assert scene.beside(north, 4.0).tolist() == [[4.0, 0.0], [4.0, 10.0]]
    assert scene.beside(north[::-1], 4.0).tolist() == [[-4.0, 10.0], [-4.0, 0.0]]


def test_beside_survives_a_turn_on_the_spot_and_doubled_points() -> None:
    there_and_back = np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 0.0], [0.0, 0.0]])
    assert np.isfinite(scene.beside(there_and_back, 3.0)).all()


def test_thinned_keeps_both_ends() -> None:
    line = np.column_stack([np.linspace(0.0, 10.0, 101), np.zeros(101)])
    thin = scene.thinned(line, 1.0)
    assert thin[0].tolist() == [0.0, 0.0]
    assert thin[-1].tolist() == [10.0, 0.0]
    assert 8 <= len(thin) <= 13


def test_arrows_point_the_way() -> None:
    line = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0]])
    assert scene.arrows(line, 70.0) == [(50.0, 0.0, 0.0), (100.0, 50.0, pytest.approx(math.pi / 2))]
    assert scene.arrows(np.zeros((2, 2)), 70.0) == []


def test_labels_read_upright_whatever_the_road_s_direction() -> None:
    for turn in np.linspace(0, 2 * math.pi, 16, endpoint=False):
        line = np.array([[0.0, 0.0], [50 * math.cos(turn), 50 * math.sin(turn)]])
        middle, slope = scene.straights(line, np.array([0, 2], dtype=np.int32))
        on, above, below = scene.spots_at(middle, slope, 9.0)
        assert abs(on.slope) <= math.pi / 2 + 1e-9
        assert (above.x + below.x) / 2 == pytest.approx(on.x)
        assert math.dist((above.x, above.y), (on.x, on.y)) == pytest.approx(9.0)


def test_a_name_stands_on_its_road_s_longest_straight_piece() -> None:
    points = np.array(
        [[0.0, 0.0], [1.0, 0.0], [1.0, 8.0], [100.0, 0.0], [94.0, 0.0], [94.0, 1.0], [5.0, 5.0], [5.0, 5.0]]
    )
    middle, slope = scene.straights(points, np.array([0, 3, 6, 8], dtype=np.int32))
    assert middle.tolist() == [[1.0, 4.0], [97.0, 0.0], [5.0, 5.0]]
    assert slope.tolist() == pytest.approx([math.pi / 2, 0.0, 0.0])
    middle, slope = scene.straights(np.empty((0, 2)), np.array([0], dtype=np.int32))
    assert (len(middle), len(slope)) == (0, 0)


@given(st.lists(st.tuples(st.floats(0, 300), st.floats(0, 200), st.floats(-1.5, 1.5)), max_size=40))
def test_placed_labels_never_overlap_nor_leave_the_frame(wanted: list[tuple[float, float, float]]) -> None:
    room = Room(Box(0.0, 0.0, 300.0, 200.0))
    room.block(np.array([[150.0, 100.0]]))
    placed = [
        (spot, spot.box(60.0, 8.0)) for x, y, slope in wanted
        if (spot := room.place([Spot(x, y, slope)], 60.0, 8.0)) is not None
    ]  # fmt: skip
    for at, (spot, box) in enumerate(placed):
        assert room.frame.holds(box)
        assert not any(box.meets(other) for _, other in placed[:at])
        assert math.dist((spot.x, spot.y), (150.0, 100.0)) >= 4.0
    assert len(placed) == len(room.taken)


def test_a_label_takes_the_next_spot_when_the_first_is_taken() -> None:
    room = Room(Box(0.0, 0.0, 100.0, 100.0))
    room.take(Box(50.0, 40.0, 90.0, 60.0))
    spot = room.place(scene.around(50.0, 50.0, 5.0, 20.0, 8.0), 20.0, 8.0)
    assert spot == Spot(35.0, 50.0)


def test_the_side_at_the_end_of_a_line_is_that_of_its_last_real_step() -> None:
    """A line cut at one of its own points ends with a step of no length, in any direction."""
    line = np.array([[0.0, 0.0], [0.0, 500.0], [1e-9, 500.0]])
    assert scene.side_at_end(line, np.array([40.0, 505.0])) == "right"
    assert scene.side_at_end(line[1:], np.array([40.0, 505.0])) == ""


def test_a_scale_takes_the_first_empty_place_else_the_one_that_hides_least() -> None:
    room = scene.Room(scene.Box(0.0, 0.0, 100.0, 100.0))
    boxes = [scene.Box(float(at), 0.0, at + 9.0, 9.0) for at in (0, 20, 40)]
    room.block(np.array([[5.0, 5.0], [6.0, 5.0], [25.0, 5.0]]))
    assert room.emptiest(boxes) == (0, boxes[2])
    room.block(np.array([[45.0, 5.0], [46.0, 5.0], [47.0, 5.0]]))
    assert room.emptiest(boxes) == (1, boxes[1])
