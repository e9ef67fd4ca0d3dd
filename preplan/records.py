"""The nouns of the job: records for the few things, columns for the many.

Sites, stations, units and levels are records; addresses, roads, trips and answers are *tables*: frozen
dataclasses whose fields are arrays of one length. In an array a missing number is NaN and a missing text is
''; in a record it is None. A unit ends the name of every quantity. Longitude always comes before latitude.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import Field, dataclass, field
from typing import Any, ClassVar, Self, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from preplan.units import LB_PER_GAL

FloatArray: TypeAlias = npt.NDArray[np.float64]
"""Numbers; NaN where not known, inf where there is no limit or no way."""
IntArray: TypeAlias = npt.NDArray[np.int32]
"""Indices and counts; -1 where there is none."""
IdArray: TypeAlias = npt.NDArray[np.int64]
"""Identifiers of OpenStreetMap objects."""
BoolArray: TypeAlias = npt.NDArray[np.bool_]
"""Yes or no."""
TextArray: TypeAlias = npt.NDArray[np.object_]
"""Python strings; '' where not known."""

ALL_MONTHS = frozenset(range(1, 13))
"""January to December."""
FILL_SITE_KINDS = ("hydrant", "dry hydrant", "draft", "cistern", "tank")
"""Kinds of fill site, in the order of the legend."""
UNIT_KINDS = ("engine", "tanker", "pumper-tanker")
"""Kinds of apparatus."""


def text_array(values: list[str]) -> TextArray:
    """Pack strings into an object array of one dimension.

    >>> text_array(["a", "b"]).shape
    (2,)
    """
    packed = np.empty(len(values), dtype=np.object_)
    packed[:] = values
    return packed


class Columns:
    """Base of every table: all array fields have one length, which is the length of the table."""

    __slots__ = ()
    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]
    """By name, in order; `fields` looks through them anew each time, which tells in the time of a plan."""

    def __len__(self) -> int:
        """Count the rows."""
        return len(getattr(self, next(iter(self.__dataclass_fields__))))

    def rows(self, pick: npt.NDArray[Any] | slice) -> Self:
        """Take some of the rows, by a mask, by their numbers or as a slice."""
        return type(self)(**{name: getattr(self, name)[pick] for name in self.__dataclass_fields__})


Table = TypeVar("Table", bound=Columns)


def joined(parts: Sequence[Table]) -> Table:
    """Put tables of one kind one below the other; at least one."""
    kind = type(parts[0])
    return kind(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in kind.__dataclass_fields__})


NOT_READ: Mapping[str, str] = {
    "max_height_ft": "LOW CLEARANCE on {road}, height not known: stop and measure",
    "max_width_ft": "NARROW PLACE on {road}, width not known: stop and measure",
    "max_lb": "WEIGHT POSTED on {road}, not known how much: stop and read the sign",
    "max_axle_lb": "AXLE LOAD POSTED on {road}, not known how much: stop and read the sign",
}
"""What a driver is told of a posting that cannot be read, by the column of the limits that it belongs to."""
NOT_READ_SHORT: Mapping[str, str] = {
    "max_height_ft": "height unknown", "max_width_ft": "width unknown", "max_lb": "weight unknown",
    "max_axle_lb": "axle load unknown",
}  # fmt: skip
"""The same as a map labels it."""


# --------------------------------------------------------------------------- what the user brings


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseLevel:
    """One response level: totals on the road, not additions to the level below."""

    name: str
    engines: int
    tankers: int


LIFT_FT = 10.0
"""Height from the water to the pump that is taken where a fill site's table gives none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FillSite:
    """A place where tankers fill."""

    site_id: str
    name: str
    kind: str
    """One of `FILL_SITE_KINDS`."""
    lon: float
    lat: float
    fill_gpm: float
    """Rate into one tanker."""
    fill_gpm_given: bool = True
    """False where the default stood in for an empty cell."""
    site_gpm: float | None = None
    """What the site gives in all; None: fill_gpm."""
    tested: str = ""
    """Date of the last flow test, '' where none is known."""
    positions: int = 1
    """Tankers that can fill at once."""
    source_id: str = ""
    """Sites of one source share rate, storage and refill; '' stands for a source of its own."""
    storage_gal: float | None = None
    refill_gpm: float | None = None
    low_gpm: float | None = None
    """What the site gives at low water."""
    turnaround: str = "back"
    """through, loop or back."""
    turnaround_given: bool = True
    lift_ft: float = LIFT_FT
    lift_given: bool = True
    """False where the default stood in for an empty cell."""
    needs_engine: bool = True
    """An engine must pump here (not at a pressurised hydrant or a gravity tank)."""
    months: frozenset[int] = ALL_MONTHS
    in_service: bool = True
    connection: str = ""
    notes: str = ""
    file: str = field(default="", compare=False)
    """Table it stands in, as the user calls it; '' for one that stands in none."""
    row: int | None = field(default=None, compare=False)
    """Its spreadsheet row there."""

    @property
    def source(self) -> str:
        """Name the water this site stands on."""
        return self.source_id or self.site_id

    @property
    def seasonal(self) -> bool:
        """Tell whether some month of the year is out, planned or not: pages mark it so. See `stands_through`."""
        return self.months != ALL_MONTHS

    def stands_through(self, planned: frozenset[int]) -> bool:
        """Tell whether it is in service in all of some months: what a district calls year-round, of those it plans."""
        return self.in_service and planned <= self.months

    @property
    def total_gpm(self) -> float:
        """Give what the site yields in all, gpm: site_gpm, else fill_gpm; at low water no more than low_gpm."""
        total = self.fill_gpm if self.site_gpm is None else self.site_gpm
        return total if self.low_gpm is None else min(total, self.low_gpm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """A fire station, one's own or a neighbour's."""

    station_id: str
    name: str
    lon: float
    lat: float
    turnout_min: float
    staffed: bool = False
    aid: str = "own"
    """own, automatic or on request."""
    max_engines: int | None = None
    """The most engines this station sends; None: all."""
    max_tankers: int | None = None
    file: str = field(default="", compare=False)
    """Table it stands in, as the user calls it; '' for one that stands in none."""
    row: int | None = field(default=None, compare=False)
    """Its spreadsheet row there."""


_NO_MATTER = frozenset({"usable_fraction"})
_NO_MATTER_TO: Mapping[str, frozenset[str]] = {
    "engine": frozenset({"dump_gpm", "intake_gpm", "portable_tank_gal"}),
    "tanker": frozenset({"supply_hose_ft", "supply_hose_in"}),
}
"""What is never asked of a kind of unit: an engine dumps nothing, a tanker's hose is nobody's supply line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """One piece of apparatus. `assumed` names the fields that a default filled."""

    unit_id: str
    station_id: str
    kind: str
    """One of `UNIT_KINDS`."""
    tank_gal: float
    pump_gpm: float | None
    dump_gpm: float
    intake_gpm: float
    """Most that its tank takes in, gpm."""
    self_fill_gpm: float | None
    """Given for a vacuum tanker, which needs no engine at the fill site."""
    loaded_lb: float
    empty_lb: float
    axle_lb: float
    """Heaviest axle, loaded."""
    height_ft: float
    width_ft: float
    max_mph: float
    portable_tank_gal: float
    """Portable tank it carries; 0: none."""
    usable_fraction: float
    supply_hose_ft: float
    supply_hose_in: float
    in_service: bool = True
    assumed: tuple[str, ...] = ()

    @property
    def guessed(self) -> tuple[str, ...]:
        """Name the fields that a default filled and that matter to its kind; a rule of the whole trade is none."""
        return tuple(
            name for name in self.assumed if name not in _NO_MATTER | _NO_MATTER_TO.get(self.kind, frozenset())
        )

    @property
    def weight_words(self) -> str:
        """Say what it weighs loaded, in whole pounds, and whether anybody gave that weight."""
        return f"{math.ceil(self.loaded_lb):,} lb{' assumed' * ('loaded_lb' in self.assumed)}"

    @property
    def dumped_lb(self) -> float:
        """Give its weight on the way back: a dump leaves aboard whatever of the tank does not reach the fire."""
        aboard_lb = (1.0 - self.usable_fraction) * self.tank_gal * LB_PER_GAL
        return min(self.empty_lb + aboard_lb, self.loaded_lb)

    @property
    def dumped_axle_lb(self) -> float:
        """Give its heaviest axle on the way back: each bears its share (this program's choice)."""
        return self.axle_lb * self.dumped_lb / self.loaded_lb


@dataclass(frozen=True, slots=True, kw_only=True)
class Closure:
    """A limit that the district knows and the map does not."""

    closure_id: str
    kind: str
    """closed, max_lb, max_height_ft, max_width_ft or one_way."""
    way_id: int | None = None
    line: tuple[tuple[float, float], ...] = ()
    """(lon, lat) of a point or a line, where no way_id is given."""
    value: float | None = None
    months: frozenset[int] = ALL_MONTHS
    note: str = ""
    file: str = field(default="", compare=False)
    """Table it stands in, as the user calls it; '' for one that stands in none."""
    row: int | None = field(default=None, compare=False)
    """Its spreadsheet row there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressTable(Columns):
    """Addresses to plan for, in the order of their ids' code points."""

    address_id: TextArray
    label: TextArray
    street: TextArray
    """Street name as the table gives it, else taken from the label."""
    number: IntArray
    """House number, -1 where the label has none."""
    occupancy: TextArray
    lon: FloatArray
    lat: FloatArray
    length_ft: FloatArray
    width_ft: FloatArray
    height_ft: FloatArray
    floor_area_sqft: FloatArray
    stories: FloatArray
    occupancy_hazard: FloatArray
    construction: TextArray
    """I to V, '' where not known."""
    exposure: FloatArray
    """1 yes, 0 no, NaN not known."""
    sprinklered: FloatArray
    """1 yes, 0 no, NaN not known."""
    required_gpm: FloatArray
    required_gal: FloatArray
    driveway_ft: FloatArray
    row: IntArray
    """Spreadsheet row."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HydrantTable(Columns):
    """Hydrants of the water mains."""

    hydrant_id: TextArray
    lon: FloatArray
    lat: FloatArray
    flow_gpm: FloatArray
    assumed: BoolArray
    """True where the flow is the default, not a given value."""
    class_c: BoolArray
    """True where the flow is that of class C, below 500 gpm: a class without a least flow."""

    def doubt(self, row: int) -> str:
        """Say why the flow of a hydrant is not known, in a few words; '' where it is."""
        if self.class_c[row]:
            return "class C, under 500 gpm: assumed"
        return "assumed" if self.assumed[row] else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BridgeTable(Columns):
    """Bridges of an inventory, in code point order of their ids: owners, and ratings that hold heavier trucks off."""

    bridge_id: TextArray
    lon: FloatArray
    lat: FloatArray
    owner: TextArray
    road: TextArray
    """What it carries, as the inventory writes it."""
    crosses: TextArray
    operating_lb: FloatArray
    """Operating rating: the most that the bridge may ever be put to. No posting."""
    posting: TextArray
    """What the inventory says of posting and closing, in words; '' where nothing."""

    @classmethod
    def none(cls) -> BridgeTable:
        """Give the table of a district that has none."""
        nothing, no_number = text_array([]), np.empty(0)
        return cls(
            bridge_id=nothing, lon=no_number, lat=no_number, owner=nothing, road=nothing, crosses=nothing,
            operating_lb=no_number, posting=nothing,
        )  # fmt: skip


# --------------------------------------------------------------------------- what the road file gives


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnRestriction:
    """One turn restriction: from a way, through a node or ways, into a way."""

    relation_id: int
    kind: str
    """The restriction's own word, such as no_left_turn or only_straight_on."""
    from_way: int
    to_way: int
    via_node: int | None
    """OSM id of the node; None where the way goes through ways, or nobody can tell through what."""
    via_ways: tuple[int, ...] = ()
    exempt: tuple[str, ...] = ()
    """Vehicles of its `except` tag."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadTable(Columns):
    """Stretches of road between breaks, as the road file has them; nothing is interpreted yet.

    A stretch ends at a junction, a way's end, a node whose tags matter (gate, signal, stop, crossing, turning
    circle), so no limit is ever merged into its neighbour. Row r runs from node `from_node[r]` to
    `to_node[r]`; its points are `coord_lon[coord_start[r]:coord_start[r + 1]]`, ends included.
    """

    way_id: IdArray
    from_node: IntArray
    """Index into the node arrays."""
    to_node: IntArray
    name: TextArray
    ref: TextArray
    highway: TextArray
    length_m: FloatArray
    """Geodesic length on the WGS84 ellipsoid."""
    tag_row: IntArray
    """Index into `way_tags`."""
    coord_start: IntArray
    """One longer than the table."""
    coord_lon: FloatArray
    coord_lat: FloatArray
    way_tags: tuple[Mapping[str, str], ...]
    """All tags of each way, raw."""
    node_id: IdArray
    node_lon: FloatArray
    node_lat: FloatArray
    node_tags: Mapping[int, Mapping[str, str]]
    """Tags that matter, by index into the node arrays."""
    node_cut: BoolArray
    """True where the extract ends in the middle of a way: no end of a road."""
    restrictions: tuple[TurnRestriction, ...] = ()
    newest: str = ""
    """Date of the newest object of the file (ISO), '' where it has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FeatureTable:
    """What the road file has besides roads: rings and points in lon, lat."""

    building_rings: tuple[FloatArray, ...] = ()
    """Each (n, 2): lon, lat, closed."""
    water_rings: tuple[FloatArray, ...] = ()
    """Outer rings of ponds, lakes and wide rivers."""
    island_rings: tuple[FloatArray, ...] = ()
    """Land inside them."""
    island_water: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.int32))
    """Row of `water_rings` in which each lies, (islands,)."""
    stream_lines: tuple[FloatArray, ...] = ()
    coast_lines: tuple[FloatArray, ...] = ()
    """Edges of the sea, and of waters of which the file holds a part."""
    hydrant_lonlat: FloatArray = field(default_factory=lambda: np.empty((0, 2)))

    @property
    def waterlines(self) -> tuple[FloatArray, ...]:
        """Lines that a map draws as water: streams and coasts."""
        return (*self.stream_lines, *self.coast_lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedRoad:
    """One of the district's own closures, and the stretches that it lies on."""

    closure: Closure
    segments: IntArray
    """Rows of the RoadTable."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadLimits(Columns):
    """What each stretch of a RoadTable does to a vehicle; inf where nothing is posted."""

    max_lb: FloatArray
    """Posted, or rated where that is less."""
    rated_lb: FloatArray
    """Operating rating of the bridge table, where it is less than what is posted; inf: it sets no limit."""
    max_axle_lb: FloatArray
    max_height_ft: FloatArray
    max_width_ft: FloatArray
    forward_open: BoolArray
    """A vehicle may drive from `from_node` to `to_node`."""
    backward_open: BoolArray
    tanker_road: BoolArray
    """A road for tankers: not a driveway, a path, a closed or impassable road."""
    signed: BoolArray
    """A sign forbids it, which a tanker may pass: what that costs is paid where such a road is entered."""
    penalty_min: FloatArray
    """Added once when the stretch is driven: a gate passed on the way to a fire."""
    posted: BoolArray
    """Some weight, height or width is posted, read or not."""
    unposted_bridge: BoolArray
    """A bridge without a posted weight: unknown, not safe."""
    narrow: BoolArray
    """One lane, or under the width at which two trucks pass."""
    unread: Mapping[int, frozenset[str]] = field(default_factory=dict)
    """Names of the limits above of which a stretch has a posting that cannot be read, such as `maxheight=low`; by
    stretch, those without one left out."""
    closed: tuple[ClosedRoad, ...] = ()
    """The district's own closures that hold in a planned month, in the order of their table."""

    @property
    def usable(self) -> BoolArray:
        """Mask the (segments,) that some tanker may drive in some direction."""
        return self.tanker_road & (self.forward_open | self.backward_open)

    @property
    def rated(self) -> BoolArray:
        """Mask the (segments,) whose weight limit is the bridge table's rating: nothing lower is posted."""
        return np.isfinite(self.rated_lb) & (self.max_lb >= self.rated_lb)

    @property
    def shut(self) -> BoolArray:
        """Mask the (segments,) that the district itself closes in a planned month: a bridge may be gone."""
        shut = np.zeros(len(self.max_lb), dtype=np.bool_)
        for one in self.closed:
            if one.closure.kind == "closed":
                shut[one.segments] = True
        return shut


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Something in the road data that a person should look at."""

    code: str
    """Short word, such as 'unreadable' or 'bare number'."""
    osm_id: str
    """Such as 'way 123'."""
    key: str
    value: str
    rule: str
    """What was made of it."""
    lon: float
    lat: float
