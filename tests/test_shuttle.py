"""The steady shuttle: worked examples, the standard's own form, all subsets, and an independent queue simulation."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pytest
import simpy
from hypothesis import given, settings
from hypothesis import strategies as st

from preplan.records import Unit
from preplan.rules import ShuttleRules
from preplan.water.shuttle import (
    LIMIT_CODE,
    LIMITS,
    NO_LIMIT,
    Handling,
    Shuttle,
    Tankers,
    best_fleet,
    cap,
    handling,
    limit_words,
    storage_gpm,
    sustained,
)

INF = float("inf")
GOLDEN = Handling(
    usable_gal=np.array([1800.0, 2700.0] * 3),
    fill_hold_min=np.array([4.0, 5.0] * 3),
    dump_hold_min=np.array([3.0, 4.0] * 3),
    maneuver_min=0.0,
)
"""The six tankers of the worked example: 2,000 and 3,000 gal in turn, 900 gpm at either end, trip 6 + 4 min."""
SIX = np.arange(6)


def tankers(
    tank_gal: list[float], *, usable: float = 0.9, dump_gpm: float = 1000.0, self_fill_gpm: float = np.nan
) -> Tankers:
    each = np.ones(len(tank_gal))
    return Tankers(
        tank_gal=np.array(tank_gal), usable_fraction=each * usable, dump_gpm=each * dump_gpm, intake_gpm=each * 1000.0,
        self_fill_gpm=each * self_fill_gpm,
    )  # fmt: skip


def golden(present: Any, *, positions: int = 1) -> Shuttle:
    return sustained(10.0, GOLDEN, np.asarray(present), positions=positions, site_gpm=900.0, dump_places=1)


def word(shuttle: Shuttle) -> str:
    return str(limit_words(shuttle.limited_by))


# ------------------------------------------------------------------ worked by hand


@pytest.mark.parametrize(
    ("first", "positions", "total", "flow", "limit"),
    [
        (2, 1, 248.0, 4500 / 19, "tankers"),
        (4, 1, 496.0, 9000 / 19, "tankers"),
        (6, 1, 744.0, 13500 / 27, "fill site"),
        (6, 2, 744.0, 13500 / 21, "dump site"),
    ],
)
def test_worked_example(first: int, positions: int, total: float, flow: float, limit: str) -> None:
    """Sums and sustained flows that a hand ledger gives for two, four and six tankers."""
    answer = golden(first > SIX, positions=positions)
    assert answer.sum_gpm == pytest.approx(total, abs=0.06)
    assert answer.sustained_gpm == pytest.approx(flow, rel=1e-12)
    assert word(answer) == limit
    assert answer.cycle_min == pytest.approx(19.0)


def test_published_single_tanker() -> None:
    """3,000 gal less 10 % in a trip of 12 min: 225 gpm (published lesson on water shuttles, W01)."""
    whole = Handling(np.array([2700.0]), np.array([0.0]), np.array([0.0]), 0.0)
    answer = sustained(12.0, whole, np.array([True]), positions=1, site_gpm=INF, dump_places=1)
    assert answer.sustained_gpm == pytest.approx(225.0)


def test_published_lesson_with_handling() -> None:
    """2,250 gal usable, 5.75 min of travel, 9 min of handling: 153 gpm, rounded (same lesson, W02b)."""
    travel_min = 0.65 + 1.7 * 3  # W02a: the lesson counts 0.65 once a trip
    assert travel_min == pytest.approx(5.75)
    own = Handling(np.array([2250.0]), np.array([4.0]), np.array([5.0]), 0.0)
    answer = sustained(travel_min, own, np.array([True]), positions=1, site_gpm=INF, dump_places=1)
    assert round(float(answer.sustained_gpm)) == 153


def test_credit_of_a_tank() -> None:
    """A 2,000 gal tanker counts 1,800 gal (the 90 % rule, W04)."""
    assert handling(tankers([2000.0]), 500.0, ShuttleRules()).usable_gal.tolist() == [1800.0]


def test_recalled_annex_example() -> None:
    """NFPA 1142 annex, recalled from memory, unverified (M01): 1,500 gal, 87 gpm."""
    out_min, back_min = 0.65 + 1.70 * 2.10, 0.65 + 2.00 * 1.80
    assert [out_min, back_min] == pytest.approx([4.22, 4.25])
    own = Handling(np.array([0.9 * 1500.0]), np.array([4.0]), np.array([3.0]), 0.0)
    answer = sustained(out_min + back_min, own, np.array([True]), positions=1, site_gpm=INF, dump_places=1)
    assert float(answer.sustained_gpm) == pytest.approx(87.0, abs=0.3)


@given(
    tank_gal=st.floats(500, 6000), fill_gpm=st.floats(100, 2000), dump_gpm=st.floats(100, 3000),
    t1_min=st.floats(0, 60), t2_min=st.floats(0, 60), hookup=st.floats(0, 5), maneuver=st.floats(0, 5),
)  # fmt: skip
@settings(max_examples=100, deadline=None)
def test_the_standards_form(
    tank_gal: float, fill_gpm: float, dump_gpm: float, t1_min: float, t2_min: float, hookup: float, maneuver: float
) -> None:
    """Q = V / (A + T1 + T2 + B) - 10 %, A and B the whole time at either end, is one tanker's flow."""
    rules = ShuttleRules(fill_hookup_min=hookup, dump_maneuver_min=maneuver)
    a_min = maneuver + rules.dump_hookup_min + 0.9 * tank_gal / dump_gpm
    b_min = rules.fill_maneuver_min + hookup + 0.9 * tank_gal / min(fill_gpm, 1000.0)
    q_gpm = tank_gal / (a_min + t1_min + t2_min + b_min)
    own = handling(tankers([tank_gal], dump_gpm=dump_gpm), fill_gpm, rules)
    answer = sustained(t1_min + t2_min, own, np.array([True]), positions=1, site_gpm=fill_gpm, dump_places=1)
    assert float(answer.sustained_gpm) == pytest.approx(q_gpm - 0.10 * q_gpm, rel=1e-9)
    assert float(answer.sum_gpm) == pytest.approx(float(answer.sustained_gpm), rel=1e-9)


