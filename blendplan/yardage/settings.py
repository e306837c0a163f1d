"""What the maker may set about yarn used: tails, risk, measured rows, border, fringe.

Yarn beside the rows of the stripes: tails, and finishing, piece by piece in the order of work.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from blendplan.budgets import MAX_EVENTS, MAX_MEASURED, MAX_ORDER
from blendplan.errors import YarnError
from blendplan.fabric.finish import Border
from blendplan.fabric.rows import Row
from blendplan.record import held, record
from blendplan.stripes.model import Stripe, runs_of
from blendplan.yardage.making import Purchase
from blendplan.yardage.measured import HEIGHT_PER_WIDTH, TURNING_CHAINS, Measured, row_cm, stitch_cm, turning_chains


@record
class Fringe:
    """Strands knotted into the first and the last row, or tassels at the same places."""

    # Finished length below the edge, 1 to 60.
    length_cm: float = held("length of the fringe", default=12.0, low=1, high=60, unit="cm")
    # Distance of two knots along the straight row, 0.3 to 100.
    every_cm: float = held("distance of fringe knots", default=2.5, low=0.3, high=100, unit="cm")
    # Cut pieces folded into one knot, 1 to 40; each gives two hanging ends.
    pieces: int = held("pieces in a fringe knot", default=4, low=1, high=40)
    # Extra of one piece for its knot and for trimming. The default is *assumed*.
    knot_cm: float = held("extra for a fringe knot", default=5.0, low=0, high=30, unit="cm")
    ends: int = held("ends with a fringe", default=2, low=1, high=2)  # 2: along the first and the last row
    # Yarns that take turns piece by piece; empty takes those of the stripe at each end.
    strands: tuple[str, ...] = held("strands of the fringe", default=(), longest=80, most=40)

    @property
    def cut_cm(self) -> float:
        """Length that one piece is cut at."""
        return 2 * self.length_cm + self.knot_cm


@record
class YardageSettings:
    """Inputs of the estimate beside stripes, fabric and yarns."""

    # One end to weave in, 0 to 100. Makers' pages (read November 2026) advise 10 to 15.
    tail_cm: float = held("length of a tail", default=15.0, low=0, high=100, unit="cm")
    # Accepted chance that one colour runs short, 0.0001 to 0.5; used where `margin` is None.
    chance_short: float = held("chance of running short", default=0.05, low=0.0001, high=0.5)
    # Extra by hand as a share of the need, 0 to 5; then skeins are counted exactly against need and margin.
    margin: Fraction | None = held("margin", default=None, low=0, high=5)
    # What the maker has weighed or measured; see `blendplan.yardage.measured`.
    measured: tuple[Measured, ...] = held("measured pieces", default=(), most=MAX_MEASURED)
    # Metres of the strands counted once kept for a swatch, worked in the strands of the first stripe. 0 as a rule: a
    # swatch can be pulled out again.
    swatch_m: float = held("metres for a swatch", default=0.0, low=0, high=1000, unit="m")
    # Standard deviation of the length of one skein as a share of the band's, 0 to 0.3. The default of 3 % is *assumed*:
    # makers tell of equal balls that leave unequal rests, and nobody gives a figure.
    skein_scatter: float = held("scatter of skeins", default=0.03, low=0, high=0.3)
    # Where a new skein may be joined. At row ends up to a row is lost from every skein but the last.
    join_at: Literal["row-end", "anywhere"] = held("place of a join", default="row-end")
    # True buys one skein more of every colour that is bought, for when its dye lot may be gone later.
    spare_skein: bool = held("one skein more", default=False)
    # Numbers of skeins to buy that were chosen against the advice, by yarn.
    skeins: tuple[tuple[str, int], ...] = held(
        "skeins chosen", default=(), low=0, high=1000, longest=80, most=MAX_ORDER
    )
    # Step of the kitchen scale, 0.01 to 50.
    scale_g: float = held("step of the scale", default=1.0, low=0.01, high=50, unit="g")
    # What was bought since the shelf was looked through; it lies there like the shelf's own.
    purchases: tuple[Purchase, ...] = held("purchases", default=(), most=MAX_EVENTS)
    border: Border | None = held("border", default=None)
    fringe: Fringe | None = held("fringe", default=None)

    @property
    def names(self) -> frozenset[str]:
        """Yarns that border, fringe and measured pieces name, beside those of the stripes."""
        pieces = (self.border, self.fringe, *self.measured)
        return frozenset(name for piece in pieces for name in getattr(piece, "strands", ()))

    def bought(self, name: str) -> int:
        """Return the skeins of a yarn that were bought."""
        return sum(p.skeins for p in self.purchases if p.yarn == name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """A piece of finishing worked like a stripe: rows that straighten an end, or a border."""

    kind: Literal["straight-top", "straight-bottom", "border"]
    strands: tuple[str, ...]
    lengths_m: tuple[float, ...]  # each row or round, metres of each strand
    fresh: bool = False  # true where it begins elsewhere on the work, so that no strand is carried into it


def finishing(
    stripes: Sequence[Stripe], settings: YardageSettings, levels: Sequence[Row], sizes_cm: tuple[float, float, float]
) -> tuple[Finish, ...]:
    """Return the pieces of finishing in the order of work, at the default length per stitch.

    The top is straightened in the strands of the last stripe, which carry on; the bottom in those of the first,
    joined afresh; the border in its own, or in those last held.
    """
    straight, height, width = sizes_cm
    out: list[Finish] = []
    ends = (("straight-top", stripes[-1].strands, False), ("straight-bottom", stripes[0].strands, True))
    for row, (kind, strands, fresh) in zip(levels, ends, strict=False):
        metres = row_cm(row.tally, width, turning=turning_chains(row)) / 100
        out.append(Finish(kind=kind, strands=strands, lengths_m=(metres,), fresh=fresh))  # type: ignore[arg-type]
    if settings.border is not None:
        rounds = tuple(cm / 100 for cm in border_rounds_cm(settings.border, straight, height, width))
        strands = settings.border.strands or stripes[-1].strands
        out.append(Finish(kind="border", strands=strands, lengths_m=rounds))
    return tuple(out)


def all_work(stripes: Sequence[Stripe], finishes: Sequence[Finish]) -> tuple[tuple[Stripe, ...], frozenset[int]]:
    """Return stripes and pieces of finishing as one list of stripes, and the numbers of those that begin afresh."""
    pieces = tuple(Stripe(strands=piece.strands, rows=len(piece.lengths_m)) for piece in finishes)
    fresh = frozenset(len(stripes) + i for i, piece in enumerate(finishes, 1) if piece.fresh)
    return (*stripes, *pieces), fresh


def tail_counts(stripes: Sequence[Stripe], fresh: Collection[int] = ()) -> Counter[str]:
    """Return how many ends each colour leaves to weave in: two for each strand from where it is joined to its cut.

    Two solid stripes of unlike colours have four ends between them, AA to AB has two.

    Examples
    --------
    >>> a, b = Stripe(strands=("Fern", "Fern"), rows=4), Stripe(strands=("Fern", "Clay"), rows=2)
    >>> sorted(tail_counts([a, b]).items())
    [('Clay', 2), ('Fern', 4)]
    """
    tails: Counter[str] = Counter()
    for run in runs_of(stripes, fresh):
        tails[run.name] += 2
    return tails


def border_rounds_cm(
    border: Border, straight_width_cm: float, height_cm: float, stitch_width_cm: float
) -> tuple[float, ...]:
    """Return the yarn of each round of a border, cm of each of its strands.

    Each round takes the yarn of one stitch for every stitch width of its length; it is longer than the one inside by
    eight stitch heights, and begins with the stitch's turning chain.
    """
    around = 2 * (straight_width_cm + height_cm)
    out = []
    for _ in range(border.rounds):
        stitches = around / stitch_width_cm * stitch_cm(border.stitch, stitch_width_cm)
        out.append(stitches + TURNING_CHAINS[border.stitch] * stitch_cm("ch", stitch_width_cm))
        around += 8 * stitch_width_cm * HEIGHT_PER_WIDTH[border.stitch]
    return tuple(out)


def fringe_pieces(fringe: Fringe, straight_width_cm: float) -> int:
    """Return the pieces to cut for one end: one knot every `every_cm` and one more."""
    return (int(straight_width_cm / fringe.every_cm + 1e-9) + 1) * fringe.pieces


def fringe_cm(fringe: Fringe, straight_width_cm: float) -> float:
    """Return the yarn of the fringe along one end, cm over all its pieces.

    Each piece is folded, so it is cut at twice the finished length and the extra for its knot.

    Examples
    --------
    >>> fringe_cm(Fringe(length_cm=10, every_cm=5, pieces=2, knot_cm=5), 100.0)
    1050.0
    """
    return float(fringe_pieces(fringe, straight_width_cm) * fringe.cut_cm)


def fringe_m(fringe: Fringe | None, stripes: Sequence[Stripe], straight_width_cm: float) -> Mapping[str, float]:
    """Return the metres that each colour gives to the fringe of all ends; yarns take turns piece by piece."""
    out: defaultdict[str, float] = defaultdict(float)
    if fringe is None:
        return out
    each = fringe_cm(fringe, straight_width_cm) / 100
    for stripe in (stripes[-1], stripes[0])[: fringe.ends]:
        strands = fringe.strands or stripe.strands
        for name in strands:
            out[name] += each / len(strands)
    return out


def check_names(names: Sequence[str], known: Sequence[str], piece: str) -> None:
    """Refuse a border or fringe in a yarn that is not there."""
    for name in names:
        if name not in known:
            raise YarnError(
                "the {piece} uses {given}, which is none of the yarns; the yarns are {allowed}.",
                piece=piece,
                given=repr(name),
                allowed=", ".join(known),
            )
