"""An order that follows the colours of a picture along a line, proposed and taken by one press."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import streamlit as st

from blendplan.colour import delta_e_2000, lab_to_hex
from blendplan.errors import BlendplanError
from blendplan.order import Ordering, follow_shades, wanted_along
from blendplan.page import edits
from blendplan.page.derive import seen_small
from blendplan.page.fields import choice_field, refused, try_, whole_field
from blendplan.page.parts import photo_line
from blendplan.page.photo_part import photo_uploader
from blendplan.page.photo_work import digest_of, held_photos, view_of_photo
from blendplan.page.show import figure, key_mark, refused_html, table_html, text_on
from blendplan.page.sight import figure_html
from blendplan.page.state import change, lang, say, say_error
from blendplan.photo import Photo, load_photo, shades_along
from blendplan.plan import Brief
from blendplan.wording import capital
from blendplan.yarn import Yarn

__all__ = ["follow_fold"]

LOADED = "loaded"
PLACES = 8
MAX_PLACES = 60


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """A picture whose colours are to be followed; it is kept for the session only."""

    photo: Photo
    view: str
    digest: str


def _scenes() -> dict[str, Scene]:
    """Return the pictures that can be followed: one loaded for this, and the photos of yarn."""
    loaded: Scene | None = st.session_state.get("scene")
    found = {} if loaded is None else {LOADED: loaded}
    for digest, held in held_photos().items():
        found[digest] = Scene(photo=held.photo, view=held.view, digest=digest)
    return found


def _load(file: Any) -> None:
    data = file.getvalue()
    photo = load_photo(data, str(getattr(file, "name", "photo")))
    st.session_state["scene"] = Scene(photo=photo, view=view_of_photo(photo), digest=digest_of(data))
    st.session_state["follow-picture"] = LOADED


def _receive() -> None:
    """Take a picture in and empty the uploader, so that the file's bytes are let go."""
    turn = st.session_state.get("scene_round", 0)
    file = photo_uploader(say("A picture to follow, such as a landscape"), f"scene-{turn}")
    if file is not None:
        with st.spinner(say("Reading the picture")):
            try_("scene", lambda: _load(file))
        st.session_state.scene_round = turn + 1
        st.rerun()
    refused("scene")


def _lines() -> dict[str, tuple[int, ...]]:
    return st.session_state.setdefault("follow-lines", {})


