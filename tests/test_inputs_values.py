"""What cells say: units, marks, months, dates, places, weights; and what they do not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preplan.inputs import bounds, cells
from preplan.inputs.addresses import read_addresses
from preplan.inputs.apparatus import read_apparatus
from preplan.inputs.closures import read_closures
from preplan.inputs.degrees import from_mercator, look_swapped, read_degree
from preplan.inputs.fill_sites import read_fill_sites
from preplan.inputs.hydrants import read_hydrants
from preplan.inputs.sheet import Sheet, open_sheet
from preplan.inputs.table_specs import ADDRESSES, SPECS
from preplan.records import ALL_MONTHS, Unit
from preplan.rules import HydrantRules, Rules, ShuttleRules
from preplan.units import LB_PER_GAL
from tests.inputs_folder import sheet_of

# ----------------------------------------------------------------------------- numbers


@pytest.mark.parametrize(
    ("cell", "unit", "value"),
    [
        ("1,000 gpm", "gpm", 1000),
        ("2,500 gal", "gal", 2500),
        ("2 500 gal", "gal", 2500),
        ("1.234,5", "gal", 1234.5),
        ("1.234.567", "gal", 1234567),
        ("23 T", "lb", 46000),
        ("23 tons", "lb", 46000),
        ("23.5 short tons", "lb", 47000),
        ("10 tonnes", "lb", 22046.2262185),
        ("9,000 kg", "lb", 19841.60),
        ("42,000#", "lb", 42000),
        ("8'6\"", "ft", 8.5),
        ("8' 6\"", "ft", 8.5),
        ("8 ft 6 in", "ft", 8.5),
        ("8'-6 1/2\"", "ft", 8 + 6.5 / 12),
        ("10\u20326\u2033", "ft", 10.5),
        ("102 in", "ft", 8.5),
        ("0.5 mi", "ft", 2640),
        ("100 yds", "ft", 300),
        ('2 1/2"', "in", 2.5),
        ("2-1/2 in.", "in", 2.5),
        ("90 sec", "min", 1.5),
        ("6 mins", "min", 6),
        ("90%", "fraction", 0.9),
        ("1,200 sq. ft.", "sqft", 1200),
        ("55 mi/h", "mph", 55),
        ("-5 ft", "ft", -5),
        ("1.5e3", "gal", 1500),
    ],
)
def test_numbers_with_units_and_marks(cell: str, unit: str, value: float) -> None:
    assert cells.number(cell, unit) == pytest.approx(value, rel=1e-6) or float(cell) == value


@pytest.mark.parametrize(
    ("cell", "unit"),
    [
        ("23 t", "lb"), ("23 mt", "lb"), ("44,59", "gal"), ("1,23", "lb"), ("12.34.5", "gal"), ("1,2345", "gal"),
        ("8'", "in"), ("8'12\"", "ft"), ("3 m", "ft"), ("10 km/h", "mph"), ("5 gal", "gpm"), ("~500", "gpm"),
        ("500-600", "gpm"), ("500+", "gpm"), ("1/0 in", "in"), ("2 1/0 in", "in"), ("", "lb"), ("90%", "gal"),
    ],
)  # fmt: skip
def test_numbers_that_could_mean_two_things_are_none(cell: str, unit: str) -> None:
    assert np.isnan(cells.number(cell, unit))


@given(st.integers(0, 10**9), st.integers(1, 9))
def test_marks_of_both_kinds_read_as_the_same_number(whole: int, tenths: int) -> None:
    grouped = f"{whole:,}.{tenths}"
    assert cells.number(grouped) == whole + tenths / 10
    if whole >= 1000:  # only then is there a point, and the comma can be nothing but the decimal mark
        assert cells.number(grouped.replace(",", "_").replace(".", ",").replace("_", ".")) == whole + tenths / 10


def test_a_reading_that_a_person_should_know_of_is_noted_once() -> None:
    sheet = sheet_of("apparatus", "unit_id,station_id,kind,loaded_lb", [
        ["a", "H", "tanker", "23 T"], ["b", "H", "tanker", "24 T"], ["c", "H", "tanker", "46,000 lb"],
    ])  # fmt: skip
    assert sheet.number("loaded_lb").tolist() == [46000, 48000, 46000]
    assert sheet.notes == [
        "apparatus.csv: loaded_lb '23 T' was read as 46,000 lb (short tons of 2,000 lb), and 1 more likewise."
    ]


# ----------------------------------------------------------------------------- yes and no, months, dates


def test_yes_and_no_in_their_spellings() -> None:
    said = [
        "Yes",
        "y",
        "TRUE",
        "t",
        "1",
        "1.0",
        "X",
        "\u2713",
        "No",
        "n",
        "False",
        "F",
        "0",
        "0.0",
        "",
        "N/A",
        "<Null>",
    ]
    sheet = sheet_of("addresses", "address_id,label,lon,lat,exposure", [
        [f"{i}", "1 A", "-72", "44", one] for i, one in enumerate(said)
    ])  # fmt: skip
    read = sheet.yes_no("exposure")
    assert sheet.faults == []
    assert read[:14].tolist() == [1] * 8 + [0] * 6
    assert np.isnan(read[14:]).all()


@pytest.mark.parametrize("cell", [
    "4-11", "Apr-Nov", "April to November", "apr. - nov.", "April through November", "APR THRU NOV", "04-11",
    "4\u201311", "Apr until Nov", "4,5,6,7,8,9,10,11", "Apr-Aug & Sep-Nov",
])  # fmt: skip
def test_months_from_april_to_november(cell: str) -> None:
    assert cells.months(cell) == frozenset(range(4, 12))


@pytest.mark.parametrize("cell", ["4-Nov", "Nov-4", "11-Apr", "2026-11-04", "11/4/2026", "4/11/26"])
def test_months_that_a_spreadsheet_made_a_date_are_named(cell: str) -> None:
    assert cells.months(cell) is None
    assert cells.months_rule(cell) == cells.MONTHS_TURNED


@pytest.mark.parametrize(("cell", "date"), [
    ("2025-06-30", "2025-06-30"), ("2025-06-30T00:00:00", "2025-06-30"), ("6/30/2025", "2025-06-30"),
    ("6/30/25", "2025-06-30"), ("June 30, 2025", "2025-06-30"), ("30-Jun-2025", "2025-06-30"), ("Jun. 2025", "2025-06"),
    ("2025", "2025"), ("30/6/2025", None), ("2025-02-30", None), ("June 31, 2025", None), ("Junk 3, 2025", None),
    ("45838", None), ("soon", None), ("9/13/99", "1999-09-13"), ("9/13/24", "2024-09-13"),
])  # fmt: skip
def test_dates(cell: str, date: str | None) -> None:
    assert cells.iso_date(cell) == date


# ----------------------------------------------------------------------------- places


@pytest.mark.parametrize(
    ("cell", "axis", "value"),
    [
        ("72°30'36\"W", "lon", -72.51),
        ("W 72° 30' 36\"", "lon", -72.51),
        ("-72 30 36", "lon", -72.51),
        ("-72:30:36", "lon", -72.51),
        ("72° 30.6' W", "lon", -72.51),
        ("44°15'N", "lat", 44.25),
        ("44d15m", "lat", np.nan),
        ("44,25", "lat", 44.25),
        ("44.25° N", "lat", 44.25),
        ("33 51 00 S", "lat", -33.85),
        ("44 15 60", "lat", np.nan),
        ("44.5 15", "lat", np.nan),
        ("44 15 N W", "lat", np.nan),
        ("north", "lat", np.nan),
        ("", "lat", np.nan),
    ],
)
def test_places_in_degrees_minutes_and_seconds(cell: str, axis: str, value: float) -> None:
    assert read_degree(cell, axis)[0] == pytest.approx(value, abs=1e-9, nan_ok=True)


@given(st.integers(-179, 179), st.integers(0, 59), st.integers(0, 59))
def test_degrees_minutes_and_seconds_come_back(degrees: int, minutes: int, seconds: int) -> None:
    value = abs(degrees) + minutes / 60 + seconds / 3600
    letter = "W" if degrees < 0 else "E"
    read, rule = read_degree(f"{abs(degrees)}°{minutes}'{seconds}\" {letter}", "lon")
    assert read == pytest.approx(-value if degrees < 0 else value)
    assert rule == "degrees, minutes and seconds"


def test_a_table_in_degrees_minutes_and_seconds_is_read_with_a_note() -> None:
    sheet = sheet_of("addresses", "address_id,label,lon,lat", [["1", "1 A", "72 30 36 W", "44 15 00 N"]])
    read = read_addresses(sheet)
    assert (read.lon.tolist(), read.lat.tolist()) == ([pytest.approx(-72.51)], [44.25])
    assert sheet.notes == [
        f"addresses.csv: {axis} is written with degrees, minutes and seconds in some rows; they were read so."
        for axis in ("lon", "lat")
    ]


@given(st.floats(-179, 179), st.floats(-84, 84))
def test_web_mercator_metres_are_recognised(lon: float, lat: float) -> None:
    # the projection's own formula: x = R lon, y = R ln tan(45 deg + lat / 2)
    x = 6378137.0 * np.radians(lon)
    y = 6378137.0 * np.log(np.tan(np.pi / 4 + np.radians(lat) / 2))
    assert from_mercator(x, y) == pytest.approx((lon, lat), abs=1e-9)


@given(st.floats(-125, -67), st.floats(25, 49))
def test_a_table_in_this_country_exchanged_is_seen_and_one_that_is_not_is_left(lon: float, lat: float) -> None:
    near = np.linspace(0, 0.5, 9)
    assert not look_swapped(lon + near, lat + near).any()
    assert look_swapped(lat + near, lon + near).all()


# ----------------------------------------------------------------------------- weights


def units(header: str, *rows: str) -> tuple[tuple[Unit, ...], Sheet]:
    sheet = sheet_of("apparatus", "unit_id,station_id,kind,tank_gal" + header, [row.split("|") for row in rows])
    return read_apparatus(sheet, Rules(), None), sheet


@pytest.mark.parametrize("tank", [500, 1000, 1500, 2000, 2500, 3000, 3500, 4500, 5000])
def test_the_weight_of_the_rule_is_plausible_for_every_tank(tank: int) -> None:
    found, sheet = units("", f"T|H|tanker|{tank}", f"P|H|pumper-tanker|{tank}")
    assert (len(found), sheet.faults, sheet.notes) == (2, [], [])


def test_not_available_may_mean_none() -> None:
    """Read as empty, a tanker without a portable tank carried one of its own size, and an engine 1,000 ft of hose."""
    _, sheet = units(
        ",portable_tank_gal,supply_hose_ft", "T|H|tanker|2000|N/A|", "E|H|engine|n/a||#N/A", "F|H|engine|||"
    )
    assert [(one.id, one.column) for one in sheet.faults] == [
        ("E", "tank_gal"), ("T", "portable_tank_gal"), ("E", "supply_hose_ft"),
    ]  # fmt: skip
    assert all("write 0 for none" in one.rule for one in sheet.faults)


def test_no_trucks_tank_is_endless() -> None:
    """An engine of 75,000 gal would need no tanker; of a pumper-tanker's tank 2.5 is no number of gallons."""
    _, sheet = units("", "E|H|engine|75000", "P|H|pumper-tanker|90000", "Q|H|pumper-tanker|2.5", "F|H|engine|0")
    assert [(one.id, one.rule.partition(":")[0]) for one in sheet.faults] == [
        ("Q", "is no tanker's tank (under 100 gal)"), ("E", "is no fire truck's tank (over 20,000 gal)"),
        ("P", "is no fire truck's tank (over 20,000 gal)"),
    ]  # fmt: skip


