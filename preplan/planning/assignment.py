"""Which fill site serves which address: the one that delivers the most, not the nearest; and which stands in.

A *case* is one (address, site, level). Cases are worked on as flat arrays, pieces at a time, so a county fits
in memory; the chosen ones are then worked out again in full.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from preplan.plan import FrontageTable, NeedTable
from preplan.planning.response import Jobs, Response, assign_jobs
from preplan.records import BoolArray, FillSite, FloatArray, IntArray, ResponseLevel, Unit
from preplan.rules import Rules
from preplan.water.hydraulics import draft_gpm, draft_share, lay_gpm
from preplan.water.shuttle import LIMIT_CODE, Shuttle, best_fleet, cap, storage_gpm
from preplan.water.tanker import Tankers, handling

PIECE_CASES = 200_000
"""Cases worked on at once."""
TANK_LIFT_FT = 5.0
"""Lift out of a portable tank on the ground: far below the lift at which a pump's rating falls off."""
ROUNDING_GPM = 1e-6
"""A flow this little below the requirement meets it: it is the same number."""
TIE = 1e-9
"""Relative difference below which two flows are equal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutTrips:
    """Round trips of one vehicle class and the tankers it stands for."""

    trip_min: FloatArray
    """(addresses, sites); inf: no way."""
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What many cases deliver: arrays of shape (cases,), units on the last axis of `used`."""

    shuttle: Shuttle
    cut: IntArray
    """Vehicle class driven: index into `Scene.cuts`."""
    trip_min: FloatArray
    jobs: Jobs

    @property
    def tankers(self) -> IntArray:
        """Count the tankers in use."""
        count: IntArray = self.shuttle.used.sum(axis=-1).astype(np.int32)
        return count


def deliver(scene: Scene, address: IntArray, site: IntArray, level: IntArray, out: IntArray | None = None) -> Delivery:
    """Work out the steady flow of each case over its best cut; `out` (cases,) names a tanker that is missing."""
    near = scene.frontages.driveway_ft[address] <= scene.rules.shuttle.one_engine_reach_ft
    needs_engine = np.array([s.needs_engine for s in scene.sites], dtype=np.bool_)[site]
    jobs = assign_jobs(scene.response, address, site, level, needs_engine=needs_engine, near=near)
    present = scene.response.tankers[address, level].copy()
    if out is not None:
        present[np.arange(len(out)), out] = False
    sent = present.any(axis=1)
    vacuum = np.array([unit.self_fill_gpm is not None for unit in scene.units])
    present &= ~jobs.vacuum_only[:, None] | vacuum
    shuttle, cut, trip_min = _best_cut(scene, address, site, present, jobs)
    shuttle = _engines_lack(_capped(scene, shuttle, jobs, address, site), jobs, sent & np.isfinite(trip_min))
    return Delivery(shuttle=shuttle, cut=cut, trip_min=trip_min, jobs=jobs)


def _best_cut(
    scene: Scene, address: IntArray, site: IntArray, present: BoolArray, jobs: Jobs
) -> tuple[Shuttle, IntArray, FloatArray]:
    """Run each case with every cut and keep the best: the larger flow, then more tankers, then the shorter trip."""
    rules = scene.rules.shuttle
    fill_gpm, site_gpm = site_rates(scene, site, jobs)
    hold = handling(Tankers.of(scene.units), fill_gpm, rules)
    positions = np.array([s.positions for s in scene.sites], dtype=np.float64)[site]
    best: Shuttle | None = None
    best_cut = np.zeros(len(address), dtype=np.int32)
    best_trip = np.full(len(address), np.inf)
    for index, cut in enumerate(scene.cuts):
        trip = cut.trip_min[address, site]
        one = best_fleet(
            trip,
            hold,
            present & cut.members,
            positions=positions,
            site_gpm=site_gpm,
            dump_places=rules.dump_places,
        )
        if best is None:
            best, best_trip = one, trip
            continue
        better = _outdoes(one, trip, best, best_trip)
        best = _mix(better, one, best)
        best_cut[better], best_trip = index, np.where(better, trip, best_trip)
    if best is None:
        raise ValueError("no tanker in service")
    return best, best_cut, best_trip


def _outdoes(one: Shuttle, trip: FloatArray, best: Shuttle, best_trip: FloatArray) -> BoolArray:
    """Tell where `one` beats the best so far."""
    gain = one.sustained_gpm - best.sustained_gpm
    equal = np.abs(gain) <= TIE * np.maximum(best.sustained_gpm, 1.0)
    more = one.used.sum(axis=-1).astype(np.int64) - best.used.sum(axis=-1)
    shorter = trip < best_trip
    outdoes: BoolArray = np.where(equal, (more > 0) | ((more == 0) & shorter), gain > 0)
    return outdoes


