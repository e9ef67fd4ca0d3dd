"""The sample district: its files are what its script makes, and hold the traits that they are there to show."""

from __future__ import annotations

import csv
import gzip
import itertools
import json
import math
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import networkx as nx
import osmium
import pytest
from shapely import STRtree
from shapely.geometry import LineString, Point, Polygon, shape
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

REPO = Path(__file__).resolve().parents[1]
SAMPLE = REPO / "data_samples" / "millrace"
ORIGIN_LON, ORIGIN_LAT = -74.97, 43.86
FT_PER_DEG_LAT, FT_PER_DEG_LON = 364_560.0, 263_660.0
"""About; lengths below need no better than 1 %."""
SIXTEEN_SHORT_TONS_LB = 32_000


@dataclass
class Way:
    """One way of the road file, in feet."""

    number: int
    tags: dict[str, str]
    refs: list[int]
    line: LineString

    @property
    def driveway(self) -> bool:
        """A way to one house."""
        return self.tags.get("service") == "driveway"


@dataclass
class Chart:
    """The road file, sorted."""

    ways: list[Way] = field(default_factory=list)
    node_tags: dict[int, dict[str, str]] = field(default_factory=dict)
    relations: list[tuple[dict[str, str], dict[str, int]]] = field(default_factory=list)
    """Tags, and the member of each role."""
    stamps: list[str] = field(default_factory=list)

    def roads(self) -> list[Way]:
        """List roads and driveways."""
        return [way for way in self.ways if "highway" in way.tags]

    def buildings(self) -> list[Polygon]:
        """List the outlines of buildings."""
        return [Polygon(way.line.coords) for way in self.ways if "building" in way.tags]

    def water(self) -> BaseGeometry:
        """Ponds, the lake's shore, wide rivers."""
        outer = {"water", None}
        rings = [w for w in self.ways if w.line.is_ring and not {"building", "highway", "place"} & set(w.tags)]
        return unary_union(
            [Polygon(w.line.coords) for w in rings if w.tags.get("natural") in outer and "landuse" not in w.tags]
        )

    def values(self, key: str) -> set[str]:
        """List what a tag says on roads."""
        return {way.tags[key] for way in self.roads() if key in way.tags}

    def graph(self) -> nx.MultiDiGraph[int]:
        """Join the roads at their nodes, one edge a direction."""
        graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
        for way in self.roads():
            for a, b, feet in zip(way.refs, way.refs[1:], _steps(way.line), strict=False):
                graph.add_edge(a, b, feet=feet, way=way.number)
                if way.tags.get("oneway") != "yes":
                    graph.add_edge(b, a, feet=feet, way=way.number)
        return graph


def _steps(line: LineString) -> list[float]:
    return [math.dist(a, b) for a, b in itertools.pairwise(line.coords)]


def _feet(lon: float, lat: float) -> tuple[float, float]:
    return (lon - ORIGIN_LON) * FT_PER_DEG_LON, (lat - ORIGIN_LAT) * FT_PER_DEG_LAT


