"""How much memory is left, and how much a road file may take: a file too large is refused before it is opened."""

from __future__ import annotations

import sys
from pathlib import Path

BYTES_PER_BYTE = {".gz": 60, ".bz2": 80, ".pbf": 40, ".graphml": 12}
"""Memory that reading takes at most, bytes for each byte of a file by its ending: measured on fourteen extracts of a
county each, whose largest ratios were 5 (plain), 32 (PBF) and 77 (bzip2, above 0.1 MB), rounded up with care."""
BYTES_PER_BYTE_PLAIN = 6
"""The same for any other ending."""
_NO_LIMIT = 1 << 60
"""Control groups write a number above this where they set none."""


def wanted_bytes(path: Path) -> int:
    """Estimate the memory that reading a road file may take; never less than the file."""
    return path.stat().st_size * BYTES_PER_BYTE.get(path.suffix.lower(), BYTES_PER_BYTE_PLAIN)


def free_bytes() -> int | None:
    """Tell how much memory this process may still take; None where the system does not say.

    The least of what the machine has available, what a control group (a container) leaves, and what the limit on the
    process's address space leaves.
    """
    found = [one for one in (_available(), _left_in_group(Path("/sys/fs/cgroup")), _left_of_limit()) if one is not None]
    return max(0, min(found)) if found else None


def _available() -> int | None:
    """Read what Linux could hand out without swapping."""
    for line in _text(Path("/proc/meminfo")).splitlines():
        if line.startswith("MemAvailable:"):
            return int(line.split()[1]) * 1024
    return None


def _left_in_group(group: Path) -> int | None:
    """Subtract what a control group uses from what it may use."""
    for limit, used in (
        ("memory.max", "memory.current"),
        ("memory/memory.limit_in_bytes", "memory/memory.usage_in_bytes"),
    ):
        most, now = _text(group / limit).strip(), _text(group / used).strip()
        if most.isdecimal() and now.isdecimal() and int(most) < _NO_LIMIT:
            return int(most) - int(now)
    return None


def _left_of_limit() -> int | None:
    """Subtract what this process has mapped from the limit on its address space."""
    if sys.platform == "win32":
        return None
    import resource  # noqa: PLC0415 - not everywhere

    most, _ = resource.getrlimit(resource.RLIMIT_AS)
    if most == resource.RLIM_INFINITY:
        return None
    pages = _text(Path("/proc/self/statm")).split()
    return most - (int(pages[0]) * resource.getpagesize() if pages else 0)


def _text(path: Path) -> str:
    """Read one of the system's own files, '' where there is none."""
    try:
        return path.read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError):
        return ""
