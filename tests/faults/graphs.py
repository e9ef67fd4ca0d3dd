"""Faults of a saved street graph."""

from __future__ import annotations

from collections.abc import Callable

from tests.faults.planting import Fault, Plant, half, road_file


def graph_text(nodes: str = "", edges: str = "", head: str = "") -> bytes:
    """Write a street graph in the form in which they are saved, two nodes and one road both ways."""
    own = "".join(
        f'<node id="{i}"><data key="d4">44.0</data><data key="d5">{-72.0 - 0.09 * (i - 1)}</data></node>'
        for i in (1, 2)
    )
    roads = "".join(
        f'<edge source="{a}" target="{b}" id="0"><data key="d7">10</data><data key="d8">tertiary</data>'
        '<data key="d9">Mill Road</data><data key="d11">False</data><data key="d13">7200.0</data></edge>'
        for a, b in ((1, 2), (2, 1))
    )
    keys = (
        ("d0", "graph", "crs", "string"), ("d4", "node", "y", "string"), ("d5", "node", "x", "string"),
        ("d7", "edge", "osmid", "string"), ("d8", "edge", "highway", "string"), ("d9", "edge", "name", "string"),
        ("d10", "edge", "geometry", "string"), ("d11", "edge", "oneway", "string"), ("d13", "edge", "length", "string"),
    )  # fmt: skip
    listed = "".join(f'<key id="{i}" for="{of}" attr.name="{n}" attr.type="{t}"/>' for i, of, n, t in keys)
    return (
        f'<?xml version="1.0"?>{head}<graphml xmlns="http://graphml.graphdrawing.org/xmlns">{listed}'
        f'<graph edgedefault="directed"><data key="d0">epsg:4326</data>{own}{nodes}{roads}{edges}</graph></graphml>'
    ).encode()


def graph(change: Callable[[bytes], bytes] = bytes, **parts: str) -> Plant:
    """Give the roads as a saved graph."""
    return road_file("roads.graphml", lambda _: change(graph_text(**parts)))


def _edge(data: str) -> str:
    return f'<edge source="1" target="2" id="1">{data}</edge>'


def _graph_bomb(content: bytes) -> bytes:
    doubled = "".join(f'<!ENTITY e{i} "&e{i - 1};&e{i - 1};">' for i in range(1, 31))
    head = f'<!DOCTYPE graphml [<!ENTITY e0 "boom">{doubled}]>'.encode()
    return content.replace(b"<graphml", head + b"<graphml", 1).replace(b"Mill Road", b"&e30;", 1)


GRAPHS = (
    Fault("a saved graph cut in half", 2, graph(half)),
    Fault("a saved graph that is a web page", 2, graph(lambda _: b"<html/>")),
    Fault("a saved graph of no bytes", 2, graph(lambda _: b"")),
    Fault("a saved graph without a coordinate system", 2, graph(lambda c: c.replace(
        b'<data key="d0">epsg:4326</data>', b""))),
    Fault("a saved graph of an unknown coordinate system", 2, graph(lambda c: c.replace(b"epsg:4326", b"epsg:99"))),
    Fault("a saved graph whose degrees are said to be metres", 2, graph(lambda c: c.replace(
        b"epsg:4326", b"epsg:3857"))),
    Fault("a saved graph with a node that has no place", 2, graph(nodes='<node id="3"/>')),
    Fault("a saved graph with a place that is no number", 2, graph(lambda c: c.replace(b">44.0<", b">nan<"))),
    Fault("a saved graph with a place beyond the pole", 2, graph(lambda c: c.replace(b">44.0<", b">444.0<"))),
    Fault("a saved graph with a road of no class", 2, graph(edges=_edge('<data key="d7">11</data>'))),
    Fault("a saved graph with a road of no id", 2, graph(edges=_edge('<data key="d8">track</data>'))),
    Fault("a saved graph whose line is no line", 2, graph(edges=_edge(
        '<data key="d7">12</data><data key="d8">track</data><data key="d10">LINESTRING (here, there)</data>'))),
    Fault("a saved graph whose line is a polygon", 2, graph(edges=_edge(
        '<data key="d7">12</data><data key="d8">track</data><data key="d10">POLYGON ((0 0, 1 0, 1 1, 0 0))</data>'))),
    Fault("a saved graph whose line is empty", 2, graph(edges=_edge(
        '<data key="d7">12</data><data key="d8">track</data><data key="d10">LINESTRING EMPTY</data>'))),
    Fault("a saved graph with a line of three dimensions", 0, graph(edges=_edge(
        '<data key="d7">12</data><data key="d8">track</data><data key="d11">False</data><data key="d13">9.0</data>'
        '<data key="d10">LINESTRING Z (-72.0 44.0 5, -72.04 44.001 6, -72.09 44.0 7)</data>'))),
    Fault("a saved graph whose id would be run as a program", 2, graph(edges=_edge(
        '<data key="d7">[__import__("os").system("touch ran")]</data><data key="d8">track</data>'))),
    Fault("a saved graph whose id is a thousand lists deep", 2, graph(edges=_edge(
        f'<data key="d7">{"[" * 1000}{"]" * 1000}</data><data key="d8">track</data>'))),
    Fault("a saved graph without a road", 2, graph(lambda c: c.replace(
        b"edge ", b"nope ").replace(b"/edge", b"/nope"))),
    Fault("a saved graph of paths", 2, graph(lambda c: c.replace(b"tertiary", b"footway"))),
    Fault("a saved graph that doubles itself thirty times", 2, graph(_graph_bomb)),
)  # fmt: skip
