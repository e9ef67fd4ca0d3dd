"""The bridge table: who owns a bridge and how it is rated, as a national bridge inventory lists it.

Header names and codes follow the Recording and Coding Guide for the Structure Inventory and Appraisal of the Nation's
Bridges (FHWA-PD-96-001): items 6A, 7, 8, 16, 17, 22, 41, 63, 64, 70. Codes are from memory, unverified.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from preplan.inputs import bounds, cells
from preplan.inputs.sheet import Sheet
from preplan.records import BoolArray, BridgeTable, FloatArray, TextArray, text_array
from preplan.units import LB_PER_SHORT_TON, LB_PER_TONNE

OWNERS: Mapping[int, str] = {
    1: "State Highway Agency", 2: "County Highway Agency", 3: "Town or Township Highway Agency",
    4: "City or Municipal Highway Agency", 11: "State Park, Forest or Reservation Agency",
    12: "Local Park, Forest or Reservation Agency", 21: "Other State Agency", 25: "Other Local Agency",
    26: "Private", 27: "Railroad", 31: "State Toll Authority", 32: "Local Toll Authority",
    60: "Other Federal Agency", 61: "Indian Tribal Government", 62: "Bureau of Indian Affairs",
    63: "Bureau of Fish and Wildlife", 64: "U.S. Forest Service", 66: "National Park Service",
    67: "Tennessee Valley Authority", 68: "Bureau of Land Management", 69: "Bureau of Reclamation",
    70: "Corps of Engineers (civil)", 71: "Corps of Engineers (military)", 72: "Air Force", 73: "Navy or Marines",
    74: "Army", 75: "NASA", 76: "Metropolitan Washington Airports", 80: "",
}  # fmt: skip
"""Item 22."""
POSTING: Mapping[str, str] = {
    "5": "no posting required", "4": "posting required, up to 9.9 % below legal loads",
    "3": "posting required, 10 to 19.9 % below legal loads",
    "2": "posting required, 20 to 29.9 % below legal loads",
    "1": "posting required, 30 to 39.9 % below legal loads",
    "0": "posting required, over 39.9 % below legal loads",
}  # fmt: skip
"""Item 70."""
LARGEST_CODE = 9.0
"""A larger number beside the codes of item 70 is a weight."""
STATUS: Mapping[str, str] = {
    "A": "", "B": "posting recommended, not in place", "D": "shored for the time being",
    "E": "a temporary structure", "G": "not yet open", "K": "CLOSED",
    "P": "posted for load", "R": "posted for something other than load",
}  # fmt: skip
"""Item 41."""
FACTOR_METHODS = frozenset({"6", "7", "8", "D", "E", "F"})
"""Values of item 63 under which item 64 may be a rating factor and no weight."""
LEAST_TONNES = 5.0
"""Under such a method a smaller number is taken for a factor, and not used (this program's careful choice)."""
MOST_NAMED = 20
"""Bridges that a note names."""
_PACKED_FROM = 1000.0
"""No degree is so large: a number above is degrees, minutes and seconds written in one."""
_DEGREE, _MINUTE, _SIXTY = 1_000_000, 10_000, 60.0


def read_bridges(sheet: Sheet) -> BridgeTable:
    """Check every cell and take the rows that have a place, in code point order of their ids."""
    lon, lat = _packed(sheet) if sheet.has("lat_packed") and sheet.has("lon_packed") else _degrees(sheet)
    rating_lb = _rating_lb(sheet)
    _ask_posted(sheet)
    nowhere = ~(np.isfinite(lon) & np.isfinite(lat)) & sheet.good
    if nowhere.any():
        sheet.note(f"{int(nowhere.sum()):,} bridges have no place and are not used.")
    kept = np.flatnonzero(sheet.good & ~nowhere)
    kept = kept[np.argsort(sheet.id[kept], kind="stable")]
    return BridgeTable(
        bridge_id=sheet.id[kept],
        lon=lon[kept],
        lat=lat[kept],
        owner=_owners(sheet)[kept],
        road=sheet.text("road")[kept],
        crosses=sheet.text("crosses")[kept],
        operating_lb=rating_lb[kept],
        posting=_postings(sheet)[kept],
    )


def _degrees(sheet: Sheet) -> tuple[FloatArray, FloatArray]:
    """Read places in degrees; 0, 0 is how an inventory writes that it has none."""
    given = np.ones(len(sheet), dtype=np.bool_)
    for axis in ("lon", "lat"):
        if sheet.has(axis):
            given &= ~np.isin(sheet.cells(axis), ("", "0", "0.0", "0.00"))
    return sheet.places_of(given)


def _packed(sheet: Sheet) -> tuple[FloatArray, FloatArray]:
    """Read degrees, minutes and hundredths of seconds written as one number: 44251250 is 44 25 12.50."""
    read = {}
    for axis, column, most in (("lon", "lon_packed", 180.0), ("lat", "lat_packed", 90.0)):
        number = sheet.number(column)
        size = np.abs(number)
        degree, rest = np.divmod(size, _DEGREE)
        minute, second = np.divmod(rest, _MINUTE)
        value = degree + minute / 60.0 + second / 360_000.0
        packed = size >= _PACKED_FROM
        wrong = packed & ((minute >= _SIXTY) | (second >= 100 * _SIXTY) | (value > most))
        wrong |= ~packed & (size > most)
        sheet.fault(wrong, column, "is neither degrees, minutes and seconds in one number nor degrees")
        value = np.where(wrong | (size == 0.0), np.nan, np.where(packed, value, size))
        read[axis] = np.copysign(value, number)
    lon = read["lon"]
    if np.any(lon > 0.0):
        sheet.note("longitudes without a sign are taken as west.")
    return -np.abs(lon), read["lat"]


def _rating_lb(sheet: Sheet) -> FloatArray:
    """Read the operating rating in pounds, NaN where there is none: pounds, else US tons, else metric tons."""
    pounds = sheet.number("operating_lb", low=0.0)
    short = sheet.number("operating_us_tons", low=0.0) * LB_PER_SHORT_TON
    tonnes = sheet.number("operating_tonnes", low=0.0)
    method = np.array([cell.upper() for cell in sheet.cells("rating_method")], dtype=np.object_)
    factor: BoolArray = np.isin(method, list(FACTOR_METHODS)) & (tonnes < LEAST_TONNES)
    if factor.any():
        sheet.note(f"{int(factor.sum()):,} operating ratings are factors, no weights, and are not used.")
    for column, unit, given in (
        ("operating_lb", "lb", pounds),
        ("operating_us_tons", "tons", short / LB_PER_SHORT_TON),
        ("operating_tonnes", "tonnes", np.where(factor, np.nan, tonnes)),
    ):
        sheet.outside(column, given, bounds.BRIDGES[column], unit)
    metric = np.where(factor, np.nan, tonnes * LB_PER_TONNE)
    found = np.where(np.isnan(pounds), np.where(np.isnan(short), metric, short), pounds)
    # an inventory writes 0 or 99.9 where a bridge is closed or was not rated
    unrated = (found <= 0.0) | np.isclose(tonnes, 99.9) | np.isclose(short, 99.9 * LB_PER_SHORT_TON)
    return np.where(_closed(sheet), 0.0, np.where(unrated, np.nan, found))


def _closed(sheet: Sheet) -> BoolArray:
    """Mark the bridges that the inventory has as closed, (rows,): rated for nothing, so nobody is sent over one."""
    closed = _says(sheet, "k", "closed") & sheet.good
    if closed.any():
        sheet.note(
            f"CLOSED by the inventory, no truck is sent over: {_named(sheet, closed)}. Open again? Correct the status."
        )
    return closed


def _ask_posted(sheet: Sheet) -> None:
    """Ask for the weight on the sign of bridges that are posted for load: an inventory has none."""
    weights = cells.numbers(sheet.cells("posting"), "lb")[0] > LARGEST_CODE
    posted = (weights | _says(sheet, "p", "posted")) & ~_says(sheet, "k", "closed") & sheet.good
    if posted.any():
        sheet.note(
            f"posted for load, and the weight on the sign is not read from this table: {_named(sheet, posted)}. Where "
            "the map has no maxweight for one, give closures.csv a row max_lb with that weight in pounds."
        )


def _says(sheet: Sheet, code: str, word: str) -> BoolArray:
    """Mark the rows (rows,) whose status begins with a code of item 41, or where none does holds such a word.

    The guide's own words for other codes name what is not so: 'D - Open, would be posted or closed except for ...'.
    """
    led = re.compile(r"([A-Z])\s*(?:[-\u2013\u2014:.,;=)/].*)?", re.IGNORECASE | re.DOTALL)
    told = re.compile(rf"{code}(\W.*)?|.*(?<!not )\b{word}\b.*", re.IGNORECASE)

    def says(cell: str) -> bool:
        found = led.fullmatch(cell)
        letter = found[1].upper() if found else ""
        return letter == code.upper() if letter in STATUS else told.fullmatch(cell) is not None

    return np.array([says(cell) for cell in sheet.text("status").tolist()], dtype=np.bool_)


def _named(sheet: Sheet, where: BoolArray) -> str:
    """Name bridges by id and row."""
    rows = np.flatnonzero(where).tolist()
    named = ", ".join(f"{sheet.id[i]} (row {sheet.row[i]})" for i in rows[:MOST_NAMED])
    return named + (f" and {len(rows) - MOST_NAMED:,} more" if len(rows) > MOST_NAMED else "")


def _owners(sheet: Sheet) -> TextArray:
    """Read owners: the guide's codes become words."""
    return text_array([OWNERS.get(int(cell), cell) if cell.isdecimal() else cell for cell in sheet.text("owner")])


def _postings(sheet: Sheet) -> TextArray:
    """Put together what the inventory says of posting: its codes become words."""
    said = zip(sheet.text("status").tolist(), sheet.text("posting").tolist(), strict=True)
    both = ([STATUS.get(status, status), POSTING.get(posting, posting)] for status, posting in said)
    return text_array(["; ".join(filter(None, parts)) for parts in both])
