"""Frontages: hand-drawn roads, addresses at known spots, places and driveways worked out by hand."""

from __future__ import annotations

import csv
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from preplan.plan_tables import FrontageTable
from preplan.records import AddressTable
from preplan.roads.frontage import place_addresses, place_points
from preplan.roads.limits import limits_of
from preplan.roads.mouths import find_dead_ends
from preplan.roads.source import read_osm
from preplan.rules import PlanRules, RoadRules
from preplan.units import FT_PER_M
from tests.road_builder import Drawing, Road, address_table, draw, lonlat
from tests.shared_data import shared

GEOD = Geod(ellps="WGS84")
SCALE = 0.001
"""A UTM zone keeps distances to 0.1 %."""

# Main Street runs east, Back Road runs 200 m north of it, Cross Road joins them in the east
TOWN = draw(
    {"w": (0, 0), "e": (1000, 0), "nw": (0, 200), "ne": (1000, 200)},
    [
        ("w", "e", {"name": "Main Street"}),
        ("nw", "ne", {"name": "Back Road", "alt_name": "Old Town Road", "ref": "VT 12"}),
        ("e", "ne", {"name": "Cross Road"}),
    ],
)


def place(town: Drawing, addresses: AddressTable, snap_max_ft: float = 1320.0) -> FrontageTable:
    return place_addresses(town.roads, town.limits, addresses, RoadRules(snap_max_ft=snap_max_ft), PlanRules())


@given(st.floats(-500, 1500), st.floats(-500, 700))
@settings(max_examples=50, deadline=None)
def test_a_placed_point_lies_on_its_stretch_at_the_gap_it_tells(east_m: float, north_m: float) -> None:
    lon, lat = lonlat(east_m, north_m)
    spot = place_points(TOWN.roads, TOWN.limits, np.array([lon]), np.array([lat]))
    assert 0.0 <= spot.fraction[0] <= 1.0
    straight_m = GEOD.inv(lon, lat, spot.lon[0], spot.lat[0])[2]
    assert spot.gap_ft[0] == pytest.approx(straight_m * FT_PER_M, rel=SCALE, abs=0.01)
    # by hand: distance to the three straight roads
    expected_m = min(
        math.hypot(east_m - min(max(east_m, 0), 1000), north_m),
        math.hypot(east_m - min(max(east_m, 0), 1000), north_m - 200),
        math.hypot(east_m - 1000, north_m - min(max(north_m, 0), 200)),
    )
    assert straight_m == pytest.approx(expected_m, rel=SCALE, abs=0.1)


def test_points_keep_to_the_stretches_asked_for() -> None:
    lon, lat = np.array([lonlat(300, 10)] * 3).T
    lon[2] = np.nan
    only_back = np.array([False, True, False])
    spot = place_points(TOWN.roads, TOWN.limits, lon, lat, usable=only_back)
    assert spot.segment.tolist() == [1, 1, -1]
    assert spot.fraction[0] == pytest.approx(0.3, abs=1e-4)
    assert spot.gap_ft[:2] == pytest.approx([190 * FT_PER_M] * 2, rel=SCALE)
    assert spot.gap_ft[2] == np.inf
    assert np.isnan(spot.lon[2])


def test_a_junction_belongs_to_the_first_of_its_stretches() -> None:
    lon, lat = np.array([lonlat(1100, -50)]).T
    assert place_points(TOWN.roads, TOWN.limits, lon, lat).segment.tolist() == [0]


def test_roads_closed_to_tankers_are_passed_over() -> None:
    town = draw(
        {"a": (0, 0), "b": (100, 0), "c": (0, 50), "d": (100, 50), "e": (0, 90), "f": (100, 90)},
        [("a", "b", {"highway": "path"}), ("c", "d", {}), ("e", "f", {})],
        limits={"forward_open": {1: False}, "backward_open": {1: False}},
    )
    lon, lat = np.array([lonlat(50, 0)]).T
    assert place_points(town.roads, town.limits, lon, lat).segment.tolist() == [2]


def test_no_usable_road_is_no_place() -> None:
    town = draw({"a": (0, 0), "b": (100, 0)}, [("a", "b", {"highway": "path"})])
    table = place(town, address_table([(0, 0)], driveway_ft=[70.0]))
    assert (table.segment[0], table.gap_ft[0], table.how[0], table.driveway_ft[0]) == (-1, np.inf, "", 70.0)


