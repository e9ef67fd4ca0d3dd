"""Writing results: whole or not at all, whatever happens. Processes are really killed, disks really full."""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path

import pytest

from preplan import folder_lock, write
from preplan.errors import OutputError
from preplan.write import restore_broken, write_file, write_results

REPOSITORY = Path(__file__).resolve().parents[1]

KILLER = """
import os, shutil, signal, sys
from itertools import count
from pathlib import Path
from tests.test_write import make_set
from preplan.write import restore_broken, write_results

ROOT, JOB, BEFORE = Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3])
TOUCHES = {"open", "os.rename", "os.link", "os.remove", "os.mkdir", "os.rmdir", "os.truncate"}

def run(out, stop_at):
    touched = 0
    def hook(event, arguments):
        nonlocal touched
        if event in TOUCHES:
            touched += 1
            if touched == stop_at:
                os.kill(os.getpid(), signal.SIGKILL)
    sys.addaudithook(hook)
    if JOB == "write":
        write_results(out, make_set("new", cards=1))
    else:
        restore_broken(out)
    os._exit(0)

for stop_at in count(1):
    shutil.copytree(BEFORE, ROOT / str(stop_at))
    child = os.fork()
    if child == 0:
        run(ROOT / str(stop_at) / "out", stop_at)
    if os.waitpid(child, 0)[1] == 0:
        break
print(stop_at)
"""


PAGES = """
from preplan.errors import OutputError
from preplan.render.geopackage import geopackage
from preplan.render.workbook import addresses_xlsx
from tests.example_plan import example_plan
for make in (geopackage, lambda plan: addresses_xlsx(plan, ())):
    try:
        make(example_plan())
    except OutputError as error:
        print(" ".join(str(error).split()))
"""


def make_set(mark: str, cards: int) -> dict[str, bytes]:
    """Make a set of results whose every file bears a mark."""
    files = {f"cards/{n:03}.pdf": f"{mark} card {n}".encode() for n in range(1, cards + 1)}
    files |= {name: f"{mark} {name}".encode() * 50 for name in ("map.html", "addresses.csv")}
    digests = {name: sha256(content).hexdigest() for name, content in files.items()}
    return {**files, "run.json": json.dumps({"mark": mark, "files": digests}).encode()}


def held(out: Path) -> dict[str, bytes]:
    """Read everything in a folder but the user's own note."""
    found = {str(path.relative_to(out)): path.read_bytes() for path in out.rglob("*") if path.is_file()}
    if "notes.txt" in found:
        assert found.pop("notes.txt") == b"my own"
    return found


def kill_everywhere(root: Path, job: str, before: Path) -> list[Path]:
    """Run a job on copies of a folder, killed at its first touch of the disk, its second, ...; return the folders."""
    root.mkdir()
    done = subprocess.run(
        [sys.executable, "-c", KILLER, root, job, before], cwd=REPOSITORY, check=True, capture_output=True, text=True
    )
    return [root / str(k) / "out" for k in range(1, int(done.stdout) + 1)]


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """Return a folder with an old set of three cards and a file that is not ours."""
    place = tmp_path / "home" / "out"
    write_results(place, make_set("old", cards=3))
    (place / "notes.txt").write_bytes(b"my own")
    return place


def test_first_set_and_the_next(out: Path) -> None:
    """A set is as given; the next replaces it, and a card it no longer has goes; a file not ours stays."""
    assert held(out) == make_set("old", cards=3)
    write_results(out, make_set("new", cards=1))
    assert held(out) == make_set("new", cards=1)
    assert (out / "notes.txt").exists()
    assert list(out.parent.iterdir()) == [out]


