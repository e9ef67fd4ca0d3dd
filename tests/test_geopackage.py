"""The GeoPackage opens elsewhere, says the same as the tables, styles itself, and is the same bytes every time."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pyogrio
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from preplan.plan import Plan
from preplan.plan_inputs import Inputs, Rejected, RoadSource
from preplan.plan_tables import FIRST_CIRCUIT, NOT_THIS_WAY, STATUSES, Flag
from preplan.records import BridgeTable, IntArray, text_array
from preplan.render.fields import ABOUT
from preplan.render.geopackage import ROAD_NOTICE, geopackage
from preplan.render.route_lines import chosen_legs, driven, leg_lines, trips_by_segment
from preplan.render.run_info import run_json
from preplan.render.tables import LEVEL_COLUMNS, addresses_csv
from preplan.render.words import inventory_words
from preplan.rules import Rules, ShuttleRules
from tests.example_plan import example_plan, other_plan
from tests.test_tables import changed, picked, rows_of

LAYERS = {
    "addresses": "Point", "seasons": None, "fill_sites": "Point", "stations": "Point", "routes": "LineString",
    "roads_used": "LineString", "bridges": "LineString", "problems": "Point", "run_info": None,
}  # fmt: skip


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("gpkg") / "preplan.gpkg"
    path.write_bytes(geopackage(example_plan(), {"addresses": "0123abcd"}))
    return path


@pytest.fixture
def database(package: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(package)) as connection:
        yield connection


def layer(package: Path, name: str) -> list[dict[str, Any]]:
    """Read a layer as rows, missing cells as ''."""
    frame = pyogrio.read_dataframe(package, layer=name, use_arrow=False).astype(object)
    cells = {column: frame[column].where(frame[column].notna(), "").tolist() for column in frame.columns}
    return [dict(zip(cells, row, strict=True)) for row in zip(*cells.values(), strict=True)]


def test_layers(package: Path) -> None:
    found = dict(pyogrio.list_layers(package).tolist())
    assert found == {**LAYERS, "layer_styles": None}
    for name, kind in LAYERS.items():
        if kind:
            assert pyogrio.read_info(package, layer=name)["crs"] == "EPSG:4326"


def test_version_is_one_that_older_programs_read(package: Path) -> None:
    """GeoPackage 1.3: the application id is that of 1.2 and later, the version is in user_version."""
    with closing(sqlite3.connect(package)) as database:
        assert database.execute("PRAGMA user_version").fetchone() == (10300,)
        assert database.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_addresses_say_what_the_table_says(package: Path) -> None:
    """Cell for cell; only the guard against formulas is the table's own."""
    for mine, theirs in zip(layer(package, "addresses"), rows_of(addresses_csv(example_plan())), strict=True):
        assert (mine["geometry"].x, mine["geometry"].y) == (float(theirs["lon"]), float(theirs["lat"]))
        for column, cell in theirs.items():
            if isinstance(mine[column], str):
                assert mine[column] == (cell if column != "label" else cell.removeprefix("'"))
            else:
                assert mine[column] == float(cell)


def test_same_plan_same_bytes(package: Path, database: sqlite3.Connection) -> None:
    again = geopackage(example_plan(), {"addresses": "0123abcd"})
    differ = [at for at, (a, b) in enumerate(zip(package.read_bytes(), again, strict=True)) if a != b]
    assert differ == []
    stamps = database.execute(
        "SELECT last_change FROM gpkg_contents UNION SELECT timestamp FROM gpkg_metadata_reference"
        " UNION SELECT update_time FROM layer_styles"
    ).fetchall()
    assert stamps == [("2026-05-01T00:00:00.000Z",)]


def test_the_file_says_nothing_of_how_often_it_was_written(package: Path) -> None:
    """The change counter is set, and the header holds for that count, so readers take it as whole."""
    header = package.read_bytes()[:100]
    assert header[24:28] == header[92:96] == bytes([0, 0, 0, 1])
    with closing(sqlite3.connect(package)) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_every_column_has_a_title(database: sqlite3.Connection) -> None:
    titled = set(database.execute("SELECT table_name, column_name FROM gpkg_data_columns WHERE title <> ''"))
    columns = {
        (name, column)
        for name in LAYERS
        for _, column, *_ in database.execute(f"PRAGMA table_info({name})")
        if column not in {"fid", "geom"}
    }
    assert titled == columns
    assert {column for _, column in columns} | set(LEVEL_COLUMNS) == set(ABOUT), "a title for no column"
    for column, (title, _) in ABOUT.items():
        unit = column.rpartition("_")[2]
        assert unit not in {"gpm", "gal", "min", "mi", "ft", "lb"} or f"({unit})" in title


