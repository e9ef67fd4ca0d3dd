"""Level, status and flags: what the chosen sites deliver, held against what the building needs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

from preplan.plan import ROUNDING_GPM, AnswerTable, LevelTable, SeasonLine
from preplan.planning.assignment import Scene, at_scene, other_sources, season_months
from preplan.planning.fireground import Crews, steady
from preplan.planning.flows import Flows, Settled
from preplan.planning.minutes import Minutes, at_dispatch, call_by, on_arrival
from preplan.records import BoolArray, FloatArray, IntArray, TextArray, text_array
from preplan.water.shuttle import LIMIT_CODE, NO_LIMIT, CodeArray, Shuttle, limit_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Chosen sites of the season that decides: arrays of shape (addresses, levels)."""

    site: IntArray
    backup: IntArray
    season: IntArray
    """One season an address, the same at every level."""
    seasons: tuple[SeasonLine, ...]


def choose(flows: Flows) -> Choice:
    """Choose site and backup in every season; the worst season decides, one for all levels of an address."""
    scene = flows.scene
    lines: list[SeasonLine] = []
    backups: list[IntArray] = []
    for months, stands in season_months(scene.sites, scene.rules.plan.months):
        site, backup = season_sites(scene, flows, stands)
        backups.append(backup)
        lines.append(
            SeasonLine(
                months=months,
                sites=tuple(np.flatnonzero(stands).tolist()),
                best_site=site,
                sustained_gpm=_steady_gpm(scene, flows, site),
                uninterrupted_gpm=np.where(site >= 0, _flows_at(flows, site), np.nan),
            )
        )
    held = np.stack([np.nan_to_num(line.uninterrupted_gpm) for line in lines])
    worst = worst_season(held, scene.needs.required_gpm)
    season = np.repeat(worst[:, None], held.shape[2], axis=1)
    a, lv = np.indices(season.shape)
    return Choice(
        site=np.stack([line.best_site for line in lines])[season, a, lv],
        backup=np.stack(backups)[season, a, lv],
        season=season,
        seasons=tuple(lines),
    )


def season_sites(scene: Scene, flows: Flows, stands: BoolArray, *, in_full: bool = True) -> tuple[IntArray, IntArray]:
    """Choose the sites of one season, in which the sites `stands` (sites,) can be used, and those that stand in.

    Site and backup are of shape (addresses, levels). A level keeps the site of the level below unless the better
    one gains more than `keep_site_gain`, or it alone meets the requirement. Chosen cases are worked out in full,
    unless a first look will do.
    """
    shape = (len(scene.needs), len(scene.levels))
    site, backup = np.full(shape, -1, dtype=np.int32), np.full(shape, -1, dtype=np.int32)
    allowed = np.broadcast_to(stands, (shape[0], len(stands)))
    for level in range(shape[1]):
        best = flows.best_site(allowed, level)
        if level:
            best = _kept_or_better(scene, flows, site[:, level - 1], best, level)
        if in_full:
            _settle(flows, best, level)
            best = best if level == 0 else _never_less(flows, site[:, level - 1], best, level)
        site[:, level] = best
        backup[:, level] = flows.best_site(allowed & other_sources(scene.sites, site[:, level]), level)
    return site, backup


def _settle(flows: Flows, site: IntArray, level: int) -> None:
    rows = np.flatnonzero(site >= 0).astype(np.int32)
    flows.settle(rows, site[rows], np.full(rows.size, level, dtype=np.int32))


def _kept_or_better(scene: Scene, flows: Flows, lower: IntArray, best: IntArray, level: int) -> IntArray:
    """Let a level keep the site of the level below, (addresses,), where the better one gains too little."""
    rows = np.flatnonzero(lower >= 0).astype(np.int32)
    flows.look(rows, lower[rows], np.full(rows.size, level, dtype=np.int32))
    old, new = flows.at(lower, level), flows.at(best, level)
    need = scene.needs.required_gpm - ROUNDING_GPM
    gains = (new > old * (1.0 + scene.rules.plan.keep_site_gain)) | ((new >= need) & (old < need))
    return np.where((lower >= 0) & ~gains, lower, best).astype(np.int32)