def test_a_known_empty_weight_raises_an_assumed_loaded_one() -> None:
    (light, heavy), _ = units(",empty_lb", "A|H|tanker|2000|20000", "B|H|tanker|2000|30000")
    assert light.loaded_lb == 9500 + 16.7 * 2000
    assert heavy.loaded_lb == 30000 + LB_PER_GAL * 2000


@pytest.mark.parametrize("column", ["loaded_lb", "empty_lb", "axle_lb"])
def test_a_bare_weight_in_tons_is_a_fault_with_its_remedy(column: str) -> None:
    _, sheet = units(f",{column}", "T|H|tanker|2000|21")
    (fault,) = sheet.faults
    assert fault.column == column
    assert "42,000" in fault.rule


def test_out_of_service_in_words() -> None:
    found, _ = units(",in_service", "A|H|tanker|2000|OOS", "B|H|tanker|2000|In Service", "C|H|tanker|2000|")
    assert [unit.in_service for unit in found] == [False, True, True]


# ----------------------------------------------------------------------------- nothing lost

CELLS = st.sampled_from([
    "", "1", "a", "=2", "12 Mill Road", "-72.1", "44.2", "72 6 0 W", "0", "-8016117", "5466990", "nan", "N/A", "<Null>",
    "V", "yes", "7", "8'6\"", "23 T", "1.234,5", "4-Nov", "\x07", "x" * 40,
])  # fmt: skip
HEADERS = st.lists(
    st.sampled_from(
        sorted({form for name in ADDRESSES.names for form in (name, *ADDRESSES.aliases.get(name, ())[:2])})
    ),
    max_size=8,
    unique=True,
).map(lambda further: list(dict.fromkeys(["address_id", "label", "lon", "lat", *further])))


