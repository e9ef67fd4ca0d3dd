"""Address files that text cannot hold: each builder writes one into a folder and returns its name."""

from __future__ import annotations

import gzip
import io
import json
import zipfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
import pyogrio
import shapely

from preplan.records import text_array

GOOD = "address_id,label,lon,lat\nA,1 A Road,-72.1,44.1\n"
_CONTENT_TYPES = (
    '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.{kind}+xml"/>'
    "</Types>"
)
_RELATIONS = (
    '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    "{relations}</Relationships>"
)
_RELATION = (
    '<Relationship Id="rId{id}" Target="{target}" '
    'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/{kind}"/>'
)
_MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
_LINKED = 'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"'
_DATE_STYLES = (
    f'<styleSheet {_MAIN}><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="14" applyNumberFormat="1"/></cellXfs>'
    "</styleSheet>"
)

Cell = str | float | tuple[int] | tuple[None, str]
"""A text, a number, the day count of a cell in the format of a date, or what a cell shows whose formula failed."""


def workbook(sheets: Mapping[str, Sequence[Sequence[Cell]]]) -> bytes:
    """Write the smallest XLSX there is: texts in place, numbers, dates as (days since 1900,)."""
    names = list(sheets)
    listed = "".join(f'<sheet name="{escape(name)}" sheetId="{i}" r:id="rId{i}"/>' for i, name in enumerate(names, 1))
    links = "".join(
        _RELATION.format(id=i, target=f"worksheets/sheet{i}.xml", kind="worksheet") for i in range(1, len(names) + 1)
    )
    links += _RELATION.format(id=99, target="styles.xml", kind="styles")
    office = _RELATION.format(id=1, target="xl/workbook.xml", kind="officeDocument")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("[Content_Types].xml", _CONTENT_TYPES.format(kind="sheet.main"))
        archive.writestr("_rels/.rels", _RELATIONS.format(relations=office))
        archive.writestr("xl/workbook.xml", f"<workbook {_MAIN} {_LINKED}><sheets>{listed}</sheets></workbook>")
        archive.writestr("xl/_rels/workbook.xml.rels", _RELATIONS.format(relations=links))
        archive.writestr("xl/styles.xml", _DATE_STYLES)
        for i, name in enumerate(names, 1):
            archive.writestr(f"xl/worksheets/sheet{i}.xml", _sheet(sheets[name]))
    return packed.getvalue()


def _sheet(rows: Sequence[Sequence[Cell]]) -> str:
    lines = []
    for r, row in enumerate(rows, 1):
        cells = "".join(_cell(f"{chr(65 + c)}{r}", cell) for c, cell in enumerate(row) if cell != "")
        lines.append(f'<row r="{r}">{cells}</row>' if cells else "")
    return f"<worksheet {_MAIN}><sheetData>{''.join(lines)}</sheetData></worksheet>"


def _cell(place: str, cell: Cell) -> str:
    if isinstance(cell, str):
        return f'<c r="{place}" t="inlineStr"><is><t>{escape(cell)}</t></is></c>'
    if isinstance(cell, tuple) and cell[0] is None:
        return f'<c r="{place}" s="1" t="e"><f>1/0</f><v>{cell[1]}</v></c>'
    if isinstance(cell, tuple):
        return f'<c r="{place}" s="1"><v>{cell[0]}</v></c>'
    return f'<c r="{place}"><v>{cell}</v></c>'


def layer(path: Path, xy: Sequence[tuple[float, float] | None], crs: str | None, **options: Any) -> None:
    """Write a map layer of points with ids a1, a2, ... and addresses; None is a row without a shape."""
    shapes = [None if one is None else shapely.Point(one) for one in xy]
    ids = text_array([f"a{i}" for i in range(1, len(xy) + 1)])
    labels = text_array([f"{i} Mill Road" for i in range(1, len(xy) + 1)])
    pyogrio.raw.write(
        path, geometry=shapely.to_wkb(np.array(shapes, dtype=object)), field_data=[ids, labels],
        fields=["address_id", "label"], crs=crs, geometry_type="Point", **options,
    )  # fmt: skip


def _written(folder: Path, name: str, data: bytes) -> str:
    (folder / name).write_bytes(data)
    return name


def document(folder: Path) -> str:
    return _written(folder, "addresses.docx", b"PK\x03\x04")


def no_text(folder: Path) -> str:
    return _written(folder, "addresses.csv", b"address_id,label,lon,lat\nA,1 \x81 Road,-72.1,44.1\n")


def broken_workbook(folder: Path) -> str:
    return _written(folder, "addresses.xlsx", b"PK\x03\x04" + bytes(100))


def empty_workbook(folder: Path) -> str:
    return _written(folder, "addresses.xlsx", workbook({"Sheet1": []}))


def faulty_workbook(folder: Path) -> str:
    rows: list[list[Cell]] = [
        ["address_id", "label", "lon", "lat"],
        ["007", "1 A Road", -72.1, 44.1],
        [12, "2 A Road", -72.1, 44.1],
        ["13", "3 A Road", "west", 44.1],
    ]
    return _written(folder, "addresses.xlsx", workbook({"Sheet1": rows}))


def cut_gzip(folder: Path) -> str:
    return _written(folder, "addresses.csv.gz", gzip.compress(GOOD.encode(), mtime=0)[:-20])


def broken_zip(folder: Path) -> str:
    return _written(folder, "addresses.zip", b"PK\x03\x04" + bytes(40))


def zip_without_table(folder: Path) -> str:
    with zipfile.ZipFile(folder / "addresses.zip", "w") as archive:
        archive.writestr("picture.png", b"")
        archive.writestr("__MACOSX/addresses.csv", b"")
    return "addresses.zip"


def broken_geopackage(folder: Path) -> str:
    return _written(folder, "addresses.gpkg", b"SQLite format 3\x00" + bytes(100))


def cut_geojson(folder: Path) -> str:
    layer(folder / "whole.geojson", [(-72.1, 44.1)] * 3, "EPSG:4326")
    return _written(folder, "addresses.geojson", (folder / "whole.geojson").read_bytes()[:-60])


def shapefile_without_table(folder: Path) -> str:
    layer(folder / "addresses.shp", [(-72.1, 44.1)], "EPSG:4326")
    for suffix in (".dbf", ".shx"):
        (folder / f"addresses{suffix}").unlink()
    return "addresses.shp"


def shapefile_without_prj(folder: Path) -> str:
    layer(folder / "addresses.shp", [(1_640_416.7, 640_416.7)], "EPSG:3438")
    (folder / "addresses.prj").unlink()
    return "addresses.shp"


def layer_without_a_shape(folder: Path) -> str:
    layer(folder / "addresses.gpkg", [*[(-72.1, 44.1)] * 6, None], "EPSG:4326")
    return "addresses.gpkg"


def geojson_in_metres(folder: Path) -> str:
    features = [
        {
            "type": "Feature",
            "properties": {"address_id": f"a{i}", "label": f"{i} A Road"},
            "geometry": {"type": "Point", "coordinates": [-8016117 + i, 5466990]},
        }
        for i in range(3)
    ]
    return _written(
        folder, "addresses.geojson", json.dumps({"type": "FeatureCollection", "features": features}).encode()
    )


BUILDERS: Mapping[str, Callable[[Path], str]] = {
    one.__name__: one
    for one in (
        document, no_text, broken_workbook, empty_workbook, faulty_workbook, cut_gzip, broken_zip, zip_without_table,
        broken_geopackage, cut_geojson, shapefile_without_table, shapefile_without_prj, layer_without_a_shape,
        geojson_in_metres,
    )
}  # fmt: skip
