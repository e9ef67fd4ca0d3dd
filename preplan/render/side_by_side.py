"""Parts of a large result made by several processes: which one makes a part never shows in it.

Every process takes the next part that nobody has taken and leaves it in a folder, so a slow start or a busy core
costs little and memory holds one part a process. A part that its process did not finish is made here.
"""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from functools import partial
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from multiprocessing.reduction import ForkingPickler
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Thread

from preplan.processes import helping

MOST_PROCESSES = 4
"""Each holds the whole plan."""
_WAIT_S = 0.02

Maker = Callable[[int], bytes]
"""Makes the part of a number."""


def made(prepare: Callable[[], Maker], count: int, processes: int) -> Iterator[tuple[int, bytes]]:
    """Make parts 0 to `count - 1`, in any order.

    Parameters
    ----------
    prepare
        Called once in every process, for what makes a part; it can be pickled.
    count
        How many parts there are.
    processes
        How many processes share them, this one among them; at most `MOST_PROCESSES`.

    Yields
    ------
    tuple[int, bytes]
        Number and content of a part.
    """
    helpers = min(processes, MOST_PROCESSES, count) - 1
    if helpers < 1:
        make = prepare()
        yield from ((number, make(number)) for number in range(count))
        return
    pipes = [multiprocessing.Pipe(duplex=False) for _ in range(helpers)]
    with (
        TemporaryDirectory(prefix="preplan-") as name,
        helping([partial(_help, theirs) for theirs, _ in pipes]) as others,
    ):
        for theirs, _ in pipes:
            theirs.close()  # so that a pipe ends with its helper
        work = ForkingPickler.dumps((prepare, count, Path(name)))
        # a helper takes a second to wake up and read: meanwhile this process works
        Thread(target=_hand_out, args=([ours for _, ours in pipes], work), daemon=True).start()
        yield from _gathered(prepare(), count, Path(name), others)


def _gathered(make: Maker, count: int, folder: Path, others: list[BaseProcess]) -> Iterator[tuple[int, bytes]]:
    """Make what is not taken, then wait for the rest."""
    waiting = []
    for number in range(count):
        if _taken(folder, number):
            yield number, make(number)
        else:
            waiting.append(number)
    for number in waiting:
        path = folder / f"{number}.made"
        while not path.exists() and any(one.is_alive() for one in others):
            time.sleep(_WAIT_S)
        yield number, path.read_bytes() if path.exists() else make(number)
        path.unlink(missing_ok=True)


def _taken(folder: Path, number: int) -> bool:
    """Take a part, unless another process was first."""
    try:
        (folder / f"{number}.taken").touch(exist_ok=False)
    except FileExistsError:
        return False
    return True


def _hand_out(pipes: Sequence[Connection], work: memoryview) -> None:
    """Tell helpers what is to do, as far as they live."""
    for pipe in pipes:
        with suppress(OSError), pipe:
            pipe.send_bytes(work)


def _help(pipe: Connection) -> None:
    """Learn what is to do, and make parts until none is left, or nobody waits for them."""
    with suppress(EOFError), pipe:
        _make_parts(*pipe.recv())


def _make_parts(prepare: Callable[[], Maker], count: int, folder: Path) -> None:
    make, parent = prepare(), multiprocessing.parent_process()
    for number in range(count):
        if parent is None or not parent.is_alive():
            return
        if _taken(folder, number):
            part = folder / f"{number}.part"
            part.write_bytes(make(number))
            part.replace(folder / f"{number}.made")
