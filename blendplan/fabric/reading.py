"""Written rows read back: words to steps, so that what is printed can be counted.

Reads English rows in the signs of the trade, US or UK terms; it is how the tests hold the words against the
simulation, and how a rule printed elsewhere is checked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from blendplan.errors import FabricError
from blendplan.fabric.rows import Part, Row, Step
from blendplan.fabric.simulate import foundation, turned, work_row
from blendplan.fabric.terms import TERMS, us_name
from blendplan.units import choice

__all__ = ["ReadRows", "check_rule", "read_row", "read_rows"]

_ROW = re.compile(r"^Row (\d+)(?: \(RS\)| \(WS\))?: (.*?),? turn\. \u2014 (\d+) sts$")
_CHAIN = re.compile(r"^Foundation: ch (\d+)\.$")
_TERMS = re.compile(r"^Terms: (US|UK)\b")
_STITCH = r"(sl st|ss|sc|hdc|htr|dc|dtr|tr)"
_MORE = r"(?:\d+ more times|once more)"
_PLACE = r"(?:next|last)(?: (\d+))? (?:chs?|sts?)"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadRows:
    """What written rows say.

    Attributes
    ----------
    terms : {"US", "UK"}
    chain : int
    rows : tuple of (int, Row)
        Number and steps of each row that is written out.
    stated : tuple of (int, int)
        Number of each row and the stitches it says it has.
    """

    terms: str
    chain: int
    rows: tuple[tuple[int, Row], ...]
    stated: tuple[tuple[int, int], ...]

    def recount(self) -> tuple[int, ...]:
        """Return the stitches of each row, worked stitch by stitch from the foundation.

        Raises
        ------
        FabricError
            If a row does not fit the one below, or has another count than it states.
        """
        counts = []
        places = foundation(self.chain - self.rows[0][1].turning_chains)
        for (number, row), (_, stated) in zip(self.rows, self.stated, strict=True):
            places = work_row(row, turned(places))
            if len(places) != stated:
                raise FabricError(
                    "row {number} says {stated} stitches and has {counted}; count on {counted}.",
                    number=number,
                    stated=stated,
                    counted=len(places),
                )
            counts.append(len(places))
        return tuple(counts)


def read_rows(text: str) -> ReadRows:
    """Return the rows of a text made by `written.write_rows`, or one in the same form.

    Raises
    ------
    FabricError
        If terms or chain are not stated, or a phrase is not understood.
    """
    terms, chain = "", 0
    rows, stated = [], []
    for line in (raw.strip() for raw in text.splitlines()):
        if found := _TERMS.match(line):
            terms = found[1]
        elif found := _CHAIN.match(line):
            chain = int(found[1])
        elif found := _ROW.match(line):
            number = int(found[1])
            rows.append((number, read_row(found[2], terms=terms or "US", first=number == 1)))
            stated.append((number, int(found[3])))
    if not terms or not chain or not rows:
        raise FabricError("this text does not say its terms, its foundation and a row; write all three.")
    return ReadRows(terms=terms, chain=chain, rows=tuple(rows), stated=tuple(stated))


def read_row(text: str, *, terms: str = "US", first: bool = False) -> Row:
    """Return the row that words describe.

    Examples
    --------
    >>> row = read_row("*dc in next 7 ch, 3 dc in next ch, dc in next 7 ch, skip next 2 ch; rep from * once more")
    >>> row.parts[0].taken // row.parts[0].times
    17
    """
    choice(terms, "terms", TERMS)
    parts = []
    for piece in re.split(rf",? ?(\*.*?; rep from \* {_MORE}),? ?", text.strip()):
        if not piece:
            continue
        times = 1
        if found := re.fullmatch(rf"\*(.*); rep from \* ({_MORE})", piece):
            piece, times = found[1], 2 if found[2] == "once more" else int(found[2].split()[0]) + 1  # noqa: PLW2901
        parts.append(Part(steps=_steps(piece, terms), times=times))
    return Row(name="first" if first else "repeat", parts=tuple(parts))


def _split(text: str) -> list[str]:
    """Return phrases between commas that stand outside brackets."""
    out, depth, start = [], 0, 0
    for i, sign in enumerate(text):
        depth += (sign in "([") - (sign in ")]")
        if sign == "," and depth == 0:
            out.append(text[start:i].strip())
            start = i + 1
    return [*out, text[start:].strip()]


def _steps(text: str, terms: str) -> tuple[Step, ...]:
    steps: list[Step] = []
    for phrase in _split(text):
        if found := re.fullmatch(r"\[(.*)\] (\d+) times", phrase):
            steps += _steps(found[1], terms) * int(found[2])
        elif re.fullmatch(r"(?:skip|miss) first st", phrase):
            # the turning chain before it stands in that stitch
            last = steps.pop()
            steps.append(Step(kind="turn", count=last.count, takes=1, stands=last.stands))
        else:
            steps.append(_step(phrase, terms))
    return tuple(steps)


def _step(phrase: str, terms: str) -> Step:
    if found := re.fullmatch(r"(?:skip|miss) first (?:(\d+) )?ch \((.*)\)", phrase):
        # the skipped chains, own foot or not, are all of `count`; the steps after it use the rest of the foundation
        return Step(kind="turn", count=int(found[1] or 1), stands="as 1" in found[2])
    if found := re.fullmatch(r"ch (\d+) \((.*)\)", phrase):
        return Step(kind="turn", count=int(found[1]), stands="as 1" in found[2])
    if found := re.fullmatch(rf"(?:skip|miss) {_PLACE}", phrase):
        return Step(kind="skip", count=int(found[1] or 1))
    if found := re.fullmatch(r"ch (\d+)", phrase):
        return Step(kind="chain", count=int(found[1]))
    if found := re.fullmatch(rf"{_STITCH} in same st", phrase):
        return Step(kind="each", stitch=us_name(found[1], terms), count=1)
    if found := re.fullmatch(rf"{_STITCH}(\d)tog over {_PLACE}", phrase):
        return Step(kind="together", stitch=us_name(found[1], terms), count=int(found[2]))
    if found := re.fullmatch(rf"{_STITCH} in {_PLACE}", phrase):
        return Step(kind="each", stitch=us_name(found[1], terms), count=int(found[2] or 1))
    if found := re.fullmatch(rf"(\d) {_STITCH} in {_PLACE}", phrase):
        return Step(kind="group", stitches=(us_name(found[2], terms),) * int(found[1]), takes=int(found[3] or 1))
    if found := re.fullmatch(rf"(?:(\d) )?{_STITCH} in next ch-(\d) sp", phrase):
        stitches = (us_name(found[2], terms),) * int(found[1] or 1)
        return Step(kind="group", stitches=stitches, takes=int(found[3]), into_space=True)
    if found := re.fullmatch(rf"\((.*)\) in (?:next ch-(\d) sp|{_PLACE})", phrase):
        stitches = tuple(kind for word in found[1].split(", ") for kind in _inner(word, terms))
        return Step(kind="group", stitches=stitches, takes=int(found[2] or 1), into_space=bool(found[2]))
    raise FabricError(
        "{phrase} is not a phrase that can be read; write it like: dc in next 7 sts.", phrase=repr(phrase)
    )


def _inner(word: str, terms: str) -> tuple[str, ...]:
    """Return the stitches of `dc`, `2 dc` or `ch 2`."""
    if found := re.fullmatch(r"ch (\d+)", word):
        return ("ch",) * int(found[1])
    count, _, name = word.rpartition(" ") if word[0].isdigit() else ("1", "", word)
    return (us_name(name, terms),) * int(count)


def check_rule(row: Row, multiple: int) -> None:
    """Refuse a stated stitch multiple that the row itself does not keep.

    Parameters
    ----------
    row : Row
        A first row; its repeated part is what counts.
    multiple : int
        As stated.

    Raises
    ------
    FabricError
        If the repeated part uses another number of stitches.

    Examples
    --------
    >>> check_rule(read_row("*dc in next 7 ch, skip next 2 ch; rep from * once more"), 9)
    """
    part = max(row.parts, key=lambda p: p.times)
    used = part.taken // part.times
    if used != multiple:
        raise FabricError(
            "the stated multiple is {stated}, and the row itself uses {used} for each repeat; count on {used}.",
            stated=multiple,
            used=used,
        )
