"""Water between the road and the building: told, and another road taken on the same bank where one is near."""

from __future__ import annotations

import numpy as np
import pytest

from preplan.plan_tables import FrontageTable
from preplan.records import AddressTable, FeatureTable, FloatArray
from preplan.roads.frontage import place_addresses, place_on_own_bank, straight_over_water
from preplan.rules import PlanRules, RoadRules
from preplan.units import M_PER_FT
from tests.road_builder import address_table, draw, lonlat

# two roads run east, 300 m apart; a house stands at 90 m from the southern and 210 m from the northern one
TOWN = draw(
    {"a": (0, 0), "b": (1000, 0), "c": (0, 300), "d": (1000, 300), "e": (-300, 150)},
    [("a", "b", {"name": "South Road"}), ("c", "d", {"name": "North Road"}), ("a", "e", {}), ("e", "c", {})],
)
HOME = (500.0, 90.0)


def box(west: float, south: float, east: float, north: float) -> FloatArray:
    corners = ((west, south), (east, south), (east, north), (west, north), (west, south))
    return np.array([lonlat(*corner) for corner in corners])


RIVER, POND = box(-500, 30, 1500, 60), box(495, 30, 510, 45)
LAKE_ROUND_HOME = box(400, 30, 600, 200)
LAKE = box(-2000, -500, 3000, 800)
STREAM = np.array([lonlat(-500, 45), lonlat(1500, 45)])


def placed(features: FeatureTable, street: str = "") -> tuple[FrontageTable, bool]:
    """Place the house, and tell whether water lies between."""
    homes: AddressTable = address_table([HOME], [street])
    found = place_addresses(TOWN.roads, TOWN.limits, homes, RoadRules(), PlanRules(), features)
    return found, bool(straight_over_water(TOWN.roads, homes, found, features)[0][0])


@pytest.mark.parametrize(
    ("features", "row", "told"),
    [
        (FeatureTable(), 0, False),
        (FeatureTable(water_rings=(RIVER,)), 1, False),  # the road on the house's own bank
        (FeatureTable(water_rings=(POND,)), 0, False),  # hose goes round it
        (FeatureTable(water_rings=(LAKE_ROUND_HOME,)), 0, True),  # an island
        (FeatureTable(stream_lines=(STREAM,)), 0, True),
    ],
)
def test_the_nearest_road_is_taken_on_the_house_s_own_bank(features: FeatureTable, row: int, *, told: bool) -> None:
    found, over = placed(features)
    assert found.segment.tolist() == [row]
    assert over is told


def lake(*islands: FloatArray) -> FeatureTable:
    """Lay the whole town in a lake with islands."""
    inside = np.zeros(len(islands), dtype=np.int32)
    return FeatureTable(water_rings=(LAKE,), island_rings=islands, island_water=inside)


SOUTH_ISLE, NORTH_ISLE = box(-400, -50, 1100, 50), box(-400, 70, 1100, 400)
"""The house stands on the northern one, nearer to the road of the southern one."""


def test_the_road_on_the_house_s_own_island_is_taken() -> None:
    found, over = placed(lake(SOUTH_ISLE, NORTH_ISLE))
    assert found.segment.tolist() == [1]
    assert not over


def test_water_between_two_islands_of_one_lake_is_told() -> None:
    """Neither crosses the shore of the lake itself, which alone was looked at."""
    found, over = placed(lake(SOUTH_ISLE, NORTH_ISLE), "12 SOUTH ROAD")
    assert found.segment.tolist() == [0]
    assert over


def test_an_island_is_land() -> None:
    assert placed(lake(box(-400, -50, 1100, 400)))[1] is False


def test_hose_goes_round_a_cove_of_an_island() -> None:
    """As round a pond: both ends stand on one island, and the way round its edge is short."""
    west = ((-400, 400), (-400, 60), (510, 60), (510, 40), (-400, 40), (-400, -50))
    cove = np.array([lonlat(*corner) for corner in ((-400, -50), (1100, -50), (1100, 400), *west)])
    assert placed(lake(cove), "12 SOUTH ROAD")[1] is False


def test_land_between_two_arms_is_walked_straight() -> None:
    """The house and its road stand a little in the water each; round the tip of the land nobody needs to go."""
    land = box(-400, 4, 1100, 86)
    assert placed(lake(land), "12 SOUTH ROAD")[1] is False


def test_hose_goes_round_two_arms_at_once_where_that_is_shorter() -> None:
    """A pond with a spit of land in it: not along the spit, but round the pond."""
    west = ((485, 30), (510, 30), (510, 60), (485, 60), (485, 50), (508, 50), (508, 45), (485, 45), (485, 30))
    assert placed(FeatureTable(water_rings=(coast(*west),)), "12 SOUTH ROAD")[1] is False


