"""What several commands share: opening a project and showing notices and progress."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

from blendplan.wording import LANGUAGES, tr

if TYPE_CHECKING:
    from blendplan.plan import Brief
    from blendplan.wording import Notice

__all__ = ["LEVELS", "add_lang", "load", "progress", "show_notices", "told"]

LEVELS = {"note": "note", "assumed": "assumed", "warning": "warning", "caution": "caution"}


def add_lang(parser: argparse.ArgumentParser) -> None:
    """Add the argument that says in which language everything is told and written."""
    parser.add_argument("--lang", choices=tuple(LANGUAGES), default="en", help="language of what is told and written")


def told(notice: Notice, lang: str) -> str:
    """Return a notice as a line with its level before it."""
    return tr("{level}: {sentence}", lang, level=tr(LEVELS[notice.level], lang), sentence=notice)


def show_notices(notices: Iterable[Notice], lang: str) -> None:
    """Print notices on stderr, one line each."""
    for notice in notices:
        print(tr("note: {sentence}", lang, sentence=notice), file=sys.stderr)


def load(path: str) -> tuple[Brief, tuple[Notice, ...]]:
    """Return the brief in a project file and what is to be said about it once the work is done."""
    from blendplan.project import read_file, read_project

    return read_project(read_file(path))


def progress(text: str) -> None:
    """Show what is being done, on stderr and only on a terminal."""
    if sys.stderr.isatty():
        print(text, file=sys.stderr)
