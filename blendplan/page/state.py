"""The session: which blanket is in hand, the edits to it, and what is to be told."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache
from typing import Any, TypeVar

import streamlit as st

from blendplan.blanket import Blanket, Design, Ways
from blendplan.edits import edit_between
from blendplan.errors import BlendplanError
from blendplan.kept import Library, Past, Settled, library_at_home, open_library, told_by
from blendplan.page.routes import ASSETS, asked_language, served, work_address
from blendplan.photo import Opened, Photo, PhotoReading, Place
from blendplan.picture.distance import Screen
from blendplan.plan import Plan
from blendplan.project import read_project
from blendplan.wording import LANGUAGES, Notice, capital, note, tr
from blendplan.workspace import (
    Extras,
    HowRead,
    Workspace,
    changed,
    entries_of,
    plan_of,
    read_workspace,
    work_of,
    workspace_to_json,
)

KEY = "session"
T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How the picture is looked at: by lightness alone or not, and on which screen, pixel by pixel."""

    grey: bool = False
    screen: Screen = field(default_factory=Screen)


@dataclass(kw_only=True)
class Held:
    """A photo of this session: its pixels at working size as turned, its readings, and what is to be tapped on it."""

    photo: Photo
    view: bytes
    quarters: int = 0
    tapping: str = ""
    readings: dict[tuple[HowRead, tuple[Place, ...]], PhotoReading] = field(default_factory=dict)
    # Corners of the card that was found, by the quarters that the photo was turned.
    found: dict[int, list[tuple[float, float]]] = field(default_factory=dict)
    # What readings share, of the photo that was read last.
    opened: Opened | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """A picture whose colours are to be followed; it is kept for the session only."""

    photo: Photo
    view: bytes
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InHand:
    """The blanket that a window works on."""

    library: Library  # on the disk; in memory alone where the page is served, or while the disk cannot be used
    number: int = 0  # of the blanket in it; 0 where none of those in it can be read, until something is changed
    settled: Settled[Workspace]  # what stood there when this window last looked
    hand: str  # this window's name in the history

    @property
    def now(self) -> Workspace:
        """The work in hand."""
        return self.settled.now


@dataclass(slots=True, kw_only=True)
class Session:
    """One session: the blanket in hand, and what is open, typed and looked at; its fields are told where they stand."""

    kept: InHand
    lang: str = "en"  # before there is a blanket to say it
    # Why the last entry in a field was not taken, by the field's key; what is shown at the top until the next change;
    # what other hands did that is still to be told.
    bad: dict[str, BlendplanError] = field(default_factory=dict)
    told: list[Notice] = field(default_factory=list)
    others: tuple[Past, ...] = ()
    # Yarns of a file that was opened and those on the shelf that they may be, still to be asked; what was typed of
    # blankets that are finished, by their number.
    same: tuple[tuple[str, str], ...] = ()
    done: dict[int, dict[str, Any]] = field(default_factory=dict)
    # Photographs by their digest, their pixels for the session only; names under which finds are kept as yarns of their
    # own; files taken in so far, which renews the uploaders, so that the files' bytes are let go; files still to be
    # read, name and bytes, and why others could not be; whether shades are chosen without photographs.
    photos: dict[str, Held] = field(default_factory=dict)
    apart: set[str] = field(default_factory=set)
    uploads: int = 0
    waiting: list[tuple[str, bytes]] = field(default_factory=list)
    unread: list[Notice] = field(default_factory=list)
    by_eye: bool = False
    # What lies beside the picture: a key of `main.PLACES`; what was unfolded by a press; first blankets drawn so far,
    # each to be scrolled to.
    place: str = "stripes"
    open: set[str] = field(default_factory=set)
    drawn: int = 0
    # Keys of the yarns chosen, at most two, and whether two together are shown or one.
    pair: tuple[str, ...] = ()
    yarn_view: str = "cards"  # or "pair"
    # The picture to follow, the line drawn on each by digest, which one is chosen, and the stripes along the line.
    scene: Scene | None = None
    lines: dict[str, tuple[int, ...]] = field(default_factory=dict)
    picture: str = ""
    places: int = 8
    # How the picture is looked at; the stripe whose tag is open, from 0; whether the next one pressed changes places
    # with it; the gap that was pressed, after the stripe of that number; a design that is only looked at.
    look: Look = field(default_factory=Look)
    chosen: int | None = None
    swapping: bool = False
    gap: int | None = None
    looking: Design | None = None
    # Whether a stripe was pressed; the newest hand of each picture that was answered; what the last change came to,
    # read aloud once; the line that a stripe is out, until the next change.
    touched: bool = False
    heard: dict[str, int] = field(default_factory=dict)
    said: str = ""
    taken_out: str = ""
    # Whether the browser's tab has handed its work over, and whether it cannot keep any.
    tab_given: bool = False
    tab_refused: bool = False
    # Presses that came while an older one was still being answered, as the page library raises them; keys of widgets
    # that something was put into and that were not drawn since: a newer press may come between.
    newer: list[BaseException] = field(default_factory=list)
    unseen: set[str] = field(default_factory=set)


