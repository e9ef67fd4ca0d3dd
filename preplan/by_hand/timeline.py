"""One shuttle by hand, minute by minute: first water, the flow that never fails, the gap, and who brings nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields, replace
from functools import cached_property
from textwrap import wrap
from typing import TYPE_CHECKING

from preplan.by_hand.options import LINE_LETTERS, as_json, cautions, labelled, table
from preplan.by_hand.shuttle import HandShuttle
from preplan.plan_tables import LEAST_GAP_MIN
from preplan.render.words import gallons, limit_words, minutes, need, number, supply
from preplan.water import timeline

if TYPE_CHECKING:
    from preplan.plan_cards import Strip

_TINY = 1e-9
MOST_LOADS = 1500
"""Loads in one account that are followed; no shuttle comes near it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fireground:
    """What is asked besides the circuit: who comes when with what, and what the fire demands."""

    names: tuple[str, ...]
    """Of each tanker."""
    arrive_min: tuple[float, ...]
    """Of each tanker, loaded, at the dump site."""
    demand_gpm: float
    attack_engine_min: float
    dump_engine_min: float
    fill_engine_min: float | None
    """At the fill site; None: a hydrant, which the first tanker there opens."""
    fill_setup_min: float
    booster_gal: float
    portable_gal: tuple[float, ...]
    """Nominal size of the portable tank that each tanker carries, 0: none."""
    with_pump: frozenset[int] = frozenset()
    """Numbers, from 1, of the tankers that can nurse."""
    total_gal: float = math.nan
    """Asked for the minute by which so much has arrived; NaN: not asked."""
    surge: timeline.Surge | None = None


