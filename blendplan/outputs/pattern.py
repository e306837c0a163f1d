"""The pattern's text, once: chapter after chapter in the order of the paper; each output only sets it.

Before the first chain and after the last row: hook, gauge, swatch; straighten, border, weave in, block, fringe.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from blendplan.fabric.diagram import diagram_svg
from blendplan.fabric.finish import border_rounds
from blendplan.fabric.phrases import abbreviation, count_words, row_words
from blendplan.fabric.ripple import work
from blendplan.fabric.size import measure
from blendplan.fabric.written import WrittenRows, abbreviations, top_of, write_rows
from blendplan.outputs.changes import balls_told, change_words, held_words, listed
from blendplan.outputs.content import Line, Words, read_plan
from blendplan.plan import Plan, PlannedStripe
from blendplan.quantities import Quantities
from blendplan.wording import tr
from blendplan.yardage.care import washing
from blendplan.yardage.length import row_lengths_m
from blendplan.yardage.measured import stitch_cm
from blendplan.yardage.settings import Finish, fringe_pieces

# US letters of hooks (trade facts, section 1, a shop's chart; above 8 mm letters differ from maker to maker).
HOOK_LETTERS = {
    2.25: "B-1",
    2.75: "C-2",
    3.25: "D-3",
    3.5: "E-4",
    3.75: "F-5",
    4.0: "G-6",
    4.5: "7",
    5.0: "H-8",
    5.5: "I-9",
    6.0: "J-10",
    6.5: "K-10\u00bd",
    8.0: "L-11",
}
# A swatch is two repeats wide and about a hand high: fewer rows tell too little, more take too long (assumed).
SWATCH_REPEATS, SWATCH_CM, LEAST_ROWS = 2, 15.0, 4


def hook_lines(plan: Plan, show: Quantities) -> list[str]:
    """Return hook, gauge and the recipe of a swatch, line by line."""
    lang, gauge, size = show.lang, plan.gauge, plan.size
    out = []
    if gauge.hook_mm is not None:
        letter = HOOK_LETTERS.get(gauge.hook_mm)
        said = tr("Hook: {mm} mm", lang, mm=show.number(gauge.hook_mm, 2))
        out.append(f"{said} ({letter})" if letter else said)
    else:
        out.append(tr("Hook: the one that your swatch was worked with", lang))
    across = size.width_cm / plan.worked.ripple.repeats
    out.append(
        tr(
            "One repeat is {repeat} wide, and {rows} rows are {height} high.",
            lang,
            repeat=show.both(across, 1),
            rows=10,
            height=show.both(10 * size.rise_per_row_cm, 1),
        )
    )
    return [*out, *_swatch(plan, show)]


def _swatch(plan: Plan, show: Quantities) -> list[str]:
    lang, ripple = show.lang, plan.worked.ripple
    small = work(replace(ripple, repeats=SWATCH_REPEATS))
    wide = measure(small, plan.gauge, 0).width_cm
    rows = max(LEAST_ROWS, 2 * round(SWATCH_CM / plan.size.rise_per_row_cm / 2))
    strands = plan.stripes[0].stripe.strands
    out = [
        tr(
            "Swatch, {strands}: chain {chain} for two repeats and work {rows} rows as written.",
            lang,
            strands=held_words(strands, lang),
            chain=small.chain,
            rows=rows,
        ),
        tr("Wet it, lay it flat, let it dry; then measure it across and straight up at one point, and weigh it.", lang),
    ]
    told = tr(
        "It should be {width} wide and {height} high",
        lang,
        width=show.both(wide, 1),
        height=show.both(rows * plan.size.rise_per_row_cm, 1),
    )
    bands = [plan.yarn(name).put_up for name in strands]
    if all(band is not None for band in bands):
        width = plan.gauge.stitch_width_cm
        metres = sum(row_lengths_m(small, rows, width)) + small.chain * stitch_cm("ch", width) / 100
        grams = sum(metres * plan.yardage.factor / float(band.m_per_g) for band in bands if band is not None)
        told = tr("{size} and weigh about {mass}", lang, size=told, mass=show.mass(grams))
    out.append(
        tr(
            "{size}. If it is wider, take a smaller hook; if narrower, a larger one; or enter what you measured.",
            lang,
            size=told,
        )
    )
    return out


def finishing_lines(plan: Plan, show: Quantities) -> list[Line]:
    """Return what is done after the last row, step by step."""
    lang, tail = show.lang, show.size(plan.settings.tail_cm)
    cut = tr("Cut the strands, draw them through the last loop, and leave {tail} of each.", lang, tail=tail)
    pieces = plan.yardage.finishes
    begins = plan.strands.changes[len(plan.stripes) :]
    out: list[Line] = []
    off = Line("do", cut)
    row = plan.rows
    for piece, change in zip(pieces, begins, strict=True):
        if change.left or piece.fresh:
            out.append(off)
        out += [Line("do", text) for text in _balls(plan, range(row + 1, row + len(piece.lengths_m) + 1), show)]
        out += _piece(plan, piece, joined=bool(change.taken), show=show)
        row += len(piece.lengths_m)
    ends = (
        tr(
            "There are {n} ends. Thread each on the needle, run it along its own row under stitches of its own colour, "
            "turn back at least once, and trim it.",
            lang,
            n=plan.strands.ends_to_weave,
        ),
        tr(
            "Block: wet the blanket, lay it flat to {size}, let the peaks lie in one line, and let it dry.",
            lang,
            size=show.both_sizes(plan.size.width_cm, plan.size.height_cm),
        ),
    )
    return [*out, off, *(Line("do", text) for text in (*ends, *_fringe(plan, show)))]


def _balls(plan: Plan, rows: range, show: Quantities) -> list[str]:
    """Return which balls are wound in two and which follow each other in a piece of finishing."""
    lang = show.lang
    out = [
        tr(
            "Now wind {off} of {name} off ball {ball} into ball {new}, because two strands of it are held together.",
            lang,
            off=show.mass(r.off_g),
            name=r.name,
            ball=r.skein,
            new=r.new,
        )
        for r in plan.strands.rewinds
        if r.row in rows
    ]
    return out + [
        tr("Where ball {old} of {name} ends, go on from ball {new}.", lang, old=j.old, name=j.name, new=j.new)
        for j in plan.strands.joins
        if j.row in rows and j.at_row > plan.rows  # one at the end of the last row is told there
    ]


def _piece(plan: Plan, piece: Finish, *, joined: bool, show: Quantities) -> list[Line]:
    """Return the lines of one piece; `joined` where its strands are new."""
    lang, held = show.lang, held_words(piece.strands, show.lang)
    if piece.kind == "border":
        return _border(plan, piece, show, joined=joined)
    top = piece.kind == "straight-top"
    level = plan.levels[0 if top else 1]
    terms = plan.blanket.ways.terms
    below = plan.worked.row_at(plan.rows)
    words = row_words(level.row, into="st" if top else "ch", top=top_of(below) if top else 0, terms=terms, lang=lang)
    values = {
        "strands": held,
        "body": words,
        "count": count_words(level.row, terms, lang),
        "left": show.size(level.left_cm, 1),
    }
    if top:
        begin = (
            tr("Straight top, once across the last row, with {strands}: {body}. \u2014 {count}", lang, **values)
            if not joined
            else tr("Straight top: join {strands} in the last stitch, then {body}. \u2014 {count}", lang, **values)
        )
    else:
        begin = tr(
            "Straight bottom, once along the other side of the foundation: join {strands} in its first chain, then "
            "{body}. \u2014 {count}",
            lang,
            **values,
        )
    return [Line("do", begin), Line("say", tr("It leaves up to {left} of the wave.", lang, left=values["left"]))]


def _border(plan: Plan, piece: Finish, show: Quantities, *, joined: bool) -> list[Line]:
    border = plan.settings.border
    if border is None:
        return []
    lang, straight = show.lang, bool(plan.levels)
    stitch = abbreviation(border.stitch, plan.blanket.ways.terms, lang)
    rounds = border_rounds(plan.worked, plan.gauge, plan.rows, border, straight=straight)
    held = held_words(piece.strands, lang)
    begin = (
        tr(
            "Border: join {strands} in a corner and work {stitch} all around, 3 in each corner.",
            lang,
            strands=held,
            stitch=stitch,
        )
        if joined
        else tr(
            "Border: go on with {strands} and work {stitch} all around, 3 in each corner.",
            lang,
            strands=held,
            stitch=stitch,
        )
    )
    out = [Line("do", begin)]
    if not straight and plan.worked.ripple.kind != "heights":
        out.append(Line("say", tr("In a wavy end work 3 in each peak and leave out 2 in each valley.", lang)))
    side = rounds[0].side / plan.rows
    out.append(Line("say", tr("Along a side that is about {n} in every 10 rows.", lang, n=round(10 * side))))
    for number, one in enumerate(rounds, 1):
        said = tr(
            "Round {number}: about {end} along each end, {side} along each side, {all} {stitch} in all; close it "
            "with a slip stitch.",
            lang,
            number=number,
            end=one.end,
            side=one.side,
            all=one.stitches,
            stitch=stitch,
        )
        out.append(Line("do", said))
    return out


def _fringe(plan: Plan, show: Quantities) -> list[str]:
    fringe = plan.settings.fringe
    if fringe is None:
        return []
    lang = show.lang
    each = fringe_pieces(fringe, plan.size.flat_width_cm)
    out = []
    for end, stripe in enumerate((plan.stripes[-1], plan.stripes[0])[: fringe.ends]):
        several = list(dict.fromkeys(fringe.strands or stripe.stripe.strands))
        names = listed(several, lang)
        if len(several) > 1:
            names = tr("{names}, in turn", lang, names=names)
        values = {"n": each, "cut": show.size(fringe.cut_cm, 1), "names": names}
        out.append(
            tr("Fringe for the top: cut {n} pieces of {cut} from {names}.", lang, **values)
            if end == 0
            else tr("Fringe for the bottom: cut {n} pieces of {cut} from {names}.", lang, **values)
        )
    out.append(
        tr(
            "Fold {pieces} pieces at a time, draw the fold through the edge with the hook, pull the ends through it, "
            "every {every}; trim to {length}.",
            lang,
            pieces=fringe.pieces,
            every=show.size(fringe.every_cm, 1),
            length=show.size(fringe.length_cm),
        )
    )
    return out


# Chapters in the order of the paper: what one has to know before the first chain, the work, what one looks up.
CODES = (
    "size",
    "materials",
    "hook",
    "abbreviations",
    "notes",
    "rows",
    "finishing",
    "stripes",
    "shopping",
    "counter",
    "care",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """A chapter: its code of `CODES`, its title and its lines."""

    code: str
    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """The whole pattern in words."""

    title: str
    chapters: tuple[Chapter, ...]  # in the order of `CODES`; an empty one is left out
    words: Words  # what the tables of paper and sheet are set from; the lines of their chapters say the same

    def chapter(self, code: str) -> Chapter | None:
        """Return a chapter by its code."""
        return next((chapter for chapter in self.chapters if chapter.code == code), None)


def plan_diagram(plan: Plan, lang: str = "en") -> str:
    """Return the stitch diagram of a plan as SVG."""
    return diagram_svg(plan.worked, plan.gauge, lang=lang)


@lru_cache(maxsize=2)
def pattern(plan: Plan, lang: str = "en") -> Pattern:
    """Return the pattern of a plan in a language."""
    ways = plan.blanket.ways
    words, show = read_plan(plan, lang), Quantities(ways.units, lang)
    rows = write_rows(plan.worked, terms=ways.terms, lang=lang)
    finishing = finishing_lines(plan, show)
    told = _rows(plan, rows, show)
    # A plan may end before all the rows that are written out are reached: only what is printed is explained.
    kinds = (*rows.kinds[: plan.rows], *(level.row for level in plan.levels))
    border = plan.settings.border
    stitch = () if border is None else (abbreviation(border.stitch, ways.terms, lang),)
    texts = (
        *(line.text for line in told if line.kind != "heading"),
        *rows.notes,
        *(line.text for line in finishing if plan.levels),
        *stitch,
    )
    titles = {
        "size": tr("Size", lang),
        "materials": tr("Materials", lang),
        "hook": tr("Hook and tension", lang) if ways.terms == "UK" else tr("Hook and gauge", lang),
        "abbreviations": tr("Abbreviations", lang),
        "notes": tr("Notes", lang),
        "rows": tr("Rows to work", lang),
        "finishing": tr("Finishing", lang),
        "stripes": tr("Stripes, in the order worked", lang),
        "shopping": tr("Shopping list", lang),
        "counter": tr("Row counter", lang),
        "care": tr("Take care", lang),
    }
    lines: dict[str, Iterable[Line]] = {
        "size": _say(f"{what}: {value}" for what, value in facts(plan, show)),
        "materials": _materials(words, lang),
        "hook": _say(hook_lines(plan, show)),
        "abbreviations": _say(abbreviations(kinds, texts, ways.terms, lang)),
        "notes": _notes(plan, rows, words, show),
        "rows": told,
        "finishing": finishing,
        "stripes": _say(
            f"{s.number}. {s.letters}: {' + '.join(dict.fromkeys(s.strands))}, {s.reads}, {s.light}; {s.span}"
            for s in words.stripes
        ),
        "shopping": _shopping(words, lang),
        "counter": _counter(plan, words, lang),
        "care": _say([*words.cautions, *(n.say(lang, ways.units) for n in washing(plan.yarns))]),
    }
    chapters = (Chapter(code=code, title=titles[code], lines=tuple(lines[code])) for code in CODES)
    return Pattern(title=words.title, chapters=tuple(c for c in chapters if c.lines), words=words)


def facts(plan: Plan, show: Quantities) -> tuple[tuple[str, str], ...]:
    """Return what and how much: size, foundation, stitches, repeats, rows."""
    lang, worked, size = show.lang, plan.worked, plan.size
    return (
        (tr("Finished size", lang), show.both_sizes(size.width_cm, size.height_cm)),
        (tr("Foundation chain", lang), str(worked.chain)),
        (tr("Repeats across", lang), str(worked.ripple.repeats)),
        (tr("Rows", lang), str(plan.rows)),
        (tr("Stripes", lang), str(len(plan.stripes))),
    )


def _say(texts: Iterable[str]) -> list[Line]:
    return [Line("say", text) for text in texts]


def _materials(words: Words, lang: str) -> list[Line]:
    out = []
    for yarn in words.yarns:
        out.append(Line("say", f"{yarn.letter} {yarn.name}: {yarn.about}; {yarn.skeins}"))
        out += [Line("say", f"   {lot}") for lot in yarn.lots]
    out.append(
        Line("say", tr("Also: the hook, scissors, a blunt needle for the ends, a tape measure, kitchen scales.", lang))
    )
    return out


def _notes(plan: Plan, rows: WrittenRows, words: Words, show: Quantities) -> list[Line]:
    lang, tail = show.lang, show.size(plan.settings.tail_cm)
    strands = max(len(planned.stripe.strands) for planned in plan.stripes)
    said = [rows.terms]
    if strands > 1:
        said.append(tr("Hold all strands together as one and pull them evenly.", lang))
    said += [
        *rows.notes,
        tr(
            "Strands change in the last pull through of a row, so that the next row begins in its own colours; leave "
            "{tail} of each end, old and new.",
            lang,
            tail=tail,
        ),
        tr(
            "Join a new ball of the same colour in the same way, in the last pull through of a stitch, best at the end "
            "of a row.",
            lang,
        ),
        tr("Number the balls of each colour as under Materials; where a ball is named, it is by that number.", lang),
        tr("Heights are measured straight up from the foundation, always at the same point of the wave.", lang),
    ]
    lines = _say(said)
    for title, texts in ((tr("Worth a second look", lang), words.warnings), (tr("Good to know", lang), words.notes)):
        if texts:
            lines += [Line("heading", title), *_say(texts)]
    return lines


def _rows(plan: Plan, rows: WrittenRows, show: Quantities) -> list[Line]:
    lang, out = show.lang, []
    flat, done, balls = plan.size.chain_flat_cm, plan.size.width_cm, balls_told(plan, show)
    for stripe in plan.stripes:
        out.append(Line("heading", _stripe_title(stripe, lang)))
        if stripe.number == 1:
            out += [Line("do", text) for text in balls.get(0, _NOTHING)[0]]
            out.append(Line("do", f"{change_words(stripe.change, plan.strands, show)} {rows.foundation}"))
            out += _say(
                [
                    rows.width_rule,
                    tr(
                        "The chain laid straight is about {flat}; worked, it draws in to about {done}.",
                        lang,
                        flat=show.both(flat),
                        done=show.both(done),
                    ),
                ]
            )
        out += _stripe_rows(plan, stripe, rows, balls, show)
        out.append(
            Line(
                "say",
                tr(
                    "{height} high after stripe {n}.",
                    lang,
                    height=show.both(stripe.bottom_cm + stripe.height_cm),
                    n=stripe.number,
                ),
            )
        )
    return out


def _stripe_title(stripe: PlannedStripe, lang: str) -> str:
    held = held_words(stripe.stripe.strands, lang)
    if stripe.first_row == stripe.last_row:
        return tr("Stripe {n}, row {row}: {strands}", lang, n=stripe.number, row=stripe.first_row, strands=held)
    return tr(
        "Stripe {n}, rows {first} to {last}: {strands}",
        lang,
        n=stripe.number,
        first=stripe.first_row,
        last=stripe.last_row,
        strands=held,
    )


# Of balls in a row: nothing wound before it, joined in it or at its end.
_NOTHING: tuple[list[str], list[str], list[str]] = ([], [], [])


def _stripe_rows(
    plan: Plan, stripe: PlannedStripe, rows: WrittenRows, balls: Mapping[int, Sequence[list[str]]], show: Quantities
) -> list[Line]:
    """Return the rows of a stripe; one in which a ball follows another or strands change has a line of its own."""
    first, last = stripe.first_row, stripe.last_row
    after = plan.stripes[stripe.number].change if stripe.number < len(plan.stripes) else None
    changes = [change_words(after, plan.strands, show)] if after is not None and (after.left or after.taken) else []
    alone = {row for row in balls if first <= row <= last} | ({last} if changes else set())
    out: list[Line] = []
    row = first
    while row <= last:
        written = row <= len(rows.rows)
        end = row if written or row in alone else min([r for r in alone if r > row], default=last + 1) - 1
        wound, within, at_end = balls.get(row, _NOTHING)
        said = rows.rows[row - 1] if written else rows.again(row, end).say(show.lang)
        texts = [said, *within, *at_end, *(changes if end == last else [])]
        out += [Line("do", text) for text in (*wound, *(texts if written else [" ".join(texts)]))]
        if rows.check and end == min(plan.rows, len(rows.rows)):
            out.append(Line("say", rows.check))  # as soon as the rows that are checked by it are written
        row = end + 1
    return out


def _shopping(words: Words, lang: str) -> list[Line]:
    lines = []
    for item in words.shopping:
        values = {"name": item.name, "need": item.need, "span": item.span, "buy": item.buy}
        said = (
            tr("{name}: needs {need} in all ({span}); {now}; buy {buy}", lang, **values, now=item.now)
            if item.now
            else tr("{name}: needs {need} ({span}); on hand {on_hand}; buy {buy}", lang, **values, on_hand=item.on_hand)
        )
        lines.append(Line("do", f"{said}; {item.ask}" if item.ask else said))
        if item.chances:
            lines.append(Line("say", f"   {item.chances}"))
        lines += [Line("say", "   " + tr("Or {choice}", lang, choice=choice)) for choice in item.second]
    return lines + _say(text for text in (words.total, words.advice) if text)


def _counter(plan: Plan, words: Words, lang: str) -> list[Line]:
    lines = []
    for planned, stripe in zip(plan.stripes, words.stripes, strict=True):
        numbers = range(planned.first_row, planned.last_row + 1)
        ticks = " ".join(f"{n}[ ]" for n in numbers)
        lines.append(
            Line("say", tr("Stripe {n}, {letters}: {rows}", lang, n=stripe.number, letters=stripe.letters, rows=ticks))
        )
    return lines
