"""The district's own closures: the strictest row holds wherever it stands, and a line takes its own road."""

from __future__ import annotations

import itertools
import math
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from preplan.errors import InputError
from preplan.records import ALL_MONTHS, Closure, RoadLimits, RoadTable
from preplan.roads.limits import limits_of
from preplan.roads.seasons import road_seasons
from preplan.rules import RoadRules
from tests.osm_text import OsmText, one_way_street, street

RULES = RoadRules()
SPRING, APRIL, JULY = frozenset({3, 4}), frozenset({4}), frozenset({7})
ROAD = {"highway": "tertiary"}


def closed(kind: str = "closed", name: str = "C1", **rest: Any) -> Closure:
    return Closure(closure_id=name, kind=kind, **rest)


def at(x_m: float, y_m: float) -> tuple[float, float]:
    """Give lon, lat of a place so many metres east and north of -72, 44: 111.32 km a degree at the equator."""
    return -72.0 + x_m / (111_320.0 * math.cos(math.radians(44.0))), 44.0 + y_m / 111_140.0


def drawn(*places_m: tuple[float, float], kind: str = "closed", **rest: Any) -> Closure:
    return closed(kind, line=tuple(at(*place) for place in places_m), file="closures.csv", row=2, **rest)


def network(folder: Path, nodes: dict[int, tuple[float, float]], ways: dict[int, list[int]]) -> RoadTable:
    """Read roads whose nodes are given in metres; way 10 is Mill Road, 11 Side Road."""
    text = OsmText()
    for node, place in nodes.items():
        text.node(node, *at(*place))
    for way, line in ways.items():
        text.way(way, line, {**ROAD, "name": {10: "Mill Road", 11: "Side Road"}.get(way, f"Road {way}")})
    return text.roads(folder)


def two_ways(folder: Path) -> RoadTable:
    """Rows 0 and 1: way 10, posted for 40,000 lb, west to east; row 2: way 11, further east."""
    text = street(4).way(10, [1, 2, 3], {**ROAD, "name": "Mill Road", "maxweight": "20 st"}).way(11, [3, 4], ROAD)
    return text.node(9, -71.999, 44.001).way(12, [2, 9], {"highway": "service"}).roads(folder)


def held(roads: RoadTable, *closures: Closure, months: frozenset[int] = ALL_MONTHS) -> RoadLimits:
    return limits_of(roads, RULES, closures, months)[0]


def shut(roads: RoadTable, *closures: Closure) -> set[int]:
    """Say which ways have a stretch that is closed."""
    return set(roads.way_id[~held(roads, *closures).tanker_road].tolist())


def fault(roads: RoadTable, *closures: Closure) -> str:
    with pytest.raises(InputError) as caught:
        held(roads, *closures)
    (finding,) = caught.value.findings
    return str(finding)


# ----------------------------------------------------------------------------------- what beats what


def test_of_two_limits_in_force_the_lower_holds_in_either_order(tmp_path: Path) -> None:
    """The last row of the table won: below a sign that stood all year the spring posting was lost."""
    roads = two_ways(tmp_path)
    spring = closed("max_lb", "C1", way_id=10, value=20000.0, months=SPRING)
    sign = closed("max_lb", "C2", way_id=10, value=60000.0)
    for rows in itertools.permutations((spring, sign)):
        assert held(roads, *rows, months=APRIL).max_lb[:3].tolist() == [20000.0, 20000.0, np.inf]
        # 60,000 lb of the district's replace the map's 40,000
        assert held(roads, *rows, months=JULY).max_lb[:3].tolist() == [60000.0, 60000.0, np.inf]


@pytest.mark.parametrize("kind", ["max_lb", "max_height_ft", "max_width_ft"])
def test_the_least_of_several_limits_holds(tmp_path: Path, kind: str) -> None:
    roads = two_ways(tmp_path)
    rows = [closed(kind, f"C{i}", way_id=10, value=value) for i, value in enumerate((12.0, 9.0, 11.0))]
    for some in itertools.permutations(rows):
        assert getattr(held(roads, *some), kind)[:2].tolist() == [9.0, 9.0]


