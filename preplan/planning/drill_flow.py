"""The flow of a drill: what was dumped by when, on average, without the first loads, and in whole rounds."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from preplan.planning.drill_visits import Load, Measured

LEAST_ROUNDS = 2
"""Whole rounds of one tanker that a steady part must have (this program's choice)."""
LONG_SHARE = 0.5
"""A steady part counts beside the longest if it is at least this share of it."""
STEP_MIN = 10.0
"""Minutes between the lines of the table of gallons."""
ROUNDING_MIN = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyPart:
    """Whole rounds of one tanker: from one of its leaving the dump site to another."""

    unit_id: str
    from_min: float
    to_min: float
    rounds: int
    gal: float
    """Of refilled loads, all that was dumped after its beginning, up to its end."""
    same_fleet: bool
    """Every tanker had dumped its first load at its beginning, and hauled to its end."""

    @property
    def gpm(self) -> float:
        """Gallons by minutes."""
        return self.gal / (self.to_min - self.from_min)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """What was delivered to the dump site."""

    start_min: float
    end_min: float
    loads: int
    gal: float
    first_gal: float
    """Of it the loads that tankers came with."""
    steady: SteadyPart | None
    """None: no tanker made enough whole rounds of refilled loads."""
    by_minute: tuple[tuple[float, float], ...]
    """(minute, gallons dumped by then)."""

    @property
    def minutes(self) -> float:
        """Duration of the drill at the dump site."""
        return self.end_min - self.start_min

    @property
    def average_gpm(self) -> float:
        """All gallons by all minutes."""
        return _rate(self.gal, self.minutes)

    @property
    def hauled_gpm(self) -> float:
        """The same without the loads that tankers came with."""
        return _rate(self.gal - self.first_gal, self.minutes)


def _rate(gal: float, minutes: float) -> float:
    return gal / minutes if minutes > 0 else math.nan


def flow_of(measured: Measured, loads: Sequence[Load], until_min: float) -> Flow:
    """Sum up loads, whose gallons are all known, from the drill's start until a minute."""
    counted = [load for load in loads if load.minute <= until_min + ROUNDING_MIN]
    return Flow(
        start_min=measured.start_min,
        end_min=until_min,
        loads=len(counted),
        gal=sum(load.gallons for load in counted),
        first_gal=sum(load.gallons for load in counted if not load.refilled),
        steady=_steady(counted, measured.pauses),
        by_minute=tuple(_by_minute(counted, measured.start_min, until_min)),
    )


def _by_minute(loads: Sequence[Load], start_min: float, end_min: float) -> Iterator[tuple[float, float]]:
    """Count the gallons at each step from the start on, and at the end."""
    minute = start_min
    while minute < end_min:
        minute = min(minute + STEP_MIN, end_min)
        yield minute, sum(load.gallons for load in loads if load.minute <= minute + ROUNDING_MIN)


def _steady(loads: Sequence[Load], pauses: Sequence[tuple[str, float, float]]) -> SteadyPart | None:
    """Find the steady part: of the long stretches of whole rounds the one with the least flow.

    Whole rounds of refilled loads, since between two loads of different tankers the count depends on where one cuts.
    Stretches in which all hauled go first; none lies over a pause of everybody.
    """
    found = list(_stretches(loads, pauses))
    together = [one for one in found if one.same_fleet] or found
    longest = max((one.to_min - one.from_min for one in together), default=0.0)
    long = [one for one in together if one.to_min - one.from_min >= LONG_SHARE * longest]
    return min(long, key=lambda one: (one.gpm, one.from_min), default=None)


def _stretches(loads: Sequence[Load], pauses: Sequence[tuple[str, float, float]]) -> Iterator[SteadyPart]:
    """Give the longest stretches of each tanker: over all its rounds, and over those in which all others haul too."""
    units = sorted({load.unit_id for load in loads})
    first = {unit_id: min(load.minute for load in loads if load.unit_id == unit_id) for unit_id in units}
    last = {unit_id: max(load.minute for load in loads if load.unit_id == unit_id) for unit_id in units}
    for unit_id in units:
        own = [load.minute for load in loads if load.unit_id == unit_id and load.refilled]
        best: dict[bool, SteadyPart] = {}
        for one, other in combinations(range(len(own)), 2):
            start, stop = own[one], own[other]
            if other - one < LEAST_ROUNDS or any(not who and a < stop and b > start for who, a, b in pauses):
                continue
            round_min = (stop - start) / (other - one)  # who dumps within the last one hauls to the end
            part = SteadyPart(
                unit_id=unit_id, from_min=start, to_min=stop, rounds=other - one,
                gal=sum(
                    load.gallons
                    for load in loads
                    if load.refilled and start + ROUNDING_MIN < load.minute <= stop + ROUNDING_MIN
                ),
                same_fleet=all(
                    first[who] <= start + ROUNDING_MIN and last[who] >= stop - round_min - ROUNDING_MIN
                    for who in units
                ),
            )  # fmt: skip
            known = best.get(part.same_fleet)
            if known is None or stop - start > known.to_min - known.from_min:
                best[part.same_fleet] = part
        yield from best.values()
