"""The tag of one stripe, and what holds for all of them."""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from math import fsum
from typing import Any

import streamlit as st

from blendplan.blanket import Blanket, Design, Variant, Wishes
from blendplan.blend.pair import mix_yarns
from blendplan.blend.strands import PLACES, READINGS, READS, Viewing
from blendplan.budgets import MAX_PLACES
from blendplan.colour import delta_e_2000, lab_to_hex
from blendplan.errors import BlendplanError
from blendplan.order import AIMS, Alternative, Ordering, follow_shades, wanted_along
from blendplan.order.explain import explain_step
from blendplan.page import edits
from blendplan.page.fields import (
    bullet_list,
    choice_field,
    facts_html,
    field_of,
    folded,
    inert,
    key_mark,
    line_html,
    of_blanket,
    order_list,
    photo_line,
    refused,
    refused_html,
    several_field,
    status_html,
    strands_mark,
    switch_field,
    table_html,
    text_on,
    try_,
    whole_field,
)
from blendplan.page.fields import press as act
from blendplan.page.reads import digest_of, held_photos, view_of_photo
from blendplan.page.routes import address
from blendplan.page.sight import (
    SEEN_WORDS,
    do,
    figure_html,
    hold,
    move,
    pair_address,
    place_of,
    press,
    remove,
    split,
    stripe_name,
    sums,
)
from blendplan.page.state import (
    Scene,
    blanket,
    can_undo,
    change,
    drawing,
    lang,
    put_typed,
    say,
    say_error,
    session,
    spoken,
    typed,
    undo,
)
from blendplan.photo import load_photo, shades_along
from blendplan.plan import Plan, PlannedStripe
from blendplan.quantities import Quantities, figure
from blendplan.reckon import worked_stays
from blendplan.record import ruled
from blendplan.stripes import edit
from blendplan.wishes import (
    MIXED,
    OFFERED,
    answers,
    asked,
    asked_of,
    best,
    doubts,
    few,
    fitted,
    mixed,
    weighed,
    weights,
)
from blendplan.wishes import more as more_asked
from blendplan.wording import capital, tr
from blendplan.yarn import Yarn


@of_blanket
def stripes_place(current: Blanket, made: Plan) -> None:
    """Draw the tag of the stripe that is chosen, or what can be done to any."""
    _taken_out()
    refused("picture")
    refused("tag")
    at = session().chosen
    if at is not None and at < len(made.stripes):
        _tag(current, made, at)
        return
    _any_stripe(current, made)


def _taken_out() -> None:
    """Say that a stripe is out, and offer to put it back."""
    line = session().taken_out
    if not line:
        return
    with st.container(key="taken-out", horizontal=True, vertical_alignment="center"):
        st.html(status_html(line))
        st.button(say("Put it back"), key="put-back", on_click=undo, disabled=not can_undo(), icon=":material/undo:")


def _tag(current: Blanket, made: Plan, at: int) -> None:
    """Draw one stripe: its fabric, rows and strands, what it takes, and what can be done to it."""
    planned = made.stripes[at]
    stripe = planned.stripe
    with st.container(key="tag"):
        with st.container(key="tag-head", horizontal=True):
            where = say("Stripe {n}, counted from the first row", n=at + 1)
            st.html(line_html("p", where, "bp-soft") + line_html("h2", stripe_name(stripe.strands)))
            st.button(say("Close"), key="tag-close", on_click=press, args=(at,), type="tertiary")
        with st.container(key="tag-body"):
            with st.container(key="tag-fabric"):
                _fabric(current, made, planned)
            with st.container(key="tag-facts"):
                set_rows: Callable[..., None] = lambda rows: do(lambda t: edit.set_rows(t, at, rows), then=at)  # noqa: E731
                field_of(say("Rows"), "stripe-rows", stripe, "rows", set_rows)
                for k in range(len(stripe.strands)):
                    _chips(current, at, k)
                st.html(_facts(made, planned))
        _actions(made, at)


def _chips(current: Blanket, at: int, k: int) -> None:
    """Draw all yarns as round chips, that of one strand chosen."""
    sign, stripes = edits.signs_of(current), edits.standing(current)
    called = {yarn.key: yarn for yarn in current.yarns}
    keys = sorted(called, key=lambda key: (len(sign[called[key].name]), sign[called[key].name]))
    words = {key: f"**{sign[called[key].name]}** {called[key].name}" for key in keys}
    key = f"strand-{k}"
    rules = ""
    for n, one in enumerate(keys, 1):
        srgb = called[one].srgb
        ink = f"background:{srgb}!important;color:{text_on(srgb)}!important"
        rules += f'.stApp .st-key-{key} [data-testid="stButtonGroup"] button:nth-of-type({n}){{{ink}}}'
    st.html(f"<style>{rules}</style>")
    label = say("One strand") if k == 0 else say("Other strand") if k == 1 else say("Strand {n}", n=k + 1)
    choice_field(
        label,
        key,
        stripes[at].strands[k],
        words,
        lambda v: change(lambda b: edits.change_strand(b, at, k, v)),
        buttons=True,
    )


