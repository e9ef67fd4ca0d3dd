"""What stops a truck on a road: either side stays a road up to it, nobody passes, and hose does."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from preplan.records import RoadTable, TurnRestriction
from preplan.roads.barriers import barriers_of, on_foot, part_at_barriers
from preplan.roads.frontage import place_addresses
from preplan.roads.islands import without_islands
from preplan.roads.limits import limits_of
from preplan.roads.mouths import find_dead_ends
from preplan.rules import PlanRules, RoadRules
from tests.road_builder import Drawing, Road, address_table, draw
from tests.world_routes import ByLength

RULES = RoadRules()
BOLLARD = {"barrier": "bollard"}
# a square of 1 km a side; its south side is parted at m, 300 m from w and 700 m from e
NODES = {"w": (0, 0), "m": (300, 0), "e": (1000, 0), "ne": (1000, 1000), "nw": (0, 1000)}


def square(tags: Mapping[str, str], way: Mapping[str, str] | None = None) -> Drawing:
    """Draw the square with a thing at m; `way` adds to the tags of its south side."""
    south = {"highway": "tertiary", "name": "South Road", **(way or {})}
    sides: list[Road] = [("e", "ne", {}), ("ne", "nw", {}), ("nw", "w", {})]
    return draw(NODES, [("w", "m", south), ("m", "e", south), *sides], node_tags={"m": tags})


def parted(drawing: Drawing) -> RoadTable:
    return part_at_barriers(drawing.roads, RULES.bare_weight)[0]


def ways_m(roads: RoadTable, start: int, goal: int) -> float:
    return float(ByLength.of(roads).metres([start], [goal])[0, 0])


W, M, E = 1, 2, 3
"""OSM ids of the nodes."""


def test_both_sides_are_driven_up_to_a_bollard_and_nobody_past_it() -> None:
    """By hand: 300 m and 700 m to it from either end, and 3,000 m round the square from one end to the other."""
    roads = square(BOLLARD).roads
    assert ways_m(roads, W, E) == pytest.approx(3000.0, rel=1e-3)
    assert parted(square(BOLLARD)).node_id.tolist() == [1, 2, 3, 4, 5, M]
    assert limits_of(parted(square(BOLLARD)), RULES)[0].tanker_road.all()
    assert ways_m(square({}).roads, W, E) == pytest.approx(1000.0, rel=1e-3)


def test_a_road_that_a_bollard_parts_ends_there() -> None:
    """A lane off a ring: what is a through road without the bollard is two dead ends with it."""
    nodes = {**NODES, "mid": (300, 1000)}
    roads = [("w", "m", {}), ("m", "e", {}), ("e", "ne", {}), ("ne", "mid", {}), ("mid", "nw", {}), ("nw", "w", {}),
             ("m", "mid", {"name": "Lane"})]  # fmt: skip
    split = {**nodes, "post": (300, 500)}
    ways = [*roads[:-1], ("m", "post", {"name": "Lane"}), ("post", "mid", {"name": "Lane"})]
    for tags, ends in (({}, []), (BOLLARD, [6, 7])):
        town = draw(split, ways, node_tags={"post": tags})
        assert np.flatnonzero(find_dead_ends(parted(town), town.limits).on).tolist() == ends


def test_a_house_stands_on_its_own_side_of_a_bollard() -> None:
    """It is not moved to the next street for the 300 m of its own that a bollard ends."""
    roads = parted(square(BOLLARD))
    limits, _ = without_islands(roads, limits_of(roads, RULES)[0])
    homes = address_table([(150, 20), (600, 20)], ["1 South Road", "2 South Road"])
    assert place_addresses(roads, limits, homes, RULES, PlanRules()).segment.tolist() == [0, 1]


@pytest.mark.parametrize("tags", [{"barrier": "gate"}, {"barrier": "cattle_grid"}, {**BOLLARD, "emergency": "yes"}, {}])
def test_what_lets_a_truck_by_parts_nothing(tags: dict[str, str]) -> None:
    assert ways_m(square(tags).roads, W, E) == pytest.approx(1000.0, rel=1e-3)


def test_a_ford_parts_a_road_unless_its_bed_is_hard() -> None:
    """As on a way that is mapped as a ford."""
    assert ways_m(square({"ford": "yes"}).roads, W, E) == pytest.approx(3000.0, rel=1e-3)
    assert ways_m(square({"ford": "yes"}, {"surface": "gravel"}).roads, W, E) == pytest.approx(3000.0, rel=1e-3)
    assert ways_m(square({"ford": "yes"}, {"surface": "concrete"}).roads, W, E) == pytest.approx(1000.0, rel=1e-3)
    hard = square({"ford": "yes", "barrier": "block"}, {"surface": "concrete"})
    assert ways_m(hard.roads, W, E) == pytest.approx(3000.0, rel=1e-3)


def test_a_frame_with_its_height_is_a_limit_and_one_without_stops_a_tanker() -> None:
    frame = {"barrier": "height_restrictor"}
    assert ways_m(square(frame).roads, W, E) == pytest.approx(3000.0, rel=1e-3)
    assert parted(square({**frame, "maxheight": "9'6\""})).from_node.tolist() == [0, 1, 2, 3, 4]


def test_a_bollard_on_a_good_road_is_doubted() -> None:
    (problem,) = part_at_barriers(square(BOLLARD).roads, RULES.bare_weight)[1]
    assert (problem.code, problem.osm_id, problem.value) == ("good road closed", f"node {M}", "bollard")
    assert part_at_barriers(square(BOLLARD, {"highway": "service"}).roads, RULES.bare_weight)[1] == ()


def test_a_bollard_at_the_end_of_a_road_stops_nobody() -> None:
    town = draw({"a": (0, 0), "b": (500, 0)}, [("a", "b", {})], node_tags={"b": BOLLARD})
    roads, problems = part_at_barriers(town.roads, RULES.bare_weight)
    assert (roads.to_node.tolist(), len(roads.node_id), problems) == ([1], 2, ())


def test_a_bollard_drawn_on_a_junction_parts_the_lesser_road() -> None:
    nodes = {"a": (0, 0), "x": (500, 0), "b": (1000, 0), "side": (500, 300)}
    main = [("a", "x", {"highway": "tertiary"}), ("x", "b", {"highway": "tertiary"})]
    town = draw(nodes, [*main, ("x", "side", {"highway": "service"})], node_tags={"x": BOLLARD})
    roads, problems = part_at_barriers(town.roads, RULES.bare_weight)
    assert (roads.from_node.tolist(), problems) == ([0, 1, 4], ())
    assert ways_m(town.roads, 1, 3) == pytest.approx(1000.0, rel=1e-3)
    assert np.isinf(ways_m(town.roads, 1, 4))


def test_a_bollard_on_a_junction_of_equal_roads_is_only_reported() -> None:
    nodes = {"a": (0, 0), "x": (500, 0), "b": (1000, 0), "side": (500, 300)}
    town = draw(nodes, [("a", "x", {}), ("x", "b", {}), ("x", "side", {})], node_tags={"x": BOLLARD})
    roads, (problem,) = part_at_barriers(town.roads, RULES.bare_weight)
    assert roads.from_node.tolist() == [0, 1, 1]
    assert (problem.code, problem.osm_id) == ("barrier at a junction", "node 2")


def test_a_ring_that_begins_and_ends_at_its_gate_is_parted_on_both_sides() -> None:
    town = draw(
        {"a": (0, 0), "x": (500, 0)},
        [("a", "x", {}), ("x", "x", {"highway": "service", "via": [(600, 0), (600, 100), (500, 100)]})],
        node_tags={"x": {"barrier": "gate", "locked": "yes"}},
    )
    roads, _ = part_at_barriers(town.roads, RULES.bare_weight)
    assert (roads.from_node.tolist(), roads.to_node.tolist()) == ([0, 2], [1, 3])


def test_a_road_behind_a_gate_knows_it_and_the_roads_before_it_know_none() -> None:
    """A lane off the square, gated at its start, with a spur beyond; the square itself hangs on no barrier."""
    nodes = {**NODES, "gate": (-100, 0), "far": (-400, 0), "spur": (-400, 300)}
    lane: list[Road] = [("w", "gate", {}), ("gate", "far", {}), ("far", "spur", {})]
    sides: list[Road] = [("w", "e", {}), ("e", "ne", {}), ("ne", "nw", {}), ("nw", "w", {})]
    drawing = draw(nodes, [*lane, *sides], node_tags={"gate": {"barrier": "gate", "locked": "yes"}})
    roads = parted(drawing)
    found = barriers_of(roads, np.ones(len(roads), dtype=np.bool_))
    assert set(found) == {1, 2}
    ((node, on),) = found[2]
    assert (roads.node_id[node], on) == (drawing.node["gate"] + 1, 1)
    assert found[1] == found[2]
    assert barriers_of(parted(draw(nodes, [*lane, *sides])), np.ones(len(roads), dtype=np.bool_)) == {}


def test_hose_goes_past_a_locked_gate() -> None:
    """A private road of 200 m, its gate 50 m from the street: tankers stand at the street, hose goes 150 m on."""
    nodes = {"a": (0, 0), "j": (2000, 0), "b": (4500, 0), "gate": (2000, 50), "end": (2000, 200)}
    private = {"highway": "service", "name": "Private Way", "access": "private"}
    ways = [("a", "j", {"name": "Street"}), ("j", "b", {"name": "Street"}), ("j", "gate", private),
            ("gate", "end", private)]  # fmt: skip
    roads = parted(draw(nodes, ways, node_tags={"gate": {"barrier": "gate", "locked": "yes"}}))
    assert on_foot(roads).from_node.tolist() == [0, 1, 1, 3]
    limits, _ = without_islands(roads, limits_of(roads, RULES)[0])
    assert limits.tanker_road.tolist() == [True, True, True, False]
    home = address_table([(2000, 202)], ["9 Private Way"])
    front = place_addresses(roads, limits, home, RULES, PlanRules())
    assert (front.segment.tolist(), front.how.tolist()) == ([2], ["driveway"])
    assert front.driveway_ft == pytest.approx((150.0 + 2.0) / 0.3048, rel=1e-2)


def test_a_turn_restriction_at_a_barrier_still_holds_for_the_roads_that_meet() -> None:
    nodes = {"a": (0, 0), "x": (500, 0), "b": (1000, 0), "c": (500, -400), "side": (500, 300)}
    main = {"highway": "tertiary"}
    ways = [("a", "x", main), ("x", "b", main), ("x", "c", main), ("x", "side", {"highway": "service"})]
    banned = TurnRestriction(relation_id=9, kind="no_right_turn", from_way=101, to_way=103, via_node=2)
    town = draw(nodes, ways, node_tags={"x": BOLLARD}, restrictions=(banned,))
    assert ways_m(town.roads, 1, 3) == pytest.approx(1000.0, rel=1e-3)
    # round by the end of the road: 500 m on, 500 m back, then 400 m
    assert ways_m(town.roads, 1, 4) == pytest.approx(500.0 + 500.0 + 500.0 + 400.0, rel=1e-3)
