"""Which road a limit is on and where, as cards and the map name it: by the plan, whatever ids and names hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from preplan.plan import Plan
from preplan.plan_tables import Flag
from preplan.planning.weights import Met, Weights
from preplan.records import ALL_MONTHS
from preplan.render import limit_places
from preplan.render.flag_words import OFF_THE_WAY
from preplan.render.map_answers import answer_data
from preplan.render.map_routes import along_roads
from preplan.roads.inventory import is_bridge
from tests.example_plan import example_plan
from tests.test_weights import HEAVY, NONE, TOWN, limits


def with_lines(plan: Plan, *north: float) -> Plan:
    """Move the first stretches so many degrees north of the first card's dump site, each a point long."""
    lead = plan.groups[0].lead
    lon, lat = plan.roads.coord_lon.copy(), plan.roads.coord_lat.copy()
    for stretch, degrees in enumerate(north):
        here = slice(int(plan.roads.coord_start[stretch]), int(plan.roads.coord_start[stretch + 1]))
        lon[here], lat[here] = plan.frontages.lon[lead], plan.frontages.lat[lead] + degrees
    return replace(plan, roads=replace(plan.roads, coord_lon=lon, coord_lat=lat))


def test_the_road_of_a_limit_is_told_whatever_brackets_and_colons_the_ids_hold() -> None:
    """What is kept off is the bridge, never a truck; two bridges are two limits."""
    big = replace(HEAVY, unit_id="T11: north (big)")
    many = tuple(replace(big, unit_id=name) for name in (big.unit_id, "T12", "T31 (old)"))
    weights = Weights(
        roads=TOWN.roads, bridge=is_bridge(TOWN.roads), limits=(limits(32000.0),), months=(ALL_MONTHS,),
        road=np.zeros(1, dtype=np.int32), operating_lb=np.full(len(TOWN.roads), np.inf), units=many,
        sent=np.ones((1, 3), dtype=np.bool_), later=np.zeros((1, 3), dtype=np.bool_),
        engines=np.zeros((1, 3), dtype=np.bool_),
    )  # fmt: skip
    free = np.array([[0, 1]], dtype=np.int32)
    (flag,) = weights.flags(Met(free=free, out=NONE, back=NONE))[0]
    assert flag.code.startswith("posted below")
    road = str(flag.value).partition(" (posted")[0]
    assert limit_places.limited_road(flag) == road
    plan = example_plan()
    assert f"KEEP OFF {road} (32,000 lb)" in limit_places.in_brief(plan, flag, plan.groups[0].lead)
    both = [
        Flag("rated below load", f"the {name} bridge (rated 9 lb). T1 (big) 10 lb loaded weighs more",
             limit="9 lb", road=f"the {name} bridge")
        for name in ("Elm", "Oak")
    ]  # fmt: skip
    assert limit_places.each_limit(both, OFF_THE_WAY) == both
    twice = [both[0], replace(both[0], value="the Elm bridge (rated 9 lb). T2 (old) 10 lb loaded weighs more")]
    assert limit_places.each_limit(twice, OFF_THE_WAY) == both[:1]


def test_who_reads_where_the_nearest_limit_is_hears_of_how_many() -> None:
    """By hand: pieces that touch, or a second carriageway, are one place; a bridge a mile on is another."""
    plan = with_lines(example_plan(), 0.01, 0.0102, 0.03)
    flag = Flag("posted below load", "Mill Road (posted 9 lb): T1", stretches=(0, 1), limit="9 lb", road="Mill Road")
    lead = plan.groups[0].lead
    assert limit_places.place_words(plan, flag, lead) == " It is 0.69 mi north of the dump site."
    two = replace(flag, stretches=(2, 0, 1))
    said = " It is at 2 places, the nearer 0.69 mi north of the dump site."
    assert limit_places.place_words(plan, two, lead) == said
    three = with_lines(plan, 0.01, 0.02, 0.03)
    assert "at 3 places, the nearest 0.69 mi" in limit_places.place_words(three, two, lead)


def test_all_limits_of_a_road_near_a_fill_site_are_told_the_gravest_first() -> None:
    plan = example_plan()
    flags = tuple(
        Flag("posted below load", f"Mill Road (posted {limit}): T1", stretches=(0,), limit=limit, road="Mill Road")
        for limit in ("20,000 lb", "10 ft high")
    )
    said = limit_places.bars_near(replace(plan, site_flags=(flags, *plan.site_flags[1:])), 0, ["T1"])
    assert said.startswith(" KEEP OFF Mill Road (20,000 lb, ")
    assert "; 10 ft high, " in said
    assert said.count("KEEP OFF") == 1


def test_the_map_knows_a_warning_near_a_fill_site_by_its_stretches() -> None:
    """Not by the road's name, which another flag may hold, or another road."""
    plan = example_plan()
    near = Flag("posted below size", "T1: Mill Road (posted 10 ft high)", stretches=(1,), limit="10 ft high",
                road="Mill Road")  # fmt: skip
    same, other = (replace(near, code="not for later tanker", stretches=(at,)) for at in (1, 2))
    flags = ((same,), (other,), (Flag("dead end"),), *((),) * (len(plan.addresses) - 3))
    told = replace(plan, site_flags=((near,), (), ()), answers=replace(plan.answers, flags=flags))
    assert limit_places.site_limits(told, 0)[0][0] == (1,)
    page = answer_data(told, along_roads(told))
    assert len(page["flags"]) == 3
    assert page["flagsNear"] == [(0, (1,))]
