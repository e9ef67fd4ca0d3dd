"""What the timeline says of the chosen cases: at dispatch, called on arrival, and by when to call."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preplan.plan import Strip
from preplan.planning.assignment import Scene
from preplan.planning.fireground import Crews, called_later, case_table, haulers
from preplan.records import Columns, FloatArray, IntArray
from preplan.water.timeline_batch import GapTable, call_by_min, gaps, held_flows
from preplan.water.timeline_batch import strips as drawn_strips
from preplan.water.timeline_levels import Rows
from preplan.water.timeline_table import CaseTable

PIECE_CASES = 16_384
"""Cases run at once: about a kilobyte each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Minutes(Columns):
    """One way of calling the units, in many cases: arrays of shape (cases,)."""

    uninterrupted_gpm: FloatArray
    tight_min: FloatArray
    """Minute at which it is tightest; NaN where draft or supply line hold it."""
    limited_by: IntArray
    """Codes into `shuttle.LIMITS`; -1 where it is what limits the steady flow."""
    first_water_min: FloatArray
    established_min: FloatArray
    """The first refilled load starts to dump."""
    gap_min: FloatArray
    first_gap_min: FloatArray
    gap_stretches: FloatArray
    longest_gap_min: FloatArray
    short_gal: FloatArray
    mws_by_min: FloatArray


def on_arrival_min(scene: Scene, address: IntArray) -> FloatArray:
    """Give the minute at which units beyond the first level are called when the attack engine sizes up; (cases,)."""
    attack = scene.response.attack_engine[address]
    arrival = scene.response.arrival_min[address, np.maximum(attack, 0)]
    return np.where(attack >= 0, arrival, 0.0) + scene.rules.shuttle.size_up_min


def at_dispatch(scene: Scene, run: Crews) -> Minutes:
    """Run the timelines with every unit alerted at minute 0."""
    return _in_pieces(scene, run, None)


def on_arrival(scene: Scene, run: Crews) -> Minutes:
    """Run them with the units beyond the first level called by the officer who arrives first."""
    return _in_pieces(scene, run, on_arrival_min(scene, run.address))


def _in_pieces(scene: Scene, run: Crews, call_min: FloatArray | None) -> Minutes:
    parts = []
    for first in range(0, max(len(run), 1), PIECE_CASES):
        rows = np.arange(first, min(first + PIECE_CASES, len(run)))
        parts.append(_minutes(table_of(scene, run.rows(rows), None if call_min is None else call_min[rows])))
    return Minutes(**{word: np.concatenate([getattr(part, word) for part in parts]) for word in parts[0].__slots__})


def table_of(scene: Scene, run: Crews, call_min: FloatArray | None) -> CaseTable:
    """Write cases as the timeline reads them; `call_min` (cases,) alerts the units beyond the first level."""
    if call_min is None:
        return case_table(scene, run)
    return case_table(scene, *called_later(scene, run, call_min))


def _minutes(table: CaseTable) -> Minutes:
    held, books = held_flows(table), gaps(table)
    kept = {word: getattr(books, word) for word in GapTable.__slots__ if word in Minutes.__slots__}
    return Minutes(
        uninterrupted_gpm=held.uninterrupted_gpm,
        tight_min=held.tight_min,
        limited_by=held.limited_by.astype(np.int32),
        **kept,
    )


def call_by(scene: Scene, run: Crews) -> FloatArray:
    """Find the latest whole minute at which the units beyond the first level can be called with no dry minute.

    (cases,); NaN where even a call at minute 0 leaves one.
    """
    latest = np.full(len(run), np.nan)
    for first in range(0, len(run), PIECE_CASES):
        part = run.rows(np.arange(first, min(first + PIECE_CASES, len(run))))
        table = case_table(scene, part)
        last = table.attack_arrival_min + table.full_flow_after_min + table.required_min
        known = last[np.isfinite(last)]

        def table_at(rows: Rows, minute: int, part: Crews = part) -> CaseTable:
            return table_of(scene, part.rows(rows), np.full(len(rows), float(minute)))

        if known.size:
            latest[first : first + len(part)] = call_by_min(table_at, len(part), int(known.max()))
    return latest


def strips(scene: Scene, run: Crews, call_min: FloatArray) -> tuple[Strip, ...]:
    """Draw up the strip of each case under its required flow; NaN in `call_min` (cases,) alerts all at minute 0."""
    table = table_of(scene, run, np.nan_to_num(call_min))
    names = [scene.units[unit].unit_id for unit in haulers(scene)]
    return tuple(drawn_strips(table, names))
