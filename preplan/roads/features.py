"""Buildings, water and hydrants: what a road file holds besides roads."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely

from preplan.records import FeatureTable, FloatArray

FEATURE_KEYS = ("building", "natural", "waterway", "landuse", "emergency")
"""Keys by which the features are found."""
_WATER = {
    "natural": frozenset({"water"}),
    "waterway": frozenset({"riverbank", "dock"}),
    "landuse": frozenset({"reservoir", "basin"}),
}
_DRY_WATER = frozenset({"wastewater", "sewage"})
_STREAMS = frozenset({"river", "stream", "canal"})
_LEAST_RING_POINTS = 4
_LEAST_LINE_POINTS = 2


@dataclass(slots=True)
class FeatureCollector:
    """Gathers features while a file is read; `table` packs them by id, so the order of the file is of no account."""

    buildings: list[tuple[int, FloatArray]] = field(default_factory=list)
    waters: list[tuple[int, FloatArray]] = field(default_factory=list)
    outer_ways: dict[int, tuple[bool, list[int]]] = field(default_factory=dict)
    """By multipolygon: whether it is a building, and the ways of its outer rings."""
    streams: list[tuple[int, FloatArray]] = field(default_factory=list)
    hydrants: list[tuple[int, float, float]] = field(default_factory=list)

    def take_way(self, way: Any) -> None:
        """Keep the ring of a building or a water, or the line of a stream."""
        tags = way.tags
        building = _is_building(tags)
        if building or is_water(tags):
            self._keep_rings(way.id, building, _lines(way))
        elif tags.get("waterway") in _STREAMS and tags.get("tunnel", "no") == "no":
            self.streams.extend((way.id, line) for line in _lines(way))

    def take_relation(self, relation: Any) -> None:
        """Note a multipolygon's outer ways; `take_member_ways` brings them once the file has been read."""
        tags = relation.tags
        building = _is_building(tags)
        if tags.get("type") == "multipolygon" and (building or is_water(tags)):
            outer = [one.ref for one in relation.members if one.type == "w" and one.role in {"outer", ""}]
            self.outer_ways[relation.id] = building, outer

    def wanted_ways(self) -> frozenset[int]:
        """Name the ways that multipolygons need."""
        return frozenset(way for _, outer in self.outer_ways.values() for way in outer)

    def take_member_ways(self, ways: Iterable[Any]) -> None:
        """Join the outer ways of each multipolygon to rings; what does not close (a clipped lake) is left out."""
        lines = {way.id: _lines(way) for way in ways}
        for relation, (building, outer) in sorted(self.outer_ways.items()):
            pieces = [line for way in outer for line in lines.get(way, [])]
            self._keep_rings(-relation, building, _joined(pieces))

    def _keep_rings(self, key: int, building: bool, lines: list[FloatArray]) -> None:
        kept = self.buildings if building else self.waters
        kept.extend((key, line) for line in lines if _is_ring(line))

    def take_node(self, node: Any, tags: Mapping[str, str]) -> None:
        """Keep a hydrant."""
        if tags.get("emergency") == "fire_hydrant":
            self.hydrants.append((node.id, node.location.lon, node.location.lat))

    def table(self) -> FeatureTable:
        """Pack what was found."""
        return FeatureTable(
            building_rings=_by_id(self.buildings),
            water_rings=_by_id(self.waters),
            stream_lines=_by_id(self.streams),
            hydrant_lonlat=_points(self.hydrants),
        )


def is_water(tags: Any) -> bool:
    """Tell whether an area is open water an engine may draft from: no sewage, no basin that is mostly dry.

    >>> is_water({"natural": "water"}), is_water({"landuse": "basin", "basin": "detention"})
    (True, False)
    """
    if tags.get("water") in _DRY_WATER or tags.get("basin") in {"detention", "infiltration"}:
        return False
    if tags.get("intermittent") == "yes" or tags.get("covered") == "yes":
        return False
    return any(tags.get(key) in values for key, values in _WATER.items())


def _is_building(tags: Any) -> bool:
    return bool(tags.get("building", "no") != "no")


def _is_ring(line: FloatArray) -> bool:
    return len(line) >= _LEAST_RING_POINTS and bool(np.all(line[0] == line[-1]))


def _joined(pieces: list[FloatArray]) -> list[FloatArray]:
    """Join lines that share ends."""
    if all(_is_ring(piece) for piece in pieces):
        return pieces
    merged = shapely.line_merge(shapely.MultiLineString(pieces))
    return [shapely.get_coordinates(part) for part in shapely.get_parts(merged)]


def _lines(way: Any) -> list[FloatArray]:
    lines: list[list[tuple[float, float]]] = [[]]
    for node in way.nodes:
        location = node.location
        if location.valid():
            lines[-1].append((location.lon, location.lat))
        elif lines[-1]:
            lines.append([])
    return [np.array(line) for line in lines if len(line) >= _LEAST_LINE_POINTS]


def _by_id(found: list[tuple[int, FloatArray]]) -> tuple[FloatArray, ...]:
    return tuple(line for _, line in sorted(found, key=lambda pair: pair[0]))


def _points(found: list[tuple[int, float, float]]) -> FloatArray:
    return np.array([point[1:] for point in sorted(found)], dtype=np.float64).reshape(-1, 2)
