"""How units come from their stations, in words: a sentence for those that come one way."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from preplan.months import month_words
from preplan.plan import Plan, Step, WayIn
from preplan.render import words

EVERY, WHOLE, ENDS, LAST = 99, 5, 2, 1
"""Steps that are told, the last ones: who comes from afar asks for the end of the way. The others where a card has
little room: of the last road the heading alone (this program's choice)."""
_LEAVE, _STRAIGHT = "Leave the station ", "Straight "


def first_drives(plan: Plan, address: int, ways: Sequence[WayIn], most: int = WHOLE) -> list[str]:
    """Say by which last steps the units come, the first to arrive first; those whose ways end alike are told as one.

    All steps are told with their miles.
    """
    alike: dict[object, tuple[str, list[WayIn]]] = {}
    for way in sorted(ways, key=lambda way: _soonest_min(plan, address, way)) if ways[1:] else ways:
        end = _end(way, most)
        key = id(way) if most == WHOLE else (end, way.site, way.shut_months)
        alike.setdefault(key, (end, []))[1].append(way)
    comes = sum(way.site < 0 for way in ways)
    return [_said(plan, same, end, most, every=most == LAST and len(same) == comes) for end, same in alike.values()]


def _soonest_min(plan: Plan, address: int, way: WayIn) -> float:
    """Give when the first of the units that come one way is there."""
    arrival = plan.arrival_min[address] if way.site < 0 else plan.site_arrival_min[way.site]
    return min(float(arrival[unit]) for unit in way.units)


def _said(plan: Plan, ways: Sequence[WayIn], end: str, most: int, *, every: bool) -> str:
    """Say one way, or the end of several; `every`: no unit comes to the dump site another way."""
    one = ways[0]
    named = words.printable(" ".join(plan.units[unit].unit_id for way in ways for unit in way.units))
    if one.site >= 0:
        named += f" to fill site {one.site + 1}"
    elif every:
        named = "all"
    far = f", {words.miles(sum(step.miles for step in one.steps))}" if most == WHOLE else ""
    not_then = f", NOT in {month_words(one.shut_months)}: shut or posted" if one.shut_months else ""
    return f"{named}{far}{' ' if most == LAST else ': '}{end}{not_then}"


def _end(way: WayIn, most: int) -> str:
    """Say the last steps of a way, one a road, without those that lead straight on, and the heading on arrival.

    >>> mill = Step(road="Mill Road", miles=1.0, turn="Leave the station north on")
    >>> main = Step(road="Main Street", miles=1.0, turn="Straight on")
    >>> elm = Step(road="Elm Road", miles=2.0, turn="Left on")
    >>> way = WayIn(station=0, units=(0,), site=-1, steps=(mill, mill, main, elm, elm), heading="west")
    >>> _end(way, WHOLE), _end(way, LAST)
    ('north on Mill Road, left on Elm Road, heading west', 'heading west on Elm Road')
    """
    if most == LAST:
        return f"heading {way.heading} on {_road(way.steps[-1])}"
    roads = [next(steps) for _, steps in groupby(way.steps, key=_road)]
    turns = [step for step in roads[:-1] if not step.turn.startswith(_STRAIGHT)] + [roads[-1]]
    told = [f"{_turn(step)} {_road(step)}" for step in turns[-most:]]
    return f"{'… ' * (len(turns) > most)}{', '.join(told)}, heading {way.heading}"


def _road(step: Step) -> str:
    return words.printable(step.road) or "unnamed road"


def _turn(step: Step) -> str:
    turn = words.printable(step.turn).removeprefix(_LEAVE)
    return turn[:1].lower() + turn[1:]
