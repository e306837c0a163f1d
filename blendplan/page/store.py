"""Autosave: one folder on this machine, every version written whole, the last ten kept.

A version is a file named by its revision number.
It is written beside its place and then linked to its name, which fails if the name exists: two tabs that
both want to write revision 8 cannot both succeed, and the second learns of it.
"""

from __future__ import annotations

import contextlib
import os
import re
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from blendplan.errors import ProjectError

__all__ = ["KEEP", "Conflict", "Store", "Version", "home_folder", "served"]

KEEP = 10
_NAME = re.compile(r"r(\d{8})\.json")


class Conflict(Exception):  # noqa: N818 - a thing that happens, not a fault
    """Another tab has saved since this one last read or wrote."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """One saved version.

    Attributes
    ----------
    revision : int
        From 1, counting up.
    saved : float
        Seconds since the epoch.
    path : Path
    """

    revision: int
    saved: float
    path: Path


def served() -> bool:
    """Return whether the page is served to others, where nothing is kept on the machine's disk."""
    return os.environ.get("BLENDPLAN_SERVED", "") not in ("", "0")


def home_folder() -> Path:
    """Return the folder for autosaved work: `BLENDPLAN_HOME`, or the platform's folder for program data."""
    own = os.environ.get("BLENDPLAN_HOME")
    if own:
        return Path(own)
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or str(Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = str(Path.home() / "Library" / "Application Support")
    else:
        base = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return Path(base) / "blendplan"


class Store:
    """The versions in one folder.

    Parameters
    ----------
    folder : Path
        Made when the first version is saved.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def versions(self) -> tuple[Version, ...]:
        """Return the saved versions, newest first; empty where the folder is missing or cannot be read."""
        found = []
        with contextlib.suppress(OSError):
            for path in self.folder.iterdir():
                match = _NAME.fullmatch(path.name)
                if match:
                    with contextlib.suppress(OSError):
                        found.append(Version(revision=int(match[1]), saved=path.stat().st_mtime, path=path))
        return tuple(sorted(found, key=lambda v: -v.revision))

    def latest(self) -> int:
        """Return the newest revision, 0 where there is none."""
        found = self.versions()
        return found[0].revision if found else 0

    def read(self, revision: int) -> bytes:
        """Return the bytes of a version.

        Raises
        ------
        ProjectError
            If it is not there or cannot be read.
        """
        try:
            return (self.folder / f"r{revision:08d}.json").read_bytes()
        except OSError as error:
            raise ProjectError(
                "version {revision} of your work cannot be read ({reason}); choose another version.",
                revision=revision,
                reason=error.strerror or "no reason given",
            ) from None

    def save(self, data: bytes, base: int) -> int:
        """Write the next version after `base` and return its revision.

        Parameters
        ----------
        data : bytes
        base : int
            The revision that this work goes on from.

        Raises
        ------
        Conflict
            If a newer revision than `base` is there; nothing is written.
        ProjectError
            If the folder cannot be written to or the disk is full; older versions stay as they are.
        """
        if self.latest() > base:
            raise Conflict
        revision = base + 1
        target = self.folder / f"r{revision:08d}.json"
        temporary = None
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            handle, temporary = tempfile.mkstemp(prefix=".part-", dir=self.folder)
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            _claim(temporary, target)
        except FileExistsError:
            raise Conflict from None
        except OSError as error:
            raise ProjectError(
                "your work could not be saved in {folder} ({reason}); "
                "it is still here on the page: download the project file, then free some space.",
                folder=str(self.folder),
                reason=error.strerror or "no reason given",
            ) from None
        finally:
            if temporary is not None:
                with contextlib.suppress(OSError):
                    Path(temporary).unlink()
        for old in self.versions()[KEEP:]:
            with contextlib.suppress(OSError):
                old.path.unlink()
        return revision


def _claim(temporary: str, target: Path) -> None:
    """Give a finished file its name, or raise FileExistsError if another has it."""
    try:
        os.link(temporary, target)
    except FileExistsError:
        raise
    except OSError:
        # A file system without hard links: take the name first, then put the content in its place.
        with target.open("xb"):
            pass
        Path(temporary).replace(target)
