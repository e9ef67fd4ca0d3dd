"""First drives from the stations: a river, a posted bridge and a detour, by hand; and what cards say of them."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_cards import CardGroup, OtherCircuit, Step, WayIn
from preplan.plan_tables import RouteForest
from preplan.planning.ground import SeasonGround
from preplan.planning.vehicles import loaded_vehicle
from preplan.planning.ways_in import _leaves, with_ways_in
from preplan.planning.weights import Weights
from preplan.records import Unit
from preplan.render import scene
from preplan.render.card_facts import Facts
from preplan.render.card_parts import subject_of
from preplan.render.charts import Picture
from preplan.render.driving_words import drives_on
from preplan.render.first_drive import ENDS, EVERY, LAST, WHOLE, bridge_words, facing_words, first_drives
from preplan.roads.junctions import Junctions
from preplan.roads.search import Fleet, Spots, quickest_out, response_min, search_out
from preplan.units import M_PER_MI
from tests.built_sample import built_sample
from tests.example_plan import example_plan
from tests.pdf_words import pages_of
from tests.plan_checks import SAMPLE, plan_of
from tests.planning_case import unit
from tests.road_builder import Drawing, draw
from tests.test_approaches import places
from tests.test_network import network_of
from tests.test_postings import NODES

MILL, HILL, RIDGE, DALE = ({"name": f"{name} Road"} for name in ("Mill", "Hill", "Ridge", "Dale"))
ROADS: list[tuple[str, str, dict[str, Any]]] = [
    ("a", "b", MILL), ("b", "m", MILL), ("m", "c", MILL), ("c", "d", MILL), ("d", "e", MILL),
    ("b", "p", HILL), ("p", "q", RIDGE), ("q", "c", DALE),
]  # fmt: skip
"""Mill Road leads east over the bridge b-m-c; the way round it is 5,000 m longer and has four sharp turns."""
HOME, NEAR, FAR = (0, 0.25), (0, 0.75), (3, 0.5)
HEAVY, LIGHT = unit("E1", "engine", loaded_lb=41500.0), unit("E2", "engine", loaded_lb=19000.0)
SUMMER, WINTER = (4, 5, 6, 7, 8, 9, 10, 11), (12, 1, 2, 3)


def season(town: Drawing, months: tuple[int, ...], posted_lb: float) -> SeasonGround:
    limits = replace(town.limits, max_lb=np.where(np.isin(np.arange(len(ROADS)), (1, 2)), posted_lb, np.inf))
    return SeasonGround(
        months=frozenset(months), limits=limits, network=network_of(replace(town, limits=limits)),
        minutes=lambda _top_mph: np.repeat((town.roads.length_m / 1000.0)[:, None], 2, axis=1),
    )  # fmt: skip


def ways(
    units: tuple[Unit, ...], *, to: int = 1, pumps: int = -1, level: int = 0, winter_lb: float = 20000.0,
    unposted: tuple[int, ...] = (), others: tuple[OtherCircuit, ...] = (), rated_lb: float = np.inf,
) -> tuple[WayIn, ...]:  # fmt: skip
    """Ask for the first drives of all units to the place near or far; `pumps` does so at the far one.

    The bridge is posted 20,000 lb = 10 tons in summer; ratings of it are passed over.
    """
    town = draw(NODES, ROADS)
    town.limits.unposted_bridge[list(unposted)] = True
    seasons = season(town, SUMMER, 20000.0), season(town, WINTER, winter_lb)
    ground = SimpleNamespace(
        roads=town.roads, seasons=seasons, stations=places(HOME), frontages=places(NEAR, FAR), sites=places(NEAR, FAR)
    )

    def each(number: int) -> Any:
        return np.full((2, 1), number, dtype=np.int32)

    levels = SimpleNamespace(
        fleet=np.ones((2, 1, len(units)), dtype=np.bool_), at_split=np.zeros((2, 1, len(units)), dtype=np.bool_),
        site=each(1), split=each(-1), fill_engine=each(pumps), split_engine=each(-1), trip=each(0), split_trip=each(-1),
    )  # fmt: skip
    # empty tankers leave the far place westward over Mill Road
    trips = SimpleNamespace(out_leaf=np.array([0]), back_leaf=np.array([0]))
    forest = SimpleNamespace(segment=np.array([FAR[0]]), forward=np.array([False]), walk=lambda leaf: [leaf])
    answers = SimpleNamespace(level=np.full(2, level, dtype=np.int32))
    found = SimpleNamespace(
        levels=levels, answers=answers, junctions=Junctions.of(town.roads), trips=trips, forest=forest
    )
    lines = tuple(SimpleNamespace(months=months) for months in (SUMMER, WINTER))
    searched = SimpleNamespace(road=np.zeros(2, dtype=np.int32), seasons=lines, of_line=(0, 1))
    group = CardGroup(
        road="", addresses=(to,), lead=to, first_number=-1, last_number=-1, out_steps=(), back_steps=(),
        cross_street="", others=others,
    )  # fmt: skip
    stations = cast("Any", (SimpleNamespace(station_id="S1"),))
    none = np.zeros((2, len(units)), dtype=np.bool_)
    weights = Weights(
        roads=town.roads, bridge=np.isin(np.arange(len(ROADS)), (1, 2)), limits=tuple(one.limits for one in seasons),
        months=(frozenset(SUMMER), frozenset(WINTER)), road=np.zeros(2, dtype=np.int32),
        operating_lb=np.where(np.arange(len(ROADS)) == 1, rated_lb, np.inf), units=units, sent=none, later=none,
        engines=none,
    )  # fmt: skip
    some = with_ways_in(
        cast("Any", found), [group], cast("Any", searched), cast("Any", (trips, forest)), weights, stations,
        cast("Any", ground),
    )  # fmt: skip
    return some[0].ways_in


def told(way: WayIn) -> list[tuple[str, str]]:
    return [(step.turn, step.road) for step in way.steps]


def test_who_is_too_heavy_for_the_bridge_is_led_round_it_and_who_is_not_over_it() -> None:
    round_it, over_it = ways((HEAVY, LIGHT))
    assert (round_it.units, over_it.units) == ((0,), (1,))
    assert told(over_it) == [("Leave the station east on", "Mill Road")]
    assert told(round_it) == [
        ("Leave the station east on", "Mill Road"), ("Left on", "Hill Road"), ("Right on", "Ridge Road"),
        ("Right on", "Dale Road"), ("Left on", "Mill Road"),
    ]  # fmt: skip
    assert sum(step.miles for step in over_it.steps) == pytest.approx(2250.0 / M_PER_MI, rel=1e-3)
    assert sum(step.miles for step in round_it.steps) == pytest.approx(6250.0 / M_PER_MI, rel=1e-3)
    assert {round_it.heading, over_it.heading} == {"east"}


def test_who_comes_one_way_is_told_together() -> None:
    (way,) = ways((LIGHT, unit("E3", "engine", loaded_lb=18000.0)))
    assert (way.units, way.site, way.station) == ((0, 1), -1, 0)


def test_the_engine_that_pumps_goes_to_the_fill_site() -> None:
    """The fire is near, on the station's own road; the fill site is beyond the river."""
    pumps, comes = ways((HEAVY, LIGHT), to=0, pumps=0)
    assert (pumps.units, pumps.site, len(pumps.steps)) == ((0,), 1, 5)
    assert (comes.units, comes.site, told(comes)) == ((1,), -1, [("Leave the station east on", "Mill Road")])
    assert sum(step.miles for step in comes.steps) == pytest.approx(500.0 / M_PER_MI, rel=1e-3)


