"""Road distances against osmnx and networkx, road lengths against geodesics summed from the raw file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import networkx as nx
import numpy as np
import osmnx as ox
import pytest
from pyproj import Geod

from preplan.records import FloatArray
from preplan.roads.source import read_osm
from tests.shared_data import shared
from tests.world_routes import SAMPLE_ROADS, PlainFile, for_tankers, unpacked, world

WGS84 = Geod(ellps="WGS84")
SPHERE_TOLERANCE = 0.005
"""osmnx measures on a sphere, which differs by so much from the ellipsoid at the most."""
SAME_TOLERANCE = 1e-9
"""Over the same geodesics two shortest ways differ by no more than rounding."""
ORIGINS, GOALS, SEED = 12, 12, 20260501
LEAST_PAIRS = 80
"""Pairs with a way between them that each file must give, so the five give over 300."""


@dataclass(frozen=True)
class Case:
    """One road file, and the ways that the plain filter lets pass and the program closes, with the reason."""

    name: str
    parts: tuple[str, ...] = ()
    closed: Mapping[int, str] = field(default_factory=dict)

    def path(self) -> Path:
        """Find the file, or skip."""
        return shared(*self.parts) if self.parts else SAMPLE_ROADS


CASES = (
    Case("sample"),
    Case("nv_beatty", ("osm", "nv_beatty.osm.bz2")),
    Case("ca_felton", ("osm", "ca_felton.osm.bz2")),
    Case("nm_taos_forest", ("osm", "nm_taos_forest.osm.bz2")),
    Case(
        "vt_essex_north",
        ("osm", "vt_essex_north.osm.bz2"),
        {
            19689980: "a covered bridge with hgv=no: no sign on a bridge is passed",
            1147211859: "access=no behind a gate: nobody lets a tanker through",
        },
    ),
)
READ_TAGS = (
    "highway", "service", "surface", "smoothness", "tracktype", "abandoned", "disused", "barrier", "access",
    "motor_vehicle", "bridge", "oneway", "junction",
)  # fmt: skip


def their_graph(path: Path, folder: Path, closed: Mapping[int, str]) -> nx.MultiDiGraph[int]:
    """Read the file with osmnx, keep the ways for tankers, and put geodesic lengths beside its own."""
    plain = folder / "roads.osm"
    plain.write_bytes(unpacked(path))
    graph: nx.MultiDiGraph[int] = ox.graph_from_xml(plain, simplify=False, retain_all=True)
    away = [
        (u, v, k) for u, v, k, tags in graph.edges(keys=True, data=True)
        if not for_tankers(tags) or tags["osmid"] in closed
    ]  # fmt: skip
    graph.remove_edges_from(away)
    edges = list(graph.edges(data=True))
    ends = np.array([[graph.nodes[n][axis] for u, v, _ in edges for n in (u, v)] for axis in "xy"]).reshape(2, -1, 2)
    lengths = WGS84.inv(ends[0, :, 0], ends[1, :, 0], ends[0, :, 1], ends[1, :, 1])[2]
    for (_, _, tags), metres in zip(edges, lengths.tolist(), strict=True):
        tags["geodesic"] = metres
    return graph


def their_metres(graph: nx.MultiDiGraph[int], starts: list[int], goals: list[int], weight: str) -> FloatArray:
    """Search from each start; inf: no way."""
    rows = []
    for start in starts:
        reached = nx.single_source_dijkstra_path_length(graph, start, weight=weight)
        rows.append([reached.get(goal, np.inf) for goal in goals])
    return np.array(rows, dtype=np.float64)


def junctions(graph: nx.MultiDiGraph[int]) -> list[int]:
    """List the nodes where three or more roads meet."""
    around = nx.Graph(graph.to_undirected(as_view=True))
    return sorted(node for node in around if around.degree(node) > 2)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_shortest_ways_equal_those_of_an_independent_library(
    case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every pair of junctions: same reachability, same metres on geodesics, half a per cent on osmnx's sphere."""
    monkeypatch.setattr(ox.settings, "useful_tags_way", list(READ_TAGS))
    graph = their_graph(case.path(), tmp_path, case.closed)
    ours = world(case.path(), turns=False)
    where = junctions(graph)
    assert np.isin(where, ours.roads.node_id).all(), "every junction of the raw file is one of ours"
    random = np.random.default_rng(SEED)
    starts = random.choice(where, ORIGINS, replace=False).tolist()
    goals = random.choice(where, GOALS, replace=False).tolist()
    mine = ours.metres(starts, goals)
    theirs = their_metres(graph, starts, goals, "geodesic")
    sphere = their_metres(graph, starts, goals, "length")
    assert (np.isfinite(mine) == np.isfinite(theirs)).all()
    apart = np.isfinite(mine) & (theirs > 0.0)
    ratio, on_sphere = mine[apart] / theirs[apart], mine[apart] / sphere[apart]
    print(  # noqa: T201  seen with -s
        f"\n{case.name}: {apart.sum()} pairs of {len(where)} junctions, ours/theirs median {np.median(ratio):.9f}, "
        f"largest {ratio.max():.9f}; on osmnx's sphere median {np.median(on_sphere):.5f}, "
        f"{on_sphere.min():.5f} to {on_sphere.max():.5f}"
    )
    assert apart.sum() >= LEAST_PAIRS
    assert ratio == pytest.approx(1.0, abs=SAME_TOLERANCE)
    assert on_sphere == pytest.approx(1.0, abs=SPHERE_TOLERANCE)
    # turn restrictions take turns away: no way gets shorter by them
    assert (world(case.path()).metres(starts, goals) >= mine * (1.0 - SAME_TOLERANCE)).all()


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_program_opens_the_ways_that_a_plain_reading_opens(case: Case) -> None:
    """Way by way: whatever differs is listed with its reason, and the list holds nothing else."""
    ours = world(case.path(), turns=False)
    plain = PlainFile.read(case.path())
    here = set(ours.roads.way_id.tolist())
    drivable = ours.limits.tanker_road & (ours.limits.forward_open | ours.limits.backward_open)
    opened = set(ours.roads.way_id[drivable].tolist())
    expected = {way for way, tags in plain.way_tags.items() if for_tankers(tags)} & here
    assert opened - expected == set()
    assert expected - opened == set(case.closed)


