"""Large results stand aside, and what several processes make is the same as what one makes."""

from __future__ import annotations

import gc
import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from preplan.errors import OutputError
from preplan.render import shelf, side_by_side
from preplan.render.shelf import Shelf


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


def test_no_part_makes_none() -> None:
    assert list(side_by_side.made(_Squares(), 0, 4)) == []
