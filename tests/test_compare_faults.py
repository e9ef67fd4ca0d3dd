"""`preplan compare`: folders that are no results, or not whole, or not of one district, are refused with what to do."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from preplan.cli import app
from preplan.compare.look_up import look_up
from preplan.compare.results import CSV_TABLES, PACKAGE, read_results
from tests.compare_results import build, edit_run, rewrite, small

Break = Callable[[Path], object]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the small district once."""
    return build(small(), tmp_path_factory.mktemp("whole"))


def refused(old: Path, new: Path) -> str:
    """Compare two folders, which must be refused with exit status 2 and nothing on stdout; return what is said."""
    result = CliRunner().invoke(app, ["compare", str(old), str(new)])
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    return result.stderr


def edited(name: str, old: bytes, new: bytes) -> Break:
    """Change the words of a file, as somebody does who opens it."""

    def change(folder: Path) -> None:
        content = (folder / name).read_bytes()
        assert old in content
        (folder / name).write_bytes(content.replace(old, new))

    return change


def rewritten(name: str, old: bytes, new: bytes) -> Break:
    """Change the words of a file and its checksum, as if another version had written it."""

    def change(folder: Path) -> None:
        content = (folder / name).read_bytes()
        assert old in content
        rewrite(folder, name, content.replace(old, new, 1))

    return change


def doubled(folder: Path) -> None:
    lines = (folder / "addresses.csv").read_bytes().splitlines(keepends=True)
    rewrite(folder, "addresses.csv", b"".join([*lines, lines[1]]))


def gone(name: str) -> Break:
    return lambda folder: (folder / name).unlink()


def run_says(text: bytes) -> Break:
    return lambda folder: (folder / "run.json").write_bytes(text)


def package(statement: str) -> Break:
    """Change the GeoPackage, and its checksum."""

    def change(folder: Path) -> None:
        with closing(sqlite3.connect(folder / PACKAGE)) as database:
            database.execute(statement)
            database.commit()
        rewrite(folder, PACKAGE, (folder / PACKAGE).read_bytes())

    return change


