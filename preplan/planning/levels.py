"""Level, status and flags: what the chosen sites deliver, held against what the building needs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np

from preplan.plan_tables import (
    LEAST_GAP_MIN,
    ROUNDING_GPM,
    AnswerTable,
    HydrantReach,
    LevelTable,
    SupplyTable,
)
from preplan.planning.assignment import Scene, SupplyLine, supply_line
from preplan.planning.choices import Choice
from preplan.planning.fireground import Crews, case_table, steady
from preplan.planning.flows import Flows, Settled
from preplan.planning.minutes import (
    Minutes,
    at_dispatch,
    call_by,
    emptied_sources,
    never_less,
    on_arrival,
    on_arrival_min,
    surges,
)
from preplan.planning.pieces import in_pieces
from preplan.records import BoolArray, FloatArray, IntArray, TextArray, joined, text_array
from preplan.water.shuttle import LIMIT_CODE, NO_LIMIT, CodeArray, Shuttle, limit_words
from preplan.water.timeline_batch import held_flows


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """The chosen cases of one season of the roads, worked out in full; arrays of shape (cases,)."""

    scene: Scene
    found: Settled
    line: SupplyLine
    """From dump site to attack engine, all alerted at minute 0."""
    reached_gpm: FloatArray
    """Uninterrupted flow if the hose of a line that is short of it reached; NaN where it does."""
    steady: Shuttle
    sent: Minutes
    """All alerted at minute 0."""
    called: Minutes
    """Units beyond the first level called on arrival; see `never_less`."""

    @property
    def run(self) -> Crews:
        """Give the crews, one row for each (address, level) with a site."""
        return self.found.run


@dataclass(frozen=True, slots=True, kw_only=True)
class Graded:
    """Levels and answers, with the cases that they rest on, season by season of the roads."""

    levels: LevelTable
    answers: AnswerTable
    worked: tuple[Worked, ...]


def work_out(scene: Scene, flows: Flows, choice: Choice, mine: BoolArray) -> Worked:
    """Work out the chosen cases of some addresses, `mine` (addresses,): those whose worst season of the roads it is."""
    found = flows.settled_rows(choice.row[(choice.row >= 0) & mine[:, None]])
    line = supply_line(scene, found.run.jobs, found.run.address)
    return Worked(
        scene=scene,
        found=found,
        line=line,
        reached_gpm=_if_it_reached(scene, found.run, line),
        steady=steady(scene, found.run),
        sent=at_dispatch(scene, found.run),
        called=never_less(scene, found.run, found.gpm, on_arrival(scene, found.run)),
    )


def called_late(flows: Flows, rows: IntArray, address: IntArray, level: IntArray) -> Minutes:
    """Say of levels in a season, (cases,), what they do called on arrival, by the rule of the season that decides.

    `rows` (addresses, levels) are the settled cases of the season, of which each level may do what those below it do.
    """
    upto = (np.arange(rows.shape[1]) <= level[:, None]) & (rows[address] >= 0)
    done = flows.settled_rows(rows[address][upto])
    late = never_less(flows.scene, done.run, done.gpm, on_arrival(flows.scene, done.run))
    return late.rows(np.cumsum(upto.sum(axis=1)) - 1)


def _if_it_reached(scene: Scene, run: Crews, line: SupplyLine) -> FloatArray:
    """Ask the cases whose hose is short what the same crews would hold if it reached; NaN in the others."""
    gpm = np.full(len(run), np.nan)
    short = np.flatnonzero(line.short_ft > 0).astype(np.int32)
    for rows in in_pieces(short):
        gpm[rows] = held_flows(case_table(scene, run.rows(rows), hose_reaches=True)).uninterrupted_gpm
    return gpm


def grade(scene: Scene, flows: Sequence[Flows], choice: Choice, road: IntArray, hydrant: HydrantReach) -> Graded:
    """Grade every address: the first status that holds, and the level that is shown.

    `flows` are those of every season of the roads, `road` (addresses,) the season that decides.
    """
    worked = tuple(work_out(each.scene, each, choice, road == season) for season, each in enumerate(flows))
    backup_gpm, backup_steady_gpm = np.full((2, *choice.backup.shape), np.nan)
    for season, each in enumerate(flows):
        own = (choice.backup >= 0) & (road == season)[:, None]
        backup_gpm[own] = each.held_of(choice.backup)[own]
        backup_steady_gpm[own] = each.steady_of(choice.backup)[own]
    levels = replace(
        _level_table(scene, choice, worked, backup_gpm),
        backup_steady_gpm=backup_steady_gpm,
        alone_gpm=_alone_gpm(flows, worked, backup_gpm.shape),
    )
    in_any = np.min([np.nan_to_num(line.uninterrupted_gpm) for line in choice.seasons], axis=0)
    status, level = _status(scene, levels, in_any, hydrant.credited_gpm)
    first = scene.response.attack_arrival_min(np.arange(len(status), dtype=np.int32))
    answers = AnswerTable(
        status=status,
        level=level,
        hydrant_ft=np.where(status == "hydrant", hydrant.distance_ft, np.nan),
        first_arrival_min=np.where(scene.response.attack_engine >= 0, first, np.nan),
        flags=((),) * len(status),
        **_shown_minutes(worked, status, level),
    )
    return Graded(levels=levels, answers=answers, worked=worked)


def _alone_gpm(flows: Sequence[Flows], worked: tuple[Worked, ...], shape: tuple[int, ...]) -> FloatArray:
    """Give what a level with two fill sites would hold from the first alone, (addresses, levels); NaN in the others.

    As settled there, which the split was weighed against; at most what both hold, since a case that brings less in all
    may hold more, and nobody should read a loss as a gain.
    """
    alone = np.full(shape, np.nan)
    for each, part in zip(flows, worked, strict=True):
        split = np.flatnonzero(part.run.second >= 0)
        run = part.run.rows(split)
        held = each.settled(run.address, run.site, run.level).gpm
        alone[run.address, run.level] = np.minimum(held, part.found.gpm[split])
    return alone


def _level_table(scene: Scene, choice: Choice, worked: tuple[Worked, ...], backup_gpm: FloatArray) -> LevelTable:
    """Lay the chosen cases out by address and level; trips are filled in when they are kept."""
    shape = choice.site.shape

    def spread(blank: Array, pick: Callable[[Worked], Array]) -> Array:
        for part in worked:
            blank[part.run.address, part.run.level] = pick(part)
        return blank

    def numbers(pick: Callable[[Worked], FloatArray]) -> FloatArray:
        return spread(np.full(shape, np.nan), pick)

    def indices(pick: Callable[[Worked], IntArray]) -> IntArray:
        return spread(np.full(shape, -1, dtype=np.int32), pick)

    def masks(pick: Callable[[Worked], BoolArray]) -> BoolArray:
        return spread(np.zeros((*shape, len(scene.units)), dtype=np.bool_), pick)

    held = numbers(lambda part: part.found.gpm)
    return LevelTable(
        site=choice.site,
        backup=choice.backup,
        split=indices(lambda part: part.run.second),
        trip=np.full(shape, -1, dtype=np.int32),
        backup_trip=np.full(shape, -1, dtype=np.int32),
        split_trip=np.full(shape, -1, dtype=np.int32),
        fleet=scene.response.engines | scene.response.tankers,
        tankers=scene.response.tankers,
        used=masks(lambda part: part.run.used),
        at_split=masks(lambda part: part.run.used & part.run.at_second),
        fill_engine=indices(lambda part: part.run.fill_engine),
        split_engine=indices(lambda part: part.run.second_engine),
        dump_engine=indices(lambda part: part.run.dump_engine),
        attack_engine=np.broadcast_to(scene.response.attack_engine[:, None], shape).astype(np.int32),
        cycle_min=numbers(lambda part: part.steady.cycle_min),
        sum_gpm=numbers(lambda part: part.steady.sum_gpm),
        sustained_gpm=numbers(lambda part: part.steady.sustained_gpm),
        uninterrupted_gpm=held,
        brings_gpm=numbers(lambda part: part.found.brings_gpm),
        on_arrival_gpm=numbers(lambda part: part.called.held.uninterrupted_gpm),
        hose_short_ft=numbers(lambda part: part.line.short_ft),
        reached_gpm=numbers(lambda part: part.reached_gpm),
        limited_by=spread(np.full(shape, "", dtype=np.object_), lambda part: limit_words(_limit_codes(part))),
        gap_min=numbers(lambda part: part.sent.books.gap_min),
        gap_on_arrival_min=numbers(lambda part: part.called.books.gap_min),
        nothing_min=numbers(lambda part: part.sent.books.nothing_min),
        nothing_on_arrival_min=numbers(lambda part: part.called.books.nothing_min),
        backup_gpm=backup_gpm,
        backup_steady_gpm=np.full(shape, np.nan),
        alone_gpm=np.full(shape, np.nan),
        one_out_gpm=numbers(lambda part: part.found.least_one_out_gpm),
        meets=np.nan_to_num(held) >= scene.needs.met_from_gpm[:, None],
        short_engines=scene.response.short_engines,
        short_tankers=scene.response.short_tankers,
        season=choice.season,
    )


def supply_table(worked: Sequence[Worked]) -> SupplyTable:
    """List whose hose makes each supply line, of all seasons of the roads."""
    parts = []
    for part in worked:
        case, unit = (i.astype(np.int32) for i in np.nonzero(part.line.laid_ft > 0))
        parts.append(
            SupplyTable(
                address=part.run.address[case],
                level=part.run.level[case],
                unit=unit,
                hose_ft=part.line.laid_ft[case, unit],
            )
        )
    whole = joined(parts)
    return whole.rows(np.lexsort((whole.unit, whole.level, whole.address)).astype(np.int32))


def _limit_codes(part: Worked) -> CodeArray:
    """Name what holds each flow: what minutes alone can tell, else what holds the steady flow."""
    circuit = part.steady.limited_by
    told = part.sent.held.limited_by
    code = np.where(told == NO_LIMIT, circuit, told)
    code = np.where(circuit == LIMIT_CODE["engines"], circuit, code)
    return np.where((part.found.gpm <= 0) & (part.line.short_ft > 0), LIMIT_CODE["hose"], code).astype(np.int8)


Array = TypeVar("Array", FloatArray, IntArray, BoolArray, TextArray)


def _status(
    scene: Scene, levels: LevelTable, in_any_gpm: FloatArray, hydrant_gpm: FloatArray
) -> tuple[TextArray, IntArray]:
    """Name each address's status, and the level that is shown; `in_any_gpm` is what a level holds in any season."""
    no_route = (levels.site < 0).all(axis=1)
    hydrant = np.nan_to_num(hydrant_gpm) >= scene.needs.required_gpm
    first = levels.meets.argmax(axis=1)
    some = levels.meets.any(axis=1)
    # Where none meets, the one that holds most; equal is what prints alike.
    held, gain = np.floor(np.nan_to_num(levels.uninterrupted_gpm) + ROUNDING_GPM), scene.rules.plan.keep_site_gain
    flow = _bringing_most(held, levels.brings_gpm, gain)
    # Of levels that all hold nothing for want of hose, the one that would hold most with it.
    reached = np.where(flow < 0, -1.0, np.nan_to_num(levels.reached_gpm))
    most = least_dry(np.where(held.max(axis=1, keepdims=True) > 0, flow, reached), in_any_gpm, levels.gap_min)
    status = np.where(some, np.where(first == 0, "served", "higher level"), "not met")
    status = np.where(hydrant, "hydrant", np.where(no_route, "no route", status))
    level = np.where(hydrant | no_route, -1, np.where(some, first, most))
    return text_array(status.tolist()), level.astype(np.int32)


