"""Ways and their points -> stretches between breaks, as arrays: the one home of where a road is cut.

A stretch ends at a junction (a node that drivable ways use twice or more), at a way's end, at a gap where nodes
are missing, and at a node whose tags matter, so no limit is ever merged into its neighbour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from pyproj import Geod

from preplan.records import BoolArray, FloatArray, IdArray, IntArray, RoadTable, TextArray, TurnRestriction, text_array
from preplan.roads import access

ROAD_CLASSES = (
    "motorway", "trunk", "primary", "secondary", "tertiary", "motorway_link", "trunk_link", "primary_link",
    "secondary_link", "tertiary_link", "unclassified", "residential", "living_street", "road", "service", "track",
)  # fmt: skip
"""Values of `highway` that a motor vehicle may drive at all, the largest first; `limits` says where a tanker may."""
DRIVABLE = frozenset(ROAD_CLASSES)
"""The same as a set."""
_NODE_VALUES = {
    "highway": frozenset({
        "traffic_signals", "stop", "give_way", "turning_circle", "turning_loop", "mini_roundabout", "passing_place",
    }),
    "railway": frozenset({"level_crossing"}),
}  # fmt: skip
MERGED_WAYS = "osmid"
"""Key, beside a way's tags, of the ids of all ways that a saved graph has merged into one stretch; ';' between them."""
NODE_LIMITS = (
    "ford", *access.WEIGHT_KEYS, *access.AXLE_KEYS, *access.HEIGHT_KEYS, *access.WIDTH_KEYS,
    *access.LIMIT_CONDITIONAL_KEYS,
)  # fmt: skip
"""Keys of nodes that may hold a tanker up."""
_HARMLESS_BARRIERS = frozenset({"kerb", "no", "entrance"})
_WGS84 = Geod(ellps="WGS84")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """Drivable ways as the road data has them: points of all ways one after another."""

    way_id: IdArray
    tags: tuple[Mapping[str, str], ...]
    start: IntArray
    """First point of each way; one longer than the ways."""
    node_id: IdArray
    """Node of each point."""
    lon: FloatArray
    """Of each point; NaN where the extract does not hold the node."""
    lat: FloatArray
    node_tags: Mapping[int, Mapping[str, str]] = field(default_factory=dict)
    """Tags that matter, by OSM id of the node."""
    cut_nodes: frozenset[int] = frozenset()
    """OSM ids of nodes known to lie at the edge of the data."""


class _Points(NamedTuple):
    """Points that are kept, one row each."""

    way: IntArray
    node_id: IdArray
    lon: FloatArray
    lat: FloatArray
    first: BoolArray
    """True at the first point of a run of present points."""
    last: BoolArray
    cut: BoolArray
    """True where the way goes on into a missing node."""


def node_matters(tags: Mapping[str, str]) -> bool:
    """Tell whether a node with these tags breaks a road.

    >>> node_matters({"barrier": "gate"}), node_matters({"highway": "crossing"})
    (True, False)
    """
    barrier = tags.get("barrier")
    if barrier is not None and barrier not in _HARMLESS_BARRIERS:
        return True
    if any(tags.get(key) in values for key, values in _NODE_VALUES.items()):
        return True
    return any(key.split(":")[0] in NODE_LIMITS for key in tags)


def lengths_m(start: IntArray, lon: FloatArray, lat: FloatArray) -> FloatArray:
    """Measure lines on the WGS84 ellipsoid, metres; line r has points start[r] to start[r + 1], at least two."""
    if len(start) == 1:
        return np.empty(0)
    pieces = np.zeros(len(lon))
    pieces[:-1] = _WGS84.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])[2]
    pieces[start[1:] - 1] = 0.0
    return np.add.reduceat(pieces, start[:-1])