def _fabric(current: Blanket, made: Plan, planned: PlannedStripe) -> None:
    """Draw the strands as worked fabric, in the hand and from where the blanket is judged."""
    yarns = [made.yarn(name) for name in planned.stripe.strands]
    labs, shares = tuple(y.lab for y in yarns), planned.blend.shares
    from_m = current.design.seen_from_m
    place = place_of(from_m)
    looks = [(0.0, "fabric", say("in the hand"))]
    if from_m > PLACES["hand"]:
        seen = say(SEEN_WORDS[place]) if place else say("from {n} m", n=figure(from_m, 1, lang()))
        looks.append((from_m, "small", seen))
    for metres, kind, words in looks:
        source = pair_address(labs, shares, metres, kind)
        st.html(
            f'<figure class="bp-fabric bp-piece-{kind}"><img alt="{html.escape(words, quote=True)}" src="{source}" '
            f'style="background:{planned.blend.srgb}">'
            f"<figcaption>{html.escape(words)}</figcaption></figure>"
        )


def _facts(made: Plan, planned: PlannedStripe) -> str:
    """Return height, need and look of a stripe."""
    show, stripe = Quantities(made.blanket.ways.units, lang()), planned.stripe
    metres = fsum(made.yardage.rows_m[planned.first_row - 1 : planned.last_row])
    each = {name: metres * stripe.strands.count(name) for name in dict.fromkeys(stripe.strands)}
    one = stripe.strands[0]
    need = {c.name: c for c in made.yardage.colours}[one]
    of_skein = "" if not need.skein_m else skein_words(each[one] / need.skein_m)
    length = show.yarn(each[one])
    needs = length if len(each) == 1 else say("{length} of each", length=length)
    from_m = made.blanket.design.seen_from_m
    near = mix_yarns(
        [made.yarn(n) for n in stripe.strands], viewing=replace(made.blanket.viewing, from_m=PLACES["hand"])
    )
    looks = [tr(READS[near.reads_as], lang())]
    if from_m > PLACES["hand"] and planned.blend.reads_as != near.reads_as:
        looks.append(say("from where you look: {what}", what=tr(READS[planned.blend.reads_as], lang())))
    rows = {"first": planned.first_row, "last": planned.last_row}
    facts = [
        (say("Height"), say("{height}, rows {first} to {last}", height=show.size(planned.height_cm, 1), **rows)),
        (say("Needs"), f"{needs}: {of_skein}" if of_skein else needs),
    ]
    return facts_html(facts if stripe.solid else [*facts, (say("Looks"), "; ".join(looks))])


def skein_words(share: float) -> str:
    """Return a number of skeins in words."""
    for limit, words in ((0.3, say("a quarter of a skein")), (0.6, say("half a skein")), (0.87, say("three quarters"))):
        if 0.12 < share <= limit:
            return words
    if share <= 0.12:
        return say("a little of a skein")
    return say("{n} skeins", n=figure(share, 1, lang()))


def _actions(made: Plan, at: int) -> None:
    """Draw what can be done to the stripe."""
    stripe, last, state = made.stripes[at].stripe, len(made.stripes) - 1, session()
    with st.container(key="tag-acts"):
        if state.swapping:
            with st.container(key="swapping", horizontal=True, vertical_alignment="center"):
                st.html(status_html(say("Press the other stripe.")))
                st.button(say("Leave it"), key="swap-leave", on_click=_swapping, args=(False,))
            return
        up, down = _next(made, at, 1), _next(made, at, -1)
        with st.container(key="acts", horizontal=True, gap="small"):
            held = stripe.locked
            for label, key, do_it, off in (
                (say("Up one place"), "hand-up", partial(move, at, up or 0), held or up is None),
                (say("Down one place"), "hand-down", partial(move, at, down or 0), held or down is None),
                (say("Swap with…"), "hand-swap", partial(_swapping, True), held or not last),
                (say("Split in two"), "hand-split", partial(split, at), held or stripe.rows < 2),
                (say("Let it go") if held else say("Hold as it is"), "hand-lock", partial(hold, at), False),
                (say("Remove stripe"), "hand-drop", partial(remove, at), held or not last),
            ):
                act(label, key, do_it, told="tag", disabled=off)
            more = st.popover(say("More"), key="tag-more", on_change="rerun")
            if more.open:
                with more:
                    _stretch(made, at)


