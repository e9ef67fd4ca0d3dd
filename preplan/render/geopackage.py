"""preplan.gpkg: the whole plan as layers for a desktop map, styled, with titles and units, in WGS84 (EPSG:4326).

The library that writes the layers stamps them with the clock. So the stamps are set to the date of the plan
afterwards and the file is packed: equal plans give equal bytes.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from preplan.months import month_words
from preplan.records import FloatArray, IntArray, TextArray, text_array
from preplan.render import circuits
from preplan.render.fields import ABOUT
from preplan.render.limit_places import posted_words
from preplan.render.qgis_styles import layer_styles
from preplan.render.route_lines import (
    Driven,
    Legs,
    chosen_legs,
    driven,
    leg_lines,
    legs_of_other_months,
    thinned,
    trips_by_segment,
    trips_of_other_months,
)
from preplan.render.run_info import run_lines
from preplan.render.scratch import scratch_folder
from preplan.render.tables import Cells, Numbers, address_columns, miles, minutes, season_columns
from preplan.render.words import CAUTIONS
from preplan.units import M_PER_MI

if TYPE_CHECKING:
    from preplan.plan import Plan
    from preplan.records import FillSite, RoadLimits

ROAD_NOTICE = "Road data (c) OpenStreetMap contributors, ODbL 1.0"
"""Named wherever the roads are copied."""
CRS = "EPSG:4326"

_SCHEMA_TABLES = """
CREATE TABLE gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT,
  constraint_name TEXT, CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN,
  max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256), f_table_schema TEXT(256),
  f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT,
  useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30),
  update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ', 'now')));
"""
"""Titles of columns (GeoPackage 1.3, schema extension), and the table where QGIS looks for styles."""
_SCHEMA_EXTENSION = "http://www.geopackage.org/spec/#extension_schema"


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One layer: a geometry for each row, or none at all, and its columns."""

    name: str
    about: str
    kind: str | None
    """Point or LineString; None for a table without geometry."""
    columns: Mapping[str, Cells]
    shapes: TextArray | None = field(default=None)
    """Geometries as WKB, one a row."""


def geopackage(plan: Plan, digests: Mapping[str, str] | None = None) -> bytes:
    """Write preplan.gpkg.

    Parameters
    ----------
    plan
        The finished plan.
    digests
        SHA-256 of each input file by its role, for the layer run_info.
    """
    legs = chosen_legs(plan)
    ways = driven(plan, legs)
    layers = (
        _addresses(plan),
        _seasons(plan),
        _fill_sites(plan),
        _stations(plan),
        _routes(plan, legs, ways),
        *_roads_and_bridges(plan, legs, ways),
        _problems(plan),
        _run_info(plan, digests or {}),
    )
    with scratch_folder("preplan.gpkg", (OSError, RuntimeError, sqlite3.Error)) as folder:
        path = folder / "preplan.gpkg"
        for layer in layers:
            _write_layer(path, layer)
        with closing(sqlite3.connect(path, isolation_level=None)) as database:
            _finish(database, plan, layers)
        return _without_counter(path.read_bytes())


def _without_counter(package: bytes) -> bytes:
    """Set the file's change counter to 1, and the mark that says for which count the header holds.

    How many times the writing library commits depends on the machine's load, not on the plan. Offsets 24 and 92
    of the header: the SQLite file format, section 1.3.
    """
    one = (1).to_bytes(4, "big")
    return package[:24] + one + package[28:92] + one + package[96:]


# --------------------------------------------------------------------------- layers


def _addresses(plan: Plan) -> Layer:
    return Layer(
        name="addresses", kind="Point",
        about="One point an address: what its water supply comes to in the months that decide; others: table seasons.",
        columns=address_columns(plan), shapes=_points(plan.addresses.lon, plan.addresses.lat),
    )  # fmt: skip


def _seasons(plan: Plan) -> Layer:
    return Layer(
        name="seasons", kind=None, columns=season_columns(plan),
        about="What each address has at each response level, in which months; joined to addresses by address_id.",
    )  # fmt: skip


