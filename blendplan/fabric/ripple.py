"""What follows from working a ripple: chain, stitches, rows.

No count here comes from a table: rows are built as steps, worked stitch by stitch over one, two and three
repeats, and the foundation rule a n + b is read off.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from blendplan.budgets import MAX_REPEATS
from blendplan.errors import FabricError
from blendplan.fabric.rows import Row, Step, foundation, tops, turned, work_row
from blendplan.fabric.shapes import (
    EDGES,
    PEAKS,
    STITCHES,
    VALLEYS,
    Ripple,
    height_rows,
    peak_steps,
    ripple_row,
    setup_row,
    valley_steps,
)
from blendplan.units import whole
from blendplan.wording import Notice, note

# The choices stand with the steps that they make; they are asked for here.
__all__ = [
    "EDGES",
    "PEAKS",
    "STITCHES",
    "VALLEYS",
    "Ripple",
    "Worked",
    "check_stated",
    "in_turn",
    "repeats_of_chain",
    "work",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """What a ripple comes to when it is worked; chain = multiple x repeats + plus."""

    ripple: Ripple
    chain: int  # of the foundation, with those that turn
    row_places: int  # that every row leaves, the chains of a point counted one each: what its width is made of
    multiple: int
    plus: int
    # The kinds of row: `first` and `repeat`; `setup` before them where there is one, `counter` behind where rows
    # alternate. The first `lead` are worked once, the others in turn.
    rows: tuple[Row, ...]
    lead: int = 1
    notices: tuple[Notice, ...] = ()

    @property
    def closes(self) -> bool:
        """True: a ripple that does not close is refused by `work`."""
        return self.repeat.taken == self.repeat.made == self.row_places

    @property
    def row_spaces(self) -> int:
        """Chain spaces of a row."""
        return sum(n * part.times for part in self.repeat.parts for kind, n in tops(part.steps) if kind[:2] == "ch")

    @property
    def row_stitches(self) -> int:
        """Worked stitches of a row, a turning chain that counts among them, the chains of a point not.

        Examples
        --------
        >>> worked = work(Ripple())
        >>> worked.row_stitches, worked.row_spaces
        (114, 7)
        """
        return sum(n * part.times for part in self.repeat.parts for kind, n in tops(part.steps) if kind[:2] != "ch")

    @property
    def first(self) -> Row:
        """The first ripple row, worked into the foundation chain or the set-up row."""
        return self.rows[self.lead - 1]

    @property
    def repeat(self) -> Row:
        """The ripple row after the first, and every one after it unless rows alternate."""
        return self.rows[self.lead]

    def row_at(self, number: int) -> Row:
        """Return the row of a number, counted from 1."""
        return self.rows[in_turn(number, self.lead, len(self.rows)) - 1]

    def tally(self, rows: int) -> Counter[str]:
        """Return how many of each kind of stitch so many rows hold, foundation and turning chains' chains left out."""
        total: Counter[str] = Counter()
        later = len(self.rows) - self.lead
        for i, row in enumerate(self.rows):
            # Of those in turn every `later`-th row is this one.
            times = int(i < rows) if i < self.lead else len(range(i, rows, later))
            for kind, n in row.tally.items():
                total[kind] += n * times
        return total

    def to_json(self) -> dict[str, Any]:
        """Return the plain values that `blendplan ripple --json` prints."""
        told = ("chain", "row_stitches", "row_spaces", "multiple", "plus", "closes")
        return {name: getattr(self, name) for name in told} | {"notices": [notice.text for notice in self.notices]}


def in_turn(number: int, lead: int, kinds: int) -> int:
    """Return which of so many kinds of row a row is, both from 1; after the first `lead` they are worked in turn."""
    return max(number, 1) if number <= lead else lead + 1 + (number - lead - 1) % (kinds - lead)


def _rows(ripple: Ripple) -> tuple[Row, ...]:
    if ripple.kind == "heights":
        heights = height_rows(ripple.slope, ripple.repeats)
        return (setup_row(heights[0].taken), *heights) if ripple.setup else heights
    auto = ripple.foot == "auto" and ripple.kind != "wave" and ripple.peak.endswith("-in-one")
    first = ripple_row(ripple, "first", own=not ripple.setup and (ripple.foot == "own" or auto))
    again = ripple_row(ripple, "repeat")
    return (setup_row(first.taken), first, again) if ripple.setup else (first, again)


def _chain(first: Row) -> int:
    """Return the foundation chain of a first row: places used and the chains that only turn.

    A turning chain that stands on a place of its own has its lowest chain in that place.
    """
    turn = next(step for part in first.parts for step in part.steps if step.kind == "turn")
    return first.taken + turn.count - int(turn.takes > 0)


@lru_cache(maxsize=512)
def _net(shape: Ripple) -> tuple[int, int]:
    """Return stitches gained in a row by one more repeat, and by the edges."""
    one, two = (_rows(replace(shape, repeats=n, setup=False))[1] for n in (1, 2))
    gained = (two.made - two.taken) - (one.made - one.taken)
    return gained, one.made - one.taken - gained


def _nearest(ripple: Ripple) -> tuple[str, str]:
    """Return the peak and valley nearest to those chosen that close with both kinds of edges.

    Half an increase must be one stitch, so a point adds 2 and a hollow takes 2.
    """

    def changed(steps: tuple[Step, ...]) -> int:
        return abs(sum(s.made - s.taken for s in steps))

    peak = ripple.peak if changed(peak_steps(ripple.peak, ripple.stitch, 0, first=False)) == 2 else "three-in-one"
    alike = sorted(VALLEYS, key=lambda v: (v != ripple.valley, ("together" in v) != ("together" in ripple.valley)))
    return peak, next(v for v in alike if changed(valley_steps(v, ripple.stitch, 0)) == 2)


