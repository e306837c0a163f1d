"""`blendplan blend`: what strands held together look like."""

from __future__ import annotations

import argparse
import json

from blendplan.cli.common import add_lang

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
    add_lang(parser)


def _shares(given: list[str] | None, strands: int) -> list[float] | None:
    from blendplan.errors import ColourError
    from blendplan.units import number
    from blendplan.wording import Rounded

    if given is None:
        return None
    shares = [number(s, "--share", 0.0, 1.0) for s in given]
    if len(shares) == 1 and strands == 2:
        return [shares[0], 1 - shares[0]]
    if len(shares) == strands and abs(sum(shares) - 1) > SHARES_OFF:
        raise ColourError(
            "the shares add up to {given}; they must add up to 1; change one of them.",
            given=Rounded(f"{sum(shares):g}"),
        )
    return shares


def run(args: argparse.Namespace) -> int:
    """Print one blend."""
    from blendplan.blend.pair import MAX_STRANDS, mix
    from blendplan.blend.reading import READINGS, READS
    from blendplan.cli.common import told
    from blendplan.colour import hex_to_lab
    from blendplan.errors import ColourError
    from blendplan.wording import rounded, tr

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
    lang = args.lang
    light, a, b = blend.lab
    print(
        tr(
            "blend       {srgb}   L* {light}  a* {a}  b* {b}",
            lang,
            srgb=blend.srgb,
            light=rounded(light, 1),
            a=rounded(a, 1),
            b=rounded(b, 1),
        )
    )
    print(tr("in a room   {srgb}   (perceptual)", lang, srgb=blend.perceptual))
    print(tr("far away    {srgb}   (optical)", lang, srgb=blend.optical))
    print(
        tr(
            "strands     {difference} apart (CIEDE2000), {gap} in lightness",
            lang,
            difference=rounded(blend.strand_difference, 1),
            gap=rounded(blend.lightness_gap, 1),
        )
    )
    word, meaning = tr(READINGS[blend.reads_as], lang), tr(READS[blend.reads_as], lang)
    print(tr("reads as    {word}: {meaning}", lang, word=word, meaning=meaning))
    for notice in blend.notices:
        print(told(notice, lang))
    return 0