def test_a_closed_road_is_closed_whatever_else_is_said_of_it(tmp_path: Path) -> None:
    roads = two_ways(tmp_path)
    rows = (closed("closed", "C1", way_id=10), closed("one_way", "C2", way_id=10), closed("max_lb", "C3", way_id=10))
    for some in itertools.permutations(rows):
        limits = held(roads, *some)
        assert not (limits.tanker_road | limits.forward_open | limits.backward_open)[:2].any()


def test_one_way_opens_nothing_that_the_map_shuts(tmp_path: Path) -> None:
    roads = one_way_street(tmp_path, {"winter_service": "no"})
    row = closed("one_way", way_id=10)
    for months, is_open in (({1}, False), ({7}, True)):
        limits = held(roads, row, months=frozenset(months))
        assert (bool(limits.forward_open[0]), bool(limits.backward_open[0])) == (is_open, False)


ROW = st.builds(
    closed,
    kind=st.sampled_from(["closed", "max_lb", "max_height_ft", "one_way"]),
    name=st.sampled_from(["C1", "C2", "C3"]),
    way_id=st.sampled_from([10, 11]),
    value=st.sampled_from([10.0, 12.0, 20000.0]),  # above 0: one-way rows run with the map and agree
    months=st.frozensets(st.integers(1, 12), min_size=1),
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(ROW, min_size=2, max_size=5), data=st.data(), month=st.integers(1, 12))
def test_the_order_of_the_table_decides_nothing(
    tmp_path: Path, rows: list[Closure], data: st.DataObject, month: int
) -> None:
    roads = two_ways(tmp_path)
    other = data.draw(st.permutations(rows))
    for months in (frozenset({month}), ALL_MONTHS):
        one, two = held(roads, *rows, months=months), held(roads, *other, months=months)
        for name in (field.name for field in fields(RoadLimits) if field.name != "closed"):
            np.testing.assert_array_equal(getattr(one, name), getattr(two, name), err_msg=name)


def test_two_rows_that_run_against_each_other_are_a_fault(tmp_path: Path) -> None:
    roads = two_ways(tmp_path)
    east = closed("one_way", "C1", way_id=10, file="closures.csv", row=2, months=frozenset({4, 5, 6}))
    west = closed("one_way", "C2", way_id=10, file="closures.csv", row=3, months=frozenset({6, 7}), value=-1.0)
    said = (
        "closures.csv row 3 (C2), column kind: 'one_way' runs against row 2 (C1) on Mill Road in June; take one of "
        "the two out, turn it with the value -1, or give each months of its own; closed shuts a road both ways"
    )
    assert fault(roads, east, west) == fault(roads, west, east) == said
    with pytest.raises(InputError):  # in months that are not planned too: all faults are told at once
        held(roads, east, west, months=APRIL)
    other_way = replace(west, way_id=11)
    assert held(roads, east, other_way).forward_open[:3].tolist() == [True, True, False]


def test_one_way_may_turn_with_the_months(tmp_path: Path) -> None:
    roads = two_ways(tmp_path)
    rows = (
        closed("one_way", "C1", way_id=10, months=APRIL),
        closed("one_way", "C2", way_id=10, months=JULY, value=-1.0),
    )
    for some in itertools.permutations(rows):
        found = {min(one.months): one.limits for one in road_seasons(roads, RULES, some, ALL_MONTHS)[0]}
        open_to = {month: (bool(one.forward_open[0]), bool(one.backward_open[0])) for month, one in found.items()}
        assert open_to == {1: (True, True), 4: (True, False), 7: (False, True)}


def test_months_that_are_alike_are_one_season_where_a_closure_has_several_stretches(tmp_path: Path) -> None:
    """Comparing the stretches of a closure raised: a conditional posting that changes nothing stopped the build."""
    tags = {**ROAD, "maxweight": "5 st", "maxweight:conditional": "6 st @ (Mar-May)"}
    text = street(3).node(9, -71.999, 44.001).way(10, [1, 2, 3], tags).way(11, [2, 9], ROAD)
    row = closed("max_height_ft", way_id=10, value=10.0)
    assert len(road_seasons(text.roads(tmp_path), RULES, (row,), ALL_MONTHS)[0]) == 1


