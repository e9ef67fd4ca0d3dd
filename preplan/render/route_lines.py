"""The traced ways of the chosen fill sites as lines, all at once: no walk and no line is made one address at a time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from preplan.plan_tables import ONE_PLACE_FT, STANDS_SHARE
from preplan.records import BoolArray, Columns, FloatArray, IntArray
from preplan.units import FT_PER_M

if TYPE_CHECKING:
    from preplan.plan import Plan
    from preplan.plan_tables import RouteForest
    from preplan.records import RoadTable

THIN_DEG = 2e-5
"""Points this near the line between their neighbours are left out of routes, degrees: about 2 m."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Legs(Columns):
    """Traced legs: for each chosen trip first the loaded one, then the empty one."""

    trip: IntArray
    """Row of the TripTable."""
    loaded: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Driven(Columns):
    """Stretches of the legs in order of travel, leg after leg."""

    leg: IntArray
    segment: IntArray
    forward: BoolArray
    """Driven from the stretch's `from_node` to its `to_node`."""
    start: FloatArray
    """Share of the stretch, in the direction driven, at which the leg enters it; 0 but at the leg's beginning."""
    end: FloatArray
    """Share at which the leg leaves it; 1 but at the leg's end."""


def chosen_legs(plan: Plan) -> Legs:
    """List the two legs of each address's trip at the level it shows, where it is traced; of both where it has two."""
    trips = np.column_stack([plan.answers.shown(one) for one in (plan.levels.trip, plan.levels.split_trip)])
    return legs_of(plan, trips[trips >= 0])


def legs_of_other_months(sheets: Plan) -> Legs:
    """List the legs that sheets behind cards tell of other months than a card's own; `sheets` is `Plan.on_sheets`."""
    trips = sorted({one.trip for group in sheets.groups for one in group.others if one.months})
    return legs_of(sheets, np.array(trips, dtype=np.int32))


def legs_of(plan: Plan, trips: IntArray) -> Legs:
    """List the two legs of some trips, where they are traced."""
    trip = trips[(plan.trips.out_leaf[trips] >= 0) & (plan.trips.back_leaf[trips] >= 0)]
    return Legs(trip=np.repeat(trip, 2), loaded=np.tile([True, False], len(trip)))


def driven(plan: Plan, legs: Legs) -> Driven:
    """Follow every leg through the forest, and cut its ends at the dump site and at the fill site."""
    leaf = np.where(legs.loaded, plan.trips.out_leaf[legs.trip], plan.trips.back_leaf[legs.trip])
    leg, row, at_leaf = _walks(plan.forest, leaf, legs.loaded)
    segment, forward = plan.forest.segment[row], plan.forest.forward[row]
    at_root = plan.forest.parent[row] < 0
    trip, loaded = legs.trip[leg], legs.loaded[leg]
    address, site = plan.trips.address[trip], plan.trips.site[trip]
    dump = np.where(plan.frontages.segment[address] == segment, plan.frontages.fraction[address], np.nan)
    fill = np.where(plan.site_segment[site] == segment, _site_fractions(plan)[site], np.nan)
    first, first_at = np.where(loaded, at_root, at_leaf), np.where(loaded, fill, dump)
    last, last_at = np.where(loaded, at_leaf, at_root), np.where(loaded, dump, fill)
    start = np.where(first, _travelled(first_at, forward, otherwise=0.0), 0.0)
    end = np.where(last, _travelled(last_at, forward, otherwise=1.0), 1.0)
    end = np.where(np.abs(start - end) * plan.roads.length_m[segment] * FT_PER_M < ONE_PLACE_FT, start, end)
    whole = start > end  # both ends on one stretch, and yet driven round: the ends cannot be told apart
    return Driven(
        leg=leg.astype(np.int32), segment=segment, forward=forward,
        start=np.where(whole, 0.0, start), end=np.where(whole, 1.0, end),
    )  # fmt: skip


def leg_lines(roads: RoadTable, legs: Driven) -> tuple[FloatArray, IntArray]:
    """Join stretches into one line a leg.

    Returns
    -------
    lonlat
        Points of all lines, shape (points, 2), in the direction of travel.
    leg
        The leg of each point; every leg has at least two points.
    """
    first = roads.coord_start[legs.segment].astype(np.int64)
    count = roads.coord_start[legs.segment + 1] - first
    stretch = np.repeat(np.arange(len(legs)), count)
    place = np.arange(len(stretch)) - np.repeat(np.cumsum(count) - count, count)
    forward, segment = legs.forward[stretch], legs.segment[stretch]
    point = first[stretch] + np.where(forward, place, count[stretch] - 1 - place)
    share = _shares(roads)
    travelled = np.where(forward, share[point], 1.0 - share[point])
    kept = np.clip(travelled, legs.start[stretch], legs.end[stretch])
    lonlat = np.column_stack([roads.coord_lon, roads.coord_lat])[point]
    cut = kept != travelled
    lonlat[cut] = _points_at(roads, share, segment[cut], np.where(forward, kept, 1.0 - kept)[cut])
    return _without_repeats(lonlat, legs.leg[stretch])


