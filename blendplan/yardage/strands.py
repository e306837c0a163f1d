"""Skeins on the hook: which skein feeds which strand, where each runs out, and what is wound in two.

The blanket is walked row by row with the expected lengths.
A skein that cannot finish the next row is put down at the row's end, so that knots fall at the edge; its rest may
serve a later, shorter run.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from blendplan.errors import StripeError
from blendplan.stripes.model import Stripe, total_rows
from blendplan.wording import Notice, note
from blendplan.yardage.length import Yardage
from blendplan.yardage.runs import Run, runs_of
from blendplan.yardage.settings import YardageSettings
from blendplan.yarn import Yarn

__all__ = ["Ball", "Join", "Rewind", "Short", "Strands", "feed"]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Ball:
    """A skein, a part skein or a ball wound off, and what became of it.

    Attributes
    ----------
    name : str
    number : int
        From 1 within its colour, part skeins first.
    kind : {"part", "skein", "wound"}
    start_m, left_m, left_g : float
    first_row, last_row : int or None
        None where it stays unopened.
    """

    name: str
    number: int
    kind: str
    start_m: float
    left_m: float
    left_g: float
    first_row: int | None
    last_row: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Strands:
    """How the strands are fed.

    Attributes
    ----------
    runs : tuple of Run
    balls : tuple of Ball
    joins : tuple of Join
    rewinds : tuple of Rewind
    shorts : tuple of Short
    live_ends : int
        Most strands on the hook at once.
    ends_to_weave : int
        Two for each run and two for each join.
    notices : tuple of Notice
    """

    runs: tuple[Run, ...]
    balls: tuple[Ball, ...]
    joins: tuple[Join, ...]
    rewinds: tuple[Rewind, ...]
    shorts: tuple[Short, ...]
    live_ends: int
    ends_to_weave: int
    notices: tuple[Notice, ...]


@dataclass(slots=True)
class _Ball:
    name: str
    number: int
    kind: str
    start_m: float
    left_m: float
    busy: bool = False
    first_row: int | None = None
    last_row: int | None = None


@dataclass(slots=True)
class _Live:
    run: Run
    ball: _Ball | None
    ahead_m: list[float]
    lacking_m: float = 0.0
    short_row: int | None = None

    @property
    def left_m(self) -> float:
        return math.fsum(self.ahead_m)


@dataclass(slots=True)
class _Walk:
    """The state of the walk over the rows."""

    m_per_g: Mapping[str, float]
    shelf: dict[str, list[_Ball]]
    tail_m: float
    at_row_end: Mapping[str, bool]
    stripe_of: Sequence[int]
    live: list[_Live] = field(default_factory=list)
    joins: list[Join] = field(default_factory=list)
    rewinds: list[Rewind] = field(default_factory=list)
    shorts: list[Short] = field(default_factory=list)

    def take(self, name: str, need_m: float, at_least_m: float, row: int) -> _Ball | None:
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

    def wind(self, name: str, need_m: float, at_least_m: float, row: int) -> _Ball | None:
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
        wound = _Ball(name, len(self.shelf[name]) + 1, "wound", off, off)
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
        self.live.append(_Live(run=run, ball=ball, ahead_m=ahead_m))

    def work(self, strand: _Live, row: int) -> None:
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

    def change(self, strand: _Live, old: _Ball, row: int) -> _Ball | None:
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

    def finish(self, strand: _Live) -> None:
        """End a run: its last end is cut and the ball goes back."""
        if strand.ball is not None:
            strand.ball.left_m = max(0.0, strand.ball.left_m - self.tail_m)
            strand.ball.busy = False


def _shelf(yarn: Yarn, bought: int) -> list[_Ball]:
    band = yarn.put_up
    if band is None:
        return []
    sizes = [("part", float(g * band.m_per_g)) for g in sorted(yarn.part_skeins_g)]
    sizes += [("skein", float(band.length_m))] * (yarn.skeins_on_hand + bought)
    return [_Ball(yarn.name, i, kind, m, m) for i, (kind, m) in enumerate(sizes, 1)]


def feed(
    stripes: Sequence[Stripe],
    yardage: Yardage,
    yarns: Sequence[Yarn],
    settings: YardageSettings | None = None,
    *,
    buy: Literal["planned", "nothing"] = "planned",
) -> Strands:
    """Return which skein feeds which strand, row by row.

    Parameters
    ----------
    stripes : sequence of Stripe
    yardage : Yardage
        Of these stripes; gives the length of every row and the skeins to buy.
    yarns : sequence of Yarn
    settings : YardageSettings, optional
    buy : {"planned", "nothing"}
        `nothing` walks with the yarn on hand alone.

    Raises
    ------
    StripeError
        If the estimate is of other stripes.

    Notes
    -----
    Border, fringe and swatch are not walked: they come from what is left.
    A colour without a band is left out, with a notice.
    """
    settings = settings or YardageSettings()
    rows = total_rows(stripes)
    if len(yardage.rows_m) != rows:
        raise StripeError(
            "the yarn was reckoned for {given} rows and the stripes have {allowed}; reckon it again.",
            given=len(yardage.rows_m),
            allowed=rows,
        )
    known = {yarn.name: yarn for yarn in yarns}
    need = {c.name: c for c in yardage.colours}
    banded = {name: yarn for name, yarn in known.items() if yarn.put_up is not None and name in need}
    row_m = max(yardage.rows_m)
    walk = _Walk(
        m_per_g={n: float(y.put_up.m_per_g) for n, y in banded.items() if y.put_up},
        shelf={n: _shelf(y, (need[n].buy_skeins or 0) if buy == "planned" else 0) for n, y in banded.items()},
        tail_m=settings.tail_cm / 100,
        at_row_end={
            n: settings.join_at == "row-end" and 2 * row_m <= y.put_up.length_m for n, y in banded.items() if y.put_up
        },
        stripe_of=[i for i, stripe in enumerate(stripes, 1) for _ in range(stripe.rows)],
    )
    runs = runs_of(stripes)
    lengths = [m + (0.0 if i else yardage.foundation_m) for i, m in enumerate(yardage.rows_m)]
    for row in range(1, rows + 1):
        for run in runs:
            if run.first_row == row and run.name in banded:
                walk.start(run, lengths[run.first_row - 1 : run.last_row])
        for strand in walk.live:
            walk.work(strand, row)
        for strand in [s for s in walk.live if not s.ahead_m]:
            walk.finish(strand)
        walk.live = [s for s in walk.live if s.ahead_m]
    balls = tuple(
        Ball(
            name=b.name,
            number=b.number,
            kind=b.kind,
            start_m=b.start_m,
            left_m=b.left_m,
            left_g=b.left_m / walk.m_per_g[b.name],
            first_row=b.first_row,
            last_row=b.last_row,
        )
        for name in banded
        for b in walk.shelf[name]
    )
    return Strands(
        runs=runs,
        balls=balls,
        joins=tuple(walk.joins),
        rewinds=tuple(walk.rewinds),
        shorts=tuple(walk.shorts),
        live_ends=max(len(stripe.strands) for stripe in stripes),
        ends_to_weave=2 * (len(runs) + len(walk.joins)),
        notices=_notices(stripes, walk, [n for n in need if n not in banded]),
    )


def _notices(stripes: Sequence[Stripe], walk: _Walk, left_out: Sequence[str]) -> tuple[Notice, ...]:
    out = [
        note(
            "Before row {row}: wind {off} g of {name} off skein {skein} into a second ball ({stays} g stay), "
            "because two strands of it are held together.",
            row=r.row,
            off=f"{r.off_g:.0f}",
            name=r.name,
            skein=r.skein,
            stays=f"{r.stays_g:.0f}",
        )
        for r in walk.rewinds
    ]
    for short in walk.shorts:
        out.append(
            note(
                "{name} runs out before row {row} (stripe {stripe}); {lacking} m are lacking.",
                "warning",
                name=short.name,
                row=short.row,
                stripe=short.stripe,
                lacking=f"{short.lacking_m:.1f}",
            )
        )
        partners = [n for n in stripes[short.stripe - 1].strands if n != short.name]
        if partners:
            out.append(
                note(
                    "For the last bit of stripe {stripe} the longer strand, {partner}, can be looped on itself and "
                    "held double.",
                    stripe=short.stripe,
                    partner=partners[0],
                )
            )
    if left_out:
        out.append(
            note(
                "Skeins of {names} are not followed, because their bands are not known.",
                "assumed",
                names=", ".join(left_out),
            )
        )
    return tuple(out)
