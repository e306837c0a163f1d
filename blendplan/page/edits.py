"""Changes of a blanket as plain functions: what the page's fields and buttons do. No Streamlit here."""

from __future__ import annotations

from collections.abc import Callable
from collections.abc import Sequence as Seq
from dataclasses import replace
from typing import Any

from blendplan.blanket import Blanket, free_key, in_names
from blendplan.budgets import MAX_ROWS
from blendplan.errors import StripeError, YarnError
from blendplan.outputs.content import dealt_letters, letters
from blendplan.reckon import reckon
from blendplan.stripes.model import Stripe, rows_from_shares, total_rows
from blendplan.yardage.making import RowNote
from blendplan.yarn import Yarn

__all__ = [
    "add_yarn",
    "by_hand",
    "change_design",
    "change_making",
    "change_materials",
    "change_rule",
    "change_strand",
    "change_stripes",
    "change_ways",
    "change_yarn",
    "count_row",
    "drop_yarn",
    "label_all",
    "note_row",
    "reorder",
    "signs_of",
    "standing",
    "stretch",
    "with_stripes",
]


def signs_of(blanket: Blanket) -> dict[str, str]:
    """Return a letter for every yarn by name, those dealt, else in the order of the stripes as on paper."""
    names = blanket.names
    order = [*(names[key] for key in blanket.design_keys()), *names.values()]
    return dealt_letters(order, {names[key]: letter for key, letter in blanket.letters if key in names})


def change_materials(blanket: Blanket, **changes: Any) -> Blanket:
    """Return the blanket with something of what she owns changed."""
    return replace(blanket, materials=replace(blanket.materials, **changes))


def change_design(blanket: Blanket, **changes: Any) -> Blanket:
    """Return the blanket with something of its design changed."""
    return replace(blanket, design=replace(blanket.design, **changes))


def change_making(blanket: Blanket, **changes: Any) -> Blanket:
    """Return the blanket with something of what has happened changed."""
    return replace(blanket, making=replace(blanket.making, **changes))


def change_ways(blanket: Blanket, **changes: Any) -> Blanket:
    """Return the blanket read in another way."""
    return replace(blanket, ways=replace(blanket.ways, **changes))


def add_yarn(blanket: Blanket, yarn: Yarn) -> Blanket:
    """Return the blanket with one more yarn, last in the order, and a letter that none had before it."""
    yarn = replace(yarn, key=free_key(yarn.key, (y.key for y in blanket.yarns)))
    added = deal(change_materials(blanket, yarns=(*blanket.yarns, yarn)))
    return change_design(added, order=(*blanket.design.order, yarn.key))


def deal(blanket: Blanket) -> Blanket:
    """Return the blanket with a new letter for each yarn that has none, where letters were dealt."""
    if not blanket.letters:
        return blanket
    dealt, taken = dict(blanket.letters), len(blanket.letters)
    every = list(letters(map(str, range(taken + len(blanket.yarns) + 1))).values())
    after = every.index(max(dealt.values(), key=every.index)) + 1
    fresh = [yarn.key for yarn in blanket.yarns if yarn.key not in dealt]
    return replace(blanket, letters=(*blanket.letters, *zip(fresh, every[after:], strict=False)))


def change_yarn(blanket: Blanket, key: str, **changes: Any) -> Blanket:
    """Return the blanket with some fields of a yarn changed."""
    yarns = tuple(replace(y, **changes) if y.key == key else y for y in blanket.yarns)
    return change_materials(blanket, yarns=yarns)


def label_all(blanket: Blanket, **changes: Any) -> Blanket:
    """Return the blanket with some fields of the label of every yarn changed."""
    return change_materials(blanket, yarns=tuple(replace(y, **changes) for y in blanket.yarns))


def drop_yarn(blanket: Blanket, key: str) -> Blanket:
    """Return the blanket without a yarn and without the stripes that use it.

    Raises
    ------
    YarnError, StripeError
        If it is the last yarn, no stripe would be left, or a variant is made of it.
    """
    name = blanket.yarn(key).name
    yarns = tuple(y for y in blanket.yarns if y.key != key)
    if not yarns:
        raise YarnError("{name} is the only yarn; add another before taking it away.", name=name)
    for variant in blanket.variants:
        if any(key in stripe.strands for stripe in variant.design.all_stripes()):
            raise YarnError(
                "{name} is used by the variant {variant}; forget that variant before taking the yarn away.",
                name=name,
                variant=repr(variant.name),
            )
    design, stripes = blanket.design, blanket.design.stripes
    if stripes is not None:
        stripes = tuple(s for s in stripes if key not in s.strands)
        if not stripes:
            raise StripeError("every stripe uses {name}; change a stripe before taking it away.", name=name)
    design = replace(
        design,
        order=tuple(k for k in design.order if k != key) or (yarns[0].key,),
        carrier=None if design.carrier == key else design.carrier,
        own_rows=tuple((pair, rows) for pair, rows in design.own_rows if key not in pair),
        stripes=stripes,
        border=_without(design.border, key),
        fringe=_without(design.fringe, key),
        skeins=tuple((k, n) for k, n in design.skeins if k != key),
    )
    measured = tuple(m for m in blanket.materials.measured if key not in getattr(m, "strands", ()))
    materials = replace(blanket.materials, yarns=yarns, measured=measured)
    return replace(blanket, materials=materials, design=design)


