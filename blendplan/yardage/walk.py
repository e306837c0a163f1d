"""The walk over the rows: each strand is fed from its ball, and balls are changed, wound in two, or missing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from blendplan.yardage.runs import Run

__all__ = ["Join", "Live", "OpenBall", "Rewind", "Short", "Walk"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Join:
    """A new skein of the same colour joined within a run.

    Attributes
    ----------
    name : str
    row : int
        The row it begins, from 1.
    stripe : int
        From 1.
    old, new : int
        Numbers of the skeins of this colour, from 1.
    rest_m, rest_g : float
        What stays on the old one.
    within_row : bool
        True where it is joined inside the row.
    """

    name: str
    row: int
    stripe: int
    old: int
    new: int
    rest_m: float
    rest_g: float
    within_row: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Rewind:
    """A skein wound in two, because two strands of its colour are held and no other skein of it is free.

    Attributes
    ----------
    name : str
    row, stripe : int
        Before which row and in which stripe, from 1.
    skein : int
        The skein that is divided.
    new : int
        The number of the ball wound off.
    off_m, off_g : float
        To wind off.
    stays_m, stays_g : float
        What stays on the skein.
    """

    name: str
    row: int
    stripe: int
    skein: int
    new: int
    off_m: float
    off_g: float
    stays_m: float
    stays_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Short:
    """A strand for which no skein is left.

    Attributes
    ----------
    name : str
    row, stripe : int
        First row that cannot be worked with it.
    lacking_m : float
        Metres that this run lacks to its end.
    """

    name: str
    row: int
    stripe: int
    lacking_m: float


@dataclass(slots=True)
class OpenBall:
    """A skein or ball during the walk."""

    name: str
    number: int
    kind: str
    start_m: float
    left_m: float
    busy: bool = False
    first_row: int | None = None
    last_row: int | None = None


@dataclass(slots=True)
class Live:
    """A strand on the hook during the walk: its ball and the rows ahead of it."""

    run: Run
    ball: OpenBall | None
    ahead_m: list[float]
    lacking_m: float = 0.0
    short_row: int | None = None

    @property
    def left_m(self) -> float:
        """Metres of the rows ahead."""
        return math.fsum(self.ahead_m)


@dataclass(slots=True)
class Walk:
    """The state of the walk over the rows."""

    m_per_g: Mapping[str, float]
    shelf: dict[str, list[OpenBall]]
    tail_m: float
    at_row_end: Mapping[str, bool]
    stripe_of: Sequence[int]
    live: list[Live] = field(default_factory=list)
    joins: list[Join] = field(default_factory=list)
    rewinds: list[Rewind] = field(default_factory=list)
    shorts: list[Short] = field(default_factory=list)

    def take(self, name: str, need_m: float, at_least_m: float, row: int) -> OpenBall | None:
        """Take the smallest free ball that lasts for `need_m`, else the largest; wind one in two if none is free."""
        free = [b for b in self.shelf[name] if not b.busy and b.left_m >= at_least_m - 1e-9]
        lasting = [b for b in free if b.left_m >= need_m - 1e-9]
        ball = min(lasting, key=lambda b: (b.left_m, b.number)) if lasting else None
        if ball is None and free:
            ball = max(free, key=lambda b: (b.left_m, -b.number))
        if ball is None:
            ball = self.wind(name, need_m, at_least_m, row)
        if ball is not None:
            ball.busy = True
            ball.first_row = ball.first_row or row
        return ball

    def wind(self, name: str, need_m: float, at_least_m: float, row: int) -> OpenBall | None:
        """Wind off part of a ball that another strand of the colour is using; shared by what both still need."""
        others = [x for x in self.live if x.run.name == name and x.ball is not None and x.ball.left_m > 0]
        if not others:
            return None
        giver = max(others, key=lambda x: x.ball.left_m - x.left_m if x.ball else 0.0)
        ball = giver.ball
        if ball is None:
            return None
        own = giver.left_m + self.tail_m
        off = min(ball.left_m * need_m / (need_m + own), ball.left_m)
        if off < at_least_m - 1e-9 or ball.left_m - off < 1e-9:
            return None
        ball.left_m -= off
        wound = OpenBall(name, len(self.shelf[name]) + 1, "wound", off, off)
        self.shelf[name].append(wound)
        per_g = self.m_per_g[name]
        self.rewinds.append(
            Rewind(
                name=name,
                row=row,
                stripe=self.stripe_of[row - 1],
                skein=ball.number,
                new=wound.number,
                off_m=off,
                off_g=off / per_g,
                stays_m=ball.left_m,
                stays_g=ball.left_m / per_g,
            )
        )
        return wound

    def start(self, run: Run, ahead_m: list[float]) -> None:
        """Begin a run: its first end is on the new strand."""
        need = math.fsum(ahead_m) + 2 * self.tail_m
        ball = self.take(run.name, need, ahead_m[0] + self.tail_m, run.first_row)
        if ball is not None:
            ball.left_m -= self.tail_m
        self.live.append(Live(run=run, ball=ball, ahead_m=ahead_m))

    def work(self, strand: Live, row: int) -> None:
        """Feed one row of one strand."""
        name, need = strand.run.name, strand.ahead_m[0]
        ball = strand.ball
        if ball is not None and ball.left_m < need + self.tail_m - 1e-9:
            ball = self.change(strand, ball, row)
        if ball is None:
            strand.lacking_m += need
            if strand.short_row is None:
                strand.short_row = row
        else:
            ball.left_m -= need
            ball.last_row = row
        strand.ball = ball
        strand.ahead_m.pop(0)
        if not strand.ahead_m and strand.short_row is not None:
            self.shorts.append(
                Short(
                    name=name,
                    row=strand.short_row,
                    stripe=self.stripe_of[strand.short_row - 1],
                    lacking_m=strand.lacking_m,
                )
            )

    def change(self, strand: Live, old: OpenBall, row: int) -> OpenBall | None:
        """Put down a ball that cannot finish the row and take another."""
        name = strand.run.name
        within = not self.at_row_end[name]
        # Inside the row the rest of the old ball is used up first; whatever lacks comes from the new one.
        spent = max(0.0, old.left_m - self.tail_m) if within else 0.0
        least = strand.ahead_m[0] - spent + 2 * self.tail_m
        old.busy = False
        kept, old.left_m = old.left_m, old.left_m - spent if within else old.left_m
        new = self.take(name, strand.left_m - spent + 2 * self.tail_m, least, row)
        if new is None:
            old.left_m = kept
            return None
        old.left_m = max(0.0, old.left_m - self.tail_m)
        new.left_m -= self.tail_m
        if within:
            new.left_m += spent  # the row's full length is taken from the new ball by the caller
            old.last_row = row
        self.joins.append(
            Join(
                name=name,
                row=row,
                stripe=self.stripe_of[row - 1],
                old=old.number,
                new=new.number,
                rest_m=old.left_m,
                rest_g=old.left_m / self.m_per_g[name],
                within_row=within,
            )
        )
        return new

    def finish(self, strand: Live) -> None:
        """End a run: its last end is cut and the ball goes back."""
        if strand.ball is not None:
            strand.ball.left_m = max(0.0, strand.ball.left_m - self.tail_m)
            strand.ball.busy = False
