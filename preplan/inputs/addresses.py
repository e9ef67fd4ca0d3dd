"""The address table: whatever a county calls its columns, checked, numbered and in the order of the ids."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from preplan.inputs import cells
from preplan.inputs.columns import NUMBER_PARTS, STREET_PARTS
from preplan.inputs.sheet import Sheet
from preplan.records import AddressTable, IntArray, TextArray, text_array

LARGEST_NUMBER = 999_999
"""Largest house number of the open address standards."""
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
"""Optional numbers of an address and the limits they must keep."""

_LEADING_NUMBER = r"^(\d+)(?:-\d+)?[A-Za-z]?(?:\s+\d/\d)?(?=\s|$)\s*"
_GIVEN_NUMBER = r"^\D{0,3}?(\d+)"
_BARE_NUMBER = re.compile(r"\d+[A-Za-z]?")
_AFTER_STREET = r"\s*,.*$|\s+(?:apt|unit|ste|suite)\b.*$|\s*#.*$"


def read_addresses(sheet: Sheet) -> AddressTable:
    """Check every cell and take the rows without a fault, in code point order of their ids.

    The faults stay with the sheet. A fault in an optional cell counts too: a size that cannot be read must
    not quietly become the default building.
    """
    number_text, street = _parts(sheet)
    label = _labels(sheet, number_text, street)
    lon, lat = sheet.place()
    numbers = {name: sheet.number(name, **limits) for name, limits in NUMBER_LIMITS.items()}
    hazard = sheet.number("occupancy_hazard", low=3.0, high=7.0, whole=True)
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


def _parts(sheet: Sheet) -> tuple[TextArray, TextArray]:
    """Read house number and street from columns of their own, joining the parts the standards split them in."""
    number = _joined(sheet, NUMBER_PARTS)
    street = sheet.text("street") if sheet.has("street") else _joined(sheet, STREET_PARTS)
    return number, street


def _joined(sheet: Sheet, parts: tuple[str, ...]) -> TextArray:
    present = [sheet.text(part).tolist() for part in parts if sheet.has(part)]
    if not present:
        return text_array([""] * len(sheet))
    return text_array([" ".join(filter(None, row)) for row in zip(*present, strict=True)])


def _labels(sheet: Sheet, number: TextArray, street: TextArray) -> TextArray:
    """Read the labels; where the column is missing or holds the bare number, put number and street together."""
    if not sheet.has("label"):
        composed = text_array([f"{n} {s}".strip() for n, s in zip(number, street, strict=True)])
        sheet.fault(composed == "", "label", "is empty: no number and no street")
        return composed
    label = sheet.text("label", required=True)
    bare = np.array([_BARE_NUMBER.fullmatch(one) is not None for one in label], dtype=np.bool_) & (street != "")
    return np.where(bare, label + " " + street, label) if bare.any() else label


def _number_and_street(label: TextArray, number: TextArray, street: TextArray) -> tuple[IntArray, TextArray]:
    """Give each row's house number, -1 where it has none, and its street, from the label where not given.

    >>> texts = ["12 1/2 Mill Road, Rear", "1st Avenue", "Camp Seven", "7B E Oak St Apt 2"]
    >>> none = text_array([""] * 4)
    >>> found = _number_and_street(text_array(texts), none, none)
    >>> found[0].tolist(), found[1].tolist()
    ([12, -1, -1, 7], ['Mill Road', '', '', 'E Oak St'])
    """
    labels = pd.Series(label, dtype=object)
    spoken = labels.str.extract(_LEADING_NUMBER, expand=False)
    given = pd.Series(number, dtype=object).str.extract(_GIVEN_NUMBER, expand=False) if any(number) else spoken
    value = pd.to_numeric(given.fillna(spoken), errors="coerce").to_numpy(dtype=np.float64)
    # a number 0 stands for none in address data, and longer ones than the standards allow are something else
    value = np.where((value >= 1.0) & (value <= LARGEST_NUMBER), value, -1.0)
    wanting = np.flatnonzero((street == "") & spoken.notna().to_numpy(dtype=np.bool_))
    if not len(wanting):
        return value.astype(np.int32), street
    found = labels.iloc[wanting].str.replace(_LEADING_NUMBER, "", regex=True)
    found = found.str.replace(_AFTER_STREET, "", regex=True, case=False)
    named = street.copy()
    named[wanting] = found.to_numpy(dtype=object)
    return value.astype(np.int32), named
