"""What a card tells besides the tables: ways step by step, neighbours that share a card, its timeline."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from preplan.plan_tables import LEAST_GAP_MIN, Flag
from preplan.records import FloatArray

_ALIKE_MIN = 0.05
"""Minutes that print alike."""
_INSTANT_MIN = 1e-6  # minutes nearer than this are one


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
class Nursed:
    """How a tanker pumps straight into the attack engine before the dump site is ready."""

    unit_id: str
    start_min: float
    """When its water begins to flow."""
    stop_min: float
    """When the dump site is ready, or the tanker empty before that."""
    dumps: bool
    """It has a rest left to dump then."""

    @classmethod
    def of(cls, unit_id: str, spans_min: Sequence[Sequence[float]], ready_min: float) -> Nursed | None:
        """Sum up the spans, from and to, in which its water flows; None where none does."""
        if not spans_min:
            return None
        start, stop = spans_min[0][0], spans_min[-1][1]
        return cls(unit_id=unit_id, start_min=start, stop_min=stop, dumps=stop >= ready_min - _INSTANT_MIN)


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
    """(g, 2): from, to; too little flows."""
    nothing_min: FloatArray
    """(n, 2): the parts of these gaps in which nothing flows at all."""
    arrivals: tuple[tuple[float, str], ...] = ()
    """(minute, unit_id) of each tanker's coming on scene."""
    dumps: tuple[tuple[float, str], ...] = ()
    """(minute, unit_id) of each load that starts to dump."""
    nursed: Nursed | None = None
    """The attack engine's tank would be empty before the dump site is ready; None: it lasts, or no tanker can help."""
    sources_dry_min: tuple[float, ...] = ()
    """When each fill site, the first and the second one, gives no more than flows into it; infinite: it lasts."""
    called: str = "at dispatch"
    """How the units beyond the first level are called: 'at dispatch', 'first alarm' or 'on arrival'; the last two where
    a higher level is named."""

    @property
    def dry_min(self) -> float:
        """Too little water, in all."""
        return float((self.gaps_min[:, 1] - self.gaps_min[:, 0]).sum())

    @property
    def told_gaps_min(self) -> FloatArray:
        """The gaps that are drawn, (g, 2): none where no sentence tells of them either."""
        return self.gaps_min if self.dry_min > LEAST_GAP_MIN else self.gaps_min[:0]

    @property
    def empty_from_min(self) -> float:
        """From when the attack engine is empty before a tanker feeds it; NaN: it is not, or none does."""
        start = -math.inf if self.nursed is None else self.nursed.start_min
        return next((float(dry) for dry in self.told_nothing_min[:1, 0] if dry < start - LEAST_GAP_MIN), math.nan)

    @property
    def told_nothing_min(self) -> FloatArray:
        """The same of the stretches in which nothing flows, (n, 2)."""
        return self.nothing_min if self.nothing_within_min() > LEAST_GAP_MIN else self.nothing_min[:0]

    def nothing_within_min(self, start_min: float = -math.inf, stop_min: float = math.inf) -> float:
        """Add up the minutes in which nothing flows, of a stretch or of all."""
        inside = np.clip(self.nothing_min, start_min, stop_min)
        return float((inside[:, 1] - inside[:, 0]).sum())


