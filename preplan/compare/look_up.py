"""Finds each address in dispatch.csv, as a dispatcher would: by road and house number, or by its label."""

from __future__ import annotations

import re
from collections import defaultdict
from typing import NamedTuple

import numpy as np
import pandas as pd

from preplan.records import BoolArray, TextArray, text_array
from preplan.roads.label_streets import named_within
from preplan.roads.street_names import address_street, normalise

_NUMBER = re.compile(r"[1-9]\d*")
_AGREE = ("status", "response_level", "fill_site_id", "split_site_id", "backup_site_id", "required_gpm")
"""Cells in which an address and its row of the dispatch table are equal; where they are not it is another's row."""


class _Row(NamedTuple):
    """A row of the dispatch table."""

    first: float
    last: float
    parity: str
    agree: tuple[object, ...]
    told: tuple[str, str, str]
    """Road, units, winter's fill site."""


def look_up(addresses: pd.DataFrame, dispatch: pd.DataFrame) -> dict[str, TextArray | BoolArray]:
    """Tell the `road`, `units` in order and `winter` fill site of addresses, and which are `found`, (addresses,) each.

    The label alone is known here, so a few addresses are not found; none is given another's row unless that answers
    alike.
    """
    by_street, by_label = _sorted_rows(dispatch)
    found: list[tuple[str, str, str] | None] = []
    agree = _agreeing(addresses)
    for label, answer in zip(addresses["label"], agree, strict=True):
        rows = by_label.get(label.casefold(), []) or [
            row for street, number in _named(label) for row in by_street.get(street, []) if _holds(row, number)
        ]
        told = {row.told for row in rows if row.agree == answer}
        found.append(told.pop() if len(told) == 1 else None)
    cells = {
        name: text_array(["" if one is None else one[at] for one in found])
        for at, name in enumerate(("road", "units", "winter"))
    }
    return {**cells, "found": np.array([one is not None for one in found], dtype=np.bool_)}


def _named(label: str) -> dict[tuple[str, int], None]:
    """Give streets and house numbers that a label may name: its own in front, else those of its parts."""
    digits = _NUMBER.match(label)
    if digits:
        return {(address_street(label, int(digits[0])), int(digits[0])): None}
    return {(address_street(street), number): None for _, street, number in named_within(label)}


def _sorted_rows(dispatch: pd.DataFrame) -> tuple[dict[str, list[_Row]], dict[str, list[_Row]]]:
    """Sort the rows of the table by street, and by label where they have one."""
    by_street, by_label = defaultdict(list), defaultdict(list)
    columns = ("from_number", "to_number", "parity", "road", "units", "winter_site_id", "label")
    cells = zip(*(dispatch[name] for name in columns), _agreeing(dispatch), strict=True)
    for first, last, parity, road, units, winter, label, agree in cells:
        row = _Row(first, last, parity, agree, (road, units, winter))
        if label:
            by_label[label.casefold()].append(row)
        else:
            by_street[normalise(road)].append(row)
    return by_street, by_label


def _agreeing(table: pd.DataFrame) -> list[tuple[object, ...]]:
    """Give the cells of `_AGREE`, a row each; NaN, which equals nothing, as None."""
    columns = [table[name].astype(object).where(table[name].notna(), None) for name in _AGREE]
    return list(zip(*columns, strict=True))


def _holds(row: _Row, number: int) -> bool:
    """Tell whether a row's range has a house number."""
    return row.first <= number <= row.last and row.parity in ("all", "odd" if number % 2 else "even")
