"""Loops over plain numbers that are compiled to machine code when they first run, and kept for the next time.

Where there is no compiler for a machine they run as they stand: to the same numbers, hundreds of times slower.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from contextlib import suppress
from hashlib import blake2b
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

numba: Any = import_module("numba") if find_spec("numba") else None

F = TypeVar("F", bound=Callable[..., Any])
_CODES = {"float": "f8", "int": "i8", "bool": "?"}


def compiled(function: F) -> F:
    """Compile a function that compiled ones call; as in numpy, a division by zero gives inf or NaN."""
    return _compiled(function, no_cpython_wrapper=True, no_cfunc_wrapper=True)  # Python's way in takes time to make


def _compiled(function: F, **options: bool) -> F:
    """Compile a function, where there is a compiler."""
    if numba is None:
        return function
    made: F = numba.njit(function, error_model="numpy", **options)
    return made


def kept(function: F) -> F:
    """Compile a function that Python calls, and keep the machine code of it and of all that it calls.

    Other threads of Python run meanwhile.

    It is kept beside the compiled Python of its file, or in the user's own cache where that may not be written to.
    What the function calls of ours, and its numbers, may come from other files.
    """
    made: Any = _compiled(function, nogil=True)
    code = ""
    try:
        code = _digest(function)
        # Its files bear this name: code that another version of the source left there is never taken for this one's.
        function.__qualname__ = f"{function.__name__}-{code}"
        made = _compiled(function, nogil=True, cache=True)
    except (KeyError, OSError, RuntimeError):
        pass  # no source file, or no folder that it may write to: each run compiles anew
    ready: set[tuple[Any, ...]] = set()

    def call(*args: Any) -> Any:
        nonlocal made
        kinds = tuple(map(_kind, args)) if hasattr(made, "compile") else ()
        if kinds and kinds not in ready:
            try:
                made.compile(tuple(map(numba.typeof, args)))  # or take what is kept
            except Exception:  # noqa: BLE001 - no room to keep it, or what was kept is damaged, in any way at all
                _forget(made, code)
                made = _compiled(function, nogil=True)
            ready.add(kinds)
        with np.errstate(divide="ignore", invalid="ignore"):  # for loops that run as they stand
            return made(*args)

    return call  # type: ignore[return-value]


def _kind(value: Any) -> object:
    """Tell values apart as machine code does; the compiler's own word for a table of records takes longer to find."""
    if isinstance(value, np.ndarray):
        flags = value.flags
        return value.dtype, value.ndim, flags.c_contiguous, flags.f_contiguous, flags.aligned, flags.writeable
    kind: object = numba.typeof(value)
    return kind


def _digest(function: Callable[..., Any]) -> str:
    """Digest what machine code follows from: the source of the function's file, of those it calls and of this one.

    And the numbers in them, which they may take from others; records are told apart by their layout.
    """
    found = blake2b(Path(inspect.getfile(compiled)).read_bytes(), digest_size=8)
    for names in _files_of(function):
        numbers = {name: repr(value) for name, value in names.items() if isinstance(value, int | float)}
        found.update(Path(names["__file__"]).read_bytes() + repr(sorted(numbers.items())).encode())
    return found.hexdigest()


def _files_of(function: Callable[..., Any]) -> list[dict[str, Any]]:
    """List the names of each file whose compiled functions a function may call, its own first."""
    files = [function.__globals__]
    for names in files:  # grows on the way
        called = (getattr(value, "py_func", None) for value in names.values())
        for other in (one.__globals__ for one in called if one is not None):
            if not any(other is known for known in files):
                files.append(other)
    return files


def _forget(made: Any, code: str) -> None:
    """Remove what was kept under the digest of a source, if anything was."""
    folder = getattr(getattr(made, "stats", None), "cache_path", None)
    if not code or not folder:
        return
    with suppress(OSError):
        for file in Path(folder).glob(f"*-{code}-*"):
            file.unlink()


def record_of(kind: type) -> np.dtype[np.void]:
    """Lay out a record with the fields that a class declares as float, int or bool: attributes to Python too."""
    fields = np.dtype([(name, _CODES[word]) for name, word in kind.__annotations__.items()], align=True)
    return np.dtype((np.record, fields))
