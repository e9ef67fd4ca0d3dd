"""Fill sites that bring much more once the shuttle runs than the one planned: found, and told to crews."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_tables import Flag, LaterTable
from preplan.planning.assignment import Scene
from preplan.planning.flows import Flows
from preplan.planning.later import MUCH_MORE, later_sites, with_later
from preplan.planning.levels import Choice, Graded, choose, grade
from preplan.records import ResponseLevel
from preplan.render import card_words, crew
from preplan.render.card_facts import Facts
from tests.example_plan import example_plan
from tests.plan_checks import plan_of
from tests.planning_case import hydrants, scene, site, unit
from tests.shared_data import shared

LATE_MIN = 70.0


def pond_near_engine_late(required_gpm: float = 1500.0, near_trip_min: float = 4.0) -> Scene:
    """Lay out a pond near by whose engine comes late, and a hydrant far off that needs none."""
    units = (
        *(unit(f"E{n}", "engine", tank_gal=1000.0, portable_tank_gal=0.0) for n in (1, 2, 3)),
        *(unit(f"T{n}", "tanker", tank_gal=3000.0, pump_gpm=None) for n in (1, 2)),
    )
    return scene(
        [[near_trip_min, 40.0]],
        (site("pond", fill_gpm=1000.0), site("far hydrant", kind="hydrant", needs_engine=False, fill_gpm=1000.0)),
        units=units,
        levels=(ResponseLevel(name="All", engines=3, tankers=2),),
        arrival_min=[8.0, 9.0, LATE_MIN, 12.0, 13.0],
        required_gpm=required_gpm,
    )


def graded_of(case: Scene) -> tuple[Graded, Choice]:
    """Choose and grade; there is no hydrant."""
    flows = Flows(case)
    choice = choose(flows)
    return grade(case, [flows], choice, np.zeros(1, dtype=np.int32), hydrants(1)), choice


def found_in(case: Scene) -> tuple[LaterTable, float, int]:
    """Plan, and give what is found, the steady flow of the plan and its fill site."""
    graded, choice = graded_of(case)
    later = later_sites(case, graded.levels, graded.answers, choice.seasons)
    flags = {flag.code: flag.value for flag in with_later(graded.answers, later).flags[0]}
    assert ("more later elsewhere" in flags) is (later.address.size > 0)
    return later, float(graded.levels.sustained_gpm[0, 0]), int(graded.levels.site[0, 0])


def test_a_near_pond_is_told_where_a_late_engine_kept_it_from_being_chosen() -> None:
    """By the steady formula of the handbooks: usable gallons of all over the longest cycle, 2 x 0.9 x 3000 gal.

    A cycle over the pond: 4 min of road; hook-up and 2,700 gal at 1,000 gpm; hook-up and 2,700 gal at 1,000 gpm of
    dumping; positioning at both ends. Nothing else holds it: one tanker fills in less than half of it.
    """
    case = pond_near_engine_late()
    later, planned_gpm, chosen = found_in(case)
    assert chosen == 1
    assert later.site.tolist() == [0]
    rules = case.rules.shuttle
    handling = rules.fill_hookup_min + rules.fill_maneuver_min + rules.dump_hookup_min + rules.dump_maneuver_min
    cycle_min = 4.0 + handling + 2.7 + 2.7
    assert later.gpm[0] == pytest.approx(2 * 2700.0 / cycle_min)
    assert later.gpm[0] > MUCH_MORE * planned_gpm
    assert later.trip_min.tolist() == [4.0]
    assert later.ready_min.tolist() == [LATE_MIN]
    assert case.units[later.engine[0]].kind == case.units[later.dump_engine[0]].kind == "engine"


def test_nothing_is_told_where_the_level_meets_or_little_is_gained() -> None:
    assert not found_in(pond_near_engine_late(required_gpm=20.0))[0].address.size
    assert not found_in(pond_near_engine_late(near_trip_min=36.0))[0].address.size


def test_nobody_moves_for_what_all_units_bring_where_he_fills() -> None:
    """A level may do what the one below it does, with fewer tankers: all of them at the planned site are no other site.

    The flow that all bring there is also what another site has to better.
    """
    case = pond_near_engine_late()
    graded, choice = graded_of(case)
    fewer = replace(graded.levels, sustained_gpm=graded.levels.sustained_gpm * 0.5)
    assert later_sites(case, fewer, graded.answers, choice.seasons).site.tolist() == [0]
    alone = tuple(replace(line, sites=(1,)) for line in choice.seasons)
    assert not later_sites(case, fewer, graded.answers, alone).address.size
    moderate = pond_near_engine_late(near_trip_min=36.0)
    graded, choice = graded_of(moderate)
    fewer = replace(graded.levels, sustained_gpm=graded.levels.sustained_gpm * 0.5)
    assert not later_sites(moderate, fewer, graded.answers, choice.seasons).address.size


def test_the_card_says_it_in_the_place_of_what_holds_tankers_back() -> None:
    plan = example_plan()
    at = next(k for k, group in enumerate(plan.groups) if plan.answers.status[group.lead] == "not met")
    facts = Facts(plan, plan.groups[at])
    assert "LATER MORE" not in " ".join(line.said for line in card_words.can(facts))
    whole = np.array([facts.lead], dtype=np.int32)
    row = LaterTable(
        address=whole, site=np.array([1], dtype=np.int32), gpm=np.array([437.9]), trip_min=np.array([6.12]),
        engine=np.array([1], dtype=np.int32), dump_engine=np.array([2], dtype=np.int32), ready_min=np.array([36.2]),
    )  # fmt: skip
    told = replace(plan, later=row)
    said = " ".join(line.said for line in card_words.can(Facts(told, plan.groups[at])))
    ids = [unit.unit_id for unit in plan.units]
    crews = f"{ids[1]} pumping there, {ids[2]} at the dump site by minute 37."
    wanted = f"430 gpm steady (rate assumed), round trip 6.1 min; {crews}"
    assert f"LATER MORE at fill site 2 (April to November only): {wanted}" in said
    assert "Held back by" not in said
    split = np.full_like(plan.levels.split, 1)
    both = crew.later_words(replace(told, levels=replace(plan.levels, split=split)), facts.lead)
    assert both.startswith("LATER MORE all at fill site 2 ")
    limit = Flag(
        "posted below load", f"the Mill Road bridge (posted 20,000 lb): {ids[1]}", stretches=(0,), limit="20,000 lb"
    )
    near = replace(told, site_flags=((), (limit,), *plan.site_flags[2:]))
    assert " KEEP OFF the Mill Road bridge (20,000 lb, " in crew.later_words(near, facts.lead)
    assert crew.later_words(told, facts.lead + 1) == ""


@pytest.fixture(scope="module")
def franklin() -> Plan:
    return plan_of(shared("districts", "vt_franklin_qc") / "district.toml")


def test_a_pond_a_third_of_a_mile_off_is_not_passed_in_silence(franklin: Plan) -> None:
    """On real roads: whoever is told of one has it by a much larger flow, and it is not the one where he fills."""
    later, level = franklin.later, franklin.answers.level[franklin.later.address]
    planned = franklin.levels.sustained_gpm[later.address, level]
    assert len(later.address) > 500
    assert (later.gpm > MUCH_MORE * planned).all()
    assert (franklin.answers.status[later.address] == "not met").all()
    assert (franklin.levels.site[later.address, level] != later.site).all()
    assert [later.row_of(a) for a in later.address[::50].tolist()] == list(range(0, len(later.address), 50))
    others = np.setdiff1d(np.arange(len(franklin.addresses)), later.address)
    assert {later.row_of(a) for a in others[::50].tolist()} == {-1}
    assert "1169 TARTE RD" in franklin.addresses.label[later.address].tolist()
    coded = [any(flag.code == "more later elsewhere" for flag in row) for row in franklin.answers.flags]
    assert np.flatnonzero(coded).tolist() == later.address.tolist()