def test_styles(database: sqlite3.Connection) -> None:
    """Each drawn layer has one default style; addresses by status, each with a shape and shade of its own."""
    rows = database.execute(
        "SELECT f_table_name, f_geometry_column, useAsDefault, styleQML FROM layer_styles"
    ).fetchall()
    assert {row[:3] for row in rows} == {(name, "geom", 1) for name, kind in LAYERS.items() if kind}
    styles = {name: ET.fromstring(qml) for name, _, _, qml in rows}  # noqa: S314  our own bytes
    renderer = styles["addresses"].find("renderer-v2")
    assert renderer is not None
    assert renderer.get("attr") == "status"
    categories = renderer.findall("categories/category")
    assert tuple(category.get("value") for category in categories) == STATUSES
    assert [category.get("label") for category in categories][-1] == "hydrant within 1,000 ft"
    looks = []
    for category in categories:
        symbol = renderer.find(f"symbols/symbol[@name='{category.get('symbol')}']/layer")
        assert symbol is not None
        options = {prop.get("k"): prop.get("v") for prop in symbol.findall("prop")}
        looks.append((options["name"], options["color"]))
    assert looks[:3] == [("circle", "0,114,178,255"), ("square", "240,228,66,255"), ("triangle", "0,0,0,255")]
    assert len(set(looks)) == len(STATUSES)


def test_notices(package: Path, database: sqlite3.Connection) -> None:
    """A file that carries the roads names their licence, in itself and in each layer."""
    about = [text for (text,) in database.execute("SELECT description FROM gpkg_contents")]
    assert sum(ROAD_NOTICE in text for text in about) == len(LAYERS)
    assert ROAD_NOTICE in database.execute("SELECT group_concat(metadata) FROM gpkg_metadata").fetchone()[0]
    run = {row["key"]: row["value"] for row in layer(package, "run_info")}
    assert run["roads"] == ROAD_NOTICE
    assert run["sha256 of addresses"] == "0123abcd"
    assert run["addresses not met"] == "2"
    assert run["rule shuttle.usable_fraction"].startswith("0.9 (the 90 % rule")
    assert "Confirm roads" in run["caution"]


def test_bridges_and_roads(package: Path) -> None:
    bridges = {row["kind"]: row for row in layer(package, "bridges")}
    assert (bridges["posted bridge"]["way_id"], bridges["posted bridge"]["max_lb"]) == (102, 20000)
    assert (bridges["unposted bridge"]["road"], bridges["unposted bridge"]["ref"]) == ("", "VT 105")
    used = layer(package, "roads_used")
    assert [(row["way_id"], row["loaded_trips"], row["empty_trips"]) for row in used] == [
        (101, 4, 4), (102, 3, 3), (104, 2, 2),
    ]  # fmt: skip


def test_a_bridge_says_what_it_crosses_by_which_crews_know_it(tmp_path: Path) -> None:
    plan, path = example_plan(), tmp_path / "bridges.gpkg"
    one = {name: text_array([value]) for name, value in (
        ("bridge_id", "B-7"), ("owner", "town"), ("road", "TH 3"), ("crosses", "MILL BROOK"), ("posting", ""),
    )}  # fmt: skip
    row = plan.bridge_row.copy()
    row[1] = 0
    inventory = BridgeTable(lon=np.zeros(1), lat=np.zeros(1), operating_lb=np.full(1, 40000.0), **one)
    known = replace(plan, bridges=inventory, bridge_row=row)
    path.write_bytes(geopackage(known))
    assert [one["crosses"] for one in layer(path, "bridges")].count("MILL BROOK") == 1
    assert inventory_words(known, 1).startswith("over MILL BROOK; town; operating rating 40,000 lb; structure B-7")


def test_a_bridge_with_a_posted_height_alone_is_not_drawn_as_one_whose_weight_is_known(tmp_path: Path) -> None:
    """Of a weight posted in some months those months are told beside the least of the year."""
    plan = example_plan()
    posted, low, weak = plan.limits.posted.copy(), plan.limits.max_height_ft.copy(), plan.limits.max_lb.copy()
    posted[4], low[4], weak[1] = True, 10.0, np.inf
    summer = replace(plan.limits, posted=posted, max_height_ft=low)
    winter = replace(summer, max_lb=weak)
    path = tmp_path / "bridges.gpkg"
    path.write_bytes(geopackage(replace(plan, limits=summer, season_limits=(summer, winter))))
    told = {row["way_id"]: (row["kind"], row["limits"], row["max_lb"]) for row in layer(path, "bridges")}
    assert told == {
        102: ("posted bridge", "20,000 lb = 10 tons, April to November", 20000),
        105: ("posted bridge, weight unknown", "10.0 ft high", ""),
    }
    with closing(sqlite3.connect(path)) as database:
        style = database.execute("SELECT styleQML FROM layer_styles WHERE f_table_name = 'bridges'").fetchone()[0]
    drawn = {one.get("value") for one in ET.fromstring(style).findall(".//category")}  # noqa: S314  our own bytes
    assert {kind for kind, *_ in told.values()} <= drawn


