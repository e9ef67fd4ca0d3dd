"""Reading roads: where ways are cut, what a damaged file says, and other ways in."""

from __future__ import annotations

import bz2
import gzip
import json
import socket
import threading
from collections import Counter
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import groupby, pairwise
from pathlib import Path
from typing import ClassVar, cast
from xml.etree import ElementTree as ET

import numpy as np
import osmium
import osmnx as ox
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from preplan.errors import InputError
from preplan.plan_inputs import RoadSource
from preplan.records import Closure, RoadTable
from preplan.roads import source
from preplan.roads.limits import limits_of
from preplan.roads.network import restriction_problems
from preplan.roads.osm_file import MOST_BYTES
from preplan.roads.source import download_roads, read_graphml, read_osm, read_roads
from preplan.roads.stretches import DRIVABLE, Ways, road_table
from preplan.rules import RoadRules
from tests.osm_text import OsmText, street
from tests.shared_data import shared

ROAD = {"highway": "tertiary"}
GRAPHML = "http://graphml.graphdrawing.org/xmlns"
GEOD = Geod(ellps="WGS84")


def node_pairs(roads: RoadTable) -> list[tuple[int, int]]:
    """Give the OSM ids at the ends of every stretch."""
    return [(int(roads.node_id[a]), int(roads.node_id[b])) for a, b in zip(roads.from_node, roads.to_node, strict=True)]


def cut_nodes(roads: RoadTable) -> list[int]:
    return [int(node) for node in roads.node_id[roads.node_cut]]


# ------------------------------------------------------------------------------------- where a way is cut


def test_breaks_at_junctions_and_way_ends_only(tmp_path: Path) -> None:
    text = street(5).node(9, -71.998, 44.001)
    roads = text.way(10, [1, 2, 3, 4, 5], {**ROAD, "name": "Mill Road"}).way(11, [3, 9], ROAD).roads(tmp_path)
    assert node_pairs(roads) == [(1, 3), (3, 5), (3, 9)]
    assert roads.name.tolist() == ["Mill Road", "Mill Road", ""]
    assert np.diff(roads.coord_start).tolist() == [3, 3, 2]
    assert roads.tag_row.tolist() == [0, 0, 1]
    assert not roads.node_cut.any()


def test_lengths_are_geodesic(tmp_path: Path) -> None:
    text = street(3).node(9, -71.998, 44.01)
    roads = text.way(10, [1, 2, 3, 9], ROAD).roads(tmp_path)
    assert roads.length_m[0] == pytest.approx(GEOD.line_length(roads.coord_lon, roads.coord_lat), rel=1e-12)
    # two stretches of 0.001 degrees of longitude at 44 N, 80.3 m each, and 0.01 of latitude, 1,111 m
    assert roads.length_m[0] == pytest.approx(2 * 80.2 + 1111.1, abs=1.0)


def test_a_bridge_is_never_merged_into_its_neighbours(tmp_path: Path) -> None:
    text = street(4).way(10, [1, 2], ROAD).way(11, [2, 3], {**ROAD, "bridge": "yes", "maxweight": "3 st"})
    roads = text.way(12, [3, 4], ROAD).roads(tmp_path)
    assert node_pairs(roads) == [(1, 2), (2, 3), (3, 4)]
    assert [roads.way_tags[row].get("maxweight") for row in roads.tag_row] == [None, "3 st", None]


@pytest.mark.parametrize(
    ("tags", "stretches"),
    [
        ({"barrier": "gate"}, 2),
        ({"highway": "traffic_signals"}, 2),
        ({"highway": "stop"}, 2),
        ({"highway": "give_way"}, 2),
        ({"highway": "turning_circle"}, 2),
        ({"highway": "turning_loop"}, 2),
        ({"highway": "mini_roundabout"}, 2),
        ({"railway": "level_crossing"}, 2),
        ({"maxheight": "3.2"}, 3),
        ({"maxheight__physical": "3.2"}, 3),
        ({"maxweight": "5"}, 3),
        ({"ford": "yes"}, 2),
        ({"highway": "crossing"}, 1),
        ({"barrier": "kerb"}, 1),
        ({"power": "pole"}, 1),
    ],
)
def test_a_node_whose_tags_matter_breaks_the_road(tmp_path: Path, tags: dict[str, str], stretches: int) -> None:
    text = OsmText().node(1, -72.0, 44.0).node(2, -71.999, 44.0, **tags).node(3, -71.998, 44.0)
    roads = text.way(10, [1, 2, 3], ROAD).roads(tmp_path)
    found = node_pairs(roads)
    assert [found[0][0], *(pair[1] for pair in found if pair[1] <= 3)] == ([1, 2, 3] if stretches > 1 else [1, 3])
    assert len(found) == stretches  # a limit has a short piece of its own
    assert sum(bool(of) for of in roads.node_tags.values()) == int(stretches > 1)


