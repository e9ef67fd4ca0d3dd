"""OpenStreetMap files (XML and PBF, plain or packed) -> drivable ways, restrictions and features in one pass."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from preplan.errors import Finding, InputError
from preplan.records import FeatureTable, RoadTable, TurnRestriction
from preplan.roads import memory
from preplan.roads.features import FEATURE_KEYS, FeatureCollector
from preplan.roads.limit_pieces import with_limit_pieces
from preplan.roads.stretches import DRIVABLE, NODE_LIMITS, Ways, dead_ends, mark_cut, node_matters, road_table

OSM_SUFFIXES = (".osm", ".osm.gz", ".osm.bz2", ".osm.pbf", ".pbf")
"""Endings of the files read here."""
MOST_BYTES = 2_000_000_000
"""Larger files are refused: a district needs an extract, not a continent."""
_RESTRICTION_KEYS = tuple(
    f"restriction{whom}{when}"
    for when in ("", ":conditional") for whom in ("", ":hgv", ":motor_vehicle", ":vehicle")
)  # fmt: skip
"""Each that is present is a turn restriction of its own: a tanker keeps all; a conditional one keeps its condition."""
_WANTED_KEYS = ("highway", "barrier", "railway", *NODE_LIMITS, *_RESTRICTION_KEYS)
_EDGE_DEG = 1e-4
"""A dead end this near the stated edge of an extract (some 10 m) is taken as cut there."""
_NO_DATE = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
"""What the reader gives for an object without a date."""
_GB = 1e9
_CUT_A_PIECE = "cut an extract around the district (its boundary and some 8 miles) and use that"
_GET_AGAIN = "copy or download the file again"


def read_osm_file(path: Path) -> tuple[RoadTable, FeatureTable]:
    """Read roads and features from one OpenStreetMap file.

    Raises
    ------
    InputError
        If the file is missing, cut short, damaged, no OpenStreetMap file, too large, or holds no road.
    """
    import osmium  # noqa: PLC0415  kept from `preplan --help`

    check_osm_file(path)
    found = _Found()
    try:
        for thing in _things(path):
            found.take(thing)
        if wanted := found.features.wanted_ways():
            found.features.take_member_ways(_ways_by_id(path, wanted))
        ways = _filled_in(path, found.ways())
        box, date = _header(path)
    except (RuntimeError, ValueError, osmium.InvalidLocationError) as error:  # every fault the reader knows
        raise InputError([_fault(path, str(error))]) from error
    if not len(ways.way_id):
        raise InputError([_no_road(path, "holds no road that a vehicle may drive")])
    roads = road_table(
        with_limit_pieces(ways), restrictions=found.restrictions_of(ways), newest=found.newest_date or date
    )
    if not len(roads):
        raise InputError([_no_road(path, "names roads but holds none of their nodes")])
    return _cut_at_box(roads, box), found.features.table()


@dataclass(slots=True)
class _Found:
    """What one pass over a file has met so far."""

    tags: dict[int, Mapping[str, str]] = field(default_factory=dict)
    """Of each drivable way, by its id; a later version of a way replaces the earlier."""
    points: dict[int, list[tuple[int, float, float]]] = field(default_factory=dict)
    node_tags: dict[int, Mapping[str, str]] = field(default_factory=dict)
    restrictions: list[TurnRestriction] = field(default_factory=list)
    features: FeatureCollector = field(default_factory=FeatureCollector)
    newest: dt.datetime = _NO_DATE

    @property
    def newest_date(self) -> str:
        """Give the date of the newest object, '' where no object has one."""
        return self.newest.date().isoformat() if self.newest > _NO_DATE else ""

    def take(self, thing: Any) -> None:
        """Keep what matters of one object of the file."""
        if not thing.visible:
            return
        self.newest = max(self.newest, thing.timestamp)
        if thing.is_node():
            tags = dict(thing.tags)
            self.features.take_node(thing, tags)
            if node_matters(tags):
                self.node_tags[thing.id] = tags
        elif thing.is_way():
            self.features.take_way(thing)
            if thing.tags.get("highway") in DRIVABLE:
                self.tags[thing.id] = dict(thing.tags)
                self.points[thing.id] = [_point(node) for node in thing.nodes]
        elif thing.is_relation():
            self.features.take_relation(thing)
            self.restrictions.extend(_restrictions(thing))

    def ways(self) -> Ways:
        """Pack the drivable ways."""
        points = [point for way in self.points.values() for point in way]
        counts = [len(way) for way in self.points.values()]
        lonlat = np.array([point[1:] for point in points], dtype=np.float64).reshape(-1, 2)
        return Ways(
            way_id=np.array(list(self.tags), dtype=np.int64),
            tags=tuple(self.tags.values()),
            start=np.concatenate([[0], np.cumsum(counts)]).astype(np.int32),
            node_id=np.array([point[0] for point in points], dtype=np.int64),
            lon=lonlat[:, 0],
            lat=lonlat[:, 1],
            node_tags=self.node_tags,
        )

    def restrictions_of(self, ways: Ways) -> tuple[TurnRestriction, ...]:
        """Give the restrictions all of whose ways are roads here."""
        known = {int(way) for way in ways.way_id}
        return tuple(one for one in self.restrictions if known.issuperset((one.from_way, one.to_way, *one.via_ways)))


def _things(path: Path) -> Iterator[Any]:
    """Iterate over the tagged objects that matter, with the positions of the nodes of ways."""
    import osmium  # noqa: PLC0415

    keys = osmium.filter.KeyFilter(*_WANTED_KEYS, *FEATURE_KEYS)
    yield from osmium.FileProcessor(_opened(path)).with_locations().with_filter(keys)


def _ways_by_id(path: Path, ids: frozenset[int]) -> Iterator[Any]:
    """Iterate over the named ways, which may carry no tag of their own."""
    import osmium  # noqa: PLC0415

    named = osmium.filter.IdFilter(ids)
    only_ways = osmium.filter.EntityFilter(osmium.osm.WAY)
    yield from osmium.FileProcessor(_opened(path)).with_locations().with_filter(only_ways).with_filter(named)


def _opened(path: Path) -> Any:
    """Name the format by the file's ending, in capitals or not: the library knows small letters only."""
    import osmium  # noqa: PLC0415

    ending = next(one for one in OSM_SUFFIXES if path.name.lower().endswith(one))
    return osmium.io.File(str(path), ending.removeprefix("."))


