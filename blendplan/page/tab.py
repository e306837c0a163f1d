"""Where the page is served to others: the work in hand stays in the maker's own browser, in this tab.

The server keeps nothing, so a refresh, a lost connection or another machine behind the proxy begins a new
session; the tab hands its work back to it.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import streamlit as st

from blendplan.errors import BlendplanError
from blendplan.page.state import boot_with, tell, work
from blendplan.page.store import served
from blendplan.page.workspace import read_workspace, workspace_to_json
from blendplan.wording import note

__all__ = ["tab_keeper"]

KEY = "tab-keeper"


@cache
def _mount() -> Any:
    script = (Path(__file__).parent / "assets" / "tab.js").read_text(encoding="utf-8")
    return st.components.v2.component("blendplan_tab", html="<i></i>", js=script)


def _kept() -> None:
    """Go on with what the tab kept; it comes from outside and is checked like any project file."""
    text = st.session_state[KEY].get("kept")
    # What was changed since the page was opened is newer than what the tab kept.
    if not isinstance(text, str) or work() != st.session_state.tab_first:
        return
    st.session_state.tab_given = True
    try:
        found, _ = read_workspace(text.encode("utf-8", errors="replace"))
    except BlendplanError:
        tell(note("what this tab had kept of your work is damaged and was passed over.", "warning"))
        return
    boot_with(found)


def _refused() -> None:
    st.session_state.tab_refused = True


def tab_keeper() -> None:
    """Keep the work in the tab, or ask the tab for it at the start of a session."""
    if not served():
        return
    state = st.session_state
    first = state.setdefault("tab_first", work())
    # Until something is changed there is nothing to keep, and an older state may still come back from the tab.
    asking = work() == first and not state.get("tab_given")
    if not asking and state.get("tab_work") != work():
        state.tab_work, state.tab_text = work(), workspace_to_json(work())
        state.tab_given = True
    _mount()(
        key=KEY,
        data={"work": "" if asking else state.get("tab_text", ""), "refused": bool(state.get("tab_refused"))},
        on_kept_change=_kept,
        on_refused_change=_refused,
    )
