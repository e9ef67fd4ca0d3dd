"""Many cases laid out for the compiled account (`timeline_rounds`), and what it finds."""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from typing import Any, TypeVar

import numpy as np

from preplan.processes import cores
from preplan.records import BoolArray, FloatArray
from preplan.water.timeline_clock import Clock
from preplan.water.timeline_rounds import run_accounts
from preplan.water.timeline_state import ACTIVE, BOOSTER, DEAD, GROUND, MINUTE, SITE, SLACK, TRUCK, Records
from preplan.water.timeline_table import TANKER_WORDS, CaseTable

FIRST_ROOM = 256
"""Notes a case for which there is room at first."""
LEAST_A_THREAD = 256
"""Cases for which a thread of their own is worth it: some milliseconds."""
Column = TypeVar("Column", FloatArray, BoolArray)


class Accounts:
    """One account of every case that ends, and its fireground, tankers and fill sites as that left them."""

    def __init__(self, table: CaseTable, clock: Clock, flow_gpm: FloatArray, *, noting: bool = False) -> None:
        """Run them; `flow_gpm` (cases,) is the demand from full flow on; `noting` keeps what is drawn."""
        self.clock = clock
        room, marks = FIRST_ROOM if noting else 0, _marks(table, clock)
        while True:
            self.trucks = _trucks(table)
            """(cases, tankers)"""
            self.ground = _grounds(table, clock, flow_gpm, self.trucks, marks)
            """(cases,)"""
            self.sites = _sites(table)
            """(cases, 2)"""
            self.notes = np.empty((len(table), room, 3))
            _run(self.ground, marks, self.notes, self.trucks, self.sites, _places(table))
            most = int(self.ground["noted"].max(initial=0))
            if most <= room or not noting:
                break
            room = most  # for every note, at the second go

    def noted(self, case: int, kind: float) -> FloatArray:
        """Give the notes of one kind of a case, (notes, 2), in the order of noting."""
        notes: FloatArray = self.notes[case, : self.ground["noted"][case]]
        return notes[notes[:, 0] == kind, 1:]


