"""What each column of each table means, for who fills it in: units, choices, and what an empty cell stands for."""

from __future__ import annotations

from collections.abc import Mapping

_PLACE = {"lon": "longitude in degrees, negative in the west", "lat": "latitude in degrees"}
_MONTHS = "months in which it holds: 4-11, Apr-Nov or 1,2,12; empty: all year"
_SERVICE = "no: it is left out of the plan; empty: yes"

TITLES: Mapping[str, str] = {
    "addresses": "what may burn, a row a building",
    "fill_sites": "where tankers fill",
    "stations": "where units stand, your own and your neighbours'",
    "apparatus": "engines and tankers; empty cells are filled by careful rules, which the pages mark",
    "hydrants": "hydrants of the mains; an address with a good one near needs no tankers",
    "closures": "what you know about the roads and the map does not",
    "bridges": "a bridge inventory, as it comes",
    "drill_log": "what was timed in a tanker shuttle drill, a row an event; for `preplan drill`",
}
"""What each table is about."""
WORDS: Mapping[str, Mapping[str, str]] = {
    "addresses": {
        "address_id": "your own id of the address, each once",
        "label": "the address as it is spoken: 12 Mill Road",
        **_PLACE,
        "street": "name of the road, where the label does not say it",
        "occupancy": "use of the building: dwelling, barn, school; empty: a dwelling, and flagged",
        "length_ft": "of the building",
        "width_ft": "of the building",
        "height_ft": "with half of the roof above the eaves",
        "floor_area_sqft": "of all floors, where length and width are not known",
        "stories": "floors above the ground",
        "occupancy_hazard": "occupancy hazard number, 3 severe to 7 light",
        "construction": "type I (fire resistive) to V (wood frame)",
        "exposure": "yes: another building stands within 50 ft; empty: from the map",
        "sprinklered": "yes or no; flagged, and never lowers the need",
        "required_gpm": "the need, where you know it better than any method",
        "required_gal": "the same in gallons, in all",
        "driveway_ft": "from the road to the building; empty: from the map",
    },
    "fill_sites": {
        "site_id": "your own id of the site, each once",
        "name": "as it is spoken on the radio",
        "kind": "hydrant (on a main), dry hydrant (a pipe into open water, no pressure), draft (an engine drafts"
        " from open water: a pond, a river), cistern (an underground tank) or tank (above ground, fills by gravity)",
        **_PLACE,
        "fill_gpm": "rate into one tanker; empty: 500, a gravity tank 300",
        "site_gpm": "what the site gives in all; empty: fill_gpm",
        "tested": "date of the flow test",
        "positions": "tankers that can fill at once; empty: 1",
        "source_id": "a word that sites on one pond or main share: they share its water too",
        "storage_gal": "water held; a cistern and a tank must say it",
        "refill_gpm": "flow into that store",
        "low_gpm": "what the site gives in all at low water, in drought",
        "turnaround": "how a tanker leaves: through (drives on), loop (goes round in the site), back (backs or"
        " turns round); empty: back",
        "lift_ft": "from the water up to the pump; empty: 10",
        "needs_engine": "yes: an engine must pump there; empty: yes but at a hydrant or a tank",
        "months": _MONTHS,
        "in_service": _SERVICE,
        "connection": "thread or coupling: 4.5 in storz",
        "notes": "what the crew should know; printed on the cards",
    },
    "stations": {
        "station_id": "your own id of the station, each once",
        "name": "as it is spoken",
        **_PLACE,
        "turnout_min": "minutes from the alarm until the first unit rolls; empty: 6 volunteer, 2 staffed",
        "staffed": "yes: a crew is in the house day and night (career, paid); no: volunteer; empty: no",
        "aid": "own, automatic (rolls with the alarm like your own), on request (only when asked for); empty: own",
        "max_engines": "the most engines it sends; empty: all",
        "max_tankers": "the most tankers it sends; empty: all",
    },
    "apparatus": {
        "unit_id": "name of the unit, each once",
        "station_id": "its station, as in the table of stations",
        "kind": "engine, tanker, or pumper-tanker (a large tank and a pump: serves as either, never both)",
        "tank_gal": "water tank; empty: a tanker 1,000, an engine 750",
        "pump_gpm": "rating of the pump",
        "dump_gpm": "rate at which it dumps, measured",
        "intake_gpm": "most that its tank takes in while it fills; empty: 1,000",
        "self_fill_gpm": "a vacuum tanker's own filling rate; leave empty for all others",
        "loaded_lb": "weight with water and crew; empty: by the tank, and without that as a tanker of 3,500 gal",
        "empty_lb": "weight without water",
        "axle_lb": "heaviest axle, loaded; empty: a share of loaded_lb",
        "height_ft": "over all",
        "width_ft": "over all",
        "max_mph": "the fastest it is driven; empty: 60",
        "portable_tank_gal": "portable (drop) tank it carries; 0: none; empty: a tanker's own size",
        "usable_fraction": "share of the tank that a dump empties; empty: 0.9",
        "supply_hose_ft": "supply hose it carries",
        "supply_hose_in": "diameter of that hose",
        "in_service": _SERVICE,
    },
    "hydrants": {
        "hydrant_id": "id of the hydrant, each once",
        **_PLACE,
        "flow_gpm": "tested flow, or a class",
        "class": "AA, A, B or C, where no flow is known",
        "kind": "a dry hydrant, a draft place or a cistern is not counted: it belongs in fill_sites; dry barrel and"
        " all else is a hydrant",
        "in_service": _SERVICE,
    },
    "closures": {
        "closure_id": "your own id, each once",
        "kind": "closed, max_lb, max_height_ft, max_width_ft, or one_way (open only as the road is drawn"
        " on the map; value -1: only against it)",
        "way_id": "number of the road in OpenStreetMap; or give a place on it",
        "lon": "longitude of a place on the road",
        "lat": "latitude of a place on the road",
        "value": "the limit, in the unit that ends its kind: 24000 for max_lb",
        "months": _MONTHS,
        "note": "why; stands on the map",
    },
    "bridges": {
        "bridge_id": "id of the bridge, each once",
        **_PLACE,
        "lon_packed": "longitude as the national inventory packs it: degrees, minutes, seconds in one number",
        "lat_packed": "latitude, packed the same way",
        "owner": "who to ask",
        "road": "the road it carries",
        "crosses": "what it crosses",
        "operating_lb": "operating rating: the most it may ever be put to",
        "operating_us_tons": "the same in short tons",
        "operating_tonnes": "the same in metric tons",
        "rating_method": "the inventory's code of how it was rated",
        "posting": "what the inventory says of posting",
        "status": "open, posted or closed, as the inventory says it",
    },
    "drill_log": {
        "unit_id": "the tanker, as in the table of apparatus; empty for what is no one tanker's (dump site ready, fill"
        " site ready, pause, resume, end)",
        "event": "at dump site (stands there in line or in place), empty (leaves it), at fill site, full (leaves it):"
        " these four do. More is told by: on scene (comes into sight of the dump site), takes dump place, dumps (water"
        " runs), reaches fill site, takes fill place, fills (water runs), leaves drill, pause,"
        " resume. With a place: arrives, leaves",
        "time": "time of day (14:05, 14:05:30, 2:05 PM, 2026-05-16 14:05) or minutes from the start (12.5)",
        "gallons": "of the load, beside full or empty; empty: usable_fraction of the tank, marked as assumed",
        "place": "site_id or address_id; empty where the log has one fill site and one dump site",
    },
}
"""A line for each column; parts of addresses, which address data bring of their own, have none."""
