"""A finished plan -> what the map page carries: columns of packed whole numbers and lists of plain text.

Nothing is computed here but rounding, and which roads lie near enough to be drawn. Each distinct text (flag,
crew, road name) is stored once and named by its place in a list.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from preplan.months import month_words
from preplan.plan import STATUSES, Flag, Plan
from preplan.records import FILL_SITE_KINDS, BoolArray, Closure, FillSite, FloatArray, IntArray
from preplan.render import crew, us_grid, words
from preplan.render.card_words import season_words
from preplan.render.flag_words import GRAVE
from preplan.render.limit_places import named_words, posted_words
from preplan.render.map_pack import NOT_KNOWN, Ints, Page, Texts, grid, lines, pack, steps, whole
from preplan.render.map_search import id_columns, search_data
from preplan.render.map_strip import strip_data
from preplan.render.map_what_if import what_if_data

MARGIN_DEG = 0.03
"""Roads and water are drawn this far beyond the outermost place, some two miles."""
ROAD_RANKS = (
    frozenset({"motorway", "trunk", "primary"}),
    frozenset({"secondary"}),
    frozenset({"tertiary"}),
    frozenset({"unclassified", "residential", "living_street", "road"}),
)
"""Classes of road by width on the map; any other is the last rank."""
SIDES = ("", "left", "right")
"""Side of the road that a building stands on, along the stretch; '' not known."""
RATED = "rated"
"""Before a weight of the bridge table: it stands on no sign."""
MARK_POSTED, MARK_UNPOSTED, MARK_CLOSED = 1, 2, 4
"""Bits of a stretch: something posted; a bridge without a posted weight; no road for tankers."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A box of lon, lat in degrees."""

    west: float
    south: float
    east: float
    north: float

    @classmethod
    def around(cls, lonlat: FloatArray, margin_deg: float = 0.0) -> Frame:
        """Span (n, 2) finite points; the whole world where there are none."""
        known = lonlat[np.all(np.isfinite(lonlat), axis=1)]
        if not len(known):
            return cls(-180.0, -85.0, 180.0, 85.0)
        (west, south), (east, north) = known.min(axis=0) - margin_deg, known.max(axis=0) + margin_deg
        return cls(float(west), float(south), float(east), float(north))

    def touches(self, west: FloatArray, south: FloatArray, east: FloatArray, north: FloatArray) -> BoolArray:
        """Tell which of many boxes overlap this one."""
        return (west <= self.east) & (east >= self.west) & (south <= self.north) & (north >= self.south)

    def keep(self, shapes: Sequence[FloatArray]) -> list[FloatArray]:
        """Keep the shapes whose box overlaps this one."""
        if not shapes:
            return []
        low = np.array([shape.min(axis=0) for shape in shapes])
        high = np.array([shape.max(axis=0) for shape in shapes])
        inside = self.touches(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
        return [shapes[k] for k in np.flatnonzero(inside).tolist()]


def map_data(plan: Plan) -> Page:
    """Collect what the page's script needs; the same plan gives the same dict, in the same order."""
    along = along_roads(plan)
    trips = _trips(plan, along)
    used_rows, forest_row = _forest_rows(plan, trips)
    driven = np.concatenate([plan.forest.segment[used_rows], plan.frontages.segment])
    roads = kept_roads(plan, drawn_frame(plan), driven)
    road_row = _renumber(roads, len(plan.roads))
    return {
        "name": words.printable(plan.district.name),
        "date": words.printable(plan.district.date),
        "notKnown": words.NOT_KNOWN,
        "view": _box(view_frame(plan)),
        "statuses": _statuses(plan),
        "kinds": list(FILL_SITE_KINDS),
        "levels": [_level(plan, k) for k in range(len(plan.district.levels))],
        "units": [_unit(plan, k) for k in range(len(plan.units))],
        "stations": [_station(plan, k) for k in range(len(plan.stations))],
        "sites": [_site(plan, k) for k in range(len(plan.sites))],
        "roads": _roads(plan, roads),
        "ground": _ground(plan),
        "along": pack(steps(along)),
        "addresses": _addresses(plan, road_row, along),
        "answers": _answers(plan, along),
        "trips": _trip_columns(plan, trips, forest_row, along),
        "forest": _forest(plan, used_rows, forest_row, road_row),
        "closures": _closures(plan, road_row),
        "strips": strip_data(plan, along),
        "whatIf": what_if_data(plan, along),
        "search": search_data(plan),
    }


def along_roads(plan: Plan) -> Ints:
    """Order the addresses along the roads that they front: neighbours' numbers differ by little, and pack short."""
    return np.lexsort((plan.frontages.fraction, plan.frontages.segment))


def view_frame(plan: Plan) -> Frame:
    """Span what the page opens on: addresses on the roads and fill sites; all addresses where none is on the roads."""
    near = plan.frontages.segment >= 0
    addresses = np.column_stack([plan.addresses.lon, plan.addresses.lat])
    picked = np.concatenate([addresses[near] if near.any() else addresses, _lonlat(plan.sites)])
    return Frame.around(picked, margin_deg=0.002)


def drawn_frame(plan: Plan) -> Frame:
    """Span what is drawn at all: what the page opens on and every station, with a margin."""
    view = view_frame(plan)
    corners = np.array([[view.west, view.south], [view.east, view.north]])
    return Frame.around(np.concatenate([corners, _lonlat(plan.stations)]), margin_deg=MARGIN_DEG)


def kept_roads(plan: Plan, frame: Frame, driven: IntArray) -> IntArray:
    """List the stretches to draw: those in the frame that a vehicle could use, and every one that is driven.

    `driven` holds rows of the RoadTable, -1 for none.
    """
    roads = plan.roads
    if not len(roads):
        return np.empty(0, dtype=np.int32)
    start = roads.coord_start[:-1]
    box = [np.minimum.reduceat(axis, start) for axis in (roads.coord_lon, roads.coord_lat)]
    box += [np.maximum.reduceat(axis, start) for axis in (roads.coord_lon, roads.coord_lat)]
    inside = frame.touches(*box)
    footways = {"footway", "path", "cycleway", "steps", "bridleway", "pedestrian", "corridor"}
    walked = np.array([kind in footways for kind in roads.highway], dtype=np.bool_)
    inside &= ~(walked & ~plan.limits.tanker_road)
    inside[driven[driven >= 0]] = True
    return np.flatnonzero(inside).astype(np.int32)


def road_rank(highway: str) -> int:
    """Give a road's rank, 0 the widest.

    >>> road_rank("primary_link"), road_rank("service")
    (0, 4)
    """
    bare = highway.removesuffix("_link")
    return next((rank for rank, kinds in enumerate(ROAD_RANKS) if bare in kinds), len(ROAD_RANKS))


def _lonlat(records: Iterable[Any]) -> FloatArray:
    """Collect the places of records that have lon and lat, (n, 2)."""
    return np.array([(one.lon, one.lat) for one in records], dtype=np.float64).reshape(-1, 2)


def _box(frame: Frame) -> list[float]:
    return [round(edge, 5) for edge in (frame.west, frame.south, frame.east, frame.north)]


def _renumber(kept: IntArray | Ints, total: int) -> Ints:
    """Give each kept row its new number; -1 for the others."""
    new = np.full(total, -1, dtype=np.int64)
    new[kept] = np.arange(len(kept))
    return new


# --------------------------------------------------------------------------- the few


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


def _site(plan: Plan, index: int) -> Page:
    site = plan.sites[index]
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
        "facts": site_facts(site),
        "engineMin": whole(plan.site_arrival_min[index], way="up").tolist(),
        "flags": [_flag_said(plan, flag) for flag in plan.site_flags[index]],
        "needsEngine": site.needs_engine,
    }