def test_a_fill_site_counts_the_addresses_of_other_months_too(tmp_path: Path) -> None:
    """One that is taken in summer alone serves somebody, though nobody in the months that decide."""
    plan = example_plan()
    summer = replace(plan.seasons[0], best_site=np.where(plan.levels.site == 0, 1, plan.levels.site).astype(np.int32))
    path = tmp_path / "sites.gpkg"
    path.write_bytes(geopackage(replace(plan, seasons=(summer, *plan.seasons[1:]))))
    columns = ("site_id", "addresses_served", "more_in_other_months", "other_months")
    assert [tuple(row[name] for name in columns) for row in layer(path, "fill_sites")] == [
        ("F1", 4, 0, ""), ("F2", 0, 4, "April to November"), ("F3", 0, 0, ""),
    ]  # fmt: skip


def test_a_lift_that_nobody_gave_is_told_as_a_default(tmp_path: Path) -> None:
    plan = example_plan()
    sites = tuple(replace(site, lift_given=site.site_id != "F2") for site in plan.sites)
    path = tmp_path / "lift.gpkg"
    path.write_bytes(geopackage(replace(plan, sites=sites)))
    told = [(row["site_id"], row["lift_given"]) for row in layer(path, "fill_sites")]
    assert told == [("F1", "yes"), ("F2", "no"), ("F3", "yes")]


def test_text_stays_text(tmp_path: Path) -> None:
    """Nothing that a label holds breaks the file."""
    plan = example_plan()
    odd = ["'); DROP TABLE addresses; --", "a\x00b", "half \ud800 pair", "=1+1", "", "\U0001f692"]
    path = tmp_path / "odd.gpkg"
    path.write_bytes(geopackage(replace(plan, addresses=replace(plan.addresses, label=text_array(odd)))))
    labels = [row["label"] for row in layer(path, "addresses")]
    assert labels == ["'); DROP TABLE addresses; --", "a b", "half \\ud800 pair", "=1+1", "", "\U0001f692"]


def test_a_plan_without_addresses_has_all_layers(tmp_path: Path) -> None:
    plan = replace(picked(example_plan(), []), problems=(), stations=(), sites=(), site_segment=np.empty(0, np.int32))
    path = tmp_path / "empty.gpkg"
    path.write_bytes(geopackage(replace(plan, trips=picked(plan, []).trips, site_flags=())))
    assert set(dict(pyogrio.list_layers(path).tolist())) == {*LAYERS, "layer_styles"}
    assert layer(path, "routes") == []


# --------------------------------------------------------------------------- routes


def test_routes_run_from_fill_site_to_dump_site_and_back(package: Path) -> None:
    """A leg starts and ends where the sites are on the road, and follows the road between."""
    plan = example_plan()
    routes = layer(package, "routes")
    assert [(row["address_id"], row["site_id"], row["leg"]) for row in routes] == [
        (f"A{i}", "F1", leg) for i in range(4) for leg in ("out", "back")
    ]
    for row in routes:
        address = int(row["address_id"][1:])
        ends = [np.array(row["geometry"].coords[k]) for k in (0, -1)]
        fill, dump = ends if row["leg"] == "out" else ends[::-1]
        assert fill == pytest.approx([-72.04, 44.0])
        segment, fraction = plan.frontages.segment[address], plan.frontages.fraction[address]
        along = plan.line(int(segment)) * [np.cos(np.radians(44.0)), 1.0]
        place = shapely.line_interpolate_point(shapely.linestrings(along), fraction, normalized=True)
        assert dump * [np.cos(np.radians(44.0)), 1.0] == pytest.approx([place.x, place.y], abs=2e-6)
    corners = [routes[6]["geometry"].coords[k] for k in (1, 2, 3, 4, 5)]
    assert np.array(corners) == pytest.approx(
        np.array([[-72.0345, 44.0018], [-72.03, 44.002], [-72.0245, 44.0018], [-72.02, 44.0], [-72.0195, 44.0068]])
    )


