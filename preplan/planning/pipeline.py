"""The recipe: from the user's tables and the roads to a finished plan. No reading, no writing, no drawing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain

import numpy as np

from preplan.errors import Finding, InputError
from preplan.plan import Plan, PostingCost
from preplan.plan_cards import CardGroup, Strip
from preplan.plan_inputs import Inputs
from preplan.plan_tables import (
    AnswerTable,
    BuildUpTable,
    Flag,
    HydrantReach,
    LayTable,
    LevelTable,
    RouteForest,
    SeasonLine,
    TripTable,
)
from preplan.planning.approaches import approaches
from preplan.planning.assignment import CutTrips, Scene
from preplan.planning.build_up import build_ups, with_build_ups
from preplan.planning.by_season import (
    merged_scene,
    rows_of,
    told_by_season,
    worst_roads,
)
from preplan.planning.doubts import settle_doubts
from preplan.planning.driver_warnings import weights_of, with_weights
from preplan.planning.dump_sites import with_dump_sites
from preplan.planning.flags import address_flags, site_flags, with_hydrants
from preplan.planning.flows import Flows
from preplan.planning.ground import Ground, SeasonGround, lay_ground, with_streets
from preplan.planning.groups import Answered, group_addresses, name_roads
from preplan.planning.hauls import haul_table
from preplan.planning.invariants import hold
from preplan.planning.kept import Measures, keep_trips, shown_pairs
from preplan.planning.lays import best_lays, with_lays
from preplan.planning.levels import Choice, Worked, choose, grade, supply_table
from preplan.planning.meeting import WayBack, crossing_flags, find_meetings, meeting_flags, ways_back
from preplan.planning.minutes import on_arrival_min, strips
from preplan.planning.near_limits import bridges_at_sites, limits_at_sites
from preplan.planning.occupancies import tally
from preplan.planning.postings import AskedWays, FreeWays, free_ways, posting_costs
from preplan.planning.rater import rater_table
from preplan.planning.response import Response, depart_min, respond
from preplan.planning.round_trips import SeasonTrips, pair_trips
from preplan.planning.searched import Searched, Shut, shut_ways, with_shut_ways
from preplan.planning.sheets import with_sheets
from preplan.planning.siting import meets_from
from preplan.planning.vehicles import CutFleet, is_tanker, loaded_vehicle, season_fleets, unlimited_fleet
from preplan.planning.ways_in import with_ways_in
from preplan.planning.weights import Weights
from preplan.planning.what_if import what_if_of
from preplan.records import BoolArray, FeatureTable, FloatArray, IntArray, RoadLimits, RoadTable, TextArray, Unit
from preplan.roads.hose import hydrant_reach
from preplan.roads.paths import Junctions
from preplan.roads.search import Fleet, Spots, response_min
from preplan.roads.speeds import rule_comparison
from preplan.roads.street_names import search_words
from preplan.units import M_PER_MI
from preplan.water.timeline_memory import remembering

Progress = Callable[[str, float], None]
"""Called with the name of a stage and the share of the whole that is done."""
_PAIRS = 400_000
"""Pairs of address and fill site that are weighed at once where places to build are weighed: a few hundred MB."""
MILE_PRICE_MIN = 1e6
"""Minutes that stand for a mile where the shortest way is wanted, not the quickest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What planning found out."""

    levels: LevelTable
    lays: LayTable
    built_up: BuildUpTable
    seasons: tuple[SeasonLine, ...]
    answers: AnswerTable
    near_hydrant: HydrantReach
    trips: TripTable
    forest: RouteForest
    posting_costs: tuple[PostingCost, ...]
    worked: tuple[Worked, ...]
    searched: Searched
    shut: Mapping[int, Shut]
    """See `searched.shut_ways`: of the trips that pages show."""
    weights: Weights


@remembering()
def plan_district(inputs: Inputs, roads: RoadTable, features: FeatureTable, progress: Progress) -> Plan:
    """Plan every address of a district; `inputs` are checked, `roads` and `features` are the road file's.

    Raises
    ------
    InputError
        Where a closure lies on no road, the roads reach no address, no unit can haul water or pump, or no fill site
        is in service.
    """
    units = inputs.in_service
    require_fleet(inputs, units)
    progress("placing addresses on the roads", 0.1)
    inputs = with_streets(inputs, roads)
    ground = lay_ground(inputs, roads, features)
    progress("searching round trips", 0.2)
    fleets = season_fleets(units, ground.as_seen)
    hydrant = hydrant_reach(roads, ground.limits, ground.frontages, inputs.hydrants, inputs.district.rules.hydrants)
    ground = with_dump_sites(inputs, units, ground, fleets)
    found, flows = weighed(inputs, units, ground, fleets, progress)
    choice, road = worst_roads([choose(each) for each in flows], ground.needs.required_gpm)
    scene = merged_scene([each.scene for each in flows], road)
    graded = grade(scene, flows, choice, road, hydrant)
    progress("tracing routes", 0.6)
    shown = shown_pairs(scene, graded, rows_of([each.cut for each in flows], road))
    searched = searched_in(ground, found, flows, choice, road)
    free_min = [free for season in searched.free_min for free in season]
    circuits = [circuit for season in found for circuit in season.circuits]
    trips, forest = keep_trips(circuits, free_min, searched.measures, shown, road)
    levels = with_trips(graded.levels, trips, len(scene.sites))
    answers = replace(graded.answers, flags=address_flags(scene, inputs.addresses, levels, trips, graded.answers))
    answers = with_hydrants(answers, hydrant, inputs.hydrants)
    answers = told_by_season(answers, levels.backup, choice, flows, roads_of(ground, choice.seasons))
    lays = best_lays(scene, levels, answers, trips, choice.seasons)
    answers = with_lays(answers, lays)
    built_up = build_ups(graded.worked, answers)
    answers = with_build_ups(answers, built_up)
    answers = with_meetings(answers, levels, trips, forest, road, fleets, inputs, ground)
    progress("weighing posted limits", 0.65)
    answers, costs, weights, shut = with_limits(inputs, ground, scene, levels, answers, (trips, forest), searched)
    progress("grouping neighbours", 0.7)
    outcome = Outcome(
        levels=levels,
        lays=lays,
        built_up=built_up,
        seasons=choice.seasons,
        answers=answers,
        near_hydrant=hydrant,
        trips=trips,
        forest=forest,
        posting_costs=costs,
        worked=graded.worked,
        searched=searched,
        shut=shut,
        weights=weights,
    )
    plan = assemble(inputs, ground, scene, fleets[0], outcome)
    hold(plan, ground.sites.lon, ground.sites.lat)
    return plan


def meets_at(
    inputs: Inputs,
    roads: RoadTable,
    features: FeatureTable,
    rows: IntArray,
    places: Sequence[str],
    levels: int,
    progress: Progress,
) -> BoolArray:
    """Tell which addresses each of some fill sites alone brings up to the requirement, (rows, places).

    `rows` are rows of the address table and `places` ids of fill sites, which `inputs` holds with all others; the first
    `levels` response levels count. Every round trip is searched, for so many addresses at a time that memory stays
    flat.
    """
    units = inputs.in_service
    require_fleet(inputs, units)
    rules = inputs.district.rules
    every = replace(rules, plan=replace(rules.plan, keep_sites=max(rules.plan.keep_sites, len(inputs.sites))))
    inputs = replace(inputs, district=replace(inputs.district, rules=every))
    inputs = with_streets(inputs, roads)
    whole = lay_ground(inputs, roads, features)
    fleets = season_fleets(units, whole.as_seen)
    at = [[site.site_id for site in inputs.sites].index(place) for place in places]
    parts, size = [np.empty((0, len(at)), dtype=np.bool_)], max(1, _PAIRS // len(inputs.sites))
    for first in range(0, len(rows), size):
        progress(f"weighing places, {first:,} of {len(rows):,} addresses", first / len(rows))
        some = rows[first : first + size]
        part = replace(inputs, addresses=inputs.addresses.rows(some))
        ground = replace(whole, needs=whole.needs.rows(some), frontages=whole.frontages.rows(some))
        ground = with_dump_sites(part, units, ground, fleets)
        _, flows = weighed(part, units, ground, fleets, lambda _stage, _share: None)
        parts.append(meets_from(flows, at, levels))
    return np.concatenate(parts)


def weighed(
    inputs: Inputs,
    units: tuple[Unit, ...],
    ground: Ground,
    fleets: tuple[tuple[CutFleet, ...], ...],
    progress: Progress,
) -> tuple[list[SeasonTrips], list[Flows]]:
    """Search the round trips and make ready to weigh flows, in each season of the roads."""
    found = [SeasonTrips(season, cuts, inputs, ground) for season, cuts in zip(ground.seasons, fleets, strict=True)]
    progress("deciding who comes", 0.35)
    responses = [response_of(inputs, units, ground, season) for season in ground.seasons]
    progress("computing flows", 0.4)
    return found, flows_of(inputs, units, ground, list(zip(ground.seasons, responses, fleets, found, strict=True)))


Season = tuple[SeasonGround, Response, tuple[CutFleet, ...], SeasonTrips]
"""One season of the roads: the roads, who comes, the vehicle classes and their trips."""


def flows_of(inputs: Inputs, units: tuple[Unit, ...], ground: Ground, seasons: Sequence[Season]) -> list[Flows]:
    """Make ready to weigh flows in every season; the trips of each then hold whatever could be chosen."""
    flows: list[Flows] = []
    for season in seasons:
        flows.append(Flows(scene_of(inputs, units, ground, *season), flows))
    for each, season in zip(flows, seasons, strict=True):
        settle_doubts(each, season[-1], partial(scene_of, inputs, units, ground, *season))
    return flows


def require_fleet(inputs: Inputs, units: tuple[Unit, ...]) -> None:
    """Refuse a district in which nobody hauls water, nobody pumps, or there is no water to haul."""
    months = inputs.district.rules.plan.months
    lacks = []
    if not any(is_tanker(unit) for unit in units):
        lacks.append(Finding(file="apparatus", rule="no tanker is in service", remedy="set in_service on one"))
    if all(unit.kind == "tanker" for unit in units):
        lacks.append(Finding(file="apparatus", rule="no engine is in service", remedy="set in_service on one"))
    if not any(site.in_service and site.months & months for site in inputs.sites):
        rule = "no fill site is in service in any month that is planned"
        lacks.append(Finding(file="fill_sites", rule=rule, remedy="see in_service and months"))
    if lacks:
        raise InputError(lacks)


def response_of(inputs: Inputs, units: tuple[Unit, ...], ground: Ground, season: SeasonGround) -> Response:
    """Time every unit's way to every address and site on its own loaded vehicle, and choose the fleets."""
    leaves = depart_min(
        tuple(unit for unit in inputs.units if unit.in_service), inputs.stations, inputs.district.rules.shuttle
    )
    station = {one.station_id: i for i, one in enumerate(inputs.stations)}
    stations, dumps, sites = Spots.of(ground.stations), Spots.of(ground.frontages), Spots.of(ground.sites)
    arrival = np.full((len(inputs.addresses), len(units)), np.inf)
    at_site = np.full((len(inputs.sites), len(units)), np.inf)
    drives: dict[object, tuple[FloatArray, FloatArray]] = {}
    for u, unit in enumerate(units):
        vehicle = loaded_vehicle(unit)
        if vehicle not in drives:
            fleet = Fleet.of(season.network, season.limits, season.minutes(vehicle.top_mph), vehicle)
            drives[vehicle] = (response_min(fleet, stations, dumps), response_min(fleet, stations, sites))
        to_address, to_site = drives[vehicle]
        home = station[unit.station_id]
        arrival[:, u] = leaves[unit.unit_id] + to_address[home]
        at_site[:, u] = leaves[unit.unit_id] + to_site[home]
    return respond(units, inputs.stations, inputs.district.levels, arrival, at_site)


