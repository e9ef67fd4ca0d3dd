"""Processes that help this one with a part of its work."""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from multiprocessing.process import BaseProcess


def cores() -> int:
    """Count the cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def helping(jobs: Sequence[Callable[[], None]]) -> Iterator[list[BaseProcess]]:
    """Start a process for each job, as far as the system lets us; they are gone afterwards, whatever happens.

    Jobs can be pickled, and are small: the library hands one over through a pipe that it holds open itself, and would
    wait for ever on a process that died before it read all. Where fewer start than were asked for the list is shorter.
    """
    # A new interpreter: a copy of this one would take locks of other threads along.
    context = multiprocessing.get_context("spawn")
    started: list[BaseProcess] = []
    try:
        with _without_interrupts(), suppress(OSError):
            for job in jobs:
                one: BaseProcess = context.Process(target=job, daemon=True)
                one.start()
                started.append(one)
        yield started
    finally:
        for one in started:
            one.kill()
            one.join()


@contextmanager
def unswept() -> Iterator[None]:
    """Keep what there is from the search for garbage, which would go through a whole plan again and again."""
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()


@contextmanager
def _without_interrupts() -> Iterator[None]:
    """Start processes deaf to Ctrl-C, which is for the one that started them; what is blocked here they inherit."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    # The library's own helper is started first: starting it would let Ctrl-C through again.
    from multiprocessing import resource_tracker  # noqa: PLC0415 - not on every system

    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