def test_routes_say_in_which_months_they_are_driven(tmp_path: Path, package: Path) -> None:
    """One whose tankers fill elsewhere in winter, another whose way is shut in November, the others all year."""
    assert {row["months"] for row in layer(package, "routes")} == {"all year"}
    plan = example_plan()
    best = plan.levels.site.copy()
    best[0] = 1
    seasons = tuple(replace(one, best_site=best) if 12 in one.months else one for one in plan.seasons)
    flags = list(plan.answers.flags)
    flags[1] = (*flags[1], Flag(NOT_THIS_WAY, "11", circuit=FIRST_CIRCUIT))
    path = tmp_path / "months.gpkg"
    path.write_bytes(geopackage(replace(plan, seasons=seasons, answers=replace(plan.answers, flags=tuple(flags)))))
    told = {(row["address_id"], row["leg"]): row["months"] for row in layer(path, "routes")}
    assert told == {
        (f"A{i}", leg): {0: "April to November", 1: "December to October"}.get(i, "all year")
        for i in range(4) for leg in ("out", "back")
    }  # fmt: skip


def test_routes_of_other_months_stand_behind_the_chosen_ones(tmp_path: Path, package: Path) -> None:
    """Whoever looks in February at a fill site of that month alone saw no way to it."""
    plan = other_plan(backup=False)
    leaves = np.array([0, 2, 1, 2, 2, 2], dtype=np.int32), np.array([3, 5, 4, 5, 5, 5], dtype=np.int32)
    traced = replace(plan.sheet_trips, out_leaf=leaves[0], back_leaf=leaves[1])
    path = tmp_path / "other.gpkg"
    path.write_bytes(geopackage(replace(plan, sheet_trips=traced)))
    *own, out, back = layer(path, "routes")
    assert len(own) == len(layer(package, "routes"))
    for row, leg, length in ((out, "out", traced.out_mi[1]), (back, "back", traced.back_mi[1])):
        assert (row["address_id"], row["site_id"], row["leg"]) == ("A0", "F2", leg)
        assert row["months"] == "December to March"
        assert row["leg_mi"] == pytest.approx(length, abs=0.005)
    columns = ("loaded_trips", "empty_trips", "loaded_other_months", "empty_other_months")
    told = {row["way_id"]: tuple(row[name] for name in columns) for row in layer(path, "roads_used")}
    assert told == {101: (4, 4, 1, 1), 102: (3, 3, 1, 1), 104: (2, 2, 1, 1)}


def test_roads_and_bridges_that_are_driven_in_other_months_alone_say_so(tmp_path: Path) -> None:
    """Whoever asks its owner must know that loaded tankers cross it in winter."""
    plan = other_plan(backup=False)
    none = np.full(len(plan.trips), -1, dtype=np.int32)
    leaves = np.array([0, 2, 1, 2, 2, 2], dtype=np.int32), np.array([3, 5, 4, 5, 5, 5], dtype=np.int32)
    then = replace(plan.sheet_trips, out_leaf=leaves[0], back_leaf=leaves[1])
    path = tmp_path / "bridge.gpkg"
    path.write_bytes(
        geopackage(replace(plan, trips=replace(plan.trips, out_leaf=none, back_leaf=none), sheet_trips=then))
    )
    columns = ("way_id", "loaded_trips", "loaded_other_months", "empty_other_months")
    assert tuple(layer(path, "bridges")[0][name] for name in columns) == (102, 0, 1, 1)
    assert [tuple(row[name] for name in columns) for row in layer(path, "roads_used")] == [
        (way, 0, 1, 1) for way in (101, 102, 104)
    ]


@given(st.lists(st.integers(0, 5), max_size=12))
def test_all_walks_at_once_are_those_of_one(rows: list[int]) -> None:
    """Same stretches in the same order as `Plan.trip_rows` lists them, for any mix of addresses."""
    plan = picked(example_plan(), rows)
    legs = chosen_legs(plan)
    ways = driven(plan, legs)
    for k, (trip, loaded) in enumerate(zip(legs.trip.tolist(), legs.loaded.tolist(), strict=True)):
        expected = plan.trip_rows(trip)[0 if loaded else 1]
        assert ways.segment[ways.leg == k].tolist() == plan.forest.segment[expected].tolist()
        assert ways.forward[ways.leg == k].tolist() == plan.forest.forward[expected].tolist()
    traced = [i for i, row in enumerate(rows) if row < 4]
    assert plan.trips.address[legs.trip[legs.loaded]].tolist() == traced
    loaded_trips, empty_trips = trips_by_segment(len(plan.roads), legs, ways)
    expected_trips = [sum(row in drivers for row in rows) for drivers in ((0, 1, 2, 3), (1, 2, 3), (), (2, 3), ())]
    assert loaded_trips.tolist() == empty_trips.tolist() == expected_trips


