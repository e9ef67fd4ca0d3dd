"""The answers of many timeline cases: the fast way, equal to `preplan.water.timeline`.

Cases run in lockstep (`timeline_lockstep`); the few kinds that it does not know go to the plain account one
by one. Equal cases are computed once. A district is best asked some ten thousand cases at a time: a case
takes about a kilobyte.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np

from preplan.records import BoolArray, Columns, FloatArray
from preplan.water.shuttle import LIMIT_CODE, NO_LIMIT, CodeArray
from preplan.water.timeline import GAP_MIN, answer, held_flow
from preplan.water.timeline_events import INSTANT_MIN
from preplan.water.timeline_levels import Clock, Rows
from preplan.water.timeline_lockstep import Lockstep, knows
from preplan.water.timeline_table import CaseTable
from preplan.water.uninterrupted import MOST_RUNS, NO_BOUND_GPM, SAME_FLOW, Search

PIECE_CASES = 8192
"""Cases in lockstep at once: their levels stay in the processor's cache."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldTable(Columns):
    """Uninterrupted flows, (cases,)."""

    uninterrupted_gpm: FloatArray
    tight_min: FloatArray
    """NaN where draft or supply line hold the flow."""
    limited_by: CodeArray
    """Codes into `shuttle.LIMITS`; `NO_LIMIT` where it is what limits the sustained flow."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GapTable(Columns):
    """What happens under the demand, (cases,); fields as in `timeline.Answer`."""

    first_water_min: FloatArray
    dump_ready_min: FloatArray
    fill_ready_min: FloatArray
    established_min: FloatArray
    on_scene_gal: FloatArray
    gap_min: FloatArray
    first_gap_min: FloatArray
    gap_stretches: FloatArray
    longest_gap_min: FloatArray
    short_gal: FloatArray
    mws_by_min: FloatArray


T = TypeVar("T", HeldTable, GapTable)


def held_flows(table: CaseTable) -> HeldTable:
    """Find the uninterrupted flow of every case."""
    return _each_once(table, _held_piece, HeldTable)


def gaps(table: CaseTable) -> GapTable:
    """Run every case under its own demand."""
    return _each_once(table, _gap_piece, GapTable)


def one_out_gpm(table: CaseTable) -> FloatArray:
    """Give the uninterrupted flow with each one tanker out, its portable tank with it; (cases, tankers).

    NaN where a tanker is not of the case.
    """
    cases, tankers = table.arrival_min.shape
    flows = np.full((cases, tankers), np.nan)
    for who in range(tankers):
        rows = np.flatnonzero(np.isfinite(table.arrival_min[:, who]))
        part = table.rows(rows)
        arrival = part.arrival_min.copy()
        arrival[:, who] = np.inf
        flows[rows, who] = held_flows(replace(part, arrival_min=arrival)).uninterrupted_gpm
    return flows


def best_flows(table: CaseTable, below: BoolArray | None = None) -> tuple[HeldTable, BoolArray]:
    """Leave out single tankers while that raises the uninterrupted flow; give the flows and who stays.

    `below` (cases, tankers) are the tankers in use at the level below: where they alone do better, they stand.
    Each round costs as many cases as there are tankers.
    """
    arrival = table.arrival_min.copy()
    used = replace(table, arrival_min=arrival)
    gpm = held_flows(used).uninterrupted_gpm.copy()
    rows = np.arange(len(table)) if arrival.shape[1] else np.empty(0, dtype=np.intp)
    while rows.size:
        flows = np.nan_to_num(one_out_gpm(used.rows(rows)), nan=-1.0)
        worst = flows.argmax(axis=1)
        gains = flows[np.arange(rows.size), worst] > gpm[rows] * (1.0 + 10 * SAME_FLOW)
        rows, worst, flows = rows[gains], worst[gains], flows[gains]
        arrival[rows, worst] = np.inf
        gpm[rows] = flows[np.arange(rows.size), worst]
    if below is not None:
        alone = np.where(below, table.arrival_min, np.inf)
        better = held_flows(replace(table, arrival_min=alone)).uninterrupted_gpm > gpm
        arrival[better] = alone[better]
    return held_flows(used), np.isfinite(arrival)


def call_by_min(table_at: Callable[[Rows, int], CaseTable], cases: int, latest_min: int) -> FloatArray:
    """Find the latest whole minute at which units can be called with no gap, each earlier one having none too.

    Parameters
    ----------
    table_at
        Gives some of the cases (rows) with the units beyond the first level alerted at a minute.
    cases
        How many there are.
    latest_min
        Last minute to try.

    Returns
    -------
    FloatArray
        (cases,); NaN where even a call at minute 0 leaves a gap.
    """
    latest = np.full(cases, np.nan)
    rows = np.arange(cases)
    for minute in range(latest_min + 1):
        if not rows.size:
            break
        rows = rows[gaps(table_at(rows, minute)).gap_min <= GAP_MIN]
        latest[rows] = minute
    return latest


# --------------------------------------------------------------------------- equal cases once, in pieces


def _each_once(table: CaseTable, solve: Callable[[CaseTable], T], kind: type[T]) -> T:
    """Solve the cases that differ, piece by piece, and hand each answer to all that share it."""
    if not len(table):
        return solve(table)
    first, back = _distinct(table)
    parts = [solve(table.rows(first[at : at + PIECE_CASES])) for at in range(0, first.size, PIECE_CASES)]
    whole = {f.name: np.concatenate([getattr(part, f.name) for part in parts])[back] for f in fields(kind)}
    return kind(**whole)


def _distinct(table: CaseTable) -> tuple[Rows, Rows]:
    """Find one row of each kind, and for every row which of those it is; equal means equal in every bit."""
    packed = np.concatenate(
        [np.asarray(getattr(table, f.name), dtype=np.float64).reshape(len(table), -1) for f in fields(table)], axis=1
    )
    keys = np.ascontiguousarray(packed).view(np.dtype((np.void, packed.shape[1] * packed.itemsize)))[:, 0]
    _, first, back = np.unique(keys, return_index=True, return_inverse=True)
    return first, back


# --------------------------------------------------------------------------- one piece


def _held_piece(table: CaseTable) -> HeldTable:
    known = knows(table)
    clock = Clock(table)
    most = np.minimum(np.minimum(table.draft_gpm, table.supply_gpm), NO_BOUND_GPM)
    search = Search(most)
    code = np.full(len(table), NO_LIMIT, dtype=np.int8)
    runs = np.isfinite(clock.end) & (table.required_min > 0)
    code[~np.isfinite(clock.end)] = LIMIT_CODE["engines"]
    search.done[~(known & runs)] = True
    for _ in range(MOST_RUNS):
        rows = np.flatnonzero(~search.done)
        if not rows.size:
            break
        part = table.rows(rows) if rows.size < len(table) else table
        run = Lockstep(part, Clock(part), search.try_gpm[rows]).go()
        search.learn(rows, run.levels.ratio, run.levels.tight)
        none = rows[search.done[rows] & (search.gpm[rows] == 0.0)]
        search.tight_min[none] = clock.full[none]
        code[rows] = _limits(part, run, search, rows)
    for row in np.flatnonzero(~known & runs).tolist():
        held = held_flow(table.case(row))
        search.gpm[row], search.tight_min[row] = held.gpm, held.tight_min
        code[row] = LIMIT_CODE.get(held.limited_by, NO_LIMIT)
    return HeldTable(uninterrupted_gpm=search.gpm, tight_min=search.tight_min, limited_by=code)


def _limits(table: CaseTable, run: Lockstep, search: Search, rows: Rows) -> CodeArray:
    """Name what holds each flow, as far as the timeline knows it; the first that applies."""
    clock, levels = run.clock, run.levels
    tight = search.tight_min[rows]
    here = np.isfinite(table.arrival_min)
    selfs = (here & (table.self_fill > 0)).any(axis=1)
    no_dump = ~np.isfinite(clock.dump_ready)
    room = levels.slowed & (search.gpm[rows] < search.unbound_gpm[rows] * (1.0 - SAME_FLOW))
    choices = (
        (np.isnan(tight) & (table.draft_gpm <= table.supply_gpm), "draft"),
        (np.isnan(tight), "supply line"),
        (~here.any(axis=1), "tankers"),
        (no_dump & np.isfinite(table.dump_engine_arrival_min), "room"),
        (no_dump, "engines"),
        (np.isposinf(table.fill_engine_arrival_min) & ~selfs, "engines"),
        (~(levels.established < tight - INSTANT_MIN), "arrival"),
        (run.ran_dry, "source"),
        (room, "room"),
    )
    codes = np.select([c for c, _ in choices], [LIMIT_CODE[word] for _, word in choices], NO_LIMIT)
    return codes.astype(np.int8)


def _gap_piece(table: CaseTable) -> GapTable:
    known = knows(table)
    clock = Clock(table)
    runs = np.isfinite(clock.end)
    clock.end[~known] = np.inf  # leaves them to the plain account
    run = Lockstep(table, clock, table.required_gpm, books=True).go()
    levels = run.levels
    books = GapTable(
        first_water_min=_known(clock.first_water),
        dump_ready_min=_known(clock.dump_ready),
        fill_ready_min=np.where(run.fill_ready < clock.end, _known(run.fill_ready), np.nan),
        established_min=levels.established,
        on_scene_gal=levels.on_scene_full,
        gap_min=np.where(runs, levels.gap, np.nan),
        first_gap_min=levels.first_gap,
        gap_stretches=levels.stretches,
        longest_gap_min=np.where(runs, levels.longest, np.nan),
        short_gal=levels.short,
        mws_by_min=levels.arrived_by,
    )
    for row in np.flatnonzero(~known).tolist():
        found = answer(table.case(row))
        for word in (f.name for f in fields(books)):
            getattr(books, word)[row] = getattr(found, word)
    return books


def _known(minute: FloatArray) -> FloatArray:
    return np.where(np.isfinite(minute), minute, math.nan)
