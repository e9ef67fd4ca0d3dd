"""The answers of many timeline cases: the fast way, equal to `preplan.water.timeline`.

Cases run compiled (`timeline_rounds`). Equal cases are computed once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import partial
from hashlib import blake2b
from typing import TypeVar

import numpy as np

from preplan.plan_cards import Strip
from preplan.records import BoolArray, Columns, FloatArray, joined
from preplan.water.same import LEAST_SHORT, SAME
from preplan.water.shuttle import LIMIT_CODE, NO_LIMIT, CodeArray
from preplan.water.timeline import GAP_MIN
from preplan.water.timeline_accounts import Accounts
from preplan.water.timeline_clock import Clock, Rows
from preplan.water.timeline_diary import strips_of
from preplan.water.timeline_events import INSTANT_MIN
from preplan.water.timeline_memory import memory_of
from preplan.water.timeline_table import CaseTable
from preplan.water.uninterrupted import MOST_RUNS, NO_BOUND_GPM, Search

PIECE_CASES = 8192
"""Cases that are laid out at once: some twenty megabytes."""
TRIED_AT_ONCE = 12
"""Minutes of a call that are tried in one step."""
OUT_CASES = 32_768
"""Cases with a tanker out that are laid out at once."""


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
    nothing_min: FloatArray
    first_nothing_min: FloatArray
    longest_nothing_min: FloatArray
    nothing_gal: FloatArray
    mws_by_min: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class QueueTable(Columns):
    """What each tanker does under the demand, (cases, tankers); zeros where it is not of the case."""

    loads: FloatArray
    """Loads it began to dump."""
    fill_wait_min: FloatArray
    dump_wait_min: FloatArray
    """Minutes in the queues for a place."""
    room_wait_min: FloatArray
    """By how much full portable tanks slowed its dumping."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurgeTable(Columns):
    """How long a master stream is held, (cases,)."""

    surge_min: FloatArray


T = TypeVar("T", HeldTable, GapTable, QueueTable, SurgeTable)


def held_flows(table: CaseTable) -> HeldTable:
    """Find the uninterrupted flow of every case."""
    return _remembered(table, _held_piece, HeldTable)


def gaps(table: CaseTable) -> GapTable:
    """Run every case under its own demand."""
    return _remembered(table, _gap_piece, GapTable)