def _point(node: Any) -> tuple[int, float, float]:
    """Give id, lon and lat of a way's node; NaN where the file does not hold the node."""
    location = node.location
    if location.valid():
        return node.ref, location.lon, location.lat
    return node.ref, np.nan, np.nan


def _restrictions(relation: Any) -> Iterator[TurnRestriction]:
    """Take a relation apart: one restriction for each kind, and each pair of a from way and a to way."""
    tags = relation.tags
    kinds = dict.fromkeys(tags[key] for key in _RESTRICTION_KEYS if key in tags)
    if not kinds or not (tags.get("type") or "").startswith("restriction"):
        return
    by_role: dict[tuple[str, str], list[int]] = {}
    for member in relation.members:
        by_role.setdefault((member.role, member.type), []).append(member.ref)
    via_nodes, via_ways = by_role.get(("via", "n"), []), tuple(by_role.get(("via", "w"), []))
    if len(via_nodes) + bool(via_ways) != 1:
        via_nodes, via_ways = [], ()  # it is told, not applied
    for kind, from_way, to_way in product(kinds, by_role.get(("from", "w"), []), by_role.get(("to", "w"), [])):
        yield TurnRestriction(
            relation_id=relation.id,
            kind=kind,
            from_way=from_way,
            to_way=to_way,
            via_node=via_nodes[0] if via_nodes else None,
            via_ways=via_ways,
            exempt=tuple(word.strip() for word in (tags.get("except") or "").split(";") if word.strip()),
        )


def _filled_in(path: Path, ways: Ways) -> Ways:
    """Look again for nodes that the one pass cannot place: not yet uploaded (negative ids), or after the ways."""
    import osmium  # noqa: PLC0415

    missing = np.isnan(ways.lon)
    if not missing.any() or not (missing.all() or (ways.node_id[missing] < 0).any()):
        return ways
    wanted = {int(node) for node in ways.node_id[missing]}
    nodes: Iterator[Any] = iter(osmium.FileProcessor(_opened(path), osmium.osm.NODE))
    place = {
        node.id: (node.location.lon, node.location.lat) for node in nodes if node.id in wanted and node.location.valid()
    }
    nowhere = (np.nan, np.nan)
    found = np.array([place.get(int(node), nowhere) for node in ways.node_id[missing]])
    lon, lat = ways.lon.copy(), ways.lat.copy()
    lon[missing], lat[missing] = found[:, 0], found[:, 1]
    return Ways(
        way_id=ways.way_id, tags=ways.tags, start=ways.start, node_id=ways.node_id, lon=lon, lat=lat,
        node_tags=ways.node_tags,
    )  # fmt: skip


