"""What a leg takes at least, for every fill site and address: one small search a site over the bare junctions.

The bound forgets directions, one-way streets and which way a truck turns: a stretch takes the least of all vehicles
and both directions, a junction half of the least that passing it can cost from each side. So it is never above a leg
that a truck drives, out or back, and in the country seldom far below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components, dijkstra

from preplan.records import BoolArray, FloatArray, IntArray
from preplan.roads.network import TINY_MIN
from preplan.roads.search import Fleet, Spots

ROUNDING = 1e-6
"""Relative, and in minutes: sums in another order or single precision, and the least weights of arcs, come to less."""
FARTHEST_MIN = 3000.0
"""No leg is as long: a search that goes beyond has no limit."""
FIRST_REACH, FARTHER = 2.0, 1.5
"""How far sites are looked for at first, as a multiple of the farthest way to a nearest one, and how much farther then
(speed only, no result)."""
BEYOND_SHARE, BEYOND_MIN = 1.15, 5.0
"""How far beyond the sites that were asked for others are told apart (speed only, no result)."""
PIECE_SITES = 16

FloatArray32 = npt.NDArray[np.float32]
Count = tuple[int, BoolArray]
"""So many sites of those in a mask (sites,)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LegBounds:
    """What no way of any vehicle undercuts, minutes."""

    leg_min: FloatArray32
    """(sites, addresses) between the two; inf where no road joins them."""
    junction_min: FloatArray32
    """(sites, nodes) between the site and either side of a junction, passing it not counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Skeleton:
    """The roads as a bare graph of junctions."""

    stretch_min: FloatArray
    """(stretches,) least minutes to drive it; inf where nobody may."""
    half_pass_min: FloatArray
    """(nodes,) half of the least that passing it costs."""
    ends: IntArray
    """(stretches, 2) nodes: behind and ahead of a drive with the stretch."""

    @classmethod
    def of(cls, fleets: Sequence[Fleet]) -> _Skeleton:
        """Take the least of all fleets, stretch by stretch and junction by junction."""
        network = fleets[0].network
        head = network.head
        least = np.full(network.states, np.inf)
        turn = np.full(int(head.max(initial=-1)) + 1, np.inf)
        for fleet in fleets:
            np.minimum(least, np.where(fleet.usable, fleet.state_min, np.inf), out=least)
            left = network.base[fleet.arcs.start]
            np.minimum.at(turn, head[left], fleet.arcs.minutes - fleet.state_min[left])
        return cls(
            stretch_min=least.reshape(-1, 2).min(axis=1),
            half_pass_min=np.where(np.isfinite(turn), np.maximum(turn, 0.0), 0.0) / 2.0,
            ends=np.column_stack([head[1::2], head[0::2]]),
        )

    def to_ends(self, spots: Spots) -> tuple[IntArray, FloatArray]:
        """Give the nodes at both ends of each spot's stretch, and the least minutes to them; inf off the roads."""
        row = spots.state[:, 0] >> 1
        # the share behind in one direction is that ahead in the other
        share = np.nan_to_num(spots.driven, nan=0.0)
        whole = np.where(np.isnan(spots.driven[:, 0]), np.inf, self.stretch_min[row])[:, None]
        with np.errstate(invalid="ignore"):
            part = np.where(np.isfinite(whole), whole * share, np.inf)
        return self.ends[row], part + self.half_pass_min[self.ends[row]]

    def graph(self, sites: Spots) -> csr_array:
        """Pack junctions, then a row for each site, as a sparse matrix."""
        nodes, count = len(self.half_pass_min), len(sites.state)
        one, other = self.ends.T
        minutes = self.stretch_min + self.half_pass_min[one] + self.half_pass_min[other]
        hung, to_end = self.to_ends(sites)
        row = np.concatenate([one, other, np.repeat(np.arange(nodes, nodes + count), 2)])
        column = np.concatenate([other, one, hung.ravel()])
        weight = np.concatenate([minutes, minutes, to_end.ravel()])
        keep = np.isfinite(weight)
        row, column, weight = row[keep], column[keep], np.maximum(weight[keep], TINY_MIN)
        # Of parallel roads the quickest counts; a sparse matrix would add them up.
        order = np.lexsort((weight, column, row))
        row, column, weight = row[order], column[order], weight[order]
        first = np.ones(len(row), dtype=np.bool_)
        first[1:] = (row[1:] != row[:-1]) | (column[1:] != column[:-1])
        place = (row[first].astype(np.int32), column[first].astype(np.int32))
        return coo_array((weight[first], place), shape=(nodes + count,) * 2).tocsr()


