"""A county drawn at random: a rural road network of any size, posted bridges, one-way streets, addresses and sites.

It stands for no place. Roads follow a bent grid, of which a share is left out, so that roads and dead ends come as
they do in the country: 2.6 roads a junction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import minimum_spanning_tree

from preplan.records import FloatArray, IntArray, RoadTable, TurnRestriction, text_array
from preplan.roads.network import RoadNetwork, Vehicle, build_network
from preplan.roads.search import Fleet
from preplan.rules import RoadRules
from preplan.units import M_PER_MI, MIN_PER_HOUR
from tests.road_builder import permissive_limits

BLOCK_M = 500.0
ROADS_A_JUNCTION = 1.3
"""Each has two ends, so 2.6 meet at a junction."""
POSTED_LB = (16_000.0, 30_000.0, 40_000.0)
CUT_LB = (28_000.0, 38_000.0, 46_000.0)
"""Loaded weights of three cuts, above one, two or all of the postings."""
EMPTY_SHARE = 0.55


@dataclass(frozen=True)
class On:
    """Places on stretches."""

    segment: IntArray
    fraction: FloatArray


@dataclass(frozen=True)
class County:
    """A drawn county: fleets (loaded, empty) of each cut, the lightest first, and what stands on its roads."""

    network: RoadNetwork
    fleets: tuple[tuple[Fleet, Fleet], ...]
    free: Fleet
    addresses: On
    sites: On


def draw_county(
    junctions: int, addresses: int, sites: int, *, seed: int = 1, one_way: float = 0.01, posted: float = 0.003
) -> County:
    """Draw a county with about so many junctions; `one_way` and `posted` are shares of its roads."""
    rng = np.random.default_rng(seed)
    roads, main = _roads(junctions, rng)
    count = len(roads)
    limits = permissive_limits(roads)
    limits.backward_open[rng.random(count) < one_way] = False
    for lb in POSTED_LB:
        limits.max_lb[(rng.random(count) < posted / len(POSTED_LB)) & ~main] = lb
    network = build_network(roads, limits, RoadRules(), np.zeros(len(roads.node_id)))
    mph = np.where(main, 45.0, rng.choice([20.0, 25.0, 30.0, 35.0], count))
    minutes = np.repeat((roads.length_m / M_PER_MI / mph * MIN_PER_HOUR)[:, None], 2, axis=1)

    def seen_by(gross_lb: float) -> Fleet:
        vehicle = Vehicle(gross_lb=gross_lb, axle_lb=0.0, height_ft=0.0, width_ft=0.0, top_mph=60.0)
        return Fleet.of(network, limits, minutes, vehicle)

    def places(many: int) -> On:
        return On(rng.integers(0, count, many).astype(np.int32), rng.random(many))

    return County(
        network=network,
        fleets=tuple((seen_by(lb), seen_by(lb * EMPTY_SHARE)) for lb in CUT_LB),
        free=seen_by(0.0),
        addresses=places(addresses),
        sites=places(sites),
    )


def _roads(junctions: int, rng: np.random.Generator) -> tuple[RoadTable, np.ndarray]:
    """Draw the roads, and tell which are main roads."""
    side = max(2, round(junctions**0.5))
    column, row = np.meshgrid(np.arange(side), np.arange(side))
    number = np.arange(side * side).reshape(side, side)
    start = np.concatenate([number[:, :-1].ravel(), number[:-1].ravel()])
    end = np.concatenate([number[:, 1:].ravel(), number[1:].ravel()])
    main = np.concatenate([(row[:, :-1] % 12 == 0).ravel(), (column[:-1] % 12 == 0).ravel()])
    keep = _kept(side * side, start, end, main, rng)
    start, end, main = start[keep], end[keep], main[keep]
    east = (column.ravel() + rng.uniform(-0.3, 0.3, side * side)) * BLOCK_M
    north = (row.ravel() + rng.uniform(-0.3, 0.3, side * side)) * BLOCK_M
    lon, lat = -72.0 + east / 79_000.0, 44.0 + north / 111_000.0
    count, ends = len(start), np.column_stack([start, end]).ravel()
    length = np.hypot(east[start] - east[end], north[start] - north[end]) * rng.uniform(1.0, 1.4, count)
    return RoadTable(
        way_id=np.arange(count, dtype=np.int64),
        from_node=start.astype(np.int32),
        to_node=end.astype(np.int32),
        name=text_array([""] * count),
        ref=text_array([""] * count),
        highway=text_array(["unclassified"] * count),
        length_m=length,
        tag_row=np.zeros(count, dtype=np.int32),
        coord_start=(2 * np.arange(count + 1)).astype(np.int32),
        coord_lon=lon[ends],
        coord_lat=lat[ends],
        way_tags=({"highway": "unclassified"},),
        node_id=np.arange(side * side, dtype=np.int64),
        node_lon=lon,
        node_lat=lat,
        node_tags={},
        node_cut=np.zeros(side * side, dtype=np.bool_),
        restrictions=_restrictions(start, end, rng),
    ), main


def _kept(nodes: int, start: np.ndarray, end: np.ndarray, main: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Keep a random tree that joins all junctions, all main roads, and others up to the number wanted."""
    weight = np.where(main, 0.1, 1.0) * rng.uniform(0.5, 1.0, len(start))
    tree = minimum_spanning_tree(coo_array((weight, (start, end)), shape=(nodes, nodes))).tocoo()
    in_tree = np.isin(start * nodes + end, tree.row.astype(np.int64) * nodes + tree.col)
    order = np.argsort(np.where(in_tree, -1.0, weight), kind="stable")
    return np.sort(order[: max(int(ROADS_A_JUNCTION * nodes), int(in_tree.sum()))])


def _restrictions(start: np.ndarray, end: np.ndarray, rng: np.random.Generator) -> tuple[TurnRestriction, ...]:
    """Forbid some turns at junctions, and some through a short piece of road."""
    by_node: dict[int, list[int]] = {}
    for road in np.flatnonzero((start < 2000) & (end < 2000)).tolist():
        by_node.setdefault(int(start[road]), []).append(road)
        by_node.setdefault(int(end[road]), []).append(road)
    rules: list[TurnRestriction] = []
    for node, roads in list(by_node.items())[:400]:
        if len(roads) < 3 or rng.random() < 0.5:
            continue
        into, out = roads[0], roads[1]
        rules.append(
            TurnRestriction(
                relation_id=len(rules),
                kind="no_left_turn",
                from_way=into,
                to_way=out,
                via_node=node,
                via_ways=(),
                exempt=(),
            )
        )
        other = int(end[out] if start[out] == node else start[out])
        onward = [road for road in by_node.get(other, []) if road != out]
        if onward and rng.random() < 0.5:
            rules.append(
                TurnRestriction(
                    relation_id=len(rules),
                    kind="no_right_turn",
                    from_way=roads[2],
                    to_way=onward[0],
                    via_node=None,
                    via_ways=(out,),
                    exempt=(),
                )
            )
    return tuple(rules)
