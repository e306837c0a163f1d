"""The orders that answer what a maker asks.

The questions are the library's own calls, the same that the command line makes, so both give the same numbers.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from blendplan.blanket import Blanket, Wishes
from blendplan.errors import StripeError
from blendplan.order import (
    Alternative,
    Constraints,
    Doubt,
    FewMoves,
    Ordering,
    Question,
    alternatives,
    doubt_order,
    few_moves,
    find_order,
    short_of_yarn,
)
from blendplan.reckon import reckon
from blendplan.yarn import Yarn

__all__ = [
    "MIXED",
    "OFFERED",
    "answers",
    "asked",
    "asked_of",
    "best",
    "constraints",
    "doubts",
    "few",
    "fitted",
    "mixed",
    "more",
    "weighed",
    "weights",
]

# Aims that need nothing more than the yarns.
OFFERED = ("smoothest", "even", "steady", "contrast", "light-to-dark", "dark-to-light", "hue", "high-low")
# Aims that can be weighed in beside another; the order in hand is known to the page.
MIXED = (*OFFERED, "own")
SHOWN = 3


def weights(wishes: Wishes) -> dict[str, float]:
    """Return aims and weights as the library takes them."""
    if not wishes.others:
        return {wishes.aim: 1.0}
    others = {name: float(w) for name, w in wishes.others if name != wishes.aim}
    return {wishes.aim: float(wishes.weight), **others}


def constraints(wishes: Wishes, blanket: Blanket) -> Constraints:
    """Return what must hold of an order, yarns by name."""
    names = blanket.names
    return Constraints(
        first=names.get(wishes.first),
        last=names.get(wishes.last),
        closed=wishes.closed,
        short=_short(blanket) if wishes.short_outside and not wishes.closed else (),
    )


def _short(blanket: Blanket) -> tuple[str, ...]:
    """Return the colours, at most two, whose yarn on hand is enough for an end of the order but not inside it."""
    row = max(reckon(blanket).yardage.rows_m)
    design = blanket.design
    inner, end = (2 * row * design.solid_rows + n * row * design.blend_rows for n in (2, 1))
    in_order = tuple(y for y in blanket.yarns if y.key in design.order)
    return short_of_yarn(in_order, inner, end)[:2]


def more(wishes: Wishes) -> bool:
    """Return whether something beyond one aim and the ends is asked for."""
    return bool(wishes.others or wishes.closed or wishes.choose or wishes.short_outside)


def mixed(wishes: Wishes, names: tuple[str, ...]) -> Wishes:
    """Return the wishes with these other aims weighed in; those that were there keep their weights."""
    old = dict(wishes.others)
    return replace(wishes, others=tuple((n, old.get(n, 1)) for n in MIXED if n in names and n != wishes.aim))


def weighed(wishes: Wishes, name: str, weight: int) -> Wishes:
    """Return the wishes with one aim weighed otherwise."""
    if name == wishes.aim:
        return replace(wishes, weight=weight)
    return replace(wishes, others=tuple((n, weight if n == name else w) for n, w in wishes.others))


def fitted(blanket: Blanket) -> Wishes:
    """Return the wishes of a blanket without yarns that are no longer there, and with a number that can be chosen."""
    wishes = blanket.design.wishes
    keys, most = asked_of(blanket, wishes), len(blanket.yarns)
    return replace(
        wishes,
        others=tuple((n, w) for n, w in wishes.others if n != wishes.aim),
        first=wishes.first if wishes.first in keys else "",
        last=wishes.last if wishes.last in keys else "",
        choose=min(wishes.choose, most) if most > 2 else 0,
        keep=tuple(k for k in wishes.keep if k in keys),
    )


def asked_of(blanket: Blanket, wishes: Wishes) -> tuple[str, ...]:
    """Return the keys that may stand in the order: all yarns where a choice is asked for, else those in hand."""
    if wishes.choose:
        return tuple(y.key for y in blanket.yarns)
    return tuple(dict.fromkeys(blanket.design.order))


def answers(blanket: Blanket, wishes: Wishes) -> tuple[Alternative, ...]:
    """Return a handful of really different good orders by name, the best first.

    Raises
    ------
    BlendplanError
        If the wishes contradict each other.
    """
    return _answers(*asked(blanket, wishes))


def best(blanket: Blanket, wishes: Wishes) -> Ordering:
    """Return the best order by name.

    Raises
    ------
    BlendplanError
        If the wishes contradict each other.
    """
    return _best(*asked(blanket, wishes))


def doubts(blanket: Blanket, wishes: Wishes, found: Ordering) -> Doubt:
    """Return what the shades' doubt does to an order that answers the wishes."""
    return _doubts(found, *asked(blanket, wishes))


def asked(blanket: Blanket, wishes: Wishes) -> tuple[tuple[Yarn, ...], Question]:
    """Return the yarns that may stand in the order, and what it is asked to do, yarns by name."""
    keys, names = asked_of(blanket, wishes), blanket.names
    question = Question(
        aim=weights(wishes),
        constraints=constraints(wishes, blanket),
        viewing=blanket.viewing,
        blend_rows=blanket.design.blend_rows,
        own=tuple(names[key] for key in blanket.design.order if key in keys),
        choose=wishes.choose or None,
        keep=tuple(names[key] for key in wishes.keep) if wishes.choose else (),
    )
    return tuple(y for y in blanket.yarns if y.key in keys), question


def few(blanket: Blanket, wishes: Wishes) -> tuple[FewMoves, ...]:
    """Return how much better the order in hand gets with a move or a few; nothing where it keeps to no wish."""
    if wishes.choose or len(set(blanket.design.order)) < len(blanket.design.order):
        return ()
    yarns, question = asked(blanket, wishes)
    try:
        return tuple(one for one in _few(yarns, question.own, question) if one.moves)
    except StripeError:
        return ()


_few = lru_cache(maxsize=16)(few_moves)
_best = lru_cache(maxsize=32)(find_order)
_doubts = lru_cache(maxsize=16)(doubt_order)


@lru_cache(maxsize=16)
def _answers(yarns: tuple[Yarn, ...], question: Question) -> tuple[Alternative, ...]:
    found = alternatives(yarns, question, count=SHOWN)
    if question.choose is None:
        return found
    # What is said of the best one is the choice's own word.
    return (replace(found[0], ordering=find_order(yarns, question)), *found[1:])
