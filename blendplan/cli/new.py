"""`blendplan new`: write a starting project file."""

from __future__ import annotations

import argparse

from blendplan.cli.common import add_lang

HELP = "write a starting project file to edit or open on the page"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("file", metavar="FILE.json", help="the file to write; it must not exist yet")
    parser.add_argument("--palette", metavar="PALETTE.csv", help="take the yarns from a palette")
    parser.add_argument("--photos", metavar="PHOTO", nargs="+", help="read the yarns from photos")
    parser.add_argument("--force", action="store_true", help="replace the file if it exists")
    add_lang(parser)


def run(args: argparse.Namespace) -> int:
    """Write the file."""
    from pathlib import Path

    from blendplan.cli.common import show_notices
    from blendplan.errors import ProjectError
    from blendplan.project import save_project
    from blendplan.start import starting_blanket

    if Path(args.file).exists() and not args.force:
        raise ProjectError(
            "{path} exists already; choose another name, or add --force to replace it.", path=args.file or "''"
        )
    blanket, notices = starting_blanket(palette=args.palette, photos=args.photos or ())
    save_project(blanket, args.file)
    show_notices(notices, args.lang)
    print(args.file)
    return 0
