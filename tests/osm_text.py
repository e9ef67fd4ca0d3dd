"""Small OpenStreetMap files written out by hand, for tests of the reader."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from xml.sax.saxutils import quoteattr

from preplan.records import RoadTable
from preplan.roads.source import read_osm


@dataclass
class OsmText:
    """Nodes, ways and relations; `xml` writes them as an OSM XML file."""

    parts: list[str] = field(default_factory=list)
    head: str = ""

    def node(self, node: int, lon: float, lat: float, **tags: str) -> OsmText:
        """Add a node."""
        self.parts.append(f'<node id="{node}" version="1" lat="{lat}" lon="{lon}">{_tags(tags)}</node>')
        return self

    def way(self, way: int, nodes: list[int], tags: Mapping[str, str], date: str = "") -> OsmText:
        """Add a way."""
        refs = "".join(f'<nd ref="{node}"/>' for node in nodes)
        stamp = f' timestamp="{date}"' if date else ""
        self.parts.append(f'<way id="{way}" version="1"{stamp}>{refs}{_tags(tags)}</way>')
        return self

    def relation(self, relation: int, members: list[tuple[str, int, str]], tags: Mapping[str, str]) -> OsmText:
        """Add a relation of (type, ref, role)."""
        rows = "".join(f'<member type="{kind}" ref="{ref}" role="{role}"/>' for kind, ref, role in members)
        self.parts.append(f'<relation id="{relation}" version="1">{rows}{_tags(tags)}</relation>')
        return self

    def xml(self) -> str:
        """Write the file."""
        body = "\n".join(self.parts)
        return f'<?xml version="1.0" encoding="UTF-8"?>\n<osm version="0.6">{self.head}\n{body}\n</osm>\n'

    def save(self, folder: Path, name: str = "roads.osm") -> Path:
        """Write it to a folder."""
        path = folder / name
        path.write_text(self.xml(), encoding="utf-8")
        return path

    def roads(self, folder: Path) -> RoadTable:
        """Write and read it."""
        return read_osm(self.save(folder))[0]


def street(count: int, *, lon: float = -72.0, lat: float = 44.0, step: float = 0.001) -> OsmText:
    """Put `count` nodes 1, 2, ... in a row from west to east."""
    text = OsmText()
    for i in range(count):
        text.node(i + 1, round(lon + i * step, 7), lat)
    return text


def one_way_street(folder: Path, tags: Mapping[str, str], **where: float) -> RoadTable:
    """Read a file of one way of two nodes with these tags."""
    return street(2, **where).way(10, [1, 2], {"highway": "tertiary", **tags}).roads(folder)


def _tags(tags: Mapping[str, str]) -> str:
    # a Python keyword cannot hold a colon: maxheight__physical
    return "".join(f"<tag k={quoteattr(k.replace('__', ':'))} v={quoteattr(v)}/>" for k, v in tags.items())
