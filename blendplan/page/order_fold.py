"""Better orders by an aim, proven where that can be done; and variants kept side by side."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from blendplan.errors import BlendplanError, StripeError
from blendplan.order import AIMS, Alternative, Ordering
from blendplan.order.explain import explain_step
from blendplan.outputs.show import Show
from blendplan.page import edits
from blendplan.page.derive import plan_of, seen_small
from blendplan.page.fields import choice_field, fold, refused, several_field, switch_field, try_, whole_field
from blendplan.page.show import bullet_list, figure, inert, refused_html
from blendplan.page.sight import figure_html
from blendplan.page.state import change, commit, lang, say, say_error, work
from blendplan.page.wishes import MIXED, OFFERED, Wishes, answers, asked_of
from blendplan.page.workspace import Variant
from blendplan.plan import Brief
from blendplan.wording import capital, tr

__all__ = ["order_fold", "variants_fold"]

# What the library calls her own order is the order that the page has in hand.
IN_HAND = {"own": "near the order in hand"}


def _aim(name: str) -> str:
    """Return an aim in words."""
    return say(IN_HAND[name]) if name in IN_HAND else tr(AIMS[name], lang())


def _wishes(current: Brief) -> Wishes:
    """Return what is asked for, without what is no longer there; it lasts for the session."""
    kept: Wishes = st.session_state.get("wishes", Wishes())
    return kept.fitted(current)


def _wish(**changes: object) -> None:
    st.session_state["wishes"] = replace(st.session_state.get("wishes", Wishes()), **changes)


def order_fold(current: Brief) -> None:
    """Draw what an order should do and what was found."""
    wishes = _wishes(current)
    names = asked_of(current, wishes)
    if len(current.yarns) < 2:
        st.caption(say("An order needs two yarns or more."))
        return
    ends = {"": say("free"), **{n: n for n in names}}
    columns = st.columns(3)
    with columns[0]:
        choice_field(
            say("What the order should do"),
            "aim",
            wishes.aim,
            {a: _aim(a) for a in OFFERED},
            lambda v: _wish(aim=v),
        )
    with columns[1]:
        choice_field(say("First colour"), "order-first", wishes.first, ends, lambda v: _wish(first=v))
    with columns[2]:
        choice_field(say("Last colour"), "order-last", wishes.last, ends, lambda v: _wish(last=v))
    more = fold(say("More wishes: several aims, a round, only some colours"), "order-wishes")
    if more.open:
        with more:
            _more(current, wishes)
    elif wishes.more:
        st.caption(_summary(wishes, len(current.yarns)))
    if len(names) < 2:
        st.caption(say("An order needs two yarns or more."))
        return
    try:
        with st.spinner(say("Looking for good orders")):
            found = answers(current, wishes)
    except BlendplanError as error:
        st.html(refused_html(say_error(error)))
        return
    for i, one in enumerate(found):
        _found(current, one, i, names)
    _mends(current, found[0], wishes)


def _more(current: Brief, wishes: Wishes) -> None:
    """Draw the wishes that not everybody has."""
    several_field(
        say("Weigh in other aims too"),
        "aim-others",
        tuple(n for n, _ in wishes.others),
        {a: _aim(a) for a in MIXED if a != wishes.aim},
        lambda got: st.session_state.__setitem__("wishes", wishes.mixed(got)),
        placeholder=say("none"),
    )
    if wishes.others:
        for name, weight in ((wishes.aim, wishes.weight), *wishes.others):
            whole_field(
                say("How much this counts: {aim}", aim=_aim(name)),
                f"aim-weight-{name}",
                weight,
                (1, 10),
                lambda n, name=name: st.session_state.__setitem__("wishes", wishes.weighed(name, n)),  # type: ignore[misc]
            )
    switch_field(
        say("The last colour meets the first"),
        "order-closed",
        wishes.closed,
        lambda v: _wish(closed=v),
        help=say("For work in the round, such as a cowl, or an order worked again and again: that step counts too."),
    )
    all_names = [y.name for y in current.yarns]
    if len(all_names) < 3:
        return
    used = len(dict.fromkeys(current.sequence.order))
    switch_field(
        say("Use only some of the yarns"),
        "order-choose",
        bool(wishes.choose),
        lambda v: _wish(choose=max(2, min(used, len(all_names) - 1)) if v else 0),
        help=say("All your yarns are looked at, also those that are in no stripe now."),
    )
    if not wishes.choose:
        return
    whole_field(
        say("How many of your {n} yarns", n=len(all_names)),
        "order-choose-k",
        wishes.choose,
        (2, len(all_names)),
        lambda k: _wish(choose=k),
    )
    several_field(
        say("These have to be among them"),
        "order-keep",
        wishes.keep,
        {n: n for n in all_names},
        lambda got: _wish(keep=got),
        placeholder=say("none"),
    )


def _summary(wishes: Wishes, n: int) -> str:
    """Return the further wishes in one line, for when they are folded away."""
    parts = []
    if wishes.others:
        parts.append(", ".join(f"{_aim(name)} ×{weight:g}" for name, weight in wishes.weights.items()))
    if wishes.closed:
        parts.append(say("the last colour meets the first"))
    if wishes.choose:
        parts.append(say("{k} of {n} yarns", k=wishes.choose, n=n))
    if wishes.choose and wishes.keep:
        parts.append(say("with {names}", names=", ".join(wishes.keep)))
    return inert(say("Asked for: {wishes}.", wishes="; ".join(parts)))


def _found(current: Brief, one: Alternative, i: int, names: Sequence[str]) -> None:
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
        out = [n for n in names if n not in order]
        if out:
            st.html(f"<p>{html.escape(say('Left out: {names}', names=', '.join(out)))}</p>")
        st.html(
            f"<p><b>{html.escape(capital(said))}</b></p>{step_bars(one.ordering)}"
            f"<p>{html.escape(capital(one.worst.say(lang())))} {html.escape(say('{n} skeins to buy', n=buy))}</p>"
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
        if one.ordering.notices:
            st.html(bullet_list(capital(n.say(lang())) for n in one.ordering.notices))


def _mends(current: Brief, best: Alternative, wishes: Wishes) -> None:
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
        min(int(at or 0), len(steps) - 1),
        constraints=wishes.constraints,
        n_member=current.member,
        blend_rows=current.sequence.blend_rows,
    )
    st.html(bullet_list(capital(n.say(lang())) for n in (*report.why, *(m.words for m in report.mends))))


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
