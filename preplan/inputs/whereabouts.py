"""Places of one table held against those of the others: what a table alone cannot tell."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from preplan.errors import Finding
from preplan.inputs.degrees import FAR_DEG, NEAR_DEG
from preplan.inputs.sheet import Sheet
from preplan.records import AddressTable, BridgeTable, FillSite, FloatArray, HydrantTable, Station
from preplan.units import FT_PER_MI, MI_PER_DEG

FAR_MI = 150.0
"""No fill site or station that serves a district lies so far from its middle (common sense, no source)."""
BEYOND_MI: Mapping[str, float] = {"hydrants": 5.0, "bridges": 50.0}
"""None that counts lies so far beyond all addresses (common sense, no source)."""
FT_PER_DEG = FT_PER_MI * MI_PER_DEG
ONE_POINT_ROWS = 20
"""From so many addresses on they do not all lie on one point (common sense, no source)."""
SHARED_ROWS = 5
"""From so many addresses of different streets on one point the point is asked about (this program's choice)."""
COARSE = ((4, 2), (10, 3))
"""Tables of so many rows, of which no place has more decimals, are asked about: the second decimal is some 3,600 ft,
the third 360 ft (this program's choice). A spreadsheet writes into a CSV file what it shows, and may show two."""
_AXES = ("lon", "lat")
_SIGNED = {"lon": "minus sign of western longitudes", "lat": "sign of its latitudes"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Everything of a district that has a place; `sheets` are the tables by role."""

    sheets: Mapping[str, Sheet]
    addresses: AddressTable
    hydrants: HydrantTable
    bridges: BridgeTable
    sites: Sequence[FillSite]
    stations: Sequence[Station]
    boundary: FloatArray | None = None
    """(n, 2) lon, lat of the district's boundary."""
    boundary_file: str = ""


def check_places(places: Places) -> tuple[list[Finding], list[str]]:
    """Find tables and places that lie elsewhere than the others; findings, and notes where nothing is certain."""
    if not len(places.addresses):
        return [], []
    turned = _turned(places)
    if turned:  # whatever else is far from something follows from that
        return turned, []
    findings, notes = _outside(places)
    whole = _one_point(places)
    findings, notes = findings + whole, notes + _beyond(places)
    notes += [] if whole else [*_shared_points(places), *_coarse(places)]
    both: Mapping[str, Sequence[FillSite] | Sequence[Station]]
    both = {"fill_sites": places.sites, "stations": places.stations}
    far = {role: _far_off(places.sheets[role], rows, places.addresses) for role, rows in both.items()}
    every = [role for role, rows in both.items() if rows and len(far[role]) == len(rows)]
    if len(every) == len(both):
        return [*findings, _elsewhere(places)], notes
    for role, found in far.items():  # where all of one table are, the addresses may be wrong, and it is only noted
        findings, notes = (findings, notes + list(map(str, found))) if role in every else (findings + found, notes)
    return findings, notes


def _elsewhere(places: Places) -> Finding:
    """Say that the addresses lie far from all fill sites and stations."""
    lon, lat = _middle(places.addresses.lon, places.addresses.lat)
    others = " and ".join(places.sheets[role].file for role in ("fill_sites", "stations"))
    remedy = "is a map layer's coordinate system the right one, or are its feet taken for metres?"
    rule = f"in the middle of the table: lies over {FAR_MI:,.0f} mi from every place of {others}"
    file = places.sheets["addresses"].file
    return Finding(file=file, column="lon, lat", value=f"{lon:.6g}, {lat:.6g}", rule=rule, remedy=remedy)


def _middle(lon: Sequence[float] | FloatArray, lat: Sequence[float] | FloatArray) -> tuple[float, float]:
    return float(np.median(lon)), float(np.median(lat))


def _turned(places: Places) -> list[Finding]:
    """Find the table, addresses or one of the others, in which every longitude or latitude has the wrong sign."""
    about = _middle(places.addresses.lon, places.addresses.lat)
    others = {
        role: _middle([one.lon for one in rows], [one.lat for one in rows])
        for role, rows in (("fill_sites", places.sites), ("stations", places.stations))
        if rows
    }
    if len(places.bridges):
        others["bridges"] = _middle(places.bridges.lon, places.bridges.lat)
    findings = []
    for i, axis in enumerate(_AXES):
        mirrored = [role for role, middle in others.items() if _is_mirrored(about, middle, i)]
        if not mirrored:
            continue
        # where all others are on the other side, it is the addresses that are turned
        wrong = ["addresses"] if len(mirrored) == len(others) else mirrored
        right = [role for role in ("addresses", *others) if role not in wrong]
        for role in wrong:
            middle = about if role == "addresses" else others[role]
            named = " and ".join(places.sheets[one].file for one in right)
            lacks = "lacks the" if middle[i] > 0.0 else "has the wrong"
            findings.append(
                Finding(
                    file=places.sheets[role].file,
                    column=axis,
                    value=f"{middle[i]:.6g}",
                    rule=f"in the middle of the table: {lacks} {_SIGNED[axis]}, by {named}",
                    remedy=f"write {-middle[i]:.6g}, and the others likewise, unless it is those that are turned",
                )
            )
    return findings


def _is_mirrored(one: tuple[float, float], other: tuple[float, float], axis: int) -> bool:
    """Tell whether two middles are far apart, but near where one axis of one of them has the other sign."""
    far = abs(one[axis] - other[axis]) > FAR_DEG
    return far and abs(one[axis] + other[axis]) < NEAR_DEG and abs(one[1 - axis] - other[1 - axis]) < NEAR_DEG


def _far_off(sheet: Sheet, places: Sequence[FillSite] | Sequence[Station], addresses: AddressTable) -> list[Finding]:
    """Find sites or stations so far from the middle of the addresses that a number of theirs must be wrong."""
    found = []
    middle_lon, middle_lat = _middle(addresses.lon, addresses.lat)
    for place in places:
        name = place.site_id if isinstance(place, FillSite) else place.station_id
        east = (place.lon - middle_lon) * math.cos(math.radians(middle_lat))
        miles = math.hypot(east, place.lat - middle_lat) * MI_PER_DEG
        if miles > FAR_MI:
            rule = f"lies about {miles:,.0f} mi from the middle of the addresses: is a sign or a digit wrong?"
            both = f"{place.lon:.6g}, {place.lat:.6g}"
            column = sheet.header("lon, lat")
            found.append(Finding(file=sheet.file, row=place.row, id=name, column=column, value=both, rule=rule))
    return found


def _one_point(places: Places) -> list[Finding]:
    """Refuse a whole table of addresses on one point."""
    lon, lat = places.addresses.lon, places.addresses.lat
    if len(lon) < ONE_POINT_ROWS or np.ptp(lon) > 0.0 or np.ptp(lat) > 0.0:
        return []
    rule = f"is the place of all {len(lon):,} addresses"
    remedy = (
        "give each address its own lon, lat: a search for addresses gives the middle of the town where it knows none"
    )
    both = f"{lon[0]:.8g}, {lat[0]:.8g}"
    return [Finding(file=places.sheets["addresses"].file, column="lon, lat", value=both, rule=rule, remedy=remedy)]


def _shared_points(places: Places) -> list[str]:
    """Note the points on which addresses of several streets lie: a search gives the middle of a town for many."""
    addresses, file = places.addresses, places.sheets["addresses"].file
    rows: dict[tuple[float, float], list[int]] = {}
    for at, where in enumerate(zip(addresses.lon.tolist(), addresses.lat.tolist(), strict=True)):
        rows.setdefault(where, []).append(at)
    notes = []
    for (lon, lat), mine in rows.items():
        streets = {str(addresses.street[at]).casefold() for at in mine}
        if len(mine) >= SHARED_ROWS and len(streets) > 1:
            first = addresses.label[mine[0]]
            rule = f"is the place of {len(mine):,} addresses of {len(streets):,} streets, {first!r} among them"
            remedy = "is it the middle of a town? Give each its own place; they are planned from this one"
            notes.append(
                str(Finding(file=file, column="lon, lat", value=f"{lon:.8g}, {lat:.8g}", rule=rule, remedy=remedy))
            )
    return notes


def _coarse(places: Places) -> list[str]:
    """Note tables of which every place has few decimals."""
    many = (
        ("addresses", places.addresses.lon, places.addresses.lat),
        ("hydrants", places.hydrants.lon, places.hydrants.lat),
    )
    some = (("fill_sites", places.sites), ("stations", places.stations))
    every = [*many, *((role, *np.array([(one.lon, one.lat) for one in rows]).reshape(-1, 2).T) for role, rows in some)]
    notes = []
    for role, lon, lat in every:
        few = (
            most for rows, most in COARSE if len(lon) >= rows and _has_decimals(most, lon) and _has_decimals(most, lat)
        )
        if most := next(few, 0):
            rule = f"no place here has more than {most} decimals of a degree, some {FT_PER_DEG / 10**most:,.0f} ft"
            remedy = "were they rounded? Give five decimals or more"
            notes.append(str(Finding(file=places.sheets[role].file, column="lon, lat", rule=rule, remedy=remedy)))
    return notes


def _has_decimals(most: int, degrees: FloatArray) -> bool:
    """Tell whether no number has more decimals than `most`."""
    return np.array_equal(np.round(degrees, most), degrees)


def _outside(places: Places) -> tuple[list[Finding], list[str]]:
    """Refuse a boundary that holds no address but would with its numbers exchanged or signed; note any other."""
    if places.boundary is None:
        return [], []
    lon, lat = places.addresses.lon, places.addresses.lat
    outline = shapely.Polygon(places.boundary)
    inside = shapely.contains_xy(outline, lon, lat)
    if inside.any():
        beyond = int(np.count_nonzero(~inside))
        rule = f"{beyond:,} of the {len(lon):,} addresses lie outside it and are planned all the same"
        return [], [str(Finding(file=places.boundary_file, rule=rule))] * bool(beyond)
    west, south, east, north = (f"{edge:.5g}" for edge in outline.bounds)
    rule = (
        f"holds none of the {len(lon):,} addresses: it reaches from lon {west}, lat {south} to lon {east}, lat {north}"
    )
    remedy = ""
    if shapely.contains_xy(outline, lat, lon).any():
        remedy = "latitude and longitude are exchanged: GeoJSON writes longitude first"
    elif shapely.contains_xy(outline, -lon, lat).any():
        remedy = (
            f"it holds those of {places.sheets['addresses'].file} with the other sign of lon: western ones have a minus"
        )
    if remedy:
        return [Finding(file=places.boundary_file, rule=rule, remedy=remedy)], []
    remedy = "is it the boundary of this district?"
    return [], [str(Finding(file=places.boundary_file, rule=rule, remedy=remedy))]


def _beyond(places: Places) -> list[str]:
    """Note hydrants or bridges that all lie beyond the addresses: none of them would ever count."""
    lon, lat = places.addresses.lon, places.addresses.lat
    notes = []
    for role, table in (("hydrants", places.hydrants), ("bridges", places.bridges)):
        margin = BEYOND_MI[role] / MI_PER_DEG
        wide = margin / max(math.cos(math.radians(float(np.median(lat)))), 0.1)
        near = (np.abs(table.lon - (lon.max() + lon.min()) / 2.0) <= np.ptp(lon) / 2.0 + wide) & (
            np.abs(table.lat - (lat.max() + lat.min()) / 2.0) <= np.ptp(lat) / 2.0 + margin
        )
        if len(table) and not near.any():
            rule = (
                f"none of the {len(table):,} {role} lies within {BEYOND_MI[role]:g} mi of any address, so none counts"
            )
            file, remedy = places.sheets[role].file, "is a sign or a digit wrong?"
            notes.append(str(Finding(file=file, column="lon, lat", rule=rule, remedy=remedy)))
    return notes
