"""Directions: hand-drawn ways told road by road."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from preplan.plan_cards import Step
from preplan.roads.paths import Junctions, cross_street, directions, heading_at_end
from preplan.units import M_PER_MI
from tests.road_builder import Drawing, draw

MI = M_PER_MI
MAIN, ELM, OAK = {"name": "Main Street"}, {"name": "Elm Road"}, {"name": "Oak Lane"}


def tell(
    town: Drawing, nodes: str, start: float = 0.0, end: float | None = None, *, known: Junctions | None = None
) -> tuple[Step, ...]:
    """Tell the way through nodes of one letter each; start and end are shares along the way driven."""
    segments, forward = [], []
    for a, b in pairwise(nodes):
        ends = (town.roads.from_node.tolist(), town.roads.to_node.tolist())
        pairs = list(zip(*ends, strict=True))
        ahead = (town.node[a], town.node[b]) in pairs
        segments.append(town.row(a, b) if ahead else town.row(b, a))
        forward.append(ahead)
    start_fraction = start if forward[0] else 1.0 - start
    end = 1.0 if end is None else end
    end_fraction = end if forward[-1] else 1.0 - end
    ways = np.array(segments, dtype=np.int32), np.array(forward)
    ends_at = start_fraction, end_fraction
    return directions(town.roads, town.limits, *ways, *ends_at, leaving="fill site", junctions=known)


def turns(steps: tuple[Step, ...]) -> list[str]:
    return [f"{step.turn} {step.road}" for step in steps]


def crossing(*roads: tuple[str, str, dict[str, Any]], **more: Any) -> Drawing:
    """Draw Main Street from a east to b, c; d lies a mile north of b, e south of it, f north-east, g at (3, 1)."""
    nodes = {
        "a": (0, 0),
        "b": (MI, 0),
        "c": (2 * MI, 0),
        "d": (MI, MI),
        "e": (MI, -MI),
        "f": (2 * MI, MI),
        "g": (3 * MI, MI),
    }
    return draw(nodes, list(roads), **more)


CROSSING = crossing(("a", "b", MAIN), ("b", "c", MAIN), ("b", "d", ELM), ("e", "b", OAK))


@pytest.mark.parametrize(
    ("way", "told"),
    [
        ("abc", ["Leave the fill site east on Main Street"]),
        ("abd", ["Leave the fill site east on Main Street", "Left on Elm Road"]),
        ("abe", ["Leave the fill site east on Main Street", "Right on Oak Lane"]),
        ("cba", ["Leave the fill site west on Main Street"]),
        ("cbd", ["Leave the fill site west on Main Street", "Right on Elm Road"]),
        ("ebd", ["Leave the fill site north on Oak Lane", "Straight on Elm Road"]),
        ("dbe", ["Leave the fill site south on Elm Road", "Straight on Oak Lane"]),
        ("aba", ["Leave the fill site east on Main Street", "Turn round on Main Street"]),
        (
            "abdba",
            [
                "Leave the fill site east on Main Street",
                "Left on Elm Road",
                "Turn round on Elm Road",
                "Right on Main Street",
            ],
        ),
    ],
)
def test_turns_are_told_as_driven(way: str, told: list[str]) -> None:
    assert turns(tell(CROSSING, way)) == told


def test_miles_start_and_end_at_the_places() -> None:
    steps = tell(CROSSING, "abd", start=0.25, end=0.4)
    assert [step.miles for step in steps] == pytest.approx([0.75, 0.4], rel=1e-4)
    back = tell(CROSSING, "dba", start=0.6, end=0.75)
    assert [step.miles for step in back] == pytest.approx([0.4, 0.75], rel=1e-4)
    assert [step.miles for step in tell(CROSSING, "ab", start=0.2, end=0.5)] == pytest.approx([0.3], rel=1e-4)
    assert [step.miles for step in tell(CROSSING, "ba", start=0.2, end=0.5)] == pytest.approx([0.3], rel=1e-4)


@pytest.mark.parametrize("way", ["abd", "dba", "abdh", "hdba", "aba", "abdba", "cb"])
def test_a_way_that_was_told_is_told_to_another_end_as_anew(way: str) -> None:
    """Its miles, and what is noted of its last road: most of Elm Road is gravel from its second stretch on."""
    town = draw(
        {"a": (0, 0), "b": (MI, 0), "c": (2 * MI, 0), "d": (MI, 500), "h": (MI, 3000)},
        [("a", "b", MAIN), ("b", "c", MAIN), ("b", "d", ELM), ("h", "d", {**ELM, "surface": "gravel"})],
    )
    known = Junctions.of(town.roads)
    told = [(end, tell(town, way, end=end, known=known)) for end in (0.4, 0.9, 0.02, 0.4)]
    assert told == [(end, tell(town, way, end=end)) for end, _ in told]
    assert len({steps for _, steps in told}) == 3
    if way == "abdh":
        assert {steps[-1].note for _, steps in told} == {"", "gravel"}


def test_no_way_is_no_step() -> None:
    nothing = np.array([], dtype=np.int32)
    ways = nothing, nothing.astype(np.bool_)
    assert directions(CROSSING.roads, CROSSING.limits, *ways, 0.0, 0.0, leaving="dump site") == ()


@pytest.mark.parametrize(("east", "told"), [(0.9, 2), (0.6, 1)])
def test_who_comes_up_the_stem_of_a_t_is_told_to_turn_though_his_road_goes_on(east: float, told: int) -> None:
    """Main Street leaves at 64 or 37 degrees, the other road behind it to the other side."""
    nodes = {"a": (0, 0), "b": (0, MI), "c": (east * MI, MI + (1 - east**2) ** 0.5 * MI), "d": (-0.8 * MI, 0.4 * MI)}
    town = draw(nodes, [("a", "b", MAIN), ("b", "c", MAIN), ("b", "d", ELM)])
    assert turns(tell(town, "abc")) == ["Leave the fill site north on Main Street", "Right on Main Street"][:told]
    alone = draw(nodes, [("a", "b", MAIN), ("b", "c", MAIN)])
    assert turns(tell(alone, "abc")) == ["Leave the fill site north on Main Street"]


def test_a_bend_of_one_road_is_no_step_and_a_turn_of_it_at_a_fork_is() -> None:
    bend = crossing(("a", "b", MAIN), ("b", "d", MAIN))
    assert turns(tell(bend, "abd")) == ["Leave the fill site east on Main Street"]
    fork = crossing(("a", "b", MAIN), ("b", "d", MAIN), ("b", "c", OAK))
    assert turns(tell(fork, "abd")) == ["Leave the fill site east on Main Street", "Left on Main Street"]
    tee = crossing(("a", "b", MAIN), ("b", "d", MAIN), ("b", "e", OAK))
    assert turns(tell(tee, "abd")) == ["Leave the fill site east on Main Street", "Left on Main Street"]
    driveway = crossing(("a", "b", MAIN), ("b", "d", MAIN), ("b", "c", {"highway": "service", "service": "driveway"}))
    assert turns(tell(driveway, "abd")) == ["Leave the fill site east on Main Street"]


def test_a_slight_turn_is_straight_on_unless_another_road_is_straighter() -> None:
    slight = {"a": (0, 0), "b": (MI, 0), "c": (2 * MI, -0.6 * MI), "d": (2 * MI, 0.1 * MI)}
    alone = draw(slight, [("a", "b", MAIN), ("b", "c", OAK)])
    assert turns(tell(alone, "abc"))[1] == "Straight on Oak Lane"
    rivalled = draw(slight, [("a", "b", MAIN), ("b", "c", OAK), ("b", "d", ELM)])
    assert turns(tell(rivalled, "abc"))[1] == "Right on Oak Lane"
    assert turns(tell(rivalled, "abd"))[1] == "Straight on Elm Road"


def test_the_bearing_is_taken_along_the_road_not_at_its_last_wriggle() -> None:
    town = draw(
        {"a": (0, 0), "b": (1000, 0), "c": (2000, 0)},
        [("a", "b", MAIN), ("b", "c", {**OAK, "via": [(1001, 2), (1030, 2)]})],
    )
    assert turns(tell(town, "abc"))[1] == "Straight on Oak Lane"


def test_roads_without_a_name_go_by_number_or_kind() -> None:
    town = crossing(("a", "b", {"ref": "US 2;VT 114"}), ("b", "d", {"highway": "track"}), ("b", "c", {}))
    assert [step.road for step in tell(town, "abd")] == ["US 2 / VT 114", "unnamed track"]
    assert [step.road for step in tell(town, "abc")] == ["US 2 / VT 114", "unnamed road"]


def test_a_short_nameless_piece_inside_a_road_belongs_to_it() -> None:
    nodes = {"a": (0, 0), "b": (300, 0), "c": (350, 0), "d": (900, 0), "e": (1800, 0)}
    town = draw(nodes, [("a", "b", MAIN), ("b", "c", {"bridge": "yes"}), ("c", "d", MAIN)])
    assert turns(tell(town, "abcd")) == ["Leave the fill site east on Main Street"]
    far = draw(nodes, [("a", "b", MAIN), ("b", "d", {}), ("d", "e", MAIN)])
    assert len(tell(far, "abde")) == 3


# A roundabout of four nodes, driven counterclockwise: w -> s -> e -> n -> w. Roads lead west to a, south to b,
# east to c and north to d; o leads in only, from the south-east, between s and e.
ROUND_NODES = {
    "w": (-20, 0), "s": (0, -20), "k": (14, -14), "e": (20, 0), "n": (0, 20),
    "a": (-1000, 0), "b": (0, -1000), "o": (800, -800), "c": (1000, 0), "d": (0, 1000),
}  # fmt: skip
CIRCLE = {"junction": "roundabout", "oneway": "yes", "ref": "SR 917", "highway": "secondary"}
ROUNDABOUT = draw(
    ROUND_NODES,
    [
        *((p, q, CIRCLE) for p, q in ("ws", "sk", "ke", "en", "nw")),
        ("a", "w", {"ref": "SR 917"}),
        ("b", "s", ELM),
        ("o", "k", {**OAK, "oneway": "yes"}),
        ("e", "c", MAIN),
        ("n", "d", {"ref": "SR 917"}),
    ],
)


@pytest.mark.parametrize(
    ("way", "told"),
    [
        ("awsb", "Roundabout exit 1: Elm Road"),
        ("awskec", "Roundabout exit 2: Main Street"),  # Oak Lane leads in only
        ("awskend", "Roundabout exit 3: SR 917"),
        ("awskenwa", "Roundabout exit 4: SR 917"),
        ("okec", "Roundabout exit 1: Main Street"),
        ("cenwsb", "Roundabout exit 3: Elm Road"),
    ],
)
def test_a_roundabout_is_one_line_with_its_exits_counted(way: str, told: str) -> None:
    steps = tell(ROUNDABOUT, way)
    assert turns(steps)[1:] == [told]
    assert sum(step.miles for step in steps) == pytest.approx(_miles_of(ROUNDABOUT, way), rel=1e-6)


def closed(town: Drawing, start: str, end: str) -> Drawing:
    """Close a road as the district's own closures do."""
    row = town.row(start, end)
    columns = {name: getattr(town.limits, name).copy() for name in ("tanker_road", "forward_open", "backward_open")}
    for column in columns.values():
        column[row] = False
    return replace(town, limits=replace(town.limits, **columns))


