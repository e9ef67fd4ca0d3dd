"""What is too weak, low or narrow close to a fill site: who drives past it, or comes from the other side, meets it.

The way of the plan may have nothing to do with it, so no circuit's warnings name it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from preplan.plan_tables import BRIDGE_AT_SITE, Flag
from preplan.planning.vehicles import is_tanker
from preplan.planning.weights import Met, Weights, gravest_first
from preplan.records import FillSite, IntArray
from preplan.roads.projection import projection_of
from preplan.units import M_PER_FT

AT_FT = 100.0
"""A bridge this near is at the fill site: who waits there may stand on it (this program's choice)."""
NEAR_FT = 1000.0
"""A limit this near is told at the fill site, as the crow flies (this program's choice)."""
_NONE = np.empty((0, 2), dtype=np.int32)


def limits_at_sites(weights: Weights, sites: Sequence[FillSite]) -> tuple[tuple[Flag, ...], ...]:
    """Flag what is posted or rated near each fill site below any unit of the district, the gravest first.

    And what is posted there and cannot be read.
    """
    near = _near(weights, sites, np.flatnonzero(weights.limited).astype(np.int32), NEAR_FT)
    tankers = np.array([is_tanker(unit) for unit in weights.units], dtype=np.bool_)
    everyone = replace(
        weights,
        sent=np.tile(tankers, (len(sites), 1)),
        engines=np.tile(~tankers, (len(sites), 1)),
        later=np.zeros((len(sites), len(tankers)), dtype=np.bool_),
    )
    found: list[list[Flag]] = [[] for _ in sites]
    for season in range(len(weights.limits)):
        then = replace(everyone, road=np.full(len(sites), season, dtype=np.int32))
        for site, flags in then.flags(Met(free=near, out=_NONE, back=_NONE)).items():
            found[site] += flags
    for site, stretch in near.tolist():
        found[site] += weights.not_read(stretch)
    return tuple(gravest_first(flags) for flags in found)


def bridges_at_sites(weights: Weights, sites: Sequence[FillSite]) -> tuple[tuple[Flag, ...], ...]:
    """Flag the fill sites at a bridge without a posted weight: full tankers wait there."""
    unposted = np.logical_or.reduce([limits.unposted_bridge for limits in weights.limits])
    there = {int(site) for site, _ in _near(weights, sites, np.flatnonzero(unposted).astype(np.int32), AT_FT)}
    return tuple((Flag(BRIDGE_AT_SITE),) if at in there else () for at in range(len(sites)))


def _near(weights: Weights, sites: Sequence[FillSite], stretches: IntArray, within_ft: float) -> IntArray:
    """Pair fill sites with those of some stretches that are near them, (pairs, 2)."""
    roads = weights.roads
    if not stretches.size or not sites:
        return _NONE
    lon, lat = np.array([(site.lon, site.lat) for site in sites], dtype=np.float64).T
    projection = projection_of(lon, lat)
    points = shapely.points(*projection.forward(lon, lat))
    lines = [
        shapely.LineString(np.column_stack(projection.forward(roads.coord_lon[start:end], roads.coord_lat[start:end])))
        for start, end in zip(
            roads.coord_start[stretches].tolist(), roads.coord_start[stretches + 1].tolist(), strict=True
        )
    ]
    site, line = shapely.STRtree(lines).query(points, predicate="dwithin", distance=within_ft * M_PER_FT)
    return np.column_stack([site, stretches[line]]).astype(np.int32)
