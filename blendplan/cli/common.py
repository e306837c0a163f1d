"""What several commands share: opening a project and showing notices and progress."""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from blendplan.wording import LANGUAGES, tr

if TYPE_CHECKING:
    from blendplan.blanket import Blanket
    from blendplan.blend.strands import Viewing
    from blendplan.wording import Notice

LEVELS = {"note": "note", "assumed": "assumed", "warning": "warning", "caution": "caution"}


def add_lang(parser: argparse.ArgumentParser) -> None:
    """Add the argument that says in which language everything is told and written."""
    parser.add_argument("--lang", choices=tuple(LANGUAGES), default="en", help="language of what is told and written")


def add_project(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of a command that tells something of a project."""
    parser.add_argument("project", metavar="PROJECT.json", help="a project file")
    parser.add_argument("--json", action="store_true", help="print JSON")
    add_lang(parser)


def add_seen_from(parser: argparse.ArgumentParser) -> None:
    """Add the argument that says how far away blends are judged from."""
    parser.add_argument(
        "--seen-from",
        metavar="METRES|near|far",
        help="metres from 0.1 to 1000, near, hand (0.5), lap (1), sofa (2, what is usual), room (4) or far",
    )
    parser.add_argument("--member", help=argparse.SUPPRESS)


def viewing_of(args: argparse.Namespace, own: Viewing | None = None) -> Viewing:
    """Return how blends are looked at, a project's own way where none is asked for; the option of old is refused."""
    from blendplan.blend.strands import Viewing, metres_of
    from blendplan.errors import ColourError

    if args.member is not None:
        raise ColourError(
            "--member {given} is no longer taken; say how far away the blanket is with --seen-from METRES, near or "
            "far.",
            given=args.member,
        )
    own = Viewing() if own is None else own
    return own if args.seen_from is None else replace(own, from_m=metres_of(args.seen_from))


def told(notice: Notice, lang: str) -> str:
    """Return a notice as a line with its level before it."""
    return tr("{level}: {sentence}", lang, level=tr(LEVELS[notice.level], lang), sentence=notice)


def show_notices(notices: Iterable[Notice], lang: str, units: str = "metric") -> None:
    """Print notices on stderr, one line each."""
    for notice in notices:
        to_stderr(tr("note: {sentence}", lang, units, sentence=notice))


def check_free(path: str, force: bool) -> None:
    """Refuse a file that is there already, unless it may be replaced."""
    from pathlib import Path

    from blendplan.errors import ProjectError

    if Path(path).exists() and not force:
        raise ProjectError(
            "{path} exists already; choose another name, or add --force to replace it.", path=path or "''"
        )


def load(args: argparse.Namespace) -> tuple[Blanket, tuple[Notice, ...]]:
    """Return the blanket in a project file and what is to be said about it once the work is done.

    From then on what is said is said in the blanket's units.
    """
    from blendplan.project import open_project

    blanket, notices = open_project(args.project)
    args.units = blanket.ways.units
    return blanket, notices


def progress(text: str) -> None:
    """Show what is being done, on stderr and only on a terminal."""
    if sys.stderr.isatty():
        to_stderr(text)


def to_stderr(text: str) -> None:
    """Print a line on stderr; nothing happens where nobody reads it."""
    with contextlib.suppress(OSError):
        print(text, file=sys.stderr, flush=True)
