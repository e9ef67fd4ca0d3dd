"""Round trips that are looked for one by one, where fill sites are many, equal those of a search of everything.

The reference is this program's own unlimited search, which tests/test_trips.py holds against trips driven by hand and
tests/test_routes_osmnx.py and tests/test_routes_routino.py against other routers.
"""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preplan.build import Watch, prepared_roads
from preplan.inputs.reader import read_inputs
from preplan.plan import Plan
from preplan.plan_inputs import Inputs
from preplan.planning import kept, round_trips
from preplan.planning.ground import lay_ground, with_streets
from preplan.planning.vehicles import season_fleets
from preplan.records import BoolArray, FeatureTable, FloatArray, RoadTable
from preplan.roads.convoy import NearSearch
from preplan.roads.forest import trace
from preplan.roads.leg_bounds import Count, leg_bounds
from preplan.roads.near_trips import NearTrips
from preplan.roads.network import vehicle_arcs
from preplan.roads.search import Spots, drive_in, drive_out, search_in, search_out
from preplan.roads.trips import WATER_FIRST, Circuits, Turning, circuits, legs_of, measure
from tests.county import County, draw_county
from tests.plan_checks import SAMPLE, plan_of, real_district, thinned, without_cards

SITES, HOUSES = 12, 40
COUNTIES = st.builds(
    draw_county,
    st.sampled_from([16, 64, 225]),
    st.just(HOUSES),
    st.just(SITES),
    seed=st.integers(0, 10_000),
    one_way=st.sampled_from([0.0, 0.05, 0.3]),
    posted=st.sampled_from([0.0, 0.1, 0.5]),
)


def turning_of(sites: int) -> Turning:
    """Let sites differ in their turning: through, loop, back."""
    return Turning(turnaround_min=np.resize([0.0, 0.5, 1.5], sites), dump_turn_min=3.0, loop_preference_min=1.0)


def every_trip(county: County, cut: int) -> Circuits:
    """Find every trip of a cut by searches without any limit."""
    loaded, empty = county.fleets[cut]
    return circuits(loaded, empty, Spots.of(county.sites), Spots.of(county.addresses), turning_of(SITES))


def near_search(county: County, counts: tuple[Count, ...], *, free: bool) -> NearSearch:
    """Make ready to look for trips of all cuts, behind a vehicle that no posting stops or without it."""
    legs = (*[(county.free, county.free)] * free, *county.fleets)
    return NearSearch.of(legs, Spots.of(county.sites), Spots.of(county.addresses), turning_of(SITES), counts)


@settings(max_examples=60, deadline=None)
@given(COUNTIES)
def test_no_leg_is_below_its_bound(county: County) -> None:
    sites, dumps = Spots.of(county.sites), Spots.of(county.addresses)
    vehicles = [fleet for pair in county.fleets for fleet in pair]
    bounds = leg_bounds(vehicles, sites, dumps, ((3, np.ones(SITES, dtype=np.bool_)),)).leg_min
    for loaded, empty in county.fleets:
        out = drive_out(loaded, search_out(loaded, sites), dumps)[0].min(axis=2).reshape(SITES, 2, -1).min(axis=1)
        back = drive_in(empty, search_in(empty, sites), dumps)[0].min(axis=2).reshape(SITES, 2, -1).min(axis=1)
        assert (out >= bounds).all()
        assert (back >= bounds).all()


@settings(max_examples=15, deadline=None)
@given(COUNTIES, st.booleans(), st.integers(1, 4), st.integers(0, 10_000))
def test_what_is_known_is_exact_and_what_is_not_is_bounded(county: County, free: bool, count: int, seed: int) -> None:
    """The best few, then some more that are asked for: minutes to the last bit, turns, and the ways' own miles.

    Heavier cuts follow the first vehicle, and search again what lies behind a posting.
    """
    all_trips, among = [every_trip(county, cut) for cut in range(len(county.fleets))], np.arange(SITES) % 3 > 0
    counts = ((count, np.ones(SITES, dtype=np.bool_)), (2, among))
    near = near_search(county, counts, free=free)
    assert len(near.convoys) == 1
    best = near.nearest(counts)
    wanted = np.zeros_like(best)
    for one, everything in zip(near.vehicles[free:], all_trips, strict=True):
        assert_told(one, everything)
        own = least_few(everything.trip_min, counts)
        assert one.known.T[own].all()
        wanted |= own.T
    assert (best >= wanted).all()
    if not free:
        assert (best == wanted).all()
    asked: BoolArray = np.random.default_rng(seed).random(best.shape) < 0.3
    near.settle(asked)
    assert near.known[asked].all()
    for one, everything in zip(near.vehicles[free:], all_trips, strict=True):
        assert_told(one, everything)


