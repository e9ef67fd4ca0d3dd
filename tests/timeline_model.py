"""An independent model of the fireground, written from the definitions with SimPy: processes, places, one water.

It shares with the program only the record in which a case is written. Tankers are processes that wait for
places (SimPy resources) and for water to move; one process, `Water`, moves all water and is woken by
whatever changes a rate.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Generator
from dataclasses import dataclass, field
from typing import Any

import simpy

from preplan.water.timeline_case import Case, Tanker

DROP_GAL = 1e-6
Steps = Generator[Any, Any, None]


def _ask(places: simpy.PriorityResource, joined_min: float, unit_id: str = "") -> Any:
    """Stand in a queue: order of arrival, then unit_id. SimPy compares whatever it is given."""
    turn: Any = (round(joined_min, 6), unit_id)
    return places.request(priority=turn)


@dataclass
class Move:
    """Water on its way into or out of one tanker."""

    unit_id: str
    top_gpm: float
    left_gal: float
    done: simpy.Event
    started: bool = False
    gpm: float = 0.0


@dataclass
class FillEnd:
    """One fill site: its places, the engine that opens it, its water."""

    env: simpy.Environment
    engine_min: float | None
    setup_min: float
    count: int
    site_gpm: float
    storage_gal: float
    refill_gpm: float

    def __post_init__(self) -> None:
        """Stand full and shut."""
        self.ready = self.env.event()
        self.places = simpy.PriorityResource(self.env, self.count)
        self.filling: list[Move] = []
        self.source = self.storage_gal
        self.net = 0.0
        self.opened = False

    def set_rates(self) -> None:
        """Share what the site gives now."""
        left = self.site_gpm if self.source > DROP_GAL else min(self.site_gpm, self.refill_gpm)
        for move in self.filling:
            move.gpm = min(move.top_gpm, left)
            left -= move.gpm
        self.net = self.refill_gpm - sum(move.gpm for move in self.filling)
        if self.source >= self.storage_gal - DROP_GAL:
            self.net = min(self.net, 0.0)


@dataclass
class Model:
    """One case run through; the answers stand in its fields."""

    case: Case
    flow_gpm: float | None = None
    log: list[tuple[float, str, str]] = field(default_factory=list)
    dry_min: float = 0.0
    nothing_min: float = 0.0
    short_gal: float = 0.0
    delivered_gal: float = 0.0
    dumped_gal: float = 0.0
    under_strainer_gal: float = 0.0
    established_min: float = math.nan
    on_scene_at_full_gal: float = 0.0

    def __post_init__(self) -> None:
        """Set everything to minute 0."""
        case = self.case
        self.env = simpy.Environment()
        self.full_min = case.attack_arrival_min + max(case.full_flow_after_min, case.attack_setup_min)
        self.end_min = self.full_min + case.required_min
        self.booster = self.tanks = self.room = self.strainer_left = self.demand = 0.0
        self.ends = [
            FillEnd(self.env, case.fill_engine_arrival_min, case.fill_setup_min, case.positions, case.site_gpm,
                    case.storage_gal, case.refill_gpm),
            FillEnd(self.env, case.second_engine_arrival_min, case.second_setup_min, case.second_positions,
                    case.second_site_gpm, case.second_storage_gal, case.second_refill_gpm),
        ]  # fmt: skip
        self.pouring: list[Move] = []
        self.nursing: Move | None = None
        self.nurse_gpm = 0.0
        self.dump_ready = self.env.event()
        self.dump_places = simpy.PriorityResource(self.env, case.dump_places)
        self.looked = 0.0  # minute up to which water has been moved
        self.sinking = self.coming = self.line = self.from_booster = self.given = 0.0
        self.waits_established: list[Move] = []

    # ------------------------------------------------------------------ what is known at minute 0

    def tank_list(self) -> list[tuple[float, float]]:
        """List (arrival, nominal gal) of the portable tanks that come."""
        own = [(t.arrival_min, t.portable_gal) for t in self.case.tankers if t.portable_gal > 0]
        own += [(t.arrival_min, t.nominal_gal) for t in self.case.other_tanks]
        return sorted((t for t in own if math.isfinite(t[0])), key=lambda t: t[0])

    def dump_site_min(self) -> float:
        """Say when the dump site is ready."""
        tanks = self.tank_list()
        if not tanks:
            return math.inf
        return max(tanks[0][0], self.case.dump_engine_arrival_min) + self.case.dump_setup_min

    def nurse(self) -> Tanker | None:
        """Name the tanker that nurses."""
        case = self.case
        with_pump = [t for t in case.tankers if t.has_pump and math.isfinite(t.arrival_min)]
        if not with_pump:
            return None
        first = min(with_pump, key=lambda t: (t.arrival_min, t.unit_id))
        left, minute = case.booster_gal, case.attack_arrival_min + case.attack_setup_min
        attack = min(case.attack_gpm, case.required_gpm)
        if left > attack * (self.full_min - minute):
            minute = self.full_min + (left - attack * (self.full_min - minute)) / case.required_gpm
        else:
            minute += left / attack
        ready = self.dump_site_min()
        return first if minute < ready and max(first.arrival_min, case.hose_ready_min) < ready else None

    # ------------------------------------------------------------------ people

    def at(self, minute: float) -> simpy.Event:
        """Wait until a minute."""
        return self.env.timeout(max(minute - self.env.now, 0.0))

    def note(self, unit_id: str, what: str) -> None:
        """Write the log."""
        self.log.append((self.env.now, unit_id, what))

    def clock(self, minute: float, change: Any) -> Steps:
        """Change something by the clock."""
        if math.isfinite(minute):
            yield self.at(minute)
            change()
            self.wake()

    def change(self, name: str, *, add: float = 0.0, to: float | None = None) -> Any:
        """Make a change of one amount."""

        def apply() -> None:
            self.integrate()
            setattr(self, name, getattr(self, name) + add if to is None else to)

        return apply

    def keep_shut(self, places: simpy.PriorityResource, ready: simpy.Event, count: int) -> Steps:
        """Hold every place until the site is ready."""
        held = [_ask(places, -1.0) for _ in range(count)]
        yield ready
        for request in held:
            places.release(request)

    def tanker(self, own: Tanker, *, nurses: bool) -> Steps:
        """Live the life of one tanker."""
        yield self.at(own.arrival_min)
        self.note(own.unit_id, "on scene")
        load, refilled = own.usable_gal, False
        place = self.env.process(self.get_dump_place(own))
        if nurses:
            load = yield from self.nurse_until_ready(own)
        if load > DROP_GAL:
            yield from self.dump(own, load, place, refilled=refilled)
        else:
            place.interrupt()
        while True:
            self.note(own.unit_id, "empty")
            yield self.env.timeout(own.back_min + own.fill_maneuver_min)
            yield from self.fill(own)
            yield self.env.timeout(own.out_min)
            place = self.env.process(self.get_dump_place(own))
            yield from self.dump(own, own.usable_gal, place, refilled=True)

    def get_dump_place(self, own: Tanker) -> Generator[Any, Any, Any]:
        """Maneuver and stand in the queue; a nurse stands in it while it nurses."""
        try:
            yield self.env.timeout(own.dump_maneuver_min)
        except simpy.Interrupt:
            return None
        request = _ask(self.dump_places, self.env.now, own.unit_id)
        try:
            yield request
        except simpy.Interrupt:
            request.cancel()
            return None
        return request

    def nurse_until_ready(self, own: Tanker) -> Generator[Any, Any, float]:
        """Feed the attack engine once the hose is there; return what is left."""
        yield self.at(self.case.hose_ready_min)
        self.note(own.unit_id, "nurses")
        self.nurse_gpm = own.pump_gpm
        move = Move(own.unit_id, math.inf, own.usable_gal, self.env.event())
        self.integrate()
        self.nursing = move
        self.wake()
        yield move.done | self.dump_ready
        self.integrate()
        self.nursing = None
        self.wake()
        return move.left_gal

    def dump(self, own: Tanker, load: float, place: simpy.Process, *, refilled: bool) -> Steps:
        """Wait for the place asked for, and dump."""
        request = yield place
        self.note(own.unit_id, "takes dump place")
        yield self.env.timeout(own.dump_hookup_min)
        move = Move(own.unit_id, own.dump_gpm, load, self.env.event())
        if refilled:
            self.waits_established.append(move)
        self.begin(self.pouring, move)
        yield move.done
        self.dump_places.release(request)

    def fill(self, own: Tanker) -> Steps:
        """Wait for a place at the fill site, and fill."""
        end = self.ends[int(own.second_site)]
        self.note(own.unit_id, "at fill site")
        if end.engine_min is None and not end.opened:
            end.opened = True
            self.env.process(self.clock(self.env.now + end.setup_min, end.ready.succeed))
        with _ask(end.places, self.env.now, own.unit_id) as place:
            yield place
            self.note(own.unit_id, "takes fill place")
            yield self.env.timeout(own.fill_hookup_min)
            move = Move(own.unit_id, own.fill_gpm, own.usable_gal, self.env.event())
            self.begin(end.filling, move)
            yield move.done
            self.note(own.unit_id, "full")

    # ------------------------------------------------------------------ water

    def begin(self, moves: list[Move], move: Move) -> None:
        """Let one more load move."""
        self.integrate()
        moves.append(move)
        self.wake()

    def wake(self) -> None:
        """Call the mover of water."""
        if self.mover.is_alive and self.env.active_process is not self.mover:
            self.mover.interrupt()

    def set_rates(self) -> None:
        """Decide what flows from now on."""
        case = self.case
        nursed = min(self.demand, self.nurse_gpm) if self.nursing else 0.0
        want = min(self.demand - nursed, case.draft_gpm, case.supply_gpm)
        brim = self.strainer_left <= DROP_GAL and self.tanks >= self.room - DROP_GAL
        allowed = want if brim else math.inf
        for move in self.pouring:
            move.gpm = min(move.top_gpm, allowed)
            allowed -= move.gpm
        total = sum(move.gpm for move in self.pouring)
        self.sinking = total if self.strainer_left > DROP_GAL else 0.0
        self.coming = total - self.sinking
        self.line = want if self.tanks > DROP_GAL else min(want, self.coming)
        rest = self.demand - nursed - self.line
        self.from_booster = rest if self.booster > DROP_GAL else 0.0
        self.given = nursed + self.line + self.from_booster
        if self.nursing:
            self.nursing.gpm = nursed
        for end in self.ends:
            end.set_rates()
        for move in self.pouring:
            if move.gpm > 0 and not move.started:
                move.started = True
                self.note(move.unit_id, "dumps")
                if move in self.waits_established and math.isnan(self.established_min):
                    self.established_min = self.env.now

    def horizon(self) -> float:
        """Minutes until some amount runs out or some tank is full."""
        net = self.coming - self.line
        filling = [move for end in self.ends for move in end.filling]
        pairs = [(move.left_gal, move.gpm) for move in (*self.pouring, *filling)]
        pairs += [(self.nursing.left_gal, self.nursing.gpm)] if self.nursing else []
        pairs += [(self.tanks, -net), (self.room - self.tanks, net), (self.booster, self.from_booster)]
        pairs += [(self.strainer_left, self.sinking)]
        for end in self.ends:
            if math.isfinite(end.source):
                pairs += [(end.source, -end.net), (end.storage_gal - end.source, end.net)]
        return min((gal / gpm for gal, gpm in pairs if gal > DROP_GAL and gpm > 0), default=math.inf)

    def integrate(self) -> None:
        """Move the water since the last look."""
        minutes, self.looked = self.env.now - self.looked, self.env.now
        if minutes <= 0:
            return
        filling = [move for end in self.ends for move in end.filling]
        for move in (*self.pouring, *filling, *([self.nursing] if self.nursing else [])):
            move.left_gal -= move.gpm * minutes
        self.tanks = max(self.tanks + (self.coming - self.line) * minutes, 0.0)
        self.booster -= self.from_booster * minutes
        self.strainer_left -= self.sinking * minutes
        self.under_strainer_gal += self.sinking * minutes
        self.dumped_gal += (self.coming + self.sinking) * minutes
        self.dumped_gal += self.nursing.gpm * minutes if self.nursing else 0.0
        self.delivered_gal += self.given * minutes
        for end in self.ends:
            end.source = min(end.source + end.net * minutes, end.storage_gal)
        if self.demand - self.given > 1e-6 and minutes > 1e-9:
            self.dry_min += minutes
            self.short_gal += (self.demand - self.given) * minutes
            self.nothing_min += minutes if self.given < 1e-6 else 0.0

    def move_water(self) -> Steps:
        """Run for ever: set rates, wait until something runs out or somebody calls."""
        while True:
            self.set_rates()
            wait = self.horizon()
            with contextlib.suppress(simpy.Interrupt):
                yield self.env.timeout(wait) if math.isfinite(wait) else self.env.event()
            self.integrate()
            for moves in (self.pouring, *(end.filling for end in self.ends)):
                for move in [m for m in moves if m.left_gal <= DROP_GAL]:
                    moves.remove(move)
                    move.done.succeed()
            if self.nursing and self.nursing.left_gal <= DROP_GAL and not self.nursing.done.triggered:
                self.nursing.left_gal = 0.0
                self.nursing.done.succeed()
                self.nursing = None

    def run(self) -> Model:
        """Run to F + required_min."""
        if not math.isfinite(self.end_min):
            return self
        self.mover = self.env.process(self.move_water())
        self.prepare_ends()
        self.set_clocks()
        nurse = self.nurse()
        for own in sorted(self.case.tankers, key=lambda t: t.unit_id):
            if math.isfinite(own.arrival_min):
                self.env.process(self.tanker(own, nurses=own is nurse))
        self.env.run(until=self.end_min)
        self.integrate()
        return self

    def prepare_ends(self) -> None:
        """Keep the ends shut until they are ready."""
        case, env = self.case, self.env
        env.process(self.keep_shut(self.dump_places, self.dump_ready, case.dump_places))
        env.process(self.clock(self.dump_site_min(), self.dump_ready.succeed))
        for at, end in enumerate(self.ends):
            if not any(t.self_fill for t in case.tankers if t.second_site == bool(at)):
                env.process(self.keep_shut(end.places, end.ready, end.count))
            if end.engine_min is not None:
                env.process(self.clock(end.engine_min + end.setup_min, end.ready.succeed))

    def set_clocks(self) -> None:
        """Let the booster tank come, the demand change and the portable tanks be ready."""
        case = self.case
        first_water = case.attack_arrival_min + case.attack_setup_min
        attack = min(case.attack_gpm, case.required_gpm)
        required = case.required_gpm if self.flow_gpm is None else self.flow_gpm
        clocks = [
            (case.attack_arrival_min, self.change("booster", add=case.booster_gal)),
            (first_water, self.change("demand", to=attack)),
            (self.full_min, self.change("demand", to=required)),
            (self.full_min, self.look_at_full),
        ]
        for rank, (arrival, nominal) in enumerate(self.tank_list()):
            minute = self.dump_site_min() if rank == 0 else arrival + case.tank_setup_min
            dead = case.dead_fraction * nominal
            clocks.append((minute, self.change("room", add=case.room_fraction * nominal - dead)))
            clocks.append((minute, self.change("strainer_left", add=dead)))
        for minute, change in clocks:
            self.env.process(self.clock(minute, change))

    def look_at_full(self) -> None:
        """Read the levels at F."""
        self.integrate()
        self.on_scene_at_full_gal = self.booster + self.tanks
