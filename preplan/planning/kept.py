"""The trips that are kept: measured along their roads, and traced where a page draws them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preplan.plan import RouteForest, TripTable
from preplan.records import BoolArray, FillSite, FloatArray, IntArray, RoadLimits
from preplan.roads.forest import Traced, join_forests, trace
from preplan.roads.trips import Circuits, legs_of, measure

_STANDS = 0.01
"""Share of a bridge under which a place at its end is not on it; else one that begins or ends on it crosses it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measures:
    """What is summed along a leg: (states,) columns."""

    columns: FloatArray
    """(states, 3): miles, bridges without a posted weight, miles one truck wide."""

    @classmethod
    def of(cls, limits: RoadLimits, length_mi: FloatArray) -> Measures:
        """Take them from the limits of the roads."""
        bridge = np.repeat(limits.unposted_bridge.astype(np.float64), 2)
        narrow = np.repeat(limits.narrow, 2) * length_mi
        return cls(columns=np.column_stack([length_mi, bridge, narrow]))


def kept_pairs(trip_min: FloatArray, sites: tuple[FillSite, ...], keep_sites: int, chosen: BoolArray) -> BoolArray:
    """Mask the (addresses, sites) whose trips are kept.

    Up to `keep_sites` sites: all. Above: the eight best round trips, the three best usable in every month, and
    whatever was chosen.
    """
    there = np.isfinite(trip_min)
    if len(sites) <= keep_sites:
        return there
    year_round = np.array([site.in_service and not site.seasonal for site in sites])
    best = _nearest(trip_min, 8) | _nearest(np.where(year_round, trip_min, np.inf), 3)
    return there & (best | chosen)


def _nearest(trip_min: FloatArray, count: int) -> BoolArray:
    """Mask the `count` shortest of each row."""
    mask = np.zeros(trip_min.shape, dtype=np.bool_)
    order = np.argsort(trip_min, axis=1, kind="stable")[:, :count]
    np.put_along_axis(mask, order, np.isfinite(np.take_along_axis(trip_min, order, axis=1)), axis=1)
    return mask


def keep_trips(
    found: tuple[Circuits, ...],
    free_min: FloatArray,
    measures: Measures,
    *,
    cuts: int,
    pair_cut: IntArray,
    kept: BoolArray,
    traced: BoolArray,
) -> tuple[TripTable, RouteForest]:
    """Measure the kept pairs, each on its cut, and trace those that pages draw; masks are (addresses, sites).

    `found` lists the circuits of all `cuts` of the first season of the roads, then of the next; `pair_cut` points into
    it, (addresses, sites). `free_min` (addresses, sites) is the round trip of a vehicle without limits.
    """
    address, site = np.argwhere(kept).astype(np.int32).T
    cut = pair_cut[address, site]
    out_leaf, back_leaf = np.full(len(address), -1, dtype=np.int32), np.full(len(address), -1, dtype=np.int32)
    columns = np.zeros((2, len(address), measures.columns.shape[1]))
    turn_dump, turn_site = np.zeros(len(address), dtype=np.bool_), np.zeros(len(address), dtype=np.bool_)
    times = np.zeros((3, len(address)))
    trees: list[Traced] = []
    marks: list[tuple[IntArray, IntArray]] = []  # rows of the trips traced, and the column their leaves go to
    for index, circuit in enumerate(found):
        rows = np.flatnonzero(cut == index).astype(np.int32)
        a, s = address[rows], site[rows]
        out, back = legs_of(circuit, a, s)
        columns[0, rows] = measure(circuit.outward, out, measures.columns, inward=False)
        columns[1, rows] = measure(circuit.inward, back, measures.columns, inward=True)
        dump, place = circuit.turns
        turn_dump[rows], turn_site[rows] = dump[a, s], place[a, s]
        times[:, rows] = circuit.out_min[a, s], circuit.back_min[a, s], free_min[a, s]
        drawn = rows[traced[a, s]]
        out, back = legs_of(circuit, address[drawn], site[drawn])
        trees += [trace(circuit.outward, out, inward=False), trace(circuit.inward, back, inward=True)]
        marks += [(drawn, out_leaf), (drawn, back_leaf)]
    forest, leaves = join_forests(trees)
    for (drawn, column), leaf in zip(marks, leaves, strict=True):
        column[drawn] = leaf
    table = TripTable(
        address=address,
        site=site,
        cut=(cut % cuts).astype(np.int32),
        out_min=times[0],
        out_mi=columns[0, :, 0],
        back_min=times[1],
        back_mi=columns[1, :, 0],
        posted_avoided_min=np.maximum(times[0] + times[1] - times[2], 0.0),
        unposted_bridges=np.ceil(columns[:, :, 1] - _STANDS).sum(axis=0).astype(np.int32),
        turn_at_dump=turn_dump,
        turn_at_site=turn_site,
        narrow_mi=columns[:, :, 2].sum(axis=0),
        out_leaf=out_leaf,
        back_leaf=back_leaf,
    )
    return table, forest
