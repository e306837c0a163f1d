"""Wherever writing the library fails or the program is killed, the file holds the old state or the new one, whole.

A limit on the size of files (POSIX setrlimit, RLIMIT_FSIZE) makes each write of the library fail in turn, as a full
disk does; SIGKILL falls at drawn moments. `BLENDPLAN_KILLS=N` plays N of either by hand.
"""

from __future__ import annotations

import ctypes
import errno
import os
import random
import signal
import sys
import time
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from test_kept_sets import Faulty, failing, kill

from blendplan.edits import edit_between
from blendplan.errors import BlendplanError, NotKeptError
from blendplan.kept import open_library
from blendplan.kept.file import NAME, connect, keep_copy

resource = pytest.importorskip("resource")
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="faults are put into a forked child")
TIMES = int(os.environ.get("BLENDPLAN_KILLS", "12"))
PAGE = 4096


def same(entries: dict[str, Any]) -> dict[str, Any]:
    return entries


def begun(folder: Path) -> int:
    library, _ = open_library(folder)
    number = library.add({"title": "0", "n": 0}, "0")
    library.close()
    return number


def presses(folder: Path, number: int, told: int, limit: int | None) -> int:
    """Press in a child until it fails or is killed, telling each press that was kept; return the child's number."""
    child = os.fork()
    if child:
        return child
    status = 7
    try:
        if limit is not None:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        library, _ = open_library(folder)
        now = library.read(number, same).now
        for n in range(now["n"] + 1, now["n"] + 100_000):
            now = library.edit(number, edit_between(now, {"title": str(n), "n": n, "x": "x" * 300}), "desk", same).now
            os.write(told, b"%d\n" % n)
        status = 0
    except NotKeptError:
        status = 3
    except BaseException:  # noqa: BLE001 - the child must end here
        status = 4
    finally:
        os._exit(status)


def stands(folder: Path, number: int, last: int) -> int:
    """Check the law and return what stands: the last press that was told of, or the one under way."""
    library, news = open_library(folder)
    assert news == ()
    now = library.read(number, same).now
    assert last <= now["n"] <= last + 1 and now["title"] == str(now["n"])
    if now["n"]:
        assert library.undo(number, same).now["n"] == now["n"] - 1
        library.redo(number, same)
    library.close()
    assert not list(folder.glob("*.part*"))
    return int(now["n"])


def told_by(pipe: int) -> int:
    lines = b""
    while chunk := os.read(pipe, 65536):
        lines += chunk
    return int(lines.split()[-1]) if lines else -1


def test_each_write_of_the_library_fails_in_turn(tmp_path: Path) -> None:
    failed, last = 0, 0
    number = begun(tmp_path)
    size = (tmp_path / NAME).stat().st_size
    step = max(PAGE // 4, 40 * PAGE // TIMES)
    for limit in range(size, size + 40 * PAGE, step):
        read, write = os.pipe()
        child = presses(tmp_path, number, write, limit)
        os.close(write)
        last = max(last, told_by(read))
        os.close(read)
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        assert status in (3, 4), status
        failed += 1
        last = stands(tmp_path, number, last)
    assert failed and last, "no press was kept before the disk was full"


def test_a_kill_at_any_moment_loses_at_most_the_press_under_way(tmp_path: Path) -> None:
    dice, number, last = random.Random(20), begun(tmp_path), 0
    for k in range(TIMES):
        read, write = os.pipe()
        child = presses(tmp_path, number, write, None)
        os.close(write)
        # From before the file is open to amid the presses, every other time surely after the first.
        if k % 2:
            last = max(last, int(os.read(read, 65536).split()[0]))
        time.sleep(dice.uniform(0, 0.12))
        os.kill(child, signal.SIGKILL)
        last = max(last, told_by(read))
        os.close(read)
        os.waitpid(child, 0)
        last = stands(tmp_path, number, last)
    assert last


@pytest.mark.parametrize(("fault", "before"), [(None, True), (kill, True), (kill, False)])
def test_a_damaged_library_is_laid_aside_wherever_a_call_fails(fault: Any, before: bool, tmp_path: Path) -> None:
    harmed = b"this is no library"
    for at in range(1, 60):
        folder = tmp_path / f"{at}"
        begun(folder)
        with closing(connect(folder / NAME)) as db:
            keep_copy(db, folder, date(2026, 1, 1))
        (folder / NAME).write_bytes(harmed)
        child = os.fork()
        if child == 0:
            status = 7
            try:
                faulty = Faulty(at, fault or failing((errno.EIO, errno.ENOSPC, errno.EACCES)[at % 3]), before)
                faulty.put()
                open_library(folder)
                status = 0 if faulty.count >= at else 5
            except BlendplanError:
                status = 3
            finally:
                os._exit(status)
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        assert status in (0, 3, 5, -signal.SIGKILL), (at, status)
        library, _ = open_library(folder)
        assert [one.title for one in library.blankets()] == ["0"], (at, status)
        library.close()
        aside = [p.read_bytes() for p in folder.glob("library-damaged*.sqlite3")]
        assert aside == [harmed] and not list(folder.glob("*.part*")), (at, status)
        if status == 5:
            break
    else:
        pytest.fail("the opening never came to its end")
    assert at > 5


class _Vfs(ctypes.Structure):
    """The beginning of `sqlite3_vfs` (sqlite.org/c3ref/vfs.html), down to the door for calls of the system."""

    _fields_ = (
        *((name, ctypes.c_int) for name in ("version", "size", "longest")),
        *((f"p{n}", ctypes.c_void_p) for n in range(16)),
        ("set_call", ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_char_p, ctypes.c_void_p)),
        ("get_call", ctypes.CFUNCTYPE(ctypes.c_void_p, ctypes.c_void_p, ctypes.c_char_p)),
    )


