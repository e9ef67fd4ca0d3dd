"""The plain timeline: every unit, queue and gallon from one event to the next.

At one instant leaving comes before arriving; a queue is served by order of arrival, then unit_id. This is
the reference: whatever is faster must equal it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from preplan.water.timeline_case import NEVER, Case, FillEnd, Tanker
from preplan.water.timeline_scene import Fireground, Flow, Source, Transfer

INSTANT_MIN = 1e-9
"""Two minutes nearer than this are one instant."""

COMING, AT_DUMP, DUMP_HOOKUP, POURING, BACK, AT_FILL, FILL_HOOKUP, FILLING, OUT, NURSING, AWAITS_HOSE = range(11)
"""What a tanker does; COMING to BACK belong to the dump end, the others to the fill end."""


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the event table."""

    minute: float
    unit_id: str
    """'' where the event is of the whole fireground."""
    what: str
    on_scene_gal: float
    dumped_gal: float
    """Nursed and dumped so far, dead water included."""
    delivered_gal: float
    dead_gal: float


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of time with constant rates."""

    start_min: float
    end_min: float
    on_scene_gal: float
    """At its start."""
    arrived_gal: float
    """At its start: booster tank, nursed and dumped above the dead water."""
    demand_gpm: float
    flow: Flow


@dataclass(slots=True)
class Truck:
    """A tanker on its rounds."""

    tanker: Tanker
    rank: int
    site: int
    """Fill site: index into `Case.fill_sites`."""
    doing: int = COMING
    due_min: float = NEVER
    """When what it does ends; NEVER where that depends on others."""
    joined_min: float = NEVER
    """When it joined the queue it stands in, or stood in last."""
    held_min: float = 0.0
    """When it got its place."""
    load: Transfer = field(default_factory=lambda: Transfer(0.0, 0.0))
    loads: int = 0
    """Loads it began to dump."""
    began: bool = False
    """The load in hand flows or has flowed."""
    refilled: bool = False
    """The load in hand is not the one it came with."""
    fill_wait_min: float = 0.0
    dump_wait_min: float = 0.0
    room_wait_min: float = 0.0
    """By how much full portable tanks slowed its dumping."""

    @property
    def turn(self) -> tuple[float, int]:
        """Its place in a queue: order of arrival, then unit_id."""
        return round(self.joined_min, 6), self.rank

    def fills_at(self, site: int) -> bool:
        """Tell whether water runs into it at a fill site."""
        return self.doing == FILLING and self.site == site


@dataclass(slots=True)
class Run:
    """One account from alerting to F + required_min. `flow_gpm` stands for the demand from F on, where given."""

    case: Case
    flow_gpm: float | None = None
    now_min: float = 0.0
    events: list[Event] = field(default_factory=list)
    pieces: list[Piece] = field(default_factory=list)
    established_min: float = math.nan

    ground: Fireground = field(init=False)
    sites: tuple[FillEnd, ...] = field(init=False)
    sources: tuple[Source, ...] = field(init=False)
    """One a fill site, as all that is told by site."""
    site_ready_min: list[float] = field(init=False)
    dumped_gal: float = field(init=False)
    demand_gpm: float = field(init=False)
    dump_ready_min: float = field(init=False)
    trucks: list[Truck] = field(init=False)
    nurse: Truck | None = field(init=False)
    marks: list[tuple[float, str, float]] = field(init=False)

    def __post_init__(self) -> None:
        """Set everything to minute 0."""
        case = self.case
        self.ground = Fireground(case)
        self.sites = case.fill_sites
        self.sources = tuple(Source(site) for site in self.sites)
        self.site_ready_min = [NEVER] * len(self.sources)
        self.dumped_gal = 0.0
        self.demand_gpm = 0.0
        self.dump_ready_min = case.dump_ready_min
        self.trucks = [Truck(t, rank, int(t.second_site), due_min=t.arrival_min) for rank, t in enumerate(case.order)]
        nurse = case.nurse()
        self.nurse = next((t for t in self.trucks if t.tanker is nurse), None)
        self.marks = self._marks()
        for at, site in enumerate(self.sites):
            if site.engine_arrival_min is not None:
                self._fill_site_from(at, site.engine_arrival_min)

    @property
    def fill_ready_min(self) -> float:
        """When the first fill site is ready; `NEVER`: not at all, or not yet."""
        return self.site_ready_min[0]

    def _marks(self) -> list[tuple[float, str, float]]:
        """List what happens by the clock alone: (minute, what, number)."""
        case = self.case
        marks = [(case.attack_arrival_min, "booster", case.booster_gal), (self.dump_ready_min, "dump site ready", 0.0)]
        marks += [(step.start_min, "demand", step.gpm) for step in case.demand(self.flow_gpm)]
        for room in case.rooms():
            marks += [(room.ready_min, "room", room.active_gal), (room.ready_min, "dead", room.dead_gal)]
        return sorted((mark for mark in marks if mark[0] < NEVER), key=lambda mark: mark[0])

    def _fill_site_from(self, site: int, arrival_min: float) -> None:
        ready_min = self.site_ready_min[site] = arrival_min + self.sites[site].setup_min
        what = "second fill site ready" if site else "fill site ready"
        if ready_min < NEVER:
            self.marks = sorted([*self.marks, (ready_min, what, 0.0)], key=lambda m: m[0])

    # ------------------------------------------------------------------ the clock

    def go(self) -> Run:
        """Run to the end."""
        end_min = self.case.end_min
        while end_min < NEVER:
            self._happen()
            if self.now_min >= end_min - INSTANT_MIN:
                break
            flow, filling = self._set_rates()
            self._pass(min(self._next_min(flow, filling), end_min), flow, filling)
        self._close()
        return self

    def _close(self) -> None:
        """Count the waits of those who still stand in a queue."""
        for truck in self.trucks:
            waited_min = max(self.now_min - truck.joined_min, 0.0)
            if truck.doing == AT_DUMP:
                truck.dump_wait_min += waited_min
            elif truck.doing == AT_FILL:
                truck.fill_wait_min += waited_min

    def _next_min(self, flow: Flow, filling_gpm: list[float]) -> float:
        """Find the next minute at which something happens, never before now."""
        dues = [
            min(truck.due_min, truck.load.end_min) if self._flows(truck) else truck.due_min for truck in self.trucks
        ]
        soonest = min(dues, default=NEVER)
        if self.marks:
            soonest = min(soonest, self.marks[0][0])
        change = self.ground.next_change_min(self.now_min, flow)
        for source, gpm in zip(self.sources, filling_gpm, strict=True):
            change = min(change, source.next_change_min(self.now_min, gpm))
        # A rest that flows within less than the clock can tell takes the least step, lest the clock stand still.
        change = max(change, math.nextafter(self.now_min, math.inf))
        return max(min(soonest, change), self.now_min)

    @staticmethod
    def _flows(truck: Truck) -> bool:
        return truck.doing in (POURING, FILLING, NURSING)

    def _pass(self, until_min: float, flow: Flow, filling_gpm: list[float]) -> None:
        """Let the water flow until the next event and keep the piece."""
        minutes = until_min - self.now_min
        if minutes > 0:
            ground = self.ground
            self.pieces.append(
                Piece(self.now_min, until_min, ground.on_scene_gal, ground.arrived_gal, self.demand_gpm, flow)
            )
            for truck in self.trucks:
                if truck.doing == POURING:
                    truck.room_wait_min += minutes * (1.0 - truck.load.gpm / truck.tanker.dump_gpm)
            ground.run(minutes, flow)
            for at, (source, gpm) in enumerate(zip(self.sources, filling_gpm, strict=True)):
                source.run(self.now_min, minutes, gpm, sum(t.tanker.fill_gpm for t in self.trucks if t.fills_at(at)))
            self.dumped_gal += (flow.nursed + flow.inflow + flow.dead) * minutes
        self.now_min = until_min

    def _note(self, unit_id: str, what: str) -> None:
        ground = self.ground
        self.events.append(
            Event(
                self.now_min, unit_id, what, ground.on_scene_gal, self.dumped_gal, ground.delivered_gal, ground.dead_gal
            )
        )

    # ------------------------------------------------------------------ what happens at one instant

    def _happen(self) -> None:
        """Let everything due happen: leaving, then the clock, then arriving, until nothing more is due."""
        while self._leave() or self._mark() or self._arrive() or self._start():
            pass

    def _due(self, minute: float) -> bool:
        return minute <= self.now_min + INSTANT_MIN

    def _leave(self) -> bool:
        """Send away who is empty or full."""
        gone = [t for t in self.trucks if self._flows(t) and self._due(t.load.end_min)]
        for truck in gone:
            own = truck.tanker
            if truck.doing == FILLING:
                self._note(own.unit_id, "full")
                truck.load, truck.refilled = Transfer(own.usable_gal, self.now_min), True
                truck.doing, truck.due_min = OUT, self.now_min + own.out_min + own.dump_maneuver_min
            else:
                self._note(own.unit_id, "empty")
                truck.doing, truck.due_min = BACK, self.now_min + own.back_min + own.fill_maneuver_min
        return bool(gone)

    def _mark(self) -> bool:
        """Do what the clock says."""
        if not self.marks or not self._due(self.marks[0][0]):
            return False
        _, what, number = self.marks.pop(0)
        ground = self.ground
        if what == "booster":
            ground.booster_gal += number
            ground.arrived_gal += number
            self._note("", "attack engine on scene")
        elif what == "demand":
            self._demand(number)
        elif what == "room":
            ground.active_gal += number
            self._note("", "portable tank ready")
        elif what == "dead":
            ground.dead_left_gal += number
        else:
            self._note("", what)
            if what == "dump site ready" and self.nurse is not None and self.nurse.doing in (NURSING, AWAITS_HOSE):
                self._end_nursing(self.nurse)
        return True

    def _demand(self, gpm: float) -> None:
        """Take up the next step of the demand."""
        case = self.case
        self.demand_gpm = gpm
        for minute, word in (
            (case.first_water_min, "first water"), (case.full_flow_min, "full flow"), (case.end_min, "end"),
        ):  # fmt: skip
            if abs(minute - self.now_min) <= INSTANT_MIN:
                self._note("", word)

    def _end_nursing(self, truck: Truck) -> None:
        """Let the nurse dump the rest: its turn is that of its arrival and maneuver, as if it had not nursed."""
        truck.load.set_rate(0.0, self.now_min)
        truck.doing = COMING
        truck.due_min = truck.tanker.arrival_min + truck.tanker.dump_maneuver_min
        self._note(truck.tanker.unit_id, "nursing ends")

    def _arrive(self) -> bool:
        """Let drives, maneuvers and hook-ups end; by order of arrival, then unit_id."""
        here = [t for t in self.trucks if self._due(t.due_min)]
        for truck in here:
            truck.due_min, came_min = NEVER, truck.due_min
            self._step(truck, came_min)
        return bool(here)

    def _step(self, truck: Truck, came_min: float) -> None:
        own = truck.tanker
        if truck.doing == COMING and truck.load.left_gal == 0:
            self._note(own.unit_id, "on scene")
            truck.load = Transfer(own.usable_gal, self.now_min)
            if truck is self.nurse:
                truck.doing, truck.due_min = AWAITS_HOSE, self.case.nursing_from_min(own)
            else:
                truck.due_min = came_min + own.dump_maneuver_min
        elif truck.doing == AWAITS_HOSE:
            truck.doing = NURSING
            self._note(own.unit_id, "nurses")
        elif truck.doing in (COMING, OUT):
            truck.doing, truck.joined_min = AT_DUMP, came_min
            if truck.loads or truck is self.nurse:
                self._note(own.unit_id, "at dump site")
        elif truck.doing == BACK:
            truck.doing, truck.joined_min = AT_FILL, came_min
            self._note(own.unit_id, "at fill site")
            opens = self.sites[truck.site].engine_arrival_min is None
            if opens and self.site_ready_min[truck.site] == NEVER:
                self._fill_site_from(truck.site, came_min)
        else:
            truck.doing = POURING if truck.doing == DUMP_HOOKUP else FILLING
            truck.began = False

    def _start(self) -> bool:
        """Give the first in each queue a free place."""
        return self._start_dump() or any(self._start_fill(site) for site in range(len(self.sources)))

    def _start_dump(self) -> bool:
        holders = sum(t.doing in (DUMP_HOOKUP, POURING) for t in self.trucks)
        if holders >= self.case.dump_places or not self._due(self.dump_ready_min):
            return False
        return self._first_takes([t for t in self.trucks if t.doing == AT_DUMP], dump=True)

    def _start_fill(self, site: int) -> bool:
        here = [t for t in self.trucks if t.site == site]
        if sum(t.doing in (FILL_HOOKUP, FILLING) for t in here) >= self.sites[site].positions:
            return False
        ready = self._due(self.site_ready_min[site])
        return self._first_takes([t for t in here if t.doing == AT_FILL and (ready or t.tanker.self_fill)], dump=False)

    def _first_takes(self, waiting: list[Truck], *, dump: bool) -> bool:
        if not waiting:
            return False
        self._take_place(min(waiting, key=lambda t: t.turn), dump=dump)
        return True

    def _take_place(self, truck: Truck, *, dump: bool) -> None:
        own = truck.tanker
        waited_min = max(self.now_min - truck.joined_min, 0.0)
        truck.held_min = self.now_min
        if dump:
            truck.dump_wait_min += waited_min
            truck.doing, hookup_min = DUMP_HOOKUP, own.dump_hookup_min
            self._note(own.unit_id, "takes dump place")
        else:
            truck.fill_wait_min += waited_min
            truck.doing, hookup_min = FILL_HOOKUP, own.fill_hookup_min
            truck.load = Transfer(own.usable_gal, self.now_min)
            self._note(own.unit_id, "takes fill place")
        truck.due_min = self.now_min + hookup_min

    # ------------------------------------------------------------------ rates until the next event

    def _in_turn(self, doing: int) -> Iterator[Truck]:
        """List those whose water moves, first hooked up first."""
        moving = [t for t in self.trucks if t.doing == doing]
        yield from sorted(moving, key=lambda t: (round(t.held_min + self._hookup_min(t), 6), t.turn))

    @staticmethod
    def _hookup_min(truck: Truck) -> float:
        return truck.tanker.dump_hookup_min if truck.doing == POURING else truck.tanker.fill_hookup_min

    def _set_rates(self) -> tuple[Flow, list[float]]:
        """Set every rate; say what flows at the fire and what leaves each source."""
        given = []
        for site, source in enumerate(self.sources):
            filling = [t for t in self._in_turn(FILLING) if t.fills_at(site)]
            fills = source.fills([t.tanker.fill_gpm for t in filling])
            for truck, gpm in zip(filling, fills, strict=True):
                truck.load.set_rate(gpm, self.now_min)
            given.append(sum(fills))
        nurse = self.nurse if self.nurse is not None and self.nurse.doing == NURSING else None
        pouring = list(self._in_turn(POURING))
        nursed = 0.0 if nurse is None else min(self.demand_gpm, nurse.tanker.pump_gpm)
        pours = self.ground.pours([t.tanker.dump_gpm for t in pouring], self.demand_gpm - nursed)
        if nurse is not None:
            nurse.load.set_rate(nursed, self.now_min)
        for truck, gpm in zip(pouring, pours, strict=True):
            truck.load.set_rate(gpm, self.now_min)
            if gpm > 0 and not truck.began:
                self._began_to_dump(truck)
        return self.ground.flow(sum(pours), self.demand_gpm, nursed), given

    def _began_to_dump(self, truck: Truck) -> None:
        truck.began = True
        truck.loads += 1
        self._note(truck.tanker.unit_id, "dumps")
        if truck.refilled and math.isnan(self.established_min):
            self.established_min = self.now_min
