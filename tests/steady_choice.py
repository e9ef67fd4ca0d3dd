"""The steady flow that planning's closed form gives where a fill site is chosen anew, as the map's what-if does it.

The program itself chooses by the timeline; this is what the page's script is held against, and what sums by hand are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preplan.planning.assignment import Scene, circuit_of, crews, engines_lack, line_capped, source_capped
from preplan.planning.response import Jobs
from preplan.records import BoolArray, FloatArray, IntArray
from preplan.water.shuttle import Shuttle

TIE = 1e-9
"""Relative difference below which two flows are equal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What many cases deliver: arrays of shape (cases,), units on the last axis of `used`."""

    shuttle: Shuttle
    cut: IntArray
    """Vehicle class driven: index into `Scene.cuts`."""
    trip_min: FloatArray
    jobs: Jobs

    @property
    def tankers(self) -> IntArray:
        """Count the tankers in use."""
        count: IntArray = self.shuttle.used.sum(axis=-1).astype(np.int32)
        return count


def deliver(scene: Scene, address: IntArray, site: IntArray, level: IntArray) -> Delivery:
    """Work out the steady flow of each case over its best cut."""
    jobs, present = crews(scene, address, site, level)
    sent = scene.response.tankers[address, level].any(axis=1)
    shuttle, cut, trip_min = _best_cut(scene, address, site, present, jobs)
    shuttle = line_capped(scene, source_capped(scene, shuttle, address, site), jobs, address)
    shuttle = engines_lack(shuttle, jobs, sent & np.isfinite(trip_min))
    return Delivery(shuttle=shuttle, cut=cut, trip_min=trip_min, jobs=jobs)


def _best_cut(
    scene: Scene, address: IntArray, site: IntArray, present: BoolArray, jobs: Jobs
) -> tuple[Shuttle, IntArray, FloatArray]:
    """Run each case with every cut and keep the best: the larger flow, then more tankers, then the shorter trip."""
    circuit = circuit_of(scene, site, jobs)
    best: Shuttle | None = None
    best_cut = np.zeros(len(address), dtype=np.int32)
    best_trip = np.full(len(address), np.inf)
    for index, cut in enumerate(scene.cuts):
        trip = cut.trip_min[address, site]
        one = circuit.best(trip, present & cut.members)
        if best is None:
            best, best_trip = one, trip
            continue
        better = _outdoes(one, trip, best, best_trip)
        best = _mix(better, one, best)
        best_cut[better], best_trip = index, np.where(better, trip, best_trip)
    if best is None:
        raise ValueError("no tanker in service")
    return best, best_cut, best_trip


def _outdoes(one: Shuttle, trip: FloatArray, best: Shuttle, best_trip: FloatArray) -> BoolArray:
    """Tell where `one` beats the best so far."""
    gain = one.sustained_gpm - best.sustained_gpm
    equal = np.abs(gain) <= TIE * np.maximum(best.sustained_gpm, 1.0)
    more = one.used.sum(axis=-1).astype(np.int64) - best.used.sum(axis=-1)
    shorter = trip < best_trip
    outdoes: BoolArray = np.where(equal, (more > 0) | ((more == 0) & shorter), gain > 0)
    return outdoes


def _mix(mask: BoolArray, one: Shuttle, other: Shuttle) -> Shuttle:
    """Take the rows of `one` where the mask holds."""
    return Shuttle(
        sum_gpm=np.where(mask, one.sum_gpm, other.sum_gpm),
        sustained_gpm=np.where(mask, one.sustained_gpm, other.sustained_gpm),
        cycle_min=np.where(mask, one.cycle_min, other.cycle_min),
        used=np.where(mask[:, None], one.used, other.used),
        limited_by=np.where(mask, one.limited_by, other.limited_by).astype(np.int8),
    )
