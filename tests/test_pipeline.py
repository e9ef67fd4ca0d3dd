"""The sample's answers as committed, and what must hold besides the checks of `plan_checks`, on a real district too."""

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
from preplan.units import M_PER_MI, MIN_PER_HOUR
from tests import plan_checks

SAMPLE = Path(__file__).resolve().parents[1] / "data_samples" / "millrace"
EXPECTED = Path(__file__).parent / "data" / "expected_plans.csv"
NUMBERS = {"trip_min": 0.01, "gpm": 0.1}
"""Columns of numbers and the last place that is written."""
DISTRICTS = ("sample", "vt_franklin_qc")


@cache
def plan_of(name: str) -> Plan:
    """Plan a district once for all tests of this file."""
    return plan_checks.plan_of((SAMPLE if name == "sample" else plan_checks.real_district(name)) / "district.toml")


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
