"""Speeds of a loaded tanker: class, ground, posted speed, direction, and agreement with the rule of thumb."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.sparse.csgraph import dijkstra

from preplan.records import FloatArray, RoadTable
from preplan.roads.limits import limits_of
from preplan.roads.measures import BARE, UNREADABLE, speed_mph
from preplan.roads.mph_country import signs_in_mph
from preplan.roads.network import UNLIMITED, build_network, states_for, vehicle_arcs
from preplan.roads.source import read_osm
from preplan.roads.speeds import (
    CLASS_MPH,
    minutes_of,
    mph_of,
    node_delay_min,
    rule_comparison,
    rule_min,
    speed_problems,
)
from preplan.roads.stretches import DRIVABLE
from preplan.rules import RoadRules
from tests.osm_text import OsmText, one_way_street
from tests.shared_data import shared

RULES = RoadRules()
VERMONT = {"lon": -72.0, "lat": 44.0}
BAVARIA = {"lon": 11.3, "lat": 49.5}


def mph(roads: RoadTable, top_mph: float = 60.0) -> FloatArray:
    both: FloatArray = mph_of(roads, limits_of(roads, RULES)[0], top_mph)[0]
    return both


# Rules: OpenStreetMap wiki, Map features/Units and Key:maxspeed (km/h unless mph is written).
@pytest.mark.parametrize(
    ("text", "miles"),
    [
        ("30 mph", 30.0),
        ("35mph", 35.0),
        ("50", 50 / 1.609344),
        ("50 km/h", 50 / 1.609344),
        ("55 mph;45 mph", 45.0),
        ("none", np.inf),
        ("signals", np.inf),
        ("variable", np.inf),
        ("DE:urban", 50 / 1.609344),
        ("DE:rural", np.inf),
        ("walk", 7 / 1.609344),
    ],
)
def test_posted_speeds(text: str, miles: float) -> None:
    reading = speed_mph(text)
    assert reading.value == pytest.approx(miles)
    assert reading.problem == ""


def test_posted_speeds_without_a_unit_or_sense() -> None:
    assert speed_mph("20", bare_is_mph=True)[:2] == (20.0, BARE)
    assert speed_mph("20 mph", bare_is_mph=True)[:2] == (20.0, "")
    assert speed_mph("fast")[:2] == (np.inf, UNREADABLE)
    assert speed_mph("0")[:2] == (np.inf, UNREADABLE)


def test_every_class_of_road_has_a_speed() -> None:
    assert set(CLASS_MPH) == DRIVABLE


@pytest.mark.parametrize(
    ("tags", "miles"),
    [
        ({"highway": "tertiary"}, 40.0),
        ({"highway": "tertiary", "maxspeed": "25 mph"}, 25.0),
        ({"highway": "tertiary", "maxspeed": "65 mph"}, 40.0),
        ({"highway": "primary", "maxspeed": "65 mph", "maxspeed:hgv": "35 mph"}, 35.0),
        ({"highway": "tertiary", "maxspeed:advisory": "20 mph"}, 20.0),
        ({"highway": "tertiary", "surface": "gravel"}, 30.0),
        ({"highway": "tertiary", "surface": "asphalt"}, 40.0),
        ({"highway": "tertiary", "surface": "compacted;dirt"}, 25.0),
        ({"highway": "track", "tracktype": "grade3"}, 12.0),
        ({"highway": "tertiary", "bridge": "covered"}, 10.0),
        ({"highway": "tertiary", "width": "4"}, 30.0),
        ({"highway": "tertiary", "lanes": "1"}, 30.0),
        ({"highway": "primary", "lanes": "1", "oneway": "yes"}, 45.0),  # half of a divided road: nobody comes
        ({"highway": "unclassified", "smoothness": "bad"}, 20.0),
        ({"junction": "roundabout"}, 18.0),
    ],
)
def test_speed_of_a_road(tmp_path: Path, tags: dict[str, str], miles: float) -> None:
    assert mph(one_way_street(tmp_path, tags)).tolist() == [miles, miles]


def test_posted_speed_by_direction(tmp_path: Path) -> None:
    roads = one_way_street(tmp_path, {"maxspeed:forward": "20 mph", "maxspeed:hgv:backward": "30 mph"})
    assert mph(roads).tolist() == [20.0, 30.0]


def test_the_vehicle_has_a_cap_of_its_own(tmp_path: Path) -> None:
    assert mph(one_way_street(tmp_path, {"highway": "motorway"}), top_mph=45.0).tolist() == [45.0, 45.0]


def test_a_bare_speed_is_mph_in_the_united_states_only(tmp_path: Path) -> None:
    here = one_way_street(tmp_path, {"maxspeed": "20"}, **VERMONT)
    there = one_way_street(tmp_path, {"maxspeed": "20"}, **BAVARIA)
    assert mph(here).tolist() == [20.0, 20.0]
    assert mph(there)[0] == pytest.approx(20 / 1.609344)
    (problem,) = speed_problems(here)
    assert (problem.code, problem.osm_id, problem.key, problem.value) == ("bare number", "way 10", "maxspeed", "20")
    assert speed_problems(there) == ()


@pytest.mark.parametrize(
    ("place", "lon", "lat", "expected"),
    [
        ("Vermont, a mile south of the border", -72.0, 44.98, True),
        ("Quebec, a mile north of it", -72.0, 45.03, False),
        ("Maine", -68.8, 44.8, True),
        ("New Brunswick", -66.6, 45.9, False),
        ("Detroit", -83.2, 42.45, True),
        ("Windsor, Ontario", -82.95, 42.25, False),
        ("Sault Ste. Marie, Ontario", -84.3, 46.55, False),
        ("Washington", -122.3, 47.6, True),
        ("Victoria, British Columbia", -123.37, 48.43, False),
        ("El Paso, north", -106.45, 31.9, True),
        ("Juarez", -106.45, 31.65, False),
        ("Tijuana", -116.95, 32.5, False),
        ("Florida", -81.5, 27.0, True),
        ("Hawaii", -155.5, 19.6, True),
        ("St. John, Virgin Islands", -64.75, 18.34, True),
        ("Tortola", -64.62, 18.43, False),
        ("Null Island", 0.0, 0.0, False),
    ],
)
def test_where_signs_show_miles(place: str, lon: float, lat: float, *, expected: bool) -> None:
    assert bool(signs_in_mph(np.array([lon]), np.array([lat]))[0]) is expected, place


# ---------------------------------------------------------------------------------------------------- minutes


def test_minutes_of_a_mile(tmp_path: Path) -> None:
    text = OsmText().node(1, -72.0, 44.0).node(2, -72.0 + 1609.344 / 80261.0, 44.0)
    roads = text.way(10, [1, 2], {"highway": "tertiary"}).roads(tmp_path)
    limits, _ = limits_of(roads, RULES)
    assert minutes_of(roads, limits, RULES, 60.0)[0] == pytest.approx([1.5, 1.5], rel=1e-3)  # one mile at 40 mph
    assert minutes_of(roads, limits, RULES, 30.0)[0] == pytest.approx([2.0, 2.0], rel=1e-3)
    by_rule = minutes_of(roads, limits, RoadRules(travel="rule"), 60.0)
    assert by_rule[0] == pytest.approx([1.7, 1.7], rel=1e-3)


def test_closed_directions_and_roads_take_for_ever(tmp_path: Path) -> None:
    oneway = one_way_street(tmp_path, {"oneway": "-1"})
    minutes = minutes_of(oneway, limits_of(oneway, RULES)[0], RULES, 60.0)
    assert np.isinf(minutes[0, 0])
    assert np.isfinite(minutes[0, 1])
    driveway = one_way_street(tmp_path, {"highway": "service", "service": "driveway"})
    assert np.isinf(minutes_of(driveway, limits_of(driveway, RULES)[0], RULES, 60.0)).all()


def test_a_sign_costs_nothing_on_the_stretch_itself(tmp_path: Path) -> None:
    plain, signed = one_way_street(tmp_path, {}), one_way_street(tmp_path, {"access": "private"})
    before = minutes_of(plain, limits_of(plain, RULES)[0], RULES, 60.0)
    after = minutes_of(signed, limits_of(signed, RULES)[0], RULES, 60.0)
    assert (after - before)[0].tolist() == [0.0, 0.0]


@pytest.mark.parametrize(
    ("tags", "seconds"),
    [
        ({"highway": "traffic_signals"}, 12.0),
        ({"highway": "stop"}, 8.0),
        ({"highway": "give_way"}, 4.0),
        ({"railway": "level_crossing"}, 6.0),
        ({"barrier": "gate"}, 0.0),
    ],
)
def test_delay_at_a_node(tmp_path: Path, tags: dict[str, str], seconds: float) -> None:
    text = OsmText().node(1, -72.0, 44.0).node(2, -71.999, 44.0, **tags).node(3, -71.998, 44.0)
    roads = text.way(10, [1, 2, 3], {"highway": "tertiary"}).roads(tmp_path)
    assert (node_delay_min(roads) * 60.0).tolist() == pytest.approx([0.0, seconds, 0.0])


def test_the_travel_rule() -> None:
    # published rating criteria: T = 0.65 + 1.7 D; a leg of 3 miles takes 5.75 min
    assert rule_min(np.array([0.5, 3.0])).tolist() == pytest.approx([1.5, 5.75])


def test_times_are_held_against_the_rule_side_by_side() -> None:
    """Legs of 1 mi at 2.35 min by the rule (0.65 + 1.7): ratios 1, 2, 3; what has no way or no length is left out."""
    minutes = np.array([2.35, 4.70, 7.05, np.inf, np.nan, 1.0])
    found = rule_comparison(minutes, np.array([1.0, 1.0, 1.0, 1.0, 1.0, 0.0]))
    assert found.median == pytest.approx(2.0)
    assert found.quantiles == pytest.approx((1.1, 1.5, 2.0, 2.5, 2.9))
    assert np.isnan(rule_comparison(np.array([]), np.array([])).median)
    assert np.isnan(rule_comparison(np.array([np.inf]), np.array([1.0])).median)


def test_a_real_rural_network_agrees_with_the_travel_rule() -> None:
    """Independent statement: the rule's average of 35 mph was measured on emergency runs of 0.5 to 8 miles."""
    roads, _ = read_osm(shared("districts", "vt_essex_south", "roads.osm.bz2"))
    limits, _ = limits_of(roads, RULES)
    network = build_network(roads, limits, RULES, node_delay_min(roads))
    minutes = minutes_of(roads, limits, RULES, RULES.top_mph).ravel()
    usable = states_for(network, limits, UNLIMITED)
    times = vehicle_arcs(network, usable, np.where(usable, minutes, 0.0)).matrix(network.states)
    starts = np.random.default_rng(1).choice(np.flatnonzero(usable) >> 1, 25)
    states = np.concatenate([2 * starts, 2 * starts + 1])
    best, before = dijkstra(times, indices=states, return_predecessors=True)
    ratios = []
    for row in range(len(states)):
        miles = np.full(network.states, np.nan)
        miles[states[row]] = 0.0
        for state in np.argsort(best[row])[1 : np.isfinite(best[row]).sum()]:
            miles[state] = miles[before[row, state]] + network.length_mi[state]
        near = np.isfinite(best[row]) & (miles > 0.5) & (miles < 8.0)
        # of the two directions of arrival the quicker: nobody drives on to a dead end to come back
        pairs = np.where(near, best[row] / rule_min(miles), np.inf).reshape(-1, 2).min(axis=1)
        ratios.append(pairs[np.isfinite(pairs)])
    assert np.median(np.concatenate(ratios)) == pytest.approx(1.0, abs=0.15)
