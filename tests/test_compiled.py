"""Compiled loops give their answer wherever their machine code can be kept or not, and never that of other source."""

from __future__ import annotations

import errno
import importlib
import importlib.util
import math
import os
import subprocess
import sys
from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from preplan.compiled import kept, record_of
from tests.plan_checks import REPO

numba = pytest.importorskip("numba")
caching = pytest.importorskip("numba.core.caching")
SOURCE = """
from preplan.compiled import compiled, kept

@compiled
def _more(number):
    return number + {more} + ELSEWHERE

@kept
def answer(number):
    return _more(number)
"""
NO_NUMBA = "sys.modules['numba'] = None"
ASKED = """
from preplan.water.timeline_batch import gaps, held_flows
from preplan.water.timeline_table import CaseTable
from tests.timeline_cases import many_places_case, random_case

draws = random_case, many_places_case
cases = CaseTable.of([draws[seed % 2](seed, mixed=seed % 3 > 0) for seed in range(40)])
held, found = held_flows(cases), gaps(cases)
for column in held.uninterrupted_gpm, held.tight_min, found.short_gal, found.mws_by_min:
    print(*map(float.hex, column.tolist()))
"""
_NUMBER = count()


@pytest.fixture
def answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """Give a maker of the compiled function, each time of a module that is read anew; all have the same file."""
    path = tmp_path / "loops.py"
    monkeypatch.setattr(sys, "dont_write_bytecode", True)  # Python itself goes by name, size and time

    def made(more: int, elsewhere: int = 0) -> Any:
        path.write_text(SOURCE.format(more=more), encoding="utf-8")
        os.utime(path, (1e9, 1e9))  # a package that is unpacked with fixed times
        spec = importlib.util.spec_from_file_location(f"loops_{next(_NUMBER)}", path)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        module.__dict__["ELSEWHERE"] = elsewhere  # as if another module had it
        spec.loader.exec_module(module)
        return module.answer

    return made


def test_code_that_calls_other_source_of_another_file_is_never_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The files that a function calls into, near and far, are part of its machine code, and so are their numbers."""
    texts = {
        "far": "@compiled\ndef more(number):\n    return number + {}\n",
        "near": "from {0}_far import more\n\n@compiled\ndef twice(number):\n    return more(number) * 2\n",
        "top": "from {0}_near import twice\n\n@kept\ndef answer(number):\n    return twice(number)\n",
    }
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    monkeypatch.syspath_prepend(str(tmp_path))

    def made(more: int) -> Any:
        for word, text in texts.items():
            own = text.format(more if word == "far" else "loops")
            (tmp_path / f"loops_{word}.py").write_text(f"from preplan.compiled import compiled, kept\n{own}")
            os.utime(tmp_path / f"loops_{word}.py", (1e9, 1e9))
            monkeypatch.delitem(sys.modules, f"loops_{word}", raising=False)
        importlib.invalidate_caches()
        return importlib.import_module("loops_top").answer

    assert made(1)(10) == 22
    assert made(2)(10) == 24
    assert made(1)(10) == 22
    assert len(_kept(tmp_path, ".nbc")) == 2


def _kept(tmp_path: Path, ending: str) -> list[Path]:
    return sorted((tmp_path / "__pycache__").glob(f"*{ending}"))


def test_machine_code_is_kept_beside_the_source(tmp_path: Path, answer: Callable[..., Any]) -> None:
    assert answer(1)(10) == 11
    assert len(_kept(tmp_path, ".nbc")) == 1


def test_code_of_other_source_is_never_taken(tmp_path: Path, answer: Callable[..., Any]) -> None:
    """Not even where the file has the same name, size and time, and what it called has changed, not itself."""
    assert answer(1)(10) == 11
    assert answer(2)(10) == 12
    assert answer(1)(10) == 11
    assert len(_kept(tmp_path, ".nbc")) == 2


def test_code_with_other_numbers_is_never_taken(tmp_path: Path, answer: Callable[..., Any]) -> None:
    """Numbers that a file takes from another one are part of its machine code."""
    assert answer(1)(10) == 11
    assert answer(1, elsewhere=5)(10) == 16
    assert answer(1)(10) == 11
    assert len(_kept(tmp_path, ".nbc")) == 2


@pytest.mark.parametrize("ending", [".nbc", ".nbi"])
def test_damaged_code_is_compiled_anew(tmp_path: Path, answer: Callable[..., Any], ending: str) -> None:
    assert answer(1)(10) == 11
    (file,) = _kept(tmp_path, ending)
    file.write_bytes(file.read_bytes()[:25])
    assert answer(1)(10) == 11
    assert not file.exists(), "what is damaged goes, so that the next run keeps it again"
    assert answer(1)(10) == 11
    assert file.exists()


def test_a_full_disk_does_not_stop_a_run(
    tmp_path: Path, answer: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(caching.IndexDataCacheFile, "_save_data", full)
    assert answer(1)(10) == 11
    assert _kept(tmp_path, ".nbi") == []


def test_nowhere_to_write_does_not_stop_a_run(answer: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> None:
    plain = numba.njit

    def nowhere(function: Any, **options: Any) -> Any:
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available")
        return plain(function, **options)

    monkeypatch.setattr(numba, "njit", nowhere)
    assert answer(1)(10) == 11


def test_a_program_without_source_files_compiles_each_time(
    answer: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("inspect.getfile", lambda _: str(tmp_path / "packed.zip" / "loops.py"))
    assert answer(1)(10) == 11
    assert _kept(tmp_path, ".nbc") == []


def test_loops_give_the_same_compiled_or_as_they_stand() -> None:
    """Bit for bit, with a compiler, with one that is told not to compile, and on a machine that has none."""
    told = {}
    for word, begins in (("compiled", ""), ("plain", "numba.config.DISABLE_JIT = True"), ("none", NO_NUMBA)):
        done = subprocess.run(
            [sys.executable, "-W", "error", "-c", f"import sys, numba\n{begins}\n{ASKED}"],
            capture_output=True, text=True, check=False, cwd=REPO,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        told[word] = done.stdout
    assert len(told["compiled"].split()) == 4 * 40
    assert told["plain"] == told["none"] == told["compiled"]


@pytest.mark.parametrize("plain", [False, True])
def test_what_a_loop_raises_comes_through_and_it_runs_once(monkeypatch: pytest.MonkeyPatch, *, plain: bool) -> None:
    """A second go would begin with what the first one left."""
    monkeypatch.setattr(numba.config, "DISABLE_JIT", plain)

    @kept
    def spoil(numbers: np.ndarray[Any, Any]) -> None:
        numbers[0] += 1.0
        raise ValueError("spoilt")

    numbers = np.zeros(1)
    with pytest.raises(ValueError, match="spoilt"):
        spoil(numbers)
    assert numbers[0] == 1.0


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