def test_a_closed_road_is_still_there_to_be_told_from() -> None:
    """It counts as an exit, it goes straight on where the way leaves it, and it is a cross street."""
    assert turns(tell(closed(ROUNDABOUT, "b", "s"), "awskec"))[1] == "Roundabout exit 2: Main Street"
    slight = {"a": (0, 0), "b": (MI, 0), "c": (2 * MI, -0.6 * MI), "d": (2 * MI, 0.1 * MI)}
    fork = draw(slight, [("a", "b", MAIN), ("b", "c", OAK), ("b", "d", MAIN)])
    assert turns(tell(closed(fork, "b", "d"), "abc"))[1] == "Right on Oak Lane"
    shut = closed(CROSSING, "b", "d")
    assert cross_street(shut.roads, shut.limits, shut.row("a", "b"), 0.5).road == "Elm Road"


def _miles_of(town: Drawing, nodes: str) -> float:
    rows = [
        row
        for a, b in pairwise(nodes)
        for row in range(len(town.roads))
        if {town.node[a], town.node[b]} == {int(town.roads.from_node[row]), int(town.roads.to_node[row])}
    ]
    return float(town.roads.length_m[rows].sum()) / MI


def test_a_way_that_starts_or_ends_on_a_roundabout_says_so() -> None:
    assert turns(tell(ROUNDABOUT, "skec")) == [
        "Leave the fill site northeast on the roundabout",
        "Right on Main Street",
    ]
    assert turns(tell(ROUNDABOUT, "aws"))[-1].endswith("the roundabout")
    assert turns(tell(ROUNDABOUT, "ws")) == ["Leave the fill site southeast on the roundabout"]


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        ({"ref": "SR 917"}, {"name": "State Route 917"}, ["State Route 917"]),
        ({"name": "Main Street", "ref": "SR 917"}, {"ref": "SR 917"}, ["Main Street (SR 917)"]),
        ({"ref": "SR 917"}, {"name": "Main Street", "ref": "US 2;SR 917"}, ["Main Street (SR 917)"]),
        ({"name": "Main St"}, {"name": "Main Street"}, ["Main St"]),
        ({**MAIN, "ref": "SR 9"}, {**ELM, "ref": "SR 9"}, ["Main Street (SR 9)", "Elm Road"]),
        ({"name": "Route 235", "ref": "235"}, {**ELM, "ref": "35"}, ["Route 235", "Elm Road (35)"]),
        ({"ref": "SR 917"}, {"ref": "SR 918"}, ["SR 917", "SR 918"]),
        ({"name": "Main Street"}, {"ref": "SR 917"}, ["Main Street", "SR 917"]),
    ],
)  # fmt: skip
def test_name_and_number_of_one_road_are_one_line(
    first: dict[str, str], second: dict[str, str], told: list[str]
) -> None:
    line = draw({"a": (0, 0), "b": (MI, 0), "c": (2 * MI, 0)}, [("a", "b", first), ("b", "c", second)])
    assert [step.road for step in tell(line, "abc")] == told


