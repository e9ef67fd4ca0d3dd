"""Every kind of file a county sends: the same addresses come out of each."""

from __future__ import annotations

import gzip
import json
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import openpyxl
import pyogrio
import pytest
import shapely
from openpyxl.styles import Font
from openpyxl.worksheet.worksheet import Worksheet

from preplan.errors import InputError
from preplan.inputs.addresses import read_addresses
from preplan.inputs.hydrants import read_hydrants
from preplan.inputs.reader import read_inputs
from preplan.inputs.sheet import ROUNDED_RULE, Sheet, open_sheet
from preplan.inputs.table_file import parts_of, read_table
from preplan.records import text_array
from preplan.rules import HydrantRules
from tests.faults.built import Cell, layer, workbook
from tests.inputs_folder import FILES, write_folder
from tests.shared_data import shared

PLACES = [(-72.0, 44.0), (-72.1, 44.1), (-72.2, 44.2)]
PLANE = "EPSG:32145"
"""Metres of a state's plane."""


def opened(path: Path, role: str = "addresses") -> tuple[Sheet, tuple[str, ...]]:
    return open_sheet(path, role, path.name, {})


def planned(path: Path) -> tuple[list[str], list[str], list[float], list[float]]:
    sheet, _ = opened(path)
    read = read_addresses(sheet)
    assert sheet.faults == []
    return read.address_id.tolist(), read.label.tolist(), read.lon.tolist(), read.lat.tolist()


def packed(path: Path, *members: Path, inside: str = "") -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        for member in members:
            archive.write(member, f"{inside}{member.name}")
    return path


def zipped_shapefile(folder: Path, inside: str) -> Path:
    layer(folder / "points.shp", PLACES, "EPSG:4326")
    return packed(folder / "a.zip", *sorted(folder.glob("points.*")), inside=inside)


def with_a_dot(path: Path) -> Path:
    """Add the entry that some packers write for the folder itself."""
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("./", "")
    return path


def zipped_geodatabase(folder: Path) -> Path:
    layer(folder / "d.gdb", PLACES, "EPSG:4326", driver="OpenFileGDB", layer="addresses")
    return packed(folder / "a.gdb.zip", *sorted((folder / "d.gdb").iterdir()), inside="d.gdb/")


def one(folder: Path, name: str, **options: str) -> Path:
    layer(folder / name, PLACES, "EPSG:4326", **options)
    return folder / name


def gzipped(folder: Path, name: str) -> Path:
    path = one(folder, name)
    return Path(_write(folder / f"{name}.gz", gzip.compress(path.read_bytes())))


def _write(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


LAYERS: dict[str, Callable[[Path], Path]] = {
    "geopackage": lambda folder: one(folder, "a.gpkg"),
    "geojson": lambda folder: one(folder, "a.geojson"),
    "geojson, a feature a line": lambda folder: one(folder, "a.geojsonl", driver="GeoJSONSeq"),
    "geojson, a feature a line, under its other ending": lambda folder: one(folder, "a.geojsonl").rename(
        folder / "a.ndjson"
    ),
    "geojson packed": lambda folder: gzipped(folder, "a.geojson"),
    "shapefile": lambda folder: one(folder, "a.shp"),
    "shapefile zipped": lambda folder: zipped_shapefile(folder, ""),
    "shapefile zipped in a folder": lambda folder: zipped_shapefile(folder, "county data/"),
    "shapefile zipped from its folder": lambda folder: with_a_dot(zipped_shapefile(folder, "./")),
    "geodatabase": lambda folder: one(folder, "a.gdb", driver="OpenFileGDB"),
    "geodatabase zipped": zipped_geodatabase,
}


@pytest.mark.parametrize("kind", LAYERS)
def test_layers_of_every_kind_say_the_same(tmp_path: Path, kind: str) -> None:
    ids, labels, lon, lat = planned(LAYERS[kind](tmp_path))
    assert ids == ["a1", "a2", "a3"]
    assert labels == ["1 Mill Road", "2 Mill Road", "3 Mill Road"]
    # a geodatabase keeps places on a grid finer than a millimetre
    assert lon == pytest.approx([place[0] for place in PLACES], abs=1e-9)
    assert lat == pytest.approx([place[1] for place in PLACES], abs=1e-9)


FEATURES = [
    json.dumps({
        "type": "Feature", "properties": {"address_id": f"a{i}", "label": f"{i} A Road", "type": "Feature"},
        "geometry": {"type": "Point", "coordinates": [-72.5, 44.25]},
    })
    for i in range(1, 5)
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "text", "line"),
    [
        ("a.geojsonl", "\n".join(FEATURES), None),
        ("a.geojsonl", "\x1e" + "\n\x1e".join(FEATURES), None),
        ("a.geojson", f'{{"type": "FeatureCollection", "features": [{", ".join(FEATURES)}]}}', None),
        ("a.geojsonl", ",\n".join(FEATURES), 1),
        ("a.geojsonl", "\n".join([*FEATURES[:2], FEATURES[2][:-9], FEATURES[3]]), 3),
        ("a.geojsonl", "\n".join([*FEATURES[:3], FEATURES[3][:7]]), 4),
        ("a.geojsonl", "\n".join([*FEATURES[:2], f'{{"type": "FeatureCollection", "features": [{FEATURES[2]}]}}']), 3),
        ("a.geojson", ",\n".join(FEATURES), 1),
    ],
)
def test_no_feature_is_passed_over(tmp_path: Path, name: str, text: str, line: int | None) -> None:
    """The reader takes the lines that it can, and says nothing of the others."""
    path = _write(tmp_path / name, text.encode())
    if line is None:
        assert opened(path)[0].id.tolist() == ["a1", "a2", "a3", "a4"]
    else:
        with pytest.raises(InputError, match=rf"^{name} row {line}: is no(t read from here on| feature of its own)"):
            opened(path)


