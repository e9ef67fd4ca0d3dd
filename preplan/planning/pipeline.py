"""The recipe: from the user's tables and the roads to a finished plan. No reading, no writing, no drawing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from preplan.errors import Finding, InputError
from preplan.plan import AnswerTable, FrontageTable, Inputs, LevelTable, Plan, RouteForest, SeasonLine, TripTable
from preplan.planning.assignment import CutTrips, Scene, Scores, score
from preplan.planning.groups import Answered, group_addresses
from preplan.planning.kept import Measures, keep_trips, kept_pairs
from preplan.planning.levels import address_flags, choose, grade, level_table, site_flags
from preplan.planning.needs import needs_of
from preplan.planning.occupancies import tally
from preplan.planning.response import Response, depart_min, respond
from preplan.planning.vehicles import CutFleet, Minutes, cut_fleets, is_tanker, loaded_vehicle, unlimited_fleet
from preplan.planning.what_if import what_if_of
from preplan.records import (
    BoolArray,
    FeatureTable,
    FillSite,
    FloatArray,
    IntArray,
    Problem,
    RoadLimits,
    RoadTable,
    Station,
    Unit,
)
from preplan.roads.frontage import Places, place_addresses, place_points
from preplan.roads.hose import hydrant_reach
from preplan.roads.islands import without_islands
from preplan.roads.limits import limits_of
from preplan.roads.network import RoadNetwork, build_network, restriction_problems
from preplan.roads.paths import Junctions
from preplan.roads.places import within_extent
from preplan.roads.speeds import minutes_of, node_delay_min, rule_comparison, rule_min, speed_problems
from preplan.roads.trips import Circuits, Fleet, Spots, circuits, legs_of, measure, response_min

Progress = Callable[[str, float], None]
"""Called with the name of a stage and the share of the whole that is done."""
TURNAROUND_MIN = {"through": 0.0, "loop": 0.5, "back": 1.5}
"""Turning round at a fill site, by the table's word (this program's careful choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """The roads made ready, and everything put on them."""

    roads: RoadTable
    features: FeatureTable
    limits: RoadLimits
    problems: tuple[Problem, ...]
    network: RoadNetwork
    minutes: Minutes
    frontages: FrontageTable
    sites: Places
    stations: Places


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What planning found out."""

    levels: LevelTable
    seasons: tuple[SeasonLine, ...]
    answers: AnswerTable
    trips: TripTable
    forest: RouteForest


def plan_district(inputs: Inputs, roads: RoadTable, features: FeatureTable, progress: Progress) -> Plan:
    """Plan every address of a district; `inputs` are checked, `roads` and `features` are the road file's.

    Raises
    ------
    InputError
        Where a closure lies on no road, the roads reach no address, no unit can haul water or pump, or no fill site
        is in service.
    """
    units = tuple(sorted((unit for unit in inputs.units if unit.in_service), key=lambda unit: unit.unit_id))
    require_fleet(inputs, units)
    progress("placing addresses on the roads", 0.1)
    ground = lay_ground(inputs, roads, features)
    progress("searching round trips", 0.2)
    fleets = cut_fleets(units, ground.network, ground.limits, ground.minutes)
    found = tuple(round_trips(fleet.loaded, fleet.empty, inputs, ground) for fleet in fleets)
    free_fleet = unlimited_fleet(ground.network, ground.limits, ground.minutes, fleets[-1].cut.top_mph)
    free = round_trips(free_fleet, free_fleet, inputs, ground)
    progress("deciding who comes", 0.35)
    response = response_of(inputs, units, ground)
    progress("computing flows", 0.4)
    scene = scene_of(inputs, units, ground, response, fleets, found)
    scores = score(scene)
    choice = choose(scene, scores)
    levels = level_table(scene, scores, choice)
    reach_ft, credit_gpm = hydrant_reach(
        roads, ground.limits, ground.frontages, inputs.hydrants, inputs.district.rules.hydrants
    )
    answers = grade(scene, levels, reach_ft, credit_gpm)
    progress("tracing routes", 0.6)
    trips, forest = traced_trips(scene, scores, levels, answers, found, free, ground)
    levels = with_trips(levels, trips, len(scene.sites))
    answers = replace(answers, flags=address_flags(scene, inputs.addresses, levels, trips, answers))
    progress("grouping neighbours", 0.7)
    outcome = Outcome(levels=levels, seasons=choice.seasons, answers=answers, trips=trips, forest=forest)
    return assemble(inputs, ground, scene, fleets, outcome)


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


def require_cover(inputs: Inputs, roads: RoadTable, near: BoolArray) -> None:
    """Refuse roads that are near none of the addresses: most likely another district's; `near` is (addresses,)."""
    if near.any():
        return
    west, south, east, north = (
        f"{edge:.3f}"
        for edge in (roads.coord_lon.min(), roads.coord_lat.min(), roads.coord_lon.max(), roads.coord_lat.max())
    )
    name = "the downloaded roads" if inputs.roads.file is None else inputs.roads.file.name
    within_ft = inputs.district.rules.roads.snap_max_ft
    rule = f"has no road for tankers within {within_ft:,.0f} ft of any of the {len(near):,} addresses"
    remedy = f"it reaches from lon {west}, lat {south} to lon {east}, lat {north}: is it the file of this district?"
    raise InputError([Finding(file=name, rule=rule, remedy=remedy)])


