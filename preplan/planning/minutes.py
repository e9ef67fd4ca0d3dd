"""What the timeline says of the chosen cases: at dispatch, called on arrival, and by when to call."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from preplan.plan_cards import Strip
from preplan.plan_tables import ROUNDING_GPM, leaves_time
from preplan.planning.assignment import Scene, stored
from preplan.planning.fireground import Crews, called_later, case_table, haulers
from preplan.planning.pieces import in_pieces
from preplan.records import BoolArray, FloatArray, IntArray, joined
from preplan.water.timeline_batch import GapTable, HeldTable, call_by_min, emptied, gaps, held_flows, surge_minutes
from preplan.water.timeline_batch import strips as drawn_strips
from preplan.water.timeline_clock import Clock, Rows
from preplan.water.timeline_table import CaseTable


@dataclass(frozen=True, slots=True)
class Minutes:
    """One way of calling the units, in many cases."""

    held: HeldTable
    books: GapTable
    """Under the required flow."""

    def rows(self, pick: Rows) -> Minutes:
        """Take some of the cases."""
        return Minutes(self.held.rows(pick), self.books.rows(pick))


def on_arrival_min(scene: Scene, address: IntArray) -> FloatArray:
    """Give the minute at which units beyond the first level are called when the attack engine sizes up; (cases,)."""
    arrival = scene.response.attack_arrival_min(address)
    return np.where(scene.response.attack_engine[address] >= 0, arrival, 0.0) + scene.rules.shuttle.size_up_min


def at_dispatch(scene: Scene, run: Crews) -> Minutes:
    """Run the timelines with every unit alerted at minute 0."""
    return _minutes(scene, run, np.zeros(len(run)))


def on_arrival(scene: Scene, run: Crews) -> Minutes:
    """Run them with the units beyond the first level called by the officer who arrives first."""
    return _minutes(scene, run, on_arrival_min(scene, run.address))


def never_less(scene: Scene, run: Crews, sent_gpm: FloatArray, called: Minutes) -> Minutes:
    """Let a level that is called on arrival do what a level below it does, where that brings more; (cases,).

    `run` has the levels of an address one after the other, `sent_gpm` (cases,) is what each holds with all alerted at
    once. Who comes late need not be waited for: the first alarm goes on as it began. What is held is the most that any
    of them holds, of another level's no more than `sent_gpm`; minutes and gallons are those of the one that meets and
    holds most, or, where none does, falls short by least.
    """
    short = np.nan_to_num(called.books.short_gal, nan=np.inf)
    gpm, need = called.held.uninterrupted_gpm, scene.needs.required_gpm[run.address]
    met = gpm >= need - ROUNDING_GPM
    books, held = np.arange(len(run)), np.arange(len(run))
    for level in range(1, len(scene.levels)):
        rows = np.flatnonzero(run.level[1:] == level) + 1
        rows = rows[(run.address[rows - 1] == run.address[rows]) & (run.level[rows - 1] == level - 1)]
        below = books[rows - 1]
        both = np.where(met[rows], gpm[below] > gpm[rows], short[below] < short[rows])
        less = met[below] & ~met[rows] | (met[below] == met[rows]) & both
        books[rows[less]] = below[less]
        more = gpm[held[rows - 1]] > gpm[rows]
        held[rows[more]] = held[rows[more] - 1]
    held = np.where(np.minimum(gpm[held], sent_gpm) > gpm, held, np.arange(len(run)))
    most = np.maximum(gpm, np.minimum(gpm[held], sent_gpm))
    return Minutes(replace(called.held.rows(held), uninterrupted_gpm=most), called.books.rows(books))


def _minutes(scene: Scene, run: Crews, call_min: FloatArray) -> Minutes:
    held, books, every = [], [], np.arange(len(run))
    for rows in in_pieces(every) or [every]:
        table = _table(scene, run.rows(rows), call_min[rows])
        held.append(held_flows(table))
        books.append(gaps(table))
    return Minutes(joined(held), joined(books))


def _table(scene: Scene, run: Crews, call_min: FloatArray) -> CaseTable:
    """Write cases as the timeline reads them; `call_min` (cases,) alerts the units beyond the first level."""
    return case_table(scene, *called_later(scene, run, call_min))


def held_from(scene: Scene, run: Crews, after_min: float, required_min: float | None = None) -> FloatArray:
    """Give what cases hold from so long after the first engine's arrival on, all alerted at minute 0; (cases,) gpm.

    Before it no more than the attack flow is drawn; for `required_min`, or, if None, for each one's own.
    """
    gpm = np.full(len(run), np.nan)
    for rows in in_pieces(np.arange(len(run))):
        table = case_table(scene, run.rows(rows))
        asked = replace(table, full_flow_after_min=np.full(len(rows), after_min))
        if required_min is not None:
            asked = replace(asked, required_min=np.full(len(rows), required_min))
        gpm[rows] = held_flows(asked).uninterrupted_gpm
    return gpm


def call_by(scene: Scene, run: Crews) -> FloatArray:
    """Find the latest whole minute at which the units beyond the first level can be called with no dry minute.

    (cases,); NaN where even a call at minute 0 leaves one. At most the last minute of each one's own demand, whatever
    others are asked with it.
    """
    latest = np.full(len(run), np.nan)
    for piece in in_pieces(np.arange(len(run))):
        part = run.rows(piece)
        table = case_table(scene, part)
        last = table.attack_arrival_min + scene.rules.shuttle.full_flow_min + table.required_min
        known = last[np.isfinite(last)]

        def table_at(rows: Rows, call_min: FloatArray, part: Crews = part) -> CaseTable:
            return _table(scene, part.rows(rows), call_min)

        if known.size:
            latest[piece] = np.minimum(call_by_min(table_at, len(part), int(known.max())), np.floor(last))
    return latest


@dataclass(frozen=True, slots=True)
class CalledIn:
    """By when the units beyond the first level can be called, in cases of any season: arrays of shape (cases,)."""

    call_by_min: FloatArray
    """Latest whole minute without a dry minute; NaN: none, or a case of the first level."""
    in_time: BoolArray
    """As `leaves_time` says."""
    first_arrival_min: FloatArray
    """Attack engine; infinite: none comes."""


def called_in(scene: Scene, run: Crews) -> CalledIn:
    """Work out by when cases of any season can be called, as it is done for the season that decides."""
    late, later = on_arrival(scene, run), np.flatnonzero(run.level > 0)
    latest = np.full(len(run), np.nan)
    latest[later] = call_by(scene, run.rows(later))
    arrival = scene.response.attack_arrival_min(run.address)
    return CalledIn(latest, leaves_time(late.books.gap_min, latest, arrival), arrival)


def surges(scene: Scene, run: Crews, call_min: FloatArray) -> FloatArray:
    """Count the minutes, (cases,), for which the district's master stream is held; NaN: none is asked.

    `call_min`, (cases,), as in `_table`.
    """
    rules, held = scene.rules.shuttle, np.full(len(run), np.nan)
    for rows in in_pieces(np.arange(len(run) if rules.surge_gpm > 0 else 0)):
        held[rows] = surge_minutes(_table(scene, run.rows(rows), call_min[rows]), rules.surge_gpm, rules.surge_min)
    return held


def emptied_sources(scene: Scene, run: Crews, call_min: FloatArray) -> BoolArray:
    """Tell which of both fill sites run dry under the demand, (cases, 2), called as in `_table`."""
    empty = np.zeros((len(run), 2), dtype=np.bool_)
    storage = np.append(stored(scene, np.arange(len(scene.sites), dtype=np.int32))[0], np.nan)
    some = np.flatnonzero(np.isfinite(storage[run.site]) | np.isfinite(storage[run.second]))
    for rows in in_pieces(some):
        empty[rows] = emptied(_table(scene, run.rows(rows), call_min[rows]))
    return empty


def strips(scene: Scene, run: Crews, call_min: FloatArray) -> tuple[Strip, ...]:
    """Draw up the strip of each case under its required flow, called as in `_table`."""
    names = [scene.units[unit].unit_id for unit in haulers(scene)]
    drawn: list[Strip] = []
    for rows in in_pieces(np.arange(len(run))):
        drawn += drawn_strips(_table(scene, run.rows(rows), call_min[rows]), names)
    return tuple(drawn)


def nursing_rows(scene: Scene, run: Crews, call_min: FloatArray) -> Rows:
    """Find the cases in which a tanker may pump straight into the attack engine, called as in `_table`."""
    found = [np.empty(0, dtype=np.intp)]
    for rows in in_pieces(np.arange(len(run))):
        table = _table(scene, run.rows(rows), call_min[rows])
        found.append(rows[Clock(table).nurse(table) >= 0])
    return np.concatenate(found)
