"""Vehicles that are looked for together, where there are many fill sites.

All tankers drive mostly the same roads. One search of a site serves every vehicle that is as quick on them; where a
posting keeps a heavier one off, only what lies behind is searched again. First each address's best trips are asked
for, by minutes, then whatever else somebody wants.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from preplan.records import BoolArray, FloatArray, IntArray
from preplan.roads.leg_bounds import FARTHEST_MIN, Count, leg_bounds
from preplan.roads.narrow import MOST_FOLLOWERS, Narrow, OneSite
from preplan.roads.near_trips import PIECE, NearTrips
from preplan.roads.search import Fleet, Launch, Spots
from preplan.roads.trips import Turning


@dataclass(slots=True)
class _Asked:
    """What the vehicles of a convoy ask for."""

    sites: BoolArray
    """(sites,) to be searched."""
    limit_min: FloatArray
    """(addresses,) how far; -inf: not at all."""

    @classmethod
    def nothing(cls, shape: tuple[int, ...]) -> _Asked:
        """Begin with nothing, for (sites, addresses)."""
        return cls(np.zeros(shape[0], dtype=np.bool_), np.full(shape[1], -np.inf))

    def add(self, one: NearTrips, pending: BoolArray, column: IntArray) -> None:
        """Ask for the pending trips, (sites, columns), to some addresses."""
        far = np.where(pending, one.spend_min[:, column], -np.inf).max(axis=0, initial=-np.inf)
        self.sites |= pending.any(axis=1)
        self.limit_min[column] = np.maximum(self.limit_min[column], np.where(far < FARTHEST_MIN, far, np.inf))


@dataclass(frozen=True, slots=True, kw_only=True)
class NearSearch:
    """The trips of several vehicles to the same sites and addresses."""

    vehicles: tuple[NearTrips, ...]
    """In the order in which they were named."""
    convoys: tuple[Convoy, ...]

    @classmethod
    def of(
        cls,
        legs: Sequence[tuple[Fleet, Fleet]],
        sites: Spots,
        dumps: Spots,
        turning: Turning,
        counts: Sequence[Count],
    ) -> NearSearch:
        """Make ready to look for trips, loaded out and empty back, the lightest vehicle first; see `nearest`."""
        bounds = leg_bounds([fleet for pair in legs for fleet in pair], sites, dumps, counts)
        vehicles = tuple(NearTrips.of(*pair, sites, dumps, turning, bounds) for pair in legs)
        return cls(vehicles=vehicles, convoys=_convoys(vehicles))

    @property
    def known(self) -> BoolArray:
        """Mask the (sites, addresses) whose trips are known for every vehicle."""
        every: BoolArray = np.logical_and.reduce([one.known for one in self.vehicles])
        return every

    def nearest(self, counts: Sequence[Count]) -> BoolArray:
        """Mask each address's best trips by any vehicle, so many among the sites of each mask, equal ones by order."""
        best: BoolArray = np.logical_or.reduce([one.nearest(counts) for one in self.convoys])
        return best

    def settle(self, wanted: BoolArray) -> None:
        """Find the trips that are wanted, (sites, addresses), by every vehicle, and what else comes to light."""
        for one in self.convoys:
            one.settle(wanted)


