"""The first drive of every unit: from its station, loaded, to the fire, or to the fill site at which it pumps.

Who comes from afar knows the roads least. What is told is the way that the minutes to arrival are of: by each unit's
own loaded weight, on the roads of the season that decides.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from preplan.plan import CardGroup, WayIn
from preplan.planning.ground import Ground
from preplan.planning.groups import Answered
from preplan.planning.searched import Searched
from preplan.planning.vehicles import loaded_vehicle
from preplan.records import IntArray, Station, Unit
from preplan.roads.forest import trace
from preplan.roads.network import Vehicle, states_for
from preplan.roads.paths import directions, heading_at_end
from preplan.roads.search import Fleet, Spots, quickest_out, search_out


class _Drive(NamedTuple):
    """One unit's first drive for one card."""

    group: int
    address: int
    unit: int
    site: int
    """Fill site, -1: to the dump site."""


def with_ways_in(
    found: Answered,
    groups: Sequence[CardGroup],
    searched: Searched,
    units: tuple[Unit, ...],
    stations: tuple[Station, ...],
    ground: Ground,
) -> tuple[CardGroup, ...]:
    """Give cards the first drives of the units that their lead address is sent at the level shown."""
    home = {station.station_id: at for at, station in enumerate(stations)}
    told: list[dict[object, WayIn]] = [{} for _ in groups]
    for season in range(len(ground.seasons)):
        by_vehicle: defaultdict[Vehicle, list[_Drive]] = defaultdict(list)
        for drive in _drives(found, groups, searched, season):
            by_vehicle[loaded_vehicle(units[drive.unit])].append(drive)
        for vehicle, drives in by_vehicle.items():
            teller = _Teller(found, searched, ground, season, vehicle)
            at_home = np.array([home[units[drive.unit].station_id] for drive in drives], dtype=np.int32)
            for drive, station, way in zip(drives, at_home.tolist(), teller.ways(drives, at_home), strict=True):
                teller.tell(told[drive.group], drive, station, way)
    return tuple(
        replace(group, ways_in=tuple(sorted(mine.values(), key=lambda way: way.units)))
        for group, mine in zip(groups, told, strict=True)
    )


def _drives(found: Answered, groups: Sequence[CardGroup], searched: Searched, season: int) -> Iterator[_Drive]:
    """List the first drives of the cards that one season of the roads decides."""
    levels = found.levels
    for at, group in enumerate(groups):
        a, level = group.lead, int(found.answers.level[group.lead])
        if level < 0 or searched.road[a] != season:
            continue
        pumps = {
            int(engine[a, level]): int(site[a, level])
            for site, engine in ((levels.site, levels.fill_engine), (levels.split, levels.split_engine))
        }
        for unit in np.flatnonzero(levels.fleet[a, level]).tolist():
            yield _Drive(at, a, unit, pumps.get(unit, -1))


class _Teller:
    """The quickest ways of one vehicle out of all stations in one season of the roads."""

    def __init__(self, found: Answered, searched: Searched, ground: Ground, season: int, vehicle: Vehicle) -> None:
        """Search them all."""
        roads = ground.seasons[season]
        self._found, self._ground, self._limits = found, ground, roads.limits
        self._fleet = Fleet.of(roads.network, roads.limits, roads.minutes(vehicle.top_mph), vehicle)
        self._search = search_out(self._fleet, Spots.of(ground.stations))
        # the roads of the card's own season are open to this vehicle, or there were no way
        self._others = [
            (line.months, states_for(ground.seasons[at].network, ground.seasons[at].limits, vehicle))
            for line, at in zip(searched.seasons, searched.of_line, strict=True)
            if at != season
        ]

    def ways(self, drives: Sequence[_Drive], station: IntArray) -> list[IntArray]:
        """Trace the ways, each as its states in the order driven; `station` is where each drive begins."""
        ways = [np.empty(0, dtype=np.int32) for _ in drives]
        to_site = np.array([drive.site >= 0 for drive in drives])
        for there, spots in ((False, self._ground.frontages), (True, self._ground.sites)):
            mine = np.flatnonzero(to_site == there)
            place = np.array([drives[at].site if there else drives[at].address for at in mine.tolist()], dtype=np.int32)
            pairs, pair = np.unique(np.column_stack([station[mine], place]), axis=0, return_inverse=True)
            if not len(mine):
                continue
            legs = quickest_out(self._fleet, self._search, Spots.of(spots), *pairs.T)
            traced = trace(self._search, legs, inward=False)
            state = (2 * traced.forest.segment + ~traced.forest.forward).astype(np.int32)
            walked = [state[traced.forest.walk(leaf)[::-1]] for leaf in traced.leaf.tolist()]
            for at, one in zip(mine.tolist(), pair.ravel().tolist(), strict=True):
                ways[at] = walked[one]
        return ways

    def tell(self, told: dict[object, WayIn], drive: _Drive, station: int, way: IntArray) -> None:
        """Add a unit to what comes its way to the same place, or tell that way."""
        key = station, drive.site, way.tobytes()
        shut = {month for months, usable in self._others if not usable[way].all() for month in months}
        if key not in told:
            told[key] = self._told(drive, station, way)
        before = told[key]
        told[key] = replace(
            before,
            units=tuple(sorted({*before.units, drive.unit})),
            shut_months=tuple(sorted(shut.union(before.shut_months))),
        )

    def _told(self, drive: _Drive, station: int, way: IntArray) -> WayIn:
        """Say the steps of a way."""
        ground, roads = self._ground, self._ground.roads
        end, row = (ground.frontages, drive.address) if drive.site < 0 else (ground.sites, drive.site)
        ends = float(ground.stations.fraction[station]), float(end.fraction[row])
        driven = way >> 1, way % 2 == 0
        meeting = self._found.junctions
        return WayIn(
            station=station,
            units=(),
            site=drive.site,
            steps=directions(roads, self._limits, *driven, *ends, leaving="station", junctions=meeting),
            heading=heading_at_end(roads, *driven, *ends, meeting),
        )
