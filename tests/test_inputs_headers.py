"""Headers of the open address standards and of counties, as they are published, without any mapping."""

from __future__ import annotations

import numpy as np
import pytest

from preplan.errors import InputError
from preplan.inputs.address_headers import ADDRESS_ALIASES, STREET_PARTS
from preplan.inputs.addresses import read_addresses
from preplan.inputs.columns import CUT_AT, in_other_units, match_headers
from preplan.inputs.sheet import Sheet
from preplan.inputs.table_specs import SPECS
from preplan.inputs.tables import TextTable
from preplan.records import text_array

NENA_V1 = (
    "DiscrpAgID DateUpdate Effective Expire Site_NGUID Country State County AddCode AddDataURI Inc_Muni Uninc_Comm "
    "Nbrhd_Comm AddNum_Pre Add_Number AddNum_Suf St_PreMod St_PreDir St_PreTyp St_PreSep St_Name St_PosTyp St_PosDir "
    "St_PosMod LSt_PreDir LSt_Name LSt_Type LSt_PosDir ESN MSAGComm Post_Comm Post_Code Post_Code4 Building Floor Unit "
    "Room Seat Addtl_Loc LandmkName Mile_Post Place_Type Placement Long Lat Elev"
)
NENA_V2 = (
    NENA_V1.replace("Site_NGUID", "NGUID")
    .replace("LSt_Type", "LSt_Typ")
    .replace("Post_Code4", "PostCodeEx")
    .replace("Mile_Post", "Milepost")
    .replace("Long Lat Elev", "Longitude Latitude Elevation")
)
NENA_V3 = (
    "DiscrpAgID DateUpdate Effective Expire NGUID Country A1 A2 AddCode A3 A4 A5 AddNum_Pre Add_Number AddNum_Suf "
    "AddNum_Cmp DistMarker St_PreMod St_PreDir St_PreTyp St_PreSep St_Name St_PosTyp St_PosDir St_PosMod Dir_Travel "
    "LSt_PreDir LSt_Name LSt_Typ LSt_PosDir ESN MSAGComm LCountyID Post_Comm Post_Code PostCodeEx Site SubSite "
    "Structure Floor FloorIndex Wing Unit UnitPreTyp UnitValue Section Row Room Seat LocMarker Addtl_Loc AddDataURI "
    "Place_Type Placement Longitude Latitude Elevation Altitude Height"
)
NAD = (
    "OID_ AddNum_Pre Add_Number AddNum_Suf AddNo_Full St_PreMod St_PreDir St_PreTyp St_PreSep St_Name St_PosTyp "
    "St_PosDir St_PosMod StNam_Full Building Floor Unit Room Seat Addtl_Loc SubAddress LandmkName County Inc_Muni "
    "Post_City Census_Plc Uninc_Comm Nbrhd_Comm NatAmArea NatAmSub Urbnztn_PR PlaceOther PlaceNmTyp State Zip_Code "
    "Plus_4 UUID AddAuth AddrRefSys Longitude Latitude NatGrid Elevation Placement AddrPoint Related_ID RelateType "
    "ParcelSrc Parcel_ID AddrClass Lifecycle Effective Expire DateUpdate AnomStatus LocatnDesc Addr_Type DeliverTyp "
    "NAD_Source DataSet_ID"
)
NAD_OLD = (
    "OID State County Inc_Muni Uninc_Comm Nbrhd_Comm Post_Comm Zip_Code Plus_4 Bulk_Zip Bulk_Plus4 StN_PreMod "
    "StN_PreDir StN_PreTyp StN_PreSep StreetName StN_PosTyp StN_PosDir StN_PosMod AddNum_Pre Add_Number AddNum_Suf "
    "LandmkPart LandmkName Building Floor Unit Room Addtl_Loc Milepost Longitude Latitude NatGrid_Coord GUID "
    "Addr_Type Placement Source AddAuth UniqWithin LastUpdate Effective Expired"
)
OPENADDRESSES = "LON LAT NUMBER STREET UNIT CITY DISTRICT REGION POSTCODE ID HASH"
OPENADDRESSES_LINES = "hash number street unit city district region postcode id accuracy lon lat"
OSM = "@id addr:housenumber addr:street addr:unit addr:city addr:state addr:postcode longitude latitude"

