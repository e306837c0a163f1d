"""Better orders by an aim, proven where that can be done; and variants kept side by side."""

from __future__ import annotations

import html
from collections.abc import Sequence
from functools import lru_cache

import streamlit as st

from blendplan.errors import BlendplanError, StripeError
from blendplan.order import AIMS, Constraints, Ordering
from blendplan.order.alternatives import Alternative, alternatives
from blendplan.order.explain import explain_step
from blendplan.outputs.show import Show
from blendplan.page import edits
from blendplan.page.derive import plan_of, seen_small
from blendplan.page.fields import refused, try_
from blendplan.page.show import bullet_list, figure, refused_html
from blendplan.page.sight import figure_html
from blendplan.page.state import change, commit, lang, say, say_error, work
from blendplan.page.workspace import Variant
from blendplan.plan import Brief
from blendplan.wording import tr
from blendplan.yarn import Yarn

__all__ = ["order_fold", "variants_fold"]

# Aims that need nothing more than the yarns.
OFFERED = ("smoothest", "even", "steady", "contrast", "light-to-dark", "dark-to-light", "hue", "high-low")


@lru_cache(maxsize=16)
def _search(
    yarns: tuple[Yarn, ...],
    aim: str,
    ends: tuple[str | None, str | None],
    rows: tuple[int, int],
    member: float,
) -> tuple[Alternative, ...]:
    """Return a handful of really different good orders, the best first."""
    wishes = Constraints(first=ends[0], last=ends[1])
    return alternatives(
        yarns, count=3, aim=aim, constraints=wishes, n_member=member, solid_rows=rows[0], blend_rows=rows[1]
    )


def order_fold(current: Brief) -> None:
    """Draw the choice of an aim and what was found."""
    names = list(dict.fromkeys(current.sequence.order))
    if len(names) < 2:
        st.caption(say("An order needs two yarns or more."))
        return
    free = say("free")
    columns = st.columns(3)
    with columns[0]:
        aim = st.selectbox(
            say("What the order should do"), OFFERED, format_func=lambda a: tr(AIMS[a], lang()), key="aim"
        )
    with columns[1]:
        first = st.selectbox(say("First colour"), ["", *names], format_func=lambda n: n or free, key="order-first")
    with columns[2]:
        last = st.selectbox(say("Last colour"), ["", *names], format_func=lambda n: n or free, key="order-last")
    rule = current.sequence
    yarns = tuple(y for y in current.yarns if y.name in names)
    try:
        with st.spinner(say("Looking for good orders")):
            found = _search(
                yarns, aim, (first or None, last or None), (rule.solid_rows, rule.blend_rows), current.member
            )
    except BlendplanError as error:
        st.html(refused_html(say_error(error)))
        return
    for i, one in enumerate(found):
        _found(current, one, i)
    _mends(current, found[0])


def _found(current: Brief, one: Alternative, i: int) -> None:
    """Draw one order: picture in small, how good it is, steps as bars, worst step, skeins, and a button to take it."""
    order = one.ordering.order
    trial = edits.change_rule(current, order=order)
    left, right = st.columns([1, 2])
    with left:
        st.html(
            figure_html(
                seen_small(trial), say("The blanket in this order: {names}", names=", ".join(order)), "bp-small"
            )
        )
    with right:
        if i == 0:
            said = one.ordering.verdict.say(lang())
        else:
            said = say("another good order, {percent} % behind the first.", percent=figure(100 * one.behind, 1, lang()))
        buy = sum(c.buy_skeins or 0 for c in plan_of(trial).yardage.colours)
        st.html(
            f"<p><b>{html.escape(_capital(said))}</b></p>{step_bars(one.ordering)}"
            f"<p>{html.escape(_capital(one.worst.say(lang())))} {html.escape(say('{n} skeins to buy', n=buy))}</p>"
        )
        st.button(
            say("Take order {n}", n=i + 1),
            key=f"take-order-{i}",
            disabled=order == current.sequence.order and current.stripes is None,
            on_click=try_,
            args=("order-take", lambda: change(lambda b: edits.change_rule(b, order=order))),
        )
    if i == 0:
        refused("order-take")


