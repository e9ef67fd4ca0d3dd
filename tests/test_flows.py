"""Uninterrupted flows of cases typed in by hand: the worked example through planning, and what a choice may rely on."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from preplan.planning.assignment import Scene
from preplan.planning.choices import choose
from preplan.planning.fireground import called_later, case_table, everyone, haulers
from preplan.planning.flows import Flows, Settled
from preplan.planning.levels import Graded, called_late, grade
from preplan.planning.minutes import call_by, on_arrival_min, strips
from preplan.records import IntArray, ResponseLevel
from preplan.rules import Rules, ShuttleRules
from preplan.water.timeline import Case, held_flow
from preplan.water.timeline import answer as answer_of
from tests.planning_case import hydrants, scene, site, unit

ENGINES = (unit("E1", "engine", tank_gal=1000.0, portable_tank_gal=0.0), unit("E2", "engine", portable_tank_gal=0.0))
EXAMPLE = {"T1": (2000.0, 13.0), "T2": (3000.0, 20.0), "T3": (2000.0, 24.0), "T4": (3000.0, 30.0),
           "T5": (2000.0, 34.0), "T6": (3000.0, 40.0)}  # fmt: skip
LEVELS = tuple(ResponseLevel(name=f"Level {n}", engines=2, tankers=2 * n) for n in (1, 2, 3))


def worked_example(required_gpm: float = 500.0) -> Scene:
    """Lay out the worked example as planning sees it: two engines, six tankers, 6 min out and 4 back."""
    tankers = tuple(
        unit(name, "tanker", tank_gal=gal, dump_gpm=900.0, portable_tank_gal=3000.0 if name in {"T1", "T2"} else 0.0,
             pump_gpm=None)
        for name, (gal, _) in EXAMPLE.items()
    )  # fmt: skip
    rules = Rules(shuttle=ShuttleRules(
        fill_hookup_min=2.0, fill_maneuver_min=0.0, dump_hookup_min=1.0, dump_maneuver_min=0.0, dump_setup_min=3.0,
        dry_hydrant_setup_min=8.0, tank_room_fraction=1.0, dead_water_fraction=0.0,
    ))  # fmt: skip
    arrivals = [10.0, 12.0, *(arrival for _, arrival in EXAMPLE.values())]
    case = scene(
        [[10.0]], (site("F1", fill_gpm=900.0),), units=ENGINES + tankers, levels=LEVELS, arrival_min=arrivals,
        rules=rules, required_gpm=required_gpm,
    )  # fmt: skip
    return replace(case, cuts=tuple(replace(cut, out_min=np.array([[6.0]])) for cut in case.cuts))


def planned(case: Scene) -> Graded:
    """Choose and grade; there is no hydrant."""
    flows, count = Flows(case), len(case.needs)
    return grade(case, [flows], choose(flows), np.zeros(count, dtype=np.int32), hydrants(count))


def test_the_worked_example_comes_out_of_planning_to_the_printed_digit() -> None:
    """Three independent programs and a ledger by hand agree on these numbers."""
    found = planned(worked_example())
    levels, answers = found.levels, found.answers
    assert levels.sum_gpm[0] == pytest.approx([248.0, 496.0, 744.0], abs=0.05)
    assert levels.sustained_gpm[0] == pytest.approx([4500 / 19, 9000 / 19, 500.0])
    assert levels.uninterrupted_gpm[0] == pytest.approx([27850 / 110, 494.58, 551.68], abs=0.005)
    assert levels.on_arrival_gpm[0] == pytest.approx([27850 / 110, 3550 / 9, 3550 / 9])
    assert levels.gap_min[0] == pytest.approx([55.3, 1.3, 0.0], abs=0.05)
    assert levels.gap_on_arrival_min[0] == pytest.approx([55.3, 6.7, 1.9], abs=0.05)
    assert levels.limited_by[0].tolist() == ["tankers", "tankers", "fill site"]
    assert answers.status[0] == "higher level"
    assert answers.level[0] == 2
    assert answers.called[0] == "on arrival"
    assert (answers.first_water_min[0], answers.established_min[0], answers.call_by_min[0]) == (12.0, 34.0, 7.0)
    assert answers.gap_min[0] == pytest.approx(1.9, abs=0.05)
    assert answers.short_gal[0] == pytest.approx(950.0, abs=0.5)
    assert levels.one_out_gpm[0, 1] == pytest.approx(337.0, abs=0.5)


def test_the_strip_of_the_worked_example_shows_its_gap_and_its_dumps() -> None:
    """Called on arrival the water runs out at 32.1 and comes again at 34, when T1's second load dumps."""
    case = worked_example()
    found = planned(case)
    run = found.worked[0].run.rows(np.array([2]))
    drawn = strips(case, run, on_arrival_min(case, run.address))[0]
    assert drawn.gaps_min.ravel() == pytest.approx([32.1, 34.0], abs=0.05)
    assert [minute for minute, name in drawn.dumps if name == "T1"][:2] == pytest.approx([17.0, 34.0])
    assert {name: minute for minute, name in drawn.arrivals}["T3"] == pytest.approx(36.0)


