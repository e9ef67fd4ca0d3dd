"""Roads of real and sample files for comparisons with other routers: ours by length, and the raw file read again."""

from __future__ import annotations

import bz2
import gzip
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np
import osmium

from preplan.records import FloatArray, IntArray, RoadLimits, RoadTable
from preplan.roads.barriers import part_at_barriers
from preplan.roads.limits import limits_of
from preplan.roads.network import UNLIMITED, RoadNetwork, Vehicle, build_network
from preplan.roads.search import Fleet, Spots, response_min
from preplan.roads.source import read_osm
from preplan.rules import RoadRules

SAMPLE_ROADS = Path(__file__).resolve().parents[1] / "data_samples" / "millrace" / "roads.osm.gz"

MOTOR_ROADS = frozenset({
    "motorway", "trunk", "primary", "secondary", "tertiary", "motorway_link", "trunk_link", "primary_link",
    "secondary_link", "tertiary_link", "unclassified", "residential", "living_street", "road", "service", "track",
})  # fmt: skip
"""Values of `highway` for motor vehicles (OpenStreetMap wiki, Key:highway), written down again for these tests."""


@dataclass(frozen=True, slots=True)
class At:
    """Spots by stretch and fraction."""

    segment: IntArray
    fraction: FloatArray


@dataclass(frozen=True, slots=True)
class ByLength:
    """The program's network, searched by length: turning, waiting, signs and gates cost nothing."""

    roads: RoadTable
    limits: RoadLimits
    network: RoadNetwork

    @classmethod
    def of(cls, roads: RoadTable, rules: RoadRules | None = None) -> ByLength:
        """Build the network as the program does, then take every cost but the length away."""
        rules = rules or RoadRules()
        roads, _ = part_at_barriers(roads, rules.bare_weight)
        limits, _ = limits_of(roads, rules)
        network = build_network(roads, limits, rules, np.zeros(len(roads.node_id)))
        free = replace(
            network,
            arc_min=np.zeros_like(network.arc_min),
            end_turn_min=np.where(np.isfinite(network.end_turn_min), 0.0, np.inf),
        )
        return cls(roads, limits, free)

    def fleet(self, vehicle: Vehicle = UNLIMITED) -> Fleet:
        """See the roads as a vehicle whose minutes are metres."""
        metres = np.repeat(self.roads.length_m[:, None], 2, axis=1)
        return Fleet.of(self.network, self.limits, metres, vehicle)

    def metres(self, starts: Sequence[int], goals: Sequence[int], vehicle: Vehicle = UNLIMITED) -> FloatArray:
        """Give the shortest way from each start to each goal (OSM ids of nodes), metres; inf: no way.

        A node is entered and left by any of its stretches: one spot for each, at the end that touches the node.
        """
        fleet = self.fleet(vehicle)
        where, whose = self._spots(starts)
        to, of_goal = self._spots(goals)
        by_spot = response_min(fleet, Spots.of(where), Spots.of(to))
        least = np.full((len(starts), len(goals)), np.inf)
        np.minimum.at(least, (whose[:, None], of_goal[None, :]), by_spot)
        return least

    def _spots(self, nodes: Sequence[int]) -> tuple[At, IntArray]:
        index = {int(node): i for i, node in enumerate(self.roads.node_id)}
        segment: list[int] = []
        fraction: list[float] = []
        whose: list[int] = []
        for k, node in enumerate(nodes):
            for end, share in ((self.roads.from_node, 0.0), (self.roads.to_node, 1.0)):
                for row in np.flatnonzero(end == index[node]).tolist():
                    segment.append(row)
                    fraction.append(share)
                    whose.append(k)
        return At(np.array(segment, dtype=np.int32), np.array(fraction)), np.array(whose, dtype=np.int32)


