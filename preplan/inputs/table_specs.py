"""Which columns each table has, and by which other headers they are known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from preplan.inputs.address_headers import (
    ADDRESS_ALIASES,
    ADDRESS_MEANT,
    NUMBER_PARTS,
    PLACE_ALIASES,
    STREET_PARTS,
    UNIT_PARTS,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)  # each is itself alone, so that it may be a key
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
    reverse: Mapping[str, str] = field(default_factory=dict)
    """Headers that say when a thing cannot be used, and what to do: passed over, they would let it count all year."""
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
SEASONS = ("season", "seasons", "months_available", "available_months", "months_open", "open_months")
SHUT = (
    *(
        form
        for word in ("closed", "frozen", "shut", "unavailable")
        for form in (word, *(f"{word}_{when}" for when in ("months", "season", "winter")), f"months_{word}")
    ),
    "winter_closed", "winter_closure", "seasonal_closure",
)  # fmt: skip
"""Headers that say when a site cannot be used."""
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
    meant=ADDRESS_MEANT,
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
        "fill_gpm": ("flow", "rate", "fill_rate", "capacity_gpm", "yield_gpm"),
        "storage_gal": ("volume", "volume_gal", "capacity_gal", "gallons"),
        "low_gpm": ("drought", "low_water", "summer_gpm", "summer_flow"),
        "months": ("available", "availability", "seasonal", "winter", "year_round"),
        "positions": ("spots", "trucks", "ports", "outlets", "connections"),
        "turnaround": ("turn", "turning", "turn_around", "access"),
        "lift_ft": ("head", "head_ft", "draft_ft", "suction_lift"),
        "tested": ("date", "last_test"),
        "connection": ("thread", "threads", "fitting", "coupling"),
        "in_service": OUT_OF_SERVICE,
    },
    reverse=dict.fromkeys(
        SHUT,
        "write the months in which the site can be USED in a column months, such as 4-11, and take this one out; a "
        "site without them is taken as usable all year",
    ),
    advice={"capacity": "gallons held go into a column storage_gal, gallons a minute into one tanker into fill_gpm"},
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
        "tank_gal": (
            "capacity", "water", "gal", "tank_capacity", "volume", "tank_cap", "water_capacity", "water_cap",
            "water_tank", "tank_volume", "tank_vol", "tank_gallons", "water_gallons", "booster_tank",
        ),
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
