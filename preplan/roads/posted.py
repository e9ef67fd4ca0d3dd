"""Posted weight, axle load, height and width of one way or node."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from preplan.records import ALL_MONTHS
from preplan.roads import access
from preplan.roads.conditional import clauses
from preplan.roads.measures import NO_LIMIT, UNREADABLE, Reading, length_ft, weight_lb

_AS_POSTED = "taken as posted, all the time: where the road bears more, give closures.csv a row with what it bears"

_STRICTEST = "its strictest value is taken to hold at every hour of the months it names, all year where it names none"


class Trouble(NamedTuple):
    """Something in the tags that a person should look at."""

    code: str
    key: str
    value: str
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Posted:
    """What is posted; inf where nothing is."""

    max_lb: float = NO_LIMIT
    max_axle_lb: float = NO_LIMIT
    max_height_ft: float = NO_LIMIT
    max_width_ft: float = NO_LIMIT
    weight_known: bool = False
    """A weight is posted, or the map says that none is."""
    unread: frozenset[str] = frozenset()
    """Of the limits above, those of which something is posted that cannot be read, such as `maxheight=low`."""
    troubles: tuple[Trouble, ...] = ()


def posted(tags: Mapping[str, str], bare_weight: str, months: frozenset[int] = ALL_MONTHS) -> Posted:
    """Read what is posted; of several keys and values of one kind the strictest counts.

    A value that holds at times only counts where it may hold in one of `months`.

    >>> posted({"maxweight": "3 st", "maxheight": "none"}, "stricter").max_lb
    6000.0
    >>> posted({"maxweight:conditional": "3 st @ (Mar-Apr)"}, "stricter", frozenset({7})).max_lb
    inf
    """
    if not any(key.startswith("max") or key.endswith(access.CONDITIONAL) for key in tags):
        return Posted()
    troubles: list[Trouble] = []
    unread: set[str] = set()

    def strictest(measure: str, keys: tuple[str, ...], read: Callable[[str], Reading]) -> Reading:
        readings = [_read(key, tags[key], read, troubles) for key in keys if key in tags]
        timed = [key + access.CONDITIONAL for key in keys if key + access.CONDITIONAL in tags]
        readings += [_read_timed(key, tags[key], read, months, troubles) for key in timed]
        readings += _barred_above(tags, measure, read, months, troubles)
        if any(one.problem == UNREADABLE for one in readings):
            unread.add(measure)
        least = min(readings, key=lambda one: one.value, default=Reading(NO_LIMIT, known=False))
        return least._replace(known=any(one.known for one in readings))

    weight = strictest("max_lb", access.WEIGHT_KEYS, lambda text: weight_lb(text, bare_weight))
    limits = Posted(
        max_lb=weight.value,
        max_axle_lb=strictest("max_axle_lb", access.AXLE_KEYS, lambda text: weight_lb(text, bare_weight)).value,
        max_height_ft=strictest("max_height_ft", access.HEIGHT_KEYS, length_ft).value,
        max_width_ft=strictest("max_width_ft", access.WIDTH_KEYS, length_ft).value,
        weight_known=weight.known,
    )
    troubles += [_unchecked(rule, tags[rule.key]) for rule in access.UNCHECKED_RULES if rule.key in tags]
    others = sorted(filter(access.is_other_limit, tags))
    unread.update(filter(None, map(access.unread_measure, others)))
    troubles += [
        Trouble("not checked", key, tags[key], "in a form that is not read: look at the sign") for key in others
    ]
    return replace(limits, troubles=tuple(troubles), unread=frozenset(unread))


def _read(key: str, text: str, read: Callable[[str], Reading], troubles: list[Trouble]) -> Reading:
    """Read one value, and note what is doubtful about it."""
    one = read(text)
    if one.problem:
        troubles.append(Trouble(one.problem, key, text, one.rule))
    if key in access.PAIR_KEYS:
        troubles.append(Trouble("pair of axles", key, text, "holds a single axle down; a pair is not weighed here"))
    return one


def _read_timed(
    key: str, text: str, read: Callable[[str], Reading], months: frozenset[int], troubles: list[Trouble]
) -> Reading:
    """Read a value that holds at times only: the strictest of those that may hold in the months."""
    parts = clauses(text)
    if not parts and "@" not in text and read(text).value < NO_LIMIT:
        troubles.append(Trouble("conditional", key, text, "names no condition: taken to hold all the time"))
        return _read(key, text, read, troubles)
    if not parts:
        troubles.append(Trouble(UNREADABLE, key, text, "limits nothing: look at the sign"))
        return Reading(NO_LIMIT, UNREADABLE, known=False)
    readings = [read(part.value) for part in parts if part.may_hold(months)]
    bad = next((one for one in readings if one.problem), None)
    if bad:
        troubles.append(Trouble(bad.problem, key, text, bad.rule))
    least = min(readings, key=lambda one: one.value, default=Reading(NO_LIMIT, known=False))
    if least.value < NO_LIMIT:
        troubles.append(Trouble("conditional", key, text, _STRICTEST))
    elif readings and not bad:
        troubles.append(Trouble("conditional", key, text, "an exemption: not used, what else is posted holds"))
    # an exemption says nothing about the road itself
    least = least if least.value < NO_LIMIT else least._replace(known=False)
    unread = any(one.problem == UNREADABLE for one in readings)
    return least._replace(problem=UNREADABLE) if unread else least


def _barred_above(
    tags: Mapping[str, str],
    measure: str,
    read: Callable[[str], Reading],
    months: frozenset[int],
    troubles: list[Trouble],
) -> list[Reading]:
    """Read the limits that signs against what is heavier, higher or wider set in the months."""
    found = []
    for key in access.ACCESS_CONDITIONAL_KEYS:
        said = [one for one in clauses(tags.get(key, "")) if one.value == "no" and one.may_hold(months)]
        for what, text in (above for one in said for above in one.above):
            if access.BARRED_ABOVE.get(what) != measure:
                continue
            # a ban on vehicles says nothing of what the road itself bears
            one = _read(key, text, read, troubles)._replace(known=False)
            found.append(one)
            if one.value < NO_LIMIT:
                troubles.append(Trouble("conditional", key, tags[key], _AS_POSTED))
    return found


def _unchecked(rule: access.Rule, text: str) -> Trouble:
    return Trouble("not checked", rule.key, text, f"{rule.reason}: look at the sign")
