"""One timeline question: who comes when with what, what the two ends give, and what the fire demands.

Minute 0 is the alerting of units. A *case* is one address, fill site and response level; it holds numbers
only. Everything the definitions derive from those numbers before any water moves has its home here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

NEVER = math.inf
"""Minute of what does not happen: a unit that does not come, a site that is never ready."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tanker:
    """One tanker of the shuttle and its own times."""

    unit_id: str
    arrival_min: float
    """On scene with its first load; `NEVER` if it has no way."""
    usable_gal: float
    fill_gpm: float
    """Rate into this tanker: the least of what a place gives and what its tank takes in."""
    dump_gpm: float
    out_min: float
    """Fill site to dump site, loaded."""
    back_min: float
    fill_hookup_min: float = 0.0
    dump_hookup_min: float = 0.0
    fill_maneuver_min: float = 0.0
    """Before it joins the queue at the fill site; holds no place."""
    dump_maneuver_min: float = 0.0
    portable_gal: float = 0.0
    """Nominal size of the portable tank it carries; 0: none."""
    has_pump: bool = False
    """It can nurse."""
    pump_gpm: float = NEVER
    """What it gives as a nurse, at most."""
    self_fill: bool = False
    """It fills itself and waits for no engine at the fill site."""
    second_site: bool = False
    """It fills at the second fill site; its rates and legs are those of that site."""


@dataclass(frozen=True, slots=True)
class PortableTank:
    """A portable tank that comes on another unit than a tanker of the shuttle."""

    arrival_min: float
    nominal_gal: float


@dataclass(frozen=True, slots=True)
class FillEnd:
    """What one fill site gives to the tankers that fill there."""

    engine_arrival_min: float | None
    """None: it needs no engine, the first tanker there opens it. `NEVER`: none comes."""
    setup_min: float
    positions: int
    site_gpm: float
    storage_gal: float
    refill_gpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Surge:
    """A master stream: the total demand is at least `gpm` for a while."""

    start_min: float
    gpm: float
    minutes: float


@dataclass(frozen=True, slots=True)
class Room:
    """What one portable tank adds once it stands ready."""

    ready_min: float
    active_gal: float
    """Room above the dead water."""
    dead_gal: float
    """Water that stays under the strainer."""


