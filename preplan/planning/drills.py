"""After a drill: what was measured beside what the plan reckons for those tankers, that fill site and that address.

Minutes at both ends by the rules and tables, trips by the roads, the flow by the closed form and by the timeline, which
is given the drill's own beginnings: when each tanker came, and when both ends were ready. Everything is drawn as it
comes, so that only tankers, trips and both ends limit.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from preplan.plan_inputs import Inputs
from preplan.planning.drill_flow import Flow, flow_of
from preplan.planning.drill_visits import (
    DUMP,
    EMPTY,
    EMPTY_DRIVE,
    FILL,
    LOADED,
    LOADED_DRIVE,
    STEP,
    WHATS,
    Load,
    Measured,
    Observation,
    Visit,
    measure,
    ready_min,
)
from preplan.planning.dump_sites import with_dump_sites
from preplan.planning.ground import Ground, SeasonGround
from preplan.planning.round_trips import all_trips
from preplan.planning.vehicles import cut_vehicles, season_fleets
from preplan.records import CLOCK_EVENTS, DrillEvent, DrillLog, FillSite, FloatArray, Unit
from preplan.roads.search import Fleet
from preplan.water.hydraulics import draft_share
from preplan.water.shuttle import LIMIT_CODE, Shuttle, cap, joined_circuits, limit_words, storage_gpm, sustained
from preplan.water.tanker import Handling, Tankers, filling, handling, into_one_gpm
from preplan.water.timeline import Case, PortableTank, Tanker, account
from preplan.water.uninterrupted import NO_BOUND_GPM

READY = CLOCK_EVENTS[:3]
"""Words by which the dump site, the fill site and the second one are told to be ready."""
ENDLESS_GAL = 1e9
"""A portable tank that is never full."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """The round trip that the plan's roads give; inf: no way for all of the tankers that filled there."""

    out_min: float
    back_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """One thing that was timed, of all tankers or of one."""

    what: str
    """Of `drill_visits.WHATS`."""
    site_id: str
    """The fill site it belongs to; '' for what is done at the dump site."""
    unit_id: str
    """'' for all."""
    n: int
    typical_min: float
    """Median; of waits the mean, since most are nothing. NaN: not timed."""
    least_min: float
    most_min: float
    predicted_min: float
    """The same of what is predicted for the same tankers; NaN: not known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """A steady flow by the closed form."""

    gpm: float
    """NaN: not known."""
    limited_by: str
    """Of `water.shuttle.LIMITS`; '' where nothing can run."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drilled:
    """One drill, measured beside predicted."""

    log: DrillLog
    label: str
    """Of the address."""
    units: tuple[Unit, ...]
    """Tankers that took part, in code point order."""
    sites: tuple[FillSite, ...]
    months: frozenset[int]
    """Of the roads that were taken."""
    ways: Mapping[str, Way]
    """By fill site."""
    measured: Measured
    replayed: Measured
    """What the timeline does from the drill's own beginnings; empty where there is no way."""
    loads: tuple[Load, ...]
    """Those measured, all gallons known."""
    assumed_loads: int
    """Of them those whose gallons nobody wrote: usable_fraction of the tank."""
    full_tank_loads: int
    """Of them those for which the size of the tank is written."""
    spans: tuple[Span, ...]
    """Of all tankers, then of each."""
    flow: Flow
    replayed_flow: Flow | None
    predicted: Steady
    by_measured: Steady
    """The closed form of the measured times: what these tankers would hold for ever at the drill's pace."""
    told: tuple[str, ...]