@pytest.mark.parametrize("name", ["a.geojson", "a.json.gz"])
@pytest.mark.parametrize(
    ("said", "cut"),
    [
        ({"properties": {"exceededTransferLimit": True}}, True),
        ({"exceededTransferLimit": True}, True),
        ({"exceededTransferLimit": False}, False),
        ({"numberMatched": 12_000, "numberReturned": 2_000}, True),
        ({"numberMatched": 1, "numberReturned": 1}, False),
    ],
)
def test_a_layer_that_a_server_has_cut_off_is_refused(
    tmp_path: Path, name: str, said: dict[str, object], *, cut: bool
) -> None:
    """A county of 12,000 addresses is otherwise one of 2,000; what says so may stand before or behind them."""
    point = {"type": "Point", "coordinates": [-72.5, 44.25]}
    features = {
        "features": [
            {"type": "Feature", "properties": {"address_id": "1", "label": "1 A Road"}, "geometry": point},
        ]
    }
    for both in ({**said, **features}, {**features, **said}):
        text = json.dumps({"type": "FeatureCollection", **both}).encode()
        path = _write(tmp_path / name, gzip.compress(text) if name.endswith("gz") else text)
        if cut:
            with pytest.raises(InputError, match="is a part of its layer"):
                opened(path)
        else:
            assert opened(path)[0].id.tolist() == ["1"]


def test_a_table_without_shapes_is_read_from_a_geopackage(tmp_path: Path) -> None:
    """A county keeps its units beside its layers; without its name the first layer was taken for them."""
    path = tmp_path / "county.gpkg"
    layer(path, PLACES, "EPSG:4326", layer="roads")
    names = ["unit_id", "station_id", "kind", "tank_gal"]
    texts = [text_array([one]) for one in ("T1", "H1", "tanker")]
    pyogrio.raw.write(path, None, [*texts, np.array([2000.0])], names, layer="Apparatus", append=True)
    sheet, notes = open_sheet(path, "apparatus", "county.gpkg", {})
    assert [sheet.cells(name).tolist() for name in names] == [["T1"], ["H1"], ["tanker"], ["2000"]]
    assert notes == ("county.gpkg: has 2 layers; 'Apparatus' was read.",)
    pyogrio.raw.write(tmp_path / "no.gpkg", None, texts[:2], ["address_id", "label"], layer="table")
    with pytest.raises(InputError, match="column lon: required column is missing"):
        opened(tmp_path / "no.gpkg")


@pytest.mark.parametrize("zipped", [False, True])
@pytest.mark.parametrize("rows", [2, 4])
def test_a_shapefile_whose_table_is_of_another_file_is_refused(tmp_path: Path, rows: int, *, zipped: bool) -> None:
    """The reader pairs rows and shapes by their number, and passes over those that are left."""
    layer(tmp_path / "a.shp", PLACES, "EPSG:4326")
    layer(tmp_path / "other.shp", [*PLACES, *PLACES][:rows], "EPSG:4326")
    (tmp_path / "other.dbf").replace(tmp_path / "a.dbf")
    path = packed(tmp_path / "a.zip", *sorted(tmp_path.glob("a.*"))) if zipped else tmp_path / "a.shp"
    with pytest.raises(InputError, match=f"has 3 shapes and {rows} rows in its .dbf table"):
        opened(path)


