"""Her own order, made better with few moves; and colours that are short of yarn."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.errors import StripeError
from blendplan.order.find import Task, finish, prepare
from blendplan.order.model import Ordering
from blendplan.order.search import all_shifts
from blendplan.order.solve import Found
from blendplan.units import whole
from blendplan.wording import Notice, note
from blendplan.yarn import Yarn

__all__ = ["FewMoves", "few_moves", "short_of_yarn"]

# Orders carried on from one number of moves to the next, beyond the two moves that are looked at in full.
_BEAM = 400
_FULL = 250_000


@dataclass(frozen=True, slots=True, kw_only=True)
class FewMoves:
    """The best order with so many moves.

    Attributes
    ----------
    moves : int
        Colours taken out and put elsewhere, at most.
    ordering : Ordering
    saved : float
        Share of the cost of her own order that is saved.
    exact : bool
        True where no order with so many moves is better.
    words : Notice
    """

    moves: int
    ordering: Ordering
    saved: float
    exact: bool
    words: Notice


def few_moves(yarns: tuple[Yarn, ...], own: tuple[str, ...], *, most: int = 3, **question: Any) -> tuple[FewMoves, ...]:
    """Return the best orders that are 0, 1, ... `most` moves away from her own.

    Parameters
    ----------
    yarns : tuple of Yarn
    own : tuple of str
        Her order of all of them.
    most : int
        1 to 10.
    **question
        `aim`, `constraints` and the other keywords of `find_order`.

    Returns
    -------
    tuple of FewMoves
        Only numbers of moves that make it better; the first is her own order if it keeps to the wishes.

    Notes
    -----
    One move is looked at in full; two as well while that is at most 250,000 orders (22 colours). Further moves go
    on from the 400 best.
    """
    most = whole(most, "moves", 1, 10)
    task = prepare(yarns, own=own, **question)
    model = task.model
    if sorted(own) != sorted(model.names):
        raise StripeError("her own order has to hold each of the {n} colours once; mend it first.", n=len(model.names))
    where = {n: i for i, n in enumerate(model.names)}
    front = np.array([[where[n] for n in own]], dtype=np.intp)
    shifts = all_shifts(model.m)
    out: list[FewMoves] = []
    start: float | None = None
    whole_front = True
    for moves in range(most + 1):
        if moves:
            whole_front = whole_front and len(front) * len(shifts) <= _FULL
            if not whole_front:
                front = front[np.lexsort((model.value(front), model.faults(front)))[:_BEAM]]
            front = np.unique(front[:, shifts].reshape(-1, model.m), axis=0)
        allowed = front[model.faults(front) == 0]
        if not len(allowed):
            continue
        values = model.value(allowed)
        value = float(values.min())
        start = value if start is None else start
        if out and value >= out[-1].ordering.cost - 1e-9:
            continue
        out.append(_tell(task, allowed[int(values.argmin())], (moves, value, start), whole_front))
    if not out:
        raise StripeError("no order within {most} moves keeps to all wishes; allow more moves or drop one.", most=most)
    return tuple(out)


def _tell(task: Task, order: NDArray[np.intp], got: tuple[int, float, float], exact: bool) -> FewMoves:
    moves, value, start = got
    found = Found(tuple(int(i) for i in order), value, 0.0, False, 0)
    ordering = finish(found, task, stopped=False, as_is=True)
    saved = (start - value) / start if start > 0 else 0.0
    percent = f"{100 * saved:.1f}"
    if not moves:
        words = note("her own order as it is.")
    elif moves == 1:
        words = note("one move saves {percent} % of the cost.", percent=percent)
    else:
        words = note("{moves} moves save {percent} % of the cost.", moves=moves, percent=percent)
    return FewMoves(moves=moves, ordering=ordering, saved=saved, exact=exact, words=words)


def short_of_yarn(yarns: tuple[Yarn, ...], inner_m: Fraction | float, end_m: Fraction | float) -> tuple[str, ...]:
    """Return the colours whose yarn on hand is enough for an end place but not for an inner one.

    Parameters
    ----------
    yarns : tuple of Yarn
        Those without a put-up are left out: their metres are not known.
    inner_m, end_m : Fraction or float
        Metres that an inner and an end place use (3 to 4 with equal stripes; trade facts, derived).

    Returns
    -------
    tuple of str
        The scarcest first; `Constraints(short=...)` takes the first two.
    """
    found = []
    for yarn in yarns:
        if yarn.put_up is None:
            continue
        grams = yarn.skeins_on_hand * yarn.put_up.mass_g + sum(yarn.part_skeins_g, Fraction(0))
        metres = grams * yarn.put_up.m_per_g
        if end_m <= metres < inner_m:
            found.append((metres, yarn.name))
    return tuple(name for _, name in sorted(found))
