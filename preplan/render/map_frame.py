"""What of a district the map page draws: the box that it opens on, the roads inside, how wide each is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from preplan.plan import Plan
from preplan.records import BoolArray, FloatArray, IntArray

MARGIN_DEG = 0.03
"""Roads and water are drawn this far beyond the outermost place, some two miles."""
ROAD_RANKS = (
    frozenset({"motorway", "trunk", "primary"}),
    frozenset({"secondary"}),
    frozenset({"tertiary"}),
    frozenset({"unclassified", "residential", "living_street", "road"}),
)
"""Classes of road by width on the map; any other is the last rank."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A box of lon, lat in degrees."""

    west: float
    south: float
    east: float
    north: float

    @classmethod
    def around(cls, lonlat: FloatArray, margin_deg: float = 0.0) -> Frame:
        """Span (n, 2) finite points; the whole world where there are none."""
        known = lonlat[np.all(np.isfinite(lonlat), axis=1)]
        if not len(known):
            return cls(-180.0, -85.0, 180.0, 85.0)
        (west, south), (east, north) = known.min(axis=0) - margin_deg, known.max(axis=0) + margin_deg
        return cls(float(west), float(south), float(east), float(north))

    def touches(self, west: FloatArray, south: FloatArray, east: FloatArray, north: FloatArray) -> BoolArray:
        """Tell which of many boxes overlap this one."""
        return (west <= self.east) & (east >= self.west) & (south <= self.north) & (north >= self.south)

    def keep(self, shapes: Sequence[FloatArray]) -> list[FloatArray]:
        """Keep the shapes whose box overlaps this one."""
        if not shapes:
            return []
        low = np.array([shape.min(axis=0) for shape in shapes])
        high = np.array([shape.max(axis=0) for shape in shapes])
        inside = self.touches(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
        return [shapes[k] for k in np.flatnonzero(inside).tolist()]


def view_frame(plan: Plan) -> Frame:
    """Span what the page opens on: addresses on the roads and fill sites; all addresses where none is on the roads."""
    near = plan.frontages.segment >= 0
    addresses = np.column_stack([plan.addresses.lon, plan.addresses.lat])
    picked = np.concatenate([addresses[near] if near.any() else addresses, lonlat_of(plan.sites)])
    return Frame.around(picked, margin_deg=0.002)


def drawn_frame(plan: Plan) -> Frame:
    """Span what is drawn at all: what the page opens on and every station, with a margin."""
    view = view_frame(plan)
    corners = np.array([[view.west, view.south], [view.east, view.north]])
    return Frame.around(np.concatenate([corners, lonlat_of(plan.stations)]), margin_deg=MARGIN_DEG)


def kept_roads(plan: Plan, frame: Frame, driven: IntArray) -> IntArray:
    """List the stretches to draw: those in the frame that a vehicle could use, and every one that is driven.

    `driven` holds rows of the RoadTable, -1 for none.
    """
    roads = plan.roads
    if not len(roads):
        return np.empty(0, dtype=np.int32)
    start = roads.coord_start[:-1]
    box = [np.minimum.reduceat(axis, start) for axis in (roads.coord_lon, roads.coord_lat)]
    box += [np.maximum.reduceat(axis, start) for axis in (roads.coord_lon, roads.coord_lat)]
    inside = frame.touches(*box)
    footways = {"footway", "path", "cycleway", "steps", "bridleway", "pedestrian", "corridor"}
    walked = np.array([kind in footways for kind in roads.highway], dtype=np.bool_)
    inside &= ~(walked & ~plan.limits.tanker_road)
    inside[driven[driven >= 0]] = True
    return np.flatnonzero(inside).astype(np.int32)


def road_rank(highway: str) -> int:
    """Give a road's rank, 0 the widest.

    >>> road_rank("primary_link"), road_rank("service")
    (0, 4)
    """
    bare = highway.removesuffix("_link")
    return next((rank for rank, kinds in enumerate(ROAD_RANKS) if bare in kinds), len(ROAD_RANKS))


def lonlat_of(records: Iterable[Any]) -> FloatArray:
    """Collect the places of records that have lon and lat, (n, 2)."""
    return np.array([(one.lon, one.lat) for one in records], dtype=np.float64).reshape(-1, 2)