@dataclass(frozen=True, slots=True)
class PlainFile:
    """An OpenStreetMap XML file as the standard library reads it; nothing is interpreted."""

    place: dict[int, tuple[float, float]] = field(default_factory=dict)
    """lon, lat of each node."""
    node_tags: dict[int, dict[str, str]] = field(default_factory=dict)
    way_tags: dict[int, dict[str, str]] = field(default_factory=dict)
    way_nodes: dict[int, list[int]] = field(default_factory=dict)
    turns: list[tuple[str, int, int, int]] = field(default_factory=list)
    """Turn restrictions through a node: kind, from way, via node, to way."""

    @classmethod
    def read(cls, path: Path) -> PlainFile:
        """Read all nodes, the ways with a motor road's `highway`, and the turn restrictions."""
        found = cls()
        for thing in ET.fromstring(unpacked(path)):  # noqa: S314  our own sample and test data
            tags = {tag.attrib["k"]: tag.attrib["v"] for tag in thing.iter("tag")}
            number = int(thing.attrib.get("id", 0))
            if thing.tag == "node":
                found.place[number] = float(thing.attrib["lon"]), float(thing.attrib["lat"])
                found.node_tags[number] = tags
            elif thing.tag == "way" and tags.get("highway") in MOTOR_ROADS:
                found.way_tags[number] = tags
                found.way_nodes[number] = [int(nd.attrib["ref"]) for nd in thing.iter("nd")]
            elif thing.tag == "relation" and tags.get("type") == "restriction":
                members = {m.attrib["role"]: (m.attrib["type"], int(m.attrib["ref"])) for m in thing.iter("member")}
                if members.get("via", ("", 0))[0] == "node" and {"from", "to"} <= members.keys():
                    one, via, other = (members[role][1] for role in ("from", "via", "to"))
                    found.turns.append((tags.get("restriction", ""), one, via, other))
        return found


def unpacked(path: Path) -> bytes:
    """Give the bytes of a file, unpacked by its ending."""
    opener = {".bz2": bz2.decompress, ".gz": gzip.decompress}.get(path.suffix, bytes)
    return opener(path.read_bytes())


def for_tankers(tags: Mapping[str, str]) -> bool:
    """Say once more, in a few plain words, on which ways a loaded tanker is sent; signs it may pass."""
    if tags.get("highway") not in MOTOR_ROADS:
        return False
    if tags.get("service") in {"driveway", "parking_aisle", "drive-through"}:
        return False
    if tags.get("surface") in {"grass", "sand", "mud", "clay", "artificial_turf"}:
        return False
    if tags.get("smoothness") in {"very_bad", "horrible", "very_horrible", "impassable"}:
        return False
    if tags.get("abandoned") == "yes" or tags.get("disused") == "yes" or tags.get("barrier") in {"gate", "fence"}:
        return False
    if tags.get("access") == "no" and (tags.get("motor_vehicle") == "no" or "bridge" in tags):
        return False
    if tags["highway"] == "track":
        paved = tags.get("surface") in {"paved", "asphalt", "concrete"}
        return tags.get("tracktype") in {"grade1", "grade2", "grade3"} or paved
    return True


def world(path: Path, rules: RoadRules | None = None, *, turns: bool = True) -> ByLength:
    """Read a road file into the program's network by length, with or without its turn restrictions."""
    roads = read_osm(path)[0]
    return ByLength.of(roads if turns else replace(roads, restrictions=()), rules)


# ------------------------------------------------------------------ the same roads for two routers


SIGNS: Mapping[str, float] = {
    "16 st": 14.5150, "15 st": 13.6078, "10 st": 9.0718, "3 st": 2.7216, "24000 lbs": 10.8862, "2.5 t": 2.5,
    "10'0\"": 3.048, "10'5\"": 3.175, "13'11\"": 4.2418, "14'6\"": 4.4196,
}  # fmt: skip
"""Signs of these files in tonnes or metres, worked out by hand: 0.907185 t a short ton, 0.453592 kg a pound, 0.3048 m
a foot, 0.0254 m an inch. A bare number is tonnes or metres."""
LIMIT_KEYS = ("maxweight", "maxheight", "maxwidth")


def sign(text: str) -> float | None:
    """Read a sign in tonnes or metres; None where it limits nothing."""
    if text in SIGNS:
        return SIGNS[text]
    try:
        return float(text)
    except ValueError:
        return None