def trips_by_segment(n_segments: int, legs: Legs, ways: Driven) -> tuple[IntArray, IntArray]:
    """Count the loaded and the empty legs that drive each stretch; one that drives it twice counts once.

    One that only stands at the end of a stretch does not drive it, as in `TripTable.unposted_bridges`.
    """
    drives = ways.end - ways.start > STANDS_SHARE
    pairs = ways.leg[drives].astype(np.int64) * n_segments + ways.segment[drives]
    leg, segment = np.divmod(np.unique(pairs), n_segments)
    loaded = np.bincount(segment, weights=legs.loaded[leg], minlength=n_segments)
    both = np.bincount(segment, minlength=n_segments)
    return loaded.astype(np.int32), (both - loaded).astype(np.int32)


def trips_of_other_months(plan: Plan) -> tuple[IntArray, IntArray]:
    """Count the same of the circuits that sheets behind cards tell of other months: one a card, of the address told."""
    sheets = plan.on_sheets()
    legs = legs_of_other_months(sheets)
    return trips_by_segment(len(plan.roads), legs, driven(sheets, legs))


def thinned(roads: RoadTable) -> RoadTable:
    """Return the roads with fewer points, ends kept: a way shared by thousands of routes is thinned once."""
    import shapely  # noqa: PLC0415  slow to import

    count = np.diff(roads.coord_start)
    lonlat = np.column_stack([roads.coord_lon, roads.coord_lat])
    lines = shapely.linestrings(lonlat, indices=np.repeat(np.arange(len(roads)), count))
    kept, stretch = shapely.get_coordinates(
        shapely.simplify(lines, THIN_DEG, preserve_topology=False), return_index=True
    )
    start = np.concatenate([[0], np.cumsum(np.bincount(stretch, minlength=len(roads)))]).astype(np.int32)
    return replace(roads, coord_start=start, coord_lon=kept[:, 0], coord_lat=kept[:, 1])


def _walks(forest: RouteForest, leaf: IntArray, backwards: BoolArray) -> tuple[IntArray, IntArray, BoolArray]:
    """Walk from each leaf to its root; return leg, forest row and whether it is the leaf, in order of travel.

    A loaded leg is driven from the root to the leaf, so its walk is turned about.
    """
    steps = [leaf]
    while (steps[-1] >= 0).any():
        if len(steps) > len(forest) + 1:
            raise ValueError("the route forest runs in a circle")
        steps.append(np.where(steps[-1] >= 0, forest.parent[steps[-1]], -1))
    row = np.stack(steps, axis=1)
    depth = np.broadcast_to(np.arange(row.shape[1]), row.shape)
    leg, place = np.nonzero(row >= 0)
    order = np.lexsort((np.where(backwards[leg], -depth[leg, place], depth[leg, place]), leg))
    leg, place = leg[order], place[order]
    return leg.astype(np.int32), row[leg, place], place == 0


def _travelled(fraction: FloatArray, forward: BoolArray, *, otherwise: float) -> FloatArray:
    """Turn a share from the stretch's `from_node` into one along the direction driven."""
    share: FloatArray = np.where(forward, fraction, 1.0 - fraction)
    share[np.isnan(share)] = otherwise
    return share


def _shares(roads: RoadTable) -> FloatArray:
    """Return the share of its stretch at which each road point lies, 0 to 1."""
    start = roads.coord_start.astype(np.int64)
    scale = np.cos(np.radians(roads.coord_lat))
    step = np.hypot(np.diff(roads.coord_lon, prepend=0.0) * scale, np.diff(roads.coord_lat, prepend=0.0))
    step[start[:-1]] = 0.0
    along = np.cumsum(step)
    count = np.diff(start)
    along -= np.repeat(along[start[:-1]], count)
    length = np.repeat(along[start[1:] - 1], count)
    share: FloatArray = np.divide(along, length, out=np.zeros_like(along), where=length > 0)
    return share


def _points_at(roads: RoadTable, share: FloatArray, segment: IntArray, fraction: FloatArray) -> FloatArray:
    """Return the (n, 2) points at given shares of given stretches."""
    # Stretches are laid out end to end with a gap between, so that one interpolation serves all of them.
    laid = 2.0 * np.repeat(np.arange(len(roads)), np.diff(roads.coord_start)) + share
    wanted = 2.0 * segment + fraction
    return np.column_stack([np.interp(wanted, laid, roads.coord_lon), np.interp(wanted, laid, roads.coord_lat)])


def _without_repeats(lonlat: FloatArray, leg: IntArray) -> tuple[FloatArray, IntArray]:
    """Drop points that repeat the one before; a leg all in one place keeps its two ends."""
    first = np.diff(leg, prepend=-1) != 0
    last = np.diff(leg, append=-1) != 0
    keep = first | np.any(np.diff(lonlat, axis=0, prepend=np.nan) != 0, axis=1)
    keep |= last & (np.bincount(leg, weights=keep) == 1)[leg]
    return lonlat[keep], leg[keep]


def _site_fractions(plan: Plan) -> FloatArray:
    """Return the share of its own stretch at which each fill site stands; NaN off the roads."""
    from shapely import LineString, Point, line_locate_point  # noqa: PLC0415  slow to import

    fractions = np.full(len(plan.sites), np.nan)
    for index, (site, segment) in enumerate(zip(plan.sites, plan.site_segment.tolist(), strict=True)):
        if segment >= 0:
            scale = np.array([np.cos(np.radians(site.lat)), 1.0])
            line, place = LineString(plan.line(segment) * scale), Point(np.array([site.lon, site.lat]) * scale)
            fractions[index] = line_locate_point(line, place, normalized=True)
    return fractions
