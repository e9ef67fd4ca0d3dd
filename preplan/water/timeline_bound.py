"""Bounds on what a case holds and delivers that need no account: they tell which cases are worth running."""

from __future__ import annotations

import numpy as np

from preplan.records import FloatArray
from preplan.water.timeline_clock import Clock
from preplan.water.timeline_table import CaseTable

SHARES = (0.03, 0.06, 0.1, 0.14, 0.19, 0.25, 0.33, 0.45, 0.6, 0.75, 0.9, 1.0)
"""Minutes at which a flow is bounded, as shares of required_min; besides them, the first load of each tanker."""
LEAST_MIN = 1e-3
"""No flow is bounded nearer to the minute of full flow than this."""


def most_flow_gpm(table: CaseTable) -> FloatArray:
    """Bound the uninterrupted flow of every case from above, without running it: (cases,).

    A flow from F on needs, by every later minute, that the water come by then less what the attack took covers it.
    Nobody can come sooner than without a queue at either end: the first load at the dump site's readiness, the next
    one when the fill site has filled it, and then one load each cycle; refills no more than the site gives and stores.
    """
    return _most(_Bound(table), np.minimum(table.draft_gpm, table.supply_gpm))


def most_gpm(table: CaseTable) -> tuple[FloatArray, FloatArray]:
    """Give both bounds, `most_flow_gpm` and `most_delivered_gpm`, (cases,) each: they share most of the work."""
    bound = _Bound(table)
    return _most(bound, np.minimum(table.draft_gpm, table.supply_gpm)), _delivered(bound)


def most_delivered_gpm(table: CaseTable) -> FloatArray:
    """Bound what every case delivers of its own demand, averaged over the minutes of full flow: (cases,).

    No more than is asked for, than can have come by the end, and than draft or supply line pass, to which a booster
    tank and a tanker that nurses add once.
    """
    return _delivered(_Bound(table))


