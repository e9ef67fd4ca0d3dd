"""Seasons of the roads: months in which tags and the district's closures do the same to every stretch.

A road that nobody ploughs, a spring posting, a closure of some months. Where nothing of the kind is there, all months
are one season and nothing is worked out twice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np

from preplan.records import Closure, FloatArray, Problem, RoadLimits, RoadTable
from preplan.roads import access
from preplan.roads.conditional import clauses
from preplan.roads.limit_pieces import gate_months
from preplan.roads.limits import limits_of
from preplan.roads.way_access import open_months
from preplan.rules import RoadRules

_LEAST = ("max_lb", "rated_lb", "max_axle_lb", "max_height_ft", "max_width_ft")
_EVER = ("forward_open", "backward_open", "tanker_road", "signed", "posted", "unposted_bridge", "narrow")


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadSeason:
    """Months in which the roads are alike."""

    months: frozenset[int]
    limits: RoadLimits


def road_seasons(
    roads: RoadTable,
    rules: RoadRules,
    closures: tuple[Closure, ...],
    months: frozenset[int],
    rated_lb: FloatArray | None = None,
) -> tuple[tuple[RoadSeason, ...], tuple[Problem, ...]]:
    """Read the limits of every season among the months planned for: the longest season first, and what is doubtful.

    `rated_lb` is as `limits_of` has it.

    Raises
    ------
    InputError
        As `limits_of` does.
    """
    told = frozenset(_told(roads, closures))
    alike: dict[tuple[bool, ...], set[int]] = {}
    for month in sorted(months):
        alike.setdefault(tuple(month in some for some in told), set()).add(month)
    found: list[RoadSeason] = []
    problems: dict[Problem, None] = {}
    for group in alike.values():
        limits, doubts = limits_of(roads, rules, closures, frozenset(group), rated_lb)
        problems |= dict.fromkeys(doubts)
        same = next((at for at, one in enumerate(found) if _equal(one.limits, limits)), None)
        if same is None:
            found.append(RoadSeason(months=frozenset(group), limits=limits))
        else:
            found[same] = replace(found[same], months=found[same].months | group)
    found.sort(key=lambda one: (-len(one.months), sorted(one.months)))
    return tuple(found), tuple(problems)


def all_year(seasons: tuple[RoadSeason, ...]) -> RoadLimits:
    """Sum up the seasons for what is the same all year: open where ever open, with the least limit of any season.

    Addresses and fill sites are placed with it and pages are drawn with it; nobody is routed over it.
    """
    first = seasons[0].limits
    if len(seasons) == 1:
        return first
    least = {name: np.min([getattr(one.limits, name) for one in seasons], axis=0) for name in _LEAST}
    ever = {name: np.any([getattr(one.limits, name) for one in seasons], axis=0) for name in _EVER}
    penalty_min = np.max([one.limits.penalty_min for one in seasons], axis=0)
    # Each closure once, by id: pages show those of some months too.
    closed = {one.closure.closure_id: one for season in seasons for one in season.limits.closed}
    told = tuple(closed[name] for name in sorted(closed))
    unread: dict[int, frozenset[str]] = {}
    for season in seasons:
        for row, kinds in season.limits.unread.items():
            unread[row] = unread.get(row, frozenset()) | kinds
    return replace(first, **least, **ever, penalty_min=penalty_min, unread=unread, closed=told)


def _told(roads: RoadTable, closures: tuple[Closure, ...]) -> Iterator[frozenset[int]]:
    """List the sets of months that anything about the roads names."""
    for tags in roads.way_tags:
        months = open_months(tags)
        if months is not None:
            yield months
    for tags in roads.node_tags.values():
        months = gate_months(tags)
        if months is not None:
            yield months
    for tags in (*roads.way_tags, *roads.node_tags.values()):
        for key in tags:
            if key in access.LIMIT_CONDITIONAL_KEYS:
                yield from (clause.months for clause in clauses(tags[key]))
            elif key in access.ACCESS_CONDITIONAL_KEYS:
                yield from (clause.months for clause in clauses(tags[key]) if clause.above)
    yield from (closure.months for closure in closures)


def _equal(one: RoadLimits, other: RoadLimits) -> bool:
    """Tell whether two seasons do the same to every vehicle, for the same closures."""
    if [each.closure for each in one.closed] != [each.closure for each in other.closed]:
        return False
    columns = [field.name for field in fields(RoadLimits) if field.name != "closed"]
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in columns)
