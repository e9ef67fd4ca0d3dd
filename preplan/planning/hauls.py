"""What each tanker of the chosen cases does: its loads, its minutes in queues, and whether it brings anything."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from preplan.plan_tables import HaulTable
from preplan.planning.fireground import called_later, case_table, haulers
from preplan.planning.levels import Worked
from preplan.planning.minutes import on_arrival_min
from preplan.planning.pieces import in_pieces
from preplan.records import BoolArray, FloatArray, joined
from preplan.water.same import SAME
from preplan.water.timeline_batch import QueueTable, brought_gpm, held_flows, queues
from preplan.water.timeline_clock import Rows


def haul_table(worked: Sequence[Worked]) -> HaulTable:
    """Lay out every tanker in use at each address and level, of all seasons of the roads."""
    whole = joined([_of_season(part) for part in worked])
    order = np.lexsort((whole.level, whole.address))  # stable: by arrival within a case
    return whole.rows(order)


def _of_season(part: Worked) -> HaulTable:
    """Lay out one season's; tankers of a case by arrival."""
    run, haul = part.run, haulers(part.scene)
    arrival = np.where(run.used[:, haul], part.scene.response.arrival_min[np.ix_(run.address, haul)], np.inf)
    told, adds = _queues(part, np.zeros(len(run))), _adding(part, arrival)
    called = _queues(part, on_arrival_min(part.scene, run.address))
    order = np.argsort(arrival, axis=1, kind="stable")
    case, place = np.nonzero(np.isfinite(np.take_along_axis(arrival, order, axis=1)))
    at = (case, order[case, place])
    return HaulTable(
        address=run.address[case],
        level=run.level[case],
        unit=haul[at[1]],
        loads=told.loads[at],
        fill_wait_min=told.fill_wait_min[at],
        dump_wait_min=told.dump_wait_min[at],
        room_wait_min=told.room_wait_min[at],
        called_loads=called.loads[at],
        called_fill_wait_min=called.fill_wait_min[at],
        called_dump_wait_min=called.dump_wait_min[at],
        called_room_wait_min=called.room_wait_min[at],
        without_gpm=part.found.one_out_gpm[at],
        adds=adds[at],
    )


def _queues(part: Worked, call_min: FloatArray) -> QueueTable:
    """Count loads and minutes with the units beyond the first level alerted at `call_min` (cases,)."""
    every = np.arange(len(part.run))
    later = [called_later(part.scene, part.run.rows(rows), call_min[rows]) for rows in in_pieces(every) or [every]]
    return joined([queues(case_table(part.scene, *those)) for those in later])


def _adding(part: Worked, arrival_min: FloatArray) -> BoolArray:
    """Tell which tankers add to what is brought, (cases, haulers): the last to arrive goes while none is missed.

    `arrival_min` (cases, haulers) is inf where a tanker is not in use. A tanker that is not sent brings no portable
    tank either.
    """
    adds = np.isfinite(arrival_min)
    rows = np.flatnonzero(adds.any(axis=1))
    without = np.zeros(len(adds))
    while rows.size:
        for some in in_pieces(rows):
            last = _last(np.where(adds, arrival_min, np.inf)[some])
            fewer = adds[some].copy()
            fewer[np.arange(some.size), last] = False
            table = case_table(part.scene, part.run.rows(some))
            table = replace(table, arrival_min=np.where(fewer, table.arrival_min, np.inf))
            without[some] = brought_gpm(table, held_flows(table).uninterrupted_gpm)
        rows = rows[without[rows] >= part.found.brings_gpm[rows] * (1.0 - 10 * SAME)]
        adds[rows, _last(np.where(adds, arrival_min, np.inf)[rows])] = False
        rows = rows[adds[rows].any(axis=1)]
    return adds


def _last(arrival_min: FloatArray) -> Rows:
    """Find who comes last of those who come, (cases,): of equal arrivals the last unit_id."""
    comes = np.where(np.isfinite(arrival_min), arrival_min, -np.inf)
    return np.asarray(comes.shape[1] - 1 - comes[:, ::-1].argmax(axis=1), dtype=np.intp)
