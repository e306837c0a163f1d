"""The hand of another window, for tests: what a window of the page holds, and other work put into it by an edit."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from blendplan.edits import edit_between
from blendplan.workspace import Workspace, entries_of, work_of


def held(app: Any) -> Workspace:
    """Return the work that a window holds."""
    return app.session_state["session"].kept.now


def put(app: Any, work: Workspace) -> None:
    """Let the window hold other work, as an edit of another hand would."""
    kept = app.session_state["session"].kept
    edit = edit_between(entries_of(kept.now), entries_of(work))
    settled = kept.library.edit(kept.number, edit, "another", work_of)
    app.session_state["session"].kept = replace(kept, settled=settled)


def at(app: Any, place: str) -> Any:
    """Open a place beside the picture, and what is behind "More"; the rule of all stripes is unfolded."""
    app.session_state["more"] = app.session_state["tag-more"] = True
    app.session_state["session"].place = place
    app.session_state["session"].touched = True
    if place == "stripes":
        app.session_state["rule-fold"] = True
    return app.run()
