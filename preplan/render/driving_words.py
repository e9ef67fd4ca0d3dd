"""Directions in plain words: a line a step."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from preplan.plan_cards import Step
from preplan.plan_tables import ONE_PLACE_FT
from preplan.render.words import printable, way_length
from preplan.units import FT_PER_MI

HERE_MI = 50.0 / FT_PER_MI
"""Who would drive on by less turns where he stands: a tanker is some 30 ft long."""


@lru_cache(maxsize=4096)
def step_words(step: Step) -> str:
    """Say one line of directions.

    >>> step_words(Step(road="Mill Road", miles=0.5, turn="Left on", note="dead end"))
    'Left on Mill Road, 0.50 mi (dead end)'
    >>> step_words(
    ...     Step(road="Elm Road", miles=1.9, turn="Turn round on", room="mapped", past="dump site", past_mi=0.04)
    ... )
    'Turn round on Elm Road, 210 ft past the dump site (mapped), then 1.90 mi'
    """
    said = f"{printable(step.turn)} {_road(step)}"
    if step.turns_round:
        far = "at" if step.past_mi < HERE_MI else f"{way_length(step.past_mi)} past"
        said += f", {far} the {step.past}" if step.past else ""
        said += f" ({step.room}), then {way_length(step.miles)}"
    else:
        said += f", {way_length(step.miles)}"
    return f"{said} ({printable(step.note)})" if step.note else said


def _road(step: Step) -> str:
    return printable(step.road) or "unnamed road"


def directions(steps: Sequence[Step]) -> list[tuple[str, str]]:
    """List directions, each step with its number: a turn has one number, on every list and map.

    Who turns round where he has dumped is not told to leave first; maps number the turns of loaded legs alone.

    >>> directions(
    ...     [Step(road="Elm Road", miles=0.002, turn="Leave the dump site north on"),
    ...      Step(road="Elm Road", miles=1.9, turn="Turn round on", room="mapped", past="dump site", past_mi=0.002)])
    [('1', 'Turn round on Elm Road, at the dump site (mapped), then 1.90 mi')]
    >>> directions([Step(road="Elm Road", miles=0.0, turn="Leave the fill site north on")])
    [('1', 'Nothing is driven: fill site and dump site are one place')]
    """
    if _nothing(steps):
        return [("1", "Nothing is driven: fill site and dump site are one place")]
    if len(steps) > 1 and steps[0].miles < HERE_MI and steps[1].past == "dump site" and not steps[0].note:
        steps = steps[1:]
    return [(str(number), step_words(step)) for number, step in enumerate(steps, 1)]


def _nothing(steps: Sequence[Step]) -> bool:
    """Tell whether a leg goes from a place to itself."""
    return len(steps) == 1 and steps[0].miles * FT_PER_MI < ONE_PLACE_FT


def drives_on(steps: Sequence[Step], *, at_dump: bool) -> bool:
    """Tell whether tankers leave the dump site as they came, and turn round nowhere on the empty leg."""
    return not at_dump and not _nothing(steps) and not any(step.turns_round for step in steps)


def turning_words(steps: Sequence[Step], *, at_dump: bool) -> str:
    """Say how tankers turn after dumping, from the steps of the empty leg; `at_dump`: they do so on the spot.

    >>> turning_words((), at_dump=True)
    'turn round here (room ASSUMED: check it)'
    >>> turning_words((), at_dump=False)
    'drive on: they do not turn round here'
    >>> turning_words(
    ...     [Step(road="Elm Road", miles=0.002, turn="Leave the dump site north on"),
    ...      Step(road="Elm Road", miles=1.9, turn="Turn round on", room="mapped", past="dump site", past_mi=0.002)],
    ...     at_dump=False)
    'turn round here (mapped)'
    >>> turning_words([Step(road="Elm Road", miles=0.0, turn="Leave the dump site north on")], at_dump=False)
    'stay where they fill: fill site and dump site are one place'
    """
    if _nothing(steps):
        return "stay where they fill: fill site and dump site are one place"
    if at_dump:
        return "turn round here (room ASSUMED: check it)"
    at = next((at for at, step in enumerate(steps) if step.turns_round), None)
    if at is None:
        return "drive on: they do not turn round here"
    step, miles = steps[at], sum(s.miles for s in steps[:at])
    if miles < HERE_MI:
        return f"turn round here ({step.room})"
    far = way_length(miles)
    if step.past:
        return f"drive on {far} and turn round there ({step.room})"
    return f"drive on and turn round on {_road(step)}, {far} from here ({step.room})"
