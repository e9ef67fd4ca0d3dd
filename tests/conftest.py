"""What all tests share: committed texts that one switch renews, plans that are made once a run, and a browser."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings
from xdist.scheduler.worksteal import WorkStealingScheduling

from preplan.processes import cores
from tests.browser import Opened, launched, opened
from tests.plan_checks import PLANS, SAMPLE, find_machine_code, plan_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser
    from xdist.remote import Producer

settings.register_profile("preplan", deadline=None)
_AHEAD = pytest.StashKey["subprocess.Popen[bytes]"]()
_PLAN_AHEAD = """
from tests.plan_checks import SAMPLE, find_machine_code, plan_of
find_machine_code()
plan_of(SAMPLE / 'district.toml')
"""
Golden = Callable[[Path, str], str]
"""Gives the text of a committed file, to be compared with one at hand, which is written there first where asked for."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the switch that renews committed texts instead of comparing with them."""
    parser.addoption(
        "--renew-golden", action="store_true", help="write committed expected texts anew; read the difference after"
    )


def pytest_configure(config: pytest.Config) -> None:
    """Give drawn cases all the time they take, which a busy machine stretches.

    Let programs that tests start hear Ctrl-C: a shell tells what runs in the background to ignore it. Where several
    processes share the tests, another plans the sample while they collect: they find its loops compiled.
    """
    settings.load_profile("preplan")
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    if "PYTEST_XDIST_WORKER" not in os.environ:  # workers inherit the folder
        os.environ[PLANS] = tempfile.mkdtemp(prefix="preplan-tests-")
        if config.getoption("numprocesses", default=None):
            config.stash[_AHEAD] = subprocess.Popen([sys.executable, "-c", _PLAN_AHEAD], cwd=config.rootpath)


def pytest_collection_finish() -> None:
    """Let the processes that share the tests begin when the loops are compiled, which each would do for itself."""
    if "PYTEST_XDIST_WORKER" in os.environ:
        find_machine_code()


def pytest_unconfigure(config: pytest.Config) -> None:
    """Remove the plans that the run has kept."""
    if ahead := config.stash.get(_AHEAD, None):
        ahead.kill()
        ahead.wait()
    if "PYTEST_XDIST_WORKER" not in os.environ:
        shutil.rmtree(os.environ.pop(PLANS), ignore_errors=True)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """Start a process for each core that this one may use: browsers run beside them, and each reads all tests anew."""
    return cores()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> WorkStealingScheduling:
    """Give each process a run of tests that lie together, so that what a module prepares is prepared once."""
    return WorkStealingScheduling(config, log)


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Golden:
    """Give a reader of committed texts; `--renew-golden` writes them anew."""

    def committed(path: Path, text: str) -> str:
        if request.config.getoption("--renew-golden"):
            path.write_text(text, encoding="utf-8", newline="\n")
        return path.read_text(encoding="utf-8")

    return committed


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Give a browser, one for all tests of a process; skip where there is none."""
    with launched() as found:
        yield found


@pytest.fixture
def wide(browser: Browser, file_url: str) -> Iterator[Opened]:
    """Open the page of a module, `file_url`, in a wide window; it complains of nothing and asks for nothing else."""
    found = opened(browser, file_url)
    yield found
    assert found.complaints == []
    assert found.requests == [file_url]


@pytest.fixture(scope="session")
def sample_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Draw the map of the sample, once for all tests of a process."""
    from preplan.render.map_html import map_page

    path: Path = tmp_path_factory.mktemp("sample") / "map.html"
    path.write_text(map_page(plan_of(SAMPLE / "district.toml")), encoding="utf-8")
    return path.as_uri()
