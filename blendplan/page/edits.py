"""Changes of a brief as plain functions: what the page's fields and buttons do. No Streamlit here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from blendplan.errors import StripeError, YarnError
from blendplan.plan import Brief
from blendplan.stripes.model import Stripe
from blendplan.yarn import Shade, Yarn

__all__ = [
    "add_yarn",
    "by_hand",
    "change_rule",
    "change_stripe",
    "change_yarn",
    "double_stripe",
    "drop_stripe",
    "drop_yarn",
    "move_stripe",
    "rename_yarn",
    "reorder",
    "reverse_stretch",
    "swap_stripes",
]


def add_yarn(brief: Brief, yarn: Yarn) -> Brief:
    """Return the brief with one more yarn, last in the order."""
    rule = replace(brief.sequence, order=(*brief.sequence.order, yarn.name))
    return replace(brief, yarns=(*brief.yarns, yarn), sequence=rule)


def change_yarn(brief: Brief, name: str, **changes: Any) -> Brief:
    """Return the brief with some fields of a yarn changed (not its name)."""
    return replace(brief, yarns=tuple(replace(y, **changes) if y.name == name else y for y in brief.yarns))


def set_shade(brief: Brief, name: str, at: int, shade: Shade) -> Brief:
    """Return the brief with one shade of a yarn replaced."""
    yarn = brief.yarn(name)
    return change_yarn(brief, name, shades=tuple(shade if i == at else s for i, s in enumerate(yarn.shades)))


def _named(brief: Brief, old: str, new: str) -> dict[str, Any]:
    """Return the parts of a brief that name yarns, with one name replaced."""

    def swap(names: Sequence[str]) -> tuple[str, ...]:
        return tuple(new if n == old else n for n in names)

    settings = brief.yardage
    if settings.border is not None:
        settings = replace(settings, border=replace(settings.border, strands=swap(settings.border.strands)))
    if settings.fringe is not None:
        settings = replace(settings, fringe=replace(settings.fringe, strands=swap(settings.fringe.strands)))
    kept: tuple[Any, ...] = settings.measured
    measured = tuple(replace(m, strands=swap(m.strands)) if hasattr(m, "strands") else m for m in kept)
    stripes = brief.stripes
    return {
        "sequence": replace(brief.sequence, order=swap(brief.sequence.order)),
        "stripes": None if stripes is None else tuple(replace(s, strands=swap(s.strands)) for s in stripes),
        "yardage": replace(settings, measured=measured),
    }


def rename_yarn(brief: Brief, old: str, new: str) -> Brief:
    """Return the brief with a yarn called something else, wherever it is named.

    Raises
    ------
    YarnError
        If the name is empty or in use.
    """
    renamed = replace(brief.yarn(old), name=new)
    if renamed.name == old:
        return brief
    if any(y.name == renamed.name for y in brief.yarns):
        raise YarnError("two yarns are called {name}; give each its own name.", name=repr(renamed.name))
    yarns = tuple(renamed if y.name == old else y for y in brief.yarns)
    return replace(brief, yarns=yarns, **_named(brief, old, renamed.name))


def drop_yarn(brief: Brief, name: str) -> Brief:
    """Return the brief without a yarn and without the stripes that use it.

    Raises
    ------
    YarnError, StripeError
        If it is the last yarn, or no stripe would be left.
    """
    yarns = tuple(y for y in brief.yarns if y.name != name)
    if not yarns:
        raise YarnError("{name} is the only yarn; add another before taking it away.", name=name)
    order = tuple(n for n in brief.sequence.order if n != name) or (yarns[0].name,)
    stripes = brief.stripes
    if stripes is not None:
        stripes = tuple(s for s in stripes if name not in s.strands)
        if not stripes:
            raise StripeError("every stripe uses {name}; change a stripe before taking it away.", name=name)
    settings = replace(
        brief.yardage,
        measured=tuple(m for m in brief.yardage.measured if name not in getattr(m, "strands", ())),
        border=_without(brief.yardage.border, name),
        fringe=_without(brief.yardage.fringe, name),
    )
    return replace(brief, yarns=yarns, sequence=replace(brief.sequence, order=order), stripes=stripes, yardage=settings)


def _without(part: Any, name: str) -> Any:
    return part if part is None else replace(part, strands=tuple(n for n in part.strands if n != name))


def change_rule(brief: Brief, **changes: Any) -> Brief:
    """Return the brief with the rule of its stripes changed; stripes set by hand give way to it."""
    return replace(brief, sequence=replace(brief.sequence, **changes), stripes=None)


def reorder(brief: Brief, places: Sequence[int]) -> Brief:
    """Return the brief with its order read from old places; a missing place is left out."""
    old = brief.sequence.order
    if not all(isinstance(p, int) and 0 <= p < len(old) for p in places) or len(set(places)) != len(places):
        raise StripeError("that order cannot be read; reload the page.")
    return change_rule(brief, order=tuple(old[p] for p in places))


def by_hand(brief: Brief) -> Brief:
    """Return the brief with its stripes written out, to be changed one by one."""
    return replace(brief, stripes=brief.all_stripes())


def _edit(brief: Brief, at: int, new: Sequence[Stripe], span: int = 1) -> Brief:
    stripes = brief.all_stripes()
    made = (*stripes[:at], *new, *stripes[at + span :])
    if not made:
        raise StripeError("a blanket needs one stripe at least; change this one instead.")
    return replace(brief, stripes=made)


def change_stripe(brief: Brief, at: int, **changes: Any) -> Brief:
    """Return the brief with one stripe changed."""
    return _edit(brief, at, (replace(brief.all_stripes()[at], **changes),))


def double_stripe(brief: Brief, at: int) -> Brief:
    """Return the brief with a copy of a stripe after it."""
    stripe = brief.all_stripes()[at]
    return _edit(brief, at, (stripe, replace(stripe, locked=False)))


def split_stripe(brief: Brief, at: int) -> Brief:
    """Return the brief with a stripe split into two halves, the first the larger."""
    stripe = brief.all_stripes()[at]
    if stripe.rows < 2:
        raise StripeError("a stripe of one row cannot be split; give it more rows first.")
    half = stripe.rows // 2
    return _edit(brief, at, (replace(stripe, rows=stripe.rows - half), replace(stripe, rows=half)))


def drop_stripe(brief: Brief, at: int) -> Brief:
    """Return the brief without a stripe."""
    return _edit(brief, at, ())


def move_stripe(brief: Brief, at: int, to: int) -> Brief:
    """Return the brief with a stripe moved to another place."""
    stripes = list(brief.all_stripes())
    stripe = stripes.pop(at)
    stripes.insert(min(max(to, 0), len(stripes)), stripe)
    return replace(brief, stripes=tuple(stripes))


def swap_stripes(brief: Brief, one: int, other: int) -> Brief:
    """Return the brief with two stripes in each other's place."""
    stripes = list(brief.all_stripes())
    stripes[one], stripes[other] = stripes[other], stripes[one]
    return replace(brief, stripes=tuple(stripes))


def reverse_stretch(brief: Brief, first: int, last: int) -> Brief:
    """Return the brief with the stripes from one place to another turned round."""
    low, high = sorted((first, last))
    stripes = brief.all_stripes()
    return replace(brief, stripes=(*stripes[:low], *reversed(stripes[low : high + 1]), *stripes[high + 1 :]))
