"""`blendplan new`: write a starting project file."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from blendplan.cli.common import add_lang
from blendplan.cli.shades import READING, add_reading

if TYPE_CHECKING:
    from blendplan.wording import Notice
    from blendplan.yarn import Yarn

HELP = "write a starting project file to edit or open on the page"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("file", metavar="FILE.json", help="the file to write; it must not exist yet")
    parser.add_argument("--palette", metavar="PALETTE.csv", help="take the yarns from a palette")
    parser.add_argument("--photos", metavar="PHOTO", nargs="+", help="read the yarns from photos, with these options:")
    add_reading(parser)
    parser.add_argument("--force", action="store_true", help="replace the file if it exists")
    add_lang(parser)


def run(args: argparse.Namespace) -> int:
    """Write the file."""
    from blendplan.cli.common import check_free, show_notices
    from blendplan.cli.shades import read
    from blendplan.errors import PhotoError
    from blendplan.project import save_project
    from blendplan.start import starting_blanket, yarns_read

    check_free(args.file, args.force)
    if not args.photos and (option := next((name for name in READING if getattr(args, name)), "")):
        raise PhotoError(
            "--{option} was given without --photos; name the photos with --photos PHOTO.",
            option=option.replace("_", "-"),
        )
    photographed: tuple[Yarn, ...] | None = None
    said: tuple[Notice, ...] = ()
    if args.photos:
        readings, one, said = read(args)
        photographed, named = yarns_read(readings, one, args.name or (), args.lang)
        said += (*(notice for reading in readings for notice in reading.notices), *named)
    blanket, notices = starting_blanket(palette=args.palette, photographed=photographed)
    save_project(blanket, args.file)
    show_notices((*said, *notices), args.lang)
    print(args.file)
    return 0