_INT, _AT, _SIZE = ctypes.c_int, ctypes.c_void_p, ctypes.c_size_t
# The calls that SQLite makes to open, lock, read, write, cut and take away its files, by their C signatures.
SQLITE_CALLS = {
    "open": (_INT, ctypes.c_char_p, _INT, _INT),
    "fcntl": (_INT, _INT, _INT, _AT),
    "fstat": (_INT, _INT, _AT),
    "pread64": (ctypes.c_ssize_t, _INT, _AT, _SIZE, ctypes.c_int64),
    "pwrite64": (ctypes.c_ssize_t, _INT, _AT, _SIZE, ctypes.c_int64),
    "ftruncate": (_INT, _INT, ctypes.c_int64),
    "unlink": (_INT, ctypes.c_char_p),
    "mmap": (_AT, _AT, _SIZE, _INT, _INT, _INT, ctypes.c_int64),
}
_held: list[Any] = []


def spoil(name: str, at: int, code: int) -> list[int]:
    """Let the `at`-th call of one kind that SQLite makes in this process fail, for good; return the count of calls."""
    system = ctypes.CDLL("libsqlite3.so.0")
    system.sqlite3_vfs_find.restype = ctypes.POINTER(_Vfs)
    vfs = system.sqlite3_vfs_find(None)
    kind = ctypes.CFUNCTYPE(*SQLITE_CALLS[name], use_errno=True)
    real = kind(vfs.contents.get_call(vfs, name.encode()))
    count = [0]

    def faulty(*values: Any) -> Any:
        count[0] += 1
        if count[0] == at:
            ctypes.set_errno(code)
            return ctypes.c_void_p(-1).value if name == "mmap" else -1
        return real(*values)

    spoilt = kind(faulty)
    _held.append(spoilt)
    assert vfs.contents.set_call(vfs, name.encode(), ctypes.cast(spoilt, ctypes.c_void_p)) == 0
    return count


def pressed_once_spoilt(folder: Path, number: int, told: int, name: str, at: int, code: int) -> int:
    """Press three times in a child, one call of the system failing; return 0 kept, 3 refused, 5 where none failed."""
    child = os.fork()
    if child == 0:
        status = 7
        try:
            count = spoil(name, at, code)
            library, _ = open_library(folder)
            now = library.read(number, same).now
            for n in range(now["n"] + 1, now["n"] + 4):
                now = library.edit(number, edit_between(now, {"title": str(n), "n": n}), "desk", same).now
                os.write(told, b"%d\n" % n)
            library.close()
            status = 0 if count[0] >= at else 5
        except BlendplanError:
            status = 3
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="SQLite's calls are reached through its library")
@pytest.mark.parametrize("name", SQLITE_CALLS)
def test_each_call_that_sqlite_makes_fails_in_turn(name: str, tmp_path: Path) -> None:
    try:
        ctypes.CDLL("libsqlite3.so.0")
    except OSError:
        pytest.skip("SQLite stands inside Python here")
    number, last, codes = begun(tmp_path), 0, (errno.EIO, errno.ENOSPC, errno.EACCES)
    for k in range(TIMES):
        read, write = os.pipe()
        status = pressed_once_spoilt(tmp_path, number, write, name, k + 1, codes[k % 3])
        os.close(write)
        assert status in (0, 3, 5), (name, k, status)
        last = stands(tmp_path, number, max(last, told_by(read)))
        os.close(read)
        if status == 5:
            break
    assert last, "no press was kept"
