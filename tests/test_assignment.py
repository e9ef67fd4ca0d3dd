"""Which fill site, with matrices typed in by hand and flows worked out beside them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from preplan.planning.assignment import Scene, SupplyLine, crews, other_sources, season_months, supply_line
from preplan.planning.choices import Choice, choose
from preplan.planning.flows import Flows
from preplan.records import ALL_MONTHS, ResponseLevel, Unit
from preplan.rules import PlanRules, Rules, ShuttleRules
from preplan.water.shuttle import LIMITS
from tests.planning_case import ENGINES, UNITS, scene, site, unit
from tests.steady_choice import deliver

ONE_LEVEL = (ResponseLevel(name="Level 1", engines=3, tankers=1),)


def at(case: Scene, level: int, which: int = 0) -> tuple[float, str]:
    """Give flow and limiting term of the first address at one site."""
    one = np.zeros(1, dtype=np.int32)
    found = deliver(case, one, one + which, one + level)
    return float(found.shuttle.sustained_gpm[0]), LIMITS[found.shuttle.limited_by[0]]


def test_one_tanker_delivers_what_the_cycle_says() -> None:
    """2,000 gal at 90 %: 1,800 / (1 + 1 + 1,800/900 + 10 + 1.5 + 0.5 + 1,800/1,000) = 1,800 / 17.8 gpm."""
    flow, limit = at(scene([[10.0]], (site("F1"),)), 0)
    assert flow == pytest.approx(1800 / 17.8)
    assert limit == "tankers"


def chosen(case: Scene) -> Choice:
    """Choose sites for every level."""
    return choose(Flows(case))


def test_the_site_that_delivers_the_most_is_taken_not_the_nearest() -> None:
    """A quick trip to a slow site loses against a longer one to a fast site."""
    case = scene([[4.0, 6.0]], (site("F1", fill_gpm=100.0), site("F2")))
    assert chosen(case).site[0].tolist() == [1, 1]


def test_equal_flows_fall_to_more_tankers_then_the_shorter_trip_then_the_first_id() -> None:
    """Two equal sites: the shorter trip; equal trips: the first site_id."""
    same = scene([[6.0, 6.0]], (site("F1"), site("F2")))
    assert chosen(same).site[0].tolist() == [0, 0]
    # A supply line that caps both flows makes them equal: then the trip decides.
    thin = Rules(shuttle=ShuttleRules(strainer_gpm=50.0))
    capped = scene([[7.0, 6.0]], (site("F1"), site("F2")), rules=thin)
    assert chosen(capped).site[0].tolist() == [1, 1]


def test_a_higher_level_keeps_the_lower_ones_site_unless_it_gains_a_tenth() -> None:
    """F1 wins level 1 by a shorter trip; its single slow pump loses level 2 by far more than a tenth."""
    case = scene([[5.0, 6.0]], (site("F1", fill_gpm=500.0, positions=1), site("F2", fill_gpm=600.0, positions=1)))
    flows = Flows(case)
    best = flows.best_site(np.ones((1, 2), dtype=np.bool_), 1)
    site_of = choose(flows).site[0]
    gain = flows.held_at(best, 1)[0] / flows.held_at(site_of[:1], 1)[0]
    assert site_of[1] == (site_of[0] if gain <= 1.1 else best[0])
    sites = (site("F1", fill_gpm=400.0), site("F2", fill_gpm=1000.0, positions=3, site_gpm=3000.0))
    wide = scene([[5.0, 6.0]], sites, levels=(*ONE_LEVEL, ResponseLevel(name="Level 2", engines=3, tankers=3)))
    assert chosen(wide).site[0, 1] == 1


def test_the_backup_stands_on_another_source_and_is_year_round_for_a_seasonal_first() -> None:
    """F1 and F2 share a pond; F3 is seasonal; F4 is far but always there."""
    sites = (
        site("F1", source_id="pond", months=frozenset(range(4, 12))),
        site("F2", source_id="pond"),
        site("F3", months=frozenset(range(4, 12))),
        site("F4"),
    )
    case = scene([[4.0, 5.0, 6.0, 20.0]], sites, rules=Rules())
    found = chosen(case)
    summer = next(line for line in found.seasons if 7 in line.months)
    assert summer.best_site[0, 0] == 0
    assert found.season[0, 0] == found.seasons.index(next(line for line in found.seasons if 1 in line.months))
    assert found.site[0, 0] == 1
    assert found.backup[0, 0] == 3


@pytest.mark.parametrize(
    ("planned", "stands_in"),
    [
        (range(1, 13), [[], [2]]),  # either pond wants a site of all months, and the first one's is on its own water
        (range(4, 12), [[1], [0, 2]]),
        (range(3, 12), [[], [2]]),
    ],
)
def test_what_stands_in_for_a_seasonal_site_stands_in_every_month_planned(
    planned: range, stands_in: list[list[int]]
) -> None:
    """Two ponds of April to November, and one of all months that shares the first one's water.

    The season of the roads may be May alone: the months planned count, not those of the season.
    """
    summer = frozenset(range(4, 12))
    sites = (site("F1", months=summer, source_id="mill"), site("F2", months=summer), site("F3", source_id="mill"))
    case = scene([[10.0] * 3], sites, planned=frozenset(planned), rules=Rules(plan=PlanRules(months=frozenset({5}))))
    masks = other_sources(case, np.array([0, 1], dtype=np.int32))
    assert [np.flatnonzero(mask).tolist() for mask in masks] == stands_in
    assert not other_sources(case, np.array([-1], dtype=np.int32)).any()


def test_the_worst_season_decides() -> None:
    """Without its summer pond the address is worth the far site's flow."""
    case = scene([[4.0, 20.0]], (site("F1", months=frozenset(range(4, 12))), site("F2")))
    found = chosen(case)
    assert found.site[0, 0] == 1
    winter = next(line for line in found.seasons if 1 in line.months)
    summer = next(line for line in found.seasons if 7 in line.months)
    assert winter.uninterrupted_gpm[0, 0] < summer.uninterrupted_gpm[0, 0]


