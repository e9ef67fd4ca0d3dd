"""Hose lays beside the shuttle: every lay of the sample found again, one by one, and what words and pages say of it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_tables import LayTable, SupplyTable
from preplan.planning.lays import with_lays
from preplan.records import joined, text_array
from preplan.render import card_facts, card_words, crew, report_pdf
from preplan.render.flag_words import flag_words
from preplan.render.map_data import map_data
from preplan.render.words import where_words
from tests import plan_checks
from tests.example_plan import example_plan, held_later
from tests.pdf_words import words_of
from tests.plan_checks import SAMPLE
from tests.planning_case import scene, site

COEFFICIENT = {3.0: 0.8, 4.0: 0.2, 5.0: 0.08}
"""C of C Q^2 L, Q in hundreds of gpm, L in hundreds of feet (published hose tables, as in test_hydraulics)."""
SETUP_MIN = {"dry hydrant": 5.0, "cistern": 5.0, "draft": 8.0}


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_checks.plan_of(SAMPLE / "district.toml")


@dataclass(frozen=True)
class Way:
    """One relay that might be."""

    site: int
    level: int
    gpm: float
    engines: int
    hose_ft: float
    ready_min: float


def ways(plan: Plan, address: int, *, then: bool = False) -> Iterator[Way]:
    """List every relay of an address by plain loops: each kept trip, level, size of hose, engines and lines.

    From sites that stand in the season that decides; `then`: from those of other months alone.
    """
    levels, trips, rules = plan.levels, plan.trips, plan.district.rules.shuttle
    for row in np.flatnonzero(trips.address == address).tolist():
        site = int(trips.site[row])
        there = plan.sites[site]
        feet = min(trips.out_mi[row], trips.back_mi[row]) * 5280.0 + plan.frontages.driveway_ft[address]
        for level in range(int(plan.answers.level[address]) + 1):
            decides = site in plan.seasons[int(levels.season[address, level])].sites
            if decides is then or not any(site in line.sites for line in plan.seasons):
                continue
            crew_ = np.flatnonzero(levels.fleet[address, level] & ~levels.tankers[address, level]).tolist()
            pumping = [u for u in crew_ if u != levels.attack_engine[address, level]]
            weakest = min((plan.units[u].pump_gpm or 0.0 for u in pumping), default=0.0)
            source = there.total_gpm
            if there.storage_gal is not None:
                source = min(source, there.storage_gal / plan.needs.required_min[address] + (there.refill_gpm or 0.0))
            if there.needs_engine:
                share = float(np.interp(there.lift_ft, [10, 15, 20], [1.0, 0.7, 0.6]))
                source = min(source, weakest * share)
            arrive = sorted(plan.site_arrival_min[site, u] for u in pumping)
            for size in {plan.units[u].supply_hose_in for u in crew_}:
                stock = sum(plan.units[u].supply_hose_ft for u in crew_ if plan.units[u].supply_hose_in >= size)
                for engines in range(1, len(pumping) + 1):
                    for lines in (1, 2):
                        if lines * feet > stock:
                            continue
                        psi = rules.supply_psi - rules.supply_residual_psi
                        flow = lines * 100.0 * math.sqrt(psi / (COEFFICIENT[size] * feet / engines / 100.0))
                        flow = min(flow, weakest, source)
                        water = lines * feet * math.pi * (size / 24.0) ** 2 * 7.48052
                        laying = lines * feet / 300.0 + 3.0 * engines + water / flow
                        ready = arrive[engines - 1] + (SETUP_MIN.get(there.kind, 2.0) if there.needs_engine else 2.0)
                        yield Way(site, level, flow, engines, lines * feet, ready + laying)


def worth(plan: Plan, address: int, way: Way) -> bool:
    """Tell whether a relay is worth a word."""
    need = float(plan.needs.required_gpm[address])
    held = float(plan.levels.uninterrupted_gpm[address, way.level])
    if way.site not in plan.seasons[int(plan.levels.season[address, way.level])].sites:
        brought = (line.brings_gpm[address, way.level] for line in plan.seasons if way.site in line.sites)
        held = max(map(float, np.nan_to_num(list(brought))))
    if min(way.gpm, need) <= held * (1 + 1e-9):
        return False
    shown = way.level == plan.answers.level[address]
    return way.gpm >= need - 1e-6 or (shown and way.gpm > held * 1.1)


def test_every_lay_of_the_sample_is_found_again_by_hand(plan: Plan) -> None:
    """None is missed, none is worse than another that meets; those told are on roads short enough to be believed."""
    said = {int(a): row for row, a in enumerate(plan.lays.address)}
    assert len(said) == len(plan.lays) >= 5
    more = np.isin(plan.answers.status.astype(str), ("higher level", "not met"))
    for address in range(len(plan.addresses)):
        found = [way for way in ways(plan, address) if more[address] and worth(plan, address, way)]
        if not found:
            found = [way for way in ways(plan, address, then=True) if more[address] and worth(plan, address, way)]
        assert bool(found) == (address in said), plan.addresses.address_id[address]
        if not found:
            continue
        row, need = said[address], float(plan.needs.required_gpm[address])
        mine = [way for way in found if (way.site, way.level) == (plan.lays.site[row], plan.lays.level[row])]
        assert any(
            way.gpm == pytest.approx(plan.lays.gpm[row], rel=1e-3)
            and way.engines == plan.lays.engines[row]
            and way.hose_ft == pytest.approx(plan.lays.hose_ft[row])
            and way.ready_min == pytest.approx(plan.lays.ready_min[row], abs=0.1)
            for way in mine
        )
        carry = [way for way in found if way.gpm >= need]
        if carry:
            assert plan.lays.gpm[row] >= need - 1e-6
            assert plan.lays.level[row] == min(way.level for way in carry)


def test_a_lay_is_flagged_and_changes_no_status(plan: Plan) -> None:
    flagged = [a for a, flags in enumerate(plan.answers.flags) if any(flag.code == "hose lay" for flag in flags)]
    assert flagged == plan.lays.address.tolist()
    away = 0
    for address, at, feet in zip(plan.lays.address, plan.lays.site, np.ceil(plan.lays.length_ft), strict=True):
        (flag,) = (flag for flag in plan.answers.flags[address] if flag.code == "hose lay")
        there = plan.sites[at]
        when = f" in {month_words(there.months)}" if there.seasonal else ""  # the sample plans for the whole year
        assert str(flag) == f"hose lay={feet:.0f} ft{when}"
        away += there.seasonal
    assert 0 < away < len(flagged)
    assert set(plan.answers.status[plan.lays.address]) <= {"higher level", "not met"}


def lay(**changes: float) -> LayTable:
    """Make a table of one lay of address 2 from fill site 1."""
    values = {"gpm": 508.0, "engines": 2.0, "lines": 2.0, "hose_in": 3.0, "hose_ft": 2400.0, "length_ft": 1200.2,
              "ready_min": 28.1} | changes  # fmt: skip
    whole = {"address": 2, "site": 0, "level": 1}
    return LayTable(
        **{word: np.array([value], dtype=np.int32) for word, value in whole.items()},  # type: ignore[arg-type]
        **{word: np.array([value]) for word, value in values.items()},
    )


def test_words_of_a_lay() -> None:
    plan = replace(example_plan(), lays=lay())
    assert crew.lay_words(plan, 2) == (
        "By hose instead: 1,201 ft of 3 in, 2 lines from fill site 1, 2 engines pumping at response level 2: 500 gpm, "
        "about minute 29, on level ground."
    )
    assert (
        crew.lay_words(plan, 2, brief=True)
        == "By hose: 1,201 ft, 2 x 3 in, fill site 1: 500 gpm, minute 29, response level 2."
    )
    assert crew.lay_words(plan, 1) == ""
    beside = crew.lay_words(plan, 2, brief=True, named=True)
    assert beside.startswith(f"By hose at {where_words(plan, 2)}: 1,201 ft")
    assert "1 engine pumping" in crew.lay_words(replace(plan, lays=lay(engines=1.0, lines=1.0)), 2)


def test_a_lay_that_meets_where_no_tankers_do_stands_in_the_answer() -> None:
    """On the card's answer and on the map; not where a higher level's tankers do, nor where it carries too little."""
    plan = replace(example_plan(), lays=lay())
    said = (
        "By hose instead of tankers it meets from about minute 29: 500 gpm from fill site 1, response level 2, "
        "on level ground."
    )
    assert crew.lay_meets_words(plan, 2) == said
    answers = map_data(plan)["answers"]
    assert answers["byHoseWords"] == ["", said]
    assert crew.lay_meets_words(replace(plan, lays=lay(gpm=499.0)), 2) == ""
    higher = replace(plan.answers, status=text_array(["served", "higher level", "higher level", "not met"] * 2)[:6])
    assert crew.lay_meets_words(replace(plan, answers=higher), 2) == ""
    pond = replace(plan, sites=(replace(plan.sites[0], months=frozenset(range(4, 12))), *plan.sites[1:]))
    late = replace(lay(), level=np.zeros(1, dtype=np.int32))
    assert crew.lay_meets_words(replace(plan, lays=late, answers=higher), 2) == "", "full flow is asked for before"
    first = replace(late, ready_min=np.array([24.1]))
    sooner = said.replace("response level 2", "response level 1").replace("minute 29", "minute 25")
    assert crew.lay_meets_words(replace(plan, lays=first, answers=higher), 2) == sooner
    ours = card_facts.Facts(replace(plan, lays=first, answers=higher), replace(plan.groups[2], lead=2, addresses=(2,)))
    called = " ".join(line.said for line in card_words.call(ours))
    assert "does not meet the required flow by tanker; BY HOSE IT MAY: see right." in called
    seasonal = said.replace("it meets from", "it meets in April to November from")
    assert crew.lay_meets_words(pond, 2) == map_data(pond)["answers"]["byHoseWords"][1] == seasonal
    assert [crew.lay_meets_then(pond, 2, months) for months in ((4, 5), (11, 12), (1,))] == [seasonal, "", ""]
    assert crew.lay_meets_then(plan, 2, (11, 12)) == said
    assert crew.lay_numbers(pond, 2) == "fill site 1 (April to November only), 1,201 ft, 500 gpm"
    units = " ".join(
        line.said for line in card_words.call(card_facts.Facts(pond, replace(plan.groups[2], lead=2, addresses=(2,))))
    )
    assert "BY HOSE INSTEAD OF TANKERS IT MEETS IN APRIL TO NOVEMBER FROM ABOUT MINUTE 29: see right." in units
    lead = replace(plan.groups[2], lead=2, addresses=(2,))
    block = [line for line in card_words.can(card_facts.Facts(plan, lead)) if line.bold]
    assert block[0].said.startswith("by tanker: "), "what tankers hold is not all that there is"
    assert " ".join(line.said for line in block[1:]) == said


def test_a_lay_of_a_card_is_that_of_all_its_addresses() -> None:
    """The figures of the lead alone laid too little hose at its neighbours, and promised a lay where there is none."""
    plan = example_plan()
    group = replace(plan.groups[2], lead=2, addresses=(2, 3))
    one = replace(plan, lays=lay())
    some = (
        "By hose instead of tankers it meets at 1 of these 2 addresses from about minute 29: 500 gpm from fill site 1,"
    )
    assert card_facts.Facts(one, group).by_hose.startswith(some)
    farther = replace(
        lay(), address=np.array([3], dtype=np.int32), site=np.array([1], dtype=np.int32), gpm=np.array([740.0]),
        level=np.zeros(1, dtype=np.int32), ready_min=np.array([47.2]),
    )  # fmt: skip
    same = replace(
        plan.answers, status=text_array(["served", "higher level", "not met", "not met", "served", "served"])
    )
    both = replace(plan, lays=joined([lay(), farther]), answers=same)
    assert card_facts.Facts(both, group).by_hose == (
        "By hose instead of tankers it meets in April to November from about minute 48: 500 gpm from fill site 1 or 2, "
        "response level 2, on level ground."
    )
    assert card_facts.Facts(one, replace(group, lead=3)).by_hose == ""
    winter = (12, 1, 2)
    assert [crew.lay_meets_then(each, 2, winter, (2, 3)) for each in (one, both)] == [
        card_facts.Facts(one, group).by_hose,
        "",
    ]
    weak = replace(farther, gpm=np.array([100.0]))
    beside = replace(one, lays=joined([lay(), weak]))
    assert crew.lay_meets_then(beside, 2, winter, (2, 3)) == card_facts.Facts(one, group).by_hose, "it meets nowhere"


def test_a_lay_is_not_told_first_where_tankers_hold_enough_sooner() -> None:
    plan = replace(example_plan(), lays=lay())
    for gpm, from_min, told in ((500.0, 28.0, False), (499.0, 28.0, True), (500.0, 30.0, True)):
        later = held_later(2, from_min=from_min, gpm=gpm)
        assert bool(crew.lay_meets_words(replace(plan, built_up=later), 2)) == told


def test_words_of_the_supply_line() -> None:
    """Whose hose, how much of each, who brings it later, and what is short of a load that is assumed."""
    plan = example_plan()
    assert crew.supply_words(plan, 0, 0) == "supply line 220 ft: E1's 3 in."
    rows = {word: np.array(value, dtype=np.int32) for word, value in
            {"address": [0, 0, 0], "level": [0, 0, 0], "unit": [0, 1, 2]}.items()}  # fmt: skip
    many = SupplyTable(**rows, hose_ft=np.array([100.0, 20.0, 100.0]))
    units = tuple(replace(one, assumed=("supply_hose_ft",)) if one.unit_id == "E2" else one for one in plan.units)
    plan = replace(plan, supply=many, units=units)
    told = (
        "supply line 220 ft: 100 ft of E1's 3 in; 100 ft of E3's 3 in; 20 ft of E2's 3 in (assumed), there at 12 min."
    )
    assert crew.supply_words(plan, 0, 0) == told
    assert crew.short_words(plan, 0, 0) == ""
    levels = replace(
        plan.levels,
        hose_short_ft=np.full((6, 2), 12.0),
        reached_gpm=np.full((6, 2), 436.0),
        limited_by=np.full((6, 2), "hose", dtype=np.object_),
    )
    plan = replace(plan, levels=levels)
    assert crew.supply_words(plan, 0, 0).startswith("supply line 220 ft, TOO SHORT by 12 ft: 100 ft of E1's 3 in")
    assert crew.short_words(plan, 0, 0) == "12 ft short of ASSUMED hose; with it 430 gpm, not counted."
    assert crew.short_words(replace(plan, units=example_plan().units), 0, 0).startswith("12 ft short of hose;")
    limits = map_data(plan)["answers"]["limits"]
    assert any("12 ft short of ASSUMED hose" in one for one in limits)
    lines = card_words.can(card_facts.Facts(plan, plan.groups[0]))
    assert "with it 430 gpm, not counted." in " ".join(line.said for line in lines if line.bold)


def test_the_report_says_in_which_months_a_lay_s_fill_site_stands() -> None:
    plan = replace(example_plan(), lays=lay())
    sites = (replace(plan.sites[0], months=frozenset(range(4, 12))), *plan.sites[1:])
    said = words_of(report_pdf.report(replace(plan, sites=sites)))
    assert f"Fill site 1: {plan.sites[0].name} (April to November only) 1 1 1,201 ft 29" in said


def test_a_flag_of_a_lay_names_the_months_of_a_fill_site_that_is_away_in_planned_ones() -> None:
    """As sentences and tables have it; where the district plans for those months alone, there is nothing to name."""
    plan = replace(example_plan(), lays=lay())
    pond = site("F1", months=frozenset(range(4, 12)))
    for planned, said, words in (
        (frozenset(range(1, 13)), "hose lay=1201 ft in April to November", "Near a fill site, 1201 ft in April to "),
        (frozenset(range(5, 11)), "hose lay=1201 ft", "Near a fill site, 1,201 ft: the engines' hose may bring more"),
    ):
        answers = with_lays(plan.answers, plan.lays, scene([[4.0]], (pond,), planned=planned))
        assert str(answers.flags[2][-1]) == said
        assert flag_words(answers.flags[2][-1]).startswith(words)
