"""Steps in words: one row as a line that a maker can work from."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from blendplan.fabric.rows import Part, Row, Step
from blendplan.fabric.terms import abbreviation, skip_word
from blendplan.wording import note

__all__ = ["row_words"]


def row_words(row: Row, *, first: bool, stitch: str, terms: str, lang: str = "en") -> str:
    """Return the words of a row, without its number and count.

    Parameters
    ----------
    row : Row
    first : bool
        True where it is worked into the foundation chain.
    stitch : str
        US name of the stitch that a turning chain stands for.
    terms : {"US", "UK"}
    lang : str

    Notes
    -----
    In the first row the turning chain is the chains that are skipped; a stitch is then worked into each chain in
    turn, so no ordinal is needed.
    """
    words = _Words(first, stitch, terms, lang)
    pieces = []
    last = len(row.parts) - 1
    for i, part in enumerate(row.parts):
        text = words.part(part, end=i == last)
        if part.times > 1:
            text = (
                note("*{text}; rep from * once more", text=text).say(lang)
                if part.times == 2
                else note("*{text}; rep from * {more} more times", text=text, more=part.times - 1).say(lang)
            )
        pieces.append(text)
    return ", ".join(pieces)


class _Words:
    """The settings that every phrase of a row shares."""

    def __init__(self, first: bool, stitch: str, terms: str, lang: str) -> None:
        self.first, self.stitch, self.terms, self.lang = first, stitch, terms, lang

    def short(self, stitch: str) -> str:
        return abbreviation(stitch, self.terms, self.lang)

    def places(self, count: int) -> str:
        if self.first:
            return note("next ch").say(self.lang) if count == 1 else note("next {n} ch", n=count).say(self.lang)
        return note("next st").say(self.lang) if count == 1 else note("next {n} sts", n=count).say(self.lang)

    def part(self, part: Part, *, end: bool) -> str:
        out: list[str] = []
        steps: Sequence[Step] = part.steps
        at = 0
        for step, run in groupby(steps):
            times = len(list(run))
            last = end and at + times == len(steps)
            shares = at > 0 and steps[at - 1].kind == "turn" and steps[at - 1].stands and steps[at - 1].takes == 0
            text = self.step(step, shares=shares and not self.first, last=last and times == 1)
            out.append(note("[{text}] {times} times", text=text, times=times).say(self.lang) if times > 1 else text)
            at += times
        return ", ".join(out)

    def step(self, step: Step, *, shares: bool, last: bool) -> str:
        say = self.lang
        if step.kind == "turn":
            return self.turn(step)
        if step.kind == "skip":
            places = self.places(step.count)
            return note("{skip} {places}", skip=skip_word(self.terms, self.lang), places=places).say(say)
        if step.kind == "chain":
            return note("ch {n}", n=step.count).say(say)
        if step.kind == "together":
            word = f"{self.short(step.stitch)}{step.count}tog"
            return note("{stitches} over {places}", stitches=word, places=self.places(step.count)).say(say)
        if step.kind == "each":
            if shares:
                return note("{stitches} in same st", stitches=self.short(step.stitch)).say(say)
            word = self.short(step.stitch)
        else:
            word = self.group(step)
        if step.into_space:
            return note("{stitches} in next ch-{n} sp", stitches=word, n=step.takes).say(say)
        if last and step.taken == 1:
            place = note("last ch").say(say) if self.first else note("last st").say(say)
        else:
            place = self.places(step.taken)
        return note("{stitches} in {places}", stitches=word, places=place).say(say)

    def group(self, step: Step) -> str:
        """Return `3 dc`, or `(dc, ch 2, dc)` where chains are among them."""
        runs = [(kind, len(list(run))) for kind, run in groupby(step.stitches)]
        if len(runs) == 1:
            kind, count = runs[0]
            return self.short(kind) if count == 1 else f"{count} {self.short(kind)}"
        inner = [
            note("ch {n}", n=n).say(self.lang)
            if kind == "ch"
            else f"{n} {self.short(kind)}"
            if n > 1
            else self.short(kind)
            for kind, n in runs
        ]
        return f"({', '.join(inner)})"

    def turn(self, step: Step) -> str:
        word, say = self.short(self.stitch), self.lang
        skip = skip_word(self.terms, self.lang)
        if step.count == 1:
            return self.turn_of_one(step)
        if self.first:
            if step.stands:
                return note("{skip} first {n} ch (counts as 1 {stitch})", skip=skip, n=step.count, stitch=word).say(say)
            if step.takes:
                return note("{skip} first {n} ch (counts as the first leg)", skip=skip, n=step.count).say(say)
            return note("{skip} first {n} ch (does not count)", skip=skip, n=step.count).say(say)
        if step.stands and step.takes:
            return note("ch {n} (counts as 1 {stitch}), {skip} first st", n=step.count, stitch=word, skip=skip).say(say)
        if step.stands:
            return note("ch {n} (counts as 1 {stitch})", n=step.count, stitch=word).say(say)
        if step.takes:
            return note("ch {n} (counts as the first leg), {skip} first st", n=step.count, skip=skip).say(say)
        return note("ch {n} (does not count)", n=step.count).say(say)

    def turn_of_one(self, step: Step) -> str:
        """Return the words for a single turning chain."""
        word, say = self.short(self.stitch), self.lang
        skip = skip_word(self.terms, self.lang)
        if self.first:
            if step.stands:
                return note("{skip} first ch (counts as 1 {stitch})", skip=skip, stitch=word).say(say)
            if step.takes:
                return note("{skip} first ch (counts as the first leg)", skip=skip).say(say)
            return note("{skip} first ch (does not count)", skip=skip).say(say)
        if step.stands and step.takes:
            return note("ch 1 (counts as 1 {stitch}), {skip} first st", stitch=word, skip=skip).say(say)
        if step.stands:
            return note("ch 1 (counts as 1 {stitch})", stitch=word).say(say)
        if step.takes:
            return note("ch 1 (counts as the first leg), {skip} first st", skip=skip).say(say)
        return note("ch 1 (does not count)").say(say)