@settings(max_examples=150, deadline=None)
@given(HEADERS, st.data())
def test_every_row_under_any_headers_is_planned_or_rejected_never_both(headers: list[str], data: st.DataObject) -> None:
    rows = data.draw(st.lists(st.lists(CELLS, min_size=len(headers), max_size=len(headers)), max_size=10))
    sheet = sheet_of("addresses", ",".join(headers), rows)
    read = read_addresses(sheet)
    planned, rejected = read.row.tolist(), {fault.row for fault in sheet.faults}
    assert sorted([*planned, *rejected]) == list(range(2, len(rows) + 2))
    assert read.address_id.tolist() == sorted(set(read.address_id.tolist()))
    assert (np.abs(read.lon) <= 180).all()
    assert (np.abs(read.lat) <= 90).all()
    assert all(read.label.tolist())


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(CELLS, min_size=5, max_size=5), max_size=10))
def test_every_hydrant_is_planned_or_rejected_never_both(rows: list[list[str]]) -> None:
    sheet = sheet_of("hydrants", "hydrant_id,lon,lat,flow_gpm,class", rows)
    read = read_hydrants(sheet, HydrantRules())
    assert len(read) + len({fault.row for fault in sheet.faults}) == len(rows)


def test_a_table_wholly_at_fault_is_told_quickly() -> None:
    """Each row its own wrong cell: the work must not grow with the square of the rows."""
    n = 20_000
    rows = [[f"{i}", f"{i} A", f"{500 + i}", f"{500 + i}", f"m{i}", f"c{i}"] for i in range(n)]
    sheet = sheet_of("addresses", "address_id,label,lon,lat,exposure,construction", rows)
    assert len(read_addresses(sheet)) == 0
    assert len(sheet.faults) == 3 * n


