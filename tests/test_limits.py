"""Posted limits, access and closures: how each written form is read and what it does to a tanker."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preplan.errors import InputError
from preplan.records import ALL_MONTHS, Closure, Problem, RoadLimits, RoadTable
from preplan.roads import access
from preplan.roads.limits import limits_of
from preplan.roads.measures import BARE, UNREADABLE, length_ft, weight_lb
from preplan.roads.network import Vehicle, build_network, states_for
from preplan.roads.node_limits import node_effect
from preplan.roads.seasons import road_seasons
from preplan.roads.source import read_osm
from preplan.roads.speeds import node_delay_min
from preplan.roads.way_access import bears_a_tanker, directions, open_months
from preplan.rules import RoadRules
from tests.osm_text import OsmText, one_way_street, street
from tests.shared_data import shared

INF = float("inf")
RULES = RoadRules()
LB_PER_T = 2204.62262185
FT_PER_M = 1 / 0.3048


def read(folder: Path, tags: dict[str, str]) -> tuple[RoadLimits, tuple[Problem, ...]]:
    """Give the limits of one road with these tags."""
    return limits_of(one_way_street(folder, tags), RULES)


# ------------------------------------------------------------------------------------------ written forms
# Rules: OpenStreetMap wiki, Map features/Units (tonnes and metres by default; st short ton; 12'5" feet and inches).
# 'in the wild' marks forms outside those rules that were found in the data.


@pytest.mark.parametrize(
    ("text", "pounds"),
    [
        ("3 st", 6000.0),  # wiki Units: st, short ton
        ("10 st", 20000.0),
        ("24000 lbs", 24000.0),  # wiki Units
        ("24,000 lbs", 24000.0),  # in the wild: thousands
        ("13000 lb", 13000.0),  # in the wild
        ("8000 pounds", 8000.0),  # in the wild
        ("2.5 t", 2.5 * LB_PER_T),  # wiki Units: t
        ("12t", 12 * LB_PER_T),  # in the wild: no space
        ("26t mgw", 26 * LB_PER_T),  # in the wild: maximum gross weight
        ("12 TONNES", 12 * LB_PER_T),
        ("12 MT", 12 * LB_PER_T),
        ("10 ST", 20000.0),
        ("250 T", 250 * LB_PER_T),  # no sign bears so many tons, and no pound is a T
        ("24000 LBS GVW", 24000.0),
        ("10 short tons", 20000.0),  # in the wild
        ("3500 kg", 3500 * LB_PER_T / 1000),  # wiki Units: kg
        ("5 lt", 11200.0),  # wiki Units: lt, long ton of 2,240 lb
        ("20 kips", 20000.0),  # thousands of pounds, as engineers write
        ("100 cwt", 11200.0),  # wiki Units: cwt of 112 lb
        ("2,5 t", 2.5 * LB_PER_T),  # in the wild: decimal comma
        ("3 st;5 st", 6000.0),  # the strictest of a list
        ("none", INF),  # wiki Key:maxweight
        ("default", INF),
        ("unsigned", INF),
    ],
)
def test_weights_with_a_unit(text: str, pounds: float) -> None:
    reading = weight_lb(text)
    assert reading.value == pytest.approx(pounds)
    assert reading.problem == ""


@pytest.mark.parametrize(
    ("text", "rule", "pounds"),
    [
        ("7.5", "stricter", 15000.0),
        ("7.5", "tonnes", 7.5 * LB_PER_T),
        ("7.5", "short tons", 15000.0),
        ("5 tons", "stricter", 10000.0),
        ("10000", "stricter", 10000.0),  # no sign allows 10,000 tons: pounds
        ("10000", "tonnes", 10000.0),
        ("3;7.5", "stricter", 6000.0),
        ("3;10 st", "tonnes", 3 * LB_PER_T),
        ("15T", "stricter", 30000.0),  # no unit of the wiki: the ton of a sign
        ("15 T", "short tons", 30000.0),
        ("15T", "tonnes", 15 * LB_PER_T),
        ("26T mgw", "stricter", 52000.0),
        ("7.5 T GVW", "stricter", 15000.0),
        ("15 t;14 T", "stricter", 28000.0),
    ],
)
def test_weights_without_a_unit_are_flagged(text: str, rule: str, pounds: float) -> None:
    reading = weight_lb(text, rule)
    assert reading.value == pytest.approx(pounds)
    assert reading.problem == BARE
    assert reading.rule


@pytest.mark.parametrize(
    "text",
    ["", " ", "yes", "unknown", "0", "-3", "3,500 t", "3,500 T", "T", "5 stone", "10'5\"", "3.5.5 t", "1e9 t", "t",
     "5 t @ (winter)", "nan", "inf"],
)  # fmt: skip
def test_unreadable_weights_limit_nothing_and_are_flagged(text: str) -> None:
    assert weight_lb(text)[:2] == (INF, UNREADABLE)


def test_a_list_with_an_unreadable_part_keeps_the_rest() -> None:
    assert weight_lb("5 st;see sign")[:2] == (10000.0, UNREADABLE)


@pytest.mark.parametrize(
    ("text", "feet"),
    [
        ("10'5\"", 10 + 5 / 12),  # wiki Units
        ("9'0\"", 9.0),
        ("13' 10\"", 13 + 10 / 12),  # in the wild: with a space
        ("14.166 feet", 14.166),  # in the wild
        ("3.5 m", 3.5 * FT_PER_M),  # wiki Units: m
        ("3.5", 3.5 * FT_PER_M),  # wiki Units: metres by default
        ("12'-6\"", 12.5),  # in the wild, as on many signs
        ("12 ft - 6 in", 12.5),
        ("12'5\"", 3.7846 * FT_PER_M),  # (12 x 12 + 5) x 0.0254 m
        ("12'", 12.0),
        ("12 ft", 12.0),
        ("12ft 6in", 12.5),
        ("12\N{RIGHT SINGLE QUOTATION MARK}6\N{RIGHT DOUBLE QUOTATION MARK}", 12.5),  # in the wild: curly marks
        ("12\N{PRIME}6\N{DOUBLE PRIME}", 12.5),
        ('126"', 10.5),
        ("380 cm", 3.8 * FT_PER_M),
        ("3,8", 3.8 * FT_PER_M),  # in the wild: decimal comma
        ("4;3.5", 3.5 * FT_PER_M),
        ("default", INF),  # wiki Key:maxheight
        ("none", INF),
    ],
)  # fmt: skip
def test_heights_and_widths(text: str, feet: float) -> None:
    reading = length_ft(text)
    assert reading.value == pytest.approx(feet, rel=1e-9)
    assert reading.problem == ""


def test_a_bare_height_of_feet_is_read_as_feet_and_flagged() -> None:
    assert length_ft("13.5")[:2] == (13.5, BARE)
    assert length_ft("6.5")[:2] == (6.5, BARE)  # a bar before a car park; 21 ft is posted nowhere
    assert length_ft("5.5").value == pytest.approx(5.5 * FT_PER_M)
    assert length_ft("12.2", sign=False).value == pytest.approx(12.2 * FT_PER_M)


@pytest.mark.parametrize("text", ["below_default", "low", "", "0", "380", "0'", "3.5 st", "12'x", "-2"])
def test_unreadable_heights(text: str) -> None:
    assert length_ft(text)[:2] == (INF, UNREADABLE)


@given(st.text(max_size=30), st.sampled_from([weight_lb, length_ft]))
def test_no_text_at_all_breaks_the_reader(text: str, reader: Callable[[str], tuple[float, str]]) -> None:
    value, problem, *_ = reader(text)
    assert value > 0
    assert problem in {"", BARE, UNREADABLE}


@given(st.integers(1, 400), st.sampled_from(["st", "t", "lbs", "kg"]))
def test_more_on_the_sign_is_never_less_on_the_road(number: int, unit: str) -> None:
    assert weight_lb(f"{number + 1} {unit}").value > weight_lb(f"{number} {unit}").value


# ------------------------------------------------------------------------------------------ limits of a road


@pytest.mark.parametrize(
    ("tags", "column", "value"),
    [
        ({"maxweight": "3 st"}, "max_lb", 6000.0),
        ({"maxweightrating": "5 st"}, "max_lb", 10000.0),
        ({"maxweightrating:hgv": "5 st"}, "max_lb", 10000.0),
        ({"maxweight:hgv": "5 st"}, "max_lb", 10000.0),
        ({"maxweight": "10 st", "maxweightrating": "5 st"}, "max_lb", 10000.0),
        ({"maxaxleload": "8 st"}, "max_axle_lb", 16000.0),
        ({"maxheight": "10'6\""}, "max_height_ft", 10.5),
        ({"maxheight": "12'", "maxheight:physical": "10'6\""}, "max_height_ft", 10.5),
        ({"maxheight": "default", "maxheight:physical": "10'6\""}, "max_height_ft", 10.5),
        ({"maxweight": "10 st", "maxweight:backward": "5 st"}, "max_lb", 10000.0),
        ({"maxweightrating:hgv:forward": "5 st"}, "max_lb", 10000.0),
        ({"maxaxleload:hgv": "8 st"}, "max_axle_lb", 16000.0),
        ({"maxheight:signed": "10'6\""}, "max_height_ft", 10.5),
        ({"maxheight:hgv:conditional": "10'6\" @ (Mo-Fr 07:00-09:00)"}, "max_height_ft", 10.5),
        ({"maxweight": "10 st", "maxweight:conditional": "6 st @ (Nov-Apr); 5 st @ (wet)"}, "max_lb", 10000.0),
        ({"maxweight": "10 st", "maxweight:conditional": "none @ destination"}, "max_lb", 20000.0),
        ({"maxbogieweight": "16 st"}, "max_axle_lb", 32000.0),
        ({"maxlength": "10"}, "max_lb", INF),
        ({"maxwidth": "9 ft"}, "max_width_ft", 9.0),
        ({"maxwidth:physical": "9 ft"}, "max_width_ft", 9.0),
        ({"width": "2"}, "max_width_ft", INF),  # the carriageway's width is no posted limit
        ({"maxweight": "none"}, "max_lb", INF),
        ({"maxweight:signed": "no"}, "max_lb", INF),
        ({"maxweight:signed": "10 st"}, "max_lb", 20000.0),
        ({"maxweight:physical": "10 st"}, "max_lb", 20000.0),
        ({"maxweight:both_ways": "10 st"}, "max_lb", 20000.0),
        ({"maxweight:emergency": "10 st"}, "max_lb", 20000.0),
        ({"maxweight:single_unit": "10 st"}, "max_lb", 20000.0),  # a tanker without a trailer
        ({"maxheight:lanes": "12'|10'6\"|none"}, "max_height_ft", 10.5),
        ({"maxwidth:lanes:forward": "|9 ft"}, "max_width_ft", 9.0),
    ],
)
def test_each_key_lands_in_its_column(tmp_path: Path, tags: dict[str, str], column: str, value: float) -> None:
    limits, _ = read(tmp_path, tags)
    assert getattr(limits, column)[0] == pytest.approx(value)
    assert bool(limits.posted[0]) is (value < INF)
    others = {"max_lb", "max_axle_lb", "max_height_ft", "max_width_ft"} - {column}
    assert all(np.isinf(getattr(limits, other)[0]) for other in others)


def test_problems_name_the_way_and_the_place(tmp_path: Path) -> None:
    limits, problems = read(tmp_path, {"maxweight": "7.5", "maxheight": "low", "seasonal": "summer"})
    assert [(one.code, one.osm_id, one.key, one.value) for one in problems] == [
        ("bare number", "way 10", "maxweight", "7.5"),
        ("unreadable", "way 10", "maxheight", "low"),
        ("seasonal", "way 10", "seasonal", "summer"),
    ]
    assert (problems[0].lon, problems[0].lat) == (-72.0, 44.0)
    assert limits.max_lb[0] == 15000.0
    assert np.isinf(limits.max_height_ft[0])
    assert limits.unread == {0: {"max_height_ft"}}
    assert limits.posted[0]


@pytest.mark.parametrize(
    ("tags", "unread"),
    [
        ({"maxheight": "10 ft;low", "maxweight": "12;see sign"}, {"max_height_ft", "max_lb"}),
        ({"maxheight": "default", "maxweight": "10"}, set()),  # no sign; a bare number is read
        ({"maxweight:conditional": "3 st @ (Mar-Apr); see sign @ (Mar-Apr)"}, {"max_lb"}),
        ({"maxaxleload": "heavy", "maxwidth": "narrow"}, {"max_axle_lb", "max_width_ft"}),
        ({"maxweight:3_axles": "20 st", "maxheight:estimated": "3"}, {"max_lb", "max_height_ft"}),
        ({"maxweight:bus": "12 st", "maxheight:marine": "3"}, set()),
    ],
)
def test_what_is_posted_and_cannot_be_read_is_kept_beside_what_can(
    tmp_path: Path, tags: dict[str, str], unread: set[str]
) -> None:
    limits, _ = read(tmp_path, tags)
    assert limits.unread.get(0, frozenset()) == unread
    assert limits.tanker_road[0]


@pytest.mark.parametrize(
    ("tags", "code"),
    [
        ({"winter_service": "no"}, "seasonal"),
        ({"snowplowing": "no"}, "seasonal"),
        ({"access:conditional": "no @ (Nov-Apr)"}, "conditional"),
        ({"maxweight:conditional": "5 st @ (Mar-Apr)"}, "conditional"),
        ({"maxweight:conditional": "none @ destination"}, "conditional"),
        ({"maxweight:conditional": "35 t"}, "conditional"),
        ({"maxweight:conditional": "see sign"}, "unreadable"),
        ({"maxweight:conditional": "light @ (Mar-Apr)"}, "unreadable"),
        ({"maxlength": "10 m"}, "not checked"),
        ({"maxaxles": "3"}, "not checked"),
        ({"maxweight:bus": "12 st"}, "not checked"),
        ({"maxweight:single_unit": "12 st"}, None),
        ({"maxweight:source": "sign"}, None),
        ({"ford": "intermittent"}, "ford at times"),
        ({"bridge": "low_water_crossing"}, "ford at times"),
        ({"flood_prone": "yes"}, "ford at times"),
        ({"opening_hours": "sunrise-sunset"}, "seasonal"),
        ({"opening_hours": "off"}, "seasonal"),
        ({"opening_hours": "24/7"}, None),
        ({"incline": "-15%"}, "steep"),
        ({"incline": "10%"}, None),
        ({"tunnel": "building_passage"}, "no height given"),
        ({"incline": "up"}, None),
        ({"incline": "15%", "highway": "track"}, None),  # no tanker drives it
        ({"bridge": "closed"}, "bridge out"),
        ({"maxtandemweight": "16 st"}, "pair of axles"),
        ({"seasonal": "no"}, None),
        ({"seasonal": "yes", "motor_vehicle:conditional": "no @ (Dec-Apr)"}, "conditional"),  # that says when
        ({"winter_service": "yes"}, None),
    ],
)
def test_what_changes_with_the_season_or_is_doubtful_is_reported(
    tmp_path: Path, tags: dict[str, str], code: str | None
) -> None:
    assert [one.code for one in read(tmp_path, tags)[1]] == ([code] if code else [])


@pytest.mark.parametrize(
    ("tags", "told"),
    [
        ({"highway": "tertiary", "surface": "mud"}, [("good road closed", "surface", "mud")]),
        ({"highway": "secondary", "smoothness": "very_bad"}, [("good road closed", "smoothness", "very_bad")]),
        ({"highway": "primary", "tracktype": "grade5"}, [("good road closed", "tracktype", "grade5")]),
        ({"highway": "tertiary", "ford": "yes"}, [("good road closed", "ford", "yes")]),
        ({"highway": "residential", "width": "2"}, [("good road closed", "width", "2")]),  # houses stand on it
        ({"highway": "tertiary", "ford": "yes", "surface": "concrete"}, []),
        ({"highway": "unclassified", "surface": "mud"}, []),
        ({"highway": "tertiary", "surface": "gravel"}, []),
    ],
)
def test_a_good_road_closed_by_its_ground_is_reported(
    tmp_path: Path, tags: dict[str, str], told: list[tuple[str, str, str]]
) -> None:
    limits, problems = read(tmp_path, tags)
    assert [(one.code, one.key, one.value) for one in problems] == told
    assert bool(limits.tanker_road[0]) is (not told and tags["surface"] != "mud")


@pytest.mark.parametrize(
    ("text", "months", "pounds"),
    [
        ("5 st @ (Nov-Apr)", {1}, 10000.0),
        ("5 st @ (Nov-Apr)", {7}, INF),
        ("5 st @ (Nov-Apr)", {4, 5}, 10000.0),
        ("5 st @ (Nov 15-Apr 15)", {11}, 10000.0),
        ("5 st @ (Mar 1-31)", {4}, INF),
        ("5 st @ Nov-Apr", {7}, INF),
        ("5 st @ (Nov-Jan, Mar)", {2}, INF),
        ("5 st @ (Nov-Jan, Mar)", {3}, 10000.0),
        ("5 st @ (November - April)", {7}, INF),
        ("5 st @ (Mo-Fr 07:00-17:00 Sep-Jun)", {7}, INF),
        ("5 st @ (Mo-Fr 07:00-17:00)", {7}, 10000.0),  # some hour of every month
        ("5 st @ (wet)", {7}, 10000.0),
        ("5 st", {7}, 10000.0),  # no condition at all
        ("8 st @ (Jun-Aug); 5 st @ (Dec-Feb)", {7}, 16000.0),
        ("8 st @ (Jun-Aug); 5 st @ (Dec-Feb)", {1, 7}, 10000.0),
    ],
)
def test_a_limit_at_times_counts_in_the_months_it_may_hold(
    tmp_path: Path, text: str, months: set[int], pounds: float
) -> None:
    roads = one_way_street(tmp_path, {"maxweight:conditional": text})
    limits, problems = limits_of(roads, RULES, months=frozenset(months))
    assert limits.max_lb[0] == pytest.approx(pounds)
    assert [one.code for one in problems] == (["conditional"] if pounds < INF else [])


@pytest.mark.parametrize(
    ("tags", "months"),
    [
        ({"access:conditional": "no @ (Nov-Apr)"}, {5, 6, 7, 8, 9, 10}),
        ({"motor_vehicle:conditional": "no @ (Dec 1-Mar 31)"}, {4, 5, 6, 7, 8, 9, 10, 11}),
        ({"winter_service": "no"}, {5, 6, 7, 8, 9, 10}),
        ({"seasonal": "summer"}, {6, 7, 8}),
        ({"seasonal": "spring;summer"}, {3, 4, 5, 6, 7, 8}),
        ({"seasonal": "yes"}, None),  # nobody says when
        ({"access:conditional": "no @ winter"}, {5, 6, 7, 8, 9, 10}),
        ({"hgv:conditional": "no @ snow"}, None),  # by law, on a road that is ploughed
        ({"motor_vehicle:conditional": "no @ (snow)"}, {5, 6, 7, 8, 9, 10}),
        ({"motor_vehicle:conditional": "no @ (Dec 1\N{EN DASH}Mar 31)"}, {4, 5, 6, 7, 8, 9, 10, 11}),
        ({"opening_hours": "Apr 15-Nov 1"}, {4, 5, 6, 7, 8, 9, 10, 11}),
        ({"opening_hours": "May-Oct 08:00-20:00"}, {5, 6, 7, 8, 9, 10}),
        ({"opening_hours": "Nov-Apr closed"}, {5, 6, 7, 8, 9, 10}),
        ({"opening_hours": "Nov-Apr: off"}, {5, 6, 7, 8, 9, 10}),
        ({"motor_vehicle:conditional": 'no @ (Dec 1-Mar 31 "closed in winter")'}, {4, 5, 6, 7, 8, 9, 10, 11}),
        ({"opening_hours": "sunrise-sunset"}, None),
        ({"opening_hours": "Jan closed"}, {2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}),
        ({"opening_hours": "MAY-OCT OFF"}, {11, 12, 1, 2, 3, 4}),
        ({"hgv:conditional": "no @ (Nov-Apr); no @ snow"}, {5, 6, 7, 8, 9, 10}),
        ({"access:conditional": "no @ (Nov-Apr 22:00-06:00)"}, None),  # not the whole day
        ({"access:conditional": "destination @ (Nov-Apr)"}, None),  # a sign that may be passed
        ({"access:conditional": "no @ (2016 Apr 25 - 2016 Sep 26)"}, None),  # long past
        ({"oneway:conditional": "no @ (Nov-Apr)"}, None),
    ],
)
def test_months_in_which_a_road_is_open(tmp_path: Path, tags: dict[str, str], months: set[int] | None) -> None:
    roads = one_way_street(tmp_path, tags)
    all_year, problems = limits_of(roads, RULES)
    assert open_months(tags) == (frozenset(months) if months else None)
    assert all_year.tanker_road[0]
    assert len(problems) == 1
    winter = limits_of(roads, RULES, months=frozenset({1, 2}))[0]
    assert bool(winter.tanker_road[0]) is (months is None or not months.isdisjoint({1, 2}))


@pytest.mark.parametrize("hours", ["closed", 'off "washed out"', "Off"])
def test_a_road_whose_hours_are_none_is_closed(tmp_path: Path, hours: str) -> None:
    assert open_months({"opening_hours": hours}) == frozenset()
    assert not limits_of(one_way_street(tmp_path, {"opening_hours": hours}), RULES)[0].tanker_road[0]
    gate = _with_node(tmp_path, {"barrier": "gate", "opening_hours": hours})
    assert not limits_of(gate, RULES)[0].tanker_road.all()


def test_bare_weight_follows_the_rule(tmp_path: Path) -> None:
    roads = one_way_street(tmp_path, {"maxweight": "10"})
    assert limits_of(roads, RoadRules(bare_weight="tonnes"))[0].max_lb[0] == pytest.approx(10 * LB_PER_T)
    assert limits_of(roads, RoadRules(bare_weight="stricter"))[0].max_lb[0] == 20000.0


@pytest.mark.parametrize(
    ("tags", "unposted"),
    [
        ({"bridge": "yes"}, True),
        ({"bridge": "covered"}, True),
        ({"bridge": "viaduct", "maxheight": "12'"}, True),
        ({"bridge": "yes", "maxweight": "default"}, True),
        ({"bridge": "yes", "maxweight": "see sign"}, True),
        ({"bridge": "yes", "maxweight": "10 st"}, False),
        ({"bridge": "yes", "maxweight": "none"}, False),
        ({"bridge": "no"}, False),
        ({}, False),
    ],
)
def test_a_bridge_without_a_sign_is_unknown(tmp_path: Path, tags: dict[str, str], *, unposted: bool) -> None:
    assert bool(read(tmp_path, tags)[0].unposted_bridge[0]) is unposted


@pytest.mark.parametrize(
    ("tags", "narrow"),
    [
        ({"lanes": "1"}, True),
        ({"lanes": "1", "oneway": "yes"}, False),
        ({"lanes": "2"}, False),
        ({"width": "5"}, True),  # 16.4 ft
        ({"width": "5.5"}, False),  # 18.04 ft
        ({"width": "16 ft"}, True),
        ({"est_width": "3"}, True),
        ({"width": "12.2"}, False),  # 40 ft, no sign in feet
        ({"width": "wide"}, False),
        ({"width": "5", "oneway": "yes"}, False),  # nobody comes the other way
        ({"width": "6", "lanes": "1"}, True),  # 19.7 ft may be the right of way: one lane is one lane
        ({"width": "wide", "lanes": "1"}, True),
        ({"width": "5", "est_width": "7"}, True),
        ({"width:carriageway": "6", "width": "5"}, False),
        ({"lane_markings": "no"}, False),
        ({"lane_markings": "no", "width": "4.5"}, True),
        ({"lanes": "1.5"}, True),
        ({"narrow": "yes"}, True),
        ({"lanes": "1;2"}, True),
        ({"oneway": "alternating"}, True),  # one side waits for the other
        ({"highway": "track", "tracktype": "grade1"}, True),
        ({"highway": "track", "tracktype": "grade1", "width": "6"}, False),
        ({"highway": "track", "tracktype": "grade1", "lanes": "2"}, False),
    ],
)
def test_narrow_roads(tmp_path: Path, tags: dict[str, str], *, narrow: bool) -> None:
    assert bool(read(tmp_path, tags)[0].narrow[0]) is narrow


# --------------------------------------------------------------------------------------------- signs and ground


@pytest.mark.parametrize(
    ("tags", "penalty"),
    [
        ({"access": "private"}, 1.0),
        ({"access": "no"}, 1.0),
        ({"access": "destination"}, 1.0),
        ({"motor_vehicle": "no"}, 1.0),
        ({"motor_vehicle": "agricultural;forestry"}, 1.0),
        ({"hgv": "no"}, 1.0),
        ({"access": "no", "bus": "yes"}, 1.0),
        ({"access": "private", "emergency": "yes"}, 0.0),
        ({"access": "no", "motor_vehicle": "yes"}, 0.0),  # the more particular key decides (wiki, Key:access)
        ({"access": "yes", "hgv": "no"}, 1.0),
        ({"hgv": "unsuitable"}, 1.0),
        ({"access": "permissive"}, 0.0),
        ({"motor_vehicle": "agricultural;yes"}, 0.0),
        ({}, 0.0),
    ],
)
def test_a_sign_costs_a_minute_and_closes_nothing(tmp_path: Path, tags: dict[str, str], penalty: float) -> None:
    limits, _ = read(tmp_path, tags)
    assert limits.signed[0] == (penalty == 1.0)
    assert limits.penalty_min[0] == 0.0
    assert limits.tanker_road[0]
    assert limits.forward_open[0]


@pytest.mark.parametrize(
    "tags",
    [
        {"access": "no", "motor_vehicle": "no"},
        {"bridge": "yes", "motor_vehicle": "no"},
        {"bridge": "yes", "access": "no"},
    ],
)
def test_what_is_closed_to_everybody_is_closed(tmp_path: Path, tags: dict[str, str]) -> None:
    limits, _ = read(tmp_path, tags)
    assert not limits.tanker_road[0]
    assert not limits.forward_open[0]
    assert not limits.backward_open[0]
    assert read(tmp_path, {**tags, "emergency": "yes"})[0].tanker_road[0]


@pytest.mark.parametrize("bridge", ["collapsed", "closed", "yes;removed", "washed_out"])
def test_nobody_is_sent_over_a_bridge_that_is_gone(tmp_path: Path, bridge: str) -> None:
    limits, _ = read(tmp_path, {"bridge": bridge, "emergency": "yes"})
    assert not limits.tanker_road[0]
    assert not limits.forward_open[0]
    assert not limits.backward_open[0]


@pytest.mark.parametrize(
    ("tags", "bears"),
    [
        ({"highway": "tertiary"}, True),
        ({"highway": "service"}, True),
        ({"highway": "service", "service": "driveway"}, False),
        ({"highway": "service", "service": "parking_aisle"}, False),
        ({"highway": "service", "service": "drive-through"}, False),
        ({"highway": "service", "service": "alley"}, True),
        ({"highway": "track"}, False),  # unknown ground is not safe ground
        ({"highway": "track", "tracktype": "grade1"}, True),
        ({"highway": "track", "tracktype": "grade3"}, True),
        ({"highway": "track", "tracktype": "grade4"}, False),
        ({"highway": "track", "tracktype": "grade5"}, False),
        ({"highway": "track", "tracktype": "grade3;grade5"}, False),
        ({"highway": "track", "surface": "asphalt"}, True),
        ({"highway": "track", "surface": "gravel"}, False),
        ({"highway": "track", "tracktype": "grade2", "surface": "grass"}, False),
        ({"highway": "unclassified", "surface": "gravel"}, True),
        ({"highway": "unclassified", "surface": "dirt"}, True),
        ({"highway": "unclassified", "surface": "mud"}, False),
        ({"highway": "unclassified", "surface": "sand"}, False),
        ({"highway": "unclassified", "surface": "ground;sand"}, False),
        ({"highway": "unclassified", "surface": "dirt/Sand"}, False),
        ({"highway": "unclassified", "destroyed": "yes"}, False),
        ({"highway": "unclassified", "smoothness": "bad"}, True),
        ({"highway": "unclassified", "smoothness": "very_bad"}, False),
        ({"highway": "unclassified", "smoothness": "impassable"}, False),
        ({"highway": "unclassified", "ford": "yes"}, False),
        ({"highway": "unclassified", "ford": "yes", "surface": "concrete"}, True),
        ({"highway": "unclassified", "emergency": "no"}, False),
        ({"highway": "unclassified", "4wd_only": "yes"}, False),
        ({"highway": "unclassified", "4wd_only": "recommended"}, True),
        ({"highway": "unclassified", "tidal": "yes"}, False),
        ({"highway": "unclassified", "construction": "yes"}, False),
        ({"highway": "unclassified", "construction": "minor"}, True),  # roadworks (wiki, Key:construction)
        ({"highway": "unclassified", "operational_status": "closed"}, False),
        ({"highway": "unclassified", "surface": "boulders"}, False),
        ({"highway": "unclassified", "width": "2.2"}, False),  # 7.2 ft: no truck is so narrow
        ({"highway": "unclassified", "width": "7'6\""}, False),
        ({"highway": "unclassified", "width": "2.5"}, True),
        ({"highway": "unclassified", "width": "2", "lanes": "2"}, True),  # of one lane, if at all
        ({"highway": "track", "tracktype": "grade1", "est_width": "2"}, True),
        ({"highway": "service", "tunnel": "building_passage"}, False),  # how high is not known
        ({"highway": "service", "tunnel": "building_passage", "maxheight": "4"}, True),
        ({"highway": "service", "tunnel": "building_passage", "maxheight": "default"}, True),
        ({"highway": "service", "tunnel": "yes"}, True),
        ({"highway": "trunk", "tunnel": "building_passage"}, True),  # of a customs house
        ({"highway": "service", "tunnel": "building_passage", "hgv": "designated"}, True),
    ],
)
def test_where_a_loaded_tanker_may_drive(tmp_path: Path, tags: dict[str, str], *, bears: bool) -> None:
    assert bears_a_tanker(tags) is bears
    limits, _ = read(tmp_path, tags)
    assert bool(limits.tanker_road[0]) is bears
    assert limits.forward_open[0]  # an engine and its hose may still go in


@pytest.mark.parametrize(
    ("tags", "both"),
    [
        ({}, (True, True)),
        ({"oneway": "yes"}, (True, False)),
        ({"oneway": "1"}, (True, False)),
        ({"oneway": "true"}, (True, False)),
        ({"oneway": "-1"}, (False, True)),
        ({"oneway": "reverse"}, (False, True)),
        ({"oneway": "no"}, (True, True)),
        ({"oneway": "alternating"}, (True, True)),
        ({"oneway": "Yes"}, (True, False)),
        ({"junction": "roundabout"}, (True, False)),
        ({"junction": "circular"}, (True, False)),
        ({"junction": "roundabout", "oneway": "-1"}, (False, True)),
        ({"oneway:hgv": "yes"}, (True, False)),
        ({"oneway": "no", "oneway:motor_vehicle": "-1"}, (False, True)),
        ({"oneway": "yes", "oneway:hgv": "no"}, (True, False)),
        ({"oneway": "yes", "oneway:bicycle": "no"}, (True, False)),
        ({"highway": "motorway"}, (True, False)),
        ({"highway": "motorway", "oneway": "no"}, (True, True)),
        ({"highway": "trunk"}, (True, True)),
    ],
)
def test_one_way_streets(tmp_path: Path, tags: dict[str, str], both: tuple[bool, bool]) -> None:
    assert directions(tags) == both
    limits, _ = read(tmp_path, tags)
    assert (bool(limits.forward_open[0]), bool(limits.backward_open[0])) == both


def test_every_key_that_is_read_is_asked_for_in_a_download() -> None:
    assert {rule.key for rule in access.GROUND_RULES} <= set(access.WAY_KEYS)
    assert {*access.WEIGHT_KEYS, *access.HEIGHT_KEYS, *access.ACCESS_KEYS, *access.SPEED_KEYS} <= set(access.WAY_KEYS)
    assert {"bridge", "lanes", "width", "ford", "surface", "tracktype", "oneway", "junction"} <= set(access.WAY_KEYS)
    assert {"barrier", "locked", "emergency", "maxheight", "highway", "railway"} <= set(access.NODE_KEYS)
    assert {"narrow", "maxlength", "maxweight:conditional", "access:conditional"} <= set(access.WAY_KEYS)


def test_every_row_of_the_tables_says_why_and_who_says_so() -> None:
    rows: list[access.Rule | access.LimitRule] = [*access.GROUND_RULES, *access.BARRIER_RULES]
    rows += [*access.LIMIT_RULES, *access.UNCHECKED_RULES]
    for row in rows:
        assert row.reason
        assert row.source
    values = [value for rule in access.BARRIER_RULES for value in rule.values]
    assert len(values) == len(set(values))


# ---------------------------------------------------------------------------------------- what stands on a road


def _with_node(folder: Path, tags: dict[str, str], way: dict[str, str] | None = None) -> RoadTable:
    """Put a thing between a stretch of 80 m (row 0) and one of 160 m (row 1)."""
    text = OsmText().node(1, -72.0, 44.0).node(2, -71.999, 44.0, **tags).node(3, -71.997, 44.0)
    return text.way(10, [1, 2, 3], {"highway": "tertiary", **(way or {})}).roads(folder)


@pytest.mark.parametrize(
    ("tags", "effect"),
    [
        ({"barrier": "gate"}, "gate"),
        ({"barrier": "lift_gate"}, "gate"),
        ({"barrier": "chain"}, "gate"),
        ({"barrier": "gate", "locked": "yes"}, "closed"),
        ({"barrier": "gate", "locked": "no"}, "gate"),
        ({"barrier": "gate", "access": "no"}, "gate"),  # a sign: that it is locked is said by another tag
        ({"barrier": "gate", "access": "no", "locked": "yes"}, "closed"),
        ({"barrier": "gate", "access": "no", "motor_vehicle": "yes"}, "gate"),
        ({"barrier": "gate", "access": "no", "access:conditional": "yes @ (May-Oct)"}, "gate"),
        ({"barrier": "gate", "access": "private"}, "gate"),
        ({"barrier": "gate", "hgv": "no"}, "gate"),
        ({"barrier": "gate", "access": "no", "emergency": "yes"}, "pass"),
        ({"barrier": "boulder"}, "closed"),
        ({"barrier": "gate", "emergency": "yes"}, "pass"),
        ({"barrier": "gate", "locked": "yes", "emergency": "yes"}, "pass"),
        ({"barrier": "bollard"}, "closed"),
        ({"barrier": "bollard", "emergency": "yes"}, "gate"),
        ({"barrier": "block"}, "closed"),
        ({"barrier": "jersey_barrier"}, "closed"),
        ({"barrier": "debris"}, "closed"),
        ({"barrier": "log"}, "closed"),
        ({"barrier": "wall"}, "closed"),
        ({"barrier": "height_restrictor"}, "closed"),
        ({"barrier": "width_restrictor"}, "closed"),
        ({"barrier": "rising_bollard"}, "closed"),
        ({"barrier": "gate; bollard"}, "closed"),
        ({"barrier": "cattle_grid;gate"}, "gate"),
        ({"barrier": "cattle_grid"}, "pass"),
        ({"barrier": "toll_booth"}, "pass"),
        ({"barrier": "something_new"}, "gate"),
        ({"highway": "traffic_signals"}, "pass"),
        ({"ford": "yes"}, "closed"),
    ],
)
def test_things_on_a_road(tags: dict[str, str], effect: str) -> None:
    assert node_effect(tags) == effect


def test_a_gate_costs_half_a_minute_once(tmp_path: Path) -> None:
    limits, _ = limits_of(_with_node(tmp_path, {"barrier": "gate"}), RULES)
    assert limits.penalty_min.tolist() == [0.5, 0.0]
    assert limits.tanker_road.all()


def test_a_limit_on_a_node_holds_who_passes_it_and_nobody_before(tmp_path: Path) -> None:
    tags = {"barrier": "height_restrictor", "maxheight": "9'6\""}
    roads = _with_node(tmp_path, tags, {"maxheight": "12'"})
    limits, problems = limits_of(roads, RULES)
    assert limits.max_height_ft.tolist() == [12.0, 9.5, 12.0]
    assert roads.length_m.tolist() == pytest.approx([80.2, 2.0, 158.4], abs=0.1)
    assert limits.tanker_road.all()
    assert limits.posted.all()
    assert problems == ()
    network = build_network(roads, limits, RULES, node_delay_min(roads))
    tall = Vehicle(gross_lb=1.0, axle_lb=1.0, height_ft=11.0, width_ft=8.0, top_mph=55.0)
    assert states_for(network, limits, tall).tolist() == [True, True, False, False, True, True]


def test_a_limit_on_a_junction_holds_on_all_its_roads(tmp_path: Path) -> None:
    text = OsmText().node(1, -72.0, 44.0).node(2, -71.999, 44.0, maxweight="5 st").node(3, -71.997, 44.0)
    roads = text.way(10, [1, 2], {"highway": "tertiary"}).way(11, [2, 3], {"highway": "tertiary"}).roads(tmp_path)
    assert limits_of(roads, RULES)[0].max_lb.tolist() == [10000.0] * 2


@pytest.mark.parametrize(
    "hours", ["24/7; Dec 25 closed", "Dec 24-26 off", "Mo-Fr 08:00-18:00; Dec 24 08:00-12:00", "24/7; PH off"]
)
def test_hours_of_a_holiday_shut_no_month(hours: str) -> None:
    assert open_months({"opening_hours": hours}) is None


@pytest.mark.parametrize(
    ("key", "value", "summer_lb"),
    [
        ("maxweight:conditional", "3.5 @ (wet; snow)", 7000.0),
        ("maxweight:conditional", "3.5 @ snow", 7000.0),  # it falls in October, and in the hills in May
        ("hgv:conditional", "no @ (snow AND weight>3.5)", 7000.0),
        ("maxweight:conditional", "3.5 @ winter", INF),
    ],
)
def test_a_limit_in_some_weather_holds_in_summer_too(tmp_path: Path, key: str, value: str, summer_lb: float) -> None:
    roads = one_way_street(tmp_path, {key: value})
    assert limits_of(roads, RULES, months=frozenset({7}))[0].max_lb[0] == pytest.approx(summer_lb)
    assert limits_of(roads, RULES, months=frozenset({1}))[0].max_lb[0] == pytest.approx(7000.0)


def test_a_limit_on_a_node_is_found_in_a_file_drawn_by_hand(tmp_path: Path) -> None:
    """Editors give new nodes ids below 0."""
    text = OsmText()
    for one in (1, 2, 3):
        text.node(-one, -72.0 + one * 0.001, 44.0, **({"maxheight": "9'6\""} if one == 2 else {}))
    roads = text.way(-10, [-1, -2, -3], {"highway": "unclassified"}).roads(tmp_path)
    assert np.flatnonzero(np.isfinite(limits_of(roads, RULES)[0].max_height_ft)).tolist() == [1]


@pytest.mark.parametrize(("node", "cut"), [(2, [1]), (1, [])])
def test_a_gate_that_is_shut_in_winter_shuts_its_road_then(tmp_path: Path, node: int, cut: list[int]) -> None:
    """In the middle of a way both sides stay roads; at the end of one a gate stops nobody."""
    text = OsmText()
    for one in (1, 2, 3):
        gate = {"barrier": "gate", "access:conditional": "no @ (Dec-Apr)"} if one == node else {}
        text.node(one, -72.0 + one * 0.001, 44.0, **gate)
    roads = text.way(10, [1, 2, 3], {"highway": "unclassified"}).roads(tmp_path)
    for month, shut in ((1, cut), (7, [])):
        limits, problems = limits_of(roads, RULES, months=frozenset({month}))
        assert np.flatnonzero(~limits.tanker_road).tolist() == shut
        assert [one.key for one in problems] == ["access:conditional"]
    seasons, _ = road_seasons(roads, RULES, (), ALL_MONTHS)
    assert sorted(len(one.months) for one in seasons) == ([5, 7] if cut else [12])


@pytest.mark.parametrize("key", ["maxweight:hgv", "maxweight:conditional", "maxheight:conditional", "maxgcweight"])
def test_a_limit_on_a_node_is_read_under_every_key(tmp_path: Path, key: str) -> None:
    value = ("3" if "height" in key else "5 t") + " @ (Jan-Dec)" * key.endswith("conditional")
    limits, _ = limits_of(_with_node(tmp_path, {key: value}), RULES)
    held = limits.max_height_ft if "height" in key else limits.max_lb
    assert held.tolist() == pytest.approx([INF, 3.0 / 0.3048 if "height" in key else 5 * LB_PER_T, INF])


@pytest.mark.parametrize("tags", [
    {"motor_vehicle": "no", "motor_vehicle:conditional": "yes @ (May 15-Nov 1)"},
    {"access": "no", "access:conditional": "private @ (May-Nov)"},
    {"access": "no", "motor_vehicle:conditional": "yes @ (May-Nov)"},
])  # fmt: skip
def test_a_road_that_is_opened_for_months_is_shut_in_the_others(tmp_path: Path, tags: dict[str, str]) -> None:
    """The plain tag holds where no condition does (OpenStreetMap wiki, Conditional restrictions)."""
    for month, is_open in ((1, False), (7, True)):
        limits, _ = limits_of(one_way_street(tmp_path, tags), RULES, (), frozenset({month}))
        assert limits.tanker_road[0] == is_open


@pytest.mark.parametrize(
    ("key", "value", "column", "limit"),
    [
        ("hgv:conditional", "no @ (weight>7.5 t)", "max_lb", 7.5 * LB_PER_T),
        ("access:conditional", "no @ (7:30-19:00 AND weight>7.5 t)", "max_lb", 7.5 * LB_PER_T),
        ("motor_vehicle:conditional", "no @ weight >= 10 st", "max_lb", 20000.0),
        ("vehicle:conditional", "no @ (weightrating>7.5)", "max_lb", 15000.0),  # a bare number: the stricter
        ("hgv:conditional", "no @ (axleload>8 t)", "max_axle_lb", 8 * LB_PER_T),
        ("vehicle:conditional", "no @ (height>3.2)", "max_height_ft", 3.2 * FT_PER_M),
        ("hgv:conditional", "no @ (maxheight>3.2)", "max_height_ft", 3.2 * FT_PER_M),  # in the wild
        ("hgv:conditional", "no @ (maxweight>7.5 t)", "max_lb", 7.5 * LB_PER_T),
        ("hgv:conditional", "no @ (width>2 AND length>12)", "max_width_ft", 2.0 * FT_PER_M),
        ("hgv:conditional", "no @ (weight>12 t); no @ (weight>7.5 t AND Mo-Fr)", "max_lb", 7.5 * LB_PER_T),
    ],
)
def test_a_ban_on_what_is_heavier_or_higher_is_a_limit(
    tmp_path: Path, key: str, value: str, column: str, limit: float
) -> None:
    """Written as the wiki has it (Conditional restrictions, vehicle properties)."""
    limits, problems = read(tmp_path, {key: value})
    assert getattr(limits, column)[0] == pytest.approx(limit)
    assert (limits.tanker_road[0], limits.posted[0]) == (True, True)
    assert any("taken as posted" in one.rule for one in problems)


def test_a_ban_on_weight_in_some_months_holds_in_them_and_tells_nothing_of_a_bridge(tmp_path: Path) -> None:
    roads = one_way_street(tmp_path, {"bridge": "yes", "hgv:conditional": "no @ (Mar-Apr AND weight>5 t)"})
    for month, limit in ((3, 5 * LB_PER_T), (7, np.inf)):
        limits, _ = limits_of(roads, RULES, (), frozenset({month}))
        assert limits.max_lb[0] == pytest.approx(limit)
        assert limits.unposted_bridge[0]


@pytest.mark.parametrize("value", [
    "yes @ (weight<7.5)", "no @ (weight is great)", "destination @ (weight>7.5)", "no @ (over height)",
])  # fmt: skip
def test_a_weight_that_cannot_be_taken_is_told(tmp_path: Path, value: str) -> None:
    limits, (problem,) = read(tmp_path, {"hgv:conditional": value})
    assert limits.max_lb[0] == np.inf
    assert "NOT read" in problem.rule


def test_a_no_in_one_direction_is_a_one_way_street(tmp_path: Path) -> None:
    """Key:access of the wiki; the most particular key decides, and other signs are passed at their cost."""
    assert directions({"motor_vehicle:backward": "no"}) == (True, False)
    assert directions({"vehicle:forward": "no"}) == (False, True)
    assert directions({"motor_vehicle:backward": "no", "hgv:backward": "yes"}) == (True, True)
    assert directions({"oneway": "yes", "access:forward": "no"}) == (False, False)
    limits, _ = read(tmp_path, {"motor_vehicle:backward": "destination"})
    assert (limits.forward_open[0], limits.backward_open[0], limits.signed[0]) == (True, True, True)
    assert not read(tmp_path, {"motor_vehicle:backward": "no"})[0].signed[0]


def test_the_ton_of_a_sign_is_reported_and_a_tonne_is_not(tmp_path: Path) -> None:
    """Between 30,000 and 33,069 lb a loaded tanker may or may not cross: a person looks at the sign."""
    limits, (problem,) = read(tmp_path, {"maxweight": "15T"})
    assert limits.max_lb[0] == 30000.0
    assert (problem.code, problem.value) == (BARE, "15T")
    assert "short tons" in problem.rule
    limits, problems = read(tmp_path, {"maxweight": "15t"})
    assert limits.max_lb[0] == pytest.approx(15 * LB_PER_T)
    assert problems == ()


def test_a_bare_weight_on_a_node_names_the_node(tmp_path: Path) -> None:
    (problem,) = limits_of(_with_node(tmp_path, {"maxweight": "5"}), RULES)[1]
    assert (problem.osm_id, problem.code, problem.lon) == ("node 2", "bare number", -71.999)


def test_a_ford_that_is_wet_at_times_is_reported_on_a_node_too(tmp_path: Path) -> None:
    _, problems = limits_of(_with_node(tmp_path, {"ford": "intermittent"}), RULES)
    assert [one.code for one in problems] == ["ford at times"]


def test_an_unknown_barrier_is_reported(tmp_path: Path) -> None:
    limits, problems = limits_of(_with_node(tmp_path, {"barrier": "yes"}), RULES)
    assert [one.code for one in problems] == ["unknown barrier"]
    assert limits.penalty_min.tolist() == [0.5, 0.0]


# --------------------------------------------------------------------------------------------- user's closures


def _closed(kind: str = "closed", **rest: object) -> Closure:
    return Closure(closure_id="C1", kind=kind, **rest)  # type: ignore[arg-type]


def _two_roads(folder: Path) -> RoadTable:
    """Row 0 and 1: way 10, west to east, 80 m each; row 2: a driveway; row 3: a road 220 m to the north."""
    text = street(3).node(4, -71.9995, 44.0001).node(5, -72.0, 44.002).node(6, -71.998, 44.002)
    text.way(10, [1, 2, 3], {"highway": "tertiary", "maxweight": "20 st"})
    text.way(11, [2, 4], {"highway": "service", "service": "driveway"})
    return text.way(12, [5, 6], {"highway": "tertiary"}).roads(folder)


def test_a_closure_by_way(tmp_path: Path) -> None:
    limits, _ = limits_of(_two_roads(tmp_path), RULES, (_closed(way_id=10),))
    assert limits.tanker_road.tolist() == [False, False, False, True]
    assert limits.forward_open.tolist() == [False, False, True, True]


@pytest.mark.parametrize(
    ("kind", "column", "value"),
    [("max_lb", "max_lb", 60000.0), ("max_height_ft", "max_height_ft", 10.0), ("max_width_ft", "max_width_ft", 8.0)],
)
def test_the_district_beats_the_map(tmp_path: Path, kind: str, column: str, value: float) -> None:
    limits, _ = limits_of(_two_roads(tmp_path), RULES, (_closed(kind, way_id=10, value=value),))
    assert getattr(limits, column)[:2].tolist() == [value, value]
    assert limits.posted[:2].all()


def test_a_posted_closure_makes_a_bridge_known(tmp_path: Path) -> None:
    roads = one_way_street(tmp_path, {"bridge": "yes"})
    assert limits_of(roads, RULES)[0].unposted_bridge[0]
    assert not limits_of(roads, RULES, (_closed("max_lb", way_id=10, value=30000.0),))[0].unposted_bridge[0]


def test_a_closure_at_a_point_finds_the_tanker_road_and_no_driveway(tmp_path: Path) -> None:
    at = ((-71.9995, 44.0001),)  # on the end of the driveway, 11 m from the road
    limits, _ = limits_of(_two_roads(tmp_path), RULES, (_closed(line=at),))
    assert limits.tanker_road.tolist() == [False, True, False, True]


@pytest.mark.parametrize(
    ("kind", "rule"),
    [
        ("closed", "closes 1.2 mi of Fiddlehead Road: give a way_id or a line"),
        ("max_lb", "limits 1.2 mi of Fiddlehead Road: give a way_id or a line"),
    ],
)
def test_a_point_that_takes_a_long_stretch_does_so_and_is_reported(tmp_path: Path, kind: str, rule: str) -> None:
    # 0.025 degrees of longitude at 44 degrees north: 0.025 x 111.32 km x cos 44 = 2.00 km = 1.24 mi
    roads = one_way_street(tmp_path, {"name": "Fiddlehead Road"}, step=0.025)
    limits, problems = limits_of(roads, RULES, (_closed(kind, line=((-71.99, 44.0),), value=20000.0),))
    assert bool(limits.tanker_road[0]) is (kind != "closed")
    assert [(one.code, one.value, one.rule) for one in problems] == [("long closure", f"C1 ({kind})", rule)]
    assert limits_of(roads, RULES, (_closed(kind, way_id=10, value=20000.0),))[1] == ()


def test_a_point_that_takes_a_short_stretch_is_as_meant(tmp_path: Path) -> None:
    roads = one_way_street(tmp_path, {}, step=0.0049)  # 0.244 mi
    limits, problems = limits_of(roads, RULES, (_closed(line=((-71.999, 44.0),)),))
    assert not limits.tanker_road[0]
    assert problems == ()


def test_a_closure_whose_way_and_place_are_apart_is_a_fault(tmp_path: Path) -> None:
    """The way won without a word, and the posted road at the place was open to every loaded tanker."""
    roads = _two_roads(tmp_path)
    near, far = ((-71.9995, 44.0001),), ((-71.999, 44.002),)  # 11 m, and 222 m = 728 ft, from way 10
    limits, _ = limits_of(roads, RULES, (_closed(way_id=10, line=near),))
    assert limits.tanker_road.tolist() == [False, False, False, True]
    for line in (far, (*near, *far)):
        with pytest.raises(InputError) as caught:
            limits_of(roads, RULES, (_closed(way_id=10, line=line),))
        (finding,) = caught.value.findings
        assert (finding.column, finding.value) == ("way_id", "10")
        assert re.fullmatch(r"is a road 7[23]\d ft from the row's own place: one of the two is wrong", finding.rule)


def test_a_closure_along_a_line_takes_the_stretches_it_follows(tmp_path: Path) -> None:
    line = ((-71.9999, 44.00005), (-71.9981, 44.00005))
    limits, _ = limits_of(_two_roads(tmp_path), RULES, (_closed(line=line),))
    assert limits.tanker_road.tolist() == [False, False, False, True]


@pytest.mark.parametrize(
    ("line", "value", "forward"),
    [
        (((-71.9999, 44.0), (-71.9981, 44.0)), None, True),
        (((-71.9981, 44.0), (-71.9999, 44.0)), None, False),
        (((-71.9999, 44.0), (-71.9981, 44.0)), -1.0, False),
    ],
)
def test_one_way_runs_along_the_line(
    tmp_path: Path, line: tuple[tuple[float, float], ...], value: float | None, *, forward: bool
) -> None:
    limits, _ = limits_of(_two_roads(tmp_path), RULES, (_closed("one_way", line=line, value=value),))
    assert limits.forward_open[:2].tolist() == [forward, forward]
    assert limits.backward_open[:2].tolist() == [not forward, not forward]


def test_one_way_by_way_id_runs_along_the_way(tmp_path: Path) -> None:
    limits, _ = limits_of(_two_roads(tmp_path), RULES, (_closed("one_way", way_id=10),))
    assert (limits.forward_open[0], limits.backward_open[0]) == (True, False)


def test_a_closure_holds_in_its_months_only(tmp_path: Path) -> None:
    roads, closure = _two_roads(tmp_path), _closed(way_id=10, months=frozenset({12, 1, 2}))
    assert not limits_of(roads, RULES, (closure,), frozenset({1}))[0].tanker_road[0]
    assert limits_of(roads, RULES, (closure,), frozenset({7}))[0].tanker_road[0]
    assert not limits_of(roads, RULES, (closure,), ALL_MONTHS)[0].tanker_road[0]


def test_every_closure_that_misses_is_named(tmp_path: Path) -> None:
    closures = (_closed(way_id=99), _closed(line=((-71.999, 44.001),)), _closed(way_id=10))
    with pytest.raises(InputError) as caught:
        limits_of(_two_roads(tmp_path), RULES, closures)
    assert [(one.column, one.id) for one in caught.value.findings] == [("way_id", "C1"), ("lon, lat", "C1")]
    assert all(one.remedy for one in caught.value.findings)


# -------------------------------------------------------------------------------------------------- real files


def test_the_posted_bridges_of_a_real_county() -> None:
    roads, _ = read_osm(shared("osm", "vt_essex_north.osm.bz2"))
    limits, _ = limits_of(roads, RULES)
    assert set(limits.max_lb[np.isfinite(limits.max_lb)]) == {6000.0, 20000.0, 24000.0}
    assert limits.max_height_ft.min() == pytest.approx(10 + 5 / 12)
    known = [bool(roads.way_tags[row].get("maxweight")) for row in roads.tag_row]
    bridge = [roads.way_tags[row].get("bridge", "no") != "no" for row in roads.tag_row]
    assert limits.unposted_bridge.tolist() == [b and not k for b, k in zip(bridge, known, strict=True)]
    assert limits.unposted_bridge.sum() > 90


def test_a_real_city_reads_every_weight_and_height() -> None:
    roads, _ = read_osm(shared("osm", "de_heidelberg_hgv.osm.pbf"))
    limits, problems = limits_of(roads, RoadRules(bare_weight="tonnes"))
    numbers = [row for row, tags in enumerate(roads.way_tags) if tags.get("maxweight", "")[:1].isdigit()]
    assert len(numbers) == 106
    assert np.isfinite(limits.max_lb[np.isin(roads.tag_row, numbers)]).all()
    # no clearance that any sign names, be it in metres or in feet
    assert [(one.key, one.value) for one in problems if one.code == "unreadable"] == [("maxheight", "60")]