def one_leg(dump: float, site: tuple[float, float]) -> Plan:
    """Return a plan whose only trip starts and ends on the first stretch."""
    plan = picked(example_plan(), [0])
    sites = (replace(plan.sites[0], lon=site[0], lat=site[1]), *plan.sites[1:])
    return replace(plan, sites=sites, frontages=changed(plan.frontages, fraction=dump))


def points(plan: Plan) -> list[IntArray]:
    legs = chosen_legs(plan)
    lonlat, leg = leg_lines(plan.roads, driven(plan, legs))
    return [lonlat[leg == k] for k in range(len(legs))]


def test_ends_on_one_stretch() -> None:
    """Both ends are cut; where they are one place, or the wrong way about, a line still has two points."""
    on_road = (-72.03725, 44.0009)  # half of the first piece of that stretch
    out, back = points(one_leg(0.9, on_road))
    assert out[0] == pytest.approx(on_road)
    assert out[1] == pytest.approx([-72.0345, 44.0018])
    assert len(out) == len(back) == 3
    assert back[-1] == pytest.approx(on_road)
    assert len(points(one_leg(0.0, (-72.04, 44.0)))[0]) == 2
    nearly = points(one_leg(0.0, (-72.0399999, 44.00000002)))[0]  # behind the dump site by less than a foot
    assert len(nearly) == 2
    assert nearly == pytest.approx(np.array([[-72.04, 44.0]] * 2), abs=1e-6)
    assert points(one_leg(0.1, on_road))[0][[0, -1]] == pytest.approx(np.array([[-72.04, 44.0], [-72.03, 44.002]]))


def test_a_forest_that_runs_in_a_circle_is_refused() -> None:
    plan = example_plan()
    forest = replace(plan.forest, parent=np.array([1, 0, 1, -1, 3, 4], dtype=np.int32))
    with pytest.raises(ValueError, match="circle"):
        geopackage(replace(plan, forest=forest))


# --------------------------------------------------------------------------- run.json


def inputs(folder: Path) -> Inputs:
    plan = example_plan()
    return Inputs(
        district=plan.district, roads=RoadSource(file=None), addresses=plan.addresses, sites=plan.sites,
        stations=plan.stations, units=plan.units, hydrants=plan.hydrants, closures=(),
        rejected=tuple(
            Rejected(file="a.csv", row=row, id="", column=column, value="", rule="is missing")
            for row, column in ((7, "lon"), (7, "lat"), (9, "lon"))
        ),
        files={"district": folder / "district.toml", "addresses": folder / "a.csv"}, rows={"addresses": 8},
    )  # fmt: skip


def test_run_json() -> None:
    """Inputs by name and digest without their folders, counts, changed rules, and the digest of each file."""
    plan = example_plan()
    rules = Rules(shuttle=replace(ShuttleRules(), usable_fraction=0.8))
    plan = replace(plan, district=replace(plan.district, rules=rules))

    def run(folder: str, seconds: float) -> dict[str, Any]:
        content = run_json(plan, inputs(Path(folder)), {"district": "aa"}, {"map.html": b"abc"}, {"roads": seconds})
        return dict(json.loads(content))

    one, two = run("/somewhere/here", 1.234), run("/other", 5.0)
    assert one["inputs"] == {
        "addresses": {"name": "a.csv", "sha256": ""}, "district": {"name": "district.toml", "sha256": "aa"},
    }  # fmt: skip
    assert one["rules"]["changed"] == ["shuttle.usable_fraction"]
    assert one["rules"]["shuttle"]["usable_fraction"] == 0.8
    assert one["rules"]["plan"]["months"] == list(range(1, 13))
    counts = one["counts"]
    assert (counts["rows"], counts["planned"], counts["rejected"], counts["faults"]) == ({"addresses": 8}, 6, 2, 3)
    assert counts["status"] == {"served": 1, "higher level": 1, "not met": 2, "no route": 1, "hydrant": 1}
    assert counts["fill_sites_in_service"] == 2
    # SHA-256 of 'abc': FIPS 180-4, example B.1.
    assert one["files"] == {"map.html": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"}
    assert one.pop("seconds") == {"roads": 1.23}
    assert two.pop("seconds") != {"roads": 1.23}
    assert one == two