def test_the_months_of_a_site_are_read_from_words() -> None:
    header = "site_id,name,kind,lon,lat,months,tested"
    sheet = sheet_of("fill_sites", header, [["S", "Pond", "draft", "-72", "44", "April to November", "June 2025"]])
    (site,) = read_fill_sites(sheet, ShuttleRules())
    assert (site.months, site.tested) == (frozenset(range(4, 12)), "2025-06")


@pytest.mark.parametrize(
    ("role", "column", "written"),
    [
        ("addresses", "required_gpm", "1.500"), ("addresses", "floor_area_sqft", "1.200"),
        ("fill_sites", "fill_gpm", "1.000"), ("apparatus", "dump_gpm", "1.400 gpm"), ("apparatus", "pump_gpm", "1.250"),
        ("apparatus", "tank_gal", "1.000"), ("apparatus", "loaded_lb", "41.500"),
    ],
)  # fmt: skip
def test_a_point_that_may_part_thousands_is_a_fault(role: str, column: str, written: str) -> None:
    sheet = sheet_of(
        role, f"{','.join(SPECS[role].required)},{column}", [["1"] * len(SPECS[role].required) + [written]]
    )
    assert np.isnan(sheet.number(column)).all()
    (fault,) = (one for one in sheet.faults if one.column == column)
    assert (fault.value, fault.rule) == (written, cells.point_rule(written))


@pytest.mark.parametrize("others", ["1250.000", "0.500", "1,250.5"])
def test_a_point_parts_decimals_where_another_cell_shows_it(others: str) -> None:
    header = ",".join((*SPECS["apparatus"].required, "pump_gpm"))
    sheet = sheet_of("apparatus", header, [["1", "H", "engine", others], ["2", "H", "engine", "500.000"]])
    assert sheet.number("pump_gpm")[1] == 500.0
    assert sheet.faults == []


