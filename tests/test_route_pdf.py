"""A trip on a small map: turns where the miles say, the far end alone for an inset."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_cards import CardGroup, Step
from preplan.plan_tables import NOT_THIS_WAY, SHUT_BEYOND, Flag
from preplan.planning.off_road import BARRIER
from preplan.planning.weights import LIMIT_NOT_KNOWN
from preplan.render import card_facts, card_parts, card_rest, limit_places, paper, route_pdf, scene, symbols_pdf
from preplan.render.charts import Picture
from preplan.render.driving_words import directions
from preplan.render.route_pdf import Subject
from preplan.render.scene import Box

from .example_plan import example_plan, turning_past
from .plan_checks import SAMPLE, plan_of

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
    assert card_facts.astray(turning_past(alike, trip), trip) == "", "he drives on where he came, and back past it"
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


LIMITED = Flag(
    "posted below load",
    "the Mill Road bridge (posted 24,000 lb = 12 tons). T1 54,600 lb",
    circuit=1,
    stretches=(1,),
    limit="24,000 lb",
)


def flagged(plan: Plan, flag: Flag) -> Plan:
    return replace(plan, answers=replace(plan.answers, flags=((flag,),) * len(plan.addresses)))


def map_of(plan: Plan, group: CardGroup, page: Box, monkeypatch: pytest.MonkeyPatch) -> tuple[int, list[str]]:
    """Draw a card's map into a box; gives how many pairs of brackets it has, and the labels of limits."""
    brackets, said = [], list[str]()
    monkeypatch.setattr(route_pdf, "_brackets", lambda *place: brackets.append(place))
    monkeypatch.setattr(route_pdf, "halo_texts", lambda _pen, placed, **_: said.extend(word for word, _ in placed))
    picture, document = Picture(plan), paper.Document(plan.district, "a map")
    document.begin()
    picture.draw(document.pen, page, card_parts.subject_of(picture, card_facts.Facts(plan, group)))
    return len(brackets), said


