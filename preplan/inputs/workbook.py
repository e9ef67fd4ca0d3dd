"""Workbooks of spreadsheets, read as texts: an id stored as text keeps its zeros, a whole number gets no '.0'."""

from __future__ import annotations

import datetime as dt
import html
import io
import re
import zipfile
import zlib

from preplan.errors import InputError
from preplan.inputs.tables import TextTable, fail, from_records, plain

MOST_UNPACKED_BYTES = 500_000_000
"""XML of a sheet is some five times its text: a county of 100,000 addresses and 20 columns."""
MOST_CELLS = 20_000_000
"""A county of 100,000 addresses with 200 columns."""
_PIECE_BYTES = 1 << 20
_LONGEST_PLACE = 16
"""Bytes of a cell's place in a sheet, at most: what may be cut between two pieces."""
_FORMULA_LETTERS = 60
"""A longer formula is told by its beginning."""
_MOST_DIGITS = 15
"""A number of a spreadsheet keeps no more (its makers' published limits)."""
_SHEET = re.compile(r"worksheets/[^/]+\.xml$", re.IGNORECASE)
_SHEET_ID = re.compile(rb"""<(?:\w+:)?sheet\s[^>]*?\b\w+:id=["']([^"']+)["']""")
_RELATION = re.compile(rb"<(?:\w+:)?Relationship\s[^>]*>")
_ATTRIBUTE = re.compile(rb"""(\w+)=["']([^"']*)["']""")
_CELL = re.compile(rb"<(?:\w+:)?c\s")
_ERROR = re.compile(
    rb"""<(?:\w+:)?c\s(?=[^>]*\bt=["']e["'])[^>]*?\br=["']([A-Z]{1,3})(\d{1,7})["'][^>]*>"""
    rb"""(?:(?!</(?:\w+:)?c>).)*?<(?:\w+:)?v>([^<]*)<""",
    re.DOTALL,
)
"""A cell whose formula fails: its column, its row, and what it shows."""
_UNCALCULATED = re.compile(
    rb"""<(?:\w+:)?c\s(?![^>]*\bt=["'](?:str|e)["'])[^>]*?\br=["']([A-Z]{1,3})(\d{1,7})["'][^>]*(?<!/)>\s*"""
    rb"""<(?:\w+:)?f(?:\s[^>]*)?(?:/>|>([^<]*)</(?:\w+:)?f>)\s*"""
    rb"""(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v>\s*</(?:\w+:)?v>)?\s*</(?:\w+:)?c>"""
)
"""A cell whose formula nobody has worked out: its column, its row and the formula. Programs that write workbooks leave
cells so; a spreadsheet never does. A formula whose result is an empty text is another: its cell is of type str."""
_PLACE = re.compile(rb"""\br=["']([A-Z]{1,3})(\d{1,7})["']""")


def read_workbook(data: bytes, role: str, file: str) -> TextTable:
    """Read the sheet named like the table, else the first that has a row below its header.

    Raises
    ------
    InputError
        The bytes are no workbook, it is locked, or it has no row.
    """
    import python_calamine as calamine  # noqa: PLC0415  most districts bring CSV

    try:
        _check_size(data, file)
        book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        sheets = {name: _rows(book.get_sheet_by_name(name)) for name in book.sheet_names}
    except InputError:
        raise
    except calamine.PasswordError as error:
        raise fail(file, "is locked by a password", remedy="save it without one") from error
    except (calamine.CalamineError, OSError, ValueError, zipfile.BadZipFile, RuntimeError, zlib.error) as error:
        raise fail(file, "is no workbook that can be read", remedy="save it again as XLSX or CSV") from error
    filled = [name for name, rows in sheets.items() if sum(1 for row in rows if any(row)) > 1]
    named = [name for name in sheets if plain(name) == role]
    if not sheets or not (named or filled):
        raise fail(file, "has no rows below its header" if any(map(any, sheets.values())) else "is empty")
    name = (named or filled)[0]
    chosen = ""
    if not named and len(filled) > 1:
        chosen = f"{file}: has {len(filled)} sheets; the first, {name!r}, was read (name one {role!r} to choose it)."
    errors = _errors(data, list(sheets).index(name))
    notes: tuple[str, ...] = ()
    if errors is None:
        unseen = "a cell whose formula failed or was never worked out is read as empty here"
        notes = (f"{file}: {unseen}; in an XLSX file it would be a fault.",)
    for (row, column), shown in (errors or {}).items():
        if row < len(sheets[name]) and column < len(sheets[name][row]):
            sheets[name][row][column] = shown
    return from_records(sheets[name], file, notes, typed=True, chosen=chosen, part=name if len(filled) > 1 else "")


