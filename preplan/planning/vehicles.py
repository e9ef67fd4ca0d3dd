"""Vehicles that stand for units: cuts of tankers by weight, merged where the roads treat them alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from preplan.plan import Cut
from preplan.records import BoolArray, FloatArray, ResponseLevel, RoadLimits, Unit
from preplan.roads.network import UNLIMITED, RoadNetwork, Vehicle
from preplan.roads.search import Fleet
from preplan.rules import ApparatusRules

_MOST_NAMED = 12
"""Units that a note names; the rest is counted."""
Minutes = Callable[[float], FloatArray]
"""Minutes (segments, 2) at a top speed in mph."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutFleet:
    """One cut with its roads, loaded and empty."""

    cut: Cut
    members: BoolArray
    """(units,)."""
    loaded: Fleet
    empty: Fleet


def fleet_notes(units: tuple[Unit, ...], levels: tuple[ResponseLevel, ...]) -> tuple[str, ...]:
    """Tell which response levels ask for more engines or tankers than are in service in all."""
    tankers = sum(is_tanker(unit) for unit in units)
    engines = sum(unit.kind != "tanker" for unit in units)
    notes = []
    for level in levels:
        both = level.engines + level.tankers  # a pumper-tanker is one or the other
        for what, asked, there in (
            ("engines", level.engines, engines), ("tankers", level.tankers, tankers), ("units", both, len(units)),
        ):  # fmt: skip
            if asked > there:
                said = f"{level.name} asks for {asked:,} {what}, and the apparatus table has {there:,} in service"
                notes.append(f"response_levels: {said}")
                break
    return tuple(notes)


def assumed_notes(units: tuple[Unit, ...], rules: ApparatusRules) -> tuple[str, ...]:
    """Tell of the units in service, of which no tank or no weight is known, what stands in for it."""
    notes = []
    tankers = [unit for unit in units if is_tanker(unit)]
    without = [unit.unit_id for unit in tankers if "tank_gal" in unit.assumed]
    if without:
        every = "no tanker has a tank_gal (is it under another header?)" * (len(without) == len(tankers))
        notes.append(
            f"apparatus: {every or f'no tank_gal is given for {_first(without)}'}: {rules.tanker_tank_gal:,.0f} gal of "
            f"water counts for each, and without a weight it weighs as a tanker of {rules.heavy_tank_gal:,.0f} gal at "
            "bridges and limits"
        )
    weighed = [f"{unit.unit_id} {unit.loaded_lb:,.0f} lb" for unit in units if "loaded_lb" in unit.assumed]
    if weighed:
        notes.append(f"apparatus: no loaded_lb is given, so at bridges and limits is assumed: {_first(weighed)}")
    return tuple(notes)


def _first(named: list[str]) -> str:
    """List the first few of some names, and count the rest."""
    return ", ".join(named[:_MOST_NAMED]) + f" and {len(named) - _MOST_NAMED:,} more" * (len(named) > _MOST_NAMED)


def is_tanker(unit: Unit) -> bool:
    """Tell whether a unit can haul water."""
    return unit.kind in ("tanker", "pumper-tanker")


def loaded_vehicle(unit: Unit) -> Vehicle:
    """Describe a unit on its way to the fire."""
    return Vehicle(
        gross_lb=unit.loaded_lb,
        axle_lb=unit.axle_lb,
        height_ft=unit.height_ft,
        width_ft=unit.width_ft,
        top_mph=unit.max_mph,
    )


def cut_vehicles(tankers: tuple[Unit, ...]) -> tuple[Vehicle, Vehicle]:
    """Describe the vehicle that stands for all of some tankers, loaded and empty: the most of each, the least speed.

    Empty is as a dump leaves it, with the water that stays aboard.
    """
    height, width = max(t.height_ft for t in tankers), max(t.width_ft for t in tankers)
    slowest = min(t.max_mph for t in tankers)
    loaded = Vehicle(
        gross_lb=max(t.loaded_lb for t in tankers),
        axle_lb=max(t.axle_lb for t in tankers),
        height_ft=height,
        width_ft=width,
        top_mph=slowest,
    )
    empty = Vehicle(
        gross_lb=max(t.dumped_lb for t in tankers),
        axle_lb=max(t.dumped_axle_lb for t in tankers),
        height_ft=height,
        width_ft=width,
        top_mph=slowest,
    )
    return loaded, empty


def season_fleets(
    units: tuple[Unit, ...], seasons: Sequence[tuple[RoadNetwork, RoadLimits, Minutes]]
) -> tuple[tuple[CutFleet, ...], ...]:
    """Build the same cuts in every season of the roads, lightest first.

    Of cuts that see the same roads in all seasons only the one with most tankers stays.
    """
    ordered = sorted(
        (unit for unit in units if is_tanker(unit)),
        key=lambda unit: (unit.loaded_lb, unit.height_ft, unit.width_ft, unit.unit_id),
    )
    merged: dict[bytes, tuple[CutFleet, ...]] = {}
    for count in range(1, len(ordered) + 1):
        first = tuple(ordered[:count])
        fleets = tuple(_fleet(units, first, *season) for season in seasons)
        merged[b"".join(_seen(fleet) for fleet in fleets)] = fleets
    return tuple(zip(*merged.values(), strict=True))


def _fleet(
    units: tuple[Unit, ...], first: tuple[Unit, ...], network: RoadNetwork, limits: RoadLimits, minutes: Minutes
) -> CutFleet:
    """Build one cut in one season."""
    loaded, empty = cut_vehicles(first)
    return CutFleet(
        cut=_cut(first, loaded, empty),
        members=np.array([unit in first for unit in units], dtype=np.bool_),
        loaded=Fleet.of(network, limits, minutes(loaded.top_mph), loaded),
        empty=Fleet.of(network, limits, minutes(empty.top_mph), empty),
    )


def _seen(fleet: CutFleet) -> bytes:
    """Give what is equal for cuts that the roads treat alike."""
    return b"".join(part.tobytes() for part in (fleet.loaded.usable, fleet.empty.usable, fleet.loaded.state_min))


def _cut(tankers: tuple[Unit, ...], loaded: Vehicle, empty: Vehicle) -> Cut:
    """Record a cut for the pages."""
    return Cut(
        unit_ids=tuple(unit.unit_id for unit in tankers),
        loaded_lb=loaded.gross_lb,
        empty_lb=empty.gross_lb,
        axle_lb=loaded.axle_lb,
        height_ft=loaded.height_ft,
        width_ft=loaded.width_ft,
        top_mph=loaded.top_mph,
    )


def unlimited_fleet(network: RoadNetwork, limits: RoadLimits, minutes: Minutes, top_mph: float) -> Fleet:
    """See the roads as a vehicle that no posting stops: what the postings cost is measured against it."""
    return Fleet.of(network, limits, minutes(top_mph), UNLIMITED)
