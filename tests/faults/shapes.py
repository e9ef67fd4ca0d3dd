"""Faults of the shapes of map layers, boundaries and closures."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tests.faults.planting import DEEP, Fault, address_layer, after, both, boundary, closures
from tests.faults.small import SmallDistrict


def point(x: float, y: float, *z: float) -> dict[str, Any]:
    return {"type": "Point", "coordinates": [x, y, *z]}


def polygon(*ring: tuple[float, ...]) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": [[list(one) for one in ring]]}


SQUARE = ((-72.011, 44.0), (-72.009, 44.0), (-72.009, 44.002), (-72.011, 44.002), (-72.011, 44.0))
BOW_TIE = ((-72.011, 44.0), (-72.009, 44.002), (-72.009, 44.0), (-72.011, 44.002), (-72.011, 44.0))
AROUND = ((-72.2, 43.9), (-71.9, 43.9), (-71.9, 44.1), (-72.2, 44.1), (-72.2, 43.9))
GOOD_POINTS = [point(-72.0 - 0.01 * i, 44.0004) for i in range(1, 7)]


SERVER = "<OGRWFSDataSource><URL>http://127.0.0.1:9/wfs</URL></OGRWFSDataSource>"
ELSEWHERE = (
    '<OGRVRTDataSource><OGRVRTLayer name="addresses"><SrcDataSource>addresses.csv</SrcDataSource>'
    "</OGRVRTLayer></OGRVRTDataSource>"
)
COMMAND = json.dumps({"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline read fill_sites.csv"})
"""What the layer reader knows besides layers: where to ask, where else to look, and what to run."""


def _called_geopackage(one: SmallDistrict) -> None:
    one.files["addresses.gpkg"] = one.files.pop("addresses.geojson")
    one.toml = one.toml.replace("addresses.geojson", "addresses.gpkg")


def _boundary_folder(folder: Path) -> None:
    (folder / "boundary.geojson").unlink()
    (folder / "boundary.geojson").mkdir()


SHAPES = (
    Fault("points with heights", 0, address_layer([point(-72.0 - 0.01 * i, 44.0004, 300.0) for i in range(1, 7)])),
    Fault("points of four numbers", 0, address_layer([point(-72.01, 44.0004, 1.0, 2.0), *GOOD_POINTS])),
    Fault("points of many", 0, address_layer([
        {"type": "MultiPoint", "coordinates": [[-72.01, 44.0004], [-72.012, 44.0004]]}, *GOOD_POINTS])),
    Fault("an empty set of points", 0, address_layer([{"type": "MultiPoint", "coordinates": []}, *GOOD_POINTS])),
    Fault("an empty polygon", 0, address_layer([{"type": "Polygon", "coordinates": []}, *GOOD_POINTS])),
    Fault("a row without a shape", 0, address_layer([None, *GOOD_POINTS])),
    Fault("outlines of lots", 0, address_layer([polygon(*SQUARE), *GOOD_POINTS])),
    Fault("an outline that crosses itself", 0, address_layer([polygon(*BOW_TIE), *GOOD_POINTS])),
    Fault("an outline of two points", 0, address_layer([polygon(*SQUARE[:2]), *GOOD_POINTS])),
    Fault("an outline that does not close", 0, address_layer([polygon(*SQUARE[:4]), *GOOD_POINTS])),
    Fault("a line", 0, address_layer([{"type": "LineString", "coordinates": [[-72.01, 44.0], [-72.02, 44.001]]},
                                      *GOOD_POINTS])),
    Fault("a collection of shapes", 0, address_layer([{"type": "GeometryCollection", "geometries": [
        point(-72.01, 44.0004), polygon(*SQUARE)]}, *GOOD_POINTS])),
    Fault("a shape of no known kind", 0, address_layer([{"type": "Circle", "coordinates": [-72, 44]}, *GOOD_POINTS])),
    Fault("degrees said to be metres", 2, address_layer(GOOD_POINTS, crs="urn:ogc:def:crs:EPSG::3857")),
    Fault("degrees said to be feet of a state's plane", 2, address_layer(
        GOOD_POINTS, crs="urn:ogc:def:crs:EPSG::2852")),
    Fault("an unknown coordinate system, numbers in degrees: read as longitude and latitude", 0, address_layer(
        GOOD_POINTS, crs="urn:ogc:def:crs:EPSG::999999")),
    Fault("metres of the web's map, and so said", 0, address_layer(
        [point(-8015003.0 - 1113.2 * i, 5465499.0) for i in range(1, 7)], crs="urn:ogc:def:crs:EPSG::3857")),
    Fault("points that are no number", 2, address_layer([], raw=json.dumps(
        {"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"address_id": "a", "label": "b"},
                                                   "geometry": point(float("nan"), 44.0)}]}))),
    Fault("points beyond any number", 2, address_layer([point(1e308, 1e308)])),
    Fault("points of words", 2, address_layer([{"type": "Point", "coordinates": ["-72", "44"]}])),
    Fault("a layer that describes a server to ask", 2, address_layer([], raw=SERVER)),
    Fault("a layer that describes another file", 2, address_layer([], raw=ELSEWHERE)),
    Fault("a layer that describes a command to run", 2, address_layer([], raw=COMMAND)),
    Fault("a GeoPackage that describes another file", 2, both(address_layer([], raw=ELSEWHERE), _called_geopackage)),
    Fault("features one a line: read", 0, address_layer([], raw="".join(
        json.dumps({"type": "Feature", "properties": {"address_id": f"L{i}", "label": f"{i} Mill Road"},
                    "geometry": one}) + "\n" for i, one in enumerate(GOOD_POINTS, 1)))),
    Fault("a layer of nothing", 2, address_layer([])),
    Fault("a list where a layer should be", 2, address_layer([], raw="[1, 2, 3]")),
    Fault("a layer a hundred thousand brackets deep", 2, address_layer([], raw="[" * DEEP)),
    Fault("features without properties", 2, address_layer([], raw=json.dumps(
        {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": one} for one in GOOD_POINTS]}))),
    Fault("a boundary that is a point", 2, boundary(point(-72.0, 44.0))),
    Fault("a boundary that is a line", 2, boundary({"type": "LineString", "coordinates": [[0, 0], [1, 1]]})),
    Fault("a boundary of nothing", 2, boundary({"type": "Polygon", "coordinates": []})),
    Fault("a boundary without features", 2, boundary({"type": "FeatureCollection", "features": []})),
    Fault("a boundary that crosses itself", 0, boundary(polygon(*BOW_TIE))),
    Fault("a boundary with heights", 0, boundary(polygon(*[(*one, 9.0) for one in AROUND]))),
    Fault("a boundary of two points", 2, boundary(polygon(*AROUND[:2]))),
    Fault("a boundary in metres", 2, boundary(polygon((0, 0), (5000, 0), (5000, 5000), (0, 0)))),
    Fault("a boundary of words", 2, boundary("a polygon around the district")),
    Fault("a boundary of no bytes", 2, boundary("")),
    Fault("a boundary a hundred thousand brackets deep", 2, boundary('{"type":"Polygon","coordinates":' + "[" * DEEP)),
    Fault("a boundary with a place that is no number", 2, boundary(
        '{"type":"Polygon","coordinates":[[[-72,44],[NaN,44],[-72,45],[-72,44]]]}')),
    Fault("a boundary that is a folder", 2, both(boundary(polygon(*AROUND)), after(_boundary_folder))),
    Fault("a boundary that is no text", 2, both(boundary(""), lambda d: d.files.update(
        {"boundary.geojson": b"\xff\xfe\x00\xd8"}))),
    Fault("a closure of a way that is not there", 2, closures("c1,closed,12345,,,,")),
    Fault("a closure on no road", 2, closures("c1,closed,,-70.0,44.0,,")),
    Fault("a closure of the only road", 2, closures("c1,closed,10,,,,\nc2,closed,11,,,,")),
    Fault("a closure of half of it", 0, closures("c1,closed,11,,,,")),
    Fault("two closures that run against each other", 2, closures("c1,one_way,10,,,,4-6\nc2,one_way,10,,,-1,6-9")),
    Fault("a limit of nothing", 2, closures("c1,max_lb,10,,,0,")),
    Fault("a limit below every truck", 0, closures("c1,max_lb,10,,,600,")),
)  # fmt: skip
