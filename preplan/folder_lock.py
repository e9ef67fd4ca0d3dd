"""One run at a time writes to a folder: a lock that the system lets go of when its holder ends, however it ends."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType

from preplan.errors import OutputError


@contextmanager
def locked(lock: Path, out: Path, wait_s: float) -> Iterator[None]:
    """Hold the lock of a folder, waiting for another run to let go; its file goes with it.

    Raises
    ------
    OutputError
        If another run holds it for longer than `wait_s` seconds.
    """
    lock.parent.mkdir(parents=True, exist_ok=True)
    until = time.monotonic() + wait_s
    handle: int | None = None

    def let_go() -> None:
        if handle is not None:
            # Removed while it is held: whoever opened it meanwhile finds that it is no longer the lock.
            with suppress(OSError):
                lock.unlink()
            with suppress(OSError):
                os.close(handle)

    try:
        while True:
            with _undisturbed():
                handle = _try_lock(lock)
            if handle is not None:
                break
            if time.monotonic() > until:
                raise OutputError(f"another run{_holder(lock)} is writing to {out}; try again when it has ended")
            time.sleep(0.02)
        yield
    finally:
        try:
            let_go()
        except KeyboardInterrupt:  # it hit the letting go
            let_go()
            raise


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Put Ctrl-C off while the lock is taken: it comes right after.

    The program's own handler waits, not the system's signal: that may reach any thread.
    """
    if threading.current_thread() is not threading.main_thread():
        yield  # Python hands signals to the main thread alone
        return
    handler = signal.getsignal(signal.SIGINT)
    if not callable(handler):
        yield  # ignored, or not ours to put off
        return
    came: list[FrameType | None] = []
    signal.signal(signal.SIGINT, lambda _number, frame: came.append(frame))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, handler)
        if came:
            handler(signal.SIGINT, came[0])


def _try_lock(path: Path) -> int | None:
    """Take the lock and return its handle, or None where another run has it."""
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    if not _claim(handle) or not _still_named(handle, path):
        os.close(handle)
        return None
    os.truncate(handle, 0)
    os.write(handle, f"{os.getpid()}\n".encode())
    return handle


def _still_named(handle: int, path: Path) -> bool:
    """Tell whether an open file is still the one at a path; its last holder may have removed it."""
    try:
        return os.path.samestat(os.fstat(handle), path.stat())
    except FileNotFoundError:
        return False


def _holder(path: Path) -> str:
    """Name the process that wrote its number into the lock, where that can be read."""
    with suppress(OSError, ValueError):
        return f" (process {int(path.read_text())})"
    return ""


if sys.platform == "win32":
    import msvcrt

    def _claim(handle: int) -> bool:
        """Claim an open file for this process alone, without waiting."""
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _claim(handle: int) -> bool:
        """Claim an open file for this process alone, without waiting."""
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
