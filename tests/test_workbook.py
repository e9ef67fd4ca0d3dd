"""The workbook, read back by another library: same numbers as the tables, texts that stay texts, equal bytes."""

from __future__ import annotations

import io
import os
import time
from dataclasses import replace
from pathlib import Path
from zipfile import ZipFile

import numpy as np
import openpyxl
import pytest
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet
from python_calamine import CalamineWorkbook

from preplan.plan import Plan
from preplan.plan_inputs import Rejected
from preplan.records import text_array
from preplan.render import workbook
from preplan.render.tables import (
    Numbers,
    address_columns,
    addresses_csv,
    level_columns,
    levels_csv,
    season_columns,
    seasons_csv,
)
from preplan.render.words import CAUTIONS
from preplan.render.workbook import MOST_LETTERS, addresses_xlsx
from tests.example_plan import example_plan
from tests.test_tables import picked, rows_of

FAULT = Rejected(file="a.csv", row=1017, id="0017", column="lat", value="=1+1", rule="is not a latitude")

SHEETS = {
    "addresses": (addresses_csv, address_columns), "levels": (levels_csv, level_columns),
    "seasons": (seasons_csv, season_columns),
}  # fmt: skip
"""Sheets that say what a table says: its writer, and its columns before they become text."""


def labelled(*labels: str) -> Plan:
    plan = example_plan()
    return replace(
        plan, addresses=replace(plan.addresses, label=text_array([*labels, *plan.addresses.label[len(labels) :]]))
    )


def opened(content: bytes) -> Workbook:
    return openpyxl.load_workbook(io.BytesIO(content))


def sheet(content: bytes, name: str = "addresses") -> Worksheet:
    found = opened(content)[name]
    assert isinstance(found, Worksheet)
    return found


def labels(content: bytes) -> list[object]:
    """Read the second column, below the head, with the reader that undoes `_xHHHH_`."""
    rows = CalamineWorkbook.from_filelike(io.BytesIO(content)).get_sheet_by_name("addresses").to_python()
    return [row[1] for row in rows[1:]]


@pytest.fixture(scope="module")
def content() -> bytes:
    return addresses_xlsx(example_plan(), (FAULT,))


@pytest.mark.parametrize("name", SHEETS)
def test_cells_are_those_of_the_table(content: bytes, name: str) -> None:
    """Cell for cell the CSV; what is a number there is a number here; empty is empty, never zero."""
    writer, typed = SHEETS[name]
    theirs, columns = rows_of(writer(example_plan())), typed(example_plan())
    head, *mine = sheet(content, name).iter_rows(values_only=True)
    assert list(head) == list(theirs[0])
    assert len(mine) == len(theirs)
    for row, expected in zip(mine, theirs, strict=True):
        for (column, text), cell in zip(expected.items(), row, strict=True):
            if not text:
                assert cell is None
            elif isinstance(columns[column], Numbers):
                assert isinstance(cell, int | float)
                assert cell == float(text)
            else:
                assert cell == text.removeprefix("'")


def test_a_second_reader_agrees(content: bytes) -> None:
    book = CalamineWorkbook.from_filelike(io.BytesIO(content))
    assert book.sheet_names == ["addresses", "levels", "seasons", "rejected", "about"]
    for name in book.sheet_names:
        theirs = [["" if cell is None else cell for cell in row] for row in sheet(content, name).values]
        assert book.get_sheet_by_name(name).to_python() == theirs


def test_head(content: bytes) -> None:
    """Styled, frozen, filtered, wide enough, and each head says what it is; flows, gallons and minutes their unit."""
    for name, frozen in (("addresses", "C2"), ("levels", "C2"), ("seasons", "C2"), ("rejected", "A2"), ("about", "B2")):
        page = sheet(content, name)
        assert page.freeze_panes == frozen
        assert page.auto_filter.ref == page.dimensions
        for cell in page[1]:
            assert cell.font.b
            assert cell.fill.fgColor.rgb == "FF1D2429"
            assert cell.comment is not None
            unit = next((u for u in ("gpm", "gal", "min", "mi", "ft") if str(cell.value).endswith(f"_{u}")), "")
            assert not unit or f"({unit})" in cell.comment.text
            assert page.column_dimensions[get_column_letter(cell.column or 0)].width > len(str(cell.value))
        assert page.page_setup.orientation == "landscape"
        assert page.print_title_rows == "$1:$1"
        assert page.oddFooter is not None
        assert CAUTIONS in str(page.oddFooter.left.text)


def test_number_forms(content: bytes) -> None:
    page = sheet(content)
    forms = {str(cell.value): page.cell(2, cell.column or 0).number_format for cell in page[1]}
    picked_forms = [forms[name] for name in ("address_id", "lon", "required_gpm", "out_min", "round_trip_mi")]
    assert picked_forms == ["@", "0.000000", "#,##0", "0.0", "0.00"]


