"""The photographs of this session: how each is read, what is marked on it, and its yarns taken into a blanket.

How a photograph is read stands in the work in hand beside what was found in it; this module keeps only pixels
and readings, and brings them to what the work says. So undo, and a photograph added again, need nothing more.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from blendplan.blanket import Blanket, Design, Materials, Ways, free_key
from blendplan.budgets import MAX_CROP, MAX_PHOTOS, MAX_PHOTOS_SERVED, MAX_READINGS
from blendplan.colour import delta_e_2000, lab_to_hex
from blendplan.errors import BlendplanError, PhotoError
from blendplan.fabric.size import size_cm
from blendplan.order import Question, find_order
from blendplan.page.edits import change_design, change_materials, deal
from blendplan.page.routes import served
from blendplan.page.state import Held, commit, say, session, tell, work
from blendplan.photo import (
    Opened,
    Photo,
    PhotoReading,
    Place,
    Pointed,
    Polygon,
    SameYarn,
    crop_webp,
    load_photo,
    merge_yarn_shades,
    opened,
    read_photo,
    share_light,
    yarn_touched,
)
from blendplan.photo.crop import square_in
from blendplan.photo.references import find_card, inside_quad
from blendplan.photo.where import Box
from blendplan.wording import Notice, note
from blendplan.workspace import Crop, Extras, Find, FirstWishes, HowRead, Workspace
from blendplan.yarn import Shade, Yarn

CROP_PX, VIEW_PX = 256, 1080
# Taken where she did not say how large.
USUAL_SIZE = "throw"
# Within these CIEDE2000 a shade is sure, or close; beyond them it is a guess (the design's words).
SURE, CLOSE = 4.0, 8.0
# Cells that the longer side is looked through in, and the greatest half side of a new box as a share of the shorter.
_CELLS, _HALF = 60, 0.14


# ---- what is held open


def held_photos() -> dict[str, Held]:
    """Return the photographs of this session by their digest."""
    return session().photos


def digest_of(data: bytes) -> str:
    """Return what a photograph goes by in the session: the same file twice is the same photograph."""
    return hashlib.sha256(data).hexdigest()[:24]


def view_of_photo(photo: Photo) -> bytes:
    """Return a photograph as WebP at the size it is shown."""
    width, height = photo.full_size
    return crop_webp(photo, (0, 0, width, height), max_side=VIEW_PX)


def finds_of(digest: str) -> tuple[Find, ...]:
    """Return what was found in a photograph."""
    return tuple(f for f in work().extras.finds if f.photo == digest)


def how_of(digest: str) -> HowRead:
    """Return how the work in hand says that a photograph is read."""
    return next((h for h in work().extras.photos if h.photo == digest), HowRead(photo=digest))


def at_photographs() -> bool:
    """Return whether photographs are open, or yarns read in them wait to become a blanket."""
    return bool(work().extras.finds or session().photos)


def facing(digest: str, quarters: int | None = None) -> Held:
    """Return a photograph of this session, turned as the work in hand says, or by so many quarters."""
    held = held_photos()[digest]
    turns = ((how_of(digest).quarters if quarters is None else quarters) - held.quarters) % 4
    if turns:
        photo = held.photo
        turned = np.ascontiguousarray(np.rot90(photo.srgb8, -turns))
        turned.setflags(write=False)
        mask = None if photo.mask is None else np.ascontiguousarray(np.rot90(photo.mask, -turns))
        full = photo.full_size[::-1] if turns % 2 else photo.full_size
        held.photo = replace(photo, srgb8=turned, mask=mask, full_size=full)
        held.view, held.opened = view_of_photo(held.photo), None
        held.quarters = (held.quarters + turns) % 4
    return held


def opened_of(held: Held) -> Opened:
    """Return what readings of a photograph share; it takes much memory, so it is kept of one at a time."""
    if held.opened is None:
        for other in held_photos().values():
            other.opened = None
        held.opened = opened(held.photo)
    return held.opened


# ---- reading


def card_corners(how: HowRead) -> Sequence[tuple[float, float]] | None:
    """Return the corners of the colour card in a photograph, found once; None where it is read without one of its own.

    Raises PhotoError if no card is found.
    """
    if how.card != "auto":
        return how.card if isinstance(how.card, tuple) else None
    held = facing(how.photo, how.quarters)
    if how.quarters not in held.found:
        held.found[how.quarters] = find_card(held.photo)
    return held.found[how.quarters]


def reading_of(digest: str) -> PhotoReading:
    """Return the reading of a photograph as the work in hand says, read again where it is not kept.

    Raises PhotoError if the boxes of an opened file do not lie in the photograph.
    """
    return _read(how_of(digest), [f.place for f in finds_of(digest)])


def _read(how: HowRead, places: Sequence[Place] | None) -> PhotoReading:
    held = facing(how.photo, how.quarters)
    found = None if places is None else held.readings.get((how, tuple(places)))
    if found is None:
        found = read_photo(
            opened_of(held),
            places,
            white=how.white if isinstance(how.white, str) else "off",
            pointed=how.pointed,
            card=card_corners(how),
            light=how.light,
        )
    _keep(how, found)
    return found


def _keep(how: HowRead, reading: PhotoReading) -> None:
    readings = held_photos()[how.photo].readings
    key = (how, tuple(y.place for y in reading.yarns))
    readings.pop(key, None)
    readings[key] = reading
    if len(readings) > MAX_READINGS:
        readings.pop(next(iter(readings)))


def _crop(photo: Photo, box: Sequence[int], reading: PhotoReading, outline: Sequence[Polygon] = ()) -> str:
    """Return a piece of what was read in the light of its shades, to be compared with them; empty if it is too large.

    It is the largest square that lies in the outline, so that neither label nor ground is in it.
    """
    within = square_in(outline, box) if outline else box
    for side in (CROP_PX, CROP_PX // 2):
        picture = crop_webp(photo, within, max_side=side, light=reading.light)
        text = base64.b64encode(picture).decode("ascii")
        if len(text) <= MAX_CROP:
            return text
    return ""


def _found(digest: str, reading: PhotoReading, finds: Sequence[Find]) -> tuple[Find, ...]:
    """Return the finds of a reading; names and letters stay, and so does a shade that the maker set by eye."""
    photo = held_photos()[digest].photo
    old = (
        list(finds)
        if len(finds) == len(reading.yarns)
        else [Find(photo=digest, box=y.box, touches=y.place.touches, dyes=y.place.dyes) for y in reading.yarns]
    )
    return tuple(
        replace(
            find,
            box=yarn.box,
            read=yarn.shades,
            shades=find.shades if any(s.kind == "eye" for s in find.shades) else yarn.shades,
            picture=find.picture
            if find.picture and (find.box, find.shades) == (yarn.box, yarn.shades)
            else _crop(photo, yarn.box, reading, yarn.outline),
        )
        for find, yarn in zip(old, reading.yarns, strict=True)
    )


def _put(digest: str, finds: Sequence[Find], how: HowRead | None) -> None:
    """Take what was found in a photograph, and how it was read, as one step."""
    extras = work().extras
    every = [*(f for f in extras.finds if f.photo != digest), *finds]
    # The photographs keep the order in which they came, whichever was read last.
    came = list(dict.fromkeys([*(f.photo for f in extras.finds), *held_photos(), digest]))
    every.sort(key=lambda f: came.index(f.photo))
    known = held_photos().keys() | {f.photo for f in every}
    ways = tuple(h for h in extras.photos if h.photo != digest and h.photo in known)
    put_finds(every, photos=ways if how is None else (*ways, how))


def put_finds(finds: Sequence[Find], **extras: object) -> None:
    """Take finds as one step; beside a blanket in hand their letters begin after those of its yarns."""
    now = work()
    own = len(now.blanket.letters or now.blanket.yarns) if now.blanket and not now.extras.demo else 0
    commit(now.with_extras(finds=tuple(finds), dealt=max(now.extras.dealt, own), **extras))


def change_find(find: Find, **changes: object) -> None:
    """Change what is held of one find."""
    new = replace(find, **changes)  # type: ignore[arg-type]
    commit(work().with_extras(finds=tuple(new if f == find else f for f in work().extras.finds)))


def read_as(digest: str, how: HowRead) -> None:
    """Read a photograph in another way with its yarns as they are marked; where none is they are found.

    Boxes that the finder put on a colour card go when the card comes into use.
    Raises PhotoError if it cannot be read so; nothing is changed then.
    """
    finds, corners = finds_of(digest), card_corners(how)
    if corners is not None and how.card != how_of(digest).card:
        finds = tuple(f for f in finds if f.by_hand or not middle_in_quad(f.box, corners))
    reading = _read(how, [f.place for f in finds] or None)
    _put(digest, _found(digest, reading, finds), how)


def read_otherwise(digest: str, **changes: object) -> None:
    """Read a photograph in a way changed in some respects, at her word: a light lent by another one gives way."""
    held_photos()[digest].tapping = ""
    read_as(digest, replace(how_of(digest), light=None, **changes))  # type: ignore[arg-type]


def read_finds(digest: str, finds: Sequence[Find]) -> None:
    """Read a photograph with its yarns as they are marked now, as one step."""
    how = how_of(digest)
    _put(digest, _found(digest, _read(how, [f.place for f in finds]), finds), how)


def take_photo(name: str, data: bytes) -> None:
    """Read one photograph and keep its pixels at working size; the file itself is not kept.

    Raises BlendplanError if it cannot be read, or there are too many.
    """
    most = MAX_PHOTOS_SERVED if served() else MAX_PHOTOS
    digest = digest_of(data)
    if digest in held_photos():
        tell(note("{name} is here already.", name=name))
        return
    if len(held_photos()) >= most:
        raise PhotoError(
            "{name} was not read: {allowed} photographs are open. Draw the blanket, or close some, and add the rest.",
            name=name,
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


def close(digest: str) -> None:
    """Let a photograph go, with what was found in it."""
    held_photos().pop(digest, None)
    _put(digest, (), None)


def turn(digest: str) -> None:
    """Turn a photograph a quarter to the right, its boxes, spots and corners with it."""
    how, height = how_of(digest), facing(digest).photo.full_size[1]
    white = turned_spot(how.white, height) if isinstance(how.white, tuple) else how.white
    card = how.card
    if isinstance(card, tuple):
        one, two, three, four = (turned_spot(corner, height) for corner in card)
        card = (one, two, three, four)
    turned = facing(digest, (how.quarters + 1) % 4)
    finds = [
        replace(f, box=turned_box(f.box, height), touches=tuple(turned_spot(t, height) for t in f.touches))
        for f in finds_of(digest)
    ]
    known = tuple(replace(k, spot=turned_spot(k.spot, height)) for k in how.known)
    how = replace(how, quarters=turned.quarters, white=white, card=card, known=known)
    try:
        reading = _read(how, [f.place for f in finds])
    except BlendplanError:
        # The page tells of it beside the photograph; its crops are as the camera saw them until it can be read.
        reading = PhotoReading(name=turned.photo.name)
    outlines = [y.outline for y in reading.yarns] or [()] * len(finds)
    turned_finds = [
        replace(f, picture=_crop(turned.photo, f.box, reading, o)) for f, o in zip(finds, outlines, strict=True)
    ]
    _put(digest, turned_finds, how)


def same_light() -> None:
    """Read all photographs of this session in the light of the surest white or colour card.

    Raises PhotoError if none of them shows either.
    """
    photos = [facing(digest).photo for digest in held_photos()]
    readings, told = share_light(photos, [reading_of(digest) for digest in held_photos()], _in_several())
    extras = work().extras
    finds = [f for f in extras.finds if f.photo not in held_photos()]
    ways = [h for h in extras.photos if h.photo not in held_photos()]
    for digest, reading in zip(held_photos(), readings, strict=True):
        how = how_of(digest)
        if reading.light.lent:
            how = replace(how, light=reading.light)
        _keep(how, reading)
        finds += _found(digest, reading, finds_of(digest))
        ways.append(how)
    commit(work().with_extras(finds=tuple(finds), photos=tuple(ways)))
    tell(told)


def _in_several() -> list[list[tuple[int, int]]]:
    """Return the yarns that go by one name in several photographs, each by the places of photograph and yarn."""
    named: dict[str, dict[int, int]] = {}
    for at, digest in enumerate(held_photos()):
        for i, find in enumerate(finds_of(digest)):
            if find.name:
                named.setdefault(find.name, {}).setdefault(at, i)
    return [list(places.items()) for places in named.values() if len(places) > 1]


# ---- what she marks on a photograph


def put_boxes(digest: str, boxes: Sequence[tuple[Sequence[int], int | None]]) -> None:
    """Read a photograph with boxes changed by hand, each with its place among the finds before, None for a new one.

    Those not named are gone. Raises PhotoError if a box does not lie in the photograph.
    """
    before = finds_of(digest)
    finds = []
    for given, at in boxes:
        box = (int(given[0]), int(given[1]), int(given[2]), int(given[3]))
        old = before[at] if at is not None else Find(photo=digest, box=box, by_hand=True)
        finds.append(old if old.box == box else replace(old, box=box, touches=(), by_hand=True))
    read_finds(digest, finds)


def touch(digest: str, spot: tuple[int, int]) -> None:
    """Read the yarn under a touch: more of a yarn that it joins, or another one. Inside an outline nothing changes.

    Raises PhotoError if the touch lies outside the photograph, or on what is too bright to read.
    """
    finds = list(finds_of(digest))
    told = yarn_touched(opened_of(facing(digest)), [f.place for f in finds], spot)
    if told.inside:
        return
    at = told.yarn
    if at is None:
        finds.append(Find(photo=digest, box=(*spot, spot[0] + 1, spot[1] + 1), touches=(spot,), by_hand=True))
    elif finds[at].touches:
        finds[at] = replace(finds[at], touches=(*finds[at].touches, spot), by_hand=True)
    else:
        # A box that was found or drawn becomes touches: its middle, and the new place.
        finds[at] = replace(finds[at], touches=(_middle(finds[at].box), spot), by_hand=True)
    read_finds(digest, finds)


def say_dyes(digest: str, at: int, dyes: int) -> None:
    """Read a yarn as of one shade (1) or of several (0)."""
    read_finds(digest, [replace(f, dyes=dyes) if i == at else f for i, f in enumerate(finds_of(digest))])


def take_out(digest: str, at: int) -> None:
    """Read a photograph without one of its yarns."""
    read_finds(digest, [f for i, f in enumerate(finds_of(digest)) if i != at])


def is_my(digest: str, at: int, srgb: str) -> None:
    """Read a photograph with one of its yarns as a reference, because its `#rrggbb` is known; empty: not any more.

    Raises PhotoError if the yarn is of several shades, or contradicts the photograph's other references.
    """
    how, find = how_of(digest), finds_of(digest)[at]
    spot = known_spot(find)
    known = tuple(k for k in how.known if k.spot != spot)
    if srgb:
        known = (*known, Pointed(kind="known", spot=spot, srgb=srgb))
    read_as(digest, replace(how, known=known, light=None))


def known_spot(find: Find) -> tuple[int, int]:
    """Return where a yarn is pointed at when it is a reference: its first touch, or the middle of its box."""
    return find.touches[0] if find.touches else _middle(find.box)


def _middle(box: Sequence[int]) -> tuple[int, int]:
    left, top, right, bottom = box
    return (left + right) // 2, (top + bottom) // 2


# ---- places on a photograph, pixels of it upright


def turned_spot(spot: Sequence[int], height: int) -> tuple[int, int]:
    """Return where a pixel lies once a photograph of a height in pixels is turned a quarter to the right."""
    return height - 1 - spot[1], spot[0]


def turned_box(box: Sequence[int], height: int) -> Box:
    """Return where a box (left, top, right, bottom) lies once its photograph is turned a quarter to the right."""
    left, top, right, bottom = box
    return height - bottom, left, height - top, right


def middle_in_quad(box: Sequence[float], corners: Sequence[Sequence[float]]) -> bool:
    """Return whether the middle of a box lies inside four corners."""
    left, top, right, bottom = box
    x, y = np.array([(left + right) / 2]), np.array([(top + bottom) / 2])
    return bool(inside_quad(x, y, np.asarray(corners, dtype=np.float64))[0])


def free_box(full: tuple[int, int], boxes: Sequence[Sequence[float]]) -> Box:
    """Return a box in the middle of the largest place that the fewest boxes cover, in a photograph of a full size."""
    from scipy.ndimage import distance_transform_cdt

    width, height = full
    cell = max(full) / _CELLS
    rows, columns = (max(3, round(side / cell)) for side in (height, width))
    y, x = (np.arange(rows) + 0.5) * height / rows, (np.arange(columns) + 0.5) * width / columns
    covered = np.zeros((rows, columns), dtype=int)
    for left, top, right, bottom in boxes:
        covered += ((y > top) & (y < bottom))[:, None] & ((x > left) & (x < right))[None, :]
    free = np.pad(covered == covered.min(), 1)
    away = distance_transform_cdt(free, "chessboard")[1:-1, 1:-1]
    # Of places with as much room, the one nearest to the middle.
    places = np.argwhere(away == away.max())
    middle = (np.array(away.shape) - 1) / 2
    row, column = places[int(np.abs(places - middle).max(axis=1).argmin())]
    half = min(max(0.7 * float(away.max()) * cell, 0.03 * min(full)), _HALF * min(full))
    return (
        max(0, round(x[column] - half)),
        max(0, round(y[row] - half)),
        min(width, max(1, round(x[column] + half))),
        min(height, max(1, round(y[row] + half))),
    )


# ---- how far a doubt goes


def within_of(shades: Sequence[Shade]) -> float | None:
    """Return the CIEDE2000 within which shades are sure, the least sure counting; None where it is not known."""
    return max((s.within for s in shades if s.within is not None), default=None)


def doubt_ends(shade: Shade) -> tuple[str, str]:
    """Return the darker and the lighter `#rrggbb` that lie as far off as the doubt goes; lightness errs most."""
    return _as_far(shade, -1), _as_far(shade, 1)


def _as_far(shade: Shade, way: int) -> str:
    lightness, *hue = shade.lab
    low, high = 0.0, 100.0 - lightness if way > 0 else lightness
    for _ in range(20):
        step = (low + high) / 2
        near = delta_e_2000(shade.lab, (lightness + way * step, *hue)) < (shade.within or 0.0)
        low, high = (step, high) if near else (low, step)
    return lab_to_hex((lightness + way * low, *hue))


# ---- finds taken into a blanket


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Finds that go by one name, and the yarn of the blanket in hand that goes by it."""

    name: str
    finds: tuple[Find, ...]
    own: Yarn | None = None

    @property
    def key(self) -> str:
        """What an answer about them goes by."""
        return _called(self.name)

    @property
    def readings(self) -> tuple[tuple[Shade, ...], ...]:
        """The shades of the yarn in hand, if any, then those of each find."""
        return (*((self.own.shades,) if self.own else ()), *(f.shades for f in self.finds))

    @property
    def read(self) -> tuple[Shade, ...]:
        """What they come to as one yarn as their photographs give them; empty where one of them was not read."""
        own = work().crop_of(self.own.key) if self.own else None
        every = (*((own.read if own else (),) if self.own else ()), *(f.read for f in self.finds))
        return merge_yarn_shades(self.name, every).shades if all(every) else ()

    @property
    def pictures(self) -> tuple[str, ...]:
        """The crops, one for each reading; empty where there is none."""
        own = work().crop_of(self.own.key) if self.own else None
        return (*((own.picture if own else "",) if self.own else ()), *(f.picture for f in self.finds))

    @property
    def apart(self) -> bool:
        """Whether she keeps them apart."""
        return self.key in session().apart

    @property
    def same(self) -> SameYarn:
        """What they come to as one yarn."""
        return merge_yarn_shades(self.name, self.readings)


