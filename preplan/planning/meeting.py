"""Where loaded and empty tankers meet on a road one truck wide, and by which way the empties could go instead.

A circuit that drives a narrow stretch both ways holds a tanker up each time two of them meet there. Where the empties
find another way home that meets no loaded tanker on a narrow road, and is not much longer, it is told; nothing is
rerouted by itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from preplan.plan_tables import FIRST_CIRCUIT, SECOND_CIRCUIT, Flag, RouteForest, TripTable
from preplan.planning.ground import SeasonGround
from preplan.planning.round_trips import PairSearch
from preplan.records import BoolArray, FloatArray, IntArray, RoadTable
from preplan.roads.forest import states_on, trace
from preplan.roads.network import vehicle_arcs
from preplan.roads.road_names import is_named, road_label
from preplan.roads.search import Fleet
from preplan.roads.trips import legs_of
from preplan.units import M_PER_MI

MOST_LONGER_MIN = 5.0
"""A way back that is longer by more is not offered (this program's careful choice)."""
LEAST_MI = 0.05
"""Tankers see each other over a shorter narrow piece; pages print tenths of a mile."""


LegLeaves = tuple[IntArray, IntArray]
"""Leaves of loaded and of empty legs, (trips,) each; -1: not traced."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Meetings:
    """Traced trips that drive narrow stretches both ways: arrays of shape (meetings,)."""

    trip: IntArray
    """Row of the TripTable."""
    miles: FloatArray
    """Of narrow road that is driven both ways."""
    state: tuple[IntArray, ...]
    """For each, the states in which the loaded tankers drive it."""

    def some(self, mask: BoolArray) -> Meetings:
        """Take those of a mask."""
        picked = np.flatnonzero(mask)
        state = tuple(self.state[row] for row in picked.tolist())
        return Meetings(trip=self.trip[picked], miles=self.miles[picked], state=state)


@dataclass(frozen=True, slots=True, kw_only=True)
class WayBack:
    """Another way home for the empties of one address."""

    longer_min: float
    road: str
    """The longest named road on it that the loaded tankers do not drive."""


def find_meetings(
    roads: RoadTable, narrow: BoolArray, trips: TripTable, forest: RouteForest, chosen: IntArray, fraction: FloatArray
) -> Meetings:
    """Find the chosen trips whose two legs drive a narrow stretch in opposite directions.

    `chosen` are rows of the trips, (chosen,), and `fraction` the share of its stretch at which each dump site lies.
    """
    at, state, miles = _met(roads, narrow, forest, trips.out_leaf[chosen], trips.back_leaf[chosen], fraction)
    met = np.flatnonzero(miles > LEAST_MI)
    return Meetings(
        trip=chosen[met].astype(np.int32),
        miles=miles[met].astype(np.float64),
        state=tuple(state[at == one].astype(np.int32) for one in met.tolist()),
    )


def _met(
    roads: RoadTable,
    narrow: BoolArray,
    forest: RouteForest,
    out_leaf: IntArray,
    back_leaf: IntArray,
    fraction: FloatArray,
) -> tuple[IntArray, IntArray, FloatArray]:
    """Find the narrow stretches that loaded legs drive against empty ones, (legs,) of each.

    Gives the leg and the state of the loaded one, (stretches,), and the miles of each leg: of the last stretch only
    what lies before the dump site.
    """
    out, back = states_on(forest, out_leaf, narrow), states_on(forest, back_leaf, narrow)
    size = 2 * len(roads)
    both = np.intersect1d(out[:, 0] * size + out[:, 1], back[:, 0] * size + (back[:, 1] ^ 1))
    at, state = np.divmod(both, size)
    last = 2 * forest.segment[out_leaf] + ~forest.forward[out_leaf]
    share = np.where(state == last[at], np.where(state % 2 == 0, fraction[at], 1.0 - fraction[at]), 1.0)
    miles = np.bincount(at, weights=share * roads.length_m[state >> 1] / M_PER_MI, minlength=len(out_leaf))
    return at.astype(np.int32), state.astype(np.int32), miles.astype(np.float64)


def crossing_flags(
    roads: RoadTable,
    narrow: BoolArray,
    forest: RouteForest,
    first: LegLeaves,
    second: LegLeaves,
    fraction: FloatArray,
) -> list[tuple[int, Flag]]:
    """Flag the pairs of circuits of which the loaded tankers of one meet empties of the other on a narrow road.

    `first` and `second` are the legs of each pair, and `fraction` as in `find_meetings`. Gives the pair with its flag.
    """
    found = [
        _met(roads, narrow, forest, loaded[0], empty[1], fraction)
        for loaded, empty in ((first, second), (second, first))
    ]
    leg, state = (np.concatenate([each[part] for each in found]) for part in (0, 1))
    miles = np.maximum(found[0][2], found[1][2])  # most often one lane, driven both ways by both
    flags = []
    for at in np.flatnonzero(miles > LEAST_MI).tolist():
        road = _longest(roads, np.unique(state[leg == at] >> 1)) or "unnamed road"
        flags.append((at, Flag("circuits meet", f"{miles[at]:.1f} miles of {road}")))
    return flags


def ways_back(
    roads: RoadTable,
    ground: SeasonGround,
    legs: tuple[Fleet, Fleet],
    trips: TripTable,
    forest: RouteForest,
    meetings: Meetings,
    search: PairSearch,
) -> dict[int, WayBack]:
    """Look for another way home for the trips of one vehicle in one season, by row of the TripTable.

    The narrow stretches that loaded tankers drive are closed to the empties that would come against them; `legs` are
    the roads as the vehicle sees them loaded and empty. The loaded tankers keep to their roads.
    """
    loaded, empty = legs
    usable = empty.usable.copy()
    usable[np.unique(np.concatenate(meetings.state)) ^ 1] = False
    state_min = np.where(usable, empty.state_min, 0.0)
    kept = replace(empty, usable=usable, state_min=state_min, arcs=vehicle_arcs(empty.network, usable, state_min))
    rows = trips.address[meetings.trip]
    pairs = search(loaded, kept, rows, trips.site[meetings.trip])
    found = pairs.circuits
    longer_min = pairs.trip_min - trips.out_min[meetings.trip] - trips.back_min[meetings.trip]
    at = np.flatnonzero(longer_min <= MOST_LONGER_MIN).astype(np.int32)
    out, back = legs_of(found, at, pairs.site[at])
    outward, homeward = trace(found.outward, out, inward=False), trace(found.inward, back, inward=True)
    better = {}
    for i, one in enumerate(at.tolist()):
        trip = int(meetings.trip[one])
        there, home = (_driven(walk.forest, int(walk.leaf[i])) for walk in (outward, homeward))
        planned = _driven(forest, int(trips.out_leaf[trip]))
        meets = ground.limits.narrow[np.intersect1d(there, home ^ 1) >> 1].any()
        road = _longest(roads, np.setdiff1d(home >> 1, there >> 1))
        if road and not meets and np.isin(planned, there).all():
            better[trip] = WayBack(longer_min=float(longer_min[one]), road=road)
    return better


def _driven(forest: RouteForest, leaf: int) -> IntArray:
    """List the states of one leg, from the dump site to the fill site."""
    rows = forest.walk(leaf)
    return (2 * forest.segment[rows] + ~forest.forward[rows]).astype(np.int32)


def _longest(roads: RoadTable, rows: IntArray) -> str:
    """Name the longest road of some stretches; '' where none has a name."""
    miles: dict[str, float] = {}
    for row in rows.tolist():
        if is_named(roads, row):
            name = road_label(roads, row)
            miles[name] = miles.get(name, 0.0) + float(roads.length_m[row])
    return max(miles, key=lambda name: (miles[name], name), default="")


def meeting_flags(
    trips: TripTable, meetings: Meetings, better: dict[int, WayBack], second: IntArray
) -> list[tuple[int, Flag]]:
    """Give the flag of each address, with it, whose tankers meet on a narrow road; one a trip.

    `second` are the trips of second circuits, rows of the TripTable.
    """
    flags, seconds = [], set(second.tolist())
    for trip, miles in zip(meetings.trip.tolist(), meetings.miles.tolist(), strict=True):
        way = better.get(trip)
        circuit = SECOND_CIRCUIT if trip in seconds else FIRST_CIRCUIT
        flag = Flag("meeting on narrow road", miles, "mi", circuit)
        if way is not None:
            longer = abs(round(max(way.longer_min, 0.0), 1))
            said = f"empties by {way.road}, {longer:g} min longer"
            flag = Flag("one way traffic", said, circuit=circuit)
        flags.append((int(trips.address[trip]), flag))
    return flags
