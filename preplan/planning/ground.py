"""The roads made ready for planning, and everything put on them: addresses, fill sites, stations, dump sites."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np

from preplan.errors import Finding, InputError
from preplan.plan_inputs import Inputs
from preplan.plan_tables import FrontageTable, NeedTable
from preplan.planning.needs import needs_of
from preplan.planning.occupancies import guessed_use, unknown_notes
from preplan.planning.off_road import address_notes, astray_notes, off_road_notes
from preplan.planning.vehicles import Minutes, assumed_notes, fleet_notes
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
)
from preplan.roads.barriers import part_at_barriers
from preplan.roads.driving_side import side_problems
from preplan.roads.frontage import Places, place_addresses, place_on_own_bank, straight_over_water
from preplan.roads.inventory import barring_lb, match_bridges
from preplan.roads.islands import without_islands
from preplan.roads.label_streets import with_label_streets
from preplan.roads.network import RoadNetwork, build_network, restriction_problems
from preplan.roads.places import within_extent
from preplan.roads.seasons import RoadSeason, all_year, road_seasons
from preplan.roads.speeds import minutes_of, node_delay_min, speed_problems
from preplan.rules import RoadRules

_ROADS_ALONE = (
    "roads: a download or saved graph holds roads alone, no buildings, driveways or ponds: where the table gives a "
    "building no size a default stands in, hose is measured straight from the road, and no place for a new fill site "
    "is seen. An OpenStreetMap extract as [roads] file has them."
)
"""A note of `check` and `build`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonGround:
    """The roads as tankers find them in one season."""

    months: frozenset[int]
    limits: RoadLimits
    network: RoadNetwork
    minutes: Minutes


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """The roads made ready, and everything put on them."""

    roads: RoadTable
    features: FeatureTable
    limits: RoadLimits
    """What is the same all year: pages show it, nobody is routed over it."""
    problems: tuple[Problem, ...]
    bridge_row: IntArray
    """(segments,) row of the bridge inventory, -1: none."""
    bridge_named: BoolArray
    minutes: Minutes
    seasons: tuple[SeasonGround, ...]
    needs: NeedTable
    frontages: FrontageTable
    """Where tankers dump: the addresses' own frontages until `with_dump_sites` has moved some."""
    over_water: BoolArray
    """(addresses,) water is mapped between the address and its own frontage."""
    over_wide_water: BoolArray
    """(addresses,) the same, and it is no mere stream."""
    sites: Places
    stations: Places
    shut_beyond: Mapping[int, tuple[frozenset[int], tuple[int, ...]]] = field(default_factory=dict)
    """Of addresses whose dump site was moved to a junction, months in which the road from there on is shut, and its
    stretches that are; those where it is open all year left out."""
    notes: tuple[str, ...] = ()
    """Which sites and stations join no road, one sentence each."""

    @property
    def as_seen(self) -> list[tuple[RoadNetwork, RoadLimits, Minutes]]:
        """Give what vehicles see of the roads, season by season."""
        return [(season.network, season.limits, season.minutes) for season in self.seasons]


def require_cover(inputs: Inputs, roads: RoadTable, near: BoolArray) -> None:
    """Refuse roads that are near none of the addresses: most likely another district's; `near` is (addresses,).

    Longitudes that lack their minus sign are told as such, for then it is the tables that are wrong.

    Raises
    ------
    InputError
        No address is near; with where the roads lie.
    """
    if near.any():
        return
    west, south, east, north = (
        f"{edge:.3f}"
        for edge in (roads.coord_lon.min(), roads.coord_lat.min(), roads.coord_lon.max(), roads.coord_lat.max())
    )
    name = "the downloaded roads" if inputs.roads.file is None else inputs.roads.file.name
    within_ft, about = inputs.district.rules.roads.snap_max_ft, inputs.addresses
    if within_extent(roads, -about.lon, about.lat, within_ft).any():
        file = inputs.files["addresses"].name if "addresses" in inputs.files else "addresses"
        rule = f"has the other sign than the roads, which reach from {west} to {east}"
        remedy = "write longitudes in the west with a minus sign, in every table"
        raise InputError(
            [Finding(file=file, column="lon", value=f"{np.median(about.lon):.6g}", rule=rule, remedy=remedy)]
        )
    rule = f"has no road for tankers within {within_ft:,.0f} ft of any of the {len(near):,} addresses"
    remedy = f"it reaches from lon {west}, lat {south} to lon {east}, lat {north}"
    if within_extent(roads, about.lon, about.lat, within_ft).any():
        remedy += ", around addresses: are all its roads closed, private or too narrow?"
    else:
        lon, lat = ((float(one.min()), float(one.max())) for one in (about.lon, about.lat))
        theirs = f"the addresses from lon {lon[0]:.3f}, lat {lat[0]:.3f} to lon {lon[1]:.3f}, lat {lat[1]:.3f}"
        remedy += f", {theirs}: is it the file of this district, and does the address table name its own coordinates?"
    raise InputError([Finding(file=name, rule=rule, remedy=remedy)])


