"""Fill sites that nobody has looked for and that could still win: found by a bound on their flow, then looked for.

Where there are many sites only the trips to the best of them, by minutes, are searched at first. A site farther away
may deliver more: a strong hydrant beats a near pond. What an unknown trip takes at least bounds from above what is held
and what is delivered; while a bound could be among the best two of some level and season, the trip is searched.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from preplan.planning.assignment import CutTrips, Scene, season_months
from preplan.planning.choices import SeasonSites, season_sites
from preplan.planning.fireground import case_table, drafting_itself, everyone, setup_min
from preplan.planning.flows import ALIKE, Flows
from preplan.planning.pieces import in_pieces
from preplan.planning.round_trips import SeasonTrips
from preplan.planning.splits import NEAREST
from preplan.records import BoolArray, FillSite, FloatArray, IntArray
from preplan.water.same import SAME
from preplan.water.timeline_bound import most_delivered_gpm, most_flow_gpm
from preplan.water.timeline_table import CaseTable

Looks = Sequence[tuple[BoolArray, SeasonSites]]
"""The sites that stand in each season, (sites,), and what a first look chooses among them."""
KINDS = 3
"""Kinds into which sites that need an engine, and those that do not, are parted by what they give (speed only)."""


def settle_doubts(flows: Flows, trips: SeasonTrips, scene_now: Callable[[], Scene]) -> None:
    """Look for trips until no unknown site could be among the best two, nor be tried as a second one.

    `scene_now` tells the trips as they are.

    Of sites that deliver nothing at all those that are known stay chosen.
    """
    if trips.all_searched:
        return
    scene = flows.scene
    seasons = season_months(scene.sites, scene.rules.plan.months)
    stands = np.logical_or.reduce([mask for _, mask in seasons])
    while True:
        unknown_min = trips.least_min
        least_min = np.where(stands, unknown_min, np.inf)
        looks = [(mask, season_sites(scene, flows, mask, in_full=False)) for _, mask in seasons]
        doubtful = doubtful_pairs(scene, least_min, _bars(flows, looks, least_min))
        doubtful |= _second_sites(flows, looks, least_min)
        if not doubtful.any():
            return
        trips.settle(doubtful)
        flows.learn(scene_now(), np.isfinite(unknown_min) & np.isinf(trips.least_min))


def _second_sites(flows: Flows, looks: Looks, least_min: FloatArray) -> BoolArray:
    """Mask the unknown (addresses, sites) that could be among the nearest in some season.

    Second fill sites are sought among them where one may not serve: `splits.NEAREST` behind those that draw on the
    source of the first.
    """
    scene = flows.scene
    doubtful = np.zeros(least_min.shape, dtype=np.bool_)
    if not scene.rules.plan.split_sites:
        return doubtful
    shares = max(Counter(site.source for site in scene.sites).values())
    need = scene.needs.met_from_gpm[:, None]
    for stands, chosen in looks:
        held = np.column_stack([flows.held_at(column, level) for level, column in enumerate(chosen.site.T)])
        trip = np.sort(np.where(stands, flows.shortest_min, np.inf), axis=1)
        bar = np.column_stack([trip, np.full((len(trip), NEAREST + shares), np.inf)])[:, NEAREST + shares - 1]
        asked = (held < need).any(axis=1, keepdims=True)
        doubtful |= stands & (least_min < bar[:, None]) & asked
    return doubtful & np.isfinite(least_min)


@dataclass(frozen=True, slots=True)
class Bars:
    """What an unknown site must exceed to be among the best two: arrays of shape (addresses, levels), gpm."""

    held_gpm: FloatArray
    """Uninterrupted flow; where the lesser of the two does not meet, just below the requirement."""
    delivered_gpm: FloatArray
    """Mean flow delivered; inf where the lesser of the two meets."""

    def exceeded(self, table: CaseTable, address: IntArray, level: IntArray) -> BoolArray:
        """Mask the cases, (cases,), whose bounds are above one of the bars."""
        exceeded: BoolArray = most_flow_gpm(table) > self.held_gpm[address, level]
        bar = self.delivered_gpm[address, level]
        rows = np.flatnonzero(~exceeded & np.isfinite(bar))
        exceeded[rows] = most_delivered_gpm(table.rows(rows)) > bar[rows]
        return exceeded


def _bars(flows: Flows, looks: Looks, least_min: FloatArray) -> Bars:
    """Give what an unknown site must exceed.

    The lesser one of the best site and of the one that stands in, in the season in which it is least; below zero where
    none stands in. Whichever of the two is chosen in the end, the other one bars the way.
    """
    scene = flows.scene
    a, need = np.arange(len(scene.needs)), scene.needs.met_from_gpm
    soonest = least_min.min(axis=1, initial=np.inf)
    bars = Bars(*np.full((2, len(a), len(scene.levels)), np.inf))
    for _, chosen in looks:
        for level, backup in enumerate(chosen.backup.T):
            at = np.maximum(backup, 0)
            gpm, sent = flows.held_at(backup, level), scene.response.tankers[:, level].sum(axis=1)
            # As much wins by more tankers, or by a shorter trip; see `Flows.best_site`.
            loses = (flows.tankers[a, at, level] >= sent) & (soonest >= flows.trip_min[a, at, level])
            bar = np.where(loses | (gpm <= 0.0), gpm * (1.0 + SAME), gpm * (1.0 - 2.0 * ALIKE))
            site = chosen.site[:, level]
            bar = np.minimum(bar, flows.held_at(site, level) * (1.0 + SAME))
            lesser = np.minimum(flows.brought_at(backup, level), flows.brought_at(site, level))
            meets, nearly = lesser >= need, flows.nearly(lesser, need) * (1.0 - 2.0 * SAME)
            held = np.where(meets, bar, np.maximum(need, 0.0) * (1.0 - 2.0 * SAME))
            delivered = np.where(meets, np.inf, np.where(nearly > 0.0, nearly, 0.0))
            for found, least in ((bars.held_gpm, held), (bars.delivered_gpm, delivered)):
                found[:, level] = np.minimum(found[:, level], np.where(backup >= 0, least, -1.0))
    return bars


def doubtful_pairs(scene: Scene, least_min: FloatArray, bars: Bars) -> BoolArray:
    """Mask the (addresses, sites) whose trip is unknown and whose flow could be above a level's bars.

    `least_min` (addresses, sites) is what an unknown trip takes at least, inf where it is known or there is none.
    """
    kinds = _kinds(scene)
    member = np.full(len(scene.sites), -1, dtype=np.int32)
    for number, kind in enumerate(kinds):
        member[kind.sites] = number
    open_kinds = _open_kinds(scene, kinds, least_min, bars)
    address, site = (i.astype(np.int32) for i in np.nonzero(open_kinds[:, member] & np.isfinite(least_min)))
    real = replace(scene, cuts=(_flattering_cut(scene, least_min),))
    doubtful = np.zeros(least_min.shape, dtype=np.bool_)
    for level in range(len(scene.levels)):
        above = _above(real, address, site, np.full(len(address), level, dtype=np.int32), bars)
        doubtful[address[above], site[above]] = True
    return doubtful


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kind:
    """Sites that are weighed as one: it gives all that any of them gives."""

    sites: IntArray
    best: FillSite
    engine_min: FloatArray
    """(units,) when an engine is at one of them at the soonest."""


def _kinds(scene: Scene) -> list[_Kind]:
    """Part the sites by whether they need an engine, and by what they give."""
    gives = np.array([site.total_gpm for site in scene.sites])
    needs = np.array([site.needs_engine for site in scene.sites], dtype=np.bool_)
    ready, kinds = setup_min(scene), []
    for pumped in (False, True):
        own = np.flatnonzero(needs == pumped)
        for part in np.array_split(own[np.argsort(gives[own], kind="stable")], KINDS):
            if len(part):
                some = [scene.sites[s] for s in part.tolist()]
                quickest = scene.sites[int(part[ready[part].argmin()])]
                arrival = scene.response.site_arrival_min[part].min(axis=0)
                kinds.append(_Kind(sites=part.astype(np.int32), best=_best_of(some, quickest), engine_min=arrival))
    return kinds


def _best_of(sites: list[FillSite], quickest: FillSite) -> FillSite:
    """Make up a site that gives all that any of some sites gives."""
    storage = [site.storage_gal for site in sites]
    return replace(
        quickest,
        fill_gpm=max(site.fill_gpm for site in sites),
        site_gpm=max(site.total_gpm for site in sites),
        positions=max(site.positions for site in sites),
        storage_gal=None if None in storage else max(one for one in storage if one is not None),
        refill_gpm=max(site.refill_gpm or 0.0 for site in sites),
        lift_ft=min(site.lift_ft for site in sites),
    )


def _open_kinds(scene: Scene, kinds: list[_Kind], least_min: FloatArray, bars: Bars) -> BoolArray:
    """Mask the (addresses, kinds) of which an unknown site could be above a bar.

    Which engine pumps at a site depends on where it lies. So every engine is tried in turn as the one that comes to
    sites of a kind; and none, where all the engines are wanted elsewhere.
    """
    nobody = np.full(len(scene.units), np.inf)
    tried: list[tuple[int, int, FloatArray]] = [(number, -1, nobody) for number in range(len(kinds))]
    for number, kind in enumerate(kinds):
        if kind.best.needs_engine:
            for unit in np.flatnonzero(scene.response.engines.any(axis=(0, 1))).tolist():
                only = nobody.copy()
                only[unit] = kind.engine_min[unit]
                tried.append((number, unit, only))
    soonest = np.column_stack([least_min[:, kind.sites].min(axis=1) for kind in kinds])
    virtual = replace(
        scene,
        sites=tuple(kinds[number].best for number, _, _ in tried),
        response=replace(scene.response, site_arrival_min=np.stack([arrival for _, _, arrival in tried])),
        cuts=(_flattering_cut(scene, soonest[:, [number for number, _, _ in tried]]),),
    )
    found = np.zeros(soonest.shape, dtype=np.bool_)
    for column, (number, unit, _) in enumerate(tried):
        for level in range(len(scene.levels)):
            may = np.isfinite(soonest[:, number]) & ~found[:, number]
            if unit >= 0:
                may &= scene.response.engines[:, level, unit] & (scene.response.attack_engine != unit)
            address = np.flatnonzero(may).astype(np.int32)
            tried_one = np.full(len(address), column, dtype=np.int32)
            above = _above(virtual, address, tried_one, np.full(len(address), level, dtype=np.int32), bars)
            found[address[above], number] = True
    return found


def _flattering_cut(scene: Scene, least_min: FloatArray) -> CutTrips:
    """Make up a vehicle class that no real one beats: all tankers drive the least trips, and are there once filled."""
    return CutTrips(
        trip_min=least_min, out_min=np.zeros(least_min.shape), members=np.ones(len(scene.units), dtype=np.bool_)
    )


def _above(scene: Scene, address: IntArray, site: IntArray, level: IntArray, bars: Bars) -> IntArray:
    """List the cases whose bounds are above one of their bars."""
    above = [np.empty(0, dtype=np.int32)]
    for part in in_pieces(np.arange(len(address), dtype=np.int32)):
        whole = everyone(scene, address[part], site[part], level[part])
        over = np.zeros(len(part), dtype=np.bool_)
        for rows, run in ((np.arange(len(part)), whole), drafting_itself(scene, whole)):
            over[rows] |= bars.exceeded(case_table(scene, run), run.address, run.level)
        above.append(part[over])
    return np.concatenate(above)
