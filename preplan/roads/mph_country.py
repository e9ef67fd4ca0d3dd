"""Where a bare `maxspeed` means miles an hour: the outline of the United States, drawn a little inside its border.

The map's rule is km/h everywhere (OpenStreetMap wiki, Key:maxspeed), but mappers in the United States leave `mph`
out now and then, and there no sign names km/h. Near the border, where both may stand, the map's rule holds: it
gives the lower speed. Coordinates were drawn from general knowledge to some miles and are not a survey.
"""

from __future__ import annotations

from functools import cache

import shapely

from preplan.records import BoolArray, FloatArray

_MAINLAND = (
    # Pacific to the Great Lakes, west to east along the northern border
    (-124.8, 48.3), (-123.3, 48.15), (-122.8, 48.95), (-95.3, 48.95), (-94.6, 48.65), (-93.4, 48.5), (-92.4, 48.15),
    (-91.4, 47.98), (-89.7, 47.95), (-88.0, 47.9), (-84.9, 46.75), (-84.6, 46.4), (-84.3, 46.0), (-83.7, 45.85),
    (-82.7, 45.3), (-82.55, 43.0), (-82.6, 42.6), (-82.9, 42.42), (-83.15, 42.3), (-83.2, 41.9), (-82.6, 41.6),
    (-81.0, 42.0), (-79.8, 42.4), (-78.93, 42.8), (-78.85, 42.95), (-79.0, 43.15), (-79.0, 43.35), (-76.6, 43.75),
    (-76.3, 44.05), (-75.95, 44.25), (-75.5, 44.62), (-75.0, 44.87), (-74.7, 44.97), (-71.52, 44.99),
    # New Hampshire and Maine
    (-71.4, 45.18), (-71.1, 45.25), (-70.85, 45.2), (-70.4, 45.7), (-70.25, 46.2), (-70.0, 46.6), (-69.2, 47.4),
    (-68.9, 47.15), (-68.3, 47.3), (-67.87, 47.0), (-67.87, 45.75), (-67.55, 45.5), (-67.5, 45.25), (-67.3, 45.08),
    (-67.05, 44.75), (-66.9, 44.4),
    # Atlantic and Gulf
    (-69.5, 41.0), (-74.0, 38.0), (-75.0, 35.0), (-79.9, 31.0), (-79.9, 24.4), (-83.5, 24.4), (-97.0, 26.0),
    # Rio Grande and the border to the Pacific
    (-97.4, 26.0), (-98.2, 26.15), (-98.95, 26.45), (-99.2, 26.95), (-99.43, 27.55), (-100.22, 28.25),
    (-100.45, 28.72), (-100.82, 29.35), (-101.4, 29.85), (-102.3, 29.95), (-102.8, 29.5), (-103.15, 29.1),
    (-104.3, 29.7), (-104.9, 30.75), (-106.2, 31.6), (-106.5, 31.85), (-108.15, 31.85), (-108.15, 31.4),
    (-111.0, 31.4), (-114.7, 32.6), (-114.7, 32.78), (-117.0, 32.6), (-120.5, 33.0), (-124.9, 40.0),
)  # fmt: skip
"""(lon, lat) corners."""
_ELSEWHERE = (
    (-160.6, 18.8, -154.7, 22.4),  # Hawaii
    (-168.5, 54.5, -141.1, 71.5),  # Alaska west of the Yukon
    (-67.4, 17.8, -65.2, 18.6),  # Puerto Rico
    (-65.1, 17.6, -64.66, 18.375),  # United States Virgin Islands
    (144.6, 13.2, 145.0, 13.7),  # Guam
)
"""Boxes west, south, east, north."""


def signs_in_mph(lon: FloatArray, lat: FloatArray) -> BoolArray:
    """Tell for each place whether signs there surely show miles an hour.

    >>> import numpy as np
    >>> signs_in_mph(np.array([-71.6, -72.7, 8.7]), np.array([44.4, 45.2, 49.4])).tolist()
    [True, False, False]
    """
    return shapely.contains_xy(_outline(), lon, lat)


@cache
def _outline() -> shapely.Geometry:
    shape = shapely.union_all([shapely.Polygon(_MAINLAND), *(shapely.box(*one) for one in _ELSEWHERE)])
    shapely.prepare(shape)
    return shape
