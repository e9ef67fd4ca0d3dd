"""Longitudes and latitudes as people write them, and numbers that are neither."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from preplan.records import BoolArray, FloatArray, TextArray

SOUTHERNMOST_DEG = -60.0
"""No land where people farm lies south of this: a latitude below it is a longitude in the wrong column."""
NEAR_DEG = 3.0
"""A place that comes this near the middle of its table when its numbers are exchanged, or one gets a minus sign..."""
FAR_DEG = 20.0
"""...and is this far from it as written, has them exchanged, or lacks the sign."""
MERCATOR_RADIUS_M = 6378137.0
"""Radius of the sphere of web-mercator metres (EPSG:3857), the ellipsoid's equatorial one."""
MERCATOR_EDGE_M = 20037508.35
"""Half the equator of that sphere: no web-mercator number is larger."""
DMS_RULE = "degrees, minutes and seconds"
COMMA_RULE = "comma for decimals"

_MINUS = "\u2212"
"""The sign that word processors and web pages set for a minus."""
_MARK = r"[\s\u00b0\u00ba:d'\u2032\u2019\"\u2033\u201d-]*"
_DEGREES = re.compile(
    rf"(?P<before>[NSEW])?\s*(?P<sign>[+-]?)(?P<deg>\d{{1,3}}(?:[.,]\d+)?){_MARK}"
    rf"(?:(?<=[^\d.,])(?P<min>\d{{1,2}}(?:[.,]\d+)?){_MARK})?"
    rf"(?:(?<=[^\d.,])(?P<sec>\d{{1,2}}(?:[.,]\d+)?){_MARK})?(?P<after>[NSEW])?",
    re.IGNORECASE,
)
_LETTERS = {"lon": "ew", "lat": "ns"}


def read_degree(cell: str, axis: str) -> tuple[float, str]:
    r"""Read one longitude or latitude, and the rule by which it was understood.

    A letter of the other axis, a minus sign beside a letter, and 60 minutes or seconds are no reading: NaN.

    Parameters
    ----------
    axis
        lon or lat.

    >>> read_degree("72°30'36\" W", "lon"), read_degree("44 15 0", "lat"), read_degree("44,25", "lat")[0]
    ((-72.51, 'degrees, minutes and seconds'), (44.25, 'degrees, minutes and seconds'), 44.25)
    >>> read_degree("\u221272.51", "lon")[0]
    -72.51
    >>> read_degree("44.5 N", "lat")[0], read_degree("44.5 N", "lon")[0], read_degree("-72.5 W", "lon")[0]
    (44.5, nan, nan)
    """
    match = _DEGREES.fullmatch(cell.replace(_MINUS, "-"))
    if match is None or (match["before"] and match["after"]):
        return np.nan, ""
    letter = (match["before"] or match["after"] or "").casefold()
    parts = [float((match[part] or "0").replace(",", ".")) for part in ("deg", "min", "sec")]
    whole = match["min"] is None or parts[0].is_integer()
    if (letter and (letter not in _LETTERS[axis] or match["sign"])) or not whole or max(parts[1:]) >= 60.0:
        return np.nan, ""
    value = parts[0] + parts[1] / 60.0 + parts[2] / 3600.0
    rule = DMS_RULE if match["min"] is not None else COMMA_RULE if "," in match["deg"] else ""
    return (-value if match["sign"] == "-" or letter in {"s", "w"} else value), rule


def read_degrees(cells: TextArray, axis: str) -> tuple[FloatArray, BoolArray, frozenset[str]]:
    """Read a column of longitudes or latitudes.

    Returns
    -------
    values, wrong, rules
        Degrees (or whatever the numbers are), NaN where a cell is empty or no number; True where it is none; and
        the rules by which cells were understood that are not plain numbers.
    """
    values = np.full(len(cells), np.nan)
    given = np.flatnonzero(cells != "")
    plain = pd.to_numeric(pd.Series(cells[given], dtype=object), errors="coerce").to_numpy(dtype=np.float64)
    values[given] = plain
    rules = set()
    for i in given[~np.isfinite(plain)].tolist():
        values[i], rule = read_degree(cells[i], axis)
        rules.add(rule)
    wrong = np.zeros(len(cells), dtype=np.bool_)
    wrong[given] = ~np.isfinite(values[given])
    return values, wrong, frozenset(rules - {""})