def test_a_ring_on_its_own_survives(tmp_path: Path) -> None:
    text = street(2).node(3, -71.9995, 44.001)
    roads = text.way(10, [1, 2, 3, 1], ROAD).roads(tmp_path)
    assert node_pairs(roads) == [(1, 1)]
    assert roads.length_m[0] > 200.0


def test_a_way_that_meets_itself_is_cut_there(tmp_path: Path) -> None:
    text = street(3).node(4, -71.998, 44.001)
    roads = text.way(10, [1, 2, 3, 4, 2], ROAD).roads(tmp_path)
    assert node_pairs(roads) == [(1, 2), (2, 2)]


@pytest.mark.parametrize(
    "value", ["footway", "path", "cycleway", "steps", "pedestrian", "bridleway", "construction", "proposed", "raceway",
              "corridor", "platform", "elevator", "busway"],
)  # fmt: skip
def test_what_no_motor_vehicle_drives_is_no_road_and_makes_no_junction(tmp_path: Path, value: str) -> None:
    roads = street(3).way(10, [1, 2, 3], ROAD).way(11, [2, 1], {"highway": value}).roads(tmp_path)
    assert node_pairs(roads) == [(1, 3)]


@pytest.mark.parametrize("value", sorted(DRIVABLE))
def test_every_class_of_road_is_read(tmp_path: Path, value: str) -> None:
    assert street(2).way(10, [1, 2], {"highway": value}).roads(tmp_path).highway.tolist() == [value]


def test_points_given_twice_and_ways_of_one_point(tmp_path: Path) -> None:
    roads = street(3).way(10, [1, 1, 2, 2, 3], ROAD).way(11, [2], ROAD).way(12, [], ROAD).roads(tmp_path)
    assert sum(np.diff(roads.coord_start)) == 4  # node 2 is a junction with the stub, and no point is doubled
    assert node_pairs(roads) == [(1, 2), (2, 3)]
    assert len(roads.way_tags) == 1


def test_a_later_copy_of_a_way_replaces_the_earlier(tmp_path: Path) -> None:
    text = street(3).way(10, [1, 2], ROAD).way(10, [1, 2, 3], {"highway": "residential"})
    assert text.roads(tmp_path).highway.tolist() == ["residential"]


# ----------------------------------------------------------------------------------------- clipped extracts


def test_a_missing_node_cuts_and_is_never_bridged(tmp_path: Path) -> None:
    text = OsmText()
    for node in (1, 2, 4, 5):
        text.node(node, -72.0 + node * 0.001, 44.0)
    roads = text.way(10, [1, 2, 3, 4, 5], ROAD).roads(tmp_path)
    assert node_pairs(roads) == [(1, 2), (4, 5)]
    assert cut_nodes(roads) == [2, 4]
    assert roads.length_m.sum() == pytest.approx(2 * 80.2, abs=0.5)


def test_missing_nodes_at_the_ends_mark_the_first_node_within(tmp_path: Path) -> None:
    text = street(3)
    roads = text.way(10, [98, 1, 2, 3, 99], ROAD).way(11, [99, 3, 99], ROAD).roads(tmp_path)
    assert node_pairs(roads) == [(1, 3)]
    assert cut_nodes(roads) == [1, 3]


def test_dead_ends_beyond_the_stated_box_are_cut(tmp_path: Path) -> None:
    text = street(4)
    text.head = '<bounds minlon="-72.01" minlat="43.99" maxlon="-71.9975" maxlat="44.01"/>'
    roads = text.way(10, [1, 2, 3, 4], ROAD).roads(tmp_path)
    assert cut_nodes(roads) == [4]


def test_nodes_not_yet_uploaded_have_negative_ids(tmp_path: Path) -> None:
    text = OsmText().node(-1, -72.0, 44.0).node(-2, -71.999, 44.0).node(3, -71.998, 44.0)
    assert node_pairs(text.way(-10, [-1, -2, 3], ROAD).roads(tmp_path)) == [(-1, 3)]


