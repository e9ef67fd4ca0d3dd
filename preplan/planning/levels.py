"""Level, status and flags: what the chosen sites deliver, held against what the building needs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from preplan.plan import AnswerTable, Flag, LevelTable, SeasonLine, TripTable
from preplan.planning.assignment import (
    ROUNDING_GPM,
    Scene,
    Scores,
    deliver,
    flows_at,
    keep_lower_site,
    one_out_gpm,
    pick_backup,
    pick_site,
    season_months,
)
from preplan.records import ALL_MONTHS, AddressTable, BoolArray, FillSite, FloatArray, IntArray, text_array
from preplan.water.shuttle import limit_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Chosen sites of the season that decides: arrays of shape (addresses, levels)."""

    site: IntArray
    backup: IntArray
    season: IntArray
    """One season an address, the same at every level."""
    seasons: tuple[SeasonLine, ...]


def choose(scene: Scene, scores: Scores) -> Choice:
    """Choose site and backup in every season; the worst season decides, one for all levels of an address."""
    lines: list[SeasonLine] = []
    backups: list[IntArray] = []
    shape = scores.gpm.shape
    for months, stands in season_months(scene.sites, scene.rules.plan.months):
        allowed = np.broadcast_to(stands[None, :, None], shape)
        best = pick_site(scores, allowed)
        site = keep_lower_site(scene, scores, best, allowed)
        backups.append(pick_backup(scene, scores, site, allowed))
        lines.append(
            SeasonLine(
                months=months,
                sites=tuple(np.flatnonzero(stands).tolist()),
                best_site=site,
                sustained_gpm=np.where(site >= 0, flows_at(scores, site), np.nan),
            )
        )
    flows = np.stack([np.nan_to_num(line.sustained_gpm) for line in lines])
    worst = worst_season(flows, scene.needs.required_gpm)
    season = np.repeat(worst[:, None], flows.shape[2], axis=1)
    a, lv = np.indices(season.shape)
    return Choice(
        site=np.stack([line.best_site for line in lines])[season, a, lv],
        backup=np.stack(backups)[season, a, lv],
        season=season,
        seasons=tuple(lines),
    )


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


def level_table(scene: Scene, scores: Scores, choice: Choice) -> LevelTable:
    """Work out the chosen cases in full; trips are filled in when they are kept."""
    shape = choice.site.shape
    a, lv = (i.ravel().astype(np.int32) for i in np.indices(shape))
    site = np.maximum(choice.site, 0).ravel()
    found = deliver(scene, a, site, lv)
    there = choice.site >= 0
    used = found.shuttle.used.reshape(*shape, -1) & there[..., None]
    sustained = _where(there, found.shuttle.sustained_gpm)
    return LevelTable(
        site=choice.site,
        backup=choice.backup,
        split=np.full(shape, -1, dtype=np.int32),
        trip=np.full(shape, -1, dtype=np.int32),
        backup_trip=np.full(shape, -1, dtype=np.int32),
        fleet=scene.response.engines | scene.response.tankers,
        tankers=scene.response.tankers,
        used=used,
        fill_engine=found.jobs.fill_engine.reshape(shape),
        dump_engine=found.jobs.dump_engine.reshape(shape),
        attack_engine=np.broadcast_to(scene.response.attack_engine[:, None], shape).astype(np.int32),
        cycle_min=_where(there, found.shuttle.cycle_min),
        sum_gpm=_where(there, found.shuttle.sum_gpm),
        sustained_gpm=sustained,
        limited_by=np.where(there, limit_words(found.shuttle.limited_by).reshape(shape), ""),
        backup_gpm=np.where(choice.backup >= 0, flows_at(scores, choice.backup), np.nan),
        one_out_gpm=one_out_gpm(scene, choice.site, used),
        meets=np.nan_to_num(sustained) >= scene.needs.required_gpm[:, None] - ROUNDING_GPM,
        short_engines=scene.response.short_engines,
        short_tankers=scene.response.short_tankers,
        season=choice.season,
    )


def _where(there: BoolArray, values: FloatArray) -> FloatArray:
    """Blank the cases without a site."""
    return np.where(there, values.reshape(there.shape), np.nan)


def grade(scene: Scene, levels: LevelTable, hydrant_ft: FloatArray, hydrant_gpm: FloatArray) -> AnswerTable:
    """Grade every address: the first status that holds, and the level that is shown."""
    need = scene.needs.required_gpm
    no_route = (levels.site < 0).all(axis=1)
    hydrant = np.nan_to_num(hydrant_gpm) >= need
    first = levels.meets.argmax(axis=1)
    some = levels.meets.any(axis=1)
    most = np.nan_to_num(levels.sustained_gpm).argmax(axis=1)
    status = np.where(some, np.where(first == 0, "served", "higher level"), "not met")
    status = np.where(hydrant, "hydrant", np.where(no_route, "no route", status))
    level = np.where(hydrant | no_route, -1, np.where(some, first, most))
    attack = scene.response.attack_engine
    arrival = scene.response.arrival_min[np.arange(len(attack)), np.maximum(attack, 0)]
    return AnswerTable(
        status=text_array(status.tolist()),
        level=level.astype(np.int32),
        hydrant_ft=np.where(hydrant, hydrant_ft, np.nan),
        first_arrival_min=np.where(attack >= 0, arrival, np.nan),
        flags=((),) * len(attack),
    )


def address_flags(
    scene: Scene, addresses: AddressTable, levels: LevelTable, trips: TripTable, answers: AnswerTable
) -> tuple[tuple[Flag, ...], ...]:
    """List the facts that an officer should know about each address, in a fixed order."""
    flags: list[list[Flag]] = [[] for _ in range(len(addresses))]
    finders = (_place_flags, _trip_flags, _site_of_address_flags, _fleet_flags, _need_flags)
    for finder in finders:
        for row, flag in finder(scene, addresses, levels, trips, answers):
            flags[row].append(flag)
    return tuple(tuple(some) for some in flags)


Found = Iterator[tuple[int, Flag]]


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
    close = np.abs(np.nan_to_num(levels.sustained_gpm) - need) <= share * need
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
