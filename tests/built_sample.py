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

from preplan.cli import app
from tests.plan_checks import PLANS, SAMPLE, alone


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
    """Give the sample built from an empty folder, nothing cached, the network refused; nobody may write into it."""
    folder = Path(os.environ.get(PLANS) or tempfile.mkdtemp()) / "sample"
    told = folder.with_suffix(".json")
    with alone(folder.with_suffix(".lock")):
        if not told.exists():
            folder.mkdir(parents=True, exist_ok=True)
            out, asked = folder / "results", list[str]()
            with pytest.MonkeyPatch.context() as patch:
                without_network(asked, patch)
                result = run_build(SAMPLE / "district.toml", out)
            told.write_text(json.dumps([result.exit_code, result.stdout, result.stderr, asked]), encoding="utf-8")
    return Built(folder / "results", *json.loads(told.read_bytes()))


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
