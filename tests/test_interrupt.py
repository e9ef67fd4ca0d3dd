"""Runs that are killed or stopped: a real `preplan build` each time, and what is in the folder afterwards."""

from __future__ import annotations

import errno
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from shutil import copytree, which

import pytest

from preplan.errors import STOPPED
from preplan.write import restore_broken
from tests.fuzzing import NIGHT
from tests.inputs_folder import toml, write_folder
from tests.osm_text import OsmText
from tests.ready import Run

REPOSITORY = Path(__file__).resolve().parents[1]
LAST_STAGE = "writing results"
SEED = 20260501
PAIRS = 67 if NIGHT else 5
"""Folders in which a run is killed three times: 201 moments in a night, 15 in every run."""
STOPPED_AT = range(11)
"""Stages at which Ctrl-C comes."""
SHUTTLE = "shuttle --tank 2000 --miles-out 2 --miles-back 2"
BUSY = "while True: sum(range(1000))"
"""What keeps a processor from everybody else."""

pytestmark = pytest.mark.skipif(os.name == "nt", reason="needs signals")


def write_district(folder: Path, name: str) -> Path:
    """Write the small district, with a road past all its places; the name of its first level tells runs apart."""
    folder.mkdir(exist_ok=True)
    text = OsmText()
    for node, (lon, lat) in enumerate(
        [(-72.05, 44.05), (-72.03, 44.03), (-72.02, 44.02), (-72.01, 44.01), (-72.0, 44.0), (-72.02, 44.0)], start=1
    ):
        text.node(node, lon, lat)
    text.way(10, [1, 2, 3, 4, 5], {"highway": "tertiary", "name": "Mill Road"}, date="2026-04-30T00:00:00Z")
    text.way(11, [5, 6], {"highway": "tertiary", "name": "Depot Street"})
    return write_folder(folder, roads_osm=text.xml(), district_toml=toml().replace("Level 1", name))


def start(district: Path, out: Path) -> Run:
    return Run("build", str(district), "--out", str(out))


def finish(district: Path, out: Path) -> list[str]:
    """Run to the end; return the lines on stderr."""
    run = start(district, out)
    stdout, stderr = run.communicate(timeout=120)
    assert run.returncode == 0, stderr
    assert stdout == f"Results in {out}\n"
    return stderr.splitlines()


def stop(district: Path, out: Path, moment: tuple[str, float], how: signal.Signals) -> tuple[int, str]:
    """Run, and send a signal some seconds after a stage begins; return the exit status and the rest of stderr."""
    stage, delay_s = moment
    run = start(district, out)
    for line in run.stderr:
        if line.strip() == stage:
            break
    time.sleep(delay_s)
    run.send_signal(how)
    _, rest = run.communicate(timeout=60)
    assert run.returncode is not None
    return run.returncode, rest


def whole(out: Path) -> str | None:
    """Name the first level of the results that stand in a folder, all as their run.json lists them; None: not whole."""
    listed = json.loads((out / "run.json").read_bytes())
    found = {
        path.relative_to(out).as_posix(): sha256(path.read_bytes()).hexdigest()
        for path in out.rglob("*")
        if path.is_file() and path.name != "run.json"
    }
    return str(listed["response_levels"][0]["name"]) if found == listed["files"] else None


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    """Return a folder with results, and the stages of the run that made them."""
    folder = tmp_path_factory.mktemp("first")
    stages = finish(write_district(folder / "district", "First"), folder / "out")
    assert whole(folder / "out") == "First"
    return folder, [line for line in stages if ":" not in line and line != "done"]


@pytest.fixture(scope="module")
def load() -> Iterator[None]:
    """Keep every processor busy through a night's kills, so that moments fall differently each time."""
    busy = [subprocess.Popen([sys.executable, "-c", BUSY]) for _ in range(os.cpu_count() or 1) if NIGHT]
    yield
    for one in busy:
        one.kill()
        one.wait()


@pytest.mark.usefixtures("load")
@pytest.mark.parametrize("pair", range(PAIRS))
def test_killed_at_any_moment(first: tuple[Path, list[str]], tmp_path: Path, pair: int) -> None:
    """Three kills each, two while results are written: a whole set stands after each, and the next run works."""
    folder, stages = first
    draw = random.Random(SEED + pair)  # noqa: S311  moments, not secrets
    moments = [
        (draw.choice(stages[:-1]), draw.uniform(0.0, 0.3)),
        *((LAST_STAGE, draw.uniform(0.0, 0.02)) for _ in "ab"),
    ]
    out = tmp_path / "out"
    copytree(folder / "out", out)
    stands = "First"
    for number, moment in enumerate(moments):
        name = f"Killed {number}"
        status, _ = stop(write_district(tmp_path / "district", name), out, moment, signal.SIGKILL)
        assert status in {-signal.SIGKILL, 0}, "0: it had ended before the signal came"
        if whole(out) is None:
            assert restore_broken(out), "a mixed set, and no way back"
        found = whole(out)
        assert found == name if status == 0 else found in {stands, name}
        stands = str(found)
    finish(write_district(tmp_path / "district", "Last"), out)
    assert whole(out) == "Last"
    assert {path.name for path in tmp_path.iterdir()} - {"out", "district", "out.cache"} == set()


