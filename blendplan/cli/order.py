"""The order command: colours of a palette or project into the best order for an aim."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from blendplan.cli.common import add_lang, add_seen_from, viewing_of
from blendplan.errors import StripeError
from blendplan.wording import capital, rounded, tr

if TYPE_CHECKING:
    from blendplan.blend.strands import Viewing
    from blendplan.order.alternatives import Alternative
    from blendplan.order.constraints import Constraints
    from blendplan.order.find import Ordering, Question
    from blendplan.wording import Notice
    from blendplan.yarn import Yarn

HELP = "put the colours of a palette in the best order, and say how good it is"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of this command."""
    parser.add_argument("palette", metavar="PALETTE.csv|PROJECT.json", help="the colours to put in order")
    parser.add_argument(
        "--aim",
        default="smoothest",
        metavar="AIM[=WEIGHT],...",
        help="smoothest (default), even, steady, contrast, light-to-dark, dark-to-light, hue, high-low, ends, own; "
        "several with weights: smoothest=2,high-low=1",
    )
    parser.add_argument("--first", metavar="NAME", help="colour that comes first")
    parser.add_argument("--last", metavar="NAME", help="colour that comes last")
    parser.add_argument("--together", nargs=2, action="append", metavar="NAME", help="two colours side by side")
    parser.add_argument("--never", nargs=2, action="append", metavar="NAME", help="two colours never side by side")
    parser.add_argument("--place", nargs=2, action="append", metavar=("NAME", "N"), help="a colour in place N")
    parser.add_argument("--short", action="append", metavar="NAME", help="a colour with little yarn: an end place")
    parser.add_argument("--twice", action="append", metavar="NAME", help="a colour used twice (again: once more)")
    parser.add_argument("--apart", default="2", metavar="N", help="places between two uses of a colour (2)")
    parser.add_argument("--carrier", metavar="NAME", help="a colour that comes back between every two others")
    parser.add_argument("--closed", action="store_true", help="the order is repeated, last beside first")
    parser.add_argument("--mirrored", action="store_true", help="there and back again")
    parser.add_argument("--start", metavar="HEX", help="wanted start colour, for the aim ends")
    parser.add_argument("--end", metavar="HEX", help="wanted end colour, for the aim ends")
    add_seen_from(parser)
    parser.add_argument("--no-blends", action="store_true", help="no blend stripes between the colours")
    parser.add_argument("--choose", metavar="K", help="use only K of the colours, the best choice")
    parser.add_argument("--keep", action="append", metavar="NAME", help="with --choose: a colour that has to be used")
    parser.add_argument("--follow", metavar="PHOTO", help="an order that follows the colours of a picture")
    parser.add_argument("--line", metavar="X,Y,X,Y", help="with --follow: from where to where (top to bottom)")
    parser.add_argument("--places", default="8", metavar="N", help="with --follow: how many solid stripes (8)")
    parser.add_argument("--others", metavar="N", help="show N more orders, each good and really different")
    parser.add_argument(
        "--moves", metavar="N", help="show how much better the order as it stands gets with 1 to N moves"
    )
    parser.add_argument("--into", metavar="PROJECT.json", help="write the order into a project that has its colours")
    parser.add_argument("--json", action="store_true", help="print JSON")
    add_lang(parser)


def _aim(text: str) -> dict[str, float]:
    from blendplan.units import number

    out: dict[str, float] = {}
    for part in text.split(","):
        name, _, weight = part.partition("=")
        out[name.strip()] = number(weight, f"weight of {name.strip()}", 0, 1000) if weight else 1.0
    return out


def _palette(path: Path) -> tuple[tuple[Yarn, ...], tuple[str, ...], Viewing | None, tuple[Notice, ...]]:
    """Yarns, the order they are in, how a project looks at its blends, and notices."""
    if path.suffix.lower() == ".json":
        from blendplan.project import open_project

        blanket, notices = open_project(path)
        order = tuple(blanket.names[key] for key in blanket.design.order)
        return blanket.yarns, order, blanket.viewing, notices
    from blendplan.files import read_file
    from blendplan.palette import read_palette

    palette = read_palette(read_file(path), path.name)
    return palette.yarns, tuple(y.name for y in palette.yarns), None, palette.notices


def _say(found: Ordering, lang: str) -> None:
    print(tr("Order: {order}", lang, order=", ".join(found.order)))
    print(tr("Score {cost} (less is better), {verdict}", lang, cost=rounded(found.cost, 2), verdict=found.verdict))
    print(tr("Steps (CIEDE2000):", lang))
    longest = max((s.delta_e for s in found.steps), default=0.0)
    width = max((len(s.before) + len(s.after) for s in found.steps), default=0) + 4
    for step in found.steps:
        bar = "#" * max(1, round(24 * step.delta_e / longest)) if longest else ""
        pair = f"{step.before} -> {step.after}"
        print(f"  {pair:{width}} {rounded(step.delta_e, 2).say(lang):>6}  {step.via:7}  {bar}".rstrip())


def _wishes(args: argparse.Namespace) -> Constraints:
    from collections import Counter

    from blendplan.order import Constraints

    places: list[tuple[str, str]] = args.place or []
    if len({name for name, _ in places}) < len(places):
        raise StripeError("one colour was given two places with --place; give each colour one place.")
    return Constraints(
        first=args.first,
        last=args.last,
        wanted=tuple(map(tuple, args.together or ())),
        forbidden=tuple(map(tuple, args.never or ())),
        places=tuple(places),  # type: ignore[arg-type]
        short=tuple(args.short or ()),
        uses=tuple((n, c + 1) for n, c in Counter(args.twice or ()).items()),
        apart=args.apart,
        carrier=args.carrier,
        closed=args.closed,
        mirrored=args.mirrored,
    )