def test_ids_keep_their_zeros() -> None:
    plan = example_plan()
    ids = text_array(["007", "1e5", "12-3", "TRUE", "3/4", "9" * 30])
    page = sheet(addresses_xlsx(replace(plan, addresses=replace(plan.addresses, address_id=ids)), ()))
    assert [page.cell(row, 1).value for row in range(2, 8)] == ids.tolist()
    assert {page.cell(row, 1).data_type for row in range(2, 8)} == {"s"}


@pytest.mark.parametrize("start", ["=1+1", "+1", "-1", "@SUM(A1)", '=HYPERLINK("x")', "{=1}", "http://x.example"])
def test_text_does_not_run(start: str) -> None:
    """Stored as text; marked so that it stays one when somebody edits the cell."""
    content = addresses_xlsx(labelled(start), ())
    page = sheet(content)
    assert (page["B2"].value, page["B2"].data_type) == (start, "s")
    assert bool(page["B2"].quotePrefix) == (start[0] in "=+-@")
    assert page["B2"].hyperlink is None
    with ZipFile(io.BytesIO(content)) as parts:
        assert not any(b"<f>" in parts.read(name) for name in parts.namelist() if "worksheets/sheet" in name)


@pytest.mark.parametrize(
    ("odd", "kept"),
    [
        ("two\nlines", "two lines"),
        ("a\x00b\x07c", "a b c"),
        ("half \ud800 pair", "half \\ud800 pair"),
        ("\ufffe end", "  end"),
        ("_x0041_", "_x0041_"),
        ("<r>&amp;</r>", "<r>&amp;</r> "),
        ("<r><b", "<r><b"),
        ("  spaces  ", "  spaces  "),
        ("\U0001f692 & <script>", "\U0001f692 & <script>"),
    ],
)
def test_whatever_a_label_holds(odd: str, kept: str) -> None:
    assert labels(addresses_xlsx(labelled(odd), ()))[0] == kept


def test_a_label_too_long_for_a_cell_is_cut_and_says_so() -> None:
    found = labels(addresses_xlsx(labelled("x" * MOST_LETTERS, "x" * (MOST_LETTERS + 1), "\U0001f692" * 20_000), ()))
    assert found[0] == "x" * MOST_LETTERS
    for text in found[1:3]:
        assert str(text).endswith("\N{HORIZONTAL ELLIPSIS}")
        assert len(str(text).encode("utf-16-le")) <= 2 * MOST_LETTERS


def test_rejected_rows(content: bytes) -> None:
    assert list(sheet(content, "rejected").values)[1:] == [("a.csv", 1017, "0017", "lat", "=1+1", "is not a latitude")]
    assert sheet(content, "rejected")["E2"].data_type == "s"


def test_about(content: bytes) -> None:
    said = {str(key): value for key, value in sheet(content, "about").values}
    assert said["caution"] == CAUTIONS
    assert "OpenStreetMap" in str(said["roads"])
    assert said["addresses not met"] == "2"


def test_more_rows_than_a_sheet_holds_go_on_in_another(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook, "MOST_ROWS", 5)
    book = opened(addresses_xlsx(example_plan(), ()))
    assert book.sheetnames == [
        "addresses", "addresses 2", "levels", "levels 2", "levels 3", "seasons", "seasons 2", "seasons 3", "seasons 4",
        "rejected", "about", *(f"about {n}" for n in range(2, len(book.sheetnames) - 9)),
    ]  # fmt: skip
    ids = [row[0] for name in ("addresses", "addresses 2") for row in list(book[name].values)[1:]]
    assert ids == ["A0", "A1", "A2", "A3", "A4", "A5"]


def test_a_plan_without_addresses_has_all_sheets() -> None:
    content = addresses_xlsx(picked(example_plan(), []), ())
    assert [sheet(content, name).max_row for name in ("addresses", "levels", "seasons", "rejected")] == [1, 1, 1, 1]


def test_same_plan_same_bytes(content: bytes, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Whatever the hour, the zone, the rights and the folder of temporary files; dated by the plan."""
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    mask = os.umask(0o077)
    try:
        if hasattr(time, "tzset"):
            time.tzset()
        again = addresses_xlsx(example_plan(), (FAULT,))
    finally:
        os.umask(mask)
        monkeypatch.undo()
        if hasattr(time, "tzset"):
            time.tzset()
    assert again == content
    assert list(tmp_path.iterdir()) == []
    properties = opened(content).properties
    assert {str(properties.created)[:10], str(properties.modified)[:10]} == {"2026-05-01"}
    with ZipFile(io.BytesIO(content)) as parts:
        assert {part.date_time for part in parts.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_undated_plan() -> None:
    plan = example_plan()
    content = addresses_xlsx(replace(plan, district=replace(plan.district, date="")), ())
    assert str(opened(content).properties.created)[:10] == "1970-01-01"


def test_endless_numbers_are_empty() -> None:
    plan = example_plan()
    trips = replace(plan.trips, out_min=np.full(len(plan.trips), np.inf))
    page = sheet(addresses_xlsx(replace(plan, trips=trips), ()))
    column = next(cell.column for cell in page[1] if cell.value == "out_min")
    assert {page.cell(row, column).value for row in range(2, 8)} == {None}
