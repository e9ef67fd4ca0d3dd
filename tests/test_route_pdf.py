"""A trip on a small map: turns where the miles say, the far end alone for an inset."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from preplan.plan import Step
from preplan.render import card_facts, route_pdf
from preplan.render.charts import Picture
from preplan.render.driving_words import directions
from preplan.render.route_pdf import Subject

from .example_plan import example_plan

LINE = np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 1000.0]])


def steps(*miles: float) -> tuple[Step, ...]:
    return tuple(Step(road=f"Road {k}", miles=m, turn="Left on") for k, m in enumerate(miles))


def test_turns_stand_where_their_miles_begin() -> None:
    assert route_pdf.turns_of(LINE, steps(1.0, 0.5, 0.5)) == ((2, 1000.0, 0.0), (3, 1000.0, 500.0))
    assert route_pdf.turns_of(LINE, steps(2.0)) == ()
    assert route_pdf.turns_of(LINE, ()) == ()
    assert route_pdf.turns_of(LINE, steps(0.0, 0.0)) == ()


def test_turns_of_a_long_way_have_the_numbers_of_the_list() -> None:
    many = steps(*[0.5] * 20)
    numbers = [number for number, _, _ in route_pdf.turns_of(LINE, many)]
    listed = directions(many)
    assert numbers == list(range(2, 21))
    assert [number for number, _ in listed] == [str(number) for number in range(1, 21)]
    assert listed[-1][1].startswith("Left on Road 19,")
    *_, (number, east, north) = route_pdf.turns_of(LINE, many)
    assert (number, east) == (20, 1000.0)
    assert north == pytest.approx(900.0)


def test_an_inset_keeps_the_last_feet_in_and_the_first_out() -> None:
    near = route_pdf.near_dump(Subject((), out_ft=LINE, back_ft=LINE[::-1]), 300.0)
    assert near.out_ft is not None
    assert near.back_ft is not None
    assert near.out_ft.tolist() == [[1000.0, 700.0], [1000.0, 1000.0]]
    assert near.back_ft.tolist() == [[1000.0, 1000.0], [1000.0, 700.0]]
    assert route_pdf.near_dump(Subject(()), 300.0).out_ft is None


def test_a_way_back_is_told_as_such_where_it_leaves_the_way_out_but_briefly() -> None:
    """Told by hand: a leg that drives the other's stretches the other way, one that strays a little, one that does."""
    plan = example_plan()
    trip = int(plan.levels.trip[0, 0])
    out, back = plan.trip_rows(trip)
    segment, forward = plan.forest.segment.copy(), plan.forest.forward.copy()
    segment[back], forward[back] = segment[out[::-1]], ~forward[out[::-1]]
    alike = replace(plan, forest=replace(plan.forest, segment=segment, forward=forward))
    assert card_facts.astray(alike, trip) == ""
    forward = forward.copy()
    forward[back[0]] = ~forward[back[0]]
    strays = replace(alike, forest=replace(alike.forest, forward=forward))
    length_m = plan.roads.length_m.copy()
    length_m[segment[back[0]]] = 30.48
    near = replace(strays, roads=replace(plan.roads, length_m=length_m))
    assert str(card_facts.astray(near, trip)).startswith(", but for 100 ft on ")
    length_m = length_m.copy()
    length_m[segment[back[0]]] = 3000.0
    assert card_facts.astray(replace(strays, roads=replace(plan.roads, length_m=length_m)), trip) is None


def test_bridges_and_postings_of_a_trip_are_marked_once() -> None:
    plan = example_plan()
    picture = Picture(plan)
    trip = int(plan.levels.trip[3, 1])
    found = picture.subject((3,), 3, trip).bridges
    segments = {int(s) for rows in plan.trip_rows(trip) for s in plan.forest.segment[rows]}
    expected = [s for s in sorted(segments) if plan.limits.unposted_bridge[s] or np.isfinite(plan.limits.max_lb[s])]
    assert [bridge.said for bridge in found] == ["20,000 lb" if s == 1 else "" for s in expected]
    assert 1 in expected