@pytest.mark.parametrize(
    ("street", "segment", "how"),
    [
        ("12 MAIN ST", 0, "named"),
        ("12 BACK RD", 1, "named"),
        ("OLD TOWN RD", 1, "named"),
        ("VT ROUTE 12", 1, "named"),
        ("STATE ROUTE 12", 1, "named"),
        ("12 BACK RD MILLRACE", 1, "named"),
        ("BACK RD N MILLRACE", 0, "nearest"),
        ("MAINE ST", 0, "nearest"),
        ("ELM ST", 0, "nearest"),
        ("", 0, "nearest"),
    ],
)
def test_the_road_of_the_name_comes_before_the_nearest(street: str, segment: int, how: str) -> None:
    table = place(TOWN, address_table([(400, 80)], [street]))
    assert (table.segment[0], table.how[0]) == (segment, how)
    gap_m = 80 if segment == 0 else 120
    assert table.gap_ft[0] == pytest.approx(gap_m * FT_PER_M, rel=SCALE)
    assert table.driveway_ft[0] == pytest.approx(1.3 * gap_m * FT_PER_M, rel=SCALE)
    assert table.fraction[0] == pytest.approx(0.4, abs=1e-4)


def test_a_name_far_off_gives_way_to_the_road_at_the_door() -> None:
    # 150 m from Main Street, 600 ft more is 333 m: Back Road at 500 m is too far; 250 m from Main it is not
    town = draw(
        {"a": (0, 0), "b": (1000, 0), "c": (0, 650), "d": (1000, 650)},
        [("a", "b", {"name": "Main Street"}), ("c", "d", {"name": "Back Road"})],
    )
    table = place(town, address_table([(500, 150), (500, 250)], ["9 BACK RD"] * 2), snap_max_ft=2000.0)
    assert table.how.tolist() == ["nearest", "named"]
    near_snap = place(town, address_table([(500, 250)], ["9 BACK RD"]), snap_max_ft=1300.0)
    assert near_snap.how.tolist() == ["nearest"]


def test_nobody_lives_on_a_motorway_unless_named_for_it() -> None:
    town = draw(
        {"a": (0, 0), "b": (1000, 0), "c": (0, 150), "d": (1000, 150)},
        [("a", "b", {"highway": "motorway", "ref": "I 89"}), ("c", "d", {"name": "Main Street"})],
    )
    table = place(town, address_table([(500, 20), (500, 20), (500, -390)], ["", "INTERSTATE 89 N", ""]))
    assert table.segment.tolist() == [1, 0, -1]


@pytest.mark.parametrize(
    ("highway", "snap_max_ft", "row"),
    [
        ("motorway", 1320.0, 1),
        ("trunk_link", 1320.0, 1),
        ("trunk", 1320.0, 0),  # an ordinary main road in much of the country
        ("motorway", 300.0, 0),  # the lane lies 328 ft off
    ],
)
def test_a_point_stands_on_a_motorway_only_where_no_other_road_is_near(
    highway: str, snap_max_ft: float, row: int
) -> None:
    """A fill site 10 m from a motorway and 100 m from the lane beside it."""
    nodes = {"a": (0.0, 0.0), "b": (1000.0, 0.0), "c": (0.0, 110.0), "d": (1000.0, 110.0)}
    town = draw(nodes, [("a", "b", {"highway": highway}), ("c", "d", {})])
    lon, lat = lonlat(500.0, 10.0)
    spot = place_points(town.roads, town.limits, np.array([lon]), np.array([lat]), snap_max_ft=snap_max_ft)
    assert spot.segment.tolist() == [row]


MILL = {"name": "Mill Road"}
BRIDGE = {**MILL, "bridge": "yes"}
RIVER = draw(
    {"w": (0, 0), "s": (500, 0), "t": (515, 0), "x": (530, 0), "e": (1000, 0), "n": (530, 300)},
    [("w", "s", MILL), ("s", "t", BRIDGE), ("t", "x", BRIDGE), ("x", "n", {"name": "Bank Road"}), ("x", "e", MILL)],
)
"""A bridge of two spans; the side road at its eastern end comes first in the table."""


