"""What a rater of hauled water asks of the chosen cases: a flow soon after the first engine arrives, for two hours."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from preplan.plan_tables import RaterTable
from preplan.planning.levels import Worked
from preplan.planning.minutes import held_from
from preplan.rules import RATER_MIN, RATER_RAISE_MIN, RATER_START_MIN


def rater_table(worked: Sequence[Worked], shape: tuple[int, ...]) -> RaterTable:
    """Ask every chosen case of all seasons of the roads; `shape` is (addresses, levels)."""
    early, raised = np.full(shape, np.nan), np.full(shape, np.nan)
    for part in worked:
        cell = part.run.address, part.run.level
        early[cell] = held_from(part.scene, part.run, RATER_START_MIN, RATER_MIN)
        raised[cell] = held_from(part.scene, part.run, RATER_RAISE_MIN, RATER_MIN)
    return RaterTable(early_gpm=early, raised_gpm=raised)
