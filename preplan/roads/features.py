"""Buildings, water and hydrants: what a road file holds besides roads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import shapely

from preplan.records import FeatureTable, FloatArray
from preplan.roads.projection import Projection

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
_MOST_OF_IT = 0.5

PolygonArray = npt.NDArray[np.object_]


class _Area(NamedTuple):
    """A multipolygon: what it is, and the ways of its rings."""

    building: bool
    outer: tuple[int, ...]
    inner: tuple[int, ...]


@dataclass(slots=True)
class FeatureCollector:
    """Gathers features while a file is read; `table` packs them by id, so the order of the file is of no account."""

    buildings: list[tuple[int, FloatArray]] = field(default_factory=list)
    waters: list[tuple[int, FloatArray]] = field(default_factory=list)
    islands: list[tuple[int, FloatArray]] = field(default_factory=list)
    areas: dict[int, _Area] = field(default_factory=dict)
    """By multipolygon."""
    streams: list[tuple[int, FloatArray]] = field(default_factory=list)
    coasts: list[tuple[int, FloatArray]] = field(default_factory=list)
    hydrants: list[tuple[int, float, float]] = field(default_factory=list)

    def take_way(self, way: Any) -> None:
        """Keep the ring of a building or a water, or the line of a stream or of the coast."""
        tags = way.tags
        building = _is_building(tags)
        if building or is_water(tags):
            self._keep_rings(way.id, building, _lines(way))
        elif tags.get("waterway") in _STREAMS and tags.get("tunnel", "no") == "no":
            self.streams.extend((way.id, line) for line in _lines(way))
        elif tags.get("natural") == "coastline":
            self.coasts.extend((way.id, line) for line in _lines(way))

    def take_relation(self, relation: Any) -> None:
        """Note a multipolygon's outer ways; `take_member_ways` brings them once the file has been read."""
        tags = relation.tags
        building = _is_building(tags)
        if tags.get("type") == "multipolygon" and (building or is_water(tags)):
            outer, inner = (
                tuple(one.ref for one in relation.members if one.type == "w" and one.role in roles)
                for roles in ({"outer", ""}, {"inner"})
            )
            self.areas[relation.id] = _Area(building, outer, () if building else inner)

    def wanted_ways(self) -> frozenset[int]:
        """Name the ways that multipolygons need."""
        return frozenset(way for area in self.areas.values() for way in (*area.outer, *area.inner))

    def take_member_ways(self, ways: Iterable[Any]) -> None:
        """Join the ways of each multipolygon to rings; what does not close (a clipped lake) is a coast.

        A way that is the whole shore of a lake and is mapped as water too is read once, or its islands would drown.
        """
        lines = {way.id: _lines(way) for way in ways}
        shores = {way for area in self.areas.values() if not area.building for way in area.outer}
        self.waters = [one for one in self.waters if one[0] not in shores]
        for relation, area in sorted(self.areas.items()):
            outer, inner = (
                _joined([line for way in of for line in lines.get(way, [])]) for of in (area.outer, area.inner)
            )
            self._keep_rings(-relation, area.building, outer)
            for line in inner:
                (self.islands if _is_ring(line) else self.coasts).append((-relation, line))

    def _keep_rings(self, key: int, building: bool, lines: list[FloatArray]) -> None:
        kept = self.buildings if building else self.waters
        kept.extend((key, line) for line in lines if _is_ring(line))
        if not building:
            self.coasts.extend((key, line) for line in lines if not _is_ring(line))

    def take_node(self, node: Any, tags: Mapping[str, str]) -> None:
        """Keep a hydrant."""
        if tags.get("emergency") == "fire_hydrant":
            self.hydrants.append((node.id, node.location.lon, node.location.lat))

    def table(self) -> FeatureTable:
        """Pack what was found."""
        waters = sorted(self.waters, key=lambda pair: pair[0])
        islands = _in_waters(sorted(self.islands, key=lambda pair: pair[0]), waters)
        return FeatureTable(
            building_rings=_by_id(self.buildings),
            water_rings=tuple(ring for _, ring in waters),
            island_rings=tuple(ring for _, ring in islands),
            island_water=np.array([water for water, _ in islands], dtype=np.int32),
            stream_lines=_by_id(self.streams),
            coast_lines=tuple(_joined(list(_by_id(self.coasts)))),
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


def water_areas(features: FeatureTable, projection: Projection) -> PolygonArray:
    """Give each water as an area without its islands, projected; empty where its ring is none."""
    holes: defaultdict[int, list[FloatArray]] = defaultdict(list)
    for ring, water in zip(features.island_rings, features.island_water.tolist(), strict=True):
        holes[water].append(np.column_stack(projection.forward(*ring.T)))
    areas: PolygonArray = np.full(len(features.water_rings), shapely.Polygon(), dtype=np.object_)
    for row, ring in enumerate(features.water_rings):
        if len(ring) >= _LEAST_RING_POINTS:
            areas[row] = shapely.Polygon(np.column_stack(projection.forward(*ring.T)), holes[row])
    return areas


def _in_waters(
    islands: list[tuple[int, FloatArray]], waters: list[tuple[int, FloatArray]]
) -> list[tuple[int, FloatArray]]:
    """Find the water of its own multipolygon in which each island lies: its row; those that lie in none left out."""
    rows: defaultdict[int, list[int]] = defaultdict(list)
    for row, (key, _) in enumerate(waters):
        rows[key].append(row)
    return [
        (row, island)
        for key, island in islands
        for row in rows[key]
        if np.mean(shapely.contains_xy(shapely.Polygon(waters[row][1]), island)) > _MOST_OF_IT
    ]


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