def test_a_folder_left_empty_goes_but_not_with_a_file_that_is_not_ours(out: Path) -> None:
    write_results(out, make_set("new", cards=0))
    assert not (out / "cards").exists()
    write_results(out, make_set("old", cards=3))
    (out / "cards" / "mine.txt").write_text("x")
    write_results(out, make_set("new", cards=0))
    assert [path.name for path in (out / "cards").iterdir()] == ["mine.txt"]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_killed_at_every_touch_of_the_disk(out: Path, tmp_path: Path) -> None:
    """Whenever a run is killed, a whole set stands, or one is restored; and the next run works as ever."""
    old, new, third = make_set("old", cards=3), make_set("new", cards=1), make_set("third", cards=2)
    runs = kill_everywhere(tmp_path / "runs", "write", out.parent)
    broken = []
    for place in runs:
        found, previous = held(place), place.with_name("out.previous")
        if found not in (old, new):
            broken.append(place)
            assert previous.exists(), f"{place.parent.name}: a mixed set, and no way back"
            assert found["run.json"] == old["run.json"], "run.json comes last"
        assert restore_broken(place) or found in (old, new)
        assert held(place) == (found if found in (old, new) else old)
        write_results(place, third)
        assert held(place) == third
        assert (place / "notes.txt").exists()
        assert list(place.parent.iterdir()) == [place]
    assert len(runs) > 30
    assert broken, "no run was stopped in the middle of replacing: the test proves nothing"


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_killed_while_restoring(out: Path, tmp_path: Path) -> None:
    """Restoring can itself be killed anywhere, and done again."""
    runs = kill_everywhere(tmp_path / "runs", "write", out.parent)
    old, new = make_set("old", cards=3), make_set("new", cards=1)
    middle = [place for place in runs if held(place) not in (old, new)]
    again = kill_everywhere(tmp_path / "again", "restore", middle[-1].parent)
    assert len(again) > 10
    for place in again:
        restore_broken(place)
        assert held(place) == old


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_killed_on_the_first_run(tmp_path: Path) -> None:
    """A first set is there whole, or the folder is not there at all."""
    (tmp_path / "empty").mkdir()
    places = kill_everywhere(tmp_path / "runs", "write", tmp_path / "empty")
    assert {place.exists() for place in places} == {True, False}
    for place in places:
        assert not place.exists() or held(place) == make_set("new", cards=1)
        write_results(place, make_set("third", cards=2))
        assert held(place) == make_set("third", cards=2)


def test_file_that_cannot_be_replaced_is_named(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As where a spreadsheet program holds a file open: it is named, and the set before is back."""
    real = Path.replace

    def replace(self: Path, target: Path) -> Path:
        if target.name == "map.html" and self.parent.name == "new":
            raise PermissionError(errno.EACCES, "Permission denied", str(self), None, str(target))
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    with pytest.raises(OutputError, match=r"out/map\.html: Permission denied.*open elsewhere"):
        write_results(out, make_set("new", cards=1))
    assert held(out) == make_set("old", cards=3)
    assert list(out.parent.iterdir()) == [out]


def test_interrupt_puts_the_set_before_back(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.replace

    def replace(self: Path, target: Path) -> Path:
        if target.name == "map.html" and self.parent.name == "new":
            raise KeyboardInterrupt
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    with pytest.raises(KeyboardInterrupt):
        write_results(out, make_set("new", cards=1) | {"extra.csv": b"x"})
    assert held(out) == make_set("old", cards=3)
    assert list(out.parent.iterdir()) == [out]


def test_where_nothing_can_be_put_back_it_says_where_the_set_before_is(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Path.replace

    def replace(self: Path, target: Path) -> Path:
        if target.name == "map.html" or self.name == "back":
            raise OSError(errno.EIO, "Input/output error", str(self), None, str(target))
        return real(self, target)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", replace)
        with pytest.raises(OutputError, match=r"half replaced .*out\.previous holds the results before"):
            write_results(out, make_set("new", cards=1))
    assert held(out) != make_set("old", cards=3)
    assert restore_broken(out)
    assert held(out) == make_set("old", cards=3)


def test_without_second_names_files_are_copied(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some file systems (memory sticks) know no hard links."""

    def link(*_: object, **__: object) -> None:
        raise PermissionError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", link)
    monkeypatch.setattr(write, "_discard", lambda _: None)
    write_results(out, make_set("new", cards=1))
    previous = out.with_name("out.previous")
    assert {name: content for name, content in held(previous).items() if not name.startswith(".")} == make_set("old", 3)


# --------------------------------------------------------------------------- room and rights


@contextmanager
def tiny_disk(folder: Path) -> Iterator[Path]:
    """Mount a disk of 128 kB, or skip."""
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=128k", "tmpfs", folder], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("may not mount a disk here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)


@pytest.mark.skipif(shutil.which("mount") is None, reason="no mount command")
def test_full_disk(tmp_path: Path) -> None:
    """A disk that is really full: the set before is whole, nothing is left over, and it is said plainly."""
    with tiny_disk(tmp_path / "disk") as disk:
        place = disk / "out"
        write_results(place, make_set("old", cards=3))
        with pytest.raises(OutputError, match="no room on the disk"):
            write_results(place, make_set("new", cards=1) | {"map.html": b"x" * 300_000})
        assert held(place) == make_set("old", cards=3)
        assert list(disk.iterdir()) == [place]
        with pytest.raises(OutputError, match="a disk of its own"):
            write_results(disk, make_set("new", cards=1))


