"""The minutes that each case's numbers fix before any water moves."""

from __future__ import annotations

from copy import copy
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from preplan.records import FloatArray

if TYPE_CHECKING:
    from preplan.water.timeline_table import CaseTable

Rows = npt.NDArray[np.intp]
"""Indices of cases."""


class Clock:
    """The minutes that the definitions derive from each case's numbers, before any water moves; (cases,)."""

    def __init__(self, table: CaseTable) -> None:
        """Derive them; the twin of the properties of `Case`."""
        self.first_water = table.attack_arrival_min + table.attack_setup_min
        self.full = np.maximum(table.attack_arrival_min + table.full_flow_after_min, self.first_water)
        self.end = self.full + table.required_min
        self.attack_gpm = np.minimum(table.attack_gpm, table.required_gpm)
        arrival = np.concatenate([table.arrival_min, table.other_arrival_min], axis=1)
        nominal = np.concatenate([table.portable_gal, table.other_gal], axis=1)
        arrival = np.where(nominal > 0, arrival, np.inf)
        first_tank = arrival.min(axis=1, initial=np.inf)
        self.dump_ready = np.maximum(first_tank, table.dump_engine_arrival_min) + table.dump_setup_min
        self.tank_ready = arrival + table.tank_setup_min[:, None]
        if arrival.shape[1]:
            self.tank_ready[np.arange(len(arrival)), arrival.argmin(axis=1)] = self.dump_ready
        dead = table.dead_fraction[:, None] * nominal
        self.tank_dead_gal = dead
        self.tank_active_gal = np.maximum(table.room_fraction[:, None] * nominal - dead, 0.0)

    def rows(self, pick: Rows) -> Clock:
        """Take some cases."""
        some = copy(self)
        for word, column in vars(self).items():
            setattr(some, word, column[pick])
        return some

    def booster_dry(self, table: CaseTable) -> FloatArray:
        """Minute at which the booster tank alone would be empty."""
        with np.errstate(divide="ignore", invalid="ignore"):  # an attack engine that never comes: inf less inf
            early_gal = self.attack_gpm * (self.full - self.first_water)
            soon = self.first_water + np.where(table.booster_gal > 0, table.booster_gal / self.attack_gpm, 0.0)
            late = self.full + (table.booster_gal - early_gal) / table.required_gpm
        return np.where(table.booster_gal <= early_gal, soon, np.where(table.required_gpm > 0, late, np.inf))

    def nurse(self, table: CaseTable) -> Rows:
        """Index of the tanker that nurses, -1: none; it waits for hose to the attack engine."""
        arrival = np.where((table.has_pump > 0) & np.isfinite(table.arrival_min), table.arrival_min, np.inf)
        if not arrival.shape[1]:
            return np.full(len(table), -1)
        soonest = np.maximum(arrival.min(axis=1), table.hose_ready_min)
        nurses = (soonest < self.dump_ready) & (self.booster_dry(table) < self.dump_ready)
        return np.where(nurses & np.isfinite(table.attack_arrival_min), arrival.argmin(axis=1), -1)
