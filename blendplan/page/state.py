"""The session: which work is in hand, its undo history, autosave, and what is to be told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import streamlit as st

from blendplan.errors import BlendplanError
from blendplan.page.derive import plan_of
from blendplan.page.store import Conflict, Store, home_folder, served
from blendplan.page.workspace import Extras, History, Workspace, changed_brief, read_workspace, workspace_to_json
from blendplan.plan import Brief, Plan
from blendplan.project import read_project
from blendplan.wording import LANGUAGES, Notice, capital, note, tr

__all__ = [
    "boot",
    "boot_with",
    "brief",
    "change",
    "commit",
    "history",
    "lang",
    "open_bytes",
    "plan",
    "redo",
    "say",
    "tell",
    "undo",
    "work",
]


def lang() -> str:
    """Return the language chosen, English unless it is known."""
    chosen = st.session_state.get("lang", "en")
    return chosen if chosen in LANGUAGES else "en"


def say(template: str, /, **values: object) -> str:
    """Return a sentence in the language chosen."""
    return tr(template, lang(), **values)


def say_error(error: BlendplanError) -> str:
    """Return an error's line in the language chosen."""
    return capital(" ".join(tr(error.template, lang(), **error.values).split()))


def store() -> Store | None:
    """Return the autosave store, None where the page is served to others."""
    return None if served() else Store(home_folder() / "autosave")


@lru_cache(maxsize=1)
def demo_workspace() -> Workspace:
    """Return the demo's work as it was read from its photos once; shades are stored, never re-derived on opening."""
    stored = (Path(__file__).parent / "assets" / "demo.json").read_bytes()
    return Workspace(brief=read_project(stored)[0], extras=Extras(demo=True))


def boot() -> None:
    """Begin a session: the newest work that can be read, else the demo."""
    state = st.session_state
    if "history" in state:
        return
    state.bad, state.told, state.base = {}, [], 0
    state.lang = st.query_params.get("lang", "en")
    keep = store()
    for version in keep.versions() if keep else ():
        # Go on from the newest number even if that version is damaged.
        state.base = max(state.base, version.revision)
        try:
            found, _ = read_workspace(version.path.read_bytes())
        except (BlendplanError, OSError):
            tell(note("version {n} of your work is damaged and was passed over.", "warning", n=version.revision))
            continue
        boot_with(found)
        return
    state.history = History(now=demo_workspace())


def boot_with(found: Workspace) -> None:
    """Begin a session with work that was kept; what waits to be named is unfolded."""
    st.session_state.history = History(now=found)
    if found.extras.finds:
        st.session_state["add-photos"] = True


def history() -> History:
    """Return the undo history."""
    return st.session_state.history


def work() -> Workspace:
    """Return the work in hand."""
    return history().now


def brief() -> Brief | None:
    """Return the brief in hand, None before the first yarn."""
    return work().brief


def plan() -> Plan | None:
    """Return the plan of the brief in hand, None where there is none or it cannot be worked."""
    current = brief()
    if current is None:
        return None
    try:
        return plan_of(current)
    except BlendplanError:
        return None


def tell(notice: Notice) -> None:
    """Show a line at the top of the page until the next change."""
    st.session_state.told = [*st.session_state.get("told", []), notice]


def _save(work_now: Workspace) -> None:
    keep, state = store(), st.session_state
    if keep is None or state.get("conflict"):
        return
    try:
        state.base = keep.save(workspace_to_json(work_now).encode("utf-8"), state.base)
        state.unsaved = None
    except Conflict:
        state.conflict = True
    except BlendplanError as error:
        state.unsaved = error


def _settle(new: History) -> None:
    state = st.session_state
    if new is state.history:
        return
    state.history, state.bad, state.told = new, {}, []
    _save(new.now)


def commit(new: Workspace) -> None:
    """Take changed work as one step of the history, and autosave it."""
    _settle(history().step(new))


def change(edit: Callable[[Brief], Brief]) -> None:
    """Change the brief in one step; a change that cannot be worked is refused and nothing is changed.

    Raises
    ------
    BlendplanError
        With the reason.
    """
    new = changed_brief(work(), edit)
    assert new.brief is not None  # noqa: S101 - changed_brief never returns an empty one
    plan_of(new.brief)
    commit(new)


def undo() -> None:
    """Go one step back."""
    _settle(history().undo())


def redo() -> None:
    """Go one step forward."""
    _settle(history().redo())


def open_bytes(data: bytes) -> None:
    """Open a project file as one step of the history.

    Raises
    ------
    BlendplanError
        If it cannot be used; the work in hand stays.
    """
    found, notices = read_workspace(data)
    commit(replace(found, extras=replace(found.extras, demo=False)))
    for notice in notices:
        tell(notice)


def settle_conflict(mine: bool) -> None:
    """End a conflict between two tabs: keep this tab's work as the newest, or take the other's."""
    keep, state = store(), st.session_state
    state.conflict = False
    if keep is None:
        return
    newest = keep.latest()
    if mine:
        state.base = newest
        _save(work())
        return
    try:
        found, _ = read_workspace(keep.read(newest))
    except BlendplanError as error:
        tell(Notice(template=error.template, values=tuple(error.values.items()), level="warning"))
        return
    state.history, state.bad, state.base = history().step(found), {}, newest
