"""What the compiled account keeps of a case: its fireground, its tankers and its fill sites, and what it notes of them.

Records of plain numbers, which `timeline_accounts` lays out at minute 0 and `timeline_rounds` leaves as they end.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from preplan.compiled import compiled, record_of
from preplan.records import BoolArray, FloatArray

Records = npt.NDArray[np.void]

SLACK = 1.0 + 1e-12
"""Two rates nearer than this are equal."""
LEVEL, DRY, DUMP, NURSED, NOTHING = 0.0, 1.0, 2.0, 3.0, 4.0
"""Kinds of notes: (minute, gallons on scene), (start, stop), (minute, tanker), (start, stop), (start, stop)."""
AWAY, WAITING, HOOKING_UP, PUMPING, AT_DUMP, OPENING, POURING = range(7)
"""What a tanker does where several may slow each other: on its way, at a crowded fill site, at several dump places."""
MINUTE, BOOSTER, ACTIVE, DEAD = range(4)
"""Columns of the marks: when, and what each adds to the fireground, gal."""
ANYWHERE = -1
"""Any fill site."""


class Ground:
    """The fireground of one case: what its numbers say, its levels from minute to minute, and its books."""

    first_water: float
    full: float
    end: float
    dump_ready: float
    dump_places: int
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
    """When the dump place is free, where there is one."""
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
    """See `AWAY`."""
    came: float
    """When it joined the queue there."""
    opens: float
    """When its hook-up ends there."""
    left: float
    """What is still to be filled or dumped there, gal."""
    begun: bool
    """At several dump places: its load flows, or has flowed."""


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


@compiled
def join(truck: Truck, minute: float, filling: bool) -> None:
    """Send a tanker to the queue at the other end."""
    truck.joined, truck.turn, truck.filling = minute, np.rint(minute * 1e6), filling


@compiled
def _earlier(trucks: Records, one: int, other: int) -> bool:
    """Tell which of two tankers goes first: whose hook-up ends before, then who came before, then by its number."""
    mine, theirs = np.rint(trucks[one].opens * 1e6), np.rint(trucks[other].opens * 1e6)
    if mine == theirs:
        mine, theirs = np.rint(trucks[one].came * 1e6), np.rint(trucks[other].came * 1e6)
    return mine < theirs if mine != theirs else one < other


@compiled
def first_in(trucks: Records, stage: int, at: int, served: BoolArray) -> int:
    """Find who goes first of those in a stage at a fill site, but for those `served`, (tankers,); -1: nobody."""
    first = -1
    for who in range(len(trucks)):
        here = trucks[who].stage == stage and (at == ANYWHERE or trucks[who].site == at)
        if here and not served[who] and (first < 0 or _earlier(trucks, who, first)):
            first = who
    return first


@compiled
def share(trucks: Records, stage: int, at: int, most: float, rates: FloatArray) -> tuple[float, float]:
    """Share a flow among those in a stage at a fill site: the first takes its own rate, the next what that leaves.

    Writes `rates`, (tankers,), 0 for all others. Returns what is given in all, and what all could take or give.
    """
    served, given, offered = np.zeros(len(trucks), dtype=np.bool_), 0.0, 0.0
    rates[:] = 0.0
    while True:
        first = first_in(trucks, stage, at, served)
        if first < 0:
            return given, offered
        own = trucks[first].dump_gpm if stage == POURING else trucks[first].fill_gpm
        rates[first], served[first] = min(own, max(most - given, 0.0)), True
        given += rates[first]
        offered += own