def _must_balance(ripple: Ripple) -> None:
    gained, edges = _net(replace(ripple, repeats=1))
    if not gained and not edges:
        return
    peak, valley = _nearest(ripple)
    if gained:
        raise FabricError(
            "{peak} over each point and {valley} in each hollow change every row by {gained} for each repeat, so it "
            "does not close; the nearest that works is {better} with {nearest}.",
            peak=ripple.peak,
            valley=ripple.valley,
            gained=f"{gained:+d}",
            better=peak,
            nearest=valley,
        )
    if ripple.edge == "plain":
        raise FabricError(
            "plain edges change every row by {edges}, because {repeats} hollows meet only {peaks} points; use "
            "half-peak (one extra stitch in the first and the last stitch) or half-valley.",
            edges=f"{edges:+d}",
            repeats=ripple.repeats,
            peaks=ripple.repeats - 1,
        )
    raise FabricError(
        "{edge} edges change every row by {edges} with {peak}; the nearest that works is {better} with {nearest}.",
        edge=ripple.edge,
        edges=f"{edges:+d}",
        peak=ripple.peak,
        better=peak,
        nearest=valley,
    )


@lru_cache(maxsize=512)
def _rule(shape: Ripple) -> tuple[int, int]:
    """Return multiple and plus of a shape, worked stitch by stitch over 1, 2 and 3 repeats and six rows."""
    chains = []
    for repeats in (1, 2, 3):
        rows = _rows(replace(shape, repeats=repeats))
        lead = 1 + int(shape.setup)
        places = foundation(rows[0].taken)
        for row in (*rows[:lead], *rows[lead:] * 3):
            places = work_row(row, turned(places))
        chains.append(_chain(rows[0]))
    multiple = chains[1] - chains[0]
    if chains[2] - chains[1] != multiple:
        raise FabricError("the chain of {given} does not follow one rule; choose another shape.", given=chains)
    return multiple, chains[0] - multiple


def _notices(ripple: Ripple) -> tuple[Notice, ...]:
    out = []
    if ripple.kind == "heights":
        return (note("Rows of two kinds alternate: low stitches stand over tall ones, so the edges stay straight."),)
    if ripple.kind == "point" and ripple.peak.startswith("chain-"):
        out.append(
            note("A slope of {slope} counts the stitch that is worked into the chain space.", slope=ripple.slope)
        )
    if ripple.turn_counts and ripple.stitch == "sc":
        out.append(note("A turning chain is rarely counted beside so low a stitch; it is counted here.", "warning"))
    if ripple.turning_counts is None and ripple.stitch == "hdc":
        out.append(note("The turning chain is counted as a stitch; of a stitch this high makers differ.", "assumed"))
    return tuple(out)


@lru_cache(maxsize=512)
def work(ripple: Ripple) -> Worked:
    """Return what a ripple comes to; the cost does not grow with rows or repeats.

    Parameters
    ----------
    ripple : Ripple

    Returns
    -------
    Worked

    Raises
    ------
    FabricError
        If rows do not close, with the reason and the nearest choice that does.

    Examples
    --------
    >>> worked = work(Ripple(slope=7, repeats=8))
    >>> worked.chain, worked.row_places, worked.multiple, worked.plus
    (131, 128, 16, 3)
    >>> sorted(worked.repeat.tally.items())
    [('ch', 14), ('dc', 113), ('tch', 1)]
    """
    if ripple.kind != "heights":
        _must_balance(ripple)
    multiple, plus = _rule(replace(ripple, repeats=1))
    rows = _rows(ripple)
    return Worked(
        ripple=ripple,
        chain=multiple * ripple.repeats + plus,
        row_places=rows[-1].made,
        multiple=multiple,
        plus=plus,
        rows=rows,
        lead=1 + int(ripple.setup),
        notices=_notices(ripple),
    )


def repeats_of_chain(ripple: Ripple, chain: int) -> int:
    """Return how many repeats a foundation chain holds; one that holds no whole number of them is refused.

    >>> repeats_of_chain(Ripple(), 131)
    8
    """
    given = whole(chain, "foundation chain", 1, 100_000)
    worked = work(replace(ripple, repeats=1))
    fit, rest = divmod(given - worked.plus, worked.multiple)
    if rest or not 1 <= fit <= MAX_REPEATS:
        below = min(max(fit, 1), MAX_REPEATS - 1)
        raise FabricError(
            "{given} chains do not fit a multiple of {multiple} {plus}; the nearest that work are {less} ({fewer} "
            "repeats) and {more} ({greater} repeats).",
            given=given,
            multiple=worked.multiple,
            plus=f"{worked.plus:+d}",
            less=worked.multiple * below + worked.plus,
            fewer=below,
            more=worked.multiple * (below + 1) + worked.plus,
            greater=below + 1,
        )
    return fit


def check_stated(worked: Worked, multiple: int, plus: int) -> None:
    """Refuse a printed foundation rule that the row itself does not keep."""
    multiple = whole(multiple, "stated multiple", 1, 1000)
    plus = whole(plus, "stated plus", -1000, 1000)
    if multiple != worked.multiple:
        raise FabricError(
            "a multiple of {stated} is stated, but each repeat of this row uses {used} stitches of the row below; "
            "chain a multiple of {used} {plus}.",
            stated=multiple,
            used=worked.multiple,
            plus=f"{worked.plus:+d}",
        )
    if plus != worked.plus:
        raise FabricError(
            "{stated} is stated beside the multiple of {multiple}, but these edges and this turning chain need {used}; "
            "change the chain, or the edge or turning chain.",
            stated=f"{plus:+d}",
            multiple=multiple,
            used=f"{worked.plus:+d}",
        )
