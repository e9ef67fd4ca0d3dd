"""What stands for tankers on the road: loaded, and on the way back with the water that a dump leaves aboard."""

from __future__ import annotations

from typing import Any

import pytest

from preplan.planning.vehicles import cut_vehicles
from preplan.units import LB_PER_GAL
from tests.planning_case import unit

BIG: dict[str, Any] = {"tank_gal": 3000.0, "loaded_lb": 54600.0, "empty_lb": 29400.0, "axle_lb": 38500.0}


@pytest.mark.parametrize(
    ("changes", "pounds"),
    [
        ({"usable_fraction": 0.9}, 29400.0 + 300.0 * LB_PER_GAL),
        ({"usable_fraction": 0.75}, 29400.0 + 750.0 * LB_PER_GAL),
        ({"usable_fraction": 1.0, "self_fill_gpm": 800.0}, 29400.0),  # a vacuum tanker leaves nothing, as planned
        ({"usable_fraction": 0.1, "empty_lb": 50000.0}, 54600.0),  # never more than loaded
    ],
)
def test_the_water_that_stays_aboard_weighs_on_the_way_back(changes: dict[str, Any], pounds: float) -> None:
    tanker = unit("T11", "tanker", **(BIG | changes))
    loaded, empty = cut_vehicles((tanker,))
    assert (loaded.gross_lb, loaded.axle_lb) == (54600.0, 38500.0)
    assert empty.gross_lb == pytest.approx(pounds)
    assert empty.axle_lb == pytest.approx(38500.0 * pounds / 54600.0)


def test_a_class_goes_home_as_heavy_as_its_heaviest() -> None:
    """The lighter truck with the larger rest is the heavier one on the way back."""
    one = unit("T1", "tanker", tank_gal=3000.0, loaded_lb=54000.0, empty_lb=29000.0)
    other = unit("T2", "tanker", tank_gal=1000.0, loaded_lb=40000.0, empty_lb=30000.0)
    assert cut_vehicles((one, other))[1].gross_lb == pytest.approx(29000.0 + 300.0 * LB_PER_GAL)
