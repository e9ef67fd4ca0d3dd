"""Workbooks of spreadsheets, read as texts: an id stored as text keeps its zeros, a whole number gets no '.0'."""

from __future__ import annotations

import datetime as dt
import html
import io
import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

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
_ROWS_NAMED = 12
"""Hidden rows that are named."""
_MOST_DIGITS = 15
"""A number of a spreadsheet keeps no more (its makers' published limits)."""
_SHEET = re.compile(r"worksheets/[^/]+\.xml$", re.IGNORECASE)
_SHEET_ID = re.compile(rb"""<(?:\w+:)?sheet\s[^>]*?\b\w+:id=["']([^"']+)["']""")
_RELATION = re.compile(rb"<(?:\w+:)?Relationship\s[^>]*>")
_ATTRIBUTE = re.compile(rb"""(\w+)=["']([^"']*)["']""")
_CELL = re.compile(rb"<(?:\w+:)?c\s")
_ROW = re.compile(rb"<(?:\w+:)?row\s[^>]*\bhidden=[^>]*>")
_STYLED = re.compile(rb"<(?:\w+:)?c\s[^>]*\bs=[^>]*(?<!/)>")
_FONTS, _FORMATS, _CELL_STYLES = (
    re.compile(rb"<(?:\w+:)?%s\b.*?</(?:\w+:)?%s>" % (one, one), re.DOTALL)
    for one in (b"fonts", b"numFmts", b"cellXfs")
)
_FONT = re.compile(rb"<(?:\w+:)?font\b(?:[^>]*/>|.*?</(?:\w+:)?font>)", re.DOTALL)
_STRIKE = re.compile(rb"""<(?:\w+:)?strike\s*(?:val=["'](?:1|true)["']\s*)?/>""")
_STYLE = re.compile(rb"<(?:\w+:)?xf\s[^>]*>")
_FORMAT = re.compile(rb"<(?:\w+:)?numFmt\s[^>]*>")
_ZEROS = re.compile(rb"0{2,}")
"""A format of whole numbers that shows as many digits, with zeros before them where there are fewer."""
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
    """Read the sheet named like the table, else the first, of those that are shown, that has a row below its header.

    Raises
    ------
    InputError
        The bytes are no workbook, it is locked, or it has no row.
    """
    import python_calamine as calamine  # noqa: PLC0415  most districts bring CSV

    try:
        _check_size(data, file)
        book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        opened = {name: book.get_sheet_by_name(name) for name in book.sheet_names}
        sheets = {name: _rows(sheet) for name, sheet in opened.items()}
        merged = {name: sheet.merged_cell_ranges or () for name, sheet in opened.items()}
        shown = {sheet.name for sheet in book.sheets_metadata if sheet.visible == calamine.SheetVisibleEnum.Visible}
    except InputError:
        raise
    except calamine.PasswordError as error:
        raise fail(file, "is locked by a password", remedy="save it without one") from error
    except (calamine.CalamineError, OSError, ValueError, zipfile.BadZipFile, RuntimeError, zlib.error) as error:
        raise fail(file, "is no workbook that can be read", remedy="save it again as XLSX or CSV") from error
    filled = [name for name, rows in sheets.items() if sum(1 for row in rows if any(row)) > 1]
    filled.sort(key=lambda name: name not in shown)  # a sheet that nobody sees may be an old one
    named = [name for name in sheets if plain(name) == role]
    if not sheets or not (named or filled):
        raise fail(file, "has no rows below its header" if any(map(any, sheets.values())) else "is empty")
    name = (named or filled)[0]
    chosen = ""
    if not named and len(filled) > 1:
        chosen = f"{file}: has {len(filled)} sheets; the first, {name!r}, was read (name one {role!r} to choose it)."
    rows = sheets[name]
    marks = _marks(data, list(sheets).index(name))
    notes = [*_mark(file, rows, marks), *(_pad(file, rows, marks.digits) if marks else ())]
    if name not in shown:
        notes.append(f"{file}: the sheet {name!r}, which is hidden in the spreadsheet, was read.")
    notes += _fill_merged(file, rows, merged[name])
    return from_records(rows, file, tuple(notes), typed=True, chosen=chosen, part=name if len(filled) > 1 else "")


