"""Round trips of one vehicle where there are many fill sites: only those that somebody asks for.

A search of every site to the end of the roads grows with sites times roads. Here addresses say how far each is to be
looked for (`convoy` asks, `narrow` searches). A trip is *known* once no way beyond that could beat it: what was not
reached takes more than the limit one way, and the other way as much as was found at least. Minutes come first; the ways
themselves are searched again where somebody asks for them. Minutes are sums along the same roads in the same order as
those of an unlimited search, so they are equal to the last bit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components

from preplan.records import BoolArray, Columns, FloatArray, IntArray
from preplan.roads.leg_bounds import LegBounds
from preplan.roads.narrow import Again
from preplan.roads.search import Fleet, Launch, Search, Spots, drive_in, drive_out
from preplan.roads.trips import DIRECTIONS, NO_JOIN, WATER_FIRST, Circuits, JoinArray, Turning, by_direction, join_legs

SPEND_ROUNDING = 1.0 + 1e-6
"""What single precision may round away, relative and in minutes."""
FIRST_SHARE, FIRST_MIN = 1.2, 8.0
"""How far beyond its bound a leg is looked for at first (speed only, no result)."""
FARTHER = 1.3
"""How much farther it is looked for where no way was found (speed only, no result)."""
PIECE = 400
"""Addresses worked on at once, so that temporary arrays stay small."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof(Columns):
    """What a search proves of the trips between one site and some addresses; arrays of shape (addresses,)."""

    address: IntArray
    known: BoolArray
    least_min: FloatArray
    """The round trip where it is known, inf where there is none; elsewhere what it takes at least."""
    spend_min: FloatArray
    """How far the legs of a trip that is not known are to be looked for."""
    out_min: FloatArray
    """Where a trip is known, as in all below."""
    back_min: FloatArray
    join: JoinArray
    out_direct: BoolArray
    """The leg out stays on one stretch."""
    back_direct: BoolArray


