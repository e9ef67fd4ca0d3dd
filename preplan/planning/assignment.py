"""Which fill site serves which address: the one that delivers the most, not the nearest; and which stands in.

A *case* is one (address, site, level). Cases are worked on as flat arrays, pieces at a time, so a county fits
in memory; the chosen ones are then worked out again in full.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from preplan.plan_tables import FrontageTable, NeedTable
from preplan.planning.response import Jobs, Response, assign_jobs
from preplan.records import ALL_MONTHS, BoolArray, Columns, FillSite, FloatArray, IntArray, ResponseLevel, Unit
from preplan.rules import Rules
from preplan.water.hydraulics import draft_gpm, draft_share, pump_share
from preplan.water.shuttle import LIMIT_CODE, Shuttle, best_fleet, cap, storage_gpm, sustained
from preplan.water.supply_line import supply_line as laid_line
from preplan.water.tanker import Handling, Tankers, handling, into_one_gpm

TANK_LIFT_FT = 5.0
"""Lift out of a portable tank on the ground: far below the lift at which a pump's rating falls off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutTrips:
    """Round trips of one vehicle class and the tankers it stands for."""

    trip_min: FloatArray
    """(addresses, sites); inf: no way."""
    out_min: FloatArray
    """Of it, fill site to dump site."""
    members: BoolArray
    """(units,) the first tankers by weight."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """All that a case looks up."""

    rules: Rules
    levels: tuple[ResponseLevel, ...]
    sites: tuple[FillSite, ...]
    units: tuple[Unit, ...]
    response: Response
    needs: NeedTable
    frontages: FrontageTable
    cuts: tuple[CutTrips, ...]
    """Lightest first."""
    planned: frozenset[int] = ALL_MONTHS
    """Months that the district plans for; `rules.plan.months` are those of the season of the roads alone."""


def crews(
    scene: Scene,
    address: IntArray,
    site: IntArray,
    level: IntArray,
    second: IntArray | None = None,
    later_min: FloatArray | float = 0.0,
    *,
    attack_drafts: BoolArray | None = None,
) -> tuple[Jobs, BoolArray]:
    """Give each case's jobs, and the tankers that can haul there: (cases, units).

    Where all tankers of a case fill themselves no engine goes to the fill site.
    `second` (cases,) is the second fill site, -1 where there is none; `attack_drafts` as in `assign_jobs`.
    """
    needs_engine = np.array([s.needs_engine for s in scene.sites], dtype=np.bool_)
    vacuum = np.array([unit.self_fill_gpm is not None for unit in scene.units])
    sent = scene.response.tankers[address, level]
    jobs = assign_jobs(
        scene.response,
        (address, site, level),
        needs_engine=needs_engine[site] & (sent & ~vacuum).any(axis=1),
        near=near_dump_site(scene, address),
        attack_drafts=attack_drafts,
        second=None if second is None else np.where((second >= 0) & needs_engine[second], second, -1).astype(np.int32),
        later_min=later_min,
    )
    return jobs, sent & (~jobs.vacuum_only[:, None] | vacuum)


def near_dump_site(scene: Scene, address: IntArray) -> BoolArray:
    """Mask the buildings so near their dump site that the attack engine can draft there, (cases,)."""
    near: BoolArray = scene.frontages.driveway_ft[address] <= scene.rules.shuttle.one_engine_reach_ft
    return near


@dataclass(frozen=True, slots=True)
class Circuit:
    """What the two ends of each case allow, whatever tankers run: arrays of shape (cases,)."""

    handling: Handling
    positions: FloatArray
    site_gpm: FloatArray
    dump_places: int

    def best(self, trip_min: FloatArray, present: BoolArray) -> Shuttle:
        """Give the steady flow of the best of the tankers present, (cases, units)."""
        ends = {"positions": self.positions, "site_gpm": self.site_gpm}
        return best_fleet(trip_min, self.handling, present, dump_places=self.dump_places, **ends)

    def exactly(self, trip_min: FloatArray, used: BoolArray) -> Shuttle:
        """Give the steady flow of just these tankers, (cases, units)."""
        ends = {"positions": self.positions, "site_gpm": self.site_gpm}
        return sustained(trip_min, self.handling, used, dump_places=self.dump_places, **ends)


def circuit_of(scene: Scene, site: IntArray, jobs: Jobs) -> Circuit:
    """Look up both ends of each case."""
    rules = scene.rules.shuttle
    fill_gpm, site_gpm = site_rates(scene, site, jobs)
    return Circuit(
        handling=handling(Tankers.of(scene.units), fill_gpm, rules, lift_share=lift_share(scene, site)),
        positions=np.array([s.positions for s in scene.sites], dtype=np.float64)[site],
        site_gpm=site_gpm,
        dump_places=rules.dump_places,
    )


def site_rates(scene: Scene, site: IntArray, jobs: Jobs) -> tuple[FloatArray, FloatArray]:
    """Give the rate into one tanker and of the whole site, both (cases,) gpm, by the fill site of each, (cases,).

    Neither is more than the site gives or its engine lifts.
    """
    fill = np.array([s.fill_gpm for s in scene.sites])[site]
    total = np.array([s.total_gpm for s in scene.sites])[site]
    pump = np.array([unit.pump_gpm or 0.0 for unit in scene.units])
    drafts = np.where(jobs.fill_engine >= 0, pump[jobs.fill_engine] * lift_share(scene, site), np.inf)
    whole = np.minimum(total, drafts)
    return into_one_gpm(fill, whole), whole


def lift_share(scene: Scene, site: IntArray) -> FloatArray:
    """Give the share of its rate, (cases,), that a pump, or a tanker's vacuum, brings up at each case's fill site."""
    return draft_share(np.array([s.lift_ft for s in scene.sites]))[site]


def stored(scene: Scene, site: IntArray) -> tuple[FloatArray, FloatArray]:
    """Give what each case's site stores, gal, and its refill, gpm, (cases,); NaN where not known."""
    storage, refill = stores(scene.sites)
    return storage[site], refill[site]


