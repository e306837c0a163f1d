"""What several commands share: opening a project and showing notices and progress."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from blendplan.plan import Brief
    from blendplan.wording import Notice

__all__ = ["load", "progress", "show_notices"]


def show_notices(notices: Iterable[Notice]) -> None:
    """Print notices on stderr, one line each."""
    for notice in notices:
        print(f"note: {notice.text}", file=sys.stderr)


def load(path: str) -> tuple[Brief, tuple[Notice, ...]]:
    """Return the brief in a project file and what is to be said about it once the work is done."""
    from blendplan.project import read_file, read_project

    return read_project(read_file(path))


def progress(text: str) -> None:
    """Show what is being done, on stderr and only on a terminal."""
    if sys.stderr.isatty():
        print(text, file=sys.stderr)
