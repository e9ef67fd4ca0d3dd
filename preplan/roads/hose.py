"""Hose along the roads from hydrants to addresses: which hydrant counts, and for how much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from preplan.plan_tables import FrontageTable, HydrantReach
from preplan.records import BoolArray, FeatureTable, FloatArray, HydrantTable, IntArray, RoadLimits, RoadTable
from preplan.roads.driveways import FOOT_HIGHWAYS, walk_graph
from preplan.roads.frontage import place_on_own_bank
from preplan.roads.places import Places
from preplan.rules import HydrantRules
from preplan.units import FT_PER_M, M_PER_FT


@dataclass(frozen=True, slots=True)
class _Best:
    """The best hydrant so far for each address: credited flow (0: none), then the shorter distance."""

    hydrant: IntArray
    distance_ft: FloatArray
    credited_gpm: FloatArray

    def offer(
        self,
        address: IntArray,
        hydrant: IntArray,
        distance_ft: FloatArray,
        flow_gpm: FloatArray | float,
        rules: HydrantRules,
    ) -> None:
        """Take a hydrant for each of some addresses, none named twice, where it is better; in place."""
        credited_gpm = np.minimum(flow_gpm, credit_gpm(distance_ft, rules))
        now_gpm, now_ft = self.credited_gpm[address], self.distance_ft[address]
        better = (credited_gpm > now_gpm) | ((credited_gpm == now_gpm) & (distance_ft < now_ft))
        better &= (credited_gpm > 0.0) & (distance_ft <= rules.reach_ft)
        self.hydrant[address[better]] = hydrant[better]
        self.distance_ft[address[better]] = distance_ft[better]
        self.credited_gpm[address[better]] = credited_gpm[better]


def hydrant_reach(
    roads: RoadTable,
    limits: RoadLimits,
    frontages: FrontageTable,
    hydrants: HydrantTable,
    rules: HydrantRules,
    features: FeatureTable,
) -> HydrantReach:
    """Find the hydrant that is credited most for each address.

    Distance runs from the hydrant to its road, along roads of any kind in either direction, for an engine lays
    hose both ways, and up the driveway; not over a road that the district closes, nor from a hydrant that wide water
    among `features` parts from every road near. A hydrant counts within `reach_ft`, for no more than its own flow and
    the credit of that distance.
    """
    count = len(frontages)
    best = _Best(np.full(count, -1, dtype=np.int32), np.full(count, np.inf), np.zeros(count))
    laid = ~np.isin(roads.highway.astype(str), FOOT_HIGHWAYS)
    spots, parted = place_on_own_bank(roads, limits, hydrants.lon, hydrants.lat, features, usable=laid)
    near = ~parted & (spots.segment >= 0) & (spots.gap_ft <= rules.reach_ft) & ~limits.shut[spots.segment]
    flow_gpm = np.where(np.isnan(hydrants.flow_gpm), rules.default_gpm, hydrants.flow_gpm)
    # what is never credited makes no difference, and fewer flows are fewer searches
    flow_gpm = np.minimum(flow_gpm, max(gpm for _, gpm in rules.credit))
    _same_stretch(best, roads, frontages, spots, _rows(near), flow_gpm, rules)
    graph = _graph(roads, _rows(laid & ~limits.shut), spots, _rows(near))
    on = _rows(frontages.segment >= 0)
    for flow in np.unique(flow_gpm[near])[::-1]:
        starts = len(roads.node_id) + np.flatnonzero(near & (flow_gpm == flow))
        limit_m = rules.reach_ft * M_PER_FT
        node_m, _, start = dijkstra(graph, indices=starts, min_only=True, limit=limit_m, return_predecessors=True)
        distance_ft, node = _from_nodes(roads, frontages, FT_PER_M * node_m, on)
        best.offer(on, start[node].astype(np.int32) - len(roads.node_id), distance_ft, float(flow), rules)
    none = best.credited_gpm == 0.0
    return HydrantReach(
        hydrant=best.hydrant,
        distance_ft=np.where(none, np.nan, best.distance_ft),
        credited_gpm=np.where(none, np.nan, best.credited_gpm),
    )


def credit_gpm(distance_ft: FloatArray, rules: HydrantRules) -> FloatArray:
    """Give the most that a hydrant is credited at a distance, gpm: 0 beyond the last step of the table.

    Examples
    --------
    >>> credit_gpm(np.array([0.0, 300.0, 301.0, 1000.0, 1001.0]), HydrantRules()).tolist()
    [1000.0, 1000.0, 670.0, 250.0, 0.0]
    """
    steps = np.array(sorted(rules.credit))
    credits_gpm = np.append(steps[:, 1], 0.0)
    return np.asarray(credits_gpm[np.searchsorted(steps[:, 0], distance_ft)], dtype=np.float64)


def _rows(mask: BoolArray) -> IntArray:
    return np.flatnonzero(mask).astype(np.int32)


def _graph(roads: RoadTable, laid: IntArray, spots: Places, hydrants: IntArray) -> csr_array:
    """Join road nodes both ways, and each hydrant, a node after the last, to the two ends of its stretch; metres."""
    nodes = len(roads.node_id)
    size = nodes + len(spots)
    streets = walk_graph(roads.from_node[laid], roads.to_node[laid], roads.length_m[laid], size)
    row = spots.segment[hydrants]
    to_start_m = spots.fraction[hydrants] * roads.length_m[row]
    to_road_m = spots.gap_ft[hydrants] * M_PER_FT
    doors = walk_graph(
        np.concatenate([hydrants, hydrants]) + nodes,
        np.concatenate([roads.from_node[row], roads.to_node[row]]),
        np.concatenate([to_road_m + to_start_m, to_road_m + roads.length_m[row] - to_start_m]),
        size,
    )
    # away from hydrants only: a way through one would pass its own stand-off twice
    return csr_array(streets + csr_array(doors * (np.arange(size) >= nodes)[:, None]))


def _from_nodes(
    roads: RoadTable, frontages: FrontageTable, node_ft: FloatArray, on: IntArray
) -> tuple[FloatArray, IntArray]:
    """Carry distances at nodes on to addresses: to either end of the stretch, along it, and up the driveway.

    Gives the feet, and the node at the nearer end.
    """
    row = frontages.segment[on]
    length_ft, fraction = roads.length_m[row] * FT_PER_M, frontages.fraction[on]
    from_start_ft = node_ft[roads.from_node[row]] + fraction * length_ft
    from_end_ft = node_ft[roads.to_node[row]] + (1.0 - fraction) * length_ft
    node = np.where(from_start_ft <= from_end_ft, roads.from_node[row], roads.to_node[row])
    return np.minimum(from_start_ft, from_end_ft) + frontages.driveway_ft[on], node


def _same_stretch(
    best: _Best,
    roads: RoadTable,
    frontages: FrontageTable,
    spots: Places,
    hydrants: IntArray,
    flow_gpm: FloatArray,
    rules: HydrantRules,
) -> None:
    """Offer each hydrant to the addresses on its own stretch, straight along it; in place."""
    order = np.argsort(frontages.segment, kind="stable").astype(np.int32)
    ordered = frontages.segment[order]
    first, last = (np.searchsorted(ordered, spots.segment[hydrants], side=side) for side in ("left", "right"))
    for hydrant, start, stop in zip(hydrants.tolist(), first.tolist(), last.tolist(), strict=True):
        address = order[start:stop]
        length_ft = float(roads.length_m[spots.segment[hydrant]]) * FT_PER_M
        along_ft = np.abs(frontages.fraction[address] - spots.fraction[hydrant]) * length_ft
        distance_ft = spots.gap_ft[hydrant] + along_ft + frontages.driveway_ft[address]
        best.offer(address, np.full_like(address, hydrant), distance_ft, float(flow_gpm[hydrant]), rules)
