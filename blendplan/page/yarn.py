"""The yarns: photographs looked over and drawn as a first blanket, cards of single yarns, and two held together."""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from itertools import pairwise, zip_longest
from math import hypot
from typing import Any

import streamlit as st

from blendplan.blanket import Blanket, Design, Materials
from blendplan.blend.advice import nearest_blends
from blendplan.blend.calibrate import Swatch, fit_swatches
from blendplan.blend.pair import mix_yarns
from blendplan.blend.strands import PLACES, READS
from blendplan.budgets import MAX_LOTS, MAX_PHOTOS, MAX_PHOTOS_SERVED, MAX_SWATCHES, MAX_UPLOAD
from blendplan.colour import delta_e_2000
from blendplan.errors import BlendplanError, PhotoError, YarnError
from blendplan.fabric.shapes import Ripple
from blendplan.fabric.size import BABY_SIZES, cautions, size_cm
from blendplan.page import reads
from blendplan.page.edits import (
    add_yarn,
    change_materials,
    change_stripes,
    change_yarn,
    drop_yarn,
    label_all,
    signs_of,
)
from blendplan.page.fields import (
    PHOTOS,
    beside,
    bullet_list,
    choice_field,
    crop_address,
    field_of,
    file_field,
    fill,
    fold,
    folded,
    inert,
    line_html,
    patch,
    photo_stage,
    press,
    put_yarn,
    refused,
    refused_html,
    text_field,
    text_on,
    told_html,
    try_,
    units_now,
)
from blendplan.page.routes import address, served
from blendplan.page.sight import SEEN_WORDS, pair_address
from blendplan.page.state import (
    blanket,
    change,
    commit,
    drawing,
    lang,
    mount,
    new_blanket,
    plan,
    put_typed,
    say,
    say_error,
    session,
    spoken,
    tell,
    turn,
    typed,
    work,
)
from blendplan.photo import (
    PhotoReading,
    drop_part,
    merge_parts,
    nudge,
    reorder_parts,
    set_by_eye,
    split_part,
    swatch_shade,
)
from blendplan.photo.reading import WHITE_ON_WHITE
from blendplan.photo.white import WHITE_KINDS
from blendplan.plan import Plan, to_buy
from blendplan.quantities import Quantities, figure
from blendplan.stripes import edit
from blendplan.stripes.model import Stripe
from blendplan.units import exact, whole
from blendplan.wording import Notice, capital, note, rounded
from blendplan.workspace import Find, Workspace, plan_of
from blendplan.yarn import REASONS, SHADE_KINDS, WEIGHT_CLASSES, Lot, Shade, Yarn

# Cards that stand ready where shades are chosen by eye, and cards of other yarns that a page still bears (chosen).
BY_EYE, MOST_CARDS = 6, 24


# ---- photographs arrive


