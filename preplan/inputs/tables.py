"""Any table file becomes a table of texts with spreadsheet rows; a map layer adds its shapes in lon, lat."""

from __future__ import annotations

import csv
import io
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import shapely

from preplan.errors import Finding, InputError
from preplan.records import BoolArray, IntArray, TextArray, text_array

ShapeArray: TypeAlias = npt.NDArray[np.object_]
"""Shapes of shapely; None where a row has none."""
DELIMITERS = (",", ";", "\t")
CSV_SUFFIXES = (".csv", ".tsv", ".txt")
MAP_SUFFIXES = (".gpkg", ".geojson", ".json", ".geojsonl", ".shp")
_BYTE_ORDER_MARKS = (b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True, kw_only=True)
class TextTable:
    """A table as it stands in its file: nothing is interpreted yet."""

    file: str
    """File as the user knows it."""
    headers: tuple[str, ...]
    columns: tuple[TextArray, ...]
    """One array of stripped texts for each header."""
    row: IntArray
    """Spreadsheet row; the header is row 1."""
    overlong: BoolArray
    """True where a row has more cells than the header."""
    shapes: ShapeArray | None = None
    """Shape of each row of a map layer, in lon, lat."""
    notes: tuple[str, ...] = ()
    """Assumptions made while reading."""


def read_table(path: Path, role: str, file: str) -> TextTable:
    """Read a table from a CSV file or a map layer.

    Parameters
    ----------
    path
        The file; its suffix tells its kind.
    role
        Name of the table, such as 'addresses'; a layer of that name is taken where a file has several.
    file
        What to call the file in findings and notes.

    Raises
    ------
    InputError
        The file cannot be read at all; faults of single rows are left to the checks of cells.
    """
    suffix = path.suffix.lower()
    if suffix in CSV_SUFFIXES:
        return _read_csv(path, file)
    if suffix in MAP_SUFFIXES:
        return _read_layer(path, role, file)
    known = ", ".join((*CSV_SUFFIXES, *MAP_SUFFIXES))
    raise InputError(
        [Finding(file=file, rule=f"is no kind of table this program reads ({known})", remedy="save it as CSV")]
    )


def _fail(file: str, rule: str, *, row: int | None = None, remedy: str = "") -> InputError:
    return InputError([Finding(file=file, row=row, rule=rule, remedy=remedy)])


# --------------------------------------------------------------------------- CSV


def _read_csv(path: Path, file: str) -> TextTable:
    text, notes = _decode(path, file)
    records = _records(text, file)
    filled = [i for i, record in enumerate(records) if any(map(str.strip, record))]
    if not filled:
        raise _fail(file, "is empty", remedy="the first row must name the columns")
    headers = tuple(cell.strip() for cell in records[filled[0]])
    width = len(headers)
    rows = [records[i] for i in filled[1:]]
    # a row without any value but with delimiters is what a spreadsheet leaves below a table
    blank = sum(1 for record in records[filled[0] :] if record) - len(filled)
    if blank:
        notes = (*notes, f"{file}: {blank:,} rows without any value were passed over.")
    even = [record if len(record) == width else (record + [""] * width)[:width] for record in rows]
    columns = tuple(text_array(list(map(str.strip, column))) for column in zip(*even, strict=True))
    return TextTable(
        file=file,
        headers=headers,
        columns=columns or tuple(text_array([]) for _ in headers),
        row=np.array(filled[1:], dtype=np.int32) + np.int32(1),
        overlong=np.array([len(record) > width and any(record[width:]) for record in rows], dtype=np.bool_),
        notes=notes,
    )


