"""The fireground of many cases at once: between two events every level is a straight line, so closed forms do.

The same water as `timeline_scene`, a row a case. Rows move on by themselves: each has its own minute, and stops
at its own next mark (booster tank comes, a portable tank stands ready, the demand changes, the account ends).
"""

from __future__ import annotations

from copy import copy
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from preplan.records import BoolArray, FloatArray
from preplan.water.timeline_events import INSTANT_MIN
from preplan.water.timeline_scene import GRAIN_GAL

if TYPE_CHECKING:
    from preplan.water.timeline_diary import Diary
    from preplan.water.timeline_table import CaseTable

Rows = npt.NDArray[np.intp]
"""Indices of cases."""


SAME_RATIO = 1e-9
"""Relative difference below which two ratios are equal."""


class Clock:
    """The minutes that the definitions derive from each case's numbers, before any water moves; (cases,)."""

    def __init__(self, table: CaseTable) -> None:
        """Derive them; the twin of the properties of `Case`."""
        self.first_water = table.attack_arrival_min + table.attack_setup_min
        self.full = np.maximum(table.attack_arrival_min + table.full_flow_after_min, self.first_water)
        self.end = self.full + table.required_min
        self.attack_gpm = np.minimum(table.attack_gpm, table.required_gpm)
        arrival = np.concatenate([table.arrival_min, table.other_arrival_min], axis=1)
        nominal = np.concatenate([table.portable_gal, table.other_gal], axis=1)
        arrival = np.where(nominal > 0, arrival, np.inf)
        first_tank = arrival.min(axis=1, initial=np.inf)
        self.dump_ready = np.maximum(first_tank, table.dump_engine_arrival_min) + table.dump_setup_min
        self.tank_ready = arrival + table.tank_setup_min[:, None]
        if arrival.shape[1]:
            self.tank_ready[np.arange(len(arrival)), arrival.argmin(axis=1)] = self.dump_ready
        dead = table.dead_fraction[:, None] * nominal
        self.tank_dead_gal = dead
        self.tank_active_gal = np.maximum(table.room_fraction[:, None] * nominal - dead, 0.0)

    def rows(self, pick: Rows) -> Clock:
        """Take some cases."""
        some = copy(self)
        for word, column in vars(self).items():
            setattr(some, word, column[pick])
        return some

    def booster_dry(self, table: CaseTable) -> FloatArray:
        """Minute at which the booster tank alone would be empty."""
        with np.errstate(divide="ignore", invalid="ignore"):  # an attack engine that never comes: inf less inf
            early_gal = self.attack_gpm * (self.full - self.first_water)
            soon = self.first_water + np.where(table.booster_gal > 0, table.booster_gal / self.attack_gpm, 0.0)
            late = self.full + (table.booster_gal - early_gal) / table.required_gpm
        return np.where(table.booster_gal <= early_gal, soon, np.where(table.required_gpm > 0, late, np.inf))

    def nurse(self, table: CaseTable) -> Rows:
        """Index of the tanker that nurses, -1: none."""
        arrival = np.where((table.has_pump > 0) & np.isfinite(table.arrival_min), table.arrival_min, np.inf)
        if not arrival.shape[1]:
            return np.full(len(table), -1)
        soonest = arrival.min(axis=1)
        nurses = (soonest < self.dump_ready) & (self.booster_dry(table) < self.dump_ready)
        return np.where(nurses & np.isfinite(table.attack_arrival_min), arrival.argmin(axis=1), -1)


