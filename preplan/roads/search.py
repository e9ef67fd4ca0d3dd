"""Searches over states: from spots outward to every state, or from every state inward to spots.

A spot is a place on a stretch, left or reached in either direction. Searches here run to the end of the roads; `narrow`
makes those that need not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array, vstack
from scipy.sparse.csgraph import dijkstra

from preplan.records import BoolArray, FloatArray, IntArray, RoadLimits
from preplan.roads.network import TINY_MIN, Arcs, RoadNetwork, Vehicle, states_for, vehicle_arcs


class OnRoad(Protocol):
    """Anything whose rows lie on stretches of road."""

    @property
    def segment(self) -> IntArray:
        """Stretch, -1 off the roads."""

    @property
    def fraction(self) -> FloatArray:
        """Share of the stretch from its `from_node`."""


@dataclass(frozen=True, slots=True)
class Spots:
    """Places on stretches of road, split into one state a direction: arrays of shape (spots, 2)."""

    state: IntArray
    """State of each direction; 0 where off the roads."""
    driven: FloatArray
    """Share of the state that lies behind the spot; NaN where off the roads."""

    @classmethod
    def of(cls, places: OnRoad) -> Spots:
        """Make both states of each place."""
        return cls.at(places.segment, places.fraction)

    @classmethod
    def at(cls, segment: IntArray, fraction: FloatArray) -> Spots:
        """Make both states at shares of stretches."""
        on = (segment >= 0)[:, None]
        driven = np.column_stack([fraction, 1.0 - fraction])
        return cls(
            state=(2 * np.maximum(segment, 0)[:, None] + np.array([0, 1])).astype(np.int32),
            driven=np.where(on, driven, np.nan),
        )

    def some(self, rows: IntArray | slice) -> Spots:
        """Take some of the spots."""
        return Spots(state=self.state[rows], driven=self.driven[rows])


@dataclass(frozen=True, slots=True, kw_only=True)
class Fleet:
    """The roads as one vehicle sees them."""

    network: RoadNetwork
    usable: BoolArray
    """(states,)."""
    state_min: FloatArray
    """(states,) minutes to drive each state in full; 0 where not usable."""
    arcs: Arcs

    @classmethod
    def of(cls, network: RoadNetwork, limits: RoadLimits, minutes: FloatArray, vehicle: Vehicle) -> Fleet:
        """Mask and price the roads for a vehicle; `minutes` (segments, 2) at its top speed."""
        flat = minutes.ravel()
        usable = states_for(network, limits, vehicle) & np.isfinite(flat)
        state_min = np.where(usable, flat, 0.0)
        return cls(network=network, usable=usable, state_min=state_min, arcs=vehicle_arcs(network, usable, state_min))


@dataclass(frozen=True, slots=True, kw_only=True)
class Legs:
    """One leg each of many chosen trips: where in its search each begins."""

    row: IntArray
    """(trips,) row of the search."""
    state: IntArray
    """(trips,) state at the address."""
    driven: FloatArray
    """(trips,) share of that state behind the address."""
    direct: BoolArray
    """(trips,) the leg stays on one state."""
    at_most_min: FloatArray
    """(trips,) the leg takes no longer."""

    def at(self, index: IntArray, row: IntArray) -> Legs:
        """Take some of the legs, which lie in other rows of another search."""
        return Legs(
            row=row,
            state=self.state[index],
            driven=self.driven[index],
            direct=self.direct[index],
            at_most_min=self.at_most_min[index],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """Searches out of spots, or into them: row 2 k + d is spot k in direction d."""

    spots: Spots
    minutes: FloatArray
    """(rows, search states) from the spot to the start of each state, or from there to the spot; inf: no way."""
    link: IntArray
    """(rows, search states) the one before (outward) or after (inward); -1 at the spot itself or without a way.

    Without rows where only minutes were asked for; see `narrow`.
    """
    base: IntArray
    """(search states,) state that each drives."""
    own_next_min: FloatArray
    """(rows,) inward only: from the far end of the spot's own state round to the spot."""
    own_next: IntArray
    """(rows,) inward only: first state of that way; -1: none."""

    def parts(self, legs: Legs) -> Iterator[tuple[Search, IntArray, IntArray]]:
        """Give the searches in which some legs lie, which of them do, and their rows there: here all in this one."""
        yield self, np.arange(len(legs.row), dtype=np.int32), legs.row