def _line(scene: Scene) -> tuple[int, ...]:
    """Return the line on a picture, down its middle until it is drawn."""
    wide, tall = scene.photo.full_size
    line = _lines().get(scene.digest, (wide // 2, 0, wide // 2, tall))
    # A photo may have been turned since.
    return tuple(min(max(int(v), 0), most) for v, most in zip(line, (wide, tall, wide, tall), strict=True))


def _draw_line(scene: Scene, line: Sequence[float]) -> None:
    _lines()[scene.digest] = tuple(int(v) for v in line)


@lru_cache(maxsize=16)
def _followed(
    yarns: tuple[Yarn, ...], shades: tuple[tuple[float, float, float], ...], places: int, member: float, blend_rows: int
) -> Ordering:
    return follow_shades(yarns, shades, places, n_member=member, blend_rows=blend_rows)


def proposal(brief: Brief, order: tuple[str, ...]) -> Brief:
    """Return the brief with an order that follows a picture: once along it, nothing carried through."""
    return edits.change_rule(brief, order=order, arrange="once", times=1, carrier=None)


def follow_fold(current: Brief) -> None:
    """Draw the picture with its line, the shades met along it, and the order proposed."""
    _receive()
    scenes = _scenes()
    if not scenes:
        st.caption(say("Load a picture, or add a photo of yarn above; then draw a line across its colours."))
        return
    picked = st.session_state.get("follow-picture", "")
    picked = picked if picked in scenes else next(iter(scenes))
    if len(scenes) > 1:
        choice_field(
            say("Picture"),
            "follow-picture-field",
            picked,
            {key: scene.photo.name for key, scene in scenes.items()},
            lambda v: st.session_state.__setitem__("follow-picture", v),
        )
    scene = scenes[picked]
    line = _line(scene)
    st.caption(say("The line goes from 1 to 2. Its start becomes the first stripe worked, lowest in the blanket."))
    photo_line(
        f"follow-stage-{scene.digest}",
        scene.view,
        scene.photo.full_size,
        line,
        alt=say("Picture {name} with the line to follow", name=scene.photo.name),
        on_line=lambda got: _draw_line(scene, got),
    )
    _numbers(scene, line)
    places = int(st.session_state.get("follow-places", PLACES))
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        whole_field(
            say("Solid stripes along the line"),
            "follow-places-field",
            places,
            (1, MAX_PLACES),
            lambda n: st.session_state.__setitem__("follow-places", n),
        )
        st.button(
            say("Turn the line round"), key="follow-turn", on_click=_draw_line, args=(scene, (*line[2:], *line[:2]))
        )
    try:
        shades = shades_along(scene.photo, line[:2], line[2:])
        found = _followed(current.yarns, shades, places, current.member, current.sequence.blend_rows)
    except BlendplanError as error:
        st.html(refused_html(say_error(error)))
        return
    _proposed(current, shades, found)


def _numbers(scene: Scene, line: tuple[int, ...]) -> None:
    """Draw the line in numbers, for the keyboard and for exact work."""
    wide, tall = scene.photo.full_size
    labels = (
        say("Start, from the left"),
        say("Start, from the top"),
        say("End, from the left"),
        say("End, from the top"),
    )
    for pair in (0, 2):
        for column, k in zip(st.columns(2), (pair, pair + 1), strict=True):
            with column:
                whole_field(
                    labels[k],
                    f"follow-{k}-{scene.digest}",
                    line[k],
                    (0, (wide, tall)[k % 2]),
                    lambda n, k=k: _draw_line(scene, (*line[:k], n, *line[k + 1 :])),  # type: ignore[misc]
                )


def _proposed(current: Brief, shades: tuple[tuple[float, float, float], ...], found: Ordering) -> None:
    """Draw the shades met, the order that follows them, how far it is from them, and a button to take it."""
    order = found.order
    trial = proposal(current, order)
    st.html(f"<h3>{html.escape(say('Met along the line, and in your yarn'))}</h3>")
    yarn_srgb = [current.yarn(name).srgb for name in order]
    met = [lab_to_hex(lab) for lab in shades]
    st.html(
        strip(met, [""] * len(met), say("The shades along the line, from its start to its end"))
        + strip(yarn_srgb, [str(i + 1) for i in range(len(order))], say("Your yarn: {names}", names=", ".join(order)))
    )
    left, right = st.columns([1, 2])
    with left:
        try:
            st.html(
                figure_html(
                    seen_small(trial), say("The blanket in this order: {names}", names=", ".join(order)), "bp-small"
                )
            )
        except BlendplanError as error:
            st.html(refused_html(say_error(error)))
    with right:
        count = 2 * len(order) - 1 if current.sequence.blend_rows else len(order)
        st.html(
            "<p>"
            + html.escape(
                say(
                    "On average a stripe is {d} away from the picture (CIEDE2000; under 2 can hardly be seen).",
                    d=figure(found.cost / count, 1, lang()),
                )
            )
            + f"</p><p>{html.escape(capital(found.verdict.say(lang())))}</p>"
        )
        st.button(
            say("Take this order"),
            key="follow-take",
            disabled=trial == current,
            on_click=try_,
            args=("follow-take", lambda: change(lambda b: proposal(b, order))),
        )
        refused("follow-take")
    sign = edits.signs_of(current)
    lines = []
    for i, (name, wanted) in enumerate(zip(order, wanted_along(shades, len(order)), strict=True), 1):
        yarn = current.yarn(name)
        away = float(delta_e_2000(wanted, yarn.lab))
        lines.append(
            (
                str(i),
                key_mark(lab_to_hex(wanted), "", say("met")),
                key_mark(yarn.srgb, sign[name]) + html.escape(name),
                figure(away, 1, lang()),
            )
        )
    heads = (say("Stripe"), say("On the line"), say("Yarn"), say("Away"))
    st.html(table_html(say("The order that follows the picture"), heads, lines, left=(0, 1, 2)))


def strip(colours: Sequence[str], texts: Sequence[str], label: str) -> str:
    """Return colours side by side on neutral grey, with their texts in them; `label` is read aloud instead."""
    cells = "".join(
        f'<span style="background:{c};color:{text_on(c)}">{html.escape(t)}</span>'
        for c, t in zip(colours, texts, strict=True)
    )
    return f'<div class="bp-strip" role="img" aria-label="{html.escape(label, quote=True)}">{cells}</div>'
