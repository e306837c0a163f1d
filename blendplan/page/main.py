"""The frame: a bar, the blanket beside one place, and on a phone a second bar that stays at the bottom."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path

import streamlit as st

from blendplan.blanket import Blanket
from blendplan.kept import home_folder, told_by
from blendplan.page.edits import change_ways
from blendplan.page.fields import (
    PHOTOS,
    choice_field,
    facts_html,
    file_field,
    inert,
    line_html,
    refused_html,
    save_button,
    text_field,
    told_html,
)
from blendplan.page.reads import at_photographs
from blendplan.page.routes import served
from blendplan.page.sight import shelf, sight, sum_words
from blendplan.page.state import (
    blanket,
    boot,
    can_redo,
    can_undo,
    change,
    commit,
    drawing,
    follow,
    lang,
    mount,
    open_bytes,
    others,
    plan,
    redo,
    say,
    session,
    spoken,
    tab_keeper,
    take_newer,
    turn,
    undo,
    undo_other,
    unsaved,
    work,
)
from blendplan.page.yarn import photographs_column, press_yarn, start_side
from blendplan.wording import LANGUAGES
from blendplan.workspace import Workspace, workspace_to_json

ASSETS = Path(__file__).parent / "assets"

# What lies beside the picture, and its word; those that are not in the bar are reached from where they are needed.
PLACES = {
    "stripes": "Stripes",
    "order": "Colour order",
    "yarn": "Yarn",
    "buying": "Buying",
    "work": "Crochet",
    "library": "My blankets and yarn",
    "fabric": "Hook and fabric",
}
# Places that say themselves what they show.
OWN_TITLE = ("yarn", "buying", "order")
IN_BAR = ("stripes", "order", "yarn", "buying", "work")


def go(place: str) -> None:
    """Open a place beside the picture."""
    state = session()
    state.place, state.looking, state.swapping = place, None, False
    state.open -= {"listing"}


def _do(key: str, *, phone: bool) -> None:
    """Draw undo and redo; the keys are heard once, by the desk's."""
    words = {"undo": (say("Undo"), undo, can_undo()), "redo": (say("Redo"), redo, can_redo())}
    label, act, can = words[key]
    keys = None if phone else {"undo": "Ctrl+Z", "redo": "Ctrl+Shift+Z"}[key]
    st.button(
        label,
        key=f"phone-{key}" if phone else key,
        on_click=act,
        disabled=not can,
        shortcut=keys,
        type="tertiary",
        icon=f":material/{key}:",
    )


def _bar() -> None:
    """Draw the bar at the top: the title, which leads to the library, the places, undo, redo, and more."""
    current = blanket()
    title = current.title if current else say("A new blanket")
    st.html(line_html("h1", title, "bp-unseen"))
    with st.container(key="bar", horizontal=True, vertical_alignment="center", gap=None):
        with st.container(key="title-press", width="stretch"):
            st.button(inert(title), key="title-bar", on_click=go, args=("library",), type="tertiary")
        with st.container(key=f"at-{session().place}", horizontal=True, width="content", gap=None):
            for name in IN_BAR:
                st.button(say(PLACES[name]), key=f"go-{name}", on_click=go, args=(name,), type="tertiary")
        with st.container(key="do", horizontal=True, width="content", gap=None):
            _do("undo", phone=False)
            _do("redo", phone=False)
            # Drawn once it is open: fields of a closed one would come up empty.
            part = st.popover(say("More"), key="more", type="tertiary", on_change="rerun")
            if part.open:
                with part:
                    more(current)


def _phone_bar() -> None:
    """Draw the bar that stays at the bottom of a phone, and the list of places that it opens."""
    here = say("My blankets") if session().place == "library" else say(PLACES[session().place])
    listed = "listing" in session().open
    # It keeps its place shut too, or what is drawn after it would stand in it for the length of a run.
    with st.container(key="listing" if listed else "listing-shut", gap=None):
        if listed:
            for name, label in PLACES.items():
                with st.container(key=f"list-at-{name}" if name != session().place else "list-here"):
                    st.button(say(label), key=f"list-{name}", on_click=go, args=(name,), type="tertiary")
    with st.container(key="phone-bar", horizontal=True, vertical_alignment="center", gap=None):
        _do("undo", phone=True)
        _do("redo", phone=True)
        st.button(
            f"**{here}**  \n{say('all places')}",
            key="phone-places",
            on_click=turn,
            args=("listing",),
            type="tertiary",
            icon=":material/expand_less:",
            icon_position="right",
        )
        st.button(sum_words(plan()), key="phone-buying", on_click=go, args=("buying",), type="tertiary")


