"""The account of one case, served tanker by tanker in closed form; compiled, for thousands of cases.

Both ends serve first come first served, so the tanker with the least joining minute is settled by what is known
already: nobody can come before it any more. It gets its place, its load is filled or dumped, and it joins the queue at
the other end. At a crowded fill site, where tankers slow each other, it joins those who fill, and what comes of that is
foreseen. Between two marks (booster tank comes, a portable tank stands ready, the demand changes, the account ends)
every level at the fire is a straight line.

The same water as `timeline_events`, the plain account. `timeline_batch` lays out the cases.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from preplan.compiled import compiled, kept, record_of
from preplan.records import FloatArray
from preplan.water.timeline_events import INSTANT_MIN
from preplan.water.timeline_scene import GRAIN_GAL

Records = npt.NDArray[np.void]

SLACK = 1.0 + 1e-12
"""Two rates nearer than this are equal."""
SAME_RATIO = 1e-9
"""Relative difference below which two ratios are equal."""
LEVEL, DRY, DUMP, NURSED, NOTHING = 0.0, 1.0, 2.0, 3.0, 4.0
"""Kinds of notes: (minute, gallons on scene), (start, stop), (minute, tanker), (start, stop), (start, stop)."""
AWAY, WAITING, HOOKING_UP, PUMPING = range(4)
"""What a tanker does at a crowded fill site."""
MINUTE, BOOSTER, ACTIVE, DEAD = range(4)
"""Columns of the marks: when, and what each adds to the fireground, gal."""
_LATEST_MIN = 1e4  # later than any timeline runs


class Ground:
    """The fireground of one case: what its numbers say, its levels from minute to minute, and its books."""

    first_water: float
    full: float
    end: float
    dump_ready: float
    attack_gpm: float
    flow_gpm: float
    """The demand from full flow on."""
    line_gpm: float
    """Most that draft and supply line pass."""
    target_gal: float
    nurse: int
    """The tanker that nurses, -1: none."""
    hose_ready: float
    """From when it can: its hose to the attack engine is on scene."""
    mixed: bool
    """Some of its tankers fill themselves, others wait for an engine."""

    now: float
    at: int
    """The next mark."""
    next_mark: float
    portable: float
    booster: float
    active: float
    """Room in the portable tanks above the dead water."""
    dead_left: float
    """Dead water that is still to come."""
    dump_free: float
    """When the dump place is free."""
    arrived: float
    gone: float
    """Of what arrived, no longer on scene at full flow."""

    on_scene_full: float
    ratio: float
    """Least ratio so far of the water come since full flow to the minutes since."""
    tight: float
    """Its minute, of equal ones the last; NaN: none yet."""
    established: float
    """When the first refilled load begins to flow; NaN: not yet."""
    arrived_by: float
    slowed: bool
    """Full portable tanks slowed a load."""
    gap: float
    short: float
    longest: float
    stretches: float
    first_gap: float
    late_gap: float
    """The first dry minute from full flow on; NaN: none."""
    dry_from: float
    dry_to: float
    """The dry stretch that is open, or was last."""
    nothing: float
    """Of the dry minutes those in which nothing flows at all."""
    nothing_gal: float
    longest_nothing: float
    first_nothing: float
    nothing_from: float
    nothing_to: float
    fed: bool
    """A tanker pumps into the attack engine: what is short then is not all."""
    noted: int
    """Notes taken, those for which there was no room included."""


class Truck:
    """A tanker of a case, and where it is on its rounds."""

    arrival_min: float
    usable_gal: float
    fill_gpm: float
    dump_gpm: float
    out_min: float
    back_min: float
    fill_hookup_min: float
    dump_hookup_min: float
    fill_maneuver_min: float
    dump_maneuver_min: float
    pump_gpm: float
    self_fill: bool
    site: int

    joined: float
    """When it joins its queue; inf where it does not come."""
    turn: float
    """Its place in the queue: millionths of a minute, so that rounding breaks no tie."""
    load: float
    filling: bool
    """It stands at the fill site, not at the dump site."""
    refilled: bool
    loads: float
    fill_wait_min: float
    dump_wait_min: float
    room_wait_min: float

    stage: int
    """At a crowded fill site: see `AWAY`."""
    came: float
    """When it joined the queue there."""
    pumps: float
    """When its hook-up ends there."""
    left: float
    """What is still to be filled, gal."""


class Site:
    """A fill site of a case."""

    positions: float
    site_gpm: float
    storage_gal: float
    refill_gpm: float
    setup_min: float
    ready_min: float
    """NaN: the first tanker there opens it."""
    crowded: bool
    """Tankers that fill at once may slow each other: they want more than it gives, or its source runs out."""
    level_gal: float
    level_min: float
    """What is left of the source, and when."""
    ran_dry: bool
    """It gave no more than flows into it, before the end."""
    dry_min: float
    """From when; inf: it lasts."""


GROUND, TRUCK, SITE = record_of(Ground), record_of(Truck), record_of(Site)

# --------------------------------------------------------------------------- notes for drawing


@compiled
def _note(g: Ground, notes: FloatArray, kind: float, first: float, second: float) -> None:
    if g.noted < len(notes):
        notes[g.noted, 0] = kind
        notes[g.noted, 1] = first
        notes[g.noted, 2] = second
    g.noted += 1


@compiled
def _note_levels(g: Ground, notes: FloatArray, minutes: float, offered: float, demand: float) -> None:
    """Note the water on scene where its line may bend: portable tanks full or empty, booster tank empty."""
    want = min(demand, g.line_gpm)
    first, then = demand - want, demand - min(offered, want)
    bend = falls = math.inf  # from `falls` on the booster tank makes up the whole lack
    if offered > want:
        bend = max((g.active - g.portable) / (offered - want), 0.0)
    elif offered < want:
        bend = falls = max(g.portable / (want - offered), 0.0)
    soon = g.booster / first if first > 0 else math.inf
    empty = soon
    if soon > falls:
        empty = falls + (g.booster - first * falls) / then if then > 0 else math.inf
    for after in (0.0, min(bend, empty, minutes), min(max(bend, empty), minutes), minutes):
        level = min(max(g.portable + (offered - want) * after, 0.0), max(g.active, g.portable))
        spent = first * after if after <= falls else first * falls + then * (after - falls)
        left = max(g.booster - spent, 0.0) if g.booster > 0 else 0.0
        _note(g, notes, LEVEL, g.now + after, level + left)


# --------------------------------------------------------------------------- the clock of the fireground


@compiled
def _demand(g: Ground) -> float:
    """Say what the fire asks for now."""
    if g.now < g.first_water or g.now >= g.end:
        return 0.0
    return g.attack_gpm if g.now < g.full else g.flow_gpm


@compiled
def _advance(g: Ground, marks: FloatArray, until: float) -> None:
    """Set the clock on and let the next mark happen where it is reached."""
    g.now = until
    if g.next_mark > until:
        return
    mark = marks[g.at]
    g.booster += mark[BOOSTER]
    g.arrived += mark[BOOSTER]
    g.active += mark[ACTIVE]
    g.dead_left += mark[DEAD]
    if math.isnan(g.arrived_by) and g.arrived >= g.target_gal - GRAIN_GAL:
        g.arrived_by = g.now
    if g.next_mark == g.full:
        g.on_scene_full = g.portable + g.booster
        g.gone = g.arrived - g.on_scene_full
    g.at += 1
    g.next_mark = marks[g.at, MINUTE]


# --------------------------------------------------------------------------- the books


@compiled
def _weigh(g: Ground) -> None:
    """Weigh the water come since full flow against the minutes since: phi is the least such ratio."""
    late = g.now - g.full
    if not late > INSTANT_MIN:
        return
    ratio = (g.arrived - g.gone) / late
    if ratio <= g.ratio * (1.0 + SAME_RATIO):  # of equal ones the last
        g.tight = g.now
    g.ratio = min(g.ratio, ratio)


@compiled
def _came(g: Ground, first: float, freely: float, then: float, minutes: float) -> None:
    """Note the minute by which the asked total has arrived: rate `first` for a while, `then` for the rest."""
    late = g.target_gal - g.arrived
    if not (math.isnan(g.arrived_by) and late - GRAIN_GAL <= first * freely + then * (minutes - freely)):
        return
    after = 0.0
    if late > GRAIN_GAL:
        after = late / first if late <= first * freely else freely + (late - first * freely) / then
    g.arrived_by = g.now + min(after, minutes)


@compiled
def _note_dry(g: Ground, notes: FloatArray, minutes: float, offered: float, demand: float, short: float) -> None:
    """Note the dry end of a piece: once booster and portable tanks are empty it stays dry."""
    if not short > demand * 1e-9:
        return
    g.short += short
    want = min(demand, g.line_gpm)
    first, then = demand - want, demand - min(offered, want)
    drawn_down = g.portable / (want - offered) if offered < want else math.inf
    if first > 0 and g.booster <= first * min(drawn_down, minutes):
        wet = g.booster / first
    else:
        wet = drawn_down + (g.booster - first * drawn_down) / then
    _add_dry(g, notes, g.now + min(wet, minutes), g.now + minutes)
    if min(offered, want) <= 0.0 and not g.fed:
        empty = max(wet, drawn_down) if want > 0.0 else wet
        _add_nothing(g, notes, g.now + min(empty, minutes), g.now + minutes, demand)


@compiled
def _add_dry(g: Ground, notes: FloatArray, start: float, stop: float) -> None:
    if not stop - start > INSTANT_MIN:
        return
    if len(notes):
        _note(g, notes, DRY, start, stop)
    if start - g.dry_to > INSTANT_MIN:
        g.stretches += 1
        g.dry_from = start
    if math.isnan(g.first_gap):
        g.first_gap = start
    if math.isnan(g.late_gap) and stop > g.full + INSTANT_MIN:
        g.late_gap = max(start, g.full)
    g.dry_to = stop
    g.longest = max(g.longest, stop - g.dry_from)
    g.gap += stop - start


@compiled
def _add_nothing(g: Ground, notes: FloatArray, start: float, stop: float, demand: float) -> None:
    """Note a stretch in which nothing flows."""
    if not stop - start > INSTANT_MIN:
        return
    if len(notes):
        _note(g, notes, NOTHING, start, stop)
    if start - g.nothing_to > INSTANT_MIN:
        g.nothing_from = start
    if math.isnan(g.first_nothing):
        g.first_nothing = start
    g.nothing_to = stop
    g.longest_nothing = max(g.longest_nothing, stop - g.nothing_from)
    g.nothing += stop - start
    g.nothing_gal += demand * (stop - start)


# --------------------------------------------------------------------------- water


@compiled
def _grain(gal: float) -> float:
    """Take less than a grain for nothing."""
    return 0.0 if gal < GRAIN_GAL else gal


@compiled
def _rise_min(g: Ground, gpm: float, want: float) -> float:
    """Minutes until full portable tanks slow an inflow of `gpm`."""
    return max(g.active - g.portable, 0.0) / (gpm - want) if gpm > want else math.inf


@compiled
def _flow(g: Ground, notes: FloatArray, minutes: float, offered: float, demand: float) -> float:
    """Let water flow at constant rates; return what came into the portable tanks, gal."""
    want = min(demand, g.line_gpm)
    freely = min(minutes, _rise_min(g, offered, want))
    slow = minutes - freely
    inflow = offered * freely + want * slow
    if offered > want:
        level = min(g.portable + (offered - want) * minutes, g.active)
    else:
        level = max(g.portable - (want - offered) * minutes, 0.0)
    lacking = max(demand * minutes - (g.portable + inflow - level), 0.0)
    used = min(g.booster, lacking)
    if len(notes):
        _note_levels(g, notes, minutes, offered, demand)
    _note_dry(g, notes, minutes, offered, demand, lacking - used)
    _came(g, offered, freely, want, minutes)
    if slow > INSTANT_MIN:
        g.slowed = True
    g.portable, g.booster = _grain(level), _grain(g.booster - used)
    g.arrived += inflow
    return inflow


@compiled
def _drain(g: Ground, marks: FloatArray, notes: FloatArray, until: float) -> None:
    """Let the fire draw while nothing comes in, until a minute."""
    while g.now < until:
        stop = min(until, g.next_mark)
        _flow(g, notes, stop - g.now, 0.0, _demand(g))
        _advance(g, marks, stop)


@compiled
def _feed(
    g: Ground, marks: FloatArray, notes: FloatArray, left: float, until: float, pump_gpm: float
) -> float:  # fmt: skip
    """Let a tanker feed the attack engine; return what is left in it when it is empty or the minute comes.

    What its pump does not give comes out of the booster tank.
    """
    while g.now < until and left > 0:
        demand = _demand(g)
        rate = min(demand, pump_gpm)
        empty = g.now + (left / rate if rate > 0 else math.inf)
        stop = min(until, g.next_mark, empty)
        minutes = stop - g.now
        if len(notes) and rate > 0:
            _note(g, notes, NURSED, g.now, stop)
        if rate < demand:
            g.fed = rate > 0.0
            _flow(g, notes, minutes, 0.0, demand - rate)
            g.fed = False
        elif len(notes):
            for minute in (g.now, stop):
                _note(g, notes, LEVEL, minute, g.portable + g.booster)
        _came(g, rate, minutes, rate, minutes)
        g.arrived += rate * minutes
        left = 0.0 if stop >= empty else left - rate * minutes
        _advance(g, marks, stop)
    return _grain(left)


@compiled
def _pour_min(g: Ground, left: float, gpm: float, demand: float) -> float:
    """Minutes until a load is dumped at these rates."""
    want = min(demand, g.line_gpm)
    free = _rise_min(g, gpm, want)
    alone = left / gpm
    return alone if alone <= free else free + (left - gpm * free) / want


@compiled
def _pour(g: Ground, marks: FloatArray, notes: FloatArray, truck: Truck) -> tuple[float, float]:
    """Dump one load, from now until it is empty or the account ends.

    Returns the minute at which it began to flow, NaN where it did not, and what is left in it, gal.
    """
    left, gpm, began = truck.load, truck.dump_gpm, math.nan
    while g.now < g.end:
        demand, start, under = _demand(g), g.now, g.dead_left > 0
        if under:
            stop = min(start + min(g.dead_left, left) / gpm, g.next_mark)
            inflow = _flow(g, notes, stop - start, 0.0, demand)
            came = gpm * (stop - start)
            g.dead_left = _grain(g.dead_left - came)
        else:
            _weigh(g)
            stop = min(start + _pour_min(g, left, gpm, demand), g.next_mark)
            inflow = _flow(g, notes, stop - start, gpm, demand)
            came = 0.0
        if math.isnan(began) and inflow + came > 0:
            began = start
            if truck.refilled and math.isnan(g.established):
                g.established = start
        left = left - inflow - came
        _advance(g, marks, stop)
        if not left > GRAIN_GAL:
            break
    return began, left


# --------------------------------------------------------------------------- filling


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


# --------------------------------------------------------------------------- filling side by side


@compiled
def _earlier(trucks: Records, one: int, other: int) -> bool:
    """Tell which of two tankers goes first: whose hook-up ends before, then who came before, then by its number."""
    mine, theirs = np.rint(trucks[one].pumps * 1e6), np.rint(trucks[other].pumps * 1e6)
    if mine == theirs:
        mine, theirs = np.rint(trucks[one].came * 1e6), np.rint(trucks[other].came * 1e6)
    return mine < theirs if mine != theirs else one < other


@compiled
def _share(trucks: Records, site: Site, at: int, rates: FloatArray) -> float:
    """Give the rate into each tanker, 0 where none pumps: the first takes its own, the next what that leaves.

    Returns all of it.
    """
    most = site.site_gpm if site.level_gal > 0 else min(site.site_gpm, site.refill_gpm)
    rates[:] = -1.0
    given = 0.0
    while True:
        first = -1
        for who in range(len(trucks)):
            waits = trucks[who].stage == PUMPING and trucks[who].site == at and rates[who] < 0
            if waits and (first < 0 or _earlier(trucks, who, first)):
                first = who
        if first < 0:
            break
        rates[first] = min(trucks[first].fill_gpm, max(most - given, 0.0))
        given += rates[first]
    for who in range(len(trucks)):
        rates[who] = max(rates[who], 0.0)
    return given


@compiled
def _take_places(g: Ground, trucks: Records, site: Site, at: int, now: float, booked: bool) -> None:
    """Give free places to those who wait, in the order in which they came; `booked`: they are written down."""
    while True:
        first, holders = -1, 0
        for who in range(len(trucks)):
            truck: Truck = trucks[who]
            if truck.site != at:
                continue
            holders += truck.stage >= HOOKING_UP
            ready = truck.self_fill or site.ready_min <= now + INSTANT_MIN
            if truck.stage == WAITING and ready and (first < 0 or _earlier(trucks, who, first)):
                first = who
        if first < 0 or holders >= site.positions:
            return
        next_one: Truck = trucks[first]
        next_one.stage, next_one.pumps = HOOKING_UP, now + next_one.fill_hookup_min
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
            then = min(then, truck.pumps)
        elif truck.stage == PUMPING and rates[who] > 0:
            then = min(then, now + truck.left / rates[who])
        elif truck.stage == WAITING and site.ready_min > now:
            then = min(then, site.ready_min)
    return max(then, now)


@compiled
def _run_in(trucks: Records, at: int, rates: FloatArray, now: float, then: float, booked: bool) -> float:
    """Let water run into tankers up to a minute, and hook-ups end; return what all who pump could take, gpm."""
    wanted = 0.0
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        if truck.site != at:
            continue
        if truck.stage == PUMPING:
            wanted += truck.fill_gpm
            truck.left -= rates[who] * (then - now)
            if truck.left <= max(GRAIN_GAL, rates[who] * INSTANT_MIN):
                truck.stage = AWAY
                if not booked:
                    _join(truck, then + truck.out_min + truck.dump_maneuver_min, False)
        elif truck.stage == HOOKING_UP and truck.pumps <= then + INSTANT_MIN:
            truck.stage = PUMPING
    return wanted


@compiled
def _serve(g: Ground, trucks: Records, site: Site, at: int, until: float, booked: bool) -> None:
    """Let a fill site work up to a minute; not `booked`, to see when each tanker there would be full."""
    rates = np.empty(len(trucks))
    while True:
        given, now = _share(trucks, site, at, rates), site.level_min
        then = min(_next_change(trucks, site, at, rates, site.refill_gpm - given), max(until, now))
        if not then < math.inf:
            return
        wanted = _run_in(trucks, at, rates, now, then, booked)
        held_back = site.level_gal <= 0 and given < min(wanted, site.site_gpm)
        if booked and held_back and then > now + INSTANT_MIN and now < g.end:
            site.ran_dry, site.dry_min = True, min(site.dry_min, now)
        level = site.level_gal + (site.refill_gpm - given) * (then - now)
        site.level_gal, site.level_min = _grain(min(level, site.storage_gal)), then
        _take_places(g, trucks, site, at, then, booked)
        if then >= until:
            return


@compiled
def _foresee(g: Ground, trucks: Records, site: Site, at: int) -> None:
    """Say when those at a fill site will be back at the dump site, if nobody else comes: who comes only delays them."""
    before, level_gal, level_min = trucks.copy(), site.level_gal, site.level_min
    _serve(g, trucks, site, at, math.inf, False)
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        if truck.site == at:
            if truck.stage != AWAY:
                _join(truck, math.inf, False)
            truck.stage, truck.pumps, truck.left = before[who].stage, before[who].pumps, before[who].left
    site.level_gal, site.level_min = level_gal, level_min


@compiled
def _fill_beside(g: Ground, trucks: Records, who: int, site: Site, at: int) -> None:
    """Let a tanker come to a fill site at which those who fill at once slow each other."""
    truck: Truck = trucks[who]
    truck.came, truck.left, truck.stage, truck.pumps = truck.joined, truck.usable_gal, WAITING, math.inf
    truck.load, truck.refilled = truck.usable_gal, True
    _take_places(g, trucks, site, at, max(truck.came, site.level_min), True)
    _foresee(g, trucks, site, at)


@compiled
def _close(g: Ground, trucks: Records, site: Site, at: int) -> None:
    """Let such a site work to the end of the account, and count the waits of those who still stand there."""
    _serve(g, trucks, site, at, g.end, True)
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        if truck.site == at and truck.stage == WAITING:
            truck.fill_wait_min += max(g.end - truck.came, 0.0)


# --------------------------------------------------------------------------- rounds


@compiled
def _join(truck: Truck, minute: float, filling: bool) -> None:
    """Send a tanker to the queue at the other end."""
    truck.joined, truck.turn, truck.filling = minute, np.rint(minute * 1e6), filling


@compiled
def _fill(g: Ground, trucks: Records, who: int, site: Site, free_min: FloatArray) -> None:
    """Fill one tanker."""
    truck: Truck = trucks[who]
    ready = -math.inf if truck.self_fill else site.ready_min
    place = free_min.argmin()
    held = max(truck.joined, free_min[place], ready)
    pumps = held + truck.fill_hookup_min
    truck.fill_wait_min += min(held, g.end) - truck.joined
    full = free_min[place] = pumps + _pump_min(g, site, truck, pumps)
    truck.load, truck.refilled = truck.usable_gal, True
    _join(truck, full + truck.out_min + truck.dump_maneuver_min, False)


@compiled
def _dump(g: Ground, marks: FloatArray, notes: FloatArray, trucks: Records, who: int) -> None:
    """Dump one load."""
    truck: Truck = trucks[who]
    held = max(truck.joined, g.dump_free, g.dump_ready)
    pours = held + truck.dump_hookup_min
    _drain(g, marks, notes, min(pours, g.end))
    began, left = _pour(g, marks, notes, truck)
    # A nurse stands in the queue once it has nursed: not where the account ends before.
    if g.nurse != who or truck.refilled or g.dump_ready < g.end:
        truck.dump_wait_min += min(held, g.end) - truck.joined
    pouring = max(min(g.now, g.end) - pours, 0.0)
    truck.room_wait_min += max(pouring - (truck.load - left) / truck.dump_gpm, 0.0)
    if not math.isnan(began):
        truck.loads += 1
        if len(notes):
            _note(g, notes, DUMP, began, who)
    g.dump_free = g.now if pours < g.end else math.inf
    _join(truck, g.dump_free + truck.back_min + truck.fill_maneuver_min, True)


@compiled
def _requeue(trucks: Records, sites: Records, places: FloatArray) -> None:
    """Let those who fill themselves go before those who wait for the fill site to be ready.

    While a place is free before that minute, who must wait for it stands in the queue from it on, in the order
    of arrival; a vacuum tanker does not wait.
    """
    for who in range(len(trucks)):
        truck: Truck = trucks[who]
        if not truck.filling or sites[truck.site].crowded:
            continue
        ready = sites[truck.site].ready_min
        truck.turn = np.rint(truck.joined * 1e6)
        if not truck.self_fill and places[truck.site].min() < ready and truck.joined < ready:
            in_order = min(max(truck.joined, 0.0), _LATEST_MIN) / (_LATEST_MIN + 1.0) - 1.0
            truck.turn = np.rint(ready * 1e6) + in_order


@compiled
def _first(trucks: Records) -> int:
    """Find the tanker that is next in turn, of equal ones the first."""
    first = 0
    for who in range(1, len(trucks)):
        if trucks[who].turn < trucks[first].turn:
            first = who
    return first


@compiled
def _nurse(g: Ground, marks: FloatArray, notes: FloatArray, trucks: Records) -> None:
    """Let the nurse feed the attack engine before the dump site is ready."""
    truck: Truck = trucks[g.nurse]
    _drain(g, marks, notes, min(max(truck.arrival_min, g.hose_ready), g.end))
    truck.load = _feed(g, marks, notes, truck.load, min(g.dump_ready, g.end), truck.pump_gpm)
    if truck.load <= 0:
        _join(truck, g.now + truck.back_min + truck.fill_maneuver_min, True)


@compiled
def _opens(truck: Truck, site: Site) -> bool:
    """Let the first tanker at a site that needs no engine open it."""
    if not math.isnan(site.ready_min):
        return False
    site.ready_min = truck.joined + site.setup_min
    return True


@compiled
def _take_turn(
    g: Ground, marks: FloatArray, notes: FloatArray, trucks: Records, who: int, sites: Records, places: FloatArray
) -> None:
    """Serve the tanker that is next in turn: dump its load, or fill it."""
    truck: Truck = trucks[who]
    site: Site = sites[truck.site]
    if site.crowded:  # nobody comes there any more before this minute
        _serve(g, trucks, site, truck.site, truck.joined, True)
    if not truck.filling:
        _dump(g, marks, notes, trucks, who)
    elif site.crowded:
        _opens(truck, site)
        _fill_beside(g, trucks, who, site, truck.site)
    # Who opens a site stands back in the queue where a vacuum tanker, which waits for nothing, may go before it.
    elif not (_opens(truck, site) and g.mixed):
        _fill(g, trucks, who, site, places[truck.site])


@compiled
def _account(
    g: Ground, marks: FloatArray, notes: FloatArray, trucks: Records, sites: Records, places: FloatArray
) -> None:
    """Run one case to its end."""
    if g.nurse >= 0:
        _nurse(g, marks, notes, trucks)
    if g.mixed:
        _requeue(trucks, sites, places)
    while len(trucks):
        who = _first(trucks)
        if not trucks[who].joined < g.end:
            break
        _take_turn(g, marks, notes, trucks, who, sites, places)
        if g.mixed:
            _requeue(trucks, sites, places)
    for at in range(len(sites)):
        if sites[at].crowded:
            _close(g, trucks, sites[at], at)
    _drain(g, marks, notes, g.end)
    _weigh(g)
    for who in range(len(trucks)):  # who stands at a fill site that was never ready; others were served in thought
        truck = trucks[who]
        if truck.filling and truck.joined < g.end:
            truck.fill_wait_min += g.end - truck.joined


@kept
def run_accounts(
    grounds: Records, marks: FloatArray, notes: FloatArray, trucks: Records, sites: Records, places: FloatArray
) -> None:
    """Run every case that ends to its end.

    Parameters
    ----------
    grounds, trucks, sites
        Records `Ground` (cases,), `Truck` (cases, tankers) and `Site` (cases, sites), at minute 0; left as they end.
    marks
        (cases, marks, 4): see `MINUTE`, by minute, the last one never.
    notes
        (cases, room, 3): kind and two numbers each, see `LEVEL`; nothing is noted where there is no room at all.
    places
        (cases, sites, places): when each place is free.
    """
    for case in range(len(grounds)):
        if math.isfinite(grounds[case].end):
            _account(grounds[case], marks[case], notes[case], trucks[case], sites[case], places[case])