def test_a_point_of_feet_or_minutes_parts_decimals() -> None:
    header = ",".join((*SPECS["apparatus"].required, "height_ft"))
    sheet = sheet_of("apparatus", header, [["1", "H", "engine", "10.333"]])
    assert sheet.number("height_ft").tolist() == [10.333]


@pytest.mark.parametrize(("header", "months"), [("season", {5, 6}), ("months_open", ALL_MONTHS)])
def test_months_in_which_a_road_is_open_are_not_those_of_its_closure(
    tmp_path: Path, header: str, months: set[int]
) -> None:
    """A closure holds in its months; those of the reverse sense are not read, which is said, and it holds all year."""
    path = tmp_path / "closures.csv"
    path.write_text(f"closure_id,kind,way_id,{header}\nC1,closed,101,5-6\n", encoding="utf-8")
    sheet, notes = open_sheet(path, "closures", path.name, {})
    (closure,) = read_closures(sheet)
    assert set(closure.months) == set(months)
    told = [note for note in notes if "in which the road is SHUT in a column months" in note]
    assert len(told) == (header != "season")


def test_thousands_in_doubt_of_hydrants_and_closures() -> None:
    hydrants = sheet_of("hydrants", "hydrant_id,lon,lat,flow_gpm", [["1", "-72", "44", "1.050"]])
    assert len(read_hydrants(hydrants, HydrantRules())) == 0
    header = "closure_id,kind,way_id,value"
    closures = sheet_of("closures", header, [["1", "max_lb", "7", "24.000"], ["2", "max_height_ft", "7", "12.500"]])
    assert [one.closure_id for one in read_closures(closures)] == ["2"]
    assert [(one.column, one.value) for one in (*hydrants.faults, *closures.faults)] == [
        ("flow_gpm", "1.050"),
        ("value", "24.000"),
    ]


def test_a_building_needs_more_than_a_few_gallons_a_minute() -> None:
    sheet = sheet_of("addresses", "address_id,label,lon,lat,required_gpm", [["1", "1 A Road", "-72", "44", "1.5"]])
    assert len(read_addresses(sheet)) == 0
    (fault,) = sheet.faults
    assert (fault.column, fault.rule.partition(":")[0]) == (
        "required_gpm", "is no required flow of a building, which is 50 to 100,000 gpm",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("role", "header", "column", "cell", "asked"),
    [
        ("fill_sites", "site_id,name,kind,lon,lat,fill_gpm", "fill_gpm", "11", True),
        ("fill_sites", "site_id,name,kind,lon,lat,fill_gpm", "fill_gpm", "250", False),
        ("addresses", "address_id,label,lon,lat,required_gpm", "required_gpm", "100000", True),
        ("addresses", "address_id,label,lon,lat,required_gpm", "required_gpm", "3500", False),
        ("addresses", "address_id,label,lon,lat,driveway_ft", "driveway_ft", "60000", True),
        ("addresses", "address_id,label,lon,lat,driveway_ft", "driveway_ft", "0.2", True),
        ("addresses", "address_id,label,lon,lat,driveway_ft", "driveway_ft", "900", False),
        ("addresses", "address_id,label,lon,lat,stories", "stories", "99", True),
        ("addresses", "address_id,label,lon,lat,floor_area_sqft", "floor_area_sqft", "26", True),
    ],
)
def test_what_is_possible_and_seldom_is_asked_about(
    role: str, header: str, column: str, cell: str, asked: bool
) -> None:
    """Both a digit too many and one too few; the number is taken as it is."""
    start = ["1", "Mill Pond", "pond"] if role == "fill_sites" else ["1", "1 A Road"]
    sheet = sheet_of(role, header, [[*start, "-72", "44", cell]])
    bound = (bounds.FILL_SITES if role == "fill_sites" else bounds.ADDRESSES)[column]
    assert sheet.number(column, bound=bound).tolist() == [float(cell)]
    assert [f"row 2 (1): {column} {float(cell):,g} is " in note for note in sheet.notes] == [True] * asked
    assert not sheet.faults


