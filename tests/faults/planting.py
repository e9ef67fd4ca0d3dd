"""How one fault is planted into the small district."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.faults.small import SmallDistrict
from tests.osm_text import OsmText

Plant = Callable[[SmallDistrict], object]


@dataclass(frozen=True)
class Fault:
    """One fault: what is planted, and the exit status it must have."""

    name: str
    exit: int
    plant: Plant


def swap(old: str, new: str) -> Plant:
    """Replace a text of the district file that must be there."""

    def plant(one: SmallDistrict) -> None:
        assert old in one.toml
        one.toml = one.toml.replace(old, new)

    return plant


def add(lines: str) -> Plant:
    """Add lines at the end of the district file."""

    def plant(one: SmallDistrict) -> None:
        one.toml += lines + "\n"

    return plant


def table(name: str, *changes: tuple[str, str]) -> Plant:
    """Replace texts of a table."""

    def plant(one: SmallDistrict) -> None:
        text = one.files[f"{name}.csv"]
        assert isinstance(text, str)
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        one.files[f"{name}.csv"] = text

    return plant


def mill(**tags: str) -> Plant:
    """Tag Mill Road, the only way to everything."""
    return lambda one: one.mill_road.update({key.replace("__", ":"): value for key, value in tags.items()})


def lane(**tags: str) -> Plant:
    """Tag Tower Lane, the way to one of the two fill sites."""
    return lambda one: one.tower_lane.update({key.replace("__", ":"): value for key, value in tags.items()})


def more(draw: Callable[[OsmText], object]) -> Plant:
    """Draw something besides into the road file."""
    return lambda one: draw(one.roads)


def xml(change: Callable[[str], str]) -> Plant:
    """Change the text of the road file."""
    return lambda one: one.files.update({"roads.osm": change(one.xml())})


def road_file(name: str, pack: Callable[[bytes], bytes]) -> Plant:
    """Give the road file another name and other bytes."""

    def plant(one: SmallDistrict) -> None:
        one.files |= {"roads.osm": None, name: pack(one.xml().encode())}
        one.toml = one.toml.replace('"roads.osm"', f'"{name}"')

    return plant


def half(content: bytes) -> bytes:
    return content[: len(content) // 2]


def gz(content: bytes) -> bytes:
    return gzip.compress(content, mtime=0)


def address_layer(features: Iterable[Any], crs: str | None = None, raw: str | None = None) -> Plant:
    """Give the addresses as GeoJSON; each feature is a geometry, ids and labels are numbered."""
    rows = [
        {"type": "Feature", "properties": {"address_id": f"L{i}", "label": f"{i} Mill Road"}, "geometry": one}
        for i, one in enumerate(features, 1)
    ]
    said: dict[str, Any] = {"type": "FeatureCollection", "features": rows}
    if crs is not None:
        said["crs"] = {"type": "name", "properties": {"name": crs}}

    def plant(one: SmallDistrict) -> None:
        one.files |= {"addresses.csv": None, "addresses.geojson": raw if raw is not None else json.dumps(said)}
        one.toml = one.toml.replace('"addresses.csv"', '"addresses.geojson"')

    return plant


def boundary(content: object) -> Plant:
    """Give a boundary: a geometry, or a text as it stands."""
    text = content if isinstance(content, str) else json.dumps(content)

    def plant(one: SmallDistrict) -> None:
        one.files["boundary.geojson"] = text
        one.toml = one.toml.replace("date = 2026-05-01", 'date = 2026-05-01\nboundary = "boundary.geojson"')

    return plant


def closures(rows: str) -> Plant:
    """Give a table of closures."""

    def plant(one: SmallDistrict) -> None:
        one.files["closures.csv"] = "closure_id,kind,way_id,lon,lat,value,months\n" + rows + "\n"
        one.toml = one.toml.replace('apparatus = "', 'closures = "closures.csv"\napparatus = "')

    return plant


def after(step: Callable[[Path], object]) -> Plant:
    """Do something with the written folder: links, folders, holes."""

    def plant(one: SmallDistrict) -> None:
        one.afterwards = step

    return plant


def both(*plants: Plant) -> Plant:
    """Plant several things that make one fault."""
    return lambda one: [plant(one) for plant in plants]


DEEP = 100_000
"""Brackets in brackets, far deeper than any reader's stack."""
TOO_LARGE_BYTES = 3_000_000_000
"""A file larger than a district's; a hole on the disk, which takes no room."""
