"""Which stretches a drawn line runs along, and which way: a line that only passes a side road does not take it.

Points are set along every road near the line. Each is projected on the line and counts where the road runs as the line
does and no other road does so nearer by. Metres of a projected CRS throughout.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import shapely

from preplan.records import BoolArray, FloatArray

Lines: TypeAlias = npt.NDArray[np.object_]
"""Shapely lines in projected metres."""
Numbers: TypeAlias = npt.NDArray[np.int_]
"""Positions among some stretches."""
_STEP_M = 5.0
"""Between points on a road, and the reach to either side of one over which a bearing is taken."""
_FEWEST = 4
"""Points on the shortest road."""
_SMOOTH_M = 3.0
"""A hand trembles by this much, and its bearings are not those of the road."""
AGREES = float(np.cos(np.radians(30.0)))
"""A road that turns farther than this from the line is a side road that it passes."""
_TWINS_M = 8.0
"""Roads that lie this much farther than the nearest along the line run beside it too, as two carriageways do."""
_MOST_OF_IT = 0.5
"""Share of a stretch from which it is taken wherever the line ends."""
_SHARE_OF_LINE = 1.0 / 3.0
_LONG_RUN_M = 90.0
"""A run of this length, or of a third of a shorter line, takes a stretch that the line ends on."""
_GAP_M = 25.0
"""Within this a line that is still followed goes on."""
_JOIN_M = 12.0
"""Ends of stretches this near are one crossing: a stretch of no use to tankers may lie between."""
_LINK_M = 50.0
"""A stretch up to this length joins those at its ends, though it runs askew itself, as a bridge may."""
ONE_SENSE = 0.5
"""How much of a run must lead one way rather than the other for the line to give a direction."""


@dataclass(frozen=True, slots=True)
class Runs:
    """What a line has of each of some stretches, in their order."""

    taken: BoolArray
    drawn_m: FloatArray
    """Length of each that the line runs along."""
    sense: FloatArray
    """1: the line leads along the stretch, -1: against it; between them where it does both, NaN without a run."""


@dataclass(frozen=True, slots=True)
class _Points:
    """Points along the stretches, one row each; `cosine` is that between the road and the line there."""

    owner: Numbers
    weight_m: FloatArray
    """Length of road that the point stands for."""
    station_m: FloatArray
    """Where on the line it lies."""
    off_m: FloatArray
    cosine: FloatArray
    beside: BoolArray
    """Within reach, not past an end of the line, and of its bearing."""


def runs_along(line: shapely.LineString, lines: Lines, reach_m: float) -> Runs:
    """Tell which stretches a line runs along.

    Parameters
    ----------
    line
        What was drawn, longer than nothing.
    lines
        Shape (n,): stretches near it.
    reach_m
        Farthest that a road may lie from the line.

    Returns
    -------
    runs
        A stretch is taken where half of it lies along the line, or a third of the line, or 90 m of it; not one that
        leaves the line, while the line goes on along others, which is the mouth of a side road. Where the line has
        nothing between two that are taken, the stretch that joins them is taken too.
    """
    points = _points(line, lines, reach_m)
    ends, links = _ends(lines), shapely.length(lines) <= _LINK_M
    keep = np.ones(len(lines), dtype=np.bool_)
    while True:
        runs, counted = _runs(line, lines, points, keep)
        strays = [
            one
            for one in np.flatnonzero(runs.taken).tolist()
            if _strays(one, runs, points, counted, _joints(one, runs.taken, ends, links), ends[one])
        ]
        if not strays:
            return _filled(line, lines, runs, points.station_m[counted], keep)
        # one at a time: what was hidden by a side road may join others once that is gone
        share = runs.drawn_m / shapely.length(lines)
        keep[min(strays, key=lambda one: (share[one], runs.drawn_m[one], one))] = False


def sense_along(line: shapely.LineString, lines: Lines, reach_m: float) -> FloatArray:
    """Tell which way a line leads on each of some stretches, as `Runs.sense`, there and back weighed alike."""
    smooth = shapely.simplify(line, _SMOOTH_M)
    count = max(_FEWEST, int(np.ceil(smooth.length / _STEP_M)))
    at_m = (np.arange(count) + 0.5) * smooth.length / count
    here = shapely.line_interpolate_point(smooth, at_m)
    hit, near = shapely.STRtree(lines).query_nearest(here, max_distance=reach_m, all_matches=False)
    road = _heading(lines[near], np.asarray(shapely.line_locate_point(lines[near], here[hit]), dtype=np.float64))
    cosine = np.sum(road * _heading(np.full(len(hit), smooth, dtype=np.object_), at_m[hit]), axis=1)
    agrees = np.abs(cosine) >= AGREES
    return _sense(near[agrees], cosine[agrees], np.ones(int(agrees.sum())), len(lines))


def heading_at(point: shapely.Point, lines: Lines) -> tuple[FloatArray, BoolArray]:
    """Give the unit vector in which each line leads where it passes a point, (n, 2), and whether it does pass it."""
    at_m = np.asarray(shapely.line_locate_point(lines, point), dtype=np.float64)
    return _heading(lines, at_m), (at_m > 0.0) & (at_m < shapely.length(lines))


def _points(line: shapely.LineString, lines: Lines, reach_m: float) -> _Points:
    """Set points along the stretches and lay them beside the line."""
    smooth = shapely.simplify(line, _SMOOTH_M)
    length_m = shapely.length(lines)
    count = np.maximum(_FEWEST, np.ceil(length_m / _STEP_M)).astype(np.int64)
    owner = np.repeat(np.arange(len(lines)), count)
    weight_m = (length_m / count)[owner]
    at_m = (np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + 0.5) * weight_m
    here = shapely.line_interpolate_point(lines[owner], at_m)
    station_m = np.asarray(shapely.line_locate_point(smooth, here), dtype=np.float64)
    off_m = np.asarray(shapely.distance(smooth, here), dtype=np.float64)
    road, drawn = _heading(lines[owner], at_m), _heading(np.full(len(owner), smooth, dtype=np.object_), station_m)
    cosine = np.sum(road * drawn, axis=1)
    abreast = (station_m > 0.0) & (station_m < smooth.length)
    return _Points(
        owner=owner,
        weight_m=weight_m,
        station_m=station_m,
        off_m=off_m,
        cosine=cosine,
        beside=abreast & (off_m <= reach_m) & (np.abs(cosine) >= AGREES),
    )


def _heading(lines: Lines, at_m: FloatArray) -> FloatArray:
    """Give the unit vector in which each line leads about a place on it; zero where it goes there and back."""
    # a negative place would be counted from the line's other end
    before = shapely.line_interpolate_point(lines, np.maximum(at_m - _STEP_M, 0.0))
    after = shapely.line_interpolate_point(lines, at_m + _STEP_M)
    way = shapely.get_coordinates(after) - shapely.get_coordinates(before)
    return np.asarray(way / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None], dtype=np.float64)


def _runs(line: shapely.LineString, lines: Lines, points: _Points, keep: BoolArray) -> tuple[Runs, BoolArray]:
    """Count the points that lie along the line, of the stretches in `keep`, and tell which stretches have enough."""
    beside = points.beside & keep[points.owner]
    step = (points.station_m / _STEP_M).astype(np.int64) + 1
    least_m = np.full(int(line.length / _STEP_M) + 4, np.inf)
    np.minimum.at(least_m, step[beside], points.off_m[beside])
    # points of two roads need not fall into the same step
    nearest_m = np.minimum(least_m[step], np.minimum(least_m[step - 1], least_m[step + 1]))
    counted = beside & (points.off_m <= nearest_m + _TWINS_M)
    drawn_m = np.bincount(points.owner[counted], points.weight_m[counted], minlength=len(lines)).astype(np.float64)
    enough_m = np.minimum(_MOST_OF_IT * shapely.length(lines), min(_LONG_RUN_M, _SHARE_OF_LINE * line.length))
    taken = (drawn_m > 0.0) & (drawn_m >= enough_m)
    sense = _sense(points.owner[counted], points.cosine[counted], points.weight_m[counted], len(lines))
    return Runs(taken=taken, drawn_m=drawn_m, sense=sense), counted & taken[points.owner]


def _sense(owner: Numbers, cosine: FloatArray, weight: FloatArray, stretches: int) -> FloatArray:
    """Weigh for each stretch where the line leads along it against where it leads back."""
    lead = np.bincount(owner, weight * np.sign(cosine), minlength=stretches)
    run = np.bincount(owner, weight, minlength=stretches)
    return np.where(run > 0.0, lead / np.maximum(run, 1e-9), np.nan)


def _strays(one: int, runs: Runs, points: _Points, counted: BoolArray, joints: FloatArray, ends: FloatArray) -> bool:
    """Tell whether a stretch leaves the line: the line goes on along another, and the two do not join there."""
    mine = counted & (points.owner == one)
    others = points.station_m[counted & (points.owner != one)]
    low_m, high_m = points.station_m[mine].min(), points.station_m[mine].max()
    first, last = ends if runs.sense[one] > 0.0 else ends[::-1]
    for end, ahead_m in ((first, low_m - others), (last, others - high_m)):
        goes_on = ((ahead_m > _GAP_M / 2.0) & (ahead_m <= 1.5 * _GAP_M)).any()
        if goes_on and not _joins(end, joints):
            return True
    return False


def _joints(one: int, taken: BoolArray, ends: FloatArray, links: BoolArray) -> FloatArray:
    """Give the places where a stretch may join the others that are taken: their ends, and those of links from there."""
    rest = taken.copy()
    rest[one] = False
    joints = ends[rest].reshape(-1, 2)
    links = links & ~taken
    links[links] = [any(_joins(end, joints) for end in both) for both in ends[links]]
    return np.vstack([joints, ends[links].reshape(-1, 2)])


def _filled(line: shapely.LineString, lines: Lines, runs: Runs, followed_m: FloatArray, keep: BoolArray) -> Runs:
    """Take the short stretches that join taken ones where the line has no other: a bridge's bearing is soon missed."""
    ends = _ends(lines)
    ends_m = np.asarray(shapely.line_locate_point(line, shapely.points(ends)), dtype=np.float64)
    joints = ends[runs.taken].reshape(-1, 2)
    at_m = np.sort(followed_m)
    length_m = shapely.length(lines)
    taken, sense, drawn_m = runs.taken.copy(), runs.sense.copy(), runs.drawn_m.copy()
    for one in np.flatnonzero(~runs.taken & keep & (length_m <= np.abs(np.diff(ends_m)[:, 0]) + _JOIN_M)).tolist():
        low_m, high_m = np.sort(ends_m[one])
        inside = at_m[np.searchsorted(at_m, low_m) : np.searchsorted(at_m, high_m)]
        hole_m = np.diff(np.concatenate([[low_m], inside, [high_m]])).max()
        if hole_m > max(2.0 * _STEP_M, _MOST_OF_IT * length_m[one]) and all(_joins(end, joints) for end in ends[one]):
            taken[one], drawn_m[one] = True, hole_m
            sense[one] = np.sign(ends_m[one, 1] - ends_m[one, 0])
    return replace(runs, taken=taken, sense=sense, drawn_m=drawn_m)


def _joins(end: FloatArray, joints: FloatArray) -> bool:
    """Tell whether an end of a stretch lies at some other's."""
    return bool((np.hypot(*(joints - end).T) < _JOIN_M).any())


def _ends(lines: Lines) -> FloatArray:
    """Give the first and last point of each stretch: (n, 2, 2), metres."""
    both = [shapely.get_coordinates(shapely.get_point(lines, which)) for which in (0, -1)]
    return np.stack(both, axis=1)