def _header(path: Path) -> tuple[tuple[float, float, float, float] | None, str]:
    """Read what a file says of itself: west, south, east, north (None: nothing), and the date of its data ('')."""
    import osmium  # noqa: PLC0415

    header = osmium.FileProcessor(_opened(path)).header
    if header.has_multiple_object_versions:
        raise ValueError(_CHANGES)
    date = (header.get("osmosis_replication_timestamp") or header.get("timestamp") or "")[:10]
    box = header.box()
    if not box.valid():
        return None, date
    low, high = box.bottom_left, box.top_right
    return (low.lon, low.lat, high.lon, high.lat), date


def _cut_at_box(roads: RoadTable, box: tuple[float, float, float, float] | None) -> RoadTable:
    """Mark dead ends on or beyond the stated edge of the extract: the road goes on, the file does not."""
    if box is None:
        return roads
    west, south, east, north = box
    inside = (
        (roads.node_lon > west + _EDGE_DEG) & (roads.node_lon < east - _EDGE_DEG)
        & (roads.node_lat > south + _EDGE_DEG) & (roads.node_lat < north - _EDGE_DEG)
    )  # fmt: skip
    return mark_cut(roads, dead_ends(roads) & ~inside)


def check_osm_file(path: Path) -> None:
    """Refuse what cannot be an extract, or is too large for the memory that is left, before it is opened.

    Raises
    ------
    InputError
        If the file is missing, of no known kind, empty, or too large.
    """
    fault = None
    if not path.exists():
        fault = Finding(file=path.name, rule="is not there", remedy="check [roads] file in the district file")
    elif not path.is_file():
        fault = Finding(file=path.name, rule="is not a file", remedy="name the road file itself")
    elif not path.name.lower().endswith(OSM_SUFFIXES):
        fault = Finding(
            file=path.name,
            rule="is no kind of road file known here",
            remedy=f"use {', '.join(OSM_SUFFIXES)} or .graphml",
        )
    elif path.stat().st_size > MOST_BYTES:
        fault = Finding(file=path.name, rule="is over 2 GB, too large for one district", remedy=_CUT_A_PIECE)
    elif path.stat().st_size == 0:
        fault = Finding(file=path.name, rule="is empty", remedy=_GET_AGAIN)
    if fault:
        raise InputError([fault])
    check_memory(path, _CUT_A_PIECE)


def check_memory(path: Path, remedy: str) -> None:
    """Refuse a file whose reading may take more memory than is left: the system would kill the run without a word.

    Raises
    ------
    InputError
        If it does.
    """
    wanted, free = memory.wanted_bytes(path), memory.free_bytes()
    if free is None or wanted <= free:
        return
    rule = f"may take {wanted / _GB:,.1f} GB of memory to read, and {free / _GB:,.1f} GB are free"
    raise InputError([Finding(file=path.name, rule=rule, remedy=remedy)])


def _no_road(path: Path, rule: str) -> Finding:
    return Finding(file=path.name, rule=rule, remedy="use an OpenStreetMap extract with roads and their nodes")


_HANDLE = re.compile(r"<fd:\d+>: ")
_CUT_SHORT = (
    "unclosed token",
    "no element found",
    "unexpected EOF",
    "read close failed",
    "read failed: -7",
    "truncated",
)
_CHANGES = "a file of changes or of history"
_NOT_OSM = (_CHANGES, "top-level element", "version", "syntax error", "line 1, column")


def _fault(path: Path, message: str) -> Finding:
    """Put a fault of the reader in plain words; the reader's own words stay as the value, but for handle numbers."""
    message = _HANDLE.sub("", message)
    if "entities" in message:
        rule = "means that it declares texts that stand for others, which no road file does"
        return Finding(file=path.name, value=message, rule=rule, remedy="do not trust it; " + _GET_AGAIN)
    if any(words in message for words in _CUT_SHORT):
        return Finding(file=path.name, value=message, rule="means that the file is cut short", remedy=_GET_AGAIN)
    if any(words in message for words in _NOT_OSM):
        return Finding(
            file=path.name, value=message, rule="means that this is no OpenStreetMap file of the kind its name says",
            remedy="export or download it as OpenStreetMap data",
        )  # fmt: skip
    return Finding(file=path.name, value=message, rule="means that the file is damaged", remedy=_GET_AGAIN)
