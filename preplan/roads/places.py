"""Points set on the road network: the nearest stretch, the share of it, and the straight gap between."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from preplan.records import BoolArray, Columns, FloatArray, IntArray, RoadLimits, RoadTable, TextArray
from preplan.roads.inventory import is_bridge
from preplan.roads.limit_pieces import is_piece
from preplan.roads.projection import LineArray, Projection, road_lines, road_projection
from preplan.roads.road_names import is_circle, same_road
from preplan.rules import RoadRules
from preplan.units import FT_PER_M, M_PER_FT

NO_FRONTAGE = ("motorway", "motorway_link", "trunk_link")
"""Values of `highway` where nobody lives and no tanker stands, if there is another road."""

CLEAR_M = 20.0
"""From the mouth of a roundabout to who stands before it, so that others pass; and from the rails of a crossing, where
nobody may park within 50 ft (uniform vehicle code, from memory, unverified; the rest is this program's choice)."""
_RAMPS = ("motorway_link", "trunk_link")
_TUNNEL_NOT = frozenset({"", "no", "culvert"})
"""Values of `tunnel` that put no road under a roof."""
_TANGENT_M = 0.5
"""Half the piece of road by which its direction at a place is taken."""

PointArray = npt.NDArray[np.object_]


def no_stand(roads: RoadTable) -> BoolArray:
    """Mark the stretches on which no tanker stands, (segments,): bridges, tunnels, roundabouts, ramps, pieces at a bar.

    What a bridge bears would decide whether a place on it is reached; who stands in a roundabout or on a ramp bars the
    way to the tankers behind (common practice, no source).
    """
    tunnel = np.array([tags.get("tunnel", "") not in _TUNNEL_NOT for tags in roads.way_tags], dtype=np.bool_)
    ramp = np.isin(roads.highway.astype(str), _RAMPS)
    circle = np.array([is_circle(roads, row) for row in range(len(roads))], dtype=np.bool_)
    return is_bridge(roads) | tunnel[roads.tag_row] | ramp | circle | is_piece(roads)


@dataclass(frozen=True, slots=True, kw_only=True)
class Places(Columns):
    """Points set on the road network."""

    segment: IntArray
    """Row of the RoadTable, -1: none."""
    fraction: FloatArray
    """Share of the stretch from its `from_node`, 0 to 1; NaN where there is none."""
    lon: FloatArray
    """Of the place on the road."""
    lat: FloatArray
    gap_ft: FloatArray
    """Straight distance from the point to the place; inf where there is none."""

    def within(self, farthest_ft: float) -> Places:
        """Take places farther than this from their points off the roads; `gap_ft` stays, to be told."""
        on = self.gap_ft <= farthest_ft
        return replace(
            self,
            segment=np.where(on, self.segment, -1).astype(np.int32),
            fraction=np.where(on, self.fraction, np.nan),
            lon=np.where(on, self.lon, np.nan),
            lat=np.where(on, self.lat, np.nan),
        )


@dataclass(frozen=True, slots=True)
class Near:
    """For each point the nearest of some stretches: row (-1: none) and straight distance (inf)."""

    row: IntArray
    gap_m: FloatArray


@dataclass(frozen=True, slots=True)
class Ground:
    """Roads and points in one projection."""

    projection: Projection
    lines: LineArray
    points: PointArray

    @classmethod
    def of(cls, roads: RoadTable, lon: FloatArray, lat: FloatArray) -> Ground:
        """Project the stretches and the points; a point without a position becomes None."""
        projection = road_projection(roads)
        known = np.isfinite(lon) & np.isfinite(lat)
        points = np.full(len(lon), None, dtype=np.object_)
        points[known] = shapely.points(*projection.forward(lon[known], lat[known]))
        return cls(projection, road_lines(roads, projection), points)

    def nearest(self, rows: IntArray, members: IntArray, *, within_m: float | None = None) -> Near:
        """Find the nearest of `rows` to each point of `members`; of equals, the lowest row."""
        row, gap_m = np.full(len(members), -1, dtype=np.int32), np.full(len(members), np.inf)
        if rows.size and members.size:
            tree = shapely.STRtree(self.lines[rows])
            (point, found), far = tree.query_nearest(self.points[members], max_distance=within_m, return_distance=True)
            order = np.lexsort((found, point))
            point, first = np.unique(point[order], return_index=True)
            row[point], gap_m[point] = rows[found[order][first]], far[order][first]
        return Near(row, gap_m)

    def where_tankers_stand(
        self, roads: RoadTable, usable: BoolArray, row: IntArray, within_m: float
    ) -> tuple[IntArray, FloatArray]:
        """Give the stretches and shares on which to stand to points whose nearest stretches are `row`.

        That is the road before one where nobody stands (`no_stand`). Where no road goes on from it within reach the
        point stays, as it does on a ring from which one road leads. From the mouth of a roundabout, and from the rails
        of a crossing, it keeps `CLEAR_M` where the stretch has room.
        """
        row, shunned = row.copy(), no_stand(roads)
        clear_m = np.zeros(len(row))
        on_rails = np.zeros(len(roads.node_id), dtype=np.bool_)
        on_rails[[node for node, tags in roads.node_tags.items() if tags.get("railway") == "level_crossing"]] = True
        for span in np.unique(row[(row >= 0) & shunned[row]]).tolist():
            beyond = _beyond(roads, usable, shunned, span)
            if is_circle(roads, span) and len(beyond) == 1:
                continue  # who stands at the end of a road bars nobody's way
            members = np.flatnonzero(row == span).astype(np.int32)
            near = self.nearest(beyond, members, within_m=within_m)
            moved = members[near.row >= 0]
            row[moved] = near.row[near.row >= 0]
            clear_m[moved] = CLEAR_M if is_circle(roads, span) else 0.0
        before, behind = (
            np.minimum(np.where(on_rails[ends[row]], CLEAR_M, clear_m) / np.maximum(roads.length_m[row], 1e-9), 0.5)
            for ends in (roads.from_node, roads.to_node)
        )
        return row, np.clip(self.fractions(row), before, 1.0 - behind)

    def fractions(self, row: IntArray) -> FloatArray:
        """Give the share of stretch `row[i]` at which it comes nearest to point i; NaN where row is -1."""
        fraction = np.full(len(row), np.nan)
        on = row >= 0
        located = shapely.line_locate_point(self.lines[row[on]], self.points[on], normalized=True)
        fraction[on] = np.clip(np.nan_to_num(located), 0.0, 1.0)
        return fraction

    def on_road(self, row: IntArray, fraction: FloatArray) -> PointArray:
        """Give the projected points at shares of stretches; None where row is -1."""
        spots = np.full(len(row), None, dtype=np.object_)
        on = row >= 0
        spots[on] = shapely.line_interpolate_point(self.lines[row[on]], fraction[on], normalized=True)
        return spots

    def places(self, row: IntArray, fraction: FloatArray) -> Places:
        """Set the points at shares of stretches."""
        spots = self.on_road(row, fraction)
        gap_m = np.where(row >= 0, shapely.distance(self.points, spots), np.inf)
        lon, lat = self.projection.inverse(shapely.get_x(spots), shapely.get_y(spots))
        off = row < 0
        lon[off], lat[off] = np.nan, np.nan
        return Places(segment=row, fraction=fraction, lon=lon, lat=lat, gap_ft=gap_m * FT_PER_M)

    def sides(self, row: IntArray, fraction: FloatArray) -> TextArray:
        """Tell on which side of its stretch, in its own direction, each point lies; '' where row is -1."""
        side = np.full(len(row), "", dtype=np.object_)
        on = np.flatnonzero(row >= 0)
        lines = self.lines[row[on]]
        at_m = fraction[on] * shapely.length(lines)
        behind = shapely.line_interpolate_point(lines, np.maximum(at_m - _TANGENT_M, 0.0))
        ahead = shapely.line_interpolate_point(lines, np.minimum(at_m + _TANGENT_M, shapely.length(lines)))
        points = self.points[on]
        east, north = (get(ahead) - get(behind) for get in (shapely.get_x, shapely.get_y))
        to_east, to_north = (get(points) - get(behind) for get in (shapely.get_x, shapely.get_y))
        side[on] = np.where(east * to_north - north * to_east > 0.0, "left", "right")
        return side


def place_points(
    roads: RoadTable,
    limits: RoadLimits,
    lon: FloatArray,
    lat: FloatArray,
    *,
    usable: BoolArray | None = None,
    snap_max_ft: float = RoadRules().snap_max_ft,
) -> Places:
    """Set each point on the nearest stretch that a tanker can use: on a motorway only where no other road is near.

    Beside a bridge, a tunnel, a roundabout or a ramp it stands before it.

    Parameters
    ----------
    lon, lat
        Degrees, shape (n,); a missing one leaves its point without a place.
    usable
        Stretches to choose from, shape (segments,); those that a tanker may drive where not given.
    snap_max_ft
        Another road this near goes before a motorway.

    Returns
    -------
    Places
        However far away: compare `gap_ft` with a limit of your own.
    """
    mask = limits.usable if usable is None else usable
    rows = np.flatnonzero(mask).astype(np.int32)
    if not rows.size:
        return nowhere(len(lon))
    ground = Ground.of(roads, lon, lat)
    members = np.arange(len(lon), dtype=np.int32)
    near = ground.nearest(rows, members)
    plain = np.flatnonzero(mask & ~np.isin(roads.highway.astype(str), NO_FRONTAGE)).astype(np.int32)
    beside = ground.nearest(plain, members, within_m=snap_max_ft * M_PER_FT)
    row = np.where(beside.row >= 0, beside.row, near.row).astype(np.int32)
    return ground.places(*ground.where_tankers_stand(roads, mask, row, snap_max_ft * M_PER_FT))


def _beyond(roads: RoadTable, usable: BoolArray, shunned: BoolArray, span: int) -> IntArray:
    """List the usable stretches that go on from shunned ones that join one: those of its road, else all."""
    spans = np.array([span])
    while True:
        nodes = np.concatenate([roads.from_node[spans], roads.to_node[spans]])
        touching = usable & (np.isin(roads.from_node, nodes) | np.isin(roads.to_node, nodes))
        spans, before = np.union1d(spans, np.flatnonzero(touching & shunned)), spans
        if len(spans) == len(before):
            break
    beyond = np.flatnonzero(touching & ~shunned).astype(np.int32)
    own = [same_road(roads, span, one) for one in beyond.tolist()]
    return beyond[own] if any(own) else beyond


def within_extent(roads: RoadTable, lon: FloatArray, lat: FloatArray, margin_ft: float) -> BoolArray:
    """Mark the points (n,) inside the rectangle that holds all roads, or no farther than a margin from it."""
    ground = Ground.of(roads, lon, lat)
    inside: BoolArray = shapely.dwithin(
        ground.points, shapely.box(*shapely.total_bounds(ground.lines)), margin_ft * M_PER_FT
    )
    return inside


def nowhere(count: int) -> Places:
    """Give places for points where there is no road at all."""
    missing = np.full(count, np.nan)
    return Places(
        segment=np.full(count, -1, dtype=np.int32),
        fraction=missing,
        lon=missing.copy(),
        lat=missing.copy(),
        gap_ft=np.full(count, np.inf),
    )