def test_the_months_in_which_a_way_is_posted_too_low_are_told_and_the_way_then() -> None:
    round_it, over_it, then = ways((HEAVY, LIGHT), winter_lb=10000.0)
    assert (over_it.shut_months, over_it.shut_stretches) == (tuple(sorted(WINTER)), (1, 2))
    assert (round_it.shut_months, round_it.shut_stretches, round_it.months) == ((), (), ())
    assert (then.units, then.months, then.shut_months) == ((1,), tuple(sorted(WINTER)), ())
    assert told(then) == told(round_it)


def sheet(months: tuple[int, ...], **jobs: Any) -> OtherCircuit:
    return OtherCircuit(site=0, trip=0, level=0, out_steps=(), back_steps=(), backup=False, months=months, **jobs)


def test_who_has_no_job_on_the_sheet_of_other_months_is_told_a_way_then_all_the_same() -> None:
    """A winter sheet gives the light engine a job or none; in front it comes to the fire, or pumps at the far site."""
    idle, busy = sheet(WINTER, attack_engine=0), sheet(WINTER, attack_engine=0, dump_engine=1)
    *_, then = ways((HEAVY, LIGHT), winter_lb=10000.0, others=(idle,))
    assert (then.units, then.months, then.site) == ((1,), tuple(sorted(WINTER)), -1)
    assert all(not way.months for way in ways((HEAVY, LIGHT), winter_lb=10000.0, others=(busy,)))
    # who pumps in front has another's place there then: it comes to the fire
    *_, then = ways((HEAVY, LIGHT), pumps=1, winter_lb=10000.0, others=(idle,))
    assert (then.units, then.months, then.site) == ((1,), tuple(sorted(WINTER)), -1)
    some = ways((HEAVY, LIGHT), pumps=1, winter_lb=10000.0, others=(sheet(WINTER[:1], attack_engine=0),))
    assert [(way.units, way.months, way.site) for way in some if way.months] == [
        ((1,), tuple(sorted(WINTER[1:])), 1),
        ((1,), WINTER[:1], -1),
    ]


