"""Who comes to each address at each level, when, and for which job.

Units lie on the last axis, in code point order of unit_id, so equal arrivals fall to the lower id.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preplan.records import BoolArray, Columns, FloatArray, IntArray, ResponseLevel, Station, Unit
from preplan.rules import ShuttleRules


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """The fleets of every address and level, and their arrivals."""

    arrival_min: FloatArray
    """(addresses, units) after alerting; inf where a unit has no way or is not in service."""
    site_arrival_min: FloatArray
    """(sites, units) after alerting."""
    engines: BoolArray
    """(addresses, levels, units) engines sent."""
    tankers: BoolArray
    """(addresses, levels, units) tankers sent."""
    hauls: BoolArray
    """(addresses, units) those that could be sent to haul, however many a level or their station sends."""
    attack_engine: IntArray
    """(addresses,) first engine at the address; -1: none."""
    short_engines: IntArray
    """(addresses, levels)."""
    short_tankers: IntArray

    def attack_arrival_min(self, address: IntArray) -> FloatArray:
        """Give the minute at which the attack engine comes to some addresses, (n,); inf where none does."""
        attack = self.attack_engine[address]
        return np.where(attack >= 0, self.arrival_min[address, np.maximum(attack, 0)], np.inf)


def depart_min(rolling: tuple[Unit, ...], stations: tuple[Station, ...], rules: ShuttleRules) -> dict[str, float]:
    """Time each unit's departure after alerting, minutes by unit_id.

    Units of a station roll in the order in which the apparatus table lists them: at a volunteer station each
    further one leaves `stagger_min` later, since its crew comes later.
    """
    about = {station.station_id: station for station in stations}
    gone: dict[str, int] = {}
    depart: dict[str, float] = {}
    for unit in rolling:
        station = about[unit.station_id]
        before = gone.get(unit.station_id, 0)
        gone[unit.station_id] = before + 1
        wait = 0.0 if station.staffed else before * rules.stagger_min
        depart[unit.unit_id] = station.turnout_min + wait
    return depart


def respond(
    units: tuple[Unit, ...],
    stations: tuple[Station, ...],
    levels: tuple[ResponseLevel, ...],
    arrival_min: FloatArray,
    site_arrival_min: FloatArray,
) -> Response:
    """Choose each level's fleet: the first engines and tankers by arrival, so each level holds the one below."""
    kind = np.array([unit.kind for unit in units], dtype=np.object_)
    comes = np.isfinite(arrival_min)
    engine = comes & (kind == "engine")
    tanker = comes & (kind == "tanker")
    either = comes & (kind == "pumper-tanker")
    most = max(level.engines for level in levels)
    # A pumper-tanker hauls water unless the highest level lacks an engine; it is never counted as both. One that its
    # station does not send as an engine, beside those that can be nothing else, takes nobody's place and hauls.
    plain_first = np.where(engine, -np.inf, arrival_min)
    engine = _capped(engine, units, stations, arrival_min, "max_engines")
    may_pump = either & _capped(engine | either, units, stations, plain_first, "max_engines")
    lacking = np.maximum(most - engine.sum(axis=1), 0)
    as_engine = may_pump & (_rank(np.where(may_pump, arrival_min, np.inf)) < lacking[:, None])
    engine |= as_engine
    hauls = tanker | (either & ~as_engine)
    tanker = _capped(hauls, units, stations, arrival_min, "max_tankers")
    engines, short_engines = _first(engine, arrival_min, [level.engines for level in levels])
    tankers, short_tankers = _first(tanker, arrival_min, [level.tankers for level in levels])
    soonest = np.where(engine, arrival_min, np.inf)
    return Response(
        arrival_min=arrival_min,
        site_arrival_min=site_arrival_min,
        engines=engines,
        tankers=tankers,
        hauls=hauls,
        attack_engine=np.where(engine.any(axis=1), soonest.argmin(axis=1), -1).astype(np.int32),
        short_engines=short_engines,
        short_tankers=short_tankers,
    )


def _rank(minutes: FloatArray) -> IntArray:
    """Rank along the last axis, equal times by position."""
    order = np.argsort(minutes, axis=-1, kind="stable")
    rank = np.empty(order.shape, dtype=np.int32)
    np.put_along_axis(rank, order, np.arange(minutes.shape[-1], dtype=np.int32)[None], axis=-1)
    return rank