def station_miles(inputs: Inputs, ground: Ground) -> FloatArray:
    """Measure the shortest way by road from the nearest station that comes unasked, (addresses,) miles; inf: none.

    A rater asks for it, whatever the minutes. Every mile is priced at a million minutes, so that turns and signals,
    a few minutes each, do not show.
    """
    miles = np.repeat((ground.roads.length_m / M_PER_MI)[:, None], 2, axis=1)
    season = ground.seasons[0]
    fleet = unlimited_fleet(season.network, season.limits, lambda _mph: miles * MILE_PRICE_MIN, np.inf)
    unasked = [i for i, station in enumerate(inputs.stations) if station.aid != "on request"]
    away = response_min(fleet, Spots.of(ground.stations), Spots.of(ground.frontages))[unasked]
    nearest: FloatArray = away.min(axis=0, initial=np.inf) / MILE_PRICE_MIN
    return nearest


def scene_of(
    inputs: Inputs,
    units: tuple[Unit, ...],
    ground: Ground,
    season: SeasonGround,
    response: Response,
    fleets: tuple[CutFleet, ...],
    found: SeasonTrips,
) -> Scene:
    """Gather what the water side needs in one season of the roads."""
    rules = inputs.district.rules
    rules = replace(rules, plan=replace(rules.plan, months=season.months))
    return Scene(
        rules=rules,
        levels=inputs.district.levels,
        sites=inputs.sites,
        units=units,
        response=response,
        needs=ground.needs,
        frontages=ground.frontages,
        cuts=tuple(
            CutTrips(trip_min=circuit.trip_min, out_min=circuit.out_min, members=fleet.members)
            for fleet, circuit in zip(fleets, found.circuits, strict=True)
        ),
        planned=inputs.district.rules.plan.months,
    )


