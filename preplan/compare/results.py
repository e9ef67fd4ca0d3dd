"""Reads the result folders of two builds, each whole and as it was written, or says what is wrong with it."""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
from collections.abc import Container, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from functools import cached_property
from hashlib import sha256
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from preplan.errors import Finding, InputError, unreadable
from preplan.records import FloatArray
from preplan.render.dispatch import ADDED, DISPATCH_COLUMNS
from preplan.render.run_info import PROGRAM
from preplan.render.tables import (
    ADDRESS_COLUMNS,
    CARD_COLUMNS,
    FORMULA_STARTS,
    HAUL_COLUMNS,
    LEVEL_COLUMNS,
    REJECTED_COLUMNS,
    TRIP_COLUMNS,
)
from preplan.write import RUN_FILE

PACKAGE = "preplan.gpkg"
_UNREAD = frozenset({"deciding_months", "in_service"})
"""Columns that results of an earlier version do without; which months differ is read of cards and sheets, which fill
site is in service of the layer of fill sites."""
CSV_TABLES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "addresses": tuple(name for name in ADDRESS_COLUMNS if name not in _UNREAD),
        "levels": tuple(name for name in LEVEL_COLUMNS if name not in _UNREAD),
        "trips": tuple(name for name in TRIP_COLUMNS if name not in _UNREAD), "tankers": HAUL_COLUMNS,
        "dispatch": tuple(name for name in DISPATCH_COLUMNS if name not in ADDED),
        "cards": CARD_COLUMNS, "rejected": REJECTED_COLUMNS,
    }
)  # fmt: skip
"""Tables that are read, and the columns that each must have."""
NOT_YET = frozenset({"cards"})
"""Tables that results of an earlier version do without: then without rows."""
LAYERS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "fill_sites": (
            "geom", "number", "site_id", "name", "kind", "fill_gpm", "fill_gpm_given", "site_gpm", "storage_gal",
            "refill_gpm", "low_gpm", "lift_ft", "tested", "positions", "source_id", "turnaround", "needs_engine",
            "months", "in_service", "connection", "notes",
        ),
        "stations": ("geom", "station_id", "name", "aid", "staffed", "turnout_min", "units"),
        "bridges": (
            "kind", "way_id", "road", "ref", "max_lb", "max_axle_lb", "max_height_ft", "max_width_ft", "operating_lb",
            "loaded_trips", "empty_trips",
        ),
        "routes": ("geom", "address_id", "site_id", "leg"),
    }
)  # fmt: skip
"""Layers of the GeoPackage that are read, and the columns that each must have."""
KEYS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "addresses": ("address_id",), "levels": ("address_id", "response_level"), "trips": ("address_id", "site_id"),
        "tankers": ("address_id", "response_level", "unit_id"), "cards": ("address_id",),
        "fill_sites": ("site_id",), "stations": ("station_id",),
    }
)  # fmt: skip
"""Columns whose cells together name a row once."""
NUMBER_ENDS = ("_min", "_gpm", "_gal", "_ft", "_mi", "lon", "lat", "_number", "_bridges", "_lb", "_trips", "positions")
"""Ends of the names of columns of numbers."""
_RUN_KEYS: Mapping[str, tuple[type, ...]] = MappingProxyType(
    {
        "version": (str,), "district": (str,), "date": (str,), "inputs": (dict, dict), "response_levels": (list, dict),
        "rules": (dict,), "files": (dict, str),
    }
)  # fmt: skip
"""What is read of run.json: of which kind it is, and of which kind what it holds."""
_AGAIN = "build the district again with this version of the program"
_ENVELOPES = (0, 32, 48, 48, 64)
"""Bytes of the box before a shape, by its kind (GeoPackage 1.3, table 6)."""


@dataclass(frozen=True, kw_only=True)
class Results:
    """What one build wrote, as far as a comparison reads it."""

    folder: Path
    run: Mapping[str, Any]
    """run.json."""
    tables: Mapping[str, pd.DataFrame]
    """Tables and layers by name: texts ('' not known), and numbers (NaN not known); shapes as WKB, b'' for none."""

    def __getitem__(self, name: str) -> pd.DataFrame:
        """Give a table or layer."""
        return self.tables[name]

    def units_of(self, text: str) -> list[str]:
        """Part a list of unit_ids with a blank between: an id may hold blanks too."""
        return self._unit.findall(text)

    @cached_property
    def _unit(self) -> re.Pattern[str]:
        """Match one of the units, the longest first, else what no blank parts."""
        ids = sorted(map(str, self.run.get("units", ())), key=lambda one: (-len(one), one))
        return re.compile(rf"(?<!\S)(?:{'|'.join([*map(re.escape, ids), r'[^ ]+'])})(?!\S)")


