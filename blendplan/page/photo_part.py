"""Photos of yarn: taken in, read, their boxes mended by hand, and the yarns taken over."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import streamlit as st

from blendplan.errors import BlendplanError, PhotoError
from blendplan.page.fields import choice_field, fold, refused, text_field, try_
from blendplan.page.finds import ask_same_names, find_fields, take_finds
from blendplan.page.parts import photo_boxes
from blendplan.page.photo_work import (
    card_corners,
    close,
    facing,
    finds_of,
    held_photos,
    how_of,
    put_boxes,
    read_as,
    reading_of,
    same_light,
    take_photo,
    turn,
)
from blendplan.page.places import free_box
from blendplan.page.show import bullet_list, refused_html
from blendplan.page.state import brief, lang, say, say_error, tell, work
from blendplan.page.swatch_fold import take_swatch
from blendplan.photo import PhotoReading
from blendplan.photo.reading import WHITE_ON_WHITE
from blendplan.photo.white import WHITE_KINDS
from blendplan.units import whole
from blendplan.wording import Notice, capital

__all__ = ["photo_uploader", "photos_fold"]


def photo_uploader(label: str, key: str, *, several: bool = False) -> Any:
    """Draw a field that takes photo files, and return what was dropped in it."""
    return st.file_uploader(
        label,
        type=["jpg", "jpeg", "png", "webp", "tif", "tiff", "heic", "heif", "mpo"],
        accept_multiple_files=several,
        key=key,
        max_upload_size=40,
    )


def _receive(files: Sequence[object]) -> None:
    """Read what was dropped, one by one with progress, and empty the uploader."""
    shown = st.progress(0.0, text=say("Reading the photos"))
    problems: list[Notice] = []
    for i, file in enumerate(files):
        name = str(getattr(file, "name", "photo"))
        shown.progress(i / len(files), text=say("Reading photo {n} of {all}", n=i + 1, all=len(files)))
        try:
            take_photo(name, file.getvalue())  # type: ignore[attr-defined]
        except BlendplanError as error:
            problems.append(Notice(template=error.template, values=tuple(error.values.items()), level="warning"))
    shown.empty()
    for notice in problems:
        tell(notice)
    # A new key empties the uploader, so that the files' bytes are let go.
    st.session_state.upload_round = st.session_state.get("upload_round", 0) + 1
    st.rerun()


def photos_fold() -> None:
    """Draw the part that takes photos and shows what was found in them."""
    count = st.session_state.get("upload_round", 0)
    files = photo_uploader(
        say("Photos of your yarn, best on white paper in even daylight"), f"photos-{count}", several=True
    )
    # Said once here, and not of each reading.
    st.caption(capital(WHITE_ON_WHITE.say(lang())) + ".")
    camera = fold(say("Take a photo with this device's camera"), "camera-fold")
    shot = None
    if camera.open:
        with camera:
            shot = st.camera_input(
                say("Hold the yarn and a sheet of white paper in the same light"), key=f"camera-{count}"
            )
    arrived = [*(files or ()), *([shot] if shot is not None else [])]
    if arrived:
        _receive(arrived)
    for digest in list(held_photos()):
        _one_photo(digest)
    if len(held_photos()) > 1:
        st.button(
            say("These photos were taken in the same light"),
            key="same-light",
            on_click=try_,
            args=("same-light", same_light),
        )
        refused("same-light")
    _left_over()


def _one_photo(digest: str) -> None:
    held, how, finds = facing(digest), how_of(digest), finds_of(digest)
    with st.container(border=True, key=f"photo-{digest}"):
        st.html(f"<h3>{html.escape(held.photo.name)}</h3>")
        try:
            reading, card = reading_of(digest), card_corners(how)
        except BlendplanError as error:
            st.html(refused_html(say_error(error)))
            reading, card = PhotoReading(name=held.photo.name, white=None, yarns=()), None
        photo_boxes(
            f"stage-{digest}",
            held.view,
            held.photo.full_size,
            [
                {"box": list(f.box), "tag": str(i), "label": say("Box {n} of {all}", n=i, all=len(finds))}
                for i, f in enumerate(finds, 1)
            ],
            white=reading.white.box if reading.white is not None else None,
            card=card,
            free=free_box(held.photo.full_size, [f.box for f in finds]),
            taps=_taps(held.tapping),
            alt=say("Your photo {name} with a box round each yarn", name=held.photo.name),
            on_boxes=lambda boxes: try_(f"boxes-{digest}", lambda: put_boxes(digest, boxes)),
            on_taps=lambda spots: _tapped(digest, spots),
        )
        refused(f"boxes-{digest}")
        # A colour card stands before any white.
        if how.card is None:
            _white_ways(digest)
        _other_ways(digest)
        _notices(reading)
        _typed(digest)
        swatch = fold(say("This photo shows a swatch of two strands"), f"swatch-{digest}")
        if swatch.open:
            with swatch:
                take_swatch(digest, held.photo, reading, finds)
        find_fields(finds)


# In the order that the reader wants them: once round the card.
CORNERS = (
    "Corner 1 of 4: tap the card's outer corner at the dark skin patch, where its first row begins.",
    "Corner 2 of 4: tap the outer corner at the bluish green patch, where the first row ends.",
    "Corner 3 of 4: tap the outer corner at the black patch, where the row of greys ends.",
    "Corner 4 of 4: tap the outer corner at the white patch, where the row of greys begins.",
)


SPOTS = {"paper": "Tap a spot that is white paper in the photo.", "grey": "Tap the grey card in the photo."}


def _taps(tapping: str) -> list[str]:
    """Return what is to be tapped on a photo, one sentence for each tap."""
    if tapping == "corners":
        return [say(corner) for corner in CORNERS]
    return [say(SPOTS[tapping])] if tapping else []


def _tapped(digest: str, spots: Sequence[Sequence[int]]) -> None:
    got = [(int(x), int(y)) for x, y in spots]
    tapping = held_photos()[digest].tapping
    if tapping == "corners":
        _read(digest, card=tuple(got))
    else:
        _read(digest, white=got[0], grey_card=tapping == "grey")


def _read(digest: str, **changes: object) -> None:
    """Read a photo in a way changed in some respects; a refusal is shown under the photo."""
    held_photos()[digest].tapping = ""
    how = replace(how_of(digest), **changes)  # type: ignore[arg-type]
    try_(f"boxes-{digest}", lambda: read_as(digest, how))


def _tap(digest: str, what: str) -> None:
    held_photos()[digest].tapping = what


def _tap_button(digest: str, whats: Sequence[str], label: str, key: str) -> None:
    """Draw the button that begins tapping for the first of some things, or ends it for any of them."""
    here = held_photos()[digest].tapping in whats
    what = "" if here else whats[0]
    st.button(say("Cancel tapping") if here else label, key=key, on_click=_tap, args=(digest, what))


def _white_ways(digest: str) -> None:
    """Draw the ways to a white: tapped on paper or on a grey card, looked for, or none."""
    how, tapping = how_of(digest), held_photos()[digest].tapping
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        if how.grey_card:
            _tap_button(digest, ("grey", "paper"), say("Tap the grey card"), f"pick-{digest}")
        else:
            _tap_button(digest, ("paper", "grey"), say("Tap the white paper"), f"pick-{digest}")
        for white, label in (("auto", say("Look for white paper")), ("off", say("Use no white"))):
            if how.white != white:
                st.button(
                    label,
                    key=f"white-{white}-{digest}",
                    on_click=_read,
                    args=(digest,),
                    kwargs={"white": white, "grey_card": False},
                )
        if tapping in SPOTS or isinstance(how.white, tuple):
            choice_field(
                say("What you tap"),
                f"level-{digest}",
                tapping if tapping in SPOTS else "grey" if how.grey_card else "paper",
                {"paper": say("It is white paper"), "grey": say("It is a grey card")},
                lambda v: _tap(digest, v) if tapping in SPOTS else read_as(digest, replace(how, grey_card=v == "grey")),
                buttons=True,
            )


def _other_ways(digest: str) -> None:
    """Draw the ways to use a colour card, to turn the photo and to let it go."""
    how = how_of(digest)
    with st.container(horizontal=True, gap="small"):
        if how.card is None:
            label, card = say("There is a 24-patch colour card in it"), "auto"
        else:
            label, card = say("Read without the colour card"), None
        st.button(label, key=f"card-{digest}", on_click=_read, args=(digest,), kwargs={"card": card})
        _tap_button(digest, ("corners",), say("Tap the colour card's corners"), f"corners-{digest}")
        st.button(say("Turn a quarter"), key=f"turn-{digest}", on_click=turn, args=(digest,))
        st.button(say("Close this photo"), key=f"close-{digest}", on_click=close, args=(digest,))


def _notices(reading: PhotoReading) -> None:
    lines = [n.say(lang()) for n in reading.notices if n != WHITE_ON_WHITE]
    for i, yarn in enumerate(reading.yarns, 1):
        lines += [say("Yarn {n}", n=i) + ": " + n.say(lang()) for n in yarn.notices]
    white = reading.white
    if white is not None:
        lines.insert(
            0,
            say(
                "White: {kind}, confidence {percent} %.",
                kind=say(WHITE_KINDS[white.kind]),
                percent=round(100 * white.confidence),
            ),
        )
    if lines:
        st.html(bullet_list(capital(t) for t in lines))


def _numbers(text: str, field: str) -> list[int]:
    return [whole(t, field, 0, 100_000) for t in text.replace(";", ",").split(",")]


def _typed(digest: str) -> None:
    """Draw the boxes and the corners of the colour card as numbers."""
    part = fold(say("Type boxes and corners in numbers"), f"typed-{digest}")
    if not part.open:
        return
    finds, how = finds_of(digest), how_of(digest)
    with part:
        for i, find in enumerate(finds):

            def take(text: str, at: int = i) -> None:
                boxes: list[tuple[Sequence[int], int | None]] = [(f.box, n) for n, f in enumerate(finds)]
                if text.strip():
                    numbers = _numbers(text, say("box"))
                    if len(numbers) != 4:
                        raise PhotoError(
                            "a box needs four whole numbers: left, top, right, bottom; like 120,80,640,420."
                        )
                    boxes[at] = (numbers, at)
                else:
                    boxes.pop(at)
                put_boxes(digest, boxes)

            text_field(
                say("Box {n}: left, top, right, bottom", n=i + 1),
                f"typed-{digest}-{i}",
                ",".join(str(v) for v in find.box),
                take,
            )
        if finds:
            st.caption(say("A box whose field is emptied goes."))

        def take_corners(text: str) -> None:
            numbers = _numbers(text, say("corner")) if text.strip() else []
            if len(numbers) not in (0, 8):
                raise PhotoError(
                    "the card's corners are eight whole numbers: x,y of the outer corners at dark skin, bluish green, "
                    "black and white; like 90,60, 510,64, 506,350, 88,344."
                )
            card = tuple(zip(numbers[::2], numbers[1::2], strict=True)) or None
            read_as(digest, replace(how, card=card))  # type: ignore[arg-type]

        text_field(
            say("Colour card: x,y of its corners at dark skin, bluish green, black, white"),
            f"corners-{digest}-typed",
            ", ".join(f"{x},{y}" for x, y in how.card) if isinstance(how.card, tuple) else "",
            take_corners,
        )


def _left_over() -> None:
    """Offer to take the finds over; those of an earlier session are shown by their crops."""
    finds = work().extras.finds
    if not finds:
        return
    away = [f for f in finds if f.photo not in held_photos()]
    if away:
        st.caption(say("Read earlier; add the photo again to move its boxes."))
        find_fields(away)
    n = ask_same_names()
    current = brief()
    with st.container(horizontal=True):
        if current is None or work().extras.demo:
            st.button(
                say("Make a blanket of these {n} yarns", n=n) if n > 1 else say("Make a blanket of this yarn"),
                key="take-fresh",
                type="primary",
                on_click=try_,
                args=("take", lambda: take_finds(True)),
            )
        if current is not None:
            st.button(
                say("Add these {n} to the blanket in hand", n=n),
                key="take-more",
                on_click=try_,
                args=("take", lambda: take_finds(False)),
            )
    refused("take")
