"""`blendplan ledger`: what is used, left and ahead of each colour, by what was bought and weighed."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

from blendplan.cli.common import add_project
from blendplan.errors import ProjectError, YarnError
from blendplan.units import choice, number, whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from blendplan.blanket import Blanket
    from blendplan.lasting import WayOut
    from blendplan.quantities import Quantities
    from blendplan.yardage.ledger import Ledger

HELP = "what is used, left and still needed of each colour while a project is worked, and ways out if it will not last"

ANSWERS: dict[str, Literal["mended", "kept", "back"]] = {"yes": "mended", "no": "kept", "back": "back"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_project(parser)
    parser.add_argument("--row", metavar="N", help="rows done; 20.5 is half of row 21")
    parser.add_argument(
        "--bought",
        metavar="YARN=SKEINS[@LOT]",
        action="append",
        default=[],
        help="skeins bought; they count towards the plan's, and beyond them add",
    )
    parser.add_argument("--opened", metavar="YARN[=SKEINS]", action="append", default=[], help="skeins opened by now")
    parser.add_argument(
        "--weighed",
        metavar="YARN=GRAMS[+UNOPENED]",
        action="append",
        default=[],
        help="grams of the balls in work, and unopened skeins beside them",
    )
    parser.add_argument(
        "--answer", metavar="YARN=yes|no|back", action="append", default=[], help="answer to the question about a yarn"
    )
    parser.add_argument("--take", choices=("rows", "colour", "border"), help="take a way out where yarn will not last")
    parser.add_argument("--date", metavar="DATE", help="when it was, as YYYY-MM-DD or YYYY-MM-DD HH:MM:SS")
    parser.add_argument("--save", action="store_true", help="keep all this in the project file")


def run(args: argparse.Namespace) -> int:
    """Enter what is told, then print the account of each colour, open doubts first."""
    import json

    from blendplan.cli.common import load, show_notices, to_stderr
    from blendplan.lasting import counted_as_bought, ways_out
    from blendplan.plan import ledger_of, make_plan
    from blendplan.project import save_project
    from blendplan.quantities import Quantities
    from blendplan.wording import tr

    before, notices = load(args)
    blanket = _entered(before, args)
    plan = make_plan(blanket)
    ledger = ledger_of(plan)
    ways = ways_out(plan, ledger)
    if args.save:
        save_project(blanket, args.project)
    elif blanket != before:
        to_stderr(tr("nothing is kept in the project file; add --save for that.", args.lang))
    show = Quantities(args.units, args.lang)
    show_notices(notices, args.lang, args.units)
    if args.json:
        print(json.dumps(_json(ledger, ways, show), ensure_ascii=False, indent=1))
    else:
        counted = [counted_as_bought(plan, told.rpartition("=")[0]).say(args.lang) for told in args.bought]
        print("\n".join([*counted, *_questions(ledger, args, show), *_lines(ledger, ways, show)]))
    return 0


def _entered(blanket: Blanket, args: argparse.Namespace) -> Blanket:
    """Return the blanket with what is told on the command line, in the order of the help."""
    from blendplan.lasting import account_skeins, answer, open_skeins, purchase, take_way, ways_out, weigh
    from blendplan.plan import ledger_of, make_plan

    date = _moment(args.date)
    # What is told together happened since the last time: the yarn was bought before its rows were worked.
    for told in args.bought:
        name, skeins = _parts(told, "--bought YARN=SKEINS")
        skeins, _, lot = skeins.partition("@")
        blanket = purchase(blanket, _key(blanket, name), _count(skeins), lot, date)
    blanket, share = _at_row(blanket, args.row)
    for told in args.opened:
        alone = told in blanket.keys or "=" not in told
        name, skeins = _parts(f"{told}=1" if alone else told, "--opened YARN=SKEINS")
        blanket = open_skeins(blanket, _key(blanket, name), _count(skeins), date)
    for told in args.weighed:
        name, weight = _parts(told, "--weighed YARN=GRAMS")
        grams, plus, unopened = weight.partition("+")
        blanket = weigh(blanket, _key(blanket, name), grams, _count(unopened) if plus else None, date, share=share)
    for told in args.answer:
        name, said = _parts(told, "--answer YARN=yes")
        doubts = ledger_of(make_plan(blanket)).doubts
        doubt = next((doubt for doubt in doubts if doubt.name == name), None)
        if doubt is None:
            raise YarnError(
                "there is no open question about {given}; open are {allowed}.",
                given=repr(name),
                allowed=", ".join(doubt.name for doubt in doubts) or "-",
            )
        blanket = answer(blanket, doubt, ANSWERS[choice(said, "answer", tuple(ANSWERS))])
    if args.take:
        plan = make_plan(blanket)
        ledger = ledger_of(plan)
        ways = ways_out(plan, ledger)
        way = next((way for way in ways if way.kind == args.take), None)
        if way is None:
            raise YarnError(
                "the way out {given} is not there; there are {allowed}.",
                given=repr(args.take),
                allowed=", ".join(way.kind for way in ways if way.kind != "buy") or "-",
            )
        blanket = take_way(blanket, way, account_skeins(plan, begun=True))
    return blanket


def _moment(text: str | None) -> str:
    """Return when it was, as it stands in a file."""
    from datetime import datetime

    try:
        when = datetime.fromisoformat(text) if text else datetime.now()
    except ValueError:
        raise ProjectError("{given} is not a date; write it like 2026-03-31.", given=repr(text)) from None
    return text or when.isoformat(" ", "seconds")


def _at_row(blanket: Blanket, row: str | None) -> tuple[Blanket, float | None]:
    """Return the blanket with so many rows done, and the share of the next one."""
    from blendplan.plan import make_plan

    if row is None:
        return blanket, None
    done = number(row, "rows done", 0, make_plan(blanket).rows)
    return replace(blanket, making=replace(blanket.making, rows_done=int(done))), done % 1 or None


def _parts(told: str, wanted: str) -> tuple[str, str]:
    name, sign, value = told.rpartition("=")
    if not (name and sign and value):
        raise YarnError("{given} was given; write it like {wanted}.", given=repr(told), wanted=wanted)
    return name, value


def _count(text: str) -> int:
    return whole(text, "skeins", 0, 1000)


def _key(blanket: Blanket, name: str) -> str:
    keys = blanket.keys
    if name not in keys:
        raise YarnError(
            "{given} is none of the yarns; the yarns are {allowed}.", given=repr(name), allowed=", ".join(keys)
        )
    return keys[name]


def _json(ledger: Ledger, ways: Sequence[WayOut], show: Quantities) -> dict[str, Any]:
    said = show.lang, show.units
    return {
        "rows_done": ledger.rows_done,
        "factor": round(ledger.factor, 4),
        "doubts": [{"name": d.name, "row": d.row, "question": d.question.say(*said)} for d in ledger.doubts],
        "colours": [
            {
                "name": c.name,
                "used_g": round(c.used_g, 1),
                "left_g": round(c.left_g, 1),
                "weighed_at": c.weighed_at,
                "finished": c.finished,
                "need_g": round(c.need_g, 1),
                "low_g": round(c.low_g, 1),
                "high_g": round(c.high_g, 1),
                "coming_skeins": c.coming_skeins,
                "buy_skeins": c.buy_skeins,
                "chance_short": round(c.chance_short, 4),
            }
            for c in ledger.colours
        ],
        "ways": [{"kind": w.kind, "text": [n.say(*said) for n in w.said], "buy": dict(w.buy)} for w in ways],
    }


def _questions(ledger: Ledger, args: argparse.Namespace, show: Quantities) -> list[str]:
    """Return the open questions, and below each the commands that answer it."""
    import shlex

    from blendplan.wording import tr

    out = []
    told = [] if args.row is None else ["--row", args.row]
    for option in ("bought", "opened", "weighed", "answer"):
        told += [word for one in getattr(args, option) for word in (f"--{option}", one)]
    told += ["--date", args.date] if args.date else []
    for doubt in ledger.doubts:
        out.append(doubt.question.say(show.lang, show.units))
        means = {
            "yes": tr("yes, mend it", show.lang),
            "no": tr("no, it is as weighed", show.lang),
            "back": tr("take the weighing back", show.lang),
        }
        for said in means if doubt.left or doubt.bought else ("no", "back"):
            # What is kept already need not be told again.
            line = ["blendplan", "ledger", args.project, *([] if args.save else told)]
            line += ["--answer", f"{doubt.name}={said}", "--save"]
            out.append(f"   {means[said]}: {shlex.join(line)}")
    return out


def _lines(ledger: Ledger, ways: Sequence[WayOut], show: Quantities) -> list[str]:
    from blendplan.quantities import skeins_note
    from blendplan.wording import tr

    lang, said = show.lang, (show.lang, show.units)
    out = []
    for c in ledger.colours:
        grams = {"used": show.mass(c.used_g), "left": show.mass(c.left_g), "need": show.mass(c.need_g)}
        out.append(
            tr("{name}: {used} used, {left} left, finished", lang, name=c.name, **grams)
            if c.finished
            else tr("{name}: {used} used, {left} left, {need} still to work", lang, name=c.name, **grams)
        )
        if c.buy_skeins:
            out[-1] += "; " + tr("still to buy: {skeins}", lang, skeins=skeins_note(c.buy_skeins))
    out += [notice.say(*said) for notice in ledger.notices]
    return out + [notice.say(*said) for way in ways for notice in way.said]
