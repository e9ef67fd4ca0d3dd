"""Dead ends and the junctions on the way out of them: places where tankers may stop and hose goes on along the road."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from preplan.plan_tables import FrontageTable
from preplan.records import AddressTable, BoolArray, Columns, FloatArray, IntArray, RoadLimits, RoadTable
from preplan.roads.places import NO_FRONTAGE, Ground, no_stand
from preplan.units import FT_PER_M

_JOIN = 3
"""Stretches that meet at a junction, at least."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadEnds:
    """The dead-end trees of the roads and the way out of each."""

    on: BoolArray
    """(segments,) the stretch belongs to a dead-end tree."""
    inner: IntArray
    """(segments,) node at the end that leads out; -1 off the trees, and where a whole piece of road is one tree."""
    onward: IntArray
    """(nodes,) stretch of a tree by which one goes on outward; -1 elsewhere, such as at a mouth."""


def find_dead_ends(roads: RoadTable, limits: RoadLimits) -> DeadEnds:
    """Take stretches with a free end away, again and again until none is left: those are the dead-end trees.

    Where the extract was cut the road goes on outside, so that is no free end. Roads that no tanker uses do not count.
    """
    rows = np.flatnonzero(limits.usable)
    on = np.zeros(len(roads), dtype=np.bool_)
    inner = np.full(len(roads), -1, dtype=np.int32)
    onward = np.full(len(roads.node_id), -1, dtype=np.int32)
    while rows.size:
        start, end = roads.from_node[rows], roads.to_node[rows]
        free = (np.bincount(np.concatenate([start, end]), minlength=len(onward)) == 1) & ~roads.node_cut
        loose = free[start] | free[end]
        if not np.any(loose):
            break
        gone = rows[loose]
        out, leaf = np.where(free[start], end, start)[loose], np.where(free[start], start, end)[loose]
        on[gone], inner[gone], onward[leaf] = True, np.where(free[out], -1, out), gone
        rows = rows[~loose]
    return DeadEnds(on=on, inner=inner, onward=onward)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mouths(Columns):
    """Junctions on the way out of dead ends, as places on the road: several an address."""

    address: IntArray
    segment: IntArray
    """A stretch that goes on from the junction, away from the dead end."""
    fraction: FloatArray
    """0 or 1: the end of the stretch at the junction."""
    along_ft: FloatArray
    """Hose along the road from the junction to the frontage."""


def mouths_within(roads: RoadTable, limits: RoadLimits, frontages: FrontageTable, reach_ft: FloatArray) -> Mouths:
    """List the junctions between each dead-end frontage and the through road, the nearest first.

    Parameters
    ----------
    frontages
        Where the tankers of each address would dump.
    reach_ft
        (addresses,) hose left for the road; below zero or NaN: none.
    """
    trees, usable = find_dead_ends(roads, limits), limits.usable
    ends = np.concatenate([roads.from_node[usable], roads.to_node[usable]])
    joins = np.bincount(ends, minlength=len(roads.node_id)) >= _JOIN
    through = _through_stretch(roads, limits, trees)
    address = np.flatnonzero((frontages.segment >= 0) & frontages.dead_end & (reach_ft >= 0.0)).astype(np.int32)
    segment = frontages.segment[address]
    node = trees.inner[segment]
    share = frontages.fraction[address]
    along_ft = np.where(roads.from_node[segment] == node, share, 1.0 - share) * roads.length_m[segment] * FT_PER_M
    found: list[tuple[IntArray, IntArray, FloatArray]] = []
    while len(address):
        go = (node >= 0) & (along_ft <= reach_ft[address])
        address, node, along_ft = address[go], node[go], along_ft[go]
        here = joins[node]
        found.append((address[here], node[here], along_ft[here]))
        ahead = trees.onward[node]
        go = ahead >= 0
        address, ahead, along_ft = address[go], ahead[go], along_ft[go]
        node, along_ft = trees.inner[ahead], along_ft + roads.length_m[ahead] * FT_PER_M
    address, node, along_ft = (np.concatenate([part[i] for part in found] or [np.empty(0)]) for i in range(3))
    address, node = address.astype(np.int32), node.astype(np.int32)
    segment = np.where(trees.onward[node] >= 0, trees.onward[node], through[node])
    stands = np.flatnonzero(segment >= 0)
    stands = stands[np.lexsort((along_ft[stands], address[stands]))]
    segment, node = segment[stands], node[stands]
    return Mouths(
        address=address[stands],
        segment=segment.astype(np.int32),
        fraction=np.where(roads.from_node[segment] == node, 0.0, 1.0),
        along_ft=along_ft[stands],
    )


def beyond_mouth(trees: DeadEnds, frontage: int, mouth: int) -> list[int]:
    """List the stretches from a frontage's, on a dead-end tree, out to the junction that is a mouth of it, a node."""
    found, node = [frontage], int(trees.inner[frontage])
    while node not in (mouth, -1) and trees.onward[node] >= 0:
        found.append(int(trees.onward[node]))
        node = int(trees.inner[found[-1]])
    return found


def _through_stretch(roads: RoadTable, limits: RoadLimits, trees: DeadEnds) -> IntArray:
    """Pick for each node a stretch of a through road on which tankers stand, the best for heavy ones; -1: none.

    None of those where nobody stands while there is another.
    """
    may = limits.usable & ~trees.on & ~np.isin(roads.highway.astype(str), NO_FRONTAGE)
    rows = np.flatnonzero(may)
    both_ways = limits.forward_open[rows] & limits.backward_open[rows]
    order = rows[np.lexsort((rows, no_stand(roads)[rows], -limits.max_lb[rows], ~both_ways))][::-1]
    best = np.full(len(roads.node_id), -1, dtype=np.int32)
    # of several values put in one place the last stays: the best comes last
    best[np.column_stack([roads.from_node[order], roads.to_node[order]]).ravel()] = np.repeat(order, 2)
    return best


def moved_to(
    roads: RoadTable,
    limits: RoadLimits,
    addresses: AddressTable,
    frontages: FrontageTable,
    mouths: Mouths,
    chosen: IntArray,
) -> FrontageTable:
    """Move the dump sites of some addresses to junctions; `chosen` are rows of `mouths`, one an address at most."""
    rows, segment, fraction = mouths.address[chosen], mouths.segment[chosen], mouths.fraction[chosen]
    ground = Ground.of(roads, addresses.lon[rows], addresses.lat[rows])
    places = ground.places(segment, fraction)

    def put(column: FloatArray, values: FloatArray) -> FloatArray:
        column = column.copy()
        column[rows] = values
        return column

    ends = frontages.segment.copy()
    side, dead_end = frontages.side.copy(), frontages.dead_end.copy()
    ends[rows], side[rows] = segment, ground.sides(segment, fraction)
    dead_end[rows] = find_dead_ends(roads, limits).on[segment]
    return replace(
        frontages,
        segment=ends,
        fraction=put(frontages.fraction, fraction),
        lon=put(frontages.lon, places.lon),
        lat=put(frontages.lat, places.lat),
        driveway_ft=put(frontages.driveway_ft, frontages.driveway_ft[rows] + mouths.along_ft[chosen]),
        gap_ft=put(frontages.gap_ft, places.gap_ft),
        side=side,
        dead_end=dead_end,
        along_ft=put(frontages.along_ft, mouths.along_ft[chosen]),
    )
