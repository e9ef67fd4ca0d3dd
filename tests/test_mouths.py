"""Dump sites of dead ends: at the frontage or at a junction, on hand-drawn roads, lengths and times by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from preplan.plan_tables import FrontageTable, NeedTable
from preplan.planning.dump_sites import Lay, choose_mouths, shut_beyond
from preplan.records import FloatArray, IntArray, ResponseLevel, text_array
from preplan.roads.frontage import place_addresses
from preplan.roads.mouths import Mouths, find_dead_ends, mouths_within, moved_to
from preplan.rules import PlanRules, RoadRules, Rules
from preplan.units import FT_PER_M
from tests.planning_case import unit
from tests.road_builder import Drawing, address_table, draw

SCALE = 0.001
"""A UTM zone keeps distances to 0.1 %."""
LEVELS = (ResponseLevel(name="Level 1", engines=3, tankers=2),)

# a ring road w-e-ne-nw, from e a lane of 200 m to the east that forks: 100 m on to the end, 150 m to the north
LANE = draw(
    {"w": (0, 0), "e": (500, 0), "ne": (500, 400), "nw": (0, 400), "f": (700, 0), "end": (800, 0), "n": (700, 150)},
    [
        ("w", "e", {"name": "Ring Road", "oneway": "yes"}),
        ("e", "ne", {"name": "Ring Road"}),
        ("ne", "nw", {"name": "Ring Road"}),
        ("nw", "w", {"name": "Ring Road"}),
        ("e", "f", {"name": "Lane"}),
        ("end", "f", {"name": "Lane"}),
        ("f", "n", {"name": "Spur"}),
    ],
)
HOMES = address_table([(750, 20), (710, 100), (200, 20)], ["1 Lane", "2 Spur", "3 Ring Road"])


def fronts(town: Drawing = LANE) -> FrontageTable:
    return place_addresses(town.roads, town.limits, HOMES, RoadRules(), PlanRules())


def reach(ft: float) -> FloatArray:
    return np.full(len(HOMES), ft)


def test_a_dead_end_tree_knows_its_way_out() -> None:
    trees = find_dead_ends(LANE.roads, LANE.limits)
    assert np.flatnonzero(trees.on).tolist() == [4, 5, 6]
    assert trees.inner[[4, 5, 6]].tolist() == [LANE.node["e"], LANE.node["f"], LANE.node["f"]]
    assert trees.onward[LANE.node["f"]] == LANE.row("e", "f")
    assert trees.onward[LANE.node["e"]] == -1


def test_junctions_on_the_way_out_are_found_with_the_hose_to_each() -> None:
    found = mouths_within(LANE.roads, LANE.limits, fronts(), reach(2000.0))
    assert found.address.tolist() == [0, 0, 1, 1]  # the third home stands on no dead end
    assert found.along_ft == pytest.approx(np.array([50, 250, 100, 300]) * FT_PER_M, rel=SCALE)
    # at the fork the lane leads on; at its mouth the two-way ring road is taken, not the one-way piece
    lane, ring = LANE.row("e", "f"), LANE.row("e", "ne")
    assert found.segment.tolist() == [lane, ring, lane, ring]
    assert found.fraction.tolist() == [1.0, 0.0, 1.0, 0.0]


def test_nobody_stands_on_a_bridge_that_begins_at_the_junction() -> None:
    """Of two pieces of the ring road that meet the lane the first is a bridge."""
    tags = LANE.roads.way_tags
    roads = replace(LANE.roads, way_tags=({"highway": "residential", "name": "Ring Road", "bridge": "yes"}, *tags[1:]))
    limits = replace(LANE.limits, backward_open=np.ones(len(roads), dtype=np.bool_))
    found = mouths_within(roads, limits, fronts(), reach(2000.0))
    assert found.segment.tolist() == [LANE.row("e", "f"), LANE.row("e", "ne")] * 2


def test_hose_that_does_not_reach_finds_no_junction() -> None:
    found = mouths_within(LANE.roads, LANE.limits, fronts(), np.array([249.0 * FT_PER_M, 99.0 * FT_PER_M, 9e9]))
    assert found.address.tolist() == [0]
    assert len(mouths_within(LANE.roads, LANE.limits, fronts(), reach(-1.0))) == 0
    assert len(mouths_within(LANE.roads, LANE.limits, fronts(), reach(np.nan))) == 0


def test_a_bend_is_no_junction_and_a_cut_road_no_dead_end() -> None:
    nodes = {"w": (0, 0), "e": (500, 0), "n": (0, 500), "bend": (700, 0), "end": (800, 0)}
    roads = [("w", "e", {}), ("e", "n", {}), ("n", "w", {}), ("e", "bend", {}), ("bend", "end", {"name": "Lane"})]
    town = draw(nodes, [(a, b, dict(tags)) for a, b, tags in roads])
    found = mouths_within(town.roads, town.limits, fronts(town), reach(2000.0))
    assert found.along_ft[found.address == 0] == pytest.approx(np.array([250.0]) * FT_PER_M, rel=SCALE)
    beyond = draw(nodes, [(a, b, dict(tags)) for a, b, tags in roads], cut=["end"])
    assert len(mouths_within(beyond.roads, beyond.limits, fronts(beyond), reach(2000.0))) == 0


def test_a_whole_piece_of_road_that_is_one_tree_has_no_mouth_to_the_world() -> None:
    town = draw({"a": (0, 0), "b": (900, 0)}, [("a", "b", {"name": "Lane"})])
    assert len(mouths_within(town.roads, town.limits, fronts(town), reach(9e9))) == 0


def test_a_moved_dump_site_lies_at_the_junction_with_the_hose_along_the_road() -> None:
    before = fronts()
    found = mouths_within(LANE.roads, LANE.limits, before, reach(2000.0))
    after = moved_to(LANE.roads, LANE.limits, HOMES, before, found, np.array([1], dtype=np.int32))
    assert after.segment.tolist() == [LANE.row("e", "ne"), *before.segment[1:].tolist()]
    assert after.lon[0] == pytest.approx(LANE.roads.node_lon[LANE.node["e"]])
    assert after.driveway_ft[0] == pytest.approx((20 * 1.3 + 250) * FT_PER_M, rel=SCALE)
    assert after.along_ft == pytest.approx([250 * FT_PER_M, 0.0, 0.0], rel=SCALE)
    assert after.dead_end.tolist() == [False, True, False]
    assert after.side[0] == "right"  # east of a road that runs north


# --------------------------------------------------------------------------- which one is chosen


def test_a_lane_that_is_shut_in_winter_is_known_from_the_junction_where_tankers_stop() -> None:
    """Hose along a road that nobody plows: engines get no further than the tankers."""
    own, mouths = fronts(), mouths_within(LANE.roads, LANE.limits, fronts(), reach(2000.0))
    winter, summer = frozenset({12, 1, 2, 3, 4}), frozenset(range(5, 12))
    lane, spur = LANE.row("e", "f"), LANE.row("f", "n")

    def beyond(stretch: int, *rows: int) -> dict[int, tuple[frozenset[int], tuple[int, ...]]]:
        road = LANE.limits.tanker_road.copy()
        road[stretch] = False
        seasons = [(summer, LANE.limits), (winter, replace(LANE.limits, tanker_road=road))]
        chosen = np.array(rows, dtype=np.int32)
        return shut_beyond(LANE.roads, LANE.limits, seasons, own, mouths, chosen)

    # rows 0 and 2: at the fork, 1 and 3: at the mouth of the lane
    assert beyond(lane, 1, 3) == {0: (winter, (lane,)), 1: (winter, (lane,))}
    assert beyond(lane, 0, 2) == {}
    assert beyond(spur, 0, 2) == beyond(spur, 1, 3) == {1: (winter, (spur,))}


def case(
    here_min: list[float], there_min: list[float], *, light_min: tuple[list[float], list[float]] | None = None
) -> IntArray:
    """Choose for one address (driveway 300 ft) with one junction 400 ft along, or two with the second 900 ft along."""
    along = np.array([400.0, 900.0])[: len(there_min)]
    count = len(along)
    mouths = Mouths(
        address=np.zeros(count, dtype=np.int32),
        segment=np.arange(1, count + 1, dtype=np.int32),
        fraction=np.zeros(count),
        along_ft=along,
    )

    def shortest(cut: int, segment: IntArray, fraction: FloatArray) -> FloatArray:
        assert len(segment) == len(fraction) == 1 + count
        heavy = [*here_min, *there_min]
        return np.array(heavy if cut == -1 or light_min is None else [*light_min[0], *light_min[1]])

    return choose(mouths, shortest)


def choose(mouths: Mouths, shortest: object, *, need_gpm: float = 250.0, driveway_ft: float = 300.0,
           engines: int = 3, hose_in: float = 3.0) -> IntArray:  # fmt: skip
    one = np.array([0.0])
    front = replace(
        fronts(), segment=np.zeros(1, dtype=np.int32), fraction=one, lon=one, lat=one,
        driveway_ft=np.array([driveway_ft]), gap_ft=one, how=text_array(["named"]), side=text_array(["left"]),
        dead_end=np.array([True]), along_ft=one,
    )  # fmt: skip
    need = NeedTable(
        required_gpm=np.array([need_gpm]), required_gal=one, required_min=np.array([120.0]),
        basis=text_array(["given:table"]), assumed=np.array([False]),
    )  # fmt: skip
    lay = Lay(hose_ft=2000.0, hose_in=hose_in)
    return choose_mouths(front, mouths, lay, need, engines, Rules(), shortest)  # type: ignore[arg-type]


def test_the_junction_is_taken_where_it_saves_more_than_a_turn() -> None:
    assert case([15.1], [12.0]).tolist() == [0]  # turning costs 3 min
    assert case([15.0], [12.0]).tolist() == []


def test_of_two_junctions_the_shorter_trip_wins_and_of_equals_the_nearer() -> None:
    assert case([20.0], [13.0, 12.0]).tolist() == [1]
    assert case([20.0], [12.0, 12.0]).tolist() == [0]


def test_a_lane_that_no_loaded_tanker_may_drive_is_served_from_the_nearest_junction() -> None:
    far = float("inf")
    assert case([far], [20.0, 12.0]).tolist() == [0]
    assert case([far], [far, 12.0]).tolist() == [1]
    assert case([far], [far, far]).tolist() == []


def test_a_lane_for_light_tankers_only_is_left_where_hose_carries_the_flow() -> None:
    far = float("inf")
    assert case([far], [20.0], light_min=([18.0], [18.0])).tolist() == [0]


JUNCTION = Mouths(
    address=np.zeros(1, dtype=np.int32), segment=np.ones(1, dtype=np.int32), fraction=np.zeros(1),
    along_ft=np.array([400.0]),
)  # fmt: skip


def quicker(_cut: int, _segment: IntArray, _fraction: FloatArray) -> FloatArray:
    return np.array([20.0, 10.0])


def test_a_lay_that_does_not_carry_the_required_flow_is_no_gain() -> None:
    # 800 ft of 3 in hose, C 0.8, at 130 psi: 100 sqrt(130 / (0.8 x 8)) = 450.7 gpm
    assert choose(JUNCTION, quicker, need_gpm=450.0).tolist() == [0]
    assert choose(JUNCTION, quicker, need_gpm=451.0).tolist() == []


def test_an_engine_that_attacks_and_drafts_at_once_stays_near() -> None:
    assert choose(JUNCTION, quicker, engines=2, driveway_ft=150.0).tolist() == []
    assert choose(JUNCTION, quicker, engines=2, driveway_ft=250.0).tolist() == [0]  # two engines are wanted anyway
    assert choose(JUNCTION, quicker, engines=3, driveway_ft=150.0).tolist() == [0]


def test_the_lay_is_what_any_two_engines_carry() -> None:
    units = (
        unit("E1", "engine", supply_hose_ft=1200.0, supply_hose_in=5.0),
        unit("E2", "engine", supply_hose_ft=800.0, supply_hose_in=3.0),
        unit("E3", "engine", supply_hose_ft=1000.0, supply_hose_in=5.0),
        unit("E4", "engine", supply_hose_ft=0.0, in_service=False),
        unit("T1", "tanker", supply_hose_ft=100.0),
    )
    assert Lay.of(units, 2) == Lay(hose_ft=1800.0, hose_in=3.0)
    assert Lay.of(units[:1], 1).hose_ft == 0.0
    # a pumper-tanker stands in for an engine that is lacking, and carries little
    pumper = unit("P1", "pumper-tanker", supply_hose_ft=0.0, supply_hose_in=3.0)
    assert Lay.of((*units, pumper), 3) == Lay(hose_ft=1800.0, hose_in=3.0)
    assert Lay.of((*units, pumper), 4) == Lay(hose_ft=800.0, hose_in=3.0)