PARTS = {
    "Add_Number": "12", "AddNum_Suf": "A", "AddNum_Cmp": "12 A", "AddNo_Full": "12 A", "St_PreDir": "North",
    "St_Name": "Mill", "St_PosTyp": "Road", "StNam_Full": "North Mill Road", "StN_PreDir": "North",
    "StreetName": "Mill", "StN_PosTyp": "Road", "LSt_PreDir": "N", "LSt_Name": "MILL", "LSt_Type": "RD",
    "LSt_Typ": "RD", "Place_Type": "residence", "Addr_Type": "Residential", "Height": "311.5", "Elevation": "311.5",
    "Building": "2", "Site_NGUID": "u1", "NGUID": "u1", "UUID": "u1", "GUID": "u1", "OID_": "9", "OID": "9",
}  # fmt: skip
"""What one row of a standard's table says in some of its columns."""


def sheet(headers: list[str], *rows: dict[str, str], **mapping: str) -> tuple[Sheet, tuple[str, ...]]:
    """Make a sheet whose rows say something in some columns and are empty in the others."""
    table = TextTable(
        file="a.csv",
        headers=tuple(headers),
        columns=tuple(text_array([row.get(header, "") for row in rows]) for header in headers),
        row=np.arange(len(rows), dtype=np.int32) + np.int32(2),
        overlong=np.zeros(len(rows), dtype=np.bool_),
    )
    columns, notes = match_headers(table, SPECS["addresses"], mapping)
    return Sheet(table, columns, "address_id"), notes


@pytest.mark.parametrize(
    ("standard", "label", "occupancy"),
    [
        (NENA_V1, "12 A North Mill Road", "residence"),
        (NENA_V2, "12 A North Mill Road", "residence"),
        (NENA_V3, "12 A North Mill Road", "residence"),
        (NAD, "12 A North Mill Road", "Residential"),
        (NAD_OLD, "12 A North Mill Road", "Residential"),
    ],
)
def test_a_row_of_a_standard(standard: str, label: str, occupancy: str) -> None:
    place = {"Longitude": "-72", "Latitude": "44", "Long": "-72", "Lat": "44"}
    read_from, _ = sheet(standard.split(), PARTS | place)
    read = read_addresses(read_from)
    assert read_from.faults == []
    assert (read.address_id.tolist(), read.label.tolist(), read.number.tolist()) == (["u1"], [label], [12])
    assert (read.street.tolist(), read.occupancy.tolist()) == (["North Mill Road"], [occupancy])
    assert np.isnan(read.height_ft).all()  # the standards' height is that of the ground


@pytest.mark.parametrize("headers", [OPENADDRESSES, OPENADDRESSES_LINES])
def test_a_row_of_openaddresses(headers: str) -> None:
    said = {"lon": "-72", "lat": "44", "number": "12", "street": "MILL RD", "unit": "3", "hash": "f00d"}
    row = {header: said.get(header.lower(), "") for header in headers.split()}
    read = read_addresses(sheet(headers.split(), row)[0])
    assert (read.address_id.tolist(), read.label.tolist()) == (["f00d"], ["12 MILL RD Unit 3"])
    assert read.street.tolist() == ["MILL RD"]


def test_a_row_of_openstreetmap() -> None:
    row = {
        "@id": "node/5", "addr:housenumber": "12", "addr:street": "Mill Road", "longitude": "-72", "latitude": "44",
    }  # fmt: skip
    read = read_addresses(sheet(OSM.split(), row)[0])
    assert (read.address_id.tolist(), read.label.tolist(), read.street.tolist()) == (
        ["node/5"], ["12 Mill Road"], ["Mill Road"],
    )  # fmt: skip