def test_rows_with_the_same_doubt_are_one_note() -> None:
    rows = [[f"{i}", "Mill Pond", "pond", "-72", "44", "11"] for i in range(30)]
    sheet = sheet_of("fill_sites", "site_id,name,kind,lon,lat,fill_gpm", rows)
    sheet.number("fill_gpm", bound=bounds.FILL_SITES["fill_gpm"])
    (note,) = sheet.notes
    assert note.startswith(
        "fill_sites.csv: row 2 (0): fill_gpm 11 is little for the rate into one tanker, seldom below 100 gpm"
    )
    assert note.endswith("The same of rows 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14 and 17 more.")


@pytest.mark.parametrize(
    ("area", "stories", "asked"), [("2400", "2", False), ("2400", "", False), ("12000", "2", True), ("300", "1", True)]
)
def test_a_floor_area_that_the_sides_contradict_is_asked_about(area: str, stories: str, asked: bool) -> None:
    header = "address_id,label,lon,lat,length_ft,width_ft,height_ft,floor_area_sqft,stories"
    sheet = sheet_of("addresses", header, [["1", "1 A Road", "-72", "44", "40", "30", "20", area, stories]])
    assert len(read_addresses(sheet)) == 1
    assert any("The sides count" in note for note in sheet.notes) is asked


@pytest.mark.parametrize(("areas", "asked"), [("140 180 210 95 160", True), ("1500 1934 2260 1022 400", False)])
def test_floor_areas_that_may_be_in_square_metres_are_asked_about(areas: str, asked: bool) -> None:
    """Houses of 95 to 210 square metres, taken as feet, would all need the method's least flow."""
    rows = [[str(i), f"{i} A Road", "-72", "44", area] for i, area in enumerate(areas.split(), 1)]
    sheet = sheet_of("addresses", "address_id,label,lon,lat,FLOOR_AREA", rows)
    assert len(read_addresses(sheet)) == 5
    said = "FLOOR_AREA: half of the 5 values are 160 or less, little for houses in square feet: are they square metres?"
    assert any(f"{said} Multiply them by 10.764 then." in note for note in sheet.notes) is asked


def test_ids_that_look_like_dates_or_differ_in_capitals_are_asked_about() -> None:
    header, place = "address_id,label,lon,lat", ["1 A Road", "-72", "44"]
    sheet = sheet_of("addresses", header, [["2026-12-04", *place], ["a7", *place], ["A7", *place], ["b", *place]])
    assert len(read_addresses(sheet)) == 4
    assert any("row 2: address_id '2026-12-04' looks like a date" in note for note in sheet.notes)
    assert any("rows 3 and 4: 'a7' and 'A7' differ only in capitals" in note for note in sheet.notes)
    assert len([note for note in sheet.notes if "date" in note or "capitals" in note]) == 2


def test_a_failed_look_up_is_no_yes() -> None:
    """`#N/A` where an empty cell means in service, or all year; elsewhere it is noted and empty."""
    header = "site_id,name,kind,lon,lat,in_service,months,lift_ft"
    place = ["Mill Pond", "draft", "-72", "44"]
    rows = [["1", *place, "#N/A", "", "5"], ["2", *place, "", "n/a", "5"], ["3", *place, "yes", "", "#N/A"]]
    sheet = sheet_of("fill_sites", header, rows)
    read = read_fill_sites(sheet, ShuttleRules())
    assert [site.site_id for site in read] == ["3"]
    assert sorted((one.row, one.column, one.value, one.rule.partition(":")[0]) for one in sheet.faults) == [
        (2, "in_service", "#N/A", "says neither yes nor no"), (3, "months", "n/a", "says no months"),
    ]  # fmt: skip
    assert any("lift_ft '#N/A' (row 4) is taken as empty" in note for note in sheet.notes)


@pytest.mark.parametrize(
    ("stories", "height", "asked"), [("12", "14", True), ("2", "14", False), ("1", "8", False), ("", "8", False)]
)
def test_floors_that_do_not_fit_into_their_height_are_asked_about(stories: str, height: str, asked: bool) -> None:
    row = ["1", "1 A Road", "-72", "44", "40", "30", height, stories]
    sheet = sheet_of("addresses", "address_id,label,lon,lat,length_ft,width_ft,height_ft,stories", [row])
    assert len(read_addresses(sheet)) == 1
    assert any("do not fit into the row's height_ft" in note for note in sheet.notes) is asked


