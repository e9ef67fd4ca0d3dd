"""Compiled loops give their answer wherever their machine code can be kept or not, and never that of other source."""

from __future__ import annotations

import errno
import importlib.util
import math
import os
from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import numba
import numpy as np
import pytest
from numba.core import caching

from preplan.compiled import kept, record_of

SOURCE = """
from preplan.compiled import compiled, kept

@compiled
def _more(number):
    return number + {more}

@kept
def answer(number):
    return _more(number)
"""
_NUMBER = count()


@pytest.fixture
def answer(tmp_path: Path) -> Callable[[int], Any]:
    """Give a maker of the compiled function, each time of a module that is read anew; all have the same file."""
    path = tmp_path / "loops.py"

    def made(more: int) -> Any:
        path.write_text(SOURCE.format(more=more), encoding="utf-8")
        os.utime(path, (1e9, 1e9))  # a package that is unpacked with fixed times
        spec = importlib.util.spec_from_file_location(f"loops_{next(_NUMBER)}", path)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        return module.answer

    return made


def _kept(tmp_path: Path, ending: str) -> list[Path]:
    return sorted((tmp_path / "__pycache__").glob(f"*{ending}"))


def test_machine_code_is_kept_beside_the_source(tmp_path: Path, answer: Callable[[int], Any]) -> None:
    assert answer(1)(10) == 11
    assert len(_kept(tmp_path, ".nbc")) == 1


def test_code_of_other_source_is_never_taken(tmp_path: Path, answer: Callable[[int], Any]) -> None:
    """Not even where the file has the same name, size and time, and what it called has changed, not itself."""
    assert answer(1)(10) == 11
    assert answer(2)(10) == 12
    assert answer(1)(10) == 11
    assert len(_kept(tmp_path, ".nbc")) == 2


@pytest.mark.parametrize("ending", [".nbc", ".nbi"])
def test_damaged_code_is_compiled_anew(tmp_path: Path, answer: Callable[[int], Any], ending: str) -> None:
    assert answer(1)(10) == 11
    (file,) = _kept(tmp_path, ending)
    file.write_bytes(file.read_bytes()[:25])
    assert answer(1)(10) == 11
    assert not file.exists(), "what is damaged goes, so that the next run keeps it again"
    assert answer(1)(10) == 11
    assert file.exists()


def test_a_full_disk_does_not_stop_a_run(
    tmp_path: Path, answer: Callable[[int], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(caching.IndexDataCacheFile, "_save_data", full)
    assert answer(1)(10) == 11
    assert _kept(tmp_path, ".nbi") == []


def test_nowhere_to_write_does_not_stop_a_run(answer: Callable[[int], Any], monkeypatch: pytest.MonkeyPatch) -> None:
    plain = numba.njit

    def nowhere(function: Any, **options: Any) -> Any:
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available")
        return plain(function, **options)

    monkeypatch.setattr(numba, "njit", nowhere)
    assert answer(1)(10) == 11


def test_a_division_by_zero_gives_what_numpy_gives() -> None:
    @kept
    def share(part: float, whole: float) -> float:
        return part / whole

    assert share(1.0, 0.0) == math.inf
    assert math.isnan(share(0.0, 0.0))


def test_a_record_has_the_fields_that_its_class_declares() -> None:
    class Truck:
        """Declared as text, as `from __future__ import annotations` leaves it."""

        gal: float
        site: int
        full: bool

    record = record_of(Truck)
    assert record.names == ("gal", "site", "full")
    assert [record[name] for name in ("gal", "site", "full")] == [np.dtype(t) for t in (np.float64, np.int64, np.bool_)]
