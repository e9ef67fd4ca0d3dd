"""Directions in plain words: a line a step, or forks of one road told together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from preplan.plan import Step
from preplan.render.words import printable, way_length


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
        said += f", {way_length(step.past_mi)} past the {step.past}" if step.past else ""
        said += f" ({step.room}), then {way_length(step.miles)}"
    else:
        said += f", {way_length(step.miles)}"
    return f"{said} ({printable(step.note)})" if step.note else said


def _road(step: Step) -> str:
    return printable(step.road) or "unnamed road"


def directions(steps: Sequence[Step], *, folded: bool = False) -> list[tuple[str, str]]:
    """List directions, each step with its number: a turn has one number, on the list and on the map.

    Where they are `folded`, forks at which one keeps on the same road are told with the road, which then has the
    numbers of them all.
    """
    parts: list[tuple[int, int]] = []
    for at, step in enumerate(steps):
        parts = [*parts[:-1], (parts[-1][0], at)] if folded and parts and step.keeps_on else [*parts, (at, at)]
    return [_line(steps, *part) for part in parts]


def _line(steps: Sequence[Step], first: int, last: int) -> tuple[str, str]:
    """Say a step and those after it that keep on its road."""
    if first == last:
        return str(first + 1), step_words(steps[first])
    mine = steps[first : last + 1]
    forks = f"keep on it at {last - first} fork{'s' * (last - first > 1)}"
    notes = "; ".join(filter(None, (forks, _notes(mine))))
    return f"{first + 1} to {last + 1}", step_words(replace(mine[0], miles=sum(s.miles for s in mine), note=notes))


def _notes(steps: Sequence[Step]) -> str:
    """Gather what to watch for along some steps: each once, with how often."""
    told = [part for step in steps for part in printable(step.note).split("; ") if part]
    return "; ".join(note if count == 1 else f"{count} times {note}" for note, count in Counter(told).items())


def turning_words(steps: Sequence[Step], *, at_dump: bool) -> str:
    """Say how tankers turn after dumping, from the steps of the empty leg; `at_dump`: they do so on the spot.

    >>> turning_words((), at_dump=True)
    'turn round here (room ASSUMED: check it)'
    >>> turning_words((), at_dump=False)
    'drive on: they do not turn round here'
    """
    if at_dump:
        return "turn round here (room ASSUMED: check it)"
    at = next((at for at, step in enumerate(steps) if step.turns_round), None)
    if at is None:
        return "drive on: they do not turn round here"
    step, far = steps[at], way_length(sum(s.miles for s in steps[:at]))
    if step.past:
        return f"drive on {far} and turn round there ({step.room})"
    return f"drive on and turn round on {_road(step)}, {far} from here ({step.room})"
