"""Tankers split over two fill sites: when, which of them, and that what is said of it is what the timeline says."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest

from preplan.planning import splits
from preplan.planning.assignment import Scene
from preplan.planning.choices import choose
from preplan.planning.fireground import Crews, case_table, haulers, long_run_gpm, steady, with_jobs
from preplan.planning.flows import Flows, Settled
from preplan.planning.hauls import haul_table
from preplan.planning.levels import Graded, grade
from preplan.records import BoolArray, FillSite, ResponseLevel
from preplan.rules import PlanRules, Rules, ShuttleRules
from preplan.water.shuttle import LIMITS, joined_circuits, sustained
from preplan.water.timeline import held_flow
from preplan.water.timeline_batch import gaps, held_flows
from preplan.water.timeline_clock import Rows
from tests.planning_case import ENGINES, hydrants, scene, site, unit
from tests.test_flows import planned
from tests.timeline_cases import handling_of, split_case
from tests.timeline_cases import long_run_gpm as plain_long_run_gpm

CAREFUL = ShuttleRules(
    fill_hookup_min=2.0, fill_maneuver_min=0.0, dump_hookup_min=1.0, dump_maneuver_min=0.0, dump_setup_min=3.0,
    dry_hydrant_setup_min=8.0, tank_room_fraction=1.0, dead_water_fraction=0.0,
)  # fmt: skip
ARRIVALS = {"T1": (2000.0, 13.0), "T2": (3000.0, 20.0), "T3": (2000.0, 24.0), "T4": (3000.0, 30.0),
            "T5": (2000.0, 34.0), "T6": (3000.0, 40.0)}  # fmt: skip


def two_sites(
    required_gpm: float = 650.0,
    sites: tuple[FillSite, ...] = (site("F1"), site("F2")),
    trip_min: tuple[float, ...] = (10.0, 10.0),
    engines: int = 3,
    plan: PlanRules | None = None,
    **changes: Any,
) -> Scene:
    """Lay out the worked example with a second fill site like the first, and engines for both."""
    pumps = tuple(unit(f"E{n}", "engine", tank_gal=1000.0, portable_tank_gal=0.0) for n in range(1, engines + 1))
    tankers = tuple(
        unit(name, "tanker", tank_gal=gal, dump_gpm=900.0, portable_tank_gal=3000.0 if name in {"T1", "T2"} else 0.0,
             pump_gpm=None)
        for name, (gal, _) in ARRIVALS.items()
    )  # fmt: skip
    levels = tuple(ResponseLevel(name=f"Level {n}", engines=engines, tankers=2 * n) for n in (1, 2, 3))
    rules = Rules(shuttle=CAREFUL, plan=plan or PlanRules())
    arrivals = [10.0, *[12.0] * (engines - 1), *(arrival for _, arrival in ARRIVALS.values())]
    return scene(
        [list(trip_min)], sites, units=pumps + tankers, levels=levels, arrival_min=arrivals, rules=rules,
        required_gpm=required_gpm, **changes,
    )  # fmt: skip


def of_top(found: Graded, column: str) -> Any:
    """Take a column of the only address at its highest level."""
    return getattr(found.levels, column)[0, -1]


def test_a_second_site_is_taken_where_one_holds_too_little() -> None:
    """One site passes on 500 gpm: 13,500 gal over 27 min of holds. Two of them less than the dump site, 643 gpm."""
    case = two_sites()
    found = planned(case)
    assert of_top(found, "site") == 0
    assert of_top(found, "split") == 1
    assert of_top(found, "uninterrupted_gpm") > 650.0 > of_top(planned(two_sites(engines=2)), "uninterrupted_gpm")
    assert of_top(found, "meets")
    assert of_top(found, "sustained_gpm") == pytest.approx(13500 / 21, rel=0.005)
    assert of_top(found, "limited_by") == "dump site"
    there = of_top(found, "at_split")
    assert 0 < there.sum() < of_top(found, "used").sum()
    assert {of_top(found, word) for word in ("attack_engine", "fill_engine", "split_engine")} == {0, 1, 2}
    assert of_top(found, "dump_engine") == of_top(found, "attack_engine")  # it is within reach: the other one goes
    assert found.answers.status[0] == "higher level"


def run_of(case: Scene, ways: list[tuple[bool, ...]]) -> Crews:
    """Send the tankers of the highest level, some of them to the second site: a row for each way to part them."""
    settled = Flows(case).settled(*(np.array([at], dtype=np.int32) for at in (0, 0, len(case.levels) - 1)))
    run = settled.run.rows(np.zeros(len(ways), dtype=np.int32))
    mask = np.zeros_like(run.used)
    mask[:, haulers(case)] = ways
    used = case.response.tankers[run.address, -1]
    second = np.ones(len(ways), dtype=np.int32)
    return with_jobs(case, replace(run, used=used, at_second=mask & used, second=second))


def held_by_hand(case: Scene) -> dict[tuple[bool, ...], float]:
    """Hold every way to part the tankers of the highest level between the two sites."""
    ways = [way for way in product((False, True), repeat=len(haulers(case))) if any(way) and not all(way)]
    flows = held_flows(case_table(case, run_of(case, ways))).uninterrupted_gpm
    return dict(zip(ways, flows.tolist(), strict=True))


def test_what_is_said_is_what_the_timeline_says_of_that_way_to_part_them() -> None:
    case = two_sites()
    found, ways = planned(case), held_by_hand(case)
    own = tuple(of_top(found, "at_split")[haulers(case)].tolist())
    assert of_top(found, "uninterrupted_gpm") == pytest.approx(ways[own], rel=1e-9)
    run = run_of(case, [own])
    assert of_top(found, "sustained_gpm") == steady(case, run).sustained_gpm[0]


def test_moving_tankers_one_by_one_comes_near_the_best_of_all_ways() -> None:
    """Twenty-four random pairs of sites, each against all 62 ways to part six tankers."""
    rng, shares = random.Random(7), []  # noqa: S311 - not for secrets
    for _ in range(24):
        sites = tuple(
            site(name, fill_gpm=rng.choice([250.0, 400.0, 600.0, 900.0]), kind=rng.choice(["dry hydrant", "hydrant"]))
            for name in ("F1", "F2")
        )
        trips = rng.uniform(4.0, 20.0), rng.uniform(4.0, 20.0)
        case = two_sites(2000.0, sites, trips)
        found = planned(case)
        if of_top(found, "split") < 0 or of_top(found, "site") != 0 or not of_top(found, "used")[haulers(case)].all():
            continue
        shares.append(of_top(found, "uninterrupted_gpm") / max(held_by_hand(case).values()))
    assert len(shares) >= 6
    assert max(shares) <= 1.0 + 1e-9
    assert min(shares) > 0.9
    assert np.mean(shares) > 0.98


@pytest.mark.parametrize(
    "changes",
    [
        {"required_gpm": 500.0},  # one site is enough
        {"plan": PlanRules(split_sites=False)},
        {"sites": (site("F1", source_id="lake"), site("F2", source_id="lake"))},
        {"engines": 2},  # nobody is left to pump there
        {"trip_min": (10.0, 200.0)},  # too far
        {"sites": (site("F1"), site("F2", in_service=False))},
        {"sites": (site("F1"), site("F2", months=frozenset({6, 7, 8})))},  # not in the worst season
        {"driveway_ft": 400.0},  # the attack engine cannot draft too, and there is no fourth engine
    ],
)
def test_no_second_site_is_taken(changes: dict[str, Any]) -> None:
    found = planned(two_sites(**changes))
    assert (found.levels.split < 0).all()
    assert not found.levels.at_split.any()


def test_a_hydrant_as_second_site_wants_no_engine() -> None:
    found = planned(two_sites(engines=2, sites=(site("F1"), site("F2", kind="hydrant", needs_engine=False))))
    assert {of_top(found, "site"), of_top(found, "split")} == {0, 1}
    assert of_top(found, "uninterrupted_gpm") > 551.68 * 1.1  # what one site holds in the worked example
    assert -1 in {of_top(found, "fill_engine"), of_top(found, "split_engine")}


def test_a_fourth_engine_pumps_there_where_the_attack_engine_is_too_far_to_draft() -> None:
    found = planned(two_sites(engines=4, driveway_ft=400.0))
    jobs = [of_top(found, word) for word in ("attack_engine", "fill_engine", "dump_engine", "split_engine")]
    assert sorted(jobs) == [0, 1, 2, 3]
    assert of_top(found, "meets")


def test_no_tanker_moves_to_a_site_whose_roads_are_found_for_lighter_ones() -> None:
    """Only T1 and T3 may drive to the second site: the way of all others there is too long."""
    case = two_sites(2000.0, trip_min=(10.0, 6.0), light=("T1", "T3"), heavy_min=[[10.0, 300.0]])
    found = planned(case)
    assert of_top(found, "split") == 1
    names = [unit.unit_id for unit, there in zip(case.units, of_top(found, "at_split"), strict=True) if there]
    assert set(names) <= {"T1", "T3"}
    assert names


def test_below_the_highest_level_only_a_split_that_meets_is_planned() -> None:
    """At the highest level one that gains over 10 % is, though it does not meet: there is no more to call."""
    slow = (site("F1", fill_gpm=300.0), site("F2", fill_gpm=300.0))
    levels = planned(two_sites(5000.0, slow)).levels
    assert (levels.split[0, :-1] < 0).all()
    assert levels.split[0, -1] == 1
    assert levels.uninterrupted_gpm[0, -1] > levels.alone_gpm[0, -1] * 1.1
    assert not levels.meets.any()


def test_a_level_holds_no_less_than_a_split_one_below_it() -> None:
    rng = random.Random(3)  # noqa: S311 - not for secrets
    split = 0
    for _ in range(20):
        sites = tuple(site(f"F{n}", fill_gpm=rng.choice([250.0, 300.0])) for n in (1, 2, 3))
        case = two_sites(rng.choice([320.0, 360.0, 400.0]), sites, tuple(rng.uniform(4.0, 10.0) for _ in sites))
        levels = planned(case).levels
        held = levels.uninterrupted_gpm[0]
        assert (np.diff(held) >= -1e-6 * held[1:]).all()
        split += int((levels.split[0, :-1] >= 0).any())
    assert split >= 3


def test_a_season_takes_over_the_splits_of_one_that_is_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither another season of the sites nor one of the roads works a case out again; other trips are worked out."""
    worked: list[int] = []
    plain = splits._split

    def counted(flows: Flows, base: Settled, tried: BoolArray, level: int) -> tuple[Rows, Settled]:
        worked.append(len(base.gpm))
        return plain(flows, base, tried, level)

    monkeypatch.setattr(splits, "_split", counted)
    case = two_sites()
    first = Flows(case)
    held = choose(first).seasons[0].uninterrupted_gpm
    asked = list(worked)
    assert sum(asked) > 0
    choose(first)
    second = Flows(case, [first])
    assert (choose(second).seasons[0].uninterrupted_gpm == held).all()
    assert worked == asked
    choose(Flows(two_sites(trip_min=(10.0, 11.0)), [first]))
    assert len(worked) > len(asked)