MEASURED = (
    (),
    ("osm", "nv_beatty.osm.bz2"),
    ("osm", "ca_felton.osm.bz2"),
    ("osm", "nm_taos_forest.osm.bz2"),
    ("osm", "nh_hudson.osm.bz2"),
    ("districts", "vt_essex_south", "roads.osm.bz2"),
    ("districts", "usvi_st_john", "roads.osm.bz2"),
)


@pytest.mark.parametrize("parts", MEASURED, ids=lambda parts: "/".join(parts[-2:]) or "sample")
def test_road_lengths_equal_geodesics_summed_from_the_raw_file(parts: tuple[str, ...]) -> None:
    """Way by way, the stretches add up to the geodesics between the way's points; no piece is lost or counted twice."""
    path = shared(*parts) if parts else SAMPLE_ROADS
    plain = PlainFile.read(path)
    roads = read_osm(path)[0]
    ours: dict[int, float] = {}
    for way, metres in zip(roads.way_id.tolist(), roads.length_m.tolist(), strict=True):
        ours[way] = ours.get(way, 0.0) + metres
    expected = {way: way_metres(plain, nodes) for way, nodes in plain.way_nodes.items()}
    assert set(ours) <= set(expected)
    assert {way for way, metres in expected.items() if metres > 0.0} <= set(ours)
    for way, metres in ours.items():
        assert metres == pytest.approx(expected[way], rel=1e-6), way
    print(f"\n{'/'.join(parts) or 'sample'}: {len(ours)} ways, {sum(ours.values()) / 1e3:.1f} km")  # noqa: T201


def way_metres(plain: PlainFile, nodes: list[int]) -> float:
    """Sum the geodesics between neighbours of a way that the file holds both."""
    total = 0.0
    for one, other in pairwise(nodes):
        if one in plain.place and other in plain.place:
            total += WGS84.inv(*plain.place[one], *plain.place[other])[2]
    return total
