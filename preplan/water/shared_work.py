"""Pieces of timeline work that several processes share: which one solves a piece never shows in the answer.

Whoever opens `shared` lets every batch of cases inside it be solved with helpers. A helper is fed through a pipe and
stops when that closes, so none outlives the process that it helps; what a lost helper had is solved here.
"""

from __future__ import annotations

import multiprocessing
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from functools import partial
from multiprocessing.connection import Connection, wait
from typing import Any, TypeVar

from preplan.processes import helping

Part = TypeVar("Part")
Piece = TypeVar("Piece")
Answer = TypeVar("Answer")

MOST_HELPERS = 3
_PIPES: ContextVar[list[Connection]] = ContextVar("_PIPES")
"""To the helpers that are alive."""


@contextmanager
def shared(processes: int) -> Iterator[None]:
    """Share the work inside among so many processes, this one among them."""
    pipes = [multiprocessing.Pipe() for _ in range(min(processes - 1, MOST_HELPERS))]
    with helping([partial(_serve, theirs) for _, theirs in pipes]) as started:
        for _, theirs in pipes:
            theirs.close()  # so that a pipe ends with its helper
        before = _PIPES.set([ours for ours, _ in pipes[: len(started)]])
        try:
            yield
        finally:
            _PIPES.reset(before)
            for ours, _ in pipes:
                ours.close()


def solved(solve: Callable[[Piece], Answer], parts: Sequence[Part], cut: Callable[[Part], Piece]) -> list[Answer]:
    """Solve the pieces that `cut` makes of some parts, in their order, with whatever helpers there are.

    `solve`, the pieces and their answers can be pickled.
    """
    helpers = _PIPES.get([])
    answers: dict[int, Answer] = {}
    todo, busy = deque(range(len(parts))), dict[Connection, int]()
    while todo or busy:
        for helper in [one for one in helpers if one not in busy]:
            if len(todo) > 1 and _asked(helper, helpers, (solve, cut(parts[todo[-1]]))):
                busy[helper] = todo.pop()
        if todo:
            number = todo.popleft()
            answers[number] = solve(cut(parts[number]))
        ready = wait(list(busy), timeout=0 if todo else None) if busy else []
        for helper in [one for one in busy if one in ready]:
            number = busy.pop(helper)
            try:
                answers[number] = helper.recv()
            except (EOFError, OSError):
                helpers.remove(helper)
                todo.append(number)
    return [answers[number] for number in range(len(parts))]


def _asked(helper: Connection, helpers: list[Connection], work: tuple[Callable[[Any], Any], Any]) -> bool:
    """Hand work to a helper; one that is gone is left out from now on."""
    try:
        helper.send(work)
    except OSError:
        helpers.remove(helper)
        return False
    return True


def _serve(pipe: Connection) -> None:
    """Solve what comes through a pipe until it closes; whoever asked solves, and reports, what fails here."""
    with suppress(Exception):
        while True:
            solve, piece = pipe.recv()
            pipe.send(solve(piece))
