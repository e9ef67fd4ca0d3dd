"""What goes into planning and what comes out: the tables that the pages print, computing nothing themselves."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from preplan.records import (
    AddressTable,
    BoolArray,
    BridgeTable,
    Closure,
    Columns,
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
class RoadSource:
    """Where the roads come from: a file, or a download inside the boundary."""

    file: Path | None
    download: bool = False
    buffer_mi: float = 8.0
    boundary: FloatArray | None = None
    """Ring (n, 2) of lon, lat; None where the district gives none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """One fault of one row that is not planned: a line of rejected.csv."""

    file: str
    row: int
    id: str
    column: str
    value: str
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """Everything the user brings, checked: what planning starts from."""

    district: District
    roads: RoadSource
    addresses: AddressTable
    sites: tuple[FillSite, ...]
    """In code point order of site_id, those out of service included."""
    stations: tuple[Station, ...]
    units: tuple[Unit, ...]
    """In the order of apparatus.csv, those out of service included."""
    hydrants: HydrantTable
    closures: tuple[Closure, ...]
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...] = ()
    """Assumptions made while reading, one sentence each."""
    files: Mapping[str, Path] = field(default_factory=dict)
    """Every file read, by its role: district, addresses, ..., roads."""
    rows: Mapping[str, int] = field(default_factory=dict)
    """Data rows of each table as read."""
    left_out: Mapping[str, int] = field(default_factory=dict)
    """Rows of a table that are out of service and therefore in no table here."""
    bridges: BridgeTable = field(default_factory=BridgeTable.none)
    """The bridge inventory, empty where the district has none."""
    read_from: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """By the name of each table: its columns that stand under another header, and that header."""

    @property
    def in_service(self) -> tuple[Unit, ...]:
        """Give the units in service, in code point order of unit_id, as every table of a plan has them."""
        return tuple(sorted((unit for unit in self.units if unit.in_service), key=lambda unit: unit.unit_id))


ROUNDING_GPM = 1e-6
"""A flow this little below the requirement meets it: it is the same number."""
LEAST_GAP_MIN = 0.05
"""A gap that prints as 0.0 minutes is none."""
DRY_SHARE = 0.95
"""A gap in which so much of what is asked for lacks is told as dry, others by what lacks (this program's choice)."""
STATUSES = ("served", "higher level", "not met", "no route", "hydrant")
"""The five status words, in the order of the legend."""


FIRST_CIRCUIT, SECOND_CIRCUIT = 1, 2
"""Circuits of an address: over its fill site, and, where tankers are split, over the second one."""


@dataclass(frozen=True, slots=True)
class Flag:
    """A fact about one address or site, with its number: `code=value unit`.

    >>> print(Flag("long driveway", 640, "ft"))
    long driveway=640 ft
    >>> print(Flag("posted bridge avoided", 2.4837, "min"), Flag("single fill site"), sep="; ")
    posted bridge avoided=2.5 min; single fill site
    >>> print(Flag("unposted bridges", 2.0, circuit=SECOND_CIRCUIT))
    second circuit unposted bridges=2
    """

    code: str
    value: float | str | None = None
    unit: str = ""
    circuit: int = 0
    """Whose fact it is: `FIRST_CIRCUIT`, `SECOND_CIRCUIT` (over the second fill site), or 0, of the address itself."""
    stretches: tuple[int, ...] = field(default=(), compare=False)
    """Rows of the RoadTable of the limit that it names, or that are shut; flags that say the same are one."""
    limit: str = field(default="", compare=False)
    """That limit as a map labels it, such as '24,000 lb', or the months in which the way does not hold."""

    def __str__(self) -> str:
        """Write as the tables do: feet up and gpm down to whole ones, minutes to 0.1, the rest to 0.01."""
        named = f"second circuit {self.code}" if self.circuit == SECOND_CIRCUIT else self.code
        if self.value is None:
            return named
        return f"{named}={self._value()}" + (f" {self.unit}" if self.unit else "")

    def _value(self) -> str:
        """Round by the unit; a flag is the one value that is printed in a sentence of its own."""
        if isinstance(self.value, str) or self.value is None or not math.isfinite(self.value):
            return str(self.value or "")
        if self.unit in {"ft", "gal", "gpm"}:
            return str(math.floor(self.value) if self.unit == "gpm" else math.ceil(self.value))
        return f"{self.value:.{1 if self.unit == 'min' else 2}f}".rstrip("0").rstrip(".")


