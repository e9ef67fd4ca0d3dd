"""What bars units on the first drive from their stations: a river, a posted bridge and a detour, by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from preplan.plan_tables import AnswerTable
from preplan.planning.approaches import approaches
from preplan.planning.ground import SeasonGround
from preplan.records import ALL_MONTHS, Unit
from tests.planning_case import unit
from tests.test_network import network_of
from tests.test_postings import BRIDGE, river

HOME, NEAR, FAR = (0, 0.25), (0, 0.75), (3, 0.5)
"""The station's side of the river, and beyond it."""
HEAVY, LIGHT = unit("E1", "engine", loaded_lb=41500.0), unit("E2", "engine", loaded_lb=19000.0)


def places(*on_road: tuple[int, float]) -> Any:
    return SimpleNamespace(
        segment=np.array([one[0] for one in on_road], dtype=np.int32), fraction=np.array([one[1] for one in on_road])
    )


def barred(
    units: tuple[Unit, ...], sent: list[list[bool]], *, pumps: int = -1, second: int = -1, posted_lb: float = 20000.0
) -> list[list[int]]:
    """Ask for two addresses, near and far, with fill sites near and far; `pumps` at the far one for both."""
    town = river(dict.fromkeys(BRIDGE, posted_lb))
    minutes = np.repeat((town.roads.length_m / 1000.0)[:, None], 2, axis=1)
    season = SeasonGround(
        months=ALL_MONTHS, limits=town.limits, network=network_of(town), minutes=lambda _top_mph: minutes
    )
    ground = SimpleNamespace(
        roads=town.roads, seasons=(season,), stations=places(HOME), frontages=places(NEAR, FAR), sites=places(NEAR, FAR)
    )

    def each(number: int) -> Any:
        return np.full((2, 1), number, dtype=np.int32)

    levels = SimpleNamespace(
        fleet=np.array(sent)[:, None], site=each(1), split=each(1), fill_engine=each(pumps), split_engine=each(second)
    )
    stations = cast("Any", (SimpleNamespace(station_id="S1"),))
    answers, road = cast("Any", _Sized(np.zeros(2, dtype=np.int32))), np.zeros(2, dtype=np.int32)
    found: list[list[int]] = approaches(
        answers, cast("Any", levels), road, units, stations, cast("Any", ground)
    ).tolist()
    return found


class _Sized:
    """The answers of as many addresses as there are levels."""

    shown, shown_units = AnswerTable.shown, AnswerTable.shown_units

    def __init__(self, level: Any) -> None:
        self.level = level

    def __len__(self) -> int:
        return len(self.level)


def test_a_bridge_on_the_quick_way_to_the_fire_is_told_to_who_is_too_heavy() -> None:
    assert barred((HEAVY, LIGHT), [[True, True], [True, True]]) == [[1, BRIDGE[0]]]


@pytest.mark.parametrize(("units", "sent"), [((LIGHT,), [True]), ((HEAVY, LIGHT), [False, True])])
def test_it_is_not_told_where_nobody_sent_is_too_heavy(units: tuple[Unit, ...], sent: list[bool]) -> None:
    assert barred(units, [sent, sent]) == []


def test_nor_where_no_posting_stops_anyone() -> None:
    assert barred((HEAVY, LIGHT), [[True, True]] * 2, posted_lb=41500.0) == []


@pytest.mark.parametrize("place", ["pumps", "second"])
def test_an_engine_s_way_to_either_fill_site_counts(place: str) -> None:
    """The engine that pumps beyond the river is held by the bridge, wherever the fire is."""
    nobody = [[False, False]] * 2
    assert barred((HEAVY, LIGHT), nobody, **{place: 0}) == [[0, BRIDGE[0]], [1, BRIDGE[0]]]
    assert barred((HEAVY, LIGHT), nobody, **{place: 1}) == []
