"""The building at each address and what it needs: the table, a footprint of the road file, or a default."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from preplan.plan_tables import NeedTable
from preplan.planning.occupancies import Occupancy, occupancy_of
from preplan.records import AddressTable, BoolArray, FeatureTable, FloatArray, IntArray, TextArray, text_array
from preplan.roads.projection import projection_of
from preplan.rules import RequiredFlowRules
from preplan.units import FT_PER_M
from preplan.water.required_flow import (
    CONSTRUCTION_TYPES,
    Buildings,
    Requirement,
    given,
    least,
    required_flow,
)

STORY_FT = 10.0
"""Height of a storey where only their number is known, or the height alone (common practice, no source)."""
NEIGHBOUR_FT = 100.0
"""How far neighbours are looked for: the widest step of the ISO table for dwellings."""
LEAST_FOOTPRINT_SQFT = 100.0
"""A smaller footprint is not taken for an address's building (the size that NFPA 1142 counts as a structure)."""
SEVERE_HAZARD = 4.0
"""At this hazard number or a lower one a neighbour of any size is an exposure (NFPA 1142 4.1.5)."""
_LEAST_RING = 4  # points of a closed ring that encloses something


@dataclass(frozen=True, slots=True, kw_only=True)
class _Footprints:
    """The footprint of each address, (addresses,); NaN and no exposure where it has none."""

    length_ft: FloatArray
    width_ft: FloatArray
    neighbour_ft: FloatArray
    """To the nearest other footprint large enough to count; inf: none within `NEIGHBOUR_FT`; NaN: no footprint."""
    neighbour_any_ft: FloatArray
    """The same, of any size."""


_KNOWN_SIZES = ("table", "footprint")
"""Sources of a building's size that say that there is one."""


def needs_of(addresses: AddressTable, features: FeatureTable, rules: RequiredFlowRules) -> NeedTable:
    """Find each address's building and work out what it needs.

    The size comes from the table, else from the largest footprint within reach that is nearer to no other
    address, else from the occupancy's default. A requirement in the table wins over all. A place that is said to be
    no building, and where none is mapped, keeps the method's least requirement, so that it is not lost.

    Parameters
    ----------
    addresses
        n addresses; missing numbers are NaN.
    features
        Footprints of the road file.
    rules
        Method, duration, reach of footprints and exposures.

    Returns
    -------
    NeedTable
        n rows. `basis` is `method:size source`; sprinklers do not change the need.
    """
    n = len(addresses)
    kinds = _kinds(addresses.occupancy)
    prints = _footprints_of(addresses, features, rules)
    buildings, source = _buildings(addresses, kinds, prints, rules)
    by_method = required_flow(buildings, rules)
    sized = np.isin(source.astype(str), _KNOWN_SIZES)
    vacant = np.array([bool(kind.no_building) for kind in kinds], dtype=np.bool_) & ~sized
    by_table = given(addresses.required_gpm, addresses.required_gal, rules)
    stated = np.isfinite(addresses.required_gpm) | np.isfinite(addresses.required_gal)
    need = _choose(stated, by_table, _choose(vacant, least(n, rules), by_method))
    basis = text_array([f"{rules.method}:{word}" for word in source])
    if rules.method == "given":
        basis[:] = "given:district default"
    basis[vacant] = f"{rules.method}:not a building"
    basis[stated] = _given_basis(addresses, by_table)[stated]
    return NeedTable(
        required_gpm=need.required_gpm,
        required_gal=need.required_gal,
        required_min=need.required_min,
        basis=basis,
        assumed=~sized & ~vacant & ~stated & (rules.method != "given"),
    )


def _choose(first: BoolArray, one: Requirement, other: Requirement) -> Requirement:
    """Take row by row the one where `first`, else the other."""
    return Requirement(
        required_gpm=np.where(first, one.required_gpm, other.required_gpm),
        required_gal=np.where(first, one.required_gal, other.required_gal),
        required_min=np.where(first, one.required_min, other.required_min),
        rule=np.where(first, one.rule, other.rule),
    )


def _given_basis(addresses: AddressTable, by_table: Requirement) -> TextArray:
    """Say which of the two numbers the table gives and how the other follows."""
    words = []
    rows = zip(addresses.required_gpm, addresses.required_gal, by_table.required_min, strict=True)
    for gpm, gal, minutes in rows:
        if np.isfinite(gpm) and np.isfinite(gal):
            words.append("given:table")
        elif np.isfinite(gpm):
            words.append(f"given:table, gal = gpm x {minutes:g} min")
        else:
            words.append("given:table, gpm by nfpa1142 steps of gal")
    return text_array(words)