def _fill_sites(plan: Plan) -> Layer:
    sites = plan.sites
    chosen = np.concatenate([plan.answers.shown(sites) for sites in (plan.levels.site, plan.levels.split)])
    serves = np.bincount(chosen[chosen >= 0], minlength=len(plan.sites))
    others = [circuits.in_other_months(plan, site) for site in range(len(sites))]
    columns: dict[str, Cells] = {
        "number": _whole(np.arange(1, len(sites) + 1)),
        **{name: [getattr(site, name) for site in sites] for name in ("site_id", "name", "kind")},
        "fill_gpm": _optional([site.fill_gpm for site in sites]),
        "fill_gpm_given": _yes_no([site.fill_gpm_given for site in sites]),
        **{
            name: _optional([getattr(site, name) for site in sites])
            for name in ("site_gpm", "storage_gal", "refill_gpm", "low_gpm", "lift_ft")
        },
        "lift_given": _yes_no([site.lift_given for site in sites]),
        "tested": [site.tested for site in sites],
        "positions": _whole([site.positions for site in sites]),
        "source_id": [site.source_id for site in sites],
        "turnaround": [site.turnaround for site in sites],
        "turnaround_given": _yes_no([site.turnaround_given for site in sites]),
        "needs_engine": _yes_no([site.needs_engine for site in sites]),
        "months": [month_words(site.months) for site in sites],
        "in_service": _yes_no([site.in_service for site in sites]),
        "use": [_use(site) for site in sites],
        "connection": [site.connection for site in sites],
        "notes": [site.notes for site in sites],
        "addresses_served": _whole(serves),
        "more_in_other_months": _whole([int(more.sum()) for more, _ in others]),
        "other_months": [when if more.any() else "" for more, when in others],
        "flags": ["; ".join(map(str, flags)) for flags in plan.site_flags],
    }
    return Layer(
        name="fill_sites", about="Places where tankers fill.", kind="Point", columns=columns,
        shapes=_points(np.array([site.lon for site in sites]), np.array([site.lat for site in sites])),
    )  # fmt: skip


def _use(site: FillSite) -> str:
    """Sort a site by when it can be used, which decides how it is drawn."""
    if not site.in_service:
        return "out of service"
    return "seasonal" if site.seasonal else "all year"


def _stations(plan: Plan) -> Layer:
    stations = plan.stations
    columns: dict[str, Cells] = {
        "number": _whole(np.arange(1, len(stations) + 1)),
        **{name: [getattr(one, name) for one in stations] for name in ("station_id", "name", "aid")},
        "staffed": _yes_no([one.staffed for one in stations]),
        "turnout_min": _optional([one.turnout_min for one in stations]),
        "units": [" ".join(u.unit_id for u in plan.units if u.station_id == one.station_id) for one in stations],
    }
    return Layer(
        name="stations", about="Fire stations and their units in service.", kind="Point", columns=columns,
        shapes=_points(np.array([one.lon for one in stations]), np.array([one.lat for one in stations])),
    )  # fmt: skip


def _routes(plan: Plan, legs: Legs, ways: Driven) -> Layer:
    """List the chosen ways, and behind them those of the months that do not decide, which stand on sheets of cards."""
    sheets, roads = plan.on_sheets(), thinned(plan.roads)
    months = {one.trip: month_words(one.months) for group in plan.groups for one in group.others if one.months}
    then = legs_of_other_months(sheets)
    parts = (plan.trips, legs), (sheets.trips, then)

    def column(loaded: str, empty: str | None = None) -> npt.NDArray[Any]:
        legs_in = [
            np.where(of.loaded, getattr(trips, loaded)[of.trip], getattr(trips, empty or loaded)[of.trip])
            for trips, of in parts
        ]
        return np.concatenate(legs_in)

    columns: dict[str, Cells] = {
        "address_id": plan.addresses.address_id[column("address")].tolist(),
        "site_id": text_array([site.site_id for site in plan.sites])[column("site")].tolist(),
        "leg": np.where(np.concatenate([legs.loaded, then.loaded]), "out", "back").tolist(),
        "leg_min": minutes(column("out_min", "back_min")),
        "leg_mi": miles(column("out_mi", "back_mi")),
        "months": [*_months_driven(plan, legs), *(months[trip] for trip in then.trip.tolist())],
    }
    return Layer(
        name="routes", about="Way of the chosen round trip of each address, loaded out, empty back, true to about 2 m; "
        "of other months the way of the address that a card tells.", kind="LineString", columns=columns,
        shapes=np.concatenate([
            _lines(*leg_lines(roads, ways)), _lines(*leg_lines(roads, driven(sheets, then)))
        ]),
    )  # fmt: skip


