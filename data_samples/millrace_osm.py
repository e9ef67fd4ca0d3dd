"""Write the land as an OpenStreetMap XML file, version 0.6, as a mapper would have left it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from xml.sax.saxutils import quoteattr
from zlib import crc32

from data_samples.millrace_curves import FT_PER_MI, Course, Plane, Stop, rectangle, ribbon
from data_samples.millrace_homes import Home
from data_samples.millrace_land import Land, Line

FIRST_NODE, FIRST_WAY, FIRST_RELATION = 90_000_000_001, 9_000_000_001, 900_000_001
"""Far above any number in use, so that nothing here is taken for a real object."""
OLDEST, NEWEST = date(2016, 5, 1), date(2026, 4, 30)
BUILDING_TAGS = {
    "single family dwelling": "house", "multi-family dwelling": "residential", "mobile home": "static_caravan",
    "camp": "cabin", "farm": "farm", "barn": "barn", "store": "retail", "church": "church", "school": "school",
    "sawmill": "industrial", "town hall": "civic", "commercial": "commercial",
}  # fmt: skip


@dataclass
class OsmFile:
    """Nodes, ways and relations in the order of their ids."""

    plane: Plane
    nodes: dict[int, tuple[Stop, Mapping[str, str]]] = field(default_factory=dict)
    ways: dict[int, tuple[list[int], Mapping[str, str]]] = field(default_factory=dict)
    relations: dict[int, tuple[list[tuple[str, int, str]], Mapping[str, str]]] = field(default_factory=dict)
    named: dict[str, int] = field(default_factory=dict)
    """Nodes of places: lines that share one meet there."""

    def node(self, stop: Stop, tags: Mapping[str, str] | None = None) -> int:
        """Add a node, or find that of its place."""
        if stop.name in self.named:
            return self.named[stop.name]
        number = FIRST_NODE + len(self.nodes)
        self.nodes[number] = (stop, tags or {})
        if stop.name:
            self.named[stop.name] = number
        return number

    def way(self, refs: Iterable[int], tags: Mapping[str, str]) -> int:
        """Add a way."""
        number = FIRST_WAY + len(self.ways)
        self.ways[number] = (list(refs), tags)
        return number

    def ring(self, ring: Sequence[Stop], tags: Mapping[str, str]) -> int:
        """Add a closed way; the last point of the ring is its first."""
        refs = [self.node(stop) for stop in ring[:-1]]
        return self.way([*refs, refs[0]], tags)

    def relation(self, members: list[tuple[str, int, str]], tags: Mapping[str, str]) -> int:
        """Add a relation of (type, id, role)."""
        number = FIRST_RELATION + len(self.relations)
        self.relations[number] = (members, tags)
        return number

    def xml(self) -> str:
        """Write the whole file."""
        lines = ['<?xml version="1.0" encoding="UTF-8"?>', '<osm version="0.6" generator="make_millrace">']
        for number, (stop, tags) in self.nodes.items():
            lon, lat = self.plane.lonlat(stop.x, stop.y)
            lines += _element("node", number, f' lat="{lat:.7f}" lon="{lon:.7f}"', [], tags)
        for number, (refs, tags) in self.ways.items():
            lines += _element("way", number, "", [f'<nd ref="{ref}"/>' for ref in refs], tags)
        for number, (members, tags) in self.relations.items():
            rows = [f'<member type="{kind}" ref="{ref}" role="{role}"/>' for kind, ref, role in members]
            lines += _element("relation", number, "", rows, tags)
        return "\n".join([*lines, "</osm>", ""])


def _element(kind: str, number: int, place: str, inner: list[str], tags: Mapping[str, str]) -> list[str]:
    rows = inner + [f"<tag k={quoteattr(key)} v={quoteattr(value)}/>" for key, value in tags.items()]
    head = f'<{kind} id="{number}" version="{1 + number % 4}" timestamp="{_stamp(number)}"{place}'
    return [f"{head}/>"] if not rows else [f"{head}>", *(f" {row}" for row in rows), f"</{kind}>"]


def _stamp(number: int) -> str:
    """Date an object between the oldest and the newest day; the first way is of the newest."""
    chance = crc32(str(number).encode())
    span = (NEWEST - OLDEST).days
    day = NEWEST if number == FIRST_WAY else OLDEST + timedelta(days=chance % span)
    return f"{day}T{chance // span % 24:02d}:{chance % 60:02d}:{chance // 7 % 60:02d}Z"


def map_of(land: Land, homes: Sequence[Home]) -> OsmFile:
    """Map the land and its houses."""
    osm = OsmFile(land.plane)
    ends: dict[str, list[int]] = {}
    for line in land.lines:
        ways = _line_ways(osm, line)
        ends.setdefault(line.name, []).extend(ways)
    _ring_road(osm)
    _restriction(osm, ends)
    for shore in land.shores:
        outer = osm.ring(shore.ring, {} if shore.island else shore.tags)
        if shore.island:
            inner = osm.ring(shore.island, {"place": "islet", "name": "Gull Island"})
            osm.relation([("way", outer, "outer"), ("way", inner, "inner")], {"type": "multipolygon", **shore.tags})
    for line in land.lines:
        if "bank_from" in line.spec:
            _banks(osm, land, line)
    for home in homes:
        _house(osm, home)
    return osm


def _line_ways(osm: OsmFile, line: Line) -> list[int]:
    """Split a line where its tags change; return its ways in order."""
    stretches: list[tuple[dict[str, str], list[Stop]]] = [(dict(line.tags), [])]
    for stop in line.course.stops:
        stretches[-1][1].append(stop)
        span = line.spans.get(stop.name.removesuffix(" in")) if stop.name.endswith(" in") else None
        if span is not None:
            stretches.append(({**stretches[-1][0], **span}, [stop]))
        elif stop.name.endswith(" out") and stop.name.removesuffix(" out") in line.spans:
            stretches.append((stretches[-2][0], [stop]))
        elif stop.name in line.changes:
            stretches.append(({**stretches[-1][0], **line.changes[stop.name]}, [stop]))
    made = []
    for tags, stops in stretches:
        if len(stops) > 1:
            refs = [osm.node(_own(stop, line), line.node_tags.get(stop.name)) for stop in stops]
            made.append(osm.way(refs, tags))
    return made


def _own(stop: Stop, line: Line) -> Stop:
    """Keep a span's end to its own line: over and under do not meet."""
    ends = {f"{name} {end}" for name in line.spans for end in ("in", "out")}
    return Stop(stop.x, stop.y, f"{line.kind} {line.name} {stop.name}") if stop.name in ends else stop


