"""Large results stand aside, and what several processes make is the same as what one makes."""

from __future__ import annotations

import gc
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from preplan.errors import OutputError
from preplan.render import shelf, side_by_side
from preplan.render.shelf import Shelf

REPOSITORY = Path(__file__).resolve().parents[1]


def test_a_shelf_gives_back_what_it_holds_and_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    large, larger = b"a" * (shelf.LARGE_BYTES + 1), b"b" * (shelf.LARGE_BYTES + 2)
    held = Shelf()
    held["small"] = b"s"
    assert list(tmp_path.iterdir()) == []
    held["cards/001.pdf"] = large
    held["cards/002.pdf"] = larger
    assert dict(held) == {"small": b"s", "cards/001.pdf": large, "cards/002.pdf": larger}
    held["cards/001.pdf"] = b"now small"
    held["small"] = large
    del held["cards/002.pdf"]
    assert dict(held) == {"cards/001.pdf": b"now small", "small": large}
    with pytest.raises(KeyError):
        held["cards/002.pdf"]
    del held
    gc.collect()
    assert list(tmp_path.iterdir()) == []


def test_a_shelf_without_room_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "not there"))
    with pytest.raises(OutputError, match=r"cards.pdf cannot be kept.*Is there room in"):
        Shelf()["cards.pdf"] = b"a" * (shelf.LARGE_BYTES + 1)


@dataclass(frozen=True)
class _Squares:
    """Make a few bytes that tell their number."""

    only_here: int = 0
    """Process id of the only process that can; 0: all can."""

    def __call__(self) -> Callable[[int], bytes]:
        if self.only_here and os.getpid() != self.only_here:
            raise SystemExit(3)
        return lambda number: str(number**2).encode()


@pytest.mark.parametrize("processes", [1, 2, 9])
def test_parts_are_the_same_whoever_makes_them(processes: int) -> None:
    assert dict(side_by_side.made(_Squares(), 5, processes)) == {n: str(n * n).encode() for n in range(5)}


def test_parts_of_a_process_that_fails_are_made_here() -> None:
    made = dict(side_by_side.made(_Squares(only_here=os.getpid()), 4, 2))
    assert made == {n: str(n * n).encode() for n in range(4)}


@dataclass(frozen=True)
class _Deadly:
    """Ends any other process that unpacks it, as a system short of memory does."""

    here: int

    def __reduce__(self) -> tuple[Callable[[int], _Deadly], tuple[int]]:
        return _unpacked, (self.here,)


def _unpacked(here: int) -> _Deadly:
    if os.getpid() != here:
        os.kill(os.getpid(), signal.SIGKILL)
    return _Deadly(here)


@dataclass(frozen=True)
class _Work:
    """More than a pipe holds at a time, behind what ends the process that begins to unpack it."""

    first: _Deadly
    load: bytes = bytes(5_000_000)

    def __call__(self) -> Callable[[int], bytes]:
        return lambda number: str(number).encode()


def test_a_helper_that_dies_while_it_is_told_what_to_do_holds_nothing_up() -> None:
    """It was told through a pipe that the library never closed: the program waited for ever."""
    program = (
        "import os; from tests.test_shelf import _Deadly, _Work; from preplan.render import side_by_side\n"
        "made = side_by_side.made(_Work(_Deadly(os.getpid())), 6, 3)\n"
        "print(sorted(number for number, _ in made))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=REPOSITORY, capture_output=True, text=True, timeout=60, check=False
    )
    assert (done.returncode, done.stdout) == (0, "[0, 1, 2, 3, 4, 5]\n")


def test_no_part_makes_none() -> None:
    assert list(side_by_side.made(_Squares(), 0, 4)) == []


@dataclass(frozen=True)
class _Slow:
    """Take a second for each part."""

    def __call__(self) -> Callable[[int], bytes]:
        def make(number: int) -> bytes:
            time.sleep(1.0)
            return str(number).encode()

        return make


def until_stopped() -> None:
    """Make parts until Ctrl-C; called by the test below in a process of its own."""
    try:
        for number, _ in side_by_side.made(_Slow(), 60, 3):
            print(number, flush=True)  # noqa: T201 - for the test that waits
    except KeyboardInterrupt:
        print("stopped", flush=True)  # noqa: T201 - the same


@pytest.mark.skipif(os.name == "nt", reason="needs signals to a group of processes")
@pytest.mark.parametrize("delay_s", [0.0, 0.3, 1.2])
def test_ctrl_c_is_for_the_process_that_asked(delay_s: float) -> None:
    """Everything of the group hears it, as from a terminal; the others end without a word."""
    command = [sys.executable, "-c", "from tests.test_shelf import until_stopped; until_stopped()"]
    run = subprocess.Popen(
        command, cwd=REPOSITORY, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    assert run.stdout is not None
    assert run.stdout.readline() == "0\n"
    time.sleep(delay_s)
    os.killpg(run.pid, signal.SIGINT)
    said, complaints = run.communicate(timeout=30)
    assert said.splitlines()[-1] == "stopped"
    assert complaints == ""
    assert run.returncode == 0
