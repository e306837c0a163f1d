"""Signs that need no colour: a letter for every yarn, a hatching, and a word for how light it is."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

__all__ = ["HATCHINGS", "LIGHTNESS", "Hatching", "Line", "hatch", "letters", "lightness", "on_colour"]

Hatching = Literal["plain", "rows", "columns", "rising", "falling", "grid", "lattice", "dots"]
HATCHINGS: tuple[Hatching, ...] = ("plain", "rows", "columns", "rising", "falling", "grid", "lattice", "dots")
# CIE L* below which each word holds; equal steps of L*, which are about equal steps to the eye.
LIGHTNESS = {20: "very dark", 40: "dark", 60: "middle", 80: "pale", 101: "very pale"}
Line = tuple[float, float, float, float]


def letters(names: Iterable[str]) -> dict[str, str]:
    """Return a letter for each different name in the order met: A to Z, then A2 to Z2, ...

    Examples
    --------
    >>> letters(["Fern", "Fern", "Clay"])
    {'Fern': 'A', 'Clay': 'B'}
    """
    found: dict[str, str] = {}
    for name in names:
        if name not in found:
            turn, place = divmod(len(found), 26)
            found[name] = chr(ord("A") + place) + (str(turn + 1) if turn else "")
    return found


def lightness(lab: tuple[float, float, float]) -> int:
    """Return the key of `LIGHTNESS` that a colour falls under.

    Examples
    --------
    >>> LIGHTNESS[lightness((12.0, 0, 0))], LIGHTNESS[lightness((100.0, 0, 0))]
    ('very dark', 'very pale')
    """
    return next(top for top in LIGHTNESS if lab[0] < top or top == 101)


def on_colour(lab: tuple[float, float, float]) -> int:
    """Return 0 (black) or 255 (white), whichever stands out more on a colour.

    Notes
    -----
    L* 49.4 is relative luminance 0.179, where both have the same contrast by WCAG 2.2
    ((Y + 0.05)^2 = 1.05 x 0.05).
    """
    return 255 if lab[0] < 49.4 else 0


def hatch(kind: Hatching, w: float, h: float, step: float) -> list[Line]:
    """Return the lines of a hatching, clipped to a box from (0, 0) to (w, h).

    A dot is a line of no length.

    Examples
    --------
    >>> hatch("rows", 4.0, 2.0, 1.0)
    [(0.0, 0.5, 4.0, 0.5), (0.0, 1.5, 4.0, 1.5)]
    """
    rows: list[Line] = [(0.0, y, w, y) for y in _steps(h, step)]
    columns: list[Line] = [(x, 0.0, x, h) for x in _steps(w, step)]
    # Slanted lines are a step apart square to themselves.
    rising: list[Line] = [
        (max(0.0, c - h), min(c, h), min(c, w), max(0.0, c - w)) for c in _steps(w + h, step * 2**0.5)
    ]
    falling: list[Line] = [(w - x0, y0, w - x1, y1) for x0, y0, x1, y1 in rising]
    kinds: dict[Hatching, list[Line]] = {
        "plain": [],
        "rows": rows,
        "columns": columns,
        "rising": rising,
        "falling": falling,
        "grid": rows + columns,
        "lattice": rising + falling,
        "dots": [(x, y, x, y) for y in _steps(h, step) for x in _steps(w, step)],
    }
    return kinds[kind]


def _steps(length: float, step: float) -> list[float]:
    return [step * (i + 0.5) for i in range(int(length / step + 0.5)) if step * (i + 0.5) < length]
