"""Two small components: boxes on a photo, and a list put in order by dragging or by keys.

Both use the component mount that ships with the page library, with a script of our own from this package:
no further dependency, nothing loaded from outside, and both work by keyboard and by touch.
The library's chart selection would hold one box at a time and cannot be worked by keys.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import streamlit as st

from blendplan.page.show import text_on
from blendplan.page.state import say

__all__ = ["order_list", "photo_boxes"]


@cache
def _mount(name: str, body: str) -> Any:
    folder = Path(__file__).parent / "assets"
    return st.components.v2.component(
        f"blendplan_{name}",
        html=body,
        css=(folder / f"{name}.css").read_text(encoding="utf-8"),
        js=(folder / f"{name}.js").read_text(encoding="utf-8"),
    )


def photo_boxes(
    key: str,
    image: str,
    full: tuple[int, int],
    boxes: Sequence[Mapping[str, object]],
    white: Sequence[int] | None,
    *,
    picking: bool,
    alt: str,
    on_boxes: Callable[[list[list[int]]], object],
    on_spot: Callable[[list[int]], object],
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
    picking : bool
        True while a white spot is to be tapped.
    alt : str
    on_boxes, on_spot : callables
        Called with all boxes, or with the spot, before the next run.
    """

    def boxes_changed() -> None:
        got = st.session_state[key].get("boxes")
        if got is not None:
            on_boxes(got)

    def spot_changed() -> None:
        got = st.session_state[key].get("spot")
        if got is not None:
            on_spot(got)

    _mount("boxes", '<div class="bx"></div>')(
        key=key,
        data={
            "image": image,
            "full": list(full),
            "boxes": [dict(b) for b in boxes],
            "white": list(white) if white is not None else None,
            "mode": "white" if picking else "box",
            "words": {
                "photo": alt,
                "white": say("white"),
                "keys": say("Arrow keys move, Shift and arrow keys size, Delete removes."),
                "add": say("Add a box"),
                "draw": say("Draw with the finger"),
                "removed": say("Box removed."),
                "tap": say("Tap a spot that is white paper in the photo."),
            },
        },
        on_boxes_change=boxes_changed,
        on_spot_change=spot_changed,
    )


def order_list(
    key: str, items: Sequence[tuple[str, str]], *, label: str, on_order: Callable[[list[int]], object]
) -> None:
    """Draw a list of (name, colour) that is put in order by dragging, by buttons, or by Alt and arrow keys.

    `on_order` gets the old places in their new order; a missing place was removed.
    """

    def changed() -> None:
        got = st.session_state[key].get("order")
        if got is not None:
            on_order(got)

    _mount("order", '<ol></ol><p class="live" role="status"></p>')(
        key=key,
        data={
            "items": [{"name": name, "srgb": srgb, "ink": text_on(srgb)} for name, srgb in items],
            "words": {
                "list": label,
                "up": say("Move {name} up, now number {n}", name="{name}", n="{n}"),
                "down": say("Move {name} down, now number {n}", name="{name}", n="{n}"),
                "remove": say("Take {name} out of the order, now number {n}", name="{name}", n="{n}"),
                "moved": say("{name} is now number {place} of {all}", name="{name}", place="{place}", all="{all}"),
                "removed": say("{name} was taken out of the order", name="{name}"),
            },
        },
        on_order_change=changed,
    )