def _months_driven(plan: Plan, legs: Legs) -> list[str]:
    """Name the months in which each leg is driven."""
    over_second = plan.answers.shown(plan.levels.split_trip)
    said = {
        trip: month_words(circuits.months_driven(plan, a, second=bool(over_second[a] == trip)))
        for trip, a in zip(legs.trip.tolist(), plan.trips.address[legs.trip].tolist(), strict=True)
    }
    return [said[trip] for trip in legs.trip.tolist()]


def _roads_and_bridges(plan: Plan, legs: Legs, ways: Driven) -> tuple[Layer, Layer]:
    count = (*trips_by_segment(len(plan.roads), legs, ways), *trips_of_other_months(plan))
    used = np.flatnonzero(sum(count) > 0)
    limits, roads = plan.limits, plan.roads
    tagged = np.array([tags.get("bridge", "no") != "no" for tags in roads.way_tags], dtype=np.bool_)
    bridge = tagged[roads.tag_row] if len(tagged) else np.zeros(len(roads), dtype=np.bool_)
    marked = np.flatnonzero(limits.posted | limits.unposted_bridge)
    # a height on a sign says nothing of what a bridge bears
    of_bridge = np.where(limits.unposted_bridge, "posted bridge, weight unknown", "posted bridge")
    kind = np.where(limits.posted, np.where(bridge, of_bridge, "posted road"), "unposted bridge")
    return (
        Layer(
            name="roads_used", about="Stretches of road that the chosen round trips drive, or those of other months.",
            kind="LineString", columns=_road_columns(plan, used, count), shapes=_stretches(plan, used),
        ),
        Layer(
            name="bridges", about="Posted bridges and roads, and bridges without a posting: unknown, not safe.",
            kind="LineString", shapes=_stretches(plan, marked),
            columns={
                "kind": kind[marked].tolist(),
                "limits": [posted_words(plan, row) for row in marked.tolist()],
                **_road_columns(plan, marked, count),
                **_inventory_columns(plan, marked),
            },
        ),
    )  # fmt: skip


def _road_columns(plan: Plan, rows: npt.NDArray[np.intp], count: Sequence[IntArray]) -> dict[str, Cells]:
    """Describe stretches of road; count is the loaded and the empty trips of every stretch, then of other months."""
    roads, limits = plan.roads, plan.limits
    return {
        "way_id": _whole(roads.way_id[rows]),
        "road": roads.name[rows].tolist(),
        "ref": roads.ref[rows].tolist(),
        "highway": roads.highway[rows].tolist(),
        "length_mi": miles(roads.length_m[rows] / M_PER_MI),
        "loaded_trips": _whole(count[0][rows]),
        "empty_trips": _whole(count[1][rows]),
        "loaded_other_months": _whole(count[2][rows]),
        "empty_other_months": _whole(count[3][rows]),
        **_limit_columns(limits, rows),
        "unposted_bridge": _yes_no(limits.unposted_bridge[rows].tolist()),
        "narrow": _yes_no(limits.narrow[rows].tolist()),
    }


