"""Faults of the road file."""

from __future__ import annotations

import bz2
import os
import tempfile
from collections.abc import Callable
from pathlib import Path

import osmium

from tests.faults.planting import (
    TOO_LARGE_BYTES,
    Fault,
    Plant,
    after,
    both,
    gz,
    half,
    lane,
    mill,
    more,
    road_file,
    swap,
    table,
    xml,
)
from tests.osm_text import OsmText


def _restricted(kind: str, via: list[tuple[str, int, str]], **tags: str) -> Plant:
    members = [("way", 10, "from"), *via, ("way", 11, "to")]
    return more(lambda text: text.relation(1, members, {"type": "restriction", "restriction": kind, **tags}))


def _far_roads(lon: float, lat: float) -> Plant:
    """Draw the same roads somewhere else."""
    return xml(lambda text: text.replace('lat="44.0', f'lat="{lat}').replace('lon="-7', f'lon="{lon}'))


def _pbf(content: bytes) -> bytes:
    """Write the same roads as PBF."""
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "roads.osm", Path(folder) / "roads.osm.pbf"
        source.write_bytes(content)
        with osmium.SimpleWriter(str(target)) as writer:
            for thing in osmium.FileProcessor(str(source)):
                writer.add(thing)
        return target.read_bytes()


def _bomb(content: bytes) -> bytes:
    """Declare a text that doubles thirty times, and name it in a tag."""
    doubled = "".join(f'<!ENTITY e{i} "&e{i - 1};&e{i - 1};">' for i in range(1, 31))
    head = f'<!DOCTYPE osm [<!ENTITY e0 "boom">{doubled}]>'
    text = content.decode()
    return text.replace("<osm", f"{head}\n<osm", 1).replace("Mill Road", "&e30;").encode()


def _outside_entity(content: bytes) -> bytes:
    text = content.decode()
    head = '<!DOCTYPE osm [<!ENTITY e SYSTEM "district.toml">]>'
    return text.replace("<osm", f"{head}\n<osm", 1).replace("Mill Road", "&e;").encode()


def _large_building(text: OsmText) -> None:
    for i, (lon, lat) in enumerate([(-72.01, 44.0003), (-72.0095, 44.0006), (-72.0095, 44.0003), (-72.01, 44.0006)]):
        text.node(30 + i, lon, lat)
    text.way(40, [30, 31, 32, 33, 30], {"building": "yes"})
    text.way(41, [30, 31, 30], {"building": "yes"})
    text.way(42, [30, 31, 99, 32], {"natural": "water"})
    text.relation(43, [("way", 42, "outer"), ("way", 77, "outer"), ("relation", 43, "outer")],
                  {"type": "multipolygon", "natural": "water"})  # fmt: skip


def _island(length: int) -> Callable[[OsmText], object]:
    """Draw a road that joins no other, past a point of its own."""

    def draw(text: OsmText) -> None:
        for i in range(length):
            text.node(50 + i, -72.05 - 0.01 * i, 43.99)
        text.way(44, [50 + i for i in range(length)], {"highway": "residential", "name": "Island Road"})

    return draw


def _many_tags(text: OsmText) -> None:
    tags = "".join(f'<tag k="k{i}" v="v"/>' for i in range(1_000_000))
    text.parts.append(f'<way id="45" version="1"><nd ref="1"/><nd ref="2"/><tag k="highway" v="track"/>{tags}</way>')


def _touched(path: Path) -> Path:
    path.touch()
    return path


def _ways_first(text: str) -> str:
    head, *parts = text.splitlines()
    ways = [part for part in parts if part.startswith("<way")]
    rest = [part for part in parts if part not in ways and part != "</osm>" and not part.startswith("<osm")]
    top = next(part for part in parts if part.startswith("<osm"))
    return "\n".join([head, top, *ways, *rest, "</osm>"])


