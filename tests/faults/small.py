"""A small whole district, roads and all, that plans nine addresses; a fault changes one thing of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from tests.osm_text import OsmText

GOOD = tuple(f"G{i}" for i in range(1, 10))
"""Ids of the addresses, west to east along Mill Road."""
TOML = """\
[district]
name = "Millrace"
date = 2026-05-01

[files]
addresses = "addresses.csv"
fill_sites = "fill_sites.csv"
stations = "stations.csv"
apparatus = "apparatus.csv"

[roads]
file = "roads.osm"

[[response_levels]]
name = "Level 1"
engines = 2
tankers = 2

[[response_levels]]
name = "Level 2"
engines = 3
tankers = 3
"""
TABLES = {
    "addresses.csv": "address_id,label,lon,lat,length_ft,width_ft,height_ft\n"
    + "".join(f"{one},{one[1]} Mill Road,-72.0{one[1]},44.0004,30,25,20\n" for one in GOOD),
    "fill_sites.csv": "site_id,name,kind,lon,lat,fill_gpm,turnaround,storage_gal\n"
    "S1,Mill Pond,dry hydrant,-72.0,44.0,900,loop,\nS2,Tower,tank,-72.05,44.01,600,through,50000\n",
    "stations.csv": "station_id,name,lon,lat\nH1,Headquarters,-72.02,44.0002\n",
    "apparatus.csv": "unit_id,station_id,kind,tank_gal\n"
    "E1,H1,engine,1000\nE2,H1,engine,1000\nE3,H1,engine,750\n"
    "T1,H1,tanker,2000\nT2,H1,tanker,3000\nT3,H1,tanker,1800\n",
}
MILL_ROAD = {"highway": "tertiary", "name": "Mill Road"}
TOWER_LANE = {"highway": "residential", "name": "Tower Lane"}


def road_text() -> OsmText:
    """Draw Mill Road from the pond westward past every address (nodes 1 to 10), and Tower Lane off its middle."""
    text = OsmText()
    for i in range(10):
        text.node(i + 1, round(-72.0 - 0.01 * i, 7), 44.0)
    text.node(20, -72.05, 44.01)
    return text


@dataclass
class SmallDistrict:
    """The texts and bytes of a district's files; None leaves one out."""

    toml: str = TOML
    files: dict[str, str | bytes | None] = field(default_factory=lambda: dict(TABLES))
    mill_road: dict[str, str] = field(default_factory=lambda: dict(MILL_ROAD))
    tower_lane: dict[str, str] = field(default_factory=lambda: dict(TOWER_LANE))
    roads: OsmText = field(default_factory=road_text)
    afterwards: Callable[[Path], object] = lambda _folder: None
    """Done last, with the folder: links, folders, files too large to hold."""

    def xml(self) -> str:
        """Write the road file, Mill Road and Tower Lane first."""
        own = OsmText(list(self.roads.parts), self.roads.head)
        own.way(10, [*range(1, 11)], self.mill_road, date="2026-04-30T00:00:00Z").way(11, [6, 20], self.tower_lane)
        return own.xml()

    def write(self, folder: Path) -> Path:
        """Write every file and return the district file."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in ({"roads.osm": self.xml()} | self.files).items():
            if isinstance(content, str):
                content = content.encode("utf-8", "surrogatepass")  # noqa: PLW2901
            if content is not None:
                (folder / name).write_bytes(content)
        (folder / "district.toml").write_bytes(self.toml.encode("utf-8", "surrogatepass"))
        self.afterwards(folder)
        return folder / "district.toml"


def write_small_district(folder: Path) -> Path:
    """Write the district without a fault."""
    return SmallDistrict().write(folder)
