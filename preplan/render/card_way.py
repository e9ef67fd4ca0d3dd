"""What a card says of the way: both legs of the round trip, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from preplan.render import words
from preplan.render.card_facts import FEW_STEPS, ONE_WAY, Facts
from preplan.render.driving_words import HERE_MI
from preplan.render.flag_words import A_ROAD, EMPTY_ONLY, ON_THE_WAY, flag_words
from preplan.render.limit_places import closed_on, far_words, shut_road, weight_warnings
from preplan.render.paper import BODY_PT, SMALL_PT, Line, paragraph
from preplan.render.scene import Plane, compass

LOADED, EMPTY = "LOADED, fill site to dump site", "EMPTY, back to the fill site"
NEVER_HALF = "Leave the dump site EMPTY, never half: with water left, KEEP OFF what is 'empty only'."
"""Stands before an empty leg over what a loaded tanker may not cross."""
ENDS, NONE = 2, 0
"""Steps of a long leg that stand on the card though the others stand behind it: the first and the last, or none."""


def way(facts: Facts, width: float) -> list[Line]:
    """List directions out and back, a line a step; without a trip say why there is none."""
    if facts.cell("trip") < 0:
        return why_not(facts, width)
    return [*out_leg(facts, width), *back_leg(facts, width)]


def ends_of_way(facts: Facts, width: float, *, out: int = ENDS, back: int = ENDS) -> list[Line]:
    """Give of both legs the first and the last step, or none, and say where the others stand."""
    head = paragraph(f"EVERY STEP, WITH A LARGE MAP: {words.NEXT_PAGE}", width, BODY_PT, bold=True)
    return [*head, Line("", 2.0), *out_leg(facts, width, out), *back_leg(facts, width, back)]


def steps(facts: Facts) -> int:
    """Count the steps that `way` lists."""
    if facts.cell("trip") < 0:
        return 0
    return len(facts.group.out_steps) + (len(facts.group.back_steps) if facts.astray is None else 0)


def is_long(facts: Facts) -> bool:
    """Tell whether `ends_of_way` is any shorter than `way`."""
    if facts.cell("trip") < 0:
        return False
    group = facts.group
    return max(len(group.out_steps), len(group.back_steps) if facts.astray is None else 0) > FEW_STEPS


def cuts_loaded(facts: Facts) -> bool:
    """Tell whether `ends_of_way` leaves out steps of the loaded leg."""
    return len(facts.group.out_steps) > FEW_STEPS


def out_leg(facts: Facts, width: float, most: int | None = None) -> list[Line]:
    """List the directions of the loaded leg, of a long one at `most` some, below what its driver is warned of."""
    trip, trips = facts.cell("trip"), facts.plan.trips
    length = f"{words.minutes(float(trips.out_min[trip]))}, {words.miles(float(trips.out_mi[trip]))}"
    lines = [Line(LOADED, SMALL_PT, bold=True)]
    warned = facts.once("warned", lambda: weight_warnings(facts.plan, facts.card_flags, ON_THE_WAY, facts.lead))
    for warning in warned:
        lines += paragraph(warning, width, SMALL_PT, bold=True)
    return [*lines, *_steps(facts.told(loaded=True), width, length, most), Line("", 4.0)]


def back_leg(facts: Facts, width: float, most: int | None = None) -> list[Line]:
    """List the directions of the empty leg, of a long one at `most` some; or say that it is the way back."""
    lines, length = [Line(EMPTY, SMALL_PT, bold=True)], _back_length(facts)
    if any(flag.code == EMPTY_ONLY for flag in facts.card_flags):
        lines += paragraph(NEVER_HALF, width, SMALL_PT, bold=True)
    if facts.astray is None:
        return [*lines, *_steps(facts.told(loaded=False), width, length, most), Line("", 4.0)]
    other = [flag.value for flag in facts.flags if flag.code == ONE_WAY]
    said = _way_back(facts)
    said += f". One truck wide: loaded goes first, empties wait; or {words.printable(other[0])}." if other else "."
    return [
        *lines,
        *paragraph(length, width, SMALL_PT),
        *paragraph(said, width, SMALL_PT, bold=bool(other)),
        Line("", 4.0),
    ]


def every_turn_back(facts: Facts, width: float) -> list[Line]:
    """List the directions of the empty leg turn by turn, though it may be the way back."""
    if facts.astray is None:
        return back_leg(facts, width)
    return [*back_leg(facts, width), *_steps(facts.told(loaded=False), width, "Turn by turn:"), Line("", 4.0)]


def _back_length(facts: Facts) -> str:
    trip, trips = facts.cell("trip"), facts.plan.trips
    turns = {"dump": facts.turns_by_dump, "fill": facts.plan.turns_at_site(trip)}
    at = " and ".join(end for end, turned in turns.items() if turned)
    minutes = f"{words.minutes(float(trips.back_min[trip]))}{f' with turning at the {at} site' if at else ''}"
    return f"{minutes}, {words.miles(float(trips.back_mi[trip]))}"


def _way_back(facts: Facts) -> str:
    """Say how tankers leave the dump site for the way they came, and on which roads they stray from it."""
    first, *rest = facts.group.back_steps
    leave = f"{first.turn} {words.printable(first.road)}"
    for step in rest:
        if step.turns_round and step.past_mi < HERE_MI:  # who turns where he stands leaves the way he came
            leave = f"Turn round at the {step.past} ({step.room})"
        elif step.turns_round:
            leave += f", turn round {words.way_length(step.past_mi)} past the {step.past} ({step.room})"
    return f"{leave}: back the way you came{facts.astray}"


def _steps(steps: Sequence[str], width: float, length: str, most: int | None = None) -> list[Line]:
    """Write a leg's length and its steps, each from a new line on; of a long one at `most` its `ENDS`, or `NONE`."""
    lines = paragraph(length, width, SMALL_PT)
    if most is None or (most and len(steps) <= FEW_STEPS):
        return [*lines, *(line for step in steps for line in paragraph(step, width, SMALL_PT, indent=9.0))]
    left = len(steps) - most
    behind = paragraph(f"… {left} step{'s' * (left != 1)}: {words.NEXT_PAGE} …", width, SMALL_PT, bold=True)
    if not most:
        return [*lines, *behind]
    first, last = (paragraph(step, width, SMALL_PT, indent=9.0) for step in (steps[0], steps[-1]))
    return [*lines, *first, *behind, *last]


