"""Files on disk: read within a limit, written whole or not at all, one by one or as a set."""

from __future__ import annotations

import contextlib
import ctypes
import errno
import hashlib
import os
import shutil
import signal
import sys
import tempfile
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from blendplan.budgets import MAX_FILE
from blendplan.errors import ProjectError

__all__ = ["beside", "read_file", "undisturbed", "write_set", "write_whole"]

# A folder with more files of hers than this is not swapped as a whole but file by file (assumed: a link takes 10 us).
MOST_LINKED = 2_000
_STOPS = {getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)}
# From <fcntl.h> and <stdio.h>: Linux renameat2(2), macOS renamex_np(2).
_AT_FDCWD, _RENAME_EXCHANGE, _RENAME_SWAP = -100, 2, 2
# What a file system answers that cannot exchange two folders.
_NO_EXCHANGE = {errno.EINVAL, errno.ENOSYS, errno.ENOTSUP, errno.EXDEV, errno.EBUSY}


def read_file(path: str | Path) -> bytes:
    """Return a file's bytes, or refuse in one line."""
    try:
        with Path(path).open("rb") as file:
            # Some files tell no size and never end.
            data = file.read(MAX_FILE + 1)
    except (OSError, ValueError) as error:
        raise ProjectError(
            "{path} cannot be read ({reason}); check the name and try again.",
            path=repr(str(path)) if not str(path).strip() else str(path),
            reason=getattr(error, "strerror", None) or "not a file name",
        ) from None
    if len(data) > MAX_FILE:
        raise ProjectError("{path} is too large to be read; allowed is 200 MB.", path=str(path))
    return data


@contextlib.contextmanager
def undisturbed() -> Iterator[list[int]]:
    """Let a Ctrl-C or a request to end wait until the block is done; yield what has come so far.

    The handlers wait, for a mask holds back one thread's signals and the system gives them to another.
    """
    came: list[int] = []
    if threading.current_thread() is not threading.main_thread():
        # Python handles signals in its main thread alone.
        yield came
        return
    asked = {number: signal.getsignal(number) for number in _STOPS}
    before = {number: handler for number, handler in asked.items() if handler not in (signal.SIG_IGN, None)}
    try:
        for number in before:
            signal.signal(number, lambda number, frame: came.append(number))
        yield came
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        for number in came[:1]:
            signal.raise_signal(number)


def write_whole(path: str | Path, data: bytes) -> None:
    """Write a file beside its place, then rename it: the old content stays until the new is complete.

    Raises
    ------
    ProjectError
        If the folder cannot be written to or the disk is full; the old file is untouched.
    """
    target = Path(path)
    try:
        with undisturbed():
            beside(target, data).replace(target)
    except OSError as error:
        raise _refusal(target, error) from None


def beside(target: Path, data: bytes) -> Path:
    """Write data into a new file beside its place and return that file's path; nothing is left where it fails."""
    target.parent.mkdir(parents=True, exist_ok=True)
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", suffix=".part", dir=target.parent)
    os.close(handle)
    try:
        _write_synced(Path(name), data)
    except OSError:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise
    return Path(name)


