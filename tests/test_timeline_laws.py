"""The timeline: what must hold for every fleet."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from preplan.water.shuttle import sustained
from preplan.water.timeline import (
    Case,
    PortableTank,
    account,
    best_flow,
    brought_gpm,
    dry_stretches,
    gap_min,
    held_flow,
)
from preplan.water.timeline_events import AT_DUMP, AWAITS_HOSE, COMING, DUMP_HOOKUP, FILLING, NURSING, POURING, Run
from preplan.water.uninterrupted import largest_ratio
from tests.timeline_cases import (
    handling_of,
    long_run_gpm,
    minutes_of,
    one_tanker,
    random_case,
    split_case,
)


def test_every_gallon_is_accounted_for_at_every_event() -> None:
    """Booster + nursed + dumped = on scene + delivered + dead; out of the source = into tankers. 2,000 fleets."""
    for seed in range(2000):
        draw = split_case if seed % 3 == 0 else random_case
        case = draw(seed, grid=seed % 2 == 0, mixed=seed % 7 == 0)
        run = account(case)
        for event in run.events:
            if event.minute >= case.attack_arrival_min and event.what != "attack engine on scene":
                booster = case.booster_gal if ("", "attack engine on scene") in _before(run, event.minute) else 0.0
                kept = event.on_scene_gal + event.delivered_gal + event.dead_gal
                assert booster + event.dumped_gal == pytest.approx(kept, abs=1e-5), (seed, event)
        _check_tankers(run, seed)


def _before(run: Run, minute: float) -> set[tuple[str, str]]:
    return {(e.unit_id, e.what) for e in run.events if e.minute <= minute}


def _check_tankers(run: Run, seed: int) -> None:
    """Hold loads begun, less what is still aboard, against what was dumped; and the source against the fills."""
    dumped = filled = 0.0
    for truck in run.trucks:
        full = len(minutes_of(run, truck.tanker.unit_id, "full"))
        empty = len(minutes_of(run, truck.tanker.unit_id, "empty"))
        left = truck.load.left_at(run.now_min)
        part_dumped = (
            truck.tanker.usable_gal - left
            if truck.doing in {COMING, AWAITS_HOSE, AT_DUMP, DUMP_HOOKUP, POURING, NURSING}
            else 0.0
        )
        part_filled = truck.tanker.usable_gal - left if truck.doing == FILLING else 0.0
        came = bool(minutes_of(run, truck.tanker.unit_id, "on scene"))
        dumped += empty * truck.tanker.usable_gal + (part_dumped if came else 0.0)
        filled += full * truck.tanker.usable_gal + part_filled
    assert run.dumped_gal == pytest.approx(dumped, abs=1e-4), seed
    assert sum(source.given_gal for source in run.sources) == pytest.approx(filled, abs=1e-4), seed


def test_the_uninterrupted_flow_is_bounded_and_has_no_dry_instant() -> None:
    for seed in range(400):
        case = random_case(seed)
        held = held_flow(case)
        run = account(case, held.gpm)
        full = case.full_flow_min
        dry = [stop - max(start, full) for start, stop in dry_stretches(run) if stop > full + 1e-6]
        assert sum(dry) < 1e-4, seed
        begun = [p for p in run.pieces if p.start_min >= full - 1e-9]
        came = sum((p.flow.nursed + p.flow.inflow) * (p.end_min - p.start_min) for p in begun)
        assert held.gpm * case.required_min <= begun[0].on_scene_gal + came + 1e-3, seed


def test_no_larger_flow_holds_and_every_smaller_does() -> None:
    for seed in range(150):
        case = random_case(seed)
        held = held_flow(case)
        top = min(case.line_gpm, max(1.5 * held.gpm, 5.0))
        for gpm in np.linspace(held.gpm * 1.00001 + 0.01, top, 6):
            if held.gpm * 1.000001 < gpm <= case.line_gpm:
                assert largest_ratio(account(case, float(gpm)))[0] < gpm * (1 - 1e-8), (seed, gpm)
        for gpm in np.linspace(0.1, 0.9999, 4) * held.gpm:
            if gpm > 0:
                assert largest_ratio(account(case, float(gpm)))[0] >= gpm * (1 - 1e-8), (seed, gpm)


def test_meets_is_the_same_as_no_gap_from_full_flow_on() -> None:
    for seed in range(400):
        case = random_case(seed, odd=False)
        held = held_flow(case).gpm
        if abs(held - case.required_gpm) < 1e-3:
            continue
        full = case.full_flow_min
        late = sum(stop - max(start, full) for start, stop in dry_stretches(account(case)) if stop > full + 1e-6)
        assert (late < 1e-5) == (held > case.required_gpm), seed


def steady_cases() -> Iterator[Case]:
    """Random fleets on one circuit: one place at either end, all that drive the same trip."""
    for seed in range(45):
        case = random_case(seed, odd=False)
        if len(case.tankers) < 2:
            continue
        tankers = tuple(
            replace(t, out_min=6.0, back_min=5.0, self_fill=False, arrival_min=10.0 + 3 * n, fill_maneuver_min=0.5,
                    dump_maneuver_min=1.0)
            for n, t in enumerate(case.tankers)
        )  # fmt: skip
        yield replace(
            case, tankers=tankers, positions=1, site_gpm=math.inf, storage_gal=math.inf, fill_engine_arrival_min=8.0,
            dump_engine_arrival_min=9.0, attack_arrival_min=8.0,
        )  # fmt: skip


def test_the_long_run_is_the_closed_form() -> None:
    """One place at either end: never above by more than the edge of the count, and within 3 % below."""
    shares = []
    for case in steady_cases():
        steady = sustained(
            11.0, handling_of(case.tankers), np.ones(len(case.tankers), dtype=bool), positions=1, site_gpm=1e9,
            dump_places=1,
        )  # fmt: skip
        shares.append(long_run_gpm(case) / float(steady.sustained_gpm))
    assert len(shares) > 25
    assert max(shares) < 1.01
    assert min(shares) > 0.97


def test_more_tankers_of_one_kind_never_bring_less() -> None:
    one = replace(one_tanker().tankers[0], portable_gal=0.0)
    for seed in range(40):
        rng = np.random.default_rng(seed)
        arrivals = np.sort(rng.uniform(8, 40, 6))
        fleet = tuple(replace(one, unit_id=f"T{n}", arrival_min=float(a)) for n, a in enumerate(arrivals))
        room = (PortableTank(6.0, float(rng.uniform(300, 4000))),)
        flows = [held_flow(one_tanker(tankers=fleet[:n], other_tanks=room)).gpm for n in range(7)]
        assert all(b >= a * (1 - 1e-7) for a, b in pairwise(flows)), (seed, flows)


def test_a_level_is_never_below_the_one_under_it_with_tankers_left_out() -> None:
    left = 0
    for seed in range(40):
        case = random_case(seed, odd=False)
        queue = sorted(case.order, key=lambda t: (t.arrival_min, t.unit_id))
        flow, used = 0.0, frozenset[str]()
        for count in (2, 4, 6):
            held, out = best_flow(replace(case, tankers=tuple(queue[:count])), used)
            used = frozenset(t.unit_id for t in queue[:count]) - set(out)
            brings = brought_gpm(replace(case, tankers=tuple(t for t in queue if t.unit_id in used)), held.gpm)
            assert brings >= flow * (1 - 1e-9), seed
            flow = brings
            left += len(out)
    assert left > 0  # the rule does something


def shifted(case: Case, minutes: float) -> Case:
    """Let everybody come later by the same."""
    fill = case.fill_engine_arrival_min
    return replace(
        case,
        tankers=tuple(replace(t, arrival_min=t.arrival_min + minutes) for t in case.tankers),
        attack_arrival_min=case.attack_arrival_min + minutes,
        dump_engine_arrival_min=case.dump_engine_arrival_min + minutes,
        fill_engine_arrival_min=None if fill is None else fill + minutes,
        hose_ready_min=case.hose_ready_min + minutes,
        other_tanks=tuple(replace(t, arrival_min=t.arrival_min + minutes) for t in case.other_tanks),
    )


@pytest.mark.parametrize("seed", range(0, 200, 4))
def test_the_clock_may_start_anywhere(seed: int) -> None:
    """Everybody a week later: the same flows, though a minute then has fewer digits to spare."""
    case = random_case(seed)
    week = shifted(case, 10_080.0)
    assert held_flow(week).gpm == pytest.approx(held_flow(case).gpm, rel=1e-6, abs=2e-3)
    assert gap_min(week) == pytest.approx(gap_min(case), abs=1e-5, nan_ok=True)


def test_the_clock_never_stands_still_late_in_the_day() -> None:
    """A rest of water that flows within less than the clock can tell at minute 10,000 must not stop it."""
    case = one_tanker(room_fraction=1.0, dead_fraction=0.07, required_gpm=0.01, required_min=120.0)
    assert held_flow(shifted(case, 10_000.0)).gpm == pytest.approx(held_flow(case).gpm, rel=1e-6)
