"""Status, level and flags, from a question typed in by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from preplan.months import months_text
from preplan.plan_tables import AnswerTable, Flag, LevelTable, TripTable
from preplan.planning.assignment import Scene
from preplan.planning.choices import choose, worst_season
from preplan.planning.flags import address_flags, site_flags
from preplan.planning.flows import Flows
from preplan.planning.kept import kept_pairs
from preplan.planning.levels import grade, least_dry
from preplan.records import AddressTable, ResponseLevel, text_array
from preplan.render.card_facts import Facts
from preplan.render.flag_words import flag_words
from preplan.render.map_answers import flag_said
from preplan.rules import PlanRules, Rules
from tests.example_plan import example_plan
from tests.planning_case import ENGINES, TANKERS, hydrants, scene, site, unit
from tests.road_builder import address_table


def graded(case: Scene, hydrant_gpm: float = np.nan) -> tuple[LevelTable, AnswerTable]:
    """Choose, work out and grade."""
    flows, count = Flows(case), len(case.needs)
    found = grade(case, [flows], choose(flows), np.zeros(count, dtype=np.int32), hydrants(count, hydrant_gpm))
    return found.levels, found.answers


def addresses(count: int = 1, sprinklered: float = np.nan) -> AddressTable:
    """Make addresses of which only what a test changes matters."""
    table = address_table([(0.0, 0.0)] * count, ["Mill Road"] * count)
    return replace(table, sprinklered=np.full(count, sprinklered))


def trips(**changes: float) -> TripTable:
    """Make the one trip of address 0 and site 0."""
    values: dict[str, npt.NDArray[Any]] = {
        name: np.zeros(1) for name in ("out_min", "out_mi", "back_min", "back_mi", "posted_avoided_min", "narrow_mi")
    }
    values |= {name: np.zeros(1, dtype=np.int32) for name in ("address", "site", "cut", "unposted_bridges")}
    values |= {name: np.full(1, -1, dtype=np.int32) for name in ("out_leaf", "back_leaf")}
    values |= {name: np.zeros(1, dtype=np.bool_) for name in ("turn_at_dump", "turn_at_site")}
    for name, value in changes.items():
        values[name] = np.array([value]).astype(values[name].dtype)
    return TripTable(**values)


def flags_of(case: Scene, table: AddressTable | None = None, **trip: float) -> set[str]:
    """Write the flags of the first address as the tables do."""
    levels, answers = graded(case)
    levels = replace(levels, trip=np.where(levels.site >= 0, 0, -1).astype(np.int32))
    found = address_flags(case, table or addresses(len(case.needs)), levels, trips(**trip), answers)
    return {str(flag) for flag in found[0]}


ONE_SITE = (site("F1"),)


@pytest.mark.parametrize(
    ("required_gpm", "status", "level"),
    [(90.0, "served", 0), (200.0, "higher level", 1), (900.0, "not met", 1)],
)
def test_the_first_level_that_meets_names_the_status(required_gpm: float, status: str, level: int) -> None:
    """One tanker holds about 107 gpm for two hours, three about 360: where none meets, the largest flow is shown."""
    _, answers = graded(scene([[10.0]], ONE_SITE, required_gpm=required_gpm))
    assert answers.status[0] == status
    assert answers.level[0] == level


def test_an_address_that_no_unit_reaches_has_no_route_whatever_pond_is_near() -> None:
    """An island with its own pond: a level that sends nobody is none."""
    levels, answers = graded(scene([[4.0]], ONE_SITE, arrival_min=[np.inf] * 6))
    assert (answers.status[0], answers.level[0], levels.site[0].tolist()) == ("no route", -1, [-1, -1])
    _, answers = graded(scene([[4.0]], ONE_SITE, arrival_min=[10.0] + [np.inf] * 5))
    assert answers.status[0] == "not met"


def test_where_none_holds_anything_the_site_is_the_one_that_brings_most_in_the_long_run() -> None:
    """Tankers come an hour after full flow is asked for: no site holds anything; the nearest is a small cistern."""
    small = site("F1", kind="cistern", storage_gal=4000.0)
    late = [10.0, 11.0, 12.0, 90.0, 91.0, 92.0]
    levels, answers = graded(scene([[8.0, 14.0]], (small, site("F2")), arrival_min=late))
    assert answers.status[0] == "not met"
    assert (levels.uninterrupted_gpm[0] == 0.0).all()
    assert levels.site[0].tolist() == [1, 1]
    assert (levels.sustained_gpm[0] > 4000.0 / 120.0).all()
    # the same water at both: the shorter trip, as ever
    levels, _ = graded(scene([[8.0, 14.0]], (site("F1"), site("F2")), arrival_min=late))
    assert levels.site[0].tolist() == [0, 0]


def test_a_hydrant_counts_only_if_it_gives_the_required_flow() -> None:
    """A credited 250 gpm meets 250, not 500; and it comes before no route."""
    assert graded(scene([[10.0]], ONE_SITE, required_gpm=250.0), 250.0)[1].status[0] == "hydrant"
    assert graded(scene([[10.0]], ONE_SITE, required_gpm=500.0), 250.0)[1].status[0] != "hydrant"
    assert graded(scene([[np.inf]], ONE_SITE), 1000.0)[1].status[0] == "hydrant"


def test_no_way_is_no_route_and_no_engine_is_not_met() -> None:
    """What the roads forbid and what the fleet lacks are told apart."""
    assert graded(scene([[np.inf]], ONE_SITE))[1].status[0] == "no route"
    lone = scene([[10.0]], ONE_SITE, units=(ENGINES[0], *TANKERS), driveway_ft=900.0)
    levels, answers = graded(lone)
    assert answers.status[0] == "not met"
    assert levels.limited_by[0].tolist() == ["engines", "engines"]


def test_where_hose_is_short_at_every_level_that_is_shown_which_would_bring_most() -> None:
    """A line of 3,100 ft: two engines are 1,100 ft short, three 100 ft, and neither brings water."""
    levels = (ResponseLevel(name="Level 1", engines=2, tankers=1), ResponseLevel(name="Level 2", engines=3, tankers=3))
    case = scene([[1.0]], (site("F1", needs_engine=False),), levels=levels, driveway_ft=3000.0)
    table, answers = graded(case)
    assert table.hose_short_ft[0].tolist() == [1100.0, 100.0]
    assert table.uninterrupted_gpm[0].tolist() == [0.0, 0.0]
    assert table.reached_gpm[0, 1] > table.reached_gpm[0, 0] > 0.0
    assert table.limited_by[0].tolist() == ["hose", "hose"]
    assert (answers.status[0], answers.level[0]) == ("not met", 1)
    near, _ = graded(scene([[1.0]], (site("F1", needs_engine=False),), levels=levels, driveway_ft=300.0))
    assert np.isnan(near.reached_gpm).all()


def test_of_equal_flows_the_level_that_is_dry_least_is_shown() -> None:
    """By hand: equal flows with the gaps of two real districts' kind; a larger flow comes first whatever the gap."""
    nan = np.nan
    flow = np.array(
        [[80.0, 260.0, 260.0], [80.0, 260.0, 260.0], [80.0, 250.0, 260.0], [0.0, 0.0, 0.0], [9.0, 9.0, 9.0]]
    )
    gap = np.array([[99.0, 56.8, 32.3], [99.0, 40.0, 40.02], [1.0, 2.0, 90.0], [nan, nan, nan], [nan, 5.0, nan]])
    assert least_dry(flow, flow, gap).tolist() == [2, 1, 2, 0, 1]