def with_meetings(  # what it looks at is spread over the whole recipe
    answers: AnswerTable,
    levels: LevelTable,
    trips: TripTable,
    forest: RouteForest,
    road: IntArray,
    fleets: tuple[tuple[CutFleet, ...], ...],
    inputs: Inputs,
    ground: Ground,
) -> AnswerTable:
    """Flag the addresses whose loaded and empty tankers meet on a road one truck wide, and how to avoid it."""
    cell = np.arange(len(answers)), np.maximum(answers.level, 0)
    shown = np.concatenate(
        [np.where(answers.level >= 0, table[cell], -1) for table in (levels.trip, levels.split_trip)]
    )
    chosen = shown[shown >= 0]
    fraction = ground.frontages.fraction[trips.address[chosen]]
    meetings = find_meetings(ground.roads, ground.limits.narrow, trips, forest, chosen, fraction)
    better: dict[int, WayBack] = {}
    for season, cut in np.ndindex(len(fleets), len(fleets[0])):
        mine = (road[trips.address[meetings.trip]] == season) & (trips.cut[meetings.trip] == cut)
        if mine.any():
            legs = fleets[season][cut].loaded, fleets[season][cut].empty
            search, some = partial(pair_trips, inputs, ground), meetings.some(mine)
            better |= ways_back(ground.roads, ground.seasons[season], legs, trips, forest, some, search)
    flags = list(answers.flags)
    split = np.flatnonzero((answers.level >= 0) & (levels.split_trip[cell] >= 0))
    pairs = levels.trip[cell][split], levels.split_trip[cell][split]
    first, second = ((trips.out_leaf[trip], trips.back_leaf[trip]) for trip in pairs)
    fraction = ground.frontages.fraction[split]
    crossing = crossing_flags(ground.roads, ground.limits.narrow, forest, first, second, fraction)
    crossing = [(int(split[pair]), flag) for pair, flag in crossing]
    for address, flag in (*meeting_flags(trips, meetings, better, pairs[1]), *crossing):
        flags[address] = (*flags[address], flag)
    return replace(answers, flags=tuple(flags))