# --------------------------------------------------------------------------- the ground


def _roads(plan: Plan, kept: IntArray) -> Page:
    roads, limits = plan.roads, plan.limits
    names, posts = Texts([""], {"": 0}), Texts([""], {"": 0})
    titles = [words.printable(roads.name[k]) or words.printable(roads.ref[k]) for k in kept.tolist()]
    marks = limits.posted[kept] * MARK_POSTED + limits.unposted_bridge[kept] * MARK_UNPOSTED
    marks += ~limits.tanker_road[kept] * MARK_CLOSED
    posted = [
        (posted_words(plan, k, short=True) or "posted") if limits.posted[k] else _rated_words(plan, k)
        for k in kept.tolist()
    ]
    return {
        **lines([plan.line(k) for k in kept.tolist()]),
        "rank": pack([road_rank(roads.highway[k]) for k in kept.tolist()]),
        "name": pack([names.place(title) for title in titles]),
        "mark": pack(marks),
        "post": pack([posts.place(text) for text in posted]),
        "names": names.values,
        "posts": posts.values,
        "ways": roads.way_id[kept][(marks & (MARK_POSTED | MARK_UNPOSTED)) > 0].tolist(),
    }


def _closures(plan: Plan, road_row: Ints) -> list[Page]:
    """List the district's own closures with their facts and the stretches drawn."""
    return [
        {
            "title": f"Closure {words.printable(one.closure.closure_id)}: {_closure_words(one.closure)}",
            "shut": one.closure.kind in {"closed", "one_way"},
            "facts": [
                ("In force", month_words(one.closure.months)),
                ("Note", words.printable(one.closure.note) or "none"),
            ],
            "roads": [row for row in road_row[one.segments].tolist() if row >= 0],
        }
        for one in plan.limits.closed
    ]


