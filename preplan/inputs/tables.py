"""What every kind of table file becomes: a table of texts with spreadsheet rows, and its shapes in lon, lat."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from preplan.errors import Finding, InputError
from preplan.records import BoolArray, IntArray, TextArray, text_array

ShapeArray: TypeAlias = npt.NDArray[np.object_]
"""Shapes of shapely; None where a row has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TextTable:
    """A table as it stands in its file: nothing is interpreted yet."""

    file: str
    """File as the user knows it."""
    headers: tuple[str, ...]
    columns: tuple[TextArray, ...]
    """One array of stripped texts for each header."""
    row: IntArray
    """Spreadsheet row; the header is row 1."""
    overlong: BoolArray
    """True where a row has more cells than the header."""
    ends_at: IntArray | None = None
    """Cells of each row that ends before the last header, 0 for a whole row; None where every row is whole."""
    trimmed: BoolArray | None = None
    """True where a spreadsheet left out the empty cells at the end of a row; None where it did nowhere."""
    header_row: int = 1
    """The spreadsheet row of the header."""
    typed: bool = False
    """True where the file itself tells numbers from texts, so that a point can only part decimals."""
    no_empty: bool = False
    """True where the file may have written 0 for a number that is not known: a shapefile."""
    below: tuple[tuple[int, tuple[str, ...]], ...] = ()
    """The first rows below the header, whole, with their spreadsheet rows: one of them may be the true header."""
    shapes: ShapeArray | None = None
    """Shape of each row of a map layer, in lon, lat."""
    notes: tuple[str, ...] = ()
    """Assumptions made while reading."""
    chosen: str = ""
    """The note that says which sheet, layer or table was read where the file has several; '' where it has one."""
    part: str = ""
    """The name of that sheet, layer or table; '' where the file has one."""


def plain(name: str) -> str:
    """Bring a header, or the name of a sheet or layer, to plain form, in which names are compared.

    >>> plain("House Number"), plain("addr:street"), plain("OID_"), plain("Número")
    ('house_number', 'addr_street', 'oid', 'número')
    """
    return re.sub(r"[\W_]+", "_", name.casefold()).strip("_")


def fail(file: str, rule: str, *, row: int | None = None, remedy: str = "") -> InputError:
    """Make the error of a file that cannot be read at all."""
    return InputError([Finding(file=file, row=row, rule=rule, remedy=remedy)])


SPREADSHEET_BLOCK_ROWS = 16
"""Rows that a spreadsheet writes at a time: where the last columns are empty in all of them it leaves those out (a
vendor's page on reading its CSV files tells of groups of rows; that there are 16 is from memory)."""


def from_records(
    records: Sequence[Sequence[str]],
    file: str,
    notes: tuple[str, ...] = (),
    *,
    ended: bool = True,
    typed: bool = False,
    chosen: str = "",
    part: str = "",
) -> TextTable:
    """Make a table from rows of cells, one for each row a spreadsheet shows; the first that has any is the header.

    A row of one cell above a row of many is a title, which is passed over with a note. So are rows without any value;
    those that are more than a blank line are counted in a note.
    `ended` says that the last row is followed by the end of a line, so that nothing is cut off there; `typed` that
    the file told numbers from texts; `chosen` and `part` are as in the table.

    Raises
    ------
    InputError
        No row has a value.
    """
    filled = [i for i, record in enumerate(records) if any(map(str.strip, record))]
    if not filled:
        raise fail(file, "is empty", remedy="the first row must name the columns")
    titles = _titles([records[i] for i in filled[: MOST_TITLES + 1]])
    if titles:
        said = ", ".join(repr("".join(records[i]).strip()[:40]) for i in filled[:titles])
        notes = (*notes, f"{file}: {said} taken as a title; the header is row {filled[titles] + 1}.")
        filled = filled[titles:]
    headers = tuple(cell.strip() for cell in records[filled[0]])
    width = len(headers)
    rows = [records[i] for i in filled[1:]]
    # a row without any value but with delimiters is what a spreadsheet leaves below a table
    blank = sum(1 for record in records[filled[0] :] if record) - len(filled)
    if blank:
        what = "1 row without any value was" if blank == 1 else f"{blank:,} rows without any value were"
        notes = (*notes, f"{file}: {what} passed over.")
    row = np.array(filled[1:], dtype=np.int32) + np.int32(1)
    # a header without a name asks for no cell
    named = max((i + 1 for i, header in enumerate(headers) if header), default=0)
    ends_at = np.array([len(record) if len(record) < named else 0 for record in rows], dtype=np.int32)
    even = [record if len(record) == width else [*record, *[""] * width][:width] for record in rows]
    columns = tuple(text_array(list(map(str.strip, column))) for column in zip(*even, strict=True))
    return TextTable(
        file=file,
        headers=headers,
        columns=columns or tuple(text_array([]) for _ in headers),
        row=row,
        typed=typed,
        ends_at=ends_at if ends_at.any() else None,
        trimmed=_trimmed(ends_at, row, filled[0] + 1, ended=ended) if ends_at.any() else None,
        overlong=np.array([len(record) > width and any(record[width:]) for record in rows], dtype=np.bool_),
        header_row=filled[0] + 1,
        below=tuple((i + 1, tuple(map(str.strip, records[i]))) for i in filled[1 : LOOKED_DOWN + 1]),
        notes=(chosen, *notes) if chosen else notes,
        chosen=chosen,
        part=part,
    )


MOST_TITLES, LEAST_HEADERS = 5, 3
"""Rows of titles above a header, and named columns from which on a row may be one: every table needs more than two."""


LOOKED_DOWN = 10
"""Rows below a header that is none in which the true one is looked for (this program's choice)."""


def _titles(records: Sequence[Sequence[str]]) -> int:
    """Count the rows of one cell each that stand above a row of many."""
    named = [sum(map(bool, map(str.strip, record))) for record in records]
    first = next((at for at, cells in enumerate(named) if cells > 1), 0)
    return first if named[first] >= LEAST_HEADERS else 0


def _trimmed(ends_at: IntArray, row: IntArray, header_row: int, *, ended: bool) -> BoolArray:
    """Tell which rows end early as a spreadsheet leaves them: with all rows of their block, at the same column.

    A row that ends early alone has been cut, and nobody knows what stood in it.
    """
    block = (row - 1) // SPREADSHEET_BLOCK_ROWS
    trimmed = ends_at > 0
    for one in np.unique(block[trimmed]).tolist():
        among = block == one
        if len(np.unique(ends_at[among])) > 1 or one == (header_row - 1) // SPREADSHEET_BLOCK_ROWS:
            trimmed &= ~among
    if not ended:
        trimmed[-1] = False
    return trimmed
