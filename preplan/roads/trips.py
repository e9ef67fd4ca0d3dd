"""Response drives and round trips: dense searches over states, one pair of legs a fill site, address and vehicle.

A spot is a place on a stretch. A leg leaves the fill site in one direction and reaches the dump site in one;
the way back leaves in the same direction (drive on) or the other (a turn), and so at the fill site. A round
trip is the least sum over the sixteen ways to join two legs: min(out) + min(back) is no trip, since the best
legs may need a turn between them that nobody has counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import Protocol

import numpy as np
from scipy.sparse import csr_array, vstack
from scipy.sparse.csgraph import dijkstra

from preplan.records import BoolArray, FloatArray, IntArray, RoadLimits
from preplan.roads.network import TINY_MIN, Arcs, RoadNetwork, Vehicle, states_for, vehicle_arcs

WATER_FIRST = 1e-6
"""Of equal round trips the one with the shorter loaded leg: tankers dump, then go on and turn empty. They drive the
same roads either way, and water comes sooner. Too small a share of the loaded leg to change anything else."""
JOINS = tuple(product((0, 1), repeat=4))
"""Directions: leaving the site, reaching the address, leaving the address, reaching the site (0 with the stretch)."""


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
class Search:
    """Searches out of spots, or into them: row 2 k + d is spot k in direction d."""

    spots: Spots
    minutes: FloatArray
    """(rows, search states) from the spot to the start of each state, or from there to the spot; inf: no way."""
    link: IntArray
    """(rows, search states) the one before (outward) or after (inward); -1 at the spot itself or without a way."""
    base: IntArray
    """(search states,) state that each drives."""
    own_next_min: FloatArray
    """(rows,) inward only: from the far end of the spot's own state round to the spot."""
    own_next: IntArray
    """(rows,) inward only: first state of that way; -1: none."""


def search_out(fleet: Fleet, spots: Spots) -> Search:
    """Search from every spot, leaving it in either direction, to the start of every state."""
    matrix = fleet.arcs.matrix(fleet.network.search_states)
    state, driven = spots.state.ravel(), spots.driven.ravel()
    # Leaving a spot drives the rest of its own state, then takes that state's turns.
    rows = matrix[state].tocsr()
    saved = np.nan_to_num(driven, nan=0.0) * fleet.state_min[state]
    rows.data = np.maximum(rows.data - np.repeat(saved, np.diff(rows.indptr)), TINY_MIN)
    rows.data[np.repeat(np.isnan(driven), np.diff(rows.indptr))] = np.inf
    minutes, link = _dense(matrix, rows)
    _enter_by_any_copy(fleet.network, minutes, link)
    rows_n = len(state)
    return Search(
        spots=spots,
        minutes=minutes,
        link=link,
        base=fleet.network.base,
        own_next_min=np.full(rows_n, np.inf),
        own_next=np.full(rows_n, -1, dtype=np.int32),
    )


def search_in(fleet: Fleet, spots: Spots) -> Search:
    """Search to every spot, reaching it in either direction, from the start of every state."""
    matrix = fleet.arcs.matrix(fleet.network.search_states)
    state, driven = spots.state.ravel(), spots.driven.ravel()
    usable = fleet.usable[state] & ~np.isnan(driven)
    part = np.where(usable, np.maximum(np.nan_to_num(driven) * fleet.state_min[state], TINY_MIN), np.inf)
    base = fleet.network.base
    spot, copy = np.nonzero(base[None, fleet.network.states :] == state[:, None])
    spot = np.concatenate([np.arange(len(state)), spot])
    into = np.concatenate([state, copy + fleet.network.states])
    sinks = csr_array((part[spot], (spot, into)), shape=(len(state), len(base)))
    minutes, link = _dense(matrix.T.tocsr(), sinks)
    onward = matrix[state].tocsr()
    gap = np.full(len(state), np.inf)
    first = np.full(len(state), -1, dtype=np.int32)
    for row in range(len(state)):
        ways = slice(onward.indptr[row], onward.indptr[row + 1])
        total = onward.data[ways] - fleet.state_min[state[row]] + minutes[row, onward.indices[ways]]
        if len(total) and np.isfinite(total.min()):
            gap[row], first[row] = total.min(), onward.indices[ways][total.argmin()]
    return Search(spots=spots, minutes=minutes, link=link, base=base, own_next_min=gap, own_next=first)


def _enter_by_any_copy(network: RoadNetwork, minutes: FloatArray, link: IntArray) -> None:
    """Let a state that has copies be reached as the soonest of them is; no way leads on from it, so none changes."""
    copies = np.arange(network.states, network.search_states)
    for state in np.unique(network.base[copies]).tolist():
        own = copies[network.base[copies] == state]
        soonest = own[minutes[:, own].argmin(axis=1)]
        rows = np.arange(len(minutes))
        minutes[:, state], link[:, state] = minutes[rows, soonest], link[rows, soonest]


