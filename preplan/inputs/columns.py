"""Which columns each table has, by which other headers they are known, and how headers are matched."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field

from preplan.errors import Finding, InputError
from preplan.inputs.address_headers import (
    ADDRESS_ALIASES,
    NUMBER_PARTS,
    PLACE_ALIASES,
    STREET_PARTS,
    UNIT_PARTS,
)
from preplan.inputs.tables import LEAST_HEADERS, TextTable, plain
from preplan.inputs.units_written import unit_of


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

    meant: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Headers that may mean a column but leave its unit or its sense open: not read, but asked about."""
    advice: Mapping[str, str] = field(default_factory=dict)
    """Headers that no column of the table means, and what to do with what stands there."""
    own_ids: bool = True
    """Each row has an id of its own; in a log a unit stands in many rows."""

    @property
    def names(self) -> tuple[str, ...]:
        """All columns."""
        return self.required + self.optional


IN_SERVICE_ALIASES = (
    "inservice", "status", "service_status", "operational_status", "operating_status", "operational", "lifecyclestatus",
    "life_cycle_status",
)  # fmt: skip
"""Headers under which tables say what is out of service; a word that is not understood there is a fault."""
REVERSED = ("out_of_service", "outofservice", "oos")
"""Headers that say the reverse, and never in which words: neither read nor passed over."""
OUT_OF_SERVICE = (
    *REVERSED, "condition", "state_of_repair", "active", "in_use", "operable", "enabled", "usable", "working",
    "functional", "functioning",
)  # fmt: skip
SERVICE_BESIDE = "in_service beside "
"""How the name begins of a column whose no counts beside `in_service`; its place in the table follows."""
SEASONS = ("season", "seasons", "months_available", "available_months", "months_open")
NOTES = ("note", "remarks", "comments")

_GEOMETRY_FOR_PLACE = {"lon": (("geometry",),), "lat": (("geometry",),)}

_NUMBER_AND_STREET = (("number", "street"), ("number", "st_name"))

