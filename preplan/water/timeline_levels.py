"""The water on the fireground of the compiled account, from minute to minute, and its books.

Between two marks (booster tank comes, a portable tank stands ready, the demand changes, the account ends) and at
constant rates every level is a straight line.
"""

from __future__ import annotations

import math

from preplan.compiled import compiled
from preplan.records import FloatArray
from preplan.water.same import SAME
from preplan.water.timeline_events import INSTANT_MIN
from preplan.water.timeline_scene import GRAIN_GAL
from preplan.water.timeline_state import ACTIVE, BOOSTER, DEAD, DRY, LEVEL, MINUTE, NOTHING, NURSED, Ground

# --------------------------------------------------------------------------- notes for drawing


@compiled
def note(g: Ground, notes: FloatArray, kind: float, first: float, second: float) -> None:
    """Keep a note where there is room for it, see `LEVEL`."""
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
        note(g, notes, LEVEL, g.now + after, level + left)


# --------------------------------------------------------------------------- the clock


@compiled
def demand_now(g: Ground) -> float:
    """Say what the fire asks for now."""
    if g.now < g.first_water or g.now >= g.end:
        return 0.0
    return g.attack_gpm if g.now < g.full else g.flow_gpm


@compiled
def advance(g: Ground, marks: FloatArray, until: float) -> None:
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
def weigh(g: Ground) -> None:
    """Weigh the water come since full flow against the minutes since: phi is the least such ratio."""
    late = g.now - g.full
    if not late > INSTANT_MIN:
        return
    ratio = (g.arrived - g.gone) / late
    if ratio <= g.ratio * (1.0 + SAME):  # of equal ones the last
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
        note(g, notes, DRY, start, stop)
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
        note(g, notes, NOTHING, start, stop)
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
def grain(gal: float) -> float:
    """Take less than a grain for nothing."""
    return 0.0 if gal < GRAIN_GAL else gal


@compiled
def rise_min(g: Ground, gpm: float, want: float) -> float:
    """Minutes until full portable tanks slow an inflow of `gpm`."""
    return max(g.active - g.portable, 0.0) / (gpm - want) if gpm > want else math.inf


@compiled
def flow(g: Ground, notes: FloatArray, minutes: float, offered: float, demand: float) -> float:
    """Let water flow at constant rates; return what came into the portable tanks, gal."""
    want = min(demand, g.line_gpm)
    freely = min(minutes, rise_min(g, offered, want))
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
    g.portable, g.booster = grain(level), grain(g.booster - used)
    g.arrived += inflow
    return inflow


@compiled
def drain(g: Ground, marks: FloatArray, notes: FloatArray, until: float) -> None:
    """Let the fire draw while nothing comes in, until a minute."""
    while g.now < until:
        stop = min(until, g.next_mark)
        flow(g, notes, stop - g.now, 0.0, demand_now(g))
        advance(g, marks, stop)


@compiled
def feed(
    g: Ground, marks: FloatArray, notes: FloatArray, left: float, until: float, pump_gpm: float
) -> float:  # fmt: skip
    """Let a tanker feed the attack engine; return what is left in it when it is empty or the minute comes.

    What its pump does not give comes out of the booster tank.
    """
    while g.now < until and left > 0:
        demand = demand_now(g)
        rate = min(demand, pump_gpm)
        empty = g.now + (left / rate if rate > 0 else math.inf)
        stop = min(until, g.next_mark, empty)
        minutes = stop - g.now
        if len(notes) and rate > 0:
            note(g, notes, NURSED, g.now, stop)
        if rate < demand:
            g.fed = rate > 0.0
            flow(g, notes, minutes, 0.0, demand - rate)
            g.fed = False
        elif len(notes):
            for minute in (g.now, stop):
                note(g, notes, LEVEL, minute, g.portable + g.booster)
        _came(g, rate, minutes, rate, minutes)
        g.arrived += rate * minutes
        left = 0.0 if stop >= empty else left - rate * minutes
        advance(g, marks, stop)
    return grain(left)
