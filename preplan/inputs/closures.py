"""The closure table: limits the district knows and the map does not."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from preplan.inputs import bounds, cells
from preplan.inputs.sheet import Sheet
from preplan.inputs.units_written import expected, unit_of
from preplan.records import Closure, FloatArray, TextArray

Line: TypeAlias = tuple[tuple[float, float], ...]
"""Points of a line, lon, lat; one for a point, none for no place."""

KINDS: Mapping[str, str] = {kind: kind for kind in ("closed", "max_lb", "max_height_ft", "max_width_ft", "one_way")}
KIND_HINTS: Mapping[str, str] = {
    **dict.fromkeys(("one-way", "one way", "oneway"), "write one_way"),
    **dict.fromkeys(("weight", "load", "posted", "tons", "lb"), "write max_lb, and the pounds in value"),
    **dict.fromkeys(("height", "clearance", "low"), "write max_height_ft, and the feet in value"),
    **dict.fromkeys(("width", "narrow"), "write max_width_ft, and the feet in value"),
    **dict.fromkeys(
        ("truck", "tanker", "hgv", "commercial"),
        "write closed where no tanker passes, max_lb with the pounds that do; leave out a sign that fire trucks pass",
    ),
    "open": "leave out the row of a road that is open",
    **dict.fromkeys(("clos", "shut", "out", "block", "season"), "write closed, and the months if not all year"),
}  # fmt: skip
"""What to do about other words for a kind, by a part of them, the first that fits (this program's choice)."""
_NOTHING = ("", "0", "0.0")
"""An empty cell, and what a shapefile writes for one."""
WORDS: Mapping[str, Mapping[str, float]] = {
    "closed": dict.fromkeys((*_NOTHING, "closed", "yes", "y", "true", "1", "1.0", "x"), np.nan),
    "one_way": {
        **dict.fromkeys((*_NOTHING, "yes", "y", "true", "1", "1.0", "x", "forward"), np.nan),
        **dict.fromkeys(("-1", "-1.0", "reverse", "backward", "against"), -1.0),
    },
}
"""What the value of a kind without a limit may say; -1: a one-way road runs against the map."""
WORD_RULES: Mapping[str, str] = {
    "closed": "opens nothing, for the row closes the road: leave value empty; take out the row of a road that is open, "
    "and give the months in which one is closed for a part of the year",
    "one_way": "is no direction: leave value empty where traffic runs as the map draws the road, or as your line runs; "
    "write -1 where it runs against that",
}

_WAY = re.compile(r"^(?:(?:https?://)?(?:www\.)?openstreetmap\.org/)?(?:way[/ ]|w)(?=\d+$)", re.IGNORECASE)
"""How the id of a way begins in links and in exports of map data."""
WAY_REMEDY = ": write the number of the way alone, 123 of openstreetmap.org/way/123, or give lon and lat instead"
LARGEST_WAY_ID = 2.0**53
"""Whole numbers up to this are exact in a table of numbers; ids of OpenStreetMap passed 1,000,000,000 long ago."""


def read_closures(sheet: Sheet) -> tuple[Closure, ...]:
    """Check every cell and build the closures without a fault, in the order of the table."""
    kind = sheet.word("kind", KINDS, required=True, hints=KIND_HINTS)
    sheet.take_off("way_id", _WAY)
    way = sheet.number("way_id", above=0.0, high=LARGEST_WAY_ID, whole=True, remedy=WAY_REMEDY)
    sheet.fault_rounded("way_id")
    value = _values(sheet, kind)
    lines = _lines(sheet)
    nowhere = np.isnan(way) & np.array([not line for line in lines], dtype=np.bool_) & sheet.good
    sheet.fault(nowhere, "way_id", "is empty, and no lon, lat or line says where the closure is")
    months = sheet.months()
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


def _values(sheet: Sheet, kinds: TextArray) -> FloatArray:
    """Read limits in the unit their kind ends with, and -1 where a one-way road runs against the map; else NaN."""
    given = sheet.cells("value")
    value = np.full(len(sheet), np.nan)
    for kind, bound in bounds.CLOSURES.items():
        mine = kinds == kind
        in_doubt = sheet.point_in_doubt("value", unit_of(kind), mine)
        read = cells.read_numbers(given[mine], unit_of(kind))
        sheet.note_readings("value", read, unit_of(kind))
        value[mine] = np.where(in_doubt[mine], np.nan, read.number)
        sheet.fault(mine & (given == ""), "value", "is empty: a limit needs its number")
        wrong = mine & (given != "") & ~(value > 0.0) & ~in_doubt
        for i in np.flatnonzero(wrong).tolist():
            said = expected(given[i], unit_of(kind)) if np.isnan(value[i]) else "must be above 0"
            sheet.fault_at(i, "value", given[i], said)
        sheet.outside("value", np.where(mine, value, np.nan), bound, unit_of(kind))
    for kind, words in WORDS.items():
        mine = kinds == kind
        value[mine] = [words.get(cell.casefold(), np.nan) for cell in given[mine]]
        unknown = np.array([cell.casefold() not in words for cell in given], dtype=np.bool_)
        sheet.fault(mine & unknown, "value", WORD_RULES[kind])
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
    rule = "is neither a point nor one line in longitude and latitude: give each part a row of its own"
    sheet.fault(wrong, "geometry", rule)
    return [line or place for line, place in zip(drawn, places, strict=True)]


def _points(shape: BaseGeometry) -> Line | None:
    """Take the lon, lat points of a point or a line, None where the shape is neither or not on earth."""
    if shape.geom_type == "MultiLineString":
        shape = shapely.line_merge(shape)
    if shape.geom_type in {"MultiPoint", "GeometryCollection"} and len(shapely.get_parts(shape)) == 1:
        shape = shapely.get_parts(shape)[0]
    if shape.geom_type not in {"Point", "LineString"}:
        return None
    points = shapely.get_coordinates(shape)
    if not (np.abs(points) <= [180.0, 90.0]).all():
        return None
    return tuple((float(lon), float(lat)) for lon, lat in points)