def _bringing_most(flow_gpm: FloatArray, brings_gpm: FloatArray, gain: float) -> FloatArray:
    """Keep of the levels that hold most those that bring nearly as much as any of them; -1 in the others."""
    equal = flow_gpm >= flow_gpm.max(axis=1, keepdims=True)
    brings = np.where(equal, np.nan_to_num(brings_gpm), -1.0)
    few = brings < brings.max(axis=1, keepdims=True) / (1.0 + gain)
    return np.where(few, -1.0, flow_gpm)


def least_dry(flow_gpm: FloatArray, in_any_gpm: FloatArray, gap_min: FloatArray) -> IntArray:
    """Pick the level of the largest flow in the season that decides, (addresses,).

    Of equal ones the one that holds most in any season, then the one that is dry least, then the lowest. Units that
    come too late to lift the flow of the worst minute may do so in other months, or halve the minutes without water.
    """
    equal = flow_gpm >= flow_gpm.max(axis=1, keepdims=True) - ROUNDING_GPM
    always = np.where(equal, in_any_gpm, -np.inf)
    equal &= always >= always.max(axis=1, keepdims=True) - ROUNDING_GPM
    gap = np.where(equal, np.nan_to_num(gap_min, nan=np.inf), np.inf)
    least: IntArray = (equal & (gap <= gap.min(axis=1, keepdims=True) + LEAST_GAP_MIN)).argmax(axis=1)
    return least


