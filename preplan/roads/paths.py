"""Road-by-road directions of a way that has been chosen, as a driver would be told them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from preplan.plan_cards import Step
from preplan.plan_tables import STANDS_SHARE
from preplan.records import BoolArray, IntArray, RoadLimits, RoadTable
from preplan.roads.access import BARRIER_EFFECT
from preplan.roads.junctions import (
    ROUND,
    ROUNDABOUT,
    STRAIGHT,
    Driven,
    Junctions,
    Part,
    Way,
    exit_words,
    opposite,
    turn_across,
    turn_into,
)
from preplan.roads.network import TURNING_PLACES
from preplan.roads.road_names import is_named, labels_along, road_label, same_road
from preplan.units import FT_PER_MI, M_PER_MI, on_a_sign

LINK_MI = 0.03
"""A nameless link shorter than this is no road of its own: it belongs to the turn at its end."""
CROSS_STREET_MI = 10.0
"""A cross street farther along the road is none (this program's choice)."""
NOTED_SURFACES = {
    "gravel": "gravel", "fine_gravel": "gravel", "pebblestone": "gravel", "compacted": "gravel", "dirt": "dirt",
    "earth": "dirt", "ground": "dirt", "mud": "dirt", "sand": "sand", "unpaved": "unpaved", "grass": "grass",
}  # fmt: skip
"""Value of `surface` (OpenStreetMap wiki, Key:surface) to the word on the card."""
AT_START_FT = 150.0
"""A bridge no farther from where a way begins is told as right at its start: the mark of the place hides it on maps."""
STUB_FT = 30.0
"""A step shorter than this is none where it is the first or goes straight on (this program's choice)."""
_MAPPED, _ASSUMED = "mapped turning place", "room ASSUMED: check it"
_CROSSING, _BORDER = ("railway", "level_crossing"), ("barrier", "border_control")
"""Tags of nodes that a driver is told of (OpenStreetMap wiki, Key:railway and Key:barrier)."""
_NO_SIGN = ", not posted"
"""What stands behind a rating that no sign tells."""
__all__ = ["Junctions", "cross_street", "directions"]

_CIRCLE = "the roundabout"


@dataclass(slots=True)
class _Piece:
    """Stretches driven one after another that make one line of directions."""

    road: str
    turn: str
    states: list[Driven] = field(default_factory=list)
    miles: list[float] = field(default_factory=list)

    @property
    def rows(self) -> list[int]:
        """The stretches, in the order driven."""
        return [row for row, _ in self.states]


def directions(
    roads: RoadTable,
    limits: RoadLimits,
    segments: IntArray,
    forward: BoolArray,
    start_fraction: float,
    end_fraction: float,
    *,
    leaving: str,
    junctions: Junctions | None = None,
) -> tuple[Step, ...]:
    """Tell a way in words: one step for each road, with its miles, the turn into it and what to watch for.

    Parameters
    ----------
    segments, forward
        Stretches in the order driven, shape (n,), and whether each is driven from its `from_node`.
    start_fraction, end_fraction
        Place of start on the first stretch and of the end on the last, as shares from their `from_node`.
    leaving
        What stands at the start: 'fill site', 'dump site' or 'station'.
    junctions
        Of the same roads, where they are at hand: saves building them again.

    Returns
    -------
    tuple[Step, ...]
        The first says the heading. Bends of one road are no steps, a roundabout is one, a short nameless link is part
        of the turn at its end, a few feet at the start belong to the next road. Empty for an empty way.
    """
    if not len(segments):
        return ()
    meeting = Junctions.of(roads) if junctions is None else junctions
    states = list(zip(segments.tolist(), forward.tolist(), strict=True))
    ways, way = meeting.told(limits).ways, (tuple(states), start_fraction, leaving)
    if way in ways:
        return _again(roads, limits, ways[way], end_fraction)
    miles = _miles(roads, states, start_fraction, end_fraction)
    parts = _parted(roads, limits, meeting, tuple(states))
    pieces = [_Piece(road, turn, states[first:beyond], miles[first:beyond]) for road, turn, first, beyond in parts]
    pieces = _without_links(roads, limits, meeting, pieces)
    pieces = _from_start(roads, meeting, pieces, start_fraction, leaving)
    steps = tuple(
        Step(
            road=piece.road,
            miles=sum(piece.miles),
            turn=piece.turn,
            note=_noted(roads, limits, meeting, piece, begins=at == 0, ends=at == len(pieces) - 1),
            room=_room(roads, piece),
            past=leaving if at == 1 and piece.turn == ROUND else "",
            past_mi=sum(pieces[0].miles) if at == 1 and piece.turn == ROUND else 0.0,
        )
        for at, piece in enumerate(pieces)
    )
    if len(steps) > 1:
        ways[way] = Way(steps, tuple(pieces[-1].states))
    return steps


def _again(roads: RoadTable, limits: RoadLimits, way: Way, end: float) -> tuple[Step, ...]:
    """Tell a way of several steps to another place on its last stretch, as a share from its `from_node`."""
    (*before, last), states = way.steps, list(way.last)
    begins = 0.0 if states[0][1] else 1.0
    piece = _Piece(last.road, last.turn, states, _miles(roads, states, begins, end))
    return (*before, replace(last, miles=sum(piece.miles), note=_note(roads, limits, piece, begins=False)))


def heading_at_end(
    roads: RoadTable,
    segments: IntArray,
    forward: BoolArray,
    start_fraction: float,
    end_fraction: float,
    junctions: Junctions,
    last_mi: float,
) -> str:
    """Name the heading, of eight, in which a way ends, over its last miles at most: those of the road on which it ends.

    '' for an empty way. Arguments as `directions` has them.
    """
    if not len(segments):
        return ""
    states = list(zip(segments.tolist(), forward.tolist(), strict=True))
    miles = _miles(roads, states, start_fraction, end_fraction)
    lengths = (float(roads.length_m[row]) for row, _ in states)
    shares = [driven * M_PER_MI / m if m > 0.0 else 1.0 for driven, m in zip(miles, lengths, strict=True)]
    # the heading of the same way driven from its end, turned about
    begins = 1.0 - end_fraction if forward[-1] else end_fraction
    back = [(row, not way) for row, way in reversed(states)]
    return opposite(junctions.heading(back, shares[::-1], begins, last_mi * M_PER_MI))


class Crossing(NamedTuple):
    """The road that meets another one next to a place."""

    road: str
    """'': none is known."""
    miles: float
    """From the place, along its road."""


def cross_street(
    roads: RoadTable, limits: RoadLimits, segment: int, fraction: float, *, junctions: Junctions | None = None
) -> Crossing:
    """Name the nearest other road that meets the road of a place, '' where none does within `CROSS_STREET_MI`.

    Both ways are walked along stretches of the same name; roads without name or number are no cross streets.
    """
    meeting = Junctions.of(roads) if junctions is None else junctions
    length_mi = float(roads.length_m[segment]) / M_PER_MI
    walks = (
        _first_crossing(roads, limits, meeting, segment, int(roads.from_node[segment]), fraction * length_mi),
        _first_crossing(roads, limits, meeting, segment, int(roads.to_node[segment]), (1.0 - fraction) * length_mi),
    )
    miles, road = min((walk for walk in walks if walk[1]), default=(0.0, ""))
    return Crossing(road, miles)


def _parted(roads: RoadTable, limits: RoadLimits, meeting: Junctions, states: tuple[Driven, ...]) -> tuple[Part, ...]:
    """Part a way as it was parted before, wherever on its first and last stretch it begins and ends."""
    parts = meeting.told(limits).parts
    if states not in parts:
        parts[states] = tuple(_parts(roads, limits, meeting, states))
    return parts[states]


def _parts(roads: RoadTable, limits: RoadLimits, meeting: Junctions, states: Sequence[Driven]) -> Iterator[Part]:
    """Part a way, one part a road and turn; a roundabout driven through belongs to the road it leads to."""
    circle = meeting.circle[[row for row, _ in states]].tolist()
    named = [at for at in range(len(states)) if not circle[at]]
    labels = [str(roads.name[row]) or _CIRCLE if ring else "" for ring, (row, _) in zip(circle, states, strict=True)]

    def leaves(before: int, after: int) -> bool:
        """Tell whether the road itself leads on where the way goes off it, or comes from elsewhere where it joins."""
        return _leads_on(roads, limits, meeting, states[named[before]], end=True) or _leads_on(
            roads, limits, meeting, states[named[after]], end=False
        )

    for at, label in zip(named, labels_along(roads, [states[at][0] for at in named], leaves), strict=True):
        labels[at] = label
    road, turn, first, held = labels[0], "", 0, 0
    for at, state in enumerate(states):
        if circle[at] and named and named[0] < at < named[-1]:
            held += 1
            continue
        if held:
            yield Part(road, turn, first, at - held)
            road, turn, first = labels[at], exit_words(roads, limits, meeting, states[at - held : at]), at - held
            held = 0
        elif at:
            made = turn_into(roads, limits, meeting, states[at - 1], state)
            if labels[at] != road or made.said_on_same_road:
                yield Part(road, turn, first, at)
                road, turn, first = labels[at], made.words, at
    yield Part(road, turn, first, len(states))


def _leads_on(roads: RoadTable, limits: RoadLimits, meeting: Junctions, state: Driven, *, end: bool) -> bool:
    """Tell whether another stretch of the same road meets one that is driven, at its end or at its start."""
    row, forward = state
    node = int((roads.to_node if forward is end else roads.from_node)[row])
    others = {*meeting.at(node)} - {row}
    return any(meeting.seen(limits, one) and not meeting.circle[one] and same_road(roads, row, one) for one in others)


def _without_links(roads: RoadTable, limits: RoadLimits, meeting: Junctions, pieces: list[_Piece]) -> list[_Piece]:
    """Let each short nameless link between two roads belong to the road after it, whose name tells where to turn.

    So does a road on which one goes straight on for a few feet: nobody reads its sign.
    """
    found = pieces[:1]
    for at, piece in enumerate(pieces[1:], 1):
        link = found[-1]
        is_link = len(found) > 1 and (_is_link(roads, link) or _is_stub(link))
        named = any(is_named(roads, row) for row in piece.rows)
        if is_link and named and (turn := _over(roads, limits, meeting, found[-2], link, piece)):
            found[-1] = _Piece(piece.road, turn, link.states + piece.states, link.miles + piece.miles)
        else:
            found.append(pieces[at])
    return found


def _from_start(roads: RoadTable, meeting: Junctions, pieces: list[_Piece], start: float, leaving: str) -> list[_Piece]:
    """Begin with the heading, on the first road that is driven for more than a few feet."""
    first, *rest = pieces
    begins, share = first, start if first.states[0][1] else 1.0 - start
    while rest and sum(first.miles) * FT_PER_MI < STUB_FT and rest[0].turn != ROUND and _is_plain(rest[0]):
        begins, share = rest.pop(0), 0.0
        first = _Piece(begins.road, "", first.states + begins.states, first.miles + begins.miles)
    lengths = [float(roads.length_m[row]) for row in begins.rows]  # a stretch between two nodes of one place has none
    shares = [driven * M_PER_MI / m if m > 0.0 else 1.0 for m, driven in zip(lengths, begins.miles, strict=True)]
    first.turn = f"Leave the {leaving} {meeting.heading(begins.states, shares, share)} on"
    return [first, *rest]


def _room(roads: RoadTable, piece: _Piece) -> str:
    """Say whether a place to turn is mapped where a piece of road begins with turning round; '' where it does not.

    A road may end at what is mapped there, such as a gate that is locked.
    """
    if piece.turn != ROUND:
        return ""
    row, forward = piece.states[0]
    node = int((roads.from_node if forward else roads.to_node)[row])
    tags = roads.node_tags.get(node, {})
    if tags.get("highway") in TURNING_PLACES:
        return _MAPPED
    stands = next((key for key in ("barrier", "ford") if tags.get(key, "no") != "no"), "")
    if tags.get("barrier") in BARRIER_EFFECT:
        stands = tags["barrier"].replace("_", " ")
    return f"room ASSUMED before the {stands}: check it" if stands else _ASSUMED


def _is_link(roads: RoadTable, piece: _Piece) -> bool:
    return sum(piece.miles) < LINK_MI and not any(is_named(roads, row) for row in piece.rows)


def _is_stub(piece: _Piece) -> bool:
    return piece.turn == STRAIGHT and sum(piece.miles) * FT_PER_MI < STUB_FT


def _over(roads: RoadTable, limits: RoadLimits, meeting: Junctions, before: _Piece, link: _Piece, after: _Piece) -> str:
    """Say the one turn that leads over a link; '' where two turns must be told."""
    if ROUND in (link.turn, after.turn):
        return ""
    if not _is_plain(link) or not _is_plain(after):
        plain, other = (link, after) if _is_plain(link) else (after, link)
        return other.turn if plain.turn == STRAIGHT else ""
    turns = {link.turn, after.turn} - {STRAIGHT}
    if len(turns) > 1:  # first one way, then the other: who is told one of them misses the road
        return ""
    if link.turn == after.turn != STRAIGHT and _leads_on(roads, limits, meeting, after.states[0], end=False):
        return ""  # told of one turn he would not know which way to go at the end of the link
    return turns.pop() if turns else turn_across(meeting, [before.states[-1], *link.states, after.states[0]])


def _is_plain(piece: _Piece) -> bool:
    """Tell whether a piece begins with a plain turn, not with a roundabout."""
    return not piece.turn.startswith(ROUNDABOUT)


def _miles(roads: RoadTable, states: list[Driven], start: float, end: float) -> list[float]:
    """Give the miles driven on each stretch: the first from its start on, the last up to its end."""
    shares = [1.0] * len(states)
    if len(states) == 1:
        shares[0] = abs(end - start)
    else:
        shares[0] = 1.0 - start if states[0][1] else start
        shares[-1] = end if states[-1][1] else 1.0 - end
    lengths = roads.length_m[[row for row, _ in states]].tolist()
    return [share * length / M_PER_MI for share, length in zip(shares, lengths, strict=True)]


def _noted(roads: RoadTable, limits: RoadLimits, meeting: Junctions, piece: _Piece, *, begins: bool, ends: bool) -> str:
    """Say what there is to watch for, as it was said before; the last piece of a way is hardly ever driven again."""
    if ends:
        return _note(roads, limits, piece, begins=begins)
    notes, driven = meeting.told(limits).notes, (tuple(piece.states), tuple(piece.miles), begins)
    if driven not in notes:
        notes[driven] = _note(roads, limits, piece, begins=begins)
    return notes[driven]


def _note(roads: RoadTable, limits: RoadLimits, piece: _Piece, *, begins: bool) -> str:
    """Say all there is to watch for on a piece of road, the gravest first."""
    rows = sorted({
        row for row, driven in zip(piece.rows, piece.miles, strict=True)
        if driven > STANDS_SHARE * float(roads.length_m[row]) / M_PER_MI
    })  # fmt: skip
    if not rows:
        return ""
    notes = [*_postings(roads, limits, rows)]
    # the words of a rating say themselves that no sign tells it
    unposted = int(np.sum(limits.unposted_bridge[rows])) - any(_NO_SIGN in note for note in notes)
    if unposted:
        notes.append(_bridges(unposted, at_start=begins and _starts_on_bridge(limits, piece)))
    if _passed(roads, piece, *_BORDER, begins=begins):
        notes.append("BORDER CONTROL")
    crossings = _passed(roads, piece, *_CROSSING, begins=begins)
    if crossings:
        notes.append(_crossings(crossings))
    if np.any(limits.narrow[rows]):
        notes.append("one truck wide")
    notes.extend(_surfaces(roads, piece))
    return "; ".join(notes)


def _passed(roads: RoadTable, piece: _Piece, key: str, value: str, *, begins: bool) -> int:
    """Count the nodes of a tag at the starts of the stretches of a piece; where a way begins it passes none."""
    starts = [(roads.from_node if forward else roads.to_node)[row] for row, forward in piece.states[begins:]]
    return sum(roads.node_tags.get(int(node), {}).get(key) == value for node in starts)


def _postings(roads: RoadTable, limits: RoadLimits, rows: list[int]) -> Iterator[str]:
    """Say the least weight, clearance and width posted on some stretches."""
    lightest = min(rows, key=lambda row: float(limits.max_lb[row]))
    if np.isfinite(limits.max_lb[lightest]):
        bridge = roads.way_tags[roads.tag_row[lightest]].get("bridge", "no") != "no"
        told = "rated" if limits.rated[lightest] else "posted"
        pounds = float(limits.max_lb[lightest])
        said = f"{np.floor(pounds):,.0f} lb" if limits.rated[lightest] else on_a_sign(pounds)
        sign = _NO_SIGN if limits.rated[lightest] and limits.unposted_bridge[lightest] else ""
        yield f"{'bridge ' if bridge else ''}{told} {said}{sign}"
    axle_lb, height_ft, width_ft = (
        float(np.min(limit[rows])) for limit in (limits.max_axle_lb, limits.max_height_ft, limits.max_width_ft)
    )
    if np.isfinite(axle_lb):
        yield f"posted {on_a_sign(axle_lb)} an axle"
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


def _bridges(count: int, *, at_start: bool) -> str:
    if count == 1:
        return f"bridge{' right at the start' * at_start}, limit not posted"
    return f"{count} bridges, {'the first right at the start, ' * at_start}limit not posted"


def _starts_on_bridge(limits: RoadLimits, piece: _Piece) -> bool:
    """Tell whether a way begins on a bridge without a sign or a few feet before it."""
    driven = 0.0
    for row, miles in zip(piece.rows, piece.miles, strict=True):
        if limits.unposted_bridge[row]:
            return True
        driven += miles
        if driven * FT_PER_MI > AT_START_FT:
            break
    return False


def _crossings(count: int) -> str:
    return "railway crossing" if count == 1 else f"{count} railway crossings"


def _first_crossing(
    roads: RoadTable, limits: RoadLimits, meeting: Junctions, segment: int, node: int, miles: float
) -> tuple[float, str]:
    """Walk along one road from a node on, to the first junction with another named road: (miles, its name)."""
    seen = {segment}
    while miles <= CROSS_STREET_MI:
        others = [row for row in dict.fromkeys(meeting.at(node)) if row not in seen and meeting.seen(limits, row)]
        names = sorted(label for row in others if (label := _other_name(roads, row, segment)))
        if names:
            return miles, names[0]
        same = [row for row in others if _goes_on(roads, segment, row)]
        if not same:
            break
        seen.add(same[0])
        miles += float(roads.length_m[same[0]]) / M_PER_MI
        node = int(roads.to_node[same[0]] if roads.from_node[same[0]] == node else roads.from_node[same[0]])
    return miles, ""


def _other_name(roads: RoadTable, row: int, segment: int) -> str:
    """Name a stretch of another road than `segment`; '' where it has no name or is the same road."""
    return road_label(roads, row) if is_named(roads, row) and not _goes_on(roads, segment, row) else ""


def _goes_on(roads: RoadTable, segment: int, row: int) -> bool:
    """Tell whether a stretch is the road of `segment`, which may have no name at all."""
    return same_road(roads, segment, row) or road_label(roads, segment) == road_label(roads, row)
