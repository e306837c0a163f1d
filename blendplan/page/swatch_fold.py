"""Swatches of two strands: taken from a photo that shows them beside their strands, and the member they speak for."""

from __future__ import annotations

import html
from collections.abc import Sequence as Seq
from dataclasses import replace

import streamlit as st

from blendplan.blend.calibrate import Swatch, fit_member
from blendplan.page.fields import refused, try_
from blendplan.page.show import figure, told_html
from blendplan.page.state import brief, change, lang, say
from blendplan.page.workspace import Find
from blendplan.photo import Photo, PhotoReading, swatch_shade
from blendplan.plan import Brief

__all__ = ["member_fold", "swatch_of", "take_swatch"]

MAX_SWATCHES = 20


def swatch_of(photo: Photo, reading: PhotoReading, finds: Seq[Find], places: tuple[int, int, int]) -> Swatch:
    """Return a swatch from three boxes of one photo: one strand, the other strand, the swatch itself.

    Parameters
    ----------
    places : tuple of 3 int
        Places in `finds`, from 0.
    """
    white = reading.white if reading.white is not None else "off"
    one, two = (finds[i].shades[0] for i in places[:2])
    mixed = swatch_shade(photo, finds[places[2]].box, white=white)
    doubts = [s.uncertainty for s in (one, two, mixed) if s.uncertainty is not None]
    return Swatch(
        name=f"{photo.name}, {places[2] + 1}"[:80],
        strands=(one.lab, two.lab),
        lab=mixed.lab,
        uncertainty=max(doubts) if doubts else None,
    )


def take_swatch(digest: str, photo: Photo, reading: PhotoReading, finds: Seq[Find]) -> None:
    """Draw the choice of which boxes are strands and which is their swatch."""
    if brief() is None or len(finds) < 3:
        st.caption(
            say("Needs three boxes in one photo, and a first yarn: two strands, and a swatch crocheted of both.")
        )
        return
    places = list(range(len(finds)))
    labels = [say("One strand"), say("The other strand"), say("The swatch of both")]
    columns = st.columns(3)
    for i, label in enumerate(labels):
        with columns[i]:
            st.selectbox(label, places, index=i, format_func=lambda v: say("box {n}", n=v + 1), key=f"sw-{digest}-{i}")

    def take() -> None:
        one, two, both = (int(st.session_state[f"sw-{digest}-{i}"]) for i in range(3))
        swatch = swatch_of(photo, reading, finds, (one, two, both))
        change(lambda b: replace(b, swatches=(*b.swatches, swatch)[-MAX_SWATCHES:]))

    st.button(say("Keep this swatch"), key=f"sw-{digest}-take", on_click=try_, args=(f"sw-{digest}", take))
    refused(f"sw-{digest}")


def member_fold(current: Brief) -> None:
    """Draw what the kept swatches say of how two strands look together, and offer to plan with it."""
    st.html(f"<h3>{html.escape(say('Your own swatches'))}</h3>")
    if not current.swatches:
        st.caption(
            say(
                "Crochet a small swatch of two strands, lay it beside them on white paper and photograph all three: "
                "the blends are then fitted to your own hands."
            )
        )
        return
    found = fit_member(current.swatches)
    st.text(
        say(
            "{n} swatches kept; they speak for n = {best} (likely {low} to {high}); blends are planned with n = {now}.",
            n=len(current.swatches),
            best=figure(found.n, 2, lang()),
            low=figure(found.n_low, 2, lang()),
            high=figure(found.n_high, 2, lang()),
            now=figure(current.member, 2, lang()),
        )
    )
    for notice in found.notices:
        st.html(told_html(notice.say(lang())))
    with st.container(horizontal=True, gap="small"):
        if found.enough and abs(found.n - current.member) > 0.005:
            st.button(
                say("Plan with what the swatches say"),
                key="member-take",
                on_click=try_,
                args=("member", lambda: change(lambda b: replace(b, member=round(found.n, 3)))),
            )
        if current.member != 3.0:
            st.button(
                say("Plan with the usual blend again"),
                key="member-usual",
                on_click=try_,
                args=("member", lambda: change(lambda b: replace(b, member=3.0))),
            )
        st.button(
            say("Forget the last swatch"),
            key="member-drop",
            on_click=try_,
            args=("member", lambda: change(lambda b: replace(b, swatches=b.swatches[:-1]))),
        )
    refused("member")
