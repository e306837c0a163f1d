"""The page from top to bottom."""

from __future__ import annotations

import html
from pathlib import Path

import streamlit as st

from blendplan.page.blanket_part import blanket_part
from blendplan.page.buying_part import buying_part
from blendplan.page.derive import Look, seen
from blendplan.page.keep_part import bar, keep_part, told
from blendplan.page.making_part import making_part
from blendplan.page.serve import stay_home
from blendplan.page.show import wave
from blendplan.page.sight import VIEW_PX, sight
from blendplan.page.state import boot, brief, demo_workspace, plan, say
from blendplan.page.stripes_part import stripes_part
from blendplan.page.tab import tab_keeper
from blendplan.page.yarn_part import yarn_part

__all__ = ["main", "warm"]

ICON = Path(__file__).parent / "assets" / "icon.png"
LOOK = Path(__file__).parent / "assets" / "page.css"

# Here as well for those who start the page with the library's own command.
stay_home()


def _heading(number: int, anchor: str, title: str, lead: str) -> None:
    st.html(
        f'<div class="bp-part" id="{anchor}"><span class="bp-no" aria-hidden="true">{number}</span>'
        f'<h2>{html.escape(title)}</h2><span class="bp-lead">{html.escape(lead)}</span></div>'
    )


def warm() -> None:
    """Draw the demo's picture once, so that the first visitor finds it."""
    demo = demo_workspace().brief
    if demo is not None:
        seen(demo, VIEW_PX, Look())


def main() -> None:
    """Draw the page once."""
    st.set_page_config(page_title="blendplan", page_icon=str(ICON), layout="wide", menu_items=None)
    st.html(LOOK)
    boot()
    titles = (
        ("yarn", say("Yarn"), say("what you have, in its true shades")),
        ("stripes", say("Stripes"), say("the order of the colours, and the rows of each")),
        ("blanket", say("Blanket"), say("the ripple, its gauge and its size")),
        ("buying", say("Buying"), say("how much yarn, and how many skeins")),
        ("making", say("Making"), say("rows to work from, and paper beside the hook")),
    )
    current = plan()
    colours = [s.blend.srgb for s in current.stripes[:7]] if current else []
    # What comes and goes has a place of its own: without, all below is drawn anew and the page jumps.
    with st.container():
        if colours:
            st.html(wave(colours, 80))
    links = " ".join(
        f'<a href="#{anchor}">{n}&nbsp;{html.escape(title)}</a>' for n, (anchor, title, _) in enumerate(titles, 1)
    )
    bar(brief(), f'<nav class="bp-nav" aria-label="{html.escape(say("Parts of the page"))}">{links}</nav>')
    with st.container():
        told()
    left, right = st.columns([5, 6], gap="large")
    with left:
        sight()
    with right:
        for number, ((anchor, title, lead), draw) in enumerate(
            zip(titles, (yarn_part, stripes_part, blanket_part, buying_part, making_part), strict=True), 1
        ):
            _heading(number, anchor, title, lead)
            draw()
        keep_part()
        tab_keeper()
