"""Answers that a plan asks for again: seasons, hauls, calls and cuts lead to the same cases many times over.

Whoever opens `remembering` has each case of `held_flows` and of `gaps` solved once inside, however many batches it is
in, while there is room. A case is known by the digest of all its numbers, so an answer is only ever given to one equal
in every bit; and since no answer depends on what it is solved with, none shows whether it was remembered.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import fields
from typing import Any, Generic, TypeVar

import numpy as np

from preplan.records import Columns
from preplan.water.timeline_clock import Rows

T = TypeVar("T", bound=Columns)

MOST_KEPT = 1 << 18
"""Answers of one kind that are kept, at some 250 bytes each; with one more all are forgotten."""


class Memory(Generic[T]):
    """Answers to one kind of question, a row a case."""

    def __init__(self) -> None:
        """Know nothing."""
        self._at: dict[bytes, int] = {}
        self._columns: dict[str, np.ndarray[Any, Any]] = {}

    def __len__(self) -> int:
        """Count the cases that are known."""
        return len(self._at)

    def find(self, keys: Sequence[bytes]) -> Rows:
        """Find where the answers to cases stand, (keys,); -1: not known."""
        return np.fromiter((self._at.get(key, -1) for key in keys), dtype=np.intp, count=len(keys))

    def take(self, at: Rows, kind: type[T]) -> T:
        """Give the answers that stand there."""
        return kind(**{name: column[at] for name, column in self._columns.items()})

    def keep(self, keys: Sequence[bytes], answers: T) -> None:
        """Keep the answers to cases that were not known; no more than `MOST_KEPT` in all."""
        if len(keys) > MOST_KEPT:
            return
        if len(self._at) + len(keys) > MOST_KEPT:
            self._at.clear()
        known = len(self._at)
        for one in fields(answers):
            column = getattr(answers, one.name)
            if one.name not in self._columns:
                self._columns[one.name] = np.empty(MOST_KEPT, dtype=column.dtype)
            self._columns[one.name][known : known + len(keys)] = column
        self._at.update(zip(keys, range(known, known + len(keys)), strict=True))


_MEMORIES: ContextVar[dict[type[Columns], Memory[Any]] | None] = ContextVar("_MEMORIES", default=None)


@contextmanager
def remembering() -> Iterator[None]:
    """Remember the answers given inside; one inside another shares what that knows."""
    known = _MEMORIES.get()
    before = _MEMORIES.set({} if known is None else known)
    try:
        yield
    finally:
        _MEMORIES.reset(before)


def memory_of(kind: type[T]) -> Memory[T] | None:
    """Give what is known of one kind of answer; None where nobody opened `remembering`."""
    memories = _MEMORIES.get()
    return None if memories is None else memories.setdefault(kind, Memory())