def leg_bounds(fleets: Sequence[Fleet], sites: Spots, dumps: Spots, counts: Sequence[Count]) -> LegBounds:
    """Bound the legs of all of the fleets from below.

    Sites are told apart until each address has so many of them as `counts` ask for, and somewhat farther.
    """
    skeleton = _Skeleton.of(fleets)
    graph = skeleton.graph(sites)
    joined = _joined(graph, skeleton, sites, dumps)
    reach = FIRST_REACH * _farthest(skeleton, graph, sites, dumps) + BEYOND_MIN
    while True:
        legs, junctions = _legs(skeleton, graph, sites, dumps, reach)
        if reach == np.inf or _enough(legs, joined, counts, (reach - BEYOND_MIN) / BEYOND_SHARE):
            legs[~joined] = np.inf
            return LegBounds(leg_min=legs, junction_min=junctions)
        reach = FARTHER * reach if reach < FARTHEST_MIN else np.inf


def _farthest(skeleton: _Skeleton, graph: csr_array, sites: Spots, dumps: Spots) -> float:
    """Tell how far the nearest site is from an address at most."""
    nodes = len(skeleton.half_pass_min)
    far = dijkstra(graph, indices=nodes + np.arange(len(sites.state)), min_only=True)[:nodes]
    ends, part = skeleton.to_ends(dumps)
    nearest = (far[ends] + part).min(axis=1)
    return float(nearest.max(initial=0.0, where=np.isfinite(nearest)))


def _enough(legs: FloatArray32, joined: BoolArray, counts: Sequence[Count], reach: float) -> bool:
    """Tell whether every address has so many sites within reach as it can have."""
    for count, among in counts:
        there = joined[among]
        if np.any(((legs[among] < reach) & there).sum(axis=0) < np.minimum(count, there.sum(axis=0))):
            return False
    return True


def _legs(
    skeleton: _Skeleton, graph: csr_array, sites: Spots, dumps: Spots, reach: float
) -> tuple[FloatArray32, FloatArray32]:
    """Search from every site to addresses and junctions; what is farther than `reach` minutes reads as `reach`."""
    nodes, count = len(skeleton.half_pass_min), len(sites.state)
    ends, part = skeleton.to_ends(dumps)
    legs = np.full((count, len(part)), _careful(reach), dtype=np.float32)
    junctions = np.empty((count, nodes), dtype=np.float32)
    for first in range(0, count, PIECE_SITES):
        some = np.arange(first, min(first + PIECE_SITES, count))
        far_from = dijkstra(graph, indices=nodes + some, limit=reach)[:, :nodes]
        junctions[some] = _careful(np.minimum(far_from, reach) - skeleton.half_pass_min)
        for k, far in zip(some.tolist(), far_from, strict=True):
            near = np.flatnonzero(np.isfinite(far[ends[:, 0]]) | np.isfinite(far[ends[:, 1]]))
            through = np.minimum(far[ends[near, 0]] + part[near, 0], far[ends[near, 1]] + part[near, 1])
            legs[k, near] = _careful(np.minimum(through, reach))
            same = np.flatnonzero(dumps.state[:, 0] == sites.state[k, 0])
            along = np.abs(dumps.driven[same, 0] - sites.driven[k, 0]) * skeleton.stretch_min[sites.state[k, 0] >> 1]
            legs[k, same] = np.fmin(legs[k, same], _careful(along))
    return legs, junctions


def _careful(minutes: Any) -> Any:
    """Take off what rounding may have added."""
    return np.maximum(minutes * (1.0 - ROUNDING) - ROUNDING, 0.0)


def _joined(graph: csr_array, skeleton: _Skeleton, sites: Spots, dumps: Spots) -> BoolArray:
    """Mask the (sites, addresses) that some road joins."""
    part: IntArray = connected_components(graph, directed=False)[1]

    def piece_of(spots: Spots) -> IntArray:
        ends, minutes = skeleton.to_ends(spots)
        return np.where(np.isfinite(minutes[:, 0]), part[ends[:, 0]], -1)

    at, there = piece_of(dumps), piece_of(sites)
    joined: BoolArray = (there[:, None] == at) & (at >= 0)
    return joined
