"""Result folders for the tests of `preplan compare`: a small district, planned and written by the project's writers."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

from preplan.build import Watch, prepared_roads
from preplan.inputs.reader import read_inputs
from preplan.planning.pipeline import plan_district
from preplan.render import card_table, dispatch, geopackage, tables
from preplan.render.run_info import run_json
from preplan.write import RUN_FILE
from tests.faults.small import SmallDistrict

Change = Callable[[SmallDistrict], object]


def small() -> SmallDistrict:
    """Make the small district, with a short duration, so that it plans in half the time, and a formula for a label."""
    district = SmallDistrict()
    district.toml = district.toml.replace("[roads]\n", "[required_flow]\nrequired_min = 20\n\n[roads]\n")
    district.files["addresses.csv"] = str(district.files["addresses.csv"]).replace("6 Mill Road", "=6 Mill Road")
    return district


def build(district: SmallDistrict, folder: Path) -> Path:
    """Plan a district and write what a comparison reads, without the pages; return the folder of the results."""
    inputs = read_inputs(district.write(folder / "district"))
    watch = Watch(lambda _stage, _share: None)
    roads, features = prepared_roads(inputs, Path("nowhere"), watch, keep=False)
    plan = plan_district(inputs, roads, features, watch.stage)
    digests = {role: sha256(path.read_bytes()).hexdigest() for role, path in inputs.files.items()}
    files = {
        "addresses.csv": tables.addresses_csv(plan),
        "levels.csv": tables.levels_csv(plan),
        "trips.csv": tables.trips_csv(plan),
        "tankers.csv": tables.hauls_csv(plan),
        "dispatch.csv": dispatch.dispatch_csv(plan),
        "cards.csv": card_table.cards_csv(plan),
        "rejected.csv": tables.rejected_csv(inputs.rejected),
        "preplan.gpkg": geopackage.geopackage(plan, digests),
    }
    files[RUN_FILE] = run_json(plan, inputs, digests, files, {})
    out = folder / "out"
    out.mkdir()
    for name, content in files.items():
        (out / name).write_bytes(content)
    return out


def replaced(file: str, old: str, new: str) -> Change:
    """Make a change of a district: other words in one of its files, or in `toml`."""

    def change(district: SmallDistrict) -> None:
        text = district.toml if file == "toml" else str(district.files[file])
        assert old in text
        if file == "toml":
            district.toml = text.replace(old, new)
        else:
            district.files[file] = text.replace(old, new)

    return change


def file_added(role: str, name: str, text: str) -> Change:
    """Make a change of a district: one more file."""

    def change(district: SmallDistrict) -> None:
        district.files[name] = text
        district.toml = district.toml.replace("[files]\n", f'[files]\n{role} = "{name}"\n')

    return change


def rewrite(folder: Path, name: str, content: bytes) -> None:
    """Replace a file of a set, and its checksum, as if a run had written it so."""
    (folder / name).write_bytes(content)
    edit_run(folder, lambda run: run["files"].update({name: sha256(content).hexdigest()}))


def edit_run(folder: Path, edit: Callable[[dict[str, Any]], object]) -> Mapping[str, Any]:
    """Change what run.json says."""
    run: dict[str, Any] = json.loads((folder / RUN_FILE).read_bytes())
    edit(run)
    (folder / RUN_FILE).write_text(json.dumps(run), encoding="utf-8")
    return run
