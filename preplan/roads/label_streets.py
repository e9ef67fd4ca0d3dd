"""Streets of addresses that name one in their label alone, in front of the number: known by the names of the roads."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from preplan.records import AddressTable, IntArray, RoadTable, text_array
from preplan.roads.street_names import normalise, road_keys

_NUMBER_BEHIND = re.compile(r"(?P<street>\S.*?)\s+(?P<number>[1-9]\d{0,5})[A-Za-z]?(?=\s*(?:,|#|$))")


def with_label_streets(addresses: AddressTable, roads: RoadTable) -> tuple[AddressTable, IntArray]:
    """Give addresses without street and number those that their label begins with, where a road is so named.

    Without the roads 'County Road 12' cannot be told from 'Mill Road 12'; a label that is a road's name as a whole
    names no number.

    Returns
    -------
    tuple[AddressTable, IntArray]
        The addresses, and the rows that were read so.
    """
    bare = np.flatnonzero((addresses.street == "") & (addresses.number < 0))
    parted = {int(row): match for row in bare if (match := _NUMBER_BEHIND.match(str(addresses.label[row])))}
    if not parted:
        return addresses, np.empty(0, dtype=np.int32)
    _, first = np.unique(roads.tag_row, return_index=True)  # a stretch of every way
    known = {
        key
        for row in first.tolist()
        for key in road_keys(roads.name[row], roads.ref[row], roads.way_tags[int(roads.tag_row[row])])
    }
    street, number = addresses.street.tolist(), addresses.number.copy()
    read: list[int] = []
    for row, match in parted.items():
        if normalise(match[0]) in known or normalise(match["street"]) not in known:
            continue
        street[row], number[row] = match["street"], int(match["number"])
        read.append(row)
    return replace(addresses, street=text_array(street), number=number), np.array(read, dtype=np.int32)
