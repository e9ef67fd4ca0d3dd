"""The place on the road where the tankers of each address dump, and the driveway between.

An address stands at the road it is named for where that passes near, at the end of its mapped driveway where
there is one, else at the nearest road that a tanker can use; beside a bridge, a roundabout or a ramp, before it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from preplan.plan_tables import FrontageTable
from preplan.records import (
    AddressTable,
    BoolArray,
    FeatureTable,
    FloatArray,
    IntArray,
    RoadLimits,
    RoadTable,
    text_array,
)
from preplan.roads.barriers import on_foot
from preplan.roads.driveways import driveways, ways_out
from preplan.roads.mouths import find_dead_ends
from preplan.roads.places import NO_FRONTAGE, Ground, Near, Places, no_stand, nowhere, place_points
from preplan.roads.street_names import address_street, before_town, loosen, misspellings, road_keys
from preplan.roads.water_between import Waters
from preplan.rules import PlanRules, RoadRules
from preplan.units import FT_PER_M, M_PER_FT

__all__ = ["Places", "place_addresses", "place_on_own_bank", "place_points", "straight_over_water"]

NAMED_TIMES = 3.0
NAMED_MORE_FT = 600.0
"""The road an address is named for, or one on its own side of a water, counts up to this many times, or feet more than,
the gap to the nearest road (this program's careful choice)."""
DRIVEWAY_NEAR_FT = 150.0
"""A mapped driveway this near to the address is its own (this program's careful choice)."""
DRIVEWAY_LONGEST_FT = 5280.0
"""A longer walk along driveways is no driveway (this program's careful choice)."""

Forms = Callable[[str], frozenset[str]]
"""The forms of a key: a street and a road are taken for one where they share a form."""


def _as_written(key: str) -> frozenset[str]:
    return frozenset({key})


def _loosened(key: str) -> frozenset[str]:
    return frozenset({loosen(key)})


def _without_town(key: str) -> frozenset[str]:
    return frozenset({before_town(key)})


def _misspelt(key: str) -> frozenset[str]:
    return misspellings(loosen(key))


_FORMS: tuple[tuple[Forms, Forms], ...] = (
    (_as_written, _as_written),
    (_loosened, _loosened),
    (_without_town, _as_written),  # the map writes no town behind a road, and RUE ST DENIS is no RUE ST
    (_misspelt, _misspelt),
)
"""Of an address's street and of a road's keys, tried in this order."""


@dataclass(frozen=True, slots=True)
class _Chosen:
    """A place on the road for each address; row -1 where there is none."""

    row: IntArray
    fraction: FloatArray
    hose_ft: FloatArray
    """From the place to the building."""


def place_addresses(
    roads: RoadTable,
    limits: RoadLimits,
    addresses: AddressTable,
    road_rules: RoadRules,
    plan_rules: PlanRules,
    features: FeatureTable | None = None,
) -> FrontageTable:
    """Find where the tankers of each address dump, and how far the hose goes from there.

    An address that names no road near goes to the nearest one on its own side of the waters among `features`, where
    one is hardly farther.

    Returns
    -------
    FrontageTable
        `how` says why the place was chosen. Addresses farther than `snap_max_ft` from any usable road have segment
        -1 and no driveway but a given one; their `gap_ft` is the distance to the nearest usable road but a motorway,
        inf where there is none at all.
    """
    usable = limits.usable
    # a motorway fronts only the addresses named for it
    fronting = usable & ~np.isin(roads.highway.astype(str), NO_FRONTAGE)
    if not np.any(usable):
        return _off_the_roads(addresses)
    ground = Ground.of(roads, addresses.lon, addresses.lat)
    near = ground.nearest(_rows(fronting), np.arange(len(addresses), dtype=np.int32))
    snap_m = road_rules.snap_max_ft * M_PER_FT
    if features is not None:
        near = _on_this_bank(ground, near, Waters.of(features, ground.projection), _rows(fronting), snap_m)
    names = _Names.of(roads, _rows(usable), addresses)
    named = _nearest_named(ground, names, near, snap_m)
    is_named = named.row >= 0
    best = Near(np.where(is_named, named.row, near.row), np.where(is_named, named.gap_m, near.gap_m))
    by_way = _along_driveways(roads, limits, ground, names, best, is_named=is_named)
    by_way = _off_the_ring(roads, usable, ground, by_way, snap_m, plan_rules.driveway_factor)

    off = ~(np.minimum(near.gap_m, best.gap_m) <= snap_m)
    takes_way = ~off & (by_way.row >= 0)
    beside, share = ground.where_tankers_stand(roads, usable, best.row, snap_m)
    row = np.where(off, -1, np.where(takes_way, by_way.row, beside)).astype(np.int32)
    fraction = np.where(off, np.nan, np.where(takes_way, by_way.fraction, share))
    places = ground.places(row, fraction)
    hose_ft = np.where(takes_way, by_way.hose_ft, places.gap_ft * plan_rules.driveway_factor)
    how = np.where(takes_way, "driveway", np.where(is_named, "named", "nearest")).astype(np.object_)
    how[off], hose_ft[off] = "", np.nan
    return FrontageTable(
        segment=row,
        fraction=fraction,
        lon=places.lon,
        lat=places.lat,
        driveway_ft=np.where(np.isnan(addresses.driveway_ft), hose_ft, addresses.driveway_ft),
        gap_ft=np.where(off, near.gap_m * FT_PER_M, places.gap_ft),
        how=how,
        side=ground.sides(row, fraction),
        dead_end=find_dead_ends(roads, limits).on[row] & ~off,
        along_ft=np.zeros(len(row)),
        near_segment=np.where(off, near.row, -1).astype(np.int32),
    )


def straight_over_water(
    roads: RoadTable, addresses: AddressTable, frontages: FrontageTable, features: FeatureTable
) -> tuple[BoolArray, BoolArray]:
    """Mark the addresses between which and their frontage water is mapped, no driveway being mapped, both (addresses,).

    First any water; then only a pond, lake or river that is mapped as an area.
    """
    ground = Ground.of(roads, addresses.lon, addresses.lat)
    spots = ground.on_road(frontages.segment, frontages.fraction)
    straight = np.isin(frontages.how.astype(str), ("named", "nearest"))
    waters, ways = Waters.of(features, ground.projection), shapely.shortest_line(ground.points, spots)
    wide = straight & waters.part(ways)
    return wide | (straight & waters.streams_cross(ways)), wide


def place_on_own_bank(
    roads: RoadTable,
    limits: RoadLimits,
    lon: FloatArray,
    lat: FloatArray,
    features: FeatureTable,
    *,
    usable: BoolArray | None = None,
    snap_max_ft: float = RoadRules().snap_max_ft,
) -> tuple[Places, BoolArray]:
    """Set points as `place_points` does, but on a road of their own side of the waters where one is hardly farther.

    Points that lie in the water themselves stay at the nearest. The mask (n,) marks those that water parts from their
    place for all that.
    """
    spots = place_points(roads, limits, lon, lat, usable=usable, snap_max_ft=snap_max_ft)
    mask = limits.usable if usable is None else usable
    ground, snap_m = Ground.of(roads, lon, lat), snap_max_ft * M_PER_FT
    waters = Waters.of(features, ground.projection)
    near = Near(spots.segment, spots.gap_ft * M_PER_FT)
    fronting = mask & ~np.isin(roads.highway.astype(str), NO_FRONTAGE)
    row = _on_this_bank(ground, near, waters, _rows(fronting), snap_m).row
    moved = row != spots.segment
    moved[moved] = ~waters.hold(ground.points[moved])
    row, share = ground.where_tankers_stand(roads, mask, np.where(moved, row, spots.segment).astype(np.int32), snap_m)
    own = ground.places(np.where(moved, row, spots.segment).astype(np.int32), np.where(moved, share, spots.fraction))
    return own, waters.part(shapely.shortest_line(ground.points, ground.on_road(own.segment, own.fraction)))


def _on_this_bank(ground: Ground, near: Near, waters: Waters, rows: IntArray, snap_m: float) -> Near:
    """Take, for points that water parts from the nearest stretch, the nearest of `rows` from which none does."""
    row, gap_m = near.row.copy(), near.gap_m.copy()
    on = _rows(gap_m <= snap_m)  # others are off the roads
    parted = on[waters.part(shapely.shortest_line(ground.points[on], ground.lines[row[on]]))]
    if not len(parted):
        return near
    tree = shapely.STRtree(ground.lines[rows])
    within_m = np.minimum(snap_m, _farthest_m(gap_m[parted]))
    for at, point, farthest_m in zip(parted.tolist(), ground.points[parted], within_m, strict=True):
        others = rows[tree.query(point, predicate="dwithin", distance=farthest_m)]
        ways = shapely.shortest_line(point, ground.lines[others])
        far_m = np.where(waters.part(ways), np.inf, shapely.length(ways))
        if np.isfinite(far_m).any():
            row[at], gap_m[at] = others[far_m.argmin()], far_m.min()
    return Near(row, gap_m)


def _farthest_m(gap_m: FloatArray) -> FloatArray:
    """Say how far another road may be to stand in for the nearest one."""
    farthest: FloatArray = np.maximum(NAMED_TIMES * gap_m, gap_m + NAMED_MORE_FT * M_PER_FT)
    return farthest


@dataclass(frozen=True, slots=True)
class _Names:
    """Names of usable roads and of the addresses' streets, as keys."""

    keys_of: Mapping[int, frozenset[str]]
    """Keys of each usable stretch."""
    rows_of: Mapping[str, IntArray]
    """Usable stretches of each key."""
    street: Sequence[str]
    """Key of each address's street, '' where it has none."""

    @classmethod
    def of(cls, roads: RoadTable, rows: IntArray, addresses: AddressTable) -> _Names:
        keys_of_way: dict[int, frozenset[str]] = {}
        keys_of: dict[int, frozenset[str]] = {}
        rows_of: defaultdict[str, list[int]] = defaultdict(list)
        for row, way in zip(rows.tolist(), roads.tag_row[rows].tolist(), strict=True):
            if way not in keys_of_way:
                keys_of_way[way] = road_keys(roads.name[row], roads.ref[row], roads.way_tags[way])
            keys_of[row] = keys_of_way[way]
            for key in keys_of[row]:
                rows_of[key].append(row)
        pairs = zip(addresses.street.tolist(), addresses.number.tolist(), strict=True)
        return cls(
            keys_of,
            {key: np.array(of, dtype=np.int32) for key, of in rows_of.items()},
            [address_street(street, number) for street, number in pairs],
        )

    def members(self, among: Iterable[int], own: Forms, road: Forms) -> Iterator[tuple[IntArray, IntArray]]:
        """Give (stretches that share a form of a street's key, addresses on it) for every street that has both."""
        grouped: defaultdict[str, list[int]] = defaultdict(list)
        for address in among:
            if self.street[address]:
                grouped[self.street[address]].append(address)
        keys_of_form: defaultdict[str, list[str]] = defaultdict(list)
        for key in self.rows_of if grouped else ():
            for form in road(key):
                keys_of_form[form].append(key)
        for street, addresses in grouped.items():
            keys = {key for form in own(street) for key in keys_of_form.get(form, ())}
            if keys:
                rows = np.unique(np.concatenate([self.rows_of[key] for key in sorted(keys)]))
                yield rows, np.array(addresses, dtype=np.int32)

    def bears(self, address: int, row: int) -> bool:
        """Tell whether a usable stretch bears the street name of an address, in any of its forms."""
        street = self.street[address]
        return street != "" and any(
            form in road(key) for own, road in _FORMS for form in own(street) for key in self.keys_of[row]
        )


def _nearest_named(ground: Ground, names: _Names, near: Near, snap_m: float) -> Near:
    """Find the nearest stretch that bears each address's street name, as written, else blurred and so on."""
    row, gap_m = np.full(len(near.row), -1, dtype=np.int32), np.full(len(near.row), np.inf)
    farthest_m = np.minimum(snap_m, _farthest_m(near.gap_m))
    for own, road in _FORMS:
        for rows, members in names.members(np.flatnonzero(row < 0).tolist(), own, road):
            found = ground.nearest(rows, members, within_m=snap_m)
            fits = found.gap_m <= farthest_m[members]
            row[members[fits]], gap_m[members[fits]] = found.row[fits], found.gap_m[fits]
    return Near(row, gap_m)


def _along_driveways(
    roads: RoadTable, limits: RoadLimits, ground: Ground, names: _Names, best: Near, *, is_named: BoolArray
) -> _Chosen:
    """Find the place where the mapped driveway of each address meets a usable road, where it has one.

    The driveway must come nearer to the address than the road chosen so far, and where that is the road of the
    address's name it must lead to that same road: the neighbour's driveway passes near as well.
    """
    roads = on_foot(roads)
    way, usable = driveways(roads, limits), limits.usable
    out = ways_out(roads, way, usable, limit_m=DRIVEWAY_LONGEST_FT * M_PER_FT)
    to_start, to_end = out.length_m[roads.from_node], out.length_m[roads.to_node]
    rows = _rows(way & np.isfinite(np.minimum(to_start, to_end)))
    count = len(best.row)
    near = ground.nearest(rows, np.arange(count, dtype=np.int32), within_m=DRIVEWAY_NEAR_FT * M_PER_FT)
    on = np.where(near.gap_m < best.gap_m, near.row, -1).astype(np.int32)
    at = ground.fractions(on)
    back_m = at * roads.length_m[on] + to_start[on]
    ahead_m = (1.0 - at) * roads.length_m[on] + to_end[on]
    door = out.exit_node[np.where(back_m <= ahead_m, roads.from_node[on], roads.to_node[on])]
    row, fraction = np.full(count, -1, dtype=np.int32), np.full(count, np.nan)
    meeting = _roads_at(roads, usable, door[on >= 0])
    for address in np.flatnonzero(on >= 0).tolist():
        candidates = meeting[int(door[address])]
        same = [other for other in candidates if names.bears(address, other)] if is_named[address] else candidates
        if same:
            row[address] = same[0]
            fraction[address] = float(roads.from_node[same[0]] != door[address])
    hose_ft = (np.minimum(back_m, ahead_m) + near.gap_m) * FT_PER_M
    return _Chosen(row, fraction, hose_ft)


def _off_the_ring(
    roads: RoadTable, usable: BoolArray, ground: Ground, by_way: _Chosen, snap_m: float, factor: float
) -> _Chosen:
    """Set places at the mouths of driveways where tankers stand, on no roundabout, ramp or bridge: hose goes on."""
    on = _rows((by_way.row >= 0) & no_stand(roads)[by_way.row])
    mouths = ground.on_road(by_way.row[on], by_way.fraction[on])
    from_mouths = replace(ground, points=mouths)
    stands, at = from_mouths.where_tankers_stand(roads, usable, by_way.row[on], snap_m)
    row, fraction, hose_ft = by_way.row.copy(), by_way.fraction.copy(), by_way.hose_ft.copy()
    row[on], fraction[on] = stands, at
    hose_ft[on] += shapely.distance(mouths, ground.on_road(stands, at)) * FT_PER_M * factor
    return _Chosen(row, fraction, hose_ft)


def _roads_at(roads: RoadTable, usable: BoolArray, nodes: IntArray) -> Mapping[int, list[int]]:
    """List the usable stretches that meet at each of some nodes, in row order, last those where no tanker stands."""
    wanted = np.zeros(len(roads.node_id), dtype=np.bool_)
    wanted[nodes] = True
    found: defaultdict[int, list[int]] = defaultdict(list)
    rows, shunned = np.flatnonzero(usable & (wanted[roads.from_node] | wanted[roads.to_node])), no_stand(roads)
    for row in rows[np.argsort(shunned[rows], kind="stable")].tolist():
        for node in {int(roads.from_node[row]), int(roads.to_node[row])}:
            found[node].append(row)
    return found


def _rows(mask: BoolArray) -> IntArray:
    return np.flatnonzero(mask).astype(np.int32)


def _off_the_roads(addresses: AddressTable) -> FrontageTable:
    """Give the frontages of a district without a single usable road."""
    count = len(addresses)
    places = nowhere(count)
    return FrontageTable(
        segment=places.segment,
        fraction=places.fraction,
        lon=places.lon,
        lat=places.lat,
        driveway_ft=addresses.driveway_ft,
        gap_ft=places.gap_ft,
        how=text_array([""] * count),
        side=text_array([""] * count),
        dead_end=np.zeros(count, dtype=np.bool_),
        along_ft=np.zeros(count),
        near_segment=places.segment,
    )
