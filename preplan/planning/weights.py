"""What a driver must hear of limits: bridges that only empties may cross, and what is too weak, low or narrow for him.

What his way goes round is told wherever a truck without limits would take the other: on the circuit, to the backup or
the nearest fill site, and from the station. A rating stands on no sign, so it is told before what is posted.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import numpy as np

from preplan.months import month_words
from preplan.plan_cards import Tight
from preplan.plan_tables import Flag
from preplan.records import NOT_READ, NOT_READ_SHORT, BoolArray, FloatArray, IntArray, RoadLimits, RoadTable, Unit
from preplan.roads.road_names import road_label
from preplan.units import on_a_sign

ABOVE_RATING, EMPTY_ONLY, NOT_FOR_LATER = "crosses above rating", "empty only", "not for later tanker"
RATED, RATED_EVEN_EMPTY = "rated below load", "rated below empty"
RATED_FOR_ENGINES, POSTED_FOR_ENGINES = "rated below engine", "posted below engine"
POSTED, POSTED_EVEN_EMPTY, POSTED_SIZE = "posted below load", "posted below empty", "posted below size"
NO_MARGIN, NO_MARGIN_OF_SIZE, LIMIT_NOT_KNOWN = "no margin", "no margin of size", "limit not known"
LIMIT_FLAGS = (
    ABOVE_RATING, LIMIT_NOT_KNOWN, NOT_FOR_LATER, EMPTY_ONLY, RATED_EVEN_EMPTY, RATED, RATED_FOR_ENGINES,
    POSTED_EVEN_EMPTY, POSTED, POSTED_FOR_ENGINES, POSTED_SIZE, NO_MARGIN,
    NO_MARGIN_OF_SIZE,
)  # fmt: skip
"""Codes of the flags, the gravest first."""
_MARGIN = 0.05
"""A limit that leaves less than this share above a truck is told as without a margin: a scale, ice or a load that is
not all dumped differs by more (this program's choice)."""
_SIZE_MARGIN_FT = 0.5
"""Less room than this above a truck, or beside it in all, is told as without a margin: packed snow, a new surface, a
light bar or a bounce takes as much (this program's careful choice)."""
_SIZES = (("height_ft", "high"), ("width_ft", "wide"))
_IN_PER_FT, _ROUNDING = 12.0, 1e-6
_OF_WEIGHT = "max_lb", "max_axle_lb"
_MOST_NAMED = 2
"""Tankers that are named each with its weight."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """Limited stretches that addresses have to do with: (pairs, 2) of address and stretch."""

    free: IntArray
    """On the quick way of a truck without limits."""
    out: IntArray
    """Driven loaded."""
    back: IntArray
    """Driven empty."""


@dataclass(frozen=True, kw_only=True)
class Weights:
    """What is posted and rated, and who is sent."""

    roads: RoadTable
    bridge: BoolArray
    """(segments,)."""
    limits: tuple[RoadLimits, ...]
    """In each season of the roads."""
    months: tuple[frozenset[int], ...]
    """Of each of these seasons."""
    road: IntArray
    """(addresses,) the season that decides."""
    operating_lb: FloatArray
    """(segments,) rating by the bridge table, whether it holds trucks off or not; inf: none known."""
    units: tuple[Unit, ...]
    sent: BoolArray
    """(addresses, units) tankers sent."""
    later: BoolArray
    """(addresses, units) other tankers that a higher level would send: who is called later reads the same way."""
    engines: BoolArray
    """(addresses, units) engines sent."""

    @cached_property
    def limited(self) -> BoolArray:
        """Mask the (segments,) of which there is anything to tell."""
        names = "max_lb", "max_axle_lb", "max_height_ft", "max_width_ft"
        signs = [np.isfinite(getattr(one, name)) for one in self.limits for name in names]
        found: BoolArray = np.logical_or.reduce([np.isfinite(self.operating_lb), *signs])
        found[[row for one in self.limits for row in one.unread]] = True
        return found

    def tight_on(self, unit: int, stretches: IntArray, season: int) -> tuple[Tight, ...]:
        """List what a unit crosses loaded on its way with hardly a margin, or above its rating."""
        one, found = self.units[unit], []
        for stretch in sorted({*stretches[self.limited[stretches]].tolist()}):
            rated_lb = float(self.operating_lb[stretch])
            # a sign below the rating bars him: no owner may let him over
            above = one.loaded_lb > rated_lb and rated_lb < self.limits[season].max_lb[stretch]
            bears = self._rated(stretch, season) if above else self._tight(one, stretch, season)
            road = self._name(stretch)
            if bears is not None:
                found.append(Tight(unit, stretch, f"{road} ({bears[0]})", bool(above), road=road))
            found += [
                Tight(unit, stretch, NOT_READ[kind].format(road=road), above=False, unread=True, road=road)
                for kind in sorted(self.limits[season].unread.get(stretch, ()))
            ]
            found += [
                Tight(unit, stretch, f"{road} (posted {posted})", above=False, size=f"{feet:.1f} ft {size}", road=road)
                for feet, size, posted, _, _ in self._tight_sizes(one, stretch, season)
            ]
        return tuple(found)

    def _tight(self, unit: Unit, segment: int, season: int) -> tuple[str, str] | None:
        """Say what bears a loaded unit without a margin, in full and in brief, weight before axle; None: nothing."""
        limits = self.limits[season]
        max_lb, axle_lb, rated_lb = (
            float(one[segment]) for one in (limits.max_lb, limits.max_axle_lb, self.operating_lb)
        )
        least_lb = min(max_lb, rated_lb)
        if unit.loaded_lb > least_lb or unit.axle_lb > axle_lb:
            return None
        if unit.loaded_lb > (1.0 - _MARGIN) * least_lb:
            return self._rated(segment, season) if rated_lb == least_lb else self._posted(segment, season)
        return self._posted(segment, season) if unit.axle_lb > (1.0 - _MARGIN) * axle_lb else None

    def _rated(self, segment: int, season: int) -> tuple[str, str]:
        """Say what the bridge table rates a bridge for, in full and in brief."""
        if self.operating_lb[segment] <= 0.0:
            return "closed by its inventory", "closed"
        rated = f"{np.floor(self.operating_lb[segment]):,.0f} lb"
        return f"{'no sign, but ' * bool(self.limits[season].unposted_bridge[segment])}rated {rated}", rated

    def _posted(self, segment: int, season: int) -> tuple[str, str]:
        """Say what weight is posted, and when, in full and in brief.

        In full with what is posted in other months, if that bars any unit: who drives then must not read of no limit.
        """
        every = {season: self._weights_of(segment, season)}
        for other in range(len(self.limits)):
            weights = self._weights_of(segment, other)
            bars = any(unit.loaded_lb > weights[0] or unit.axle_lb > weights[1] for unit in self.units)
            if bars and weights not in every.values() and not self.limits[other].rated[segment]:
                every[other] = weights
        full = ", and ".join(
            f"{_posted(*weights, in_tons=True)}{self._when(segment, at, *_OF_WEIGHT)}" for at, weights in every.items()
        )
        brief = f"{_posted(*every[season])}{self._when(segment, season, *_OF_WEIGHT, short=True)}"
        return f"posted {full}", brief

    def _weights_of(self, segment: int, season: int) -> tuple[float, float]:
        """Give the weight and the axle load that limit a stretch in a season."""
        max_lb, axle_lb = (float(getattr(self.limits[season], name)[segment]) for name in _OF_WEIGHT)
        return max_lb, axle_lb

    def flags(self, met: Met) -> dict[int, tuple[Flag, ...]]:
        """Give the flags of each address that has any, the gravest first and each once."""
        free, out, back = ({(a, s) for a, s in pairs.tolist()} for pairs in (met.free, met.out, met.back))
        found: dict[int, list[Flag]] = {}
        for address, segment in np.unique(np.concatenate([met.free, met.out, met.back]), axis=0).tolist():
            pair = address, segment
            ways = {"free": pair in free, "loaded": pair in out, "empty": pair in back}
            flags = [*self._of_weight(address, segment, **ways)]
            flags += self._without_margin(address, segment) if ways["loaded"] else ()
            flags += self._of_size(POSTED_SIZE, self.sent | self.engines, *pair) if ways["free"] else ()
            driven = ways["loaded"] or ways["empty"]
            flags += [*self.not_read(segment), *self._without_room(address, segment)] if driven else ()
            # who was left out may follow the others after all
            others = self.later if ways["free"] else self.sent | self.later
            flags += self._of_size(NOT_FOR_LATER, others, *pair) if driven else ()
            if flags:
                road = self._name(segment)
                found.setdefault(address, []).extend(replace(flag, stretches=(segment,), road=road) for flag in flags)
        return {address: gravest_first(flags) for address, flags in found.items()}

    def _of_weight(self, address: int, segment: int, *, free: bool, loaded: bool, empty: bool) -> Iterator[Flag]:
        """Flag the weight limits of one stretch, which tankers drive loaded, empty, or not at all.

        Engines are named beside the tankers where none drives it loaded, else by themselves.
        """
        season = int(self.road[address])
        limits = self.limits[season]
        max_lb, axle_lb = float(limits.max_lb[segment]), float(limits.max_axle_lb[segment])
        rated_lb, rated = float(self.operating_lb[segment]), bool(limits.rated[segment])
        tankers, engines = self._units(self.sent, address), self._units(self.engines, address) if free else []
        rating = self._rated(segment, season)
        later = self._units(self.later, address) if loaded or empty else []
        above = [unit for unit in (*tankers, *later) if (unit.loaded_lb if loaded else unit.dumped_lb) > rated_lb]
        if (loaded or empty) and rated_lb < max_lb and above:
            yield Flag(ABOVE_RATING, f"{self._name(segment)} ({rating[0]}). {_heavier(above)}", limit=rating[1])
        said, limit = rating if rated else self._posted(segment, season)
        heavy, later, engines = (
            [unit for unit in units if unit.loaded_lb > max_lb or unit.axle_lb > axle_lb]
            for units in (tankers, later, engines)
        )
        # those left out too; of a rating they are told below
        barred = [*(() if rated else heavy), *later]
        if barred and loaded:
            yield Flag(NOT_FOR_LATER, f"{_weighed(barred)}: {self._name(segment)} ({said})", limit=limit)
        never = [unit for unit in heavy if unit.dumped_lb > max_lb or unit.dumped_axle_lb > axle_lb]
        if (heavy or later) and empty and not loaded:
            but = _of_empties(self._units(self.sent | self.later, address), max_lb, axle_lb)
            yield Flag(EMPTY_ONLY, f"{self._name(segment)} ({said}{but})", limit=limit)
        elif heavy and (rated or (free and not loaded)):
            every = heavy + engines
            codes = (RATED, RATED_EVEN_EMPTY) if rated else (POSTED, POSTED_EVEN_EMPTY)
            # a driver reads the weight on a sign; of a rating he is told by how much he is too heavy
            who = f". {_heavier(every)}" if rated else f": {' '.join(unit.unit_id for unit in every)}"
            # where a few of many are too heavy even empty, they are named, and the others' sentence is not turned
            most = 2 * len(never) > len(heavy)
            few = f"{'.' if rated else ','} {' '.join(u.unit_id for u in never)} not empty either" if never else ""
            yield Flag(codes[most], f"{self._name(segment)} ({said}){who}{'' if most else few}", limit=limit)
            return
        if engines:
            code = RATED_FOR_ENGINES if rated else POSTED_FOR_ENGINES
            yield Flag(code, f"{_weighed(engines)}: {self._name(segment)} ({said})", limit=limit)

    def _without_margin(self, address: int, segment: int) -> Iterator[Flag]:
        """Flag what bears tankers without a margin that drive over it loaded, in any season of the roads."""
        close: dict[tuple[str, str], dict[Unit, None]] = {}
        for season, unit in product(range(len(self.limits)), self._units(self.sent | self.later, address)):
            bears = self._tight(unit, segment, season)
            if bears is not None:
                close.setdefault(bears, {})[unit] = None
        for (said, limit), units in close.items():
            yield Flag(NO_MARGIN, f"{_weighed([*units])}: {self._name(segment)} ({said})", limit=limit)

    def _tight_sizes(self, unit: Unit, segment: int, season: int) -> Iterator[tuple[float, str, str, str, float]]:
        """Say where a unit has hardly room: its feet, in which direction, what is posted, in brief, feet to spare."""
        for name, size in _SIZES:
            feet, most_ft = float(getattr(unit, name)), float(getattr(self.limits[season], f"max_{name}")[segment])
            if 0.0 <= most_ft - feet < _SIZE_MARGIN_FT:
                limit, column = f"{np.floor(10 * most_ft) / 10:g} ft {size}", f"max_{name}"
                when, brief = (self._when(segment, season, column, short=short) for short in (False, True))
                yield feet, size, f"{limit}{when}", f"{limit}{brief}", most_ft - feet

    def _without_room(self, address: int, segment: int) -> Iterator[Flag]:
        """Flag what is hardly high or wide enough for tankers that drive there, loaded or empty, in any season."""
        close: dict[tuple[str, str], dict[str, tuple[float, float]]] = {}
        for season, unit in product(range(len(self.limits)), self._units(self.sent | self.later, address)):
            for feet, _, posted, brief, spare_ft in self._tight_sizes(unit, segment, season):
                close.setdefault((posted, brief), {})[unit.unit_id] = feet, spare_ft
        for (posted, brief), units in close.items():
            largest = max(feet for feet, _ in units.values())
            who = f"{' '.join(units)} ({'up to ' * (len(units) > 1)}{largest:.1f} ft)"
            spare_in = np.floor(_IN_PER_FT * min(spare for _, spare in units.values()) + _ROUNDING)
            said = f"{who}: {self._name(segment)} (posted {posted}, {spare_in:g} in to spare)"
            yield Flag(NO_MARGIN_OF_SIZE, said, limit=brief)

    def not_read(self, segment: int) -> Iterator[Flag]:
        """Flag what is posted on a stretch, in any season of the roads, and cannot be read: it holds nobody off."""
        for kind in sorted(frozenset[str]().union(*(one.unread.get(segment, ()) for one in self.limits))):
            said, road = NOT_READ[kind], self._name(segment)
            yield Flag(
                LIMIT_NOT_KNOWN, said.format(road=road), stretches=(segment,), limit=NOT_READ_SHORT[kind], road=road
            )

    def _of_size(self, code: str, mask: BoolArray, address: int, segment: int) -> Iterator[Flag]:
        """Flag what is too low or too narrow for some units; lower and narrower ones may be planned through it."""
        season = int(self.road[address])
        limits, units = self.limits[season], self._units(mask, address)
        for name, size in _SIZES:
            most_ft = getattr(limits, f"max_{name}")[segment]
            over = [unit for unit in units if getattr(unit, name) > most_ft]
            if over:
                ids, largest = " ".join(unit.unit_id for unit in over), max(getattr(unit, name) for unit in over)
                limit = f"{np.floor(10 * most_ft) / 10:g} ft {size}"
                posted = f"posted {limit}{self._when(segment, season, f'max_{name}')}"
                said = f"{ids} ({'up to ' * (len(over) > 1)}{largest:.1f} ft): {self._name(segment)} ({posted})"
                yield Flag(code, said, limit=f"{limit}{self._when(segment, season, f'max_{name}', short=True)}")

    def _when(self, segment: int, season: int, *names: str, short: bool = False) -> str:
        """Say in which months what is posted is as in one season, behind it; '' where it is so all year."""
        mine = [getattr(self.limits[season], name)[segment] for name in names]
        alike = [[getattr(one, name)[segment] for name in names] == mine for one in self.limits]
        those = frozenset[int]().union(*(named for named, same in zip(self.months, alike, strict=True) if same))
        return "" if all(alike) else f", {month_words(those, short=short)}"

    def _units(self, mask: BoolArray, address: int) -> list[Unit]:
        """List the units of a mask at one address."""
        return [self.units[u] for u in np.flatnonzero(mask[address]).tolist()]

    def _name(self, segment: int) -> str:
        """Name a stretch as a driver knows it."""
        road = road_label(self.roads, segment)
        return f"the {road} bridge" if self.bridge[segment] else road


def gravest_first(flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """Put flags of weight in order, each once, with the stretches of all that say the same."""
    stretches: dict[Flag, tuple[int, ...]] = {}
    for flag in flags:
        stretches[flag] = tuple(dict.fromkeys((*stretches.get(flag, ()), *flag.stretches)))
    once = [replace(flag, stretches=rows) for flag, rows in stretches.items()]
    return tuple(sorted(once, key=lambda flag: LIMIT_FLAGS.index(flag.code)))


def _heavier(units: list[Unit]) -> str:
    """Say who weighs more than a bridge is rated for, loaded.

    A few are named each with its weight, many with the least and the most.
    """
    if len(units) <= _MOST_NAMED:
        named = " and ".join(f"{unit.unit_id} {unit.weight_words}" for unit in units)
        return f"{named} loaded weigh{'s' * (len(units) == 1)} more"
    ids = " ".join(unit.unit_id for unit in units)
    return f"{ids} loaded weigh more, {_from_to(units)}"


def _weighed(units: list[Unit]) -> str:
    """Name units with their weights."""
    if len(units) <= _MOST_NAMED:
        return ", ".join(f"{unit.unit_id} ({unit.weight_words})" for unit in units)
    return f"{' '.join(unit.unit_id for unit in units)} ({_from_to(units)})"


def _from_to(units: list[Unit]) -> str:
    """Say the least and the most that units weigh, loaded."""
    weights = np.ceil([unit.loaded_lb for unit in units])
    return f"{weights.min():,.0f} to {weights.max():,.0f} lb"


def _of_empties(tankers: list[Unit], max_lb: float, axle_lb: float) -> str:
    """Say what the heaviest tanker that may cross weighs after dumping, and which are too heavy even then."""
    over = [unit for unit in tankers if unit.dumped_lb > max_lb or unit.dumped_axle_lb > axle_lb]
    may = [unit for unit in tankers if unit not in over]
    heaviest = max(may, key=lambda unit: unit.dumped_lb, default=None)
    said = []
    if heaviest is not None:
        left = 100.0 * (1.0 - heaviest.usable_fraction)
        least = 1.0 - _MARGIN
        narrow = heaviest.dumped_lb > least * max_lb or any(unit.dumped_axle_lb > least * axle_lb for unit in may)
        weighs = round(heaviest.dumped_lb, -2)  # what is left in it is a guess
        said = [f"{heaviest.unit_id} about {weighs:,.0f} lb with {left:.0f} % of its load left"]
        said[0] += ": NO MARGIN" * narrow
    said += [f"{' '.join(unit.unit_id for unit in over)} not even empty"] if over else []
    return "".join(f", {one}" for one in said)


def _posted(max_lb: float, axle_lb: float, *, in_tons: bool = False) -> str:
    """Say what weights are posted, in pounds or as on the sign."""
    signs = (max_lb, ""), (axle_lb, " an axle")
    return ", ".join(
        f"{on_a_sign(sign) if in_tons else f'{np.floor(sign):,.0f} lb'}{unit}"
        for sign, unit in signs
        if np.isfinite(sign)
    )