def _closure_words(closure: Closure) -> str:
    """Say what a closure does, such as 'at most 24,000 lb'."""
    units = {"max_lb": "lb", "max_height_ft": "ft high", "max_width_ft": "ft wide"}
    if closure.kind in units and closure.value is not None:
        digits = 0 if closure.kind == "max_lb" else 1
        return f"at most {words.number(closure.value, digits)} {units[closure.kind]}"
    return words.printable(closure.kind.replace("_", " "))


def _rated_words(plan: Plan, segment: int) -> str:
    """Say how the inventory rates a bridge that nobody posted: 'not posted; rated 42,000 lb'; else ''."""
    row = int(plan.bridge_row[segment])
    if row < 0 or not plan.limits.unposted_bridge[segment] or not np.isfinite(plan.bridges.operating_lb[row]):
        return ""
    return f"not posted; {RATED} {words.supply(float(plan.bridges.operating_lb[row]))} lb"


def _ground(plan: Plan) -> Page:
    """Water, streams, buildings and hydrants inside the frame."""
    features, frame = plan.features, drawn_frame(plan)
    hydrants = np.concatenate(
        [np.column_stack([plan.hydrants.lon, plan.hydrants.lat]), features.hydrant_lonlat.reshape(-1, 2)]
    )
    hydrants = hydrants[np.all(np.isfinite(hydrants), axis=1)]
    hydrants = hydrants[frame.touches(hydrants[:, 0], hydrants[:, 1], hydrants[:, 0], hydrants[:, 1])]
    return {
        "water": lines(frame.keep(features.water_rings)),
        "streams": lines(frame.keep(features.stream_lines)),
        "buildings": lines(frame.keep(features.building_rings)),
        "hydrantLon": pack(steps(grid(hydrants[:, 0]))),
        "hydrantLat": pack(steps(grid(hydrants[:, 1]))),
    }


# --------------------------------------------------------------------------- the many


def _addresses(plan: Plan, road_row: Ints, along: Ints) -> Page:
    table, needs, fronts = plan.addresses, plan.needs, plan.frontages
    lon, lat = grid(table.lon), grid(table.lat)
    on_road = (fronts.segment >= 0) & np.isfinite(fronts.lon) & np.isfinite(fronts.lat)
    bases, rests = Texts(), Texts()
    basis = [
        bases.place(words.basis_words(text) + ("; the size is assumed" if assumed else ""))
        for text, assumed in zip(needs.basis, needs.assumed.tolist(), strict=True)
    ]
    parted = [_parted(words.where_words(plan, k)) for k in range(len(table))]
    cross = {a: words.printable(group.cross_street) for group in plan.groups for a in group.addresses}
    crosses = Texts([""], {"": 0})
    ids, stems = id_columns(plan)
    squares, zones = _grid_columns(plan)
    columns = {
        "number": [number for number, _ in parted],
        "rest": [rests.place(rest) for _, rest in parted],
        "lon": lon,
        "lat": lat,
        "road": _moved(fronts.segment, road_row),
        "frontLon": np.where(on_road, grid(fronts.lon) - lon, 0),
        "frontLat": np.where(on_road, grid(fronts.lat) - lat, 0),
        "driveway": whole(fronts.driveway_ft, way="up"),
        "gpm": whole(needs.required_gpm, way="up"),
        "gal": whole(needs.required_gal, way="up"),
        "min": whole(needs.required_min, way="up"),
        "basis": basis,
        "cross": [crosses.place(cross.get(k, "")) for k in range(len(table))],
        "side": [SIDES.index(side) if side in SIDES else 0 for side in fronts.side.tolist()],
        **ids,
        **squares,
    }
    lists = {"rests": rests.values, "bases": bases.values, "crosses": crosses.values, "stems": stems, "zones": zones}
    return {**_packed(columns, along), **lists}


