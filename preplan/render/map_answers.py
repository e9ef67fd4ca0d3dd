"""Addresses and what is answered for each, packed along the roads for the map page; each distinct text once."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import chain
from typing import Any

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_tables import STATUSES, Flag
from preplan.records import BoolArray, FloatArray
from preplan.render import backups, crew, first_minutes, us_grid, words
from preplan.render.card_facts import Facts, own_months
from preplan.render.card_other import jobs_words
from preplan.render.card_rest import CIRCUITS_MEET
from preplan.render.card_seasons import other_jobs, season_words, seasons_alone
from preplan.render.first_drive import tight_told
from preplan.render.flag_words import GRAVE, LANES, SHORT
from preplan.render.limit_places import named_words
from preplan.render.map_pack import NOT_KNOWN, Forms, Ints, Page, Texts, grid, pack, steps, whole
from preplan.render.map_routes import moved
from preplan.render.map_search import id_columns
from preplan.render.tables import deciding_months

SIDES = ("", "left", "right")
"""Side of the road that a building stands on, along the stretch; '' not known."""


def address_data(plan: Plan, road_row: Ints, along: Ints) -> Page:
    """Pack where each address is, what it needs, and its label, id and grid square."""
    table, needs, fronts = plan.addresses, plan.needs, plan.frontages
    lon, lat = grid(table.lon), grid(table.lat)
    on_road = (fronts.segment >= 0) & np.isfinite(fronts.lon) & np.isfinite(fronts.lat)
    bases, rests = Texts(), Texts()
    basis = [
        bases.place(words.basis_words(text) + ("; the size is assumed" if assumed else ""))
        for text, assumed in zip(needs.basis, needs.assumed.tolist(), strict=True)
    ]
    parted = [_parted(words.where_words(plan, k)) for k in range(len(table))]
    cross = {a: words.cross_street(group) for group in plan.groups for a in group.addresses}
    crosses = Texts([""], {"": 0})
    ids, stems = id_columns(plan)
    squares, zones = _grid_columns(plan)
    columns = {
        "number": [number for number, _ in parted],
        "rest": [rests.place(rest) for _, rest in parted],
        "lon": lon,
        "lat": lat,
        "road": moved(fronts.segment, road_row),
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


def answer_data(plan: Plan, along: Ints) -> Page:
    """Answers by address, and by address and level."""
    answers, levels = plan.answers, plan.levels
    flags, flag_lists, codes = _flags(plan)
    case, texts = _cases(plan)
    by_hose, built_up, tight, hydrants = (Texts([""], {"": 0}) for _ in range(4))
    near_hydrant = [
        " ".join(words.hydrant_words(plan, a)) if s == "hydrant" else "" for a, s in enumerate(answers.status)
    ]
    apart, seasons_apart = _apart(plan)
    backup_then, backups_then = _backups_then(plan)
    gap = whole(levels.gap_on_arrival_min, 10)
    columns = {
        "status": [STATUSES.index(status) for status in answers.status],
        "level": answers.level,
        "hydrant": whole(answers.hydrant_ft, way="up"),
        "hydrantCounts": [hydrants.place(said) for said in near_hydrant],
        "byHose": [by_hose.place(crew.lay_meets_words(plan, a)) for a in range(len(answers))],
        "tight": _tight(plan, tight),
        "builtUp": [built_up.place(_built_up(plan, a)) for a in range(len(answers))],
        "apart": apart,
        "first": whole(answers.first_arrival_min, 10),
        "attackMin": whole(answers.first_arrival_min, way="up"),
        "flagCount": [len(row) for row in flag_lists],
        "case": case,
        "cycle": whole(levels.cycle_min, 10),
        "flow": whole(levels.uninterrupted_gpm, way="down"),
        "steady": whole(levels.sustained_gpm, way="down"),
        "onArrival": whole(levels.on_arrival_gpm, way="down"),
        "gapOnArrival": gap,
        # of a gap those minutes in which some flows: of most gaps none, so that this column takes next to no room
        "someOnArrival": gap - whole(levels.nothing_on_arrival_min, 10),
        "firstWater": whole(answers.first_water_min, 10),
        "callBy": whole(_call_by_min(plan)),
        "hurried": _hurried(plan),
        "backupFlow": whole(levels.backup_gpm, way="down"),
        "backupTens": whole(levels.backup_steady_gpm, 1.0 / words.CARD_STEP_GPM, way="down"),  # as it is printed
        "backupThen": backup_then,
        "oneOut": whole(levels.one_out_gpm, way="down"),
        "dumpMin": _dump_engine_min(plan),
    }
    lines = texts.pop("seasonLines")
    sayings = [said for said, _ in flags]
    forms = Forms(chain(sayings, built_up.values, *lines, *(some for *_, some in backups_then)))
    return {
        **_packed(columns, along),
        **texts,
        "hydrants": hydrants.values,
        "byHoseWords": by_hose.values,
        "tightWords": tight.values,
        "forms": forms.values,
        "builtUpWords": [*map(forms.packed, built_up.values)],
        "seasonLines": [[*map(forms.packed, some)] for some in lines],
        "seasonsApart": seasons_apart,
        "backupsThen": [(*months, [*map(forms.packed, some)]) for *months, some in backups_then],
        "flag": pack([one for row in flag_lists for one in row]),
        "flags": [*map(forms.packed, sayings)],
        "flagsNear": [(at, there) for at, (_, there) in enumerate(flags) if there],
        **codes,
    }


def _built_up(plan: Plan, address: int) -> str:
    """Say in one line from when on much more is held than at once; '' where that is not so.

    What is left in the end, the steady flow, stands in the panel at each level.
    """
    then, draw, _ = first_minutes.built_up_words(plan, address, [address])
    if draw[:1].islower():  # a choice, which begins with what is held at once
        held = float(plan.levels.uninterrupted_gpm[address, int(plan.answers.level[address])])
        have, _ = words.flow_pair(held, float(plan.needs.required_gpm[address]))
        return f"{have} gpm from minute {first_minutes.full_flow_words(plan, address)}, {then}, {draw}"
    return f"{words.first_up(then)}. {draw}" if then else ""


def _flags(plan: Plan) -> tuple[list[Any], list[list[int]], Page]:
    """List what flags say, each distinct one once.

    Returns (words, stretches of which a fill site's page warns too), the places of each address's flags in that list,
    and the code of each with those that are grave.
    """
    flags, codes = Texts(), Texts()
    places: list[list[int]] = []
    code_of: dict[Any, int] = {}
    near = {stretch for row in plan.site_flags for flag in row for stretch in flag.stretches}
    for row, called in zip(plan.answers.flags, plan.answers.called.tolist(), strict=True):
        # what a fill site's page warns of too is known by its stretches: two roads may have one name
        said = [(flag_said(plan, flag, called), tuple(s for s in flag.stretches if s in near)) for flag in row]
        code_of |= {one: codes.place(words.printable(flag.code)) for one, flag in zip(said, row, strict=True)}
        places.append([flags.place(one) for one in said])
    # in bold: first what is too heavy for its way, then where trucks wait for each other
    bold = [[place for code, place in codes.places.items() if code in of] for of in (GRAVE, LANES | {CIRCUITS_MEET})]
    return flags.values, places, {
        "code": pack([code_of[said] for said in flags.values]), "codes": codes.values, "bold": bold,
    }  # fmt: skip


def _backups_then(plan: Plan) -> tuple[Ints, list[tuple[Any, ...]]]:
    """Say of backups when what is told of them holds, when they stand in, and what holds else.

    Returns the place of each answer in a list, (addresses, levels), and the list of two texts of months, '' for all
    year, and the lines.
    """
    said = Texts([("", "", ())], {("", "", ()): 0})
    place = np.zeros(plan.levels.backup.shape, dtype=np.int64)
    for a, k in np.argwhere(plan.levels.site >= 0).tolist():
        months = backups.told_in(plan, a, k), backups.stands_in_words(plan, a, k)
        place[a, k] = said.place((*months, tuple(backups.lines_of(plan, a, k))))
    return place, said.values


def _apart(plan: Plan) -> tuple[list[int], list[Any]]:
    """Say of addresses that tankers reach in some months only in which they do not, and what holds in the others.

    Returns the place of each address in a list, 0: it is none of those, and the list of (months, lines).
    """
    said: list[Any] = [("", ())]
    place = [0] * len(plan.addresses)
    for group in plan.groups:
        facts = Facts(plan, group)
        for a in group.addresses:
            without = plan.months_without(a) if plan.answers.level[a] < 0 else []
            if not without:
                continue
            lines = seasons_alone(plan, [a], group.others)
            for other in group.others:
                if other.months and other.tankers:
                    there = f"{words.first_up(month_words(other.months))}, fill site {other.site + 1}"
                    lines.append(f"{there}. {jobs_words(facts, other)} Map and way: behind the card.")
            place[a] = len(said)
            said.append((month_words(without), tuple(lines)))
    return place, said


def _dump_engine_min(plan: Plan) -> Ints:
    """Give when the engine at the dump site arrives, whole minutes up, (addresses, levels); -1: none, or not known."""
    engine = plan.levels.dump_engine
    arrival = (
        np.take_along_axis(plan.arrival_min, np.maximum(engine, 0), axis=1)
        if len(plan.units)
        else np.zeros(engine.shape)
    )
    return whole(np.where(engine >= 0, arrival, np.nan), way="up")


def flag_said(plan: Plan, flag: Flag, called: str = "") -> str:
    """Say a flag with the numbers of the fill sites as the map has them, and a gap with how the level is called."""
    value = flag.value
    numbers = {site.site_id: f"fill site {k + 1}" for k, site in enumerate(plan.sites)}
    if isinstance(value, str) and flag.code == "two fill sites":
        value = re.sub(r"(?<= at ).+(?=, round trip )", lambda found: numbers.get(found[0], found[0]), value)
    if isinstance(value, str) and flag.code == "shares its source":
        value = ", ".join(numbers.get(one, one) for one in flag.names or (value,))
    said = named_words(plan, replace(flag, value=value))
    return (
        said.removesuffix(".") + ", if this level is called on arrival."
        if flag.code in SHORT and called == "on arrival"
        else said
    )


def _cases(plan: Plan) -> tuple[Ints, Page]:
    """List what many answers have in common, each distinct set of it once.

    Returns the number of each answer's set, (addresses, levels), and the sets.

    A case is fill site, backup, second site, meets, engines short, tankers short, and the places of its crew,
    limiting term, months that decide, units on request, lines by season and months told of in their lists.
    """
    levels = plan.levels
    cases, crews, limits, seasons = Texts(), Texts(), Texts(), Texts()
    requests, lines = Texts([""], {"": 0}), Texts([()], {(): 0})
    on_request = any(station.aid == "on request" for station in plan.stations)
    jobs = _other_jobs(plan)
    matters = _season_matters(plan)
    worst = np.where(matters, deciding_months(plan), "").tolist()
    sheets = {(a, int(plan.answers.level[a])): group.others for group in plan.groups for a in group.addresses}
    counted = (levels.site, levels.backup, levels.split, levels.meets, levels.short_engines, levels.short_tankers)
    numbers = np.stack([column.astype(np.int64) for column in counted], axis=-1).tolist()
    case = np.empty(levels.site.shape, dtype=np.int64)
    for a, k in np.ndindex(*levels.site.shape):
        told = own_months(plan, a, k, sheets.get((a, k), ()))
        texts = (
            crews.place(_crew(plan, a, k)),
            limits.place(_limit(plan, a, k)),
            seasons.place(worst[a][k]),
            requests.place(crew.request_words(plan, a, k) if on_request else ""),
            lines.place((*season_words(plan, a, k), *jobs.get((a, k), ())) if matters[a, k] else ()),
            seasons.place(month_words(told) if told else ""),
        )
        case[a, k] = cases.place((*numbers[a][k], *texts))
    lists = {"cases": cases, "crews": crews, "limits": limits, "seasons": seasons}
    lists |= {"requests": requests, "seasonLines": lines}
    return case, {name: one.values for name, one in lists.items()}


def _other_jobs(plan: Plan) -> dict[tuple[int, int], tuple[str, ...]]:
    """Say by address and level shown who has other jobs in other months, as the card does; the page adds the stop."""
    found: dict[tuple[int, int], tuple[str, ...]] = {}
    for group in plan.groups:
        facts = Facts(plan, group)
        if facts.level >= 0 and (told := tuple(one.rstrip(".") for one in other_jobs(facts))):
            found |= {(a, facts.level): told for a in group.addresses}
    return found


def _limit(plan: Plan, address: int, level: int) -> str:
    """Say what holds the flow back; of hose that is short, by how many feet."""
    held = words.limit_words(str(plan.levels.limited_by[address, level]))
    return f"{held}. {crew.short_words(plan, address, level)}".removesuffix(". ")


def _tight(plan: Plan, told: Texts) -> list[int]:
    """Place what hardly lets the units called pass on their first drive, and months in which a late call brings less.

    As the card of each address has both.
    """
    place = [0] * len(plan.addresses)
    for group in plan.groups:
        said = [*(one for one, _ in tight_told(plan, group.ways_in)), first_minutes.at_once_in(plan, group).strip()]
        row = told.place("\n".join(filter(None, said)))
        for a in (group.lead, *group.addresses):
            place[a] = row
    return place


def _call_by_min(plan: Plan) -> FloatArray:
    """Give the minute by which each address's higher level is called, as its card tells it; see `called_by_min`.

    0 where no level meets, and that which is shown goes with the first alarm.
    """
    by_min = np.full(len(plan.addresses), np.nan)
    none = (plan.answers.status == "not met") & (plan.answers.level >= 0)
    for group in plan.groups:
        rows = [group.lead, *group.addresses]
        by_min[rows] = plan.answers.called_by_min(rows)
        if none[group.lead]:
            by_min[rows] = 0.0 if first_minutes.less_called_later(plan, rows) else np.nan
    return by_min


def _hurried(plan: Plan) -> list[int]:
    """Mark the addresses whose higher level is called best with the first alarm, as the card says."""
    marked = [0] * len(plan.addresses)
    for group in plan.groups:
        rows = [group.lead, *group.addresses]
        for a in rows if first_minutes.little_time(plan, rows).any() else ():
            marked[a] = 1
    return marked


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

    Then the engine at the second fill site, those of the tankers that fill there, and who of the rest lays hose.
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
        tuple(unit for unit in plan.supply.of(address, level) if unit not in (*busy, second) and not hauling[unit]),
    )