@dataclass(frozen=True, slots=True, kw_only=True)
class Launch:
    """All spots of one kind made ready to be searched from, in one direction."""

    fleet: Fleet
    spots: Spots
    inward: bool
    square: csr_array
    """The search states, then a row for each spot and direction."""
    onward: csr_array
    """(rows, search states) inward only: the ways on from the far end of each spot's own state."""

    @classmethod
    def out(cls, fleet: Fleet, spots: Spots) -> Launch:
        """Make ready to leave every spot in either direction."""
        matrix = fleet.arcs.matrix(fleet.network.search_states)
        state, driven = spots.state.ravel(), spots.driven.ravel()
        # Leaving a spot drives the rest of its own state, then takes that state's turns.
        rows = matrix[state].tocsr()
        saved = np.nan_to_num(driven, nan=0.0) * fleet.state_min[state]
        rows.data = np.maximum(rows.data - np.repeat(saved, np.diff(rows.indptr)), TINY_MIN)
        rows.data[np.repeat(np.isnan(driven), np.diff(rows.indptr))] = np.inf
        none = csr_array((0, matrix.shape[1]))
        return cls(fleet=fleet, spots=spots, inward=False, square=_square(matrix, rows), onward=none)

    @classmethod
    def into(cls, fleet: Fleet, spots: Spots) -> Launch:
        """Make ready to reach every spot in either direction: the arcs run backwards."""
        matrix = fleet.arcs.matrix(fleet.network.search_states)
        state, driven = spots.state.ravel(), spots.driven.ravel()
        usable = fleet.usable[state] & ~np.isnan(driven)
        part = np.where(usable, np.maximum(np.nan_to_num(driven) * fleet.state_min[state], TINY_MIN), np.inf)
        base = fleet.network.base
        spot, copy = np.nonzero(base[None, fleet.network.states :] == state[:, None])
        spot = np.concatenate([np.arange(len(state)), spot])
        into = np.concatenate([state, copy + fleet.network.states])
        sinks = csr_array((part[spot], (spot, into)), shape=(len(state), len(base)))
        onward = matrix[state].tocsr()
        return cls(fleet=fleet, spots=spots, inward=True, square=_square(matrix.T.tocsr(), sinks), onward=onward)

    def search(self) -> Search:
        """Search from all spots, to the end of the roads."""
        spots = np.arange(len(self.spots.state), dtype=np.int32)
        states = self.fleet.network.search_states
        minutes, link = search_rows(self.square, states, states + _both(spots), limit_min=np.inf, links=True)
        return self.told(spots, minutes, link)

    def told(self, some: IntArray, minutes: FloatArray, link: IntArray, *other: npt.NDArray[np.uint32]) -> Search:
        """Tell what was found from some spots: arrays (rows, search states), which are completed where they stand.

        `other` arrays go with the links: a state that has copies takes what the soonest of them has.
        """
        rows = _both(some)
        around_min, around = np.full(len(rows), np.inf), np.full(len(rows), -1, dtype=np.int32)
        if self.inward:
            around_min, around = self._around(rows, minutes)
        else:
            _enter_by_any_copy(self.fleet.network, minutes, link, *other)
        return Search(
            spots=self.spots.some(some),
            minutes=minutes,
            link=link,
            base=self.fleet.network.base,
            own_next_min=around_min,
            own_next=around,
        )

    def _around(self, rows: IntArray, minutes: FloatArray) -> tuple[FloatArray, IntArray]:
        """Find the way from the far end of each spot's own state round to the spot; `minutes` are of these rows."""
        drive_min = self.fleet.state_min[self.spots.state.ravel()[rows]]
        gap, first = np.full(len(rows), np.inf), np.full(len(rows), -1, dtype=np.int32)
        for at, row in enumerate(rows.tolist()):
            ways = slice(self.onward.indptr[row], self.onward.indptr[row + 1])
            into = self.onward.indices[ways]
            total = self.onward.data[ways] - drive_min[at] + minutes[at, into]
            if len(total) and np.isfinite(total.min()):
                gap[at], first[at] = total.min(), into[total.argmin()]
        return gap, first


def _both(spots: IntArray) -> IntArray:
    """Give the rows of both directions of some spots."""
    rows: IntArray = (2 * spots[:, None] + np.array([0, 1])).ravel()
    return rows


def search_out(fleet: Fleet, spots: Spots) -> Search:
    """Search from every spot, leaving it in either direction, to the start of every state."""
    return Launch.out(fleet, spots).search()


def search_in(fleet: Fleet, spots: Spots) -> Search:
    """Search to every spot, reaching it in either direction, from the start of every state."""
    return Launch.into(fleet, spots).search()


def _enter_by_any_copy(network: RoadNetwork, minutes: FloatArray, *carried: npt.NDArray[Any]) -> None:
    """Let a state that has copies be reached as the soonest of them is; no way leads on from it, so none changes."""
    own = network.base[network.states :]
    if not len(own):
        return
    order = np.argsort(own, kind="stable")
    state, first = np.unique(own[order], return_index=True)
    reached = minutes[:, network.states + order]
    soonest = np.minimum.reduceat(reached, first, axis=1)
    minutes[:, state] = soonest
    is_soonest = reached == np.repeat(soonest, np.diff(np.append(first, len(own))), axis=1)
    at = np.minimum.reduceat(np.where(is_soonest, np.arange(len(own)), len(own)), first, axis=1)
    for one in carried:
        if len(one):
            one[:, state] = np.take_along_axis(one, network.states + order[at], axis=1)