def _where_shut(facts: Facts, shut: Sequence[int]) -> str:
    """Say how far a road that is shut is from the address; '' where that is not known."""
    plan, lead = facts.plan, facts.lead
    if int(plan.frontages.segment[lead]) in shut:
        return "The address stands on it."
    far = far_words(plan, shut, float(plan.addresses.lon[lead]), float(plan.addresses.lat[lead]), "address")
    return f"It is {far}." if far else ""


def near_road(facts: Facts) -> str:
    """Name the nearest road for tankers of an address off the roads, and where it is, as a sentence; '' on them."""
    plan, lead = facts.plan, facts.lead
    stretch = int(plan.frontages.near_segment[lead])
    if stretch < 0:
        return ""
    plane = Plane(float(plan.addresses.lon[lead]), float(plan.addresses.lat[lead]))
    line = shapely.LineString(plane.feet(*plan.line(stretch).T))
    ((east, north),) = shapely.get_coordinates(line.interpolate(line.project(shapely.Point(0.0, 0.0)))).tolist()
    road, (_, decimal) = words.road_words(plan, stretch), words.coordinates(*plane.degrees(east, north))
    named = road or "an unnamed road"
    return f"The nearest for tankers is {named}, {compass(east, north)} of the address, at {decimal}."


def why_not(facts: Facts, width: float) -> list[Line]:
    """Say what is known where there is no trip."""
    plan, lead = facts.plan, facts.lead
    lines = [Line("WHY THERE IS NO TRIP", SMALL_PT, bold=True)]
    for flag in facts.flags:
        shut = closed_on(plan, facts.group) if flag.code == "road closed" else []
        said = flag_words(flag, shut_road(plan, shut) if shut else A_ROAD)
        lines += paragraph(" ".join(filter(None, (said, _where_shut(facts, shut)))), width, BODY_PT, most=4)
    lines += paragraph(near_road(facts), width, BODY_PT)
    gap = float(plan.frontages.gap_ft[lead])
    if np.isfinite(gap) and not any(flag.code in ("off road data", "road closed") for flag in facts.flags):
        lines += paragraph(f"Nearest place on a road: {words.feet(gap)} from the point.", width)
    if facts.no_site_then:
        return [*lines, *paragraph("A fill site that is open then would serve it: see the table of fill sites.", width)]
    lines += paragraph(
        "Look on the ground for a road, drive, gate, bridge or landing that the road data lacks, a nearer water, or "
        "another way to bring it; then correct the tables and plan again.",
        width,
    )
    return lines
