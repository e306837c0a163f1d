"""Our components: the picture, the shelf, a photograph and its door, a line on a picture, a list put in order.

All use the component mount that ships with the page library, with a script of our own from this package:
no further dependency, nothing loaded from outside, and all work by keyboard and by touch.
The library's chart selection would hold one box at a time and cannot be worked by keys.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from blendplan.page.fields import text_on
from blendplan.page.state import mount, say, typed

__all__ = ["Stage", "order_list", "photo_door", "photo_line", "photo_stage", "picture_part", "shelf_part"]

# A list longer than this scrolls in its own box, so that what is below it stays near.
MANY = 12
PHOTOS = '<div class="ph"></div>'


def _heard(key: str, field: str, act: Callable[[Any], object] | None) -> Callable[[], None]:
    """Return the callback of a component that hands on what it was sent under a name."""

    def heard() -> None:
        got = typed(key, {}).get(field)
        if got is not None and act is not None:
            act(got)

    return heard


def picture_part(data: Mapping[str, object], on_hand: Callable[[dict[str, Any]], object]) -> None:
    """Draw the picture that is the control; `on_hand` gets what a hand did to it, numbered."""
    mount("picture", '<div class="picture"></div>', "marks")(
        key="picture", data=dict(data), on_hand_change=_heard("picture", "hand", on_hand)
    )


def shelf_part(data: Mapping[str, object], on_press: Callable[[dict[str, Any]], object]) -> None:
    """Draw the sum line and the shelf; `on_press` gets the yarn that was pressed, or the place to go to."""
    mount("shelf", '<div class="shelf"></div>', "marks")(
        key="shelf", data=dict(data), on_press_change=_heard("shelf", "press", on_press)
    )


def photo_door(key: str, field: str, *, first: bool, words: Mapping[str, str], room: int, most_bytes: int) -> None:
    """Draw the buttons that open the file list or the camera of a hidden file field, given by its key.

    `words` holds `start`, `camera`, `have`, and `large` and `many` for what is refused before it is sent; `room` is how
    many photographs may still come.
    """
    mount("photos", PHOTOS)(
        key=key,
        data={
            "door": {
                "field": field,
                "first": first,
                "accept": "image/*,.heic,.heif,.tif,.tiff,.mpo",
                "room": room,
                "bytes": most_bytes,
                "words": dict(words),
            }
        },
    )


def scroll_up(to: str) -> None:
    """Bring the top of the page into sight whenever what stands there has changed."""
    mount("photos", PHOTOS)(key="scroll-up", data={"up": to})


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """A photograph with its yarns as it is drawn; all places are pixels of it upright and at its full size.

    `boxes` hold `box`, `label`, `tag`, `srgb`, `outline` (polygons) and `touched` (it has no box of its own); `white`
    holds `box`, `label` and `asked`. `card` are the corners of the colour card in use, `free` a place for a new box,
    `taps` what is to be tapped, one sentence a tap. `cards` begins the keys of the yarns' own cards, their number
    behind it: a press on a yarn brings its card into view.
    """

    image: str
    full: tuple[int, int]
    boxes: Sequence[Mapping[str, object]]
    white: Sequence[Mapping[str, object]]
    card: Sequence[Sequence[float]] | None
    free: Sequence[int]
    taps: Sequence[str]
    cards: str
    alt: str


def photo_stage(
    key: str,
    shown: Stage,
    *,
    on_boxes: Callable[[list[tuple[list[int], int | None]]], object],
    on_touch: Callable[[tuple[int, int]], object],
    on_taps: Callable[[list[list[int]]], object],
) -> None:
    """Draw a photograph with its yarns.

    Called before the next run: `on_boxes` with all boxes, each with its place before (None for a new one), `on_touch`
    with the spot touched, `on_taps` with the spots tapped.
    """
    mount("photos", PHOTOS)(
        key=key,
        data={
            **{f.name: getattr(shown, f.name) for f in fields(shown)},
            "words": {
                "photo": shown.alt,
                "card": say("colour card"),
                "keys": say("Arrow keys move, Shift and arrow keys size, Delete takes out."),
                "tabs": say("By keys: Tab goes to each yarn, Enter to its card."),
                "add": say("Add a yarn"),
                "added": say("A new box stands where there is most room: move it onto your yarn; Enter reads it."),
                "draw": say("Draw with the finger"),
                "remove": say("Not a yarn"),
                "removed": say("Taken out."),
                "cross": say("Arrow keys move the cross, with Alt in small steps; Enter takes the spot."),
                "back": say("Take the last corner back"),
            },
        },
        on_boxes_change=_heard(key, "boxes", on_boxes),
        on_touch_change=_heard(key, "touch", lambda spot: on_touch((int(spot[0]), int(spot[1])))),
        on_taps_change=_heard(key, "taps", on_taps),
    )


def order_list(
    key: str, items: Sequence[tuple[str, str]], *, label: str, on_order: Callable[[list[int]], object]
) -> None:
    """Draw a list of names and their colours, put in order by dragging, by buttons, or by Alt and arrow keys.

    The first stands at the bottom. `on_order` gets the old places in their new order; a missing place was removed.
    """
    mount("order", '<ol></ol><p class="live" role="status"></p>', "marks")(
        key=key,
        data={
            "items": [{"name": name, "srgb": srgb, "ink": text_on(srgb)} for name, srgb in items],
            "long": len(items) > MANY,
            "words": {
                "list": label,
                "up": say("Move {name} up, now number {n}", name="{name}", n="{n}"),
                "down": say("Move {name} down, now number {n}", name="{name}", n="{n}"),
                "remove": say("Take {name} out of the order, now number {n}", name="{name}", n="{n}"),
                "moved": say("{name} is now number {place} of {all}", name="{name}", place="{place}", all="{all}"),
                "removed": say("{name} was taken out of the order", name="{name}"),
            },
        },
        on_order_change=_heard(key, "order", on_order),
    )


def photo_line(
    key: str,
    image: str,
    full: tuple[int, int],
    line: Sequence[int],
    *,
    alt: str,
    on_line: Callable[[list[int]], object],
) -> None:
    """Draw a picture with a line on it, drawn anew by a pointer, its ends moved by pointer or keys.

    Parameters
    ----------
    key : str
    image : str
        A data address.
    full : (int, int)
        Width and height of the upright photo at full size, the line's pixels.
    line : four int
        Start and end: x, y, x, y.
    alt : str
    on_line : callable
        Gets the line.
    """
    mount("line", '<div class="ln"></div>')(
        key=key,
        data={
            "image": image,
            "full": list(full),
            "line": list(line),
            "words": {
                "photo": alt,
                "start": say("Start of the line, {x} from the left, {y} from the top.", x="{x}", y="{y}"),
                "end": say("End of the line, {x} from the left, {y} from the top.", x="{x}", y="{y}"),
                "startSign": "1",
                "endSign": "2",
                "keys": say("Arrow keys move it, with Alt in small steps."),
            },
        },
        on_line_change=_heard(key, "line", on_line),
    )