def _square(matrix: csr_array, extra: csr_array) -> csr_array:
    """Put extra rows (rows, states) under a matrix; ways without an end are left out."""
    states, rows = matrix.shape[0], extra.shape[0]
    keep = np.isfinite(extra.data)
    extra = csr_array(
        (extra.data[keep], (np.repeat(np.arange(rows), np.diff(extra.indptr))[keep], extra.indices[keep])),
        shape=(rows, states),
    )
    both = csr_array(vstack([matrix, extra]))
    return csr_array((both.data, both.indices, both.indptr), shape=(states + rows, states + rows))


def search_rows(
    square: csr_array, states: int, origins: IntArray, *, limit_min: float, links: bool
) -> tuple[FloatArray, IntArray]:
    """Search from some rows of a square matrix; return (rows, states) minutes, and links where they are wanted."""
    none = np.empty((0, states), dtype=np.int32)
    if len(origins) == 0:
        return np.empty((0, states)), none
    if not links:
        return dijkstra(square, indices=origins, limit=limit_min)[:, :states], none
    minutes, link = dijkstra(square, indices=origins, limit=limit_min, return_predecessors=True)
    link = np.where((link < 0) | (link >= states), -1, link).astype(np.int32)
    return minutes[:, :states], link[:, :states]


def drive_out(fleet: Fleet, search: Search, to: Spots) -> tuple[FloatArray, BoolArray]:
    """Time every outward drive: (rows, places, 2) minutes, and whether it stays on the spot's own state."""
    part = to.driven * fleet.state_min[to.state]
    through = search.minutes[:, to.state] + part
    own, behind = search.spots.state.ravel(), search.spots.driven.ravel()
    with np.errstate(invalid="ignore"):
        ahead = to.driven[None] - behind[:, None, None]
        same = (own[:, None, None] == to.state[None]) & (ahead >= 0.0) & fleet.usable[to.state][None]
        direct = np.where(same, ahead * fleet.state_min[to.state][None], np.inf)
    through = np.where(np.isnan(through), np.inf, through)
    return np.minimum(direct, through), direct <= through


def quickest_out(fleet: Fleet, search: Search, to: Spots, spot: IntArray, place: IntArray) -> Legs:
    """Pick the quickest drive of pairs of a spot of the search and a place: out of and into either direction.

    `spot` and `place`, (pairs,), are rows of the search's spots and of `to`.
    """
    places, where = np.unique(place, return_inverse=True)
    minutes, direct = (
        by_direction.reshape(-1, 2, *by_direction.shape[1:])[spot, :, where].reshape(-1, 4)
        for by_direction in drive_out(fleet, search, to.some(places))
    )
    pair, best = np.arange(len(spot)), minutes.argmin(axis=1)
    leaving, arriving = np.divmod(best, 2)
    return Legs(
        row=(2 * spot + leaving).astype(np.int32),
        state=to.state[place, arriving],
        driven=to.driven[place, arriving],
        direct=direct[pair, best],
        at_most_min=minutes[pair, best],
    )


def drive_in(fleet: Fleet, search: Search, start: Spots) -> tuple[FloatArray, BoolArray]:
    """Time every inward drive: (rows, places, 2) minutes, and whether it stays on the spot's own state."""
    own, behind = search.spots.state.ravel(), search.spots.driven.ravel()
    rest = (1.0 - start.driven) * fleet.state_min[start.state]
    after = search.minutes[:, start.state] - fleet.state_min[start.state]
    on_own = own[:, None, None] == start.state[None]
    after = np.where(on_own, search.own_next_min[:, None, None], after)
    through = after + rest
    with np.errstate(invalid="ignore"):
        ahead = behind[:, None, None] - start.driven[None]
        same = on_own & (ahead >= 0.0) & fleet.usable[start.state][None]
        direct = np.where(same, ahead * fleet.state_min[start.state][None], np.inf)
    through = np.where(np.isnan(through) | ~fleet.usable[start.state][None], np.inf, through)
    return np.minimum(direct, through), direct <= through


def response_min(fleet: Fleet, stations: Spots, to: Spots) -> FloatArray:
    """Time the drive from each station to each place, (stations, places) minutes; inf: no way."""
    minutes, _ = drive_out(fleet, search_out(fleet, stations), to)
    by_station: FloatArray = minutes.min(axis=2).reshape(len(stations.state), 2, -1).min(axis=1)
    return by_station
