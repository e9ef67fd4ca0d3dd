"""Turn restrictions as sequences of states that nobody may drive, and the states that must remember how they came.

A restriction through a node forbids one arc. One through ways forbids an arc only to those who came from its first
way: the states of its middle ways are split into copies, each of which stands for one way of having come. Who starts
on a middle way, as a tanker does that has dumped there, may have come from the first way: it holds for him too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from preplan.records import BoolArray, IntArray, RoadTable, TurnRestriction

EXEMPT = frozenset({"emergency", "hgv"})
"""Values of `except` that let a tanker turn where others may not (OpenStreetMap wiki, Relation:restriction)."""
MOST_STRETCHES = 60
"""A restriction over more stretches than this is taken for a fault of the map (this program's careful choice)."""

Sequence: TypeAlias = tuple[int, ...]
"""States driven one after another."""
START = -1
"""Stands, before the first state of a sequence, for who starts there; it is no state."""
Following: TypeAlias = Callable[[int], list[int]]
"""Gives the states that may follow a state."""


def binds(rule: TurnRestriction) -> bool:
    """Tell whether a restriction binds tankers at all times: no exemption, no condition, a kind that is known.

    >>> rule = TurnRestriction(relation_id=1, kind="no_left_turn", from_way=1, to_way=2, via_node=3)
    >>> binds(rule), trouble(rule)
    (True, '')
    """
    return EXEMPT.isdisjoint(rule.exempt) and not trouble(rule)


def trouble(rule: TurnRestriction) -> str:
    """Say why a restriction cannot be applied as it is written; '' where it can."""
    if "@" in rule.kind:
        return "holds at times only: tankers may be sent through it, check on the ground"
    if not rule.kind.startswith(("no_", "only_")):
        return "an unknown kind of turn restriction: not applied"
    if rule.via_node is None and not rule.via_ways:
        return "goes through no single node and no ways: tankers may be sent through it, check on the ground"
    return ""


@dataclass(frozen=True, slots=True)
class WaysThrough:
    """Finds the states that a restriction through ways is about."""

    roads: RoadTable
    following: Following

    def banned(self, restrictions: Iterable[TurnRestriction]) -> set[Sequence]:
        """List the sequences that the restrictions through ways forbid; those with two states forbid a single arc."""
        found: set[Sequence] = set()
        for rule in restrictions:
            if rule.via_node is None and rule.via_ways and binds(rule):
                paths = set(self.paths(rule))
                found |= self._besides(paths) if rule.kind.startswith("only_") else paths
        return found

    def paths(self, rule: TurnRestriction) -> Iterator[Sequence]:
        """Go from the first way through all middle ways into the last, by every state that does."""
        way_id, middle = self.roads.way_id, frozenset(rule.via_ways)
        begin = np.flatnonzero(way_id == rule.from_way)
        paths: list[Sequence] = [(state,) for row in begin.tolist() for state in (2 * row, 2 * row + 1)]
        while paths:
            path = paths.pop()
            seen = {state >> 1 for state in path}
            left = middle - {int(way_id[state >> 1]) for state in path[1:]}
            for state in self.following(path[-1]):
                way = int(way_id[state >> 1])
                if way == rule.to_way and not left:
                    yield (*path, state)
                elif way in middle and state >> 1 not in seen and len(path) < MOST_STRETCHES:
                    paths.append((*path, state))

    def _besides(self, paths: set[Sequence]) -> set[Sequence]:
        """List every way to leave the only paths that are allowed; without such a path nothing is forbidden."""
        allowed = {path[:count] for path in paths for count in range(1, len(path) + 1)}
        begun = allowed - paths
        return {(*path, state) for path in begun for state in self.following(path[-1])} - allowed


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """Arcs between search states: states of the roads first, then their copies."""

    base: IntArray
    """(search states,) state that each drives: itself, then the state of each copy."""
    plain: IntArray
    """(states,) search state entered by whoever comes from elsewhere; the state itself where it is not split."""
    arc_from: IntArray
    arc_to: IntArray
    arc: IntArray
    """Index of the arc each is made of."""


def unsplit(states: int, arc_from: IntArray, arc_to: IntArray) -> Split:
    """Keep the arcs as they are."""
    every = np.arange(states, dtype=np.int32)
    arc = np.arange(len(arc_from), dtype=np.int32)
    return Split(base=every, plain=every, arc_from=arc_from, arc_to=arc_to, arc=arc)


def split(is_open: BoolArray, arc_from: IntArray, arc_to: IntArray, banned: set[Sequence]) -> Split:
    """Take the banned sequences out of the arcs by copies of the states inside them.

    A state that is split has three kinds of search states: itself, which is left but never entered, for what
    starts there; a plain copy for those who come from elsewhere; and one copy for each begun sequence.
    """
    states = len(is_open)
    double = sorted({state for path in banned for state in path[1:-1]})
    plain = np.arange(states, dtype=np.int32)
    plain[double] = states + np.arange(len(double), dtype=np.int32)
    sources: dict[int, list[tuple[Sequence, int]]] = {path[0]: [((path[0],), path[0])] for path in sorted(banned)}
    for state in double:
        sources[state] = [((START, state), state), ((state,), int(plain[state]))]
    banned = banned | _from_the_middle(banned, is_open, arc_from, arc_to)
    own = {(START, state): state for state in double}
    begun = sorted({path[:count] for path in banned for count in range(2, len(path))} - own.keys())
    number = {path: states + len(double) + i for i, path in enumerate(begun)} | own
    for path in begun:
        sources[path[-1]].append((path, number[path]))
    touched: BoolArray = np.isin(arc_from, list(sources)) | np.isin(arc_to, double)
    made = [
        (start, number[after] if len(after) > 1 else int(plain[to]), arc)
        for arc in np.flatnonzero(touched).tolist()
        for to in [int(arc_to[arc])]
        for came, start in sources.get(int(arc_from[arc]), [((int(arc_from[arc]),), int(arc_from[arc]))])
        if (after := _after((*came, to), number, banned))
    ]
    new = np.array(made, dtype=np.int32).reshape(-1, 3)
    kept = np.flatnonzero(~touched).astype(np.int32)
    rows = np.concatenate([np.column_stack([arc_from[kept], arc_to[kept], kept]), new])
    rows = rows[np.lexsort((rows[:, 1], rows[:, 0]))].astype(np.int32)
    return Split(
        base=np.concatenate([np.arange(states), double, [path[-1] for path in begun]]).astype(np.int32),
        plain=plain,
        arc_from=rows[:, 0],
        arc_to=rows[:, 1],
        arc=rows[:, 2],
    )


def _from_the_middle(banned: set[Sequence], is_open: BoolArray, arc_from: IntArray, arc_to: IntArray) -> set[Sequence]:
    """List what is banned to who starts inside a banned sequence, as if he had come from its first state.

    Where that would leave a one-way street without any way on nobody can have come so, and he is free.
    """
    rests = {(START, *path[first:]) for path in banned for first in range(1, len(path) - 1)}
    shut = {}
    for state in {rest[1] for rest in rests}:
        ways_on = set(arc_to[arc_from == state].tolist())
        shut[state] = not is_open[state ^ 1] and all((START, state, to) in rests for to in ways_on)
    return {rest for rest in rests if not shut[rest[1]]}


def _after(came: Sequence, begun: dict[Sequence, int], banned: set[Sequence]) -> Sequence:
    """Give the longest begun sequence in which a drive ends, else its last state alone; () where it is banned."""
    tails = [came[first:] for first in range(len(came) - 1)]
    if not banned.isdisjoint(tails):
        return ()
    return next((tail for tail in tails if tail in begun), came[-1:])
