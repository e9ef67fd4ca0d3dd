"""What a page needs to work the steady flow out anew: with sites off, tankers out, or slower roads.

Nothing is answered here. The columns are the terms of the closed form as planning used them, each stored once:
round trips of the kept pairs in each season of the roads, who could haul, the engines' jobs, what a tanker does at
either end, every cap.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from preplan.plan import WhatIf
from preplan.plan_tables import TripTable
from preplan.planning.assignment import Scene, crews, lift_share, site_rates, stores, supply_line, units_draft_gpm
from preplan.planning.response import Jobs
from preplan.records import BoolArray, FloatArray, IntArray
from preplan.water.shuttle import storage_gpm
from preplan.water.tanker import Tankers, handling

PIECE_CASES = 200_000
"""Cases worked on at once."""


def what_if_of(
    scene: Scene,
    trips: TripTable,
    seasons: Sequence[Scene],
    road: IntArray,
    roads_of: tuple[int, ...],
    attack_drafts: BoolArray,
) -> WhatIf:
    """Gather the terms of the steady flow over every kept trip.

    Engines have the jobs of the season of the roads that decides, `road` (addresses,) of `seasons`: in another one some
    may have no way to a fill site. `roads_of` gives the season of the roads of each of the plan's. `attack_drafts`
    (addresses, levels) is where the plan has the attack engine draft.
    """
    rules = scene.rules.shuttle
    job, jobs, line_gpm = _jobs(seasons, road, attack_drafts)
    order, orders = _orders(scene)
    minutes, duration = np.unique(scene.needs.required_min, return_inverse=True)
    storage, refill = stores(scene.sites)
    rate, fill_gpm, rate_gpm, share = _rates(scene)
    hold = handling(Tankers.of(scene.units), fill_gpm, rules, lift_share=share)
    return WhatIf(
        trip_min=_trip_min(scene, trips),
        then_min=np.stack([_trip_min(season, trips) for season in seasons]),
        roads_of=roads_of,
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
        draft_gpm=units_draft_gpm(scene),
        line=jobs[:, 4],
        line_gpm=line_gpm,
    )


def _trip_min(scene: Scene, trips: TripTable) -> FloatArray:
    """Take the round trips of kept pairs with each vehicle class, (cuts, trips)."""
    return np.stack([cut.trip_min[trips.address, trips.site] for cut in scene.cuts])


def _orders(scene: Scene) -> tuple[IntArray, tuple[tuple[int, ...], ...]]:
    """List who could haul to each address by arrival, each distinct list once, and name each address's."""
    response = scene.response
    rank = np.argsort(response.arrival_min, axis=1, kind="stable").astype(np.int32)
    hauls = np.take_along_axis(response.hauls, rank, axis=1)
    lists, order = np.unique(np.where(hauls, rank, -1), axis=0, return_inverse=True)
    return order.reshape(-1).astype(np.int32), tuple(tuple(u for u in row if u >= 0) for row in lists.tolist())


def _jobs(seasons: Sequence[Scene], road: IntArray, attack_drafts: BoolArray) -> tuple[IntArray, IntArray, FloatArray]:
    """List the engines' jobs, (rows, 5, levels, sites), each distinct set once, and name each address's.

    The five are attack, fill and dump engine, 1 where only vacuum tankers can run, and the number of the supply line.
    With them what each address's lines carry by their number, (addresses, lines) gpm, 0 where none reaches.
    """
    addresses, levels = seasons[0].response.engines.shape[:2]
    shape = (levels, len(seasons[0].sites))
    found = np.empty((addresses, 5, *shape), dtype=np.int16)
    lines: list[tuple[IntArray, FloatArray]] = []
    for scene, rows in _pieces(seasons, road, levels * len(seasons[0].sites)):
        a, lv, s = (i.ravel().astype(np.int32) for i in np.indices((rows.size, *shape)))
        jobs, _ = crews(scene, rows[a], s, lv, attack_drafts=attack_drafts[rows[a], lv])
        attack = scene.response.attack_engine[rows[a]]
        line, carries = _numbered(supply_line(scene, jobs, rows[a]).gpm.reshape(rows.size, -1))
        lines.append((rows, carries))
        for k, column in enumerate((attack, jobs.fill_engine, jobs.dump_engine, jobs.vacuum_only, line)):
            found[rows, k] = column.reshape(-1, *shape)
    flat = np.ascontiguousarray(found.reshape(addresses, -1))
    whole = flat.view(np.dtype((np.void, flat.dtype.itemsize * flat.shape[1])))[:, 0]
    _, where, job = np.unique(whole, return_index=True, return_inverse=True)
    line_gpm = np.full((addresses, max((carries.shape[1] for _, carries in lines), default=0)), np.inf)
    for rows, carries in lines:
        line_gpm[rows, : carries.shape[1]] = carries
    return job.reshape(-1).astype(np.int32), found[where].astype(np.int32), line_gpm


def _pieces(seasons: Sequence[Scene], road: IntArray, cases: int) -> Iterator[tuple[Scene, IntArray]]:
    """Give the addresses of each season of the roads, some at a time, an address being so many cases."""
    step = max(1, PIECE_CASES // max(1, cases))
    for season, scene in enumerate(seasons):
        mine = np.flatnonzero(road == season).astype(np.int32)
        for first in range(0, mine.size, step):
            yield scene, mine[first : first + step]


def _numbered(gpm: FloatArray) -> tuple[IntArray, FloatArray]:
    """Rank the distinct flows of each address, (addresses, cases), from the least; give ranks, and flows by rank."""
    order = np.argsort(gpm, axis=1, kind="stable")
    ranked = np.take_along_axis(gpm, order, axis=1)
    place = np.zeros(gpm.shape, dtype=np.int32)
    place[:, 1:] = np.cumsum(ranked[:, 1:] != ranked[:, :-1], axis=1)
    number = np.empty_like(place)
    np.put_along_axis(number, order, place, axis=1)
    flows = np.full((len(gpm), int(place.max(initial=0)) + 1), np.inf)
    np.put_along_axis(flows, place, ranked, axis=1)
    return number, flows


def _rates(scene: Scene) -> tuple[IntArray, FloatArray, FloatArray, FloatArray]:
    """Give the rates at each site by the engine that pumps there; the last row is that of no engine.

    Returns the number of the set of rates, (units + 1, sites); and, by that number, the rate into one tanker and that
    of the whole site, gpm, and the share that is lifted there.
    """
    units, sites = len(scene.units), len(scene.sites)
    engine = np.repeat(np.append(np.arange(units), -1), sites).astype(np.int32)
    site = np.tile(np.arange(sites, dtype=np.int32), units + 1)
    none = np.zeros(len(engine), dtype=np.int32)
    jobs = Jobs(level=none, fill_engine=engine, dump_engine=engine, vacuum_only=none > 0, second_engine=none - 1)
    rates = np.column_stack([*site_rates(scene, site, jobs), lift_share(scene, site)])
    sets, rate = np.unique(rates, axis=0, return_inverse=True)
    return rate.reshape(units + 1, sites).astype(np.int32), sets[:, 0], sets[:, 1], sets[:, 2]
