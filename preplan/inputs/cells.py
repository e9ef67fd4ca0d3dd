"""What one cell says: numbers with units, yes or no, months, dates. Nothing here knows a table."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date

import numpy as np
import pandas as pd

from preplan.records import ALL_MONTHS, BoolArray, FloatArray, TextArray

UNIT_WORDS: Mapping[str, tuple[str, ...]] = {
    "gal": ("gal", "gals", "gallon", "gallons", "us gal"),
    "gpm": ("gpm", "gal/min"),
    "lb": ("lb", "lbs", "pound", "pounds"),
    "ft": ("ft", "feet", "foot", "'"),
    "in": ("in", "inch", "inches", '"'),
    "sqft": ("sqft", "sq ft", "ft2", "ft²", "square feet"),
    "mph": ("mph",),
    "min": ("min", "mins", "minute", "minutes"),
}
"""Words that may follow a number, by the unit that ends a column's name. Another unit is a fault."""
YES_NO: Mapping[str, float] = {
    **dict.fromkeys(("yes", "y", "true", "t", "1"), 1.0),
    **dict.fromkeys(("no", "n", "false", "f", "0"), 0.0),
}
LARGEST_NUMBER = 1e12
"""No cell of these tables comes near it; a longer number is a slip."""
MONTHS_EXPECTED = "is not months such as 4-11, 11-3, Apr-Nov or 1,2,12"

_NUMBER = re.compile(r"(?P<sign>[+-]?)(?P<number>\d{1,3}(?:,\d{3})+(?:\.\d*)?|\d+\.?\d*|\.\d+)\s*(?P<unit>\D*)")
_MONTH_NAMES = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH_SPAN = re.compile(r"\s*(?:-|\u2013|\bto\b)\s*")  # a hyphen, an en dash or the word
_ISO_DATE = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?")
_US_DATE = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})")
_TIME_OF_DAY = re.compile(r"[T ]\d{1,2}:\d{2}.*$")
_CONSTRUCTION = re.compile(r"(?:type\s*)?(i{1,3}|iv|v)(?:\s*-?\s*(?:[ab]|ht|\(?\d{3}\)?))?")


def unit_of(column: str) -> str:
    """Take the unit from the end of a column's name, '' where it has none.

    >>> unit_of("loaded_lb"), unit_of("stories")
    ('lb', '')
    """
    ending = column.rpartition("_")[2]
    return ending if ending in UNIT_WORDS else ""


def number(cell: str, unit: str = "") -> float:
    """Read one number that may carry thousands commas and its unit; NaN where it is none.

    >>> number("2,000 gal", "gal"), number("750 GPM", "gpm"), number("10 t", "lb"), number("44,59")
    (2000.0, 750.0, nan, nan)
    """
    match = _NUMBER.fullmatch(cell)
    if match is None:
        return np.nan
    said = match["unit"].strip().casefold().rstrip(".")
    if said and said not in UNIT_WORDS.get(unit, ()):
        return np.nan
    return float(match["sign"] + match["number"].replace(",", ""))


def numbers(cells: TextArray, unit: str = "") -> tuple[FloatArray, BoolArray]:
    """Read a column of numbers.

    Parameters
    ----------
    cells
        Stripped texts, shape (rows,).
    unit
        Unit that may be written after the number; '' allows none.

    Returns
    -------
    values, wrong
        Finite numbers, NaN where a cell is empty or no number; and True where a cell is no number.
    """
    values = np.full(len(cells), np.nan)
    given = np.flatnonzero(cells != "")
    plain = pd.to_numeric(pd.Series(cells[given], dtype=object), errors="coerce").to_numpy(dtype=np.float64)
    values[given] = plain
    # the few cells with commas, units or nonsense are read one by one; so are nan and inf, which are no numbers
    for i in given[~np.isfinite(plain)].tolist():
        values[i] = number(cells[i], unit)
    wrong = np.zeros(len(cells), dtype=np.bool_)
    wrong[given] = ~(np.abs(values[given]) < LARGEST_NUMBER)  # NaN is below nothing
    values[wrong] = np.nan
    return values, wrong


def months(text: str) -> frozenset[int] | None:
    """Read months: one, a span that may run over the new year, or a list; '' is all, None is a fault.

    >>> sorted(months("11-3")), sorted(months("Apr to Jun, 9")), months("13") is None
    ([1, 2, 3, 11, 12], [4, 5, 6, 9], True)
    >>> months("4-Nov") is None  # what a spreadsheet makes of 4-11
    True
    """
    if not text or text.casefold() in {"all", "year-round", "year round"}:
        return ALL_MONTHS
    found: set[int] = set()
    for part in re.split(r"\s*[,;]\s*", text.strip().casefold()):
        ends = _MONTH_SPAN.split(part)
        spoken = [_month(end) for end in ends]
        mixed = len({end.isdigit() for end in ends}) > 1
        if len(ends) > 2 or mixed or 0 in spoken:
            return None
        first, last = spoken[0], spoken[-1]
        found |= {(first - 1 + step) % 12 + 1 for step in range((last - first) % 12 + 1)}
    return frozenset(found)


def _month(word: str) -> int:
    """Read one month as a number or a name, 0 where it is neither."""
    if word.isdecimal() and word.isascii():
        return int(word) if int(word) in ALL_MONTHS else 0
    short = word.rstrip(".")[:3]
    named = word.rstrip(".").isalpha() and short in _MONTH_NAMES
    return _MONTH_NAMES.index(short) + 1 if named else 0


def iso_date(text: str) -> str | None:
    """Read a date as ISO text (a year or a month will do), from ISO or month/day/year; None is a fault.

    >>> iso_date("2025-06"), iso_date("6/9/2025 0:00"), iso_date("13/6/2025"), iso_date("last June")
    ('2025-06', '2025-06-09', None, None)
    """
    text = _TIME_OF_DAY.sub("", text)
    american = _US_DATE.fullmatch(text)
    if american:
        month, day, year = american.groups()
        text = f"{year}-{int(month):02}-{int(day):02}"
    if not _ISO_DATE.fullmatch(text):
        return None
    try:
        date.fromisoformat(text + "2000-01-01"[len(text) :])
    except ValueError:
        return None
    return text


def construction(text: str) -> str:
    """Read a type of construction, I to V; '' where it is none. A digit is refused: it may be another scale.

    >>> construction("Type V-B"), construction("iii"), construction("5")
    ('V', 'III', '')
    """
    match = _CONSTRUCTION.fullmatch(text.strip().casefold())
    return match[1].upper() if match else ""
