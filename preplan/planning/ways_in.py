"""The first drive of every unit: from its station, loaded, to the fire, or to the fill site at which it pumps.

Who comes from afar knows the roads least. What is told is the way that the minutes to arrival are of: by each unit's
own loaded weight, on the roads of the months that a card or its sheet is told for.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product
from typing import NamedTuple

import numpy as np

from preplan.plan_cards import CardGroup, Step, WayIn
from preplan.plan_tables import RouteForest, TripTable
from preplan.planning.ground import Ground
from preplan.planning.groups import Answered
from preplan.planning.searched import Searched
from preplan.planning.vehicles import loaded_vehicle
from preplan.planning.weights import Weights
from preplan.records import BoolArray, IntArray, Station
from preplan.roads.forest import trace
from preplan.roads.network import Vehicle, states_for
from preplan.roads.paths import directions, heading_at_end
from preplan.roads.search import Fleet, Spots, quickest_out, search_out

AGAINST_M = 20.0
"""Who comes so far along the road by which empties leave faces them: two tankers long (this program's choice)."""
_MOST_STATES = 8
"""Stretches of an empty leg that are looked at."""
Ways = dict[object, WayIn]
"""First drives that are told in one place, by what units share that come alike."""


class _Drive(NamedTuple):
    """One unit's first drive for one card, or for a sheet behind it."""

    group: int
    address: int
    unit: int
    site: int
    """Fill site at which it pumps, -1: it comes to the dump site."""
    season: int
    """Of the roads."""
    leaves: tuple[int, ...] = ()
    """First states of the empty leg of its circuit."""
    returns: bool = False
    """That leg comes back past the dump site, in the other heading."""
    sheet: int = -1
    """Which of the group's other circuits, -1: the card itself."""
    months: tuple[int, ...] = ()
    """For which it is told; (): all of its card."""


def with_ways_in(
    found: Answered,
    groups: Sequence[CardGroup],
    searched: Searched,
    sheets: tuple[TripTable, RouteForest],
    weights: Weights,
    stations: tuple[Station, ...],
    ground: Ground,
) -> tuple[CardGroup, ...]:
    """Give cards and their sheets the first drives of the units that they name.

    Where a way does not hold in months for which no sheet is, the unit's way in those is told too.
    """
    teller = _Teller(found, searched, weights, stations, ground)
    front = teller.told(list(_drives(found, groups, searched)))
    behind = teller.told(list(_sheet_drives(groups, searched, sheets)))
    then = teller.told(list(_then(groups, searched, front)))
    return tuple(
        replace(
            group,
            ways_in=(*front.get((at, -1), {}).values(), *_joined(then.get((at, -1), {}).values())),
            others=tuple(
                replace(other, ways_in=tuple(behind.get((at, sheet), {}).values()))
                for sheet, other in enumerate(group.others)
            ),
        )
        for at, group in enumerate(groups)
    )


def _drives(found: Answered, groups: Sequence[CardGroup], searched: Searched) -> Iterator[_Drive]:
    """List the first drives of the cards."""
    levels = found.levels
    for at, group in enumerate(groups):
        a, level = group.lead, int(found.answers.level[group.lead])
        if level < 0:
            continue
        pumps = {
            int(engine[a, level]): int(site[a, level])
            for site, engine in ((levels.site, levels.fill_engine), (levels.split, levels.split_engine))
        }
        trips = (int(trip[a, level]) for trip in (levels.trip, levels.split_trip))
        empty = [_leaves(found.trips, found.forest, trip) for trip in trips]
        for unit in np.flatnonzero(levels.fleet[a, level]).tolist():
            own, returns = empty[bool(levels.at_split[a, level, unit])]
            yield _Drive(at, a, unit, pumps.get(unit, -1), int(searched.road[a]), own, returns)


def _sheet_drives(
    groups: Sequence[CardGroup], searched: Searched, sheets: tuple[TripTable, RouteForest]
) -> Iterator[_Drive]:
    """List the first drives of the sheets of other months."""
    for at, group in enumerate(groups):
        for sheet, other in enumerate(group.others):
            if not other.months:
                continue
            season = _season_of(searched, other.months)
            leaves, returns = _leaves(*sheets, other.trip)
            for unit in sorted(other.crew):
                site = other.site if unit == other.fill_engine else -1
                yield _Drive(at, group.lead, unit, site, season, leaves, returns, sheet, other.months)


def _then(groups: Sequence[CardGroup], searched: Searched, front: dict[tuple[int, int], Ways]) -> Iterator[_Drive]:
    """List the first drives in months in which a card's own do not hold, of whom no sheet of those gives a job.

    Where a sheet of those months has others pump, who pumps in front comes to the dump site.
    """
    months_of: defaultdict[int, list[int]] = defaultdict(list)
    for season, line in zip(searched.of_line, searched.seasons, strict=True):
        months_of[season] += line.months
    for (at, _), ways in front.items():
        group = groups[at]
        behind = {month for other in group.others for month in other.months}
        has_job = {(unit, month) for other in group.others for unit in other.crew for month in other.months}
        for way, (season, those) in product(ways.values(), months_of.items()):
            shut = {*those} & {*way.shut_months}
            for unit, (site, some) in product(way.units, ((way.site, shut - behind), (-1, shut & behind))):
                months = tuple(month for month in those if month in some and (unit, month) not in has_job)
                if months:
                    yield _Drive(at, group.lead, unit, site, season, months=months)


def _joined(ways: Iterable[WayIn]) -> Iterator[WayIn]:
    """Join the months of ways that are one: the roads of several seasons may lead the same way."""
    joined: dict[WayIn, tuple[int, ...]] = {}
    for way in ways:
        bare = replace(way, months=())
        joined[bare] = tuple(sorted({*joined.get(bare, ()), *way.months}))
    return (replace(way, months=months) for way, months in joined.items())


def _season_of(searched: Searched, months: Iterable[int]) -> int:
    """Give the first season of the roads that is in some months."""
    some = {*months}
    return next(at for at, line in zip(searched.of_line, searched.seasons, strict=True) if some & {*line.months})


def _leaves(trips: TripTable, forest: RouteForest, trip: int) -> tuple[tuple[int, ...], bool]:
    """List the first states of the empty leg of a trip that drives on; none where it turns, or is not traced.

    With them whether the leg comes back past the dump site the other way, as round a loop.
    """
    out, leaf = (int(leaf[trip]) if trip >= 0 else -1 for leaf in (trips.out_leaf, trips.back_leaf))
    if out < 0 or leaf < 0:
        return (), False
    rows = [*forest.walk(leaf), out]
    *states, loaded = (2 * forest.segment[rows] + ~forest.forward[rows]).tolist()
    if states[0] != loaded:
        return (), False
    return tuple(states[:_MOST_STATES]), loaded ^ 1 in states[:-1]


class _Teller:
    """Tells first drives, of many cards at a time."""

    def __init__(
        self,
        found: Answered,
        searched: Searched,
        weights: Weights,
        stations: tuple[Station, ...],
        ground: Ground,
    ) -> None:
        """Know who lives where."""
        self._found, self._searched, self._weights, self._ground = found, searched, weights, ground
        units = weights.units
        home = {station.station_id: at for at, station in enumerate(stations)}
        self._home = np.array([home[unit.station_id] for unit in units], dtype=np.int32)
        self._vehicles = [loaded_vehicle(unit) for unit in units]
        self._steps: dict[Step, Step] = {}
        """Steps that were told before: most of the way to all cards of a road is one."""

    def told(self, drives: Sequence[_Drive]) -> dict[tuple[int, int], Ways]:
        """Tell drives, by group and sheet; units that come alike are told together."""
        told: dict[tuple[int, int], Ways] = {}
        by_vehicle: defaultdict[tuple[int, Vehicle], list[_Drive]] = defaultdict(list)
        for drive in drives:
            by_vehicle[drive.season, self._vehicles[drive.unit]].append(drive)
        for (season, vehicle), some in by_vehicle.items():
            usable = [states_for(one.network, one.limits, vehicle) for one in self._ground.seasons]
            for drive, way in zip(some, self._ways(season, vehicle, some), strict=True):
                if len(way):
                    self._tell(told.setdefault((drive.group, drive.sheet), {}), drive, way, usable)
        return told

    def _ways(self, season: int, vehicle: Vehicle, drives: Sequence[_Drive]) -> list[IntArray]:
        """Trace the quickest ways of one vehicle, each as its states in the order driven; empty where there is none."""
        roads, ground = self._ground.seasons[season], self._ground
        fleet = Fleet.of(roads.network, roads.limits, roads.minutes(vehicle.top_mph), vehicle)
        search = search_out(fleet, Spots.of(ground.stations))
        station = self._home[[drive.unit for drive in drives]]
        ways = [np.empty(0, dtype=np.int32) for _ in drives]
        to_site = np.array([drive.site >= 0 for drive in drives])
        for there, spots in ((False, ground.frontages), (True, ground.sites)):
            mine = np.flatnonzero(to_site == there)
            place = np.array([drives[at].site if there else drives[at].address for at in mine.tolist()], dtype=np.int32)
            pairs, pair = np.unique(np.column_stack([station[mine], place]), axis=0, return_inverse=True)
            if not len(mine):
                continue
            legs = quickest_out(fleet, search, Spots.of(spots), *pairs.T)
            traced = trace(search, legs, inward=False)
            state = (2 * traced.forest.segment + ~traced.forest.forward).astype(np.int32)
            walked = [
                state[traced.forest.walk(leaf)[::-1]] if np.isfinite(minutes) else np.empty(0, dtype=np.int32)
                for leaf, minutes in zip(traced.leaf.tolist(), legs.at_most_min.tolist(), strict=True)
            ]
            for at, one in zip(mine.tolist(), pair.ravel().tolist(), strict=True):
                ways[at] = walked[one]
        return ways

    def _tell(self, told: Ways, drive: _Drive, way: IntArray, usable: list[BoolArray]) -> None:
        """Add a unit to what comes its way to the same place, or tell that way; `usable` is by season of the roads."""
        station = int(self._home[drive.unit])
        against = drive.site < 0 and self._met_m(drive, way) >= AGAINST_M
        key = station, drive.site, against, drive.returns, drive.months, way.tobytes()
        if key not in told:
            told[key] = self._way_in(drive, station, way, against=against)
        before, months, stretches = told[key], {*told[key].shut_months}, {*told[key].shut_stretches}
        tight = {*before.tight}
        for at, line in zip(self._searched.of_line, self._searched.seasons, strict=True):
            those = {*line.months} & {*drive.months} if drive.months else {*line.months}
            off = way[~usable[at][way]]
            if those and not len(off):
                tight |= {*self._weights.tight_on(drive.unit, way >> 1, at)}
            elif those:
                months |= those
                stretches |= {*(off >> 1).tolist()}
        told[key] = replace(
            before,
            units=tuple(sorted({*before.units, drive.unit})),
            tight=tuple(sorted(tight)),
            shut_months=tuple(sorted(months)),
            shut_stretches=tuple(sorted(stretches)),
        )

    def _met_m(self, drive: _Drive, way: IntArray) -> float:
        """Measure the road before the dump site that a way drives and the empty leg drives away, metres."""
        met_m = 0.0
        fraction = float(self._ground.frontages.fraction[drive.address])
        for at, (comes, leaves) in enumerate(zip(way[::-1].tolist(), drive.leaves, strict=False)):
            if comes != leaves ^ 1:
                break
            share = 1.0 if at else fraction if comes % 2 == 0 else 1.0 - fraction
            met_m += share * float(self._ground.roads.length_m[comes >> 1])
        return met_m

    def _way_in(self, drive: _Drive, station: int, way: IntArray, *, against: bool) -> WayIn:
        """Say the steps of a way."""
        ground, roads = self._ground, self._ground.roads
        end, row = (ground.frontages, drive.address) if drive.site < 0 else (ground.sites, drive.site)
        ends = float(ground.stations.fraction[station]), float(end.fraction[row])
        driven, limits = (way >> 1, way % 2 == 0), ground.seasons[drive.season].limits
        meeting = self._found.junctions
        steps = directions(roads, limits, *driven, *ends, leaving="station", junctions=meeting)
        return WayIn(
            station=station,
            units=(),
            site=drive.site,
            steps=tuple(self._steps.setdefault(step, step) for step in steps),
            heading=heading_at_end(roads, *driven, *ends, meeting, steps[-1].miles),
            against=against,
            returns=against and drive.returns,
            unposted_bridges=int(limits.unposted_bridge[np.unique(way >> 1)].sum()),
            months=() if drive.sheet >= 0 else drive.months,
        )
