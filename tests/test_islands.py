"""Pieces of road that lead nowhere are closed and told; real second networks stay."""

from __future__ import annotations

import pytest

from preplan.records import ALL_MONTHS, Closure
from preplan.roads.frontage import place_addresses
from preplan.roads.islands import without_islands
from preplan.roads.limits import limits_of
from preplan.rules import PlanRules, RoadRules
from tests.road_builder import address_table, draw

MAIN = {"a": (0.0, 0.0), "b": (5000.0, 0.0)}


def test_a_short_piece_that_joins_nothing_is_closed_and_told() -> None:
    """A car park of 200 m beside a road of 5 km, reached only over a path."""
    drawing = draw(
        {**MAIN, "c": (2000.0, 50.0), "d": (2200.0, 50.0)},
        [("a", "b", {}), ("c", "d", {"highway": "service"}), ("b", "c", {"highway": "path"})],
    )
    limits, problems = without_islands(drawing.roads, drawing.limits)
    assert limits.tanker_road.tolist() == [True, False, False]
    assert [(p.osm_id, p.code) for p in problems] == [("way 102", "joins no road")]
    assert "0.12 mi" in problems[0].rule


def test_a_long_piece_of_its_own_stays() -> None:
    """Two networks of 5 km each: an island in the sea has its own station."""
    drawing = draw({**MAIN, "c": (0.0, 9000.0), "d": (5000.0, 9000.0)}, [("a", "b", {}), ("c", "d", {})])
    limits, problems = without_islands(drawing.roads, drawing.limits)
    assert limits.tanker_road.all()
    assert problems == ()


def test_the_longest_piece_is_never_an_island_and_no_road_is_no_fault_here() -> None:
    """A tiny district keeps its only road; roads closed to tankers count for nothing."""
    drawing = draw({"a": (0.0, 0.0), "b": (300.0, 0.0)}, [("a", "b", {})])
    assert without_islands(drawing.roads, drawing.limits)[0].tanker_road.all()
    paths = draw({"a": (0.0, 0.0), "b": (300.0, 0.0)}, [("a", "b", {"highway": "path"})])
    assert without_islands(paths.roads, paths.limits) == (paths.limits, ())


OUT = Closure(closure_id="C1", kind="closed", way_id=104, months=ALL_MONTHS)


@pytest.mark.parametrize(
    ("bridge", "closures", "row"),
    [
        ({}, (), 4),
        ({}, (OUT,), 4),
        ({"access": "no"}, (), 4),
        ({"highway": "service", "service": "driveway"}, (), 2),  # hose follows a driveway and its bridge
    ],
)
def test_what_lies_behind_a_bridge_that_is_closed_is_cut_off_and_stays_where_it_is(
    bridge: dict[str, str], closures: tuple[Closure, ...], row: int
) -> None:
    """A house beyond the closed bridge keeps its frontage: no hose is laid over the river to the stub before it."""
    nodes = {**MAIN, "m": (2500.0, 0.0), "s": (2500.0, -150.0), "x": (2500.0, -190.0), "h": (2500.0, -1000.0)}
    elm = {"name": "Elm Road"}
    roads = [
        ("a", "m", {}),
        ("m", "b", {}),
        ("m", "s", elm),
        ("s", "x", {**elm, "bridge": "yes", **bridge}),
        ("x", "h", elm),
    ]
    town = draw(nodes, roads).roads
    house = address_table([(2510.0, -300.0)], ["4 Elm Road"])
    limits, problems = without_islands(town, limits_of(town, RoadRules(), closures)[0])
    assert place_addresses(town, limits, house, RoadRules(), PlanRules()).segment.tolist() == [row]
    assert len(problems) == (row == 2)
