"""Results reach the disk whole or not at all.

For results in DIR these stand beside it, on the same file system:

`.DIR.preplan-lock`
    Held by the one run that writes. The system lets go of it when that run ends, however it ends, so a lock file
    left behind by a killed run holds nobody up and no process number has to be guessed at.
`.DIR.preplan`
    Scratch: the set being written, and what is about to be thrown away.
`DIR.previous`
    Every file that the new set replaces or removes, and a journal of what comes and what was there: from before
    the first replacement until after the last. If a run finds it, the one before was stopped in between, and the
    set before is put back.

So whatever moment a run is stopped at, the next one finds either a whole set or the means to restore one.
"""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from preplan.errors import OutputError, PlaceError
from preplan.folder_lock import locked

RUN_FILE = "run.json"
"""Replaced last; it lists the other files of its set under `files`."""
LOCK_WAIT_S = 60.0
"""How long to wait for another run to finish writing, seconds."""

_JOURNAL = ".journal.json"
_NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.-]*(?:/[A-Za-z0-9_][A-Za-z0-9_.-]*)*")
"""Names this program writes: plain, relative, never hidden, never upward."""
_FULL = (errno.ENOSPC, errno.EDQUOT)


def write_results(out: Path, files: Mapping[str, bytes], *, wait_s: float = LOCK_WAIT_S) -> None:
    """Replace the results in a folder by a new set, whole or not at all.

    Files in the folder that no set of this program listed stay as they are; those that an earlier set listed and
    the new one does not have are removed.

    Parameters
    ----------
    out
        Folder of the results; made if absent.
    files
        Content of every file by its name relative to the folder, `run.json` among them.
    wait_s
        How long to wait for another run that writes to the same folder, seconds.

    Raises
    ------
    OutputError
        If the set cannot be written; the results before are then as they were.
    """
    place = _Place.of(out)
    _check_names(files)
    with _explained(place.out), locked(place.lock, place.out, wait_s):
        _restore(place)
        with _scratch(place.scratch):
            _stage(place.new, files)
            if place.out.exists():
                _swap(place, files)
            else:
                place.new.rename(place.out)
                _sync_folder(place.out.parent)


def check_place(out: Path) -> None:
    """Find out, before any work is done, whether results can be written to a folder; nothing is left there.

    Raises
    ------
    OutputError
        If it is no folder, or this user or this disk takes no files there.
    """
    place = _Place.of(out)
    with _explained(place.out):
        beside = next(folder for folder in place.out.parents if folder.exists())
        for folder in (beside, *([place.out] if place.out.exists() else [])):
            try:
                with tempfile.TemporaryFile(dir=folder):  # where the system can, a file that never has a name
                    pass
            except OSError as error:
                error.filename = str(folder)  # where it cannot, a name that nobody gave
                raise


def check_apart(out: Path, inputs: Iterable[Path]) -> None:
    """Refuse a folder of results that holds what the results are made from, at any depth and however it is spelled.

    Parameters
    ----------
    out
        Folder of the results; what stands beside it while they are written counts as part of it.
    inputs
        Every file that the district is made of.

    Raises
    ------
    OutputError
        If it does; nothing has been touched.
    """
    place = _Place.of(out)
    ours = [folder for folder in (place.out, place.scratch, place.previous) if folder.is_dir()]
    inside = list(dict.fromkeys(path for path in inputs if any(_lies_in(path, folder) for folder in ours)))
    if inside:
        more = f" and {len(inside) - 1} more of the district's own files" if inside[1:] else ""
        raise PlaceError(
            f"{out} cannot hold the results: it holds {inside[0]}{more}, which they are made from and might replace;"
            " write elsewhere with --out, or move the district's files into a folder apart from results"
        )


