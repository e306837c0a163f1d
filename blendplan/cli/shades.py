"""`blendplan shades`: the shades of the yarns in photos."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from blendplan.cli.common import add_lang

if TYPE_CHECKING:
    from typing import Any

    from blendplan.photo import PhotoReading, SameYarn, White
    from blendplan.yarn import Shade

__all__ = ["HELP", "add_arguments", "run"]

HELP = "read the shades of the yarns in photos"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument("photos", nargs="+", metavar="PHOTO", help="JPEG, PNG, WebP, TIFF or HEIC file")
    parser.add_argument(
        "--box",
        action="append",
        metavar="LEFT,TOP,RIGHT,BOTTOM",
        help="pixels of the upright photo that hold one yarn; may be given again; without it the yarns are found",
    )
    parser.add_argument(
        "--white",
        default="auto",
        metavar="auto|off|X,Y",
        help="find the white paper (auto), use none (off), or take the spot at X,Y",
    )
    parser.add_argument(
        "--grey-card", action="store_true", help="what lies at X,Y of --white is a grey card of 18 %% and not white"
    )
    parser.add_argument(
        "--card",
        metavar="auto|X,Y,X,Y,X,Y,X,Y",
        help="a 24-patch colour card: find it, or its four corners from the dark skin patch round by the bluish green",
    )
    parser.add_argument(
        "--same-light",
        action="store_true",
        help="the photos were taken in one light: those without white take it from the one that shows it best",
    )
    parser.add_argument(
        "--one-yarn",
        action="store_true",
        help="the photos show one and the same yarn, one in each: its shades are averaged, or the surest is kept",
    )
    parser.add_argument("--turn", type=int, default=0, metavar="N", help="quarter turns to the right by hand, -3 to 3")
    parser.add_argument("--json", action="store_true", help="print JSON instead of plain text")
    add_lang(parser)


def run(args: argparse.Namespace) -> int:
    """Read the photos and print their shades."""
    import json
    import sys

    from blendplan.cli.common import show_notices
    from blendplan.errors import PhotoError
    from blendplan.photo import GREY_CARD_LEVEL, PAPER_LEVEL, load_photo, read_photo, share_light
    from blendplan.photo.reading import shade_to_json
    from blendplan.project import read_file

    boxes = None if not args.box else [_numbers(text, "box", 4) for text in args.box]
    white: str | tuple[float, float] = args.white
    if args.white not in ("auto", "off"):
        x, y = _numbers(args.white, "white", 2)
        white = (x, y)
    if args.grey_card and isinstance(white, str):
        raise PhotoError("--grey-card needs the place of the card; give it with --white X,Y.")
    level = GREY_CARD_LEVEL if args.grey_card else PAPER_LEVEL
    card = args.card
    if card not in (None, "auto"):
        flat = _numbers(card, "card", 8)
        card = [(flat[i], flat[i + 1]) for i in range(0, 8, 2)]
    photos, readings = [], []
    for position, name in enumerate(args.photos, start=1):
        if sys.stderr.isatty():
            print(f"\r{position}/{len(args.photos)}", end="", file=sys.stderr, flush=True)
        data = read_file(name)
        with _quiet_decoder():
            photo = load_photo(data, name, quarter_turns=args.turn)
        # Pixels are kept only where another photo's light may be asked of them.
        photos += [photo] if args.same_light else []
        readings.append(read_photo(photo, boxes=boxes, white=white, white_level=level, card=card))
    if sys.stderr.isatty():
        print("\r", end="", file=sys.stderr, flush=True)
    if args.same_light:
        shared, notice = share_light(photos, readings)
        readings = list(shared)
        show_notices((notice,), args.lang)
    yarn = _one_yarn(readings, args.lang) if args.one_yarn else None
    if args.json:
        out: dict[str, Any] = {"photos": [r.to_json() for r in readings]}
        if yarn is not None:
            out["yarn"] = {
                "shades": [shade_to_json(s) for s in yarn.shades],
                "apart": round(yarn.apart, 2),
                "outcome": yarn.outcome,
                "notices": [yarn.notice.text],
            }
        print(json.dumps(out, ensure_ascii=False, indent=2))
    else:
        for reading in readings:
            print("\n".join(_plain(reading, args.lang)))
        if yarn is not None:
            print("\n".join([yarn.notice.say(args.lang), *("  " + _shade(s, args.lang) for s in yarn.shades)]))
    return 0


def _one_yarn(readings: list[PhotoReading], lang: str) -> SameYarn:
    from blendplan.errors import PhotoError
    from blendplan.photo import merge_yarn_shades
    from blendplan.wording import tr

    for reading in readings:
        if len(reading.yarns) != 1:
            raise PhotoError(
                "{name} shows {given} yarns; with --one-yarn each photo has one; give its place with --box.",
                name=reading.name,
                given=len(reading.yarns),
            )
    return merge_yarn_shades(tr("the yarn", lang), [r.yarns[0].shades for r in readings])


def _numbers(text: str, field: str, count: int) -> list[float]:
    from blendplan.errors import PhotoError
    from blendplan.units import number

    parts = text.split(",")
    if len(parts) != count:
        raise PhotoError(
            "{field}: {given} was given; {count} numbers with commas between are needed.",
            field=field,
            given=repr(text),
            count=count,
        )
    return [number(part, field, -1e6, 1e6) for part in parts]


@contextmanager
def _quiet_decoder() -> Iterator[None]:
    """Hold the TIFF decoder's own chatter off stderr: it writes there past Python."""
    try:
        keep = os.dup(2)
    except OSError:
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:  # noqa: PTH123  a file descriptor is needed
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(keep, 2)
        os.close(keep)


def _plain(reading: PhotoReading, lang: str) -> list[str]:
    from blendplan.wording import tr

    lines = [reading.name]
    # What a chart gives is said by a notice.
    if reading.chart is None:
        lines.append("  " + _white(reading.white, lang))
    lines += ["  " + n.say(lang) for n in reading.notices]
    for position, yarn in enumerate(reading.yarns, start=1):
        lines.append("  " + tr("yarn {n} at {box}", lang, n=position, box=",".join(str(v) for v in yarn.box)))
        for shade in yarn.shades:
            lines.append("    " + _shade(shade, lang))
        lines += ["    " + n.say(lang) for n in yarn.notices]
    return lines


def _white(white: White | None, lang: str) -> str:
    from blendplan.photo.white import WHITE_KINDS
    from blendplan.wording import tr

    if white is None:
        return tr("white: none", lang)
    kind, confidence = tr(WHITE_KINDS[white.kind], lang), round(100 * white.confidence)
    if white.box is None:
        return tr("white: {kind}, confidence {confidence} %", lang, kind=kind, confidence=confidence)
    box = ",".join(str(v) for v in white.box)
    return tr("white: {kind} at {box}, confidence {confidence} %", lang, kind=kind, box=box, confidence=confidence)


def _shade(shade: Shade, lang: str) -> str:
    """Return a shade in one line, with why it may be off."""
    from blendplan.wording import tr
    from blendplan.yarn import REASONS

    text = tr("{srgb}  {share} %", lang, srgb=shade.srgb, share=round(100 * shade.share))
    if shade.uncertainty is not None:
        text += "  " + tr("within {de} CIEDE2000 (9 times of 10)", lang, de=f"{shade.uncertainty:.0f}")
    why = [tr(REASONS[code], lang) for code in shade.reasons]
    return text + (": " + "; ".join(why) if why else "")
