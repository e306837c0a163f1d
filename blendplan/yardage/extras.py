"""Yarn beside the rows: tails, border and fringe, per colour."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from blendplan.errors import YarnError
from blendplan.stripes.model import Stripe, changes
from blendplan.yardage.models import HEIGHT_PER_WIDTH, TURNING_CHAINS, stitch_cm
from blendplan.yardage.settings import Border, Fringe

__all__ = ["border_cm", "fringe_cm", "fringe_ends", "tail_counts"]


def tail_counts(stripes: Sequence[Stripe], border: Sequence[str] = ()) -> Counter[str]:
    """Return how many ends each colour leaves to weave in.

    Parameters
    ----------
    stripes : sequence of Stripe
        At least one.
    border : sequence of str
        Strands of a border with yarns of its own, which start and finish afresh; empty where the last stripe's
        strands carry on into it.

    Notes
    -----
    One end for each strand at the start and at the finish, and at each change one for each strand cut and one for
    each joined: two solid stripes of unlike colours have four ends between them, AA to AB has two.

    Examples
    --------
    >>> a, b = Stripe(strands=("Fern", "Fern"), rows=4), Stripe(strands=("Fern", "Clay"), rows=2)
    >>> sorted(tail_counts([a, b]).items())
    [('Clay', 2), ('Fern', 4)]
    """
    tails = Counter(stripes[0].strands)
    tails.update(stripes[-1].strands)
    for change in changes(stripes):
        tails.update(change.cut)
        tails.update(change.join)
    for name in border:
        tails[name] += 2
    return tails


def border_cm(border: Border, straight_width_cm: float, height_cm: float, stitch_width_cm: float) -> float:
    """Return the yarn of a border, cm of each of its strands.

    Parameters
    ----------
    border : Border
    straight_width_cm : float
        Width of the row laid straight: the wavy edge is as long as that.
    height_cm : float
        Of the finished fabric.
    stitch_width_cm : float

    Notes
    -----
    Each round takes the yarn of one stitch for every stitch width of its length; it is longer than the one inside by
    eight stitch heights, and begins with the stitch's turning chain.
    """
    total, around = 0.0, 2 * (straight_width_cm + height_cm)
    for _ in range(border.rounds):
        total += around / stitch_width_cm * stitch_cm(border.stitch, stitch_width_cm)
        total += TURNING_CHAINS[border.stitch] * stitch_cm("ch", stitch_width_cm)
        around += 8 * stitch_width_cm * HEIGHT_PER_WIDTH[border.stitch]
    return total


def fringe_ends(fringe: Fringe, stripes: Sequence[Stripe]) -> tuple[tuple[str, ...], ...]:
    """Return the strands that the fringe is cut from, one tuple for each fringed end."""
    own = (stripes[0].strands, stripes[-1].strands)
    return tuple(fringe.strands or own[-1 - end] for end in range(fringe.ends))


def fringe_cm(fringe: Fringe, straight_width_cm: float) -> float:
    """Return the yarn of the fringe along one end, cm over all its pieces.

    Notes
    -----
    One knot every `every_cm` and one more; each piece is folded, so it is cut at twice the finished length and the
    extra for its knot.

    Examples
    --------
    >>> fringe_cm(Fringe(length_cm=10, every_cm=5, pieces=2, knot_cm=5), 100.0)
    1050.0
    """
    knots = int(straight_width_cm / fringe.every_cm + 1e-9) + 1
    return float(knots * fringe.pieces * (2 * fringe.length_cm + fringe.knot_cm))


def check_names(names: Sequence[str], known: Sequence[str], piece: str) -> None:
    """Refuse a border or fringe in a yarn that is not there.

    Raises
    ------
    YarnError
        Naming the yarns that are.
    """
    for name in names:
        if name not in known:
            raise YarnError(
                "the {piece} uses {given}, which is none of the yarns; the yarns are {allowed}.",
                piece=piece,
                given=repr(name),
                allowed=", ".join(known),
            )