def compare(log: DrillLog, inputs: Inputs, ground: Ground) -> Drilled:
    """Measure a drill, and work out what the plan reckons for it.

    Parameters
    ----------
    log
        Checked against the same inputs.
    ground
        As `dump_ground` gives it: of the drill's address alone.
    """
    units = tuple(unit for unit in sorted(inputs.units, key=lambda one: one.unit_id) if unit.unit_id in log.unit_ids)
    sites = tuple(next(one for one in inputs.sites if one.site_id == name) for name in log.site_ids)
    season = season_of(log, ground)
    measured = measure(log.events, {site.site_id: site.positions for site in sites}, places_of(inputs))
    units = tuple(unit for unit in units if unit.unit_id in measured.visits)
    mains = {unit.unit_id: _main_site(measured.visits[unit.unit_id], log) for unit in units}
    ways = {site.site_id: _way(site, units, mains, inputs, ground, season) for site in sites}
    loads = _whole_loads(measured.loads, units)
    case = _Case(units, sites, mains, ways, inputs, measured, log)
    replayed = case.replay()
    return Drilled(
        log=log,
        label=str(inputs.addresses.label[0]),
        units=units,
        sites=sites,
        months=season.months,
        ways=ways,
        measured=measured,
        replayed=replayed,
        loads=loads,
        assumed_loads=sum(not math.isfinite(load.gallons) for load in measured.loads),
        full_tank_loads=_full_tanks(measured.loads, units),
        spans=tuple(_spans(measured.observations, case, replayed)),
        flow=flow_of(measured, loads, measured.end_min),
        replayed_flow=_replayed_flow(replayed, measured, units),
        predicted=case.steady(),
        by_measured=case.steady_as_measured(),
        told=(*measured.told, *_told(case, measured)),
    )


# --------------------------------------------------------------------------- what the plan knows


def places_of(inputs: Inputs) -> int:
    """Give the places to dump."""
    return inputs.district.rules.shuttle.dump_places


def dump_ground(inputs: Inputs, ground: Ground, row: int) -> tuple[Inputs, Ground]:
    """Keep one address of a district, its dump site where the plan has it."""
    units = inputs.in_service
    pick = slice(row, row + 1)
    one = replace(inputs, addresses=inputs.addresses.rows(pick))
    ground = replace(ground, needs=ground.needs.rows(pick), frontages=ground.frontages.rows(pick))
    fleets = season_fleets(units, ground.as_seen)
    return one, with_dump_sites(one, units, ground, fleets)


def season_of(log: DrillLog, ground: Ground) -> SeasonGround:
    """Take the roads as they are in the month of the drill, the longest season where no row says a date."""
    month = int(log.date[5:7]) if log.date else 0
    return next((season for season in ground.seasons if month in season.months), ground.seasons[0])


def _way(
    site: FillSite,
    units: tuple[Unit, ...],
    mains: Mapping[str, str],
    inputs: Inputs,
    ground: Ground,
    season: SeasonGround,
) -> Way:
    """Search the round trip that all tankers who filled at a site can drive."""
    mine = tuple(unit for unit in units if mains[unit.unit_id] == site.site_id) or units
    loaded, empty = (
        Fleet.of(season.network, season.limits, season.minutes(vehicle.top_mph), vehicle)
        for vehicle in cut_vehicles(mine)
    )
    at = np.array([inputs.sites.index(site)], dtype=np.int32)
    found = all_trips(loaded, empty, inputs, ground, sites=at)
    return Way(out_min=float(found.out_min[0, 0]), back_min=float(found.back_min[0, 0]))


def _main_site(visits: Sequence[Visit], log: DrillLog) -> str:
    """Name the fill site that a tanker used most; the log's first where it used none."""
    used = [visit.place for visit in visits if visit.end == FILL]
    return max(log.site_ids, key=used.count, default="")


