"""A small faultless district in a folder, any file of which a test replaces by its own text."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from preplan.inputs.columns import match_headers
from preplan.inputs.sheet import Sheet
from preplan.inputs.table_specs import SPECS
from preplan.inputs.tables import TextTable
from preplan.records import text_array

FILES = {
    "district.toml": """\
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
engines = 2
tankers = 4
""",
    "addresses.csv": """\
address_id,label,lon,lat
A2,12 Mill Road,-72.01,44.01
A10,7 Quarry Lane,-72.02,44.02
A1,Camp Seven,-72.03,44.03
""",
    "fill_sites.csv": """\
site_id,name,kind,lon,lat,storage_gal
S2,Pond,draft,-72.00,44.00,
S1,Tower,tank,-72.05,44.05,20000
""",
    "stations.csv": """\
station_id,name,lon,lat
H1,Headquarters,-72.02,44.00
""",
    "apparatus.csv": """\
unit_id,station_id,kind,tank_gal
E1,H1,engine,1000
T1,H1,tanker,2000
""",
    "roads.osm": "<osm/>",
}
"""Text of each file. The roads are never opened in this room; only that the file exists is checked."""


def write_folder(folder: Path, **changed: str | None) -> Path:
    """Write the district with some files changed (None leaves one out) and return its district file.

    Names are written with a low line for the dot: `addresses_csv="..."`; other names are added.
    """
    texts: dict[str, str | None] = dict(FILES)
    texts.update({".".join(name.rsplit("_", 1)): text for name, text in changed.items()})
    for name, text in texts.items():
        if text is not None:
            (folder / name).write_text(text, encoding="utf-8")
    return folder / "district.toml"


def toml(**changed: str) -> str:
    """Give the district file with lines added to some of its tables."""
    text = FILES["district.toml"]
    for table, lines in changed.items():
        head = f"[{table}]\n"
        text = text.replace(head, head + lines + "\n") if head in text else f"{text}\n{head}{lines}\n"
    return text


def sheet_of(role: str, header: str, lines: list[list[str]]) -> Sheet:
    """Build a sheet without a file."""
    headers = tuple(header.split(","))
    table = TextTable(
        file=f"{role}.csv",
        headers=headers,
        columns=tuple(text_array([line[i] for line in lines]) for i in range(len(headers))),
        row=np.arange(len(lines), dtype=np.int32) + np.int32(2),
        overlong=np.zeros(len(lines), dtype=np.bool_),
    )
    columns, _ = match_headers(table, SPECS[role], {})
    return Sheet(table, columns, SPECS[role].required[0])
