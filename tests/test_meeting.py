"""Meeting on narrow roads: two farms, a lane one truck wide and a wide road round it, worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from preplan.plan_cards import FillsElsewhere
from preplan.plan_tables import FIRST_CIRCUIT, SECOND_CIRCUIT, RouteForest, TripTable
from preplan.planning.ground import SeasonGround
from preplan.planning.kept import Measures, Shown, keep_trips
from preplan.planning.meeting import Meetings, WayBack, crossing_flags, find_meetings, meeting_flags, ways_back
from preplan.planning.round_trips import PairTrips
from preplan.planning.sheets import _Asked, _with_lanes
from preplan.records import ALL_MONTHS, IntArray
from preplan.render.card_seasons import elsewhere_words
from preplan.roads.network import UNLIMITED
from preplan.roads.search import Fleet, Spots
from preplan.roads.trips import Turning, circuits
from preplan.units import M_PER_MI
from tests.example_plan import example_plan
from tests.road_builder import Drawing, draw
from tests.test_network import network_of

SCALE = 0.001
"""A projection keeps distances to 0.1 %."""

# s --- a === lane 1,000 m === b --- end, and round by the wide road a-p-q-b, 2,200 m; the site stands on s-a
NODES = {
    "s": (-500, 0), "a": (0, 0), "b": (1000, 0), "end": (2000, 0), "p": (0, 600), "q": (1000, 600), "far": (0, 5600),
    "away": (1000, 5600),
}  # fmt: skip
LANE, BEYOND = 1, 2
NO_SECOND = np.empty(0, dtype=np.int32)


def farms(*, detour: str = "Wide Road", narrow: tuple[int, ...] = (LANE,), far: bool = False) -> Drawing:
    over = ("far", "away") if far else ("p", "q")
    roads: list[tuple[str, str, dict[str, Any]]] = [
        ("s", "a", {"name": "Main Street"}), ("a", "b", {"name": "Lane"}), ("b", "end", {"name": "Beyond"}),
        ("a", over[0], {"name": detour}), (over[0], over[1], {"name": detour}), (over[1], "b", {"name": detour}),
    ]  # fmt: skip
    return draw(NODES, roads, limits={"narrow": dict.fromkeys(narrow, True)}, node_tags={
        "s": {"highway": "turning_circle"}, "end": {"highway": "turning_circle"},
    })  # fmt: skip


def looked_at(
    town: Drawing, place: tuple[int, float] = (BEYOND, 0.5)
) -> tuple[Meetings, dict[int, WayBack], TripTable]:
    """Plan one address and look for meetings."""
    return driven(town, place)[:3]


def driven(
    town: Drawing, place: tuple[int, float] = (BEYOND, 0.5)
) -> tuple[Meetings, dict[int, WayBack], TripTable, RouteForest]:
    """Plan one address by hand-driven search at 1,000 m a minute and look for meetings."""
    minutes = np.repeat((town.roads.length_m / 1000.0)[:, None], 2, axis=1)
    network = network_of(town)
    fleet = Fleet.of(network, town.limits, minutes, UNLIMITED)
    ground = SeasonGround(months=ALL_MONTHS, limits=town.limits, network=network, minutes=lambda _mph: minutes)

    def search(loaded: Fleet, empty: Fleet, rows: IntArray, site_of: IntArray) -> PairTrips:
        assert (rows.tolist(), site_of.tolist()) == ([0], [0])
        at = (np.array([one], dtype=np.int32) for one in (0, place[0]))
        site, dump = (Spots.at(row, np.array([share])) for row, share in zip(at, (0.5, place[1]), strict=True))
        turning = Turning(turnaround_min=np.zeros(1), dump_turn_min=3.0, loop_preference_min=0.0)
        return PairTrips(circuits=circuits(loaded, empty, site, dump, turning), site=site_of)

    one = np.zeros(1, dtype=np.int32)
    found = search(fleet, fleet, one, one).circuits
    every = np.ones((1, 1), dtype=np.bool_)
    measures = Measures.of(town.limits, network.length_mi)
    shown = Shown(cuts=1, pair_cut=one[None], kept=every, drawn=every)
    trips, forest = keep_trips((found,), (found.trip_min,), measures, shown, one)
    meetings = find_meetings(town.roads, town.limits.narrow, trips, forest, one, np.array([place[1]]))
    better = (
        ways_back(town.roads, ground, (fleet, fleet), trips, forest, meetings, search) if len(meetings.trip) else {}
    )
    return meetings, better, trips, forest


def flag_of(town: Drawing, place: tuple[int, float] = (BEYOND, 0.5)) -> list[str]:
    meetings, better, trips = looked_at(town, place)
    return [str(flag) for _, flag in meeting_flags(trips, meetings, better, NO_SECOND)]


def test_empties_are_sent_round_by_the_wide_road() -> None:
    meetings, better, _ = looked_at(farms())
    assert meetings.miles == pytest.approx([1000 / M_PER_MI], rel=SCALE)
    assert meetings.state[0].tolist() == [2 * LANE]
    # 1,200 m more, two corners of the wide road and the two turns into it: four sharp turns of 0.1 min
    assert better[0].longer_min == pytest.approx(1.2 + 0.4, rel=SCALE)
    assert flag_of(farms()) == ["one way traffic=empties by Wide Road, 1.6 min longer"]


def test_a_lane_with_no_other_way_back_is_said_so() -> None:
    assert flag_of(farms(narrow=(LANE,), far=True)) == ["meeting on narrow road=0.62 mi"]  # 10 km more
    assert flag_of(farms(narrow=(BEYOND,)))[0].startswith("meeting on narrow road=")  # a dead end


def test_a_way_round_on_which_they_meet_as_well_is_no_way_round() -> None:
    # the dead end beyond is narrow too: the empties meet the loaded tankers there whichever way they go
    assert flag_of(farms(narrow=(LANE, BEYOND))) == ["meeting on narrow road=0.93 mi"]


def test_wide_roads_and_nameless_ways_round() -> None:
    assert flag_of(farms(narrow=())) == []
    assert flag_of(farms(detour="")) == ["meeting on narrow road=0.62 mi"]  # nobody could be told which way


def test_a_loop_is_no_meeting() -> None:
    """Legs that drive a narrow stretch in one direction only do not meet on it."""
    forest = RouteForest(
        segment=np.array([1, 0, 1, 0], dtype=np.int32), forward=np.array([True, True, True, False]),
        parent=np.array([1, -1, 3, -1], dtype=np.int32),
    )  # fmt: skip
    _, _, trips = looked_at(farms())
    for back in (0, 2):
        trips.out_leaf[0], trips.back_leaf[0] = 0, back
        town, one = farms(), np.zeros(1, dtype=np.int32)
        assert not len(find_meetings(town.roads, town.limits.narrow, trips, forest, one, np.ones(1)).trip)


def test_a_semicolon_in_a_road_s_name_does_not_part_the_flag() -> None:
    meetings, _, trips = looked_at(farms())
    better = {0: WayBack(longer_min=-0.01, road="A; B")}
    for second, circuit in ((NO_SECOND, FIRST_CIRCUIT), (np.zeros(1, dtype=np.int32), SECOND_CIRCUIT)):
        ((address, told),) = meeting_flags(trips, meetings, better, second)
        assert (address, told.circuit, told.code) == (0, circuit, "one way traffic")
        assert str(told).endswith("one way traffic=empties by A, B, 0 min longer")


def test_loaded_tankers_of_one_circuit_meet_empties_of_the_other() -> None:
    """Two circuits over the same lane: each one's loaded tankers meet the other's empties on its 1,000 m."""
    told = []
    for narrow in ((LANE,), ()):
        town = farms(narrow=narrow, far=True)
        *_, trips, forest = driven(town)
        legs = trips.out_leaf[:1], trips.back_leaf[:1]
        told.append(crossing_flags(town.roads, town.limits.narrow, forest, legs, legs, np.array([0.5])))
    ((pair, flag),), none = told
    assert (pair, flag.code) == (0, "circuits meet")
    miles, _, road = str(flag.value).partition(" miles of ")
    assert float(miles) == round(1000 / M_PER_MI, 1)
    assert road == "Lane"
    assert none == []


@pytest.mark.parametrize("beside", ["front", "sheet", "nothing"])
def test_circuits_of_other_months_that_meet_are_told_on_their_sheets(beside: str) -> None:
    """The other circuit is that of the card in front, or has a sheet of its own."""
    town = farms(far=True)
    *_, trips, forest = driven(town)
    each = {"front": 1, "sheet": 7, "nothing": 8}[beside]
    levels = SimpleNamespace(
        site=np.array([[1]]), trip=np.array([[0]]), split=np.array([[-1]]), split_trip=np.array([[-1]])
    )
    found = SimpleNamespace(
        roads=town.roads, limits=town.limits, levels=levels, trips=trips, forest=forest,
        frontages=SimpleNamespace(fraction=np.array([0.5])),
    )  # fmt: skip
    there = FillsElsewhere(months=(5, 6), site=each, tankers=(1,), fill_engine=-1)
    one = _Asked(group=0, address=0, site=4, level=0, season=0, months=(5, 6), line=0, elsewhere=(there,))
    back = replace(there, site=4)
    asked = [one, replace(one, site=7, elsewhere=(back,)), replace(one, site=4, months=(), elsewhere=())]
    pairs = {"out_leaf": trips.out_leaf[[0, 0, 0]], "back_leaf": trips.back_leaf[[0, 0, 0]]}
    told = _with_lanes(cast("Any", found), asked, cast("Any", SimpleNamespace(**pairs)), forest)
    lanes = [[other.lane for other in each.elsewhere] for each in told]
    meets = f"{1000 / M_PER_MI:.1f} miles of Lane"
    assert lanes == [["" if beside == "nothing" else meets], [meets], []]
    plan, circuit = example_plan(), cast("Any", SimpleNamespace(months=(5, 6)))
    (said,) = elsewhere_words(plan, circuit, [replace(told[0].elsewhere[0], site=1)])
    assert "pumps" not in said
    pumped = replace(told[0].elsewhere[0], site=1, fill_engine=0)
    for sent, how in ((None, "pumps"), (True, "pumps"), (False, "too: it pumps")):
        everyone = None if sent is None else np.full(len(plan.units), sent)
        (with_engine,) = elsewhere_words(plan, circuit, [pumped], everyone)
        who = f"{plan.units[0].unit_id} {how}"
        assert f"({'call ' * (sent is False)}{who})" in with_engine
    lane = f", meeting on {meets}, one truck wide: loaded goes first, empties wait off it"
    assert said.endswith(lane) == (beside != "nothing")
