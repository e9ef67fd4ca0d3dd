"""addresses.xlsx: the tables of addresses, levels and seasons for people who work in a spreadsheet.

The same numbers as the CSV files: numbers are numbers, ids and labels are texts (so a leading zero stays and
nothing runs), the head row is frozen and filtered, and each head says in a note what it is and in which unit.

The library writes through temporary files whose times and rights depend on the machine, so its archive is packed
anew with fixed ones: equal plans give equal bytes.
"""

from __future__ import annotations

import io
import math
import shutil
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from preplan.render.fields import ABOUT, about
from preplan.render.run_info import run_lines
from preplan.render.scratch import scratch_folder
from preplan.render.tables import (
    FORMULA_STARTS,
    NOT_XML,
    Cells,
    Numbers,
    address_columns,
    level_columns,
    one_line,
    rejected_columns,
    season_columns,
)
from preplan.render.words import CAUTIONS, ROAD_CREDIT

if TYPE_CHECKING:
    from preplan.plan import Plan
    from preplan.plan_inputs import Rejected

MOST_ROWS = 1_048_575
"""Rows of a sheet below its head (Office Open XML spreadsheets: 1,048,576 in all)."""
MOST_LETTERS = 32_767
"""Letters of a cell, counted in UTF-16 (Office Open XML spreadsheets)."""
WIDTHS = (7, 48)
"""Narrowest and widest column, in digits of the font."""
_NUMBER_FORMS = ("#,##0", "0.0", "0.00")
"""Formats of numbers by their decimals; more decimals are written out."""
_HEAD: Mapping[str, Any] = MappingProxyType(
    {"bold": True, "bg_color": "#1D2429", "font_color": "#FFFFFF", "valign": "vcenter", "border": 1, "num_format": "@"}
)
_NOTE: Mapping[str, Any] = MappingProxyType({"author": "", "width": 260, "height": 60, "font_size": 9})
_STAMP = (1980, 1, 1, 0, 0, 0)
"""Time of every part of the archive, the earliest it can hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """One table: its columns, what each means, and how many of them stay in sight."""

    name: str
    columns: Mapping[str, Cells]
    about: Mapping[str, tuple[str, str]]
    frozen: int


def addresses_xlsx(plan: Plan, rejected: Sequence[Rejected]) -> bytes:
    """Write addresses.xlsx: sheets addresses, levels, seasons, rejected and about.

    Parameters
    ----------
    plan
        The finished plan.
    rejected
        Faults of the rows that are not planned.
    """
    sheets = (
        _Sheet(name="addresses", columns=address_columns(plan), about=ABOUT, frozen=2),
        _Sheet(name="levels", columns=level_columns(plan), about=ABOUT, frozen=2),
        _Sheet(name="seasons", columns=season_columns(plan), about=ABOUT, frozen=2),
        _Sheet(name="rejected", columns=rejected_columns(rejected), about=about("rejected.csv"), frozen=0),
        _about(plan),
    )
    from xlsxwriter import Workbook  # noqa: PLC0415  slow to import
    from xlsxwriter.exceptions import XlsxWriterException  # noqa: PLC0415

    buffer = io.BytesIO()
    with scratch_folder("addresses.xlsx", (OSError, XlsxWriterException)) as folder:
        options = {
            "constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "tmpdir": str(folder),
        }  # fmt: skip
        book = Workbook(buffer, options)
        book.set_properties({"title": plan.district.name, "comments": CAUTIONS, "created": _created(plan)})
        for sheet in sheets:
            _write_sheet(book, sheet, f"{plan.district.date}  {CAUTIONS}")
        book.close()
        return _packed(buffer, folder)


def _about(plan: Plan) -> _Sheet:
    """Say what the workbook is, from what, by which rules."""
    keys, values = zip(("caution", CAUTIONS), ("roads", ROAD_CREDIT), *run_lines(plan), strict=True)
    return _Sheet(name="about", columns={"key": keys, "value": values}, about=ABOUT, frozen=1)


def _created(plan: Plan) -> datetime:
    """Date the file by the plan's data, never by the clock."""
    return datetime.fromisoformat(plan.district.date or "1970-01-01").replace(tzinfo=UTC)


# --------------------------------------------------------------------------- sheets