def test_vacuum_tanker_fills_itself() -> None:
    """The shorter hook-up; its own rate, at most the site's; not the intake of a tank that is filled by others."""
    own = handling(tankers([2000.0], usable=1.0, self_fill_gpm=800.0), np.array([500.0, 2000.0]), ShuttleRules())
    assert own.fill_hold_min[:, 0].tolist() == [0.5 + 2000 / 500, 0.5 + 2000 / 800]


def test_tankers_of_units() -> None:
    """Records become columns; only a vacuum tanker has a rate of its own."""
    unit = Unit(
        unit_id="T1", station_id="S", kind="tanker", tank_gal=2000, pump_gpm=None, dump_gpm=900, intake_gpm=800,
        self_fill_gpm=None, loaded_lb=4e4, empty_lb=2e4, axle_lb=2e4, height_ft=10, width_ft=8, max_mph=60,
        portable_tank_gal=0, usable_fraction=0.9, supply_hose_ft=0, supply_hose_in=3,
    )  # fmt: skip
    both = Tankers.of([unit, replace(unit, self_fill_gpm=600.0)])
    assert len(both) == 2
    assert both.dump_gpm.tolist() == [900.0, 900.0]
    assert np.isnan(both.self_fill_gpm).tolist() == [True, False]


# ------------------------------------------------------------------ terms, ties, caps


