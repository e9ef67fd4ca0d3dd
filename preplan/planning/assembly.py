"""The finished plan put together: what planning found out, the cards, and what pages look up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from preplan.plan import Plan, PostingCost, WhatIf
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
from preplan.planning.assignment import Scene
from preplan.planning.flags import site_flags
from preplan.planning.ground import Ground
from preplan.planning.groups import Answered, group_addresses, name_roads
from preplan.planning.hauls import haul_table
from preplan.planning.levels import Worked, supply_table
from preplan.planning.minutes import on_arrival_min, strips
from preplan.planning.near_limits import bridges_at_sites, limits_at_sites
from preplan.planning.nursing import nurse_table
from preplan.planning.occupancies import tally
from preplan.planning.rater import rater_table
from preplan.planning.searched import Searched, Shut
from preplan.planning.sheets import with_sheets
from preplan.planning.vehicles import CutFleet, unlimited_fleet
from preplan.planning.ways_in import with_ways_in
from preplan.planning.weights import Weights
from preplan.planning.what_if import what_if_of
from preplan.records import FloatArray, RoadLimits, TextArray
from preplan.roads.paths import Junctions
from preplan.roads.search import Spots, response_min
from preplan.roads.speeds import rule_comparison
from preplan.roads.street_names import search_words
from preplan.units import M_PER_MI

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
    """See `searched.shut_ways`: of the trips that some answer names."""
    weights: Weights


def assemble(inputs: Inputs, ground: Ground, scene: Scene, fleets: tuple[CutFleet, ...], outcome: Outcome) -> Plan:
    """Put the finished plan together."""
    road = name_roads(inputs.addresses, ground.frontages, ground.roads)
    found = answered(inputs, ground, scene, outcome, road)
    groups = group_addresses(found, inputs.district.cards_per)
    groups, sheet_trips, sheet_forest = with_sheets(found, groups, outcome.searched, outcome.weights, outcome.shut)
    sheets = sheet_trips, sheet_forest
    groups = with_ways_in(found, groups, outcome.searched, sheets, outcome.weights, inputs.stations, ground)
    beside, searched = rule_comparison(outcome.trips.out_min, outcome.trips.out_mi), outcome.searched
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
        site_arrival_min=at_sites_min(searched),
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
        nurses=nurse_table(searched, outcome.answers, scene.needs.required_gpm),
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
        features=ground.features,
        problems=ground.problems,
        notes=(*inputs.notes, *ground.notes),
        rejected=inputs.rejected,
        occupancies=tally(inputs.addresses.occupancy),
        rule_ratio=(beside.quantiles[0], beside.median, beside.quantiles[-1]),
        what_if=asked_by_map(scene, outcome),
        search_words=search_words(),
        shut_months={trip: tuple(sorted(shut.months)) for trip, shut in sorted(outcome.shut.items())},
    )


def asked_by_map(scene: Scene, outcome: Outcome) -> WhatIf:
    """Gather what the map works out anew where somebody asks what if."""
    searched = outcome.searched
    seasons = [flows.scene for flows in searched.flows]
    drafts = outcome.levels.attack_drafts
    return what_if_of(scene, outcome.trips, seasons, searched.road, searched.of_line, drafts)


def at_sites_min(searched: Searched) -> FloatArray:
    """Give when units are at the fill sites, (sites, units) minutes: in the worst season in which they have a way.

    Who has none in spring pumps in winter all the same.
    """
    at_site = np.stack([flows.scene.response.site_arrival_min for flows in searched.flows])
    latest = np.where(np.isfinite(at_site), at_site, -np.inf).max(axis=0)
    return np.where(np.isfinite(latest), latest, np.inf)


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
        seasons=outcome.seasons,
        season_limits=season_limits(ground, outcome.seasons),
        site_fraction=tuple(ground.sites.fraction.tolist()),
        required_gpm=scene.needs.required_gpm,
        required_min=scene.needs.required_min,
        junctions=Junctions.of(ground.roads),
    )


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


def told_at_sites(inputs: Inputs, ground: Ground, scene: Scene, weights: Weights) -> tuple[tuple[Flag, ...], ...]:
    """Give the flags of each fill site."""
    told = zip(
        limits_at_sites(weights, inputs.sites),
        bridges_at_sites(weights, inputs.sites),
        site_flags(scene, ground.sites.segment, ground.sites.gap_ft),
        strict=True,
    )
    return tuple(tuple(chain.from_iterable(some)) for some in told)


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


def season_limits(ground: Ground, seasons: tuple[SeasonLine, ...]) -> tuple[RoadLimits, ...]:
    """Give what the roads do in each season of the plan."""
    return tuple(ground.seasons[season].limits for season in roads_of(ground, seasons))


def roads_of(ground: Ground, seasons: tuple[SeasonLine, ...]) -> tuple[int, ...]:
    """Give the season of the roads of each season of the plan."""
    return tuple(
        next(at for at, one in enumerate(ground.seasons) if one.months >= set(line.months)) for line in seasons
    )