ADDRESSES = TableSpec(
    required=("address_id", "label", "lon", "lat"),
    optional=(
        "geometry", "street", "occupancy", "length_ft", "width_ft", "height_ft", "floor_area_sqft", "stories",
        "occupancy_hazard", "construction", "exposure", "sprinklered", "required_gpm", "required_gal",
        "driveway_ft", *NUMBER_PARTS, *STREET_PARTS, *UNIT_PARTS,
    ),
    aliases=ADDRESS_ALIASES,
    instead={**_GEOMETRY_FOR_PLACE, "address_id": _NUMBER_AND_STREET, "label": _NUMBER_AND_STREET},
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
        "fill_gpm": ("gpm", "flow_gpm", "rate_gpm", "fill_rate_gpm"),
        "low_gpm": ("drought_gpm", "dry_season_gpm", "low_flow_gpm", "low_water_gpm"),
        "tested": ("test_date", "date_tested"),
        "months": SEASONS,
        "in_service": IN_SERVICE_ALIASES,
        "notes": NOTES,
    },
    instead=_GEOMETRY_FOR_PLACE,
    meant={
        "fill_gpm": ("flow", "rate", "fill_rate", "capacity_gpm", "yield_gpm", "capacity"),
        "storage_gal": ("volume", "volume_gal", "capacity_gal", "gallons"),
        "low_gpm": ("drought", "low_water", "summer_gpm", "summer_flow"),
        "months": ("available", "availability", "seasonal", "winter", "year_round", "closed_months"),
        "positions": ("spots", "trucks", "ports", "outlets", "connections"),
        "turnaround": ("turn", "turning", "turn_around", "access"),
        "lift_ft": ("head", "head_ft", "draft_ft", "suction_lift"),
        "tested": ("date", "last_test"),
        "connection": ("thread", "threads", "fitting", "coupling"),
        "in_service": OUT_OF_SERVICE,
    },
)  # fmt: skip
STATIONS = TableSpec(
    required=("station_id", "name", "lon", "lat"),
    optional=("geometry", "turnout_min", "staffed", "aid", "max_engines", "max_tankers"),
    aliases={
        **PLACE_ALIASES,
        "station_id": ("id", "station"),
        "name": ("station_name",),
        "turnout_min": ("turnout_minutes",),
        "staffed": ("career",),
    },
    instead=_GEOMETRY_FOR_PLACE,
    meant={
        "turnout_min": ("turnout_time", "turnout_sec", "chute_time", "reaction_min", "response_min"),
        "staffed": ("staffing", "type", "volunteer", "manned", "paid"),
        "aid": ("mutual_aid", "automatic_aid", "aid_type"),
        "max_engines": ("engines",),
        "max_tankers": ("tankers", "max_tenders", "tenders"),
    },
    advice=dict.fromkeys(
        ("in_service", *IN_SERVICE_ALIASES, *OUT_OF_SERVICE),
        "units of a station that is closed are taken out by in_service of the apparatus table, or by its row",
    ),
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
        "tank_gal": ("tank", "tank_size", "gallons", "capacity_gal", "water_gal", "tank_capacity_gal", "tank_size_gal"),
        "pump_gpm": ("pump",),
        "loaded_lb": ("gross_lb", "gvw_lb", "gvwr_lb"),
        "portable_tank_gal": ("portable_tank", "drop_tank_gal"),
        "in_service": IN_SERVICE_ALIASES,
    },
    meant={
        "tank_gal": ("capacity", "water", "gal", "tank_capacity", "volume"),
        "pump_gpm": ("gpm", "pump_size", "pump_capacity", "pump_rating"),
        "dump_gpm": ("dump_rate", "dump_valve_gpm"),
        "intake_gpm": ("fill_gpm", "fill_rate", "direct_fill_gpm"),
        "loaded_lb": ("weight", "weight_lb", "gvw", "gvwr", "gross", "gross_weight", "total_weight", "weight_tons"),
        "empty_lb": ("curb_lb", "tare_lb", "curb_weight", "empty_weight"),
        "axle_lb": ("axle_weight", "rear_axle_lb", "gawr", "gawr_lb"),
        "max_mph": ("speed", "top_speed", "speed_mph"),
        "portable_tank_gal": ("drop_tank", "dump_tank", "folding_tank", "porta_tank", "portable_tank_size"),
        "supply_hose_ft": ("ldh_ft", "ldh", "hose_ft", "hose"),
        "supply_hose_in": ("ldh_in", "hose_in", "hose_size"),
        "in_service": OUT_OF_SERVICE,
    },
)  # fmt: skip
HYDRANTS = TableSpec(
    required=("hydrant_id", "lon", "lat"),
    optional=("geometry", "flow_gpm", "class", "kind", "in_service"),
    aliases={
        **PLACE_ALIASES,
        "hydrant_id": ("id", "facilityid", "objectid"),
        "flow_gpm": ("gpm", "flow", "fire_flow_gpm"),
        "class": ("flow_class", "hydrant_class"),
        "kind": ("type", "hydrant_type", "hydranttype", "hyd_type", "hydtype", "subtype", "sub_type"),
        "in_service": IN_SERVICE_ALIASES,
    },
    instead=_GEOMETRY_FOR_PLACE,
    meant={"in_service": OUT_OF_SERVICE, "flow_gpm": ("rate", "capacity", "test_flow", "rated_gpm", "gpm_20")},
)
CLOSURES = TableSpec(
    required=("closure_id", "kind"),
    optional=("way_id", "lon", "lat", "geometry", "value", "months", "note"),
    aliases={
        **PLACE_ALIASES,
        "closure_id": ("id",),
        "kind": ("type",),
        "way_id": ("osm_way_id", "osm_id"),
        "months": ("season", "seasons"),
        "note": ("notes", "remarks", "comments"),
    },
    meant={
        "value": ("limit", "max", "weight", "height", "max_lb", "max_height_ft", "max_width_ft", "tons"),
        "months": ("closed_months", "dates", "from", "until", "when", "winter", "seasonal"),
        "way_id": ("way", "road", "road_id"),
    },
    advice=dict.fromkeys(
        ("months_open", "open_months", "months_available", "available_months", "open"),
        "each closure holds all year; where it does not, write the months in which the road is SHUT in a column months",
    ),
)
_POSTED = (
    "posted", "posted_weight", "posted_limit", "posted_load", "posting_weight", "posting_limit", "weight_limit",
    "load_limit", "load_posting", "weight_posting", "sign", "limit", "max_weight", "maxweight",
)  # fmt: skip
"""Headers under which a table of bridges may give the weight on a sign, with or without a unit behind."""
BRIDGES = TableSpec(
    required=("bridge_id", "lon", "lat"),
    optional=(
        "geometry", "lon_packed", "lat_packed", "owner", "road", "crosses", "operating_lb", "operating_us_tons",
        "operating_tonnes", "rating_method", "posting", "status",
    ),
    aliases={
        **PLACE_ALIASES,
        "lon": (*PLACE_ALIASES["lon"], "17_longitude_decimal", "longdd"),
        "lat": (*PLACE_ALIASES["lat"], "16_latitude_decimal", "latdd"),
        "lon_packed": ("long_017", "017_longitude"),
        "lat_packed": ("lat_016", "016_latitude"),
        "bridge_id": ("structure_number_008", "8_structure_number", "structure_number", "structure_no", "id"),
        "owner": ("owner_022", "22_owner_agency", "22_owner", "owner_agency"),
        "road": ("facility_carried_007", "7_facility_carried_by_structure", "7_facility_carried", "facility_carried"),
        "crosses": ("features_desc_006a", "6a_features_intersected", "features_intersected", "feature", "feature_desc"),
        "operating_us_tons": ("64_operating_rating_us_tons", "operating_rating_us_tons"),
        "operating_tonnes": ("operating_rating_064", "operating_rating_metric_tons", "64_operating_rating_metric_tons"),
        "rating_method": ("opr_rating_meth_063", "63_operating_rating_method_code"),
        "posting": ("posting_eval_070", "70_bridge_posting", "70_posting_evaluation", "bridge_posting"),
        "status": ("open_closed_posted_041", "41_structure_open_posted_or_closed_to_traffic"),
    },
    instead={name: (("geometry",), (f"{name}_packed",)) for name in ("lon", "lat")},
    meant={
        "operating_us_tons": ("operating_rating", "operating", "rating", "rating_tons"),
        "status": ("open_closed", "open_closed_posted", "closed", "open"),
    },
    advice=dict.fromkeys(
        (f"{what}{unit}" for what in _POSTED for unit in ("", "_lb", "_lbs", "_tons", "_ton", "_us_tons", "_tonnes")),
        "a weight on a sign counts only as a row max_lb of closures.csv, in pounds: write one for each such bridge",
    ),
)  # fmt: skip
SPECS: Mapping[str, TableSpec] = {
    "addresses": ADDRESSES,
    "fill_sites": FILL_SITES,
    "stations": STATIONS,
    "apparatus": APPARATUS,
    "hydrants": HYDRANTS,
    "closures": CLOSURES,
    "bridges": BRIDGES,
}
"""Columns of each table by its key in the district file."""
DRILL_LOG = TableSpec(
    required=("unit_id", "event", "time"),
    optional=("gallons", "place"),
    aliases={
        "unit_id": ("unit", "tanker", "tender", "apparatus", "truck", "apparatus_id"),
        "event": ("what", "action", "status"),
        "time": ("minute", "minutes", "min", "clock", "timestamp", "date_time", "datetime", "time_of_day"),
        "gallons": ("gal", "load_gal", "water_gal", "gallons_dumped"),
        "place": ("site_id", "location", "where", "site"),
    },
    meant={"gallons": ("load", "water", "volume"), "time": ("date", "seconds", "sec")},
    own_ids=False,
)
EVERY_SPEC: Mapping[str, TableSpec] = {**SPECS, "drill_log": DRILL_LOG}
"""The same, and the table that only `preplan drill` reads."""
_LENGTHS = ("m", "metres", "meters", "metre", "meter", "cm", "mm")
OTHER_UNITS: Mapping[str, tuple[str, ...]] = {
    "ft": (*_LENGTHS, "inches", "yd", "yards", "mi", "mile", "miles", "km"),
    "in": (*_LENGTHS, "ft", "feet"),
    "lb": ("kg", "kgs", "kilograms", "t", "tons", "ton", "tonnes"),
    "gal": ("l", "ltr", "litres", "liters", "litre", "liter", "m3"),
    "gpm": ("lpm", "lps", "litres", "liters"),
    "mph": ("km", "kmh", "kph", "kmph"),
    "sqft": ("sqm", "m2"),
}
"""Words of a header, behind its first, that name another unit than the column's name (this program's choice)."""
OWN_WORDS: Mapping[str, tuple[str, ...]] = {
    "ft": ("feet", "foot"), "in": ("inches", "inch"), "lb": ("lbs", "pounds"), "gal": ("gallons", "gals"),
}  # fmt: skip
"""Other words of a header for the unit that the column is in."""
CUT_AT = 10
"""Letters of a header that the table of a shapefile keeps."""
_NUMBER = re.compile(r"-?\d+\.\d+")
MOST_LETTERS = 60
"""Letters that are shown of a row that is no header."""
MOST_NAMED = 40
"""Headers that are named when they are not read; the exports of a county have more."""
LOOKS_LIKE = 0.8
"""Likeness (0 to 1) above which an unread header is taken for a slip of the pen and noted."""
LIKE_ENOUGH = 0.6
"""The same, above which a header is named as the closest to one that lacks: below it the name misleads."""


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
        Position of each column found, by our name; and every header that is not read.

    Raises
    ------
    InputError
        A required column is missing, a mapped header does not exist, or a header stands twice.
    """
    forms = [_form(header, spec) for header in table.headers]
    findings = [*_missing_mapped(table, spec, mapping), *in_other_units(table, mapping)]
    columns: dict[str, int] = {}
    contested: list[str] = []
    told: set[int] = set()
    for name, wanted in _wanted(spec, mapping).items():
        present = [form for form in wanted if form in forms]
        if not present:
            continue
        found = present[0] if name in mapping or present[0] == name else _filled(table, forms, present, spec, name)
        columns[name] = _position(table, forms, mapping.get(name), found)
        others = [repr(table.headers[forms.index(form)]) for form in present if form != found]
        if others and name not in {found, "in_service"}:
            contested.append(f"{name} is read from {table.headers[columns[name]]!r}, not {', '.join(others)}")
            told |= {forms.index(form) for form in present}
        if name not in mapping and forms.count(found) > 1:
            findings.append(
                Finding(
                    file=table.file,
                    row=table.header_row,
                    column=name,
                    value=found,
                    rule="is the header of more than one column",
                )
            )
    beside = {} if "in_service" in mapping else _service_beside(table, spec, forms, columns)
    columns |= beside
    wanting = (name for name in spec.required if not _stands(table, spec, name, columns))
    findings += [_missing(table, spec, name, columns) for name in wanting if name not in mapping]
    if "in_service" in spec.names and "in_service" not in columns:
        findings += [_reversed(table, i) for i, form in enumerate(forms) if form in REVERSED and any(table.columns[i])]
    if findings:
        lower = _header_below(table, spec, mapping)
        raise InputError([lower] if lower else findings)
    contested += [
        f"a no of column {table.headers[i]!r} counts as a no of in_service; nothing else of it is read"
        for i in beside.values()
    ]
    notes = (f"{table.file}: {'; '.join(contested)}.",) if contested else ()
    return columns, (*notes, *_unread(table, spec, forms, told | set(columns.values())))


def _service_beside(table: TextTable, spec: TableSpec, forms: list[str], columns: Mapping[str, int]) -> dict[str, int]:
    """Find further columns that may tell what is out of service: an asset may be active, and not operable."""
    known = {*spec.aliases.get("in_service", ()), *spec.meant.get("in_service", ())} - {*REVERSED}
    return {
        f"{SERVICE_BESIDE}{i + 1}": i
        for i, form in enumerate(forms)
        if form in known and i not in columns.values() and any(table.columns[i])
    }


def in_other_units(table: TextTable, mapping: Mapping[str, str]) -> Iterator[Finding]:
    """Refuse a header that the district maps although it names a unit that its column is not in."""
    for ours, theirs in mapping.items():
        unit = ours.rpartition("_")[2]
        if wrong := _other_unit(plain(theirs), unit):
            yield Finding(
                file=table.file,
                row=table.header_row,
                column=ours,
                value=theirs,
                rule=f"the header names {wrong!r}, but {ours} is in {unit}",
                remedy=f"put a column with the values in {unit} into the table, and map that one",
            )


def _other_unit(form: str, unit: str) -> str:
    """Give the unit that a header names and a column is not in, '' where it names none or the column's own."""
    words = form.split("_")
    wrong = next((one for one in OTHER_UNITS.get(unit, ()) if one in words[1:]), "")
    return "" if {unit, *OWN_WORDS.get(unit, ())} & {*words} else wrong


