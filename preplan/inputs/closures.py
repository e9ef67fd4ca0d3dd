"""The closure table: limits the district knows and the map does not."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preplan.inputs import cells
from preplan.inputs.sheet import Sheet
from preplan.inputs.units_written import unit_of
from preplan.records import Closure, FloatArray

Line: TypeAlias = tuple[tuple[float, float], ...]
"""Points of a line, lon, lat; one for a point, none for no place."""

KINDS: Mapping[str, str] = {kind: kind for kind in ("closed", "max_lb", "max_height_ft", "max_width_ft", "one_way")}

LARGEST_WAY_ID = 2.0**53
"""Whole numbers up to this are exact in a table of numbers; ids of OpenStreetMap passed 1,000,000,000 long ago."""


def read_closures(sheet: Sheet) -> tuple[Closure, ...]:
    """Check every cell and build the closures without a fault, in the order of the table."""
    kind = sheet.word("kind", KINDS, required=True)
    way = sheet.number("way_id", above=0.0, high=LARGEST_WAY_ID, whole=True)
    value = _values(sheet, kind.tolist())
    lines = _lines(sheet)
    nowhere = np.isnan(way) & np.array([not line for line in lines], dtype=np.bool_) & sheet.good
    sheet.fault(nowhere, "way_id", "is empty, and no lon, lat or line says where the closure is")
    months = sheet.months("months")
    note = sheet.text("note")
    return tuple(
        Closure(
            closure_id=sheet.id[i],
            kind=kind[i],
            way_id=None if np.isnan(way[i]) else int(way[i]),
            line=lines[i],
            value=None if np.isnan(value[i]) else float(value[i]),
            months=months[i],
            note=note[i],
            file=sheet.file,
            row=int(sheet.row[i]),
        )
        for i in np.flatnonzero(sheet.good).tolist()
    )


def _values(sheet: Sheet, kinds: list[str]) -> FloatArray:
    """Read limits in the unit their kind ends with; NaN where the kind has none."""
    given = sheet.cells("value")
    limited = np.array([kind.startswith("max_") for kind in kinds], dtype=np.bool_)
    read = [cells.number(cell, unit_of(kind)) for cell, kind in zip(given, kinds, strict=True)]
    value = np.where(limited, np.array(read, dtype=np.float64), np.nan)
    sheet.fault(limited & (given == ""), "value", "is empty: a limit needs its number")
    sheet.fault(limited & (given != "") & ~(value > 0.0), "value", "is not a number above 0 in the unit of its kind")
    return value


def _lines(sheet: Sheet) -> list[Line]:
    """Read each row's point or line; empty where it has neither."""
    places: list[Line] = [()] * len(sheet)
    if sheet.has("lon") and sheet.has("lat"):
        lon, lat = sheet.place(required=False)
        known = np.isfinite(lon) & np.isfinite(lat)
        places = [((float(x), float(y)),) if here else () for x, y, here in zip(lon, lat, known, strict=True)]
    shapes = sheet.shapes()
    if shapes is None:
        return places
    drawn = [() if shape is None else _points(shape) for shape in shapes]
    wrong = np.array([line is None for line in drawn], dtype=np.bool_)
    sheet.fault(wrong, "geometry", "is neither a point nor one line in longitude and latitude")
    return [line or place for line, place in zip(drawn, places, strict=True)]


def _points(shape: BaseGeometry) -> Line | None:
    """Take the lon, lat points of a point or a line, None where the shape is neither or not on earth."""
    if shape.geom_type == "MultiLineString":
        shape = shapely.line_merge(shape)
    if shape.geom_type not in {"Point", "LineString"}:
        return None
    points = shapely.get_coordinates(shape)
    if not (np.abs(points) <= [180.0, 90.0]).all():
        return None
    return tuple((float(lon), float(lat)) for lon, lat in points)
