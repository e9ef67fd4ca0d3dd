"""The timeline of the sample's plan, done again: each case is laid out anew from the tables and run plainly."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.planning.response import depart_min
from preplan.records import FloatArray
from preplan.water.shuttle import LIMITS
from preplan.water.timeline import Case, PortableTank, Tanker, answer, call_by_min
from preplan.water.timeline_batch import gaps, held_flows, one_out_gpm, queues
from preplan.water.timeline_table import CaseTable
from tests import plan_checks
from tests.plan_checks import SAMPLE, line_of_crew
from tests.timeline_cases import long_run_gpm

SETUP_MIN = {"dry hydrant": 5.0, "cistern": 5.0, "draft": 8.0}
FIRST = {"engine_arrival_min": "fill_engine_arrival_min", "setup_min": "fill_setup_min"}
EVERY = 21
"""Every so manieth address is done again by the plain account, which takes its time."""
SHOWN_WORDS = "first_water_min", "established_min", "gap_min", "short_gal", "mws_by_min"
QUEUE_WORDS = "loads", "fill_wait_min", "dump_wait_min", "room_wait_min"


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_checks.plan_of(SAMPLE / "district.toml")


@dataclass(frozen=True)
class Question:
    """One address and level of the plan."""

    plan: Plan
    address: int
    level: int
    by_order: bool = False
    """Jobs by the order of engines alone: the attack engine drafts only where none is left for it."""

    def cell(self, column: str) -> int:
        """Look up an index of the level table."""
        return int(getattr(self.plan.levels, column)[self.address, self.level])

    def when(self, unit: int, call_min: float) -> float:
        """Arrival of a unit that is alerted at `call_min` where the first level does not send it."""
        first = self.plan.levels.fleet[self.address, 0, unit]
        return float(self.plan.arrival_min[self.address, unit]) + (0.0 if first else call_min)

    def on_kept_trips(self) -> bool:
        """Tell whether all tankers drive the trips that are kept: levels of another cut have times of their own."""
        used, there = (mask[self.address, self.level] for mask in (self.plan.levels.used, self.plan.levels.at_split))
        for trip, mask in (("trip", used & ~there), ("split_trip", there)):
            held = self.plan.cuts[int(self.plan.trips.cut[self.cell(trip)])].unit_ids if mask.any() else ()
            if not {self.plan.units[u].unit_id for u in np.flatnonzero(mask).tolist()} <= set(held):
                return False
        return bool(used.any())

    @property
    def attack(self) -> int:
        """The attack engine."""
        return self.cell("attack_engine")

    def jobs(self, call_min: float = 0.0) -> tuple[int, int, int]:
        """Deal the engines anew, by hand: of the rest the soonest at the site, here, and at the second site.

        Where none is left for that, the attack engine drafts if it is near, and the one that would have goes. The plan
        says where it drafts for the sake of more water: `test_attack_engine_drafts_only_where_others_bring_less`.
        """
        plan, a, site = self.plan, self.address, self.cell("site")
        sent = plan.levels.fleet[a, self.level] & ~plan.levels.tankers[a, self.level]
        rest = [u for u in np.flatnonzero(sent).tolist() if u != self.attack]
        near = plan.frontages.driveway_ft[a] <= plan.district.rules.shuttle.one_engine_reach_ft
        late = {u: 0.0 if plan.levels.fleet[a, 0, u] else call_min for u in rest}
        fill = -1
        if plan.sites[site].needs_engine and (len(rest) >= 2 or (len(rest) == 1 and near)):
            fill = min(rest, key=lambda u: (plan.site_arrival_min[site, u] + late[u], u))
            rest.remove(fill)
        drafts = self.cell("dump_engine") == self.attack and near and not self.by_order
        by_arrival = [] if drafts else sorted(rest, key=lambda u: (plan.arrival_min[a, u] + late[u], u))
        dump = by_arrival[0] if by_arrival else self.attack if near else -1
        second = self.cell("split")
        if second < 0 or not plan.sites[second].needs_engine:
            return fill, dump, -1
        rest = [u for u in rest if u != dump]
        if not rest and near and dump not in {-1, self.attack}:
            return fill, self.attack, dump
        return fill, dump, min(rest, key=lambda u: (plan.site_arrival_min[second, u] + late[u], u), default=-1)

    def case(self, call_min: float = 0.0) -> Case:
        """Lay the case out, the units beyond the first level alerted at `call_min`."""
        plan, a = self.plan, self.address
        fill, dump, engine = self.jobs(call_min)
        draft, line, line_min, nurse_gpm, hose_min = self.lines((fill, dump, engine), call_min)
        first = self.site(self.cell("site"), fill, call_min)
        second = self.site(self.cell("split"), engine, call_min) if self.cell("split") >= 0 else {}
        there = plan.levels.at_split[a, self.level]
        used = np.flatnonzero(plan.levels.used[a, self.level]).tolist()
        idle = np.flatnonzero(plan.levels.fleet[a, self.level] & ~plan.levels.used[a, self.level]).tolist()
        return Case(
            tankers=tuple(self.tanker(u, call_min, nurse_gpm, second=bool(there[u])) for u in used),
            other_tanks=tuple(
                PortableTank(self.when(u, call_min), plan.units[u].portable_tank_gal)
                for u in idle if plan.units[u].portable_tank_gal and u not in {fill, engine}
            ),
            attack_arrival_min=float(plan.arrival_min[a, self.attack]),
            booster_gal=plan.units[self.attack].tank_gal,
            dump_engine_arrival_min=line_min,
            required_gpm=float(plan.needs.required_gpm[a]),
            required_min=float(plan.needs.required_min[a]),
            required_gal=float(plan.needs.required_gal[a]),
            room_fraction=0.8,
            dead_fraction=0.07,
            draft_gpm=draft,
            supply_gpm=line,
            hose_ready_min=hose_min,
            **{FIRST.get(word, word): value for word, value in first.items()},
            **{f"second_{word}": value for word, value in second.items()},
        )  # fmt: skip

    def site(self, row: int, engine: int, call_min: float) -> dict[str, Any]:
        """Give what a fill site is, with the engine that pumps there."""
        site = self.plan.sites[row]
        return {
            "engine_arrival_min": self.fill_arrival(row, engine, call_min),
            "setup_min": SETUP_MIN.get(site.kind, 2.0) if site.needs_engine else 2.0,
            "positions": site.positions,
            "site_gpm": self.total_gpm(row, engine),
            "storage_gal": np.inf if site.storage_gal is None else site.storage_gal,
            "refill_gpm": site.refill_gpm or 0.0,
        }

    def total_gpm(self, row: int, engine: int) -> float:
        """Give what a fill site gives in all, no more than its engine lifts."""
        site = self.plan.sites[row]
        if engine < 0:
            return site.total_gpm
        return min(site.total_gpm, (self.plan.units[engine].pump_gpm or 0.0) * self.lifted(row))

    def lifted(self, row: int) -> float:
        """Give the share of its rate that a pump, or a tanker's vacuum, brings up at a fill site."""
        lift = self.plan.sites[row].lift_ft
        return 1.0 if lift <= 10 else 1.0 - 0.06 * (lift - 10) if lift <= 15 else 0.7 - 0.02 * (lift - 15)

    def fill_arrival(self, site: int, fill: int, call_min: float) -> float | None:
        """Give the fill engine's arrival at its site; None where the site needs none, inf where none comes."""
        if not self.plan.sites[site].needs_engine:
            return None
        if fill < 0:
            return np.inf
        first = self.plan.levels.fleet[self.address, 0, fill]
        return float(self.plan.site_arrival_min[site, fill]) + (0.0 if first else call_min)

    def tanker(self, unit: int, call_min: float, nurse_gpm: float, *, second: bool) -> Tanker:
        """Lay one tanker out, that fills at the first site or at the second."""
        one, trips = self.plan.units[unit], self.plan.trips
        trip, row = self.cell("split_trip" if second else "trip"), self.cell("split" if second else "site")
        jobs = self.jobs(call_min)
        fill_gpm = min(self.plan.sites[row].fill_gpm, self.total_gpm(row, jobs[2 if second else 0]))
        vacuum = one.self_fill_gpm is not None
        return Tanker(
            unit_id=one.unit_id,
            arrival_min=self.when(unit, call_min),
            usable_gal=one.tank_gal * (1.0 if vacuum else 0.9),
            fill_gpm=min(
                fill_gpm, one.intake_gpm if one.self_fill_gpm is None else one.self_fill_gpm * self.lifted(row)
            ),
            dump_gpm=one.dump_gpm,
            out_min=float(trips.out_min[trip]),
            back_min=float(trips.back_min[trip]),
            fill_hookup_min=0.5 if vacuum else 1.0,
            dump_hookup_min=0.5,
            fill_maneuver_min=1.0,
            dump_maneuver_min=1.5,
            portable_gal=one.portable_tank_gal,
            has_pump=(one.pump_gpm or 0.0) > 0.0,
            pump_gpm=min(one.pump_gpm or 0.0, nurse_gpm),
            self_fill=vacuum,
            second_site=second,
        )

    def lines(self, jobs: tuple[int, int, int], call_min: float) -> tuple[float, float, float, float, float]:
        """Give draft and supply line, gpm, and by when its engines are here; then what a nurse gives, and when."""
        plan, a, attack, dump = self.plan, self.address, self.attack, jobs[1]
        draft = min(plan.units[dump].pump_gpm or 0.0, 1000.0)
        if dump == attack:
            return draft, np.inf, self.when(dump, call_min), np.inf, 0.0
        when = np.array([self.when(u, call_min) for u in range(len(plan.units))])
        return draft, *line_of_crew(plan, a, self.level, jobs, when)