def numbered(path: Path, **columns: list[float]) -> Path:
    """Write places with columns of numbers."""
    shapes = shapely.to_wkb(np.array([shapely.Point(one) for one in PLACES], dtype=object))
    ids, labels = (text_array([f"{what}{i}" for i in range(3)]) for what in ("a", "Mill Road "))
    pyogrio.raw.write(
        path, shapes, [ids, labels, *map(np.array, columns.values())], ["address_id", "label", *columns],
        geometry_type="Point", crs="EPSG:4326",
    )  # fmt: skip
    return path


def test_zeros_of_a_shapefile_are_not_known(tmp_path: Path) -> None:
    """Its table has no empty numbers: a driveway of 0 ft would need no hose, and a house of 0 floors be refused."""
    columns = {"stories": [2.0, 0.0, 0.0], "driveway_f": [0.0, 0.0, 300.0], "exposure": [1.0, 0.0, 0.0]}
    sheet, _ = opened(numbered(tmp_path / "a.shp", **columns))
    read = read_addresses(sheet)
    assert sheet.faults == []
    assert np.isnan(read.stories).tolist() == [False, True, True]
    assert np.isnan(read.driveway_ft).tolist() == [True, True, False]
    assert np.isnan(read.exposure).tolist() == [False, True, True]
    rule = "as a shapefile says where nothing is known: taken as empty."
    assert sheet.notes == [
        f"a.shp: {column} is 0 in 2 rows, {rule}" for column in ("stories", "driveway_f", "exposure")
    ]


def test_zeros_mean_zero_where_a_file_can_be_empty(tmp_path: Path) -> None:
    """A shapefile with an empty number tells it from 0, and so does every other kind of layer."""
    nan = float("nan")
    for name, known in (("a.shp", [0.0, 120.0, nan]), ("a.gpkg", [0.0, 120.0, 5.0])):
        sheet, _ = opened(numbered(tmp_path / name, driveway_f=known))
        assert read_addresses(sheet).driveway_ft.tolist()[:2] == [0.0, 120.0]
        assert sheet.notes == []


def test_a_zero_that_lessens_is_kept_and_asked_about(tmp_path: Path) -> None:
    """A hydrant of 0 gpm counts for nothing; the 500 gpm of one that nobody has tested would be more."""
    path = numbered(tmp_path / "a.shp", FLOW=[0.0, 900.0, 0.0])
    sheet, _ = open_sheet(path, "hydrants", "a.shp", {"hydrant_id": "address_id"})
    assert read_hydrants(sheet, HydrantRules()).flow_gpm.tolist() == [0.0, 900.0, 0.0]
    asked = "a.shp: FLOW is 0 in 2 rows, as a shapefile says where nothing is known: is 0 meant? It is taken as 0."
    assert sheet.notes == [asked]


@pytest.mark.parametrize(("driveway", "asked"), [("0", True), ("20", False)])
def test_driveways_that_are_all_zero_are_asked_about(tmp_path: Path, driveway: str, *, asked: bool) -> None:
    rows = "".join(f"{i},{i} A Road,-72,44,{driveway if i == 1 else 0}\n" for i in range(1, 6))
    sheet, _ = opened(_write(tmp_path / "a.csv", f"address_id,label,lon,lat,driveway_ft\n{rows}".encode()))
    assert read_addresses(sheet).driveway_ft.tolist()[1:] == [0.0] * 4
    assert any("driveway_ft is 0 in 5 rows, which is all" in note for note in sheet.notes) == asked


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp"])
def test_a_layer_in_a_states_plane_is_reprojected(tmp_path: Path, name: str) -> None:
    # the projection's own origin: 42.5 N, 72.5 W at 500,000 m east, 0 m north (its published parameters)
    layer(tmp_path / name, [(500_000.0, 0.0)] * 2, PLANE)
    _, _, lon, lat = planned(tmp_path / name)
    assert lon == pytest.approx([-72.5] * 2, abs=1e-7)
    assert lat == pytest.approx([42.5] * 2, abs=1e-7)


