"""Map layers (GeoPackage, GeoJSON, shapefile, file geodatabase): their fields as texts, their shapes in lon, lat."""

from __future__ import annotations

import glob
import json
import math
import os
import re
import tempfile
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from preplan.inputs.tables import ShapeArray, TextTable, fail, plain
from preplan.records import text_array

JSON_SUFFIXES = (".geojson", ".json", ".geojsonl", ".geojsons", ".ndjson")
FIRST_BYTES: Mapping[str, bytes] = {".gpkg": b"SQLite format 3\x00", ".shp": b"\x00\x00\x27\x0a"}
"""How a file of each kind begins, whatever else its name says."""
_HEAD_BYTES = 1_000_000
_SHX_HEAD, _SHX_ROW = 100, 8
"""Bytes before the first and of each entry of a shapefile's index (the format's published description, from memory)."""
_DBF_COUNT = slice(4, 8)
"""Where the head of its table counts the rows."""
_CUT_BY_SERVER = re.compile(rb'"exceededTransferLimit"\s*:\s*true')
"""Written beside the features by a map server that gives but 1,000 or 2,000 at a time (such an answer, quoted in an
issue of a map editor that lost features so; that it may stand behind them too is from memory)."""
_MATCHED, _RETURNED = (re.compile(rb'"number%s"\s*:\s*(\d+)' % what) for what in (b"Matched", b"Returned"))
"""The same of servers by another standard (OGC API - Features, from memory, unverified)."""
_A_FEATURE = re.compile(r'"type"\s*:\s*"Feature"')
_EXACT = 2.0**53
"""Whole numbers up to this are exact as decimals."""
_RECORD_MARK = "\x1e"
"""What stands before each feature of a text sequence (RFC 8142)."""


def read_layer(source: Path | str | bytes, role: str, file: str, *, suffix: str = "") -> TextTable:
    """Read the layer or table named like the table, else the first one with shapes.

    The reader knows some sixty formats by their content, among them descriptions of servers to ask and of commands
    to run: a file is therefore opened as what its name says it is, or not at all.

    Parameters
    ----------
    source
        A file or folder on disk, a path into an archive whose members were checked, or the bytes of a file.
    suffix
        Ending that tells the kind of the bytes.

    Raises
    ------
    InputError
        There is no such layer, or its coordinates are not longitude and latitude and nothing says what they are.
    """
    import pyogrio  # noqa: PLC0415  heavy, and most districts bring CSV

    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            with _named(source, suffix, file) as name:
                layers = pyogrio.list_layers(name)
                layer, chosen = _choose_layer(layers, role, file)
                meta, fids, wkb, values = pyogrio.raw.read(name, layer=layer, datetime_as_string=True, return_fids=True)
                _check_all_read(name, 0 if wkb is None else len(wkb), file)
                headers = [str(field).strip() for field in meta["fields"]]
                ids = _feature_ids(name, headers, fids.tolist())
        except (RuntimeError, UnicodeDecodeError) as error:  # RuntimeError: the base of all of this reader's errors
            remedy = "open it in a GIS and save it as GeoPackage"
            if isinstance(source, Path) and source.suffix.lower() == ".shp":
                remedy = "a shapefile is a .shp, .shx and .dbf file side by side; " + remedy
            raise fail(file, "is no map layer that can be read", remedy=remedy) from error
    notes = chosen + [f"{file}: {_first_line(warning.message, name, source, file)}" for warning in caught]
    if not len(meta["fields"]):
        _check_columns(source, file, shapes=wkb is not None and len(wkb) > 0)
    rows = len(values[0]) if wkb is None else len(wkb)
    shapes, assumed = None, list[str]()
    if wkb is not None:
        shapes, assumed = _to_lonlat(shapely.from_wkb(wkb, on_invalid="ignore"), meta["crs"], file)
    return TextTable(
        file=file,
        headers=(*headers, *(["id"] if ids else [])),
        columns=(*(text_array(_as_text(column)) for column in values), *([text_array(ids)] if ids else [])),
        row=np.arange(rows, dtype=np.int32) + np.int32(2),
        overlong=np.zeros(rows, dtype=np.bool_),
        typed=True,
        no_empty=str(source).lower().endswith(".shp"),
        shapes=shapes,
        notes=(*dict.fromkeys(notes), *assumed),
        chosen="".join(chosen),
        part=layer if chosen else "",
    )


def _check_columns(source: Path | str | bytes, file: str, *, shapes: bool) -> None:
    """Refuse a layer without a column: a shapefile whose other half is missing, or one that has no shapes either.

    Raises
    ------
    InputError
        It is so.
    """
    if str(source).lower().endswith(".shp"):
        raise fail(
            file,
            "has shapes but no columns: the .dbf file that holds them is missing",
            remedy="put the files .shp, .shx, .dbf and .prj of one name side by side",
        )
    if not shapes:
        raise fail(file, "has no features", remedy="is it the right file, or was it saved with a filter?")


