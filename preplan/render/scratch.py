"""A folder for the libraries that can write to a disk only."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir

from preplan.errors import OutputError


@contextmanager
def scratch_folder(name: str, errors: tuple[type[Exception], ...]) -> Iterator[Path]:
    """Give a folder that is gone afterwards.

    Parameters
    ----------
    name
        The result that is made there.
    errors
        What is raised where the disk fails the library.

    Raises
    ------
    OutputError
        If the result cannot be made; no results have been touched yet.
    """
    try:
        with TemporaryDirectory(prefix="preplan-") as folder:
            yield Path(folder)
    except errors as error:
        raise OutputError(
            f"{name} cannot be made: {error}. Is there room in {gettempdir()}? The results before are untouched"
        ) from error