def settled(case: Scene, level: int) -> Settled:
    """Work one case out in full."""
    one: IntArray = np.zeros(1, dtype=np.int32)
    flows = Flows(case)
    for lower in range(level):
        flows.settle(one, one, one + lower)
    return flows.settled(one, one, one + level)


def plain_case(case: Scene, found: Settled) -> Case:
    """Write the settled case for the plain timeline."""
    return case_table(case, found.run).case(0, [case.units[u].unit_id for u in haulers(case)])


def brought(plain: Case) -> float:
    """Say what a case brings by the plain account: what it holds, or the demand less what is short on average."""
    held = held_flow(plain).gpm
    return held if held >= plain.required_gpm else plain.required_gpm - answer_of(plain).short_gal / plain.required_min


def mixed_fleet(seed: int) -> Scene:
    """Draw a fleet of six, some slow, some small, one that fills itself, on two sizes of road."""
    draw = np.random.default_rng(seed)
    gal, dump_gpm, pump_gpm = (
        draw.choice([1000, 1800, 3000], 6),
        draw.choice([60, 500, 1200], 6),
        draw.choice([250, 500], 6),
    )
    tankers = tuple(
        unit(
            f"T{n}", "tanker", tank_gal=float(gal[n]), dump_gpm=float(dump_gpm[n]), pump_gpm=float(pump_gpm[n]),
            self_fill_gpm=800.0 if n == 5 and seed % 2 else None,
        )
        for n in range(6)
    )  # fmt: skip
    out = draw.uniform(4, 25)
    return scene(
        [[out]], (site("F1", positions=int(draw.integers(1, 3)), fill_gpm=float(draw.choice([300, 900]))),),
        units=(*ENGINES, unit("E3", "engine"), *tankers),
        levels=(ResponseLevel(name="A", engines=3, tankers=3), ResponseLevel(name="B", engines=3, tankers=6)),
        arrival_min=[8.0, 12.0, 14.0, *draw.uniform(10, 60, 6).tolist()], heavy_min=[[out + draw.uniform(0, 20)]],
        light=("T0", "T2", "T4"), required_gpm=500.0,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(12))
def test_a_settled_flow_is_that_of_the_plain_timeline_and_no_single_tanker_is_better_out(seed: int) -> None:
    case = mixed_fleet(seed)
    for level in (0, 1):
        found = settled(case, level)
        plain = plain_case(case, found)
        assert found.gpm[0] == pytest.approx(held_flow(plain).gpm, rel=1e-6)
        assert found.brings_gpm[0] == pytest.approx(brought(plain), rel=1e-6)
        fewer = [replace(plain, tankers=tuple(t for t in plain.tankers if t is not out)) for out in plain.tankers]
        outs = [held_flow(one).gpm for one in fewer]
        hauling = ~np.isnan(found.one_out_gpm[0])
        assert found.one_out_gpm[0, hauling] == pytest.approx(outs, rel=1e-6)
        assert found.least_one_out_gpm[0] == pytest.approx(min([*outs, found.gpm[0]]), rel=1e-6)
        assert max(map(brought, fewer), default=0.0) <= found.brings_gpm[0] * (1 + 1e-6) + 1e-6