def _wanted(spec: TableSpec, mapping: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    """List the headers of each column, best first; one that the district maps stands for nothing else."""
    taken = {_form(theirs, spec) for theirs in mapping.values()}
    cut = _cut_names(spec)
    wanted = {}
    for name in spec.names:
        known = (name, *spec.aliases.get(name, ()), *cut.get(name, ()))
        wanted[name] = tuple(form for form in known if form not in taken)
    return wanted | {ours: (_form(theirs, spec),) for ours, theirs in mapping.items()}


def _filled(table: TextTable, forms: list[str], present: Sequence[str], spec: TableSpec, name: str) -> str:
    """Choose among headers of one meaning: the best documented whose column has values, and for ids one for each row.

    An export often keeps a column of a standard that its county never filled.
    """
    for form in present:
        values = table.columns[forms.index(form)].tolist()
        different = set(values)
        if different - {""} and (name != spec.required[0] or (len(different) == len(values) and "" not in different)):
            return form
    return present[0]


def _form(header: str, spec: TableSpec) -> str:
    """Bring a header to plain form; one cut behind a low line is the longer name's, not that of the word before it."""
    form = plain(header)
    form = form[:-1] if form.endswith("_lbs") else form
    if len(header) == CUT_AT and header.endswith("_") and form in spec.names:
        longer = [name for name in spec.names if name.startswith(header.casefold())]
        return longer[0] if len(longer) == 1 else form
    return form


def _cut_names(spec: TableSpec) -> dict[str, tuple[str, ...]]:
    """Give each column the names under which a shapefile, which cuts them, may know it.

    One cut name of several columns is the shortest whole name's; of two as short, nobody's.
    """
    whole = {form: name for name in spec.names for form in (name, *spec.aliases.get(name, ()))}
    claims: dict[str, list[tuple[int, str]]] = {}
    for form, name in whole.items():
        if len(form) > CUT_AT and form[:CUT_AT].strip("_") not in whole:
            claims.setdefault(form[:CUT_AT].strip("_"), []).append((len(form), name))
    cut: dict[str, tuple[str, ...]] = {}
    for form, claimed in claims.items():
        shortest = {name for length, name in claimed if length == min(claimed)[0]}
        if len(shortest) == 1:
            name = shortest.pop()
            cut[name] = (*cut.get(name, ()), form)
    return cut


def _position(table: TextTable, forms: list[str], mapped: str | None, form: str) -> int:
    """Prefer a header written exactly as the district maps it; else the first of that form."""
    return table.headers.index(mapped) if mapped in table.headers else forms.index(form)


def _missing_mapped(table: TextTable, spec: TableSpec, mapping: Mapping[str, str]) -> list[Finding]:
    forms = {_form(header, spec) for header in table.headers}
    role = next((role for role, one in SPECS.items() if one is spec), "")
    right = f"; set the line right under [columns.{role}] of the district file, or take it away"
    return [
        Finding(
            file=table.file, row=table.header_row, column=ours, value=theirs, rule="is not a header of this table",
            remedy=_found(table, (theirs,)) + right * bool(role),
        )
        for ours, theirs in mapping.items()
        if _form(theirs, spec) not in forms
    ]  # fmt: skip


def _header_below(table: TextTable, spec: TableSpec, mapping: Mapping[str, str]) -> Finding | None:
    """Find the header a few rows below what stands in its place, by the names it has; None where it is right."""
    known = {form for forms in _wanted(spec, mapping).values() for form in forms}

    def named(cells: Sequence[str]) -> int:
        return len({_form(cell, spec) for cell in cells} & known)

    row, cells = max(table.below, key=lambda one: named(one[1]), default=(0, ()))
    if named(cells) < max(LEAST_HEADERS, named(table.headers) + 1):
        return None
    return Finding(
        file=table.file, row=table.header_row, value=", ".join(filter(None, table.headers))[:MOST_LETTERS],
        rule=f"is no header, and row {row} looks like it", remedy=f"delete the rows above row {row}",
    )  # fmt: skip


def _reversed(table: TextTable, i: int) -> Finding:
    return Finding(
        file=table.file, row=table.header_row, column=table.headers[i], rule="says the reverse of in_service",
        remedy="call the column in_service, and write no for what is out of service, yes for the rest",
    )  # fmt: skip


def _stands(table: TextTable, spec: TableSpec, name: str, columns: Mapping[str, int]) -> bool:
    """Tell whether a required column is there, or what may stand in for it."""
    if name in columns or (table.shapes is not None and name in PLACE_ALIASES):
        return True
    return any(all(one in columns for one in group) for group in spec.instead.get(name, ()))


def _missing(table: TextTable, spec: TableSpec, name: str, columns: Mapping[str, int]) -> Finding:
    remedy = _found(table, (name, *spec.aliases.get(name, ())), set(columns.values()))
    role = next((role for role, one in SPECS.items() if one is spec), "")
    if role and len(columns) < len(table.headers) and not _looks_like_data(table):
        remedy += f'; which is it? Write under [columns.{role}] of the district file: {name} = "ITS HEADER"'
    return Finding(file=table.file, row=table.header_row, column=name, rule="required column is missing", remedy=remedy)


def _found(table: TextTable, wanted: Sequence[str], read: AbstractSet[int] = frozenset()) -> str:
    """List a table's headers and the one, not read yet, most like any of the names wanted."""

    def likeness(header: str) -> float:
        return max(difflib.SequenceMatcher(None, plain(header), plain(one)).ratio() for one in wanted)

    unread = [header for i, header in enumerate(table.headers) if i not in read]
    found = f"columns found: {', '.join(table.headers) or 'none'}"
    if _looks_like_data(table):
        return f"{found}; the first row must name the columns, and this one looks like a row of the table"
    closest = max(unread, key=likeness, default="")
    if closest and likeness(closest) >= LIKE_ENOUGH:
        return f"{found}; closest: {closest}"
    if not unread:
        return f"{found}; add the column"
    return f"{found}; not read: {', '.join(unread)}" if read else found


def _looks_like_data(table: TextTable) -> bool:
    """Tell whether the first row is one of the table, since it has numbers."""
    return any(_NUMBER.fullmatch(header) for header in table.headers)


def _unread(table: TextTable, spec: TableSpec, forms: list[str], read: set[int]) -> tuple[str, ...]:
    """Note every header that is not read, and first those that may mean a column."""
    asked, others = [], []
    for i, form in enumerate(forms):
        if i in read or not (form or (table.columns[i] != "").any()):
            continue
        header = repr(table.headers[i]) if form else f"number {i + 1}, which has no header,"
        name = _meant(form, spec)
        if form in spec.advice:
            asked.append(f"{table.file}: column {header} is not read: {spec.advice[form]}")
        elif name and name != form:
            told = f" Then bring its values into {unit_of(name)}." if _other_unit(form, unit_of(name)) else ""
            asked.append(f"{table.file}: column {header} is not read; is {name!r} meant?{told}")
        else:
            others.append(header.rstrip(","))
    if not others:
        return tuple(asked)
    further = f" and {len(others) - MOST_NAMED:,} more" if len(others) > MOST_NAMED else ""
    return (*asked, f"{table.file}: columns that are not read: {', '.join(others[:MOST_NAMED])}{further}.")


def _meant(form: str, spec: TableSpec) -> str:
    """Guess which column a header means that is not read: by its sense, without its unit, or misspelt; else ''."""
    for name in spec.names:
        if form in spec.meant.get(name, ()) or (form and unit_of(name) and form == name.rpartition("_")[0]):
            return name
    return next(iter(difflib.get_close_matches(form, spec.names, n=1, cutoff=LOOKS_LIKE)), "")
