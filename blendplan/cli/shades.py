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

    from blendplan.photo import PhotoReading, Place, Pointed, SameYarn
    from blendplan.wording import Notice
    from blendplan.yarn import Shade

__all__ = ["HELP", "READING", "add_arguments", "add_reading", "read", "run"]

HELP = "read the shades of the yarns in photos"
# The options of how photos are read, by the names that their values go by.
READING = (
    "box",
    "at",
    "white",
    "grey",
    "known",
    "card",
    "same_light",
    "one_yarn",
    "same_yarn",
    "name",
    "turn",
    "grey_card",
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument("photos", nargs="+", metavar="PHOTO", help="JPEG, PNG, WebP, TIFF or HEIC file")
    add_reading(parser)
    parser.add_argument("--palette", metavar="FILE.csv", help="write what was read as a palette for order or new")
    parser.add_argument("--force", action="store_true", help="replace the palette if it exists")
    parser.add_argument("--json", action="store_true", help="print JSON instead of plain text")
    add_lang(parser)


def add_reading(parser: argparse.ArgumentParser) -> None:
    """Add the options of how photos are read."""
    parser.add_argument(
        "--box",
        action="append",
        metavar="LEFT,TOP,RIGHT,BOTTOM",
        help="pixels of the upright photo that hold one yarn; may be given again; of several photos, this and what "
        "follows are each photo's, or one's: 2:LEFT,TOP,RIGHT,BOTTOM is the second's",
    )
    parser.add_argument(
        "--at",
        action="append",
        metavar="X,Y[+X,Y...]",
        help="one yarn, by one touch on it or more; may be given again; without box or touch the yarns are found",
    )
    parser.add_argument(
        "--white",
        action="append",
        metavar="auto|off|X,Y[=REFLECTANCE]",
        help="look for white paper (auto), use none (off), or take what lies at X,Y as white paper (.86) or as told",
    )
    parser.add_argument(
        "--grey", action="append", metavar="X,Y[=REFLECTANCE]", help="what lies at X,Y is a grey card of .18 or as told"
    )
    parser.add_argument(
        "--known", action="append", metavar="X,Y=HEX", help="a yarn or thing at X,Y whose shade by daylight is known"
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
    parser.add_argument(
        "--same-yarn",
        action="append",
        metavar="PHOTO:YARN=PHOTO:YARN",
        help="a yarn that two photos show, such as 1:2=2:1 for the second yarn of the first and the first of the "
        "second: it tells how the light of the one goes over to the other; as --same-light",
    )
    parser.add_argument("--name", action="append", metavar="NAME", help="what a yarn is called, in the order found")
    parser.add_argument("--turn", type=int, default=0, metavar="N", help="quarter turns to the right by hand, -3 to 3")
    parser.add_argument("--grey-card", action="store_true", help=argparse.SUPPRESS)


def read(args: argparse.Namespace) -> tuple[list[PhotoReading], SameYarn | None, tuple[Notice, ...]]:
    """Return what the photos give, what they give of one yarn where that is asked for, and what is to be said."""
    import sys

    from blendplan.errors import PhotoError
    from blendplan.files import read_file
    from blendplan.photo import load_photo, read_photo, share_light

    if args.grey_card:
        raise PhotoError("--grey-card is no longer known; say where the grey card lies with --grey X,Y.")
    asked = [(_places(args, n), *_pointed(args, n)) for n in range(1, len(args.photos) + 1)]
    same, together = _same(args), bool(args.same_light or args.same_yarn)
    card = args.card
    if card not in (None, "auto"):
        flat = _numbers(card, "card", 8)
        card = [(flat[i], flat[i + 1]) for i in range(0, 8, 2)]
    photos, readings = [], []
    said: tuple[Notice, ...] = ()
    for position, name in enumerate(args.photos, start=1):
        if sys.stderr.isatty():
            print(f"\r{position}/{len(args.photos)}", end="", file=sys.stderr, flush=True)
        data = read_file(name)
        with _quiet_decoder():
            photo = load_photo(data, name, quarter_turns=args.turn)
        # Pixels are kept only where another photo's light may be asked of them.
        photos += [photo] if together else []
        places, white, pointed = asked[position - 1]
        readings.append(read_photo(photo, places, white=white, pointed=pointed, card=card))
    if sys.stderr.isatty():
        print("\r", end="", file=sys.stderr, flush=True)
    if together:
        if args.one_yarn and all(len(reading.yarns) == 1 for reading in readings):
            same.append([(i, 0) for i in range(len(readings))])
        shared, notice = share_light(photos, readings, same)
        readings, said = list(shared), (notice,)
    return readings, _one_yarn(readings, args.lang) if args.one_yarn else None, said


def run(args: argparse.Namespace) -> int:
    """Read the photos and print their shades."""
    import json

    from blendplan.cli.common import check_free, show_notices
    from blendplan.errors import PhotoError
    from blendplan.files import write_whole
    from blendplan.photo.reading import shade_to_json
    from blendplan.wording import note

    if args.palette is not None:
        check_free(args.palette, args.force)
    elif args.name:
        raise PhotoError("--name was given without --palette; say where the yarns are to be kept with --palette FILE.")
    readings, yarn, said = read(args)
    if args.palette is not None:
        from blendplan.palette import write_palette
        from blendplan.start import yarns_read

        yarns, named = yarns_read(readings, yarn, args.name or (), args.lang)
        write_whole(args.palette, write_palette(yarns))
        said = (
            *said,
            *named,
            note(
                "{path} holds one shade of each yarn and not how sure it is; a project made by 'new --photos' keeps "
                "both.",
                path=args.palette,
            ),
        )
    show_notices(said, args.lang)
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


def _of_photo(args: argparse.Namespace, option: str, photo: int) -> Iterator[str]:
    """Yield what an option says of a photo, counted from 1: what names it by number, and what names none."""
    from blendplan.units import whole

    for text in getattr(args, option) or ():
        number, named, rest = text.rpartition(":")
        if not named or whole(number, f"photo of --{option}", 1, len(args.photos)) == photo:
            yield rest


def _places(args: argparse.Namespace, photo: int) -> list[Place] | None:
    """Return where the yarns of a photo are, boxes before touches; None where they are to be found."""
    from blendplan.photo import Place

    boxes = _of_photo(args, "box", photo)
    places = [Place(box=tuple(_numbers(text, "box", 4))) for text in boxes]  # type: ignore[arg-type]
    for text in _of_photo(args, "at", photo):
        touches = tuple(tuple(_numbers(spot, "at", 2)) for spot in text.split("+"))
        places.append(Place(touches=touches))  # type: ignore[arg-type]
    return places or None


def _pointed(args: argparse.Namespace, photo: int) -> tuple[str, list[Pointed]]:
    """Return whether white is looked for in a photo, and all that was pointed at."""
    from blendplan.photo import Pointed
    from blendplan.units import number

    white, out = "auto", []
    for kind in ("white", "grey", "known"):
        for text in _of_photo(args, kind, photo):
            if kind == "white" and text in ("auto", "off"):
                white = text
                continue
            at, _, told = text.partition("=")
            x, y = _numbers(at, kind, 2)
            spot = (round(x), round(y))
            if kind == "known":
                out.append(Pointed(kind="known", spot=spot, srgb=told))
            else:
                level = number(told, "reflectance of the reference", 0.02, 1.0) if told else None
                out.append(Pointed(kind=kind, spot=spot, reflectance=level))
    return white, out


def _same(args: argparse.Namespace) -> list[list[tuple[int, int]]]:
    """Return the yarns that several photos show, each by photo and yarn from 0."""
    from blendplan.errors import PhotoError

    out = []
    for text in args.same_yarn or ():
        places = [part.split(":") for part in text.split("=")]
        if len(places) < 2 or not all(len(p) == 2 and p[0].isdecimal() and p[1].isdecimal() for p in places):
            raise PhotoError(
                "same yarn: {given} was given; write photo and yarn by number, such as 1:2=2:1.", given=repr(text)
            )
        out.append([(int(photo) - 1, int(yarn) - 1) for photo, yarn in places])
    return out


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
    # What other references give is said by a notice.
    if reading.white is not None or not reading.light.seen or reading.light.lent:
        lines.append("  " + _white(reading, lang))
    for white in reading.ask:
        box, spot = (",".join(str(v) for v in part or ()) for part in (white.box, white.spot))
        lines.append("  " + tr("is this white paper, at {box}? if it is, say --white {spot}", lang, box=box, spot=spot))
    lines += ["  " + n.say(lang) for n in reading.notices]
    if not reading.yarns:
        lines.append(
            "  " + tr("point at each yarn with --at X,Y, or give its box with --box LEFT,TOP,RIGHT,BOTTOM", lang)
        )
    for position, yarn in enumerate(reading.yarns, start=1):
        lines.append("  " + tr("yarn {n} at {box}", lang, n=position, box=",".join(str(v) for v in yarn.box)))
        for shade in yarn.shades:
            lines.append("    " + _shade(shade, lang))
        lines += ["    " + n.say(lang) for n in yarn.notices]
    return lines


def _white(reading: PhotoReading, lang: str) -> str:
    from blendplan.photo.white import WHITE_KINDS
    from blendplan.wording import tr

    white = reading.white
    if white is None:
        return tr("white: measured in another photo", lang) if reading.light.lent else tr("white: none", lang)
    kind, confidence = tr(WHITE_KINDS[white.kind], lang), round(100 * white.confidence)
    if white.box is None:
        return tr("white: {kind}, confidence {confidence} %", lang, kind=kind, confidence=confidence)
    box = ",".join(str(v) for v in white.box)
    return tr("white: {kind} at {box}, confidence {confidence} %", lang, kind=kind, box=box, confidence=confidence)


def _shade(shade: Shade, lang: str) -> str:
    """Return a shade in one line, with why it may be off."""
    from blendplan.wording import tr
    from blendplan.yarn import REASONS, SHADE_KINDS

    text = tr("{srgb}  {share} %", lang, srgb=shade.srgb, share=round(100 * shade.share))
    if shade.within is not None:
        text += "  " + tr("within {de} CIEDE2000 (9 times of 10)", lang, de=f"{shade.within:.0f}")
    why = [tr(SHADE_KINDS[shade.kind], lang)] if shade.kind in SHADE_KINDS else []
    why += [tr(REASONS[code], lang) for code in shade.reasons]
    return text + (": " + "; ".join(why) if why else "")