def _mends(current: Brief, best: Alternative) -> None:
    """Draw why one step is long, and what would mend it."""
    steps = best.ordering.steps
    if not steps:
        return
    longest = max(range(len(steps)), key=lambda i: steps[i].delta_e)
    at = st.selectbox(
        say("Explain a step of the first order"),
        range(len(steps)),
        index=longest,
        format_func=lambda i: f"{steps[i].before} → {steps[i].after}",
        key="explain-step",
    )
    report = explain_step(
        best.ordering,
        current.yarns,
        int(at or 0),
        n_member=current.member,
        blend_rows=current.sequence.blend_rows,
    )
    st.html(bullet_list(_capital(n.say(lang())) for n in (*report.why, *(m.words for m in report.mends))))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def step_bars(found: Ordering) -> str:
    """Return the steps of an order as bars, each with its names and number."""
    longest = max((s.delta_e for s in found.steps), default=1.0) or 1.0
    bars = []
    for step in found.steps[:40]:
        bars.append(
            f'<div class="bp-bar"><span>{html.escape(step.before)} → {html.escape(step.after)}</span>'
            f'<i style="width:{100 * step.delta_e / longest:.1f}%"></i>'
            f"<span>{figure(step.delta_e, 1, lang())}</span></div>"
        )
    return f'<div class="bp-bars">{"".join(bars)}</div>'


def variants_fold(current: Brief) -> None:
    """Draw the named variants side by side with what differs in size, skeins and price."""
    kept = work().extras.variants
    columns = st.columns([2, 1], vertical_alignment="bottom")
    with columns[0]:
        st.text_input(say("Name of this variant"), key="variant-name", placeholder=say("such as: reds in the middle"))
    with columns[1]:
        st.button(say("Keep it"), key="variant-keep", on_click=try_, args=("variant", _keep))
    refused("variant")
    if not kept:
        st.caption(say("Keep the blanket in hand under a name, change it, and see both side by side here."))
        return
    shown: Sequence[tuple[str, Brief]] = ((say("in hand"), current), *((v.name, v.brief) for v in kept))
    for start in range(0, len(shown), 3):
        for column, (i, (name, one)) in zip(st.columns(3), list(enumerate(shown))[start : start + 3], strict=False):
            with column:
                _variant(name, one, i)


def _variant(name: str, one: Brief, i: int) -> None:
    st.html(f"<h3>{html.escape(name)}</h3>")
    try:
        made = plan_of(one)
    except BlendplanError:
        st.caption(say("This cannot be worked yet."))
        return
    st.html(figure_html(seen_small(one), say("The blanket of variant {name}", name=name), "bp-small"))
    show = Show(one.units, lang())
    buy = sum(c.buy_skeins or 0 for c in made.yardage.colours)
    lines = [
        say("{n} rows", n=made.rows),
        show.both_sizes(made.size.width_cm, made.size.height_cm),
        say("{n} skeins to buy", n=buy),
    ]
    if made.yardage.total_price is not None:
        lines.append(show.money(made.yardage.total_price, one.currency))
    st.html(bullet_list(lines))
    if i:
        with st.container(horizontal=True, gap="small"):
            st.button(
                say("Take it in hand"),
                key=f"variant-{i}-take",
                on_click=try_,
                args=("variant", lambda: change(lambda _b: one)),
            )
            st.button(
                say("Forget it"), key=f"variant-{i}-drop", on_click=try_, args=("variant", lambda: _forget(i - 1))
            )


def _keep() -> None:
    name = st.session_state.get("variant-name", "").strip()
    now = work()
    if not name:
        raise StripeError("a variant needs a name; type one, such as: reds in the middle.")
    if now.brief is not None:
        others = tuple(v for v in now.extras.variants if v.name != name)
        commit(now.with_extras(variants=(*others, Variant(name=name, brief=now.brief))))
        st.session_state["variant-name"] = ""


def _forget(at: int) -> None:
    kept = work().extras.variants
    commit(work().with_extras(variants=tuple(v for i, v in enumerate(kept) if i != at)))