@pytest.mark.parametrize("seed", range(12))
def test_a_higher_level_never_brings_less(seed: int) -> None:
    """It can always do what the level below does."""
    case = mixed_fleet(seed)
    assert settled(case, 1).brings_gpm[0] >= settled(case, 0).brings_gpm[0] * (1 - 1e-9)


def test_a_level_that_does_as_the_one_below_does_so_too_when_called_on_arrival() -> None:
    """Three engines: the third would draft and comes only at 40, and the second tanker too late to make up for that.

    So the second level leaves drafting to the first engine, when it is called on arrival too.
    """
    engines = (ENGINES[0], ENGINES[1], unit("E3", "engine", portable_tank_gal=0.0))
    tankers = (
        unit("T1", "tanker", tank_gal=3000.0, pump_gpm=None),
        unit("T2", "tanker", tank_gal=1000.0, pump_gpm=None),
    )
    case = scene(
        [[6.0]], (site("F1"),), units=(*engines, *tankers), arrival_min=[8.0, 12.0, 40.0, 11.0, 120.0],
        levels=(ResponseLevel(name="A", engines=2, tankers=1), ResponseLevel(name="B", engines=3, tankers=2)),
        required_gpm=500.0,
    )  # fmt: skip
    levels = planned(case).levels
    assert levels.dump_engine[0].tolist() == [0, 0]
    below_gpm, below_min = levels.uninterrupted_gpm[0, 0], levels.gap_min[0, 0]
    for held, gap in ((levels.uninterrupted_gpm, levels.gap_min), (levels.on_arrival_gpm, levels.gap_on_arrival_min)):
        assert below_gpm * 1.1 > held[0, 1] >= below_gpm - 1e-6 > 50.0
        assert gap[0, 1] <= below_min + 1e-6


@pytest.mark.parametrize("seed", range(6))
def test_few_fleets_do_better_than_the_one_that_is_settled(seed: int) -> None:
    """Against every subset of the six tankers on both kinds of road: never above by more than a twentieth."""
    case = mixed_fleet(seed)
    found = settled(case, 1)
    tankers = haulers(case)
    best = 0.0
    for index, cut in enumerate(case.cuts):
        own = [u for u in tankers.tolist() if cut.members[u]]
        for count in range(1, len(own) + 1):
            for some in combinations(own, count):
                used = np.zeros_like(found.run.used)
                used[0, list(some)] = True
                tried = replace(found.run, used=used, cut=np.array([index], dtype=np.int32))
                best = max(best, brought(plain_case(case, replace(found, run=tried))))
    assert best <= found.brings_gpm[0] * 1.05 + 1e-6


def test_sites_that_are_not_looked_at_could_not_be_chosen() -> None:
    """Bounds prune: the site chosen is that of looking at all of them, and some were never looked at."""
    draw = np.random.default_rng(7)
    trips = draw.uniform(4, 60, (40, 12))
    sites = tuple(site(f"F{n:02}", fill_gpm=float(draw.choice([400, 900]))) for n in range(12))
    case = scene(trips.tolist(), sites, required_gpm=500.0)
    lazy, whole = Flows(case), Flows(case)
    everywhere = np.ones((40, 12), dtype=np.bool_)
    chosen = lazy.best_site(everywhere, 1)
    a, s = (i.ravel().astype(np.int32) for i in np.indices((40, 12)))
    whole.look(a, s, np.ones_like(a))
    assert (whole.gpm[:, :, 1] <= whole.most_gpm[:, :, 1] * (1 + 1e-9)).all()
    assert chosen.tolist() == whole.best_site(everywhere, 1).tolist()
    assert np.isnan(lazy.gpm[:, :, 1]).mean() > 0.3


