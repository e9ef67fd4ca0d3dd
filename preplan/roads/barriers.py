"""Barriers that stop a truck part the road they stand on: either side is driven up to them, and nobody past them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from preplan.records import BoolArray, IntArray, Problem, RoadTable
from preplan.roads import access
from preplan.roads.node_limits import at_a_junction, is_end, node_effect, node_problem, stands_on, touching
from preplan.roads.posted import Trouble, posted
from preplan.roads.way_access import is_paved


def part_at_barriers(roads: RoadTable, bare_weight: str) -> tuple[RoadTable, tuple[Problem, ...]]:
    """Give each stretch that ends at a barrier an end of its own, in the same place, and report what is doubtful.

    Rows keep their places. A new node has the number, place and tags of the barrier's; it is an end of the road.
    A barrier at the end of a road parts nothing, and so does a ford with a hard bed. On a junction a barrier stands
    on the roads of the least class; where all are of one, nobody can tell.
    """
    from_node, to_node = roads.from_node.copy(), roads.to_node.copy()
    parted: list[int] = []
    problems: list[Problem] = []
    for node, rows in _stopped(roads, bare_weight):
        on = stands_on(roads, rows)
        trouble = at_a_junction(roads.node_tags[node]) if on is None else _good_road(roads, node, on)
        problems += [node_problem(roads, node, trouble)] if trouble else []
        for row in () if on is None else on.tolist():
            for column in (from_node, to_node):
                if column[row] == node:
                    column[row] = len(roads.node_id) + len(parted)
                    parted.append(node)
    new = np.array(parted, dtype=np.int32)
    own = {len(roads.node_id) + at: roads.node_tags[node] for at, node in enumerate(parted)}
    return replace(
        roads,
        from_node=from_node,
        to_node=to_node,
        node_id=np.concatenate([roads.node_id, roads.node_id[new]]),
        node_lon=np.concatenate([roads.node_lon, roads.node_lon[new]]),
        node_lat=np.concatenate([roads.node_lat, roads.node_lat[new]]),
        node_cut=np.concatenate([roads.node_cut, np.zeros(len(new), dtype=np.bool_)]),
        node_tags={**roads.node_tags, **own},
    ), tuple(problems)


def _stopped(roads: RoadTable, bare_weight: str) -> Iterator[tuple[int, IntArray]]:
    """Go through the nodes where no truck passes, with the stretches that end there."""
    for node, rows in touching(roads):
        tags = roads.node_tags[node]
        if node_effect(tags, posted(tags, bare_weight)) != access.CLOSED or is_end(roads, rows):
            continue
        hard_bed = "barrier" not in tags and all(is_paved(roads.way_tags[way]) for way in roads.tag_row[rows].tolist())
        if not hard_bed:
            yield node, rows


def _good_road(roads: RoadTable, node: int, on: IntArray) -> Trouble | None:
    """Doubt what parts a road that is seldom truly closed."""
    tags, highway = roads.node_tags[node], str(roads.highway[on[0]])
    if highway not in access.GOOD_ROADS:
        return None
    key = "barrier" if "barrier" in tags else "ford"
    return Trouble("good road closed", key, tags[key], f"parts a {highway} road for trucks: look whether it is right")


def on_foot(roads: RoadTable) -> RoadTable:
    """Join again what barriers part: hose and people go past them."""
    _, first, number = np.unique(roads.node_id, return_index=True, return_inverse=True)
    joined = first.astype(np.int32)[number]
    return replace(roads, from_node=joined[roads.from_node], to_node=joined[roads.to_node])


def barriers_of(roads: RoadTable, drivable: BoolArray) -> dict[int, tuple[tuple[int, int], ...]]:
    """Say which barriers part stretches from the district's roads: (node, stretch it stands on), by stretch.

    `drivable` masks the (segments,) that a truck could drive, shut or not. A piece is what they join; the longest of
    all is the district's own, and of no barrier.
    """
    rows, nodes = np.flatnonzero(drivable), len(roads.node_id)
    ends = (roads.from_node[rows], roads.to_node[rows])
    _, of_node = connected_components(csr_array((np.ones(len(rows)), ends), shape=(nodes, nodes)), directed=False)
    piece = of_node[ends[0]]
    _, place, times = np.unique(roads.node_id, return_inverse=True, return_counts=True)
    parting = times[place] > 1
    found: dict[int, list[tuple[int, int]]] = {}
    for side in ends:
        for at in np.flatnonzero(parting[side]).tolist():
            found.setdefault(int(piece[at]), []).append((int(side[at]), int(rows[at])))
    if len(rows):
        found.pop(int(np.bincount(piece, weights=roads.length_m[rows]).argmax()), None)
    mine = zip(rows.tolist(), piece.tolist(), strict=True)
    return {row: tuple(sorted({*found[one]})) for row, one in mine if one in found}
