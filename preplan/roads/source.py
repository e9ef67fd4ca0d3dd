"""Where roads come from: an OpenStreetMap file, a saved graph, or a download -> RoadTable and FeatureTable."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import socket
import urllib.error
import urllib.request
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import ParseError

import numpy as np

from preplan.errors import Finding, InputError, unreadable
from preplan.plan_inputs import RoadSource
from preplan.records import FeatureTable, FloatArray, RoadTable
from preplan.roads.access import NODE_KEYS, WAY_KEYS
from preplan.roads.osm_file import MOST_BYTES, check_memory, check_osm_file, read_osm_file
from preplan.roads.projection import projection_of
from preplan.roads.saved_graph import EDGE_OF_DATA, roads_of_graph
from preplan.roads.stretches import DRIVABLE
from preplan.units import M_PER_MI

if TYPE_CHECKING:
    import networkx as nx
    from shapely import Polygon

_HEAD_BYTES = 100_000
"""Where a saved graph must have begun."""
_MOST_SAID = 300
"""Letters of a library's words that are worth repeating."""
_STATUS_TIMEOUT_S = 10.0
_USE_A_FILE = "try again later, or give an OpenStreetMap extract as [roads] file"


def read_roads(source: RoadSource, cache: Path) -> tuple[RoadTable, FeatureTable]:
    """Read roads and features as the district file says; a download is kept in the folder `cache`.

    A saved graph and a download hold roads only: their FeatureTable is empty.

    Raises
    ------
    InputError
        If the source is missing, unreadable or holds no road, or the download fails.
    """
    if source.file is not None:
        if source.alone:
            return read_graphml(source.file), FeatureTable()
        return read_osm(source.file)
    if not source.download or source.boundary is None:
        rule = "names neither a road file nor a download inside a boundary"
        remedy = "give [roads] file, or [roads] download = true and [district] boundary"
        raise InputError([Finding(file="district.toml", column="roads", rule=rule, remedy=remedy)])
    return download_roads(source.boundary, source.buffer_mi, cache), FeatureTable()


def check_road_file(path: Path) -> None:
    """Refuse a road file that is missing, of no known kind, or too large, before anybody reads a byte of it.

    Raises
    ------
    InputError
        If it is, or may not be read.
    """
    check = _check_graph if path.name.lower().endswith(".graphml") else check_osm_file
    try:
        check(path)
        with path.open("rb"):
            pass
    except OSError as error:
        raise InputError([unreadable(path.name, error)]) from error


def read_osm(path: Path) -> tuple[RoadTable, FeatureTable]:
    """Read an OpenStreetMap file (.osm, .osm.gz, .osm.bz2, .osm.pbf).

    Raises
    ------
    InputError
        If the file is missing, cut short, damaged, no OpenStreetMap file, over 2 GB, or holds no road.
    """
    return read_osm_file(path)


def read_graphml(path: Path) -> RoadTable:
    """Read a street graph saved as GraphML by osmnx, simplified or not.

    Raises
    ------
    InputError
        If the file is missing, over 2 GB, no such graph, or holds no road.
    """
    import networkx as nx  # noqa: PLC0415
    import osmnx as ox  # noqa: PLC0415  two seconds that `preplan --help` need not wait
    from pyproj.exceptions import ProjError  # noqa: PLC0415
    from shapely.errors import ShapelyError  # noqa: PLC0415

    _check_graph(path)
    faults = (
        KeyError, TypeError, ValueError, AttributeError, IndexError, OverflowError, RecursionError,
        NotImplementedError, MemoryError, ParseError, nx.NetworkXError, ProjError, ShapelyError,
    )  # fmt: skip
    try:
        # tags stay text: `oneway` of a graph built with osmnx's all_oneway is the raw tag
        with warnings.catch_warnings():  # what its keys lack is checked by what is made of them
            warnings.simplefilter("ignore")
            graph = ox.load_graphml(path, edge_dtypes={"oneway": str, "reversed": str})
        roads = roads_of_graph(_in_degrees(graph))
    except faults as error:
        rule = "means that this is no street graph saved as GraphML by osmnx, or that it is cut short"
        said = f"{type(error).__name__}: {error}"[:_MOST_SAID]
        raise InputError([Finding(file=path.name, value=said, rule=rule, remedy="save it again")]) from error
    if not len(roads):
        remedy = "save a graph with roads for motor vehicles"
        raise InputError([Finding(file=path.name, rule="holds no road that a vehicle may drive", remedy=remedy)])
    return roads


def _check_graph(path: Path) -> None:
    """Refuse a saved graph that is not there, or too large."""
    alone = "save a graph of the district alone"
    if not path.is_file():
        remedy = "check [roads] file in the district file"
        raise InputError([Finding(file=path.name, rule="is not there", remedy=remedy)])
    if path.stat().st_size > MOST_BYTES:
        raise InputError([Finding(file=path.name, rule="is over 2 GB", remedy=alone)])
    check_memory(path, alone)
    with path.open("rb") as file:
        head = file.read(_HEAD_BYTES)
    root = head.find(b"<graphml")
    if root < 0:
        raise InputError([Finding(file=path.name, rule="is no saved street graph (GraphML)", remedy=alone)])
    if b"<!DOCTYPE" in head[:root]:
        rule = "declares texts that stand for others, which no saved street graph does"
        raise InputError([Finding(file=path.name, rule=rule, remedy="do not trust it; save a graph again")])


def _in_degrees(graph: nx.MultiDiGraph[int]) -> nx.MultiDiGraph[int]:
    """Bring a graph that was saved projected back to lon, lat; without a CRS it cannot be placed."""
    import osmnx as ox  # noqa: PLC0415

    if "crs" not in graph.graph:
        raise KeyError("crs")
    return ox.project_graph(graph, to_latlong=True)