def _decode(path: Path, file: str) -> tuple[str, tuple[str, ...]]:
    """Decode a file: UTF-8 with or without a mark, UTF-16 with one, else the code page of older spreadsheets."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise _fail(file, f"cannot be read: {error.strerror}") from error
    if data.startswith(_BYTE_ORDER_MARKS):
        return data.decode("utf-16", errors="replace"), ()
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        note = f"{file}: not UTF-8; read as Windows-1252, so letters with accents may be wrong."
    try:
        return data.decode("cp1252"), (note,)
    except UnicodeDecodeError as error:
        raise _fail(file, "is neither UTF-8 nor Windows-1252", remedy="save it as CSV UTF-8") from error


def _records(text: str, file: str) -> list[list[str]]:
    """Split a text into rows of cells, one for each row a spreadsheet would show; a blank line has no cells."""
    head = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(DELIMITERS, key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    records: list[list[str]] = []
    before, line = 0, 0
    try:
        for record in reader:
            records.append(record)
            before, line = line, reader.line_num
    except csv.Error as error:
        raise _fail(file, f"is not a readable CSV file: {error}", row=reader.line_num) from error
    # a quote that never closes swallows the rest of the file into one cell, and no error is raised
    if records and text.count('"') % 2 and records[-1] and len(records[-1][-1].splitlines()) > 1:
        raise _fail(file, "has a quote that is never closed", row=before + 1, remedy='look for a single " there')
    return records


# --------------------------------------------------------------------------- map layers


def _read_layer(path: Path, role: str, file: str) -> TextTable:
    import pyogrio  # noqa: PLC0415  heavy, and most districts bring CSV

    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            layers = pyogrio.list_layers(path)
            layer, notes = _choose_layer(layers, role, file)
            meta, _, wkb, values = pyogrio.raw.read(path, layer=layer, datetime_as_string=True)
        except RuntimeError as error:  # the base of all of this reader's errors
            raise _fail(
                file, "is no map layer that can be read", remedy="open it in a GIS and save it as GeoPackage"
            ) from error
    notes += [f"{file}: {str(warning.message).replace(str(path), file)}" for warning in caught]
    if wkb is None:
        raise _fail(file, "has no shapes", remedy="save the table as CSV with lon and lat")
    shapes, assumed = _to_lonlat(shapely.from_wkb(wkb, on_invalid="ignore"), meta["crs"], file)
    return TextTable(
        file=file,
        headers=tuple(str(name).strip() for name in meta["fields"]),
        columns=tuple(text_array(_as_text(column)) for column in values),
        row=np.arange(len(shapes), dtype=np.int32) + np.int32(2),
        overlong=np.zeros(len(shapes), dtype=np.bool_),
        shapes=shapes,
        notes=(*notes, *assumed),
    )


def _choose_layer(layers: Iterable[tuple[str, str | None]], role: str, file: str) -> tuple[str, list[str]]:
    """Take the layer named like the table, else the first one with shapes."""
    names = [str(name) for name, shape in layers if shape is not None]
    if not names:
        raise _fail(file, "has no layer with shapes")
    named = [name for name in names if name.casefold() == role]
    if named or len(names) == 1:
        return (named or names)[0], []
    note = f"{file}: has {len(names)} layers; the first, {names[0]!r}, was read (name one {role!r} to choose it)."
    return names[0], [note]


def _to_lonlat(shapes: ShapeArray, crs: str | None, file: str) -> tuple[ShapeArray, list[str]]:
    """Bring shapes to longitude and latitude; without a CRS they must already look so."""
    import pyproj  # noqa: PLC0415

    if crs is None:
        west, south, east, north = shapely.total_bounds(shapes).tolist()
        # NaN bounds (no shape at all) pass: every row then lacks its place and says so
        if min(west, south + 90.0) < -180.0 or south < -90.0 or east > 180.0 or north > 90.0:
            raise _fail(
                file,
                "names no coordinate system, and its numbers are not longitude and latitude",
                remedy="save it with its coordinate system (a shapefile needs its .prj)",
            )
        return shapes, [f"{file}: names no coordinate system; its numbers fit longitude and latitude (WGS84)."]
    try:
        transformer = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    except pyproj.exceptions.ProjError as error:
        raise _fail(file, f"has a coordinate system that is not known: {error}") from error

    def project(xy: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.column_stack(transformer.transform(xy[:, 0], xy[:, 1]))

    same = pyproj.CRS.from_user_input(crs).equals("EPSG:4326", ignore_axis_order=True)
    return (shapes if same else shapely.transform(shapes, project)), []


def _as_text(column: npt.NDArray[Any]) -> list[str]:
    """Write a column of a map layer as texts: '' for a missing value, no '.0' after whole numbers."""
    if column.dtype.kind == "f":
        return ["" if v != v else f"{v:.0f}" if v.is_integer() else repr(v) for v in column.tolist()]  # noqa: PLR0124
    return ["" if v is None else str(v).strip() for v in column.tolist()]