def _capped(
    mask: BoolArray, units: tuple[Unit, ...], stations: tuple[Station, ...], arrival_min: FloatArray, limit: str
) -> BoolArray:
    """Keep of each neighbour's units no more than it sends, the first to arrive."""
    kept = mask.copy()
    for station in stations:
        most = getattr(station, limit)
        if most is None:
            continue
        own = np.array([unit.station_id == station.station_id for unit in units])
        rank = _rank(np.where(mask & own, arrival_min, np.inf))
        kept &= ~own | (rank < most)
    return kept


def _first(mask: BoolArray, arrival_min: FloatArray, counts: list[int]) -> tuple[BoolArray, IntArray]:
    """Pick the first of a kind for each level: (addresses, levels, units), and how many are lacking."""
    rank = _rank(np.where(mask, arrival_min, np.inf))
    wanted = np.array(counts)
    picked = mask[:, None, :] & (rank[:, None, :] < wanted[None, :, None])
    return picked, (wanted[None, :] - picked.sum(axis=2)).astype(np.int32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Jobs(Columns):
    """Who does what in each of many cases (address, site, level): arrays of shape (cases,)."""

    level: IntArray
    """Level whose engines have the jobs."""
    fill_engine: IntArray
    """-1: none needed, or none there."""
    dump_engine: IntArray
    """The attack engine where it drafts too; -1: none, so no shuttle."""
    vacuum_only: BoolArray
    """No engine is left for the fill site: only tankers that fill themselves can run."""
    second_engine: IntArray
    """At the second fill site; -1: there is none, none is needed, or none is left."""


def assign_jobs(
    response: Response,
    case: tuple[IntArray, IntArray, IntArray],
    *,
    needs_engine: BoolArray,
    near: BoolArray,
    attack_drafts: BoolArray | None = None,
    second: IntArray | None = None,
    later_min: FloatArray | float = 0.0,
) -> Jobs:
    """Give the engines of each case their jobs: attack, then fill, then dump, then the second fill site.

    `case` is address, site and level, each (cases,), as are `needs_engine` and `near`: the site wants a pumper; the
    building is so near the dump site that the attack engine can draft. Where `attack_drafts` (cases,) it does, though
    another engine could. `second` (cases,) is the second fill site where it wants a pumper, else -1. `later_min`
    (cases, units) is how much later than at minute 0 a unit is alerted. Where two engines cannot both fill and dump,
    the second drafts and only vacuum tankers run.
    """
    address, site, level = case
    attack = response.attack_engine[address]
    rest = response.engines[address, level].copy()
    rest[np.arange(len(address)), np.maximum(attack, 0)] = False
    others = rest.sum(axis=1)
    can_fill = needs_engine & ((others >= 2) | ((others == 1) & near))
    vacuum_only = needs_engine & ~can_fill
    at_site = np.where(rest, response.site_arrival_min[site] + later_min, np.inf)
    fill = np.where(can_fill & np.isfinite(at_site.min(axis=1, initial=np.inf)), at_site.argmin(axis=1), -1)
    rest[np.arange(len(address)), np.maximum(fill, 0)] &= fill < 0
    at_scene = np.where(rest, response.arrival_min[address] + later_min, np.inf)
    left = np.isfinite(at_scene.min(axis=1, initial=np.inf))
    if attack_drafts is not None:
        left &= ~(attack_drafts & near)
    dump = np.where(left, at_scene.argmin(axis=1), np.where(near, attack, -1))
    dump = np.where(attack < 0, -1, dump)
    at_second = np.full(len(address), -1)
    if second is not None:
        rest[np.arange(len(address)), np.maximum(dump, 0)] &= dump < 0
        minutes = np.where(rest, response.site_arrival_min[second] + later_min, np.inf)
        at_second, dump = _second_engine(minutes, second >= 0, near & (attack >= 0), attack, dump)
    return Jobs(
        level=level,
        fill_engine=fill.astype(np.int32),
        dump_engine=dump.astype(np.int32),
        vacuum_only=vacuum_only | (can_fill & (fill < 0)),
        second_engine=at_second.astype(np.int32),
    )


def _second_engine(
    minutes: FloatArray, wanted: BoolArray, near: BoolArray, attack: IntArray, dump: IntArray
) -> tuple[IntArray, IntArray]:
    """Find who pumps at the second fill site, and who drafts then: (cases,).

    `minutes` (cases, units) is when each engine without a job would be there. Where none is left, the attack engine
    drafts if it is near, and the one that would have drafted goes.
    """
    free = wanted & np.isfinite(minutes.min(axis=1, initial=np.inf))
    swaps = wanted & ~free & near & (dump >= 0) & (dump != attack)
    engine = np.where(free, minutes.argmin(axis=1), np.where(swaps, dump, -1))
    return engine, np.where(swaps, attack, dump)
