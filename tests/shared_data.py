"""Real open data for tests, kept outside the project; tests that need it skip where it is absent."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


def shared(*parts: str) -> Path:
    """Return a path in the folder of shared test data, or skip the test.

    The folder is named by the environment variable PREPLAN_SHARED, else it is `shared` beside the project.
    """
    root = Path(os.environ.get("PREPLAN_SHARED", Path(__file__).resolve().parents[2] / "shared"))
    path = root.joinpath("data", *parts)
    if not path.exists():
        pytest.skip(f"no shared test data: {'/'.join(parts)} (set PREPLAN_SHARED to its folder)")
    return path