def _grid_columns(plan: Plan) -> tuple[dict[str, list[int]], list[str]]:
    """Part each address's place on the national grid into zone and square, east and north; '' where it has none."""
    zones = Texts([""], {"": 0})
    columns: dict[str, list[int]] = {"zone": [], "east": [], "north": []}
    for lon, lat in zip(plan.addresses.lon.tolist(), plan.addresses.lat.tolist(), strict=True):
        zone, east, north = (us_grid.grid_words(lon, lat) or " 0 0").rsplit(" ", 2)
        for name, one in (("zone", zones.place(zone)), ("east", int(east)), ("north", int(north))):
            columns[name].append(one)
    return columns, zones.values


def _packed(columns: dict[str, Any], along: Ints) -> Page:
    """Pack columns by address, or by address and level, as steps from address to address along the roads."""
    return {name: pack(steps(np.asarray(column)[along])) for name, column in columns.items()}


def _parted(label: str) -> tuple[int, str]:
    """Part a label into house number and rest, so that roads are stored once; -1 where it has no plain number.

    >>> _parted("12 Mill Road"), _parted("012 Mill Road"), _parted("Mill Road")
    ((12, 'Mill Road'), (-1, '012 Mill Road'), (-1, 'Mill Road'))
    """
    number, _, rest = label.partition(" ")
    plain = rest and re.fullmatch(r"0|[1-9][0-9]{0,7}", number)
    return (int(number), rest) if plain else (NOT_KNOWN, label)


def _answers(plan: Plan, along: Ints) -> Page:
    """Answers by address, and by address and level."""
    answers, levels = plan.answers, plan.levels
    flags, codes = Texts(), Texts()
    flag_lists: list[list[int]] = []
    code_of: dict[str, int] = {}
    for row, called in zip(answers.flags, answers.called.tolist(), strict=True):
        said = [_flag_said(plan, flag, called) for flag in row]
        code_of |= {one: codes.place(words.printable(flag.code)) for one, flag in zip(said, row, strict=True)}
        flag_lists.append([flags.place(one) for one in said])
    case, texts = _cases(plan)
    by_hose = Texts()
    by_hose.place("")
    columns = {
        "status": [STATUSES.index(status) for status in answers.status],
        "level": answers.level,
        "hydrant": whole(answers.hydrant_ft, way="up"),
        "byHose": [by_hose.place(crew.lay_meets_words(plan, a)) for a in range(len(answers))],
        "first": whole(answers.first_arrival_min, 10),
        "flagCount": [len(row) for row in flag_lists],
        "case": case,
        "cycle": whole(levels.cycle_min, 10),
        "flow": whole(levels.uninterrupted_gpm, way="down"),
        "steady": whole(levels.sustained_gpm, way="down"),
        "onArrival": whole(levels.on_arrival_gpm, way="down"),
        "gapOnArrival": whole(levels.gap_on_arrival_min, 10),
        "firstWater": whole(answers.first_water_min, 10),
        "callBy": whole(answers.call_by_min),
        "backupFlow": whole(levels.backup_gpm, way="down"),
        "oneOut": whole(levels.one_out_gpm, way="down"),
        "dumpMin": _dump_engine_min(plan),
    }
    return {
        **_packed(columns, along),
        **texts,
        "byHoseWords": by_hose.values,
        "flag": pack([one for row in flag_lists for one in row]),
        "flags": flags.values,
        "code": pack([code_of[said] for said in flags.values]),
        "codes": codes.values,
        "grave": [place for code, place in codes.places.items() if code in GRAVE],
    }


