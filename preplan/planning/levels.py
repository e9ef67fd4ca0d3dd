"""Level, status and flags: what the chosen sites deliver, held against what the building needs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

from preplan.plan import AnswerTable, Flag, LevelTable, SeasonLine, TripTable
from preplan.planning.assignment import ROUNDING_GPM, Scene, at_scene, other_sources, season_months
from preplan.planning.fireground import Crews, steady
from preplan.planning.flows import Flows, Settled
from preplan.planning.minutes import Minutes, at_dispatch, call_by, on_arrival
from preplan.records import ALL_MONTHS, AddressTable, BoolArray, FillSite, FloatArray, IntArray, TextArray, text_array
from preplan.water.shuttle import LIMIT_CODE, NO_LIMIT, CodeArray, Shuttle, limit_words

GAP_MIN = 0.05
"""A gap that prints as 0.0 minutes is none."""


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


def season_sites(scene: Scene, flows: Flows, stands: BoolArray) -> tuple[IntArray, IntArray]:
    """Choose the sites of one season, in which the sites `stands` (sites,) can be used, and those that stand in.

    Site and backup are of shape (addresses, levels). A level keeps the site of the level below unless the better
    one gains more than `keep_site_gain`, or it alone meets the requirement.
    """
    shape = (len(scene.needs), len(scene.levels))
    site, backup = np.full(shape, -1, dtype=np.int32), np.full(shape, -1, dtype=np.int32)
    allowed = np.broadcast_to(stands, (shape[0], len(stands)))
    for level in range(shape[1]):
        best = flows.best_site(allowed, level)
        _settle(flows, best, level)
        site[:, level] = best if level == 0 else _kept_or_better(scene, flows, site[:, level - 1], best, level)
        backup[:, level] = flows.best_site(allowed & other_sources(scene.sites, site[:, level]), level)
        _settle(flows, backup[:, level], level)
    return site, backup


def _settle(flows: Flows, site: IntArray, level: int) -> None:
    rows = np.flatnonzero(site >= 0).astype(np.int32)
    flows.settle(rows, site[rows], np.full(rows.size, level, dtype=np.int32))


def _kept_or_better(scene: Scene, flows: Flows, lower: IntArray, best: IntArray, level: int) -> IntArray:
    """Let a level keep the site of the level below, (addresses,), where the better one gains too little."""
    _settle(flows, lower, level)
    old, new = flows.at(lower, level), flows.at(best, level)
    need = scene.needs.required_gpm - ROUNDING_GPM
    gains = (new > old * (1.0 + scene.rules.plan.keep_site_gain)) | ((new >= need) & (old < need))
    return np.where((lower >= 0) & ~gains, lower, best).astype(np.int32)


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
    worst: IntArray = np.where(latest, flow, np.inf).argmin(axis=0).astype(np.int32)
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
    scene: Scene, flows: Sequence[Flows], choice: Choice, road: IntArray, hydrant: tuple[FloatArray, FloatArray]
) -> Graded:
    """Grade every address: the first status that holds, and the level that is shown.

    `flows` are those of every season of the roads, `road` (addresses,) the season that decides, `hydrant` feet and
    credited gpm of the hydrant that counts (addresses,).
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
        on_arrival_gpm=numbers(lambda part: part.called.uninterrupted_gpm),
        limited_by=spread(np.full(shape, "", dtype=np.object_), lambda part: limit_words(_limit_codes(part))),
        gap_min=numbers(lambda part: part.sent.gap_min),
        gap_on_arrival_min=numbers(lambda part: part.called.gap_min),
        backup_gpm=backup_gpm,
        one_out_gpm=numbers(lambda part: part.found.one_out_gpm),
        meets=np.nan_to_num(held) >= scene.needs.required_gpm[:, None] - ROUNDING_GPM,
        short_engines=scene.response.short_engines,
        short_tankers=scene.response.short_tankers,
        season=choice.season,
    )


def _limit_codes(part: Worked) -> CodeArray:
    """Name what holds each flow: what minutes alone can tell, else what holds the steady flow."""
    run, circuit = part.run, part.steady.limited_by
    code = np.where(part.sent.limited_by == NO_LIMIT, circuit, part.sent.limited_by)
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


SHOWN = (
    "first_water_min", "established_min", "gap_min", "first_gap_min", "longest_gap_min", "short_gal", "mws_by_min",
)  # fmt: skip
"""Columns that an answer takes from the timeline of the level it shows."""