def test_no_number_of_its_own_road_is_a_cross_street() -> None:
    line = draw({"a": (0, 0), "b": (500, 0), "c": (900, 0), "d": (900, 500)}, [
        ("a", "b", {"name": "State Route 917"}), ("b", "c", {"ref": "SR 917"}), ("c", "d", ELM),
    ])  # fmt: skip
    assert cross_street(line.roads, line.limits, 0, 0.5).road == "Elm Road"


def test_a_bare_number_is_told_as_that_of_a_route() -> None:
    """'Cross street: 237' reads as the number of a house."""
    town = crossing(("a", "b", {"ref": "237"}), ("b", "c", {"ref": "237"}), ("b", "e", {"ref": "14A;15"}))
    assert cross_street(town.roads, town.limits, town.row("b", "e"), 0.5).road == "Route 237"
    assert [step.road for step in tell(town, "abe")] == ["Route 237", "Route 14A / 15"]
    assert cross_street(town.roads, town.limits, town.row("a", "b"), 0.5).road == "Route 14A / 15"


def link(length_m: float, **tags: str) -> Drawing:
    """Draw Main Street east to b, a slip road from b south-east to c, Elm Road on south from there."""
    step_m = length_m / 2**0.5
    nodes = {"a": (0, 0), "b": (1000, 0), "c": (1000 + step_m, -step_m), "d": (1000 + step_m, -1000), "e": (2000, 0)}
    return draw(nodes, [("a", "b", MAIN), ("b", "c", tags), ("c", "d", ELM), ("b", "e", MAIN)])