@pytest.mark.parametrize("line_m", [((150.0, 5.0),), ((20.0, 5.0), (280.0, 5.0))])
def test_what_a_closure_lies_on_does_not_depend_on_the_month(
    tmp_path: Path, line_m: tuple[tuple[float, float]]
) -> None:
    """In months when nobody ploughs the road, the posting fell on the next road: 60 m beside it."""
    text = OsmText().node(1, *at(0, 0)).node(2, *at(300, 0)).node(3, *at(0, 60)).node(4, *at(300, 60))
    text.way(10, [1, 2], {**ROAD, "winter_service": "no"}).way(11, [3, 4], ROAD)
    roads = text.roads(tmp_path)
    for month in (1, 7):
        limits = held(roads, drawn(*line_m, kind="max_lb", value=9000.0), months=frozenset({month}))
        assert limits.max_lb.tolist() == [9000.0, np.inf]


# ------------------------------------------------------------------------------- what a line runs along

#  Mill Road runs east through junctions at 0, 500 and 1,000 m; at 500 m others leave it
JUNCTIONS = {1: (0.0, 0.0), 2: (500.0, 0.0), 3: (1000.0, 0.0)}


@pytest.mark.parametrize("off_m", [-15.0, -8.0, 0.0, 8.0, 15.0])
@pytest.mark.parametrize(
    "end", [(500.0, 1000.0), (500.0, 60.0), (594.0, 34.2), (782.0, 102.6), (1440.0, 342.0), (406.0, 34.2)]
)
def test_a_line_does_not_take_the_side_roads_that_it_passes(
    tmp_path: Path, end: tuple[float, float], off_m: float
) -> None:
    """Side roads of 60 to 1,000 m that leave at 90 and 20 degrees: a line 15 m off ran nearer to them for a while."""
    roads = network(tmp_path, {**JUNCTIONS, 4: end}, {10: [1, 2, 3], 11: [2, 4]})
    line = drawn((0.0, off_m), (1000.0, off_m))
    limits, problems = limits_of(roads, RULES, (line,))
    assert limits.tanker_road.tolist() == [False, False, True]
    assert problems == ()


def test_a_line_that_turns_into_the_side_road_takes_that(tmp_path: Path) -> None:
    roads = network(tmp_path, {**JUNCTIONS, 4: (500.0, 300.0)}, {10: [1, 2, 3], 11: [2, 4]})
    limits = held(roads, drawn((5.0, 5.0), (495.0, 5.0), (495.0, 290.0)))
    assert limits.tanker_road.tolist() == [False, True, False]


@pytest.mark.parametrize(("end_m", "takes"), [(520.0, 1), (590.0, 2)])
def test_a_line_takes_a_stretch_that_it_ends_on_unless_by_a_slip(tmp_path: Path, end_m: float, takes: int) -> None:
    """Of 120 and 190 m drawn, 20 and 90 m lie on the second stretch: under and over a third."""
    roads = network(tmp_path, {**JUNCTIONS, 4: (500.0, 90.0)}, {10: [1, 2, 3], 11: [2, 4]})
    assert held(roads, drawn((400.0, 3.0), (end_m, 3.0))).tanker_road.tolist() == [False, takes == 1, True]


def test_a_line_that_takes_much_more_than_is_drawn_is_told_by_road(tmp_path: Path) -> None:
    # 200 m on each of two roads of 2,000 and 1,000 m: 0.25 of 1.24 and 0.62 miles
    roads = network(
        tmp_path, {1: (0, 0), 2: (2000, 0), 3: (3000, 0), 4: (2000, 90)}, {10: [1, 2], 11: [2, 3], 12: [2, 4]}
    )
    limits, problems = limits_of(roads, RULES, (drawn((1800.0, 3.0), (2200.0, 3.0), kind="max_lb", value=9000.0),))
    assert np.isfinite(limits.max_lb).tolist() == [True, True, False]
    (told,) = problems
    assert (told.code, told.key, told.value) == ("long closure", "closure", "C1 (max_lb)"), (
        "max_lb = 2 reads as a limit"
    )
    assert told.rule == (
        "limits 1.2 mi of Mill Road, 0.6 mi of Side Road for 0.2 mi drawn: a road is taken from junction to junction"
    )