def read_pair(old: Path, new: Path) -> tuple[Results, Results]:
    """Read two result folders of one district.

    Raises
    ------
    InputError
        With all that is wrong with either, or where they are one folder, or of two districts.
    """
    pair: list[Results] = []
    findings: list[Finding] = []
    for folder in (old, new):
        try:
            pair.append(read_results(folder))
        except InputError as error:
            findings += error.findings
    if not findings and old.samefile(new):
        remedy = "keep a copy of the results before you build again, or build with --out into another folder"
        findings.append(Finding(file=str(new), rule="is the same folder twice", remedy=remedy))
    if findings:
        raise InputError(findings)
    before, after = pair
    if before.run["district"] != after.run["district"]:
        rule = f"are the results of {after.run['district']!r}, those in {old} of {before.run['district']!r}"
        remedy = "compare two results of one district; under another name it has to be built again"
        raise _refused(str(new), rule, remedy)
    return _with_units(before, after), _with_units(after, before)


def _with_units(one: Results, other: Results) -> Results:
    """Let results of an earlier version, which do not name their units, have the other's."""
    return replace(one, run={"units": other.run.get("units", ()), **one.run})


def read_results(folder: Path) -> Results:
    """Read the results of one build.

    Raises
    ------
    InputError
        With all that is wrong with them.
    """
    run = _run(folder)
    found: list[Finding] = []
    tables: dict[str, pd.DataFrame] = {}
    for name, columns in CSV_TABLES.items():
        path = folder / f"{name}.csv"
        there = name not in NOT_YET or path.name in run["files"]
        tables[name] = _csv(path, _content(path, run, found) if there else None, columns, found)
    tables |= _layers(folder / PACKAGE, _content(folder / PACKAGE, run, found), found)
    for name, key in KEYS.items():
        found += _repeated(folder, name, tables[name], key)
    if found:
        raise InputError(found)
    return Results(folder=folder, run=run, tables=tables)


# --------------------------------------------------------------------------- run.json, and the files it vouches for


def _run(folder: Path) -> dict[str, Any]:
    """Read run.json.

    Raises
    ------
    InputError
        Where the folder holds no results, or what it says of itself cannot be read.
    """
    path = folder / RUN_FILE
    if not folder.is_dir():
        rule = "is not a folder" if folder.exists() else "is not there"
        raise _refused(str(folder), rule, "name two folders of results, the older one first")
    try:
        run = json.loads(path.read_bytes())
    except FileNotFoundError:
        raise _refused(
            str(folder), f"holds no results of this program: there is no {RUN_FILE}",
            "name the folder that `preplan build` wrote, not one above or in it",
        ) from None  # fmt: skip
    except OSError as error:
        raise InputError([unreadable(str(path), error)]) from error
    except (ValueError, RecursionError):
        raise _refused(str(path), "cannot be read: it was cut short or edited", _AGAIN) from None
    if not isinstance(run, dict) or run.get("program") != PROGRAM:
        raise _refused(
            str(path), "is not that of a build of this program", "name the folder that `preplan build` wrote"
        )
    lacking = [key for key, kind in _RUN_KEYS.items() if not _is_of(run.get(key), kind)]
    if lacking:
        raise _refused(
            str(path), f"does not say {', '.join(lacking)}: another version wrote it, or it was edited", _AGAIN
        )
    return run


def _is_of(value: object, kinds: Sequence[type]) -> bool:
    """Tell whether a value is of the first kind, the values in it of the second, those in these of the third."""
    kind, *within = kinds
    if not isinstance(value, kind) or not within:
        return isinstance(value, kind)
    return isinstance(value, dict | list) and all(
        _is_of(one, within) for one in (value.values() if isinstance(value, dict) else value)
    )


