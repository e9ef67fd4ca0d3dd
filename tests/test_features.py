"""Buildings, water, hydrants and turning places out of the same file as the roads."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from shapely import Polygon

from preplan.records import FeatureTable, FloatArray
from preplan.roads.features import is_water
from preplan.roads.source import read_osm
from tests.osm_text import OsmText, street
from tests.shared_data import shared

CORNERS = {1: (0.0, 0.0), 2: (0.004, 0.0), 3: (0.004, 0.004), 4: (0.0, 0.004)}
"""A square; 5 to 8 is a square within."""


def _squares() -> OsmText:
    text = street(2, lon=0.01, lat=0.01)
    for node, (lon, lat) in CORNERS.items():
        text.node(node + 10, lon, lat).node(node + 20, lon / 2 + 0.001, lat / 2 + 0.001)
    return text.way(1, [1, 2], {"highway": "tertiary"})


def _features(text: OsmText, folder: Path) -> FeatureTable:
    return read_osm(text.save(folder))[1]


def _area(ring: FloatArray) -> float:
    assert ring.shape[1] == 2
    assert (ring[0] == ring[-1]).all()
    return float(Polygon(ring).area)


def test_a_building_is_a_closed_ring_of_lon_lat(tmp_path: Path) -> None:
    text = _squares().way(2, [11, 12, 13, 14, 11], {"building": "house"}).way(3, [21, 22, 23, 21], {"building": "no"})
    (ring,) = _features(text, tmp_path).building_rings
    assert _area(ring) == pytest.approx(0.004**2)
    assert ring[1].tolist() == [0.004, 0.0]


@pytest.mark.parametrize(
    ("tags", "water"),
    [
        ({"natural": "water"}, True),
        ({"natural": "water", "water": "pond"}, True),
        ({"waterway": "riverbank"}, True),
        ({"landuse": "reservoir"}, True),
        ({"landuse": "basin"}, True),
        ({"landuse": "basin", "basin": "detention"}, False),
        ({"natural": "water", "water": "wastewater"}, False),
        ({"natural": "water", "intermittent": "yes"}, False),
        ({"natural": "wetland"}, False),
        ({"landuse": "meadow"}, False),
    ],
)
def test_which_areas_are_water(tmp_path: Path, tags: dict[str, str], *, water: bool) -> None:
    assert is_water(tags) is water
    text = _squares().way(2, [11, 12, 13, 14, 11], tags)
    assert len(_features(text, tmp_path).water_rings) == int(water)


def test_a_lake_of_several_ways_gives_its_outer_ring(tmp_path: Path) -> None:
    text = _squares().way(2, [11, 12, 13], {}).way(3, [11, 14, 13], {}).way(4, [21, 22, 23, 24, 21], {})
    members = [("way", 2, "outer"), ("way", 3, "outer"), ("way", 4, "inner")]
    text.relation(9, members, {"type": "multipolygon", "natural": "water"})
    found = _features(text, tmp_path)
    (ring,) = found.water_rings
    assert _area(ring) == pytest.approx(0.004**2)
    assert [_area(island) for island in found.island_rings] == [pytest.approx(0.002**2)]
    assert found.island_water.tolist() == [0]
    assert found.building_rings == ()


def test_an_island_belongs_to_the_water_around_it(tmp_path: Path) -> None:
    """Of two ponds of one relation; a lake whose outer way bears the tags as well is not read twice, once without."""
    text = _squares().way(2, [11, 12, 13, 14, 11], {"natural": "water"}).way(4, [21, 22, 23, 24, 21], {})
    for node, lon in ((31, 0.01), (32, 0.02), (33, 0.015)):
        text.node(node, lon, 0.001 * (node == 33))
    text.way(5, [31, 32, 33, 31], {})
    members = [("way", 5, "outer"), ("way", 2, "outer"), ("way", 4, "inner")]
    found = _features(text.relation(9, members, {"type": "multipolygon", "natural": "water"}), tmp_path)
    assert len(found.water_rings) == 2
    (row,) = found.island_water.tolist()
    assert _area(found.water_rings[row]) == pytest.approx(0.004**2)


def test_a_building_with_a_courtyard_and_two_outer_rings(tmp_path: Path) -> None:
    text = _squares().way(2, [11, 12, 13, 14, 11], {}).way(4, [21, 22, 23, 24, 21], {})
    text.relation(9, [("way", 2, "outer"), ("way", 4, "outer")], {"type": "multipolygon", "building": "yes"})
    assert sorted(round(_area(ring) / 1e-6) for ring in _features(text, tmp_path).building_rings) == [4, 16]


def test_a_lake_clipped_at_the_edge_leaves_its_shores(tmp_path: Path) -> None:
    text = _squares().way(2, [11, 12, 13], {}).way(5, [11, 12, 99, 14, 11], {"natural": "water"})
    text.relation(9, [("way", 2, "outer"), ("way", 77, "outer")], {"type": "multipolygon", "natural": "water"})
    found = _features(text, tmp_path)
    assert found.water_rings == ()
    # its shores, as far as they go, the first edge twice
    assert sum(len(line) - 1 for line in found.coast_lines) == 4


def test_streams_are_lines_and_a_missing_node_is_not_bridged(tmp_path: Path) -> None:
    text = _squares().way(2, [11, 12, 99, 13, 14], {"waterway": "stream"}).way(3, [21, 22], {"waterway": "river"})
    text.way(4, [21, 23], {"waterway": "ditch"}).way(5, [22, 23], {"waterway": "stream", "tunnel": "culvert"})
    lines = _features(text, tmp_path).stream_lines
    assert [len(line) for line in lines] == [2, 2, 2]
    assert lines[0].tolist() == [[0.0, 0.0], [0.004, 0.0]]


def test_pieces_of_the_coast_are_joined(tmp_path: Path) -> None:
    text = _squares().way(2, [11, 12, 13], {"natural": "coastline"}).way(3, [13, 14], {"natural": "coastline"})
    (line,) = _features(text, tmp_path).coast_lines
    assert len(line) == 4


def test_hydrants_are_points_by_id(tmp_path: Path) -> None:
    text = _squares().node(40, 0.5, 0.6, emergency="fire_hydrant").node(39, 0.7, 0.8, emergency="fire_hydrant")
    found = _features(text.node(43, 0.1, 0.1, emergency="phone"), tmp_path)
    assert found.hydrant_lonlat.tolist() == [[0.7, 0.8], [0.5, 0.6]]


def test_a_file_without_features_gives_empty_columns(tmp_path: Path) -> None:
    found = _features(_squares(), tmp_path)
    assert (found.building_rings, found.water_rings, found.stream_lines) == ((), (), ())
    assert found.hydrant_lonlat.shape == (0, 2)


def test_features_of_a_real_island() -> None:
    found = read_osm(shared("districts", "usvi_st_john", "roads.osm.bz2"))[1]
    assert len(found.building_rings) == 3662
    assert len(found.water_rings) == 33
    everything = np.vstack(found.building_rings)
    assert -64.9 < everything[:, 0].min() < everything[:, 0].max() < -64.6


def test_hydrants_of_a_real_town() -> None:
    assert len(read_osm(shared("osm", "de_lauf.osm.bz2"))[1].hydrant_lonlat) == 479
