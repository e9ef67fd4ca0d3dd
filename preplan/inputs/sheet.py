"""A table whose columns bear our names: checks whole columns and keeps every fault with its row and cell."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from preplan.errors import Finding, InputError
from preplan.inputs import bounds, cells
from preplan.inputs.addressing import made_ids
from preplan.inputs.cells import YES_NO, Numbers
from preplan.inputs.columns import match_headers
from preplan.inputs.row_places import read_places
from preplan.inputs.table_file import read_table
from preplan.inputs.table_specs import EVERY_SPEC, SERVICE_BESIDE, SPECS
from preplan.inputs.tables import ShapeArray, TextTable
from preplan.inputs.units_written import expected, unit_of
from preplan.months import month_words
from preplan.plan_inputs import Rejected
from preplan.records import BoolArray, FloatArray, IntArray, TextArray, text_array

LARGEST_NUMBER = 1e9
"""No quantity of any table comes near it."""
FORMULA_STARTS = ("=", "+", "-", "@")
"""A spreadsheet runs a cell that starts so; an id is refused, since it must stay what it is."""
_EMPTY_PROMISES: Mapping[str, str] = {
    "in_service": "says neither yes nor no: write one of them (an empty cell counts as yes)",
    "months": "says no months: write them, or leave the cell empty for all year",
    "tank_gal": "may be none or not known: write 0 for none; an empty cell stands for a usual tank",
    "portable_tank_gal": "may be none or not known: write 0 for none; an empty cell stands for a tanker's own size",
    "supply_hose_ft": "may be none or not known: write 0 for none; an empty cell stands for what is usual",
}
"""Columns in which an empty cell promises something, and no value may be the answer that there is none."""
ZERO_FLATTERS = frozenset({"driveway_ft", "turnout_min", "lift_ft", "exposure", "needs_engine"})
"""Columns in which 0 promises more than an empty cell does."""
_ZERO_IS_NONE = ZERO_FLATTERS | {"operating_lb", "operating_us_tons", "operating_tonnes"}
"""Columns in which the 0 of a shapefile is taken as empty though 0 is possible."""
_ALL_ZERO_ROWS = 5
"""So many rows that all say 0 where that flatters are asked about (this program's choice)."""
_ROUNDED_FROM = 1000.0
"""What was brought into another unit is told without decimals from here on."""
_ROWS_NAMED = 12
"""Rows that a note names; the rest is counted."""
FORMULA_RULE = "starts like a formula (= + - @), and a spreadsheet may run it: begin the id with a letter or digit"
CONTROL_RULE = "has control characters, such as a line end: type the id anew"
TWICE_REMEDY = ": give one of the two another id, or take its row out"
UNCALCULATED_RULE = "is a formula without a result: open the table in a spreadsheet, save it, and build again"
ROUNDED_RULE = (
    "is a number that a spreadsheet or map layer has rounded or shortened: make the column text, and fill in the ids "
    "again from where they come"
)
CUT_REMEDY = "Add what is missing, and a comma (or what else parts the cells of the file) for each empty cell"
_ROUNDED = re.compile(r"\d(?:\.\d+)?[eE]\+\d{1,3}")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_A_DATE = re.compile(r"\d{4}-\d{2}-\d{2}(?:[ T]00:00:00)?|\d{1,2}-[A-Z][a-z]{2}|[A-Z][a-z]{2}-\d{2}")
_BLANKS = re.compile(r"[ \u00a0\u202f]+")
_UNTIDY = re.compile(_CONTROL.pattern + r"|[ \u00a0]{2,}|\u00a0")


class Sheet:
    """One table under its own names, and the faults found in it so far.

    Every reader of a column returns one value a row, NaN or '' where a cell is empty or at fault, so a whole
    table is checked before anybody decides what to do with its faulty rows.
    """

    def __init__(self, table: TextTable, columns: Mapping[str, int], id_column: str, *, own_ids: bool = True) -> None:
        """Take a table and the position of each column, and check the ids where each row has its own."""
        self.file = table.file
        self.part = table.part
        self.row: IntArray = table.row
        self.faults: list[Rejected] = []
        self.left_out: BoolArray = np.zeros(len(table.row), dtype=np.bool_)
        """True for each row without a fault that its reader leaves out on purpose."""
        self.notes: list[str] = []
        self._cut_off: set[int] = set()
        """Rows that end before the last column."""
        self.unread: tuple[str, ...] = ()
        """What is said of headers that are not read, of which one may explain a fault."""
        given = {name: table.columns[i] for name, i in columns.items()}
        self._cells = {name: _without_empty_words(column) for name, column in given.items()}
        if id_column in self._cells:  # a blank that does not break looks like any other, in this table and the next
            plain_ids = [_BLANKS.sub(" ", one) for one in self._cells[id_column].tolist()]
            self._cells[id_column] = text_array(plain_ids)
        self.read_from = {name: table.headers[i] for name, i in columns.items() if table.headers[i] != name}
        self._layer = table.shapes
        self._typed = table.typed
        self._no_empty = table.no_empty
        self._id_column = id_column
        self.id: TextArray = self.cells(id_column) if self.has(id_column) or not columns else self._made_ids()
        self.fault(table.overlong, "", "has more cells than the header: a comma inside a text needs quotes around it")
        self._check_errors(typed=table.typed)
        self._check_not_available(given)
        self._check_ends(table, max(columns.values(), default=-1))
        if own_ids:
            self._check_ids(typed=table.typed)

    def __len__(self) -> int:
        """Count the rows."""
        return len(self.row)

    @property
    def good(self) -> BoolArray:
        """True for each row without a fault."""
        return ~np.isin(self.row, [fault.row for fault in self.faults])

    def findings(self) -> list[Finding]:
        """Turn the faults into findings, in the order of their rows."""
        return [fault.finding for fault in sorted(self.faults, key=lambda fault: fault.row)]

    def has(self, column: str) -> bool:
        """Tell whether the table has a column."""
        return column in self._cells

    def cells(self, column: str) -> TextArray:
        """Give a column as it stands, '' where the table has none."""
        if column in self._cells:
            return self._cells[column]
        return text_array([""] * len(self))

    def fault(self, where: BoolArray, column: str, rule: str, values: TextArray | None = None) -> None:
        """Keep one fault for each row where `where` is True; `values` replaces the cells in the report."""
        if not where.any():
            return
        shown = self.cells(column) if values is None else values
        for i in np.flatnonzero(where).tolist():
            self.fault_at(i, column, shown[i], rule)

    def fault_at(self, i: int, column: str, value: str, rule: str) -> None:
        """Keep the fault of one row; of a row that is cut off no empty cell is told besides."""
        row = int(self.row[i])
        if value == "" and row in self._cut_off:
            return
        named = self.header(column)
        self.faults.append(Rejected(file=self.file, row=row, id=self.id[i], column=named, value=value, rule=rule))

    def header(self, column: str) -> str:
        """Name a column, or two with a comma between, as the table's own header does."""
        return ", ".join(self.read_from.get(name, name) for name in column.split(", "))

    def note(self, text: str) -> None:
        """Keep an assumption made about this table."""
        self.notes.append(f"{self.file}: {text}")

    # ----------------------------------------------------------------------- whole columns

    def take_off(self, column: str, beginning: re.Pattern[str]) -> None:
        """Take what cells of a column may begin with off them."""
        if self.has(column):
            self._cells[column] = text_array([beginning.sub("", cell) for cell in self._cells[column].tolist()])

    def text(self, column: str, *, required: bool = False) -> TextArray:
        """Read a column of texts; control characters and runs of spaces become one space."""
        values = self.cells(column)
        if _UNTIDY.search("\ufffe".join(values)):  # one look at the whole column, which seldom has any
            values = text_array([" ".join(_CONTROL.sub(" ", value).split()) for value in values])
        if required:
            self.fault(values == "", column, "is empty")
        return values

    def number(
        self,
        column: str,
        *,
        above: float | None = None,
        low: float | None = None,
        high: float | None = None,
        whole: bool = False,
        bound: bounds.Bound | None = None,
        remedy: str = "",
    ) -> FloatArray:
        """Read a column of numbers, checked to lie above, at least, at most, in its bound, or to be whole.

        `remedy` says what to do about a cell that is no number.
        """
        if not self.has(column):
            return np.full(len(self), np.nan)
        unit = unit_of(column)
        self.doubt_zeros(column, possible=(above is None or above < 0.0) and (low is None or low <= 0.0))
        read = cells.read_numbers(self.cells(column), unit)
        values = np.where(self.point_in_doubt(column, unit), np.nan, read.number)
        for i in np.flatnonzero(read.wrong).tolist():
            cell = self.cells(column)[i]
            self.fault_at(i, column, cell, cells.with_remedy(expected(cell, unit), cell) + remedy)
        self.note_readings(column, read, unit)
        # where a column has no bound of its own, an endless or absurd number is still a slip
        bad = (np.abs(values) > LARGEST_NUMBER) & np.full(len(self), high is None)
        self.fault(bad, column, f"must be at most {LARGEST_NUMBER:,.0f}")
        for limit, broken, words in (
            (above, np.less_equal, "must be above"),
            (low, np.less, "must be at least"),
            (high, np.greater, "must be at most"),
        ):
            if limit is not None:
                outside = broken(values, limit)
                # many a table writes 0 where it does not know, and an empty cell says so
                for such, advice in ((values == 0.0, cells.NOT_KNOWN_REMEDY), (values != 0.0, "")):
                    self.fault(outside & such, column, f"{words} {limit:,g}{advice}")
                bad |= outside
        if bound is not None:
            bad |= self.outside(column, np.where(bad, np.nan, values), bound, unit)
        if whole:
            broken_number = (values % 1 != 0) & np.isfinite(values) & ~bad
            self.fault(broken_number, column, "must be a whole number")
            bad |= broken_number
        return np.where(bad, np.nan, values)

    def doubt_zeros(self, column: str, *, possible: bool = True) -> None:
        """Take the zeros of a shapefile as empty where 0 is impossible or promises too much; note them elsewhere.

        Its table has no empty numbers, and many programs write 0 for one (a GIS maker's list of messages: no NULL in
        the table of a shapefile; an issue of a desktop GIS: nulls saved as zeros). A column with an empty cell is
        written by one that can tell, and 0 means 0.
        """
        given = self.cells(column)
        zero = given == "0"
        count = int(np.count_nonzero(zero))
        if not count or (given == "").any():
            return
        said = f"{self.header(column)} is 0 in {count:,} row{'s' * (count > 1)}"
        if not self._no_empty:
            if column in ZERO_FLATTERS and count == len(self) >= _ALL_ZERO_ROWS:
                self.note(f"{said}, which is all: is it known? It is taken as it is; an empty cell means not known.")
        elif possible and column not in _ZERO_IS_NONE:
            self.note(f"{said}, as a shapefile says where nothing is known: is 0 meant? It is taken as 0.")
        else:
            self.note(f"{said}, as a shapefile says where nothing is known: taken as empty.")
            self._cells[column] = text_array(np.where(zero, "", given).tolist())

    def note_readings(self, column: str, read: Numbers, unit: str) -> None:
        """Note by which rule numbers were read that are in another unit or written otherwise."""
        for rule in sorted(set(read.readings.values())):
            such = [cell for cell, one in read.readings.items() if one == rule]
            value = cells.number(such[0], unit)
            meant = f"{value:,.0f} {unit}" if value >= _ROUNDED_FROM else f"{value:,.10g} {unit}".rstrip()
            others = f", and {len(such) - 1:,} more likewise" if such[1:] else ""
            self.note(f"{self.header(column)} {such[0]!r} was read as {meant} ({rule}){others}.")

    def point_in_doubt(self, column: str, unit: str, where: BoolArray | None = None) -> BoolArray:
        """Find cells such as 1.500 in which a point may part thousands, and keep their faults.

        Only in a text, only of what comes in hundreds and thousands, and not where another cell of the column shows
        that its points part decimals. `where` (rows,) says which rows count.
        """
        given = self.cells(column)
        different = set(given.tolist())
        if self._typed or unit not in cells.IN_THOUSANDS or any(map(cells.points_decimals, different)):
            return np.zeros(len(self), dtype=np.bool_)
        doubtful = {cell for cell in different if cells.point_in_doubt(cell, unit)}
        found = np.isin(given, list(doubtful)) & (True if where is None else where)
        for i in np.flatnonzero(found).tolist():
            self.fault_at(i, column, given[i], cells.point_rule(given[i]))
        return found

    def outside(self, column: str, values: FloatArray, bound: bounds.Bound, unit: str) -> BoolArray:
        """Mark the numbers (rows,) outside a bound, each a fault that says what was probably meant."""
        outside = np.array([bounds.broken(value, bound) for value in values.tolist()], dtype=np.bool_)
        slips = []
        for i in np.flatnonzero(outside).tolist():
            cell = self.cells(column)[i]
            self.fault_at(i, column, cell, bounds.rule(unit, cell, float(values[i]), bound))
            slips.append(bounds.slip(unit, float(values[i]), bound))
        self._doubt_column(
            column, [one for one in slips if one], int(np.count_nonzero((values > 0.0) & ~outside)), unit
        )
        for such in (values > bound.seldom, (values > 0.0) & (values < bound.few)):
            self.ask(such & ~outside, column, values, lambda value: bounds.seldom(unit, value, bound))
        return outside

    def _doubt_column(self, column: str, slips: list[str], others: int, unit: str) -> None:
        """Note that a column may be in another unit as a whole, since some of its rows can be in no other."""
        if slips and others:
            rows = "row is" if len(slips) == 1 else "rows are"
            self.note(
                f"{self.header(column)}: {len(slips):,} {rows} probably in {slips[0]}; are the {others:,} others too, "
                f"which are taken as {unit}? Then bring the whole column into {unit}."
            )

    def ask(self, where: BoolArray, column: str, values: FloatArray, asked: Callable[[float], str]) -> None:
        """Note numbers (rows,) that are taken though they may be a slip: the first by its row, the others by theirs."""
        rows = np.flatnonzero(where).tolist()
        if not rows:
            return
        first, others = rows[0], [str(self.row[i]) for i in rows[1:]]
        more = f" The same of row{'s' * (len(others) > 1)} {', '.join(others[:_ROWS_NAMED])}" if others else ""
        more += f" and {len(others) - _ROWS_NAMED:,} more" if len(others) > _ROWS_NAMED else ""
        said = f"row {self.row[first]} ({self.id[first]}): {self.header(column)} {values[first]:,.10g} "
        question = asked(float(values[first]))
        stop = "" if question.endswith("?") else "."
        self.note(f"{said}{question}{stop}{more}{'.' if more else ''}")

    def yes_no(self, column: str, words: Mapping[str, float] = YES_NO) -> FloatArray:
        """Read a column of yes and no, or of other words for them: 1, 0, or NaN where a cell is empty."""
        self.doubt_zeros(column)
        rule = partial(cells.with_remedy, "is not yes or no")
        return self._each(column, words.get, rule, np.nan).astype(np.float64)

    def in_service(self) -> FloatArray:
        """Read whether each row is in service: 1, 0, or NaN where nobody says; a no of any column that tells counts."""
        rule = partial(cells.with_remedy, cells.SERVICE_EXPECTED, remedy="; an empty cell counts as yes")
        values = self._each("in_service", cells.IN_SERVICE.get, rule, np.nan).astype(np.float64)
        for name in filter(lambda one: one.startswith(SERVICE_BESIDE), self._cells):
            words = [cells.IN_SERVICE.get(cell.casefold()) for cell in self.cells(name).tolist()]
            no = np.array([word == 0.0 for word in words], dtype=np.bool_)
            if ids := self.id[no & (values != 0.0)].tolist():
                named = ", ".join(ids[:_ROWS_NAMED]) + ", ..." * (len(ids) > _ROWS_NAMED)
                self.note(f"out of service by {self.header(name)}: {len(ids):,} ({named}).")
            values[no] = 0.0
        return values

    def word(
        self, column: str, words: Mapping[str, str], *, required: bool = False, hints: Mapping[str, str] | None = None
    ) -> TextArray:
        """Read a column of words from a list; the list maps every accepted spelling to the word meant.

        `hints` say what to do about a cell of which one of their keys is a part, the first that is.
        """
        if required:
            self.fault(self.cells(column) == "", column, "is empty")
        expected = "is not one of: " + ", ".join(dict.fromkeys(words.values()))

        def rule(cell: str) -> str:
            hint = next((one for part, one in (hints or {}).items() if part in cell.casefold()), "")
            told = f"{expected}; {hint}" if hint else expected
            return told if required else cells.with_remedy(told, cell)

        return self._each(column, words.get, rule, "")

    def parsed(self, column: str, parse: Callable[[str], str | None], rule: str | Callable[[str], str]) -> TextArray:
        """Read a column through a function that gives None or '' for a fault; '' stays ''."""
        return self._each(column, lambda cell: parse(cell) or None, rule, "", fold=False)

    def months(self) -> list[frozenset[int]]:
        """Read the column of months; an empty cell is all of them."""
        given = self.cells("months")
        said = [cells.months(cell) for cell in given]
        for cell in dict.fromkeys(cell for cell, one in zip(given, said, strict=True) if one is None):
            self.fault(given == cell, "months", cells.months_rule(cell))
        alone = [i for i, cell in enumerate(given.tolist()) if cell.isdecimal() and said[i] is not None]
        if alone:
            first, more = alone[0], f", and {len(alone) - 1:,} more likewise" * (len(alone) > 1)
            cell = f"row {self.row[first]} ({self.id[first]}): {self.header('months')} {given[first]!r}"
            self.note(
                f"{cell} is read as {month_words(said[first] or ())} alone{more}: is it how many months? Then write "
                "which, such as 4-11."
            )
        return [frozenset() if one is None else one for one in said]

    def _each(
        self,
        column: str,
        read: Callable[[str], str | float | None],
        rule: str | Callable[[str], str],
        empty: str | float,
        *,
        fold: bool = True,
    ) -> TextArray:
        """Read each different cell of a column once; None is a fault."""
        given = self.cells(column)
        codes, different = pd.factorize(given)
        meant = [
            empty if cell == "" else read(" ".join(cell.casefold().split()) if fold else cell) for cell in different
        ]
        wrong = np.array([one is None for one in meant], dtype=np.bool_)
        values = text_array([empty if one is None else one for one in meant])  # type: ignore[misc]
        for i in np.flatnonzero(wrong[codes]).tolist() if len(given) else ():
            self.fault_at(i, column, given[i], rule if isinstance(rule, str) else rule(given[i]))
        return values[codes]

    # ----------------------------------------------------------------------- ids and places

    def _made_ids(self) -> TextArray:
        """Make the ids of a table without any from its addresses."""
        self.note("has no column of ids; each row is called by its address, so an id changes when its address does.")
        return made_ids(self)

    def _check_ids(self, *, typed: bool) -> None:
        ids = pd.Series(self.id, dtype=object)
        column = self._id_column
        self.fault(self.id == "", column, "is empty")
        formula = ids.str.startswith(FORMULA_STARTS).to_numpy(dtype=np.bool_)
        undone = ids.str.startswith("=").to_numpy(dtype=np.bool_) & typed
        self.fault(undone, column, UNCALCULATED_RULE)
        self.fault(formula & ~undone, column, FORMULA_RULE)
        self._ask_ids(self.fault_rounded(column))
        if _CONTROL.search("".join(self.id)):
            control = ids.str.contains(_CONTROL, regex=True).to_numpy(dtype=np.bool_)
            self.fault(control, column, CONTROL_RULE)
        codes, different = pd.factorize(ids)
        first = np.zeros(len(different), dtype=np.int64)
        first[codes[::-1]] = np.arange(len(codes))[::-1]
        again = ids.duplicated().to_numpy(dtype=np.bool_) & (self.id != "")
        for i in np.flatnonzero(again).tolist():
            self.fault_at(i, column, self.id[i], f"is already used in row {self.row[first[codes[i]]]}{TWICE_REMEDY}")

    def fault_rounded(self, column: str) -> BoolArray:
        """Mark cells (rows,) that a spreadsheet has shortened, such as 9.00E+09, each a fault: it names nothing."""
        rounded = np.array([_ROUNDED.fullmatch(one) is not None for one in self.cells(column).tolist()], dtype=np.bool_)
        self.fault(rounded, column, ROUNDED_RULE)
        return rounded

    def _ask_ids(self, rounded: BoolArray) -> None:
        """Note ids that are taken though a spreadsheet may have made them, or that differ in nothing but capitals."""
        dates = np.array([_A_DATE.fullmatch(one) is not None for one in self.id], dtype=np.bool_)
        if dates.any():
            first = int(np.flatnonzero(dates)[0])
            said = f"{self.header(self._id_column)} {self.id[first]!r} looks like a date"
            remedy = (
                "a spreadsheet turns ids such as 12-4 into one; if so, make the column text and fill in the ids again"
            )
            self.note(f"row {self.row[first]}: {said}, in all {np.count_nonzero(dates):,} of the table: {remedy}.")
        folded = pd.Series([one.casefold() for one in self.id], dtype=object)
        alike = folded.duplicated().to_numpy(dtype=np.bool_) & ~pd.Series(self.id, dtype=object).duplicated().to_numpy()
        for i in np.flatnonzero(alike & ~rounded)[:_ROWS_NAMED].tolist():
            other = int(np.flatnonzero(folded == folded[i])[0])
            both = f"{self.id[other]!r} and {self.id[i]!r}"
            self.note(
                f"rows {self.row[other]} and {self.row[i]}: {both} differ only in capitals; they are taken as two."
            )

    def _check_errors(self, *, typed: bool) -> None:
        """Find cells in which a formula has failed, or (in a workbook) has no result.

        They count as empty besides, so that each has this one fault.
        """
        for column in self._cells:
            given = self._cells[column]
            if not cells.ERROR_WORDS.isdisjoint(given.tolist()):
                failed = np.isin(given, list(cells.ERROR_WORDS))
                self.fault(failed, column, "is a spreadsheet's error: correct the formula, or write the value")
                given = self._cells[column] = text_array(np.where(failed, "", given).tolist())
            if typed and column != self._id_column and any(cell.startswith("=") for cell in given.tolist()):
                undone = np.array([cell.startswith("=") for cell in given.tolist()], dtype=np.bool_)
                self.fault(undone, column, UNCALCULATED_RULE)
                self._cells[column] = text_array(np.where(undone, "", given).tolist())

    def _check_not_available(self, given: Mapping[str, TextArray]) -> None:
        """Refuse what stands for no value where an empty cell means yes or all year; note it elsewhere."""
        for column, texts in given.items():
            if column == self._id_column or cells.NOT_AVAILABLE.isdisjoint(texts.tolist()):
                continue
            none = np.isin(texts, list(cells.NOT_AVAILABLE))
            if column in _EMPTY_PROMISES:
                self.fault(none, column, _EMPTY_PROMISES[column], texts)
            elif np.any(failed := texts == "#N/A"):
                first, count = int(np.flatnonzero(failed)[0]), int(np.count_nonzero(failed))
                where = f"row {self.row[first]}" + (f" and {count - 1:,} more" if count > 1 else "")
                self.note(f"{self.header(column)} '#N/A' ({where}) is taken as empty: has a look-up failed?")

    def _check_ends(self, table: TextTable, last: int) -> None:
        """Find rows that end before the last column that is read; a note where a spreadsheet ends them so."""
        if table.ends_at is None or table.trimmed is None:
            return
        for ends_at in np.unique(table.ends_at[table.ends_at > 0]).tolist():
            such = table.ends_at == ends_at
            harmless = such & (table.trimmed | (ends_at > last))
            missing = sum(1 for header in table.headers[ends_at:] if header)
            behind = f"the {missing} columns behind it" if missing > 1 else f"column {table.headers[ends_at]!r}"
            where = f"after column {table.headers[ends_at - 1]!r}"
            rule = f"ends {where}, without {behind}: is it cut off? {CUT_REMEDY}"
            self.fault(such & ~harmless, "", rule)
            self._cut_off.update(self.row[such & ~harmless].tolist())
            if harmless.any():
                first, count = int(self.row[harmless][0]), int(np.count_nonzero(harmless))
                rows = f"{count:,} rows, the first of them row {first}, end" if count > 1 else f"row {first} ends"
                self.note(f"{rows} {where}; what stands in {behind} is taken as empty there.")

    def shapes(self) -> ShapeArray | None:
        """Give the rows' shapes in lon, lat: a map layer's own, else those of a column of well-known text."""
        if self._layer is not None or not self.has("geometry"):
            return self._layer
        given = self.cells("geometry")
        texts = [cell or None for cell in given.tolist()]
        shapes: ShapeArray = np.asarray(shapely.from_wkt(texts, on_invalid="ignore"), dtype=np.object_)
        self.fault((given != "") & shapely.is_missing(shapes), "geometry", "is not a shape in well-known text")
        return shapes

    @property
    def is_layer(self) -> bool:
        """Tell whether the table is a map layer, whose shapes say where its rows are."""
        return self._layer is not None

    def place(self, *, required: bool = True) -> tuple[FloatArray, FloatArray]:
        """Read where each row is, in degrees; the middle of its shape where the table has shapes.

        Every row not on earth gets its fault: an empty cell (where a place is required or half of it is
        given), no number, 0, 0, numbers in each other's column, without their sign, projected, out of range.
        """
        return read_places(self, required=required)

    def places_of(self, given: BoolArray) -> tuple[FloatArray, FloatArray]:
        """Read places as `place` does where `given` (rows,) says that there is one; NaN elsewhere, without a fault."""
        whole, self._cells = self._cells, dict(self._cells)
        for name in ("lon", "lat"):
            if name in self._cells:
                self._cells[name] = text_array(np.where(given, self._cells[name], "").tolist())
        lon, lat = self.place(required=False)
        self._cells = whole
        return lon, lat


def _without_empty_words(column: TextArray) -> TextArray:
    """Empty the cells in which an export wrote that there is no value."""
    if cells.EMPTY_WORDS.isdisjoint(column.tolist()):
        return column
    return text_array(["" if cell in cells.EMPTY_WORDS else cell for cell in column.tolist()])


def open_sheet(path: Path, role: str, file: str, mapping: Mapping[str, str]) -> tuple[Sheet, tuple[str, ...]]:
    """Read a table and match its headers.

    Returns
    -------
    sheet, notes
        The table, its ids checked; and the assumptions made.

    Raises
    ------
    InputError
        The file cannot be read or lacks a column.
    """
    table = read_table(path, role, file)
    spec = EVERY_SPEC[role]
    try:
        columns, slips = match_headers(table, spec, mapping)
    except InputError as error:
        if not table.chosen:
            raise
        # perhaps the wrong sheet was read, and its headers are none of the table's
        rule = table.chosen.removeprefix(f"{file}: ").removesuffix(".")
        raise InputError([*error.findings, Finding(file=file, rule=rule)]) from error
    sheet = Sheet(table, columns, spec.required[0], own_ids=spec.own_ids)
    sheet.unread = tuple(note.removeprefix(f"{file}: ") for note in slips if "not read" in note)
    return sheet, (*table.notes, *slips)


def empty_sheet(role: str) -> Sheet:
    """Give a table without rows, for one that the district does not have."""
    no_rows = np.empty(0, dtype=np.int32)
    table = TextTable(file=role, headers=(), columns=(), row=no_rows, overlong=np.empty(0, dtype=np.bool_))
    return Sheet(table, {}, SPECS[role].required[0])
