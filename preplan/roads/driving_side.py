"""Where traffic keeps left: said once for the district, since nothing else depends on it.

Ways and roundabouts are driven in the direction in which they are mapped, turns cost the same to either side, and the
side of a building is told as tankers arrive. What a page cannot know is which lane a driver is used to.
"""

from __future__ import annotations

import numpy as np

from preplan.records import Problem, RoadTable

KEEPS_LEFT = (
    (-65.15, 17.6, -64.2, 18.85),  # United States and British Virgin Islands
    (-11.0, 51.2, 1.35, 61.0), (-6.5, 49.8, 0.5, 51.2),  # British Isles
    (112.0, -48.0, 179.0, -10.5),  # Australia, New Zealand
    (130.0, 30.0, 146.0, 45.6),  # Japan
)  # fmt: skip
"""Boxes west, south, east, north, from general knowledge; elsewhere only a way's own `driving_side` tells."""


def side_problems(roads: RoadTable) -> tuple[Problem, ...]:
    """Say that traffic keeps left, at the first road that tells so."""
    if not len(roads):
        return ()
    lon, lat = roads.coord_lon[roads.coord_start[:-1]], roads.coord_lat[roads.coord_start[:-1]]
    left = np.array([tags.get("driving_side") == "left" for tags in roads.way_tags], dtype=np.bool_)[roads.tag_row]
    for west, south, east, north in KEEPS_LEFT:
        left |= (lon > west) & (lon < east) & (lat > south) & (lat < north)
    rows = np.flatnonzero(left)
    if not len(rows):
        return ()
    rule = "traffic keeps left here: ways are driven as they are mapped, and nothing else is computed from it"
    return (
        Problem(
            code="keeps left", osm_id=f"way {roads.way_id[rows[0]]}", key="driving_side", value="left", rule=rule,
            lon=float(lon[rows[0]]), lat=float(lat[rows[0]]),
        ),
    )  # fmt: skip
