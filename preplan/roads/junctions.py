"""What is done at a junction, in a driver's words: how sharply a way turns there, and what else leaves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely

from preplan.plan_cards import Step
from preplan.records import BoolArray, FloatArray, IntArray, RoadLimits, RoadTable
from preplan.roads.projection import road_lines, road_projection
from preplan.roads.road_names import is_circle, is_named, same_road
from preplan.roads.way_access import bears_a_tanker, directions

STRAIGHT_DEG = 45.0
"""A smaller change of bearing is straight on, unless another road leaves straighter (this program's choice)."""
SURELY_STRAIGHT_DEG = 10.0
"""A change of bearing this small is straight on unless another road leaves as straight: then it is a fork."""
ALIKE_DEG = 10.0
"""Of two roads that leave to either side, neither by this much less straight, none is straight on (this program's
choice)."""
RIVAL_DEG = 20.0
"""On one road a bend is told as a turn if another road leaves no more than this much less straight."""
CORNER_DEG = 60.0
"""On one road a bend this sharp is told as a turn wherever another road leaves (this program's choice)."""
SHARP_DEG = 120.0
"""A change of bearing this large turns back on itself: a driver of a long vehicle wants to know before (this program's
choice)."""
BEARING_M = 25.0
"""Length of road from which its bearing at a junction is taken: bends right at a junction are drawn, not driven."""
HEADING_M = 50.0
"""Length of road from which the heading of a start is taken: some tens of metres (this program's choice)."""
HEADINGS = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")
STRAIGHT, ROUND, LEFT, RIGHT = "Straight on", "Turn round on", "Left on", "Right on"
SHARP = {LEFT: "Sharp left on", RIGHT: "Sharp right on"}
ROUNDABOUT = "Roundabout"
"""How the words for a roundabout begin."""
_NO_EXIT = frozenset({"service", "track"})
"""Values of `highway` that a driver does not count as exits of a roundabout (this program's choice)."""

_STILL_M = 0.1
"""A way this short has the heading of its road."""

Driven = tuple[int, bool]
"""A stretch, and whether it is driven from its `from_node`."""


@dataclass(frozen=True, slots=True)
class Turn:
    """What is done at a junction."""

    words: str
    said_on_same_road: bool = False
    """A turn worth a line even where the road keeps its name."""


class Part(NamedTuple):
    """Stretches of a way driven one after another that make one line of directions."""

    road: str
    turn: str
    first: int
    """Position of the first of them along the way."""
    beyond: int
    """Position behind the last."""


class Way(NamedTuple):
    """A way as it was told, to be told again to another end on its last stretch: its last step alone differs."""

    steps: tuple[Step, ...]
    last: tuple[Driven, ...]
    """Stretches of its last step, in the order driven: all from end to end but the last one."""


@dataclass(frozen=True, slots=True)
class Told:
    """What was said of some roads before, under one set of limits: the ways to many addresses share most of it."""

    limits: RoadLimits
    turns: dict[tuple[Driven, Driven], Turn] = field(default_factory=dict)
    notes: dict[tuple[tuple[Driven, ...], tuple[float, ...], bool], str] = field(default_factory=dict)
    """By stretches driven, the miles driven on each, and whether a way begins there."""
    parts: dict[tuple[Driven, ...], tuple[Part, ...]] = field(default_factory=dict)
    """By stretches driven: dump sites along one stretch share a way."""
    ways: dict[tuple[tuple[Driven, ...], float, str], Way] = field(default_factory=dict)
    """By stretches driven, place on the first one, and what stands there; those of one step are not kept."""


@dataclass(frozen=True, slots=True)
class Junctions:
    """The stretches that meet at each node and where they head, for walking by hand."""

    first: IntArray
    """One longer than the nodes."""
    stretch: IntArray
    leaving_deg: FloatArray
    """(segments, 2): bearing on leaving the `from_node` and on leaving the `to_node`, clockwise from north."""
    lines: npt.NDArray[np.object_]
    """(segments,) each stretch as a line, metres."""
    circle: BoolArray
    """(segments,) part of a roundabout."""
    road: BoolArray
    """(segments,) by its ground and kind a road for trucks, whatever shuts it."""
    kept: dict[int, Told] = field(default_factory=dict, repr=False, compare=False)

    def told(self, limits: RoadLimits) -> Told:
        """Give what was told under some limits; they are kept with it, so that no others take their place."""
        if id(limits) not in self.kept:
            self.kept[id(limits)] = Told(limits)
        return self.kept[id(limits)]

    @classmethod
    def of(cls, roads: RoadTable) -> Junctions:
        """Sort the ends of all stretches by node; build once, for many directions."""
        lines = road_lines(roads, road_projection(roads))
        nodes = np.concatenate([roads.from_node, roads.to_node])
        order = np.argsort(nodes, kind="stable")
        first = np.searchsorted(nodes[order], np.arange(len(roads.node_id) + 1))
        stretch = np.concatenate([np.arange(len(roads))] * 2)[order]
        circle = np.array([is_circle(roads, row) for row in range(len(roads))], dtype=np.bool_)
        bears = np.array([bears_a_tanker(tags) for tags in roads.way_tags], dtype=np.bool_)
        return cls(
            first=first.astype(np.int32),
            stretch=stretch.astype(np.int32),
            leaving_deg=_leaving_deg(lines),
            lines=lines,
            circle=circle,
            road=bears[roads.tag_row],
        )

    def seen(self, limits: RoadLimits, row: int) -> bool:
        """Tell whether a driver sees a road there that a truck could take: a closed one still leads on."""
        return bool(limits.tanker_road[row] or self.road[row])

    def at(self, node: int) -> list[int]:
        """List the stretches at a node, a loop twice."""
        found: list[int] = self.stretch[self.first[node] : self.first[node + 1]].tolist()
        return found

    def entering(self, row: int, *, forward: bool) -> float:
        """Give the bearing at the start of a stretch as driven, degrees."""
        return float(self.leaving_deg[row, 0 if forward else 1])

    def arriving(self, row: int, *, forward: bool) -> float:
        """Give the bearing at the end of a stretch as driven, degrees."""
        return float(self.leaving_deg[row, 1 if forward else 0]) + 180.0

    def change(self, before: Driven, after: Driven) -> float:
        """Give the change of bearing from one stretch driven to another, degrees, to the right positive."""
        came = self.arriving(before[0], forward=before[1])
        return _difference(self.entering(after[0], forward=after[1]), came)

    def bend(self, state: Driven) -> float:
        """Give the change of bearing from the start of a stretch to its end as driven, degrees, right positive."""
        row, forward = state
        return _difference(self.arriving(row, forward=forward), self.entering(row, forward=forward))

    def _place(self, state: Driven, share: float) -> shapely.Point:
        """Find a place on a stretch by the share of it that is driven up to there."""
        row, forward = state
        along = share if forward else 1.0 - share
        place: shapely.Point = shapely.line_interpolate_point(self.lines[row], along, normalized=True)
        return place

    def heading(
        self, states: Sequence[Driven], shares: Sequence[float], start: float, most_m: float = HEADING_M
    ) -> str:
        """Name the heading, of eight, of the first `HEADING_M` of a way, or of all of a shorter one.

        Parameters
        ----------
        states
            Stretches in the order driven, at least one.
        shares
            How much of each is driven.
        start
            Where the first is entered, as a share from where a driver comes from.
        most_m
            No more than so many metres count.
        """
        places, left_m, share = [self._place(states[0], start)], min(HEADING_M, most_m), start
        for state, driven in zip(states, shares, strict=True):
            length_m = float(shapely.length(self.lines[state[0]]))
            places.append(self._place(state, share + min(driven, left_m / max(length_m, _STILL_M))))
            left_m, share = left_m - driven * length_m, 0.0
            if left_m <= 0.0:
                break
        east, north = places[-1].x - places[0].x, places[-1].y - places[0].y
        still = np.hypot(east, north) < _STILL_M
        bearing = self.entering(states[0][0], forward=states[0][1]) if still else np.degrees(np.arctan2(east, north))
        return HEADINGS[round(float(bearing) / 45.0) % 8]


def opposite(heading: str) -> str:
    """Name the heading of one who comes from where another heads.

    >>> opposite("northeast")
    'southwest'
    """
    return HEADINGS[(HEADINGS.index(heading) + len(HEADINGS) // 2) % len(HEADINGS)]


def turn_into(roads: RoadTable, limits: RoadLimits, meeting: Junctions, before: Driven, after: Driven) -> Turn:
    """Put the turn from one stretch driven into the next into words."""
    turns = meeting.told(limits).turns
    if (before, after) not in turns:
        turns[before, after] = _turn(roads, limits, meeting, before, after)
    return turns[before, after]


def _turn(roads: RoadTable, limits: RoadLimits, meeting: Junctions, before: Driven, after: Driven) -> Turn:
    if before[0] == after[0] and before[1] != after[1]:
        return Turn(ROUND, said_on_same_road=True)
    angle, others = meeting.change(before, after), _others(roads, limits, meeting, before, after)
    rivals = [abs(other) for other in others.values()]
    straightest = all(rival >= abs(angle) for rival in rivals)
    if abs(angle) < SURELY_STRAIGHT_DEG or (abs(angle) < STRAIGHT_DEG and straightest):
        return _straight(roads, limits, before, angle, others)
    contested = any(rival <= abs(angle) + RIVAL_DEG for rival in rivals)
    # who comes up the stem of a T must turn, though his road goes on round the corner and the other leaves behind it
    corner = bool(rivals) and abs(angle) >= CORNER_DEG
    return Turn(_side(angle), said_on_same_road=contested or corner)


def _others(
    roads: RoadTable, limits: RoadLimits, meeting: Junctions, before: Driven, after: Driven
) -> dict[Driven, float]:
    """Give the changes of bearing into what else a driver sees leave, the other end of a loop too."""
    node = int((roads.from_node if after[1] else roads.to_node)[after[0]])
    return {
        (row, way): meeting.change(before, (row, way))
        for row in set(meeting.at(node)) - {before[0]}
        if meeting.seen(limits, row)
        for way, start in ((True, roads.from_node[row]), (False, roads.to_node[row]))
        if start == node and (row, way) != after
    }


def _straight(
    roads: RoadTable, limits: RoadLimits, before: Driven, angle: float, others: Mapping[Driven, float]
) -> Turn:
    """Say 'straight on', or at a fork the side: two roads both go straight where a ramp leaves, none at a Y."""
    slight = abs(angle) < SURELY_STRAIGHT_DEG
    rivals = {
        row: other
        for (row, way), other in others.items()
        if (abs(other) < SURELY_STRAIGHT_DEG if slight else other * angle < 0.0 and abs(other + angle) < ALIKE_DEG)
        and _may_enter(roads, limits, row)[0 if way else 1]
    }
    left, right = (any(beside(other, angle) for other in rivals.values()) for beside in (np.less, np.greater))
    if left == right:  # none, or one to either side
        return Turn(STRAIGHT)
    # a road that goes on past another one is no turn, but it is where both have one name or neither has any
    same = any(
        same_road(roads, before[0], row) or not (is_named(roads, before[0]) or is_named(roads, row)) for row in rivals
    )
    return Turn(RIGHT if left else LEFT, said_on_same_road=same)


def _side(angle: float) -> str:
    """Put a change of bearing that is no straight one into words, degrees, to the right positive."""
    words = RIGHT if angle > 0.0 else LEFT
    return SHARP[words] if abs(angle) >= SHARP_DEG else words


def turn_across(meeting: Junctions, states: Sequence[Driven]) -> str:
    """Put the bend of a way over a short link, from the stretch before it into the one after, into words.

    Bends are added up along the way: the bearings of both ends alone take a hairpin to the right for one to the left.
    """
    angle = sum(meeting.change(*pair) for pair in pairwise(states)) + sum(map(meeting.bend, states[1:-1]))
    if abs(angle) < STRAIGHT_DEG:
        return STRAIGHT
    return _side(angle)


def exit_words(roads: RoadTable, limits: RoadLimits, meeting: Junctions, circle: Sequence[Driven]) -> str:
    """Say which exit of a roundabout is taken, from the stretches driven on it: every road passed that leads out."""
    exits = sum(_leads_out(roads, limits, meeting, one) for one in circle[:-1]) + 1
    return f"{ROUNDABOUT} exit {exits}:"


def _leads_out(roads: RoadTable, limits: RoadLimits, meeting: Junctions, one: Driven) -> int:
    """Count the roads that lead out of a roundabout at the end of one of its stretches: a way in only is none.

    One that is closed is still there to be counted by a driver.
    """
    node = int((roads.to_node if one[1] else roads.from_node)[one[0]])
    found = 0
    for row in set(meeting.at(node)):
        if meeting.circle[row] or roads.highway[row] in _NO_EXIT:
            continue
        along, against = _may_enter(roads, limits, row)
        found += bool((along and roads.from_node[row] == node) or (against and roads.to_node[row] == node))
    return found


def _may_enter(roads: RoadTable, limits: RoadLimits, row: int) -> tuple[bool, bool]:
    """Tell whether a driver may enter a stretch along and against its direction; of a closed one, as it is mapped."""
    along, against = bool(limits.forward_open[row]), bool(limits.backward_open[row])
    return (along, against) if along or against else directions(roads.way_tags[roads.tag_row[row]])


def _leaving_deg(lines: npt.NDArray[np.object_]) -> FloatArray:
    """Give the bearings of every stretch away from its two ends, over its first `BEARING_M`: (segments, 2)."""
    length_m = shapely.length(lines)
    reach_m = np.minimum(length_m, BEARING_M)
    bearings = []
    for end_m, ahead_m in ((np.zeros(len(lines)), reach_m), (length_m, length_m - reach_m)):
        end, ahead = (shapely.line_interpolate_point(lines, at_m) for at_m in (end_m, ahead_m))
        east, north = (get(ahead) - get(end) for get in (shapely.get_x, shapely.get_y))
        bearings.append(np.degrees(np.arctan2(east, north)))
    return np.column_stack(bearings)


def _difference(bearing: float, other: float) -> float:
    """Give the change between bearings, -180 to 180 degrees, to the right positive."""
    return (bearing - other + 180.0) % 360.0 - 180.0
