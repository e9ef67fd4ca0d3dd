"""Tankers that dump, in the compiled account: one after another at one place, or side by side at several.

At one place a load is settled when its turn comes: nobody can come before it any more. At several places the dump site
works from one change to the next, up to the minute of the next tanker in turn.
"""

from __future__ import annotations

import math

import numpy as np

from preplan.compiled import compiled
from preplan.records import FloatArray
from preplan.water.timeline_events import INSTANT_MIN
from preplan.water.timeline_levels import advance, demand_now, drain, flow, grain, note, rise_min, weigh
from preplan.water.timeline_scene import GRAIN_GAL
from preplan.water.timeline_state import (
    ANYWHERE,
    AT_DUMP,
    AWAY,
    DUMP,
    OPENING,
    POURING,
    Ground,
    Records,
    Truck,
    first_in,
    join,
    share,
)

# --------------------------------------------------------------------------- one after another


@compiled
def _pour_min(g: Ground, left: float, gpm: float, demand: float) -> float:
    """Minutes until a load is dumped at these rates."""
    want = min(demand, g.line_gpm)
    free = rise_min(g, gpm, want)
    alone = left / gpm
    return alone if alone <= free else free + (left - gpm * free) / want


@compiled
def _pour(g: Ground, marks: FloatArray, notes: FloatArray, truck: Truck) -> tuple[float, float]:
    """Dump one load, from now until it is empty or the account ends.

    Returns the minute at which it began to flow, NaN where it did not, and what is left in it, gal.
    """
    left, gpm, began = truck.load, truck.dump_gpm, math.nan
    while g.now < g.end:
        demand, start, under = demand_now(g), g.now, g.dead_left > 0
        if under:
            stop = min(start + min(g.dead_left, left) / gpm, g.next_mark)
            inflow = flow(g, notes, stop - start, 0.0, demand)
            came = gpm * (stop - start)
            g.dead_left = grain(g.dead_left - came)
        else:
            weigh(g)
            stop = min(start + _pour_min(g, left, gpm, demand), g.next_mark)
            inflow = flow(g, notes, stop - start, gpm, demand)
            came = 0.0
        if math.isnan(began) and inflow + came > 0:
            began = start
            if truck.refilled and math.isnan(g.established):
                g.established = start
        left = left - inflow - came
        advance(g, marks, stop)
        if not left > GRAIN_GAL:
            break
    return began, left


@compiled
def dump(g: Ground, marks: FloatArray, notes: FloatArray, trucks: Records, who: int) -> None:
    """Dump one load."""
    truck: Truck = trucks[who]
    held = max(truck.joined, g.dump_free, g.dump_ready)
    pours = held + truck.dump_hookup_min
    drain(g, marks, notes, min(pours, g.end))
    began, left = _pour(g, marks, notes, truck)
    # A nurse stands in the queue once it has nursed: not where the account ends before.
    if g.nurse != who or truck.refilled or g.dump_ready < g.end:
        truck.dump_wait_min += min(held, g.end) - truck.joined
    pouring = max(min(g.now, g.end) - pours, 0.0)
    truck.room_wait_min += max(pouring - (truck.load - left) / truck.dump_gpm, 0.0)
    if not math.isnan(began):
        truck.loads += 1
        if len(notes):
            note(g, notes, DUMP, began, who)
    g.dump_free = g.now if pours < g.end else math.inf
    join(truck, g.dump_free + truck.back_min + truck.fill_maneuver_min, True)


# --------------------------------------------------------------------------- side by side


@compiled
def join_dump(truck: Truck) -> None:
    """Let a tanker come to a dump site of several places: its next turn comes when it has left."""
    truck.came, truck.left, truck.begun = truck.joined, truck.load, False
    truck.stage, truck.opens, truck.joined, truck.turn = AT_DUMP, math.inf, math.inf, math.inf