class _Case:
    """What is reckoned for the tankers of a drill; arrays are (tankers,)."""

    def __init__(
        self,
        units: tuple[Unit, ...],
        sites: tuple[FillSite, ...],
        mains: Mapping[str, str],
        ways: Mapping[str, Way],
        inputs: Inputs,
        measured: Measured,
        log: DrillLog,
    ) -> None:
        self.units, self.sites, self.mains, self.ways = units, sites, mains, ways
        self.rules = inputs.district.rules.shuttle
        self.measured, self.log = measured, log
        self.tankers = Tankers.of(units)
        self.hold = {
            site.site_id: handling(self.tankers, into_one(site), self.rules, lift_share=draft_share(site.lift_ft))
            for site in sites
        }
        self.hookup_min = filling(self.tankers, 0.0, self.rules)[0]
        self.arrival_min = np.array([self._arrival(at) for at in range(len(units))])

    @property
    def known(self) -> bool:
        """Tell whether there are fill sites, a way from each, and a place at both ends."""
        return bool(self.sites) and all(math.isfinite(way.out_min + way.back_min) for way in self.ways.values())

    def dump_hold_min(self, at: int) -> float:
        """Give how long a tanker holds its place at the dump site."""
        return float(self.rules.dump_hookup_min + self.usable_gal[at] / self.tankers.dump_gpm[at])

    @property
    def usable_gal(self) -> FloatArray:
        """Give the water that reaches the fire from a load of each."""
        gal: FloatArray = self.tankers.tank_gal * self.tankers.usable_fraction
        return gal

    def expected_min(self, what: str, unit_id: str, site_id: str) -> float:
        """Give what rules, tables and roads say of a span of time; NaN where only the timeline knows."""
        at = [unit.unit_id for unit in self.units].index(unit_id)
        rules, way = self.rules, self.ways.get(site_id)
        out_min, back_min = (way.out_min, way.back_min) if way else (math.nan, math.nan)
        known = {
            f"{FILL} maneuver": rules.fill_maneuver_min,
            f"{DUMP} maneuver": rules.dump_maneuver_min,
            f"{FILL} hook-up": float(self.hookup_min[at]),
            f"{DUMP} hook-up": rules.dump_hookup_min,
            FILL: float(self.hold[site_id].fill_hold_min[at]) if site_id in self.hold else math.nan,
            DUMP: self.dump_hold_min(at),
            LOADED_DRIVE: out_min,
            LOADED: out_min + rules.dump_maneuver_min,
            EMPTY_DRIVE: back_min,
            EMPTY: back_min + rules.fill_maneuver_min,
        }
        minutes = known.get(what, math.nan)
        return minutes if math.isfinite(minutes) else math.nan

    # ------------------------------------------------------------------ the drill on the clock

    def _first(self, at: int) -> Visit | None:
        """Find a tanker's first visit to the dump site."""
        visits = self.measured.visits[self.units[at].unit_id]
        return next((visit for visit in visits if visit.end == DUMP), None)

    def _arrival(self, at: int) -> float:
        """Give when a tanker came into sight with its first load: logged, or before what is; inf: it never did."""
        first = self._first(at)
        if first is None:
            return math.inf
        position = self.rules.dump_maneuver_min
        hookup = position + self.rules.dump_hookup_min
        behind = {
            "reaches": 0.0, "at": position, "takes": position, "flows": hookup,
            "leaves": position + self.dump_hold_min(at),
        }  # fmt: skip
        part = next(part for part in behind if part in first.minute)
        return first.when(part) - behind[part]

    def _ready(self, end: str, site_id: str) -> float:
        """Give when an end was ready: logged, or when the first tanker there took its place, or must have."""
        logged = ready_min(self.log.events, self.log.site_ids)
        if (end, site_id) in logged:
            return logged[end, site_id]
        first: list[float] = []
        for at, unit in enumerate(self.units):
            for visit in self.measured.visits[unit.unit_id]:
                if visit.end != end or (end == FILL and visit.place != site_id):
                    continue
                hold = self.dump_hold_min(at) if end == DUMP else float(self.hold[site_id].fill_hold_min[at])
                taken = visit.when("takes")
                if not math.isfinite(taken):
                    taken = np.nanmax([visit.when("at"), visit.when("leaves") - hold, self.measured.start_min])
                first.append(float(taken))
        return min(first, default=math.inf)

    def replay(self) -> Measured:
        """Run the timeline from the drill's own beginnings to the last row, and measure it as the log is measured.

        Of what the timeline knows only such rows count as the log has, so that both miss the same.
        """
        positions = {site.site_id: site.positions for site in self.sites}
        if not self.known:
            return measure((), positions, self.rules.dump_places)
        logged, ends = ready_min(self.log.events, self.log.site_ids), [(DUMP, ""), *product([FILL], self.log.site_ids)]
        # a log may call either fill site the fill site, by its place; the timeline has a word for each
        words = {word for word, end in zip(READY, ends, strict=False) if end in logged}
        words |= {event.event for event in self.log.events if event.event in STEP}
        here = {unit.unit_id: {FILL: self.mains[unit.unit_id], DUMP: self.log.address_id} for unit in self.units}
        events = [
            DrillEvent(
                unit_id=event.unit_id,
                event=event.what,
                minute=event.minute,
                place=here[event.unit_id][STEP[event.what][0]] if event.what in STEP else "",
            )
            for event in account(self._timeline()).events
            if event.what in words
        ]
        return measure(events, positions, self.rules.dump_places)

    def _timeline(self) -> Case:
        """Put the drill as the timeline takes it: whatever comes is drawn, no tank is ever full."""
        ends = [
            {
                "fill_engine_arrival_min": self._ready(FILL, site.site_id),
                "fill_setup_min": 0.0,
                "positions": site.positions,
                "site_gpm": site.total_gpm,
                "storage_gal": math.inf if site.storage_gal is None else site.storage_gal,
                "refill_gpm": site.refill_gpm or 0.0,
            }
            for site in self.sites
        ]
        second = {f"second_{name.removeprefix('fill_')}": value for end in ends[1:] for name, value in end.items()}
        columns = {**ends[0], **second}
        end_min = max(event.minute for event in self.log.events)
        return Case(
            tankers=tuple(self._tanker(at) for at in range(len(self.units))),
            attack_arrival_min=0.0, attack_setup_min=0.0, full_flow_after_min=0.0, booster_gal=0.0,
            dump_engine_arrival_min=self._ready(DUMP, ""), dump_setup_min=0.0,
            required_gpm=NO_BOUND_GPM, required_min=math.nextafter(end_min, math.inf), attack_gpm=NO_BOUND_GPM,
            dump_places=self.rules.dump_places, other_tanks=(PortableTank(0.0, ENDLESS_GAL),), **columns,  # type: ignore[arg-type]
        )  # fmt: skip

    def _tanker(self, at: int) -> Tanker:
        unit = self.units[at]
        site = next(one for one in self.sites if one.site_id == self.mains[unit.unit_id])
        way, rules = self.ways[site.site_id], self.rules
        return Tanker(
            unit_id=unit.unit_id, arrival_min=float(self.arrival_min[at]), usable_gal=float(self.usable_gal[at]),
            fill_gpm=float(filling(self.tankers, into_one(site), rules, lift_share=draft_share(site.lift_ft))[1][at]),
            dump_gpm=float(self.tankers.dump_gpm[at]), out_min=way.out_min, back_min=way.back_min,
            fill_hookup_min=float(self.hookup_min[at]), dump_hookup_min=rules.dump_hookup_min,
            fill_maneuver_min=rules.fill_maneuver_min, dump_maneuver_min=rules.dump_maneuver_min,
            self_fill=unit.self_fill_gpm is not None, second_site=len(self.sites) > 1 and site is self.sites[1],
        )  # fmt: skip

    # ------------------------------------------------------------------ the steady flow

    def steady(self) -> Steady:
        """Give the steady flow that the plan reckons for these tankers, by the closed form."""
        if not self.known:
            return Steady(gpm=math.nan, limited_by="")
        return self._over_sites(
            {name: (way.out_min + way.back_min, self.hold[name]) for name, way in self.ways.items()}, capped=True
        )

    def steady_as_measured(self) -> Steady:
        """Give the steady flow of the measured times; what the source itself gives is not known from them."""
        observed = self.measured.observations
        circuits: dict[str, tuple[float, Handling]] = {}
        for site in self.sites:
            name = site.site_id
            legs = [
                np.array([_median_min(observed, what, unit.unit_id, name) for unit in self.units])
                for what in (LOADED, EMPTY)
            ]
            hold = Handling(
                usable_gal=self._load_gal(),
                fill_hold_min=np.array([_median_min(observed, FILL, unit.unit_id, name) for unit in self.units]),
                dump_hold_min=np.array([_median_min(observed, DUMP, unit.unit_id, "") for unit in self.units]),
                maneuver_min=legs[0] + legs[1],
            )
            circuits[name] = 0.0, hold
        if not circuits or not all(np.isfinite(hold.handling_min).all() for _, hold in circuits.values()):
            return Steady(gpm=math.nan, limited_by="")
        return self._over_sites(circuits, capped=False)

    def _load_gal(self) -> FloatArray:
        """Give the middle load of each tanker."""
        loads = _whole_loads(self.measured.loads, self.units)
        own = [[load.gallons for load in loads if load.unit_id == unit.unit_id] for unit in self.units]
        return np.array([statistics.median(one) if one else 0.0 for one in own])

    def _over_sites(self, circuits: Mapping[str, tuple[float, Handling]], *, capped: bool) -> Steady:
        """Run each fill site's tankers on its circuit; `capped` by what the site gives and stores."""
        hauls = np.array([math.isfinite(minute) for minute in self.arrival_min], dtype=np.bool_)
        flows: list[Shuttle] = []
        for site in self.sites:
            trip_min, hold = circuits[site.site_id]
            mine = np.array([self.mains[unit.unit_id] == site.site_id for unit in self.units]) & hauls
            flow = sustained(
                trip_min, hold, mine, positions=site.positions, site_gpm=site.total_gpm if capped else math.inf,
                dump_places=self.rules.dump_places,
            )  # fmt: skip
            if capped:
                stored, refill = (math.nan if one is None else one for one in (site.storage_gal, site.refill_gpm))
                lasts = self.measured.end_min - self.measured.start_min
                flow = cap(flow, storage_gpm(stored, refill, lasts), LIMIT_CODE["source"])
            flows.append(flow)
        total = flows[0]
        if len(flows) > 1:
            hold = circuits[self.sites[0].site_id][1]
            total = joined_circuits(flows[0], flows[1], hold, dump_places=self.rules.dump_places)
        return Steady(gpm=float(total.sustained_gpm), limited_by=str(limit_words(total.limited_by)))


