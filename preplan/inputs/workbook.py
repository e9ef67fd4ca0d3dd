"""Workbooks of spreadsheets, read as texts: an id stored as text keeps its zeros, a whole number gets no '.0'."""

from __future__ import annotations

import datetime as dt
import io

from preplan.inputs.tables import TextTable, fail, from_records


def read_workbook(data: bytes, role: str, file: str) -> TextTable:
    """Read the sheet named like the table, else the first that has a row below its header.

    Raises
    ------
    InputError
        The bytes are no workbook, it is locked, or it has no row.
    """
    import python_calamine as calamine  # noqa: PLC0415  most districts bring CSV

    try:
        book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        sheets = {name: _rows(book.get_sheet_by_name(name)) for name in book.sheet_names}
    except calamine.PasswordError as error:
        raise fail(file, "is locked by a password", remedy="save it without one") from error
    except (calamine.CalamineError, OSError, ValueError) as error:
        raise fail(file, "is no workbook that can be read", remedy="save it again as XLSX or CSV") from error
    filled = [name for name, rows in sheets.items() if sum(1 for row in rows if any(row)) > 1]
    named = [name for name in sheets if name.strip().casefold().replace(" ", "_") == role]
    if not sheets or not (named or filled):
        raise fail(file, "has no rows below its header" if any(map(any, sheets.values())) else "is empty")
    name = (named or filled)[0]
    notes: tuple[str, ...] = ()
    if not named and len(filled) > 1:
        notes = (f"{file}: has {len(filled)} sheets; the first, {name!r}, was read (name one {role!r} to choose it).",)
    return from_records(sheets[name], file, notes)


def _rows(sheet: object) -> list[list[str]]:
    rows: list[list[object]] = sheet.to_python(skip_empty_area=False)  # type: ignore[attr-defined]
    return [[as_text(cell) for cell in row] for row in rows]


def as_text(cell: object) -> str:
    """Write a cell as text: whole numbers without '.0', dates as ISO, true and false as yes and no.

    >>> as_text(12.0), as_text(0.1), as_text(dt.datetime(2026, 11, 4)), as_text(True), as_text("007")
    ('12', '0.1', '2026-11-04', 'yes', '007')
    """
    if isinstance(cell, str):
        return cell
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return f"{cell:.0f}" if cell.is_integer() else repr(cell)
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat() if cell.time() == dt.time() else cell.isoformat(sep=" ")
    return cell.isoformat() if isinstance(cell, dt.date | dt.time) else str(cell)
