"""Sheets behind cards: round trips over other fill sites than the card's, each on the roads of its own months."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from preplan.plan import CardGroup, Flag, OtherCircuit, RouteForest, SeasonLine, TripTable
from preplan.planning.groups import Answered, legs_of_trip
from preplan.planning.kept import Measures, Pairs, told_trips
from preplan.planning.weights import Met, Weights
from preplan.records import FloatArray, IntArray, RoadLimits
from preplan.roads.trips import Circuits


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """The round trips that were searched, by season of the roads."""

    circuits: tuple[tuple[Circuits, ...], ...]
    """Of each vehicle class."""
    free_min: tuple[FloatArray, ...]
    """(addresses, sites): what a vehicle without limits takes."""
    driven: tuple[IntArray, ...]
    """(addresses, sites, levels): vehicle class of each case."""
    limits: tuple[RoadLimits, ...]
    weights: tuple[Weights, ...]
    measures: Measures
    road: IntArray
    """(addresses,): the season of the roads that decides."""
    of_line: tuple[int, ...]
    """Season of the roads of each season of the plan."""

    def cut(self, season: int, address: int, site: int, level: int) -> int:
        """Give the vehicle class driven, where it has no way the heaviest that has; -1: none has."""
        ways = [bool(circuit.join[address, site] >= 0) for circuit in self.circuits[season]]
        own = int(self.driven[season][address, site, level])
        return own if ways[own] else max((cut for cut, way in enumerate(ways) if way), default=-1)


class _Asked(NamedTuple):
    """A round trip that a sheet tells."""

    group: int
    address: int
    site: int
    level: int
    season: int
    """Of the roads."""
    cut: int
    months: tuple[int, ...]
    """In which tankers fill there by plan; (): it is the backup."""


def with_sheets(
    found: Answered, groups: Sequence[CardGroup], seasons: tuple[SeasonLine, ...], ways: Ways
) -> tuple[tuple[CardGroup, ...], TripTable, RouteForest]:
    """Give cards the round trips over their backup and over what other months choose, with these trips themselves."""
    asked = [one for at, group in enumerate(groups) for one in _asked(found, at, group, seasons, ways)]
    trips, forest = _traced(asked, ways)
    others: list[dict[object, OtherCircuit]] = [{} for _ in groups]
    for trip, one in enumerate(asked):
        legs = [forest.walk(int(leaf[trip])) for leaf in (trips.out_leaf, trips.back_leaf)]
        driven = [forest.segment[leg].tolist() for leg in legs]
        key = (one.site, *map(tuple, driven))  # a way that is the same in several seasons has one sheet
        before = others[one.group].get(key)
        if before is None:
            others[one.group][key] = _circuit(found, trips, forest, trip, one, ways, driven)
        else:
            months = tuple(sorted({*before.months, *one.months}))
            others[one.group][key] = replace(before, backup=before.backup or not one.months, months=months)
    whole = (replace(group, others=tuple(mine.values())) for group, mine in zip(groups, others, strict=True))
    return tuple(whole), trips, forest


def _asked(found: Answered, at: int, group: CardGroup, seasons: tuple[SeasonLine, ...], ways: Ways) -> Iterator[_Asked]:
    """List what a card's lead address asks for: its backup first, then the fill sites of other months."""
    a, levels = group.lead, found.levels
    shown = int(found.answers.level[a])
    own, wanted = set[int](), list[tuple[int, int, int, tuple[int, ...]]]()
    if shown >= 0:
        own = {int(levels.site[a, shown]), int(levels.split[a, shown])}
        wanted.append((int(levels.backup[a, shown]), shown, int(ways.road[a]), ()))
    rows = [a, *group.addresses]
    for line, season in zip(seasons, ways.of_line, strict=True):
        level = shown if shown >= 0 else line.level_of(rows, found.required_gpm[rows])
        wanted += [(site, level, season, line.months) for site in line.sites_of(a, level)]
    for site, level, season, months in wanted:
        cut = ways.cut(season, a, site, level) if site >= 0 and site not in own else -1
        if cut >= 0:
            yield _Asked(at, a, site, level, season, cut, months)


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
        flags=_limits_on(one, ways.weights[one.season], driven),
    )


def _limits_on(one: _Asked, weights: Weights, driven: list[list[int]]) -> tuple[Flag, ...]:
    """Flag the limits that a round trip drives over."""
    legs = [[(one.address, s) for s in leg if weights.limited[s]] for leg in driven]
    free, out, back = (np.array(pairs, dtype=np.int32).reshape(-1, 2) for pairs in ([], *legs))
    return weights.flags(Met(free=free, out=out, back=back)).get(one.address, ())