def test_ways_before_their_nodes(tmp_path: Path) -> None:
    text = OsmText().way(10, [1, 2], ROAD).node(1, -72.0, 44.0).node(2, -71.999, 44.0)
    assert node_pairs(text.roads(tmp_path)) == [(1, 2)]


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_cutting_loses_nothing_and_joins_nothing(data: st.DataObject) -> None:
    """Known truth: each pair of neighbouring present nodes of a way is in exactly one stretch."""
    missing = data.draw(st.sets(st.integers(0, 9), max_size=3))
    nodes = st.lists(st.integers(0, 9), min_size=2, max_size=7)
    ways = data.draw(st.lists(nodes, min_size=1, max_size=4))
    place = {n: (np.nan, np.nan) if n in missing else (0.01 * n, 0.01 * (n * n % 7)) for n in range(10)}
    flat = [n for way in ways for n in way]
    roads = road_table(
        Ways(
            way_id=np.arange(len(ways), dtype=np.int64),
            tags=tuple({"highway": "road"} for _ in ways),
            start=np.cumsum([0, *map(len, ways)]).astype(np.int32),
            node_id=np.array(flat, dtype=np.int64),
            lon=np.array([place[n][0] for n in flat]),
            lat=np.array([place[n][1] for n in flat]),
        )
    )
    hops = [
        (w, a, b) for w, way in enumerate(ways) for a, b in pairwise(way)
        if a != b and not {a, b} & missing
    ]  # fmt: skip
    uses = Counter(node for way in ways for node, _ in groupby(way))
    where = {v: k for k, v in place.items()}
    found = []
    for row in range(len(roads)):
        points = range(roads.coord_start[row], roads.coord_start[row + 1])
        line = [where[roads.coord_lon[i], roads.coord_lat[i]] for i in points]
        found += [(int(roads.way_id[row]), a, b) for a, b in pairwise(line)]
        ends = int(roads.node_id[roads.from_node[row]]), int(roads.node_id[roads.to_node[row]])
        assert ends == (line[0], line[-1])
        assert all(uses[inner] == 1 for inner in line[1:-1]), line
    assert sorted(found) == sorted(hops)


# ------------------------------------------------------------------------------- restrictions and the date


def test_turn_restrictions(tmp_path: Path) -> None:
    text = street(4).way(10, [1, 2], ROAD).way(11, [2, 3], ROAD).way(12, [3, 4], ROAD)
    turn = {"type": "restriction", "restriction": "no_left_turn", "except": "psv; emergency"}
    text.relation(1, [("way", 10, "from"), ("node", 2, "via"), ("way", 11, "to")], turn)
    hgv = {"type": "restriction", "restriction:hgv": "no_straight_on"}
    text.relation(2, [("way", 10, "from"), ("way", 11, "via"), ("way", 12, "to")], hgv)
    text.relation(3, [("way", 10, "from"), ("node", 2, "via"), ("way", 77, "to")], turn)  # leads out of the data
    text.relation(4, [("way", 10, "from"), ("way", 11, "to")], turn)  # no via
    text.relation(5, [("way", 10, "from"), ("way", 12, "from"), ("way", 11, "via"), ("way", 12, "to")], hgv)
    found = text.roads(tmp_path).restrictions
    assert [(one.relation_id, one.kind, one.from_way, one.to_way) for one in found] == [
        (1, "no_left_turn", 10, 11), (2, "no_straight_on", 10, 12), (4, "no_left_turn", 10, 11),
        (5, "no_straight_on", 10, 12), (5, "no_straight_on", 12, 12),
    ]  # fmt: skip
    assert (found[2].via_node, found[2].via_ways) == (None, ())
    assert (found[0].via_node, found[0].via_ways, found[0].exempt) == (2, (), ("psv", "emergency"))
    assert (found[1].via_node, found[1].via_ways, found[1].exempt) == (None, (11,), ())


def test_a_relation_for_all_and_for_trucks_is_two_restrictions(tmp_path: Path) -> None:
    text = street(4).way(10, [1, 2], ROAD).way(11, [2, 3], ROAD)
    both = {"type": "restriction", "restriction": "only_straight_on", "restriction:hgv": "no_u_turn"}
    text.relation(1, [("way", 10, "from"), ("node", 2, "via"), ("way", 11, "to")], both)
    same = {"type": "restriction", "restriction": "no_left_turn", "restriction:hgv": "no_left_turn"}
    text.relation(2, [("way", 10, "from"), ("node", 2, "via"), ("way", 11, "to")], same)
    found = text.roads(tmp_path).restrictions
    assert [(one.relation_id, one.kind) for one in found] == [
        (1, "only_straight_on"), (1, "no_u_turn"), (2, "no_left_turn"),
    ]  # fmt: skip


