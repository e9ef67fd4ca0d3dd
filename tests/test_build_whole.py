"""Whole or nothing: a build is the same wherever it is made, asks no network, and names every fault it refuses."""

from __future__ import annotations

import bz2
import csv
import gzip
import io
import json
import os
import shutil
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import NoReturn

import pytest
from typer.testing import CliRunner, Result

from preplan import build
from preplan.cli import app
from preplan.plan import Plan
from preplan.plan_inputs import Inputs
from preplan.records import FeatureTable, RoadTable
from preplan.roads.source import read_osm
from tests.built_sample import (
    Built,
    NetworkAskedError,
    built_sample,
    contents,
    only_tables,
    run_build,
    without_network,
)
from tests.faults.small import write_small_district
from tests.plan_checks import REPO, SAMPLE, plan_of
from tests.shared_data import shared
from tests.test_cache import same


def rows_of(path: Path) -> list[dict[str, str]]:
    """Read a table."""
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


def write_rows(path: Path, rows: list[dict[str, str]]) -> None:
    """Write a table."""
    text = io.StringIO()
    writer = csv.DictWriter(text, rows[0], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(text.getvalue(), encoding="utf-8")


@pytest.fixture(scope="module")
def built() -> Built:
    """Give the sample built by the command from an empty folder, no roads kept, the network refused."""
    found = built_sample()
    assert found.exit_code == 0, found.stderr
    return found


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the pages."""
    monkeypatch.setattr(build, "render_all", only_tables)


@pytest.fixture
def standing(built: Built, tmp_path: Path) -> Path:
    """Put the results of an earlier run where a test may spoil them."""
    return Path(shutil.copytree(built.out, tmp_path / "standing" / "results"))


@pytest.fixture
def district(tmp_path: Path) -> Path:
    """Copy the sample where a test may spoil it."""
    return Path(shutil.copytree(SAMPLE, tmp_path / "millrace"))


# ------------------------------------------------------------------------------------------------ what is written


def test_files_are_what_their_names_say(built: Built) -> None:
    starts = {
        ".pdf": b"%PDF-", ".gpkg": b"SQLite format 3\0", ".html": b"<!DOCTYPE html>", ".xlsx": b"PK\x03\x04",
        ".json": b"{", ".gpx": b"<?xml", ".kml": b"<?xml", ".csv": b"",
    }  # fmt: skip
    for name, content in built.files.items():
        assert content.startswith(starts[Path(name).suffix]), name
        if name.endswith(".csv"):
            assert b"\r" not in content
            assert not content.startswith(b"\xef\xbb\xbf")
            assert len({len(row) for row in csv.reader(io.StringIO(content.decode()))}) == 1, name


def test_run_file_says_what_went_in_and_what_became_of_it(built: Built) -> None:
    run = built.run
    assert run["files"] == {n: sha256(c).hexdigest() for n, c in built.files.items() if n != "run.json"}
    read = {path.name for path in SAMPLE.iterdir()} - {"candidates.csv", "drill.csv"}  # no part of a plan
    assert {one["name"] for one in run["inputs"].values()} == read
    for one in run["inputs"].values():
        assert one["sha256"] == sha256((SAMPLE / one["name"]).read_bytes()).hexdigest()
    assert run["date"] == "2026-05-01"
    assert run["counts"]["planned"] + run["counts"]["rejected"] == len(rows_of(SAMPLE / "addresses.csv"))
    assert sum(run["counts"]["status"].values()) == run["counts"]["planned"]
    assert run["seconds"]
    assert [stage for stage in run["seconds"] if stage not in built.stderr.splitlines()] == []


def test_nothing_is_left_beside_the_results(built: Built) -> None:
    assert {path.name for path in built.out.parent.iterdir()} == {"results", "results.cache"}


def test_sample_keeps_the_contract_of_files_and_columns(built: Built) -> None:
    script = shared("districts").parents[1] / "tools" / "check_outputs.py"
    if not script.exists():
        pytest.skip("no tools/check_outputs.py beside the shared data")
    done = subprocess.run([sys.executable, script, SAMPLE, built.out], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


# ------------------------------------------------------------------------------------------------ the same again


def assert_same(one: dict[str, bytes], other: dict[str, bytes]) -> None:
    """Compare two sets of results: all bytes, but for the seconds that each took."""
    assert set(one) == set(other)
    assert [name for name in one if one[name] != other[name] and name != "run.json"] == []
    runs = [json.loads(files["run.json"]) for files in (one, other)]
    assert [run.pop("seconds", None) is not None for run in runs] == [True, True]
    assert list(runs[0]) == list(runs[1])
    assert runs[0] == runs[1]


def test_network_is_not_asked(built: Built) -> None:
    assert built.asked == []


def test_the_refusal_of_the_network_works(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    without_network(asked, monkeypatch)
    with socket.socket() as plug, pytest.raises(NetworkAskedError):
        plug.connect(("127.0.0.1", 9))
    with pytest.raises(NetworkAskedError):
        socket.create_connection(("127.0.0.1", 9))
    assert len(asked) == 2


def test_second_run_over_the_first_is_the_same(built: Built, standing: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Roads from the cache now, and they are the same; a file that is not ours stays."""
    shutil.copytree(f"{built.out}.cache", f"{standing}.cache")
    (standing / "notes.txt").write_text("ours", encoding="utf-8")

    def refuse(*_args: object) -> NoReturn:
        raise AssertionError("the road file was read although its roads are kept")

    def drawn(_plan: Plan, _processes: int) -> Iterator[tuple[str, bytes]]:
        yield "cards.pdf", built.files["cards.pdf"]  # it draws them anew too

    def planned(_inputs: Inputs, roads: RoadTable, features: FeatureTable, _progress: object) -> Plan:
        assert same((roads, features), read_osm(SAMPLE / "roads.osm.gz"))
        return plan_of(SAMPLE / "district.toml")  # the next test plans anew

    monkeypatch.setattr(build, "read_roads", refuse)
    monkeypatch.setattr(build, "plan_district", planned)
    monkeypatch.setattr("preplan.render.card_pdf.cards", drawn)
    result = run_build(SAMPLE / "district.toml", standing)
    assert result.exit_code == 0, result.stderr
    again = contents(standing)
    assert again.pop("notes.txt") == b"ours"
    assert_same(built.files, again)


@pytest.mark.usefixtures("undrawn")
def test_results_are_not_written_of_tables_that_somebody_saves_meanwhile(
    district: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Their checksums were those of the new tables, and the plan of the old ones."""

    def planned(_inputs: Inputs, _roads: RoadTable, _features: FeatureTable, _progress: object) -> Plan:
        with (district / "stations.csv").open("a", encoding="utf-8") as file:
            file.write("\n")
        return plan_of(SAMPLE / "district.toml")

    monkeypatch.setattr(build, "plan_district", planned)
    result = run_build(district / "district.toml", tmp_path / "results")
    assert result.exit_code == 2
    assert "stations.csv: was changed while the district was planned: build again" in result.stderr
    assert not (tmp_path / "results").exists()


def test_another_machine_would_say_the_same(built: Built, tmp_path: Path) -> None:
    """Another process, folder, order of hashes, time zone, language; the default place, roads read anew, no network."""
    folder = shutil.copytree(SAMPLE, tmp_path / "inputs of the chief" / "millrace")
    away = {"PYTHONHASHSEED": "4711", "TZ": "Pacific/Auckland", "LC_ALL": "C", "PYTHONPATH": str(REPO)}
    command = [*cut_off(), sys.executable, "-m", "preplan", "build", str(folder / "district.toml")]
    done = subprocess.run(
        command, cwd=tmp_path, env={**os.environ, **away}, capture_output=True, text=True, check=False, timeout=300
    )
    assert done.returncode == 0, done.stderr
    assert_same(built.files, contents(tmp_path / "outputs" / "millrace"))


def cut_off() -> list[str]:
    """Give the words before a command that leave it no network at all, where this system lets us say them."""
    words = ["unshare", "--map-root-user", "--net"]
    if shutil.which(words[0]) is None or subprocess.run([*words, "true"], check=False, capture_output=True).returncode:
        return []
    return words


def test_results_name_no_folder_of_this_machine(built: Built) -> None:
    private = {str(REPO).encode(), str(built.out.parent).encode()}
    assert [(name, word) for name, content in built.files.items() for word in private if word in content] == []


# ------------------------------------------------------------------------------------------------ what stops a run


def assert_refused(result: Result, standing: Path, built: Built, *expected: str) -> None:
    """See status 2, every fault named on stderr, and the results before untouched byte for byte."""
    assert result.exit_code == 2, result.stderr
    assert isinstance(result.exception, SystemExit)
    assert [words for words in expected if words not in result.stderr] == [], result.stderr
    assert "Traceback" not in result.stderr
    assert contents(standing) == built.files
    assert {path.name for path in standing.parent.iterdir()} <= {"results", "results.cache"}


def edit(path: Path, *changes: tuple[str, str]) -> None:
    """Replace the first of each text in a file, which must be there."""
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path.write_text(text, encoding="utf-8")


def test_keys_and_values_of_the_district_file_are_named_with_their_rows(
    district: Path, standing: Path, built: Built
) -> None:
    edit(
        district / "district.toml",
        ("fill_hookup_min = 1.0", "fill_hokup_min = 1.0"),
        ("dump_setup_min = 5", 'dump_setup_min = "five"'),
        ("engines = 3", "engines = -3"),
        ('method = "nfpa1142"', 'method = "guess"'),
    )
    assert_refused(
        run_build(district / "district.toml", standing), standing, built,
        "district.toml row 25, column shuttle.fill_hokup_min", "'fill_hookup_min'",
        "row 26, column shuttle.dump_setup_min: 'five'",
        "column response_levels.1.engines: '-3'",
        "row 21, column required_flow.method: 'guess'",
    )  # fmt: skip


def test_district_file_that_is_no_toml(district: Path, standing: Path, built: Built) -> None:
    edit(district / "district.toml", ("[files]", "[files"))
    assert_refused(run_build(district / "district.toml", standing), standing, built, "district.toml row 8")


def test_district_file_that_is_not_there(district: Path, standing: Path, built: Built) -> None:
    assert_refused(run_build(district / "distrikt.toml", standing), standing, built, "distrikt.toml")


def test_missing_files_and_columns_of_all_tables_at_once(district: Path, standing: Path, built: Built) -> None:
    edit(district / "apparatus.csv", ("unit_id,station_id,kind", "unit_id,garage,kynd"))
    edit(district / "stations.csv", ("name,lon", "name,x_of_it"))
    (district / "hydrants.csv").unlink()
    assert_refused(
        run_build(district / "district.toml", standing), standing, built,
        "apparatus.csv row 1, column station_id", "apparatus.csv row 1, column kind", "kynd",
        "stations.csv row 1, column lon", "hydrants.csv",
    )  # fmt: skip


FAULTS = (
    (2, "F01", "kind", "dry hydrant of sorts"),
    (3, "F02", "lon", "west"),
    (4, "F03", "lat", "95"),
    (5, "F04", "fill_gpm", "-5"),
    (6, "F05", "positions", "0"),
    (7, "F06", "turnaround", "sideways"),
    (8, "F07", "months", "13-14"),
    (9, "F08", "needs_engine", "perhaps"),
    (10, "F09", "lift_ft", "deep"),
    (11, "F09", "site_id", "F09"),
    (12, "=F11", "site_id", "=F11"),
)
"""Row, id, column, value; the ids of the last two are faults themselves."""


def test_more_than_ten_faults_of_a_small_table_are_named_at_once(district: Path, standing: Path, built: Built) -> None:
    path = district / "fill_sites.csv"
    rows = rows_of(path)
    for row, _, column, value in FAULTS:
        rows[row - 2][column] = value
    rows[11]["storage_gal"] = ""
    write_rows(path, rows)
    result = run_build(district / "district.toml", standing)
    expected = [f"fill_sites.csv row {row} ({name}), column {column}: '{value}'" for row, name, column, value in FAULTS]
    assert_refused(result, standing, built, *expected, "fill_sites.csv row 13 (F12), column storage_gal")
    assert result.stderr.count("fill_sites.csv row") == len(FAULTS) + 1


def _gzip(content: bytes) -> bytes:
    return gzip.compress(content, mtime=0)


@pytest.mark.parametrize(
    ("suffix", "pack"), [(".osm", bytes), (".osm.gz", _gzip), (".osm.bz2", bz2.compress)], ids=[".osm", ".gz", ".bz2"]
)
def test_road_file_cut_in_half(
    district: Path, standing: Path, built: Built, suffix: str, pack: Callable[[bytes], bytes]
) -> None:
    whole = pack(gzip.decompress((district / "roads.osm.gz").read_bytes()))
    (district / f"half{suffix}").write_bytes(whole[: len(whole) // 2])
    edit(district / "district.toml", ('"roads.osm.gz"', f'"half{suffix}"'))
    assert_refused(run_build(district / "district.toml", standing), standing, built, f"half{suffix}", "cut short")


def test_no_tanker(district: Path, standing: Path, built: Built) -> None:
    path = district / "apparatus.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(line for line in lines if "tanker" not in line), encoding="utf-8")
    result = run_build(district / "district.toml", standing)
    assert_refused(result, standing, built, "apparatus.csv", "no tanker is in service")


def test_too_many_faulty_addresses(district: Path, standing: Path, built: Built) -> None:
    path = district / "addresses.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    spoiled = [line.replace(",-74.", ",x74.") if row % 4 == 0 else line for row, line in enumerate(lines, 1)]
    path.write_text("".join(spoiled), encoding="utf-8")
    result = run_build(district / "district.toml", standing)
    assert_refused(result, standing, built, "addresses.csv", "of 539 rows", "column lon: 'x74.")


@pytest.mark.usefixtures("undrawn")
def test_few_faulty_addresses_are_rejected_and_the_rest_is_planned(district: Path, tmp_path: Path) -> None:
    lines = (district / "addresses.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (district / "addresses.csv").write_text("".join(lines[:61]), encoding="utf-8")
    edit(district / "addresses.csv", ("MR0005,", "MR0006,"), ("-74.921536", "west of here"))
    out = tmp_path / "out"
    result = run_build(district / "district.toml", out)
    assert result.exit_code == 0, result.stderr
    rejected = rows_of(out / "rejected.csv")
    assert [(row["file"], row["id"], row["column"], row["value"]) for row in rejected] == [
        ("addresses.csv", "MR0002", "lon", "west of here"),
        ("addresses.csv", "MR0006", "address_id", "MR0006"),
    ]
    run = json.loads((out / "run.json").read_bytes())
    assert (run["counts"]["planned"], run["counts"]["rejected"]) == (58, 2)


# ------------------------------------------------------------------------------------------------ where it cannot write


def test_place_for_results_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "results").write_text("a letter", encoding="utf-8")
    result = run_build(SAMPLE / "district.toml", tmp_path / "results")
    assert result.exit_code == 2
    assert "is not a folder" in result.stderr
    assert (tmp_path / "results").read_text(encoding="utf-8") == "a letter"


LONG = "n" * 300
"""Longer than any file system's names."""


@pytest.mark.parametrize("place", ["letter/results", f"{LONG}/results", LONG, "ring", "ring/results"])
@pytest.mark.parametrize("command", [["build"], ["card", "MR0005"]], ids=lambda words: words[0])
def test_place_that_cannot_be_written_is_found_before_any_work(tmp_path: Path, command: list[str], place: str) -> None:
    """Inside a file, of a name too long, through links in a ring: said before a table is read."""
    (tmp_path / "letter").write_text("a letter", encoding="utf-8")
    (tmp_path / "ring").symlink_to("ring")
    words = [command[0], str(SAMPLE / "district.toml"), *command[1:], "--out", str(tmp_path / place)]
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 2, result.stderr
    assert isinstance(result.exception, SystemExit), "a message, not a traceback"
    assert "reading" not in result.stderr
    assert str(tmp_path / place)[:60] in result.stderr
    assert {path.name for path in tmp_path.iterdir()} == {"letter", "ring"}


@pytest.mark.skipif(shutil.which("mount") is None, reason="no mount command")
def test_disk_that_is_read_only_is_found_before_any_work(tmp_path: Path) -> None:
    """Which stops even root."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "ro", "tmpfs", disk], capture_output=True, check=False).returncode:
        pytest.skip("may not mount a disk here")
    try:
        result = run_build(SAMPLE / "district.toml", disk / "results")
    finally:
        subprocess.run(["umount", disk], check=True)
    assert result.exit_code == 1
    assert "Read-only file system" in result.stderr
    assert "reading" not in result.stderr


def test_a_place_that_can_be_written_is_left_as_it_was(tmp_path: Path) -> None:
    """Finding out leaves nothing behind, and makes no folder for a run that is refused."""
    (tmp_path / "district.toml").write_text("[district]", encoding="utf-8")
    assert run_build(tmp_path / "district.toml", tmp_path / "new" / "results").exit_code == 2
    assert [path.name for path in tmp_path.iterdir()] == ["district.toml"]


@pytest.mark.usefixtures("undrawn")
def test_place_for_results_is_inside_a_file(tmp_path: Path) -> None:
    (tmp_path / "letter").write_text("a letter", encoding="utf-8")
    result = run_build(SAMPLE / "district.toml", tmp_path / "letter" / "results")
    assert result.exit_code == 2
    assert isinstance(result.exception, SystemExit), "a message, not a traceback"
    assert str(tmp_path / "letter") in result.stderr
    assert (tmp_path / "letter").read_text(encoding="utf-8") == "a letter"


@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() == 0, reason="this user may write anywhere")
@pytest.mark.usefixtures("undrawn")
def test_place_for_results_is_not_ours(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        result = run_build(SAMPLE / "district.toml", tmp_path / "results")
    finally:
        tmp_path.chmod(0o700)
    assert result.exit_code == 1
    assert isinstance(result.exception, SystemExit), "a message, not a traceback"
    assert "cannot write" in result.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("undrawn")
def test_roads_that_cannot_be_kept_do_not_stop_the_run(tmp_path: Path) -> None:
    (tmp_path / "results.cache").write_text("in the way", encoding="utf-8")
    result = run_build(write_small_district(tmp_path / "district"), tmp_path / "results")
    assert result.exit_code == 0, result.stderr
    assert len(rows_of(tmp_path / "results" / "addresses.csv")) > 1
