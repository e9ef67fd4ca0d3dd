"""Address and hydrant tables: every row is planned or rejected, and every fault is named."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from preplan.inputs.addresses import read_addresses
from preplan.inputs.degrees import look_swapped
from preplan.inputs.hydrants import read_hydrants
from preplan.inputs.sheet import FORMULA_RULE, TWICE_REMEDY, Sheet, open_sheet
from preplan.records import AddressTable
from preplan.rules import HydrantRules
from tests.inputs_folder import sheet_of


def addresses(header: str, *lines: str) -> tuple[AddressTable, Sheet]:
    sheet = sheet_of("addresses", header, [line.split("|") for line in lines])
    return read_addresses(sheet), sheet


PLAIN = "address_id,label,lon,lat"


def test_rows_come_in_the_order_of_their_ids_code_points() -> None:
    found, sheet = addresses(PLAIN, "a2|1 A St|-72|44", "a10|2 A St|-72|44", "B1|3 A St|-72|44", "é|4 A St|-72|44")
    assert found.address_id.tolist() == ["B1", "a10", "a2", "é"]
    assert found.row.tolist() == [4, 3, 2, 5]
    assert found.number.tolist() == [3, 2, 1, 4]
    assert sheet.faults == []


def test_a_building_larger_than_any_is_a_fault_though_each_side_may_be() -> None:
    """6,000 x 4,000 x 2,500 ft passed, and its gallons ended the build; a large warehouse and a tower stay."""
    sizes = PLAIN + ",length_ft,width_ft,height_ft,floor_area_sqft,stories"
    found, sheet = addresses(
        sizes, "1|1 A St|-72|44|6000|4000|2500||", "2|2 A St|-72|44|2000|1500|60||", "3|3 A St|-72|44||||90000000|",
        "4|4 A St|-72|44|||1400|3000000|100", "5|5 A St|-72|44|10000|9000|||",
    )  # fmt: skip
    assert found.address_id.tolist() == ["2", "4"]
    assert [(one.id, one.column) for one in sheet.faults] == [
        ("1", "length_ft"), ("5", "length_ft"), ("3", "floor_area_sqft"),
    ]  # fmt: skip
    assert "larger than any: is a decimal point lost?" in sheet.faults[0].rule


def test_optional_cells_are_read_and_empty_ones_stay_unknown() -> None:
    header = (
        PLAIN + ",occupancy,length_ft,width_ft,height_ft,floor_area_sqft,stories,occupancy_hazard,construction,"
        "exposure,sprinklered,required_gpm,required_gal,driveway_ft"
    )
    found, sheet = addresses(
        header,
        "1|1 A St|-72|44|barn|1,200 ft|60 ft|25'|72,000 sq ft|1.5|4|Type V-B|yes|0|750 gpm|9,000 gal|0",
        "2|2 A St|-72|44|||||||||||||",
    )
    assert sheet.faults == []
    read = (
        found.length_ft, found.width_ft, found.height_ft, found.floor_area_sqft, found.stories,
        found.occupancy_hazard, found.exposure, found.sprinklered, found.required_gpm, found.required_gal,
        found.driveway_ft,
    )  # fmt: skip
    assert [values[0] for values in read] == [1200, 60, 25, 72000, 1.5, 4, 1, 0, 750, 9000, 0]
    assert all(np.isnan(values[1]) for values in read)
    assert (found.occupancy[0], found.construction.tolist()) == ("barn", ["V", ""])


@pytest.mark.parametrize(
    ("label", "number", "street"),
    [
        ("343 QUARRY RD", 343, "QUARRY RD"),
        ("12A N Main St", 12, "N Main St"),
        ("12 E Main St", 12, "E Main St"),
        ("12-14 Main St", 12, "Main St"),
        ("12 1/2 Main St", 12, "Main St"),
        ("7 Main St, Rear", 7, "Main St"),
        ("#12 Main St", 12, "Main St"),
        ("No. 12 Main St", 12, "Main St"),
        ("No Name Road", -1, ""),
        ("12 - 14 Main St", 12, "Main St"),
        ("12 & 14 Main St", 12, "Main St"),
        ("12\N{EN DASH}14 Main St", 12, "Main St"),
        ("1234-A Main St", 1234, "Main St"),
        ("12\N{VULGAR FRACTION ONE HALF} Main St", 12, "Main St"),
        ("12, Main St, Rear", 12, "Main St"),
        ("5-Mile Road", -1, ""),
        ("7 Main St Apt 3", 7, "Main St"),
        ("7 Main St #3", 7, "Main St"),
        ("7 Unity Road", 7, "Unity Road"),
        ("4955 STATE ROUTE 102", 4955, "STATE ROUTE 102"),
        ("0 QUARRY HL", -1, "QUARRY HL"),
        ("1st Avenue", -1, ""),
        ("Camp Seven", -1, ""),
        ("Building 12345678", -1, ""),
        ("W23001 Meadow Road", -1, ""),
        ("99999999 Long Road", -1, "Long Road"),
    ],
)
def test_number_and_street_from_a_label(label: str, number: int, street: str) -> None:
    found, _ = addresses(PLAIN, f"1|{label}|-72|44")
    assert (found.number.tolist(), found.street.tolist()) == ([number], [street])


@pytest.mark.parametrize(
    ("label", "street", "number"),
    [
        ("Gristmill Rd 1743, camp", "Gristmill Road", 1743),
        ("HERON SHORE LN. 180", "Heron Shore Lane", 180),
        ("Route 5A 12", "Route 5A", 12),
        ("Route 5", "Route 5", -1),
        ("Mill Rd 7", "Hill Road", -1),
        ("County Road 12, camp", "", -1),
        ("Mill Road lot 7", "Mill Road", -1),
    ],
)
def test_a_number_behind_its_street_is_read(label: str, street: str, number: int) -> None:
    found, _ = addresses("id,label,street,lon,lat", f"1|{label}|{street}|-72|44")
    assert found.number.tolist() == [number]
    assert found.street.tolist() == [street]


def test_columns_of_their_own_go_before_the_label() -> None:
    found, _ = addresses(PLAIN + ",house_number,street", "1|Old barn|-72|44|18-20|Mill Road", "2|9 Oak St|-72|44||")
    assert found.number.tolist() == [18, 9]
    assert found.street.tolist() == ["Mill Road", "Oak St"]
    assert found.label.tolist() == ["Old barn", "9 Oak St"]


def test_a_label_is_put_together_from_the_parts_of_the_standards() -> None:
    found, sheet = addresses(
        "NGUID,Add_Number,AddNum_Suf,St_PreDir,St_Name,St_PosTyp,Longitude,Latitude",
        "u1|12|A|North|Mill|Road|-72|44",
        "u2|||||||",
    )
    assert (found.label.tolist(), found.street.tolist()) == (["12 A North Mill Road"], ["North Mill Road"])
    assert found.number.tolist() == [12]
    assert {fault.column for fault in sheet.faults} == {"label", "Longitude", "Latitude"}


def test_a_bare_number_in_the_label_gets_its_street() -> None:
    found, _ = addresses("id,address,street,lon,lat", "1|12|Mill Road|-72|44", "2|14 Mill Road|Mill Road|-72|44")
    assert found.label.tolist() == ["12 Mill Road", "14 Mill Road"]


NO_HAZARD = "is none: an occupancy hazard number is 3 (severe), 4, 5, 6 or 7 (light)"
ROWS_AT_FAULT = {
    "|1 A St|-72|44||||": ("address_id", "", "is empty"),
    "=1|1 A St|-72|44||||": ("address_id", "=1", FORMULA_RULE),
    "good|1 A St|-72|44||||": ("address_id", "good", f"is already used in row 2{TWICE_REMEDY}"),
    "x1||-72|44||||": ("label", "", "is empty"),
    "x2|1 A St||44||||": ("lon", "", "is empty"),
    "x3|1 A St|-72|north||||": ("lat", "north", "is not a number"),
    "x4|1 A St|-181|44||||": ("lon", "-181", "is not a longitude (-180 to 180)"),
    "x5|1 A St|-120|95||||": ("lat", "95", "is not a latitude (-90 to 90)"),
    "x6|1 A St|0|0||||": ("lon, lat", "0, 0", "is 0, 0, not a place"),
    "x7|1 A St|44.0|-72.0||||": ("lon, lat", "44.0, -72.0", "look swapped: longitude is lon, latitude is lat"),
    "x8|1 A St|-72|44|-5|||": ("length_ft", "-5", "must be above 0"),
    "x9|1 A St|-72|44|5 m|||": ("length_ft", "5 m", "is not a number of ft: it is metric; write 16.4 ft"),
    "x10|1 A St|-72|44||2||": ("occupancy_hazard", "2", NO_HAZARD),
    "x11|1 A St|-72|44||8||": ("occupancy_hazard", "8", NO_HAZARD),
    "x12|1 A St|-72|44||4.5||": ("occupancy_hazard", "4.5", NO_HAZARD),
    "x13|1 A St|-72|44|||VI|": ("construction", "VI", "is not a type of construction (I to V)"),
    "x14|1 A St|-72|44||||maybe": ("exposure", "maybe", "is not yes or no"),
}


@pytest.mark.parametrize("line", ROWS_AT_FAULT)
def test_a_row_at_fault_has_one_fault_at_its_cell(line: str) -> None:
    found, sheet = addresses(
        PLAIN + ",length_ft,occupancy_hazard,construction,exposure", "good|1 A St|-72|44||||", line
    )
    (fault,) = sheet.faults
    assert (fault.column, fault.value, fault.rule) == ROWS_AT_FAULT[line]
    assert (fault.file, fault.row, fault.id) == ("addresses.csv", 3, line.partition("|")[0])
    assert found.address_id.tolist() == ["good"]


def test_several_faults_of_one_row_are_all_kept() -> None:
    found, sheet = addresses(PLAIN + ",length_ft", "1||-200|44|x")
    assert Counter(fault.column for fault in sheet.faults) == {"label": 1, "lon": 1, "length_ft": 1}
    assert len(found) == 0


def test_exchanged_places_are_recognised_by_the_others() -> None:
    # in central Europe both numbers would do either way; only the other rows tell
    lon = np.array([8.6, 8.7, 49.4, 8.5, np.nan, -3.0])
    lat = np.array([49.4, 49.3, 8.6, 49.5, 49.0, 40.0])
    assert look_swapped(lon, lat).tolist() == [False, False, True, False, False, False]


def test_a_table_that_is_exchanged_as_a_whole_is_recognised() -> None:
    assert look_swapped(np.array([44.0, 44.1]), np.array([-72.0, -71.9])).all()
    assert not look_swapped(np.array([170.5, 147.3]), np.array([-45.9, -42.9])).any()


def test_control_characters_in_a_label_become_spaces() -> None:
    found, sheet = addresses(PLAIN, "1|12 Mill\x00Road\x1b|-72|44", "2|\x07|-72|44")
    assert found.label.tolist() == ["12 Mill Road"]
    assert [(fault.id, fault.rule) for fault in sheet.faults] == [("2", "is empty")]


def test_a_comma_without_quotes_rejects_its_row_only(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("address_id,label,lon,lat\n1,12 Mill Road, Rear,-72,44\n2,14 Mill Road,-72,44\n")
    sheet, _ = open_sheet(tmp_path / "a.csv", "addresses", "a.csv", {})
    assert read_addresses(sheet).address_id.tolist() == ["2"]
    assert any("quotes" in fault.rule for fault in sheet.faults)


# ----------------------------------------------------------------------------- hydrants


def test_hydrant_flows_are_numbers_classes_or_the_default() -> None:
    lines = ["h1|1,200 gpm|C", "h2|aa|", "h3||A", "h4||b", "h5||C", "h6||", "h7|c|A", "h8|250|"]
    sheet = sheet_of(
        "hydrants", "hydrant_id,flow_gpm,class,lon,lat", [[*line.split("|"), "-72", "44"] for line in lines]
    )
    found = read_hydrants(sheet, HydrantRules(default_gpm=450.0))
    assert found.flow_gpm.tolist() == [1200, 1500, 1000, 500, 250, 450, 250, 250]
    assert found.assumed.tolist() == [False] * 5 + [True, False, False]
    assert found.class_c.tolist() == [False] * 4 + [True, False, True, False], "no least flow; a test of 250 is one"
    assert sheet.faults == []


@pytest.mark.parametrize("header", ["in_service", "STATUS"])
def test_hydrants_out_of_service_are_not_counted(header: str) -> None:
    lines = ["h1|no", "h2|OUT OF SERVICE", "h3|Active", "h4|", "h5|perhaps"]
    columns = f"hydrant_id,{header},lon,lat,flow_gpm"
    sheet = sheet_of("hydrants", columns, [[*line.split("|"), "-72", "44", "900"] for line in lines])
    assert read_hydrants(sheet, HydrantRules()).hydrant_id.tolist() == ["h3", "h4"]
    assert sheet.left_out.tolist() == [True, True, False, False, False]
    assert [(one.id, one.value) for one in sheet.faults] == [("h5", "perhaps")]
    assert sheet.notes == ["hydrants.csv: out of service and not counted: 2 (h1, h2)."]


def test_a_label_that_is_the_street_alone_gets_its_number() -> None:
    """A county's ADDRESS may be the street, and every house of it had one label."""
    lines = ["a|Mill Rd|12|", "b|Mill Rd|14|Mill Road", "c|Camp Seven|16|Mill Road", "d|20 Mill Rd|18|", "e|Hill Rd||"]
    sheet = sheet_of(
        "addresses", "id,address,number,street,lon,lat", [[*line.split("|"), "-72", "44"] for line in lines]
    )
    read = read_addresses(sheet)
    assert read.label.tolist() == ["12 Mill Rd", "14 Mill Rd", "Camp Seven", "20 Mill Rd", "Hill Rd"]
    assert read.number.tolist() == [12, 14, 16, 18, -1]
    assert read.street.tolist() == ["Mill Rd", "Mill Road", "Mill Road", "Mill Rd", ""]
    assert sheet.notes == [
        "addresses.csv: 2 labels are the street alone, the first in row 2; with its number: '12 Mill Rd'.",
        "addresses.csv: row 5: label '20 Mill Rd' has another number than its column of numbers, '18': which holds?",
    ]


