"""Places in the United States National Grid, which is the Military Grid Reference System on NAD 83 or WGS 84.

Letters and zones follow the public definition of both: FGDC-STD-011-2001, and NGA.STND.0037 for the exceptions off
Norway. The projection is pyproj's.
"""

from __future__ import annotations

import math
from functools import lru_cache

from pyproj import Transformer

_BANDS = "CDEFGHJKLMNPQRSTUVWXX"
"""Bands of 8 degrees from 80 degrees south; the last is 12 degrees high."""
_COLUMNS = ("ABCDEFGH", "JKLMNPQR", "STUVWXYZ")
"""Letters of the squares' columns from 100 km of easting on, by zone."""
_ROWS = "ABCDEFGHJKLMNPQRSTUV"
"""Letters of the squares' rows, every 2,000 km anew; in zones of even number they begin five letters on."""
_SQUARE_M = 100_000
_GRAIN_M = 10


def zone_of(lon: float, lat: float) -> int:
    """Give the zone of a place, with the exceptions off Norway and about Svalbard.

    >>> zone_of(-72.5, 44.2), zone_of(5.3, 60.4), zone_of(15.6, 78.2)
    (18, 32, 33)
    """
    if 56.0 <= lat < 64.0 and 3.0 <= lon < 12.0:
        return 32
    if lat >= 72.0 and 0.0 <= lon < 42.0:
        return 31 + 2 * int((lon + 3.0) // 12.0)
    return int((lon + 180.0) // 6.0) % 60 + 1


@lru_cache(maxsize=8)
def _projection(zone: int, *, south: bool) -> Transformer:
    return Transformer.from_crs(4326, (32700 if south else 32600) + zone, always_xy=True)


def grid_words(lon: float, lat: float) -> str:
    """Write a place to 10 m, cut off and not rounded, as the grid is read; '' near the poles and where not known.

    >>> grid_words(-77.0352, 38.8895)
    '18S UJ 2348 0648'
    """
    if not (math.isfinite(lon) and -80.0 <= lat < 84.0):
        return ""
    zone, south = zone_of(lon, lat), lat < 0.0
    east_m, north_m = _projection(zone, south=south).transform(lon, lat)
    band = _BANDS[int((lat + 80.0) // 8.0)]
    column = _COLUMNS[(zone - 1) % 3][int(east_m // _SQUARE_M) - 1]
    row = _ROWS[(int(north_m // _SQUARE_M) + (5 if zone % 2 == 0 else 0)) % len(_ROWS)]
    east, north = (int(value % _SQUARE_M) // _GRAIN_M for value in (east_m, north_m))
    return f"{zone}{band} {column}{row} {east:04d} {north:04d}"