def photo_doors(*, first: bool) -> None:
    """Draw the ways in for photographs: the file list on a desk, camera or photographs on a phone."""
    field = f"photos-{session().uploads}"
    most = MAX_PHOTOS_SERVED if served() else MAX_PHOTOS
    room = most - len(reads.held_photos())
    # What is too large or too many is refused before it is sent.
    large = say("{name} is too large: a photograph may have {most} MB.", name="{name}", most=MAX_UPLOAD // 10**6)
    door = {
        "field": field,
        "first": first,
        "accept": "image/*,.heic,.heif,.tif,.tiff,.mpo",
        "room": max(room, 1),
        "bytes": MAX_UPLOAD,
        "words": {
            "start": say("Start with photographs of my yarn") if first else say("Add photographs"),
            "camera": say("Photograph another") if work().extras.finds else say("Photograph my yarn"),
            "have": say("Photographs I have"),
            "large": large,
            "many": say("The first {n} are read. Add the rest after.", n=room),
        },
    }
    mount("photos", "door-first" if first else "door", {"door": door}, PHOTOS)
    files = st.file_uploader(
        say("Photographs of your yarn"), accept_multiple_files=True, key=field, max_upload_size=MAX_UPLOAD // 10**6
    )
    if first:
        st.caption(
            say("Any number of skeins in one picture. Lay a sheet of white paper beside them if you can.")
            + " "
            + say("The pictures go to your own computer and nowhere else.")
        )
    for notice in session().unread:
        st.html(refused_html(notice.say(*spoken())))
    if files:
        _arrived([(str(file.name), file.getvalue()) for file in files], first)


def start_side(go: Callable[[str], None]) -> None:
    """Draw what stands beside the example blanket at the first start: the ways to a blanket of her own."""
    with st.container(key="start-side"):
        lead = say(
            "Photograph the skeins you own. See how any two look held together, try them in stripes on this "
            "blanket, and get the skeins to buy and every row to work."
        )
        st.html(line_html("h2", say("Your yarn, two strands at a time."), "yp-start") + line_html("p", lead, "yp-lead"))
        photo_doors(first=True)
        steps = (say("photographs"), say("look each yarn over"), say("one label"), say("a size"), say("your blanket"))
        st.html(f'<ol class="yp-thread">{"".join(line_html("li", step) for step in steps)}</ol>')
        with st.container(horizontal=True, gap="small"):
            st.button(say("No photographs: choose shades by eye"), key="by-eye", on_click=_begin_by_eye)
            st.button(say("Open a blanket of mine"), key="open-mine", on_click=go, args=("library",))


def _begin_by_eye() -> None:
    _begin_own()
    session().by_eye, session().place = True, "yarn"


def _begin_own() -> None:
    """Leave the example in the library for a new blanket of her own."""
    if work().extras.demo:
        new_blanket()


def _arrived(files: Sequence[tuple[str, bytes]], first: bool) -> None:
    """Let files wait to be read, one a run, so that each is seen as soon as it is read."""
    with drawing(False):
        if first:
            _begin_own()
        # A new key empties the field, so that the files' bytes are let go.
        state = session()
        state.uploads += 1
        state.waiting, state.unread, state.place = [*state.waiting, *files], [], "yarn"
    st.rerun()


def _waiting_line() -> None:
    """Say what is being read, with a way to stop."""
    state = session()
    n, done = len(state.waiting), len(reads.held_photos())
    with st.container(key="winding"):
        yarns = len(work().extras.finds)
        st.html(
            f'<p role="status">{html.escape(say("Reading photograph {n} of {all}.", n=done + 1, all=done + n))} '
            f"{html.escape(say('{n} yarns so far.', n=yarns) if yarns else '')}</p><div class='yp-wind'><i></i></div>"
        )
        st.button(say("Stop"), key="stop-reading", on_click=_stop)


def _stop() -> None:
    session().waiting = []


def _read_next() -> None:
    """Read the photograph that waits longest."""
    state = session()
    if not state.waiting:
        return
    name, data = state.waiting.pop(0)
    with drawing(False):
        try:
            reads.take_photo(name, data)
        except BlendplanError as error:
            state.unread.append(Notice(template=error.template, values=tuple(error.values.items()), level="warning"))
    st.rerun()


# ---- a photograph


def photographs_column() -> None:
    """Draw the photographs with their yarns, where the blanket stands later."""
    # Two photographs stand one above the other without scrolling.
    many = "photographs-many" if len(reads.held_photos()) > 1 else "photographs"
    with st.container(key=many):
        for digest in list(reads.held_photos()):
            _one_photo(digest)
        if len(reads.held_photos()) > 1:
            press(say("These photographs were taken in the same light"), "same-light", reads.same_light)
            refused("same-light")
        photo_doors(first=False)


def _one_photo(digest: str) -> None:
    held, how, finds = reads.facing(digest), reads.how_of(digest), reads.finds_of(digest)
    with st.container(key=f"photo-{digest}"):
        try:
            reading, card = reads.reading_of(digest), reads.card_corners(how)
        except BlendplanError as error:
            st.html(refused_html(say_error(error)))
            reading, card = PhotoReading(name=held.photo.name), None
        with st.container(key=f"look-{digest}", horizontal=True, gap="small", vertical_alignment="bottom"):
            with st.container(key=f"stage-box-{digest}"):
                shown = {
                    "image": address(held.view, "webp"),
                    "full": held.photo.full_size,
                    "boxes": [
                        {
                            "box": list(f.box),
                            "tag": f.letter,
                            "srgb": f.shades[0].srgb if f.shades else "#888888",
                            "label": say("Yarn {n} of {all}", n=i, all=len(finds)),
                            "outline": yarn.outline if yarn is not None else (),
                            "touched": bool(f.touches),
                        }
                        for i, (f, yarn) in enumerate(zip_longest(finds, reading.yarns[: len(finds)]), 1)
                    ],
                    "white": _white_boxes(reading),
                    "card": card,
                    "free": reads.free_box(held.photo.full_size, [f.box for f in finds]),
                    "taps": _taps(held.tapping),
                    "cards": f"find-box-{digest}-",
                }
                photo_stage(
                    f"stage-{digest}",
                    shown,
                    say("Your photograph {name} with each yarn marked", name=held.photo.name),
                    on_boxes=lambda boxes: try_(f"boxes-{digest}", lambda: reads.put_boxes(digest, boxes)),
                    on_touch=lambda spot: try_(f"boxes-{digest}", lambda: reads.touch(digest, spot)),
                    on_taps=lambda spots: _tapped(digest, spots),
                )
            # A colour card stands before any white.
            if not how.has_card:
                _ask_white(digest, reading)
        refused(f"boxes-{digest}")
        if not finds:
            st.caption(
                say(
                    "No yarn is marked yet. Yarn is found by itself only where plain ground lies all round it; here, "
                    "touch each yarn, or drag a box round it."
                )
            )
        more = fold(say("More about {name}", name=inert(held.photo.name)), f"more-{digest}")
        if more.open or held.tapping:
            with more:
                st.caption(
                    say(
                        "Touch a yarn to mark it; touch it again where the outline stops short. A drag draws a box "
                        "instead."
                    )
                )
                if not how.has_card:
                    _white_ways(digest)
                _other_ways(digest)
                _notices(reading)
                folded(say("Type boxes and corners in numbers"), f"typed-{digest}", _typed_boxes, digest)
                swatch = say("This photo shows a swatch of two strands")
                folded(swatch, f"swatch-{digest}", _take_swatch, digest, reading, finds)


# In the order that the reader wants them: once round the card.
CORNERS = (
    "Corner 1 of 4: tap the card's outer corner at the dark skin patch, where its first row begins.",
    "Corner 2 of 4: tap the outer corner at the bluish green patch, where the first row ends.",
    "Corner 3 of 4: tap the outer corner at the black patch, where the row of greys ends.",
    "Corner 4 of 4: tap the outer corner at the white patch, where the row of greys begins.",
)
SPOTS = {"paper": "Tap a spot that is white paper in the photo.", "grey": "Tap the grey card in the photo."}


def _taps(tapping: str) -> list[str]:
    """Return what is to be tapped on a photograph, one sentence for each tap."""
    if tapping == "corners":
        return [say(corner) for corner in CORNERS]
    return [say(SPOTS[tapping])] if tapping else []


def _tapped(digest: str, spots: Sequence[Sequence[int]]) -> None:
    got = [(int(x), int(y)) for x, y in spots]
    tapping = reads.held_photos()[digest].tapping
    if tapping == "corners":
        _read(digest, card=tuple(got))
    else:
        _read(digest, white=got[0], grey_card=tapping == "grey")


def _read(digest: str, **changes: object) -> None:
    try_(f"boxes-{digest}", lambda: reads.read_otherwise(digest, **changes))


def _read_button(label: str, key: str, digest: str, look: Mapping[str, Any] | None = None, **changes: object) -> None:
    """Draw a button that reads a photograph in another way; a white that is named is paper."""
    if "white" in changes:
        changes["grey_card"] = False
    st.button(label, key=f"{key}-{digest}", on_click=_read, args=(digest,), kwargs=changes, **(look or {}))


def _tap(digest: str, what: str) -> None:
    reads.held_photos()[digest].tapping = what


def _tap_button(digest: str, whats: Sequence[str], label: str, key: str) -> None:
    """Draw the button that begins tapping for the first of some things, or ends it for any of them."""
    here = reads.held_photos()[digest].tapping in whats
    what = "" if here else whats[0]
    st.button(say("Cancel tapping") if here else label, key=key, on_click=_tap, args=(digest, what))


def _white_boxes(reading: PhotoReading) -> list[dict[str, object]]:
    """Return the places of the white in use, or of what is asked about, and what stands beside each."""
    if reading.white is not None:
        white = reading.white
        return [{"box": list(white.box), "label": say("white"), "asked": False}] if white.box is not None else []
    places = [white.box for white in reading.ask if white.box is not None]
    one = len(places) == 1
    return [
        {"box": list(box), "label": say("white paper?") if one else say("white paper {n}?", n=n), "asked": True}
        for n, box in enumerate(places, 1)
    ]


def _ask_white(digest: str, reading: PhotoReading) -> None:
    """Ask whether what is dashed in the photograph is white paper; yes points at it, no uses no white."""
    spots = [white.spot for white in reading.ask if white.spot is not None]
    if not spots:
        return
    one = len(spots) == 1
    with st.container(key=f"ask-{digest}"):
        st.html(line_html("p", say("Is this white paper?") if one else say("Which of these is white paper?")))
        for n, spot in enumerate(spots, 1):
            label = say("Yes, white") if one else say("Number {n} is", n=n)
            _read_button(label, f"ask-{n}", digest, {"type": "primary", "width": "stretch"}, white=spot)
        label = say("No") if one else say("None of them")
        _read_button(label, "ask-none", digest, {"width": "stretch"}, white="off")


def _white_ways(digest: str) -> None:
    """Draw the ways to a white: tapped on paper or on a grey card, looked for, or none."""
    how, tapping = reads.how_of(digest), reads.held_photos()[digest].tapping
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        if how.grey_card:
            _tap_button(digest, ("grey", "paper"), say("Tap the grey card"), f"pick-{digest}")
        else:
            _tap_button(digest, ("paper", "grey"), say("Tap the white paper"), f"pick-{digest}")
        for white, label in (("auto", say("Look for white paper")), ("off", say("Use no white"))):
            if how.white != white or how.light is not None:
                _read_button(label, f"white-{white}", digest, white=white)
        if tapping in SPOTS or isinstance(how.white, tuple):
            choice_field(
                say("What you tap"),
                f"level-{digest}",
                tapping if tapping in SPOTS else "grey" if how.grey_card else "paper",
                {"paper": say("It is white paper"), "grey": say("It is a grey card")},
                lambda v: (
                    _tap(digest, v) if tapping in SPOTS else reads.read_as(digest, replace(how, grey_card=v == "grey"))
                ),
                buttons=True,
            )


def _other_ways(digest: str) -> None:
    """Draw the ways to use a colour card, to turn the photograph and to let it go."""
    how = reads.how_of(digest)
    with st.container(horizontal=True, gap="small"):
        label, card = (
            (say("Read without the colour card"), None)
            if how.has_card
            else (say("There is a 24-patch colour card in it"), "auto")
        )
        _read_button(label, "card", digest, card=card)
        _tap_button(digest, ("corners",), say("Tap the colour card's corners"), f"corners-{digest}")
        st.button(say("Turn a quarter"), key=f"turn-{digest}", on_click=reads.turn, args=(digest,))
        st.button(say("Close this photograph"), key=f"close-{digest}", on_click=reads.close, args=(digest,))


def _notices(reading: PhotoReading) -> None:
    lines = [n.say(*spoken()) for n in reading.notices if n != WHITE_ON_WHITE]
    for i, yarn in enumerate(reading.yarns, 1):
        lines += [say("Yarn {n}", n=i) + ": " + n.say(*spoken()) for n in yarn.notices]
    white = reading.white
    if white is not None:
        kind, percent = say(WHITE_KINDS[white.kind]), round(100 * white.confidence)
        lines.insert(0, say("White: {kind}, confidence {percent} %.", kind=kind, percent=percent))
    if lines:
        st.html(bullet_list(capital(t) for t in lines))


def _numbers(text: str, field: str) -> list[int]:
    return [whole(t, field, 0, 100_000) for t in text.replace(";", ",").split(",")]


def _typed_boxes(digest: str) -> None:
    """Draw the boxes and the corners of the colour card as numbers."""
    finds, how = reads.finds_of(digest), reads.how_of(digest)
    for i, find in enumerate(finds):

        def take(text: str, at: int = i) -> None:
            boxes: list[tuple[Sequence[int], int | None]] = [(f.box, n) for n, f in enumerate(finds)]
            if text.strip():
                numbers = _numbers(text, say("box"))
                if len(numbers) != 4:
                    raise PhotoError("a box needs four whole numbers: left, top, right, bottom; like 120,80,640,420.")
                boxes[at] = (numbers, at)
            else:
                boxes.pop(at)
            reads.put_boxes(digest, boxes)

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
        reads.read_as(digest, replace(how, card=card, light=None))  # type: ignore[arg-type]

    text_field(
        say("Colour card: x,y of its corners at dark skin, bluish green, black, white"),
        f"corners-{digest}-typed",
        ", ".join(f"{x},{y}" for x, y in how.card) if isinstance(how.card, tuple) else "",
        take_corners,
    )


def swatch_of(photo: Any, reading: PhotoReading, finds: Sequence[Find], places: tuple[int, int, int]) -> Swatch:
    """Return a swatch from three yarns of one photograph: one strand, the other strand, the swatch itself."""
    one, two = (finds[i].shades[0] for i in places[:2])
    mixed = swatch_shade(photo, finds[places[2]].box, light=reading.light)
    doubts = [s.within for s in (one, two, mixed) if s.within is not None]
    return Swatch(
        name=f"{photo.name}, {places[2] + 1}"[:80],
        strands=(one.lab, two.lab),
        lab=mixed.lab,
        within=max(doubts) if doubts else None,
    )


def _take_swatch(digest: str, reading: PhotoReading, finds: Sequence[Find]) -> None:
    """Draw the choice of which yarns are strands and which is their swatch."""
    if blanket() is None or len(finds) < 3:
        st.caption(say("Needs three yarns in one photo, and a blanket: two strands, and a swatch crocheted of both."))
        return
    places = list(range(len(finds)))
    labels = [say("One strand"), say("The other strand"), say("The swatch of both")]
    for i, (label, column) in enumerate(zip(labels, st.columns(3), strict=True)):
        with column:
            st.selectbox(label, places, index=i, format_func=lambda v: finds[v].letter, key=f"sw-{digest}-{i}")

    def take() -> None:
        one, two, both = (int(typed(f"sw-{digest}-{i}", 0)) for i in range(3))
        swatch = swatch_of(reads.held_photos()[digest].photo, reading, finds, (one, two, both))
        change(lambda b: change_materials(b, swatches=(*b.materials.swatches, swatch)[-MAX_SWATCHES:]))

    press(say("Keep this swatch"), f"sw-{digest}-take", take, told=f"sw-{digest}")
    refused(f"sw-{digest}")


# ---- how sure a shade is, in a maker's words


def sure_words(shades: Sequence[Shade]) -> str:
    """Return how sure the shades of a yarn are."""
    if any(s.kind == "old" for s in shades):
        return say("read the old way: photograph again")
    within = reads.within_of(shades)
    if within is None:
        return say("set by eye") if any(s.kind == "eye" for s in shades) else say("not measured")
    if within <= reads.SURE:
        return say("sure")
    return say("close: between these") if within <= reads.CLOSE else say("guess: look by daylight")


def shade_label(shade: Shade, shades: Sequence[Shade]) -> str:
    """Return the code of a shade of a yarn, with its share where there are several."""
    return shade.srgb if len(shades) == 1 else f"{shade.srgb}, {round(100 * shade.share)} %"


def doubt(shades: Sequence[Shade]) -> str:
    """Return the laboratory's figure, what the shades are, and every reason once; empty where nothing is known."""
    why = [say(SHADE_KINDS[k]) for k in dict.fromkeys(s.kind for s in shades) if k in SHADE_KINDS]
    why += [say(REASONS[r]) for r in dict.fromkeys(r for s in shades for r in s.reasons)]
    if (within := reads.within_of(shades)) is not None:
        why.insert(0, say("it may be off by up to {d} (CIEDE2000; about 2 can just be seen)", d=round(within)))
    return "; ".join(why)


def _doubts(shades: Sequence[Shade]) -> None:
    for shade in shades:
        if text := doubt((shade,)):
            st.caption(capital(text))


def _ends(shades: Sequence[Shade]) -> tuple[str, str] | None:
    """Return how far the doubt of the most doubtful shade goes to either side; None where no doubt is known."""
    known = [s for s in shades if s.within is not None]
    return reads.doubt_ends(max(known, key=lambda s: s.within or 0)) if known else None


def _ends_html(shades: Sequence[Shade]) -> str:
    """Return two patches of how far the doubt of the most doubtful shade goes, and what they are; or nothing."""
    ends = _ends(shades)
    if ends is None:
        return ""
    two = "".join(f'<i style="background:{colour}"></i>' for colour in ends)
    return (
        f'<p class="yp-ends">{html.escape(say("It could also come out like this"))} '
        f'<span class="yp-two" aria-hidden="true">{two}</span></p>'
    )


# ---- cards


@dataclass(frozen=True, kw_only=True)
class Card:
    """Shades that are mended by eye: of a yarn read and not yet taken, or of a yarn of the blanket."""

    key: str
    shades: tuple[Shade, ...]
    picture: str
    put: Callable[[tuple[Shade, ...]], None]
    read: tuple[Shade, ...] = ()  # as its photograph gives them


def _find_cards(finds: Sequence[Find]) -> None:
    """Draw a card for each yarn read: photograph and daylight, its letter, its name, and how sure it is."""
    with st.container(key="yarn-cards"):
        places = {find.photo: 0 for find in finds}
        rules = []
        for find in finds:
            i = places[find.photo]
            places[find.photo] += 1
            key = f"{find.photo}-{i}"
            with st.container(key=f"find-box-{key}"):
                _find_card(find, key)
            if f"why-{key}" in session().open:
                with st.container(key=f"shade-{key}"):
                    _find_shade(find, key, i)
            rules.append(_mark_rule(f"why-{key}", find.shades))
        for i in range(max(0, BY_EYE - len(finds)) if session().by_eye else 0):
            with st.container(key=f"empty-card-{i}"):
                _empty_card(i)
    st.html(f"<style>{''.join(rules)}</style>")


def _mark_rule(key: str, shades: Sequence[Shade]) -> str:
    """Return the look of a mark: two patches that show how far the doubt goes stand before its word."""
    ends = _ends(shades) or (shades[0].srgb, shades[0].srgb)
    return f".st-key-{key} button::before{{background:linear-gradient(90deg,{ends[0]} 50%,{ends[1]} 50%)}}"


def _cmp_html(card: Find) -> str:
    """Return photograph and daylight side by side; several shades as bands by their shares."""
    whole_ = sum(s.share for s in card.shades)
    flat = "".join(f'<b style="flex:{s.share / whole_:.4f};background:{s.srgb}"></b>' for s in card.shades)
    crop = words = ""
    if card.picture:
        crop = f'<img alt="" src="{crop_address(card.picture)}">'
        words = line_html("span", say("photograph")) + line_html("span", say("daylight"))
    return f'<div class="yp-cmp">{crop}<span>{flat}</span></div><div class="yp-cap">{words}</div>'


def chip_html(letter: str, srgb: str) -> str:
    """Return the letter of a yarn on its colour."""
    return f'<span class="yp-chip" style="background:{srgb};color:{text_on(srgb)}">{html.escape(letter)}</span>'


def _find_card(find: Find, key: str) -> None:
    srgb = Yarn(name="-", shades=find.shades).srgb
    st.html(_cmp_html(find))
    with st.container(key=f"named-{key}"):
        with st.container(horizontal=True, gap="small", vertical_alignment="center"):
            st.html(chip_html(find.letter, srgb), width="content")
            text_field(
                say("Name of yarn {n}", n=find.letter),
                f"find-{key}",
                find.name,
                lambda t: reads.change_find(find, name=t),
                hint=say("name, if you like"),
            )
        st.button(sure_words(find.shades), key=f"why-{key}", on_click=_look_closer, args=(key,), type="tertiary")
        if not work().extras.first.alike:
            _own_label(find, f"find-{key}")


def _look_closer(key: str) -> None:
    """Unfold how sure the shade of a card is, and what can be done to it, below its row; one at a time."""
    unfolded = {one for one in session().open if one.startswith("why-")}
    session().open = (session().open - unfolded) | ({f"why-{key}"} - unfolded)


def _find_shade(find: Find, key: str, i: int) -> None:
    """Draw how far the doubt goes, the shade beside its photograph with steps by eye, and what else it may be."""
    card = Card(
        key=f"find-{key}",
        shades=find.shades,
        picture=find.picture,
        put=lambda shades: reads.change_find(find, shades=shades),
        read=find.read,
    )
    if ends := _ends_html(find.shades):
        st.html(ends)
    _by_eye(card)
    if text := doubt(find.shades):
        st.caption(capital(text))
    _find_ways(find, i)


def _find_ways(find: Find, i: int) -> None:
    """Draw what can be said of a yarn in an open photograph: several shades, that it is known, or no yarn."""
    key = f"boxes-{find.photo}"
    if find.photo not in reads.held_photos():
        gone = tuple(f for f in work().extras.finds if f != find)
        st.button(say("Not a yarn"), key=f"out-{find.photo}-{i}", on_click=reads.put_finds, args=(gone,))
        return
    at = reads.finds_of(find.photo).index(find)
    one = len(find.shades) == 1
    with st.container(horizontal=True, gap="small"):
        press(
            say("It has several shades") if one else say("It has one shade"),
            f"dyes-{find.photo}-{i}",
            partial(reads.say_dyes, find.photo, at, 0 if one else 1),
            told=key,
        )
        press(say("Not a yarn"), f"out-{find.photo}-{i}", partial(reads.take_out, find.photo, at), told=key)
    if one:
        _known_field(find, at, f"known-{find.photo}-{i}")


def _known_field(find: Find, at: int, key: str) -> None:
    """Offer to say that this is a yarn whose shade is known already: then it tells the photograph's light."""
    current = work().blanket
    have = {y.shades[0].srgb: y.name for y in (current.yarns if current else ()) if len(y.shades) == 1}
    now = next((k.srgb for k in reads.how_of(find.photo).known if k.spot == reads.known_spot(find)), None)
    if now:
        have = {now: now, **have}
    if have:
        choice_field(
            say("This is my"),
            key,
            now or "",
            {"": say("not one whose shade I know"), **have},
            lambda srgb: try_(f"boxes-{find.photo}", lambda: reads.is_my(find.photo, at, srgb)),
        )


def _own_label(find: Find, key: str) -> None:
    """Draw the small label of one card, where labels are not all alike."""
    _class_field(
        say("Weight class of yarn {n}", n=find.letter),
        f"{key}-class",
        find.weight_class,
        lambda v: reads.change_find(find, weight_class=v),
    )
    with st.container(horizontal=True, gap="small"):
        _grams_metres(find, key, lambda **said: reads.change_find(find, **said))


def _class_field(label: str, key: str, value: int | None, put: Callable[[int | None], object]) -> None:
    choice_field(
        label,
        key,
        "" if value is None else str(value),
        {"": say("not known"), **{str(k): f"{k} {say(v)}" for k, v in WEIGHT_CLASSES.items()}},
        lambda v: put(int(v) if v else None),
    )


def _grams_metres(held: Any, key: str, put: Callable[..., object]) -> None:
    """Draw grams and metres of a label; half of it is no error, the other half is as usual until it stands there."""
    usual, show = _labelled(held).label, Quantities(units_now(), lang())
    weighs, measures = say("One skein weighs"), say("One skein measures")
    for label, mark, name, is_usual in (
        (weighs, "g", "grams", usual.mass_g),
        (measures, "m", "metres", usual.length_m),
    ):
        field_of(label, f"{key}-{mark}", held, name, put, hint=say("{n} is usual", n=figure(is_usual, 0, lang())))
    if held.grams is not None and held.metres is None:
        length = show.yarn(float(usual.length_m))
        st.caption(say("Until the metres stand here, the usual {length} is used.", length=length))
    elif held.metres is not None and held.grams is None:
        mass = show.mass(float(usual.mass_g))
        st.caption(say("Until the grams stand here, the usual {mass} is used.", mass=mass))


def _labelled(held: Any) -> Yarn:
    """Return a yarn of nothing but a label, so that what is missing of it is as usual."""
    return Yarn(
        name="-", shades=(Shade(lab=(50, 0, 0)),), grams=held.grams, metres=held.metres, weight_class=held.weight_class
    )


def _label_words(yarn: Yarn) -> str:
    """Return the label that a yarn is counted with, and whether it is her own or what is usual."""
    show = Quantities(units_now(), lang())
    mass, length = show.mass(float(yarn.label.mass_g)), show.yarn(float(yarn.label.length_m))
    if not yarn.label_is_usual:
        return say("{mass} = {length} a skein", mass=mass, length=length)
    weight = say(WEIGHT_CLASSES[yarn.usual_class])
    return say("usual for {weight}: {mass} = {length}; enter yours", weight=weight, mass=mass, length=length)


STEPS: tuple[tuple[str, str, dict[str, int]], ...] = (
    ("lighter", "lighter", {"lighter": 1}),
    ("darker", "darker", {"lighter": -1}),
    ("warmer", "warmer", {"warmer": 1}),
    ("cooler", "cooler", {"warmer": -1}),
    ("brighter", "brighter", {"brighter": 1}),
    ("greyer", "greyer", {"brighter": -1}),
)


def _by_eye(card: Card) -> None:
    """Draw each shade beside the photograph with steps by eye, its code, and its parts."""
    shades = card.shades

    def to(at: int, new: Shade) -> tuple[Shade, ...]:
        return tuple(new if i == at else s for i, s in enumerate(shades))

    if card.read and card.read != shades:
        _part(card, f"{card.key}-read", f"{card.key}-0-hex", say("Back to as read"), card.read)
    for at, shade in enumerate(shades):
        key = f"{card.key}-{at}"
        with st.container(key=f"eye-{key}"):
            st.html(beside(shade.srgb, shade_label(shade, shades), card.picture))
            with st.container(horizontal=True, gap="small", key=f"nudge-{key}"):
                for word, label, step in STEPS:
                    act = partial(card.put, to(at, nudge(shade, **step)))
                    press(say(label), f"{key}-{word}", act, told=f"{key}-hex")

        def typed_code(text: str, at: int = at, shade: Shade = shade) -> None:
            code = Shade.from_hex(text if text.strip().startswith("#") else f"#{text.strip()}")
            card.put(to(at, set_by_eye(shade, code.lab)))

        text_field(say("Colour code"), f"{key}-hex", shade.srgb, typed_code)
        with st.container(horizontal=True, gap="small"):
            _part(card, f"{key}-split", f"{key}-hex", say("Split in two shades"), split_part(shades, at))
            if len(shades) > 1:
                _part(card, f"{key}-drop", f"{key}-hex", say("Drop this shade"), drop_part(shades, at))
            if at:
                above = (*range(at - 1), at, at - 1, *range(at + 1, len(shades)))
                _part(card, f"{key}-up", f"{key}-hex", say("Move up"), reorder_parts(shades, above))
                merged = merge_parts(shades, at - 1, at)
                _part(card, f"{key}-merge", f"{key}-hex", say("Merge with the one above"), merged)


def _part(card: Card, key: str, told: str, label: str, shades: tuple[Shade, ...]) -> None:
    press(label, key, partial(card.put, shades), told=told)


def _empty_card(i: int) -> None:
    """Draw a card that waits for a colour chosen by eye."""

    def take() -> None:
        shade = replace(Shade.from_hex(str(typed(f"wheel-{i}"))), kind="eye")
        find = Find(photo="", box=(0, 0, 1, 1), shades=(shade,), by_hand=True)
        reads.put_finds((*work().extras.finds, find))

    # An empty card is grey again after each choice.
    put_typed(f"wheel-{i}", "#b7aea6")
    st.color_picker(say("Shade {n}, by eye", n=i + 1), key=f"wheel-{i}", on_change=take)
    st.caption(say("Press the patch and choose a shade; leave what you do not need."))


# ---- the first blanket: one label for all, how large, draw


def _look_over() -> None:
    """Draw what stands beside the photographs: the yarns to look over, and all that the first blanket asks."""
    extras = work().extras
    finds, groups = extras.finds, _groups()
    n = sum(len(group.finds) if group.apart else 1 for group in groups)
    if session().waiting:
        _waiting_line()
    title = say("One yarn. Look it over.") if n == 1 else say("{n} yarns. Look each one over.", n=n)
    st.html(line_html("h2", title if n else say("Your yarn")))
    if finds and session().photos:
        st.caption(say("One missed? Touch it in the photograph. One too many? Press its word, then Not a yarn."))
    away = [f for f in finds if f.photo and f.photo not in reads.held_photos()]
    if away:
        st.caption(say("Read earlier; add the photograph again to move its boxes."))
    _find_cards(finds)
    # Each name that comes more than once is asked about.
    for group in groups:
        if len(group.readings) > 1:
            _ask_same(group)
    current = blanket()
    if finds:
        _label_for_all(n)
        if current is None or extras.demo:
            _how_large()
        with st.container(key="draw-bar", horizontal=True):
            if current is None or extras.demo:
                st.button(say("Draw my blanket"), key="take-fresh", type="primary", on_click=_draw)
            if current is not None:
                press(
                    say("Add these {n} to the blanket in hand", n=n),
                    "take-more",
                    partial(reads.take_finds, False),
                    told="take",
                    type="secondary" if extras.demo else "primary",
                )
        refused("take")
    if any(_near_white(shade) for find in finds for shade in find.shades):
        # Said once here, and not of each reading.
        st.caption(capital(WHITE_ON_WHITE.say(*spoken())) + ".")
    if not finds and not session().photos:
        photo_doors(first=False)
    _typed_fold()
    _read_next()


def _near_white(shade: Shade) -> bool:
    """Return whether a shade is so light and grey that paper could be taken for it (chosen)."""
    light, a, b = shade.lab
    return light > 80 and hypot(a, b) < 12


def _draw() -> None:
    """Draw her blanket as large as she wished, a throw where she did not say, and show it."""
    try_("take", lambda: reads.take_finds(True))
    if "take" in session().bad:
        return
    session().place, session().by_eye = "stripes", False
    made = plan()
    if made is None:
        return
    session().drawn += 1
    tell(
        note(
            "Your blanket, drawn in its softest fade: {n} stripes. The first row is at the bottom.", n=len(made.stripes)
        )
    )
    design, show = made.blanket.design, Quantities(units_now(), lang())
    if design.width_cm is not None and design.length_cm is not None:
        tell(
            note(
                "{wide} by {long} was wished for: {n} whole repeats come to {width}, whole rows to {height}.",
                wide=show.size(design.width_cm),
                long=show.size(design.length_cm),
                n=made.worked.ripple.repeats,
                width=show.size(made.size.width_cm),
                height=show.size(made.size.height_cm),
            )
        )


WEIGHTS = {"2": "fine 2, sport", "3": "light 3, DK", "4": "medium 4, worsted or aran", "5": "bulky 5, chunky"}


def _pick(key: str, label: str, value: str, options: Mapping[str, str], apply: Callable[[str], object]) -> None:
    """Draw a choice of which none need be taken; pressed again, one that was taken is let go."""
    shown = value if value in options else None
    fill(key, shown)
    st.pills(
        label,
        list(options),
        format_func=lambda v: options[v],
        key=key,
        on_change=lambda: try_(key, lambda: apply(typed(key, ""))),
        label_visibility="collapsed",
    )
    refused(key)


def _wish(**changes: object) -> None:
    extras = work().extras
    commit(work().with_extras(first=replace(extras.first, **changes)))  # type: ignore[arg-type]


def _label_for_all(n: int) -> None:
    """Draw the one label: a weight alone gives the usual length, told as assumed; or yarns that are not all alike."""
    first, uk = work().extras.first, _uk()
    with st.container(key="label-paper"):
        if uk:
            title = say("One ball band for all {n}", n=n) if n > 1 else say("Its ball band")
        else:
            title = say("One label for all {n}", n=n) if n > 1 else say("Its label")
        st.html(line_html("h3", title))
        other = first.weight_class is not None and str(first.weight_class) not in WEIGHTS
        value = "each" if not first.alike else "more" if other else str(first.weight_class or "")
        options = {k: say(v) for k, v in WEIGHTS.items()} | {"more": say("another weight")}
        if n > 1:
            options["each"] = say("not all alike")

        def take(v: str) -> None:
            if v == "each":
                _wish(alike=False)
            elif v == "more":
                _wish(alike=True, weight_class=6)
            else:
                _wish(alike=True, weight_class=int(v) if v else None)

        _pick("label-weight", say("Weight of the yarn"), value, options, take)
        if not first.alike:
            st.caption(say("Each card above has a label of its own now."))
            return
        if other:
            _class_field(say("Weight class"), "label-class", first.weight_class, lambda v: _wish(weight_class=v))
        st.button(_label_words(_labelled(first)), key="label-own", on_click=turn, args=("label-own",), type="tertiary")
        if "label-own" in session().open or first.grams is not None or first.metres is not None:
            with st.container(horizontal=True, gap="small", key="label-numbers"):
                _grams_metres(first, "label", _wish)


def _uk() -> bool:
    current = blanket()
    return current is not None and current.ways.terms == "UK"


USUAL_SIZES = ("baby", "lap", "throw", "twin")


def _how_large() -> None:
    """Draw the usual sizes and two numbers; a size or a use for a baby brings its caution right there."""
    first = work().extras.first
    show = Quantities(units_now(), lang())
    names = {
        "baby": say("baby"),
        "lap": say("lap"),
        "throw": say("throw"),
        "twin": say("single bed") if _uk() else say("twin bed"),
    }
    options = {}
    for name in USUAL_SIZES:
        wide, long = size_cm(name)
        options[name] = f"{names[name]} {show.size(wide).split()[0]} × {show.size(long)}"
    options["own"] = say("my own size")

    def take(v: str) -> None:
        if v in USUAL_SIZES:
            wide, long = size_cm(v)
            _wish(size=v, width_cm=wide, length_cm=long, for_baby=v in BABY_SIZES)
        else:
            _wish(size=v)

    with st.container(key="how-large"):
        st.html(line_html("h3", say("How large?")))
        _pick("first-size", say("How large?"), first.size, options, take)
        if not first.size:
            st.html(line_html("p", say("a throw, until you choose"), "yp-assumed"))
        if first.size == "own":
            with st.container(horizontal=True, gap="small"):
                for side, label in (("width_cm", say("Wide")), ("length_cm", say("Long"))):
                    field_of(label, f"first-{side}", first, side, _wish)
        field_of(say("It is for a baby"), "first-baby", first, "for_baby", _wish)
        said = cautions(
            Ripple(),
            for_baby=first.for_baby,
            size_cm=(first.width_cm, first.length_cm) if first.width_cm and first.length_cm else None,
        )
        # What holds for every blanket is said where it is made.
        for notice in said[: len(said) - len(cautions(Ripple()))]:
            st.html(told_html(notice.say(*spoken()), "!"))


# ---- finds of one name


# What becomes of readings of one yarn, by `SameYarn.outcome`.
OUTCOMES = {
    "mean": "As one yarn they are averaged, the surer counting more.",
    "apart": "That is too far to be averaged: as one yarn the surest is kept, and doubted. They may be two yarns.",
    "unlike": "They show different numbers of shades, which cannot be averaged: as one yarn the surest is kept.",
    "by-eye": "As one yarn, what you set by eye is kept.",
}


def _groups() -> list[reads.Group]:
    """Return the finds by name, beside the yarns of her blanket."""
    now = work()
    return reads.groups_of(None if now.extras.demo else now.blanket)


def _ask_same(group: reads.Group) -> None:
    n, name = len(group.readings), inert(group.name)
    if group.own is not None:
        question = say("{name} is in the blanket already: the same yarn seen again, or another one?", name=name)
        options = {"one": say("The same yarn"), "apart": say("Another yarn")}
    elif n == 2:
        question = say("Two are called {name}: one yarn seen twice, or two yarns?", name=name)
        options = {"one": say("One yarn"), "apart": say("Two yarns")}
    else:
        question = say("{n} are called {name}: one yarn seen {n} times, or {n} yarns?", n=n, name=name)
        options = {"one": say("One yarn"), "apart": say("{n} yarns", n=n)}
    kept, same = session().apart, group.same
    seen = [
        patch(Yarn(name=group.name, shades=shades).srgb, sure_words(shades), i, picture)
        for i, (shades, picture) in enumerate(zip(group.readings, group.pictures, strict=True), 1)
    ]
    with st.container(border=True, key=f"same-{len(group.finds)}-{group.finds[0].photo}-{group.finds[0].box[0]}"):
        choice_field(
            question,
            f"same-{group.key}",
            "apart" if group.apart else "one",
            options,
            lambda v: kept.add(group.key) if v == "apart" else kept.discard(group.key),
            buttons=True,
        )
        if not group.apart:
            made = Yarn(name=group.name, shades=same.shades)
            seen.append(patch(made.srgb, say("as one yarn") + ": " + sure_words(made.shades), "="))
        st.html('<ul class="bp-patches">' + "".join(f"<li>{p}</li>" for p in seen) + "</ul>")
        gap = say("They lie {de} apart (CIEDE2000; about 2 can just be seen).", de=rounded(same.apart, 1))
        st.caption(gap + " " + say(OUTCOMES[same.outcome]))


# ---- yarn typed, or from a palette


def _typed_fold() -> None:
    folded(say("By name and colour code, or from a palette file"), "add-typed", _typed_yarns)


def _typed_yarns() -> None:
    columns = st.columns(3, vertical_alignment="bottom")
    with columns[0]:
        st.text_input(say("Name"), key="typed-name", placeholder=say("as on its label"))
    with columns[1]:
        st.text_input(say("Colour"), key="typed-colour", placeholder="#b35c37")
    with columns[2]:
        press(say("Add this yarn"), "typed-add", _add_typed, told="typed")
    refused("typed")
    file_field(say("Palette file (CSV with name and srgb)"), "palette-file", "csv", 2, _take_palette)


def _add_typed() -> None:
    name, colour = typed("typed-name", ""), typed("typed-colour", "").strip()
    shade = Shade.from_hex(colour if colour.startswith("#") else f"#{colour}")
    current = blanket()
    taken = {y.name for y in current.yarns} if current else set()
    yarn = Yarn(name=name.strip() or reads.free_name("", taken), shades=(shade,))
    _take_yarns((yarn,))
    put_typed("typed-name", "")
    put_typed("typed-colour", "")


def _take_yarns(yarns: tuple[Yarn, ...]) -> None:
    if work().blanket is None:
        new = Blanket(
            title=say("My blanket"),
            materials=Materials(yarns=yarns),
            design=Design(order=tuple(y.key for y in yarns)),
        )
        commit(Workspace(blanket=new, extras=replace(work().extras, demo=False)))
        return

    def all_of(b: Blanket) -> Blanket:
        for yarn in yarns:
            b = add_yarn(b, yarn)
        return b

    change(all_of)


def _take_palette(data: bytes, name: str) -> None:
    from blendplan.palette import read_palette

    _take_yarns(read_palette(data, name).yarns)


# ---- the yarns of the blanket


def yarn_place() -> None:
    """Draw the place of the yarns."""
    current = blanket()
    if current is None or reads.at_photographs() or session().waiting or session().by_eye:
        _look_over()
        return
    _pick(
        "yarn-view",
        say("Yarn"),
        "pair" if session().yarn_view == "pair" or len(session().pair) == 2 else "cards",
        {"cards": say("Photographs"), "pair": say("Two together")},
        _turn_to,
    )
    if session().yarn_view == "pair" or len(session().pair) == 2:
        _two_together(current)
        return
    _one_yarn(current)
    if len(current.yarns) > 1:
        label = say("One ball band for all") if _uk() else say("One label for all")
        folded(label, "label-all-fold", _relabel_all, current)
    photo_doors(first=False)
    _typed_fold()


def _turn_to(view: str) -> None:
    state = session()
    state.yarn_view = "pair" if view == "pair" else "cards"
    if state.yarn_view == "cards":
        state.pair = state.pair[:1]


def _look_at(key: str) -> None:
    session().pair = (key,)


def _one_yarn(current: Blanket) -> None:
    """Draw one yarn at a time: its shade mended by eye, its label, what is on hand."""
    keys = [y.key for y in current.yarns]
    sign = signs_of(current)
    chosen = next((key for key in session().pair if key in keys), keys[0])
    yarn, place = current.yarn(chosen), keys.index(chosen)
    with st.container(key="yarn-card"):
        choice_field(
            say("Yarn to look at"),
            "yarn-field",
            chosen,
            {y.key: f"{sign[y.name]}  {y.name}" for y in current.yarns},
            _look_at,
        )
        crop = work().crop_of(yarn.key)
        card = Card(
            key=f"y{place}",
            shades=yarn.shades,
            picture=crop.picture if crop else "",
            put=lambda shades: put_yarn(yarn.key)(shades=shades),
            read=crop.read if crop else (),
        )
        left, right = st.columns([9, 11])
        with left:
            st.html(
                f'<p class="yp-sure">{chip_html(sign[yarn.name], yarn.srgb)} '
                f"<b>{html.escape(sure_words(yarn.shades))}</b></p>"
            )
            _by_eye(card)
            # Below what is compared: it goes with the first step, and nothing above may move then.
            if ends := _ends_html(yarn.shades):
                st.html(ends)
            folded(say("why?"), f"why-y{place}", _doubts, yarn.shades)
        with right:
            field_of(say("Name"), f"y{place}-name", yarn, "name", put_yarn(yarn.key))
            _label(yarn, place)
        with st.container(horizontal=True):
            press(say("Remove this yarn"), f"y{place}-drop", lambda: change(lambda b: drop_yarn(b, yarn.key)))
        refused(f"y{place}-drop")


def _label(yarn: Yarn, place: int) -> None:
    """Draw the fields of the label and of what lies there; each field shows what is held."""
    key = yarn.key

    put = put_yarn(key)
    with st.container(horizontal=True, gap="small"):
        _grams_metres(yarn, f"y{place}", put)
    if yarn.label_is_usual:
        st.html(line_html("p", _label_words(yarn), "yp-assumed"))
    # The next empty lot is drawn too, so that a first or a further one can be typed.
    for at, lot in enumerate((*yarn.lots, Lot()) if len(yarn.lots) < MAX_LOTS else yarn.lots):
        if at and at == len(yarn.lots) and not st.toggle(say("One more dye lot"), key=f"y{place}-more-lots"):
            break
        _lot(yarn, place, at, lot)
    field_of(say("Price of a skein"), f"y{place}-price", yarn, "price", put)
    _class_field(say("Weight class"), f"y{place}-class", yarn.weight_class, lambda v: put(weight_class=v))
    field_of(say("Fibre"), f"y{place}-fibre", yarn, "fibre", put)


def _relabel_all(current: Blanket) -> None:
    """Draw one label for all yarns: a field is empty where they differ, and what is typed goes to each of them."""

    def put(**fields: object) -> None:
        change(lambda b: label_all(b, **fields))

    def alike(field: str) -> Any:
        values = {getattr(yarn, field) for yarn in current.yarns}
        return values.pop() if len(values) == 1 else None

    _class_field(say("Weight class"), "all-class", alike("weight_class"), lambda v: put(weight_class=v))
    alike_now = Yarn(name="-", shades=current.yarns[0].shades, **{n: alike(n) for n in ("grams", "metres", "price")})
    for name, label in (
        ("grams", say("One skein weighs")),
        ("metres", say("One skein measures")),
        ("price", say("Price of a skein")),
    ):
        field_of(label, f"all-{name}", alike_now, name, put)


def _lot(yarn: Yarn, place: int, at: int, lot: Lot) -> None:
    """Draw what lies there of one dye lot."""
    key, mark = yarn.key, f"y{place}" if not at else f"y{place}-{at}"

    def put(**fields: object) -> None:
        def edited(b: Blanket) -> Blanket:
            lots = list(b.yarn(key).lots)
            lots[at : at + 1] = [replace(lots[at] if at < len(lots) else Lot(), **fields)]  # type: ignore[arg-type]
            # A lot with nothing in it is none.
            return change_yarn(b, key, lots=tuple(one for one in lots if one != Lot()))

        change(edited)

    with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        field_of(say("Whole skeins on hand"), f"{mark}-skeins", lot, "skeins", put)
        field_of(say("Dye lot"), f"{mark}-lot", lot, "name", put)
        text_field(
            say("Opened balls, weighed (g), like 34 + 12.5"),
            f"{mark}-parts",
            " + ".join(figure(g, 2, lang()) for g in lot.parts_g),
            lambda t: put(parts_g=_parts(t)),
        )


def _parts(text: str) -> tuple[Fraction, ...]:
    """Return weighed rests typed with plus signs, semicolons or blanks between; a comma is a decimal sign."""
    parts = text.replace("+", " ").replace(";", " ").split()
    if len(parts) > 40:
        raise YarnError("{given} weighed rests were given; allowed are 40; add the small ones up.", given=len(parts))
    return tuple(exact(p, say("weighed rest")) for p in parts)


# ---- two held together


def press_yarn(key: str) -> None:
    """Take a press on a skein of the shelf: a second one is put beside the first, one that is chosen is let go."""
    state = session()
    state.pair = tuple(k for k in state.pair if k != key) if key in state.pair else (*state.pair, key)[-2:]
    state.place = "yarn"
    state.yarn_view = "pair" if len(state.pair) == 2 else "cards"


def _two_together(current: Blanket) -> None:
    """Draw two yarns as worked fabric, from hand to far, the first with each other, and where it may go."""
    # The first yarns stand in for what was not pressed, so that something is drawn at once.
    keys = [yarn.key for yarn in current.yarns]
    chosen = [key for key in session().pair if key in keys]
    pair = (*chosen, *(key for key in keys if key not in chosen))[:2]
    st.caption(say("Press two skeins to see them held together; press one again to let it go."))
    if len(pair) < 2:
        _more_of_pairs(current)
        return
    one, two = (current.yarn(key) for key in pair)
    title = say("{a} with {b}", a=one.name, b=two.name)
    st.html(line_html("h2", title))
    blend = mix_yarns([one, two], viewing=current.viewing)
    labs = (one.lab, two.lab)
    near, beside_ = st.columns([29, 30])
    with near:
        picture = pair_address(labs, blend.shares, 0.0, "fabric")
        st.html(
            f'<img class="yp-fabric" alt="{html.escape(title, quote=True)}" src="{picture}" '
            f'style="background:{blend.srgb}">'
        )
    with beside_:
        ends = "" if blend.within is None else _ends_html((Shade(lab=blend.lab, within=blend.within),))
        st.html(line_html("p", _pair_words(current, one, two)) + ends)
        _put_between(current, one, two)
    walk = ""
    for at, name in enumerate(SEEN_WORDS):
        picture = pair_address(labs, blend.shares, PLACES[name], "round")
        walk += (
            f'<figure style="--at:{at}"><img alt="" src="{picture}">'
            f"{line_html('figcaption', say(SEEN_WORDS[name]))}</figure>"
        )
    st.html(f'<div class="yp-walk">{walk}</div>')
    _first_with_each(current, one, two)
    _more_of_pairs(current)


def _pair_words(current: Blanket, one: Yarn, two: Yarn) -> str:
    """Return how the two read in the hand and from where the blanket is judged."""
    words: dict[str, list[str]] = {}
    for metres, place in (
        (PLACES["hand"], say("In the hand")),
        (current.design.seen_from_m, say("from where you look")),
    ):
        found = mix_yarns([one, two], viewing=replace(current.viewing, from_m=metres))
        words.setdefault(say(READS[found.reads_as]), []).append(place)
    return " ".join(f"{', '.join(where)}: {what}." for what, where in words.items())


def _gaps(plan: Plan, lab: Sequence[float]) -> list[tuple[float, int]]:
    """Return how much a colour differs from both its neighbours in each gap, the gap after the stripe of a number."""
    seen = [float(delta_e_2000(lab, s.blend.lab)) for s in plan.stripes]
    return [(one + two, n) for n, (one, two) in enumerate(pairwise(seen), 1)]


def _put_between(current: Blanket, one: Yarn, two: Yarn) -> None:
    """Offer to put the pair where it differs least from its neighbours, or where she pressed a gap; with its cost."""
    try:
        made = plan_of(current)
    except BlendplanError:
        return
    blend = mix_yarns([one, two], viewing=current.viewing)
    gaps = _gaps(made, blend.lab)
    pressed = session().gap
    after = pressed if pressed is not None else min(gaps)[1] if gaps else len(made.stripes)
    blends = sorted(s.stripe.rows for s in made.stripes if not s.stripe.solid)
    rows = blends[len(blends) // 2] if blends else max(1, current.design.blend_rows)
    last = len(made.stripes)
    if 0 < after < last:
        label = say("Put between stripes {one} and {two}", one=after, two=after + 1)
    else:
        label = say("Put on top") if after >= last else say("Put at the bottom")

    def put(b: Blanket) -> Blanket:
        return change_stripes(b, lambda t: edit.add(t, after, Stripe(strands=(one.key, two.key), rows=rows)))

    def put_in() -> None:
        try_("pair-put", lambda: change(put))
        if "pair-put" not in session().bad:
            session().gap, session().place = None, "stripes"
            tell(note("{a} with {b} is in, after stripe {n}.", a=one.name, b=two.name, n=after))

    st.button(label, key="pair-put", type="primary", on_click=put_in)
    refused("pair-put")
    try:
        tried = plan_of(put(current))
    except BlendplanError:
        return
    before, then = ({c.name: c for c in to_buy(p).colours} for p in (made, tried))
    needs = then[one.name].need_m - (before[one.name].need_m if one.name in before else 0.0)
    lines = [
        say(
            "{rows} rows need {length} of each.",
            rows=rows,
            length=Quantities(current.ways.units, lang()).yarn(needs),
        )
    ]
    for name in (one.name, two.name):
        more = (then[name].buy_skeins or 0) - ((before[name].buy_skeins or 0) if name in before else 0)
        if more > 0:
            lines.append(
                say("One skein more of {name}.", name=name)
                if more == 1
                else say("{n} skeins more of {name}.", n=more, name=name)
            )
    st.caption(" ".join([say("Or press another gap in the picture."), *lines]))


def _first_with_each(current: Blanket, one: Yarn, two: Yarn) -> None:
    """Draw the first yarn with each other one, to be pressed."""
    others = [y for y in current.yarns if y.key != one.key][:MOST_CARDS]
    with st.container(key="pair-row"):
        for other in others:
            with st.container(key=f"pair-{'here' if other.key == two.key else 'with'}-{current.yarns.index(other)}"):
                shares = mix_yarns([one, other], viewing=current.viewing).shares
                picture = pair_address((one.lab, other.lab), shares, 0.0, "small")
                st.html(f'<img class="yp-fabric" alt="" src="{picture}">')
                st.button(
                    say("with {name}", name=inert(other.name)),
                    key=f"pair-to-{current.yarns.index(other)}",
                    on_click=_pair_with,
                    args=((one.key, other.key),),
                    type="tertiary",
                )


def _pair_with(pair: tuple[str, str]) -> None:
    session().pair, session().gap = pair, None


def _more_of_pairs(current: Blanket) -> None:
    """Draw what a wanted colour is nearest to, and what her own swatches tell."""
    folded(say("Match a colour"), "match-fold", _match, current)
    folded(say("Your own swatches"), "swatches-fold", _swatches, current)


def _match(current: Blanket) -> None:
    """Draw a field for a wanted colour, and the solids and blends of her yarns that come nearest."""
    st.text_input(say("Colour to match, such as of a cushion"), key="match", placeholder="#b35c37")
    colour = str(typed("match", "")).strip()
    if not colour:
        return
    wanted = Shade.from_hex(colour if colour.startswith("#") else f"#{colour}")
    items = [f"<li>{patch(wanted.srgb, say('wanted'))}</li>"]
    for found in nearest_blends(wanted.lab, current.yarns, viewing=current.viewing, count=5):
        names = " + ".join(dict.fromkeys(found.strands))
        away = say("{names}: {d} away", names=names, d=figure(found.difference, 1, lang()))
        items.append(f"<li>{patch(found.blend.srgb, away)}</li>")
    st.html(f'<ul class="bp-patches">{"".join(items)}</ul>')


def _swatches(current: Blanket) -> None:
    """Draw what the kept swatches say of how two strands look together; the plan goes by it."""
    if not current.materials.swatches:
        st.caption(
            say(
                "Crochet a small swatch of two strands, lay it beside them on white paper and photograph all three: "
                "the blends are then fitted to your own hands."
            )
        )
        return
    found = fit_swatches(current.materials.swatches)
    for name, shares in zip(found.used, found.shares, strict=True):
        parts = " : ".join(f"{100 * s:.0f}" for s in shares)
        st.text(say("{name}: the strands show {parts} of 100.", name=name, parts=parts))
    st.text(
        say(
            "A strand gets {best} of its light from the others (likely {low} to {high}); blends are planned with it.",
            best=figure(found.lent, 2, lang()),
            low=figure(found.low, 2, lang()),
            high=figure(found.high, 2, lang()),
        )
    )
    for notice in found.notices:
        st.html(told_html(notice.say(*spoken())))
    press(
        say("Forget the last swatch"),
        "swatch-drop",
        lambda: change(lambda b: change_materials(b, swatches=b.materials.swatches[:-1])),
        told="swatch",
    )
    refused("swatch")
