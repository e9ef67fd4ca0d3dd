"""Faults of roads, shapes and the district file, through the whole command: status, message, and what is planned."""

from __future__ import annotations

import csv
import io
import os
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from preplan import build
from preplan.cli import EXIT_INPUT, app
from tests.built_sample import only_tables
from tests.conftest import Golden
from tests.faults.districts import DISTRICTS
from tests.faults.graphs import GRAPHS
from tests.faults.packed import PACKED
from tests.faults.pages import not_numbers
from tests.faults.planting import Fault
from tests.faults.roads import ROADS
from tests.faults.shapes import SHAPES
from tests.faults.small import SmallDistrict, write_small_district
from tests.faults.whole import WHOLE

HERE = Path(__file__).parent / "faults"
SUBJECTS = {"roads": ROADS, "graphs": GRAPHS, "shapes": SHAPES, "districts": DISTRICTS, "packed": PACKED}
DRAWN = 8
UNSAID = re.compile(r"note: (apparatus: no loaded_lb is given|addresses, column occupancy: \d rows? says? nothing)")
"""Notes on what the small district does not give: weights of its units, and what stands at its addresses."""
LONGEST = 400
"""Letters of a line that are kept: some faults are as long as what is at fault."""


def run(district: Path, out: Path) -> Result:
    return CliRunner().invoke(app, ["build", str(district), "--out", str(out)])


def results(out: Path) -> dict[str, bytes]:
    """Read the set of results that stands in a folder."""
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}


def words(result: Result, folder: Path) -> list[str]:
    """Give what the command said that is no stage of its progress, nor of what the small district leaves unsaid."""
    lines = [line for line in result.stderr.splitlines() if ":" in line and not UNSAID.match(line)]
    assert not [line for line in lines if str(folder) in line], "a folder of this machine"
    return [line if len(line) <= LONGEST else f"{line[:LONGEST]} ..." for line in lines]


def planned(files: dict[str, bytes]) -> list[str]:
    """Say what became of each address, and what the roads gave to look at."""
    rows = list(csv.DictReader(io.StringIO(files["addresses.csv"].decode())))
    by_status: dict[str, list[str]] = {}
    for row in rows:
        by_status.setdefault(row["status"], []).append(row["address_id"])
    return [f"{status}: {' '.join(ids)}" for status, ids in by_status.items()]


def told(fault: Fault, folder: Path, *, drawn: bool) -> str:
    """Plant a fault, run the command, check what holds for any fault, and write down what it said and did.

    `drawn`: its pages too; else its tables of text alone.
    """
    district = SmallDistrict()
    fault.plant(district)
    with pytest.MonkeyPatch.context() as patch:
        if not drawn:
            patch.setattr(build, "render_all", only_tables)
        result = run(district.write(folder / "district"), folder / "out")
    said = words(result, folder)
    assert isinstance(result.exception, SystemExit | None), (fault.name, result.exception)
    assert result.exit_code == fault.exit, (fault.name, said)
    assert "Traceback" not in result.stderr
    if fault.exit == EXIT_INPUT:
        assert said, fault.name
        assert not (folder / "out").exists()
        done = ["planned: nothing"]
    else:
        files = results(folder / "out")
        assert not_numbers(files) == [], fault.name
        done = planned(files)
    assert not list(Path.cwd().glob("ran")), "a text of the input was run"
    return "\n".join([f"== {fault.name}", f"exit {fault.exit}", *said, *done, ""])


@pytest.fixture(autouse=True)
def _nobody_waits_for_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lasting through a power cut is tested apart; hundreds of sets here need not."""
    monkeypatch.setattr(os, "fsync", lambda _handle: None)


def test_there_are_enough_faults_and_none_twice() -> None:
    tables = tomllib.loads((HERE / "planted.toml").read_text(encoding="utf-8"))["fault"]
    names = [fault.name for fault in WHOLE]
    assert len(names) == len(set(names))
    assert sum(map(len, SUBJECTS.values())) == len(WHOLE)
    assert len(WHOLE) + len(tables) >= 340


@pytest.mark.parametrize("subject", SUBJECTS)
def test_planted_faults(subject: str, tmp_path: Path, golden: Golden) -> None:
    """Each has its exit status, leaves the rest planned, and says what a person can act on: a committed text.

    Of every so manieth the pages are drawn.
    """
    faults: Sequence[Fault] = SUBJECTS[subject]
    messages = "\n".join(told(fault, tmp_path / f"{i}", drawn=i % DRAWN == 0) for i, fault in enumerate(faults))
    assert messages == golden(HERE / f"messages_{subject}.txt", messages)


def test_without_a_fault_every_address_is_planned(tmp_path: Path) -> None:
    """The district itself is sound, so what a fault changes is the fault's."""
    result = run(write_small_district(tmp_path / "district"), tmp_path / "out")
    assert result.exit_code == 0
    assert len([line for line in result.stderr.splitlines() if UNSAID.match(line)]) == 2
    assert words(result, tmp_path) == [
        "addresses: 9 rows: 9 planned, 0 hydrant, 0 rejected",
        "planned: 4 served, 5 higher level, 0 not met, 0 no route",
    ]
