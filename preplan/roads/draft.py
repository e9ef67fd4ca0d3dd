"""Limits of the stretches while they are being gathered: arrays that nodes and closures still change."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from preplan.records import BoolArray, ClosedRoad, FloatArray, IntArray, RoadLimits


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """Columns of a `RoadLimits`, writable, with what only the making needs."""

    max_lb: FloatArray
    max_axle_lb: FloatArray
    max_height_ft: FloatArray
    max_width_ft: FloatArray
    forward_open: BoolArray
    backward_open: BoolArray
    tanker_road: BoolArray
    signed: BoolArray
    penalty_min: FloatArray
    bridge: BoolArray
    weight_known: BoolArray
    narrow: BoolArray
    barred: BoolArray
    """A sign says no to all."""
    rated_lb: FloatArray
    """Operating rating of the bridge table that holds; inf: none."""
    unread: dict[int, frozenset[str]] = field(default_factory=dict)
    """As `RoadLimits` has it."""
    closed: list[ClosedRoad] = field(default_factory=list)
    """The district's own closures, as they are put on their stretches."""

    def close(self, rows: IntArray) -> None:
        """Close stretches to every vehicle."""
        for column in (self.forward_open, self.backward_open, self.tanker_road):
            column[rows] = False

    def limits(self) -> RoadLimits:
        """Finish."""
        kinds = (self.max_lb, self.max_axle_lb, self.max_height_ft, self.max_width_ft)
        unread = {row: kinds for row, kinds in self.unread.items() if kinds}
        posted = np.any([np.isfinite(kind) for kind in kinds], axis=0)
        posted[list(unread)] = True
        return RoadLimits(
            max_lb=np.minimum(self.max_lb, self.rated_lb),
            rated_lb=np.where(self.rated_lb < self.max_lb, self.rated_lb, np.inf),
            max_axle_lb=self.max_axle_lb,
            max_height_ft=self.max_height_ft,
            max_width_ft=self.max_width_ft,
            forward_open=self.forward_open,
            backward_open=self.backward_open,
            tanker_road=self.tanker_road,
            signed=self.signed,
            penalty_min=self.penalty_min,
            posted=posted,
            unposted_bridge=self.bridge & ~self.weight_known,
            narrow=self.narrow,
            unread=unread,
            closed=tuple(self.closed),
        )
