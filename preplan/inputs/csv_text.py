"""CSV in every dress that spreadsheets and exports give it: code page, delimiter, line ends, quotes."""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections.abc import Sequence

from preplan.errors import Finding, InputError
from preplan.inputs.tables import TextTable, fail, from_records

DELIMITERS = (",", ";", "\t", "|")
_BYTE_ORDER_MARKS = (b"\xff\xfe", b"\xfe\xff")
_QUOTED = re.compile(r'"[^"]*"')
_LINE_END = re.compile(r"\r\n|\r|\n")
_FIRST_LINES = 50
"""Lines in which the delimiter is looked for."""
_NO_TEXT = {b"PK\x03\x04": "a workbook or an archive", b"\xd0\xcf\x11\xe0": "an old workbook", b"%PDF": "a PDF"}
"""How files begin that are called tables of text and are none (published descriptions of these forms, from memory)."""
_WEB_PAGE = re.compile(r"\s*<(?:!doctype|html|\?xml)", re.IGNORECASE)
_STRAY = "take away the quote that is one too many; a quote inside a text in quotes is written twice"
_NAMED_DELIMITER = re.compile(r'"?sep=(.)"?\r?\n', re.IGNORECASE)


def read_csv(data: bytes, file: str) -> TextTable:
    """Read a table from the bytes of a CSV file.

    Raises
    ------
    InputError
        They are no text, have no row, or a stray quote that swallows what follows it.
    """
    for beginning, what in _NO_TEXT.items():
        if data.startswith(beginning):
            raise fail(file, f"is {what}, whatever its name says", remedy="name it as what it is, or save it as CSV")
    text, notes = _decode(data, file)
    if _WEB_PAGE.match(text):
        raise fail(file, "is a web page, whatever its name says", remedy="download the table itself, or save it as CSV")
    return from_records(_records(text, file), file, notes, ended=text.endswith(("\n", "\r")))


def _decode(data: bytes, file: str) -> tuple[str, tuple[str, ...]]:
    """Decode UTF-8 with or without a mark, UTF-16 with one or plainly so, else the code page of older spreadsheets."""
    if data.startswith(_BYTE_ORDER_MARKS):
        return data.decode("utf-16", errors="replace"), ()
    # every other byte of plain letters in UTF-16 is zero, which no other text has
    if data[:4].count(0) == 2 and data[0:2].count(0) == 1:
        return data.decode("utf-16-be" if data[0] == 0 else "utf-16-le", errors="replace"), ()
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        note = f"{file}: not UTF-8; read as Windows-1252, so letters with accents may be wrong."
    try:
        return data.decode("cp1252"), (note,)
    except UnicodeDecodeError as error:
        raise fail(file, "is neither UTF-8 nor Windows-1252", remedy="save it as CSV UTF-8") from error


def _records(text: str, file: str) -> list[list[str]]:
    """Split a text into rows of cells, one for each row a spreadsheet would show; a blank line has no cells."""
    named = _NAMED_DELIMITER.match(text)  # a line for the spreadsheet, which shows it as no row
    text = text[named.end() :] if named else text
    delimiter = named[1] if named else _delimiter(text)
    _check_quotes(text, delimiter, file)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    records: list[list[str]] = []
    swallowed: list[tuple[int, int]] = []
    width, before, line = 0, 0, 0
    try:
        for record in reader:
            records.append(record)
            width = width if width > 1 else len(record)  # a title has one cell
            before, line = line, reader.line_num
            if line > before + 1 and _swallows(record, width, delimiter):
                swallowed.append((before + 1, line))
    except csv.Error as error:
        raise fail(file, f"is not a readable CSV file: {error}", row=reader.line_num) from error
    # a quote that never closes swallows the rest of the file into one cell, and no error is raised
    if records and text.count('"') % 2 and records[-1] and len(records[-1][-1].splitlines()) > 1:
        raise fail(file, "has a quote that is never closed", row=before + 1, remedy='look for a single " there')
    if swallowed:
        raise InputError([_swallowed(file, *lines) for lines in swallowed])
    return records


def _delimiter(text: str) -> str:
    """Find the delimiter of the first line that has any and shares it with the next: a title's comma parts nothing."""
    found = [
        one for line in itertools.islice(text.splitlines(), _FIRST_LINES) if (one := _QUOTED.sub("", line)).strip()
    ]
    for bare, below in itertools.pairwise([*found, ""]):
        most = max(DELIMITERS, key=bare.count)
        if most in bare and (most in below or not below):
            return most
    return max(DELIMITERS, key=found[0].count) if found else DELIMITERS[0]


def _check_quotes(text: str, delimiter: str, file: str) -> None:
    """Refuse a text with more behind its closing quote: what closed it was meant to open, and rows may lie between."""
    if '"' not in text:
        return
    apart = re.escape(delimiter)
    # a cell that begins with a quote, and what stands between its closing quote and the next delimiter
    quoted = re.compile(rf'(?:\A|[{apart}\r\n])"(?P<cell>[^"]*+(?:""[^"]*+)*+)"(?P<behind>[^{apart}\r\n]*)')
    for match in quoted.finditer(text):
        if behind := match["behind"].strip():
            first = _line_at(text, match.start("cell"))
            last = _line_at(text, match.start("behind"))
            where = f"ends in row {last} with" if last > first else "has"
            rule = f"a text in quotes begins in this row and {where} {behind[:40]!r} right behind its closing quote"
            raise fail(file, rule, row=first, remedy=_STRAY)


def _swallowed(file: str, first: int, last: int) -> Finding:
    """Say which lines one text makes of what looks like rows."""
    rule = f"has quotes that make one text of what looks like rows {first} to {last}"
    return Finding(file=file, row=first, rule=rule, remedy=_STRAY)


def _line_at(text: str, place: int) -> int:
    """Count the lines of a text down to a place."""
    return len(_LINE_END.findall(text, 0, place)) + 1


def _swallows(record: Sequence[str], width: int, delimiter: str) -> bool:
    """Tell whether a text of several lines holds whole rows, or the end of one row and the beginning of another.

    A true note of several lines may hold delimiters too, but not by chance as many as its rows lack.
    """
    for i, cell in enumerate(record):
        lines = [line.count(delimiter) for line in _LINE_END.split(cell)]
        if len(lines) == 1:
            continue
        first, *between, last = lines
        ends_row, begins_row = i + first == width - 1, last + len(record) - 1 - i == width - 1
        whole_rows = width > 1 and width - 1 in between
        if (ends_row and begins_row and first + last) or (whole_rows and (ends_row or begins_row)):
            return True
    return False