@pytest.mark.parametrize(("low", "asked"), [("5000", True), ("1200", False), ("300", False)])
def test_a_dry_season_that_gives_more_than_the_site_is_asked_about(low: str, asked: bool) -> None:
    header = "site_id,name,kind,lon,lat,fill_gpm,positions,low_gpm"
    sheet = sheet_of("fill_sites", header, [["1", "Mill Pond", "pond", "-72", "44", "600", "2", low]])
    read_fill_sites(sheet, ShuttleRules())
    assert any("is more in a dry season" in note for note in sheet.notes) is asked


@pytest.mark.parametrize(
    ("kind", "value", "rule"),
    [
        ("max_lb", "12t", "is not a number of lb: a small t may be the metric ton"),
        ("max_lb", "24 kips", "is not a number of lb"),
        ("max_height_ft", "3.5 m", "is not a number of ft"),
        ("max_lb", "0", "must be above 0"),
    ],
)
def test_a_limit_in_another_unit_says_what_is_wanted(kind: str, value: str, rule: str) -> None:
    sheet = sheet_of("closures", "closure_id,kind,value,way_id", [["C1", kind, value, "7"]])
    read_closures(sheet)
    assert [one.rule.startswith(rule) for one in sheet.faults] == [True]


def test_tons_of_a_closure_are_noted() -> None:
    sheet = sheet_of("closures", "closure_id,kind,value,way_id", [["C1", "max_lb", "12 tons", "7"]])
    assert [one.value for one in read_closures(sheet)] == [24_000.0]
    assert any("'12 tons' was read as 24,000 lb" in note for note in sheet.notes)


def test_a_column_of_which_some_rows_are_in_metres_is_doubted_as_a_whole() -> None:
    """Of heights in metres only the low ones are too low for feet: the others would be planned at a third."""
    _, sheet = units(
        ",height_ft", "E1|H1|engine|900|3.1", "T1|H1|tanker|900|9.9", "T2|H1|tanker|900|3.2", "T3|H1|tanker|900|"
    )
    (note,) = (note for note in sheet.notes if "height_ft" in note)
    assert "2 rows are probably in metres; are the 1 others too, which are taken as ft?" in note
    _, alone = units(",height_ft", "E1|H1|engine|900|3.1", "T1|H1|tanker|900|3.2")
    assert not any("height_ft" in note for note in alone.notes)


@pytest.mark.parametrize(
    ("row", "asked"),
    [
        ("T|H|tanker|11356", "is much for a tanker, seldom above 5,000 gal: is it in liters? Then write 3,000"),
        ("E|H|engine|3785", "is much for an engine, seldom above 1,500 gal: is it in liters? Then write 1,000"),
        ("T|H|tanker|5000", ""), ("E|H|engine|1500", ""), ("P|H|pumper-tanker|3500", ""),
    ],
)  # fmt: skip
def test_a_tank_that_may_be_in_liters_is_asked_about(row: str, asked: str) -> None:
    _, sheet = units("", row)
    assert sheet.faults == []
    assert len(sheet.notes) == bool(asked)
    assert all(asked in note for note in sheet.notes)


def test_weights_in_kilograms_are_asked_about_once_for_the_table() -> None:
    """Twelve tons of truck in kilograms leave 4,536 where 10,000 lb of water should be, in every row."""
    rows = [f"T{k}|H|tanker|1200|16000|11464" for k in range(3)]
    _, sheet = units(",loaded_lb,empty_lb", *rows, "T9|H|tanker|1200|32000|31000")
    metric, wrong = (note for note in sheet.notes if "less empty_lb is" in note)
    assert "less empty_lb is 4,536 lb, but the water in the tank weighs 10,008 lb: are they kilograms?" in metric
    assert "The same of rows 3, 4." in metric
    assert "row 5 (T9)" in wrong
    assert "is one of them wrong?" in wrong


def test_hydrants_without_a_flow_are_counted() -> None:
    sheet = sheet_of("hydrants", "hydrant_id,lon,lat,flow_gpm,class", [
        ["h1", "-72", "44", "", ""], ["h2", "-72", "44", "", ""], ["h3", "-72", "44", "", "A"],
    ])  # fmt: skip
    read_hydrants(sheet, Rules().hydrants)
    assert sheet.notes == ["hydrants.csv: 2 hydrants have no flow: 500 gpm is assumed for each."]
