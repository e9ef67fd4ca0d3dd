"""Where the district's own closures lie: on a way, about a point, or along a line."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import shapely

from preplan.errors import Finding
from preplan.records import BoolArray, Closure, FloatArray, IntArray, RoadTable
from preplan.roads.closure_lines import AGREES, ONE_SENSE, Lines, Numbers, heading_at, runs_along, sense_along
from preplan.roads.projection import road_lines, road_projection
from preplan.roads.road_names import road_label, same_road
from preplan.roads.stretches import MERGED_WAYS
from preplan.roads.way_access import directions
from preplan.units import FT_PER_MI, M_PER_FT

REACH_FT = 300.0
"""Farthest a closure given by position may lie from the road it closes."""
DASH_FT = 100.0
"""A line up to this length may be drawn across the road that it means (this program's careful choice)."""
_TIE_M = 5.0
"""A point no more than this nearer to one road than to another means either (this program's careful choice)."""
_CARRIAGEWAY_FT = 200.0
"""The other carriageway of a road is no farther from a point on the first (this program's careful choice)."""
_ONE_WAY_ALONG = "draw it along the road in the direction of traffic, one row for each direction"


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A closure on its stretches."""

    closure: Closure
    rows: IntArray
    """Rows of the RoadTable, each once."""
    forward: BoolArray
    """For each row: the closure runs along the stretch. True where neither line nor sign says otherwise."""
    drawn_m: float = 0.0
    """Length of the line that was drawn along them; 0 for a point."""
    lost_m: float = 0.0
    """How much of a drawn line follows no stretch that is taken."""
    both: bool = False
    """A point was drawn on one carriageway, and the other is taken too."""


class _Found(NamedTuple):
    """Stretches as rows of the RoadTable, with what `Laid` says of each."""

    rows: IntArray
    forward: BoolArray
    drawn_m: FloatArray
    undecided: BoolArray
    """The line leads neither along the stretch nor against it."""


def lay_closures(
    roads: RoadTable, tanker_road: BoolArray, closures: tuple[Closure, ...]
) -> tuple[list[Laid], list[Finding]]:
    """Find the stretches of every closure; a finding for each that has none, or no direction where it needs one.

    Parameters
    ----------
    roads
        Stretches, raw.
    tanker_road
        (segments,) stretches that a place or a line may mean, the same in every month: what a closure lies on must not
        depend on what else is shut then.
    closures
        In the order of their table, which is that of the answers.
    """
    places = _Places(roads, tanker_road)
    answers = [places.lay(closure) for closure in closures]
    return [one for one in answers if isinstance(one, Laid)], [one for one in answers if isinstance(one, Finding)]


class _Places:
    """Stretches in a projected CRS of their own, to be found by way or by position."""

    def __init__(self, roads: RoadTable, tanker_road: BoolArray) -> None:
        """Keep the roads; lines are drawn for the first closure that has a place."""
        self._roads = roads
        self._tanker_rows = np.flatnonzero(tanker_road).astype(np.int32)

    @cached_property
    def _lines(self) -> Lines:
        """Every stretch, metres."""
        return road_lines(self._roads, road_projection(self._roads))

    @cached_property
    def _tree(self) -> shapely.STRtree:
        """Roads for tankers, to be searched."""
        return shapely.STRtree(self._lines[self._tanker_rows])

    def lay(self, closure: Closure) -> Laid | Finding:
        """Find the stretches of one closure, or say why there are none."""
        if closure.way_id is not None:
            return self._lay_way(closure, closure.way_id)
        drawn = self._drawn(closure)
        if drawn.length <= 0.0:
            return self._lay_point(closure, drawn)
        found = self._by_line(drawn)
        if not len(found.rows):
            return self._missed(closure, drawn)
        if closure.kind == "one_way" and (found.undecided.any()):
            return _no_direction(closure, road_label(self._roads, int(found.rows[found.undecided.argmax()])))
        return Laid(
            closure=closure,
            rows=found.rows,
            forward=found.forward,
            drawn_m=min(float(found.drawn_m.sum()), drawn.length),
            lost_m=self._lost_m(drawn, found.rows),
        )

    def _lay_point(self, closure: Closure, drawn: shapely.LineString) -> Laid | Finding:
        """Take the stretch that a point lies on; of a road with two carriageways both, as what shuts one shuts it."""
        found = self._by_point(drawn)
        if not len(found.rows):
            return self._missed(closure, drawn)
        (row,), point = found.rows.tolist(), shapely.Point(drawn.coords[0])
        near = self._tree.query(point, predicate="dwithin", distance=self._lines[row].distance(point) + _TIE_M)
        names = dict.fromkeys(road_label(self._roads, one) for one in self._tanker_rows[np.sort(near)].tolist())
        if len(names) > 1:
            return _between(closure, tuple(names))
        twins = [] if closure.kind == "one_way" else self._twins(point, row)
        rows = np.array([row, *twins], dtype=np.int32)
        return Laid(closure=closure, rows=rows, forward=np.ones(len(rows), dtype=np.bool_), both=bool(twins))

    def _twins(self, point: shapely.Point, row: int) -> list[int]:
        """Find the other carriageway of a one-way stretch: the same road, abreast of the point, run against it."""
        near = self._tree.query(point, predicate="dwithin", distance=_CARRIAGEWAY_FT * M_PER_FT)
        others = [one for one in self._tanker_rows[near].tolist() if same_road(self._roads, row, one)]
        rows = [row, *(one for one in others if self._leads(one) and one != row)]
        lines, leads = self._lines[rows], np.array([self._leads(one) for one in rows])
        if not leads[0]:
            return []
        heading, abreast = heading_at(point, lines)
        against = abreast & ((heading * leads[:, None]) @ (heading[0] * leads[0]) <= -AGREES)
        far_m = np.where(against, shapely.distance(lines, point), np.inf)
        return [rows[int(far_m.argmin())]] if against.any() else []

    def _leads(self, row: int) -> float:
        """Tell which way traffic runs over a stretch: 1 along it, -1 against it, 0 both."""
        along, against = directions(self._roads.way_tags[self._roads.tag_row[row]])
        return float(along) - float(against)

    def _lay_way(self, closure: Closure, way_id: int) -> Laid | Finding:
        """Take the whole of a way; a line beside it says which way traffic runs."""
        listed = [str(way_id) in tags.get(MERGED_WAYS, "").split(";") for tags in self._roads.way_tags]
        merged = np.array(listed, dtype=np.bool_)
        rows = np.flatnonzero((self._roads.way_id == way_id) | merged[self._roads.tag_row]).astype(np.int32)
        if not len(rows):
            return _no_way(closure)
        forward = np.ones(len(rows), dtype=np.bool_)
        if closure.line:
            far_ft = self._far_ft(closure, rows)
            if far_ft > REACH_FT:
                # one of the two is wrong, and to take the wrong one opens a posted road
                return _elsewhere(closure, far_ft)
            drawn = self._drawn(closure)
            if closure.kind == "one_way" and drawn.length > 0.0:
                sense = sense_along(drawn, self._lines[rows], REACH_FT * M_PER_FT)
                sides = np.unique(np.sign(sense[np.abs(sense) >= ONE_SENSE]))
                # stretches of a way lead as the way does, so one direction is that of all
                if len(sides) != 1:
                    return _no_direction(closure, road_label(self._roads, int(rows[0])))
                forward[:] = sides[0] > 0.0
        return Laid(closure=closure, rows=rows, forward=forward)

    def _drawn(self, closure: Closure) -> shapely.LineString:
        """Draw the point or line of a closure, metres; a point is a line of no length."""
        lon, lat = np.array(closure.line, dtype=np.float64).T
        points = np.column_stack(road_projection(self._roads).forward(lon, lat))
        return shapely.LineString(np.vstack([points, points[-1:]]) if len(points) == 1 else points)

    def _by_point(self, drawn: shapely.LineString) -> _Found:
        """Take the stretch that a point lies on."""
        middle = shapely.line_interpolate_point(drawn, 0.5, normalized=True)
        near = self._tree.query_nearest(middle, max_distance=REACH_FT * M_PER_FT, all_matches=False)
        return self._whole(near, undecided=False)

    def _by_line(self, drawn: shapely.LineString) -> _Found:
        """Take the stretches that a line runs along; one of a few feet may be drawn across the road that it means."""
        reach_m = REACH_FT * M_PER_FT
        if drawn.length > DASH_FT * M_PER_FT:
            return self._along(drawn, self._tree.query(drawn, predicate="dwithin", distance=reach_m))
        crossed = self._tree.query(drawn, predicate="intersects")
        near = self._by_point(drawn).rows
        found = self._along(drawn, np.union1d(crossed, np.searchsorted(self._tanker_rows, near)))
        if len(found.rows):
            return found
        return self._whole(crossed if len(crossed) else np.searchsorted(self._tanker_rows, near), undecided=True)

    def _along(self, drawn: shapely.LineString, near: Numbers) -> _Found:
        """Take those of some stretches that a line runs along."""
        rows = self._tanker_rows[np.sort(near)]
        reach_m = REACH_FT * M_PER_FT
        runs = runs_along(drawn, self._lines[rows], reach_m)
        rows = rows[runs.taken]
        if not len(rows):
            return self._whole(np.empty(0, dtype=np.int_), undecided=True)
        sense = sense_along(drawn, self._lines[rows], reach_m)
        # a line between two carriageways is nearest to one of them, and the other still knows how it runs
        sense = np.where(np.isnan(sense), runs.sense[runs.taken], sense)
        return _Found(rows, sense > 0.0, runs.drawn_m[runs.taken], ~(np.abs(sense) >= ONE_SENSE))

    def _whole(self, near: Numbers, *, undecided: bool) -> _Found:
        """Take stretches of which nothing is drawn."""
        rows, count = self._tanker_rows[np.sort(near)], len(near)
        return _Found(rows, np.ones(count, dtype=np.bool_), np.zeros(count), np.full(count, undecided))

    def _lost_m(self, drawn: shapely.LineString, rows: IntArray) -> float:
        """Measure how much of a line is out of reach of what it takes."""
        taken = shapely.union_all(self._lines[rows]).buffer(REACH_FT * M_PER_FT)
        return float(drawn.difference(taken).length)

    def _far_ft(self, closure: Closure, rows: IntArray) -> float:
        """Measure how far the point or line of a closure lies, at its farthest, from some stretches."""
        corners = shapely.points(shapely.get_coordinates(self._drawn(closure)))
        return float(shapely.distance(corners, shapely.union_all(self._lines[rows])).max()) / M_PER_FT

    def _missed(self, closure: Closure, drawn: shapely.LineString) -> Finding:
        """Say that a place is on no road, or that a line runs along none."""
        if not len(self._tanker_rows):
            return _off(closure, "cannot be placed: the road file has no road for tankers")
        (near,), (far_m,) = self._tree.query_nearest(drawn, return_distance=True, all_matches=False)
        far_ft = float(far_m) / M_PER_FT
        if far_ft <= REACH_FT:
            label = road_label(self._roads, int(self._tanker_rows[near]))
            return _off(closure, f"runs along no road for tankers; the nearest is {label}, which it does not follow")
        far = f"{far_ft:,.0f} ft" if far_ft < FT_PER_MI else f"{far_ft / FT_PER_MI:,.1f} mi"
        return _off(closure, f"lies {far} from the nearest road for tankers, over {REACH_FT:g} ft")


def _place(closure: Closure) -> tuple[str, str]:
    """Name the column that says where a closure is, and what stands there: a line by its ends."""
    lon, lat = closure.line[0]
    first = f"{lon:.6g}, {lat:.6g}"
    if len(closure.line) == 1:
        return "lon, lat", first
    lon, lat = closure.line[-1]
    return "geometry", f"{first} to {lon:.6g}, {lat:.6g}"


def _fault(closure: Closure, column: str, value: str, rule: str, remedy: str) -> Finding:
    return Finding(
        file=closure.file or "closures", row=closure.row, id=closure.closure_id, column=column, value=value,
        rule=rule, remedy=remedy,
    )  # fmt: skip


def _no_way(closure: Closure) -> Finding:
    remedy = "look the way up, or give lon and lat instead"
    return _fault(closure, "way_id", str(closure.way_id), "is no road of the road file", remedy)


def _elsewhere(closure: Closure, far_ft: float) -> Finding:
    rule = f"is a road {far_ft:,.0f} ft from the row's own place: one of the two is wrong"
    return _fault(closure, "way_id", str(closure.way_id), rule, "give the place or the way alone, whichever is right")


def _no_direction(closure: Closure, road: str) -> Finding:
    rule = f"gives no direction on {road}: it runs across it, or both along it and back"
    return _fault(closure, *_place(closure), rule, _ONE_WAY_ALONG)


def _between(closure: Closure, names: tuple[str, ...]) -> Finding:
    said = f"is as near to {names[0]} as to {names[1]}: one of them is meant" + (" or another" if names[2:] else "")
    return _fault(closure, *_place(closure), said, "move it along the road that it closes, or give that road's way_id")


def _off(closure: Closure, rule: str) -> Finding:
    remedy = "move it onto the road it closes"
    if len(closure.line) > 1:
        remedy = "draw it along the road it closes, or give a point on that road or its way_id"
    return _fault(closure, *_place(closure), rule, remedy)