def lay_ground(inputs: Inputs, roads: RoadTable, features: FeatureTable) -> Ground:
    """Read the limits, build the network, and put addresses, sites and stations on it.

    Raises
    ------
    InputError
        Where the roads reach no address, or a closure lies on no road.
    """
    rules = inputs.district.rules
    # Before the limits: closures that lie on no road of a wrong file would hide what is wrong.
    about = inputs.addresses
    require_cover(inputs, roads, within_extent(roads, about.lon, about.lat, rules.roads.snap_max_ft))
    limits, problems = limits_of(roads, rules.roads, inputs.closures)
    limits, islands = without_islands(roads, limits)
    network = build_network(roads, limits, rules.roads, node_delay_min(roads))

    @cache
    def minutes(top_mph: float) -> FloatArray:
        return minutes_of(roads, limits, rules.roads, min(top_mph, rules.roads.top_mph))

    def places(rows: tuple[FillSite, ...] | tuple[Station, ...]) -> Places:
        lon, lat = np.array([r.lon for r in rows]), np.array([r.lat for r in rows])
        far_ft = rules.roads.snap_max_ft
        return place_points(roads, limits, lon, lat, snap_max_ft=far_ft).within(far_ft)

    frontages = place_addresses(roads, limits, about, rules.roads, rules.plan)
    require_cover(inputs, roads, frontages.segment >= 0)
    return Ground(
        roads=roads,
        features=features,
        limits=limits,
        problems=(*problems, *islands, *speed_problems(roads), *restriction_problems(roads)),
        network=network,
        minutes=minutes,
        frontages=frontages,
        sites=places(inputs.sites),
        stations=places(inputs.stations),
    )


def round_trips(loaded: Fleet, empty: Fleet, inputs: Inputs, ground: Ground) -> Circuits:
    """Find every round trip of one vehicle, loaded out and empty back."""
    rules = inputs.district.rules.roads
    found = circuits(
        loaded,
        empty,
        Spots.of(ground.sites),
        Spots.of(ground.frontages),
        turnaround_min=np.array([TURNAROUND_MIN[site.turnaround] for site in inputs.sites]),
        dump_turn_min=rules.dump_turn_min,
        loop_preference_min=rules.loop_preference_min,
    )
    return by_rule(found, ground.network) if rules.travel == "rule" else found


def by_rule(found: Circuits, network: RoadNetwork) -> Circuits:
    """Replace network times by the travel rule on the same roads; turning at both ends stays as it is."""
    address, site = np.argwhere(found.join >= 0).astype(np.int32).T
    out_legs, back_legs = legs_of(found, address, site)
    length = network.length_mi[:, None]
    out_mi = measure(found.outward, out_legs, length, inward=False)[:, 0]
    back_mi = measure(found.inward, back_legs, length, inward=True)[:, 0]
    out_min, back_min = found.out_min.copy(), found.back_min.copy()
    out_min[address, site] = rule_min(out_mi)
    back_min[address, site] = rule_min(back_mi) + found.turning_min[address, site]
    return replace(found, out_min=out_min, back_min=back_min)


def response_of(inputs: Inputs, units: tuple[Unit, ...], ground: Ground) -> Response:
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
            fleet = Fleet.of(ground.network, ground.limits, ground.minutes(vehicle.top_mph), vehicle)
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
    response: Response,
    fleets: tuple[CutFleet, ...],
    found: tuple[Circuits, ...],
) -> Scene:
    """Gather what the water side needs."""
    rules = inputs.district.rules
    return Scene(
        rules=rules,
        levels=inputs.district.levels,
        sites=inputs.sites,
        units=units,
        response=response,
        needs=needs_of(inputs.addresses, ground.features, rules.required_flow),
        frontages=ground.frontages,
        cuts=tuple(
            CutTrips(trip_min=circuit.trip_min, members=fleet.members)
            for fleet, circuit in zip(fleets, found, strict=True)
        ),
    )


