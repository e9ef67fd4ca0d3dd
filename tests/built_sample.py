"""The sample built by the command, once in a test run, and what came of it."""

from __future__ import annotations

import json
import os
import socket
import tempfile
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, NoReturn

import pytest
from typer.testing import CliRunner, Result

from preplan import build
from preplan.cli import app
from preplan.plan import Plan
from preplan.plan_inputs import Inputs
from preplan.planning.pipeline import plan_district
from preplan.render import card_table, dispatch, tables
from tests.plan_checks import PLANS, SAMPLE, alone, kept_plan


class NetworkAskedError(AssertionError):
    """The program asked the network."""


@dataclass(frozen=True)
class Built:
    """One set of results, and how it came about."""

    out: Path
    exit_code: int
    stdout: str
    stderr: str
    asked: list[str]
    """What was asked of the network."""

    @cached_property
    def files(self) -> dict[str, bytes]:
        """What was written, by relative name."""
        return contents(self.out)

    @property
    def run(self) -> dict[str, Any]:
        """What run.json says."""
        return dict(json.loads(self.files["run.json"]))


def built_sample() -> Built:
    """Give the sample built from an empty folder, nothing cached, the network refused; nobody may write into it.

    Its plan is the one that other tests have too.
    """
    folder = Path(os.environ.get(PLANS) or tempfile.mkdtemp()) / "sample"
    told = folder.with_suffix(".json")
    with alone(folder.with_suffix(".lock")):
        if not told.exists():
            folder.mkdir(parents=True, exist_ok=True)
            out, asked = folder / "results", list[str]()
            with pytest.MonkeyPatch.context() as patch:
                without_network(asked, patch)
                planned_once(SAMPLE / "district.toml", patch)
                result = run_build(SAMPLE / "district.toml", out)
            told.write_text(json.dumps([result.exit_code, result.stdout, result.stderr, asked]), encoding="utf-8")
    return Built(folder / "results", *json.loads(told.read_bytes()))


def planned_once(district_file: Path, patch: pytest.MonkeyPatch) -> None:
    """Let builds of a district take the plan that a test run keeps of it, or keep theirs."""

    def planned(*given: Any) -> Plan:
        return kept_plan(district_file, lambda: plan_district(*given))

    patch.setattr(build, "plan_district", planned)


def only_tables(plan: Plan, inputs: Inputs, *_rest: object) -> dict[str, bytes]:
    """Write the tables of text alone: pages take most of the time, for tests of what happens before and after."""
    written = (tables.addresses_csv, tables.levels_csv, tables.seasons_csv, tables.trips_csv, tables.hauls_csv,
               dispatch.dispatch_csv, card_table.cards_csv)  # fmt: skip
    names = "addresses", "levels", "seasons", "trips", "tankers", "dispatch", "cards"
    files = {f"{name}.csv": write(plan) for name, write in zip(names, written, strict=True)}
    return files | {"rejected.csv": tables.rejected_csv(inputs.rejected)}


def run_build(district_file: Path, out: Path) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(app, ["build", str(district_file), "--out", str(out)])


def contents(folder: Path) -> dict[str, bytes]:
    """Read every file of a folder by its relative name."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def without_network(asked: list[str], patch: pytest.MonkeyPatch) -> None:
    """Let no Python code reach the network, and note what tries to."""

    def refuse(*args: object, **_options: object) -> NoReturn:
        asked.append(str(args))
        raise NetworkAskedError

    for name in ("connect", "connect_ex", "sendto"):
        patch.setattr(socket.socket, name, refuse)
    for name in ("getaddrinfo", "gethostbyname", "create_connection"):
        patch.setattr(socket, name, refuse)
