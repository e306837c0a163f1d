"""`blendplan ripple`: chain, stitches and written rows of one ripple."""

from __future__ import annotations

import argparse
import json

__all__ = ["HELP", "add_arguments", "run"]

HELP = "work out a ripple: foundation chain, stitches of a row, rows"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--slope", default="7", metavar="N", help="stitches from a hollow to a point (7)")
    parser.add_argument("--repeats", default="8", metavar="N", help="repeats across the width (8)")
    parser.add_argument("--stitch", default="dc", metavar="sc|hdc|dc|tr", help="US name of the stitch (dc)")
    parser.add_argument("--peak", default="chain-2", metavar="chain-1|chain-2|three-in-one", help="(chain-2)")
    parser.add_argument("--valley", default="skip-2", metavar="skip-2|three-together|skip-1-each-side", help="(skip-2)")
    parser.add_argument("--edge", default="half-peak", metavar="half-peak|half-valley", help="(half-peak)")
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(args: argparse.Namespace) -> int:
    """Print the ripple."""
    from blendplan.fabric.ripple import Ripple, work  # noqa: PLC0415

    worked = work(
        Ripple(
            stitch=args.stitch,
            slope=args.slope,
            peak=args.peak,
            valley=args.valley,
            edge=args.edge,
            repeats=args.repeats,
        )
    )
    if args.json:
        print(json.dumps(worked.to_json(), ensure_ascii=False))
        return 0
    print(f"{worked.chain} chains, {worked.row_stitches} stitches a row, {worked.multiple} n + {worked.plus}")
    return 0