def with_limits(
    inputs: Inputs,
    ground: Ground,
    scene: Scene,
    levels: LevelTable,
    answers: AnswerTable,
    driven: tuple[TripTable, RouteForest],
    searched: Searched,
) -> tuple[AnswerTable, tuple[PostingCost, ...], Weights, Mapping[int, Shut]]:
    """Flag what is too weak, low or narrow on the ways and beside them, and what does not hold in some months.

    Gives besides what postings cost, the weights behind the flags, and `shut_ways` of the trips that pages show.
    """
    units, road = scene.units, searched.road
    costs, free = weigh_limits(inputs, ground, scene, levels, answers, searched)
    free = np.concatenate([free, approaches(answers, levels, road, units, inputs.stations, ground)])
    weights = weights_of(answers, levels, road, units, inputs, ground)
    answers = with_weights(answers, levels, *driven, weights, free)
    shown = np.concatenate([answers.shown(table) for table in (levels.trip, levels.split_trip)])
    shut = shut_ways(searched, *driven, np.unique(shown[shown >= 0]))
    return with_shut_ways(answers, levels, shut), costs, weights, shut


def weigh_limits(
    inputs: Inputs,
    ground: Ground,
    scene: Scene,
    levels: LevelTable,
    answers: AnswerTable,
    searched: Searched,
) -> tuple[tuple[PostingCost, ...], IntArray]:
    """Find what limits cost on the ways to the fill sites, and which ones tempt a driver who knows the roads.

    Gives the costs, and (pairs, 2) of address and limited stretch as `Met.free` has them.
    """
    road = searched.road
    # what a vehicle without limits takes that is as fast as all tankers together
    free_min = rows_of([season[-1] for season in searched.free_min], road)
    cell = np.arange(len(answers)), np.maximum(answers.level, 0)
    site, backup = levels.site[cell], levels.backup[cell]
    months = inputs.district.rules.plan.months
    stands = np.array([one.in_service and bool(one.months & months) for one in inputs.sites], dtype=np.bool_)
    search, seasons = partial(pair_trips, inputs, ground), ground.seasons

    def asked_of(sites: IntArray) -> tuple[AskedWays, tuple[FreeWays, ...]]:
        asked = AskedWays.of(sites, scene.cuts[-1].trip_min, free_min, road, stands)
        return asked, free_ways(ground.roads, seasons, scene.units, asked, search)

    asked, ways = asked_of(site)
    costs = posting_costs(ways, seasons, scene.units, asked, search)
    # he thinks of the backup's way too, and of the nearest fill site
    near = np.where(stands, free_min, np.inf).argmin(axis=1).astype(np.int32)
    others = (asked_of(one)[1] for one in (np.where(backup < 0, site, backup), near))
    tempting = [way.stretches for several in (ways, *others) for way in several]
    return costs, np.concatenate(tempting)


