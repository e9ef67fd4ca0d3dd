"""Sheets behind cards: round trips over other fill sites than the card's, each on the roads of its own months."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from preplan.plan_cards import CardGroup, FillsElsewhere, OtherCircuit, Step, ThenCalled
from preplan.plan_tables import ROUNDING_GPM, Flag, RouteForest, TripTable, later_gpm
from preplan.planning.assignment import Scene, SupplyLine, supply_line
from preplan.planning.fireground import Crews, steady
from preplan.planning.flows import Settled
from preplan.planning.groups import Answered, legs_of_trip
from preplan.planning.kept import AskedTrips, told_trips
from preplan.planning.levels import called_late
from preplan.planning.meeting import LegLeaves, crossing_flags
from preplan.planning.minutes import CalledIn, Minutes, called_in, on_arrival_min, strips
from preplan.planning.searched import Searched, Shut, shut_ways
from preplan.planning.weights import Met, Weights, gravest_first
from preplan.records import FloatArray
from preplan.roads.forest import Traced, join_forests


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
    """In which tankers fill there by plan, or in which it stands in; (): it is the backup of the front."""
    line: int = -1
    """Season of the plan; -1: it is a backup."""
    cut: int = -1
    """Vehicle class; -1: none has a way."""
    fill_engine: int = -1
    dump_engine: int = -1
    tankers: tuple[int, ...] = ()
    elsewhere: tuple[FillsElsewhere, ...] = ()
    attack_engine: int = -1
    arrival_min: tuple[float, ...] = ()
    fill_engine_min: float = np.inf
    laid: tuple[tuple[int, float], ...] = ()
    hose_short_ft: float = 0.0
    then: tuple[ThenCalled, ...] = ()

    def circuit(
        self, trip: int, steps: tuple[tuple[Step, ...], tuple[Step, ...]], flags: tuple[Flag, ...], shut: Shut
    ) -> OtherCircuit:
        """Make it what a card tells; `trip` is its row among the sheets' trips, `steps` are those of both legs."""
        return OtherCircuit(
            site=self.site,
            trip=trip,
            level=self.level,
            out_steps=steps[0],
            back_steps=steps[1],
            backup=self.line < 0,
            months=self.months,
            shut_months=tuple(sorted(shut.months)),
            shut_stretches=shut.stretches,
            fill_engine=self.fill_engine,
            dump_engine=self.dump_engine,
            tankers=self.tankers,
            elsewhere=self.elsewhere,
            attack_engine=self.attack_engine,
            arrival_min=self.arrival_min,
            fill_engine_min=self.fill_engine_min,
            laid=self.laid,
            hose_short_ft=self.hose_short_ft,
            then=self.then,
            flags=flags,
        )


def with_sheets(
    found: Answered,
    groups: Sequence[CardGroup],
    searched: Searched,
    weights: Weights,
    shut: Mapping[int, Shut],
) -> tuple[tuple[CardGroup, ...], TripTable, RouteForest]:
    """Give cards the round trips over their backup and over what other months choose, with these trips themselves.

    `shut` is as `shut_ways` gives it for the trips of the plan.
    """
    asked = [one for at, group in enumerate(groups) for one in _asked(found, at, group, searched, shut)]
    sheeted = {(one.group, one.months) for one in asked}
    spare = [one for at, group in enumerate(groups) for one in _stand_ins(found, at, group, searched, sheeted)]
    manned = _manned(found, groups, [*asked, *spare], searched)
    asked, spare = ([one for one in part if one.cut >= 0] for part in (manned[: len(asked)], manned[len(asked) :]))
    trips, forest = _traced(asked, spare, searched)
    asked = _with_lanes(found, asked, trips, forest)
    backups = np.array([trip for trip, one in enumerate(asked) if not one.months], dtype=np.int32)
    not_then = shut_ways(searched, trips, forest, backups)
    by_season = [replace(weights, road=np.full_like(searched.road, season)) for season in range(len(searched.limits))]
    others: list[dict[object, OtherCircuit]] = [{} for _ in groups]
    for trip, one in enumerate(asked):
        legs = [forest.walk(int(leaf[trip])) for leaf in (trips.out_leaf, trips.back_leaf)]
        driven = [forest.segment[leg].tolist() for leg in legs]
        # a way that is the same in several seasons has one sheet, unless others drive, pump or lay hose, or for longer
        minutes = (round(float(trips.out_min[trip]), 1), round(float(trips.back_min[trip]), 1))
        key = (
            one.site, *map(tuple, driven), minutes, one.fill_engine, one.dump_engine, one.attack_engine, one.tankers,
            one.laid,
        )  # fmt: skip
        before = others[one.group].get(key)
        flags = _limits_on(one, by_season[one.season], driven)
        if before is None:
            steps = legs_of_trip(found, trips, forest, trip, searched.limits[one.season])
            others[one.group][key] = one.circuit(trip, steps, flags, not_then.get(trip, Shut()))
        else:
            lighter = min(before.trip, trip, key=lambda row: int(trips.cut[row]))
            others[one.group][key] = replace(_merged(before, one, flags), trip=lighter)
    stand_ins: list[list[OtherCircuit]] = [[] for _ in groups]
    for trip, one in enumerate(spare, len(asked)):
        stand_ins[one.group].append(one.circuit(trip, ((), ()), (), Shut()))
    whole = (
        replace(group, others=tuple(mine.values()), stand_ins=tuple(spares))
        for group, mine, spares in zip(groups, others, stand_ins, strict=True)
    )
    return tuple(whole), trips, forest


