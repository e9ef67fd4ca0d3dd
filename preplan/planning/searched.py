"""What was searched and weighed in every season of the roads, and in which months a way does not hold."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from preplan.months import month_words, months_text
from preplan.plan_tables import (
    FIRST_CIRCUIT,
    NOT_THIS_WAY,
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Searched:
    """The round trips, by season of the roads."""

    circuits: tuple[tuple[Circuits, ...], ...]
    """Of each vehicle class."""
    free_min: tuple[tuple[FloatArray, ...], ...]
    """(addresses, sites), of each vehicle class: what a vehicle without limits takes that is as fast."""
    flows: tuple[Flows, ...]
    limits: tuple[RoadLimits, ...]
    measures: Measures
    road: IntArray
    """(addresses,): the season of the roads that decides."""
    seasons: tuple[SeasonLine, ...]
    """Of the plan."""
    of_line: tuple[int, ...]
    """Season of the roads of each of them."""
    rows: tuple[IntArray, ...]
    """(addresses, levels) settled case in each of them: rows of the flows of its roads."""


@dataclass(frozen=True, slots=True)
class Shut:
    """When a way does not hold, and what holds it off."""

    months: frozenset[int] = frozenset()
    stretches: tuple[int, ...] = ()
    """Rows of the RoadTable that are closed or posted lower then."""


def shut_ways(searched: Searched, trips: TripTable, forest: RouteForest, rows: IntArray) -> dict[int, Shut]:
    """Say when some trips, rows of `trips`, cannot be driven as traced, and why; only trips of which that is so."""
    months: defaultdict[int, set[int]] = defaultdict(set)
    stretches: defaultdict[int, set[int]] = defaultdict(set)
    for line, season in zip(searched.seasons, searched.of_line, strict=True):
        for cut, circuit in enumerate(searched.circuits[season]):
            mine = rows[trips.cut[rows] == cut]
            for fleet, leaf in ((circuit.loaded, trips.out_leaf[mine]), (circuit.empty, trips.back_leaf[mine])):
                barred = ~np.logical_and(fleet.usable[::2], fleet.usable[1::2])
                leg, state = states_on(forest, leaf, barred).T
                off = ~fleet.usable[state]
                for trip, stretch in zip(mine[leg[off]].tolist(), (state[off] >> 1).tolist(), strict=True):
                    months[trip].update(line.months)
                    stretches[trip].add(stretch)
    return {trip: Shut(frozenset(those), tuple(sorted(stretches[trip]))) for trip, those in months.items()}


def with_shut_ways(answers: AnswerTable, levels: LevelTable, shut: Mapping[int, Shut]) -> AnswerTable:
    """Flag the circuits whose way does not hold in some months; `shut` is as `shut_ways` gives it."""
    found = []
    for circuit, table in ((FIRST_CIRCUIT, levels.trip), (SECOND_CIRCUIT, levels.split_trip)):
        for a, trip in enumerate(answers.shown(table).tolist()):
            if trip in shut:
                then, where = shut[trip].months, shut[trip].stretches
                label = f"not in {month_words(then, short=True)}"
                flag = Flag(NOT_THIS_WAY, months_text(then), circuit=circuit, stretches=where, limit=label)
                found.append((a, flag))
    return answers.flagged(found)