def _dump_engine_min(plan: Plan) -> Ints:
    """Give when the engine at the dump site arrives, whole minutes up, (addresses, levels); -1: none, or not known."""
    engine = plan.levels.dump_engine
    arrival = (
        np.take_along_axis(plan.arrival_min, np.maximum(engine, 0), axis=1)
        if len(plan.units)
        else np.zeros(engine.shape)
    )
    return whole(np.where(engine >= 0, arrival, np.nan), way="up")


def _flag_said(plan: Plan, flag: Flag, called: str = "") -> str:
    """Say a flag with the numbers of the fill sites as the map has them, and a gap with how the level is called."""
    value = flag.value
    numbers = {site.site_id: f"fill site {k + 1}" for k, site in enumerate(plan.sites)}
    if isinstance(value, str) and flag.code == "two fill sites":
        value = re.sub(r"(?<= at ).+(?=, round trip )", lambda found: numbers.get(found[0], found[0]), value)
    if isinstance(value, str) and flag.code == "shares its source":
        value = ", ".join(numbers.get(one, one) for one in value.split(" "))
    said = named_words(plan, replace(flag, value=value))
    return (
        said.removesuffix(".") + ", if this level is called on arrival."
        if (flag.code, called) == ("gap", "on arrival")
        else said
    )


def _cases(plan: Plan) -> tuple[Ints, Page]:
    """List what many answers have in common, each distinct set of it once.

    Returns the number of each answer's set, (addresses, levels), and the sets.

    A case is fill site, backup, second site, meets, engines short, tankers short, and the places of its crew,
    limiting term, season, units on request and lines by season in their lists.
    """
    levels = plan.levels
    cases, crews, limits, seasons = Texts(), Texts(), Texts(), Texts()
    requests, lines = Texts([""], {"": 0}), Texts([()], {(): 0})
    on_request = any(station.aid == "on request" for station in plan.stations)
    months = [month_words(season.months) for season in plan.seasons]
    matters = _season_matters(plan)
    counted = (levels.site, levels.backup, levels.split, levels.meets, levels.short_engines, levels.short_tankers)
    numbers = np.stack([column.astype(np.int64) for column in counted], axis=-1).tolist()
    case = np.empty(levels.site.shape, dtype=np.int64)
    for a, k in np.ndindex(*levels.site.shape):
        season = int(levels.season[a, k])
        texts = (
            crews.place(_crew(plan, a, k)),
            limits.place(_limit(plan, a, k)),
            seasons.place(months[season] if matters[a, k] and 0 <= season < len(months) else ""),
            requests.place(crew.request_words(plan, a, k) if on_request else ""),
            lines.place(tuple(season_words(plan, a, k)) if matters[a, k] else ()),
        )
        case[a, k] = cases.place((*numbers[a][k], *texts))
    lists = {"cases": cases, "crews": crews, "limits": limits, "seasons": seasons}
    lists |= {"requests": requests, "seasonLines": lines}
    return case, {name: one.values for name, one in lists.items()}


def _limit(plan: Plan, address: int, level: int) -> str:
    """Say what holds the flow back; of hose that is short, by how many feet."""
    held = words.limit_words(str(plan.levels.limited_by[address, level]))
    return f"{held}. {crew.short_words(plan, address, level)}".removesuffix(". ")


def _season_matters(plan: Plan) -> BoolArray:
    """Tell where the seasons of an answer differ by a whole gpm or by the best site, (addresses, levels)."""
    if not plan.seasons:
        return np.zeros(plan.levels.site.shape, dtype=np.bool_)
    flows = np.stack([whole(season.uninterrupted_gpm, way="down") for season in plan.seasons])
    sites = np.stack([np.stack([season.best_site, season.split_site]) for season in plan.seasons])
    differs: BoolArray = np.any(flows != flows[0], axis=0) | np.any(sites != sites[0], axis=(0, 1))
    return differs


