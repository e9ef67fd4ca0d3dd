"""Stations, apparatus, fill sites and closures: defaults that are named, and faults that stop the run."""

from __future__ import annotations

from dataclasses import replace

import pytest

from preplan.inputs import bounds
from preplan.inputs.apparatus import fleet_findings, read_apparatus, read_stations
from preplan.inputs.closures import WAY_REMEDY, read_closures
from preplan.inputs.fill_sites import read_fill_sites
from preplan.inputs.sheet import ROUNDED_RULE, Sheet
from preplan.planning.vehicles import assumed_notes
from preplan.records import ALL_MONTHS, Closure, FillSite, Station, Unit
from preplan.rules import ApparatusRules, RoadRules, Rules, ShuttleRules
from preplan.units import LB_PER_GAL
from tests.inputs_folder import sheet_of

RULES = Rules()
OWN, SHUTTLE = RULES.apparatus, RULES.shuttle


def lines(*texts: str) -> list[list[str]]:
    return [text.split("|") for text in texts]


def faults(sheet: Sheet) -> list[tuple[str, str]]:
    """List id and column of each fault."""
    return [(fault.id, fault.column) for fault in sheet.faults]


# ----------------------------------------------------------------------------- stations


def stations(header: str, *texts: str) -> tuple[tuple[Station, ...], Sheet]:
    sheet = sheet_of("stations", header, lines(*texts))
    return read_stations(sheet, OWN), sheet


def test_a_turnout_that_nobody_reaches_is_asked_about() -> None:
    found, sheet = stations("station_id,name,lon,lat,turnout_min", "a|A|-72|44|45 sec", "b|B|-72|44|1")
    assert [one.turnout_min for one in found] == [0.75, 1.0]
    (asked,) = sheet.notes
    assert "turnout_min 0.75 is little for the turnout of a station, seldom below 1 min" in asked


@pytest.mark.parametrize(("said", "asked"), [("19", False), ("20", True), ("45", True)])
def test_a_turnout_that_may_be_seconds_is_asked_about(said: str, *, asked: bool) -> None:
    (found,), sheet = stations("station_id,name,lon,lat,turnout_min", f"a|A|-72|44|{said}")
    assert found.turnout_min == float(said)
    assert ["above 19 min: is it seconds? It is taken as it is" in note for note in sheet.notes] == [True] * asked


def test_turnout_follows_from_staffing() -> None:
    header = "station_id,name,lon,lat,staffed,turnout_min,aid,max_engines,max_tankers"
    found, _ = stations(
        header,
        "a|A|-72|44|||||",
        "b|B|-72|44|yes||Automatic|1|0",
        "c|C|-72|44|no||on request||",
        "d|D|-72|44|yes|3.5 min|||",
    )
    assert [one.turnout_min for one in found] == [
        OWN.turnout_volunteer_min, OWN.turnout_staffed_min, OWN.turnout_volunteer_min, 3.5,
    ]  # fmt: skip
    assert [one.staffed for one in found] == [False, True, False, True]
    assert [one.aid for one in found] == ["own", "automatic", "on request", "own"]
    assert (found[0].max_engines, found[1].max_engines, found[1].max_tankers) == (None, 1, 0)


def test_stations_at_fault() -> None:
    header = "station_id,name,lon,lat,staffed,turnout_min,aid,max_engines"
    found, sheet = stations(
        header, "a||-72|44||||", "b|B|-72|444||||", "c|C|-72|44|some|||", "d|D|-72|44||-1||", "e|E|-72|44|||never|",
        "f|F|-72|44||||1.5",
    )  # fmt: skip
    assert found == ()
    assert sorted(faults(sheet)) == [
        ("a", "name"), ("b", "lat"), ("c", "staffed"), ("d", "turnout_min"), ("e", "aid"), ("f", "max_engines"),
    ]  # fmt: skip


# ----------------------------------------------------------------------------- apparatus


def units(header: str, *texts: str, rules: Rules = RULES) -> tuple[tuple[Unit, ...], Sheet]:
    sheet = sheet_of("apparatus", "unit_id,station_id,kind" + header, lines(*texts))
    return read_apparatus(sheet, rules, {"H1", "H2"}), sheet


