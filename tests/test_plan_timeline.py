"""The timeline of the sample's plan, done again: each case is laid out anew from the tables and run plainly."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.planning.response import depart_min
from preplan.water.timeline import (
    Answer,
    Case,
    PortableTank,
    Tanker,
    answer,
    call_by_min,
    last_useful,
    one_out_gpm,
)
from tests import plan_checks
from tests.plan_checks import SAMPLE, line_of_crew

SETUP_MIN = {"dry hydrant": 5.0, "cistern": 5.0, "draft": 8.0}
EVERY = 9
"""Every ninth address is done again: the plain account takes its time."""


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_checks.plan_of(SAMPLE / "district.toml")


@dataclass(frozen=True)
class Question:
    """One address and level of the plan."""

    plan: Plan
    address: int
    level: int

    def cell(self, column: str) -> int:
        """Look up an index of the level table."""
        return int(getattr(self.plan.levels, column)[self.address, self.level])

    def when(self, unit: int, call_min: float) -> float:
        """Arrival of a unit that is alerted at `call_min` where the first level does not send it."""
        first = self.plan.levels.fleet[self.address, 0, unit]
        return float(self.plan.arrival_min[self.address, unit]) + (0.0 if first else call_min)

    @property
    def attack(self) -> int:
        """The attack engine."""
        return self.cell("attack_engine")

    def jobs(self, call_min: float = 0.0) -> tuple[int, int]:
        """Deal fill and dump engine anew, by hand: of the rest the soonest at the site, then the soonest here."""
        plan, a, site = self.plan, self.address, self.cell("site")
        sent = plan.levels.fleet[a, self.level] & ~plan.levels.tankers[a, self.level]
        rest = [u for u in np.flatnonzero(sent).tolist() if u != self.attack]
        near = plan.frontages.driveway_ft[a] <= plan.district.rules.shuttle.one_engine_reach_ft
        late = {u: 0.0 if plan.levels.fleet[a, 0, u] else call_min for u in rest}
        fill = -1
        if plan.sites[site].needs_engine and (len(rest) >= 2 or (len(rest) == 1 and near)):
            fill = min(rest, key=lambda u: (plan.site_arrival_min[site, u] + late[u], u))
            rest.remove(fill)
        dump = min(rest, key=lambda u: (plan.arrival_min[a, u] + late[u], u), default=self.attack if near else -1)
        return fill, dump

    def case(self, call_min: float = 0.0) -> Case:
        """Lay the case out, the units beyond the first level alerted at `call_min`."""
        plan, a = self.plan, self.address
        site, trip = plan.sites[self.cell("site")], self.cell("trip")
        fill, dump = self.jobs(call_min)
        draft, line, line_min = self.lines(fill, dump, call_min)
        total = site.total_gpm
        if fill >= 0:
            lift = site.lift_ft
            share = 1.0 if lift <= 10 else 1.0 - 0.06 * (lift - 10) if lift <= 15 else 0.7 - 0.02 * (lift - 15)
            total = min(total, (plan.units[fill].pump_gpm or 0.0) * share)
        used = np.flatnonzero(plan.levels.used[a, self.level]).tolist()
        idle = np.flatnonzero(plan.levels.fleet[a, self.level] & ~plan.levels.used[a, self.level]).tolist()
        return Case(
            tankers=tuple(self.tanker(u, trip, min(site.fill_gpm, total), call_min) for u in used),
            other_tanks=tuple(
                PortableTank(self.when(u, call_min), plan.units[u].portable_tank_gal)
                for u in idle if plan.units[u].portable_tank_gal
            ),
            attack_arrival_min=float(plan.arrival_min[a, self.attack]),
            booster_gal=plan.units[self.attack].tank_gal,
            dump_engine_arrival_min=line_min,
            fill_engine_arrival_min=self.fill_arrival(fill, call_min),
            fill_setup_min=SETUP_MIN.get(site.kind, 2.0) if site.needs_engine else 2.0,
            required_gpm=float(plan.needs.required_gpm[a]),
            required_min=float(plan.needs.required_min[a]),
            required_gal=float(plan.needs.required_gal[a]),
            positions=site.positions,
            site_gpm=total,
            storage_gal=np.inf if site.storage_gal is None else site.storage_gal,
            refill_gpm=site.refill_gpm or 0.0,
            room_fraction=0.8,
            dead_fraction=0.07,
            draft_gpm=draft,
            supply_gpm=line,
        )  # fmt: skip

    def fill_arrival(self, fill: int, call_min: float) -> float | None:
        """Give the fill engine's arrival at its site; None where the site needs none, inf where none comes."""
        site = self.cell("site")
        if not self.plan.sites[site].needs_engine:
            return None
        if fill < 0:
            return np.inf
        first = self.plan.levels.fleet[self.address, 0, fill]
        return float(self.plan.site_arrival_min[site, fill]) + (0.0 if first else call_min)

    def tanker(self, unit: int, trip: int, fill_gpm: float, call_min: float) -> Tanker:
        """Lay one tanker out."""
        one, trips = self.plan.units[unit], self.plan.trips
        vacuum = one.self_fill_gpm is not None
        return Tanker(
            unit_id=one.unit_id,
            arrival_min=self.when(unit, call_min),
            usable_gal=one.tank_gal * (1.0 if vacuum else 0.9),
            fill_gpm=min(fill_gpm, one.self_fill_gpm if one.self_fill_gpm is not None else one.intake_gpm),
            dump_gpm=one.dump_gpm,
            out_min=float(trips.out_min[trip]),
            back_min=float(trips.back_min[trip]),
            fill_hookup_min=0.5 if vacuum else 1.0,
            dump_hookup_min=0.5,
            fill_maneuver_min=1.0,
            dump_maneuver_min=1.5,
            portable_gal=one.portable_tank_gal,
            has_pump=one.pump_gpm is not None,
            self_fill=vacuum,
        )

    def lines(self, fill: int, dump: int, call_min: float) -> tuple[float, float, float]:
        """Give draft and supply line, gpm, and the minute by which all who draft or bring its hose are here."""
        plan, a, attack = self.plan, self.address, self.attack
        draft = min(plan.units[dump].pump_gpm or 0.0, 1000.0)
        if dump == attack:
            return draft, np.inf, self.when(dump, call_min)
        when = np.array([self.when(u, call_min) for u in range(len(plan.units))])
        return draft, *line_of_crew(plan, a, self.level, (fill, dump), when)