def _ring_road(osm: OsmFile) -> None:
    """Lay the roundabout through the four places where roads reach it, counterclockwise."""
    names = ["ring east", "ring north", "ring west", "ring south"]
    refs = []
    places = [osm.nodes[osm.named[name]][0] for name in names]
    cx, cy = sum(p.x for p in places) / 4, sum(p.y for p in places) / 4
    for here, there in zip(places, places[1:] + places[:1], strict=True):
        refs.append(osm.named[here.name])
        start = math.atan2(here.y - cy, here.x - cx)
        turn = (math.atan2(there.y - cy, there.x - cx) - start) % math.tau
        radii = math.hypot(here.x - cx, here.y - cy), math.hypot(there.x - cx, there.y - cy)
        for share in (1 / 3, 2 / 3):
            r, a = radii[0] + share * (radii[1] - radii[0]), start + share * turn
            refs.append(osm.node(Stop(cx + r * math.cos(a), cy + r * math.sin(a))))
    osm.way(
        [*refs, refs[0]],
        {"highway": "secondary", "junction": "roundabout", "oneway": "yes", "ref": "SR 917", "maxspeed": "15 mph"},
    )


def _restriction(osm: OsmFile, ends: Mapping[str, Sequence[int]]) -> None:
    """Forbid the left turn from Sumac Hill Road into Main Street at the light."""
    via = osm.named["green corner"]
    from_way = next(way for way in ends["Sumac Hill Road"] if via in osm.ways[way][0])
    to_way = next(way for way in ends["Main Street"] if osm.ways[way][0][0] == via)
    members = [("way", from_way, "from"), ("node", via, "via"), ("way", to_way, "to")]
    osm.relation(members, {"type": "restriction", "restriction": "no_left_turn"})


def _banks(osm: OsmFile, land: Land, line: Line) -> None:
    """Draw the banks of the lower creek in a few pieces, each a closed area."""
    x, y = (FT_PER_MI * v for v in land.drawing["places"][line.spec["bank_from"]])
    feet = line.course.nearest_feet(x, y)
    start = next(i for i, d in enumerate(line.course.along) if d > feet)
    for k in range(start, len(line.course.stops) - 1, 60):
        piece = Course(line.course.stops[k : k + 61])
        if len(piece.stops) > 2:
            osm.ring(ribbon(piece, line.spec["width_ft"], f"bank {k}"), {"natural": "water", "water": "river"})


def _house(osm: OsmFile, home: Home) -> None:
    if home.driveway:
        refs = [osm.node(stop) for stop in home.driveway]
        osm.way(refs, {"highway": "service", "service": "driveway"} | ({"surface": "gravel"} if refs[0] % 2 else {}))
    if home.footprint and home.size_ft is not None:
        length, width, _ = home.size_ft
        kind = BUILDING_TAGS.get(home.occupancy, "yes") if home.number % 3 else "yes"
        osm.ring(rectangle(home.x, home.y, home.heading, length, width), {"building": kind})
        if home.occupancy == "farm":
            osm.ring(_barn(home), {"building": "barn"})


def _barn(home: Home) -> list[Stop]:
    """Set a barn behind a farm house, farther from the road."""
    away = home.heading + math.pi / 2 * (1 if home.number % 2 else -1)
    return rectangle(home.x + 130 * math.cos(away), home.y + 130 * math.sin(away), home.heading, 72, 38)
