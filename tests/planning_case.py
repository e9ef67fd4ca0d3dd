"""A planning question typed in by hand: units, sites, trips and arrivals as small matrices."""

from __future__ import annotations

from typing import Any

import numpy as np

from preplan.plan_tables import FrontageTable, HydrantReach, NeedTable
from preplan.planning.assignment import CutTrips, Scene
from preplan.planning.response import respond
from preplan.records import ALL_MONTHS, FillSite, ResponseLevel, Station, Unit, text_array
from preplan.rules import Rules

LEVELS = (ResponseLevel(name="Level 1", engines=2, tankers=1), ResponseLevel(name="Level 2", engines=3, tankers=3))


def unit(unit_id: str, kind: str, station: str = "S1", tank_gal: float = 2000.0, **changes: Any) -> Unit:
    """Make a unit with plain numbers."""
    values: dict[str, Any] = {
        "unit_id": unit_id, "station_id": station, "kind": kind, "tank_gal": tank_gal, "pump_gpm": 1250.0,
        "dump_gpm": 1000.0, "intake_gpm": 1000.0, "self_fill_gpm": None, "loaded_lb": 42000.0, "empty_lb": 25000.0,
        "axle_lb": 25000.0, "height_ft": 10.5, "width_ft": 8.5, "max_mph": 60.0, "portable_tank_gal": 2500.0,
        "usable_fraction": 0.9, "supply_hose_ft": 1000.0, "supply_hose_in": 5.0,
    }  # fmt: skip
    return Unit(**(values | changes))


def hydrants(count: int, credited_gpm: float = np.nan) -> HydrantReach:
    """Put every address 400 ft from a hydrant; without a flow there is none."""
    some = np.full(count, np.isfinite(credited_gpm))
    return HydrantReach(
        hydrant=np.where(some, 0, -1).astype(np.int32),
        distance_ft=np.where(some, 400.0, np.nan),
        credited_gpm=np.where(some, credited_gpm, np.nan),
    )


def site(site_id: str, **changes: Any) -> FillSite:
    """Make a dry hydrant of 900 gpm."""
    values: dict[str, Any] = {
        "site_id": site_id, "name": site_id, "kind": "dry hydrant", "lon": -72.0, "lat": 44.0, "fill_gpm": 900.0,
    }  # fmt: skip
    return FillSite(**(values | changes))


ENGINES = tuple(unit(f"E{i}", "engine", tank_gal=1000.0) for i in (1, 2, 3))
TANKERS = (unit("T1", "tanker"), unit("T2", "tanker", tank_gal=3000.0), unit("T3", "tanker"))
UNITS = ENGINES + TANKERS
STATIONS = (Station(station_id="S1", name="One", lon=-72.0, lat=44.0, turnout_min=6.0),)


def scene(  # noqa: PLR0913 - each test changes one thing
    trip_min: list[list[float]],
    sites: tuple[FillSite, ...],
    *,
    units: tuple[Unit, ...] = UNITS,
    stations: tuple[Station, ...] = STATIONS,
    levels: tuple[ResponseLevel, ...] = LEVELS,
    arrival_min: list[float] | None = None,
    driveway_ft: float = 100.0,
    required_gpm: float = 250.0,
    heavy_min: list[list[float]] | None = None,
    light: tuple[str, ...] = (),
    rules: Rules | None = None,
    planned: frozenset[int] = ALL_MONTHS,
) -> Scene:
    """Make the scene of one address a row of `trip_min` (addresses, sites).

    `heavy_min` gives a second cut, of all tankers, while `trip_min` then is that of the tankers named in `light`.
    """
    trip = np.array(trip_min, dtype=np.float64)
    count = len(trip)
    arrivals = arrival_min or [10.0 + i for i in range(len(units))]
    everyone = np.array([u.kind != "engine" for u in units])
    some = np.array([u.unit_id in light for u in units]) if light else everyone
    cuts = [CutTrips(trip_min=trip, out_min=0.6 * trip, members=some)]
    if heavy_min is not None:
        heavy = np.array(heavy_min, dtype=np.float64)
        cuts.append(CutTrips(trip_min=heavy, out_min=0.6 * heavy, members=everyone))
    whole = np.full(count, 120.0)
    return Scene(
        rules=rules or Rules(),
        levels=levels,
        sites=sites,
        units=units,
        response=respond(
            units, stations, levels,
            np.tile(np.array(arrivals), (count, 1)), np.tile(np.array(arrivals), (len(sites), 1)),
        ),
        needs=NeedTable(
            required_gpm=np.full(count, required_gpm), required_gal=whole * 20, required_min=whole,
            basis=text_array(["given:table"] * count), assumed=np.zeros(count, dtype=np.bool_),
        ),
        frontages=FrontageTable(
            segment=np.zeros(count, dtype=np.int32), fraction=np.full(count, 0.5), lon=np.full(count, -72.0),
            lat=np.full(count, 44.0), driveway_ft=np.full(count, driveway_ft), gap_ft=np.full(count, 50.0),
            how=text_array(["named"] * count), side=text_array(["left"] * count),
            dead_end=np.zeros(count, dtype=np.bool_),
            along_ft=np.zeros(count), near_segment=np.full(count, -1, dtype=np.int32),
        ),
        cuts=tuple(cuts),
        planned=planned,
    )  # fmt: skip
