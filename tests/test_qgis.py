"""The GeoPackage opened by QGIS itself, without a screen: styles, titles and colours are what it shows unasked."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from functools import cache
from typing import Any

import pytest

from preplan.plan_tables import STATUSES
from preplan.render.fields import ABOUT
from preplan.render.geopackage import geopackage
from tests.example_plan import example_plan

LOOK = """
import json, sys
from qgis.core import *
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

app = QgsApplication([], False)
app.initQgis()

def colour(layer, point):
    settings = QgsMapSettings()
    settings.setLayers([layer])
    settings.setOutputSize(QSize(41, 41))
    settings.setExtent(QgsRectangle(point.x() - 2e-4, point.y() - 2e-4, point.x() + 2e-4, point.y() + 2e-4))
    settings.setBackgroundColor(QColor(255, 255, 255))
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    shown = job.renderedImage().pixelColor(20, 20)
    return [shown.red(), shown.green(), shown.blue()]

def look(name):
    layer = QgsVectorLayer(sys.argv[1] + "|layername=" + name, name, "ogr")
    renderer = layer.renderer()
    found = {
        "valid": layer.isValid(),
        "rows": layer.featureCount(),
        "aliases": {field.name(): field.alias() for field in layer.fields()},
    }
    if layer.isSpatial():
        found["crs"] = layer.crs().authid()
        found["labels"] = layer.labeling().settings().fieldName if layer.labelsEnabled() else ""
        found["renderer"] = renderer.type()
        found["symbols"] = [symbol.symbolLayer(0).layerType() for symbol in renderer.symbols(QgsRenderContext())]
    if found.get("renderer") == "categorizedSymbol":
        found["categories"] = [category.value() for category in renderer.categories()]
    if name == "addresses":
        found["colours"] = {f["address_id"]: colour(layer, f.geometry().asPoint()) for f in layer.getFeatures()}
    return found

print(json.dumps({name: look(name) for name in sys.argv[2:]}))
app.exitQgis()
"""
LAYERS = ("addresses", "fill_sites", "stations", "routes", "roads_used", "bridges", "problems", "run_info")


@cache
def python_with_qgis() -> str | None:
    """Find a Python that has QGIS; it is the system's, seldom the one that runs these tests."""
    for python in ("/usr/bin/python3", shutil.which("python3")):
        if (
            python
            and subprocess.run([python, "-c", "import qgis.core"], capture_output=True, check=False).returncode == 0
        ):
            return python
    return None


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Let QGIS open the layers of the drawn plan, and say what it makes of them."""
    python = python_with_qgis()
    if python is None:
        pytest.skip("no Python with QGIS (Debian: python3-qgis)")
    folder = tmp_path_factory.mktemp("qgis")
    (folder / "preplan.gpkg").write_bytes(geopackage(example_plan()))
    own = {"QT_QPA_PLATFORM": "offscreen", "HOME": str(folder), "XDG_RUNTIME_DIR": str(folder)}
    done = subprocess.run(
        [python, "-c", LOOK, str(folder / "preplan.gpkg"), *LAYERS],
        env={"PATH": os.environ.get("PATH", ""), "LANG": "C.UTF-8", **own},
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout.splitlines()[-1]))


def test_layers_open(shown: dict[str, Any]) -> None:
    assert all(layer["valid"] for layer in shown.values())
    rows = {name: layer["rows"] for name, layer in shown.items() if name != "run_info"}
    assert rows == {
        "addresses": 6, "fill_sites": 3, "stations": 2, "routes": 8, "roads_used": 3, "bridges": 2, "problems": 1,
    }  # fmt: skip
    assert {layer["crs"] for name, layer in shown.items() if name != "run_info"} == {"EPSG:4326"}


def test_styles_are_taken_up(shown: dict[str, Any]) -> None:
    """By status, by kind and use, by leg, by posting; drawings of fill sites and stations are found."""
    assert {name: layer.get("categories") for name, layer in shown.items() if "categories" in layer} == {
        "addresses": list(STATUSES),
        "fill_sites": ["cistern, out of service", "draft, seasonal", "dry hydrant, all year"],
        "routes": ["out", "back"],
        "bridges": ["posted bridge", "posted bridge, weight unknown", "posted road", "unposted bridge"],
    }
    assert set(shown["addresses"]["symbols"]) == {"SimpleMarker"}
    assert set(shown["fill_sites"]["symbols"]) == set(shown["stations"]["symbols"]) == {"SvgMarker"}
    assert (shown["fill_sites"]["labels"], shown["stations"]["labels"]) == ("number", "number")


def test_colours_of_the_statuses(shown: dict[str, Any]) -> None:
    """The middle of each address as drawn: served, higher level, not met twice, no route, and a hollow ring."""
    blue, yellow, black, dark, white = [0, 114, 178], [240, 228, 66], [0, 0, 0], [29, 36, 41], [255, 255, 255]
    assert list(shown["addresses"]["colours"].values()) == [blue, yellow, black, black, dark, white]


def test_columns_show_their_titles_with_units(shown: dict[str, Any]) -> None:
    for name in LAYERS[:-1]:
        columns = {column: alias for column, alias in shown[name]["aliases"].items() if column != "fid"}
        assert columns == {column: ABOUT[column][0] for column in columns}
    assert shown["addresses"]["aliases"]["sustained_gpm"] == "Sustained flow (gpm)"
