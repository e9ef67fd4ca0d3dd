"""Where results may go: never among the files they are made from, nor over what is not the district's own results."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from preplan.build import RESULTS
from preplan.cli import app
from tests.faults.small import SmallDistrict, write_small_district

APART = "the district's files into a folder apart from results"


def run(*words: object) -> tuple[int, str]:
    """Run the command line; return its exit status and all that it says, without breaks of lines."""
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit), "a message, not a traceback"
    return result.exit_code, " ".join(result.output.split())


def held(folder: Path) -> dict[str, bytes]:
    """Read everything in a folder, by its place in it."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def linked(name: str, target: Callable[[Path], Path]) -> Callable[[Path], Path]:
    """Name the place by a link to it."""

    def make(home: Path) -> Path:
        (home / name).symlink_to(target(home), target_is_directory=True)
        return home / name

    return make


@pytest.mark.parametrize("command", [["build"], ["card", "G1"]], ids=lambda words: words[0])
@pytest.mark.parametrize(
    "place",
    [
        pytest.param(lambda home: home / "mine", id="its own folder"),
        pytest.param(lambda home: Path(os.path.relpath(home / "mine")), id="from here"),
        pytest.param(lambda home: home / "mine" / "deeper" / "..", id="there and back"),
        pytest.param(lambda home: home, id="the folder around it"),
        pytest.param(linked("link", lambda home: home / "mine"), id="a link to it"),
        pytest.param(linked("link", lambda home: home), id="a link to the folder around it"),
    ],
)
def test_no_results_among_the_files_they_are_made_from(
    tmp_path: Path, command: list[str], place: Callable[[Path], Path]
) -> None:
    """However the folder is spelled, and before a table is read; nothing is written or removed."""
    home = tmp_path / "home"
    district = write_small_district(home / "mine")
    (home / "mine" / "deeper").mkdir()
    out = place(home)
    before = held(home)
    status, said = run(command[0], district, *command[1:], "--out", out)
    assert status == 2
    assert f"{out} cannot hold the results: it holds {district} and 5 more of the district's own files" in said
    assert APART in said
    assert "reading" not in said
    assert held(home) == before


@pytest.mark.parametrize(
    ("key", "name"),
    [("addresses", "addresses.csv"), ("apparatus", "apparatus.csv"), ("file", "roads.osm"), ("candidates", "more.csv")],
)
@pytest.mark.parametrize("how", ["named there", "linked there", "a link there"])
def test_no_results_where_one_input_lies(tmp_path: Path, key: str, name: str, how: str) -> None:
    """Any file that the district file names counts: the roads, a table that is not read yet, a link, a link's end."""
    one = SmallDistrict()
    if key == "candidates":
        one.toml = one.toml.replace("[files]\n", f'[files]\ncandidates = "{name}"\n')
        one.files[name] = "site_id"
    out = tmp_path / "out"
    out.mkdir()
    if how != "linked there":
        one.toml = one.toml.replace(f'{key} = "{name}"', f'{key} = "../out/{name}"')
    district = one.write(tmp_path / "mine")
    where = tmp_path / ("elsewhere" if how == "a link there" else "out")
    where.mkdir(exist_ok=True)
    shutil.move(tmp_path / "mine" / name, where / name)
    if how == "linked there":
        (tmp_path / "mine" / name).symlink_to(out / name)
    elif how == "a link there":
        (out / name).symlink_to(where / name)
    before = held(tmp_path)
    status, said = run("build", district, "--out", out)
    assert (status, APART in said) == (2, True), said
    assert f"{name}, which they are made from" in said
    assert held(tmp_path) == before