def test_a_no_of_any_column_that_tells_of_service_counts() -> None:
    """An asset may be active and not operable: read from the first such column alone, it counted."""
    lines = ["h1|Active|No|", "h2|Active|Yes|poor", "h3|Retired|Yes|", "h4||2|broken", "h5|||"]
    columns = "hydrant_id,STATUS,OPERABLE,condition,lon,lat,flow_gpm"
    sheet = sheet_of("hydrants", columns, [[*line.split("|"), "-72", "44", "900"] for line in lines])
    assert read_hydrants(sheet, HydrantRules()).hydrant_id.tolist() == ["h2", "h5"]
    assert sheet.faults == []
    assert sheet.notes == [
        "hydrants.csv: out of service by OPERABLE: 1 (h1).",
        "hydrants.csv: out of service by condition: 1 (h4).",
        "hydrants.csv: out of service and not counted: 3 (h1, h3, h4).",
    ]


def test_hydrants_without_a_main_are_not_counted() -> None:
    """No pressure comes out of a dry hydrant; a dry barrel is one of a main that drains itself."""
    lines = ["h1|Dry Hydrant", "h2|DRY BARREL", "h3|Dry-barrel", "h4|Wet Barrel", "h5|", "h6|Draft", "h7|DRY", "h8|3"]
    sheet = sheet_of("hydrants", "hydrant_id,TYPE,lon,lat", [[*line.split("|"), "-72", "44"] for line in lines])
    assert read_hydrants(sheet, HydrantRules()).hydrant_id.tolist() == ["h2", "h3", "h4", "h5", "h8"]
    assert np.flatnonzero(sheet.left_out).tolist() == [0, 5, 6]
    assert sheet.faults == []
    codes, left_out, _ = sheet.notes
    assert codes.startswith("hydrants.csv: TYPE has codes or words not known here (3): does one mean a dry hydrant?")
    assert left_out.startswith("hydrants.csv: without a main by kind and not counted: 3 (h1, h6, h7). Where tankers")


