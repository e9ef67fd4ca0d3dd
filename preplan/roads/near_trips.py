"""Round trips where there are many fill sites: only those that are asked for, each as a search of everything finds it.

A search of every site to the end of the roads grows with sites times roads. Here a site is searched as far as its own
trips reach. A trip is *known* once no way beyond the limit of its search can beat it: what was not reached takes more
than the limit one way, and the other way as much as was found at least. Minutes come first; the ways themselves are
searched again, to the same limit, where somebody asks for them. Minutes are sums along the same roads in the same
order as those of an unlimited search, so they are equal to the last bit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components

from preplan.records import BoolArray, FloatArray, IntArray
from preplan.roads.leg_bounds import FARTHEST_MIN, Count
from preplan.roads.search import Fleet, Launch, Search, Spots, drive_in, drive_out
from preplan.roads.trips import DIRECTIONS, NO_JOIN, WATER_FIRST, Circuits, Turning, by_direction, join_legs

SPEND_ROUNDING = 1.0 + 1e-6
"""What single precision may round away, relative and in minutes."""
FIRST_SHARE, FIRST_MIN = 1.05, 3.0
"""How far beyond its bound a leg is looked for at first (speed only, no result)."""
FARTHER = 1.15
"""How much farther it is looked for where no way was found (speed only, no result)."""
PIECE_SITES = 8
"""Sites searched at once: a search holds eight bytes for every state, direction and site."""
PIECE = 4000
"""Addresses worked on at once, so that temporary arrays stay small."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """Searches that are made again, some sites at a time, where their links are asked for."""

    launch: Launch
    limit_min: FloatArray
    """(sites,) how far each was searched."""

    @property
    def spots(self) -> Spots:
        """The sites."""
        return self.launch.spots

    def parts(self, row: IntArray) -> Iterator[tuple[Search, IntArray, IntArray]]:
        """Search the sites of some rows; see `trips.Reach`."""
        site, place = row >> 1, np.full(len(self.limit_min), -1, dtype=np.int32)
        for some in in_pieces(np.unique(site), self.limit_min):
            place[:] = -1
            place[some] = np.arange(len(some))
            index = np.flatnonzero(place[site] >= 0).astype(np.int32)
            search = self.launch.search(some, limit_min=float(self.limit_min[some].max()))
            yield search, index, (2 * place[site[index]] + (row[index] & 1)).astype(np.int32)


def in_pieces(sites: IntArray, limit_min: FloatArray) -> list[IntArray]:
    """Part sites into pieces that are searched at once: those of like limits together."""
    ordered = sites[np.argsort(limit_min[sites], kind="stable")].astype(np.int32)
    return [ordered[first : first + PIECE_SITES] for first in range(0, len(ordered), PIECE_SITES)]


@dataclass(slots=True, kw_only=True)
class NearTrips:
    """Round trips of one vehicle that are looked for when somebody asks; arrays of shape (sites, addresses)."""

    out: Launch
    into: Launch
    dumps: Spots
    turning: Turning
    limit_min: FloatArray
    """(sites,) how far each site has been searched."""
    lag_min: FloatArray
    """(addresses,) by how much a way back to the site can be shorter than what its search counts."""
    leg_min: FloatArray
    """No leg takes less; inf: no trip."""
    least_min: FloatArray
    """The round trip where it is known, inf where there is none; elsewhere what it takes at least."""
    spend_min: npt.NDArray[np.float32]
    """How far its legs are to be looked for."""
    known: BoolArray
    out_min: FloatArray
    back_min: FloatArray
    join: npt.NDArray[np.int8]
    direct: BoolArray
    """(2, sites, addresses): the leg out, and back, stays on one stretch."""

    @classmethod
    def of(
        cls,
        loaded: Fleet,
        empty: Fleet,
        sites: Spots,
        dumps: Spots,
        turning: Turning,
        bounds: FloatArray,
        *,
        limit_min: FloatArray | None = None,
    ) -> NearTrips:
        """Make ready to look for trips; `bounds` are those of `leg_bounds` for these fleets or more.

        `limit_min` (sites,) is how far to search at least: that of a like vehicle saves a search (speed only).
        """
        out, into = Launch.out(loaded, sites), Launch.into(empty, sites)
        legs = np.where(_reached(out, dumps) & _reached(into, dumps), bounds, np.inf)
        lag = np.nan_to_num(dumps.driven, nan=0.0) * empty.state_min[dumps.state]
        return cls(
            out=out,
            into=into,
            dumps=dumps,
            turning=turning,
            limit_min=np.zeros(len(legs)) if limit_min is None else limit_min.copy(),
            lag_min=lag.max(axis=1),
            leg_min=legs,
            least_min=2.0 * legs,
            spend_min=(legs * FIRST_SHARE + FIRST_MIN).astype(np.float32),
            known=np.isinf(legs),
            out_min=np.full(legs.shape, np.inf),
            back_min=np.full(legs.shape, np.inf),
            join=np.full(legs.shape, NO_JOIN, dtype=np.int8),
            direct=np.zeros((2, *legs.shape), dtype=np.bool_),
        )

    def settle(self, wanted: BoolArray) -> None:
        """Find the trips that are wanted, (sites, addresses), and what else comes to light."""
        pending = wanted & ~self.known
        while pending.any():
            self._look(pending)
            pending &= ~self.known

    def nearest(self, counts: Sequence[Count]) -> BoolArray:
        """Mask the best trips of each address, so many among the sites of each mask, equal ones by their order."""
        best: BoolArray = np.zeros(self.known.shape, dtype=np.bool_)
        columns = np.arange(best.shape[1], dtype=np.int32)
        while len(columns):
            pending: BoolArray = np.zeros(self.known.shape, dtype=np.bool_)
            best[:, columns] = False
            for some in np.array_split(columns, len(columns) // PIECE + 1):
                for count, among in counts:
                    here, asked = self._best(some, count, among)
                    best[:, some] |= here
                    pending[:, some] |= asked
            self._look(pending)
            columns = columns[pending[:, columns].any(axis=0)]
        return best

    @property
    def trip_min(self) -> FloatArray:
        """Round trips, (addresses, sites) minutes; inf: no way, or not known."""
        minutes: FloatArray = (self.out_min + self.back_min).T
        return minutes

    def circuits(self, told: BoolArray) -> Circuits:
        """Give the round trips, (addresses, sites), of the pairs (sites, addresses) that are told, known ones all."""
        return Circuits(
            loaded=self.out.fleet,
            empty=self.into.fleet,
            outward=Again(launch=self.out, limit_min=self.limit_min.copy()),
            inward=Again(launch=self.into, limit_min=self.limit_min.copy()),
            dumps=self.dumps,
            turning=self.turning,
            out_min=np.where(told, self.out_min, np.inf).T,
            back_min=np.where(told, self.back_min, np.inf).T,
            join=np.where(told, self.join, NO_JOIN).T.astype(np.int8),
            out_direct=self.direct[0].T.copy(),
            back_direct=self.direct[1].T.copy(),
        )

    # ----------------------------------------------------------------------- how

    def _best(self, column: IntArray, count: int, among: BoolArray) -> tuple[BoolArray, BoolArray]:
        """Mask the best trips of some addresses as far as they are known, and those to look for next; sites first."""
        known, least = self.known[:, column], np.where(among[:, None], self.least_min[:, column], np.inf)
        best = _least(least, count)
        open_ = ~(known | ~best).all(axis=0)
        # Asked for next: what may still be better than the worst that is known, the likeliest first.
        worst = _at_rank(np.where(known[:, open_], least[:, open_], np.inf), count)
        hopeless = known[:, open_] | (least[:, open_] > worst)
        pending = np.zeros(best.shape, dtype=np.bool_)
        pending[:, open_] = _least(np.where(hopeless, np.inf, least[:, open_]), count)
        return best, pending

    def _look(self, pending: BoolArray) -> None:
        """Search each site once, as far as what is pending asks; what is not known then asks for more next time."""
        asks = np.flatnonzero(pending.any(axis=1)).astype(np.int32)
        for site in asks.tolist():
            far = float(self.spend_min[site, pending[site]].max())
            self.limit_min[site] = max(self.limit_min[site], far if far < FARTHEST_MIN else np.inf)
        for some in in_pieces(asks, self.limit_min):
            limit = float(self.limit_min[some].max())
            self.limit_min[some] = limit
            outward = self.out.search(some, limit_min=limit, links=False)
            inward = self.into.search(some, limit_min=limit, links=False)
            for place, site in enumerate(some.tolist()):
                self._settle_site(site, limit, outward.only(place), inward.only(place))

    def _settle_site(self, site: int, limit: float, outward: Search, inward: Search) -> None:
        """Join the legs of one site's searches, and tell what they prove."""
        near = np.flatnonzero((self.leg_min[site] <= limit) & ~self.known[site]).astype(np.int32)
        dumps, limit_in = self.dumps.some(near), limit - self.lag_min[near]
        out, out_direct = by_direction(*drive_out(self.out.fleet, outward, dumps))
        back, back_direct = by_direction(*drive_in(self.into.fleet, inward, dumps))
        # beyond the limit a search tells nothing: a longer leg that was found may not be the shortest
        out[out > limit] = np.inf
        back[back > limit_in[:, None]] = np.inf
        trip = join_legs(out, back, self.turning.some(slice(site, site + 1)))
        key, join = trip.key_min[:, 0], trip.join[:, 0]
        least_out = np.minimum(out.min(axis=(0, 1, 3)), limit)
        least_back = np.minimum(back.min(axis=(0, 1, 3)), limit_in)
        beyond = np.minimum(limit + least_back, limit_in + least_out)
        known = (key <= beyond) | np.isinf(limit)
        trip_min = trip.out_min[:, 0] + trip.back_min[:, 0]
        lower = (beyond - self.turning.loop_preference_min) / (1.0 + WATER_FIRST)
        self.least_min[site, near] = np.where(known, trip_min, np.maximum(lower, self.least_min[site, near]))
        self._ask_farther(site, near, key, np.minimum(least_out, least_back), limit)
        self.known[site, near] = known
        near, rows = near[known], np.flatnonzero(known)
        pick = DIRECTIONS[join[known]]
        self.out_min[site, near], self.back_min[site, near] = trip.out_min[rows, 0], trip.back_min[rows, 0]
        self.join[site, near] = join[known]
        self.direct[0, site, near] = out_direct[0, pick[:, 0], rows, pick[:, 1]]
        self.direct[1, site, near] = back_direct[0, pick[:, 3], rows, pick[:, 2]]

    def _ask_farther(self, site: int, near: IntArray, key: FloatArray, other: FloatArray, limit: float) -> None:
        """Note how far legs are to be looked for that are not known: as far as proves the trip found, if one was."""
        found = np.isfinite(key)
        proves = np.where(found, key, 0.0) - np.where(found, other, 0.0)
        farther = np.where(found, proves, FARTHER * limit) + self.lag_min[near]
        self.spend_min[site, near] = farther * SPEND_ROUNDING + SPEND_ROUNDING - 1.0