def _kinds(occupancy: TextArray) -> list[Occupancy]:
    """Look each distinct occupancy up once."""
    found = {text: occupancy_of(text) for text in set(occupancy.tolist())}
    return [found[text] for text in occupancy.tolist()]


def _buildings(
    addresses: AddressTable, kinds: list[Occupancy], prints: _Footprints, rules: RequiredFlowRules
) -> tuple[Buildings, TextArray]:
    """Complete each building, and name where its size comes from: table, footprint or default of a kind."""
    length, width = _table_size(addresses)
    in_table = np.isfinite(length) & np.isfinite(width)
    has_print = np.isfinite(prints.length_ft)
    default = np.array([(k.length_ft, k.width_ft, k.hazard) for k in kinds]).reshape(-1, 3)
    choice = [in_table, has_print]
    height, stories = _heights(addresses, kinds)
    source = text_array([f"default {kind.name}" for kind in kinds])
    source[has_print] = "footprint"
    source[in_table] = "table"
    hazard = _or_default(addresses.occupancy_hazard, default[:, 2])
    exposure, neighbour_ft = _exposure(addresses, hazard, prints, rules)
    # a side that stands alone in the table is no size, but the building has it at least
    buildings = Buildings(
        length_ft=np.fmax(np.select(choice, [length, prints.length_ft], default[:, 0]), addresses.length_ft),
        width_ft=np.fmax(np.select(choice, [width, prints.width_ft], default[:, 1]), addresses.width_ft),
        height_ft=height,
        stories=stories,
        hazard=hazard,
        construction=_construction(addresses.construction, kinds),
        dwelling=np.array([kind.dwelling for kind in kinds], dtype=np.bool_),
        exposure=exposure,
        neighbour_ft=neighbour_ft,
    )
    return buildings, source


def _heights(addresses: AddressTable, kinds: list[Occupancy]) -> tuple[FloatArray, FloatArray]:
    """Give height in feet and storeys of each building, each from the other where that alone is known."""
    default_ft = np.array([kind.height_ft for kind in kinds])
    by_stories_ft = np.maximum(addresses.stories, 1.0) * STORY_FT
    height_ft = _or_default(addresses.height_ft, _or_default(by_stories_ft, default_ft))
    # a place without a building but with a size in the table has no default height of its own
    height_ft = np.where(height_ft <= 0, 2 * STORY_FT, height_ft)
    # a floor area whose storeys nobody knows is taken for one floor
    both = np.isfinite(addresses.length_ft) & np.isfinite(addresses.width_ft)
    one_floor = np.array([kind.one_space for kind in kinds], dtype=np.bool_)
    one_floor |= np.isfinite(addresses.floor_area_sqft) & ~both
    floors = np.where(one_floor, 1.0, np.maximum(np.floor(height_ft / STORY_FT), 1.0))
    return height_ft, _or_default(addresses.stories, floors)


def _or_default(values: FloatArray, default: FloatArray) -> FloatArray:
    """Let a default stand where a value is missing."""
    return np.where(np.isfinite(values), values, default)


def _table_size(addresses: AddressTable) -> tuple[FloatArray, FloatArray]:
    """Take length and width as given, else from the floor area (of all storeys, where they are known).

    With one side the area gives the other; alone it is taken for a square.
    """
    stories = np.where(np.isfinite(addresses.stories), np.maximum(addresses.stories, 1.0), 1.0)
    ground_sqft = addresses.floor_area_sqft / stories
    square_ft = np.sqrt(ground_sqft)
    length_ft = _or_default(addresses.length_ft, _or_default(ground_sqft / addresses.width_ft, square_ft))
    width_ft = _or_default(addresses.width_ft, _or_default(ground_sqft / addresses.length_ft, square_ft))
    return length_ft, width_ft


def _construction(given_types: TextArray, kinds: list[Occupancy]) -> npt.NDArray[np.int8]:
    """Turn types of construction into indices, the kind's own where none is given."""
    index = {word: at for at, word in enumerate(CONSTRUCTION_TYPES)}
    chosen = [word or kind.construction for word, kind in zip(given_types.tolist(), kinds, strict=True)]
    return np.array([index[word] for word in chosen], dtype=np.int8)


def _exposure(
    addresses: AddressTable, hazard: FloatArray, prints: _Footprints, rules: RequiredFlowRules
) -> tuple[BoolArray, FloatArray]:
    """Tell exposures: the table's word, else a neighbour's footprint; with the neighbour's distance."""
    nearest = np.where(hazard <= SEVERE_HAZARD, prints.neighbour_any_ft, prints.neighbour_ft)
    seen = nearest <= rules.exposure_ft
    told = np.isfinite(addresses.exposure)
    exposed = np.where(told, addresses.exposure > 0, seen)
    # the table's word against the footprints' distance: then the distance is not known
    contradicted = told & np.isfinite(nearest) & (exposed != seen)
    unseen = told & exposed & ~np.isfinite(nearest)
    return exposed.astype(np.bool_), np.where(contradicted | unseen, np.nan, nearest)