def _without(part: Any, key: str) -> Any:
    return part if part is None else replace(part, strands=tuple(k for k in part.strands if k != key))


def change_rule(blanket: Blanket, **changes: Any) -> Blanket:
    """Return the blanket with the rule of its stripes changed; stripes set by hand give way to it."""
    return change_design(blanket, stripes=None, **changes)


def reorder(blanket: Blanket, places: Seq[int]) -> Blanket:
    """Return the blanket with its order read from old places; a missing place is left out."""
    old = blanket.design.order
    if not all(isinstance(p, int) and 0 <= p < len(old) for p in places) or len(set(places)) != len(places):
        raise StripeError("that order cannot be read; reload the page.")
    return change_rule(blanket, order=tuple(old[p] for p in places))


def standing(blanket: Blanket) -> tuple[Stripe, ...]:
    """Return the stripes as they are drawn: set by hand, or made by rule and fitted to the wanted length."""
    design = blanket.design
    if design.stripes is not None or design.length_cm is None:
        return design.all_stripes()
    keys = blanket.keys
    return tuple(in_names(stripe, keys) for stripe in reckon(blanket).stripes)


def by_hand(blanket: Blanket) -> Blanket:
    """Return the blanket with its stripes written out, to be changed one by one."""
    return change_design(blanket, stripes=standing(blanket))


def with_stripes(blanket: Blanket, stripes: Seq[Stripe]) -> Blanket:
    """Return the blanket with stripes set by hand, which name their yarns as a plan does."""
    return replace(blanket, design=blanket.by_hand(stripes))


def change_stripes(blanket: Blanket, act: Callable[[Seq[Stripe]], tuple[Stripe, ...]]) -> Blanket:
    """Return the blanket with its stripes, written out, changed by an edit of `blendplan.stripes.edit`."""
    return change_design(blanket, stripes=act(standing(blanket)))


def stretch(blanket: Blanket, length_cm: float) -> Blanket:
    """Return the blanket with another length wished for; where stripes are set by hand, those not held answer it."""
    wished = change_design(blanket, length_cm=length_cm)
    if blanket.design.stripes is None:
        return wished
    made = reckon(blanket)
    stripes, rise = blanket.design.stripes, made.size.rise_per_row_cm
    kept = total_rows([s for s in stripes if s.locked])
    free = [s for s in stripes if not s.locked]
    if not free:
        raise StripeError("every stripe is held; let one go, and the length can change.")
    rows = min(MAX_ROWS - kept, max(len(free), round(length_cm / rise) - kept))
    shares = iter(rows_from_shares([s.rows for s in free], rows, least=1))
    return change_design(wished, stripes=tuple(s if s.locked else replace(s, rows=next(shares)) for s in stripes))


def change_strand(blanket: Blanket, at: int, strand: int, key: str) -> Blanket:
    """Return the blanket with one strand of one stripe replaced."""
    stripes = standing(blanket)
    stripe = stripes[at]
    if stripe.locked:
        raise StripeError("stripe {number} is locked; unlock it before changing it.", number=at + 1)
    made = replace(stripe, strands=tuple(key if i == strand else s for i, s in enumerate(stripe.strands)))
    return change_design(blanket, stripes=(*stripes[:at], made, *stripes[at + 1 :]))


def note_row(blanket: Blanket, row: int, text: str) -> Blanket:
    """Return the blanket with a note to a row."""
    return change_making(blanket, notes=(*blanket.making.notes, RowNote(row=row, text=text)))


def count_row(blanket: Blanket, row: int, last: int, *, back: bool = False) -> Blanket:
    """Return the blanket with a row counted, once whoever says so, or taken back where it is the last that was done."""
    done = blanket.making.rows_done
    if back:
        return change_making(blanket, rows_done=row - 1) if row == done and row > 0 else blanket
    return change_making(blanket, rows_done=min(last, max(done, row)))