SIGNS = {"note": "i", "assumed": "≈", "warning": "!", "caution": "!"}


def _served_line() -> str:
    if session().tab_refused:
        return say(
            "Your browser does not let this page keep your work in its tab, so a refresh would lose it. "
            "Save the project file after each larger change."
        )
    return say(
        "This page is served to others and keeps nothing on its machine: your work stays in this tab of your "
        "browser until you close it. Save the project file before you do."
    )


def _set_lang(code: str) -> None:
    session().lang = st.query_params["lang"] = code
    if work().blanket is not None:
        change(lambda b: change_ways(b, language=code))


def _start_own() -> None:
    commit(Workspace())
    session().place, session().chosen = "yarn", None


def more(current: Blanket | None) -> None:
    """Draw what is needed now and then: files, units, language."""
    if work().extras.demo:
        st.button(say("Start my own"), key="start-own", type="primary", on_click=_start_own)
    # Side by side where there is room, so that nothing is out of sight.
    ways, files = st.columns(2)
    with ways:
        _ways(current)
        st.button(say("What the keys do"), key="keys-open", on_click=turn, args=("keys",))
    with files:
        _files(current)


def _keys() -> None:
    """Draw the list of keys over the page until it is closed."""
    if "keys" not in session().open:
        return
    lists = (
        (
            say("Stripes"),
            (
                ("↑ ↓", say("from stripe to stripe")),
                ("Enter", say("open its card, or close it")),
                ("+ −", say("a row more, a row less")),
                ("Alt ↑ ↓", say("move it")),
                ("S", say("split it in two")),
                ("H", say("hold it as it is, or let it go")),
                (say("Delete"), say("remove it")),
                ("Esc", say("close its card; put back what is being dragged")),
            ),
        ),
        (say("Ends of the tapes"), (("← → ↑ ↓", say("a repeat wider or narrower, two rows longer or shorter")),)),
        (
            say("Shelf"),
            (("← →", say("from yarn to yarn")), (say("Space"), say("choose it; a second one makes a pair"))),
        ),
        (
            say("Photographs"),
            (
                ("← → ↑ ↓", say("move a box; with Shift make it larger or smaller")),
                ("Enter", say("go to the yarn's card; read a new box")),
                (say("Delete"), say("not a yarn")),
            ),
        ),
        (
            say("Everywhere"),
            ((say("Ctrl Z"), say("undo")), (say("Ctrl Shift Z"), say("redo")), ("?", say("this list"))),
        ),
    )

    @st.dialog(say("What the keys do"), width="medium", on_dismiss=lambda: turn("keys"))
    def show() -> None:
        for title, lines in lists:
            st.html(line_html("h3", title) + facts_html(lines, "bp-keys"))

    show()


def _files(current: Blanket | None) -> None:
    from blendplan.palette import write_palette

    if current is not None:
        text_field(say("Title"), "title", current.title, lambda t: change(lambda b: replace(b, title=t)))
        project = workspace_to_json(work()).encode("utf-8")
        save_button(say("Save the project file"), "save-file", current.title, "json", project)
        palette = partial(write_palette, current.yarns)
        save_button(say("Save the yarns as a palette file"), "save-palette", current.title, "csv", palette)
        st.caption(say("It holds your yarns, stripes and measures, and small crops of your photos without their data."))
    st.caption(
        say(
            "Photos are read on the machine that runs this page and are not kept; "
            "only small crops stay with your project. Nothing is sent anywhere else."
        )
    )
    file_field(say("Open a project file"), "open-file", "json", 20, lambda data, _: open_bytes(data))
    if served():
        st.caption(_served_line())
    else:
        where = inert(str(home_folder()))
        st.caption(say("Every change is kept in your library in {folder}; Undo reaches back over it.", folder=where))


