"""Seasons of the roads: which months are alike, and that the worst of them decides, address by address."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from preplan.inputs.cells import months as months_said
from preplan.inputs.reader import read_inputs
from preplan.plan_tables import FIRST_ALARM_IN, Flag
from preplan.planning.by_season import merged_scene, season_flags, with_lone_months, with_stranded, worst_roads
from preplan.planning.choices import choose
from preplan.planning.flows import Flows
from preplan.planning.levels import grade
from preplan.records import ALL_MONTHS, Closure, RoadTable
from preplan.roads.seasons import RoadSeason, all_year, road_seasons
from preplan.roads.source import read_osm
from preplan.rules import Rules
from preplan.water.timeline_memory import remembering
from tests.faults.small import TABLES, TOML, TOWER_LANE, SmallDistrict
from tests.osm_text import one_way_street, street
from tests.plan_checks import SAMPLE, plan_of, thinned, without_cards
from tests.planning_case import hydrants, scene, site

RULES = Rules().roads
FAR = float("inf")


def seasons_of(roads: RoadTable, *closures: Closure, months: frozenset[int] = ALL_MONTHS) -> tuple[RoadSeason, ...]:
    return road_seasons(roads, RULES, closures, months)[0]


@pytest.mark.parametrize(
    ("tags", "seasons"),
    [
        ({}, [range(1, 13)]),
        ({"maxweight": "5 st"}, [range(1, 13)]),
        ({"access:conditional": "no @ (Nov-Apr)"}, [{1, 2, 3, 4, 11, 12}, {5, 6, 7, 8, 9, 10}]),
        ({"winter_service": "no"}, [{1, 2, 3, 4, 11, 12}, {5, 6, 7, 8, 9, 10}]),
        ({"seasonal": "summer"}, [{1, 2, 3, 4, 5, 9, 10, 11, 12}, {6, 7, 8}]),
        ({"seasonal": "yes"}, [range(1, 13)]),
        ({"maxweight:conditional": "6 st @ (Mar-May)"}, [{1, 2, 6, 7, 8, 9, 10, 11, 12}, {3, 4, 5}]),
        # said, but weaker than what holds all year: the months are alike
        ({"maxweight": "5 st", "maxweight:conditional": "6 st @ (Mar-May)"}, [range(1, 13)]),
        ({"access:conditional": "no @ (Mo-Fr 07:00-09:00)"}, [range(1, 13)]),
        (
            {"winter_service": "no", "maxweight:conditional": "6 st @ (Mar-May)"},
            [{6, 7, 8, 9, 10}, {1, 2, 11, 12}, {3, 4}, {5}],
        ),
    ],
)
def test_months_in_which_the_roads_are_alike(tmp_path: Path, tags: dict[str, str], seasons: list[set[int]]) -> None:
    found = seasons_of(one_way_street(tmp_path, tags))
    assert [set(one.months) for one in found] == [set(one) for one in seasons]


def test_closures_of_some_months_part_the_year_and_only_among_the_months_planned(tmp_path: Path) -> None:
    roads = street(3).way(10, [1, 2], {"highway": "tertiary"}).way(11, [2, 3], {"highway": "tertiary"}).roads(tmp_path)
    winter = Closure(closure_id="C1", kind="closed", way_id=11, months=frozenset({11, 12, 1, 2}))
    spring = Closure(closure_id="C2", kind="max_lb", way_id=10, value=20000.0, months=frozenset({3}))
    found = seasons_of(roads, winter, spring)
    assert [sorted(one.months) for one in found] == [[4, 5, 6, 7, 8, 9, 10], [1, 2, 11, 12], [3]]
    assert [one.limits.tanker_road.tolist() for one in found] == [[True, True], [True, False], [True, True]]
    assert [one.limits.max_lb[0] for one in found] == [FAR, FAR, 20000.0]
    assert len(seasons_of(roads, winter, spring, months=frozenset({5, 6}))) == 1


def test_what_is_the_same_all_year_is_open_where_ever_open_and_posted_where_ever_posted(tmp_path: Path) -> None:
    roads = street(3).way(10, [1, 2], {"highway": "tertiary"}).way(11, [2, 3], {"highway": "tertiary"}).roads(tmp_path)
    winter = Closure(closure_id="C1", kind="closed", way_id=11, months=frozenset({12}))
    spring = Closure(closure_id="C2", kind="max_lb", way_id=10, value=20000.0, months=frozenset({3}))
    found = all_year(seasons_of(roads, winter, spring))
    assert found.tanker_road.tolist() == found.forward_open.tolist() == [True, True]
    assert found.max_lb.tolist() == [20000.0, FAR]
    assert found.posted.tolist() == [True, False]


def test_each_doubt_is_told_once_whatever_the_number_of_seasons(tmp_path: Path) -> None:
    roads = one_way_street(tmp_path, {"winter_service": "no", "maxweight": "heavy"})
    problems = road_seasons(roads, RULES, (), ALL_MONTHS)[1]
    assert [(one.code, one.key) for one in problems] == [("unreadable", "maxweight"), ("seasonal", "winter_service")]


# --------------------------------------------------------------------------- the worst decides


def test_each_address_takes_its_worst_season_of_the_roads() -> None:
    """Two addresses, two sites: in winter the first has no way at all, the second only the farther site."""
    sites = (site("F1"), site("F2", months=frozenset({6, 7, 8, 9, 10, 11, 12})))
    summer, winter = (
        replace(case, rules=replace(case.rules, plan=replace(case.rules.plan, months=frozenset(months))))
        for case, months in (
            (scene([[10.0, 20.0], [10.0, 12.0]], sites), range(4, 11)),
            (scene([[FAR, FAR], [FAR, 30.0]], sites), (11, 12, 1, 2, 3)),
        )
    )
    scenes = [summer, winter]
    flows = [Flows(case) for case in scenes]
    choice, road = worst_roads([choose(each) for each in flows], np.array([250.0, 250.0]))
    # January to March neither address has a way to water: F2 stands from June, F1 is not reached
    assert road.tolist() == [1, 1]
    deciding = [choice.seasons[at].months for at in choice.season[:, 0]]
    assert deciding == [(1, 2, 3), (1, 2, 3)]
    assert [line.months for line in choice.seasons] == [(6, 7, 8, 9, 10), (1, 2, 3), (4, 5), (11, 12)]
    assert (choice.site == -1).all()

    answers = grade(merged_scene(scenes, road), flows, choice, road, hydrants(2)).answers
    assert answers.status.tolist() == ["no route", "no route"]
    cut_off = (Flag("dead end"), Flag("road cut off"))
    flagged = season_flags(replace(answers, flags=(cut_off, cut_off)), choice.seasons)
    # the first has no way from November to March, the second has one in November and December
    assert [str(flags[1]) for flags in flagged.flags] == ["road closed=11-3", "road closed=1-3"]
    assert {flags[0] for flags in flagged.flags} == {Flag("dead end")}
    # were no fill site open in winter, no road would be to blame for that
    flagged = season_flags(replace(answers, flags=(cut_off, cut_off)), choice.seasons, frozenset(range(3, 13)))
    assert [[str(flag) for flag in flags[1:]] for flags in flagged.flags] == [
        ["no fill site in=1-2", "road closed=3,11-12"],
        ["no fill site in=1-2", "road closed=3"],
    ]


def test_months_without_a_backup_are_told() -> None:
    """The first address has a backup from April to November alone, the second all year, the third never."""
    sites = (site("F1"), site("F2", months=frozenset(range(4, 12)), source_id="pond"))
    flows = Flows(scene([[10.0, 11.0]] * 3, sites))
    choice = choose(flows)
    answers = grade(flows.scene, [flows], choice, np.zeros(3, dtype=np.int32), hydrants(3)).answers
    answers = replace(answers, flags=((),) * 3)
    backup = np.where(np.arange(3)[:, None] < 2, 1, -1) + np.zeros_like(choice.backup)
    always = tuple(
        replace(line, backup_site=np.where(np.arange(3)[:, None] == 1, 1, line.backup_site)) for line in choice.seasons
    )
    flagged = with_lone_months(answers, backup, always)
    assert [[str(flag) for flag in flags] for flags in flagged.flags] == [["no backup=12-3"], [], []]


def test_who_has_no_way_is_told_with_the_months_whichever_season_decides() -> None:
    """T1 has no way at all, T2 none in March and April, T3 none from May on; months that are not planned are none."""
    planned = frozenset(range(3, 12))
    arrivals = {(3, 4): [10.0, 11.0, 12.0, FAR, FAR, 15.0], tuple(range(5, 12)): [10.0, 11.0, 12.0, FAR, 14.0, FAR]}
    scenes = []
    for months, arrival_min in arrivals.items():
        case = scene([[10.0]], (site("F1"),), arrival_min=arrival_min, planned=planned)
        plan_rules = replace(case.rules.plan, months=frozenset(months))
        scenes.append(replace(case, rules=replace(case.rules, plan=plan_rules)))
    flows = Flows(scenes[0])
    answers = grade(scenes[0], [flows], choose(flows), np.zeros(1, dtype=np.int32), hydrants(1)).answers
    flagged = with_stranded(replace(answers, flags=((),)), scenes)
    told = [str(flag) for flag in flagged.flags[0]]
    assert told == ["no way for=T1", "no way for=T2 in March to April", "no way for=T3 in May to November"]


def test_merged_scenes_give_each_address_the_trips_of_its_season() -> None:
    sites = (site("F1"),)
    scenes = [scene([[10.0], [11.0]], sites), scene([[20.0], [21.0]], sites, arrival_min=[30.0] * 6)]
    merged = merged_scene(scenes, np.array([1, 0], dtype=np.int32))
    assert merged.cuts[0].trip_min.tolist() == [[20.0], [11.0]]
    assert merged.response.arrival_min[:, 0].tolist() == [30.0, 10.0]
    assert merged.response.site_arrival_min[0].tolist() == [30.0] * 6  # the later of both


def test_sites_of_all_planned_months_are_planned_like_sites_of_all_months(tmp_path: Path) -> None:
    """Planned for April to November, of which a lane is shut in April: no site that stands through is seasonal."""
    shut_in_april = TOWER_LANE | {"motor_vehicle:conditional": "no @ (Apr)"}
    plans = []
    for name, months in (("always", ""), ("summer", "4-11")):
        one = SmallDistrict(tower_lane=shut_in_april, toml=f'{TOML}\n[plan]\nmonths = "4-11"\n')
        head, *rows = TABLES["fill_sites.csv"].splitlines()
        one.files["fill_sites.csv"] = "\n".join([f"{head},months", *(f"{row},{months}" for row in rows), ""])
        plans.append(plan_of(one.write(tmp_path / name)))
    always, summer = plans
    assert len(always.season_limits) == 2, "the roads have but one season: the test shows less than it says"
    assert (always.levels.backup >= 0).any()
    np.testing.assert_array_equal(summer.levels.backup, always.levels.backup)
    assert [[str(flag) for flag in flags] for flags in summer.answers.flags] == [
        [str(flag) for flag in flags] for flags in always.answers.flags
    ]
    # the site's own pages still say when it works
    assert [[str(flag) for flag in flags if flag.code == "seasonal"] for flags in summer.site_flags] == [
        ["seasonal=4-11"]
    ] * 2


def test_a_plan_of_all_months_is_the_worst_of_plans_of_one_season_each() -> None:
    """Half the sample again for each season alone: where an address keeps its place, the deciding one agrees."""
    half = slice(None, None, 2)
    whole = plan_of(SAMPLE / "district.toml")
    inputs = thinned(read_inputs(SAMPLE / "district.toml"), 2)
    assert inputs.roads.file is not None
    roads = read_osm(inputs.roads.file)
    assert len({id(one) for one in whole.season_limits}) > 1
    compared, sooner, later = 0, 0, 0
    alones = []
    with remembering():  # many cases are those of several seasons
        for line in whole.seasons:
            plan_rules = replace(inputs.district.rules.plan, months=frozenset(line.months))
            district = replace(inputs.district, rules=replace(inputs.district.rules, plan=plan_rules))
            alones.append(without_cards(replace(inputs, district=district), *roads))
    for index, (line, alone) in enumerate(zip(whole.seasons, alones, strict=True)):
        assert len(alone.seasons) == 1
        same = alone.frontages.segment == whole.frontages.segment[half]
        same &= alone.frontages.along_ft == whole.frontages.along_ft[half]
        same &= alone.needs.required_gpm == whole.needs.required_gpm[half]  # which asks how near the neighbours are
        mine = same & (whole.levels.season[half, 0] == index)
        compared += int(mine.sum())
        assert (alone.answers.status[mine] == whole.answers.status[half][mine]).all()
        for name in ("site", "backup", "sustained_gpm", "cycle_min", "used"):
            np.testing.assert_array_equal(getattr(alone.levels, name)[mine], getattr(whole.levels, name)[half][mine])
        np.testing.assert_array_equal(alone.levels.uninterrupted_gpm[same], line.uninterrupted_gpm[half][same])
        np.testing.assert_array_equal(alone.levels.backup[same], line.backup_site[half][same])
        np.testing.assert_array_equal(alone.levels.backup_gpm[same], line.backup_gpm[half][same])
        # by when a level is called: where the season shows the same one, its own minute is no earlier or it is flagged
        lax = same & whole.answers.in_time()[half] & (whole.levels.season[half, 0] != index)
        lax &= (alone.answers.status == "higher level") & (alone.answers.level == whole.answers.level[half])
        waits = alone.answers.in_time() & (alone.answers.call_by_min >= whole.answers.call_by_min[half])
        for a in np.flatnonzero(lax).tolist():
            flag = next((one for one in whole.answers.flags[2 * a] if one.code == FIRST_ALARM_IN), None)
            named = () if flag is None else months_said(str(flag.value)) or ()
            assert (set(line.months) <= set(named)) == (not waits[a]), whole.addresses.label[2 * a]
        sooner, later = sooner + int((lax & ~waits).sum()), later + int((lax & waits).sum())
    assert compared > 0.9 * len(inputs.addresses)
    assert sooner > 0
    assert later > 10


def test_an_engine_that_pumps_in_the_deciding_season_has_its_minutes_though_it_has_no_way_in_another(
    tmp_path: Path,
) -> None:
    """E2 lives behind a lane posted in spring; winter decides, since only a weak pond is open, and E2 pumps there."""
    one = SmallDistrict()
    one.files["stations.csv"] = f"{TABLES['stations.csv']}H2,Tower House,-72.05,44.01\n"
    one.files["apparatus.csv"] = str(TABLES["apparatus.csv"]).replace("E2,H1", "E2,H2")
    one.files["addresses.csv"] = "".join(str(TABLES["addresses.csv"]).splitlines(keepends=True)[:3])
    one.files["fill_sites.csv"] = (
        "site_id,name,kind,lon,lat,fill_gpm,months\n"
        "S1,Mill Pond,dry hydrant,-72.0,44.0,900,3-11\nS2,Far Pond,dry hydrant,-72.09,44.0,150,\n"
    )
    one.files["closures.csv"] = "closure_id,kind,way_id,value,months\nC1,max_lb,11,20000,3-4\n"
    one.toml = TOML.replace("[roads]\n", 'closures = "closures.csv"\n\n[roads]\n')
    plan = plan_of(one.write(tmp_path))
    e2 = [unit.unit_id for unit in plan.units].index("E2")
    assert plan.seasons[plan.levels.season[1, 1]].months == (1, 2, 12)
    assert (plan.levels.site[1, 1], plan.levels.fill_engine[1, 1]) == (1, e2)
    assert 8.0 < plan.site_arrival_min[1, e2] < 15.0  # 6 min of turnout, 2.7 mi
    # the map's what-if starts from the same jobs: E3 pumped there and E2 drafted
    jobs = plan.what_if
    assert jobs is not None
    for mine, planned in ((jobs.fill_engine, plan.levels.fill_engine), (jobs.dump_engine, plan.levels.dump_engine)):
        assert mine[jobs.job[1], 1, 1] == planned[1, 1]