def test_of_equal_flows_the_level_that_holds_most_in_other_months_too_comes_first() -> None:
    """A level of fewer units may hold as much in the months that decide, and half as much in the others."""
    flow, gap = np.full((2, 3), 232.0), np.array([[1.0, 5.0, 5.0], [1.0, 5.0, 5.0]])
    in_any = np.array([[121.0, 121.0, 232.0], [121.0, 232.0, 232.0]])
    assert least_dry(flow, in_any, gap).tolist() == [2, 1]


def test_flags_of_place_and_need() -> None:
    """A long driveway, a dead end, an uncertain frontage, a sprinklered building of assumed size."""
    case = scene([[10.0]], ONE_SITE, driveway_ft=640.2, required_gpm=90.0)
    case = replace(
        case,
        frontages=replace(case.frontages, dead_end=np.array([True]), how=text_array(["nearest"])),
        needs=replace(case.needs, assumed=np.array([True])),
    )
    found = flags_of(case, addresses(sprinklered=1.0))
    expected = {"long driveway=641 ft", "dead end", "frontage uncertain=50 ft", "sprinklered", "assumed building"}
    assert expected <= found


def test_a_road_that_no_tanker_reaches_is_told_from_a_point_off_the_roads() -> None:
    """The frontage stands, but no fill site has a way to it."""
    assert "road cut off" in flags_of(scene([[np.inf]], ONE_SITE))
    assert "road cut off" not in flags_of(scene([[10.0]], ONE_SITE))


def test_flags_of_the_trip() -> None:
    """Turning, postings gone round, bridges nobody posted, one-truck roads."""
    found = flags_of(
        scene([[10.0]], ONE_SITE), turn_at_dump=1, posted_avoided_min=2.44, unposted_bridges=3, narrow_mi=0.42
    )
    assert {
        "turn at dump site=3 min",
        "posted bridge avoided=2.4 min",
        "unposted bridges=3",
        "narrow road=0.4 mi",
    } <= found
    assert not {f.split("=")[0] for f in flags_of(scene([[10.0]], ONE_SITE))} & {
        "turn at dump site", "posted bridge avoided", "unposted bridges", "narrow road",
    }  # fmt: skip