def searched_in(
    ground: Ground,
    found: Sequence[SeasonTrips],
    flows: Sequence[Flows],
    choice: Choice,
    road: IntArray,
) -> Searched:
    """Gather what was searched and weighed in every season of the roads."""
    return Searched(
        circuits=tuple(season.circuits for season in found),
        free_min=tuple(season.free_min() for season in found),
        flows=tuple(flows),
        limits=tuple(season.limits for season in ground.seasons),
        measures=Measures.of(ground.limits, ground.seasons[0].network.length_mi),
        road=road,
        seasons=choice.seasons,
        of_line=roads_of(ground, choice.seasons),
        rows=choice.rows,
    )


def with_trips(levels: LevelTable, trips: TripTable, sites: int) -> LevelTable:
    """Point each level's sites and backup at their rows of the trips."""
    row_of = np.full((len(levels.site), sites), -1, dtype=np.int32)
    row_of[trips.address, trips.site] = np.arange(len(trips), dtype=np.int32)
    a = np.arange(len(levels.site))[:, None]

    def rows(site: IntArray) -> IntArray:
        return np.where(site >= 0, row_of[a, np.maximum(site, 0)], -1).astype(np.int32)

    return replace(levels, trip=rows(levels.site), backup_trip=rows(levels.backup), split_trip=rows(levels.split))


def with_strips(groups: tuple[CardGroup, ...], outcome: Outcome) -> tuple[CardGroup, ...]:
    """Draw up the timeline of each card's lead address, at the level that it shows."""
    answers = outcome.answers
    strip_of: dict[int, Strip] = {}
    for part in outcome.worked:
        shown = np.flatnonzero(part.run.level == answers.level[part.run.address])
        row_of = dict(zip(part.run.address[shown].tolist(), shown.tolist(), strict=True))
        leads = [group.lead for group in groups if group.lead in row_of]
        run = part.run.rows(np.array([row_of[lead] for lead in leads], dtype=np.int32))
        # A card shows what it advises: where a call on arrival comes too late, the first alarm.
        late = answers.in_time(run.address)
        made = strips(part.scene, run, np.where(late, on_arrival_min(part.scene, run.address), 0.0))
        for lead, on_arrival, one in zip(leads, late.tolist(), made, strict=True):
            higher = "on arrival" if on_arrival else "first alarm"
            strip_of[lead] = replace(one, called=higher if answers.status[lead] == "higher level" else one.called)
    return tuple(replace(group, strip=strip_of.get(group.lead)) for group in groups)