def test_a_neighbour_known_only_by_its_gallons_plans() -> None:
    (unit,), sheet = units(",tank_gal", "T9|H2|tanker|2,000 gal")
    assert sheet.faults == []
    assert unit == Unit(
        unit_id="T9",
        station_id="H2",
        kind="tanker",
        tank_gal=2000.0,
        pump_gpm=None,
        dump_gpm=1000.0,
        intake_gpm=1000.0,
        self_fill_gpm=None,
        loaded_lb=42900.0,  # 9,500 + 16.7 x 2,000
        empty_lb=26220.0,  # less 2,000 gal of 8.34 lb
        axle_lb=25740.0,  # six tenths
        height_ft=10.5,
        width_ft=8.5,
        max_mph=60.0,
        portable_tank_gal=2000.0,
        usable_fraction=0.9,
        supply_hose_ft=0.0,
        supply_hose_in=3.0,
        in_service=True,
        assumed=(
            "dump_gpm", "intake_gpm", "loaded_lb", "empty_lb", "axle_lb", "height_ft", "width_ft", "max_mph",
            "portable_tank_gal", "usable_fraction", "supply_hose_ft", "supply_hose_in",
        ),
    )  # fmt: skip


def test_nothing_is_assumed_where_all_is_given() -> None:
    header = (
        ",tank_gal,pump_gpm,dump_gpm,intake_gpm,loaded_lb,empty_lb,axle_lb,height_ft,width_ft,max_mph,"
        "portable_tank_gal,usable_fraction,supply_hose_ft,supply_hose_in,in_service,self_fill_gpm"
    )
    (unit,), _ = units(
        header, "T1|H1|Tender|2500|500 GPM|800|900|45,000 lb|24000|27000|10 ft|8.2|55|3000|0.95|800|4 in|no|400"
    )
    assert unit.assumed == ()
    assert unit.kind == "tanker"
    assert (unit.pump_gpm, unit.dump_gpm, unit.intake_gpm, unit.self_fill_gpm) == (500, 800, 900, 400)
    assert (unit.loaded_lb, unit.empty_lb, unit.axle_lb) == (45000, 24000, 27000)
    assert (unit.height_ft, unit.width_ft, unit.max_mph) == (10, 8.2, 55)
    assert (unit.portable_tank_gal, unit.usable_fraction) == (3000, 0.95)
    assert (unit.supply_hose_ft, unit.supply_hose_in, unit.in_service) == (800, 4, False)


@pytest.mark.parametrize(("tank", "dump_gpm"), [(999, 500), (1000, 1000), (3500, 1000), (3501, 500)])
def test_the_dump_rate_follows_from_the_tank(tank: int, dump_gpm: float) -> None:
    (unit,), _ = units(",tank_gal", f"T1|H1|tanker|{tank}")
    assert unit.dump_gpm == dump_gpm


def test_a_vacuum_tanker_delivers_its_whole_tank() -> None:
    (unit,), _ = units(",tank_gal,self_fill_gpm", "V1|H1|tanker|3000|500")
    assert unit.usable_fraction == SHUTTLE.vacuum_usable_fraction
    assert "usable_fraction" in unit.assumed


def test_an_engine_has_pump_hose_and_weight_of_an_engine() -> None:
    (engine, heavy, either), _ = units(",tank_gal", "E1|H1|engine|", "E2|H1|pumper|2500", "P1|H1|pumper-tanker|1500")
    assert (engine.tank_gal, engine.pump_gpm) == (OWN.engine_tank_gal, OWN.engine_pump_gpm)
    assert (engine.supply_hose_ft, engine.supply_hose_in) == (SHUTTLE.supply_hose_ft, SHUTTLE.supply_hose_in)
    assert {"tank_gal", "pump_gpm", "loaded_lb"} <= set(engine.assumed)
    assert engine.loaded_lb == OWN.engine_loaded_lb
    assert heavy.loaded_lb == OWN.chassis_lb + OWN.lb_per_tank_gal * 2500  # never lighter than its water makes it
    assert either.pump_gpm == OWN.engine_pump_gpm