class HandTimeline:
    """One shuttle by hand and its account."""

    def __init__(self, shuttle: HandShuttle, ground: Fireground) -> None:
        """Keep the steady answer and the question; the account is made when first asked for."""
        self.shuttle, self.ground = shuttle, ground
        self.names = ground.names

    @property
    def most_loads(self) -> float:
        """Bound the loads that can be dumped before the account closes."""
        return float((self.case.end_min / self.shuttle.cycle_min + 1.0).sum())

    @cached_property
    def case(self) -> timeline.Case:
        """Put the question as the timeline takes it."""
        circuit, rules, ground = self.shuttle.circuit, self.shuttle.circuit.rules, self.ground
        return timeline.Case(
            tankers=tuple(self._tanker(at) for at in range(len(self.names))),
            attack_arrival_min=ground.attack_engine_min, booster_gal=ground.booster_gal,
            dump_engine_arrival_min=ground.dump_engine_min, fill_engine_arrival_min=ground.fill_engine_min,
            required_gpm=ground.demand_gpm, required_min=circuit.required_min, required_gal=ground.total_gal,
            attack_gpm=rules.attack_gpm, attack_setup_min=rules.attack_setup_min,
            full_flow_after_min=rules.full_flow_after_min, dump_setup_min=rules.dump_setup_min,
            tank_setup_min=rules.tank_setup_min, fill_setup_min=ground.fill_setup_min, positions=circuit.positions,
            dump_places=rules.dump_places, site_gpm=circuit.site_gpm, storage_gal=circuit.storage_gal,
            refill_gpm=circuit.refill_gpm, room_fraction=rules.tank_room_fraction,
            dead_fraction=rules.dead_water_fraction, draft_gpm=circuit.draft_gpm, supply_gpm=circuit.supply_gpm,
            surge=ground.surge,
        )  # fmt: skip

    def _tanker(self, at: int) -> timeline.Tanker:
        circuit, rules = self.shuttle.circuit, self.shuttle.circuit.rules
        return timeline.Tanker(
            unit_id=self.names[at], arrival_min=self.ground.arrive_min[at],
            usable_gal=float(self.shuttle.own.usable_gal[at]), fill_gpm=float(self.shuttle.rate_gpm[at]),
            dump_gpm=float(self.shuttle.tankers.dump_gpm[at]), out_min=circuit.out_min, back_min=circuit.back_min,
            fill_hookup_min=rules.fill_hookup_min, dump_hookup_min=rules.dump_hookup_min,
            fill_maneuver_min=rules.fill_maneuver_min, dump_maneuver_min=rules.dump_maneuver_min,
            portable_gal=self.ground.portable_gal[at], has_pump=at + 1 in self.ground.with_pump,
        )  # fmt: skip

    @cached_property
    def found(self) -> timeline.Answer:
        """Give what is printed about the case."""
        return timeline.answer(self.case)

    @cached_property
    def limited_by(self) -> str:
        """Say what holds the uninterrupted flow."""
        return self.found.limited_by or self.shuttle.limited_by

    @cached_property
    def one_out_gpm(self) -> dict[str, float]:
        """Give the uninterrupted flow without each tanker."""
        return timeline.one_out_gpm(self.case)

    @property
    def meets(self) -> bool:
        """Tell whether the demand is met without a dry minute."""
        return self.found.uninterrupted_gpm >= self.ground.demand_gpm * (1.0 - _TINY)

    def strip(self) -> Strip:
        """Give the lines of the drawing, the attack engine's arrival among the tankers'."""
        drawn = timeline.strip(timeline.account(self.case))
        engine = (self.ground.attack_engine_min, "engine")
        return replace(drawn, arrivals=tuple(sorted([engine, *drawn.arrivals])))

    def title(self) -> str:
        """Say in one line what the drawing shows."""
        found = self.found
        gap = f"too little for {minutes(found.gap_min)} in all" if found.gap_min > 0 else "no gap"
        return (
            f"{need(self.ground.demand_gpm)} gpm asked for {number(self.case.required_min)} min; "
            f"{supply(found.uninterrupted_gpm)} gpm uninterrupted; {gap}"
        )

    # ------------------------------------------------------------------ for other programs

    def json(self, *, events: bool = False) -> str:
        """Write the steady answer and the account, unrounded."""
        return as_json({**self.shuttle.answer(), "timeline": self.answer(events=events)})

    def answer(self, *, events: bool) -> dict[str, object]:
        """Give the account for other programs."""
        found, case = self.found, self.case
        listed = {field.name: getattr(found, field.name) for field in fields(found)}
        listed |= {"limited_by": self.limited_by, "queueing": [asdict(one) for one in found.queueing]}
        del listed["events"]
        last, by_count = timeline.last_useful(case)
        best, left_out = timeline.best_flow(case)
        listed |= {
            "required_gpm": case.required_gpm, "required_min": case.required_min, "meets": self.meets,
            "full_flow_min": case.full_flow_min, "end_min": case.end_min,
            "one_out_gpm": self.one_out_gpm, "last_useful": last, "by_tankers_gpm": by_count,
            "left_out": left_out, "without_left_out_gpm": best.gpm,
        }  # fmt: skip
        if self.ground.surge is not None and self._looked_min(self.ground.surge) <= 0.0:
            listed["surge_min"] = None
        return listed | ({"events": [asdict(event) for event in found.events]} if events else {})

    # ------------------------------------------------------------------ for people

    def text(self, *, events: bool = False) -> str:
        """Write the steady answer and the account: supply rounded down, need up."""
        return "\n".join(
            [
                *self.shuttle.lines(), "", *self._account(), "", *self._tanker_table(),
                *(["", *self._event_table()] if events else []),
                "", *wrap(f"Used: {self.shuttle.used()}; {self._used()}.", LINE_LETTERS), *cautions(),
            ]
        )  # fmt: skip

    def _account(self) -> list[str]:
        found, case = self.found, self.case
        return [
            *labelled("First water", _first_water(found.first_water_min)),
            *labelled(
                "Ready", f"dump site {_at(found.dump_ready_min)}; fill site {_at(found.fill_ready_min)}"
            ),
            *labelled("Established", f"{_at(found.established_min)}: the first refilled load starts to dump"),
            *labelled(
                "Demand",
                f"{need(case.attack_now_gpm)} gpm from first water; {need(case.required_gpm)} gpm from minute "
                f"{number(case.full_flow_min, 1)} to {number(case.end_min, 1)}",
            ),
            *labelled("Water on scene", f"{gallons(found.on_scene_gal)} when the full demand begins"),
            *labelled("Uninterrupted", self._uninterrupted()),
            *labelled("Gap", self._gap()),
            *self._total(),
            *self._surge(),
            *labelled("More tankers", self._more()),
            *self._fewer(),
        ]  # fmt: skip

    def _uninterrupted(self) -> str:
        found, case = self.found, self.case
        tight = f", tightest at minute {number(found.tight_min, 1)}" if math.isfinite(found.tight_min) else ""
        return (
            f"{supply(found.uninterrupted_gpm)} gpm for {number(case.required_min)} min{tight}: "
            f"{'meets' if self.meets else 'does not meet'} the demand; limited by {limit_words(self.limited_by)}"
        )

    def _gap(self) -> str:
        found = self.found
        if not found.gap_stretches:
            return "none"
        stretches = "1 stretch" if found.gap_stretches == 1 else f"{found.gap_stretches} stretches"
        nothing = f"nothing flows for {_for_minutes(found.nothing_min)} of it; " if found.nothing_min > 0 else ""
        return (
            f"too little for {_for_minutes(found.gap_min)} in {stretches}, "
            f"first at minute {number(found.first_gap_min, 1)}, longest {_for_minutes(found.longest_gap_min)}; "
            f"{nothing}{need(found.short_gal)} gal of the demand not delivered"
        )

    def _total(self) -> list[str]:
        if math.isnan(self.ground.total_gal):
            return []
        total = f"{need(self.ground.total_gal)} gal"
        by_min = self.found.mws_by_min
        said = "have not arrived by the end" if math.isnan(by_min) else f"have arrived by minute {number(by_min, 1)}"
        return labelled("Total", f"{total} {said}")

    def _looked_min(self, surge: timeline.Surge) -> float:
        """Count the minutes of a surge before the account ends; 0: none."""
        looked_min = self.case.end_min - max(surge.start_min, self.case.first_water_min)
        return min(looked_min, surge.minutes) if looked_min > 0.0 else 0.0

    def _surge(self) -> list[str]:
        surge = self.ground.surge
        if surge is None:
            return []
        looked_min = self._looked_min(surge)
        if looked_min <= 0.0:
            held = "not looked at, the account ends before"
        else:
            held = f"held for {minutes(self.found.surge_min)} of {minutes(looked_min)}"
            held += f", then the account ends, {minutes(surge.minutes)} asked for" * (looked_min < surge.minutes)
        return labelled("Surge", f"{need(surge.gpm)} gpm from minute {number(surge.start_min, 1)}: {held}")

    def _more(self) -> str:
        last, flows = timeline.last_useful(self.case)
        by_count = f"the first 0, 1, ... by arrival hold {', '.join(map(supply, flows))} gpm"
        if not last:
            return f"none of them raises the uninterrupted flow: {by_count}"
        beyond = len(flows) - 1 - min(n for n, flow in enumerate(flows) if flow >= max(flows) * (1 - 1e-8))
        if not beyond:
            return f"each helps: {by_count}"
        return f"beyond {last} they bring nothing: {by_count}"

    def _fewer(self) -> list[str]:
        best, left_out = timeline.best_flow(self.case)
        if not left_out:
            return []
        flow, named = f"{supply(best.gpm)} gpm", ", ".join(left_out)
        if best.gpm > self.found.uninterrupted_gpm:
            return labelled("Leaving out", f"{named} raises the uninterrupted flow to {flow}")
        return labelled("Leaving out", f"{named} brings more water in all; {flow} uninterrupted")

    def _tanker_table(self) -> list[str]:
        """List each tanker's loads, its minutes in queues, and what is left without it."""
        arrive = dict(zip(self.names, self.ground.arrive_min, strict=True))
        rows = [
            (
                one.unit_id, number(arrive[one.unit_id], 1), str(one.loads), number(one.fill_wait_min, 1),
                number(one.dump_wait_min, 1), number(one.room_wait_min, 1), supply(self.one_out_gpm[one.unit_id]),
            )
            for one in self.found.queueing
        ]  # fmt: skip
        return table(
            ("tanker", "arrives", "loads", "min queued to fill", "to dump", "for room", "gpm without it"), rows
        )

    def _event_table(self) -> list[str]:
        """List what happens with every gallon; at each line what came in is what went out and what is there."""
        rows = [
            (
                number(e.minute, 1), e.unit_id, e.what, number(e.on_scene_gal), number(e.dumped_gal),
                number(e.delivered_gal), number(e.dead_gal),
            )
            for e in self.found.events
        ]  # fmt: skip
        last = self.found.events[-1]
        return [
            *table(("minute", "unit", "event", "on scene gal", "dumped gal", "delivered gal", "under strainer gal"),
                   rows, left=3),
            "",
            *labelled(
                "Every gallon",
                f"booster {number(self.case.booster_gal)} + dumped {number(last.dumped_gal)} = delivered "
                f"{number(last.delivered_gal)} + on scene {number(last.on_scene_gal)} + under the strainer "
                f"{number(last.dead_gal)}, at every line from the attack engine's arrival on",
            ),
        ]  # fmt: skip

    def _used(self) -> str:
        """Name every number of the fireground that went in, given or assumed."""
        rules, ground = self.shuttle.circuit.rules, self.ground
        fill = (
            f"hydrant, opened in {ground.fill_setup_min:g} min"
            if ground.fill_engine_min is None
            else f"fill engine minute {ground.fill_engine_min:g}, set-up {ground.fill_setup_min:g} min"
        )
        engine = f"attack engine minute {ground.attack_engine_min:g}, booster tank {ground.booster_gal:g} gal"
        tanks = f"portable tanks {_list(ground.portable_gal)} gal, each further one ready after"
        return "; ".join(
            [
                f"{engine}, set-up {rules.attack_setup_min:g} min",
                f"drafting engine minute {ground.dump_engine_min:g}, set-up {rules.dump_setup_min:g} min",
                fill,
                f"{tanks} {rules.tank_setup_min:g} min, usable room {rules.tank_room_fraction:g}",
                f"under the strainer {rules.dead_water_fraction:g}",
                f"full demand {rules.full_flow_after_min:g} min after the attack engine",
                f"can nurse: {_list(sorted(ground.with_pump)) or 'none'}",
            ]
        )


def _for_minutes(value: float) -> str:
    """Write how long something lasts; what rounds to nothing is not nothing."""
    return minutes(value) if value >= LEAST_GAP_MIN else "under 0.1 min"


def _first_water(minute: float) -> str:
    """Say when the booster tank gives the first water, or who does where there is none."""
    none = "not before a tanker brings it: the attack engine has no water"
    return f"{_at(minute)}, from the booster tank" if math.isfinite(minute) else none


def _at(minute: float) -> str:
    return f"minute {number(minute, 1)}" if math.isfinite(minute) else "never"


def _list(values: Sequence[float]) -> str:
    return ", ".join(f"{value:g}" for value in values)