def test_months_group_by_the_sites_that_stand() -> None:
    """A summer pond makes two seasons, the longer first; a site out of service makes none."""
    sites = (site("F1", months=frozenset(range(4, 12))), site("F2"), site("F3", in_service=False))
    seasons = season_months(sites, ALL_MONTHS)
    assert [months for months, _ in seasons] == [tuple(range(4, 12)), (1, 2, 3, 12)]
    assert [mask.tolist() for _, mask in seasons] == [[True, True, False], [False, True, False]]


def test_a_posted_bridge_is_worth_the_best_cut() -> None:
    """Light tankers cross (8 min), heavy ones go round (40 min): the light ones alone beat the convoy."""
    case = scene([[8.0]], (site("F1"),), heavy_min=[[40.0]], light=("T1", "T3"))
    one = np.zeros(1, dtype=np.int32)
    found = Flows(case).crews(one, one, one + 1)
    assert found.cut.tolist() == [0]
    assert found.used[0].tolist() == [False, False, False, True, False, True]
    together = scene([[38.0]], (site("F1"),), heavy_min=[[40.0]], light=("T1", "T3"))
    assert Flows(together).crews(one, one, one + 1).cut.tolist() == [1]


def test_engines_that_lack_stop_the_shuttle_and_say_so() -> None:
    """Two engines, a site that wants a pumper, a building 500 ft away: nobody drafts."""
    two = (ResponseLevel(name="Level 1", engines=2, tankers=1),)
    assert at(scene([[10.0]], (site("F1"),), levels=two, driveway_ft=500.0), 0) == (0.0, "engines")
    vacuum = (*ENGINES, unit("V1", "tanker", self_fill_gpm=600.0, usable_fraction=1.0))
    flow, _ = at(scene([[10.0]], (site("F1"),), levels=two, driveway_ft=500.0, units=vacuum), 0)
    assert flow > 0.0


def test_long_driveways_are_limited_by_the_supply_line_then_by_hose() -> None:
    """3 in hose over 1,100 ft passes 100 sqrt(130 / (0.8 x 11)) = 384 gpm; 2,500 ft is beyond both engines' hose."""
    thin = tuple(replace(one, supply_hose_in=3.0) for one in UNITS)
    many = (ResponseLevel(name="Level 1", engines=3, tankers=3),)
    sites = (site("F1", positions=2, site_gpm=2000.0),)
    flow, limit = at(scene([[1.0]], sites, units=thin, levels=many, driveway_ft=1000.0), 0)
    assert flow == pytest.approx(384.4, abs=0.1)
    assert limit == "supply line"
    assert at(scene([[1.0]], sites, units=thin, levels=many, driveway_ft=2500.0), 0) == (0.0, "hose")


def line_of(case: Scene, later: list[float] | None = None) -> SupplyLine:
    """Lay the supply line of the first address at its last level."""
    zero = np.zeros(1, dtype=np.int32)
    jobs, _ = crews(case, zero, zero, zero + len(case.levels) - 1)
    return supply_line(case, jobs, zero, 0.0 if later is None else np.array([later]))


def hosed(*loads: tuple[float, float]) -> tuple[Unit, ...]:
    """Give E1, E2 and so on hose loads (ft, in); the other units stay."""
    carried = {f"E{k}": load for k, load in enumerate(loads, start=1)}
    every = (*UNITS, *(unit(f"E{k}", "engine") for k in range(4, len(loads) + 1)))
    return tuple(
        replace(one, supply_hose_ft=carried[one.unit_id][0], supply_hose_in=carried[one.unit_id][1])
        if one.unit_id in carried
        else one
        for one in every
    )