def test_the_district_sets_the_defaults() -> None:
    rules = Rules(
        roads=RoadRules(top_mph=45.0),
        shuttle=ShuttleRules(usable_fraction=0.8, intake_gpm=700.0, small_dump_gpm=900.0),
        apparatus=ApparatusRules(chassis_lb=20000.0, axle_share=0.5, tanker_tank_gal=1800.0),
    )
    (unit,), _ = units("", "T1|H1|tanker", rules=rules)
    assert (unit.tank_gal, unit.max_mph, unit.usable_fraction) == (1800, 45, 0.8)
    assert (unit.intake_gpm, unit.dump_gpm) == (700, 900)
    assert unit.loaded_lb == 20000 + 16.7 * 3500  # whose tank is not known may be a heavy one
    assert unit.axle_lb == unit.loaded_lb / 2


def test_a_tanker_of_which_nothing_is_known_brings_little_and_weighs_much() -> None:
    """Taken for the small tanker that its water is counted as, it went over bridges that a usual one breaks."""
    found, sheet = units(
        ",tank_gal,loaded_lb,empty_lb", "T1|H1|tanker|||", "T2|H1|tanker||41000|", "T3|H1|tanker|1000||",
        "P1|H1|pumper-tanker|||", "T4|H1|tanker|||31000",
    )  # fmt: skip
    one, weighed, small, either, empty = found
    assert {unit.tank_gal for unit in found} == {OWN.tanker_tank_gal}
    assert one.loaded_lb == either.loaded_lb == empty.loaded_lb == OWN.chassis_lb + OWN.lb_per_tank_gal * 3500
    assert one.dumped_lb > one.loaded_lb - LB_PER_GAL * 3500  # some of its water stays aboard
    assert (weighed.loaded_lb, small.loaded_lb) == (41000, OWN.chassis_lb + OWN.lb_per_tank_gal * 1000)
    assert (one.weight_words, weighed.weight_words) == ("67,950 lb assumed", "41,000 lb")
    assert empty.empty_lb == 31000
    assert not sheet.faults


def test_open_water_that_needs_no_engine_is_asked_about() -> None:
    header = "site_id,name,kind,lon,lat,needs_engine"
    rows = [["S1", "Pond", "draft", "-72", "44", "no"], ["S2", "Main", "hydrant", "-72.1", "44", "no"]]
    sheet = sheet_of("fill_sites", header, [*rows, ["S3", "Brook", "dry hydrant", "-72.2", "44", ""]])
    assert [site.needs_engine for site in read_fill_sites(sheet, SHUTTLE)] == [False, False, True]
    (asked,) = [note for note in sheet.notes if "needs_engine" in note]
    assert "row 2 (S1): needs_engine 0 where water is drafted: what pumps it?" in asked


def test_units_of_which_no_tank_or_weight_is_known_are_told() -> None:
    found, _ = units(",tank_gal,loaded_lb", "T1|H1|tanker||", "T2|H1|tanker|2000|41000", "E1|H1|engine|1000|")
    tank, weight = assumed_notes(found, OWN)
    assert tank.startswith("apparatus: no tank_gal is given for T1: 1,000 gal of water counts for each, and without a")
    assert weight.endswith("at bridges and limits is assumed: T1 67,950 lb, E1 44,000 lb")
    every, _ = assumed_notes(found[:1], OWN)
    assert "no tanker has a tank_gal (is it under another header?)" in every
    assert assumed_notes(found[1:2], OWN) == ()


def test_apparatus_at_fault() -> None:
    header = ",tank_gal,loaded_lb,empty_lb,usable_fraction,pump_gpm"
    found, sheet = units(
        header,
        "a|H9|tanker|2000||||",
        "b|H1|truck|2000||||",
        "c|H1|tanker|0||||",
        "d|H1|tanker|2000|30000|31000||",
        "e|H1|tanker|2000|||90|",
        "f|H1|tanker|2000|15000|||",
        "g|H1|engine|500||||0",
        "h|H1|tanker|2000 L||||",
        "i|H1|tanker|2000||60000||",
        "ok|H1|tanker|2000||||",
        "ok|H1|tanker|2000||||",
    )
    assert sorted(faults(sheet)) == [
        ("a", "station_id"), ("b", "kind"), ("c", "tank_gal"), ("d", "empty_lb"), ("e", "usable_fraction"),
        ("f", "loaded_lb"), ("g", "pump_gpm"), ("h", "tank_gal"), ("i", "empty_lb"), ("ok", "unit_id"),
    ]  # fmt: skip
    assert [unit.unit_id for unit in found] == ["ok"]


