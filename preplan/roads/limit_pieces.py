"""Limits that are mapped as points, and gates that are shut in some months -> short pieces of road of their own.

Only who passes the point is held by it: a house before a low bar is reached by every truck.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from preplan.records import BoolArray, FloatArray, IntArray, RoadTable
from preplan.roads import access
from preplan.roads.stretches import Ways, lengths_m
from preplan.roads.way_access import open_months

PIECE_M = 2.0
"""Length of a piece, at most: short, so that nobody lives on one (this program's choice)."""
_BEYOND = 1 << 62
"""Added to the OSM id of the point for that of the piece's other end: larger than any id."""
_LIMITS = frozenset(rule.key for rule in access.LIMIT_RULES)


def with_limit_pieces(ways: Ways) -> Ways:
    """Put a second point behind each that bears a limit or a gate with months, inside a way and on no junction."""
    _, inverse, uses = np.unique(ways.node_id, return_inverse=True, return_counts=True)
    holding = np.array([node for node, tags in ways.node_tags.items() if holds_who_passes(tags)], dtype=np.int64)
    inside = np.ones(len(ways.node_id), dtype=np.bool_)
    some = np.diff(ways.start) > 0
    inside[ways.start[:-1][some]] = inside[ways.start[1:][some] - 1] = False
    rows = np.flatnonzero(inside & (uses[inverse] == 1) & np.isin(ways.node_id, holding))
    ends = np.column_stack([rows, rows + 1]).ravel()
    gap_m = lengths_m(np.arange(0, len(ends) + 1, 2, dtype=np.int32), ways.lon[ends], ways.lat[ends])
    there = gap_m > 0.0  # false where a point is not in the file
    rows, gap_m = rows[there], gap_m[there]
    if not len(rows):
        return ways
    share = np.minimum(PIECE_M / gap_m, 0.5)

    def between(column: FloatArray) -> FloatArray:
        return np.insert(column, rows + 1, column[rows] + share * (column[rows + 1] - column[rows]))

    new = ways.node_id[rows] + _BEYOND
    return replace(
        ways,
        start=(ways.start + np.searchsorted(rows, ways.start)).astype(np.int32),
        node_id=np.insert(ways.node_id, rows + 1, new),
        lon=between(ways.lon),
        lat=between(ways.lat),
        node_tags={**ways.node_tags, **{node: {} for node in new.tolist()}},
    )


def holds_who_passes(tags: Mapping[str, str]) -> bool:
    """Tell whether a point bears a limit, or a gate that is shut in some months.

    >>> holds_who_passes({"maxheight:hgv": "3"}), holds_who_passes({"barrier": "gate"})
    (True, False)
    """
    return any(key.split(":")[0] in _LIMITS for key in tags) or gate_months(tags) is not None


def gate_months(tags: Mapping[str, str]) -> frozenset[int] | None:
    """Give the months in which what stands on a point lets vehicles by; None: all.

    >>> sorted(gate_months({"barrier": "gate", "access:conditional": "no @ (Nov-Apr)"}) or ())
    [5, 6, 7, 8, 9, 10]
    """
    return open_months(tags) if "barrier" in tags else None


def is_piece(roads: RoadTable) -> BoolArray:
    """Mark the stretches that are such pieces, (segments,)."""
    made = roads.node_id > _BEYOND >> 1  # below it itself where the point's id is negative
    ends: BoolArray = made[roads.to_node] & (roads.node_id[roads.from_node] == roads.node_id[roads.to_node] - _BEYOND)
    return ends


@dataclass(frozen=True, slots=True)
class Pieces:
    """The pieces of a table of roads."""

    piece: BoolArray
    """(segments,)."""
    points: frozenset[int]
    """OSM ids of the points that have one."""

    @classmethod
    def of(cls, roads: RoadTable) -> Pieces:
        """Find them."""
        piece = is_piece(roads)
        return cls(piece, frozenset(roads.node_id[roads.from_node[piece]].tolist()))

    def held(self, roads: RoadTable, node: int, rows: IntArray) -> IntArray:
        """Give those of the stretches at a node that its limit holds: its own piece, or all where it has none."""
        if int(roads.node_id[node]) in self.points:
            own: IntArray = rows[self.piece[rows] & (roads.from_node[rows] == node)]
            return own
        return rows