def test_one_season_s_split_is_not_the_other_s() -> None:
    """A second site of summer alone: the worst season has one, and the season lines say what each holds."""
    summer = frozenset({6, 7, 8})
    flows = Flows(two_sites(sites=(site("F1"), site("F2", months=summer))))
    lines = {frozenset(line.months): line.uninterrupted_gpm[0, -1] for line in choose(flows).seasons}
    assert lines[summer] > 650.0
    assert min(lines.values()) == pytest.approx(551.68, abs=0.01)


def test_the_closed_form_of_two_circuits_is_never_below_the_long_run() -> None:
    """Random fleets parted between two sites of one place each: they wait for each other at the dump site.

    So planning takes the long run where it is less: here it is up to 14 % less, mostly 2 to 5 %.
    """
    shares = []
    for seed in range(40):
        case = split_case(seed, odd=False)
        parts = [[t for t in case.tankers if t.second_site == second] for second in (False, True)]
        if not all(parts) or any(t.self_fill for t in case.tankers):
            continue
        legs = ((6.0, 5.0), (3.0, 4.0))
        tankers = tuple(
            replace(
                t, out_min=out, back_min=back, arrival_min=10.0 + 3 * n, fill_maneuver_min=0.5, dump_maneuver_min=1.0
            )
            for part, (out, back) in zip(parts, legs, strict=True) for n, t in enumerate(part)
        )  # fmt: skip
        plain = replace(
            case, tankers=tankers, positions=1, second_positions=1, site_gpm=np.inf, second_site_gpm=np.inf,
            storage_gal=np.inf, second_storage_gal=np.inf, fill_engine_arrival_min=8.0, second_engine_arrival_min=8.0,
            dump_engine_arrival_min=9.0, attack_arrival_min=8.0,
        )  # fmt: skip
        hold = handling_of(tankers)
        there = np.array([t.second_site for t in tankers])
        one, other = (
            sustained(sum(leg), hold, mask, positions=1, site_gpm=1e9, dump_places=1)
            for leg, mask in zip(legs, (~there, there), strict=True)
        )
        both = joined_circuits(one, other, hold, dump_places=1)
        shares.append(plain_long_run_gpm(plain) / float(both.sustained_gpm))
    assert len(shares) > 8
    assert max(shares) < 1.01
    assert min(shares) > 0.8
    assert np.median(shares) < 0.99


