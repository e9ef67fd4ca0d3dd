"""Pieces of road that join no others: a tanker never gets there, so nothing is placed on them.

A car park mapped without its entrance, a road behind a track that no tanker can use, a corner of a clipped
extract. A fire station or an address beside one stands at the next road that leads somewhere.

What lies behind a road that the district itself closes, or a bridge that the map says is closed, is no such piece: its
houses are cut off, and must not be served from a road across the river whose bridge is out.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from preplan.records import BoolArray, Problem, RoadLimits, RoadTable
from preplan.roads.inventory import is_bridge
from preplan.roads.way_access import bears_a_tanker
from preplan.units import M_PER_MI

ISLAND_MI = 2.0
"""Pieces of tanker road shorter than this in all lead nowhere (this program's careful choice)."""


def without_islands(roads: RoadTable, limits: RoadLimits) -> tuple[RoadLimits, tuple[Problem, ...]]:
    """Close the islands to tankers and list them, a problem each; the longest piece of all is never one."""
    usable = limits.usable
    if not usable.any():
        return limits, ()
    nodes, joining = len(roads.node_id), usable | limits.shut | _closed_bridges(roads)
    ends = (roads.from_node[joining], roads.to_node[joining])
    joins = csr_array((np.ones(joining.sum()), ends), shape=(nodes, nodes))
    count, piece = connected_components(joins, directed=False)
    of_stretch = piece[roads.from_node]
    miles = np.bincount(of_stretch[usable], weights=roads.length_m[usable] / M_PER_MI, minlength=count)
    small = (miles < ISLAND_MI) & (np.arange(count) != miles.argmax())
    island: BoolArray = usable & small[of_stretch]
    rows = np.flatnonzero(island)
    _, first = np.unique(of_stretch[rows], return_index=True)
    problems = tuple(_problem(roads, int(rows[at]), float(miles[of_stretch[rows[at]]])) for at in np.sort(first))
    return replace(limits, tanker_road=limits.tanker_road & ~island), problems


def _closed_bridges(roads: RoadTable) -> BoolArray:
    """Mask the bridges that a truck would drive but for a sign: a driveway's or a track's are none."""
    bears = np.array([bears_a_tanker(tags) for tags in roads.way_tags], dtype=np.bool_)
    return is_bridge(roads) & bears[roads.tag_row]


def _problem(roads: RoadTable, row: int, miles: float) -> Problem:
    """Tell one island by its first stretch."""
    at = roads.coord_start[row]
    return Problem(
        code="joins no road",
        osm_id=f"way {roads.way_id[row]}",
        key="highway",
        value=str(roads.highway[row]),
        rule=f"{miles:.2f} mi of road that no tanker reaches from the others: not used, look at the map",
        lon=float(roads.coord_lon[at]),
        lat=float(roads.coord_lat[at]),
    )