def _merged(sheet: OtherCircuit, one: _Asked, flags: tuple[Flag, ...]) -> OtherCircuit:
    """Let a sheet stand for another season too, with what limits its way then."""
    return replace(
        sheet,
        flags=gravest_first((*sheet.flags, *flags)),
        backup=sheet.backup or not one.months,
        months=tuple(sorted({*sheet.months, *one.months})),
        arrival_min=tuple(map(max, sheet.arrival_min, one.arrival_min)),
        fill_engine_min=max(sheet.fill_engine_min, one.fill_engine_min),
        hose_short_ft=max(sheet.hose_short_ft, one.hose_short_ft),
        elsewhere=(*sheet.elsewhere, *one.elsewhere),
        then=(*sheet.then, *one.then),
    )


def _asked(
    found: Answered, at: int, group: CardGroup, searched: Searched, shut: Mapping[int, Shut]
) -> Iterator[_Asked]:
    """List what a card's lead address asks for: its backup first, then the fill sites of other months.

    Its own fill sites are asked for in months in which the way in front does not hold, or other units can come.
    """
    a, levels = group.lead, found.levels
    shown = int(found.answers.level[a])
    own: dict[int, frozenset[int]] = {-1: frozenset()}
    if shown >= 0:
        for sites, trips in ((levels.site, levels.trip), (levels.split, levels.split_trip)):
            own[int(sites[a, shown])] = shut.get(int(trips[a, shown]), Shut()).months
        backup = int(levels.backup[a, shown])
        if backup not in own:
            yield _Asked(group=at, address=a, site=backup, level=shown, season=int(searched.road[a]))
    rows = [a, *group.addresses]
    for at_line, (line, season) in enumerate(zip(searched.seasons, searched.of_line, strict=True)):
        level = shown if shown >= 0 else line.level_of(rows, found.required_gpm[rows])
        asked = _Asked(group=at, address=a, site=-1, level=level, season=season, months=line.months, line=at_line)
        others = _others_come(searched, a, level, season)
        for site in line.sites_of(a, level):
            if site not in own or own[site] >= set(line.months) or others:
                yield replace(asked, site=site)


def _stand_ins(
    found: Answered, at: int, group: CardGroup, searched: Searched, sheeted: Collection[tuple[int, tuple[int, ...]]]
) -> Iterator[_Asked]:
    """List what stands in for a card's lead address in seasons in which that is not as in front, or on a sheet.

    `sheeted` are group and months of the sheets.
    """
    a, shown, levels = group.lead, int(found.answers.level[group.lead]), found.levels
    front = (int(levels.site[a, shown]), int(levels.backup[a, shown])) if shown >= 0 else ()
    rows = [a, *group.addresses]
    for line, season in zip(searched.seasons, searched.of_line, strict=True):
        level = shown if shown >= 0 else line.level_of(rows, found.required_gpm[rows])
        backup = int(line.backup_site[a, level])
        differs = (int(line.best_site[a, level]), backup) != front or (at, line.months) in sheeted
        if backup >= 0 and (differs or abs(line.backup_gpm[a, level] - levels.backup_gpm[a, level]) > ROUNDING_GPM):
            yield _Asked(group=at, address=a, site=backup, level=level, season=season, months=line.months)


def _others_come(searched: Searched, a: int, level: int, season: int) -> bool:
    """Tell whether somebody is sent in a season of the roads who has no way in the deciding one, or the other way."""
    then, front = (searched.flows[at].scene.response for at in (season, int(searched.road[a])))
    sent = [one.engines[a, level] | one.tankers[a, level] for one in (then, front)]
    lacks = [~np.isfinite(one.arrival_min[a]) for one in (front, then)]
    return bool((sent[0] & lacks[0] | sent[1] & lacks[1]).any())