def test_a_short_nameless_link_is_part_of_the_turn() -> None:
    steps = tell(link(40.0), "abcd")
    assert turns(steps) == ["Leave the fill site east on Main Street", "Right on Elm Road"]
    assert [one.miles for one in steps] == pytest.approx([1000 / MI, (40 + 1000 - 40 / 2**0.5) / MI], rel=1e-3)
    assert turns(tell(link(40.0), "dcba"))[1:] == ["Left on Main Street"]
    assert len(tell(link(60.0), "abcd")) == 3  # 0.037 mi
    assert len(tell(link(40.0, name="Slip Lane"), "abcd")) == 3
    assert turns(tell(link(40.0), "abc"))[1:] == ["Right on unnamed road"]  # the way ends on it


@pytest.mark.parametrize(
    ("feet", "told"), [(20.0, ["Left on Elm Road"]), (40.0, ["Straight on Oak Lane", "Left on Elm Road"])]
)
def test_a_road_of_a_few_feet_that_goes_straight_on_is_no_step(feet: float, told: list[str]) -> None:
    """'Straight on Oak Lane, 20 ft': nobody reads its sign on the way to the turn. The miles stay."""
    at = 1000 + feet * 0.3048
    nodes = {"a": (0, 0), "b": (1000, 0), "c": (at, 0), "d": (at, 1000), "e": (at + 1000, 0)}
    town = draw(nodes, [("a", "b", MAIN), ("b", "c", OAK), ("c", "d", ELM), ("c", "e", OAK)])
    steps = tell(town, "abcd")
    assert turns(steps)[1:] == told
    assert sum(step.miles for step in steps) == pytest.approx((at + 1000) / MI, rel=1e-3)
    # to another name on the same line it is told by its own turn, and a turn into a few feet stays one
    assert turns(tell(town, "dce"))[1:] == ["Left on Oak Lane"]
    assert turns(tell(town, "dcba"))[1:] == ["Right on Oak Lane", "Straight on Main Street"]


