"""What was searched and weighed in every season of the roads, and in which months a way does not hold."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from preplan.months import months_text
from preplan.plan import (
    FIRST_CIRCUIT,
    SECOND_CIRCUIT,
    AnswerTable,
    Flag,
    LevelTable,
    RouteForest,
    SeasonLine,
    TripTable,
)
from preplan.planning.flows import Flows
from preplan.planning.kept import Measures
from preplan.records import FloatArray, IntArray, RoadLimits
from preplan.roads.forest import states_on
from preplan.roads.trips import Circuits

NOT_THIS_WAY = "not this way"
"""Flag that names the months in which a road of the way that pages show is shut, or posted too low."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Searched:
    """The round trips, by season of the roads."""

    circuits: tuple[tuple[Circuits, ...], ...]
    """Of each vehicle class."""
    free_min: tuple[FloatArray, ...]
    """(addresses, sites): what a vehicle without limits takes."""
    flows: tuple[Flows, ...]
    limits: tuple[RoadLimits, ...]
    measures: Measures
    road: IntArray
    """(addresses,): the season of the roads that decides."""
    seasons: tuple[SeasonLine, ...]
    """Of the plan."""
    of_line: tuple[int, ...]
    """Season of the roads of each of them."""


def shut_months(searched: Searched, trips: TripTable, forest: RouteForest, rows: IntArray) -> dict[int, frozenset[int]]:
    """Give the months in which some trips, rows of `trips`, cannot be driven as traced; only trips that have any."""
    found: defaultdict[int, set[int]] = defaultdict(set)
    for line, season in zip(searched.seasons, searched.of_line, strict=True):
        for cut, circuit in enumerate(searched.circuits[season]):
            mine = rows[trips.cut[rows] == cut]
            for fleet, leaf in ((circuit.loaded, trips.out_leaf[mine]), (circuit.empty, trips.back_leaf[mine])):
                barred = ~np.logical_and(fleet.usable[::2], fleet.usable[1::2])
                leg, state = states_on(forest, leaf, barred).T
                for trip in mine[leg[~fleet.usable[state]]].tolist():
                    found[trip].update(line.months)
    return {trip: frozenset(months) for trip, months in found.items()}


def shown_trips(answers: AnswerTable, table: IntArray) -> IntArray:
    """Take each address's trip at the level that is shown, (addresses,); -1: none."""
    cell = np.arange(len(answers)), np.maximum(answers.level, 0)
    trip: IntArray = np.where(answers.level >= 0, table[cell], -1)
    return trip


def with_shut_ways(answers: AnswerTable, levels: LevelTable, shut: Mapping[int, frozenset[int]]) -> AnswerTable:
    """Flag the circuits whose way does not hold in some months; `shut` is as `shut_months` gives it."""
    flags = list(answers.flags)
    for circuit, table in ((FIRST_CIRCUIT, levels.trip), (SECOND_CIRCUIT, levels.split_trip)):
        for a, trip in enumerate(shown_trips(answers, table).tolist()):
            if trip in shut:
                flags[a] = (*flags[a], Flag(NOT_THIS_WAY, months_text(shut[trip]), circuit=circuit))
    return replace(answers, flags=tuple(flags))
