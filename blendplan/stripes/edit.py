"""Changes by hand: every function takes stripes and returns new ones; positions are counted from 0.

A locked stripe stays what and where it is: it must be unlocked before it is changed, and nothing moves past it
by itself.
"""

from __future__ import annotations

import random
from collections.abc import Sequence as Seq
from dataclasses import replace

from blendplan.budgets import MAX_ROWS
from blendplan.errors import StripeError
from blendplan.stripes.model import Stripe
from blendplan.units import whole

Stripes = tuple[Stripe, ...]


def _at(stripes: Seq[Stripe], index: int, *, change: bool = True) -> Stripe:
    """Return the stripe at a position, refusing one that is not there, or locked where it would change."""
    if not stripes:
        raise StripeError("there are no stripes yet; add one first.")
    index = whole(index, "position of a stripe", 0, len(stripes) - 1)
    if change and stripes[index].locked:
        raise StripeError("stripe {number} is locked; unlock it before changing it.", number=index + 1)
    return stripes[index]


def add(stripes: Seq[Stripe], index: int, stripe: Stripe) -> Stripes:
    """Return the stripes with one put in before position `index` (len(stripes) puts it last)."""
    index = whole(index, "position of a stripe", 0, len(stripes))
    return (*stripes[:index], stripe, *stripes[index:])


def remove(stripes: Seq[Stripe], index: int) -> Stripes:
    """Return the stripes without one."""
    _at(stripes, index)
    if len(stripes) == 1:
        raise StripeError("the last stripe cannot be taken away; change it instead.")
    return (*stripes[:index], *stripes[index + 1 :])


def move(stripes: Seq[Stripe], source: int, target: int) -> Stripes:
    """Return the stripes with one moved so that it ends at position `target`.

    Locked stripes keep their positions; the free ones between close up.
    """
    _at(stripes, source)
    _at(stripes, target)
    free = [i for i, s in enumerate(stripes) if not s.locked]
    order = [stripes[i] for i in free]
    order.insert(free.index(target), order.pop(free.index(source)))
    return _refill(stripes, order)


def _refill(stripes: Seq[Stripe], free: Seq[Stripe]) -> Stripes:
    """Return the stripes with the free ones replaced in turn, the locked ones left."""
    new = iter(free)
    return tuple(s if s.locked else next(new) for s in stripes)


def swap(stripes: Seq[Stripe], one: int, other: int) -> Stripes:
    """Return the stripes with two exchanged."""
    first, second = _at(stripes, one), _at(stripes, other)
    out = list(stripes)
    out[one], out[other] = second, first
    return tuple(out)


def reverse(stripes: Seq[Stripe], first: int, last: int) -> Stripes:
    """Return the stripes with the stretch `first` to `last` (both in it) the other way round; locked ones stay."""
    first = whole(first, "first stripe of the stretch", 0, max(0, len(stripes) - 1))
    last = whole(last, "last stripe of the stretch", first, max(0, len(stripes) - 1))
    part = stripes[first : last + 1]
    free = [s for s in reversed(part) if not s.locked]
    return (*stripes[:first], *_refill(part, free), *stripes[last + 1 :])


def split(stripes: Seq[Stripe], index: int, rows: int) -> Stripes:
    """Return the stripes with one cut in two, the first of `rows` rows."""
    stripe = _at(stripes, index)
    if stripe.rows < 2:
        raise StripeError("stripe {number} has one row and cannot be split.", number=index + 1)
    rows = whole(rows, "rows of the first part", 1, stripe.rows - 1)
    parts = (replace(stripe, rows=rows), replace(stripe, rows=stripe.rows - rows))
    return (*stripes[:index], *parts, *stripes[index + 1 :])


def join(stripes: Seq[Stripe], index: int) -> Stripes:
    """Return the stripes with one and the next made one; they must have the same strands."""
    first, second = _at(stripes, index), _at(stripes, index + 1)
    if sorted(first.strands) != sorted(second.strands):
        raise StripeError(
            "stripes {one} and {other} have different strands and cannot be joined.", one=index + 1, other=index + 2
        )
    rows = whole(first.rows + second.rows, "rows of a stripe", 1, MAX_ROWS)
    return (*stripes[:index], replace(first, rows=rows), *stripes[index + 2 :])


def set_rows(stripes: Seq[Stripe], index: int, rows: int) -> Stripes:
    """Return the stripes with the rows of one changed."""
    return (*stripes[:index], replace(_at(stripes, index), rows=rows), *stripes[index + 1 :])


def lock(stripes: Seq[Stripe], index: int, locked: bool = True) -> Stripes:
    """Return the stripes with one locked or unlocked."""
    stripe = replace(_at(stripes, index, change=False), locked=locked)
    return (*stripes[:index], stripe, *stripes[index + 1 :])


def shuffle(stripes: Seq[Stripe], seed: int) -> Stripes:
    """Return the stripes that are not locked in another order; the same seed gives the same order."""
    free = [s for s in stripes if not s.locked]
    random.Random(whole(seed, "seed", 0, 2**32 - 1)).shuffle(free)
    return _refill(stripes, free)
