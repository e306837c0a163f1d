"""The font of pictures and documents, and the characters that it cannot draw.

DejaVu Sans is kept in `blendplan/fonts` with its licence, so that a picture has the same letters on every
machine.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from blendplan.wording import Notice, note

__all__ = ["drawable", "font_path", "load_font", "missing_characters", "missing_notice"]

STAND_IN = "\u25a1"  # white square, drawn for a character that the font lacks


def font_path(*, bold: bool = False) -> Path:
    """Return the path of the TrueType file."""
    return Path(__file__).parent.parent / "fonts" / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")


@cache
def load_font(size_px: int, *, bold: bool = False) -> Any:
    """Return a Pillow font; basic layout, so the letters do not depend on a shaping library being there."""
    from PIL import ImageFont

    return ImageFont.truetype(str(font_path(bold=bold)), size_px, layout_engine=ImageFont.Layout.BASIC)


@cache
def _has(character: str) -> bool:
    font = load_font(32)
    box = bytes(font.getmask("\uffff")), font.getbbox("\uffff")
    return character.isspace() or (bytes(font.getmask(character)), font.getbbox(character)) != box


def missing_characters(text: str) -> tuple[str, ...]:
    """Return the characters of a text that the font cannot draw, each once, in order.

    Examples
    --------
    >>> missing_characters("Mañana, \u6bdb\u7cf8 \u6bdb")
    ('毛', '糸')
    """
    return tuple(dict.fromkeys(c for c in text if not _has(c)))


def drawable(text: str) -> str:
    """Return a text with a white square for each character that the font cannot draw."""
    return "".join(c if _has(c) else STAND_IN for c in text)


def missing_notice(text: str) -> Notice | None:
    """Return a warning that names the characters shown as squares, or None where all can be drawn."""
    lost = missing_characters(text)
    if not lost:
        return None
    return note(
        "the built-in font cannot draw {characters} in {text}; a square stands there instead, "
        "and the number beside it still says which yarn it is.",
        "warning",
        characters=" ".join(lost),
        text=text,
    )
