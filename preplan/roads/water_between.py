"""Mapped water on the straight way from a road to a building: hose may not get across; a bridge there is unknown."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from preplan.records import BoolArray, FeatureTable, FloatArray
from preplan.roads.features import PolygonArray, water_areas
from preplan.roads.projection import LineArray, Projection
from preplan.units import M_PER_FT

ROUND_FT = 100.0
"""A pond that hose goes round with so much more parts nobody from his road (this program's careful choice)."""


@dataclass(frozen=True, slots=True)
class Waters:
    """Areas of mapped waters and lines of streams, in the projection of the roads."""

    areas: PolygonArray
    """Without their islands."""
    streams: LineArray
    tree: shapely.STRtree
    """Of the areas' edges."""
    streams_tree: shapely.STRtree

    @classmethod
    def of(cls, features: FeatureTable, projection: Projection) -> Waters:
        """Project those of a road file."""
        areas, streams = _joined(water_areas(features, projection)), _lines(features.stream_lines, projection)
        return cls(areas, streams, shapely.STRtree(shapely.boundary(areas)), shapely.STRtree(streams))

    def part(self, ways: LineArray) -> BoolArray:
        """Mark the straight ways, (ways,), that a pond, lake or wide river crosses, round which it is far."""
        crossed = np.zeros(len(ways), dtype=np.bool_)
        for way, water in _pairs(ways, self.tree):
            crossed[way] = crossed[way] or _more_round_ft(ways[way], self.areas[water]) > ROUND_FT
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


def _joined(areas: PolygonArray) -> PolygonArray:
    """Take waters whose areas meet together: a river is mapped in several."""
    whole = shapely.get_parts(shapely.union_all(shapely.make_valid(areas)))
    joined: PolygonArray = whole[shapely.get_type_id(whole) == shapely.GeometryType.POLYGON]
    return joined


def _pairs(ways: LineArray, others: shapely.STRtree) -> Iterator[tuple[int, int]]:
    """Go through the pairs that cross; a way that is None crosses nothing."""
    yield from others.query(ways, predicate="intersects").T.tolist()


def _more_round_ft(way: shapely.LineString, water: shapely.Polygon) -> float:
    """Say how much longer it is along the edge of a water than straight over it, by the shorter side.

    Between two of its islands, or an island and the shore, nobody gets round. Nor of a way that ends in the water, as
    on an island that is not mapped: how far it runs there counts as well.
    """
    edges = [water.exterior, *water.interiors]
    crossings = [np.array(shapely.points(shapely.get_coordinates(shapely.intersection(way, one)))) for one in edges]
    along_m = {at: shapely.line_locate_point(way, points) for at, points in enumerate(crossings) if points.size}
    if not along_m:
        return 0.0  # a way of no length, on the edge
    first, last = min(along_m, key=lambda at: along_m[at].min()), max(along_m, key=lambda at: along_m[at].max())
    if first != last:
        return np.inf  # from one land to another
    edge, before_m, behind_m = edges[first], along_m[first].min(), along_m[first].max()
    from_m, to_m = shapely.line_locate_point(edge, crossings[first][[along_m[first].argmin(), along_m[first].argmax()]])
    round_m = min(abs(to_m - from_m), edge.length - abs(to_m - from_m)) - (behind_m - before_m)
    start_in, end_in = np.asarray(shapely.covers(water, shapely.points(shapely.get_coordinates(way)))).tolist()
    return float(round_m + start_in * before_m + end_in * (way.length - behind_m)) / M_PER_FT
