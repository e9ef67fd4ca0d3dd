"""What a rater of hauled water asks of the chosen cases: a flow soon after the first engine arrives, for two hours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from preplan.plan_tables import RaterTable
from preplan.planning.assignment import Scene
from preplan.planning.fireground import PIECE_CASES, Crews, case_table
from preplan.planning.levels import Worked
from preplan.records import FloatArray
from preplan.rules import RATER_MIN, RATER_RAISE_MIN, RATER_START_MIN
from preplan.water.timeline_batch import held_flows


def rater_table(worked: Sequence[Worked], shape: tuple[int, ...]) -> RaterTable:
    """Ask every chosen case of all seasons of the roads; `shape` is (addresses, levels)."""
    early, raised = np.full(shape, np.nan), np.full(shape, np.nan)
    for part in worked:
        cell = part.run.address, part.run.level
        early[cell] = _held_from(part.scene, part.run, RATER_START_MIN)
        raised[cell] = _held_from(part.scene, part.run, RATER_RAISE_MIN)
    return RaterTable(early_gpm=early, raised_gpm=raised)


def _held_from(scene: Scene, run: Crews, after_min: float) -> FloatArray:
    """Give the largest flow that each case holds from so long after the first engine's arrival on, (cases,) gpm."""
    gpm = np.full(len(run), np.nan)
    for first in range(0, len(run), PIECE_CASES):
        rows = np.arange(first, min(first + PIECE_CASES, len(run)))
        table = case_table(scene, run.rows(rows))
        asked = {"full_flow_after_min": after_min, "required_min": RATER_MIN}
        columns = {word: np.full(len(rows), number) for word, number in asked.items()}
        gpm[rows] = held_flows(replace(table, **columns)).uninterrupted_gpm
    return gpm
