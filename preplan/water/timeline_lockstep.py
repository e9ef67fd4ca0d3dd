"""Many cases in lockstep: in each step every case serves the tanker that joined a queue first.

Both ends serve first come first served, so the tanker with the least joining minute is settled by what is
known already: nobody can come before it any more. It gets its place, its load is filled or dumped in closed
form, and it joins the queue at the other end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from preplan.records import BoolArray, FloatArray
from preplan.water.timeline_levels import Clock, Levels, Rows

if TYPE_CHECKING:
    from preplan.water.timeline_table import CaseTable

SLACK = 1.0 + 1e-12
"""Two rates nearer than this are equal."""


def knows(table: CaseTable) -> BoolArray:
    """Tell which cases the lockstep can run; the others need the plain account. (cases,).

    It knows one dump place, and fill places that either do not share the pump (the site gives enough for
    all) or share a pump that one tanker takes up whole.
    """
    here = np.isfinite(table.arrival_min)
    selfs = here & (table.self_fill > 0)
    mixed = selfs.any(axis=1) & (here & ~selfs).any(axis=1)
    most = np.where(here, table.fill_gpm, 0.0).max(axis=1, initial=0.0)
    at_once = np.minimum(table.positions, here.sum(axis=1))
    apart = (most * at_once <= table.site_gpm * SLACK) & ((at_once <= 1) | np.isinf(table.storage_gal))
    known: BoolArray = (table.dump_places == 1) & ~mixed & (apart | (at_once <= 1) | one_pump(table))
    return known


def one_pump(table: CaseTable) -> BoolArray:
    """Tell where each tanker takes all that the site gives, so that loads are filled one after the other."""
    here = np.isfinite(table.arrival_min)
    least = np.where(here, table.fill_gpm, np.inf).min(axis=1, initial=np.inf)
    longest = np.where(here, table.fill_hookup_min, -np.inf).max(axis=1, initial=-np.inf)
    shortest = np.where(here, table.fill_hookup_min, np.inf).min(axis=1, initial=np.inf)
    alike: BoolArray = (least * SLACK >= table.site_gpm) & (longest <= shortest)
    return alike


class Lockstep:
    """One account of every case. What comes out stands in `levels`."""

    def __init__(self, table: CaseTable, clock: Clock, flow_gpm: FloatArray, *, books: bool = False) -> None:
        """Set everything to minute 0."""
        self.table, self.clock = table, clock
        self.levels = Levels(table, clock, flow_gpm, books=books)
        cases, tankers = table.arrival_min.shape
        self.joined = table.arrival_min + table.dump_maneuver_min
        self.load = table.usable_gal.copy()
        self.filling = np.zeros((cases, tankers), dtype=np.bool_)
        self.refilled = np.zeros((cases, tankers), dtype=np.bool_)
        places = int(min(table.positions.max(initial=1), max(tankers, 1)))
        shut = np.arange(places) >= table.positions[:, None]
        self.fill_free = np.where(shut, np.inf, -np.inf)
        self.dump_free = np.full(cases, -np.inf)
        self.pump_free = np.where(one_pump(table), -np.inf, np.nan)
        ready = table.fill_engine_arrival_min + table.fill_setup_min
        self.fill_ready = ready
        self.source_gal, self.source_min = table.storage_gal.copy(), np.zeros(cases)
        self.ran_dry = np.zeros(cases, dtype=np.bool_)

    def go(self) -> Lockstep:
        """Run every case to its end."""
        self._nurse()
        self.turn = np.rint(self.joined * 1e6)
        rows = np.flatnonzero(np.isfinite(self.clock.end)) if self.joined.shape[1] else np.empty(0, dtype=np.intp)
        while rows.size:
            first = self.turn[rows].argmin(axis=1)
            goes_on = self.joined[rows, first] < self.clock.end[rows]
            rows, first = rows[goes_on], first[goes_on]
            fills = self.filling[rows, first]
            self._fill(rows[fills], first[fills])
            self._dump(rows[~fills], first[~fills])
        self.levels.close()
        return self

    def _nurse(self) -> None:
        """Let the nurses feed the attack engine before the dump site is ready."""
        nurse = self.clock.nurse(self.table)
        rows = np.flatnonzero((nurse >= 0) & np.isfinite(self.clock.end))
        who, own, end = nurse[rows], self.table, self.clock.end[rows]
        self.levels.drain(rows, np.minimum(own.arrival_min[rows, who], end))
        left = self.levels.nurse(rows, self.load[rows, who], np.minimum(self.clock.dump_ready[rows], end))
        self.load[rows, who] = left
        empty = left <= 0
        gone, gone_who = rows[empty], who[empty]
        away = own.back_min[gone, gone_who] + own.fill_maneuver_min[gone, gone_who]
        self.joined[gone, gone_who] = self.levels.now[gone] + away
        self.filling[gone, gone_who] = True

    def _join(self, rows: Rows, who: Rows, minute: FloatArray, *, filling: bool) -> None:
        """Send tankers to the queue at the other end."""
        self.joined[rows, who] = minute
        self.turn[rows, who] = np.rint(minute * 1e6)
        self.filling[rows, who] = filling

    def _fill(self, rows: Rows, who: Rows) -> None:
        """Fill one tanker in each row."""
        own = self.table
        joined = self.joined[rows, who]
        opened = rows[np.isnan(self.fill_ready[rows])]
        self.fill_ready[opened] = joined[np.isnan(self.fill_ready[rows])] + own.fill_setup_min[opened]
        ready = np.where(own.self_fill[rows, who] > 0, -np.inf, self.fill_ready[rows])
        place = self.fill_free[rows].argmin(axis=1)
        held = np.maximum(np.maximum(joined, self.fill_free[rows, place]), ready)
        hooked = held + own.fill_hookup_min[rows, who]
        pumps = np.fmax(hooked, self.pump_free[rows])
        full = pumps + self._pump_min(rows, who, pumps)
        self.fill_free[rows, place] = full
        self.pump_free[rows] = np.where(np.isnan(self.pump_free[rows]), np.nan, full)
        self.load[rows, who] = own.usable_gal[rows, who]
        self.refilled[rows, who] = True
        self._join(rows, who, full + own.out_min[rows, who] + own.dump_maneuver_min[rows, who], filling=False)

    def _pump_min(self, rows: Rows, who: Rows, start: FloatArray) -> FloatArray:
        """Minutes that a load takes, with a source that may run dry on the way."""
        own = self.table
        gal = own.usable_gal[rows, who]
        gpm = np.minimum(own.fill_gpm[rows, who], own.site_gpm[rows])
        with np.errstate(divide="ignore", invalid="ignore"):
            minutes = gal / gpm
        limited = np.isfinite(own.storage_gal[rows]) & np.isfinite(start)
        if limited.any():
            minutes[limited] = self._pump_limited(rows[limited], gal[limited], gpm[limited], start[limited])
        return minutes

    def _pump_limited(self, rows: Rows, gal: FloatArray, gpm: FloatArray, start: FloatArray) -> FloatArray:
        own, refill = self.table, self.table.refill_gpm[rows]
        level = np.minimum(own.storage_gal[rows], self.source_gal[rows] + refill * (start - self.source_min[rows]))
        with np.errstate(divide="ignore", invalid="ignore"):
            alone = gal / gpm
            lasts = np.where(gpm > refill, level / (gpm - refill), np.inf)
            dragged = lasts + (gal - gpm * lasts) / refill
        dry = alone > lasts * SLACK
        minutes = np.where(dry, dragged, alone)
        left = np.where(dry, 0.0, np.minimum(level + (refill - gpm) * alone, own.storage_gal[rows]))
        self.source_gal[rows] = np.maximum(left, 0.0)
        self.source_min[rows] = start + minutes
        self.ran_dry[rows] |= dry & (start + lasts < self.clock.end[rows])
        return minutes

    def _dump(self, rows: Rows, who: Rows) -> None:
        """Dump one load in each row."""
        own, levels = self.table, self.levels
        held = np.maximum(np.maximum(self.joined[rows, who], self.dump_free[rows]), self.clock.dump_ready[rows])
        pours = held + own.dump_hookup_min[rows, who]
        levels.drain(rows, np.minimum(pours, self.clock.end[rows]))
        levels.pour(rows, self.load[rows, who], own.dump_gpm[rows, who], self.refilled[rows, who])
        empty = np.where(pours < self.clock.end[rows], levels.now[rows], np.inf)
        self.dump_free[rows] = empty
        self._join(rows, who, empty + own.back_min[rows, who] + own.fill_maneuver_min[rows, who], filling=True)