def questions(plan: Plan) -> list[Question]:
    """Take every ninth address that has a shuttle, at every level whose trip is the one that is kept."""
    found = []
    for a in np.flatnonzero(plan.answers.level >= 0)[::EVERY].tolist():
        for level in range(len(plan.district.levels)):
            one = Question(plan, a, level)
            crewed = one.cell("site") >= 0 and one.cell("dump_engine") >= 0 and one.cell("trip") >= 0
            # A trip is kept on one cut; levels of another cut have times of their own.
            held = plan.cuts[int(plan.trips.cut[one.cell("trip")])].unit_ids if crewed else ()
            mine = {plan.units[u].unit_id for u in np.flatnonzero(plan.levels.used[a, level]).tolist()}
            if crewed and mine and mine <= set(held) and level == plan.answers.level[a]:
                found.append(one)
    return found


def test_every_answer_is_that_of_the_plain_account(plan: Plan) -> None:
    """Engines' jobs, flows, gaps and minutes of each, but where a level does as the one below it does."""
    limits: Counter[str] = Counter()
    sites: Counter[str] = Counter()
    asked = questions(plan)
    for one in asked:
        if one.jobs() != (one.cell("fill_engine"), one.cell("dump_engine")):
            continue
        case, a, level = one.case(), one.address, one.level
        found = answer(case)
        levels, answers = plan.levels, plan.answers
        assert levels.uninterrupted_gpm[a, level] == pytest.approx(found.uninterrupted_gpm, rel=1e-6), one
        assert levels.gap_min[a, level] == pytest.approx(found.gap_min, abs=1e-6)
        if found.limited_by:
            assert levels.limited_by[a, level] == found.limited_by
        limits[levels.limited_by[a, level]] += 1
        sites[plan.sites[one.cell("site")].kind] += 1
        check_hauls(one, case, found)
        check_shown(one, found if answers.called[a] == "at dispatch" else None)
    assert sum(limits.values()) >= 0.9 * len(asked) >= 20
    assert len(limits) >= 3
    assert {"hydrant", "dry hydrant"} <= set(sites)


def check_hauls(one: Question, case: Case, found: Answer) -> None:
    """Hold loads, queues, the flow without each tanker, and who adds nothing against the plain account."""
    plan, rows = one.plan, one.plan.haul_rows(one.address, one.level)
    hauls, plain = plan.hauls, {told.unit_id: told for told in found.queueing}
    names = [plan.units[u].unit_id for u in hauls.unit[rows].tolist()]
    assert names == [t.unit_id for t in sorted(case.tankers, key=lambda t: (t.arrival_min, t.unit_id))]
    for word in ("loads", "fill_wait_min", "dump_wait_min", "room_wait_min"):
        assert getattr(hauls, word)[rows] == pytest.approx([getattr(plain[name], word) for name in names], abs=1e-6)
    without = one_out_gpm(case)
    assert hauls.without_gpm[rows] == pytest.approx([without[name] for name in names], rel=1e-6)
    last, by_count = last_useful(case)
    if by_count[-1] >= max(by_count) * (1 - 1e-8):  # else some that are kept stand in each other's way
        count = names.index(last) + 1 if last else 0
        assert hauls.adds[rows].tolist() == [at < count for at in range(len(names))]


def check_shown(one: Question, sent: Answer | None) -> None:
    """Hold what the address shows against the account of the way in which its units are called."""
    plan, a = one.plan, one.address
    shown = sent or answer(one.case(float(plan.answers.first_arrival_min[a]) + 2.0))
    for word in ("first_water_min", "established_min", "gap_min", "short_gal", "mws_by_min"):
        said, found = float(getattr(plan.answers, word)[a]), float(getattr(shown, word))
        assert said == pytest.approx(found, rel=1e-6, abs=1e-6, nan_ok=True), (word, one)
    if plan.answers.status[a] == "higher level":
        by = call_by_min(lambda minute: one.case(float(minute)), 200)
        assert plan.answers.call_by_min[a] == pytest.approx(np.nan if by is None else by, nan_ok=True)


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