def _called(name: str) -> str:
    """Return a name without case and spare blanks."""
    return " ".join(name.split()).casefold()


def groups_of(base: Blanket | None) -> list[Group]:
    """Return the finds by name, in the order of their first; a find without a name stands alone."""
    own = {_called(y.name): y for y in base.yarns} if base else {}
    named: dict[object, list[Find]] = {}
    for i, find in enumerate(work().extras.finds):
        named.setdefault(_called(find.name) or i, []).append(find)
    groups = []
    for key, same in named.items():
        yarn = own.get(key) if isinstance(key, str) else None
        groups.append(Group(name=yarn.name if yarn else same[0].name, finds=tuple(same), own=yarn))
    return groups


def free_name(wanted: str, taken: set[str], letter: str = "") -> str:
    """Return a name that is not in use: the wish, else one by its letter or counted up."""
    names: Iterator[str] = iter([wanted] if wanted else [say("Yarn {n}", n=letter)] if letter else [])
    n = 2 if wanted else 1
    while (name := next(names, "")) in taken | {""}:
        name = f"{wanted} {n}" if wanted else say("Yarn {n}", n=n)
        names, n = iter([name]), n + 1
    return name


def _labelled(find: Find, first: FirstWishes) -> dict[str, object]:
    """Return what the label of a find says: its own, or the one for all."""
    of = first if first.alike else find
    return {"grams": of.grams, "metres": of.metres, "weight_class": of.weight_class}