def test_the_long_run_in_columns_is_that_of_the_plain_account() -> None:
    """Of the worked example's six tankers, parted in four ways: fifty hours event by event, and twenty in columns."""
    case = two_sites()
    ways = [tuple(bool(n >> k & 1) for k in range(6)) for n in (1, 11, 37, 50)]
    run = run_of(case, ways)
    table = case_table(case, run)
    plain = [plain_long_run_gpm(table.case(row)) for row in range(len(ways))]
    assert long_run_gpm(case, run) == pytest.approx(plain, rel=0.01)


def test_joined_circuits_name_what_holds_the_stronger_or_the_dump_site() -> None:
    hold = handling_of(split_case(5).tankers)
    count = len(hold.usable_gal)
    first = np.arange(count) < count - 1
    ends = {"positions": 1, "dump_places": 1}
    one = sustained(30.0, hold, first, site_gpm=1e9, **ends)
    other = sustained(30.0, hold, ~first, site_gpm=1e9, **ends)
    both = joined_circuits(one, other, hold, dump_places=1)
    assert float(both.sustained_gpm) == pytest.approx(float(one.sustained_gpm + other.sustained_gpm))
    assert LIMITS[int(both.limited_by)] == "tankers"
    slow = replace(hold, dump_hold_min=hold.dump_hold_min * 100)
    stuck = joined_circuits(one, other, slow, dump_places=1)
    assert LIMITS[int(stuck.limited_by)] == "dump site"
    assert float(stuck.sustained_gpm) == pytest.approx(hold.usable_gal.sum() / slow.dump_hold_min.sum())


