"""Neighbours along a road whose answers agree share one card, printed for the weakest of them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from preplan.plan_cards import CardGroup, Step
from preplan.plan_tables import (
    LEAST_GAP_MIN,
    ROUNDING_GPM,
    WATER_BETWEEN,
    AnswerTable,
    FrontageTable,
    LevelTable,
    RouteForest,
    SeasonLine,
    TripTable,
)
from preplan.records import AddressTable, BoolArray, FloatArray, IntArray, RoadLimits, RoadTable, TextArray, text_array
from preplan.roads.paths import Crossing, Junctions, cross_street, directions
from preplan.roads.street_names import address_street, normalise
from preplan.street_words import called
from preplan.units import MI_PER_DEG

MOST_APART_MIN = 1.5
"""Round trips of one card differ by no more than this (this program's careful choice)."""
MOST_APART_FIRST_MIN = 1.5
"""So do the minutes at which their first engine comes (this program's careful choice)."""
NAMESAKE_MI = 2.0
"""A house takes the map's name of its street from houses on that road this near: a county has several Mill Roads (this
program's choice)."""
MOST_APART_FT = 300.0
"""Driveways of one card differ by no more than this: three lengths of hose (this program's careful choice)."""
MOST_BELOW_GPM = 15.0
"""No flow of a card's table, nor of its backup, is less by more than this at any of its addresses: the figures are said
to be those of the weakest (this program's careful choice)."""
MOST_LONGER_MIN = 3.0
"""No minutes without enough water, or without any, that a card tells are longer by more than this at any of its
addresses (this program's careful choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """What grouping looks at."""

    addresses: AddressTable
    road: TextArray
    """(addresses,) see `name_roads`."""
    frontages: FrontageTable
    levels: LevelTable
    trips: TripTable
    answers: AnswerTable
    forest: RouteForest
    roads: RoadTable
    limits: RoadLimits
    seasons: tuple[SeasonLine, ...]
    season_limits: tuple[RoadLimits, ...]
    """What the roads do in each season of the plan."""
    site_fraction: tuple[float, ...]
    """Place of each site on its stretch."""
    required_gpm: FloatArray
    required_min: FloatArray
    junctions: Junctions


def group_addresses(found: Answered, per: str) -> tuple[CardGroup, ...]:
    """Group all addresses but those with a hydrant, by road, then house number, then id."""
    road = found.road.tolist()
    keys = [(name.casefold(), *_answer_key(found, a)) for a, name in enumerate(road)]
    order = sorted(
        np.flatnonzero(found.answers.status != "hydrant").tolist(),
        key=lambda a: (road[a].casefold(), int(found.addresses.number[a]), str(found.addresses.address_id[a])),
    )
    worth = _worth(found)
    runs: list[_Run] = []
    for a in order:
        joined = None
        if per == "road" and runs and road[a]:
            first = runs[-1].addresses[0]
            if keys[first] == keys[a] and _near(found, first, a):
                joined = runs[-1].with_one(found, worth, a)
        if joined is None:
            runs.append(_Run([a], a, worth[a]))
        else:
            runs[-1] = joined
    return tuple(_card(found, road[run.addresses[0]], run) for run in runs)


def name_roads(addresses: AddressTable, frontages: FrontageTable, roads: RoadTable) -> TextArray:
    """Name each address's road, (addresses,): as the map does where it stands on the road of its name.

    Where its table names none, the road of its frontage stands in. Tables spell one street in many ways: streets that
    are one take one name, the map's where one of them has it, of several the commonest, of those the fullest. A street
    by whose name the map has another stretch with houses keeps it: a numbered route is no street of a town on its way.
    """
    mapped = np.where(frontages.segment >= 0, np.where(roads.name != "", roads.name, roads.ref)[frontages.segment], "")
    given, number = addresses.street.tolist(), addresses.number.tolist()
    own = ((frontages.how == "named") & (frontages.along_ft == 0.0)) | (addresses.street == "")
    key = [address_street(*one) for one in zip(given, number, strict=True)]
    meant = _commonest((k, normalise(name)) for k, name, it in zip(key, mapped.tolist(), own, strict=True) if it and k)
    known = {normalise(name) for name in set(mapped.tolist()) if name}
    meant = {k: name for k, name in meant.items() if k not in known}
    names = [normalise(name) for name in mapped.tolist()]
    stands = np.array(
        [it and meant.get(k) == name for k, name, it in zip(key, names, own, strict=True)], dtype=np.bool_
    )
    near = _near_namesake(addresses, key, stands).tolist()
    key = [meant[k] if there else k or name for k, name, there in zip(key, names, near, strict=True)]
    rows = list(zip(key, given, mapped.tolist(), own.tolist(), strict=True))
    spelling = _commonest((k, name) for k, name, _, _ in rows)
    spelling |= _commonest((k, name) for k, name, _, _ in rows if normalise(name) == k)
    spelling |= _commonest((k, name) for k, _, name, it in rows if it and normalise(name) == k)
    return text_array([spelling.get(k, "") for k in key])


def _near_namesake(addresses: AddressTable, key: list[str], stands: BoolArray) -> BoolArray:
    """Tell which addresses lie near one of their street that `stands` on the road that the map names, (addresses,)."""
    near, rows_of = stands.copy(), defaultdict[str, list[int]](list)
    for row, street in enumerate(key):
        rows_of[street].append(row)
    narrow = np.cos(np.radians(addresses.lat.mean()))  # one for all: a house due north lies no farther east for it
    miles = np.column_stack([addresses.lon * narrow, addresses.lat]) * MI_PER_DEG
    for rows in map(np.array, rows_of.values()):
        those = rows[stands[rows]]
        if those.size:
            apart = np.hypot(*(miles[rows, None] - miles[None, those]).transpose(2, 0, 1))
            near[rows] = apart.min(axis=1) <= NAMESAKE_MI
    return near


def _commonest(pairs: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Give the commonest text of each key, of equally common ones the longest; never ''."""
    counts: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for key, said in pairs:
        if said:
            counts[key][said] += 1
    return {key: max(of, key=lambda said: (of[said], len(said), said)) for key, of in counts.items()}


def _answer_key(found: Answered, a: int) -> tuple[object, ...]:
    """Sum up an address's answers: neighbours with equal ones share a card."""
    level, need = int(found.answers.level[a]), (float(found.required_gpm[a]), float(found.required_min[a]))
    # what meets in other months is told of all: sheets behind say so, behind a card without a route too
    then = np.stack([(one.uninterrupted_gpm[a], one.backup_gpm[a]) for one in found.seasons])
    meets_then = (then >= need[0] - ROUNDING_GPM).tobytes()
    if level < 0:
        return (found.answers.status[a], need, found.answers.status[a] == "no route" and meets_then)
    table = found.levels
    units = b"".join(mask[a, level].tobytes() for mask in (table.fleet, table.used, table.at_split))
    engines = (table.attack_engine, table.fill_engine, table.dump_engine, table.split_engine)
    jobs = tuple(int(engine[a, level]) for engine in engines)
    places = tuple(int(site[a, level]) for site in (table.site, table.backup, table.split))
    short = tuple(bool(column[a] > LEAST_GAP_MIN) for column in (found.answers.gap_min, found.answers.nothing_min))
    # a card says of each level, and of the backup, whether it meets
    stands_in = bool(table.backup_gpm[a, level] >= need[0] - ROUNDING_GPM)
    meets = (table.meets[a].tobytes(), stands_in, meets_then)
    water = any(flag.code == WATER_BETWEEN for flag in found.answers.flags[a])
    return (found.answers.status[a], level, need, places, units, jobs, short, meets, water)


def _near(found: Answered, first: int, a: int) -> bool:
    """Tell whether round trips, first engines and driveways are near enough to share a card, and the way is one."""
    if found.frontages.segment[first] != found.frontages.segment[a] and found.frontages.along_ft[[first, a]].any():
        return False  # one stops at a junction, the other does not, or at another one
    driveway_ft = np.nan_to_num(found.frontages.driveway_ft[[first, a]])
    if abs(driveway_ft[0] - driveway_ft[1]) > MOST_APART_FT:
        return False
    first_min = np.nan_to_num(found.answers.first_arrival_min[[first, a]])
    if abs(first_min[0] - first_min[1]) > MOST_APART_FIRST_MIN:
        return False
    for table in (found.levels.trip, found.levels.split_trip):
        trips = [_shown(found, table, one) for one in (first, a)]
        minutes = [_trip_min(found, trip) for trip in trips]
        if abs(minutes[0] - minutes[1]) > MOST_APART_MIN or not _same_way(found, *trips):
            return False
    return True


def _same_way(found: Answered, trip: int, other: int) -> bool:
    """Tell whether one loaded leg leads to the other's dump site, and both turn round there or both drive on.

    Who lives the other way would read wrong turns.
    """
    if min(trip, other) >= 0 and found.trips.turn_at_dump[trip] != found.trips.turn_at_dump[other]:
        return False
    ways = [_driven(found, one) for one in (trip, other)]
    if not (ways[0] and ways[1]):
        return ways[0] == ways[1]
    return ways[0][-1] in ways[1] or ways[1][-1] in ways[0]


def _driven(found: Answered, trip: int) -> list[tuple[int, bool]]:
    """List the stretches of a loaded leg in the order driven, each with its direction; none where no leg is traced."""
    leaf = int(found.trips.out_leaf[trip]) if trip >= 0 else -1
    rows = found.forest.walk(leaf)[::-1] if leaf >= 0 else []
    return list(zip(found.forest.segment[rows].tolist(), found.forest.forward[rows].tolist(), strict=True))


def _worth(found: Answered) -> FloatArray:
    """Give what a card prints for its lead, the more the better, in units of what may be less at its other addresses.

    Flows of the card and of its sheets of other months, and the minutes in which they do not last, (addresses, such
    columns).
    """
    table = found.levels
    printed = (
        table.uninterrupted_gpm, table.on_arrival_gpm, table.sustained_gpm, table.one_out_gpm, table.backup_gpm,
        *(one.uninterrupted_gpm for one in found.seasons), *(one.backup_gpm for one in found.seasons),
    )  # fmt: skip
    # of a backup by which it is hardly more than what it holds it is not told, nor weighed against that of another
    steady = (table.backup_steady_gpm, *(one.backup_steady_gpm for one in found.seasons))
    flows = np.hstack([np.nan_to_num(np.hstack(printed)), *steady])
    lacking = table.gap_min, table.nothing_min, table.gap_on_arrival_min, table.nothing_on_arrival_min
    minutes = np.nan_to_num(np.stack([found.answers.shown_flow(column) for column in lacking], axis=1))
    worth: FloatArray = np.hstack([flows / MOST_BELOW_GPM, -minutes / MOST_LONGER_MIN])
    return worth


@dataclass(frozen=True, slots=True)
class _Run:
    """Addresses of one card."""

    addresses: list[int]
    lead: int
    """The one with the least flow at the level that is shown, then the longest round trip: the card has its numbers."""
    least: FloatArray
    """Of all of them, as `_worth` has it."""

    def with_one(self, found: Answered, worth: FloatArray, a: int) -> _Run | None:
        """Let an address share the card; None where none of them would be the weakest in all."""
        lead = min(self.lead, a, key=lambda one: _weakness(found, one))
        least = np.fmin(self.least, worth[a])
        if (worth[lead] > least + 1.0).any():
            return None
        return _Run([*self.addresses, a], lead, least)


def _weakness(found: Answered, a: int) -> tuple[float, float, int]:
    """Sort addresses, the weakest first."""
    return _flow(found, a), -_trip_min(found, _shown(found, found.levels.trip, a)), a


def _trip_min(found: Answered, trip: int) -> float:
    """Give the round trip of a row of the trips, 0 where there is none."""
    return float(found.trips.out_min[trip] + found.trips.back_min[trip]) if trip >= 0 else 0.0


def _shown(found: Answered, table: IntArray, a: int) -> int:
    """Give an address's row of the trips at the level that is shown, -1: none."""
    level = int(found.answers.level[a])
    return int(table[a, level]) if level >= 0 else -1


def _card(found: Answered, road: str, run: _Run) -> CardGroup:
    """Make a card of a run."""
    lead = run.lead
    numbers = [int(found.addresses.number[a]) for a in run.addresses if found.addresses.number[a] >= 0]
    segment = int(found.frontages.segment[lead])
    cross = Crossing("", 0.0)
    if segment >= 0:
        cross = cross_street(
            found.roads,
            found.limits,
            segment,
            float(found.frontages.fraction[lead]),
            junctions=found.junctions,
        )
        if cross.road and normalise(cross.road) in {normalise(road), normalise(called(road))}:
            # tankers stop round the corner: the other road of that corner is the cross street of its own
            cross = cross._replace(road=called(str(found.roads.name[segment]), str(found.roads.ref[segment])))
    out, back = _legs(found, lead, found.levels.trip)
    split_out, split_back = _legs(found, lead, found.levels.split_trip)
    return CardGroup(
        road=road,
        addresses=tuple(run.addresses),
        lead=lead,
        first_number=min(numbers, default=-1),
        last_number=max(numbers, default=-1),
        out_steps=out,
        back_steps=back,
        cross_street=cross.road,
        cross_mi=cross.miles,
        split_out_steps=split_out,
        split_back_steps=split_back,
    )


def _flow(found: Answered, a: int) -> float:
    """Give the uninterrupted flow at the level that is shown, 0 where there is none."""
    level = int(found.answers.level[a])
    flow = float(found.levels.uninterrupted_gpm[a, level]) if level >= 0 else 0.0
    return flow if np.isfinite(flow) else 0.0


def _legs(found: Answered, a: int, table: IntArray) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
    """Describe both legs of an address's trip, loaded and empty, for the driver; `table` names it by level."""
    trip = _shown(found, table, a)
    if trip < 0 or found.trips.out_leaf[trip] < 0:
        return (), ()
    limits = found.season_limits[int(found.levels.season[a, found.answers.level[a]])]
    return legs_of_trip(found, found.trips, found.forest, trip, limits)


def legs_of_trip(
    found: Answered, trips: TripTable, forest: RouteForest, trip: int, limits: RoadLimits
) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
    """Describe both legs of a traced round trip, loaded and empty; `limits` are those of the roads then."""
    out = forest.walk(int(trips.out_leaf[trip]))[::-1]
    back = forest.walk(int(trips.back_leaf[trip]))
    a, site = int(trips.address[trip]), int(trips.site[trip])
    there, here = found.site_fraction[site], float(found.frontages.fraction[a])

    def steps(rows: list[int], start: float, end: float, leaving: str) -> tuple[Step, ...]:
        index: IntArray = np.array(rows, dtype=np.int32)
        ways = forest.segment[index], forest.forward[index]
        return directions(found.roads, limits, *ways, start, end, leaving=leaving, junctions=found.junctions)

    return steps(out, there, here, "fill site"), steps(back, here, there, "dump site")