def take_finds(fresh: bool) -> None:
    """Take all finds over as yarns: as a new blanket, drawn as large as she wished, or into the one in hand.

    Finds of one name are one yarn, and shades of the yarn in hand that has the name, unless they are kept apart.
    """
    now = work()
    base = None if fresh else now.blanket
    taken = {y.name for y in base.yarns} if base else set()
    keys = {y.key for y in base.yarns} if base else set()
    yarns: list[Yarn] = []
    again: dict[str, tuple[Shade, ...]] = {}
    dealt: dict[str, str] = {}
    crops = {} if fresh else {c.yarn: c for c in now.extras.crops}
    told: list[Notice] = []
    for group in groups_of(None if now.extras.demo else base):
        one_yarn = len(group.readings) > 1 and not group.apart
        first = group.finds[0]
        if one_yarn:
            told.append(group.same.notice)
            picture = group.pictures[group.same.surest] or next(filter(None, group.pictures), "")
            made = [(group.same.shades, picture, first)]
        else:
            made = [(f.shades, f.picture, f) for f in group.finds]
        for shades, picture, find in made:
            if one_yarn and group.own is not None:
                key = group.own.key
                again[key] = shades
            else:
                name = free_name(group.name, taken, find.letter if fresh else "")
                key = free_key(name, keys)
                yarns.append(Yarn(key=key, name=name, shades=shades, **_labelled(find, now.extras.first)))  # type: ignore[arg-type]
                taken.add(name)
                keys.add(key)
                dealt[key] = find.letter
            if picture:
                read = group.read if one_yarn else find.read
                crops[key] = Crop(yarn=key, picture=picture, read=read)
    kept = tuple(crops.values())
    if base is None:
        new = _drawn(tuple(yarns), now, dealt)
        extras = Extras(crops=kept)
    else:
        old = tuple(replace(y, shades=again.get(y.key, y.shades)) for y in base.yarns)
        new = deal(change_materials(base, yarns=(*old, *yarns)))
        new = change_design(new, order=(*base.design.order, *(y.key for y in yarns)))
        extras = replace(now.extras, crops=kept, finds=(), photos=())
    commit(Workspace(blanket=new, extras=extras))
    session().photos, session().apart = {}, set()
    if yarns and base is not None and base.design.stripes is not None:
        told.append(note("The new yarns wait beside your hand-set stripes: give them a stripe below."))
    for notice in told:
        tell(notice)


def _drawn(yarns: tuple[Yarn, ...], now: Workspace, dealt: dict[str, str]) -> Blanket:
    """Return a first blanket of yarns: their softest fade, as large as she wished."""
    ways = now.blanket.ways if now.blanket else Ways()
    first = now.extras.first
    usual_cm = size_cm(USUAL_SIZE)
    wide, long = (first.width_cm or usual_cm[0], first.length_cm or usual_cm[1])
    order = tuple(y.key for y in yarns)
    if len(yarns) > 2:
        named = {y.name: y.key for y in yarns}
        order = tuple(named[name] for name in find_order(yarns, Question(own=tuple(named))).order)
    return Blanket(
        title=say("My blanket"),
        materials=Materials(yarns=yarns),
        design=Design(order=order, width_cm=wide, length_cm=long, for_baby=first.for_baby),
        ways=ways,
        letters=tuple(dealt.items()),
    )
