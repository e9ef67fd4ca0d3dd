"""Streets and house numbers that labels name in a way that only the names of the roads can tell."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from preplan.records import AddressTable, IntArray, RoadTable, text_array
from preplan.roads.street_names import address_street, normalise, road_keys

_STREET = r"(?P<street>\S.*?)\s*(?=,|#|$)"
_FORMS = tuple(
    re.compile(form, re.IGNORECASE)
    for form in (
        r"(?P<street>\S.*?)\s+(?P<number>[1-9]\d{0,5})[A-Z]?(?=\s*(?:,|#|$))",  # Mill Road 12
        rf"(?P<number>[1-9]\d{{0,5}})\s+[A-Z]\s+{_STREET}",  # 12 A Mill Road
        rf"(?:[NSEW]\d{{1,5}}\s?)?[NSEW](?P<number>[1-9]\d{{0,5}})\s+{_STREET}",  # N1234 or W204N11912 Mill Road
    )
)
"""Ways of writing that may mean something else: 'County Road 12' is a road, and so is the A Street of '12 A Street'."""
_WITHIN = (
    re.compile(  # 12 Mill Road, 12-A Mill Road, 12 - 14 Mill Road
        r"(?P<number>[1-9]\d{0,5})(?:-?[A-Z])?(?:\s*[-\u2013&]\s*\d+[A-Z]?)?\s+(?P<street>\S.*)", re.IGNORECASE
    ),
    re.compile(r"(?P<street>\S.*?)\s+(?P<number>[1-9]\d{0,5})[A-Z]?", re.IGNORECASE),  # Mill Road 12
)
"""Ways of writing of one part of a label, between commas: 'Grange Hall, 12 Mill Road'."""


def with_label_streets(addresses: AddressTable, roads: RoadTable) -> tuple[AddressTable, IntArray]:
    """Give addresses whose label is read better by the roads the street and number that it names.

    Another reading counts where a road bears that street, and none bears the one that the address has so far. A label
    that is a road's name as a whole names no number. Where no number is known, one that stands beside the address's own
    street within the label is its number; two of them are none.

    Returns
    -------
    tuple[AddressTable, IntArray]
        The addresses, and the rows that were read so.
    """
    known = _known(roads)
    street, number, label = addresses.street.tolist(), addresses.number.copy(), addresses.label.tolist()
    strange = {name for name in set(street) if address_street(name) not in known}
    read: list[int] = []
    for row in np.flatnonzero([name in strange for name in street]).tolist():
        if street[row] not in label[row]:  # a column of its own says so
            continue
        found = next((one for one in _readings(label[row]) if normalise(one["street"]) in known), None)
        if found is not None and normalise(found[0]) not in known:
            street[row] = found["street"]
            number[row] = int(found["number"]) if number[row] < 0 else number[row]
            read.append(row)
    for row in np.flatnonzero(number < 0).tolist():
        beside = _beside_street(label[row], street[row], known)
        if beside is not None:
            street[row], number[row] = street[row] or beside[0], beside[1]
            read.append(row)
    read.sort()
    if not read:
        return addresses, np.empty(0, dtype=np.int32)
    return replace(addresses, street=text_array(street), number=number), np.array(read, dtype=np.int32)


def named_within(label: str) -> Iterator[tuple[str, str, int]]:
    """Give what each part of a label between commas may name: the part, a street and a house number on it.

    >>> list(named_within("Garage, 3363 SR 917"))
    [('3363 SR 917', 'SR 917', 3363), ('3363 SR 917', '3363 SR', 917)]
    """
    for part in map(str.strip, label.split(",")):
        for one in filter(None, (form.fullmatch(part) for form in _WITHIN)):
            yield part, one["street"], int(one["number"])


def _beside_street(label: str, street: str, known: frozenset[str]) -> tuple[str, int] | None:
    """Read the street and the one house number that a part of a label names; None where it names none, or several.

    The street is the address's own; where it has none, that of a road.

    >>> _beside_street("Grange Hall, 872 Sumac Hill Rd", "Sumac Hill Road", frozenset())
    ('Sumac Hill Rd', 872)
    >>> _beside_street("Garage, 3363 SR 917", "State Route 917", frozenset())
    ('SR 917', 3363)
    >>> _beside_street("Garage, 3363 SR 917", "", frozenset({"SR 917"}))
    ('SR 917', 3363)
    >>> _beside_street("Garage, SR 917", "State Route 917", frozenset({"SR 917"}))
    >>> _beside_street("Barn, 12 Mill Rd, 14 Mill Rd", "Mill Road", frozenset())
    """
    if not any(mark.isdigit() for mark in label):
        return None
    of = frozenset({address_street(street)}) if street else known
    key = address_street if street else normalise  # a street that is taken over ends in no unit
    found = {
        (key(name), number): name
        for part, name, number in named_within(label)
        if normalise(part) not in of and key(name) in of
    }
    return next(((name, number) for (_, number), name in found.items()), None) if len(found) == 1 else None


def _readings(label: str) -> Iterator[re.Match[str]]:
    return filter(None, (form.match(label) for form in _FORMS))


def _known(roads: RoadTable) -> frozenset[str]:
    """Give the keys of all roads."""
    _, first = np.unique(roads.tag_row, return_index=True)  # a stretch of every way
    return frozenset(
        key
        for row in first.tolist()
        for key in road_keys(roads.name[row], roads.ref[row], roads.way_tags[int(roads.tag_row[row])])
    )
