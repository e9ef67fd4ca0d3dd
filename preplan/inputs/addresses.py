"""The address table: whatever a county calls its columns, checked, numbered and in the order of the ids."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from preplan.inputs import bounds, cells
from preplan.inputs.addressing import composed, number_and_street, same_words
from preplan.inputs.sheet import Sheet
from preplan.inputs.tables import plain
from preplan.records import AddressTable, FloatArray, IntArray, TextArray
from preplan.rules import RequiredFlowRules
from preplan.units import FT_PER_M

LARGEST_NUMBER = 999_999
"""Largest house number of the open address standards."""
LARGEST_BUILDING_CUFT = 1e9
"""Twice the largest building there is (from memory)."""
_TALL_FT = 40.0
"""Height of a building whose own is not given, where only its size is held to that."""
_HAZARDS = (3.0, 4.0, 5.0, 6.0, 7.0)
_HAZARD = "an occupancy hazard number is 3 (severe), 4, 5, 6 or 7 (light)"
LEAST_STORY_FT = 6.0
"""No floor is lower (common sense, no source)."""
ROW_NUMBERS = frozenset({"objectid", "oid", "fid", "ogc_fid", "gid"})
"""Headers of ids that a program gives rows by itself."""
SMALL_FLOORS_SQFT, LEAST_FLOORS = 450.0, 5
"""A table of so many floor areas of which half are smaller is probably in square metres (this program's choice)."""
FLOORS_AGREE = 2.0
"""By what factor a given floor area may differ from length x width x stories before the user is asked."""
NUMBER_LIMITS: Mapping[str, Mapping[str, Any]] = {
    "length_ft": {"above": 0.0},
    "width_ft": {"above": 0.0},
    "height_ft": {"above": 0.0},
    "floor_area_sqft": {"above": 0.0},
    "stories": {"above": 0.0},
    "required_gpm": {"above": 0.0},
    "required_gal": {"above": 0.0},
    "driveway_ft": {"low": 0.0},
}
"""Optional numbers of an address and the limits they must keep, besides `bounds.ADDRESSES`."""

_LEADING_NUMBER = re.compile(
    r"(?:#\s*|no\.?\s*(?=\d))?(\d+)(?:\s*[-\u2013&]\s*\d+)?(?:-?[a-z])?(?:\s+\d/\d|\s?[\u00bc\u00bd\u00be])?(?=[\s,]|$)[\s,]*",
    re.IGNORECASE,
)
"""A number, also as '#12', 'No. 12', '12 - 14', '12 & 14', '12-A', '12 1/2', '12, Mill Road'."""
_GIVEN_NUMBER = re.compile(r"\D{0,3}?(\d+)")
_BARE_NUMBER = re.compile(r"\d+[A-Za-z]?")
_NUMBER_BEHIND = re.compile(r"(?P<street>\S.*?)\s+(?P<number>\d{1,6})[A-Za-z]?(?=\s*(?:,|#|$))")
_AFTER_STREET = re.compile(r"\s*,.*$|\s+(?:apt|unit|ste|suite)\b.*$|\s*#.*$", re.IGNORECASE)


def read_addresses(sheet: Sheet) -> AddressTable:
    """Check every cell and take the rows without a fault, in code point order of their ids.

    The faults stay with the sheet. A fault in an optional cell counts too: a size that cannot be read must
    not quietly become the default building.
    """
    number_text, street = number_and_street(sheet)
    label = _labels(sheet, number_text, street)
    lon, lat = sheet.place()
    numbers = {
        name: sheet.number(name, bound=bounds.ADDRESSES.get(name), **limits) for name, limits in NUMBER_LIMITS.items()
    }
    _check_volume(sheet, numbers)
    _note_row_numbers(sheet)
    _check_floors(sheet, numbers)
    _ask_metric_floors(sheet, numbers["floor_area_sqft"])
    hazard = sheet.number("occupancy_hazard", remedy=f": {_HAZARD}")
    sheet.fault(np.isfinite(hazard) & ~np.isin(hazard, _HAZARDS), "occupancy_hazard", f"is none: {_HAZARD}")
    construction = sheet.parsed("construction", cells.construction, "is not a type of construction (I to V)")
    exposure, sprinklered = sheet.yes_no("exposure"), sheet.yes_no("sprinklered")
    occupancy = sheet.text("occupancy")
    number, street = _number_and_street(label, number_text, street)
    kept = np.flatnonzero(sheet.good)
    kept = kept[np.argsort(sheet.id[kept], kind="stable")]
    return AddressTable(
        address_id=sheet.id[kept],
        label=label[kept],
        street=street[kept],
        number=number[kept],
        occupancy=occupancy[kept],
        lon=lon[kept],
        lat=lat[kept],
        occupancy_hazard=hazard[kept],
        construction=construction[kept],
        exposure=exposure[kept],
        sprinklered=sprinklered[kept],
        row=sheet.row[kept],
        **{name: values[kept] for name, values in numbers.items()},
    )


def _note_row_numbers(sheet: Sheet) -> None:
    """Note ids that many programs count anew at each export: a card's page is then another house's next year."""
    header = sheet.read_from.get("address_id", "")
    if plain(header) in ROW_NUMBERS:
        sheet.note(
            f"address_id is read from {header!r}, which many programs count anew at each export: cards, `preplan card` "
            "and comparisons go by it; is there a column of ids that stay?"
        )


def note_not_given(sheet: Sheet, addresses: AddressTable, rules: RequiredFlowRules) -> None:
    """Say, where the table itself is to give the required flow, at how many rows it does not, and what is taken."""
    count = int((np.isnan(addresses.required_gpm) & np.isnan(addresses.required_gal)).sum())
    if rules.method == "given" and count:
        sheet.note(
            f"{count:,} of {len(addresses):,} rows give no required_gpm: {rules.default_gpm:g} gpm is taken for "
            "each ([required_flow] default_gpm)."
        )


def _check_volume(sheet: Sheet, numbers: Mapping[str, FloatArray]) -> None:
    """Refuse buildings larger than any: each side may be possible, and the product is a lost decimal point."""
    sides = numbers["length_ft"] * numbers["width_ft"]
    ground = np.where(np.isfinite(sides), sides, numbers["floor_area_sqft"] / np.fmax(numbers["stories"], 1.0))
    tall = np.where(np.isfinite(numbers["height_ft"]), numbers["height_ft"], _TALL_FT)
    cuft = np.nan_to_num(ground * tall)
    for column, mine in (("length_ft", np.isfinite(sides)), ("floor_area_sqft", ~np.isfinite(sides))):
        sheet.fault(
            mine & (cuft > LARGEST_BUILDING_CUFT), column,
            f"makes a building of more than {LARGEST_BUILDING_CUFT:,.0f} cubic feet with the row's other sizes, larger "
            "than any: is a decimal point lost?",
        )  # fmt: skip


def _check_floors(sheet: Sheet, numbers: Mapping[str, FloatArray]) -> None:
    """Ask about floor areas that the row's own sides contradict: the sides count."""
    by_sides = numbers["length_ft"] * numbers["width_ft"] * np.fmax(np.nan_to_num(numbers["stories"], nan=1.0), 1.0)
    ratio = numbers["floor_area_sqft"] / by_sides
    # without its floors a house of two or three is no contradiction
    most = np.where(np.isnan(numbers["stories"]), 2.0 * FLOORS_AGREE, FLOORS_AGREE)
    contradicted = np.nan_to_num(np.fmax(ratio / most, 1.0 / (ratio * FLOORS_AGREE))) > 1.0
    low = numbers["height_ft"] < LEAST_STORY_FT * numbers["stories"]
    sheet.ask(
        low, "stories", numbers["stories"],
        lambda _: f"do not fit into the row's height_ft, {LEAST_STORY_FT:g} ft each: is one of the two wrong?",
    )  # fmt: skip
    sheet.ask(
        contradicted, "floor_area_sqft", numbers["floor_area_sqft"],
        lambda _: "is not what length, width and stories of its row make: is one of them wrong? The sides count",
    )  # fmt: skip


def _ask_metric_floors(sheet: Sheet, area_sqft: FloatArray) -> None:
    """Ask whether floor areas are in square metres: taken as feet, every building would need the least there is."""
    known = area_sqft[np.isfinite(area_sqft)]
    if known.size >= LEAST_FLOORS and np.median(known) < SMALL_FLOORS_SQFT:
        sheet.note(
            f"{sheet.header('floor_area_sqft')}: half of the {known.size:,} values are {np.median(known):,.0f} or "
            f"less, little for houses in square feet: are they square metres? Multiply them by {FT_PER_M**2:.3f} then."
        )


def _labels(sheet: Sheet, number: TextArray, street: TextArray) -> TextArray:
    """Read the labels; where one is missing or is the bare number, put number, street and unit together."""
    label = sheet.text("label")
    bare = np.array([_BARE_NUMBER.fullmatch(one) is not None for one in label], dtype=np.bool_) & (street != "")
    label = np.where(bare, label + " " + street, label) if bare.any() else label
    label = _with_number(sheet, label, number, street)
    wanting = label == ""
    if wanting.any():
        label = np.where(wanting, composed(sheet, number, street), label)
        made = wanting & (label != "")
        if sheet.has("label") and made.any():
            sheet.note(f"{np.count_nonzero(made):,} empty labels were put together from number and street.")
        sheet.fault(label == "", "label", "is empty" if sheet.has("label") else "is empty: no number and no street")
    return label


def _with_number(sheet: Sheet, label: TextArray, number: TextArray, street: TextArray) -> TextArray:
    """Put the house number before labels that are the name of the street alone, and ask about those with another."""
    if not (number != "").any():
        return label
    label, put, other = label.copy(), [], []
    for i in np.flatnonzero((number != "") & (label != "")).tolist():
        if not any(letter.isdigit() for letter in label[i]):
            if street[i] == "" or same_words(label[i], street[i]):
                label[i] = f"{number[i]} {label[i]}"
                put.append(i)
        elif (led := _LEADING_NUMBER.match(label[i])) and _given_number(number[i]) != float(led[1]):
            other.append(i)
    if put:
        row, said = sheet.row[put[0]], label[put[0]]
        sheet.note(f"{len(put):,} labels are the street alone, the first in row {row}; with its number: {said!r}.")
    if other:
        row, said, given = sheet.row[other[0]], label[other[0]], number[other[0]]
        more = f", and {len(other) - 1:,} more rows likewise" if other[1:] else ""
        sheet.note(
            f"row {row}: label {said!r} has another number than its column of numbers, {given!r}{more}: which holds?"
        )
    return label


def _number_and_street(label: TextArray, number: TextArray, street: TextArray) -> tuple[IntArray, TextArray]:
    """Give each row's house number, -1 where it has none, and its street, from the label where not given.

    >>> from preplan.records import text_array
    >>> texts = ["12 1/2 Mill Road, Rear", "1st Avenue", "Camp Seven", "7B E Oak St Apt 2"]
    >>> none = text_array([""] * 4)
    >>> found = _number_and_street(text_array(texts), none, none)
    >>> found[0].tolist(), found[1].tolist()
    ([12, -1, -1, 7], ['Mill Road', '', '', 'E Oak St'])
    """
    given = {text: _given_number(text) for text in set(number.tolist())}
    value = np.array([given[text] for text in number.tolist()], dtype=np.float64)
    named, cleaned = street.copy(), dict[str, str]()
    for i in np.flatnonzero(np.isnan(value) | (street == "")).tolist():
        match = _LEADING_NUMBER.match(label[i])
        if match is None:
            value[i] = _number_behind(label[i], street[i]) if np.isnan(value[i]) else value[i]
            continue
        if np.isnan(value[i]):
            value[i] = float(match[1])
        if not street[i]:
            rest = label[i][match.end() :]
            if rest not in cleaned:  # a road has many addresses
                cleaned[rest] = _AFTER_STREET.sub("", rest)
            named[i] = cleaned[rest]
    # a number 0 stands for none in address data, and longer ones than the standards allow are something else
    value = np.where((value >= 1.0) & (value <= LARGEST_NUMBER), value, -1.0)
    return value.astype(np.int32), named


def _number_behind(label: str, street: str) -> float:
    """Read a number that follows the street it belongs to, NaN where the label does not begin with that street.

    Without the street it is not read: the number of 'County Road 12' is its name.

    >>> _number_behind("Gristmill Rd 1743, camp", "Gristmill Road"), _number_behind("County Road 12, camp", "")
    (1743.0, nan)
    >>> _number_behind("State Route 917 45", "State Route 917"), _number_behind("State Route 917", "State Route 917")
    (45.0, nan)
    """
    match = _NUMBER_BEHIND.match(label)
    return float(match["number"]) if match is not None and same_words(match["street"], street) else np.nan


def _given_number(text: str) -> float:
    """Read the number a text begins with, NaN where it begins with none."""
    match = _GIVEN_NUMBER.match(text)
    return np.nan if match is None else float(match[1])