def _short_by(part: Worked, minutes: Minutes) -> TextArray:
    """Name what keeps the flow below the required one while water stands on scene, (cases,)."""
    told, need = minutes.held.limited_by, part.scene.needs.required_gpm[part.run.address]
    line = np.isin(told, (LIMIT_CODE["draft"], LIMIT_CODE["supply line"]))
    less = minutes.held.uninterrupted_gpm < need - ROUNDING_GPM
    return np.where(line & less, limit_words(told), "").astype(np.object_)


SHOWN = (
    "first_water_min", "established_min", "gap_min", "first_gap_min", "longest_gap_min", "short_gal", "nothing_min",
    "first_nothing_min", "longest_nothing_min", "nothing_gal", "mws_by_min",
)  # fmt: skip
"""Columns that an answer takes from the timeline of the level it shows."""


def _shown_minutes(worked: tuple[Worked, ...], status: TextArray, level: IntArray) -> dict[str, Any]:
    """Take the timeline of the level that is shown: called on arrival where a higher level is named, else dispatch."""
    columns: dict[str, Any] = {word: np.full(len(status), np.nan) for word in (*SHOWN, "call_by_min", "surge_min")}
    columns |= {word: np.full(len(status), "", dtype=np.object_) for word in ("called", "short_by")}
    columns["emptied"] = np.zeros((len(status), 2), dtype=np.bool_)
    for part in worked:
        rows = np.flatnonzero(part.run.level == level[part.run.address])
        address = part.run.address[rows]
        higher = status[address] == "higher level"
        columns["called"][address] = np.where(higher, "on arrival", "at dispatch")
        for word in SHOWN:
            sent, called = (getattr(one, word)[rows] for one in (part.sent.books, part.called.books))
            columns[word][address] = np.where(higher, called, sent)
        short_by = np.where(higher, *(_short_by(part, one)[rows] for one in (part.called, part.sent)))
        columns["short_by"][address] = short_by
        call_min = np.where(higher, on_arrival_min(part.scene, address), 0.0)
        columns["emptied"][address] = emptied_sources(part.scene, part.run.rows(rows), call_min)
        columns["surge_min"][address] = surges(part.scene, part.run.rows(rows), call_min)
        columns["call_by_min"][address[higher]] = call_by(part.scene, part.run.rows(rows[higher]))
    return columns
