"""The round trips of every vehicle class: all of them, or where there are many fill sites those that can matter.

Up to `keep_sites` fill sites every trip is searched. Above, the best of each address are, by minutes; further ones
are looked for when a bound on their flow says that they could win (`doubts`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from preplan.plan import Inputs
from preplan.planning.ground import Ground, SeasonGround
from preplan.planning.vehicles import CutFleet, unlimited_fleet
from preplan.records import BoolArray, FloatArray, IntArray
from preplan.roads.leg_bounds import Count, leg_bounds
from preplan.roads.near_trips import NearTrips
from preplan.roads.search import Fleet, OnRoad, Spots
from preplan.roads.speeds import rule_min
from preplan.roads.trips import Circuits, Turning, circuits, legs_of, measure

BEST, BEST_YEAR_ROUND = 8, 3
"""Round trips that are kept to each address: the best of all fill sites, and of those usable in every month."""
TURNAROUND_MIN = {"through": 0.0, "loop": 0.5, "back": 1.5}
"""Turning round at a fill site, by the table's word (this program's careful choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """Round trips between some addresses and one site each."""

    circuits: Circuits
    """(addresses, sites), the sites that are asked for."""
    site: IntArray
    """(addresses,) column of the circuits that is each one's site."""

    @property
    def trip_min(self) -> FloatArray:
        """Round trips, (addresses,) minutes; inf: no way."""
        minutes: FloatArray = self.circuits.trip_min[np.arange(len(self.site)), self.site]
        return minutes


PairSearch = Callable[[Fleet, Fleet, IntArray, IntArray], Pairs]
"""Finds the round trips of a vehicle, loaded and empty, between some addresses and each one's site."""


class SeasonTrips:
    """The round trips of all vehicle classes in one season of the roads; arrays of shape (addresses, sites)."""

    def __init__(self, cuts: tuple[CutFleet, ...], inputs: Inputs, ground: Ground) -> None:
        """Search them, or those that come first where there are many sites."""
        self.circuits: tuple[Circuits, ...]
        self._near: tuple[NearTrips, ...] = ()
        if all_searched(inputs):
            self.circuits = tuple(all_trips(cut.loaded, cut.empty, inputs, ground) for cut in cuts)
            return
        counts = kept_counts(inputs)
        fleets = [fleet for cut in cuts for fleet in (cut.loaded, cut.empty)]
        sites, dumps = Spots.of(ground.sites), Spots.of(ground.frontages)
        bounds, turning = leg_bounds(fleets, sites, dumps, counts), turning_of(inputs)
        near: list[NearTrips] = []
        wanted = np.zeros(bounds.shape, dtype=np.bool_)
        for cut in cuts:
            like = near[-1].limit_min if near else None
            one = NearTrips.of(cut.loaded, cut.empty, sites, dumps, turning, bounds, limit_min=like)
            wanted |= one.nearest(counts)
            near.append(one)
        self._near = tuple(near)
        self.settle(wanted.T)

    @property
    def all_searched(self) -> bool:
        """Tell whether no trip was left out."""
        return not self._near

    @property
    def least_min(self) -> FloatArray:
        """What trips take at least that nobody has looked for; inf where they are known or there is none."""
        least = np.min([one.least_min for one in self._near], axis=0)
        return np.where(self._known(), np.inf, least).T

    def settle(self, wanted: BoolArray) -> None:
        """Look for trips of all vehicle classes."""
        for one in self._near:
            one.settle(wanted.T)
        # A pair counts on its best class, so it is told only when it is known for all.
        known = self._known()
        self.circuits = tuple(one.circuits(known) for one in self._near)

    def _known(self) -> BoolArray:
        known: BoolArray = np.logical_and.reduce([one.known for one in self._near])
        return known


def turning_of(inputs: Inputs) -> Turning:
    """Say what turning round costs at the fill sites and at the dump site."""
    rules = inputs.district.rules.roads
    return Turning(
        turnaround_min=np.array([TURNAROUND_MIN[site.turnaround] for site in inputs.sites]),
        dump_turn_min=rules.dump_turn_min,
        loop_preference_min=rules.loop_preference_min,
    )


def all_searched(inputs: Inputs) -> bool:
    """Tell whether every trip is searched: where sites are few, and where the travel rule orders them by miles."""
    rules = inputs.district.rules
    return len(inputs.sites) <= rules.plan.keep_sites or rules.roads.travel == "rule"