def begun() -> bool:
    """Return whether the session has begun."""
    return reach(lambda: KEY in st.session_state)


def begin(new: Session) -> None:
    """Begin a session."""
    st.session_state[KEY] = new


class _Thread(threading.local):
    """Whether the page is being drawn here; where it is not, a press is being answered."""

    drawing = False


_here = _Thread()


@contextmanager
def drawing(on: bool = True) -> Iterator[None]:
    """Draw: a newer press may end this at any time, for all is drawn anew; or do something that is done to its end."""
    before, _here.drawing = _here.drawing, on
    try:
        yield
    finally:
        _here.drawing = before


def reach(act: Callable[[], T]) -> T:
    """Return what something finds in the page library's state.

    The library ends whatever reaches into it as soon as a newer press has come, also in the midst of answering an
    older one, which would be lost half done. So the newer one is kept, and `take_newer` takes it up after this.
    """
    newer: list[BaseException] = []
    while True:
        try:
            found = act()
        except BaseException as press:
            if _here.drawing or not hasattr(press, "rerun_data"):
                raise
            newer.append(press)
            continue
        if newer:
            session().newer += newer
        return found


def take_newer() -> None:
    """Answer the press that came while the last one was answered."""
    if session().newer:
        raise session().newer.pop(0)


def session() -> Session:
    """Return the session."""
    found: Session = reach(lambda: st.session_state[KEY])
    return found


def typed(key: str, default: Any = None) -> Any:
    """Return what stands in a widget, the default where it is empty or was not drawn."""
    return reach(lambda: st.session_state.get(key)) or default


def put_typed(key: str, value: object) -> None:
    """Put something into a widget before it is drawn."""
    session().unseen.add(key)
    reach(lambda: st.session_state.__setitem__(key, value))


def turn(key: str) -> None:
    """Unfold something by a press, or fold it again."""
    session().open ^= {key}


def lang() -> str:
    """Return the language chosen, English unless it is known."""
    return spoken()[0]


def spoken() -> tuple[str, str]:
    """Return the language and the units that sentences are said in."""
    held: Session | None = reach(lambda: st.session_state.get(KEY))
    if held is None:
        return "en", "metric"
    current = held.kept.now.blanket
    ways = Ways() if current is None else current.ways
    chosen = ways.language or held.lang
    return chosen if chosen in LANGUAGES else "en", ways.units


def say(template: str, /, **values: object) -> str:
    """Return a sentence in the language chosen."""
    return tr(template, *spoken(), **values)


def say_error(error: BlendplanError) -> str:
    """Return an error's line in the language chosen."""
    return capital(" ".join(tr(error.template, *spoken(), **error.values).split()))


@lru_cache(maxsize=1)
def demo_workspace() -> Workspace:
    """Return the demo's work as it was read from its photos once; shades are stored, never re-derived on opening."""
    stored = (ASSETS / "demo.json").read_bytes()
    return Workspace(blanket=read_project(stored)[0], extras=Extras(demo=True))


def boot() -> None:
    """Begin a session with the blanket opened last, else the demo; later, look what other windows did."""
    if begun():
        _look()
        return
    library = open_library(None)[0] if served() else library_at_home()
    library.take_over(lambda data: entries_of(read_workspace(data)[0]))
    demo = demo_workspace()
    library.begin(entries_of(demo), _title(demo))
    kept = InHand(library=library, settled=Settled(now=demo, revision=0), hand=f"{_device()}-{secrets.token_hex(4)}")
    asked = asked_language(st.context.locale or "")
    begin(Session(kept=kept, lang=st.query_params.get("lang") or asked))
    _open_any()
    # The page beside the work leads back to where it was opened, and after the last row to where a blanket is put away.
    if (at := st.query_params.pop("at", "")) in ("work", "library"):
        session().place = at
    session().told += library.take_news()


