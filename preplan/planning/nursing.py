"""Who pumps straight into the attack engine before the dump site is ready: at each address, in each season of the plan.

Cards tell it of the address they are drawn for; dispatch sends by every house, and in every month.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from preplan.months import months_of
from preplan.plan_tables import FIRST_ALARM_IN, AnswerTable, NurseTable, SeasonLine
from preplan.planning.assignment import Scene
from preplan.planning.fireground import Crews
from preplan.planning.minutes import called_in, nursing_rows, on_arrival_min, strips
from preplan.planning.searched import Searched
from preplan.records import BoolArray, FloatArray, IntArray, joined


def nurse_table(searched: Searched, answers: AnswerTable, required_gpm: FloatArray) -> NurseTable:
    """List who nurses at the level that is shown, in every season; by address, then season.

    Where no route holds in the season that decides, at the level that is sent in the others. `required_gpm` is
    (addresses,).
    """
    parts = [_on_roads(searched, road, answers, required_gpm) for road in range(len(searched.flows))]
    table = joined(parts)
    return table.rows(np.lexsort((table.season, table.address)))


def _on_roads(searched: Searched, road: int, answers: AnswerTable, required_gpm: FloatArray) -> NurseTable:
    """List them for the seasons of the plan that share a season of the roads: most have most cases in common."""
    seasons, asked = [], []
    for at, line in enumerate(searched.seasons):
        if searched.of_line[at] == road:
            level = _level_then(line, answers, required_gpm)
            row = np.where(level >= 0, searched.rows[at][np.arange(len(level)), level], -1)
            asked.append(row[row >= 0])
            seasons.append(np.full(asked[-1].size, at, dtype=np.int32))
    flows, season, rows = searched.flows[road], np.concatenate(seasons), np.concatenate(asked)
    late = _waits(flows.scene, answers, flows.settled_rows(rows).run, [searched.seasons[at] for at in season.tolist()])
    cases, back = np.unique(np.column_stack([rows, late]), axis=0, return_inverse=True)
    run = flows.settled_rows(cases[:, 0].astype(np.int32)).run
    call_min = np.where(cases[:, 1] > 0, on_arrival_min(flows.scene, run.address), 0.0)
    told = _table(flows.scene, run, call_min)
    at_row = np.full(len(cases), -1)
    at_row[told.season] = np.arange(len(told))
    mine = at_row[back.reshape(-1)]
    return replace(told.rows(mine[mine >= 0]), season=season[mine >= 0])


def _level_then(line: SeasonLine, answers: AnswerTable, required_gpm: FloatArray) -> IntArray:
    """Give the level that is sent to each address in a season, (addresses,); -1: none."""
    level = answers.level.copy()
    for a in np.flatnonzero(answers.status == "no route").tolist():
        level[a] = line.level_of([a], required_gpm[[a]])
    return level


def _waits(scene: Scene, answers: AnswerTable, run: Crews, lines: Sequence[SeasonLine]) -> BoolArray:
    """Tell in which cases the units beyond the first level are called on arrival, (cases,); each has its season."""
    late = answers.in_time(run.address)
    for case in np.flatnonzero(late).tolist():
        flags = (flag for flag in answers.flags[run.address[case]] if flag.code == FIRST_ALARM_IN)
        late[case] = not any({*lines[case].months} & {*months_of(str(flag.value))} for flag in flags)
    cut_off = np.flatnonzero((answers.status[run.address] == "no route") & (run.level > 0))
    late[cut_off] = called_in(scene, run.rows(cut_off)).in_time
    return late


def _table(scene: Scene, run: Crews, call_min: FloatArray) -> NurseTable:
    """List the cases in which a tanker nurses; the number of the case stands in the place of the season."""
    cases = nursing_rows(scene, run, call_min)
    drawn = strips(scene, run.rows(cases), call_min[cases])
    told = [(case, one, one.nursed) for case, one in zip(cases.tolist(), drawn, strict=True) if one.nursed is not None]
    index = {unit.unit_id: at for at, unit in enumerate(scene.units)}
    case = np.array([case for case, _, _ in told], dtype=np.int32)
    address = run.address[case]
    return NurseTable(
        address=address,
        season=case,
        unit=np.array([index[nursed.unit_id] for _, _, nursed in told], dtype=np.int32),
        engine=scene.response.attack_engine[address].astype(np.int32),
        start_min=np.array([nursed.start_min for _, _, nursed in told]),
        stop_min=np.array([nursed.stop_min for _, _, nursed in told]),
        dumps=np.array([nursed.dumps for _, _, nursed in told], dtype=np.bool_),
        empty_from_min=np.array([one.empty_from_min for _, one, _ in told]),
    )