class Levels:
    """Levels and books of the cases; every array is (cases,)."""

    def __init__(self, table: CaseTable, clock: Clock, flow_gpm: FloatArray, *, books: bool) -> None:
        """Stand at minute 0; `flow_gpm` is the demand from F on; `books` asks for gaps and arrival of the total."""
        cases = len(table)
        self.clock, self.flow_gpm, self.books = clock, flow_gpm, books
        self.line_gpm = np.minimum(table.draft_gpm, table.supply_gpm)
        self.target_gal = table.required_gal
        self.now = np.minimum(np.zeros(cases), clock.end)
        self.portable, self.booster, self.active, self.dead_left = np.zeros((4, cases))
        self.arrived, self.gone = np.zeros((2, cases))  # gone: of what arrived, no longer on scene at F
        self.on_scene_full = np.zeros(cases)
        self.ratio = np.full(cases, np.inf)  # phi so far, and its minute
        self.tight, self.established, self.arrived_by = np.full((3, cases), np.nan)
        self.slowed = np.zeros(cases, dtype=np.bool_)
        self.gap, self.short, self.longest, self.stretches = np.zeros((4, cases))
        self.first_gap = np.full(cases, np.nan)
        self.late_gap = np.full(cases, np.nan)  # the first dry minute from full flow on
        self.dry_from, self.dry_to = np.full((2, cases), -np.inf)  # the stretch that is open, or was last
        self.diary: Diary | None = None
        """Where levels and dry stretches are noted for drawing."""
        self._set_marks(table)

    def _set_marks(self, table: CaseTable) -> None:
        clock, cases = self.clock, len(table)
        tanks = clock.tank_ready.shape[1]
        minute = np.column_stack(
            [table.attack_arrival_min, clock.first_water, clock.full, clock.end, clock.tank_ready,
             np.full(cases, np.inf)]
        )  # fmt: skip
        adds = np.zeros((3, *minute.shape))  # booster, active room, dead water
        adds[0, :, 0] = table.booster_gal
        adds[1, :, 4 : 4 + tanks] = clock.tank_active_gal
        adds[2, :, 4 : 4 + tanks] = clock.tank_dead_gal
        order = np.argsort(minute, axis=1, kind="stable")
        self._mark_min = np.take_along_axis(minute, order, axis=1)
        self._mark_adds = np.take_along_axis(adds, order[None], axis=2)
        self._at = np.zeros(cases, dtype=np.intp)
        self.next_mark = self._mark_min[:, 0].copy()

    def _pass_marks(self, rows: Rows) -> None:
        """Let each row's next mark happen."""
        at = self._at[rows]
        adds = self._mark_adds[:, rows, at]
        self.booster[rows] += adds[0]
        self.arrived[rows] += adds[0]
        self.active[rows] += adds[1]
        self.dead_left[rows] += adds[2]
        if self.books:
            came = rows[np.isnan(self.arrived_by[rows]) & (self.arrived[rows] >= self.target_gal[rows] - GRAIN_GAL)]
            self.arrived_by[came] = self.now[came]
        full = rows[self.next_mark[rows] == self.clock.full[rows]]
        self.on_scene_full[full] = self.portable[full] + self.booster[full]
        self.gone[full] = self.arrived[full] - self.on_scene_full[full]
        self._at[rows] = at + 1
        self.next_mark[rows] = self._mark_min[rows, at + 1]

    def demand(self, rows: Rows) -> FloatArray:
        """Say what the fire asks for now."""
        now, clock = self.now[rows], self.clock
        gpm = np.where(now < clock.full[rows], clock.attack_gpm[rows], self.flow_gpm[rows])
        return np.where((now < clock.first_water[rows]) | (now >= clock.end[rows]), 0.0, gpm)

    def _advance(self, rows: Rows, until: FloatArray) -> None:
        """Set the clock on and pass the marks that are reached."""
        self.now[rows] = until
        passed = self.next_mark[rows] <= until
        if passed.any():
            self._pass_marks(rows[passed])

    # ------------------------------------------------------------------ the three things that may go on

    def drain(self, rows: Rows, until: FloatArray) -> None:
        """Let the fire draw while nothing comes in, until a minute of each row."""
        open_ = self.now[rows] < until
        rows, until = rows[open_], until[open_]
        while rows.size:
            stop = np.minimum(until, self.next_mark[rows])
            self._flow(rows, stop - self.now[rows], np.zeros(rows.size), self.demand(rows))
            self._advance(rows, stop)
            open_ = stop < until
            rows, until = rows[open_], until[open_]

    def nurse(self, rows: Rows, left_gal: FloatArray, until: FloatArray) -> FloatArray:
        """Let a tanker feed the attack engine; return what is left in it when it is empty or the minute comes."""
        left_gal = left_gal.copy()
        open_ = np.flatnonzero(self.now[rows] < until)
        while open_.size:
            here = rows[open_]
            demand = self.demand(here)
            with np.errstate(divide="ignore", invalid="ignore"):
                empty = self.now[here] + np.where(demand > 0, left_gal[open_] / demand, np.inf)
            stop = np.minimum(np.minimum(until[open_], self.next_mark[here]), empty)
            minutes = stop - self.now[here]
            if self.diary is not None:
                for minute in (self.now[here], stop):
                    self.diary.level(here, minute, self.portable[here] + self.booster[here])
            self._came(here, demand, minutes, demand, minutes)
            self.arrived[here] += demand * minutes
            left_gal[open_] = np.where(stop >= empty, 0.0, left_gal[open_] - demand * minutes)
            self._advance(here, stop)
            open_ = open_[(stop < until[open_]) & (left_gal[open_] > 0)]
        return np.where(left_gal < GRAIN_GAL, 0.0, left_gal)

    def pour(
        self, rows: Rows, left_gal: FloatArray, dump_gpm: FloatArray, refilled: BoolArray
    ) -> tuple[FloatArray, FloatArray]:
        """Dump one load in each row, from now until it is empty or the account ends.

        Returns the minute at which each began to flow, NaN where none did, and what is left in it, gal.
        """
        left_gal, every = left_gal.copy(), np.arange(rows.size)
        began = np.full(rows.size, np.nan)
        open_ = every[self.now[rows] < self.clock.end[rows]]
        while open_.size:
            here, gpm, left = rows[open_], dump_gpm[open_], left_gal[open_]
            demand = self.demand(here)
            dead = self.dead_left[here] > 0
            offered = np.where(dead, 0.0, gpm)
            most = np.where(
                dead, np.minimum(self.dead_left[here], left) / gpm, self._empty_min(here, left, gpm, demand)
            )
            self._weigh(here[~dead])
            stop = np.minimum(self.now[here] + most, self.next_mark[here])
            minutes = stop - self.now[here]
            started = self.now[here]
            inflow = self._flow(here, minutes, offered, demand)
            under = np.where(dead, gpm * minutes, 0.0)
            left_dead = self.dead_left[here] - under
            self.dead_left[here] = np.where(left_dead < GRAIN_GAL, 0.0, left_dead)
            flows = np.isnan(began[open_]) & (inflow + under > 0)
            began[open_[flows]] = started[flows]
            begins = refilled[open_] & np.isnan(self.established[here]) & flows
            self.established[here[begins]] = started[begins]
            left_gal[open_] = left - inflow - under
            self._advance(here, stop)
            open_ = open_[(left_gal[open_] > GRAIN_GAL) & (stop < self.clock.end[here])]
        return began, left_gal

    def _rise_min(self, rows: Rows, gpm: FloatArray, want: FloatArray) -> FloatArray:
        """Minutes until full portable tanks slow an inflow of `gpm`."""
        with np.errstate(divide="ignore", invalid="ignore"):
            minutes = np.maximum(self.active[rows] - self.portable[rows], 0.0) / (gpm - want)
        return np.where(gpm > want, minutes, np.inf)

    def _empty_min(self, rows: Rows, left: FloatArray, gpm: FloatArray, demand: FloatArray) -> FloatArray:
        """Minutes until a load is dumped at these rates."""
        want = np.minimum(demand, self.line_gpm[rows])
        free = self._rise_min(rows, gpm, want)
        alone = left / gpm
        with np.errstate(divide="ignore", invalid="ignore"):
            slowed = free + (left - gpm * free) / want
        return np.where(alone <= free, alone, slowed)

    def _flow(self, rows: Rows, minutes: FloatArray, offered: FloatArray, demand: FloatArray) -> FloatArray:
        """Let water flow at constant rates; return what came into the portable tanks, gal."""
        want = np.minimum(demand, self.line_gpm[rows])
        free = self._rise_min(rows, offered, want)
        freely = np.minimum(minutes, free)
        slow = minutes - freely
        inflow = offered * freely + want * slow
        before, booster = self.portable[rows], self.booster[rows]
        level = np.where(
            offered > want,
            np.minimum(before + (offered - want) * minutes, self.active[rows]),
            np.maximum(before - (want - offered) * minutes, 0.0),
        )
        lacking = np.maximum(demand * minutes - (before + inflow - level), 0.0)
        used = np.minimum(booster, lacking)
        if self.diary is not None:
            self._note_levels(self.diary, rows, minutes, offered, demand)
        if self.books:
            self._note_dry(rows, minutes, offered, demand, lacking - used)
            self._came(rows, offered, freely, want, minutes)
        self.slowed[rows] |= slow > INSTANT_MIN
        self.portable[rows] = np.where(level < GRAIN_GAL, 0.0, level)
        self.booster[rows] = np.where(booster - used < GRAIN_GAL, 0.0, booster - used)
        self.arrived[rows] += inflow
        return inflow

    # ------------------------------------------------------------------ the books

    def _weigh(self, rows: Rows) -> None:
        """Weigh the water come since F against the minutes since F: phi is the least such ratio."""
        late = self.now[rows] - self.clock.full[rows]
        rows = rows[late > INSTANT_MIN]
        ratio = (self.arrived[rows] - self.gone[rows]) / (self.now[rows] - self.clock.full[rows])
        less = ratio <= self.ratio[rows] * (1.0 + SAME_RATIO)  # of equal ones the last
        self.tight[rows[less]] = self.now[rows[less]]
        self.ratio[rows] = np.minimum(self.ratio[rows], ratio)

    def close(self) -> None:
        """Let the fire draw to the end of the account and weigh once more."""
        rows = np.flatnonzero(np.isfinite(self.clock.end))
        self.drain(rows, self.clock.end[rows])
        self._weigh(rows)

    def _came(self, rows: Rows, first: FloatArray, freely: FloatArray, then: FloatArray, minutes: FloatArray) -> None:
        """Note the minute by which the asked total has arrived: rate `first` for a while, `then` for the rest."""
        if not self.books:
            return
        late = self.target_gal[rows] - self.arrived[rows]
        crosses = np.isnan(self.arrived_by[rows]) & (late - GRAIN_GAL <= first * freely + then * (minutes - freely))
        if not crosses.any():
            return
        late, first, freely, then = late[crosses], first[crosses], freely[crosses], then[crosses]
        with np.errstate(divide="ignore", invalid="ignore"):
            after = np.where(late <= first * freely, late / first, freely + (late - first * freely) / then)
        rows = rows[crosses]
        self.arrived_by[rows] = self.now[rows] + np.where(late > GRAIN_GAL, np.minimum(after, minutes[crosses]), 0.0)

    def _note_levels(
        self, diary: Diary, rows: Rows, minutes: FloatArray, offered: FloatArray, demand: FloatArray
    ) -> None:
        """Note the water on scene where its line may bend: portable tanks full or empty, booster tank empty."""
        want = np.minimum(demand, self.line_gpm[rows])
        portable, booster, active = self.portable[rows], self.booster[rows], self.active[rows]
        first, then = demand - want, demand - np.minimum(offered, want)
        with np.errstate(divide="ignore", invalid="ignore"):
            bound = np.where(offered > want, active - portable, portable) / np.abs(offered - want)
            bend = np.where(offered == want, np.inf, np.maximum(bound, 0.0))
            falls = np.where(offered < want, bend, np.inf)  # from then on the booster tank makes up the whole lack
            soon = np.where(first > 0, booster / first, np.inf)
            late = falls + (booster - first * falls) / then
            empty = np.where(soon <= falls, soon, np.where(then > 0, late, np.inf))
        for after in (np.zeros_like(minutes), np.fmin(np.minimum(bend, empty), minutes),
                      np.fmin(np.maximum(bend, empty), minutes), minutes):  # fmt: skip
            level = np.clip(portable + (offered - want) * after, 0.0, np.maximum(active, portable))
            with np.errstate(invalid="ignore"):
                spent = np.where(after <= falls, first * after, first * falls + then * (after - falls))
            left = np.where(booster > 0, np.maximum(booster - spent, 0.0), 0.0)
            diary.level(rows, self.now[rows] + after, level + left)

    def _note_dry(
        self, rows: Rows, minutes: FloatArray, offered: FloatArray, demand: FloatArray, short: FloatArray
    ) -> None:
        """Note the dry end of a piece: once booster and portable tanks are empty it stays dry."""
        lacks = short > demand * 1e-9
        if not lacks.any():
            return
        rows, minutes, offered, demand = rows[lacks], minutes[lacks], offered[lacks], demand[lacks]
        self.short[rows] += short[lacks]
        want = np.minimum(demand, self.line_gpm[rows])
        first, then = demand - want, demand - np.minimum(offered, want)
        with np.errstate(divide="ignore", invalid="ignore"):
            drawn_down = np.where(offered < want, self.portable[rows] / (want - offered), np.inf)
            early = self.booster[rows] <= first * np.minimum(drawn_down, minutes)
            wet = np.where(
                early & (first > 0),
                self.booster[rows] / first,
                drawn_down + (self.booster[rows] - first * drawn_down) / then,
            )
        self._add_dry(rows, self.now[rows] + np.minimum(wet, minutes), self.now[rows] + minutes)

    def _add_dry(self, rows: Rows, start: FloatArray, stop: FloatArray) -> None:
        real = stop - start > INSTANT_MIN
        rows, start, stop = rows[real], start[real], stop[real]
        if self.diary is not None:
            self.diary.dry(rows, start, stop)
        new = start - self.dry_to[rows] > INSTANT_MIN
        self.stretches[rows] += new
        self.first_gap[rows] = np.where(np.isnan(self.first_gap[rows]), start, self.first_gap[rows])
        full = self.clock.full[rows]
        late = np.isnan(self.late_gap[rows]) & (stop > full + INSTANT_MIN)
        self.late_gap[rows] = np.where(late, np.maximum(start, full), self.late_gap[rows])
        self.dry_from[rows] = np.where(new, start, self.dry_from[rows])
        self.dry_to[rows] = stop
        self.longest[rows] = np.maximum(self.longest[rows], stop - self.dry_from[rows])
        self.gap[rows] += stop - start
