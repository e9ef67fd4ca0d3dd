"""Who comes, when, and for which job."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preplan.planning.response import Jobs, Response, assign_jobs, depart_min, respond
from preplan.records import UNIT_KINDS, BoolArray, FloatArray, ResponseLevel, Station, Unit
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
    return assign_jobs(response, (zero, zero, zero), needs_engine=np.array([needs_engine]), near=np.array([near]))


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


def sent(units: tuple[Unit, ...], mask: BoolArray) -> list[str]:
    """Name the units of a mask."""
    return [one.unit_id for one, comes in zip(units, mask, strict=True) if comes]


def test_a_pumper_tanker_that_its_station_sends_as_no_engine_hauls() -> None:
    """A third engine lacks, but the neighbour sends none: its pumper-tanker is the second tanker, not nobody."""
    neighbour = Station(station_id="S2", name="Two", lon=-72.1, lat=44.0, turnout_min=2.0, max_engines=0, max_tankers=1)
    units = (*ENGINES[:2], unit("P9", "pumper-tanker", "S2"), TANKERS[0])
    levels = (ResponseLevel(name="Level 1", engines=3, tankers=2),)
    found = respond(units, (*STATIONS, neighbour), levels, np.array([[5.0, 6.0, 12.0, 8.0]]), np.ones((1, 4)))
    assert sent(units, found.engines[0, 0]) == ["E1", "E2"]
    assert sent(units, found.tankers[0, 0]) == ["P9", "T1"]
    assert (found.short_engines.tolist(), found.short_tankers.tolist()) == ([[1]], [[0]])


@pytest.mark.parametrize("early", [8.0, 13.0])
def test_an_engine_that_can_be_nothing_else_comes_before_its_neighbours_pumper_tanker(early: float) -> None:
    """The neighbour sends one engine: E9, whenever P9 arrives. The engine that still lacks is the next own one."""
    neighbour = Station(station_id="S2", name="Two", lon=-72.1, lat=44.0, turnout_min=2.0, max_engines=1, max_tankers=1)
    units = (ENGINES[0], unit("E9", "engine", "S2"), unit("P2", "pumper-tanker"), unit("P9", "pumper-tanker", "S2"))
    levels = (ResponseLevel(name="Level 1", engines=3, tankers=3),)
    found = respond(units, (*STATIONS, neighbour), levels, np.array([[5.0, 9.0, 12.0, early]]), np.ones((1, 4)))
    assert sent(units, found.engines[0, 0]) == ["E1", "E9", "P2"]
    assert sent(units, found.tankers[0, 0]) == ["P9"]


@dataclass(frozen=True)
class Rolled:
    """Who is sent to one address, of made-up units, stations and levels."""

    units: tuple[Unit, ...]
    arrival_min: FloatArray
    levels: tuple[ResponseLevel, ...]
    most: dict[str, tuple[float, float]]
    """By station, the most engines and tankers that it sends."""
    found: Response

    @property
    def jobs(self) -> tuple[BoolArray, BoolArray]:
        """Mask the engines and the tankers sent, (levels, units)."""
        return self.found.engines[0], self.found.tankers[0]

    def at(self, mask: BoolArray) -> Counter[str]:
        """Count units of a mask by station."""
        return Counter(one.station_id for one, some in zip(self.units, mask, strict=True) if some)

    def is_closed(self, role: int, station: str) -> bool:
        """Tell whether the highest level asks for no further engine (0) or tanker (1), or a station sends no more."""
        short = (self.found.short_engines, self.found.short_tankers)[role][0, -1]
        return not short or self.at(self.jobs[role][-1])[station] >= self.most[station][role]


def _cap(most: int | None) -> float:
    return np.inf if most is None else float(most)


@st.composite
def rolls(draw: st.DrawFn) -> Rolled:
    """Draw up to nine units of three stations, two of which cap what they send, and up to three levels."""
    minutes, cap = st.sampled_from((4.0, 5.0, 6.0, 7.0, 9.0, np.inf)), st.none() | st.integers(0, 2)
    one = st.tuples(st.sampled_from(UNIT_KINDS), st.sampled_from(("S1", "S2", "S3")), minutes)
    rolled = draw(st.lists(one, min_size=1, max_size=9))
    units = tuple(unit(f"U{at}", kind, station) for at, (kind, station, _) in enumerate(rolled))
    neighbours = tuple(
        replace(NEIGHBOUR, station_id=n, max_engines=draw(cap), max_tankers=draw(cap)) for n in ("S2", "S3")
    )
    engines, tankers = (sorted(draw(st.lists(st.integers(0, 4), min_size=3, max_size=3))) for _ in range(2))
    levels = tuple(ResponseLevel(name=f"L{e}{t}", engines=e, tankers=t) for e, t in zip(engines, tankers, strict=True))
    arrival = np.array([[minute for _, _, minute in rolled]])
    most = {one.station_id: (_cap(one.max_engines), _cap(one.max_tankers)) for one in (*STATIONS, *neighbours)}
    found = respond(units, (*STATIONS, *neighbours), levels, arrival, np.ones((1, len(units))))
    return Rolled(units, arrival[0], levels, most, found)


@given(rolls())
def test_a_unit_has_one_job_and_a_level_holds_the_one_below(rolled: Rolled) -> None:
    """Nobody is counted twice, a station's caps hold, and what is short is what is asked for less what is sent."""
    pump, haul = rolled.jobs
    assert not (pump & haul).any()
    assert not (pump & rolled.found.hauls[0]).any()
    assert not (haul & ~rolled.found.hauls[0]).any()
    assert not ((pump | haul) & np.isinf(rolled.arrival_min)).any()
    assert (pump[1:] >= pump[:-1]).all()
    assert (haul[1:] >= haul[:-1]).all()
    short = zip(rolled.levels, pump, haul, strict=True)
    sums = [(level.engines - int(e.sum()), level.tankers - int(t.sum())) for level, e, t in short]
    assert sums == list(zip(rolled.found.short_engines[0], rolled.found.short_tankers[0], strict=True))
    for role, mask in enumerate(rolled.jobs):
        assert all(count <= rolled.most[name][role] for name, count in rolled.at(mask[-1]).items())


@given(rolls())
def test_whoever_is_not_sent_is_not_asked_for_or_stopped_by_the_caps_of_each_of_his_roles(rolled: Rolled) -> None:
    """Nobody is lost between two roles, and no engine stays at home for a pumper-tanker's sake."""
    pump, haul = (mask[-1] for mask in rolled.jobs)
    plain = np.array([one.kind == "engine" for one in rolled.units])
    for at in np.flatnonzero(np.isfinite(rolled.arrival_min) & ~pump & ~haul).tolist():
        one = rolled.units[at]
        roles = {"engine": (0,), "tanker": (1,), "pumper-tanker": (0, 1)}[one.kind]
        assert all(rolled.is_closed(role, one.station_id) for role in roles), one.unit_id
        if plain[at] and (pump & ~plain).any():
            assert rolled.at(pump & plain)[one.station_id] == rolled.most[one.station_id][0], one.unit_id


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