def download_roads(
    boundary_ring: FloatArray, buffer_mi: float, cache: Path, *, overpass_url: str | None = None
) -> RoadTable:
    """Download the roads within `buffer_mi` miles of a boundary, or take them from the folder `cache`.

    Parameters
    ----------
    boundary_ring
        Shape (n, 2): lon, lat of the district's boundary.
    buffer_mi
        How far beyond the boundary roads are fetched, mi.
    cache
        Folder in which the download is kept as GraphML; an equal request is never made twice.
    overpass_url
        Address of an Overpass API, without '/interpreter'; None: the one osmnx names.

    Raises
    ------
    InputError
        If the server cannot be reached, refuses, or has no road there.
    """
    kept = cache / f"roads-{_request_key(boundary_ring, buffer_mi)}.graphml"
    if not kept.exists():
        graph = _download(boundary_ring, buffer_mi, overpass_url)
        _save(graph, kept)
    return read_graphml(kept)


def _request_key(boundary_ring: FloatArray, buffer_mi: float) -> str:
    """Name a request: another boundary, buffer or list of tags is another download."""
    asked = [boundary_ring.round(7).tolist(), buffer_mi, sorted(DRIVABLE), WAY_KEYS, NODE_KEYS]
    return hashlib.sha256(json.dumps(asked).encode()).hexdigest()[:16]


def _download(boundary_ring: FloatArray, buffer_mi: float, overpass_url: str | None) -> nx.MultiDiGraph[int]:
    """Ask the server, every limit tag included; every fault becomes a finding."""
    import osmnx as ox  # noqa: PLC0415
    from shapely import Point  # noqa: PLC0415

    url = overpass_url or ox.settings.overpass_url
    _check_server(url)
    classes = "|".join(sorted(DRIVABLE))
    area = _buffered(boundary_ring, buffer_mi)
    try:
        with _osmnx_settings(url):
            graph = ox.graph_from_polygon(
                area, simplify=False, retain_all=True, truncate_by_edge=True,
                custom_filter=f'["highway"~"^({classes})$"]',
            )  # fmt: skip
    except (ValueError, OSError, KeyError) as error:  # requests' errors are OSError, osmnx's are ValueError
        finding = Finding(file=url, value=str(error), rule="is all that came of the road download", remedy=_USE_A_FILE)
        raise InputError([finding]) from error
    # the first node outside is kept to finish its stretch; the road goes on where the download ends
    for _, data in graph.nodes(data=True):
        if not area.covers(Point(data["x"], data["y"])):
            data[EDGE_OF_DATA] = "yes"
    return graph


def _buffered(boundary_ring: FloatArray, buffer_mi: float) -> Polygon:
    """Widen the boundary in a projected CRS, never in degrees."""
    import shapely  # noqa: PLC0415

    flat = projection_of(boundary_ring[:, 0], boundary_ring[:, 1])
    ring = shapely.Polygon(np.column_stack(flat.forward(boundary_ring[:, 0], boundary_ring[:, 1])))
    # a boundary that crosses itself is taken as its hull: too much road does no harm
    wide = ring if ring.is_valid else shapely.convex_hull(ring)
    outline = shapely.get_coordinates(wide.buffer(buffer_mi * M_PER_MI).exterior)
    return shapely.Polygon(np.column_stack(flat.inverse(outline[:, 0], outline[:, 1])))


def _check_server(url: str) -> None:
    """Ask for the server's status first: osmnx waits a minute before it says that there is no server."""
    if not url.startswith(("https://", "http://")):
        raise InputError([Finding(file=url, rule="is no web address", remedy=_USE_A_FILE)])
    try:
        with urllib.request.urlopen(f"{url.rstrip('/')}/status", timeout=_STATUS_TIMEOUT_S):  # noqa: S310
            pass
    except urllib.error.HTTPError:
        return  # it is there; the request itself will tell what it thinks of us
    except OSError as error:
        rule = "means that the road server cannot be reached"
        raise InputError([Finding(file=url, value=str(error), rule=rule, remedy=_USE_A_FILE)]) from error


def _refuse_partial(response: Any, *_: Any, **__: Any) -> None:
    """Raise ValueError where the server ran out of time or memory: it then sends the roads it has, with a remark."""
    if response.request.method == "POST" and response.ok and (remark := response.json().get("remark")):
        raise ValueError(f"incomplete answer: {remark}")


@contextlib.contextmanager
def _osmnx_settings(url: str) -> Iterator[None]:
    """Set osmnx's global settings for one download and put all of them back, its patched resolver too."""
    import osmnx as ox  # noqa: PLC0415

    ours: dict[str, Any] = {
        "overpass_url": url,
        "use_cache": False,
        "doh_url_template": None,
        "requests_kwargs": {**ox.settings.requests_kwargs, "hooks": {"response": _refuse_partial}},
        "all_oneway": False,
        "useful_tags_way": list(WAY_KEYS),
        "useful_tags_node": list(NODE_KEYS),
    }
    before = {name: getattr(ox.settings, name) for name in ours}
    resolver = socket.getaddrinfo
    try:
        for name, value in ours.items():
            setattr(ox.settings, name, value)
        yield
    finally:
        for name, value in before.items():
            setattr(ox.settings, name, value)
        socket.getaddrinfo = resolver


def _save(graph: nx.MultiDiGraph[int], path: Path) -> None:
    """Write beside and rename: an interrupted run leaves no half graph."""
    import osmnx as ox  # noqa: PLC0415

    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        ox.save_graphml(graph, part)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
