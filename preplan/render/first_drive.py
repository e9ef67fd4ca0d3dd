"""How units come from their stations, in words: a sentence for those that come one way."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from collections.abc import Set as AbstractSet
from itertools import groupby

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import Step, WayIn
from preplan.records import ALL_MONTHS
from preplan.render import words
from preplan.render.limit_places import far_words, shut_road

EVERY, WHOLE, MORE, ENDS, LAST = 99, 5, 4, 2, 1
"""Steps that are told, the last ones: who comes from afar asks for the end of the way. The others where a card has
little room: of the last road the heading alone (this program's choice)."""
BORDER = "BORDER CONTROL"
"""What a step notes where it passes one."""
_LEAVE, _STRAIGHT = "Leave the station ", "Straight "


def first_drives(
    plan: Plan, address: int, ways: Sequence[WayIn], most: int = WHOLE, told: Collection[int] = ALL_MONTHS
) -> list[str]:
    """Say by which last steps the units come, the first to arrive first; those whose ways end alike are told as one.

    All steps are told with their miles. `told` are the months that the page is told for.
    """
    alike: dict[object, tuple[str, list[WayIn]]] = {}
    for way in sorted(ways, key=lambda way: _soonest_min(plan, address, way)) if ways[1:] else ways:
        # of another way in some months the end says more than the last road, which may be that of the first
        end = _end(way, max(most, ENDS) if way.months else most) + _past(way) + _not_then(plan, address, way, told)
        key = id(way) if most == WHOLE else (end, way.site, way.months)
        alike.setdefault(key, (end, []))[1].append(way)
    comes = sum(way.site < 0 for way in ways if not way.months)
    every = "all" if comes == sum(not way.months for way in ways) else "all others"
    return [
        _said(plan, same, end, most, named=every if most == LAST and len(same) == comes else "")
        for end, same in alike.values()
    ]


def _past(way: WayIn) -> str:
    """Say that a way leads past a border control."""
    return f", past {BORDER}" if any(BORDER in step.note for step in way.steps) else ""


def unposted_words(plan: Plan, ways: Sequence[WayIn]) -> list[str]:
    """Name the units that drive over bridges without a posted weight, as a sentence; none where none does."""
    crosses = [way for way in ways if way.unposted_bridges]
    if not crosses:
        return []
    ids = [plan.units[unit].unit_id for unit in sorted({unit for way in crosses for unit in way.units})]
    named = "All" if len(crosses) == len(ways) else words.printable(" ".join(ids))
    return [f"{named} {'cross' if named == 'All' or len(ids) > 1 else 'crosses'} bridges with no weight posted."]


def bridge_words(plan: Plan, ways: Sequence[WayIn]) -> list[str]:
    """Say which units cross what hardly bears them, or what nothing is known of, a sentence each, the gravest first."""
    return [*tight_words(plan, ways), *unposted_words(plan, ways)]


def tight_words(plan: Plan, ways: Sequence[WayIn]) -> list[str]:
    """Say which units pass what hardly bears or fits them, or is not known to, a sentence each, the gravest first."""
    return [said for said, _ in tight_told(plan, ways)]


def tight_told(plan: Plan, ways: Sequence[WayIn]) -> list[tuple[str, str]]:
    """Give each of those sentences with the bridge or road that it is about."""
    by_limit: dict[tuple[bool, bool, str, str], list[str]] = {}
    unread: dict[tuple[str, str], list[str]] = {}
    tight = {tight for way in ways for tight in way.tight}
    for one in sorted(tight, key=lambda one: (not one.above, one)):
        unit, limit, road = plan.units[one.unit], words.printable(one.limit), words.printable(one.road)
        if one.unread:
            unread.setdefault((limit, road), []).append(words.printable(unit.unit_id))
            continue
        named = f"{words.printable(unit.unit_id)} ({one.size or f'{words.need(unit.loaded_lb)} lb'})"
        by_limit.setdefault((one.above, bool(one.size), limit, road), []).append(named)
    heads = {True: "ABOVE ITS RATING, ask the owner before", False: "NO MARGIN"}
    # several stretches of one road say the same
    said = [(f"{limit}: {' '.join(dict.fromkeys(units))}.", road) for (limit, road), units in unread.items()]
    return said + [
        (f"{heads[above]}: {', '.join(dict.fromkeys(units))} {'at' if size else 'over'} {limit}.", road)
        for (above, size, limit, road), units in by_limit.items()
    ]


def _not_then(plan: Plan, address: int, way: WayIn, told: Collection[int]) -> str:
    """Say in which months a way does not hold, of those that a page is told for, why, and how far off; '' in none."""
    months = [month for month in way.shut_months if month in told]
    if not months:
        return ""
    lon, lat = float(plan.frontages.lon[address]), float(plan.frontages.lat[address])
    far = far_words(plan, way.shut_stretches, lon, lat, "dump site")
    return f", NOT in {month_words(months)}: {shut_road(plan, way.shut_stretches)} then{far and f', {far}'}"


def _soonest_min(plan: Plan, address: int, way: WayIn) -> float:
    """Give when the first of the units that come one way is there."""
    arrival = plan.arrival_min[address] if way.site < 0 else plan.site_arrival_min[way.site]
    return min(float(arrival[unit]) for unit in way.units)


def _said(plan: Plan, ways: Sequence[WayIn], end: str, most: int, *, named: str) -> str:
    """Say one way, or the end of several; `named` stands for the units where nobody comes to the dump site else."""
    one = ways[0]
    ids = words.printable(" ".join(plan.units[unit].unit_id for way in ways for unit in way.units))
    who = named or ids if one.site < 0 else f"{ids} to fill site {one.site + 1}"
    far = f", {words.miles(sum(step.miles for step in one.steps))}" if most == WHOLE else ""
    when = f" in {month_words(one.months)}" if one.months else ""
    return f"{who}{when}{far}{' ' if most == LAST and not one.months else ': '}{end}"


def _end(way: WayIn, most: int) -> str:
    """Say the last steps of a way, one a road, and the heading on arrival; straight on is a step of whole ways alone.

    >>> mill = Step(road="Mill Road", miles=1.0, turn="Leave the station north on")
    >>> main = Step(road="Main Street", miles=1.0, turn="Straight on")
    >>> elm = Step(road="Elm Road", miles=2.0, turn="Left on")
    >>> way = WayIn(station=0, units=(0,), site=-1, steps=(mill, mill, main, elm, elm), heading="west")
    >>> _end(way, ENDS), _end(way, LAST)
    ('north on Mill Road, left on Elm Road, heading west', 'heading west on Elm Road')
    """
    if most == LAST:
        return f"heading {way.heading} on {_road(way.steps[-1])}"
    roads = [next(steps) for _, steps in groupby(way.steps, key=_road)]
    whole = most >= WHOLE
    turns = [step for step in roads[:-1] if whole or not step.turn.startswith(_STRAIGHT)] + [roads[-1]]
    told = [f"{_turn(step)} {_road(step)}" for step in turns[-most:]]
    return f"{'… ' * (len(turns) > most)}{', '.join(told)}, heading {way.heading}"


def _road(step: Step) -> str:
    return words.printable(step.road) or "unnamed road"


def _turn(step: Step) -> str:
    turn = words.printable(step.turn).removeprefix(_LEAVE)
    return turn[:1].lower() + turn[1:]


def facing_words(plan: Plan, ways: Sequence[WayIn], tankers: AbstractSet[int]) -> str:
    """Name the tankers that come to a dump site, past which the others drive on, from its other end; '' for none."""
    against = [way for way in ways if way.against and not way.months and tankers & {*way.units}]
    return " ".join(
        _facing(plan, those, tankers, returns=returns)
        for returns in (False, True)
        if (those := [way for way in against if way.returns is returns])
    )


def _facing(plan: Plan, against: Sequence[WayIn], tankers: AbstractSet[int], *, returns: bool) -> str:
    """Say of tankers from the other end whether they turn: who need not joins the empty way where it comes back."""
    ids = [plan.units[unit].unit_id for unit in sorted(tankers & {unit for way in against for unit in way.units})]
    heading = " or ".join(dict.fromkeys(way.heading for way in against))
    come, turn, drive = ("comes", "turns", "drives") if len(ids) == 1 else ("come", "turn", "drive")
    they = "it" if len(ids) == 1 else "they"
    then = (
        f"{drive} on that way; the empty way comes back past here"
        if returns
        else f"{they} alone {turn} round, once, before leaving to fill; then {drive} on as all do"
    )
    return f"{words.printable(' '.join(ids))} first {come} from the other end, heading {heading}: {then}."