def stores(sites: Sequence[FillSite]) -> tuple[FloatArray, FloatArray]:
    """Give what sites store, gal, and their refill, gpm, (sites,); NaN where not known."""
    known = [(site.storage_gal, site.refill_gpm) for site in sites]
    storage, refill = np.array(known, dtype=np.float64).reshape(-1, 2).T  # None becomes NaN
    return storage, refill


def source_capped(scene: Scene, shuttle: Shuttle, address: IntArray, site: IntArray) -> Shuttle:
    """Cap the flow by what the source stores, over the required time of each case's address; two arrays (cases,)."""
    held = storage_gpm(*stored(scene, site), scene.needs.required_min[address])
    return cap(shuttle, held, LIMIT_CODE["source"])


def line_capped(scene: Scene, shuttle: Shuttle, jobs: Jobs, address: IntArray) -> Shuttle:
    """Cap the flow by draft, supply line and hose, in that order; `address` is that of each case, (cases,)."""
    line = supply_line(scene, jobs, address)
    shuttle = cap(shuttle, drafted_gpm(scene, jobs), LIMIT_CODE["draft"])
    shuttle = cap(shuttle, np.where(line.short_ft > 0, np.inf, line.gpm), LIMIT_CODE["supply line"])
    return cap(shuttle, np.where(line.short_ft > 0, 0.0, np.inf), LIMIT_CODE["hose"])


def drafted_gpm(scene: Scene, jobs: Jobs) -> FloatArray:
    """Give what is drafted out of the portable tanks, (cases,)."""
    return np.where(jobs.dump_engine >= 0, units_draft_gpm(scene)[jobs.dump_engine], np.inf)


