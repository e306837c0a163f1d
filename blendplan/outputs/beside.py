"""A blanket as it is worked: every row in words, every change, and what is left after every row, as plain data.

One page shows it and counts by itself (beside the work, or away from the desk), so nothing is left to be worked out
there: each sentence is said here, by the same calls that write the pattern.
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from blendplan.errors import BlendplanError
from blendplan.fabric.written import write_rows
from blendplan.lasting import verdict
from blendplan.outputs.changes import balls_told, change_words, held_words
from blendplan.outputs.pattern import finishing_lines
from blendplan.plan import Plan, PlannedStripe, ledger_of
from blendplan.quantities import Quantities, skeins_note
from blendplan.wording import capital, tr
from blendplan.yardage.ledger import Account, Ledger
from blendplan.yardage.strands import StrandEnd

# What the page says beside the rows; names in braces are put in by the page as it counts.
WORDS: dict[str, str] = {
    "of": "of {rows}",
    "row_of": "Row {row} of {rows}",
    "row_done": "Row {row} done",
    "back": "One row back",
    "blanket": "Blanket",
    "to_blanket": "Back to the blanket",
    "note": "Note to this row",
    "weigh": "Weigh",
    "weigh_all": "Weigh what is left",
    "times": "{n} of {times} times worked",
    "press": "press after each repeat",
    "next_change": "Next row ends in a change.",
    "this_change": "This row ends in a change.",
    "show": "Show",
    "hide": "Hide",
    "cut": "leave and cut",
    "keep": "carry on",
    "join": "join",
    "worked": "{done} rows worked, {left} to go. Stripe {stripe} of {stripes}.",
    "awake": "The screen stays awake",
    "not_awake": "Set this phone’s screen to stay on longer.",
    "big_right": "Big button right",
    "big_left": "Big button left",
    "gone": "The desk cannot be reached. Go on: your rows are counted here and handed over later.",
    "wait_one": "1 row waits.",
    "wait": "{n} rows wait.",
    "code": "The desk asks for its code again. Your rows stay here.",
    "give_code": "Type the code",
    "no_blanket": "This blanket is no longer in the library at the desk. Your rows stay here.",
    "another": "Another hand counted: row {row} now.",
    "all_done": "Done. {rows} rows.",
    "put_away": "Put away as done",
    "save_note": "Keep the note",
    "cancel": "Leave it",
    "grams": "{name}: balls in work ({unit})",
    "rest": "{name}: unopened skeins",
    "save_weight": "Keep the weight",
    "not_number": "This is no weight. Write a number such as {example}.",
    "right": "It is right",
    "again": "Weigh again",
    "away": "Counted away from the desk.",
    "give": "Give back what was counted",
    "give_file": "Save it as a file",
    "elsewhere": "These rows belong to {title}; nothing was taken here.",
    "unread": "What was counted cannot be read; save it as a file and give that.",
}
_TELLS = ("row", "rows", "n", "times", "done", "left", "stripe", "stripes", "name", "unit", "example", "title")


def words(lang: str) -> dict[str, str]:
    """Return what the page says, in a language; fields that it fills in stay in braces."""
    own = {name: "{" + name + "}" for name in _TELLS}
    return {name: tr(WORDS[name], lang, **own) for name in WORDS}


def beside(plan: Plan, lang: str = "en") -> dict[str, Any]:
    """Return all that a page beside the work shows, as JSON takes it.

    `rows_done` is the only value that counting changes; `of` is the same as long as nothing else has changed.
    """
    blanket, show = plan.blanket, Quantities(plan.blanket.ways.units, lang)
    written = write_rows(plan.worked, terms=blanket.ways.terms, lang=lang)
    first = change_words(plan.stripes[0].change, plan.strands, show)
    shown: dict[str, Any] = {
        "title": blanket.title,
        "lang": lang,
        "words": words(lang),
        "unit": show.mass(0).split()[-1],
        "rows": plan.rows,
        "begin": [first, capital(written.foundation)],
        "lead": written.lead,
        "parts": [[[_sentence(text), times] for text, times in row] for row in written.parts],
        "turn": tr("Turn.", lang),
        "stripes": [_stripe(stripe, plan, lang) for stripe in plan.stripes],
        "changes": [c for stripe in plan.stripes[1:] if (c := _change(stripe, plan, show))],
        "told": _balls(plan, show),
        "colours": _colours(plan, show),
        "notes": [[note.row, note.text] for note in blanket.making.notes],
        "doubt": _doubt(plan, lang),
        "verdict": _verdict(plan, show),
        "finish": [line.text for line in finishing_lines(plan, show) if line.kind == "do"],
    }
    shown["of"] = hashlib.sha256(json.dumps(shown, sort_keys=True).encode()).hexdigest()[:16]
    shown["rows_done"] = min(blanket.making.rows_done, plan.rows)
    return shown


def _sentence(text: str) -> str:
    return f"{capital(text)}."


def _stripe(stripe: PlannedStripe, plan: Plan, lang: str) -> dict[str, Any]:
    names = list(dict.fromkeys(stripe.stripe.strands))
    return {
        "first": stripe.first_row,
        "last": stripe.last_row,
        "held": held_words(stripe.stripe.strands, lang),
        "names": names,
        "srgb": [plan.yarn(name).srgb for name in names],
    }


def _ends(ends: Sequence[StrandEnd], plan: Plan) -> list[list[str]]:
    return [[end.name, plan.yarn(end.name).srgb] for end in ends]


def _change(stripe: PlannedStripe, plan: Plan, show: Quantities) -> dict[str, Any] | None:
    """Return the change that begins a stripe, at the end of the row before; None where nothing changes."""
    change = stripe.change
    if not change.left and not change.taken:
        return None
    return {
        "row": change.row,
        "said": change_words(change, plan.strands, show),
        "cut": _ends(change.left, plan),
        "keep": _ends(change.carried, plan),
        "join": _ends(change.taken, plan),
    }


def _balls(plan: Plan, show: Quantities) -> dict[str, list[list[str]]]:
    """Return what is to be done with balls, by the row in which it is told: before its words, and after them."""
    told: defaultdict[str, list[list[str]]] = defaultdict(lambda: [[], []])
    for row, (wound, within, at_end) in sorted(balls_told(plan, show).items()):
        before, after = told[str(max(1, row))]
        before += [*wound, *within]
        after += at_end
    return dict(told)


def _when(plan: Plan, done: int) -> Plan:
    """Return the plan as it stands after a number of rows."""
    making = replace(plan.blanket.making, rows_done=min(done, plan.rows))
    return replace(plan, blanket=replace(plan.blanket, making=making))


def _at(plan: Plan, done: int) -> Ledger | None:
    """Return the ledger after a number of rows; None where a yarn has no label to count by."""
    try:
        return ledger_of(_when(plan, done))
    except BlendplanError:
        return None


def _colours(plan: Plan, show: Quantities) -> list[dict[str, Any]]:
    """Return each colour with what is left of it after every row, told where it changes."""
    lines: defaultdict[str, list[list[Any]]] = defaultdict(list)
    for done in range(plan.rows + 1):
        ledger = _at(plan, done)
        for account in ledger.colours if ledger is not None else ():
            said = left_words(account, show)
            if not lines[account.name] or lines[account.name][-1][1:] != said:
                lines[account.name].append([done, *said])
    keys = plan.blanket.keys
    return [
        {"key": keys[yarn.name], "name": yarn.name, "srgb": yarn.srgb, "left": lines[yarn.name]} for yarn in plan.yarns
    ]


def left_words(account: Account, show: Quantities) -> list[Any]:
    """Return what is left of a colour in words, the share of what there was (0 to 1), and a warning or nothing."""
    lang, left = show.lang, show.mass(account.left_g)
    if account.finished:
        said = tr("done with; about {left} left", lang, left=left)
    elif account.coming_skeins and account.used_g <= 0:
        said = tr("not begun, {skeins} to buy", lang, skeins=skeins_note(account.buy_skeins))
    elif account.used_g <= 0:
        said = tr("not begun, {left} here", lang, left=left)
    else:
        said = tr("about {left} left, {need} still to work", lang, left=left, need=show.mass(account.need_g))
    warned = ""
    if account.lacking_skeins:
        warned = tr(
            "{name} may run out before the end: {skeins} more would do.",
            lang,
            name=account.name,
            skeins=skeins_note(account.lacking_skeins),
        )
    share = account.left_g / account.owned_g if account.owned_g else 0.0
    return [said, round(share, 2), warned]


def _verdict(plan: Plan, show: Quantities) -> list[Any] | None:
    """Return the row of the last weighing, from where on it is told, and whether the yarn will last by it."""
    rows = [weighing.row for weighing in plan.blanket.making.weighings if weighing.row <= plan.rows]
    if not rows:
        return None
    try:
        said = verdict(_when(plan, max(rows)))
    except BlendplanError:
        return None
    return None if said is None else [max(rows), said.say(show.lang, show.units)]


def _doubt(plan: Plan, lang: str) -> dict[str, Any] | None:
    """Return the question that an unlikely weighing raises, if there is one; all weighings are looked at."""
    ledger = _at(plan, plan.rows)
    if ledger is None or not ledger.doubts:
        return None
    doubt = ledger.doubts[0]
    return {"weighing": doubt.weighing, "name": doubt.name, "said": doubt.question.say(lang, plan.blanket.ways.units)}