def test_equal_terms_name_the_first() -> None:
    """Longest cycle, fill site, source, dump site: the first of equals is named."""
    level = Handling(np.array([1000.0, 1000.0]), np.array([5.0, 5.0]), np.array([5.0, 5.0]), 0.0)
    two = np.array([True, True])
    assert word(sustained(0.0, level, two, positions=1, site_gpm=200.0, dump_places=1)) == "tankers"
    fast = replace(level, fill_hold_min=np.array([4.0, 6.0]), dump_hold_min=np.array([4.0, 6.0]))
    assert word(sustained(-5.0, fast, two, positions=1, site_gpm=200.0, dump_places=1)) == "fill site"
    assert word(sustained(-5.0, fast, two, positions=2, site_gpm=200.0, dump_places=1)) == "source"
    assert word(sustained(-5.0, fast, two, positions=2, site_gpm=900.0, dump_places=1)) == "dump site"


def test_nobody_and_no_way() -> None:
    """Nobody: 0 gpm for want of tankers. No way: 0 gpm and nothing to limit."""
    for solve in (sustained, best_fleet):
        nobody = solve(10.0, GOLDEN, np.zeros(6, dtype=bool), positions=1, site_gpm=900.0, dump_places=1)
        assert (float(nobody.sustained_gpm), float(nobody.sum_gpm), word(nobody)) == (0.0, 0.0, "tankers")
        assert np.isnan(nobody.cycle_min)
        no_way = solve(INF, GOLDEN, np.ones(6, dtype=bool), positions=1, site_gpm=900.0, dump_places=1)
        assert (float(no_way.sustained_gpm), float(no_way.sum_gpm), word(no_way)) == (0.0, 0.0, "")
        assert int(no_way.limited_by) == NO_LIMIT
        assert not no_way.used.any()


def test_a_dry_site_gives_nothing() -> None:
    """A fill rate or a site rate of 0 is 0 gpm, not an error."""
    own = handling(tankers([2000.0, 3000.0]), np.array([0.0, 500.0]), ShuttleRules())
    for solve in (sustained, best_fleet):
        answer = solve(10.0, own, np.ones(2, dtype=bool), positions=1, site_gpm=np.array([500.0, 0.0]), dump_places=1)
        assert answer.sustained_gpm == pytest.approx([0.0, 0.0], abs=1e-9)


def test_caps_rename_only_where_they_bite() -> None:
    """The least of flow and cap; an unknown cap caps nothing."""
    two = golden(SIX < 2)
    assert float(cap(two, 200.0, LIMIT_CODE["draft"]).sustained_gpm) == 200.0
    assert word(cap(two, 200.0, LIMIT_CODE["draft"])) == "draft"
    assert word(cap(two, 4500 / 19, LIMIT_CODE["draft"])) == "tankers"
    assert float(cap(two, np.nan, LIMIT_CODE["supply line"]).sustained_gpm) == pytest.approx(4500 / 19)
    assert [LIMITS[code] for code in LIMIT_CODE.values()] == list(LIMITS)


def test_storage() -> None:
    """30,000 gal hold 250 gpm for 2 h (published, W10a); refill adds; unknown storage is no cap."""
    assert storage_gpm(np.array([30000.0, 30000.0, np.nan]), np.array([np.nan, 100.0, 5.0]), 120.0).tolist() == [
        250.0,
        350.0,
        INF,
    ]


