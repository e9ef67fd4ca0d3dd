"""Sheets behind cards: round trips over other fill sites than the card's, each on the roads of its own months."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from preplan.plan import CardGroup, Flag, OtherCircuit, RouteForest, SeasonLine, TripTable
from preplan.planning.flows import Flows
from preplan.planning.groups import Answered, legs_of_trip
from preplan.planning.kept import Measures, Pairs, told_trips
from preplan.planning.weights import Met, Weights
from preplan.records import FloatArray, IntArray, RoadLimits
from preplan.roads.trips import Circuits

_LIMITS = ("max_lb", "max_axle_lb", "max_height_ft", "max_width_ft")
_OPEN = ("forward_open", "backward_open", "tanker_road")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """The round trips that were searched and weighed, by season of the roads."""

    circuits: tuple[tuple[Circuits, ...], ...]
    """Of each vehicle class."""
    free_min: tuple[FloatArray, ...]
    """(addresses, sites): what a vehicle without limits takes."""
    flows: tuple[Flows, ...]
    limits: tuple[RoadLimits, ...]
    weights: tuple[Weights, ...]
    measures: Measures
    road: IntArray
    """(addresses,): the season of the roads that decides."""
    of_line: tuple[int, ...]
    """Season of the roads of each season of the plan."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A round trip that a sheet tells."""

    group: int
    address: int
    site: int
    level: int
    season: int
    """Of the roads."""
    months: tuple[int, ...] = ()
    """In which tankers fill there by plan; (): it is the backup."""
    split: bool = False
    """Some of them fill at another one then."""
    cut: int = -1
    """Vehicle class; -1: none has a way."""
    fill_engine: int = -1
    dump_engine: int = -1
    tankers: tuple[int, ...] = ()


def with_sheets(
    found: Answered, groups: Sequence[CardGroup], seasons: tuple[SeasonLine, ...], ways: Ways
) -> tuple[tuple[CardGroup, ...], TripTable, RouteForest]:
    """Give cards the round trips over their backup and over what other months choose, with these trips themselves."""
    asked = [one for at, group in enumerate(groups) for one in _asked(found, at, group, seasons, ways)]
    asked = [one for one in _manned(asked, ways) if one.cut >= 0 and not _same_way(found, one, ways)]
    trips, forest = _traced(asked, ways)
    others: list[dict[object, OtherCircuit]] = [{} for _ in groups]
    for trip, one in enumerate(asked):
        legs = [forest.walk(int(leaf[trip])) for leaf in (trips.out_leaf, trips.back_leaf)]
        driven = [forest.segment[leg].tolist() for leg in legs]
        key = (one.site, *map(tuple, driven))  # a way that is the same in several seasons has one sheet
        before = others[one.group].get(key)
        if before is None:
            circuit = _circuit(found, trips, forest, trip, one, ways, driven)
            others[one.group][key] = replace(
                circuit, shut_months=() if one.months else _shut_in(one, seasons, ways, driven)
            )
        else:
            months = tuple(sorted({*before.months, *one.months}))
            others[one.group][key] = replace(before, backup=before.backup or not one.months, months=months)
    whole = (replace(group, others=tuple(mine.values())) for group, mine in zip(groups, others, strict=True))
    return tuple(whole), trips, forest


def _asked(found: Answered, at: int, group: CardGroup, seasons: tuple[SeasonLine, ...], ways: Ways) -> Iterator[_Asked]:
    """List what a card's lead address asks for: its backup first, then the fill sites of other months."""
    a, levels, own = group.lead, found.levels, {-1}
    shown = int(found.answers.level[a])
    if shown >= 0:
        own |= {int(levels.site[a, shown]), int(levels.split[a, shown])}
        backup = int(levels.backup[a, shown])
        if backup not in own:
            yield _Asked(group=at, address=a, site=backup, level=shown, season=int(ways.road[a]))
    rows = [a, *group.addresses]
    for line, season in zip(seasons, ways.of_line, strict=True):
        level = shown if shown >= 0 else line.level_of(rows, found.required_gpm[rows])
        there, roads_differ = line.sites_of(a, level), season != int(ways.road[a])
        for site in there:
            if site not in own or roads_differ:
                yield _Asked(
                    group=at, address=a, site=site, level=level, season=season, months=line.months, split=len(there) > 1
                )