@pytest.mark.parametrize(("east_m", "row", "share"), [(505.0, 0, 1.0), (512.0, 0, 1.0), (519.0, 4, 0.0)])
def test_nobody_fills_or_dumps_on_a_bridge(east_m: float, row: int, share: float) -> None:
    """A dry hydrant, and a house, beside a bridge stand at the end of it that is nearer, whatever the bridge bears."""
    lon, lat = lonlat(east_m, 8.0)
    spot = place_points(RIVER.roads, RIVER.limits, np.array([lon]), np.array([lat]))
    assert (spot.segment.tolist(), spot.fraction.tolist()) == ([row], [share])
    table = place(RIVER, address_table([(east_m, 8.0)] * 2, ["3 MILL RD", ""]))
    assert (table.segment.tolist(), table.fraction.tolist()) == ([row] * 2, [share] * 2)


def test_a_bridge_without_a_road_at_hand_keeps_its_points() -> None:
    """All that is mapped is a bridge, or the road before it is too far off."""
    lone = draw({"s": (0, 0), "t": (1000, 0), "w": (-500, 0)}, [("s", "t", BRIDGE), ("w", "s", MILL)])
    lon, lat = lonlat(500.0, 10.0)
    for usable in (np.array([True, False]), None):
        spot = place_points(lone.roads, lone.limits, np.array([lon]), np.array([lat]), usable=usable)
        assert spot.segment.tolist() == [0]


ROUND = {"junction": "roundabout", "oneway": "yes"}
RING: list[Road] = [("s", "e", ROUND), ("e", "n", ROUND), ("n", "s", {**ROUND, "via": [(-20, 20)]})]
RING_NODES = {"s": (0, 0), "e": (20, 20), "n": (0, 40), "south": (0, -300), "east": (400, 20)}


def test_nobody_fills_or_dumps_in_a_roundabout() -> None:
    """A place beside a ring stands on an arm, 20 m before it; where one road alone leads to the ring, on that."""
    arms: list[Road] = [("south", "s", {}), ("e", "east", {})]
    for roads, row, share in (([*RING, *arms], 3, 280 / 300), ([*RING, arms[0]], 2, None)):
        town = draw(RING_NODES, roads)
        lon, lat = lonlat(-25.0, 15.0)
        spot = place_points(town.roads, town.limits, np.array([lon]), np.array([lat]))
        table = place(town, address_table([(-25.0, 15.0)]))
        assert spot.segment.tolist() == table.segment.tolist() == [row]
        assert share is None or spot.fraction == table.fraction == pytest.approx(share, rel=SCALE)


def test_nobody_dumps_in_the_roundabout_that_a_driveway_leads_into() -> None:
    """Hose goes on from the driveway's mouth to an arm, 20 m before the ring; where one road leads there it ends."""
    driveway: Road = ("n", "home", {"highway": "service", "service": "driveway"})
    arms: list[Road] = [("south", "s", {}), ("e", "east", {})]
    nodes = {**RING_NODES, "home": (0, 140)}
    table = place(draw(nodes, [*RING, *arms, driveway]), address_table([(0.0, 140.0)]))
    assert (table.segment.tolist(), table.how.tolist()) == ([4], ["driveway"])
    assert table.fraction[0] == pytest.approx(20 / 380, rel=SCALE)
    hose_m = 100 + PlanRules().driveway_factor * np.hypot(40, 20)
    assert table.driveway_ft[0] == pytest.approx(hose_m * FT_PER_M, rel=SCALE)
    assert place(draw(nodes, [*RING, arms[0], driveway]), address_table([(0.0, 140.0)])).segment[0] < 3


@pytest.mark.parametrize(("east_m", "row", "at_m"), [(498.0, 0, 480.0), (505.0, 1, 520.0), (700.0, 1, 700.0)])
def test_nobody_stands_on_the_rails(east_m: float, row: int, at_m: float) -> None:
    """A railway crosses 500 m from the west."""
    town = draw(
        {"w": (0, 0), "x": (500, 0), "e": (1000, 0)}, [("w", "x", {}), ("x", "e", {})],
        node_tags={"x": {"railway": "level_crossing"}},
    )  # fmt: skip
    table = place(town, address_table([(east_m, 30.0)]))
    assert table.segment.tolist() == [row]
    assert 500.0 * (row + table.fraction[0]) == pytest.approx(at_m, rel=SCALE)


