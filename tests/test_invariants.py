"""The laws at the end of every run: sound plans keep them, and each broken plan is refused with its address."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from typer.testing import CliRunner

from preplan.cli import app
from preplan.errors import InvariantError
from preplan.inputs.reader import read_inputs
from preplan.plan import Plan
from preplan.plan_cards import CardGroup, OtherCircuit
from preplan.planning import assembly, invariants, pipeline
from preplan.planning.ground import lay_ground, with_streets
from preplan.roads.source import read_osm
from tests import plan_checks
from tests.faults.small import TOML, SmallDistrict, write_small_district
from tests.plan_checks import SAMPLE, plan_of

LAWS = [
    "required_gpm is no number", "sustained_gpm is no number", "a flow without a fill site",
    "backup_gpm is no number", "cycle_min is no number", "lon of the dump site is no number",
    "more than the sum of usable / cycle", "more than its tankers carry in a cycle", "a flow without a tanker",
    "uninterrupted_gpm is no number", "on_arrival_gpm is no number", "more water than can have come by the end",
    "less than at the level below", "less than at the level below, called on arrival",
    "brings what it neither holds nor falls short by",
    "more with a tanker out", "an engine that hauls", "a tanker that is not sent", "out_min is no number",
    "a round trip shorter than twice the straight line",
    "a round trip quicker than twice the straight line at top speed",
    "a round trip quicker than its miles at top speed", "a cycle shorter than its round trip",
    "a route that does not run from end to end", "a route over a limit or a closed road",
    "a route of stretches that do not meet", "meets, or does not, against its flow",
    "a status that is none of the five",
    "served, but not by the first level", "higher level, but the first meets", "not met, but some level meets",
    "no route, but there is a trip", "a status that needs a trip", "a level shown without a grade",
    "not the first level that meets", "not the level that holds the most",
    "holds no more than another, and brings less",
    "dry longer than a level of the same flow", "on no card, or on two",
    "a fill site without its trip", "a backup without its trip", "a trip kept twice",
    "a sheet for a trip that is another's, or the card's", "a sheet's route over a limit or a closed road",
]  # fmt: skip
"""Every law that a test below breaks; `_PLANTS` has one for each."""


@cache
def sound() -> tuple[Plan, npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Give the plan of the sample, and where its fill sites stand on the road: what the pipeline hands to the laws."""
    inputs = read_inputs(SAMPLE / "district.toml")
    assert inputs.roads.file is not None
    roads, features = read_osm(inputs.roads.file)
    sites = lay_ground(with_streets(inputs, roads), roads, features).sites
    return plan_of(SAMPLE / "district.toml"), sites.lon, sites.lat


def row_of(status: str) -> int:
    """Give the first address of a status that has a trip traced where there can be one."""
    plan, *_ = sound()
    return int(np.flatnonzero(plan.answers.status == status)[0])


def trip_of(address: int) -> int:
    plan, *_ = sound()
    return int(plan.levels.trip[address, plan.answers.level[address]])


def changed(table: Any, **columns: tuple[Any, Any]) -> Any:
    """Put a value (index, value) into copies of some columns of a table."""
    new = {}
    for name, (at, value) in columns.items():
        new[name] = getattr(table, name).copy()
        new[name][at] = value
    return replace(table, **new)


def in_table(name: str, **columns: tuple[Any, Any]) -> Plan:
    plan, *_ = sound()
    return replace(plan, **{name: changed(getattr(plan, name), **columns)})


SERVED, HIGHER, UNMET = "served", "higher level", "not met"


def shown(address: int) -> tuple[int, int]:
    return address, int(sound()[0].answers.level[address])


def _unmeant(status: str, word: str) -> Plan:
    return in_table("answers", status=(row_of(status), word))


def _routes_over_a_posted_bridge() -> Plan:
    """Post the site's own stretch, which every one of its routes drives."""
    plan, *_ = sound()
    at = plan.site_segment[plan.trips.site[trip_of(row_of(SERVED))]]
    posted = tuple(changed(one, max_lb=(at, 6000.0)) for one in plan.season_limits)
    return replace(plan, season_limits=posted)


def _first_leaf() -> int:
    plan, *_ = sound()
    return int(plan.trips.out_leaf[trip_of(row_of(SERVED))])