@pytest.mark.parametrize("key", ["restriction", "restriction:motor_vehicle", "restriction:vehicle", "restriction:hgv"])
def test_a_restriction_for_any_class_that_a_tanker_belongs_to_is_read(tmp_path: Path, key: str) -> None:
    """OpenStreetMap wiki, Relation:restriction: restriction:<vehicle> holds for that vehicle alone."""
    text = street(4).way(10, [1, 2], ROAD).way(11, [2, 3], ROAD)
    members = [("way", 10, "from"), ("node", 2, "via"), ("way", 11, "to")]
    text.relation(1, members, {"type": "restriction", key: "no_u_turn"})
    text.relation(2, members, {"type": "restriction", f"{key}:conditional": "no_left_turn @ (Mo-Fr)"})
    roads = text.roads(tmp_path)
    assert [one.kind for one in roads.restrictions] == ["no_u_turn", "no_left_turn @ (Mo-Fr)"]
    assert [one.osm_id for one in restriction_problems(roads)] == ["relation 2"]


@pytest.mark.parametrize("via", [[], [2, 3]])
def test_a_restriction_that_goes_through_no_single_node_is_told(tmp_path: Path, via: list[int]) -> None:
    text = street(4).way(10, [1, 2], ROAD).way(11, [2, 3], ROAD)
    members = [("way", 10, "from"), *(("node", node, "via") for node in via), ("way", 11, "to")]
    text.relation(1, members, {"type": "restriction", "restriction": "no_straight_on"})
    (problem,) = restriction_problems(text.roads(tmp_path))
    assert "no single node" in problem.rule


def test_the_newest_date_of_the_file(tmp_path: Path) -> None:
    text = street(3).way(10, [1, 2], ROAD, "2019-05-01T00:00:00Z").way(11, [2, 3], ROAD, "2024-02-03T09:00:00Z")
    assert text.roads(tmp_path).newest == "2024-02-03"
    assert street(2).way(10, [1, 2], ROAD).roads(tmp_path).newest == ""


# ------------------------------------------------------------------------------------------ kinds of files


def _as_pbf(xml: Path, path: Path) -> None:
    with osmium.SimpleWriter(str(path)) as writer:
        for thing in osmium.FileProcessor(str(xml)):
            writer.add(thing)


def _all_kinds(folder: Path) -> dict[str, Path]:
    text = street(3).way(10, [1, 2, 3], {**ROAD, "name": "Chemin d'Été & Co"}).way(11, [2, 1], ROAD)
    xml = text.save(folder)
    (folder / "roads.osm.gz").write_bytes(gzip.compress(xml.read_bytes()))
    (folder / "roads.osm.bz2").write_bytes(bz2.compress(xml.read_bytes()))
    _as_pbf(xml, folder / "roads.osm.pbf")
    return {name: folder / name for name in ("roads.osm", "roads.osm.gz", "roads.osm.bz2", "roads.osm.pbf")}


def test_every_kind_of_file_gives_the_same_roads(tmp_path: Path) -> None:
    tables = [read_osm(path)[0] for path in _all_kinds(tmp_path).values()]
    for table in tables:
        assert table.name.tolist() == ["Chemin d'Été & Co"] * 2 + [""]
        assert node_pairs(table) == [(1, 2), (2, 3), (2, 1)]
        np.testing.assert_array_equal(table.length_m, tables[0].length_m)


@pytest.mark.parametrize("kind", ["roads.osm", "roads.osm.gz", "roads.osm.bz2", "roads.osm.pbf"])
def test_a_file_cut_short_says_so(tmp_path: Path, kind: str) -> None:
    path = _all_kinds(tmp_path)[kind]
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) * 2 // 3])
    with pytest.raises(InputError) as caught:
        read_osm(path)
    (finding,) = caught.value.findings
    assert finding.file == kind
    assert "cut short" in finding.rule
    assert finding.remedy


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("page.osm", b"<html><body/></html>", "no OpenStreetMap file"),
        ("words.osm", b"roads of the district", "no OpenStreetMap file"),
        ("old.osm", b"<osm version='0.5'></osm>", "no OpenStreetMap file"),
        ("packed.osm", gzip.compress(b"<osm version='0.6'></osm>", mtime=0), "no OpenStreetMap file"),
        ("empty.osm", b"", "is empty"),
        ("bare.osm", b"<osm version='0.6'></osm>", "holds no road"),
        ("roads.shp", b"x", "no kind of road file"),
        ("zeros.osm.pbf", b"\0" * 64, "damaged"),
        ("place.osm", b"<osm version='0.6'><node id='1' lat='x' lon='0'/></osm>", "damaged"),
    ],
)
def test_what_is_no_road_file_is_a_finding(tmp_path: Path, name: str, content: bytes, words: str) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match=words) as caught:
        read_osm(tmp_path / name)
    assert caught.value.findings[0].remedy