def test_a_hairpin_over_a_link_turns_the_way_in_which_it_is_driven() -> None:
    """East on Main Street, sharp right on a link, right again on Elm Road: 182 degrees in all.

    The bearings of both roads alone differ by 178 degrees to the left.
    """
    nodes = {"a": (0, 0), "b": (1000, 0), "c": (1000, -40), "d": (0, -5), "e": (2000, 0)}
    town = draw(nodes, [("a", "b", MAIN), ("b", "c", {}), ("c", "d", ELM), ("b", "e", MAIN)])
    assert turns(tell(town, "abcd"))[1:] == ["Right on Elm Road"]
    # back, the link ends on Main Street, which leads both ways
    assert turns(tell(town, "dcba"))[1:] == ["Left on unnamed road", "Left on Main Street"]
    one_way = draw(nodes, [("a", "b", MAIN), ("b", "c", {}), ("c", "d", ELM), ("b", "e", OAK)])
    assert turns(tell(one_way, "dcba"))[1:] == ["Left on Main Street"]


def test_a_link_to_a_road_without_a_name_is_told_by_itself() -> None:
    """Nothing would tell a driver that the turn is meant 40 m farther on, and not at the crossing before it."""
    nodes = {"a": (0, 0), "b": (1000, 0), "c": (1040, 0), "d": (1040, 1000), "e": (1000, 1000), "f": (2000, 0)}
    roads = [("a", "b", MAIN), ("b", "c", {}), ("c", "d", {}), ("b", "e", {}), ("c", "f", {})]
    told = turns(tell(draw(nodes, [*roads]), "abcd"))[1:]
    assert told == ["Straight on unnamed road", "Left on unnamed road"]


def fork(left: float, right: float, *names: dict[str, Any], before: dict[str, Any] = MAIN) -> Drawing:
    """Draw a road a mile to the east, where it forks into two that leave so many degrees to the left and right."""
    ends = {
        name: (MI + MI * np.cos(np.radians(d)), -MI * np.sin(np.radians(d))) for name, d in (("l", left), ("r", right))
    }
    return draw({"a": (0, 0), "b": (MI, 0), **ends}, [("a", "b", before), ("b", "l", names[0]), ("b", "r", names[1])])


HIGHWAY = {"highway": "motorway", "ref": "I 93", "oneway": "yes"}
RAMP = {"highway": "motorway_link", "oneway": "yes"}
AGAINST = {**MAIN, "oneway": "-1"}


@pytest.mark.parametrize(
    ("town", "left", "right"),
    [
        # a ramp hardly leaves the highway at first, which goes on without a word
        (fork(0.0, 4.0, HIGHWAY, RAMP, before=HIGHWAY), [], ["Right on unnamed ramp"]),
        (fork(-9.0, -3.0, HIGHWAY, RAMP, before=HIGHWAY), [], ["Right on unnamed ramp"]),
        # at a Y neither is straight on, but where one is much straighter
        (fork(-30.0, 32.0, ELM, OAK), ["Left on Elm Road"], ["Right on Oak Lane"]),
        (fork(-12.0, 32.0, ELM, OAK), ["Straight on Elm Road"], ["Right on Oak Lane"]),
        # two roads of one name, or without any
        (fork(-4.0, 6.0, MAIN, MAIN), ["Left on Main Street"], ["Right on Main Street"]),
        (fork(-4.0, 6.0, {}, {}, before={}), ["Left on unnamed road"], ["Right on unnamed road"]),
        # a road that goes on past another is no turn
        (fork(-30.0, 32.0, MAIN, OAK), [], ["Right on Oak Lane"]),
    ],
)
def test_at_a_fork_the_side_is_told(town: Drawing, left: list[str], right: list[str]) -> None:
    assert turns(tell(town, "abl"))[1:] == left
    assert turns(tell(town, "abr"))[1:] == right