def _next(made: Plan, at: int, by: int) -> int | None:
    """Return the next free place up or down; stripes that are held stay where they are."""
    to = at + by
    while 0 <= to < len(made.stripes) and made.stripes[to].stripe.locked:
        to += by
    return to if 0 <= to < len(made.stripes) else None


def _swapping(on: bool) -> None:
    session().swapping = on


def _stretch(made: Plan, at: int) -> None:
    stripe = made.stripes[at].stripe
    double = partial(do, lambda t: edit.add(t, at + 1, replace(t[at], locked=False)), then=at + 1)
    act(say("Double it"), "hand-double", double, told="tag")
    names = [f"{s.number}  {stripe_name(s.stripe.strands)}" for s in made.stripes]
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        st.selectbox(
            say("From this stripe to"), list(range(len(names))), format_func=names.__getitem__, key="hand-other"
        )
        other = int(typed("hand-other", 0))
        turn = partial(do, lambda t: edit.reverse(t, min(at, other), max(at, other)), then=other)
        act(say("Turn the stretch round"), "hand-reverse", turn, told="tag", disabled=stripe.locked)


def _any_stripe(current: Blanket, made: Plan) -> None:
    """Draw what can be done to any stripe, and what holds for all of them."""
    how = say("Press a stripe to change it, pull its edge for rows, drag it to another place.")
    # A phone has no tapes.
    tapes = line_html("span", say("Pull the end of a tape to change the size."), "bp-desk")
    first = say("The first row is at the bottom, in the picture as in your hands.")
    st.html(f'<p class="bp-soft">{html.escape(how)} {tapes} {html.escape(first)}</p>')
    if current.design.stripes is not None:
        st.caption(say("The stripes are set by hand."))
        act(say("Back to the rule (drops changes by hand)"), "to-rule", _ruled, told="order")
    folded(say("All stripes at once: their order, and rows of each kind"), "rule-fold", _rule, current)
    _warnings(made)
    folded(say("All stripes as a list"), "stripe-list", lambda: st.html(stripe_table(made)))


def _rule(current: Blanket) -> None:
    """Draw the order and the rows of solid and blend stripes."""
    rule = current.design
    shown = {y.key: y for y in current.yarns}
    st.caption(
        say("First worked at the bottom. Drag the dots, press the arrows, or hold Alt and press the arrow keys.")
    )
    order_list(
        "order-list",
        [(shown[key].name, shown[key].srgb) for key in rule.order],
        label=say("Order of the colours"),
        on_order=lambda places: try_("order", partial(_stripes, lambda b: edits.reorder(b, places))),
    )
    refused("order")
    st.caption(say("A blend stripe takes one strand of each neighbour. 0 leaves the blends out."))
    columns = st.columns(3, vertical_alignment="bottom")
    with columns[0]:
        field_of(say("Rows of a solid stripe"), "solid-rows", rule, "solid_rows", _ruled)
    with columns[1]:
        field_of(say("Rows of a blend stripe"), "blend-rows", rule, "blend_rows", _ruled)
    with columns[2]:
        names = current.names
        st.selectbox(say("Put into the order once more"), list(names), key="again", format_func=lambda k: names[k])
        act(
            say("Add at the end"),
            "again-add",
            lambda: _stripes(lambda b: edits.change_rule(b, order=(*b.design.order, typed("again")))),
            told="order",
        )
    columns = st.columns(3, vertical_alignment="bottom")
    with columns[0]:
        shown_as = {k: say(v) for k, v in ARRANGEMENTS.items()}
        choice_field(say("Arrangement"), "arrange", rule.arrange, shown_as, lambda v: _ruled(arrange=v))
    with columns[1]:
        field_of(say("How often"), "times", rule, "times", _ruled)
    with columns[2]:
        carriers = {"": say("none"), **names}
        choice_field(
            say("One colour carried through all"),
            "carrier",
            rule.carrier or "",
            carriers,
            lambda v: _ruled(carrier=v or None),
        )
    with st.container(horizontal=True, gap="small"):
        act(
            say("Turn the order round"),
            "turn-round",
            lambda: _stripes(lambda b: edits.change_rule(b, order=b.design.order[::-1])),
            told="order",
        )
        act(say("Change single stripes by hand"), "to-hand", lambda: change(edits.by_hand), told="order")


def _ruled(**changes: Any) -> None:
    _stripes(lambda b: edits.change_rule(b, **changes))