def test_a_note_says_that_no_coordinate_system_was_named(tmp_path: Path) -> None:
    path = one(tmp_path, "a.shp")
    path.with_suffix(".prj").unlink()
    assert opened(path)[1] == ("a.shp: names no coordinate system; its numbers fit longitude and latitude (WGS84).",)


TEXT = "address_id,label,lon,lat\n007,12 Mühle Road,-72.1,44.1\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_csv_in_every_code_page(tmp_path: Path, encoding: str) -> None:
    ids, labels, *_ = planned(_write(tmp_path / "a.csv", TEXT.encode(encoding)))
    assert (ids, labels) == (["007"], ["12 Mühle Road"])


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_csv_with_every_delimiter_packed_or_named(tmp_path: Path, delimiter: str) -> None:
    text = TEXT.replace(",", delimiter)
    for path in (
        _write(tmp_path / "a.csv", text.encode()),
        _write(tmp_path / "a.csv.gz", gzip.compress(text.encode())),
        _write(tmp_path / "b.csv", f"sep={delimiter}\r\n{text}".encode()),
        packed(tmp_path / "a.zip", tmp_path / "a.csv"),
    ):
        assert planned(path)[0] == ["007"]
        assert opened(path)[0].row.tolist() == [2]


def test_a_delimiter_inside_quotes_of_the_header_does_not_count(tmp_path: Path) -> None:
    text = '"the, place, of, it";address_id;label;lon;lat\nx;1;1 A Road;-72;44\n'
    assert planned(_write(tmp_path / "a.csv", text.encode()))[0] == ["1"]


@pytest.mark.parametrize(
    "above", ["Addresses of 2026", "Addresses of 2026,,,,", "Addresses\n\nof the county", '"A, B"']
)
def test_a_title_above_the_header_is_passed_over_with_a_note(tmp_path: Path, above: str) -> None:
    """Rows keep the numbers that a spreadsheet shows."""
    path = _write(tmp_path / "a.csv", f"{above}\n{TEXT}".encode())
    assert planned(path)[0] == ["007"]
    sheet, notes = opened(path)
    header = above.count("\n") + 2
    assert sheet.row.tolist() == [header + 1]
    assert f"taken as a title; the header is row {header}." in " ".join(notes)


@pytest.mark.parametrize("title", ["Addresses, as of 2025", "Hill, Mill, and Quarry Road"])
def test_a_comma_of_a_title_parts_nothing(tmp_path: Path, title: str) -> None:
    text = f"{title}\n\naddress_id;label;lon;lat\n1;1 A Road, rear;-72,5;44,25\n"
    assert planned(_write(tmp_path / "a.csv", text.encode())) == (["1"], ["1 A Road, rear"], [-72.5], [44.25])


@pytest.mark.parametrize("page", ["<!DOCTYPE html>\n<html>a,b</html>", "  <HTML><body>", '<?xml version="1.0"?><a/>'])
def test_a_web_page_is_no_table(tmp_path: Path, page: str) -> None:
    """A link that asks for a password saves its own page under the table's name."""
    with pytest.raises(InputError, match="is a web page, whatever its name says; download the table itself"):
        opened(_write(tmp_path / "a.csv", page.encode()))


def test_a_title_of_a_workbook_is_passed_over_too(tmp_path: Path) -> None:
    rows = [["Addresses of 2026"], *(line.split(",") for line in TEXT.splitlines())]
    (tmp_path / "a.xlsx").write_bytes(workbook({"Sheet 1": rows}))
    assert planned(tmp_path / "a.xlsx")[0] == ["007"]
    assert "the header is row 2." in " ".join(opened(tmp_path / "a.xlsx")[1])


def test_a_header_that_lacks_a_column_below_a_title_is_told_with_its_row(tmp_path: Path) -> None:
    path = _write(tmp_path / "a.csv", f"Addresses\n{TEXT.replace('label', 'what')}".encode())
    with pytest.raises(InputError) as raised:
        opened(path)
    assert [(one.row, one.column) for one in raised.value.findings] == [(2, "label")]


@pytest.mark.parametrize("text", ["one\ntwo\n", "a\n1,2\n", "one\n"])
def test_what_is_no_title_is_the_header_as_before(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputError) as raised:
        opened(_write(tmp_path / "a.csv", text.encode()))
    assert {one.row for one in raised.value.findings} == {1}


