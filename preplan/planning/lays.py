"""Where water by hose all the way from a fill site does more than tankers.

Asked for every address whose first response level does not meet the required flow: it may lie so near a fill site that
the engines of a level lay hose from it and pump in relay, in the months in which it stands. Nothing here changes a
level or a status.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from preplan.months import month_words
from preplan.plan_tables import ROUNDING_GPM, AnswerTable, Flag, LayTable, LevelTable, SeasonLine, TripTable, standing
from preplan.planning.assignment import Scene, stored
from preplan.planning.fireground import setup_min
from preplan.records import BoolArray, Columns, FloatArray, IntArray, joined
from preplan.units import FT_PER_MI
from preplan.water.hydraulics import draft_share
from preplan.water.relay import Pumps, beats, best_relay
from preplan.water.shuttle import storage_gpm


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedLays(Columns):
    """Lays that might be: arrays of shape (lays,), engines (lays, units)."""

    address: IntArray
    site: IntArray
    level: IntArray
    length_ft: FloatArray
    """Along the road the shorter of both legs, and the driveway."""
    engines: BoolArray
    """Those of the level, the attack engine too, since it carries hose."""


def best_lays(
    scene: Scene, levels: LevelTable, answers: AnswerTable, trips: TripTable, seasons: Sequence[SeasonLine]
) -> LayTable:
    """Find the lay of each address that does more for it than tankers: at most one row an address, by address.

    The lowest level whose engines carry the required flow while its tankers do not; where none does, the level that
    is shown, if the lay carries as much more than its tankers bring as a better fill site must. From a site that stands
    in the months that decide; else from one of other months, if it does more than the tankers of all its months.
    `trips` are the kept ones, measured.
    """
    every = _asked(scene, levels, answers, trips)
    stands = standing(seasons, len(scene.sites))
    decides = stands[levels.season[every.address, every.level], every.site]
    lays = _best(scene, answers, every.rows(decides), lambda some: levels.brings_gpm[some.address, some.level])
    at_times: BoolArray = np.logical_or.reduce(stands)
    others = every.rows(~decides & at_times[every.site] & ~np.isin(every.address, lays.address))
    then = _best(scene, answers, others, lambda some: _most_brought(seasons, stands, some))
    whole = joined([lays, then])
    return whole.rows(np.argsort(whole.address, kind="stable").astype(np.int32))


def _most_brought(seasons: Sequence[SeasonLine], stands: BoolArray, lays: LayTable) -> FloatArray:
    """Give the most that the tankers of each lay's level bring in a season in which its fill site stands, (lays,)."""
    brings = np.stack([np.nan_to_num(line.brings_gpm[lays.address, lays.level]) for line in seasons])
    most: FloatArray = np.where(stands[:, lays.site], brings, 0.0).max(axis=0)
    return most


def _best(
    scene: Scene, answers: AnswerTable, asked: AskedLays, brought_gpm: Callable[[LayTable], FloatArray]
) -> LayTable:
    """Pick the best of some lays at each address, of those that do more than the tankers bring."""
    parts = list(_all_lays(scene, asked))
    if not parts:
        return LayTable.none()
    lays = joined(parts)
    need, brings = scene.needs.required_gpm[lays.address], brought_gpm(lays)
    carries = lays.gpm >= need - ROUNDING_GPM
    much = (lays.level == answers.level[lays.address]) & (lays.gpm > brings * (1.0 + scene.rules.plan.keep_site_gain))
    more = beats(lays.gpm, brings, need) & (carries | much)
    lays, need, carries = lays.rows(more), need[more], carries[more]
    lowest = np.where(carries, lays.level, 0)
    given = np.minimum(lays.gpm, need)
    order = np.lexsort((lays.site, lays.hose_ft, lays.ready_min, lays.engines, -given, lowest, ~carries, lays.address))
    _, first = np.unique(lays.address[order], return_index=True)
    return lays.rows(order[first].astype(np.int32))


def _asked(scene: Scene, levels: LevelTable, answers: AnswerTable, trips: TripTable) -> AskedLays:
    """List every kept trip, at each level up to the shown one."""
    more = np.isin(answers.status.astype(str), ("higher level", "not met"))[trips.address]
    upto = np.arange(len(scene.levels)) <= answers.level[trips.address][:, None]
    trip, level = (i.astype(np.int32) for i in np.nonzero(upto & more[:, None]))
    address, site = trips.address[trip], trips.site[trip]
    return AskedLays(
        address=address,
        site=site,
        level=level,
        length_ft=np.minimum(trips.out_mi, trips.back_mi)[trip] * FT_PER_MI + scene.frontages.driveway_ft[address],
        engines=levels.fleet[address, level] & ~levels.tankers[address, level],
    )


