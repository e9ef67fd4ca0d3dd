"""The timeline: the worked example to the printed digit, and the definitions one by one."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from preplan.plan_cards import Nursed
from preplan.water.shuttle import limit_words, sustained
from preplan.water.timeline import (
    NEVER,
    Case,
    PortableTank,
    Surge,
    account,
    answer,
    call_by_min,
    dry_stretches,
    gap_min,
    held_flow,
    last_useful,
    one_out_gpm,
    strip,
)
from preplan.water.timeline_batch import gaps
from preplan.water.timeline_table import CaseTable
from tests.timeline_cases import (
    GOLDEN,
    golden,
    golden_called,
    golden_tanker,
    handling_of,
    long_run_gpm,
    minutes_of,
    one_tanker,
)

LEVEL_1, LEVEL_2, LEVEL_3 = golden(GOLDEN[:2]), golden(GOLDEN[:4]), golden(GOLDEN)
CALLED = 12
"""Alerting on arrival in the worked example: 10 and 2 to size up."""


# ------------------------------------------------------------------ the worked example


def test_dump_times_of_the_worked_example() -> None:
    run = account(LEVEL_1)
    t1 = list(zip(minutes_of(run, "T1", "dumps"), minutes_of(run, "T1", "empty"), strict=True))
    t2 = list(zip(minutes_of(run, "T2", "dumps"), minutes_of(run, "T2", "empty"), strict=True))
    assert t1 == [(17, 19), (34, 36), (51, 53), (68, 70), (85, 87), (102, 104), (120, 122), (139, 141)]
    assert t2 == [(21, 24), (40, 43), (59, 62), (78, 81), (97, 100), (116, 119), (135, 138)]


def test_waits_of_the_worked_example() -> None:
    run = account(LEVEL_1)
    at, takes = minutes_of(run, "T1", "at fill site"), minutes_of(run, "T1", "takes fill place")
    waits = [(a, t) for a, t in zip(at, takes, strict=False) if t > a]
    assert waits[0] == (108, 109)


def test_minutes_of_the_worked_example() -> None:
    found = answer(LEVEL_1)
    assert (found.first_water_min, found.dump_ready_min, found.fill_ready_min) == (12, 16, 20)
    assert (found.established_min, found.on_scene_gal) == (34, 3550)
    cycles = (
        np.diff(minutes_of(account(LEVEL_1), "T1", "dumps"))[0],
        np.diff(minutes_of(account(LEVEL_1), "T2", "dumps"))[0],
    )
    assert cycles == (17, 19)


@pytest.mark.parametrize(
    ("case", "uninterrupted", "tight", "gap", "stretches", "short"),
    [
        (LEVEL_1, 27850 / 110, 135, 55.3, 11, 27650),
        (LEVEL_2, 494.58, None, 1.3, 2, 650),
        (golden_called(4, CALLED), 3550 / 9, 34, 6.7, 6, 3350),
        (LEVEL_3, 551.68, 144, 0, 0, 0),
        (golden_called(6, CALLED), 3550 / 9, 34, 1.9, 1, 950),
    ],
)
def test_rows_of_the_worked_example(
    case: Case, uninterrupted: float, tight: float | None, gap: float, stretches: int, short: float
) -> None:
    found = answer(case)
    assert found.uninterrupted_gpm == pytest.approx(uninterrupted, abs=0.005)
    assert tight is None or found.tight_min == pytest.approx(tight)
    assert found.gap_min == pytest.approx(gap)
    assert found.gap_stretches == stretches
    assert found.short_gal == pytest.approx(short)


@pytest.mark.parametrize(
    ("count", "total", "flow", "word"),
    [(2, 248.0, 4500 / 19, "tankers"), (4, 496.0, 9000 / 19, "tankers"), (6, 744.0, 13500 / 27, "fill site")],
)
def test_steady_columns_of_the_worked_example(count: int, total: float, flow: float, word: str) -> None:
    steady = sustained(10.0, handling_of(GOLDEN[:count]), np.ones(count, dtype=bool), positions=1, site_gpm=900.0,
                       dump_places=1)  # fmt: skip
    assert float(steady.sum_gpm) == pytest.approx(total, abs=0.05)
    assert float(steady.sustained_gpm) == pytest.approx(flow)
    assert str(limit_words(steady.limited_by)) == word


def test_gaps_of_the_worked_example() -> None:
    first = answer(LEVEL_1)
    assert first.first_gap_min == pytest.approx(32.1)
    assert first.longest_gap_min == pytest.approx(10)
    assert np.array(dry_stretches(account(LEVEL_2))) == pytest.approx(np.array([[125.7, 126], [144, 145]]))
    assert np.array(dry_stretches(account(golden_called(6, CALLED)))) == pytest.approx(np.array([[32.1, 34]]))


def test_call_by_and_one_out_of_the_worked_example() -> None:
    assert call_by_min(lambda minute: golden_called(6, minute), 25) == 7
    assert call_by_min(lambda minute: golden_called(4, minute), 25) is None
    assert math.floor(one_out_gpm(LEVEL_2)["T2"]) == 337


def test_worked_example_with_two_positions_and_one_pump() -> None:
    """The closed form says 13,500 / 21 = 642.9, limited by the dump site; the account comes to it."""
    steady = sustained(10.0, handling_of(GOLDEN), np.ones(6, dtype=bool), positions=2, site_gpm=900.0, dump_places=1)
    assert float(steady.sustained_gpm) == pytest.approx(642.857, abs=0.001)
    assert str(limit_words(steady.limited_by)) == "dump site"
    assert long_run_gpm(replace(LEVEL_3, positions=2)) == pytest.approx(642.857, rel=0.01)


def test_what_limits_the_worked_example() -> None:
    assert answer(golden_called(4, CALLED)).limited_by == "arrival"
    assert answer(LEVEL_1).limited_by == ""
    held = answer(replace(LEVEL_3, supply_gpm=500.0))
    assert (held.uninterrupted_gpm, held.limited_by) == (500.0, "supply line")
    assert held_flow(replace(LEVEL_3, draft_gpm=450.0)).limited_by == "draft"
    assert held_flow(replace(LEVEL_3, storage_gal=20000.0)).limited_by == "source"
    small = tuple(replace(t, portable_gal=600.0 if t.portable_gal else 0.0) for t in GOLDEN)
    assert held_flow(golden(small)).limited_by in {"room", "arrival"}


def test_last_useful_tanker_of_the_worked_example() -> None:
    """A fill site of 900 gpm with one place is busy with six; twice the fleet brings nothing more for ever."""
    unit_id, flows = last_useful(LEVEL_3)
    assert unit_id == "T6"
    assert flows[2] == pytest.approx(27850 / 110)
    crowd = (*GOLDEN, *(golden_tanker(n, 2000, 140 + n) for n in (7, 8, 9)))
    assert last_useful(golden(crowd))[0] == "T6"


# ------------------------------------------------------------------ the definitions, one by one


def test_the_nurse_feeds_the_attack_engine_until_the_dump_site_is_ready_and_dumps_the_rest() -> None:
    """Booster 150 gal is dry at 8; the dump site is ready at 15. From 10 to 15 the nurse gives 750 of its 1,000."""
    case = one_tanker(booster_gal=150.0)
    nurse = replace(case.tankers[0], has_pump=True)
    run = account(replace(case, tankers=(nurse,)))
    assert dry_stretches(account(case))[0] == pytest.approx((8, 16))
    assert dry_stretches(run)[0] == pytest.approx((8, 10))
    assert minutes_of(run, "T1", "dumps")[0] == 16
    assert minutes_of(run, "T1", "empty")[0] == pytest.approx(16.5)
    assert answer(replace(case, tankers=(nurse,))).established_min > 25
    assert strip(run).nursed == Nursed(unit_id="T1", start_min=10.0, stop_min=15.0, dumps=True)


@pytest.mark.parametrize(("hose_min", "dry"), [(9.0, (8, 10)), (12.0, (8, 12)), (15.0, (8, 16)), (math.inf, (8, 16))])
def test_a_nurse_waits_for_the_hose_to_the_attack_engine(hose_min: float, dry: tuple[float, float]) -> None:
    """The tanker is there at 10, the dump site ready at 15, where it dumps from 16 on."""
    case = one_tanker(booster_gal=150.0, hose_ready_min=hose_min)
    case = replace(case, tankers=(replace(case.tankers[0], has_pump=True),))
    assert dry_stretches(account(case))[0] == pytest.approx(dry)
    assert gaps(CaseTable.of([case])).first_gap_min[0] == pytest.approx(8)
    fed = strip(account(case)).nursed
    assert (None if fed is None else fed.start_min) == (None if hose_min >= 15 else dry[1])


def test_no_nurse_where_the_booster_lasts() -> None:
    case = one_tanker(booster_gal=1500.0)
    nurse = replace(case.tankers[0], has_pump=True)
    assert minutes_of(account(replace(case, tankers=(nurse,))), "T1", "nurses") == []


def test_full_tanks_hold_the_tanker_at_the_draw() -> None:
    """Room for 400 of 1,000 gal: full after 400 / (500 - 150) min, then the load goes as the fire draws."""
    case = one_tanker()
    run = account(replace(case, tankers=(replace(case.tankers[0], portable_gal=400.0),)))
    full = 16 + 400 / 350
    left = 1000 - 500 * 400 / 350
    until_f = 20 - full
    end = 20 + (left - 150 * until_f) / 250 if left > 150 * until_f else full + left / 150
    assert minutes_of(run, "T1", "empty")[0] == pytest.approx(end)
    assert run.trucks[0].room_wait_min > 0


def test_dead_water_and_room_are_shares_of_the_nominal_tank() -> None:
    case = one_tanker(room_fraction=0.8, dead_fraction=0.07)
    rooms = case.rooms()
    assert [(room.active_gal, room.dead_gal) for room in rooms] == [pytest.approx((1460.0, 140.0))]
    run = account(case)
    assert run.ground.dead_gal == pytest.approx(140.0)


def test_first_tank_and_further_tanks() -> None:
    case = one_tanker(other_tanks=(PortableTank(6.0, 1000.0), PortableTank(30.0, 1000.0)))
    assert case.dump_ready_min == 11.0
    assert [room.ready_min for room in case.rooms()] == [11.0, 13.0, 33.0]


def test_a_hydrant_is_opened_once_by_the_first_tanker() -> None:
    case = one_tanker(fill_engine_arrival_min=None, fill_setup_min=2.0)
    run = account(case)
    at, takes = minutes_of(run, "T1", "at fill site"), minutes_of(run, "T1", "takes fill place")
    assert [t - a for a, t in zip(at, takes, strict=False)][:2] == [2.0, 0.0]


def test_a_tanker_that_fills_itself_waits_for_no_engine() -> None:
    case = one_tanker(fill_engine_arrival_min=NEVER)
    assert math.isnan(answer(case).established_min)
    assert held_flow(case).limited_by == "engines"
    own = replace(case, tankers=(replace(case.tankers[0], self_fill=True),))
    assert answer(own).established_min < 40


def test_queues_are_served_by_order_of_arrival_then_unit_id() -> None:
    one = one_tanker().tankers[0]
    case = one_tanker(
        tankers=(replace(one, unit_id="B"), replace(one, unit_id="A"), replace(one, unit_id="C", arrival_min=9))
    )
    run = account(case)
    order = sorted((minutes_of(run, unit_id, "dumps")[0], unit_id) for unit_id in "ABC")
    assert [unit_id for _, unit_id in order] == ["C", "A", "B"]


def test_a_surge_is_held_as_long_as_water_lasts() -> None:
    """1,000 gpm from 60 on: water on scene then plus what comes, minute by minute of the same account."""
    found = answer(replace(LEVEL_3, surge=Surge(start_min=60.0, gpm=1000.0, minutes=20.0)))
    dry = dry_stretches(account(replace(LEVEL_3, surge=Surge(start_min=60.0, gpm=1000.0, minutes=20.0))))
    assert found.surge_min == pytest.approx(dry[0][0] - 60.0)
    assert 0 < found.surge_min < 20
    assert answer(replace(LEVEL_3, surge=Surge(start_min=60.0, gpm=510.0, minutes=2.0))).surge_min == pytest.approx(2.0)
    assert math.isnan(answer(LEVEL_3).surge_min)


def test_the_total_arrives() -> None:
    """12,000 gal: 1,000 booster + 1,800 + 2,700 first loads, then 1,800 at 34, 2,700 at 40, 1,800 at 51, 200 at 59."""
    found = answer(replace(LEVEL_1, required_gal=12000.0))
    assert found.mws_by_min == pytest.approx(59 + 200 / 900)
    assert math.isnan(answer(replace(LEVEL_1, required_gal=1e6)).mws_by_min)


def test_nobody_comes() -> None:
    assert answer(one_tanker(attack_arrival_min=NEVER)).uninterrupted_gpm == 0
    assert math.isnan(answer(one_tanker(attack_arrival_min=NEVER)).gap_min)
    alone = answer(one_tanker(tankers=()))
    assert (alone.uninterrupted_gpm, alone.limited_by) == (0.0, "tankers")
    assert strip(account(one_tanker(attack_arrival_min=NEVER))).minute.size == 0
    no_drafting = answer(one_tanker(dump_engine_arrival_min=NEVER))
    assert (no_drafting.uninterrupted_gpm, no_drafting.limited_by) == (0.0, "engines")
    assert no_drafting.gap_min == pytest.approx(80 - (7 + 750 / 150))  # the booster tank is all there is


def test_queueing_minutes_add_up() -> None:
    """Drive, maneuver, hold and wait fill a tanker's day from its arrival to the end."""
    found = answer(LEVEL_1)
    first = found.queueing[0]
    assert first.loads == 8
    assert first.dump_wait_min == pytest.approx(3.0)  # 13 to 16
    assert first.fill_wait_min == pytest.approx(1 + 1 + 1)  # 108 to 109, 126 to 127, 144 to 145


def test_strip_follows_the_ledger() -> None:
    run = account(LEVEL_1)
    drawn = strip(run)
    assert np.all(np.diff(drawn.minute) >= 0)
    for event in run.events:
        if event.minute > 10:
            assert np.interp(event.minute, drawn.minute, drawn.on_scene_gal) == pytest.approx(
                event.on_scene_gal, abs=1e-6
            )
    assert drawn.demand_min.tolist() == [12, 25, 145]
    assert drawn.demand_gpm.tolist() == [150, 500, 0]
    assert len(drawn.gaps_min) == 11
    assert drawn.arrivals == ((13, "T1"), (20, "T2"))


def test_event_table_has_the_gaps_in_it() -> None:
    events = answer(LEVEL_2).events
    assert [(round(e.minute, 3), e.what) for e in events if e.what in {"dry", "flow again"}] == [
        (125.7, "dry"), (126.0, "flow again"), (144.0, "dry"), (145.0, "flow again"),
    ]  # fmt: skip
    assert all(a.minute <= b.minute for a, b in pairwise(events))


def test_gap_is_nan_without_an_attack_engine() -> None:
    assert math.isnan(gap_min(one_tanker(attack_arrival_min=NEVER)))
