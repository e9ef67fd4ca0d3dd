"""The finished plan of the sample and of a real district: what must hold at every address, and the sample's answers."""

from __future__ import annotations

import csv
import io
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from pyproj import Geod

from preplan.plan import Plan
from preplan.plan_tables import LEAST_GAP_MIN
from preplan.records import BoolArray
from preplan.units import M_PER_MI, MIN_PER_HOUR
from tests import plan_checks
from tests.shared_data import shared

SAMPLE = Path(__file__).resolve().parents[1] / "data_samples" / "millrace"
EXPECTED = Path(__file__).parent / "data" / "expected_plans.csv"
NUMBERS = {"trip_min": 0.01, "gpm": 0.1}
"""Columns of numbers and the last place that is written."""
DISTRICTS = ("sample", "vt_franklin_qc")


@cache
def plan_of(name: str) -> Plan:
    """Plan a district once for all tests of this file."""
    return plan_checks.plan_of((SAMPLE if name == "sample" else shared("districts", name)) / "district.toml")


def answers_of(plan: Plan) -> str:
    """Write the answers of every address as a table."""
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(["address_id", "status", "level", "site", "backup", "limited_by", "used", "flags", *NUMBERS])
    for a, level in enumerate(plan.answers.level.tolist()):
        row = [plan.addresses.address_id[a], plan.answers.status[a]]
        flags = "; ".join(flag.code for flag in plan.answers.flags[a])
        if level < 0:
            out.writerow([*row, "", "", "", "", "", flags, "", ""])
            continue
        trip, backup = int(plan.levels.trip[a, level]), int(plan.levels.backup[a, level])
        row += [plan.district.levels[level].name, plan.sites[plan.levels.site[a, level]].site_id]
        row += [plan.sites[backup].site_id if backup >= 0 else "", plan.levels.limited_by[a, level]]
        row += [" ".join(plan.unit_ids(plan.levels.used[a, level], a)), flags]
        minutes = plan.trips.out_min[trip] + plan.trips.back_min[trip]
        out.writerow([*row, f"{minutes:.2f}", f"{plan.levels.sustained_gpm[a, level]:.1f}"])
    return text.getvalue()


def test_the_sample_s_answers_are_those_committed(request: pytest.FixtureRequest) -> None:
    """A change of any answer shows; numbers may differ by the last place, as processors do."""
    text = answers_of(plan_of("sample"))
    if request.config.getoption("--renew-golden"):
        EXPECTED.write_text(text, encoding="utf-8", newline="\n")
    found, expected = (list(csv.DictReader(one.splitlines())) for one in (text, EXPECTED.read_text(encoding="utf-8")))
    assert len(found) == len(expected)
    for now, then in zip(found, expected, strict=True):
        assert {k: v for k, v in now.items() if k not in NUMBERS} == {k: v for k, v in then.items() if k not in NUMBERS}
        for name, step in NUMBERS.items():
            assert bool(now[name]) == bool(then[name])
            assert float(now[name] or 0) == pytest.approx(float(then[name] or 0), abs=1.5 * step)


@pytest.mark.parametrize("name", DISTRICTS)
def test_a_card_s_strip_shows_what_the_card_advises(name: str) -> None:
    """Where a call on arrival leaves too little, the level comes with the first alarm, and then full flow holds."""
    plan, seen = plan_of(name), set()
    for group in plan.groups:
        if group.strip is None or plan.answers.status[group.lead] != "higher level":
            continue
        strip, codes = group.strip, {flag.code for flag in plan.answers.flags[group.lead]}
        assert (strip.called == "first alarm") == ("send with first alarm" in codes)
        assert strip.called == "first alarm" or "gap" not in codes
        full_flow_min = strip.demand_min[np.argmax(strip.demand_gpm)]
        late = strip.gaps_min[strip.gaps_min[:, 1] > full_flow_min + LEAST_GAP_MIN]
        assert np.diff(late).sum() <= LEAST_GAP_MIN, plan.addresses.address_id[group.lead]
        seen.add(strip.called)
    assert seen == ({"first alarm", "on arrival"} if name == "sample" else {"first alarm"})


@pytest.mark.parametrize("name", DISTRICTS)
def test_no_tanker_s_route_crosses_a_limit_below_it(name: str) -> None:
    """Every traced way, loaded out and empty back, against each limit of each stretch it drives, in its direction."""
    plan = plan_of(name)
    walked = 0
    for trip in np.flatnonzero(plan.trips.out_leaf >= 0).tolist():
        cut = plan.cuts[plan.trips.cut[trip]]
        limits = plan.season_limits[plan.levels.season[plan.trips.address[trip], 0]]
        for rows, gross_lb in zip(plan.trip_rows(trip), (cut.loaded_lb, cut.empty_lb), strict=True):
            stretch, forward = plan.forest.segment[rows], plan.forest.forward[rows]
            assert (limits.max_lb[stretch] >= gross_lb).all(), plan.addresses.address_id[plan.trips.address[trip]]
            assert (limits.max_height_ft[stretch] >= cut.height_ft).all()
            assert (limits.max_width_ft[stretch] >= cut.width_ft).all()
            assert np.where(forward, limits.forward_open[stretch], limits.backward_open[stretch]).all()
            walked += len(rows)
    assert walked > 1000