def _never_less(flows: Flows, lower: IntArray, best: IntArray, level: int) -> IntArray:
    """Let a level fall back to the site of the level below where its own, worked out in full, brings less."""
    less = (lower >= 0) & (flows.at(best, level) < flows.at(lower, level - 1))
    site = np.where(less, lower, best).astype(np.int32)
    _settle(flows, np.where(less, lower, -1).astype(np.int32), level)
    return site


def _flows_at(flows: Flows, site: IntArray) -> FloatArray:
    """Look up the uninterrupted flow of chosen sites (addresses, levels); 0 where none."""
    return np.column_stack([flows.at(site[:, level], level) for level in range(site.shape[1])])


def _steady_gpm(scene: Scene, flows: Flows, site: IntArray) -> FloatArray:
    """Give the steady flow of chosen sites (addresses, levels) with the crews that serve them; NaN where no site."""
    gpm = np.full(site.shape, np.nan)
    a, lv = (i.astype(np.int32) for i in np.nonzero(site >= 0))
    if a.size:
        gpm[a, lv] = steady(scene, flows.settled(a, site[a, lv], lv).run).sustained_gpm
    return gpm


def worst_season(flows: FloatArray, need_gpm: FloatArray) -> IntArray:
    """Pick each address's worst season from flows of shape (seasons, addresses, levels).

    The one in which the level that meets comes latest, or none does; of equal ones that with the least flow at
    the level it shows; of equal ones the longest, which comes first.
    """
    meets = flows >= need_gpm[None, :, None] - ROUNDING_GPM
    some = meets.any(axis=2)
    first = np.where(some, meets.argmax(axis=2), flows.shape[2])
    shown = np.where(some, np.minimum(first, flows.shape[2] - 1), flows.argmax(axis=2))
    flow = np.take_along_axis(flows, shown[:, :, None], axis=2)[:, :, 0]
    latest = first == first.max(axis=0, keepdims=True)
    flow = np.where(latest, flow, np.inf)
    worst: IntArray = (flow <= flow.min(axis=0) + ROUNDING_GPM).argmax(axis=0).astype(np.int32)
    return worst


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """The chosen cases of one season of the roads, worked out in full; arrays of shape (cases,)."""

    scene: Scene
    found: Settled
    steady: Shuttle
    sent: Minutes
    """All alerted at minute 0."""
    called: Minutes
    """Units beyond the first level called on arrival."""

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
    a, lv = (i.astype(np.int32) for i in np.nonzero((choice.site >= 0) & mine[:, None]))
    found = flows.settled(a, choice.site[a, lv], lv)
    return Worked(
        scene=scene,
        found=found,
        steady=steady(scene, found.run),
        sent=at_dispatch(scene, found.run),
        called=on_arrival(scene, found.run),
    )


def grade(
    scene: Scene,
    flows: Sequence[Flows],
    choice: Choice,
    road: IntArray,
    hydrant: tuple[FloatArray, FloatArray, IntArray],
) -> Graded:
    """Grade every address: the first status that holds, and the level that is shown.

    `flows` are those of every season of the roads, `road` (addresses,) the season that decides, `hydrant` feet,
    credited gpm and row of the hydrant that counts (addresses,).
    """
    worked = tuple(work_out(each.scene, each, choice, road == season) for season, each in enumerate(flows))
    backup_gpm = np.full(choice.backup.shape, np.nan)
    for season, each in enumerate(flows):
        own = (choice.backup >= 0) & (road == season)[:, None]
        backup_gpm[own] = _flows_at(each, choice.backup)[own]
    levels = _level_table(scene, choice, worked, backup_gpm)
    status, level = _status(scene, levels, hydrant[1])
    attack = scene.response.attack_engine
    arrival = scene.response.arrival_min[np.arange(len(attack)), np.maximum(attack, 0)]
    answers = AnswerTable(
        status=status,
        level=level,
        hydrant_ft=np.where(status == "hydrant", hydrant[0], np.nan),
        hydrant=np.where(status == "hydrant", hydrant[2], -1),
        first_arrival_min=np.where(attack >= 0, arrival, np.nan),
        flags=((),) * len(attack),
        **_shown_minutes(worked, status, level),
    )
    return Graded(levels=levels, answers=answers, worked=worked)


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

    held = numbers(lambda part: part.found.gpm)
    return LevelTable(
        site=choice.site,
        backup=choice.backup,
        split=np.full(shape, -1, dtype=np.int32),
        trip=np.full(shape, -1, dtype=np.int32),
        backup_trip=np.full(shape, -1, dtype=np.int32),
        fleet=scene.response.engines | scene.response.tankers,
        tankers=scene.response.tankers,
        used=spread(np.zeros((*shape, len(scene.units)), dtype=np.bool_), lambda part: part.run.used),
        fill_engine=indices(lambda part: part.run.fill_engine),
        dump_engine=indices(lambda part: part.run.dump_engine),
        attack_engine=np.broadcast_to(scene.response.attack_engine[:, None], shape).astype(np.int32),
        cycle_min=numbers(lambda part: part.steady.cycle_min),
        sum_gpm=numbers(lambda part: part.steady.sum_gpm),
        sustained_gpm=numbers(lambda part: part.steady.sustained_gpm),
        uninterrupted_gpm=held,
        on_arrival_gpm=numbers(lambda part: part.called.held.uninterrupted_gpm),
        limited_by=spread(np.full(shape, "", dtype=np.object_), lambda part: limit_words(_limit_codes(part))),
        gap_min=numbers(lambda part: part.sent.books.gap_min),
        gap_on_arrival_min=numbers(lambda part: part.called.books.gap_min),
        backup_gpm=backup_gpm,
        one_out_gpm=numbers(lambda part: part.found.least_one_out_gpm),
        meets=np.nan_to_num(held) >= scene.needs.required_gpm[:, None] - ROUNDING_GPM,
        short_engines=scene.response.short_engines,
        short_tankers=scene.response.short_tankers,
        season=choice.season,
    )


