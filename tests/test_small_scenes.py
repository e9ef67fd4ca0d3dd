"""Scenes of a few units, each worked out by hand: who can be where, and whose water it is."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from preplan.inputs.fill_sites import read_fill_sites
from preplan.plan_tables import AnswerTable, LevelTable
from preplan.planning.assignment import Scene
from preplan.planning.fireground import case_table, everyone
from preplan.planning.needs import needs_of
from preplan.records import FeatureTable, ResponseLevel, Unit, text_array
from preplan.rules import RequiredFlowRules, Rules, ShuttleRules
from preplan.water.hydraulics import pump_share
from preplan.water.timeline import account, answer, brought_gpm, strip
from preplan.water.timeline_batch import brought_gpm as brought_in_columns
from preplan.water.timeline_batch import gaps
from tests.inputs_folder import sheet_of
from tests.planning_case import ENGINES, scene, site, unit
from tests.road_builder import address_table, lonlat
from tests.test_levels import flags_of, graded

FIRST = (np.zeros(1, dtype=np.int32),) * 3
"""The first address, fill site and level."""


def level(engines: int, tankers: int) -> tuple[ResponseLevel, ...]:
    return (ResponseLevel(name="Level 1", engines=engines, tankers=tankers),)


def tankers(count: int, **changes: Any) -> tuple[Unit, ...]:
    return tuple(unit(f"T{k}", "tanker", tank_gal=3000.0, **changes) for k in range(1, count + 1))


def held(case: Scene) -> tuple[float, str, LevelTable, AnswerTable]:
    """Give what the only address holds, what holds it back, and both tables."""
    levels, answers = graded(case)
    return float(levels.uninterrupted_gpm[0, 0]), str(levels.limited_by[0, 0]), levels, answers


# ------------------------------------------------------------------------------------------- portable tanks


@pytest.mark.parametrize("carried_gal", [0.0, 2000.0])
def test_who_pumps_at_the_fill_site_brings_no_portable_tank_to_the_fire(carried_gal: float) -> None:
    """P1 is at the pond at 12. The first tank that comes is T1's at 20: ready at 25, with or without P1's own."""
    units = (
        unit("E1", "engine", tank_gal=1000.0, portable_tank_gal=0.0),
        unit("E2", "engine", tank_gal=1000.0, portable_tank_gal=0.0),
        unit("P1", "pumper-tanker", portable_tank_gal=carried_gal),
        *tankers(2, portable_tank_gal=2500.0),
    )
    town = scene([[6.0]], (site("F1"),), units=units, levels=level(3, 2), arrival_min=[10, 14, 11, 20, 22.0])
    away = np.array([[30.0, 30.0, 12.0, 40.0, 40.0]])
    town = replace(town, response=replace(town.response, site_arrival_min=away))
    flow, _, levels, answers = held(town)
    assert (int(levels.fill_engine[0, 0]), flow, answers.status[0]) == (2, 0.0, "not met")
    told = gaps(case_table(town, everyone(town, *FIRST)))
    assert told.dump_ready_min[0] == 25.0


# ---------------------------------------------------------------------------------------- months without anyone


def test_where_no_engine_comes_nothing_is_brought_and_nothing_known_to_be_short() -> None:
    """It was no shortage at all, so months in which nobody comes were the best of the year."""
    town = scene([[6.0]], (site("F1"),), arrival_min=[np.inf] * 3 + [12.0, 13.0, 14.0])
    table = case_table(town, everyone(town, *FIRST))
    assert np.isnan(gaps(table).short_gal[0])
    assert brought_in_columns(table, np.zeros(1)).tolist() == [0.0]
    case = table.case(0)
    assert np.isnan(answer(case).short_gal)
    assert brought_gpm(case, 0.0) == 0.0


# -------------------------------------------------------------------------------------------------- nursing


@pytest.mark.parametrize(
    ("pump_gpm", "dry_from"),
    [
        (None, 12.0 + 500.0 / 150.0),  # nobody nurses: E1's own 500 gal
        (0.0, 12.0 + 500.0 / 150.0),
        (100.0, 12.0 + 500.0 / (150.0 - 100.0)),  # the rest out of E1's tank
        (1000.0, 25.0 + (500.0 + 4500.0 - 13.0 * 150.0) / 750.0),  # T1's 4,500 gal, then E1's
    ],
)
def test_a_nurse_gives_no_more_than_its_pump(pump_gpm: float | None, dry_from: float) -> None:
    """150 gpm are drawn from minute 12, 750 from 25, and the dump site stands at 31."""
    units = (
        unit("E1", "engine", tank_gal=500.0), unit("E2", "engine"), unit("E3", "engine"),
        unit("T1", "tanker", tank_gal=5000.0, pump_gpm=pump_gpm), *tankers(3, pump_gpm=None)[1:],
    )  # fmt: skip
    arrivals = [10, 26, 26, 12, 13, 14.0]
    town = scene(
        [[2.0]], (site("F1", fill_gpm=1000.0),), units=units, levels=level(3, 3), arrival_min=arrivals,
        required_gpm=750.0, driveway_ft=300.0,
    )  # fmt: skip
    told = gaps(case_table(town, everyone(town, *FIRST)))
    assert told.first_gap_min[0] == pytest.approx(dry_from)


@pytest.mark.parametrize(
    ("hose_ft", "engines", "fed_min"),
    [
        ([400.0, 0.0], 3, 12.0),  # E1 has enough for the 300 ft of driveway and 100 ft of road
        ([399.0, 0.0], 3, np.nan),  # the line is a foot short
        ([0.0, 400.0], 3, 26.0),  # it is that of E2, which comes at 26 and drafts
        ([100.0, 300.0], 3, 26.0),
        ([390.0, 10.0], 3, 26.0),
        ([400.0, 1000.0], 3, 12.0),  # the line is of E2's larger hose, and E1's own is free for the tanker
        ([399.0, 1000.0], 3, 26.0),
        ([400.0, 0.0], 1, 12.0),  # nobody drafts; E1 lays in
        ([399.0, 0.0], 1, np.nan),
    ],
)
def test_a_nurse_needs_the_hose_of_the_supply_line(hose_ft: list[float], engines: int, fed_min: float) -> None:
    """T1 is there at 12 with a pump; E1's own 300 gal are gone at 14; the dump site stands at 31, if at all."""
    units = (
        unit("E1", "engine", tank_gal=300.0, supply_hose_ft=hose_ft[0], supply_hose_in=3.0),
        unit("E2", "engine", supply_hose_ft=hose_ft[1]),
        unit("E3", "engine", supply_hose_ft=0.0),
        *tankers(1, pump_gpm=500.0),
    )
    town = scene(
        [[2.0]],
        (site("F1", needs_engine=False),),
        units=units,
        levels=level(engines, 1),
        arrival_min=[10, 26, 27, 12.0],
        required_gpm=150.0,
        driveway_ft=300.0,
    )
    table = case_table(town, everyone(town, *FIRST))
    case = table.case(0)
    fed = strip(account(case)).nursed
    assert (np.nan if fed is None else fed.start_min) == pytest.approx(fed_min, nan_ok=True)
    dry = gaps(table)
    assert dry.first_gap_min[0] == pytest.approx(14.0 if not fed_min < 14 else 12.0 + (300.0 + 2700.0) / 150.0)
    assert dry.gap_min[0] == pytest.approx(answer(case).gap_min)