def _delivered(bound: _Bound) -> FloatArray:
    """Bound the mean flow by the water that can have come by the end, (cases,)."""
    table = bound.table
    runs = np.isfinite(bound.clock.end) & (table.required_min > 0)
    end = np.where(runs, bound.clock.end, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        beside = table.booster_gal + np.where(bound.nursing, table.usable_gal, 0.0).sum(axis=1)
        line = np.minimum(table.draft_gpm, table.supply_gpm) + beside / table.required_min
        most = np.minimum(np.minimum(table.required_gpm, line), bound.ratio(end))
    return np.where(runs, np.maximum(most, 0.0), 0.0)


def most_split_gpm(one: CaseTable, other: CaseTable) -> FloatArray:
    """Bound what cases hold whose tankers fill at either of two sites: (cases,).

    Both tables have the same tankers, each with the circuit over one of the sites. Every tanker takes the circuit that
    brings it sooner, and both sites give all they can.
    """
    bound = _Bound(one)
    bound.take_in(_Bound(other))
    lines = [np.minimum(table.draft_gpm, table.supply_gpm) for table in (one, other)]
    return _most(bound, np.maximum(*lines))


def _most(bound: _Bound, most: FloatArray) -> FloatArray:
    """Bound the flow by the water that can have come at some minutes, and by `most`, (cases,)."""
    table, end = bound.table, bound.clock.end
    runs = np.isfinite(end) & (table.required_min > 0)
    full = np.where(runs, bound.clock.full, 0.0)
    for share in SHARES:
        most = np.minimum(most, bound.ratio(full + share * table.required_min))
    for tanker in range(table.arrival_min.shape[1]):
        comes = bound.first[:, tanker] + table.dump_hookup_min[:, tanker]
        inside = runs & (comes > full + LEAST_MIN) & (comes <= end)
        most = np.where(inside, np.minimum(most, bound.ratio(np.where(inside, comes, full + 1.0))), most)
    return np.where(runs, np.maximum(most, 0.0), 0.0)


class _Bound:
    """When each tanker's loads can come at the soonest, and what is gone before F; of cases with one fill site."""

    def __init__(self, table: CaseTable) -> None:
        self.table, self.clock = table, Clock(table)
        with np.errstate(divide="ignore", invalid="ignore"):
            fills = table.fill_hookup_min + table.usable_gal / table.fill_gpm
            dumps = table.dump_hookup_min + table.usable_gal / table.dump_gpm
        there = fills + table.out_min + table.dump_maneuver_min
        self.cycle = dumps + table.back_min + table.fill_maneuver_min + there
        self.first = np.maximum(table.arrival_min + table.dump_maneuver_min, self.clock.dump_ready[:, None])
        free = self.first + dumps
        nurse = self.clock.nurse(table)
        self.nursing = np.arange(table.arrival_min.shape[1]) == nurse[:, None]
        nurses_from = np.maximum(table.arrival_min, table.hose_ready_min[:, None])
        self.first = np.where(self.nursing, nurses_from, self.first)
        free = np.where(self.nursing, nurses_from, free)
        opened = table.arrival_min.min(axis=1, initial=np.inf)
        came = np.where(np.isnan(table.fill_engine_arrival_min), opened, table.fill_engine_arrival_min)
        ready = np.where(table.self_fill > 0, -np.inf, (came + table.fill_setup_min)[:, None])
        with np.errstate(invalid="ignore"):
            begun = ready + there  # -inf + inf where nothing fills: then the other is inf
        self.second = np.fmax(free + table.back_min + table.fill_maneuver_min + there, begun)
        self.pumps = np.where(np.isfinite(table.arrival_min), ready, np.inf).min(axis=1, initial=np.inf)
        self.taken, self.others = self._taken(), list[_Bound]()
        carried = np.concatenate([table.arrival_min, table.other_arrival_min], axis=1)
        nominal = np.concatenate([table.portable_gal, table.other_gal], axis=1)
        soonest = np.where(nominal > 0, carried, np.inf)
        self.dead = np.zeros(len(table))
        if carried.shape[1]:
            self.dead = self.clock.tank_dead_gal[np.arange(len(table)), soonest.argmin(axis=1)]

    def take_in(self, other: _Bound) -> None:
        """Let the tankers fill at another site too."""
        self.second, self.cycle = np.minimum(self.second, other.second), np.minimum(self.cycle, other.cycle)
        self.others.append(other)

    def given(self, until: FloatArray) -> FloatArray:
        """Give the most that the site can have given by a minute of each case, gal."""
        minutes = np.maximum(until - np.maximum(self.pumps, 0.0), 0.0)
        table = self.table
        with np.errstate(invalid="ignore"):
            given: FloatArray = np.minimum(table.site_gpm * minutes, table.storage_gal + table.refill_gpm * minutes)
        return given

    def _taken(self) -> FloatArray:
        """Give what the attack surely took before F, gal: what the nurse fed, and the booster tank besides."""
        table, clock = self.table, self.clock
        from_min = np.where(self.nursing, self.first, np.inf).min(axis=1, initial=np.inf)
        gpm = np.minimum(clock.attack_gpm, np.where(self.nursing, table.pump_gpm, 0.0).sum(axis=1))
        load = np.where(self.nursing, table.usable_gal, 0.0).sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            start = np.maximum(from_min, clock.first_water)
            stop = np.minimum(np.minimum(clock.dump_ready, clock.full), start + load / gpm)
            fed = np.where(np.isfinite(from_min), gpm * np.maximum(stop - start, 0.0), 0.0)
            asked = clock.attack_gpm * np.maximum(clock.full - clock.first_water, 0.0)
            taken = fed + np.minimum(table.booster_gal, np.maximum(asked - fed, 0.0))
        return np.where(np.isfinite(taken), taken, 0.0)

    def ratio(self, until: FloatArray) -> FloatArray:
        """Give the most water that can have come since F by a minute of each case, over the minutes since F."""
        table, clock, minute = self.table, self.clock, until[:, None]
        with np.errstate(invalid="ignore"):
            poured = np.nan_to_num((minute - self.first - table.dump_hookup_min) * table.dump_gpm)
        poured = np.where(self.nursing, np.where(self.first < minute, np.inf, 0.0), poured)
        loads = np.clip(poured, 0.0, table.usable_gal).sum(axis=1)
        with np.errstate(invalid="ignore"):
            count = np.where(self.second < minute, 1.0 + np.floor((minute - self.second) / self.cycle), 0.0)
            given = sum((other.given(until) for other in self.others), self.given(until))
            refills = np.fmin((table.usable_gal * count).sum(axis=1), given)
            into_tanks = refills + np.where(self.nursing, 0.0, np.clip(poured, 0.0, table.usable_gal)).sum(axis=1)
            came = table.booster_gal + loads + refills - self.taken - np.minimum(self.dead, into_tanks)
            ratio: FloatArray = came / (until - clock.full)
        return ratio
