"""The bar at the top (undo, units, language, save and open), what is to be told, and earlier versions."""

from __future__ import annotations

import html
import time
from dataclasses import replace

import streamlit as st

from blendplan.page.fields import choice_field, refused, text_field, try_
from blendplan.page.show import inert, refused_html, told_html
from blendplan.page.state import (
    change,
    commit,
    history,
    lang,
    open_bytes,
    redo,
    say,
    say_error,
    settle_conflict,
    store,
    undo,
    work,
)
from blendplan.page.store import served
from blendplan.page.workspace import Workspace, workspace_to_json
from blendplan.plan import Brief
from blendplan.wording import LANGUAGES

__all__ = ["bar", "keep_part", "told"]

SIGNS = {"note": "i", "assumed": "≈", "warning": "!", "caution": "!"}


def _served_line() -> str:
    if st.session_state.get("tab_refused"):
        return say(
            "Your browser does not let this page keep your work in its tab, so a refresh would lose it. "
            "Save the project file after each larger change."
        )
    return say(
        "This page is served to others and keeps nothing on its machine: your work stays in this tab of your "
        "browser until you close it. Save the project file before you do."
    )


def _set_lang(code: str) -> None:
    st.session_state.lang = code
    st.query_params["lang"] = code


def _start_own() -> None:
    commit(Workspace())
    st.session_state["add-photos"] = True


def _open_upload() -> None:
    got = st.session_state.get("open-file")
    if got is not None:
        try_("open-file", lambda: open_bytes(got.getvalue()))


def bar(current: Brief | None, nav: str) -> None:
    """Draw the title, the ways to the parts, and what holds for the whole page."""
    title = current.title if current else say("A new blanket")
    with st.container(horizontal=True, vertical_alignment="center", gap="small", key="bar"):
        with st.container(key="head", width="stretch"):
            st.html(f"<h1>{html.escape(title)}</h1>{nav}")
        past, future = history().past, history().future
        st.button(say("Undo"), key="undo", on_click=undo, disabled=not past, shortcut="Ctrl+Z")
        st.button(say("Redo"), key="redo", on_click=redo, disabled=not future, shortcut="Ctrl+Shift+Z")
        if work().extras.demo:
            st.button(say("Start my own"), key="start-own", type="primary", on_click=_start_own)
        with st.popover(say("Save and open"), key="files"):
            _files(current)
        with st.popover(say("Units and language"), key="ways"):
            _ways(current)


def _files(current: Brief | None) -> None:
    from blendplan.outputs.names import download_name

    if current is not None:
        text_field(say("Title"), "title", current.title, lambda t: change(lambda b: replace(b, title=t)))
        st.download_button(
            say("Save the project file"),
            workspace_to_json(work()).encode("utf-8"),
            file_name=download_name(current.title, "json"),
            mime="application/json",
            key="save-file",
            on_click="ignore",
        )
        st.caption(say("It holds your yarns, stripes and measures, and small crops of your photos without their data."))
    st.file_uploader(
        say("Open a project file"), type=["json"], key="open-file", on_change=_open_upload, max_upload_size=20
    )
    refused("open-file")
    _versions()


def _versions() -> None:
    keep = store()
    if keep is None:
        st.caption(_served_line())
        return
    st.caption(say("Your work is kept in {folder} after every change.", folder=inert(str(keep.folder))))
    found = keep.versions()
    if not found:
        return

    def shown(revision: int) -> str:
        when = next((v.saved for v in found if v.revision == revision), 0.0)
        return say("{n}, saved {when}", n=revision, when=time.strftime("%Y-%m-%d %H:%M:%S", time.localtime(when)))

    st.selectbox(say("Earlier versions"), [v.revision for v in found], format_func=shown, key="version")

    def take() -> None:
        try_("version", lambda: open_bytes(keep.read(int(st.session_state["version"]))))

    st.button(say("Go back to this version"), key="take-version", on_click=take)
    refused("version")


def _ways(current: Brief | None) -> None:
    choice_field(say("Language"), "way-lang", lang(), LANGUAGES, _set_lang, buttons=True)
    if current is None:
        return
    choice_field(
        say("Units"),
        "way-units",
        current.units,
        {"metric": say("cm, m, g"), "imperial": say("in, yd, oz")},
        lambda v: change(lambda b: replace(b, units="imperial" if v == "imperial" else "metric")),
        buttons=True,
    )
    choice_field(
        say("Stitch names"),
        "way-terms",
        current.terms,
        {"US": say("US"), "UK": say("UK")},
        lambda v: change(lambda b: replace(b, terms="UK" if v == "UK" else "US")),
        buttons=True,
    )
    text_field(say("Currency"), "way-currency", current.currency, lambda t: change(lambda b: replace(b, currency=t)))
    st.caption(say("Numbers may be written with a comma or a point: 2,5 and 2.5 are the same."))


def told() -> None:
    """Show what is to be told: refusals without a field, notices, conflicts, work that could not be saved."""
    state = st.session_state
    if state.get("conflict"):
        with st.container(border=True, key="conflict"):
            said = say(
                "This blanket was changed in another tab or window. Nothing is lost: choose which to go on with; "
                "the other stays among the earlier versions."
            )
            st.html(f'<p role="alert"><b aria-hidden="true">!</b> {html.escape(said)}</p>')
            with st.container(horizontal=True):
                st.button(say("Go on with the other"), key="take-other", on_click=settle_conflict, args=(False,))
                st.button(say("Go on with this one"), key="keep-mine", on_click=settle_conflict, args=(True,))
    if state.get("unsaved") is not None:
        st.html(refused_html(say_error(state.unsaved)))
    if served() and not work().extras.demo:
        st.html(told_html(_served_line(), "!" if state.get("tab_refused") else "i"))
    lines = [told_html(n.say(lang()), SIGNS.get(n.level, "i")) for n in state.get("told", ())]
    if work().extras.demo:
        lines.append(
            told_html(say("This is the demo's blanket: change anything to try it out, or press “Start my own”."))
        )
    if lines:
        st.html("".join(lines))


def keep_part() -> None:
    """Close the page: what this program does with the maker's things."""
    st.html('<hr style="margin:2rem 0 .5rem">')
    st.caption(
        say(
            "Photos are read on the machine that runs this page and are not kept; "
            "only small crops stay with your project. Nothing is sent anywhere else."
        )
    )