def test_the_first_site_alone_is_never_said_to_hold_more_than_both() -> None:
    """A level may hold less in its worst minute for the sake of more water in all; a loss must not read as a gain."""
    sites = (site("F0", fill_gpm=300.0), site("F1", fill_gpm=200.0), site("F2", fill_gpm=200.0))
    tankers = [unit(f"T{k}", "tanker", tank_gal=gal) for k, gal in enumerate((3600.0, 1000.0, 2000.0, 5000.0), 1)]
    case = scene(
        [[31.5, 8.5, 15.8]],
        tuple(replace(one, needs_engine=False) for one in sites),
        units=(*ENGINES, *tankers),
        arrival_min=[6.0, 19.0, 9.0, 24.0, 8.0, 17.0, 42.0],
        levels=(ResponseLevel(name="L1", engines=3, tankers=2), ResponseLevel(name="L2", engines=3, tankers=4)),
        required_gpm=750.0,
        driveway_ft=201.0,
    )
    flows = Flows(case)
    levels = grade(case, [flows], choose(flows), np.zeros(1, dtype=np.int32), hydrants(1)).levels
    assert levels.split[0, 1] >= 0
    assert 0.0 < levels.alone_gpm[0, 1] <= levels.uninterrupted_gpm[0, 1]
    flows.look(*(np.array([one], dtype=np.int32) for one in (0, levels.site[0, 1], 1)))
    assert flows.gpm[0, levels.site[0, 1], 1] > levels.uninterrupted_gpm[0, 1], "this test shows nothing"