def _manned(found: Answered, groups: Sequence[CardGroup], asked: Sequence[_Asked], searched: Searched) -> list[_Asked]:
    """Add who pumps and who hauls in the flow that pages print, and their vehicle class.

    A backup's flow is that of a case looked at, another month's that of the settled one of its season, in which
    tankers may be split over two fill sites.
    """
    manned = list(asked)
    for season, flows in enumerate(searched.flows):
        mine = [at for at, one in enumerate(asked) if one.season == season and one.line < 0]
        case = np.array([(asked[at].address, asked[at].site, asked[at].level) for at in mine], dtype=np.int32)
        backups = flows.crews(*case.reshape(-1, 3).T)
        lines = supply_line(flows.scene, backups.jobs, backups.address)
        for row, at in enumerate(mine):
            manned[at] = _with_crew(searched, asked[at], backups, lines, row)
    for line, (season, rows) in enumerate(zip(searched.of_line, searched.rows, strict=True)):
        mine = [at for at, one in enumerate(asked) if one.line == line]
        at_level = np.array([(asked[at].address, asked[at].level) for at in mine], dtype=np.int32).reshape(-1, 2)
        flows = searched.flows[season]
        settled, scene = flows.settled_rows(rows[tuple(at_level.T)]), flows.scene
        cards, late = [groups[asked[at].group] for at in mine], called_late(flows, rows, *at_level.T)
        then = _called_then(found, cards, scene, settled, late, searched.seasons[line].months)
        lines = supply_line(scene, settled.run.jobs, settled.run.address)
        for row, at in enumerate(mine):
            manned[at] = replace(_with_crew(searched, asked[at], settled.run, lines, row), then=(then[row],))
    return manned


def _called_then(
    found: Answered,
    groups: Sequence[CardGroup],
    scene: Scene,
    settled: Settled,
    late: Minutes,
    months: tuple[int, ...],
) -> list[ThenCalled]:
    """Work out of the cases of other months, one a group, what the front of a card says of the worst ones.

    `late` is what they do called on arrival; see `called_late`.
    """
    run, called = settled.run, called_in(scene, settled.run)
    advised = _advised_min(found, groups, called)
    drawn = strips(scene, run, np.where(np.isfinite(advised), on_arrival_min(scene, run.address), 0.0))
    higher = (run.fleet > 0) & (settled.gpm >= found.required_gpm[run.address] - ROUNDING_GPM)
    how = np.where(~higher, "at dispatch", np.where(np.isfinite(advised), "on arrival", "first alarm"))
    lacks = late.books.gap_min, late.books.nothing_min, late.held.uninterrupted_gpm
    later = later_gpm(steady(scene, run).sustained_gpm, settled.gpm, found.required_gpm[run.address])
    arrays = (run.fleet, called.first_arrival_min, advised, *lacks, settled.least_one_out_gpm, later, how)
    columns = (column.tolist() for column in arrays)
    return [
        ThenCalled(
            months=months,
            fleet=fleet,
            first_arrival_min=arrival,
            advised_min=by,
            strip=replace(strip, called=said),
            gap_min=gap,
            nothing_min=nothing,
            on_arrival_gpm=held,
            one_out_gpm=out,
            later_gpm=more,
        )
        for strip, fleet, arrival, by, gap, nothing, held, out, more, said in zip(drawn, *columns, strict=True)
    ]


def _advised_min(found: Answered, groups: Sequence[CardGroup], called: CalledIn) -> FloatArray:
    """Give the minute by which a level is called in other months, one a group; NaN: it goes with the first alarm.

    No later than the front of the card says of the worst season: a later minute would invite to wait.
    """
    answers, by_min = found.answers, np.where(called.in_time, called.call_by_min, np.nan)
    for at, group in enumerate(groups):
        if answers.level[group.lead] >= 0:
            front = answers.called_by_min([group.lead, *group.addresses])
            by_min[at] = front if by_min[at] >= front else np.nan
    return by_min