@dataclass(frozen=True, slots=True)
class DemandStep:
    """From `start_min` until the next step the fire takes `gpm`."""

    start_min: float
    gpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One timeline question. Defaults are those of a case in which nothing else limits."""

    tankers: tuple[Tanker, ...]
    attack_arrival_min: float
    booster_gal: float
    dump_engine_arrival_min: float
    """Of the engine that drafts at the dump site, the attack engine where it does both; `NEVER`: none."""
    fill_engine_arrival_min: float | None
    """At the fill site. None: the site needs no engine, the first tanker there opens it. `NEVER`: none comes."""
    required_gpm: float
    required_min: float
    required_gal: float = math.nan
    """The method's own total; NaN: not asked."""
    attack_gpm: float = 150.0
    attack_setup_min: float = 2.0
    full_flow_after_min: float = 15.0
    dump_setup_min: float = 5.0
    tank_setup_min: float = 3.0
    fill_setup_min: float = 5.0
    positions: int = 1
    dump_places: int = 1
    site_gpm: float = math.inf
    storage_gal: float = math.inf
    """inf: not known to be limited."""
    refill_gpm: float = 0.0
    second_engine_arrival_min: float | None = NEVER
    """Of the engine at a second fill site; this and what follows count where a tanker has `second_site`."""
    second_setup_min: float = 5.0
    second_positions: int = 1
    second_site_gpm: float = math.inf
    second_storage_gal: float = math.inf
    second_refill_gpm: float = 0.0
    room_fraction: float = 1.0
    dead_fraction: float = 0.0
    """Share of the nominal size under the strainer."""
    draft_gpm: float = math.inf
    supply_gpm: float = math.inf
    hose_ready_min: float = 0.0
    """From when a tanker can nurse: hose from there to the attack engine is on scene; `NEVER`: none that reaches."""
    other_tanks: tuple[PortableTank, ...] = ()
    surge: Surge | None = None

    @property
    def first_water_min(self) -> float:
        """Attack engine's arrival and set-up."""
        return self.attack_arrival_min + self.attack_setup_min

    @property
    def full_flow_min(self) -> float:
        """F: the minute from which the required flow must hold; never before first water."""
        return max(self.attack_arrival_min + self.full_flow_after_min, self.first_water_min)

    @property
    def end_min(self) -> float:
        """F + required_min, where the account closes."""
        return self.full_flow_min + self.required_min

    @property
    def line_gpm(self) -> float:
        """Most that reaches the attack engine out of the portable tanks."""
        return min(self.draft_gpm, self.supply_gpm)

    @property
    def order(self) -> tuple[Tanker, ...]:
        """Tankers that come, by unit_id, which breaks every tie."""
        return tuple(sorted((t for t in self.tankers if t.arrival_min < NEVER), key=lambda t: t.unit_id))

    @property
    def fill_sites(self) -> tuple[FillEnd, ...]:
        """The fill site, and the second one where a tanker that comes fills there."""
        first = FillEnd(
            self.fill_engine_arrival_min, self.fill_setup_min, self.positions, self.site_gpm, self.storage_gal,
            self.refill_gpm,
        )  # fmt: skip
        if not any(tanker.second_site for tanker in self.order):
            return (first,)
        second = FillEnd(
            self.second_engine_arrival_min, self.second_setup_min, self.second_positions, self.second_site_gpm,
            self.second_storage_gal, self.second_refill_gpm,
        )  # fmt: skip
        return first, second

    @property
    def dump_ready_min(self) -> float:
        """The later of first portable tank and drafting engine on scene, and the set-up; `NEVER`: no dump site."""
        return max(self._tanks()[0][0], self.dump_engine_arrival_min) + self.dump_setup_min

    def _tanks(self) -> list[tuple[float, float]]:
        """List (arrival, nominal gal) of the portable tanks, first to arrive first; one that never comes if none."""
        carried = [(t.arrival_min, t.portable_gal) for t in self.order]
        carried += [(t.arrival_min, t.nominal_gal) for t in self.other_tanks]
        first_to_last = sorted((tank for tank in carried if tank[1] > 0), key=lambda tank: tank[0])
        return first_to_last or [(NEVER, 0.0)]

    def rooms(self) -> tuple[Room, ...]:
        """Say when each portable tank stands ready and what it holds, by arrival."""
        rooms = []
        for rank, (arrival_min, nominal_gal) in enumerate(self._tanks()):
            ready_min = self.dump_ready_min if rank == 0 else arrival_min + self.tank_setup_min
            dead_gal = self.dead_fraction * nominal_gal
            rooms.append(Room(ready_min, max(self.room_fraction * nominal_gal - dead_gal, 0.0), dead_gal))
        return tuple(rooms)

    def nurse(self) -> Tanker | None:
        """Name the tanker that nurses: the first with a pump, if the booster tank would run dry too soon."""
        pumpers = [t for t in self.order if t.has_pump]
        if not pumpers or not self.attack_arrival_min < NEVER:
            return None
        first = min(pumpers, key=lambda t: t.arrival_min)
        ready_min = self.dump_ready_min
        if self.nursing_from_min(first) >= ready_min or self._booster_dry_min() >= ready_min:
            return None
        return first

    def nursing_from_min(self, tanker: Tanker) -> float:
        """Say from when a tanker can nurse: it is there, and the hose to the attack engine."""
        return max(tanker.arrival_min, self.hose_ready_min)

    def _booster_dry_min(self) -> float:
        """Minute at which the booster tank alone would be empty under the demand without surge."""
        early_gal = self.attack_now_gpm * (self.full_flow_min - self.first_water_min)
        if self.booster_gal <= early_gal:
            return self.first_water_min + (self.booster_gal / self.attack_now_gpm if self.booster_gal > 0 else 0.0)
        if self.required_gpm <= 0:
            return NEVER
        return self.full_flow_min + (self.booster_gal - early_gal) / self.required_gpm

    @property
    def attack_now_gpm(self) -> float:
        """Attack flow, at most the required flow."""
        return min(self.attack_gpm, self.required_gpm)

    def demand(self, flow_gpm: float | None = None) -> tuple[DemandStep, ...]:
        """List the steps of demand: the case's own with its surge, or a constant flow from F on."""
        if flow_gpm is not None:
            steps = {self.first_water_min: self.attack_now_gpm, self.full_flow_min: flow_gpm}
        else:
            steps = {self.first_water_min: self.attack_now_gpm, self.full_flow_min: self.required_gpm}
            if self.surge is not None:
                steps = self._surged(self.surge)
        steps[self.end_min] = 0.0
        return tuple(DemandStep(minute, gpm) for minute, gpm in sorted(steps.items()) if minute <= self.end_min)

    def _surged(self, surge: Surge) -> dict[float, float]:
        """Lift the demand to the surge's flow while it lasts."""
        start_min = max(surge.start_min, self.first_water_min)
        stop_min = start_min + surge.minutes
        steps = {}
        for minute in (self.first_water_min, self.full_flow_min, start_min, stop_min):
            base = self.required_gpm if minute >= self.full_flow_min else self.attack_now_gpm
            steps[minute] = max(base, surge.gpm) if start_min <= minute < stop_min else base
        return steps
