"""Hydrants: distances along hand-drawn roads in feet, credit from the table."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from preplan.plan_tables import FrontageTable, HydrantReach
from preplan.records import ClosedRoad, Closure, FeatureTable, FloatArray, HydrantTable, text_array
from preplan.roads.frontage import place_addresses, place_points
from preplan.roads.hose import credit_gpm, hydrant_reach
from preplan.rules import HydrantRules, PlanRules, RoadRules
from preplan.units import M_PER_FT
from tests.road_builder import Drawing, Road, address_table, draw, lonlat

TOLERANCE_FT = 1.0

# in feet: Main Street runs east past Elm Street, which runs north; One Way runs back along it
TOWN_FT = {"w": (0, 0), "x": (600, 0), "e": (1500, 0), "n": (600, 900), "far": (5000, 0), "further": (6000, 0)}
TOWN = draw(
    {name: (east * M_PER_FT, north * M_PER_FT) for name, (east, north) in TOWN_FT.items()},
    [
        ("w", "x", {"name": "Main Street", "oneway": "yes"}),
        ("x", "e", {"name": "Main Street", "oneway": "yes"}),
        ("x", "n", {"name": "Elm Street"}),
        ("far", "further", {"name": "Far Road"}),
    ],
)


def hydrants(places_ft: list[tuple[float, float]], flow_gpm: list[float]) -> HydrantTable:
    where = np.array([lonlat(east * M_PER_FT, north * M_PER_FT) for east, north in places_ft]).reshape(-1, 2)
    return HydrantTable(
        hydrant_id=text_array([f"H{i}" for i in range(len(places_ft))]),
        lon=where[:, 0],
        lat=where[:, 1],
        flow_gpm=np.array(flow_gpm, dtype=np.float64),
        assumed=np.zeros(len(places_ft), dtype=np.bool_),
        class_c=np.zeros(len(places_ft), dtype=np.bool_),
    )


def reach(
    addresses_ft: list[tuple[float, float]],
    driveway_ft: list[float],
    table: HydrantTable,
    rules: HydrantRules | None = None,
    town: Drawing = TOWN,
    features: FeatureTable | None = None,
) -> tuple[FloatArray, FloatArray]:
    found = reached(addresses_ft, driveway_ft, table, rules, town, features)
    return found.distance_ft, found.credited_gpm


def reached(
    addresses_ft: list[tuple[float, float]],
    driveway_ft: list[float],
    table: HydrantTable,
    rules: HydrantRules | None = None,
    town: Drawing = TOWN,
    features: FeatureTable | None = None,
) -> HydrantReach:
    places = [(east * M_PER_FT, north * M_PER_FT) for east, north in addresses_ft]
    addresses = address_table(places, driveway_ft=driveway_ft)
    frontages = place_addresses(town.roads, town.limits, addresses, RoadRules(), PlanRules())
    return hydrant_reach(town.roads, town.limits, frontages, table, rules or HydrantRules(), features or FeatureTable())


def test_distance_runs_along_roads_from_stand_off_to_driveway() -> None:
    # hydrant 10 ft off Main at 100; round the corner to Elm at 300: 10 + 500 + 300 and 50 of driveway
    distance_ft, credited_gpm = reach([(610, 300)], [50.0], hydrants([(100, -10)], [1500.0]))
    assert distance_ft[0] == pytest.approx(860, abs=TOLERANCE_FT)
    assert credited_gpm[0] == 250.0


def river(south_ft: float, north_ft: float) -> FeatureTable:
    corners = ((-9000, south_ft), (9000, south_ft), (9000, north_ft), (-9000, north_ft), (-9000, south_ft))
    return FeatureTable(water_rings=(np.array([lonlat(east * M_PER_FT, north * M_PER_FT) for east, north in corners]),))


def test_a_hydrant_beyond_a_river_reaches_nobody() -> None:
    """It stood 60 ft from the road, straight through the water: its house was left without tankers."""
    found = reached([(100, 0)], [0.0], hydrants([(100, -60)], [1500.0]), features=river(-50, -20))
    assert found.hydrant.tolist() == [-1]


def test_a_hydrant_counts_on_the_road_of_its_own_bank() -> None:
    """The road over the river is nearer, and a bridge is far: the house there has none, that on this bank has it."""
    corners = {"w": (0, 0), "e": (1500, 0), "se": (1500, -300), "sw": (0, -300)}
    town = draw(
        {name: (east * M_PER_FT, north * M_PER_FT) for name, (east, north) in corners.items()},
        [("w", "e", {}), ("e", "se", {"bridge": "yes"}), ("se", "sw", {})],
    )
    table = hydrants([(100, -140)], [1500.0])
    feet, _ = reach([(100, 0), (100, -300)], [0.0, 0.0], table, town=town, features=river(-100, -60))
    assert feet == pytest.approx([np.nan, 160], abs=TOLERANCE_FT, nan_ok=True)


def test_hose_is_laid_against_a_one_way_street() -> None:
    distance_ft, _ = reach([(100, 0)], [0.0], hydrants([(900, 0)], [1500.0]))
    assert distance_ft[0] == pytest.approx(800, abs=TOLERANCE_FT)


def test_no_hose_is_laid_over_a_road_that_the_district_closes() -> None:
    """What is closed may be a bridge that is gone: its own hydrant counts for nobody, nor do those behind it."""
    out = ClosedRoad(
        closure=Closure(closure_id="C1", kind="closed", way_id=102), segments=np.array([1], dtype=np.int32)
    )
    low = ClosedRoad(closure=Closure(closure_id="C2", kind="max_lb", value=9e3), segments=np.array([0], dtype=np.int32))
    town = replace(TOWN, limits=replace(TOWN.limits, closed=(out, low)))
    for east_ft, there in ((900, False), (1490, False), (300, True)):
        distance_ft, _ = reach([(100, 0)], [0.0], hydrants([(east_ft, 0)], [1500.0]), town=town)
        assert np.isfinite(distance_ft[0]) == there


@pytest.mark.parametrize(
    ("east_ft", "flow_gpm", "credited"),
    [(295, 1500, 1000), (305, 1500, 670), (295, 500, 500), (595, 700, 670), (605, 1500, 250), (605, 200, 200)],
)
def test_credit_is_the_least_of_flow_and_distance_on_one_stretch(
    east_ft: float, flow_gpm: float, credited: float
) -> None:
    distance_ft, credited_gpm = reach([(650 + east_ft, 0)], [0.0], hydrants([(650, 0)], [flow_gpm]))
    assert distance_ft[0] == pytest.approx(east_ft, abs=TOLERANCE_FT)
    assert credited_gpm[0] == credited


def test_the_driveway_counts_toward_the_reach() -> None:
    distance_ft, credited_gpm = reach([(500, 0), (500, 0)], [590.0, 610.0], hydrants([(100, 0)], [1500.0]))
    assert distance_ft[0] == pytest.approx(990, abs=TOLERANCE_FT)
    assert np.isnan([distance_ft[1], credited_gpm[1]]).all()


def test_the_best_credit_wins_over_the_nearest_and_ties_go_to_the_nearer() -> None:
    # at 500: a weak hydrant 100 ft away, a strong one 250 ft away, another strong one 280 ft away
    table = hydrants([(400, 0), (750, 0), (220, 0)], [300.0, 1500.0, 1200.0])
    distance_ft, credited_gpm = reach([(500, 0)], [0.0], table)
    assert distance_ft[0] == pytest.approx(250, abs=TOLERANCE_FT)
    assert credited_gpm[0] == 1000.0


def test_a_weak_near_hydrant_beats_a_strong_far_one_where_credit_says_so() -> None:
    table = hydrants([(400, 0), (1200, 0)], [300.0, 1500.0])
    _, credited_gpm = reach([(500, 0)], [0.0], table)
    assert credited_gpm[0] == 300.0  # 700 ft away the strong one is credited 250


def test_the_hydrant_that_counts_is_named() -> None:
    # at 500 a weak one is 100 ft away, a strong one 250 ft; far off none counts; round the corner the nearer strong one
    table = hydrants([(400, 0), (1200, 0), (750, 0)], [300.0, 1500.0, 1500.0])
    found = reached([(500, 0), (0, 5000), (610, 300), (410, 0)], [0.0, 0.0, 50.0, 590.0], table)
    assert found.hydrant.tolist() == [2, -1, 2, 0]


def test_no_road_between_or_too_far_is_no_hydrant() -> None:
    distance_ft, credited_gpm = reach([(5500, 10), (0, 5000)], [0.0, 0.0], hydrants([(900, 0)], [1500.0]))
    assert np.isnan(distance_ft).all()
    assert np.isnan(credited_gpm).all()


def test_no_hydrants_and_dry_hydrants_count_nowhere() -> None:
    for table in (hydrants([], []), hydrants([(500, 0)], [0.0])):
        distance_ft, credited_gpm = reach([(500, 0)], [0.0], table)
        assert np.isnan([distance_ft[0], credited_gpm[0]]).all()


def test_a_hydrant_far_from_its_road_is_charged_for_it() -> None:
    distance_ft, _ = reach([(100, 0)], [0.0], hydrants([(100, -400), (100, -1100)], [1500.0, 1500.0]))
    assert distance_ft[0] == pytest.approx(400, abs=TOLERANCE_FT)


def test_a_driveway_may_carry_hose_and_a_footway_may_not() -> None:
    for tags, reached in (({"highway": "service", "service": "driveway"}, True), ({"highway": "footway"}, False)):
        town = draw(
            {"a": (0, 0), "b": (200, 0), "c": (0, 100), "d": (200, 100)},
            [("a", "b", {"name": "Main Street"}), ("c", "d", {"name": "Back Road"}), ("b", "d", tags)],
        )
        table = hydrants([(600, 0)], [1500.0])
        distance_ft, _ = reach([(600, 100 / M_PER_FT)], [0.0], table, town=town)
        assert np.isfinite(distance_ft[0]) == reached


def test_distances_agree_with_a_plain_search_over_every_pair() -> None:
    """Many hydrants and addresses on a grid against Floyd-Warshall over all nodes, pair by pair."""
    rng = np.random.default_rng(5)
    nodes = {
        f"{i},{j}": (i * 90.0 + rng.uniform(-30, 30), j * 80.0 + rng.uniform(-30, 30))
        for i in range(5)
        for j in range(5)
    }
    pairs: list[Road] = [
        (f"{i},{j}", f"{i + a},{j + b}", {})
        for i in range(5)
        for j in range(5)
        for a, b in ((1, 0), (0, 1))
        if i + a < 5 and j + b < 5
    ]
    town = draw(nodes, [pair for pair in pairs if rng.random() < 0.8])
    spots_ft = (rng.uniform(-20, 380, (60, 2)) / M_PER_FT).tolist()
    table = hydrants([(e, n) for e, n in spots_ft[:20]], rng.choice([200.0, 400.0, 600.0, 900.0, 1300.0], 20).tolist())
    addresses = address_table([(e * M_PER_FT, n * M_PER_FT) for e, n in spots_ft[20:]])
    frontages = place_addresses(town.roads, town.limits, addresses, RoadRules(), PlanRules())
    got = hydrant_reach(town.roads, town.limits, frontages, table, HydrantRules(), FeatureTable())
    expected = _by_hand(town, frontages, table)
    assert np.isfinite(expected[0]).sum() > 20
    assert got.distance_ft == pytest.approx(expected[0], abs=0.01, nan_ok=True)
    assert got.credited_gpm == pytest.approx(expected[1], nan_ok=True)
    assert ((got.hydrant < 0) == np.isnan(got.distance_ft)).all()
    every = [hydrants([spots_ft[one]], [float(table.flow_gpm[one])]) for one in range(20)]
    alone = [hydrant_reach(town.roads, town.limits, frontages, one, HydrantRules(), FeatureTable()) for one in every]
    for row in np.flatnonzero(got.hydrant >= 0).tolist():
        named = alone[int(got.hydrant[row])]
        assert named.distance_ft[row] == pytest.approx(got.distance_ft[row], abs=0.01)
        assert named.credited_gpm[row] == got.credited_gpm[row]


def _by_hand(town: Drawing, frontages: FrontageTable, table: HydrantTable) -> tuple[FloatArray, FloatArray]:
    roads, rules = town.roads, HydrantRules()
    count = len(roads.node_id)
    far = np.full((count, count), np.inf)
    np.fill_diagonal(far, 0.0)
    length_ft = roads.length_m / M_PER_FT
    for a, b, length in zip(roads.from_node, roads.to_node, length_ft, strict=True):
        far[a, b] = far[b, a] = min(far[a, b], length)
    for k in range(count):
        far = np.minimum(far, far[:, k : k + 1] + far[k : k + 1])
    spots = place_points(roads, town.limits, table.lon, table.lat)
    found: list[tuple[float, float]] = []
    for a in range(len(frontages)):
        s, f = int(frontages.segment[a]), float(frontages.fraction[a])
        offers: list[tuple[float, float]] = []
        for h in range(len(table)):
            t, g = int(spots.segment[h]), float(spots.fraction[h])
            ways = [
                x + y + far[u, v]
                for x, u in ((f * length_ft[s], roads.from_node[s]), ((1 - f) * length_ft[s], roads.to_node[s]))
                for y, v in ((g * length_ft[t], roads.from_node[t]), ((1 - g) * length_ft[t], roads.to_node[t]))
            ]
            ways += [abs(f - g) * length_ft[s]] if s == t else []
            distance = min(ways) + spots.gap_ft[h] + frontages.driveway_ft[a]
            gpm = min(float(table.flow_gpm[h]), next((c for limit, c in rules.credit if distance <= limit), 0.0))
            offers.append((gpm, -distance))
        best_gpm, less_ft = max(offers)
        found.append((-less_ft, best_gpm) if best_gpm > 0 else (np.nan, np.nan))
    return np.array(found)[:, 0], np.array(found)[:, 1]


def test_credit_beyond_the_table_is_nothing() -> None:
    assert credit_gpm(np.array([600.0, 600.1, 1000.1]), HydrantRules()).tolist() == [670.0, 250.0, 0.0]