def check_earlier(out: Path, program: str, district: str, names: Iterable[str]) -> None:
    """Refuse a folder whose files are not the same district's earlier results but would be replaced as if they were.

    Parameters
    ----------
    out
        Folder of the results.
    program, district
        What `run.json` says of the earlier results: who made them, and for whom.
    names
        Files that every set of results has.

    Raises
    ------
    OutputError
        If another district's results stand there, or a file of a result's name that no run wrote.
    """
    run = _run_of(out)
    ours = run.get("program") == program
    other = str(run.get("district", ""))
    if ours and other != district:
        raise PlaceError(
            f"{out} holds the results of {other!r}, not of {district!r}; write elsewhere with --out, or, if it is the"
            f" same district under another name, move {out} away or delete it"
        )
    known = {RUN_FILE, *_listed(out)} if ours else set()
    for name in sorted({RUN_FILE, *names} - known):
        if os.path.lexists(out / name):
            raise PlaceError(
                f"{out / name} stands where a result goes, and no run of this program wrote it; move it, or write"
                " elsewhere with --out"
            )


def beside(out: Path, ending: str) -> Path:
    """Name a folder beside that of the results, on the same disk, however theirs is spelled.

    Raises
    ------
    OutputError
        If the folder cannot hold results.
    """
    return _Place.of(out).beside(ending)


def restore_broken(out: Path, *, wait_s: float = LOCK_WAIT_S) -> bool:
    """Put back the set before where an earlier run was stopped while replacing it; tell whether that was so.

    Raises
    ------
    OutputError
        If it cannot be put back.
    """
    place = _Place.of(out)
    if not place.previous.exists():
        return False
    with _explained(place.out), locked(place.lock, place.out, wait_s), _scratch(place.scratch):
        return _restore(place)


def write_file(path: Path, content: bytes, option: str = "--out") -> None:
    """Replace one file that belongs to no set, whole or not at all; `option` names where else it may go.

    Raises
    ------
    OutputError
        If it cannot be written; what stood there before still does.
    """
    part = path.with_name(f".{path.name}.part")
    with _explained(path.parent, option):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            _write(part, content)
            part.replace(path)
        finally:
            with suppress(OSError):
                part.unlink()


@dataclass(frozen=True, slots=True)
class _Place:
    """The folder of the results, and what stands beside it."""

    out: Path

    @classmethod
    def of(cls, out: Path) -> _Place:
        """Follow links and drop '..', so that 'beside' means on the same disk."""
        try:
            resolved = out.resolve()
            there, folder = resolved.exists(), resolved.is_dir()
            above = next(parent for parent in (*resolved.parents, resolved) if parent.exists())
        except (OSError, RuntimeError, ValueError) as error:  # links in a ring; a name no file system takes
            said = getattr(error, "strerror", None) or "no folder can be called so"
            raise PlaceError(f"{out} cannot hold results: {said}; name another folder") from error
        if not resolved.name:
            raise PlaceError(f"{out} cannot hold results; name a folder below it")
        if there and not folder:
            raise PlaceError(f"{out} is not a folder; name another or move it")
        if not there and not above.is_dir():
            raise PlaceError(f"{out} cannot hold results: {above.name} is a file; name another folder")
        if os.path.ismount(resolved):
            raise PlaceError(f"{out} is a disk of its own; name a folder inside it")
        return cls(resolved)

    def beside(self, ending: str) -> Path:
        return self.out.with_name(f"{self.out.name}{ending}")

    @property
    def lock(self) -> Path:
        return self.out.with_name(f".{self.out.name}.preplan-lock")

    @property
    def scratch(self) -> Path:
        return self.out.with_name(f".{self.out.name}.preplan")

    @property
    def new(self) -> Path:
        return self.scratch / "new"

    @property
    def previous(self) -> Path:
        return self.beside(".previous")


def _check_names(files: Iterable[str]) -> None:
    """Refuse names that lead elsewhere, and a set that does not say what it is."""
    names = set(files)
    odd = sorted(name for name in names if not _NAME.fullmatch(name))
    if odd:
        raise OutputError(f"not the name of a result: {', '.join(map(repr, odd))}")
    if RUN_FILE not in names:
        raise OutputError(f"a set of results without {RUN_FILE}")