@pytest.mark.skipif(shutil.which("mount") is None, reason="no mount command")
def test_read_only_disk(tmp_path: Path) -> None:
    """A disk mounted for reading only, which stops even root."""
    with tiny_disk(tmp_path / "disk") as disk:
        place = disk / "out"
        write_results(place, make_set("old", cards=3))
        subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
        with pytest.raises(OutputError, match=r"cannot write .*Read-only file system.*results before are untouched"):
            write_results(place, make_set("new", cards=1))
        with pytest.raises(OutputError, match="Read-only file system"):
            write_file(place / "card.pdf", b"x")
        assert held(place) == make_set("old", cards=3)


@pytest.mark.skipif(shutil.which("mount") is None, reason="no mount command")
def test_full_disk_of_temporary_files(tmp_path: Path) -> None:
    """Two results are made by libraries that need a disk: where that is full, it is said which and where."""
    with tiny_disk(tmp_path / "disk") as disk:
        (disk / "filler").write_bytes(b"x" * 118_000)
        command = [sys.executable, "-c", PAGES]
        done = subprocess.run(
            command, cwd=REPOSITORY, env={**os.environ, "TMPDIR": str(disk)}, check=True, capture_output=True, text=True
        )
        said = done.stdout.splitlines()
        assert [line.partition(":")[0] for line in said] == [
            f"{n} cannot be made" for n in ("preplan.gpkg", "addresses.xlsx")
        ]
        assert all(line.endswith(f"Is there room in {disk}? The results before are untouched") for line in said)
        assert [path.name for path in disk.iterdir()] == ["filler"]


def test_one_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file of no set is replaced whole; where it cannot be, the one before stands and nothing is left over."""
    card = tmp_path / "out" / "card.pdf"
    write_file(card, b"old")
    write_file(card, b"new")
    assert card.read_bytes() == b"new"

    def full(_path: Path, _content: bytes) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(write, "_write", full)
    with pytest.raises(OutputError, match="no room on the disk"):
        write_file(card, b"newer")
    with pytest.raises(OutputError, match="or write elsewhere with --csv"):
        write_file(card, b"newer", "--csv")
    assert held(card.parent) == {"card.pdf": b"new"}


def test_disk_full_at_any_file(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same, simulated at each file in turn, the journal included."""
    real = write._write
    new = make_set("new", cards=1)
    for last in range(len(new) + 1):
        room = iter(range(last))

        def full(path: Path, content: bytes, room: Iterator[int] = room) -> None:
            if next(room, None) is None:
                raise OSError(errno.ENOSPC, "No space left on device", str(path))
            real(path, content)

        monkeypatch.setattr(write, "_write", full)
        with pytest.raises(OutputError, match="no room"):
            write_results(out, new)
        assert held(out) == make_set("old", cards=3)
        assert list(out.parent.iterdir()) == [out]