@dataclass(frozen=True, slots=True, kw_only=True)
class NeedTable(Columns):
    """What each address's building needs."""

    required_gpm: FloatArray
    required_gal: FloatArray
    required_min: FloatArray
    basis: TextArray
    """`method:size source`, such as 'nfpa1142:footprint'; 'not a building' where nothing stands there."""
    assumed: BoolArray
    """True where a default building stood in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OccupancyCount:
    """How many addresses are of one kind of place, and how that was found."""

    name: str
    """The kind, as the required_basis column prints it."""
    addresses: int
    unsaid: int
    """Of them, those whose table says nothing, so that the kind stands in."""
    unknown: tuple[str, ...]
    """Occupancies that no kind is known for, so that this one stands in; in code point order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontageTable(Columns):
    """The place on the road where each address's tankers dump."""

    segment: IntArray
    """Row of the RoadTable; -1: off the roads."""
    fraction: FloatArray
    """Share of the stretch from its `from_node`, 0 to 1."""
    lon: FloatArray
    """Of the place on the road."""
    lat: FloatArray
    driveway_ft: FloatArray
    """Hose from the place to the building, `along_ft` included."""
    gap_ft: FloatArray
    """Straight distance from the point to the place."""
    how: TextArray
    """named, driveway, nearest, or '' off the roads."""
    side: TextArray
    """left or right of the stretch in its own direction; '' off the roads."""
    dead_end: BoolArray
    """True where the stretch hangs on a dead-end tree."""
    along_ft: FloatArray
    """Hose along the road from a junction where tankers stop, up to the address's own frontage; 0: they drive there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TripTable(Columns):
    """Kept round trips, by address, then site. Times and distances are of the best cut for that address's level."""

    address: IntArray
    site: IntArray
    cut: IntArray
    """Vehicle class driven: index into the plan's cuts."""
    out_min: FloatArray
    """Fill site to dump site, loaded."""
    out_mi: FloatArray
    back_min: FloatArray
    """Dump site to fill site, empty; turning counts here."""
    back_mi: FloatArray
    posted_avoided_min: FloatArray
    """Round trip less that of a vehicle without limits."""
    unposted_bridges: IntArray
    """Crossings of bridges without a posted weight on the round trip: one bridge driven out and back counts twice."""
    turn_at_dump: BoolArray
    turn_at_site: BoolArray
    narrow_mi: FloatArray
    """Miles of the round trip on roads one truck wide."""
    out_leaf: IntArray
    """Row of the RouteForest at the address's end of the loaded leg; -1 where the trip is not traced."""
    back_leaf: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteForest(Columns):
    """Roads of the traced trips as trees rooted at fill sites: each stretch of a shared way stored once.

    A row is one stretch driven in one direction. Following `parent` from a trip's leaf leads to the fill site:
    against the direction of travel on a loaded leg, along it on an empty one.
    """

    segment: IntArray
    forward: BoolArray
    """True: driven from the stretch's `from_node` to its `to_node`."""
    parent: IntArray
    """Next row toward the fill site; -1 at the site's own stretch."""

    def walk(self, leaf: int) -> list[int]:
        """List the rows from a leaf to the fill site's own stretch."""
        rows = []
        while leaf >= 0:
            rows.append(leaf)
            leaf = int(self.parent[leaf])
        return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelTable:
    """One answer for each address and level: arrays of shape (addresses, levels), worst season.

    Unit masks have shape (addresses, levels, units).
    """

    site: IntArray
    """Fill site, -1: none."""
    backup: IntArray
    split: IntArray
    """Second fill site, where some tankers fill; -1: all fill at the one."""
    trip: IntArray
    """Row of the TripTable, -1: none."""
    backup_trip: IntArray
    split_trip: IntArray
    fleet: BoolArray
    """Units sent: engines and tankers."""
    tankers: BoolArray
    """Those of the fleet that are sent to haul: tankers, and pumper-tankers that no engine's place needs."""
    used: BoolArray
    """Tankers that shuttle; the others of `tankers` are left out."""
    at_split: BoolArray
    """Those of `used` that fill at the second fill site."""
    fill_engine: IntArray
    """Index of the unit that pumps at the fill site, -1: none."""
    split_engine: IntArray
    """The same at the second fill site."""
    dump_engine: IntArray
    """Index of the unit that drafts at the dump site; the attack engine where it does both; -1: none."""
    attack_engine: IntArray
    cycle_min: FloatArray
    """Longest cycle of the tankers in use."""
    sum_gpm: FloatArray
    """Sum of usable / cycle: an upper bound."""
    sustained_gpm: FloatArray
    """What circulates without end: the steady flow."""
    uninterrupted_gpm: FloatArray
    """The largest constant flow without a dry minute, every unit alerted at minute 0: what decides."""
    on_arrival_gpm: FloatArray
    """The same, units beyond the first level called by the officer who arrives first."""
    hose_short_ft: FloatArray
    """Feet by which the supply line is too long for the hose that the engines carry; 0: it reaches."""
    reached_gpm: FloatArray
    """Uninterrupted flow if that hose were there; NaN where it reaches."""
    limited_by: TextArray
    """What holds the uninterrupted flow."""
    gap_min: FloatArray
    """Dry minutes under the required flow, from first water to its end, every unit alerted at minute 0."""
    gap_on_arrival_min: FloatArray
    backup_gpm: FloatArray
    """Uninterrupted flow from the backup site."""
    alone_gpm: FloatArray
    """Uninterrupted flow if nobody filled at the second site; NaN where there is none."""
    one_out_gpm: FloatArray
    """Least uninterrupted flow with any one tanker out."""
    meets: BoolArray
    """The uninterrupted flow reaches the required flow."""
    short_engines: IntArray
    """Engines the level asks for and the district cannot send here."""
    short_tankers: IntArray
    season: IntArray
    """Index into `plan.seasons` of the season that decides."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HaulTable(Columns):
    """What each tanker in use does under the required flow.

    One row an address, level and tanker; by address, then level, then arrival and unit_id. Every unit is alerted at
    minute 0; `called_...`: those beyond the first level on arrival of the attack engine, zeros for a tanker without a
    job then.
    """

    address: IntArray
    level: IntArray
    unit: IntArray
    loads: FloatArray
    """Loads it starts to dump."""
    fill_wait_min: FloatArray
    """It stands in the queue at the fill site, or waits for it to be ready."""
    dump_wait_min: FloatArray
    room_wait_min: FloatArray
    """By how much full portable tanks slow its dumping."""
    called_loads: FloatArray
    called_fill_wait_min: FloatArray
    called_dump_wait_min: FloatArray
    called_room_wait_min: FloatArray
    without_gpm: FloatArray
    """Uninterrupted flow with this one out."""
    adds: BoolArray
    """False: it and every tanker that arrives later bring nothing more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyTable(Columns):
    """Whose hose makes the supply line from dump site to attack engine; by address, then level, then unit.

    No row where the attack engine drafts itself. Where the hose is too short, all that is carried.
    """

    address: IntArray
    level: IntArray
    unit: IntArray
    hose_ft: FloatArray
    """Laid of what the unit carries."""

    def of(self, address: int, level: int) -> dict[int, float]:
        """Give the feet of each unit whose hose it is, the larger share first."""
        first, last = np.searchsorted(self.address, [address, address + 1])
        rows = first + np.flatnonzero(self.level[first:last] == level)
        laid = zip(self.unit[rows].tolist(), self.hose_ft[rows].tolist(), strict=True)
        return dict(sorted(laid, key=lambda one: -one[1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class LayTable(Columns):
    """Hose lays that do more for an address than the tankers of the same response level; one row such an address."""

    address: IntArray
    site: IntArray
    level: IntArray
    """Whose engines lay and pump."""
    gpm: FloatArray
    """What they carry, on level ground."""
    engines: FloatArray
    """Pumping, the one at the fill site among them; the attack engine only takes in."""
    lines: FloatArray
    """Equal lines side by side."""
    hose_in: FloatArray
    hose_ft: FloatArray
    """Hose in all."""
    length_ft: FloatArray
    """From fill site to building along the road."""
    ready_min: FloatArray
    """Water at the far end, every unit alerted at minute 0."""

    @classmethod
    def none(cls) -> LayTable:
        """Make the table of no lay."""
        whole, number = np.empty(0, dtype=np.int32), np.empty(0)
        return cls(
            address=whole, site=whole, level=whole, gpm=number, engines=number, lines=number, hose_in=number,
            hose_ft=number, length_ft=number, ready_min=number,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonLine:
    """One season: the months in which the same fill sites stand."""

    months: tuple[int, ...]
    sites: tuple[int, ...]
    """Indices of the sites in service."""
    best_site: IntArray
    """(addresses, levels): the site that delivers most in this season, -1: none."""
    split_site: IntArray
    """(addresses, levels): the second one, where tankers are split then; -1: all fill at the one."""
    backup_site: IntArray
    """(addresses, levels): the site that stands in for the first one in this season, -1: none."""
    backup_gpm: FloatArray
    """(addresses, levels): uninterrupted flow with all tankers there, NaN: none stands in."""
    uninterrupted_gpm: FloatArray
    """(addresses, levels)."""

    def sites_of(self, address: int, level: int) -> tuple[int, ...]:
        """Give the fill sites of an address and level: none, one, or two where tankers are split."""
        both = int(self.best_site[address, level]), int(self.split_site[address, level])
        return tuple(site for site in both if site >= 0)

    def level_of(self, rows: Sequence[int], required_gpm: FloatArray) -> int:
        """Give the first level that meets what is required at each of some addresses, `rows`; else the last level."""
        flow = np.nan_to_num(self.uninterrupted_gpm[list(rows)])
        meets = np.all(flow >= required_gpm[:, None] - ROUNDING_GPM, axis=0)
        return int(meets.argmax()) if meets.any() else flow.shape[1] - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class HydrantReach(Columns):
    """The hydrant of the water mains that is credited most for each address, whether or not it is enough."""

    hydrant: IntArray
    """Row of the HydrantTable, -1: none counts."""
    distance_ft: FloatArray
    """Hose along roads and up the driveway; NaN: none."""
    credited_gpm: FloatArray
    """NaN: none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerTable(Columns):
    """One row an address: what the card says first."""

    status: TextArray
    level: IntArray
    """Level whose columns are shown: the first that meets, else the one with the largest flow; -1: none."""
    hydrant_ft: FloatArray
    """Road and driveway to the hydrant that counts, NaN: none."""
    first_arrival_min: FloatArray
    """Attack engine's arrival."""
    called: TextArray
    """How the units beyond the first level are called in the columns that follow: 'at dispatch', or 'on arrival'
    where a higher level is named; '' where no timeline runs."""
    first_water_min: FloatArray
    established_min: FloatArray
    """The first refilled load starts to dump."""
    gap_min: FloatArray
    """Dry minutes from first water to the end of the required time."""
    short_by: TextArray
    """What keeps the flow below the required one though water stands on scene, draft or supply line; '' where water
    itself is lacking, or enough flows."""
    first_gap_min: FloatArray
    longest_gap_min: FloatArray
    short_gal: FloatArray
    """Water that is asked for and lacking."""
    mws_by_min: FloatArray
    """Minute by which the method's own total has come; NaN where it has not by the end."""
    surge_min: FloatArray
    """Minutes for which a master stream is held from full flow on; NaN where none is asked for."""
    call_by_min: FloatArray
    """Latest minute at which the units beyond the first level can be called without a dry minute; NaN: none, or
    no higher level is named."""
    flags: tuple[tuple[Flag, ...], ...]

    def in_time(self, rows: IntArray | slice | int = slice(None)) -> BoolArray:
        """Mask those of some addresses whose higher level brings enough throughout though it is called on arrival."""
        enough: BoolArray = (self.status[rows] == "higher level") & ~(self.gap_min[rows] > LEAST_GAP_MIN)
        with np.errstate(invalid="ignore"):
            return enough & (self.call_by_min[rows] >= self.first_arrival_min[rows])


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One line of directions."""

    road: str
    miles: float
    turn: str
    """'Left on', 'Right on', 'Straight on', 'Turn round on', 'Roundabout exit 2:'; of the first step 'Leave the fill
    site north on'."""
    note: str = ""
    """Bridge, dead end, narrow road."""
    room: str = ""
    """Of a turn round: whether a place for it is mapped, or its room assumed."""
    past: str = ""
    """Of a turn round right after the first step: what it lies past, 'fill site' or 'dump site'."""
    past_mi: float = 0.0
    """And how far."""

    @property
    def turns_round(self) -> bool:
        """Tell whether a tanker turns round where the step begins."""
        return self.room != ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """The timeline of one case, as a card draws it; the water is a straight line between two points."""

    minute: FloatArray
    """(k,)"""
    on_scene_gal: FloatArray
    """(k,)"""
    demand_min: FloatArray
    """(m,): from each of these minutes on the fire asks for `demand_gpm`."""
    demand_gpm: FloatArray
    gaps_min: FloatArray
    """(g, 2): from, to."""
    arrivals: tuple[tuple[float, str], ...] = ()
    """(minute, unit_id) of each tanker's coming on scene."""
    dumps: tuple[tuple[float, str], ...] = ()
    """(minute, unit_id) of each load that starts to dump."""
    called: str = "at dispatch"
    """How the units beyond the first level are called: 'at dispatch', 'first alarm' or 'on arrival'; the last two where
    a higher level is named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WayIn:
    """The first drive of the units of one station that come one way, each loaded: to the dump site, or to pump."""

    station: int
    units: tuple[int, ...]
    site: int
    """Fill site at which they pump; -1: they come to the dump site."""
    steps: tuple[Step, ...]
    heading: str
    """In which they arrive, of eight."""
    against: bool = False
    """They come to the dump site along the road by which the empty tankers of their circuit leave."""
    unposted_bridges: int = 0
    """Stretches of bridges without a posted weight that they drive over."""
    months: tuple[int, ...] = ()
    """For which it is told, where their other way does not hold then; (): for all of its card, or its sheet."""
    shut_months: tuple[int, ...] = ()
    """In which a road of it is shut, or posted too low for one of them."""
    shut_stretches: tuple[int, ...] = ()
    """Rows of the RoadTable of these roads."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherCircuit:
    """The round trip over a fill site that is not the card's own: its backup, or one that is best in other months."""

    site: int
    trip: int
    """Row of the plan's `sheet_trips`."""
    level: int
    """Response level that it is planned for."""
    out_steps: tuple[Step, ...]
    back_steps: tuple[Step, ...]
    backup: bool
    """It stands in for the card's own."""
    months: tuple[int, ...]
    """Months in which tankers fill there by plan; () in none."""
    shut_months: tuple[int, ...] = ()
    """Months in which a road of the way over a backup is closed, or posted lower: the way does not hold then."""
    shut_stretches: tuple[int, ...] = ()
    """Rows of the RoadTable of these roads."""
    fill_engine: int = -1
    """Who pumps there; -1: nobody, or not told."""
    dump_engine: int = -1
    tankers: tuple[int, ...] = ()
    """Who fills there: of two fill sites each has its own."""
    attack_engine: int = -1
    """First engine at the address in its months."""
    arrival_min: tuple[float, ...] = ()
    """(units,) at the address after each one's call, in its months; the latest where they are not alike."""
    fill_engine_min: float = math.inf
    """When the engine that pumps is at the fill site."""
    flags: tuple[Flag, ...] = ()
    """Limits that it drives over."""
    ways_in: tuple[WayIn, ...] = ()
    """First drives in its months of those whom its sheet names."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CardGroup:
    """Neighbours along a road whose answers agree: they share one card."""

    road: str
    addresses: tuple[int, ...]
    """Indices, by house number."""
    lead: int
    """The address whose numbers the card prints: the weakest of the group."""
    first_number: int
    """Lowest house number, -1 where there is none."""
    last_number: int
    out_steps: tuple[Step, ...]
    """Fill site to dump site, for the lead address: every turn."""
    back_steps: tuple[Step, ...]
    cross_street: str
    """Nearest named road that meets the frontage's road, '' where none is near."""
    split_out_steps: tuple[Step, ...] = ()
    """The same legs over the second fill site, where tankers are split over two."""
    split_back_steps: tuple[Step, ...] = ()
    others: tuple[OtherCircuit, ...] = ()
    """Round trips of the lead address over other fill sites: the backup first, then those of other months."""
    strip: Strip | None = None
    """Timeline of the lead address; None where none runs."""
    ways_in: tuple[WayIn, ...] = ()
    """First drives of the units sent at the level shown; of those whose way does not hold in some months, then too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """The first `tankers` of the district's tankers by weight, and the vehicle that stands for all of them."""

    tankers: int
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
    """(sites, units), the same to each fill site."""
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
    minutes: FloatArray
    """(segments, 2): minutes to drive each stretch loaded, forward and backward; inf where closed."""
    features: FeatureTable
    problems: tuple[Problem, ...]
    occupancies: tuple[OccupancyCount, ...]
    """The commonest first."""
    rule_ratio: tuple[float, float, float]
    """Loaded legs' minutes over the travel rule's: of the quickest twentieth, the median, of the slowest twentieth."""
    what_if: WhatIf | None = None
    """None: the pages offer no what-if."""
    search_words: SearchWords = field(default_factory=SearchWords)
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

    def line(self, segment: int, *, forward: bool = True) -> FloatArray:
        """Return the (n, 2) lon, lat points of a stretch in the direction driven."""
        points = slice(self.roads.coord_start[segment], self.roads.coord_start[segment + 1])
        lonlat = np.column_stack([self.roads.coord_lon[points], self.roads.coord_lat[points]])
        return lonlat if forward else lonlat[::-1]

    def limit_months(self, name: str, segment: int) -> frozenset[int]:
        """Give the months in which a limit, a column of `limits`, is as low as there; none where it is so all year."""
        least = getattr(self.limits, name)[segment]
        low = [getattr(one, name)[segment] == least for one in self.season_limits]
        if all(low):
            return frozenset()
        return frozenset(m for line, is_low in zip(self.seasons, low, strict=True) if is_low for m in line.months)

    def trip_rows(self, trip: int) -> tuple[list[int], list[int]]:
        """List the forest rows of a trip's two legs in the direction of travel: loaded, then empty."""
        out = self.forest.walk(int(self.trips.out_leaf[trip]))
        back = self.forest.walk(int(self.trips.back_leaf[trip]))
        return out[::-1], back

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

    def planned(self) -> Iterator[int]:
        """List the addresses that have a card, in table order."""
        yield from np.flatnonzero(self.answers.status != "hydrant").tolist()
