"""Results on their way to the disk: small ones in memory, large ones aside, so that many cards take little memory."""

from __future__ import annotations

import shutil
import tempfile
import weakref
from collections.abc import Iterator, MutableMapping
from pathlib import Path

from preplan.errors import OutputError

LARGE_BYTES = 1_000_000
"""What is larger stands in a scratch folder until it is asked for."""


class Shelf(MutableMapping[str, bytes]):
    """Contents of files by their names; the scratch folder is gone when the shelf is."""

    def __init__(self) -> None:
        """Hold nothing."""
        self._small: dict[str, bytes] = {}
        self._large: dict[str, Path] = {}
        self._folder: Path | None = None

    def _room(self) -> Path:
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="preplan-"))
            weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)
        return self._folder

    def __setitem__(self, name: str, content: bytes) -> None:
        """Keep a file.

        Raises
        ------
        OutputError
            Where there is no room for a large one; no results have been touched yet.
        """
        self.pop(name, None)
        if len(content) <= LARGE_BYTES:
            self._small[name] = content
            return
        try:
            # Named by a number: a name of a result may hold a folder.
            path = self._room() / str(len(self._large))
            while path.exists():
                path = path.with_name(f"{path.name}_")
            path.write_bytes(content)
        except OSError as error:
            where = tempfile.gettempdir()
            raise OutputError(
                f"{name} cannot be kept: {error}. Is there room in {where}? The results before are untouched"
            ) from error
        self._large[name] = path

    def __getitem__(self, name: str) -> bytes:
        """Read a file back."""
        return self._large[name].read_bytes() if name in self._large else self._small[name]

    def __delitem__(self, name: str) -> None:
        """Let a file go."""
        if name in self._large:
            self._large.pop(name).unlink()
        else:
            del self._small[name]

    def __iter__(self) -> Iterator[str]:
        """Name the files."""
        yield from self._small
        yield from self._large

    def __len__(self) -> int:
        """Count the files."""
        return len(self._small) + len(self._large)