def test_every_way_of_a_card_that_does_not_hold_in_some_months_has_one_for_those(sample: Plan) -> None:
    shut = 0
    for group in sample.groups:
        told = {(unit, month) for way in group.ways_in for unit in way.units for month in way.months}
        told |= {(unit, month) for other in group.others for unit in other.crew for month in other.months}
        gone = {
            (unit, month) for way in group.ways_in if not way.months for unit in way.units for month in way.shut_months
        }
        assert gone <= told, group.lead
        shut += len(gone)
    assert shut > 100


def test_who_comes_against_the_loaded_tankers_is_known() -> None:
    """They leave the far place westward; all units of the station come eastward."""
    assert [way.against for way in ways((HEAVY, LIGHT))] == [True, True]
    assert [way.against for way in ways((HEAVY, LIGHT), to=0)] == [False]


def test_nothing_is_told_where_no_level_can_be_named() -> None:
    assert ways((HEAVY, LIGHT), level=-1) == ()


def test_the_quickest_drive_takes_as_long_as_the_response_that_is_planned() -> None:
    """Both directions out and in: the least of the four is what the arrival is made of."""
    town = draw(NODES, ROADS)
    ground = season(town, SUMMER, 20000.0)
    spots, to = Spots.of(places(HOME, (4, 0.3), (6, 0.5))), Spots.of(places(NEAR, FAR, (7, 0.1), (4, 0.9)))
    for one in (HEAVY, LIGHT):
        fleet = Fleet.of(ground.network, ground.limits, ground.minutes(60.0), loaded_vehicle(one))
        spot, place = (part.ravel().astype(np.int32) for part in np.indices((3, 4)))
        legs = quickest_out(fleet, search_out(fleet, spots), to, spot, place)
        assert legs.at_most_min.reshape(3, 4) == pytest.approx(response_min(fleet, spots, to))


# --------------------------------------------------------------------------- in words


def way_in(*units: int, site: int = -1, last: str = "Elm Road", first: str = "Mill Road", **changes: Any) -> WayIn:
    steps = (
        Step(road=first, miles=1.0, turn="Leave the station north on"),
        Step(road="Main Street", miles=0.2, turn="Straight on"),
        Step(road=last, miles=2.0, turn="Left on"),
    )
    return WayIn(station=0, units=units, site=site, steps=steps, heading="west", **changes)


def test_of_ways_that_end_alike_the_end_is_told_once() -> None:
    plan = example_plan()
    named = [one.unit_id for one in plan.units]
    some = [way_in(0), way_in(1, first="Hill Road")]
    assert len(first_drives(plan, 0, some, WHOLE)) == len(first_drives(plan, 0, some, EVERY)) == 2
    assert first_drives(plan, 0, some, WHOLE)[0].startswith(
        f"{named[0]}, 3.20 mi: north on Mill Road, straight on Main Street, left on Elm Road"
    )
    assert first_drives(plan, 0, some, LAST) == ["all heading west on Elm Road"]
    pumps = [way_in(0), way_in(1, site=1)]
    assert sorted(first_drives(plan, 0, pumps, LAST)) == [
        f"{named[1]} to fill site 2 heading west on Elm Road", "all others heading west on Elm Road",
    ]  # fmt: skip


def test_the_first_to_arrive_is_told_first() -> None:
    plan = example_plan()
    order = np.argsort(plan.arrival_min[0][:3], kind="stable").tolist()
    some = [way_in(unit, last=f"Road {unit}") for unit in range(3)]
    assert [said.split(":")[0] for said in first_drives(plan, 0, some, ENDS)] == [
        plan.units[unit].unit_id for unit in order
    ]