def test_roads_without_their_nodes_are_a_finding(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="none of their nodes"):
        OsmText().way(10, [1, 2], ROAD).roads(tmp_path)


def test_missing_file_folder_and_oversized_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not there"):
        read_osm(tmp_path / "none.osm")
    (tmp_path / "folder.osm").mkdir()
    with pytest.raises(InputError, match="is not a file"):
        read_osm(tmp_path / "folder.osm")
    with (tmp_path / "planet.osm.pbf").open("wb") as hole:
        hole.truncate(MOST_BYTES + 1)  # takes no room on the disk
    with pytest.raises(InputError, match=r"over 2 GB.*extract"):
        read_osm(tmp_path / "planet.osm.pbf")


# ------------------------------------------------------------------------------------------------ real files


def _independent_m(path: Path) -> tuple[float, int]:
    """Sum the geodesic length of all drivable ways with the standard library's XML reader: metres, ways."""
    place: dict[str, tuple[float, float]] = {}
    total, ways = 0.0, 0
    with bz2.open(path) as file:
        for _, item in ET.iterparse(file):  # noqa: S314  a file of our own
            if item.tag == "node":
                place[item.attrib["id"]] = float(item.attrib["lon"]), float(item.attrib["lat"])
            elif item.tag == "way":
                tags = {tag.attrib["k"]: tag.attrib["v"] for tag in item.iter("tag")}
                line = [place[ref] for nd in item.iter("nd") if (ref := nd.attrib["ref"]) in place]
                if tags.get("highway") in DRIVABLE and len(line) > 1:
                    lon, lat = zip(*line, strict=True)
                    total += GEOD.line_length(lon, lat)
                    ways += 1
    return total, ways


@pytest.mark.parametrize(
    ("folder", "name"),
    [("districts/vt_essex_south", "roads.osm.bz2"), ("osm", "nm_taos_forest.osm.bz2"), ("osm", "ca_felton.osm.bz2")],
)
def test_no_road_of_a_real_file_is_lost(folder: str, name: str) -> None:
    path = shared(*folder.split("/"), name)
    roads, _ = read_osm(path)
    metres, ways = _independent_m(path)
    assert len(set(roads.way_id.tolist())) == ways
    assert roads.length_m.sum() == pytest.approx(metres, rel=1e-9)


def test_a_real_file_in_pbf_with_weights_and_turn_restrictions() -> None:
    roads, _ = read_osm(shared("osm", "de_heidelberg_hgv.osm.pbf"))
    assert sum("maxweight" in tags for tags in roads.way_tags) == 106
    assert len({one.relation_id for one in roads.restrictions}) > 400
    assert roads.newest == "2024-09-08"


# ------------------------------------------------------------------------------------------- graphs by osmnx


def _district() -> OsmText:
    """Draw a street with a bridge, a one-way against its way, a ring, a gate and a side road."""
    text = street(6).node(7, -71.996, 44.002).node(8, -71.995, 44.003).node(9, -71.994, 44.002, barrier="gate")
    text.node(20, -71.99, 44.0).node(21, -71.989, 44.0).node(22, -71.989, 44.001)
    text.way(10, [1, 2, 3], {**ROAD, "name": "Mill Road"})
    text.way(11, [3, 4], {**ROAD, "bridge": "yes", "maxweight": "3 st"})
    text.way(12, [4, 5, 6], {**ROAD, "maxweight": "10 st"})
    text.way(13, [5, 7, 8], {"highway": "residential", "oneway": "-1"})
    text.way(14, [8, 9], {"highway": "track", "tracktype": "grade2"})
    text.way(15, [6, 20, 21, 22, 6], {"highway": "service", "oneway": "yes"})
    return text.way(16, [2, 7], {"highway": "footway"})


