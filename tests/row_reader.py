"""A maker who reads: works a written pattern stitch by stitch and counts, knowing nothing of the package.

She takes the words as the trade does (trade facts, section 7, read Nov 2026): `*...; rep from *`, `[...] n times`,
`(...)` in one place, a count behind a dash, a turning chain that counts or does not, its top as the last stitch of the
next row, strands changed in the last pull through.
Whatever does not fit stops her with `Stuck`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

US = {"sl st": "sl st", "sc": "sc", "hdc": "hdc", "dc": "dc", "tr": "tr"}
UK = {"ss": "sl st", "dc": "sc", "htr": "hdc", "tr": "dc", "dtr": "tr"}
NTH = {"2nd": 2, "3rd": 3} | {f"{n}th": n for n in range(4, 12)}


class Stuck(AssertionError):
    """The words cannot be worked as they stand."""


@dataclass(frozen=True)
class Place:
    """One place for the row above: a stitch, a chain space of some chains, or the top of a turning chain."""

    kind: str
    chains: int = 0
    group: tuple[int, int] = (1, 0)


@dataclass
class Hands:
    """A row in work: the places below, how far along them, the places made, and where stitches were left out."""

    terms: str
    below: Sequence[Place]
    first: bool = False
    at: int = 0
    made: list[Place] = field(default_factory=list)
    valleys: list[int] = field(default_factory=list)

    def us(self, name: str) -> str:
        table = UK if self.terms == "UK" else US
        if name not in table:
            raise Stuck(f"{name} is no stitch of {self.terms} terms")
        return table[name]

    def take(self, count: int, *, space: int = 0, top: int = 0) -> list[Place]:
        met = list(self.below[self.at : self.at + count])
        if len(met) < count:
            raise Stuck(f"{count} places are asked for and {len(met)} are there")
        for i, place in enumerate(met):
            last = i == count - 1
            if space and (place.kind, place.chains) != ("space", space):
                raise Stuck(f"a ch-{space} space is asked for, {place} is there")
            if not space and place.kind == "space":
                raise Stuck("a stitch is asked for and a chain space is there")
            if top and last and (place.kind != "tch" or place.chains != top):
                raise Stuck(f"the top of a chain {top} is asked for, {place} is there")
            if not top and place.kind == "tch" and not self.first:
                raise Stuck("the last stitch goes into the top of a turning chain, and the words do not say so")
        self.at += count
        return met

    # ---- phrases

    def do(self, phrase: str) -> None:
        for pattern, act in PHRASES:
            if found := re.fullmatch(pattern, phrase):
                act(self, found)
                return
        raise Stuck(f"not understood: {phrase!r}")

    def stitches(self, text: str) -> list[Place]:
        """`dc`, `3 dc`, `(dc, ch 2, dc)`."""
        parts = split(text[1:-1]) if text.startswith("(") else [text]
        out: list[Place] = []
        for part in parts:
            if found := re.fullmatch(r"ch (\d+)", part):
                out.append(Place("space", int(found[1])))
                continue
            count, name = re.fullmatch(r"(?:(\d+) )?([a-z ]+)", part).groups()  # type: ignore[union-attr]
            out += [Place(self.us(name))] * int(count or 1)
        if len(parts) == 1 and len(out) > 1:
            return [Place(p.kind, 0, (len(out), i)) for i, p in enumerate(out)]
        return out

    def worked(self, text: str, met: Sequence[Place], *, together: bool = True) -> None:
        """Work stitches in places: as many in each."""
        for place in met:
            new = self.stitches(text)
            # Three in one go into the middle one of three below, or the peaks drift.
            pointed = any(p.group[0] == 3 for p in self.below)
            if pointed and len(new) == 3 and all(p.kind != "space" for p in new) and place.group != (3, 1):
                raise Stuck("three in one are not over the middle one of three")
            self.made += new

    def leave_out(self) -> None:
        self.valleys.append(len(self.made))


def _where(hands: Hands, text: str) -> list[Place]:
    """`next 7 sts`, `the ch-2 space`, `last st`, `the top of the chain 3`, `next st and the top of the chain 3`."""
    thing = "ch" if hands.first else "st"
    if found := re.fullmatch(r"the ch-(\d) space", text):
        return hands.take(1, space=int(found[1]))
    if found := re.fullmatch(r"the top of the chain (\d)", text):
        met = hands.take(1, top=int(found[1]))
    elif found := re.fullmatch(r"next(?: (\d+))? (?:sts?) and the top of the chain (\d)", text):
        met = hands.take(int(found[1] or 1) + 1, top=int(found[2]))
    elif found := re.fullmatch(rf"first(?: (\d+))? {thing}s?", text):
        if hands.at:
            raise Stuck("a first stitch is asked for in the middle of the row")
        return hands.take(int(found[1] or 1))
    elif found := re.fullmatch(rf"last {thing}", text):
        met = hands.take(1)
    elif found := re.fullmatch(rf"next(?: (\d+))? {thing}s?", text):
        return hands.take(int(found[1] or 1))
    else:
        raise Stuck(f"where is {text!r}?")
    if hands.at != len(hands.below):
        raise Stuck(f"{text} is not the last")
    return met


def _from_hook(hands: Hands, found: re.Match[str]) -> None:
    skipped = NTH[found[2]] - 1
    hands.take(skipped)
    hands.take(1)
    new = hands.stitches(found[1])
    said = found[3]
    if leg := re.fullmatch(r"with the skipped chains counts as (\w+)2tog", said):
        hands.made.append(Place(hands.us(leg[1])))
        hands.leave_out()
        return
    if counts := re.fullmatch(r"skipped chains? counts? as (\w+)", said):
        hands.made.append(Place("tch", skipped, (1, 0)))
        hands.us(counts[1])
    elif not re.fullmatch(r"skipped chain does not count|skipped chains do not count", said):
        raise Stuck(said)
    hands.made += new


def _turn(hands: Hands, found: re.Match[str]) -> None:
    if hands.made or hands.at:
        raise Stuck("a turning chain stands in the middle of a row")
    if found[2] != "does not count as a stitch":
        hands.us(re.fullmatch(r"counts as (\w+)", found[2])[1])  # type: ignore[index]
        hands.made.append(Place("tch", int(found[1])))


def _chain(hands: Hands, found: re.Match[str]) -> None:
    if hands.made:
        hands.made.append(Place("space", int(found[1])))
    # A chain at the beginning that nothing is said of is told of by what follows it.


def _skip(hands: Hands, found: re.Match[str]) -> None:
    edge = not hands.at
    met = _where(hands, found[2])
    # The first place of a row is under the turning chain; what else is left out makes a valley.
    if not (edge and len(met) == 1):
        hands.leave_out()


def _skip_from_hook(hands: Hands, found: re.Match[str]) -> None:
    hands.take(int(found[2] or 1))
    if found[3] == "does not count as a stitch":
        return
    hands.us(re.fullmatch(r"counts as (\w+)", found[3])[1])  # type: ignore[index]
    hands.made.append(Place("tch", int(found[2] or 1)))


def _same(hands: Hands, found: re.Match[str]) -> None:
    if hands.at or [p.kind for p in hands.made] != ["tch"]:
        raise Stuck("same st, and no turning chain stands on one")
    hands.take(1)
    hands.made += hands.stitches(found[1])


def _leg(hands: Hands, found: re.Match[str]) -> None:
    _where(hands, found[2])
    if hands.us(found[1]) != hands.us(found[3]):
        raise Stuck("two legs of unlike stitches")
    hands.made.append(Place(hands.us(found[1])))
    hands.leave_out()


def _together(hands: Hands, found: re.Match[str]) -> None:
    met = _where(hands, found[3])
    if len(met) != int(found[2]):
        raise Stuck(f"{found[0]} over {len(met)}")
    hands.leave_out()
    hands.made.append(Place(hands.us(found[1])))
    hands.leave_out()


STITCHES = r"(\([^()]*\)|\d+ [a-z]+(?: st)?|[a-z]+(?: st)?)"
PHRASES = (
    (rf"{STITCHES} in (\w+) ch from hook \(([^()]*)\)", _from_hook),
    (r"(skip|miss) first(?: (\d+))? ch \(([^()]*)\)", _skip_from_hook),
    (r"ch (\d+) \(([^()]*)\)", _turn),
    (r"ch (\d+)", _chain),
    (r"(skip|miss) (.*)", _skip),
    (rf"{STITCHES} in same (?:st|ch)", _same),
    (r"(\w+) in (next st) \(counts as (\w+?)2tog\)", _leg),
    (r"([a-z]+)(\d)tog over (.*)", _together),
    (rf"{STITCHES} in each of (.*)", lambda hands, found: hands.worked(found[1], _where(hands, found[2]))),
    (rf"{STITCHES} in (.*)", lambda hands, found: hands.worked(found[1], _where(hands, found[2]))),
)


def split(text: str) -> list[str]:
    """Phrases between commas outside brackets."""
    out, depth, start = [], 0, 0
    for i, sign in enumerate(text):
        depth += (sign in "([") - (sign in ")]")
        if sign == "," and not depth:
            out.append(text[start:i].strip())
            start = i + 1
    return [part for part in (*out, text[start:].strip()) if part]


def phrases(text: str) -> Iterator[str]:
    """The phrases of a row in the order they are worked, repeats written out."""
    for piece in re.split(r",? ?(\*.*?; rep from \* (?:\d+ more times|once more)),? ?", text):
        if found := re.fullmatch(r"\*(.*); rep from \* (?:(\d+) more times|once more)", piece):
            if re.search(r"\blast\b|\btop of\b", found[1]):
                raise Stuck("a repeat tells what only its last time does")
            yield from list(phrases(found[1])) * (int(found[2] or 1) + 1)
            continue
        for phrase in split(piece):
            if found := re.fullmatch(r"\[(.*)\] (\d+) times", phrase):
                yield from list(phrases(found[1])) * int(found[2])
            else:
                yield phrase


def work(text: str, below: Sequence[Place], terms: str, *, first: bool = False) -> Hands:
    """Work one row; every place below has to be used up or left out by name."""
    hands = Hands(terms=terms, below=below, first=first)
    for phrase in phrases(text):
        hands.do(phrase)
    if hands.at != len(below):
        raise Stuck(f"{len(below) - hands.at} places are left over")
    return hands


def counted(made: Sequence[Place], terms: str, turning: str = "") -> str:
    """What a row has, in the words of a pattern; `turning` is the stitch that a turning chain counts as."""
    names = {us: uk for uk, us in UK.items()} if terms == "UK" else {us: us for us in US}
    kinds = Counter(turning if p.kind == "tch" else p.kind for p in made if p.kind != "space")
    spaces = Counter(p.chains for p in made if p.kind == "space")
    words = [f"{kinds[kind]} {names[kind]}" for kind in ("sl st", "sc", "hdc", "dc", "tr") if kinds[kind]]
    words += [f"{n} ch-{size} sp{'s' if n > 1 else ''}" for size, n in sorted(spaces.items())]
    return ", ".join(words)


def between_valleys(hands: Hands) -> list[list[Place]]:
    """What lies between places where stitches were left out; the two edges first and last."""
    cuts = [0, *hands.valleys, len(hands.made)]
    return [hands.made[a:b] for a, b in pairwise(cuts)]


@dataclass
class Worked:
    """A pattern worked: terms, foundation, and the hands of each row that was written out."""

    terms: str
    chain: int
    rows: dict[int, Hands]
    counts: dict[int, str]


ROW = re.compile(r"^(?:\[ \] )?Row (\d+): (.*), turn\. \u2014 (.*)$")
LATER = re.compile(r"^(?:\[ \] )?Rows? (\d+)(?: to (\d+))?: (?:as row (\d+)|rows (\d+) and (\d+) in turn)\.")


def work_pattern(text: str) -> Worked:
    """Work a whole pattern and hold every stated count against what came out."""
    terms = re.search(r"^Terms: (US|UK) names", text, re.M)
    chain = re.search(r"Foundation: ch (\d+)\.", text)
    if not terms or not chain:
        raise Stuck("neither terms nor a foundation are told")
    written: dict[int, tuple[str, str]] = {}
    rows: dict[int, Hands] = {}
    below: list[Place] = [Place("base")] * int(chain[1])
    done = 0

    def one(number: int, words: str, stated: str) -> None:
        nonlocal below, done
        if number != done + 1:
            raise Stuck(f"row {number} follows row {done}")
        hands = work(words, below, terms[1], first=number == 1)
        turn = re.search(r"(?:counts? as) (\w+?)(?:2tog)?\)", words)
        count = counted(hands.made, terms[1], hands.us(turn[1]) if turn else "")
        if count != stated:
            raise Stuck(f"row {number} says {stated} and has {count}")
        rows.setdefault(number, hands)
        below, done = list(reversed(hands.made)), number

    for line in text.splitlines():
        if found := ROW.match(line):
            written[int(found[1])] = (found[2], found[3])
            one(int(found[1]), found[2], found[3])
        elif found := LATER.match(line):
            start, end = int(found[1]), int(found[2] or found[1])
            like = [int(found[3])] if found[3] else [int(found[4]), int(found[5])]
            for number in range(start, end + 1):
                one(number, *written[like[(number - start) % len(like)]])
    return Worked(terms=terms[1], chain=int(chain[1]), rows=rows, counts={n: c for n, (_, c) in written.items()})
