"""Roads of real and sample files for comparisons with other routers: ours by length, and the file read again plainly."""

from __future__ import annotations

import bz2
import gzip
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from preplan.records import FloatArray, IntArray, RoadLimits, RoadTable
from preplan.roads.limits import limits_of
from preplan.roads.network import UNLIMITED, RoadNetwork, Vehicle, build_network
from preplan.roads.source import read_osm
from preplan.roads.trips import Fleet, Spots, response_min
from preplan.rules import RoadRules
from preplan.units import M_PER_MI

SAMPLE_ROADS = Path(__file__).resolve().parents[1] / "data_samples" / "millrace" / "roads.osm.gz"

MOTOR_ROADS = frozenset(
    "motorway trunk primary secondary tertiary motorway_link trunk_link primary_link secondary_link tertiary_link "
    "unclassified residential living_street road service track".split()
)
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

    @classmethod
    def read(cls, path: Path) -> PlainFile:
        """Read all nodes, and the ways with a motor road's `highway`."""
        found = cls()
        for thing in ET.fromstring(unpacked(path)):  # noqa: S314  our own sample and test data
            tags = {tag.attrib["k"]: tag.attrib["v"] for tag in thing.iter("tag")}
            if thing.tag == "node":
                number = int(thing.attrib["id"])
                found.place[number] = float(thing.attrib["lon"]), float(thing.attrib["lat"])
                found.node_tags[number] = tags
            elif thing.tag == "way" and tags.get("highway") in MOTOR_ROADS:
                number = int(thing.attrib["id"])
                found.way_tags[number] = tags
                found.way_nodes[number] = [int(nd.attrib["ref"]) for nd in thing.iter("nd")]
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
    if tags.get("surface") in {"grass", "sand", "mud", "clay"}:
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


def miles(metres: FloatArray) -> FloatArray:
    """Turn metres into miles."""
    return metres / M_PER_MI


def world(path: Path, rules: RoadRules | None = None, *, turns: bool = True) -> ByLength:
    """Read a road file into the program's network by length, with or without its turn restrictions."""
    roads = read_osm(path)[0]
    return ByLength.of(roads if turns else replace(roads, restrictions=()), rules)
