"""Where the rows of a table are: two columns of degrees, or a shape, and what is wrong with either."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
import shapely

from preplan.inputs import degrees
from preplan.inputs.tables import ShapeArray
from preplan.records import BoolArray, FloatArray, TextArray, text_array

if TYPE_CHECKING:
    from preplan.inputs.sheet import Sheet

_AXES = ("lon", "lat")
_ONE_PLACE_DEG = 0.002
"""About 700 ft from north to south: places nearer than that are one (common sense, no source)."""
_ACROSS_DEG = 175.0
"""Beyond it two signs of longitude may be meant: the 180th meridian is near."""
_BEYOND = (
    "lies on the other side of the 180th meridian: a district across it cannot be planned; plan each side for itself, "
    "or correct the sign"
)
_WIDE_DEG = 0.02
"""About 1.4 mi from north to south: no building is so wide (common sense, no source)."""


def read_places(sheet: Sheet, *, required: bool) -> tuple[FloatArray, FloatArray]:
    """Read the places of a table as `Sheet.place` says.

    Shapes must be one place only where a place is `required`: a bridge may be drawn as a line.
    """
    columns = all(map(sheet.has, _AXES))
    shapes = sheet.shapes() if sheet.is_layer or not columns else None
    if shapes is None:
        shown = {axis: sheet.cells(axis) for axis in _AXES}
        lon, lat = (_degrees(sheet, axis) for axis in _AXES)
        neither = (shown["lon"] == "") & (shown["lat"] == "")
        for axis, cells in shown.items():
            none = cells == ""
            sheet.fault(none if required else none & ~neither, axis, "is empty", cells)
    else:
        lon, lat = _filled(sheet, *_middles(shapes)) if columns else _middles(shapes)
        shown = {"lon": _shown(lon), "lat": _shown(lat)}
        if required:
            sheet.fault(np.isnan(lon), "geometry", "is empty: the row has no place", shown["lon"])
            _check_shapes(sheet, shapes, lon, lat)
            _check_columns(sheet, lon, lat)
    _check_range(sheet, lon, lat, shown, near=required)
    return lon, lat


def _degrees(sheet: Sheet, axis: str) -> FloatArray:
    values, wrong, rules = degrees.read_degrees(sheet.cells(axis), axis)
    sheet.fault(wrong, axis, "is not a number")
    for rule in sorted(rules):
        sheet.note(f"{sheet.header(axis)} is written with {rule} in some rows; they were read so.")
    return values


def _said(sheet: Sheet) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Read the columns lon, lat of a table with shapes, and where they say degrees and not just 0, 0."""
    lon, lat = (degrees.read_degrees(sheet.cells(axis), axis)[0] for axis in _AXES)
    return lon, lat, (np.abs(lon) <= 180.0) & (np.abs(lat) <= 90.0) & ~((lon == 0.0) & (lat == 0.0))


def _middles(shapes: ShapeArray) -> tuple[FloatArray, FloatArray]:
    middle = shapely.centroid(shapes)
    middle[shapely.is_empty(middle)] = None  # a shape of no point has no middle
    return shapely.get_x(middle), shapely.get_y(middle)