def test_a_line_over_a_bridge_takes_the_bridge(tmp_path: Path) -> None:
    """A bridge of 40 m, drawn with 10 m more at either end."""
    nodes = {1: (0.0, 0.0), 2: (500.0, 0.0), 3: (540.0, 0.0), 4: (1000.0, 0.0)}
    roads = network(tmp_path, nodes, {10: [1, 2], 12: [2, 3], 13: [3, 4]})
    for off_m in (0.0, 4.0):
        assert shut(roads, drawn((490.0, off_m), (550.0, off_m))) == {12}
    assert shut(roads, drawn((514.0, 0.0), (526.0, 0.0))) == {12}


def test_a_short_stretch_askew_between_two_that_are_taken_is_taken_too(tmp_path: Path) -> None:
    """A bridge of 30 m at 40 degrees to the road: the line was drawn straight on."""
    nodes = {1: (0.0, 0.0), 2: (300.0, 0.0), 3: (323.0, 19.3), 4: (700.0, 19.3)}
    roads = network(tmp_path, nodes, {10: [1, 2], 12: [2, 3], 13: [3, 4]})
    assert shut(roads, drawn((0.0, 5.0), (700.0, 15.0))) == {10, 12, 13}


@pytest.mark.parametrize(("y_m", "ways"), [(0.0, {10}), (6.0, {10, 11}), (12.0, {11})])
def test_a_line_between_two_carriageways_takes_both(tmp_path: Path, y_m: float, ways: set[int]) -> None:
    nodes = {1: (0.0, 0.0), 2: (400.0, 0.0), 3: (400.0, 12.0), 4: (0.0, 12.0)}
    roads = network(tmp_path, nodes, {10: [1, 2], 11: [3, 4]})
    assert shut(roads, drawn((10.0, y_m), (390.0, y_m))) == ways


@pytest.mark.parametrize(
    ("line_m", "ways"),
    [
        (((250.0, -4.0), (250.0, 4.0)), {10}),  # across the road
        (((248.0, 3.0), (250.0, 3.0)), {10}),  # a few feet along it
        (((492.0, 8.0), (508.0, 8.0)), {11}),  # across the mouth of a side road, along the other
        (((500.0, 20.0), (500.0, 40.0)), {11}),
        (((250.0, 5.0), (250.0, 5.0)), {10}),  # of no length: a point
    ],
)
def test_a_line_of_a_few_feet_means_the_road_that_it_crosses_or_lies_on(
    tmp_path: Path, line_m: tuple[tuple[float, float], ...], ways: set[int]
) -> None:
    roads = network(tmp_path, {**JUNCTIONS, 4: (500.0, 200.0)}, {10: [1, 2], 12: [2, 3], 11: [2, 4]})
    assert shut(roads, drawn(*line_m)) == ways


def test_a_short_line_across_both_carriageways_takes_both(tmp_path: Path) -> None:
    nodes = {1: (0.0, 0.0), 2: (400.0, 0.0), 3: (400.0, 12.0), 4: (0.0, 12.0)}
    roads = network(tmp_path, nodes, {10: [1, 2], 11: [3, 4]})
    assert shut(roads, drawn((200.0, -4.0), (200.0, 16.0))) == {10, 11}