def _dense(matrix: csr_array, extra: csr_array) -> tuple[FloatArray, IntArray]:
    """Search from extra rows put under a matrix; return (rows, states) minutes and links."""
    states, rows = matrix.shape[0], extra.shape[0]
    if rows == 0:
        return np.empty((0, states)), np.empty((0, states), dtype=np.int32)
    keep = np.isfinite(extra.data)
    extra = csr_array(
        (extra.data[keep], (np.repeat(np.arange(rows), np.diff(extra.indptr))[keep], extra.indices[keep])),
        shape=(rows, states),
    )
    both = csr_array(vstack([matrix, extra]))
    square = csr_array((both.data, both.indices, both.indptr), shape=(states + rows, states + rows))
    minutes, link = dijkstra(square, indices=np.arange(states, states + rows), return_predecessors=True)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuits:
    """All round trips of one vehicle, loaded out and empty back: arrays of shape (addresses, sites)."""

    loaded: Fleet
    empty: Fleet
    outward: Search
    inward: Search
    dumps: Spots
    out_min: FloatArray
    back_min: FloatArray
    """Turning at both ends counts here."""
    turning_min: FloatArray
    """What of back_min is turning at the dump site and the fill site."""
    join: IntArray
    """Index into `JOINS`, -1: no trip."""
    out_direct: BoolArray
    back_direct: BoolArray

    @property
    def trip_min(self) -> FloatArray:
        """Round trip, minutes; inf: no way."""
        return self.out_min + self.back_min

    @property
    def turns(self) -> tuple[BoolArray, BoolArray]:
        """Tell whether a trip turns round at the dump site, and at the fill site."""
        joins = np.array([*JOINS, (0, 0, 0, 0)])[self.join]
        return joins[..., 1] != joins[..., 2], joins[..., 3] != joins[..., 0]


def circuits(
    loaded: Fleet,
    empty: Fleet,
    sites: Spots,
    dumps: Spots,
    *,
    turnaround_min: FloatArray,
    dump_turn_min: float,
    loop_preference_min: float,
) -> Circuits:
    """Find the least round trip of every address and site; `turnaround_min` (sites,) is turning at each site.

    A drive on at the dump site is preferred to a turn that saves less than `loop_preference_min`.
    """
    outward, inward = search_out(loaded, sites), search_in(empty, sites)
    out, out_direct = _by_direction(*drive_out(loaded, outward, dumps))
    back, back_direct = _by_direction(*drive_in(empty, inward, dumps))
    shape = (len(dumps.state), len(sites.state))
    best_key, best = np.full(shape, np.inf), np.full(shape, -1, dtype=np.int32)
    out_min, back_min, turning = np.full(shape, np.inf), np.full(shape, np.inf), np.zeros(shape)
    for index, (leave, reach, away, home) in enumerate(JOINS):
        turn = (home != leave) * turnaround_min[None, :] + (away != reach) * dump_turn_min
        there, return_ = out[:, leave, :, reach].T, back[:, home, :, away].T + turn
        key = there + return_ + (away != reach) * loop_preference_min + WATER_FIRST * there
        better = key < best_key
        best_key[better], best[better] = key[better], index
        out_min[better], back_min[better] = there[better], return_[better]
        turning[better] = np.broadcast_to(turn, shape)[better]
    pick = np.array([*JOINS, (0, 0, 0, 0)])[best]
    a, s = np.indices(shape)
    return Circuits(
        loaded=loaded,
        empty=empty,
        outward=outward,
        inward=inward,
        dumps=dumps,
        out_min=out_min,
        back_min=back_min,
        turning_min=turning,
        join=best,
        out_direct=out_direct[s, pick[..., 0], a, pick[..., 1]],
        back_direct=back_direct[s, pick[..., 3], a, pick[..., 2]],
    )


def _by_direction(minutes: FloatArray, direct: BoolArray) -> tuple[FloatArray, BoolArray]:
    """Reshape (2 sites, addresses, 2) into (sites, 2, addresses, 2)."""
    shape = (minutes.shape[0] // 2, 2, *minutes.shape[1:])
    return minutes.reshape(shape), direct.reshape(shape)


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


def legs_of(found: Circuits, address: IntArray, site: IntArray) -> tuple[Legs, Legs]:
    """Pick the two legs of chosen (address, site) pairs that have a trip."""
    join = np.array(JOINS, dtype=np.int32)[found.join[address, site]]
    out = Legs(
        row=2 * site + join[:, 0],
        state=found.dumps.state[address, join[:, 1]],
        driven=found.dumps.driven[address, join[:, 1]],
        direct=found.out_direct[address, site],
    )
    back = Legs(
        row=2 * site + join[:, 3],
        state=found.dumps.state[address, join[:, 2]],
        driven=found.dumps.driven[address, join[:, 2]],
        direct=found.back_direct[address, site],
    )
    return out, back


def measure(search: Search, legs: Legs, per_state: FloatArray, *, inward: bool) -> FloatArray:
    """Sum columns of (states, columns) along each leg, the end stretches by the share driven: (legs, columns)."""
    own = search.spots.state.ravel()[legs.row]
    behind = search.spots.driven.ravel()[legs.row]
    site_share = behind if inward else 1.0 - behind
    address_share = 1.0 - legs.driven if inward else legs.driven
    whole = address_share[:, None] * per_state[legs.state] + site_share[:, None] * per_state[own]
    total = np.where(legs.direct[:, None], np.abs(behind - legs.driven)[:, None] * per_state[own], whole)
    active = np.flatnonzero(~legs.direct)
    at = first_step(search, legs)[active]
    row = legs.row[active]
    while True:
        go = (at >= 0) & ~((search.base[at] == own[active]) & inward)
        active, at, row = active[go], at[go], row[go]
        if not len(active):
            return total
        total[active] += per_state[search.base[at]]
        at = search.link[row, at]


def first_step(search: Search, legs: Legs) -> IntArray:
    """Give the state next to the address's own on the way to the site; -1 where the site's own comes next."""
    step = search.link[legs.row, legs.state]
    around = legs.state == search.spots.state.ravel()[legs.row]
    return np.where(around & (search.own_next[legs.row] >= 0), search.own_next[legs.row], step).astype(np.int32)
