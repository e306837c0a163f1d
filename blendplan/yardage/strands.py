"""Skeins on the hook: which skein feeds which strand, where strands change, where each runs out, what is wound in two.

The blanket is walked row by row with the expected lengths, its finishing behind the rows.
A skein that cannot finish the next row is put down at the row's end, so that knots fall at the edge; its rest may
serve a later, shorter run.
Skeins of two lots follow each other at a change of stripes wherever they can.

The walk over the rows: each strand is fed from its ball, and balls are changed, wound in two, or missing.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import accumulate
from typing import Literal

from blendplan.errors import StripeError
from blendplan.stripes.model import Run, Stripe, runs_of, total_rows
from blendplan.units import Amount
from blendplan.wording import Notice, note
from blendplan.yardage.length import Yardage
from blendplan.yardage.need import joins_at_row_end
from blendplan.yardage.settings import YardageSettings, all_work
from blendplan.yarn import Yarn

# Stands for the lot of what is bought: whether the shop has the one on hand is not known. No name of a lot is empty
# and begins with a blank.
BOUGHT = " "


@dataclass(frozen=True, slots=True, kw_only=True)
class Join:
    """A new skein of the same colour joined within a run."""

    name: str
    row: int  # the row it begins, from 1
    stripe: int  # From 1
    old: int  # numbers of the skeins of this colour, from 1
    new: int
    rest_m: float  # what stays on the old one
    rest_g: float
    within_row: bool  # true where it is joined inside the row
    lots: tuple[str, str] = ("", "")  # the lots of the old skein and of the new one, `BOUGHT` for what is bought
    inside: bool = False  # true where the two differ and meet inside a stripe, not at a change

    @property
    def at_row(self) -> int:
        """The row that is in work when it is joined: at a row's end that is the one before."""
        return self.row if self.within_row else max(1, self.row - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rewind:
    """A skein wound in two, because two strands of its colour are held and no other skein of it is free."""

    name: str
    row: int  # before which row and in which stripe, from 1
    stripe: int
    skein: int  # the skein that is divided
    new: int  # the number of the ball wound off
    off_g: float
    stays_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Short:
    """A strand for which no skein is left."""

    name: str
    row: int  # first row that cannot be worked with it
    stripe: int
    lacking_m: float  # metres that this run lacks to its end


@dataclass(slots=True)
class OpenBall:
    """A skein or ball during the walk."""

    name: str
    number: int
    kind: str
    start_m: float
    left_m: float
    lot: str = ""
    busy: bool = False
    stripes: set[int] = field(default_factory=set)  # in which it is worked, finishing and fringe counted on behind


@dataclass(slots=True)
class Live:
    """A strand on the hook during the walk: its ball and the rows ahead of it."""

    run: Run
    ball: OpenBall | None
    ahead_m: list[float]
    lacking_m: float = 0.0
    short_row: int | None = None
    # Row from which, number, and row for which it was joined, of each ball.
    balls: list[tuple[int, int, int]] = field(default_factory=list)

    @property
    def left_m(self) -> float:
        """Metres of the rows ahead."""
        return math.fsum(self.ahead_m)


@dataclass(slots=True)
class Walk:
    """The state of the walk over the rows.

    With `by_lot` a strand takes only skeins of one lot inside a stripe, as long as there are any, so that lots meet at
    a change of stripes.
    """

    m_per_g: Mapping[str, float]
    shelf: dict[str, list[OpenBall]]
    tail_m: float
    at_row_end: Mapping[str, bool]
    stripe_of: Sequence[int]
    by_lot: bool = True
    live: list[Live] = field(default_factory=list)
    joins: list[Join] = field(default_factory=list)
    rewinds: list[Rewind] = field(default_factory=list)
    shorts: list[Short] = field(default_factory=list)
    done: dict[Run, tuple[list[tuple[int, int, int]], float]] = field(default_factory=dict)
    # Strands left at the end of the row before, by their yarn and ball.
    just_left: dict[tuple[str, int], Live] = field(default_factory=dict)

    def rows_in_stripe(self, row: int) -> int:
        """Return how many rows the stripe of a row still has, that row among them."""
        return bisect_right(self.stripe_of, self.stripe_of[row - 1]) - row + 1

    def supply_m(self, name: str, lot: str, row: int, besides: Live | None) -> float:
        """Return what a lot can still give in this stripe beside what other strands take of it there."""
        rows = self.rows_in_stripe(row)
        free = [b.left_m for b in self.shelf[name] if b.lot == lot and not b.busy]
        for other in self.live:
            if other is not besides and other.ball is not None and other.run.name == name and other.ball.lot == lot:
                free.append(other.ball.left_m - math.fsum(other.ahead_m[:rows]))
        return math.fsum(free)

    def lot_for(self, name: str, at_least_m: float, ahead_m: Sequence[float], row: int) -> str | None:
        """Return the lot to begin a stripe with: the smallest that lasts through it, else the largest."""
        need = math.fsum(ahead_m[: self.rows_in_stripe(row)]) + 2 * self.tail_m
        lots = {b.lot for b in self.shelf[name] if not b.busy and b.left_m >= at_least_m - 1e-9}
        given = {lot: self.supply_m(name, lot, row, None) for lot in sorted(lots)}
        lasting = {lot: m for lot, m in given.items() if m >= need - 1e-9}
        if lasting:
            # What lies there comes before what is bought.
            return min(lasting, key=lambda lot: (lot == BOUGHT, lasting[lot]))
        return max(given, key=lambda lot: given[lot]) if given else None

    def take(self, name: str, need_m: float, at_least_m: float, row: int, lot: str | None = None) -> OpenBall | None:
        """Take the smallest free ball that lasts for `need_m`, else the largest; wind one in two if none is free.

        A ball of the lot asked for comes before all others.
        """
        free = [b for b in self.shelf[name] if not b.busy and b.left_m >= at_least_m - 1e-9]
        if self.by_lot and lot is not None:
            same = [b for b in free if b.lot == lot]
            wound = None if same else self.wind(name, need_m, at_least_m, row, lot)
            if wound is not None:
                wound.busy = True
                return wound
            free = same or free
        lasting = [b for b in free if b.left_m >= need_m - 1e-9]
        ball = min(lasting, key=lambda b: (b.left_m, b.number)) if lasting else None
        if ball is None and free:
            ball = max(free, key=lambda b: (b.left_m, -b.number))
        if ball is None:
            ball = self.wind(name, need_m, at_least_m, row)
        if ball is not None:
            ball.busy = True
        return ball

    def wind(self, name: str, need_m: float, at_least_m: float, row: int, lot: str | None = None) -> OpenBall | None:
        """Wind off part of a ball that another strand of the colour is using; shared by what both still need."""
        others = [x for x in self.live if x.run.name == name and x.ball is not None and x.ball.left_m > 0]
        others = [x for x in others if lot is None or (x.ball is not None and x.ball.lot == lot)]
        if not others:
            return None
        giver = max(others, key=lambda x: x.ball.left_m - x.left_m if x.ball else 0.0)
        ball = giver.ball
        if ball is None:
            return None
        own = giver.left_m + self.tail_m
        # Shared by what both need; the giver keeps its next row whatever comes.
        keeps = giver.ahead_m[0] + self.tail_m
        off = min(ball.left_m * need_m / (need_m + own), ball.left_m - keeps)
        if off < at_least_m - 1e-9 or ball.left_m - off < 1e-9:
            return None
        ball.left_m -= off
        wound = OpenBall(name, len(self.shelf[name]) + 1, "wound", off, off, ball.lot)
        self.shelf[name].append(wound)
        per_g = self.m_per_g[name]
        self.rewinds.append(
            Rewind(
                name=name,
                row=row,
                stripe=self.stripe_of[row - 1],
                skein=ball.number,
                new=wound.number,
                off_g=off / per_g,
                stays_g=ball.left_m / per_g,
            )
        )
        return wound

    def start(self, run: Run, ahead_m: list[float]) -> None:
        """Begin a run: its first end is on the new strand."""
        need, least = math.fsum(ahead_m) + 2 * self.tail_m, ahead_m[0] + self.tail_m
        ball = self.take(run.name, need, least, run.first_row, self.lot_for(run.name, least, ahead_m, run.first_row))
        strand = Live(run=run, ball=ball, ahead_m=ahead_m)
        if ball is not None:
            ball.left_m -= self.tail_m
            strand.balls.append((run.first_row, ball.number, run.first_row))
        self.live.append(strand)

    def turn_to_lot(self, strand: Live, row: int) -> None:
        """Where a stripe begins: change to another lot if the one in work does not last through the stripe."""
        ball, name = strand.ball, strand.run.name
        if ball is None or not self.by_lot or len({b.lot for b in self.shelf[name]}) < 2:
            return
        need = math.fsum(strand.ahead_m[: self.rows_in_stripe(row)]) + self.tail_m
        if ball.left_m + self.supply_m(name, ball.lot, row, strand) >= need - 1e-9:
            return
        lot = self.lot_for(name, strand.ahead_m[0] + 2 * self.tail_m, strand.ahead_m, row)
        if lot is None or lot == ball.lot or self.supply_m(name, lot, row, strand) < need:
            return
        strand.ball = self.change(strand, ball, row, lot=lot)

    def ready(self, strand: Live, row: int) -> None:
        """See that the ball of a strand lasts for its next row; all strands are made ready before any is worked."""
        ball = strand.ball
        if ball is not None and ball.left_m < strand.ahead_m[0] + self.tail_m - 1e-9:
            strand.ball = self.change(strand, ball, row)

    def work(self, strand: Live, row: int) -> None:
        """Feed one row of one strand."""
        name, need, ball = strand.run.name, strand.ahead_m[0], strand.ball
        if ball is None:
            strand.lacking_m += need
            if strand.short_row is None:
                strand.short_row = row
        else:
            ball.left_m -= need
            ball.stripes.add(self.stripe_of[row - 1])
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

    def change(self, strand: Live, old: OpenBall, row: int, *, lot: str | None = None) -> OpenBall | None:
        """Put down a ball that cannot finish the row, or is of another lot than the one to go on with, for another."""
        name = strand.run.name
        within = not self.at_row_end[name] and lot is None
        begins = self.stripe_of[row - 1] != self.stripe_of[max(row - 2, 0)]
        # Inside the row the rest of the old ball is used up first; whatever lacks comes from the new one.
        spent = max(0.0, old.left_m - self.tail_m) if within else 0.0
        least = strand.ahead_m[0] - spent + 2 * self.tail_m
        old.busy = False
        kept, old.left_m = old.left_m, old.left_m - spent if within else old.left_m
        if lot is None and begins and not within:
            lot = self.lot_for(name, least, strand.ahead_m, row)
        new = self.take(name, strand.left_m - spent + 2 * self.tail_m, least, row, lot or old.lot)
        if new is None:
            old.left_m = kept
            return None
        ended = self.just_left.pop((name, new.number), None)
        if ended is not None and not within:
            self.hand_over(strand, ended, row)
            return new
        old.left_m = max(0.0, old.left_m - self.tail_m)
        new.left_m -= self.tail_m
        if within:
            new.left_m += spent  # the row's full length is taken from the new ball by the caller
            old.stripes.add(self.stripe_of[row - 1])
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
                lots=(old.lot, new.lot),
                inside=old.lot != new.lot and (within or not begins),
            )
        )
        # Inside a row the new ball is there from the next row on.
        strand.balls.append((row + within, new.number, row + within))
        return new

    def hand_over(self, strand: Live, ended: Live, row: int) -> None:
        """Exchange the balls of a strand and of one just left: nobody cuts a ball off and joins it next to it."""
        old, new, tail = strand.ball, ended.ball, self.tail_m
        if old is None or new is None:
            return
        old.left_m, new.left_m = max(0.0, old.left_m - tail), new.left_m + tail
        (_, *mine), (_, *theirs) = strand.balls[-1], ended.balls[-1]
        strand.balls.append((row, theirs[0], theirs[1]))
        ended.balls.append((row, mine[0], mine[1]))
        strand.ball, ended.ball = new, old
        self.done[ended.run] = (ended.balls, old.left_m / self.m_per_g[ended.run.name])

    def finish(self, strand: Live) -> None:
        """End a run: its last end is cut and the ball goes back."""
        if strand.ball is not None:
            strand.ball.left_m = max(0.0, strand.ball.left_m - self.tail_m)
            strand.ball.busy = False
            self.done[strand.run] = (strand.balls, strand.ball.left_m / self.m_per_g[strand.run.name])
            self.just_left[strand.run.name, strand.ball.number] = strand

    def cut_fringe(self, name: str, need_m: float, piece_m: float) -> float:
        """Cut a fringe from what is left, fullest balls last; return the metres that are lacking."""
        for ball in sorted(self.shelf[name], key=lambda b: b.left_m):
            cut = min(math.ceil(need_m / piece_m - 1e-9), math.floor(ball.left_m / piece_m + 1e-9)) * piece_m
            ball.left_m -= cut
            need_m -= cut
            ball.stripes |= {self.stripe_of[-1] + 1} if cut else set()
        return max(0.0, need_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandEnd:
    """One strand at a change."""

    name: str
    # The row that it, or the ball it runs from now, was joined for, from 1; of two strands of one colour it tells the
    # earlier from the later.
    joined: int
    ball: int | None = None  # number of the ball it runs from, within its colour; None where skeins are not followed
    left_g: float | None = None  # what stays on that ball once the strand is cut; only of strands that are left


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandChange:
    """What is done with the strands to begin a stripe.

    It is done in the last stitch of `row`, before its last pull through: what is left is not pulled through again and
    is cut after it, what is taken up makes that pull through.
    """

    row: int  # the last row of the stripe before; 0 for the first, which only takes up
    stripe: int  # number of the stripe that begins, from 1; finishing is counted on behind the stripes
    left: tuple[StrandEnd, ...]  # those joined first stand first
    carried: tuple[StrandEnd, ...]
    taken: tuple[StrandEnd, ...]
    tail_cm: float  # length at which what is left is cut

    @property
    def names(self) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
        """Names of the strands left, taken up and carried on."""
        left, taken, carried = (tuple(end.name for end in part) for part in (self.left, self.taken, self.carried))
        return left, taken, carried


def changes_of(
    runs: Sequence[Run],
    last_rows: Sequence[int],
    tail_cm: float,
    balls: Mapping[Run, Sequence[tuple[int, int, int]]] | None = None,
    left_g: Mapping[Run, float] | None = None,
) -> tuple[StrandChange, ...]:
    """Return the change that begins each stripe."""

    def end(run: Run, row: int, *, cut: bool = False) -> StrandEnd:
        # Balls that follow each other at the end of that row are joined before its strands change.
        on = [(joined, ball) for first, ball, joined in (balls or {}).get(run, ()) if first <= row + 1]
        joined, ball = on[-1] if on else (run.first_row, None)
        left = (left_g or {}).get(run) if cut else None
        return StrandEnd(name=run.name, joined=joined, ball=ball, left_g=left)

    ends: dict[int, list[Run]] = {}
    begins: dict[int, list[Run]] = {}
    for run in runs:
        begins.setdefault(run.first_stripe, []).append(run)
        ends.setdefault(run.last_stripe + 1, []).append(run)
    out: list[StrandChange] = []
    held: list[Run] = []
    for stripe, row in enumerate([0, *last_rows[:-1]], 1):
        left, taken = ends.get(stripe, []), begins.get(stripe, [])
        carried = [run for run in held if run not in left]
        out.append(
            StrandChange(
                row=row,
                stripe=stripe,
                left=tuple(end(run, row, cut=True) for run in left),
                carried=tuple(end(run, row) for run in carried),
                taken=tuple(end(run, row) for run in taken),
                tail_cm=tail_cm,
            )
        )
        held = [*carried, *taken]
    return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ball:
    """A skein, a part skein or a ball wound off, and what became of it."""

    name: str
    number: int  # From 1 within its colour, part skeins first
    kind: str  # "new" is still to be bought
    lot: str  # its dye lot; `BOUGHT` where it is or will be bought and the lot is not known
    start_m: float
    left_m: float
    left_g: float
    # In which it is worked, from 1, finishing and fringe counted on behind them; none where it stays unopened.
    stripes: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Strands:
    """How the strands are fed."""

    runs: tuple[Run, ...]  # of the stripes, and of the finishing behind them
    changes: tuple[StrandChange, ...]  # what begins each stripe and each piece of finishing
    balls: tuple[Ball, ...]
    joins: tuple[Join, ...]
    rewinds: tuple[Rewind, ...]
    shorts: tuple[Short, ...]
    live_ends: int  # most strands on the hook at once
    ends_to_weave: int  # two for each run and two for each join
    # Yarns of which more than one ball is opened, so that balls are told apart by number.
    several: frozenset[str]
    notices: tuple[Notice, ...]

    @property
    def meetings(self) -> tuple[Join, ...]:
        """Where skeins of two lots meet inside a stripe."""
        return tuple(join for join in self.joins if join.inside)


def _shelf(yarn: Yarn, settings: YardageSettings, to_buy: int) -> list[OpenBall]:
    band = yarn.put_up
    if band is None:
        return []
    parts = sorted((float(g * band.m_per_g), lot.name) for lot in yarn.lots for g in lot.parts_g)
    sizes = [("part", m, lot) for m, lot in parts]
    whole = float(band.length_m)
    sizes += [("skein", whole, lot.name) for lot in yarn.lots for _ in range(lot.skeins)]
    bought = [(p.lot or BOUGHT, p.skeins) for p in settings.purchases if p.yarn == yarn.name]
    sizes += [("skein", whole, lot) for lot, n in sorted(bought, reverse=True) for _ in range(n)]
    sizes += [("new", whole, BOUGHT)] * to_buy
    return [OpenBall(yarn.name, i, kind, m, m, lot) for i, (kind, m, lot) in enumerate(sizes, 1)]


def feed(
    stripes: Sequence[Stripe],
    yardage: Yardage,
    yarns: Sequence[Yarn],
    settings: YardageSettings | None = None,
    *,
    buy: Literal["planned", "nothing"] = "planned",
) -> Strands:
    """Return which skein feeds which strand, row by row and round by round.

    The swatch is not walked: it comes from what is left.
    Where keeping each stripe to one lot would leave yarn lacking that is there, lots meet inside a stripe.
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
    need = {c.name: c for c in yardage.colours}
    banded = {yarn.name: yarn for yarn in yarns if yarn.put_up is not None and yarn.name in need}
    to_buy = {n: (need[n].buy_skeins or 0) if buy == "planned" else 0 for n in banded}
    work, fresh = all_work(stripes, yardage.finishes)
    runs = runs_of(work, fresh)

    def begun(*, by_lot: bool) -> Walk:
        return Walk(
            m_per_g={n: float(y.put_up.m_per_g) for n, y in banded.items() if y.put_up},
            shelf={n: _shelf(y, settings, to_buy[n]) for n, y in banded.items()},
            tail_m=settings.tail_cm / 100,
            at_row_end={
                n: joins_at_row_end(y.put_up, max(yardage.rows_m), settings) for n, y in banded.items() if y.put_up
            },
            stripe_of=[i for i, stripe in enumerate(work, 1) for _ in range(stripe.rows)],
            by_lot=by_lot,
        )

    piece_m = settings.fringe.cut_cm / 100 if settings.fringe else 1.0
    walk = _walk(begun(by_lot=True), runs, yardage, piece_m)
    if walk.shorts:
        other = _walk(begun(by_lot=False), runs, yardage, piece_m)
        walk = min(walk, other, key=lambda w: sum(s.lacking_m for s in w.shorts))
    balls = tuple(
        Ball(
            name=b.name,
            number=b.number,
            kind=b.kind,
            lot=b.lot,
            start_m=b.start_m,
            left_m=b.left_m,
            left_g=b.left_m / walk.m_per_g[b.name],
            stripes=tuple(sorted(b.stripes)),
        )
        for name in banded
        for b in walk.shelf[name]
    )
    opened = Counter(ball.name for ball in balls if ball.stripes and ball.stripes[0] <= len(work))
    on_balls = {run: through for run, (through, _) in walk.done.items()}
    left_g = {run: grams for run, (_, grams) in walk.done.items()}
    return Strands(
        runs=runs,
        changes=changes_of(runs, list(accumulate(s.rows for s in work)), settings.tail_cm, on_balls, left_g),
        balls=balls,
        joins=tuple(walk.joins),
        rewinds=tuple(walk.rewinds),
        shorts=tuple(walk.shorts),
        live_ends=max(len(stripe.strands) for stripe in stripes),
        ends_to_weave=2 * (len(runs) + len(walk.joins)),
        several=frozenset(name for name, n in opened.items() if n > 1),
        notices=_notices(work, len(stripes), walk, [n for n in need if n not in banded]),
    )


def _walk(walk: Walk, runs: Sequence[Run], yardage: Yardage, piece_m: float) -> Walk:
    """Walk all rows and rounds, then cut the fringe in pieces; return the walk as it ended."""
    lengths = [m + (0.0 if i else yardage.foundation_m) for i, m in enumerate(yardage.rows_m)]
    lengths += [m for piece in yardage.finishes for m in piece.lengths_m]
    begins: dict[int, list[Run]] = {}
    for run in runs:
        begins.setdefault(run.first_row, []).append(run)
    for row in range(1, len(lengths) + 1):
        if row > 1 and walk.stripe_of[row - 1] != walk.stripe_of[row - 2]:
            for strand in walk.live:
                walk.turn_to_lot(strand, row)
        for run in begins.get(row, ()):
            if run.name in walk.shelf:
                walk.start(run, lengths[run.first_row - 1 : run.last_row])
        for strand in walk.live:
            walk.ready(strand, row)
        for strand in walk.live:
            walk.work(strand, row)
        walk.just_left.clear()
        for strand in [s for s in walk.live if not s.ahead_m]:
            walk.finish(strand)
        walk.live = [s for s in walk.live if s.ahead_m]
    for name, metres in yardage.fringe_m:
        lacking = walk.cut_fringe(name, metres, piece_m) if name in walk.shelf else 0.0
        if lacking > 1e-6:
            last = walk.stripe_of[-1] + 1
            walk.shorts.append(Short(name=name, row=len(lengths) + 1, stripe=last, lacking_m=lacking))
    return walk


def _notices(work: Sequence[Stripe], stripes: int, walk: Walk, left_out: Sequence[str]) -> tuple[Notice, ...]:
    out = []
    for short in walk.shorts:
        lacking = Amount(short.lacking_m, "m", 1)
        if short.stripe > stripes:
            out.append(
                note(
                    "{name} runs out in the finishing; {lacking} are lacking.",
                    "warning",
                    name=short.name,
                    lacking=lacking,
                )
            )
            continue
        out.append(
            note(
                "{name} runs out before row {row} (stripe {stripe}); {lacking} are lacking.",
                "warning",
                name=short.name,
                row=short.row,
                stripe=short.stripe,
                lacking=lacking,
            )
        )
        partners = [n for n in work[short.stripe - 1].strands if n != short.name]
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
                "Skeins of {names} are not followed, because their labels are not known.",
                "assumed",
                names=", ".join(left_out),
            )
        )
    return tuple(out)