def into_one(site: FillSite) -> float:
    """Give the rate into one tanker, gpm: no engine at the site is known to hold it down."""
    return float(into_one_gpm(site.fill_gpm, site.total_gpm))


# --------------------------------------------------------------------------- measured


def _whole_loads(loads: Sequence[Load], units: Sequence[Unit]) -> tuple[Load, ...]:
    """Let the usable share of the tank stand for gallons that nobody wrote."""
    usable = {unit.unit_id: unit.tank_gal * unit.usable_fraction for unit in units}
    return tuple(load if math.isfinite(load.gallons) else replace(load, gallons=usable[load.unit_id]) for load in loads)


def _full_tanks(loads: Sequence[Load], units: Sequence[Unit]) -> int:
    """Count the loads for which no less than the tank is written, of tankers that are not reckoned to empty it."""
    tank = {unit.unit_id: unit.tank_gal for unit in units if unit.usable_fraction < 1.0}
    return sum(load.gallons >= tank.get(load.unit_id, math.inf) for load in loads)


def _replayed_flow(replayed: Measured, measured: Measured, units: Sequence[Unit]) -> Flow | None:
    """Sum up the timeline's loads; who filled before the first dump did not come with a load there either."""
    if not replayed.loads:
        return None
    came_full = {load.unit_id for load in measured.loads if not load.refilled}
    loads = [
        replace(load, refilled=load.refilled or load.unit_id not in came_full)
        for load in _whole_loads(replayed.loads, units)
    ]
    return flow_of(replace(replayed, start_min=measured.start_min, pauses=measured.pauses), loads, measured.end_min)


