"""Stripes set one by one: their list, put in order by dragging or by keys, and one stripe in hand to be changed."""

from __future__ import annotations

from collections.abc import Callable
from collections.abc import Sequence as Seq
from dataclasses import replace

import streamlit as st

from blendplan.blend.pair import mix_yarns
from blendplan.page import edits
from blendplan.page.fields import choice_field, refused, switch_field, try_, whole_field
from blendplan.page.parts import Item, order_list
from blendplan.page.state import change, say
from blendplan.plan import Brief
from blendplan.stripes import edit
from blendplan.stripes.model import MAX_ROWS, Stripe

__all__ = ["by_hand_part"]


def by_hand_part(current: Brief) -> None:
    """Draw one stripe at a time: its strands, rows, lock, and moves."""
    stripes = current.all_stripes()
    at = min(max(int(st.session_state.get("stripe-at", 0)), 0), len(stripes) - 1)
    stripe = stripes[at]

    def words(i: int) -> str:
        one = stripes[i]
        lock = say(", locked") if one.locked else ""
        return f"{' + '.join(dict.fromkeys(one.strands))} ({one.rows}){lock}"

    def name(i: int) -> str:
        return f"{i + 1}  {words(i)}"

    st.caption(say("The stripes are set by hand. The first is worked first and lies at the bottom of the picture."))
    st.caption(say("Drag the dots, press the arrows, or hold Alt and press the arrow keys; press a name to change it."))
    _hand_list(current, [words(i) for i in range(len(stripes))], at)
    refused("hand-list")
    choice_field(
        say("Stripe"),
        "stripe-field",
        str(at),
        {str(i): name(i) for i in range(len(stripes))},
        lambda v: st.session_state.__setitem__("stripe-at", int(v)),
    )
    names = [y.name for y in current.yarns]
    columns = st.columns([2] * len(stripe.strands) + [1])
    for k in range(len(stripe.strands)):
        with columns[k]:
            choice_field(
                say("Strand {n}", n=k + 1),
                f"strand-{k}",
                stripe.strands[k],
                {n: n for n in names},
                lambda v, k=k: change(lambda b: edits.change_strand(b, at, k, v)),  # type: ignore[misc]
            )
    with columns[-1]:
        whole_field(
            say("Rows"),
            "stripe-rows",
            stripe.rows,
            (1, MAX_ROWS),
            lambda n: change(lambda b: edits.change_stripes(b, lambda t: edit.set_rows(t, at, n))),
        )

    def go(
        label: str, key: str, act: Callable[[Seq[Stripe]], tuple[Stripe, ...]], then: int, off: bool = False
    ) -> None:
        def press() -> None:
            try_("hand", lambda: change(lambda b: edits.change_stripes(b, act)))
            if "hand" not in st.session_state.bad:
                st.session_state["stripe-at"] = then

        st.button(label, key=key, on_click=press, disabled=off)

    last = len(stripes) - 1
    with st.container(horizontal=True, gap="small"):
        go(say("Earlier"), "hand-up", lambda t: edit.move(t, at, at - 1), at - 1, at == 0 or stripe.locked)
        go(say("Later"), "hand-down", lambda t: edit.move(t, at, at + 1), at + 1, at == last or stripe.locked)
        go(say("Double"), "hand-double", lambda t: edit.add(t, at + 1, replace(stripe, locked=False)), at + 1)
        go(say("Split"), "hand-split", lambda t: edit.split(t, at, stripe.rows - stripe.rows // 2), at, stripe.rows < 2)
        go(say("Remove"), "hand-drop", lambda t: edit.remove(t, at), max(0, at - 1), last == 0)
        switch_field(
            say("Locked"),
            "hand-lock",
            stripe.locked,
            lambda v: change(lambda b: edits.change_stripes(b, lambda t: edit.lock(t, at, v))),
        )
    refused("hand")
    columns = st.columns([4, 2, 3], vertical_alignment="bottom")
    with columns[0]:
        st.selectbox(say("Together with stripe"), list(range(len(stripes))), format_func=name, key="hand-other")
    other = int(st.session_state.get("hand-other") or 0)
    with columns[1]:
        go(say("Swap the two"), "hand-swap", lambda t: edit.swap(t, at, other), other)
    with columns[2]:
        go(say("Turn the stretch round"), "hand-reverse", lambda t: edit.reverse(t, min(at, other), max(at, other)), at)
    st.button(
        say("Back to the rule (drops changes by hand)"),
        key="to-rule",
        on_click=try_,
        args=("hand", lambda: change(lambda b: replace(b, stripes=None))),
    )


def _hand_list(current: Brief, names: Seq[str], at: int) -> None:
    """Draw all stripes as a list to be put in order; the stripe in hand stays in hand wherever it goes."""
    stripes = current.all_stripes()

    def colour(stripe: Stripe) -> str:
        return mix_yarns([current.yarn(n) for n in stripe.strands], member=current.member).srgb

    def put(places: list[int]) -> None:
        try_("hand-list", lambda: change(lambda b: edits.reorder_stripes(b, places)))
        if "hand-list" in st.session_state.bad or at not in places:
            return
        if len(places) < len(stripes):
            st.session_state["stripe-at"] = places.index(at)
        elif not stripes[at].locked:
            free = [i for i, s in enumerate(stripes) if not s.locked]
            st.session_state["stripe-at"] = free[[p for p in places if not stripes[p].locked].index(at)]

    order_list(
        "hand-order",
        [Item(name=name, srgb=colour(s), locked=s.locked) for name, s in zip(names, stripes, strict=True)],
        label=say("Order of the stripes"),
        on_order=put,
        on_pick=lambda i: st.session_state.__setitem__("stripe-at", int(i)),
        chosen=at,
    )
