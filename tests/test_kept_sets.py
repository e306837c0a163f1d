"""A set of outputs stands whole, the new or the old, whatever call of the system fails or wherever a run is killed.

The law and its cases are the requirement; the faults are those that POSIX names for these calls (ENOSPC, EIO, EACCES;
IEEE Std 1003.1, write(), rename(), fsync()), put in one place after the other by wrapping each call.
"""

from __future__ import annotations

import errno
import io
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from blendplan import files
from blendplan.errors import ProjectError
from blendplan.files import write_set

OLD = {"plan.json": b"old plan", "rows.txt": b"old rows", "picture.png": b"old picture"}
NEW = {"plan.json": b"the new plan", "rows.txt": b"the new rows", "picture.png": b"the new picture"}
HERS = {"hers.txt": b"a note of hers", "photos/one.jpg": b"her photograph"}
CALLS = ("mkdir", "link", "rename", "replace", "unlink", "rmdir", "chmod", "fsync", "open", "scandir", "stat", "umask")
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="faults are put into a forked child")


def seen(folder: Path) -> dict[str, bytes]:
    """Return every file under a folder by its path from there."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def litter(folder: Path) -> list[str]:
    """Return what a run has left beside or inside a folder."""
    return [str(p) for p in folder.parent.rglob("*") if p.name.startswith(".")]


class Faulty:
    """Counts the calls of the system and lets one of them fail."""

    def __init__(self, at: int, fault: Callable[[], None], before: bool) -> None:
        self.at, self.fault, self.before, self.count = at, fault, before, 0

    def wrap(self, call: Callable[..., Any]) -> Callable[..., Any]:
        def faulty(*args: Any, **kwargs: Any) -> Any:
            self.count += 1
            here = self.count == self.at
            if here and self.before:
                self.fault()
            result = call(*args, **kwargs)
            if here and not self.before:
                self.fault()
            return result

        return faulty

    def put(self) -> None:
        """Wrap the calls of this process, for good: it is a child that ends soon."""
        for name in CALLS:
            setattr(os, name, self.wrap(getattr(os, name)))
        files.exchange = self.wrap(files.exchange)
        whole = io.open

        def opened(*args: Any, **kwargs: Any) -> Any:
            file = whole(*args, **kwargs)
            if "w" in str(args[1] if len(args) > 1 else kwargs.get("mode", "r")):
                return _File(file, self)
            return file

        io.open = opened


class _File:
    """A file whose writing may fail half-way."""

    def __init__(self, file: Any, faulty: Faulty) -> None:
        self.file, self.faulty = file, faulty

    def __enter__(self) -> _File:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.file, name)

    def write(self, data: bytes) -> int:
        self.file.write(data[: len(data) // 2])
        self.file.flush()
        return self.faulty.wrap(self.file.write)(data[len(data) // 2 :])


def played(folder: Path, at: int, fault: Callable[[], None], before: bool) -> int:
    """Write the new set in a child with one fault; return the status: 0 written, 3 refused in one line, -9 killed."""
    child = os.fork()
    if child == 0:
        status = 7
        # The system may give a signal to any thread; libraries of sums keep some.
        threading.Thread(target=time.sleep, args=(9,), daemon=True).start()
        try:
            faulty = Faulty(at, fault, before)
            faulty.put()
            write_set(folder, NEW)
            status = 0 if faulty.count >= at else 5
        except ProjectError:
            status = 3
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def laid(folder: Path, what: dict[str, bytes]) -> None:
    for name, data in what.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)


def failing(code: int) -> Callable[[], None]:
    def fault() -> None:
        raise OSError(code, os.strerror(code))

    return fault


def kill() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def stop() -> None:
    os.kill(os.getpid(), signal.SIGINT)


@pytest.mark.parametrize("there", ["nothing", "old", "old and hers"])
@pytest.mark.parametrize(
    ("fault", "before"),
    [(None, True), (kill, True), (kill, False), (stop, False)],
    ids=["full, broken or forbidden", "killed before", "killed after", "ctrl-c"],
)  # fmt: skip
def test_the_set_is_the_new_or_the_old_wherever_a_call_fails(
    there: str, fault: Callable[[], None] | None, before: bool, tmp_path: Path
) -> None:
    outcomes = set()
    for at in range(1, 400):
        folder = tmp_path / f"{at}" / "out"
        laid(folder.parent, {})
        folder.parent.mkdir()
        hers = HERS if "hers" in there else {}
        old = OLD if "old" in there else {}
        laid(folder, {**old, **hers})
        # One after the other, so that each place fails once by one of them.
        turn = failing((errno.ENOSPC, errno.EIO, errno.EACCES)[at % 3])
        status = played(folder, at, fault or turn, before)
        assert status in (0, 3, 5, 7, -9), status
        now = seen(folder) if folder.exists() else {}
        now = {name: data for name, data in now.items() if not name.startswith(".")}
        assert now in ({**old, **hers}, {**NEW, **hers}), (at, status, now)
        assert status != 3 or now == {**old, **hers}, "refused, but something was changed"
        assert status not in (0, 5) or now == {**NEW, **hers}
        outcomes.add((status, now == {**NEW, **hers}))
        if status != -9:
            assert fault is kill or not litter(folder), (at, status)
        if status == -9:
            # The next run clears what the killed one left.
            write_set(folder, NEW)
            assert seen(folder) == {**NEW, **hers}
            assert not litter(folder)
        if status == 5:
            break
    else:
        pytest.fail("the writing never came to its end")
    # Faults early leave the old set, and the last run, which met none, the new one.
    assert (5, True) in outcomes
    assert any(not new for _, new in outcomes)


def test_where_folders_cannot_change_places_the_old_files_come_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The maker stands in the folder itself: it must stay the same folder."""
    laid(tmp_path, {**OLD, **HERS})
    monkeypatch.chdir(tmp_path)
    inode = tmp_path.stat().st_ino
    calls = Faulty(3, failing(errno.EIO), True)
    monkeypatch.setattr(os, "replace", calls.wrap(os.replace))
    with pytest.raises(ProjectError, match="nothing was changed"):
        write_set(".", NEW)
    assert seen(tmp_path) == {**OLD, **HERS}
    write_set(".", NEW)
    assert seen(tmp_path) == {**NEW, **HERS}
    assert tmp_path.stat().st_ino == inode


