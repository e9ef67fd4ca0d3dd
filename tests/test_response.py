"""Who comes, when, and for which job."""

from __future__ import annotations

import numpy as np
import pytest

from preplan.planning.response import Jobs, assign_jobs, depart_min, respond
from preplan.records import ResponseLevel, Station
from preplan.rules import ShuttleRules
from tests.planning_case import ENGINES, LEVELS, STATIONS, TANKERS, UNITS, unit

NEIGHBOUR = Station(station_id="S2", name="Two", lon=-72.1, lat=44.0, turnout_min=2.0, staffed=True, max_tankers=1)


def jobs_of(engines: int, *, needs_engine: bool, near: bool, at_site: tuple[float, ...] = (9.0, 8.0, 7.0)) -> Jobs:
    """Give one case its jobs: so many of E1, E2, E3, which reach the address in that order."""
    units = ENGINES[:engines] + TANKERS[:1]
    levels = (ResponseLevel(name="Level 1", engines=engines, tankers=1),)
    arrival = np.array([[*(10.0, 11.0, 12.0)[:engines], 13.0]])
    site_arrival = np.array([[*at_site[:engines], 9.0]])
    response = respond(units, STATIONS, levels, arrival, site_arrival)
    zero = np.zeros(1, dtype=np.int32)
    return assign_jobs(response, zero, zero, zero, needs_engine=np.array([needs_engine]), near=np.array([near]))


def test_units_of_a_volunteer_station_roll_one_after_the_other_and_staffed_ones_together() -> None:
    """Table order, 2 min apart; a staffed station's crews leave at once."""
    rolling = (ENGINES[0], TANKERS[0], unit("E9", "engine", "S2"), unit("T9", "tanker", "S2"))
    assert depart_min(rolling, (*STATIONS, NEIGHBOUR), ShuttleRules()) == {"E1": 6.0, "T1": 8.0, "E9": 2.0, "T9": 2.0}


def test_levels_are_totals_and_each_holds_the_one_below() -> None:
    """Level 1 is the first two engines and the first tanker; equal arrivals fall to the lower id."""
    found = respond(UNITS, STATIONS, LEVELS, np.array([[10.0, 10.0, 9.0, 20.0, 15.0, 15.0]]), np.ones((1, 6)))
    assert found.engines[0, 0].tolist() == [True, False, True, False, False, False]
    assert found.tankers[0, 0].tolist() == [False, False, False, False, True, False]
    assert (found.engines[0, 1] >= found.engines[0, 0]).all()
    assert (found.tankers[0, 1] >= found.tankers[0, 0]).all()
    assert found.attack_engine.tolist() == [2]


def test_a_level_short_of_units_says_by_how_many() -> None:
    """One tanker has no way: level 2 lacks one of three."""
    found = respond(UNITS, STATIONS, LEVELS, np.array([[10.0, 11.0, 12.0, 13.0, np.inf, 15.0]]), np.ones((1, 6)))
    assert found.short_tankers.tolist() == [[0, 1]]
    assert found.short_engines.tolist() == [[0, 0]]


def test_a_neighbour_sends_no_more_than_it_said() -> None:
    """Of the neighbour's two tankers only the first to arrive counts."""
    units = (*ENGINES[:2], unit("T7", "tanker", "S2"), unit("T8", "tanker", "S2"), unit("T9", "tanker"))
    levels = (ResponseLevel(name="Level 1", engines=2, tankers=3),)
    found = respond(units, (*STATIONS, NEIGHBOUR), levels, np.array([[9.0, 9, 12, 11, 20]]), np.ones((1, 5)))
    assert found.tankers[0, 0].tolist() == [False, False, False, True, True]
    assert found.short_tankers.tolist() == [[1]]


@pytest.mark.parametrize(("engines", "as_engine"), [(2, False), (1, True)])
def test_a_pumper_tanker_is_an_engine_only_where_engines_lack_and_never_both(engines: int, as_engine: bool) -> None:
    """It hauls water unless the highest level would be short of an engine."""
    units = (*ENGINES[:engines], unit("P1", "pumper-tanker"), TANKERS[0])
    levels = (ResponseLevel(name="Level 1", engines=2, tankers=2),)
    found = respond(units, STATIONS, levels, np.arange(9.0, 9.0 + len(units))[None], np.ones((1, len(units))))
    assert bool(found.engines[0, 0, engines]) is as_engine
    assert bool(found.tankers[0, 0, engines]) is not as_engine


def test_three_engines_attack_fill_and_dump() -> None:
    """First at the address attacks; of the rest the one soonest at the site fills; the next drafts."""
    jobs = jobs_of(3, needs_engine=True, near=False)
    assert (jobs.fill_engine[0], jobs.dump_engine[0], jobs.vacuum_only[0]) == (2, 1, False)


def test_two_engines_fill_and_attack_if_the_building_is_near_else_only_vacuum_tankers_run() -> None:
    """Near: the attack engine drafts too. Far: the second engine drafts and none is left for the fill site."""
    near, far = jobs_of(2, needs_engine=True, near=True), jobs_of(2, needs_engine=True, near=False)
    assert (near.fill_engine[0], near.dump_engine[0], near.vacuum_only[0]) == (1, 0, False)
    assert (far.fill_engine[0], far.dump_engine[0], far.vacuum_only[0]) == (-1, 1, True)


def test_a_hydrant_needs_no_engine_and_one_engine_alone_can_only_draft_near() -> None:
    """Where the site is under pressure the second engine drafts; a lone engine drafts only if near."""
    assert jobs_of(2, needs_engine=False, near=False).dump_engine.tolist() == [1]
    assert jobs_of(1, needs_engine=False, near=True).dump_engine.tolist() == [0]
    assert jobs_of(1, needs_engine=False, near=False).dump_engine.tolist() == [-1]


def test_an_engine_without_a_way_to_the_site_fills_nothing() -> None:
    """No engine reaches the fill site: only vacuum tankers can run."""
    jobs = jobs_of(3, needs_engine=True, near=False, at_site=(np.inf,) * 3)
    assert (jobs.fill_engine[0], jobs.vacuum_only[0]) == (-1, True)
