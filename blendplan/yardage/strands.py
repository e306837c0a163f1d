"""Skeins on the hook: which skein feeds which strand, where each runs out, and what is wound in two.

The blanket is walked row by row with the expected lengths.
A skein that cannot finish the next row is put down at the row's end, so that knots fall at the edge; its rest may
serve a later, shorter run.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from blendplan.errors import StripeError
from blendplan.stripes.model import Stripe, total_rows
from blendplan.wording import Notice, note, rounded
from blendplan.yardage.length import Yardage
from blendplan.yardage.need import joins_at_row_end
from blendplan.yardage.runs import Run, runs_of
from blendplan.yardage.settings import YardageSettings
from blendplan.yardage.walk import Join, OpenBall, Rewind, Short, Walk
from blendplan.yarn import Yarn

__all__ = ["Ball", "Join", "Rewind", "Short", "Strands", "feed"]


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


def _shelf(yarn: Yarn, bought: int) -> list[OpenBall]:
    band = yarn.put_up
    if band is None:
        return []
    sizes = [("part", float(g * band.m_per_g)) for g in sorted(yarn.part_skeins_g)]
    sizes += [("skein", float(band.length_m))] * (yarn.skeins_on_hand + bought)
    return [OpenBall(yarn.name, i, kind, m, m) for i, (kind, m) in enumerate(sizes, 1)]


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
    walk = Walk(
        m_per_g={n: float(y.put_up.m_per_g) for n, y in banded.items() if y.put_up},
        shelf={n: _shelf(y, (need[n].buy_skeins or 0) if buy == "planned" else 0) for n, y in banded.items()},
        tail_m=settings.tail_cm / 100,
        at_row_end={n: joins_at_row_end(y.put_up, row_m, settings) for n, y in banded.items() if y.put_up},
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


def _notices(stripes: Sequence[Stripe], walk: Walk, left_out: Sequence[str]) -> tuple[Notice, ...]:
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
                lacking=rounded(short.lacking_m, 1),
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