@pytest.mark.parametrize(
    ("fleet", "wanting"),
    [
        (["E|engine|yes", "T|tanker|yes"], []),
        (["E|engine|yes", "P|pumper-tanker|yes"], []),
        (["P|pumper-tanker|yes", "Q|pumper-tanker|yes"], []),
        (["E|engine|yes", "T|tanker|no"], ["no tanker is in service"]),
        (["E|engine|no", "T|tanker|yes"], ["no engine is in service"]),
        (["E|engine|no"], ["no engine is in service", "no tanker is in service"]),
    ],
)
def test_a_fleet_needs_an_engine_and_a_tanker(fleet: list[str], wanting: list[str]) -> None:
    texts = ["{}|H1|{}|{}".format(*one.split("|")) for one in fleet]
    found, _ = units(",in_service", *texts)
    assert [finding.rule for finding in fleet_findings(found, "apparatus.csv")] == wanting


def test_one_pumper_tanker_is_not_both() -> None:
    found, _ = units("", "P|H1|pumper-tanker")
    (finding,) = fleet_findings(found, "apparatus.csv")
    assert "not both" in finding.rule


@pytest.mark.parametrize(
    ("row", "asked"), [("E1|H1|engine|75", True), ("E1|H1|engine|100", False), ("E1|H1|engine|0", False)]
)
def test_an_engine_with_hardly_any_tank_is_asked_about(row: str, *, asked: bool) -> None:
    (_unit,), sheet = units(",tank_gal", row)
    told = "(E1): tank_gal 75 is little for the tank of an engine, seldom below 100 gal"
    assert [told in note for note in sheet.notes] == [True] * asked


def test_units_told_apart_by_marks_alone_are_asked_about() -> None:
    """One truck in two lists counts twice, and brings water that does not exist."""
    rows = ["T11|H1|tanker|", "T-11|H1|tanker|", "E1|H1|engine|", "e.1|H1|engine|", "T1|H1|tanker|"]
    found, sheet = units(",in_service", *rows)
    assert len(found) == len(rows)
    (note,) = sheet.notes
    assert "T11 (row 2) and T-11 (row 3), E1 (row 4) and e.1 (row 5): may be one unit counted twice" in note
    assert units(",in_service", "T11|H1|tanker|", "T-11|H1|tanker|no")[1].notes == [], "it counts once"
    (capitals,) = units("", "T11|H1|tanker", "t11|H1|tanker")[1].notes
    assert "differ only in capitals" in capitals, "told once"


# ----------------------------------------------------------------------------- fill sites


def sites(header: str, *texts: str) -> tuple[tuple[FillSite, ...], Sheet]:
    sheet = sheet_of("fill_sites", "site_id,name,kind,lon,lat" + header, lines(*texts))
    return read_fill_sites(sheet, SHUTTLE), sheet


def test_what_is_possible_and_seldom_is_taken_and_asked_about() -> None:
    """A digit too many makes a pond feed the whole district: nothing refuses it, so somebody has to be asked."""
    found, sheet = sites(",fill_gpm,site_gpm", "a|A|draft|-72|44|10000|", "b|B|draft|-72|44.1|2500|10000")
    assert [one.fill_gpm for one in found] == [10_000.0, 2500.0]
    assert sheet.faults == []
    (asked,) = sheet.notes
    assert "(a): fill_gpm 10,000 is much for the rate into one tanker, seldom above 2,500 gpm" in asked
    _, refused = sites(",fill_gpm", "a|A|draft|-72|44|100000")
    assert faults(refused) == [("a", "fill_gpm")]
    assert refused.notes == []


def test_sites_on_one_spot_are_asked_about_unless_they_share_a_source() -> None:
    """A site that stands twice is its own backup. By hand: 0.0002 degrees of latitude are 73 ft, 0.0003 are 109."""
    _, sheet = sites("", "a|A|draft|-72|44", "Za|B|draft|-72|44", "b|C|draft|-72|44.0002", "c|D|draft|-72|44.0005")
    (note,) = sheet.notes
    assert "fill_sites.csv: a and Za lie 0 ft apart, a and b lie 73 ft apart: if they are one water, give both" in note
    for header, first, other in (
        (",source_id", "mill", "mill"), (",in_service", "", "no"), (",months", "4-10", "11-3"),
    ):  # fmt: skip
        assert sites(header, f"a|A|draft|-72|44|{first}", f"b|B|draft|-72|44|{other}")[1].notes == [], header
    _, many = sites("", *(f"{i}|Site {i}|draft|-72|44" for i in range(9)))
    assert "0 and 5 lie 0 ft apart, and 3 more pairs as near: if" in many.notes[0]


