"""What postings cost: a river, a posted bridge and a detour, with every saving worked out by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from preplan.plan import Plan, PostingCost
from preplan.planning.ground import SeasonGround
from preplan.planning.postings import AskedWays, free_ways, group_postings, posting_costs
from preplan.planning.round_trips import PairTrips
from preplan.planning.vehicles import cut_vehicles, unlimited_fleet
from preplan.records import ALL_MONTHS, FloatArray, IntArray
from preplan.roads.search import Fleet, Spots
from preplan.roads.trips import Turning, circuits
from tests.faults.small import TABLES, TOML, SmallDistrict
from tests.plan_checks import plan_of
from tests.planning_case import TANKERS, UNITS
from tests.road_builder import Drawing, draw
from tests.test_network import network_of

SCALE = 0.001
"""A projection keeps distances to 0.1 %."""

# a --- b === c --- d --- e: the bridge b-c is two stretches of 500 m; the detour b-p-q-c is 5,000 m with four sharp
# turns of 0.1 min; d-e is a lane with no other way in
NODES = {
    "a": (0, 0), "b": (1000, 0), "m": (1500, 0), "c": (2000, 0), "d": (3000, 0), "e": (4000, 0),
    "p": (1000, 2000), "q": (2000, 2000),
}  # fmt: skip
ROADS: list[tuple[str, str, dict[str, Any]]] = [
    ("a", "b", {}), ("b", "m", {"bridge": "yes"}), ("m", "c", {"bridge": "yes"}), ("c", "d", {}), ("d", "e", {}),
    ("b", "p", {}), ("p", "q", {}), ("q", "c", {}),
]  # fmt: skip
BRIDGE, LANE = (1, 2), (4,)
SITE = (0, 0.5)
PLACES = ((3, 0.5), (4, 0.5))
"""One address beyond the river, one on the lane."""


def river(posted: dict[int, float]) -> Drawing:
    return draw(NODES, ROADS, limits={"max_lb": posted})


def costs(town: Drawing, places: tuple[tuple[int, float], ...] = PLACES) -> tuple[PostingCost, ...]:
    """Ask about trips of all tankers (42,000 lb loaded, 25,000 lb empty) at 1,000 m a minute."""
    minutes = np.repeat((town.roads.length_m / 1000.0)[:, None], 2, axis=1)
    ground = SeasonGround(
        months=ALL_MONTHS, limits=town.limits, network=network_of(town), minutes=lambda _top_mph: minutes
    )
    segment, fraction = np.array([p[0] for p in places], dtype=np.int32), np.array([p[1] for p in places])

    def search(loaded: Fleet, empty: Fleet, rows: IntArray, site_of: IntArray) -> PairTrips:
        assert not site_of.any()
        site = Spots.at(np.array([SITE[0]], dtype=np.int32), np.array([SITE[1]]))
        turning = Turning(turnaround_min=np.zeros(1), dump_turn_min=3.0, loop_preference_min=1.0)
        return PairTrips(
            circuits=circuits(loaded, empty, site, Spots.at(segment[rows], fraction[rows]), turning), site=site_of
        )

    def trips(loaded: Fleet, empty: Fleet) -> FloatArray:
        everyone = np.arange(len(places), dtype=np.int32)
        return search(loaded, empty, everyone, np.zeros_like(everyone)).circuits.trip_min

    heavy = [Fleet.of(ground.network, town.limits, minutes, vehicle) for vehicle in cut_vehicles(TANKERS)]
    free = unlimited_fleet(ground.network, town.limits, ground.minutes, 60.0)
    planned, road = np.full(len(places), -1, dtype=np.int32), np.zeros(len(places), dtype=np.int32)
    stands = np.array([True])
    asked = AskedWays.of(planned, trips(*heavy), trips(free, free), road, stands)
    ways = free_ways(town.roads, (ground,), UNITS, asked, search)
    return posting_costs(ways, (ground,), UNITS, asked, search)


def test_a_posted_bridge_costs_its_detour_both_ways() -> None:
    (cost,) = costs(river({1: 20000.0, 2: 20000.0}), PLACES[:1])
    assert (cost.stretches, cost.addresses, cost.opened) == (BRIDGE, 1, 0)
    # 4,000 m and four sharp turns more on either leg
    assert cost.saved_min == pytest.approx(2 * (4.0 + 0.4), rel=SCALE)
    assert cost.most_min == cost.saved_min


def test_empty_tankers_that_may_cross_cost_one_leg_only() -> None:
    (cost,) = costs(river({1: 30000.0, 2: 30000.0}), PLACES[:1])
    assert cost.saved_min == pytest.approx(4.4, rel=SCALE)


def test_each_posting_is_lifted_alone() -> None:
    """The lane is reached once its own posting is gone; the bridge alone does not help those on the lane."""
    lane, bridge = costs(river({1: 20000.0, 2: 20000.0, 4: 10000.0}))
    assert (lane.stretches, lane.addresses, lane.opened, lane.saved_min) == (LANE, 1, 1, 0.0)
    assert (bridge.stretches, bridge.addresses, bridge.opened) == (BRIDGE, 1, 0)
    assert bridge.saved_min == pytest.approx(8.8, rel=SCALE)


def test_two_postings_in_a_row_help_only_together_so_neither_is_listed() -> None:
    assert costs(river({1: 20000.0, 2: 15000.0}), PLACES[:1]) == ()


def test_what_bars_nobody_costs_nothing() -> None:
    assert costs(river({})) == ()
    assert costs(river({1: 42000.0, 2: 42000.0})) == ()
    assert costs(river({5: 20000.0})) == ()  # nobody goes round by the detour anyway


def test_a_fill_site_out_of_service_is_not_the_nearest() -> None:
    """Nobody lifts a posting for the sake of water that cannot be had."""
    minutes, road = np.array([[2.0, 5.0], [2.0, np.inf]]), np.zeros(2, dtype=np.int32)
    planned = np.full(2, -1, dtype=np.int32)
    asked = AskedWays.of(planned, minutes, minutes, road, np.array([False, True]))
    assert asked.site.tolist() == [1, -1]
    assert asked.free_min[0] == 5.0


def test_stretches_that_meet_and_are_posted_alike_are_one_posting() -> None:
    town = river({1: 20000.0, 2: 20000.0, 4: 20000.0, 5: 15000.0})
    barred = np.isfinite(town.limits.max_lb)
    group, postings = group_postings(town.roads, town.limits, barred)
    assert postings == ((1, 2), (4,), (5,))
    assert group.tolist() == [-1, 0, 0, -1, 1, 2, -1, -1]
    assert group_postings(town.roads, town.limits, ~barred & barred)[1] == ()


# --------------------------------------------------------------------------- the minutes that a trip loses


def with_a_slow_tanker(folder: Path, keep_sites: int, *, posted: bool) -> Plan:
    """Plan a small district whose heaviest tanker does 14 mph; a bridge of 10,000 lb bars all, beside a detour."""
    one = SmallDistrict(toml=f"{TOML}\n[plan]\nkeep_sites = {keep_sites}\n")
    head, *rows = TABLES["apparatus.csv"].splitlines()
    mph = {"T2": "14"}
    one.files["apparatus.csv"] = "\n".join([f"{head},max_mph", *(f"{r},{mph.get(r[:2], '55')}" for r in rows), ""])
    one.roads.node(30, -72.01, 44.01).node(31, -72.02, 44.01).way(30, [2, 30, 31, 3], {"highway": "tertiary"})
    if posted:
        one.toml = one.toml.replace("[roads]", 'closures = "closures.csv"\n\n[roads]')
        one.files["closures.csv"] = "closure_id,kind,lon,lat,value\nC1,max_lb,-72.015,44.0,10000\n"
    return plan_of(one.write(folder))


def round_trips(plan: Plan) -> dict[tuple[int, int, int], float]:
    """Give the minutes of each kept trip by address, site and class, in their order."""
    keys = zip(plan.trips.address.tolist(), plan.trips.site.tolist(), plan.trips.cut.tolist(), strict=True)
    return dict(zip(keys, (plan.trips.out_min + plan.trips.back_min).tolist(), strict=True))


@pytest.mark.parametrize("keep_sites", [64, 1])
def test_what_a_trip_loses_to_a_posting_does_not_depend_on_a_slow_tanker(tmp_path: Path, keep_sites: int) -> None:
    """Each class of tankers loses what the same class would save without the posting, quick or slow.

    Both where all trips are searched and where only some are.
    """
    free = with_a_slow_tanker(tmp_path / "free", keep_sites, posted=False)
    plan = with_a_slow_tanker(tmp_path / "posted", keep_sites, posted=True)
    assert [cut.unit_ids for cut in plan.cuts] == [cut.unit_ids for cut in free.cuts]
    assert [cut.top_mph for cut in plan.cuts] == [55.0, 14.0]
    compared: set[int] = set()
    before = round_trips(free)
    for trip, (key, now) in enumerate(round_trips(plan).items()):
        if key in before:
            assert plan.trips.posted_avoided_min[trip] == pytest.approx(now - before[key], abs=1e-9)
            compared |= {key[2]} if now - before[key] > 1.0 else set()
    assert compared == {0, 1}, "no trip of the quick ones goes round, or of the slow one: this test shows less"
    assert not free.trips.posted_avoided_min.any()