def _reached(launch: Launch, dumps: Spots) -> BoolArray:
    """Mask the (sites, addresses) that some way may join; sites that reach each other reach the same."""
    network = launch.fleet.network
    states, base = network.search_states, network.base
    matrix = csr_array(launch.square[:states, :states])
    part = connected_components(matrix, connection="strong")[1]
    reached = np.zeros((len(launch.spots.state), len(dumps.state)), dtype=np.bool_)
    seen: dict[int, BoolArray] = {}
    for site, own in enumerate(launch.spots.state):
        starts = np.flatnonzero(np.isin(base, own)) if launch.inward else own
        for start in starts.tolist():
            if part[start] not in seen:
                order = breadth_first_order(matrix, start, return_predecessors=False)
                there = np.zeros(network.states, dtype=np.bool_)
                there[base[order]] = True
                seen[part[start]] = np.logical_or(*there[dumps.state].T)
            reached[site] |= seen[part[start]]
    off = np.isnan(dumps.driven[:, 0])
    reached[:, off] = False
    return reached


def _least(minutes: FloatArray, count: int) -> BoolArray:
    """Mask the `count` least of each column that are finite, equal ones by their order."""
    worst = _at_rank(minutes, count)
    below, equal = minutes < worst, (minutes == worst) & np.isfinite(worst)
    room = count - below.sum(axis=0)
    several = np.flatnonzero(equal.sum(axis=0) > room)
    equal[:, several] &= np.cumsum(equal[:, several], axis=0) <= room[several]
    mask: BoolArray = below | equal
    return mask


def _at_rank(minutes: FloatArray, count: int) -> FloatArray:
    """Give the `count`-th least of each column; inf where there are fewer, -inf where none is asked for."""
    if not 0 < count <= len(minutes):
        return np.full(minutes.shape[1], np.inf if count else -np.inf)
    least: FloatArray = np.partition(minutes, count - 1, axis=0)[count - 1]
    return least