@pytest.mark.parametrize("tags", [{"highway": "trunk_link"}, {"tunnel": "yes"}])
def test_nobody_dumps_on_a_ramp_or_in_a_tunnel(tags: dict[str, str]) -> None:
    """Of a road whose name the address bears a piece is a ramp, or lies in a tunnel."""
    town = draw({"w": (0, 0), "x": (500, 0), "y": (560, 0)}, [("w", "x", MILL), ("x", "y", {**MILL, **tags})])
    table = place(town, address_table([(530.0, 8.0)], ["3 MILL RD"]))
    assert (table.segment.tolist(), table.fraction.tolist()) == ([0], [1.0])


def test_sides_follow_the_direction_of_the_stretch() -> None:
    table = place(TOWN, address_table([(400, 50), (400, -50), (1060, 100)]))
    assert table.side.tolist() == ["left", "right", "right"]


def test_farther_than_the_limit_is_off_the_roads() -> None:
    table = place(TOWN, address_table([(500, -402), (500, -403.5)], driveway_ft=[np.nan, 900.0]))
    assert table.segment.tolist() == [0, -1]
    assert table.gap_ft[1] == pytest.approx(403.5 * FT_PER_M, rel=SCALE)
    assert (table.how[1], table.side[1], table.dead_end[1]) == ("", "", False)
    assert table.driveway_ft[1] == 900.0
    assert np.isnan(table.lon[1])


# a driveway climbs from the middle of Main Street, bends, and ends 300 m north; Back Lane passes 40 m behind the house
FARM = draw(
    {"w": (0, 0), "m": (500, 0), "e": (1000, 0), "fork": (500, 200), "house": (600, 300), "barn": (400, 300),
     "bw": (0, 345), "be": (1000, 345)},
    [
        ("w", "m", {"name": "Main Street"}),
        ("m", "e", {"name": "Main Street"}),
        ("m", "fork", {"highway": "service", "service": "driveway"}),
        ("house", "fork", {"highway": "service", "service": "driveway"}),
        ("fork", "barn", {"highway": "service", "service": "driveway"}),
        ("bw", "be", {"name": "Back Lane"}),
    ],
)  # fmt: skip


def test_a_mapped_driveway_leads_to_where_it_meets_the_road() -> None:
    table = place(FARM, address_table([(605, 305), (390, 300), (500, 110)], ["1 MAIN ST", "2 MAIN ST", "3 MAIN ST"]))
    assert table.how.tolist() == ["driveway"] * 3
    assert table.segment.tolist() == [0, 0, 0]
    assert table.fraction.tolist() == [1.0, 1.0, 1.0]
    arm_m = math.hypot(100, 100)
    by_hand_m = [math.hypot(5, 5) + arm_m + 200, 10 + arm_m + 200, 110]
    assert table.driveway_ft == pytest.approx(np.array(by_hand_m) * FT_PER_M, rel=SCALE)
    assert table.gap_ft == pytest.approx(
        np.array([math.hypot(105, 305), math.hypot(110, 300), 110]) * FT_PER_M, rel=SCALE
    )
    spot = np.array(lonlat(500, 0))
    assert np.allclose([table.lon[0], table.lat[0]], spot, atol=1e-7)


def test_a_driveway_to_another_road_yields_to_the_road_of_the_name() -> None:
    table = place(FARM, address_table([(605, 305)], ["1 BACK LN"]))
    assert (table.how[0], table.segment[0]) == ("named", 5)
    assert table.gap_ft[0] == pytest.approx(40 * FT_PER_M, rel=SCALE)


def test_a_driveway_serves_an_address_whose_road_is_not_mapped() -> None:
    table = place(FARM, address_table([(605, 305), (605, 325)], ["1 ELM ST", "1 ELM ST"]))
    assert table.how.tolist() == ["driveway", "nearest"]


def test_a_driveway_that_reaches_no_usable_road_is_none() -> None:
    town = draw(
        {"a": (0, 0), "b": (500, 0), "c": (100, 50), "d": (100, 150)},
        [("a", "b", {"name": "Main Street"}), ("c", "d", {"highway": "service", "service": "driveway"})],
    )
    assert place(town, address_table([(105, 145)])).how.tolist() == ["nearest"]


def test_a_given_driveway_wins() -> None:
    table = place(FARM, address_table([(605, 305), (200, 30)], driveway_ft=[250.0, 90.0]))
    assert table.driveway_ft.tolist() == [250.0, 90.0]
    assert table.how.tolist() == ["driveway", "nearest"]