# ------------------------------------------------------------------------------------------- one source's water


def test_what_one_row_says_of_a_source_holds_for_its_other_sites() -> None:
    head = "site_id,name,kind,lon,lat,source_id,storage_gal,refill_gpm,site_gpm,low_gpm"
    sheet = sheet_of("fill_sites", head, [
        ["F1", "One", "dry hydrant", "-72", "44", "POND", "12000", "20", "400", ""],
        ["F2", "Two", "dry hydrant", "-72", "44", "POND", "", "", "", "300"],
        ["F3", "Three", "draft", "-72", "44", "POND", "20000", "", "900", ""],
        ["F4", "Four", "draft", "-72", "44", "", "", "", "", ""],
    ])  # fmt: skip
    sites = read_fill_sites(sheet, ShuttleRules())
    said = [(one.storage_gal, one.refill_gpm, one.site_gpm, one.low_gpm) for one in sites]
    # a rate that a row gives is that of its own connection
    assert said == [(12000.0, 20.0, 400.0, 300.0), (12000.0, 20.0, 400.0, 300.0), (12000.0, 20.0, 900.0, 300.0),
                    (None, None, None, None)]  # fmt: skip
    notes = [note for note in sheet.notes if "draws on POND" in note]
    assert len(notes) == 3
    assert "F2 draws on POND as other rows do: storage_gal 12000, refill_gpm 20, site_gpm 400" in notes[1]


def test_a_source_that_is_used_up_is_told_whatever_holds_the_flow_back() -> None:
    """Late tankers are what holds the flow; the cistern of 12,000 gal is empty for most of the time all the same."""
    units, drivers = (*ENGINES, *tankers(4)), [10, 11, 12, 30, 31, 32, 33.0]

    def runs_out(storage_gal: float) -> bool:
        sites = (site("F1", kind="cistern", storage_gal=storage_gal, refill_gpm=0.0, fill_gpm=1000.0),)
        town = scene([[6.0]], sites, units=units, levels=level(3, 4), required_gpm=500.0, arrival_min=drivers)
        assert held(town)[1] == "arrival"
        return f"source runs out={storage_gal:.0f} gal" in flags_of(town)

    assert runs_out(12_000.0)
    assert not runs_out(200_000.0)


