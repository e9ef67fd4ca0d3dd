"""Tankers that fill, in the compiled account: one after another, or side by side where they slow each other.

One after another each is settled when its turn comes. Where those who fill at once slow each other (a store with
several places, or more wanted than a site gives) who comes only delays the others: when each is full is foreseen anew
whenever somebody comes, and final once nobody can come before.
"""

from __future__ import annotations

import math

import numpy as np

from preplan.compiled import compiled
from preplan.records import FloatArray
from preplan.water.timeline_events import INSTANT_MIN
from preplan.water.timeline_levels import grain
from preplan.water.timeline_scene import GRAIN_GAL
from preplan.water.timeline_state import (
    AWAY,
    HOOKING_UP,
    PUMPING,
    SLACK,
    WAITING,
    Ground,
    Records,
    Site,
    Truck,
    first_in,
    join,
    share,
)

# --------------------------------------------------------------------------- one after another


@compiled
def _pump_min(g: Ground, site: Site, truck: Truck, start: float) -> float:
    """Minutes that a load takes, with a source that may run dry on the way."""
    gal, gpm = truck.usable_gal, min(truck.fill_gpm, site.site_gpm)
    alone = gal / gpm
    if not (math.isfinite(site.storage_gal) and math.isfinite(start)):
        return alone
    refill = site.refill_gpm
    level = min(site.storage_gal, site.level_gal + refill * (start - site.level_min))
    lasts = level / (gpm - refill) if gpm > refill else math.inf
    if alone > lasts * SLACK:
        minutes, left = lasts + (gal - gpm * lasts) / refill, 0.0
        if start + lasts < g.end:
            if not site.ran_dry:
                site.dry_min = start + lasts
            site.ran_dry = True
    else:
        minutes, left = alone, min(level + (refill - gpm) * alone, site.storage_gal)
    site.level_gal, site.level_min = max(left, 0.0), start + minutes
    return minutes


@compiled
def fill(g: Ground, trucks: Records, who: int, site: Site, free_min: FloatArray) -> None:
    """Fill one tanker."""
    truck: Truck = trucks[who]
    ready = -math.inf if truck.self_fill else site.ready_min
    place = free_min.argmin()
    held = max(truck.joined, free_min[place], ready)
    pumps = held + truck.fill_hookup_min
    truck.fill_wait_min += min(held, g.end) - truck.joined
    full = free_min[place] = pumps + _pump_min(g, site, truck, pumps)
    truck.load, truck.refilled = truck.usable_gal, True
    join(truck, full + truck.out_min + truck.dump_maneuver_min, False)


# --------------------------------------------------------------------------- side by side


@compiled
def _take_places(g: Ground, trucks: Records, site: Site, at: int, now: float, booked: bool) -> None:
    """Give free places to those who wait, in the order in which they came; `booked`: they are written down."""
    while True:
        held_up, holders = np.zeros(len(trucks), dtype=np.bool_), 0
        for who in range(len(trucks)):
            truck: Truck = trucks[who]
            holders += truck.site == at and HOOKING_UP <= truck.stage <= PUMPING
            held_up[who] = not (truck.self_fill or site.ready_min <= now + INSTANT_MIN)
        first = first_in(trucks, WAITING, at, held_up)
        if first < 0 or holders >= site.positions:
            return
        next_one: Truck = trucks[first]
        next_one.stage, next_one.opens = HOOKING_UP, now + next_one.fill_hookup_min
        if booked:
            next_one.fill_wait_min += max(min(now, g.end) - next_one.came, 0.0)


@compiled
def _next_change(trucks: Records, site: Site, at: int, rates: FloatArray, net_gpm: float) -> float:
    """Give the minute at which somebody is full, begins to pump or may take a place, or the source is empty."""
    now = site.level_min
    then = math.inf
    if net_gpm < 0 and site.level_gal > 0:  # an instant at least, lest the clock stand still over a last drop
        then = now + max(site.level_gal / -net_gpm, INSTANT_MIN)
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        if truck.site != at:
            continue
        if truck.stage == HOOKING_UP:
            then = min(then, truck.opens)
        elif truck.stage == PUMPING and rates[who] > 0:
            then = min(then, now + truck.left / rates[who])
        elif truck.stage == WAITING and site.ready_min > now:
            then = min(then, site.ready_min)
    return max(then, now)


@compiled
def _run_in(trucks: Records, at: int, rates: FloatArray, now: float, then: float, booked: bool) -> None:
    """Let water run into tankers up to a minute, and hook-ups end."""
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        if truck.site != at:
            continue
        if truck.stage == PUMPING:
            truck.left -= rates[who] * (then - now)
            if truck.left <= max(GRAIN_GAL, rates[who] * INSTANT_MIN):
                truck.stage = AWAY
                if not booked:
                    join(truck, then + truck.out_min + truck.dump_maneuver_min, False)
        elif truck.stage == HOOKING_UP and truck.opens <= then + INSTANT_MIN:
            truck.stage = PUMPING


@compiled
def serve(g: Ground, trucks: Records, site: Site, at: int, until: float, booked: bool) -> None:
    """Let a fill site work up to a minute; not `booked`, to see when each tanker there would be full."""
    rates = np.empty(len(trucks))
    while True:
        most = site.site_gpm if site.level_gal > 0 else min(site.site_gpm, site.refill_gpm)
        (given, wanted), now = share(trucks, PUMPING, at, most, rates), site.level_min
        then = min(_next_change(trucks, site, at, rates, site.refill_gpm - given), max(until, now))
        if not then < math.inf:
            return
        _run_in(trucks, at, rates, now, then, booked)
        held_back = site.level_gal <= 0 and given < min(wanted, site.site_gpm)
        if booked and held_back and then > now + INSTANT_MIN and now < g.end:
            site.ran_dry, site.dry_min = True, min(site.dry_min, now)
        level = site.level_gal + (site.refill_gpm - given) * (then - now)
        site.level_gal, site.level_min = grain(min(level, site.storage_gal)), then
        _take_places(g, trucks, site, at, then, booked)
        if then >= until:
            return


@compiled
def _foresee(g: Ground, trucks: Records, site: Site, at: int) -> None:
    """Say when those at a fill site will be back at the dump site, if nobody else comes: who comes only delays them."""
    before, level_gal, level_min = trucks.copy(), site.level_gal, site.level_min
    serve(g, trucks, site, at, math.inf, False)
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        if truck.site == at:
            if WAITING <= truck.stage <= PUMPING:
                join(truck, math.inf, False)
            truck.stage, truck.opens, truck.left = before[who].stage, before[who].opens, before[who].left
    site.level_gal, site.level_min = level_gal, level_min


@compiled
def fill_beside(g: Ground, trucks: Records, who: int, site: Site, at: int) -> None:
    """Let a tanker come to a fill site at which those who fill at once slow each other."""
    truck: Truck = trucks[who]
    truck.came, truck.left, truck.stage, truck.opens = truck.joined, truck.usable_gal, WAITING, math.inf
    truck.load, truck.refilled = truck.usable_gal, True
    _take_places(g, trucks, site, at, max(truck.came, site.level_min), True)
    _foresee(g, trucks, site, at)


@compiled
def close_fill(g: Ground, trucks: Records, site: Site, at: int) -> None:
    """Let such a site work to the end of the account, and count the waits of those who still stand there."""
    serve(g, trucks, site, at, g.end, True)
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        if truck.site == at and truck.stage == WAITING:
            truck.fill_wait_min += max(g.end - truck.came, 0.0)