def test_a_private_track_is_a_driveway_and_an_open_path_is_not() -> None:
    for tags, how in (
        ({"highway": "track"}, "driveway"),
        ({"highway": "path", "access": "private"}, "driveway"),
        ({"highway": "path"}, "nearest"),
    ):
        town = draw(
            {"a": (0, 0), "m": (100, 0), "b": (500, 0), "c": (100, 150)},
            [("a", "m", {}), ("m", "b", {}), ("m", "c", tags)],
            limits={"tanker_road": {2: False}},
        )
        assert place(town, address_table([(110, 150)])).how.tolist() == [how]


def test_dead_ends_are_trees_without_loop_or_cut_end() -> None:
    town = draw(
        {"a": (0, 0), "b": (100, 0), "c": (100, 100), "d": (0, 100), "s": (200, 0), "t": (300, 0), "u": (300, 100),
         "x": (0, -100), "l": (-100, 0), "m": (-200, 50), "n": (-200, -50), "p": (0, 200)},
        [
            ("a", "b", {}), ("b", "c", {}), ("c", "d", {}), ("d", "a", {}),  # 0-3: a block
            ("b", "s", {}), ("s", "t", {}), ("s", "u", {}),  # 4-6: a tree of three
            ("a", "x", {}),  # 7: leaves the extract
            ("a", "l", {}), ("l", "m", {}), ("m", "n", {}), ("n", "l", {}),  # 8-11: a stem with a loop
            ("d", "p", {"highway": "path"}),  # 12: no road
            ("t", "u", {"highway": "path"}),  # 13: joins the tree's tips on foot only
        ],
        cut=["x"],
    )  # fmt: skip
    assert np.flatnonzero(find_dead_ends(town.roads, town.limits).on).tolist() == [4, 5, 6]
    table = place(town, address_table([(250, 10), (50, 10)]))
    assert table.dead_end.tolist() == [True, False]


def test_one_way_streets_do_not_make_dead_ends() -> None:
    town = draw(
        {"a": (0, 0), "b": (100, 0), "c": (50, 80)},
        [("a", "b", {"oneway": "yes"}), ("b", "c", {"oneway": "yes"}), ("c", "a", {"oneway": "yes"})],
    )
    assert not np.any(find_dead_ends(town.roads, town.limits).on)


def test_most_real_addresses_stand_at_the_road_of_their_name() -> None:
    """A real county, its streets as dispatch writes them: what cannot be named lies at roads that are not mapped."""
    with shared("districts", "vt_essex_south", "addresses.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    roads, _ = read_osm(shared("districts", "vt_essex_south", "roads.osm.bz2"))
    limits, _ = limits_of(roads, RoadRules())
    addresses = replace(
        address_table([(0, 0)] * len(rows), [row["street"] for row in rows]),
        lon=np.array([float(row["lon"]) for row in rows]),
        lat=np.array([float(row["lat"]) for row in rows]),
    )
    table = place_addresses(roads, limits, addresses, RoadRules(), PlanRules())
    on = table.segment >= 0
    assert 0 < np.sum(~on) < 0.1 * len(rows)
    assert np.mean(table.how[on] == "named") > 0.9
    spots = place_points(roads, limits, addresses.lon, addresses.lat)
    assert np.all(table.gap_ft[on] >= spots.gap_ft[on] - 1e-6)
    straight_m = GEOD.inv(addresses.lon[on], addresses.lat[on], table.lon[on], table.lat[on])[2]
    assert np.allclose(table.gap_ft[on], straight_m * FT_PER_M, rtol=SCALE, atol=0.01)


def test_a_stretch_without_length_has_a_place_all_the_same() -> None:
    """Two nodes at one position; its share was 0 / 0."""
    town = draw({"a": (0, 0), "b": (0, 0), "c": (500, 0)}, [("a", "b", {}), ("b", "c", {})])
    assert town.roads.length_m[0] == 0
    found = place_addresses(town.roads, town.limits, address_table([(-20.0, 0.0)], [""]), RoadRules(), PlanRules())
    assert found.segment.tolist() in ([0], [1])
    assert found.gap_ft == pytest.approx(20.0 * FT_PER_M, rel=0.01)