def _content(path: Path, run: Mapping[str, Any], found: list[Finding]) -> bytes | None:
    """Read a file of the set; None where it is not there, or is not what the run wrote."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        rule = "is not there, though run.json lists it" if path.name in run["files"] else "is not among these results"
        found.append(Finding(file=str(path), rule=rule, remedy=_AGAIN))
        return None
    except OSError as error:
        found.append(unreadable(str(path), error))
        return None
    if sha256(content).hexdigest() == run["files"].get(path.name):
        return content
    rule = "is not as the run wrote it: its checksum is not that in run.json"
    remedy = "somebody edited it, or a run was stopped in between; build the district again"
    found.append(Finding(file=str(path), rule=rule, remedy=remedy))
    return None


def _refused(file: str, rule: str, remedy: str) -> InputError:
    return InputError([Finding(file=file, rule=rule, remedy=remedy)])


# --------------------------------------------------------------------------- tables


def _csv(path: Path, content: bytes | None, columns: Sequence[str], found: list[Finding]) -> pd.DataFrame:
    """Read a table; without rows where it cannot be."""
    empty = pd.DataFrame(columns=list(columns), dtype=object)
    if content is None:
        return empty
    try:
        head, *rows = csv.reader(io.StringIO(content.decode("utf-8"), newline=""), strict=True)
        cells = dict(zip(head, zip(*rows, strict=True) if rows else ((),) * len(head), strict=True))
    except (ValueError, csv.Error) as error:
        found.append(Finding(file=str(path), rule=f"cannot be read as a table: {error}", remedy=_AGAIN))
        return empty
    if not _has(path, "", cells, columns, found):
        return empty
    return pd.DataFrame(
        {
            name: _numbers(path, name, cells[name], found) if _numeric(name) else _texts(cells[name])
            for name in columns
        }
    )  # fmt: skip


def _has(path: Path, layer: str, there: Container[str], columns: Sequence[str], found: list[Finding]) -> bool:
    """Tell whether a table has all columns that are read, and note it where not."""
    lacking = [name for name in columns if name not in there]
    if lacking:
        rule = f"has no column {', '.join(lacking)}: another version of the program wrote it"
        found.append(Finding(file=f"{path}{layer}", rule=rule, remedy=_AGAIN))
    return not lacking


def _texts(cells: Sequence[str]) -> pd.Series[Any]:
    return pd.Series([_unescaped(cell) for cell in cells], dtype=object)


def _numbers(path: Path, name: str, cells: Sequence[str], found: list[Finding]) -> FloatArray:
    """Read numbers; an empty cell is not known."""
    try:
        return np.array([float(cell) if cell else np.nan for cell in cells], dtype=np.float64)
    except ValueError:
        at = next(at for at, cell in enumerate(cells) if cell and not _is_number(cell))
        fault = Finding(file=str(path), row=at + 2, column=name, value=cells[at], rule="is not a number", remedy=_AGAIN)
        found.append(fault)
        return np.full(len(cells), np.nan)


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _numeric(name: str) -> bool:
    return name.endswith(NUMBER_ENDS) or name in {"number", "loads", "page"}


def _unescaped(text: str) -> str:
    """Take off the apostrophe that keeps a text from running as a formula.

    >>> _unescaped("'=7 Quarry Lane"), _unescaped("'t Hof")
    ('=7 Quarry Lane', "'t Hof")
    """
    return text[1:] if text[:1] == "'" and text[1:2] in FORMULA_STARTS else text


def _layers(path: Path, content: bytes | None, found: list[Finding]) -> dict[str, pd.DataFrame]:
    """Read the layers of the GeoPackage; empty where they cannot be."""
    layers = {name: pd.DataFrame(columns=list(columns), dtype=object) for name, columns in LAYERS.items()}
    if content is None:
        return layers
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)) as database:
            for name, columns in LAYERS.items():
                table = pd.read_sql_query(f'SELECT * FROM "{name}" ORDER BY rowid', database, dtype=object)  # noqa: S608 - a name of ours
                if _has(path, f", layer {name}", table.columns, columns, found):
                    layers[name] = _layer(table[list(columns)])
    except (sqlite3.Error, pd.errors.DatabaseError):
        found.append(Finding(file=str(path), rule="cannot be read, or lacks a layer", remedy=_AGAIN))
    return layers


def _layer(table: pd.DataFrame) -> pd.DataFrame:
    """Bring a layer's cells to what a table's are: numbers, and texts with '' where not known."""
    cells: dict[str, Any] = {}
    for name in table.columns:
        if name == "geom":
            cells[name] = table[name].map(_wkb)
        elif _numeric(name):
            cells[name] = pd.to_numeric(table[name]).astype(float)
        else:
            cells[name] = table[name].map(_cell).astype(object)
    return pd.DataFrame(cells)


def _cell(cell: object) -> str:
    """Write a cell of a layer as a table has it; '' where not known."""
    return cell if isinstance(cell, str) else "" if cell is None or cell != cell else str(cell)  # noqa: PLR0124 - NaN


def _wkb(blob: bytes | None) -> bytes:
    """Take the shape out of its GeoPackage wrapping (GeoPackage 1.3, section 2.1.3); b'' for none."""
    return blob[8 + _ENVELOPES[(blob[3] >> 1) & 7] :] if blob else b""


def _repeated(folder: Path, name: str, table: pd.DataFrame, key: Sequence[str]) -> list[Finding]:
    """Refuse a table in which a row's name comes twice."""
    twice = table.duplicated(list(key))
    if not twice.any():
        return []
    file = folder / (f"{name}.csv" if name in CSV_TABLES else PACKAGE)
    first = table.loc[twice, list(key)].iloc[0]
    count = int((table[list(key)] == first).all(axis=1).sum())
    which = " ".join(map(str, first))
    return [Finding(file=str(file), id=which, rule=f"is in {count} rows", remedy=_AGAIN)]
