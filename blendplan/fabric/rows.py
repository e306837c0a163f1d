"""Rows as steps: what each step takes from the row below and what it leaves for the row above.

A row is a few parts, each a run of steps worked a number of times, so a row of any length costs as much to
check as its shortest form.
The walk stitch by stitch (`Row.walk`) exists beside it and must agree.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

__all__ = ["STITCH_KINDS", "Part", "Row", "Step", "StepKind"]

# US names inside: chain, slip stitch, single, half double, double, treble crochet, and the turning chain
# where it stands for a stitch.
STITCH_KINDS = ("ch", "sl st", "sc", "hdc", "dc", "tr", "tch")
StepKind = Literal["each", "skip", "chain", "group", "together", "turn"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One kind of move along a row.

    Attributes
    ----------
    kind : str
        `each`: one stitch in each of `count` stitches (takes count, makes count).
        `skip`: leave out `count` (takes count, makes 0).
        `chain`: `count` chains over a point (takes 0, makes count).
        `group`: all of `stitches` in one place (takes `takes`, makes len(stitches)).
        `together`: `count` stitches worked as one (takes count, makes 1).
        `turn`: a turning chain of `count` chains (takes `takes`; makes 1 where it stands for a stitch, else 0).
    stitch : str
        One of `STITCH_KINDS`, for `each` and `together`.
    count : int
        As above.
    stitches : tuple of str
        For `group`: the stitches and chains worked in the one place, in order.
    takes : int
        For `group` and `turn`: how many places of the row below are used up (a chain-2 space counts 2,
        working into a place that is used again by the next step counts 0, so a turning chain with `takes` 0
        stands in the place of the step that follows).
    into_space : bool
        True where the stitches are worked into a chain space, not into the top of a stitch.
    stands : bool
        For `turn`: True where it counts as a stitch of the row.
    """

    kind: StepKind
    stitch: str = ""
    count: int = 0
    stitches: tuple[str, ...] = ()
    takes: int = 0
    into_space: bool = False
    stands: bool = True

    @property
    def taken(self) -> int:
        """Places of the row below that this step uses up."""
        if self.kind in ("each", "skip", "together"):
            return self.count
        return self.takes if self.kind in ("group", "turn") else 0

    @property
    def made(self) -> int:
        """Places this step leaves for the row above; a chain is one place."""
        return {
            "each": self.count,
            "chain": self.count,
            "group": len(self.stitches),
            "together": 1,
            "turn": int(self.stands),
            "skip": 0,
        }[self.kind]

    @property
    def tally(self) -> Counter[str]:
        """How many of each kind of stitch this step works; `dc` worked k together counts as k `dc`.

        A turning chain counts as one `tch`, of `Step.count` chains, whether or not it stands for a stitch.
        """
        if self.kind == "each":
            return Counter({self.stitch: self.count})
        if self.kind == "chain":
            return Counter({"ch": self.count})
        if self.kind == "group":
            return Counter(self.stitches)
        if self.kind == "together":
            return Counter({self.stitch: self.count})
        return Counter({"tch": 1}) if self.kind == "turn" else Counter()


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Steps worked in order, the whole run `times` times."""

    steps: tuple[Step, ...]
    times: int = 1

    @property
    def taken(self) -> int:
        """Places used up by all times."""
        return self.times * sum(s.taken for s in self.steps)

    @property
    def made(self) -> int:
        """Places left by all times."""
        return self.times * sum(s.made for s in self.steps)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One kind of row.

    Attributes
    ----------
    name : str
        `setup`, `first` (into the foundation chain), `repeat`, `last`, ...
    parts : tuple of Part
    """

    name: str
    parts: tuple[Part, ...]

    @property
    def taken(self) -> int:
        """Places of the row below that are used up."""
        return sum(p.taken for p in self.parts)

    @property
    def made(self) -> int:
        """Stitches of the row, chains counted one each."""
        return sum(p.made for p in self.parts)

    @property
    def tally(self) -> Counter[str]:
        """How many of each kind of stitch the row holds; works per part, not per stitch."""
        total: Counter[str] = Counter()
        for part in self.parts:
            for step in part.steps:
                for kind, n in step.tally.items():
                    total[kind] += n * part.times
        return total

    @property
    def turning_chains(self) -> int:
        """Chains of the turning chain at the beginning of the row."""
        return sum(s.count for part in self.parts for s in part.steps if s.kind == "turn")

    def walk(self) -> Iterator[Step]:
        """Yield the steps one by one, repeats written out."""
        for part in self.parts:
            for _ in range(part.times):
                yield from part.steps
