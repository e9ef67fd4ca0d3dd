"""What a page needs to work the steady flow out anew: with sites off, tankers out, or slower roads.

Nothing is answered here. The columns are the terms of the closed form as planning used them, each stored once:
round trips of the kept pairs, who could haul, the engines' jobs, what a tanker does at either end, every cap.
"""

from __future__ import annotations

import numpy as np

from preplan.plan import TripTable, WhatIf
from preplan.planning.assignment import TANK_LIFT_FT, Scene, site_rates, supply_line
from preplan.planning.response import Jobs, assign_jobs
from preplan.records import FloatArray, IntArray
from preplan.water.hydraulics import draft_gpm
from preplan.water.shuttle import storage_gpm
from preplan.water.tanker import Tankers, handling

PIECE_CASES = 200_000
"""Cases worked on at once."""


def what_if_of(scene: Scene, trips: TripTable) -> WhatIf:
    """Gather the terms of the steady flow over every kept trip."""
    rules = scene.rules.shuttle
    job, jobs = _jobs(scene)
    order, orders = _orders(scene)
    line_class, line_gpm = _lines(scene)
    minutes, duration = np.unique(scene.needs.required_min, return_inverse=True)
    storage = np.array([np.nan if s.storage_gal is None else s.storage_gal for s in scene.sites])
    refill = np.array([np.nan if s.refill_gpm is None else s.refill_gpm for s in scene.sites])
    rate, fill_gpm, rate_gpm = _rates(scene)
    hold = handling(Tankers.of(scene.units), fill_gpm, rules)
    pump = np.array([unit.pump_gpm or 0.0 for unit in scene.units])
    return WhatIf(
        trip_min=np.stack([cut.trip_min[trips.address, trips.site] for cut in scene.cuts]),
        members=np.stack([cut.members for cut in scene.cuts]),
        order=order,
        orders=orders,
        job=job,
        attack_engine=jobs[:, 0, 0, 0],
        fill_engine=jobs[:, 1],
        dump_engine=jobs[:, 2],
        vacuum_only=jobs[:, 3] > 0,
        rate=rate,
        rate_gpm=rate_gpm,
        fill_hold_min=hold.fill_hold_min,
        usable_gal=hold.usable_gal,
        dump_hold_min=hold.dump_hold_min,
        maneuver_min=float(np.max(hold.maneuver_min)),
        dump_places=rules.dump_places,
        duration=duration.astype(np.int32),
        held_gpm=storage_gpm(storage[None, :], refill[None, :], minutes[:, None]),
        draft_gpm=draft_gpm(pump, TANK_LIFT_FT, strainer_gpm=rules.strainer_gpm),
        line_class=line_class,
        line_gpm=line_gpm,
    )


def _orders(scene: Scene) -> tuple[IntArray, tuple[tuple[int, ...], ...]]:
    """List who could haul to each address by arrival, each distinct list once, and name each address's."""
    response = scene.response
    rank = np.argsort(response.arrival_min, axis=1, kind="stable").astype(np.int32)
    hauls = np.take_along_axis(response.hauls, rank, axis=1)
    lists, order = np.unique(np.where(hauls, rank, -1), axis=0, return_inverse=True)
    return order.reshape(-1).astype(np.int32), tuple(tuple(u for u in row if u >= 0) for row in lists.tolist())


def _jobs(scene: Scene) -> tuple[IntArray, IntArray]:
    """List the engines' jobs, (rows, 4, levels, sites), each distinct set once, and name each address's.

    The four are attack, fill and dump engine, and 1 where only vacuum tankers can run.
    """
    addresses, levels = scene.response.engines.shape[:2]
    shape = (levels, len(scene.sites))
    found = np.empty((addresses, 4, *shape), dtype=np.int16)
    step = max(1, PIECE_CASES // max(1, levels * len(scene.sites)))
    for first in range(0, addresses, step):
        rows = slice(first, min(first + step, addresses))
        a, lv, s = (i.ravel().astype(np.int32) for i in np.indices((rows.stop - first, *shape)))
        jobs = _assigned(scene, a + first, s, lv)
        attack = scene.response.attack_engine[a + first]
        for k, column in enumerate((attack, jobs.fill_engine, jobs.dump_engine, jobs.vacuum_only)):
            found[rows, k] = column.reshape(-1, *shape)
    flat = np.ascontiguousarray(found.reshape(addresses, -1))
    whole = flat.view(np.dtype((np.void, flat.dtype.itemsize * flat.shape[1])))[:, 0]
    _, where, job = np.unique(whole, return_index=True, return_inverse=True)
    return job.reshape(-1).astype(np.int32), found[where].astype(np.int32)


def _assigned(scene: Scene, address: IntArray, site: IntArray, level: IntArray) -> Jobs:
    """Assign the engines of flat cases."""
    near = scene.frontages.driveway_ft[address] <= scene.rules.shuttle.one_engine_reach_ft
    needs_engine = np.array([s.needs_engine for s in scene.sites], dtype=np.bool_)[site]
    return assign_jobs(scene.response, address, site, level, needs_engine=needs_engine, near=near)


def _rates(scene: Scene) -> tuple[IntArray, FloatArray, FloatArray]:
    """Give the rates at each site by the engine that pumps there; the last row is that of no engine.

    Returns the number of the pair of rates, (units + 1, sites); and, by that number, the rate into one tanker and
    that of the whole site, gpm.
    """
    units, sites = len(scene.units), len(scene.sites)
    engine = np.repeat(np.append(np.arange(units), -1), sites).astype(np.int32)
    site = np.tile(np.arange(sites, dtype=np.int32), units + 1)
    jobs = Jobs(fill_engine=engine, dump_engine=engine, vacuum_only=np.zeros(len(engine), dtype=np.bool_))
    pairs, rate = np.unique(np.column_stack(site_rates(scene, site, jobs)), axis=0, return_inverse=True)
    return rate.reshape(units + 1, sites).astype(np.int32), pairs[:, 0], pairs[:, 1]


def _lines(scene: Scene) -> tuple[IntArray, FloatArray]:
    """Give what a supply line carries to each address from a dump engine of each class of hose, 0 where none reaches.

    Returns each unit's class and the flow, (addresses, classes) gpm.
    """
    hoses = np.array([(unit.supply_hose_ft, unit.supply_hose_in) for unit in scene.units], dtype=np.float64)
    classes, line_class = np.unique(hoses, axis=0, return_inverse=True)
    attack = scene.response.attack_engine
    address = np.arange(len(attack), dtype=np.int32)
    carries = np.empty((len(attack), len(classes)))
    for k in range(len(classes)):
        # Of two of a class, the one that does not attack: who drafts and attacks lays no line.
        one, *others = np.flatnonzero(line_class.reshape(-1) == k).tolist()
        dump = np.where(attack == one, others[0] if others else one, one).astype(np.int32)
        none = np.full(len(dump), -1, dtype=np.int32)
        jobs = Jobs(fill_engine=none, dump_engine=dump, vacuum_only=np.zeros(len(dump), dtype=np.bool_))
        flow, reaches = supply_line(scene, jobs, address)
        carries[:, k] = np.where(reaches, flow, 0.0)
    return line_class.reshape(-1).astype(np.int32), carries