def test_slower_vehicles_are_searched_on_their_own() -> None:
    """A heavier tanker that is slower everywhere shares no minutes with the first; two alike share a search."""
    county = draw_county(64, HOUSES, SITES, one_way=0.05, posted=0.1)
    slow = tuple(replace(fleet, state_min=2.0 * fleet.state_min) for fleet in county.fleets[1])
    slow = tuple(replace(fleet, arcs=vehicle_arcs(fleet.network, fleet.usable, fleet.state_min)) for fleet in slow)
    legs = (county.fleets[0], (slow[0], slow[1]), county.fleets[2])
    sites, dumps, counts = Spots.of(county.sites), Spots.of(county.addresses), ((3, np.ones(SITES, dtype=np.bool_)),)
    near = NearSearch.of(legs, sites, dumps, turning_of(SITES), counts)
    assert [len(one.vehicles) for one in near.convoys] == [2, 1]
    near.nearest(counts)
    for one, pair in zip(near.vehicles, legs, strict=True):
        everything = circuits(*pair, sites, dumps, turning_of(SITES))
        assert one.known.T[least_few(everything.trip_min, counts)].all()
        assert_told(one, everything)


def least_few(trip_min: FloatArray, counts: tuple[Count, ...]) -> BoolArray:
    """Mask the best trips of each address by sorting all."""
    mask = np.zeros(trip_min.shape, dtype=np.bool_)
    for row, minutes in enumerate(trip_min):
        for count, among in counts:
            order = np.argsort(np.where(among, minutes, np.inf), kind="stable")[:count]
            mask[row, [s for s in order.tolist() if among[s] and np.isfinite(minutes[s])]] = True
    return mask


def assert_told(near: NearTrips, all_trips: Circuits) -> None:
    """Hold known trips against those of a search of everything, and the rest against what they take at least."""
    told, known = near.circuits(near.known), near.known.T
    for name in ("out_min", "back_min", "join"):
        assert (getattr(told, name)[known] == getattr(all_trips, name)[known]).all(), name
    assert (all_trips.trip_min >= near.least_min.T).all()
    address, site = (i.astype(np.int32) for i in np.nonzero(known & np.isfinite(all_trips.trip_min)))
    length = told.loaded.network.length_mi[:, None]
    for name, inward in (("outward", False), ("inward", True)):
        ours, theirs = legs_of(told, address, site)[inward], legs_of(all_trips, address, site)[inward]
        miles = measure(getattr(told, name), ours, length, inward=inward)
        assert miles == pytest.approx(measure(getattr(all_trips, name), theirs, length, inward=inward), abs=1e-9)
        assert (trace(getattr(told, name), ours, inward=inward).leaf >= 0).all()


# --------------------------------------------------------------------------- whole plans


@cache
def made_ready(district: Path, every: int = 1) -> tuple[Inputs, RoadTable, FeatureTable]:
    inputs = thinned(read_inputs(district), every)
    roads, features = prepared_roads(inputs, Path("nowhere"), Watch(lambda _stage, _share: None), keep=False)
    return inputs, roads, features


def plan_keeping(district: Path, keep_sites: int, every: int) -> Plan:
    inputs, roads, features = made_ready(district, every)
    rules = inputs.district.rules
    rules = replace(rules, plan=replace(rules.plan, keep_sites=keep_sites))
    inputs = replace(inputs, district=replace(inputs.district, rules=rules))
    return without_cards(inputs, roads, features)


def assert_same(one: Any, other: Any, every: int, but: tuple[str, ...] = ()) -> None:
    """Hold a table of every so manieth address against one of all, column by column."""
    for field in fields(one):
        ours, theirs = getattr(one, field.name), getattr(other, field.name)
        if field.name in but:
            continue
        if not isinstance(theirs, np.ndarray | tuple | list) or field.name in {"months", "sites"}:
            assert ours == theirs, field.name
            continue
        theirs = theirs[::every]
        if isinstance(ours, np.ndarray):
            np.testing.assert_array_equal(ours, theirs, err_msg=field.name)
        else:
            assert ours == theirs, field.name