def run_and_signal(folder: Path, number: int, after_s: float) -> tuple[int, str]:
    # As the installed command does; the word says that the interpreter itself is up.
    up = "import sys, blendplan.__main__ as command; print('up', flush=True); sys.exit(command.run())"
    command = [sys.executable, "-c", up, "demo", "--out", str(folder)]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8")
    assert child.stdout is not None
    assert child.stdout.readline() == "up\n"
    time.sleep(after_s)
    child.send_signal(number)
    _, told = child.communicate(timeout=180)
    return child.returncode, told


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_the_command_without_litter_or_traceback(number: int, tmp_path: Path) -> None:
    """POSIX shells tell a command ended by signal n as 128 + n (IEEE Std 1003.1, Shell, 2.8.2)."""
    ended = 0
    for k in range(8):
        folder = tmp_path / "here" / f"{k}"
        folder.parent.mkdir(exist_ok=True)
        code, told = run_and_signal(folder, number, 0.3 * k)
        assert "Traceback" not in told
        assert code in (0, 128 + number), told
        ended += code == 128 + number
        assert not litter(folder)
        assert not folder.exists() or len(list(folder.iterdir())) == 10
    assert ended, "no run was stopped; the times do not fit this machine"


@pytest.mark.parametrize("gone", ["stdout", "stderr"])
def test_a_reader_that_has_gone_is_no_error(gone: str, tmp_path: Path) -> None:
    """A pipe that nobody reads any more (EPIPE; IEEE Std 1003.1, write())."""
    read, write = os.pipe()
    os.close(read)
    kept = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, gone: write}
    command = [sys.executable, "-m", "blendplan", "new", str(tmp_path / "p.json")]
    ended = subprocess.run(command, check=False, **kept)
    os.close(write)
    assert ended.returncode == 0
    assert b"Traceback" not in (ended.stderr or b"") and b"BrokenPipe" not in (ended.stderr or b"")
    assert (tmp_path / "p.json").read_bytes().startswith(b"{")


@pytest.mark.parametrize("closed", [1, 2])
def test_a_closed_output_is_no_error(closed: int, tmp_path: Path) -> None:
    command = f'"{sys.executable}" -m blendplan new "{tmp_path / "p.json"}" {closed}>&-'
    assert subprocess.run(["sh", "-c", command], check=False).returncode == 0
    assert (tmp_path / "p.json").read_bytes().startswith(b"{")