def test_the_table_of_an_archive_is_not_its_licence(tmp_path: Path) -> None:
    for name in ("LICENSE.txt", "about.json"):
        (tmp_path / name).write_text("{}")
    (tmp_path / "points.csv").write_text(TEXT)
    members = [tmp_path / name for name in ("LICENSE.txt", "about.json", "points.csv")]
    sheet, notes = opened(packed(tmp_path / "a.zip", *members))
    assert (sheet.id.tolist(), notes) == (["007"], ())


def test_an_archive_of_two_tables_says_which_was_read(tmp_path: Path) -> None:
    for name in ("hydrants.csv", "parcels.csv"):
        (tmp_path / name).write_text(TEXT)
    path = packed(tmp_path / "a.zip", tmp_path / "hydrants.csv", tmp_path / "parcels.csv")
    assert "'hydrants.csv' was read" in opened(path)[1][0]
    assert read_table(path, "parcels", "a.zip").notes == ()


def book(folder: Path, **sheets: list[list[Cell]]) -> Path:
    return _write(folder / "a.xlsx", workbook(sheets))


HEADER: list[Cell] = ["address_id", "label", "lon", "lat"]


def test_a_workbook_is_read_as_text(tmp_path: Path) -> None:
    path = book(tmp_path, Sheet1=[HEADER, ["007", "12 A Road", -72.5, 44.25], [12.0, "9 A Road", -72, 44]])
    ids, labels, lon, lat = planned(path)
    assert (ids, labels) == (["007", "12"], ["12 A Road", "9 A Road"])
    assert (lon, lat) == ([-72.5, -72.0], [44.25, 44.0])


def test_a_sheet_that_is_another_table_is_named(tmp_path: Path) -> None:
    path = book(tmp_path, about=[["This workbook"], ["holds points"]], points=[HEADER, ["1", "1 A Road", -72, 44]])
    with pytest.raises(InputError, match=r"the first, 'about', was read \(name one 'addresses' to choose it\)$"):
        opened(path)


def test_a_failed_formula_of_a_workbook_is_a_fault(tmp_path: Path) -> None:
    """It is looked for in the sheet that is read, however far down, and `#N/A` says that there is no value."""
    long: list[list[Cell]] = [[f"{i}", "1 A Road", -72, 44, 2] for i in range(3, 30_000)]
    rows: list[list[Cell]] = [
        [*HEADER, "stories"], ["1", "1 A Road", -72, 44, (None, "#DIV/0!")], ["2", "2 A Road", -72, 44, (None, "#N/A")],
        *long, ["X", (None, "#REF!"), -72, 44, 2],
    ]  # fmt: skip
    sheet, _ = opened(book(tmp_path, notes=[["a", (None, "#NAME?")], ["b", "c"]], addresses=rows))
    assert [(fault.row, fault.column, fault.value) for fault in sheet.faults] == [
        (30_000 + 1, "label", "#REF!"),
        (2, "stories", "#DIV/0!"),
    ]
    assert sheet.cells("stories")[1] == ""
    one, _ = opened(_write(tmp_path / "a.csv", b"address_id,label,lon,lat\n1,#REF!,-72,44\n"))
    assert [fault.rule for fault in one.faults] == ["is a spreadsheet's error: correct the formula, or write the value"]


def test_a_formula_that_nobody_worked_out_is_a_fault(tmp_path: Path) -> None:
    """A writer of workbooks, a reference library, leaves formulas so; an empty text as a result is none."""
    made = openpyxl.Workbook()
    page = made.active
    assert isinstance(page, Worksheet)
    for line in (
        [*HEADER, "stories", "occupancy"],
        ["1", "1 A Road", -72, 44, "=1+1", "a"],
        ['=A2&"b"', "x", -72, 44, 2],
    ):
        page.append(line)
    made.save(tmp_path / "a.xlsx")
    sheet, _ = opened(tmp_path / "a.xlsx")
    read = read_addresses(sheet)
    assert [(fault.row, fault.column, fault.value) for fault in sheet.faults] == [
        (2, "stories", "=1+1"), (3, "address_id", '=A2&"b"'),
    ]  # fmt: skip
    assert "open the table in a spreadsheet, save it" in sheet.faults[0].rule
    assert len(read) == 0
    with zipfile.ZipFile(tmp_path / "a.xlsx") as book_, zipfile.ZipFile(tmp_path / "b.xlsx", "w") as other:
        for member in book_.namelist():
            text = book_.read(member)
            if member.endswith("sheet1.xml"):
                text = re.sub(rb'<c r="E2"><f>1\+1</f><v ?/?>(</v>)?', b'<c r="E2" t="str"><f>""</f><v></v>', text)
                assert b't="str"><f>""' in text
            other.writestr(member, text)
    sheet, _ = opened(tmp_path / "b.xlsx")
    assert [fault.row for fault in sheet.faults] == [3]
    assert sheet.cells("stories")[0] == ""


