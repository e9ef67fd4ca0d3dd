"""What all tests share: committed texts that one switch renews."""

from __future__ import annotations

import signal
from collections.abc import Callable
from pathlib import Path

import pytest

Golden = Callable[[Path, str], None]
"""Compares a text with a committed file, or writes it there."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the switch that renews committed texts instead of comparing with them."""
    parser.addoption(
        "--renew-golden", action="store_true", help="write committed expected texts anew; read the difference after"
    )


def pytest_configure() -> None:
    """Let programs that tests start hear Ctrl-C: a shell tells what runs in the background to ignore it."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Golden:
    """Give a comparison of a text with its committed file."""

    def compare(path: Path, text: str) -> None:
        if request.config.getoption("--renew-golden"):
            path.write_text(text, encoding="utf-8", newline="\n")
        assert text == path.read_text(encoding="utf-8"), f"{path.name} differs; --renew-golden writes it anew"

    return compare