@pytest.mark.parametrize("crowded", [False, True])
def test_a_limit_that_a_warning_names_is_drawn_whatever_is_in_its_way(
    crowded: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not on the circuit, under the star, no room for a word: it has its brackets and its pounds."""
    plan = example_plan()
    group = next(one for one in plan.groups if str(plan.answers.status[one.lead]) == "served")
    segment = int(plan.frontages.segment[group.lead])
    flag = replace(LIMITED, stretches=(segment,))
    if crowded:
        monkeypatch.setattr(scene.Room, "place", lambda *_: None)
    count, said = map_of(flagged(plan, flag), group, Box(60.0, 300.0, 460.0, 600.0), monkeypatch)
    assert said.count("24,000 lb") == 1
    plain, _ = map_of(flagged(plan, Flag("dead end")), group, Box(60.0, 300.0, 460.0, 600.0), monkeypatch)
    on_way = {
        int(s) for rows in plan.trip_rows(int(plan.levels.trip[group.lead, 0])) for s in plan.forest.segment[rows]
    }
    known = segment in on_way and (plan.limits.unposted_bridge[segment] or np.isfinite(plan.limits.max_lb[segment]))
    assert count == plain + (not known)


def test_a_limit_s_label_is_the_number_that_its_warning_has() -> None:
    """On the sample, which has postings of weight and of size: whoever reads the bracket finds it in the words."""
    plan = plan_of(SAMPLE / "district.toml")
    limits = [flag for flags in plan.answers.flags for flag in flags if flag.stretches]
    # what has no number, or none that is known, is labelled in words
    in_words = {
        NOT_THIS_WAY: {"not in Mar to May"}, SHUT_BEYOND: {"shut Dec to Apr"}, LIMIT_NOT_KNOWN: {"height unknown"},
        BARRIER: {"barrier"},
    }  # fmt: skip
    numbers = {flag: re.findall(r"[\d,.]+ (?:lb|ft \w+)", flag.limit) for flag in limits if flag.code not in in_words}
    assert {one.rpartition(" ")[2] for said in numbers.values() for one in said} >= {"lb", "high"}
    assert [str(flag) for flag, said in numbers.items() if not said or said[0] not in str(flag.value)] == []
    assert {code: {flag.limit for flag in limits if flag.code == code} for code in in_words} == in_words
    assert limit_places.named_limits([LIMITED]) == {1: LIMITED.limit}


def test_a_warning_says_how_far_from_the_dump_site_its_limit_is() -> None:
    """By hand: a stretch of two points due north and further, on a plane."""
    plan = example_plan()
    start = int(plan.roads.coord_start[1])
    lon, lat = plan.roads.coord_lon.copy(), plan.roads.coord_lat.copy()
    here = slice(start, int(plan.roads.coord_start[2]))
    lead = plan.groups[0].lead
    lon[here], lat[here] = plan.frontages.lon[lead], plan.frontages.lat[lead] + 0.01
    moved = replace(plan, roads=replace(plan.roads, coord_lon=lon, coord_lat=lat))
    # 0.01 degrees of latitude are 1,111 m
    assert limit_places.place_words(moved, LIMITED, lead) == " It is 0.69 mi north of the dump site."
    assert limit_places.place_words(moved, Flag("dead end"), lead) == ""
    lat[here] = plan.frontages.lat[lead]
    assert limit_places.place_words(moved, LIMITED, lead) == " It is at the dump site."
    told = flagged(moved, LIMITED)
    lines = card_rest.cautions(card_facts.Facts(told, plan.groups[0]), 300.0)
    assert "It is at the dump site." in " ".join(line.said for block in lines for line in block.lines)


def test_turns_have_tags_that_are_no_status_and_no_drop(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two points and a level top and bottom: six corners. One for each turn that finds room, where it was placed."""
    plan = example_plan()
    shapes = list[int]()
    document = paper.Document(plan.district, "a map")
    document.begin()
    monkeypatch.setattr(paper.Pen, "shape", lambda _self, points, **_: shapes.append(len(points)))
    symbols_pdf.step_mark(document.pen, "12", 100.0, 100.0)
    assert shapes == [6]
    room = scene.Room(Box(0.0, 0.0, 400.0, 400.0))
    subject = Subject((), turns=((2, 100.0, 100.0), (3, 101.0, 100.0), (4, 300.0, 300.0)))
    placed = route_pdf.turn_labels(scene.Frame(room.frame, Box(0.0, 0.0, 400.0, 400.0)), subject, room)
    assert [number for number, *_ in placed] == ["2", "3", "4"]
    boxes = [spot.box(symbols_pdf.tag_width(number), symbols_pdf.TAG_PT) for number, spot, _ in placed]
    assert not any(one.meets(other) for at, one in enumerate(boxes) for other in boxes[:at])


def test_a_limit_s_label_that_finds_no_room_covers_as_little_as_may_be() -> None:
    """Not as few things as may be: one drop under it cannot be read, the rims of several can."""
    page = Box(0.0, 0.0, 400.0, 300.0)
    drop, rims = Box(203.0, 0.0, 400.0, 300.0), [Box(0.0, low, 203.0, low + 0.2) for low in np.arange(0.0, 300.0, 3.0)]
    room = scene.Room(page, [drop, *rims])
    spot = route_pdf._limit_spot(scene.Frame(page, page), room, "24,000 lb", (200.0, 150.0), [])
    assert spot is not None
    assert not spot.box(paper.width_of("24,000 lb", paper.SMALL_PT, bold=True), paper.SMALL_PT).meets(drop)


def test_a_limit_s_label_that_finds_no_room_covers_that_of_another_limit_last() -> None:
    """Two texts on each other cannot be read; what else is there has less under them, and is covered instead."""
    page, other = Box(0.0, 0.0, 400.0, 300.0), Box(155.0, 143.0, 203.0, 157.0)
    left, right = Box(0.0, 0.0, 155.0, 300.0), Box(203.0, 0.0, 400.0, 300.0)
    below, above = Box(155.0, 0.0, 203.0, 143.0), Box(155.0, 157.0, 203.0, 300.0)
    taken, told = [other, *[left, right, below, above] * 2], []
    for labels in ([], [other]):
        room = scene.Room(page, [*taken])
        spot = route_pdf._limit_spot(scene.Frame(page, page), room, "24,000 lb", (210.0, 150.0), labels)
        assert spot is not None
        told.append(spot.box(paper.width_of("24,000 lb", paper.SMALL_PT, bold=True), paper.SMALL_PT).meets(other))
    assert told == [True, False]
