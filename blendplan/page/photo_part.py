"""Photos of yarn: taken in, read, their boxes mended by hand, and the yarns taken over."""

from __future__ import annotations

import base64
import hashlib
import html
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import streamlit as st

from blendplan.errors import BlendplanError, PhotoError
from blendplan.page.fields import fold, refused, text_field, try_
from blendplan.page.finds import ask_same_names, find_fields, take_finds
from blendplan.page.parts import photo_boxes
from blendplan.page.show import bullet_list
from blendplan.page.state import brief, commit, lang, say, tell, work
from blendplan.page.store import served
from blendplan.page.swatch_fold import take_swatch
from blendplan.page.workspace import Find
from blendplan.photo import Photo, PhotoReading, White, crop_png, load_photo, read_photo, share_light
from blendplan.units import whole
from blendplan.wording import Notice, capital, note

__all__ = ["Held", "digest_of", "held_photos", "photo_uploader", "photos_fold", "view_of_photo"]

# Pixels of a photo stay in memory for its session only; fewer where many share one machine.
MAX_PHOTOS, MAX_PHOTOS_SERVED = 20, 6
CROP_PX, VIEW_PX = 96, 720


@dataclass(kw_only=True)
class Held:
    """A photo of this session: its pixels at working size and how it is being read."""

    photo: Photo
    reading: PhotoReading
    view: str
    white: str | White | tuple[float, float] = "auto"
    card: bool = False
    picking: bool = False


def held_photos() -> dict[str, Held]:
    """Return the photos of this session by their digest."""
    return st.session_state.setdefault("photos", {})


def digest_of(data: bytes) -> str:
    """Return what a photo goes by in the session: the same file twice is the same photo."""
    return hashlib.sha256(data).hexdigest()[:24]


def photo_uploader(label: str, key: str, *, several: bool = False) -> Any:
    """Draw a field that takes photo files, and return what was dropped in it."""
    return st.file_uploader(
        label,
        type=["jpg", "jpeg", "png", "webp", "tif", "tiff", "heic", "heif", "mpo"],
        accept_multiple_files=several,
        key=key,
        max_upload_size=40,
    )


def view_of_photo(photo: Photo) -> str:
    """Return a photo as a data address, at the size it is shown."""
    return "data:image/png;base64," + base64.b64encode(crop_png(photo, max_side=VIEW_PX)).decode("ascii")