def _drier_below() -> Plan:
    """Let the first level hold as much as the one shown, without a dry minute."""
    plan, *_ = sound()
    address, level = shown(row_of(UNMET))
    flow = float(plan.levels.uninterrupted_gpm[address, level])
    brings = float(plan.levels.brings_gpm[address, level])
    as_good = {"uninterrupted_gpm": ((address, 0), flow), "brings_gpm": ((address, 0), brings)}
    broken = in_table("levels", **as_good, gap_min=((address, 0), 0.0))
    seasons = tuple(changed(one, uninterrupted_gpm=((address, 0), 1e4)) for one in plan.seasons)
    return replace(broken, seasons=seasons)


def _brings_more_below() -> Plan:
    """Let the first level hold as much as the one shown, and bring more."""
    plan, *_ = sound()
    address, level = shown(row_of(UNMET))
    flow, brings = (float(one[address, level]) for one in (plan.levels.uninterrupted_gpm, plan.levels.brings_gpm))
    return in_table("levels", uninterrupted_gpm=((address, 0), flow), brings_gpm=((address, 0), 1.2 * brings))


def _no_card() -> Plan:
    plan, *_ = sound()
    return replace(plan, groups=plan.groups[1:])


def _twice() -> Plan:
    plan, *_ = sound()
    same = (slice(1, 2), plan.trips.address[0]), (slice(1, 2), plan.trips.site[0])
    return in_table("trips", address=same[0], site=same[1])


def _sheet() -> tuple[int, CardGroup, OtherCircuit]:
    """Give a card with a sheet for other months."""
    plan, *_ = sound()
    return next((at, g, other) for at, g in enumerate(plan.groups) for other in g.others if other.months)


def _another_s_sheet() -> Plan:
    plan, *_ = sound()
    at, group, other = _sheet()
    own = replace(other, site=(other.site + 1) % len(plan.sites))
    groups = (*plan.groups[:at], replace(group, others=(own,)), *plan.groups[at + 1 :])
    return replace(plan, groups=groups)


def _closed_under_a_sheet() -> Plan:
    """Close the site's own stretch in a season of the sheet's, but not in the one that decides."""
    plan, *_ = sound()
    _, group, other = _sheet()
    at = plan.site_segment[other.site]
    decides = int(plan.levels.season[group.lead, 0])
    closed = tuple(
        changed(one, tanker_road=(at, False)) if season != decides and set(line.months) <= set(other.months) else one
        for season, (one, line) in enumerate(zip(plan.season_limits, plan.seasons, strict=True))
    )
    return replace(plan, season_limits=closed)


def _hauling_engine() -> Plan:
    plan, *_ = sound()
    engine = next(u for u, unit in enumerate(plan.units) if unit.kind == "engine")
    return in_table("levels", used=((*shown(row_of(SERVED)), engine), True))


def _unsent_tanker() -> Plan:
    plan, *_ = sound()
    a, lv = shown(row_of(SERVED))
    tanker = int(np.flatnonzero(plan.levels.used[a, lv])[0])
    return in_table("levels", fleet=((a, lv, tanker), False))


def _cycle_short() -> Plan:
    a, lv = shown(row_of(UNMET))
    return in_table("levels", cycle_min=((a, lv), 0.5), sum_gpm=((a, lv), 1e6))


def _backed() -> tuple[int, int]:
    plan, *_ = sound()
    a, lv = np.argwhere((plan.levels.backup >= 0) & (plan.answers.status == SERVED)[:, None])[0].tolist()
    return a, lv