def test_who_fills_at_a_hydrant_hauls_though_no_engine_is_left_for_the_first_site() -> None:
    """T2 fills itself at the pond, where nobody can pump; T1 goes to the hydrant, and is counted in every answer."""
    engines = tuple(unit(f"E{n}", "engine", tank_gal=1000.0) for n in (1, 2))
    vacuum = unit("T2", "tanker", tank_gal=3000.0, self_fill_gpm=900.0, usable_fraction=1.0)
    case = scene(
        [[2.0, 14.0]],
        (site("F1", kind="draft"), site("F2", kind="hydrant", fill_gpm=600.0, needs_engine=False)),
        units=(*engines, unit("T1", "tanker", tank_gal=1500.0), vacuum),
        levels=tuple(ResponseLevel(name=f"Level {n}", engines=2, tankers=n) for n in (1, 2)),
        driveway_ft=500.0,
        required_gpm=600.0,
    )
    flows = Flows(case)
    found = grade(case, [flows], choose(flows), np.zeros(1, dtype=np.int32), hydrants(1))
    levels, hauls = found.levels, haul_table(found.worked)
    assert (levels.site[0, 1], levels.split[0, 1]) == (0, 1)
    assert levels.used[0, 1].tolist() == [False, False, True, True]
    assert levels.at_split[0, 1].tolist() == [False, False, True, False]
    (worked,) = found.worked
    (row,) = np.flatnonzero(worked.run.level == 1)
    table = case_table(case, worked.run.rows(np.array([row])))
    assert levels.gap_min[0, 1] == gaps(table).gap_min[0]
    assert (hauls.loads[hauls.level == 1] > 1).all()
    assert (hauls.called_loads[hauls.level == 1] > 1).all()


def test_the_best_site_by_itself_need_not_be_one_of_the_best_two() -> None:
    """F2 alone holds most and hardly too little, and splitting from it gains nothing; F1 with F2 beside it meets."""
    engines = tuple(unit(f"E{n}", "engine", tank_gal=750.0) for n in range(5))
    gallons = (3000.0, 1000.0, 3000.0, 2000.0, 3000.0, 2000.0)
    tankers = tuple(unit(f"T{n}", "tanker", tank_gal=gal, pump_gpm=None) for n, gal in enumerate(gallons))
    case = scene(
        [[25.11, 15.06, 14.93, 25.35]],
        tuple(site(f"F{n}", fill_gpm=gpm) for n, gpm in enumerate((150.0, 400.0, 700.0, 150.0))),
        units=engines + tankers, levels=(ResponseLevel(name="A", engines=5, tankers=6),), required_gpm=500.0,
        arrival_min=[12.38, 10.56, 10.97, 7.02, 10.81, 10.87, 15.02, 10.89, 12.04, 13.3, 22.5], driveway_ft=201.0,
    )  # fmt: skip
    flows = Flows(case)
    first = flows.best_site(np.ones((1, 4), dtype=np.bool_), 0)
    assert first.tolist() == [2]
    assert 490.0 < flows.held_at(first, 0)[0] < 500.0
    found = planned(case)
    assert (of_top(found, "site"), of_top(found, "split")) == (1, 2)
    assert of_top(found, "meets")
    assert of_top(found, "backup") == 2
    run = found.worked[0].run
    names = [case.units[u].unit_id for u in haulers(case)]
    assert held_flow(case_table(case, run).case(0, names)).gpm >= 500.0
