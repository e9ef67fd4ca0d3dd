"""What the plan reckons for the tankers of a drill: minutes at both ends, the drill on the clock, and the steady flow.

Minutes at both ends by the rules and tables, trips by the roads. The timeline is given the drill's own beginnings: when
each tanker came, and when both ends were ready. Everything is drawn as it comes, so that only tankers, trips and both
ends limit.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from preplan.drill_events import CLOCK_EVENTS, DrillEvent, DrillLog
from preplan.plan_inputs import Inputs
from preplan.planning.drill_visits import (
    DUMP,
    EMPTY,
    EMPTY_DRIVE,
    FILL,
    LOADED,
    LOADED_DRIVE,
    STEP,
    Load,
    Measured,
    Observation,
    measure,
    ready_min,
)
from preplan.planning.fireground import ENDLESS_GAL
from preplan.records import FillSite, FloatArray, Unit
from preplan.water.hydraulics import draft_share
from preplan.water.shuttle import LIMIT_CODE, Shuttle, cap, joined_circuits, limit_words, storage_gpm, sustained
from preplan.water.tanker import Handling, Tankers, filling, handling, into_one_gpm
from preplan.water.timeline import Case, PortableTank, Tanker, account
from preplan.water.uninterrupted import NO_BOUND_GPM

READY = CLOCK_EVENTS[:3]
"""Words by which the dump site, the fill site and the second one are told to be ready."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """The round trip that the plan's roads give; inf: no way for all of the tankers that filled there."""

    out_min: float
    back_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """A steady flow by the closed form."""

    gpm: float
    """NaN: not known."""
    limited_by: str
    """Of `water.shuttle.LIMITS`; '' where nothing can run."""


class DrillCase:
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

    def _arrival(self, at: int) -> float:
        """Give when a tanker came into sight with its first load: logged, or before what is; inf: it never did."""
        visits = self.measured.visits[self.units[at].unit_id]
        first = next((visit for visit in visits if visit.end == DUMP), None)
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
        loads = whole_loads(self.measured.loads, self.units)
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


def whole_loads(loads: Sequence[Load], units: Sequence[Unit]) -> tuple[Load, ...]:
    """Let the usable share of the tank stand for gallons that nobody wrote."""
    usable = {unit.unit_id: unit.tank_gal * unit.usable_fraction for unit in units}
    return tuple(load if math.isfinite(load.gallons) else replace(load, gallons=usable[load.unit_id]) for load in loads)


def _median_min(observed: Sequence[Observation], what: str, unit_id: str, site_id: str) -> float:
    """Give a tanker's median, that of all tankers where it has none; NaN where nobody has."""
    some = [one for one in observed if one.what == what and (not site_id or one.site_id in ("", site_id))]
    own = [one.minutes for one in some if one.unit_id == unit_id]
    minutes = own or [one.minutes for one in some]
    return statistics.median(minutes) if minutes else math.nan
