"""What the yarn on hand allows: rows, longest stripes, largest blanket, a scarce colour spared, scraps shared out."""

from __future__ import annotations

from collections.abc import Callable
from collections.abc import Sequence as Seq
from dataclasses import replace

import streamlit as st

from blendplan.errors import BlendplanError
from blendplan.fabric.ripple import work
from blendplan.fabric.size import measure
from blendplan.page.fields import refused, try_
from blendplan.page.show import refused_html, told_html
from blendplan.page.state import change, lang, say, say_error, tell
from blendplan.plan import Brief, Plan
from blendplan.stripes.model import Stripe
from blendplan.units import whole
from blendplan.wording import Notice
from blendplan.yardage.largest import SizeOption, largest_blanket
from blendplan.yardage.length import estimate
from blendplan.yardage.scraps import share_scraps
from blendplan.yardage.stash import longest_stripes, rows_possible, spare_scarce

__all__ = ["size_options", "stash_fold"]

MOST_OPTIONS = 12


def size_options(made: Plan) -> tuple[SizeOption, ...]:
    """Return the widths to try for the largest blanket: repeats from about half to one and a half of the plan's."""
    now = made.brief.ripple.repeats
    low, high = max(1, now // 2), now + max(2, now // 2)
    step = max(1, (high - low) // MOST_OPTIONS)
    stripes = tuple(s.stripe for s in made.stripes)
    options = []
    for repeats in range(low, high + 1, step):
        worked = work(replace(made.brief.ripple, repeats=repeats))
        size = measure(worked, made.gauge, made.rows)
        need = estimate(
            stripes,
            worked,
            made.gauge,
            made.brief.yarns,
            made.brief.yardage,
            width_cm=size.width_cm,
            height_cm=size.height_cm,
            hook_mm=made.brief.hook_mm,
        )
        options.append(
            SizeOption(
                repeats=repeats,
                width_cm=size.width_cm,
                rise_cm=size.rise_per_row_cm,
                row_m=max(need.rows_m),
                foundation_m=need.foundation_m,
            )
        )
    return tuple(options)


def _done(edit: Callable[[Brief], Brief], notices: Seq[Notice]) -> None:
    change(edit)
    for notice in notices:
        tell(notice)


def _button(label: str, key: str, act: Callable[[], None]) -> None:
    st.button(label, key=f"stash-{key}", on_click=try_, args=(f"stash-{key}", act))
    refused(f"stash-{key}")


def stash_fold(current: Brief, made: Plan) -> None:
    """Draw how far the yarn on hand goes, and offer changes that fit it."""
    stripes = [s.stripe for s in made.stripes]
    try:
        reach = rows_possible(stripes, made.yardage, current.yarns, current.yardage)
    except BlendplanError as error:
        st.html(refused_html(say_error(error)))
        return
    if reach.sure >= reach.planned:
        st.html(told_html(say("The yarn on hand makes all {n} rows.", n=reach.planned)))
    for notice in reach.notices:
        st.html(told_html(notice.say(lang())))

    def longest() -> None:
        fit = longest_stripes(stripes, made.yardage, current.yarns, current.yardage)
        _done(lambda b: replace(b, stripes=fit.stripes), fit.notices)

    def largest() -> None:
        fit = largest_blanket(stripes, made.yardage, current.yarns, size_options(made), current.yardage)
        _done(
            lambda b: replace(b, stripes=fit.stripes, ripple=replace(b.ripple, repeats=fit.size.repeats)), fit.notices
        )

    _button(say("Make the stripes as long as the yarn on hand allows"), "take", longest)
    _button(say("Make the largest blanket of the yarn on hand"), "largest", largest)
    _scarce(current, made, stripes)
    _scraps(current, made)


def _scarce(current: Brief, made: Plan, stripes: Seq[Stripe]) -> None:
    st.selectbox(say("A colour that is scarce"), [c.name for c in made.yardage.colours], key="scarce-name")

    def spare() -> None:
        scarce = st.session_state["scarce-name"]
        fit = spare_scarce(stripes, made.yardage, scarce, current.yarns, current.yardage)
        _done(lambda b: replace(b, stripes=fit.stripes), fit.notices)

    _button(say("Use it as little as the stripes allow"), "scarce", spare)


def _scraps(current: Brief, made: Plan) -> None:
    one, two = st.columns(2)
    with one:
        st.text_input(say("Number of stripes"), key="scrap-stripes", placeholder="20")
    with two:
        st.text_input(say("Rows of each"), key="scrap-rows", placeholder="2")

    def share() -> None:
        state = st.session_state
        count = whole(state.get("scrap-stripes") or 20, say("Number of stripes"), 1, 200)
        rows = whole(state.get("scrap-rows") or 2, say("Rows of each"), 1, 100)
        shared = share_scraps(current.yarns, [rows] * count, max(made.yardage.rows_m), tail_cm=current.yardage.tail_cm)
        _done(lambda b: replace(b, stripes=shared.stripes), shared.notices)

    _button(say("Share the weighed scraps over these stripes"), "scraps", share)