def test_a_line_that_runs_along_no_road_is_a_fault(tmp_path: Path) -> None:
    roads = network(tmp_path, {1: (0.0, 0.0), 2: (500.0, 0.0)}, {10: [1, 2]})
    said = fault(roads, drawn((250.0, -80.0), (250.0, 80.0)))
    assert said == (
        "closures.csv row 2 (C1), column geometry: '-71.9969, 43.9993 to -71.9969, 44.0007' runs along no road for "
        "tankers; the nearest is Mill Road, which it does not follow; draw it along the road it closes, or give a "
        "point on that road or its way_id"
    )
    far = fault(roads, drawn((0.0, 200.0), (500.0, 200.0)))  # 200 m = 656 ft
    assert "column geometry" in far
    assert "lies 656 ft from the nearest road for tankers, over 300 ft; draw it along" in far


@pytest.mark.parametrize(("degrees", "follows"), [(20.0, True), (40.0, False)])
def test_a_line_at_a_slant_follows_a_road_up_to_30_degrees(tmp_path: Path, degrees: float, *, follows: bool) -> None:
    """160 m about the middle of a road of 500 m, within 55 m of it."""
    roads = network(tmp_path, {1: (0.0, 0.0), 2: (500.0, 0.0)}, {10: [1, 2]})
    x_m, y_m = 80.0 * math.cos(math.radians(degrees)), 80.0 * math.sin(math.radians(degrees))
    line = drawn((250.0 - x_m, -y_m), (250.0 + x_m, y_m))
    if follows:
        assert shut(roads, line) == {10}
    else:
        assert "runs along no road" in fault(roads, line)


def test_a_part_of_a_line_that_leads_nowhere_is_told(tmp_path: Path) -> None:
    """500 m on the road and 300 m on across the fields: what is farther than 300 ft, 91 m, from the road's end."""
    roads = network(tmp_path, {1: (0.0, 0.0), 2: (500.0, 0.0)}, {10: [1, 2]})
    limits, problems = limits_of(roads, RULES, (drawn((0.0, 0.0), (800.0, 0.0)),))
    assert not limits.tanker_road[0]
    # 300 - 91 = 209 m = 0.13 mi
    assert [(one.code, one.rule) for one in problems] == [
        ("part of a closure", "closes nothing along 0.13 mi of its line")
    ]


# ------------------------------------------------------------------------------- points on two roads at once


def carriageways(folder: Path, **second: str) -> RoadTable:
    """Two carriageways 20 m apart, way 10 to the east and way 12 back to the west, and a road across their ends."""
    text = OsmText()
    for node, place in {1: (0.0, 0.0), 2: (900.0, 0.0), 3: (0.0, 20.0), 4: (900.0, 20.0)}.items():
        text.node(node, *at(*place))
    text.way(10, [1, 2], {**ROAD, "name": "Mill Road", "oneway": "yes"})
    text.way(12, [4, 3], {**ROAD, "name": "Mill Road", "oneway": "yes", **second})
    return text.way(13, [1, 3], {**ROAD, "name": "Cross Road"}).roads(folder)


@pytest.mark.parametrize("kind", ["closed", "max_lb"])
def test_a_point_on_one_carriageway_takes_both_and_says_so(tmp_path: Path, kind: str) -> None:
    """A bridge out, or a posting, at a place: tankers came back over the other side of it."""
    limits, problems = limits_of(carriageways(tmp_path), RULES, (drawn((450.0, 1.0), kind=kind, value=24000.0),))
    taken = ~limits.tanker_road if kind == "closed" else limits.max_lb == 24000.0
    assert taken.tolist() == [True, True, False]
    assert [one.code for one in problems] == ["long closure", "both carriageways"]
    assert "both carriageways of Mill Road" in problems[1].rule


@pytest.mark.parametrize("second", [{"name": "Other Road"}, {"oneway": "no"}, {"oneway": "-1"}])
def test_a_point_takes_no_neighbour_that_is_no_other_carriageway(tmp_path: Path, second: dict[str, str]) -> None:
    limits = held(carriageways(tmp_path, **second), drawn((450.0, 1.0)))
    assert limits.tanker_road.tolist() == [False, True, True]


def test_a_way_or_a_direction_is_that_of_one_carriageway(tmp_path: Path) -> None:
    roads = carriageways(tmp_path)
    assert held(roads, closed(way_id=10)).tanker_road.tolist() == [False, True, True]
    limits = held(roads, drawn((450.0, 1.0), kind="one_way", value=-1.0))
    assert limits.backward_open.tolist() == [True, False, True]