def test_the_other_carriageway_is_no_branch_of_a_fork() -> None:
    """Where a median begins traffic comes the other way on the left: nobody has to be told to keep right."""
    town = fork(-6.0, 6.0, AGAINST, {**MAIN, "oneway": "yes"})
    against = town.limits.forward_open.copy()
    against[1] = False
    town = replace(town, limits=replace(town.limits, forward_open=against, backward_open=~against))
    assert turns(tell(town, "abr"))[1:] == []


def test_a_loop_at_the_end_of_a_road_is_entered_on_the_side_that_is_told() -> None:
    town = draw(
        {"a": (0, 0), "b": (1000, 0)}, [("a", "b", MAIN), ("b", "b", {**MAIN, "via": [(1200, 250), (1200, -250)]})]
    )
    states = np.array([0, 1], dtype=np.int32)
    for along, word in ((True, "Left"), (False, "Right")):
        ways = states, np.array([True, along])
        steps = directions(town.roads, town.limits, *ways, 0.0, 0.5, leaving="fill site")
        assert turns(steps)[1:] == [f"{word} on Main Street"]


def test_first_one_way_and_then_the_other_are_two_turns() -> None:
    """Elm Road goes on beside Main Street: who is told 'straight on' passes the link between them."""
    nodes = {"a": (0, 0), "b": (1000, 0), "c": (1000, -40), "d": (2000, -40), "e": (2000, 0), "f": (0, -40)}
    town = draw(nodes, [("a", "b", MAIN), ("b", "c", {}), ("c", "d", ELM), ("b", "e", MAIN), ("f", "c", ELM)])
    assert turns(tell(town, "abcd"))[1:] == ["Right on unnamed road", "Left on Elm Road"]
    assert turns(tell(town, "dcba"))[1:] == ["Right on unnamed road", "Left on Main Street"]
    # a slip road that bends with the way is part of the one turn
    bent = draw({**nodes, "c": (1040, -10)}, [("a", "b", MAIN), ("b", "c", {}), ("c", "d", ELM)])
    assert turns(tell(bent, "abcd"))[1:] == ["Straight on Elm Road"]


def test_a_nameless_way_off_a_road_and_back_to_it_is_no_piece_of_that_road() -> None:
    """Round the block to turn: Main Street goes straight on; a bridge without a name in it is Main Street."""
    nodes = {"a": (0, 0), "b": (1000, 0), "c": (1000, -80), "d": (800, -80), "e": (800, 0), "f": (2000, 0)}
    block = draw(nodes, [
        ("a", "e", MAIN), ("e", "b", MAIN), ("b", "f", MAIN), ("b", "c", {}), ("c", "d", {}), ("d", "e", {}),
    ])  # fmt: skip
    assert turns(tell(block, "aebcdea"))[1:] == ["Right on unnamed road", "Left on Main Street"]
    bridge = draw(nodes, [("a", "e", MAIN), ("e", "b", {}), ("b", "f", MAIN)])
    assert turns(tell(bridge, "aebf")) == ["Leave the fill site east on Main Street"]


def test_notes_tell_postings_bridges_and_surface() -> None:
    town = crossing(
        ("a", "b", {**MAIN, "bridge": "yes"}),
        ("b", "c", {**MAIN, "surface": "compacted"}),
        ("b", "d", {**ELM, "surface": "asphalt"}),
        ("d", "f", ELM),
        ("f", "g", OAK),
        limits={
            "max_lb": {0: 30000.0},
            "unposted_bridge": {2: True, 3: True, 4: True},
            "max_height_ft": {2: 10.5},
            "narrow": {3: True},
        },
    )
    assert [step.note for step in tell(town, "abc")] == ["bridge posted 30,000 lb = 15 tons"]
    assert [step.note for step in tell(town, "cb")] == ["gravel"]
    assert [step.note for step in tell(town, "abdfg")] == [
        "bridge posted 30,000 lb = 15 tons",
        "low clearance 10 ft 6 in; 2 bridges, limit not posted; one truck wide",
        "bridge, limit not posted",
    ]
    # a fill site at the very end of the bridge is not on it; one that stands on it is
    assert [step.note for step in tell(town, "abc", start=0.995)] == ["gravel"]
    assert [step.note for step in tell(town, "abc", start=0.9)] == ["bridge posted 30,000 lb = 15 tons; gravel"]


