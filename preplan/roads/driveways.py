"""Ways that hose and people follow and tankers do not: mapped driveways from a house out to a tanker's road."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from preplan.records import BoolArray, FloatArray, IntArray, RoadLimits, RoadTable

FOOT_HIGHWAYS = ("footway", "path", "steps", "cycleway", "bridleway", "pedestrian", "corridor")
"""Values of `highway` that are no road (OpenStreetMap wiki, Key:highway)."""
_DRIVEWAY_HIGHWAYS = ("service", "track")
_LEAST_M = 1e-6
"""Least weight of an edge: a sparse matrix cannot hold a zero and mean it."""


@dataclass(frozen=True, slots=True)
class WaysOut:
    """The shortest way from each node along driveways to a tanker's road; arrays over nodes."""

    length_m: FloatArray
    """inf where no driveway leads out."""
    exit_node: IntArray
    """Node on the tanker's road, -1 where there is none."""


def driveways(roads: RoadTable, limits: RoadLimits) -> BoolArray:
    """Mark the driveways, private service roads and tracks, and private paths that are no tanker's road.

    Returns
    -------
    BoolArray
        Shape (segments,).
    """
    private = np.array([tags.get("access") == "private" for tags in roads.way_tags], dtype=np.bool_)
    vehicle = np.isin(roads.highway.astype(str), _DRIVEWAY_HIGHWAYS)
    foot = np.isin(roads.highway.astype(str), FOOT_HIGHWAYS)
    return ~limits.tanker_road & (vehicle | (foot & private[roads.tag_row]))


def ways_out(roads: RoadTable, driveway: BoolArray, usable: BoolArray, *, limit_m: float) -> WaysOut:
    """Walk from every tanker's road into the driveways at once, up to `limit_m`, and remember where each came from."""
    touches = np.zeros((2, len(roads.node_id)), dtype=np.bool_)
    for mark, chosen in zip(touches, (driveway, usable), strict=True):
        mark[roads.from_node[chosen]] = True
        mark[roads.to_node[chosen]] = True
    exits = np.flatnonzero(touches[0] & touches[1])
    nobody = np.full(len(roads.node_id), -1, dtype=np.int32)
    if not exits.size:
        return WaysOut(np.full(len(nobody), np.inf), nobody)
    graph = walk_graph(roads.from_node[driveway], roads.to_node[driveway], roads.length_m[driveway], len(roads.node_id))
    length_m, _, source = dijkstra(graph, indices=exits, min_only=True, limit=limit_m, return_predecessors=True)
    reached = np.isfinite(length_m)
    return WaysOut(length_m, np.where(reached, source, nobody).astype(np.int32))


def walk_graph(start: IntArray, end: IntArray, length_m: FloatArray, nodes: int) -> csr_array:
    """Join nodes both ways by the shortest of their parallel edges, metres; shape (nodes, nodes)."""
    tail, head = np.concatenate([start, end]), np.concatenate([end, start])
    weight = np.maximum(np.concatenate([length_m, length_m]), _LEAST_M)
    order = np.lexsort((weight, head, tail))
    tail, head, weight = tail[order], head[order], weight[order]
    first = np.ones(len(tail), dtype=np.bool_)
    first[1:] = (tail[1:] != tail[:-1]) | (head[1:] != head[:-1])
    return csr_array((weight[first], (tail[first], head[first])), shape=(nodes, nodes))
