"""What each tanker does: the worked example through planning, and the words and table that say it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_tables import HaulTable
from preplan.planning.hauls import haul_table
from preplan.records import joined
from preplan.render import crew
from preplan.render.tables import haul_columns, hauls_csv
from preplan.water.timeline import answer, last_useful, one_out_gpm
from tests.example_plan import example_plan
from tests.planning_case import scene, site, unit
from tests.test_flows import EXAMPLE, LEVELS, planned, worked_example
from tests.timeline_cases import GOLDEN, golden, golden_called


@pytest.fixture
def plan() -> Plan:
    return example_plan()


def test_the_worked_example_names_what_each_tanker_brings() -> None:
    """Level 1 by the ledger: T1 dumps eight times, three minutes late on its cycle; Level 2 without T2 holds 337."""
    hauls = haul_table(planned(worked_example()).worked)
    assert hauls.level.tolist() == [0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 2, 2]
    assert hauls.loads[:2].tolist() == [8, 7]
    assert hauls.fill_wait_min[:2].tolist() == pytest.approx([3.0, 0.0])
    names = list(EXAMPLE)
    for level in range(3):
        case, rows = golden(GOLDEN[: 2 * (level + 1)]), hauls.level == level
        assert hauls.without_gpm[rows] == pytest.approx(list(one_out_gpm(case).values()), rel=1e-6)
        last, _ = last_useful(case)
        assert hauls.adds[rows].tolist() == [names.index(last) >= at for at in range(rows.sum())]
    assert hauls.without_gpm[3] == pytest.approx(337.0, abs=0.5)


def test_queues_are_told_for_a_call_on_arrival_too() -> None:
    """The worked example's tankers beyond the first two, called at 12, by the plain account; level 1 calls nobody."""
    hauls = haul_table(planned(worked_example()).worked)
    first = hauls.rows(hauls.level == 0)
    assert first.called_loads.tolist() == first.loads.tolist()
    assert first.called_fill_wait_min.tolist() == pytest.approx(first.fill_wait_min.tolist())
    rows = hauls.rows(hauls.level == 2)
    told = {one.unit_id: one for one in answer(golden_called(6, 12.0)).queueing}
    for row, name in enumerate(EXAMPLE):
        assert rows.called_loads[row] == told[name].loads, name
        for word in ("fill_wait_min", "dump_wait_min", "room_wait_min"):
            assert getattr(rows, f"called_{word}")[row] == pytest.approx(getattr(told[name], word), abs=1e-6), name
    assert rows.called_fill_wait_min.tolist() != pytest.approx(rows.fill_wait_min.tolist())


def six_tankers(fill_gpm: float, draft_gpm: float) -> HaulTable:
    """Plan three levels of up to six near tankers of 2,000 gal; give what those of the highest do."""
    engines = (unit("E1", "engine", pump_gpm=draft_gpm), unit("E2", "engine"))  # the other one pumps at the site
    tankers = (unit(f"T{n}", "tanker", tank_gal=2000.0, portable_tank_gal=3000.0) for n in range(6))
    case = scene(
        [[6.0]], (site("F1", fill_gpm=fill_gpm),), units=(*engines, *tankers), levels=LEVELS,
        arrival_min=[5.0, 6.0, *(8.0 + n for n in range(6))],
    )  # fmt: skip
    hauls = haul_table(planned(case).worked)
    return hauls.rows(hauls.level == 2)


def test_a_thin_fill_site_makes_tankers_queue_but_first_loads_still_count() -> None:
    """At 100 gpm a load takes 18 minutes: six tankers stand in line, yet each brought its own first load."""
    hauls = six_tankers(fill_gpm=100.0, draft_gpm=1000.0)
    assert hauls.fill_wait_min.min() > 30.0
    assert hauls.adds.all()


def test_tankers_beyond_what_is_drafted_add_nothing() -> None:
    """A pump that drafts 150 gpm is fed by the first ones, as arithmetic tells: 1,800 gal last it 12 minutes."""
    hauls = six_tankers(fill_gpm=1000.0, draft_gpm=150.0)
    assert hauls.adds[0]
    assert not hauls.adds[2:].any(), "two tankers on a cycle of some 13 minutes bring 270 gpm"
    assert hauls.without_gpm[2:] == pytest.approx(150.0)


def test_hauls_of_an_address_and_level_are_found(plan: Plan) -> None:
    for address in range(len(plan.addresses)):
        for level in range(2):
            rows = plan.haul_rows(address, level)
            mine = (plan.hauls.address == address) & (plan.hauls.level == level)
            assert np.flatnonzero(mine).tolist() == list(range(*rows.indices(len(plan.hauls))))


def test_words_name_who_waits_and_who_adds_nothing(plan: Plan) -> None:
    assert crew.spare_words(plan, 0, 0) == "T2 adds nothing to what response level 1 holds."
    assert crew.spare_words(plan, 1, 0) == ""
    assert crew.queue_words(plan, 0, 0) == "Longest waits at the fill site in 120 min: T2 13 min."
    short = replace(plan.hauls, fill_wait_min=np.minimum(plan.hauls.fill_wait_min, 9.0))
    assert crew.queue_words(replace(plan, hauls=short), 0, 0) == ""


def test_the_table_has_a_row_for_each_tanker_in_use(plan: Plan) -> None:
    lines = hauls_csv(plan).decode().splitlines()
    assert lines[0] == ",".join(haul_columns(plan))
    assert len(lines) == 1 + 16
    assert lines[2].endswith(",Level 1,T2,20.0,7,12.3,3.0,0.0,6,9.0,1.0,0.0,130,no")


def test_tables_are_joined_one_below_the_other(plan: Plan) -> None:
    twice = joined([plan.hauls, plan.hauls])
    assert isinstance(twice, HaulTable)
    assert len(twice) == 2 * len(plan.hauls)
    assert twice.unit.tolist() == plan.hauls.unit.tolist() * 2
