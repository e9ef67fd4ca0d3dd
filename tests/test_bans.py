"""Turn restrictions through ways: on hand-drawn roads, and against a search that remembers every state driven."""

from __future__ import annotations

import heapq
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preplan.records import TurnRestriction
from preplan.roads.forest import trace
from preplan.roads.network import build_network, restriction_problems
from preplan.roads.search import Fleet, Legs, Search, Spots, drive_in, drive_out, search_in, search_out
from preplan.roads.trips import measure
from preplan.rules import RoadRules
from tests.osm_text import OsmText
from tests.road_builder import Drawing, Road, draw, permissive_limits
from tests.test_network import network_of
from tests.test_trips import At, drawings, fleet_of

# Two roads cross a short road B: A comes from the west into its south end, C from the east; D leaves its north end
# to the west, E to the east, F to the north. Each piece is 1 km, driven in one minute.
NODES = {
    "west": (-1000.0, 0.0), "south": (0.0, 0.0), "east": (1000.0, 0.0),
    "north": (0.0, 1000.0), "nw": (-1000.0, 1000.0), "ne": (1000.0, 1000.0), "top": (0.0, 2000.0),
}  # fmt: skip
A, B, C, D, E, F = range(6)
ROADS: list[Road] = [
    ("west", "south", {"way": 1}),
    ("south", "north", {"way": 2}),
    ("east", "south", {"way": 3}),
    ("north", "nw", {"way": 4}),
    ("north", "ne", {"way": 5}),
    ("north", "top", {"way": 6}),
]


def rule(kind: str = "no_left_turn", **more: Any) -> TurnRestriction:
    """Restrict the way from A through B into D, unless told otherwise."""
    plain = TurnRestriction(relation_id=9, kind=kind, from_way=1, to_way=4, via_node=None, via_ways=(2,))
    return replace(plain, **more)


def drawn(*rules: TurnRestriction) -> Drawing:
    return draw(NODES, ROADS, restrictions=rules)


def minutes(drawing: Drawing, start: tuple[int, float], *ends: tuple[int, float]) -> list[float]:
    """Drive from a spot, along its stretch, to spots, along theirs."""
    fleet = fleet_of(drawing)
    found = drive_out(fleet, search_out(fleet, Spots.of(At.of(start))), Spots.of(At.of(*ends)))[0]
    back = drive_in(fleet, search_in(fleet, Spots.of(At.of(*ends))), Spots.of(At.of(start)))[0]
    assert back[::2, 0, 0].tolist() == pytest.approx(found[0, :, 0].tolist())
    return [float(one) for one in found[0, :, 0]]


def reach(drawing: Drawing, start: tuple[int, float], *ends: tuple[int, float]) -> list[bool]:
    """Tell which spots are reached without turning round at the end of a road: under 4 min here."""
    return [one < 4.0 for one in minutes(drawing, start, *ends)]


def test_who_came_from_the_first_way_may_not_turn_into_the_last() -> None:
    """From A through B: not into D, but into E and F; from C through B into D as before."""
    free, bound = drawn(), drawn(rule())
    assert reach(free, (A, 0.5), (D, 0.5), (E, 0.5), (F, 0.5)) == [True, True, True]
    assert reach(bound, (A, 0.5), (D, 0.5), (E, 0.5), (F, 0.5)) == [False, True, True]
    assert minutes(bound, (C, 0.5), (D, 0.5)) == minutes(free, (C, 0.5), (D, 0.5))


def test_the_way_round_is_driven_and_timed() -> None:
    """A to D: 0.5 + 1 + 1 km to the top, 3 min turning there, 1 km back, 0.5 km of D, with the turns between."""
    quick = minutes(drawn(), (A, 0.5), (D, 0.5))[0]
    slow = minutes(drawn(rule()), (A, 0.5), (D, 0.5))[0]
    # two junctions and two sharp turns either way; straight through north to the top is one junction more
    assert slow - quick == pytest.approx(1.0 + 3.0 + 1.0 + 2.0 / 60.0, abs=0.01)


def test_who_starts_on_the_middle_way_may_have_come_from_the_first() -> None:
    """A tanker that has dumped on B came from A or from C, and drives on: not into D. Who stops on B has not turned."""
    bound, free = drawn(rule()), drawn()
    assert reach(bound, (B, 0.5), (D, 0.5), (E, 0.5), (F, 0.5)) == [False, True, True]
    assert minutes(bound, (A, 0.5), (B, 0.5)) == minutes(free, (A, 0.5), (B, 0.5))
    assert minutes(bound, (C, 0.5), (B, 0.5)) == minutes(free, (C, 0.5), (B, 0.5))