def _footprints_of(addresses: AddressTable, features: FeatureTable, rules: RequiredFlowRules) -> _Footprints:
    """Give each address its footprint: the largest in reach that is nearer to no other address."""
    none = np.full(len(addresses), np.nan)
    known = np.isfinite(addresses.lon) & np.isfinite(addresses.lat)
    shapes = _shapes_ft(addresses.lon[known], addresses.lat[known], features.building_rings)
    if shapes is None:
        return _Footprints(length_ft=none, width_ft=none, neighbour_ft=none, neighbour_any_ft=none)
    points, polygons = shapes
    own = np.full(len(addresses), -1, dtype=np.int32)
    own[known] = _largest_own(points, polygons, rules.footprint_ft)
    has = own >= 0
    length, width = none.copy(), none.copy()
    length[has], width[has] = _sides_ft(polygons[own[has]])
    counted, any_size = none.copy(), none.copy()
    counted[has], any_size[has] = _neighbours_ft(polygons, own[has], rules)
    return _Footprints(length_ft=length, width_ft=width, neighbour_ft=counted, neighbour_any_ft=any_size)


def _shapes_ft(
    lon: FloatArray, lat: FloatArray, rings: tuple[FloatArray, ...]
) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.object_]] | None:
    """Draw addresses and footprints in feet on a local projection; None where either is missing."""
    whole = [ring for ring in rings if len(ring) >= _LEAST_RING]
    if not whole or not lon.size:
        return None
    projection = projection_of(lon, lat)
    corners = np.concatenate(whole)
    owner = np.repeat(np.arange(len(whole)), [len(ring) for ring in whole])
    outline_ft = np.column_stack(projection.forward(corners[:, 0], corners[:, 1])) * FT_PER_M
    polygons = np.asarray(shapely.polygons(shapely.linearrings(outline_ft, indices=owner)), dtype=np.object_)
    crossed = ~shapely.is_valid(polygons)
    polygons[crossed] = shapely.convex_hull(polygons[crossed])
    points = shapely.points(np.column_stack(projection.forward(lon, lat)) * FT_PER_M)
    return np.asarray(points, dtype=np.object_), polygons


def _largest_own(points: npt.NDArray[np.object_], polygons: npt.NDArray[np.object_], reach_ft: float) -> IntArray:
    """Give each point the index of the largest footprint to which no other point is nearer, -1: none."""
    large = np.flatnonzero(shapely.area(polygons) >= LEAST_FOOTPRINT_SQFT)
    own = np.full(len(points), -1, dtype=np.int32)
    if not large.size:
        return own
    at, point = shapely.STRtree(points).query_nearest(polygons[large], max_distance=reach_ft, all_matches=True)
    footprint = large[at]
    # the largest comes last and stays; equal sizes by their order in the file
    order = np.lexsort((-footprint, shapely.area(polygons[footprint])))
    own[point[order]] = footprint[order]
    return own


def _sides_ft(polygons: npt.NDArray[np.object_]) -> tuple[FloatArray, FloatArray]:
    """Give the longer and the shorter side of the smallest rectangle round each footprint."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(polygons)).reshape(-1, 5, 2)
    one = np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1)
    other = np.linalg.norm(corners[:, 2] - corners[:, 1], axis=1)
    return np.maximum(one, other), np.minimum(one, other)


def _neighbours_ft(
    polygons: npt.NDArray[np.object_], own: IntArray, rules: RequiredFlowRules
) -> tuple[FloatArray, FloatArray]:
    """Give the distance from each own footprint to the nearest other one that counts, and of any size."""
    reach_ft = max(NEIGHBOUR_FT, rules.exposure_ft)
    mine, other = shapely.STRtree(polygons).query(polygons[own], predicate="dwithin", distance=reach_ft)
    apart = other != own[mine]
    mine, other = mine[apart], other[apart]
    distance = shapely.distance(polygons[own[mine]], polygons[other])
    nearest_any = np.full(len(own), np.inf)
    np.minimum.at(nearest_any, mine, distance)
    counts = shapely.area(polygons[other]) >= rules.exposure_sqft
    nearest = np.full(len(own), np.inf)
    np.minimum.at(nearest, mine[counts], distance[counts])
    return nearest, nearest_any