def questions(plan: Plan) -> list[Question]:
    """Take the level shown of every address that has a shuttle, where its trips are the ones kept."""
    found = []
    for a in np.flatnonzero(plan.answers.level >= 0).tolist():
        one = Question(plan, a, int(plan.answers.level[a]))
        crewed = one.cell("site") >= 0 and one.cell("dump_engine") >= 0 and one.cell("trip") >= 0
        if crewed and one.on_kept_trips():
            found.append(one)
    return found


def same_jobs(one: Question) -> bool:
    """Tell whether the plan's engines do what they do here; not where a level does as the one below it does."""
    return one.jobs() == (one.cell("fill_engine"), one.cell("dump_engine"), one.cell("split_engine"))


def test_every_answer_is_that_of_its_case_laid_out_anew(plan: Plan) -> None:
    """Engines' jobs, flows, gaps, loads, queues, who is missed and who adds nothing, of the whole sample.

    By the account in columns, which is the plain one (`test_timeline_batch`): that takes its time.
    """
    everyone = questions(plan)
    asked = [one for one in everyone if same_jobs(one)]
    table = CaseTable.of([one.case() for one in asked])
    held, books, queued, without = held_flows(table), gaps(table), queues(table), one_out_gpm(table)
    limits: Counter[str] = Counter()
    for row, one in enumerate(asked):
        cell = one.address, one.level
        assert plan.levels.uninterrupted_gpm[cell] == pytest.approx(held.uninterrupted_gpm[row], rel=1e-6), one
        assert plan.levels.gap_min[cell] == pytest.approx(books.gap_min[row], abs=1e-6)
        code = int(held.limited_by[row])
        assert code < 0 or plan.levels.limited_by[cell] == LIMITS[code]
        limits[plan.levels.limited_by[cell]] += 1
        check_hauls(one, {word: getattr(queued, word)[row] for word in QUEUE_WORDS}, without[row])
        if plan.answers.called[one.address] == "at dispatch":
            check_shown(one, {word: float(getattr(books, word)[row]) for word in SHOWN_WORDS})
    check_who_adds(asked)
    assert len(asked) >= 0.9 * len(everyone) >= 200
    assert len(limits) >= 3
    assert {"hydrant", "dry hydrant"} <= {plan.sites[one.cell("site")].kind for one in asked}


