"""Part 2: the order of the colours, the rows of each stripe, stripes changed by hand, better orders, variants."""

from __future__ import annotations

import html

import streamlit as st

from blendplan.blend.nearest import nearest_blends, pair_table
from blendplan.blend.pair import mix
from blendplan.blend.reading import READS
from blendplan.errors import BlendplanError
from blendplan.outputs.content import READINGS
from blendplan.page import edits
from blendplan.page.fields import choice_field, fold, nothing_yet, refused, try_, whole_field
from blendplan.page.follow_fold import follow_fold
from blendplan.page.hand_part import by_hand_part
from blendplan.page.order_fold import order_fold, variants_fold
from blendplan.page.parts import Item, order_list
from blendplan.page.show import figure, key_mark, patch, refused_html, table_html
from blendplan.page.state import brief, change, lang, plan, say, say_error
from blendplan.page.swatch_fold import member_fold
from blendplan.plan import Brief, Plan
from blendplan.wording import tr
from blendplan.yarn import Shade

__all__ = ["stripes_part"]


def stripes_part() -> None:
    """Draw the part."""
    current = brief()
    if current is None:
        nothing_yet()
        return
    if current.stripes is None:
        _rule(current)
    else:
        by_hand_part(current)
    made = plan()
    if made is None:
        return
    _warnings(made)
    table = fold(say("All stripes as a list"), "stripe-list")
    if table.open:
        with table:
            st.html(stripe_table(made))
    blends = fold(say("How every pair of your yarns would look"), "pairs")
    if blends.open:
        with blends:
            _pairs(current)
            _match(current)
            member_fold(current)
    better = fold(say("Find a good order"), "find-order")
    if better.open:
        with better:
            order_fold(current)
    follow = fold(say("Follow a picture"), "follow-picture-fold")
    if follow.open:
        with follow:
            follow_fold(current)
    kept = fold(say("Keep variants and compare them"), "variants")
    if kept.open:
        with kept:
            variants_fold(current)


def _rule(current: Brief) -> None:
    """Draw the order and the rows of solid and blend stripes."""
    rule = current.sequence
    shown = {y.name: y.srgb for y in current.yarns}
    st.caption(say("First worked on top. Drag the dots, press the arrows, or hold Alt and press the arrow keys."))
    order_list(
        "order-list",
        [Item(name=name, srgb=shown[name]) for name in rule.order],
        label=say("Order of the colours"),
        on_order=lambda places: try_("order", lambda: change(lambda b: edits.reorder(b, places))),
    )
    refused("order")
    columns = st.columns(3, vertical_alignment="bottom")
    with columns[0]:
        whole_field(
            say("Rows of a solid stripe"),
            "solid-rows",
            rule.solid_rows,
            (1, 400),
            lambda n: change(lambda b: edits.change_rule(b, solid_rows=n)),
        )
    with columns[1]:
        whole_field(
            say("Rows of a blend stripe"),
            "blend-rows",
            rule.blend_rows,
            (0, 400),
            lambda n: change(lambda b: edits.change_rule(b, blend_rows=n)),
            help=say("A blend stripe takes one strand of each neighbour. 0 leaves the blends out."),
        )
    with columns[2]:
        names = [y.name for y in current.yarns]
        st.selectbox(say("Put into the order once more"), names, key="again")
        st.button(
            say("Add at the end"),
            key="again-add",
            on_click=lambda: try_(
                "order",
                lambda: change(lambda b: edits.change_rule(b, order=(*b.sequence.order, st.session_state["again"]))),
            ),
        )
    columns = st.columns(3, vertical_alignment="bottom")
    with columns[0]:
        choice_field(
            say("Arrangement"),
            "arrange",
            rule.arrange,
            {k: say(v) for k, v in ARRANGEMENTS.items()},
            lambda v: change(lambda b: edits.change_rule(b, arrange=v)),
        )
    with columns[1]:
        whole_field(
            say("How often"), "times", rule.times, (1, 60), lambda n: change(lambda b: edits.change_rule(b, times=n))
        )
    with columns[2]:
        choice_field(
            say("One colour carried through all"),
            "carrier",
            rule.carrier or "",
            {"": say("none"), **{n: n for n in names}},
            lambda v: change(lambda b: edits.change_rule(b, carrier=v or None)),
        )
    with st.container(horizontal=True, gap="small"):
        st.button(
            say("Turn the order round"),
            key="turn-round",
            on_click=try_,
            args=("order", lambda: change(lambda b: edits.change_rule(b, order=b.sequence.order[::-1]))),
        )
        st.button(
            say("Change single stripes by hand"),
            key="to-hand",
            on_click=try_,
            args=("order", lambda: change(edits.by_hand)),
        )