def _inventory_columns(plan: Plan, rows: npt.NDArray[np.intp]) -> dict[str, Cells]:
    """Print what the bridge inventory knows of stretches; empty where it knows none."""
    row = plan.bridge_row[rows]
    known, at = row >= 0, np.maximum(row, 0)
    table = plan.bridges

    def text(column: TextArray) -> list[str]:
        return np.where(known, column[at], "").tolist() if len(table) else [""] * len(rows)

    rating = np.where(known, table.operating_lb[at], np.nan) if len(table) else np.full(len(rows), np.nan)
    by = np.where(known, np.where(plan.bridge_named[rows], "name", "place"), "")
    return {
        "structure": text(table.bridge_id),
        "crosses": text(table.crosses),
        "owner": text(table.owner),
        "operating_lb": Numbers(np.floor(rating), 0),
        "inventory": text(table.posting),
        "found_by": by.tolist(),
    }


def _limit_columns(limits: RoadLimits, rows: npt.NDArray[np.intp]) -> dict[str, Cells]:
    """Print posted limits rounded down; nothing where none is posted."""

    def down(values: FloatArray, decimals: int) -> Numbers:
        scale = 10.0**decimals
        finite = np.where(np.isfinite(values[rows]), values[rows], np.nan)
        return Numbers(np.floor(finite * scale + 1e-6) / scale, decimals)

    return {
        "max_lb": down(limits.max_lb, 0), "max_axle_lb": down(limits.max_axle_lb, 0),
        "max_height_ft": down(limits.max_height_ft, 1), "max_width_ft": down(limits.max_width_ft, 1),
    }  # fmt: skip


def _problems(plan: Plan) -> Layer:
    found = plan.problems
    return Layer(
        name="problems", about="Road data that a person should look at.", kind="Point",
        columns={n: [getattr(one, n) for one in found] for n in ("code", "osm_id", "key", "value", "rule")},
        shapes=_points(np.array([one.lon for one in found]), np.array([one.lat for one in found])),
    )  # fmt: skip


def _run_info(plan: Plan, digests: Mapping[str, str]) -> Layer:
    notices = [("caution", CAUTIONS), ("roads", ROAD_NOTICE)]
    inputs = [(f"sha256 of {role}", digest) for role, digest in sorted(digests.items())]
    keys, values = zip(*notices, *run_lines(plan), *inputs, strict=True)
    return Layer(
        name="run_info", about="What made this file, from what, by which rules.", kind=None,
        columns={"key": keys, "value": values},
    )  # fmt: skip


# --------------------------------------------------------------------------- cells and shapes


def _whole(values: npt.ArrayLike) -> Numbers:
    return Numbers(np.asarray(values, dtype=np.float64), 0)


def _optional(values: Sequence[float | None]) -> Numbers:
    return Numbers(np.array([np.nan if value is None else value for value in values], dtype=np.float64), 1)


def _yes_no(values: list[bool]) -> list[str]:
    return ["yes" if value else "no" for value in values]


def _points(lon: FloatArray, lat: FloatArray) -> TextArray:
    import shapely  # noqa: PLC0415  slow to import

    return np.asarray(shapely.to_wkb(shapely.points(lon, lat)), dtype=np.object_)


def _lines(lonlat: FloatArray, line: IntArray) -> TextArray:
    """Turn points into lines; equal numbers belong together, in order."""
    import shapely  # noqa: PLC0415

    return np.asarray(shapely.to_wkb(shapely.linestrings(lonlat, indices=line)), dtype=np.object_)


def _stretches(plan: Plan, rows: npt.NDArray[np.intp]) -> TextArray:
    """Return whole stretches as lines."""
    start = plan.roads.coord_start.astype(np.int64)
    count = start[rows + 1] - start[rows]
    line = np.repeat(np.arange(len(rows), dtype=np.int32), count)
    point = np.arange(len(line)) + np.repeat(start[rows] - (np.cumsum(count) - count), count)
    return _lines(np.column_stack([plan.roads.coord_lon, plan.roads.coord_lat])[point], line)


# --------------------------------------------------------------------------- the file


