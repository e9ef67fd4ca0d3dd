"""Where another fill site brings much more once the shuttle runs than the one that is best from the first minute on.

A fill site is chosen by what it holds without a break from when full flow is asked for. Where no level meets, units
that come late may decide that: a far site that leaves the early engines at the fire holds more than a near one that
waits for a late one, and brings less for the rest of the time. Nothing here changes a level, a site or a status: crews
are told.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from preplan.plan_tables import MORE_LATER, AnswerTable, Flag, LaterTable, LevelTable, SeasonLine, standing
from preplan.planning.assignment import Scene, deliver
from preplan.planning.fireground import PIECE_CASES
from preplan.records import FloatArray, IntArray, joined

MUCH_MORE = 1.25
"""A steady flow that is so much more than that of the chosen site is told (this program's choice)."""


def later_sites(scene: Scene, levels: LevelTable, answers: AnswerTable, seasons: Sequence[SeasonLine]) -> LaterTable:
    """Find for each address that no level meets the fill site of the largest steady flow, where it is much more.

    Of the level shown, with all its units, in the season that decides; of equal flows the shorter round trip. It is
    held against what the plan brings, and against all units at the planned site: nobody moves for what he has there. At
    most one row an address, by address.
    """
    asked = (answers.status == "not met") & (answers.level >= 0) & (answers.shown(levels.site) >= 0)
    address = np.flatnonzero(asked)
    season_of = levels.season[address, answers.level[address]]
    case, site = (i.astype(np.int32) for i in np.nonzero(standing(seasons, len(scene.sites))[season_of]))
    parts = list(_flows(scene, address[case].astype(np.int32), site, answers.level))
    if not parts:
        return LaterTable.none()
    every = joined(parts)
    has_gpm = np.nan_to_num(answers.shown_flow(levels.sustained_gpm))
    own = every.site == answers.shown(levels.site)[every.address]
    has_gpm[every.address[own]] = np.maximum(has_gpm[every.address[own]], every.gpm[own])
    much = every.rows(np.flatnonzero(~own & (every.gpm > np.maximum(has_gpm[every.address] * MUCH_MORE, 1.0))))
    order = np.lexsort((much.site, much.trip_min, -np.round(much.gpm, 6), much.address))
    _, first = np.unique(much.address[order], return_index=True)
    return much.rows(order[first].astype(np.int32))


def _flows(scene: Scene, address: IntArray, site: IntArray, level: IntArray) -> Iterator[LaterTable]:
    """Work out the steady flows of some pairs, at the level that each address is shown, pieces at a time."""
    for first in range(0, len(address), PIECE_CASES):
        part = slice(first, first + PIECE_CASES)
        a, s = address[part], site[part]
        found = deliver(scene, a, s, level[a])
        engine, drafts = found.jobs.fill_engine, found.jobs.dump_engine
        at_site = _arrives(scene.response.site_arrival_min, s, engine)
        yield LaterTable(
            address=a,
            site=s,
            gpm=np.nan_to_num(found.shuttle.sustained_gpm),
            trip_min=found.trip_min,
            engine=engine,
            dump_engine=drafts,
            ready_min=np.maximum(at_site, _arrives(scene.response.arrival_min, a, drafts)),
        )


def _arrives(arrival_min: FloatArray, place: IntArray, unit: IntArray) -> FloatArray:
    """Look up when units come to fill sites or addresses; 0 where none is asked for."""
    there: FloatArray = np.where(unit >= 0, arrival_min[place, np.maximum(unit, 0)], 0.0)
    return there


def with_later(answers: AnswerTable, later: LaterTable) -> AnswerTable:
    """Flag the addresses at which another fill site brings much more later."""
    flags = list(answers.flags)
    for address, gpm in zip(later.address.tolist(), later.gpm.tolist(), strict=True):
        flags[address] = (*flags[address], Flag(MORE_LATER, float(np.floor(gpm)), "gpm"))
    return replace(answers, flags=tuple(flags))