def test_a_one_way_street_keeps_its_only_way_on() -> None:
    """B runs north alone and leads into D alone: who stands there cannot have come from A."""
    north: list[Road] = [*ROADS[:B], ("south", "north", {"way": 2, "oneway": "yes"}), *ROADS[C:E]]
    assert reach(draw(NODES, north, restrictions=(rule(),)), (B, 0.5), (D, 0.5)) == [True]


def test_an_only_rule_leaves_one_way_on() -> None:
    """Only from A through B into D: neither E nor F, nor C straight on from A; C itself is free to go anywhere."""
    bound = drawn(rule("only_left_turn"))
    assert reach(bound, (A, 0.5), (D, 0.5), (E, 0.5), (F, 0.5)) == [True, False, False]
    assert not np.any((bound_arcs := network_of(bound)).arc_to[bound_arcs.arc_from == 2 * A] == 2 * C + 1)
    assert reach(bound, (C, 0.5), (D, 0.5), (E, 0.5), (F, 0.5)) == [True, True, True]


def test_an_only_rule_that_leads_nowhere_shuts_nothing() -> None:
    """D is no road of the file, or one way against the rule: nothing is forbidden."""
    lost = drawn(rule("only_left_turn", to_way=77))
    assert reach(lost, (A, 0.5), (D, 0.5), (E, 0.5), (F, 0.5)) == [True, True, True]


def test_two_rules_over_the_same_way_hold_together() -> None:
    """From A not into D, from C not into E, each alone."""
    both = drawn(rule(), rule(relation_id=10, from_way=3, to_way=5))
    assert reach(both, (A, 0.5), (D, 0.5), (E, 0.5)) == [False, True]
    assert reach(both, (C, 0.5), (D, 0.5), (E, 0.5)) == [True, False]


def test_a_rule_through_two_ways_holds_through_both() -> None:
    """From A through B and F into G: who comes from D through F may."""
    nodes = {**NODES, "tw": (-1000.0, 2000.0)}
    roads: list[Road] = [*ROADS, ("top", "tw", {"way": 7}), ("top", "ne", {"way": 8})]
    through = rule(via_ways=(2, 6), to_way=7)
    bound = draw(nodes, roads, restrictions=(through,))
    assert reach(bound, (A, 0.5), (6, 0.5)) == [False]
    assert reach(bound, (C, 0.5), (6, 0.5)) == [True]


@pytest.mark.parametrize("exempt", [("emergency",), ("psv", "hgv")])
def test_who_is_exempt_is_free(exempt: tuple[str, ...]) -> None:
    """`except=emergency` and `except=hgv` let a tanker through, at a way and at a node."""
    assert reach(drawn(rule(exempt=exempt)), (A, 0.5), (D, 0.5)) == [True]
    at_node = rule(via_ways=(), via_node=2, to_way=2, exempt=exempt)
    assert network_of(drawn(at_node)).arc_to.tolist() == network_of(drawn()).arc_to.tolist()
    assert len(network_of(drawn(replace(at_node, exempt=("psv",)))).arc_to) < len(network_of(drawn()).arc_to)


def test_what_cannot_be_applied_is_reported() -> None:
    """Conditional, of unknown kind, or of ways that do not meet; a rule that is applied or exempt is no problem."""
    rules = (
        rule(),
        rule(relation_id=10, exempt=("emergency",), via_ways=(5,)),
        rule("no_left_turn @ (Mo-Fr 07:00-09:00)", relation_id=11),
        rule("no_left_turn @ (Mo-Fr)", relation_id=12, via_node=2, via_ways=()),
        rule("give_way", relation_id=13, via_node=2, via_ways=()),
        rule(relation_id=14, via_ways=(5,)),
    )
    found = {one.osm_id: one.rule for one in restriction_problems(drawn(*rules).roads)}
    assert set(found) == {"relation 11", "relation 12", "relation 13", "relation 14"}
    assert found["relation 14"].startswith("its ways do not meet")
    conditional = drawn(rules[2], rules[3], rules[4])
    assert network_of(conditional).arc_to.tolist() == network_of(drawn()).arc_to.tolist()


def test_no_u_turn_on_a_way_that_goes_on_leaves_going_on_alone() -> None:
    """The rule names one way twice and its node lies inside that way: straight on is no turn."""
    line = {"a": (0.0, 0.0), "b": (1000.0, 0.0), "c": (2000.0, 0.0)}
    rule_ = TurnRestriction(relation_id=1, kind="no_u_turn", from_way=5, to_way=5, via_node=2)
    roads: list[Road] = [("a", "b", {"way": 5}), ("b", "c", {"way": 5})]
    found = network_of(draw(line, roads, restrictions=(rule_,)))
    assert set(zip(found.arc_from.tolist(), found.arc_to.tolist(), strict=True)) == {(0, 2), (3, 1)}


