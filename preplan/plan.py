"""A finished plan, which the pages print: they compute nothing themselves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from preplan.plan_cards import CardGroup
from preplan.plan_inputs import Rejected
from preplan.plan_tables import (
    STATUSES,
    AnswerTable,
    BuildUpTable,
    Flag,
    FrontageTable,
    HaulTable,
    HydrantReach,
    LayTable,
    LevelTable,
    NeedTable,
    NurseTable,
    OccupancyCount,
    RaterTable,
    RouteForest,
    SeasonLine,
    SupplyTable,
    TripTable,
)
from preplan.records import (
    AddressTable,
    BoolArray,
    BridgeTable,
    FeatureTable,
    FillSite,
    FloatArray,
    HydrantTable,
    IntArray,
    Problem,
    RoadLimits,
    RoadTable,
    Station,
    TextArray,
    Unit,
)
from preplan.rules import District


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """The first of the district's tankers by weight, and the vehicle that stands for all of them."""

    unit_ids: tuple[str, ...]
    loaded_lb: float
    empty_lb: float
    """As a dump leaves the heaviest, with the water that stays aboard."""
    axle_lb: float
    """Heaviest axle, loaded."""
    height_ft: float
    width_ft: float
    top_mph: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PostingCost:
    """What one posting costs all tankers together, found by lifting it alone."""

    stretches: tuple[int, ...]
    """Rows of the RoadTable: they join and are posted alike."""
    addresses: int
    """Addresses whose round trip with their fill site would be shorter, or possible at all."""
    opened: int
    """Of them, those that all tankers together cannot be sent to now."""
    saved_min: float
    """Minutes of round trip saved, summed over the others."""
    most_min: float
    """The most that one of them saves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """The terms of the steady flow of every kept trip, for a page that works it out anew with something changed.

    Rows of jobs and rates are distinct sets, each stored once and named by its number.
    """

    trip_min: FloatArray
    """(cuts, trips): round trip of each row of the TripTable with each vehicle class; inf: no way."""
    then_min: FloatArray
    """(seasons of the roads, cuts, trips): the same in each season of the roads."""
    roads_of: tuple[int, ...]
    """Season of the roads of each of the plan's."""
    members: BoolArray
    """(cuts, units) the tankers of each class."""
    order: IntArray
    """(addresses,): index into `orders`."""
    orders: tuple[tuple[int, ...], ...]
    """Units that could haul, by arrival; a level sends the first of them, no more of a station than it gives."""
    job: IntArray
    """(addresses,): row of the engines' jobs."""
    attack_engine: IntArray
    """(jobs,) -1: none."""
    fill_engine: IntArray
    """(jobs, levels, sites) -1: none needed, or none there."""
    dump_engine: IntArray
    """(jobs, levels, sites) the attack engine where it drafts too; -1: none, so no shuttle."""
    vacuum_only: BoolArray
    """(jobs, levels, sites): only tankers that fill themselves can run."""
    rate: IntArray
    """(units + 1, sites): number of the site's rates by the engine that pumps there; last: none."""
    rate_gpm: FloatArray
    """(rates,): what the site gives in all."""
    fill_hold_min: FloatArray
    """(rates, units): how long a tanker holds a place at the fill site."""
    usable_gal: FloatArray
    """(units,)."""
    dump_hold_min: FloatArray
    """(units,): how long a tanker holds a place at the dump site."""
    maneuver_min: float
    """At both ends; holds no place."""
    dump_places: int
    duration: IntArray
    """(addresses,): row of `held_gpm`."""
    held_gpm: FloatArray
    """(durations, sites): what a stored source holds for the required time; inf: no cap."""
    draft_gpm: FloatArray
    """(units,): what each engine drafts from a portable tank."""
    line: IntArray
    """(jobs, levels, sites): number of the supply line."""
    line_gpm: FloatArray
    """(addresses, lines): what an address's line carries by its number; 0: the hose does not reach, inf: no cap."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchWords:
    """What a search of the pages takes for the same word in the name of a street, upper case."""

    short_of: Mapping[str, str] = field(default_factory=dict)
    """Spelling to its short form: ROAD and RD to RD."""
    before_number: frozenset[str] = frozenset()
    """Words of numbered roads, such as ROUTE, STATE, US: with the number they are one word, whatever their class."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Everything the pages need, and nothing they must compute."""

    district: District
    addresses: AddressTable
    road: TextArray
    """(addresses,) what every page calls each address's road, one spelling a road; '' where nothing names it."""
    needs: NeedTable
    frontages: FrontageTable
    sites: tuple[FillSite, ...]
    """In code point order of site_id."""
    site_segment: IntArray
    """Stretch each site stands on, -1: off the roads."""
    site_flags: tuple[tuple[Flag, ...], ...]
    stations: tuple[Station, ...]
    units: tuple[Unit, ...]
    """In code point order of unit_id, in service only."""
    arrival_min: FloatArray
    """(addresses, units), from alerting; inf where a unit has no way."""
    site_arrival_min: FloatArray
    """(sites, units), the same to each fill site, in the worst season of the roads in which a unit has a way."""
    station_mi: FloatArray
    """(addresses,): shortest way by road from the nearest station that comes unasked; inf: none."""
    hydrants: HydrantTable
    near_hydrant: HydrantReach
    """One row an address."""
    cuts: tuple[Cut, ...]
    trips: TripTable
    forest: RouteForest
    sheet_trips: TripTable
    """Round trips that sheets behind cards tell, each on the roads of its own months."""
    sheet_forest: RouteForest
    levels: LevelTable
    hauls: HaulTable
    supply: SupplyTable
    lays: LayTable
    built_up: BuildUpTable
    nurses: NurseTable
    rater: RaterTable
    seasons: tuple[SeasonLine, ...]
    answers: AnswerTable
    groups: tuple[CardGroup, ...]
    roads: RoadTable
    limits: RoadLimits
    """What is the same all year: open where ever open, with the least limit of any season."""
    season_limits: tuple[RoadLimits, ...]
    """What holds in each of `seasons`: trips are driven under those of the season that decides."""
    bridges: BridgeTable
    bridge_row: IntArray
    """(segments,) row of `bridges` that each stretch of bridge was found to be; -1: no bridge, or none known."""
    bridge_named: BoolArray
    """(segments,) it was found by the road's name; where not, by its place alone."""
    posting_costs: tuple[PostingCost, ...]
    """The dearest postings first."""
    features: FeatureTable
    problems: tuple[Problem, ...]
    occupancies: tuple[OccupancyCount, ...]
    """The commonest first."""
    rule_ratio: tuple[float, float, float]
    """Loaded legs' minutes over the travel rule's: of the quickest twentieth, the median, of the slowest twentieth."""
    what_if: WhatIf | None = None
    """None: the pages offer no what-if."""
    search_words: SearchWords = field(default_factory=SearchWords)
    shut_months: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    """Of the rows of `trips` that some answer names: months in which a road of the way is closed, or posted lower."""
    notes: tuple[str, ...] = ()
    """What was taken for what in the tables, one sentence each."""
    rejected: tuple[Rejected, ...] = ()
    """Faults of the rows that are not planned."""

    def unit_ids(self, mask: BoolArray, address: int) -> tuple[str, ...]:
        """Name the units of a mask of shape (units,) by their arrival at an address."""
        arrival = self.arrival_min[address]
        picked = sorted(np.flatnonzero(mask).tolist(), key=lambda u: (arrival[u], self.units[u].unit_id))
        return tuple(self.units[u].unit_id for u in picked)

    def turns_at_site(self, trip: IntArray | int) -> BoolArray:
        """Tell on which trips tankers turn at the fill site: who drives through it only comes out the other way."""
        through = np.array([site.turnaround == "through" for site in self.sites], dtype=np.bool_)
        turns: BoolArray = self.trips.turn_at_site[trip] & ~through[self.trips.site[trip]]
        return turns

    def haul_rows(self, address: int, level: int) -> slice:
        """Give the rows of `hauls` of one address and level."""
        table = self.hauls
        # asked in the columns' own type: else each search would turn a whole column into another
        first, last = table.address.searchsorted(np.array([address, address + 1], table.address.dtype)).tolist()
        low, high = table.level[first:last].searchsorted(np.array([level, level + 1], table.level.dtype)).tolist()
        return slice(first + low, first + high)

    def line(self, segment: int) -> FloatArray:
        """Return the (n, 2) lon, lat points of a stretch."""
        points = slice(self.roads.coord_start[segment], self.roads.coord_start[segment + 1])
        return np.column_stack([self.roads.coord_lon[points], self.roads.coord_lat[points]])

    def supply_line_ft(self, address: int) -> float:
        """Give the hose from dump site to attack engine."""
        return float(self.frontages.driveway_ft[address]) + self.district.rules.shuttle.stand_off_ft

    def weight_months(self, segment: int) -> frozenset[int]:
        """Give the months in which the weight limit is that of `limits`, the least; none where it is so all year."""
        low = [one.max_lb[segment] == self.limits.max_lb[segment] for one in self.season_limits]
        if all(low):
            return frozenset()
        return frozenset(m for line, is_low in zip(self.seasons, low, strict=True) if is_low for m in line.months)

    def trip_rows(self, trip: int) -> tuple[list[int], list[int]]:
        """List the forest rows of a trip's two legs in the direction of travel: loaded, then empty."""
        out = self.forest.walk(int(self.trips.out_leaf[trip]))
        back = self.forest.walk(int(self.trips.back_leaf[trip]))
        return out[::-1], back

    @property
    def on_request(self) -> BoolArray:
        """Mask the units, (units,), that come only when somebody asks for them."""
        asked = {station.station_id for station in self.stations if station.aid == "on request"}
        return np.array([unit.station_id in asked for unit in self.units], dtype=np.bool_)

    @property
    def road_assumed(self) -> BoolArray:
        """Mask the addresses whose table names no road, so that the nearest one stands in."""
        masked: BoolArray = (self.addresses.street == "") & (self.road != "")
        return masked

    def months_without(self, address: int) -> list[int]:
        """List the months in which no fill site serves an address where one does in others; else none."""
        served = [(line, bool(line.best_site[address, -1] >= 0)) for line in self.seasons]
        return [month for line, is_so in served if not is_so for month in line.months if any(so for _, so in served)]

    def on_sheets(self) -> Plan:
        """Give the same plan with the trips of the sheets behind the cards in the place of its own."""
        return replace(self, trips=self.sheet_trips, forest=self.sheet_forest)

    def counts(self) -> dict[str, int]:
        """Count the addresses of each status, in the order of the legend."""
        return {status: int(np.sum(self.answers.status == status)) for status in STATUSES}
