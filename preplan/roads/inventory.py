"""Bridges of an inventory set on the bridges of the map: by the road they carry, and by place."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from preplan.records import BoolArray, BridgeTable, FloatArray, IntArray, Problem, RoadTable
from preplan.roads import access
from preplan.roads.projection import LineArray, road_lines, road_projection
from preplan.roads.road_names import same_road
from preplan.roads.street_names import loosen, normalise, road_keys
from preplan.units import M_PER_FT

NAMED_FT = 1000.0
"""A bridge that carries the road of the same name is looked for this far: inventories are coarse (this program's
careful choice)."""
ONE_BRIDGE_FT = 200.0
"""The other carriageway of a road is no farther from a bridge (this program's careful choice)."""
NAMELESS_FT = 200.0
"""A bridge whose names do not tell is taken from this near (this program's careful choice)."""


def match_bridges(roads: RoadTable, bridges: BridgeTable) -> tuple[IntArray, BoolArray, tuple[Problem, ...]]:
    """Find the inventory's bridge for every stretch of bridge on the map.

    The nearest pairs whose road names agree are joined first, within `NAMED_FT`, then the nearest at all, within
    `NAMELESS_FT`: inventories name many roads otherwise. A bridge of the inventory may be several stretches, of one
    road only. Where two of them carry the road of one bridge on the map, as its spans may, the weaker holds.

    Returns
    -------
    row
        (segments,) row of the inventory; -1: no bridge, or none found.
    named
        (segments,) the names agree; where not, the place alone speaks for it.
    problems
        The inventory's bridges inside the mapped area that no stretch of bridge was found for.
    """
    row_of, named = np.full(len(roads), -1, dtype=np.int32), np.zeros(len(roads), dtype=np.bool_)
    if not len(bridges) or not len(roads):
        return row_of, named, ()
    flat = road_projection(roads)
    points = np.asarray(shapely.points(*flat.forward(bridges.lon, bridges.lat)), dtype=np.object_)
    lines = road_lines(roads, flat)
    pairs, mine = _pairs(roads, bridges, points, lines), dict[int, list[int]]()
    at_node = _by_node(roads)
    for differ, _, row, at in pairs:
        if row_of[at] < 0 and row not in mine:
            mine[row] = _spans(roads, at_node, at, row_of)
            row_of[mine[row]], named[mine[row]] = row, not differ
    for differ, _, row, at in pairs:
        if row_of[at] < 0 and _beside(roads, lines, mine.get(row, []), at):
            row_of[at], named[at] = row, not differ
    share = [(row, at) for differ, metres, row, at in pairs if not differ and metres <= ONE_BRIDGE_FT * M_PER_FT]
    known_lb = rating_lb(bridges, np.arange(len(bridges), dtype=np.int32))
    for row, at in share:
        if row not in row_of and known_lb[row] < known_lb[row_of[at]]:
            row_of[row_of == row_of[at]] = row
    beside = {row: int(row_of[at]) for row, at in reversed(share)}  # the nearest last
    inside = shapely.intersects(shapely.box(*shapely.total_bounds(lines)), points)
    lost = np.flatnonzero(inside & ~np.isin(np.arange(len(bridges)), row_of)).tolist()
    return row_of, named, tuple(_lost(bridges, row, beside.get(row, -1)) for row in lost)


def rating_lb(bridges: BridgeTable, row: IntArray) -> FloatArray:
    """Give the operating rating of each stretch, (segments,) lb, inf where none is known; `row` as `match_bridges`."""
    known = np.append(bridges.operating_lb, np.nan)[row]
    return np.where(np.isnan(known), np.inf, known)


def barring_lb(bridges: BridgeTable, row: IntArray, *, obeyed: bool) -> FloatArray:
    """Give what holds trucks off each stretch, (segments,) lb: its rating, or where those are not `obeyed` 0 if closed.

    A bridge that its inventory has closed is no matter of ratings, so the rule that passes over those leaves it shut.
    """
    rated_lb = rating_lb(bridges, row)
    return rated_lb if obeyed else np.where(rated_lb > 0.0, np.inf, 0.0)


def _pairs(
    roads: RoadTable, bridges: BridgeTable, points: LineArray, lines: LineArray
) -> list[tuple[bool, float, int, int]]:
    """List bridges of the inventory and stretches of bridge that may be one, the surest first.

    Each is: names do not agree, metres between, row of the inventory, stretch.
    """
    stretches = np.flatnonzero(is_bridge(roads))
    tree = shapely.STRtree(lines[stretches])
    near, found = tree.query(points, predicate="dwithin", distance=NAMED_FT * M_PER_FT)
    far_m = shapely.distance(points[near], lines[stretches[found]])
    keys = [_keys(text) for text in bridges.road.tolist()]
    pairs = []
    for row, at, metres in zip(near.tolist(), stretches[found].tolist(), far_m.tolist(), strict=True):
        mine = road_keys(str(roads.name[at]), str(roads.ref[at]), roads.way_tags[roads.tag_row[at]])
        differ = keys[row].isdisjoint(mine | {loosen(key) for key in mine})
        if not differ or metres <= NAMELESS_FT * M_PER_FT:
            pairs.append((differ, metres, row, at))
    return sorted(pairs)


def _by_node(roads: RoadTable) -> Mapping[int, list[int]]:
    """List the stretches of bridge that begin or end at each node."""
    found: defaultdict[int, list[int]] = defaultdict(list)
    for at in np.flatnonzero(is_bridge(roads)).tolist():
        for node in (int(roads.from_node[at]), int(roads.to_node[at])):
            found[node].append(at)
    return found


def _spans(roads: RoadTable, at_node: Mapping[int, list[int]], first: int, row_of: IntArray) -> list[int]:
    """List a stretch of bridge and those of its road that go on from it, as far as no row has them."""
    spans = [first]
    for span in spans:  # it grows
        for node in (int(roads.from_node[span]), int(roads.to_node[span])):
            spans += [
                one for one in at_node[node] if one not in spans and row_of[one] < 0 and _one_road(roads, first, one)
            ]
    return spans


def _beside(roads: RoadTable, lines: LineArray, spans: Sequence[int], at: int) -> bool:
    """Tell whether a stretch of bridge may be the other carriageway of some spans of one row."""
    if not spans or not _one_road(roads, spans[0], at):
        return False
    return bool((shapely.distance(lines[list(spans)], lines[at]) <= ONE_BRIDGE_FT * M_PER_FT).any())


def _one_road(roads: RoadTable, one: int, other: int) -> bool:
    """Tell whether two stretches are of one road."""
    return bool(roads.way_id[one] == roads.way_id[other]) or same_road(roads, one, other)


def is_bridge(roads: RoadTable) -> BoolArray:
    """Mark the stretches of bridge, (segments,): whatever leaves nothing to fall through is none."""
    tagged = np.array([tags.get("bridge", "") not in access.BRIDGE_NOT for tags in roads.way_tags], dtype=np.bool_)
    return tagged[roads.tag_row] if len(tagged) else np.zeros(len(roads), dtype=np.bool_)


def _keys(carried: str) -> frozenset[str]:
    """Give the keys of what an inventory says that a bridge carries, exact and blurred."""
    keys = {normalise(part) for part in carried.replace("/", ";").split(";")} - {""}
    return frozenset(keys | {loosen(key) for key in keys})


def _lost(bridges: BridgeTable, row: int, beside: int) -> Problem:
    """Tell of a row without a stretch of its own; `beside`: the row that has the one which it could have had, or -1."""
    carries = f", carrying {bridges.road[row]}" if bridges.road[row] else ""
    rule = f"no stretch of bridge is mapped near it{carries}: perhaps a culvert; not used"
    if beside >= 0:
        rule = (
            f"only one bridge is mapped near it and {bridges.bridge_id[beside]}{carries}: the lower rating of the two "
            f"holds, that of {bridges.bridge_id[beside]}"
        )
    elif bridges.operating_lb[row] <= 0.0:
        rule = (
            f"is CLOSED by the inventory, but no stretch of bridge is mapped near it{carries}: trucks are sent over it "
            "unless closures.csv has a row closed for the road"
        )
    return Problem(
        code="bridge not on the map",
        osm_id="no way",
        key="bridge",
        value=str(bridges.bridge_id[row]),
        rule=rule,
        lon=float(bridges.lon[row]),
        lat=float(bridges.lat[row]),
    )
