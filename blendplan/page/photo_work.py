"""The photos of this session: their pixels, how each is read, and every change of its boxes.

How a photo is read stands in the work in hand beside what was found in it; this module keeps only pixels
and readings, and brings them to what the work says. So undo, and a photo added again, need nothing more.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import streamlit as st

from blendplan.errors import BlendplanError, PhotoError
from blendplan.page.places import middle_in_quad, turned_box, turned_spot
from blendplan.page.state import commit, tell, work
from blendplan.page.store import served
from blendplan.page.workspace import MAX_CROP, Find, HowRead
from blendplan.photo import (
    GREY_CARD_LEVEL,
    PAPER_LEVEL,
    Chart,
    Photo,
    PhotoReading,
    crop_jpeg,
    crop_png,
    load_photo,
    read_photo,
    share_light,
)
from blendplan.photo.chart_finding import find_chart
from blendplan.photo.reading import Box
from blendplan.wording import note

__all__ = [
    "Held",
    "card_corners",
    "close",
    "digest_of",
    "facing",
    "finds_of",
    "held_photos",
    "how_of",
    "put_boxes",
    "read_as",
    "reading_of",
    "same_light",
    "take_photo",
    "turn",
    "view_of_photo",
]

# Pixels of a photo stay in memory for its session only; fewer where many share one machine.
MAX_PHOTOS, MAX_PHOTOS_SERVED = 20, 6
# Readings kept of one photo, so that undo need not read again.
MAX_READINGS = 12
CROP_PX, VIEW_PX = 256, 720


@dataclass(kw_only=True)
class Held:
    """A photo of this session: its pixels at working size as turned, its readings, and what is to be tapped on it."""

    photo: Photo
    view: str
    quarters: int = 0
    tapping: str = ""
    readings: dict[tuple[HowRead, tuple[Box, ...]], PhotoReading] = field(default_factory=dict)
    # Corners of the card that was found, by the quarters that the photo was turned.
    found: dict[int, list[tuple[float, float]]] = field(default_factory=dict)


def held_photos() -> dict[str, Held]:
    """Return the photos of this session by their digest."""
    return st.session_state.setdefault("photos", {})


def digest_of(data: bytes) -> str:
    """Return what a photo goes by in the session: the same file twice is the same photo."""
    return hashlib.sha256(data).hexdigest()[:24]


def view_of_photo(photo: Photo) -> str:
    """Return a photo as a data address, at the size it is shown."""
    return "data:image/png;base64," + base64.b64encode(crop_png(photo, max_side=VIEW_PX)).decode("ascii")


def finds_of(digest: str) -> tuple[Find, ...]:
    """Return what was found in a photo."""
    return tuple(f for f in work().extras.finds if f.photo == digest)


def how_of(digest: str) -> HowRead:
    """Return how the work in hand says that a photo is read."""
    return next((h for h in work().extras.photos if h.photo == digest), HowRead(photo=digest))


def facing(digest: str, quarters: int | None = None) -> Held:
    """Return a photo of this session, turned as the work in hand says, or by so many quarters."""
    held = held_photos()[digest]
    turns = ((how_of(digest).quarters if quarters is None else quarters) - held.quarters) % 4
    if turns:
        photo = held.photo
        turned = np.ascontiguousarray(np.rot90(photo.srgb8, -turns))
        turned.setflags(write=False)
        mask = None if photo.mask is None else np.ascontiguousarray(np.rot90(photo.mask, -turns))
        full = photo.full_size[::-1] if turns % 2 else photo.full_size
        held.photo = replace(photo, srgb8=turned, mask=mask, full_size=full)
        held.view = view_of_photo(held.photo)
        held.quarters = (held.quarters + turns) % 4
    return held


def card_corners(how: HowRead) -> Sequence[tuple[float, float]] | None:
    """Return the corners of the colour card in a photo, found once; None where it is read without one of its own.

    Raises
    ------
    PhotoError
        If no card is found.
    """
    if how.card != "auto":
        return how.card if isinstance(how.card, tuple) else None
    held = facing(how.photo, how.quarters)
    if how.quarters not in held.found:
        held.found[how.quarters] = find_chart(held.photo)
    return held.found[how.quarters]


def reading_of(digest: str) -> PhotoReading:
    """Return the reading of a photo as the work in hand says, read again where it is not kept.

    Raises
    ------
    PhotoError
        If the boxes of an opened file do not lie in the photo.
    """
    return _read(how_of(digest), [f.box for f in finds_of(digest)])


def _read(how: HowRead, boxes: Sequence[Box] | None) -> PhotoReading:
    held = facing(how.photo, how.quarters)
    found = None if boxes is None else held.readings.get((how, tuple(boxes)))
    if found is None:
        found = read_photo(
            held.photo,
            boxes=boxes,
            white=how.white,
            white_level=GREY_CARD_LEVEL if how.grey_card else PAPER_LEVEL,
            card=how.card if isinstance(how.card, Chart) else card_corners(how),
        )
    _keep(how, found)
    return found


def _keep(how: HowRead, reading: PhotoReading) -> None:
    readings = held_photos()[how.photo].readings
    key = (how, tuple(y.box for y in reading.yarns))
    readings.pop(key, None)
    readings[key] = reading
    if len(readings) > MAX_READINGS:
        readings.pop(next(iter(readings)))


def _crop(photo: Photo, box: Sequence[float], reading: PhotoReading) -> str:
    """Return a crop in the light of its shades, so that it can be compared with them; empty if it is too large."""
    for side in (CROP_PX, CROP_PX // 2):
        picture = crop_jpeg(photo, box, max_side=side, light=reading.chart or reading.white)
        text = base64.b64encode(picture).decode("ascii")
        if len(text) <= MAX_CROP:
            return text
    return ""


def _found(digest: str, reading: PhotoReading, finds: Sequence[Find]) -> tuple[Find, ...]:
    """Return the finds of a reading; names stay, and so does a shade that the maker set by eye."""
    photo = held_photos()[digest].photo
    old = list(finds) if len(finds) == len(reading.yarns) else [Find(photo=digest, box=y.box) for y in reading.yarns]
    return tuple(
        replace(
            find,
            box=yarn.box,
            shades=find.shades if any(s.by_eye for s in find.shades) else yarn.shades,
            picture=_crop(photo, yarn.box, reading),
        )
        for find, yarn in zip(old, reading.yarns, strict=True)
    )


def _put(digest: str, finds: Sequence[Find], how: HowRead | None) -> None:
    """Take what was found in a photo, and how it was read, as one step."""
    extras = work().extras
    every = (*(f for f in extras.finds if f.photo != digest), *finds)
    known = held_photos().keys() | {f.photo for f in every}
    ways = tuple(h for h in extras.photos if h.photo != digest and h.photo in known)
    commit(work().with_extras(finds=every, photos=ways if how is None else (*ways, how)))


def read_as(digest: str, how: HowRead) -> None:
    """Read a photo in another way with its boxes as they stand; where it has none they are found.

    Boxes that the finder put on a colour card go when the card comes into use.

    Raises
    ------
    PhotoError
        If it cannot be read so; nothing is changed then.
    """
    finds, corners = finds_of(digest), card_corners(how)
    if corners is not None and how.card != how_of(digest).card:
        finds = tuple(f for f in finds if f.by_hand or not middle_in_quad(f.box, corners))
    reading = _read(how, [f.box for f in finds] or None)
    _put(digest, _found(digest, reading, finds), how)


def put_boxes(digest: str, boxes: Sequence[tuple[Sequence[int], int | None]]) -> None:
    """Read a photo with boxes changed by the maker.

    Parameters
    ----------
    digest : str
    boxes : sequence of (box, int or None)
        Each box with its place among the finds before; None for a new one. Those not named are gone.

    Raises
    ------
    PhotoError
        If a box does not lie in the photo.
    """
    before = finds_of(digest)
    finds = []
    for given, at in boxes:
        box = (int(given[0]), int(given[1]), int(given[2]), int(given[3]))
        old = before[at] if at is not None else Find(photo=digest, box=box, by_hand=True)
        finds.append(old if old.box == box else replace(old, box=box, by_hand=True))
    how = how_of(digest)
    _put(digest, _found(digest, _read(how, [f.box for f in finds]), finds), how)


def turn(digest: str) -> None:
    """Turn a photo a quarter to the right, its boxes, spots and corners with it."""
    how, height = how_of(digest), facing(digest).photo.full_size[1]
    white = turned_spot(how.white, height) if isinstance(how.white, tuple) else how.white
    card = how.card
    if isinstance(card, tuple):
        one, two, three, four = (turned_spot(corner, height) for corner in card)
        card = (one, two, three, four)
    turned = facing(digest, (how.quarters + 1) % 4)
    finds = [replace(f, box=turned_box(f.box, height)) for f in finds_of(digest)]
    how = replace(how, quarters=turned.quarters, white=white, card=card)
    try:
        reading = _read(how, [f.box for f in finds])
    except BlendplanError:
        # The page tells of it beside the photo; its crops are as the camera saw them until it can be read.
        reading = PhotoReading(name=turned.photo.name, white=None, yarns=())
    _put(digest, [replace(f, picture=_crop(turned.photo, f.box, reading)) for f in finds], how)


def close(digest: str) -> None:
    """Let a photo go, with what was found in it."""
    held_photos().pop(digest, None)
    _put(digest, (), None)


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
    held_photos()[digest] = Held(photo=photo, view=view_of_photo(photo))
    try:
        if finds_of(digest):
            reading_of(digest)
            tell(note("{name} was read earlier: its boxes, names and shades are as you left them.", name=name))
        else:
            read_as(digest, HowRead(photo=digest))
    except BlendplanError:
        held_photos().pop(digest)
        raise


def same_light() -> None:
    """Read all photos of this session in the light of the surest white or colour card.

    Raises
    ------
    PhotoError
        If none of them shows either.
    """
    photos = [facing(digest).photo for digest in held_photos()]
    readings, told = share_light(photos, [reading_of(digest) for digest in held_photos()])
    extras = work().extras
    finds = [f for f in extras.finds if f.photo not in held_photos()]
    ways = [h for h in extras.photos if h.photo not in held_photos()]
    for digest, reading in zip(held_photos(), readings, strict=True):
        how = how_of(digest)
        if reading.white is not None and reading.white.kind == "shared":
            how = replace(how, white=reading.white, grey_card=False)
        if reading.chart is not None and reading.chart.confidence < 1:
            how = replace(how, card=reading.chart)
        _keep(how, reading)
        finds += _found(digest, reading, finds_of(digest))
        ways.append(how)
    commit(work().with_extras(finds=tuple(finds), photos=tuple(ways)))
    tell(told)