@dataclass(frozen=True, slots=True, kw_only=True)
class Convoy:
    """Vehicles that are looked for together: the first one's roads and minutes hold for all, but for roads barred."""

    vehicles: tuple[NearTrips, ...]

    def settle(self, wanted: BoolArray) -> None:
        """Find the trips that are wanted, (sites, addresses), by every vehicle, and what else comes to light."""
        columns = np.flatnonzero(wanted.any(axis=0)).astype(np.int32)
        while len(columns):
            asked = _Asked.nothing(wanted.shape)
            for some in _pieces(columns):
                for one in self.vehicles:
                    asked.add(one, wanted[:, some] & ~one.known[:, some], some)
            self._look(asked)
            columns = np.flatnonzero(asked.limit_min > -np.inf).astype(np.int32)

    def nearest(self, counts: Sequence[Count]) -> BoolArray:
        """Mask each address's best trips by any vehicle, so many among the sites of each mask, equal ones by order."""
        first, *others = self.vehicles
        best = self._nearest_of(first, counts, np.arange(first.known.shape[1], dtype=np.int32))
        # What the first vehicle's searches told the others leaves them little to ask for.
        for one in others:
            best |= self._nearest_of(one, counts, _apart(first, one))
        return best

    def _nearest_of(self, one: NearTrips, counts: Sequence[Count], columns: IntArray) -> BoolArray:
        """Mask the best trips of one of the vehicles to some addresses."""
        best: BoolArray = np.zeros(one.known.shape, dtype=np.bool_)
        while len(columns):
            asked = _Asked.nothing(best.shape)
            for part in _pieces(columns):
                best[:, part] = False
                for count, among in counts:
                    here, pending = one.best(part, count, among)
                    best[:, part] |= here
                    asked.add(one, pending, part)
            self._look(asked)
            columns = np.flatnonzero(asked.limit_min > -np.inf).astype(np.int32)
        return best

    def _look(self, asked: _Asked) -> None:
        """Search each site once, as far as is asked; what is not known then asks for more next time."""
        first, limit = self.vehicles[0], asked.limit_min
        out, into = (
            Narrow.of([launch(one) for one in self.vehicles], first.dumps, limit, first.bounds)
            for launch in (_launch_out, _launch_into)
        )
        sites = np.flatnonzero(asked.sites).astype(np.int32)
        pairs = zip(sites.tolist(), out.searches(sites, links=False), into.searches(sites, links=False), strict=True)
        for site, outward, inward in pairs:
            self._settle_site(site, limit, outward, inward)

    def _settle_site(self, site: int, limit_min: FloatArray, out: OneSite, into: OneSite) -> None:
        """Let every vehicle tell what a search proves for it."""
        first, *others = self.vehicles
        reached = first.bounds.leg_min[site] <= limit_min
        fresh = reached & ~first.known[site]
        rows = np.flatnonzero(fresh).astype(np.int32)
        proof = first.settle(site, rows, limit_min[rows], out.search, into.search)
        if not others:
            return
        place = np.cumsum(fresh) - 1  # where the proof has each of its addresses
        unknown = ~np.logical_and.reduce([one.known[site] for one in others])
        rows = np.flatnonzero(reached & unknown).astype(np.int32)
        places = first.dumps.some(rows)
        broken = out.broken(places) | into.broken(places)
        for number, one in enumerate(others):
            own = (broken >> np.uint32(number) & np.uint32(1)).astype(np.bool_) | ~fresh[rows]
            open_ = ~one.known[site, rows]
            one.take(site, proof.rows(place[rows[open_ & ~own]]))
            mine = rows[open_ & own]
            if len(mine):
                one.settle(site, mine, limit_min[mine], out.followed(number), into.followed(number))


def _apart(first: NearTrips, other: NearTrips) -> IntArray:
    """List the addresses for which two vehicles do not know the same; one row of sites at a time, to save memory."""
    apart = np.zeros(first.known.shape[1], dtype=np.bool_)
    for site in range(len(first.known)):
        apart |= (first.known[site] != other.known[site]) | (first.least_min[site] != other.least_min[site])
    return np.flatnonzero(apart).astype(np.int32)


def _launch_out(one: NearTrips) -> Launch:
    return one.out


def _launch_into(one: NearTrips) -> Launch:
    return one.into


def _pieces(columns: IntArray) -> list[IntArray]:
    """Part columns so that temporary arrays stay small."""
    return np.array_split(columns, len(columns) // PIECE + 1)


def _convoys(vehicles: Sequence[NearTrips]) -> tuple[Convoy, ...]:
    """Put vehicles together that can be looked for at once."""
    groups: list[list[NearTrips]] = []
    for one in vehicles:
        for group in groups:
            if len(group) <= MOST_FOLLOWERS and _follows(group[0], one):
                group.append(one)
                break
        else:
            groups.append([one])
    return tuple(Convoy(vehicles=tuple(group)) for group in groups)


def _follows(one: NearTrips, other: NearTrips) -> bool:
    """Tell whether another vehicle drives some of the same roads in the same time, and no others."""
    for mine, theirs in ((one.out.fleet, other.out.fleet), (one.into.fleet, other.into.fleet)):
        if np.any(theirs.usable & ~mine.usable) or np.any((mine.state_min != theirs.state_min)[theirs.usable]):
            return False
    return True
