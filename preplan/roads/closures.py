"""The district's own closures on the stretches: they replace what the map says."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import shapely

from preplan.errors import Finding, InputError
from preplan.records import BoolArray, ClosedRoad, Closure, FloatArray, IntArray, Problem, RoadTable
from preplan.roads.draft import Draft
from preplan.roads.projection import road_lines, road_projection
from preplan.roads.road_names import road_label
from preplan.units import FT_PER_MI, M_PER_FT, M_PER_MI

Points: TypeAlias = npt.NDArray[np.object_]
"""Shapely points in projected metres."""
REACH_FT = 300.0
"""Farthest a closure given by position may lie from the road it closes."""
POINT_MI = 0.25
"""A point that takes a stretch at least this long is reported (this program's careful choice)."""
_SAMPLE_M = 30.0
"""A line is followed along its road in steps of this length."""
_STEP_M = 1.0
_LIMIT_KINDS = {"max_lb": "max_lb", "max_height_ft": "max_height_ft", "max_width_ft": "max_width_ft"}


def apply_closures(
    roads: RoadTable, draft: Draft, closures: tuple[Closure, ...], months: frozenset[int]
) -> list[Problem]:
    """Put every closure that holds in one of `months` on its stretches; report points that take a long one.

    Raises
    ------
    InputError
        With one finding for each closure whose road is not found.
    """
    findings: list[Finding] = []
    problems: list[Problem] = []
    places = _Places(roads, draft.tanker_road) if any(one.line for one in closures) else None
    for closure in closures:
        forward = None
        if closure.way_id is not None:
            rows = np.flatnonzero(roads.way_id == closure.way_id).astype(np.int32)
            if len(rows) and closure.line and places is not None and places.far_ft(closure, rows) > REACH_FT:
                # one of the two is wrong, and to take the wrong one opens a posted road
                findings.append(_elsewhere(closure, places.far_ft(closure, rows)))
                continue
        elif places is not None and closure.line:
            rows, forward = places.find(closure)
        else:
            rows = np.empty(0, dtype=np.int32)
        if not len(rows):
            findings.append(_missed(closure, np.nan if places is None else places.nearest_ft(closure)))
        elif closure.months & months:
            draft.closed.append(ClosedRoad(closure=closure, segments=rows))
            _apply(draft, closure, rows, np.ones(len(rows), dtype=np.bool_) if forward is None else forward)
            if closure.way_id is None and len(closure.line) == 1:
                problems += _far_reaching(roads, closure, rows)
    if findings:
        raise InputError(findings)
    return problems


def _far_reaching(roads: RoadTable, closure: Closure, rows: IntArray) -> list[Problem]:
    """Report a point that takes a long stretch of road: the stretch is not split, so all of it is held to it."""
    miles = float(roads.length_m[rows].sum()) / M_PER_MI
    if miles < POINT_MI:
        return []
    does = {"closed": "closes", "one_way": "makes one way"}.get(closure.kind, "limits")
    lon, lat = closure.line[0]
    return [
        Problem(
            code="long closure", osm_id=f"way {roads.way_id[rows[0]]}", key=closure.kind, value=closure.closure_id,
            rule=f"{does} {miles:.1f} mi of {road_label(roads, int(rows[0]))}: give a way_id or a line",
            lon=lon, lat=lat,
        )
    ]  # fmt: skip


def _apply(draft: Draft, closure: Closure, rows: IntArray, forward: BoolArray) -> None:
    """Let one closure take effect; `forward` tells for each row whether the closure runs along the stretch."""
    if closure.kind == "closed":
        draft.close(rows)
    elif closure.kind == "one_way":
        along = ~forward if (closure.value or 0.0) < 0 else forward
        draft.forward_open[rows], draft.backward_open[rows] = along, ~along
    elif closure.kind in _LIMIT_KINDS and closure.value is not None:
        getattr(draft, _LIMIT_KINDS[closure.kind])[rows] = closure.value
        if closure.kind == "max_lb":
            draft.weight_known[rows] = True
            draft.rated_lb[rows] = np.inf


class _Places:
    """Stretches for tankers in a projected CRS of their own, to be found by position."""

    def __init__(self, roads: RoadTable, tanker_road: BoolArray) -> None:
        """Draw the lines once for all closures."""
        self._flat = road_projection(roads)
        self._rows = np.flatnonzero(tanker_road).astype(np.int32)
        self._every = road_lines(roads, self._flat)
        self._lines = self._every[tanker_road]
        self._tree = shapely.STRtree(self._lines)

    def find(self, closure: Closure) -> tuple[IntArray, BoolArray]:
        """Find the stretches that a point or line lies on, and whether the line runs along each of them."""
        here, ahead = _samples(np.column_stack(self._flat.forward(*np.array(closure.line, dtype=np.float64).T)))
        hit, near = self._tree.query_nearest(here, max_distance=REACH_FT * M_PER_FT, all_matches=False)
        onward = shapely.line_locate_point(self._lines[near], ahead[hit]) >= shapely.line_locate_point(
            self._lines[near], here[hit]
        )
        found, first = np.unique(near, return_index=True)
        return self._rows[found], onward[first]

    def nearest_ft(self, closure: Closure) -> float:
        """Measure how far the point or line of a closure lies from the nearest road for tankers; NaN without any."""
        if not closure.line or not len(self._lines):
            return np.nan
        points = shapely.points(np.column_stack(self._flat.forward(*np.array(closure.line, dtype=np.float64).T)))
        _, far_m = self._tree.query_nearest(points, return_distance=True)
        return float(far_m.min()) / M_PER_FT

    def far_ft(self, closure: Closure, rows: IntArray) -> float:
        """Measure how far the point or line of a closure lies, at its farthest, from some stretches."""
        lines = shapely.union_all(self._every[rows])
        points = shapely.points(np.column_stack(self._flat.forward(*np.array(closure.line, dtype=np.float64).T)))
        return float(shapely.distance(points, lines).max()) / M_PER_FT


def _samples(points: FloatArray) -> tuple[Points, Points]:
    """Give points along a line, well inside its ends, and points one step ahead of each; a point is its own sample."""
    line = shapely.LineString(np.vstack([points, points[-1:]]))
    count = max(1, int(np.ceil(line.length / _SAMPLE_M)))
    at = (np.arange(count) + 0.5) * line.length / count
    here = np.asarray(shapely.line_interpolate_point(line, at), dtype=np.object_)
    return here, np.asarray(shapely.line_interpolate_point(line, at + _STEP_M), dtype=np.object_)


def _elsewhere(closure: Closure, far_ft: float) -> Finding:
    return Finding(
        file=closure.file or "closures", row=closure.row, id=closure.closure_id, column="way_id",
        value=str(closure.way_id),
        rule=f"is a road {far_ft:,.0f} ft from the row's own place: one of the two is wrong",
        remedy="give the place or the way alone, whichever is right",
    )  # fmt: skip


def _missed(closure: Closure, far_ft: float) -> Finding:
    if closure.way_id is not None:
        return Finding(
            file=closure.file or "closures", row=closure.row, id=closure.closure_id, column="way_id",
            value=str(closure.way_id),
            rule="is no road of the road file", remedy="look the way up, or give lon and lat instead",
        )  # fmt: skip
    lon, lat = closure.line[0]
    far = f"{far_ft:,.0f} ft" if far_ft < FT_PER_MI else f"{far_ft / FT_PER_MI:,.1f} mi"
    near = f"lies {far} from the nearest road for tankers, over {REACH_FT:g} ft"
    return Finding(
        file=closure.file or "closures", row=closure.row, id=closure.closure_id, column="lon, lat",
        value=f"{lon:.6g}, {lat:.6g}",
        rule=near if np.isfinite(far_ft) else "cannot be placed: the road file has no road for tankers",
        remedy="move it onto the road it closes",
    )  # fmt: skip
