"""The round trips of every vehicle class: all of them, or where there are many fill sites those that can matter.

Up to `keep_sites` fill sites every trip is searched. Above, the best of each address are, by minutes; further ones
are looked for when a bound on their flow says that they could win (`doubts`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from preplan.plan_inputs import Inputs
from preplan.planning.ground import Ground, SeasonGround
from preplan.planning.vehicles import CutFleet, unlimited_fleet
from preplan.records import BoolArray, FloatArray, IntArray
from preplan.roads.convoy import NearSearch
from preplan.roads.leg_bounds import Count
from preplan.roads.search import Fleet, OnRoad, Spots
from preplan.roads.speeds import rule_min
from preplan.roads.trips import Circuits, Turning, circuits, legs_of, measure

BEST, BEST_YEAR_ROUND = 8, 3
"""Round trips that are kept to each address: the best of all fill sites, and of those usable in every planned month."""
TURNAROUND_MIN = {"through": 0.0, "loop": 0.5, "back": 1.5}
"""Turning round at a fill site, by the table's word (this program's careful choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PairTrips:
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


PairSearch = Callable[[Fleet, Fleet, IntArray, IntArray], PairTrips]
"""Finds the round trips of a vehicle, loaded and empty, between some addresses and each one's site."""


class SeasonTrips:
    """The round trips of all vehicle classes in one season of the roads; arrays of shape (addresses, sites)."""

    def __init__(self, season: SeasonGround, cuts: tuple[CutFleet, ...], inputs: Inputs, ground: Ground) -> None:
        """Search them, or those that come first where there are many sites."""
        self.circuits: tuple[Circuits, ...]
        # What limits cost is no matter of speed: beside each class goes a vehicle without limits that is as fast.
        paces: dict[bytes, int] = {}
        self._pace = [paces.setdefault(season.minutes(one.cut.top_mph).tobytes(), len(paces)) for one in cuts]
        first = (cuts[self._pace.index(pace)].cut for pace in paces.values())
        self._free = [unlimited_fleet(season.network, season.limits, season.minutes, cut.top_mph) for cut in first]
        self._everything: Callable[[Fleet, Fleet], Circuits] = partial(all_trips, inputs=inputs, ground=ground)
        self._near: NearSearch | None = None
        if all_searched(inputs):
            self.circuits = tuple(self._everything(cut.loaded, cut.empty) for cut in cuts)
            return
        counts, free = kept_counts(inputs), [(one, one) for one in self._free]
        legs = [*free, *((cut.loaded, cut.empty) for cut in cuts)]
        sites, dumps = Spots.of(ground.sites), Spots.of(ground.frontages)
        self._near = NearSearch.of(legs, sites, dumps, turning_of(inputs), counts)
        self.settle(self._near.nearest(counts).T)

    @property
    def all_searched(self) -> bool:
        """Tell whether no trip was left out."""
        return self._near is None

    @property
    def least_min(self) -> FloatArray:
        """What trips take at least that nobody has looked for; inf where they are known or there is none."""
        if self._near is None:
            return np.full(self.circuits[0].out_min.shape, np.inf)
        least = np.min([one.least_min for one in self._near.vehicles[len(self._free) :]], axis=0)
        return np.where(self._near.known, np.inf, least).T

    def settle(self, wanted: BoolArray) -> None:
        """Look for trips of all vehicle classes."""
        if self._near is not None:
            self._near.settle(wanted.T)
            # A pair counts on its best class, so it is told only when it is known for all.
            known = self._near.known
            self.circuits = tuple(one.circuits(known) for one in self._near.vehicles[len(self._free) :])

    def free_min(self) -> tuple[FloatArray, ...]:
        """Time the round trips of a vehicle that no posting stops, as fast as each class, (addresses, sites) minutes.

        inf: no way, or none that is known. Classes of one pace share an array.
        """
        if self._near is None:
            by_pace = [self._everything(one, one).trip_min for one in self._free]
        else:
            by_pace = [one.trip_min for one in self._near.vehicles[: len(self._free)]]
        return tuple(by_pace[pace] for pace in self._pace)


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
    every, planned = np.ones(len(inputs.sites), dtype=np.bool_), inputs.district.rules.plan.months
    year_round = np.array([site.stands_through(planned) for site in inputs.sites], dtype=np.bool_)
    return (BEST, every), (BEST_YEAR_ROUND, year_round)


def all_trips(
    loaded: Fleet,
    empty: Fleet,
    inputs: Inputs,
    ground: Ground,
    rows: IntArray | None = None,
    sites: IntArray | None = None,
) -> Circuits:
    """Find every round trip of one vehicle, loaded out and empty back: arrays of shape (addresses, sites).

    With `rows` or `sites` those of some addresses or sites alone, in their order.
    """
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


def pair_trips(
    inputs: Inputs, ground: Ground, loaded: Fleet, empty: Fleet, rows: IntArray, site: IntArray
) -> PairTrips:
    """Find the round trips of one vehicle between some addresses, `rows`, and each one's site."""
    sites, column = (i.astype(np.int32) for i in np.unique(site, return_inverse=True))
    if all_searched(inputs):
        return PairTrips(circuits=all_trips(loaded, empty, inputs, ground, rows, sites), site=column)
    wanted = np.zeros((len(sites), len(rows)), dtype=np.bool_)
    wanted[column, np.arange(len(rows))] = True
    spots, dumps = Spots.of(ground.sites).some(sites), Spots.of(ground.frontages).some(rows)
    near = NearSearch.of([(loaded, empty)], spots, dumps, turning_of(inputs).some(sites), ())
    near.settle(wanted)
    return PairTrips(circuits=near.vehicles[0].circuits(near.known), site=column)


def least_trips(cut: CutFleet, inputs: Inputs, sites: OnRoad, serves: BoolArray, places: Spots) -> FloatArray:
    """Time the shortest round trip of a class between places and any of the sites that serve, (places,) minutes."""
    some = np.flatnonzero(serves).astype(np.int32)
    spots, turning = Spots.of(sites).some(some), turning_of(inputs).some(some)
    if len(some) <= inputs.district.rules.plan.keep_sites:
        trip_min = circuits(cut.loaded, cut.empty, spots, places, turning).trip_min
    else:
        nearest = ((1, np.ones(len(some), dtype=np.bool_)),)
        near = NearSearch.of([(cut.loaded, cut.empty)], spots, places, turning, nearest)
        near.nearest(nearest)
        trip_min = near.vehicles[0].trip_min
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