def with_streets(inputs: Inputs, roads: RoadTable) -> Inputs:
    """Give addresses the street and number that their label names, where only the roads can tell; with a note."""
    addresses, rows = with_label_streets(inputs.addresses, roads)
    if not len(rows):
        return inputs
    label, street = addresses.label[rows[0]], addresses.street[rows[0]]
    note = (
        f"addresses: {len(rows):,} labels name their road in another way than number first: street and house "
        f"number are taken from them, such as '{street}' {addresses.number[rows[0]]} of '{label}'."
    )
    return replace(inputs, addresses=addresses, notes=(*inputs.notes, note))


def lay_ground(inputs: Inputs, roads: RoadTable, features: FeatureTable) -> Ground:
    """Read the limits, build the network, and put addresses, sites and stations on it.

    Raises
    ------
    InputError
        Where the roads reach no address, none of the fill sites or stations in use, or not one's own station; or a
        closure lies on no road.
    """
    rules = inputs.district.rules
    # Before the limits: closures that lie on no road of a wrong file would hide what is wrong.
    about = inputs.addresses
    require_cover(inputs, roads, within_extent(roads, about.lon, about.lat, rules.roads.snap_max_ft))
    bridge_row, bridge_named, lost = match_bridges(roads, inputs.bridges)
    rated_lb = barring_lb(inputs.bridges, bridge_row, obeyed=rules.roads.obey_ratings)
    roads, parted = part_at_barriers(roads, rules.roads.bare_weight)
    seasons, problems = road_seasons(roads, rules.roads, inputs.closures, rules.plan.months, rated_lb)
    limits, islands = without_islands(roads, all_year(seasons))

    def places(rows: tuple[FillSite, ...] | tuple[Station, ...]) -> Places:
        lon, lat = np.array([r.lon for r in rows]), np.array([r.lat for r in rows])
        far_ft = rules.roads.snap_max_ft
        found, _ = place_on_own_bank(roads, limits, lon, lat, features, snap_max_ft=far_ft)
        return found.within(far_ft)

    doubts = (*speed_problems(roads), *restriction_problems(roads), *side_problems(roads))
    frontages = place_addresses(roads, limits, about, rules.roads, rules.plan, features)
    require_cover(inputs, roads, frontages.segment >= 0)
    over_water, over_wide_water = straight_over_water(roads, about, frontages, features)
    sites, stations = places(inputs.sites), places(inputs.stations)
    return Ground(
        roads=roads,
        features=features,
        limits=limits,
        problems=(*problems, *parted, *islands, *doubts, *lost),
        bridge_row=bridge_row,
        bridge_named=bridge_named,
        minutes=minutes_on(roads, limits, rules.roads),
        seasons=tuple(season_ground(roads, one, limits.tanker_road, rules.roads) for one in seasons),
        needs=needs_of(about, features, rules.required_flow),
        frontages=frontages,
        over_water=over_water,
        over_wide_water=over_wide_water,
        sites=sites,
        stations=stations,
        notes=(
            *([_ROADS_ALONE] if inputs.roads.alone else ()),
            *fleet_notes(inputs.in_service, inputs.district.levels),
            *assumed_notes(inputs.in_service, rules.apparatus),
            *off_road_notes(inputs, sites, stations),
            *address_notes(inputs, frontages),
            *astray_notes(about, frontages),
            *unknown_notes(about.occupancy[guessed_use(about, rules.required_flow.method)].tolist()),
        ),
    )


def on_dry_land(ground: Ground) -> FrontageTable:
    """Give the frontages without those of addresses beyond wide water, to which no hose leads from a hydrant."""
    segment = np.where(ground.over_wide_water, -1, ground.frontages.segment).astype(np.int32)
    return replace(ground.frontages, segment=segment)


def season_ground(roads: RoadTable, season: RoadSeason, joined: BoolArray, rules: RoadRules) -> SeasonGround:
    """Make the roads of one season ready; `joined` (segments,) marks those that join others at some time."""
    limits = replace(season.limits, tanker_road=season.limits.tanker_road & joined)
    return SeasonGround(
        months=season.months,
        limits=limits,
        network=build_network(roads, limits, rules, node_delay_min(roads)),
        minutes=minutes_on(roads, limits, rules),
    )


def minutes_on(roads: RoadTable, limits: RoadLimits, rules: RoadRules) -> Minutes:
    """Give the minutes of every stretch by top speed, each worked out once."""

    @cache
    def minutes(top_mph: float) -> FloatArray:
        return minutes_of(roads, limits, rules, min(top_mph, rules.top_mph))

    return minutes
