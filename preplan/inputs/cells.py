"""What one cell says: numbers with units, yes or no, months, dates. Nothing here knows a table."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from preplan.inputs.units_written import FEET_INCHES, feet_and_inches, fraction, meaning
from preplan.records import ALL_MONTHS, BoolArray, FloatArray, TextArray

YES_NO: Mapping[str, float] = {
    **dict.fromkeys(("yes", "y", "true", "t", "1", "1.0", "x", "\u2713", "\u2714"), 1.0),
    **dict.fromkeys(("no", "n", "false", "f", "0", "0.0"), 0.0),
}
IN_SERVICE: Mapping[str, float] = {
    **YES_NO,
    **dict.fromkeys(
        ("in service", "in-service", "in use", "active", "available", "operational", "operating", "working", "existing",
         "existing - in use", "ok", "good", "ready", "front line", "frontline"), 1.0
    ),
    **dict.fromkeys(
        ("out of service", "out-of-service", "not in service", "oos", "inactive", "retired", "sold", "abandoned",
         "removed", "proposed", "planned", "future", "broken", "defective", "damaged", "down", "closed",
         "not operational", "inoperable", "inoperative", "not working", "decommissioned", "unavailable",
         "not available"), 0.0
    ),
}  # fmt: skip
"""What a column of units or sites in service may say besides."""
STAFFED: Mapping[str, float] = {
    **YES_NO,
    **dict.fromkeys(("staffed", "career", "paid", "full-time", "full time"), 1.0),
    **dict.fromkeys(("volunteer", "volunteers", "unstaffed", "on call", "paid on call", "paid-on-call"), 0.0),
}
"""What a column of staffed stations may say besides."""
EMPTY_WORDS = frozenset({
    "<Null>", "<null>", "<NULL>", "NULL", "Null", "null", "(null)", "#N/A", "N/A", "n/a", "<NA>",
})  # fmt: skip
"""What exports write into a cell without a value."""
NOT_AVAILABLE = frozenset({"#N/A", "N/A", "n/a"})
"""Of these, what a look-up that failed leaves, and what people write who have nothing to say."""
ERROR_WORDS = frozenset({"#REF!", "#DIV/0!", "#VALUE!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#CALC!"})
"""What a spreadsheet shows where a formula fails; `#N/A` is also how exports write that there is no value."""
LARGEST_NUMBER = 1e12
"""No cell of these tables comes near it; a longer number is a slip."""
NOT_KNOWN = frozenset({"unknown", "unk", "u", "?", "??", "-", "--", "tbd", "tba", "not known", "n.a."})
"""What people write where they do not know; it is refused, since an empty cell says so and a slip looks alike."""
NOT_KNOWN_REMEDY = ": leave the cell empty where it is not known"
SERVICE_EXPECTED = "is not yes or no (or in service, out of service)"
MONTHS_EXPECTED = "is not months such as 4-11, 11-3, Apr-Nov or 1,2,12"
MONTHS_TURNED = "is a date: a spreadsheet turns months such as 4-11 into one; write Apr-Nov, or make the column text"
DATE_EXPECTED = "is not a date such as 2025-06-30"
DATE_TURNED = "is a spreadsheet's count of days; give the column the format of a date"

IN_THOUSANDS = frozenset({"gal", "gpm", "lb", "sqft"})
"""Units of what comes in hundreds and thousands: nobody writes three decimals of them."""
_POINT_IN_DOUBT = re.compile(r"[1-9]\d{0,2}\.\d{3}(?!\d|[.,]\d)")
_POINT_OF_DECIMALS = re.compile(r"(?:\d{4,}|0|\d{1,3}(?:,\d{3})+)\.\d")

_US_MARKS = r"\d{1,3}(?:,\d{3})+(?:\.\d*)?"
_SPACE_MARKS = r"\d{1,3}(?:[ \u00a0\u202f]\d{3})+(?:\.\d*)?"
_POINT_MARKS = r"\d{1,3}(?:\.\d{3})+,\d+|\d{1,3}(?:\.\d{3}){2,}"  # both marks, or two points: only one reading
_PLAIN = r"\d+\.?\d*|\.\d+"
_NUMBER = re.compile(
    rf"(?P<sign>[+-]?)(?:(?P<points>{_POINT_MARKS})|(?P<number>{_US_MARKS}|{_SPACE_MARKS}|{_PLAIN}))"
    r"(?:[ -](?P<part>\d/\d{1,2}))?\s*(?P<unit>\D*\d?)"
)
_MONTH_NAMES = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_MONTH_SPAN = re.compile(r"\s*(?:-|\u2013|\u2014|\b(?:to|thru|through|until)\b)\s*")
_TURNED_MONTHS = re.compile(r"(?:\d{1,2}-[a-z]{3}|[a-z]{3}-\d{1,2}|\d{4}-\d{2}-\d{2}.*|\d{1,2}/\d{1,2}/\d{2,4}.*)")
_ISO_DATE = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?")
_US_DATE = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4}|\d{2})")
_SPOKEN_DATE = re.compile(
    r"(?:(?P<day>\d{1,2})[ -])?(?P<month>[a-z]{3,9})\.?[ -](?:(?P<after>\d{1,2}),? )?(?P<year>\d{4})"
)
_DAY_COUNT = re.compile(r"[34]\d{4}")  # days since 1900 of the years 1982 to 2036
_TIME_OF_DAY = re.compile(r"[T ]\d{1,2}:\d{2}.*$")
_CONSTRUCTION = re.compile(r"(?:type\s*)?(i{1,3}|iv|v)(?:\s*-?\s*(?:[ab]|ht|\(?\d{3}\)?))?")


@dataclass(frozen=True, slots=True)
class Numbers:
    """A column of numbers as read."""

    number: FloatArray
    """Finite, NaN where a cell is empty or no number."""
    wrong: BoolArray
    """True where a cell is no number."""
    readings: Mapping[str, str]
    """Cells that were understood by a rule a person should know of, and the rule."""


def number(cell: str, unit: str = "") -> float:
    r"""Read one number that may carry thousands marks and its unit; NaN where it is none.

    >>> number("2,000 gal", "gal"), number("750 GPM", "gpm"), number("10 t", "lb"), number("44,59")
    (2000.0, 750.0, nan, nan)
    >>> number("1.234,5"), number("23 tons", "lb"), number("8'6\"", "ft"), number('2 1/2"', "in")
    (1234.5, 46000.0, 8.5, 2.5)
    """
    return _read(cell, unit)[0]


def _read(cell: str, unit: str) -> tuple[float, str]:
    """Read one number, and the rule by which it was understood, '' where none is worth telling."""
    feet = FEET_INCHES.fullmatch(cell) if unit == "ft" else None
    if feet is not None:
        return feet_and_inches(feet), ""
    match = _NUMBER.fullmatch(cell)
    if match is None:
        return np.nan, ""
    meant = meaning(match["unit"], unit)
    if meant is None:
        return np.nan, ""
    if match["points"]:
        digits, rule = match["points"].replace(".", "").replace(",", "."), "point for thousands, comma for decimals"
    else:
        digits, rule = re.sub(r"[,\s]", "", match["number"]), ""
    value = float(digits) + fraction(match["part"])
    signed = -value if match["sign"] == "-" else value
    return signed * meant.factor, meant.rule or rule


def numbers(cells: TextArray, unit: str = "") -> tuple[FloatArray, BoolArray]:
    """Read a column of numbers; its values, and True where a cell is none."""
    read = read_numbers(cells, unit)
    return read.number, read.wrong


def read_numbers(cells: TextArray, unit: str = "") -> Numbers:
    """Read a column of numbers.

    Parameters
    ----------
    cells
        Stripped texts, shape (rows,).
    unit
        Unit that may be written after the number; '' allows none.
    """
    values = np.full(len(cells), np.nan)
    given = np.flatnonzero(cells != "")
    plain = pd.to_numeric(pd.Series(cells[given], dtype=object), errors="coerce").to_numpy(dtype=np.float64)
    values[given] = plain
    # cells with marks, units or nonsense are read one by one, each once; so are nan and inf, which are no numbers
    odd = given[~np.isfinite(plain)]
    known = {cell: _read(cell, unit) for cell in dict.fromkeys(cells[odd].tolist())}
    values[odd] = [known[cell][0] for cell in cells[odd].tolist()]
    readings = {cell: rule for cell, (_, rule) in known.items() if rule}
    wrong = np.zeros(len(cells), dtype=np.bool_)
    wrong[given] = ~(np.abs(values[given]) < LARGEST_NUMBER)  # NaN is below nothing
    values[wrong] = np.nan
    return Numbers(values, wrong, readings)


def with_remedy(rule: str, cell: str, remedy: str = NOT_KNOWN_REMEDY) -> str:
    """Add what to do to the rule that a cell breaks, where the cell says that nobody knows.

    >>> with_remedy("is not yes or no", "TBD"), with_remedy("is not yes or no", "perhaps")
    ('is not yes or no: leave the cell empty where it is not known', 'is not yes or no')
    """
    return rule + remedy if cell.casefold() in NOT_KNOWN else rule


def point_in_doubt(cell: str, unit: str) -> bool:
    """Tell whether a point in a cell may part thousands; in tons it cannot.

    >>> [point_in_doubt(cell, "lb") for cell in ("41.500", "41.500 lb", "41.500 tons", "41.5", "0.500", "4150.000")]
    [True, True, False, False, False, False]
    """
    match = _POINT_IN_DOUBT.match(cell)
    meant = meaning(cell[match.end() :], unit) if match else None
    return meant is not None and meant.factor == 1.0


def points_decimals(cell: str) -> bool:
    """Tell whether a cell shows that its point parts decimals, and so do those of its column.

    >>> points_decimals("1250.000"), points_decimals("1,250.5"), points_decimals("1.250")
    (True, True, False)
    """
    return _POINT_OF_DECIMALS.match(cell) is not None


def point_rule(cell: str) -> str:
    """Say that nobody can tell what a point means.

    >>> point_rule("1.500 gpm")
    'may be 1500 with a point for thousands, or 1.5: write 1500 or 1.5'
    """
    whole, _, decimals = cell.partition(".")
    large, small = whole + decimals[:3], f"{float(f'{whole}.{decimals[:3]}'):g}"
    return f"may be {large} with a point for thousands, or {small}: write {large} or {small}"


def months(text: str) -> frozenset[int] | None:
    """Read months: one, a span that may run over the new year, or a list; '' is all, None is a fault.

    >>> sorted(months("11-3")), sorted(months("Apr to Jun, 9")), months("13") is None
    ([1, 2, 3, 11, 12], [4, 5, 6, 9], True)
    >>> months("4-Nov") is None  # what a spreadsheet makes of 4-11
    True
    """
    if not text or text.casefold() in {"all", "year-round", "year round", "all year"}:
        return ALL_MONTHS
    found: set[int] = set()
    for part in re.split(r"\s*[,;&]\s*", text.strip().casefold()):
        ends = _MONTH_SPAN.split(part)
        spoken = [_month(end) for end in ends]
        mixed = len({end.isdigit() for end in ends}) > 1
        if len(ends) > 2 or mixed or 0 in spoken:
            return None
        first, last = spoken[0], spoken[-1]
        found |= {(first - 1 + step) % 12 + 1 for step in range((last - first) % 12 + 1)}
    return frozenset(found)


def months_rule(text: str) -> str:
    """Say what is wrong with a cell that is no months.

    >>> months_rule("4-Nov") == months_rule("2026-11-04") == MONTHS_TURNED, months_rule("spring") == MONTHS_EXPECTED
    (True, True)
    """
    return MONTHS_TURNED if _TURNED_MONTHS.fullmatch(text.strip().casefold()) else MONTHS_EXPECTED


def _month(word: str) -> int:
    """Read one month as a number or a name, 0 where it is neither."""
    if word.isdecimal() and word.isascii():
        return int(word) if int(word) in ALL_MONTHS else 0
    said = word.rstrip(".")
    whole = [name for name in _MONTH_NAMES if len(said) >= 3 and name.startswith(said)]
    return _MONTH_NAMES.index(whole[0]) + 1 if whole else 0


def iso_date(text: str) -> str | None:
    """Read a date as ISO text (a year or a month will do), from ISO, month/day/year or a spoken month; None is a fault.

    >>> iso_date("2025-06"), iso_date("6/9/2025 0:00"), iso_date("13/6/2025"), iso_date("last June")
    ('2025-06', '2025-06-09', None, None)
    >>> iso_date("June 9, 2025"), iso_date("9-Jun-2025"), iso_date("Jun 2025"), iso_date("6/9/25"), iso_date("6/9/99")
    ('2025-06-09', '2025-06-09', '2025-06', '2025-06-09', '1999-06-09')
    """
    text = _TIME_OF_DAY.sub("", text)
    american, spoken = _US_DATE.fullmatch(text), _SPOKEN_DATE.fullmatch(text.casefold())
    if american:
        month, day, year = american.groups()
        text = f"{_whole_year(year)}-{int(month):02}-{int(day):02}"
    elif spoken:
        at, days = _month(spoken["month"]), spoken["day"] or spoken["after"]
        text = f"{spoken['year']}-{at:02}" + (f"-{int(days):02}" if days else "")
    if not _ISO_DATE.fullmatch(text):
        return None
    try:
        date.fromisoformat(text + "2000-01-01"[len(text) :])
    except ValueError:
        return None
    return text


def _whole_year(year: str) -> int:
    """Read a year of two or four digits; two are the latest year that is not beyond the next."""
    if len(year) > 2:
        return int(year)
    near = int(year) + 2000
    return near if near <= date.today().year + 1 else near - 100  # noqa: DTZ011 - a calendar's year, nobody's clock


def date_rule(text: str) -> str:
    """Say what is wrong with a cell that is no date."""
    return DATE_TURNED if _DAY_COUNT.fullmatch(text) else DATE_EXPECTED


def construction(text: str) -> str:
    """Read a type of construction, I to V; '' where it is none. A digit is refused: it may be another scale.

    >>> construction("Type V-B"), construction("iii"), construction("5")
    ('V', 'III', '')
    """
    match = _CONSTRUCTION.fullmatch(text.strip().casefold())
    return match[1].upper() if match else ""
