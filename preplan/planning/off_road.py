"""Fill sites and stations that join no road: nobody fills there, and nobody comes from there.

And the barriers and waters behind which addresses lie that no truck gets to.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict

import numpy as np
import shapely

from preplan.errors import Finding, InputError
from preplan.plan_inputs import Inputs
from preplan.plan_tables import WATER_BETWEEN, AnswerTable, Flag, FrontageTable
from preplan.records import AddressTable, BoolArray, FillSite, RoadTable, Station
from preplan.roads.barriers import barriers_of
from preplan.roads.places import Ground, Places
from preplan.roads.road_names import road_label
from preplan.roads.street_names import address_street
from preplan.roads.way_access import bears_a_tanker
from preplan.units import FT_PER_MI, M_PER_FT, MI_PER_DEG

BARRIER = "barrier"
"""Flag of an address behind one."""
FEET_BELOW_MI = 1.0
"""A distance is told in feet below so many miles."""
ASTRAY_MI = 1.0
LEAST_OF_A_STREET = 4
"""So far from its nearest neighbour an address is asked about, where its street has so many (this program's choice)."""
MOST_ASTRAY = 5
"""Addresses that a note names; the rest is counted."""
FAR_SITE_FT = 200.0
"""Farther than this from its road no tanker fills, whatever hose or suction a site has (common practice, no source)."""


def off_road_notes(inputs: Inputs, sites: Places, stations: Places) -> tuple[str, ...]:
    """Tell which fill sites and stations join no road, and what is lost with them, and which sites lie far from theirs.

    Returns
    -------
    notes
        One line for each, with file, row, distance, loss and remedy.

    Raises
    ------
    InputError
        Where one's own station with a unit in service joins none, or where no station or no fill site in use joins
        any: the plan would be of a response or of water that is not there.
    """
    units = {one.station_id: [u.unit_id for u in inputs.units if u.in_service and u.station_id == one.station_id]
             for one in inputs.stations}  # fmt: skip
    planned = inputs.district.rules.plan.months
    used = [site.in_service and bool(site.months & planned) for site in inputs.sites]
    manned = [bool(units[one.station_id]) for one in inputs.stations]
    off_sites = {i: _of_site(inputs, i, float(sites.gap_ft[i])) for i in _off(sites)}
    off_stations = {
        i: _of_station(inputs, i, float(stations.gap_ft[i]), units[inputs.stations[i].station_id])
        for i in _off(stations)
    }
    nobody = _all(manned, off_stations)
    own = [one.aid == "own" for one in inputs.stations]
    faults = [one for i, one in off_stations.items() if manned[i] and (own[i] or nobody)]
    if _all(used, off_sites):
        faults += [one for i, one in off_sites.items() if used[i]]
    if faults:
        raise InputError(faults)
    far_sites = [
        _of_far_site(inputs.sites[i], gap_ft)
        for i, gap_ft in enumerate(sites.gap_ft.tolist())
        if used[i] and i not in off_sites and gap_ft > FAR_SITE_FT
    ]
    return tuple(str(one) for one in (*off_sites.values(), *off_stations.values(), *far_sites))


def address_notes(inputs: Inputs, frontages: FrontageTable) -> tuple[str, ...]:
    """Tell how many addresses join no road, and which of them lies farthest: a digit may be wrong."""
    off = np.flatnonzero(frontages.segment < 0)
    if not off.size:
        return ()
    about, most_ft = inputs.addresses, inputs.district.rules.roads.snap_max_ft
    worst = int(off[frontages.gap_ft[off].argmax()])
    gap_ft = float(frontages.gap_ft[worst])
    far = f"{_far(gap_ft)} off" if math.isfinite(gap_ft) else "out of reach of any"
    said = f"{off.size:,} of {len(about):,} lie over {most_ft:,.0f} ft from any road for tankers: no route for them"
    worst_said = f"the farthest is {about.address_id[worst]} (row {about.row[worst]}), {far}"
    return (f"addresses: {said}; {worst_said}: is a digit of its place wrong, or does the road file end before it?",)


def astray_notes(addresses: AddressTable, frontages: FrontageTable) -> tuple[str, ...]:
    """Tell which addresses lie far from all others of their street, and on no road of its name: a place may be wrong.

    Two clusters of one street are two streets of one name, which a county has.
    """
    rows_of = defaultdict[str, list[int]](list)
    for row, pair in enumerate(zip(addresses.street.tolist(), addresses.number.tolist(), strict=True)):
        rows_of[address_street(*pair)].append(row)
    narrow = np.cos(np.radians(addresses.lat.mean())) if len(addresses) else 1.0
    points = np.asarray(shapely.points(np.column_stack([addresses.lon * narrow, addresses.lat]) * MI_PER_DEG))
    places = list(zip(addresses.lon.tolist(), addresses.lat.tolist(), strict=True))
    there = Counter(places)
    alone = [there[place] == 1 for place in places]
    found: list[tuple[float, int]] = []
    for street, rows in rows_of.items():
        elsewhere = [row for row in rows if alone[row] and frontages.how[row] != "named"]
        if street and elsewhere and len(rows) >= LEAST_OF_A_STREET:
            (at, _), miles = shapely.STRtree(points[rows]).query_nearest(
                points[elsewhere], exclusive=True, all_matches=False, return_distance=True
            )
            far = miles > ASTRAY_MI
            found += zip(miles[far].tolist(), np.array(elsewhere)[at[far]].tolist(), strict=True)
    if not found:
        return ()
    told = [
        f"{addresses.address_id[row]} (row {addresses.row[row]}, {addresses.label[row]!r}) {far:,.1f} mi"
        for far, row in sorted(found, reverse=True)[:MOST_ASTRAY]
    ]
    more = f" and {len(found) - MOST_ASTRAY:,} more" * (len(found) > MOST_ASTRAY)
    said = "far from all others of their street, and on no road of its name"
    return (f"addresses: {said}: {', '.join(told)}{more}: is their place wrong, or the name of the street?",)


def _far(gap_ft: float) -> str:
    """Write a distance in feet, from a mile on in miles."""
    miles = gap_ft / FT_PER_MI
    return f"{gap_ft:,.0f} ft" if miles < FEET_BELOW_MI else f"{miles:,.1f} mi"


def _off(places: Places) -> list[int]:
    return [i for i, segment in enumerate(places.segment.tolist()) if segment < 0]


def _all(counts: list[bool], off: dict[int, Finding]) -> bool:
    """Tell whether none of those that count is on the roads."""
    return all(i in off for i, one in enumerate(counts) if one)


def _of_site(inputs: Inputs, i: int, gap_ft: float) -> Finding:
    site = inputs.sites[i]
    return _finding(inputs, site, site.site_id, gap_ft, "no tanker fills there")


def _of_far_site(site: FillSite, gap_ft: float) -> Finding:
    return Finding(
        file=site.file or "fill_sites",
        row=site.row,
        id=site.site_id,
        column="lon, lat",
        value=f"{site.lon:.10g}, {site.lat:.10g}",
        rule=f"lies {_far(gap_ft)} from where tankers are taken to fill, in the nearest road for them but a bridge",
        remedy="is a digit wrong, or is the lane to it missing in the road file, or private or soft there?",
    )


def _of_station(inputs: Inputs, i: int, gap_ft: float, units: list[str]) -> Finding:
    station = inputs.stations[i]
    if not units:
        return _finding(inputs, station, station.station_id, gap_ft, "no unit of it is in service")
    lost, else_ = f"{', '.join(units)} would come to no fire", " If it is meant so, write in_service no for its units"
    return _finding(inputs, station, station.station_id, gap_ft, lost, else_)


def _finding(
    inputs: Inputs, place: FillSite | Station, name: str, gap_ft: float, lost: str, else_: str = ""
) -> Finding:
    """Say where one lies, how far from the roads, what is lost, and what to do."""
    most_ft = inputs.district.rules.roads.snap_max_ft
    where = (
        f"lies {_far(gap_ft)} from the nearest road for tankers"
        if math.isfinite(gap_ft)
        else "finds no road for tankers"
    )
    return Finding(
        file=place.file or ("fill_sites" if isinstance(place, FillSite) else "stations"),
        row=place.row,
        id=name,
        column="lon, lat",
        value=f"{place.lon:.10g}, {place.lat:.10g}",
        rule=f"{where} ({most_ft:,.0f} ft at most): {lost}",
        remedy="is a digit wrong, does the road file end before it, or is snap_max_ft of [roads] too small?" + else_,
    )


def with_water_between(answers: AnswerTable, over_water: BoolArray) -> AnswerTable:
    """Flag the addresses, a mask (addresses,), between which and the road lies water that hose must cross."""
    asked = np.flatnonzero(over_water & (answers.level >= 0)).tolist()
    return answers.flagged((a, Flag(WATER_BETWEEN)) for a in asked)


def with_barriers(answers: AnswerTable, inputs: Inputs, roads: RoadTable, place: FrontageTable) -> AnswerTable:
    """Flag the barrier that houses lie behind: no tanker gets to them, or dumps on another road than their nearest.

    Of several barriers the one nearest to the address.
    """
    about = inputs.addresses
    drivable = np.array([bears_a_tanker(tags) for tags in roads.way_tags], dtype=np.bool_)[roads.tag_row]
    behind = barriers_of(roads, drivable)
    asked = (place.segment < 0) | (answers.status == "no route") | (place.how == "nearest")
    rows = np.flatnonzero(asked).astype(np.int32)
    if not behind or not len(rows):
        return answers
    within_m = inputs.district.rules.roads.snap_max_ft * M_PER_FT
    ground, every = Ground.of(roads, about.lon[rows], about.lat[rows]), np.arange(len(rows), dtype=np.int32)
    near = ground.nearest(np.flatnonzero(drivable).astype(np.int32), every, within_m=within_m)
    found = []
    for a, stretch in zip(rows.tolist(), near.row.tolist(), strict=True):
        if stretch in behind:
            east = math.cos(math.radians(about.lat[a]))
            node, on = min(
                behind[stretch],
                key=lambda one: math.hypot(
                    (roads.node_lon[one[0]] - about.lon[a]) * east, roads.node_lat[one[0]] - about.lat[a]
                ),
            )
            found.append((a, Flag(BARRIER, _barrier_words(roads, node, on), stretches=(on,), limit=BARRIER)))
    return answers.flagged(found)


def _barrier_words(roads: RoadTable, node: int, stretch: int) -> str:
    """Say what parts a road, where, and what a crew needs."""
    tags = roads.node_tags[node]
    what = tags.get("barrier", "ford").replace("_", " ")
    at = f"{what} on {road_label(roads, stretch)} at {roads.node_lat[node]:.5f}, {roads.node_lon[node]:.5f}"
    return f"locked {at}: key or cutters" if tags.get("locked") == "yes" else f"{at}: no truck passes"