def test_some_route_of_the_sample_goes_round_a_limit() -> None:
    """The check before bites: loaded tankers go round postings here that a free vehicle would cross."""
    assert (plan_of("sample").trips.posted_avoided_min > 1.0).sum() > 20


@pytest.mark.parametrize("name", DISTRICTS)
def test_no_round_trip_is_quicker_than_the_straight_line_at_top_speed(name: str) -> None:
    """Geodesics by pyproj: twice the distance from the site's road to the dump site at the tanker's top speed."""
    plan = plan_of(name)
    trips = plan.trips
    site_lon = np.array([site.lon for site in plan.sites])[trips.site]
    site_lat = np.array([site.lat for site in plan.sites])[trips.site]
    lon, lat = plan.frontages.lon[trips.address], plan.frontages.lat[trips.address]
    _, _, metres = Geod(ellps="WGS84").inv(site_lon, site_lat, lon, lat)
    top_mph = max(cut.top_mph for cut in plan.cuts)
    # A site stands a little off its road: that gap is not driven.
    least = 2.0 * np.maximum(np.asarray(metres) - 400.0, 0.0) / M_PER_MI / top_mph * MIN_PER_HOUR
    assert (trips.out_min + trips.back_min >= least).all()


@pytest.mark.parametrize("name", DISTRICTS)
def test_road_miles_from_a_station_lie_between_the_straight_line_and_the_quickest_drive(name: str) -> None:
    """Geodesics by pyproj; the shortest way is no longer than what any unit of such a station drives at top speed."""
    plan = plan_of(name)
    unasked = [station for station in plan.stations if station.aid != "on request"]
    on_road = plan.frontages.segment >= 0
    lon, lat = plan.frontages.lon[on_road], plan.frontages.lat[on_road]
    metres = [Geod(ellps="WGS84").inv(np.full(len(lon), s.lon), np.full(len(lon), s.lat), lon, lat)[2] for s in unasked]
    miles = plan.station_mi[on_road]
    # A station stands a little off its road: that gap is not driven.
    assert (miles >= np.maximum(np.min(metres, axis=0) - 400.0, 0.0) / M_PER_MI).all()
    turnout = {station.station_id: station.turnout_min for station in unasked}
    for u, unit in enumerate(plan.units):
        if unit.station_id in turnout:
            drive_min = plan.arrival_min[on_road, u] - turnout[unit.station_id]
            top_mph = min(unit.max_mph, plan.district.rules.roads.top_mph)
            assert (miles <= np.maximum(drive_min, 0.0) * top_mph / MIN_PER_HOUR + 0.01).all()
    assert np.isfinite(miles).mean() > 0.9
    assert np.isinf(plan.station_mi[~on_road]).all()


@pytest.mark.parametrize("name", DISTRICTS)
def test_levels_hold_together(name: str) -> None:
    """Fleets nest, flows are finite and bounded, one tanker fewer is no gain, status follows from the levels."""
    plan = plan_of(name)
    levels = plan.levels
    there: BoolArray = levels.site >= 0
    assert (levels.fleet[:, 1:] >= levels.fleet[:, :-1]).all()
    assert (levels.used <= levels.tankers).all()
    assert np.isfinite(levels.sustained_gpm[there]).all()
    assert (levels.sustained_gpm[there] <= levels.sum_gpm[there] * (1 + 1e-9)).all()
    assert (levels.one_out_gpm[there] <= levels.uninterrupted_gpm[there] * (1 + 1e-9)).all()
    assert (levels.brings_gpm[:, 1:] >= levels.brings_gpm[:, :-1] * (1 - 1e-9))[there[:, 1:]].all()
    more = levels.uninterrupted_gpm[:, 1:] >= levels.uninterrupted_gpm[:, :-1] * (1 - 1e-9)
    assert more[there[:, 1:] & levels.meets[:, :-1]].all()
    first = np.where(levels.meets.any(axis=1), levels.meets.argmax(axis=1), -1)
    word = np.where(first == 0, "served", np.where(first > 0, "higher level", "not met"))
    asked = np.isin(plan.answers.status, ["served", "higher level", "not met"])
    assert (word[asked] == plan.answers.status[asked]).all()
    source = np.array([site.source for site in plan.sites], dtype=np.object_)
    backed = there & (levels.backup >= 0)
    assert (source[levels.site[backed]] != source[levels.backup[backed]]).all()


@pytest.mark.parametrize("name", DISTRICTS)
def test_no_season_names_a_site_that_does_not_stand_in_it(name: str) -> None:
    """Every season's choice is among its sites, and their months hold all of its months."""
    plan = plan_of(name)
    for season in plan.seasons:
        chosen = set(np.unique(season.best_site[season.best_site >= 0]).tolist())
        assert chosen <= set(season.sites)
        for site in season.sites:
            assert plan.sites[site].in_service
            assert set(season.months) <= plan.sites[site].months
