"""Three districts of real roads and addresses: nothing vanishes, no plan contradicts itself, no route breaks a posting.

Their water, stations and apparatus are invented. Only the plan is made here; no page is drawn.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_tables import STATUSES
from preplan.render import tables
from tests import plan_checks

ESSEX, FRANKLIN, ST_JOHN = DISTRICTS = ("vt_essex_south", "vt_franklin_qc", "usvi_st_john")
TONNE_LB = 2204.62
FT_PER_M = 3.28084


@cache
def _planned(folder: Path) -> Plan:
    return plan_checks.plan_of(folder / "district.toml")


@pytest.fixture(params=DISTRICTS)
def folder(request: pytest.FixtureRequest) -> Path:
    return plan_checks.real_district(request.param)


@pytest.fixture
def plan(folder: Path) -> Plan:
    return _planned(folder)


def given_rows(folder: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO((folder / "addresses.csv").read_text(encoding="utf-8"))))


def test_no_address_vanishes(folder: Path, plan: Plan) -> None:
    given = sorted(row["address_id"] for row in given_rows(folder))
    assert plan.addresses.address_id.tolist() == given
    counts = plan.counts()
    assert list(counts) == list(STATUSES)
    assert sum(counts.values()) == len(given)
    assert counts["hydrant"] == 0  # none of the three has hydrants
    assert counts["higher level"] + counts["not met"] > len(given) / 2
    grouped = Counter(a for group in plan.groups for a in group.addresses)
    assert sorted(grouped) == list(range(len(plan.addresses)))
    assert set(grouped.values()) == {1}


@pytest.mark.parametrize(
    "check",
    [
        plan_checks.forbidden_stretches,
        plan_checks.broken_routes,
        plan_checks.wrong_lengths,
        plan_checks.impossible_trips,
        plan_checks.wrong_first_drives,
        plan_checks.contradictions,
    ],
)
def test_plan_does_not_contradict_itself(plan: Plan, check: Callable[[Plan], list[str]]) -> None:
    assert check(plan) == []


def test_every_chosen_trip_is_traced(plan: Plan) -> None:
    rows = np.arange(len(plan.answers))
    shown = plan.answers.level >= 0
    for column in (plan.levels.trip, plan.levels.backup_trip):
        trip = column[rows, np.maximum(plan.answers.level, 0)][shown]
        trip = trip[trip >= 0]
        assert len(trip) > 0
        assert (plan.trips.out_leaf[trip] >= 0).all()
        assert (plan.trips.back_leaf[trip] >= 0).all()


def test_no_route_has_its_reason(folder: Path, plan: Plan) -> None:
    """A few hundred points lie far from any mapped road or beyond the extract, some on roads that join no others."""
    no_route = np.flatnonzero(plan.answers.status == "no route").tolist()
    reasons = {
        row: [f for f in plan.answers.flags[row] if f.code in {"off road data", "road cut off"}] for row in no_route
    }
    assert [plan.addresses.address_id[row] for row, flags in reasons.items() if len(flags) != 1] == []
    off = [row for row, flags in reasons.items() if flags[0].code == "off road data"]
    assert off == np.flatnonzero(plan.frontages.segment < 0).tolist()
    assert {flag.unit for row in off for flag in reasons[row]} <= {"ft"}
    assert len(no_route) < 0.15 * len(plan.addresses)
    assert len(off) > 40 or folder.name == ST_JOHN  # its addresses are buildings, all near some road


def test_tables_hold_no_nan_and_every_planned_address(plan: Plan) -> None:
    text = tables.addresses_csv(plan).decode()
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["address_id"] for row in rows] == plan.addresses.address_id.tolist()
    cells = Counter(value.lower() for row in rows for name, value in row.items() if name != "label")
    assert {cells[word] for word in ("nan", "inf", "-inf", "none", "null")} == {0}


def test_no_loaded_tanker_crosses_a_lower_limit_on_the_border() -> None:
    """The postings of Franklin read again from the raw tags: tonnes or, on a sign in Vermont, short tons; metres."""
    plan = _planned(plan_checks.real_district(FRANKLIN))
    heaviest, tallest = plan.cuts[-1], max(cut.height_ft for cut in plan.cuts)
    below = set()
    for index, tags in enumerate(plan.roads.way_tags):
        max_lb = float(tags.get("maxweight", "inf")) * TONNE_LB
        max_ft = float(tags.get("maxheight", "inf")) * FT_PER_M
        rows = plan.roads.tag_row == index
        assert (plan.limits.max_lb[rows] <= max_lb * 1.0001).all(), tags
        assert (plan.limits.max_height_ft[rows] <= max_ft * 1.0001).all(), tags
        if max_lb < heaviest.loaded_lb or max_ft < tallest:
            below.add(index)
    assert len(below) >= 4
    for leg in plan_checks.legs(plan):
        cut = plan.cuts[int(plan.trips.cut[leg.trip])]
        for index in below & set(plan.roads.tag_row[plan.forest.segment[leg.rows]].tolist()):
            tags = plan.roads.way_tags[index]
            weight_lb = cut.loaded_lb if leg.loaded else cut.empty_lb
            assert weight_lb <= float(tags.get("maxweight", "inf")) * TONNE_LB, (leg, tags)
            assert cut.height_ft <= float(tags.get("maxheight", "inf")) * FT_PER_M, (leg, tags)


def test_level_that_asks_for_more_tankers_than_there_are() -> None:
    """Franklin has five tankers for a level of six: it uses the five and says so."""
    plan = _planned(plan_checks.real_district(FRANKLIN))
    reached = plan.levels.site[:, 2] >= 0
    assert (plan.levels.short_tankers[reached, 2] >= 1).all()
    assert plan.levels.tankers[reached, 2].sum(axis=1).max() == 5
    shown = np.flatnonzero(plan.answers.level == 2)
    assert len(shown) > 0
    assert all("level short" in {flag.code for flag in plan.answers.flags[row]} for row in shown)