def _shown_minutes(worked: tuple[Worked, ...], status: TextArray, level: IntArray) -> dict[str, Any]:
    """Take the timeline of the level that is shown: called on arrival where a higher level is named, else dispatch."""
    columns: dict[str, Any] = {word: np.full(len(status), np.nan) for word in (*SHOWN, "call_by_min")}
    columns["called"] = np.full(len(status), "", dtype=np.object_)
    for part in worked:
        rows = np.flatnonzero(part.run.level == level[part.run.address])
        address = part.run.address[rows]
        higher = status[address] == "higher level"
        columns["called"][address] = np.where(higher, "on arrival", "at dispatch")
        for word in SHOWN:
            sent, called = (getattr(one, word)[rows] for one in (part.sent, part.called))
            columns[word][address] = np.where(higher, called, sent)
        columns["call_by_min"][address[higher]] = call_by(part.scene, part.run.rows(rows[higher]))
    return columns


def address_flags(
    scene: Scene, addresses: AddressTable, levels: LevelTable, trips: TripTable, answers: AnswerTable
) -> tuple[tuple[Flag, ...], ...]:
    """List the facts that an officer should know about each address, in a fixed order."""
    flags: list[list[Flag]] = [[] for _ in range(len(addresses))]
    finders = (_time_flags, _place_flags, _trip_flags, _site_of_address_flags, _fleet_flags, _need_flags)
    for finder in finders:
        for row, flag in finder(scene, addresses, levels, trips, answers):
            flags[row].append(flag)
    return tuple(tuple(some) for some in flags)


Found = Iterator[tuple[int, Flag]]