def _mix(mask: BoolArray, one: Shuttle, other: Shuttle) -> Shuttle:
    """Take the rows of `one` where the mask holds."""
    return Shuttle(
        sum_gpm=np.where(mask, one.sum_gpm, other.sum_gpm),
        sustained_gpm=np.where(mask, one.sustained_gpm, other.sustained_gpm),
        cycle_min=np.where(mask, one.cycle_min, other.cycle_min),
        used=np.where(mask[:, None], one.used, other.used),
        limited_by=np.where(mask, one.limited_by, other.limited_by).astype(np.int8),
    )


def site_rates(scene: Scene, site: IntArray, jobs: Jobs) -> tuple[FloatArray, FloatArray]:
    """Give the rate into one tanker and of the whole site, gpm: no more than the site gives or its engine lifts."""
    fill = np.array([s.fill_gpm for s in scene.sites])[site]
    total = np.array([s.total_gpm for s in scene.sites])[site]
    pump = np.array([unit.pump_gpm or 0.0 for unit in scene.units])
    share = draft_share(np.array([s.lift_ft for s in scene.sites]))[site]
    drafts = np.where(jobs.fill_engine >= 0, pump[jobs.fill_engine] * share, np.inf)
    whole = np.minimum(total, drafts)
    return np.minimum(fill, whole), whole


def _capped(scene: Scene, shuttle: Shuttle, jobs: Jobs, address: IntArray, site: IntArray) -> Shuttle:
    """Cap the flow by storage, draft, supply line and hose, in that order."""
    rules = scene.rules.shuttle
    storage = np.array([np.nan if s.storage_gal is None else s.storage_gal for s in scene.sites])[site]
    refill = np.array([np.nan if s.refill_gpm is None else s.refill_gpm for s in scene.sites])[site]
    held = storage_gpm(storage, refill, scene.needs.required_min[address])
    shuttle = cap(shuttle, held, LIMIT_CODE["source"])
    pump = np.array([unit.pump_gpm or 0.0 for unit in scene.units])
    draft = draft_gpm(pump[jobs.dump_engine], TANK_LIFT_FT, strainer_gpm=rules.strainer_gpm)
    shuttle = cap(shuttle, np.where(jobs.dump_engine >= 0, draft, np.inf), LIMIT_CODE["draft"])
    line_gpm, reaches = supply_line(scene, jobs, address)
    shuttle = cap(shuttle, line_gpm, LIMIT_CODE["supply line"])
    return cap(shuttle, np.where(reaches, np.inf, 0.0), LIMIT_CODE["hose"])


def _engines_lack(shuttle: Shuttle, jobs: Jobs, sent: BoolArray) -> Shuttle:
    """Stop the shuttle where tankers are sent (cases,) but no engine drafts, or none is left for the fill site."""
    lack = sent & ((jobs.dump_engine < 0) | (jobs.vacuum_only & ~shuttle.used.any(axis=-1)))
    return replace(
        shuttle,
        sustained_gpm=np.where(lack, 0.0, shuttle.sustained_gpm),
        limited_by=np.where(lack, np.int8(LIMIT_CODE["engines"]), shuttle.limited_by).astype(np.int8),
    )


def supply_line(scene: Scene, jobs: Jobs, address: IntArray) -> tuple[FloatArray, BoolArray]:
    """Give what one line carries from dump site to attack engine, gpm, and whether the hose reaches at all.

    The attack and the dump engine lay what both carry, of the smaller diameter. An attack engine that drafts
    for itself needs no line.
    """
    rules = scene.rules.shuttle
    attack = scene.response.attack_engine[address]
    length = scene.frontages.driveway_ft[address] + rules.stand_off_ft
    hose_ft = np.array([unit.supply_hose_ft for unit in scene.units])
    hose_in = np.array([unit.supply_hose_in for unit in scene.units])
    carried = hose_ft[attack] + hose_ft[jobs.dump_engine]
    size = np.minimum(hose_in[attack], hose_in[jobs.dump_engine])
    alone = (jobs.dump_engine == attack) | (jobs.dump_engine < 0)
    flow = lay_gpm(length, size, pump_psi=rules.supply_psi, residual_psi=rules.supply_residual_psi)
    return np.where(alone, np.inf, flow), alone | (carried >= length)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scores:
    """The steady flow of every pair at every level: arrays of shape (addresses, sites, levels)."""

    gpm: FloatArray
    tankers: IntArray
    trip_min: FloatArray
    cut: IntArray


