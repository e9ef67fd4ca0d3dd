"""Tankers split over two fill sites, where one site alone gives too little.

One site is simpler to run, so a second one is asked for only by a level that does not meet the requirement, and taken
only where it meets, or, at the highest level, gains more than `keep_site_gain`. Tankers move one by one, each time the
one that gains most: the best of all ways to part them is not sought, but what is found is worked out in full.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from preplan.planning.assignment import crews, draws_elsewhere
from preplan.planning.fireground import Crews, case_table, everyone, with_jobs
from preplan.planning.flows import ALIKE, UNKNOWN, Flows, Settled, first_open, without_the_slow
from preplan.planning.pieces import in_pieces
from preplan.records import BoolArray, FloatArray, IntArray, joined
from preplan.water.same import SAME
from preplan.water.timeline_batch import held_flows
from preplan.water.timeline_bound import most_split_gpm
from preplan.water.timeline_clock import Rows
from preplan.water.timeline_table import CaseTable

NEAREST = 4
"""Second sites that are tried: those with the shortest round trips, and the one that brings most by itself."""

FOLLOWED = 2
"""Ways of a case on which tankers go on moving."""


@dataclass(frozen=True, slots=True)
class AskedSplits:
    """Ways to split some cases: (ways,)."""

    case: Rows
    """Which case of those asked about."""
    run: Crews
    """Everyone still at the first site."""


def split_rows(flows: Flows, row: IntArray, below: IntArray, stands: BoolArray, level: int) -> IntArray:
    """Split the tankers of a level over two of the sites that stand, (sites,), where that is worth it.

    `row` and `below` (addresses,) are the settled cases of this level and of the one below, -1 where there is none.
    Gives the cases (addresses,) that take their place; no level does worse than the one below it.
    """
    scene, row = flows.scene, row.copy()
    if not scene.rules.plan.split_sites:
        return row
    need = scene.needs.met_from_gpm
    some = np.flatnonzero((row >= 0) & (flows.held_gpm(row) < need))
    for part in in_pieces(some, each=NEAREST + 1):
        base = flows.settled_rows(row[part])
        found = _once(flows, base, _seconds(flows, base.run, stands, level), level)
        row[part] = np.where(found >= 0, found, row[part])
    return _never_less(flows, row, below, level)


def _once(flows: Flows, base: Settled, tried: BoolArray, level: int) -> IntArray:
    """Give the rows of the cases split over one of the sites tried, (cases, sites); -1 where that is not worth it.

    What another season asked already is not worked out again.
    """
    known = flows.known_splits(base.run, tried)
    fresh = np.flatnonzero(known == UNKNOWN)
    if fresh.size:
        part, found = base.rows(fresh), np.full(fresh.size, -1, dtype=np.int32)
        at, done = _split(flows, part, tried[fresh], level)
        kept = np.flatnonzero(_is_worth_it(flows, part.rows(at), done, level))
        found[at[kept]] = flows.keep(done.rows(kept))
        flows.note_splits(part.run, tried[fresh], found)
        known[fresh] = found
    return known


def _is_worth_it(flows: Flows, base: Settled, done: Settled, level: int) -> BoolArray:
    """Mask the cases, (cases,), that a split lifts as far as is wanted, without bringing less water in all."""
    lifted = done.gpm >= _wanted_gpm(flows, base, level)
    used, there = done.run.used, done.run.at_second
    both = (used & there).any(axis=1) & (used & ~there).any(axis=1)
    worth: BoolArray = lifted & both & (done.brings_gpm >= base.brings_gpm * (1.0 - SAME))
    return worth


def _wanted_gpm(flows: Flows, base: Settled, level: int) -> FloatArray:
    """Give the flow from which a split is worth it, (cases,): the requirement, at the highest level a gain will do."""
    scene = flows.scene
    need = scene.needs.met_from_gpm[base.run.address]
    if level < len(scene.levels) - 1:
        return need
    return np.minimum(need, base.gpm * (1.0 + scene.rules.plan.keep_site_gain))


def _never_less(flows: Flows, row: IntArray, below: IntArray, level: int) -> IntArray:
    """Let a level do what the level below does where its own crews would do worse."""
    less = np.flatnonzero((row >= 0) & (below >= 0) & (flows.brings(row) < flows.brings(below) * (1.0 - SAME)))
    if less.size:
        kept = flows.settled_rows(below[less])
        level_of = np.full(less.size, level, dtype=np.int32)
        row[less] = flows.keep(replace(kept, run=replace(kept.run, level=level_of)))
    return row


def _split(flows: Flows, base: Settled, tried: BoolArray, level: int) -> tuple[Rows, Settled]:
    """Find the best way to split each of some cases that gains anything: which cases, and what they hold then."""
    scene = flows.scene
    asked = _worth_it(flows, base, tried, level)
    run, gpm = _moved(flows, asked, base.gpm[asked.case])
    gains = np.flatnonzero(gpm > base.gpm[asked.case] * (1.0 + SAME))
    meets = gpm >= scene.needs.met_from_gpm[run.address]
    by_order = meets & ~run.attack_drafts  # who meets so need not have the attack engine draft
    # Stable: of equal flows the stronger site.
    order = gains[np.lexsort((-gpm[gains], ~by_order[gains], asked.case[gains]))]
    case, first = np.unique(asked.case[order], return_index=True)
    return case, without_the_slow(scene, run.rows(order[first]))


def _seconds(flows: Flows, run: Crews, stands: BoolArray, level: int) -> BoolArray:
    """Mask the sites that are tried as second ones, (cases, sites)."""
    scene, trip = flows.scene, flows.shortest_min[run.address]
    may = stands & draws_elsewhere(scene.sites, run.site) & np.isfinite(trip)
    tried = first_open(-trip, trip, may, NEAREST)
    allowed = np.zeros((len(scene.needs), len(stands)), dtype=np.bool_)
    allowed[run.address] = may
    strongest = flows.best_site(allowed, level)[run.address]
    tried[np.arange(len(run)), strongest] |= strongest >= 0
    return tried


def _worth_it(flows: Flows, base: Settled, tried: BoolArray, level: int) -> AskedSplits:
    """List the second sites and vehicle classes that a bound does not exclude, the strongest first."""
    case, site = np.nonzero(tried)
    ways = list(_ways(flows, base.run, case, site.astype(np.int32)))
    of = np.concatenate([at for at, _ in ways])
    whole = joined([one for _, one in ways])
    need = _wanted_gpm(flows, base, level)[of]
    rows = np.arange(len(whole))
    for bound in (most_split_gpm, _unqueued_gpm):
        most = bound(*_tables(flows, whole.rows(rows)))
        rows, most = rows[most > need[rows]], most[most > need[rows]]
    rows = rows[np.lexsort((-most, of[rows]))]
    return AskedSplits(of[rows], whole.rows(rows))


def _ways(flows: Flows, base: Crews, case: Rows, site: IntArray) -> Iterator[tuple[Rows, Crews]]:
    """Lay out each second site on every vehicle class that drives a shorter trip there than the next heavier one.

    With the engines of the level itself, and, of one that does as the level below, with that one's. Where the attack
    engine drafts for one site though another engine could, both are tried.
    """
    cuts, address = flows.scene.cuts, base.address[case]
    for index, cut in enumerate(cuts):
        trip = cut.trip_min[address, site]
        worth = np.isfinite(trip)
        if index + 1 < len(cuts):
            worth &= trip < cuts[index + 1].trip_min[address, site]
        at = case[worth]
        second_cut = np.full(at.size, index, dtype=np.int32)
        run = replace(base.rows(at), second=site[worth], second_cut=second_cut, fleet=base.level[at])
        yield at, with_jobs(flows.scene, run)
        below = np.flatnonzero(base.fleet[at] != base.level[at])
        yield at[below], with_jobs(flows.scene, replace(run.rows(below), fleet=base.fleet[at[below]]))
        itself = np.flatnonzero(run.attack_drafts)
        relieved = np.zeros(itself.size, dtype=np.bool_)
        part = with_jobs(flows.scene, replace(run.rows(itself), attack_drafts=relieved))
        other = np.flatnonzero(part.dump_engine != flows.scene.response.attack_engine[part.address])
        yield at[itself[other]], part.rows(other)


def _tables(flows: Flows, run: Crews) -> tuple[CaseTable, CaseTable]:
    """Write each way twice: with every tanker at the first site, and with every one at the second."""
    scene = flows.scene
    either = run.used | _may_fill_there(flows, run)
    first, other = (
        replace(
            with_jobs(scene, replace(everyone(scene, run.address, site, run.fleet), attack_drafts=run.attack_drafts)),
            cut=cut,
            used=either,
        )
        for site, cut in ((run.site, run.cut), (run.second, run.second_cut))
    )
    return case_table(scene, first), case_table(scene, other)


def _unqueued_gpm(one: CaseTable, other: CaseTable) -> FloatArray:
    """Run the ways with every tanker on the quicker of the two circuits, and nobody waiting for another at its site.

    Little is gained by a second site where this brings little: the first one holds nobody up, nor is the other nearer.
    """
    with np.errstate(divide="ignore"):
        fills = [table.fill_hookup_min + table.usable_gal / table.fill_gpm for table in (one, other)]
    away = [table.back_min + fill for table, fill in zip((one, other), fills, strict=True)]
    quicker = away[1] + other.out_min < away[0] + one.out_min
    # Where no engine is needed the first tanker opens the site: by then, at the soonest.
    ready = np.minimum(*(np.nan_to_num(t.fill_engine_arrival_min + t.fill_setup_min, nan=0.0) for t in (one, other)))
    free = replace(
        one,
        back_min=np.where(quicker, away[1], away[0]),  # the fill counts to the way back, and no queue is left
        out_min=np.where(quicker, other.out_min, one.out_min),
        fill_hookup_min=np.zeros_like(one.out_min),
        fill_gpm=np.full_like(one.out_min, np.inf),
        fill_engine_arrival_min=ready,
        fill_setup_min=np.zeros_like(ready),
        positions=np.ones_like(ready),
        site_gpm=np.full_like(ready, np.inf),
        storage_gal=np.full_like(ready, np.inf),
        draft_gpm=np.maximum(one.draft_gpm, other.draft_gpm),
        supply_gpm=np.maximum(one.supply_gpm, other.supply_gpm),
    )
    return held_flows(free).uninterrupted_gpm


def _may_fill_there(flows: Flows, run: Crews) -> BoolArray:
    """Mask the tankers that may fill at the second site, (ways, units): those that the roads there are found for."""
    members = np.stack([cut.members for cut in flows.scene.cuts])
    present = crews(flows.scene, run.address, run.second, run.fleet)[1]
    mask: BoolArray = present & members[run.second_cut]
    return mask


def _moved(flows: Flows, asked: AskedSplits, held_gpm: FloatArray) -> tuple[Crews, FloatArray]:
    """Send tankers to the second site, one by one, while that raises the flow; give crews and flows (ways,).

    One that the first site leaves out, or whose roads are too weak for it, may come too; one stays at the first site.
    After each move only the best ways of a case are followed.
    """
    run, gpm = asked.run, held_gpm.copy()
    used, at_second = run.used.copy(), run.at_second.copy()
    may = _may_fill_there(flows, run)
    rows = np.arange(len(run))
    while rows.size:
        stays = (used & ~at_second)[rows].sum(axis=1)
        free = may[rows] & ~at_second[rows] & ~((stays == 1)[:, None] & used[rows])
        way, unit = np.nonzero(free)
        if not way.size:
            break
        of = rows[way]
        now, there = used[of], at_second[of]
        now[np.arange(of.size), unit] = there[np.arange(of.size), unit] = True
        tried = replace(run.rows(of), used=now, at_second=there)
        flow = np.full(free.shape, -1.0)
        flow[way, unit] = _held(flows, tried)
        gained = flow.max(axis=1)
        best = (flow >= gained[:, None] * (1.0 - ALIKE)).argmax(axis=1)  # of equal ones the first
        gains = gained > gpm[rows] * (1.0 + ALIKE)
        rows, best = rows[gains], best[gains]
        used[rows, best] = at_second[rows, best] = True
        gpm[rows] = gained[gains]
        rows = rows[_first_few(asked.case[rows], gpm[rows])]
    return replace(run, used=used, at_second=at_second), gpm


def _first_few(case: Rows, gpm: FloatArray) -> BoolArray:
    """Mask the ways of each case, (ways,), on which most is held so far: the others are not followed."""
    order = np.lexsort((-gpm, case))
    ranked = case[order]
    begins = np.flatnonzero(np.append(True, ranked[1:] != ranked[:-1])) if ranked.size else ranked
    rank = np.arange(ranked.size) - np.repeat(begins, np.diff(np.append(begins, ranked.size)))
    few = np.zeros(case.size, dtype=np.bool_)
    few[order] = rank < FOLLOWED
    return few


def _held(flows: Flows, run: Crews) -> FloatArray:
    """Give the uninterrupted flow of crews, pieces at a time."""
    tables = (case_table(flows.scene, run.rows(rows)) for rows in in_pieces(np.arange(len(run))))
    return np.concatenate([held_flows(table).uninterrupted_gpm for table in tables])