def test_written_short_is_noticed(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(write, "_write", lambda path, content: path.write_bytes(content[:-1]))
    with pytest.raises(OutputError, match="written short: "):
        write_results(out, make_set("new", cards=1))
    assert held(out) == make_set("old", cards=3)


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_read_only_folder(out: Path) -> None:
    out.parent.chmod(0o500)
    try:
        with pytest.raises(OutputError, match="Permission denied"):
            write_results(out, make_set("new", cards=1))
    finally:
        out.parent.chmod(0o700)
    assert held(out) == make_set("old", cards=3)


def test_a_file_where_a_folder_should_be(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="is not a folder"):
        write_results(tmp_path / "file", make_set("new", cards=1))
    with pytest.raises(OutputError, match="is a file; name another folder"):
        write_results(tmp_path / "file" / "out", make_set("new", cards=1))
    assert (tmp_path / "file").read_text() == "x"


@pytest.mark.parametrize("blocked", ["map.html", "cards"])
def test_something_else_where_a_result_goes(out: Path, blocked: str) -> None:
    """A folder in place of a file, or a file in place of a folder: refused before anything is touched."""
    write_results(out, make_set("old", cards=0))
    if blocked == "map.html":
        (out / blocked).unlink()
        (out / blocked).mkdir()
    else:
        (out / blocked).write_text("mine")
    before = held(out)
    with pytest.raises(OutputError, match=f"out/{blocked} is not a f"):
        write_results(out, make_set("new", cards=1))
    assert held(out) == before


def test_a_previous_that_is_not_ours_is_left_alone(out: Path) -> None:
    other = out.with_name("out.previous")
    other.mkdir()
    (other / "letter.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"out\.previous is in the way"):
        write_results(out, make_set("new", cards=1))
    assert (other / "letter.txt").read_text() == "mine"
    assert held(out) == make_set("old", cards=3)


@pytest.mark.parametrize("name", ["/etc/x", "../x", "a/../../x", "", ".hidden", "a//b", "a\\b", "C:x", "x\n", "a/"])
def test_names_that_lead_elsewhere(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputError, match="not the name of a result"):
        write_results(tmp_path / "out", {**make_set("new", cards=1), name: b"x"})
    assert list(tmp_path.iterdir()) == []


def test_a_set_must_list_itself(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"without run\.json"):
        write_results(tmp_path / "out", {"map.html": b"x"})


@pytest.mark.parametrize("listing", ['{"files": {"../keep.txt": ""}}', "not json", '{"files": 3}', "[]"])
def test_a_listing_that_lies_removes_nothing(out: Path, listing: str) -> None:
    """run.json is a file like any other: somebody may have written anything into it."""
    keep = out.parent / "keep.txt"
    keep.write_text("x")
    (out / "run.json").write_text(listing)
    write_results(out, make_set("new", cards=1))
    assert keep.exists()


# --------------------------------------------------------------------------- two runs at once

WRITER = """
import sys
from pathlib import Path
from tests.test_write import make_set
from preplan.write import write_results
for _ in range(8):
    write_results(Path(sys.argv[1]), make_set(sys.argv[2], cards=int(sys.argv[3])))
"""
HOLDER = """
import sys, time
from pathlib import Path
from preplan.folder_lock import locked
from preplan.write import _Place
place = _Place.of(Path(sys.argv[1]))
with locked(place.lock, place.out, 0):
    print("held", flush=True)
    time.sleep(60)
"""


def start(script: str, *arguments: object) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", script, *map(str, arguments)]
    return subprocess.Popen(command, cwd=REPOSITORY, stdout=subprocess.PIPE, text=True)


def test_two_runs_at_once_do_not_mix(tmp_path: Path) -> None:
    place = tmp_path / "out"
    runs = [start(WRITER, place, mark, cards) for mark, cards in (("one", 2), ("two", 5), ("three", 0))]
    assert [run.wait(timeout=60) for run in runs] == [0, 0, 0]
    for run in runs:
        run.communicate()
    assert held(place) in (make_set("one", 2), make_set("two", 5), make_set("three", 0))
    assert list(tmp_path.iterdir()) == [place]


def test_lock_is_held_and_let_go_by_death(out: Path) -> None:
    """While another run holds the lock it is named and nothing is touched; once killed it is in nobody's way."""
    with start(HOLDER, out) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(OutputError, match=rf"another run \(process {holder.pid}\) is writing to"):
            write_results(out, make_set("new", cards=1), wait_s=0.1)
        assert held(out) == make_set("old", cards=3)
        holder.kill()
    assert (out.parent / ".out.preplan-lock").exists()
    write_results(out, make_set("new", cards=1), wait_s=0.1)
    assert held(out) == make_set("new", cards=1)
    assert list(out.parent.iterdir()) == [out]


def test_a_lock_removed_by_its_last_holder_is_not_the_lock(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between opening and claiming, the last holder may remove the file: then whoever comes next would have another."""
    place, real = write._Place.of(out), folder_lock._claim
    claims: list[int] = []

    def claim(handle: int) -> bool:
        if not claims:
            place.lock.unlink()
        claims.append(handle)
        return real(handle)

    monkeypatch.setattr(folder_lock, "_claim", claim)
    with folder_lock.locked(place.lock, place.out, 1.0):
        assert place.lock.read_text() == f"{os.getpid()}\n"
        assert folder_lock._try_lock(place.lock) is None


def interrupted(done: list[str], word: str) -> None:
    """Press Ctrl-C while it is put off, and go on."""
    with folder_lock._undisturbed():
        os.kill(os.getpid(), signal.SIGINT)
        done.append(word)


def test_a_ctrl_c_while_the_lock_is_taken_comes_after_it() -> None:
    """The signal may reach any thread, so the program's own handler waits; where Ctrl-C is ignored it stays ignored."""
    before = signal.getsignal(signal.SIGINT)
    done: list[str] = []
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        with pytest.raises(KeyboardInterrupt):
            interrupted(done, "whole")
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        interrupted(done, "ignored")
        assert done == ["whole", "ignored"]
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)