FAULTS: dict[str, tuple[Break, str]] = {
    "no folder": (shutil.rmtree, "is not there; name two folders of results, the older one first"),
    "no results": (gone("run.json"), "holds no results of this program: there is no run.json"),
    "run.json cut": (run_says(b'{"program": "prep'), "run.json: cannot be read: it was cut short or edited"),
    "run.json of others": (run_says(b'{"program": "other"}'), "is not that of a build of this program"),
    "run.json a list": (run_says(b"[1]"), "is not that of a build of this program"),
    "run.json short": (
        lambda folder: edit_run(folder, lambda run: run.pop("response_levels")),
        "does not say response_levels: another version wrote it, or it was edited; build the district again",
    ),
    "edited": (
        edited("addresses.csv", b"served", b"SERVED"),
        "addresses.csv: is not as the run wrote it: its checksum is not that in run.json; somebody edited it, or a run",
    ),
    "run.json odd": (
        lambda folder: edit_run(folder, lambda run: run.update(inputs={"roads": 1})),
        "does not say inputs: another version wrote it, or it was edited",
    ),
    "a file gone": (gone("levels.csv"), "levels.csv: is not there, though run.json lists it"),
    "a file not of the set": (
        lambda folder: edit_run(folder, lambda run: run["files"].pop("tankers.csv")), "tankers.csv: is not as the run",
    ),
    "a column gone": (
        rewritten("addresses.csv", b",split_site_id,", b",other,"),
        "addresses.csv: has no column split_site_id: another version of the program wrote it; build the district again",
    ),
    "a layer's column gone": (
        package("ALTER TABLE fill_sites RENAME COLUMN positions TO places"),
        f"{PACKAGE}, layer fill_sites: has no column positions",
    ),
    "a layer gone": (package("DROP TABLE routes"), f"{PACKAGE}: cannot be read, or lacks a layer"),
    "no package": (lambda folder: rewrite(folder, PACKAGE, b"no database"), f"{PACKAGE}: cannot be read"),
    "an id twice": (doubled, "addresses.csv (G1): is in 2 rows"),
    "no number": (
        rewritten("trips.csv", b"\nG1,S1,0.", b"\nG1,S1,x"), "trips.csv row 2, column out_min: 'x7' is not a number",
    ),
    "rows of other lengths": (
        rewritten("levels.csv", b"\nG1,Level 1,", b"\nG1,Level 1,,,"), "levels.csv: cannot be read as a table",
    ),
    "an empty table": (rewritten("rejected.csv", b"file,row,id,column,value,rule\n", b""), "rejected.csv: cannot be"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_folder_at_fault_is_refused(whole: Path, tmp_path: Path, name: str) -> None:
    """Whichever of the two it is, with the file that is at fault and what to do."""
    fault, said = FAULTS[name]
    shutil.copytree(whole, tmp_path / "broken")
    fault(tmp_path / "broken")
    assert said in refused(whole, tmp_path / "broken")
    assert str(tmp_path / "broken") in refused(tmp_path / "broken", whole)


def test_all_that_is_wrong_with_both_is_told_at_once(whole: Path, tmp_path: Path) -> None:
    """Two files of one, and the other."""
    shutil.copytree(whole, tmp_path / "broken")
    for name in ("levels.csv", "trips.csv"):
        (tmp_path / "broken" / name).unlink()
    said = refused(tmp_path / "broken", tmp_path / "none")
    assert len(said.splitlines()) == 3


def test_a_file_for_a_folder_is_refused(whole: Path) -> None:
    """The map is part of the results, and not their folder."""
    assert "is not a folder" in refused(whole, whole / "run.json")


def test_the_same_folder_twice_is_refused(whole: Path, tmp_path: Path) -> None:
    """Under another name as well."""
    assert "is the same folder twice; keep a copy of the results before you build again" in refused(whole, whole)
    (tmp_path / "link").symlink_to(whole, target_is_directory=True)
    assert "is the same folder twice" in refused(whole, tmp_path / "link")


def test_two_districts_are_refused(whole: Path, tmp_path: Path) -> None:
    """Both are named."""
    shutil.copytree(whole, tmp_path / "other")
    edit_run(tmp_path / "other", lambda run: run.update(district="Elsewhere"))
    said = refused(whole, tmp_path / "other")
    assert f"are the results of 'Elsewhere', those in {whole} of 'Millrace'" in said


def test_steps_below_zero_are_refused(whole: Path) -> None:
    """As every option by hand."""
    result = CliRunner().invoke(app, ["compare", str(whole), str(whole), "--gpm", "-1"])
    assert result.exit_code == 2
    assert "--gpm: '-1' must be at least 0" in result.stderr


def test_the_results_are_as_the_run_wrote_them_afterwards(whole: Path) -> None:
    """Reading leaves no journal of the database, and changes nothing."""
    before = {path.name: path.stat().st_mtime_ns for path in whole.iterdir()}
    read_results(whole)
    assert {path.name: path.stat().st_mtime_ns for path in whole.iterdir()} == before
    assert {f"{name}.csv" for name in CSV_TABLES} <= set(before)


def test_help_says_what_it_does() -> None:
    """Every argument and option, groups, causes and exit status, and an example."""
    said = " ".join(CliRunner().invoke(app, ["compare", "--help"]).stdout.split())
    for words in ("OLD_DIR", "NEW_DIR", "--gpm", "--minutes", "--all", "--csv", "--json", "worse come first",
                  "where they tell none", "Exit status 0 whether or not", "cp -r outputs/millrace"):  # fmt: skip
        assert words in said, words


# --------------------------------------------------------------------------- the look-up in dispatch.csv


def test_an_address_is_found_by_road_and_number_or_by_label_and_never_in_the_row_of_another() -> None:
    """Odd and even sides, other spellings, a label without a number; what answers otherwise is not taken."""
    cells = {"status": "served", "response_level": "Level 1", "split_site_id": "", "backup_site_id": ""}
    dispatch = pd.DataFrame(
        [
            (10.0, 40.0, "even", "Mill Road", "E1 T1", "", "", "S1"),
            (11.0, 41.0, "odd", "Mill Road", "E2 T2", "S3", "", "S1"),
            (np.nan, np.nan, "all", "Quarry Lane", "E3", "", "Old Farm", "S2"),
        ],
        columns=["from_number", "to_number", "parity", "road", "units", "winter_site_id", "label", "fill_site_id"],
    ).assign(**cells, required_gpm=250.0)
    asked = [
        ("12 MILL RD", "S1"),
        ("13 Mill Road", "S1"),
        ("old farm", "S2"),
        ("42 Mill Rd", "S1"),
        ("12 Mill Rd", "S9"),
        ("Grange Hall, 12 Mill Rd", "S1"),
        ("Mill Rd 13, camp", "S1"),
        ("Grange Hall near Mill Rd", "S1"),
    ]
    addresses = pd.DataFrame(asked, columns=["label", "fill_site_id"]).assign(**cells, required_gpm=250.0)
    found = look_up(addresses, dispatch)
    assert found["road"].tolist() == ["Mill Road", "Mill Road", "Quarry Lane", "", "", "Mill Road", "Mill Road", ""]
    assert found["units"].tolist() == ["E1 T1", "E2 T2", "E3", "", "", "E1 T1", "E2 T2", ""]
    assert found["winter"].tolist() == ["", "S3", "", "", "", "", "S3", ""]
    assert found["found"].tolist() == [True, True, True, False, False, True, True, False]
