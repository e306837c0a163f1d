"""Rows as steps: what each step takes from the row below and what it leaves for the row above.

A row is a few parts, each a run of steps worked a number of times, so a row of any length costs as much to check as
its shortest form. `work_row` walks it stitch by stitch beside that, and must agree.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from blendplan.errors import FabricError

# US names inside: chain, slip stitch, single, half double, double, treble crochet, and the turning chain
# where it stands for a stitch.
STITCH_KINDS = ("ch", "sl st", "sc", "hdc", "dc", "tr", "tch")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One kind of move along a row.

    - `each`: one stitch in each of `count` stitches (takes count, makes count);
    - `skip`: leave out `count` (takes count, makes 0);
    - `chain`: `count` chains over a point (takes 0, makes count);
    - `group`: all of `stitches` in one place (takes `takes`, makes as many as there are);
    - `together`: `count` stitches worked as one (takes count, makes 1);
    - `turn`: a turning chain of `count` chains (takes `takes`; makes 1 where it stands for a stitch, else 0).
    """

    kind: Literal["each", "skip", "chain", "group", "together", "turn"]
    stitch: str = ""  # one of STITCH_KINDS; for a `turn` that counts, the stitch it stands for
    count: int = 0
    stitches: tuple[str, ...] = ()  # of a `group`: stitches and chains in order
    # Of `group` and `turn`: places of the row below that are used up. A chain-2 space counts 2; a place that the next
    # step uses again counts 0, so a turning chain that takes 0 stands in the place of the step that follows.
    takes: int = 0
    into_space: bool = False  # worked into a chain space, not into the top of a stitch
    stands: bool = True  # of a `turn`: counts as a stitch of the row

    @property
    def taken(self) -> int:
        """Places of the row below that this step uses up."""
        if self.kind in ("each", "skip", "together"):
            return self.count
        return self.takes if self.kind in ("group", "turn") else 0

    @property
    def made(self) -> int:
        """Places this step leaves for the row above; a chain is one place."""
        if self.kind == "group":
            return len(self.stitches)
        return {"each": self.count, "chain": self.count, "together": 1, "turn": int(self.stands), "skip": 0}[self.kind]

    @property
    def leaves(self) -> tuple[str, ...]:
        """The kind of each place this step leaves, in order."""
        own = {"chain": "ch", "turn": "tch"}.get(self.kind, self.stitch)
        return self.stitches if self.kind == "group" else (own,) * self.made

    @property
    def tally(self) -> Counter[str]:
        """How many of each kind of stitch this step works; `dc` worked k together counts as k `dc`.

        A turning chain counts as one `tch`, of `count` chains, whether or not it stands for a stitch.
        """
        if self.kind == "turn":
            return Counter({"tch": 1})
        if self.kind in ("each", "together"):
            return Counter({self.stitch: self.count})
        return Counter({"ch": self.count} if self.kind == "chain" else self.stitches)


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
    """One kind of row."""

    name: str  # setup, first (into the foundation chain), repeat, counter, level
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


def kinds(stitches: Sequence[str]) -> list[tuple[str, int]]:
    """Return runs of one kind and their lengths."""
    return [(kind, len(list(run))) for kind, run in groupby(stitches)]


def tops(steps: Sequence[Step]) -> list[tuple[str, int]]:
    """Return what steps leave, as runs of one kind; chains over a point as one sign such as `ch2`."""

    def left(step: Step) -> list[str]:
        if step.kind == "turn":
            return [step.stitch] * step.stands
        return [sign for kind, n in kinds(step.leaves) for sign in ([f"ch{n}"] if kind == "ch" else [kind] * n)]

    return kinds([sign for step in steps for sign in left(step)])


@dataclass(frozen=True, slots=True)
class Place:
    """One place that a row leaves for the row above."""

    kind: str  # one of STITCH_KINDS, or `base` for a chain of the foundation
    role: tuple[int, int] = (1, 0)  # size of the group worked in one place that it belongs to, and its index there


def foundation(chains: int) -> tuple[Place, ...]:
    """Return the places of a foundation chain."""
    return (Place("base"),) * chains


def turned(places: Sequence[Place]) -> tuple[Place, ...]:
    """Return places as the next row meets them, after the work is turned."""
    return tuple(reversed(places))


def work_row(row: Row, below: Sequence[Place]) -> tuple[Place, ...]:
    """Return the places that a row leaves, in the order it makes them, worked stitch by stitch.

    The row meets `below` in its order (see `turned`). Refused: a row that runs past the end or leaves stitches over,
    works a chain space as if it were stitches, or a peak beside the peak below.
    """
    above: list[Place] = []
    at = 0
    # over a plain row or the foundation there is no point below yet
    pointed = any(place.role[0] == 3 for place in below)
    for step in row.walk():
        if step.taken > len(below) - at:
            raise FabricError(
                "the {row} row asks for {asked} stitches and {there} are there; shorten it, or lengthen the row below.",
                row=row.name,
                asked=row.taken,
                there=len(below),
            )
        if _misses(step, below[at : at + max(step.taken, 1)], pointed=pointed):
            raise FabricError(
                "in the {row} row, stitch {place} of the row below is not where the point is, so the points would "
                "drift; make both slopes of a point equally long.",
                row=row.name,
                place=at + 1,
            )
        at += step.taken
        size = len(step.stitches)
        above += [Place(kind, (size, i) if step.kind == "group" else (1, 0)) for i, kind in enumerate(step.leaves)]
    if at != len(below):
        raise FabricError(
            "the {row} row uses {asked} stitches and {there} are there, so {left} are left over; add repeats or "
            "shorten the row below.",
            row=row.name,
            asked=at,
            there=len(below),
            left=len(below) - at,
        )
    return tuple(above)


def _misses(step: Step, met: Sequence[Place], *, pointed: bool) -> bool:
    """Tell whether a step misses the chain space or the point below it."""
    chains = [place.kind == "ch" for place in met]
    wrong = not all(chains) if step.into_space else any(chains) and step.taken > 0
    if pointed and step.kind == "group" and len(step.stitches) == 3 and "ch" not in step.stitches:
        # three in one go into the middle one of the three below
        return wrong or met[0].role != (3, 1)
    return wrong
