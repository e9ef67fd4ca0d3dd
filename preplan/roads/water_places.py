"""Places where mapped water comes near a road that a loaded tanker can use: where a fill site could be built."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from preplan.records import Columns, FeatureTable, FloatArray, IntArray, RoadLimits, RoadTable
from preplan.roads.features import water_areas
from preplan.roads.places import NO_FRONTAGE, no_stand
from preplan.roads.projection import road_lines, road_projection
from preplan.units import FT_PER_M, M_PER_FT, M_PER_MI

LEAST_WATER_SQFT = 10_000.0
"""Smaller water is passed over: a pond of a quarter of an acre (this program's choice)."""
APART_MI = 0.5
"""Places on the same water are at least so far apart (this program's choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterPlaces(Columns):
    """Places on the road beside water, the nearest to it first."""

    lon: FloatArray
    lat: FloatArray
    segment: IntArray
    """Stretch of road."""
    water: IntArray
    """Row of `FeatureTable.water_rings`."""
    gap_ft: FloatArray
    """From the road to the water."""


def water_places(roads: RoadTable, limits: RoadLimits, features: FeatureTable, reach_ft: float) -> WaterPlaces:
    """Find the places on roads for tankers that have the edge of a mapped pond, lake or wide river within reach.

    Streams that are mapped as lines are passed over: how much water they hold is not known. Nobody fills on a motorway,
    nor where no tanker stands, as on the bridge over the water.
    """
    projection = road_projection(roads)
    stands = limits.usable & ~np.isin(roads.highway.astype(str), NO_FRONTAGE) & ~no_stand(roads)
    usable = np.flatnonzero(stands).astype(np.int32)
    lines = road_lines(roads, projection)[usable]
    water = water_areas(features, projection)
    large = np.flatnonzero(shapely.area(water) * FT_PER_M**2 >= LEAST_WATER_SQFT)
    edges = shapely.boundary(water[large])
    at_edge, at_line = shapely.STRtree(lines).query(edges, predicate="dwithin", distance=reach_ft * M_PER_FT)
    ways = shapely.shortest_line(lines[at_line], edges[at_edge])
    spots, gap_ft = shapely.get_point(ways, 0), shapely.length(ways) * FT_PER_M
    east_m, north_m = shapely.get_x(spots), shapely.get_y(spots)
    order = np.lexsort((at_line, at_edge, gap_ft)).astype(np.int32)
    kept = _apart(np.column_stack([east_m, north_m]), at_edge, order)
    lon, lat = projection.inverse(east_m[kept], north_m[kept])
    return WaterPlaces(
        lon=lon,
        lat=lat,
        segment=usable[at_line[kept]],
        water=large[at_edge[kept]].astype(np.int32),
        gap_ft=gap_ft[kept],
    )


def _apart(spot_m: FloatArray, water: IntArray, order: IntArray) -> IntArray:
    """Keep spots in an order, each unless one on the same water is kept near it."""
    kept: list[int] = []
    by_water: dict[int, list[int]] = {}
    for at in order.tolist():
        near = by_water.setdefault(int(water[at]), [])
        if not near or np.hypot(*(spot_m[near] - spot_m[at]).T).min() >= APART_MI * M_PER_MI:
            near.append(at)
            kept.append(at)
    return np.array(kept, dtype=np.int32)