def _ways(current: Blanket | None) -> None:
    choice_field(say("Language"), "way-lang", lang(), LANGUAGES, _set_lang, buttons=True)
    if current is None:
        return
    choice_field(
        say("Units"),
        "way-units",
        current.ways.units,
        {"metric": say("cm, m, g"), "imperial": say("in, yd, oz")},
        lambda v: change(lambda b: change_ways(b, units="imperial" if v == "imperial" else "metric")),
        buttons=True,
    )
    choice_field(
        say("Stitch names"),
        "way-terms",
        current.ways.terms,
        {"US": say("US"), "UK": say("UK")},
        lambda v: change(lambda b: change_ways(b, terms="UK" if v == "UK" else "US")),
        buttons=True,
    )
    text_field(
        say("Currency"), "way-currency", current.ways.currency, lambda t: change(lambda b: change_ways(b, currency=t))
    )
    st.caption(say("Numbers may be written with a comma or a point: 2,5 and 2.5 are the same."))


def told() -> None:
    """Show what is to be told: refusals without a field, notices, conflicts, work that could not be saved."""
    state = session()
    if unsaved():
        st.html(refused_html(unsaved()))
    for past in others()[:1]:
        with st.container(horizontal=True, vertical_alignment="center", key="other-hand"):
            st.html(told_html(told_by(past).say(*spoken())))
            st.button(say("Undo"), key="undo-other", on_click=undo_other, args=(past,))
    if served() and not work().extras.demo:
        st.html(told_html(_served_line(), "!" if state.tab_refused else "i"))
    lines = [told_html(n.say(*spoken()), SIGNS.get(n.level, "i")) for n in state.told]
    if lines:
        st.html("".join(lines))


def _draw_place(name: str) -> None:
    """Draw a place; what it needs is loaded when it is first opened."""
    match name:
        case "order":
            from blendplan.page.stripes import order_place as draw
        case "yarn":
            from blendplan.page.yarn import yarn_place as draw
        case "buying":
            from blendplan.page.buying import buying_place as draw
        case "work":
            from blendplan.page.library import work_place as draw
        case "library":
            from blendplan.page.library import library_place as draw
        case "fabric":
            from blendplan.page.fabric import fabric_place as draw
        case _:
            from blendplan.page.stripes import stripes_place as draw
    draw()


def main() -> None:
    """Draw the page once."""
    with drawing():
        _main()


def _main() -> None:
    st.set_page_config(page_title="blendplan", page_icon=str(ASSETS / "icon.png"), layout="wide", menu_items=None)
    st.html(ASSETS / "page.css")
    st.html(ASSETS / "yarn.css")
    boot()
    take_newer()
    # The page library says a transport's name where a file did not arrive.
    broken = say(
        "This file did not arrive: the connection broke off, or it is larger than allowed. "
        "Nothing is lost; give it again."
    )
    st.html(f"<style>:root {{ --bp-broken: '{broken}'; }}</style>")
    _bar()
    with st.container(key="desk", gap=None):
        with st.container(key="wool"):
            if at_photographs() and session().place == "yarn":
                photographs_column()
            elif session().place != "library":
                sight()
        with st.container(key="side"):
            with st.container(key="beside"):
                # What comes and goes has a place of its own: without, all below is drawn anew and the page jumps.
                with st.container(key="told"):
                    told()
                with st.container(key=f"place-{session().place}"):
                    if session().place == "stripes" and work().extras.demo and not session().touched and not can_undo():
                        start_side(go)
                    else:
                        if session().place not in OWN_TITLE and session().chosen is None:
                            st.html(line_html("h2", say(PLACES[session().place]), "bp-place"))
                        _draw_place(session().place)
            with st.container(key="foot"):
                shelf(go, press_yarn)
    _phone_bar()
    # What was opened is seen from its top.
    mount("photos", "scroll-up", {"up": f"{session().place} {session().drawn}"}, PHOTOS)
    _keys()
    tab_keeper()
    follow()
    if work().extras.demo:
        st.container(key="demo")
