"""What a card says of the way: both legs of the round trip, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from preplan.render import words
from preplan.render.card_facts import ONE_WAY, Facts
from preplan.render.flag_words import ON_THE_WAY, flag_words, weight_warnings
from preplan.render.paper import BODY_PT, SMALL_PT, Line, paragraph

RunOn = tuple[bool, bool]
"""Whether the loaded leg, and the empty one, are told as one paragraph: else each step begins a line."""
BY_STEP: RunOn = (False, False)
RUN_ON: tuple[RunOn, ...] = (BY_STEP, (False, True), (True, True))
"""What a crowded card tries; the empty leg first: its driver has just come that way."""
LOADED, EMPTY = "LOADED, fill site to dump site", "EMPTY, back to the fill site"


def way(facts: Facts, width: float, run_on: RunOn = BY_STEP) -> list[Line]:
    """List directions out and back."""
    if facts.cell("trip") < 0:
        return why_not(facts, width)
    return [*out_leg(facts, width, run_on=run_on[0]), *back_leg(facts, width, run_on=run_on[1])]


def out_leg(facts: Facts, width: float, *, run_on: bool = False) -> list[Line]:
    """List the directions of the loaded leg."""
    trip, trips = facts.cell("trip"), facts.plan.trips
    length = f"{words.minutes(float(trips.out_min[trip]))}, {words.miles(float(trips.out_mi[trip]))}"
    warned = weight_warnings(facts.plan, facts.group, ON_THE_WAY, facts.circuit)
    return [*_leg(LOADED, facts.told(loaded=True, run_on=run_on), width, length, warned, run_on=run_on), Line("", 4.0)]


def back_leg(facts: Facts, width: float, *, run_on: bool = False) -> list[Line]:
    """List the directions of the empty leg; where it is the way back, that is said instead."""
    trip, trips = facts.cell("trip"), facts.plan.trips
    turns = trips.turn_at_dump[trip] or facts.plan.turns_at_site(trip)
    length = f"{words.minutes(float(trips.back_min[trip]))}{' with turning' * bool(turns)}, "
    length += words.miles(float(trips.back_mi[trip]))
    if facts.astray is None:
        return [*_leg(EMPTY, facts.told(loaded=False, run_on=run_on), width, length, run_on=run_on), Line("", 4.0)]
    other = [flag.value for flag in facts.flags if flag.code == ONE_WAY]
    said = _way_back(facts)
    said += f". One truck wide: loaded goes first, empties wait; or {words.printable(other[0])}." if other else "."
    lines = [Line(EMPTY, SMALL_PT, bold=True), Line(length, SMALL_PT)]
    return [*lines, *paragraph(said, width, SMALL_PT, bold=bool(other)), Line("", 4.0)]


def _way_back(facts: Facts) -> str:
    """Say how tankers leave the dump site for the way they came, and on which roads they stray from it."""
    first, *rest = facts.group.back_steps
    leave = f"{first.turn} {words.printable(first.road)}"
    for step in rest:
        if step.turns_round:
            leave += f", turn round {words.way_length(step.past_mi)} past the {step.past} ({step.room})"
    return f"{leave}: back the way you came{facts.astray}"


def _leg(
    head: str,
    steps: Sequence[str],
    width: float,
    length: str = "",
    warned: Sequence[str] = (),
    *,
    run_on: bool = False,
) -> list[Line]:
    """Write a leg below what the driver is warned of: step by step, or all steps in one paragraph."""
    told = [*([length] if length else []), *steps]
    lines = [Line(head, SMALL_PT, bold=True)]
    for warning in warned:
        lines += paragraph(warning, width, SMALL_PT, bold=True)
    for one in [f"{'. '.join(told)}."] if run_on else told:
        lines += paragraph(one, width, SMALL_PT, indent=9.0)
    return lines


def tells_all_turns(facts: Facts, run_on: RunOn) -> bool:
    """Tell whether every turn is told by itself."""
    legs = (facts.group.out_steps, () if facts.astray is not None else facts.group.back_steps)
    return not any(folded and any(s.keeps_on for s in steps) for steps, folded in zip(legs, run_on, strict=True))


def every_turn(facts: Facts, width: float) -> list[Line]:
    """List directions out and back, the way back too turn by turn."""
    lines = way(facts, width)
    if facts.cell("trip") >= 0 and facts.astray is not None:
        lines += [*_leg("EMPTY, turn by turn", facts.told(loaded=False, run_on=False), width), Line("", 4.0)]
    return lines


def why_not(facts: Facts, width: float) -> list[Line]:
    """Say what is known where there is no trip."""
    plan, lead = facts.plan, facts.lead
    lines = [Line("WHY THERE IS NO TRIP", SMALL_PT, bold=True)]
    for flag in facts.flags:
        lines += paragraph(flag_words(flag), width, BODY_PT, most=3)
    gap = float(plan.frontages.gap_ft[lead])
    if np.isfinite(gap) and not any(flag.code == "off road data" for flag in facts.flags):
        lines += paragraph(f"Nearest place on a road: {words.feet(gap)} from the point.", width)
    lines += paragraph(
        "Look on the ground for a road, drive, gate or bridge that the road data lacks, a nearer water, or another "
        "way to bring it; then correct the tables and plan again.",
        width,
    )
    return lines
