"""The account of one case, served tanker by tanker in closed form; compiled, for thousands of cases.

Both ends serve first come first served, so the tanker with the least joining minute is settled by what is known
already: nobody can come before it any more. It gets its place, its load is filled (`timeline_filling`) or dumped
(`timeline_dumping`), and it joins the queue at the other end.

The same water as `timeline_events`, the plain account. `timeline_batch` lays out the cases.
"""

from __future__ import annotations

import math

import numpy as np

from preplan.compiled import compiled, kept
from preplan.records import FloatArray
from preplan.water.timeline_dumping import close_dump, dump, join_dump, work_dump
from preplan.water.timeline_filling import close_fill, fill, fill_beside, serve
from preplan.water.timeline_levels import drain, feed, weigh
from preplan.water.timeline_state import Ground, Records, Site, Truck, join

_LATEST_MIN = 1e4  # later than any timeline runs


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
def _turn_min(truck: Truck, site: Site) -> float:
    """Give the minute of a tanker's turn: that at which it joined its queue, or the fill site is ready for it."""
    return truck.joined if truck.turn == np.rint(truck.joined * 1e6) else site.ready_min  # see `_requeue`


@compiled
def _nurse(g: Ground, marks: FloatArray, notes: FloatArray, trucks: Records) -> None:
    """Let the nurse feed the attack engine before the dump site is ready."""
    truck: Truck = trucks[g.nurse]
    drain(g, marks, notes, min(max(truck.arrival_min, g.hose_ready), g.end))
    truck.load = feed(g, marks, notes, truck.load, min(g.dump_ready, g.end), truck.pump_gpm)
    if truck.load <= 0:
        join(truck, g.now + truck.back_min + truck.fill_maneuver_min, True)


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
        serve(g, trucks, site, truck.site, truck.joined, True)
    if not truck.filling and g.dump_places > 1:
        join_dump(truck)
    elif not truck.filling:
        dump(g, marks, notes, trucks, who)
    elif site.crowded:
        _opens(truck, site)
        fill_beside(g, trucks, who, site, truck.site)
    # Who opens a site stands back in the queue where a vacuum tanker, which waits for nothing, may go before it.
    elif not (_opens(truck, site) and g.mixed):
        fill(g, trucks, who, site, places[truck.site])


@compiled
def _close(g: Ground, trucks: Records, sites: Records) -> None:
    """Count the waits of those who still stand in a queue at the end."""
    close_dump(g, trucks)
    for at in range(len(sites)):
        if sites[at].crowded:
            close_fill(g, trucks, sites[at], at)
    for who in range(len(trucks)):  # who stands at a fill site that was never ready; others were served in thought
        truck: Truck = trucks[who]
        if truck.filling and truck.joined < g.end:
            truck.fill_wait_min += g.end - truck.joined


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
        # Who leaves the dump site before that may be next in turn.
        until = min(_turn_min(trucks[who], sites[trucks[who].site]), g.end)
        left = g.dump_places > 1 and work_dump(g, marks, notes, trucks, until)
        if not (left or trucks[who].joined < g.end):
            break
        if not left:
            _take_turn(g, marks, notes, trucks, who, sites, places)
        if g.mixed:
            _requeue(trucks, sites, places)
    drain(g, marks, notes, g.end)
    weigh(g)
    _close(g, trucks, sites)


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