def test_every_so_manieth_answer_is_that_of_the_plain_account(plan: Plan) -> None:
    """Flow, gap, what is shown of units called on arrival, and by when to call."""
    asked = [one for one in questions(plan)[::EVERY] if same_jobs(one)]
    for one in asked:
        found = answer(one.case())
        assert plan.levels.uninterrupted_gpm[one.address, one.level] == pytest.approx(found.uninterrupted_gpm, rel=1e-6)
        assert plan.levels.gap_min[one.address, one.level] == pytest.approx(found.gap_min, abs=1e-6)
        if plan.answers.called[one.address] != "at dispatch":
            found = answer(one.case(float(plan.answers.first_arrival_min[one.address]) + 2.0))
        check_shown(one, {word: getattr(found, word) for word in SHOWN_WORDS})
        if plan.answers.status[one.address] == "higher level":
            by = call_by_min(lambda minute, one=one: one.case(float(minute)), 200)  # type: ignore[misc]
            said = plan.answers.call_by_min[one.address]
            assert said == pytest.approx(np.nan if by is None else by, nan_ok=True)
    assert len(asked) >= 10
    assert {*plan.answers.called[[one.address for one in asked]].tolist()} >= {"at dispatch", "on arrival"}


def test_the_steady_flow_over_two_fill_sites_is_that_of_the_long_run(plan: Plan) -> None:
    """Fifty hours of the plain account, where no store limits it, of every other address whose tankers are split."""
    split = [one for one in questions(plan) if one.cell("split") >= 0 and same_jobs(one)]
    for one in split[::2]:
        check_long_run(one.case(), float(plan.levels.sustained_gpm[one.address, one.level]))
    assert len(split) >= 20, "hardly any tankers are split over two fill sites: this test shows little of them"