def prepare(path: Path, folder: Path) -> tuple[Path, Path]:
    """Write the roads for both routers: ids counted from 1, signs raw for ours, in tonnes and metres for theirs."""
    place: dict[int, tuple[float, float]] = {}
    ways: dict[int, tuple[dict[str, str], list[int]]] = {}
    turns: list[tuple[dict[str, str], list[tuple[str, int, str]]]] = []
    for thing in osmium.FileProcessor(str(path)).with_locations():
        tags = dict(thing.tags)
        if isinstance(thing, osmium.osm.Node):
            place[thing.id] = thing.location.lon, thing.location.lat
        elif isinstance(thing, osmium.osm.Way) and for_tankers(tags):
            ways[thing.id] = kept_tags(tags), [node.ref for node in thing.nodes]
        elif isinstance(thing, osmium.osm.Relation) and tags.get("type") == "restriction":
            turns.append((tags, [(member.type, member.ref, member.role) for member in thing.members]))
    nodes = sorted({node for _, refs in ways.values() for node in refs if node in place})
    number = {"n": {node: i for i, node in enumerate(nodes, 1)}, "w": {way: i for i, way in enumerate(ways, 1)}}
    head = [
        f'<node id="{i}" version="1" lat="{place[n][1]:.7f}" lon="{place[n][0]:.7f}"/>' for n, i in number["n"].items()
    ]
    tail = [
        f'<relation id="{i}" version="1">{members_xml(members, number)}{tags_xml(tags)}</relation>'
        for i, (tags, members) in enumerate(turns, 1)
        if all(ref in number.get(kind, {}) for kind, ref, _ in members)
    ]
    written = []
    for name, metric in (("ours", False), ("theirs", True)):
        body = [
            way_xml(number["w"][way], refs, in_metric(tags) if metric else tags, number["n"])
            for way, (tags, refs) in ways.items()
        ]
        target = folder / f"{name}.osm"
        target.write_text(
            "\n".join(['<?xml version="1.0" encoding="UTF-8"?>', '<osm version="0.6">', *head, *body, *tail, "</osm>"])
        )
        written.append(target)
    return written[0], written[1]


def kept_tags(tags: Mapping[str, str]) -> dict[str, str]:
    """Keep what this comparison is about; a track is named a road, for both would judge its ground."""
    kept = {key: tags[key] for key in ("highway", "oneway", "junction", *LIMIT_KEYS) if key in tags}
    highway = "unclassified" if kept["highway"] == "track" else kept["highway"]
    return {**kept, "highway": highway, "hgv": "yes"}


def in_metric(tags: Mapping[str, str]) -> dict[str, str]:
    """Write the signs in tonnes and metres, and leave out those that limit nothing."""
    read = {key: sign(tags[key]) for key in LIMIT_KEYS if key in tags}
    plain = {key: value for key, value in tags.items() if key not in LIMIT_KEYS}
    return plain | {key: f"{value:.4f}" for key, value in read.items() if value is not None}


def tags_xml(tags: Mapping[str, str]) -> str:
    """Write tags."""
    return "".join(f"<tag k={quoteattr(key)} v={quoteattr(value)}/>" for key, value in tags.items())


def way_xml(number: int, refs: list[int], tags: Mapping[str, str], node: Mapping[int, int]) -> str:
    """Write a way, without the nodes that the file does not hold."""
    points = "".join(f'<nd ref="{node[ref]}"/>' for ref in refs if ref in node)
    return f'<way id="{number}" version="1">{points}{tags_xml(tags)}</way>'


def members_xml(members: list[tuple[str, int, str]], number: Mapping[str, Mapping[int, int]]) -> str:
    """Write the members of a relation."""
    kinds = {"n": "node", "w": "way"}
    return "".join(f'<member type="{kinds[k]}" ref="{number[k][ref]}" role="{role}"/>' for k, ref, role in members)


@dataclass(frozen=True)
class Turns:
    """The turn restrictions of a raw file, through nodes."""

    banned: frozenset[tuple[int, int, int]]
    """From way, via node, to way."""
    only: Mapping[tuple[int, int], frozenset[int]]
    """From way, via node: the ways into which alone one may turn."""

    @classmethod
    def of(cls, plain: PlainFile) -> Turns:
        """Sort them."""
        only: dict[tuple[int, int], frozenset[int]] = {}
        for kind, one, via, other in plain.turns:
            if kind.startswith("only_"):
                only[one, via] = only.get((one, via), frozenset()) | {other}
        return cls(frozenset(turn[1:] for turn in plain.turns if turn[0].startswith("no_")), only)

    @cached_property
    def told(self) -> frozenset[tuple[int, int]]:
        """Where something is forbidden: from way, via node."""
        return frozenset([*self.only, *((one, via) for one, via, _ in self.banned)])

    def forbids(self, one: int, node: int, other: int) -> bool:
        """Tell whether going from one way through a node into another is forbidden."""
        return (one, node, other) in self.banned or other not in self.only.get((one, node), {other})