def _run(*columns: Any) -> None:
    """Run the cases of some columns, (cases, ...) each, on all cores where they are many: no case knows of another."""
    cases = len(columns[0])
    count = max(1, cases // LEAST_A_THREAD)
    left = iter([slice(cases * at // count, cases * (at + 1) // count) for at in range(count)])

    def work() -> None:
        """Take the next part that nobody has taken until none is left."""
        for part in left:
            run_accounts(*(column[part] for column in columns))

    others = min(cores(), count) - 1
    if not others:
        work()
        return
    with ThreadPoolExecutor(others) as threads:
        helping: list[Future[None]] = []
        with suppress(RuntimeError):  # where no thread can be started this one does it all
            helping.extend(threads.submit(work) for _ in range(others))
        work()
    for one in helping:
        one.result()


def _trucks(table: CaseTable) -> Records:
    trucks = np.zeros(table.arrival_min.shape, dtype=TRUCK)
    for word in {*TANKER_WORDS} & {*(TRUCK.names or ())}:
        trucks[word] = getattr(table, word)
    trucks["site"] = _site(table)
    trucks["joined"] = table.arrival_min + table.dump_maneuver_min
    trucks["turn"] = np.rint(trucks["joined"] * 1e6)
    trucks["load"] = table.usable_gal
    return trucks


def _grounds(table: CaseTable, clock: Clock, flow_gpm: FloatArray, trucks: Records, marks: FloatArray) -> Records:
    ground = np.zeros(len(table), dtype=GROUND)
    for word in ("first_water", "full", "end", "dump_ready", "attack_gpm"):
        ground[word] = getattr(clock, word)
    ground["flow_gpm"], ground["target_gal"] = flow_gpm, table.required_gal
    ground["line_gpm"] = np.minimum(table.draft_gpm, table.supply_gpm)
    ground["dump_places"] = table.dump_places
    ground["nurse"], ground["hose_ready"] = clock.nurse(table), table.hose_ready_min
    here = np.isfinite(table.arrival_min)
    ground["mixed"] = (here & trucks["self_fill"]).any(axis=1) & (here & ~trucks["self_fill"]).any(axis=1)
    ground["next_mark"] = marks[:, 0, MINUTE]
    for word in ("tight", "established", "arrived_by", "first_gap", "late_gap", "first_nothing"):
        ground[word] = np.nan
    for word in ("dump_free", "dry_from", "dry_to", "nothing_from", "nothing_to"):
        ground[word] = -np.inf
    ground["ratio"] = np.inf
    return ground


def _marks(table: CaseTable, clock: Clock) -> FloatArray:
    """Lay out what happens by the clock alone, (cases, marks, 4); see `timeline_state.MINUTE`."""
    cases, tanks = clock.tank_ready.shape
    marks = np.zeros((cases, 5 + tanks, 4))
    minutes = [table.attack_arrival_min, clock.first_water, clock.full, clock.end, clock.tank_ready]
    marks[:, :-1, MINUTE], marks[:, -1, MINUTE] = np.column_stack(minutes), np.inf
    marks[:, 0, BOOSTER] = table.booster_gal
    marks[:, 4:-1, ACTIVE], marks[:, 4:-1, DEAD] = clock.tank_active_gal, clock.tank_dead_gal
    order = np.argsort(marks[:, :, MINUTE], axis=1, kind="stable")
    sorted_: FloatArray = np.take_along_axis(marks, order[:, :, None], axis=1)
    return sorted_


def _sites(table: CaseTable) -> Records:
    sites = np.zeros((len(table), 2), dtype=SITE)
    for word in ("positions", "site_gpm", "storage_gal", "refill_gpm"):
        sites[word] = _by_site(getattr(table, word), getattr(table, f"second_{word}"))
    sites["setup_min"] = _by_site(table.fill_setup_min, table.second_setup_min)
    engine_min = _by_site(table.fill_engine_arrival_min, table.second_engine_arrival_min)
    sites["ready_min"] = engine_min + sites["setup_min"]
    most_gpm = [np.where(here, table.fill_gpm, 0.0).max(axis=1, initial=0.0) for here in _fill_here(table)]
    at_once = _at_once(table)
    tight = np.column_stack(most_gpm) * at_once > sites["site_gpm"] * SLACK
    sites["crowded"] = (at_once > 1) & (tight | np.isfinite(sites["storage_gal"]))
    sites["level_gal"], sites["dry_min"] = sites["storage_gal"], np.inf
    return sites


def _places(table: CaseTable) -> FloatArray:
    """Lay out when the places of every fill site are free, (cases, sites, places)."""
    positions = _by_site(table.positions, table.second_positions)
    most = int(min(positions.max(initial=1), max(table.arrival_min.shape[1], 1)))
    places: FloatArray = np.where(np.arange(most) >= positions[:, :, None], np.inf, -np.inf)
    return places


def _site(table: CaseTable) -> FloatArray:
    """Tell at which site each tanker fills, (cases, tankers)."""
    site: FloatArray = np.where(np.isfinite(table.arrival_min), table.second_site, 0.0)
    return site


def _fill_here(table: CaseTable) -> list[BoolArray]:
    """Tell for each site which tankers fill there, (cases, tankers) each."""
    here, site = np.isfinite(table.arrival_min), _site(table)
    return [here & (site == at) for at in (0, 1)]


def _by_site(first: FloatArray, second: FloatArray) -> FloatArray:
    """Lay two columns of the cases side by side, (cases, sites)."""
    return np.column_stack([first, second])


def _at_once(table: CaseTable) -> FloatArray:
    """Count the tankers that may fill at the same time, (cases, sites)."""
    fill_here = np.column_stack([here.sum(axis=1) for here in _fill_here(table)])
    at_once: FloatArray = np.minimum(_by_site(table.positions, table.second_positions), fill_here)
    return at_once
