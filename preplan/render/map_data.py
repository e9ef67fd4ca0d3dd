"""A finished plan -> what the map page carries: columns of packed whole numbers and lists of plain text.

Nothing is computed here but rounding, and which roads lie near enough to be drawn. Each distinct text (flag,
crew, road name) is stored once and named by its place in a list.
"""

from __future__ import annotations

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_tables import FIRST_ALARM_IN, LONG_DRIVEWAY, STATUSES
from preplan.records import FILL_SITE_KINDS, FillSite
from preplan.render import card_pdf, words
from preplan.render.circuits import in_other_months, stands_in_besides
from preplan.render.kind_marks import KIND_LINES
from preplan.render.limit_places import site_limits
from preplan.render.map_answers import address_data, answer_data, flag_said
from preplan.render.map_frame import Frame, drawn_frame, kept_roads, view_frame
from preplan.render.map_ground import closure_data, ground_data, road_data
from preplan.render.map_pack import NOT_KNOWN, Ints, Page, pack, steps, whole
from preplan.render.map_routes import (
    along_roads,
    forest_data,
    forest_rows,
    moved,
    named_trips,
    renumbered,
    sheet_data,
    sheets_of,
    trip_data,
)
from preplan.render.map_search import search_data
from preplan.render.map_strip import strip_data
from preplan.render.map_what_if import what_if_data


def map_data(plan: Plan) -> Page:
    """Collect what the page's script needs; the same plan gives the same dict, in the same order."""
    along = along_roads(plan)
    trips = named_trips(plan, along)
    used_rows, forest_row = forest_rows(plan, trips)
    sheets, on_sheets = sheets_of(plan), plan.on_sheets()
    sheet_trips = np.array([other.trip for _, other in sheets], dtype=np.int32)
    sheet_rows, sheet_row = forest_rows(on_sheets, sheet_trips)
    leaves = [
        np.where(leaf >= 0, moved(leaf, sheet_row) + len(used_rows), NOT_KNOWN)
        for leaf in (plan.sheet_trips.out_leaf[sheet_trips], plan.sheet_trips.back_leaf[sheet_trips])
    ]
    forests = [(plan.forest, used_rows, forest_row), (plan.sheet_forest, sheet_rows, sheet_row)]
    driven = np.concatenate([*(forest.segment[rows] for forest, rows, _ in forests), plan.frontages.segment])
    roads = kept_roads(plan, drawn_frame(plan), driven)
    road_row = renumbered(roads, len(plan.roads))
    return {
        "name": words.printable(plan.district.name),
        "date": words.printable(plan.district.date),
        "notKnown": words.NOT_KNOWN,
        "firstAlarmIn": FIRST_ALARM_IN,
        "longDriveway": LONG_DRIVEWAY,
        "lane": [words.LEAVE_A_LANE, words.ONE_LANE_HERE],
        "view": _box(view_frame(plan)),
        "statuses": _statuses(plan),
        "kinds": list(FILL_SITE_KINDS),
        "kindLines": [KIND_LINES[kind] for kind in FILL_SITE_KINDS],
        "levels": [_level(plan, k) for k in range(len(plan.district.levels))],
        "units": [_unit(plan, k) for k in range(len(plan.units))],
        "stations": [_station(plan, k) for k in range(len(plan.stations))],
        "sites": [_site(plan, k) for k in range(len(plan.sites))],
        "roads": road_data(plan, roads),
        "ground": ground_data(plan),
        "along": pack(steps(along)),
        "addresses": address_data(plan, road_row, along),
        "answers": answer_data(plan, along),
        "trips": trip_data(plan, trips, forest_row, along),
        "forest": forest_data(forests, road_row),
        "sheets": sheet_data(sheets, leaves, along),
        "closures": closure_data(plan, road_row),
        "strips": strip_data(plan, along),
        "whatIf": what_if_data(plan, along),
        "search": search_data(plan),
        "cards": _cards(plan, along),
    }


def _cards(plan: Plan, along: Ints) -> Page:
    """Say where the card of each address is: its place among all, -1: none; cards a file, 0: all in one; first page."""
    places = card_pdf.places(plan)
    place = np.full(len(plan.addresses), NOT_KNOWN, dtype=np.int64)
    for at, (group, _) in enumerate(places):
        place[list(group.addresses)] = at
    file, _, page = places[0][1].partition("#") if places else ("", "", "1")
    size = sum(one.startswith(f"{file}#") for _, one in places) if file else 0
    return {"place": pack(steps(place[along])), "size": size, "first": int(page)}