def test_months_in_which_a_way_does_not_hold_are_told_in_every_form() -> None:
    plan = example_plan()
    for most in (WHOLE, ENDS, LAST):
        (said,) = first_drives(plan, 0, [way_in(0, shut_months=(3, 4, 5))], most)
        assert said.endswith(", NOT in March to May: a road on the way is shut or posted then")
        assert first_drives(plan, 0, [way_in(0, shut_months=(3, 4, 5))], most, told=(6, 7)) == [said.split(", NOT")[0]]
        (then,) = first_drives(plan, 0, [way_in(0, months=(3, 4, 5))], most)
        assert " in March to May" in then


@pytest.fixture(scope="module")
def sample() -> Plan:
    return plan_of(SAMPLE / "district.toml")


def test_every_card_with_a_level_says_once_how_its_units_come(sample: Plan) -> None:
    cards: list[str] = []
    for said in pages_of(built_sample().files["cards.pdf"]):
        if "WHAT TO CALL" in said:
            cards.append(said)
        elif cards:
            cards[-1] += said
    assert len(cards) == len(sample.groups)
    goes_on = re.compile(r"ARRIVING FROM THE STATION[^.:]{0,60}, continued")
    told = Counter(len(re.findall("arriving from the station", goes_on.sub("", card), re.IGNORECASE)) for card in cards)
    sheets = [sum(bool(other.ways_in) for other in Facts(sample, group).sheets) for group in sample.groups]
    shown = [bool(sample.answers.level[group.lead] >= 0) for group in sample.groups]
    assert told == Counter(front + behind for front, behind in zip(shown, sheets, strict=True))
    assert len(told) > 2


def test_who_faces_the_wrong_way_on_arrival_is_named_for_the_circuits_that_do_not_turn_them() -> None:
    plan = example_plan()
    ids = [one.unit_id for one in plan.units]
    some = [way_in(3, against=True), way_in(4), way_in(0, against=True), way_in(5, against=True, months=(3,))]
    assert facing_words(plan, some, {3, 4, 5}) == (
        f"{ids[3]} first comes from the other end, heading west: "
        "it alone turns round, once, before leaving to fill; then drives on as all do."
    )
    assert facing_words(plan, some, {4}) == ""
    round_a_loop = [way_in(3, against=True, returns=True), way_in(4, against=True, returns=True)]
    assert facing_words(plan, round_a_loop, {3, 4}) == (
        f"{ids[3]} {ids[4]} first come from the other end, heading west: drive on that way; the empty way "
        "comes back past here."
    )
    assert facing_words(plan, [*some, round_a_loop[1]], {3, 4}).count("heading west: ") == 2


def test_who_comes_as_the_empty_way_comes_back_need_not_turn(sample: Plan) -> None:
    """Where that way drives on, round a loop and past the dump site again in the other heading."""
    found = Counter[bool]()
    for group in sample.groups:
        trip = Facts(sample, group).cell("trip")
        if trip < 0 or Facts(sample, group).cell("split") >= 0:
            continue
        forest, front = sample.forest, int(sample.frontages.segment[group.lead])
        back = forest.walk(int(sample.trips.back_leaf[trip]))
        past = {bool(forest.forward[row]) for row in back[:-1] if int(forest.segment[row]) == front}
        for way in group.ways_in:
            if way.against:
                assert way.returns == (len(past) == 2), group.lead
                found[way.returns] += 1
            else:
                assert not way.returns
    assert found[False] > 50, "no way of the sample comes back past its dump site: see the next test"


def test_an_empty_way_that_comes_back_past_its_dump_site_is_known() -> None:
    """It drives on eastward over stretch 1, round a loop, back over 1 westward, and to the fill site on stretch 0."""
    segment, forward = [1, 2, 3, 1, 0], [True, True, True, False, False]
    forest = RouteForest(
        segment=np.array(segment, np.int32),
        forward=np.array(forward),
        parent=np.array([1, 2, 3, 4, -1], np.int32),
    )
    trips = cast("Any", SimpleNamespace(out_leaf=np.array([0]), back_leaf=np.array([0])))
    assert _leaves(trips, forest, 0) == ((2, 4, 6, 3, 1), True)
    straight = replace(forest, parent=np.array([1, 2, 4, 4, -1], np.int32))
    assert _leaves(trips, straight, 0) == ((2, 4, 6, 1), False)
    assert _leaves(trips, forest, -1) == ((), False)
    turning = cast("Any", SimpleNamespace(out_leaf=np.array([3]), back_leaf=np.array([0])))
    assert _leaves(turning, forest, 0) == ((), False), "it turns round: nobody drives on"