def test_flags_of_the_site() -> None:
    """Alone, seasonal, never tested, soon empty."""
    summer = site("F1", months=frozenset(range(4, 12)), fill_gpm_given=False)
    case = scene([[10.0]], (summer,))
    case = replace(case, rules=replace(case.rules, plan=replace(case.rules.plan, months=frozenset(range(5, 9)))))
    assert {"single fill site", "seasonal=4-11", "not tested"} <= flags_of(case)
    tank = site("F1", kind="cistern", storage_gal=6000.0)
    assert "source runs out=6000 gal" in flags_of(scene([[10.0]], (tank,), required_gpm=900.0))


def test_flags_of_the_fleet() -> None:
    """A level short of units, one left out because it slows the others."""
    stranded = scene([[10.0]], ONE_SITE, arrival_min=[10, 11, 12, 13, 14, np.inf], required_gpm=900.0)
    assert "level short=1 tanker" in flags_of(stranded)
    slow = (*ENGINES, *TANKERS[:2], unit("T3", "tanker", tank_gal=1000.0, dump_gpm=40.0))
    assert "left out=T3" in flags_of(scene([[5.0]], ONE_SITE, units=slow, required_gpm=900.0))
    # no engine is left to pump at the fill site: no tanker is left out since the flow is no less without
    dry = scene([[5.0]], ONE_SITE, units=(ENGINES[0], *TANKERS[:2]), required_gpm=900.0)
    assert not any(flag.startswith("left out") for flag in flags_of(dry))


def test_names_with_commas_and_blanks_are_kept_whole() -> None:
    """Of levels and of fill sites: what a flag lists is never parted anew."""
    names = ("Box 1, own", "Box 2, mutual aid")
    close = Flag("close", ", ".join(names), names=names)
    assert flag_words(close).endswith("at response level Box 1, own, response level Box 2, mutual aid.")
    elsewhere = Flag("lower level fills elsewhere", names[1], names=names[1:])
    assert flag_words(elsewhere).endswith("fills elsewhere: response level Box 2, mutual aid.")
    plan = example_plan()
    levels = tuple(replace(level, name=name) for level, name in zip(plan.district.levels, names, strict=True))
    lead = plan.groups[0].lead
    shown = int(plan.answers.level[lead])
    flags = list(plan.answers.flags)
    flags[lead] = (Flag("close", names[shown], names=(names[shown],)),)
    named = replace(
        plan, district=replace(plan.district, levels=levels), answers=replace(plan.answers, flags=tuple(flags))
    )
    assert Facts(named, plan.groups[0]).close_call
    assert Facts(named, plan.groups[0]).only_close
    blank = replace(plan, sites=(replace(plan.sites[0], site_id="F 03"), *plan.sites[1:]))
    other = plan.sites[1].site_id
    said = flag_said(blank, Flag("shares its source", f"F 03 {other}", names=("F 03", other)))
    assert said == "Shares its water with: fill site 1, fill site 2."
    case = scene([[10.0, 10.0]], (site("F 1", source_id="pond"), site("F2", source_id="pond")))
    _, second = site_flags(case, np.array([0, 0], dtype=np.int32), np.array([10.0, 10.0]))
    assert next(flag.names for flag in second if flag.code == "shares its source") == ("F 1",)


@pytest.mark.parametrize(
    ("site_of", "split_of", "told"),
    [
        ([0, 1], [-1, -1], {"lower level fills elsewhere=Level 1"}),
        ([1, 1], [-1, -1], set()),
        ([-1, 1], [-1, -1], set()),
        ([0, 1], [-1, 0], set()),  # both are used at level 2
        ([1, 1], [0, -1], {"lower level fills elsewhere=Level 1"}),  # some of level 1 fill at the other one
    ],
)
def test_a_lower_level_planned_at_another_site_is_told(site_of: list[int], split_of: list[int], told: set[str]) -> None:
    """The minutes of level 2 have the first alarm at level 2's fill site."""
    case = scene([[10.0, 10.0]], (site("F1"), site("F2")), required_gpm=200.0)
    levels, answers = graded(case)
    assert answers.level.tolist() == [1]
    at, second = (np.array([column], dtype=np.int32) for column in (site_of, split_of))
    levels = replace(levels, site=at, split=second, trip=np.zeros_like(at), split_trip=np.where(second < 0, -1, 0))
    flags = address_flags(case, addresses(), levels, trips(), answers)[0]
    assert {str(flag) for flag in flags if flag.code == "lower level fills elsewhere"} == told