# ------------------------------------------------------------------ an independent search that remembers


Arcs = dict[int, list[tuple[int, float]]]


def banned(states: tuple[int, ...], rules: list[tuple[int, ...]]) -> bool:
    """Tell whether a drive ends in one of the forbidden sequences of stretches (rows)."""
    rows = tuple(state >> 1 for state in states)
    return any(rows[-len(one) :] == one for one in rules)


BEGIN = -2
"""Stands before the first state of a drive; of no stretch."""


def driven_so(arcs: Arcs, rows: tuple[int, ...]) -> list[tuple[int, ...]]:
    """List the states by which stretches can be driven one after another."""
    found: list[tuple[int, ...]] = [(2 * rows[0],), (2 * rows[0] + 1,)]
    for row in rows[1:]:
        found = [(*path, to) for path in found for to, _ in arcs.get(path[-1], []) if to >> 1 == row]
    return found


def remembering(
    arcs: Arcs, drive: np.ndarray, start: int, done: float, rules: list[tuple[int, ...]], *, two_way: bool
) -> dict[int, float]:
    """Search from a spot with the last four states in mind: minutes to the start of each state.

    Who starts inside a forbidden sequence may have begun it, but on a one-way street that then had no way on.
    """
    best: dict[tuple[int, ...], float] = {}
    least: dict[int, float] = {}
    rests = {path[at:] for one in rules for path in driven_so(arcs, one) for at in range(1, len(path) - 1)}
    rests = {rest for rest in rests if rest[0] == start}
    ways_on = [to for to, _ in arcs.get(start, []) if to != start ^ 1]
    if not two_way and all((start, to) in rests for to in ways_on):
        rests = set()
    queue: list[tuple[float, tuple[int, ...]]] = [(-done * drive[start], (BEGIN, start))]
    while queue:
        time, came = heapq.heappop(queue)
        if came in best:
            continue
        best[came] = time
        if came != (BEGIN, start):
            least.setdefault(came[-1], time)
        for to, cost in arcs.get(came[-1], []):
            after = (*came, to)[-4:]
            begun = after[0] == BEGIN and after[1:] in rests
            if not begun and not banned(after, rules):
                heapq.heappush(queue, (time + cost, after))
    return least


@st.composite
def restricted(draw_: st.DrawFn) -> tuple[Drawing, list[tuple[int, ...]], At, At]:
    """Draw a network with up to three rules through one or two ways, two spots to start from and two to reach."""
    drawing = draw_(drawings())
    network = network_of(drawing)
    follow: dict[int, list[int]] = {}
    for a, b in zip(network.arc_from.tolist(), network.arc_to.tolist(), strict=True):
        follow.setdefault(a, []).append(b)
    sequences: list[tuple[int, ...]] = []
    for _ in range(draw_(st.integers(1, 3))):
        path = [draw_(st.integers(0, network.states - 1))]
        for _ in range(draw_(st.integers(2, 3))):
            onward = [b for b in follow.get(path[-1], []) if b >> 1 not in {s >> 1 for s in path}]
            if onward:
                path.append(draw_(st.sampled_from(onward)))
        if len(path) > 2:
            sequences.append(tuple(state >> 1 for state in path))
    rules = tuple(
        TurnRestriction(
            relation_id=i, kind="no_entry", from_way=101 + one[0], to_way=101 + one[-1], via_node=None,
            via_ways=tuple(101 + row for row in one[1:-1]),
        )
        for i, one in enumerate(sequences)
    )  # fmt: skip
    spot = st.tuples(st.integers(0, len(drawing.roads) - 1), st.sampled_from([0.0, 0.25, 0.9, 1.0]))
    starts, ends = (At.of(*draw_(st.lists(spot, min_size=2, max_size=2))) for _ in range(2))
    return replace(drawing, roads=replace(drawing.roads, restrictions=rules)), sequences, starts, ends


def free_arcs(drawing: Drawing) -> tuple[Arcs, Fleet]:
    """List the arcs of the same roads without restrictions."""
    fleet = fleet_of(replace(drawing, roads=replace(drawing.roads, restrictions=())))
    arcs: Arcs = {}
    for a, b, cost in zip(fleet.arcs.start.tolist(), fleet.arcs.to.tolist(), fleet.arcs.minutes.tolist(), strict=True):
        arcs.setdefault(a, []).append((b, cost))
    return arcs, fleet