def _box(frame: Frame) -> list[float]:
    return [round(edge, 5) for edge in (frame.west, frame.south, frame.east, frame.north)]


def _statuses(plan: Plan) -> list[Page]:
    reach_ft = plan.district.rules.hydrants.reach_ft
    counts = plan.counts()
    return [
        {"code": status, "words": words.status_words(status, reach_ft), "count": counts[status]} for status in STATUSES
    ]


def _level(plan: Plan, index: int) -> Page:
    level = plan.district.levels[index]
    return {"words": words.level_words(level.name), "engines": level.engines, "tankers": level.tankers}


def _unit(plan: Plan, index: int) -> Page:
    unit = plan.units[index]
    numbers = {one.station_id: k for k, one in enumerate(plan.stations)}
    return {
        "id": words.printable(unit.unit_id),
        "kind": unit.kind,
        "gal": int(words.round_down(unit.tank_gal)),
        "selfFills": unit.self_fill_gpm is not None,
        "station": numbers.get(unit.station_id, -1),
    }


def _station(plan: Plan, index: int) -> Page:
    station = plan.stations[index]
    return {
        "name": words.printable(station.name),
        "lon": round(station.lon, 5),
        "lat": round(station.lat, 5),
        "id": words.printable(station.station_id),
        "turnout": f"{words.minutes(station.turnout_min)}, {'staffed' if station.staffed else 'not staffed'}",
        "aid": {"own": "own station", "automatic": "automatic aid", "on request": "aid on request"}.get(
            station.aid, words.printable(station.aid)
        ),
    }


def site_facts(site: FillSite) -> list[tuple[str, str]]:
    """List a fill site's facts as (what, words), for the panel and for the table of the still page."""
    storage = words.NOT_KNOWN if site.storage_gal is None else words.gallons(site.storage_gal)
    return [
        ("Kind", words.printable(site.kind)),
        ("Rate into one tanker", words.rate_words(site)),
        ("Places to fill", words.places_words(site)),
        ("Water stored", storage),
        ("Months", month_words(site.months)),
        ("In service", "yes" if site.in_service else "no, out of service"),
        ("Turning", words.turn_words(site)),
        ("Connection", words.printable(site.connection) or words.NOT_KNOWN),
        ("Notes", words.printable(site.notes) or "none"),
    ]


def _other_uses(plan: Plan, index: int, backup: int) -> list[tuple[str, str]]:
    """Say for how many addresses a fill site stands in, and in which other months more, and in which it is taken.

    It is not idle then.
    """
    found = [("Backup of", f"{backup:,} address{'es' * (backup != 1)}")] if backup else []
    uses = ("Backup in", "of", stands_in_besides(plan, index)), ("Taken in", "at", in_other_months(plan, index))
    return found + [
        (f"{what} {when}", f"{word} {int(some.sum()):,} more address{'es' * (int(some.sum()) != 1)}")
        for what, word, (some, when) in uses
        if some.any()
    ]


def _site(plan: Plan, index: int) -> Page:
    site = plan.sites[index]
    backups = int(np.sum(plan.answers.shown(plan.levels.backup) == index))
    return {
        "id": words.printable(site.site_id),
        "name": words.printable(site.name),
        "lon": round(site.lon, 5),
        "lat": round(site.lat, 5),
        "kind": FILL_SITE_KINDS.index(site.kind) if site.kind in FILL_SITE_KINDS else -1,
        "seasonal": site.seasonal,
        "inService": site.in_service,
        "lasting": words.lasting_words(site),
        "road": bool(plan.site_segment[index] >= 0),
        "facts": [*site_facts(site), *_other_uses(plan, index, backups)],
        "backups": backups,
        "more": int(in_other_months(plan, index)[0].sum()),
        "engineMin": whole(plan.site_arrival_min[index], way="up").tolist(),
        "flags": [flag_said(plan, flag) for flag in plan.site_flags[index]],
        "needsEngine": site.needs_engine,
        "near": site_limits(plan, index),
        "guessed": not site.fill_gpm_given,
        "note": words.printable(site.notes),
    }
