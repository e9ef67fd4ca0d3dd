"""What every finished plan owes its reader, held at the end of each run and before a page is drawn.

A plan that contradicts itself is a fault of the program, never of the tables: better no pages than pages that send
loaded tankers by a wrong number. Nothing here searches or grades; each law looks at the finished tables alone and
names the addresses that break it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
from pyproj import Geod

from preplan.errors import InvariantError
from preplan.plan import Cut, Plan
from preplan.plan_tables import LEAST_GAP_MIN, ROUNDING_GPM, STATUSES, RouteForest
from preplan.records import BoolArray, FloatArray, IntArray, RoadLimits, Unit
from preplan.roads.speeds import RULE_MIN_PER_MI
from preplan.units import M_PER_MI, MIN_PER_HOUR

ADDRESSES_NAMED = 5
"""Addresses that a broken law names; the others are counted."""
ROUNDING = 1e-9
"""Share by which equal sums may differ in the order of adding."""
SAME_FLOW = 1e-6
"""Share by which two uninterrupted flows may differ and be one: each is found by a search."""
STRAIGHT_SHARE, STRAIGHT_SLACK_MI = 0.01, 0.01
"""What a straight line measured on the ellipsoid may exceed the same line along projected roads, as a share and, for
lines of a few feet, in miles (this program's careful choice: far below what any wrong route would show)."""
_ELLIPSOID = Geod(ellps="WGS84")


@dataclass(frozen=True, slots=True)
class Breach:
    """One law that some addresses break."""

    law: str
    """What is so and must not be, in plain words."""
    bad: npt.NDArray[np.bool_] | np.bool_
    """(addresses, ...): True where it is broken."""
    value: npt.NDArray[Any] | None = None
    """The offending number of each, of the shape of `bad`; None where there is none to tell."""


Breaches: TypeAlias = Iterator[Breach]


@dataclass(frozen=True)
class Planned:
    """A finished plan, and where its fill sites stand on the road."""

    plan: Plan
    site_lon: FloatArray
    """(sites,); NaN off the roads."""
    site_lat: FloatArray

    @cached_property
    def there(self) -> BoolArray:
        """Mask the (addresses, levels) that have a fill site."""
        return self.plan.levels.site >= 0

    def of_trips(self, bad: BoolArray) -> BoolArray:
        """Turn a mask over trips into one over addresses."""
        found = np.zeros(len(self.plan.addresses), dtype=np.bool_)
        found[self.plan.trips.address[bad]] = True
        return found

    def by_address(self, values: FloatArray) -> FloatArray:
        """Give each address the least of its trips' values; inf without a trip."""
        least = np.full(len(self.plan.addresses), np.inf)
        np.minimum.at(least, self.plan.trips.address, values)
        return least


def hold(plan: Plan, site_lon: FloatArray, site_lat: FloatArray) -> None:
    """Check a finished plan; `site_lon`, `site_lat` (sites,) are the fill sites' places on the road, NaN off it.

    Raises
    ------
    InvariantError
        Some law is broken; the message names each broken law and the addresses that break it.
    """
    broken = broken_laws(plan, site_lon, site_lat)
    if broken:
        raise InvariantError(
            "the plan contradicts itself, so nothing was written: a fault of this program, not of your tables.\n"
            + "\n".join(broken)
            + "\nPlease report it with the district's files; results of an earlier run are untouched"
        )


def broken_laws(plan: Plan, site_lon: FloatArray, site_lat: FloatArray) -> list[str]:
    """Name each law that a finished plan breaks, with the addresses; arguments as `hold` has them."""
    case = Planned(plan=plan, site_lon=site_lon, site_lat=site_lat)
    # A NaN where a number must be is what the laws look for: comparing with it is no accident.
    with np.errstate(invalid="ignore"):
        return [_said(plan, breach) for law in LAWS for breach in law(case) if breach.bad.any()]


def _said(plan: Plan, breach: Breach) -> str:
    """Name the addresses that break a law, with level and number where there are such."""
    places = np.argwhere(breach.bad)
    named = [_place(plan, breach, tuple(place)) for place in places[:ADDRESSES_NAMED].tolist()]
    more = f" and {len(places) - ADDRESSES_NAMED:,} more" if len(places) > ADDRESSES_NAMED else ""
    return f"{breach.law}: {', '.join(named)}{more}"


def _place(plan: Plan, breach: Breach, at: tuple[int, ...]) -> str:
    words = f"{plan.addresses.address_id[at[0]]} ({plan.addresses.label[at[0]]})"
    if len(at) > 1:
        words += f" at {plan.district.levels[at[1]].name}"
    return words if breach.value is None else f"{words}: {breach.value[at]:g}"


# --------------------------------------------------------------------------- water


def _numbers(case: Planned) -> Breaches:
    """Hold that every number that a page prints is one."""
    plan, levels, there = case.plan, case.plan.levels, case.there
    for name in ("required_gpm", "required_gal", "required_min"):
        value = getattr(plan.needs, name)
        yield Breach(f"{name} is no number", ~(np.isfinite(value) & (value >= 0.0)), value)
    for name in ("sustained_gpm", "sum_gpm", "uninterrupted_gpm", "on_arrival_gpm", "one_out_gpm"):
        value = getattr(levels, name)
        yield Breach(f"{name} is no number", there & ~(np.isfinite(value) & (value >= 0.0)), value)
    for value in (levels.sustained_gpm, levels.uninterrupted_gpm):
        yield Breach("a flow without a fill site", ~there & np.isfinite(value), value)
    backed = levels.backup >= 0
    yield Breach("backup_gpm is no number", backed & ~np.isfinite(levels.backup_gpm), levels.backup_gpm)
    runs = there & levels.used.any(axis=2)
    yield Breach("cycle_min is no number", runs & ~(levels.cycle_min > 0.0), levels.cycle_min)
    on_road = plan.frontages.segment >= 0
    for name in ("lon", "lat", "driveway_ft"):
        value = getattr(plan.frontages, name)
        yield Breach(f"{name} of the dump site is no number", on_road & ~np.isfinite(value), value)


def _flows(case: Planned) -> Breaches:
    """Hold what no fleet can exceed: the sum of usable / cycle, first by its tankers, then by the longest cycle."""
    levels, there, flow = case.plan.levels, case.there, case.plan.levels.sustained_gpm
    yield Breach("more than the sum of usable / cycle", there & (flow > levels.sum_gpm * (1.0 + ROUNDING)), flow)
    usable_gal = np.array([unit.tank_gal * unit.usable_fraction for unit in case.plan.units])
    carried = (levels.used * usable_gal).sum(axis=2)
    one_circuit = there & (levels.split < 0)  # of two circuits each has a longest cycle of its own
    over = one_circuit & (flow * levels.cycle_min > carried * (1.0 + ROUNDING))
    yield Breach("more than its tankers carry in a cycle", over, flow)
    yield Breach("a flow without a tanker", there & (flow > 0.0) & ~levels.used.any(axis=2), flow)
    least = levels.one_out_gpm
    held = levels.uninterrupted_gpm
    yield Breach("more with a tanker out", there & ~(least <= held * (1.0 + SAME_FLOW)), least)
    yield Breach("more water than can have come by the end", there & (held > _most_gpm(case) * (1.0 + ROUNDING)), held)
    brings, need = levels.brings_gpm, case.plan.needs.required_gpm[:, None] - ROUNDING_GPM
    worse = there[:, 1:] & there[:, :-1] & (brings[:, 1:] < brings[:, :-1] * (1.0 - SAME_FLOW))
    yield Breach("less than at the level below", worse, brings[:, 1:])
    called = levels.on_arrival_gpm
    worse = there[:, 1:] & there[:, :-1] & (called[:, 1:] < np.minimum(called[:, :-1], held[:, 1:]) * (1.0 - SAME_FLOW))
    yield Breach("less than at the level below, called on arrival", worse, called[:, 1:])
    counted = np.where(held >= need, np.abs(brings - held) <= held * ROUNDING, (brings >= 0.0) & (brings < need))
    yield Breach("brings what it neither holds nor falls short by", there & ~counted, brings)
    hauls = np.array([unit.kind != "engine" for unit in case.plan.units], dtype=np.bool_)
    yield Breach("an engine that hauls", np.any(levels.used & ~hauls, axis=2))
    yield Breach("a tanker that is not sent", np.any(levels.used & ~levels.fleet, axis=2))
    yield from _splits(case)


def _splits(case: Planned) -> Breaches:
    """Hold that tankers split over two fill sites go to both, and that these do not share a source."""
    plan, levels = case.plan, case.plan.levels
    split, source = levels.split >= 0, np.array([site.source for site in plan.sites], dtype=np.object_)
    yield Breach("tankers at a second site that is none", ~split & levels.at_split.any(axis=2))
    none = ~np.isfinite(levels.alone_gpm)
    yield Breach("alone_gpm is no number, or without a second site", split == none, levels.alone_gpm)
    more = split & (levels.alone_gpm > levels.uninterrupted_gpm * (1.0 + SAME_FLOW))
    yield Breach("more from one site than from two", more, levels.alone_gpm)
    nobody = ~levels.at_split.any(axis=2) | ~(levels.used & ~levels.at_split).any(axis=2)
    yield Breach("a second site with all tankers or none", split & nobody)
    yield Breach("a tanker that fills but does not haul", np.any(levels.at_split & ~levels.used, axis=2))
    shared = source[levels.split] == source[np.maximum(levels.site, 0)]
    yield Breach("two fill sites on one source", split & (shared | (levels.site < 0)))
    yield Breach("a tanker on a circuit that its vehicle class may not drive", _too_heavy(plan))
    busy = levels.split_engine >= 0
    jobs = (levels.attack_engine, levels.fill_engine, levels.dump_engine)
    twice = np.logical_or.reduce([levels.split_engine == job for job in jobs])
    yield Breach("an engine at the second fill site that has another job", busy & twice)


def _too_heavy(plan: Plan) -> BoolArray:
    """Mask the addresses at whose shown level a tanker drives a trip found for others alone."""
    shown = plan.answers.shown
    of_cut = np.array(
        [[unit.unit_id in cut.unit_ids for unit in plan.units] for cut in plan.cuts] + [[True] * len(plan.units)]
    )
    cut = np.append(plan.trips.cut, len(plan.cuts))  # no trip, -1, is the last
    used, there = (plan.answers.shown_units(mask) for mask in (plan.levels.used, plan.levels.at_split))
    driven = ((plan.levels.trip, used & ~there), (plan.levels.split_trip, there))
    bad: BoolArray = np.logical_or.reduce([np.any(mask & ~of_cut[cut[shown(trip)]], axis=1) for trip, mask in driven])
    return bad


def _most_gpm(case: Planned) -> FloatArray:
    """Bound the uninterrupted flow, (addresses, levels): the water that can have come by the end, over the time.

    The attack engine's tank, a load from each tanker, and then one each cycle at the soonest from minute 0 on; inf
    where no time is known.
    """
    plan, levels = case.plan, case.plan.levels
    tank_gal = np.array([unit.tank_gal for unit in plan.units])
    usable_gal = tank_gal * np.array([unit.usable_fraction for unit in plan.units])
    end_min = plan.answers.first_arrival_min + plan.district.rules.shuttle.full_flow_min + plan.needs.required_min
    came_gal = tank_gal[np.maximum(levels.attack_engine, 0)] + (levels.used * usable_gal).sum(axis=2)
    came_gal = came_gal + levels.sum_gpm * end_min[:, None]
    most: FloatArray = came_gal / plan.needs.required_min[:, None]
    return np.where(np.isfinite(most), most, np.inf)


# --------------------------------------------------------------------------- roads


def _trips(case: Planned) -> Breaches:
    """Hold that no tanker outruns the straight line, or its own miles, at its top speed."""
    plan, trips = case.plan, case.plan.trips
    minutes, miles = trips.out_min + trips.back_min, trips.out_mi + trips.back_mi
    for name in ("out_min", "out_mi", "back_min", "back_mi"):
        value = getattr(trips, name)
        yield Breach(f"{name} is no number", case.of_trips(~(np.isfinite(value) & (value >= 0.0))))
    straight_mi = 2.0 * _straight_mi(case) * (1.0 - STRAIGHT_SHARE) - STRAIGHT_SLACK_MI
    min_per_mi = MIN_PER_HOUR / _top_mph(plan)[trips.cut]
    for law, bad in (
        ("a round trip shorter than twice the straight line", miles < straight_mi),
        ("a round trip quicker than twice the straight line at top speed", minutes < straight_mi * min_per_mi),
        ("a round trip quicker than its miles at top speed", minutes < miles * min_per_mi * (1.0 - ROUNDING)),
    ):
        yield Breach(law, case.of_trips(bad), case.by_address(np.where(bad, minutes, np.inf)))
    yield from _cycles(case, minutes)


def _cycles(case: Planned, minutes: FloatArray) -> Breaches:
    """Hold that the cycle of the level that is shown is no shorter than the round trip it drives."""
    plan = case.plan
    cycle = plan.answers.shown_flow(plan.levels.cycle_min)
    trips = (plan.answers.shown(table) for table in (plan.levels.trip, plan.levels.split_trip))
    driven = np.maximum(*(np.where(trip >= 0, np.append(minutes, 0.0)[trip], 0.0) for trip in trips))
    yield Breach("a cycle shorter than its round trip", cycle < driven - ROUNDING, cycle)


def _top_mph(plan: Plan) -> FloatArray:
    """Give the speed that no vehicle of a cut exceeds, (cuts,): its own, the district's, or that of the travel rule."""
    rules = plan.district.rules.roads
    if rules.travel == "rule":
        return np.full(len(plan.cuts), MIN_PER_HOUR / RULE_MIN_PER_MI)
    return np.array([min(cut.top_mph, rules.top_mph) for cut in plan.cuts])


def _straight_mi(case: Planned) -> FloatArray:
    """Measure each trip's straight line between its two places on the road, (trips,)."""
    trips, place = case.plan.trips, case.plan.frontages
    ends = (case.site_lon, case.site_lat), (place.lon, place.lat)
    (from_lon, from_lat), (to_lon, to_lat) = (
        (lon[at], lat[at]) for (lon, lat), at in zip(ends, (trips.site, trips.address), strict=True)
    )
    return np.asarray(_ELLIPSOID.inv(from_lon, from_lat, to_lon, to_lat)[2], dtype=np.float64) / M_PER_MI


def _routes(case: Planned) -> Breaches:
    """Hold that traced routes run from end to end over stretches that meet and that their vehicle may drive."""
    plan, forest = case.plan, case.plan.forest
    traced = np.flatnonzero(plan.trips.out_leaf >= 0)
    root = _roots(forest)
    ends_at = plan.site_segment[plan.trips.site[traced]]
    for leaf in (plan.trips.out_leaf[traced], plan.trips.back_leaf[traced]):
        whole = (leaf >= 0) & (forest.segment[root[leaf]] == ends_at)
        whole &= forest.segment[leaf] == plan.frontages.segment[plan.trips.address[traced]]
        yield Breach("a route that does not run from end to end", _mark(case, traced[~whole]))
    for loaded, leaf in ((True, plan.trips.out_leaf[traced]), (False, plan.trips.back_leaf[traced])):
        parted = _passes(forest, _parted(plan, loaded=loaded))[leaf]
        yield Breach("a route of stretches that do not meet", _mark(case, traced[parted]))
    season = plan.levels.season[plan.trips.address[traced], 0]
    by_season = [traced[season == month] for month in range(len(plan.seasons))]
    yield Breach("a route over a limit or a closed road", _mark(case, _barred(plan, by_season)))


def _barred(plan: Plan, trips: Sequence[npt.NDArray[np.int64]]) -> npt.NDArray[np.int64]:
    """List those of some trips, season by season, whose vehicle must not drive where they lead."""
    forest, units = plan.forest, {unit.unit_id: unit for unit in plan.units}
    found = []
    for (month, limits), (number, cut) in product(enumerate(plan.season_limits), enumerate(plan.cuts)):
        rows = trips[month][plan.trips.cut[trips[month]] == number]
        for loaded, leaf in ((True, plan.trips.out_leaf[rows]), (False, plan.trips.back_leaf[rows])):
            shut = _shut(limits, cut, units, loaded=loaded)[forest.segment, np.where(forest.forward, 0, 1)]
            found.append(rows[_passes(forest, shut)[leaf]])
    return np.concatenate(found)


def _mark(case: Planned, trips: npt.NDArray[np.int64]) -> BoolArray:
    """Mask the addresses of some trips."""
    bad = np.zeros(len(case.plan.trips), dtype=np.bool_)
    bad[trips] = True
    return case.of_trips(bad)


def _shut(limits: RoadLimits, cut: Cut, units: dict[str, Unit], *, loaded: bool) -> BoolArray:
    """Mask the (stretches, 2 directions) that a cut's vehicle must not drive; empty, each axle bears its share."""
    mine = [units[name] for name in cut.unit_ids]
    axle_lb = cut.axle_lb if loaded else max(unit.dumped_axle_lb for unit in mine)
    low = (
        (limits.max_lb < (cut.loaded_lb if loaded else cut.empty_lb))
        | (limits.max_axle_lb < axle_lb)
        | (limits.max_height_ft < cut.height_ft)
        | (limits.max_width_ft < cut.width_ft)
        | ~limits.tanker_road
    )
    return np.column_stack([low | ~limits.forward_open, low | ~limits.backward_open])


def _parted(plan: Plan, *, loaded: bool) -> BoolArray:
    """Mask the rows of the forest that do not meet their parent; on a loaded leg the parent is driven first."""
    forest, roads = plan.forest, plan.roads
    start, end = roads.from_node[forest.segment], roads.to_node[forest.segment]
    tail, head = np.where(forest.forward, start, end), np.where(forest.forward, end, start)
    parent = np.maximum(forest.parent, 0)
    apart = head[parent] != tail if loaded else head != tail[parent]
    parted: BoolArray = (forest.parent >= 0) & apart
    return parted


def _roots(forest: RouteForest) -> IntArray:
    """Give each row the root of its tree, by doubling the step: (rows,)."""
    rows = np.arange(len(forest), dtype=np.int32)
    at = np.where(forest.parent >= 0, forest.parent, rows)
    for _ in range(max(len(forest), 2).bit_length()):
        at = at[at]
    return at


def _passes(forest: RouteForest, bad: BoolArray) -> BoolArray:
    """Tell for each row whether a bad row lies on its way to its root, itself included: (rows,)."""
    rows = np.arange(len(forest), dtype=np.int32)
    at, met = np.where(forest.parent >= 0, forest.parent, rows), bad.copy()
    for _ in range(max(len(forest), 2).bit_length()):
        met = met | met[at]
        at = at[at]
    return met


# --------------------------------------------------------------------------- answers


def _status(case: Planned) -> Breaches:
    """Grade again, by the words alone."""
    plan, levels, there = case.plan, case.plan.levels, case.there
    status, level, rows = plan.answers.status, plan.answers.level, np.arange(len(plan.addresses))
    met = np.nan_to_num(levels.uninterrupted_gpm) >= plan.needs.required_gpm[:, None] - ROUNDING_GPM
    yield Breach("meets, or does not, against its flow", levels.meets != met, levels.uninterrupted_gpm)
    some, first = levels.meets.any(axis=1), levels.meets.argmax(axis=1)
    routed = there.any(axis=1)
    graded = np.isin(status, ("served", "higher level", "not met"))
    yield Breach("a status that is none of the five", ~np.isin(status, STATUSES))
    yield Breach("served, but not by the first level", (status == "served") & ~levels.meets[:, 0])
    yield Breach("higher level, but the first meets", (status == "higher level") & (levels.meets[:, 0] | ~some))
    yield Breach("not met, but some level meets", (status == "not met") & some)
    yield Breach("no route, but there is a trip", (status == "no route") & routed)
    yield Breach("a status that needs a trip", graded & ~routed)
    yield Breach("a level shown without a grade", (level >= 0) != graded)
    answers = np.isin(status, ("served", "higher level"))
    yield Breach("not the first level that meets", answers & (level != first))
    yield from _shown_of_none(case, (rows, np.maximum(level, 0)))


def _shown_of_none(case: Planned, shown: tuple[npt.NDArray[np.intp], IntArray]) -> Breaches:
    """Hold that the level shown where none meets holds most, and of levels that print alike brings most."""
    plan, levels = case.plan, case.plan.levels
    none, nearly = plan.answers.status == "not met", 1.0 + plan.district.rules.plan.keep_site_gain
    flow, brings = np.floor(np.nan_to_num(levels.uninterrupted_gpm) + ROUNDING_GPM), np.nan_to_num(levels.brings_gpm)
    yield Breach("not the level that holds the most", none & (flow[shown] < flow.max(axis=1)))
    equal, wet = flow >= flow[shown][:, None], none & (flow[shown] > 0)
    most = np.where(equal, brings, 0.0).max(axis=1)
    yield Breach("holds no more than another, and brings less", none & (brings[shown] < most / nearly - ROUNDING_GPM))
    equal &= brings >= most[:, None] / nearly
    # of equal flows the one that holds most in every season comes before the one that is dry least
    always = np.min([np.nan_to_num(line.uninterrupted_gpm) for line in plan.seasons], axis=0, initial=np.inf)
    equal &= always >= always[shown][:, None] - ROUNDING_GPM
    gap = np.nan_to_num(levels.gap_min)
    drier = np.any(equal & (gap < gap[shown][:, None] - 2 * LEAST_GAP_MIN), axis=1)
    yield Breach("dry longer than a level of the same flow", wet & drier)


def _counts(case: Planned) -> Breaches:
    """Hold that every address has one place among the cards, and every answer its trip."""
    plan, levels = case.plan, case.plan.levels
    cards = np.zeros(len(plan.addresses), dtype=np.int32)
    for group in plan.groups:
        np.add.at(cards, list(group.addresses), 1)
    wanted = np.where(plan.answers.status == "hydrant", 0, 1)
    yield Breach("on no card, or on two", cards != wanted, cards)
    pair = np.append(plan.trips.address.astype(np.int64) * len(plan.sites) + plan.trips.site, -1)
    rows = np.arange(len(plan.addresses))[:, None]
    for word, site, trip in (
        ("fill site", levels.site, levels.trip),
        ("backup", levels.backup, levels.backup_trip),
        ("second fill site", levels.split, levels.split_trip),
    ):
        own = (trip >= 0) & (pair[trip] == rows * len(plan.sites) + site)
        yield Breach(f"a {word} without its trip", (site >= 0) != own)
    twice = len(np.unique(pair[:-1])) != len(plan.trips)
    yield Breach("a trip kept twice", np.full(len(plan.addresses), twice))


def _sheets(case: Planned) -> Breaches:
    """Hold that a sheet behind a card tells a trip of its own address, over no fill site of the card as its backup."""
    plan, trips = case.plan, case.plan.sheet_trips
    astray = np.zeros(len(plan.addresses), dtype=np.bool_)
    for group in plan.groups:
        level = int(plan.answers.level[group.lead])
        own = {int(table[group.lead, level]) for table in (plan.levels.site, plan.levels.split)}
        for other in group.others:
            mine = (trips.address[other.trip], trips.site[other.trip]) == (group.lead, other.site)
            astray[group.lead] |= (level >= 0 and not other.months and other.site in own) or not mine
    yield Breach("a sheet for a trip that is another's, or the card's", astray)
    sheets = [other for group in plan.groups for other in group.others]
    then = [[one.trip for one in sheets if set(line.months) <= set(one.months)] for line in plan.seasons]
    barred = _barred(plan.on_sheets(), [np.array(rows, dtype=np.int64) for rows in then])
    shut = np.isin(np.arange(len(plan.addresses)), trips.address[barred])
    yield Breach("a sheet's route over a limit or a closed road", shut)


LAWS: tuple[Callable[[Planned], Breaches], ...] = (_numbers, _flows, _trips, _routes, _status, _counts, _sheets)
"""Every law, in the order in which broken ones are told; add one here."""
