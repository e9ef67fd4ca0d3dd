"""Where the map's barriers part a road for trucks, and which way the road runs there: a bar is drawn across it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from preplan.records import FloatArray, IntArray, RoadTable
from preplan.render.paper import BLACK, WHITE, Pen
from preplan.render.scene import Box, Frame

BARRED = "barrier"
"""What `Picture.draw` says where a bar is on a map."""
_HALF_PT = 4.5
_CLEAR_PT = 2.0 * _HALF_PT
"""No bar is drawn where another road is nearer on the page."""
_AT_FT = 1.0
"""A road so near ends at the barrier."""


def barrier_lines(roads: RoadTable) -> list[FloatArray]:
    """Give for each barrier its own place and the next point of a road that ends there, (2, 2) lon, lat."""
    return [np.column_stack([roads.coord_lon[points], roads.coord_lat[points]]) for _, points in barrier_ends(roads)]


def barrier_ends(roads: RoadTable) -> list[tuple[int, list[int]]]:
    """Give for each barrier the stretch of road that ends there, and of its points the last two, the end first."""
    _, first = np.unique(roads.node_id, return_index=True)
    own_ends = np.setdiff1d(np.arange(len(roads.node_id)), first)
    return [
        (row, [int(at[row]), int(at[row]) + step])
        for ends, at, step in (
            (roads.from_node, roads.coord_start[:-1], 1),
            (roads.to_node, roads.coord_start[1:] - 1, -1),
        )
        for row in np.flatnonzero(np.isin(ends, own_ends)).tolist()
    ]


@dataclass(frozen=True, slots=True)
class Barriers:
    """The barriers of a plane: of each the stretch that ends there, its place and the next point of that road, feet."""

    ends: list[tuple[int, FloatArray]]
    """Each (2, 2)."""
    lines: npt.NDArray[np.object_]
    """All stretches of road; none where there is no barrier."""

    @classmethod
    def of(cls, roads: RoadTable, points_ft: FloatArray) -> Barriers:
        """Place those of the roads, whose points on the plane are given."""
        ends = [(stretch, points_ft[points]) for stretch, points in barrier_ends(roads)]
        owner = np.repeat(np.arange(len(roads.coord_start) - 1), np.diff(roads.coord_start))
        return cls(ends, np.asarray(shapely.linestrings(points_ft, indices=owner)) if ends else np.empty(0, np.object_))

    def clear_ft(self, place_ft: FloatArray, drawn: IntArray) -> float:
        """Give how far from a barrier the nearest of some stretches is that does not end there."""
        off = np.asarray(shapely.distance(shapely.Point(place_ft), self.lines[drawn]))
        return float(off[off > _AT_FT].min(initial=math.inf))


def draw_barriers(pen: Pen, frame: Frame, barriers: Barriers, drawn: IntArray) -> list[Box]:
    """Draw a bar across the road for each barrier in view, gives what they cover.

    None where its road is not among the stretches `drawn`, nor where it would lie on another road: it would seem shut.
    """
    shown = set(drawn.tolist())
    covered = []
    for stretch, line_ft in barriers.ends:
        (x, y), (on_x, on_y) = frame.to_page(line_ft).tolist()
        if stretch not in shown or not frame.page.grown(-_HALF_PT).holds(Box(x, y, x, y)):
            continue
        if barriers.clear_ft(line_ft[0], drawn) * frame.pt_per_ft < _CLEAR_PT:
            continue
        far = math.hypot(on_x - x, on_y - y) or 1.0
        east, north = (on_y - y) / far * _HALF_PT, (x - on_x) / far * _HALF_PT
        for ink, width, more in ((WHITE, 4.6, 1.2), (BLACK, 2.4, 1.0)):
            pen.ink(ink, ink)
            pen.width(width)
            pen.strokes((x - east * more, y - north * more, x + east * more, y + north * more))
        covered.append(Box(x - _HALF_PT, y - _HALF_PT, x + _HALF_PT, y + _HALF_PT))
    return covered
