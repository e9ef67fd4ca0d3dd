"""The main job end to end: what it writes, that it writes the same again, and what stops it."""

from __future__ import annotations

import csv
import hashlib
import json
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from preplan.cli import app
from preplan.render import card_pdf
from tests.built_sample import built_sample, planned_once
from tests.plan_checks import real_district
from tests.shared_data import shared

SAMPLE = Path(__file__).resolve().parents[1] / "data_samples" / "millrace"
FILES = {
    "map.html", "cards.pdf", "sites.pdf", "report.pdf", "addresses.csv", "levels.csv", "seasons.csv",
    "trips.csv", "tankers.csv", "dispatch.csv",
    "preplan.gpkg", "fill_sites.gpx", "fill_sites.kml", "rejected.csv", "run.json",
}  # fmt: skip


def rows_of(path: Path) -> list[dict[str, str]]:
    """Read a table of text."""
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def digests(folder: Path) -> dict[str, str]:
    """Take the digest of every file but the one that tells the seconds."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "run.json"
    }


def run(*arguments: str) -> tuple[int, str]:
    """Run the command line; return its exit status and all that it says."""
    result = CliRunner().invoke(app, list(arguments))
    return result.exit_code, result.output


@pytest.fixture(scope="module")
def sample() -> Path:
    """Give the sample built once."""
    found = built_sample()
    assert found.exit_code == 0, found.stderr
    return found.out


@pytest.fixture
def district(tmp_path: Path) -> Path:
    """Copy the sample, to be broken."""
    folder = tmp_path / "district"
    shutil.copytree(SAMPLE, folder)
    return folder


def test_every_file_of_the_results_is_there(sample: Path) -> None:
    """Nothing promised is missing."""
    assert {path.name for path in sample.iterdir()} >= FILES
    record = json.loads((sample / "run.json").read_bytes())
    assert {"program", "version", "date", "inputs", "rules", "counts", "files", "seconds"} <= set(record)


def test_every_address_is_in_one_row_and_statuses_follow_from_levels(sample: Path) -> None:
    """Rows in are rows out; the first level that meets names the status."""
    given = {row["address_id"] for row in rows_of(SAMPLE / "addresses.csv")}
    rows = rows_of(sample / "addresses.csv")
    assert {row["address_id"] for row in rows} == given
    meets: dict[str, list[str]] = {}
    for row in rows_of(sample / "levels.csv"):
        meets.setdefault(row["address_id"], []).append(row["meets"])
    for row in rows:
        found = meets.get(row["address_id"], [])
        if row["status"] in {"served", "higher level", "not met"}:
            first = found.index("yes") if "yes" in found else -1
            assert row["status"] == {-1: "not met", 0: "served"}.get(first, "higher level")
    assert {row["status"] for row in rows} == {"served", "higher level", "not met", "no route", "hydrant"}


def test_the_average_flow_of_the_sample_by_plain_arithmetic(sample: Path) -> None:
    """Gallons asked for less gallons short, over the minutes; hardly less than what is held without a break."""
    levels: dict[str, list[dict[str, str]]] = {}
    for row in rows_of(sample / "levels.csv"):
        levels.setdefault(row["address_id"], []).append(row)
    short = 0
    for row in rows_of(sample / "addresses.csv"):
        required = float(row["required_gpm"])
        mine = [level for level in levels.get(row["address_id"], []) if level["average_gpm"]]
        for level in mine:
            # what lacks before full flow is asked for counts too
            least = 0.99 * min(float(level["uninterrupted_gpm"]), required)
            average = float(level["average_gpm"])
            assert average == required if level["meets"] == "yes" else least <= average < required
        if row["status"] == "not met":
            mean = required - float(row["short_gal"]) / float(row["required_min"])
            # both are rounded to whole numbers; the level shown is not named in the table
            assert min(abs(float(level["average_gpm"]) - mean) for level in mine) <= 1.0
            short += 1
    assert short > 10


@pytest.mark.parametrize(
    ("name", "in_a_file"), [("vt_essex_south", 20), ("vt_franklin_qc", None), ("usvi_st_john", None)]
)
def test_real_districts_build_and_pass_the_check_of_outputs(
    name: str, in_a_file: int | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Status 0, every address accounted for, the contract of files and columns kept; 1.5 MB the map at most.

    The plan serves the other tests of the district too, or was made by one of them. Every ninth card is drawn, since
    drawing is most of the time; of one district that is more than a file holds, which is less here.
    """
    if in_a_file:
        monkeypatch.setattr("preplan.render.card_pdf.MOST_IN_ONE_FILE", in_a_file)
    folder, cards = real_district(name), card_pdf.cards
    monkeypatch.setattr(
        "preplan.render.card_pdf.cards",
        # other processes would not hear how much a file holds here
        lambda plan, processes: cards(replace(plan, groups=plan.groups[::9]), 1 if in_a_file else processes),
    )
    planned_once(folder / "district.toml", monkeypatch)
    tool = shared("districts").parents[1] / "tools" / "check_outputs.py"
    status, _ = run("build", str(folder / "district.toml"), "--out", str(tmp_path / name))
    assert status == 0
    assert (tmp_path / name / "cards" / "001.pdf").exists() == (in_a_file is not None)
    done = subprocess.run(
        [sys.executable, str(tool), str(folder), str(tmp_path / name), "--timeline"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout
    assert (tmp_path / name / "map.html").stat().st_size < 1_500_000


def broken(district: Path, out: Path) -> str:
    """Build over earlier results; the run must refuse with status 2 and leave them as they were."""
    before = digests(out)
    status, said = run("build", str(district / "district.toml"), "--out", str(out))
    assert status == 2, said
    assert digests(out) == before
    return said


@pytest.fixture
def earlier(sample: Path, tmp_path: Path) -> Path:
    """Copy the finished sample: results that must survive."""
    shutil.copytree(sample, tmp_path / "out")
    return tmp_path / "out"


def test_no_water_nobody_to_haul_it_or_the_wrong_roads_are_refused(district: Path, earlier: Path) -> None:
    """A plan that could only say 'not met' everywhere is a fault of the input."""
    sites = district / "fill_sites.csv"
    whole = sites.read_text()
    rows = list(csv.DictReader(whole.splitlines()))
    with sites.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows({**row, "in_service": "no"} for row in rows)
    assert "no fill site is in service" in broken(district, earlier)
    sites.write_text(whole)
    tables = [district / f"{name}.csv" for name in ("addresses", "fill_sites", "stations", "hydrants")]
    for moved, blamed in ((tables[:1], "addresses.csv, column lon, lat"), (tables[1:], "roads.osm.gz: has no road")):
        for path in moved:
            text = path.read_text().replace("-74.", "-79.").replace("-75.", "-80.")
            path.write_text(text)
        assert blamed in broken(district, earlier)