def test_railway_crossings_are_told_where_they_are_passed() -> None:
    town = crossing(
        ("a", "b", MAIN),
        ("b", "d", OAK),
        ("d", "f", OAK),
        ("f", "g", OAK),
        node_tags={name: {"railway": "level_crossing"} for name in "abf"},
    )
    # at b on turning into Oak, at f along it; a way begins and ends at crossings without passing them
    assert [step.note for step in tell(town, "abdfg")] == ["", "2 railway crossings"]
    assert [step.note for step in tell(town, "abdf")] == ["", "railway crossing"]
    assert [step.note for step in tell(town, "fdb")] == [""]


def test_the_heading_at_the_end_of_a_way_is_that_of_its_last_road() -> None:
    """North on Elm Road for a few metres behind a corner: over the last 50 m it would be north-east."""
    town = crossing(("a", "b", MAIN), ("b", "d", ELM))
    ways = np.array([town.row("a", "b"), town.row("b", "d")], dtype=np.int32), np.array([True, True])
    meeting, end = Junctions.of(town.roads), 20.0 / MI
    assert heading_at_end(town.roads, *ways, 0.0, end, meeting, 20.0 / M_PER_MI) == "north"
    assert heading_at_end(town.roads, *ways, 0.0, end, meeting, 1.0) == "northeast"
    back = ways[0][::-1], ~ways[1]
    assert heading_at_end(town.roads, *back, 1.0, 0.5, meeting, 0.5) == "west"


def test_a_border_control_on_the_way_is_told() -> None:
    town = crossing(("a", "b", MAIN), ("b", "c", OAK), ("c", "g", OAK), node_tags={"c": {"barrier": "border_control"}})
    assert [step.note for step in tell(town, "abcg")] == ["", "BORDER CONTROL"]
    assert [step.note for step in tell(town, "abc")] == ["", ""]


def test_a_weight_posted_on_a_road_is_no_bridge() -> None:
    town = crossing(("a", "b", MAIN), limits={"max_lb": {0: 24000.0}, "max_width_ft": {0: 9.0}})
    assert [step.note for step in tell(town, "ab")] == ["posted 24,000 lb = 12 tons; width limit 9 ft"]


def test_cross_street_is_the_nearest_either_way_along_the_road() -> None:
    nodes = {name: (east * MI, north * MI) for name, (east, north) in {
        "a": (0, 0), "b": (0.4, 0), "c": (0.8, 0), "d": (2.0, 0), "n": (0.8, 1), "s": (0, -1), "x": (0.4, 1)
    }.items()}  # fmt: skip
    town = draw(
        nodes,
        [("a", "b", MAIN), ("b", "c", MAIN), ("c", "d", MAIN), ("c", "n", ELM), ("a", "s", OAK), ("b", "x", {})],
    )
    junctions = Junctions.of(town.roads)

    def cross(start: str, end: str, fraction: float) -> str:
        return cross_street(town.roads, town.limits, town.row(start, end), fraction, junctions=junctions).road

    assert cross("b", "c", 0.5) == "Elm Road"  # 0.2 mi against 0.6; the nameless road at b is none
    assert cross("a", "b", 0.25) == "Oak Lane"  # 0.1 mi against 0.7
    assert cross("a", "b", 0.9) == "Oak Lane"  # 0.36 mi against 0.44
    assert cross("c", "d", 0.9) == "Elm Road"  # 1.08 mi
    assert cross("c", "n", 0.5) == "Main Street"


@pytest.mark.parametrize(("long_mi", "named"), [(9.8, True), (10.2, False)])
def test_the_cross_street_of_a_long_dead_end_is_told_with_its_distance(long_mi: float, named: bool) -> None:
    """Its end is driven past pieces of the same road; farther than `CROSS_STREET_MI` none is told."""
    nodes = {"a": (0.0, 0.0), "b": (MI, 0.0), "c": (long_mi * MI, 0.0), "n": (0.0, MI), "s": (0.0, -MI)}
    town = draw(nodes, [("a", "b", MAIN), ("b", "c", MAIN), ("n", "a", ELM), ("a", "s", ELM)])
    found = cross_street(town.roads, town.limits, 1, 1.0)
    assert found.road == ("Elm Road" if named else "")
    assert found.miles == pytest.approx(long_mi if named else 0.0, rel=1e-6)