def units_draft_gpm(scene: Scene) -> FloatArray:
    """Give what each unit drafts out of a portable tank, (units,): what its pump gives at the line's pressure."""
    rules = scene.rules.shuttle
    pump = np.array([unit.pump_gpm or 0.0 for unit in scene.units]) * pump_share(rules.supply_psi)
    return draft_gpm(pump, TANK_LIFT_FT, strainer_gpm=rules.strainer_gpm)


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyLine(Columns):
    """The supply line of many cases, (cases,)."""

    gpm: FloatArray
    """What it carries; 0 where the hose does not reach, inf where the attack engine drafts itself and lays none."""
    reached_gpm: FloatArray
    """The same, with the feet that are short as though they were there."""
    short_ft: FloatArray
    hose_min: FloatArray
    """All whose hose it is are on scene; see `_for_a_nurse`."""
    nurse_gpm: FloatArray
    """What a tanker that nurses gives through it at most."""
    ready_min: FloatArray
    """Dump engine too; inf where none drafts."""
    laid_ft: FloatArray
    """(cases, units): what each gives of its hose."""

    def put(self, rows: IntArray, line: SupplyLine) -> None:
        """Write cases in the place of some rows."""
        for field in fields(self):
            getattr(self, field.name)[rows] = getattr(line, field.name)


def supply_line(scene: Scene, jobs: Jobs, address: IntArray, later: FloatArray | float = 0.0) -> SupplyLine:
    """Lay the line from dump site to attack engine; `later` (cases, units) is when each unit is alerted.

    Of the hose of attack and dump engine where it carries the required flow. Else engines of the level that have no
    job bring theirs, in the order in which they come, and the dump site waits for those whose hose is laid: as few
    as will do, and, where it reaches without them, none who comes too late for the full flow.
    """
    response = scene.response
    attack, dump = response.attack_engine[address], jobs.dump_engine
    arrival = response.arrival_min[address] + later
    line = _laid(scene, address, arrival, np.column_stack([attack, dump]))
    none = (dump == attack) | (dump < 0)
    line.gpm[none], line.reached_gpm[none], line.short_ft[none], line.laid_ft[none] = np.inf, np.inf, 0.0, 0.0
    line.ready_min[none] = np.where(dump >= 0, arrival[np.arange(len(dump)), dump], np.inf)[none]
    more = np.flatnonzero(line.gpm < scene.needs.met_from_gpm[address]).astype(np.int32)
    if more.size:
        line.put(more, _with_spare(scene, address[more], arrival[more], jobs.rows(more), line.rows(more)))
    return _for_a_nurse(scene, address, arrival, dump, line)


def _for_a_nurse(scene: Scene, address: IntArray, arrival: FloatArray, dump: IntArray, line: SupplyLine) -> SupplyLine:
    """Say from when a tanker can nurse, and how much passes: through the line, once all its hose is on scene.

    Sooner through the attack engine's own hose where that reaches and is not wanted in the line. Where the attack
    engine drafts itself it stands beside the tanker, and where nobody drafts there is no other hose.
    """
    attack = scene.response.attack_engine[address]
    own = _laid(scene, address, arrival, np.column_stack([attack, np.full_like(attack, -1)]))
    wanted = line.laid_ft[np.arange(len(attack)), attack] > 0
    over_own, beside = (own.short_ft <= 0) & ~wanted, (dump == attack) & (dump >= 0)
    hose_min = np.where(over_own, own.hose_min, np.where(dump < 0, np.inf, line.hose_min))
    gpm = np.where(over_own, own.gpm, line.gpm)
    return replace(line, hose_min=np.where(beside, 0.0, hose_min), nurse_gpm=np.where(beside, np.inf, gpm))


def _with_spare(scene: Scene, address: IntArray, arrival: FloatArray, jobs: Jobs, line: SupplyLine) -> SupplyLine:
    """Let engines without a job bring hose, one after the other as they arrive, while the line carries too little."""
    rules, response, row = scene.rules.shuttle, scene.response, np.arange(len(address))
    attack, need = response.attack_engine[address], scene.needs.met_from_gpm[address]
    spare = response.engines[address, jobs.level] & np.isfinite(arrival)
    for busy in (attack, jobs.dump_engine, jobs.fill_engine, jobs.second_engine):
        known = busy >= 0
        spare[row[known], busy[known]] = False
    count = spare.sum(axis=1)
    order = np.argsort(np.where(spare, arrival, np.inf), axis=1, kind="stable").astype(np.int32)
    in_time = arrival[row, attack] + rules.full_flow_min - rules.dump_setup_min
    for more in range(1, int(count.max(initial=0)) + 1):
        rows = np.flatnonzero((count >= more) & (line.gpm < need)).astype(np.int32)
        whose = np.column_stack([attack[rows], jobs.dump_engine[rows], order[rows, :more]])
        one = _laid(scene, address[rows], arrival[rows], whose)
        soon = arrival[rows, order[rows, more - 1]] <= in_time[rows]
        better = (one.gpm > line.gpm[rows]) & ((line.gpm[rows] <= 0) | soon)
        better |= one.short_ft < line.short_ft[rows]
        line.put(rows[better], one.rows(better))
    return line