def brought_gpm(table: CaseTable, held_gpm: FloatArray) -> FloatArray:
    """Give what cases bring, (cases,) gpm, by which one is better than another.

    Where `held_gpm` (cases,), the uninterrupted flow, meets the requirement, that. Else the flow asked for less what is
    short of it on average, from first water to the end of the required minutes: always less than the requirement.
    """
    brings, less = held_gpm.copy(), np.flatnonzero(held_gpm < table.required_gpm * (1.0 - LEAST_SHORT))
    some = table.rows(less)
    short_gal = np.nan_to_num(gaps(some).short_gal, nan=np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.nan_to_num(some.required_gpm - short_gal / some.required_min, nan=0.0)
    brings[less] = np.clip(mean, 0.0, some.required_gpm * (1.0 - 2.0 * LEAST_SHORT))
    return brings


def surge_minutes(table: CaseTable, gpm: float, minutes: float) -> FloatArray:
    """Count the minutes of a master stream from full flow on before the first dry one, (cases,).

    `gpm` is the demand in all for so many `minutes`, at least the required flow; NaN where no attack engine comes.
    """
    return _each_once(table, partial(_surge_piece, gpm=gpm, minutes=minutes)).surge_min


def queues(table: CaseTable) -> QueueTable:
    """Count every tanker's loads and its minutes in queues under the case's own demand."""
    return _each_once(table, _queue_piece)


def one_out_gpm(table: CaseTable) -> FloatArray:
    """Give the uninterrupted flow with each one tanker out, its portable tank with it; (cases, tankers).

    NaN where a tanker is not of the case.
    """
    return _each_out(table)[0]


def _each_out(table: CaseTable) -> tuple[FloatArray, FloatArray]:
    """Give what is held, and what is brought, with each one tanker out: (cases, tankers) each; NaN as above."""
    held, brings = np.full((2, *table.arrival_min.shape), np.nan)
    case, who = np.nonzero(np.isfinite(table.arrival_min))
    for first in range(0, case.size, OUT_CASES):
        rows, out = case[first : first + OUT_CASES], who[first : first + OUT_CASES]
        part = table.rows(rows)
        part.arrival_min[np.arange(rows.size), out] = np.inf  # a copy: rows are picked by index
        held[rows, out] = held_flows(part).uninterrupted_gpm
        brings[rows, out] = brought_gpm(part, held[rows, out])
    return held, brings


@dataclass(frozen=True, slots=True, kw_only=True)
class BestFleets(Columns):
    """The tankers that stay when single ones are left out while that raises what is brought, see `brought_gpm`."""

    used: BoolArray
    """(cases, tankers)"""
    gpm: FloatArray
    """(cases,): uninterrupted flow of those that stay."""
    brings_gpm: FloatArray
    """(cases,): what they bring."""
    one_out_gpm: FloatArray
    """(cases, tankers): uninterrupted flow with each of them out as well; NaN where a tanker does not stay."""


def best_fleets(table: CaseTable) -> BestFleets:
    """Leave out single tankers while that raises what is brought.

    Each round costs as many cases as there are tankers; most cases need one.
    """
    arrival = table.arrival_min.copy()
    used = replace(table, arrival_min=arrival)
    gpm = held_flows(used).uninterrupted_gpm.copy()
    brings = brought_gpm(used, gpm)
    one_out = np.full(arrival.shape, np.nan)
    rows = np.arange(len(table)) if arrival.shape[1] else np.empty(0, dtype=np.intp)
    while rows.size:
        one_out[rows], less = _each_out(used.rows(rows))
        less = np.nan_to_num(less, nan=-1.0)
        worst = less.argmax(axis=1)
        most = less[np.arange(rows.size), worst]
        gains = most > brings[rows] * (1.0 + 10 * SAME)
        rows, worst, most = rows[gains], worst[gains], most[gains]
        arrival[rows, worst] = np.inf
        gpm[rows], brings[rows] = one_out[rows, worst], most
    return BestFleets(used=np.isfinite(arrival), gpm=gpm, brings_gpm=brings, one_out_gpm=one_out)


def call_by_min(table_at: Callable[[Rows, FloatArray], CaseTable], cases: int, latest_min: int) -> FloatArray:
    """Find the latest whole minute at which units can be called with no gap, each earlier one having none too.

    Parameters
    ----------
    table_at
        Gives some of the cases (rows, repeated at will), each with the units beyond the first level alerted at a
        minute of its own.
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
    for first in range(0, latest_min + 1, TRIED_AT_ONCE):
        if not rows.size:
            break
        minutes = np.arange(first, min(first + TRIED_AT_ONCE, latest_min + 1), dtype=np.float64)
        table = table_at(np.repeat(rows, minutes.size), np.tile(minutes, rows.size))
        holds = (gaps(table).gap_min <= GAP_MIN).reshape(rows.size, -1)
        held = np.where(
            holds.all(axis=1), minutes.size, holds.argmin(axis=1)
        )  # of the first minutes, one after another
        some = held > 0
        latest[rows[some]] = minutes[held[some] - 1]
        rows = rows[held == minutes.size]
    return latest


def strips(table: CaseTable, unit_ids: Sequence[str]) -> list[Strip]:
    """Draw up the strip of every case; `unit_ids` name the tankers in the order of their columns."""
    drawn: list[Strip] = []
    for first in range(0, len(table), PIECE_CASES):
        part = table.rows(slice(first, first + PIECE_CASES))
        drawn += strips_of(Accounts(part, Clock(part), part.required_gpm, noting=True), part, unit_ids)
    return drawn


# --------------------------------------------------------------------------- equal cases once, in pieces


def _remembered(table: CaseTable, solve: Callable[[CaseTable], T], kind: type[T]) -> T:
    """Solve the cases that differ and that nobody asked for before; every field of the answers is (cases,)."""
    memory = memory_of(kind)
    if memory is None or not len(table):
        return _each_once(table, solve)
    digests, first, back = _distinct(table)
    tankers = b"%d" % table.arrival_min.shape[1]  # rows as long may be laid out otherwise
    keys = [digest + tankers for digest in digests]
    at = memory.find(keys)
    known, new = np.flatnonzero(at >= 0), np.flatnonzero(at < 0)
    parts = [memory.take(at[known], kind)] if known.size else []
    if new.size:
        answers = _solved(table, solve, first[new])
        memory.keep([keys[one] for one in new.tolist()], answers)
        parts.append(answers)
    order = np.empty(first.size, dtype=np.intp)
    order[np.concatenate([known, new])] = np.arange(first.size)
    return joined(parts).rows(order[back])


def _each_once(table: CaseTable, solve: Callable[[CaseTable], T]) -> T:
    """Solve the cases that differ and hand each answer to all that share it."""
    if not len(table):
        return solve(table)
    _, first, back = _distinct(table)
    return _solved(table, solve, first).rows(back)


def _solved(table: CaseTable, solve: Callable[[CaseTable], T], rows: Rows) -> T:
    """Solve some cases, piece by piece."""
    pieces = np.array_split(rows, -(-rows.size // PIECE_CASES))
    return joined([solve(table.rows(piece)) for piece in pieces])


def _distinct(table: CaseTable) -> tuple[list[bytes], Rows, Rows]:
    """Digest all numbers of a case, find the first row of each kind, and for every row which of those it is.

    Equal means equal in every bit, as far as 128 bits of a digest tell, by which answers are remembered too.
    """
    packed = np.concatenate(
        [np.asarray(getattr(table, f.name), dtype=np.float64).reshape(len(table), -1) for f in fields(table)], axis=1
    )
    place: dict[bytes, int] = {}
    digests = (blake2b(row, digest_size=16).digest() for row in packed)
    back = np.fromiter((place.setdefault(one, len(place)) for one in digests), dtype=np.intp, count=len(packed))
    first = np.empty(len(place), dtype=np.intp)
    first[back[::-1]] = np.arange(len(packed))[::-1]  # of several rows the last one that is written stays
    return list(place), first, back


# --------------------------------------------------------------------------- one piece


def _held_piece(table: CaseTable) -> HeldTable:
    clock = Clock(table)
    most = np.minimum(np.minimum(table.draft_gpm, table.supply_gpm), NO_BOUND_GPM)
    search = Search(most)
    code = np.full(len(table), NO_LIMIT, dtype=np.int8)
    runs = np.isfinite(clock.end) & (table.required_min > 0)
    code[~np.isfinite(clock.end)] = LIMIT_CODE["engines"]
    search.done[~runs] = True
    for _ in range(MOST_RUNS):
        rows = np.flatnonzero(~search.done)
        if not rows.size:
            break
        run = Accounts(table.rows(rows), clock.rows(rows), search.try_gpm[rows])
        before = search.gpm[rows].copy()
        search.learn(rows, run.ground["ratio"], run.ground["tight"])
        none = rows[search.done[rows] & (search.gpm[rows] == 0.0)]
        search.tight_min[none] = clock.full[none]
        tells = (search.gpm[rows] > before) | (before == 0.0)  # else an earlier account is that of the answer
        code[rows] = np.where(tells, _limits(table.rows(rows), run, search, rows), code[rows])
    return HeldTable(uninterrupted_gpm=search.gpm, tight_min=search.tight_min, limited_by=code)


def _limits(table: CaseTable, run: Accounts, search: Search, rows: Rows) -> CodeArray:
    """Name what holds each flow, as far as the timeline knows it from its last account; the first that applies."""
    clock, found = run.clock, run.ground
    tight = search.tight_min[rows]
    here = np.isfinite(table.arrival_min)
    selfs = (here & (table.self_fill > 0)).any(axis=1)
    no_dump = ~np.isfinite(clock.dump_ready)
    room = found["slowed"] & (search.gpm[rows] < search.unbound_gpm[rows] * (1.0 - SAME))
    choices = (
        (np.isnan(tight) & (table.draft_gpm <= table.supply_gpm), "draft"),
        (np.isnan(tight), "supply line"),
        (~here.any(axis=1), "tankers"),
        (no_dump & np.isfinite(table.dump_engine_arrival_min), "room"),
        (no_dump, "engines"),
        (_no_fill_engine(table) & ~selfs, "engines"),
        (~(found["established"] < tight - INSTANT_MIN), "arrival"),
        (run.sites["ran_dry"].any(axis=1), "source"),
        (room, "room"),
    )
    codes = np.select([c for c, _ in choices], [LIMIT_CODE[word] for _, word in choices], NO_LIMIT)
    return codes.astype(np.int8)


def _no_fill_engine(table: CaseTable) -> BoolArray:
    """Tell where an engine is wanted at every fill site, and none comes to any; (cases,)."""
    second = ((table.second_site > 0) & np.isfinite(table.arrival_min)).any(axis=1)
    none: BoolArray = np.isposinf(table.fill_engine_arrival_min)
    return none & (~second | np.isposinf(table.second_engine_arrival_min))


def _gap_piece(table: CaseTable) -> GapTable:
    clock = Clock(table)
    runs = np.isfinite(clock.end)
    run = Accounts(table, clock, table.required_gpm)
    found, fill_ready = run.ground, run.sites["ready_min"][:, 0]
    return GapTable(
        first_water_min=np.where(table.booster_gal > 0.0, _known(clock.first_water), np.nan),
        dump_ready_min=_known(clock.dump_ready),
        fill_ready_min=np.where(fill_ready < clock.end, _known(fill_ready), np.nan),
        established_min=found["established"],
        on_scene_gal=found["on_scene_full"],
        gap_min=np.where(runs, found["gap"], np.nan),
        first_gap_min=found["first_gap"],
        gap_stretches=found["stretches"],
        longest_gap_min=np.where(runs, found["longest"], np.nan),
        short_gal=np.where(runs, found["short"], np.nan),
        nothing_min=np.where(runs, found["nothing"], np.nan),
        first_nothing_min=found["first_nothing"],
        longest_nothing_min=np.where(runs, found["longest_nothing"], np.nan),
        nothing_gal=np.where(runs, found["nothing_gal"], np.nan),
        mws_by_min=found["arrived_by"],
    )


def _surge_piece(table: CaseTable, gpm: float, minutes: float) -> SurgeTable:
    clock = Clock(table)
    runs, demand = np.isfinite(clock.end), np.maximum(table.required_gpm, gpm)
    clock.end[:] = stop = np.minimum(clock.full + minutes, clock.end)
    found = Accounts(table, clock, demand).ground
    dry = found["late_gap"]
    with np.errstate(invalid="ignore"):
        held = np.where(runs, np.where(np.isnan(dry), stop, dry) - clock.full, np.nan)
    return SurgeTable(surge_min=held)


def emptied(table: CaseTable) -> BoolArray:
    """Tell which of both fill sites run dry and hold a tanker back under the demand, (cases, 2)."""
    empty: BoolArray = Accounts(table, Clock(table), table.required_gpm).sites["ran_dry"]
    return empty


def _queue_piece(table: CaseTable) -> QueueTable:
    trucks = Accounts(table, Clock(table), table.required_gpm).trucks
    return QueueTable(**{field.name: trucks[field.name] for field in fields(QueueTable)})


def _known(minute: FloatArray) -> FloatArray:
    return np.where(np.isfinite(minute), minute, math.nan)
