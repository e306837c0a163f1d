"""Steps in words: one row as a line that a maker can work from.

A row says what its own steps do: where the turning chain stands, where the first stitch goes, and that the last one
goes into the chain turned with below.

US and UK names of the same stitches. Inside the package names are US; UK names are for reading.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from blendplan.fabric.rows import STITCH_KINDS, Part, Row, Step, kinds, tops
from blendplan.fabric.shapes import merge
from blendplan.units import choice
from blendplan.wording import Notice, note

TERMS = ("US", "UK")
# US to UK (trade facts, section 7, read Nov 2026: two public pages and a booklet's glossary agree).
UK = {"ch": "ch", "sl st": "ss", "sc": "dc", "hdc": "htr", "dc": "tr", "tr": "dtr"}
# Languages with names of their own, in which US and UK make no difference (common practice, no source: German).
OWN = {"de": {"ch": "Lm", "sl st": "Km", "sc": "fM", "hdc": "hStb", "dc": "Stb", "tr": "DStb"}}


def abbreviation(stitch: str, terms: str, lang: str = "en") -> str:
    """Return the abbreviation of a stitch (US name) in a system of terms, or in a language with its own.

    >>> abbreviation("dc", "UK"), abbreviation("sc", "UK"), abbreviation("dc", "US")
    ('tr', 'dc', 'dc')
    """
    if lang in OWN:
        return OWN[lang][stitch]
    return UK[stitch] if choice(terms, "terms", TERMS) == "UK" else stitch


def skip_word(terms: str, lang: str = "en") -> str:
    """Return `skip` or `miss`, or the word of a language with terms of its own."""
    return (note("miss") if terms == "UK" else note("skip")).say(lang)


_NAMES_US = {
    "ch": note("{short} = chain", short="ch"),
    "sl st": note("{short} = slip stitch", short="sl st"),
    "sc": note("{short} = single crochet", short="sc"),
    "hdc": note("{short} = half double crochet", short="hdc"),
    "dc": note("{short} = double crochet", short="dc"),
    "tr": note("{short} = treble crochet", short="tr"),
}
_NAMES_UK = {
    "ch": note("{short} = chain", short="ch"),
    "sl st": note("{short} = slip stitch", short="ss"),
    "sc": note("{short} = double crochet", short="dc"),
    "hdc": note("{short} = half treble", short="htr"),
    "dc": note("{short} = treble", short="tr"),
    "tr": note("{short} = double treble", short="dtr"),
}


# Other signs of the rows and the words that explain them, shown where a row or note uses them; by language.
_SIGNS = {
    "en": {
        r"\bsts?\b": note("st, sts = stitch, stitches"),
        r"\bsps?\b": note("sp, sps = space, spaces"),
        r"\brep\b": note("rep = repeat"),
        r"\bBLO\b": note("BLO = back loop only"),
    },
    "de": {
        r"\bM\b": note("st, sts = stitch, stitches"),
        r"\bBogen\b": note("sp, sps = space, spaces"),
        r"\bwdh\b": note("rep = repeat"),
        r"\bhMg\b": note("BLO = back loop only"),
    },
}
_MARKS = {
    r"\((?:[^()]*, )*ch \d|\([^()]*\d Lm": note("( ) before a place: all of it goes into that stitch or space"),
    r"\]": note("[ ] with a number behind: work it that many times"),
    r"\*": note("* marks where a repeat begins"),
}


def _told(word: str, text: str) -> bool:
    """Tell whether a text uses an abbreviation."""
    return re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", text) is not None


def key(steps: Sequence[Step], text: str, terms: str, lang: str = "en") -> tuple[Notice, ...]:
    """Return one sentence for each abbreviation and sign that rows use: their steps, and rows and notes in words."""
    names = _NAMES_UK if choice(terms, "terms", TERMS) == "UK" else _NAMES_US
    if lang in OWN:
        names = {us: Notice(template=n.template, values=(("short", OWN[lang][us]),)) for us, n in _NAMES_US.items()}
    turned = {step.stitch for step in steps if step.kind == "turn" and step.stands}
    used = {kind for step in steps for kind in step.tally if kind != "tch"} | turned | {"ch"}
    out = [names[kind] for kind in UK if kind in used or _told(abbreviation(kind, terms, lang), text)]
    for size, us in ((n, us) for us in UK for n in (2, 3)):
        word = abbreviation(us, terms, lang)
        if _told(f"{word}{size}tog", text):
            together = note(
                "{short} = {count} {stitch} worked together as one", short=f"{word}{size}tog", count=size, stitch=word
            )
            out.append(together)
    signs = _SIGNS.get(lang, _SIGNS["en"])
    out += [said for sign, said in (signs | _MARKS).items() if re.search(sign, text)]
    return tuple(out)


def row_words(
    row: Row, *, into: str = "st", top: int = 0, hook: bool = False, terms: str = "US", lang: str = "en"
) -> str:
    """Return the words of a row, without its number and count.

    It is worked into stitches (`st`), or into the chains of the foundation (`ch`). `top` is the chains of the turning
    chain below whose top takes the last stitch; 0 where a stitch takes it. With `hook` its own turning chain is the
    chains skipped from the hook, as in the first row.
    """
    pieces = []
    for text, times in row_parts(row, into=into, top=top, hook=hook, terms=terms, lang=lang):
        if times == 2:
            pieces.append(note("*{text}; rep from * once more", text=text).say(lang))
        elif times > 2:
            pieces.append(note("*{text}; rep from * {more} more times", text=text, more=times - 1).say(lang))
        else:
            pieces.append(text)
    return ", ".join(pieces)


def row_parts(
    row: Row, *, into: str = "st", top: int = 0, hook: bool = False, terms: str = "US", lang: str = "en"
) -> tuple[tuple[str, int], ...]:
    """Return a row as `row_words` tells it, part by part: its words, and how often it is worked."""
    words = _Words(into=into, hook=hook, terms=terms, lang=lang)
    out = []
    parts = _parts(row, top)
    for i, part in enumerate(parts):
        last = i == len(parts) - 1 and part.times == 1
        steps = words.start(part, last=last, top=top) if i == 0 else words.run(part.steps, last=last, top=top)
        out.append((", ".join(steps), part.times))
    return tuple(told for told in out if told[0])


def _parts(row: Row, top: int) -> tuple[Part, ...]:
    """Return the parts as they are told: the last repeat written out where its last stitch needs words of its own."""
    *others, last = row.parts
    if last.times > 1 and top:
        others, last = [*others, replace(last, times=last.times - 1)], replace(last, times=1)
    out: list[Part] = []
    for part in (*others, last):
        if out and part.times == out[-1].times == 1:
            out[-1] = Part(steps=merge((*out[-1].steps, *part.steps)))
        else:
            out.append(part)
    return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Words:
    """The settings that every phrase of a row shares."""

    into: str
    hook: bool
    terms: str
    lang: str

    def say(self, notice: Notice) -> str:
        return notice.say(self.lang)

    def short(self, stitch: str) -> str:
        return abbreviation(stitch, self.terms, self.lang)

    def places(self, count: int) -> str:
        if self.into == "ch":
            return self.say(note("next ch") if count == 1 else note("next {n} ch", n=count))
        return self.say(note("next st") if count == 1 else note("next {n} sts", n=count))

    def first_places(self, count: int) -> str:
        if self.into == "ch":
            return self.say(note("first ch") if count == 1 else note("first {n} ch", n=count))
        return self.say(note("first st") if count == 1 else note("first {n} sts", n=count))

    def put(self, stitches: str, places: str) -> str:
        return self.say(note("{stitches} in {places}", stitches=stitches, places=places))

    def skip(self, places: str) -> str:
        return self.say(note("{skip} {places}", skip=skip_word(self.terms, self.lang), places=places))

    def run(self, steps: Sequence[Step], *, last: bool, top: int) -> list[str]:
        """Return the phrases of steps; the last one, where it ends the row, says where it goes."""
        out = []
        rest = list(steps)
        end = rest.pop() if last and rest and (top or rest[-1].taken == 1) else None
        if end is not None and end.kind == "each" and end.count > 1:
            rest.append(replace(end, count=end.count - 1))
            end = replace(end, count=1)
        for step, run in groupby(rest):
            times = len(list(run))
            out.append(self.several(step, times) if times > 1 else self.step(step, self.places(step.taken)))
        if end is not None:
            out.append(self.step(end, self.last_places(end.taken, top)))
        return out

    def last_places(self, count: int, top: int) -> str:
        if not top:
            return self.say(note("last ch") if self.into == "ch" else note("last st"))
        above = note("the top of the chain {n}", n=top)
        if count == 1:
            return self.say(above)
        return self.say(note("{places} and {top}", places=self.places(count - 1), top=above))

    def several(self, step: Step, times: int) -> str:
        if step.kind == "group" and step.taken == 1 and not step.into_space:
            return self.say(
                note("{stitches} in each of {places}", stitches=self.group(step), places=self.places(times))
            )
        text = self.step(step, self.places(step.taken))
        return self.say(note("[{text}] {times} times", text=text, times=times))

    def step(self, step: Step, places: str) -> str:
        if step.kind == "skip":
            return self.skip(places)
        if step.kind == "chain":
            return self.say(note("ch {n}", n=step.count))
        if step.kind == "together":
            word = f"{self.short(step.stitch)}{step.count}tog"
            return self.say(note("{stitches} over {places}", stitches=word, places=places))
        word = self.short(step.stitch) if step.kind == "each" else self.group(step)
        if step.into_space:
            return self.say(note("{stitches} in the ch-{n} space", stitches=word, n=step.takes))
        return self.put(word, places)

    def group(self, step: Step) -> str:
        """Return `3 dc`, or `(dc, ch 2, dc)` where chains are among them."""
        words = [
            self.say(note("ch {n}", n=n)) if kind == "ch" else self.short(kind) if n == 1 else f"{n} {self.short(kind)}"
            for kind, n in kinds(step.stitches)
        ]
        return words[0] if len(words) == 1 else f"({', '.join(words)})"

    def start(self, part: Part, *, last: bool, top: int) -> list[str]:
        """Return the phrases of the part that begins with the turning chain."""
        turn, *rest = part.steps
        if turn.kind != "turn":
            return self.run(part.steps, last=last, top=top)
        first = rest[0] if rest else None
        own = self.hook or not (turn.takes and turn.stands)
        if own and first is not None and first.kind == "each" and first.count > 1:
            rest[0:1] = [replace(first, count=1), replace(first, count=first.count - 1)]
            first = rest[0]
        begin = self.from_hook(turn, first) if self.hook else self.turned(turn, first)
        done = int(first is not None and first.kind in ("each", "group") and not first.into_space)
        if not self.hook and turn.takes and turn.stands:
            done = 0
        if first is not None and first.kind == "skip" and not self.hook:
            done = 1
        # What was worked first and what follows it alike are told as one where nothing hangs on the first.
        if not self.hook and not turn.stands and not turn.takes and done and len(rest) > 1:
            again = rest[1]
            if again.kind == "each" and first is not None and again.stitch == first.stitch and first.kind == "each":
                begin = [begin[0], self.put(self.short(first.stitch), self.first_places(1 + again.count))]
                done = 2
        return [*begin, *self.run(rest[done:], last=last, top=top)]

    def counts_as(self, turn: Step, first: Step | None) -> Notice:
        """Return what a turning chain stands for, as it is put in brackets."""
        if turn.stands:
            return note("counts as {stitch}", stitch=self.short(turn.stitch))
        if turn.takes and first is not None:
            return note("counts as {stitch}", stitch=f"{self.short(first.stitch)}2tog")
        return note("does not count as a stitch")

    def turned(self, turn: Step, first: Step | None) -> list[str]:
        """Return the beginning of a row after the first."""
        counts, chain = self.counts_as(turn, first), note("ch {n}", n=turn.count)
        skip = self.skip(self.first_places(1))
        if first is None or first.kind not in ("each", "group") or first.into_space:
            out = self.say(note("{chain} ({counts})", chain=chain, counts=counts))
            left = turn.takes + (first.count if first is not None and first.kind == "skip" else 0)
            return [out, self.skip(self.first_places(left))] if left else [out]
        word = self.short(first.stitch) if first.kind == "each" else self.group(first)
        if turn.takes and not turn.stands:
            told = note("{what} ({counts})", what=self.put(word, self.places(1)), counts=counts)
            return [self.say(chain), skip, self.say(told)]
        begin = self.say(note("{chain} ({counts})", chain=chain, counts=counts))
        if turn.takes:
            return [begin, skip]
        same = note("same ch") if self.into == "ch" else note("same st")
        return [begin, self.put(word, self.say(same) if turn.stands else self.first_places(1))]

    def from_hook(self, turn: Step, first: Step | None) -> list[str]:
        """Return the beginning of the first row, its turning chain being chains skipped from the hook."""
        n, counts = turn.count, self.counts_as(turn, first)
        if first is None or first.kind not in ("each", "group") or first.into_space:
            skip = skip_word(self.terms, self.lang)
            told = note("{skip} {places} ({counts})", skip=skip, places=self.first_places(n), counts=counts)
            return [self.say(told)]
        nth = {1: note("2nd"), 2: note("3rd")}.get(n, note("{n}th", n=n + 1))
        word = self.short(first.stitch) if first.kind == "each" else self.group(first)
        begin = note("{stitches} in {nth} ch from hook", stitches=word, nth=nth)
        if turn.stands:
            said = (
                note("{begin} (skipped chain counts as {stitch})", begin=begin, stitch=self.short(turn.stitch))
                if n == 1
                else note("{begin} (skipped chains count as {stitch})", begin=begin, stitch=self.short(turn.stitch))
            )
        elif turn.takes:
            both = f"{self.short(first.stitch)}2tog"
            said = note("{begin} (with the skipped chains counts as {stitch})", begin=begin, stitch=both)
        else:
            said = (
                note("{begin} (skipped chain does not count)", begin=begin)
                if n == 1
                else note("{begin} (skipped chains do not count)", begin=begin)
            )
        return [self.say(said)]


def stitch_words(steps: Sequence[Step], terms: str, lang: str = "en") -> str:
    """Return what steps leave, in order: `7 dc, ch 2, 7 dc`, or `7 dc, 3 dc in one, 7 dc`."""
    out: list[tuple[str, int, bool]] = []
    for step in steps:
        alone = step.kind == "group" and "ch" not in step.stitches
        for kind, n in tops([step]):
            if out and not alone and not out[-1][2] and out[-1][0] == kind and not kind.startswith("ch"):
                out[-1] = (kind, out[-1][1] + n, False)
            else:
                out.append((kind, n, alone))
    words = []
    for kind, n, alone in out:
        if kind.startswith("ch"):
            words.append(note("ch {n}", n=int(kind[2:])).say(lang))
        elif alone:
            words.append(note("{n} {stitch} in one", n=n, stitch=abbreviation(kind, terms, lang)).say(lang))
        else:
            words.append(f"{n} {abbreviation(kind, terms, lang)}")
    return ", ".join(words)


def count_words(row: Row, terms: str, lang: str = "en") -> str:
    """Return what a row has as a maker counts it: `114 dc, 7 ch-2 sps`."""
    found: Counter[str] = Counter()
    for part in row.parts:
        for kind, n in tops(part.steps):
            found[kind] += n * part.times
    words = [
        f"{found[kind]} {abbreviation(kind, terms, lang)}" for kind in STITCH_KINDS if found[kind] and kind != "ch"
    ]
    for kind, n in sorted(found.items()):
        if kind.startswith("ch"):
            size = int(kind[2:])
            said = note("1 ch-{size} sp", size=size) if n == 1 else note("{n} ch-{size} sps", n=n, size=size)
            words.append(said.say(lang))
    return ", ".join(words)