def _crew(plan: Plan, address: int, level: int) -> tuple[int | tuple[int, ...], ...]:
    """List attack, fill and dump engine; the tankers that shuttle, those left out, and the rest, each by arrival.

    Then the engine at the second fill site, and those of the tankers that fill there.
    """
    table = plan.levels
    engines = (table.attack_engine, table.fill_engine, table.dump_engine)
    busy, second = tuple(int(column[address, level]) for column in engines), int(table.split_engine[address, level])
    there = table.at_split[address, level]
    used, hauling, fleet = (mask[address, level] for mask in (table.used, table.tankers, table.fleet))
    order = np.lexsort((np.arange(len(plan.units)), plan.arrival_min[address])).tolist()
    return (
        *busy,
        tuple(unit for unit in order if used[unit]),
        tuple(unit for unit in order if hauling[unit] and not used[unit]),
        tuple(unit for unit in order if fleet[unit] and not hauling[unit] and unit not in (*busy, second)),
        second,
        tuple(unit for unit in order if there[unit]),
    )


def _moved(rows: IntArray, new: Ints) -> Ints:
    """Renumber rows; -1 stays."""
    return np.where(rows >= 0, new[rows], -1) if len(new) else np.full(rows.shape, -1, dtype=np.int64)


# --------------------------------------------------------------------------- the routes


def _trips(plan: Plan, along: Ints) -> IntArray:
    """List the trips that some answer names, by fill site, then along the roads."""
    levels = plan.levels
    named = np.unique(np.concatenate([trip.ravel() for trip in (levels.trip, levels.backup_trip, levels.split_trip)]))
    kept = named[named >= 0]
    place = _renumber(along, len(along))
    return kept[np.lexsort((place[plan.trips.address[kept]], plan.trips.site[kept]))].astype(np.int32)


def _forest_rows(plan: Plan, trips: IntArray) -> tuple[IntArray, Ints]:
    """List the forest's rows on the way of the kept trips, and the new number of every row."""
    parent = plan.forest.parent
    on_way = np.zeros(len(plan.forest), dtype=np.bool_)
    front = np.unique(np.concatenate([plan.trips.out_leaf[trips], plan.trips.back_leaf[trips]]))
    front = front[front >= 0]
    while front.size:
        on_way[front] = True
        front = np.unique(parent[front])
        front = front[front >= 0]
        front = front[~on_way[front]]
    kept = np.flatnonzero(on_way).astype(np.int32)
    return kept, _renumber(kept, len(plan.forest))


def _trip_columns(plan: Plan, kept: IntArray, forest_row: Ints, along: Ints) -> Page:
    trips = plan.trips
    out_min, back_min = trips.out_min[kept], trips.back_min[kept]
    out_mi, back_mi = trips.out_mi[kept], trips.back_mi[kept]
    tenths = [whole(part, 10) for part in (out_min, back_min, out_min + back_min)]
    hundredths = [whole(part, 100) for part in (out_mi, back_mi, out_mi + back_mi)]
    columns: dict[str, IntArray | Ints] = {
        "site": trips.site[kept],
        "place": _renumber(along, len(along))[trips.address[kept]],
        "outMin": tenths[0],
        "backMin": tenths[1],
        "outMi": hundredths[0],
        "backMi": hundredths[1],
        # The whole, rounded by itself, less the sum of its rounded parts.
        "moreMin": tenths[2] - tenths[0] - tenths[1],
        "moreMi": hundredths[2] - hundredths[0] - hundredths[1],
        "bridges": trips.unposted_bridges[kept],
        "turn": trips.turn_at_dump[kept] * 1 + plan.turns_at_site(kept) * 2,
        "outLeaf": _moved(trips.out_leaf[kept], forest_row),
        "backLeaf": _moved(trips.back_leaf[kept], forest_row),
    }
    return {name: pack(steps(column)) for name, column in columns.items()}


def _forest(plan: Plan, rows: IntArray, forest_row: Ints, road_row: Ints) -> Page:
    """Pack the trees: twice the road, plus 1 where it is driven forward, in steps; and how far up the parent is.

    `up` is a row's own number less its parent's, 0 at a site's own stretch.
    """
    parent = _moved(plan.forest.parent[rows], forest_row)
    here = np.arange(len(rows))
    driven = 2 * road_row[plan.forest.segment[rows]] + plan.forest.forward[rows]
    return {"driven": pack(steps(driven)), "up": pack(np.where(parent >= 0, here - parent, 0))}
