"""Where the map's barriers part a road for trucks, and which way the road runs there: a bar is drawn across it."""

from __future__ import annotations

import math

import numpy as np

from preplan.records import FloatArray, RoadTable
from preplan.render.paper import BLACK, WHITE, Pen
from preplan.render.scene import Box, Frame

BARRED = "barrier"
"""What `Picture.draw` says where a bar is on a map."""
_HALF_PT = 4.5


def barrier_lines(roads: RoadTable) -> list[FloatArray]:
    """Give for each barrier its own place and the next point of a road that ends there, (2, 2) lon, lat."""
    _, first = np.unique(roads.node_id, return_index=True)
    own_ends = np.setdiff1d(np.arange(len(roads.node_id)), first)
    found = []
    for ends, at, step in (
        (roads.from_node, roads.coord_start[:-1], 1),
        (roads.to_node, roads.coord_start[1:] - 1, -1),
    ):
        for row in np.flatnonzero(np.isin(ends, own_ends)).tolist():
            points = [int(at[row]), int(at[row]) + step]
            found.append(np.column_stack([roads.coord_lon[points], roads.coord_lat[points]]))
    return found


def draw_barriers(pen: Pen, frame: Frame, lines_ft: FloatArray) -> list[Box]:
    """Draw a bar across the road for each line (n, 2, 2) in view; gives what they cover."""
    covered = []
    for (x, y), (on_x, on_y) in frame.to_page(lines_ft.reshape(-1, 2)).reshape(-1, 2, 2).tolist():
        if not frame.page.grown(-_HALF_PT).holds(Box(x, y, x, y)):
            continue
        far = math.hypot(on_x - x, on_y - y) or 1.0
        east, north = (on_y - y) / far * _HALF_PT, (x - on_x) / far * _HALF_PT
        for ink, width, more in ((WHITE, 4.6, 1.2), (BLACK, 2.4, 1.0)):
            pen.ink(ink, ink)
            pen.width(width)
            pen.strokes((x - east * more, y - north * more, x + east * more, y + north * more))
        covered.append(Box(x - _HALF_PT, y - _HALF_PT, x + _HALF_PT, y + _HALF_PT))
    return covered