_PLANTS: dict[str, Callable[[], Plan]] = {
    "required_gpm is no number": lambda: in_table("needs", required_gpm=(row_of(SERVED), np.nan)),
    "sustained_gpm is no number": lambda: in_table("levels", sustained_gpm=(shown(row_of(SERVED)), np.inf)),
    "a flow without a fill site": lambda: in_table("levels", site=(shown(row_of(SERVED)), -1)),
    "backup_gpm is no number": lambda: in_table("levels", backup_gpm=(_backed(), np.nan)),
    "cycle_min is no number": lambda: in_table("levels", cycle_min=(shown(row_of(SERVED)), np.nan)),
    "lon of the dump site is no number": lambda: in_table("frontages", lon=(row_of(SERVED), np.nan)),
    "more than the sum of usable / cycle": lambda: in_table("levels", sum_gpm=(shown(row_of(SERVED)), 1.0)),
    "more than its tankers carry in a cycle": lambda: in_table(
        "levels", sustained_gpm=(shown(row_of(UNMET)), 5000.0), sum_gpm=(shown(row_of(UNMET)), 6000.0)
    ),
    "a flow without a tanker": lambda: in_table("levels", used=(shown(row_of(SERVED)), False)),
    "more with a tanker out": lambda: in_table("levels", one_out_gpm=(shown(row_of(SERVED)), 9000.0)),
    "uninterrupted_gpm is no number": lambda: in_table("levels", uninterrupted_gpm=(shown(row_of(SERVED)), np.nan)),
    "on_arrival_gpm is no number": lambda: in_table("levels", on_arrival_gpm=(shown(row_of(HIGHER)), np.inf)),
    "more water than can have come by the end": lambda: in_table(
        "levels", uninterrupted_gpm=(shown(row_of(SERVED)), 3000.0)
    ),
    "less than at the level below": lambda: in_table("levels", brings_gpm=((row_of(SERVED), 1), 1.0)),
    "less than at the level below, called on arrival": lambda: in_table(
        "levels", on_arrival_gpm=((row_of(SERVED), 1), 1.0)
    ),
    "brings what it neither holds nor falls short by": lambda: in_table(
        "levels", brings_gpm=((row_of(SERVED), 1), 9000.0)
    ),
    "an engine that hauls": _hauling_engine,
    "a tanker that is not sent": _unsent_tanker,
    "out_min is no number": lambda: in_table("trips", out_min=(trip_of(row_of(SERVED)), np.nan)),
    "a round trip shorter than twice the straight line": lambda: in_table(
        "trips", out_mi=(trip_of(row_of(UNMET)), 0.0), back_mi=(trip_of(row_of(UNMET)), 0.0)
    ),
    "a round trip quicker than twice the straight line at top speed": lambda: in_table(
        "trips", out_min=(trip_of(row_of(UNMET)), 0.1), back_min=(trip_of(row_of(UNMET)), 0.1)
    ),
    "a round trip quicker than its miles at top speed": lambda: in_table(
        "trips", out_mi=(trip_of(row_of(UNMET)), 500.0)
    ),
    "a cycle shorter than its round trip": _cycle_short,
    "a route that does not run from end to end": lambda: in_table(
        "trips", back_leaf=(trip_of(row_of(SERVED)), sound()[0].forest.parent.argmin())
    ),
    "a route over a limit or a closed road": _routes_over_a_posted_bridge,
    "a route of stretches that do not meet": lambda: in_table(
        "forest", forward=(_first_leaf(), not sound()[0].forest.forward[_first_leaf()])
    ),
    "meets, or does not, against its flow": lambda: in_table("levels", meets=((row_of(UNMET), 0), True)),
    "a status that is none of the five": lambda: _unmeant(SERVED, "fine"),
    "served, but not by the first level": lambda: _unmeant(HIGHER, SERVED),
    "higher level, but the first meets": lambda: _unmeant(SERVED, HIGHER),
    "not met, but some level meets": lambda: _unmeant(SERVED, UNMET),
    "no route, but there is a trip": lambda: _unmeant(SERVED, "no route"),
    "a status that needs a trip": lambda: _unmeant("no route", SERVED),
    "a level shown without a grade": lambda: in_table("answers", level=(row_of("no route"), 0)),
    "not the first level that meets": lambda: in_table("answers", level=(row_of(SERVED), 1)),
    "not the level that holds the most": lambda: in_table("answers", level=(row_of(UNMET), 0)),
    "holds no more than another, and brings less": _brings_more_below,
    "dry longer than a level of the same flow": _drier_below,
    "on no card, or on two": _no_card,
    "a fill site without its trip": lambda: in_table("levels", trip=(shown(row_of(SERVED)), -1)),
    "a backup without its trip": lambda: in_table("levels", backup_trip=(_backed(), -1)),
    "a trip kept twice": _twice,
    "a sheet for a trip that is another's, or the card's": _another_s_sheet,
    "a sheet's route over a limit or a closed road": _closed_under_a_sheet,
}


def test_the_sound_plan_keeps_every_law() -> None:
    assert invariants.broken_laws(*sound()) == []


def test_every_plant_is_listed() -> None:
    assert sorted(_PLANTS) == sorted(LAWS)


@pytest.mark.parametrize("law", LAWS)
def test_a_broken_plan_is_refused_by_the_law_it_breaks(law: str) -> None:
    plan, lon, lat = sound()
    broken = _PLANTS[law]()
    names = [one.name for one in fields(Plan)]
    assert any(getattr(plan, name) is not getattr(broken, name) for name in names)
    with pytest.raises(InvariantError) as caught:
        invariants.hold(broken, lon, lat)
    told = {line.partition(":")[0]: line for line in str(caught.value).splitlines()}
    assert law in told, str(caught.value)
    # an address by id and label, and no more of them than anybody reads
    assert any(str(name) in told[law] for name in plan.addresses.address_id)
    assert told[law].count("(") <= invariants.ADDRESSES_NAMED + 1