@pytest.mark.parametrize(("x_m", "y_m"), [(500.0, 0.0), (502.0, 2.0), (497.0, 3.0)])
def test_a_point_on_a_junction_means_no_road_and_is_a_fault(tmp_path: Path, x_m: float, y_m: float) -> None:
    """One arm was shut, by the order of the road file."""
    roads = network(tmp_path, {**JUNCTIONS, 4: (500.0, 90.0)}, {10: [1, 2, 3], 11: [2, 4]})
    with pytest.raises(InputError) as caught:
        held(roads, drawn((x_m, y_m)))
    (fault,) = caught.value.findings
    assert fault.rule == "is as near to Mill Road as to Side Road: one of them is meant"
    assert held(roads, drawn((480.0, 0.0))).tanker_road.tolist() == [False, True, True]
    assert held(roads, drawn((500.0, 20.0))).tanker_road.tolist() == [True, True, False]


# ------------------------------------------------------------------------------------- which way a line leads


@pytest.mark.parametrize(("value", "with_map"), [(None, False), (-1.0, True)])
@pytest.mark.parametrize("line_m", [((1000.0, 5.0), (0.0, 5.0)), ((300.0, -5.0), (100.0, -5.0))])
def test_a_line_gives_the_direction_on_the_way_that_is_named_beside_it(
    tmp_path: Path, line_m: tuple[tuple[float, float], ...], value: float | None, *, with_map: bool
) -> None:
    """The way's own direction held, and a line drawn against it was read for its distance alone."""
    roads = network(tmp_path, {**JUNCTIONS, 4: (500.0, 90.0)}, {10: [1, 2, 3], 11: [2, 4]})
    limits = held(roads, drawn(*line_m, kind="one_way", way_id=10, value=value))
    assert limits.forward_open.tolist() == [with_map, with_map, True]
    assert limits.backward_open.tolist() == [not with_map, not with_map, True]


def test_a_point_beside_a_way_leaves_its_direction(tmp_path: Path) -> None:
    roads = network(tmp_path, JUNCTIONS, {10: [1, 2, 3]})
    limits = held(roads, drawn((250.0, 5.0), kind="one_way", way_id=10))
    assert (bool(limits.forward_open[0]), bool(limits.backward_open[0])) == (True, False)


@pytest.mark.parametrize("way_id", [None, 10])
@pytest.mark.parametrize(
    "line_m",
    [
        ((250.0, -4.0), (250.0, 4.0)),
        ((100.0, 4.0), (300.0, 4.0), (300.0, -4.0), (100.0, -4.0)),
        ((100.0, 2.0), (300.0, 2.0), (100.0, 2.0)),
    ],
)
def test_a_line_without_a_direction_makes_no_road_one_way(
    tmp_path: Path, line_m: tuple[tuple[float, float], ...], way_id: int | None
) -> None:
    roads = network(tmp_path, JUNCTIONS, {10: [1, 2, 3]})
    said = fault(roads, drawn(*line_m, kind="one_way", way_id=way_id))
    assert said.startswith("closures.csv row 2 (C1), column geometry: '-71.99")
    assert said.endswith(
        "' gives no direction on Mill Road: it runs across it, or both along it and back; draw it along the road in "
        "the direction of traffic, one row for each direction"
    )


def test_a_limit_of_the_district_stands_for_a_posting_that_cannot_be_read(tmp_path: Path) -> None:
    road = {**ROAD, "maxheight": "low", "maxweight": "see sign"}
    roads = street(2).way(10, [1, 2], road).roads(tmp_path)
    assert held(roads).unread == {0: {"max_height_ft", "max_lb"}}
    assert held(roads, closed("max_height_ft", way_id=10, value=11.0)).unread == {0: {"max_lb"}}
    both = [closed(kind, kind, way_id=10, value=11.0) for kind in ("max_height_ft", "max_lb")]
    assert held(roads, *both).unread == {}