def test_a_district_kept_in_outputs_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The default place is then its own folder."""
    monkeypatch.chdir(tmp_path)
    write_small_district(tmp_path / "outputs" / "mine")
    before = held(tmp_path)
    status, said = run("build", "outputs/mine/district.toml")
    assert (status, APART in said) == (2, True), said
    assert held(tmp_path) == before


def test_a_broken_run_is_not_undone_over_the_district(tmp_path: Path) -> None:
    """What a killed run left beside a folder must not be put back over the files that somebody has moved there."""
    district = write_small_district(tmp_path / "mine")
    previous = tmp_path / "mine.previous"
    previous.mkdir()
    (previous / "addresses.csv").write_text("old")
    (previous / ".journal.json").write_text(json.dumps({"kept": ["addresses.csv"], "coming": {"apparatus.csv": ""}}))
    before = held(tmp_path)
    assert run("build", district, "--out", tmp_path / "mine")[0] == 2
    assert held(tmp_path) == before


def test_results_in_a_folder_inside_the_district_s_own(tmp_path: Path) -> None:
    """They hold no input, so they may stand there and be replaced as before; each set has the files that are known."""
    district = write_small_district(tmp_path / "mine")
    before = held(tmp_path / "mine")
    out = tmp_path / "mine" / "results"
    assert run("build", district, "--out", out)[0] == 0
    assert {*RESULTS} == {name for name in held(out) if "/" not in name}
    (out / "map.html").write_text("changed by hand")
    assert run("build", district, "--out", out)[0] == 0
    assert (out / "map.html").read_text().startswith("<!")
    kept = {name: content for name, content in held(tmp_path / "mine").items() if not name.startswith("results")}
    assert kept == before


@pytest.fixture
def unplanned(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stop a run where planning would begin."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("preplan.build.prepared_roads", stop)


@pytest.mark.usefixtures("unplanned")
@pytest.mark.parametrize("command", [["build"], ["card", "G1"]], ids=lambda words: words[0])
def test_another_district_s_results_are_not_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]
) -> None:
    """Two folders of one name share the default place: the second is told, and both remedies."""
    monkeypatch.chdir(tmp_path)
    other = SmallDistrict()
    other.toml = other.toml.replace('name = "', 'name = "Upper ')
    districts = [write_small_district(tmp_path / "a" / "fire"), other.write(tmp_path / "b" / "fire")]
    results = tmp_path / "outputs" / "fire"
    results.mkdir(parents=True)
    name = districts[0].read_text().split('name = "')[1].split('"')[0]
    (results / "run.json").write_text(json.dumps({"program": "preplan", "district": name, "files": {}}))
    before = held(tmp_path)
    assert run(command[0], districts[0], *command[1:])[0] == 130, "its own results are replaced"
    status, said = run(command[0], districts[1], *command[1:])
    assert status == 2
    assert f"outputs/fire holds the results of '{name}', not of 'Upper {name}'; write elsewhere with --out" in said
    assert held(tmp_path) == before


@pytest.mark.usefixtures("unplanned")
@pytest.mark.parametrize("run_json", [None, "[]", "no JSON", '{"program": "other", "files": {"addresses.csv": ""}}'])
def test_files_that_no_run_wrote_are_not_replaced(tmp_path: Path, run_json: str | None) -> None:
    """A table of the name of a result that run.json does not list is somebody's own."""
    district = write_small_district(tmp_path / "mine")
    out = tmp_path / "papers"
    out.mkdir()
    (out / "addresses.csv").write_text("a list of my own")
    if run_json is not None:
        (out / "run.json").write_text(run_json)
    status, said = run("build", district, "--out", out)
    assert status == 2
    assert f"{out}/addresses.csv stands where a result goes, and no run of this program wrote it; move it" in said
    (out / "addresses.csv").rename(out / "list.csv")
    if run_json is not None:
        assert f"{out}/run.json stands where a result goes" in run("build", district, "--out", out)[1]
        (out / "run.json").unlink()
    assert run("build", district, "--out", out)[0] == 130


def test_a_folder_that_takes_no_file_is_named_as_the_user_named_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not by the name of a file that was only a trial."""
    district = write_small_district(tmp_path / "mine")
    (tmp_path / "locked").mkdir()

    def denied(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(tmp_path / "locked" / "tmpqvuup9o9"))

    monkeypatch.setattr("tempfile.TemporaryFile", denied)
    status, said = run("build", district, "--out", tmp_path / "locked" / "out")
    assert status == 1
    assert said == (
        f"cannot write {tmp_path}/locked: Permission denied; is it open elsewhere, or not yours to write?"
        " Close it, or write elsewhere with --out. The results before are untouched"
    )


@pytest.mark.parametrize("place", [".", "deeper/..", "../here"])
def test_results_in_the_folder_where_one_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str) -> None:
    """`--out .` has no name of its own, and means the folder all the same."""
    district = write_small_district(tmp_path / "mine")
    (tmp_path / "here" / "deeper").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "here")
    status, said = run("build", district, "--out", place)
    assert status == 0, said
    assert {*RESULTS} <= {path.name for path in (tmp_path / "here").iterdir()}
    assert (tmp_path / "here.cache" / "roads.npz").is_file()