def _mark(file: str, rows: list[list[str]], marks: _Marks | None) -> list[str]:
    """Write the faults of formulas into their cells; notes on rows that are not shown, and on what nobody can see."""
    if marks is None:
        unseen = "a cell whose formula failed or was never worked out is read as empty here"
        return [f"{file}: {unseen}; in an XLSX file it would be a fault."]
    for (row, column), text in marks.errors.items():
        if row < len(rows) and column < len(rows[row]):
            rows[row][column] = text
    notes = []
    for which, said in ((marks.hidden, "hidden"), (marks.struck, "crossed out, whole or in part,")):
        found = [row + 1 for row in sorted(which) if row < len(rows) and any(rows[row])]
        named = ", ".join(map(str, found[:_ROWS_NAMED])) + ", ..." * (len(found) > _ROWS_NAMED)
        many = "1 row is" if len(found) == 1 else f"{len(found):,} rows are"
        told = f"{file}: {many} {said} in the spreadsheet and read all the same ({named}): delete what does not hold."
        notes += [told] if found else []
    return notes


def _pad(file: str, rows: list[list[str]], digits: dict[tuple[int, int], int]) -> Iterator[str]:
    """Write whole numbers with the zeros before them that their format shows: an id is what people read; note such."""
    padded = []
    for (row, column), wide in sorted(digits.items()):
        said = rows[row][column] if row < len(rows) and column < len(rows[row]) else ""
        if said.isdecimal() and len(said) < wide:
            rows[row][column] = said.zfill(wide)
            padded.append(f"{rows[row][column]!r} in row {row + 1}")
    if padded:
        more = f", and {len(padded) - 1:,} more likewise" if padded[1:] else ""
        yield f"{file}: {padded[0]} is read with the zeros that its format shows{more}."


def _fill_merged(
    file: str, rows: list[list[str]], merged: Iterable[tuple[tuple[int, int], tuple[int, int]]]
) -> list[str]:
    """Write the value of cells merged down a column into each of their rows, as a spreadsheet shows it; note such.

    The file has it in the first alone: the months of three ponds would be those of one, and the others open all year.
    """
    told = []
    for (top, column), (bottom, _) in merged:
        value = rows[top][column] if top < len(rows) and column < len(rows[top]) else ""
        below = [row for row in rows[top + 1 : bottom + 1] if any(row)]
        if value and below:
            told.append(f"{value[:_FORMULA_LETTERS]!r} in row {top + 1}")
        for row in below:
            row[column] = row[column] or value
    if not told:
        return []
    more = f", and {len(told) - 1:,} more likewise" if told[1:] else ""
    return [f"{file}: {told[0]} is merged with the cells below it and holds for their rows too{more}."]


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


class _Cell(NamedTuple):
    """A cell that has a style."""

    style: bytes
    """Its number."""
    row: int
    column: int
    """Both from 0."""
    is_number: bool


@dataclass(frozen=True, slots=True)
class _Marks:
    """What a sheet says that the reader does not tell."""

    errors: dict[tuple[int, int], str] = field(default_factory=dict)
    """The cells whose formula fails or has no result, by row and column from 0: the reader gives them as empty.
    A failed one is told by what it shows, one without a result by itself: '=B2*3'."""
    hidden: set[int] = field(default_factory=set)
    """Rows, from 0, that are not shown."""
    struck: set[int] = field(default_factory=set)
    """Rows, from 0, in which a cell is crossed out."""
    digits: dict[tuple[int, int], int] = field(default_factory=dict)
    """Digits that a cell shows at least, by row and column from 0, where that is more than one."""

    def style(self, cell: _Cell, *, struck: bool, digits: int) -> None:
        """Note how a cell looks; a text shows no more digits than it has."""
        if struck:
            self.struck.add(cell.row)
        if digits > 1 and cell.is_number:
            self.digits[cell.row, cell.column] = digits