@dataclass(slots=True, kw_only=True)
class NearTrips:
    """Round trips of one vehicle that are looked for when somebody asks; arrays of shape (sites, addresses)."""

    out: Launch
    into: Launch
    dumps: Spots
    turning: Turning
    bounds: LegBounds
    least_min: FloatArray
    """The round trip where it is known, inf where there is none; elsewhere what it takes at least."""
    spend_min: npt.NDArray[np.float32]
    """How far its legs are to be looked for."""
    known: BoolArray
    told: tuple[list[Proof], ...]
    """(sites,) all trips that are known: few of all pairs, so no array of all pairs is laid out for them."""

    @classmethod
    def of(
        cls,
        loaded: Fleet,
        empty: Fleet,
        sites: Spots,
        dumps: Spots,
        turning: Turning,
        bounds: LegBounds,
    ) -> NearTrips:
        """Make ready to look for trips; `bounds` are those of `leg_bounds` for these fleets or more."""
        out, into = Launch.out(loaded, sites), Launch.into(empty, sites)
        legs = bounds.leg_min
        none = np.isinf(legs) | ~(_reached(out, dumps) & _reached(into, dumps))
        least = np.multiply(legs, 2.0, dtype=np.float64)
        least[none] = np.inf
        spend = legs * np.float32(FIRST_SHARE)
        spend += np.float32(FIRST_MIN)
        return cls(
            out=out,
            into=into,
            dumps=dumps,
            turning=turning,
            bounds=bounds,
            least_min=least,
            spend_min=spend,
            known=none,
            told=tuple([] for _ in legs),
        )

    @property
    def trip_min(self) -> FloatArray:
        """Round trips, (addresses, sites) minutes; inf: no way, or not known."""
        minutes = np.full(self.known.shape[::-1], np.inf)
        for site, proof in self._proofs():
            minutes[proof.address, site] = proof.out_min + proof.back_min
        return minutes

    def circuits(self, told: BoolArray) -> Circuits:
        """Give the round trips, (addresses, sites), of the pairs (sites, addresses) that are told, known ones all."""
        shape = self.known.shape[::-1]
        out_min, back_min = np.full((2, *shape), np.inf)
        join: JoinArray = np.full(shape, NO_JOIN, dtype=np.int8)
        out_direct, back_direct = np.zeros((2, *shape), dtype=np.bool_)
        for site, every in self._proofs():
            proof = every.rows(told[site, every.address])
            at = (proof.address, site)
            out_min[at], back_min[at], join[at] = proof.out_min, proof.back_min, proof.join
            out_direct[at], back_direct[at] = proof.out_direct, proof.back_direct
        return Circuits(
            loaded=self.out.fleet,
            empty=self.into.fleet,
            outward=Again(launch=self.out, bounds=self.bounds),
            inward=Again(launch=self.into, bounds=self.bounds),
            dumps=self.dumps,
            turning=self.turning,
            out_min=out_min,
            back_min=back_min,
            join=join,
            out_direct=out_direct,
            back_direct=back_direct,
        )

    def best(self, column: IntArray, count: int, among: BoolArray) -> tuple[BoolArray, BoolArray]:
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

    # ----------------------------------------------------------------------- how

    def settle(self, site: int, near: IntArray, limit: FloatArray, outward: Search, inward: Search) -> Proof:
        """Join the legs between a site and some addresses, as far as each was looked for, and tell what they prove."""
        dumps = self.dumps.some(near)
        out, out_direct = by_direction(*drive_out(self.out.fleet, outward, dumps))
        back, back_direct = by_direction(*drive_in(self.into.fleet, inward, dumps))
        # beyond the limit a search tells nothing: a longer leg that was found may not be the shortest
        out[out > limit[:, None]] = np.inf
        back[back > limit[:, None]] = np.inf
        trip = join_legs(out, back, self.turning.some(slice(site, site + 1)))
        key, out_min, back_min = trip.key_min[:, 0], trip.out_min[:, 0], trip.back_min[:, 0]
        least = np.minimum(limit, np.minimum(out.min(axis=(0, 1, 3)), back.min(axis=(0, 1, 3))))
        beyond = limit + least
        known = (key <= beyond) | np.isinf(limit)
        lower = (beyond - self.turning.loop_preference_min) / (1.0 + WATER_FIRST)
        pick, rows = DIRECTIONS[trip.join[:, 0]], np.arange(len(near))
        proof = Proof(
            address=near,
            known=known,
            least_min=np.where(known, out_min + back_min, np.maximum(lower, self.least_min[site, near])),
            spend_min=_farther(key, least, limit),
            out_min=out_min,
            back_min=back_min,
            join=trip.join[:, 0],
            out_direct=out_direct[0, pick[:, 0], rows, pick[:, 1]],
            back_direct=back_direct[0, pick[:, 3], rows, pick[:, 2]],
        )
        self.take(site, proof)
        return proof

    def take(self, site: int, proof: Proof) -> None:
        """Write down what was proved for this vehicle, or for another that drives the same ways."""
        self.known[site, proof.address] = proof.known
        self.least_min[site, proof.address] = proof.least_min
        self.spend_min[site, proof.address] = proof.spend_min
        self.told[site].append(proof.rows(proof.known & (proof.join >= 0)))

    def _proofs(self) -> Iterator[tuple[int, Proof]]:
        """Give each site's known trips."""
        for site, proofs in enumerate(self.told):
            for proof in proofs:
                yield site, proof


def _farther(key: FloatArray, other: FloatArray, limit: FloatArray) -> FloatArray:
    """Tell how far legs are to be looked for that are not known: as far as proves the trip found, if one was."""
    found = np.isfinite(key)
    proves = np.where(found, key, 0.0) - np.where(found, other, 0.0)
    farther: FloatArray = np.where(found, proves, FARTHER * limit) * SPEND_ROUNDING + SPEND_ROUNDING - 1.0
    return farther


def _reached(launch: Launch, dumps: Spots) -> BoolArray:
    """Mask the (sites, addresses) that some way may join; sites that reach each other reach the same."""
    network = launch.fleet.network
    states, base = network.search_states, network.base
    copied = base[network.states :]
    matrix = csr_array(launch.square[:states, :states])
    part = connected_components(matrix, connection="strong")[1]
    reached = np.zeros((len(launch.spots.state), len(dumps.state)), dtype=np.bool_)
    seen: dict[int, BoolArray] = {}
    for site, own in enumerate(launch.spots.state):
        copies = network.states + np.flatnonzero(np.isin(copied, own)) if launch.inward else own[:0]
        starts = np.append(own, copies)
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
