"""Bridges posted or rated below a loaded tanker: who is told what, by hand on a road of five pieces."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from preplan.plan_tables import Flag
from preplan.planning.weights import Met, Weights, gravest_first
from preplan.records import ALL_MONTHS, IntArray, RoadLimits
from preplan.render.flag_words import flag_words
from preplan.roads.inventory import is_bridge
from tests.planning_case import unit
from tests.road_builder import draw

# way a-b, bridges b-c and c-d, road d-e
NODES = {name: (1000 * at, 0) for at, name in enumerate("abcde")}
TOWN = draw(
    NODES,
    [
        ("a", "b", {"name": "Mill Road"}), ("b", "c", {"name": "Mill Road", "bridge": "yes"}),
        ("c", "d", {"name": "River; Road", "bridge": "yes"}), ("d", "e", {}),
    ],
)  # fmt: skip
HEAVY = unit("T1", "tanker", tank_gal=3000.0, loaded_lb=54600.0, empty_lb=29400.0)  # 31,902 lb on the way back
LIGHT = unit("T2", "tanker", tank_gal=1500.0, loaded_lb=33900.0, empty_lb=21300.0)
THIRD = unit("T3", "tanker", loaded_lb=42900.0, empty_lb=26000.0)
NONE = np.empty((0, 2), dtype=np.int32)


def limits(max_lb: float = np.inf, rated_lb: float = np.inf, **changes: Any) -> RoadLimits:
    """Limit the first bridge, by a sign or by its rating."""
    weight, rating = TOWN.limits.max_lb.copy(), TOWN.limits.rated_lb.copy()
    weight[1], rating[1] = min(max_lb, rated_lb), rated_lb if rated_lb < max_lb else np.inf
    unposted = np.array([False, max_lb == np.inf, True, False])
    return replace(TOWN.limits, max_lb=weight, rated_lb=rating, unposted_bridge=unposted, **changes)


def told(
    signs: RoadLimits, *, free: bool = False, out: bool = False, back: bool = False, rating: float = np.inf,
    tankers: tuple[Any, ...] = (HEAVY, LIGHT), engines: tuple[Any, ...] = (),
) -> list[str]:  # fmt: skip
    """Write the flags of one address that has to do with the first bridge in some ways."""
    operating = np.array([np.inf, rating, np.inf, np.inf])
    pair: IntArray = np.array([[0, 1]], dtype=np.int32)
    hauls = np.array([[True] * len(tankers) + [False] * len(engines)])
    weights = Weights(
        roads=TOWN.roads, bridge=is_bridge(TOWN.roads), limits=(signs,), months=(ALL_MONTHS,),
        road=np.zeros(1, dtype=np.int32),
        operating_lb=operating, units=(*tankers, *engines), sent=hauls, later=np.zeros_like(hauls), engines=~hauls,
    )  # fmt: skip
    met = Met(**{name: pair if here else NONE for name, here in (("free", free), ("out", out), ("back", back))})
    sizes = np.minimum(signs.max_height_ft, signs.max_width_ft)
    limited = bool(np.isfinite([signs.max_lb[1], rating, sizes[1]]).any())
    assert weights.limited.tolist() == [False, limited, False, False]
    return [str(flag) for flag in weights.flags(met).get(0, ())]


def test_a_tanker_that_may_come_later_is_told_too() -> None:
    """It reads the same way as those sent first."""
    said = {}
    for name, later in (("alone", [[False, False]]), ("with a later one", [[False, True]])):
        weights = Weights(
            roads=TOWN.roads, bridge=is_bridge(TOWN.roads), limits=(limits(30000.0),), months=(ALL_MONTHS,),
            road=np.zeros(1, dtype=np.int32), operating_lb=np.full(4, np.inf), units=(LIGHT, HEAVY),
            sent=np.array([[True, False]]), later=np.array(later), engines=np.zeros((1, 2), dtype=np.bool_),
        )  # fmt: skip
        met = Met(free=NONE, out=NONE, back=np.array([[0, 1]], dtype=np.int32))
        said[name] = [str(flag) for flag in weights.flags(met).get(0, ())]
    assert said == {
        "alone": [
            (
                "empty only=the Mill Road bridge (posted 30,000 lb = 15 tons, T2 about 22,600 lb with 10 % of its load "
                "left)"
            )
        ],
        "with a later one": [
            (
                "empty only=the Mill Road bridge (posted 30,000 lb = 15 tons, "
                "T2 about 22,600 lb with 10 % of its load left, T1 not even empty)"
            )
        ],
    }


def test_a_later_tanker_that_the_loaded_way_does_not_bear_is_told() -> None:
    weights = Weights(
        roads=TOWN.roads, bridge=is_bridge(TOWN.roads), limits=(limits(40000.0),), months=(ALL_MONTHS,),
        road=np.zeros(1, dtype=np.int32), operating_lb=np.full(4, np.inf), units=(replace(LIGHT, height_ft=9.0), HEAVY),
        sent=np.array([[True, False]]), later=np.array([[False, True]]), engines=np.zeros((1, 2), dtype=np.bool_),
    )  # fmt: skip
    pair: IntArray = np.array([[0, 1]], dtype=np.int32)
    low = replace(weights, limits=(replace(limits(), max_height_ft=np.array([99.0, 9.5, 99.0, 99.0])),))
    (flag,) = low.flags(Met(free=NONE, out=NONE, back=pair))[0]
    assert str(flag) == f"not for later tanker=T1 ({HEAVY.height_ft:.1f} ft): the Mill Road bridge (posted 9.5 ft high)"
    (flag,) = weights.flags(Met(free=NONE, out=pair, back=pair))[0]
    assert str(flag) == "not for later tanker=T1 (54,600 lb): the Mill Road bridge (posted 40,000 lb = 20 tons)"
    assert flag_words(flag) == f"NOT on this way: {flag.value}."
    left_out = replace(weights, sent=np.array([[True, True]]), later=np.zeros((1, 2), dtype=np.bool_))
    assert left_out.flags(Met(free=NONE, out=pair, back=pair))[0] == (flag,), "who was left out may follow"
    low = replace(low, sent=left_out.sent, later=left_out.later)
    (high,) = low.flags(Met(free=NONE, out=pair, back=pair))[0]
    assert str(high) == f"not for later tanker=T1 ({HEAVY.height_ft:.1f} ft): the Mill Road bridge (posted 9.5 ft high)"


def test_a_later_tanker_alone_may_be_too_heavy_for_the_empty_leg_or_a_rating() -> None:
    def later(signs: RoadLimits, met: Met, rating: float = np.inf) -> list[str]:
        weights = Weights(
            roads=TOWN.roads, bridge=is_bridge(TOWN.roads), limits=(signs,), months=(ALL_MONTHS,),
            road=np.zeros(1, dtype=np.int32), operating_lb=np.array([np.inf, rating, np.inf, np.inf]),
            units=(LIGHT, HEAVY), sent=np.array([[True, False]]), later=np.array([[False, True]]),
            engines=np.zeros((1, 2), dtype=np.bool_),
        )  # fmt: skip
        return [str(flag) for flag in weights.flags(met).get(0, ())]

    pair: IntArray = np.array([[0, 1]], dtype=np.int32)
    # 33,900 lb loaded, 22,551 lb on the way back are sent; 54,600 and 31,902 lb may follow
    (said,) = later(limits(34000.0), Met(free=NONE, out=NONE, back=pair))
    assert said.endswith("(posted 34,000 lb = 17 tons, T1 about 31,900 lb with 10 % of its load left)")
    (said,) = later(limits(), Met(free=NONE, out=pair, back=NONE), rating=40000.0)
    assert said.startswith("crosses above rating=")
    assert said.endswith("T1 54,600 lb loaded weighs more")


def test_a_loaded_tanker_that_a_limit_hardly_bears_is_told_on_its_way() -> None:
    """T2 weighs 33,900 lb, 14,000 of them on an axle: what bears a twentieth more is a margin."""
    light = replace(LIGHT, axle_lb=14000.0)
    (said,) = told(limits(34000.0), out=True, tankers=(light,))
    assert said == "no margin=T2 (33,900 lb): the Mill Road bridge (posted 34,000 lb = 17 tons)"
    assert told(limits(35700.0), out=True, tankers=(light,)) == []
    assert told(limits(34000.0), back=True, free=True, tankers=(light,)) == [], "who is loaded takes another way"
    assert told(limits(rated_lb=34000.0), out=True, tankers=(light,), rating=34000.0) == [
        "no margin=T2 (33,900 lb): the Mill Road bridge (no sign, but rated 34,000 lb)"
    ]
    assert told(limits(), out=True, tankers=(light,), rating=34000.0) == [
        "no margin=T2 (33,900 lb): the Mill Road bridge (no sign, but rated 34,000 lb)"
    ], "a rating that holds nobody off"
    (over,) = told(limits(), out=True, tankers=(light,), rating=33800.0)
    assert over.startswith("crosses above rating=")
    for axle_lb, rating, found in ((14100.0, np.inf, 1), (14100.0, 48000.0, 1), (15000.0, np.inf, 0)):
        most = np.array([np.inf, axle_lb, np.inf, np.inf])
        said_of_axle = told(limits(50000.0, max_axle_lb=most), out=True, tankers=(light,), rating=rating)
        assert ["14,100 lb an axle" in one for one in said_of_axle] == [True] * found, said_of_axle


def test_a_margin_is_looked_for_in_every_season() -> None:
    """The roads of the deciding months bear more than those of spring; the map names what is tight."""
    ways: dict[str, Any] = {"roads": TOWN.roads, "bridge": is_bridge(TOWN.roads), "road": np.zeros(1, dtype=np.int32)}
    units: dict[str, Any] = {"units": (LIGHT,), "sent": np.array([[True]]), "later": np.array([[False]])}
    spring = frozenset({3, 4, 5})
    weights = Weights(
        **ways, **units, limits=(limits(60000.0), limits(34000.0)), months=(ALL_MONTHS - spring, spring),
        operating_lb=np.full(4, np.inf), engines=np.array([[False]]),
    )  # fmt: skip
    (flag,) = weights.flags(Met(free=NONE, out=np.array([[0, 1]], dtype=np.int32), back=NONE))[0]
    said = "no margin=T2 (33,900 lb): the Mill Road bridge (posted 34,000 lb = 17 tons, March to May)"
    assert (str(flag), flag.limit) == (said, "34,000 lb, Mar to May")
    assert flag_words(Flag("no margin", "T2 (33,900 lb): x")) == "NO MARGIN loaded on this way: T2 (33,900 lb): x."


def test_a_margin_of_an_axle_is_none_too() -> None:
    """14,607 lb are on the heaviest axle after dumping."""
    for axle, none in ((14700.0, True), (20000.0, False)):
        signs = replace(limits(60000.0), max_axle_lb=np.array([np.inf, axle, np.inf, np.inf]))
        (said,) = told(signs, back=True, tankers=(HEAVY,))
        assert said.endswith("NO MARGIN)") == none


def test_a_posting_of_some_months_names_them() -> None:
    """Two seasons of the roads: 22,000 lb from March to May, else 60,000 lb, or what bars a tanker too."""
    spring, rest = frozenset({3, 4, 5}), frozenset({1, 2, 6, 7, 8, 9, 10, 11, 12})
    pair: IntArray = np.array([[0, 1]], dtype=np.int32)
    for in_rest, too in ((60000.0, ""), (22000.0, ""), (30000.0, ", and 30,000 lb = 15 tons, June to February")):
        weights = Weights(
            roads=TOWN.roads, bridge=is_bridge(TOWN.roads), limits=(limits(22000.0), limits(in_rest)),
            months=(spring, rest), road=np.zeros(1, dtype=np.int32), operating_lb=np.full(4, np.inf),
            units=(HEAVY,), sent=np.ones((1, 1), dtype=np.bool_), later=np.zeros((1, 1), dtype=np.bool_),
            engines=np.zeros((1, 1), dtype=np.bool_),
        )  # fmt: skip
        (flag,) = weights.flags(Met(free=pair, out=NONE, back=NONE))[0]
        when = (", March to May", ", Mar to May") if in_rest > 22000.0 else ("", "")
        assert str(flag) == f"posted below empty=the Mill Road bridge (posted 22,000 lb = 11 tons{when[0]}{too}): T1"
        assert flag.limit == f"22,000 lb{when[1]}"


def test_a_bridge_that_only_empties_may_cross_is_told() -> None:
    assert told(limits(32000.0), back=True) == [
        (
            "empty only=the Mill Road bridge (posted 32,000 lb = 16 tons, T1 about 31,900 lb with 10 % of its load "
            "left: NO MARGIN)"
        )
    ]
    assert told(limits(32000.0), back=True, free=True) == told(limits(32000.0), back=True)


def test_a_tanker_that_is_too_heavy_even_then_is_named() -> None:
    heavy = "T2 about 22,600 lb with 10 % of its load left, T1 not even empty"
    assert told(limits(30000.0), back=True) == [
        f"empty only=the Mill Road bridge (posted 30,000 lb = 15 tons, {heavy})"
    ]


def test_an_axle_posted_is_told_too() -> None:
    axle = np.array([np.inf, 24000.0, np.inf, np.inf])  # 25,000 lb loaded, 14,607 lb on the way back
    signs = replace(limits(), max_axle_lb=axle)
    assert told(replace(signs, max_lb=limits(60000.0).max_lb), back=True) == [
        (
            "empty only=the Mill Road bridge (posted 60,000 lb = 30 tons, 24,000 lb = 12 tons an axle, "
            "T1 about 31,900 lb with 10 % of its load left)"
        )
    ]


def test_a_posting_that_all_may_pass_or_that_nobody_is_tempted_by_is_not() -> None:
    assert told(limits(60000.0), free=True, back=True) == []
    assert told(limits(32000.0)) == []


def test_what_the_way_goes_round_is_named_though_a_sign_tells_of_it() -> None:
    assert told(limits(33000.0), free=True) == [
        "posted below load=the Mill Road bridge (posted 33,000 lb = 16.5 tons): T1 T2"
    ]
    # one of two is too heavy even empty, then both are
    assert told(limits(31000.0), free=True) == [
        "posted below load=the Mill Road bridge (posted 31,000 lb = 15.5 tons): T1 T2, T1 not empty either"
    ]
    assert told(limits(22000.0), free=True) == [
        "posted below empty=the Mill Road bridge (posted 22,000 lb = 11 tons): T1 T2"
    ]
    # a lighter tanker's way leads over it: the heavier one, left out, may not follow
    assert told(limits(34000.0), free=True, out=True, back=True) == [
        "not for later tanker=T1 (54,600 lb): the Mill Road bridge (posted 34,000 lb = 17 tons)",
        "no margin=T2 (33,900 lb): the Mill Road bridge (posted 34,000 lb = 17 tons)",
    ]


def test_engines_are_named_beside_the_tankers_or_by_themselves() -> None:
    """The engine of 41,500 lb, not the one of 37,800."""
    engines = unit("E1", "engine", loaded_lb=41500.0), unit("E2", "engine", loaded_lb=37800.0)
    signs = limits(rated_lb=37919.4)
    (both,) = told(signs, free=True, rating=37919.4, engines=engines)
    assert both.endswith("T1 54,600 lb and E1 41,500 lb loaded weigh more")
    alone = ["rated below engine=E1 (41,500 lb): the Mill Road bridge (no sign, but rated 37,919 lb)"]
    assert told(signs, free=True, rating=37919.4, tankers=(LIGHT,), engines=engines) == alone
    assert told(signs, free=True, out=True, back=True, rating=37919.4, tankers=(LIGHT,), engines=engines) == alone
    assert told(signs, out=True, back=True, rating=37919.4, tankers=(LIGHT,), engines=engines) == []
    assert told(limits(35000.0), free=True, tankers=(LIGHT,), engines=engines) == [
        "posted below engine=E1 (41,500 lb), E2 (37,800 lb): the Mill Road bridge (posted 35,000 lb = 17.5 tons)"
    ]


def test_what_is_too_low_or_narrow_is_told_where_a_driver_is_tempted() -> None:
    tall = unit("E1", "engine", height_ft=10.8)
    low = replace(limits(), max_height_ft=np.array([np.inf, 10.04, np.inf, np.inf]))
    said = "posted below size=E1 (10.8 ft): the Mill Road bridge (posted 10 ft high)"
    assert told(low, free=True, tankers=(replace(LIGHT, height_ft=9.9),), engines=(tall,)) == [said]
    assert told(low, out=True, back=True, tankers=(replace(LIGHT, height_ft=9.5),), engines=(tall,)) == []
    # 1.68 in are left below 10.04 ft, half a foot is a margin
    assert told(low, back=True, tankers=(replace(LIGHT, height_ft=9.9), replace(HEAVY, height_ft=9.6))) == [
        "no margin of size=T2 T1 (up to 9.9 ft): the Mill Road bridge (posted 10 ft high, 1 in to spare)"
    ]
    assert told(low, free=True, tankers=(replace(LIGHT, height_ft=9.9),)) == [], "who goes another way"
    narrow = replace(limits(), max_width_ft=np.array([np.inf, 8.0, np.inf, np.inf]))
    (wide,) = told(narrow, free=True, tankers=(replace(LIGHT, width_ft=8.5),))
    assert wide == "posted below size=T2 (8.5 ft): the Mill Road bridge (posted 8 ft wide)"


def test_a_posting_that_cannot_be_read_is_told_on_the_way_it_limits_nobody_on() -> None:
    signs = replace(TOWN.limits, unread={1: frozenset({"max_height_ft", "max_lb"})})
    weights = Weights(
        roads=TOWN.roads, bridge=is_bridge(TOWN.roads), limits=(TOWN.limits, signs), months=(ALL_MONTHS, ALL_MONTHS),
        road=np.zeros(1, dtype=np.int32), operating_lb=np.full(4, np.inf), units=(LIGHT,),
        sent=np.ones((1, 1), dtype=np.bool_), later=np.zeros((1, 1), dtype=np.bool_),
        engines=np.zeros((1, 1), dtype=np.bool_),
    )  # fmt: skip
    assert weights.limited.tolist() == [False, True, False, False]
    pair: IntArray = np.array([[0, 1]], dtype=np.int32)
    low, heavy = weights.flags(Met(free=NONE, out=NONE, back=pair))[0]
    assert flag_words(low) == "LOW CLEARANCE on the Mill Road bridge, height not known: stop and measure."
    assert flag_words(heavy) == "WEIGHT POSTED on the Mill Road bridge, not known how much: stop and read the sign."
    assert (low.limit, low.stretches) == ("height unknown", (1,))
    assert weights.flags(Met(free=pair, out=NONE, back=NONE)) == {}
    unread = [(one.unread, one.above, one.limit) for one in weights.tight_on(0, np.array([0, 1]), 1)]
    assert unread == [(True, False, str(flag.value)) for flag in (low, heavy)]
    assert weights.tight_on(0, np.array([0, 1]), 0) == ()


def test_a_bridge_rated_too_low_is_told_wherever_a_driver_is_tempted() -> None:
    said = "rated below load=the Mill Road bridge (no sign, but rated 37,919 lb). T1 54,600 lb loaded weighs more"
    assert told(limits(rated_lb=37919.4), free=True, rating=37919.4) == [said]
    # the lighter tanker crosses, the heavier one was left out
    assert told(limits(rated_lb=37919.4), out=True, back=True, rating=37919.4) == [said]


def test_many_that_weigh_more_are_named_with_the_least_and_the_most() -> None:
    (two,) = told(limits(rated_lb=40000.0), free=True, rating=40000.0, tankers=(HEAVY, LIGHT, THIRD))
    assert two.endswith("(no sign, but rated 40,000 lb). T1 54,600 lb and T3 42,900 lb loaded weigh more")
    (three,) = told(limits(rated_lb=30000.0), free=True, rating=30000.0, tankers=(HEAVY, LIGHT, THIRD))
    assert three.startswith("rated below load=")
    assert three.endswith(". T1 T2 T3 loaded weigh more, 33,900 to 54,600 lb. T1 not empty either")


def test_a_rating_below_a_sign_is_told_without_saying_that_there_is_none() -> None:
    (said,) = told(limits(50000.0, rated_lb=37000.0), free=True, rating=37000.0)
    assert said.startswith("rated below load=the Mill Road bridge (rated 37,000 lb).")


@pytest.mark.parametrize(("out", "back"), [(True, False), (True, True)])
def test_what_crosses_above_a_rating_is_told_first(out: bool, back: bool) -> None:
    """The rule is off, or the district's closure gave the bridge a weight of its own."""
    flags = told(limits(), out=out, back=back, rating=37919.0)
    assert flags == [
        "crosses above rating=the Mill Road bridge (no sign, but rated 37,919 lb). T1 54,600 lb loaded weighs more"
    ]
    assert told(limits(60000.0), back=True, rating=37919.0) == []  # 31,902 lb empty


