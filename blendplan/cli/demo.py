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
    from blendplan.cli.common import progress
    from blendplan.cli.plan import day_of, write
    from blendplan.demo.scenario import demo_blanket, demo_photos
    from blendplan.project import project_json
    from blendplan.wording import tr

    day_of(args.date)
    progress(tr("drawing and reading the demo's photographs", args.lang))
    blanket = demo_blanket()
    photos = {photo.name: photo.data for photo in demo_photos()}
    return write(blanket, args, others={**photos, "project.json": project_json(blanket).encode("utf-8")})