# --------------------------------------------------------------------------- the steps


def _stage(new: Path, files: Mapping[str, bytes]) -> None:
    """Write the new set where nobody looks, and check that it is all there."""
    for name, content in files.items():
        path = new / name
        path.parent.mkdir(parents=True, exist_ok=True)
        _write(path, content)
    sizes = {name: (new / name).stat().st_size for name in files}
    short = sorted(name for name, content in files.items() if sizes[name] != len(content))
    if short:
        raise OutputError(f"written short: {', '.join(short)}; is the disk sound?")
    for folder in {(new / name).parent for name in files}:
        _sync_folder(folder)


def _swap(place: _Place, files: Mapping[str, bytes]) -> None:
    """Keep what stands in the way, replace file by file, run.json last, and let the old set go."""
    stale = _listed(place.out) - set(files)
    _check_targets(place.out, files)
    _keep(place, files, stale)
    try:
        for name in sorted(stale):
            (place.out / name).unlink(missing_ok=True)
        for name in _run_file_last(files):
            (place.out / name).parent.mkdir(parents=True, exist_ok=True)
            (place.new / name).replace(place.out / name)
        _settle(place.out, [*files, *stale])
    except BaseException:
        _put_back(place)
        raise
    _discard(place)


def _put_back(place: _Place) -> None:
    """Undo a replacement that failed; where even that fails, say where the results before are."""
    try:
        _restore(place)
    except OSError as error:
        raise OutputError(
            f"{place.out} is left half replaced ({error}); {place.previous} holds the results before,"
            " and the next run puts them back"
        ) from error


def _keep(place: _Place, files: Mapping[str, bytes], stale: set[str]) -> None:
    """Make DIR.previous, complete from the moment it exists."""
    kept = sorted(name for name in {*files, *stale} if (place.out / name).is_file())
    coming = {name: sha256(content).hexdigest() for name, content in files.items()}
    keeping = place.scratch / "keeping"
    for name in kept:
        (keeping / name).parent.mkdir(parents=True, exist_ok=True)
        _second(place.out / name, keeping / name)
    keeping.mkdir(exist_ok=True)
    _write(keeping / _JOURNAL, json.dumps({"kept": kept, "coming": coming}).encode())
    for folder in {keeping, *((keeping / name).parent for name in kept)}:
        _sync_folder(folder)
    keeping.rename(place.previous)
    _sync_folder(place.out.parent)


def _restore(place: _Place) -> bool:
    """Put back what DIR.previous holds, unless the new set did arrive; may itself be stopped and done again."""
    if not place.previous.exists():
        return False
    kept, coming = _journal(place.previous)
    if all(_digest(place.out / name) == digest for name, digest in coming.items()):
        _discard(place)
        return False
    for name in sorted(set(coming) - set(kept)):
        (place.out / name).unlink(missing_ok=True)
    back = place.scratch / "back"
    place.scratch.mkdir(exist_ok=True)
    for name in _run_file_last(kept):
        target = place.out / name
        if _digest(target) == _digest(place.previous / name):
            continue
        target.parent.mkdir(parents=True, exist_ok=True)
        back.unlink(missing_ok=True)
        _second(place.previous / name, back)
        back.replace(target)
    _settle(place.out, [*coming, *kept])
    _discard(place)
    return True


def _discard(place: _Place) -> None:
    """Let DIR.previous go: in one step out of the way, then piece by piece."""
    gone = place.scratch / "gone"
    place.scratch.mkdir(exist_ok=True)
    shutil.rmtree(gone, ignore_errors=True)
    place.previous.rename(gone)
    _sync_folder(place.out.parent)
    shutil.rmtree(gone, ignore_errors=True)