@pytest.mark.parametrize("given", [50023000000012345.0, "1.23457E+16"])
def test_an_id_that_a_spreadsheet_has_rounded_is_a_fault(tmp_path: Path, given: Cell) -> None:
    sheet, _ = opened(book(tmp_path, Sheet1=[HEADER, [given, "1 A Road", -72, 44]]))
    assert [(one.column, one.rule) for one in sheet.faults] == [("address_id", ROUNDED_RULE)]
    assert not opened(book(tmp_path, Sheet1=[HEADER, ["50023000000012345", "1 A Road", -72, 44]]))[0].faults


@pytest.mark.parametrize(("begins", "what"), [(b"PK\x03\x04", "a workbook"), (b"%PDF-1.7", "a PDF")])
def test_what_is_no_text_is_called_by_its_name(tmp_path: Path, begins: bytes, what: str) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(begins + b" and more\n")
    with pytest.raises(InputError, match=f"a.csv: is {what}.*; name it as what it is, or save it as CSV"):
        opened(path)


def test_an_id_of_more_digits_than_a_layer_s_reader_keeps_is_a_fault(tmp_path: Path) -> None:
    """Beside an empty cell whole numbers come as decimals, and 12345678901234567 as its neighbour."""
    features = [
        {"type": "Feature", "geometry": {"type": "Point", "coordinates": [-72.01234, 44.01234]}, "properties": one}
        for one in ({"address_id": 12345678901234567, "label": "1 A Road"}, {"address_id": None, "label": "2 A Road"})
    ]
    path = tmp_path / "a.geojson"
    for given, rules in ((features, [ROUNDED_RULE, "is empty"]), (features[:1], [])):
        path.write_text(json.dumps({"type": "FeatureCollection", "features": given}), encoding="utf-8")
        sheet, _ = opened(path)
        assert [one.rule for one in sorted(sheet.faults, key=lambda fault: fault.row)] == rules
    assert sheet.id.tolist() == ["12345678901234567"]


@pytest.mark.parametrize("name", ["a.geojson", "a.geojsonl"])
def test_numbers_of_features_are_their_ids_where_no_column_is(tmp_path: Path, name: str) -> None:
    """Exports put them beside the properties; invented ones, where a feature has none, are no ids."""

    def headers(ids: list[int | None], **more: str) -> tuple[str, ...]:
        features = [
            {"type": "Feature", **({"id": one} if one is not None else {}),
             "geometry": {"type": "Point", "coordinates": [-72.01234, 44.01234]},
             "properties": {"label": f"{at} A Road", **more}}
            for at, one in enumerate(ids)
        ]  # fmt: skip
        text = json.dumps({"type": "FeatureCollection", "features": features})
        lines = "".join(json.dumps(one) + "\n" for one in features)
        (tmp_path / name).write_text(lines if name.endswith("l") else text, encoding="utf-8")
        return read_table(tmp_path / name, "addresses", name).headers

    assert headers([70, 9]) == ("label", "id")
    assert opened(tmp_path / name)[0].id.tolist() == ["70", "9"]
    assert headers([70, None]) == headers([None, None]) == ("label",)
    assert headers([70, 9], objectid="5") == ("label", "objectid")