def test_against_the_loaded_tankers_means_the_other_heading(sample: Plan) -> None:
    """Headings are measured on the map's lines, by other code than what compares the stretches driven.

    Only circuits that drive on are looked at: where one turns, the empties leave by the way that all come.
    """
    picture, seen = Picture(sample), Counter[bool]()
    for group in sample.groups:
        facts = Facts(sample, group)
        subject = subject_of(picture, facts)
        if subject.out_ft is None or facts.cell("split") >= 0:
            continue
        if not drives_on(group.back_steps, at_dump=facts.turns_here):
            assert not any(way.against for way in group.ways_in) or not facts.turns_here
            continue
        loaded = scene.heading(subject.out_ft)
        for way in group.ways_in:
            if way.site < 0 and way.steps[-1].miles > 0.02:
                assert way.heading != loaded if way.against else not scene.opposed(way.heading, loaded), group.lead
                seen[way.against] += 1
    assert min(seen[True], seen[False]) > 50, seen


def test_bridges_of_which_nobody_knows_what_they_carry_are_told_of_first_drives_too() -> None:
    plan = example_plan()
    ids = [one.unit_id for one in plan.units]
    some = [way_in(0, 1, unposted_bridges=2), way_in(3), way_in(4, unposted_bridges=1)]
    assert bridge_words(plan, some) == [f"{ids[0]} {ids[1]} {ids[4]} cross bridges with no weight posted."]
    assert bridge_words(plan, some[2:]) == ["All cross bridges with no weight posted."]
    assert bridge_words(plan, some[1:]) == [f"{ids[4]} crosses bridges with no weight posted."]
    assert bridge_words(plan, some[1:2]) == []


@pytest.mark.parametrize(
    ("winter_lb", "loaded_lb", "rated_lb", "said"),
    [
        (np.inf, 19500.0, np.inf, [(1, "posted 20,000 lb = 10 tons, April to November"), (2, None)]),
        (np.inf, 18900.0, np.inf, []),
        (19800.0, 19500.0, np.inf, [
            (1, "posted 19,800 lb, December to March"),
            (1, "posted 20,000 lb = 10 tons, April to November"), (2, None), (2, None),
        ]),
        (np.inf, 18900.0, 19000.0, [(1, "rated 19,000 lb")]),
        (np.inf, 18900.0, 18000.0, [(1, "rated 18,000 lb")]),
    ],
)  # fmt: skip
def test_who_crosses_with_hardly_a_margin_or_above_a_rating_is_told(
    winter_lb: float, loaded_lb: float, rated_lb: float, said: list[tuple[int, str | None]]
) -> None:
    """Within a twentieth of what is posted in some month of the card, or rated; the bridge is two stretches."""
    (way,) = ways((replace(LIGHT, loaded_lb=loaded_lb),), winter_lb=winter_lb, rated_lb=rated_lb)
    assert [(one.stretch, one.unit) for one in way.tight] == [(stretch, 0) for stretch, _ in said]
    limits = [f"the Mill Road bridge ({limit})" for _, limit in said if limit]
    assert sorted({one.limit for one in way.tight}) == limits
    assert {one.above for one in way.tight} == ({loaded_lb > rated_lb} if said else set())
    assert ways((HEAVY,), winter_lb=winter_lb, rated_lb=rated_lb)[0].tight == (), "who goes round it"
    head = "ABOVE ITS RATING, ask the owner before" if loaded_lb > rated_lb else "NO MARGIN"
    plan = example_plan()
    weighs = f"{plan.units[0].unit_id} ({np.ceil(plan.units[0].loaded_lb):,.0f} lb)"
    assert bridge_words(plan, [way, way]) == [f"{head}: {weighs} over {limit}." for limit in limits]


def test_nobody_asks_the_owner_of_a_bridge_in_months_in_which_a_sign_bars_him() -> None:
    """In winter it is posted below the unit, whose way goes round it; of two stretches the first alone is rated."""
    over_it, round_it = ways((replace(LIGHT, loaded_lb=19500.0),), winter_lb=15000.0, rated_lb=19000.0)
    named = "the Mill Road bridge"
    posted = "posted 20,000 lb = 10 tons, April to November, and 15,000 lb = 7.5 tons, December to March"
    assert [(one.stretch, one.limit, one.above) for one in over_it.tight] == [
        (1, f"{named} (rated 19,000 lb)", True),
        (2, f"{named} ({posted})", False),
    ]
    assert round_it.tight == ()


def test_unposted_bridges_are_counted_on_the_way_alone() -> None:
    """The bridge of Mill Road has no sign: who goes round it crosses none."""
    round_it, over_it, *_ = ways((HEAVY, LIGHT), unposted=(1, 2))
    assert (round_it.unposted_bridges, over_it.unposted_bridges) == (0, 2)