def _write_sheet(book: Any, sheet: _Sheet, foot: str) -> None:
    """Write a table; one longer than a sheet goes on in another."""
    rows = max((len(_cells(column)) for column in sheet.columns.values()), default=0)
    for part in range(max(1, math.ceil(rows / MOST_ROWS))):
        page = book.add_worksheet(sheet.name if part == 0 else f"{sheet.name} {part + 1}")
        here = slice(part * MOST_ROWS, (part + 1) * MOST_ROWS)
        columns = [(name, _part(cells, here)) for name, cells in sheet.columns.items()]
        last = len(_cells(columns[0][1])), len(columns) - 1
        _lay_out(book, page, sheet, columns, last)
        page.set_landscape()
        page.fit_to_pages(1, 0)
        page.repeat_rows(0)
        page.set_footer(f"&L&8{foot.replace('&', '&&')}&R&8&P / &N")
        _write_rows(book, page, [cells for _, cells in columns])


def _lay_out(book: Any, page: Any, sheet: _Sheet, columns: Sequence[tuple[str, Cells]], last: tuple[int, int]) -> None:
    """Write the head with its notes; set widths, formats, the frozen pane and the filters."""
    head, text = book.add_format(_HEAD), book.add_format({"num_format": "@"})
    for at, (name, cells) in enumerate(columns):
        form = book.add_format({"num_format": _form(cells.decimals)}) if isinstance(cells, Numbers) else text
        page.set_column(at, at, _width(name, cells), form)
        page.write_string(0, at, name, head)
        page.write_comment(0, at, "\n".join(sheet.about[name]), _NOTE)
    page.set_row(0, 22)
    page.freeze_panes(1, sheet.frozen)
    page.autofilter(0, 0, *last)
    page.ignore_errors({"number_stored_as_text": f"A1:XFD{last[0] + 1}"})


def _write_rows(book: Any, page: Any, columns: Sequence[Cells]) -> None:
    """Write the cells row by row, none where nothing is known."""
    quoted = book.add_format({"num_format": "@", "quote_prefix": True})
    for at, row in enumerate(zip(*map(_values, columns), strict=True), start=1):
        for column, value in enumerate(row):
            if isinstance(value, float):
                page.write_number(at, column, value)
            elif value:
                # Already a text: the mark keeps it one when somebody edits the cell or saves it as CSV.
                page.write_string(at, column, value, quoted if value[0] in FORMULA_STARTS else None)


def _values(cells: Cells) -> Iterator[float | str]:
    """Give numbers as numbers and texts as a cell can hold them, '' where not known."""
    if isinstance(cells, Numbers):
        return ("" if math.isnan(value) else value for value in cells.values.tolist())
    return (text if text.isalnum() and len(text) < MOST_LETTERS // 2 else _cell_text(text) for text in cells)


def _cell_text(text: str) -> str:
    r"""Replace what a cell cannot hold, and cut what is too long for it.

    >>> _cell_text("two\nlines"), _cell_text("half \ud800 pair")
    ('two lines', 'half \\ud800 pair')
    """
    plain = NOT_XML.sub(" ", one_line(text.encode("utf-8", "backslashreplace").decode()))
    if len(plain.encode("utf-16-le")) > 2 * MOST_LETTERS:
        plain = plain[: MOST_LETTERS // 2 - 1] + "\N{HORIZONTAL ELLIPSIS}"
    # The library would write such a text as markup of its own.
    return plain + " " if plain.startswith("<r>") and plain.endswith("</r>") else plain


def _form(decimals: int) -> str:
    return _NUMBER_FORMS[decimals] if decimals < len(_NUMBER_FORMS) else "0." + "0" * decimals


def _width(name: str, cells: Cells) -> int:
    """Make a column as wide as its longest cell and its head with the filter's button, within reason."""
    if isinstance(cells, Numbers):
        longest = 8 + cells.decimals if len(cells.values) else 0
    else:
        longest = max(map(len, cells), default=0) + 1
    return min(max(longest, len(name) + 4, WIDTHS[0]), WIDTHS[1])


def _cells(cells: Cells) -> Sequence[Any]:
    return cells.values if isinstance(cells, Numbers) else cells  # type: ignore[return-value]


def _part(cells: Cells, rows: slice) -> Cells:
    return Numbers(cells.values[rows], cells.decimals) if isinstance(cells, Numbers) else cells[rows]


# --------------------------------------------------------------------------- the archive


def _packed(archive: io.BytesIO, folder: Path) -> bytes:
    """Pack the parts anew, in their order, with one time and the same rights everywhere."""
    path = folder / "packed"
    with ZipFile(archive) as old, ZipFile(path, "w", ZIP_DEFLATED) as new:
        for part in old.infolist():
            info = ZipInfo(part.filename, _STAMP)
            info.compress_type, info.create_system, info.external_attr = ZIP_DEFLATED, 3, 0o600 << 16
            with old.open(part) as source, new.open(info, "w", force_zip64=part.file_size >= 1 << 31) as target:
                shutil.copyfileobj(source, target, 1 << 20)
    return path.read_bytes()