def _limit_codes(part: Worked) -> CodeArray:
    """Name what holds each flow: what minutes alone can tell, else what holds the steady flow."""
    run, circuit = part.run, part.steady.limited_by
    told = part.sent.held.limited_by
    code = np.where(told == NO_LIMIT, circuit, told)
    code = np.where(circuit == LIMIT_CODE["engines"], circuit, code)
    reaches = at_scene(part.scene, run.jobs, run.address)[2]
    return np.where((part.found.gpm <= 0) & ~reaches, LIMIT_CODE["hose"], code).astype(np.int8)


Array = TypeVar("Array", FloatArray, IntArray, BoolArray, TextArray)


def _status(scene: Scene, levels: LevelTable, hydrant_gpm: FloatArray) -> tuple[TextArray, IntArray]:
    """Name each address's status, and the level that is shown."""
    no_route = (levels.site < 0).all(axis=1)
    hydrant = np.nan_to_num(hydrant_gpm) >= scene.needs.required_gpm
    first = levels.meets.argmax(axis=1)
    some = levels.meets.any(axis=1)
    most = np.nan_to_num(levels.uninterrupted_gpm).argmax(axis=1)
    status = np.where(some, np.where(first == 0, "served", "higher level"), "not met")
    status = np.where(hydrant, "hydrant", np.where(no_route, "no route", status))
    level = np.where(hydrant | no_route, -1, np.where(some, first, most))
    return text_array(status.tolist()), level.astype(np.int32)


def _short_by(part: Worked, minutes: Minutes) -> TextArray:
    """Name what keeps the flow below the required one while water stands on scene, (cases,)."""
    told, need = minutes.held.limited_by, part.scene.needs.required_gpm[part.run.address]
    line = np.isin(told, (LIMIT_CODE["draft"], LIMIT_CODE["supply line"]))
    less = minutes.held.uninterrupted_gpm < need - ROUNDING_GPM
    return np.where(line & less, limit_words(told), "").astype(np.object_)


SHOWN = (
    "first_water_min", "established_min", "gap_min", "first_gap_min", "longest_gap_min", "short_gal", "mws_by_min",
)  # fmt: skip
"""Columns that an answer takes from the timeline of the level it shows."""


def _shown_minutes(worked: tuple[Worked, ...], status: TextArray, level: IntArray) -> dict[str, Any]:
    """Take the timeline of the level that is shown: called on arrival where a higher level is named, else dispatch."""
    columns: dict[str, Any] = {word: np.full(len(status), np.nan) for word in (*SHOWN, "call_by_min")}
    columns |= {word: np.full(len(status), "", dtype=np.object_) for word in ("called", "short_by")}
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
        columns["call_by_min"][address[higher]] = call_by(part.scene, part.run.rows(rows[higher]))
    return columns