def test_cross_street_on_a_loop_ends() -> None:
    town = draw({"a": (0, 0), "b": (100, 0), "c": (50, 80)}, [("a", "b", MAIN), ("b", "c", MAIN), ("c", "a", MAIN)])
    assert cross_street(town.roads, town.limits, 0, 0.5).road == ""


@pytest.mark.parametrize(
    ("way", "start", "told"),
    [
        ("ab", 0.0, "east"), ("ba", 0.2, "west"), ("bd", 0.0, "north"), ("be", 0.0, "south"), ("bf", 0.0, "northeast"),
    ],
)  # fmt: skip
def test_the_first_step_says_the_heading_that_is_driven(way: str, start: float, told: str) -> None:
    town = crossing(("a", "b", MAIN), ("b", "d", ELM), ("e", "b", OAK), ("f", "b", OAK))
    assert tell(town, way, start)[0].turn == f"Leave the fill site {told} on"


def test_the_heading_is_that_of_the_first_tens_of_metres() -> None:
    nodes = {"a": (0, 0), "b": (2000, 1000)}
    bent = draw(nodes, [("a", "b", {**MAIN, "via": [(1000, 0), (1000, 1000)]})])
    assert tell(bent, "ab")[0].turn == "Leave the fill site east on"
    assert tell(bent, "ab", start=0.4)[0].turn == "Leave the fill site north on"
    assert tell(bent, "ba")[0].turn == "Leave the fill site west on"


def test_a_way_starts_on_the_first_road_driven_for_more_than_a_few_feet() -> None:
    nodes = {"a": (0, 0), "b": (1000, 0), "d": (1000, 1000), "c": (2000, 0)}
    town = draw(nodes, [("a", "b", MAIN), ("b", "d", ELM), ("b", "c", MAIN)])
    few, more = tell(town, "abd", start=0.992), tell(town, "abd", start=0.98)
    assert turns(few) == ["Leave the fill site north on Elm Road"]  # 26 ft before
    assert few[0].miles == pytest.approx(1008 / MI, rel=1e-3)
    assert turns(more) == ["Leave the fill site east on Main Street", "Left on Elm Road"]  # 66 ft


def test_who_turns_round_is_told_how_far_on_and_whether_a_place_is_mapped() -> None:
    mapped = crossing(("a", "b", MAIN), ("b", "d", ELM), node_tags={"b": {"highway": "turning_circle"}})
    assert turns(tell(mapped, "aba", start=0.9)) == [
        "Leave the fill site east on Main Street", "Turn round on Main Street",
    ]  # fmt: skip
    round_ = tell(mapped, "aba", start=0.9)[1]
    assert (round_.room, round_.past) == ("mapped turning place", "fill site")
    assert round_.past_mi == pytest.approx(0.1, rel=1e-3)
    later = tell(mapped, "abdba")[2]
    assert later.turns_round
    assert (later.room, later.past) == ("room ASSUMED: check it", "")
    assert [step.turns_round for step in tell(mapped, "abd")] == [False, False]
    # a few feet before a place to turn are no mere start
    assert len(tell(mapped, "aba", start=0.998)) == 2


@pytest.mark.parametrize(
    ("tags", "what"),
    [
        ({"barrier": "swing_gate", "locked": "yes"}, "swing gate"),
        ({"barrier": "<b>"}, "barrier"),
        ({"ford": "yes"}, "ford"),
    ],
)
def test_who_turns_round_before_a_gate_is_told_so(tags: dict[str, str], what: str) -> None:
    shut = crossing(("a", "b", MAIN), node_tags={"b": tags})
    assert tell(shut, "aba", start=0.9)[1].room == f"room ASSUMED before the {what}: check it"


def test_every_warning_is_told() -> None:
    tags = {**MAIN, "bridge": "yes", "surface": "gravel"}
    limits = {
        "max_lb": {0: 30000.0}, "max_height_ft": {0: 10.5}, "max_width_ft": {0: 9.0}, "unposted_bridge": {0: True},
        "narrow": {0: True},
    }  # fmt: skip
    town = crossing(("a", "b", tags), limits=limits)
    (step,) = tell(town, "ab")
    assert step.note == (
        "bridge posted 30,000 lb = 15 tons; low clearance 10 ft 6 in; width limit 9 ft; "
        "bridge right at the start, limit not posted; one truck wide; gravel"
    )
