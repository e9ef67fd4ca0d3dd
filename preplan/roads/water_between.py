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
_NONE = -1
_ON_EDGE_M = 0.01


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
            crossed[way] = crossed[way] or _more_along_coast_ft(ways[way], self.coasts[met].tolist()) > ROUND_FT
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


def _more_round_ft(way: shapely.LineString, water: shapely.Polygon) -> float:
    """Say how much longer it is along the edges of a water than straight over it, by the shortest way that keeps dry.

    Between two of its islands, or an island and the shore, nobody gets round. Nor of a way that ends in the water, as
    on an island that is not mapped: how far it runs there counts as well.
    """
    edges = [water.exterior, *water.interiors]
    chords = _chords(way, water, edges)
    if len(chords) == 1 and chords[0].start_edge == chords[0].end_edge == _NONE:
        return 0.0  # on one island that is not mapped, perhaps
    least_m = [0.0]  # from each chord on, the last first
    for at, one in reversed(list(enumerate(chords))):
        if one.start_edge == _NONE or (one.end_edge == _NONE and at == len(chords) - 1):
            rest_m = one.end_m - one.start_m + least_m[-1]
        else:
            back = [n for n in range(at, len(chords)) if chords[n].end_edge == one.start_edge]
            edge, behind_m = edges[one.start_edge], least_m[::-1]
            ways_m = (_more_along_m(way, edge, one.start_m, chords[n].end_m) + behind_m[n - at] for n in back)
            rest_m = min(ways_m, default=np.inf)
        least_m.append(rest_m)
    return least_m[-1] / M_PER_FT


class _Chord(NamedTuple):
    """A piece of a straight way that lies in a water."""

    start_m: float
    """Along the way."""
    end_m: float
    start_edge: int
    """Which edge of the water it begins on, the shore first; `_NONE` where the way itself begins."""
    end_edge: int


def _chords(way: shapely.LineString, water: shapely.Polygon, edges: Sequence[shapely.LinearRing]) -> list[_Chord]:
    """Take apart what of a way lies in a water, in order."""
    parts = [one for one in shapely.get_parts(shapely.intersection(way, water)) if one.length > 0.0]

    def end(part: shapely.LineString, at: int) -> tuple[float, int]:
        point = shapely.Point(part.coords[at])
        gaps_m = shapely.distance(point, edges)
        return float(way.project(point)), int(gaps_m.argmin()) if gaps_m.min() < _ON_EDGE_M else _NONE

    ends = [sorted((end(part, 0), end(part, -1))) for part in parts]
    return sorted(_Chord(start[0], stop[0], start[1], stop[1]) for start, stop in ends)


def _more_along_m(way: shapely.LineString, edge: shapely.LineString, start_m: float, end_m: float) -> float:
    """Say how much longer it is along an edge than straight between two places on a way that lie on it."""
    from_m, to_m = (edge.project(way.interpolate(at_m)) for at_m in (start_m, end_m))
    round_m = abs(to_m - from_m)
    if edge.is_closed:
        round_m = min(round_m, edge.length - round_m)
    return float(round_m - (end_m - start_m))


def _more_along_coast_ft(way: shapely.LineString, coasts: Sequence[shapely.LineString]) -> float:
    """Say the same of the sea, from the first to the last place where a way meets its coast; one alone is no water."""
    points = [np.array(shapely.points(shapely.get_coordinates(shapely.intersection(way, one)))) for one in coasts]
    met = sorted((float(way.project(point)), at) for at, found in enumerate(points) for point in found)
    (start_m, first), (end_m, last) = (met[0], met[-1]) if met else ((0.0, 0), (0.0, 0))
    if end_m - start_m < _ON_EDGE_M:
        return 0.0  # one place, on two pieces of coast; none: a way of no length, on the coast
    if first != last:
        return np.inf
    return _more_along_m(way, coasts[first], start_m, end_m) / M_PER_FT
