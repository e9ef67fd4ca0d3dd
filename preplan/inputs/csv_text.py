"""CSV in every dress that spreadsheets and exports give it: code page, delimiter, line ends, quotes."""

from __future__ import annotations

import csv
import io
import re

from preplan.inputs.tables import TextTable, fail, from_records

DELIMITERS = (",", ";", "\t", "|")
_BYTE_ORDER_MARKS = (b"\xff\xfe", b"\xfe\xff")
_QUOTED = re.compile(r'"[^"]*"')
_NAMED_DELIMITER = re.compile(r'"?sep=(.)"?\r?\n', re.IGNORECASE)


def read_csv(data: bytes, file: str) -> TextTable:
    """Read a table from the bytes of a CSV file.

    Raises
    ------
    InputError
        They are no text, have no row, or a quote that never closes.
    """
    text, notes = _decode(data, file)
    return from_records(_records(text, file), file, notes)


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
    head = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = named[1] if named else max(DELIMITERS, key=_QUOTED.sub("", head).count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    records: list[list[str]] = []
    before, line = 0, 0
    try:
        for record in reader:
            records.append(record)
            before, line = line, reader.line_num
    except csv.Error as error:
        raise fail(file, f"is not a readable CSV file: {error}", row=reader.line_num) from error
    # a quote that never closes swallows the rest of the file into one cell, and no error is raised
    if records and text.count('"') % 2 and records[-1] and len(records[-1][-1].splitlines()) > 1:
        raise fail(file, "has a quote that is never closed", row=before + 1, remedy='look for a single " there')
    return records
