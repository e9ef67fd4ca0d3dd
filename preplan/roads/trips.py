"""Round trips: one pair of legs a fill site, address and vehicle, and what lies along them.

A leg leaves the fill site in one direction and reaches the dump site in one; the way back leaves in the same
direction (drive on) or the other (a turn), and so at the fill site. A round trip is the least sum over the sixteen
ways to join two legs: min(out) + min(back) is no trip, since the best legs may need a turn between them that nobody
has counted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Protocol

import numpy as np
import numpy.typing as npt

from preplan.records import BoolArray, FloatArray, IntArray
from preplan.roads.search import Fleet, Legs, Search, Spots, drive_in, drive_out, search_in, search_out

WATER_FIRST = 1e-6
"""Of equal round trips the one with the shorter loaded leg: tankers dump, then go on and turn empty. They drive the
same roads either way, and water comes sooner. Too small a share of the loaded leg to change anything else."""
JOINS = tuple(product((0, 1), repeat=4))
"""Directions: leaving the site, reaching the address, leaving the address, reaching the site (0 with the stretch)."""
NO_JOIN = -1
JoinArray = npt.NDArray[np.int8]
"""Indices into `JOINS`."""
DIRECTIONS = np.array([*JOINS, (0, 0, 0, 0)])
"""The same as rows; the last, which is that of `NO_JOIN`, stands for no trip."""


class Reach(Protocol):
    """Searches that are at hand, or made again where their links are asked for."""

    @property
    def spots(self) -> Spots:
        """The spots searched from."""

    def parts(self, legs: Legs) -> Iterator[tuple[Search, IntArray, IntArray]]:
        """Give searches in which some legs lie, the indices of those that do, and their rows there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turning:
    """What turning round costs, minutes."""

    turnaround_min: FloatArray
    """(sites,) at each fill site."""
    dump_turn_min: float
    loop_preference_min: float
    """A drive on at the dump site is preferred to a turn that saves less."""

    def some(self, sites: IntArray | slice) -> Turning:
        """Take those of some sites."""
        return Turning(
            turnaround_min=self.turnaround_min[sites],
            dump_turn_min=self.dump_turn_min,
            loop_preference_min=self.loop_preference_min,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """Legs joined to round trips: arrays of shape (addresses, sites)."""

    out_min: FloatArray
    back_min: FloatArray
    """Turning at both ends counts here."""
    join: JoinArray
    """-1: no trip."""
    key_min: FloatArray
    """What was least: the round trip, with what is preferred."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuits:
    """Round trips of one vehicle, loaded out and empty back: arrays of shape (addresses, sites)."""

    loaded: Fleet
    empty: Fleet
    outward: Reach
    inward: Reach
    dumps: Spots
    turning: Turning
    out_min: FloatArray
    back_min: FloatArray
    """Turning at both ends counts here."""
    join: JoinArray
    """-1: no trip, or one that nobody has looked for."""
    out_direct: BoolArray
    back_direct: BoolArray

    @property
    def trip_min(self) -> FloatArray:
        """Round trip, minutes; inf: no way, or none that was looked for."""
        return self.out_min + self.back_min

    @property
    def turns(self) -> tuple[BoolArray, BoolArray]:
        """Tell whether a trip turns round at the dump site, and at the fill site."""
        return turns_of(self.join)

    @property
    def turning_min(self) -> FloatArray:
        """What of back_min is turning at the dump site and the fill site."""
        dump, site = self.turns
        return site * self.turning.turnaround_min + dump * self.turning.dump_turn_min


def turns_of(join: JoinArray) -> tuple[BoolArray, BoolArray]:
    """Tell whether trips turn round at the dump site, and at the fill site, by how their legs are joined."""
    directions = DIRECTIONS[join]
    return directions[..., 1] != directions[..., 2], directions[..., 3] != directions[..., 0]


def circuits(
    loaded: Fleet,
    empty: Fleet,
    sites: Spots,
    dumps: Spots,
    turning: Turning,
) -> Circuits:
    """Find the least round trip of every address and site."""
    outward, inward = search_out(loaded, sites), search_in(empty, sites)
    out, out_direct = by_direction(*drive_out(loaded, outward, dumps))
    back, back_direct = by_direction(*drive_in(empty, inward, dumps))
    best = join_legs(out, back, turning)
    pick = DIRECTIONS[best.join]
    a, s = np.indices(best.join.shape)
    return Circuits(
        loaded=loaded,
        empty=empty,
        outward=outward,
        inward=inward,
        dumps=dumps,
        turning=turning,
        out_min=best.out_min,
        back_min=best.back_min,
        join=best.join,
        out_direct=out_direct[s, pick[..., 0], a, pick[..., 1]],
        back_direct=back_direct[s, pick[..., 3], a, pick[..., 2]],
    )


def join_legs(out: FloatArray, back: FloatArray, turning: Turning) -> Joined:
    """Join legs, (sites, 2 at the site, addresses, 2 at the address) minutes each, to the least round trips."""
    shape = (out.shape[2], out.shape[0])
    best_key, best = np.full(shape, np.inf), np.full(shape, NO_JOIN, dtype=np.int8)
    out_min, back_min = np.full(shape, np.inf), np.full(shape, np.inf)
    for index, (leave, reach, away, home) in enumerate(JOINS):
        turn = (home != leave) * turning.turnaround_min[None, :] + (away != reach) * turning.dump_turn_min
        there, return_ = out[:, leave, :, reach].T, back[:, home, :, away].T + turn
        key = there + return_ + (away != reach) * turning.loop_preference_min + WATER_FIRST * there
        better = key < best_key
        best_key[better], best[better] = key[better], index
        out_min[better], back_min[better] = there[better], return_[better]
    return Joined(out_min=out_min, back_min=back_min, join=best, key_min=best_key)


def by_direction(minutes: FloatArray, direct: BoolArray) -> tuple[FloatArray, BoolArray]:
    """Reshape (2 sites, addresses, 2) into (sites, 2, addresses, 2)."""
    shape = (minutes.shape[0] // 2, 2, *minutes.shape[1:])
    return minutes.reshape(shape), direct.reshape(shape)


def legs_of(found: Circuits, address: IntArray, site: IntArray) -> tuple[Legs, Legs]:
    """Pick the two legs of chosen (address, site) pairs that have a trip."""
    join = DIRECTIONS[found.join[address, site]].astype(np.int32)
    out = Legs(
        row=2 * site + join[:, 0],
        state=found.dumps.state[address, join[:, 1]],
        driven=found.dumps.driven[address, join[:, 1]],
        direct=found.out_direct[address, site],
        at_most_min=found.out_min[address, site],
    )
    back = Legs(
        row=2 * site + join[:, 3],
        state=found.dumps.state[address, join[:, 2]],
        driven=found.dumps.driven[address, join[:, 2]],
        direct=found.back_direct[address, site],
        at_most_min=found.back_min[address, site],
    )
    return out, back


def measure(reach: Reach, legs: Legs, per_state: FloatArray, *, inward: bool) -> FloatArray:
    """Sum columns of (states, columns) along each leg, the end stretches by the share driven: (legs, columns)."""
    total = np.zeros((len(legs.row), per_state.shape[1]))
    for search, index, row in reach.parts(legs):
        total[index] = measured(search, legs.at(index, row), per_state, inward=inward)
    return total


def measured(search: Search, legs: Legs, per_state: FloatArray, *, inward: bool) -> FloatArray:
    """Sum columns along legs that lie in one search."""
    own = search.spots.state.ravel()[legs.row]
    behind = search.spots.driven.ravel()[legs.row]
    site_share = behind if inward else 1.0 - behind
    address_share = 1.0 - legs.driven if inward else legs.driven
    whole = address_share[:, None] * per_state[legs.state] + site_share[:, None] * per_state[own]
    total = np.where(legs.direct[:, None], np.abs(behind - legs.driven)[:, None] * per_state[own], whole)
    active = np.flatnonzero(~legs.direct)
    states = search.link.shape[1]
    offset = legs.row[active] * states  # into the links of all rows, one after the other
    at, link, ends_at = first_step(search, legs)[active], search.link.ravel(), own[active]
    while True:
        base = search.base[at]
        go = at >= 0 if not inward else (at >= 0) & (base != ends_at)
        if not go.all():
            active, at, base, offset, ends_at = active[go], at[go], base[go], offset[go], ends_at[go]
        if not len(active):
            return total
        total[active] += per_state[base]
        at = link[offset + at]


def first_step(search: Search, legs: Legs) -> IntArray:
    """Give the state next to the address's own on the way to the site; -1 where the site's own comes next."""
    step = search.link[legs.row, legs.state]
    around = legs.state == search.spots.state.ravel()[legs.row]
    return np.where(around & (search.own_next[legs.row] >= 0), search.own_next[legs.row], step).astype(np.int32)
