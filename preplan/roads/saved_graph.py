"""A street graph as osmnx builds and saves it -> RoadTable: one row for each undirected stretch.

In such a graph a two-way road is two edges, a one-way road runs in its direction of travel (`oneway=-1` has been
turned round already), tags that differ along a simplified edge are lists, and turn restrictions are lost.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from preplan.records import RoadTable
from preplan.roads.limit_pieces import with_limit_pieces
from preplan.roads.stretches import DRIVABLE, MERGED_WAYS, ROAD_CLASSES, Ways, node_matters, road_table

if TYPE_CHECKING:
    import networkx as nx  # slow to import, and most roads come from files of another kind

Coords: TypeAlias = tuple[tuple[float, float], ...]
_LEAST_POINTS = 2
EDGE_OF_DATA = "edge_of_data"
"""Attribute of nodes that lie outside the area of a download."""
_NOT_TAGS = frozenset({
    "osmid", "length", "geometry", "reversed", "oneway", "id", "from", "to", "key", "speed_kph", "travel_time",
    "bearing", "grade", "grade_abs", "elevation", "elevation_res", "street_count", "x", "y", "lon", "lat",
    EDGE_OF_DATA,
})  # fmt: skip
_ONE_WAY = frozenset({"True", "true", "yes", "1", "-1", "reverse", "T", "F"})


@dataclass(frozen=True, slots=True)
class _Edge:
    """One road of the graph, once."""

    way_id: int
    nodes: tuple[int, int]
    coords: Coords
    tags: tuple[tuple[str, str], ...]


def roads_of_graph(graph: nx.MultiDiGraph[int]) -> RoadTable:
    """Turn a graph with node attributes x, y in degrees (and, where simplified, edge `geometry`) into rows.

    Edges of one way are joined between junctions. A node with fewer streets than its `street_count` lies at the
    edge of the download. `newest` is the date at which the graph was downloaded.

    Raises
    ------
    KeyError
        If a node lacks x or y, or an edge osmid or highway.
    ValueError
        If a node lies nowhere on earth, or an edge's geometry is no line.
    """
    edges = list(_edges(graph))
    cut = _cut_nodes(graph, edges)
    lines = list(_lines(edges))
    points = [point for _, _, line in lines for point in line]
    counts = [len(line) for _, _, line in lines]
    ways = Ways(
        way_id=np.array([way for way, _, _ in lines], dtype=np.int64),
        tags=tuple(dict(tags) for _, tags, _ in lines),
        start=np.concatenate([[0], np.cumsum(counts)]).astype(np.int32),
        node_id=np.array([node for node, _, _ in points], dtype=np.int64),
        lon=np.array([lon for _, lon, _ in points]),
        lat=np.array([lat for _, _, lat in points]),
        node_tags=_node_tags(graph),
        cut_nodes=cut,
    )
    return road_table(with_limit_pieces(ways), newest=str(graph.graph.get("created_date", ""))[:10])


def _edges(graph: nx.MultiDiGraph[int]) -> Iterator[_Edge]:
    """List every road once, two-way ones in the direction of the way where the graph still knows it."""
    place = {node: (float(data["x"]), float(data["y"])) for node, data in graph.nodes(data=True)}
    for node, point in place.items():
        _check_place(f"node {node}", point)
    seen: set[tuple[object, ...]] = set()
    # edges along their way come first, so that the edge dropped as a duplicate is the one against it
    rows = sorted(graph.edges(data=True), key=lambda row: _first(row[2].get("reversed", False)) in {True, "True"})
    for u, v, data in rows:
        line = data.get("geometry")
        coords: Coords = _points(line) if line is not None else (place[u], place[v])
        osmids = _listed(data["osmid"])
        key = (frozenset((u, v)), frozenset(osmids), min(coords, coords[::-1]))
        if key not in seen:
            seen.add(key)
            yield _Edge(int(osmids[0]), (u, v), coords, _tags(data))


def _points(line: Any) -> Coords:
    """Take a line apart; heights are left out."""
    points = tuple((float(point[0]), float(point[1])) for point in line.coords)
    if len(points) < _LEAST_POINTS:
        raise ValueError("an edge whose geometry is no line")
    for point in points:
        _check_place("a point of an edge", point)
    return points


def _check_place(what: str, point: tuple[float, float]) -> None:
    """Refuse what lies nowhere on earth; NaN is below nothing."""
    if not (abs(point[0]) <= 180.0 and abs(point[1]) <= 90.0):
        raise ValueError(f"{what} lies at {point[0]}, {point[1]}, which is nowhere on earth")


def _tags(data: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Turn edge attributes back into tags; a list of a merged edge into values with ';' between."""
    tags = {
        str(key): ";".join(str(one) for one in _listed(value))
        for key, value in data.items() if key not in _NOT_TAGS and value is not None
    }  # fmt: skip
    classes = [str(one) for one in _listed(data["highway"])]
    # where a simplified edge spans several classes, the least of them counts: the careful reading
    known = [one for one in ROAD_CLASSES if one in classes]
    tags["highway"] = known[-1] if len(known) == len(set(classes)) else ";".join(classes)
    if any(str(one) in _ONE_WAY for one in _listed(data.get("oneway", False))):
        tags["oneway"] = "yes"
    if len(ways := _listed(data["osmid"])) > 1:
        tags[MERGED_WAYS] = ";".join(str(way) for way in ways)
    return tuple(sorted(tags.items()))


