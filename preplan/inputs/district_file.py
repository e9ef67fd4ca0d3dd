"""The district file: rules, levels, and where the tables are. Every fault is found, with its line."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import shapely

from preplan.errors import Finding, InputError, unreadable
from preplan.inputs.columns import LOOKS_LIKE
from preplan.inputs.rule_tables import RULE_TABLES, read_rules, rule_homes, rule_names
from preplan.inputs.table_file import is_table
from preplan.inputs.table_specs import SPECS
from preplan.inputs.toml_document import Document, read_document
from preplan.inputs.toml_slips import BACKSLASH_REMEDY
from preplan.plan_inputs import RoadSource
from preplan.records import FloatArray, ResponseLevel
from preplan.rules import District, tile_host

REQUIRED_TABLES = ("addresses", "fill_sites", "stations", "apparatus")
OPTIONAL_TABLES = ("hydrants", "closures", "bridges")
LATER_TABLES = ("candidates",)
"""Tables that other commands read; the plan notes that it does not."""
ROAD_SUFFIXES = (".osm", ".osm.gz", ".osm.bz2", ".osm.pbf", ".pbf", ".graphml")
EARLIEST_YEAR, YEARS_AHEAD = 2000, 5
"""A plan stands for no day before that year, nor further ahead of today (this program's careful bounds)."""
CARDS_PER, CARDS_BACKUP = ("road", "address"), ("line", "sheet")
KEYS: Mapping[str, tuple[str, ...]] = {
    "district": ("name", "date", "boundary"),
    "files": (*REQUIRED_TABLES, *OPTIONAL_TABLES, *LATER_TABLES),
    "columns": tuple(SPECS),
    **{table: rule_names(table) for table in RULE_TABLES},
    "roads": ("file", "download", "buffer_mi", *rule_names("roads")),
    "cards": ("per", "backup"),
    "map": ("tiles",),
    "response_levels": ("name", "engines", "tankers"),
}
"""Keys of each table of the district file."""
HOMES: Mapping[str, str] = {
    **{key: table for table in ("district", "files", "roads", "cards", "map") for key in KEYS[table]},
    **rule_homes(),
}
"""Table of each key, for keys that stand in the wrong one or above them all."""
COLUMN_HOMES: Mapping[str, str] = {
    column: "] or [".join(f"columns.{table}" for table, spec in SPECS.items() if column in spec.names)
    for spec in SPECS.values()
    for column in spec.names
}
"""Tables of each column, for one that stands under [columns] itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DistrictFile:
    """What a district file says. Where something in it is at fault, the default stands and a finding says so."""

    path: Path
    district: District
    roads: RoadSource
    tables: Mapping[str, Path]
    """Path of each table that exists, by its key."""
    columns: Mapping[str, Mapping[str, str]]
    """The district's own headers of each table: ours to theirs."""
    boundary_file: Path | None = None
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()
    unread: tuple[Path, ...] = ()
    """Tables that are named but not read for a plan."""
    candidates: Path | None = None
    """Table of places where a fill site could be built; `unread` holds it too."""
    names: Mapping[str, str] = field(default_factory=dict)
    """What the district file calls each of its tables."""


def read_district(path: Path) -> DistrictFile:
    """Read and check a district file; the tables it names are not opened.

    Raises
    ------
    InputError
        Anything in it is at fault; all findings at once.
    """
    said = check_district(path)
    if said.findings:
        raise InputError(list(said.findings))
    return said


def check_district(path: Path) -> DistrictFile:
    """Read a district file as far as possible and keep its findings, so that its tables can be checked too.

    Raises
    ------
    InputError
        The file cannot be read or is not TOML.
    """
    document = read_document(path)
    notes: list[str] = []
    _check_keys(document)
    boundary_file, boundary = _boundary(document, path.parent, notes)
    names, found = _tables(document, path.parent, notes)
    roads = _road_source(document, path.parent, boundary)
    district = _district(document)
    columns = _columns(document)
    return DistrictFile(
        path=path,
        district=district,
        roads=roads,
        tables={table: found[table] for table in names},
        columns=columns,
        boundary_file=boundary_file,
        findings=tuple(document.findings),
        notes=(*notes, *document.notes),
        unread=tuple(file for table, file in found.items() if table not in names),
        candidates=found.get("candidates"),
        names=names,
    )


def _check_keys(document: Document) -> None:
    """Find unknown tables and unknown keys of known tables."""
    document.check_keys((), document.data, tuple(KEYS), HOMES)
    for name, known in KEYS.items():
        if name == "response_levels" or not isinstance(document.data.get(name, {}), dict):
            continue
        document.check_keys((name,), document.table(name), known, COLUMN_HOMES if name == "columns" else HOMES)


def _district(document: Document) -> District:
    said = document.table("district")
    if "name" in said:
        name = document.text(("district", "name"), said["name"])
    else:
        name = ""
        document.fault(("district", "name"), "is missing", remedy='write name = "..." under [district]')
    cards, tiles = document.table("cards"), document.table("map").get("tiles", "")
    return District(
        name=name,
        date=_date(document, said["date"]) if "date" in said else "",
        levels=_levels(document),
        rules=read_rules(document),
        cards_per=document.word(("cards", "per"), cards.get("per", CARDS_PER[0]), CARDS_PER, CARDS_PER[0]),
        cards_backup=document.word(
            ("cards", "backup"), cards.get("backup", CARDS_BACKUP[0]), CARDS_BACKUP, CARDS_BACKUP[0]
        ),
        tiles=_tiles(document, tiles),
    )


def _date(document: Document, value: object) -> str:
    """Read a date of TOML or a text of ISO 8601."""
    try:
        # a date and time of TOML is a date too
        found = value.date() if isinstance(value, dt.datetime) else dt.date.fromisoformat(str(value))
    except ValueError:
        document.fault(("district", "date"), "must be a date such as 2026-05-01", value=value)
        return ""
    last = dt.date.today().year + YEARS_AHEAD  # noqa: DTZ011 - a calendar's year, nobody's clock
    if not EARLIEST_YEAR <= found.year <= last:
        rule = f"lies before {EARLIEST_YEAR} or over {YEARS_AHEAD} years ahead: is a digit of the year wrong?"
        document.fault(("district", "date"), rule, value=value)
        return ""
    if found > dt.date.today():  # noqa: DTZ011 - the same
        document.ask(("district", "date"), found, "lies ahead of this machine's date: is a digit wrong? It is printed.")
    return found.isoformat()


def _tiles(document: Document, value: object) -> str:
    """Read an address template of map tiles, '' for none."""
    if value == "" or (isinstance(value, str) and tile_host(value)):
        return value
    rule = "must be an address of the web with {z}, {x} and {y}, no key, and {s} only alone before the host's first dot"
    document.fault(("map", "tiles"), f"{rule}: https://{{s}}.tiles.example/{{z}}/{{x}}/{{y}}.png", value=value)
    return ""


# --------------------------------------------------------------------------- response levels


def _levels(document: Document) -> tuple[ResponseLevel, ...]:
    said = document.data.get("response_levels", [])
    if not isinstance(said, list) or not said or not all(isinstance(one, dict) for one in said):
        document.fault(
            ("response_levels",), "at least one level is needed",
            remedy="write [[response_levels]] with name, engines and tankers",
        )  # fmt: skip
        return ()
    for i, one in enumerate(said):
        document.check_keys(("response_levels", i), one, KEYS["response_levels"], {})
    names = [_level_name(document, i, one) for i, one in enumerate(said)]
    engines = _totals(document, "engines", said, low=1)
    tankers = _totals(document, "tankers", said, low=0)
    return tuple(
        ResponseLevel(name=name, engines=of_engines, tankers=of_tankers)
        for name, of_engines, of_tankers in zip(names, engines, tankers, strict=True)
    )


def _level_name(document: Document, i: int, level: Mapping[str, Any]) -> str:
    path = ("response_levels", i, "name")
    if "name" not in level:
        document.fault(path, "is missing")
        return ""
    name = document.text(path, level["name"])
    others = document.data["response_levels"][:i]
    if name and any(_alike(str(other.get("name", ""))) == _alike(name) for other in others):
        document.fault(path, "is the name of another level too", value=name)
    return name


def _alike(name: str) -> str:
    """Bring a name of a level to the form by which crews hear it: no capitals, one blank between words."""
    return " ".join(name.casefold().split())


def _totals(document: Document, key: str, levels: list[dict[str, Any]], *, low: int) -> list[int]:
    """Read one count of every level; counts are totals on the road, so they never fall from level to level."""
    totals = []
    most = low
    for i, level in enumerate(levels):
        path = ("response_levels", i, key)
        if key not in level:
            document.fault(path, "is missing")
        count = document.number(path, level[key], low=low, whole=True) if key in level else None
        if count is not None and count < most:
            remedy = "counts are totals on the road, lowest level first"
            document.fault(path, f"is fewer than the {most} of a lower level", value=count, remedy=remedy)
        most = max(most, int(count or 0))
        totals.append(most)
    return totals


# --------------------------------------------------------------------------- files


def _tables(document: Document, folder: Path, notes: list[str]) -> tuple[dict[str, str], dict[str, Path]]:
    """Find the tables' files: what the district file calls each that is read, and the path of each."""
    said = document.table("files")
    names: dict[str, str] = {}
    paths: dict[str, Path] = {}
    for table in KEYS["files"]:
        if table not in said:
            if table in REQUIRED_TABLES:
                document.fault(("files", table), "is missing", remedy=f'write {table} = "{table}.csv" under [files]')
            continue
        path = _file(document, ("files", table), said[table], folder)
        if path is None:
            continue
        if table in LATER_TABLES:
            notes.append(f"{said[table]}: the {table} are not read for a plan.")
        else:
            names[table] = str(said[table]).strip()
        paths[table] = path
    return names, paths


def _file(document: Document, path: tuple[str, str], value: object, folder: Path) -> Path | None:
    """Find a file named in the district file; None where it is at fault."""
    name = document.text(path, value)
    if not name:
        return None
    found = folder / name
    try:
        there = is_table(found) if path[0] == "files" else found.is_file()
    except (OSError, ValueError):  # a name no file system takes
        there = False
    if there:
        return found
    turned = any(ord(letter) < ord(" ") for letter in name)
    remedy = BACKSLASH_REMEDY if turned else "paths are relative to the district file" + _meant(found)
    document.fault(path, "is no file", value=name, remedy=remedy)
    return None


def _meant(path: Path) -> str:
    """Ask whether a file beside it is meant whose name differs in capitals or a letter; '' where none is like it."""
    try:
        beside = {one.name.casefold(): one.name for one in sorted(path.parent.iterdir()) if is_table(one)}
    except (OSError, ValueError):
        return ""
    near = difflib.get_close_matches(path.name.casefold(), list(beside), n=1, cutoff=LOOKS_LIKE)
    return f"; is {beside[near[0]]!r} meant?" if near else ""


def _columns(document: Document) -> dict[str, dict[str, str]]:
    """Read the district's own headers, ours = "theirs"."""
    mapped: dict[str, dict[str, str]] = {}
    for table, spec in SPECS.items():
        said = document.table("columns", table)
        document.check_keys(("columns", table), said, spec.names, {})
        texts = {
            ours: document.text(("columns", table, ours), theirs) for ours, theirs in said.items() if ours in spec.names
        }
        mapped[table] = {ours: theirs for ours, theirs in texts.items() if theirs}
    return mapped


def _road_source(document: Document, folder: Path, boundary: FloatArray | None) -> RoadSource:
    """Read where the roads come from: a file, or a download inside the boundary."""
    said = document.table("roads")
    file = _file(document, ("roads", "file"), said["file"], folder) if "file" in said else None
    if file is not None and not file.name.lower().endswith(ROAD_SUFFIXES):
        document.fault(("roads", "file"), f"is no road file ({', '.join(ROAD_SUFFIXES)})", value=said["file"])
    download = document.truth(("roads", "download"), said.get("download", False), default=False)
    if not download and "file" not in said:
        document.fault(("roads", "file"), "is missing", remedy="name a road file, or write download = true")
    elif download and "file" in said:
        document.fault(("roads", "download"), "stands beside a road file", remedy="keep one of the two")
    elif download and "boundary" not in document.table("district"):
        document.fault(("roads", "download"), "needs a boundary", remedy='write boundary = "..." under [district]')
    buffer = document.number(("roads", "buffer_mi"), said.get("buffer_mi", RoadSource(file=None).buffer_mi), low=0.0)
    return RoadSource(file=file, download=download, buffer_mi=float(buffer or 0.0), boundary=boundary)


def _boundary(document: Document, folder: Path, notes: list[str]) -> tuple[Path | None, FloatArray | None]:
    """Read the boundary, where one is given."""
    said = document.table("district")
    key = ("district", "boundary")
    path = _file(document, key, said["boundary"], folder) if "boundary" in said else None
    if path is None:
        return None, None
    try:
        return path, read_boundary(path, notes)
    except OSError as error:
        finding = unreadable(path.name, error)
        document.fault(key, finding.rule, value=said["boundary"], remedy=finding.remedy)
    except (ValueError, shapely.errors.ShapelyError) as error:
        plain = not isinstance(error, UnicodeError | shapely.errors.ShapelyError)
        rule = f"is no boundary: {error if plain else 'it is no GeoJSON, or damaged'}"
        document.fault(key, rule, value=said["boundary"], remedy="save a polygon as GeoJSON, EPSG:4326")
    return path, None


def read_boundary(path: Path, notes: list[str]) -> FloatArray:
    """Read the outer ring of a GeoJSON polygon as (n, 2) lon, lat; several apart become their hull, with a note.

    Raises
    ------
    ValueError
        There is no polygon, or its numbers are not longitude and latitude.
    """
    shape = shapely.from_geojson(path.read_text(encoding="utf-8-sig"))
    parts = [part for part in shapely.get_parts(shapely.get_parts(shape)) if part.geom_type == "Polygon"]
    if all(shapely.is_empty(parts)):
        raise ValueError("it has no polygon")
    outline = shapely.union_all(shapely.make_valid(parts))
    if not isinstance(outline, shapely.Polygon):
        outline = shapely.convex_hull(outline)
        notes.append(f"{path.name}: the boundary has parts that do not touch; the hull around them is used.")
    ring: FloatArray = shapely.get_coordinates(shapely.get_exterior_ring(outline))
    if (abs(ring) > [180.0, 90.0]).any():
        raise ValueError("its numbers are not longitude and latitude")
    return ring