def test_no_semicolon_of_a_name_parts_a_flag() -> None:
    low = np.full(4, 9.0)
    weights = Weights(
        roads=TOWN.roads, bridge=is_bridge(TOWN.roads), limits=(replace(limits(), rated_lb=low, max_lb=low),),
        months=(ALL_MONTHS,), road=np.zeros(1, dtype=np.int32), operating_lb=low, units=(HEAVY,),
        sent=np.ones((1, 1), dtype=np.bool_), later=np.zeros((1, 1), dtype=np.bool_),
        engines=np.zeros((1, 1), dtype=np.bool_),
    )  # fmt: skip
    flags = weights.flags(Met(free=np.array([[0, 2]], dtype=np.int32), out=NONE, back=NONE))
    assert "River, Road bridge" in str(flags[0][0])
    assert ";" not in str(flags[0][0])


def test_a_flag_knows_every_stretch_of_the_limit_that_it_names() -> None:
    """Two pieces of one bridge are one flag, which a map can find."""
    posted = Flag("empty only", "the Mill Road bridge (posted 32,000 lb = 16 tons)")
    (once,) = gravest_first([replace(posted, stretches=(4,)), replace(posted, stretches=(2,))])
    assert once == posted
    assert once.stretches == (4, 2)
    assert str(once) == str(posted)
    operating = np.array([np.inf, 20000.0, np.inf, np.inf])
    weights = Weights(
        roads=TOWN.roads, bridge=is_bridge(TOWN.roads), limits=(limits(),), months=(ALL_MONTHS,),
        road=np.zeros(1, dtype=np.int32),
        operating_lb=operating, units=(HEAVY,), sent=np.ones((1, 1), dtype=np.bool_),
        later=np.zeros((1, 1), dtype=np.bool_), engines=np.zeros((1, 1), dtype=np.bool_),
    )  # fmt: skip
    pair: IntArray = np.array([[0, 1]], dtype=np.int32)
    assert [flag.stretches for flag in weights.flags(Met(free=NONE, out=pair, back=NONE))[0]] == [(1,)]
