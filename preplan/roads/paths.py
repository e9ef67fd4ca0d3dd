"""Road-by-road directions of a way that has been chosen, as a driver would be told them."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import shapely

from preplan.plan import Step
from preplan.records import BoolArray, FloatArray, IntArray, RoadLimits, RoadTable
from preplan.roads.projection import road_lines, road_projection
from preplan.units import M_PER_MI

STRAIGHT_DEG = 45.0
"""A smaller change of bearing is straight on, unless another road leaves straighter (this program's choice)."""
SURELY_STRAIGHT_DEG = 10.0
"""A change of bearing this small is straight on whatever else leaves."""
RIVAL_DEG = 20.0
"""On one road a bend is told as a turn if another road leaves no more than this much less straight."""
BEARING_M = 25.0
"""Length of road from which its bearing at a junction is taken: bends right at a junction are drawn, not driven."""
CROSS_STREET_MI = 1.0
"""A cross street farther along the road is none."""
NAMELESS_MI = 0.25
"""A nameless piece inside one road, up to this length, is that road."""
NOTED_SURFACES = {
    "gravel": "gravel", "fine_gravel": "gravel", "pebblestone": "gravel", "compacted": "gravel", "dirt": "dirt",
    "earth": "dirt", "ground": "dirt", "mud": "dirt", "sand": "sand", "unpaved": "unpaved", "grass": "grass",
}  # fmt: skip
"""Value of `surface` (OpenStreetMap wiki, Key:surface) to the word on the card."""
_UNNAMED = {"track": "unnamed track", "service": "unnamed service road"}
_UNPOSTED = re.compile(r"(?:(\d+) )?bridges?, limit not posted")
_MOST_NOTES = 3
_MOST_NAMES = 2
_START, _STRAIGHT, _ROUND = "Start on", "Straight on", "Turn round on"


@dataclass(frozen=True, slots=True)
class Junctions:
    """The stretches that meet at each node and where they head, for walking by hand."""

    first: IntArray
    """One longer than the nodes."""
    stretch: IntArray
    leaving_deg: FloatArray
    """(segments, 2): bearing on leaving the `from_node` and on leaving the `to_node`, clockwise from north."""

    @classmethod
    def of(cls, roads: RoadTable) -> Junctions:
        """Sort the ends of all stretches by node; build once, for many directions."""
        nodes = np.concatenate([roads.from_node, roads.to_node])
        order = np.argsort(nodes, kind="stable")
        first = np.searchsorted(nodes[order], np.arange(len(roads.node_id) + 1))
        stretch = np.concatenate([np.arange(len(roads))] * 2)[order]
        return cls(first.astype(np.int32), stretch.astype(np.int32), _leaving_deg(roads))

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


@dataclass(slots=True)
class _Piece:
    """Stretches driven one after another that make one line of directions."""

    road: str
    turn: str
    rows: list[int] = field(default_factory=list)
    miles: list[float] = field(default_factory=list)


def directions(
    roads: RoadTable,
    limits: RoadLimits,
    segments: IntArray,
    forward: BoolArray,
    start_fraction: float,
    end_fraction: float,
    *,
    junctions: Junctions | None = None,
) -> tuple[Step, ...]:
    """Tell a way in words: one step for each road, with its miles, the turn into it and what to watch for.

    Parameters
    ----------
    segments, forward
        Stretches in the order driven, shape (n,), and whether each is driven from its `from_node`.
    start_fraction, end_fraction
        Place of start on the first stretch and of the end on the last, as shares from their `from_node`.
    junctions
        Of the same roads, where they are at hand: saves building them again.

    Returns
    -------
    tuple[Step, ...]
        Bends of one road are no steps. Empty for an empty way.
    """
    if not len(segments):
        return ()
    meeting = Junctions.of(roads) if junctions is None else junctions
    states = list(zip(segments.tolist(), forward.tolist(), strict=True))
    labels = _labels(roads, [row for row, _ in states])
    miles = _miles(roads, states, start_fraction, end_fraction)
    pieces = [_Piece(labels[0], _START)]
    for position, (row, _) in enumerate(states):
        if position:
            turn = _turn(roads, limits, meeting, states[position - 1], states[position])
            if labels[position] != pieces[-1].road or turn.said_on_same_road:
                pieces.append(_Piece(labels[position], turn.words))
        pieces[-1].rows.append(row)
        pieces[-1].miles.append(miles[position])
    return tuple(
        Step(road=piece.road, miles=sum(piece.miles), turn=piece.turn, note=_note(roads, limits, piece))
        for piece in pieces
    )


def shorten(steps: Sequence[Step], most: int = 8) -> tuple[Step, ...]:
    """Merge the least steps into those before them until at most `most` lines are left.

    What a driver who simply goes on needs least goes first: straight continuations under a new name, then short
    roads. The first and the last step stay, and so do all notes; a name that changed is told, and every turn that is
    left out is counted.

    Parameters
    ----------
    steps
        In the order driven.
    most
        Lines, at least 2.
    """
    lines = list(steps)
    becomes: list[tuple[str, ...]] = [()] * len(lines)
    turns = [0] * len(lines)
    while len(lines) > max(most, 2):
        at = min(range(1, len(lines) - 1), key=lambda i: (_weight(lines[i]), lines[i].miles, i))
        gone, names, more = lines.pop(at), becomes.pop(at), turns.pop(at)
        before = lines[at - 1]
        lines[at - 1] = replace(before, miles=before.miles + gone.miles, note=_joined(before.note, gone.note))
        if gone.turn == _STRAIGHT:
            becomes[at - 1] += (gone.road, *names)
        turns[at - 1] += more + (gone.turn != _STRAIGHT)
    return tuple(
        replace(
            line, note=_joined(line.note, _renamed(names), f"and {more} more turn{'s' * (more > 1)}" if more else "")
        )
        for line, names, more in zip(lines, becomes, turns, strict=True)
    )


def cross_street(
    roads: RoadTable, limits: RoadLimits, segment: int, fraction: float, *, junctions: Junctions | None = None
) -> str:
    """Name the nearest other road that meets the road of a place, '' where none does within a mile.

    Both ways are walked along stretches of the same name; roads without name or number are no cross streets.
    """
    meeting = Junctions.of(roads) if junctions is None else junctions
    length_mi = float(roads.length_m[segment]) / M_PER_MI
    walks = (
        _first_crossing(roads, limits, meeting, segment, int(roads.from_node[segment]), fraction * length_mi),
        _first_crossing(roads, limits, meeting, segment, int(roads.to_node[segment]), (1.0 - fraction) * length_mi),
    )
    return min((walk for walk in walks if walk[1]), default=(0.0, ""))[1]


def road_label(roads: RoadTable, row: int) -> str:
    """Name a stretch as a driver knows it: its name, else its number, else 'unnamed road'."""
    named = roads.name[row] or roads.ref[row].replace(";", " / ")
    return str(named or _UNNAMED.get(roads.highway[row], "unnamed road"))


@dataclass(frozen=True, slots=True)
class _Turn:
    """What is done at a junction."""

    words: str
    said_on_same_road: bool
    """A turn worth a line even where the road keeps its name."""


def _turn(
    roads: RoadTable, limits: RoadLimits, meeting: Junctions, before: tuple[int, bool], after: tuple[int, bool]
) -> _Turn:
    """Put the turn from one stretch driven into the next into words."""
    if before[0] == after[0] and before[1] != after[1]:
        return _Turn(_ROUND, said_on_same_road=True)
    node = int((roads.from_node if after[1] else roads.to_node)[after[0]])
    came = meeting.arriving(before[0], forward=before[1])
    angle = _difference(meeting.entering(after[0], forward=after[1]), came)
    rivals = [
        abs(_difference(meeting.entering(row, forward=way), came))
        for row in set(meeting.at(node)) - {before[0], after[0]}
        if limits.tanker_road[row]
        for way, start in ((True, roads.from_node[row]), (False, roads.to_node[row]))
        if start == node
    ]
    straightest = all(rival >= abs(angle) for rival in rivals)
    if abs(angle) < SURELY_STRAIGHT_DEG or (abs(angle) < STRAIGHT_DEG and straightest):
        return _Turn(_STRAIGHT, said_on_same_road=False)
    contested = any(rival <= abs(angle) + RIVAL_DEG for rival in rivals)
    return _Turn("Right on" if angle > 0.0 else "Left on", said_on_same_road=contested)


def _leaving_deg(roads: RoadTable) -> FloatArray:
    """Give the bearings of every stretch away from its two ends, over its first `BEARING_M`: (segments, 2)."""
    lines = road_lines(roads, road_projection(roads))
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


def _labels(roads: RoadTable, rows: list[int]) -> list[str]:
    """Name the stretches driven; a nameless piece inside one road, such as its bridge, takes the road's name."""
    labels = [road_label(roads, row) for row in rows]
    named = [position for position, row in enumerate(rows) if roads.name[row] or roads.ref[row]]
    for before, after in pairwise(named):
        gap_mi = float(np.sum(roads.length_m[rows[before + 1 : after]])) / M_PER_MI
        if labels[before] == labels[after] and gap_mi <= NAMELESS_MI:
            labels[before:after] = [labels[before]] * (after - before)
    return labels


def _miles(roads: RoadTable, states: list[tuple[int, bool]], start: float, end: float) -> list[float]:
    """Give the miles driven on each stretch: the first from its start on, the last up to its end."""
    shares = [1.0] * len(states)
    if len(states) == 1:
        shares[0] = abs(end - start)
    else:
        shares[0] = 1.0 - start if states[0][1] else start
        shares[-1] = end if states[-1][1] else 1.0 - end
    return [share * float(roads.length_m[row]) / M_PER_MI for share, (row, _) in zip(shares, states, strict=True)]


def _note(roads: RoadTable, limits: RoadLimits, piece: _Piece) -> str:
    """Say what to watch for on a piece of road, the gravest first, three things at most."""
    rows = sorted(set(piece.rows))
    notes = [*_postings(roads, limits, rows)]
    unposted = int(np.sum(limits.unposted_bridge[rows]))
    if unposted:
        notes.append(_bridges(unposted))
    if np.any(limits.narrow[rows]):
        notes.append("one truck wide")
    notes.extend(_surfaces(roads, piece))
    return "; ".join(notes[:_MOST_NOTES])


def _postings(roads: RoadTable, limits: RoadLimits, rows: list[int]) -> Iterator[str]:
    """Say the least weight, clearance and width posted on some stretches."""
    lightest = min(rows, key=lambda row: float(limits.max_lb[row]))
    if np.isfinite(limits.max_lb[lightest]):
        bridge = roads.way_tags[roads.tag_row[lightest]].get("bridge", "no") != "no"
        yield f"{'bridge ' if bridge else ''}posted {limits.max_lb[lightest]:,.0f} lb"
    axle_lb, height_ft, width_ft = (
        float(np.min(limit[rows])) for limit in (limits.max_axle_lb, limits.max_height_ft, limits.max_width_ft)
    )
    if np.isfinite(axle_lb):
        yield f"posted {axle_lb:,.0f} lb an axle"
    if np.isfinite(height_ft):
        yield f"low clearance {_feet_inches(height_ft)}"
    if np.isfinite(width_ft):
        yield f"width limit {_feet_inches(width_ft)}"


def _surfaces(roads: RoadTable, piece: _Piece) -> Iterator[str]:
    """Name the unpaved surface of most of a piece of road."""
    miles: defaultdict[str, float] = defaultdict(float)
    for row, driven in zip(piece.rows, piece.miles, strict=True):
        miles[NOTED_SURFACES.get(roads.way_tags[roads.tag_row[row]].get("surface", ""), "")] += driven
    word, most = max(miles.items(), key=lambda item: item[1])
    if word and most > sum(piece.miles) / 2.0:
        yield word


def _feet_inches(feet: float) -> str:
    """Write a clearance as signs do, downward to the inch.

    >>> _feet_inches(10.5), _feet_inches(13.999), _feet_inches(9.0)
    ('10 ft 6 in', '13 ft 11 in', '9 ft')
    """
    whole, inches = divmod(int(feet * 12.0 + 1e-6), 12)
    return f"{whole} ft {inches} in" if inches else f"{whole} ft"


def _weight(step: Step) -> int:
    """Tell how much a step would be missed: a straight continuation least, turning round most."""
    return {_STRAIGHT: 0, _ROUND: 2}.get(step.turn, 1)


def _renamed(names: tuple[str, ...]) -> str:
    """Tell the names that a road takes on its way.

    >>> _renamed(("Elm Street", "Oak Street")), _renamed(tuple("ABC")), _renamed(())
    ('becomes Elm Street, then Oak Street', 'changes its name 3 times, at last C', '')
    """
    if len(names) > _MOST_NAMES:
        return f"changes its name {len(names)} times, at last {names[-1]}"
    return f"becomes {', then '.join(names)}" if names else ""


def _joined(*notes: str) -> str:
    """Join notes, each once; unposted bridges are added up.

    >>> _joined("gravel; bridge, limit not posted", "2 bridges, limit not posted; gravel")
    'gravel; 3 bridges, limit not posted'
    """
    parts = [part for note in notes if note for part in note.split("; ")]
    bridges = [match for part in parts if (match := _UNPOSTED.fullmatch(part))]
    said = _bridges(sum(int(match[1] or 1) for match in bridges))
    return "; ".join(dict.fromkeys(said if _UNPOSTED.fullmatch(part) else part for part in parts))


def _bridges(count: int) -> str:
    return "bridge, limit not posted" if count == 1 else f"{count} bridges, limit not posted"


def _first_crossing(
    roads: RoadTable, limits: RoadLimits, meeting: Junctions, segment: int, node: int, miles: float
) -> tuple[float, str]:
    """Walk along one road from a node on, to the first junction with another named road: (miles, its name)."""
    road, seen = road_label(roads, segment), {segment}
    while miles <= CROSS_STREET_MI:
        others = [row for row in dict.fromkeys(meeting.at(node)) if row not in seen and limits.tanker_road[row]]
        names = sorted(label for row in others if (label := _other_name(roads, row, road)))
        if names:
            return miles, names[0]
        same = [row for row in others if road_label(roads, row) == road]
        if not same:
            break
        seen.add(same[0])
        miles += float(roads.length_m[same[0]]) / M_PER_MI
        node = int(roads.to_node[same[0]] if roads.from_node[same[0]] == node else roads.from_node[same[0]])
    return miles, ""


def _other_name(roads: RoadTable, row: int, road: str) -> str:
    """Name a stretch that bears another name than `road`; '' where it has none or the same."""
    label = road_label(roads, row)
    return label if (roads.name[row] or roads.ref[row]) and label != road else ""