ROADS = (
    Fault("roads cut in half", 2, road_file("half.osm", half)),
    Fault("packed roads cut in half", 2, road_file("half.osm.gz", lambda c: half(gz(c)))),
    Fault("bzip2 roads cut in half", 2, road_file("half.osm.bz2", lambda c: half(bz2.compress(c)))),
    Fault("PBF roads cut in half", 2, road_file("half.osm.pbf", lambda c: half(_pbf(c)))),
    Fault("roads whose name says gzip and whose bytes do not: read as they are", 0, road_file("roads.osm.gz", bytes)),
    Fault("gzip under the name of plain text", 2, road_file("packed.osm", gz)),
    Fault("bzip2 under the name of gzip", 2, road_file("roads.osm.gz", bz2.compress)),
    Fault("gzip twice", 2, road_file("roads.osm.gz", lambda c: gz(gz(c)))),
    Fault("gzip in two pieces: both are read", 0, road_file("two.osm.gz", lambda c: gz(c[:200]) + gz(c[200:]))),
    Fault("gzip with a wrong sum", 2, road_file("sum.osm.gz", lambda c: gz(c)[:-8] + bytes(8))),
    Fault("gzip of nothing", 2, road_file("none.osm.gz", lambda _: gz(b""))),
    Fault("PBF with a byte changed", 2, road_file("r.osm.pbf", lambda c: _pbf(c)[:90] + b"\xff" + _pbf(c)[91:])),
    Fault("PBF that is text", 2, road_file("text.osm.pbf", bytes)),
    Fault("PBF that promises a block of two billion bytes", 2,
          road_file("long.osm.pbf", lambda _: b"\x7f\xff\xff\xf0\x0a\x09OSMHeader\x18\x7f")),
    Fault("a web page", 2, road_file("page.osm", lambda _: b"<html><body>Not found</body></html>")),
    Fault("a change file", 2, road_file("change.osm", lambda c: c.replace(b"<osm ", b"<osmChange ").replace(
        b"</osm>", b"</osmChange>"))),
    Fault("JSON of a road server", 2, road_file("roads.osm", lambda _: b'{"version": 0.6, "elements": []}')),
    Fault("a track of a receiver", 2, road_file("roads.osm", lambda _: b'<?xml version="1.0"?><gpx version="1.1"/>')),
    Fault("version 0.5 of the format", 2, xml(lambda t: t.replace('version="0.6"', 'version="0.5"'))),
    Fault("an empty road file", 2, road_file("roads.osm", lambda _: b"")),
    Fault("zeros", 2, road_file("zeros.osm", lambda _: bytes(4096))),
    Fault("a road file of blanks", 2, road_file("blank.osm", lambda _: b" \n" * 500)),
    Fault("a road file without an object", 2, road_file("r.osm", lambda _: b"<osm version='0.6'></osm>")),
    Fault("roads of no known kind of file", 2, road_file("roads.shp", bytes)),
    Fault("a road file that is a folder", 2, both(lambda d: d.files.update({"roads.osm": None}), after(
        lambda f: (f / "roads.osm").mkdir()))),
    Fault("a road file that is not there", 2, lambda d: d.files.update({"roads.osm": None})),
    Fault("a road file that links to itself", 2, both(lambda d: d.files.update({"roads.osm": None}), after(
        lambda f: (f / "roads.osm").symlink_to("roads.osm")))),
    Fault("a road file that never ends", 2, both(lambda d: d.files.update({"roads.osm": None}), after(
        lambda f: (f / "roads.osm").symlink_to("/dev/zero")))),
    Fault("a road file of a planet's size", 2, both(swap('"roads.osm"', '"planet.osm.pbf"'), after(
        lambda f: os.truncate(_touched(f / "planet.osm.pbf"), TOO_LARGE_BYTES)))),
    Fault("XML that doubles itself thirty times", 2, road_file("bomb.osm", _bomb)),
    Fault("XML that asks for another file", 2, road_file("outside.osm", _outside_entity)),
    Fault("XML with a zero byte", 2, xml(lambda t: t.replace("Mill", "Mi\0ll"))),
    Fault("XML that is not UTF-8", 2, road_file("latin.osm", lambda c: c.replace(b"Mill", b"M\xefll"))),
    Fault("XML that ends in the middle of a tag, closed by hand", 2, xml(lambda t: t[: len(t) // 2] + "</osm>")),
    Fault("every way names missing nodes", 2, xml(lambda t: t.replace("<node", "<nope").replace("</node", "</nope"))),
    Fault("a way that names a missing node in its middle: the station is cut off", 2, xml(
        lambda t: t.replace('ref="5"', 'ref="555"'))),
    Fault("ways without nodes, and of one node", 0, more(lambda t: t.way(30, [], {"highway": "track"}).way(
        31, [3], {"highway": "track"}))),
    Fault("a way from a node to itself", 0, more(lambda t: t.way(30, [3, 3], {"highway": "residential"}))),
    Fault("a ring of two nodes", 0, more(lambda t: t.way(30, [3, 4, 3], {"highway": "residential"}))),
    Fault("a way driven over itself", 0, more(lambda t: t.way(30, [3, 4, 5, 4, 3, 4], {"highway": "residential"}))),
    Fault("a stretch without length", 0, more(lambda t: t.node(30, -72.03, 44.0).way(30, [4, 30], {
        "highway": "residential"}).way(31, [30, 5], {"highway": "residential"}))),
    Fault("all nodes in one place", 2, xml(lambda t: t.replace('lon="-72.0', 'lon="-75.0" was="-72.0'))),
    Fault("a way named twice", 0, more(lambda t: t.way(10, [1, 2], {"highway": "tertiary"}))),
    Fault("a node named twice, in two places", 0, more(lambda t: t.node(5, -72.041, 44.001))),
    Fault("ways before nodes", 0, xml(_ways_first)),
    Fault("ids below zero", 0, xml(lambda t: t.replace('id="', 'id="-').replace('ref="', 'ref="-'))),
    Fault("ids of 19 digits", 0, xml(lambda t: t.replace(
        ' id="1"', ' id="9000000000000000001"').replace('ref="1"', 'ref="9000000000000000001"'))),
    Fault("ids beyond 64 bits", 2, xml(lambda t: t.replace('id="1"', 'id="99999999999999999999"'))),
    Fault("an id that is a word", 2, xml(lambda t: t.replace('<node id="1"', '<node id="one"'))),
    Fault("a latitude that is a word", 2, xml(lambda t: t.replace('lat="44.0"', 'lat="north"', 1))),
    Fault("a latitude beyond the pole: the node is missing", 0, xml(
        lambda t: t.replace('lat="44.0"', 'lat="144.0"', 1))),
    Fault("a latitude that is no number", 2, xml(lambda t: t.replace('lat="44.0"', 'lat="nan"', 1))),
    Fault("a latitude left out: the node is missing", 0, xml(lambda t: t.replace('lat="44.0"', "", 1))),
    Fault("a latitude of 60 digits", 2, xml(lambda t: t.replace('lat="44.0"', f'lat="44.{"0" * 60}"', 1))),
    Fault("a road to the north pole", 0, more(lambda t: t.node(30, -72.0, 90.0).node(31, 12.0, 90.0).way(
        30, [10, 30, 31], {"highway": "track"}))),
    Fault("a road round the world", 0, more(lambda t: t.node(30, 180.0, 44.0).node(31, -180.0, 44.0).way(
        30, [10, 30, 31], {"highway": "primary"}))),
    Fault("roads at the pole, of another district", 2, xml(lambda t: t.replace('lat="44.0', 'lat="89.9'))),
    Fault("an extract of another district", 2, xml(lambda t: t.replace('lat="44.0', 'lat="45.0'))),
    Fault("an extract at 0, 0", 2, xml(lambda t: t.replace('lat="44.0', 'lat="0.0').replace('lon="-72.0', 'lon="0.0'))),
    Fault("an extract of half the district", 0, xml(lambda t: t.replace(
        "".join(f'<nd ref="{i}"/>' for i in range(7, 11)), ""))),
    Fault("an object with a million tags", 0, more(_many_tags)),
    Fault("a value of a million letters", 2, lane(note="x" * 1_000_000)),
    Fault("names of control letters and of the other way of writing", 0, mill(name="Mill\u202eRoad\u2028\u200b")),
    Fault("a name of 255 letters", 0, mill(name="W" * 255)),
    Fault("deleted roads", 2, xml(lambda t: t.replace("<way ", '<way visible="false" '))),
    Fault("a date of a road that is none", 2, xml(lambda t: t.replace("2026-04-30T00:00:00Z", "last week"))),
    Fault("a date far ahead", 0, xml(lambda t: t.replace("2026-04-30T00:00:00Z", "2106-02-07T06:28:14Z"))),
    Fault("a short island: stations and points stand on the next road", 0, more(_island(2))),
    Fault("a long island", 0, both(more(_island(6)), table("addresses", ("-72.06,44.0004", "-72.07,43.9901")))),
    Fault("buildings and water that cross themselves, do not close, or contain themselves", 0, more(_large_building)),
    Fault("paths only", 2, both(mill(highway="footway"), lane(highway="steps"))),
    Fault("motorways only: no route", 0, both(mill(highway="motorway"), lane(highway="motorway"))),
    Fault("every road forbidden to the public: passed on the way to a fire", 0, both(
        mill(access="no"), lane(access="no"))),
    Fault("every road private: passed on the way to a fire", 0, both(mill(access="private"), lane(access="private"))),
    Fault("every road impassable", 2, both(mill(smoothness="impassable"), lane(smoothness="impassable"))),
    Fault("every road one-way: no way back", 0, both(mill(oneway="yes"), lane(oneway="yes"))),
    Fault("one-way both ways", 0, lane(oneway="-1", oneway__hgv="yes")),
    Fault("one-way both ways, and no other road", 2, mill(oneway="-1", oneway__hgv="yes")),
    Fault("every road posted below an empty truck", 0, both(mill(maxweight="1"), lane(maxweight="1"))),
    Fault("weights that are no weights", 0, both(mill(maxweight="nan", maxheight="-3", maxwidth="inf"), lane(
        maxweight="1e400", maxheight="low", maxaxleload="0x10"))),
    Fault("a height of nothing", 0, mill(maxheight="0")),
    Fault("speeds that are none", 0, both(mill(maxspeed="nan"), lane(maxspeed="-30 mph"))),
    Fault("a speed of nothing", 0, mill(maxspeed="0")),
    Fault("a speed beyond reason", 0, mill(maxspeed="1e308 mph")),
    Fault("lanes and widths that are none", 0, mill(lanes="none", width="wide", est_width="-1", layer="x")),
    Fault("a conditional closure that cannot be read", 0, mill(access__conditional="no @ (((((")),
    Fault("a gate locked in the only road", 0, xml(lambda t: t.replace(
        'lon="-72.02">', 'lon="-72.02"><tag k="barrier" v="gate"/><tag k="locked" v="yes"/>'))),
    Fault("a turn restriction of an unknown kind", 0, _restricted("no_dancing", [("node", 6, "via")])),
    Fault("a turn restriction without via", 0, _restricted("no_left_turn", [])),
    Fault("a turn restriction through itself", 0, _restricted("no_u_turn", [("way", 10, "via"), ("way", 11, "via")])),
    Fault("a turn restriction through a missing node", 0, _restricted("only_straight_on", [("node", 777, "via")])),
    Fault("a turn restriction that forbids the only way", 0, _restricted("no_left_turn", [("node", 6, "via")])),
    Fault("a relation that is its own member", 0, more(lambda t: t.relation(
        9, [("relation", 9, "from"), ("relation", 9, "to"), ("node", 6, "via")],
        {"type": "restriction", "restriction": "no_u_turn"}))),
)  # fmt: skip
