"""What a driver must hear of weight limits: bridges that only empties may cross, and those rated too low for him.

A posted limit that a loaded tanker goes round stands on a sign; a rating stands on none, so it is told wherever a truck
without limits would cross the bridge: on its way to the fill site, to the backup, or to the nearest fill site.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from preplan.plan import Flag
from preplan.records import BoolArray, FloatArray, IntArray, RoadLimits, RoadTable, Unit
from preplan.roads.road_names import road_label

ABOVE_RATING, EMPTY_ONLY, RATED = "crosses above rating", "empty only", "rated below load"
"""Codes of the flags, the gravest first."""
_MOST_NAMED = 2
"""Tankers that are named each with its weight."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """Limited stretches that addresses have to do with: (pairs, 2) of address and stretch."""

    free: IntArray
    """On the quick way of a truck without limits."""
    out: IntArray
    """Driven loaded."""
    back: IntArray
    """Driven empty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """What is posted and rated, and who is sent."""

    roads: RoadTable
    bridge: BoolArray
    """(segments,)."""
    limits: tuple[RoadLimits, ...]
    """In each season of the roads."""
    road: IntArray
    """(addresses,) the season that decides."""
    operating_lb: FloatArray
    """(segments,) rating by the bridge table, whether it holds trucks off or not; inf: none known."""
    units: tuple[Unit, ...]
    sent: BoolArray
    """(addresses, units) tankers sent."""

    @property
    def limited(self) -> BoolArray:
        """Mask the (segments,) of which there is anything to tell."""
        signs = [np.isfinite(one.max_lb) | np.isfinite(one.max_axle_lb) for one in self.limits]
        found: BoolArray = np.logical_or.reduce([np.isfinite(self.operating_lb), *signs])
        return found

    def flags(self, met: Met) -> dict[int, tuple[Flag, ...]]:
        """Give the flags of each address that has any, the gravest first and each once."""
        out, back = ({(a, s) for a, s in pairs.tolist()} for pairs in (met.out, met.back))
        found: dict[int, list[Flag]] = {}
        for address, segment in np.unique(np.concatenate([met.free, met.out, met.back]), axis=0).tolist():
            loaded, empty = (address, segment) in out, (address, segment) in back
            for flag in self._flags_of(address, segment, loaded=loaded, empty=empty):
                found.setdefault(address, []).append(replace(flag, stretches=(segment,)))
        return {address: gravest_first(flags) for address, flags in found.items()}

    def _flags_of(self, address: int, segment: int, *, loaded: bool, empty: bool) -> Iterator[Flag]:
        """Flag one stretch for one address, whose tankers drive it loaded, empty, or not at all."""
        limits = self.limits[int(self.road[address])]
        max_lb, axle_lb = float(limits.max_lb[segment]), float(limits.max_axle_lb[segment])
        rated_lb = float(self.operating_lb[segment])
        tankers = [self.units[u] for u in np.flatnonzero(self.sent[address]).tolist()]
        above = [unit for unit in tankers if (unit.loaded_lb if loaded else unit.dumped_lb) > rated_lb]
        if (loaded or empty) and rated_lb < max_lb and above:
            yield Flag(ABOVE_RATING, f"{self._name(segment)} ({self._rating(segment, limits)}). {_heavier(above)}")
        heavy = [unit for unit in tankers if unit.loaded_lb > max_lb or unit.axle_lb > axle_lb]
        never = [unit.unit_id for unit in tankers if unit.dumped_lb > max_lb or unit.dumped_axle_lb > axle_lb]
        rated = bool(limits.rated[segment])
        said = self._rating(segment, limits) if rated else _posted(max_lb, axle_lb)
        if heavy and empty and not loaded:
            but = f", {' '.join(never)} not even empty" if never else ""
            yield Flag(EMPTY_ONLY, f"{self._name(segment)} ({said}{but})")
        elif heavy and rated:
            yield Flag(RATED, f"{self._name(segment)} ({said}){', nor empty' if never else ''}. {_heavier(heavy)}")

    def _name(self, segment: int) -> str:
        """Name a stretch as a driver knows it; a semicolon would end the flag in the tables."""
        road = road_label(self.roads, segment).replace(";", ",")
        return f"the {road} bridge" if self.bridge[segment] else road

    def _rating(self, segment: int, limits: RoadLimits) -> str:
        """Say what the bridge table rates a bridge for."""
        sign = "no sign, but " if limits.unposted_bridge[segment] else ""
        return f"{sign}rated {np.floor(self.operating_lb[segment]):,.0f} lb"


def gravest_first(flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """Put flags of weight in order, each once, with the stretches of all that say the same."""
    grave = (ABOVE_RATING, EMPTY_ONLY, RATED)
    stretches: dict[Flag, tuple[int, ...]] = {}
    for flag in flags:
        stretches[flag] = (*stretches.get(flag, ()), *flag.stretches)
    once = [replace(flag, stretches=rows) for flag, rows in stretches.items()]
    return tuple(sorted(once, key=lambda flag: grave.index(flag.code)))


def _heavier(units: list[Unit]) -> str:
    """Say who weighs more than a bridge is rated for, loaded.

    A few are named each with its weight, many with the least and the most.
    """
    if len(units) <= _MOST_NAMED:
        named = " and ".join(f"{unit.unit_id} {np.ceil(unit.loaded_lb):,.0f} lb" for unit in units)
        return f"{named} loaded weigh{'s' * (len(units) == 1)} more"
    weights = np.ceil([unit.loaded_lb for unit in units])
    ids = " ".join(unit.unit_id for unit in units)
    return f"{ids} loaded weigh more, {weights.min():,.0f} to {weights.max():,.0f} lb"


def _posted(max_lb: float, axle_lb: float) -> str:
    """Say what weights are posted."""
    signs = (max_lb, "lb"), (axle_lb, "lb an axle")
    return f"posted {', '.join(f'{np.floor(sign):,.0f} {unit}' for sign, unit in signs if np.isfinite(sign))}"
