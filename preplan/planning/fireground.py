"""The timeline's questions: each case with its crews, their arrivals and jobs, its circuit, water and demand.

A *case* is one (address, site, level); here it also has the tankers that haul, and the cut whose roads they drive.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from preplan.planning.assignment import (
    Scene,
    circuit_of,
    crews,
    drafted_gpm,
    engines_lack,
    lift_share,
    line_capped,
    near_dump_site,
    site_rates,
    source_capped,
    stored,
    supply_line,
)
from preplan.planning.response import Jobs
from preplan.planning.vehicles import is_tanker
from preplan.records import BoolArray, Columns, FloatArray, IntArray
from preplan.water.shuttle import Shuttle, joined_circuits
from preplan.water.tanker import Tankers, filling
from preplan.water.timeline import NEVER
from preplan.water.timeline_batch import gaps
from preplan.water.timeline_clock import Rows
from preplan.water.timeline_table import CaseTable

PIECE_CASES = 16_384
"""Cases whose timelines are run at once: about a kilobyte each."""
SETUP = MappingProxyType(
    {"dry hydrant": "dry_hydrant_setup_min", "cistern": "cistern_setup_min", "draft": "draft_setup_min"}
)
"""The rule that says how long an engine takes at each kind of site; elsewhere that of a hydrant."""
LONG_RUN_MIN = (300.0, 1500.0)
"""Minutes of full flow between which the long run is averaged (this program's choice)."""
MORE_THAN_COMES_GPM = 1e5
"""A demand that no fleet meets."""
ENDLESS_GAL = 1e9
"""A portable tank that is never full."""
SECOND_WORDS = MappingProxyType(
    {
        "fill_engine_arrival_min": "second_engine_arrival_min",
        "fill_setup_min": "second_setup_min",
        "positions": "second_positions",
        "site_gpm": "second_site_gpm",
        "storage_gal": "second_storage_gal",
        "refill_gpm": "second_refill_gpm",
    }
)
"""The columns of a fill site, and what those of the second one are called."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Crews(Columns):
    """Who hauls and who pumps in many cases, (cases,)."""

    address: IntArray
    site: IntArray
    level: IntArray
    fleet: IntArray
    """Level whose units have jobs and bring their portable tanks: the case's own, or a lower one that does better."""
    cut: IntArray
    """Vehicle class driven: index into `Scene.cuts`."""
    used: BoolArray
    """(cases, units): tankers that haul."""
    fill_engine: IntArray
    dump_engine: IntArray
    vacuum_only: BoolArray
    """See `response.Jobs`."""
    second: IntArray
    """Second fill site, -1: none."""
    second_cut: IntArray
    """Vehicle class driven there."""
    at_second: BoolArray
    """(cases, units): those of `used` that fill there."""
    second_engine: IntArray
    attack_drafts: BoolArray
    """The attack engine drafts though another engine could; see `drafting_itself`."""

    @property
    def jobs(self) -> Jobs:
        """Give the engines' jobs."""
        return Jobs(
            level=self.fleet,
            fill_engine=self.fill_engine,
            dump_engine=self.dump_engine,
            vacuum_only=self.vacuum_only,
            second_engine=self.second_engine,
        )

    def over_second(self) -> Crews:
        """Give the circuit over the second fill site as though it were the only one."""
        return replace(
            self,
            site=self.second,
            cut=self.second_cut,
            used=self.used & self.at_second,
            fill_engine=self.second_engine,
        )


def everyone(scene: Scene, address: IntArray, site: IntArray, level: IntArray) -> Crews:
    """Send all tankers that can haul, on the lightest cut, in the cases of three arrays (cases,)."""
    jobs, present = crews(scene, address, site, level)
    return Crews(
        address=address,
        site=site,
        level=level,
        fleet=level,
        cut=np.zeros(len(address), dtype=np.int32),
        used=present,
        fill_engine=jobs.fill_engine,
        dump_engine=jobs.dump_engine,
        vacuum_only=jobs.vacuum_only,
        second=np.full(len(address), -1, dtype=np.int32),
        second_cut=np.zeros(len(address), dtype=np.int32),
        at_second=np.zeros_like(present),
        second_engine=jobs.second_engine,
        attack_drafts=np.zeros(len(address), dtype=np.bool_),
    )


def drafting_itself(scene: Scene, run: Crews) -> tuple[Rows, Crews]:
    """Give the cases (rows) in which the attack engine is near enough to draft, though another could, with that job.

    More engines may bring less: the next one takes the draft over, however late it comes, and until then nothing is
    drawn from the portable tanks. A crew that drafts with two engines need not stop because a third was called.
    """
    attack = scene.response.attack_engine[run.address]
    may = near_dump_site(scene, run.address) & (attack >= 0) & (run.dump_engine >= 0) & (run.dump_engine != attack)
    rows = np.flatnonzero(may)
    part = run.rows(rows)
    return rows, with_jobs(scene, replace(part, attack_drafts=np.ones(rows.size, dtype=np.bool_)))


def with_jobs(scene: Scene, run: Crews, later_min: FloatArray | float = 0.0) -> Crews:
    """Deal the engines' jobs anew, and let only those tankers haul that can.

    `later_min`, (cases,) or one for all, is as in `assign_jobs`.

    Who fills at the second site needs no engine at the first.
    """
    fleet = run.address, run.site, run.fleet
    jobs, present = crews(scene, *fleet, run.second, later_min, attack_drafts=run.attack_drafts)
    return replace(
        run,
        used=run.used & (present | run.at_second),
        fill_engine=jobs.fill_engine,
        dump_engine=jobs.dump_engine,
        vacuum_only=jobs.vacuum_only,
        second_engine=jobs.second_engine,
    )


def called_later(scene: Scene, run: Crews, call_min: FloatArray) -> tuple[Crews, FloatArray]:
    """Give the same cases with the units beyond the first level alerted at `call_min` (cases,), jobs dealt anew.

    With them how much later than at minute 0 each unit is alerted, (cases, units).
    """
    first = (scene.response.engines[:, 0] | scene.response.tankers[:, 0])[run.address]
    later = np.where(first, 0.0, call_min[:, None])
    return with_jobs(scene, run, later), later


def steady(scene: Scene, run: Crews) -> Shuttle:
    """Give the steady flow of just these crews, capped by storage, draft, supply line and hose.

    Two circuits wait for each other at the dump site, so they may bring less than the closed form of both says: then
    the long run holds.
    """
    sent = scene.response.tankers[run.address, run.level].any(axis=1) & np.isfinite(legs_min(scene, run)[0])
    shuttle = _circuit(scene, replace(run, used=run.used & ~run.at_second))
    rows = np.flatnonzero(run.second >= 0)
    if rows.size:
        part = run.rows(rows)
        other = part.over_second()
        ends = circuit_of(scene, other.site, other.jobs)
        both = joined_circuits(shuttle.rows(rows), _circuit(scene, other), ends.handling, dump_places=ends.dump_places)
        both = replace(both, sustained_gpm=np.minimum(both.sustained_gpm, long_run_gpm(scene, part)))
        shuttle = shuttle.put(rows, both)
    return engines_lack(line_capped(scene, shuttle, run.jobs, run.address), run.jobs, sent)


def long_run_gpm(scene: Scene, run: Crews) -> FloatArray:
    """Run tankers on two circuits until the first minutes no longer count, and average what they bring, (cases,) gpm.

    Whatever is brought is drawn, and no tank is ever full.
    """
    table, cases = case_table(scene, run), len(run)
    endless = replace(
        table,
        required_gpm=np.full(cases, MORE_THAN_COMES_GPM),
        draft_gpm=np.full(cases, np.inf),
        supply_gpm=np.full(cases, np.inf),
        storage_gal=np.full(cases, np.inf),
        second_storage_gal=np.full(cases, np.inf),
        dead_fraction=np.zeros(cases),
        other_arrival_min=np.zeros((cases, 1)),
        other_gal=np.full((cases, 1), ENDLESS_GAL),
    )
    short = [gaps(replace(endless, required_min=np.full(cases, until))).short_gal for until in LONG_RUN_MIN]
    flow: FloatArray = MORE_THAN_COMES_GPM - (short[1] - short[0]) / (LONG_RUN_MIN[1] - LONG_RUN_MIN[0])
    return np.maximum(np.nan_to_num(flow, nan=np.inf), 0.0)  # where no attack engine comes no run tells


def _circuit(scene: Scene, run: Crews) -> Shuttle:
    """Give what one circuit delivers by its tankers and its source."""
    shuttle = circuit_of(scene, run.site, run.jobs).exactly(legs_min(scene, run)[0], run.used)
    return source_capped(scene, shuttle, run.address, run.site)


def legs_min(scene: Scene, run: Crews) -> tuple[FloatArray, FloatArray]:
    """Give each case's round trip and its loaded leg, minutes, on its own cut."""
    trip, out = np.full(len(run), np.inf), np.full(len(run), np.inf)
    for index, cut in enumerate(scene.cuts):
        rows = np.flatnonzero(run.cut == index)
        trip[rows] = cut.trip_min[run.address[rows], run.site[rows]]
        out[rows] = cut.out_min[run.address[rows], run.site[rows]]
    return trip, out


def case_table(scene: Scene, run: Crews, later: FloatArray | float = 0.0, *, hose_reaches: bool = False) -> CaseTable:
    """Write cases as the timeline reads them; `later` (cases, units) is when each unit is alerted.

    Tankers lie on the last axis in the order of `haulers`. `hose_reaches` asks what would flow if no supply line were
    short of hose.
    """
    rules, needs, address = scene.rules.shuttle, scene.needs, run.address
    arrival = scene.response.arrival_min[address] + later
    line = supply_line(scene, run.jobs, address, later)
    nurse_gpm = np.where(line.short_ft > 0, line.reached_gpm, line.nurse_gpm) if hose_reaches else line.nurse_gpm
    other_arrival, other_gal = _other_tanks(scene, run, arrival)
    attack = scene.response.attack_engine[address]
    booster = np.array([unit.tank_gal for unit in scene.units])
    return CaseTable.spread(
        len(run),
        len(haulers(scene)),
        attack_arrival_min=_arrival_of(arrival, attack),
        booster_gal=np.where(attack >= 0, booster[attack], 0.0),
        dump_engine_arrival_min=line.ready_min,
        required_gpm=needs.required_gpm[address],
        required_min=needs.required_min[address],
        required_gal=needs.required_gal[address],
        attack_gpm=rules.attack_gpm,
        attack_setup_min=rules.attack_setup_min,
        full_flow_after_min=rules.full_flow_after_min,
        dump_setup_min=rules.dump_setup_min,
        tank_setup_min=rules.tank_setup_min,
        dump_places=rules.dump_places,
        room_fraction=rules.tank_room_fraction,
        dead_fraction=rules.dead_water_fraction,
        draft_gpm=drafted_gpm(scene, run.jobs),
        supply_gpm=line.reached_gpm if hose_reaches else line.gpm,
        hose_ready_min=line.hose_min,
        other_arrival_min=other_arrival,
        other_gal=other_gal,
        **_tanker_columns(scene, run, arrival, nurse_gpm),
        **_circuit_columns(scene, run, later),
    )


def haulers(scene: Scene) -> IntArray:
    """List the units that can haul, in code point order of unit_id."""
    return np.flatnonzero([is_tanker(unit) for unit in scene.units]).astype(np.int32)


def _tanker_columns(
    scene: Scene, run: Crews, arrival: FloatArray, nurse_gpm: FloatArray
) -> dict[str, FloatArray | float]:
    """Give the columns (cases, tankers) of what those that can haul bring; one that does not is never there.

    `nurse_gpm` (cases,) is what the hose to the attack engine lets a nurse give.
    """
    rules, haul = scene.rules.shuttle, haulers(scene)
    units = [scene.units[u] for u in haul.tolist()]
    tankers = Tankers.of(units)
    there = run.used[:, haul] & np.isfinite(legs_min(scene, run)[0])[:, None]
    return {
        "arrival_min": np.where(there, arrival[:, haul], NEVER),
        "usable_gal": tankers.tank_gal * tankers.usable_fraction,
        "dump_gpm": tankers.dump_gpm,
        "fill_hookup_min": filling(tankers, 0.0, rules)[0],
        "dump_hookup_min": rules.dump_hookup_min,
        "fill_maneuver_min": rules.fill_maneuver_min,
        "dump_maneuver_min": rules.dump_maneuver_min,
        "portable_gal": np.array([unit.portable_tank_gal for unit in units]),
        "has_pump": np.array([float((unit.pump_gpm or 0.0) > 0.0) for unit in units]),
        "pump_gpm": np.minimum(np.array([unit.pump_gpm or 0.0 for unit in units]), nurse_gpm[:, None]),
        "self_fill": np.isfinite(tankers.self_fill_gpm).astype(np.float64),
    }


def _circuit_columns(scene: Scene, run: Crews, later: FloatArray | float) -> dict[str, FloatArray]:
    """Give the columns of the fill sites (cases,), and of rates and legs there (cases, tankers)."""
    sites, legs = _site_columns(scene, run, later), _leg_columns(scene, run)
    rows = np.flatnonzero(run.second >= 0)
    if not rows.size:
        return {**sites, **legs}
    other = run.rows(rows).over_second()
    at_second = run.at_second[:, haulers(scene)]
    for word, column in _leg_columns(scene, other).items():
        legs[word][rows] = np.where(at_second[rows], column, legs[word][rows])
    later = later if np.ndim(later) == 0 else np.asarray(later)[rows]
    for word, column in _site_columns(scene, other, later).items():
        second = sites[SECOND_WORDS[word]] = sites[word].copy()
        second[rows] = column
    return {**sites, **legs, "second_site": at_second.astype(np.float64)}


def _site_columns(scene: Scene, run: Crews, later: FloatArray | float) -> dict[str, FloatArray]:
    """Give the columns of each case's fill site."""
    storage, refill = stored(scene, run.site)
    return {
        "fill_engine_arrival_min": _fill_arrival(scene, run, later),
        "fill_setup_min": setup_min(scene)[run.site],
        "positions": np.array([float(s.positions) for s in scene.sites])[run.site],
        "site_gpm": site_rates(scene, run.site, run.jobs)[1],
        "storage_gal": np.where(np.isnan(storage), np.inf, storage),
        "refill_gpm": np.nan_to_num(refill),
    }


def _leg_columns(scene: Scene, run: Crews) -> dict[str, FloatArray]:
    """Give the rate into each tanker and its legs on each case's circuit."""
    tankers = Tankers.of([scene.units[u] for u in haulers(scene)])
    rate_gpm = filling(
        tankers,
        site_rates(scene, run.site, run.jobs)[0],
        scene.rules.shuttle,
        lift_share=lift_share(scene, run.site),
    )[1]
    trip, out = legs_min(scene, run)
    with np.errstate(invalid="ignore"):
        legs = {"out_min": out, "back_min": trip - out}
    driven = {word: np.where(np.isfinite(trip), leg, 0.0)[:, None] for word, leg in legs.items()}
    return {"fill_gpm": rate_gpm, **{word: np.repeat(leg, rate_gpm.shape[1], axis=1) for word, leg in driven.items()}}


def _other_tanks(scene: Scene, run: Crews, arrival: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give arrival and size of the portable tanks that come on units which do not haul: (cases, units with one).

    What pumps at a fill site takes its tank there.
    """
    carried = np.array([unit.portable_tank_gal for unit in scene.units])
    own = np.flatnonzero(carried > 0)
    fleet = (scene.response.engines | scene.response.tankers)[run.address, run.fleet]
    idle = fleet[:, own] & ~run.used[:, own]
    for busy in (run.fill_engine, run.second_engine):
        idle &= own[None, :] != busy[:, None]
    return np.where(idle, arrival[:, own], NEVER), np.broadcast_to(carried[own], idle.shape)


def _arrival_of(arrival: FloatArray, unit: IntArray) -> FloatArray:
    """Look up the arrival of one unit a case; inf where there is none."""
    return np.where(unit >= 0, arrival[np.arange(len(unit)), np.maximum(unit, 0)], NEVER)


def _fill_arrival(scene: Scene, run: Crews, later: FloatArray | float) -> FloatArray:
    """Give the fill engine's arrival at the site; NaN where the site needs none, inf where none comes."""
    at_site = scene.response.site_arrival_min[run.site] + later
    needs = np.array([site.needs_engine for site in scene.sites], dtype=np.bool_)[run.site]
    return np.where(needs, _arrival_of(at_site, run.fill_engine), np.nan)


def setup_min(scene: Scene) -> FloatArray:
    """Give the set-up of each site's kind, minutes; where no engine pumps it is opened like a hydrant."""
    rules = scene.rules.shuttle
    words = [
        SETUP.get(site.kind, "hydrant_setup_min") if site.needs_engine else "hydrant_setup_min" for site in scene.sites
    ]
    return np.array([getattr(rules, word) for word in words], dtype=np.float64)