def test_axes_broadcast_and_pieces_agree(monkeypatch: pytest.MonkeyPatch) -> None:
    """Addresses x sites x levels: each cell equals the single question, cut into pieces or not."""
    rng = np.random.default_rng(4)
    trip = rng.uniform(2, 50, (5, 3, 1))
    trip[2, 1] = INF
    present = rng.random((5, 1, 4, 6)) < 0.6
    own = handling(tankers([1500.0, 3000, 2000, 2500, 1000, 3500]), rng.uniform(200, 900, (3, 1)), ShuttleRules())
    rest: dict[str, Any] = {
        "positions": np.array([[1], [2], [1]]),
        "site_gpm": np.full((3, 1), 700.0),
        "dump_places": 1,
    }
    whole = best_fleet(trip, own, present, **rest)
    monkeypatch.setattr("preplan.water.shuttle._PIECE", 100)
    pieces = best_fleet(trip, own, present, **rest)
    assert whole.used.shape == (5, 3, 4, 6)
    assert np.array_equal(whole.used, pieces.used)
    assert np.array_equal(whole.sustained_gpm, pieces.sustained_gpm)
    for a, s, level in itertools.product(range(5), range(3), range(4)):
        one = best_fleet(
            trip[a, s, 0], replace(own, fill_hold_min=own.fill_hold_min[s, 0]), present[a, 0, level],
            positions=[1, 2, 1][s], site_gpm=700.0, dump_places=1,
        )  # fmt: skip
        assert float(one.sustained_gpm) == pytest.approx(float(whole.sustained_gpm[a, s, level]))
        assert one.used.tolist() == whole.used[a, s, level].tolist()
        assert int(one.limited_by) == int(whole.limited_by[a, s, level])


# ------------------------------------------------------------------ who is left out


def test_a_slow_tanker_is_left_out() -> None:
    """One tanker with a slow dump drags the convoy; without it the flow is higher, and that is what is taken."""
    own = Handling(np.array([2700.0, 2700.0, 900.0]), np.array([4.0, 4.0, 2.0]), np.array([3.0, 3.0, 20.0]), 0.0)
    everyone = np.ones(3, dtype=bool)
    with_it = sustained(10.0, own, everyone, positions=1, site_gpm=900.0, dump_places=1)
    best = best_fleet(10.0, own, everyone, positions=1, site_gpm=900.0, dump_places=1)
    assert float(with_it.sustained_gpm) == pytest.approx(6300 / 32)
    assert float(best.sustained_gpm) == pytest.approx(5400 / 17)
    assert best.used.tolist() == [True, True, False]


def random_fleet(rng: np.random.Generator, most: int) -> Handling:
    n = int(rng.integers(1, most + 1))
    fleet = Tankers(
        tank_gal=rng.choice([1000.0, 1500, 2000, 2500, 3000, 3500, 4000], n), usable_fraction=np.full(n, 0.9),
        dump_gpm=rng.choice([300.0, 500, 1000, 1500], n), intake_gpm=rng.choice([300.0, 500, 1000], n),
        self_fill_gpm=np.full(n, np.nan),
    )  # fmt: skip
    return handling(fleet, float(rng.choice([300.0, 500, 1000])), ShuttleRules())


def test_best_fleet_against_all_subsets() -> None:
    """2,000 random mixed fleets of up to six: never below the whole fleet, and the best subset nearly always."""
    rng = np.random.default_rng(20)
    short = []
    for _ in range(2000):
        own = random_fleet(rng, 6)
        n = len(own.usable_gal)
        case: dict[str, Any] = {
            "positions": int(rng.integers(1, 3)), "site_gpm": float(rng.choice([300.0, 500, 1000, 2000])),
            "dump_places": 1,
        }  # fmt: skip
        trip = rng.uniform(2, 40)
        best = best_fleet(trip, own, np.ones(n, dtype=bool), **case)
        subsets = np.array(list(itertools.product([False, True], repeat=n)))
        each = sustained(trip, own, subsets, **case).sustained_gpm
        again = sustained(trip, own, best.used, **case)
        assert float(again.sustained_gpm) == pytest.approx(float(best.sustained_gpm))
        assert float(best.sustained_gpm) >= float(each[-1]) * (1 - 1e-9)
        assert float(best.sustained_gpm) <= float(each.max()) * (1 + 1e-9)
        short.append(1 - float(best.sustained_gpm) / float(each.max()))
    missed = [s for s in short if s > 1e-9]
    print(f"best_fleet: {len(missed)} of {len(short)} below the best subset, worst {max(short):.1%}")  # noqa: T201 - the figures, shown by pytest -s
    assert len(missed) <= 4
    assert max(short) < 0.06


