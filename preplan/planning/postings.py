"""What weight and size limits cost: which one, if it were lifted, would shorten whose round trips, and by how much.

A limit is posted, or a bridge's rating: both are called postings here. All of the district's tankers together are held
against a vehicle that no posting stops, on the round trip between each address and its fill site. What bars the tankers
on the quicker way is a candidate; the dearest are then lifted one at a time and the round trips searched again, so the
numbers that are printed are exact and not shared out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from preplan.plan import PostingCost
from preplan.planning.ground import SeasonGround
from preplan.planning.round_trips import PairSearch
from preplan.planning.vehicles import cut_vehicles, is_tanker, unlimited_fleet
from preplan.records import BoolArray, FloatArray, IntArray, RoadLimits, RoadTable, Unit
from preplan.roads.forest import Traced, trace
from preplan.roads.network import Vehicle, states_for
from preplan.roads.search import Fleet
from preplan.roads.trips import legs_of

LEAST_MIN = 0.05
"""A round trip longer by less is as long: pages print tenths of a minute."""
CHECKED = 10
"""Postings that are lifted for a new search, the dearest first (this program's careful choice)."""
_LIMITS = ("max_lb", "max_axle_lb", "max_height_ft", "max_width_ft")

Posting = tuple[int, ...]
"""The stretches of one posting: they join and are posted alike."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedWays:
    """The round trip that is asked about for each address: arrays of shape (addresses,)."""

    site: IntArray
    """The fill site it is planned with, else the nearest that stands for a vehicle without limits; -1: none."""
    all_min: FloatArray
    """Of all tankers together; inf: no way."""
    free_min: FloatArray
    """Of a vehicle without limits."""
    road: IntArray
    """Season of the roads that decides."""

    @classmethod
    def of(
        cls, site: IntArray, all_min: FloatArray, free_min: FloatArray, road: IntArray, stands: BoolArray
    ) -> AskedWays:
        """Look the trips up in (addresses, sites) minutes; `site` is -1 where nothing is planned.

        `stands` (sites,) masks the fill sites that are in service in some month that is planned.
        """
        rows, open_min = np.arange(len(site)), np.where(stands, free_min, np.inf)
        nearest = np.where(np.isfinite(open_min).any(axis=1), open_min.argmin(axis=1), -1)
        chosen = np.where(site >= 0, site, nearest).astype(np.int32)
        at = np.maximum(chosen, 0)
        return cls(site=chosen, all_min=all_min[rows, at], free_min=free_min[rows, at], road=road)

    def slower(self, season: int) -> IntArray:
        """List the addresses of a season whose tankers are held up, or kept away, by what is posted."""
        with np.errstate(invalid="ignore"):
            held = (self.site >= 0) & (self.all_min - self.free_min > LEAST_MIN)
        return np.flatnonzero(held & (self.road == season)).astype(np.int32)


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeWays:
    """What bars the tankers, in one season, on the ways that a vehicle without limits takes."""

    rows: IntArray
    """Addresses whose tankers are slower for it, or kept away."""
    postings: tuple[Posting, ...]
    met: IntArray
    """(pairs, 2): index into `rows`, index into `postings`; each once."""

    @property
    def stretches(self) -> IntArray:
        """List the (address, first stretch of the posting) of every pair, (pairs, 2)."""
        first = np.array([posting[0] for posting in self.postings] or [0], dtype=np.int32)
        return np.column_stack([self.rows[self.met[:, 0]], first[self.met[:, 1]]])


def free_ways(
    roads: RoadTable, seasons: tuple[SeasonGround, ...], units: tuple[Unit, ...], asked: AskedWays, search: PairSearch
) -> tuple[FreeWays, ...]:
    """Find what bars all tankers together on the quicker ways of those whom it holds up, season by season."""
    vehicles = cut_vehicles(tuple(unit for unit in units if is_tanker(unit)))
    return tuple(
        _free_ways(roads, ground, vehicles, asked, asked.slower(season), search)
        for season, ground in enumerate(seasons)
    )


def posting_costs(
    ways: tuple[FreeWays, ...],
    seasons: tuple[SeasonGround, ...],
    units: tuple[Unit, ...],
    asked: AskedWays,
    search: PairSearch,
) -> tuple[PostingCost, ...]:
    """Lift the dearest postings one at a time; those that save nobody anything alone are left out."""
    vehicles = cut_vehicles(tuple(unit for unit in units if is_tanker(unit)))
    dear: defaultdict[Posting, float] = defaultdict(float)
    barring: list[set[Posting]] = []
    for way in ways:
        met = _lost(way, asked)
        barring.append(set(met))
        for posting, minutes in met.items():
            dear[posting] += minutes
    checked = sorted(dear, key=lambda posting: (-dear[posting], posting))[:CHECKED]
    costs = []
    for posting in checked:
        saved = [
            _saved(ground, vehicles, posting, asked, asked.slower(season), search)
            for season, ground in enumerate(seasons)
            if posting in barring[season]
        ]
        costs.append(_cost(posting, np.concatenate(saved)))
    helps = [cost for cost in costs if cost.addresses]
    return tuple(sorted(helps, key=lambda cost: (-cost.opened, -cost.saved_min, cost.stretches)))


def _free_ways(
    roads: RoadTable,
    ground: SeasonGround,
    vehicles: tuple[Vehicle, Vehicle],
    asked: AskedWays,
    rows: IntArray,
    search: PairSearch,
) -> FreeWays:
    """Trace the ways of a vehicle without limits to some addresses, and gather what bars the tankers on them."""
    if not len(rows):
        return FreeWays(rows=rows, postings=(), met=np.empty((0, 2), dtype=np.int32))
    group, postings = group_postings(roads, ground.limits, barred(ground, vehicles))
    fleet = unlimited_fleet(ground.network, ground.limits, ground.minutes, vehicles[0].top_mph)
    found = search(fleet, fleet, rows, asked.site[rows])
    free = found.circuits
    out, back = legs_of(free, np.arange(len(rows), dtype=np.int32), found.site)
    on_way = [postings_on(trace(free.outward, out, inward=False), group)]
    on_way.append(postings_on(trace(free.inward, back, inward=True), group))
    return FreeWays(rows=rows, postings=postings, met=np.unique(np.concatenate(on_way), axis=0))


def _lost(way: FreeWays, asked: AskedWays) -> Mapping[Posting, float]:
    """Sum up for each posting on the free ways of some addresses the minutes that they lose in all.

    An address that tankers cannot reach counts as much as all that they reach later.
    """
    lost = asked.all_min[way.rows] - asked.free_min[way.rows]
    lost = np.where(np.isfinite(lost), lost, 1.0 + np.sum(lost[np.isfinite(lost)]))
    trip, met = way.met.T
    minutes = np.bincount(met, weights=lost[trip], minlength=len(way.postings))
    return {way.postings[at]: float(minutes[at]) for at in np.flatnonzero(minutes).tolist()}


def barred(ground: SeasonGround, vehicles: tuple[Vehicle, Vehicle]) -> BoolArray:
    """Mask the (segments,) open roads that a posting closes to units, loaded or empty."""
    network = ground.network
    loaded, empty = (states_for(network, ground.limits, vehicle) for vehicle in vehicles)
    closed = network.open & ~(loaded & empty)
    return np.asarray(closed.reshape(-1, 2).any(axis=1), dtype=np.bool_)


def group_postings(roads: RoadTable, limits: RoadLimits, barred: BoolArray) -> tuple[IntArray, tuple[Posting, ...]]:
    """Part barred stretches into postings: those that meet and are posted alike are one.

    Returns
    -------
    tuple
        (segments,) index of the posting of each stretch, -1: not barred; and the postings.
    """
    rows = np.flatnonzero(barred)
    group = np.full(len(roads), -1, dtype=np.int32)
    if not len(rows):
        return group, ()
    signs = np.column_stack([getattr(limits, name)[rows] for name in _LIMITS])
    _, sign = np.unique(signs, axis=0, return_inverse=True)
    # two stretches that are posted alike and end at one node share the key of that node and sign
    ends = np.concatenate([roads.from_node[rows], roads.to_node[rows]]).astype(np.int64)
    keys = ends * (int(sign.max()) + 1) + np.concatenate([sign, sign]).ravel()
    _, place = np.unique(keys, return_inverse=True)
    count, own = len(rows), np.tile(np.arange(len(rows)), 2)
    size = count + int(place.max()) + 1
    joins = csr_array((np.ones(len(own)), (own, count + place)), shape=(size, size))
    _, piece = connected_components(joins, directed=False)
    _, number = np.unique(piece[:count], return_inverse=True)
    group[rows] = number
    order = np.argsort(number, kind="stable")
    parts = np.split(rows[order], np.flatnonzero(np.diff(number[order])) + 1)
    return group, tuple(tuple(part.tolist()) for part in parts)


def postings_on(traced: Traced, group: IntArray) -> IntArray:
    """List the (trip, posting) pairs on traced legs, shape (pairs, 2); a pair may come again."""
    trip = np.arange(len(traced.leaf))
    at = traced.leaf
    pairs = [np.empty((0, 2), dtype=np.int64)]
    while len(at):
        met = group[traced.forest.segment[at]]
        pairs.append(np.column_stack([trip, met])[met >= 0])
        at = traced.forest.parent[at]
        trip, at = trip[at >= 0], at[at >= 0]
    return np.concatenate(pairs).astype(np.int32)


def _saved(
    ground: SeasonGround,
    vehicles: tuple[Vehicle, Vehicle],
    posting: Posting,
    asked: AskedWays,
    rows: IntArray,
    search: PairSearch,
) -> FloatArray:
    """Lift one posting and give what each of some addresses saves, minutes; inf where tankers come only then."""
    stretches = list(posting)
    lifted = {name: getattr(ground.limits, name).copy() for name in _LIMITS}
    for column in lifted.values():
        column[stretches] = np.inf
    limits = replace(ground.limits, **lifted)
    loaded, empty = (Fleet.of(ground.network, limits, ground.minutes(vehicle.top_mph), vehicle) for vehicle in vehicles)
    now = search(loaded, empty, rows, asked.site[rows]).trip_min
    with np.errstate(invalid="ignore"):
        return np.where(np.isfinite(now), asked.all_min[rows] - now, 0.0)


def _cost(posting: Posting, saved_min: FloatArray) -> PostingCost:
    """Sum up what lifting one posting saves."""
    helped = saved_min > LEAST_MIN
    sooner = saved_min[helped & np.isfinite(saved_min)]
    return PostingCost(
        stretches=posting,
        addresses=int(helped.sum()),
        opened=int(np.isinf(saved_min).sum()),
        saved_min=float(sooner.sum()),
        most_min=float(sooner.max(initial=0.0)),
    )
