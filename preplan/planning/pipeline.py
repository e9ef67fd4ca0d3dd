"""The recipe: from the user's tables and the roads to a finished plan. No reading, no writing, no drawing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from preplan.errors import Finding, InputError
from preplan.plan import Plan, PostingCost
from preplan.plan_inputs import Inputs
from preplan.plan_tables import (
    AnswerTable,
    HydrantReach,
    LevelTable,
    RouteForest,
    TripTable,
)
from preplan.planning.approaches import approaches
from preplan.planning.assembly import Outcome, assemble, roads_of
from preplan.planning.assignment import CutTrips, Scene
from preplan.planning.build_up import build_ups, with_build_ups
from preplan.planning.by_season import (
    merged_scene,
    rows_of,
    told_by_season,
    worst_roads,
)
from preplan.planning.choices import Choice, choose
from preplan.planning.doubts import settle_doubts
from preplan.planning.driver_warnings import weights_of, with_weights
from preplan.planning.dump_sites import with_dump_sites, with_shut_beyond
from preplan.planning.flags import address_flags, with_hydrants
from preplan.planning.flows import Flows
from preplan.planning.ground import Ground, SeasonGround, lay_ground, on_dry_land, with_streets
from preplan.planning.invariants import hold
from preplan.planning.kept import Measures, keep_trips, shown_pairs
from preplan.planning.lays import best_lays, with_lays
from preplan.planning.levels import grade
from preplan.planning.meeting import WayBack, crossing_flags, find_meetings, meeting_flags, ways_back
from preplan.planning.off_road import with_barriers, with_water_between
from preplan.planning.postings import AskedWays, FreeWays, free_ways, posting_costs
from preplan.planning.response import Response, depart_min, respond
from preplan.planning.round_trips import SeasonTrips, pair_trips
from preplan.planning.searched import Searched, Shut, shut_ways, with_shut_ways
from preplan.planning.siting import meets_from
from preplan.planning.vehicles import CutFleet, is_tanker, loaded_vehicle, season_fleets
from preplan.planning.weights import Weights
from preplan.records import BoolArray, FeatureTable, FloatArray, IntArray, RoadTable, Unit
from preplan.roads.hose import hydrant_reach
from preplan.roads.search import Fleet, Spots, response_min
from preplan.water.timeline_memory import remembering

Progress = Callable[[str, float], None]
"""Called with the name of a stage and the share of the whole that is done."""
_PAIRS = 400_000
"""Pairs of address and fill site that are weighed at once where places to build are weighed: a few hundred MB."""


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
    hydrant = _hydrants_near(inputs, roads, ground)
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
    of_line = roads_of(ground, choice.seasons)
    answers = told_by_season(answers, levels.backup, choice, flows, of_line)
    answers = _with_what_parts(answers, inputs, ground)
    lays = best_lays(scene, levels, answers, trips, choice.seasons)
    answers = with_lays(answers, lays, scene)
    built_up = build_ups(graded.worked, answers, _beside(choice, flows, of_line))
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


def _beside(choice: Choice, flows: Sequence[Flows], of_line: Sequence[int]) -> list[tuple[Flows, IntArray]]:
    """Give of each season the settled cases of those addresses of which it does not decide; -1: it does."""
    return [
        (flows[at], np.where(choice.season == line, -1, choice.rows[line]).astype(np.int32))
        for line, at in enumerate(of_line)
    ]


def _hydrants_near(inputs: Inputs, roads: RoadTable, ground: Ground) -> HydrantReach:
    """Find the hydrants over the roads as they were read: hose goes past a barrier that parts them for trucks."""
    near, rules = on_dry_land(ground), inputs.district.rules.hydrants
    return hydrant_reach(roads, ground.limits, near, inputs.hydrants, rules, ground.features)


def _with_what_parts(answers: AnswerTable, inputs: Inputs, ground: Ground) -> AnswerTable:
    """Flag what lies between dump site and building: a road that is shut, a barrier, water."""
    answers = with_shut_beyond(answers, ground)
    answers = with_barriers(answers, inputs, ground.roads, ground.frontages)
    return with_water_between(answers, ground.over_water)


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
    """Refuse a district in which nobody hauls water, nobody pumps, or there is no water to haul.

    Raises
    ------
    InputError
        With all that is wanting.
    """
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
    trip, split_trip = answers.shown(levels.trip), answers.shown(levels.split_trip)
    chosen = np.concatenate([trip[trip >= 0], split_trip[split_trip >= 0]])
    fraction = ground.frontages.fraction[trips.address[chosen]]
    meetings = find_meetings(ground.roads, ground.limits.narrow, trips, forest, chosen, fraction)
    better: dict[int, WayBack] = {}
    for season, cut in np.ndindex(len(fleets), len(fleets[0])):
        mine = (road[trips.address[meetings.trip]] == season) & (trips.cut[meetings.trip] == cut)
        if mine.any():
            legs = fleets[season][cut].loaded, fleets[season][cut].empty
            search, some = partial(pair_trips, inputs, ground), meetings.some(mine)
            better |= ways_back(ground.roads, ground.seasons[season], legs, trips, forest, some, search)
    split = np.flatnonzero(split_trip >= 0)
    pairs = trip[split], split_trip[split]
    first, second = ((trips.out_leaf[trip], trips.back_leaf[trip]) for trip in pairs)
    fraction = ground.frontages.fraction[split]
    crossing = crossing_flags(ground.roads, ground.limits.narrow, forest, first, second, fraction)
    crossing = [(int(split[pair]), flag) for pair, flag in crossing]
    return answers.flagged((*meeting_flags(trips, meetings, better, pairs[1]), *crossing))


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

    Gives besides what postings cost, the weights behind the flags, and `shut_ways` of the trips that some answer names.
    """
    units, road = scene.units, searched.road
    costs, free = weigh_limits(inputs, ground, scene, levels, answers, searched)
    free = np.concatenate([free, approaches(answers, levels, road, units, inputs.stations, ground)])
    weights = weights_of(answers, levels, road, units, inputs, ground)
    answers = with_weights(answers, levels, *driven, weights, free)
    named = np.unique(np.stack([levels.trip, levels.split_trip, levels.backup_trip]))
    shut = shut_ways(searched, *driven, named[named >= 0])
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