def _stripes(made: Callable[[Blanket], Blanket]) -> None:
    """Change all stripes at once; what is worked stays as it is."""
    change(lambda b: worked_stays(b, made(b)))


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
        mend = " ".join(capital(s.say(*spoken())) for s in warning.suggestions)
        items.append(f"<li><b>{html.escape(capital(warning.problem.say(*spoken())))}</b><br>{html.escape(mend)}</li>")
    more = len(made.warnings) - 8
    if more > 0:
        items.append(line_html("li", say("and {n} more", n=more)))
    st.html(
        f'<div class="bp-told"><b aria-hidden="true">!</b>{html.escape(say("Worth a look"))}'
        f"<ul>{''.join(items)}</ul></div>"
    )


def _ends(made: Plan, planned: PlannedStripe) -> tuple[str, str]:
    """Return both ends of a blend beside its chip: its strands as they lie close by, and its one colour far away."""
    if planned.stripe.solid:
        return "", ""
    strands = [made.yarn(name).srgb for name in planned.stripe.strands]
    return strands_mark(strands), key_mark(planned.blend.far, "")


def stripe_table(made: Plan) -> str:
    """Return the stripes as an HTML table: number, letters and names, rows, how the strands read, the step."""
    sign = edits.signs_of(made.blanket)
    heads = (
        say("Stripe"),
        say("Close by"),
        say("Far away"),
        say("Strands"),
        say("Rows"),
        say("Row numbers"),
        say("Reads as"),
        say("Step"),
    )
    lines = []
    for s in made.stripes:
        strands = " + ".join(f"{sign[n]} {n}" for n in dict.fromkeys(s.stripe.strands))
        lines.append(
            (
                key_mark(s.blend.srgb, s.number),
                *_ends(made, s),
                html.escape(strands),
                str(s.stripe.rows),
                f"{s.first_row}–{s.last_row}",
                "" if s.stripe.solid else html.escape(say(READINGS[s.blend.reads_as])),
                "" if s.step is None else figure(s.step, 1, lang()),
            )
        )
    caption = say("Step is the difference from the stripe before (CIEDE2000; under 2 can hardly be seen).")
    return table_html(say("All stripes as a list"), heads, lines, caption=caption, left=(0, 3, 6))


# What the library calls her own order is the order that the page has in hand.
IN_HAND = {"own": "near the order in hand"}


def _aim(name: str) -> str:
    """Return an aim in words."""
    return say(IN_HAND[name]) if name in IN_HAND else tr(AIMS[name], lang())


def _wish(**changes: object) -> None:
    change(lambda b: edits.change_design(b, wishes=replace(fitted(b), **changes)))  # type: ignore[arg-type]


OFFERS: tuple[tuple[str, str, str, str], ...] = (
    ("smoothest", "", "Softest fade", "Each stripe is the least step from the last."),
    ("dark-to-light", "", "Dark to pale", "The dark yarns at your feet, the pale ones at the chin."),
    ("contrast", "", "Bold breaks", "Neighbours as unlike as these allow."),
    ("smoothest", "mirror", "There and back", "Narrow stripes, mirrored: twice the changes to weave in."),
)


@dataclass(frozen=True, kw_only=True)
class Offer:
    """An order that can be looked at and taken: its name, what is said of it, and the design it makes."""

    name: str
    said: str
    design: Design
    found: Ordering | None = None
    aim: str = ""  # what it was looked for by


