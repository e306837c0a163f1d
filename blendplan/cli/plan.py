"""`blendplan plan`: all outputs of a project into one folder."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from blendplan.cli.common import add_lang

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from blendplan.blanket import Blanket
    from blendplan.wording import Notice

HELP = "write picture, stripes, shopping list, rows, PDF and JSON of a project into a folder"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("project", metavar="PROJECT.json", help="a project file")
    parser.add_argument(
        "--class",
        dest="students",
        metavar="LIST.csv",
        help="a sheet for each student of a list with the columns name, yarns, terms, units, and nothing else",
    )
    add_output_arguments(parser)


def add_output_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments that say where and how outputs are written."""
    parser.add_argument("--out", metavar="DIR", required=True, help="folder for the outputs; made if missing")
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="date to print on the paper; none by default")
    parser.add_argument(
        "--paper", choices=("A4", "Letter"), default="", help="paper of the PDF (default: the project's)"
    )
    parser.add_argument("--semicolon", action="store_true", help="CSV with ; between cells and a decimal comma")
    add_lang(parser)


def day_of(text: str | None) -> date | None:
    """Return the date to print, or None where none was asked for."""
    from datetime import date

    from blendplan.errors import ProjectError

    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ProjectError("{given} is not a date; write it like 2026-03-31.", given=repr(text)) from None


def run(args: argparse.Namespace) -> int:
    """Make the plan and write its outputs."""
    from blendplan.cli.common import load

    blanket, notices = load(args)
    if args.students:
        return _sheets(blanket, args)
    return write(blanket, args, notices)


def _sheets(blanket: Blanket, args: argparse.Namespace) -> int:
    """Write one sheet for each student of a class, all or none."""
    from pathlib import Path

    from blendplan.files import read_file, write_set
    from blendplan.outputs.write import class_sheets, read_students

    students = read_students(read_file(args.students), Path(args.students).name)
    made = class_sheets(blanket, students, lang=args.lang, date=day_of(args.date))
    for path in write_set(args.out, dict(made)):
        print(path)
    return 0


def write(
    blanket: Blanket,
    args: argparse.Namespace,
    notices: tuple[Notice, ...] = (),
    others: Mapping[str, bytes] | None = None,
) -> int:
    """Write the outputs of a blanket as one set, print their names, and say what is to be said."""
    from blendplan.cli.common import progress, show_notices
    from blendplan.outputs.write import How, write_outputs
    from blendplan.plan import make_plan
    from blendplan.wording import tr

    day = day_of(args.date)
    progress(tr("planning", args.lang))
    plan = make_plan(blanket)
    progress(tr("drawing the picture and the pages", args.lang))
    how = How(date=day, paper=args.paper, lang=args.lang, semicolon=args.semicolon)
    paths = write_outputs(plan, args.out, how, others=others)
    show_notices((*notices, *plan.notices, *plan.yardage.notices), args.lang, blanket.ways.units)
    for path in paths:
        print(path)
    return 0
