"""Many cases in lockstep: in each step every case serves the tanker that joined a queue first.

Both ends serve first come first served, so the tanker with the least joining minute is settled by what is
known already: nobody can come before it any more. It gets its place, its load is filled or dumped in closed
form, and it joins the queue at the other end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

import numpy as np

from preplan.records import BoolArray, FloatArray
from preplan.water.timeline_events import INSTANT_MIN
from preplan.water.timeline_levels import Clock, Levels, Rows

if TYPE_CHECKING:
    from preplan.water.timeline_diary import Diary
    from preplan.water.timeline_table import CaseTable

SLACK = 1.0 + 1e-12
"""Two rates nearer than this are equal."""
_LATEST_MIN = 1e4  # later than any timeline runs
Column = TypeVar("Column", FloatArray, BoolArray)


def knows(table: CaseTable) -> BoolArray:
    """Tell which cases the lockstep can run; the others need the plain account. (cases,).

    It knows one dump place, and at a fill site either one place or a source that does not run out. A run may still
    find that it does not know a case after all: see `Lockstep.lost`.
    """
    sites = FillSites(table)
    plain = (sites.at_once <= 1) | np.isinf(sites.storage_gal)
    known: BoolArray = (table.dump_places == 1) & plain.reshape(sites.number, len(table)).all(axis=0)
    return known


class FillSites:
    """The fill sites of every case: (sites,), first those of all cases, then their second ones where there are any."""

    def __init__(self, table: CaseTable) -> None:
        """Stand at minute 0."""
        here = np.isfinite(table.arrival_min)
        self._second = np.where(here, table.second_site, 0.0).astype(np.intp)
        self.number = 2 if self._second.any() else 1
        """Fill sites of a case."""
        self.positions = self._of(table.positions, table.second_positions)
        self.site_gpm = self._of(table.site_gpm, table.second_site_gpm)
        self.storage_gal = self._of(table.storage_gal, table.second_storage_gal)
        self.refill_gpm = self._of(table.refill_gpm, table.second_refill_gpm)
        self.setup_min = self._of(table.fill_setup_min, table.second_setup_min)
        self.ready_min = self._of(table.fill_engine_arrival_min, table.second_engine_arrival_min) + self.setup_min
        """NaN: the first tanker there opens it."""
        fill_here = self._of(here & (self._second == 0), here & (self._second == 1))
        self.at_once = np.minimum(self.positions, fill_here.sum(axis=1))
        """Tankers that may fill at the same time."""
        rate_gpm = self._of(table.fill_gpm, table.fill_gpm)
        most_gpm = np.where(fill_here, rate_gpm, 0.0).max(axis=1, initial=0.0)
        self.tight = np.asarray(most_gpm * self.at_once > self.site_gpm * SLACK)
        """Where they want more than the site gives."""
        places = int(min(self.positions.max(initial=1), max(table.arrival_min.shape[1], 1)))
        self.free_min = np.where(np.arange(places) >= self.positions[:, None], np.inf, -np.inf)
        """(sites, places): when each place is free."""
        self.pumps = SharedPumps(self.site_gpm, places)
        self.level_gal, self.level_min = self.storage_gal.copy(), np.zeros(len(self.site_gpm))
        """What is left of the source, and when."""

    def _of(self, first: Column, second: Column) -> Column:
        """Lay two columns of the cases one below the other."""
        return np.concatenate([first, second]) if self.number == 2 else first.copy()

    def at(self, rows: Rows, who: Rows) -> Rows:
        """Find the site at which tankers fill: `rows` and `who` broadcast."""
        if self.number == 1 and np.ndim(rows) == np.ndim(who):
            return rows
        return rows + len(self._second) * self._second[rows, who]


class SharedPumps:
    """What the tankers that fill at once leave of a site's rate: the first to pump takes its own, the next the rest.

    Nobody is slowed by a later one, so each load's end is known when it begins. What is taken stands as steps: up to
    `until` (cases, steps) the rate `taken` (cases, steps) is gone.
    """

    def __init__(self, site_gpm: FloatArray, places: int) -> None:
        """Begin with nothing taken."""
        self.site_gpm = site_gpm
        self.shared = places > 1
        self.until = np.full((len(site_gpm), places), -np.inf)
        self.taken = np.zeros((len(site_gpm), places))
        self.began = np.full(len(site_gpm), -np.inf)
        """(cases,): when the last one began to pump."""

    def fill(self, rows: Rows, pumps: FloatArray, gal: FloatArray, most_gpm: FloatArray) -> FloatArray:
        """Let one tanker in each row begin to pump; give the minute at which it is full."""
        alone_gpm = np.minimum(most_gpm, self.site_gpm[rows])
        with np.errstate(divide="ignore"):
            full = pumps + gal / alone_gpm
        self.began[rows] = pumps
        beside = (self.until[rows] > pumps[:, None]).any(axis=1)
        if beside.any():
            full[beside] = self._fill_beside(rows[beside], pumps[beside], gal[beside], most_gpm[beside])
        alone = ~beside
        if alone.any():  # all steps are past: the last one is this tanker's own
            rows, ends, own = rows[alone], full[alone, None], alone_gpm[alone, None]
            self.until[rows] = np.concatenate([self.until[rows, 1:], ends], axis=1)
            self.taken[rows] = np.concatenate([self.taken[rows, 1:], own], axis=1)
        return full

    def _fill_beside(self, rows: Rows, pumps: FloatArray, gal: FloatArray, most_gpm: FloatArray) -> FloatArray:
        """Let tankers begin to pump while others do."""
        until, taken = self.until[rows], self.taken[rows]
        now, left = pumps.copy(), gal.copy()
        rates = np.zeros_like(taken)
        full = np.full(len(rows), np.nan)
        for step in range(until.shape[1] + 1):
            free = self.site_gpm[rows] - (taken[:, step] if step < until.shape[1] else 0.0)
            rate = np.minimum(most_gpm, np.maximum(free, 0.0))
            end = np.maximum(until[:, step], now) if step < until.shape[1] else np.full(len(rows), np.inf)
            with np.errstate(divide="ignore", invalid="ignore"):
                done = now + np.where(rate > 0, left / rate, np.inf)
                here = np.isnan(full) & (done <= end)
                left = np.where(np.isnan(full) & ~here, left - rate * (end - now), left)
            full[here] = done[here]
            if step < until.shape[1]:
                rates[:, step] = rate
                now = end
        self._take(rows, full, rates, np.minimum(most_gpm, self.site_gpm[rows]))
        return full

    def _take(self, rows: Rows, full: FloatArray, rates: FloatArray, alone_gpm: FloatArray) -> None:
        """Note what a tanker takes: `rates` (rows, steps) in each step, `alone_gpm` behind the last one."""
        until, taken = self.until[rows], self.taken[rows]
        within = (until >= full[:, None]).argmax(axis=1)
        inside = (until >= full[:, None]).any(axis=1)
        own = np.where(inside, (rates + taken)[np.arange(len(rows)), within], alone_gpm)
        taken = np.where(until <= full[:, None], taken + rates, taken)
        # The first step is past or the one with the least end: there are never more steps than places.
        steps_until = np.concatenate([until, full[:, None]], axis=1)
        steps_taken = np.concatenate([taken, own[:, None]], axis=1)
        order = np.argsort(steps_until, axis=1, kind="stable")[:, 1:]
        self.until[rows] = np.take_along_axis(steps_until, order, axis=1)
        self.taken[rows] = np.take_along_axis(steps_taken, order, axis=1)


class Waits:
    """How often each tanker dumped, and how long it stood in queues; every array is (cases, tankers)."""

    def __init__(self, cases: int, tankers: int) -> None:
        """Begin with nobody waiting."""
        self.loads, self.fill_min, self.dump_min, self.room_min = np.zeros((4, cases, tankers))
        self.nurses = np.full(cases, -1)
        """(cases,): the tanker that nurses, -1: none."""


class Lockstep:
    """One account of every case. What comes out stands in `levels`."""

    def __init__(
        self, table: CaseTable, clock: Clock, flow_gpm: FloatArray, *, books: bool = False,
        diary: Diary | None = None, waits: Waits | None = None,
    ) -> None:  # fmt: skip
        """Set everything to minute 0; a diary keeps what is drawn, `waits` who stood in queues."""
        self.table, self.clock = table, clock
        self.levels = Levels(table, clock, flow_gpm, books=books)
        self.levels.diary = diary
        cases, tankers = table.arrival_min.shape
        self.joined = table.arrival_min + table.dump_maneuver_min
        self.load = table.usable_gal.copy()
        self.filling = np.zeros((cases, tankers), dtype=np.bool_)
        self.refilled = np.zeros((cases, tankers), dtype=np.bool_)
        self.sites = FillSites(table)
        self.dump_free = np.full(cases, -np.inf)
        self.lost = np.zeros(cases, dtype=np.bool_)
        """(cases,): where a tanker began to pump before one that took its place earlier, so the order is not known."""
        here = np.isfinite(table.arrival_min)
        selfs = here & (table.self_fill > 0)
        self.mixed = np.asarray(selfs.any(axis=1) & (here & ~selfs).any(axis=1))
        self.ran_dry = np.zeros(cases, dtype=np.bool_)
        self.waits = waits

    def go(self) -> Lockstep:
        """Run every case to its end."""
        self._nurse()
        self.turn = np.rint(self.joined * 1e6)
        self._requeue(np.flatnonzero(self.mixed))
        rows = np.flatnonzero(np.isfinite(self.clock.end)) if self.joined.shape[1] else np.empty(0, dtype=np.intp)
        while rows.size:
            first = self.turn[rows].argmin(axis=1)
            goes_on = self.joined[rows, first] < self.clock.end[rows]
            rows, first = rows[goes_on], first[goes_on]
            fills = self.filling[rows, first]
            waits = self._open(rows, first, fills)
            for here, step in ((fills & ~waits, self._fill), (~fills, self._dump)):
                if here.any():
                    step(rows[here], first[here])
            self._requeue(rows[self.mixed[rows]])
        self.levels.close()
        if self.waits is not None:
            self._note_those_left(self.waits)
        return self

    @property
    def fill_ready(self) -> FloatArray:
        """Give when the first fill site is ready, (cases,)."""
        return self.sites.ready_min[: len(self.joined)]

    def _nurse(self) -> None:
        """Let the nurses feed the attack engine before the dump site is ready."""
        nurse = self.clock.nurse(self.table)
        rows = np.flatnonzero((nurse >= 0) & np.isfinite(self.clock.end))
        who, own, end = nurse[rows], self.table, self.clock.end[rows]
        if self.waits is not None:
            self.waits.nurses[rows] = who
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

    def _open(self, rows: Rows, who: Rows, fills: BoolArray) -> BoolArray:
        """Let the first tanker at a site that needs no engine open it; tell (rows,) who then stands back in the queue.

        It stands back where a vacuum tanker, which waits for nothing, may go before it.
        """
        sites = self.sites
        at = sites.at(rows, who)
        opens = fills & np.isnan(sites.ready_min[at])
        if not opens.any():
            return opens
        at = at[opens]
        sites.ready_min[at] = self.joined[rows[opens], who[opens]] + sites.setup_min[at]
        return opens & self.mixed[rows]

    def _fill(self, rows: Rows, who: Rows) -> None:
        """Fill one tanker in each row."""
        own, sites = self.table, self.sites
        at, joined = sites.at(rows, who), self.joined[rows, who]
        ready = np.where(own.self_fill[rows, who] > 0, -np.inf, sites.ready_min[at])
        place = sites.free_min[at].argmin(axis=1)
        held = np.maximum(np.maximum(joined, sites.free_min[at, place]), ready)
        pumps = held + own.fill_hookup_min[rows, who]
        if self.waits is not None:
            self.waits.fill_min[rows, who] += np.minimum(held, self.clock.end[rows]) - joined
        full = self._full_min(rows, who, pumps)
        sites.free_min[at, place] = full
        self.load[rows, who] = own.usable_gal[rows, who]
        self.refilled[rows, who] = True
        self._join(rows, who, full + own.out_min[rows, who] + own.dump_maneuver_min[rows, who], filling=False)

    def _requeue(self, rows: Rows) -> None:
        """Let those who fill themselves go before those who wait for the fill site to be ready.

        While a place is free before that minute, who must wait for it stands in the queue from it on, in the order
        of arrival; a vacuum tanker does not wait.
        """
        if not rows.size:
            return
        at = self.sites.at(rows[:, None], np.arange(self.joined.shape[1]))
        ready, joined = self.sites.ready_min[at], self.joined[rows]
        free_before = self.sites.free_min.min(axis=1)[at] < ready
        waits = self.filling[rows] & (self.table.self_fill[rows] == 0) & free_before & (joined < ready)
        in_order = np.clip(joined, 0.0, _LATEST_MIN) / (_LATEST_MIN + 1.0) - 1.0
        turn = np.where(waits, np.rint(ready * 1e6) + in_order, np.rint(joined * 1e6))
        self.turn[rows] = np.where(self.filling[rows], turn, self.turn[rows])

    def _full_min(self, rows: Rows, who: Rows, pumps: FloatArray) -> FloatArray:
        """Minute at which a tanker is full that begins to pump at `pumps`, behind those who pump already."""
        own, sites = self.table, self.sites
        if not sites.pumps.shared:
            return pumps + self._pump_min(rows, who, pumps)
        at = sites.at(rows, who)
        alone = (sites.positions[at] <= 1) | np.isfinite(sites.storage_gal[at])
        if alone.all():
            return pumps + self._pump_min(rows, who, pumps)
        full = np.empty(len(rows))
        full[alone] = pumps[alone] + self._pump_min(rows[alone], who[alone], pumps[alone])
        rows, who, pumps, at = rows[~alone], who[~alone], pumps[~alone], at[~alone]
        self.lost[rows] |= sites.tight[at] & (pumps < sites.pumps.began[at] - INSTANT_MIN)
        full[~alone] = sites.pumps.fill(at, pumps, own.usable_gal[rows, who], own.fill_gpm[rows, who])
        return full

    def _pump_min(self, rows: Rows, who: Rows, start: FloatArray) -> FloatArray:
        """Minutes that a load takes, with a source that may run dry on the way."""
        sites, at = self.sites, self.sites.at(rows, who)
        gal = self.table.usable_gal[rows, who]
        gpm = np.minimum(self.table.fill_gpm[rows, who], sites.site_gpm[at])
        with np.errstate(divide="ignore", invalid="ignore"):
            minutes = gal / gpm
        limited = np.isfinite(sites.storage_gal[at]) & np.isfinite(start)
        if limited.any():
            some = rows[limited], at[limited], gal[limited], gpm[limited], start[limited]
            minutes[limited] = self._pump_limited(*some)
        return minutes

    def _pump_limited(self, rows: Rows, at: Rows, gal: FloatArray, gpm: FloatArray, start: FloatArray) -> FloatArray:
        sites, refill = self.sites, self.sites.refill_gpm[at]
        level = np.minimum(sites.storage_gal[at], sites.level_gal[at] + refill * (start - sites.level_min[at]))
        with np.errstate(divide="ignore", invalid="ignore"):
            alone = gal / gpm
            lasts = np.where(gpm > refill, level / (gpm - refill), np.inf)
            dragged = lasts + (gal - gpm * lasts) / refill
        dry = alone > lasts * SLACK
        minutes = np.where(dry, dragged, alone)
        left = np.where(dry, 0.0, np.minimum(level + (refill - gpm) * alone, sites.storage_gal[at]))
        sites.level_gal[at] = np.maximum(left, 0.0)
        sites.level_min[at] = start + minutes
        self.ran_dry[rows] |= dry & (start + lasts < self.clock.end[rows])
        return minutes

    def _dump(self, rows: Rows, who: Rows) -> None:
        """Dump one load in each row."""
        own, levels = self.table, self.levels
        held = np.maximum(np.maximum(self.joined[rows, who], self.dump_free[rows]), self.clock.dump_ready[rows])
        pours = held + own.dump_hookup_min[rows, who]
        levels.drain(rows, np.minimum(pours, self.clock.end[rows]))
        began, left = levels.pour(rows, self.load[rows, who], own.dump_gpm[rows, who], self.refilled[rows, who])
        if self.waits is not None:
            self.waits.loads[rows, who] += ~np.isnan(began)
            self._note_waits(self.waits, rows, who, held, pours, left)
        if levels.diary is not None:
            flows = ~np.isnan(began)
            levels.diary.dump(rows[flows], who[flows], began[flows])
        empty = np.where(pours < self.clock.end[rows], levels.now[rows], np.inf)
        self.dump_free[rows] = empty
        self._join(rows, who, empty + own.back_min[rows, who] + own.fill_maneuver_min[rows, who], filling=True)

    def _note_waits(
        self, waits: Waits, rows: Rows, who: Rows, held: FloatArray, pours: FloatArray, left_gal: FloatArray
    ) -> None:
        """Note how long tankers stood before the dump place was theirs, and by how much full tanks slowed them."""
        end, poured = self.clock.end[rows], self.load[rows, who] - left_gal
        # A nurse stands in the queue once it has nursed: not where the account ends before.
        stands = (waits.nurses[rows] != who) | self.refilled[rows, who] | (self.clock.dump_ready[rows] < end)
        waits.dump_min[rows, who] += np.where(stands, np.minimum(held, end) - self.joined[rows, who], 0.0)
        with np.errstate(invalid="ignore"):
            pouring = np.maximum(np.minimum(self.levels.now[rows], end) - pours, 0.0)
        waits.room_min[rows, who] += np.maximum(pouring - poured / self.table.dump_gpm[rows, who], 0.0)

    def _note_those_left(self, waits: Waits) -> None:
        """Note who stands at a fill site that was never ready; every other queue was served in thought."""
        end = np.where(np.isfinite(self.clock.end), self.clock.end, -np.inf)[:, None]
        left = self.filling & (self.joined < end)
        waits.fill_min += np.subtract(end, self.joined, out=np.zeros(left.shape), where=left)
