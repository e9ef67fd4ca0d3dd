"""The round trips that the map page can draw, and the trees that they are walked in."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import CardGroup, OtherCircuit
from preplan.plan_tables import RouteForest
from preplan.records import BoolArray, IntArray
from preplan.render.driving_words import HERE_MI
from preplan.render.map_pack import Ints, Page, Texts, pack, steps, whole
from preplan.units import M_PER_MI


def along_roads(plan: Plan) -> Ints:
    """Order the addresses along the roads that they front: neighbours' numbers differ by little, and pack short."""
    return np.lexsort((plan.frontages.fraction, plan.frontages.segment))


def renumbered(kept: IntArray | Ints, total: int) -> Ints:
    """Give each kept row its new number; -1 for the others."""
    new = np.full(total, -1, dtype=np.int64)
    new[kept] = np.arange(len(kept))
    return new


def moved(rows: IntArray, new: Ints) -> Ints:
    """Renumber rows; -1 stays."""
    return np.where(rows >= 0, new[rows], -1) if len(new) else np.full(rows.shape, -1, dtype=np.int64)


def named_trips(plan: Plan, along: Ints) -> IntArray:
    """List the trips that some answer names, by fill site, then along the roads."""
    levels = plan.levels
    named = np.unique(np.concatenate([trip.ravel() for trip in (levels.trip, levels.backup_trip, levels.split_trip)]))
    kept = named[named >= 0]
    place = renumbered(along, len(along))
    return kept[np.lexsort((place[plan.trips.address[kept]], plan.trips.site[kept]))].astype(np.int32)


def sheets_of(plan: Plan) -> list[tuple[CardGroup, OtherCircuit]]:
    """List the circuits of other months that stand on sheets behind cards, each with its card."""
    return [(group, other) for group in plan.groups for other in group.others if other.months]


def forest_rows(plan: Plan, trips: IntArray) -> tuple[IntArray, Ints]:
    """List the forest's rows on the way of some trips, and the new number of every row."""
    parent = plan.forest.parent
    on_way = np.zeros(len(plan.forest), dtype=np.bool_)
    front = np.unique(np.concatenate([plan.trips.out_leaf[trips], plan.trips.back_leaf[trips]]))
    front = front[front >= 0]
    while front.size:
        on_way[front] = True
        front = np.unique(parent[front])
        front = front[front >= 0]
        front = front[~on_way[front]]
    kept = np.flatnonzero(on_way).astype(np.int32)
    return kept, renumbered(kept, len(plan.forest))


def trip_data(plan: Plan, kept: IntArray, forest_row: Ints, along: Ints) -> Page:
    """Pack the minutes and miles of the kept trips, and the rows of the trees at which their ways end."""
    trips = plan.trips
    out_min, back_min = trips.out_min[kept], trips.back_min[kept]
    out_mi, back_mi = trips.out_mi[kept], trips.back_mi[kept]
    tenths = [whole(part, 10) for part in (out_min, back_min, out_min + back_min)]
    hundredths = [whole(part, 100) for part in (out_mi, back_mi, out_mi + back_mi)]
    shut = Texts([""], {"": 0})
    columns: dict[str, IntArray | Ints] = {
        "site": trips.site[kept],
        "place": renumbered(along, len(along))[trips.address[kept]],
        "outMin": tenths[0],
        "backMin": tenths[1],
        "outMi": hundredths[0],
        "backMi": hundredths[1],
        # The whole, rounded by itself, less the sum of its rounded parts.
        "moreMin": tenths[2] - tenths[0] - tenths[1],
        "moreMi": hundredths[2] - hundredths[0] - hundredths[1],
        "bridges": trips.unposted_bridges[kept],
        "shut": np.array([shut.place(_shut_words(plan, trip)) for trip in kept.tolist()]),
        "turn": _turns_at_dump(plan, kept) * 1 + plan.turns_at_site(kept) * 2,
        "outLeaf": moved(trips.out_leaf[kept], forest_row),
        "backLeaf": moved(trips.back_leaf[kept], forest_row),
    }
    return {**{name: pack(steps(column)) for name, column in columns.items()}, "shutMonths": shut.values}


def _turns_at_dump(plan: Plan, kept: IntArray) -> BoolArray:
    """Tell on which trips tankers turn at the dump site: on the spot, or at a dead end a tanker's length on."""
    trips, forest = plan.trips, plan.forest
    at_once: BoolArray = trips.turn_at_dump[kept]
    if not len(forest):
        return at_once
    leaf = trips.back_leaf[kept]
    first, then = leaf, forest.parent[leaf]
    there = (leaf >= 0) & (then >= 0) & (forest.segment[first] == forest.segment[then])
    there &= forest.forward[first] != forest.forward[then]
    along = plan.frontages.fraction[trips.address[kept]]
    ahead_m = np.where(forest.forward[first], 1.0 - along, along) * plan.roads.length_m[forest.segment[first]]
    turns: BoolArray = at_once | (there & (ahead_m < HERE_MI * M_PER_MI))
    return turns


def _shut_words(plan: Plan, trip: int) -> str:
    """Name the months in which a round trip cannot be driven as it is drawn; '' for none."""
    months = plan.shut_months.get(trip, ())
    return month_words(months) if months else ""


def sheet_data(sheets: Sequence[tuple[CardGroup, OtherCircuit]], leaves: Sequence[Ints], along: Ints) -> Page:
    """Pack the circuits of other months: place of the lead address along the roads, months, site, level, and leaves.

    `leaves` are the rows of the trees at which the loaded and the empty legs end, -1 where no way is traced.
    """
    months, place = Texts(), renumbered(along, len(along))
    columns: dict[str, npt.ArrayLike] = {
        "lead": [int(place[group.lead]) for group, _ in sheets],
        "when": [months.place(month_words(other.months)) for _, other in sheets],
        "site": [other.site for _, other in sheets],
        "level": [other.level for _, other in sheets],
        "outLeaf": leaves[0],
        "backLeaf": leaves[1],
    }
    return {**{name: pack(steps(column)) for name, column in columns.items()}, "months": months.values}


def forest_data(forests: Sequence[tuple[RouteForest, IntArray, Ints]], road_row: Ints) -> Page:
    """Pack trees, one forest behind the other: twice the road, plus 1 where it is driven forward, in steps.

    Each comes with the rows that are kept and the new number of every row. `up` is a row's own number less its
    parent's, 0 at a site's own stretch.
    """
    driven = [2 * road_row[forest.segment[rows]] + forest.forward[rows] for forest, rows, _ in forests]
    parents = [moved(forest.parent[rows], row_of) for forest, rows, row_of in forests]
    up = [np.where(parent >= 0, np.arange(len(parent)) - parent, 0) for parent in parents]
    return {"driven": pack(steps(np.concatenate(driven))), "up": pack(np.concatenate(up))}