@pytest.mark.parametrize(
    ("headers", "cells"),
    [
        ("SITEADDID ADDRNUM FULLNAME LONG LAT", "1|12|Mill Rd|-72|44"),
        ("OBJECTID FULLADDR X Y", "1|12 Mill Rd|-72|44"),
        ("OBJECTID ADDRNUM PREDIR STREETNAME STREETTYPE SUFDIR LNG LAT", "1|12||Mill|Rd||-72|44"),
        ("AddressID HOUSE_NO ST_NAME ST_TYPE POINT_X POINT_Y", "1|12|Mill|Rd|-72|44"),
        ("OBJECTID ADDRESS STREET LON LAT", "1|12|Mill Rd|-72|44"),
        ("FID SITEADD LON LAT", "1|12 Mill Rd|-72|44"),
        ("GlobalID PROPADDRESS LONGITUDE LATITUDE", "1|12 Mill Rd|-72|44"),
        ("ADDR_ID HOUSENUM STREET_NAM STREET_TYP GPS_X GPS_Y", "1|12|Mill|Rd|-72|44"),
        ("PRIMARYADD OBJECTID LON LAT", "12 Mill Rd|1|-72|44"),
        ("ID HOUSE_NUMB FULL_STREE LON LAT", "1|12|Mill Rd|-72|44"),
        ("GID STNUM PREFIX STNAME SUFFIX LON LAT", "1|12||Mill|Rd|-72|44"),
        ("ID ADDR_NUM PRE_DIR STREETNAME STREETTYPE LON LAT", "1|12||MILL RD|RD|-72|44"),
    ],
)
def test_the_commonest_county_tables(headers: str, cells: str) -> None:
    names = headers.split()
    read = read_addresses(sheet(names, dict(zip(names, cells.split("|"), strict=True)))[0])
    assert [text.casefold() for text in read.label] == ["12 mill rd"]
    assert [text.casefold() for text in read.street] == ["mill rd"]
    assert (read.address_id.tolist(), read.number.tolist()) == (["1"], [12])
    assert (read.lon.tolist(), read.lat.tolist()) == ([-72.0], [44.0])


def test_of_two_headers_the_better_documented_is_read_and_a_note_says_so() -> None:
    headers = ["UUID", "OID_", "Add_Number", "St_Name", "Longitude", "Latitude"]
    rows = [
        {"UUID": f"u{i}", "OID_": f"{i}", "Add_Number": "1", "St_Name": "A", "Longitude": "-72", "Latitude": "44"}
        for i in range(2)
    ]
    read_from, notes = sheet(headers, *rows)
    assert read_from.id.tolist() == ["u0", "u1"]
    assert notes == ("a.csv: address_id is read from 'UUID', not 'OID_'.",)


@pytest.mark.parametrize("uuids", [["", ""], ["u", "u"], ["u", ""]])
def test_ids_that_are_empty_or_repeated_give_way_to_those_that_are_not(uuids: list[str]) -> None:
    rows = [
        {"UUID": uuid, "OBJECTID": f"{i}", "label": "1 A", "lon": "-72", "lat": "44"} for i, uuid in enumerate(uuids)
    ]
    read_from, notes = sheet(["UUID", "OBJECTID", "label", "lon", "lat"], *rows)
    assert read_from.id.tolist() == ["0", "1"]
    assert "'OBJECTID', not 'UUID'" in notes[0]


def test_a_column_never_filled_gives_way() -> None:
    row = {"id": "1", "FULLADDRESS": "", "SITEADDR": "1 A Road", "lon": "-72", "lat": "44"}
    assert read_addresses(sheet(list(row), row)[0]).label.tolist() == ["1 A Road"]


def test_our_own_name_is_never_given_up_for_another() -> None:
    row = {"address_id": "", "OBJECTID": "1", "label": "1 A", "lon": "-72", "lat": "44"}
    read_from, notes = sheet(list(row), row)
    assert (read_from.id.tolist(), notes) == ([""], ("a.csv: columns that are not read: 'OBJECTID'.",))


def test_a_mapped_header_stands_for_nothing_else() -> None:
    row = {"ID": "12", "KEY": "k1", "ST_NAME": "Mill", "lon": "-72", "lat": "44"}
    read = read_addresses(sheet(list(row), row, number="ID", address_id="KEY")[0])
    assert (read.address_id.tolist(), read.label.tolist()) == (["k1"], ["12 Mill"])
    with pytest.raises(InputError, match="address_id: required column is missing"):
        sheet(["ID", "label", "lon", "lat"], number="ID")