@pytest.mark.parametrize(("name", "every"), [("sample", 1), ("vt_franklin_qc", 3)])
def test_a_plan_of_many_sites_chooses_as_if_every_trip_were_known(
    name: str, every: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two trips an address are searched at first, and one of sites that stand all year; the plan is the same.

    Of the real district every third address is planned anew; of the sample all, for required flows hang on neighbours.
    """
    district = SAMPLE / "district.toml" if name == "sample" else real_district(name) / "district.toml"
    everything = plan_of(district)
    assert len(everything.trips) == len(everything.sites) * len({*everything.trips.address.tolist()})
    for module in (round_trips, kept):
        monkeypatch.setattr(module, "BEST", 2)
        monkeypatch.setattr(module, "BEST_YEAR_ROUND", 1)
    few = plan_keeping(district, 1, every)
    assert len(few.trips) < 0.5 / every * len(everything.trips)
    assert_same(few.levels, everything.levels, every, but=("trip", "backup_trip", "split_trip"))
    assert_same(few.answers, everything.answers, every)
    for one, other in zip(few.seasons, everything.seasons, strict=True):
        assert_same(one, other, every)
    assert every > 1 or few.posting_costs == everything.posting_costs
    assert_kept_trips(few, everything, every)


def assert_kept_trips(few: Plan, everything: Plan, every: int) -> None:
    """Hold what is kept against the same trips where all are: those chosen, and others told for the same cut."""
    column = {pair: row for row, pair in enumerate(pairs_of(everything))}
    rows = np.array([column[every * address, site] for address, site in pairs_of(few)])
    alike = few.trips.cut == everything.trips.cut[rows]
    planned = np.flatnonzero(few.answers.level >= 0)
    chosen = few.levels.trip[planned, few.answers.level[planned]]
    assert alike[chosen[chosen >= 0]].all()
    for name in ("out_min", "back_min", "posted_avoided_min", "turn_at_dump", "turn_at_site"):
        assert (getattr(few.trips, name)[alike] == getattr(everything.trips, name)[rows][alike]).all(), name
    for name in ("out_mi", "back_mi", "narrow_mi", "unposted_bridges"):
        ours, theirs = getattr(few.trips, name)[alike], getattr(everything.trips, name)[rows][alike]
        assert ours == pytest.approx(theirs), name


def pairs_of(plan: Plan) -> list[tuple[int, int]]:
    return list(zip(plan.trips.address.tolist(), plan.trips.site.tolist(), strict=True))


@pytest.mark.parametrize("keep_sites", [10_000, 1])
def test_a_vehicle_without_limits_is_as_fast_as_the_class_it_goes_beside(keep_sites: int) -> None:
    """It loses to a class at most the loop that it takes instead of a turn; one tanker of the sample does 20 mph."""
    inputs, roads, features = made_ready(SAMPLE / "district.toml")
    heaviest = max((one for one in inputs.in_service if one.kind == "tanker"), key=lambda one: one.loaded_lb)
    units = tuple(replace(one, max_mph=20.0) if one == heaviest else one for one in inputs.units)
    rules = inputs.district.rules
    rules = replace(rules, plan=replace(rules.plan, keep_sites=keep_sites))
    inputs = with_streets(replace(inputs, units=units, district=replace(inputs.district, rules=rules)), roads)
    ground = lay_ground(inputs, roads, features)
    cuts = season_fleets(inputs.in_service, ground.as_seen)[0]
    assert len({one.cut.top_mph for one in cuts}) > 1
    found = round_trips.SeasonTrips(ground.seasons[0], cuts, inputs, ground)
    assert found.all_searched == (keep_sites > 1)
    round_about = 0
    for circuit, free in zip(found.circuits, found.free_min(), strict=True):
        there = np.isfinite(circuit.trip_min)
        lost = circuit.trip_min[there] - free[there]
        least = -rules.roads.loop_preference_min - WATER_FIRST * circuit.out_min[there]
        assert (lost >= least).all()
        round_about += int((lost > 1.0).sum())
    assert round_about > 100