def _laid(scene: Scene, address: IntArray, arrival: FloatArray, whose: IntArray) -> SupplyLine:
    """Lay each case's line from the hose of some engines, (cases, engines): attack, dump, others; -1: nobody."""
    rules, row = scene.rules.shuttle, np.arange(len(address))[:, None]
    hose_ft = np.array([unit.supply_hose_ft for unit in scene.units])
    hose_in = np.array([unit.supply_hose_in for unit in scene.units])
    found = laid_line(
        scene.frontages.driveway_ft[address] + rules.stand_off_ft,
        np.where(whose >= 0, hose_ft[whose], 0.0),
        hose_in[whose],
        loss_psi=rules.supply_psi - rules.supply_residual_psi,
        needed_gpm=scene.needs.met_from_gpm[address],
    )
    laid_ft = np.zeros(arrival.shape)
    np.add.at(laid_ft, (np.broadcast_to(row, whose.shape), whose), found.laid_ft)
    hose_min = np.where(found.laid_ft > 0, arrival[row, whose], 0.0).max(axis=1)
    return SupplyLine(
        gpm=found.gpm,
        reached_gpm=found.reached_gpm,
        short_ft=found.short_ft,
        hose_min=hose_min,
        nurse_gpm=found.gpm,
        ready_min=np.maximum(hose_min, arrival[row[:, 0], whose[:, 1]]),
        laid_ft=laid_ft,
    )


def engines_lack(shuttle: Shuttle, jobs: Jobs, sent: BoolArray) -> Shuttle:
    """Stop the shuttle where tankers are sent (cases,) but no engine drafts, or none is left for the fill site."""
    lack = sent & ((jobs.dump_engine < 0) | (jobs.vacuum_only & ~shuttle.used.any(axis=-1)))
    return replace(
        shuttle,
        sustained_gpm=np.where(lack, 0.0, shuttle.sustained_gpm),
        limited_by=np.where(lack, np.int8(LIMIT_CODE["engines"]), shuttle.limited_by).astype(np.int8),
    )


def other_sources(scene: Scene, site: IntArray) -> BoolArray:
    """Mask the sites (addresses, sites) that can stand in for chosen ones (addresses,).

    They draw on another source; where the chosen one is away in some planned month they stand in all of them.
    """
    always = np.array([s.stands_through(scene.planned) for s in scene.sites], dtype=np.bool_)
    may = always[:, None] | always[None, :]
    other = draws_elsewhere(scene.sites, np.maximum(site, 0))
    mask: BoolArray = other & may[np.maximum(site, 0)] & (site >= 0)[:, None]
    return mask


def draws_elsewhere(sites: tuple[FillSite, ...], site: IntArray) -> BoolArray:
    """Mask the sites (cases, sites) that draw on another source than chosen ones (cases,)."""
    source = np.array([s.source for s in sites], dtype=np.object_)
    mask: BoolArray = (source[None, :] != source[:, None])[site]
    return mask


def season_months(sites: tuple[FillSite, ...], months: frozenset[int]) -> tuple[tuple[tuple[int, ...], BoolArray], ...]:
    """Group the months by the sites that stand in them: months, mask of sites; the longest season first."""
    seasons: dict[tuple[bool, ...], list[int]] = {}
    for month in sorted(months):
        stands = tuple(site.in_service and month in site.months for site in sites)
        seasons.setdefault(stands, []).append(month)
    ordered = sorted(seasons.items(), key=lambda item: (-len(item[1]), item[1]))
    return tuple((tuple(group), np.array(stands, dtype=np.bool_)) for stands, group in ordered)