def _check_size(data: bytes, file: str) -> None:
    """Refuse a workbook that unpacks to more than a district has, or whose one far cell makes a sheet of billions.

    The reader lays out every cell between the first and the last, and would end the program where they do not fit.
    """
    if not zipfile.is_zipfile(io.BytesIO(data)):
        return  # an older workbook, which is not packed
    remedy = "copy the rows of the district into a new workbook"
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        members = book.infolist()
        if sum(one.file_size for one in members) > MOST_UNPACKED_BYTES:
            raise fail(file, f"unpacks to over {MOST_UNPACKED_BYTES / 1e6:,.0f} MB", remedy=remedy)
        for one in members:
            if _SHEET.search(one.filename) and _cells_between(book, one) > MOST_CELLS:
                raise fail(file, f"has a sheet of over {MOST_CELLS:,} cells, most of them empty", remedy=remedy)


def _cells_between(book: zipfile.ZipFile, sheet: zipfile.ZipInfo) -> int:
    """Count the cells of the rectangle around all cells that a sheet names, read piece by piece."""
    columns, rows = {0}, {0}
    with book.open(sheet) as packed:
        rest = b""
        while piece := packed.read(_PIECE_BYTES):
            found = set(_PLACE.findall(rest + piece))
            columns |= {column_number(letters) for letters, _ in found}
            rows |= {int(row) for _, row in found}
            rest = piece[-_LONGEST_PLACE:]
    return max(columns) * max(rows)


def _errors(data: bytes, index: int) -> dict[tuple[int, int], str] | None:
    """Find the cells of a sheet whose formula fails or has no result, by row and column from 0.

    The reader gives them as empty. A failed one is told by what it shows, one without a result by itself: '=B2*3'.

    None where they cannot be found: in the workbooks of other programs, and of earlier times.
    """
    if not zipfile.is_zipfile(io.BytesIO(data)):
        return None
    found: dict[tuple[int, int], str] = {}
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        member = _member(book, index)
        if member is None:
            return None
        with book.open(member) as packed:
            rest = b""
            while piece := packed.read(_PIECE_BYTES):
                text = rest + piece
                for letters, row, shown in _ERROR.findall(text):
                    found[int(row) - 1, column_number(letters) - 1] = shown.decode("utf-8", errors="replace")
                for letters, row, formula in _UNCALCULATED.findall(text):
                    told = html.unescape(formula.decode("utf-8", errors="replace"))[:_FORMULA_LETTERS] or "(as above)"
                    found[int(row) - 1, column_number(letters) - 1] = f"={told}"
                begun = [match.start() for match in _CELL.finditer(text)]
                # a cell may be cut between two pieces; none is as long as a piece
                rest = text[begun[-1] :] if begun and len(text) - begun[-1] < _PIECE_BYTES else b""
    return found


def _member(book: zipfile.ZipFile, index: int) -> str | None:
    """Find the file of a workbook's sheet by the sheet's number, None where the book does not say."""
    try:
        named = _SHEET_ID.findall(book.read("xl/workbook.xml"))
        targets = dict(_target(tag) for tag in _RELATION.findall(book.read("xl/_rels/workbook.xml.rels")))
        target = targets[named[index]].decode()
        member = target.removeprefix("/") if target.startswith("/") else f"xl/{target}"
        return book.getinfo(member).filename
    except (KeyError, IndexError, UnicodeDecodeError):
        return None


def _target(tag: bytes) -> tuple[bytes, bytes]:
    """Read which id stands for which file."""
    said = dict(_ATTRIBUTE.findall(tag))
    return said.get(b"Id", b""), said.get(b"Target", b"")


def column_number(letters: bytes) -> int:
    """Count a column as spreadsheets letter them.

    >>> column_number(b"A"), column_number(b"AA"), column_number(b"XFD")
    (1, 27, 16384)
    """
    number = 0
    for letter in letters:
        number = number * 26 + letter - ord("A") + 1
    return number


def _rows(sheet: object) -> list[list[str]]:
    rows: list[list[object]] = sheet.to_python(skip_empty_area=False)  # type: ignore[attr-defined]
    return [[as_text(cell) for cell in row] for row in rows]


def as_text(cell: object) -> str:
    """Write a cell as text: whole numbers without '.0', dates as ISO, true and false as yes and no.

    A whole number of more digits than a spreadsheet keeps is written as what it is, rounded: no id is made of it.

    >>> as_text(12.0), as_text(0.1), as_text(dt.datetime(2026, 11, 4)), as_text(True), as_text("007")
    ('12', '0.1', '2026-11-04', 'yes', '007')
    >>> as_text(50023000000012345.0)
    '5.00230000000123e+16'
    """
    if isinstance(cell, str):
        return cell
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        if abs(cell) >= 10.0**_MOST_DIGITS:
            return f"{cell:.{_MOST_DIGITS}g}"
        return f"{cell:.0f}" if cell.is_integer() else repr(cell)
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat() if cell.time() == dt.time() else cell.isoformat(sep=" ")
    return cell.isoformat() if isinstance(cell, dt.date | dt.time) else str(cell)