def _device() -> str:
    """Return what this window stands on, for the line that tells others of its presses."""
    return "phone" if "Mobi" in (st.context.headers.get("User-Agent") or "") else "desk"


def _open_any() -> None:
    """Take the blanket opened last in hand, else the one last changed that can be read."""
    library = session().kept.library
    listed = [one.id for one in library.blankets() if not one.put_away] or [one.id for one in library.blankets()]
    opened = library.said(OPENED) or ""
    for number in sorted(listed, key=lambda n: str(n) != opened):
        try:
            open_blanket(number)
        except BlendplanError:
            title = next(one.title for one in library.blankets() if one.id == number)
            tell(note("{title} in your library cannot be read and was passed over.", "warning", title=title))
            continue
        return


# Under this name the library remembers which blanket was opened last: phone and desk begin with the same.
OPENED = "opened"


def open_blanket(number: int) -> None:
    """Take a blanket of the library in hand.

    Raises
    ------
    BlendplanError
        If it cannot be read; the one in hand stays.
    """
    kept = session().kept
    settled = kept.library.read(number, work_of)
    session().kept = replace(kept, number=number, settled=settled)
    session().bad, session().told, session().others = {}, [], ()
    session().chosen, session().pair, session().looking, session().gap = None, (), None, None
    # Photographs that are open belong to the blanket that was in hand.
    session().photos, session().waiting, session().apart, session().by_eye = {}, [], set(), False
    if kept.library.said(OPENED) != str(number):
        kept.library.say(OPENED, str(number))
    _unfold()


def new_blanket(found: Workspace | None = None) -> None:
    """Put another blanket into the library, empty or as given, and take it in hand; the one in hand stays there."""
    made = found or Workspace(extras=Extras())
    open_blanket(session().kept.library.add(entries_of(made), _title(made) or say("A new blanket")))


def boot_with(found: Workspace) -> None:
    """Begin a session with work that a tab kept."""
    open_blanket(session().kept.library.add(entries_of(found), _title(found)))
    # A tab keeps nothing before something was done, so the start of the example is past.
    session().touched = True


def _unfold() -> None:
    # What waits to be named is unfolded.
    if work().extras.finds:
        session().place = "yarn"


def _title(of: Workspace) -> str:
    return of.blanket.title if of.blanket else ""


def _look() -> None:
    """Take up what another window did meanwhile, and remember it to be told."""
    kept = session().kept
    session().told += kept.library.take_news()
    now = kept.library.revision(kept.number)
    if not kept.number or now == kept.settled.revision:
        return
    if not now:
        tell(
            note(
                "{title} was thrown away in another window; “My blankets and yarn” brings it back.",
                title=_title(work()),
            )
        )
        _open_any()
        return
    try:
        seen = kept.library.meanwhile(kept.number, kept.settled.revision, kept.hand)
        session().others = tuple(past for past in seen if any(step.place != COUNTED for step in past.edit))
        session().kept = replace(kept, settled=kept.library.read(kept.number, work_of))
    except BlendplanError as error:
        tell(Notice(template=error.template, values=tuple(error.values.items()), level="warning"))


def mount(name: str, key: str, data: Mapping[str, object], body: str = "<i></i>", *shared: str, **heard: Any) -> None:
    """Draw a component of our own by the name of its script, with its body as HTML and scripts that it shares.

    `heard`: what is done before the next run where it has sent something, as `on_NAME_change`.
    """
    # In a list: of a bare dictionary the page library would look whether each value is a table, and load pandas for it.
    _component(name, body, *shared)(key=key, data=[dict(data)], **heard)


@cache
def _component(name: str, body: str, *shared: str) -> Any:
    css, scripts = ASSETS / f"{name}.css", [ASSETS / f"{one}.js" for one in (*shared, name)]
    return st.components.v2.component(
        f"blendplan_{name}",
        html=body,
        css=css.read_text(encoding="utf-8") if css.exists() else None,
        js="\n".join(script.read_text(encoding="utf-8") for script in scripts),
    )