@dataclass(frozen=True, slots=True, order=True)
class Tight:
    """A bridge or road that a unit crosses loaded with hardly a margin, or above what it is rated for."""

    unit: int
    stretch: int
    """Row of the RoadTable."""
    limit: str
    """What it is and bears, such as 'the Mill Road bridge (rated 37,919 lb)'; unread: the whole warning."""
    above: bool
    unread: bool = False
    """What is posted there cannot be read: nobody knows whether the unit passes."""
    size: str = ""
    """Of a clearance or width that leaves hardly room, the unit's own: '9.9 ft high'."""
    road: str = ""
    """The bridge or road that it is about, such as 'the Mill Road bridge'."""


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
    returns: bool = False
    """These then come back past it in their heading: who comes so need not turn round."""
    unposted_bridges: int = 0
    """Stretches of bridges without a posted weight that they drive over."""
    tight: tuple[Tight, ...] = ()
    months: tuple[int, ...] = ()
    """For which it is told, where their other way does not hold then; (): for all of its card, or its sheet."""
    shut_months: tuple[int, ...] = ()
    """In which a road of it is shut, or posted too low for one of them."""
    shut_stretches: tuple[int, ...] = ()
    """Rows of the RoadTable of these roads."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ThenCalled:
    """What the crew of other months holds in one season of the plan, as the card's front says it of the worst one."""

    months: tuple[int, ...]
    fleet: int
    """Level whose units have the jobs: that of the sheet, or a lower one that does as well."""
    first_arrival_min: float
    """First engine at the address after the alarm; infinite: none comes."""
    advised_min: float
    """By when the sheet has the units beyond the first level called: no later than the front of its card says; NaN:
    with the first alarm."""
    strip: Strip
    """Its timeline: called on arrival where there is such a minute, else with the first alarm."""
    gap_min: float
    """Too little water, the units beyond the first level called on arrival."""
    nothing_min: float
    """Of these minutes those in which nothing flows at all."""
    on_arrival_gpm: float
    """Uninterrupted flow, called like that: no less than a lower level holds then."""
    one_out_gpm: float
    """Least uninterrupted flow with any one tanker missing."""
    later_gpm: float = math.nan
    """Steady flow, where it is told; see `plan_tables.later_gpm`."""

    @property
    def weakness(self) -> tuple[float, float]:
        """Sort seasons, the weakest first: dry for longest, to a tenth of a minute, then least held with one out."""
        return -round(self.strip.dry_min, 1), self.one_out_gpm

    def looks_like(self, other: ThenCalled) -> bool:
        """Tell whether the timelines of two seasons are one picture: same calls, arrivals, loads and dry minutes."""
        mine, its = self.strip, other.strip
        return (
            mine.called == its.called
            and abs(self.first_arrival_min - other.first_arrival_min) < _ALIKE_MIN
            and mine.gaps_min.shape == its.gaps_min.shape
            and bool((np.abs(mine.gaps_min - its.gaps_min) < _ALIKE_MIN).all())
            and [name for _, name in mine.dumps] == [name for _, name in its.dumps]
            and all(abs(at - then) < _ALIKE_MIN for (at, _), (then, _) in zip(mine.dumps, its.dumps, strict=True))
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FillsElsewhere:
    """Whom a sheet is not for: the tankers that fill at the other of two fill sites, and who pumps there."""

    months: tuple[int, ...]
    site: int
    tankers: tuple[int, ...]
    fill_engine: int
    """-1: the fill site needs none."""
    lane: str = ""
    """Where their circuit meets that of the sheet on a road one truck wide, such as '0.7 miles of Elm Lane'."""


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
    elsewhere: tuple[FillsElsewhere, ...] = ()
    """Who fills at the other of two fill sites, in each season of its months that has two."""
    attack_engine: int = -1
    """First engine at the address in its months."""
    arrival_min: tuple[float, ...] = ()
    """(units,) at the address after each one's call, in its months; the latest where they are not alike."""
    fill_engine_min: float = math.inf
    """When the engine that pumps is at the fill site."""
    laid: tuple[tuple[int, float], ...] = ()
    """Unit and feet of its hose in the supply line from dump site to attack engine, the larger share first."""
    hose_short_ft: float = 0.0
    """By how much that line is too short."""
    then: tuple[ThenCalled, ...] = ()
    """What it holds in each season of its months."""
    flags: tuple[Flag, ...] = ()
    """Limits that it drives over."""
    ways_in: tuple[WayIn, ...] = ()
    """First drives in its months of those whom its sheet names."""

    @property
    def weakest(self) -> ThenCalled | None:
        """Give the season of its months that is dry for longest, then that which holds least with a tanker out."""
        return min(self.then, key=lambda one: one.weakness, default=None)

    @property
    def weakest_months(self) -> tuple[int, ...]:
        """List the months of that season, and of those in which its timeline is the same."""
        weakest = self.weakest
        alike = [one for one in self.then if weakest is not None and one.looks_like(weakest)]
        return tuple(sorted(month for one in alike for month in one.months))

    @property
    def crew(self) -> frozenset[int]:
        """Units that have a job on its sheet."""
        return frozenset({self.attack_engine, self.dump_engine, self.fill_engine, *self.tankers} - {-1})


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
    """Nearest named road that meets the frontage's road, '' where none is known."""
    cross_mi: float = 0.0
    """How far along the road it is."""
    split_out_steps: tuple[Step, ...] = ()
    """The same legs over the second fill site, where tankers are split over two."""
    split_back_steps: tuple[Step, ...] = ()
    others: tuple[OtherCircuit, ...] = ()
    """Round trips of the lead address over other fill sites: the backup first, then those of other months."""
    stand_ins: tuple[OtherCircuit, ...] = ()
    """Those over what stands in in a season in which that is not as in front, one each: no way is traced."""
    strip: Strip | None = None
    """Timeline of the lead address; None where none runs."""
    ways_in: tuple[WayIn, ...] = ()
    """First drives of the units sent at the level shown; of those whose way does not hold in some months, then too."""
