"""The rows of dispatch.csv: runs of house numbers along a road whose answers are the same. One look-up, one row.

Where the sides of a road differ, its rows are for odd and for even numbers; rows of one side never overlap.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

import numpy as np

from preplan.records import FloatArray
from preplan.units import M_PER_MI

APART_MI = 0.5
"""Addresses of one road and number farther apart than this are two places (this program's choice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What rows are made from, one entry an address."""

    road: list[str]
    number: list[int]
    label: list[str]
    answer: list[tuple[str, ...]]
    """Cells in which the addresses of a row agree."""
    other_months: list[tuple[str, ...]]
    """What serves an address without a route in the months in which there is one."""
    status: list[str]
    demand: list[tuple[float, ...]]
    """Sorts addresses by what they ask for, the least first."""
    lon: FloatArray
    lat: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Addresses that one look-up finds."""

    road: str
    addresses: tuple[int, ...]
    lead: int
    """The address whose answer is shown: of equal answers the weakest, of different ones the most demanding."""
    label: str
    """What is looked up where there is no number."""
    note: str = ""


def rows_of(asked: Asked) -> list[Row]:
    """Make the rows of every road."""
    by_road: dict[str, list[int]] = defaultdict(list)
    for a, road in enumerate(asked.road):
        by_road[road.casefold()].append(a)
    rows: list[Row] = []
    for _, here in sorted(by_road.items()):
        numbered = [a for a in here if asked.number[a] >= 0]
        rows += _numbered_rows(asked, numbered, [a for a in here if asked.number[a] < 0])
        rest = sorted((asked.label[a].casefold(), a) for a in here if asked.number[a] < 0)
        for _, same in groupby(rest, key=lambda one: one[0]):
            rows += _one_look_up(asked, [a for _, a in same])
    return rows


def _numbered_rows(asked: Asked, addresses: list[int], unnumbered: list[int]) -> list[Row]:
    """Make the rows of one road's numbers: by number, or by side where that makes fewer."""
    order = sorted((asked.number[a], a) for a in addresses)
    found = [_one_look_up(asked, [a for _, a in same]) for _, same in groupby(order, key=lambda one: one[0])]
    together = _joined(asked, found, unnumbered)
    sides = [
        row
        for side in (1, 0)
        for row in _joined(asked, [rows for rows in found if asked.number[rows[0].lead] % 2 == side], unnumbered)
    ]
    rows = together if len(together) <= len(sides) else sides
    return sorted((_beside(asked, row, unnumbered) for row in rows), key=lambda row: asked.number[row.addresses[0]])


def _joined(asked: Asked, found: list[list[Row]], unnumbered: list[int]) -> list[Row]:
    """Join the rows of numbers that follow each other and answer alike; those with a note stand alone.

    A row ends before an address without a number that answers otherwise: the range must not claim its house.
    """

    def alike(at: int) -> tuple[object, ...]:
        rows = found[at]
        return (at,) if rows[0].note else (asked.answer[rows[0].lead], asked.other_months[rows[0].lead])

    joined: list[Row] = []
    for _, places in groupby(range(len(found)), key=alike):
        for rows in _parted(asked, [found[at] for at in places], unnumbered):
            joined += rows if rows[0].note else [_row(asked, [a for row in rows for a in row.addresses])]
    return joined


def _parted(asked: Asked, found: list[list[Row]], unnumbered: list[int]) -> Iterator[list[Row]]:
    """Part the rows of numbers that answer alike where an address without a number that answers otherwise may stand.

    It may where its label holds a number between two of them, or where it lies nearer to both than they to each other.
    """
    lead = found[0][0].lead
    others = [a for a in unnumbered if not _alike(asked, a, lead)] if len(found) > 1 else []
    rows = list(found[0])
    for one, other in pairwise(found):
        if others and _between(asked, one[0].lead, other[0].lead, others):
            yield rows
            rows = []
        rows += other
    yield rows


def _between(asked: Asked, one: int, other: int, unnumbered: list[int]) -> bool:
    """Tell whether an address without a number may stand between two numbers of its road."""
    ends = asked.number[one], asked.number[other]
    if any(ends[0] <= number <= ends[1] for a in unnumbered for number in _numbers_in(asked, a)):
        return True
    away_m = np.maximum(_metres(asked, one, unnumbered), _metres(asked, other, unnumbered))
    return bool((away_m < _metres(asked, one, [other])).any())


def _metres(asked: Asked, one: int, others: list[int]) -> FloatArray:
    """Measure how far some addresses lie from one, (others,) metres."""
    from pyproj import Geod  # noqa: PLC0415  slow to import

    lon, lat = (np.full(len(others), place[one]) for place in (asked.lon, asked.lat))
    return np.asarray(Geod(ellps="WGS84").inv(lon, lat, asked.lon[others], asked.lat[others])[2])


def _beside(asked: Asked, row: Row, unnumbered: list[int]) -> Row:
    """Say of a row that a label on its road holds a number of it and has another answer."""
    span = [asked.number[a] for a in row.addresses]
    labels = dict.fromkeys(
        asked.label[a]
        for a in unnumbered
        if not _alike(asked, a, row.lead) and any(min(span) <= number <= max(span) for number in _numbers_in(asked, a))
    )
    said = [row.note] * bool(row.note) + [f"another answer for {label!r}: look it up by its label" for label in labels]
    return replace(row, note="; ".join(said))


def _alike(asked: Asked, one: int, other: int) -> bool:
    """Tell whether two addresses answer alike in all months."""
    return (asked.answer[one], asked.other_months[one]) == (asked.answer[other], asked.other_months[other])


def _numbers_in(asked: Asked, address: int) -> list[int]:
    """List the numbers in a label that are not of the road's own name."""
    own = re.findall(r"\d+", asked.road[address])
    return [int(number) for number in re.findall(r"\d+", asked.label[address]) if number not in own]


def _one_look_up(asked: Asked, addresses: list[int]) -> list[Row]:
    """Answer for all addresses of one number, or of one label: one row, or one for each place they lie at."""
    if len({(asked.answer[a], asked.other_months[a]) for a in addresses}) == 1:
        return [_row(asked, addresses)]
    places = _places(asked, addresses)
    if len(places) == 1:
        return [_most_demanding(asked, addresses, "")]
    note = f"one of {len(places)} places of this road and number; tell them apart by cross street or lon, lat"
    return [_most_demanding(asked, place, note) for place in places]


def _most_demanding(asked: Asked, addresses: list[int], note: str) -> Row:
    """Answer for addresses at one place; where they differ, for the one that asks for most."""
    said = [note] if note else []
    row = _row(asked, addresses)
    if len({asked.answer[a] for a in addresses}) > 1:
        lead = max(addresses, key=lambda a: (asked.demand[a], -a))
        row = replace(row, lead=lead)
        others = sorted({asked.status[a] for a in addresses} - {asked.status[lead]})
        also = f" (another is {', '.join(others)})" if others else ""
        said.append(f"answers of {len(addresses)} addresses differ: the most demanding is shown{also}")
    elif len({asked.other_months[a] for a in addresses}) > 1:
        said.append(f"answers of {len(addresses)} addresses differ in other months")
    return replace(row, note="; ".join(said))


def _row(asked: Asked, addresses: list[int]) -> Row:
    """Make a row of addresses that answer alike; its lead has the least flow."""
    lead = max(addresses, key=lambda a: (asked.demand[a], -a))
    label = asked.label[lead] if asked.number[lead] < 0 else ""
    return Row(road=asked.road[addresses[0]], addresses=tuple(addresses), lead=lead, label=label)


def _places(asked: Asked, addresses: list[int]) -> list[list[int]]:
    """Sort addresses into places: each is within `APART_MI` of the first of its place."""
    places: list[list[int]] = []
    for a in addresses:
        for place in places:
            if _metres(asked, place[0], [a])[0] <= APART_MI * M_PER_MI:
                place.append(a)
                break
        else:
            places.append([a])
    return places


def parity(span: Sequence[int]) -> str:
    """Tell whether numbers stand on one side of the road: odd, even or all.

    >>> parity([12, 40]), parity([7, 40]), parity([-1])
    ('even', 'all', 'all')
    """
    if min(span) < 0 or len({number % 2 for number in span}) > 1:
        return "all"
    return "odd" if span[0] % 2 else "even"