def follow() -> None:
    """Have the page drawn again as soon as another hand has changed the blanket, within a second or two."""
    kept = session().kept
    asked = work_address(kept.library, kept.number)
    if asked and not served():
        stands = {"revision": kept.settled.revision, "unsaved": kept.library.unsaved is not None}
        mount("follow", "follow", {"address": asked, **stands}, on_changed_change=lambda: None)


# Rows counted beside the work are seen in the picture and told to nobody.
COUNTED = ("making", "rows_done")


def others() -> tuple[Past, ...]:
    """Return what other hands did that is still to be told, the last first."""
    return session().others


def undo_other(past: Past) -> None:
    """Take back one thing that another hand did."""
    session().others = ()
    _settle(lambda kept: kept.library.undo(kept.number, work_of, kept.hand, past=past.id))


def unsaved() -> str:
    """Return the line that says since when nothing is saved; empty where all is."""
    found = session().kept.library.unsaved
    return "" if found is None else found.said.say(*spoken())


def can_undo() -> bool:
    """Return whether there is an edit to take back."""
    return bool(session().kept.settled.can_undo)


def can_redo() -> bool:
    """Return whether there is an edit to make again."""
    return bool(session().kept.settled.can_redo)


def work() -> Workspace:
    """Return the work in hand."""
    return session().kept.now


def blanket() -> Blanket | None:
    """Return the blanket in hand, None before the first yarn."""
    return work().blanket


def plan() -> Plan | None:
    """Return the plan of the blanket in hand, None where there is none or it cannot be worked."""
    current = blanket()
    if current is None:
        return None
    try:
        return plan_of(current)
    except BlendplanError:
        return None


def tell(notice: Notice) -> None:
    """Show a line at the top of the page until the next change."""
    session().told = [*session().told, notice]


def _settle(act: Callable[[InHand], Settled[Workspace]]) -> None:
    """Do something to the blanket in hand."""
    state = session()
    kept = state.kept
    if not kept.number:
        kept = replace(kept, number=kept.library.add(entries_of(kept.now), _title(kept.now)))
    settled = act(kept)
    state.kept, state.bad, state.told, state.others = replace(kept, settled=settled), {}, [], ()
    state.taken_out = ""
    for past in settled.overruled:
        tell(note("{what} What you set stands; Undo brings the other back.", what=told_by(past)))


def commit(new: Workspace) -> None:
    """Take changed work as one edit of what stands in the library."""
    edit = edit_between(entries_of(work()), entries_of(new))
    if edit:
        _settle(lambda kept: kept.library.edit(kept.number, edit, kept.hand, work_of))


def change(edit: Callable[[Blanket], Blanket]) -> None:
    """Change the blanket in one step; a change that cannot be worked is refused and nothing is changed.

    Raises
    ------
    BlendplanError
        With the reason.
    """
    new = changed(work(), edit)
    if new.blanket is not None:
        plan_of(new.blanket)
    commit(new)


def undo() -> None:
    """Take the last edit back."""
    _settle(lambda kept: kept.library.undo(kept.number, work_of, kept.hand))


def redo() -> None:
    """Make again the edit that was taken back last."""
    _settle(lambda kept: kept.library.redo(kept.number, work_of, kept.hand))


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


# ---- where the page is served to others: the work stays in the tab of the maker's own browser

TAB_KEY = "tab-keeper"


@lru_cache(maxsize=2)
def _text(now: Workspace) -> str:
    return workspace_to_json(now)


def _kept() -> None:
    """Go on with what the tab kept; it comes from outside and is checked like any project file."""
    text = typed(TAB_KEY, {}).get("kept")
    # What was changed since the page was opened is newer than what the tab kept.
    if not isinstance(text, str) or can_undo():
        return
    session().tab_given = True
    try:
        found, _ = read_workspace(text.encode("utf-8", errors="replace"))
    except BlendplanError:
        tell(note("what this tab had kept of your work is damaged and was passed over.", "warning"))
        return
    boot_with(found)


def _refused() -> None:
    session().tab_refused = True


def tab_keeper() -> None:
    """Keep the work in the tab, or ask the tab for it at the start of a session."""
    if not served():
        return
    state = session()
    # Until something is changed there is nothing to keep, and an older state may still come back from the tab.
    state.tab_given = state.tab_given or can_undo()
    mount(
        "tab",
        TAB_KEY,
        {"work": _text(work()) if state.tab_given else "", "refused": state.tab_refused},
        on_kept_change=_kept,
        on_refused_change=_refused,
    )
