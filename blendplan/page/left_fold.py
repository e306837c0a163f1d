"""Yarn left while working: grams typed per colour, and whether the rest of the rows can be made."""

from __future__ import annotations

import html
from dataclasses import replace
from fractions import Fraction

import streamlit as st

from blendplan.errors import BlendplanError
from blendplan.outputs.show import Show
from blendplan.page.fields import number_field, refused, try_
from blendplan.page.show import inert, refused_html, table_html, told_html
from blendplan.page.state import change, commit, lang, say, say_error, work
from blendplan.plan import Plan
from blendplan.units import number
from blendplan.yardage.mend import mend
from blendplan.yardage.progress import update

__all__ = ["left_fold"]


def left_fold(made: Plan) -> None:
    """Draw the fields for grams left, and the forecast."""
    done = min(work().extras.rows_done, made.rows)
    st.caption(
        say("After {done} rows: weigh what is left of each colour, not counting what is in the blanket.", done=done)
    )
    if not done:
        st.caption(say("Tick off the rows you have worked first: the forecast begins there."))
    kept = dict(work().extras.grams_left)
    names = [c.name for c in made.yardage.colours]
    columns = st.columns(min(3, len(names)))
    for i, name in enumerate(names):
        with columns[i % len(columns)]:
            number_field(inert(name), f"left-{i}", kept.get(name), lambda v, n=name: _put(n, v), kind="g")  # type: ignore[misc]

    if kept:
        try:
            _forecast(made, done, {n: float(g) for n, g in kept.items() if n in names})
        except BlendplanError as error:
            st.html(refused_html(say_error(error)))


def _forecast(made: Plan, done: int, left: dict[str, float]) -> None:
    """Draw what is left, what is needed, and a mend where it falls short."""
    stripes = [s.stripe for s in made.stripes]
    yarns, settings = made.brief.yarns, made.brief.yardage
    now = update(stripes, made.yardage, yarns, rows_done=done, grams_left=left, settings=settings)
    show = Show(made.brief.units, lang())
    rows = [
        (
            html.escape(c.name),
            show.mass(c.left_g),
            show.mass(c.need_g),
            f"{show.mass(c.low_g)} – {show.mass(c.high_g)}",
            show.percent(c.chance_short),
        )
        for c in now.colours
    ]
    heads = (say("Yarn"), say("Left"), say("Still needs"), say("Likely range"), say("May run short"))
    st.html(table_html(say("Yarn left and needed"), heads, rows))
    for notice in now.notices:
        st.html(told_html(notice.say(lang()), "!" if notice.level == "warning" else "i"))
    if now.short:
        mended = mend(stripes, made.yardage, yarns, now, settings)
        for name, skeins in mended.buy:
            st.html(told_html(say("Or buy {n} more skeins of {name}.", n=skeins, name=name)))
        for notice in mended.notices:
            st.html(told_html(notice.say(lang())))
        if mended.changed:
            st.button(
                say("Change the rows not yet worked so"),
                key="mend-take",
                on_click=try_,
                args=("mend", lambda: change(lambda b: replace(b, stripes=mended.stripes))),
            )
            refused("mend")


def _put(name: str, grams: Fraction | None) -> None:
    others = tuple((n, g) for n, g in work().extras.grams_left if n != name)
    if grams is not None:
        number(grams, f"grams left of {name}", 0, 100_000, "g")
        others = (*others, (name, grams))
    commit(work().with_extras(grams_left=others))