def assemble(inputs: Inputs, ground: Ground, scene: Scene, fleets: tuple[CutFleet, ...], outcome: Outcome) -> Plan:
    """Put the finished plan together."""
    road = name_roads(inputs.addresses, ground.frontages, ground.roads)
    found = answered(inputs, ground, scene, outcome, road)
    groups = group_addresses(found, inputs.district.cards_per)
    groups, sheet_trips, sheet_forest = with_sheets(found, groups, outcome.searched, outcome.weights, outcome.shut)
    sheets = sheet_trips, sheet_forest
    groups = with_ways_in(found, groups, outcome.searched, sheets, outcome.weights, inputs.stations, ground)
    beside = rule_comparison(outcome.trips.out_min, outcome.trips.out_mi)
    return Plan(
        district=replace(inputs.district, date=inputs.district.date or ground.roads.newest),
        addresses=inputs.addresses,
        road=road,
        needs=scene.needs,
        frontages=ground.frontages,
        sites=inputs.sites,
        site_segment=ground.sites.segment,
        site_flags=told_at_sites(inputs, ground, scene, outcome.weights),
        stations=inputs.stations,
        units=scene.units,
        arrival_min=scene.response.arrival_min,
        site_arrival_min=scene.response.site_arrival_min,
        station_mi=station_miles(inputs, ground),
        hydrants=inputs.hydrants,
        near_hydrant=outcome.near_hydrant,
        cuts=tuple(fleet.cut for fleet in fleets),
        sheet_trips=sheet_trips,
        sheet_forest=sheet_forest,
        trips=outcome.trips,
        forest=outcome.forest,
        levels=outcome.levels,
        hauls=haul_table(outcome.worked),
        supply=supply_table(outcome.worked),
        lays=outcome.lays,
        built_up=outcome.built_up,
        rater=rater_table(outcome.worked, outcome.levels.site.shape),
        seasons=outcome.seasons,
        answers=outcome.answers,
        groups=with_strips(groups, outcome),
        roads=ground.roads,
        limits=ground.limits,
        season_limits=season_limits(ground, outcome.seasons),
        posting_costs=outcome.posting_costs,
        bridges=inputs.bridges,
        bridge_row=ground.bridge_row,
        bridge_named=ground.bridge_named,
        minutes=ground.minutes(fleets[-1].cut.top_mph),
        features=ground.features,
        problems=ground.problems,
        notes=(*inputs.notes, *ground.notes),
        rejected=inputs.rejected,
        occupancies=tally(inputs.addresses.occupancy),
        rule_ratio=(beside.quantiles[0], beside.median, beside.quantiles[-1]),
        what_if=what_if_of(scene, outcome.trips),
        search_words=search_words(),
    )


def told_at_sites(inputs: Inputs, ground: Ground, scene: Scene, weights: Weights) -> tuple[tuple[Flag, ...], ...]:
    """Give the flags of each fill site."""
    told = zip(
        limits_at_sites(weights, inputs.sites),
        bridges_at_sites(weights, inputs.sites),
        site_flags(scene, ground.sites.segment, ground.sites.gap_ft),
        strict=True,
    )
    return tuple(tuple(chain.from_iterable(some)) for some in told)


def season_limits(ground: Ground, seasons: tuple[SeasonLine, ...]) -> tuple[RoadLimits, ...]:
    """Give what the roads do in each season of the plan."""
    return tuple(ground.seasons[season].limits for season in roads_of(ground, seasons))


def roads_of(ground: Ground, seasons: tuple[SeasonLine, ...]) -> tuple[int, ...]:
    """Give the season of the roads of each season of the plan."""
    return tuple(
        next(at for at, one in enumerate(ground.seasons) if one.months >= set(line.months)) for line in seasons
    )


def answered(inputs: Inputs, ground: Ground, scene: Scene, outcome: Outcome, road: TextArray) -> Answered:
    """Gather what the grouping of neighbours looks at."""
    return Answered(
        addresses=inputs.addresses,
        road=road,
        frontages=ground.frontages,
        levels=outcome.levels,
        trips=outcome.trips,
        answers=outcome.answers,
        forest=outcome.forest,
        roads=ground.roads,
        limits=ground.limits,
        season_limits=season_limits(ground, outcome.seasons),
        site_fraction=tuple(ground.sites.fraction.tolist()),
        required_gpm=scene.needs.required_gpm,
        required_min=scene.needs.required_min,
        junctions=Junctions.of(ground.roads),
    )
