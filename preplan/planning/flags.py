"""Flags: facts about an address or a fill site, each with its number."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from preplan.months import months_text
from preplan.plan_tables import (
    DRY,
    FIRST_CIRCUIT,
    LEAST_GAP_MIN,
    LONG_DRIVEWAY,
    SECOND_CIRCUIT,
    UNPOSTED,
    AnswerTable,
    Flag,
    HydrantReach,
    LevelTable,
    TripTable,
    text_at_level,
)
from preplan.planning.assignment import Scene
from preplan.planning.occupancies import guessed_use
from preplan.records import AddressTable, FillSite, FloatArray, HydrantTable, IntArray


def address_flags(
    scene: Scene, addresses: AddressTable, levels: LevelTable, trips: TripTable, answers: AnswerTable
) -> tuple[tuple[Flag, ...], ...]:
    """List the facts that an officer should know about each address, in a fixed order."""
    flags: list[list[Flag]] = [[] for _ in range(len(addresses))]
    finders = (
        _time_flags,
        _place_flags,
        _trip_flags,
        _split_flags,
        _site_of_address_flags,
        _lower_flags,
        _fleet_flags,
        _need_flags,
    )
    for finder in finders:
        for row, flag in finder(scene, addresses, levels, trips, answers):
            flags[row].append(flag)
    return tuple(tuple(some) for some in flags)


Found = Iterator[tuple[int, Flag]]


def _time_flags(
    _scene: Scene, _addresses: AddressTable, _levels: LevelTable, _trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag when the water runs short, and where a call on arrival comes too late."""
    for row in np.flatnonzero(np.nan_to_num(answers.gap_min) > LEAST_GAP_MIN).tolist():
        yield row, Flag("gap", round(float(answers.gap_min[row]), 1), "min")
    for row in np.flatnonzero(np.nan_to_num(answers.nothing_min) > LEAST_GAP_MIN).tolist():
        yield row, Flag(DRY, round(float(answers.nothing_min[row]), 1), "min")
    for row in np.flatnonzero((answers.status == "higher level") & ~answers.in_time()).tolist():
        yield row, Flag("send with first alarm")


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
        yield int(row), Flag(LONG_DRIVEWAY, _whole(place.driveway_ft[row]), "ft")
    for row in np.flatnonzero(carded & (place.how == "nearest") & (addresses.street != "")):
        yield int(row), Flag("frontage uncertain", _whole(place.gap_ft[row]), "ft")