@settings(max_examples=120, deadline=None)
@given(restricted())
def test_searches_equal_one_that_remembers_all_it_drove(case: tuple[Drawing, list[tuple[int, ...]], At, At]) -> None:
    """Both ways of searching, every pair of directions, against plain Python on the roads without copies."""
    drawing, rules, starts, ends = case
    arcs, free = free_arcs(drawing)
    # who may not go from f through v and w into t may go there by another order of the middle ways only
    rules = [*rules, *((one[0], *reversed(one[1:-1]), one[-1]) for one in rules)]
    fleet, here, there = fleet_of(drawing), Spots.of(starts), Spots.of(ends)
    out = drive_out(fleet, search_out(fleet, here), there)[0].reshape(2, 2, 2, 2)
    back = drive_in(fleet, search_in(fleet, there), here)[0].reshape(2, 2, 2, 2)
    for k, way in np.ndindex(2, 2):
        state, done = int(here.state[k, way]), float(here.driven[k, way])
        two_way = bool(free.usable[state ^ 1])
        may = bool(free.usable[state])
        least = remembering(arcs, free.state_min, state, done, rules, two_way=two_way) if may else {}
        for j, side in np.ndindex(2, 2):
            to, part = int(there.state[j, side]), float(there.driven[j, side])
            expected = least.get(to, np.inf) + part * free.state_min[to]
            if state == to and part >= done and free.usable[to]:
                expected = min(expected, (part - done) * free.state_min[to])
            assert out[k, way, j, side] == pytest.approx(expected, abs=1e-6)
            assert back[j, side, k, way] == pytest.approx(expected, abs=1e-6)


@settings(max_examples=80, deadline=None)
@given(restricted())
def test_traced_ways_keep_to_the_rules_and_sum_to_their_minutes(
    case: tuple[Drawing, list[tuple[int, ...]], At, At],
) -> None:
    """Each way that is drawn holds no forbidden sequence, and its stretches and turns add up."""
    drawing, rules, starts, ends = case
    arcs, _ = free_arcs(drawing)
    fleet, here, there = fleet_of(drawing), Spots.of(starts), Spots.of(ends)
    for inward in (False, True):
        search: Search = search_in(fleet, here) if inward else search_out(fleet, here)
        time, direct = drive_in(fleet, search, there) if inward else drive_out(fleet, search, there)
        row, j, side = (part.astype(np.int32) for part in np.nonzero(np.isfinite(time)))
        legs = Legs(
            row=row,
            state=there.state[j, side],
            driven=there.driven[j, side],
            direct=direct[row, j, side],
            at_most_min=np.full(len(row), np.inf),
        )
        length = measure(search, legs, fleet.state_min[:, None], inward=inward)[:, 0]
        traced = trace(search, legs, inward=inward)
        for k in range(len(row)):
            rows = traced.forest.walk(int(traced.leaf[k]))
            rows = rows if inward else rows[::-1]
            states = tuple(2 * int(traced.forest.segment[r]) + (not traced.forest.forward[r]) for r in rows)
            assert not any(banned(states[: n + 1], rules) for n in range(len(states)))
            turning = sum(dict(arcs[a])[b] - fleet.state_min[a] for a, b in pairwise(states))
            assert length[k] + turning == pytest.approx(time[row[k], j[k], side[k]], abs=1e-6)


def test_restrictions_are_read_and_applied_from_a_file(tmp_path: Path) -> None:
    """One relation through a way, one at times only: the first forbids, the second is reported."""
    text = OsmText()
    for node, (lon, lat) in enumerate([(0.0, 0.0), (0.01, 0.0), (0.01, 0.01), (0.0, 0.01), (0.02, 0.01)], 1):
        text.node(node, lon - 72.0, lat + 44.0)
    for way, nodes in {1: [1, 2], 2: [2, 3], 3: [3, 4], 4: [3, 5]}.items():
        text.way(way, nodes, {"highway": "tertiary"})
    through = [("way", 1, "from"), ("way", 2, "via"), ("way", 3, "to")]
    text.relation(7, through, {"type": "restriction", "restriction:hgv": "no_left_turn"})
    at_times = [("way", 1, "from"), ("node", 2, "via"), ("way", 2, "to")]
    text.relation(8, at_times, {"type": "restriction", "restriction:conditional": "no_left_turn @ (Mo-Fr 07:00-09:00)"})
    roads = text.roads(tmp_path)
    assert [(one.osm_id, one.value) for one in restriction_problems(roads)] == [
        ("relation 8", "no_left_turn @ (Mo-Fr 07:00-09:00)")
    ]
    network = build_network(roads, permissive_limits(roads), RoadRules(), np.zeros(len(roads.node_id)))
    way = roads.way_id[network.base >> 1]
    copies = np.arange(network.states, network.search_states)
    assert way[copies].tolist() == [2, 2]  # for who comes from elsewhere, for who came from way 1
    leads_to = {int(copy): sorted(way[network.arc_to[network.arc_from == copy]].tolist()) for copy in copies}
    assert sorted(leads_to.values()) == [[3, 4], [4]]