def write_set(folder: str | Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write a set of files into a folder: all of the new set stands there, or all of the old.

    The set is written into a folder beside, what else lies in the old folder is linked into it, and the two folders
    change places in one call of the system. Where that cannot be (the folder is where the maker stands in her
    terminal, the system has no such call, the folder beside cannot be written, it holds thousands of other files)
    the files take their places one after the other, and the old ones come back where one fails.

    Parameters
    ----------
    folder : str or Path
        Made where missing. Other files in it stay.
    files : mapping of str to bytes
        By file name.

    Returns
    -------
    tuple of Path

    Raises
    ------
    ProjectError
        If the folder cannot be written to or the disk is full; what was there is untouched.
    """
    target = Path(folder)
    try:
        _write_set(target.resolve(), files)
    except OSError as error:
        raise _refusal(target, error) from None
    return tuple(target / name for name in files)


def _refusal(target: Path, error: OSError) -> ProjectError:
    return ProjectError(
        "{path} cannot be written ({reason}); nothing was changed; choose another folder or free some space.",
        path=str(target),
        reason=error.strerror or "no reason given",
    )


def _write_synced(path: Path, data: bytes) -> None:
    with path.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    # A file made by mkstemp is private; a finished output gets the usual rights of a new file.
    path.chmod(0o666 & ~_umask())


def _umask() -> int:
    umask = os.umask(0)
    os.umask(umask)
    return umask


def _write_set(place: Path, files: Mapping[str, bytes]) -> None:
    if place.exists() and not place.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR))
    for name in files:
        if (place / name).is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    made = [p for p in place.parents if not p.exists()]
    waiting, swapped = None, False
    with undisturbed() as came:
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            _clear(place)
            waiting = _beside(place)
            for name, data in files.items():
                _write_synced(waiting / name, data)
                if came:
                    raise KeyboardInterrupt
            if not place.exists():
                waiting.rename(place)
            else:
                swapped = _may_swap(place, waiting) and _swap(place, waiting, files)
                if not swapped:
                    _replace_each(place, waiting, files)
        finally:
            with contextlib.suppress(OSError):
                if waiting is not None:
                    if swapped:
                        _move_latest(waiting, place)
                    _remove(waiting)
                for folder in () if place.exists() else made:
                    folder.rmdir()


def _mark(place: Path) -> str:
    """Return how the names of the folders begin that wait beside a place."""
    return f".blendplan-{hashlib.sha256(place.name.encode('utf-8', 'surrogateescape')).hexdigest()[:12]}-"


def _beside(place: Path) -> Path:
    """Make a folder to write into, beside the place, or inside it where beside is not allowed."""
    prefix = f"{_mark(place)}{os.getpid()}-"
    try:
        made = Path(tempfile.mkdtemp(prefix=prefix, dir=place.parent))
    except PermissionError:
        if not place.is_dir():
            raise
        made = Path(tempfile.mkdtemp(prefix=prefix, dir=place))
    try:
        made.chmod(place.stat().st_mode & 0o7777 if place.is_dir() else 0o777 & ~_umask())
    except OSError:
        _remove(made)
        raise
    return made


def alive(pid: str) -> bool:
    """Return whether a process runs, or may run."""
    # Windows ends a process that is asked this way; there a folder left behind stays.
    if sys.platform == "win32" or not pid.isdecimal():
        return True
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True


def _clear(place: Path) -> None:
    """Take away what a killed run left behind."""
    mark = _mark(place)
    for room in (place.parent, place):
        for left in list(room.iterdir()) if room.is_dir() else ():
            if left.name.startswith(mark) and not alive(left.name.removeprefix(mark).partition("-")[0]):
                for old in sorted((left / _OLD).iterdir()) if (left / _OLD).is_dir() else ():
                    old.replace(place / old.name)
                _remove(left)


def _remove(folder: Path) -> None:
    # Once more where something stood in the way, such as a scanner that had a file open.
    for _ in range(2):
        shutil.rmtree(folder, ignore_errors=True)


def _move_latest(old: Path, place: Path) -> None:
    """Move a file of hers that came into the old folder at the last moment to where it belongs."""
    for entry in old.iterdir():
        if not os.path.lexists(place / entry.name):
            entry.rename(place / entry.name)


def _may_swap(place: Path, waiting: Path) -> bool:
    here = Path.cwd()
    if place in (waiting.parent, here) or place in here.parents or os.path.ismount(place):
        return False
    others = 0
    for _, folders, names in os.walk(place):
        others += len(folders) + len(names)
        if others > MOST_LINKED:
            return False
    return True


def _swap(place: Path, waiting: Path, files: Mapping[str, bytes]) -> bool:
    """Link what else lies in a folder into the waiting one and let the two change places; False where neither goes."""
    try:
        for entry in place.iterdir():
            if entry.name in files:
                continue
            if entry.is_dir() and not entry.is_symlink():
                shutil.copytree(entry, waiting / entry.name, symlinks=True, copy_function=os.link)
            else:
                os.link(entry, waiting / entry.name, follow_symlinks=False)
        exchange(waiting, place)
    except OSError as error:
        for entry in waiting.iterdir():
            if entry.name not in files:
                shutil.rmtree(entry) if entry.is_dir() and not entry.is_symlink() else entry.unlink()
        if error.errno in _NO_EXCHANGE | {errno.EPERM, errno.EMLINK}:
            return False
        raise
    return True


def exchange(one: Path, other: Path) -> None:
    """Let two folders change places in one step.

    Raises
    ------
    OSError
        With `ENOSYS` where the system has no such call, else as the system says.
    """
    system: Any = ctypes.CDLL(None, use_errno=True) if sys.platform != "win32" else None
    first, second = os.fsencode(one), os.fsencode(other)
    if hasattr(system, "renameat2"):
        failed = system.renameat2(_AT_FDCWD, first, _AT_FDCWD, second, _RENAME_EXCHANGE)
    elif hasattr(system, "renamex_np"):
        failed = system.renamex_np(first, second, _RENAME_SWAP)
    else:
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
    if failed:
        code = ctypes.get_errno()
        raise OSError(code, os.strerror(code), str(other))


# Where the old files wait while the new ones take their places one after the other.
_OLD = ".old"


def _replace_each(place: Path, waiting: Path, files: Mapping[str, bytes]) -> None:
    """Put each file into its place; all old ones come back where one fails."""
    old, put = waiting / _OLD, list[str]()
    old.mkdir()
    for name in files:
        if (place / name).exists():
            shutil.copy2(place / name, old / name)
    try:
        for name in files:
            (waiting / name).replace(place / name)
            put.append(name)
    except OSError:
        for name in put:
            if (old / name).exists():
                (old / name).replace(place / name)
            else:
                (place / name).unlink()
        raise
    shutil.rmtree(old)