@pytest.fixture
def wide_tags(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ox.settings, "useful_tags_way", [*ox.settings.useful_tags_way, "maxweight", "tracktype"])
    monkeypatch.setattr(ox.settings, "useful_tags_node", [*ox.settings.useful_tags_node, "barrier", "maxheight"])


@pytest.mark.usefixtures("wide_tags")
def test_a_saved_graph_gives_the_same_roads_as_the_file(tmp_path: Path) -> None:
    xml = _district().save(tmp_path)
    graph = ox.graph_from_xml(xml, simplify=False, retain_all=True)
    ox.save_graphml(graph, tmp_path / "roads.graphml")
    from_file, _ = read_osm(xml)
    from_graph = read_graphml(tmp_path / "roads.graphml")
    pairs = sorted(zip(from_file.way_id.tolist(), node_pairs(from_file), strict=True))
    # the way tagged oneway=-1 has been turned round by osmnx, and node 5 is a junction of its own in both
    turned = [(way, pair[::-1] if way == 13 else pair) for way, pair in pairs]
    assert sorted(zip(from_graph.way_id.tolist(), node_pairs(from_graph), strict=True)) == sorted(turned)
    assert from_graph.length_m.sum() == pytest.approx(from_file.length_m.sum(), rel=1e-9)
    tags = {int(way): from_graph.way_tags[row] for way, row in zip(from_graph.way_id, from_graph.tag_row, strict=True)}
    assert tags[11]["maxweight"] == "3 st"
    assert tags[13]["oneway"] == tags[15]["oneway"] == "yes"
    assert "oneway" not in tags[10]
    assert [dict(one) for one in from_graph.node_tags.values()] == [{"barrier": "gate"}]


@pytest.mark.usefixtures("wide_tags")
def test_a_limit_on_a_node_has_a_piece_of_its_own_in_a_saved_graph_too(tmp_path: Path) -> None:
    text = OsmText().node(1, -72.0, 44.0).node(2, -71.999, 44.0, barrier="gate", maxheight="3").node(3, -71.998, 44.0)
    xml = text.way(10, [1, 2, 3], ROAD).save(tmp_path)
    ox.save_graphml(ox.graph_from_xml(xml, simplify=False, retain_all=True), tmp_path / "roads.graphml")
    assert node_pairs(read_graphml(tmp_path / "roads.graphml")) == node_pairs(read_osm(xml)[0])
    assert len(read_osm(xml)[0]) == 3


@pytest.mark.usefixtures("wide_tags")
def test_a_simplified_graph_keeps_every_value_of_a_merged_edge(tmp_path: Path) -> None:
    graph = ox.graph_from_xml(_district().save(tmp_path), simplify=True, retain_all=True)
    ox.save_graphml(graph, tmp_path / "roads.graphml")
    roads = read_graphml(tmp_path / "roads.graphml")
    merged = {tags["maxweight"] for tags in roads.way_tags if "maxweight" in tags}
    assert any({"3 st", "10 st"} <= set(value.split(";")) for value in merged), merged
    assert roads.length_m.sum() == pytest.approx(read_osm(tmp_path / "roads.osm")[0].length_m.sum(), rel=1e-9)
    assert all(";" not in name for name in roads.highway)


@pytest.mark.parametrize(("way", "rows"), [(10, 1), (11, 1), (12, 2), (13, 1)])
def test_a_closure_finds_its_way_in_every_stretch_that_a_simplified_graph_has_merged_it_into(
    tmp_path: Path, way: int, rows: int
) -> None:
    """Ways 10, 11 and half of 12 are one stretch of a mile and a half; a way alone in its stretch is no news."""
    text = street(5, step=0.01).node(9, -71.97, 44.01).way(10, [1, 2], {"highway": "tertiary"})
    text.way(11, [2, 3], {"highway": "tertiary", "bridge": "yes"}).way(12, [3, 4, 5], {"highway": "tertiary"})
    xml = text.way(13, [4, 9], {"highway": "tertiary"}).save(tmp_path)
    ox.save_graphml(ox.graph_from_xml(xml, simplify=True, retain_all=True), tmp_path / "roads.graphml")
    roads = read_graphml(tmp_path / "roads.graphml")
    limits, problems = limits_of(roads, RoadRules(), (Closure(closure_id="C1", kind="closed", way_id=way),))
    assert int(limits.shut.sum()) == rows
    assert [one.code for one in problems if "merged" in one.rule] == ["long closure"] * (way != 13)