@pytest.mark.parametrize("kind", ["DH", "D.H.", "dh", "dry_hydrant", "DryHydrant", "pond"])
def test_other_words_for_a_dry_hydrant(kind: str) -> None:
    sheet = sheet_of("hydrants", "hydrant_id,kind,lon,lat", [["h1", kind, "-72", "44"]])
    assert len(read_hydrants(sheet, HydrantRules())) == 0


def test_kinds_of_hydrants_that_are_not_known_are_asked_about() -> None:
    """They count: most tables tell makers apart, and some say by a word that no main stands behind one."""
    strange = ["XQ", "private", "flush", "7"]
    known = [
        "hydrant", "Fire Hydrant", "wet", "pillar", "underground", "wall", "pipe", "dry_barrel", "wet_barrel", "FH",
        "unknown", "",
    ]  # fmt: skip
    lines = [[f"h{i}", kind, "900", "-72", "44"] for i, kind in enumerate([*strange, *known])]
    sheet = sheet_of("hydrants", "hydrant_id,kind,flow_gpm,lon,lat", lines)
    assert len(read_hydrants(sheet, HydrantRules())) == len(lines)
    (note,) = sheet.notes
    assert "kind has codes or words not known here (7, XQ, flush, private): does one mean a dry hydrant?" in note


def test_hydrants_at_fault() -> None:
    lines = ["h1|-5|", "h2|much|", "h3||D"]
    sheet = sheet_of(
        "hydrants", "hydrant_id,flow_gpm,class,lon,lat", [[*line.split("|"), "-72", "44"] for line in lines]
    )
    assert len(read_hydrants(sheet, HydrantRules())) == 0
    assert [(fault.id, fault.column) for fault in sorted(sheet.faults, key=lambda one: one.row)] == [
        ("h1", "flow_gpm"),
        ("h2", "flow_gpm"),
        ("h3", "class"),
    ]
