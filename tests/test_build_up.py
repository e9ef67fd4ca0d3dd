"""What a shuttle holds once it has built up, told where a late unit keeps it from holding much at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_tables import MUCH_MORE
from preplan.planning.assignment import Scene
from preplan.planning.build_up import BUILT_UP, WAITS_MIN, build_ups, with_build_ups
from preplan.planning.choices import choose
from preplan.planning.fireground import case_table, haulers
from preplan.planning.flows import Flows
from preplan.planning.levels import Graded, grade
from preplan.records import ResponseLevel
from preplan.render import card_words, first_minutes
from preplan.render.card_facts import Facts
from preplan.water.timeline import Case, answer, held_flow
from tests.example_plan import example_plan, held_later
from tests.plan_checks import plan_of, real_district
from tests.planning_case import hydrants, scene, site, unit

LATE_MIN = 50.0


def pond_near_engine_late(required_gpm: float = 1500.0, trip_min: float = 4.0, late_min: float = LATE_MIN) -> Scene:
    """Lay out a pond near by whose engine comes late, and a hydrant far off that needs none."""
    units = (
        *(unit(f"E{n}", "engine", tank_gal=1000.0, portable_tank_gal=0.0) for n in (1, 2, 3)),
        *(unit(f"T{n}", "tanker", tank_gal=3000.0, pump_gpm=None) for n in (1, 2)),
    )
    return scene(
        [[trip_min, 60.0]],
        (site("pond", fill_gpm=1000.0), site("far hydrant", kind="hydrant", needs_engine=False, fill_gpm=1000.0)),
        units=units,
        levels=(ResponseLevel(name="All", engines=3, tankers=2),),
        arrival_min=[8.0, 9.0, late_min, 12.0, 13.0],
        required_gpm=required_gpm,
        driveway_ft=300.0,  # too far off for the attack engine to draft
    )


def planned(case: Scene) -> Graded:
    """Choose and grade; there is no hydrant."""
    flows = Flows(case)
    return grade(case, [flows], choose(flows), np.zeros(1, dtype=np.int32), hydrants(1))


def plain(case: Scene, found: Graded) -> Case:
    """Write the chosen case for the plain timeline."""
    run = found.worked[0].run
    return case_table(case, run).case(0, [case.units[u].unit_id for u in haulers(case)])


def test_a_near_pond_whose_engine_is_late_is_chosen_where_it_brings_more_water_in_all() -> None:
    """Both sites worked out by the plain account: the far one holds more in the worst minute, and brings far less.

    A site is chosen by the gallons that come of those asked for; where its engine never comes in time to make that up,
    the far one is.
    """
    found = planned(pond_near_engine_late())
    assert found.answers.status[0] == "not met"
    assert found.levels.site[0, 0] == 0
    alone = pond_near_engine_late()
    far = replace(
        alone, sites=alone.sites[1:], cuts=tuple(replace(cut, trip_min=cut.trip_min[:, 1:], out_min=cut.out_min[:, 1:])
                                                 for cut in alone.cuts),
        response=replace(alone.response, site_arrival_min=alone.response.site_arrival_min[1:]),
    )  # fmt: skip
    other = planned(far)
    near_case, far_case = plain(alone, found), plain(far, other)
    assert held_flow(far_case).gpm > held_flow(near_case).gpm
    near_gpm, far_gpm = (1500.0 - answer(one).short_gal / one.required_min for one in (near_case, far_case))
    assert near_gpm > 3.0 * far_gpm
    assert found.levels.brings_gpm[0, 0] == pytest.approx(near_gpm)
    assert planned(pond_near_engine_late(late_min=140.0)).levels.site[0, 0] == 1
    assert planned(pond_near_engine_late(required_gpm=20.0)).answers.status[0] == "served"


def test_what_is_held_later_is_what_the_plain_account_holds_from_then_on() -> None:
    """The same crews, full flow asked for so many minutes later: the first wait from which four fifths are held."""
    case = pond_near_engine_late()
    found = planned(case)
    told = build_ups(found.worked, found.answers)
    one, steady = plain(case, found), float(found.levels.sustained_gpm[0, 0])
    full = case.rules.shuttle.full_flow_after_min
    held = [held_flow(replace(one, full_flow_after_min=full + wait)).gpm for wait in WAITS_MIN]
    first = next(at for at, gpm in enumerate(held) if gpm >= BUILT_UP * steady)
    assert told.address.tolist() == [0]
    assert told.from_min.tolist() == [8.0 + full + WAITS_MIN[first]]
    assert told.gpm[0] == pytest.approx(held[first], rel=1e-6)
    assert told.gpm[0] > MUCH_MORE * found.levels.uninterrupted_gpm[0, 0]
    flags = {flag.code: flag.value for flag in with_build_ups(found.answers, told).flags[0]}
    assert flags["more later"] == np.floor(told.gpm[0])


def test_what_is_told_is_held_in_every_season() -> None:
    """The months that decide, since they bring least in all, need not be those that hold least later on."""
    case = pond_near_engine_late()
    found = planned(case)
    told = build_ups(found.worked, found.answers)
    winter = replace(case, cuts=tuple(replace(cut, trip_min=cut.trip_min * 2.0, out_min=cut.out_min * 2.0)
                                      for cut in case.cuts))  # fmt: skip
    slow = planned(winter)
    flows = Flows(winter)
    rows = choose(flows).row
    both = build_ups(found.worked, found.answers, [(flows, rows)])
    one, full = plain(winter, slow), case.rules.shuttle.full_flow_after_min
    held = [held_flow(replace(one, full_flow_after_min=full + wait)).gpm for wait in WAITS_MIN]
    assert both.gpm[0] < 0.8 * told.gpm[0]
    assert (
        both.steady_gpm[0] == slow.levels.sustained_gpm[0, 0] < told.steady_gpm[0] == found.levels.sustained_gpm[0, 0]
    )
    assert both.gpm[0] == pytest.approx(next(gpm for gpm in held if gpm >= BUILT_UP * slow.levels.sustained_gpm[0, 0]))
    away = np.full_like(rows, -1)
    assert build_ups(found.worked, found.answers, [(flows, away)]).gpm[0] == told.gpm[0], "nobody comes then"


def test_nothing_is_told_where_the_level_meets_or_little_is_gained() -> None:
    for case in (pond_near_engine_late(required_gpm=20.0), pond_near_engine_late(trip_min=60.0, late_min=9.0)):
        found = planned(case)
        assert not build_ups(found.worked, found.answers).address.size


def test_the_card_says_it_in_the_place_of_what_holds_tankers_back() -> None:
    plan = example_plan()
    at = next(k for k, group in enumerate(plan.groups) if plan.answers.status[group.lead] == "not met")
    facts = Facts(plan, plan.groups[at])
    assert "draw no more" not in " ".join(line.said for line in card_words.can(facts))
    every = plan.groups[at].addresses
    told = replace(plan, built_up=held_later(*every, from_min=42.4, gpm=437.9, steady_gpm=249.9))
    said = " ".join(line.said for line in card_words.can(Facts(told, plan.groups[at])))
    assert "or from minute 43: 430 gpm if you draw no more than 150 gpm until then." in said
    assert "Held back by" not in said
    flow = plan.levels.uninterrupted_gpm.copy()
    for held, lasts in ((64.0, ", 60 gpm lasts"), (0.0, "")):
        flow[facts.lead, facts.level] = held
        trickle = replace(told, levels=replace(plan.levels, uninterrupted_gpm=flow))
        both = first_minutes.built_up_words(trickle, facts.lead, every)
        short = f"Draw as little as you can until then: 150 gpm runs dry{lasts}."
        assert both == ("from minute 43: 430 gpm", short, " After 2 hours 240 gpm."), (
            "nobody is told to draw what runs dry"
        )
    other = next(a for a in range(len(plan.addresses)) if a not in every)
    assert first_minutes.built_up_words(told, facts.lead, [*every, other]) == ("", "", "")
    steady = replace(told, built_up=held_later(*every, from_min=42.4, gpm=437.9))
    choice = "if you draw no more than 150 gpm until then."
    assert first_minutes.built_up_words(steady, facts.lead, every)[1:] == (choice, "")


def test_what_a_card_tells_of_later_is_held_at_all_its_addresses() -> None:
    """The weakest at once need not be so later: up to 86 gpm less at neighbours, on 84 real cards."""
    plan = example_plan()
    at = next(k for k, group in enumerate(plan.groups) if len(group.addresses) > 1)
    first, second = plan.groups[at].addresses[:2]
    later, level = held_later(first, second, from_min=40.0, gpm=400.0), int(plan.answers.level[first])
    flow = np.where(np.arange(len(plan.addresses))[:, None] == first, 100.0, plan.levels.uninterrupted_gpm)
    plan = replace(plan, levels=replace(plan.levels, uninterrupted_gpm=flow))
    weaker = later.row_of(second)
    later.gpm[weaker], later.from_min[weaker], later.steady_gpm[weaker] = 309.0, 44.5, 280.0
    told = replace(plan, built_up=later)
    assert level >= 0
    assert first_minutes.built_up_words(told, first, [first])[::2] == ("from minute 40: 400 gpm", "")
    both = first_minutes.built_up_words(told, first, [first, second])
    assert both[::2] == ("from minute 45: 300 gpm", " After 2 hours 280 gpm.")
    later.gpm[weaker] = MUCH_MORE * 100.0
    assert first_minutes.built_up_words(told, first, [first, second]) == ("", "", ""), "hardly more"


@pytest.fixture(scope="module")
def franklin() -> Plan:
    return plan_of(real_district("vt_franklin_qc") / "district.toml")


def test_tankers_are_not_sent_past_a_pond_a_third_of_a_mile_off(franklin: Plan) -> None:
    """On real roads: who is not met fills where most water comes, and is told from when much more is held."""
    at = franklin.addresses.label.tolist().index("1197 TARTE RD")
    level = int(franklin.answers.level[at])
    assert franklin.trips.out_mi[franklin.levels.trip[at, level]] < 0.5
    told = franklin.built_up
    assert len(told.address) > 250
    assert (franklin.answers.status[told.address] == "not met").all()
    held = franklin.answers.shown_flow(franklin.levels.uninterrupted_gpm)[told.address]
    assert (told.gpm > MUCH_MORE * held).all()
    assert [told.row_of(a) for a in told.address[::50].tolist()] == list(range(0, len(told.address), 50))
    coded = [any(flag.code == "more later" for flag in row) for row in franklin.answers.flags]
    assert np.flatnonzero(coded).tolist() == told.address.tolist()


def test_sheets_of_other_months_tell_of_it_too(franklin: Plan) -> None:
    """Most of those that are not met there bring several times what they hold without a break."""
    told = 0
    for group in franklin.groups:
        for other in group.others:
            for then in other.then:
                (line,) = (one for one in franklin.seasons if one.months == then.months)
                held = float(line.uninterrupted_gpm[group.lead, other.level])
                meets = held >= franklin.needs.required_gpm[group.lead] - 1e-6
                told += np.isfinite(then.later_gpm)
                assert not np.isfinite(then.later_gpm) or (then.later_gpm > MUCH_MORE * held and not meets)
    assert told > 250
