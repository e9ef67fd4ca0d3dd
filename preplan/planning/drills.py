"""After a drill: what was measured beside what the plan reckons for those tankers, that fill site and that address."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from preplan.drill_events import DrillLog
from preplan.plan_inputs import Inputs
from preplan.planning.drill_case import DrillCase, Steady, Way, whole_loads
from preplan.planning.drill_flow import Flow, flow_of
from preplan.planning.drill_visits import DUMP, FILL, WHATS, Load, Measured, Observation, Visit, measure
from preplan.planning.dump_sites import with_dump_sites
from preplan.planning.ground import Ground, SeasonGround
from preplan.planning.round_trips import all_trips
from preplan.planning.vehicles import cut_vehicles, season_fleets
from preplan.records import FillSite, Unit
from preplan.roads.search import Fleet


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
    dump_places = inputs.district.rules.shuttle.dump_places
    measured = measure(log.events, {site.site_id: site.positions for site in sites}, dump_places)
    units = tuple(unit for unit in units if unit.unit_id in measured.visits)
    mains = {unit.unit_id: _main_site(measured.visits[unit.unit_id], log) for unit in units}
    ways = {site.site_id: _way(site, units, mains, inputs, ground, season) for site in sites}
    loads = whole_loads(measured.loads, units)
    case = DrillCase(units, sites, mains, ways, inputs, measured, log)
    replayed = case.replay()
    return Drilled(
        log=log,
        label=str(inputs.addresses.label[0]),
        units=units,
        sites=sites,
        months=season.months,
        ways=ways,
        measured=measured,
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


# --------------------------------------------------------------------------- measured


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
        for load in whole_loads(replayed.loads, units)
    ]
    return flow_of(replace(replayed, start_min=measured.start_min, pauses=measured.pauses), loads, measured.end_min)


def _spans(observed: Sequence[Observation], case: DrillCase, replayed: Measured) -> list[Span]:
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


def _span(
    what: str, site_id: str, unit_id: str, mine: Sequence[Observation], case: DrillCase, replayed: Measured
) -> Span:
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
    what: str, site_id: str, mine: Sequence[Observation], case: DrillCase, replayed: Measured
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


def _told(case: DrillCase, measured: Measured) -> list[str]:
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