def _time_flags(
    _scene: Scene, _addresses: AddressTable, _levels: LevelTable, _trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag when the water runs short, and where a call on arrival comes too late."""
    for row in np.flatnonzero(np.nan_to_num(answers.gap_min) > GAP_MIN).tolist():
        yield row, Flag("gap", round(float(answers.gap_min[row]), 1), "min")
    late = ~(answers.call_by_min >= answers.first_arrival_min)
    for row in np.flatnonzero((answers.status == "higher level") & late).tolist():
        yield row, Flag("send with first alarm")


def _shown(answers: AnswerTable, table: IntArray | FloatArray) -> IntArray | FloatArray:
    """Take each address's value at the level that is shown."""
    return table[np.arange(len(answers)), np.maximum(answers.level, 0)]


def _place_flags(
    scene: Scene, addresses: AddressTable, _levels: LevelTable, _trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag where the address lies."""
    place, rules = scene.frontages, scene.rules
    for row in np.flatnonzero(place.segment < 0):
        yield int(row), Flag("off road data", _whole(place.gap_ft[row]), "ft")
    for row in np.flatnonzero((answers.status == "no route") & (place.segment >= 0)):
        yield int(row), Flag("road cut off")
    carded = answers.level >= 0
    for row in np.flatnonzero(carded & place.dead_end):
        yield int(row), Flag("dead end")
    for row in np.flatnonzero(carded & (place.along_ft > 0.0)):
        yield int(row), Flag("dump site at junction", _whole(place.along_ft[row]), "ft")
    for row in np.flatnonzero(carded & (place.driveway_ft > rules.plan.long_driveway_ft)):
        yield int(row), Flag("long driveway", _whole(place.driveway_ft[row]), "ft")
    for row in np.flatnonzero(carded & (place.how == "nearest") & (addresses.street != "")):
        yield int(row), Flag("frontage uncertain", _whole(place.gap_ft[row]), "ft")


def _trip_flags(
    scene: Scene, _addresses: AddressTable, levels: LevelTable, trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag what the chosen trip meets."""
    trip = _shown(answers, levels.trip).astype(np.int32)
    for row in np.flatnonzero((answers.level >= 0) & (trip >= 0)).tolist():
        t = trip[row]
        if trips.turn_at_dump[t]:
            yield row, Flag("turn at dump site", scene.rules.roads.dump_turn_min, "min")
        if round(float(trips.posted_avoided_min[t]), 1) > 0.0:
            yield row, Flag("posted bridge avoided", round(float(trips.posted_avoided_min[t]), 1), "min")
        if trips.unposted_bridges[t]:
            yield row, Flag("unposted bridges", int(trips.unposted_bridges[t]))
        if round(float(trips.narrow_mi[t]), 1) > 0.0:
            yield row, Flag("narrow road", round(float(trips.narrow_mi[t]), 1), "mi")


def _site_of_address_flags(
    scene: Scene, _addresses: AddressTable, levels: LevelTable, _trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag what the chosen fill site lacks."""
    site = _shown(answers, levels.site).astype(np.int32)
    backup = _shown(answers, levels.backup)
    limited = levels.limited_by[np.arange(len(answers)), np.maximum(answers.level, 0)]
    for row in np.flatnonzero((answers.level >= 0) & (site >= 0)).tolist():
        one = scene.sites[site[row]]
        if backup[row] < 0:
            yield row, Flag("single fill site")
        if one.seasonal:
            yield row, Flag("seasonal", months_text(one.months))
        if not one.fill_gpm_given:
            yield row, Flag("not tested")
        if limited[row] == "source" and one.storage_gal is not None:
            yield row, Flag("source runs out", _whole(one.storage_gal), "gal")


def _fleet_flags(
    scene: Scene, _addresses: AddressTable, levels: LevelTable, _trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag units that are lacking, left out, or without a way."""
    ids = np.array([unit.unit_id for unit in scene.units], dtype=np.object_)
    rows = np.flatnonzero(answers.level >= 0)
    shown = answers.level[rows]
    idle = levels.tankers[rows, shown] & ~levels.used[rows, shown] & (levels.site[rows, shown] >= 0)[:, None]
    stranded = ~np.isfinite(scene.response.arrival_min[rows])
    short_e, short_t = levels.short_engines[rows, shown], levels.short_tankers[rows, shown]
    for at in np.flatnonzero(idle.any(axis=1)):
        yield int(rows[at]), Flag("left out", " ".join(ids[idle[at]]))
    for at in np.flatnonzero((short_e > 0) | (short_t > 0)):
        yield int(rows[at]), Flag("level short", _lacking(int(short_e[at]), int(short_t[at])))
    for at in np.flatnonzero(stranded.any(axis=1)):
        yield int(rows[at]), Flag("no way for", " ".join(ids[stranded[at]]))


def _need_flags(
    scene: Scene, addresses: AddressTable, levels: LevelTable, _trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag how sure the requirement is and how near the flow comes to it."""
    names = [level.name for level in scene.levels]
    need = scene.needs.required_gpm[:, None]
    share = scene.rules.plan.close_share
    close = np.abs(np.nan_to_num(levels.uninterrupted_gpm) - need) <= share * need
    carded = answers.level >= 0
    for row in np.flatnonzero(carded & close.any(axis=1)):
        yield int(row), Flag("close", ", ".join(names[lv] for lv in np.flatnonzero(close[row])))
    for row in np.flatnonzero(carded & scene.needs.assumed):
        yield int(row), Flag("assumed building")
    for row in np.flatnonzero(carded & (addresses.sprinklered == 1.0)):
        yield int(row), Flag("sprinklered")


def site_flags(scene: Scene, segment: IntArray, gap_ft: FloatArray) -> tuple[tuple[Flag, ...], ...]:
    """List the facts about each fill site."""
    return tuple(
        tuple(_flags_of_site(site, scene.sites, int(segment[i]), float(gap_ft[i])))
        for i, site in enumerate(scene.sites)
    )


def _flags_of_site(site: FillSite, sites: tuple[FillSite, ...], segment: int, gap_ft: float) -> Iterator[Flag]:
    """Flag one site."""
    if not site.in_service:
        yield Flag("out of service")
    if segment < 0:
        yield Flag("off road data", _whole(gap_ft), "ft")
    if site.seasonal:
        yield Flag("seasonal", months_text(site.months))
    if not site.fill_gpm_given:
        yield Flag("not tested")
    if not site.turnaround_given:
        yield Flag("turnaround assumed", site.turnaround)
    if site.storage_gal is None and site.kind in ("dry hydrant", "draft"):
        yield Flag("storage unknown")
    shares = [other.site_id for other in sites if other.source == site.source and other is not site]
    if shares:
        yield Flag("shares its source", " ".join(shares))


def months_text(months: frozenset[int]) -> str:
    """Write months as ranges, across the new year where they run on.

    >>> months_text(frozenset({11, 12, 1, 2, 3}))
    '11-3'
    >>> months_text(frozenset({4, 6, 7}))
    '4,6-7'
    """
    if months == ALL_MONTHS or not months:
        return "1-12" if months else ""
    starts = [m for m in sorted(months) if (m - 2) % 12 + 1 not in months]
    runs = []
    for start in starts:
        end = start
        while end % 12 + 1 in months:
            end = end % 12 + 1
        runs.append(f"{start}" if end == start else f"{start}-{end}")
    return ",".join(runs)


def _whole(number: float) -> float | str:
    """Round up to a whole number; a distance that nobody measured is 'far'."""
    return float(np.ceil(number)) if np.isfinite(number) else "far"


def _lacking(engines: int, tankers: int) -> str:
    """Say what a level lacks."""
    parts = [f"{n} {word}{'' if n == 1 else 's'}" for n, word in ((engines, "engine"), (tankers, "tanker")) if n > 0]
    return ", ".join(parts)
