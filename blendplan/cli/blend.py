"""`blendplan blend`: what strands held together look like."""

from __future__ import annotations

import argparse
import json

HELP = "what two strands held together look like"
# Three thirds typed as 0.33 are meant to be all of it.
SHARES_OFF = 0.02


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("colours", metavar="HEX", nargs="+", help="colour of a strand, such as 1f3b73; two or more")
    parser.add_argument(
        "--share",
        action="append",
        metavar="S",
        help="visible share of the first strand, 0 to 1; with three strands or more give it once for each",
    )
    parser.add_argument(
        "--member", default="perceptual", help="perceptual (default), optical (from far away), or a number from 1 to 3"
    )
    parser.add_argument("--json", action="store_true", help="print JSON")


def _shares(given: list[str] | None, strands: int) -> list[float] | None:
    from blendplan.errors import ColourError
    from blendplan.units import number

    if given is None:
        return None
    shares = [number(s, "--share", 0.0, 1.0) for s in given]
    if len(shares) == 1 and strands == 2:
        return [shares[0], 1 - shares[0]]
    if len(shares) == strands and abs(sum(shares) - 1) > SHARES_OFF:
        raise ColourError(
            "the shares add up to {given}; they must add up to 1; change one of them.", given=f"{sum(shares):g}"
        )
    return shares


def run(args: argparse.Namespace) -> int:
    """Print one blend."""
    from blendplan.blend.pair import MAX_STRANDS, mix
    from blendplan.blend.reading import READS
    from blendplan.colour import hex_to_lab
    from blendplan.errors import ColourError
    from blendplan.wording import tr

    if len(args.colours) < 2:
        raise ColourError(
            "a blend needs two colours or more, {given} was given; add the colour of the other strand.",
            given=len(args.colours),
        )
    if len(args.colours) > MAX_STRANDS:
        raise ColourError(
            "{given} colours were given; allowed is 2 to {most}; hold fewer strands together.",
            given=len(args.colours),
            most=MAX_STRANDS,
        )
    labs = [hex_to_lab(c).tolist() for c in args.colours]
    blend = mix(labs, shares=_shares(args.share, len(labs)), member=args.member)
    if args.json:
        print(json.dumps(blend.to_json(), ensure_ascii=False, indent=2))
        return 0
    light, a, b = blend.lab
    print(
        tr(
            "blend       {srgb}   L* {light}  a* {a}  b* {b}",
            srgb=blend.srgb,
            light=f"{light:.1f}",
            a=f"{a:.1f}",
            b=f"{b:.1f}",
        )
    )
    print(tr("in a room   {srgb}   (perceptual)", srgb=blend.perceptual))
    print(tr("far away    {srgb}   (optical)", srgb=blend.optical))
    print(
        tr(
            "strands     {difference} apart (CIEDE2000), {gap} in lightness",
            difference=f"{blend.strand_difference:.1f}",
            gap=f"{blend.lightness_gap:.1f}",
        )
    )
    print(tr("reads as    {word}: {meaning}", word=blend.reads_as, meaning=tr(READS[blend.reads_as])))
    for notice in blend.notices:
        print(tr("{level}: {sentence}", level=notice.level, sentence=notice.text))
    return 0
