"""Reading files into tables of texts, and matching their headers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from preplan.errors import InputError
from preplan.inputs import cells
from preplan.inputs.bridges import read_bridges
from preplan.inputs.columns import match_headers
from preplan.inputs.sheet import CONTROL_RULE, FORMULA_RULE, TWICE_REMEDY, Sheet, open_sheet
from preplan.inputs.table_file import read_table
from preplan.inputs.table_specs import ADDRESSES, SPECS
from preplan.inputs.tables import TextTable, plain
from preplan.records import text_array


def table(folder: Path, text: str | bytes, name: str = "t.csv") -> TextTable:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_table(path, "addresses", name)


def rows(read: TextTable) -> list[tuple[str, ...]]:
    return list(zip(*(column.tolist() for column in read.columns), strict=True))


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_csv_in_every_dress(tmp_path: Path, delimiter: str, line_end: str, encoding: str) -> None:
    lines = [["id", "label"], ["1", "12 Mühle Road"], ["2", f'"A{delimiter} B"']]
    text = line_end.join(delimiter.join(line) for line in lines) + line_end
    read = table(tmp_path, text.encode(encoding))
    assert read.headers == ("id", "label")
    assert rows(read) == [("1", "12 Mühle Road"), ("2", f"A{delimiter} B")]
    assert read.row.tolist() == [2, 3]
    assert read.notes == ()


def test_another_code_page_is_read_with_a_note(tmp_path: Path) -> None:
    read = table(tmp_path, "id,label\n1,Café Road\n".encode("cp1252"))
    assert rows(read) == [("1", "Café Road")]
    assert "Windows-1252" in read.notes[0]


def test_rows_keep_their_spreadsheet_numbers(tmp_path: Path) -> None:
    read = table(tmp_path, 'id,label\n1,"two\nlines"\n\n2,b\n,\n , \n3,c\n')
    assert read.row.tolist() == [2, 4, 7]
    assert read.notes == ("t.csv: 2 rows without any value were passed over.",)


def test_rows_too_short_are_filled_and_too_long_are_marked(tmp_path: Path) -> None:
    read = table(tmp_path, "id,label\n1\n2,b,,\n3,c,d\n")
    assert rows(read) == [("1", ""), ("2", "b"), ("3", "c")]
    assert read.overlong.tolist() == [False, False, True]


def sheet_read(tmp_path: Path, text: str) -> Sheet:
    path = tmp_path / "stations.csv"
    path.write_text(text, encoding="utf-8", newline="")
    return open_sheet(path, "stations", "stations.csv", {})[0]


def test_a_row_that_ends_early_alone_is_cut_off(tmp_path: Path) -> None:
    header = "station_id,name,lon,lat,aid,max_engines,chief\n"
    sheet = sheet_read(tmp_path, header + "1,A,-72,44,own,1,x\n2,B,-72,44\n3,C,-72,44,own\n4,D,-72,44,own,2\n")
    assert [(fault.row, fault.rule[:62]) for fault in sheet.faults] == [
        (3, "ends after column 'lat', without the 3 columns behind it: is i"),
        (4, "ends after column 'aid', without the 2 columns behind it: is i"),
    ]
    # what is not read may be wanting
    assert sheet.notes == [
        "stations.csv: row 5 ends after column 'max_engines'; what stands in column 'chief' is taken as empty there."
    ]


def test_a_spreadsheet_leaves_out_empty_cells_of_whole_blocks(tmp_path: Path) -> None:
    """It looks at sixteen rows at a time, the header among the first of them."""
    header = "station_id,name,lon,lat,aid,max_engines\n"
    rows = [f"{i},A,-72,44,own,{'1' if i <= 16 else ''}".removesuffix("," if i > 16 else "") for i in range(2, 34)]
    text = header + "\n".join(rows)
    whole = sheet_read(tmp_path, text + "\n")
    assert (whole.faults, len(whole.notes)) == ([], 1)
    assert "17 rows, the first of them row 17, end after column 'aid'; what stands in column" in whole.notes[0]
    # without the end of its line the last row may be cut off, and so may one that ends early in the first block
    assert [fault.row for fault in sheet_read(tmp_path, text).faults] == [33]
    assert [
        fault.row
        for fault in sheet_read(tmp_path, text.replace("\n5,A,-72,44,own,1", "\n5,A,-72,44,own") + "\n").faults
    ] == [5]
    assert len(sheet_read(tmp_path, text.replace("20,A,-72,44,own", "20,A,-72,44") + "\n").faults) == 16


def test_a_header_without_a_name_asks_for_no_cell(tmp_path: Path) -> None:
    sheet = sheet_read(tmp_path, "station_id,name,lon,lat,aid,,\n1,A,-72,44,own\n2,B,-72,44,own,\n")
    assert (sheet.faults, sheet.notes) == ([], [])


@pytest.mark.parametrize(
    ("text", "row", "rule"),
    [
        ("", None, "is empty"),
        ("\n\n", None, "is empty"),
        ('id,label\n1,a\n2,"b\n3,c\n4,d\n', 3, "has a quote that is never closed"),
        (b"id\n\x81\n", None, "is neither UTF-8 nor Windows-1252"),
    ],
)
def test_a_csv_that_cannot_be_read(tmp_path: Path, text: str | bytes, row: int | None, rule: str) -> None:
    with pytest.raises(InputError) as caught:
        table(tmp_path, text)
    (found,) = caught.value.findings
    assert (found.row, found.rule) == (row, rule)


def test_a_quote_inside_a_text_is_no_open_quote(tmp_path: Path) -> None:
    assert rows(table(tmp_path, 'id,label\n1,5" main\n2,b\n')) == [("1", '5" main'), ("2", "b")]


@pytest.mark.parametrize(
    ("body", "row", "rule"),
    [
        # the second stray quote closes what the first opened, and the rows between are gone
        ('1,"A Rd,-72,44\n2,B Rd,-72,44\n3,"C Rd,-72,44\n', 2, "begins in this row and ends in row 4 with 'C Rd'"),
        ('1,A Rd,"-72,44\n2,B Rd,-72,44\n3,C Rd,-72",44\n', 2, "looks like rows 2 to 4"),
        ('1,A Rd,"-72,44\n2,B Rd,-72",44\n', 2, "looks like rows 2 to 3"),
        ('1,A Rd,-72,"44\n2,B Rd",-72,44\n', 2, "looks like rows 2 to 3"),
        ('1,A Rd,-72,44\n2,"B "old" Rd",-72,44\n', 3, "begins in this row and has"),
    ],
)
def test_stray_quotes_never_swallow_rows(tmp_path: Path, body: str, row: int, rule: str) -> None:
    with pytest.raises(InputError) as caught:
        table(tmp_path, "id,label,lon,lat\n" + body)
    (found,) = caught.value.findings
    assert found.row == row
    assert rule in found.rule
    assert "quote" in found.remedy


@pytest.mark.parametrize(
    "note",
    ["Ask first,\nthen open", "12 Mill Rd, Rear\nMillrace, NY 12345", "a\nb, c, d\ne", 'gate ""B"",\n\nsee map', "\n"],
)
@pytest.mark.parametrize("at", [1, 4])
def test_a_note_of_several_lines_is_no_row(tmp_path: Path, note: str, at: int) -> None:
    cells = ["1", "a", "-72", "44", "b"]
    cells[at] = f'"{note}"'
    read = table(tmp_path, "id,label,lon,lat,notes\n" + ",".join(cells) + " \n2,c,-72,44,d\n")
    assert read.row.tolist() == [2, 3]
    assert read.columns[at][0] == note.replace('""', '"').strip()


def test_a_header_alone_is_a_table_without_rows(tmp_path: Path) -> None:
    read = table(tmp_path, "id,label\n")
    assert (read.headers, len(read.row), [len(one) for one in read.columns]) == (("id", "label"), 0, [0, 0])


def test_an_unknown_kind_of_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is no kind of table"):
        table(tmp_path, "id\n", "t.docx")


# ----------------------------------------------------------------------------- map layers


def layer(path: Path, xy: list[tuple[float, float]], crs: str | None, **options: Any) -> None:
    points = shapely.to_wkb(shapely.points(xy))
    number = np.arange(len(xy), dtype=np.int64)
    fields = {"id": number, "address": text_array([f"{i + 1} Mill Road" for i in number]), "stories": number + 0.5}
    fields["stories"][0] = np.nan
    pyogrio.raw.write(
        path, geometry=points, field_data=list(fields.values()), fields=list(fields), crs=crs, geometry_type="Point",
        **options,
    )  # fmt: skip


PLACES = [(-72.0, 44.0), (-72.1, 44.1)]


def test_a_layer_is_brought_to_lon_lat(tmp_path: Path) -> None:
    # 500 km is the false easting: x of the middle meridian of zone 18 (75 W); y from the equator, 4,983 km to 45 N
    layer(tmp_path / "a.gpkg", [(500_000.0, 4_982_950.4)] * 2, "EPSG:32618")
    sheet, notes = open_sheet(tmp_path / "a.gpkg", "addresses", "a.gpkg", {})
    lon, lat = sheet.place()
    assert lon.tolist() == pytest.approx([-75.0, -75.0], abs=1e-9)
    assert lat.tolist() == pytest.approx([45.0, 45.0], abs=1e-6)
    assert (notes, sheet.faults) == ((), [])
    assert sheet.cells("stories").tolist() == ["", "1.5"]
    assert sheet.id.tolist() == ["0", "1"]


def test_a_layer_named_like_the_table_goes_first(tmp_path: Path) -> None:
    path = tmp_path / "all.gpkg"
    layer(path, PLACES, "EPSG:4326", layer="wells")
    layer(path, PLACES[:1], "EPSG:4326", layer="Fill Sites", append=True)
    assert len(read_table(path, "fill_sites", "all.gpkg").row) == 1
    other = read_table(path, "hydrants", "all.gpkg")
    assert len(other.row) == 2
    assert "2 layers" in other.notes[0]


def test_a_shapefile_without_a_coordinate_system(tmp_path: Path) -> None:
    for name, places in (("fits.shp", PLACES), ("far.shp", [(500_000.0, 4_982_950.4)])):
        layer(tmp_path / name, places, "EPSG:4326")
        (tmp_path / name).with_suffix(".prj").unlink()
    read = read_table(tmp_path / "fits.shp", "addresses", "fits.shp")
    assert "names no coordinate system" in read.notes[0]
    with pytest.raises(InputError, match="names no coordinate system"):
        read_table(tmp_path / "far.shp", "addresses", "far.shp")


def test_geojson_may_hold_one_feature_a_line(tmp_path: Path) -> None:
    point = '{"type":"Point","coordinates":[-72,44]}'
    text = '{"type":"Feature","properties":{"id":%d,"address":"1 A St"},"geometry":' + point + "}"
    (tmp_path / "a.geojson").write_text("\n".join(text % i for i in range(3)))
    assert len(read_table(tmp_path / "a.geojson", "addresses", "a.geojson").row) == 3


def test_a_polygon_stands_at_its_middle_and_no_shape_is_a_fault(tmp_path: Path) -> None:
    ring = "[[[-72,44],[-71,44],[-71,45],[-72,45],[-72,44]]]"
    feature = '{"type":"Feature","properties":{"id":%d,"address":"1 A St"},"geometry":%s}'
    both = ",".join([feature % (1, f'{{"type":"Polygon","coordinates":{ring}}}'), feature % (2, "null")])
    (tmp_path / "a.geojson").write_text(f'{{"type":"FeatureCollection","features":[{both}]}}')
    sheet, _ = open_sheet(tmp_path / "a.geojson", "addresses", "a.geojson", {})
    lon, lat = sheet.place()
    assert (lon[0], lat[0]) == (-71.5, 44.5)
    assert [(fault.row, fault.column, fault.rule) for fault in sheet.faults] == [
        (3, "geometry", "is empty: the row has no place")
    ]


def shapes(folder: Path, *geometries: str, **properties: float) -> Sheet:
    more = "".join(f',"{name}":{value}' for name, value in properties.items())
    features = ",".join(
        f'{{"type":"Feature","properties":{{"id":{i},"address":"1 A St"{more}}},"geometry":{one}}}'
        for i, one in enumerate(geometries)
    )
    (folder / "a.geojson").write_text(f'{{"type":"FeatureCollection","features":[{features}]}}')
    return open_sheet(folder / "a.geojson", "addresses", "a.geojson", {})[0]


def test_a_shape_that_is_no_one_place_is_a_fault(tmp_path: Path) -> None:
    """A line, and points half a mile apart; an outline drawn as a closed line and a double point are places."""
    sheet = shapes(
        tmp_path,
        '{"type":"LineString","coordinates":[[-72,44],[-72.01,44]]}',
        '{"type":"MultiPoint","coordinates":[[-72,44],[-72,44.01]]}',
        '{"type":"LineString","coordinates":[[-72,44],[-72.001,44],[-72.001,44.001],[-72,44]]}',
        '{"type":"MultiPoint","coordinates":[[-72,44],[-72,44.0001]]}',
        f'{{"type":"MultiPolygon","coordinates":[{square(-72.0)},{square(-72.05)}]}}',
        f'{{"type":"MultiPolygon","coordinates":[{square(-72.0)},{square(-72.0015)}]}}',
        f'{{"type":"Polygon","coordinates":{square(-72.0, 0.05)}}}',
    )
    sheet.place()
    assert [(fault.row, fault.value, fault.rule.partition(":")[0]) for fault in sheet.faults] == [
        (2, "LineString", "is a line, not a place"), (3, "MultiPoint", "holds places far apart"),
        (6, "MultiPolygon", "holds places far apart"),
    ]  # fmt: skip
    assert [note.partition(" is an area")[0].rpartition(": ")[2] for note in sheet.notes] == [
        "geometry 0.05 degrees wide"
    ]


def square(lon: float, side: float = 0.001) -> str:
    corners = [(0, 0), (side, 0), (side, side), (0, side), (0, 0)]
    return str([[[lon + east, 44.0 + north] for east, north in corners]])


def test_a_row_without_a_shape_stands_where_its_columns_say(tmp_path: Path) -> None:
    sheet = shapes(tmp_path, "null", lon=-72.5, lat=44.0)
    assert [place.tolist() for place in sheet.place()] == [[-72.5], [44.0]]
    assert not sheet.faults
    assert any("row 2 has no shape; its lon and lat were taken" in note for note in sheet.notes)


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ({"lon": -72.5, "lat": 44.0}, True),
        ({"lon": -72.0001, "lat": 44.0}, False),
        ({"lon": 0.0, "lat": 0.0}, False),
        ({"lon": 1_640_000.0, "lat": 160_000.0}, False),
    ],
    ids=["elsewhere", "the same place", "nothing", "feet of a grid"],
)
def test_columns_that_say_another_place_than_the_layer_are_asked_about(
    tmp_path: Path, said: dict[str, float], asked: bool
) -> None:
    sheet = shapes(tmp_path, '{"type":"Point","coordinates":[-72,44]}', **said)
    assert sheet.place()[0].tolist() == [-72.0]
    assert any("not where the layer has the row" in note for note in sheet.notes) is asked


@pytest.mark.parametrize("name", ["a.gpkg", "a.geojson", "a.shp"])
def test_a_layer_that_cannot_be_read_names_no_folder(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError) as caught:
        table(tmp_path, "nonsense", name)
    assert str(tmp_path) not in str(caught.value)


# ----------------------------------------------------------------------------- headers


def match(headers: str, **mapping: str) -> dict[str, int]:
    names = tuple(headers.split(","))
    none = np.empty(0, dtype=np.int32)
    empty = TextTable(
        file="t.csv", headers=names, columns=(text_array([]),) * len(names), row=none, overlong=none.astype(np.bool_)
    )
    return match_headers(empty, ADDRESSES, mapping)[0]


def test_headers_of_the_open_address_standards_are_understood() -> None:
    nena = "DiscrpAgID,NGUID,AddNum_Pre,Add_Number,AddNum_Suf,St_PreDir,St_Name,St_PosTyp,Place_Type,Longitude,Latitude"
    nena_2018 = nena.replace("NGUID", "Site_NGUID").replace("Longitude,Latitude", "Long,Lat")
    national = "OID_,Add_Number,AddNo_Full,St_Name,StNam_Full,Longitude,Latitude,UUID"
    collected = "LON,LAT,NUMBER,STREET,UNIT,CITY,DISTRICT,REGION,POSTCODE,ID,HASH"
    for headers in (nena, nena_2018, national, collected):
        found = match(headers)
        assert {"address_id", "number", "lon", "lat"} <= set(found)
        assert "street" in found or "st_name" in found
    assert match(national)["address_id"] == 7
    assert match(collected)["address_id"] == 10


def test_a_mapped_header_goes_before_a_known_one() -> None:
    headers = "address_id,label,Where it is,lon,lat"
    assert match(headers)["label"] == 1
    assert match(headers, label="Where it is")["label"] == 2
    assert match(headers.replace(",label", ""), label="where it is")["label"] == 1


def test_a_missing_column_lists_what_was_found() -> None:
    with pytest.raises(InputError) as caught:
        match("address_id,lable,lon,latt")
    first, second = caught.value.findings
    assert (first.column, second.column) == ("label", "lat")
    which = "which is it? Write under [columns.addresses] of the district file"
    assert first.remedy == f'columns found: address_id, lable, lon, latt; closest: lable; {which}: label = "ITS HEADER"'
    assert second.remedy.endswith(f'closest: latt; {which}: lat = "ITS HEADER"')


def test_no_header_is_called_the_closest_that_is_not_like_what_lacks() -> None:
    with pytest.raises(InputError) as caught:
        match("address_id,Parcel,lon,lat")
    remedy = caught.value.findings[0].remedy
    assert remedy.startswith("columns found: address_id, Parcel, lon, lat; not read: Parcel; which is it?")
    with pytest.raises(InputError) as caught:
        match("address_id,label,lon,lat", street="SITUS")
    right = "set the line right under [columns.addresses] of the district file, or take it away"
    assert caught.value.findings[0].remedy == f"columns found: address_id, label, lon, lat; {right}"


def test_a_mapped_header_that_is_not_there_and_one_that_is_there_twice() -> None:
    with pytest.raises(InputError) as caught:
        match("address_id,lon,Lon,lat", label="SITEADDR")
    assert [(found.column, found.rule) for found in caught.value.findings] == [
        ("label", "is not a header of this table"),
        ("lon", "is the header of more than one column"),
    ]


def test_a_slip_in_an_optional_header_is_noted(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text("address_id,label,lon,lat,lenght_ft\n1,1 A St,-72,44,50\n")
    notes = open_sheet(tmp_path / "t.csv", "addresses", "t.csv", {})[1]
    assert notes == ("t.csv: column 'lenght_ft' is not read; is 'length_ft' meant?",)


def test_aliases_are_plain_and_stand_for_columns_that_exist() -> None:
    for spec in SPECS.values():
        assert set(spec.aliases) <= set(spec.names)
        for aliases in spec.aliases.values():
            assert aliases == tuple(plain(alias) for alias in aliases)
            assert not set(aliases) & set(spec.names)


# ----------------------------------------------------------------------------- cells


@given(st.lists(st.floats(-1e9, 1e9), max_size=20), st.sampled_from(["", " gal", " GALLONS", "gal."]))
def test_numbers_written_with_commas_and_units_read_back(values: list[float], unit: str) -> None:
    texts = text_array([f"{value:,.3f}{unit}" for value in values])
    read, wrong = cells.numbers(texts, "gal")
    assert not wrong.any()
    assert read.tolist() == [round(value, 3) for value in values]


@given(st.text(max_size=12))
def test_a_cell_is_a_finite_number_or_a_fault(text: str) -> None:
    cell = text.strip()
    (value,), (wrong,) = cells.numbers(text_array([cell]), "gpm")
    assert np.isfinite(value) != (wrong or cell == "")


@pytest.mark.parametrize(
    "cell", ["nan", "inf", "1_000", "12,34", "0x1A", "True", "5 L", "5 gpm", "1e400", "--5", "5-6"]
)
def test_what_is_no_number_of_gallons(cell: str) -> None:
    assert cells.numbers(text_array([cell]), "gal")[1].tolist() == [True]


@given(st.integers(1, 12), st.integers(1, 12))
def test_months_run_from_the_first_to_the_last(first: int, last: int) -> None:
    read = cells.months(f"{first}-{last}")
    assert read is not None
    assert {first, last} <= read
    assert len(read) == (last - first) % 12 + 1
    # every month but the last is followed by the next
    assert {month % 12 + 1 for month in read - {last}} <= read


def test_ids_are_checked(tmp_path: Path) -> None:
    ids = ["=1", "+1", "-1", "@x", "a\x01b", "", "", "ok", "ok", "ok", '"line\nbreak"']
    (tmp_path / "t.csv").write_text("station_id,name,lon,lat\n" + "".join(f"{one},n,-72,44\n" for one in ids))
    sheet: Sheet = open_sheet(tmp_path / "t.csv", "stations", "t.csv", {})[0]
    assert [(fault.row, fault.rule) for fault in sorted(sheet.faults, key=lambda one: one.row)] == [
        (2, FORMULA_RULE),
        (3, FORMULA_RULE),
        (4, FORMULA_RULE),
        (5, FORMULA_RULE),
        (6, CONTROL_RULE),
        (7, "is empty"),
        (8, "is empty"),
        (10, f"is already used in row 9{TWICE_REMEDY}"),
        (11, f"is already used in row 9{TWICE_REMEDY}"),
        (12, CONTROL_RULE),
    ]
    assert sheet.good.tolist() == [False] * 7 + [True] + [False] * 3


def test_a_fault_names_the_header_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "b.csv"
    path.write_text("STRUCTURE_NO,LAT_016,LONG_017,OPERATING_RATING_064\nB1,44896100,72,-3\nB2,44251250,72,x\n")
    sheet, _ = open_sheet(path, "bridges", "b.csv", {})
    read_bridges(sheet)
    assert [(one.row, one.column) for one in sheet.findings()] == [
        (2, "LAT_016"),
        (2, "OPERATING_RATING_064"),
        (3, "OPERATING_RATING_064"),
    ]
    places = tmp_path / "s.csv"
    places.write_text("id,name,Longitude,Y\n1,A,bad,44\n2,B,0,0\n")
    stations, _ = open_sheet(places, "stations", "s.csv", {})
    stations.place()
    assert {one.column for one in stations.faults} == {"Longitude", "Longitude, Y"}


def test_a_header_cut_behind_a_low_line_is_the_longer_name(tmp_path: Path) -> None:
    path = tmp_path / "a.shp"
    names = ["address_id", "label", "occupancy", "occupancy_"]
    values = [text_array([one]) for one in ("A", "1 A Road", "barn", "4")]
    point = shapely.to_wkb(shapely.points([(-72.0, 44.0)]))
    pyogrio.raw.write(path, geometry=point, field_data=values, fields=names, crs="EPSG:4326", geometry_type="Point")
    sheet, notes = open_sheet(path, "addresses", "a.shp", {})
    assert (sheet.cells("occupancy").tolist(), sheet.cells("occupancy_hazard").tolist()) == (["barn"], ["4"])
    assert notes == ()
    mapped, _ = open_sheet(path, "addresses", "a.shp", {"construction": "occupancy_"})
    assert (mapped.cells("construction").tolist(), mapped.cells("occupancy").tolist()) == (["4"], ["barn"])
    path.with_suffix(".dbf").unlink()
    with pytest.raises(InputError, match=r"no columns: the \.dbf file that holds them is missing"):
        open_sheet(path, "addresses", "a.shp", {})


def test_a_shape_without_coordinates_is_told_in_plain_words(tmp_path: Path) -> None:
    path = tmp_path / "a.geojson"
    feature = '{"type": "Feature", "properties": {"id": "%s"}, "geometry": {"type": "Point", "coordinates": %s}}'
    features = ", ".join((feature % ("A", "[]"), feature % ("B", "[-72, 44]")))
    path.write_text(f'{{"type": "FeatureCollection", "features": [{features}]}}', encoding="utf-8")
    read = read_table(path, "addresses", "a.geojson")
    assert read.notes == ("a.geojson: some shapes lack a longitude or a latitude; their rows have no place.",)


def test_a_bridge_drawn_as_a_line_stands_at_its_middle(tmp_path: Path) -> None:
    """Unlike an address, which a line says nothing of."""
    line = '{"type":"LineString","coordinates":[[-72,44],[-72.01,44]]}'
    feature = f'{{"type":"Feature","properties":{{"bridge_id":"B1"}},"geometry":{line}}}'
    (tmp_path / "b.geojson").write_text(f'{{"type":"FeatureCollection","features":[{feature}]}}')
    sheet, _ = open_sheet(tmp_path / "b.geojson", "bridges", "b.geojson", {})
    read = read_bridges(sheet)
    assert read.lon.tolist() == pytest.approx([-72.005])
    assert not sheet.faults


def test_a_layer_without_features_says_so(tmp_path: Path) -> None:
    (tmp_path / "a.geojson").write_text('{"type":"FeatureCollection","features":[]}')
    with pytest.raises(InputError, match="has no features; is it the right file"):
        open_sheet(tmp_path / "a.geojson", "addresses", "a.geojson", {})
