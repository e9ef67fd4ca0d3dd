"""What each column of layers and tables means, with its unit: for people who open them in other programs."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

ABOUT: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "address_id": ("Address id", "Id as the district's table gives it."),
        "label": ("Address", "Address as the district's table writes it."),
        "lon": ("Longitude (deg)", "WGS84, as given."),
        "lat": ("Latitude (deg)", "WGS84, as given."),
        "status": ("Status", "served, higher level, not met, no route or hydrant; the worst season decides."),
        "response_level": (
            "Response level",
            "Of an address the first that meets the required flow, empty where none does; else that of the row.",
        ),
        "required_gpm": ("Required flow (gpm)", "Rate that the building needs, rounded up."),
        "required_gal": ("Required total (gal)", "The method's own total, rounded up."),
        "required_min": ("Required duration (min)", "How long the rate must hold."),
        "required_basis": ("Basis", "Method, and where the size of the building comes from."),
        "fill_site_id": ("Fill site", "Chosen fill site, in the months of the row."),
        "backup_site_id": ("Backup fill site", "Best one with the first one's source out, in the months of the row."),
        "backup_gpm": ("Held from the backup (gpm)", "Uninterrupted flow with all tankers there, rounded down."),
        "decides": ("Decides", "yes: the worst months, whose answer addresses and levels tell."),
        "split_site_id": ("Second fill site", "Where tankers split over two sites."),
        "out_min": ("Out, loaded (min)", "Fill site to dump site."),
        "back_min": ("Back, empty (min)", "Dump site to fill site, turning included."),
        "round_trip_min": ("Round trip (min)", "Out and back."),
        "round_trip_mi": ("Round trip (mi)", "Out and back."),
        "cycle_min": ("Cycle (min)", "Longest cycle of the tankers in use: round trip, filling and dumping."),
        "sustained_gpm": ("Sustained flow (gpm)", "What the shuttle delivers without end, rounded down."),
        "uninterrupted_gpm": (
            "Uninterrupted flow (gpm)",
            "Largest constant flow without a break in the months of the row, all alerted at once; rounded down.",
        ),
        "limited_by": ("Limited by", "What holds the flow back."),
        "first_water_min": ("First water (min)", "From the alerting of units."),
        "mws_by_min": ("Total arrived by (min)", "When the method's own total has arrived."),
        "gap_min": (
            "Too little (min)",
            (
                "Minutes without enough water: of a higher level called on arrival, else all alerted at once. The flag "
                "'dry' counts those in which nothing flows."
            ),
        ),
        "short_gal": ("Short (gal)", "Demand that is not delivered, rounded up."),
        "call_by_min": (
            "Call by (min)",
            (
                "Latest minute to call the higher level so that enough flows throughout, in the months of the row. "
                "Empty: none; flagged 'send with first alarm': at once. 'first alarm in' flags months with less time."
            ),
        ),
        "tankers": ("Tankers", "Tankers in the shuttle, by arrival."),
        "driveway_ft": ("Driveway (ft)", "Hose from the road to the building, rounded up."),
        "flags": ("Flags", "Facts with their numbers."),
        "left_out": ("Left out", "Tankers that are sent and do not shuttle."),
        "uninterrupted_on_arrival_gpm": (
            "Uninterrupted, called on arrival (gpm)",
            "The same, with all but the first level's units called on arrival; rounded down.",
        ),
        "gap_on_arrival_min": ("Too little, called on arrival (min)", "Minutes without enough water."),
        "one_out_gpm": (
            "One tanker out (gpm)",
            "Least uninterrupted flow, any one tanker missing, none in its place, in months that decide; rounded down.",
        ),
        "meets": ("Meets", "yes or no, before rounding: a flow that meets may read 1 gpm below the required one."),
        "average_gpm": (
            "On average (gpm)",
            "Delivered while the required flow is asked for, rounded down; where no level meets it decides.",
        ),
        "number": ("Number", "Number on the map and the cards."),
        "site_id": ("Fill site id", "Id as the district's table gives it."),
        "name": ("Name", "Name as the district's table gives it."),
        "kind": ("Kind", "What it is."),
        "fill_gpm": ("Fill rate (gpm)", "Into one tanker."),
        "fill_gpm_given": ("Fill rate given", "no: a default stands in, not a test."),
        "site_gpm": ("Site rate (gpm)", "What the site gives in all, where given."),
        "storage_gal": ("Storage (gal)", "Empty: not known."),
        "refill_gpm": ("Refill (gpm)", "Empty: not known."),
        "low_gpm": ("Low-water rate (gpm)", "Empty: not known."),
        "lift_ft": ("Lift (ft)", "Height from the water to the pump."),
        "lift_given": ("Lift given", "no: a default stands in; at a site that needs no engine it counts for nothing."),
        "tested": ("Tested", "Date of the last flow test."),
        "positions": ("Fill places", "Tankers that can fill at once."),
        "source_id": ("Source", "Sites of one source share its water."),
        "turnaround": ("Turning", "through, loop or back."),
        "turnaround_given": ("Turning given", "no: backing in is assumed."),
        "needs_engine": ("Needs an engine", "An engine must pump here."),
        "months": (
            "Months",
            "Of an answer: when it holds; of a fill site: when it can be used; of a route: when driven.",
        ),
        "deciding_months": (
            "Months that decide",
            "Worst of the year for the flow; the row is of these. A backup may hold less in others: table seasons.",
        ),
        "in_service": ("In service", "yes or no."),
        "use": ("Use", "all year, seasonal or out of service."),
        "connection": ("Connection", "As the district's table gives it."),
        "notes": ("Notes", "As the district's table gives them."),
        "addresses_served": ("Addresses", "Addresses for which it is the chosen fill site, in the months that decide."),
        "more_in_other_months": ("More addresses in other months", "Besides, in months that do not decide."),
        "other_months": ("Those months", "In which it serves these; some months: not all of them in the same."),
        "station_id": ("Station id", "Id as the district's table gives it."),
        "aid": ("Aid", "own, automatic or on request."),
        "staffed": ("Staffed", "yes or no."),
        "turnout_min": ("Turnout (min)", "From alerting to leaving."),
        "units": ("Units", "Units in service, by id."),
        "leg": ("Leg", "out: fill site to dump site, loaded; back: empty."),
        "leg_min": ("Time (min)", "Of this leg."),
        "leg_mi": ("Distance (mi)", "Of this leg."),
        "way_id": ("OSM way", "Id of the way in OpenStreetMap."),
        "road": ("Road", "Name in OpenStreetMap."),
        "ref": ("Route number", "Number in OpenStreetMap."),
        "highway": ("Class", "Class of road in OpenStreetMap."),
        "length_mi": ("Length (mi)", "Of this stretch."),
        "loaded_trips": ("Loaded trips", "Round trips of the months that decide that drive it loaded."),
        "empty_trips": ("Empty trips", "Round trips of the months that decide that drive it empty."),
        "loaded_other_months": (
            "Loaded, other months",
            "Circuits of other months that drive it loaded, one a card: that of the address that the card tells.",
        ),
        "empty_other_months": ("Empty, other months", "The same, empty."),
        "max_lb": (
            "Weight limit (lb)",
            "Lowest of the year, posted or a bridge's rating. Empty: none is recorded, which is not the same as none.",
        ),
        "limits": ("Limits", "What is posted, in which months where not all year; rated: on no sign."),
        "max_axle_lb": ("Axle limit (lb)", "Empty: none is recorded."),
        "max_height_ft": ("Clearance (ft)", "Empty: none is recorded."),
        "max_width_ft": ("Width limit (ft)", "Empty: none is recorded."),
        "unposted_bridge": ("Unposted bridge", "A bridge without a posted weight: unknown, not safe."),
        "structure": ("Structure", "Number in the bridge inventory."),
        "crosses": ("Crosses", "Water, road or rails below, as the bridge inventory gives it."),
        "owner": ("Owner", "As the bridge inventory gives it."),
        "operating_lb": (
            "Operating rating (lb)",
            "Of the bridge table: no posting, but heavier trucks are sent round. Empty: not known.",
        ),
        "inventory": ("Inventory", "What the bridge inventory says of posting and closing."),
        "found_by": ("Found by", "name: the road's name agrees; place: nearness alone."),
        "narrow": ("Narrow", "Two trucks cannot pass."),
        "code": ("Problem", "What is wrong, in a word."),
        "osm_id": ("OSM object", "Object in OpenStreetMap."),
        "key": ("Key", "Tag, or name of a fact."),
        "value": ("Value", "As it stands."),
        "rule": ("Taken as", "What was made of it."),
    }
)
"""Title and sentence of every column of layers, and of addresses.csv, levels.csv and seasons.csv, by its name."""

_LEVEL_CALLED = "units beyond the first level called on arrival; 0: none, or no job then"
OWN: Mapping[str, Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "levels.csv": {
            "gap_min": ("Too little (min)", "Minutes without enough water, all alerted at once."),
        },
        "trips.csv": {
            "site_id": (
                "Fill site id",
                "Of every round trip that is kept, chosen or not; it may be closed in some months: layer fill_sites.",
            ),
            "out_mi": ("Out, loaded (mi)", "Fill site to dump site."),
            "back_mi": ("Back, empty (mi)", "Dump site to fill site, turning included."),
            "posted_avoided_min": (
                "Longer for limits (min)",
                "Than the round trip of a vehicle without limits of weight and size.",
            ),
            "unposted_bridges": (
                "Unposted bridges",
                "Crossings of bridges without a posted weight, twice if out and back: unknown, not safe.",
            ),
            "in_service": ("In service", "no: the fill site is out of service, no answer rests on this trip."),
        },
        "tankers.csv": {
            "unit_id": ("Tanker", "In the shuttle of the row's level."),
            "arrives_min": ("Arrives (min)", "At the address, from its own alerting."),
            "loads": ("Loads", "That it starts to dump while water is asked for, all units alerted at once."),
            "fill_queue_min": (
                "Queue at the fill site (min)",
                "In all, in line or until the site is ready; all units alerted at once.",
            ),
            "dump_queue_min": ("Queue at the dump site (min)", "In all, all units alerted at once."),
            "room_min": (
                "Slowed by full tanks (min)",
                "By how much full portable tanks slow its dumping, in all; all units alerted at once.",
            ),
            "loads_on_arrival": ("Loads, called on arrival", f"The same, {_LEVEL_CALLED}."),
            "fill_queue_on_arrival_min": (
                "Queue at the fill site, called on arrival (min)",
                f"The same, {_LEVEL_CALLED}.",
            ),
            "dump_queue_on_arrival_min": (
                "Queue at the dump site, called on arrival (min)",
                f"The same, {_LEVEL_CALLED}.",
            ),
            "room_on_arrival_min": ("Slowed by full tanks, called on arrival (min)", f"The same, {_LEVEL_CALLED}."),
            "gpm_without": (
                "Held without it (gpm)",
                "Uninterrupted flow of the level with this tanker out, rounded down.",
            ),
            "adds": ("Adds", "no: it and every tanker that comes later bring nothing more."),
        },
        "dispatch.csv": {
            "road": ("Road", "Looked up with the number; empty: none is known."),
            "from_number": ("From number", "First house number of the row; empty: looked up by its label."),
            "to_number": ("To number", "Last house number of the row."),
            "parity": ("Side", "odd, even or all: the numbers of that range that are meant."),
            "response_level": (
                "Response level",
                "The one that meets the required flow; empty: none does (see send_level), or a hydrant is near.",
            ),
            "send_level": (
                "Level to send",
                "Whose units are listed; where none meets, the one that holds most. Empty: the note tells.",
            ),
            "units": ("Units", "Of the level shown, by arrival; the note names those that come only when asked."),
            "fill_site_id": ("Fill site", "In the months that decide."),
            "split_site_id": ("Second fill site", "Where tankers split over two; the note says who fills there."),
            "backup_site_id": ("Backup fill site", "In the months that decide; the note names others."),
            "winter_site_id": (
                "Fill site in winter",
                "Where December to February have another, + between two; no site: none is open then.",
            ),
            "sites_by_month": (
                "Fill sites by month",
                "Where they differ over the year: months, then fill site, + between two; no site: none, or no way.",
            ),
            "uninterrupted_gpm": (
                "Uninterrupted flow (gpm)",
                "Of the row's weakest address in the months that decide, all alerted at once; rounded down.",
            ),
            "sustained_gpm": ("Sustained flow (gpm)", "Of that address, what circulates without end; rounded down."),
            "limited_by": ("Limited by", "What holds that flow back."),
            "call_by_min": (
                "Call by (min)",
                "Latest minute to call it; 0: with the first alarm; empty: nothing to call later, or the note tells.",
            ),
            "addresses": ("Addresses", "How many the row is for."),
            "label": ("Label", "Of an address without a number: what is looked up."),
            "street_in_table": (
                "Street in the address table",
                "As written there, where the road's name is another one; several are parted by a semicolon.",
            ),
            "cross_street": ("Cross street", "The nearest one, as the card names it."),
            "lon": ("Longitude (deg)", "Of the row's weakest address, WGS84."),
            "lat": ("Latitude (deg)", "Of the row's weakest address, WGS84."),
            "note": ("Note", "What no other cell can say: read it before anything is sent."),
        },
        "cards.csv": {
            "road": ("Road", "As the index of the cards has it."),
            "file": ("File", "The PDF that holds the card."),
            "page": ("Page", "Number printed on the card; viewers show it as the page's label."),
            "units": ("Units", "Of the level shown, by arrival."),
            "attack_engine": ("Attack engine", "First at the address."),
            "fill_engine": ("Fill engine", "Pumps at the fill site; empty: none does."),
            "dump_engine": ("Dump engine", "Drafts at the dump site; the attack engine may do both. Empty: none."),
            "split_engine": ("Second fill engine", "Pumps at the second fill site; empty: none does."),
            "seasons": ("Seasons", "Fill sites and flow held by months; empty: all year the same."),
            "from_station": ("From the station", "How units come, and what weak bridges they cross."),
            "sheets": ("Sheets", "What the sheets behind the card say of the backup and of other months."),
            "near_fill_site": ("Near the fill site", "What is too weak, or not known, beside the fill sites."),
        },
        "rejected.csv": {
            "file": ("File", "Table that the row stands in."),
            "row": ("Row", "Row of the spreadsheet; the header is row 1."),
            "id": ("Id", "The row's own id, where it has one."),
            "column": ("Column", "Column at fault."),
            "value": ("Value", "As it stands in the file."),
            "rule": ("Rule", "What is wrong with it."),
        },
        "changes.csv": {
            "road": ("Road", "As on the cards."),
            "change": ("Change", "worse, better, instructions, numbers, added or removed; worst first."),
            "jobs": ("Jobs", "Which engine attacks, fills and drafts."),
            "page": ("Page", "File and page of its card."),
            "units": ("Units", "Of the level shown, by arrival."),
            "differences": ("Differences", "All that differs, in words."),
            "causes": ("Causes", "Why, as far as the files of both results tell."),
        },
    }
)  # fmt: skip
"""Columns that no layer has, or that mean something else in a table than in the others, by its file."""


def about(file: str) -> Mapping[str, tuple[str, str]]:
    """Give title and sentence of the columns that a table may have, by its file."""
    return {**ABOUT, **OWN.get(file, {})}
