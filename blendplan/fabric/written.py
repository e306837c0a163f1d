"""Written rows: foundation, first row, repeat row, stripes and changes, finishing; and a list to tick off.

Every number comes from the worked rows; `reading.read_rows` reads the text back.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from blendplan.fabric.finish import Border, border_rounds, level_row
from blendplan.fabric.gauge import Gauge
from blendplan.fabric.phrases import row_words
from blendplan.fabric.ripple import Ripple, Worked
from blendplan.fabric.rows import Step
from blendplan.fabric.size import measure
from blendplan.fabric.terms import OWN, TERMS, abbreviation, key
from blendplan.stripes.model import Change, Stripe, changes, total_rows
from blendplan.units import CM_PER_INCH, choice
from blendplan.wording import note, rounded

__all__ = ["CounterRow", "Section", "WrittenRows", "counter_rows", "write_rows"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading and its lines."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterRow:
    """One row to tick off.

    Attributes
    ----------
    number : int
        From 1.
    stripe : int
        From 1.
    strands : tuple of str
    like : int
        Number of the written row that it is worked as.
    stitches : int
    change : Change or None
        What is cut and joined in its last stitch, before the next stripe.
    """

    number: int
    stripe: int
    strands: tuple[str, ...]
    like: int
    stitches: int
    change: Change | None = None

    def say(self, lang: str = "en") -> str:
        """Return the row as one line."""
        held = " + ".join(self.strands)
        text = note(
            "Row {number}: stripe {stripe}, {strands}, as row {like}, {stitches} sts",
            number=self.number,
            stripe=self.stripe,
            strands=held,
            like=self.like,
            stitches=self.stitches,
        ).say(lang)
        if self.change is None:
            return text
        return note("{row}; in its last stitch {change}", row=text, change=change_words(self.change, lang)).say(lang)


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenRows:
    """Everything to work from.

    Attributes
    ----------
    terms : {"US", "UK"}
    sections : tuple of Section
    counter : tuple of CounterRow
    """

    terms: str
    sections: tuple[Section, ...]
    counter: tuple[CounterRow, ...]

    def text(self) -> str:
        """Return all sections as plain text, a blank line between them."""
        return "\n\n".join("\n".join((s.title, *s.lines)) for s in self.sections) + "\n"


def change_words(change: Change, lang: str = "en") -> str:
    """Return which strands are cut, kept and joined, as part of a sentence."""
    stay = Counter(change.kept)
    parts = []
    gone = [name for name in change.cut if name not in stay]
    if gone:
        parts.append(note("cut {names}", names=_list(gone)))
    for name, n in Counter(name for name in change.cut if name in stay).items():
        parts.append(
            note("cut one strand of {name}", name=name) if n == 1 else note("cut {n} strands of {name}", n=n, name=name)
        )
    if len(change.cut) == 1 and change.cut == change.kept:
        parts.append(note("keep the other"))
    elif change.kept:
        parts.append(note("keep {names}", names=_list(change.kept)))
    # A strand beside others of its colour says which it is, so that nobody takes it for a change of colour.
    for name, n in Counter(name for name in change.join if name in stay).items():
        if n > 1:
            parts.append(note("join {n} more strands of {name}", n=n, name=name))
        elif stay[name] == 1:
            parts.append(note("join a second strand of {name}", name=name))
        elif stay[name] == 2:
            parts.append(note("join a third strand of {name}", name=name))
        else:
            parts.append(note("join a fourth strand of {name}", name=name))
    new = [name for name in change.join if name not in stay]
    if new:
        parts.append(note("join {names}", names=_list(new)))
    return ", ".join(part.say(lang) for part in parts)


def _list(names: Sequence[str]) -> str:
    """Return names with how often, such as `2 x Fern`."""
    return ", ".join(name if n == 1 else f"{n} x {name}" for name, n in Counter(names).items())


def counter_rows(worked: Worked, stripes: Sequence[Stripe]) -> tuple[CounterRow, ...]:
    """Return one line for each row of the blanket."""
    borders = (*changes(stripes), None)
    made = [row.made for row in worked.rows]
    out, number = [], 0
    for at, stripe in enumerate(stripes):
        for i in range(stripe.rows):
            number += 1
            out.append(
                CounterRow(
                    number=number,
                    stripe=at + 1,
                    strands=stripe.strands,
                    like=worked.kind_at(number),
                    stitches=made[worked.kind_at(number) - 1],
                    change=borders[at] if i == stripe.rows - 1 else None,
                )
            )
    return tuple(out)


def write_rows(
    ripple: Ripple,
    worked: Worked,
    stripes: Sequence[Stripe],
    *,
    terms: str = "US",
    lang: str = "en",
    gauge: Gauge | None = None,
    border: Border | None = None,
    straighten: bool = False,
) -> WrittenRows:
    """Return the rows in words.

    Parameters
    ----------
    ripple, worked : Ripple, Worked
    stripes : sequence of Stripe
        May be empty: then only the rows themselves are written.
    terms : {"US", "UK"}
        Said at the top.
    lang : str
        Language of the sentences and, where it has its own, of the abbreviations.
    gauge : Gauge, optional
        With it the foundation is told in centimetres and inches, flat and finished; needed for a border.
    border : Border, optional
    straighten : bool
        Rows that make both ends straight (needs a gauge).
    """
    choice(terms, "terms", TERMS)
    straight = gauge is not None and straighten
    levels = [level_row(worked, gauge, end).row for end in ("top", "bottom")] if gauge is not None and straight else []
    steps = [step for row in (*worked.rows, *levels) for part in row.parts for step in part.steps]
    signs = [n.say(lang) for n in key(steps, terms, lang)]
    sections = [
        Section(
            title=note("Before you begin").say(lang),
            lines=(_terms(terms, lang), *_notes(ripple, lang)),
        ),
        Section(title=note("Abbreviations").say(lang), lines=tuple(signs)),
        Section(title=note("Rows").say(lang), lines=tuple(_rows(worked, total_rows(stripes), terms, lang, gauge))),
    ]
    if stripes:
        sections.append(Section(title=note("Stripes").say(lang), lines=tuple(_stripes(stripes, lang))))
    finishing = _finishing(worked, stripes, terms, lang, gauge=gauge, border=border, straighten=straighten)
    sections.append(Section(title=note("Finishing").say(lang), lines=tuple(finishing)))
    return WrittenRows(terms=terms, sections=tuple(sections), counter=counter_rows(worked, stripes) if stripes else ())


def _terms(terms: str, lang: str) -> str:
    if lang in OWN:
        return note("Terms: the names of stitches of this language throughout.").say(lang)
    return note("Terms: {terms} names of stitches throughout.", terms=terms).say(lang)


def _notes(ripple: Ripple, lang: str) -> list[str]:
    out = [note("Hold all strands together as one and pull them evenly.")]
    if ripple.loops == "back":
        out.append(note("Work every stitch through the back loop only (BLO); chain spaces are worked as usual."))
    out.append(
        note("The turning chain counts as a stitch: the last stitch of the next row goes into its top.")
        if ripple.turn_counts
        else note("The turning chain does not count as a stitch; leave it unworked.")
    )
    out.append(note("Left-handed: words and counts stay the same, rows run the other way; read diagrams in a mirror."))
    return [n.say(lang) for n in out]


def _rows(worked: Worked, total: int, terms: str, lang: str, gauge: Gauge | None) -> list[str]:
    ripple = worked.ripple
    out = [note("Foundation: ch {chain}.", chain=worked.chain).say(lang)]
    width = {"multiple": worked.multiple, "plus": _plus(worked.plus, lang)}
    out.append(
        (
            note("For another width: a multiple of {multiple} chains, {plus}; here 1 repeat.", **width)
            if ripple.repeats == 1
            else note(
                "For another width: a multiple of {multiple} chains, {plus}; here {repeats} repeats.",
                **width,
                repeats=ripple.repeats,
            )
        ).say(lang)
    )
    if gauge is not None:
        size = measure(worked, gauge, 0)
        out.append(
            note(
                "The chain laid straight is about {flat} cm ({flat_in} in); worked, it draws in to about {done} cm "
                "({done_in} in).",
                flat=round(size.chain_flat_cm),
                flat_in=round(size.chain_flat_cm / float(CM_PER_INCH)),
                done=round(size.width_cm),
                done_in=round(size.width_cm / float(CM_PER_INCH)),
            ).say(lang)
        )
    for i, row in enumerate(worked.rows):
        stitch = "sc" if row.name == "setup" else _turn_stitch(ripple, row.parts[0].steps)
        body = row_words(row, first=i == 0, stitch=stitch, terms=terms, lang=lang)
        out.append(
            note("Row {number}: {body}, turn. \u2014 {stitches} sts", number=i + 1, body=body, stitches=row.made).say(
                lang
            )
        )
    written, again = len(worked.rows), worked.lead + 1
    if total > written:
        said = (
            note("Rows {first} to {last}: as row {again}.", first=written + 1, last=total, again=again)
            if written == again
            else note(
                "Rows {first} to {last}: rows {again} and {other} in turn.",
                first=written + 1,
                last=total,
                again=again,
                other=written,
            )
        )
        out.append(said.say(lang))
    return out


def _plus(plus: int, lang: str) -> str:
    return note("plus {n}", n=plus).say(lang) if plus >= 0 else note("less {n}", n=-plus).say(lang)


def _turn_stitch(ripple: Ripple, steps: Sequence[Step]) -> str:
    """Return the stitch that a turning chain stands for; in rows of mixed heights it is the tallest."""
    return "tr" if ripple.kind == "heights" and steps[0].stands else ripple.stitch


def _stripes(stripes: Sequence[Stripe], lang: str) -> list[str]:
    out, start = [], 1
    borders = changes(stripes)
    for i, stripe in enumerate(stripes):
        end = start + stripe.rows - 1
        rows = (
            note("row {n}", n=start).say(lang)
            if stripe.rows == 1
            else note("rows {n} to {m}", n=start, m=end).say(lang)
        )
        out.append(
            note("Stripe {number} ({rows}): {strands}.", number=i + 1, rows=rows, strands=_list(stripe.strands)).say(
                lang
            )
        )
        if i < len(borders):
            out.append(
                note(
                    "  In the last stitch of row {row}, before its last pull through: {change}.",
                    row=end,
                    change=change_words(borders[i], lang),
                ).say(lang)
            )
        start = end + 1
    return out


def _finishing(
    worked: Worked,
    stripes: Sequence[Stripe],
    terms: str,
    lang: str,
    *,
    gauge: Gauge | None,
    border: Border | None,
    straighten: bool,
) -> list[str]:
    out = [note("After the last row cut the strands, draw them through, and leave tails of about 15 cm (6 in).")]
    out.append(note("Weave every tail along its row and turn back at least once."))
    text = [n.say(lang) for n in out]
    if gauge is not None and straighten:
        for end, title in (
            ("top", note("Straight top, once across the last row")),
            ("bottom", note("Straight bottom, once along the other side of the foundation")),
        ):
            level = level_row(worked, gauge, end)
            words = row_words(level.row, first=False, stitch="sc", terms=terms, lang=lang)
            text.append(
                note(
                    "{title}: {body}. \u2014 {stitches} sts; it leaves up to {left} cm of the wave.",
                    title=title.say(lang),
                    body=words,
                    stitches=level.row.made,
                    left=rounded(level.left_cm, 1),
                ).say(lang)
            )
    if gauge is not None and border is not None:
        counts = border_rounds(worked, gauge, max(1, total_rows(stripes)), border, straight=straighten)
        text.append(
            note(
                "Border: {stitch} all around with {strands}, 3 in each corner; in a wavy end 3 in each point and 2 "
                "left out in each hollow.",
                stitch=abbreviation(border.stitch, terms, lang),
                strands=_list(border.strands) or note("the last strands").say(lang),
            ).say(lang)
        )
        text += [
            note("Border round {number}: about {stitches} sts.", number=i + 1, stitches=n).say(lang)
            for i, n in enumerate(counts)
        ]
    return text