def _trip_flags(
    scene: Scene, _addresses: AddressTable, levels: LevelTable, trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag what the chosen trip meets, of each circuit where tankers are split."""
    for circuit, table in ((FIRST_CIRCUIT, levels.trip), (SECOND_CIRCUIT, levels.split_trip)):
        trip = answers.shown(table)
        for row in np.flatnonzero((answers.level >= 0) & (trip >= 0)).tolist():
            t = trip[row]
            if trips.turn_at_dump[t]:
                yield row, Flag("turn at dump site", scene.rules.roads.dump_turn_min, "min", circuit)
            if round(float(trips.posted_avoided_min[t]), 1) > 0.0:
                yield row, Flag("posted bridge avoided", round(float(trips.posted_avoided_min[t]), 1), "min", circuit)
            if trips.unposted_bridges[t]:
                yield row, Flag(UNPOSTED, int(trips.unposted_bridges[t]), circuit=circuit)
            if round(float(trips.narrow_mi[t]), 1) > 0.0:
                yield row, Flag("narrow road", round(float(trips.narrow_mi[t]), 1), "mi", circuit)


def _split_flags(
    scene: Scene, _addresses: AddressTable, levels: LevelTable, trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag who fills at a second fill site."""
    trip, site = answers.shown(levels.split_trip), answers.shown(levels.split)
    for row in np.flatnonzero((answers.level >= 0) & (trip >= 0)).tolist():
        t, there = int(trip[row]), scene.sites[int(site[row])]
        ids = [
            unit.unit_id for unit, at in zip(scene.units, levels.at_split[row, answers.level[row]], strict=True) if at
        ]
        minutes = round(float(trips.out_min[t] + trips.back_min[t]), 1)
        said = f"{' '.join(ids)} at {there.site_id}, round trip {minutes:g} min"
        yield row, Flag("two fill sites", said)


def _site_of_address_flags(
    scene: Scene, _addresses: AddressTable, levels: LevelTable, _trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag what the chosen fill site lacks, and the second one where there is one."""
    backup = answers.shown(levels.backup)
    limited = text_at_level(levels.limited_by, answers.level)
    for circuit, table in ((FIRST_CIRCUIT, levels.site), (SECOND_CIRCUIT, levels.split)):
        site = answers.shown(table)
        for row in np.flatnonzero((answers.level >= 0) & (site >= 0)).tolist():
            one = scene.sites[site[row]]
            if circuit == FIRST_CIRCUIT and backup[row] < 0:
                yield row, Flag("single fill site")
            if not one.stands_through(scene.planned):
                yield row, Flag("seasonal", months_text(one.months), circuit=circuit)
            if not one.fill_gpm_given:
                yield row, Flag("not tested", circuit=circuit)
            runs_out = limited[row] == "source" or answers.emptied[row, int(circuit == SECOND_CIRCUIT)]
            if runs_out and one.storage_gal is not None:
                yield row, Flag("source runs out", _whole(one.storage_gal), "gal", circuit)


def _lower_flags(
    scene: Scene, _addresses: AddressTable, levels: LevelTable, _trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag lower levels that are planned at other fill sites: the minutes of a level have every unit at its own."""
    names = [level.name for level in scene.levels]
    there = np.stack([answers.shown(table) for table in (levels.site, levels.split)])[:, :, None]
    lower = (np.arange(len(names)) < answers.level[:, None]) & (levels.site >= 0) & (there[0] >= 0)
    lower &= np.nan_to_num(levels.uninterrupted_gpm) > 0.0  # one that brings nothing fills nowhere
    elsewhere = lower & ~(
        (levels.site == there).any(axis=0) & ((levels.split < 0) | (levels.split == there).any(axis=0))
    )
    for row in np.flatnonzero(elsewhere.any(axis=1)).tolist():
        lower_ones = tuple(names[lv] for lv in np.flatnonzero(elsewhere[row]))
        yield row, Flag("lower level fills elsewhere", ", ".join(lower_ones), names=lower_ones)


def _fleet_flags(
    scene: Scene, _addresses: AddressTable, levels: LevelTable, _trips: TripTable, answers: AnswerTable
) -> Found:
    """Flag units that are lacking or left out."""
    ids = np.array([unit.unit_id for unit in scene.units], dtype=np.object_)
    rows = np.flatnonzero(answers.level >= 0)
    shown = answers.level[rows]
    # where none can shuttle, none is left out: their water is wanted
    some = (levels.site[rows, shown] >= 0) & levels.used[rows, shown].any(axis=1)
    idle = levels.tankers[rows, shown] & ~levels.used[rows, shown] & some[:, None]
    short_e, short_t = levels.short_engines[rows, shown], levels.short_tankers[rows, shown]
    for at in np.flatnonzero(idle.any(axis=1)):
        yield int(rows[at]), Flag("left out", " ".join(ids[idle[at]]))
    for at in np.flatnonzero((short_e > 0) | (short_t > 0)):
        yield int(rows[at]), Flag("level short", _lacking(int(short_e[at]), int(short_t[at])))


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
        near = tuple(names[lv] for lv in np.flatnonzero(close[row]))
        yield int(row), Flag("close", ", ".join(near), names=near)
    for row in np.flatnonzero(carded & scene.needs.assumed):
        yield int(row), Flag("assumed building")
    for row in np.flatnonzero(guessed_use(addresses, scene.rules.required_flow.method)):
        yield int(row), Flag("use not known", str(addresses.occupancy[row]) or "the table does not say")
    for row in np.flatnonzero(carded & (addresses.sprinklered == 1.0)):
        yield int(row), Flag("sprinklered")


def with_hydrants(answers: AnswerTable, reach: HydrantReach, hydrants: HydrantTable) -> AnswerTable:
    """Flag the hydrant that counts, enough or not: where it is not, it still gives water at once."""

    def near() -> Found:
        for row in np.flatnonzero(reach.hydrant >= 0).tolist():
            at = int(reach.hydrant[row])
            doubt = f" ({hydrants.doubt(at)})" if hydrants.doubt(at) else ""
            gpm, feet = np.floor(reach.credited_gpm[row]), np.ceil(reach.distance_ft[row])
            said = f"{hydrants.hydrant_id[at]}, counts for {gpm:.0f} gpm{doubt} at {feet:.0f} ft"
            yield row, Flag("hydrant near", said)

    return answers.flagged(near())


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
        yield Flag("shares its source", " ".join(shares), names=tuple(shares))


def _whole(number: float) -> float | str:
    """Round up to a whole number; a distance that nobody measured is 'far'."""
    return float(np.ceil(number)) if np.isfinite(number) else "far"


def _lacking(engines: int, tankers: int) -> str:
    """Say what a level lacks."""
    parts = [f"{n} {word}{'' if n == 1 else 's'}" for n, word in ((engines, "engine"), (tankers, "tanker")) if n > 0]
    return ", ".join(parts)
