"""The turn-aware network on hand-drawn roads: what may follow what, and what a turn costs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from preplan.records import FloatArray, TurnRestriction
from preplan.roads.access import SIGN_MIN
from preplan.roads.network import (
    JUNCTION_MIN,
    SHARP_TURN_MIN,
    UNLIMITED,
    RoadNetwork,
    Vehicle,
    build_network,
    states_for,
    vehicle_arcs,
)
from preplan.rules import RoadRules
from tests.road_builder import Drawing, Road, draw

CROSS = {"west": (-1000.0, 0.0), "mid": (0.0, 0.0), "east": (1000.0, 0.0), "north": (0.0, 1000.0)}
ROADS: list[Road] = [("west", "mid", {"way": 1}), ("mid", "east", {"way": 2}), ("mid", "north", {"way": 3})]


def network_of(drawing: Drawing, delay: FloatArray | None = None) -> RoadNetwork:
    """Build with default rules; nodes cost nothing to pass unless told."""
    nodes = len(drawing.roads.node_id)
    return build_network(drawing.roads, drawing.limits, RoadRules(), np.zeros(nodes) if delay is None else delay)


def turns(
    network: RoadNetwork, vehicle: Vehicle = UNLIMITED, drawing: Drawing | None = None
) -> dict[tuple[int, int], float]:
    """List the arcs a vehicle can take, with the minutes of the turn alone."""
    limits = (drawing or draw(CROSS, ROADS)).limits
    zero = np.zeros(network.states)
    arcs = vehicle_arcs(network, states_for(network, limits, vehicle), zero)
    return {(int(a), int(b)): float(m) for a, b, m in zip(arcs.start, arcs.to, arcs.minutes, strict=True)}


def test_turns_cost_what_the_junction_and_the_bearing_say() -> None:
    """Straight on at three roads costs the junction; a right angle adds the sharp turn; nobody turns in the road."""
    found = turns(network_of(draw(CROSS, ROADS)))
    assert found[0, 2] == pytest.approx(JUNCTION_MIN)
    assert found[0, 4] == pytest.approx(JUNCTION_MIN + SHARP_TURN_MIN)
    assert (0, 1) not in found


def test_a_sign_costs_once_where_its_road_is_entered() -> None:
    """Not for each of its stretches, which are as many as driveways were mapped; nor on the way out."""
    roads = [("west", "mid", {"way": 1}), ("mid", "east", {"way": 2}), ("mid", "north", {"way": 2})]
    town = draw(CROSS, roads)
    town.limits.signed[[1, 2]] = True
    plain, signed = turns(network_of(draw(CROSS, roads))), turns(network_of(town))
    dearer = {arc: signed[arc] - minutes for arc, minutes in plain.items()}
    assert dearer == pytest.approx({arc: SIGN_MIN if arc in {(0, 2), (0, 4)} else 0.0 for arc in plain})
    rules = replace(RoadRules(), travel="rule")
    by_rule = build_network(town.roads, town.limits, rules, np.zeros(len(town.roads.node_id)))
    assert turns(by_rule) == plain


def test_a_dead_end_turns_a_truck_round_and_a_mapped_place_does_it_sooner() -> None:
    """3.0 min at an unmapped dead end, 1.0 at a turning circle, never where the extract was cut."""
    rules = RoadRules()
    drawing = draw(CROSS, ROADS, cut=["west"], node_tags={"north": {"highway": "turning_circle"}})
    found = turns(network_of(drawing), drawing=drawing)
    assert found[2, 3] == rules.dead_end_turn_min
    assert found[4, 5] == rules.turning_place_min
    assert (1, 0) not in found


def test_restrictions_forbid_the_turn_they_name_and_only_rules_the_others() -> None:
    """no_left_turn removes one arc; only_straight_on leaves one."""
    no_left = TurnRestriction(relation_id=9, kind="no_left_turn", from_way=1, to_way=3, via_node=2)
    only = TurnRestriction(relation_id=10, kind="only_straight_on", from_way=2, to_way=1, via_node=2)
    plain = turns(network_of(draw(CROSS, ROADS)))
    found = turns(network_of(draw(CROSS, ROADS, restrictions=(no_left, only))))
    assert set(plain) - set(found) == {(0, 4), (3, 4)}


def test_a_posted_bridge_is_no_place_to_turn() -> None:
    """The way east is posted at 10 tons: a heavy truck may not drive it, and finds no turn in the road before it."""
    line = {"a": (0.0, 0.0), "b": (1000.0, 0.0), "c": (2000.0, 0.0)}
    drawing = draw(line, [("a", "b", {}), ("b", "c", {})], limits={"max_lb": {1: 20000.0}})
    network = network_of(drawing)
    heavy = Vehicle(gross_lb=42000.0, axle_lb=0.0, height_ft=0.0, width_ft=0.0, top_mph=60.0)
    assert set(turns(network, heavy, drawing)) == {(1, 0)}
    assert (0, 2) in turns(network, UNLIMITED, drawing)


def test_waiting_at_a_node_is_charged_to_every_turn_through_it() -> None:
    """A signal at the junction delays each arc through it by its own minutes."""
    drawing = draw(CROSS, ROADS)
    delay = np.zeros(4)
    delay[1] = 0.25
    slow, quick = turns(network_of(drawing, delay)), turns(network_of(drawing))
    assert slow[0, 2] == pytest.approx(quick[0, 2] + 0.25)


def test_every_limit_closes_a_road_to_what_exceeds_it() -> None:
    """Weight, axle, height and width each mask both directions of their stretch."""
    vehicle = Vehicle(gross_lb=30000.0, axle_lb=20000.0, height_ft=10.0, width_ft=8.0, top_mph=60.0)
    for name, low, high in [
        ("max_lb", 29999.0, 30000.0),
        ("max_axle_lb", 19999.0, 20000.0),
        ("max_height_ft", 9.9, 10.0),
        ("max_width_ft", 7.9, 8.0),
    ]:
        closed = draw(CROSS, ROADS, limits={name: {1: low}})
        held = draw(CROSS, ROADS, limits={name: {1: high}})
        assert states_for(network_of(closed), closed.limits, vehicle).tolist() == [True, True, False, False, True, True]
        assert states_for(network_of(held), held.limits, vehicle).all()