def test_a_street_left_empty_is_put_together_from_its_parts() -> None:
    header = ["id", "number", "StNam_Full", "St_Name", "St_PosTyp", "lon", "lat"]
    said = {"number": "1", "St_Name": "Mill", "St_PosTyp": "Road", "lon": "-72", "lat": "44"}
    read = read_addresses(sheet(header, said | {"id": "1", "StNam_Full": "Mill Rd Extension"}, said | {"id": "2"})[0])
    assert read.street.tolist() == ["Mill Rd Extension", "Mill Road"]


def test_a_label_left_empty_is_put_together_with_a_note() -> None:
    said = {"number": "1", "street": "Mill Road", "lon": "-72", "lat": "44"}
    read_from, _ = sheet(["id", "label", *said], said | {"id": "1", "label": "Mill"}, said | {"id": "2"}, {"id": "3"})
    assert read_addresses(read_from).label.tolist() == ["Mill", "1 Mill Road"]
    assert read_from.notes == ["a.csv: 1 empty labels were put together from number and street."]
    assert {(fault.row, fault.column) for fault in read_from.faults} == {(4, "label"), (4, "lon"), (4, "lat")}


def test_a_table_without_ids_is_called_by_its_addresses() -> None:
    said = {"addr:housenumber": "12", "addr:street": "Mill Road", "longitude": "-72", "latitude": "44"}
    read_from, _ = sheet(list(said), said, said, said | {"addr:housenumber": "", "addr:street": ""})
    assert read_addresses(read_from).address_id.tolist() == ["12 Mill Road", "12 Mill Road (2)"]
    assert "no column of ids" in read_from.notes[0]
    assert {fault.column for fault in read_from.faults} == {"address_id", "label"}


def test_no_header_means_two_columns() -> None:
    for spec in SPECS.values():
        every = [form for name in spec.names for form in (name, *spec.aliases.get(name, ()))]
        assert len(every) == len(set(every))


def test_a_cut_header_is_known_only_where_it_means_one_column() -> None:
    assert sheet(["id", "PRIMARYADD", "lon", "lat"])[0].has("label")
    # both required_gpm and required_gal are cut to this; a required_g must be neither
    found = sheet(["id", "label", "lon", "lat", "required_g"])[0]
    assert not found.has("required_gpm")
    assert not found.has("required_gal")
    assert len("required_g") == CUT_AT


def test_owners_and_their_mail_are_no_addresses() -> None:
    """A parcel table has its owner's address too; it is nobody's place."""
    known = {alias for aliases in ADDRESS_ALIASES.values() for alias in aliases}
    assert not known & {"owner", "owner_name", "owneraddr", "mailaddr", "mail_addr", "mailing_address", "mailadd"}
    with pytest.raises(InputError, match="label: required column is missing"):
        sheet(["OBJECTID", "OWNERNAME", "MAILADDR", "X", "Y"])


def test_the_parts_of_a_street_are_those_of_the_standards() -> None:
    assert [part for part in NENA_V2.lower().split() if part in STREET_PARTS] == list(STREET_PARTS)


@pytest.mark.parametrize(
    ("role", "header", "ours"),
    [
        ("fill_sites", "lift", "lift_ft"), ("fill_sites", "Flow", "fill_gpm"),
        ("apparatus", "weight", "loaded_lb"), ("apparatus", "GVW", "loaded_lb"), ("apparatus", "capacity", "tank_gal"),
        ("stations", "turnout", "turnout_min"), ("closures", "limit", "value"),
        ("fill_sites", "turnarund", "turnaround"),
    ],
)  # fmt: skip
def test_a_header_that_may_mean_a_column_is_asked_about(role: str, header: str, ours: str) -> None:
    assert f"t.csv: column {header!r} is not read; is {ours!r} meant?" in matched(role, header)[1]


@pytest.mark.parametrize(
    ("role", "header", "ours", "unit"),
    [("addresses", "driveway_mi", "driveway_ft", "ft"), ("apparatus", "height_m", "height_ft", "ft")],
)
def test_a_header_in_another_unit_is_asked_about_with_the_unit_to_write(
    role: str, header: str, ours: str, unit: str
) -> None:
    """Whoever only renames the column would have hose of 0.2 ft."""
    said = f"t.csv: column {header!r} is not read; is {ours!r} meant? Then bring its values into {unit}."
    assert said in matched(role, header)[1]


