"""`blendplan skeins`: how much of each colour, and what to buy."""

from __future__ import annotations

import argparse

from blendplan.cli.common import add_project

HELP = "how much yarn of each colour a project needs, and how many skeins to buy"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_project(parser)


def run(args: argparse.Namespace) -> int:
    """Print the need of each colour."""
    import json

    from blendplan.cli.common import load, show_notices
    from blendplan.outputs.tables import shopping_lines, yardage_json
    from blendplan.plan import make_plan

    blanket, notices = load(args)
    plan = make_plan(blanket)
    show_notices(notices, args.lang, blanket.ways.units)
    if args.json:
        print(json.dumps(yardage_json(plan), ensure_ascii=False, indent=1))
    else:
        print("\n".join(shopping_lines(plan, args.lang)))
    return 0