def _median_min(observed: Sequence[Observation], what: str, unit_id: str, site_id: str) -> float:
    """Give a tanker's median, that of all tankers where it has none; NaN where nobody has."""
    some = [one for one in observed if one.what == what and (not site_id or one.site_id in ("", site_id))]
    own = [one.minutes for one in some if one.unit_id == unit_id]
    minutes = own or [one.minutes for one in some]
    return statistics.median(minutes) if minutes else math.nan


def _spans(observed: Sequence[Observation], case: _Case, replayed: Measured) -> list[Span]:
    """Sum up each thing that was timed: of all tankers, then of each one, by fill site."""
    spans = []
    for unit_id in ("", *(unit.unit_id for unit in case.units)):
        for what in WHATS:
            some = [one for one in observed if one.what == what and unit_id in ("", one.unit_id)]
            if what.startswith(DUMP):
                some = [replace(one, site_id="") for one in some]
            for site_id in dict.fromkeys(one.site_id for one in some):
                mine = [one for one in some if one.site_id == site_id]
                spans.append(_span(what, site_id, unit_id, mine, case, replayed))
    return spans


def _span(what: str, site_id: str, unit_id: str, mine: Sequence[Observation], case: _Case, replayed: Measured) -> Span:
    """Sum up some observations, and what is predicted for each of them."""
    minutes = [one.minutes for one in mine]
    typical = statistics.fmean if what.endswith("wait") else statistics.median
    predicted = _predicted_min(what, site_id, mine, case, replayed)
    known = all(map(math.isfinite, predicted))
    return Span(
        what=what,
        site_id=site_id,
        unit_id=unit_id,
        n=len(mine),
        typical_min=typical(minutes),
        least_min=min(minutes),
        most_min=max(minutes),
        predicted_min=typical(predicted) if known else math.nan,
    )