def test_what_happens_before_full_flow_shows_as_a_gap_even_where_the_flow_is_met() -> None:
    """A booster tank of 500 gal at 150 gpm is empty at 15.3; the dump site is ready only 5 min after T1's 19."""
    engines = (replace(ENGINES[0], tank_gal=500.0), ENGINES[1])
    tanker = unit("T1", "tanker", tank_gal=3000.0, pump_gpm=None)
    case = scene(
        [[4.0]], (site("F1"),), units=(*engines, tanker), arrival_min=[10.0, 12.0, 19.0], required_gpm=150.0,
        levels=(ResponseLevel(name="Level 1", engines=2, tankers=1),),
    )  # fmt: skip
    found = planned(case)
    assert found.answers.status[0] == "served"
    run = case_table(case, found.worked[0].run).case(0, ["T1"])
    assert found.answers.gap_min[0] == pytest.approx(answer_of(run).gap_min)
    dead_min = 0.07 * 2500.0 / 1000.0  # the first gallons stay under the strainer
    assert found.answers.gap_min[0] == pytest.approx(24.5 + dead_min - 12.0 - 500.0 / 150.0)


def called_at_random(seed: int) -> Scene:
    """Draw three levels that go on calling engines and tankers, over two fill sites."""
    draw = np.random.default_rng(seed)
    engines = tuple(unit(f"E{n}", "engine", tank_gal=500.0, pump_gpm=1000.0) for n in range(5))
    tankers = tuple(unit(f"T{n}", "tanker", tank_gal=float(draw.choice([1500, 3000])), pump_gpm=None) for n in range(5))
    counts = ((2, 1), (int(draw.integers(2, 5)), 3), (5, 5))
    return scene(
        [draw.uniform(4, 25, 2).tolist()], (site("F1"), site("F2", fill_gpm=500.0)), units=engines + tankers,
        levels=tuple(ResponseLevel(name=f"Level {n}", engines=e, tankers=t) for n, (e, t) in enumerate(counts, 1)),
        arrival_min=[*draw.uniform(6, 30, 5).tolist(), *draw.uniform(6, 40, 5).tolist()],
        required_gpm=float(draw.choice([200, 500])), driveway_ft=float(draw.choice([100, 500])),
    )  # fmt: skip


@pytest.mark.parametrize("seed", [0, 1, 27, 37, 59, 183])
def test_called_on_arrival_a_level_holds_what_it_or_a_lower_one_does_whoever_asks(seed: int) -> None:
    """The most that the plain account gives for any of them; a sheet behind a card asks the same."""
    case = called_at_random(seed)
    flows = Flows(case)
    choice = choose(flows)
    found = grade(case, [flows], choice, np.zeros(1, dtype=np.int32), hydrants(1))
    run = found.worked[0].run
    names = [case.units[u].unit_id for u in haulers(case)]
    table = case_table(case, *called_later(case, run, on_arrival_min(case, run.address)))
    own = [held_flow(table.case(row, names)).gpm for row in range(len(run))]
    most = np.maximum(own, np.minimum(np.maximum.accumulate(own), found.levels.uninterrupted_gpm[0]))
    assert found.levels.on_arrival_gpm[0] == pytest.approx(most, rel=1e-6)
    level = np.arange(3, dtype=np.int32)
    late = called_late(flows, choice.rows[0], np.zeros(3, dtype=np.int32), level)
    assert late.held.uninterrupted_gpm == pytest.approx(most, rel=1e-6)
    for column in ("gap_min", "nothing_min"):
        told = getattr(found.levels, column.replace("_min", "_on_arrival_min"))[0]
        assert getattr(late.books, column) == pytest.approx(told, abs=1e-9)


def test_by_when_to_call_hangs_on_nobody_else_who_is_asked() -> None:
    """Who needs no more than the first level may wait till the end, of his own demand: 10 + 15 + 120."""
    levels = tuple(ResponseLevel(name=name, engines=3, tankers=tankers) for name, tankers in (("A", 1), ("B", 3)))
    near = scene([[4.0], [4.0]], (site("F1"),), required_gpm=100.0, levels=levels)
    later = near.response.arrival_min + np.array([[0.0], [40.5]])
    case = replace(near, response=replace(near.response, arrival_min=later))
    zero, one = np.zeros(1, dtype=np.int32), np.ones(1, dtype=np.int32)
    both = everyone(case, np.append(zero, one), np.append(zero, zero), np.append(one, one))
    alone = [float(call_by(case, both.rows(np.array([row])))[0]) for row in (0, 1)]
    assert call_by(case, both).tolist() == alone == [145.0, 185.0]
