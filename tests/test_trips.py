"""Round trips on hand-drawn roads with times by hand, and on random ones against an independent search."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise, product

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from preplan.records import FloatArray, IntArray
from preplan.roads.forest import trace
from preplan.roads.network import UNLIMITED, Vehicle
from preplan.roads.search import Fleet, Spots, response_min
from preplan.roads.trips import Circuits, Turning, circuits, legs_of, measure
from preplan.units import M_PER_MI
from tests.road_builder import Drawing, Road, draw
from tests.test_network import network_of

METRES_A_MINUTE = 1000.0
"""Every drawn road is driven at this speed, so metres read as thousandths of a minute."""
HEAVY = Vehicle(gross_lb=42000.0, axle_lb=25000.0, height_ft=10.5, width_ft=8.5, top_mph=60.0)
LIGHT = Vehicle(gross_lb=26000.0, axle_lb=15000.0, height_ft=10.5, width_ft=8.5, top_mph=60.0)


@dataclass(frozen=True)
class At:
    """Spots by stretch and fraction."""

    segment: IntArray
    fraction: FloatArray

    @classmethod
    def of(cls, *places: tuple[int, float]) -> At:
        """List (stretch, fraction) pairs."""
        return cls(np.array([p[0] for p in places], dtype=np.int32), np.array([p[1] for p in places]))


def fleet_of(drawing: Drawing, vehicle: Vehicle = UNLIMITED) -> Fleet:
    """See a drawing as a vehicle does."""
    minutes = np.repeat((drawing.roads.length_m / METRES_A_MINUTE)[:, None], 2, axis=1)
    return Fleet.of(network_of(drawing), drawing.limits, minutes, vehicle)


def find(
    drawing: Drawing,
    sites: At,
    dumps: At,
    *,
    site_turn: float = 0.0,
    loop: float = 1.0,
    loaded: Vehicle = UNLIMITED,
    empty: Vehicle = UNLIMITED,
) -> Circuits:
    """Find the round trips of a drawing."""
    return circuits(
        fleet_of(drawing, loaded),
        fleet_of(drawing, empty),
        Spots.of(sites),
        Spots.of(dumps),
        Turning(turnaround_min=np.full(len(sites.segment), site_turn), dump_turn_min=3.0, loop_preference_min=loop),
    )


LINE = {"a": (0.0, 0.0), "b": (2000.0, 0.0), "c": (6000.0, 0.0)}
LINE_ROADS: list[Road] = [("a", "b", {}), ("b", "c", {})]


def test_on_a_single_road_the_truck_turns_at_the_dump_site() -> None:
    """Site at 1.0 km, house at 5.0 km: 4 min each way, and 3 min to turn beats driving to the end and turning there."""
    found = find(draw(LINE, LINE_ROADS), At.of((0, 0.5)), At.of((1, 0.75)))
    assert found.out_min[0, 0] == pytest.approx(4.0, abs=0.01)
    assert found.back_min[0, 0] == pytest.approx(7.0, abs=0.01)
    assert found.turns[0][0, 0]


def test_near_a_dead_end_driving_on_to_turn_there_is_preferred() -> None:
    """House 0.2 km before the end: 0.4 min more than turning in place, and nobody turns in the road for that."""
    found = find(draw(LINE, LINE_ROADS), At.of((0, 0.5)), At.of((1, 0.95)))
    assert not found.turns[0][0, 0]
    assert found.trip_min[0, 0] == pytest.approx(4.8 + 0.2 + 3.0 + 0.2 + 4.8, abs=0.01)


def test_of_equal_round_trips_the_tanker_dumps_first_and_turns_empty() -> None:
    """Turning at the dead end before or after dumping takes as long; the loaded leg is the short one, either way in."""
    for places in (((0, 0.5), (1, 0.95)), ((1, 0.5), (0, 0.05))):
        found = find(draw(LINE, LINE_ROADS), At.of(places[0]), At.of(places[1]))
        assert not found.turns[0][0, 0]
        straight = 1.0 + 4.0 * 0.95 if places[0][0] == 0 else 2.0 + 2.0 * 0.95
        assert found.out_min[0, 0] == pytest.approx(straight, abs=0.01)


def test_turning_at_the_site_counts_by_its_turnaround() -> None:
    """A site where trucks back in adds its minutes to the way back, since both legs use the same side."""
    plain = find(draw(LINE, LINE_ROADS), At.of((0, 0.5)), At.of((1, 0.75)))
    backs = find(draw(LINE, LINE_ROADS), At.of((0, 0.5)), At.of((1, 0.75)), site_turn=1.5)
    assert backs.trip_min[0, 0] - plain.trip_min[0, 0] == pytest.approx(1.5)


SQUARE = {"sw": (0.0, 0.0), "se": (1000.0, 0.0), "ne": (1000.0, 1000.0), "nw": (0.0, 1000.0)}
SQUARE_ROADS: list[Road] = [("sw", "se", {}), ("se", "ne", {}), ("ne", "nw", {}), ("nw", "sw", {})]


def test_a_cheap_loop_is_driven_instead_of_a_turn() -> None:
    """Round the block is 4 km in all from a site to the house across: no turn at either end."""
    found = find(draw(SQUARE, SQUARE_ROADS), At.of((0, 0.5)), At.of((2, 0.5)), site_turn=1.5)
    assert not found.turns[0][0, 0]
    assert not found.turns[1][0, 0]
    assert found.trip_min[0, 0] == pytest.approx(4.0 + 4 * 0.1, abs=0.02)


def test_a_one_way_street_makes_the_legs_differ_and_reversing_it_swaps_them() -> None:
    """One side of the square is one way: one leg goes the short way, the other round."""
    roads = [("sw", "se", {"oneway": "yes"}), *SQUARE_ROADS[1:]]
    swapped = [("se", "sw", {"oneway": "yes"}), *SQUARE_ROADS[1:]]
    spots = At.of((3, 0.5)), At.of((1, 0.5))
    one = find(draw(SQUARE, roads), *spots, loop=0.0)
    other = find(draw(SQUARE, swapped), *spots, loop=0.0)
    assert one.out_min[0, 0] == pytest.approx(other.back_min[0, 0] - 3.0 * other.turns[0][0, 0], abs=0.02)


def test_a_posted_bridge_sends_the_loaded_tanker_round_and_lets_the_empty_one_cross() -> None:
    """Short side posted 30,000 lb: out 3 km round the square, back 1 km across."""
    drawing = draw(SQUARE, SQUARE_ROADS, limits={"max_lb": {0: 30000.0}})
    found = find(drawing, At.of((3, 0.9)), At.of((1, 0.1)), loaded=HEAVY, empty=LIGHT)
    assert found.out_min[0, 0] == pytest.approx(0.9 + 1.0 + 0.9 + 0.2, abs=0.02)
    assert found.back_min[0, 0] == pytest.approx(0.1 + 1.0 + 0.1 + 0.2, abs=0.02)


def test_least_legs_alone_are_no_trip() -> None:
    """On a single road the shortest legs are 4 + 4 min, but between them stands a turn that somebody must make."""
    drawing = draw(LINE, LINE_ROADS)
    found = find(drawing, At.of((0, 0.5)), At.of((1, 0.75)))
    least = min(path_minutes(drawing, (0, 0.5), (1, 0.75))) + min(path_minutes(drawing, (1, 0.75), (0, 0.5)))
    assert least == pytest.approx(8.0, abs=0.01)
    assert found.trip_min[0, 0] == pytest.approx(11.0, abs=0.01)


def test_islands_and_points_off_the_roads_have_no_trip() -> None:
    """No way is inf, never a number."""
    nodes = {**LINE, "x": (0.0, 9000.0), "y": (1000.0, 9000.0)}
    found = find(draw(nodes, [*LINE_ROADS, ("x", "y", {})]), At.of((0, 0.5)), At.of((2, 0.5), (-1, float("nan"))))
    assert np.isinf(found.trip_min).all()
    assert (found.join == -1).all()


# ------------------------------------------------------------------ an independent model of the same roads


def state_graph(drawing: Drawing, vehicle: Vehicle = UNLIMITED) -> nx.DiGraph[tuple[int, str]]:
    """Build the roads again in plain Python: a node for each start of a state, an arc for each turn."""
    fleet = fleet_of(drawing, vehicle)
    graph: nx.DiGraph[tuple[int, str]] = nx.DiGraph()
    graph.add_nodes_from((state, "start") for state in range(fleet.network.states))
    for a, b, minutes in zip(
        fleet.arcs.start.tolist(), fleet.arcs.to.tolist(), fleet.arcs.minutes.tolist(), strict=True
    ):
        if graph.get_edge_data((a, "start"), (b, "start"), {"minutes": np.inf})["minutes"] > minutes:
            graph.add_edge((a, "start"), (b, "start"), minutes=minutes)
    return graph


def path_minutes(
    drawing: Drawing, start: tuple[int, float], end: tuple[int, float], vehicle: Vehicle = UNLIMITED
) -> list[float]:
    """Give the least minutes for each pair of directions (leaving, reaching): four numbers, inf where no way."""
    graph, fleet = state_graph(drawing, vehicle), fleet_of(drawing, vehicle)
    found = []
    for leave, reach in product((0, 1), repeat=2):
        own, other = 2 * start[0] + leave, 2 * end[0] + reach
        done = start[1] if leave == 0 else 1.0 - start[1]
        ahead = end[1] if reach == 0 else 1.0 - end[1]
        both = graph.copy()
        for nxt in graph.successors((own, "start")):
            both.add_edge((own, "spot"), nxt, minutes=graph[own, "start"][nxt]["minutes"] - done * fleet.state_min[own])
        if fleet.usable[other]:
            both.add_edge((other, "start"), (other, "goal"), minutes=ahead * fleet.state_min[other])
            if own == other and ahead >= done:
                both.add_edge((own, "spot"), (other, "goal"), minutes=(ahead - done) * fleet.state_min[own])
        try:
            found.append(float(nx.dijkstra_path_length(both, (own, "spot"), (other, "goal"), weight="minutes")))
        except (nx.NetworkXNoPath, nx.NodeNotFound):
            found.append(np.inf)
    return found


@st.composite
def drawings(draw_: st.DrawFn) -> Drawing:
    """Draw random little road networks: some one-way, some posted."""
    count = draw_(st.integers(4, 8))
    where = st.tuples(st.integers(-3000, 3000), st.integers(-3000, 3000))
    places = draw_(st.lists(where, min_size=count, max_size=count, unique=True))
    nodes = {f"n{i}": (float(e), float(n)) for i, (e, n) in enumerate(places)}
    names = list(nodes)
    pairs = draw_(
        st.lists(
            st.tuples(st.sampled_from(names), st.sampled_from(names)).filter(lambda p: p[0] != p[1]),
            min_size=count,
            max_size=2 * count,
            unique_by=lambda p: tuple(sorted(p)),
        )
    )
    ways = draw_(st.lists(st.sampled_from(["no", "no", "yes"]), min_size=len(pairs), max_size=len(pairs)))
    posted = draw_(st.sets(st.integers(0, len(pairs) - 1), max_size=2))
    roads = [(a, b, {"oneway": way}) for (a, b), way in zip(pairs, ways, strict=True)]
    return draw(nodes, roads, limits={"max_lb": dict.fromkeys(posted, 30000.0)})


@st.composite
def questions(draw_: st.DrawFn) -> tuple[Drawing, At, At, float]:
    """Draw a network with two sites and three houses on it."""
    drawing = draw_(drawings())
    rows = st.integers(0, len(drawing.roads) - 1)
    spot = st.tuples(rows, st.sampled_from([0.0, 0.25, 0.5, 0.9, 1.0]))
    sites = draw_(st.lists(spot, min_size=2, max_size=2))
    houses = draw_(st.lists(spot, min_size=3, max_size=3))
    return drawing, At.of(*sites), At.of(*houses), draw_(st.sampled_from([0.0, 0.5, 1.5]))


@settings(max_examples=60, deadline=None)
@given(questions())
def test_round_trips_equal_an_independent_search_over_all_sixteen_joins(
    question: tuple[Drawing, At, At, float],
) -> None:
    """A networkx search over a graph built in plain Python gives the same least round trip."""
    drawing, sites, houses, site_turn = question
    found = find(drawing, sites, houses, site_turn=site_turn, loop=0.0, loaded=HEAVY, empty=LIGHT)
    for h, s in product(range(3), range(2)):
        house = int(houses.segment[h]), float(houses.fraction[h])
        site = int(sites.segment[s]), float(sites.fraction[s])
        out = np.array(path_minutes(drawing, site, house, HEAVY)).reshape(2, 2)
        back = np.array(path_minutes(drawing, house, site, LIGHT)).reshape(2, 2)
        least = min(
            out[leave, reach] + back[away, home] + 3.0 * (away != reach) + site_turn * (home != leave)
            for leave, reach, away, home in product((0, 1), repeat=4)
        )
        assert found.trip_min[h, s] == pytest.approx(least, abs=1e-6) or (
            np.isinf(least) and np.isinf(found.trip_min[h, s])
        )


@settings(max_examples=60, deadline=None)
@given(questions())
def test_traced_routes_are_drivable_and_sum_to_their_times_and_miles(question: tuple[Drawing, At, At, float]) -> None:
    """Driven state by state: each follows the one before, none exceeds a limit, minutes and miles add up."""
    drawing, sites, houses, site_turn = question
    found = find(drawing, sites, houses, site_turn=site_turn, loaded=HEAVY, empty=LIGHT)
    address, site = np.argwhere(found.join >= 0).astype(np.int32).T
    assume(len(address) > 0)
    for legs, search, fleet, inward, total in (
        (legs_of(found, address, site)[0], found.outward, found.loaded, False, found.out_min),
        (legs_of(found, address, site)[1], found.inward, found.empty, True, found.back_min),
    ):
        length = np.repeat(drawing.roads.length_m / M_PER_MI, 2)[:, None]
        miles = measure(search, legs, length, inward=inward)[:, 0]
        traced = trace(search, legs, inward=inward)
        turn = {
            (int(a), int(b)): float(m - fleet.state_min[a])
            for a, b, m in zip(fleet.arcs.start, fleet.arcs.to, fleet.arcs.minutes, strict=True)
        }
        for k in range(len(address)):
            rows = traced.forest.walk(int(traced.leaf[k]))
            rows = rows if inward else rows[::-1]
            states = [2 * int(traced.forest.segment[r]) + (not traced.forest.forward[r]) for r in rows]
            place = int(legs.row[k]) // 2, int(legs.row[k]) % 2
            at_site = float(search.spots.driven[place])
            at_house = float(legs.driven[k])
            first, last = (at_house, at_site) if inward else (at_site, at_house)
            shares = np.ones(len(states))
            shares[-1] = last
            shares[0] -= first
            assert all(fleet.usable[s] for s in states)
            drive = float(shares @ fleet.state_min[states])
            waits = sum(turn[pair] for pair in pairwise(states))
            join = found.join[address[k], site[k]]
            turned = 0.0
            if inward:
                dump, place_turn = found.turns
                turned = 3.0 * dump[address[k], site[k]] + site_turn * place_turn[address[k], site[k]]
            assert join >= 0
            assert drive + waits + turned == pytest.approx(total[address[k], site[k]], abs=1e-6)
            assert float(shares @ length[states, 0]) == pytest.approx(miles[k], abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(questions(), st.floats(30001.0, 90000.0))
def test_more_weight_never_shortens_a_trip(question: tuple[Drawing, At, At, float], heavier_lb: float) -> None:
    """What a heavier truck may drive, a lighter one may drive too."""
    drawing, sites, houses, site_turn = question
    heavy = Vehicle(gross_lb=heavier_lb, axle_lb=0.0, height_ft=0.0, width_ft=0.0, top_mph=60.0)
    free = find(drawing, sites, houses, site_turn=site_turn, loop=0.0)
    bound = find(drawing, sites, houses, site_turn=site_turn, loop=0.0, loaded=heavy)
    assert (bound.trip_min >= free.trip_min - 1e-9).all()


def test_stations_reach_places_by_the_quicker_side() -> None:
    """A unit leaves its station either way and arrives either way: 4 km at 1 km a minute."""
    drawing = draw(LINE, LINE_ROADS)
    minutes = response_min(fleet_of(drawing), Spots.of(At.of((0, 0.5))), Spots.of(At.of((1, 0.75), (0, 0.25))))
    assert minutes[0].tolist() == pytest.approx([4.0, 0.5], abs=0.01)
