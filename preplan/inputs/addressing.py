"""House number, street and label of an address from whatever columns its table has."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Protocol

import numpy as np

from preplan.inputs.address_headers import NUMBER_PARTS, STREET_PARTS, UNIT_PARTS
from preplan.records import TextArray, text_array
from preplan.street_words import DIRECTIONS, SUFFIX_OF

_BARE_UNIT_LETTERS = 2
"""A unit of so few letters, or with a digit first, says nothing without a word before it."""


class Columns(Protocol):
    """A table whose columns bear our names."""

    def __len__(self) -> int:
        """Count the rows."""

    def has(self, column: str) -> bool:
        """Tell whether the table has a column."""

    def text(self, column: str) -> TextArray:
        """Read a column of texts."""


def number_and_street(table: Columns) -> tuple[TextArray, TextArray]:
    """Read house number and street, putting together the parts that the standards split them in.

    A street given whole goes before its parts, row by row.
    """
    # a number column with gaps comes out of some exports as 12.0
    rows = _rows(table, NUMBER_PARTS)
    numbers = {parts: _joined(parts).removesuffix(".0") for parts in set(rows)}
    number = text_array([numbers[parts] for parts in rows])
    if not table.has("street"):
        return number, _street_of_parts(table)
    street = table.text("street")
    wanting = street == ""
    if wanting.any() and any(table.has(part) for part in STREET_PARTS):
        street = np.where(wanting, _street_of_parts(table), street)
    return number, street


def _street_of_parts(table: Columns) -> TextArray:
    """Join the parts of street names; a part that the name already ends or begins with is not said twice."""
    name = STREET_PARTS.index("st_name")
    present = [i for i, part in enumerate(STREET_PARTS) if table.has(part)]
    if name not in present:
        return text_array([""] * len(table))
    at = present.index(name)
    rows = _rows(table, STREET_PARTS)
    known = {parts: _spoken(parts, at) for parts in set(rows)}  # a road has many addresses
    return text_array([known[parts] for parts in rows])


def _spoken(parts: Sequence[str], name: int) -> str:
    """Join the parts of one street name.

    >>> _spoken(("N", "Mill", "Road"), 1), _spoken(("N", "N Mill Road", "ROAD"), 1), _spoken(("", "", "Road"), 1)
    ('N Mill Road', 'N Mill Road', '')
    """
    words = parts[name].casefold().split()
    if not words:
        return ""  # a type or direction alone is no street
    kept = [part for part in parts if part]
    if len(words) > 1:
        kept = [
            part
            for i, part in enumerate(parts)
            if part
            and not (i > name and words[-1] == part.casefold())
            and not (i < name and words[0] == part.casefold())
        ]
    return " ".join(kept)


def composed(table: Columns, number: TextArray, street: TextArray) -> TextArray:
    """Put a label together from number, street and unit; '' where a row has neither number nor street."""
    parts = UNIT_PARTS if table.has("unit") else ()
    units = [_unit(one) for one in _rows(table, parts)]
    return text_array([
        _joined((n, s, unit)) if n or s else "" for n, s, unit in zip(number, street, units, strict=True)
    ])  # fmt: skip


def _unit(parts: Sequence[str]) -> str:
    """Name a unit within a building.

    >>> _unit(("Apartment", "A")), _unit(("", "3")), _unit(("APT 3",)), _unit(("", ""))
    ('Apartment A', 'Unit 3', 'APT 3', '')
    """
    said, value = _joined(parts), parts[-1]
    bare = said == value and (value[:1].isdigit() or len(value) <= _BARE_UNIT_LETTERS)
    return f"Unit {said}" if bare and said else said


def made_ids(table: Columns) -> TextArray:
    """Make an id for each row from its address; a repeated one gets its count, in the order of the table."""
    labels = composed(table, *number_and_street(table)).tolist()
    seen: dict[str, int] = {}
    ids = []
    for label in labels:
        seen[label] = seen.get(label, 0) + 1
        ids.append(f"{label} ({seen[label]})" if label and seen[label] > 1 else label)
    return text_array(ids)


def _joined(parts: Sequence[str]) -> str:
    return " ".join(filter(None, parts))


def _rows(table: Columns, parts: Sequence[str]) -> list[tuple[str, ...]]:
    """Give the cells of those columns of `parts` that the table has, row by row."""
    present = [table.text(part).tolist() for part in parts if table.has(part)]
    return list(zip(*present, strict=True)) if present else [("",)] * len(table)


def same_words(one: str, other: str) -> bool:
    """Tell whether two names or labels are one, word by word; kinds of street and directions may be shortened.

    >>> same_words("GRISTMILL RD.", "Gristmill Road"), same_words("Camp Rd", "Campagna Rd"), same_words("", "")
    (True, False, False)
    >>> same_words("14 N Beaver Rd", "14 NORTH BEAVER ROAD"), same_words("Route 5", "Route 57")
    (True, False)
    """
    first, second = (
        [SUFFIX_OF.get(word, DIRECTIONS.get(word, word)) for word in re.findall(r"\w+", name.upper())]
        for name in (one, other)
    )
    return bool(first) and first == second