def test_a_projected_graph_is_brought_back(tmp_path: Path) -> None:
    graph = ox.graph_from_xml(_district().save(tmp_path), simplify=False, retain_all=True)
    ox.save_graphml(ox.project_graph(graph), tmp_path / "flat.graphml")
    roads = read_graphml(tmp_path / "flat.graphml")
    assert roads.node_lon.min() == pytest.approx(-72.0, abs=1e-6)
    assert roads.node_lat.min() == pytest.approx(44.0, abs=1e-6)


def test_a_node_that_lost_a_street_is_cut(tmp_path: Path) -> None:
    graph = ox.graph_from_xml(_district().save(tmp_path), simplify=False, retain_all=True)
    for node, streets in ox.stats.count_streets_per_node(graph).items():
        graph.nodes[node]["street_count"] = streets  # as every download has it
    graph.remove_node(1)
    ox.save_graphml(graph, tmp_path / "roads.graphml")
    assert cut_nodes(read_graphml(tmp_path / "roads.graphml")) == [2]


@pytest.mark.parametrize(
    "content",
    ["", "not xml", "<graphml/>", f'<graphml xmlns="{GRAPHML}"><graph edgedefault="directed"/></graphml>'],
)
def test_what_is_no_saved_graph_is_a_finding(tmp_path: Path, content: str) -> None:
    (tmp_path / "roads.graphml").write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match=r"no (saved )?street graph"):
        read_graphml(tmp_path / "roads.graphml")


def test_a_saved_graph_that_is_missing_cut_short_or_without_roads(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not there"):
        read_graphml(tmp_path / "none.graphml")
    text = street(2).way(10, [1, 2], {"highway": "footway"})
    graph = ox.graph_from_xml(text.save(tmp_path), simplify=False, retain_all=True)
    path = tmp_path / "roads.graphml"
    ox.save_graphml(graph, path)
    with pytest.raises(InputError, match="no road"):
        read_graphml(path)
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(InputError, match="cut short"):
        read_graphml(path)


# -------------------------------------------------------------------------------------------------- download


class _Overpass(BaseHTTPRequestHandler):
    """Speaks enough of the Overpass API: a status page, and ways with their nodes as JSON."""

    asked: ClassVar[list[str]] = []
    answer: ClassVar[tuple[int, bytes]] = (200, b"")

    def do_GET(self) -> None:
        self._say(200, b"Connected as: 1\nCurrent time: now\nRate limit: 2\n\n2 slots available now.\n", "text/plain")

    def do_POST(self) -> None:
        query = self.rfile.read(int(self.headers["Content-Length"])).decode()
        self.asked.append(query)
        self._say(*self.answer, "application/json")

    def _say(self, status: int, body: bytes, kind: str) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        """Keep quiet."""


BOUNDARY = np.array([[-72.001, 43.999], [-71.997, 43.999], [-71.997, 44.001], [-72.001, 44.001], [-72.001, 43.999]])


def _overpass_json() -> bytes:
    """Give a road of 12 nodes, 0.01 degrees apart, with a posted bridge and a gate."""
    nodes = [{"type": "node", "id": i, "lon": -72.0 + 0.01 * i, "lat": 44.0} for i in range(1, 13)]
    nodes[4]["tags"] = {"barrier": "gate"}
    ways = [
        {"type": "way", "id": 10, "nodes": [1, 2, 3], "tags": {"highway": "tertiary", "maxheight": "10'5\""}},
        {
            "type": "way",
            "id": 11,
            "nodes": [3, 4],
            "tags": {"highway": "tertiary", "bridge": "yes", "maxweight": "5 st"},
        },
        {"type": "way", "id": 12, "nodes": list(range(4, 13)), "tags": {"highway": "tertiary", "smoothness": "bad"}},
    ]
    return json.dumps({"version": 0.6, "elements": nodes + ways}).encode()


@pytest.fixture
def overpass() -> Iterator[str]:
    _Overpass.asked.clear()
    _Overpass.answer = (200, _overpass_json())
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Overpass)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    host, port = cast("tuple[str, int]", server.server_address)
    yield f"http://{host}:{port}/api"
    server.shutdown()
    server.server_close()
    thread.join()