def _others(yarns: tuple[Yarn, ...], question: Question, given: str) -> list[Alternative]:
    from blendplan.order import alternatives
    from blendplan.units import whole

    count = whole(given, "other orders to show", 1, 19)
    return list(alternatives(yarns, question, count=count + 1)[1:])


def _follow(args: argparse.Namespace, yarns: tuple[Yarn, ...], viewing: Viewing) -> Ordering:
    """Return the order that follows a picture along a line."""
    from blendplan.errors import PhotoError
    from blendplan.order import follow_shades
    from blendplan.photo import load_photo, shades_along
    from blendplan.units import number, whole

    photo = load_photo(args.follow)
    wide, tall = photo.full_size
    line = [wide / 2, 0.0, wide / 2, float(tall)]
    if args.line:
        parts = args.line.split(",")
        if len(parts) != 4:
            raise PhotoError("a line needs four numbers, {given} were given; write X,Y,X,Y.", given=len(parts))
        line = [number(part, "end of the line", 0, 1e6) for part in parts]
    places = whole(args.places, "stripes along the line", 1, 200)
    shades = shades_along(photo, line[:2], line[2:])
    return follow_shades(yarns, shades, places, viewing=viewing, blend_rows=0 if args.no_blends else 2)


def run(args: argparse.Namespace) -> int:
    """Find and print the order."""
    from blendplan.cli.common import show_notices
    from blendplan.order import Doubt, Question, Search, doubt_order, few_moves, find_order

    yarns, own, seen, told = _palette(Path(args.palette))
    viewing = viewing_of(args, seen)
    if args.keep and not args.choose:
        raise StripeError("--keep was given without --choose; say how many colours to use with --choose K.")
    names = {y.name for y in yarns}
    question = Question(
        aim=_aim(args.aim),
        constraints=_wishes(args),
        viewing=viewing,
        blend_rows=0 if args.no_blends else 2,
        start=args.start,
        end=args.end,
        own=tuple(n for n in own if n in names),
    )
    progress = _Progress() if sys.stderr.isatty() else None
    if args.follow and (args.choose or args.others):
        raise StripeError("--follow was given with --choose or --others; give one of them at a time.")
    if (args.line or args.places != "8") and not args.follow:
        raise StripeError("--line or --places was given without --follow; name the picture with --follow PHOTO.")
    if args.moves and (args.follow or args.choose):
        raise StripeError("--moves was given with --follow or --choose; give one of them at a time.")
    if args.follow:
        found = _follow(args, yarns, viewing)
    else:
        choice = replace(question, choose=args.choose, keep=tuple(args.keep or ()))
        found = find_order(yarns, choice, search=Search(progress=progress))
    better = few_moves(yarns, own, question, most=args.moves) if args.moves else ()
    # Of colours chosen among more, those that were chosen are looked at.
    chosen = tuple(y for y in yarns if y.name in found.order)
    mine = replace(question, own=tuple(n for n in own if n in found.order))
    others = _others(chosen, mine, args.others) if args.others else []
    doubt = Doubt() if args.follow else doubt_order(found, chosen, mine)
    told = (*told, *found.notices, *(_put_into(args.into, found) if args.into is not None else ()))
    show_notices(told, args.lang)
    if args.json:
        data = found.to_json() | doubt.to_json()
        data["notices"] += [n.text for n in doubt.notices]
        if args.others:
            data["others"] = [o.to_json() for o in others]
        if args.moves:
            data["few_moves"] = [one.to_json() for one in better]
        print(json.dumps(data, ensure_ascii=False, indent=2))
        return 0
    _say(found, args.lang)
    for notice in doubt.notices:
        print(capital(notice.say(args.lang)))
    for one in better:
        print()
        print(f"{capital(one.words.say(args.lang))} {', '.join(one.ordering.order)}")
    for other in others:
        print()
        print(
            tr(
                "Another, {percent} % worse by this aim: {order} ({worst})",
                args.lang,
                percent=rounded(100 * other.behind, 1),
                order=", ".join(other.ordering.order),
                worst=other.worst.say(args.lang).rstrip("."),
            )
        )
    return 0


def _put_into(path: str, found: Ordering) -> tuple[Notice, ...]:
    """Write an order into a project as the rule of its stripes, and return what is to be said of it."""
    from blendplan.project import open_project, save_project
    from blendplan.reckon import worked_stays
    from blendplan.wording import note

    blanket, notices = open_project(path)
    keys = blanket.keys
    missing = [name for name in found.order if name not in keys]
    if missing:
        raise StripeError(
            "{path} has no yarn {given}; its yarns are {allowed}; give --into a project with all colours of the order.",
            path=path,
            given=repr(missing[0]),
            allowed=", ".join(keys),
        )
    by_hand = blanket.design.stripes is not None
    order = tuple(keys[name] for name in found.order)
    design = replace(blanket.design, order=order, arrange="once", times=1, carrier=None, stripes=None)
    save_project(worked_stays(blanket, replace(blanket, design=design)), path)
    return (*notices, note("Stripes set by hand gave way to the order.")) if by_hand else notices


class _Progress:
    """Percentages on one line of stderr."""

    def __init__(self) -> None:
        self.shown = -1

    def __call__(self, share: float) -> None:
        percent = int(100 * share)
        if percent > self.shown:
            self.shown = percent
            print(f"\r{percent:3d} %", end="" if percent < 100 else "\r     \r", file=sys.stderr, flush=True)
