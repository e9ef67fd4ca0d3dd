"""Mapped water on the straight way from a road to a building: hose may not get across; a bridge there is unknown."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from preplan.records import BoolArray, FeatureTable, FloatArray
from preplan.roads.projection import LineArray, Projection
from preplan.units import M_PER_FT

ROUND_FT = 100.0
"""A pond that hose goes round with so much more parts nobody from his road (this program's careful choice)."""
_LEAST_RING_POINTS = 4


@dataclass(frozen=True, slots=True)
class Waters:
    """Edges of mapped waters and lines of streams, in the projection of the roads.

    Islands are not known: a lake counts as water all over.
    """

    edges: LineArray
    """Closed."""
    streams: LineArray
    tree: shapely.STRtree
    """Of the edges."""
    streams_tree: shapely.STRtree

    @classmethod
    def of(cls, features: FeatureTable, projection: Projection) -> Waters:
        """Project those of a road file."""
        rings = [ring for ring in features.water_rings if len(ring) >= _LEAST_RING_POINTS]
        edges, streams = _outlines(_lines(rings, projection)), _lines(features.stream_lines, projection)
        return cls(edges, streams, shapely.STRtree(edges), shapely.STRtree(streams))

    def part(self, ways: LineArray) -> BoolArray:
        """Mark the straight ways, (ways,), that a pond, lake or wide river crosses, round which it is far."""
        crossed = np.zeros(len(ways), dtype=np.bool_)
        for way, edge in _pairs(ways, self.tree):
            crossed[way] = crossed[way] or _more_round_ft(ways[way], self.edges[edge]) > ROUND_FT
        return crossed

    def streams_cross(self, ways: LineArray) -> BoolArray:
        """Mark the straight ways, (ways,), that a stream crosses."""
        crossed = np.zeros(len(ways), dtype=np.bool_)
        crossed[[way for way, _ in _pairs(ways, self.streams_tree)]] = True
        return crossed


def _lines(parts: Sequence[FloatArray], projection: Projection) -> LineArray:
    lines: npt.NDArray[np.object_] = np.empty(len(parts), dtype=np.object_)
    lines[:] = [shapely.linestrings(np.column_stack(projection.forward(*part.T))) for part in parts]
    return lines


def _outlines(edges: LineArray) -> LineArray:
    """Give the edges of waters with areas that meet taken together: a river is mapped in several."""
    areas = [shapely.Polygon(shapely.get_coordinates(edge)) for edge in edges]
    whole = shapely.get_parts(shapely.union_all(shapely.make_valid(areas)))
    outlines: LineArray = shapely.get_exterior_ring(whole[shapely.get_type_id(whole) == shapely.GeometryType.POLYGON])
    return outlines


def _pairs(ways: LineArray, others: shapely.STRtree) -> Iterator[tuple[int, int]]:
    """Go through the pairs that cross; a way that is None crosses nothing."""
    yield from others.query(ways, predicate="intersects").T.tolist()


def _more_round_ft(way: shapely.LineString, edge: shapely.LineString) -> float:
    """Say how much longer it is along the edge of a water than straight over it, by the shorter side.

    Of a way that ends in the water, as on an island, nobody gets round: then it is how far it runs there.
    """
    crossings = np.asarray(shapely.points(shapely.get_coordinates(shapely.intersection(way, edge))))
    if not crossings.size:
        return 0.0  # a way of no length, on the edge
    places, along_way = (np.asarray(shapely.line_locate_point(line, crossings)) for line in (edge, way))
    ends = shapely.points(shapely.get_coordinates(way))
    start_in, end_in = np.asarray(shapely.covers(shapely.Polygon(edge), ends)).tolist()
    if start_in or end_in:
        over_m = (along_way.min() if start_in else 0.0) + (way.length - along_way.max() if end_in else 0.0)
        return float(over_m) / M_PER_FT
    along_m = abs(places[along_way.argmax()] - places[along_way.argmin()])
    return float(min(along_m, edge.length - along_m) - (along_way.max() - along_way.min())) / M_PER_FT