def traced_trips(
    scene: Scene,
    scores: Scores,
    levels: LevelTable,
    answers: AnswerTable,
    found: tuple[Circuits, ...],
    free: Circuits,
    ground: Ground,
) -> tuple[TripTable, RouteForest]:
    """Keep and measure trips, each on the cut of the level that is shown; trace what is chosen or stands in."""
    rows = np.arange(len(answers))
    shown = np.maximum(answers.level, 0)
    pair_cut = scores.cut[rows, :, shown]
    trip_min = np.stack([circuit.trip_min for circuit in found])
    # A pair that the shown level cannot use at all is kept on the heaviest cut that has a way.
    ways = np.isfinite(trip_min)
    heaviest = len(found) - 1 - ways[::-1].argmax(axis=0)
    has_way = np.take_along_axis(ways, pair_cut[None], axis=0)[0]
    pair_cut = np.where(has_way, pair_cut, heaviest).astype(np.int32)
    there: BoolArray = np.isfinite(trip_min.min(axis=0))
    drawn = _mask_of(levels.site[rows, shown], there) | _mask_of(levels.backup[rows, shown], there)
    every = drawn.copy()
    for table in (levels.site, levels.backup):
        for level in range(table.shape[1]):
            every |= _mask_of(table[:, level], there)
    best = np.take_along_axis(trip_min, pair_cut[None], axis=0)[0]
    return keep_trips(
        found,
        free,
        Measures.of(ground.limits, ground.network.length_mi),
        pair_cut=pair_cut,
        kept=kept_pairs(best, scene.sites, scene.rules.plan.keep_sites, every),
        traced=drawn & (answers.level >= 0)[:, None],
    )


def _mask_of(site: IntArray, there: BoolArray) -> BoolArray:
    """Mask the (addresses, sites) pairs that a column of sites names."""
    mask = np.zeros(there.shape, dtype=np.bool_)
    rows = np.flatnonzero(site >= 0)
    mask[rows, site[rows]] = True
    return mask & there


def with_trips(levels: LevelTable, trips: TripTable, sites: int) -> LevelTable:
    """Point each level's site and backup at its row of the trips."""
    row_of = np.full((len(levels.site), sites), -1, dtype=np.int32)
    row_of[trips.address, trips.site] = np.arange(len(trips), dtype=np.int32)
    a = np.arange(len(levels.site))[:, None]

    def rows(site: IntArray) -> IntArray:
        return np.where(site >= 0, row_of[a, np.maximum(site, 0)], -1).astype(np.int32)

    return replace(levels, trip=rows(levels.site), backup_trip=rows(levels.backup))


def assemble(inputs: Inputs, ground: Ground, scene: Scene, fleets: tuple[CutFleet, ...], outcome: Outcome) -> Plan:
    """Put the finished plan together."""
    beside = rule_comparison(outcome.trips.out_min, outcome.trips.out_mi)
    return Plan(
        district=replace(inputs.district, date=inputs.district.date or ground.roads.newest),
        addresses=inputs.addresses,
        needs=scene.needs,
        frontages=ground.frontages,
        sites=inputs.sites,
        site_segment=ground.sites.segment,
        site_flags=site_flags(scene, ground.sites.segment, ground.sites.gap_ft),
        stations=inputs.stations,
        units=scene.units,
        arrival_min=scene.response.arrival_min,
        hydrants=inputs.hydrants,
        cuts=tuple(fleet.cut for fleet in fleets),
        trips=outcome.trips,
        forest=outcome.forest,
        levels=outcome.levels,
        seasons=outcome.seasons,
        answers=outcome.answers,
        groups=group_addresses(answered(inputs, ground, scene, outcome), inputs.district.cards_per),
        roads=ground.roads,
        limits=ground.limits,
        minutes=ground.minutes(fleets[-1].cut.top_mph),
        features=ground.features,
        problems=ground.problems,
        occupancies=tally(inputs.addresses.occupancy),
        rule_ratio=(beside.quantiles[0], beside.median, beside.quantiles[-1]),
        what_if=what_if_of(scene, outcome.trips),
    )


def answered(inputs: Inputs, ground: Ground, scene: Scene, outcome: Outcome) -> Answered:
    """Gather what the grouping of neighbours looks at."""
    return Answered(
        addresses=inputs.addresses,
        frontages=ground.frontages,
        levels=outcome.levels,
        trips=outcome.trips,
        answers=outcome.answers,
        forest=outcome.forest,
        roads=ground.roads,
        limits=ground.limits,
        site_fraction=tuple(ground.sites.fraction.tolist()),
        required_gpm=scene.needs.required_gpm,
        junctions=Junctions.of(ground.roads),
    )
