"""What the maker has weighed: it replaces the default yarn per stitch and narrows the range."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from blendplan.page.fields import refused, try_
from blendplan.page.state import change, say
from blendplan.plan import Brief
from blendplan.units import exact, whole
from blendplan.wording import Rounded
from blendplan.yardage.measured import WeighedRow

__all__ = ["measured_fold"]


def measured_fold(current: Brief) -> None:
    """Draw the field for weighed rows, and what has been weighed so far."""
    st.html(f"<h3>{say('Weighed rows')}</h3>")
    st.caption(say("Weigh the work, crochet some rows, weigh again: the difference is the truest measure there is."))
    names = [y.name for y in current.yarns]
    columns = st.columns(4, vertical_alignment="bottom")
    with columns[0]:
        st.text_input(say("Grams of these rows"), key="weighed-grams")
    with columns[1]:
        st.text_input(say("Number of rows"), key="weighed-rows")
    with columns[2]:
        st.selectbox(say("One strand"), names, key="weighed-one")
    with columns[3]:
        st.selectbox(say("The other strand"), names, key="weighed-two")

    def take() -> None:
        state = st.session_state
        row = WeighedRow(
            grams=float(exact(state.get("weighed-grams") or None, say("Grams of these rows"))),
            rows=whole(state.get("weighed-rows") or None, say("Number of rows"), 1, 5000),
            strands=(state["weighed-one"], state["weighed-two"]),
            scale_g=current.yardage.scale_g,
        )
        _put((*current.yardage.measured, row))

    st.button(say("Use these rows"), key="weighed-take", on_click=try_, args=("weighed", take))
    refused("weighed")
    for i, one in enumerate(current.yardage.measured):
        left = tuple(m for k, m in enumerate(current.yardage.measured) if k != i)
        with st.container(horizontal=True, vertical_alignment="center"):
            st.text(_told(one))
            st.button(
                say("Forget measure {n}", n=i + 1),
                key=f"weighed-{i}-drop",
                on_click=try_,
                args=("weighed", lambda m=left: _put(m)),
            )


def _put(measured: tuple[Any, ...]) -> None:
    change(lambda b: replace(b, yardage=replace(b.yardage, measured=measured)))


def _told(one: Any) -> str:
    if isinstance(one, WeighedRow):
        return say("{rows} rows, {grams} g", rows=one.rows, grams=Rounded(f"{one.grams:g}"))
    return type(one).__name__