@lru_cache(maxsize=16)
def offers(current: Blanket, language: str) -> tuple[Offer, ...]:
    """Return the orders that are offered as pictures; what cannot be made of these yarns is left out."""
    out: list[Offer] = []
    for aim, arrange, name, said in OFFERS:
        wishes = replace(fitted(current), aim=aim, others=())
        try:
            found = best(current, wishes)
        except BlendplanError:
            continue
        keys = tuple(current.keys[one] for one in found.order)
        changes: dict[str, Any] = {"order": keys, "arrange": arrange or "once", "times": 1}
        if arrange == "mirror" and current.design.length_cm is None:
            rule = current.design
            changes |= {"solid_rows": -(-rule.solid_rows // 2), "blend_rows": -(-rule.blend_rows // 2)}
        design = edits.change_rule(current, **changes).design
        if design.stripes is None and all(design != one.design for one in out):
            out.append(Offer(name=tr(name, language), said=tr(said, language), design=design, found=found, aim=aim))
    return tuple(out)


@of_blanket
def order_place(current: Blanket, made: Plan) -> None:
    """Draw other orders of the same yarns, each with its skeins; looking changes nothing."""
    n = len(asked_of(current, fitted(current)))
    state = session()
    st.html(line_html("h2", say("The same {n} in another order", n=n)))
    if n < 2:
        st.caption(say("An order needs two yarns or more."))
        return
    with st.spinner(say("Looking for good orders")):
        found = offers(current, lang())
    shown = [*found, *(Offer(name=v.name, said="", design=v.design) for v in current.variants)]
    if all(one.design != current.design for one in shown):
        shown.insert(0, Offer(name=say("Yours"), said="", design=current.design))
    look = state.looking
    if (
        look
        and look not in [o.design for o in shown]
        and any(replace(look, order=o.design.order) == o.design for o in shown)
    ):
        shown.append(Offer(name=say("The other way round"), said="", design=look))
    looked = next((one for one in shown if one.design == state.looking), None)
    if looked is None:
        state.looking = None
        st.caption(say("Press a picture to see it large. Nothing changes until you use it."))
    else:
        st.html(status_html(say("Looking at {name}. Yours is untouched until you use it.", name=looked.name)))
    refused("order-take")
    with st.container(key="hung"):
        for i, one in enumerate(shown):
            _hung(current, one, i)
    _compared(current, looked)
    _wished_ends(current)
    for label, key, draw in (
        (say("What the order should do: aims, a round, only some colours"), "order-wishes", order_fold),
        (say("An order along a line across a photograph"), "follow-picture-fold", follow_fold),
    ):
        if not folded(label, key, draw, current) and draw is order_fold and more_asked(fitted(current)):
            st.caption(_summary(current, fitted(current)))


def _hung(current: Blanket, one: Offer, i: int) -> None:
    """Draw one order as a picture with its skeins, to be looked at and used."""
    state, trial = session(), replace(current, design=one.design)
    on = state.looking == one.design if state.looking is not None else one.design == current.design
    kept = next((at for at, v in enumerate(current.variants) if v.design == one.design and v.name == one.name), None)
    with st.container(key=f"hung-{'on-' if on else ''}{i}", gap=None):
        try:
            total = sums(trial, lang())
        except BlendplanError as error:
            st.html(line_html("h3", one.name) + refused_html(say_error(error)))
            return
        with st.container(key=f"hung-look-{i}"):
            st.html(figure_html(trial, say("The blanket in this order: {name}", name=one.name)))
            st.button(
                say("Look at {name}", name=inert(one.name)), key=f"order-look-{i}", on_click=_look_at, args=(one,)
            )
        words = ", ".join(part for part in (total["skeins"], total["price"]) if part)
        st.html(line_html("h3", one.name) + line_html("p", words, "bp-count") + line_html("p", one.said, "bp-soft"))
        if one.design == current.design:
            if state.looking is not None:
                st.button(say("Back to mine"), key=f"order-back-{i}", on_click=_look_at, args=(None,))
            else:
                st.html(line_html("p", say("On the blanket now"), "bp-now"))
        else:
            look = "primary" if on else "secondary"
            act(say("Use this order"), f"order-use-{i}", partial(_use, one.design), told="order-take", type=look)
        if kept is not None:
            act(say("Forget it"), f"variant-drop-{kept}", partial(_forget, kept), told="order-take", type="tertiary")


def _look_at(one: Offer | None) -> None:
    current = blanket()
    session().looking = None if one is None or current is None or one.design == current.design else one.design


def _use(design: Design) -> None:
    _stripes(lambda b: replace(b, design=design))
    session().looking = None


def _compared(current: Blanket, looked: Offer | None) -> None:
    """Say how sure the order is that is looked at, or the one on the blanket: compared, or too close to call."""
    one = looked or next((o for o in offers(current, lang()) if o.design == current.design), None)
    if one is None or one.found is None:
        return
    doubt = doubts(current, replace(fitted(current), aim=one.aim, others=()), one.found)
    said = f"<b>{html.escape(say('Compared'))}:</b> {html.escape(one.found.verdict.say(*spoken()))}"
    close = "".join(line_html("p", capital(n.say(*spoken())), "bp-compared bp-close") for n in doubt.notices)
    st.html(f'<p class="bp-compared">{said}</p>{close}')
    for i, unsure in enumerate(doubt.unsure):
        swap = dict(zip(unsure.pair, unsure.pair[::-1], strict=True))
        order = tuple(current.keys[swap.get(name, name)] for name in one.found.order)
        turned = Offer(name=say("The other way round"), said="", design=replace(one.design, order=order))
        names = {"one": inert(unsure.pair[0]), "other": inert(unsure.pair[1])}
        st.button(
            say("Show {one} and {other} the other way round", **names),
            key=f"order-turned-{i}",
            on_click=_look_at,
            args=(turned,),
        )


def _wished_ends(current: Blanket) -> None:
    """Draw the yarns to begin and to end with, and a press that keeps her own order beside these."""
    wishes, called = fitted(current), current.names
    ends = {"": say("any"), **{key: called[key] for key in asked_of(current, wishes)}}
    with st.container(key="ends", horizontal=True, vertical_alignment="bottom", gap="small"):
        choice_field(say("Begin with"), "order-first", wishes.first, ends, lambda v: _wish(first=v))
        choice_field(say("End with"), "order-last", wishes.last, ends, lambda v: _wish(last=v))
        st.text_input(say("Name, if you like"), key="variant-name", placeholder=say("such as: reds in the middle"))
        act(say("Save my order too"), "variant-keep", _keep, told="variant")
    refused("variant")


def order_fold(current: Blanket) -> None:
    """Draw what an order should do, and the orders that do it best, each with its steps."""
    wishes = fitted(current)
    choice_field(
        say("What the order should do"),
        "aim",
        wishes.aim,
        {a: _aim(a) for a in OFFERED},
        lambda v: _wish(aim=v),
    )
    _more(current, wishes)
    if len(asked_of(current, wishes)) < 2:
        st.caption(say("An order needs two yarns or more."))
        return
    with st.spinner(say("Looking for good orders")):
        found = answers(current, wishes)
    for i, one in enumerate(found):
        _found(current, one, i, wishes)
    _few(current, wishes)
    _mends(current, found[0], wishes)


def _few(current: Blanket, wishes: Wishes) -> None:
    """Draw how much better the order in hand gets with a move or a few."""
    for one in few(current, wishes):
        keys = tuple(current.keys[name] for name in one.ordering.order)
        with st.container(horizontal=True, vertical_alignment="center", gap="small"):
            st.text(capital(one.words.say(*spoken())))
            named = inert(", ".join(one.ordering.order))
            act(
                say("Take order {names}", names=named),
                f"few-{one.moves}",
                partial(_ruled, order=keys),
                told="order-take",
            )


def _more(current: Blanket, wishes: Wishes) -> None:
    """Draw the wishes that not everybody has."""
    several_field(
        say("Weigh in other aims too"),
        "aim-others",
        tuple(n for n, _ in wishes.others),
        {a: _aim(a) for a in MIXED if a != wishes.aim},
        lambda got: _wish(others=mixed(wishes, got).others),
        hint=say("none"),
    )
    if wishes.others:
        for name, weight in ((wishes.aim, wishes.weight), *wishes.others):
            between = ruled(Wishes, "weight")[1]
            whole_field(
                say("How much this counts: {aim}", aim=_aim(name)),
                f"aim-weight-{name}",
                weight,
                (between.low, between.high),
                partial(_weigh, name),
            )
    for label, key, name, more in (
        (
            say("The last colour meets the first"),
            "order-closed",
            "closed",
            say("For work in the round, such as a cowl, or an order worked again and again: that step counts too."),
        ),
        (
            say("Colours short of yarn at the ends"),
            "order-short",
            "short_outside",
            say("A colour at an end of the order has one blend stripe less than a colour inside it."),
        ),
    ):
        field_of(label, key, wishes, name, _wish, more=more)
    all_names = current.names
    if len(all_names) < 3:
        return
    used = len(dict.fromkeys(current.design.order))
    switch_field(
        say("Use only some of the yarns"),
        "order-choose",
        bool(wishes.choose),
        lambda v: _wish(choose=max(2, min(used, len(all_names) - 1)) if v else 0),
        more=say("All your yarns are looked at, also those that are in no stripe now."),
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
        all_names,
        lambda got: _wish(keep=got),
        hint=say("none"),
    )


def _summary(current: Blanket, wishes: Wishes) -> str:
    """Return the further wishes in one line, for when they are folded away."""
    parts = []
    if wishes.others:
        parts.append(", ".join(f"{_aim(name)} ×{weight:g}" for name, weight in weights(wishes).items()))
    if wishes.closed:
        parts.append(say("the last colour meets the first"))
    if wishes.short_outside:
        parts.append(say("colours short of yarn at the ends"))
    if wishes.choose:
        parts.append(say("{k} of {n} yarns", k=wishes.choose, n=len(current.yarns)))
    if wishes.choose and wishes.keep:
        parts.append(say("with {names}", names=", ".join(current.names[key] for key in wishes.keep)))
    return inert(say("Asked for: {wishes}.", wishes="; ".join(parts)))


def _found(current: Blanket, one: Alternative, i: int, wishes: Wishes) -> None:
    """Draw one order: picture in small, how good it is, steps as bars, worst step, skeins, and a button to take it."""
    order = one.ordering.order
    keys = tuple(current.keys[name] for name in order)
    names = [current.names[key] for key in asked_of(current, wishes)]
    trial = edits.change_rule(current, order=keys)
    left, right = st.columns([1, 2])
    with left:
        st.html(figure_html(trial, say("The blanket in this order: {names}", names=", ".join(order))))
    with right:
        if i == 0:
            said = one.ordering.verdict.say(*spoken())
        else:
            said = say("another good order, {percent} % behind the first.", percent=figure(100 * one.behind, 1, lang()))
        skeins = sums(trial, lang())["skeins"]
        out = [n for n in names if n not in order]
        if out:
            st.html(line_html("p", say("Left out: {names}", names=", ".join(out))))
        st.html(
            f"<p><b>{html.escape(capital(said))}</b></p>{step_bars(one.ordering)}"
            f"<p>{html.escape(capital(one.worst.say(*spoken())))} {html.escape(capital(skeins))}.</p>"
        )
        here = keys == current.design.order and current.design.stripes is None
        act(
            say("Take order {n}", n=i + 1),
            f"take-order-{i}",
            partial(_ruled, order=keys),
            told="order-take",
            disabled=here,
        )
    if i == 0:
        refused("order-take")
        said_too = (*one.ordering.notices, *doubts(current, wishes, one.ordering).notices)
        if said_too:
            st.html(bullet_list(capital(n.say(*spoken())) for n in said_too))


def _mends(current: Blanket, best: Alternative, wishes: Wishes) -> None:
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
        asked(current, wishes)[1],
    )
    st.html(bullet_list(capital(n.say(*spoken())) for n in (*report.why, *(m.words for m in report.mends))))


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


def _weigh(name: str, weight: int) -> None:
    change(lambda b: edits.change_design(b, wishes=weighed(fitted(b), name, weight)))


def _keep() -> None:
    """Keep the design in hand under a name, her own or the next that is free."""
    typed_name = typed("variant-name", "").strip()

    def kept(b: Blanket) -> Blanket:
        taken = {v.name for v in b.variants}
        free = next(n for i in range(1, 99) if (n := say("My order {n}", n=i)) not in taken)
        name = typed_name or free
        return replace(b, variants=(*(v for v in b.variants if v.name != name), Variant(name=name, design=b.design)))

    change(kept)
    put_typed("variant-name", "")


def _forget(at: int) -> None:
    change(lambda b: replace(b, variants=tuple(v for i, v in enumerate(b.variants) if i != at)))


# ---- along a line across a photograph

LOADED = "loaded"


def _scenes() -> dict[str, Scene]:
    """Return the pictures that can be followed: one loaded for this, and the photos of yarn."""
    loaded = session().scene
    found = {} if loaded is None else {LOADED: loaded}
    for digest, held in held_photos().items():
        found[digest] = Scene(photo=held.photo, view=held.view, digest=digest)
    return found


def _load(file: Any) -> None:
    data = file.getvalue()
    photo = load_photo(data, str(getattr(file, "name", "photo")))
    session().scene = Scene(photo=photo, view=view_of_photo(photo), digest=digest_of(data))
    session().picture = LOADED


def _receive() -> None:
    """Take a picture in and empty the uploader, so that the file's bytes are let go."""
    turn = session().uploads
    file = st.file_uploader(say("A picture to follow, such as a landscape"), key=f"scene-{turn}", max_upload_size=40)
    if file is not None:
        with st.spinner(say("Reading the picture")), drawing(False):
            try_("scene", lambda: _load(file))
            session().uploads += 1
        st.rerun()
    refused("scene")


def _line(scene: Scene) -> tuple[int, ...]:
    """Return the line on a picture, down its middle until it is drawn."""
    wide, tall = scene.photo.full_size
    line = session().lines.get(scene.digest, (wide // 2, 0, wide // 2, tall))
    # A photo may have been turned since.
    return tuple(min(max(int(v), 0), most) for v, most in zip(line, (wide, tall, wide, tall), strict=True))


def _pick(key: str) -> None:
    session().picture = key


def _take_places(n: int) -> None:
    session().places = n


def _draw_line(scene: Scene, line: Sequence[float]) -> None:
    session().lines[scene.digest] = tuple(int(v) for v in line)


@lru_cache(maxsize=16)
def _followed(
    yarns: tuple[Yarn, ...],
    shades: tuple[tuple[float, float, float], ...],
    places: int,
    viewing: Viewing,
    blend_rows: int,
) -> Ordering:
    return follow_shades(yarns, shades, places, viewing=viewing, blend_rows=blend_rows)


def proposal(blanket: Blanket, order: tuple[str, ...]) -> Blanket:
    """Return the blanket with an order that follows a picture: once along it, nothing carried through."""
    return edits.change_rule(
        blanket, order=tuple(blanket.keys[name] for name in order), arrange="once", times=1, carrier=None
    )


def follow_fold(current: Blanket) -> None:
    """Draw the picture with its line, the shades met along it, and the order proposed."""
    _receive()
    scenes = _scenes()
    if not scenes:
        st.caption(say("Load a picture, or add a photo of yarn above; then draw a line across its colours."))
        return
    picked = session().picture if session().picture in scenes else next(iter(scenes))
    if len(scenes) > 1:
        choice_field(
            say("Picture"),
            "follow-picture-field",
            picked,
            {key: scene.photo.name for key, scene in scenes.items()},
            _pick,
        )
    scene = scenes[picked]
    line = _line(scene)
    st.caption(say("The line goes from 1 to 2. Its start becomes the first stripe worked, lowest in the blanket."))
    photo_line(
        f"follow-stage-{scene.digest}",
        address(scene.view, "webp"),
        scene.photo.full_size,
        line,
        alt=say("Picture {name} with the line to follow", name=scene.photo.name),
        on_line=lambda got: _draw_line(scene, got),
    )
    _numbers(scene, line)
    places = session().places
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        whole_field(
            say("Solid stripes along the line"),
            "follow-places-field",
            places,
            (1, MAX_PLACES),
            _take_places,
        )
        st.button(
            say("Turn the line round"), key="follow-turn", on_click=_draw_line, args=(scene, (*line[2:], *line[:2]))
        )
    shades = shades_along(scene.photo, line[:2], line[2:])
    found = _followed(current.yarns, shades, places, current.viewing, current.design.blend_rows)
    _proposed(current, shades, found)


def _numbers(scene: Scene, line: tuple[int, ...]) -> None:
    """Draw the line in numbers, for the keyboard and for exact work."""
    wide, tall = scene.photo.full_size
    labels = (
        say("Start, from the left"),
        say("Start, from the top"),
        say("End, from the left"),
        say("End, from the top"),
    )
    for pair in (0, 2):
        for column, k in zip(st.columns(2), (pair, pair + 1), strict=True):
            with column:
                whole_field(
                    labels[k],
                    f"follow-{k}-{scene.digest}",
                    line[k],
                    (0, (wide, tall)[k % 2]),
                    lambda n, k=k: _draw_line(scene, (*line[:k], n, *line[k + 1 :])),  # type: ignore[misc]
                )


def _proposed(current: Blanket, shades: tuple[tuple[float, float, float], ...], found: Ordering) -> None:
    """Draw the shades met, the order that follows them, how far it is from them, and a button to take it."""
    order = found.order
    trial = proposal(current, order)
    st.html(line_html("h3", say("Met along the line, and in your yarn")))
    yarn_srgb = [current.called(name).srgb for name in order]
    met = [lab_to_hex(lab) for lab in shades]
    st.html(
        strip(met, [""] * len(met), say("The shades along the line, from its start to its end"))
        + strip(yarn_srgb, [str(i + 1) for i in range(len(order))], say("Your yarn: {names}", names=", ".join(order)))
    )
    left, right = st.columns([1, 2])
    with left:
        st.html(figure_html(trial, say("The blanket in this order: {names}", names=", ".join(order))))
    with right:
        count = 2 * len(order) - 1 if current.design.blend_rows else len(order)
        away = say(
            "On average a stripe is {d} away from the picture (CIEDE2000; under 2 can hardly be seen).",
            d=figure(found.cost / count, 1, lang()),
        )
        st.html(line_html("p", away) + line_html("p", capital(found.verdict.say(*spoken()))))
        take = partial(_stripes, lambda b: proposal(b, order))
        act(say("Take this order"), "follow-take", take, disabled=trial == current)
        refused("follow-take")
    sign = edits.signs_of(current)
    lines = []
    for i, (name, wanted) in enumerate(zip(order, wanted_along(shades, len(order)), strict=True), 1):
        yarn = current.called(name)
        met_there = key_mark(lab_to_hex(wanted), "", say("met"))
        off = figure(float(delta_e_2000(wanted, yarn.lab)), 1, lang())
        lines.append((str(i), met_there, key_mark(yarn.srgb, sign[name]) + html.escape(name), off))
    heads = (say("Stripe"), say("On the line"), say("Yarn"), say("Away"))
    st.html(table_html(say("The order that follows the picture"), heads, lines, left=(0, 1, 2)))


def strip(colours: Sequence[str], texts: Sequence[str], label: str) -> str:
    """Return colours side by side on neutral grey, with their texts in them; `label` is read aloud instead."""
    cells = "".join(
        f'<span style="background:{c};color:{text_on(c)}">{html.escape(t)}</span>'
        for c, t in zip(colours, texts, strict=True)
    )
    return f'<div class="bp-strip" role="img" aria-label="{html.escape(label, quote=True)}">{cells}</div>'