# ------------------------------------------------------------------ an independent queue simulation


@dataclass
class Queue:
    """Tankers on one circuit, first come first served at both ends, written with SimPy: no formula of ours."""

    own: Handling
    trip_min: float
    positions: int
    rounds: int
    dumped: list[tuple[float, int]] = field(default_factory=list)
    """End of each dump in minutes, and whose it was."""

    def run(self) -> None:
        """Let every tanker drive its rounds."""
        env = simpy.Environment()
        fill_places = simpy.Resource(env, self.positions)
        dump_places = simpy.Resource(env, 1)
        for which in range(len(self.own.usable_gal)):
            env.process(self.drive(env, fill_places, dump_places, which))
        env.run()

    def drive(self, env: simpy.Environment, fill: simpy.Resource, dump: simpy.Resource, which: int) -> Any:
        """Drive one tanker: fill, way out, dump, way back."""
        leg_min = self.trip_min / 2 + float(np.asarray(self.own.maneuver_min)) / 2
        for _ in range(self.rounds):
            with fill.request() as place:
                yield place
                yield env.timeout(self.own.fill_hold_min[which])
            yield env.timeout(leg_min)
            with dump.request() as place:
                yield place
                yield env.timeout(self.own.dump_hold_min[which])
            self.dumped.append((env.now, which))
            yield env.timeout(leg_min)

    def rate_gpm(self, warm: int) -> float:
        """Measure while every tanker is still driving, over whole rounds of the one that drives the fewest."""
        ends = {which: [t for t, w in self.dumped if w == which] for which in range(len(self.own.usable_gal))}
        until = min(times[-1] for times in ends.values())
        slowest = min(ends, key=lambda w: sum(t <= until for t in ends[w]))
        times = [t for t in ends[slowest] if t <= until]
        gal = sum(self.own.usable_gal[w] for t, w in self.dumped if times[warm] < t <= times[-1])
        return float(gal) / (times[-1] - times[warm])

    def gal_until(self, at_min: float) -> float:
        """Count the water dumped until then."""
        return float(sum(self.own.usable_gal[w] for t, w in self.dumped if t <= at_min))


def simulated(positions: int, fleets: int, seed: int) -> list[float]:
    """Return closed form / simulation for random fleets; check that the form is never a load a tanker above."""
    rng = np.random.default_rng(seed)
    ratios = []
    for _ in range(fleets):
        own = random_fleet(rng, 6)
        trip = float(rng.uniform(2, 40))
        queue = Queue(own, trip, positions, rounds=24)
        queue.run()
        everyone = np.ones(len(own.usable_gal), dtype=bool)
        formula = float(sustained(trip, own, everyone, positions=positions, site_gpm=INF, dump_places=1).sustained_gpm)
        until = min(max(t for t, w in queue.dumped if w == tanker) for tanker in range(len(everyone)))
        assert formula * until <= queue.gal_until(until) + own.usable_gal.sum() + 1e-6
        ratios.append(formula / queue.rate_gpm(warm=6))
    return ratios


def test_one_place_within_three_per_cent() -> None:
    """At one place either end the form is within 3 % of the simulation for 99 % of 400 fleets."""
    off = np.abs(np.array(simulated(1, 400, seed=7)) - 1)
    print(f"one place: within 3 % for {np.mean(off <= 0.03):.1%}, worst {off.max():.2%}")  # noqa: T201 - the figures, shown by pytest -s
    assert np.mean(off <= 0.03) >= 0.99


def test_two_places_are_careful() -> None:
    """At two fill places tankers overtake: the form may be careful, never more than 3 % above in 99 % of 200."""
    ratios = np.array(simulated(2, 200, seed=8))
    print(f"two places: {ratios.min():.3f} to {ratios.max():.3f} of the simulation")  # noqa: T201 - the figures, shown by pytest -s
    assert np.mean(ratios <= 1.03) >= 0.99
    assert ratios.min() > 0.6
