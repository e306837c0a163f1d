"""`blendplan blend`: what strands held together look like."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path

from blendplan.cli.common import add_lang, add_seen_from, viewing_of

HELP = "what two strands held together look like"
# Three thirds typed as 0.33 are meant to be all of it.
SHARES_OFF = 0.02
# Strands that a stripe can be drawn of.
MOST_DRAWN = 4


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("colours", metavar="HEX", nargs="+", help="colour of a strand, such as 1f3b73; two or more")
    parser.add_argument(
        "--share",
        action="append",
        metavar="S",
        help="visible share of the first strand, 0 to 1; with three strands or more give it once for each",
    )
    add_seen_from(parser)
    parser.add_argument("--swatch", metavar="FILE.png", help="draw the strands as worked fabric")
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


def _draw_swatch(path: Path, colours: list[str], shares: tuple[float, ...]) -> None:
    """Write the strands as double crochet in rows, six of twelve stitches."""
    from blendplan.colour import hex_to_linear
    from blendplan.errors import ColourError
    from blendplan.files import write_whole
    from blendplan.outputs.render import swatch_pixels
    from blendplan.picture.canvas import encode_png

    if path.suffix.lower() != ".png":
        raise ColourError("{given} does not end in .png; name a PNG file for the swatch.", given=str(path))
    if len(colours) > MOST_DRAWN:
        raise ColourError(
            "{given} strands were given to draw; allowed is up to {most}; leave --swatch out or hold fewer together.",
            given=len(colours),
            most=MOST_DRAWN,
        )
    pixels, px_per_cm = swatch_pixels([hex_to_linear(c) for c in colours], shares)
    write_whole(path, encode_png(pixels, 2.54 * px_per_cm))


def run(args: argparse.Namespace) -> int:
    """Print one blend."""
    from blendplan.blend.pair import MAX_STRANDS, mix
    from blendplan.blend.strands import READINGS, READS
    from blendplan.cli.common import told
    from blendplan.colour import hex_to_lab
    from blendplan.errors import ColourError
    from blendplan.wording import note, rounded, tr

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
    shares = _shares(args.share, len(labs))
    blend = mix(labs, shares=shares, viewing=viewing_of(args))
    assumed = note(
        "the strands are taken to be as wide as medium yarn; a project knows the width of its own.", "assumed"
    )
    blend = replace(blend, notices=(*blend.notices, assumed))
    if args.swatch is not None:
        _draw_swatch(Path(args.swatch), args.colours, blend.shares)
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
    print(tr("close by    {srgb}   (mean in Oklab of the strands)", lang, srgb=blend.near))
    print(tr("far away    {srgb}   (mean of their light)", lang, srgb=blend.far))
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