def test_attack_engine_drafts_only_where_others_bring_less(plan: Plan) -> None:
    """By the plain account the engine whose turn it is does not meet, nor holds as much while it brings as much."""
    levels, found = plan.levels, 0
    for a, level in np.argwhere((levels.dump_engine == levels.attack_engine) & (levels.dump_engine >= 0)).tolist():
        mine, theirs = Question(plan, a, level), Question(plan, a, level, by_order=True)
        ours = mine.jobs() == tuple(mine.cell(f"{job}_engine") for job in ("fill", "dump", "split"))
        if theirs.jobs()[1] in (-1, mine.attack) or not ours or mine.cell("trip") < 0 or not mine.on_kept_trips():
            continue
        need, one, other = float(plan.needs.required_gpm[a]), answer(mine.case()), answer(theirs.case())
        found += 1
        assert one.uninterrupted_gpm == pytest.approx(levels.uninterrupted_gpm[a, level], rel=1e-6)
        assert other.uninterrupted_gpm < need
        assert (
            one.uninterrupted_gpm >= need
            or one.uninterrupted_gpm > other.uninterrupted_gpm
            or one.short_gal < other.short_gal
        )
    assert found >= 10


def check_long_run(case: Case, steady_gpm: float) -> None:
    """Hold the steady flow over two sites against fifty hours of the plain account, where no store limits it."""
    endless = replace(case, storage_gal=np.inf, second_storage_gal=np.inf)
    most = min(long_run_gpm(endless), case.line_gpm)
    assert steady_gpm <= most * 1.01
    if np.isinf(case.storage_gal) and np.isinf(case.second_storage_gal):
        assert steady_gpm >= most * 0.98


def check_hauls(one: Question, queued: dict[str, FloatArray], without: FloatArray) -> None:
    """Hold loads, queues and the flow without each tanker against those of the case, (tankers,) in its order."""
    plan, rows = one.plan, one.plan.haul_rows(one.address, one.level)
    names = [plan.units[u].unit_id for u in plan.hauls.unit[rows].tolist()]
    case = one.case()
    assert names == [t.unit_id for t in by_arrival(case)]
    columns = [[t.unit_id for t in case.order].index(name) for name in names]
    for word, theirs in queued.items():
        assert getattr(plan.hauls, word)[rows] == pytest.approx(theirs[columns], abs=1e-6)
    assert plan.hauls.without_gpm[rows] == pytest.approx(without[columns], rel=1e-6)


def by_arrival(case: Case) -> list[Tanker]:
    return sorted(case.tankers, key=lambda t: (t.arrival_min, t.unit_id))


def check_who_adds(asked: list[Question]) -> None:
    """Hold who brings more water against the flows of each fleet's first 0, 1, 2, ... tankers."""
    fleets = [(one, by_arrival(one.case())) for one in asked]
    cases = [replace(one.case(), tankers=tuple(queue[:n])) for one, queue in fleets for n in range(len(queue) + 1)]
    flows, first, held = held_flows(CaseTable.of(cases)).uninterrupted_gpm, 0, 0
    for one, queue in fleets:
        mine = flows[first : first + len(queue) + 1]
        first += len(mine)
        if mine[-1] >= mine.max() * (1 - 1e-8):  # else some that are kept stand in each other's way
            count = int(np.argmax(mine >= mine.max() * (1 - 1e-8)))
            rows = one.plan.haul_rows(one.address, one.level)
            assert one.plan.hauls.adds[rows].tolist() == [at < count for at in range(len(queue))]
            held += 1
    assert held > 0.8 * len(asked)


def check_shown(one: Question, found: dict[str, float]) -> None:
    """Hold the minutes and gallons that an address shows against those of an account."""
    for word, theirs in found.items():
        said = float(getattr(one.plan.answers, word)[one.address])
        assert said == pytest.approx(theirs, rel=1e-6, abs=1e-6, nan_ok=True), (word, one)


def test_units_leave_their_stations_two_minutes_apart(plan: Plan) -> None:
    """At a volunteer house each further unit leaves later (our careful choice)."""
    rules = plan.district.rules.shuttle
    leaves = depart_min(plan.units, plan.stations, rules)
    assert min(leaves.values()) >= min(station.turnout_min for station in plan.stations)
    volunteer = {station.station_id for station in plan.stations if not station.staffed}
    turnout = {station.station_id: station.turnout_min for station in plan.stations}
    for home in volunteer:
        gone = sorted(leaves[unit.unit_id] for unit in plan.units if unit.station_id == home)
        assert gone == pytest.approx([turnout[home] + k * rules.stagger_min for k in range(len(gone))])


def test_statuses_change_between_steady_and_uninterrupted_flow_both_ways(plan: Plan) -> None:
    """First loads lift some addresses to a lower level; a late first tanker or full tanks push others up."""
    need = plan.needs.required_gpm[:, None]
    steady = plan.levels.sustained_gpm >= need
    shown = plan.answers.level >= 0
    first = np.where(steady.any(axis=1), steady.argmax(axis=1), 9)[shown]
    now = np.where(plan.levels.meets.any(axis=1), plan.levels.meets.argmax(axis=1), 9)[shown]
    assert (now < first).sum() >= 5
    assert (plan.levels.uninterrupted_gpm < plan.levels.sustained_gpm).any()