def test_a_workbook_of_another_kind_says_that_failed_formulas_are_not_seen(tmp_path: Path) -> None:
    names = ("office", "table", "text")
    spaces = " ".join(f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for name in names)
    shown = "".join(
        f'<table:table-cell office:value-type="string"><text:p>{one}</text:p></table:table-cell>' for one in HEADER
    )
    row = f"<table:table-row>{shown}</table:table-row>"
    body = f'<office:body><office:spreadsheet><table:table table:name="S">{row * 2}</table:table></office:spreadsheet>'
    with zipfile.ZipFile(tmp_path / "a.ods", "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
        archive.writestr(
            "content.xml", f"<office:document-content {spaces}>{body}</office:body></office:document-content>"
        )
    read = read_table(tmp_path / "a.ods", "addresses", "a.ods")
    assert read.notes == (
        (
            "a.ods: a cell whose formula failed or was never worked out is read as empty here; in an XLSX file it "
            "would be a fault."
        ),
    )


def test_rows_of_a_workbook_keep_their_numbers(tmp_path: Path) -> None:
    rows: list[list[Cell]] = [[], HEADER, [], ["1", "1 A Road", -72, 44], ["2", "", -72, 44]]
    sheet, _ = opened(book(tmp_path, Sheet1=rows))
    read_addresses(sheet)
    assert sheet.row.tolist() == [4, 5]
    assert [(fault.row, fault.column) for fault in sheet.faults] == [(5, "label")]


def test_cells_merged_down_a_column_hold_for_each_of_their_rows(tmp_path: Path) -> None:
    """A spreadsheet shows one station beside its three units; its file has it in the first cell alone."""
    made = openpyxl.Workbook()
    page = made.active
    assert isinstance(page, Worksheet)
    for line in (
        ["Units of the county", None, None], ["unit_id", "station_id", "kind"], ["E1", "H1", "engine"],
        ["T1", None, "tanker"], ["T2", None, "tanker"], ["T3", None, "tanker"],
    ):  # fmt: skip
        page.append(line)
    for merged in ("A1:C1", "B3:B5", "B6:B20"):
        page.merge_cells(merged)
    made.save(tmp_path / "a.xlsx")
    sheet, notes = open_sheet(tmp_path / "a.xlsx", "apparatus", "a.xlsx", {})
    assert sheet.cells("station_id").tolist() == ["H1", "H1", "H1", ""]
    assert notes[0] == "a.xlsx: 'H1' in row 3 is merged with the cells below it and holds for their rows too."


def test_rows_and_sheets_that_a_spreadsheet_hides_are_told(tmp_path: Path) -> None:
    made = openpyxl.Workbook()
    page = made.active
    assert isinstance(page, Worksheet)
    for line in (HEADER, ["1", "1 A Road", -72, 44], ["2", "2 A Road", -72, 44]):
        page.append(line)
    page.row_dimensions[3].hidden = page.row_dimensions[9].hidden = True
    old = made.create_sheet("Old", 0)
    for line in (HEADER, ["3", "3 A Road", -72, 44]):
        old.append(line)
    old.sheet_state = "hidden"
    made.active = 1
    made.save(tmp_path / "a.xlsx")
    sheet, notes = opened(tmp_path / "a.xlsx")
    assert sheet.id.tolist() == ["1", "2"]
    assert notes[:2] == (
        "a.xlsx: has 2 sheets; the first, 'Sheet', was read (name one 'addresses' to choose it).",
        "a.xlsx: 1 row is hidden in the spreadsheet and read all the same (3): delete what does not hold.",
    )
    old.title = "Addresses"
    made.save(tmp_path / "a.xlsx")
    sheet, notes = opened(tmp_path / "a.xlsx")
    assert sheet.id.tolist() == ["3"]
    assert notes == ("a.xlsx: the sheet 'Addresses', which is hidden in the spreadsheet, was read.",)


def test_rows_that_somebody_crossed_out_are_told(tmp_path: Path) -> None:
    """A tanker that was sold is crossed out sooner than deleted."""
    made = openpyxl.Workbook()
    page = made.active
    assert isinstance(page, Worksheet)
    for line in (HEADER, ["1", "1 A Road", -72, 44], ["2", "2 A Road", -72, 44], ["3", "3 A Road", -72, 44]):
        page.append(line)
    page["B2"].font = Font(bold=True)
    page["A3"].font, page["F4"].font = Font(strike=True), Font(strike=True)
    made.save(tmp_path / "a.xlsx")
    (note,) = opened(tmp_path / "a.xlsx")[1]
    assert note.startswith(
        "a.xlsx: 1 row is crossed out, whole or in part, in the spreadsheet and read all the same (3)"
    )


def test_a_number_that_is_shown_with_zeros_before_it_is_read_with_them(tmp_path: Path) -> None:
    """An id is what people read; a text, a number with a fraction, and a format of another kind stay as they are."""
    made = openpyxl.Workbook()
    page = made.active
    assert isinstance(page, Worksheet)
    ids: tuple[float | str, ...] = (123, 45, "7", 8.5, 123456, 9)
    page.append(HEADER)
    for at, one in enumerate(ids, 1):
        page.append([one, f"{at} A Road", -72, 44])
    for row in range(2, 7):
        page[f"A{row}"].number_format = "00000"
    page["A7"].number_format = '0" A"'
    page["C2"].number_format = "0"
    made.save(tmp_path / "a.xlsx")
    sheet, notes = opened(tmp_path / "a.xlsx")
    assert sheet.id.tolist() == ["00123", "00045", "7", "8.5", "123456", "9"]
    (note,) = notes
    assert note == "a.xlsx: '00123' in row 2 is read with the zeros that its format shows, and 1 more likewise."


def test_a_date_of_a_workbook_is_an_iso_date(tmp_path: Path) -> None:
    rows: list[list[Cell]] = [["site_id", "tested", "months"], ["S1", (45838,), (46330,)]]
    table = read_table(book(tmp_path, Sheet1=rows), "fill_sites", "a.xlsx")
    assert [column.tolist() for column in table.columns[1:]] == [["2025-06-30"], ["2026-11-04"]]


def test_the_sheet_named_like_the_table_goes_first(tmp_path: Path) -> None:
    row: list[Cell] = ["1", "1 A Road", -72, 44]
    other: list[Cell] = ["2", "2 A Road", -72, 44]
    path = book(tmp_path, About=[["Made by the county"]], Old=[HEADER, row], Addresses=[HEADER, other])
    assert planned(path)[0] == ["2"]
    unnamed = book(tmp_path, About=[["Made by the county"]], Old=[HEADER, row], New=[HEADER, other])
    sheet, notes = opened(unnamed)
    assert sheet.id.tolist() == ["1"]
    assert "2 sheets; the first, 'Old'" in notes[0]


def test_a_geodatabase_and_a_shapefile_are_known_by_all_their_files(tmp_path: Path) -> None:
    layer(tmp_path / "a.shp", PLACES, "EPSG:4326")
    assert [part.suffix for part in parts_of(tmp_path / "a.shp")] == [".dbf", ".shx", ".prj", ".cpg"]
    layer(tmp_path / "a.gdb", PLACES, "EPSG:4326", driver="OpenFileGDB")
    text = FILES["district.toml"].replace("addresses.csv", "a.gdb")
    read = read_inputs(write_folder(tmp_path, district_toml=text))
    assert len(read.addresses) == 3
    assert all(path.is_file() for path in read.files.values())
    assert sum(role.startswith("addresses/") for role in read.files) > 3


def test_a_folder_that_is_no_geodatabase_is_no_file(tmp_path: Path) -> None:
    (tmp_path / "a.csv").mkdir()
    with pytest.raises(InputError, match="is no file"):
        read_inputs(write_folder(tmp_path, district_toml=FILES["district.toml"].replace("addresses.csv", "a.csv")))


@pytest.mark.parametrize(
    ("name", "rows", "without_number"),
    [
        ("va_highland_county.csv.gz", 2390, 0),
        ("vt_essex_north_e911.csv.gz", 2193, None),
        ("vt_guildhall_e911_raw.geojson.gz", 224, None),
    ],
)
def test_real_tables_are_read_without_mapping(name: str, rows: int, without_number: int | None) -> None:
    sheet, _ = opened(shared("addresses", name))
    read = read_addresses(sheet)
    assert (len(read), sheet.faults) == (rows, [])
    assert all(read.label.tolist())
    assert all(read.street.tolist())
    assert len(set(read.address_id.tolist())) == rows
    for label, street, number in zip(read.label, read.street, read.number.tolist(), strict=True):
        assert street in label
        assert number == -1 or label.startswith(str(number))
    if without_number is not None:
        assert (read.number == -1).sum() == without_number
    else:
        assert all(read.occupancy.tolist())
        assert all(one.isdigit() for one in read.address_id)


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_header_below_rows_that_are_none_is_named(tmp_path: Path, kind: str) -> None:
    """A report has its own name, date and filter above the table, in more than one cell."""
    rows = [
        ["Report", "2026-05-01", ""],
        ["Filter", "Town = Mill", "all"],
        [],
        *(one.split(",") for one in TEXT.splitlines()),
    ]
    path = tmp_path / f"a.{kind}"
    path.write_bytes(workbook({"Sheet 1": rows}) if kind == "xlsx" else "\n".join(map(",".join, rows)).encode())
    with pytest.raises(InputError) as raised:
        opened(path)
    (found,) = raised.value.findings
    assert (found.row, found.value) == (1, "Report, 2026-05-01")
    assert (found.rule, found.remedy) == ("is no header, and row 4 looks like it", "delete the rows above row 4")