def _with_crew(searched: Searched, one: _Asked, run: Crews, lines: SupplyLine, row: int) -> _Asked:
    """Add the crew of a case, of the tankers those that fill at the sheet's site, and whose hose its line is."""
    laid = [(unit, float(lines.laid_ft[row, unit])) for unit in np.flatnonzero(lines.laid_ft[row] > 0).tolist()]
    second = bool(run.second[row] == one.site)
    cut, pumps = (run.second_cut, run.second_engine) if second else (run.cut, run.fill_engine)
    at_other, there = (run.fill_engine, run.site) if second else (run.second_engine, run.second)
    here, elsewhere = (run.used[row] & (run.at_second[row] == at) for at in (second, not second))
    other = FillsElsewhere(
        months=one.months,
        site=int(there[row]),
        tankers=tuple(np.flatnonzero(elsewhere).tolist()),
        fill_engine=int(at_other[row]),
    )
    response, pump = searched.flows[one.season].scene.response, int(pumps[row])
    return replace(
        one,
        attack_engine=int(response.attack_engine[one.address]),
        arrival_min=tuple(response.arrival_min[one.address].tolist()),
        fill_engine_min=float(response.site_arrival_min[one.site, pump]) if pump >= 0 else np.inf,
        cut=_with_way(searched, one, int(cut[row])),
        fill_engine=pump,
        dump_engine=int(run.dump_engine[row]),
        tankers=tuple(np.flatnonzero(here).tolist()),
        elsewhere=(other,) if other.site >= 0 else (),
        laid=tuple(sorted(laid, key=lambda share: -share[1])),
        hose_short_ft=float(lines.short_ft[row]),
    )


def _with_way(searched: Searched, one: _Asked, cut: int) -> int:
    """Give a vehicle class if it has a way, else the heaviest that has; -1: none has."""
    has = [bool(circuit.join[one.address, one.site] >= 0) for circuit in searched.circuits[one.season]]
    return cut if has[cut] else max((other for other, way in enumerate(has) if way), default=-1)


def _traced(asked: Sequence[_Asked], measured: Sequence[_Asked], searched: Searched) -> tuple[TripTable, RouteForest]:
    """Measure and trace them all; those that are `measured` alone come last."""
    columns = {
        name: np.array([getattr(one, name) for one in (*asked, *measured)], dtype=np.int32)
        for name in ("address", "site", "cut", "season")
    }
    pairs = AskedTrips(drawn=np.arange(len(asked) + len(measured)) < len(asked), **columns)
    circuits = [circuit for season in searched.circuits for circuit in season]
    free_min = [free for season in searched.free_min for free in season]
    return told_trips(circuits, free_min, searched.measures, pairs, len(searched.circuits[0]))


def _with_lanes(found: Answered, asked: Sequence[_Asked], trips: TripTable, forest: RouteForest) -> list[_Asked]:
    """Add where both circuits of some months meet on a road one truck wide.

    The other one is that of another sheet, or of the card in front.
    """
    row_of = {(one.group, one.line, one.site): row for row, one in enumerate(asked) if one.months}
    both = Traced(forest=found.forest, leaf=np.stack([found.trips.out_leaf, found.trips.back_leaf]))
    joined, leaves = join_forests([both, Traced(forest=forest, leaf=np.stack([trips.out_leaf, trips.back_leaf]))])
    mine, other = [], []
    for row, one in enumerate(asked):
        for there in one.elsewhere[:1]:
            sheet = row_of.get((one.group, one.line, there.site), -1)
            front = -1 if sheet >= 0 else _front_trip(found, one, there.site)
            if max(sheet, front) >= 0:
                mine.append(row)
                other.append(leaves[1][:, sheet] if sheet >= 0 else leaves[0][:, front])
    rows = np.array(mine, dtype=np.int32)
    first: LegLeaves = leaves[1][0, rows], leaves[1][1, rows]
    beside = np.array(other, dtype=np.int32).reshape(-1, 2)
    fraction = found.frontages.fraction[np.array([asked[row].address for row in mine], dtype=np.int32)]
    met = crossing_flags(found.roads, found.limits.narrow, joined, first, (beside[:, 0], beside[:, 1]), fraction)
    lanes = {mine[pair]: str(flag.value) for pair, flag in met}
    return [
        replace(one, elsewhere=tuple(replace(there, lane=lanes.get(row, "")) for there in one.elsewhere))
        for row, one in enumerate(asked)
    ]


def _front_trip(found: Answered, one: _Asked, site: int) -> int:
    """Find the trip of the card in front over a fill site, row of its TripTable; -1: it has none."""
    cell, levels = (one.address, one.level), found.levels
    for sites, trips in ((levels.site, levels.trip), (levels.split, levels.split_trip)):
        if int(sites[cell]) == site:
            return int(trips[cell])
    return -1


def _limits_on(one: _Asked, weights: Weights, driven: list[list[int]]) -> tuple[Flag, ...]:
    """Flag the limits that a round trip drives over."""
    legs = [[(one.address, s) for s in leg if weights.limited[s]] for leg in driven]
    free, out, back = (np.array(pairs, dtype=np.int32).reshape(-1, 2) for pairs in ([], *legs))
    return weights.flags(Met(free=free, out=out, back=back)).get(one.address, ())
