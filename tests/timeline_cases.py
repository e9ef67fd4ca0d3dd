"""Timeline cases for tests: the worked example, and random fleets with everything in them."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from preplan.water.shuttle import Handling
from preplan.water.timeline import NEVER, Case, PortableTank, Tanker, account
from preplan.water.timeline_events import Run


def golden_tanker(rank: int, tank_gal: float, arrival_min: float, portable_gal: float = 0.0) -> Tanker:
    """Make a tanker of the worked example: usable 0.9, 900 gpm at either end, 6 min out, 4 min back."""
    return Tanker(
        unit_id=f"T{rank}", arrival_min=arrival_min, usable_gal=0.9 * tank_gal, fill_gpm=900.0, dump_gpm=900.0,
        out_min=6.0, back_min=4.0, fill_hookup_min=2.0, dump_hookup_min=1.0, portable_gal=portable_gal,
    )  # fmt: skip


GOLDEN = (
    golden_tanker(1, 2000, 13, 3000), golden_tanker(2, 3000, 20, 3000), golden_tanker(3, 2000, 24),
    golden_tanker(4, 3000, 30), golden_tanker(5, 2000, 34), golden_tanker(6, 3000, 40),
)  # fmt: skip


def golden(tankers: tuple[Tanker, ...], **changes: Any) -> Case:
    """Make the worked example with some tankers."""
    values: dict[str, Any] = {
        "tankers": tankers, "attack_arrival_min": 10.0, "booster_gal": 1000.0, "dump_engine_arrival_min": 10.0,
        "dump_setup_min": 3.0, "fill_engine_arrival_min": 12.0, "fill_setup_min": 8.0, "site_gpm": 900.0,
        "required_gpm": 500.0, "required_min": 120.0,
    }  # fmt: skip
    return Case(**(values | changes))


def golden_called(count: int, minute: float) -> Case:
    """Make the worked example with the tankers beyond the first two alerted at a minute."""
    later = tuple(replace(t, arrival_min=t.arrival_min + minute) for t in GOLDEN[2:count])
    return golden(GOLDEN[:2] + later)


def random_case(seed: int, *, odd: bool = True, grid: bool = False, mixed: bool = False) -> Case:
    """Draw a small case. `grid`: quarter minutes, so minutes coincide; `odd`: some with two dump places."""
    rng = random.Random(seed)  # noqa: S311 - not for secrets
    fill_gpm = rng.choice([250.0, 500.0, 1000.0])
    number = _numbers(rng, grid=grid)
    positions = rng.choice([1, 1, 1, 2, 3])
    count = rng.randint(0, 6)
    vacuum = rng.random() < 0.1
    hookup = number(0, 2)
    ranks = rng.sample(range(count), count)
    tankers = tuple(_random_tanker(rng, number, rank, fill_gpm, vacuum=vacuum, hookup=hookup) for rank in ranks)
    if mixed and count > 1:
        tankers = (replace(tankers[0], self_fill=not vacuum), *tankers[1:])
    return Case(
        tankers=tankers,
        attack_arrival_min=number(3, 15),
        booster_gal=rng.choice([0.0, 500.0, 1000.0]),
        dump_engine_arrival_min=number(3, 30) if rng.random() < 0.95 else NEVER,
        fill_engine_arrival_min=_sometimes(rng, number(5, 30)),
        required_gpm=rng.choice([100.0, 250.0, 500.0, 1000.0]),
        required_min=rng.choice([30.0, 60.0, 120.0]),
        required_gal=rng.choice([math.nan, 3000.0, 12000.0]),
        dump_setup_min=number(2, 6),
        tank_setup_min=number(1, 4),
        fill_setup_min=number(1, 8),
        positions=positions,
        dump_places=rng.choice([1, 1, 1, 2]) if odd else 1,
        site_gpm=rng.choice([fill_gpm, fill_gpm * positions, math.inf, 750.0]),
        storage_gal=rng.choice([math.inf, math.inf, math.inf, 5000.0, 20000.0]),
        refill_gpm=rng.choice([0.0, 100.0, 300.0]),
        room_fraction=rng.choice([1.0, 0.8]),
        dead_fraction=rng.choice([0.0, 0.07]),
        draft_gpm=rng.choice([math.inf, 1000.0, 300.0]),
        supply_gpm=rng.choice([math.inf, 120.0, 450.0]),
        other_tanks=tuple(PortableTank(number(3, 20), rng.choice([1000.0, 2000.0])) for _ in range(rng.randint(0, 1))),
        hose_ready_min=rng.choice([0.0, number(3, 25), number(3, 25)]),
    )


def crowded_case(seed: int) -> Case:
    """Draw a small case of a store with several places, where tankers of many rates and hook-ups slow each other."""
    case = (random_case, split_case)[seed % 2](seed, odd=False, grid=seed % 3 == 0, mixed=seed % 4 == 0)
    rng = random.Random(1_000_000 + seed)  # noqa: S311 - not for secrets
    tankers = tuple(
        replace(
            one,
            fill_gpm=one.fill_gpm * rng.choice([1.0, 0.5, 1.5]),
            fill_hookup_min=one.fill_hookup_min + rng.choice([0.0, 0.0, 0.5, 1.25]),
        )
        for one in case.tankers
    )
    return replace(
        case,
        tankers=tankers,
        positions=rng.choice([2, 3]),
        storage_gal=rng.choice([math.inf, 3000.0, 8000.0, 20000.0, 60000.0]),
        refill_gpm=rng.choice([0.0, 50.0, 300.0]),
        second_positions=rng.choice([1, 2, 3]),
        second_storage_gal=rng.choice([math.inf, 4000.0, 20000.0]),
    )


def many_places_case(seed: int, *, mixed: bool | None = None) -> Case:
    """Draw a small case of two or three dump places, where tankers of many rates share what portable tanks take."""
    mixed = seed % 4 == 0 if mixed is None else mixed
    case = (
        crowded_case(seed)
        if seed % 3 == 0
        else (random_case, split_case)[seed % 2](seed, grid=seed % 5 < 2, mixed=mixed)
    )
    rng = random.Random(10_000_000 + seed)  # noqa: S311 - not for secrets
    tankers = tuple(
        replace(
            one,
            dump_gpm=one.dump_gpm * rng.choice([1.0, 0.5, 0.2, 1.5]),
            dump_hookup_min=one.dump_hookup_min + rng.choice([0.0, 0.0, 0.5, 1.25]),
        )
        for one in case.tankers
    )
    return replace(case, tankers=tankers, dump_places=rng.choice([2, 2, 3]))


def vacuum_between_case(seed: int) -> Case:
    """Draw a case of several dump places and a late fill engine: who fills himself may overtake who waits for it."""
    case = random_case(seed, odd=False, grid=seed % 5 < 2, mixed=True)
    rng = random.Random(30_000_000 + seed)  # noqa: S311 - not for secrets
    tankers = tuple(
        replace(
            one,
            self_fill=rng.random() < 0.4,
            dump_gpm=one.dump_gpm * rng.choice([1.0, 0.5, 0.2]),
            out_min=rng.uniform(1, 4),
            back_min=rng.uniform(1, 4),
        )
        for one in case.tankers
    )
    return replace(
        case, tankers=tankers, dump_places=rng.choice([2, 3]), positions=rng.choice([1, 1, 2]), storage_gal=math.inf,
        fill_engine_arrival_min=rng.uniform(25, 45), dump_engine_arrival_min=rng.uniform(5, 15),
        attack_arrival_min=rng.uniform(4, 10),
    )  # fmt: skip


def split_case(seed: int, *, odd: bool = True, grid: bool = False, mixed: bool = False) -> Case:
    """Draw a small case in which some tankers fill at a second site of its own kind, rate, store and distance."""
    case = random_case(seed, odd=odd, grid=grid, mixed=mixed)
    rng = random.Random(-1 - seed)  # noqa: S311 - not for secrets
    number = _numbers(rng, grid=grid)
    fill_gpm = rng.choice([250.0, 500.0, 1000.0])
    positions = rng.choice([1, 1, 1, 2])
    out_min, back_min, hookup = number(1, 15), number(1, 15), number(0, 2)

    def at_second(tanker: Tanker) -> Tanker:
        return replace(
            tanker, second_site=True, fill_gpm=fill_gpm, out_min=out_min, back_min=back_min,
            fill_hookup_min=tanker.fill_hookup_min if tanker.self_fill else hookup,
        )  # fmt: skip

    return replace(
        case,
        tankers=tuple(at_second(t) if rng.random() < 0.5 else t for t in case.tankers),
        second_engine_arrival_min=_sometimes(rng, number(5, 30)),
        second_setup_min=number(1, 8),
        second_positions=positions,
        second_site_gpm=rng.choice([fill_gpm, fill_gpm * positions, math.inf, 750.0]),
        second_storage_gal=rng.choice([math.inf, math.inf, math.inf, 5000.0, 20000.0]),
        second_refill_gpm=rng.choice([0.0, 100.0, 300.0]),
    )


def _numbers(rng: random.Random, *, grid: bool) -> Callable[[int, int], float]:
    def number(low: int, high: int) -> float:
        return rng.randint(low * 4, high * 4) / 4 if grid else rng.uniform(low, high)

    return number


def _sometimes(rng: random.Random, minute: float) -> float | None:
    """Let a fill engine come, or not be needed, or not come at all."""
    return rng.choice([None, *[minute] * 12, NEVER])


def _random_tanker(
    rng: random.Random, number: Callable[[int, int], float], rank: int, fill_gpm: float, *, vacuum: bool, hookup: float
) -> Tanker:
    return Tanker(
        unit_id=f"T{rank}",
        arrival_min=number(4, 50),
        usable_gal=rng.choice([900.0, 1800.0, 2250.0, 2700.0]) + number(0, 500),
        fill_gpm=fill_gpm if rng.random() < 0.6 else rng.choice([500.0, 1000.0]),
        dump_gpm=rng.choice([500.0, 1000.0, 1250.0]),
        out_min=number(1, 15),
        back_min=number(1, 15),
        fill_hookup_min=hookup,
        dump_hookup_min=number(0, 1),
        fill_maneuver_min=number(0, 1),
        dump_maneuver_min=number(0, 2),
        portable_gal=rng.choice([0.0, 1500.0, 2500.0, 3000.0]),
        has_pump=rng.random() < 0.4,
        pump_gpm=rng.choice([100.0, 250.0, 500.0, NEVER]),
        self_fill=vacuum,
    )


def minutes_of(run: Run, unit_id: str, what: str) -> list[float]:
    """List the minutes of one kind of event of one unit."""
    return [event.minute for event in run.events if event.unit_id == unit_id and event.what == what]


def one_tanker(**changes: object) -> Case:
    """Make a case of one tanker, round numbers: 1,000 gal, dump at 500 gpm, 5 min each way."""
    tanker = Tanker(
        unit_id="T1", arrival_min=10, usable_gal=1000, fill_gpm=500, dump_gpm=500, out_min=5, back_min=5,
        fill_hookup_min=1, dump_hookup_min=1, portable_gal=2000,
    )  # fmt: skip
    values: dict[str, object] = {
        "tankers": (tanker,), "attack_arrival_min": 5.0, "booster_gal": 750.0, "dump_engine_arrival_min": 6.0,
        "fill_engine_arrival_min": 8.0, "required_gpm": 250.0, "required_min": 60.0,
    }  # fmt: skip
    return Case(**(values | changes))  # type: ignore[arg-type]


def handling_of(tankers: tuple[Tanker, ...]) -> Handling:
    """Write the handling of tankers as the closed form takes it."""
    return Handling(
        usable_gal=np.array([t.usable_gal for t in tankers]),
        fill_hold_min=np.array([t.fill_hookup_min + t.usable_gal / t.fill_gpm for t in tankers]),
        dump_hold_min=np.array([t.dump_hookup_min + t.usable_gal / t.dump_gpm for t in tankers]),
        maneuver_min=np.array([t.fill_maneuver_min + t.dump_maneuver_min for t in tankers]),
    )


def long_run_gpm(case: Case) -> float:
    """Average dumped over the second half of fifty hours with room, line and demand that bind nowhere."""
    tankers = tuple(replace(t, portable_gal=0.0) for t in case.tankers)
    free = replace(
        case, tankers=tankers, other_tanks=(PortableTank(0.0, 1e9),), required_gpm=1e5, required_min=3000.0,
        draft_gpm=math.inf, supply_gpm=math.inf, dead_fraction=0.0,
    )  # fmt: skip
    events = [e for e in account(free).events if e.what == "empty" and e.minute > 1500]
    return (events[-1].dumped_gal - events[0].dumped_gal) / (events[-1].minute - events[0].minute)
