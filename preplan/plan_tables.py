"""The tables of a plan: columns by address, by address and level, by trip; with flags and seasons."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from preplan.records import BoolArray, Columns, FloatArray, IntArray, TextArray

ROUNDING_GPM = 1e-6
"""A flow this little below the requirement meets it: it is the same number."""
MUCH_MORE = 1.25
"""A flow that is so much more than what is held at once is told (this program's choice)."""
NO_WAY = "no way for"
"""Code of the flag that names units without a way, with the months where they have one in others."""
FIRST_ALARM_IN = "first alarm in"
"""Code of the flag that names months in which a higher level goes with the first alarm, though those that decide leave
time to call it."""
LEAST_GAP_MIN = 0.05
"""Gaps that add up to what prints as 0.0 minutes are none: in sentences, in grading, on the strip of a timeline."""
LEAST_WAIT_MIN = 5.0
"""A latest minute to call that comes sooner after the arrival leaves no time for a look around, a report and a busy
radio (this program's choice, no source): the call goes best with the first alarm."""
DRY = "dry"
"""Code of the flag of minutes in which nothing flows at all: that is told apart from too little."""
STATUSES = ("served", "higher level", "not met", "no route", "hydrant")
"""The five status words, in the order of the legend."""


STANDS_SHARE = 0.01
"""Who drives no more of a stretch stands at its end: a bridge there is not crossed."""
ONE_PLACE_FT = 3.0
"""A leg that is shorter goes from a place to itself: nothing is driven. Pages find its ends each in their own way."""
NO_SITE_IN = "no fill site in"
"""Code of a flag: months in which no fill site stands at all."""
NOT_THIS_WAY = "not this way"
"""Code of the flag that names the months in which the way shown does not hold."""
SHUT_BEYOND = "shut past dump site"
"""Code of the flag that names the months in which no engine gets on from the dump site to the building."""
WATER_BETWEEN = "water between"
"""Code of the flag of mapped water on the straight way from the road to the building."""
UNPOSTED, ONLY_RATED = "unposted bridges", "rated bridges"
"""Crossings of bridges without a posted weight; where the bridge table rates every one of them."""
BRIDGE_AT_SITE = "bridge at fill site"
"""Code of the flag of a fill site at a bridge without a posted weight."""
LONG_DRIVEWAY = "long driveway"
"""Code of the flag of an address that stands far from the road: no minute of the plan is for going up there."""
MORE_LATER = "more later"
"""Code of the flag of an address at which much more is held once the shuttle has built up: that flow."""
FIRST_CIRCUIT, SECOND_CIRCUIT = 1, 2
"""Circuits of an address: over its fill site, and, where tankers are split, over the second one."""


@dataclass(frozen=True, slots=True)
class Flag:
    """A fact about one address or site, with its number: `code=value unit`.

    >>> print(Flag("long driveway", 640, "ft"))
    long driveway=640 ft
    >>> print(Flag("posted bridge avoided", 2.4837, "min"), Flag("single fill site"), sep="; ")
    posted bridge avoided=2.5 min; single fill site
    >>> print(Flag("unposted bridges", 2.0, circuit=SECOND_CIRCUIT), Flag("left out", "T;1"), sep="; ")
    second circuit unposted bridges=2; left out=T,1
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
    road: str = field(default="", compare=False)
    """The road or bridge that has the limit; ids of units and names of roads may hold whatever would part the value."""
    names: tuple[str, ...] = field(default=(), compare=False)
    """Response levels or fill sites that the value lists, each whole: a name may hold what parts them there."""

    def __str__(self) -> str:
        """Write as the tables do: feet up and gpm down to whole ones, minutes to 0.1, the rest to 0.01.

        A semicolon, which parts flags there, becomes a comma: ids, names of levels and of roads may hold one.
        """
        named = f"second circuit {self.code}" if self.circuit == SECOND_CIRCUIT else self.code
        if self.value is None:
            return named
        return f"{named}={self._value()}" + (f" {self.unit}" if self.unit else "")

    def _value(self) -> str:
        """Round by the unit; a flag is the one value that is printed in a sentence of its own."""
        if isinstance(self.value, str) or self.value is None or not math.isfinite(self.value):
            return str(self.value or "").replace(";", ",")
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

    @property
    def met_from_gpm(self) -> FloatArray:
        """Give the flow from which on each requirement is met, (addresses,): what is required, but for rounding."""
        return self.required_gpm - ROUNDING_GPM


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
    near_segment: IntArray
    """Of an address off the roads, the nearest stretch that tankers may use; -1: it is on them, or there is none."""


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
    """The largest constant flow without a dry minute, every unit alerted at minute 0: what meets, or does not."""
    brings_gpm: FloatArray
    """What site and level are chosen by: the uninterrupted flow where it meets, else the mean flow delivered of what is
    asked for; see `water.timeline_batch.brought_gpm`."""
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
    nothing_min: FloatArray
    """Of these dry minutes those in which nothing flows at all; likewise."""
    nothing_on_arrival_min: FloatArray
    backup_gpm: FloatArray
    """Uninterrupted flow from the backup site."""
    backup_steady_gpm: FloatArray
    """Steady flow from a backup site, where it is told: it holds nothing, or see `later_gpm`; NaN in the others."""
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

    @property
    def attack_drafts(self) -> BoolArray:
        """Mask the levels, (addresses, levels), at which the attack engine drafts too."""
        mask: BoolArray = (self.dump_engine == self.attack_engine) & (self.dump_engine >= 0)
        return mask


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
        # asked in the column's own type: else each search would turn the whole column into another
        first, last = self.address.searchsorted(np.array([address, address + 1], self.address.dtype)).tolist()
        rows = first + np.flatnonzero(self.level[first:last] == level)
        laid = zip(self.unit[rows].tolist(), self.hose_ft[rows].tolist(), strict=True)
        return dict(sorted(laid, key=lambda one: -one[1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class RaterTable(Columns):
    """What a rater of hauled water asks of the chosen fleets, all alerted at once: (addresses, levels).

    NaN where there is no shuttle. The largest flow held for `rules.RATER_MIN`; before it the attack flow is drawn.
    """

    early_gpm: FloatArray
    """From `rules.RATER_START_MIN` after the first engine's arrival on."""
    raised_gpm: FloatArray
    """From `rules.RATER_RAISE_MIN` after it on."""


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
class BuildUpTable(Columns):
    """From when the level shown holds much more than at once, where none meets; one row such an address."""

    address: IntArray
    from_min: FloatArray
    """Minute after the alarm until which no more than the attack flow is drawn."""
    gpm: FloatArray
    """Held from then on for the required minutes, in every season."""
    steady_gpm: FloatArray
    """What comes round without end, in the season in which that is least."""

    @classmethod
    def none(cls) -> BuildUpTable:
        """Make the table of no address."""
        number = np.empty(0)
        return cls(address=np.empty(0, dtype=np.int32), from_min=number, gpm=number, steady_gpm=number)

    def row_of(self, address: int) -> int:
        """Find the row of an address, -1 where it has none; rows are in the order of the addresses."""
        row = int(np.searchsorted(self.address, address))
        return row if row < len(self.address) and self.address[row] == address else -1

    def at_all(self, addresses: Sequence[int]) -> BuiltUp | None:
        """Give what all of some addresses hold later, from a minute on that is late enough for each; None for none."""
        rows = [self.row_of(address) for address in addresses]
        if min(rows) < 0:
            return None
        from_min, gpm, steady_gpm = self.from_min[rows].max(), self.gpm[rows].min(), self.steady_gpm[rows].min()
        return BuiltUp(from_min=float(from_min), gpm=float(gpm), steady_gpm=float(steady_gpm))


class BuiltUp(NamedTuple):
    """A row of a `BuildUpTable`, or what is true of several."""

    from_min: float
    gpm: float
    steady_gpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NurseTable(Columns):
    """Tankers that pump straight into the attack engine before the dump site is ready.

    One row an address and season in which that is so, at the level that is sent then; by address, then season.
    """

    address: IntArray
    season: IntArray
    """Row of the plan's seasons."""
    unit: IntArray
    engine: IntArray
    """The attack engine."""
    start_min: FloatArray
    """When its water begins to flow, the hose that it needs being there."""
    stop_min: FloatArray
    """When the dump site is ready, or the tanker empty before that."""
    dumps: BoolArray
    """It has a rest left to dump then."""
    empty_from_min: FloatArray
    """From when the attack engine is empty before it begins; NaN: it is not."""

    @classmethod
    def none(cls) -> NurseTable:
        """Make the table of no address."""
        whole, number = np.empty(0, dtype=np.int32), np.empty(0)
        return cls(
            address=whole, season=whole, unit=whole, engine=whole, start_min=number, stop_min=number,
            dumps=np.empty(0, dtype=np.bool_), empty_from_min=number,
        )  # fmt: skip

    def of(self, addresses: Sequence[int]) -> NurseTable:
        """Take the rows of some addresses."""
        return self.rows(np.isin(self.address, addresses))


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
    backup_steady_gpm: FloatArray
    """(addresses, levels): steady flow where it is told, as `LevelTable.backup_steady_gpm`."""
    uninterrupted_gpm: FloatArray
    """(addresses, levels)."""
    brings_gpm: FloatArray
    """(addresses, levels), as `LevelTable.brings_gpm`."""

    def sites_of(self, address: int, level: int) -> tuple[int, ...]:
        """Give the fill sites of an address and level: none, one, or two where tankers are split."""
        both = int(self.best_site[address, level]), int(self.split_site[address, level])
        return tuple(site for site in both if site >= 0)

    def level_of(self, rows: Sequence[int], required_gpm: FloatArray) -> int:
        """Give the first level that meets what is required at each of some addresses, `rows`.

        Where none does, the one that holds most at the weakest of them; of those that print the same the last.
        """
        flow = np.nan_to_num(self.uninterrupted_gpm[list(rows)])
        meets = np.all(flow >= required_gpm[:, None] - ROUNDING_GPM, axis=0)
        if meets.any():
            return int(meets.argmax())
        least = np.floor(flow.min(axis=0) + ROUNDING_GPM)
        return int(np.flatnonzero(least == least.max())[-1])


@dataclass(frozen=True, slots=True, kw_only=True)
class HydrantReach(Columns):
    """The hydrant of the water mains that is credited most for each address, whether or not it is enough."""

    hydrant: IntArray
    """Row of the HydrantTable, -1: none counts."""
    distance_ft: FloatArray
    """Hose along roads and up the driveway; NaN: none."""
    credited_gpm: FloatArray
    """NaN: none."""


def standing(seasons: Sequence[SeasonLine], sites: int) -> BoolArray:
    """Mask the fill sites that stand in each season, (seasons, sites)."""
    mask = np.zeros((len(seasons), sites), dtype=np.bool_)
    for at, season in enumerate(seasons):
        mask[at, list(season.sites)] = True
    return mask


def leaves_time(gap_min: FloatArray, call_by_min: FloatArray, arrival_min: FloatArray) -> BoolArray:
    """Mask the cases, (cases,), in which a higher level may wait for the call of who arrives first: nothing lacks then.

    Called on arrival it leaves no dry minute, and the latest minute to call it, NaN: none, is not before the arrival.
    """
    with np.errstate(invalid="ignore"):
        in_time: BoolArray = ~(gap_min > LEAST_GAP_MIN) & (call_by_min >= arrival_min)
    return in_time


def hurried(call_by_min: FloatArray, arrival_min: FloatArray) -> BoolArray:
    """Mask the latest minutes, NaN: none, that come so soon after the arrival that nobody should wait for them."""
    soon: BoolArray = call_by_min < arrival_min + LEAST_WAIT_MIN
    return soon


def at_level(table: IntArray, level: IntArray) -> IntArray:
    """Pick each address's level, (addresses,), out of rows (addresses, levels) of another table; -1: none there."""
    return np.where(level >= 0, table[np.arange(len(level)), level], -1).astype(np.int32)


def flow_at_level(values: FloatArray, level: IntArray) -> FloatArray:
    """Pick the same out of flows or minutes, (addresses, levels), by a level (addresses,); NaN: none there."""
    return np.where(level >= 0, values[np.arange(len(level)), level], np.nan)


def later_gpm(steady_gpm: FloatArray, held_gpm: FloatArray, required_gpm: FloatArray) -> FloatArray:
    """Give the steady flow that is told behind what is held: much more than that, which does not meet; else NaN.

    Three arrays of gpm that broadcast, and one of their shape.
    """
    tells = (steady_gpm > MUCH_MORE * held_gpm) & (held_gpm < required_gpm - ROUNDING_GPM)
    return np.where(tells, steady_gpm, np.nan)


def text_at_level(texts: TextArray, level: IntArray) -> TextArray:
    """Pick the same out of texts, (addresses, levels), by a level (addresses,); '': none there."""
    return np.where(level >= 0, texts[np.arange(len(level)), level], "")


def mask_at_level(mask: BoolArray, level: IntArray) -> BoolArray:
    """Pick the same out of units, (addresses, levels, units); no unit: none there."""
    picked: BoolArray = mask[np.arange(len(level)), level] & (level >= 0)[:, None]
    return picked


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
    nothing_min: FloatArray
    """Of the dry minutes those in which nothing flows at all."""
    first_nothing_min: FloatArray
    longest_nothing_min: FloatArray
    nothing_gal: FloatArray
    """Water that is asked for and lacking then."""
    mws_by_min: FloatArray
    """Minute by which the method's own total has come; NaN where it has not by the end."""
    surge_min: FloatArray
    """Minutes for which a master stream is held from full flow on; NaN where none is asked for."""
    call_by_min: FloatArray
    """Latest minute at which the units beyond the first level can be called without a dry minute; NaN: none, or
    no higher level is named."""
    emptied: BoolArray
    """(addresses, 2) the source at the fill site, and at the second one, runs dry and holds tankers back."""
    flags: tuple[tuple[Flag, ...], ...]

    def shown(self, table: IntArray) -> IntArray:
        """Give `at_level` of the level that is shown."""
        return at_level(table, self.level)

    def shown_flow(self, values: FloatArray) -> FloatArray:
        """Give `flow_at_level` of the level that is shown."""
        return flow_at_level(values, self.level)

    def shown_units(self, mask: BoolArray) -> BoolArray:
        """Give `mask_at_level` of the level that is shown."""
        return mask_at_level(mask, self.level)

    def flagged(self, found: Iterable[tuple[int, Flag]]) -> AnswerTable:
        """Add flags to those of some addresses, (address, flag), in the order in which they come."""
        flags = list(self.flags)
        for address, flag in found:
            flags[address] = (*flags[address], flag)
        return replace(self, flags=tuple(flags))

    def in_time(self, rows: IntArray | slice | int = slice(None)) -> BoolArray:
        """Mask those of some addresses whose higher level brings enough throughout though it is called on arrival."""
        early = leaves_time(self.gap_min[rows], self.call_by_min[rows], self.first_arrival_min[rows])
        in_time: BoolArray = (self.status[rows] == "higher level") & early
        return in_time

    def called_by_min(self, rows: Sequence[int]) -> float:
        """Give the minute by which a higher level is called for all of some addresses; NaN: with the first alarm."""
        those = np.array(rows, dtype=np.int32)
        return float(self.call_by_min[those].min()) if np.all(self.in_time(those)) else np.nan