def test_the_supply_line_is_the_largest_hose_that_reaches() -> None:
    """E1 attacks, E2 fills, E3 drafts: 300 ft of E1's 4 in, not 3 in of both; 1,100 ft takes 100 ft of E3's 3 in."""
    levels = (ResponseLevel(name="Level 1", engines=3, tankers=3),)
    units = hosed((1000.0, 4.0), (2000.0, 5.0), (1000.0, 3.0))
    ids = [one.unit_id for one in units]
    near = line_of(scene([[10.0]], (site("F1"),), units=units, levels=levels, driveway_ft=200.0))
    assert near.gpm[0] == pytest.approx(100 * math.sqrt(130 / (0.2 * 3.0)))
    assert {ids[u]: near.laid_ft[0, u] for u in np.flatnonzero(near.laid_ft[0])} == {"E1": 300.0}
    far = line_of(scene([[10.0]], (site("F1"),), units=units, levels=levels, driveway_ft=1000.0))
    assert far.gpm[0] == pytest.approx(100 * math.sqrt(130 / (0.2 * 10.0 + 0.8 * 1.0)))
    assert {ids[u]: far.laid_ft[0, u] for u in np.flatnonzero(far.laid_ft[0])} == {"E1": 1000.0, "E3": 100.0}
    assert far.short_ft[0] == 0.0


def test_hose_that_is_short_counts_for_nothing_and_is_told() -> None:
    """2,012 ft for 2,000 ft of 3 in: nothing flows; 12 ft more would carry 100 sqrt(130 / (0.8 x 20.12))."""
    levels = (ResponseLevel(name="Level 1", engines=3, tankers=3),)
    units = hosed((1000.0, 3.0), (1000.0, 3.0), (1000.0, 3.0))
    case = scene([[1.0]], (site("F1", positions=2, site_gpm=2000.0),), units=units, levels=levels, driveway_ft=1912.0)
    line = line_of(case)
    assert (line.gpm[0], line.short_ft[0]) == (0.0, 12.0)
    assert line.reached_gpm[0] == pytest.approx(100 * math.sqrt(130 / (0.8 * 20.12)))
    assert at(case, 0) == (0.0, "hose")


def test_engines_without_a_job_bring_their_hose_and_the_dump_site_waits_for_them() -> None:
    """A fourth engine's 1,000 ft make the 12 ft good; the line is there when it is."""
    levels = (
        ResponseLevel(name="Level 1", engines=3, tankers=3),
        ResponseLevel(name="Level 2", engines=4, tankers=3),
    )
    units = hosed(*[(1000.0, 3.0)] * 4)
    case = scene([[1.0]], (site("F1"),), units=units, levels=levels, driveway_ft=1912.0)
    line = line_of(case)
    assert line.gpm[0] == pytest.approx(100 * math.sqrt(130 / (0.8 * 20.12)))
    ids = [one.unit_id for one in case.units]
    assert line.ready_min[0] == case.response.arrival_min[0, ids.index("E4")]
    later = [60.0 if one == "E4" else 0.0 for one in ids]
    assert line_of(case, later).ready_min[0] == line.ready_min[0] + 60.0


def test_more_hose_of_one_who_comes_too_late_does_not_hold_a_line_up() -> None:
    """E1 and E3 reach with 3 in; E4's 5 in carries the required flow if it comes in time for it, else it waits."""
    levels = (ResponseLevel(name="Level 1", engines=4, tankers=3),)
    units = hosed((1000.0, 3.0), (1000.0, 3.0), (1000.0, 3.0), (2000.0, 5.0))
    case = scene([[1.0]], (site("F1"),), units=units, levels=levels, driveway_ft=1500.0, required_gpm=500.0)
    ids = [one.unit_id for one in case.units]
    soon = line_of(case)
    assert soon.laid_ft[0, ids.index("E4")] == 1600.0
    late = line_of(case, [60.0 if one == "E4" else 0.0 for one in ids])
    assert late.laid_ft[0, ids.index("E4")] == 0.0
    assert late.gpm[0] == pytest.approx(100 * math.sqrt(130 / (0.8 * 16)))
    assert late.ready_min[0] < 60.0


def test_a_cistern_runs_out() -> None:
    """6,000 gal over 120 min is 50 gpm however many tankers come."""
    flow, limit = at(scene([[5.0]], (site("F1", kind="cistern", storage_gal=6000.0),)), 1)
    assert flow == pytest.approx(50.0)
    assert limit == "source"


def test_a_site_gives_no_more_than_its_engine_can_lift() -> None:
    """At 20 ft a 500 gpm pump gives 300: the fill takes 1,800 / 300 = 6 min."""
    weak = tuple(replace(one, pump_gpm=500.0) if one.kind == "engine" else one for one in UNITS)
    flow, _ = at(scene([[10.0]], (site("F1", lift_ft=20.0),), units=weak, levels=ONE_LEVEL), 0)
    assert flow == pytest.approx(1800 / (10 + 1 + 1 + 6 + 1.5 + 0.5 + 1.8))


def test_no_way_to_any_site_gives_no_site() -> None:
    """Unreachable is no site, not a site with no water."""
    case = scene([[np.inf]], (site("F1"),))
    assert chosen(case).site.tolist() == [[-1, -1]]
