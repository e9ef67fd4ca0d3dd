"""The district's projected coordinates: one UTM zone, metres, chosen once from the data's extent."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import shapely
from pyproj import Transformer

from preplan.records import FloatArray, RoadTable

LineArray: TypeAlias = npt.NDArray[np.object_]
"""Shapely lines in projected metres, one for each stretch of a RoadTable."""
_ZONE_DEGREES = 6.0
_NORTH_EPSG, _SOUTH_EPSG = 32600, 32700
"""WGS 84 / UTM zone n is EPSG 32600 + n north of the equator, 32700 + n south of it."""


@dataclass(frozen=True, slots=True)
class Projection:
    """A projected CRS in metres. Within its zone distances are true to 0.1 %."""

    epsg: int

    def forward(self, lon: FloatArray, lat: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Project degrees to easting and northing in metres; NaN and unreadable places become inf or NaN."""
        easting_m, northing_m = _transformer(self.epsg).transform(lon, lat)
        return np.asarray(easting_m, dtype=np.float64), np.asarray(northing_m, dtype=np.float64)

    def inverse(self, easting_m: FloatArray, northing_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Bring easting and northing in metres back to lon, lat in degrees."""
        lon, lat = _transformer(self.epsg).transform(easting_m, northing_m, direction="INVERSE")
        return np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)


def projection_of(lon: FloatArray, lat: FloatArray) -> Projection:
    """Choose the UTM zone of the middle of an extent.

    Parameters
    ----------
    lon, lat
        Degrees, shape (n,); places that are not finite are passed over.

    Raises
    ------
    ValueError
        Where no place is finite.

    Examples
    --------
    >>> projection_of(np.array([-73.4, -72.6]), np.array([44.3, 44.7])).epsg
    32618
    >>> projection_of(np.array([151.2]), np.array([-33.9])).epsg
    32756
    """
    known = np.isfinite(lon) & np.isfinite(lat)
    if not np.any(known):
        raise ValueError("no place to choose a projection for: every longitude or latitude is missing")
    middle_lon = (np.min(lon[known]) + np.max(lon[known])) / 2.0
    middle_lat = (np.min(lat[known]) + np.max(lat[known])) / 2.0
    zone = int(np.floor((middle_lon + 180.0) / _ZONE_DEGREES)) % 60 + 1
    return Projection((_NORTH_EPSG if middle_lat >= 0.0 else _SOUTH_EPSG) + zone)


def road_projection(roads: RoadTable) -> Projection:
    """Choose the projection of a road file: that of all its coordinates."""
    return projection_of(roads.coord_lon, roads.coord_lat)


def road_lines(roads: RoadTable, projection: Projection) -> LineArray:
    """Draw every stretch as a projected line in metres: an object array of shape (segments,)."""
    easting_m, northing_m = projection.forward(roads.coord_lon, roads.coord_lat)
    owner = np.repeat(np.arange(len(roads)), np.diff(roads.coord_start))
    lines: LineArray = np.asarray(shapely.linestrings(easting_m, northing_m, indices=owner), dtype=np.object_)
    return lines


@cache
def _transformer(epsg: int) -> Transformer:
    """Open the way from WGS84 longitude, latitude to one projection, once for each zone."""
    return Transformer.from_crs("EPSG:4326", f"EPSG:{epsg}", always_xy=True)
