"""What bars units on their first drive: from the station to the fire, or to the fill site at which an engine pumps.

The minutes to arrival go round whatever is posted or rated too low for each unit, but a driver takes the way that he
knows. So what bars a unit on the quick way is told, as it is for the tankers' circuits.
"""

from __future__ import annotations

import numpy as np

from preplan.plan_tables import AnswerTable, LevelTable
from preplan.planning.ground import Ground, SeasonGround
from preplan.planning.postings import barred, group_postings, postings_on
from preplan.planning.vehicles import cut_vehicles, loaded_vehicle, unlimited_fleet
from preplan.records import BoolArray, IntArray, Station, Unit
from preplan.roads.forest import trace
from preplan.roads.network import states_for
from preplan.roads.search import Spots, quickest_out, search_out

_NO_PAIRS = np.empty((0, 2), dtype=np.int32)


def approaches(
    answers: AnswerTable,
    levels: LevelTable,
    road: IntArray,
    units: tuple[Unit, ...],
    stations: tuple[Station, ...],
    ground: Ground,
) -> IntArray:
    """Find what bars the units sent at the level shown on the quick ways from their stations.

    Parameters
    ----------
    answers, levels
        What is shown for each address.
    road
        (addresses,) season of the roads that decides.
    units, stations, ground
        Who comes, from where, over which roads.

    Returns
    -------
    IntArray
        (pairs, 2) address, and first stretch of a posting that bars some unit sent from there; each once.
    """
    sent = answers.shown_units(levels.fleet)
    pumping = [
        (answers.shown(site), answers.shown(engine))
        for site, engine in ((levels.site, levels.fill_engine), (levels.split, levels.split_engine))
    ]
    number = {station.station_id: at for at, station in enumerate(stations)}
    home = np.array([number[unit.station_id] for unit in units], dtype=np.int32)
    found = [_NO_PAIRS]
    for season, roads in enumerate(ground.seasons):
        drives = _Drives(ground, roads, units, home)
        found.append(drives.to_fires(sent & (road == season)[:, None]))
        for site, engine in pumping:
            rows = _rows((road == season) & (site >= 0) & (engine >= 0))
            found.append(drives.to_sites(rows, engine[rows], site[rows]))
    return np.unique(np.concatenate(found), axis=0).astype(np.int32)


def _rows(mask: BoolArray) -> IntArray:
    """List the rows of a mask."""
    return np.flatnonzero(mask).astype(np.int32)


class _Drives:
    """The quick ways from the stations in one season of the roads, and whom each posting on them stops."""

    def __init__(self, ground: Ground, roads: SeasonGround, units: tuple[Unit, ...], home: IntArray) -> None:
        """Search the ways of a vehicle without limits from every station."""
        self._home = home
        closed = barred(roads, cut_vehicles(units))
        self._group, self._postings = group_postings(ground.roads, roads.limits, closed)
        first = np.array([posting[0] for posting in self._postings], dtype=np.int32)
        able = [
            states_for(roads.network, roads.limits, loaded_vehicle(unit)).reshape(-1, 2).any(axis=1) for unit in units
        ]
        self.stops: BoolArray = ~np.array(able)[:, first]
        """(units, postings)."""
        self._first = first
        if self.stops.any():
            top_mph = max(unit.max_mph for unit in units)
            self._fleet = unlimited_fleet(roads.network, roads.limits, roads.minutes, top_mph)
            self._search = search_out(self._fleet, Spots.of(ground.stations))
        self._fires, self._sites = Spots.of(ground.frontages), Spots.of(ground.sites)

    def to_fires(self, sent: BoolArray) -> IntArray:
        """List (address, stretch) of what stops units on their way to the fire; `sent` is (addresses, units)."""
        address, unit = (part.astype(np.int32) for part in np.nonzero(sent & self.stops.any(axis=1)))
        return self._stopped(address, unit, self._fires, address)

    def to_sites(self, address: IntArray, unit: IntArray, site: IntArray) -> IntArray:
        """List (address, stretch) of what stops engines on their way to the fill site; arrays of equal length."""
        stopped = self.stops[unit].any(axis=1)
        return self._stopped(address[stopped], unit[stopped], self._sites, site[stopped])

    def _stopped(self, address: IntArray, unit: IntArray, places: Spots, place: IntArray) -> IntArray:
        """Trace the way of each unit to a row of `places`, each way once, and list what stops it for its address."""
        if not len(address):
            return _NO_PAIRS
        ways, way = np.unique(np.column_stack([self._home[unit], place]), axis=0, return_inverse=True)
        legs = quickest_out(self._fleet, self._search, places, *ways.T)
        met = postings_on(trace(self._search, legs, inward=False), self._group)
        on_way = np.zeros((len(ways), len(self._postings)), dtype=np.bool_)
        on_way[tuple(met.T)] = True
        row, posting = np.nonzero(on_way[way.ravel()] & self.stops[unit])
        return np.column_stack([address[row], self._first[posting]]).astype(np.int32)