def _filled(sheet: Sheet, lon: FloatArray, lat: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give rows without a shape the place that their columns lon, lat say, with a note."""
    said_lon, said_lat, good = _said(sheet)
    such = np.flatnonzero(good & np.isnan(lon))
    if such.size:
        more = f", and those of {such.size - 1:,} more rows" if such.size > 1 else ""
        sheet.note(f"row {sheet.row[such[0]]} has no shape; its lon and lat were taken{more}.")
    lon, lat = lon.copy(), lat.copy()
    lon[such], lat[such] = said_lon[such], said_lat[such]
    return lon, lat


def _check_shapes(sheet: Sheet, shapes: ShapeArray, lon: FloatArray, lat: FloatArray) -> None:
    """Find shapes that are no one place."""
    kinds = text_array(["" if shape is None else str(shape.geom_type) for shape in shapes])
    edges = shapely.bounds(shapes).reshape(-1, 4)
    wide_deg = np.nan_to_num(np.fmax(edges[:, 2] - edges[:, 0], edges[:, 3] - edges[:, 1]))
    # an outline drawn as a closed line is an area
    line = np.isin(kinds, ("LineString", "MultiLineString")) & ~shapely.is_closed(shapes)
    sheet.fault(line, "geometry", "is a line, not a place: give a point, or the outline as an area", kinds)
    apart = np.isin(kinds, ("MultiPoint", "GeometryCollection")) & (wide_deg > _ONE_PLACE_DEG)
    off = shapely.distance(shapely.points(np.column_stack([lon, lat])), shapes)
    apart |= ~line & (np.nan_to_num(off) > _ONE_PLACE_DEG)
    sheet.fault(apart, "geometry", "holds places far apart: give each row one point", kinds)
    wide = "degrees wide is an area: its middle was taken; is a point meant?"
    sheet.ask(~(line | apart) & (wide_deg > _WIDE_DEG), "geometry", wide_deg, lambda _: wide)


def _check_columns(sheet: Sheet, lon: FloatArray, lat: FloatArray) -> None:
    """Ask about columns lon, lat that say another place than the shape; metres or feet of a grid are not held to it."""
    if not all(map(sheet.has, _AXES)):
        return
    said_lon, said_lat, good = _said(sheet)
    off = np.fmax(np.abs(said_lon - lon), np.abs(said_lat - lat))
    asked = "and its lat are not where the layer has the row; the layer counts: see which is right"
    sheet.ask(good & (np.nan_to_num(off) > _ONE_PLACE_DEG), "lon", said_lon, lambda _: asked)


def _check_range(sheet: Sheet, lon: FloatArray, lat: FloatArray, shown: Mapping[str, TextArray], *, near: bool) -> None:
    """Find places that cannot be meant; `near` where all rows lie in one district, not in a whole country."""
    swapped, unsigned = degrees.look_swapped(lon, lat), degrees.look_unsigned(lon, lat)
    mirrored = degrees.look_mirrored(lon, lat) & ~(swapped | unsigned)
    zero = (lon == 0.0) & (lat == 0.0)
    projected = degrees.look_projected(lon, lat) & ~swapped
    named = zero | swapped | unsigned | mirrored | projected
    lost = degrees.look_lost(lon, lat) & near & ~named & (np.abs(lon) <= 180.0) & (np.abs(lat) <= 90.0)
    named |= lost
    if named.any():
        both = text_array([f"{x}, {y}" for x, y in zip(shown["lon"], shown["lat"], strict=True)])
        sheet.fault(swapped, "lon, lat", "look swapped: longitude is lon, latitude is lat", both)
        sheet.fault(zero & ~swapped, "lon, lat", "is 0, 0, not a place", both)
        across = unsigned & (np.abs(lon) > _ACROSS_DEG)
        sheet.fault(
            unsigned & ~(zero | swapped | across), "lon, lat", "lacks the minus sign of western longitudes", both
        )
        sheet.fault(across, "lon, lat", _BEYOND, both)
        sheet.fault(mirrored, "lon, lat", "has the wrong sign of latitude, by the other rows", both)
        sheet.fault(lost, "lon, lat", "lies far from all others of its table: is a digit wrong?", both)
        middle = degrees.middle_of(lon, lat)
        for i in np.flatnonzero(projected).tolist():
            rule = degrees.projected_rule(float(lon[i]), float(lat[i]), middle)
            sheet.fault_at(i, "lon, lat", both[i], rule)
    sheet.fault((np.abs(lon) > 180.0) & ~named, "lon", "is not a longitude (-180 to 180)", shown["lon"])
    sheet.fault((np.abs(lat) > 90.0) & ~named, "lat", "is not a latitude (-90 to 90)", shown["lat"])


def _shown(values: FloatArray) -> TextArray:
    return text_array(["" if np.isnan(value) else f"{value:.10g}" for value in values.tolist()])