@pytest.mark.parametrize("stage", STOPPED_AT)
def test_ctrl_c(first: tuple[Path, list[str]], tmp_path: Path, stage: int) -> None:
    """Exit status 130, one line and no traceback, and the results before as they were."""
    folder, stages = first
    out = tmp_path / "out"
    copytree(folder / "out", out)
    status, rest = stop(write_district(tmp_path / "district", "Other"), out, (stages[stage], 0.0), signal.SIGINT)
    assert status == 130, rest
    assert rest.splitlines()[-1] == "stopped; previous results are untouched"
    assert "Traceback" not in rest
    assert whole(out) == "First"
    assert {path.name for path in tmp_path.iterdir()} - {"out", "district", "out.cache"} == set()


def test_ctrl_c_while_the_program_is_imported() -> None:
    """Before the first stage the same line and exit status, and no traceback."""
    command = [sys.executable, "-X", "importtime", "-m", "preplan", "rules"]
    run = subprocess.Popen(command, cwd=REPOSITORY, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert run.stderr is not None
    for line in run.stderr:
        if line.rstrip().endswith(" typer.colors"):  # of the many modules that the commands need, an early one
            break
    run.send_signal(signal.SIGINT)
    said, rest = run.communicate(timeout=60)
    assert (run.returncode, said) == (130, "")
    assert "Traceback" not in rest
    assert STOPPED in rest


def test_ctrl_c_while_results_are_written(first: tuple[Path, list[str]], tmp_path: Path) -> None:
    """The set before or the new one, whole, and the exit status says which.

    A Ctrl-C that finds the program done, its interpreter closing, ends it as the system does.
    """
    folder, _ = first
    out = tmp_path / "out"
    copytree(folder / "out", out)
    district = write_district(tmp_path / "district", "Other")
    status, rest = stop(district, out, (LAST_STAGE, 0.002), signal.SIGINT)
    assert status in {0, 130, -signal.SIGINT}, rest
    assert whole(out) in ({"First", "Other"} if status == 130 else {"Other"})
    assert "Traceback" not in rest
    assert {path.name for path in tmp_path.iterdir()} - {"out", "district", "out.cache"} == set()


@pytest.mark.skipif(which("mount") is None, reason="no mount command")
def test_the_disk_fills_up(first: tuple[Path, list[str]], tmp_path: Path) -> None:
    """A real run onto a disk with room for the set before and little more: said plainly, and that set is whole."""
    folder, _ = first
    disk = tmp_path / "disk"
    disk.mkdir()
    size = sum(path.stat().st_size for path in (folder / "out").rglob("*") if path.is_file())
    options = f"size={(size + 300_000) // 1024}k"
    if subprocess.run(
        ["mount", "-t", "tmpfs", "-o", options, "tmpfs", disk], capture_output=True, check=False
    ).returncode:
        pytest.skip("may not mount a disk here")
    try:
        copytree(folder / "out", disk / "out")
        run = start(write_district(tmp_path / "district", "Other"), disk / "out")
        _, said = run.communicate(timeout=120)
        assert run.returncode == 1
        assert "no room on the disk" in said
        assert "Traceback" not in said
        assert whole(disk / "out") == "First"
        assert {path.name for path in disk.iterdir()} <= {"out", "out.cache"}
    finally:
        subprocess.run(["umount", disk], check=True)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("asked", ["rules", "columns", "--version", "--help", SHUTTLE])
def test_output_that_a_full_disk_does_not_take(asked: str) -> None:
    """One line and a status of its own: a script must not take half a list for the whole, nor report a fault."""
    with Path("/dev/full").open("w") as full:
        run = subprocess.run(
            [sys.executable, "-m", "preplan", *asked.split()],
            cwd=REPOSITORY, stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False,
        )  # fmt: skip
    assert (run.returncode, run.stderr) == (1, f"cannot write the output: {os.strerror(errno.ENOSPC)}\n")


def test_two_runs_at_once(first: tuple[Path, list[str]], tmp_path: Path) -> None:
    """Both end well; the results are those of one of them, whole."""
    folder, _ = first
    copytree(folder / "out", tmp_path / "out")
    runs = [start(write_district(tmp_path / name, name), tmp_path / "out") for name in ("One", "Two")]
    said = [run.communicate(timeout=120)[1] for run in runs]
    assert [run.returncode for run in runs] == [0, 0], said
    assert whole(tmp_path / "out") in {"One", "Two"}