def test_a_bare_site_gets_the_defaults() -> None:
    (site,), _ = sites("", "S1|Pond|draft|-72|44")
    assert site == FillSite(
        site_id="S1", name="Pond", kind="draft", lon=-72.0, lat=44.0, fill_gpm=SHUTTLE.fill_gpm, fill_gpm_given=False,
        turnaround_given=False, lift_given=False,
    )  # fmt: skip
    assert (site.positions, site.turnaround, site.lift_ft, site.months) == (1, "back", 10.0, ALL_MONTHS)
    (given,), _ = sites(",lift_ft", "S1|Pond|draft|-72|44|10")
    assert given == replace(site, lift_given=True), "a lift that is given is none that stands in"


def test_every_column_of_a_site_is_read() -> None:
    header = (
        ",fill_gpm,site_gpm,tested,positions,source_id,storage_gal,refill_gpm,low_gpm,turnaround,lift_ft,"
        "needs_engine,months,in_service,connection,notes"
    )
    (site,), sheet = sites(
        header,
        "S1|Pond|Dry Hydrant|-72|44|750 gpm|1,200|6/30/2025|2|mill pond|90,000 gal|0|400|Loop|8 ft|no|11-3|no|6 in|key",
    )
    assert sheet.faults == []
    assert site == FillSite(
        site_id="S1", name="Pond", kind="dry hydrant", lon=-72.0, lat=44.0, fill_gpm=750.0, site_gpm=1200.0,
        tested="2025-06-30", positions=2, source_id="mill pond", storage_gal=90000.0, refill_gpm=0.0, low_gpm=400.0,
        turnaround="loop", lift_ft=8.0, needs_engine=False, months=frozenset({11, 12, 1, 2, 3}), in_service=False,
        connection="6 in", notes="key",
    )  # fmt: skip


def test_kind_decides_rate_and_engine_where_cells_are_empty() -> None:
    found, sheet = sites(
        ",storage_gal",
        "a|A|hydrant|-72|44|",
        "b|B|dry hydrant|-72|44|",
        "c|C|draft|-72|44|",
        "d|D|cistern|-72|44|9000",
        "e|E|tank|-72|44|9000",
    )
    assert sheet.faults == []
    assert [site.needs_engine for site in found] == [False, True, True, True, False]
    assert [site.fill_gpm for site in found] == [SHUTTLE.fill_gpm] * 4 + [SHUTTLE.gravity_fill_gpm]
    assert not any(site.fill_gpm_given for site in found)


@pytest.mark.parametrize("said", ["none", "No", "unknown", "0", "-"])
def test_sites_share_no_source_that_is_none(said: str) -> None:
    """Two ponds whose source is 'none' would be one, and neither the other's backup."""
    _, sheet = sites(",source_id", f"a|A|draft|-72|44|{said}", f"b|B|draft|-72|44.1|{said}", "c|C|draft|-72|44.2|N")
    assert [(one.row, one.column, one.value) for one in sheet.faults] == [
        (2, "source_id", said),
        (3, "source_id", said),
    ]


def test_sites_come_in_the_order_of_their_ids() -> None:
    found, _ = sites("", "S2|A|draft|-72|44", "S10|B|draft|-72|44", "a|C|draft|-72|44")
    assert [site.site_id for site in found] == ["S10", "S2", "a"]


def test_sites_at_fault() -> None:
    header = ",fill_gpm,positions,storage_gal,turnaround,months,tested,lift_ft"
    found, sheet = sites(
        header,
        "a|A|well|-72|44|||||||",
        "b|B|cistern|-72|44|||||||",
        "c|C|draft|-72|44|0||||||",
        "d|D|draft|-72|44||0|||||",
        "e|E|draft|-72|44||||sideways|||",
        "f|F|draft|-72|44|||||4-Nov||",
        "g|G|draft|-72|44||||||soon|",
        "h|H|draft|-72|44|||||||40",
        "i|I|draft|0|0|||||||",
    )
    assert found == ()
    assert sorted(faults(sheet)) == [
        ("a", "kind"), ("b", "storage_gal"), ("c", "fill_gpm"), ("d", "positions"), ("e", "turnaround"),
        ("f", "months"), ("g", "tested"), ("h", "lift_ft"), ("i", "lon, lat"),
    ]  # fmt: skip