# --------------------------------------------------------------------------------------------------- vacuum


VACUUM = tuple(
    unit(f"V{k}", "tanker", tank_gal=3000.0, self_fill_gpm=800.0, usable_fraction=1.0) for k in (1, 2)
)  # fmt: skip


@pytest.mark.parametrize("engines", [2, 3])
def test_a_vacuum_lifts_no_more_than_any_pump(engines: int) -> None:
    """At 20 ft six tenths of it, 480 gpm: 6.25 min to fill; nothing at 26 ft. Table DRAFT of `hydraulics`."""

    def flow(lift_ft: float) -> float:
        sites = (site("F1", kind="draft", lift_ft=lift_ft),)
        town = scene([[6.0]], sites, units=(*ENGINES, *VACUUM), levels=level(engines, 2), driveway_ft=300.0)
        return float(graded(town)[0].sustained_gpm[0, 0])

    # one place, each tanker: 0.5 min hook-up and the filling; one after the other, while both drive 6 min and more
    cycle = 1.0 + (0.5 + 3000.0 / 480.0) + 1.5 + (0.5 + 3.0) + 6.0
    assert flow(20.0) == pytest.approx(6000.0 / max(cycle, 2 * (0.5 + 6.25), 6000.0 / 900.0), rel=1e-6)
    assert flow(10.0) > flow(20.0)
    assert flow(26.0) == 0.0


def test_no_engine_pumps_for_tankers_that_fill_themselves() -> None:
    """A third engine with a small pump, sent to the pond, held two vacuum tankers down."""

    def flow(engines: int, pump_gpm: float) -> tuple[float, int]:
        units = (*(unit(f"E{k}", "engine", pump_gpm=1250.0 if k != 2 else pump_gpm) for k in (1, 2, 3)), *VACUUM)
        town = scene(
            [[6.0]], (site("F1", kind="draft"),), units=units, levels=level(engines, 2), driveway_ft=150.0,
            required_gpm=350.0,
        )  # fmt: skip
        gpm, _, levels, _ = held(town)
        return gpm, int(levels.fill_engine[0, 0])

    assert [flow(engines, 1250.0)[1] for engines in (2, 3)] == [-1, -1]
    assert flow(3, 500.0) == flow(3, 1250.0)


# ------------------------------------------------------------------------------------------ pumps under pressure


def test_a_supply_line_under_high_pressure_takes_less_from_its_pump() -> None:
    """By its rating a pump gives half at 250 psi (NFPA 1911: 100 % at 150 psi, 70 % at 200, 50 % at 250)."""
    assert pump_share(250.0) == 0.5

    def flow(psi: float) -> float:
        small = tuple(replace(one, pump_gpm=500.0) if one.unit_id == "E2" else one for one in ENGINES)
        town = scene(
            [[0.5]], (site("F1", kind="hydrant", needs_engine=False, fill_gpm=1000.0, site_gpm=5000.0, positions=4),),
            units=(*small, *tankers(3)), levels=level(3, 3), required_gpm=450.0, driveway_ft=900.0,
            rules=Rules(shuttle=ShuttleRules(supply_psi=psi)),
        )  # fmt: skip
        return held(town)[0]

    assert flow(150.0) == pytest.approx(500.0)
    assert flow(250.0) == pytest.approx(250.0)


# ------------------------------------------------------------------------------------------- mapped buildings


@pytest.mark.parametrize(
    ("occupancy", "height_ft"), [("", 20.0), ("vacant land", 30.0), ("under construction", 30.0), ("parcel", 30.0)]
)
def test_a_mapped_building_counts_whatever_the_table_calls_the_place(occupancy: str, height_ft: float) -> None:
    """120 x 60 ft, as high as a dwelling or as two stories, hazard 7 (NFPA 1142); a 'parcel' had the least need."""
    corners = ((60, 0), (180, 0), (180, 60), (60, 60), (60, 0))
    ring = np.array([lonlat(x * 0.3048, y * 0.3048) for x, y in corners])
    table = replace(address_table([(0.0, 0.0)], ["1 Mill Road"]), occupancy=text_array([occupancy]))
    need = needs_of(table, FeatureTable(building_rings=(ring,)), RequiredFlowRules())
    assert need.basis.tolist() == ["nfpa1142:footprint"]
    assert need.required_gal[0] == pytest.approx(120.0 * 60.0 * height_ft / 7.0, rel=1e-3)
    none = needs_of(table, FeatureTable(), RequiredFlowRules())
    assert none.basis[0] == ("nfpa1142:not a building" if occupancy else "nfpa1142:default dwelling")