def look_swapped(lon: FloatArray, lat: FloatArray) -> BoolArray:
    """Find rows whose longitude and latitude stand in each other's column.

    Certain where the latitude is none or lies in the southern ocean while both would do exchanged; else
    where exchanging brings the row near the middle of the others, from which it now lies far.

    >>> look_swapped(np.array([-72.0, 44.1, -72.1]), np.array([44.0, -72.1, 44.2])).tolist()
    [False, True, False]
    """
    possible = (np.abs(lon) <= 90.0) & (np.abs(lat) <= 180.0)
    certain = possible & ((lat < SOUTHERNMOST_DEG) | (lat > 90.0)) & (lon > SOUTHERNMOST_DEG)
    middle = middle_of(lon, lat, ~certain)
    if middle is None:
        return certain
    return certain | (possible & _is_far(lon, lat, middle) & _is_near(lat, lon, middle))


def look_unsigned(lon: FloatArray, lat: FloatArray) -> BoolArray:
    """Find rows far from the middle of the others that come near it when their longitude gets the other sign.

    >>> look_unsigned(np.array([-72.0, 72.1, -72.1]), np.array([44.0, 44.1, 44.2])).tolist()
    [False, True, False]
    """
    middle = middle_of(lon, lat)
    if middle is None:
        return np.zeros(len(lon), dtype=np.bool_)
    return _is_far(lon, lat, middle) & _is_near(-lon, lat, middle)


def look_mirrored(lon: FloatArray, lat: FloatArray) -> BoolArray:
    """Find rows far from the middle of the others that come near it when their latitude gets the other sign.

    >>> look_mirrored(np.array([-72.0, -72.1, -72.1]), np.array([44.0, -44.1, 44.2])).tolist()
    [False, True, False]
    """
    middle = middle_of(lon, lat)
    if middle is None:
        return np.zeros(len(lon), dtype=np.bool_)
    return _is_far(lon, lat, middle) & _is_near(lon, -lat, middle)


def look_lost(lon: FloatArray, lat: FloatArray) -> BoolArray:
    """Find rows far from the middle, where they are fewer than half: no district is so wide.

    >>> look_lost(np.array([-72.0, -27.1, -72.1]), np.array([44.0, 44.1, 44.2])).tolist()
    [False, True, False]
    """
    middle = middle_of(lon, lat)
    if middle is None:
        return np.zeros(len(lon), dtype=np.bool_)
    far = _is_far(lon, lat, middle)
    return far if 2 * np.count_nonzero(far) < len(lon) else np.zeros(len(lon), dtype=np.bool_)


def look_projected(lon: FloatArray, lat: FloatArray) -> BoolArray:
    """Find rows of which both numbers are too large for degrees: metres or feet of a map projection."""
    return (np.abs(lon) > 180.0) & (np.abs(lat) > 180.0)


def from_mercator(x_m: float, y_m: float) -> tuple[float, float] | None:
    """Turn web-mercator metres into lon, lat; None outside the map.

    >>> [round(degrees, 4) for degrees in from_mercator(-8015003.34, 5465442.18)]
    [-72.0, 44.0]
    """
    if max(abs(x_m), abs(y_m)) > MERCATOR_EDGE_M:
        return None
    lat = 2.0 * np.arctan(np.exp(y_m / MERCATOR_RADIUS_M)) - np.pi / 2.0
    return float(np.degrees(x_m / MERCATOR_RADIUS_M)), float(np.degrees(lat))


def middle_of(lon: FloatArray, lat: FloatArray, among: BoolArray | None = None) -> tuple[float, float] | None:
    """Give the median place of the rows that are on earth, None where there is none."""
    others = (np.abs(lon) <= 180.0) & (np.abs(lat) <= 90.0)
    if among is not None:
        others &= among
    return (float(np.median(lon[others])), float(np.median(lat[others]))) if others.any() else None


def projected_rule(x: float, y: float, middle: tuple[float, float] | None) -> str:
    """Say that a row's numbers are not degrees, and where they lie as the metres of web maps if that may be the place.

    It may where it is near the middle of the other rows, or where there is no other to tell.
    """
    place = from_mercator(x, y)
    if place and middle and max(abs(place[0] - middle[0]), abs(place[1] - middle[1])) > NEAR_DEG:
        place = None
    where = "" if place is None else f" (as web-mercator metres they would lie at {place[0]:.4f}, {place[1]:.4f})"
    return (
        f"are metres or feet of a map projection, not degrees{where}: "
        "save the table with longitude and latitude, or as a map layer with its coordinate system"
    )


def _is_far(lon: FloatArray, lat: FloatArray, middle: tuple[float, float]) -> BoolArray:
    return np.asarray(np.maximum(np.abs(lon - middle[0]), np.abs(lat - middle[1])) > FAR_DEG, dtype=np.bool_)


def _is_near(lon: FloatArray, lat: FloatArray, middle: tuple[float, float]) -> BoolArray:
    return np.asarray(np.maximum(np.abs(lon - middle[0]), np.abs(lat - middle[1])) < NEAR_DEG, dtype=np.bool_)