def score(scene: Scene) -> Scores:
    """Work out every case, piece by piece over addresses."""
    addresses, levels = scene.response.engines.shape[:2]
    shape = (addresses, len(scene.sites), levels)
    gpm, trip = np.zeros(shape), np.full(shape, np.inf)
    tankers, cut = np.zeros(shape, dtype=np.int32), np.zeros(shape, dtype=np.int32)
    step = max(1, PIECE_CASES // max(1, shape[1] * levels))
    for first in range(0, addresses, step):
        rows = slice(first, min(first + step, addresses))
        a, s, lv = (i.ravel().astype(np.int32) for i in np.indices((rows.stop - first, *shape[1:])))
        found = deliver(scene, a + first, s, lv)
        part = (rows.stop - first, *shape[1:])
        gpm[rows] = found.shuttle.sustained_gpm.reshape(part)
        tankers[rows] = found.tankers.reshape(part)
        trip[rows] = found.trip_min.reshape(part)
        cut[rows] = found.cut.reshape(part)
    return Scores(gpm=gpm, tankers=tankers, trip_min=trip, cut=cut)


def pick_site(scores: Scores, allowed: BoolArray) -> IntArray:
    """Choose each address's and level's site among those allowed, (addresses, sites, levels): -1 where none.

    The largest flow; of equal flows more tankers, then the shorter trip, then the first site_id.
    """
    allowed = allowed & np.isfinite(scores.trip_min)
    gpm = np.where(allowed, scores.gpm, -1.0)
    top = gpm.max(axis=1, keepdims=True)
    tied = allowed & (gpm >= top - TIE * np.maximum(top, 1.0))
    count = np.where(tied, scores.tankers, -1)
    tied &= count == count.max(axis=1, keepdims=True)
    site = np.where(tied, scores.trip_min, np.inf).argmin(axis=1)
    return np.where(allowed.any(axis=1), site, -1).astype(np.int32)


def keep_lower_site(scene: Scene, scores: Scores, best: IntArray, allowed: BoolArray) -> IntArray:
    """Let a level keep the site of the level below; (addresses, levels).

    It changes for a gain above `keep_site_gain`, or where only the better site meets the requirement.
    """
    kept = best.copy()
    rows = np.arange(len(best))
    need = scene.needs.required_gpm - ROUNDING_GPM
    for level in range(1, best.shape[1]):
        lower = kept[:, level - 1]
        usable = (lower >= 0) & allowed[rows, lower, level] & np.isfinite(scores.trip_min[rows, lower, level])
        old, new = scores.gpm[rows, lower, level], scores.gpm[rows, best[:, level], level]
        gains = (new > old * (1.0 + scene.rules.plan.keep_site_gain)) | ((new >= need) & (old < need))
        kept[:, level] = np.where(usable & ~gains, lower, best[:, level])
    return kept


def pick_backup(scene: Scene, scores: Scores, site: IntArray, allowed: BoolArray) -> IntArray:
    """Choose the best site with the first one's source out; a year-round one where the first is seasonal."""
    source = np.array([s.source for s in scene.sites], dtype=np.object_)
    seasonal = np.array([s.seasonal for s in scene.sites], dtype=np.bool_)
    other = source[None, :] != source[:, None]
    steady = other & (~seasonal[:, None] | ~seasonal[None, :])
    may = steady[np.maximum(site, 0)].transpose(0, 2, 1) & allowed & (site >= 0)[:, None, :]
    return pick_site(scores, may)


def season_months(sites: tuple[FillSite, ...], months: frozenset[int]) -> tuple[tuple[tuple[int, ...], BoolArray], ...]:
    """Group the months by the sites that stand in them: months, mask of sites; the longest season first."""
    seasons: dict[tuple[bool, ...], list[int]] = {}
    for month in sorted(months):
        stands = tuple(site.in_service and month in site.months for site in sites)
        seasons.setdefault(stands, []).append(month)
    ordered = sorted(seasons.items(), key=lambda item: (-len(item[1]), item[1]))
    return tuple((tuple(group), np.array(stands, dtype=np.bool_)) for stands, group in ordered)


def flows_at(scores: Scores, site: IntArray) -> FloatArray:
    """Look up the flow of chosen sites (addresses, levels); 0 where none."""
    a, lv = np.indices(site.shape)
    return np.where(site >= 0, scores.gpm[a, np.maximum(site, 0), lv], 0.0)


def one_out_gpm(scene: Scene, site: IntArray, used: BoolArray) -> FloatArray:
    """Give the least flow of chosen sites (addresses, levels) with any one tanker in use out; NaN where no site."""
    least = np.full(site.shape, np.inf)
    for unit in np.flatnonzero(used.any(axis=(0, 1))).tolist():
        a, lv = np.nonzero(used[:, :, unit] & (site >= 0))
        missing = np.full(len(a), unit, dtype=np.int32)
        found = deliver(scene, a.astype(np.int32), site[a, lv], lv.astype(np.int32), missing)
        least[a, lv] = np.minimum(least[a, lv], found.shuttle.sustained_gpm)
    least = np.where(used.any(axis=2), least, 0.0)
    return np.where(site >= 0, least, np.nan)