@pytest.mark.parametrize(
    ("role", "header", "ours"),
    [
        ("fill_sites", "season", "months"), ("fill_sites", "STATUS", "in_service"),
        ("fill_sites", "Open months", "months"),
        ("fill_sites", "drought_gpm", "low_gpm"), ("fill_sites", "fill_rate_gpm", "fill_gpm"),
        ("apparatus", "Status", "in_service"), ("stations", "career", "staffed"), ("closures", "season", "months"),
    ],
)  # fmt: skip
def test_a_header_of_one_meaning_is_read(role: str, header: str, ours: str) -> None:
    columns, notes = matched(role, header)
    assert columns[ours] == len(columns) - 1
    assert notes == ()


@pytest.mark.parametrize("role", ["fill_sites", "apparatus", "hydrants"])
def test_a_column_that_says_the_reverse_of_in_service_stops(role: str) -> None:
    with pytest.raises(InputError, match=r"row 1, column Out of service: says the reverse of in_service; call"):
        matched(role, "Out of service")
    assert matched(role, "in_service,OOS")[1] == ("t.csv: column 'OOS' is not read; is 'in_service' meant?",)


def test_every_header_that_is_not_read_is_noted() -> None:
    assert matched("stations", "chief,")[1] == (
        "t.csv: columns that are not read: 'chief', number 6, which has no header.",
    )
    many = ",".join(f"c{i}" for i in range(50))
    assert matched("stations", many)[1][0].endswith("'c38', 'c39' and 10 more.")


def matched(role: str, further: str, cell: str = "1") -> tuple[dict[str, int], tuple[str, ...]]:
    """Match the required headers of a table and some further ones, each with a value."""
    headers = (*SPECS[role].required, *further.split(","))
    cells = tuple(text_array([cell]) for _ in headers)
    row, overlong = np.array([2], dtype=np.int32), np.zeros(1, dtype=np.bool_)
    return match_headers(
        TextTable(file="t.csv", headers=headers, columns=cells, row=row, overlong=overlong), SPECS[role], {}
    )


@pytest.mark.parametrize(
    ("ours", "theirs", "told"),
    [
        ("length_ft", "LENGTH_M", "'m'"), ("loaded_lb", "GVW (kg)", "'kg'"), ("tank_gal", "tank litres", "'litres'"),
        ("max_mph", "vmax_km_h", "'km'"), ("length_ft", "length in feet", ""),
        ("length_ft", "M", ""), ("length_ft", "length_m_ft", ""),
        ("width_ft", "WIDE", ""), ("max_mph", "TOP_KPH", "'kph'"),
        ("turnout_min", "turnout_sec", "'sec'"), ("turnout_min", "turnout (minutes)", ""),
    ],
)  # fmt: skip
def test_a_mapped_header_that_names_another_unit_is_refused(ours: str, theirs: str, told: str) -> None:
    """Taken as it is, a house of 12 by 18 metres would be planned as one of 12 by 18 feet, without a word."""
    table = TextTable(
        file="t.csv", headers=(theirs,), columns=(text_array(["1"]),), row=np.array([2], dtype=np.int32),
        overlong=np.zeros(1, dtype=np.bool_),
    )  # fmt: skip
    found = list(in_other_units(table, {ours: theirs}))
    assert len(found) == bool(told)
    for one in found:
        assert (one.file, one.column, one.value) == ("t.csv", ours, theirs)
        assert told in one.rule
        assert one.remedy


@pytest.mark.parametrize(
    "header",
    ["closed_months", "Months closed", "CLOSED", "frozen", "frozen_months", "months_frozen", "ClosedMonths",
     "winter_closed"],
)  # fmt: skip
def test_months_in_which_a_site_is_shut_stop(header: str) -> None:
    """Passed over, the pond counts all year; taken for months, in winter alone."""
    with pytest.raises(InputError, match="the reverse of months; write the months in which the site can be USED"):
        matched("fill_sites", header)
    assert matched("fill_sites", header, "no")[1] == (f"t.csv: columns that are not read: {header!r}.",)


