"""`blendplan ripple`: chain, stitches and written rows of one ripple."""

from __future__ import annotations

import argparse
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING

from blendplan.cli.common import add_lang

if TYPE_CHECKING:
    from blendplan.fabric.ripple import Ripple, Worked

HELP = "work out a ripple: foundation chain, stitches of a row, rows"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add = parser.add_argument
    add("--slope", default="7", metavar="N", help="stitches from a hollow to a point (7)")
    add("--repeats", metavar="N", help="repeats across the width (8)")
    add("--chain", metavar="N", help="instead of --repeats: a foundation chain to fit them into")
    add("--kind", default="point", metavar="point|wave|heights", help="kind of ripple (point)")
    add("--stitch", default="dc", metavar="sc|hdc|dc|tr", help="US name of the stitch (dc)")
    add("--peak", default="chain-2", metavar="chain-1|chain-2|three-in-one", help="over a point (chain-2)")
    add("--valley", default="skip-2", metavar="skip-2|three-together|skip-1-each-side", help="in a hollow (skip-2)")
    add("--edge", default="half-peak", metavar="half-peak|half-valley", help="first and last stitches (half-peak)")
    add("--turning-chains", metavar="N", help="chains to turn with (as the stitch has them)")
    add("--turning-counts", metavar="yes|no", help="whether they count as a stitch (as the stitch has it)")
    add("--back-loop", action="store_true", help="work through the back loop only")
    add("--set-up", action="store_true", help="a plain row of single crochet first")
    add("--stated", metavar="A+B", help="check a printed rule, such as 14+3")
    add("--weight-class", metavar="0..7", help="yarn of each of the two strands; tells the size")
    add("--hook", metavar="MM", help="hook, with --weight-class")
    add("--width", metavar="CM", help="wanted width, with --weight-class; lists the chains near it")
    add("--terms", default="US", metavar="US|UK", help="names of stitches in the rows (US)")
    add("--diagram", metavar="FILE.svg", help="write a stitch diagram of one repeat")
    add("--json", action="store_true", help="print JSON")
    add_lang(parser)


def run(args: argparse.Namespace) -> int:
    """Print the ripple."""
    from dataclasses import replace

    from blendplan.fabric.diagram import diagram_svg
    from blendplan.fabric.gauge import default_gauge
    from blendplan.fabric.ripple import Ripple, check_stated, repeats_of_chain, work
    from blendplan.files import write_whole
    from blendplan.units import choice, whole

    choice(args.terms, "terms", ("US", "UK"))
    counts = None
    if args.turning_counts is not None:
        counts = choice(args.turning_counts, "turning chains count", ("yes", "no")) == "yes"
    _refuse_half_asked(args)
    ripple = Ripple(
        kind=args.kind,
        stitch=args.stitch,
        slope=args.slope,
        peak=args.peak,
        valley=args.valley,
        edge=args.edge,
        repeats=8 if args.repeats is None else args.repeats,
        turning_chains=args.turning_chains,
        turning_counts=counts,
        loops="back" if args.back_loop else "both",
        setup=args.set_up,
    )
    if args.chain is not None:
        ripple = replace(ripple, repeats=repeats_of_chain(ripple, whole(args.chain, "foundation chain", 1, 100_000)))
    worked = work(ripple)
    if args.stated is not None:
        check_stated(worked, *_rule(args.stated))
    if args.diagram is not None:
        gauge = default_gauge(4, stitch=ripple.stitch, loops=ripple.loops)
        write_whole(Path(args.diagram), diagram_svg(worked, gauge, lang=args.lang).encode("utf-8"))
    if args.json:
        print(json.dumps(worked.to_json(), ensure_ascii=False))
        return 0
    _print(args, ripple, worked)
    return 0


def _refuse_half_asked(args: argparse.Namespace) -> None:
    """Refuse options that only work with, or without, another one."""
    from blendplan.errors import FabricError

    if args.chain is not None and args.repeats is not None:
        raise FabricError("both --chain and --repeats were given; give one of them.")
    if args.weight_class is None and (args.width is not None or args.hook is not None):
        raise FabricError("a width or a hook needs a gauge; give --weight-class too, from 0 to 7.")


def _rule(text: str) -> tuple[int, int]:
    """Return multiple and plus of `14+3` or `17-1`."""
    from blendplan.errors import FabricError

    found = re.fullmatch(r"\s*(\d{1,4})\s*n?\s*([+-]\s*\d{1,4})?\s*", text)
    if not found:
        raise FabricError("{given} is not a foundation rule; write it like 14+3.", given=repr(text))
    return int(found[1]), int((found[2] or "0").replace(" ", ""))


def _print(args: argparse.Namespace, ripple: Ripple, worked: Worked) -> None:
    from blendplan.fabric.gauge import default_gauge
    from blendplan.fabric.size import cautions, widths_near
    from blendplan.fabric.written import abbreviations, write_rows
    from blendplan.units import number, whole
    from blendplan.wording import rounded, tr

    # All lines are made before the first is printed, so that bad input leaves nothing half said.
    lang = args.lang
    counts = {"chain": worked.chain, "stitches": worked.row_stitches, "spaces": worked.row_spaces}
    lines = [
        tr("{chain} chains, {stitches} stitches and {spaces} chain spaces in every row.", lang, **counts)
        if worked.row_spaces
        else tr("{chain} chains, {stitches} stitches in every row.", lang, **counts)
    ]
    lines += [notice.say(lang) for notice in worked.notices]
    gauge = None
    if args.weight_class is not None:
        hook = None if args.hook is None else number(args.hook, "hook", 1, 50, "mm")
        weight = whole(args.weight_class, "weight class", 0, 7)
        gauge = default_gauge(weight, hook_mm=hook, stitch=ripple.stitch, loops=ripple.loops)
        lines += [notice.say(lang) for notice in (*gauge.rests_on, *gauge.notices)]
    if gauge is not None and args.width is not None:
        for near in widths_near(ripple, gauge, number(args.width, "width", 1, 2000, "cm")):
            lines.append(
                tr(
                    "{mark} {repeats} repeats: {chain} chains, {width} cm ({deviation} cm)",
                    lang,
                    mark="*" if near.nearest else " ",
                    repeats=near.repeats,
                    chain=near.chain,
                    width=rounded(near.width_cm, 1),
                    deviation=rounded(near.deviation_cm, 1, sign=True),
                )
            )
    written = write_rows(worked, terms=args.terms, lang=lang)
    signs = abbreviations(written.kinds, (*written.rows, *written.notes), args.terms, lang)
    lines += ["", written.terms, *signs, *written.notes, ""]
    lines += [written.foundation, written.width_rule, *written.rows, *([written.check] if written.check else []), ""]
    lines += [notice.say(lang) for notice in cautions(ripple, gauge=gauge)]
    print("\n".join(lines))