def _all_lays(scene: Scene, asked: AskedLays) -> Iterator[LayTable]:
    """Work out every lay that the hose of a level's engines reaches, size by size and crew by crew."""
    hose_in = np.array([unit.supply_hose_in for unit in scene.units])
    hose_ft = np.array([unit.supply_hose_ft for unit in scene.units])
    for size in np.unique(hose_in[hose_ft > 0]).tolist():
        carried_ft = np.where(hose_in >= size, hose_ft, 0.0)  # larger hose is reckoned as this size
        near = asked.rows(asked.length_ft <= _stock_ft(asked, carried_ft))
        pumping = near.engines.sum(axis=1) - 1  # the attack engine only takes in
        for count in np.unique(pumping[pumping > 0]).tolist():
            yield _lays(scene, near.rows(pumping == count), size, carried_ft, count)


def _stock_ft(asked: AskedLays, carried_ft: FloatArray) -> FloatArray:
    """Add up the hose that the engines of each bring; `carried_ft` is (units,)."""
    stock: FloatArray = asked.engines.astype(np.float64) @ carried_ft
    return stock


def _lays(scene: Scene, asked: AskedLays, size_in: float, carried_ft: FloatArray, count: int) -> LayTable:
    """Choose the relay of each, of one size of hose and one number of engines that can pump."""
    pumps = asked.engines.copy()
    pumps[np.arange(len(pumps)), scene.response.attack_engine[asked.address]] = False
    need, stock = scene.needs.required_gpm[asked.address], _stock_ft(asked, carried_ft)
    found = best_relay(asked.length_ft, size_in, stock, _pumping(scene, asked, pumps), engines=count, needed_gpm=need)
    at_site = np.sort(np.where(pumps, scene.response.site_arrival_min[asked.site], np.inf), axis=1)
    last = np.nan_to_num(found.engines, nan=1.0).astype(np.intp) - 1
    comes = at_site[np.arange(len(at_site)), last]
    lays = LayTable(
        address=asked.address,
        site=asked.site,
        level=asked.level,
        gpm=found.gpm,
        engines=found.engines,
        lines=found.lines,
        hose_in=np.full(len(need), size_in),
        hose_ft=found.hose_ft,
        length_ft=asked.length_ft,
        # One after the other: the last engine there, the fill site made ready, the hose laid and filled.
        ready_min=comes + setup_min(scene)[asked.site] + found.ready_min,
    )
    return lays.rows((found.gpm > 0) & np.isfinite(comes))


def _pumping(scene: Scene, asked: AskedLays, pumps: BoolArray) -> Pumps:
    """Say what the engines `pumps` (lays, units) give: each as the weakest, the first what the site gives it."""
    rules = scene.rules.shuttle
    rating = np.array([unit.pump_gpm or 0.0 for unit in scene.units])
    weakest = np.where(pumps, rating, np.inf).min(axis=1)
    share = draft_share(np.array([site.lift_ft for site in scene.sites]))[asked.site]
    total = np.array([site.total_gpm for site in scene.sites])[asked.site]
    source = np.minimum(total, storage_gpm(*stored(scene, asked.site), scene.needs.required_min[asked.address]))
    drafts = np.array([site.needs_engine for site in scene.sites], dtype=np.bool_)[asked.site]
    return Pumps(
        pump_psi=rules.supply_psi,
        residual_psi=rules.supply_residual_psi,
        pump_gpm=weakest,
        source_gpm=np.where(drafts, np.minimum(source, weakest * share), source),
    )


def with_lays(answers: AnswerTable, lays: LayTable, scene: Scene) -> AnswerTable:
    """Flag the addresses that a hose lay serves better, with the months of a fill site that is away in planned ones."""
    found = []
    rows = zip(lays.address.tolist(), lays.site.tolist(), np.ceil(lays.length_ft).tolist(), strict=True)
    for address, at, feet in rows:
        site, flag = scene.sites[at], Flag("hose lay", feet, "ft")
        if not site.stands_through(scene.planned):
            flag = Flag("hose lay", f"{feet:.0f} ft in {month_words(site.months)}")
        found.append((address, flag))
    return answers.flagged(found)