def road_table(ways: Ways, *, restrictions: tuple[TurnRestriction, ...] = (), newest: str = "") -> RoadTable:
    """Cut ways into stretches: rows in the order of the ways, nodes in the order of their ids."""
    points = _present_points(ways)
    first, last = _stretch_ends(points, ways.node_tags)
    counts = last - first + 1
    start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int32)
    # row numbers of the points of every stretch, ends included: an end belongs to both its stretches
    rows = np.arange(start[-1]) - np.repeat(start[:-1], counts) + np.repeat(first, counts)
    lon, lat = points.lon[rows], points.lat[rows]
    ends = np.concatenate([points.node_id[first], points.node_id[last]])
    node_id, position, inverse = np.unique(ends, return_index=True, return_inverse=True)
    at = np.concatenate([first, last])[position]
    cut_ids = np.concatenate([points.node_id[points.cut], np.array(sorted(ways.cut_nodes), dtype=np.int64)])
    tag_row, kept = _renumber(points.way[first])
    tags = tuple(ways.tags[way] for way in kept)
    index = {int(node): i for i, node in enumerate(node_id)}
    return RoadTable(
        way_id=ways.way_id[kept][tag_row],
        from_node=inverse[: len(first)].astype(np.int32),
        to_node=inverse[len(first) :].astype(np.int32),
        name=_column(tags, "name", tag_row),
        ref=_column(tags, "ref", tag_row),
        highway=_column(tags, "highway", tag_row),
        length_m=lengths_m(start, lon, lat),
        tag_row=tag_row,
        coord_start=start,
        coord_lon=lon,
        coord_lat=lat,
        way_tags=tags,
        node_id=node_id,
        node_lon=points.lon[at],
        node_lat=points.lat[at],
        node_tags={index[n]: ways.node_tags[n] for n in sorted(ways.node_tags) if n in index},
        node_cut=np.isin(node_id, cut_ids),
        restrictions=restrictions,
        newest=newest,
    )


def mark_cut(roads: RoadTable, node_cut: BoolArray) -> RoadTable:
    """Mark further nodes as the edge of the data; `node_cut` has one value a node."""
    return replace(roads, node_cut=roads.node_cut | node_cut)


def dead_ends(roads: RoadTable) -> BoolArray:
    """Tell for each node whether only one stretch ends there (a ring counts twice)."""
    degree = np.bincount(np.concatenate([roads.from_node, roads.to_node]), minlength=len(roads.node_id))
    return np.asarray(degree == 1, dtype=np.bool_)


def _present_points(ways: Ways) -> _Points:
    """Drop missing nodes and repeated points, and mark where runs of present points begin and end."""
    way = np.repeat(np.arange(len(ways.way_id), dtype=np.int32), np.diff(ways.start))
    repeated = np.zeros(len(way), dtype=np.bool_)
    repeated[1:] = (ways.node_id[1:] == ways.node_id[:-1]) & (way[1:] == way[:-1])
    way, node_id, lon, lat = way[~repeated], ways.node_id[~repeated], ways.lon[~repeated], ways.lat[~repeated]
    missing = np.isnan(lon) | np.isnan(lat)
    same = way[1:] == way[:-1]
    gap_before, gap_after = np.zeros(len(way), dtype=np.bool_), np.zeros(len(way), dtype=np.bool_)
    gap_before[1:] = same & missing[:-1]
    gap_after[:-1] = same & missing[1:]
    first, last = gap_before.copy(), gap_after.copy()
    first[1:] |= ~same
    last[:-1] |= ~same
    first[:1], last[-1:] = True, True
    cut = gap_before | gap_after
    here = ~missing
    return _Points(way[here], node_id[here], lon[here], lat[here], first[here], last[here], cut[here])


def _stretch_ends(points: _Points, node_tags: Mapping[int, object]) -> tuple[IntArray, IntArray]:
    """Find the first and last point of every stretch: rows of `points`."""
    _, inverse, uses = np.unique(points.node_id, return_inverse=True, return_counts=True)
    tagged = np.isin(points.node_id, np.fromiter(node_tags, dtype=np.int64, count=len(node_tags)))
    breaks = np.flatnonzero(points.first | points.last | (uses[inverse] >= 2) | tagged)
    inside = ~points.last[breaks[:-1]]
    return breaks[:-1][inside].astype(np.int32), breaks[1:][inside].astype(np.int32)


def _renumber(way: IntArray) -> tuple[IntArray, IntArray]:
    """Renumber the ways that have a stretch from 0, in their order: index of each stretch, ways kept."""
    kept, tag_row = np.unique(way, return_inverse=True)
    return tag_row.astype(np.int32), kept


def _column(tags: tuple[Mapping[str, str], ...], key: str, tag_row: IntArray) -> TextArray:
    """Give one tag of every stretch, '' where the way has none."""
    return text_array([one.get(key, "") for one in tags])[tag_row]