# ----------------------------------------------------------------------------- closures


def closures(header: str, *texts: str) -> tuple[tuple[Closure, ...], Sheet]:
    sheet = sheet_of("closures", "closure_id,kind" + header, lines(*texts))
    return read_closures(sheet), sheet


def test_a_number_of_months_is_asked_about() -> None:
    """'12' under months closes a road in December alone, though a year may be meant."""
    found, sheet = closures(",way_id,months", "A|closed|5|12", "B|closed|6|3", "C|closed|7|4-11", "D|closed|8|Dec")
    assert [sorted(one.months) for one in found[:2]] == [[12], [3]]
    (asked,) = sheet.notes
    assert asked.startswith("closures.csv: row 2 (A): months '12' is read as December alone, and 1 more likewise: is")


def test_ids_of_units_with_blanks_are_taken_and_noted() -> None:
    """Cells of the results part units by blanks."""
    found, sheet = units("", "Tanker 3|H1|tanker", "Tanker 4|H1|tanker", "E1|H1|engine")
    assert [one.unit_id for one in found] == ["Tanker 3", "Tanker 4", "E1"]
    (note,) = sheet.notes
    assert "unit_id 'Tanker 3' and 1 more: has a blank;" in note
    assert units("", "T-3|H1|tanker")[1].notes == []


def test_a_way_is_known_as_links_and_exports_write_it_and_nothing_else_is() -> None:
    """A node or a road's number is no way: the fault says what to write."""
    link = "https://www.openstreetmap.org/way/"
    good = ("way/5", "W6", "way 7", f"{link}8", "9")
    bad = ("node/5", "Route 5", "relation/5", "5;6")
    found, sheet = closures(",way_id", *(f"{i}|closed|{one}" for i, one in enumerate((*good, *bad))))
    assert [one.way_id for one in found] == [5, 6, 7, 8, 9]
    assert [one.value for one in sheet.faults] == list(bad)
    assert {one.rule for one in sheet.faults} == {f"is not a number{WAY_REMEDY}"}


def test_a_way_that_a_spreadsheet_shortened_is_a_fault() -> None:
    """9.00E+09 is a number, and of another road."""
    _, sheet = closures(",way_id", "A|closed|9.00E+09", "B|closed|9000000052")
    assert [(one.id, one.column, one.rule) for one in sheet.faults] == [("A", "way_id", ROUNDED_RULE)]


def test_closures_by_way_point_and_line() -> None:
    found, sheet = closures(
        ",way_id,lon,lat,geometry,value,months,note",
        "a|closed|123|||||12-3|gate",
        "b|max_lb||-72|44||24,000 lb||",
        "c|one_way||||LINESTRING (-72 44, -72.1 44.1)|||",
        "d|max_height_ft|7||||11.5 ft||",
    )
    assert sheet.faults == []
    assert found[0] == Closure(closure_id="a", kind="closed", way_id=123, months=frozenset({12, 1, 2, 3}), note="gate")
    assert found[1] == Closure(closure_id="b", kind="max_lb", line=((-72.0, 44.0),), value=24000.0)
    assert found[2].line == ((-72.0, 44.0), (-72.1, 44.1))
    assert (found[3].way_id, found[3].value) == (7, 11.5)


def test_a_one_way_road_runs_as_the_map_draws_it_or_against_that() -> None:
    found, sheet = closures(",way_id,value", "a|one_way|1|", "b|one_way|1|-1", "c|one_way|1|forward", "d|closed|1|0")
    assert sheet.faults == []
    assert [one.value for one in found] == [None, -1.0, None, None]


def test_what_stands_in_for_an_empty_cell_lies_within_the_bounds() -> None:
    (unit,), _ = units("", "E9|H2|engine")
    for column, bound in bounds.APPARATUS.items():
        value = getattr(unit, column)
        assert value is None or not bounds.broken(value, bound), column