def coast(*points: tuple[float, float]) -> FloatArray:
    return np.array([lonlat(*point) for point in points])


NORTH_COAST = coast((2000, 60), (-2000, 60))
ISLE = coast((-400, -50), (1100, -50), (1100, 40), (-400, 40), (-400, -50))


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ((NORTH_COAST,), False),  # the house may stand on a pier
        ((NORTH_COAST, NORTH_COAST[::-1]), False),  # drawn twice
        ((NORTH_COAST, coast((-2000, 30), (2000, 30))), True),  # both shores of a lake that the file holds in part
        ((NORTH_COAST, ISLE), True),  # from the mainland to an island
        ((coast(*((-2000, 60), (5000, 60), (5000, 20), (-2000, 20))),), True),  # a bay, open to the west
        ((coast(*((-2000, 60), (505, 60), (505, 20), (-2000, 20))),), False),  # it ends close by: hose goes round
    ],
)
def test_the_sea_is_water(lines: tuple[FloatArray, ...], *, told: bool) -> None:
    assert placed(FeatureTable(coast_lines=lines), "12 SOUTH ROAD")[1] is told


@pytest.mark.parametrize(
    ("north_m", "water", "row"),
    [(90.0, RIVER, 1), (90.0, POND, 0), (45.0, RIVER, 0), (45.0, box(-500, -5, 1500, 85), 0)],
)
def test_a_fill_site_stands_on_the_road_of_its_own_bank(north_m: float, water: FloatArray, row: int) -> None:
    """One that is drawn in the water itself, as a draft site may be, stays at the nearest road."""
    lon, lat = (np.array([one]) for one in lonlat(500.0, north_m))
    spots, _ = place_on_own_bank(TOWN.roads, TOWN.limits, lon, lat, FeatureTable(water_rings=(water,)))
    assert spots.segment.tolist() == [row]


def test_a_boat_ramp_that_ends_on_the_coast_is_no_water() -> None:
    """A way of no length, from a point that road and coast share, crosses nothing."""
    town = draw({"a": (0, 0), "ramp": (0, 200), "b": (500, 0)}, [("a", "b", {}), ("a", "ramp", {"highway": "service"})])
    lon, lat = (np.array([one]) for one in lonlat(0.0, 200.0))
    shore = FeatureTable(coast_lines=(coast((-500, 200), (0, 200), (500, 200)),))
    spots, _ = place_on_own_bank(town.roads, town.limits, lon, lat, shore)
    assert spots.segment.tolist() == [1]


def test_the_road_of_the_address_s_name_stays_and_the_water_is_told() -> None:
    found, over = placed(FeatureTable(water_rings=(RIVER,)), "12 SOUTH ROAD")
    assert found.segment.tolist() == [0]
    assert over


def test_a_river_that_is_mapped_in_several_areas_is_none_that_hose_goes_round() -> None:
    """The line between two areas lies in the water, and a way near it was taken for one round a pond."""
    found, over = placed(FeatureTable(water_rings=(box(-500, 30, 505, 60), box(505, 30, 1500, 60))), "12 SOUTH ROAD")
    assert found.segment.tolist() == [0]
    assert over


def test_an_address_at_the_edge_of_a_water_is_placed() -> None:
    """A way of no length, from a point that road and reservoir share, crosses nothing."""
    town = draw({"a": (0, 0), "m": (500, 0), "b": (1000, 0)}, [("a", "m", {}), ("m", "b", {})])
    homes = address_table([(500.0, 0.0)], [""])
    shore = np.array([lonlat(*corner) for corner in ((500, 0), (600, 50), (400, 50), (500, 0))])
    water = FeatureTable(water_rings=(shore,))
    found = place_addresses(town.roads, town.limits, homes, RoadRules(), PlanRules(), water)
    assert found.segment.tolist() in ([0], [1])
    assert not straight_over_water(town.roads, homes, found, water)[0][0]


def test_no_road_out_of_reach_is_taken_for_water() -> None:
    """The road on the house's own bank lies farther off than a house may stand: the nearest one stays, and is told."""
    far_m = RoadRules().snap_max_ft * M_PER_FT
    town = draw(
        {"a": (0, 0), "b": (1000, 0), "c": (0, 2.1 * far_m), "d": (1000, 2.1 * far_m), "e": (-300, far_m)},
        [("a", "b", {}), ("c", "d", {}), ("a", "e", {}), ("e", "c", {})],
    )
    homes, river = address_table([(500.0, 0.95 * far_m)], [""]), FeatureTable(water_rings=(box(-5000, 20, 5000, 80),))
    found = place_addresses(town.roads, town.limits, homes, RoadRules(), PlanRules(), river)
    assert found.segment.tolist() == [0]
    assert straight_over_water(town.roads, homes, found, river)[0][0]
