"""What happened in lockstep, kept for drawing: levels, dry stretches and dumps of each case."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from preplan.plan_cards import Strip
from preplan.records import FloatArray
from preplan.water.timeline_levels import Clock, Rows
from preplan.water.timeline_table import CaseTable

_APART_MIN = 1e-9  # points of time nearer than this are one


class Diary:
    """Notes of many cases, each note an array over some of them."""

    def __init__(self) -> None:
        """Begin with empty pages."""
        self._levels: list[tuple[Rows, FloatArray, FloatArray]] = []
        self._dry: list[tuple[Rows, FloatArray, FloatArray]] = []
        self._dumps: list[tuple[Rows, Rows, FloatArray]] = []

    def level(self, rows: Rows, minute: FloatArray, on_scene_gal: FloatArray) -> None:
        """Note the water on scene at a minute of each row; between two notes it changes in a straight line."""
        self._levels.append((rows, minute, on_scene_gal))

    def dry(self, rows: Rows, start_min: FloatArray, stop_min: FloatArray) -> None:
        """Note a dry stretch, or the next part of one."""
        self._dry.append((rows, start_min, stop_min))

    def dump(self, rows: Rows, who: Rows, minute: FloatArray) -> None:
        """Note the minute at which a load begins to flow."""
        self._dumps.append((rows, who, minute))

    def strips(self, table: CaseTable, clock: Clock, unit_ids: Sequence[str]) -> list[Strip]:
        """Write every case's strip; `unit_ids` name the tankers in the order of their columns."""
        levels = _by_case(self._levels, len(table))
        dry = _by_case(self._dry, len(table))
        dumps = _by_case([(rows, minute, who.astype(np.float64)) for rows, who, minute in self._dumps], len(table))
        return [_strip(table, clock, row, unit_ids, (levels[row], dry[row], dumps[row])) for row in range(len(table))]


Notes = tuple[FloatArray, FloatArray]
"""Two columns of one case, in the order of noting."""


def _by_case(pages: Sequence[tuple[Rows, FloatArray, FloatArray]], cases: int) -> list[Notes]:
    """Hand each case its notes, in the order of noting."""
    if not pages:
        return [(np.empty(0), np.empty(0))] * cases
    row, first, second = (np.concatenate([page[column] for page in pages]) for column in range(3))
    order = np.argsort(row, kind="stable")
    edges = np.searchsorted(row[order], np.arange(cases + 1))
    first, second = first[order], second[order]
    return [(first[a:b], second[a:b]) for a, b in pairwise(edges.tolist())]


def _strip(
    table: CaseTable, clock: Clock, row: int, unit_ids: Sequence[str], notes: tuple[Notes, Notes, Notes]
) -> Strip:
    """Write one case's strip."""
    (minute, gal), dry, (dumped_min, who) = notes
    end = clock.end[row]
    kept = np.ones(len(minute), dtype=np.bool_)
    kept[1:] = (np.diff(minute) > _APART_MIN) | (np.abs(np.diff(gal)) > _APART_MIN)
    steps = sorted({
        float(clock.first_water[row]): float(clock.attack_gpm[row]),
        float(clock.full[row]): float(table.required_gpm[row]),
        float(end): 0.0,
    }.items())  # fmt: skip
    runs = bool(np.isfinite(end))
    arrival = table.arrival_min[row]
    here = np.flatnonzero(arrival < end)
    here = here[np.argsort(arrival[here], kind="stable")]
    order = np.lexsort((who, dumped_min))
    return Strip(
        minute=minute[kept],
        on_scene_gal=gal[kept],
        demand_min=np.array([at for at, _ in steps] if runs else []),
        demand_gpm=np.array([gpm for _, gpm in steps] if runs else []),
        gaps_min=_joined(*dry),
        arrivals=tuple((float(arrival[t]), unit_ids[t]) for t in here.tolist()) if runs else (),
        dumps=tuple((float(dumped_min[i]), unit_ids[int(who[i])]) for i in order.tolist()),
    )


def _joined(start_min: FloatArray, stop_min: FloatArray) -> FloatArray:
    """Join dry stretches that touch, (g, 2)."""
    stretches: list[list[float]] = []
    for start, stop in zip(start_min.tolist(), stop_min.tolist(), strict=True):
        if stretches and start - stretches[-1][1] <= _APART_MIN:
            stretches[-1][1] = stop
        else:
            stretches.append([start, stop])
    return np.array(stretches, dtype=np.float64).reshape(-1, 2)