def _predicted_min(
    what: str, site_id: str, mine: Sequence[Observation], case: _Case, replayed: Measured
) -> list[float]:
    """Give what is predicted: as the timeline has it for the same tankers, else by rules, tables and roads.

    Only the timeline knows who waits, who shares what a site gives, and when a source runs dry.
    """
    if what in (FILL, "cycle") or what.endswith("wait"):
        whose = {one.unit_id for one in mine}
        theirs = [
            one.minutes
            for one in replayed.observations
            if one.what == what and one.unit_id in whose and site_id in ("", one.site_id)
        ]
        if theirs:
            return theirs
    return [case.expected_min(what, one.unit_id, site_id) for one in mine]


def _told(case: _Case, measured: Measured) -> list[str]:
    """Say what the comparison leaves open."""
    told = []
    for unit in case.units:
        used = {visit.place for visit in measured.visits[unit.unit_id] if visit.end == FILL}
        if len(used) > 1:
            told.append(f"{unit.unit_id} filled at both sites; the prediction sends it to {case.mains[unit.unit_id]}.")
        if not any(load.unit_id == unit.unit_id for load in measured.loads):
            told.append(f"{unit.unit_id} was not seen dumping a load; predicted, it hauls once it has come.")
    late = [(unit.unit_id, minute) for unit, minute in zip(case.units, case.arrival_min, strict=True)]
    first = min((minute for _, minute in late), default=math.nan)
    cycle = statistics.median([o.minutes for o in measured.observations if o.what == "cycle"] or [math.inf])
    told += [
        f"{unit_id} joined {minute - first:.0f} min after the first tanker."
        for unit_id, minute in late
        if math.isfinite(minute) and minute - first > cycle
    ]
    last = {load.unit_id: load.minute for load in measured.loads}
    told += [
        f"{unit_id} dumped its last load {measured.end_min - minute:.0f} min before the end; predicted, it hauls on."
        for unit_id, minute in last.items()
        if measured.end_min - minute > 1.5 * cycle
    ]
    return told
