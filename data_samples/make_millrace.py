"""Make the invented sample district: `python -m data_samples.make_millrace [--out FOLDER]`.

Writes district.toml, boundary.geojson, roads.osm.gz, the six tables and a drill's log, the same bytes every time.
"""

from __future__ import annotations

import argparse
import csv
import gzip
import io
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from data_samples.millrace_curves import FT_PER_MI
from data_samples.millrace_homes import Home, settle
from data_samples.millrace_land import Land, read_land
from data_samples.millrace_osm import OsmFile, map_of

HERE = Path(__file__).with_name("millrace")
ADDRESS_COLUMNS = (
    "address_id", "label", "street", "occupancy", "lon", "lat", "length_ft", "width_ft", "height_ft",
    "occupancy_hazard", "construction", "exposure", "sprinklered", "driveway_ft",
)  # fmt: skip
FILL_SITE_COLUMNS = (
    "site_id", "name", "kind", "lon", "lat", "fill_gpm", "tested", "positions", "source_id", "storage_gal",
    "refill_gpm", "low_gpm", "turnaround", "lift_ft", "needs_engine", "months", "in_service", "connection", "notes",
)  # fmt: skip
STATION_COLUMNS = (
    "station_id", "name", "lon", "lat", "turnout_min", "staffed", "aid", "max_engines", "max_tankers",
)  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> None:
    """Make the district and write its files."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write into")
    folder: Path = parser.parse_args(arguments).out
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in district_files().items():
        (folder / name).write_bytes(content)


def district_files() -> dict[str, bytes]:
    """Make every file of the district, by name."""
    homes, land = settle(read_land())
    osm = map_of(land, homes)
    tables = {
        "addresses.csv": _csv(ADDRESS_COLUMNS, _address_rows(land, homes)),
        "fill_sites.csv": _csv(FILL_SITE_COLUMNS, [_placed(land, spec, 24) for spec in land.drawing["fill_site"]]),
        "stations.csv": _csv(STATION_COLUMNS, [_placed(land, spec, 85) for spec in land.drawing["station"]]),
        "hydrants.csv": _csv(("hydrant_id", "lon", "lat", "flow_gpm", "class"), _hydrant_rows(land)),
        "closures.csv": _csv(
            ("closure_id", "kind", "way_id", "lon", "lat", "value", "months", "note"), _closure_rows(land, osm)
        ),
        "bridges.csv": land.drawing["tables"]["bridges"],
        "apparatus.csv": land.drawing["tables"]["apparatus"],
        "candidates.csv": land.drawing["tables"]["candidates"],
        "drill.csv": land.drawing["tables"]["drill"],
        "district.toml": land.drawing["tables"]["district"],
        "boundary.geojson": _boundary(land),
    }
    files = {name: text.encode() for name, text in tables.items()}
    return files | {"roads.osm.gz": gzip.compress(osm.xml().encode(), mtime=0)}


def _csv(columns: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> str:
    sheet = io.StringIO()
    writer = csv.DictWriter(sheet, columns, lineterminator="\n", extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    return sheet.getvalue()


def _lonlat(land: Land, x: float, y: float) -> dict[str, str]:
    lon, lat = land.plane.lonlat(x, y)
    return {"lon": f"{lon:.6f}", "lat": f"{lat:.6f}"}


def _placed(land: Land, spec: Mapping[str, Any], off_ft: float) -> dict[str, Any]:
    """Give a site or station its position beside its road."""
    spot = land.beside(spec["road"], spec["near"], off_ft)
    return dict(spec) | _lonlat(land, spot.x, spot.y)


def _address_rows(land: Land, homes: Sequence[Home]) -> list[dict[str, Any]]:
    rows = []
    for i, home in enumerate(sorted(homes, key=lambda h: (h.road, h.number, h.label)), start=1):
        row: dict[str, Any] = {"address_id": f"MR{i:04d}", "label": home.label, "street": home.street}
        row |= {"occupancy": home.occupancy} | _lonlat(land, home.x, home.y)
        if home.size_known and home.size_ft is not None:
            row |= dict(zip(("length_ft", "width_ft", "height_ft"), home.size_ft, strict=True))
        row |= {"occupancy_hazard": home.hazard, "construction": home.construction, "driveway_ft": home.driveway_ft}
        row |= {"exposure": _yes(answer=home.exposure), "sprinklered": _yes(answer=home.sprinklered)}
        rows.append(row)
    return rows


def _yes(*, answer: bool | None) -> str:
    return "" if answer is None else "yes" if answer else "no"


def _hydrant_rows(land: Land) -> list[dict[str, Any]]:
    rows = []
    for i, spec in enumerate(land.drawing["hydrant"], start=1):
        spot = land.beside(spec["road"], spec["near"], 18)
        rows.append({"hydrant_id": f"H{i}"} | dict(spec) | _lonlat(land, spot.x, spot.y))
    return rows


def _closure_rows(land: Land, osm: OsmFile) -> list[dict[str, Any]]:
    """Post the culvert of Fiddlehead Road in the thaw, and close the knob's track by the number of its way."""
    x, y = (FT_PER_MI * v for v in land.drawing["places"]["fiddlehead culvert"])
    track = next(n for n, (_, tags) in osm.ways.items() if tags.get("name") == "Turkey Knob Road")
    thaw = {"closure_id": "C1", "kind": "max_lb", "value": 24000, "months": "3-5", "note": "Culvert, spring posting"}
    shut = {"closure_id": "C2", "kind": "closed", "way_id": track, "months": "11-5", "note": "Not plowed, then mud"}
    return [thaw | _lonlat(land, x, y), shut]


def _boundary(land: Land) -> str:
    ring = [land.plane.lonlat(stop.x, stop.y) for stop in [*land.boundary, land.boundary[0]]]
    rounded = [[round(lon, 6), round(lat, 6)] for lon, lat in ring]
    area = {"type": "Polygon", "coordinates": [rounded]}
    feature = {"type": "Feature", "properties": {"name": "Millrace Fire District"}, "geometry": area}
    return json.dumps({"type": "FeatureCollection", "features": [feature]}, indent=1) + "\n"


if __name__ == "__main__":
    main()