def test_the_address_is_the_one_at_fault() -> None:
    plan, lon, lat = sound()
    address = row_of(UNMET)
    broken = in_table("levels", sustained_gpm=((address, 0), np.nan))
    with pytest.raises(InvariantError) as caught:
        invariants.hold(broken, lon, lat)
    name, level = plan.addresses.address_id[address], plan.district.levels[0].name
    assert f"sustained_gpm is no number: {name} (" in str(caught.value)
    assert f") at {level}: nan" in str(caught.value)


def test_a_run_with_a_broken_plan_fails_loudly_and_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit status 1, the law and the address on stderr, no traceback, and the results before untouched."""
    (tmp_path / "district").mkdir()
    district = write_small_district(tmp_path / "district")
    out = tmp_path / "out"
    assert CliRunner().invoke(app, ["build", str(district), "--out", str(out)]).exit_code == 0
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
    real = assembly.assemble

    def broken(*given: Any) -> Plan:
        plan = real(*given)
        return replace(plan, levels=changed(plan.levels, sustained_gpm=((0, 0), 1e9)))

    monkeypatch.setattr(pipeline, "assemble", broken)
    result = CliRunner().invoke(app, ["build", str(district), "--out", str(out)])
    assert result.exit_code == 1
    assert isinstance(result.exception, SystemExit)
    assert "more than the sum of usable / cycle: G1 (1 Mill Road) at Level 1" in result.stderr
    assert "Traceback" not in result.stderr
    assert {path: path.read_bytes() for path in out.rglob("*") if path.is_file()} == before


def test_a_level_that_holds_more_in_every_season_may_be_dry_longer_than_its_equal(tmp_path: Path) -> None:
    """A third tanker shortens the dry minutes in the worst season, and is sent to a second fill site in summer."""
    levels = "".join(f'[[response_levels]]\nname = "Level {k}"\nengines = 3\ntankers = {k}\n\n' for k in (1, 2, 3))
    district = SmallDistrict(
        toml=TOML[: TOML.index("[[response_levels]]")].replace("[roads]\n", "[roads]\ndump_turn_min = 0\n") + levels
    )
    west = (0.0356, 0.0307, 0.0294, 0.0233, 0.0187, 0.0183, 0.0161, 0.0085, 0.0079)
    turnout_min = {"E1": 7, "E2": 16, "E3": 34, "T1": 8, "T2": 22, "T3": 45}
    engines = "".join(f"E{k},E{k},engine,1000,,1000,5\n" for k in (1, 2, 3))
    tankers = "".join(f"T{k},T{k},tanker,{gal},2500,,\n" for k, gal in ((1, 2000), (2, 3000), (3, 2000)))
    district.files |= {
        "addresses.csv": "address_id,label,lon,lat,required_gpm,driveway_ft\n"
        + "".join(f"G{k},{k + 1} Mill Road,{-72.0 - x:.4f},44.0004,750,250\n" for k, x in enumerate(west)),
        "fill_sites.csv": "site_id,name,kind,lon,lat,fill_gpm,turnaround,positions,needs_engine,months\n"
        "S0,A,dry hydrant,-72.0,44.0,300,through,1,no,1-12\nS3,B,dry hydrant,-72.0314,44.0,500,through,2,yes,6-8\n",
        "stations.csv": "station_id,name,lon,lat,turnout_min\n"
        + "".join(f"{one},{one},-72.02,44.0002,{late}\n" for one, late in turnout_min.items()),
        "apparatus.csv": "unit_id,station_id,kind,tank_gal,portable_tank_gal,supply_hose_ft,supply_hose_in\n"
        + engines
        + tankers,
    }
    plan = plan_checks.plan_of(district.write(tmp_path / "district"))
    levels_of, rows = plan.levels, np.arange(len(plan.addresses))
    held, gap, shown = levels_of.uninterrupted_gpm, levels_of.gap_min, plan.answers.level
    alike = np.abs(held - held[rows, shown][:, None]) < 1e-6
    assert (alike & (gap < gap[rows, shown][:, None] - 0.5)).any(), "no level is dry for less: this test shows nothing"
