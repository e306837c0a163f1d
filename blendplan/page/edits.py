"""Changes of a brief as plain functions: what the page's fields and buttons do. No Streamlit here."""

from __future__ import annotations

from collections.abc import Callable
from collections.abc import Sequence as Seq
from dataclasses import replace
from typing import Any

from blendplan.errors import StripeError, YarnError
from blendplan.outputs.look import letters
from blendplan.plan import Brief
from blendplan.stripes import edit
from blendplan.stripes.model import Stripe
from blendplan.yarn import Shade, Yarn

__all__ = [
    "add_yarn",
    "by_hand",
    "change_rule",
    "change_strand",
    "change_stripes",
    "change_yarn",
    "drop_yarn",
    "rename_yarn",
    "reorder",
    "reorder_stripes",
    "set_shade",
    "signs_of",
]


def signs_of(brief: Brief) -> dict[str, str]:
    """Return a letter for every yarn: in the order of the stripes as on paper, those in no stripe after them."""
    used = [name for stripe in brief.all_stripes() for name in stripe.strands]
    return letters([*used, *(y.name for y in brief.yarns)])


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

    def swap(names: Seq[str]) -> tuple[str, ...]:
        return tuple(new if n == old else n for n in names)

    settings, rule = brief.yardage, brief.sequence
    if settings.border is not None:
        settings = replace(settings, border=replace(settings.border, strands=swap(settings.border.strands)))
    if settings.fringe is not None:
        settings = replace(settings, fringe=replace(settings.fringe, strands=swap(settings.fringe.strands)))
    kept: tuple[Any, ...] = settings.measured
    measured = tuple(replace(m, strands=swap(m.strands)) if hasattr(m, "strands") else m for m in kept)
    stripes = brief.stripes
    return {
        "sequence": replace(
            rule,
            order=swap(rule.order),
            carrier=new if rule.carrier == old else rule.carrier,
            own_rows=tuple((swap(pair), rows) for pair, rows in rule.own_rows),
        ),
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
    rule = replace(
        brief.sequence,
        order=order,
        carrier=None if brief.sequence.carrier == name else brief.sequence.carrier,
        own_rows=tuple((pair, rows) for pair, rows in brief.sequence.own_rows if name not in pair),
    )
    return replace(brief, yarns=yarns, sequence=rule, stripes=stripes, yardage=settings)


def _without(part: Any, name: str) -> Any:
    return part if part is None else replace(part, strands=tuple(n for n in part.strands if n != name))


def change_rule(brief: Brief, **changes: Any) -> Brief:
    """Return the brief with the rule of its stripes changed; stripes set by hand give way to it."""
    return replace(brief, sequence=replace(brief.sequence, **changes), stripes=None)


def reorder(brief: Brief, places: Seq[int]) -> Brief:
    """Return the brief with its order read from old places; a missing place is left out."""
    old = brief.sequence.order
    if not all(isinstance(p, int) and 0 <= p < len(old) for p in places) or len(set(places)) != len(places):
        raise StripeError("that order cannot be read; reload the page.")
    return change_rule(brief, order=tuple(old[p] for p in places))


def by_hand(brief: Brief) -> Brief:
    """Return the brief with its stripes written out, to be changed one by one."""
    return replace(brief, stripes=brief.all_stripes())


def change_stripes(brief: Brief, act: Callable[[Seq[Stripe]], tuple[Stripe, ...]]) -> Brief:
    """Return the brief with its stripes, written out, changed by an edit of `blendplan.stripes.edit`."""
    return replace(brief, stripes=act(brief.all_stripes()))


def reorder_stripes(brief: Brief, places: Seq[int]) -> Brief:
    """Return the brief with its written-out stripes read from old places; one missing place is taken out."""
    stripes = brief.all_stripes()
    gone = set(range(len(stripes))) - set(places)
    if len(gone) == 1 and len(places) == len(stripes) - 1:
        return replace(brief, stripes=edit.remove(stripes, gone.pop()))
    return replace(brief, stripes=edit.arrange(stripes, places))


def change_strand(brief: Brief, at: int, strand: int, name: str) -> Brief:
    """Return the brief with one strand of one stripe replaced."""
    stripes = brief.all_stripes()
    stripe = stripes[at]
    if stripe.locked:
        raise StripeError("stripe {number} is locked; unlock it before changing it.", number=at + 1)
    made = replace(stripe, strands=tuple(name if i == strand else s for i, s in enumerate(stripe.strands)))
    return replace(brief, stripes=(*stripes[:at], made, *stripes[at + 1 :]))