def _journal(previous: Path) -> tuple[list[str], dict[str, str]]:
    """Read the names that were kept, and the digests of the files that were coming."""
    try:
        journal = json.loads((previous / _JOURNAL).read_bytes())
        kept, coming = list(journal["kept"]), dict(journal["coming"])
    except (OSError, ValueError, KeyError, TypeError):
        raise OutputError(f"{previous} is in the way and holds no results of this program; move it") from None
    _check_names([*kept, *coming])
    return kept, coming


# --------------------------------------------------------------------------- small parts


def _listed(out: Path) -> set[str]:
    """List the files of the set that stands in a folder, by its run.json; names that lead elsewhere are not ours."""
    names = _run_of(out).get("files")
    return {name for name in names if _NAME.fullmatch(name)} if isinstance(names, dict) else set()


def _run_of(out: Path) -> dict[str, Any]:
    """Read the run.json of a folder, empty where there is none that can be read."""
    try:
        run = json.loads((out / RUN_FILE).read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    return run if isinstance(run, dict) else {}


def _lies_in(path: Path, folder: Path) -> bool:
    """Tell whether a file, or the link that names it, lies in a folder: by the folder itself, not by its spelling."""
    spelled = (path.resolve(), path.parent.resolve() / path.name)
    return any(parent.samefile(folder) for one in spelled for parent in one.parents if parent.exists())


def _check_targets(out: Path, files: Iterable[str]) -> None:
    """Refuse, before anything is touched, to replace what is not a file."""
    for name in files:
        target = out / name
        if target.exists() and not target.is_file():
            raise OutputError(f"{target} is not a file; move it, it stands where a result goes")
        for parent in target.relative_to(out).parents:
            if (out / parent).exists() and not (out / parent).is_dir():
                raise OutputError(f"{out / parent} is not a folder; move it, it stands where results go")


def _run_file_last(names: Iterable[str]) -> list[str]:
    return sorted(names, key=lambda name: (name == RUN_FILE, name))


def _digest(path: Path) -> str:
    """Return the SHA-256 of a file, '' where there is none."""
    try:
        return sha256(path.read_bytes()).hexdigest()
    except FileNotFoundError:
        return ""


def _second(source: Path, target: Path) -> None:
    """Give a file a second name; where the file system has none, copy it."""
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)
        with target.open("rb+") as copy:
            os.fsync(copy.fileno())


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _empty(folder: Path) -> None:
    """Make a folder that holds nothing."""
    if folder.exists():
        shutil.rmtree(folder)
    folder.mkdir(parents=True)


@contextmanager
def _scratch(folder: Path) -> Iterator[None]:
    """Hold an empty folder that goes when it is done with, whatever happens."""
    try:
        _empty(folder)
        yield
    finally:
        try:
            shutil.rmtree(folder, ignore_errors=True)
        except KeyboardInterrupt:  # it hit the removing
            shutil.rmtree(folder, ignore_errors=True)
            raise


def _settle(out: Path, names: Iterable[str]) -> None:
    """Make the names in the folder last, and drop the folders that our files have left empty."""
    for folder in sorted({(out / name).parent for name in names}, reverse=True):
        if folder != out:
            with suppress(OSError):
                folder.rmdir()
        if folder.exists():
            _sync_folder(folder)
    _sync_folder(out)


def _sync_folder(folder: Path) -> None:
    """Make renames in a folder last through a power cut, where the system can."""
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def _explained(folder: Path, option: str = "--out") -> Iterator[None]:
    """Say what to do about what the system says."""
    try:
        yield
    except OutputError:
        raise
    except OSError as error:
        where = error.filename2 or error.filename or folder
        if error.errno in _FULL:
            raise OutputError(
                f"no room on the disk that holds {folder}; free some, or write elsewhere with {option}."
                " The results before are untouched"
            ) from error
        raise OutputError(
            f"cannot write {where}: {error.strerror or error}; is it open elsewhere, or not yours to write?"
            f" Close it, or write elsewhere with {option}. The results before are untouched"
        ) from error
