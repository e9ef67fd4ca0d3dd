"""Many timeline cases as columns: one row a case."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import MISSING, dataclass, fields
from typing import Any

import numpy as np

from preplan.records import Columns, FloatArray
from preplan.water.timeline_case import NEVER, Case, PortableTank, Tanker

SCALAR_WORDS = (
    "attack_arrival_min", "booster_gal", "dump_engine_arrival_min", "fill_engine_arrival_min", "required_gpm",
    "required_min", "required_gal", "attack_gpm", "attack_setup_min", "full_flow_after_min", "dump_setup_min",
    "tank_setup_min", "fill_setup_min", "positions", "dump_places", "site_gpm", "storage_gal", "refill_gpm",
    "second_engine_arrival_min", "second_setup_min", "second_positions", "second_site_gpm", "second_storage_gal",
    "second_refill_gpm", "room_fraction", "dead_fraction", "draft_gpm", "supply_gpm", "hose_ready_min",
)  # fmt: skip
"""Columns (cases,)."""
TANKER_WORDS = (
    "arrival_min", "usable_gal", "fill_gpm", "dump_gpm", "out_min", "back_min", "fill_hookup_min", "dump_hookup_min",
    "fill_maneuver_min", "dump_maneuver_min", "portable_gal", "has_pump", "pump_gpm", "self_fill", "second_site",
)  # fmt: skip
"""Columns (cases, tankers)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseTable(Columns):
    """Cases as columns, their fields as in `Case` and `Tanker`; no surge.

    Tankers lie on the last axis in code point order of unit_id. One that is not of a case has arrival inf.
    """

    attack_arrival_min: FloatArray
    booster_gal: FloatArray
    dump_engine_arrival_min: FloatArray
    fill_engine_arrival_min: FloatArray
    """NaN: the site needs no engine; inf: none comes."""
    required_gpm: FloatArray
    required_min: FloatArray
    required_gal: FloatArray
    attack_gpm: FloatArray
    attack_setup_min: FloatArray
    full_flow_after_min: FloatArray
    dump_setup_min: FloatArray
    tank_setup_min: FloatArray
    fill_setup_min: FloatArray
    positions: FloatArray
    dump_places: FloatArray
    site_gpm: FloatArray
    storage_gal: FloatArray
    refill_gpm: FloatArray
    second_engine_arrival_min: FloatArray
    """NaN and inf as those of the fill engine."""
    second_setup_min: FloatArray
    second_positions: FloatArray
    second_site_gpm: FloatArray
    second_storage_gal: FloatArray
    second_refill_gpm: FloatArray
    room_fraction: FloatArray
    dead_fraction: FloatArray
    draft_gpm: FloatArray
    supply_gpm: FloatArray
    hose_ready_min: FloatArray
    arrival_min: FloatArray
    """(cases, tankers), as all that follow."""
    usable_gal: FloatArray
    fill_gpm: FloatArray
    dump_gpm: FloatArray
    out_min: FloatArray
    back_min: FloatArray
    fill_hookup_min: FloatArray
    dump_hookup_min: FloatArray
    fill_maneuver_min: FloatArray
    dump_maneuver_min: FloatArray
    portable_gal: FloatArray
    has_pump: FloatArray
    """1 yes, 0 no."""
    pump_gpm: FloatArray
    self_fill: FloatArray
    second_site: FloatArray
    other_arrival_min: FloatArray
    """(cases, other tanks): portable tanks that come on other units; inf: none."""
    other_gal: FloatArray

    @classmethod
    def spread(cls, cases: int, tankers: int, **columns: FloatArray | float) -> CaseTable:
        """Spread numbers and arrays to full columns; what is not given has the default of `Case` or `Tanker`."""
        full: dict[str, FloatArray] = {}
        for words, owner, shape in ((SCALAR_WORDS, Case, (cases,)), (TANKER_WORDS, Tanker, (cases, tankers))):
            default = {field.name: field.default for field in fields(owner)}
            for word in words:
                value = columns.pop(word, None)
                given = default[word] if value is None else value
                if given is MISSING:
                    raise TypeError(f"column {word} is not given")
                full[word] = np.empty(shape)
                full[word][...] = given  # quicker than to broadcast it and copy that
        for word in ("other_arrival_min", "other_gal"):
            full[word] = np.asarray(columns.pop(word, np.empty((cases, 0))), dtype=np.float64)
        if columns:
            raise TypeError(f"no such columns: {', '.join(columns)}")
        return cls(**full)

    @classmethod
    def of(cls, cases: Sequence[Case]) -> CaseTable:
        """Write cases as columns, each with its own tankers by unit_id."""
        tankers = max((len(case.order) for case in cases), default=0)
        others = max((len(case.other_tanks) for case in cases), default=0)
        columns: dict[str, FloatArray] = {
            word: np.array([_number(getattr(case, word)) for case in cases], dtype=np.float64) for word in SCALAR_WORDS
        }
        for word in TANKER_WORDS:
            blank = NEVER if word == "arrival_min" else 0.0
            columns[word] = np.full((len(cases), tankers), blank)
            for row, case in enumerate(cases):
                columns[word][row, : len(case.order)] = [float(getattr(t, word)) for t in case.order]
        columns["other_arrival_min"] = np.full((len(cases), others), NEVER)
        columns["other_gal"] = np.zeros((len(cases), others))
        for row, case in enumerate(cases):
            for at, tank in enumerate(case.other_tanks):
                columns["other_arrival_min"][row, at] = tank.arrival_min
                columns["other_gal"][row, at] = tank.nominal_gal
        return cls(**columns)

    def case(self, row: int, unit_ids: Sequence[str] | None = None) -> Case:
        """Give one row as a case; unit_ids in code point order name its tankers."""
        names = unit_ids or [f"{rank:03d}" for rank in range(self.arrival_min.shape[1])]
        tankers = tuple(
            Tanker(unit_id=names[rank], **{word: _plain(word, getattr(self, word)[row, rank]) for word in TANKER_WORDS})
            for rank in np.flatnonzero(np.isfinite(self.arrival_min[row])).tolist()
        )
        others = zip(self.other_arrival_min[row].tolist(), self.other_gal[row].tolist(), strict=True)
        return Case(
            tankers=tankers,
            other_tanks=tuple(PortableTank(at, gal) for at, gal in others if at < NEVER),
            **{word: _plain(word, getattr(self, word)[row]) for word in SCALAR_WORDS},
        )


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _plain(word: str, value: float) -> Any:
    """Turn a cell into the type of the record's field."""
    if word in ("positions", "second_positions", "dump_places"):
        return int(value)
    if word in ("has_pump", "self_fill", "second_site"):
        return bool(value)
    if word in ("fill_engine_arrival_min", "second_engine_arrival_min") and math.isnan(value):
        return None
    return float(value)