def _marks(data: bytes, index: int) -> _Marks | None:
    """Read a sheet's marks; None where they cannot be found: in workbooks of other programs, and of earlier times."""
    if not zipfile.is_zipfile(io.BytesIO(data)):
        return None
    found = _Marks()
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        member = _member(book, index)
        if member is None:
            return None
        struck, digits = _struck_styles(book), _digits_of_styles(book)
        with book.open(member) as packed:
            rest = b""
            while piece := packed.read(_PIECE_BYTES):
                text = rest + piece
                for cell in _styled(text) if struck or digits else ():
                    found.style(cell, struck=cell.style in struck, digits=digits.get(cell.style, 1))
                for letters, row, shown in _ERROR.findall(text):
                    found.errors[int(row) - 1, column_number(letters) - 1] = shown.decode("utf-8", errors="replace")
                for letters, row, formula in _UNCALCULATED.findall(text):
                    told = html.unescape(formula.decode("utf-8", errors="replace"))[:_FORMULA_LETTERS] or "(as above)"
                    found.errors[int(row) - 1, column_number(letters) - 1] = f"={told}"
                for tag in _ROW.findall(text):
                    said = dict(_ATTRIBUTE.findall(tag))
                    if said.get(b"hidden") in {b"1", b"true"} and said.get(b"r", b"").isdigit():
                        found.hidden.add(int(said[b"r"]) - 1)
                begun = [match.start() for match in _CELL.finditer(text)]
                # a cell may be cut between two pieces; none is as long as a piece
                rest = text[begun[-1] :] if begun and len(text) - begun[-1] < _PIECE_BYTES else b""
    return found


def _styled(text: bytes) -> Iterator[_Cell]:
    """List the cells of a piece of a sheet that have a style."""
    for tag in _STYLED.findall(text):
        said, place = dict(_ATTRIBUTE.findall(tag)), _PLACE.search(tag)
        if place:
            column, kind = column_number(place[1]) - 1, said.get(b"t", b"n")
            yield _Cell(said.get(b"s", b""), int(place[2]) - 1, column, is_number=kind == b"n")


def _struck_styles(book: zipfile.ZipFile) -> set[bytes]:
    """Find the numbers of the styles that cross a cell out."""
    styles = _styles(book)
    fonts = _FONT.findall(_part(_FONTS, styles))
    struck = {str(i).encode() for i, font in enumerate(fonts) if _STRIKE.search(font)}
    return {number for number, said in _cell_styles(styles) if said.get(b"fontId") in struck}


def _digits_of_styles(book: zipfile.ZipFile) -> dict[bytes, int]:
    """Find the numbers of the styles that show whole numbers with zeros before them, and how many digits they show."""
    styles = _styles(book)
    formats = [dict(_ATTRIBUTE.findall(tag)) for tag in _FORMAT.findall(_part(_FORMATS, styles))]
    codes = {said.get(b"numFmtId"): said.get(b"formatCode", b"") for said in formats}
    digits = {number: len(code) for number, code in codes.items() if _ZEROS.fullmatch(code)}
    return {
        number: digits[said[b"numFmtId"]] for number, said in _cell_styles(styles) if said.get(b"numFmtId") in digits
    }


def _styles(book: zipfile.ZipFile) -> bytes:
    """Read how cells look; empty where a workbook does not say."""
    try:
        return book.read("xl/styles.xml")
    except KeyError:
        return b""


def _cell_styles(styles: bytes) -> list[tuple[bytes, dict[bytes, bytes]]]:
    """List the styles of cells: the number by which cells name one, and what it says."""
    used = _STYLE.findall(_part(_CELL_STYLES, styles))
    return [(str(i).encode(), dict(_ATTRIBUTE.findall(tag))) for i, tag in enumerate(used)]


def _part(which: re.Pattern[bytes], styles: bytes) -> bytes:
    """Find a part of what a workbook says of looks; empty where it has none: other parts number theirs likewise."""
    found = which.search(styles)
    return found[0] if found else b""


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
