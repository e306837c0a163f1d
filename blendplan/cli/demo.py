"""`blendplan demo`: the built-in scenario, from its photographs to all outputs."""

from __future__ import annotations

import argparse

from blendplan.cli.plan import add_output_arguments

HELP = "plan the built-in scenario, starting from photographs that the program draws"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_output_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Draw the photos, read them, plan, and write everything."""
    from pathlib import Path

    from blendplan.cli.common import progress
    from blendplan.cli.plan import day_of, write
    from blendplan.demo.scenario import demo_brief, demo_photos
    from blendplan.project import save_project, write_whole
    from blendplan.wording import tr

    day_of(args.date)
    progress(tr("drawing and reading the demo's photographs", args.lang))
    brief = demo_brief()
    folder = Path(args.out)
    for photo in demo_photos():
        write_whole(folder / photo.name, photo.data)
        print(folder / photo.name)
    save_project(brief, folder / "project.json")
    print(folder / "project.json")
    return write(brief, args)