def test_close_names_the_levels_within_a_tenth() -> None:
    """About 107 gpm of 105 required is close at level 1 and not at level 2."""
    assert "close=Level 1" in flags_of(scene([[10.0]], ONE_SITE, required_gpm=105.0))


def test_the_season_in_which_the_level_comes_latest_decides() -> None:
    """Seasons, one address, two levels: summer meets at level 1, winter only at level 2, thaw never."""
    summer, winter, thaw = [[300.0, 500.0]], [[200.0, 260.0]], [[100.0, 240.0]]
    need = np.array([250.0])
    assert worst_season(np.array([summer, winter]), need).tolist() == [1]
    assert worst_season(np.array([summer, winter, thaw]), need).tolist() == [2]
    assert worst_season(np.array([summer, [[290.0, 500.0]]]), need).tolist() == [1]


def test_months_read_back_as_ranges() -> None:
    """Across the new year, single months, all, none."""
    assert months_text(frozenset({12, 1, 2})) == "12-2"
    assert months_text(frozenset({5})) == "5"
    assert months_text(frozenset(range(1, 13))) == "1-12"
    assert months_text(frozenset()) == ""


def test_site_flags_say_what_a_site_lacks() -> None:
    """Out of service, off the roads, turnaround assumed, storage unknown, source shared."""
    sites = (site("F1", in_service=False, source_id="pond"), site("F2", source_id="pond", turnaround_given=False))
    case = scene([[10.0, 10.0]], sites)
    first, second = site_flags(case, np.array([-1, 0], dtype=np.int32), np.array([2000.0, 10.0]))
    assert {str(f) for f in first} == {
        "out of service",
        "off road data=2000 ft",
        "storage unknown",
        "shares its source=F2",
    }
    assert {str(f) for f in second} == {"turnaround assumed=back", "storage unknown", "shares its source=F1"}


def test_many_sites_keep_the_nearest_the_year_round_and_the_chosen() -> None:
    """Of twenty sites: eight best trips, three best year-round ones, and the chosen one."""
    sites = tuple(
        site(f"F{i:02}", months=frozenset(range(4, 12)) if i < 12 else frozenset(range(1, 13))) for i in range(20)
    )
    trip = np.arange(1.0, 21.0)[None]
    chosen = np.zeros((1, 20), dtype=np.bool_)
    chosen[0, 19] = True
    few, all_ = (Rules(plan=PlanRules(keep_sites=count)) for count in (10, 20))
    kept = kept_pairs(scene(trip.tolist(), sites, rules=few), trip, chosen)
    assert np.flatnonzero(kept[0]).tolist() == [0, 1, 2, 3, 4, 5, 6, 7, 12, 13, 14, 19]
    assert kept_pairs(scene(trip.tolist(), sites, rules=all_), trip, chosen).all()
    # planned for the months of the first twelve, the nearest three of them are among the best eight
    summer = scene(trip.tolist(), sites, rules=few, planned=frozenset(range(4, 12)))
    assert np.flatnonzero(kept_pairs(summer, trip, chosen)[0]).tolist() == [0, 1, 2, 3, 4, 5, 6, 7, 19]


@pytest.mark.parametrize(
    ("planned", "told"),
    [(range(1, 13), "seasonal=4-11"), (range(4, 12), ""), (range(5, 8), ""), (range(3, 12), "seasonal=4-11")],
)
def test_a_fill_site_is_seasonal_where_it_is_away_in_a_month_that_is_planned(planned: range, told: str) -> None:
    """Of a district that plans April to November a pond of these months is never away."""
    pond = site("F1", months=frozenset(range(4, 12)))
    case = scene([[10.0]], (pond,), planned=frozenset(planned), rules=Rules(plan=PlanRules(months=frozenset({5}))))
    assert {flag for flag in flags_of(case) if flag.startswith("seasonal")} == ({told} if told else set())


def test_a_season_in_which_none_meets_names_the_level_that_holds_most_at_the_weakest() -> None:
    """Of those that print the same the last, whose units come besides; a level that meets at all of them first."""
    line = example_plan().seasons[0]
    flow = np.array([[90.0, 200.2, 120.0], [400.0, 200.9, 140.0], [80.0, 60.3, 60.9]])
    line = replace(line, uninterrupted_gpm=flow)
    need = np.full(2, 500.0)
    assert line.level_of([0, 1], need) == 1
    assert line.level_of([1, 2], need) == 0
    assert line.level_of([2], need[:1]) == 0
    assert replace(line, uninterrupted_gpm=flow[:, 1:]).level_of([2], need[:1]) == 1
    assert line.level_of([0, 1], np.full(2, 100.0)) == 1