def kept_counts(inputs: Inputs) -> tuple[Count, Count]:
    """Say how many trips are kept of which sites."""
    every = np.ones(len(inputs.sites), dtype=np.bool_)
    year_round = np.array([site.in_service and not site.seasonal for site in inputs.sites], dtype=np.bool_)
    return (BEST, every), (BEST_YEAR_ROUND, year_round)


def all_trips(
    loaded: Fleet,
    empty: Fleet,
    inputs: Inputs,
    ground: Ground,
    rows: IntArray | None = None,
    sites: IntArray | None = None,
) -> Circuits:
    """Find every round trip of one vehicle, loaded out and empty back, or those of some addresses and some sites."""
    rows = np.arange(len(inputs.addresses), dtype=np.int32) if rows is None else rows
    sites = np.arange(len(inputs.sites), dtype=np.int32) if sites is None else sites
    found = circuits(
        loaded,
        empty,
        Spots.of(ground.sites).some(sites),
        Spots.of(ground.frontages).some(rows),
        turning_of(inputs).some(sites),
    )
    return by_rule(found) if inputs.district.rules.roads.travel == "rule" else found


def near_trips(legs: tuple[Fleet, Fleet], sites: Spots, dumps: Spots, turning: Turning, count: int) -> NearTrips:
    """Search the `count` best round trips of each place by one vehicle, loaded out and empty back."""
    counts = ((count, np.ones(len(sites.state), dtype=np.bool_)),)
    near = NearTrips.of(*legs, sites, dumps, turning, leg_bounds(legs, sites, dumps, counts))
    near.nearest(counts)
    return near


def pair_trips(inputs: Inputs, ground: Ground, loaded: Fleet, empty: Fleet, rows: IntArray, site: IntArray) -> Pairs:
    """Find the round trips of one vehicle between some addresses, `rows`, and each one's site."""
    sites, column = (i.astype(np.int32) for i in np.unique(site, return_inverse=True))
    if all_searched(inputs):
        return Pairs(circuits=all_trips(loaded, empty, inputs, ground, rows, sites), site=column)
    wanted = np.zeros((len(sites), len(rows)), dtype=np.bool_)
    wanted[column, np.arange(len(rows))] = True
    spots, dumps = Spots.of(ground.sites).some(sites), Spots.of(ground.frontages).some(rows)
    near = near_trips((loaded, empty), spots, dumps, turning_of(inputs).some(sites), 0)
    near.settle(wanted)
    return Pairs(circuits=near.circuits(near.known), site=column)


def unlimited_trips(
    season: SeasonGround, top_mph: float, inputs: Inputs, ground: Ground, kept: BoolArray
) -> FloatArray:
    """Time the round trips of a vehicle that no posting stops, (addresses, sites) minutes.

    Where sites are many: those to the nearest site of each address, and the pairs (addresses, sites) that are kept;
    inf elsewhere.
    """
    fleet = unlimited_fleet(season.network, season.limits, season.minutes, top_mph)
    if all_searched(inputs):
        return all_trips(fleet, fleet, inputs, ground).trip_min
    near = near_trips((fleet, fleet), Spots.of(ground.sites), Spots.of(ground.frontages), turning_of(inputs), 1)
    near.settle(kept.T)
    return near.trip_min


def least_trips(cut: CutFleet, inputs: Inputs, sites: OnRoad, serves: BoolArray, places: Spots) -> FloatArray:
    """Time the shortest round trip of a class between places and any of the sites that serve, (places,) minutes."""
    some = np.flatnonzero(serves).astype(np.int32)
    spots, turning = Spots.of(sites).some(some), turning_of(inputs).some(some)
    if len(some) <= inputs.district.rules.plan.keep_sites:
        trip_min = circuits(cut.loaded, cut.empty, spots, places, turning).trip_min
    else:
        trip_min = near_trips((cut.loaded, cut.empty), spots, places, turning, 1).trip_min
    least: FloatArray = trip_min.min(axis=1, initial=np.inf)
    return least


def by_rule(found: Circuits) -> Circuits:
    """Replace network times by the travel rule on the same roads; turning at both ends stays as it is."""
    address, site = np.argwhere(found.join >= 0).astype(np.int32).T
    out_legs, back_legs = legs_of(found, address, site)
    length = found.loaded.network.length_mi[:, None]
    out_mi = measure(found.outward, out_legs, length, inward=False)[:, 0]
    back_mi = measure(found.inward, back_legs, length, inward=True)[:, 0]
    out_min, back_min = found.out_min.copy(), found.back_min.copy()
    out_min[address, site] = rule_min(out_mi)
    back_min[address, site] = rule_min(back_mi) + found.turning_min[address, site]
    return replace(found, out_min=out_min, back_min=back_min)
