"""Which columns each table has, by which other headers they are known, and how headers are matched."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field

from preplan.errors import Finding, InputError
from preplan.inputs.tables import TextTable

PLACE_ALIASES: Mapping[str, tuple[str, ...]] = {
    "lon": ("longitude", "long", "lng", "x", "point_x", "gpsx"),
    "lat": ("latitude", "y", "point_y", "gpsy"),
    "geometry": ("wkt", "geom", "the_geom"),
}
STREET_PARTS = (
    "st_premod", "st_predir", "st_pretyp", "st_presep", "st_name", "st_postyp", "st_posdir", "st_posmod",
)  # fmt: skip
"""Parts of a street name in the order they are spoken, as the open address standards name them."""
NUMBER_PARTS = ("addnum_pre", "number", "addnum_suf")


@dataclass(frozen=True, slots=True, kw_only=True)
class TableSpec:
    """Columns of one table."""

    required: tuple[str, ...]
    """The first is the row's id."""
    optional: tuple[str, ...]
    aliases: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Other headers, most telling first, in the form `plain` gives."""
    instead: Mapping[str, tuple[tuple[str, ...], ...]] = field(default_factory=dict)
    """Columns that may stand in for a required one: any of the groups, all of its names."""

    @property
    def names(self) -> tuple[str, ...]:
        """All columns."""
        return self.required + self.optional


_GEOMETRY_FOR_PLACE = {"lon": (("geometry",),), "lat": (("geometry",),)}

ADDRESSES = TableSpec(
    required=("address_id", "label", "lon", "lat"),
    optional=(
        "geometry", "street", "occupancy", "length_ft", "width_ft", "height_ft", "floor_area_sqft", "stories",
        "occupancy_hazard", "construction", "exposure", "sprinklered", "required_gpm", "required_gal",
        "driveway_ft", *NUMBER_PARTS, *STREET_PARTS,
    ),
    aliases={
        **PLACE_ALIASES,
        # NENA v1 to v3, National Address Database, OpenAddresses, then names that counties use
        "address_id": (
            "nguid", "site_nguid", "uuid", "guid", "hash", "siteaddid", "addressid", "addrid", "esiteid",
            "esite_id", "id", "objectid", "oid",
        ),
        "label": (
            "full_address", "fulladdress", "fulladdr", "address_full", "addr_full", "siteaddr", "site_address",
            "siteaddress", "siteadd", "propaddress", "primaryaddress", "address",
        ),
        # the whole number with prefix and suffix only where the bare one is missing, since the parts are joined
        "number": (
            "add_number", "addno_full", "addnum_cmp", "house_number", "housenumber", "addr_housenumber", "addrnum",
            "addnum", "housenum", "house_num", "house_no", "street_num", "address_number", "addr_num", "stnum",
            "st_num", "st_number",
        ),
        "street": (
            "stnam_full", "addr_street", "street_full", "full_street", "fullname", "full_name", "primaryname",
            "roadname", "road_name", "lst_full",
        ),
        "st_premod": ("stn_premod",),
        "st_predir": ("stn_predir", "predir", "pre_dir"),
        "st_pretyp": ("stn_pretyp", "pretype"),
        "st_presep": ("stn_presep",),
        "st_name": ("streetname", "street_name", "street_nam", "stname"),
        "st_postyp": ("stn_postyp", "st_type", "street_type", "streettype"),
        "st_posdir": ("stn_posdir", "postdir", "sufdir"),
        "st_posmod": ("stn_posmod",),
        "occupancy": ("site_type", "sitetype", "place_type", "occupancy_type"),
        "floor_area_sqft": ("floor_area", "sqft", "living_area_sqft"),
        "sprinklered": ("sprinkler", "sprinklers"),
    },
    instead={**_GEOMETRY_FOR_PLACE, "label": (("number", "street"), ("number", "st_name"))},
)  # fmt: skip
FILL_SITES = TableSpec(
    required=("site_id", "name", "kind", "lon", "lat"),
    optional=(
        "geometry", "fill_gpm", "site_gpm", "tested", "positions", "source_id", "storage_gal", "refill_gpm",
        "low_gpm", "turnaround", "lift_ft", "needs_engine", "months", "in_service", "connection", "notes",
    ),
    aliases={
        **PLACE_ALIASES,
        "site_id": ("fill_site_id", "id"),
        "name": ("site_name", "fill_site"),
        "kind": ("type", "site_type"),
        "fill_gpm": ("gpm", "flow_gpm", "rate_gpm"),
        "tested": ("test_date", "date_tested"),
        "notes": ("note", "remarks", "comments"),
    },
    instead=_GEOMETRY_FOR_PLACE,
)  # fmt: skip
STATIONS = TableSpec(
    required=("station_id", "name", "lon", "lat"),
    optional=("geometry", "turnout_min", "staffed", "aid", "max_engines", "max_tankers"),
    aliases={**PLACE_ALIASES, "station_id": ("id", "station"), "name": ("station_name",)},
    instead=_GEOMETRY_FOR_PLACE,
)
APPARATUS = TableSpec(
    required=("unit_id", "station_id", "kind"),
    optional=(
        "tank_gal", "pump_gpm", "dump_gpm", "intake_gpm", "self_fill_gpm", "loaded_lb", "empty_lb", "axle_lb",
        "height_ft", "width_ft", "max_mph", "portable_tank_gal", "usable_fraction", "supply_hose_ft",
        "supply_hose_in", "in_service",
    ),
    aliases={
        "unit_id": ("unit", "id", "apparatus_id"),
        "station_id": ("station",),
        "kind": ("type", "unit_type"),
        "tank_gal": ("tank", "tank_size", "gallons", "capacity_gal"),
        "pump_gpm": ("pump",),
        "loaded_lb": ("gross_lb", "gvw_lb", "gvwr_lb"),
        "portable_tank_gal": ("portable_tank", "drop_tank_gal"),
    },
)  # fmt: skip
HYDRANTS = TableSpec(
    required=("hydrant_id", "lon", "lat"),
    optional=("geometry", "flow_gpm", "class"),
    aliases={
        **PLACE_ALIASES,
        "hydrant_id": ("id", "facilityid", "objectid"),
        "flow_gpm": ("gpm", "flow", "fire_flow_gpm"),
        "class": ("flow_class", "hydrant_class"),
    },
    instead=_GEOMETRY_FOR_PLACE,
)
CLOSURES = TableSpec(
    required=("closure_id", "kind"),
    optional=("way_id", "lon", "lat", "geometry", "value", "months", "note"),
    aliases={
        **PLACE_ALIASES,
        "closure_id": ("id",),
        "kind": ("type",),
        "way_id": ("osm_way_id", "osm_id"),
        "note": ("notes",),
    },
)
SPECS: Mapping[str, TableSpec] = {
    "addresses": ADDRESSES,
    "fill_sites": FILL_SITES,
    "stations": STATIONS,
    "apparatus": APPARATUS,
    "hydrants": HYDRANTS,
    "closures": CLOSURES,
}
"""Columns of each table by its key in the district file."""
LOOKS_LIKE = 0.8
"""Likeness (0 to 1) above which an unread header is taken for a slip of the pen and noted."""


def plain(header: str) -> str:
    """Bring a header to plain form, in which names are compared.

    >>> plain("House Number"), plain("addr:street"), plain("OID_"), plain("Número")
    ('house_number', 'addr_street', 'oid', 'número')
    """
    return re.sub(r"[\W_]+", "_", header.casefold()).strip("_")


def match_headers(
    table: TextTable, spec: TableSpec, mapping: Mapping[str, str]
) -> tuple[dict[str, int], tuple[str, ...]]:
    """Find each column of a table among its headers.

    Parameters
    ----------
    mapping
        The district's own words, ours to theirs; they go before names and aliases.

    Returns
    -------
    columns, notes
        Position of each column found, by our name; and headers that look like a misspelt name.

    Raises
    ------
    InputError
        A required column is missing, a mapped header does not exist, or a header stands twice.
    """
    forms = [plain(header) for header in table.headers]
    findings = _missing_mapped(table, mapping)
    columns: dict[str, int] = {}
    for name in spec.names:
        wanted = (plain(mapping[name]),) if name in mapping else (name, *spec.aliases.get(name, ()))
        found = next((form for form in wanted if form in forms), None)
        if found is None:
            continue
        columns[name] = _position(table, forms, mapping.get(name), found)
        if name not in mapping and forms.count(found) > 1:
            findings.append(
                Finding(file=table.file, row=1, column=name, value=found, rule="is the header of more than one column")
            )
    wanting = (name for name in spec.required if not _stands(table, spec, name, columns))
    findings += [_missing(table, spec, name, columns) for name in wanting if name not in mapping]
    if findings:
        raise InputError(findings)
    return columns, _slips(table, spec, forms, set(columns.values()))


def _position(table: TextTable, forms: list[str], mapped: str | None, form: str) -> int:
    """Prefer a header written exactly as the district maps it; else the first of that form."""
    return table.headers.index(mapped) if mapped in table.headers else forms.index(form)


def _missing_mapped(table: TextTable, mapping: Mapping[str, str]) -> list[Finding]:
    forms = {plain(header) for header in table.headers}
    return [
        Finding(
            file=table.file, row=1, column=ours, value=theirs, rule="is not a header of this table",
            remedy=_found(table, (theirs,)),
        )
        for ours, theirs in mapping.items()
        if plain(theirs) not in forms
    ]  # fmt: skip


def _stands(table: TextTable, spec: TableSpec, name: str, columns: Mapping[str, int]) -> bool:
    """Tell whether a required column is there, or what may stand in for it."""
    if name in columns or (table.shapes is not None and name in PLACE_ALIASES):
        return True
    return any(all(one in columns for one in group) for group in spec.instead.get(name, ()))


def _missing(table: TextTable, spec: TableSpec, name: str, columns: Mapping[str, int]) -> Finding:
    remedy = _found(table, (name, *spec.aliases.get(name, ())), set(columns.values()))
    return Finding(file=table.file, row=1, column=name, rule="required column is missing", remedy=remedy)


def _found(table: TextTable, wanted: Sequence[str], read: AbstractSet[int] = frozenset()) -> str:
    """List a table's headers and the one, not read yet, most like any of the names wanted."""

    def likeness(header: str) -> float:
        return max(difflib.SequenceMatcher(None, plain(header), plain(one)).ratio() for one in wanted)

    unread = [header for i, header in enumerate(table.headers) if i not in read]
    close = max(unread, key=likeness, default="none")
    return f"columns found: {', '.join(table.headers) or 'none'}; closest: {close}"


def _slips(table: TextTable, spec: TableSpec, forms: list[str], read: set[int]) -> tuple[str, ...]:
    """Note headers that are not read but nearly spell a column."""
    notes = []
    for i, form in enumerate(forms):
        close = difflib.get_close_matches(form, spec.names, n=1, cutoff=LOOKS_LIKE)
        if i not in read and form and close and close[0] != form:
            notes.append(f"{table.file}: column {table.headers[i]!r} is not read; is {close[0]!r} meant?")
    return tuple(notes)
