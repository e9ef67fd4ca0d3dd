"""Faults of packed tables: bombs, and archives that lead elsewhere."""

from __future__ import annotations

import gzip
import io
import zipfile
from collections.abc import Callable

from tests.faults.built import workbook
from tests.faults.planting import Fault, Plant, gz, road_file
from tests.faults.small import TABLES, SmallDistrict


def _zipped(*members: tuple[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", method) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return packed.getvalue()


def packed_addresses(name: str, content: Callable[[], bytes]) -> Plant:
    """Give the addresses packed."""

    def plant(one: SmallDistrict) -> None:
        one.files |= {"addresses.csv": None, name: content()}
        one.toml = one.toml.replace('"addresses.csv"', f'"{name}"')

    return plant


BOMB_BYTES = 600_000_000
"""What a bomb of a few hundred kilobytes becomes."""


def _gz_bomb() -> bytes:
    piece = gzip.compress(bytes(BOMB_BYTES // 100), mtime=0)
    return piece * 100


def _far_cell() -> bytes:
    """Write a workbook of four cells, one of them at the end of the last row."""
    book = workbook({"Sheet1": [["address_id", "label"], ["a", "b"]]})
    with zipfile.ZipFile(io.BytesIO(book)) as archive:
        members = [(name, archive.read(name).replace(b'r="B2"', b'r="XFD1048576"')) for name in archive.namelist()]
    return _zipped(*members)


def _xlsx_bomb() -> bytes:
    sheet = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    return _zipped(("xl/workbook.xml", b"<workbook/>"), ("xl/worksheets/sheet1.xml", sheet + bytes(BOMB_BYTES)))


def _locked() -> bytes:
    """Mark a member as encrypted."""
    content = bytearray(_zipped(("addresses.csv", TABLES["addresses.csv"].encode())))
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        content[content.index(mark) + at] |= 1
    return bytes(content)


PACKED = (
    Fault("a gzip bomb", 2, packed_addresses("addresses.csv.gz", _gz_bomb)),
    Fault("a gzip bomb of blanks below the roads: read through, and nothing kept", 0, road_file(
        "roads.osm.gz", lambda c: gz(c) + gzip.compress(b" " * (BOMB_BYTES // 100), mtime=0) * 20)),
    Fault("a zip bomb", 2, packed_addresses(
        "addresses.zip", lambda: _zipped(("addresses.csv", b"address_id" + bytes(BOMB_BYTES))))),
    Fault("a workbook bomb", 2, packed_addresses("addresses.xlsx", _xlsx_bomb)),
    Fault("an archive whose members climb out", 2, packed_addresses("addresses.zip", lambda: _zipped(
        ("../../addresses.csv", TABLES["addresses.csv"].encode())))),
    Fault("an archive whose member is named from the root: read, and nothing is written there", 0, packed_addresses(
        "addresses.zip", lambda: _zipped(("/addresses.csv", TABLES["addresses.csv"].encode())))),
    Fault("an archive whose member is named by the folder it is in: read", 0, packed_addresses(
        "addresses.zip", lambda: _zipped(("./addresses.csv", TABLES["addresses.csv"].encode())))),
    Fault("a workbook with one cell in its farthest corner", 2, packed_addresses("addresses.xlsx", _far_cell)),
    Fault("an archive in an archive", 2, packed_addresses("addresses.zip", lambda: _zipped(
        ("addresses.zip", _zipped(("addresses.csv", b"x")))))),
    Fault("an archive of a locked table", 2, packed_addresses("addresses.zip", _locked)),
)  # fmt: skip
