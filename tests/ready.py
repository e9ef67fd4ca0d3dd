"""The program's runs as processes of their own: copies of one that has imported it, and planned once, already.

To import all and load compiled loops takes most of a small run, and is not what is tested where runs are stopped.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import tempfile
from contextlib import redirect_stderr, redirect_stdout, suppress
from functools import cache
from multiprocessing.connection import Connection, wait
from multiprocessing.context import ForkServerContext
from pathlib import Path
from unittest.mock import patch

from tests.faults.small import write_small_district

_SOURCE = "PREPLAN_TESTS_COPIED_FROM"
"""Set in the process that is copied, and only there does the import of this module plan something."""


class Run:
    """One run of the command line: what tests ask of `subprocess.Popen`, in text."""

    def __init__(self, *arguments: str) -> None:
        (said, say), (told, tell) = (multiprocessing.Pipe(duplex=False) for _ in range(2))
        self._process = _copies().Process(target=_program, args=(arguments, say, tell))
        self._process.start()
        say.close()
        tell.close()
        self._stdout, self.stderr = (os.fdopen(os.dup(end.fileno()), encoding="utf-8") for end in (said, told))

    @property
    def returncode(self) -> int | None:
        """Exit status, or less than 0 the signal that ended it; None: it goes on."""
        return self._process.exitcode

    def send_signal(self, how: signal.Signals) -> None:
        """Send a signal, unless the process has ended."""
        if self._process.exitcode is None and self._process.pid is not None:
            os.kill(self._process.pid, how)

    def communicate(self, timeout: float) -> tuple[str, str]:
        """Wait for the end; give what is left to read of stdout and stderr, which a pipe must hold."""
        if not wait([self._process.sentinel], timeout):
            self._process.kill()
        self._process.join()
        with self._stdout, self.stderr:
            return self._stdout.read(), self.stderr.read()


@cache
def _copies() -> ForkServerContext:
    """Start the process that runs are copies of."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__])
    with patch.dict(os.environ, {_SOURCE: "1"}):
        first = context.Process(target=_nothing)
        first.start()
        first.join()
    return context


def _nothing() -> None:
    """Start the process that is copied."""


def _program(arguments: tuple[str, ...], say: Connection, tell: Connection) -> None:
    """Be the command `preplan`."""
    from preplan.__main__ import main

    for end, number in ((say, 1), (tell, 2)):
        os.dup2(end.fileno(), number)
        end.close()
    sys.stdout, sys.stderr = (os.fdopen(number, "w", buffering=1, closefd=False) for number in (1, 2))
    sys.argv = ["preplan", *arguments]
    try:
        main()
    finally:  # it closes as an interpreter does, without a word
        signal.signal(signal.SIGINT, signal.SIG_DFL)


def _plan_once() -> None:
    """Import all, and load or compile every loop that a small district needs."""
    from preplan.__main__ import main

    with (
        tempfile.TemporaryDirectory() as folder,
        Path(os.devnull).open("w") as away,
        redirect_stdout(away),
        redirect_stderr(away),
        suppress(SystemExit),
    ):
        district = write_small_district(Path(folder) / "district")
        with patch.object(sys, "argv", ["preplan", "build", str(district), "--out", f"{folder}/out"]):
            main()


if _SOURCE in os.environ:
    _plan_once()
