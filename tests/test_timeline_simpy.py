"""The timeline against an independent model written with SimPy, event for event, queues and room included."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from preplan.water.timeline import Case, account, answer, dry_stretches
from tests.timeline_cases import GOLDEN, golden, golden_called, random_case, split_case
from tests.timeline_model import Model

SEEN = {"on scene", "nurses", "takes dump place", "dumps", "empty", "at fill site", "takes fill place", "full"}


def events_differ(case: Case) -> str:
    """Compare who did what at which minute, each unit by itself; '' where all agree."""
    run, model = account(case), Model(case).run()
    last = case.end_min - 1e-3
    ours = sorted((e.unit_id, e.minute, e.what) for e in run.events if e.what in SEEN and e.minute < last)
    theirs = sorted((unit_id, minute, what) for minute, unit_id, what in model.log if minute < last)
    by_unit = [sorted(side, key=lambda e: (e[0], round(e[1], 3), e[2])) for side in (ours, theirs)]
    if [(e[0], e[2]) for e in by_unit[0]] != [(e[0], e[2]) for e in by_unit[1]]:
        return "other events"
    late = max((abs(a[1] - b[1]) for a, b in zip(*by_unit, strict=True)), default=0.0)
    return f"{late} min apart" if late > 1e-4 else ""


def test_random_fleets_agree_event_for_event() -> None:
    loads = waits = slowed = nurses = 0
    for seed in range(600):
        case = random_case(seed)
        assert events_differ(case) == "", seed
        trucks = account(case).trucks
        loads += sum(t.loads for t in trucks)
        waits += sum(t.fill_wait_min + t.dump_wait_min > 0 for t in trucks)
        slowed += sum(t.room_wait_min > 0 for t in trucks)
        nurses += case.nurse() is not None
    assert min(loads, waits, slowed) > 500  # the cases have queues and full tanks in them
    assert nurses > 50


def test_fleets_split_over_two_fill_sites_agree_event_for_event() -> None:
    both = waits = dry = 0
    for seed in range(250):
        case = split_case(seed)
        assert events_differ(case) == "", seed
        run = account(case)
        both += len({t.site for t in run.trucks if t.refilled}) == 2
        waits += sum(t.fill_wait_min > 0 for t in run.trucks if t.site == 1)
        dry += run.sources[-1].empty_min > 0
    assert min(both, waits) > 80  # both sites fill, and tankers queue at the second one too
    assert dry > 6


@pytest.mark.parametrize("draw", [random_case, split_case])
def test_random_fleets_agree_in_the_books(draw: Callable[[int], Case]) -> None:
    for seed in range(300 if draw is random_case else 80):
        case = draw(seed)
        run, model = account(case), Model(case).run()
        dry = sum(stop - start for start, stop in dry_stretches(run))
        assert dry == pytest.approx(model.dry_min, abs=1e-3), seed
        assert run.ground.delivered_gal == pytest.approx(model.delivered_gal, abs=0.1), seed
        assert run.dumped_gal == pytest.approx(model.dumped_gal, abs=0.1), seed
        assert run.ground.dead_gal == pytest.approx(model.under_strainer_gal, abs=0.1), seed
        found = answer(case)
        assert found.established_min == pytest.approx(model.established_min, abs=1e-4, nan_ok=True), seed
        assert found.on_scene_gal == pytest.approx(model.on_scene_at_full_gal, abs=0.1), seed
        assert found.short_gal == pytest.approx(model.short_gal, abs=0.1), seed
        assert found.nothing_min == pytest.approx(model.nothing_min, abs=1e-3), seed


@pytest.mark.parametrize("draw", [random_case, split_case])
def test_the_uninterrupted_flow_holds_in_the_model_too_and_more_does_not(draw: Callable[[int], Case]) -> None:
    for seed in range(200 if draw is random_case else 60):
        case = draw(seed)
        held = answer(case)
        if held.limited_by in {"draft", "supply line"} or held.uninterrupted_gpm == 0:
            continue
        before = Model(case, held.uninterrupted_gpm * 1e-9).run().dry_min  # dry minutes before F are the same in all
        assert Model(case, held.uninterrupted_gpm * (1 - 1e-6)).run().dry_min - before < 0.01, seed
        assert Model(case, held.uninterrupted_gpm * 1.001).run().dry_min - before > 1e-4, seed


@pytest.mark.parametrize(
    ("case", "dry", "short"),
    [
        (golden(GOLDEN[:2]), 55.3, 27650),
        (golden(GOLDEN[:4]), 1.3, 650),
        (golden(GOLDEN), 0, 0),
        (golden_called(4, 12), 6.7, 3350),
        (golden_called(6, 12), 1.9, 950),
    ],
)
def test_the_worked_example_in_the_model(case: Case, dry: float, short: float) -> None:
    model = Model(case).run()
    assert model.dry_min == pytest.approx(dry, abs=1e-4)
    assert model.short_gal == pytest.approx(short, abs=0.1)
    assert model.on_scene_at_full_gal == pytest.approx(answer(case).on_scene_gal)
    assert events_differ(case) == ""
