"""Part 4: how much yarn of each colour, how sure, and how many skeins to buy."""

from __future__ import annotations

import html
from dataclasses import replace

import streamlit as st

from blendplan.outputs.content import read_plan
from blendplan.page.fields import fold, nothing_yet, number_field, switch_field
from blendplan.page.show import bullet_list, key_mark, table_html, told_html
from blendplan.page.stash_fold import stash_fold
from blendplan.page.state import brief, change, lang, plan, say
from blendplan.plan import Brief, Plan
from blendplan.wording import capital

__all__ = ["buying_part"]


def buying_part() -> None:
    """Draw the part."""
    current, made = brief(), plan()
    if current is None or made is None:
        nothing_yet()
        return
    st.html(shopping_table(made))
    missing = [c.name for c in made.yardage.colours if c.buy_skeins is None]
    if missing:
        st.html(
            told_html(
                say(
                    "Skeins can be counted once the bands are known: give grams and length per skein for {names}.",
                    names=", ".join(missing),
                )
            )
        )
    ways = fold(say("How carefully to count"), "yardage-fold")
    if ways.open:
        with ways:
            _settings(current)
    hand = fold(say("From the yarn on hand"), "stash-fold")
    if hand.open:
        with hand:
            stash_fold(current, made)
    said = dict.fromkeys(n.say(lang()) for n in made.yardage.notices)
    if said:
        st.html(bullet_list(capital(t) for t in said))


def shopping_table(made: Plan) -> str:
    """Return the shopping list as an HTML table."""
    words = read_plan(made, lang())
    colour = {y.name: y.srgb for y in made.brief.yarns}
    heads = (
        say("Yarn"),
        say("Needs"),
        say("Likely range"),
        say("On hand"),
        say("Buy"),
        say("May run short"),
        say("Price"),
    )
    lines = [
        (
            key_mark(colour[item.name], item.letter) + html.escape(item.name),
            html.escape(item.need),
            html.escape(item.span),
            html.escape(item.on_hand),
            f"<b>{html.escape(item.buy)}</b>",
            html.escape(item.chance),
            html.escape(item.price),
        )
        for item in words.shopping
    ]
    if words.total:
        lines.append((html.escape(say("Price of all")), "", "", "", "", "", f"<b>{html.escape(words.total)}</b>"))
    return table_html(say("Shopping list"), heads, lines)


def _settings(current: Brief) -> None:
    settings = current.yardage
    one, two, three = st.columns(3)
    with one:
        number_field(
            say("Accepted chance of running short (%)"),
            "chance",
            100 * settings.chance_short,
            lambda v: change(lambda b: replace(b, yardage=replace(b.yardage, chance_short=float(v or 0) / 100))),
            digits=2,
            optional=False,
        )
    with two:
        number_field(
            say("Or extra by hand (%), empty for none"),
            "margin",
            None if settings.margin is None else 100 * settings.margin,
            lambda v: change(lambda b: replace(b, yardage=replace(b.yardage, margin=None if v is None else v / 100))),
            digits=2,
        )
    with three:
        number_field(
            say("Length of a tail"),
            "tail",
            settings.tail_cm,
            lambda v: change(lambda b: replace(b, yardage=replace(b.yardage, tail_cm=float(v or 0)))),
            kind="cm",
            optional=False,
        )
    switch_field(
        say("One skein more of every colour, in case its dye lot is gone later"),
        "spare-skein",
        settings.spare_skein,
        lambda v: change(lambda b: replace(b, yardage=replace(b.yardage, spare_skein=v))),
    )
    from blendplan.page.measure_fold import measured_fold

    measured_fold(current)
