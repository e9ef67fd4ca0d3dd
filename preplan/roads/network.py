"""The turn-aware network: a state is a stretch driven in one direction, an arc is a turn into the next.

State `2 r` drives row r of the RoadTable from its `from_node` to its `to_node`, state `2 r + 1` the other way,
so `state ^ 1` is the reverse. Costs of turning, signals and forbidden turns live on arcs; a network of nodes
could not hold them. What one vehicle may use is a mask over states, applied when it is searched.

Restrictions through ways need a memory: the states inside them have copies, which follow the states of the roads
(`bans`). Arcs run between these *search states*; `base` leads back to the state that each of them drives.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from preplan.records import BoolArray, FloatArray, IdArray, IntArray, Problem, RoadLimits, RoadTable, TurnRestriction
from preplan.roads.access import SIGN_MIN
from preplan.roads.bans import Following, Split, WaysThrough, binds, split, trouble, unsplit
from preplan.rules import RoadRules
from preplan.units import M_PER_MI, SECONDS_PER_MIN

TURNING_PLACES = ("turning_circle", "turning_loop", "mini_roundabout")
"""Values of `highway` on a node where a truck can turn (OpenStreetMap wiki, Key:highway)."""
SHARP_TURN_DEG = 60.0
"""A change of bearing above this slows a truck to a crawl (this program's careful choice)."""
SHARP_TURN_MIN = 6.0 / SECONDS_PER_MIN
"""What a sharp turn costs (this program's careful choice)."""
JUNCTION_MIN = 2.0 / SECONDS_PER_MIN
"""What going straight through a junction of three or more roads costs (this program's careful choice)."""
TINY_MIN = 1e-9
"""Least weight of an arc: a sparse matrix cannot hold a zero and mean it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    """What the road must carry and clear; equal vehicles take equal roads."""

    gross_lb: float
    axle_lb: float
    height_ft: float
    width_ft: float
    top_mph: float


UNLIMITED = Vehicle(gross_lb=0.0, axle_lb=0.0, height_ft=0.0, width_ft=0.0, top_mph=60.0)
"""A vehicle that no posting stops."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadNetwork:
    """States and arcs of the district's roads for any tanker; arrays over 2 x stretches states, or over arcs.

    Arcs join search states: the states, then copies of those that lie inside restrictions through ways. A state that
    has copies is left but not entered: it is where a drive starts.
    """

    open: BoolArray
    """(states,) a tanker may drive this stretch in this direction."""
    head: IntArray
    """(states,) node at the state's far end."""
    length_mi: FloatArray
    """(states,)."""
    arc_from: IntArray
    """(arcs,) search state left, ascending."""
    arc_to: IntArray
    """(arcs,) search state entered."""
    arc_min: FloatArray
    """(arcs,) turning and waiting; not the drive."""
    end_turn_min: FloatArray
    """(states,) turning round at the far end: inf where the road was cut off by the extract."""
    turning_place: BoolArray
    """(states,) a mapped turning place stands at the far end."""
    base: IntArray
    """(search states,) state that each search state drives; the first `states` are themselves."""
    plain: IntArray
    """(states,) search state that is entered by whoever has begun no restricted sequence."""

    @property
    def states(self) -> int:
        """Count the states: two a stretch."""
        return len(self.open)

    @property
    def search_states(self) -> int:
        """Count the states and their copies: the size of a search."""
        return len(self.base)

    @property
    def tail(self) -> IntArray:
        """Give the node at each state's near end, (states,)."""
        behind: IntArray = self.head[np.arange(self.states) ^ 1]
        return behind

    @property
    def doubled(self) -> IntArray:
        """List the states that have copies."""
        return np.unique(self.base[self.states :])


def build_network(roads: RoadTable, limits: RoadLimits, rules: RoadRules, node_delay_min: FloatArray) -> RoadNetwork:
    """Build the network of all roads open to tankers; `node_delay_min` (nodes,) is what each node costs to pass."""
    head, tail = _ends(roads.from_node, roads.to_node)
    may = np.column_stack([limits.forward_open, limits.backward_open]) & limits.tanker_road[:, None]
    is_open = may.ravel()
    arc_from, arc_to = _join(head, tail, is_open)
    keep = (arc_to != (arc_from ^ 1)) & ~_forbidden(roads, arc_from, arc_to, head)
    arc_from, arc_to = arc_from[keep], arc_to[keep]
    arc_min = _turn_min(roads, arc_from, arc_to, head, is_open) + node_delay_min[head[arc_from]]
    if rules.travel != "rule":
        arc_min = arc_min + np.where(limits.signed[arc_to >> 1] & ~limits.signed[arc_from >> 1], SIGN_MIN, 0.0)
    arcs = _split(roads, is_open, arc_from, arc_to)
    turning = _turning_nodes(roads)[head]
    end_turn = np.where(turning, rules.turning_place_min, rules.dead_end_turn_min)
    return RoadNetwork(
        open=is_open,
        head=head,
        length_mi=np.repeat(roads.length_m / M_PER_MI, 2),
        arc_from=arcs.arc_from,
        arc_to=arcs.arc_to,
        arc_min=arc_min[arcs.arc],
        end_turn_min=np.where(roads.node_cut[head], np.inf, end_turn),
        turning_place=turning,
        base=arcs.base,
        plain=arcs.plain,
    )


def states_for(network: RoadNetwork, limits: RoadLimits, vehicle: Vehicle) -> BoolArray:
    """Mask the (states,) that a vehicle may use: open, and no posted limit below it."""
    carries = (
        (limits.max_lb >= vehicle.gross_lb)
        & (limits.max_axle_lb >= vehicle.axle_lb)
        & (limits.max_height_ft >= vehicle.height_ft)
        & (limits.max_width_ft >= vehicle.width_ft)
    )
    return network.open & np.repeat(carries, 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Arcs:
    """The arcs between search states that one vehicle can drive, turning places included."""

    start: IntArray
    to: IntArray
    minutes: FloatArray
    """Driving `start` in full, then the turn into `to`."""

    def matrix(self, states: int) -> csr_array:
        """Pack as a sparse (states, states) matrix; `states` is the size of the search."""
        return csr_array((np.maximum(self.minutes, TINY_MIN), (self.start, self.to)), shape=(states, states))


def vehicle_arcs(network: RoadNetwork, usable: BoolArray, state_min: FloatArray) -> Arcs:
    """List the arcs between usable states, driving time of the state left included.

    A truck turns round at the end of a road and at a mapped turning place, whatever its weight: a posting takes
    roads away and gives no place to turn, so a heavier truck is never quicker. Before a posted bridge it does
    not stand: it turned at the dump site or the fill site.
    """
    base = network.base
    both = usable[base[network.arc_from]] & usable[base[network.arc_to]]
    start, to, turn = network.arc_from[both], network.arc_to[both], network.arc_min[both]
    ways_on = np.bincount(base[network.arc_from], minlength=network.states)
    every = np.arange(network.states, dtype=np.int32)
    turns = usable & usable[every ^ 1] & ((ways_on == 0) | network.turning_place) & np.isfinite(network.end_turn_min)
    round_ = np.flatnonzero(turns[base]).astype(np.int32)
    start = np.concatenate([start, round_])
    to = np.concatenate([to, network.plain[base[round_] ^ 1]])
    turn = np.concatenate([turn, network.end_turn_min[base[round_]]])
    return Arcs(start=start, to=to, minutes=state_min[base[start]] + turn)


def restriction_problems(roads: RoadTable) -> tuple[Problem, ...]:
    """List the turn restrictions that are not applied: at times only, of unknown kind, or of ways that do not meet."""
    _, first = np.unique(roads.way_id, return_index=True)
    at = dict(zip(roads.way_id[first].tolist(), roads.coord_start[first].tolist(), strict=True))
    arc_from, arc_to = _join(*_ends(roads.from_node, roads.to_node), np.ones(2 * len(roads), dtype=np.bool_))
    ways = WaysThrough(roads, _following(arc_from, arc_to))
    why = [(rule, trouble(rule) or _parted(ways, rule)) for rule in roads.restrictions if rule.from_way in at]
    return tuple(
        Problem(
            code="not applied",
            osm_id=f"relation {rule.relation_id}",
            key="restriction",
            value=rule.kind,
            rule=reason,
            lon=float(roads.coord_lon[at[rule.from_way]]),
            lat=float(roads.coord_lat[at[rule.from_way]]),
        )
        for rule, reason in why
        if reason
    )


def _parted(ways: WaysThrough, rule: TurnRestriction) -> str:
    """Say that the ways of a restriction through ways do not join; '' where they do."""
    if rule.via_node is not None or not binds(rule) or next(ways.paths(rule), None):
        return ""
    return "its ways do not meet: tankers may be sent through it, check on the ground"


def _split(roads: RoadTable, is_open: BoolArray, arc_from: IntArray, arc_to: IntArray) -> Split:
    """Apply the restrictions through ways to arcs between states."""
    banned = WaysThrough(roads, _following(arc_from, arc_to)).banned(roads.restrictions)
    if not banned:
        return unsplit(len(is_open), arc_from, arc_to)
    return split(is_open, arc_from, arc_to, banned)


def _following(arc_from: IntArray, arc_to: IntArray) -> Following:
    """Make a look-up of the states that follow one; nobody turns in the road."""

    def following(state: int) -> list[int]:
        low, high = np.searchsorted(arc_from, [state, state + 1])
        return [to for to in arc_to[low:high].tolist() if to != state ^ 1]

    return following


def _ends(from_node: IntArray, to_node: IntArray) -> tuple[IntArray, IntArray]:
    """Return the (states,) far and near nodes."""
    head = np.column_stack([to_node, from_node]).ravel()
    tail = np.column_stack([from_node, to_node]).ravel()
    return head, tail


def _join(head: IntArray, tail: IntArray, is_open: BoolArray) -> tuple[IntArray, IntArray]:
    """Pair each open state with every open state that starts where it ends."""
    states = np.flatnonzero(is_open).astype(np.int32)
    by_tail = states[np.argsort(tail[states], kind="stable")]
    tails = tail[by_tail]
    first = np.searchsorted(tails, head[states], "left")
    count = np.searchsorted(tails, head[states], "right") - first
    arc_from = np.repeat(states, count)
    within = np.arange(len(arc_from)) - np.repeat(np.cumsum(count) - count, count)
    return arc_from, by_tail[np.repeat(first, count) + within]


def _forbidden(roads: RoadTable, arc_from: IntArray, arc_to: IntArray, head: IntArray) -> BoolArray:
    """Mask the arcs that a turn restriction through a node forbids."""
    # a barrier's own ends come after the node that they were parted from
    index = {int(node): i for i, node in reversed(list(enumerate(roads.node_id)))}
    bad = np.zeros(len(arc_from), dtype=np.bool_)
    way_from, way_to = roads.way_id[arc_from >> 1], roads.way_id[arc_to >> 1]
    at = head[arc_from]
    by_node = np.argsort(at, kind="stable")
    for rule in roads.restrictions:
        node = index.get(rule.via_node) if rule.via_node is not None else None
        if node is None or not binds(rule):
            continue
        arcs = by_node[slice(*np.searchsorted(at[by_node], [node, node + 1]))]
        bad[arcs[_hits(rule, way_from[arcs], way_to[arcs])]] = True
    return bad


def _hits(rule: TurnRestriction, way_from: IdArray, way_to: IdArray) -> BoolArray:
    """Tell which of the arcs at its node one restriction forbids."""
    if rule.kind == "no_u_turn" and rule.from_way == rule.to_way:
        # Nobody turns in the road anyway; where the way goes on beyond the node, going on is no turn.
        return np.zeros(len(way_from), dtype=np.bool_)
    enters: BoolArray = way_from == rule.from_way
    into: BoolArray = way_to == rule.to_way
    if rule.kind.startswith("only_"):
        # An only_ rule whose target is not among the roads would shut the road: it says nothing here.
        return enters & ~into if bool(np.any(enters & into)) else np.zeros(len(enters), dtype=np.bool_)
    return enters & into


def _turning_nodes(roads: RoadTable) -> BoolArray:
    """Mask the nodes where a turning place is mapped."""
    mask = np.zeros(len(roads.node_id), dtype=np.bool_)
    for node, tags in roads.node_tags.items():
        mask[node] = tags.get("highway") in TURNING_PLACES
    return mask


def _turn_min(roads: RoadTable, arc_from: IntArray, arc_to: IntArray, head: IntArray, is_open: BoolArray) -> FloatArray:
    """Price each arc by its change of bearing and the size of its junction, minutes."""
    arrive, depart = _bearings(roads)
    change = np.abs((depart[arc_to] - arrive[arc_from] + 180.0) % 360.0 - 180.0)
    either = is_open[0::2] | is_open[1::2]
    roads_at = np.bincount(
        np.concatenate([roads.from_node[either], roads.to_node[either]]), minlength=len(roads.node_id)
    )
    junction = np.where(roads_at[head[arc_from]] > 2, JUNCTION_MIN, 0.0)
    return junction + np.where(change > SHARP_TURN_DEG, SHARP_TURN_MIN, 0.0)


def _bearings(roads: RoadTable) -> tuple[FloatArray, FloatArray]:
    """Return the (states,) bearings at the far end and at the near end, degrees clockwise from north."""
    first, last = roads.coord_start[:-1], roads.coord_start[1:] - 1
    starts = _bearing(roads, first, first + 1)
    ends = _bearing(roads, last - 1, last)
    arrive = np.column_stack([ends, (starts + 180.0) % 360.0]).ravel()
    depart = np.column_stack([starts, (ends + 180.0) % 360.0]).ravel()
    return arrive, depart


def _bearing(roads: RoadTable, a: IntArray, b: IntArray) -> FloatArray:
    """Give the bearing from point a to point b; a district is small enough for a flat earth here."""
    east = (roads.coord_lon[b] - roads.coord_lon[a]) * np.cos(np.radians(roads.coord_lat[a]))
    north = roads.coord_lat[b] - roads.coord_lat[a]
    return np.degrees(np.arctan2(east, north)) % 360.0