def _cut_nodes(graph: nx.MultiDiGraph[int], edges: Iterable[_Edge]) -> frozenset[int]:
    """Find nodes that have lost a street at the edge of the download."""
    degree = Counter(node for edge in edges for node in edge.nodes)
    return frozenset(
        node
        for node, data in graph.nodes(data=True)
        if degree[node] < int(data.get("street_count", 0)) or EDGE_OF_DATA in data
    )


def _lines(
    edges: Iterable[_Edge],
) -> Iterator[tuple[int, tuple[tuple[str, str], ...], list[tuple[int, float, float]]]]:
    """Join the edges of each drivable way to lines of (node, lon, lat)."""
    by_way: dict[tuple[int, tuple[tuple[str, str], ...]], list[_Edge]] = defaultdict(list)
    for edge in edges:
        if dict(edge.tags)["highway"] in DRIVABLE:
            by_way[edge.way_id, edge.tags].append(edge)
    unnamed = -1
    for (way, tags), members in sorted(by_way.items()):
        for chain in _chains(members):
            line = [(chain[0].nodes[0], *chain[0].coords[0][:2])]
            for edge in chain:
                for lon, lat in edge.coords[1:-1]:
                    line.append((unnamed, lon, lat))
                    unnamed -= 1
                line.append((edge.nodes[1], *edge.coords[-1][:2]))
            yield way, tags, line


def _chains(edges: list[_Edge]) -> Iterator[list[_Edge]]:
    """Join edges head to tail wherever exactly one comes in and one goes out; a ring starts at its least node."""
    leaving: dict[int, list[_Edge]] = defaultdict(list)
    entering: Counter[int] = Counter()
    for edge in sorted(edges, key=lambda one: (one.nodes, one.coords)):
        leaving[edge.nodes[0]].append(edge)
        entering[edge.nodes[1]] += 1
    through = {node for node, out in leaving.items() if len(out) == 1 and entering[node] == 1}
    starts = [node for node in leaving if node not in through] + sorted(through)
    used: set[int] = set()
    for start in starts:
        for edge in leaving[start]:
            chain: list[_Edge] = []
            while id(edge) not in used:
                used.add(id(edge))
                chain.append(edge)
                if edge.nodes[1] not in through:
                    break
                edge = leaving[edge.nodes[1]][0]  # noqa: PLW2901
            if chain:
                yield chain


def _node_tags(graph: nx.MultiDiGraph[int]) -> dict[int, dict[str, str]]:
    tags = {
        node: {str(key): str(value) for key, value in data.items() if key not in _NOT_TAGS}
        for node, data in graph.nodes(data=True)
    }
    return {node: one for node, one in tags.items() if node_matters(one)}


def _listed(value: Any) -> list[Any]:
    return list(value) if isinstance(value, list | tuple | set) else [value]


def _first(value: Any) -> Any:
    return _listed(value)[0]
