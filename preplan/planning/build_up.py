"""What a shuttle holds once it has built up, where a late engine or tanker keeps it from holding much at once.

Where no level meets, the uninterrupted flow may be a trickle for the sake of a few minutes: the fill engine comes four
minutes after full flow is asked for, and from then on 700 gpm come round. Crews are told from which minute how much is
held, if no more than the attack flow is drawn until then. Nothing here changes a level, a fill site or a status.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from preplan.plan_tables import MORE_LATER, MUCH_MORE, AnswerTable, BuildUpTable, Flag
from preplan.planning.assignment import Scene
from preplan.planning.fireground import Crews, steady
from preplan.planning.flows import Flows
from preplan.planning.levels import Worked
from preplan.planning.minutes import held_from
from preplan.records import FloatArray, IntArray, joined

BUILT_UP = 0.8
"""Share of the steady flow that counts as built up (this program's choice)."""
WAITS_MIN = (5.0, 10.0, 15.0, 20.0, 30.0, 45.0)
"""Minutes for which full flow is not yet asked for, tried in turn (this program's choice)."""


def build_ups(
    worked: Sequence[Worked], answers: AnswerTable, seasons: Sequence[tuple[Flows, IntArray]] = ()
) -> BuildUpTable:
    """Find for each address that no level meets from which minute the level shown holds much more; by address.

    From the first minute tried from which the built up share of the steady flow is held; else from that which holds
    most. Cases are all alerted at minute 0. `seasons` has the settled cases, (addresses, levels), of every season, -1
    where it decides or no tanker comes: what is told is held in all the others too.
    """
    parts = [_of_season(part, answers, seasons) for part in worked]
    every = joined([BuildUpTable.none(), *parts])
    return every.rows(np.argsort(every.address, kind="stable"))


def _of_season(part: Worked, answers: AnswerTable, seasons: Sequence[tuple[Flows, IntArray]]) -> BuildUpTable:
    """Ask the cases whose worst season of the roads it is."""
    address = part.run.address
    asked = (answers.status[address] == "not met") & (answers.level[address] == part.run.level)
    rows = np.flatnonzero(asked & (part.steady.sustained_gpm > MUCH_MORE * part.found.gpm))
    rules, run = part.scene.rules.shuttle, part.run.rows(rows)
    waits_min = rules.full_flow_min + np.array(WAITS_MIN)
    held, steady_gpm = _held(part.scene, run, waits_min), part.steady.sustained_gpm[rows]
    for flows, row_of in seasons:
        row = row_of[run.address, run.level]
        there = np.flatnonzero(row >= 0)
        then = flows.settled_rows(row[there]).run
        held[there] = np.minimum(held[there], _held(flows.scene, then, waits_min))
        steady_gpm[there] = np.minimum(steady_gpm[there], steady(flows.scene, then).sustained_gpm)
    enough = held >= BUILT_UP * steady_gpm[:, None]
    pick: IntArray = np.where(enough.any(axis=1), enough.argmax(axis=1), held.argmax(axis=1)).astype(np.int32)
    gpm = np.take_along_axis(held, pick[:, None], axis=1)[:, 0]
    first = answers.first_arrival_min[run.address]
    told = BuildUpTable(address=run.address, from_min=first + waits_min[pick], gpm=gpm, steady_gpm=steady_gpm)
    return told.rows(np.flatnonzero(gpm > np.maximum(MUCH_MORE * part.found.gpm[rows], 1.0)))


def _held(scene: Scene, run: Crews, waits_min: FloatArray) -> FloatArray:
    """Give what cases hold from each of some minutes after the first engine's arrival on, (cases, minutes)."""
    return np.stack([held_from(scene, run, wait) for wait in waits_min.tolist()], axis=1)


def with_build_ups(answers: AnswerTable, found: BuildUpTable) -> AnswerTable:
    """Flag the addresses at which much more is held later."""
    later = zip(found.address.tolist(), np.floor(found.gpm).tolist(), strict=True)
    return answers.flagged((address, Flag(MORE_LATER, gpm, "gpm")) for address, gpm in later)