@contextmanager
def _named(source: Path | str | bytes, suffix: str, file: str) -> Iterator[Path | str]:
    """Name a layer so that the reader opens it as what it is said to be, and as nothing else."""
    if isinstance(source, bytes):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"table{suffix}"
            path.write_bytes(source)
            with _named(path, suffix, file) as name:
                yield name
        return
    if isinstance(source, str) or source.is_dir():
        yield source
        return
    ending = source.suffix.lower()
    with source.open("rb") as opened:
        head = opened.read(_HEAD_BYTES)
        opened.seek(max(opened.seek(0, os.SEEK_END) - _HEAD_BYTES, 0))
        tail = opened.read() if ending in JSON_SUFFIXES else b""
    check_first_bytes(head, ending, file)
    beside = {part.suffix.lower(): part for part in source.parent.glob(f"{glob.escape(source.stem)}.*")}
    if ending == ".shp" and beside.keys() >= {".shx", ".dbf"}:
        with beside[".dbf"].open("rb") as table:
            check_counts(beside[".shx"].stat().st_size, table.read(_DBF_COUNT.stop), file)
    if ending in JSON_SUFFIXES and (_is_cut(head) or _is_cut(tail)):
        rule = "is a part of its layer: the map server says in it that there are more features than it gives at once"
        raise fail(file, rule, remedy="fetch the rest too and join them, or have the layer exported as a whole")
    yield f"{_json_kind(head)}:{source}" if ending in JSON_SUFFIXES else source


def _check_all_read(name: Path | str, read: int, file: str) -> None:
    """Refuse a file of GeoJSON of which the reader has passed over a part: it does so without a word."""
    driver, _, path = str(name).partition(":")
    if driver not in {"GeoJSON", "GeoJSONSeq"}:
        return
    text = Path(path).read_bytes().decode("utf-8-sig", errors="replace")
    # a look that costs nothing; a text of that kind in a column makes it look closer
    lines = [line for line in text.splitlines() if line.strip()] if driver == "GeoJSONSeq" else []
    if max(len(_A_FEATURE.findall(text)), len(lines)) <= read:
        return
    line = _unread_line(text) if driver == "GeoJSONSeq" else _unread_end(text, read)
    if line is not None:
        rule = "is not read from here on" if driver == "GeoJSON" else "is no feature of its own in this line"
        remedy = "write one collection with all features, or one feature a line, and nothing between and behind them"
        raise fail(file, rule, row=line, remedy=remedy)


def _feature_ids(name: Path | str, headers: Sequence[str], read: Sequence[int]) -> list[str]:
    """Give the numbers by which features of GeoJSON go, which the reader keeps apart from their columns.

    Only where every feature has its own, and no column is an id.
    """
    driver, _, path = str(name).partition(":")
    if driver not in {"GeoJSON", "GeoJSONSeq"} or any(header.casefold().endswith("id") for header in headers):
        return []
    text = Path(path).read_bytes().decode("utf-8-sig", errors="replace").replace(_RECORD_MARK, "")
    lines = text.splitlines() if driver == "GeoJSONSeq" else []
    try:
        features = [json.loads(line) for line in lines if line.strip()] or json.loads(text).get("features", [])
    except (ValueError, RecursionError, AttributeError):
        return []
    ids = [one.get("id") if isinstance(one, dict) else None for one in features]
    return [str(one) for one in ids] if ids == list(read) and len(set(ids)) == len(ids) else []


def _unread_line(text: str) -> int | None:
    """Find the first line of a sequence that is no feature, None where each is one."""
    at = 1
    for record in text.split(_RECORD_MARK) if text.startswith(_RECORD_MARK) else text.splitlines(keepends=True):
        try:
            found = json.loads(record) if record.strip() else {}
        except (ValueError, RecursionError):
            return at
        if not isinstance(found, dict) or found.get("type") == "FeatureCollection":
            return at
        at += record.count("\n")
    return None


def _unread_end(text: str, read: int) -> int | None:
    """Find the line where what is read of a collection ends; None where all of its features are read."""
    try:
        found = json.loads(text)
    except json.JSONDecodeError as error:
        return error.lineno
    except (ValueError, RecursionError):
        return None
    features = found.get("features", []) if isinstance(found, dict) else found
    whole = sum(isinstance(one, dict) for one in features) <= read
    return None if whole else 1


def _is_cut(text: bytes) -> bool:
    """Tell whether a map server says beside its features that it has more of them."""
    matched, returned = _MATCHED.search(text), _RETURNED.search(text)
    fewer = matched is not None and returned is not None and int(returned[1]) < int(matched[1])
    return fewer or _CUT_BY_SERVER.search(text) is not None


def check_first_bytes(head: bytes, suffix: str, file: str) -> None:
    """Refuse a file that does not begin as its name says.

    Raises
    ------
    InputError
        If it does not.
    """
    if not head.startswith(FIRST_BYTES.get(suffix, b"")):
        rule = f"is no {suffix.removeprefix('.')} file, though it is called so"
        raise fail(file, rule, remedy="open it in a GIS and save it as GeoPackage")