ARRANGEMENTS = {
    "once": "once",
    "repeat": "again and again",
    "mirror": "there and back",
    "centre-out": "from the centre",
}


def _warnings(made: Plan) -> None:
    if not made.warnings:
        return
    items = []
    for warning in made.warnings[:8]:
        where = ", ".join(str(i + 1) for i in warning.stripes)
        mend = "; ".join(s.say(lang()) for s in warning.suggestions)
        items.append(
            f"<li><b>{html.escape(say('Stripe {n}', n=where))}:</b> {html.escape(warning.problem.say(lang()))}"
            f"<br>{html.escape(mend)}</li>"
        )
    more = len(made.warnings) - 8
    if more > 0:
        items.append(f"<li>{html.escape(say('and {n} more', n=more))}</li>")
    st.html(
        f'<div class="bp-told"><b aria-hidden="true">!</b>{html.escape(say("Worth a look"))}'
        f"<ul>{''.join(items)}</ul></div>"
    )


def stripe_table(made: Plan) -> str:
    """Return the stripes as an HTML table: number, letters and names, rows, how the strands read, the step."""
    sign = edits.signs_of(made.brief)
    heads = (say("Stripe"), say("Strands"), say("Rows"), say("Row numbers"), say("Reads as"), say("Step"))
    lines = []
    for s in made.stripes:
        strands = " + ".join(f"{sign[n]} {n}" for n in dict.fromkeys(s.stripe.strands))
        lines.append(
            (
                key_mark(s.blend.srgb, s.number),
                html.escape(strands),
                str(s.stripe.rows),
                f"{s.first_row}–{s.last_row}",
                "" if s.stripe.solid else html.escape(say(READINGS[s.blend.reads_as])),
                "" if s.step is None else figure(s.step, 1, lang()),
            )
        )
    caption = say("Step is the difference from the stripe before (CIEDE2000; under 2 can hardly be seen).")
    return table_html(say("All stripes as a list"), heads, lines, caption=caption, left=(0, 1, 4))


def _pairs(current: Brief) -> None:
    """Draw the table of all pairs; each cell tells its colour in words too."""
    sign = edits.signs_of(current)
    yarns = [current.yarn(name) for name in sign][:24]
    table = pair_table([y.lab for y in yarns], member=current.member)
    rows = []
    for i, one in enumerate(yarns):
        cells = [f"{sign[one.name]} {html.escape(one.name)}"]
        for j, other in enumerate(yarns[: i + 1]):
            label = say("{a} with {b}", a=one.name, b=other.name)
            cells.append(key_mark(table.srgb[i][j], sign[one.name] + sign[other.name], label))
        rows.append((*cells, *[""] * (len(yarns) - i - 1)))
    heads = (say("Yarn"), *(sign[y.name] for y in yarns))
    st.html(table_html(say("How every pair of your yarns would look"), heads, rows))
    names = [y.name for y in yarns]
    columns = st.columns(2)
    with columns[0]:
        one_name = st.selectbox(say("One strand"), names, key="pair-one")
    with columns[1]:
        two_name = st.selectbox(say("The other strand"), names, index=min(1, len(names) - 1), key="pair-two")
    if not one_name or not two_name:
        return
    pair = mix([current.yarn(one_name).lab, current.yarn(two_name).lab], member=current.member)
    st.html(
        '<ul class="bp-patches">'
        f"<li>{patch(pair.perceptual, say('close by'))}</li>"
        f"<li>{patch(pair.optical, say('far away'))}</li></ul>"
        f"<p>{html.escape(tr(READS[pair.reads_as], lang()))} "
        f"({html.escape(say('the strands are {d} apart', d=figure(pair.strand_difference, 1, lang())))})</p>"
    )


def _match(current: Brief) -> None:
    """Draw a field for a wanted colour, and the solids and blends of her yarns that come nearest."""
    st.html(f"<h3>{html.escape(say('Match a colour'))}</h3>")
    st.text_input(say("Colour to match, such as of a cushion"), key="match", placeholder="#b35c37")
    typed = str(st.session_state.get("match") or "").strip()
    if not typed:
        return
    try:
        wanted = Shade.from_hex(typed if typed.startswith("#") else f"#{typed}")
    except BlendplanError as error:
        st.html(refused_html(say_error(error)))
        return
    items = [f"<li>{patch(wanted.srgb, say('wanted'))}</li>"]
    for match in nearest_blends(wanted.lab, current.yarns, member=current.member, count=5):
        names = " + ".join(dict.fromkeys(match.strands))
        away = say("{names}: {d} away", names=names, d=figure(match.difference, 1, lang()))
        items.append(f"<li>{patch(match.blend.srgb, away)}</li>")
    st.html(f'<ul class="bp-patches">{"".join(items)}</ul>')