def _crop(photo: Photo, box: Sequence[float]) -> str:
    for side in (CROP_PX, CROP_PX // 2):
        text = base64.b64encode(crop_png(photo, box, max_side=side)).decode("ascii")
        if len(text) <= 60_000:
            return text
    return ""


def _finds_of(digest: str, held: Held, names: Sequence[str] = ()) -> tuple[Find, ...]:
    return tuple(
        Find(
            photo=digest,
            box=yarn.box,
            name=names[i] if i < len(names) else "",
            shades=yarn.shades,
            picture=_crop(held.photo, yarn.box),
        )
        for i, yarn in enumerate(held.reading.yarns)
    )


def _put_finds(digest: str, finds: Sequence[Find]) -> None:
    others = tuple(f for f in work().extras.finds if f.photo != digest)
    commit(work().with_extras(finds=(*others, *finds)))


def take_photo(name: str, data: bytes) -> None:
    """Read one photo and keep its pixels at working size; the file itself is not kept.

    Raises
    ------
    BlendplanError
        If it cannot be read, or there are too many.
    """
    most = MAX_PHOTOS_SERVED if served() else MAX_PHOTOS
    digest = digest_of(data)
    if digest in held_photos():
        tell(note("{name} is here already.", name=name))
        return
    if len(held_photos()) >= most:
        raise PhotoError(
            "{given} photos are open; allowed are {allowed}; take their yarns over and close some.",
            given=len(held_photos()),
            allowed=most,
        )
    photo = load_photo(data, name)
    held = Held(photo=photo, reading=read_photo(photo), view=view_of_photo(photo))
    held_photos()[digest] = held
    _put_finds(digest, _finds_of(digest, held))


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
    turn = st.session_state.get("upload_round", 0)
    files = photo_uploader(
        say("Photos of your yarn, best on white paper in even daylight"), f"photos-{turn}", several=True
    )
    camera = fold(say("Take a photo with this device's camera"), "camera-fold")
    shot = None
    if camera.open:
        with camera:
            shot = st.camera_input(
                say("Hold the yarn and a sheet of white paper in the same light"), key=f"camera-{turn}"
            )
    arrived = [*(files or ()), *([shot] if shot is not None else [])]
    if arrived:
        _receive(arrived)
    for digest in list(held_photos()):
        _one_photo(digest, held_photos()[digest])
    if len(held_photos()) > 1:
        st.button(
            say("These photos were taken in the same light"),
            key="same-light",
            on_click=try_,
            args=("same-light", _same_light),
        )
        refused("same-light")
    _left_over()


def _reread(digest: str, boxes: Sequence[Sequence[float]] | None, names: Sequence[str] = ()) -> None:
    held = held_photos()[digest]
    held.reading = read_photo(held.photo, boxes=boxes, white=held.white, card="auto" if held.card else None)
    _put_finds(digest, _finds_of(digest, held, names))


def _boxes_moved(digest: str, boxes: list[list[int]]) -> None:
    names = [f.name for f in work().extras.finds if f.photo == digest]
    before = [list(f.box) for f in work().extras.finds if f.photo == digest]
    # A box that was taken away takes its name along.
    if len(boxes) == len(before) - 1:
        gone = next((i for i, box in enumerate(before) if i >= len(boxes) or boxes[i] != box), len(boxes))
        names.pop(gone)
    if not boxes:
        held_photos()[digest].reading = replace(held_photos()[digest].reading, yarns=())
        _put_finds(digest, ())
        return
    try_(f"boxes-{digest}", lambda: _reread(digest, boxes, names))


def _white_set(digest: str, white: str | tuple[float, float]) -> None:
    held = held_photos()[digest]
    before, held.white, held.picking = held.white, white, False
    try_(f"boxes-{digest}", lambda: _again(digest))
    if f"boxes-{digest}" in st.session_state.bad:
        held.white = before


def _again(digest: str) -> None:
    """Read a photo again as its boxes and names stand."""
    finds = [f for f in work().extras.finds if f.photo == digest]
    _reread(digest, [f.box for f in finds] or None, [f.name for f in finds])


def _card(digest: str) -> None:
    held = held_photos()[digest]
    held.card = not held.card
    try_(f"boxes-{digest}", lambda: _again(digest))
    if f"boxes-{digest}" in st.session_state.bad:
        held.card = not held.card


def _same_light() -> None:
    held = held_photos()
    readings, told = share_light([h.photo for h in held.values()], [h.reading for h in held.values()])
    finds = work().extras.finds
    new: list[Find] = [f for f in finds if f.photo not in held]
    for (digest, one), reading in zip(held.items(), readings, strict=True):
        one.reading = reading
        one.white = reading.white if reading.white is not None else one.white
        new += _finds_of(digest, one, [f.name for f in finds if f.photo == digest])
    commit(work().with_extras(finds=tuple(new)))
    tell(told)


def _turn(digest: str) -> None:
    held = held_photos()[digest]
    photo = held.photo
    w, h = photo.full_size
    turned = np.ascontiguousarray(np.rot90(photo.srgb8, -1))
    turned.setflags(write=False)
    mask = None if photo.mask is None else np.ascontiguousarray(np.rot90(photo.mask, -1))
    held.photo = replace(photo, srgb8=turned, mask=mask, full_size=(h, w))
    held.view = view_of_photo(held.photo)
    held.white = "auto" if isinstance(held.white, tuple) else held.white
    try_(f"boxes-{digest}", lambda: _reread(digest, None))


def _close(digest: str) -> None:
    held_photos().pop(digest, None)
    _put_finds(digest, ())


def _pick(digest: str) -> None:
    held_photos()[digest].picking = not held_photos()[digest].picking


def _one_photo(digest: str, held: Held) -> None:
    finds = [f for f in work().extras.finds if f.photo == digest]
    with st.container(border=True, key=f"photo-{digest}"):
        st.html(f"<h3>{html.escape(held.photo.name)}</h3>")
        photo_boxes(
            f"stage-{digest}",
            held.view,
            held.photo.full_size,
            [
                {"box": list(f.box), "tag": str(i), "label": say("Box {n} of {all}", n=i, all=len(finds))}
                for i, f in enumerate(finds, 1)
            ],
            held.reading.white.box if held.reading.white is not None else None,
            picking=held.picking,
            alt=say("Your photo {name} with a box round each yarn", name=held.photo.name),
            on_boxes=lambda boxes: _boxes_moved(digest, boxes),
            on_spot=lambda spot: _white_set(digest, (float(spot[0]), float(spot[1]))),
        )
        refused(f"boxes-{digest}")
        with st.container(horizontal=True, gap="small"):
            st.button(
                say("Cancel tapping") if held.picking else say("Tap the white paper"),
                key=f"pick-{digest}",
                on_click=_pick,
                args=(digest,),
            )
            if held.white == "off":
                st.button(
                    say("Look for white paper"), key=f"white-on-{digest}", on_click=_white_set, args=(digest, "auto")
                )
            else:
                st.button(say("Use no white"), key=f"white-off-{digest}", on_click=_white_set, args=(digest, "off"))
            st.button(
                say("Read without the colour card") if held.card else say("There is a 24-patch colour card in it"),
                key=f"card-{digest}",
                on_click=_card,
                args=(digest,),
            )
            st.button(say("Turn a quarter"), key=f"turn-{digest}", on_click=_turn, args=(digest,))
            st.button(say("Close this photo"), key=f"close-{digest}", on_click=_close, args=(digest,))
        _notices(held)
        _typed_boxes(digest, finds)
        swatch = fold(say("This photo shows a swatch of two strands"), f"swatch-{digest}")
        if swatch.open:
            with swatch:
                take_swatch(digest, held.photo, held.reading, finds)
        find_fields(finds)


def _notices(held: Held) -> None:
    lines = [n.say(lang()) for n in held.reading.notices]
    for i, yarn in enumerate(held.reading.yarns, 1):
        lines += [say("Yarn {n}", n=i) + ": " + n.say(lang()) for n in yarn.notices]
    white = held.reading.white
    if white is not None:
        lines.insert(
            0,
            say(
                "White: {kind}, confidence {percent} %.",
                kind=say(WHITES.get(white.kind, white.kind)),
                percent=round(100 * white.confidence),
            ),
        )
    if lines:
        st.html(bullet_list(capital(t) for t in lines))


WHITES = {"paper": "paper found", "tap": "the spot you tapped", "card": "colour card", "grey-card": "grey card"}


def _typed_boxes(digest: str, finds: Sequence[Find]) -> None:
    part = fold(say("Type the boxes in numbers"), f"typed-{digest}")
    if not part.open:
        return
    with part:
        for i, find in enumerate(finds):

            def take(text: str, at: int = i) -> None:
                numbers = [whole(t, say("box"), 0, 100_000) for t in text.replace(";", ",").split(",")]
                if len(numbers) != 4:
                    raise PhotoError("a box needs four whole numbers: left, top, right, bottom; like 120,80,640,420.")
                boxes = [list(f.box) for f in finds]
                boxes[at] = numbers
                _reread(digest, boxes, [f.name for f in finds])

            text_field(
                say("Box {n}: left, top, right, bottom", n=i + 1),
                f"typed-{digest}-{i}",
                ",".join(str(v) for v in find.box),
                take,
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