def check_counts(index_bytes: int, table_head: bytes, file: str) -> None:
    """Refuse a shapefile whose table has more or fewer rows than it has shapes: nobody knows which are whose.

    Raises
    ------
    InputError
        If it has.
    """
    shapes, rows = (index_bytes - _SHX_HEAD) // _SHX_ROW, int.from_bytes(table_head[_DBF_COUNT], "little")
    if shapes != rows:
        rule = (
            f"has {shapes:,} shapes and {rows:,} rows in its .dbf table: one of the two is of another file, or edited"
        )
        raise fail(file, rule, remedy="export it again; a .dbf edited by itself gives addresses to other places")


def _json_kind(head: bytes) -> str:
    """Tell a sequence of features, one a line, from a collection of them."""
    text = head.decode("utf-8-sig", errors="replace").lstrip()
    if text.startswith(_RECORD_MARK):
        return "GeoJSONSeq"
    line, ends, _ = text.partition("\n")
    try:
        first = json.loads(line) if ends else {}
    except (ValueError, RecursionError):
        first = {}
    alone = isinstance(first, dict) and first.get("type") == "Feature"
    return "GeoJSONSeq" if alone else "GeoJSON"


_PLAINER = {
    "Invalid coord dimension": "some shapes lack a longitude or a latitude; their rows have no place.",
    "Unsupported geometry type detected. Feature gets NULL geometry assigned.": (
        "some shapes are of a kind that is not known; their rows have no place."
    ),
}
"""What a reader warns of, in plain words."""


def _first_line(message: object, name: Path | str, source: Path | str | bytes, file: str) -> str:
    """Say a reader's warning in one line that names no folder, in words that are no programmer's."""
    text = str(message).strip().partition("\n")[0].replace(str(name), file)
    text = next((plain for said, plain in _PLAINER.items() if said in text), text)
    return text if isinstance(source, bytes) else text.replace(str(source), file)


def _choose_layer(layers: Iterable[tuple[str, str | None]], role: str, file: str) -> tuple[str, list[str]]:
    every = {str(name): shape for name, shape in layers}
    named = [name for name in every if plain(name) == role]
    # a table without shapes, as that of the apparatus may be, is read where it is named, or where there is no other
    names = [name for name, shape in every.items() if shape is not None or name in named] or list(every)
    if not names:
        raise fail(file, "has no layer")
    if len(names) == 1:
        return names[0], []
    if named:
        return named[0], [f"{file}: has {len(names)} layers; {named[0]!r} was read."]
    note = f"{file}: has {len(names)} layers; the first, {names[0]!r}, was read (name one {role!r} to choose it)."
    return names[0], [note]


def _to_lonlat(shapes: ShapeArray, crs: str | None, file: str) -> tuple[ShapeArray, list[str]]:
    """Bring shapes to longitude and latitude; without a CRS they must already look so."""
    import pyproj  # noqa: PLC0415

    if crs is None:
        west, south, east, north = shapely.total_bounds(shapes).tolist()
        # NaN bounds (no shape at all) pass: every row then lacks its place and says so
        if min(west, south + 90.0) < -180.0 or south < -90.0 or east > 180.0 or north > 90.0:
            raise fail(
                file,
                "names no coordinate system, and its numbers are not longitude and latitude",
                remedy="save it with its coordinate system (a shapefile needs its .prj)",
            )
        return shapes, [f"{file}: names no coordinate system; its numbers fit longitude and latitude (WGS84)."]
    try:
        transformer = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    except pyproj.exceptions.ProjError as error:
        remedy = "save it in a known one, such as longitude and latitude (EPSG:4326)"
        raise fail(file, "has a coordinate system that is not known", remedy=remedy) from error

    def project(xy: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.column_stack(transformer.transform(xy[:, 0], xy[:, 1]))

    same = pyproj.CRS.from_user_input(crs).equals("EPSG:4326", ignore_axis_order=True)
    return (shapes if same else shapely.transform(shapes, project)), []


def _as_text(column: npt.NDArray[Any]) -> list[str]:
    """Write a field as texts: '' for a missing value, no '.0' after whole numbers.

    The reader gives whole numbers as decimals where a cell is empty: those of more digits than that holds are written
    as what they are, rounded, and no id is made of them.
    """
    if column.dtype.kind == "f":
        return [_number_text(value) for value in column.tolist()]
    return ["" if v is None else str(v).strip() for v in column.tolist()]


def _number_text(value: float) -> str:
    """Write a number as text.

    >>> _number_text(12.0), _number_text(0.1), _number_text(float("nan")), _number_text(12345678901234567.0)
    ('12', '0.1', '', '1.234567890123457e+16')
    """
    if math.isnan(value):
        return ""
    if abs(value) >= _EXACT:
        return f"{value:.15e}"
    return f"{value:.0f}" if value.is_integer() else repr(value)