def _same_way(found: Answered, one: _Asked, ways: Ways) -> bool:
    """Tell whether a trip is over the card's own fill site, and the way in front may be driven in these months too."""
    level = int(found.answers.level[one.address])
    if level < 0:
        return False
    for sites, trips in ((found.levels.site, found.levels.trip), (found.levels.split, found.levels.split_trip)):
        trip = int(trips[one.address, level])
        if trip >= 0 and sites[one.address, level] == one.site:
            leaves = int(found.trips.out_leaf[trip]), int(found.trips.back_leaf[trip])
            driven = [row for leaf in leaves for row in found.forest.segment[found.forest.walk(leaf)].tolist()]
            return not _shut(driven, ways.limits[one.season], ways.limits[int(ways.road[one.address])])
    return False


def _shut_in(one: _Asked, seasons: tuple[SeasonLine, ...], ways: Ways, driven: list[list[int]]) -> tuple[int, ...]:
    """List the months in which a road of the way over the backup is closed, or posted lower."""
    every = [row for leg in driven for row in leg]
    now = ways.limits[one.season]
    lines = zip(seasons, ways.of_line, strict=True)
    return tuple(month for line, at in lines if _shut(every, ways.limits[at], now) for month in line.months)


def _shut(driven: Sequence[int], then: RoadLimits, now: RoadLimits) -> bool:
    """Tell whether any of the stretches that are driven now is closed then, or posted lower."""
    rows = list(driven)
    lower = any(np.any(getattr(then, name)[rows] < getattr(now, name)[rows]) for name in _LIMITS)
    return bool(lower or any(np.any(getattr(now, name)[rows] & ~getattr(then, name)[rows]) for name in _OPEN))


def _manned(asked: Sequence[_Asked], ways: Ways) -> list[_Asked]:
    """Add who pumps and who hauls, as the flows were worked out, and their vehicle class.

    Where tankers are split, the class is that of all together, and nobody is named.
    """
    manned = list(asked)
    for season, flows in enumerate(ways.flows):
        mine = [at for at, one in enumerate(asked) if one.season == season]
        case = np.array([(asked[at].address, asked[at].site, asked[at].level) for at in mine], dtype=np.int32)
        address, site, level = case.reshape(-1, 3).T
        run, classes = flows.settled(address, site, level).run, flows.cut[address, site, level].tolist()
        for row, at in enumerate(mine):
            one = asked[at]
            if one.split:
                manned[at] = replace(one, cut=_with_way(ways, one, classes[row]))
                continue
            manned[at] = replace(
                one,
                cut=_with_way(ways, one, int(run.cut[row])),
                fill_engine=int(run.fill_engine[row]),
                dump_engine=int(run.dump_engine[row]),
                tankers=tuple(np.flatnonzero(run.used[row]).tolist()),
            )
    return manned


def _with_way(ways: Ways, one: _Asked, cut: int) -> int:
    """Give a vehicle class if it has a way, else the heaviest that has; -1: none has."""
    has = [bool(circuit.join[one.address, one.site] >= 0) for circuit in ways.circuits[one.season]]
    return cut if has[cut] else max((other for other, way in enumerate(has) if way), default=-1)


def _traced(asked: Sequence[_Asked], ways: Ways) -> tuple[TripTable, RouteForest]:
    """Measure and trace them all."""
    columns = {
        name: np.array([getattr(one, name) for one in asked], dtype=np.int32)
        for name in ("address", "site", "cut", "season")
    }
    free = [float(ways.free_min[one.season][one.address, one.site]) for one in asked]
    pairs = Pairs(free_min=np.array(free), drawn=np.ones(len(asked), dtype=np.bool_), **columns)
    circuits = [circuit for season in ways.circuits for circuit in season]
    return told_trips(circuits, ways.measures, pairs, len(ways.circuits[0]))


def _circuit(
    found: Answered,
    trips: TripTable,
    forest: RouteForest,
    trip: int,
    one: _Asked,
    ways: Ways,
    driven: list[list[int]],
) -> OtherCircuit:
    """Describe one for its drivers; `driven` are the stretches of both legs."""
    out, back = legs_of_trip(found, trips, forest, trip, ways.limits[one.season])
    return OtherCircuit(
        site=one.site,
        trip=trip,
        level=one.level,
        out_steps=out,
        back_steps=back,
        backup=not one.months,
        months=one.months,
        fill_engine=one.fill_engine,
        dump_engine=one.dump_engine,
        tankers=one.tankers,
        flags=_limits_on(one, ways.weights[one.season], driven),
    )


def _limits_on(one: _Asked, weights: Weights, driven: list[list[int]]) -> tuple[Flag, ...]:
    """Flag the limits that a round trip drives over."""
    legs = [[(one.address, s) for s in leg if weights.limited[s]] for leg in driven]
    free, out, back = (np.array(pairs, dtype=np.int32).reshape(-1, 2) for pairs in ([], *legs))
    return weights.flags(Met(free=free, out=out, back=back)).get(one.address, ())