@pytest.mark.parametrize(
    ("role", "header", "ours"),
    [
        ("fill_sites", "SiteID", "site_id"), ("apparatus", "UnitID", "unit_id"), ("apparatus", "UnitType", "kind"),
        ("apparatus", "TankSize", "tank_gal"), ("addresses", "PlaceType", "occupancy"),
    ],
)  # fmt: skip
def test_headers_whose_words_are_run_together_are_read(role: str, header: str, ours: str) -> None:
    headers = (*(name for name in SPECS[role].required if name != ours), header)
    cells = tuple(text_array(["1"]) for _ in headers)
    row, overlong = np.array([2], dtype=np.int32), np.zeros(1, dtype=np.bool_)
    table = TextTable(file="t.csv", headers=headers, columns=cells, row=row, overlong=overlong)
    columns, notes = match_headers(table, SPECS[role], {})
    assert columns[ours] == len(headers) - 1
    assert notes == ()


@pytest.mark.parametrize(
    ("role", "header", "ours"),
    [
        ("apparatus", "TankCap", "tank_gal"), ("apparatus", "WaterCapacity", "tank_gal"),
        ("stations", "AidType", "aid"), ("addresses", "UseCode", "occupancy"), ("addresses", "LU_DESC", "occupancy"),
        ("addresses", "PROP_CLASS", "occupancy"), ("addresses", "USE_", "occupancy"),
        ("addresses", "GROSS_AREA", "floor_area_sqft"), ("addresses", "LivingArea", "floor_area_sqft"),
    ],
)  # fmt: skip
def test_headers_that_leave_words_or_units_open_are_asked_about(role: str, header: str, ours: str) -> None:
    """A tank that is not read counts as the smallest, a use that is not read as a dwelling."""
    assert any(f"column {header!r} is not read; is {ours!r} meant?" in note for note in matched(role, header)[1])


def test_capacity_of_a_fill_site_may_be_gallons_or_gallons_a_minute() -> None:
    """`is fill_gpm meant?` had a cistern of 10,000 gal give 10,000 gpm."""
    (note,) = matched("fill_sites", "Capacity")[1]
    assert "gallons held go into a column storage_gal, gallons a minute into one tanker into fill_gpm" in note
    assert "meant?" not in note


def test_headers_that_say_who_is_out_of_service_are_asked_about() -> None:
    """A hydrant table with OPERABLE = No in every row gave hydrants that count."""
    for header in ("OPERABLE", "ENABLED", "USABLE", "WORKING"):
        assert any(header in note and "in_service" in note for note in matched("hydrants", header)[1])
        assert any(header in note and "in_service" in note for note in matched("fill_sites", header)[1])


@pytest.mark.parametrize("header", ["Status", "in_service", "ACTIVE"])
def test_a_closed_station_is_sent_where_it_counts(header: str) -> None:
    """Its units rolled, and the header stood among many that are not read."""
    (note,) = matched("stations", header)[1]
    assert note.startswith(f"t.csv: column '{header}' is not read: units of a station that is closed are taken out by")


@pytest.mark.parametrize("header", ["POSTED_TONS", "Weight limit (lb)", "posted", "LOAD_LIMIT"])
def test_a_posted_weight_of_the_bridge_table_is_sent_where_it_counts(header: str) -> None:
    """Taken for one more column that is not read, a sign of 12 tons limited nobody."""
    (note,) = matched("bridges", header)[1]
    assert note.startswith(f"t.csv: column '{header}' is not read: ")
    assert "max_lb of closures.csv" in note


def test_pounds_in_the_plural_are_pounds() -> None:
    read, _ = match_headers(
        TextTable(
            file="t.csv", headers=("unit", "station", "type", "GVW_LBS", "Empty lbs"),
            columns=tuple(text_array(["1"]) for _ in range(5)), row=np.array([2], dtype=np.int32),
            overlong=np.zeros(1, dtype=np.bool_),
        ),
        SPECS["apparatus"], {},
    )  # fmt: skip
    assert (read["loaded_lb"], read["empty_lb"]) == (3, 4)
