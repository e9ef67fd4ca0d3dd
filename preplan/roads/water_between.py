"""Mapped water on the straight way from a road to a building: hose may not get across; a bridge there is unknown."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely

from preplan.records import BoolArray, FeatureTable, FloatArray
from preplan.roads.features import PolygonArray, water_areas
from preplan.roads.places import PointArray
from preplan.roads.projection import LineArray, Projection
from preplan.units import M_PER_FT

ROUND_FT = 100.0
"""A pond that hose goes round with so much more parts nobody from his road (this program's careful choice)."""


@dataclass(frozen=True, slots=True)
class Waters:
    """Areas of mapped waters, lines of streams and of the coast, in the projection of the roads."""

    areas: PolygonArray
    """Without their islands."""
    coasts: LineArray
    tree: shapely.STRtree
    """Of the areas' edges."""
    streams_tree: shapely.STRtree
    coasts_tree: shapely.STRtree

    @classmethod
    def of(cls, features: FeatureTable, projection: Projection) -> Waters:
        """Project those of a road file."""
        areas, coasts = _joined(water_areas(features, projection)), _lines(features.coast_lines, projection)
        streams = _lines(features.stream_lines, projection)
        edges = shapely.boundary(areas)
        return cls(areas, coasts, shapely.STRtree(edges), shapely.STRtree(streams), shapely.STRtree(coasts))

    def part(self, ways: LineArray) -> BoolArray:
        """Mark the straight ways, (ways,), that a pond, lake, wide river or the sea crosses, round which it is far."""
        crossed = np.zeros(len(ways), dtype=np.bool_)
        for way, water in _pairs(ways, self.tree):
            crossed[way] = crossed[way] or _more_round_ft(ways[way], self.areas[water]) > ROUND_FT
        shores: defaultdict[int, list[int]] = defaultdict(list)
        for way, coast in _pairs(ways, self.coasts_tree):
            shores[way].append(coast)
        for way, met in shores.items():
            crossed[way] = (
                crossed[way] or _crossing(ways[way], self.coasts[met].tolist()).more_round_m / M_PER_FT > ROUND_FT
            )
        return crossed

    def hold(self, points: PointArray) -> BoolArray:
        """Mark the points, (points,), that lie in an area of water."""
        held: BoolArray = np.array([bool(shapely.covers(self.areas, one).any()) for one in points], dtype=np.bool_)
        return held

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


class _Crossing(NamedTuple):
    """Where a straight way meets the edges of one water."""

    more_round_m: float = 0.0
    """How much longer it is along the edge than straight over, by the shorter side; between two lands, inf."""
    before_m: float = 0.0
    """From its start to the first edge."""
    behind_m: float = 0.0
    """From the last edge to its end."""


def _crossing(way: shapely.LineString, edges: Sequence[shapely.LineString]) -> _Crossing:
    """Measure how a way crosses a water, whose every edge is that of another land."""
    points = [np.array(shapely.points(shapely.get_coordinates(shapely.intersection(way, one)))) for one in edges]
    along_m = {at: shapely.line_locate_point(way, found) for at, found in enumerate(points) if found.size}
    if not along_m:
        return _Crossing()  # a way of no length, on the edge
    first, last = min(along_m, key=lambda at: along_m[at].min()), max(along_m, key=lambda at: along_m[at].max())
    before_m, until_m = float(along_m[first].min()), float(along_m[last].max())
    behind_m = float(way.length) - until_m
    if first != last:
        return _Crossing(np.inf, before_m, behind_m)
    edge, ends = edges[first], points[first][[along_m[first].argmin(), along_m[first].argmax()]]
    from_m, to_m = shapely.line_locate_point(edge, ends)
    round_m = abs(to_m - from_m)
    if edge.is_closed:
        round_m = min(round_m, edge.length - round_m)
    return _Crossing(float(round_m) - (until_m - before_m), before_m, behind_m)


def _more_round_ft(way: shapely.LineString, water: shapely.Polygon) -> float:
    """Say how much longer it is along the edge of a water than straight over it.

    Between two of its islands, or an island and the shore, nobody gets round. Nor of a way that ends in the water, as
    on an island that is not mapped: how far it runs there counts as well.
    """
    found = _crossing(way, [water.exterior, *water.interiors])
    start_in, end_in = np.asarray(shapely.covers(water, shapely.points(shapely.get_coordinates(way)))).tolist()
    return float(found.more_round_m + start_in * found.before_m + end_in * found.behind_m) / M_PER_FT