def _write_layer(path: Path, layer: Layer) -> None:
    """Add one layer to the file, which the first one makes."""
    from pyogrio import raw, set_gdal_config_options  # noqa: PLC0415  slow to import

    # Waits for the disk after every statement are most of the time, and the file is thrown away if this stops half-way.
    set_gdal_config_options({"OGR_SQLITE_SYNCHRONOUS": "OFF"})
    cells = [_typed(one) for one in layer.columns.values()]
    raw.write(
        path,
        geometry=layer.shapes,
        field_data=[values for values, _ in cells],
        field_mask=[missing for _, missing in cells],
        fields=list(layer.columns),
        layer=layer.name,
        driver="GPKG",
        geometry_type=layer.kind,
        crs=CRS if layer.kind else None,
        append=path.exists(),
        dataset_metadata={"LICENSE": ROAD_NOTICE, "CAUTION": CAUTIONS},
        dataset_options={"VERSION": "1.3"},
    )


def _typed(cells: Cells) -> tuple[npt.NDArray[np.generic], npt.NDArray[np.bool_]]:
    """Return values of the narrowest type, and where they are missing."""
    if not isinstance(cells, Numbers):
        texts = text_array([_encodable(text) for text in cells])
        return texts, texts == ""
    missing = np.isnan(cells.values)
    if cells.decimals:
        return cells.values, missing
    return np.where(missing, 0.0, cells.values).astype(np.int64), missing


def _encodable(text: str) -> str:
    """Replace what UTF-8 or a C string cannot hold."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8").replace("\x00", " ")


def _finish(database: sqlite3.Connection, plan: Plan, layers: tuple[Layer, ...]) -> None:
    """Add styles, titles and notices, set every stamp to the plan's date, and pack the file."""
    stamp = f"{plan.district.date or '1970-01-01'}T00:00:00.000Z"
    database.execute("PRAGMA synchronous = OFF")  # the file is thrown away if this stops half-way
    database.executescript(_SCHEMA_TABLES)
    database.execute("BEGIN")
    _add_titles(database, layers)
    _add_styles(database, plan, layers, stamp)
    for layer in layers:
        database.execute(
            "UPDATE gpkg_contents SET description = ? WHERE table_name = ?",
            (f"{layer.about} {ROAD_NOTICE}. {CAUTIONS}", layer.name),
        )
    database.execute("UPDATE gpkg_contents SET last_change = ?", (stamp,))
    database.execute("UPDATE gpkg_metadata_reference SET timestamp = ?", (stamp,))
    database.execute("COMMIT")
    database.execute("VACUUM")


def _add_titles(database: sqlite3.Connection, layers: tuple[Layer, ...]) -> None:
    """Give each column a title and a sentence with its unit."""
    database.executemany(
        "INSERT INTO gpkg_extensions VALUES (?, NULL, 'gpkg_schema', ?, 'read-write')",
        [("gpkg_data_columns", _SCHEMA_EXTENSION), ("gpkg_data_column_constraints", _SCHEMA_EXTENSION)],
    )
    database.executemany(
        "INSERT INTO gpkg_data_columns (table_name, column_name, title, description) VALUES (?, ?, ?, ?)",
        [(layer.name, column, *ABOUT[column]) for layer in layers for column in layer.columns],
    )


def _add_styles(database: sqlite3.Connection, plan: Plan, layers: tuple[Layer, ...], stamp: str) -> None:
    """Add the styles where QGIS looks for them, and say that the table is there."""
    drawn = sorted({(site.kind, _use(site)) for site in plan.sites})
    titles = {one.name: {column: ABOUT[column][0] for column in one.columns} for one in layers}
    styles = layer_styles(plan.district.rules.hydrants.reach_ft, drawn, titles)
    database.executemany(
        "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName,"
        " styleQML, styleSLD, useAsDefault, description, owner, ui, update_time)"
        " VALUES ('', '', ?, 'geom', ?, ?, '', 1, ?, '', NULL, ?)",
        [(one.name, one.name, styles[one.name], one.about, stamp) for one in layers if one.name in styles],
    )
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change)"
        " VALUES ('layer_styles', 'attributes', 'layer_styles', 'Styles for QGIS.', ?)",
        (stamp,),
    )
