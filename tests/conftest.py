"""What all tests share: committed texts that one switch renews, and plans that are made once a run."""

from __future__ import annotations

import os
import shutil
import signal
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.plan_checks import PLANS

Golden = Callable[[Path, str], None]
"""Compares a text with a committed file, or writes it there."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the switch that renews committed texts instead of comparing with them."""
    parser.addoption(
        "--renew-golden", action="store_true", help="write committed expected texts anew; read the difference after"
    )


def pytest_configure() -> None:
    """Let programs that tests start hear Ctrl-C: a shell tells what runs in the background to ignore it."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    if "PYTEST_XDIST_WORKER" not in os.environ:  # workers inherit the folder
        os.environ[PLANS] = tempfile.mkdtemp(prefix="preplan-tests-")


def pytest_unconfigure() -> None:
    """Remove the plans that the run has kept."""
    if "PYTEST_XDIST_WORKER" not in os.environ:
        shutil.rmtree(os.environ.pop(PLANS), ignore_errors=True)


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Golden:
    """Give a comparison of a text with its committed file."""

    def compare(path: Path, text: str) -> None:
        if request.config.getoption("--renew-golden"):
            path.write_text(text, encoding="utf-8", newline="\n")
        assert text == path.read_text(encoding="utf-8"), f"{path.name} differs; --renew-golden writes it anew"

    return compare