def _rows(name: str) -> list[dict[str, str]]:
    with (SAMPLE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _point(row: dict[str, str]) -> Point:
    return Point(_feet(float(row["lon"]), float(row["lat"])))


@pytest.fixture(scope="module")
def chart() -> Chart:
    found = Chart()
    objects: Iterable[Any] = osmium.FileProcessor(SAMPLE / "roads.osm.gz").with_locations()
    for one in objects:
        found.stamps.append(one.timestamp.date().isoformat())
        tags = dict(one.tags)
        if one.is_node() and tags:
            found.node_tags[one.id] = tags
        elif one.is_way():
            line = LineString([_feet(node.lon, node.lat) for node in one.nodes])
            found.ways.append(Way(one.id, tags, [node.ref for node in one.nodes], line))
        elif one.is_relation():
            found.relations.append((tags, {member.role: member.ref for member in one.members}))
    return found


# ------------------------------------------------------------------------------------------------ the files


def test_script_makes_these_files(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "data_samples.make_millrace", "--out", str(tmp_path)]
    subprocess.run(command, cwd=REPO, check=True)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(p.name for p in SAMPLE.iterdir())
    for made in tmp_path.iterdir():
        kept = (SAMPLE / made.name).read_bytes()
        if made.suffix == ".gz":  # another zlib packs the same text into other bytes
            assert gzip.decompress(made.read_bytes()) == gzip.decompress(kept)
            assert made.read_bytes()[4:8] == bytes(4), "the time of writing is in the file"
        else:
            assert made.read_bytes() == kept, made.name


def test_folder_is_small() -> None:
    assert sum(path.stat().st_size for path in SAMPLE.iterdir()) < 600_000


def test_district_file_names_what_is_there() -> None:
    district = tomllib.loads((SAMPLE / "district.toml").read_text(encoding="utf-8"))
    named = [*district["files"].values(), district["roads"]["file"], district["district"]["boundary"]]
    no_plan_reads = {"candidates.csv", "drill.csv"}
    assert {*named, "district.toml"} | no_plan_reads == {path.name for path in SAMPLE.iterdir()}
    levels = [(level["engines"], level["tankers"]) for level in district["response_levels"]]
    assert len(levels) == 3
    assert levels == sorted(levels)


# ------------------------------------------------------------------------------------------------ the map


def test_roads_hang_together(chart: Chart) -> None:
    graph = chart.graph()
    assert max(map(len, nx.strongly_connected_components(graph))) == graph.number_of_nodes()


def test_roads_meet_at_nodes_only(chart: Chart) -> None:
    roads = chart.roads()
    tree = STRtree([way.line for way in roads])
    for i, way in enumerate(roads):
        for j in tree.query(way.line):
            other = roads[int(j)]
            meeting = way.line.intersection(other.line)
            if j > i and not meeting.is_empty:
                places = len(getattr(meeting, "geoms", [meeting]))
                assert places <= len(set(way.refs) & set(other.refs)), (way.tags, other.tags)


def test_roads_bend(chart: Chart) -> None:
    long = [way for way in chart.roads() if way.line.length > 3000]
    assert len(long) > 20
    for way in long:
        straight = math.dist(way.line.coords[0], way.line.coords[-1])
        assert max(_steps(way.line)) < 1500, way.tags
        assert way.line.length > 1.003 * straight, way.tags


def test_creek_is_crossed_on_bridges_only(chart: Chart) -> None:
    creek = unary_union([way.line for way in chart.ways if way.tags.get("waterway") == "river"])
    crossing = [way for way in chart.roads() if way.line.intersects(creek)]
    assert len(crossing) == 4
    for way in crossing:
        assert way.tags["bridge"] == "yes"
        assert way.tags["layer"] == "1"
        assert way.line.length < 120
    assert sum("maxweight" not in way.tags and "maxheight" not in way.tags for way in crossing) == 1


def test_roads_are_dry(chart: Chart) -> None:
    water = chart.water()
    assert [way.tags for way in chart.roads() if way.line.intersects(water) and "bridge" not in way.tags] == []


def test_buildings_stand_clear(chart: Chart) -> None:
    water, buildings = chart.water(), chart.buildings()
    roads = unary_union([way.line for way in chart.roads() if not way.driveway])
    tree = STRtree(buildings)
    for i, building in enumerate(buildings):
        assert building.distance(roads) > 12
        assert [j for j in tree.query(building, predicate="intersects") if j != i] == []
        on_island = building.within(unary_union([Polygon(p.line.coords) for p in chart.ways if "place" in p.tags]))
        assert on_island or not building.intersects(water)


def test_limits_as_mappers_write_them(chart: Chart) -> None:
    assert {"16 st", "36", "12"} == chart.values("maxweight")
    assert {"10'0\"", "low"} == chart.values("maxheight")
    assert chart.values("width") == {"10'0\""}
    assert {"35 mph", "30 mph", "55 mph"} <= chart.values("maxspeed")
    assert {"secondary", "tertiary", "unclassified", "residential", "service", "track"} == chart.values("highway")
    assert {"gravel", "dirt", "asphalt"} == chart.values("surface")
    assert any("motor_vehicle:conditional" in way.tags for way in chart.roads())
    assert any(way.tags.get("junction") == "roundabout" and way.line.is_ring for way in chart.roads())
    assert sum(way.tags.get("oneway") == "yes" and "junction" not in way.tags for way in chart.roads()) == 2


def test_nodes_that_matter(chart: Chart) -> None:
    kinds = Counter(tags.get("highway") or tags.get("barrier") or tags["railway"] for tags in chart.node_tags.values())
    assert kinds["turning_circle"] == kinds["turning_loop"] == kinds["traffic_signals"] == 1
    assert kinds["gate"] == 2
    assert kinds["stop"] > 10
    assert kinds["level_crossing"] == 4
    on_roads = {ref for way in chart.roads() for ref in way.refs}
    assert set(chart.node_tags) <= on_roads


def test_dead_ends_mostly_without_a_turning_place(chart: Chart) -> None:
    graph: nx.Graph[int] = nx.Graph(chart.graph())
    driveway = {ref for way in chart.roads() if way.driveway for ref in way.refs}
    ends = [node for node, degree in graph.degree if degree == 1 and node not in driveway]
    turning = [node for node in ends if chart.node_tags.get(node, {}).get("highway", "").startswith("turning_")]
    assert len(ends) > 12
    assert len(turning) == 2


def test_restriction_meets_at_its_node(chart: Chart) -> None:
    kinds = {tags["type"]: (tags, members) for tags, members in chart.relations}
    assert set(kinds) == {"multipolygon", "restriction"}
    tags, members = kinds["restriction"]
    assert tags["restriction"] == "no_left_turn"
    by_number = {way.number: way for way in chart.ways}
    for role in ("from", "to"):
        refs = by_number[members[role]].refs
        assert members["via"] in {refs[0], refs[-1]}


def test_file_is_dated(chart: Chart) -> None:
    assert max(chart.stamps) == "2026-04-30"


def test_posted_bridge_parts_loaded_from_empty(chart: Chart) -> None:
    tankers = [row for row in _rows("apparatus.csv") if "tanker" in row["kind"] and row["loaded_lb"]]
    # a tenth of the tank stays aboard on the way back, but of a vacuum tanker's
    back_lb = [
        float(row["empty_lb"]) + (0.0 if row["self_fill_gpm"] else 0.1 * 8.34 * float(row["tank_gal"]))
        for row in tankers
    ]
    assert all(float(row["loaded_lb"]) > SIXTEEN_SHORT_TONS_LB for row in tankers)
    assert sum(pounds < SIXTEEN_SHORT_TONS_LB for pounds in back_lb) >= 5
    assert any(pounds > SIXTEEN_SHORT_TONS_LB for pounds in back_lb)
    graph = chart.graph()
    bridge = next(way for way in chart.roads() if way.tags.get("maxweight") == "16 st")
    near, far = bridge.refs[0], bridge.refs[-1]
    over = nx.shortest_path_length(graph, near, far, weight="feet")
    graph.remove_edges_from([(a, b) for a, b in graph.edges() if a in bridge.refs and b in bridge.refs])
    around = nx.shortest_path_length(graph, near, far, weight="feet")
    assert over < 200
    assert around > 3 * 5280


# ------------------------------------------------------------------------------------------------ the tables


def test_addresses_are_a_township(chart: Chart) -> None:
    rows = _rows("addresses.csv")
    assert 350 <= len(rows) <= 600
    assert len({row["address_id"] for row in rows}) == len(rows)
    boundary = shape(_boundary())
    assert all(boundary.contains(Point(float(row["lon"]), float(row["lat"]))) for row in rows)
    kinds = Counter(row["occupancy"] for row in rows)
    assert {
        "mobile home",
        "camp",
        "farm",
        "barn",
        "church",
        "school",
        "sawmill",
        "town hall",
        "store",
        "utility",
    } <= set(kinds)
    assert kinds["single family dwelling"] > len(rows) / 2
    roads = unary_union([way.line for way in chart.roads() if not way.driveway and way.tags.get("access") != "private"])
    setbacks = sorted(_point(row).distance(roads) for row in rows)
    assert setbacks[0] > 30
    assert 2 <= sum(feet > 1320 for feet in setbacks) <= 6
    assert sum(feet > 500 for feet in setbacks) > 20


def _boundary() -> dict[str, object]:
    features = json.loads((SAMPLE / "boundary.geojson").read_text(encoding="utf-8"))["features"]
    return dict(features[0]["geometry"])


def test_what_is_known_of_a_building_varies(chart: Chart) -> None:
    rows, tree = _rows("addresses.csv"), STRtree(chart.buildings())
    known = Counter((bool(row["length_ft"]), len(tree.query(_point(row), predicate="within")) > 0) for row in rows)
    assert min(known.values()) > 30
    assert len(known) == 4
    for column in ("driveway_ft", "sprinklered", "construction", "occupancy_hazard"):
        assert sum(bool(row[column]) for row in rows) >= 3


def test_house_numbers_run_along_the_road(chart: Chart) -> None:
    """A thousand numbers a mile, odd on the left as the road is drawn."""
    road = max((way for way in chart.roads() if way.tags.get("name") == "Kiln Road"), key=lambda way: way.line.length)
    seen = []
    for row in _rows("addresses.csv"):
        number = row["label"].split()[0]
        where = _point(row)
        if row["street"] == "Kiln Road" and number.isdigit() and road.line.distance(where) < 200:
            feet = road.line.project(where)
            a, b = road.line.interpolate(feet - 5), road.line.interpolate(feet + 5)
            left = (b.x - a.x) * (where.y - a.y) - (b.y - a.y) * (where.x - a.x) > 0
            seen.append((feet, int(number)))
            assert left == (int(number) % 2 == 1), row
    assert len(seen) > 10
    first, last = min(seen), max(seen)
    assert (last[0] - first[0]) / (last[1] - first[1]) == pytest.approx(10.56, rel=0.02)


def test_hydrants_stand_in_the_hamlet() -> None:
    hydrants = [_point(row) for row in _rows("hydrants.csv")]
    assert len(hydrants) == 9
    near = sum(min(spot.distance(_point(row)) for spot in hydrants) < 1000 for row in _rows("addresses.csv"))
    assert 40 <= near <= 90
    assert {bool(row["flow_gpm"]) for row in _rows("hydrants.csv")} == {True, False}


def test_fill_sites_are_of_every_kind() -> None:
    rows = _rows("fill_sites.csv")
    assert {row["kind"] for row in rows} == {"hydrant", "dry hydrant", "draft", "cistern", "tank"}
    assert Counter(row["source_id"] for row in rows if row["source_id"]) == {"KETTLE": 2}
    assert [row["months"] for row in rows if row["months"]] == ["4-11"]
    assert sum(row["in_service"] == "no" for row in rows) == 1
    assert sum(not row["fill_gpm"] for row in rows) == 1
    assert {row["turnaround"] for row in rows} == {"through", "loop", "back"}
    assert all(row["storage_gal"] for row in rows if row["kind"] in {"cistern", "tank"})
    boundary = shape(_boundary())
    outside = [row for row in rows if not boundary.contains(Point(float(row["lon"]), float(row["lat"])))]
    assert [row["site_id"] for row in outside] == ["F10"]


def test_sites_and_stations_stand_by_a_road(chart: Chart) -> None:
    roads = unary_union([way.line for way in chart.roads() if not way.driveway])
    assert all(_point(row).distance(roads) < 40 for row in _rows("fill_sites.csv"))
    assert all(_point(row).distance(roads) < 120 for row in _rows("stations.csv"))


def test_stations_and_apparatus() -> None:
    stations, units = _rows("stations.csv"), _rows("apparatus.csv")
    assert Counter(row["aid"] for row in stations) == {"own": 2, "automatic": 2, "on request": 1}
    assert sum(row["staffed"] == "yes" for row in stations) == 1
    assert sum(bool(row["max_tankers"]) for row in stations) >= 1
    assert {row["station_id"] for row in units} == {row["station_id"] for row in stations}
    kinds = Counter(row["kind"] for row in units)
    assert kinds["engine"] == 8
    assert kinds["tanker"] + kinds["pumper-tanker"] == 9
    assert kinds["pumper-tanker"] == 1
    assert sum(bool(row["self_fill_gpm"]) for row in units) == 1
    assert sum(row["in_service"] == "no" for row in units) == 1
    told = {"unit_id", "station_id", "kind", "tank_gal", "in_service"}
    assert [r["unit_id"] for r in units if not any(v for k, v in r.items() if k not in told)] == ["T41"]


def test_closures_find_their_roads(chart: Chart) -> None:
    roads = {way.number: way for way in chart.roads()}
    for row in _rows("closures.csv"):
        assert row["kind"] in {"closed", "max_lb"}
        if row["way_id"]:
            assert roads[int(row["way_id"])].tags["name"] == "Turkey Knob Road"
        else:
            nearest = min(roads.values(), key=lambda way: way.line.distance(_point(row)))
            assert nearest.tags["name"] == "Fiddlehead Road"
