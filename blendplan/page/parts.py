"""Three small components: boxes on a photo, a line on a picture, and a list put in order by dragging or by keys.

All use the component mount that ships with the page library, with a script of our own from this package:
no further dependency, nothing loaded from outside, and all work by keyboard and by touch.
The library's chart selection would hold one box at a time and cannot be worked by keys.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import streamlit as st

from blendplan.page.show import text_on
from blendplan.page.state import say

__all__ = ["Item", "order_list", "photo_boxes", "photo_line"]

# A list longer than this scrolls in its own box, so that what is below it stays near.
MANY = 12


@cache
def _mount(name: str, body: str) -> Any:
    folder = Path(__file__).parent / "assets"
    return st.components.v2.component(
        f"blendplan_{name}",
        html=body,
        css=(folder / f"{name}.css").read_text(encoding="utf-8"),
        js=(folder / f"{name}.js").read_text(encoding="utf-8"),
    )


def _heard(key: str, field: str, act: Callable[[Any], object] | None) -> Callable[[], None]:
    """Return the callback of a component that hands on what it was sent under a name."""

    def heard() -> None:
        got = st.session_state[key].get(field)
        if got is not None and act is not None:
            act(got)

    return heard


def photo_boxes(
    key: str,
    image: str,
    full: tuple[int, int],
    boxes: Sequence[Mapping[str, object]],
    *,
    white: Sequence[int] | None,
    card: Sequence[Sequence[float]] | None,
    free: Sequence[int],
    taps: Sequence[str],
    alt: str,
    on_boxes: Callable[[list[tuple[list[int], int | None]]], object],
    on_taps: Callable[[list[list[int]]], object],
) -> None:
    """Draw a photo with its boxes.

    Parameters
    ----------
    key : str
    image : str
        A data address of the working picture.
    full : (int, int)
        Width and height of the upright photo at full size, the boxes' pixels.
    boxes : sequence of mapping with `box`, `label`, `tag`
    white : box or None
    card : four (x, y) or None
        Corners of the colour card in use.
    free : box
        Where a new box is put.
    taps : sequence of str
        What is to be tapped, one sentence for each tap; empty while boxes are worked on.
    alt : str
    on_boxes, on_taps : callables
        Called before the next run with all boxes, each with its place before (None for a new one); or with
        the spots tapped, as many as `taps`.
    """
    _mount("boxes", '<div class="bx"></div>')(
        key=key,
        data={
            "image": image,
            "full": list(full),
            "boxes": [dict(b) for b in boxes],
            "white": list(white) if white is not None else None,
            "card": [list(corner) for corner in card] if card is not None else None,
            "free": list(free),
            "taps": list(taps),
            "words": {
                "photo": alt,
                "white": say("white"),
                "card": say("colour card"),
                "keys": say("Arrow keys move, Shift and arrow keys size, Delete removes."),
                "hint": say("Press a box to choose it; drag it to move it, its lower right corner to size it."),
                "tabs": say("By keys: Tab goes to a box."),
                "add": say("Add a box"),
                "added": say("A new box stands where there is most room: move it onto your yarn."),
                "draw": say("Draw with the finger"),
                "remove": say("Remove this box"),
                "removed": say("Box removed."),
                "cross": say("Arrow keys move the cross, with Alt in small steps; Enter takes the spot."),
                "back": say("Take the last corner back"),
            },
        },
        on_boxes_change=_heard(key, "boxes", on_boxes),
        on_taps_change=_heard(key, "taps", on_taps),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A line of the list: its name, its colour, and whether it has to stay where it is."""

    name: str
    srgb: str
    locked: bool = False


def order_list(
    key: str,
    items: Sequence[Item],
    *,
    label: str,
    on_order: Callable[[list[int]], object],
    on_pick: Callable[[int], object] | None = None,
    chosen: int | None = None,
) -> None:
    """Draw a list that is put in order by dragging, by buttons, or by Alt and arrow keys.

    Parameters
    ----------
    key : str
    items : sequence of Item
    label : str
    on_order : callable
        Gets the old places in their new order; a missing place was removed. A locked item may stand anywhere in
        it; it is for the callable to leave it where it was.
    on_pick : callable, optional
        Gets the place of a name that was pressed; without it names cannot be pressed.
    chosen : int, optional
        Place of the name that is marked as pressed.
    """
    _mount("order", '<ol></ol><p class="live" role="status"></p>')(
        key=key,
        data={
            "items": [{"name": i.name, "srgb": i.srgb, "ink": text_on(i.srgb), "locked": i.locked} for i in items],
            "long": len(items) > MANY,
            "chosen": chosen,
            "words": {
                "list": label,
                "up": say("Move {name} up, now number {n}", name="{name}", n="{n}"),
                "down": say("Move {name} down, now number {n}", name="{name}", n="{n}"),
                "remove": say("Take {name} out of the order, now number {n}", name="{name}", n="{n}"),
                "moved": say("{name} is now number {place} of {all}", name="{name}", place="{place}", all="{all}"),
                "removed": say("{name} was taken out of the order", name="{name}"),
                "pick": say("Change {name}, number {n}", name="{name}", n="{n}") if on_pick else "",
            },
        },
        on_order_change=_heard(key, "order", on_order),
        on_pick_change=_heard(key, "pick", on_pick),
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
    _mount("line", '<div class="ln"></div>')(
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