def test_download_keeps_limit_tags_and_marks_the_edge(tmp_path: Path, overpass: str) -> None:
    roads = download_roads(BOUNDARY, 2.0, tmp_path / "cache", overpass_url=overpass)
    tags = {int(way): roads.way_tags[row] for way, row in zip(roads.way_id, roads.tag_row, strict=True)}
    assert tags[10]["maxheight"] == "10'5\""
    assert tags[11]["maxweight"] == "5 st"
    assert tags[12]["smoothness"] == "bad"
    assert {"barrier": "gate"} in [dict(one) for one in roads.node_tags.values()]
    # two miles are 0.04 degrees here: the road is cut at the first node beyond, and that node is no dead end
    assert roads.node_id.max() < 12
    assert cut_nodes(roads) == [int(roads.node_id.max())]
    assert "tertiary" in _Overpass.asked[0]


def test_download_is_kept_and_never_made_twice(tmp_path: Path, overpass: str) -> None:
    wanted = RoadSource(file=None, download=True, buffer_mi=2.0, boundary=BOUNDARY)
    first = download_roads(BOUNDARY, 2.0, tmp_path / "cache", overpass_url=overpass)
    again, features = read_roads(wanted, tmp_path / "cache")  # no address given: only the cache can answer
    assert len(_Overpass.asked) == 1
    np.testing.assert_array_equal(first.length_m, again.length_m)
    assert not features.building_rings
    assert [path.suffix for path in (tmp_path / "cache").iterdir()] == [".graphml"]
    download_roads(BOUNDARY, 3.0, tmp_path / "cache", overpass_url=overpass)
    assert len(_Overpass.asked) == 2


def test_download_leaves_no_trace_in_osmnx(tmp_path: Path, overpass: str) -> None:
    def settings_now() -> dict[str, object]:
        return {name: value for name, value in vars(ox.settings).items() if not name.startswith("__")}

    before, resolver = settings_now(), socket.getaddrinfo
    download_roads(BOUNDARY, 2.0, tmp_path, overpass_url=overpass)
    assert settings_now() == before
    assert socket.getaddrinfo is resolver


@pytest.mark.parametrize(
    "answer",
    [
        (200, b'{"elements": []}'),
        (400, b'{"remark": "bad query"}'),
        (500, b"<html>no</html>"),
        (200, b"<html>no</html>"),
        (200, _overpass_json().replace(b"{", b'{"remark": "runtime error: Query timed out", ', 1)),
    ],
)
def test_a_server_that_gives_nothing_is_a_finding(tmp_path: Path, overpass: str, answer: tuple[int, bytes]) -> None:
    _Overpass.answer = answer
    with pytest.raises(InputError, match="road download"):
        download_roads(BOUNDARY, 2.0, tmp_path / "cache", overpass_url=overpass)
    assert not (tmp_path / "cache").exists()


def test_no_server_is_a_finding_at_once(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with pytest.raises(InputError, match="cannot be reached"):
        download_roads(BOUNDARY, 2.0, tmp_path, overpass_url=f"http://127.0.0.1:{port}/api")
    with pytest.raises(InputError, match="no web address"):
        download_roads(BOUNDARY, 2.0, tmp_path, overpass_url="file:///etc")


def test_an_interrupted_save_leaves_nothing(tmp_path: Path, overpass: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def break_off(_: object, path: Path) -> None:
        path.write_text("<graphml", encoding="utf-8")
        raise OSError("disk full")

    monkeypatch.setattr(ox, "save_graphml", break_off)
    with pytest.raises(OSError, match="disk full"):
        download_roads(BOUNDARY, 2.0, tmp_path / "cache", overpass_url=overpass)
    assert list((tmp_path / "cache").iterdir()) == []


# ---------------------------------------------------------------------------------------------------- choice


def test_read_roads_chooses_by_the_name_of_the_file(tmp_path: Path) -> None:
    xml = _district().save(tmp_path, "Roads.OSM")
    roads, _ = read_roads(RoadSource(file=xml), tmp_path)
    ox.save_graphml(ox.graph_from_xml(_district().save(tmp_path), simplify=False), tmp_path / "roads.graphml")
    from_graph, features = read_roads(RoadSource(file=tmp_path / "roads.graphml"), tmp_path)
    assert set(from_graph.way_id) == set(roads.way_id)
    assert len(features.hydrant_lonlat) == 0


def test_no_source_at_all_is_a_finding(tmp_path: Path) -> None:
    for none in (RoadSource(file=None), RoadSource(file=None, download=True)):
        with pytest.raises(InputError, match="neither a road file nor a download"):
            source.read_roads(none, tmp_path)