@compiled
def _take_dump_places(g: Ground, trucks: Records) -> None:
    """Let hook-ups end, and give free places to those who wait, in the order in which they came."""
    if g.now < g.dump_ready - INSTANT_MIN:
        return
    nobody, holders = np.zeros(len(trucks), dtype=np.bool_), 0
    for who in range(len(trucks)):
        holders += trucks[who].stage == OPENING or trucks[who].stage == POURING
    while holders < g.dump_places:
        first = first_in(trucks, AT_DUMP, ANYWHERE, nobody)
        if first < 0:
            break
        truck: Truck = trucks[first]
        truck.stage, truck.opens = OPENING, g.now + truck.dump_hookup_min
        truck.dump_wait_min += max(g.now - truck.came, 0.0)
        holders += 1
    for who in range(len(trucks)):
        if trucks[who].stage == OPENING and trucks[who].opens <= g.now + INSTANT_MIN:
            trucks[who].stage = POURING


@compiled
def _room_gpm(g: Ground) -> float:
    """Say what the portable tanks take: all that comes, or what is drawn where they are full."""
    full = g.dead_left <= 0 and g.active - g.portable < GRAIN_GAL
    return min(demand_now(g), g.line_gpm) if full else math.inf


@compiled
def _next_at_dump(g: Ground, trucks: Records, rates: FloatArray) -> float:
    """Give the minute at which somebody is empty, opens or may take a place, or the tanks are full."""
    given, then = rates.sum(), math.inf
    if g.dead_left > 0:
        then = g.now + g.dead_left / given if given > 0 else math.inf
    elif g.active - g.portable >= GRAIN_GAL:
        then = g.now + rise_min(g, given, min(demand_now(g), g.line_gpm))
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        if truck.stage == OPENING:
            then = min(then, truck.opens)
        elif truck.stage == POURING and rates[who] > 0:
            then = min(then, g.now + truck.left / rates[who])
        elif truck.stage == AT_DUMP and g.dump_ready > g.now:
            then = min(then, g.dump_ready)
    return max(then, g.now)


@compiled
def _pour_together(
    g: Ground, notes: FloatArray, trucks: Records, rates: FloatArray, offered: float, minutes: float
) -> None:
    """Let water run out of tankers at constant rates, and book whose load begins to flow."""
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        if truck.stage != POURING:
            continue
        if rates[who] > 0 and not truck.begun:
            truck.begun = True
            truck.loads += 1
            if len(notes):
                note(g, notes, DUMP, g.now, who)
            if truck.refilled and math.isnan(g.established):
                g.established = g.now
        truck.left -= rates[who] * minutes
        truck.room_wait_min += minutes * (1.0 - rates[who] / truck.dump_gpm)
    weigh(g)
    under = g.dead_left > 0
    flow(g, notes, minutes, 0.0 if under else offered, demand_now(g))
    if under:
        g.dead_left = grain(g.dead_left - rates.sum() * minutes)


@compiled
def _leave(g: Ground, trucks: Records, rates: FloatArray) -> bool:
    """Send away who is empty; say whether anybody is."""
    left = False
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        if truck.stage == POURING and truck.left <= max(GRAIN_GAL, rates[who] * INSTANT_MIN):
            truck.stage = AWAY
            join(truck, g.now + truck.back_min + truck.fill_maneuver_min, True)
            left = True
    return left


@compiled
def work_dump(g: Ground, marks: FloatArray, notes: FloatArray, trucks: Records, until: float) -> bool:
    """Let a dump site of several places work up to a minute, or until somebody leaves; say whether anybody did."""
    rates = np.empty(len(trucks))
    while True:
        _take_dump_places(g, trucks)
        if not g.now < until:
            return False
        _, offered = share(trucks, POURING, ANYWHERE, _room_gpm(g), rates)
        stop = min(_next_at_dump(g, trucks, rates), until, g.next_mark)
        if stop > g.now:
            _pour_together(g, notes, trucks, rates, offered, stop - g.now)
        advance(g, marks, stop)
        if _leave(g, trucks, rates):
            return True


@compiled
def close_dump(g: Ground, trucks: Records) -> None:
    """Count the waits of those who still stand there at the end of the account."""
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        # A nurse stands in the queue once it has nursed: not where the account ends before.
        if truck.stage == AT_DUMP and (g.nurse != who or truck.refilled or g.dump_ready < g.end):
            truck.dump_wait_min += max(g.end - truck.came, 0.0)
