"""The trips that are kept: measured along their roads, and traced where a page draws them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from preplan.plan_tables import STANDS_SHARE, RouteForest, TripTable
from preplan.planning.assignment import Scene
from preplan.planning.levels import Graded
from preplan.planning.round_trips import BEST, BEST_YEAR_ROUND
from preplan.records import BoolArray, FloatArray, IntArray, RoadLimits
from preplan.roads.forest import Traced, join_forests, traced
from preplan.roads.search import Legs
from preplan.roads.trips import Circuits, Reach, legs_of, measured, turns_of


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """The trips that pages tell: arrays of shape (addresses, sites)."""

    cuts: int
    """Vehicle classes."""
    pair_cut: IntArray
    """The class that each trip is told for."""
    kept: BoolArray
    drawn: BoolArray
    """Kept, and drawn on a page."""


def shown_pairs(scene: Scene, graded: Graded, driven: IntArray) -> Shown:
    """Say on which vehicle class each trip is kept, that of the level shown, and which trips pages draw.

    `driven` (addresses, sites, levels) is the cut of each case.
    """
    levels, answers = graded.levels, graded.answers
    rows = np.arange(len(answers))
    shown = np.maximum(answers.level, 0)
    pair_cut = driven[rows, :, shown]
    for part in graded.worked:
        run = part.run.rows(np.flatnonzero(part.run.level == shown[part.run.address]))
        pair_cut[run.address, run.site] = run.cut
        split = run.rows(np.flatnonzero(run.second >= 0))
        pair_cut[split.address, split.second] = split.second_cut
    trip_min = np.stack([cut.trip_min for cut in scene.cuts])
    # A pair that the shown level cannot use at all is kept on the heaviest cut that has a way.
    ways = np.isfinite(trip_min)
    heaviest = len(trip_min) - 1 - ways[::-1].argmax(axis=0)
    has_way = np.take_along_axis(ways, pair_cut[None], axis=0)[0]
    pair_cut = np.where(has_way, pair_cut, heaviest).astype(np.int32)
    there: BoolArray = np.logical_or.reduce(ways)
    named = (levels.site, levels.backup, levels.split)
    drawn: BoolArray = np.logical_or.reduce([_mask_of(table[rows, shown], there) for table in named])
    every = drawn.copy()
    for table in named:
        for level in range(table.shape[1]):
            every |= _mask_of(table[:, level], there)
    best = np.take_along_axis(trip_min, pair_cut[None], axis=0)[0]
    return Shown(
        cuts=len(trip_min),
        pair_cut=pair_cut,
        kept=kept_pairs(scene, best, every),
        drawn=drawn & (answers.level >= 0)[:, None],
    )


def _mask_of(site: IntArray, there: BoolArray) -> BoolArray:
    """Mask the (addresses, sites) pairs that a column of sites names."""
    mask = np.zeros(there.shape, dtype=np.bool_)
    rows = np.flatnonzero(site >= 0)
    mask[rows, site[rows]] = True
    return mask & there


def kept_pairs(scene: Scene, trip_min: FloatArray, chosen: BoolArray) -> BoolArray:
    """Mask the (addresses, sites) whose trips are kept.

    Up to `keep_sites` sites: all. Above: the best round trips, the best of those usable in every planned month, and
    whatever was chosen.
    """
    there = np.isfinite(trip_min)
    if len(scene.sites) <= scene.rules.plan.keep_sites:
        return there
    year_round = np.array([site.stands_through(scene.planned) for site in scene.sites])
    best = _nearest(trip_min, BEST) | _nearest(np.where(year_round, trip_min, np.inf), BEST_YEAR_ROUND)
    return there & (best | chosen)


def _nearest(trip_min: FloatArray, count: int) -> BoolArray:
    """Mask the `count` shortest of each row."""
    mask = np.zeros(trip_min.shape, dtype=np.bool_)
    order = np.argsort(trip_min, axis=1, kind="stable")[:, :count]
    np.put_along_axis(mask, order, np.isfinite(np.take_along_axis(trip_min, order, axis=1)), axis=1)
    return mask


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedTrips:
    """Round trips to measure: (trips,) columns."""

    address: IntArray
    site: IntArray
    cut: IntArray
    season: IntArray
    """Of the roads."""
    drawn: BoolArray
    """Traced too, since a page draws them."""


def keep_trips(
    found: Sequence[Circuits],
    free_min: Sequence[FloatArray],
    measures: Measures,
    shown: Shown,
    road: IntArray,
) -> tuple[TripTable, RouteForest]:
    """Measure the kept pairs, each on its cut, and trace those that pages draw.

    `found` and `free_min` are as `told_trips` has them, and `road` (addresses,) is each one's season of the roads.
    """
    address, site = np.argwhere(shown.kept).astype(np.int32).T
    asked = AskedTrips(
        address=address,
        site=site,
        cut=shown.pair_cut[address, site],
        season=road[address],
        drawn=shown.drawn[address, site],
    )
    return told_trips(found, free_min, measures, asked, shown.cuts)


def told_trips(
    found: Sequence[Circuits], free_min: Sequence[FloatArray], measures: Measures, asked: AskedTrips, cuts: int
) -> tuple[TripTable, RouteForest]:
    """Measure round trips and trace those that are drawn.

    `found` lists the circuits of all cuts, so many as `cuts`, of the first season of the roads, then of the next;
    `free_min`, beside each, the round trips (addresses, sites) of a vehicle without limits that is as fast.
    """
    address, site = asked.address, asked.site
    cut = asked.cut + cuts * asked.season
    leaf = np.full((2, len(address)), -1, dtype=np.int32)
    columns = np.zeros((2, len(address), measures.columns.shape[1]))
    turn_dump, turn_site = np.zeros(len(address), dtype=np.bool_), np.zeros(len(address), dtype=np.bool_)
    times = np.zeros((3, len(address)))
    trees: list[Traced] = []
    marks: list[tuple[int, IntArray]] = []  # the leg, and the rows of the trips traced
    for index, circuit in enumerate(found):
        rows = np.flatnonzero(cut == index).astype(np.int32)
        a, s = address[rows], site[rows]
        dump, place = turns_of(circuit.join[a, s])
        turn_dump[rows], turn_site[rows] = dump, place
        times[:, rows] = circuit.out_min[a, s], circuit.back_min[a, s], free_min[index][a, s]
        ways = zip((circuit.outward, circuit.inward), legs_of(circuit, a, s), strict=True)
        for leg, (reach, legs) in enumerate(ways):
            for part in _followed(reach, legs, measures, asked.drawn[rows], inward=leg == 1):
                columns[leg, rows[part.legs]] = part.sums
                trees.append(part.tree)
                marks.append((leg, rows[part.drawn]))
    forest, leaves = join_forests(trees)
    for (leg, rows), own in zip(marks, leaves, strict=True):
        leaf[leg, rows] = own
    table = TripTable(
        address=address,
        site=site,
        cut=asked.cut,
        out_min=times[0],
        out_mi=columns[0, :, 0],
        back_min=times[1],
        back_mi=columns[1, :, 0],
        # The free vehicle may take a loop that it likes better than a turn, or more miles under the travel rule.
        posted_avoided_min=np.maximum(times[0] + times[1] - times[2], 0.0),
        unposted_bridges=np.ceil(columns[:, :, 1] - STANDS_SHARE).sum(axis=0).astype(np.int32),
        turn_at_dump=turn_dump,
        turn_at_site=turn_site,
        narrow_mi=columns[:, :, 2].sum(axis=0),
        out_leaf=leaf[0],
        back_leaf=leaf[1],
    )
    return table, forest


@dataclass(frozen=True, slots=True, kw_only=True)
class _Followed:
    """Some of many legs, followed in one search: indices of the legs, their sums, and the tree of those drawn."""

    legs: IntArray
    sums: FloatArray
    drawn: IntArray
    tree: Traced


def _followed(reach: Reach, legs: Legs, measures: Measures, drawn: BoolArray, *, inward: bool) -> Iterator[_Followed]:
    """Follow legs search by search; `drawn` (legs,) marks those that pages draw."""
    for search, index, row in reach.parts(legs):
        shown = np.flatnonzero(drawn[index])
        yield _Followed(
            legs=index,
            sums=measured(search, legs.at(index, row), measures.columns, inward=inward),
            drawn=index[shown],
            tree=traced(search, legs.at(index[shown], row[shown]), inward=inward),
        )