def test_closures_at_fault() -> None:
    found, sheet = closures(
        ",way_id,lon,lat,geometry,value",
        "a|closed|||||",
        "b|max_lb|1||||",
        "c|max_lb|1||||12 t",
        "d|shut|1||||",
        "e|closed|1.5||||",
        "f|closed||-72|||",
        "g|closed||||POLYGON ((0 0, 1 0, 1 1, 0 0))|",
        "h|closed||||LINESTRING (here)|",
        "i|closed||||LINESTRING (44 -172, 44 -173)|",
    )
    assert found == ()
    assert sorted(faults(sheet)) == [
        ("a", "way_id"), ("b", "value"), ("c", "value"), ("d", "kind"), ("e", "way_id"), ("f", "lat"),
        ("g", "geometry"), ("h", "geometry"), ("i", "geometry"),
    ]  # fmt: skip


# ----------------------------------------------------------------------------- other words than ours


@pytest.mark.parametrize(
    ("kind", "remedy"),
    [
        ("Tender 3", "write tanker"), ("Type 1 engine", "write engine"), ("Quint", "write engine where it pumps"),
        ("Ladder", "leave out the row"), ("Brush truck", "leave out the row"), ("Truck 4", "leave out the row"),
        ("Type 6 engine", "leave out the row"), ("crane", "pumper-tanker"),
    ],
)  # fmt: skip
def test_another_word_for_a_unit_says_what_to_do_with_its_row(kind: str, remedy: str) -> None:
    sheet = sheet_of("apparatus", "unit_id,station_id,kind,tank_gal", lines(f"X|H1|{kind}|1000"))
    read_apparatus(sheet, RULES, None)
    (fault,) = sheet.faults
    assert fault.rule.startswith("is not one of: engine, tanker, pumper-tanker")
    assert remedy in fault.rule


@pytest.mark.parametrize(
    ("kind", "remedy"),
    [
        ("Pond", "write draft where an engine drafts from open water, dry hydrant"), ("River", "write draft"),
        ("Drafting site", "write draft where an engine drafts from open water"),
        ("Pressurized hydrant", "write hydrant where a main has pressure"), ("Underground tank", "write cistern"),
        ("Water tower", "write tank"), ("well", "tank"),
    ],
)  # fmt: skip
def test_another_word_for_a_fill_site_says_what_is_meant(kind: str, remedy: str) -> None:
    sheet = sheet_of("fill_sites", "site_id,name,kind,lon,lat", lines(f"F1|Mill|{kind}|-72.1|44.1"))
    read_fill_sites(sheet, SHUTTLE)
    (fault,) = sheet.faults
    assert fault.rule.startswith("is not one of: hydrant, dry hydrant")
    assert remedy in fault.rule


def test_other_words_for_aid_and_closures_say_what_is_meant() -> None:
    _, sheet = stations("station_id,name,lon,lat,aid", "a|A|-72|44|Mutual Aid", "b|B|-72|44|?")
    mutual, unknown = (fault.rule for fault in sheet.faults)
    assert mutual.endswith("; write on request where it is asked for, automatic where it rolls with the alarm")
    assert unknown.endswith(": leave the cell empty where it is not known")
    sheet = sheet_of(
        "closures", "closure_id,kind,way_id", lines("C1|one-way|7", "C2|Weight limit|8", "C3|road closed|9")
    )
    read_closures(sheet)
    assert [fault.rule.rpartition("; ")[2] for fault in sheet.faults] == [
        "write one_way", "write max_lb, and the pounds in value", "write closed, and the months if not all year",
    ]  # fmt: skip


@pytest.mark.parametrize("cell", ["Unknown", "U", "?", "-", "TBD"])
def test_a_word_for_what_nobody_knows_is_refused_with_what_to_do(cell: str) -> None:
    """Not taken as empty: where an empty cell stands for a default the user decides."""
    header = "site_id,name,kind,lon,lat,fill_gpm,needs_engine,in_service"
    sheet = sheet_of("fill_sites", header, lines(f"F1|Mill|draft|-72.1|44.1|{cell}|{cell}|{cell}"))
    read_fill_sites(sheet, SHUTTLE)
    said = {fault.column: fault.rule for fault in sheet.faults}
    assert said["fill_gpm"].endswith(": leave the cell empty where it is not known")
    assert said["needs_engine"].endswith(": leave the cell empty where it is not known")
    assert said["in_service"].endswith("; an empty cell counts as yes")
